"""Turns numbers and records into table cells: values with units, margins, ratings, whole results."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.base.quantities import UNITS, dimension_of, words_of
from subwright.base.sources import bibliography
from subwright.base.units import show
from subwright.stages.common import Contributor, Loss, PartUse, Rating

__all__ = [
    "TIGHT",
    "Fact",
    "RatingRow",
    "cited",
    "every_value",
    "margin_text",
    "number",
    "percent",
    "rating_row",
    "ratings",
    "share_used",
]

TIGHT = 0.1  # a margin below this share of the limit is pointed out

_DIMENSION = {unit: name for name, unit in reversed(list(UNITS.items())) if unit}


def number(value: float, unit: str) -> str:
    """A value beside a glossary unit symbol: ``number(0.0047, "m")`` gives "4.70 mm".

    A symbol that the glossary lacks is printed after three significant digits.
    """
    if unit in ("", "%"):
        return percent(value) if unit else show(value, "ratio")
    dimension = _DIMENSION.get(unit)
    return show(value, dimension) if dimension else f"{show(value, 'ratio')} {unit}"


def percent(share: float, digits: int = 0) -> str:
    """A share as per cent with fixed decimals: ``percent(0.031, 1)`` gives "3.1 %"."""
    if not np.isfinite(share):
        raise SubwrightError(message="a share that is not finite can't be printed", value=str(share))
    text = f"{100.0 * share:.{digits}f}"
    return f"{text.removeprefix('-') if float(text) == 0 else text} %".replace("-", "\u2212")


def margin_text(margin: float) -> str:
    """A margin as it's read: "32 % left", "3 % beyond", "none left", "4.2 times the need"."""
    if margin >= 1.0:
        return f"{1.0 + margin:.2g} times the need" if margin < 99.0 else "ample"
    if margin <= -1.0:
        return f"{1.0 - margin:.2g} times the limit" if margin > -99.0 else "far beyond"
    whole = round(100.0 * abs(margin))
    if margin == 0.0:
        return "none left"
    if whole == 0:
        return "under 1 % left" if margin > 0.0 else "under 1 % beyond"
    return f"{whole} % left" if margin > 0.0 else f"{whole} % beyond"


def share_used(margin: float) -> float:
    """Share of a limit that is used, held to 0 to 1 for a bar's length."""
    return min(max(1.0 - margin, 0.0), 1.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Fact:
    """One row of a stage's table: a quantity, and its limit where it has one."""

    quantity: str
    value: str
    limit: str = ""
    margin: float | None = None
    source: str = ""
    note: str = ""

    @property
    def tight(self) -> bool:
        """Whether the margin deserves the accent."""
        return self.margin is not None and self.margin < TIGHT


@dataclass(frozen=True, kw_only=True, slots=True)
class RatingRow:
    """One stress of one part, as text, with the margin kept as a number for the bar."""

    part: str
    quantity: str
    applied: str
    limit: str
    margin: float
    at: str
    source: str

    @property
    def tight(self) -> bool:
        """Whether the margin deserves the accent."""
        return self.margin < TIGHT


def rating_row(part: str, rating: Rating) -> RatingRow:
    """A rating as text, ``part`` naming what it is on."""
    return RatingRow(
        part=part,
        quantity=rating.quantity,
        applied=number(rating.applied, rating.unit),
        limit=number(rating.limit, rating.unit),
        margin=rating.margin,
        at=rating.at,
        source=cited(rating.source),
    )


def cited(source: str) -> str:
    """A bibliography key as author, title and year; any other text as it is."""
    entry = bibliography().get(source)
    if entry is None:
        return source
    return ", ".join(str(part) for part in (entry.author, entry.title, entry.year) if part)


def ratings(parts: tuple[PartUse, ...]) -> tuple[RatingRow, ...]:
    """Every rating of the parts, the tightest first."""
    rows = [rating_row(part.role, rating) for part in parts for rating in part.ratings]
    return tuple(sorted(rows, key=lambda row: (row.margin, row.part, row.quantity)))


_SKIPPED = (PartUse, Loss, Contributor)
_LONGEST = 12  # values of a short list that are still printed in a row


def _scalar(value: object, dimension: str) -> str | None:
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, int | float):
        if dimension == "ratio" and float(value).is_integer() and abs(value) < 1e6:
            return f"{int(value)}"
        return show(float(value), dimension)
    if isinstance(value, complex):
        sign = "+" if value.imag >= 0 else "\u2212"
        return f"{show(value.real, dimension)} {sign} j {show(abs(value.imag), dimension)}"
    return value if isinstance(value, str) else None


def _listed(value: object, dimension: str) -> str | None:
    if isinstance(value, np.ndarray):
        if value.size > _LONGEST:
            return f"{value.size} values, in design.json"
        value = value.ravel().tolist()
    if isinstance(value, tuple | list):
        if len(value) > _LONGEST:
            return f"{len(value)} entries, in design.json"
        texts = [_scalar(item, dimension) for item in value]
        if texts and None not in texts:
            return ", ".join(str(text) for text in texts)
    return None


def every_value(result: object, *, depth: int = 2) -> Iterator[tuple[str, str]]:
    """Every field of a result as (name in words, printed value), nested results one level in.

    Parts, losses, contributors and reasons are left out: they have tables of their own.
    """
    if not dataclasses.is_dataclass(result) or isinstance(result, type):
        return
    for field in dataclasses.fields(result):
        value = getattr(result, field.name)
        if field.name.startswith("_") or field.name in ("sources", "reasons", "spec") or value is None:
            continue
        if not field.compare:  # a measured run time: no property of the design
            continue
        yield from _entries(words_of(field.name), value, dimension_of(field.name), depth)


def _entries(name: str, value: object, dimension: str, depth: int) -> Iterator[tuple[str, str]]:
    if isinstance(value, _SKIPPED) or callable(value):
        return
    if isinstance(value, tuple | list) and any(isinstance(item, _SKIPPED) for item in value):
        return
    text = _scalar(value, dimension)
    text = _listed(value, dimension) if text is None else text
    if text is not None:
        yield name, text or "none"
    elif isinstance(value, Mapping):
        for key, item in value.items():
            label = key.value if isinstance(key, Enum) else key
            yield from _entries(f"{name}, {label}", item, dimension, depth - 1)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type) and depth > 1:
        for inner, shown in every_value(value, depth=depth - 1):
            yield f"{name}: {inner}", shown
