"""What the pages show, as plain text records: the templates and writers below know nothing of stages.

Everything here is already formatted. Text may come from the build file and is escaped where it's written;
only ``Figure.svg`` holds markup, made by this package's own drawing code.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeVar, overload

from subwright.outputs.bom import BomRow
from subwright.outputs.drawing import standalone
from subwright.outputs.flow import Flow
from subwright.outputs.svg import Plot
from subwright.outputs.tables import Fact, RatingRow, share_used

__all__ = [
    "Caution",
    "Figure",
    "FindingRow",
    "Grid",
    "Later",
    "LaterDrawing",
    "Overview",
    "PackView",
    "Severity",
    "Sheet",
    "SourceRow",
    "Station",
]

Severity = Literal["stop", "warn", "note", "ok"]
_Row = TypeVar("_Row")


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A drawing with the sentence under it; ``key`` names its file in the pack.

    ``drawn`` is what can still be drawn another way (a plot over another range), or finished markup.
    """

    key: str
    drawn: str | Plot | Flow | LaterDrawing
    caption: str = ""
    wide: bool = False

    @cached_property
    def svg(self) -> str:
        """For use inside a page: without a style of its own."""
        return self.drawn if isinstance(self.drawn, str) else self.drawn.render(inline=True)

    @property
    def alone(self) -> str:
        """The drawing as a file."""
        return standalone(self.svg)


@dataclass(frozen=True, kw_only=True, slots=True)
class Grid:
    """A plain table: header and rows of text; columns in ``figures`` hold numbers."""

    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: frozenset[int] = frozenset()
    note: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Caution:
    """What can hurt, shown where the hand is about to act."""

    before: str  # "you connect the battery"
    points: tuple[str, ...]


class Later(Sequence[_Row]):
    """Rows that are made when somebody looks at them: most sheets are never opened."""

    def __init__(self, make: Callable[[], tuple[_Row, ...]]) -> None:
        self._make = make

    @cached_property
    def _rows(self) -> tuple[_Row, ...]:
        return self._make()

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, index: int) -> _Row: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[_Row, ...]: ...
    def __getitem__(self, index: int | slice) -> _Row | tuple[_Row, ...]:
        return self._rows[index]


@dataclass(frozen=True, kw_only=True)
class LaterDrawing:
    """A drawing that is made when somebody looks at it."""

    make: Callable[[], str]

    def render(self, *, inline: bool = False) -> str:
        """The finished markup; it is only made for pages."""
        assert inline
        return self.make()


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """One stage or subject of the pack."""

    key: str
    title: str
    lead: str = ""
    values: tuple[tuple[str, str], ...] = ()  # what the builder needs to know
    facts: Sequence[Fact] = ()  # what is checked, each beside its limit
    ratings: Sequence[RatingRow] = ()
    reasons: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    figures: tuple[Figure, ...] = ()
    grids: Sequence[Grid] = ()
    more: Sequence[tuple[str, str]] = ()  # every other value of the result


@dataclass(frozen=True, kw_only=True, slots=True)
class FindingRow:
    """One numbered check's result."""

    code: str
    severity: Severity
    title: str
    detail: str
    quantity: str = ""
    value: str = ""
    limit: str = ""
    margin: float | None = None
    source: str = ""
    remedy: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Station:
    """One stage in the line from battery to air on the cover."""

    key: str  # the sheet it belongs to
    name: str
    figures: tuple[str, ...]
    tightest: str = ""  # what the margin is of
    margin: float | None = None
    margin_text: str = ""

    @property
    def used(self) -> float:
        """Share of the tightest limit that is used, 0 to 1."""
        return 0.0 if self.margin is None else share_used(self.margin)


@dataclass(frozen=True, kw_only=True, slots=True)
class Overview:
    """The cover's content: what a terminal shows, and the head of the page."""

    name: str
    key_figures: tuple[tuple[str, str], ...]
    stations: tuple[Station, ...]  # battery to enclosure
    air: str  # what arrives
    findings: tuple[FindingRow, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class SourceRow:
    """One work used, and how its figures got here."""

    key: str
    citation: str
    status: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PackView:
    """Everything the summary page shows."""

    name: str
    note: str
    made_with: str  # programme and version
    made_on: str  # "" unless a date was passed in
    key_figures: tuple[tuple[str, str], ...]
    stations: tuple[Station, ...]
    findings: tuple[FindingRow, ...]
    flows: tuple[Figure, ...]
    budget: Grid | None
    operating: tuple[Grid, ...]
    sheets: tuple[Sheet, ...]
    bom: tuple[BomRow, ...]
    sources: tuple[SourceRow, ...]
    from_memory: tuple[str, ...]  # parts and values known only from memory or invented
    closing: tuple[Caution, ...] = ()
    steps: tuple[Grid, ...] = ()  # the first power-up: what to read at each step

    def count(self, severity: Severity) -> int:
        """How many findings have this severity."""
        return sum(1 for finding in self.findings if finding.severity == severity)

    @property
    def stops(self) -> tuple[FindingRow, ...]:
        """The findings that forbid building as designed."""
        return tuple(finding for finding in self.findings if finding.severity == "stop")

    @property
    def stamp(self) -> str:
        """What every page says while a stop stands; "" when none does."""
        if not self.stops:
            return ""
        codes = ", ".join(dict.fromkeys(finding.code for finding in self.stops))
        return f"NOT READY TO BUILD: {codes}"
