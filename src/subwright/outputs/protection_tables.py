"""Tables of the protection sheet: what coarse resistors cost, and who moves each threshold."""

from __future__ import annotations

from subwright.base.units import show
from subwright.outputs.sheet_parts import Entry
from subwright.outputs.tables import number, percent
from subwright.outputs.views import Grid
from subwright.stages.protection import ProtectionResult

__all__ = ["contributor_grid", "lamp_span", "over_current_entries", "tolerance_grid"]

_FIRST = 4


def tolerance_grid(result: ProtectionResult) -> Grid:
    """1 % against 5 % resistors, and 5 % with the best two bought at 1 %."""
    rows: list[tuple[str, ...]] = []
    for advice in result.advice:
        for what, fine, pair, coarse in (
            ("trip", advice.trip_fine, advice.trip_pair, advice.trip_coarse),
            ("release", advice.release_fine, advice.release_pair, advice.release_coarse),
        ):
            rows.append(
                (
                    f"{advice.protection} {what}",
                    f"±{number(fine, advice.unit)}",
                    f"±{number(coarse, advice.unit)}",
                    f"±{number(pair, advice.unit)}",
                    " and ".join(advice.buy) if what == "trip" else "",
                )
            )
    return Grid(
        title="Resistors: 1 % against 5 %",
        header=("threshold", "all 1 %", "all 5 %", "5 %, two at 1 %", "which two"),
        rows=tuple(rows),
        figures=frozenset({1, 2, 3}),
        note="Half the worst-case window. The two named narrow trip and release most of all pairs.",
    )


def contributor_grid(result: ProtectionResult) -> Grid:
    """The parts that move each threshold most, at their tolerance."""
    rows: list[tuple[str, ...]] = []
    for name in result.thresholds:
        ranked = [c for c in result.contributors if c.result == name][:_FIRST]
        rows.append((name, *(f"{c.part} {percent(abs(c.effect), 2)}" for c in ranked)))
    return Grid(
        title="What moves each threshold most",
        header=("threshold", "first", "second", "third", "fourth"),
        rows=tuple(rows),
        note="Shift of the threshold with that part alone at its limit.",
    )


def lamp_span(result: ProtectionResult) -> str:
    """Current of a status lamp from least to most."""
    currents = result.lamp_currents
    return f"{show(currents.low_a, 'current')} to {show(currents.high_a, 'current')}"


def over_current_entries(result: ProtectionResult) -> list[Entry]:
    """The over-current trip, where there is one."""
    trip = result.over_current
    if trip is None:
        return [("over-current trip", "none")]
    what = "shunt" if trip.method == "shunt" else "drop of the switches"
    return [
        ("over-current trip", f"{show(trip.nominal_a, 'current')}, by the {what}"),
        ("over all parts", f"{show(trip.low_a, 'current')} to {show(trip.high_a, 'current')}"),
        ("its sense resistance", show(trip.sense_ohm, "resistance")),
        (
            "its level divider",
            f"{show(trip.upper_ohm, 'resistance')} over {show(trip.lower_ohm, 'resistance')}",
        ),
        (
            "its filter",
            f"{show(trip.filter_ohm, 'resistance')} and {show(trip.filter_f, 'capacitance')}",
        ),
        ("it acts on a dead short within", show(trip.response_s, "time")),
        ("then it", "tries again" if trip.after == "retry" else "stays off until switched off"),
    ]
