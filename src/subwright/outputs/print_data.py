"""The pack as sections of blocks for the print, in the order in which a builder needs them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from subwright.build.bringup_records import BringUp, Step
from subwright.build.result import Design
from subwright.outputs.bom import BomRow, spans
from subwright.outputs.print_blocks import (
    Block,
    caution,
    facts_table,
    figure,
    figures,
    finding,
    grid,
    heading,
    items,
    pairs,
    printed_svg,
    ratings_table,
    soft,
    table,
    text,
)
from subwright.outputs.print_bringup import (
    discharge_text,
    reading_cells,
    step_cautions,
    supply_text,
    window_text,
)
from subwright.outputs.print_code import code_square, design_code
from subwright.outputs.print_cover import cover_picture
from subwright.outputs.print_faults import fault_blocks
from subwright.outputs.print_points import point_blocks
from subwright.outputs.print_wiring import wiring_picture
from subwright.outputs.print_words import glossary, how_it_works
from subwright.outputs.schematic_frame import without_edge
from subwright.outputs.schematics import SchematicSheet
from subwright.outputs.tables import TIGHT
from subwright.outputs.views import Caution, PackView, Sheet, Station

__all__ = ["print_data"]

_RUN_ON = (  # begin where the one before ends
    "How it works",
    "Checked by simulation",
    "Heatsink",
    "What wrong readings point at",
    "Sound",
    "Design sheet",
    "Words",
)
_DISCLAIMER = (
    "A calculation, not an inspection: local codes and a licensed electrician or vehicle technician have the "
    "last word."
)
_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Integrated circuits, transistors, diodes", ("U", "Q", "D", "VR", "DS")),
    ("Resistors and thermistors", ("R", "RT")),
    ("Capacitors", ("C",)),
    ("Cores and coils", ("T", "L")),
    ("Fuse, switches, connectors, relay", ("F", "S", "J", "K", "P", "X")),
    ("Driver, wood, heatsink, hardware", ("LS", "MP")),
)


def print_data(
    design: Design, view: PackView, procedure: BringUp, drawn: Sequence[SchematicSheet] = ()
) -> dict[str, Any]:
    """Everything that the template shows, as plain data."""
    code = design_code(design)
    return {
        "name": view.name,
        "note": view.note,
        "made_with": view.made_with,
        "made_on": view.made_on,
        "code": code,
        "qr": code_square(code),
        "stamp": view.stamp,
        "stops": [f"{row.code} {row.title}: {row.value} against {row.limit}" for row in view.stops],
        "picture": printed_svg(cover_picture(design)),
        "keys": [list(row) for row in view.key_figures],
        "stations": [_station(row) for row in view.stations],
        "disclaimer": _DISCLAIMER,
        "sections": [
            {"title": title, "fresh": not title.startswith(_RUN_ON), "blocks": blocks}
            for title, blocks in _sections(design, view, procedure, drawn)
            if blocks
        ],
    }


def _station(row: Station) -> dict[str, Any]:
    margin = "" if row.margin is None else f"{row.tightest}: {row.margin_text}"
    return {
        "name": row.name,
        "figures": list(row.figures),
        "margin": margin,
        "tight": row.margin is not None and row.margin < TIGHT,
    }


def _sections(
    design: Design, view: PackView, procedure: BringUp, drawn: Sequence[SchematicSheet]
) -> Iterator[tuple[str, list[Block]]]:
    sheets = {sheet.key: sheet for sheet in view.sheets}
    yield "How it works", [block for title, words in how_it_works(design) for block in _titled(title, words)]
    yield "Findings", list(_findings(view))
    yield "Where the power goes", list(_power(view))
    yield "Checked by simulation", list(_sheet(sheets["checked"], with_figures=False))
    yield "Schematics", list(_schematics(drawn))
    yield "Printed boards", list(_sheet(sheets["boards"], with_figures=False))
    yield "Parts to buy", list(_parts(view))
    if "transformer" in sheets:
        yield "Winding sheet", list(_winding(sheets["transformer"]))
    yield "Panels and cutting", list(_panels(sheets["enclosure"]))
    yield "Wiring and fuse", list(_wiring(design, sheets))
    yield "Heatsink", list(_sheet(sheets["heat"], with_figures=True))
    yield "First power-up", list(_bring_up(view, procedure))
    yield "What wrong readings point at", list(fault_blocks(procedure))
    yield "Test points", list(point_blocks(procedure, drawn))
    yield "Acceptance sheet", list(_acceptance(view, procedure, design_code(design)))
    yield "Tolerance windows", list(_windows(sheets))
    yield "Sound", list(_sound(sheets))
    for key, sheet in sheets.items():
        if key not in ("heat", "wiring", "circuits", "checked", "boards"):
            yield f"Design sheet: {sheet.title.lower()}", list(_sheet(sheet, with_figures=key in _PLOTTED))
    yield "Sources", list(_sources(view))
    yield "Words", [{"kind": "defined", "items": [list(row) for row in glossary()]}]


_PANEL_WIDTHS = {"box-views": 88.0, "box-taken-apart": 62.0}
_PLOTTED = ("supply", "converter", "amplifier")


def _titled(title: str, words: str) -> tuple[Block, Block]:
    return heading(title), text(words)


def _findings(view: PackView) -> Iterator[Block]:
    if not view.findings:
        yield text("Every check passed; none has anything to say.")
        return
    yield soft("stop: don't build it so. warn: build it only if you know why. note: worth knowing.")
    for row in view.findings:
        yield finding(row)


def _power(view: PackView) -> Iterator[Block]:
    for flow in view.flows:
        yield figure(flow)
    if view.budget is not None:
        yield grid(view.budget)
    for shown in view.operating:
        yield grid(shown)


def _schematics(drawn: Sequence[SchematicSheet]) -> Iterator[Block]:
    if drawn:
        yield text(
            "Each block's circuit on a page of its own, made from the netlist that was simulated. "
            "Designators count up from the block's hundred; values are those of the parts list."
        )
        yield table(
            "Sheets",
            ("sheet", "circuit", "parts on it", "test points"),
            [
                (str(number), sheet.title, spans(_parts_on(sheet)), spans(_points_on(sheet)))
                for number, sheet in enumerate(drawn, 1)
            ],
            figures=(0,),
        )
    for sheet in drawn:
        yield {"kind": "sheet", "svg": printed_svg(without_edge(sheet.svg))}


def _parts_on(sheet: SchematicSheet) -> list[str]:
    """Designators drawn on a sheet, by letters and number; sections of a case once."""
    drawn = set(re.findall(r'data-part="([^"]+)"', sheet.svg))
    cases = {
        part.case
        for part in sheet.circuit.parts
        if part.designator in drawn and part.standing not in ("bench", "inherent")
    }
    return sorted(cases, key=_by_number)


def _points_on(sheet: SchematicSheet) -> list[str]:
    """Test points named on a sheet, in order."""
    words = {word for label in sheet.labels for line in label.lines for word in line.split()}
    return sorted((p.designator for p in sheet.circuit.test_points if p.designator in words), key=_by_number)


def _by_number(designator: str) -> tuple[str, int]:
    letters = designator.rstrip("0123456789")
    return letters, int(designator[len(letters) :] or 0)


def _group(row: BomRow) -> str:
    letter = "".join(c for c in row.designators[0] if c.isalpha()) if row.designators else ""
    if not letter or letter == "W":
        return "Wire, cable, pipe and tape by the metre"
    return next((name for name, letters in _GROUPS if letter in letters), "Other parts")


def _parts(view: PackView) -> Iterator[Block]:
    yield soft(
        "Grouped as a shop sorts them; what is already in the drawer is marked and needn't be bought. The "
        "rating is the tightest of all places where the part stands: a substitute must be no worse."
    )
    groups: dict[str, list[BomRow]] = {}
    for row in view.bom:
        groups.setdefault(_group(row), []).append(row)
    for name, rows in groups.items():
        ordered = sorted(rows, key=lambda row: row.in_drawer)
        yield table(
            name,
            ("where", "pieces", "part", "tightest rating", "would also do", "drawer"),
            [_part(row) for row in ordered],
            figures=(1,),
        )


def _part(row: BomRow) -> tuple[str, ...]:
    printed = ", ".join(part for part in row.printed if part)
    named = " ".join(part for part in (printed, row.tolerance) if part)
    words = f"{named}. {row.description}" if row.description and row.description != printed else named
    tight = row.tightest
    rating = "" if tight is None else f"{tight.quantity}: {tight.applied} of {tight.limit}"
    place = spans(row.designators) if row.designators else "; ".join(r.split(": ")[-1] for r in row.roles)
    return (
        place,
        row.quantity,
        words,
        rating,
        ", ".join(row.substitutes[:3]),
        "yes" if row.in_drawer else "",
    )


def _winding(sheet: Sheet) -> Iterator[Block]:
    for row in sheet.cautions:
        yield caution(row)
    for drawn in sheet.figures:
        if drawn.key.startswith("winding"):
            yield figure(drawn)
    for shown in sheet.grids:
        if shown.title != "Peak flux density":
            yield grid(shown)


def _panels(sheet: Sheet) -> Iterator[Block]:
    for row in sheet.cautions:
        if "cut" in row.before:
            yield caution(row)
    for drawn in sheet.figures:
        if drawn.key.startswith(("panels", "box")):
            yield figure(drawn, _PANEL_WIDTHS.get(drawn.key, 100.0))
    for shown in sheet.grids:
        yield grid(shown)
    for row in sheet.cautions:
        if "cut" not in row.before and "drive" not in row.before:
            yield caution(row)


def _wiring(design: Design, sheets: Mapping[str, Sheet]) -> Iterator[Block]:
    for row in sheets["supply"].cautions:
        yield caution(row)
    yield {
        "kind": "figure",
        "svg": printed_svg(wiring_picture(design)),
        "caption": "From battery to driver; lengths are one way.",
        "width": 100.0,
    }
    yield from _sheet(sheets["wiring"], with_figures=True)


def _sheet(sheet: Sheet, *, with_figures: bool) -> Iterator[Block]:
    if sheet.key == "heat":
        for row in sheet.cautions:
            yield caution(row)
    if sheet.lead:
        yield text(sheet.lead)
    if sheet.values:
        yield pairs(sheet.values)
    drawn = [
        one for one in sheet.figures if not one.key.startswith(("winding", "panels", "schematic", "box"))
    ]
    if with_figures and drawn:
        yield figures([one for one in drawn if not one.wide])
        for one in drawn:
            if one.wide:
                yield figure(one)
    if sheet.key not in ("transformer", "enclosure", "protection"):
        for shown in sheet.grids:
            yield grid(shown)
    if any(fact.limit for fact in sheet.facts):
        yield facts_table(sheet.facts)
    if sheet.ratings:
        yield ratings_table(sheet.ratings)
    if sheet.reasons:
        yield heading("Why it came out so")
        yield items(sheet.reasons)


def _bring_up(view: PackView, procedure: BringUp) -> Iterator[Block]:
    yield text(
        "One step after the other; the next begins only when every reading of this one lies in its window. A "
        "current-limited supply and a dummy load stand in for battery and driver until the end."
    )
    if procedure.discharges:
        yield caution(
            Caution(
                before="the hand goes in, after every switching off",
                points=tuple(discharge_text(bank) for bank in procedure.discharges),
            )
        )
    cautions = step_cautions(view, procedure)
    for step in procedure.steps:
        yield _step(step, cautions.get(step.key, ()))


def _step(step: Step, cautions: tuple[Caution, ...]) -> Block:
    state = (
        ("fitted", "; ".join(step.fitted)),
        ("not yet", "; ".join(step.absent)),
        ("link", step.links),
        ("supply", supply_text(step)),
        ("load", step.load),
    )
    rows = [reading_cells(reading) for reading in step.readings]
    return {
        "kind": "step",
        "number": step.number,
        "title": step.title,
        "state": [list(row) for row in state if row[1]],
        "cautions": [{"before": row.before, "points": list(row.points)} for row in cautions],
        "actions": list(step.actions),
        "readings": table(
            "",
            ("measure", "where", "expected", "window", "where the window comes from"),
            rows,
            figures=(2, 3),
        ),
        "causes": [{"sign": row.sign, "cause": row.cause, "remedy": row.remedy} for row in step.causes],
        "stops": list(step.stops),
    }


def _acceptance(view: PackView, procedure: BringUp, code: str) -> Iterator[Block]:
    yield text(
        f"To fill in by hand, one sheet for each unit of {view.name} ({code}). A unit is accepted when every "
        "reading lies in its window, or the bench log says why not."
    )
    yield {
        "kind": "blanks",
        "items": [
            "Unit number",
            "Date",
            "Built by",
            "Measured by",
            "Meter, its accuracy",
            "Oscilloscope",
            "Supply",
            "Air temperature",
        ],
    }
    rows = [
        (str(step.number), reading.name, window_text(reading), "", "")
        for step in procedure.steps
        for reading in step.readings
    ]
    yield table(
        "",
        ("step", "reading", "window", "read", "passes"),
        rows,
        figures=(0, 2),
        boxes=(3, 4),
    )
    yield {"kind": "blanks", "items": ["Played one hour, by", "Date", "Accepted by", "Signature"]}


def _windows(sheets: Mapping[str, Sheet]) -> Iterator[Block]:
    yield text(
        "Where each figure may fall with parts inside their tolerances. Worst case: every part at the limit "
        "that hurts. 98 % of units: random builds."
    )
    protection = sheets["protection"]
    for one in protection.figures:
        if "threshold" in one.key:
            yield figure(one, 78.0)
    for sheet in (protection, sheets["filter"]):
        for shown in sheet.grids:
            if "Blocks" not in shown.title:
                yield grid(shown)
    if "control" in sheets:
        for shown in sheets["control"].grids:
            if "Timers" in shown.title or "events" in shown.title:
                yield grid(shown)


def _sound(sheets: Mapping[str, Sheet]) -> Iterator[Block]:
    drawn = [
        one
        for key in ("enclosure", "signal", "filter")
        for one in sheets[key].figures
        if not one.key.startswith(("panels", "schematic", "box-drawing", "levels"))
    ]
    yield figures(drawn)


def _sources(view: PackView) -> Iterator[Block]:
    yield text(
        "Where the formulas, tables and limits come from, and how the figures got here. A figure from memory "
        "has not been compared with the work it is credited to."
    )
    yield table(
        "",
        ("key", "work"),
        [(row.key, row.citation) for row in view.sources],
        figures=(),
    )
    if view.from_memory:
        yield heading("Part data to compare with the sheet of the part in your hand")
        yield items(view.from_memory)
