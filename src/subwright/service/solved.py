"""What the use cases share: a design beside its file, the library it was made with, and progress."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.build.result import Design
from subwright.build.spec import BuildSpec
from subwright.outputs.project import BuildFile
from subwright.outputs.tomlfile import parse_toml, read_text
from subwright.parts.drawer import parse_drawer
from subwright.parts.library import Library, load_library

if TYPE_CHECKING:
    pass


__all__ = ["Progress", "Solved", "library_for", "library_of", "processors", "quiet"]

Progress = Callable[[str, float], None]
"""Called with what is being done and the share done, 0 to 1."""


def quiet(_what: str, _share: float) -> None:
    """Progress that nobody looks at."""


def processors() -> int:
    """Processors that this process may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return len(allowed(0)) if allowed is not None else os.cpu_count() or 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Solved:
    """A design beside the build file it came from (None when it came from a spec)."""

    design: Design
    build: BuildFile | None = None

    @property
    def has_stop(self) -> bool:
        """Whether any finding is at stop."""
        return self.design.worst == "stop"


def library_of(solved: Solved) -> Library:
    """Library with the drawer that a design was solved with."""
    return library_for(solved.design.spec, solved.build.path.parent if solved.build else Path())


def library_for(spec: BuildSpec, folder: Path) -> Library:
    """Library, merged with the drawer that a spec names; a relative drawer is looked for in ``folder``."""
    return load_library() if spec.drawer is None else _with_drawer(*_drawer_text(folder / spec.drawer))


def _drawer_text(path: Path) -> tuple[str, Path]:
    return read_text(path, "drawer file"), path


@lru_cache(maxsize=8)
def _with_drawer(text: str, path: Path) -> Library:
    """Library and drawer merged; the same text gives the same object, so that designs can be remembered."""
    parse_toml(text, path)  # tells where a text that isn't TOML goes wrong
    return load_library().with_drawer(parse_drawer(text, path))
