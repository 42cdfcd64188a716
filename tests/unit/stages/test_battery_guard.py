"""The battery guard: sizes by a second route, choice of the suppressor, refusals."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError
from subwright.parts.library import load_library
from subwright.physics.batteries import corner_defaults
from subwright.stages.battery_guard import (
    BatteryGuardInput,
    BatteryGuardResult,
    BatteryGuardSpec,
    GuardedPart,
    ReversedPart,
    ReverseNeed,
    design_battery_guard,
    plan_reverse_switch,
)
from subwright.stages.common import Corner

CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
NEED = ReverseNeed(rms_a=24.0, battery_max_v=16.0, battery_low_v=11.5, ambient_c=50.0)
Reverse = Literal["none", "n_mosfet", "p_mosfet", "shunt_diode"]


def given(system_v: int = 12) -> BatteryGuardInput:
    volts = [d.volts for d in corner_defaults("lead-acid", system_v)]
    return BatteryGuardInput(
        system_v=system_v,
        corners=dict(zip(CORNERS, volts, strict=True)),
        parts=(
            GuardedPart(role="controller", part_id="SG3525A", limit_v=40.0),
            GuardedPart(role="input capacitor", part_id="EL", limit_v=63.0),
        ),
        capacitance_f=4.4e-3,
        esr_ohm=0.02,
        source_ohm=0.025,
        fuse_a=30.0,
        fuse_a2s=None,
    )


def design(spec: BatteryGuardSpec, data: BatteryGuardInput | None = None) -> BatteryGuardResult:
    reverse = plan_reverse_switch(spec, NEED, load_library())
    return design_battery_guard(spec, data or given(), reverse, load_library())


@pytest.mark.parametrize("kind", ["n_mosfet", "p_mosfet"])
def test_series_switch_stays_cool(kind: Reverse) -> None:
    switch = plan_reverse_switch(BatteryGuardSpec(reverse=kind), NEED, load_library())
    assert switch is not None
    mosfet = load_library().mosfet(switch.mosfet)
    assert mosfet.channel == kind[0]
    each = mosfet.rds_on_ohm * mosfet.rds_hot_ratio
    heat = (24.0 / switch.count) ** 2 * each
    assert switch.resistance_ohm == pytest.approx(each / switch.count)
    assert switch.loss_w == pytest.approx(heat * switch.count)
    assert switch.junction_c == pytest.approx(50.0 + heat * mosfet.rth_ja_k_per_w)
    assert switch.junction_c <= mosfet.tj_max_c - 25.0
    assert switch.rating_v >= 1.1 * 2 * 16.0
    clamp = load_library().zener(switch.clamp_id)
    assert clamp.vz_v * (1 + clamp.tolerance) < mosfet.vgs_max_v


def test_the_switch_and_its_parts_are_billed() -> None:
    result = design(BatteryGuardSpec(reverse="n_mosfet"))
    roles = {p.role for p in result.parts}
    assert {"reverse-polarity switch", "reverse-polarity gate clamp", "suppressor behind the fuse"} <= roles
    assert all(r.margin >= 0 for p in result.parts for r in p.ratings)
    assert any("shield" in reason for reason in result.reasons)
    assert 0 < result.reversed_j < 1.0
    assert not any("shield" in reason for reason in design(BatteryGuardSpec(reverse="p_mosfet")).reasons)


def test_nothing_is_said_to_be_nothing() -> None:
    result = design(BatteryGuardSpec(clamp="none"))
    assert result.parts == ()
    assert result.clamp is None
    assert any("nothing is fitted" in reason for reason in result.reasons)


def test_behind_a_central_clamp_the_suppressor_leaves_the_dump_alone() -> None:
    clamp = design(BatteryGuardSpec()).clamp
    assert clamp is not None
    assert clamp.break_min_v > 35.0
    assert clamp.standoff_v >= 24.0
    assert clamp.power_w <= clamp.power_limit_w


def test_without_one_it_clamps_below_the_weakest_part() -> None:
    spec = BatteryGuardSpec(alternator="unclamped", dump_resistance_ohm=2.0)
    result = design(spec)
    assert result.clamp is not None
    assert result.clamp.peak_v <= 40.0
    assert result.clamp.power_w <= result.clamp.power_limit_w
    assert result.clamp.energy_j > 50.0
    dump = next(s for s in result.stresses if s.name.startswith("load dump"))
    part = load_library().suppressor(result.clamp.suppressor)
    slope = part.slope_ohm / result.clamp.count
    assert dump.at_v == pytest.approx(
        part.break_max_v + slope * (14.4 + 87.0 - part.break_max_v) / (2.0 + slope), rel=1e-9
    )


def test_the_severest_dump_is_too_much_and_says_so() -> None:
    data = replace(given(), parts=(GuardedPart(role="input capacitor", part_id="EL 25 V", limit_v=25.0),))
    clamp = design(BatteryGuardSpec(alternator="unclamped"), data).clamp
    assert clamp is not None
    assert clamp.peak_v > 25.0


def test_capacitors_hold_the_short_pulses() -> None:
    result = design(BatteryGuardSpec())
    held = {s.name: s for s in result.stresses}
    short = next(s for name, s in held.items() if name.startswith("pulse 2a"))
    assert "capacitors" in short.held_by
    bare = design(BatteryGuardSpec(clamp="none"), replace(given(), capacitance_f=0.0))
    assert next(s for s in bare.stresses if s.name.startswith("pulse 2a")).at_v == pytest.approx(14.4 + 112)


def test_no_pulses_are_claimed_for_large_banks() -> None:
    result = design(BatteryGuardSpec(), given(48))
    assert [s.name for s in result.stresses] == ["highest steady battery"]
    assert result.clamp is None


def test_diode_and_fuse() -> None:
    result = design(BatteryGuardSpec(reverse="shunt_diode"))
    assert result.diode is not None
    part = load_library().rectifier(result.diode.rectifier)
    assert result.diode.surge_a2s == pytest.approx((result.diode.count * part.ifsm_a) ** 2 * 5e-3)
    assert result.diode.fuse_a2s == pytest.approx((6 * 30.0) ** 2 * 0.1)
    assert result.diode.fault_a == pytest.approx(12.0 / 0.025)


def test_refusals() -> None:
    with pytest.raises(NoSolutionError) as caught:
        plan_reverse_switch(BatteryGuardSpec(reverse="p_mosfet"), replace(NEED, rms_a=300.0), load_library())
    assert "battery_guard.reverse" in caught.value.remedy
    with pytest.raises(PartNotFoundError):
        design(BatteryGuardSpec(clamp="SMCJ33"))


REVERSED = (
    ReversedPart(role="controller", part_id="SG3525A", lowest_v=-0.3),
    ReversedPart(role="switch", part_id="IRF3205", most_a=110.0),
    ReversedPart(role="sense input", part_id="LM339", most_a=50e-3, series_ohm=40e3),
)


def negative(data: BatteryGuardInput, spec: BatteryGuardSpec | None = None) -> dict[str, tuple[float, str]]:
    result = design(spec or BatteryGuardSpec(), replace(data, reversed_parts=REVERSED))
    return {s.role: (s.value, s.held_by) for s in result.negative if s.pulse.startswith("pulse 1")}


def test_the_input_capacitors_swallow_a_negative_pulse() -> None:
    """Integrated step by step: 4.4 mF behind 10 Ω, from 14.4 V."""
    found = negative(given())
    volts, step, pulse, tau = 14.4, 1e-6, -150.0, 2e-3 / math.log(10.0)
    for n in range(round(8 * tau / step)):
        volts += step * (pulse * math.exp(-n * step / tau) - volts) / 10.02 / 4.4e-3
    least, held_by = found["controller"]
    assert held_by == "the input capacitors"
    assert least == pytest.approx(volts, abs=0.05)
    assert least > 0.0
    assert found["switch"][0] == 0.0


def test_a_small_bank_is_pulled_below_zero_and_the_suppressor_takes_over() -> None:
    small = replace(given(), capacitance_f=100e-6)
    assert negative(small)["controller"][0] == pytest.approx(-1.5)
    volts, step, tau = 14.4, 1e-6, 2e-3 / math.log(10.0)
    least = volts
    for n in range(round(8 * tau / step)):
        source = -150.0 * math.exp(-n * step / tau)
        least = min(least, (volts * 10.0 + source * 0.02) / 10.02)
        volts += step * (source - volts) / 10.02 / 100e-6
    bare, held_by = negative(small, BatteryGuardSpec(clamp="none"))["controller"]
    assert held_by == "the input capacitors"
    assert bare == pytest.approx(least, rel=2e-3)


def test_without_capacitors_the_suppressor_or_the_body_diodes_hold_it() -> None:
    bare = replace(given(), capacitance_f=0.0)
    assert negative(bare)["controller"][0] == pytest.approx(-1.5)
    diodes = negative(replace(bare, body_diode_v=1.3))
    assert diodes["controller"][0] == pytest.approx(-1.3)
    assert diodes["controller"][1] == "the body diodes of the switches"
    assert diodes["switch"][0] == pytest.approx(15.0)
    assert diodes["sense input"][0] == pytest.approx(0.6 / 40e3)


def test_with_nothing_the_whole_pulse_arrives() -> None:
    bare = negative(replace(given(), capacitance_f=0.0), BatteryGuardSpec(clamp="none"))
    assert bare["controller"] == (-150.0, "nothing")
    assert bare["sense input"][0] == pytest.approx(149.3 / 40e3)


def test_every_part_meets_every_negative_pulse() -> None:
    result = design(BatteryGuardSpec(), replace(given(), reversed_parts=REVERSED))
    assert len(result.negative) == 2 * len(REVERSED)
    assert not design(BatteryGuardSpec(), replace(given(36), reversed_parts=REVERSED)).negative
