"""Speaker switch and amplifier shunt in the path of the load: counted in power, heat and energy balance."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import pytest

from subwright.build import solver
from subwright.build.electrical import Electrical, design_electrical
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.service import open_build
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[3] / "examples"
_VAN = open_build(EXAMPLES / "storyteller-van.build.toml").spec
# Stated, so that whole turns meet the power: the rail that the drivers' own dead time asks for falls between.
_OWN = {"dead_time_s": 40e-9, "control_current_a": 20e-3}
VAN = _VAN.model_copy(update={"drawer": None, "amplifier": _VAN.amplifier.model_copy(update=_OWN)})
BIKE = open_build(EXAMPLES / "cargo-bike-cinema.build.toml").spec.model_copy(update={"drawer": None})


def with_parts(spec: BuildSpec, switch: str, current: str = "none") -> BuildSpec:
    return spec.model_copy(
        update={
            "speaker_guard": spec.speaker_guard.model_copy(update={"switch": switch}),
            "protection": spec.protection.model_copy(update={"amplifier_current": current}),
        }
    )


def solve(spec: BuildSpec) -> Design:
    return solve_build(spec, load_library())


def output_w(design: Design) -> float:
    return next(p.output_w for p in design.points if p.corner is Corner.NOMINAL and p.level is Level.FULL)


def test_the_switch_stands_in_series_with_the_load() -> None:
    without, with_switch = solve(with_parts(BIKE, "none")), solve(with_parts(BIKE, "mosfet"))
    guard = with_switch.speaker_guard
    assert guard is not None
    switch = guard.switch
    assert switch is not None
    added = with_switch.amplifier.output_resistance_ohm - without.amplifier.output_resistance_ohm
    assert added == pytest.approx(switch.resistance_ohm, rel=1e-9)
    # Straight from the battery nothing makes up for it: the load's share falls with the square of its
    # divider, and the battery sags a little less.
    load, old = without.amplifier.load_ohm, without.amplifier.output_resistance_ohm
    share = ((load + old) / (load + old + added)) ** 2
    assert share < output_w(with_switch) / output_w(without) < 1.0


def test_rails_make_up_for_the_switch() -> None:
    without, with_switch = solve(with_parts(VAN, "none")), solve(with_parts(VAN, "mosfet"))
    assert output_w(with_switch) == pytest.approx(VAN.goal.power_w, rel=0.07)
    assert with_switch.amplifier.rail_needed_v > without.amplifier.rail_needed_v


@pytest.mark.parametrize("switch", ["mosfet", "relay"])
def test_no_watt_of_it_is_lost(switch: str) -> None:
    design = solve(with_parts(VAN, switch, "shunt"))
    trip, guard = design.protection.amplifier_current, design.speaker_guard
    assert trip is not None
    assert guard is not None
    assert abs(design.balance.imbalance) < 1e-9
    lead = next(watts for name, watts in design.balance.entries if name.endswith("speaker lead"))
    ohm = design.wiring.speaker.resistance_ohm + guard.resistance_ohm + trip.sense_ohm
    assert guard.resistance_ohm > 0.0
    # The rest of the balance's entries say what reaches the terminals, so the current follows from them.
    others = sum(
        watts
        for name, watts in design.balance.entries
        if name
        in (
            "voice coil",
            "eddy currents in the motor",
            "suspension",
            "box leakage",
            "box absorption",
            "port friction",
            "sound",
        )
    )
    grid, impedance = design.enclosure.frequency_hz, design.enclosure.impedance_ohm
    at = int(abs(grid - design.balance.frequency_hz).argmin())
    square = others / float(impedance[at].real)
    assert lead == pytest.approx(square * ohm, rel=1e-3)


def test_the_shunt_that_is_counted_is_the_one_built() -> None:
    design = solve(with_parts(VAN, "none", "shunt"))
    plain = solve(with_parts(VAN, "none"))
    trip = design.protection.amplifier_current
    assert trip is not None
    assert trip.method == "shunt"
    added = design.amplifier.output_resistance_ohm - plain.amplifier.output_resistance_ohm
    assert added == pytest.approx(trip.sense_ohm, rel=1e-6)
    assert trip.sense_w == pytest.approx((design.amplifier.peak_a / sqrt(2.0)) ** 2 * trip.sense_ohm)


def test_expected_and_settled_switch_agree_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else every design would be settled twice."""
    calls: list[float] = []

    def counted(*args: object) -> Electrical:
        calls.append(1.0)
        return design_electrical(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(solver, "design_electrical", counted)
    for name in ("storyteller-van", "canal-workboat", "cargo-bike-cinema"):
        calls.clear()
        solve(open_build(EXAMPLES / f"{name}.build.toml").spec.model_copy(update={"drawer": None}))
        assert len(calls) == 1, name


def test_the_balance_is_struck_on_a_note_that_plays() -> None:
    design = solve(VAN)
    assert design.enclosure.lowest_note_hz <= design.balance.frequency_hz <= design.spec.filter.corner_hz
