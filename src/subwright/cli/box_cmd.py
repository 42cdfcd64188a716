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
from subwright.build.box_limits import limits_for
from subwright.build.box_search import keys_of, search_for
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress
from subwright.outputs.box_files import box_files
from subwright.outputs.design_view import stamp_of
from subwright.outputs.folder import replace_folder
from subwright.stages.enclosure_search import BoxSearch

__all__ = ["draw", "limits", "search"]


def limits(file: Path) -> Answer:
    """Show what limits the level at each battery corner, band by band, and how the coil warms up."""
    with progress("designing") as report:
        solved = service.solve(file, report)
    found = limits_for(solved.design)

    def data() -> Mapping[str, object]:
        return {"limits": found}

    def text() -> RenderableType:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
        for name in ("battery", "from", "to", "limited by", "level half space", "in the cabin"):
            table.add_column(name, justify="left" if name in ("battery", "limited by") else "right")
        for corner, level in found.corners.items():
            name = corner.value
            for band in level.bands:
                inside = (level.frequency_hz >= band.low_hz) & (level.frequency_hz <= band.high_hz)
                cabin = level.cabin_level_db[inside]
                table.add_row(
                    name,
                    show(band.low_hz, "frequency"),
                    show(band.high_hz, "frequency"),
                    band.limit,
                    f"{band.lowest_db:.1f} … {show(band.highest_db, 'level', 4)}",
                    f"{cabin.min():.1f} … {show(float(cabin.max()), 'level', 4)}",
                )
                name = ""
        lines = []
        for course in found.heating:
            steps = ", ".join(
                f"{show(t, 'time')} {c:.0f} °C ({d:.1f} dB)"
                for t, c, d in zip(
                    course.time_s.tolist(),
                    course.coil_c.tolist(),
                    course.compression_db.tolist(),
                    strict=True,
                )
            )
            lines.append(f"coil with {course.what}, from cold in {course.ambient_c:.0f} °C: {steps}")
        if not found.heating:
            lines.append("The coil's thermal data are unknown: no course of its temperature.")
        return Group(table, Text(""), Text(clean("\n".join(lines))))

    return Answer(command="box limits", data=data, text=text)


def draw(file: Path, folder: Path | None, unit: str) -> Answer:
    """Write panels as DXF, the views, the box taken apart and the curves of the limits as SVG."""
    if unit not in ("mm", "inch"):
        raise SubwrightError(
            message="Drawings are written in mm or inch.", quantity="--unit", value=unit, limit="mm, inch"
        )
    with progress("designing") as report:
        solved = service.solve(file, report)
    target = folder or file.with_name(file.name.removesuffix(".toml").removesuffix(".build") + ".box")
    design = solved.design
    files = box_files(
        design.enclosure,
        limits_for(design),
        name=design.spec.name,
        stamp=stamp_of(design),
        unit="mm" if unit == "mm" else "inch",
    )
    replace_folder(target, {name: text.encode() for name, text in files.items()})
    said = f"{len(files)} files in {target}:\n" + "\n".join(f"  {name}" for name in sorted(files))
    caution = "Dry-fit before gluing; wear eyes, ears and lungs: MDF dust is no air for anybody."
    return Answer(
        command="box draw",
        data=lambda: {"folder": str(target), "files": sorted(files), "unit": unit},
        text=lambda: Text(clean(said)),
        notes=(caution,),
    )


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
    for name in ("", "kind", "net", "tuning", "f3", f"level at {note}", "delay", "outside mm", "opening"):
        table.add_column(name, justify="left" if name in ("kind", "opening") else "right")
    for number, box in enumerate(found.front, 1):
        outside = " × ".join(
            f"{1e3 * side:.0f}" for side in (box.outer_width_m, box.outer_height_m, box.outer_depth_m)
        )
        port = ""
        if box.port_length_m is not None:
            port = f"{box.port}, {show(box.port_length_m, 'length')}, {box.port_bend}"
        if box.radiator is not None and box.radiator_added_kg is not None:
            added = show(box.radiator_added_kg, "mass")
            port = f"{box.radiator_count} × {box.radiator.name}, {added} added"
        table.add_row(
            str(number),
            box.kind.replace("-", " "),
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
    if any(box.radiator is not None and box.radiator.origin == "invented" for box in found.front):
        told += (
            " The passive radiators are invented: put the data of yours into enclosure.radiator_diameter and "
            "the keys beside it, and search again."
        )
    return Group(table, Text(""), Text(clean(told)))
