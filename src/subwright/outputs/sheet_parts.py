"""What every stage's sheet is put together from: values by field name, limits from findings, reasons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum
from types import MappingProxyType

from subwright.base.errors import SubwrightError
from subwright.base.quantities import dimension_of
from subwright.base.units import show
from subwright.build.result import Design, Finding
from subwright.outputs.flow import Flow
from subwright.outputs.svg import Plot
from subwright.outputs.tables import Fact, cited, every_value, ratings
from subwright.outputs.views import Figure, Later, Sheet
from subwright.stages.common import Corner, Level, PartUse

__all__ = ["CORNER", "LEVEL", "Entry", "drawing", "facts_of", "sheet_of", "shown"]

CORNER: Mapping[Corner, str] = MappingProxyType(
    {
        Corner.MIN: "cranking",
        Corner.LOW: "low",
        Corner.NOMINAL: "nominal",
        Corner.CHARGING: "charging",
        Corner.MAX: "highest",
    }
)
LEVEL: Mapping[Level, str] = MappingProxyType(
    {Level.IDLE: "idle", Level.PROGRAMME: "programme", Level.FULL: "full sine"}
)
_RATINGS = "RAT-"  # rules that repeat the parts' own ratings

Entry = tuple[str, str]  # (dotted field path, label) or (label, text)


def shown(result: object, wanted: Sequence[Entry]) -> tuple[Entry, ...]:
    """(label, printed value) for each (dotted field path, label); a field that is None is left out."""
    out: list[Entry] = []
    for path, label in wanted:
        value = result
        for name in path.split("."):
            value = getattr(value, name)
        if value is None:
            continue
        out.append((label, _text(value, path)))
    return tuple(out)


def _text(value: object, path: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return show(value, dimension_of(path.rpartition(".")[2]))
    raise SubwrightError(
        message=f"{path} can't be printed in a table",
        quantity=path,
        value=type(value).__name__,
        remedy="this is a fault of the programme; please report it with the build file",
    )


def _fact(finding: Finding) -> Fact:
    return Fact(
        quantity=finding.quantity,
        value=show(finding.value, finding.dimension),
        limit=show(finding.limit, finding.dimension),
        margin=None if finding.limit == 0.0 and finding.margin > 0.0 else finding.margin,
        source=cited(finding.source),
        note=finding.code,
    )


def facts_of(design: Design, stage: str) -> tuple[Fact, ...]:
    """Every limit that a rule checks on this stage, the tightest first; part ratings have their own table."""
    found = [f for f in design.findings if f.stage == stage and not f.code.startswith(_RATINGS)]
    return tuple(_fact(f) for f in sorted(found, key=lambda f: (f.margin, f.code, f.quantity)))


def drawing(key: str, plot: Plot | Flow, caption: str = "", *, wide: bool = False) -> Figure:
    """A plot or flow as a figure."""
    return Figure(key=key, drawn=plot, caption=caption, wide=wide)


def sheet_of(
    design: Design,
    key: str,
    title: str,
    result: object,
    *,
    values: Sequence[Entry] = (),
    lead: str = "",
    figures: tuple[Figure, ...] = (),
) -> Sheet:
    """A sheet with what all stages have: values, limits, part ratings, reasons, and the full list."""
    parts: tuple[PartUse, ...] = getattr(result, "parts", ())
    return Sheet(
        key=key,
        title=title,
        lead=lead,
        values=tuple(values),
        facts=Later(lambda: facts_of(design, key)),
        ratings=Later(lambda: ratings(parts)),
        reasons=tuple(getattr(result, "reasons", ())),
        figures=figures,
        more=Later(lambda: tuple(every_value(result))),
    )
