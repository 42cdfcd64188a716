"""Capacitors at the output devices: their size by the leads' swing, their rating, and where none stand."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.physics.class_d import commutation_capacitance_f
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.amplifier_supply_capacitors import (
    CHIP_BYPASS,
    CHIP_RESERVOIR,
    LEG_FILM,
    supply_capacitors,
)
from subwright.stages.supply import SupplySpec, supply_corners

LIBRARY = load_library()
PATH_H = 100e-9  # both leads, as the rule has it


def design(
    kind: str, power_w: float | None, load_ohm: float = 4.0, system_v: int = 12, ab_output: str = "auto"
) -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, "ab_output": ab_output})
    corners = supply_corners(SupplySpec(system_v=system_v))[0]
    return design_amplifier(spec, power_w, load_ohm, corners, LIBRARY, speaker_cable_ohm=0.05)


CLASS_D = [
    ("class_d_half_bridge", 60.0, 4.0, 12),
    ("class_d_half_bridge", 200.0, 4.0, 12),
    ("class_d_full_bridge", 150.0, 4.0, 12),
    ("bridge_class_d", None, 4.0, 12),
    ("bridge_class_d", None, 2.0, 12),
    ("bridge_class_d", None, 4.0, 24),
    ("bridge_class_d", None, 4.0, 48),
]


def swing_v(lead_h: float, farads: float, amps: float, bus_v: float) -> float:
    """How far the supply at the switches rises when both leads' current has only the capacitor to go to.

    Each lead and each rail for itself, stepped through a swing: the load takes its current from the upper
    rail first, then from the lower.
    """
    step_s = 2e-4 * np.sqrt(lead_h * farads)
    upper_a, lower_a, across_v, most_v = amps, 0.0, bus_v, bus_v
    for _ in range(20_000):
        # the capacitor takes what the upper lead still brings; the rest of the load's comes from below
        across_v += upper_a / farads * step_s
        upper_a -= (across_v - bus_v) / lead_h * step_s
        lower_a = amps - upper_a
        most_v = max(most_v, across_v)
    assert lower_a > amps  # it has swung beyond
    return most_v - bus_v


@pytest.mark.parametrize(("kind", "power_w", "load_ohm", "system_v"), CLASS_D, ids=str)
def test_the_leads_swing_stays_within_a_tenth(
    kind: str, power_w: float | None, load_ohm: float, system_v: int
) -> None:
    result = design(kind, power_w, load_ohm, system_v)
    (film,) = supply_capacitors(result)
    bus_v = result.rail_needed_v * (2.0 if result.model.split_rails else 1.0)
    assert swing_v(PATH_H, film.farads, result.switch_peak_a, bus_v) <= 0.1 * bus_v * 1.001
    assert film.farads >= 1e-6
    assert is_member(film.farads, "E6")
    if film.farads > 1e-6:  # no larger than it must be
        smaller = film.farads / 1.6
        assert swing_v(PATH_H, smaller, result.switch_peak_a, bus_v) > 0.1 * bus_v
    assert (film.role, film.count, film.across) == (LEG_FILM, result.model.legs, "leg")
    assert film.applied_v >= result.rail_expected_v * (2.0 if result.model.split_rails else 1.0)
    assert film.rated_v >= 1.5 * film.applied_v
    use = next(part for part in result.parts if part.role == LEG_FILM)
    assert (use.quantity, use.ratings[0].limit) == (result.model.legs, film.rated_v)


LINEAR = [
    ("bridge_class_ab", "auto", 4.0, 12),
    ("bridge_class_ab", "pair", 4.0, 12),
    ("bridge_class_ab", "pair", 8.0, 48),
    ("bridge_class_h", "auto", 2.0, 12),
]


@pytest.mark.parametrize(("kind", "ab_output", "load_ohm", "system_v"), LINEAR, ids=str)
@pytest.mark.parametrize("length_m", [2.0, 12.0])
def test_a_linear_stage_on_the_battery_has_a_bank_for_its_cable(
    kind: str, ab_output: str, load_ohm: float, system_v: int, length_m: float
) -> None:
    """A step of the whole crest, and the cable's current has only the bank to go to."""
    spec = AmplifierSpec.model_validate({"kind": kind, "ab_output": ab_output})
    corners = supply_corners(SupplySpec(system_v=system_v))[0]
    result = design_amplifier(
        spec, None, load_ohm, corners, LIBRARY, source_resistance_ohm=0.02, supply_length_m=length_m
    )
    can, count = LIBRARY.capacitors[result.input_capacitor_id], result.input_capacitor_count
    farads = count * can.capacitance_f * (1.0 - can.tolerance)
    crest_a, volts = result.peak_least_a, result.rail_needed_v
    assert swing_v(1e-6 * length_m, farads, crest_a, volts) <= 0.1 * volts * 1.001
    use = next(part for part in result.parts if part.role == "amplifier input capacitor")
    assert use.quantity == count
    assert all(rating.applied <= rating.limit for rating in use.ratings)
    # at the highest note, by the impedances of the cable and the bank
    omega = 2.0 * np.pi * 300.0
    share = abs(0.02 / (0.02 + 1.0 / (1j * omega * count * can.capacitance_f)))
    phase = np.linspace(0.0, np.pi, 20_001)
    pulses = result.peak_a * float(np.std(np.sin(phase)))
    assert result.rail_ripple_a == pytest.approx(share * pulses, rel=1e-3)
    assert 0.0 < result.rail_ripple_a <= result.input_capacitor_limit_a


def test_a_stage_on_rails_has_none() -> None:
    assert design("class_ab", 20.0).input_capacitor_count == 0


@pytest.mark.parametrize(("kind", "power_w", "load_ohm", "system_v"), CLASS_D, ids=str)
def test_a_leg_s_film_stays_cool(kind: str, power_w: float | None, load_ohm: float, system_v: int) -> None:
    """Its ripple current by pulses put together from harmonics, instant by instant, and its own heat."""
    result = design(kind, power_w, load_ohm, system_v)
    (film,) = supply_capacitors(result)
    assert 0.0 < film.ripple_a <= film.ripple_limit_a
    time = np.arange(4096) / 4096.0
    omega = 2.0 * np.pi * result.switching_hz * np.arange(2049)[1:]
    leads = 0.03 + 1j * omega * PATH_H
    share = leads / (leads + 1.0 / (1j * omega * film.farads))
    squares = []
    for sine in np.sin((np.arange(60) + 0.5) * np.pi / 120):
        pulse = (time < 0.5 * (1.0 + result.modulation_max * sine)) * result.switch_peak_a * sine
        kept = np.fft.rfft(pulse)[1:] / time.size * share
        squares.append(2.0 * float(np.sum(np.abs(kept) ** 2)))
    assert film.ripple_a == pytest.approx(np.sqrt(np.mean(squares)), rel=0.01)
    loss = {"polyester": 0.03, "polypropylene": 0.003}[film.dielectric]
    inner_ohm = loss / (2.0 * np.pi * result.switching_hz * film.farads) + 5e-3
    assert film.ripple_a**2 * inner_ohm <= 10.0 * 35e-3
    use = next(part for part in result.parts if part.role == LEG_FILM)
    assert film.dielectric in use.description
    assert [r.quantity for r in use.ratings] == ["voltage", "ripple current"]


def test_a_hotter_film_is_polypropylene() -> None:
    kinds = {case[1]: supply_capacitors(design(*case))[0].dielectric for case in CLASS_D[:2]}
    assert kinds == {60.0: "polyester", 200.0: "polypropylene"}


def test_the_capacitance_is_that_of_the_swing() -> None:
    farads = commutation_capacitance_f(12.0, 250e-9, 4.0)
    assert swing_v(250e-9, farads, 12.0, 60.0) == pytest.approx(4.0, rel=1e-3)
    with pytest.raises(RangeError):
        commutation_capacitance_f(1.0, 1e-7, 0.0)


@pytest.mark.parametrize(("kind", "power_w", "pins"), [("class_ab", 20.0, 2), ("bridge_class_ab", None, 1)])
def test_a_chip_has_two_at_each_supply_pin(kind: str, power_w: float | None, pins: int) -> None:
    result = design(kind, power_w)
    small, large = supply_capacitors(result)
    assert (small.role, small.farads, small.count, small.film) == (CHIP_BYPASS, 100e-9, pins, True)
    assert (large.role, large.farads, large.count, large.film) == (CHIP_RESERVOIR, 100e-6, pins, False)
    assert small.applied_v == large.applied_v == result.rail_expected_v
    assert small.rated_v >= 1.5 * small.applied_v
    assert large.rated_v >= 1.25 * large.applied_v
    uses = {part.role: part for part in result.parts}
    assert "electrolytic" in uses[CHIP_RESERVOIR].description
    assert "electrolytic" not in uses[CHIP_BYPASS].description
    assert all(uses[role].quantity == pins for role in (CHIP_BYPASS, CHIP_RESERVOIR))


@pytest.mark.parametrize(
    ("kind", "power_w", "ab_output"),
    [("class_ab", 150.0, "pair"), ("class_g", 150.0, "auto"), ("bridge_class_h", None, "auto")],
)
def test_discrete_pairs_have_none_of_these(kind: str, power_w: float | None, ab_output: str) -> None:
    assert supply_capacitors(design(kind, power_w, ab_output=ab_output)) == ()
