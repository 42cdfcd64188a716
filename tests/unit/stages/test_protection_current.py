"""Over-current trip, hold-off, lamps and link: by a second route, and over all tolerances."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.physics.batteries import corner_defaults
from subwright.stages.common import Corner
from subwright.stages.protection import (
    ProtectionInput,
    ProtectionResult,
    ProtectionSpec,
    design_protection,
)
from subwright.stages.protection_records import CurrentInput

CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
CURRENT = CurrentInput(
    crest_a=50.0,
    rms_a=26.0,
    fault_a=450.0,
    switch_ohm=4e-3,
    switch_hot_ratio=1.5,
    switch_limit_a=220.0,
)
DATA = ProtectionInput(
    battery="lead-acid",
    system_v=12,
    corners=dict(zip(CORNERS, (d.volts for d in corner_defaults("lead-acid", 12)), strict=True)),
    controller_vref_v=5.1,
    controller_vref_tolerance=0.01,
    source_resistance_ohm=0.02,
    load_step_a=30.0,
    current=CURRENT,
)


def design(spec: ProtectionSpec, data: ProtectionInput = DATA) -> ProtectionResult:
    return design_protection(spec, data, load_library())


def test_shunt_trip_over_every_combination_of_limits() -> None:
    result = design(ProtectionSpec(over_current="shunt"))
    trip = result.over_current
    assert trip is not None
    assert is_member(trip.sense_ohm, "E6")
    assert is_member(trip.upper_ohm, "E24")
    assert trip.target_a == pytest.approx(75.0)
    tap = trip.lower_ohm / (trip.lower_ohm + trip.upper_ohm)
    assert trip.nominal_a == pytest.approx(5.1 * tap / trip.sense_ohm)
    assert trip.nominal_a == pytest.approx(trip.target_a, rel=0.05)
    comparator = load_library().comparator(result.comparator)
    spread = 0.01 + 0.004
    found = [
        (5.1 * ref / (1 + trip.upper_ohm * upper / (trip.lower_ohm * lower)) + offset * comparator.vos_max_v)
        / (trip.sense_ohm * shunt)
        for ref, lower, upper, shunt, offset in product(
            (0.99, 1.01),
            (1 - spread, 1 + spread),
            (1 - spread, 1 + spread),
            (1 - spread, 1 + spread),
            (-1, 1),
        )
    ]
    assert trip.low_a == pytest.approx(min(found), rel=1e-9)
    assert trip.high_a == pytest.approx(max(found), rel=1e-9)
    assert trip.first[0] == "comparator offset"


def test_switch_drop_is_wider_and_costs_nothing() -> None:
    shunt = design(ProtectionSpec(over_current="shunt")).over_current
    drop = design(ProtectionSpec(over_current="switch")).over_current
    assert shunt is not None
    assert drop is not None
    assert drop.sense_w == 0.0
    assert shunt.sense_w == pytest.approx(26.0**2 * shunt.sense_ohm)
    assert drop.high_a / drop.low_a > shunt.high_a / shunt.low_a
    assert drop.first[0] == "switch resistance"


def test_response_to_a_dead_short_by_stepping() -> None:
    trip = design(ProtectionSpec(over_current="shunt")).over_current
    assert trip is not None
    volts, step, count = 0.0, trip.filter_s / 20_000, 0
    while volts < trip.high_a:
        volts += step * (450.0 - volts) / trip.filter_s
        count += 1
    assert trip.response_s == pytest.approx(count * step, rel=1e-3)
    weak = replace(DATA, current=replace(CURRENT, fault_a=60.0))
    slow = design(ProtectionSpec(over_current="shunt"), weak).over_current
    assert slow is not None
    assert slow.response_s is None
    assert slow.high_a > slow.short_a == 60.0


def test_a_cold_switch_is_slow_but_not_blind() -> None:
    """Its drop is small, its level as it was: the level counts against what the reading can reach."""
    current = replace(CURRENT, crest_a=2.95, fault_a=95.0, switch_ohm=45.5e-3, switch_limit_a=35.0)
    trip = design(ProtectionSpec(over_current="switch"), replace(DATA, current=current)).over_current
    assert trip is not None
    assert trip.drop is not None
    cold_ohm = 0.6 * 45.5e-3
    level_v = trip.high_a * trip.drop.conduction * cold_ohm
    assert level_v < trip.drop.most_v < trip.high_a / trip.nominal_a * trip.level_v
    assert trip.short_a == pytest.approx(min(95.0, trip.drop.most_v / cold_ohm))
    assert trip.response_s is not None
    # by stepping: pull-up and load drive the filter once the drain has let go
    pull, load = trip.drop.pull_ohm, trip.drop.load_ohm
    tau = trip.filter_f * (trip.filter_ohm + pull * load / (pull + load))
    final, volts, step, count = min(95.0 * cold_ohm, trip.drop.most_v), 0.0, tau / 20_000, 0
    while volts < level_v:
        volts += step * (final - volts) / tau
        count += 1
    assert trip.response_s == pytest.approx(count * step, rel=2e-3)


def test_parts_follow_the_choice() -> None:
    bare = {p.role for p in design(ProtectionSpec()).parts}
    full = design(ProtectionSpec(over_current="shunt", over_current_after="latch"))
    roles = {p.role for p in full.parts}
    assert len(roles) == len(full.parts)
    assert {"over-current shunt", "over-current lamp", "over-current latch, NPN"} <= roles - bare
    assert "isolating link" in bare
    assert "isolating link" not in {p.role for p in design(ProtectionSpec(isolating_link=False)).parts}
    assert full.lamps == ("under-voltage", "over-voltage", "thermal", "over-current")
    comparator = next(p for p in full.parts if p.role == "protection comparator")
    assert comparator.quantity * load_library().comparator(comparator.part_id).channels >= 5


def test_amplifier_trip_has_its_own_network_and_lamp() -> None:
    data = replace(
        DATA,
        output_current=CurrentInput(crest_a=12.0, rms_a=6.0, fault_a=300.0, switch_limit_a=60.0),
    )
    spec = ProtectionSpec(over_current="shunt", amplifier_current="shunt", lamp_a=0.5e-3)
    result = design(spec, data)
    trip = result.amplifier_current
    assert trip is not None
    assert trip.target_a == pytest.approx(18.0)
    assert trip.low_a > 12.0
    assert trip.high_a < 60.0
    roles = [p.role for p in result.parts]
    assert len(set(roles)) == len(roles)
    assert {"amplifier over-current shunt", "amplifier over-current lamp"} <= set(roles)
    assert result.lamps[-1] == "amplifier over-current"
    comparator = next(p for p in result.parts if p.role == "protection comparator")
    assert comparator.quantity * load_library().comparator(comparator.part_id).channels >= 6
    assert result.reference.load_a <= result.reference.limit_a


def test_hold_off_fills_to_the_half_reference() -> None:
    """Capacitor behind its resistor, filled step by step until the line beside it reaches half."""
    result = design(ProtectionSpec(hold_off_s=0.3))
    held = result.hold_off
    assert is_member(held.capacitor_f, "E6")
    bias = load_library().comparator(result.comparator).ib_a
    volts, step, seconds = result.reference.nominal_v, 2e-5, 0.0
    capacitor = 0.6  # let go a diode (0.5 V at ten microamperes) and a saturated output above ground
    while True:
        current = (volts - capacitor + bias * 470e3) / (470e3 + 10e3)
        if capacitor + current * 10e3 >= volts / 2:
            break
        capacitor += step * current / held.capacitor_f
        seconds += step
    assert held.nominal_s == pytest.approx(seconds, rel=1e-3)
    assert held.nominal_s >= 0.3
    assert held.low_s < held.nominal_s < held.high_s
    assert not held.emptied
    quick = design(ProtectionSpec(hold_off_s=0.3, over_current="shunt")).hold_off
    assert quick.emptied
    assert quick.high_s > held.high_s  # from an empty capacitor it takes longer


def test_drop_of_the_switches_through_its_diodes() -> None:
    """Level and sense solved with the diodes' own exponential: they cancel at the trip."""
    trip = design(ProtectionSpec(over_current="switch")).over_current
    assert trip is not None
    drop = trip.drop
    assert drop is not None
    assert drop.conduction * trip.nominal_a == pytest.approx(trip.held_a)
    thermal_v, saturation_a = 1.75 * 0.0259, 0.3e-3 / np.exp(0.55 / (1.75 * 0.0259))

    def second(first_v: float, first_ohm: float, feed_v: float, pull_ohm: float) -> float:
        """Voltage over the load behind a diode pair whose first ends on a source, V."""
        low, high = 0.0, feed_v
        for _ in range(80):
            node = 0.5 * (low + high)  # where the two diodes meet
            out_low, out_high = 0.0, node
            for _ in range(60):
                out = 0.5 * (out_low + out_high)
                through = saturation_a * np.expm1((node - out) / thermal_v)
                out_low, out_high = (out, out_high) if through > out / drop.load_ohm else (out_low, out)
            into = (feed_v - node) / pull_ohm - out / drop.load_ohm
            end = first_v + into * first_ohm
            if into < saturation_a * np.expm1((node - end) / thermal_v):
                high = node
            else:
                low = node
        return out

    source = trip.upper_ohm * trip.lower_ohm / (trip.upper_ohm + trip.lower_ohm)
    tap = 5.1 * trip.lower_ohm / (trip.upper_ohm + trip.lower_ohm)
    level = second(tap, source, 5.1, drop.level_pull_ohm)
    sense = second(trip.held_a * trip.sense_ohm, 0.0, drop.gate_v, drop.pull_ohm)
    assert sense == pytest.approx(level, rel=0.01)


def test_a_current_that_flows_both_ways_is_watched_both_ways() -> None:
    output = CurrentInput(crest_a=12.0, rms_a=6.0, fault_a=300.0, both_ways=True)
    result = design(ProtectionSpec(amplifier_current="shunt"), replace(DATA, output_current=output))
    trip = result.amplifier_current
    assert trip is not None
    assert trip.sections == 2
    roles = {p.role: p for p in result.parts}
    assert {"amplifier over-current negative level upper", "amplifier over-current level upper"} <= set(roles)
    comparator = roles["protection comparator"]
    assert comparator.quantity * load_library().comparator(comparator.part_id).channels >= 6


def test_a_method_that_cannot_see_the_current_is_refused() -> None:
    blind = replace(CURRENT, unseen_by={"switch": "it stands elsewhere"})
    with pytest.raises(NoSolutionError, match="it stands elsewhere"):
        design(ProtectionSpec(over_current="switch"), replace(DATA, current=blind))
    assert design(ProtectionSpec(over_current="shunt"), replace(DATA, current=blind)).over_current


def test_lamps_at_the_limits() -> None:
    result = design(ProtectionSpec())
    currents = result.lamp_currents
    assert currents.low_a < currents.nominal_a < currents.high_a
    assert currents.nominal_a == pytest.approx(result.lamp_a)
    assert currents.low_a > 0.3e-3


def test_refusals() -> None:
    with pytest.raises(NoSolutionError) as caught:
        design(
            ProtectionSpec(over_current="switch"),
            replace(DATA, current=CurrentInput(crest_a=5.0, rms_a=2.0, fault_a=100.0)),
        )
    assert "shunt" in caught.value.remedy
    with pytest.raises(NoSolutionError):
        design(
            ProtectionSpec(over_current="shunt", over_current_trip_a=2.0),
            replace(DATA, current=replace(CURRENT, rms_a=60.0)),
        )
