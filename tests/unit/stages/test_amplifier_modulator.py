"""The class-D modulator in preferred values, on every kind of supply, in both forms, over all frequencies."""

from __future__ import annotations

import itertools
from dataclasses import replace
from math import log, pi
from typing import Any

import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError
from subwright.base.preferred import nearest
from subwright.parts.library import load_library
from subwright.stages.amplifier_modulator import design_modulator, drawn, supply_need
from subwright.stages.amplifier_modulator_bill import modulator_sentences, modulator_uses
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.amplifier_modulator_supply import clip_on_k_per_w, design_supplies

LIBRARY = load_library()
SMALL, LARGE = LIBRARY.mosfets["IRFB5620"], LIBRARY.mosfets["IRFB3206"]

KINDS: dict[str, dict[str, Any]] = {
    "half-bridge": {},
    "half-bridge, low rails": {
        "rail_low_v": 13.0,
        "rail_nominal_v": 15.0,
        "rail_high_v": 19.0,
        "peak_v": 13.0,
    },
    "half-bridge, high rails": {
        "rail_low_v": 70.0,
        "rail_nominal_v": 80.0,
        "rail_high_v": 98.0,
        "peak_v": 72.0,
    },
    "full bridge": {"legs": 2, "peak_v": 66.0},
    "12 V": {
        "legs": 2,
        "split_rails": False,
        "rail_low_v": 11.0,
        "rail_nominal_v": 12.3,
        "rail_high_v": 14.8,
        "feed_v": (11.0, 12.3, 14.8),
        "peak_v": 11.0,
    },
    "48 V": {
        "legs": 2,
        "split_rails": False,
        "rail_low_v": 43.0,
        "rail_nominal_v": 50.0,
        "rail_high_v": 58.0,
        "feed_v": (43.0, 50.0, 58.0),
        "peak_v": 45.0,
    },
    "raised": {
        "legs": 2,
        "split_rails": False,
        "rail_low_v": 33.0,
        "rail_nominal_v": 33.5,
        "rail_high_v": 35.0,
        "feed_v": (11.0, 12.3, 14.8),
        "peak_v": 29.0,
        "mosfet": LARGE,
    },
}
EVERY = list(itertools.product(KINDS, ("clocked", "self-oscillating")))


def need(kind: str = "half-bridge", **changed: Any) -> ModulatorNeed:
    values: dict[str, Any] = {
        "form": "clocked",
        "legs": 1,
        "split_rails": True,
        "rail_low_v": 33.0,
        "rail_nominal_v": 38.0,
        "rail_high_v": 48.0,
        "peak_v": 34.0,
        "load_share": 0.985,
        "full_input_v": 1.0,
        "lowest_note_hz": 30.0,
        "switching_hz": 200e3,
        "dead_time_s": 70e-9,
        "modulation_max": 0.95,
        "gate_drive_a": 0.5,
        "gate_supply_v": 12.0,
        "tolerance": None,
        "op_amp": "auto",
        "mosfet": SMALL,
        "node_s": 30e-9,
    }
    values |= KINDS[kind]
    values |= changed
    if values["split_rails"]:
        values["feed_v"] = (values["rail_low_v"], values["rail_nominal_v"], values["rail_high_v"])
    return ModulatorNeed(**values)


def made(kind: str = "half-bridge", **changed: Any) -> Modulator:
    return design_modulator(need(kind, **changed), LIBRARY)


@pytest.mark.parametrize(("kind", "form"), EVERY)
def test_every_value_is_preferred(kind: str, form: str) -> None:
    m = made(kind, form=form)
    for role, ohms in m.resistors_ohm.items():
        assert nearest(ohms, "E24") == pytest.approx(ohms, rel=1e-9), role
    for role, farads in m.capacitors_f.items():
        series = "E12" if role == "integrator capacitor" else "E6"
        assert nearest(farads, series) == pytest.approx(farads, rel=1e-9), role


@pytest.mark.parametrize(("kind", "form"), EVERY)
@pytest.mark.parametrize("switching_hz", [50e3, 100e3, 200e3, 330e3])
def test_it_meets_frequency_and_gain(kind: str, form: str, switching_hz: float) -> None:
    m = made(kind, form=form, switching_hz=switching_hz)
    assert m.switching_hz == pytest.approx(switching_hz, rel=0.05)
    assert m.switching_window_hz[0] < m.switching_hz < m.switching_window_hz[1]
    assert m.gain == pytest.approx(m.gain_wanted, rel=0.04)
    by_parts = m.resistors_ohm["integrator feedback"] / m.resistors_ohm["integrator input"]
    assert m.gain == pytest.approx(by_parts * 0.985)
    assert m.suppression_db[0] > m.suppression_db[1] > 35.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_clocked_loop_stays_single_edged_at_the_highest_rail(kind: str) -> None:
    m, wish = made(kind), need(kind)
    swing = wish.swing_v(wish.rail_high_v)
    slope = (
        m.compare_share
        * swing
        / (m.resistors_ohm["integrator feedback"] * m.capacitors_f["integrator capacitor"])
    )
    assert m.feedback_slope_v_per_s == pytest.approx(slope)
    assert 2.0 <= m.carrier_slope_v_per_s / m.feedback_slope_v_per_s <= 3.4
    assert 0.0 < m.clock_low_v < m.threshold_low_v < m.threshold_high_v < m.clock_high_v < m.clock_supply_v


@pytest.mark.parametrize("kind", KINDS)
def test_a_self_oscillating_loop_has_the_period_of_its_parts(kind: str) -> None:
    m = made(kind, form="self-oscillating")
    h = m.resistors_ohm["hysteresis input"] / m.resistors_ohm["hysteresis feedback"]
    rc = m.resistors_ohm["integrator feedback"] * m.capacitors_f["integrator capacitor"]
    assert m.hysteresis == pytest.approx(h)
    assert 1.0 / m.switching_hz == pytest.approx(4.0 * (h * rc + m.delay_s))
    assert m.clock_high_v == m.carrier_slope_v_per_s == 0.0
    assert not any(role.startswith("clock") for role in (*m.resistors_ohm, *m.capacitors_f, *m.part_ids))


@pytest.mark.parametrize(("kind", "form"), EVERY)
def test_no_chip_is_asked_for_more_than_it_stands(kind: str, form: str) -> None:
    m, wish = made(kind, form=form), need(kind, form=form)
    roles = set()
    for use in modulator_uses(m, wish, LIBRARY):
        assert use.role not in roles
        roles.add(use.role)
        assert use.quantity >= 1
        for rating in use.ratings:
            assert rating.applied <= rating.limit, (use.role, rating)
    assert {"modulator op-amp", "modulator comparator", "logic inverters", "gate driver"} <= roles
    assert ("reference" in roles) == (not wish.split_rails)
    assert ("level shift transistor" in roles) == wish.split_rails
    assert all(text.endswith(".") and "nan" not in text for text in modulator_sentences(m))


@pytest.mark.parametrize(("kind", "form"), EVERY)
def test_the_integrator_has_room(kind: str, form: str) -> None:
    m = made(kind, form=form)
    if kind == "half-bridge, low rails":
        return  # judged by a rule
    assert (
        m.integrator_room_v[0] < m.integrator_window_v[0] < m.integrator_window_v[1] < m.integrator_room_v[1]
    )


def test_dead_time_is_the_sum_of_its_parts() -> None:
    """One edge by hand: from the comparator's edge along both paths to the thresholds of the gates."""
    m, logic, driver = made(), LIBRARY.schmitt_inverters["74HC14"], LIBRARY.gate_drivers["IR2110"]
    ends = []
    for side, sign in (("high", -1.0), ("low", 1.0)):
        rc = m.resistors_ohm[f"dead-time resistor {side}"] * m.capacitors_f["dead-time capacitor"]
        threshold = logic.falling_v / logic.stated_v
        slow = rc * log(1.0 / threshold)
        on_r = m.resistors_ohm["gate resistor on"] + driver.output_ohm
        flat, vth, vcc = SMALL.vgs_th_v + 1.0, SMALL.vgs_th_v, m.gate_supply_v
        gate_f = SMALL.qgs_coul / flat
        on = driver.on_s + on_r * gate_f * log(vcc / (vcc - vth))
        upper = (SMALL.qg_coul - SMALL.qgs_coul - SMALL.qgd_coul) / (10.0 - flat)
        off_r = driver.output_ohm + 0.5
        off = driver.off_s + off_r * (
            upper * log(vcc / flat) + SMALL.qgd_coul / flat + gate_f * log(flat / vth)
        )
        ends.append(slow + on - off - 5e-9 + sign * logic.delay_s)
    assert m.dead_time_s == pytest.approx(sum(ends) / 2.0)
    assert m.dead_time_s == pytest.approx(70e-9, abs=6e-9)
    assert m.dead_time_window_s[0] < min(ends)
    assert m.dead_time_window_s[1] > max(ends)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mosfet", [SMALL, LARGE])
def test_the_dead_time_that_it_chooses_holds_with_every_part_at_its_worst(kind: str, mosfet: Any) -> None:
    wish = need(kind, mosfet=mosfet, dead_time_s=60e-9)
    draw = drawn(wish, None, LIBRARY)
    m = design_modulator(replace(wish, dead_time_s=draw.dead_time_s), LIBRARY)
    assert -2e-9 <= m.dead_time_window_s[0] <= 35e-9
    assert drawn(wish, 33e-9, LIBRARY).dead_time_s == 33e-9


def test_a_stated_dead_time_may_be_too_short_for_these_gates() -> None:
    assert made(dead_time_s=20e-9).dead_time_window_s[0] < 0.0


@pytest.mark.parametrize("kind", ["half-bridge", "half-bridge, high rails", "full bridge"])
def test_what_split_rails_give_is_what_the_circuit_takes(kind: str) -> None:
    """Node by node: each rail's power over the bus, gates left out."""
    wish, m = need(kind), made(kind)
    ohm = m.resistors_ohm
    rail = wish.rail_nominal_v
    gates_a = 2 * wish.legs * wish.mosfet.qg_coul * m.gate_supply_v / 10.0 * wish.switching_hz
    vcc_feed = (rail - LIBRARY.zener(m.part_ids["driver supply zener"]).vz_v) / ohm["driver supply resistor"]
    feeds = 2.0 * (rail - LIBRARY.zener(m.part_ids["op supply zener"]).vz_v) / ohm["op supply resistor"]
    watts = rail * (m.op_positive_a + m.op_negative_a + feeds + m.driver_supply_a - gates_a + vcc_feed)
    assert m.supply_a * 2.0 * rail == pytest.approx(watts, rel=0.02)
    draw = drawn(wish, None, LIBRARY)
    assert (draw.gate_rails, draw.gate_feed_v) == (1.0, 0.0)
    assert draw.control_a == pytest.approx(m.supply_a)


@pytest.mark.parametrize(
    ("kind", "source"), [("12 V", "control"), ("raised", "control"), ("48 V", "rail_positive")]
)
def test_one_supply_rests_when_its_control_line_is_off(kind: str, source: str) -> None:
    m, draw = made(kind), drawn(need(kind), None, LIBRARY)
    assert m.driver_supply_from == source
    assert m.driver_supply_direct == (source == "control")
    if source == "control":
        assert m.control_line_a == pytest.approx(m.driver_supply_a)
        assert (draw.gate_rails, draw.gate_feed_v) == (0.0, 12.3)
        # the same power, whatever the rail is
        watts = m.control_line_a * 12.3
        wish = need(kind)
        gates = 4 * wish.mosfet.qg_coul * m.gate_supply_v / 10.0 * wish.switching_hz * 12.3
        assert m.supply_a * wish.rail_nominal_v == pytest.approx(watts - gates, rel=5e-3)
    else:
        assert 0.0 < m.control_line_a < 20e-3  # only the zener's feed
        assert draw.gate_rails == 1.0


def test_low_rails_feed_the_drivers_from_the_upper_one() -> None:
    m = made("half-bridge, low rails", rail_low_v=9.0, rail_nominal_v=11.0, rail_high_v=14.0, peak_v=9.0)
    assert m.driver_supply_from == "rail_positive"
    assert not m.driver_supply_direct
    assert "op supply follower NPN" not in m.part_ids
    assert drawn(need("half-bridge, low rails", rail_low_v=9.0), None, LIBRARY).gate_rails == 2.0


def test_a_bootstrap_gives_what_flows_out_of_it() -> None:
    m, driver = made(), LIBRARY.gate_drivers["IR2110"]
    leak = m.gate_supply_v / m.resistors_ohm["gate pull-down"]
    leak += m.gate_supply_v / m.resistors_ohm["bootstrap pre-charge"]
    charge = SMALL.qg_coul * m.gate_supply_v / 10.0 + 5e-9 + (driver.floating_max_a + leak) * m.hold_s
    assert m.hold_s == pytest.approx(1.0 / 60.0)
    assert m.hold_drop_v == pytest.approx(charge / (0.8 * m.bootstrap_f))
    assert m.bootstrap_low_v - m.hold_drop_v >= m.lockout_v
    # at rest, node at 0 V, the pre-charge resistor must feed the floating section
    rest_a = (33.0 - m.bootstrap_v) / m.resistors_ohm["bootstrap pre-charge"]
    assert rest_a > driver.floating_max_a


def test_between_rails_a_bleed_stands_in_for_the_load() -> None:
    """At rest: what the pre-charge brings lifts the node little, and the bootstrap reaches its start."""
    m, driver = made("full bridge"), LIBRARY.gate_drivers["IR2110"]
    ohm = m.resistors_ohm
    node_ohm = 1.0 / (1.0 / ohm["node bleed"] + 1.0 / ohm["integrator feedback"])
    through = (33.0 - m.bootstrap_v) / (ohm["bootstrap pre-charge"] + node_ohm)
    assert through > driver.floating_max_a
    assert m.heat_w["node bleed"] <= 1.0
    assert "node bleed" not in made().resistors_ohm


@pytest.mark.parametrize("form", ["clocked", "self-oscillating"])
@pytest.mark.parametrize("kind", ["12 V", "48 V"])
def test_on_one_supply_a_bleed_lets_the_bootstrap_start(kind: str, form: str) -> None:
    m, driver = made(kind, form=form), LIBRARY.gate_drivers["IR2110"]
    ohm = m.resistors_ohm
    pulls = [ohm[role] for role in ("integrator feedback", "hysteresis feedback") if role in ohm]
    lift = (driver.floating_max_a + m.reference_v * sum(1.0 / r for r in pulls)) * ohm["node bleed"]
    assert m.bootstrap_low_v - lift >= m.start_v
    assert m.heat_w["node bleed"] <= 1.0
    assert "bootstrap pre-charge" not in ohm


def test_a_tired_battery_may_be_too_little_for_the_drivers() -> None:
    m = made("12 V", rail_low_v=10.2, feed_v=(10.2, 12.3, 14.8))
    assert m.bootstrap_low_v < m.start_v


def test_resistors_get_tighter_where_their_mismatch_would_be_heard_as_direct_voltage() -> None:
    assert made().resistor_tolerance == 0.01  # a half-bridge has no mean against which they could differ
    loose, tight = made("48 V", tolerance=0.01), made("48 V")
    assert tight.resistor_tolerance == 0.001
    assert loose.offset_v > loose.offset_limit_v >= tight.offset_v


def test_the_input_is_coupled_well_below_the_lowest_note() -> None:
    m = made("12 V")
    c, r = m.capacitors_f["modulator input capacitor"], m.resistors_ohm["modulator input bias"]
    assert m.input_hz == pytest.approx(1.0 / (2.0 * pi * r * c))
    assert m.input_hz <= 3.0
    assert m.resistors_ohm["modulator input balance"] == r
    assert made().input_hz == 0.0


@pytest.mark.parametrize(("form", "allowed"), [("clocked", 790e3), ("self-oscillating", 480e3)])
def test_delays_end_the_frequency_and_the_refusal_says_where(form: str, allowed: float) -> None:
    made(form=form, switching_hz=allowed)
    with pytest.raises(NoSolutionError) as refused:
        made(form=form, switching_hz=allowed, mosfet=LARGE, dead_time_s=450e-9, node_s=450e-9)
    assert "amplifier.switching" in str(refused.value.quantity)
    assert "at most" in (refused.value.limit or "")
    limit_khz = float((refused.value.limit or "").split()[2])
    made(form=form, switching_hz=0.99e3 * limit_khz, mosfet=LARGE, dead_time_s=450e-9, node_s=450e-9)


def test_reach_falls_with_the_frequency() -> None:
    fast, slow = made(switching_hz=600e3), made(switching_hz=100e3)
    assert fast.modulation_reach == pytest.approx(1.0 - 2.0 * 80e-9 * fast.switching_hz)
    assert fast.modulation_reach < 0.95 < slow.modulation_reach
    assert made(form="self-oscillating", switching_hz=400e3).modulation_reach > 0.95


def test_an_op_amp_may_be_stated() -> None:
    assert made(op_amp="LM833").op_amp_id == "LM833"
    with pytest.raises(PartNotFoundError):
        made(op_amp="LM8333")


def test_rails_beyond_every_follower_are_refused() -> None:
    with pytest.raises(NoSolutionError, match="follower"):
        made(rail_low_v=180.0, rail_nominal_v=200.0, rail_high_v=230.0, peak_v=180.0)


def test_a_hot_follower_gets_a_heatsink() -> None:
    assert clip_on_k_per_w(0.5) is None
    assert clip_on_k_per_w(1.6) == 30.0
    assert clip_on_k_per_w(4.0) == 12.0
    assert clip_on_k_per_w(9.0) == 0.0
    hot = need("half-bridge, high rails", mosfet=LARGE)
    uses = {use.role: use for use in modulator_uses(design_modulator(hot, LIBRARY), hot, LIBRARY)}
    assert "heatsink" in uses["driver supply follower"].description


def test_supplies_regulate_at_the_lowest_rail() -> None:
    for kind in ("half-bridge", "full bridge", "half-bridge, high rails"):
        wish = need(kind)
        s = design_supplies(supply_need(wish), LIBRARY)
        left = wish.rail_low_v - s.driver_a * s.resistors_ohm["driver supply dropper"] - s.driver_v
        assert left >= 1.5  # the transistor still works
        assert s.op_v == pytest.approx(11.2, abs=0.3)
        assert 4.4 < s.logic_v < 5.4
