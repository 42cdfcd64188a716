"""Selection on test and the advice on buying: one unit's thresholds by a second route."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.base.preferred import is_member
from subwright.outputs.to_json import plain
from subwright.parts.library import load_library
from subwright.physics.batteries import corner_defaults
from subwright.physics.networks.comparators import divider_sense_v, inverting_levels_v, sensing_thresholds_v
from subwright.physics.networks.tolerance import Parameter, worst_case_by_vertices
from subwright.physics.networks.upgrade import rank_pairs
from subwright.stages import protection_upgrade
from subwright.stages.common import Corner
from subwright.stages.protection import (
    ProtectionInput,
    ProtectionResult,
    ProtectionSpec,
    design_protection,
)
from subwright.stages.protection_fitted import REFERENCE_ROLE, fitted_protection, measurable_parts
from subwright.stages.protection_models import Case, saturation
from subwright.stages.protection_records import Threshold
from subwright.stages.protection_settled import settle_networks
from subwright.stages.protection_upgrade import ResistorAdvice, resistor_advice

CORNERS = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
DATA = ProtectionInput(
    battery="lead-acid",
    system_v=12,
    corners=dict(zip(CORNERS, (d.volts for d in corner_defaults("lead-acid", 12)), strict=True)),
    source_resistance_ohm=0.02,
    load_step_a=30.0,
)


def built(trimmer: bool = False) -> ProtectionResult:
    return design_protection(ProtectionSpec(trimmer=trimmer), DATA, load_library())


@pytest.fixture(scope="module")
def result() -> ProtectionResult:
    return built()


def test_nothing_measured_gives_the_design(result: ProtectionResult) -> None:
    found = fitted_protection(result, load_library(), {}, 0.01)
    for threshold in found.thresholds:
        design = result.thresholds[threshold.name]
        assert threshold.here == pytest.approx(design.nominal, rel=1e-9)
        assert threshold.low == pytest.approx(design.window.worst_low, rel=1e-9)
        assert threshold.high == pytest.approx(design.window.worst_high, rel=1e-9)


def test_measured_values_go_straight_into_the_circuit(result: ProtectionResult) -> None:
    network, comparator = result.under_voltage, load_library().comparator(result.comparator)
    lower = 1.031 * network.lower_ohm
    found = fitted_protection(
        result, load_library(), {"under-voltage sense lower": lower, REFERENCE_ROLE: 5.04}, 0.05
    )
    here = {t.name: t for t in found.thresholds}
    trip, release = sensing_thresholds_v(
        top_ohm=2 * network.upper_each_ohm,
        bottom_ohm=lower,
        feedback_ohm=network.feedback_ohm,
        reference_v=5.04,
        pullup_v=5.04,
        pullup_ohm=network.pullup_ohm,
        low_v=saturation(comparator, result.sink_a).nominal,
        bias_a=comparator.ib_a,
    )
    assert here["under-voltage trip"].here == pytest.approx(trip, rel=1e-9)
    assert here["under-voltage release"].here == pytest.approx(release, rel=1e-9)
    over = result.over_voltage
    high, _ = inverting_levels_v(
        r1_ohm=over.reference_ohm,
        r2_ohm=np.inf,
        r3_ohm=over.feedback_ohm,
        supply_v=5.04,
        pullup_ohm=over.pullup_ohm,
        bias_a=comparator.ib_a,
    )
    expected = divider_sense_v(high, over.upper_ohm, over.lower_ohm, bias_a=comparator.ib_a)
    assert here["over-voltage trip"].here == pytest.approx(expected, rel=1e-9)


def test_the_trim_centres_the_trip(result: ProtectionResult) -> None:
    lower = result.under_voltage.lower_ohm
    for off in (0.95, 1.05):
        found = fitted_protection(result, load_library(), {"under-voltage sense lower": off * lower}, 0.01)
        trim = found.trims[0]
        assert trim.how == ("series" if off < 1 else "parallel")
        assert trim.add_ohm is not None
        assert is_member(trim.add_ohm, "E24")
        made = (
            off * lower + trim.add_ohm if trim.how == "series" else 1 / (1 / (off * lower) + 1 / trim.add_ohm)
        )
        again = fitted_protection(result, load_library(), {"under-voltage sense lower": made}, 0.01)
        assert again.thresholds[0].here == pytest.approx(trim.trip_after, rel=1e-9)
        assert again.thresholds[1].here == pytest.approx(trim.release_after, rel=1e-9)
        assert abs(trim.trip_after - trim.target) < 0.2 * abs(trim.trip_before - trim.target)


def test_a_good_unit_is_left_alone(result: ProtectionResult) -> None:
    assert fitted_protection(result, load_library(), {}, 0.05).trims[0].how == "leave"


def test_the_trimmer_lies_inside_its_track() -> None:
    result = built(trimmer=True)
    trims = fitted_protection(result, load_library(), {}, 0.01).trims[:2]
    for trim, network in zip(trims, (result.under_voltage, result.over_voltage), strict=True):
        assert trim.how == "trimmer"
        assert trim.add_ohm is not None
        assert network.trimmer_ohm is not None
        assert 0.05 * network.trimmer_ohm < trim.add_ohm < 0.95 * network.trimmer_ohm
        assert trim.trip_after == pytest.approx(trim.target, rel=1e-9)


def test_measuring_narrows_the_window(result: ProtectionResult) -> None:
    parts = {p.role: p.nominal for p in measurable_parts(result, load_library())}
    before = fitted_protection(result, load_library(), {}, 0.05)
    after = fitted_protection(result, load_library(), parts, 0.05)
    for wide, narrow in zip(before.thresholds, after.thresholds, strict=True):
        assert narrow.high - narrow.low < 0.75 * (wide.high - wide.low)


@pytest.mark.parametrize(
    ("measured", "quantity"),
    [
        ({"under-voltage sens lower": 1e4}, "measured part"),
        ({"under-voltage sense lower": 1e3}, "under-voltage sense lower"),
        ({REFERENCE_ROLE: float("nan")}, REFERENCE_ROLE),
    ],
)
def test_wrong_measurements_are_refused(
    result: ProtectionResult, measured: dict[str, float], quantity: str
) -> None:
    with pytest.raises(RangeError) as caught:
        fitted_protection(result, load_library(), measured, 0.01)
    assert caught.value.quantity == quantity
    assert caught.value.remedy


def test_the_two_to_buy_are_the_best_of_all_pairs() -> None:
    """Every pair by every combination of limits."""
    names = ("top", "bottom", "feedback", "reference")
    values = (68e3, 47e3, 330e3, 5.0)

    def model(x: np.ndarray) -> np.ndarray:
        down, up = sensing_thresholds_v(
            top_ohm=x[0], bottom_ohm=x[1], feedback_ohm=x[2], reference_v=x[3], pullup_v=5.0, low_v=0.2
        )
        return np.stack([down, up])

    def parts(fine: tuple[int, ...]) -> list[Parameter]:
        limits = [0.01 if n in fine else 0.05 for n in range(3)] + [0.02]
        return [Parameter.relative(n, v, t) for n, v, t in zip(names, values, limits, strict=True)]

    coarse, ranked = rank_pairs(model, parts(()), parts((0, 1, 2)))
    low, high = worst_case_by_vertices(model, parts(()))
    # following the signs leaves out the corner that only two flips at once would find
    assert coarse == pytest.approx(0.5 * (high - low), rel=2e-3)
    left = {}
    for pair in combinations(range(3), 2):
        few_low, few_high = worst_case_by_vertices(model, parts(pair))
        left[pair] = float(np.mean((few_high - few_low) / (high - low)))
    best = min(left, key=left.__getitem__)
    assert ranked[0].parts == tuple(names[n] for n in best)
    assert [r.left for r in ranked] == pytest.approx(sorted(left.values()), rel=3e-3)


def test_parts_that_cannot_be_bought_finer_are_refused() -> None:
    parts = [Parameter.relative("R1", 1.0, 0.05), Parameter.relative("R2", 1.0, 0.05)]
    finer = [Parameter.relative("R1", 1.0, 0.01), parts[1]]
    with pytest.raises(RangeError):
        rank_pairs(lambda x: x[:1], parts, finer)
    with pytest.raises(RangeError):
        rank_pairs(lambda x: x[:1], parts, finer[:1])


def test_advice_waits_until_somebody_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def counted(
        cases: Callable[[float], tuple[Case, ...]], thresholds: Mapping[str, Threshold]
    ) -> tuple[ResistorAdvice, ...]:
        asked.append(1)
        return resistor_advice(cases, thresholds)

    monkeypatch.setattr(protection_upgrade, "resistor_advice", counted)
    settle_networks.cache_clear()  # another test may have looked already
    one, other = (
        design_protection(ProtectionSpec(), replace(DATA, load_step_a=step_a), load_library())
        for step_a in (28.7, 29.3)  # of which nobody else asks: whole results are remembered too
    )
    assert not asked
    assert len(one.advice) == 3
    assert one.advice[0].protection == "under-voltage"
    assert len(asked) == 1
    assert one.advice == other.advice
    written = plain(one.advice)
    assert isinstance(written, list)
    assert written[2] == plain(one.advice[2])


def test_advice_beside_a_trimmer_is_no_better_than_all_fine() -> None:
    """A trimmer's rule bends the windows: signs turn within the limits."""
    result = design_protection(ProtectionSpec(trimmer=True, thermal_trimmer=True), DATA, load_library())
    for advice in result.advice:
        for fine, pair, coarse in (
            (advice.trip_fine, advice.trip_pair, advice.trip_coarse),
            (advice.release_fine, advice.release_pair, advice.release_coarse),
        ):
            assert 0.999 * fine <= pair <= 1.001 * coarse


def test_advice_lies_between_fine_and_coarse(result: ProtectionResult) -> None:
    assert [a.protection for a in result.advice] == ["under-voltage", "over-voltage", "thermal"]
    for advice in result.advice:
        assert advice.trip_fine < advice.trip_pair < advice.trip_coarse
        assert advice.release_fine < advice.release_pair < advice.release_coarse
        assert advice.left <= advice.second_left < 1.0
        roles = {p.role for p in result.parts} | {"thermal thermistor series"}
        assert set(advice.buy) <= roles
