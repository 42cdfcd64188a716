"""The boost converter's parts, each held against the law that it rests on, and what it refuses."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import log, pi, sqrt
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between, is_member
from subwright.build.result import Design
from subwright.parts.library import load_library
from subwright.physics.boost import boost_conduction, diode_share, inrush_peak_a
from subwright.physics.chokes import gapped_inductance_h
from subwright.physics.current_mode import Compensator, compensator_gain, plant_gain
from subwright.physics.inductors import fringing_factor
from subwright.stages.common import Corner, Level
from subwright.stages.converter_boost import BoostValues, boost_crest, boost_values
from subwright.stages.converter_boost_control import (
    choose_controller,
    design_divider,
    design_guard,
    limit_at,
)
from subwright.stages.converter_boost_records import BoostResult

EXAMPLES = Path(__file__).parents[3] / "examples"
WAGON = EXAMPLES / "harvest-wagon.build.toml"
LIBRARY = load_library()


@cache
def wagon() -> Design:
    return service.solve(WAGON).design


def boost() -> BoostResult:
    found = wagon().boost
    assert found is not None
    return found


@cache
def with_changes(*changes: tuple[str, str, object]) -> Design:
    """The wagon with keys of its build file changed."""
    spec = service.open_build(WAGON).spec
    for table, key, value in changes:
        part = getattr(spec, table).model_copy(update={key: value})
        spec = spec.model_copy(update={table: part})
    return service.solve(spec, folder=EXAMPLES).design


# --- closed form --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_the_fast_closed_form_is_the_physics_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    emf, rail, rail_a = rng.uniform(10.0, 30.0), rng.uniform(32.0, 60.0), rng.uniform(0.2, 12.0)
    ohm = rng.uniform(1e-3, 8e-3, 5)
    values = BoostValues(
        inductance_h=rng.uniform(5e-6, 40e-6), switching_hz=80e3, choke_ohm=ohm[0], choke_ripple_ohm=ohm[0],
        switch_ohm=ohm[1], link_ohm=ohm[2], diode_v=0.5, diode_ohm=ohm[3], input_esr_ohm=0.0,
        rail_esr_ohm=ohm[4], turn_on_s=0.0, turn_off_s=0.0, recovery_s=0.0, node_f=0.0, gate_w=0.0,
    )  # fmt: skip
    at = boost_crest(values, emf, 8e-3, rail, rail_a)
    assert at.reaches
    loop = ohm[0] + ohm[2]
    share = rail_a / at.choke_a
    full = (at.terminal_v - loop * at.choke_a) * (1.0 - share) / (values.inductance_h * 80e3)
    flow = boost_conduction(at.choke_a, full)
    off = ohm[3] + ohm[4] * (1.0 - share * float(flow.share))
    again = diode_share(at.terminal_v, rail, rail_a / float(flow.share), loop, ohm[1], 0.5, off)
    assert float(again) == pytest.approx(share, rel=1e-5)
    assert at.duty == pytest.approx(float(flow.share) * (1.0 - share), rel=1e-5)
    assert at.ripple_a == pytest.approx(float(flow.ripple_a), rel=1e-5)
    # and no watt is lost but in its resistances
    conducting = float(flow.share) * float(flow.mean_a) ** 2
    lost = loop * conducting + ohm[1] * conducting * (1.0 - share) + off * conducting * share
    lost += 0.5 * rail_a
    assert at.terminal_v * at.choke_a == pytest.approx(rail * rail_a + lost, rel=1e-6)
    assert at.terminal_v == pytest.approx(emf - 8e-3 * at.choke_a, rel=1e-9)


def test_it_says_where_it_does_not_reach() -> None:
    values = boost_values(wagon().spec.converter, boost().plan, 60.0, 60.0)
    assert boost_crest(values, 12.0, 8e-3, 30.0, 10.0).reaches
    assert not boost_crest(values, 12.0, 60e-3, 30.0, 30.0).reaches


# --- divider, timing, sense ---------------------------------------------------------------------------


@pytest.mark.parametrize("rail", [15.0, 24.0, 30.3, 47.0, 60.0])
@pytest.mark.parametrize("series", ["E12", "E24", "E96"])
def test_the_divider_is_the_least_at_or_above(rail: float, series: str) -> None:
    divider = design_divider(LIBRARY.controller("UC3843"), rail, series)
    assert is_member(divider.top_ohm, series)
    assert is_member(divider.bottom_ohm, series)
    every = [
        2.5 * (1.0 + top / bottom)
        for top in between(1e3, 1e6, series)
        for bottom in between(2.2e3, 4.7e3, series)
    ]
    assert divider.set_v == pytest.approx(min(volts for volts in every if volts >= rail * (1.0 - 1e-6)))
    spread = [
        2.5 * (1 + r) * (1 + divider.top_ohm * (1 + t) / (divider.bottom_ohm * (1 + b)))
        for r in (-0.032, 0.032)
        for t in (-0.01, 0.01)
        for b in (-0.01, 0.01)
    ]
    assert divider.low_v == pytest.approx(min(spread))
    assert divider.high_v == pytest.approx(max(spread))


def test_only_a_single_ended_current_mode_controller_serves() -> None:
    assert choose_controller(LIBRARY, "auto", 15.0, 80e3).outputs == 1
    for wrong in ("SG3525A", "TL494", "UC3846"):
        with pytest.raises(NoSolutionError, match="single-ended"):
            choose_controller(LIBRARY, wrong, 15.0, 80e3)
    with pytest.raises(NoSolutionError, match="one output"):
        service.solve(
            service.open_build(EXAMPLES / "storyteller-van.build.toml").spec.model_copy(
                update={
                    "converter": service.open_build(
                        EXAMPLES / "storyteller-van.build.toml"
                    ).spec.converter.model_copy(update={"controller": "UC3843"})
                }
            ),
            folder=EXAMPLES,
        )


def test_the_timing_parts_give_frequency_and_duty() -> None:
    timing, chip = boost().plan.timing, boost().plan.controller
    low, high, drawn = chip.ramp_low_v or 0, chip.ramp_high_v or 0, chip.discharge_a or 0
    # the ramp integrated in small steps, not its logarithm
    volts, time, dt = low, 0.0, 2e-10
    while volts < high:
        volts += (chip.vref_v - volts) / timing.rt_ohm / timing.ct_f * dt
        time += dt
    charge = time
    while volts > low:
        volts += ((chip.vref_v - volts) / timing.rt_ohm - drawn) / timing.ct_f * dt
        time += dt
    assert 1.0 / time == pytest.approx(timing.switching_hz, rel=2e-3)
    assert charge / time == pytest.approx(timing.duty_most, rel=2e-3)
    assert timing.switching_hz == pytest.approx(timing.switching_target_hz, rel=0.1)


def test_the_current_limit_by_the_waveform_at_the_pin() -> None:
    """Sensed current and ramp added up in time: the pulse ends at the current that the closed form says."""
    plan = boost().plan
    sense, timing = plan.sense, plan.timing
    tired = boost().corners[0]
    divided = sense.slope_ohm / (sense.filter_ohm + sense.slope_ohm)
    lent = sense.filter_ohm / (sense.filter_ohm + sense.slope_ohm)
    ramp = (2.82 - 1.2) / timing.charge_s
    time = np.linspace(0.0, timing.duty_most / timing.switching_hz, 20001)
    limit = limit_at(1.0, tired.duty, timing, sense.offset_v, sense.slope_v_per_s, sense.sense_ohm)
    rise = tired.terminal_v / plan.choke.inductance_h
    current = limit + rise * (time - tired.duty / timing.switching_hz)
    pin = divided * current * sense.burden_ohm / sense.turns + lent * (1.2 - 0.65 + ramp * time)
    ends = time[np.argmax(pin >= 1.0)]
    assert ends * timing.switching_hz == pytest.approx(tired.duty, rel=2e-3)
    assert sense.limit_least_a < sense.limit_a < sense.limit_most_a < plan.choke.saturation_a


def test_an_error_of_the_current_dies_out() -> None:
    """Cycle by cycle on the tired battery: without the slope it grows, with it it shrinks."""
    plan, tired = boost().plan, boost().corners[0]
    rising = tired.terminal_v / plan.choke.inductance_h
    falling = (boost().set_v - tired.terminal_v) / plan.choke.inductance_h
    added = plan.sense.slope_v_per_s / plan.sense.sense_ohm

    def shrinks(slope: float) -> float:
        return abs((falling - slope) / (rising + slope))

    assert shrinks(0.0) > 1.0
    assert shrinks(added) < 0.6


def test_the_second_stop_clears_the_rail_and_spares_the_parts() -> None:
    plan = boost().plan
    guard = plan.guard
    assert guard.least_v > plan.divider.high_v
    assert guard.most_v < plan.rail_bank.capacitor.voltage_v
    assert guard.most_v < plan.switch.mosfet.vds_v
    assert guard.nominal_v == pytest.approx(sum(z.vz_v for z in guard.zeners) + 1.0)
    with pytest.raises(NoSolutionError, match="second stop"):
        design_guard(LIBRARY, replace(plan.divider, high_v=150.0), 1.0)


# --- loop -----------------------------------------------------------------------------------------------


def test_the_loop_has_its_margins_when_it_is_walked_through_finely() -> None:
    loop, plan = boost().loop, boost().plan
    parts = Compensator(plan.divider.top_ohm, loop.series_ohm, loop.series_f, loop.across_f, 3.0)
    grid = np.geomspace(5.0, 0.5 * plan.timing.switching_hz, 60_000)
    gain = plant_gain(loop.plant, grid) * compensator_gain(parts, grid)
    at = int(np.argmax(np.abs(gain) < 1.0))
    name = next(iter(loop.figures))
    assert grid[at] == pytest.approx(loop.figures[name].crossover_hz, rel=0.01)
    margin = 180.0 + np.degrees(np.unwrap(np.angle(gain)))[at]
    margin = (margin + 180.0) % 360.0 - 180.0
    assert margin == pytest.approx(loop.figures[name].phase_margin_deg, abs=1.0)
    assert loop.crossover_hz < loop.zero_hz / 4.0
    assert loop.phase_margin_deg > 45.0


def test_the_bass_on_the_rail_by_a_step_through_time() -> None:
    """The closed loop's impedance against a slow sine of current, integrated: capacitor, loop and all."""
    result, plan = boost(), boost().plan
    loop, hertz = result.loop, result.bass_ripple_hz
    parts = Compensator(plan.divider.top_ohm, loop.series_ohm, loop.series_f, loop.across_f, 3.0)
    gm = (1.0 - loop.plant.duty) / loop.plant.sense_ohm / 3.0  # A into the capacitor per V of the amplifier
    dt, state_v, z1, z2 = 2e-6, 0.0, 0.0, 0.0
    peak = 0.0
    for k in range(int(12.0 / hertz / dt)):
        time = k * dt
        drawn = 0.5 * plan.demand.rail_crest_a * np.sin(2 * pi * hertz * time)
        into = state_v / parts.top_ohm  # the amplifier's summing point
        branch = (z2 - z1) / parts.series_ohm  # z1 on the series capacitor, z2 across all
        z1 += branch / parts.series_f * dt
        z2 += (into - branch) / parts.across_f * dt
        state_v += (-gm * z2 - drawn) / plan.rail_f * dt
        if time > 6.0 / hertz:
            peak = max(peak, abs(state_v))
    # what the integration leaves out: ESR, zero and sampling, small so far below the crossover
    assert result.bass_ripple_v == pytest.approx(peak, rel=0.15)


# --- choke, capacitors, connection ------------------------------------------------------------------


def test_the_choke_by_its_reluctance() -> None:
    choke = boost().plan.choke
    core = choke.core
    spread = fringing_factor(choke.gap_m, core.a_e_m2, core.winding_width_m)
    material = LIBRARY.materials[core.material]
    plain = gapped_inductance_h(choke.turns, choke.gap_m / spread, core.a_e_m2, core.l_e_m, material.mu_i)
    assert choke.inductance_h == pytest.approx(plain)
    flux = choke.inductance_h * boost().corners[0].peak_a / (choke.turns * core.a_min_m2)
    assert flux <= 1.05 * choke.flux_limit_t
    assert choke.flux_limit_t == pytest.approx(0.75 * material.bsat_100_t)
    assert choke.fill <= choke.fill_limit
    copper = choke.turns * choke.strands * choke.wire.area_m2
    assert copper / core.window_area_m2 == pytest.approx(choke.fill)


def test_the_rush_at_connection_by_a_step_through_time() -> None:
    plan, pre = boost().plan, boost().precharge
    battery = wagon().supply.corners[Corner.MAX]
    loop = wagon().supply.source_resistance_ohm + plan.choke.cold_ohm + plan.link_ohm
    loop += plan.rail_bank.esr_ohm + plan.diode.rectifier.rd_ohm / plan.diode.legs
    current, volts, dt, peak = 0.0, 0.0, 5e-8, 0.0
    for _ in range(40_000):
        current += (battery - volts - loop * current) / plan.choke.inductance_h * dt
        if current < 0.0:
            break
        volts += current / plan.rail_f * dt
        peak = max(peak, current)
    assert pre.plain_peak_a == pytest.approx(peak, rel=2e-3)
    assert pre.rail_overshoot_v == pytest.approx(volts, rel=2e-3)
    assert pre.wait_s == pytest.approx(
        pre.resistor_ohm * (plan.rail_f + plan.input_bank.capacitance_f) * log(20.0)
    )


@pytest.mark.parametrize("damping", [0.05, 0.5, 1.0, 3.0])
def test_inrush_in_every_damping(damping: float) -> None:
    henry, farad = 8e-6, 8e-3
    ohm = 2.0 * damping * sqrt(henry / farad)
    current, volts, dt, peak = 0.0, 0.0, 2e-8, 0.0
    for _ in range(80_000):
        current += (12.0 - volts - ohm * current) / henry * dt
        volts += current / farad * dt
        peak = max(peak, current)
    assert inrush_peak_a(12.0, henry, farad, ohm) == pytest.approx(peak, rel=3e-3)


def test_parts_stand_what_they_meet() -> None:
    for use in boost().parts:
        for rating in use.ratings:
            assert rating.applied <= rating.limit, (use.role, rating.quantity)
    roles = [use.role for use in boost().parts]
    assert len(set(roles)) == len(roles)


# --- the whole build ------------------------------------------------------------------------------------


def test_the_wagon_is_sound_and_every_watt_is_explained() -> None:
    design = wagon()
    assert [f.code for f in design.findings if f.severity == "stop"] == []
    assert abs(design.balance.imbalance) < 1e-3
    for point in design.points:
        total = point.output_w + sum(point.losses_w.values())
        assert total == pytest.approx(point.battery_w, rel=1e-4), (point.corner, point.level)


def test_the_rail_holds_at_every_playing_corner_and_is_the_amplifiers_supply() -> None:
    design = wagon()
    for corner in (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX):
        for level in Level:
            assert design.point(corner, level).rail_crest_v == pytest.approx(boost().set_v, rel=1e-9)
    assert design.amplifier.rails == "raised"
    assert design.amplifier.rail_needed_v == pytest.approx(boost().set_v, rel=1e-6)
    powers = [design.point(corner, Level.FULL).output_w for corner in (Corner.LOW, Corner.MAX)]
    assert powers[0] == pytest.approx(powers[1], rel=1e-6)


def test_a_battery_above_the_rail_runs_through() -> None:
    design = with_changes(("goal", "power_w", 35.0))
    found = design.boost
    assert found is not None
    assert found.set_v < design.supply.corners[Corner.MAX]
    highest = design.point(Corner.MAX, Level.IDLE)
    assert highest.rail_crest_v > found.set_v
    assert highest.losses_w["switch turn-off"] == 0.0
    stops = {f.code for f in design.findings if f.severity == "stop"}
    assert "BST-01" in stops


def test_rails_are_refused_on_a_boost_converter() -> None:
    for kind in ("class_d_half_bridge", "class_ab", "class_d_full_bridge"):
        with pytest.raises(NoSolutionError, match="one raised rail") as caught:
            with_changes(("amplifier", "kind", kind))
        assert "converter.topology" in (caught.value.remedy or "")


def test_too_much_power_says_what_would_have_to_change() -> None:
    with pytest.raises(NoSolutionError) as caught:
        with_changes(("goal", "power_w", 2500.0))
    assert caught.value.remedy


def test_24_volts_and_four_ohms() -> None:
    design = with_changes(
        ("supply", "system_v", 24), ("supply", "battery", "lfp"), ("driver", "part", "Drover 12"),
        ("goal", "power_w", 250.0),
    )  # fmt: skip
    found = design.boost
    assert found is not None
    assert 1.4 < found.ratio < 2.6
    assert abs(design.balance.imbalance) < 1e-3
    assert found.plan.divider.high_v < found.plan.guard.least_v
