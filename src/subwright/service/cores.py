"""Cores: another one for the transformer, and one without a name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.build.core_bench import (
    other_cores,
)
from subwright.outputs.project import BuildFile
from subwright.service.designs import solve
from subwright.service.solved import Solved, library_for

if TYPE_CHECKING:
    from subwright.stages.transformer_alternatives import AlternativeRow


__all__ = [
    "cores_instead",
]


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
    return other_cores(solved.design, library_for(solved.design.spec, where), named=named, most=most)
