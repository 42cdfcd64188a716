"""``subwright fitted``: the thresholds of one unit from what was measured on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress

if TYPE_CHECKING:
    from subwright.stages.protection_fitted import FittedProtection, FittedThreshold, Measurable, Trim

__all__ = ["fitted"]


def fitted(file: Path, measured: Sequence[str]) -> Answer:
    """Show a unit's thresholds and trims; without measurements, what may be measured."""
    values = dict(_pair(text) for text in measured)
    with progress("designing") as report:
        solved = service.solve(file, report)
    if not values:
        parts = service.measurable_parts(solved)
        return Answer(
            command="fitted", data=lambda: {"measurable": parts}, text=lambda: Group(*_list_lines(parts))
        )
    found = service.fitted_protection(solved, values)

    def data() -> Mapping[str, object]:
        return {"measured": found.measured, "thresholds": found.thresholds, "trims": found.trims}

    def text() -> RenderableType:
        return Group(*_lines(found))

    return Answer(command="fitted", data=data, text=text)


def _pair(text: str) -> tuple[str, str]:
    role, equals, value = text.rpartition("=")
    if not equals or not role.strip() or not value.strip():
        raise SubwrightError(
            message=f"{text!r} isn't a measured part.",
            quantity="measured part",
            value=text,
            remedy='Write the part, an equals sign and the value: -m "under-voltage feedback=471k".',
        )
    return role.strip(), value.strip()


def _list_lines(parts: Sequence[Measurable]) -> Iterator[Text]:
    yield Text("What may be measured, and what it should be:", style="bold")
    width = max(len(part.role) for part in parts)
    for part in parts:
        dimension = "voltage" if part.unit == "V" else "resistance"
        yield Text(f"  {part.role:<{width}}  {show(part.nominal, dimension, 4)}")
    yield Text("Resistors before they are soldered in; the reference once it runs. Then, for example:")
    first = next(part for part in parts if part.unit == "Ω")
    yield Text(f'  subwright fitted FILE -m "{first.role}={first.nominal * 1.004 / 1e3:.2f}k"')


def _value(value: float, unit: str) -> str:
    return show(value, "voltage" if unit == "V" else "temperature", 4)


def _lines(found: FittedProtection) -> Iterator[Text]:
    yield Text("Thresholds of this unit", style="bold")
    width = max(len(threshold.name) for threshold in found.thresholds)
    for threshold in found.thresholds:
        yield Text(f"  {threshold.name:<{width}}  {_threshold(threshold)}")
    yield Text("")
    yield Text("To centre each trip", style="bold")
    for trim in found.trims:
        yield Text(clean(f"  {_sentence(trim)}"))


def _threshold(row: FittedThreshold) -> str:
    return (
        f"{_value(row.here, row.unit)}  (wanted {_value(row.target, row.unit)}; between "
        f"{_value(row.low, row.unit)} and {_value(row.high, row.unit)} with what wasn't measured)"
    )


def _sentence(trim: Trim) -> str:
    before, after = _value(trim.trip_before, trim.unit), _value(trim.trip_after, trim.unit)
    release = _value(trim.release_after, trim.unit)
    if trim.how == "leave" or trim.add_ohm is None:
        wanted = _value(trim.target, trim.unit)
        return f"{trim.protection}: leave it; {before} is as near to {wanted} as it need be."
    add = show(trim.add_ohm, "resistance")
    if trim.how == "trimmer":
        fixed = show(trim.fitted_ohm, "resistance")
        return (
            f"{trim.protection}: turn the trimmer to {add}, in series with {fixed}; it then trips at "
            f"{after}, back at {release} (from {before} with the trimmer shut)."
        )
    return (
        f"{trim.protection}: solder {add} in {trim.how} with the {trim.role}; the trip moves from "
        f"{before} to {after}, the release to {release}."
    )
