"""The design on a terminal: the line from battery to air, each stage with its tightest margin."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from subwright.cli.talk import clean
from subwright.outputs.tables import TIGHT
from subwright.outputs.views import FindingRow, Station

__all__ = ["ACCENT", "Chain", "FindingList", "Pairs"]

ACCENT = "dark_orange3"
_BAR = 16
_NARROW = 64


@dataclass(frozen=True, slots=True)
class _Marks:
    """The few line marks, in plain ASCII for terminals that have no others."""

    stage: str = "●"
    line: str = "│"
    end: str = "▼"
    full: str = "━"
    empty: str = "┄"
    dot: str = " · "


_PLAIN = _Marks(stage="o", line="|", end="v", full="#", empty="-", dot=", ")


def _marks(options: ConsoleOptions) -> _Marks:
    return _PLAIN if options.ascii_only else _Marks()


@dataclass(frozen=True, kw_only=True)
class Pairs:
    """Name and value side by side, one pair a line."""

    pairs: Sequence[tuple[str, str]]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines."""
        width = max((len(name) for name, _ in self.pairs), default=0) + 2
        for name, value in self.pairs:
            row = Text(f"{clean(name):<{width}}", style="dim")
            yield row.append(Text(clean(value), style="not dim bold"))


@dataclass(frozen=True, kw_only=True)
class Chain:
    """Battery to air, one block a stage; ends with what arrives."""

    stations: Sequence[Station]
    end: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the lines, folded to the console's width."""
        marks = _marks(options)
        narrow = options.max_width < _NARROW
        column = 0 if narrow else max(len(station.name) for station in self.stations) + 2
        for station in self.stations:
            room = max(options.max_width - column - 3, 12)
            body = [
                *self._figures(station, room, marks, console),
                *self._margin(station, room, marks, console),
            ]
            if narrow:
                yield self._row(marks.stage, clean(station.name), 0, Text(""))
            for index, line in enumerate(body):
                first = index == 0 and not narrow
                yield self._row(
                    marks.stage if first else marks.line, clean(station.name) if first else "", column, line
                )
            yield Text(marks.line, style="dim")
        yield self._row(marks.end, "air" if not narrow else "", column, Text(clean(self.end), style="bold"))

    def _row(self, mark: str, name: str, column: int, line: Text) -> Text:
        row = Text(f"{mark} ", style="dim").append(f"{name:<{column}} ", style="not dim bold")
        return row.append(line)

    def _figures(self, station: Station, room: int, marks: _Marks, console: Console) -> Iterator[Text]:
        """The figures, as many on a line as fit."""
        line = ""
        for figure in (clean(figure) for figure in station.figures):
            if line and len(line) + len(marks.dot) + len(figure) > room:
                yield Text(line, style="not dim")
                line = ""
            line = f"{line}{marks.dot}{figure}" if line else figure
        if line:
            yield from Text(line, style="not dim").wrap(console, room)

    def _margin(self, station: Station, room: int, marks: _Marks, console: Console) -> Iterator[Text]:
        if station.margin is None:
            return
        tight = station.margin < TIGHT
        cells = min(_BAR, max(room - 20, 4))
        used = round(station.used * cells)
        line = Text(marks.full * used, style=f"not dim {ACCENT}" if tight else "not dim")
        line.append(marks.empty * (cells - used), style="dim")
        line.append(f"  {station.margin_text}", style=f"not dim bold {ACCENT}" if tight else "not dim")
        told = clean(station.tightest)
        if len(line) + len(told) + 2 <= room:
            yield line.append(f"  {told}", style="dim")
        else:
            yield line
            yield from Text(told, style="dim").wrap(console, room)


_SEVERITY_STYLE = {"stop": f"bold reverse {ACCENT}", "warn": f"bold {ACCENT}", "note": "bold", "ok": "dim"}


@dataclass(frozen=True, kw_only=True)
class FindingList:
    """Findings, gravest first, with what to do about each."""

    rows: Sequence[FindingRow]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield each finding as a block, folded to the console's width."""
        for row in self.rows:
            head = Text(f" {row.severity} ", style=_SEVERITY_STYLE[row.severity])
            head.append(f" {row.code}  ", style="not reverse bold").append(clean(row.title), style="bold")
            yield head
            for paragraph in (row.detail, row.remedy):
                if paragraph:
                    for line in Text(clean(paragraph)).wrap(console, max(options.max_width - 8, 20)):
                        line.pad_left(8)
                        yield line
