"""What a command gives back; only `subwright.cli.main` prints it and turns it into an exit code."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import RenderableType

__all__ = ["CLEAN", "COULD_NOT_RUN", "FINDINGS_AT_STOP", "INTERRUPTED", "JSON_VERSION", "Answer", "Session"]

CLEAN = 0
FINDINGS_AT_STOP = 1
COULD_NOT_RUN = 2
INTERRUPTED = 130

JSON_VERSION = 1
"""Version of the JSON that the commands print; a changed or removed name raises it, a new name doesn't."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """One command's result.

    Attributes
    ----------
    command : the command's name, for the JSON.
    data : makes the JSON body.
    text : makes what people read on stdout.
    code : the exit code.
    notes : lines for stderr: what was written where, what to do next.
    """

    command: str
    data: Callable[[], Mapping[str, object]]
    text: Callable[[], RenderableType]
    code: int = CLEAN
    notes: tuple[str, ...] = ()


@dataclass(kw_only=True, slots=True)
class Session:
    """What one run remembers across the option callbacks and the error path."""

    as_json: bool = False
    command: str = ""
    shown: list[str] = field(default_factory=list)
