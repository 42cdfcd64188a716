"""The build pack: one folder that someone else can build from."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from subwright.build.bringup import bring_up
from subwright.build.result import Design
from subwright.outputs.board_files import board_files
from subwright.outputs.bom import bom_csv
from subwright.outputs.design_view import MADE_WITH, pack_view, stamp_of
from subwright.outputs.dxf import panel_files
from subwright.outputs.folder import CHECKSUMS, check_folder, replace_folder
from subwright.outputs.kept_boards import usable
from subwright.outputs.made_board import KeptBoards
from subwright.outputs.panels import panels_csv
from subwright.outputs.print_bringup import bringup_text, step_grids
from subwright.outputs.print_code import design_code
from subwright.outputs.print_pdf import Paper, pack_pdf
from subwright.outputs.provenance import sources_text
from subwright.outputs.schematic_files import netlist_files
from subwright.outputs.schematic_frame import paper_size
from subwright.outputs.schematics import Schematics, schematics
from subwright.outputs.sheet_checked import checked_csv
from subwright.outputs.summary import summary_html
from subwright.outputs.to_json import dumps
from subwright.outputs.verified import SavedDesign, results_of
from subwright.outputs.views import PackView
from subwright.outputs.winding_sheet import winding_text
from subwright.outputs.wiring_table import wiring_csv
from subwright.parts.library import Library, load_library

__all__ = ["PackReport", "design_json", "pack_files", "write_pack"]

_OWN_PLACE = {  # the other drawings go to plots/
    "winding": "winding.svg",
    "panels": "panels.svg",
    "box-views": "box/views.svg",
    "box-taken-apart": "box/taken-apart.svg",
    "level-by-battery": "box/level-by-battery.svg",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class PackReport:
    """What was written: paths relative to ``folder``, in order, and the time it took."""

    folder: Path
    files: tuple[str, ...]
    seconds_s: float

    def __iter__(self) -> Iterator[str]:
        return iter(self.files)

    def __len__(self) -> int:
        return len(self.files)


def _drawings(view: PackView) -> Iterator[tuple[str, str]]:
    figures = [*view.flows, *(figure for sheet in view.sheets for figure in sheet.figures)]
    for figure in figures:
        if figure.key.startswith("board-"):
            continue  # it is among the board's own files
        if figure.key.startswith("schematic-"):
            yield f"schematics/{figure.key.removeprefix('schematic-')}.svg", paper_size(figure.alone)
        else:
            yield _OWN_PLACE.get(figure.key, f"plots/{figure.key}.svg"), figure.alone


def _for_the_saw(design: Design) -> dict[str, str]:
    box = design.enclosure
    return {
        f"box/dxf/{name}": text
        for name, text in panel_files(box.panels, box.cut_plan, "mm", stamp=stamp_of(design)).items()
    }


def _netlists(design: Design, library: Library, drawn: Schematics) -> dict[str, str]:
    return {f"schematics/{name}": text for name, text in netlist_files(design, library, drawn).items()}


def _boards(design: Design, kept: KeptBoards | None, paper: Paper | None) -> dict[str, bytes]:
    """The files of the boards that are of this very design."""
    code = design_code(design)
    current = usable(kept, code)
    if current is None:
        return {}
    made = board_files(current.boards, build=design.spec.name, code=code, stamp=stamp_of(design), paper=paper)
    return {f"boards/{name}": data for name, data in made.items()}


def design_json(design: Design) -> str:
    """The whole design as JSON; field names carry their units. Raises SubwrightError for NaN or infinity."""
    return dumps({"made_with": MADE_WITH, "not_ready": stamp_of(design), "design": design})


def pack_files(
    design: Design,
    *,
    made_on: str = "",
    library: Library | None = None,
    paper: Paper | None = None,
    verified: Sequence[SavedDesign] = (),
    boards: KeptBoards | None = None,
) -> Mapping[str, bytes]:
    """The pack's files by relative path; the same design gives the same bytes.

    ``made_on`` is a date to print on the summary; nothing else knows the time. ``library`` holds the parts
    that it was solved with, where a drawer has some of its own; ``paper`` adds the pack as a PDF;
    ``verified`` holds every result of simulation, ``boards`` the boards kept beside the build.
    """
    parts = library or load_library()
    procedure = bring_up(design, parts)
    drawn = schematics(design, parts, stamp=stamp_of(design))
    shown = pack_view(design, made_on=made_on, library=parts, verified=verified, drawn=drawn, boards=boards)
    view = replace(shown, steps=step_grids(procedure))
    texts = {
        "summary.html": summary_html(view),
        "bom.csv": bom_csv(view.bom),
        "panels.csv": panels_csv(design.enclosure),
        "wiring.csv": wiring_csv(design),
        "checked-by-simulation.csv": checked_csv(results_of(verified, design_code(design))),
        "bring-up.txt": bringup_text(procedure, view),
        "sources.txt": sources_text(view.sources, view.from_memory),
        "design.json": design_json(design),
        **dict(_drawings(view)),
        **_for_the_saw(design),
        **_netlists(design, parts, drawn),
    }
    if design.transformer is not None:
        texts["winding.txt"] = winding_text(design.transformer, name=view.name, stamp=view.stamp)
    made = {name: text.encode() for name, text in texts.items()}
    made |= _boards(design, boards, paper)
    if paper is not None:
        made["pack.pdf"] = pack_pdf(design, view, procedure, paper=paper, drawn=drawn.sheets)
    return made


def _quiet(doing: str, share: float) -> None:
    """Report nothing."""


def write_pack(
    design: Design,
    folder: Path,
    progress: Callable[[str, float], None] = _quiet,
    *,
    made_on: str = "",
    library: Library | None = None,
    paper: Paper | None = None,
    verified: Sequence[SavedDesign] = (),
    boards: KeptBoards | None = None,
) -> PackReport:
    """Write the build pack into ``folder``, all files or none.

    ``progress`` is told what is being done and the share done; ``made_on`` is printed on the summary;
    ``library`` holds the parts that it was solved with; ``paper`` adds the pack as a PDF; ``verified`` holds
    every result of simulation, ``boards`` the boards kept beside the build.

    Raises
    ------
    SubwrightError : the folder holds files that no pack wrote, can't be written, or the design holds a number
        that is not finite.
    """
    start = time.perf_counter()
    check_folder(folder)
    progress("drawing", 0.0)
    files = pack_files(
        design, made_on=made_on, library=library, paper=paper, verified=verified, boards=boards
    )
    progress("writing", 0.8)
    replace_folder(folder, files)
    return PackReport(
        folder=folder.resolve(),
        files=(*sorted(files), CHECKSUMS),
        seconds_s=time.perf_counter() - start,
    )
