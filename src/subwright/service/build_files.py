"""Build files: asked for, opened, checked, changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.base.saving import save_atomically
from subwright.base.tomllines import KeyPath
from subwright.build.spec import FORMAT_VERSION, BuildSpec
from subwright.outputs import project
from subwright.outputs.project import BuildFile, Change
from subwright.outputs.spec_entries import SpecEntry, entry_at, spec_tables
from subwright.outputs.template import new_file_text
from subwright.outputs.tomlfile import did_you_mean, dotted, parse_toml, read_toml
from subwright.parts.library import load_library
from subwright.service.solved import library_for

if TYPE_CHECKING:
    pass


__all__ = [
    "Question",
    "check",
    "check_answer",
    "new_build",
    "open_build",
    "questions",
    "set_value",
    "spec_keys",
]


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
        library_for(build.spec, path.parent)
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
