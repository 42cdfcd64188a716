"""Class G and class H: thresholds by network solution, parts that stand it, refusals, and heat saved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.amplifier_rails import lifted_threshold_v, rail_heat
from subwright.stages.common import Corner
from subwright.stages.supply import SupplySpec, supply_corners

LIBRARY = load_library()
TWELVE = supply_corners(SupplySpec())[0]
TWENTY_FOUR = supply_corners(SupplySpec(system_v=24))[0]


def design(kind: str, power_w: float | None, corners: object = TWELVE, **wishes: object) -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, **wishes})
    return design_amplifier(
        spec, power_w, 4.0, corners, LIBRARY, source_resistance_ohm=0.02, speaker_cable_ohm=0.05
    )


def test_the_lifting_threshold_by_solving_both_nodes() -> None:
    rails = design("bridge_class_h", None).rail_switching
    assert rails is not None
    r = rails.resistors_ohm
    for battery in (11.0, 12.6, 16.0):
        for lifted in (False, True):
            leg = float(lifted_threshold_v(r, battery, 2.495, lifted=lifted))
            # a network of three resistors into each input
            minus = np.average(
                [leg, 0.0, 2.495],
                weights=[
                    1 / r["threshold output"],
                    1 / r["threshold output to ground"],
                    1 / r["threshold reference"],
                ],
            )
            plus = np.average(
                [battery, 0.0, 0.2 if lifted else battery],
                weights=[
                    1 / r["threshold battery"],
                    1 / r["threshold battery to ground"],
                    1 / r["threshold hysteresis"],
                ],
            )
            assert minus == pytest.approx(plus, rel=1e-9)


def test_it_lifts_before_the_leg_runs_out_at_every_battery() -> None:
    result = design("bridge_class_h", None)
    rails, model = result.rail_switching, result.model
    assert rails is not None
    assert isinstance(model, ClassABModel)
    for corner in (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX):
        battery = TWELVE[corner]
        trip = float(lifted_threshold_v(rails.resistors_ohm, battery, 2.495, lifted=False))
        assert trip < battery - rails.diode_v - 0.5 * model.drop_v
        release = float(lifted_threshold_v(rails.resistors_ohm, battery, 2.495, lifted=True))
        assert 0.3 < trip - release < 0.9
    # the mean of where it takes over and where it lets go, for both legs
    nominal = TWELVE[Corner.NOMINAL]
    assert model.head_v == pytest.approx(2.0 * nominal - rails.trip_v - rails.release_v)
    assert rails.head_v == pytest.approx(nominal - rails.trip_v)


def test_only_preferred_values_and_the_whole_bill() -> None:
    lifted, pairs = design("bridge_class_h", None), design("class_g", 150.0)
    for result in (lifted, pairs):
        rails = result.rail_switching
        assert rails is not None
        assert all(is_member(ohms, "E24") for ohms in rails.resistors_ohm.values())
        assert all(is_member(farads, "E6") for farads in rails.capacitors_f.values())
        roles = [part.role for part in result.parts]
        assert len(roles) == len(set(roles))
        for part in result.parts:
            for rating in part.ratings:
                assert rating.applied <= rating.limit, (part.role, rating.quantity)
    named = {part.role for part in lifted.parts}
    assert named >= {"lifting switch", "charging switch", "lifting comparator", "commutation diode"}
    named = {part.role for part in pairs.parts}
    assert named >= {"positive follower", "negative follower", "inner rectifier", "inner reservoir"}
    assert design("class_ab", 150.0).rail_switching is None


def test_a_battery_above_the_gates_is_refused() -> None:
    with pytest.raises(NoSolutionError, match=r"gates.*battery"):
        design("bridge_class_h", None, TWENTY_FOUR)


def test_inner_rails_below_the_stages_own_drop_are_refused() -> None:
    with pytest.raises(NoSolutionError, match="inner rails are too low"):
        design("class_g", 5.0, inner_rail=0.25)


@pytest.mark.parametrize(("kind", "power_w"), [("class_g", 150.0), ("bridge_class_h", None)])
def test_heat_with_a_sine_by_integration_over_time(kind: str, power_w: float | None) -> None:
    result = design(kind, power_w)
    model, rail = result.model, result.rail_needed_v
    v = result.peak_v * np.sin((np.arange(4000) + 0.5) * (np.pi / 8000))
    terms = model.losses_w(v, v / 4.0, rail)
    warm = [n for n in terms if n not in ("ballast resistors", "driver and input stages", "speaker lead")]
    expected = sum(float(np.mean(terms[name])) for name in warm)
    assert result.rail_heat[-1].switched_w == pytest.approx(expected, rel=5e-3)
    total = sum(float(np.mean(watts)) for watts in terms.values())
    drawn = float(np.mean(model.input_power_w(v, v / 4.0, rail)))
    assert drawn - result.power_w == pytest.approx(total, rel=5e-3)


def test_class_g_saves_most_with_quiet_programme() -> None:
    rows = design("class_g", 150.0).rail_heat
    saved = [1.0 - row.switched_w / row.plain_w for row in rows[1:]]
    assert saved[1] > 0.5  # an eighth of the power lies on the inner rails
    assert saved[0] > 0.3
    assert 0.0 < saved[2] < saved[0]


def test_without_a_second_rail_the_table_shows_no_difference() -> None:
    model = design("class_g", 150.0).model
    assert isinstance(model, ClassABModel)
    same = replace(model.plain(), inner_ratio=0.9999999, diode_v=0.0)
    for row in rail_heat(same, 30.0, 4.0, 40.0, 9.0):
        assert row.switched_w == pytest.approx(row.plain_w, rel=1e-5)
