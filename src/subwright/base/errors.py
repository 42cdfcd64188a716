"""The one error family: every refusal names what, how much, against which limit, and what to do."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

__all__ = [
    "ConvergenceError",
    "FileProblem",
    "InputError",
    "NoSolutionError",
    "PartNotFoundError",
    "RangeError",
    "SubwrightError",
    "UnitError",
]


def _rebuild(kind: type[SubwrightError], values: dict[str, Any]) -> SubwrightError:
    return kind(**values)


@dataclass(kw_only=True, eq=False)
class SubwrightError(Exception):
    """Base of every error that subwright raises on purpose.

    Attributes
    ----------
    message : what is wrong, one plain sentence.
    quantity : the quantity's name ("flux density"), or "" where none applies.
    value : the offending value, formatted with its unit.
    limit : the limit it broke, formatted with its unit.
    source : where the limit comes from (bibliography key or rule).
    remedy : what the user can do about it.
    """

    message: str
    quantity: str = ""
    value: str = ""
    limit: str = ""
    source: str = ""
    remedy: str = ""

    def __reduce__(self) -> tuple[Any, ...]:
        # An exception is rebuilt from its positional arguments; these have none, and must cross processes.
        return _rebuild, (type(self), {item.name: getattr(self, item.name) for item in fields(self)})

    def __str__(self) -> str:
        parts = [self.message]
        if self.quantity:
            facts = self.quantity
            if self.value:
                facts += f" is {self.value}"
            if self.limit:
                facts += f", limit {self.limit}"
            parts.append(f"[{facts}]")
        if self.source:
            parts.append(f"(source: {self.source})")
        if self.remedy:
            parts.append(f"Remedy: {self.remedy}")
        return " ".join(parts)


@dataclass(kw_only=True, eq=False)
class UnitError(SubwrightError):
    """A text can't be read as the quantity that is wanted there."""


@dataclass(kw_only=True, eq=False)
class RangeError(SubwrightError):
    """A formula was asked for a value outside its published range."""


@dataclass(kw_only=True, eq=False)
class NoSolutionError(SubwrightError):
    """No part, turn count or value in the search space meets the requirement.

    Attributes
    ----------
    code : the numbered rule that the wish breaks, "" where there is none; its page says why the limit stands.
    """

    code: str = ""

    def __str__(self) -> str:
        text = SubwrightError.__str__(self)
        return f"{self.code}: {text}" if self.code else text


@dataclass(kw_only=True, eq=False)
class ConvergenceError(SubwrightError):
    """An iteration did not settle within its stated tolerance."""


@dataclass(kw_only=True, eq=False)
class PartNotFoundError(SubwrightError):
    """A part id is in neither the drawer nor the library."""

    near: tuple[str, ...] = ()


@dataclass(kw_only=True)
class FileProblem:
    """One located problem in an input file; printed ``file:line: key: message``."""

    file: Path
    line: int
    key: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key}: {self.message}"


@dataclass(kw_only=True, eq=False)
class InputError(SubwrightError):
    """An input file can't be used; carries each problem with its file, line and key."""

    problems: tuple[FileProblem, ...] = ()

    def __str__(self) -> str:
        if self.problems:
            return "\n".join(str(problem) for problem in self.problems)
        return SubwrightError.__str__(self)
