"""Tables of the protection sheet: what coarse resistors cost, and who moves each threshold."""

from __future__ import annotations

from subwright.base.units import show
from subwright.outputs.sheet_parts import CORNER, Entry
from subwright.outputs.tables import number, percent
from subwright.outputs.views import Grid
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_records import OverCurrentTrip

__all__ = [
    "contributor_grid",
    "input_grid",
    "lamp_span",
    "over_current_entries",
    "tolerance_grid",
    "trimmer_grid",
]

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


def trimmer_grid(result: ProtectionResult) -> Grid | None:
    """What each trimmer reaches; None where there is none."""
    if not result.trimmers:
        return None
    rows = []
    for t in result.trimmers:
        unit = "K" if t.unit == "°C" else t.unit
        rows.append(
            (
                t.protection,
                f"{show(t.fixed_ohm, 'resistance')} + {show(t.track_ohm, 'resistance')}",
                show(t.set_ohm, "resistance"),
                f"{show(t.need_low_ohm, 'resistance')} to {show(t.need_high_ohm, 'resistance')}",
                f"{show(t.least_ohm, 'resistance')} to {show(t.most_ohm, 'resistance')}",
                f"{number(t.trip_shut, t.unit)} to {number(t.trip_open, t.unit)}",
                f"±{number(t.window_without, unit)}",
                f"±{number(t.window_with, unit)}",
            )
        )
    return Grid(
        title="Trimmers",
        header=(
            "trip",
            "resistor and track",
            "of the track, nominal unit",
            "arm that any unit may take",
            "arm that is always there",
            "trip, track shut to open",
            "window without",
            "window with",
        ),
        rows=tuple(rows),
        figures=frozenset(range(1, 8)),
        note="What any unit may take lies inside what is always there: the trip can be set in every unit.",
    )


def input_grid(result: ProtectionResult) -> Grid:
    """Each comparator's lower input against the end of its range, corner by corner."""
    corners = tuple(dict.fromkeys(i.corner for i in result.inputs))
    watches = tuple(dict.fromkeys(i.watch for i in result.inputs))
    at = {(i.watch, i.corner): i for i in result.inputs}
    return Grid(
        title="Comparator inputs against their range",
        header=("comparator", *(CORNER[corner] for corner in corners)),
        rows=tuple(
            (
                watch,
                *(
                    f"{number(at[watch, corner].lower_v, 'V')} of {number(at[watch, corner].limit_v, 'V')}"
                    for corner in corners
                ),
            )
            for watch in watches
        ),
        figures=frozenset(range(1, len(corners) + 1)),
        note="The lower input, and where the range ends: supply less headroom, limits that hurt. One input "
        "inside is enough. While the starter turns the unit is off anyway.",
    )


def lamp_span(result: ProtectionResult) -> str:
    """Current of a status lamp from least to most."""
    currents = result.lamp_currents
    return f"{show(currents.low_a, 'current')} to {show(currents.high_a, 'current')}"


def over_current_entries(result: ProtectionResult) -> list[Entry]:
    """The over-current trips of battery and amplifier, where there are any."""
    return [
        *_trip_entries("over-current trip", result.over_current),
        *_trip_entries("amplifier over-current trip", result.amplifier_current),
    ]


def _trip_entries(name: str, trip: OverCurrentTrip | None) -> list[Entry]:
    if trip is None:
        return [(name, "none")]
    what = "shunt" if trip.method == "shunt" else "drop of the switches"
    low, high = show(trip.low_a, "current"), show(trip.high_a, "current")
    upper, lower = show(trip.upper_ohm, "resistance"), show(trip.lower_ohm, "resistance")
    then = "tries again" if trip.after == "retry" else "stays off until switched off"
    acts = (
        "a dead short may never reach it"
        if trip.response_s is None
        else f"acts on a dead short within {show(trip.response_s, 'time')}"
    )
    return [
        (name, f"{show(trip.nominal_a, 'current')} by the {what}, {low} to {high} over all parts"),
        (
            f"{name}: parts",
            f"{show(trip.sense_ohm, 'resistance')}, level {upper} over {lower}, filter "
            f"{show(trip.filter_ohm, 'resistance')} and {show(trip.filter_f, 'capacitance')}",
        ),
        (f"{name}: then", f"{acts}, then {then}"),
    ]
