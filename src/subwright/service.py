"""The use cases, as plain functions with typed results: the waist that every front end goes through.

Nothing here prints, asks or exits. Errors are `SubwrightError`s; an unreadable file is an `InputError` with
file, line and key of each problem.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.base.errors import FileProblem, InputError, PartNotFoundError, SubwrightError
from subwright.base.sources import Source, bibliography
from subwright.build.core_bench import (
    identify_unmarked_core,
    note_core_heat,
    note_core_pulse,
    other_cores,
    save_core,
)
from subwright.build.findings import explain as explain_rule
from subwright.build.findings import rules
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import FORMAT_VERSION, BuildSpec
from subwright.outputs import project
from subwright.outputs.project import BuildFile, Change
from subwright.outputs.spec_entries import SpecEntry, SpecTable, entry_at, spec_tables
from subwright.outputs.template import new_file_text
from subwright.outputs.tomlfile import closest, did_you_mean, dotted, parse_toml, read_toml, save_atomically
from subwright.outputs.tomllines import KeyPath
from subwright.parts.drawer import Drawer, parse_drawer, set_quantity
from subwright.parts.library import Library, load_library
from subwright.parts.schema import KINDS, Record

if TYPE_CHECKING:
    from subwright.build.bench import Compared, Entry, UnitsApart
    from subwright.build.bench_fit import Fit
    from subwright.build.bringup_records import BringUp
    from subwright.build.difference import Difference, KeptReading
    from subwright.build.substitution import Substitution
    from subwright.outputs.pack import PackReport
    from subwright.outputs.print_pdf import Paper
    from subwright.outputs.schematic_symbols import ResistorStyle
    from subwright.outputs.views import FindingRow, Overview, Sheet
    from subwright.stages.protection_fitted import FittedProtection, Measurable
    from subwright.stages.transformer_alternatives import AlternativeRow

__all__ = [
    "Explanation",
    "PartRow",
    "Progress",
    "Question",
    "Solved",
    "add_drawer_part",
    "bench_add",
    "bench_fit",
    "bench_log",
    "bench_rows",
    "bench_units_apart",
    "bring_up",
    "builds_apart",
    "check",
    "check_answer",
    "cores_instead",
    "explain",
    "finding_codes",
    "finding_rows",
    "fitted_protection",
    "identify_unmarked_core",
    "list_drawer",
    "list_parts",
    "measurable_parts",
    "new_build",
    "note_core_heat",
    "note_core_pulse",
    "open_build",
    "open_drawer",
    "overview",
    "pack_archive",
    "pack_pdf",
    "part_kinds",
    "questions",
    "render_pack",
    "save_core",
    "schematic_files",
    "set_value",
    "sheets",
    "solve",
    "source_rows",
    "spec_keys",
    "substitute",
]

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0 to 1."""


def _quiet(_what: str, _share: float) -> None:
    pass


# --- the build file ------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """One thing to ask for a new build.

    Attributes
    ----------
    key : place in the build file.
    text : the question.
    help : the explanation of the key.
    default : what an empty answer means; "" where an answer is needed.
    choices : the allowed answers; () where anything of the right kind goes.
    """

    key: str
    text: str
    help: str
    default: str
    choices: tuple[str, ...] = ()


_ASKED: tuple[tuple[str, str], ...] = (
    ("name", "What is the build called"),
    ("supply.battery", "Which kind of battery"),
    ("supply.system", "System voltage"),
    ("supply.cable_length", "One-way cable run from the battery"),
    ("driver.part", "Which driver"),
    ("enclosure.kind", "Which kind of enclosure"),
    ("enclosure.volume", "Net volume of the enclosure"),
    ("goal.power", "Power wanted"),
)

# Keys worth a builder's look although their defaults will often do.
_PLAIN: tuple[str, ...] = (
    "note",
    "goal.power",
    "goal.crest_factor",
    "goal.lowest_note",
    "supply.battery",
    "supply.system",
    "supply.capacity",
    "supply.cable_length",
    "supply.return_path",
    "supply.ambient_max",
    "driver.part",
    "driver.count",
    "enclosure.kind",
    "enclosure.volume",
    "enclosure.panel_thickness",
    "amplifier.kind",
    "filter.corner",
)


def questions() -> tuple[Question, ...]:
    """What to ask for a new build, in order."""
    return tuple(_question(key, text) for key, text in _ASKED)


def _question(key: str, text: str) -> Question:
    entry = _entry(key)
    choices = entry.choices
    if key == "driver.part":
        choices = tuple(load_library().drivers)
    default = entry.default.strip('"')
    return Question(key=key, text=text, help=entry.why, default=default, choices=choices)


def _entry(key: str) -> SpecEntry:
    entry = entry_at(BuildSpec, tuple(key.split(".")))
    if entry is None:
        raise SubwrightError(
            message=f"the build file has no key {key!r}{did_you_mean(key, spec_keys())}",
            remedy="list the keys with: subwright explain",
        )
    return entry


def check_answer(question: Question, answer: str) -> str:
    """Return ``answer`` if the build file would accept it.

    Raises
    ------
    SubwrightError
        It would not; the message says what would be.
    """
    if not answer:
        raise SubwrightError(message=f"{question.text}: an answer is needed", remedy=question.help)
    if question.key == "driver.part":
        load_library().driver(answer)
    start = parse_toml(_start_text("new"), Path("new build"))
    try:
        project.set_value(start, question.key, answer)
    except InputError as error:
        raise SubwrightError(message=error.problems[0].message) from None
    return answer


def new_build(path: Path, answers: Mapping[str, str], *, replace: bool = False) -> BuildFile:
    """Write a new build file, each key explained, and return it as read back.

    Parameters
    ----------
    path : where to write.
    answers : dotted key → value as a person types it (``{"supply.cable_length": "4 m"}``).
    replace : whether a file that is there may be replaced.

    Raises
    ------
    InputError
        The file exists, can't be written, or an answer is not allowed; nothing was written then.
    """
    if path.exists() and not replace:
        said = "exists already; choose another name, or allow it to be replaced (--replace)"
        problem = FileProblem(file=path, line=1, key="file", message=said)
        raise InputError(message=said, problems=(problem,))
    text = _start_text(answers.get("name", path.name.split(".")[0].replace("-", " ")))
    for key, value in answers.items():
        text = project.set_value(parse_toml(text, path), key, value).text
    build = project.parse_build(text, path)
    save_atomically(path, text)
    return build


def _start_text(name: str) -> str:
    values: dict[KeyPath, object] = {("format_version",): FORMAT_VERSION, ("name",): name}
    return new_file_text(BuildSpec, values, [tuple(key.split(".")) for key in _PLAIN])


def open_build(path: Path) -> BuildFile:
    """Read a build file. Raises `InputError` with each problem located."""
    return project.read_build(path)


def check(path: Path) -> tuple[FileProblem, ...]:
    """The problems of a build file and of the drawer it names; () when it can be designed from."""
    try:
        build = open_build(path)
        _library_for(build.spec, path.parent)
    except InputError as error:
        return error.problems
    return ()


def set_value(path: Path, key: str, value: str) -> Change:
    """Set one key of a build file and save it; comments, order and all other keys stay as they are.

    Raises
    ------
    InputError
        The key is unknown, the value is not allowed there, or the file can't be saved.
    """
    change = project.set_value(read_toml(path), key, value)
    project.save_build(change)
    return change


@cache
def spec_keys() -> tuple[str, ...]:
    """Every key of the build file, dotted, in the file's order."""
    return tuple(dotted(entry.loc) for table in spec_tables(BuildSpec) for entry in table.entries)


# --- the design ----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class Solved:
    """A design beside the build file it came from (None when it came from a spec)."""

    design: Design
    build: BuildFile | None = None

    @property
    def has_stop(self) -> bool:
        """Whether any finding is at stop."""
        return self.design.worst == "stop"


def solve(
    build: Path | BuildFile | BuildSpec, progress: Progress = _quiet, folder: Path | None = None
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
        library = _library_for(build.spec, build.path.parent)
        return Solved(design=solve_build(build.spec, library, progress), build=build)
    library = _library_for(build, folder or Path())
    return Solved(design=solve_build(build, library, progress))


def measurable_parts(solved: Solved) -> tuple[Measurable, ...]:
    """What may be measured on the protection circuit before it is trimmed."""
    from subwright.stages import protection_fitted as stage

    return stage.measurable_parts(solved.design.protection, _library_of(solved))


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
    return stage.fitted_protection(solved.design.protection, _library_of(solved), values, tolerance)


def _library_of(solved: Solved) -> Library:
    return _library_for(solved.design.spec, solved.build.path.parent if solved.build else Path())


def _library_for(spec: BuildSpec, folder: Path) -> Library:
    return load_library() if spec.drawer is None else _with_drawer(*_drawer_text(folder / spec.drawer))


def _drawer_text(path: Path) -> tuple[str, Path]:
    return read_toml(path, "drawer file").text, path


@lru_cache(maxsize=8)
def _with_drawer(text: str, path: Path) -> Library:
    """Library and drawer merged; the same text gives the same object, so that designs can be remembered."""
    return load_library().with_drawer(parse_drawer(text, path))


def overview(design: Design) -> Overview:
    """The design in brief: key figures, the line from battery to air, findings that need a look."""
    from subwright.outputs import design_view

    return design_view.overview(design)


def finding_rows(design: Design, *, with_passed: bool = False) -> tuple[FindingRow, ...]:
    """The findings that need a look, gravest first; with ``with_passed`` every check."""
    from subwright.outputs import design_view

    return design_view.finding_rows(design, with_passed=with_passed)


def render_pack(
    build: Design | Solved, folder: Path, progress: Progress = _quiet, *, paper: Paper | None = None
) -> PackReport:
    """Write the build pack into ``folder``, all files or none; ``paper`` adds it as a PDF.

    Raises `SubwrightError` where it can't.
    """
    from subwright.outputs.pack import write_pack

    folder.parent.mkdir(parents=True, exist_ok=True)
    design, library = _parts_with(build)
    return write_pack(design, folder, progress, library=library, paper=paper)


def pack_pdf(build: Solved, paper: Paper = "a4") -> bytes:
    """The build pack as a PDF; the same design gives the same bytes. Raises `SubwrightError` if it can't."""
    from subwright.outputs.design_view import pack_view
    from subwright.outputs.print_pdf import pack_pdf as made
    from subwright.outputs.schematics import schematics

    view = pack_view(build.design, library=_library_of(build))
    drawn = schematics(build.design, _library_of(build), stamp=view.stamp).sheets
    return made(build.design, view, bring_up(build), paper=paper, drawn=drawn)


def bring_up(build: Solved) -> BringUp:
    """The first power-up of a design, step by step, with what to read and its window."""
    from subwright.build import bringup

    return bringup.bring_up(build.design, _library_of(build))


def _parts_with(build: Design | Solved) -> tuple[Design, Library | None]:
    """The design, and the parts it was solved with where they are known."""
    return (build.design, _library_of(build)) if isinstance(build, Solved) else (build, None)


def schematic_files(
    build: Solved, style: ResistorStyle = "iec"
) -> tuple[Mapping[str, str], tuple[tuple[str, str], ...]]:
    """Circuit diagrams, netlist and SPICE text by file name, and blocks without a circuit with the reason."""
    from subwright.outputs.design_view import stamp_of
    from subwright.outputs.schematic_blocks import blocks
    from subwright.outputs.schematic_files import schematic_files as made

    library = _library_of(build)
    _, missing = blocks(build.design, library)
    return made(build.design, library, style=style, stamp=stamp_of(build.design)), missing


def sheets(design: Design) -> tuple[Sheet, ...]:
    """The stages' sheets in the order of the chain; drawings are made when asked for."""
    from subwright.outputs import design_view

    return design_view.sheets(design)


def pack_archive(build: Design | Solved, progress: Progress = _quiet) -> bytes:
    """The build pack as a ZIP archive; the same design gives the same bytes."""
    from subwright.outputs.archive import zipped
    from subwright.outputs.pack import pack_files

    progress("drawing", 0.05)
    design, library = _parts_with(build)
    files = pack_files(design, library=library)
    progress("packing", 0.8)
    return zipped(files)


def source_rows(design: Design) -> tuple[Source, ...]:
    """The works that a design rests on, by key."""
    known = bibliography()
    return tuple(known[key] for key in design.source_keys() if key in known)


# --- parts ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class PartRow:
    """One part for a list."""

    id: str
    kind: str
    description: str
    provenance: str
    document: str
    in_drawer: int
    record: Record


def part_kinds() -> tuple[str, ...]:
    """The kinds of part that the library holds."""
    return tuple(KINDS)


def _kind(word: str) -> str:
    plain = word.strip().lower().replace("-", "_").replace(" ", "_")
    for name in (plain, plain.removesuffix("s")):
        if name in KINDS:
            return name
    raise SubwrightError(
        message=f"there is no kind of part {word!r}{did_you_mean(plain, KINDS)}",
        remedy=f"kinds are {', '.join(KINDS)}",
    )


def list_parts(kind: str, query: str = "", drawer: Path | None = None) -> tuple[PartRow, ...]:
    """The parts of one kind that match every word of ``query``, those in the drawer first.

    Raises
    ------
    SubwrightError
        There is no such kind; the message names the nearest.
    InputError
        The drawer file can't be used.
    """
    name = _kind(kind)
    library = load_library()
    if drawer is not None:
        library = library.with_drawer(open_drawer(drawer))
    words = query.lower().split()
    rows = [
        _part_row(name, record, library)
        for record in library.kind(name).values()
        if all(word in f"{record.id} {record.description}".lower() for word in words)
    ]
    return tuple(sorted(rows, key=lambda row: row.in_drawer == 0))


def _part_row(kind: str, record: Record, library: Library) -> PartRow:
    return PartRow(
        id=record.id,
        kind=kind,
        description=record.description,
        provenance=record.provenance.kind,
        document=record.provenance.document,
        in_drawer=library.in_drawer(record.id),
        record=record,
    )


def open_drawer(path: Path) -> Drawer:
    """Read a drawer file. Raises `InputError` with each problem located."""
    return parse_drawer(read_toml(path, "drawer file").text, path)


def list_drawer(path: Path) -> tuple[Drawer, tuple[PartRow, ...]]:
    """A drawer file and its parts, kind by kind."""
    drawer = open_drawer(path)
    library = load_library().with_drawer(drawer)
    rows = tuple(
        _part_row(kind, record, library)
        for kind in KINDS
        for record in library.kind(kind).values()
        if record.id in drawer.quantities
    )
    return drawer, rows


def add_drawer_part(path: Path, part_id: str, quantity: int = 1) -> PartRow:
    """Count ``quantity`` more of a library part (or of one that the drawer describes itself) as at hand.

    Raises
    ------
    PartNotFoundError
        The part is in neither; near misses are named.
    InputError
        The drawer file can't be used or saved.
    """
    library = load_library()
    if path.exists():
        library = library.with_drawer(open_drawer(path))
    kind = next((kind for kind in KINDS if part_id in library.kind(kind)), None)
    if kind is None:
        near = closest(part_id, [known for name in KINDS for known in library.kind(name)])
        raise PartNotFoundError(
            message=f"there is no part {part_id!r} in the library or the drawer",
            remedy=f"did you mean {' or '.join(near)}?" if near else "look it up with: subwright parts KIND",
            near=near,
        )
    drawer = set_quantity(path, part_id, library.in_drawer(part_id) + quantity)
    return _part_row(kind, library.kind(kind)[part_id], library.with_drawer(drawer))


# --- explanations --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class Explanation:
    """One page: a title and headed paragraphs."""

    code: str
    title: str
    sections: tuple[tuple[str, str], ...]


def finding_codes() -> tuple[str, ...]:
    """The codes of every check."""
    return tuple(rule.code for rule in rules())


def explain(code: str = "") -> Explanation:
    """Explain a finding's code, a key or table of the build file, or a source; "" lists what there is.

    Raises
    ------
    SubwrightError
        It is none of them; near misses are named.
    """
    word = code.strip()
    if not word:
        return _index_page()
    if word.upper() in finding_codes():
        return _rule_page(word)
    if (entry := entry_at(BuildSpec, tuple(word.split(".")))) is not None:
        return _key_page(entry)
    if (table := _table(word)) is not None:
        return _table_page(table)
    if (source := bibliography().get(word)) is not None:
        sections = (("Work", source.citation()), ("How its figures got here", source.status))
        return Explanation(code=source.key, title=source.title, sections=sections)
    known = (*finding_codes(), *spec_keys(), *bibliography())
    raise SubwrightError(
        message=f"{word!r} is no finding, no key of the build file and no source{did_you_mean(word, known)}",
        remedy="list them with: subwright explain",
    )


def _index_page() -> Explanation:
    checks = "\n".join(f"{rule.code}  {rule.title}" for rule in rules())
    keys = "\n".join(
        f"{dotted(table.loc) if table.loc else 'top of the file'}: {', '.join(e.key for e in table.entries)}"
        for table in spec_tables(BuildSpec)
    )
    sections = (("Checks", checks), ("Keys of the build file", keys), ("Sources", ", ".join(bibliography())))
    return Explanation(code="", title="What can be explained", sections=sections)


def _rule_page(code: str) -> Explanation:
    rule = explain_rule(code)
    sections = (
        ("What is checked", rule.what),
        ("Why", rule.why),
        ("Limit", rule.limit),
        ("Source", rule.source),
        ("Example", rule.example),
        ("What to do", rule.remedy),
        ("Severity", rule.severity),
    )
    return Explanation(code=rule.code, title=rule.title, sections=sections)


def _table(word: str) -> SpecTable | None:
    return next((table for table in spec_tables(BuildSpec) if table.loc and dotted(table.loc) == word), None)


def _table_page(table: SpecTable) -> Explanation:
    sections = tuple(
        (entry.key, f"{entry.why} {entry.range or ', '.join(entry.choices)}".strip())
        for entry in table.entries
    )
    return Explanation(code=dotted(table.loc), title=table.about, sections=sections)


def _key_page(entry: SpecEntry) -> Explanation:
    sections = [("What it is", entry.why)]
    if entry.range:
        sections.append(("Range", entry.range))
    if entry.choices:
        sections.append(("Choices", ", ".join(entry.choices)))
    sections.append(("Default", entry.default or ("must be given" if entry.required else "none")))
    return Explanation(
        code=dotted(entry.loc), title=f"Build-file key {dotted(entry.loc)}", sections=tuple(sections)
    )


# --- cores -----------------------------------------------------------------------------------------------


def cores_instead(
    build: Path | BuildFile | Solved, *, named: Sequence[str] = (), most: int = 6, folder: Path | None = None
) -> tuple[AlternativeRow, ...]:
    """A build's transformer on every core at hand, on those named, and on the best of the library.

    Parameters
    ----------
    build : a build file's path, one already read, or a solved design.
    named : cores to show whatever they come to. most : how many more of the library.
    folder : where a drawer file is looked for when the design came from a spec.

    Raises
    ------
    NoSolutionError
        The build has no transformer.
    PartNotFoundError
        A named core is unknown.
    """
    solved = build if isinstance(build, Solved) else solve(build)
    where = solved.build.path.parent if solved.build is not None else (folder or Path())
    return other_cores(solved.design, _library_for(solved.design.spec, where), named=named, most=most)


# --- the bench -------------------------------------------------------------------------------------------


def bench_log(build: Path) -> tuple[Entry, ...]:
    """Every reading ever entered for a build file, in order. Raises `InputError` if it can't be used."""
    from subwright.outputs.benchlog import log_path, read_log

    return read_log(log_path(build))


def bench_add(
    build: Path,
    readings: Mapping[str, str] | Path,
    *,
    unit: str,
    accuracy: str = "",
    note: str = "",
    at: str = "",
) -> tuple[Entry, ...]:
    """Enter readings of a unit, as typed or from a CSV file, and return them as saved; all or none.

    Raises
    ------
    SubwrightError
        An unknown reading, an impossible value, or a file that can't be used.
    """
    from subwright.outputs.benchlog import append_entries, log_path
    from subwright.outputs.benchlog_entry import entries_from_table, entries_from_words
    from subwright.outputs.print_code import design_code

    solved = solve(build)
    procedure, code = bring_up(solved), design_code(solved.design)
    if isinstance(readings, Path):
        made = entries_from_table(procedure, readings, unit=unit, code=code, accuracy=accuracy, at=at)
    else:
        made = entries_from_words(
            procedure, readings, unit=unit, code=code, accuracy=accuracy, note=note, at=at
        )
    append_entries(log_path(build), made)
    return made


def bench_rows(solved: Solved, entries: Sequence[Entry], unit: str) -> tuple[Compared, ...]:
    """A unit's latest readings beside their windows."""
    from subwright.build.bench import compare

    return compare(bring_up(solved), entries, unit)


def bench_fit(solved: Solved, entries: Sequence[Entry], unit: str) -> Fit:
    """The design refitted to one unit, and what to change on it."""
    from subwright.build.bench_fit import fit_unit

    return fit_unit(solved.design, bring_up(solved), _library_of(solved), entries, unit)


def bench_units_apart(
    solved: Solved, entries: Sequence[Entry], first: str, second: str
) -> tuple[UnitsApart, ...]:
    """Two units of one design side by side."""
    from subwright.build.bench import units_apart

    return units_apart(bring_up(solved), entries, first, second)


def builds_apart(
    before: Solved, after: Solved, entries: Sequence[Entry] = ()
) -> tuple[Difference, tuple[KeptReading, ...]]:
    """What turns a unit of one version into one of another, and what of the bench log stays valid."""
    from subwright.build.difference import difference, readings_kept

    found = difference(before.design, after.design)
    kept = readings_kept(entries, found, bring_up(before), bring_up(after)) if entries else ()
    return found, kept


def substitute(solved: Solved, part_id: str, *, most: int = 6) -> Substitution:
    """What would do in place of a part that can't be had, and the build solved again without it.

    Raises
    ------
    SubwrightError
        The build has no such part, or it is a plain value.
    """
    from subwright.build import substitution

    return substitution.substitute(solved.design, _library_of(solved), part_id, most=most)
