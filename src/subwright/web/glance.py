"""The key figures of every build of a folder, worked out behind the list and kept as long as they hold.

What is shown of a build depends on its file and its drawer alone, so it is kept by their content. The list
itself never waits: one thread works through what is missing, and the page asks how far it is.
"""

from __future__ import annotations

import tomllib
from collections import OrderedDict, deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from threading import Condition, Thread

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.moment import moment_at
from subwright.build.result import Design
from subwright.outputs.tables import TIGHT
from subwright.outputs.tomlfile import read_toml
from subwright.outputs.views import Overview
from subwright.session import Outcome, worked_out
from subwright.stages.common import Corner, Level
from subwright.web.outline import outline
from subwright.web.scene import scene_of
from subwright.workspace import Workspace

__all__ = ["Content", "Glance", "Glances", "content_of"]

_KEPT = 500  # a few kilobytes each
_FIGURES = (0, 1)  # of an overview's key figures: power and loudest


@dataclass(frozen=True, kw_only=True, slots=True)
class Content:
    """What a build is made of at the moment; ``digest`` stays the same as long as file and drawer do."""

    path: Path
    text: str
    digest: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Glance:
    """One build's figures, in English; ``error`` says why there are none."""

    figures: tuple[tuple[str, str], ...] = ()
    box: str = ""  # kind, as the build file says it
    volume: str = ""
    tightest: str = ""
    margin: float = 0.0
    tight: bool = False
    counts: tuple[tuple[str, int], ...] = ()  # severity and how many, the gravest first
    outline: str = ""
    error: SubwrightError | None = None


@dataclass(kw_only=True, slots=True)
class Glances:
    """What is known of the builds, and what is still to be worked out."""

    workspace: Workspace
    known: OrderedDict[str, Glance] = field(default_factory=OrderedDict)
    asked: deque[tuple[str, Content]] = field(default_factory=deque)
    news: Condition = field(default_factory=Condition)
    at_work: bool = False
    closed: bool = False

    def look(self, names: Sequence[str]) -> dict[str, Glance | None]:
        """What is known of these builds; None for those that are now being worked out."""
        found: dict[str, Glance | None] = {}
        with self.news:
            waiting = {content.digest for _, content in self.asked}
            for name in names:
                try:
                    content = content_of(self.workspace.path_of(name))
                except SubwrightError as error:
                    found[name] = Glance(error=error)
                    continue
                glance = self.known.get(content.digest)
                found[name] = glance
                if glance is not None:
                    self.known.move_to_end(content.digest)
                elif content.digest not in waiting:
                    self.asked.append((name, content))
            if self.asked and not self.at_work and not self.closed:
                self.at_work = True
                Thread(target=self._work, name="glances", daemon=True).start()
        return found

    def wait(self, names: Sequence[str], patience_s: float) -> dict[str, Glance | None]:
        """The same, but where nothing is known yet, as soon as the next one is, or after ``patience_s``."""
        found = self.look(names)
        if names and not any(found.values()):
            with self.news:
                self.news.wait(patience_s)
            found = self.look(names)
        return found

    def close(self) -> None:
        """Work out nothing more."""
        with self.news:
            self.closed = True
            self.asked.clear()

    def _work(self) -> None:
        while True:
            with self.news:
                if not self.asked:
                    self.at_work = False
                    return
                name, content = self.asked[0]
            glance = _glance_at(self._outcome(name, content))
            with self.news:
                self.known[content.digest] = glance
                while len(self.known) > _KEPT:
                    self.known.popitem(last=False)
                if self.asked and self.asked[0][1] is content:
                    self.asked.popleft()
                self.news.notify_all()

    def _outcome(self, name: str, content: Content) -> Outcome:
        """The design; an open build's own where it has it already."""
        session = self.workspace.sessions.get(name)
        known = None if session is None else session.outcomes.get(content.text)
        return known or worked_out(content.text, content.path)


def content_of(path: Path) -> Content:
    """What the build at ``path`` is made of. Raises InputError where its file can't be read."""
    text = read_toml(path).text
    drawer = _drawer_named(text)
    beside = path.parent / drawer
    stock = beside.read_bytes() if drawer and beside.is_file() else b""
    parts = (str(path).encode(), text.encode(), drawer.encode(), stock)
    return Content(path=path, text=text, digest=sha256(b"\0".join(parts)).hexdigest())


def _drawer_named(text: str) -> str:
    """The drawer file beside the build that it names; "" for none, or one that lies elsewhere."""
    try:
        drawer = tomllib.loads(text).get("drawer")
    except (ValueError, RecursionError):
        return ""
    return drawer if isinstance(drawer, str) and drawer == Path(drawer).name else ""


def _glance_at(outcome: Outcome) -> Glance:
    if outcome.solved is None:
        return Glance(error=outcome.error or SubwrightError(message="there is no design"))
    try:
        return _figures_of(outcome.solved.design, outcome.overview)
    except SubwrightError as error:
        return Glance(error=error)
    except Exception as error:  # a fault of ours in one build must not take the others' figures away
        fault = f"sorry, that is a fault in subwright itself ({type(error).__name__})"
        return Glance(error=SubwrightError(message=fault, remedy="report it with the build file"))


def _figures_of(design: Design, overview: Overview) -> Glance:
    least = design.tightest()
    moment = moment_at(design, design.supply.corners[Corner.NOMINAL], Level.FULL)
    scene = scene_of(design, overview, moment, lambda key: key)
    counts = [(s, sum(1 for f in overview.findings if f.severity == s)) for s in ("stop", "warn", "note")]
    return Glance(
        figures=tuple(overview.key_figures[i] for i in _FIGURES),
        box=design.spec.enclosure.kind,
        volume=show(design.enclosure.net_volume_m3, "volume"),
        tightest="" if least is None else least.quantity.partition(" (")[0],
        margin=0.0 if least is None else least.margin,
        tight=least is not None and least.margin < TIGHT and least.judged,
        counts=tuple((severity, count) for severity, count in counts if count),
        outline=outline(scene, overview.name),
    )
