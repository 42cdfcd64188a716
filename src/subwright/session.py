"""One opened build: every change is designed, saved and remembered; nothing is lost when the power goes.

A session belongs to one build file. Pages that look at the same build share it; each change names the
revision that it was made on, and a change made on an older one is refused with what happened meanwhile.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from threading import BoundedSemaphore, RLock
from typing import TYPE_CHECKING

from subwright import service
from subwright.base.errors import InputError, SubwrightError
from subwright.base.saving import save_atomically
from subwright.build.result import Design
from subwright.build.spec import BuildSpec
from subwright.outputs import project
from subwright.outputs.history import History, Version, open_history
from subwright.outputs.project import BuildFile, Change
from subwright.outputs.spec_entries import SpecEntry, spec_tables
from subwright.outputs.tomlfile import parse_toml, read_toml, toml_value
from subwright.service import Solved

if TYPE_CHECKING:
    from subwright.outputs.schematics import Schematics
    from subwright.outputs.views import Overview, Sheet

__all__ = [
    "BuildSession",
    "Conflict",
    "Input",
    "Moved",
    "Outcome",
    "drawer_of",
    "journal_of",
    "moved_between",
    "worked_out",
]

_CLOCK_TICK_NS = 100_000_000  # a file written again this soon may have the same time and size: its text tells
_KEPT = 12  # finished designs kept for undo, comparison and what-if
_AT_WORK = BoundedSemaphore(2)  # designs worked out at a time: more would only make every one of them late


@dataclass(kw_only=True)
class Outcome:
    """What one text of a build file leads to: a design, or why there is none."""

    text: str
    build: BuildFile | None = None
    solved: Solved | None = None
    error: SubwrightError | None = None

    @property
    def solution(self) -> Solved:
        """The design with the file it came from. Raises the reason where there is none."""
        if self.solved is None:
            raise self.error or SubwrightError(message="there is no design")
        return self.solved

    @property
    def design(self) -> Design:
        """The design. Raises the reason where there is none."""
        return self.solution.design

    @cached_property
    def overview(self) -> Overview:
        """Key figures, stations and findings."""
        return service.overview(self.design)

    @cached_property
    def circuits(self) -> Schematics:
        """The circuit diagrams with the parts' designators; drawn when first asked for."""
        from subwright.outputs.design_view import stamp_of
        from subwright.outputs.schematics import schematics
        from subwright.service.solved import library_of

        assert self.solved is not None
        return schematics(self.design, library_of(self.solved), stamp=stamp_of(self.design))

    @cached_property
    def drawn_stages(self) -> frozenset[str]:
        """Keys of the stages that have a circuit diagram."""
        from subwright.outputs.schematic_blocks import blocks
        from subwright.service.solved import library_of

        assert self.solved is not None
        found, _ = blocks(self.design, library_of(self.solved))
        return frozenset(block.stage for block in found)

    @cached_property
    def sheets(self) -> Mapping[str, Sheet]:
        """The stages' sheets by key."""
        return {sheet.key: sheet for sheet in service.sheets(self.design)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Moved:
    """One printed value that a change moved."""

    stage: str
    name: str
    before: str
    after: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Input:
    """One key of the build file as it stands, for editing.

    ``text`` is what the file says, without quotes ("" where the key is left out and ``default`` counts).
    """

    entry: SpecEntry
    key: str
    text: str
    default: str

    @property
    def given(self) -> bool:
        """Whether the file says it."""
        return self.text != ""


class Conflict(SubwrightError):  # noqa: N818  (it is no fault, only news)
    """Someone else changed the build since the page that asks was drawn."""


@dataclass(kw_only=True, slots=True)
class BuildSession:
    """An opened build file with its history."""

    path: Path
    history: History
    stamp: tuple[int, int] = (0, 0)
    stamped_ns: int = 0
    outcomes: OrderedDict[str, Outcome] = field(default_factory=OrderedDict)
    lock: RLock = field(default_factory=RLock)
    gone: bool = False  # its files were moved away; nothing is written any more

    @classmethod
    def opened(cls, path: Path) -> BuildSession:
        """Open a build file; a change that was noted but not saved when the power went is saved now.

        Raises
        ------
        InputError : the file can't be read.
        """
        text = read_toml(path).text
        history, unsaved = open_history(journal_of(path), text, path.stat().st_mtime)
        if unsaved:
            save_atomically(path, history.text)
        session = cls(path=path, history=history)
        session._stamp(session._stamp_now())
        return session

    @property
    def text(self) -> str:
        """The build file's text, as last saved by anyone."""
        with self.lock:
            self._look()
            return self.history.text

    @property
    def revision(self) -> int:
        """Counts every step since the build was first opened here."""
        with self.lock:
            self._look()
            return self.history.revision

    def outcome(self, text: str | None = None) -> Outcome:
        """The design of ``text`` (None: of the build as it stands), worked out once."""
        with self.lock:
            wanted = self.text if text is None else text
            known = self.outcomes.get(wanted)
            if known is None:
                known = worked_out(wanted, self.path)
                self.outcomes[wanted] = known
                while len(self.outcomes) > _KEPT:
                    self.outcomes.popitem(last=False)
            self.outcomes.move_to_end(wanted)
            return known

    def forget(self) -> None:
        """Work every design out anew: a drawer changed."""
        with self.lock:
            self.outcomes.clear()

    # --- changes ---------------------------------------------------------------------------------------

    def change(self, key: str, value: str, seen: int) -> Change:
        """Set one key, or leave it to its default where ``value`` is empty; saved before it returns.

        Raises
        ------
        Conflict : the build has moved on since revision ``seen``.
        InputError : the value is not allowed there; nothing was changed.
        """
        with self.lock:
            self.expect(seen)
            change = self._meant(key, value)
            self._save(change.text, f"{key} = {change.after}" if value else f"{key} left to its default")
            return change

    def what_if(self, key: str, value: str) -> Outcome:
        """The design with one key changed, without changing it. Raises InputError where it's not allowed."""
        return self.outcome(self._meant(key, value).text)

    def _meant(self, key: str, value: str) -> Change:
        known = self.outcomes.get(self.text)
        source = known.build.source if known is not None and known.build is not None else None
        source = source or parse_toml(self.text, self.path)
        if value:
            return project.set_value(source, key, value)
        return project.drop_value(source, key)

    def undo(self, seen: int) -> str:
        """Take the last change back and return what it was. Raises Conflict as `change`."""
        with self.lock:
            self.expect(seen)
            what = self.history.undo()
            self._to_disk()
            return what

    def redo(self, seen: int) -> str:
        """Make the last undone change again and return what it was. Raises Conflict as `change`."""
        with self.lock:
            self.expect(seen)
            what = self.history.redo()
            self._to_disk()
            return what

    def keep(self, name: str) -> Version:
        """Give the present state a name. Raises SubwrightError where the name is empty or too long."""
        wanted = " ".join(name.split())
        if not 0 < len(wanted) <= 60:
            raise SubwrightError(
                message="a version needs a name",
                quantity="name",
                value=repr(wanted[:80]),
                limit="1 to 60 signs",
            )
        with self.lock:
            self.expect(self.history.revision)
            return self.history.keep(wanted)

    def restore(self, name: str, seen: int) -> None:
        """Go back to a named version; that is a change like any other and can be undone."""
        with self.lock:
            self.expect(seen)
            version = self.version(name)
            self._save(version.text, f"back to version {version.name}")

    def version(self, name: str) -> Version:
        """A named version. Raises SubwrightError where there is none of that name."""
        with self.lock:
            version = self.history.versions.get(name)
        if version is None:
            raise SubwrightError(
                message="there is no version of that name", quantity="name", value=repr(name)
            )
        return version

    def before_last(self) -> str:
        """The text before the last change; the present one where nothing was changed."""
        with self.lock:
            if not self.history.done:
                return self.history.text
            return self.history.done[-1].revert(self.history.text)

    # --- looking ---------------------------------------------------------------------------------------

    def inputs(self, table: str) -> tuple[Input, ...]:
        """The keys of one table of the build file as they stand; "" for those at its top."""
        loc = (table,) if table else ()
        data: object = parse_toml(self.text, self.path).data
        if table:
            data = data.get(table, {}) if isinstance(data, Mapping) else {}
        held = data if isinstance(data, Mapping) else {}
        return tuple(_inputs(held, loc))

    def _look(self) -> None:
        """Take in what another programme did to the file since we last looked."""
        now = self._stamp_now()
        if now == self.stamp and self.stamped_ns - now[0] > _CLOCK_TICK_NS:
            return
        self._stamp(now)
        try:
            text = read_toml(self.path).text
        except InputError:
            return  # being written this moment, or spoilt: what we hold stays until it reads again
        self.history.change(text, "changed outside the workbench")

    def _stamp(self, now: tuple[int, int]) -> None:
        self.stamp, self.stamped_ns = now, time.time_ns()

    def _stamp_now(self) -> tuple[int, int]:
        try:
            status = self.path.stat()
        except OSError:
            return (0, 0)
        return (status.st_mtime_ns, status.st_size)

    def expect(self, seen: int) -> None:
        """Raise `Conflict` where the build has moved on since ``seen``; another error if it is gone."""
        if self.gone:
            raise SubwrightError(
                message="there is no build of that name any more: it was renamed or laid aside",
                remedy="look for it in the list of builds",
            )
        self._look()
        if seen != self.history.revision:
            raise Conflict(
                message="this build was changed in another window or programme meanwhile",
                quantity="last change",
                value=self.history.last,
                remedy="nothing was lost: look at the new state, then make your change again",
            )

    def _save(self, text: str, what: str) -> None:
        self.history.change(text, what)
        self._to_disk()

    def _to_disk(self) -> None:
        save_atomically(self.path, self.history.text)
        self._stamp(self._stamp_now())


def worked_out(text: str, path: Path) -> Outcome:
    """What the ``text`` of a build file at ``path`` leads to; whatever is in the way comes with it."""
    build: BuildFile | None = None
    try:
        with _AT_WORK:
            build = project.parse_build(text, path)
            drawer_of(build)
            return Outcome(text=text, build=build, solved=service.solve(build))
    except SubwrightError as error:
        return Outcome(text=text, build=build, error=error)
    except Exception as error:  # a fault of ours must not take the page, and with it the undo, away
        fault = SubwrightError(
            message=f"sorry, that is a fault in subwright itself ({type(error).__name__})",
            remedy="undo the last change, and report it with the build file",
        )
        return Outcome(text=text, build=build, error=fault)


def drawer_of(build: BuildFile) -> Path | None:
    """The drawer file that a build names, or None.

    Raises
    ------
    SubwrightError : it lies outside the build's own folder, where the workbench does not look.
    """
    if build.spec.drawer is None:
        return None
    folder = build.path.parent.resolve()
    drawer = build.path.parent / build.spec.drawer
    if folder not in drawer.resolve().parents:
        raise SubwrightError(
            message="the workbench reads nothing outside the folder of the build",
            quantity="drawer",
            value=repr(build.spec.drawer),
            remedy="copy the drawer file beside the build file and name it there",
        )
    return drawer


def moved_between(before: Outcome, after: Outcome) -> tuple[Moved, ...]:
    """Every printed value of the sheets and the key figures that differs, in the order of the chain."""
    return tuple(_moved(_printed(before), _printed(after)))


def _printed(outcome: Outcome) -> dict[tuple[str, str], str]:
    values = {("", name): text for name, text in outcome.overview.key_figures}
    for key, sheet in outcome.sheets.items():
        for name, text in sheet.values:
            values[(key, name)] = text
    return values


def _moved(before: Mapping[tuple[str, str], str], after: Mapping[tuple[str, str], str]) -> Iterator[Moved]:
    for place in dict.fromkeys((*after, *before)):
        old, new = before.get(place, "–"), after.get(place, "–")
        if old != new:
            yield Moved(stage=place[0], name=place[1], before=old, after=new)


def _inputs(held: Mapping[str, object], loc: tuple[str, ...]) -> Iterator[Input]:
    for table in spec_tables(BuildSpec):
        if table.loc != loc:
            continue
        for entry in table.entries:
            raw = held.get(entry.key)
            yield Input(
                entry=entry,
                key=".".join((*loc, entry.key)),
                text="" if raw is None else _plain(raw),
                default=entry.default.strip('"'),
            )


def _plain(value: object) -> str:
    return value if isinstance(value, str) else toml_value(value)


def journal_of(path: Path) -> Path:
    """Where the history of a build file is kept."""
    return path.parent / ".subwright" / f"{path.name.removesuffix('.build.toml')}.journal"
