"""``subwright box``: search boxes, say what limits the level, write the drawings for the saw."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.box_search import keys_of, search_for
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress
from subwright.stages.enclosure_search import BoxSearch

__all__ = ["search"]


def search(file: Path, most: int, take: int) -> Answer:
    """Search boxes for a build; perhaps write one of them into the build file."""
    with progress("designing") as report:
        solved = service.solve(file, report)
    found = search_for(solved.design, most=most)
    notes: tuple[str, ...] = ()
    if take:
        if take > len(found.front):
            raise SubwrightError(
                message="There is no box of this number.",
                quantity="--take",
                value=str(take),
                limit=f"1 to {len(found.front)}",
            )
        for key, value in keys_of(found.front[take - 1]).items():
            service.set_value(file, key, value)
        notes = (f"Box {take} is in {file} now; see: subwright design {file}",)

    def data() -> Mapping[str, object]:
        return {"search": found, "taken": take or None}

    return Answer(command="box search", data=data, text=lambda: _table(found), notes=notes)


def _table(found: BoxSearch) -> RenderableType:
    note = show(found.lowest_note_hz, "frequency")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name in ("", "kind", "net", "tuning", "f3", f"level at {note}", "delay", "outside mm", "port"):
        table.add_column(name, justify="left" if name in ("kind", "port") else "right")
    for number, box in enumerate(found.front, 1):
        outside = " × ".join(
            f"{1e3 * side:.0f}" for side in (box.outer_width_m, box.outer_height_m, box.outer_depth_m)
        )
        port = ""
        if box.port_length_m is not None:
            port = f"{box.port}, {show(box.port_length_m, 'length')}, {box.port_bend}"
        table.add_row(
            str(number),
            box.kind,
            show(box.net_volume_m3, "volume"),
            "" if box.tuning_hz is None else show(box.tuning_hz, "frequency"),
            show(box.f3_hz, "frequency"),
            show(box.level_db, "level"),
            show(box.delay_s, "time"),
            outside,
            port,
        )
    told = (
        f"{found.considered} boxes considered in {show(found.seconds_s, 'time')}, {found.fitting} fit; these "
        "are beaten by no other in size, reach, level and delay at once. --take N puts one into the file."
    )
    return Group(table, Text(""), Text(clean(told)))
