"""What stands beside the drawing: a stage's sheet, the overview, named versions, and what a change did."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.sources import Source
from subwright.build.result import Finding
from subwright.outputs.svg import Plot
from subwright.outputs.views import Figure, FindingRow
from subwright.session import BuildSession, Outcome
from subwright.web.desk import Desk, Reader
from subwright.web.plotting import PlotWish, find_plot, has_band, in_german, on_battery, redrawn, spoken_svg
from subwright.web.ruler import ruler_svgs
from subwright.web.scene import scene_of
from subwright.web.stage import PARTS, chosen, inputs_of, sheet_keys

__all__ = [
    "View",
    "Volts",
    "Wide",
    "findings_apart",
    "page_values",
    "pane_html",
    "pinned_state",
    "pins_of",
    "tightest_rows",
    "title_of",
    "versions_html",
]

_ON_SHEET = {"goal": "air", "cabin": "air"}
_IN_AIR = ("response", "level-by-battery")


Volts = Annotated[float | None, Field(gt=0.0, lt=200.0)]
Wide = Annotated[float | None, Field(gt=0.0, lt=1e5)]
"""Of the place for a plot, drawing units."""


class View(BaseModel):
    """What a page shows, so that an answer can bring it up to date."""

    model_config = ConfigDict(extra="forbid")

    emf: Volts = None
    level: str = Field(default="full", max_length=20)
    sheet: str = Field(default="", max_length=20)
    pin: str = Field(default="", max_length=200)
    wide: Wide = None


def title_of(outcome: Outcome, name: str) -> str:
    """Name of a build, as its file says it; its file's name where it can't be read."""
    return outcome.build.spec.name if outcome.build is not None else name


def page_values(
    desk: Desk, reader: Reader, session: BuildSession, outcome: Outcome, view: View
) -> dict[str, Any]:
    """Everything of a page that a change moves."""
    history = session.history
    values: dict[str, Any] = {
        "revision": history.revision,
        "undo": history.done[-1].what if history.done else "",
        "redo": history.undone[-1].what if history.undone else "",
        "pane": pane_html(desk, reader, session, outcome, view),
    }
    if outcome.solved is None:
        return {**values, "scene": "", "state": "", "ruler": None, "emf": 0.0}
    moment = desk.moment(outcome, view.emf, view.level)
    wide, narrow = desk.drawn(outcome, moment, reader)
    ruler = scene_of(outcome.design, outcome.overview, moment, reader.word).ruler
    return {
        **values,
        "scene": wide.svg + narrow.svg,
        "state": moment.state,
        "emf": moment.emf_v,
        "ruler": {"low": ruler.low_v, "high": ruler.high_v, "svg": ruler_svgs(ruler, reader.word)},
    }


def pane_html(desk: Desk, reader: Reader, session: BuildSession, outcome: Outcome, view: View) -> str:
    """What stands beside the drawing: the open sheet, or what the build does and what the checks found."""
    keys = sheet_keys(outcome.sheets if outcome.solved is not None else ())
    if outcome.solved is not None:
        absent = {"transformer": outcome.design.transformer is None, "converter": "boost" in outcome.sheets}
        keys = tuple(key for key in keys if not absent.get(key, False))
    wanted = (
        "boost" if view.sheet == "converter" and "boost" in keys else view.sheet
    )  # they share their inputs
    key = wanted if wanted in keys else ""
    if outcome.solved is None and not key:
        return desk.fragment(reader, "no_design.html.j2", error=outcome.error, sheets=keys)
    if not key:
        findings = outcome.overview.findings
        return desk.fragment(
            reader,
            "overview.html.j2",
            overview=outcome.overview,
            tightest=tightest_rows(outcome),
            grave=[row for row in findings if row.severity in ("stop", "warn")],
            notes=[row for row in findings if row.severity == "note"],
            sheets=keys,
        )
    sheet = outcome.sheets.get(key) if outcome.solved is not None else None
    figures = sheet.figures if sheet is not None else _borrowed(outcome, key)
    plots = _plots(desk, reader, session, figures, view)
    return desk.fragment(
        reader,
        "stage.html.j2",
        key=key,
        sheet=sheet,
        inputs=inputs_of(session, key),
        parts=PARTS,
        label=lambda entry: reader.label("keys", entry.key),
        took=lambda item: chosen(outcome.design, item) if outcome.solved is not None else "",
        error=outcome.error,
        figures=plots,
        pins=pins_of(desk, reader, session),
        pin=view.pin,
        findings=[row for row in _findings(outcome) if _of_stage(outcome, row, key)],
        drawers=desk.workspace.drawers() if key == "build" else (),
        circuit=_circuit_of(outcome, key),
        works=_works(outcome, key),
    )


def tightest_rows(outcome: Outcome, most: int = 5) -> list[dict[str, Any]]:
    """Each stage's tightest limit, the tightest of the whole build first."""
    found: dict[str, Finding] = {}
    for finding in outcome.design.findings:
        known = found.get(finding.stage)
        if finding.judged and (known is None or finding.margin < known.margin):
            found[finding.stage] = finding
    rows = sorted(found.values(), key=lambda finding: (finding.margin, finding.code))[:most]
    return [
        {
            "stage": _ON_SHEET.get(row.stage, row.stage),
            "code": row.code,
            "quantity": row.quantity,
            "margin": row.margin,
            "remedy": row.remedy,
        }
        for row in rows
    ]


def _borrowed(outcome: Outcome, key: str) -> tuple[Figure, ...]:
    """Figures of other sheets on one that has none of its own: what is asked of the air stands beside what
    arrives there."""
    if outcome.solved is None or key != "air":
        return ()
    return tuple(figure for figure in outcome.sheets["enclosure"].figures if figure.key in _IN_AIR)


def _works(outcome: Outcome, key: str) -> tuple[Source, ...]:
    """The works that a sheet's numbers rest on; of the whole build on its own sheet."""
    if outcome.solved is None:
        return ()
    stages = ("goal", "cabin", "enclosure") if key == "air" else ("" if key == "build" else key,)
    found = {row.key: row for stage in stages for row in service.source_rows(outcome.design, stage)}
    return tuple(found[name] for name in sorted(found))


def _circuit_of(outcome: Outcome, key: str) -> str:
    """What a sheet shows of the stage's circuit: "drawn", "listed" where it has no diagram, or ""."""
    if outcome.solved is None or not any(stage == key for stage, _ in outcome.design.part_uses()):
        return ""
    return "drawn" if key in outcome.drawn_stages else "listed"


def _plots(
    desk: Desk, reader: Reader, session: BuildSession, figures: tuple[Figure, ...], view: View
) -> list[dict[str, Any]]:
    behind, behind_name = pinned_state(desk, reader, session, view.pin)
    drawn = []
    for figure in figures:
        native = reader.language == "en"
        if not isinstance(figure.drawn, Plot):
            svg, native = (figure.svg, True) if native else spoken_svg(figure.svg)
            kind = {"live": False, "band": False, "battery": False, "native": native}
            drawn.append({"figure": figure, "svg": svg, **kind})
            continue
        other = None if behind is None or behind.solved is None else find_plot(behind.sheets, figure.key)
        svg = redrawn(
            figure.drawn, PlotWish(emf_v=view.emf, width=view.wide), other, behind_name, reader.language
        )
        drawn.append(
            {
                "figure": figure,
                "svg": svg,
                "live": True,
                "band": has_band(figure.drawn),
                "battery": on_battery(figure.drawn),
                "native": native or in_german(figure.drawn),
            }
        )
    return drawn


def pins_of(desk: Desk, reader: Reader, session: BuildSession) -> list[tuple[str, str]]:
    """What a plot can be compared with: (value, words)."""
    pins = [("", reader.word("compare nothing")), ("before", reader.word("compare before"))]
    pins += [(f"version:{name}", f"{reader.word('version')} {name}") for name in session.history.versions]
    own = session.path.name
    for row in desk.workspace.builds():
        if f"{row.name}.build.toml" != own:
            pins.append((f"build:{row.name}", f"{reader.word('other build')} {row.title}"))
    return pins


def pinned_state(desk: Desk, reader: Reader, session: BuildSession, pin: str) -> tuple[Outcome | None, str]:
    """The state that plots are compared with, and what to call it."""
    kind, _, name = pin.partition(":")
    if kind == "before":
        return session.outcome(session.before_last()), reader.word("before").lower()
    if kind == "version":
        return session.outcome(session.version(name).text), name
    if kind == "build":
        other = desk.session(name)
        return other.outcome(), title_of(other.outcome(), name)
    return None, ""


def versions_html(desk: Desk, reader: Reader, session: BuildSession, name: str) -> str:
    """Named versions and the changes so far."""
    history = session.history
    return desk.fragment(
        reader,
        "versions.html.j2",
        name=name,
        versions=sorted(history.versions.values(), key=lambda v: v.at, reverse=True),
        changes=list(reversed(history.done[-40:])),
        total=len(history.done),
    )


def _findings(outcome: Outcome) -> tuple[FindingRow, ...]:
    return outcome.overview.findings if outcome.solved is not None else ()


def _of_stage(outcome: Outcome, row: FindingRow, key: str) -> bool:
    """Whether a finding belongs to a sheet."""
    stages = {f.code: f.stage for f in outcome.design.findings}
    stage = stages.get(row.code, "")
    return stage == key or (key == "air" and stage in ("goal", "cabin"))


def findings_apart(before: Outcome, after: Outcome) -> tuple[list[FindingRow], list[FindingRow]]:
    """Findings that a change settled, and those that it brought; none where either side has no design."""
    if before.solved is None or after.solved is None:
        return [], []
    old, new = (
        {_place(row): row for row in _findings(one) if row.severity != "note"} for one in (before, after)
    )
    gone = [row for place, row in old.items() if place not in new]
    return gone, [row for place, row in new.items() if place not in old]


def _place(row: FindingRow) -> tuple[str, str, str]:
    """What makes a finding the same one: not the part that it names in brackets."""
    return row.code, row.severity, row.quantity.partition(" (")[0]
