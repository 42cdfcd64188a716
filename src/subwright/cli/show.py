"""The commands that read a build file and show what comes of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import CLEAN, FINDINGS_AT_STOP, Answer
from subwright.cli.report import ACCENT, Chain, FindingList, Pairs
from subwright.cli.talk import clean, progress
from subwright.outputs.views import FindingRow

if TYPE_CHECKING:
    from subwright.outputs.print_pdf import Paper

__all__ = ["design", "explain", "findings", "pack", "sources"]


def _solve(file: Path) -> service.Solved:
    with progress("designing") as report:
        return service.solve(file, report)


def _code(solved: service.Solved) -> int:
    return FINDINGS_AT_STOP if solved.has_stop else CLEAN


def design(file: Path) -> Answer:
    """Solve a build and show the line from battery to air."""
    solved = _solve(file)
    view = service.overview(solved.design)

    def data() -> Mapping[str, object]:
        return {
            "name": view.name,
            "key_figures": dict(view.key_figures),
            "stations": view.stations,
            "findings": view.findings,
            "design": solved.design,
        }

    def text() -> RenderableType:
        gap = Text("")
        grave = [row for row in view.findings if row.severity in {"stop", "warn"}]
        return Group(
            Rule(Text(clean(view.name), style="bold"), align="left", style="dim", characters="─"),
            Pairs(pairs=view.key_figures),
            gap,
            Chain(stations=view.stations, end=view.air),
            gap,
            FindingList(rows=grave),
            *([gap] if grave else []),
            _count_line(view.findings),
        )

    notes = () if not solved.has_stop else (f"Don't build this yet; see: subwright findings {file}",)
    return Answer(command="design", data=data, text=text, code=_code(solved), notes=notes)


def findings(file: Path, *, with_passed: bool) -> Answer:
    """Show the findings of a build."""
    solved = _solve(file)
    rows = service.finding_rows(solved.design, with_passed=with_passed)

    def text() -> RenderableType:
        return Group(FindingList(rows=rows), _count_line(rows))

    return Answer(command="findings", data=lambda: {"findings": rows}, text=text, code=_code(solved))


def _paper(word: str) -> Paper:
    if word not in ("a4", "letter"):
        raise SubwrightError(
            message=f"there is no paper {word!r}",
            quantity="--paper",
            value=word,
            limit="a4, letter or none",
            remedy="choose one of the three",
        )
    return "a4" if word == "a4" else "letter"


def pack(file: Path, folder: Path | None, paper: str = "a4") -> Answer:
    """Write the build pack."""
    target = folder or file.with_name(file.name.removesuffix(".toml").removesuffix(".build") + ".pack")
    sheet = None if paper == "none" else _paper(paper)
    solved = _solve(file)
    with progress("writing the pack") as report:
        made = service.render_pack(solved, target, report, paper=sheet)

    def text() -> RenderableType:
        return Text(clean(str(target)))

    notes = [f"{len(made)} files written."]
    if solved.has_stop:
        notes.append("The design has findings at stop; every page of the pack says so.")
    body = {"folder": str(target), "files": [str(path) for path in made], "stop": solved.has_stop}
    return Answer(command="pack", data=lambda: body, text=text, code=_code(solved), notes=tuple(notes))


def explain(code: str) -> Answer:
    """Show one page on a finding, a key or a source."""
    page = service.explain(code)

    def text() -> RenderableType:
        return Group(
            Text(clean(f"{page.code}  {page.title}".strip()), style=f"bold {ACCENT}"),
            *_sections(page.sections),
        )

    body = {"code": page.code, "title": page.title, "sections": dict(page.sections)}
    return Answer(command="explain", data=lambda: body, text=text)


def _sections(sections: Sequence[tuple[str, str]]) -> Iterator[Text]:
    for name, paragraph in sections:
        yield Text("")
        yield Text(name, style="bold")
        yield Text(clean(paragraph))


def sources(file: Path) -> Answer:
    """List the works that a build rests on."""
    rows = service.source_rows(_solve(file).design)

    def text() -> RenderableType:
        return Group(*(Text(clean(f"{row.key}: {row.citation()}")) for row in rows))

    return Answer(command="sources", data=lambda: {"sources": rows}, text=text)


def _count_line(rows: Sequence[FindingRow]) -> Text:
    counts = Counter(row.severity for row in rows)
    told = ", ".join(
        f"{counts[severity]} {severity}" for severity in ("stop", "warn", "note") if counts[severity]
    )
    return Text(f"findings: {told or 'none'}", style="bold" if counts["stop"] else "dim")
