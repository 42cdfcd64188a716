"""A folder of builds: what is in it, new ones, copies, and the drawers beside them. Nothing outside it."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from threading import Lock

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.saving import save_atomically
from subwright.base.units import parse
from subwright.build.driver_measurement import Measurement, save_driver
from subwright.outputs import project
from subwright.outputs.history import last_change
from subwright.outputs.tomlfile import SIZE_LIMIT_BYTES, parse_toml, read_toml
from subwright.parts.drawer import Drawer, parse_drawer, set_quantity
from subwright.parts.library import load_library
from subwright.session import BuildSession, drawer_of, journal_of

__all__ = ["EXAMPLE", "AsideRow", "BuildRow", "Workspace", "check_size", "file_stem"]

EXAMPLE = "~example"
"""Name under which the example opens; no file can be called so."""

_SUFFIX = ".build.toml"
_DRAWER = ".drawer.toml"
_NAME = re.compile(r"[\w][\w .+-]{0,79}", re.UNICODE)
_STEPS = 12
_STEP = 0.85
_ENOUGH = 3
_SHORT, _BELOW = "AMP-01", 0.98  # the check of the power that is reached; a little below it
_EXAMPLE_STEM = "storyteller-van"


@dataclass(frozen=True, kw_only=True, slots=True)
class BuildRow:
    """One build of the folder, for a list."""

    name: str
    title: str
    saved_s: float  # since the epoch
    changed: str = ""  # what the last change in the workbench was


@dataclass(frozen=True, kw_only=True, slots=True)
class AsideRow:
    """One build that was laid aside; ``key`` asks for it, ``at`` is when, ISO 8601."""

    key: str
    title: str
    at: str


def file_stem(title: str) -> str:
    """A file's name from a build's title: lower case, hyphens, letters and digits of any script.

    >>> file_stem("Harbour bar, 2nd try")
    'harbour-bar-2nd-try'
    """
    kept = re.sub(r"[^\w]+", "-", title.strip().lower(), flags=re.UNICODE).strip("-_")
    return kept[:60].rstrip("-_") or "build"


@dataclass(kw_only=True, slots=True)
class Workspace:
    """The builds of one folder, opened once each and shared by every page that looks at them."""

    folder: Path
    sessions: dict[str, BuildSession] = field(default_factory=dict)
    example_folder: Path | None = None
    lock: Lock = field(default_factory=Lock)

    def builds(self) -> tuple[BuildRow, ...]:
        """What the folder holds, the latest first."""
        rows = []
        for path in self.folder.glob(f"*{_SUFFIX}"):
            if path.is_file() and not path.name.startswith("."):
                name = path.name.removesuffix(_SUFFIX)
                saved_s, changed = path.stat().st_mtime, last_change(journal_of(path))
                rows.append(BuildRow(name=name, title=_title(path, name), saved_s=saved_s, changed=changed))
        return tuple(sorted(rows, key=lambda row: (-row.saved_s, row.name)))

    def drawers(self) -> tuple[str, ...]:
        """Names of the drawer files beside the builds."""
        return tuple(sorted(path.name for path in self.folder.glob(f"*{_DRAWER}") if path.is_file()))

    def session(self, name: str) -> BuildSession:
        """The opened build of that name.

        Raises
        ------
        SubwrightError : there is no such build in the folder.
        InputError : its file can't be read.
        """
        with self.lock:
            known = self.sessions.get(name)
            if known is None:
                known = BuildSession.opened(self.path_of(name))
                self.sessions[name] = known
            return known

    def path_of(self, name: str) -> Path:
        """The build file of that name. Raises SubwrightError where the folder holds none."""
        if name == EXAMPLE:
            return self._example() / f"{_EXAMPLE_STEM}{_SUFFIX}"
        path = self.inside(f"{name}{_SUFFIX}")
        if not path.is_file():
            raise SubwrightError(
                message=f"there is no build {name!r} in this folder",
                quantity="folder",
                value=str(self.folder),
                remedy="choose one of the list, or make a new one",
            )
        return path

    def _example(self) -> Path:
        """The example in a folder of its own, so that trying things out leaves no trace in the builder's."""
        if self.example_folder is None:
            self.example_folder = Path(tempfile.mkdtemp(prefix="subwright-example-"))
            source = files("subwright.web") / "example"
            for item in source.iterdir():
                if item.name.endswith(".toml"):
                    text = item.read_text(encoding="utf-8")
                    (self.example_folder / item.name).write_text(text, encoding="utf-8", newline="")
        return self.example_folder

    def close(self) -> None:
        """Remove the example's folder."""
        if self.example_folder is not None:
            shutil.rmtree(self.example_folder, ignore_errors=True)
            self.example_folder = None

    def inside(self, file: str) -> Path:
        """The path of a file of this folder.

        Raises
        ------
        SubwrightError : the name is none of a plain file in this folder.
        """
        path = self.folder / file
        plain = _NAME.fullmatch(file) and ".." not in file
        if not plain or path.resolve().parent != self.folder.resolve():
            raise SubwrightError(
                message="that is not the name of a file in the chosen folder",
                quantity="name",
                value=repr(file[:80]),
                remedy="letters, digits, spaces, dots and hyphens, at most 80, no folders",
            )
        return path

    def free_name(self, title: str) -> str:
        """A name for a new build that no file has yet."""
        stem = file_stem(title)
        name, count = stem, 2
        while self.inside(f"{name}{_SUFFIX}").exists():
            name, count = f"{stem}-{count}", count + 1
        return name

    def new(self, answers: Mapping[str, str]) -> str:
        """Write a new build from answers by key, and return its name. Raises as `service.new_build`."""
        name = self.free_name(answers["name"])
        path = self.inside(f"{name}{_SUFFIX}")
        build = service.new_build(path, answers)
        if "driver.part" not in answers:  # the new file shows where a part would be named
            save_atomically(path, project.drop_value(build.source, "driver.part").text)
        return name

    def first_design(self, answers: Mapping[str, str]) -> str:
        """Write a new build that has a design, and return its name.

        Where the power asked for, or the driver's own rating, has no design with the parts at hand, the
        nearest power that has one is taken, without a stop if it can be had.

        Raises
        ------
        SubwrightError : why these answers have no design; nothing is left in the folder. Otherwise as
            `service.new_build`.
        """
        name = self.new(answers)
        session = self.session(name)
        if session.outcome().solved is None and "goal.spl" not in answers:
            self._nearest_power(session, answers)
        if "goal.spl" not in answers and "goal.power" not in answers:
            self._reached_power(session)
        first = session.outcome()
        if first.solved is None:
            self._unmake(name)
            raise first.error or SubwrightError(message="these answers have no design")
        return name

    def _unmake(self, name: str) -> None:
        """Take a build that was made a moment ago out of the folder again."""
        with self.lock:
            session = self.sessions.pop(name)
            session.gone = True
            session.path.unlink(missing_ok=True)
            session.history.journal.unlink(missing_ok=True)

    def _nearest_power(self, session: BuildSession, answers: Mapping[str, str]) -> None:
        """Change the power to the nearest that has a design, if any has."""
        asked = answers.get("goal.power", "")
        wanted_w = parse(asked, "power") if asked else _rated_w(answers)
        found, refusal, alike = "", session.outcome().error, 0
        for power_w in () if wanted_w is None else _powers_near(wanted_w, above=bool(asked)):
            said = f"{power_w:.2g} W" if power_w < 10.0 else f"{power_w:.0f} W"
            tried = session.what_if("goal.power", said)
            same = tried.error is not None and refusal is not None and str(tried.error) == str(refusal)
            alike = alike + 1 if same else 0
            if alike >= _ENOUGH:
                break  # it isn't the power: a driver too large for the room stays so
            if tried.solved is not None:
                found = found or said
                if not tried.solved.has_stop:
                    found = said
                    break
        if found:
            session.change("goal.power", found, session.revision)

    def _reached_power(self, session: BuildSession) -> None:
        """Bring a power that nobody asked for down to what the chosen amplifier reaches."""
        for _ in range(_ENOUGH):
            solved = session.outcome().solved
            short = [f for f in solved.design.findings if f.code == _SHORT] if solved is not None else []
            if not short or short[0].severity != "stop":
                return
            session.change("goal.power", f"{_BELOW * short[0].value:.3g} W", session.revision)

    def add(self, text: str, file: str) -> str:
        """Take in a build file that was made elsewhere and return its name.

        Raises
        ------
        InputError : it is no build file; each problem with its line.
        """
        build = project.parse_build(text, Path(file))
        name = self.free_name(file.removesuffix(".toml").removesuffix(".build") or build.spec.name)
        save_atomically(self.inside(f"{name}{_SUFFIX}"), text)
        return name

    def add_drawer(self, text: str, file: str) -> str:
        """Take in a drawer file that was made elsewhere and return its name. Raises as `add`."""
        parse_drawer(text, Path(file))
        stem = file_stem(file.removesuffix(".toml").removesuffix(".drawer"))
        target, count = self.inside(f"{stem}{_DRAWER}"), 2
        while target.exists():
            target, count = self.inside(f"{stem}-{count}{_DRAWER}"), count + 1
        save_atomically(target, text)
        return target.name

    # --- away and back -----------------------------------------------------------------------------------

    def rename(self, name: str, title: str) -> str:
        """Give a build another title, and its files the name that goes with it; returns the new name.

        Raises
        ------
        SubwrightError : the title is empty, or there is no such build.
        """
        if name == EXAMPLE:
            raise SubwrightError(message="the example keeps its name", remedy="keep it as your own first")
        wanted = " ".join(title.split())
        if not wanted:
            raise SubwrightError(message="a build needs a name", quantity="name", value=repr(title))
        session = self.session(name)
        with session.lock:
            session.change("name", f'"{_quoted(wanted)}"', session.revision)
            if file_stem(wanted) == name:
                return name
            fresh = self.free_name(wanted)
            with self.lock:
                _move_build(self.folder, name, self.folder, fresh)
                self.sessions.pop(name, None)
                session.gone = True
        return fresh

    def remove(self, name: str) -> str:
        """Lay a build aside with its history, bench log and results; returns what to ask for it by.

        Nothing is deleted, ever: it lies in ``.subwright/aside`` until it is brought back.
        """
        if name == EXAMPLE:
            raise SubwrightError(message="the example can't be laid aside", remedy="just leave it")
        session = self.session(name)
        with session.lock, self.lock:
            stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
            place = self._aside() / f"{stamp} {name}"
            place.mkdir(parents=True)
            _move_build(self.folder, name, place, name)
            self.sessions.pop(name, None)
            session.gone = True
        return place.name

    def aside(self) -> tuple[AsideRow, ...]:
        """Builds that were laid aside, the latest first."""
        rows = []
        for place in self._aside().glob("* *"):
            stamp, _, name = place.name.partition(" ")
            path = place / f"{name}{_SUFFIX}"
            if path.is_file():
                when = datetime.strptime(stamp, "%Y%m%dT%H%M%S%f").replace(tzinfo=UTC)
                rows.append(AsideRow(key=place.name, title=_title(path, name), at=when.isoformat()))
        return tuple(sorted(rows, key=lambda row: row.key, reverse=True))

    def bring_back(self, key: str) -> str:
        """Put a build that was laid aside back into the folder and return its name.

        Raises
        ------
        SubwrightError : nothing of that key was laid aside.
        """
        if key not in {row.key for row in self.aside()}:
            raise SubwrightError(
                message="nothing of that name was laid aside", quantity="name", value=repr(key[:80])
            )
        place, old = self._aside() / key, key.partition(" ")[2]
        with self.lock:
            name, count = old, 2
            while self.inside(f"{name}{_SUFFIX}").exists():
                name, count = f"{old}-{count}", count + 1
            _move_build(place, old, self.folder, name)
            for empty in (place / ".subwright", place):
                with suppress(OSError):
                    empty.rmdir()
        return name

    def _aside(self) -> Path:
        return self.folder / ".subwright" / "aside"

    def duplicate(self, name: str, title: str) -> str:
        """Copy a build, its drawer included where that lies in another folder, and return the new name."""
        session = self.session(name)
        source = parse_toml(session.text, session.path)
        text = project.set_value(source, "name", f'"{_quoted(title)}"').text
        drawer = drawer_of(project.parse_build(text, session.path))
        if drawer is not None and session.path.parent.resolve() != self.folder.resolve():
            target = self.inside(drawer.name)
            if not target.exists():
                save_atomically(target, read_toml(drawer, "drawer file").text)
        copy = self.free_name(title)
        save_atomically(self.inside(f"{copy}{_SUFFIX}"), text)
        return copy

    # --- drawers ---------------------------------------------------------------------------------------

    def drawer_path(self, file: str) -> Path:
        """The path of a drawer file of this folder. Raises SubwrightError for any other name."""
        path = self.inside(file)
        if not file.endswith(_DRAWER):
            raise SubwrightError(message="a drawer file ends in .drawer.toml", quantity="file", value=file)
        return path

    def new_drawer(self, title: str) -> str:
        """Write an empty drawer file and return its name."""
        path = self.inside(f"{file_stem(title)}{_DRAWER}")
        if path.exists():
            raise SubwrightError(message="there is a drawer of that name already", value=path.name)
        save_atomically(path, f'format_version = 1\nname = "{_quoted(title)}"\n\n[have]\n')
        return path.name

    def free_drawer(self, title: str) -> str:
        """Write an empty drawer file under a name that none has yet, and return it."""
        name, count = title, 2
        while self.inside(f"{file_stem(name)}{_DRAWER}").exists():
            name, count = f"{title} {count}", count + 1
        return self.new_drawer(name)

    def keep_driver(
        self,
        session: BuildSession,
        measurement: Measurement,
        part_id: str,
        *,
        xmax: str,
        power: str,
        seen: int,
    ) -> str:
        """Put a measured driver into the build's drawer (a new one where it has none) and build with it.

        Returns what was done, in words. Raises as `subwright.build.driver_measurement.save_driver`, and
        `Conflict` where the build has moved on since revision ``seen``.
        """
        session.expect(seen)
        build = project.parse_build(session.text, session.path)
        drawer = drawer_of(build)
        if drawer is None:
            drawer = session.path.parent / f"{file_stem(build.spec.name)}{_DRAWER}"
        stated = {"xmax_m": parse(xmax, "length"), "power_w": parse(power, "power")}
        save_driver(measurement, drawer, part_id, stated)
        if build.spec.drawer is None:
            session.change("drawer", f'"{_quoted(drawer.name)}"', session.revision)
        for other in self.sessions.values():
            other.forget()
        session.change("driver.part", f'"{_quoted(part_id)}"', session.revision)
        return f"driver.part = {part_id}"

    def set_stock(self, file: str, part_id: str, quantity: int) -> Drawer:
        """Set how many of a part lie in a drawer; every open build that uses it is designed anew."""
        drawer = set_quantity(self.drawer_path(file), part_id, quantity)
        for session in self.sessions.values():
            session.forget()
        return drawer


def _move_build(source: Path, name: str, target: Path, fresh: str) -> None:
    """Move a build file and what belongs to it; the build file goes first, so a half-done move loses nothing.

    Raises
    ------
    SubwrightError : it can't be moved.
    """
    pairs = [
        (source / file.format(name), target / file.format(fresh))
        for file in (f"{{}}{_SUFFIX}", "{}.bench.jsonl", "{}.verified.json", ".subwright/{}.journal")
    ]
    try:
        for old, new in pairs:
            if old.exists():
                new.parent.mkdir(exist_ok=True)
                os.replace(old, new)
    except OSError as error:
        raise SubwrightError(
            message="the build can't be moved",
            quantity="file",
            value=str(error.filename or source),
            remedy=f"{(error.strerror or str(error)).lower()}; check the folder's permissions",
        ) from None


def _rated_w(answers: Mapping[str, str]) -> float | None:
    """Rated power of all drivers together; None where nobody said it."""
    part, count = answers.get("driver.part", "").strip('"'), int(answers.get("driver.count", "1"))
    if part:
        return count * load_library().driver(part).power_w
    said = answers.get("driver.power", "")
    return count * parse(said, "power") if said else None


def _powers_near(power_w: float, *, above: bool) -> Iterator[float]:
    """Powers to try in place of ``power_w``, the nearest first; ``above`` allows more as well."""
    for i in range(1, _STEPS + 1):
        yield power_w * _STEP**i
        if above:
            yield power_w / _STEP**i


def check_size(data: bytes) -> str:
    """An uploaded file's text. Raises SubwrightError above the limit or where it is no text."""
    if len(data) > SIZE_LIMIT_BYTES:
        raise SubwrightError(
            message="the file is too large",
            quantity="size",
            value=f"{len(data) / 1e6:.1f} MB",
            limit=f"{SIZE_LIMIT_BYTES / 1e6:.0f} MB",
            remedy="drop a build file, a drawer file or an impedance table",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SubwrightError(
            message="the file is not text", remedy="drop a build file, a drawer file or an impedance table"
        ) from None


def _quoted(text: str) -> str:
    kept = "".join(c for c in text if c.isprintable())
    return kept.replace("\\", "\\\\").replace('"', '\\"')[:80]


def _title(path: Path, name: str) -> str:
    try:
        title = tomllib.loads(path.read_text(encoding="utf-8")).get("name")
    except (OSError, ValueError, RecursionError):
        return name
    return title if isinstance(title, str) and title else name
