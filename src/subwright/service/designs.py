"""Designs: a build solved, looked at, drawn and packed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.base.sources import Source, bibliography
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.project import BuildFile
from subwright.parts.library import Library
from subwright.service.build_files import open_build
from subwright.service.solved import Progress, Solved, library_for, library_of, quiet

if TYPE_CHECKING:
    from subwright.build.bringup_records import BringUp
    from subwright.outputs.made_board import KeptBoards
    from subwright.outputs.pack import PackReport
    from subwright.outputs.print_pdf import Paper
    from subwright.outputs.schematic_symbols import ResistorStyle
    from subwright.outputs.verified import SavedDesign
    from subwright.outputs.views import FindingRow, Overview, Sheet
    from subwright.stages.protection_fitted import FittedProtection, Measurable


__all__ = [
    "bring_up",
    "finding_rows",
    "fitted_protection",
    "measurable_parts",
    "overview",
    "pack_archive",
    "pack_pdf",
    "render_pack",
    "schematic_files",
    "sheets",
    "solve",
    "source_rows",
]


def solve(
    build: Path | BuildFile | BuildSpec, progress: Progress = quiet, folder: Path | None = None
) -> Solved:
    """Design a whole build.

    Parameters
    ----------
    build : a build file's path, one already read, or a spec.
    progress : told what is being worked on.
    folder : where a spec's drawer file is looked for; the build file's own folder for the other two.

    Raises
    ------
    InputError
        The build file or the drawer file can't be used.
    SubwrightError
        A stage has no solution, or a part is unknown.
    """
    if isinstance(build, Path):
        build = open_build(build)
    if isinstance(build, BuildFile):
        library = library_for(build.spec, build.path.parent)
        return Solved(design=solve_build(build.spec, library, progress), build=build)
    library = library_for(build, folder or Path())
    return Solved(design=solve_build(build, library, progress))


def measurable_parts(solved: Solved) -> tuple[Measurable, ...]:
    """What may be measured on the protection circuit before it is trimmed."""
    from subwright.stages import protection_fitted as stage

    return stage.measurable_parts(solved.design.protection, library_of(solved))


def fitted_protection(solved: Solved, measured: Mapping[str, str]) -> FittedProtection:
    """Where one unit will trip, and how to centre it.

    Parameters
    ----------
    solved : the design. measured : part → value as a person types it (``{"reference voltage": "5.03 V"}``).

    Raises
    ------
    SubwrightError
        A part that the circuit doesn't have, or a value that can't be its own.
    """
    from subwright.base.units import parse
    from subwright.stages import protection_fitted as stage

    values = {
        role: parse(text, "voltage" if role == stage.REFERENCE_ROLE else "resistance")
        for role, text in measured.items()
    }
    tolerance = solved.design.spec.protection.resistor_tolerance
    return stage.fitted_protection(solved.design.protection, library_of(solved), values, tolerance)


def overview(design: Design) -> Overview:
    """The design in brief: key figures, the line from battery to air, findings that need a look."""
    from subwright.outputs import design_view

    return design_view.overview(design)


def finding_rows(design: Design, *, with_passed: bool = False) -> tuple[FindingRow, ...]:
    """The findings that need a look, gravest first; with ``with_passed`` every check."""
    from subwright.outputs import design_view

    return design_view.finding_rows(design, with_passed=with_passed)


def render_pack(
    build: Design | Solved, folder: Path, progress: Progress = quiet, *, paper: Paper | None = None
) -> PackReport:
    """Write the build pack into ``folder``, all files or none; ``paper`` adds it as a PDF.

    Raises `SubwrightError` where it can't.
    """
    from subwright.outputs.pack import write_pack

    folder.parent.mkdir(parents=True, exist_ok=True)
    design, library = _parts_with(build)
    return write_pack(
        design,
        folder,
        progress,
        library=library,
        paper=paper,
        verified=_verified(build),
        boards=_boards(build),
    )


def pack_pdf(build: Solved, paper: Paper = "a4") -> bytes:
    """The build pack as a PDF; the same design gives the same bytes. Raises `SubwrightError` if it can't."""
    from subwright.outputs.design_view import pack_view, stamp_of
    from subwright.outputs.print_pdf import pack_pdf as made
    from subwright.outputs.schematics import schematics

    library = library_of(build)
    drawn = schematics(build.design, library, stamp=stamp_of(build.design))
    view = pack_view(
        build.design, library=library, verified=_verified(build), drawn=drawn, boards=_boards(build)
    )
    return made(build.design, view, bring_up(build), paper=paper, drawn=drawn.sheets)


def bring_up(build: Solved) -> BringUp:
    """The first power-up of a design, step by step, with what to read and its window."""
    from subwright.build import bringup

    return bringup.bring_up(build.design, library_of(build))


def _parts_with(build: Design | Solved) -> tuple[Design, Library | None]:
    """The design, and the parts it was solved with where they are known."""
    return (build.design, library_of(build)) if isinstance(build, Solved) else (build, None)


def _verified(build: Design | Solved) -> tuple[SavedDesign, ...]:
    """What was kept of simulations, where a build file is known."""
    from subwright.service.verifying import saved_results

    return saved_results(build) if isinstance(build, Solved) else ()


def _boards(build: Design | Solved) -> KeptBoards | None:
    """The boards that were kept, where a build file is known."""
    from subwright.service.boards import kept_boards

    return kept_boards(build) if isinstance(build, Solved) else None


def schematic_files(
    build: Solved, style: ResistorStyle = "iec"
) -> tuple[Mapping[str, str], tuple[tuple[str, str], ...]]:
    """Circuit diagrams, netlist and SPICE text by file name, and blocks without a diagram with the reason."""
    from subwright.outputs.design_view import stamp_of
    from subwright.outputs.schematic_files import schematic_files as texts
    from subwright.outputs.schematics import schematics

    library = library_of(build)
    made = schematics(build.design, library, style=style, stamp=stamp_of(build.design))
    return texts(build.design, library, made), made.missing


def sheets(design: Design) -> tuple[Sheet, ...]:
    """The stages' sheets in the order of the chain; drawings are made when asked for."""
    from subwright.outputs import design_view

    return design_view.sheets(design)


def pack_archive(build: Design | Solved, progress: Progress = quiet, *, paper: Paper | None = "a4") -> bytes:
    """The build pack as a ZIP archive with its print and check sums; the same design gives the same bytes.

    ``paper`` of the PDF in it; None leaves it out.
    """
    from subwright.outputs.archive import zipped
    from subwright.outputs.folder import CHECKSUMS, checksums
    from subwright.outputs.pack import pack_files

    progress("drawing", 0.05)
    design, library = _parts_with(build)
    files = pack_files(design, library=library, verified=_verified(build), paper=paper, boards=_boards(build))
    progress("packing", 0.8)
    return zipped({**files, CHECKSUMS: checksums(files)})


def source_rows(design: Design, stage: str = "") -> tuple[Source, ...]:
    """The works that a design rests on, by key; with ``stage`` those of that stage's formulas and checks."""
    known = bibliography()
    keys = design.source_keys()
    if stage:
        own = set(getattr(getattr(design, stage, None), "sources", ()))
        own.update(finding.source for finding in design.findings if finding.stage == stage)
        keys = tuple(key for key in keys if key in own)
    return tuple(known[key] for key in keys if key in known)
