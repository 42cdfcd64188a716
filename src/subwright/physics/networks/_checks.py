"""Guards shared by the network formulas: one clear refusal instead of a NaN."""

from __future__ import annotations

from math import inf, isfinite
from typing import TypeAlias, TypeGuard

import numpy as np
import numpy.typing as npt

from subwright.base.errors import RangeError

__all__ = [
    "Array",
    "ArrayLike",
    "Complex",
    "Indices",
    "between",
    "not_negative",
    "positive",
    "positive_or_open",
]

Array: TypeAlias = npt.NDArray[np.float64]
ArrayLike: TypeAlias = float | npt.NDArray[np.float64]
Indices: TypeAlias = npt.NDArray[np.integer]
Complex: TypeAlias = npt.NDArray[np.complexfloating]


def _is_number(value: ArrayLike) -> TypeGuard[float]:
    """Whether a plain number is checked, for which numpy would take most of the time of the formula."""
    return isinstance(value, (int, float))


def _worst(value: ArrayLike, good: npt.NDArray[np.bool_] | np.bool_) -> float:
    return float(np.ravel(np.asarray(value, dtype=float))[np.ravel(~np.asarray(good))][0])


def positive(quantity: str, value: ArrayLike, unit: str) -> None:
    """Raise RangeError unless every element of ``value`` (in ``unit``) is finite and above zero."""
    if _is_number(value) and 0.0 < value < inf:
        return
    good = np.isfinite(value) & (np.asarray(value) > 0.0)
    if not np.all(good):
        raise RangeError(
            message=f"The {quantity} must be a finite value above zero.",
            quantity=quantity,
            value=f"{_worst(value, good):.6g} {unit}".strip(),
            limit=f"> 0 {unit}".strip(),
            remedy=f"Give a {quantity} above zero.",
        )


def positive_or_open(quantity: str, value: ArrayLike, unit: str) -> None:
    """Raise RangeError unless every element of ``value`` (in ``unit``) is above zero; infinite means open."""
    if _is_number(value) and value > 0.0:
        return
    good = np.asarray(value) > 0.0
    if not np.all(good):
        raise RangeError(
            message=f"The {quantity} must be above zero (infinite for an open circuit).",
            quantity=quantity,
            value=f"{_worst(value, good):.6g} {unit}".strip(),
            limit=f"> 0 {unit}".strip(),
            remedy=f"Give a {quantity} above zero.",
        )


def not_negative(quantity: str, value: ArrayLike, unit: str) -> None:
    """Raise RangeError unless every element of ``value`` (in ``unit``) is finite and not below zero."""
    if _is_number(value) and 0.0 <= value < inf:
        return
    good = np.isfinite(value) & (np.asarray(value) >= 0.0)
    if not np.all(good):
        raise RangeError(
            message=f"The {quantity} must be a finite value, zero or above.",
            quantity=quantity,
            value=f"{_worst(value, good):.6g} {unit}".strip(),
            limit=f">= 0 {unit}".strip(),
            remedy=f"Give a {quantity} of zero or above.",
        )


def between(quantity: str, value: ArrayLike, low: float, high: float, unit: str, source: str = "") -> None:
    """Raise RangeError unless every element of ``value`` (in ``unit``) lies within ``low`` to ``high``."""
    if _is_number(value) and isfinite(value) and low <= value <= high:
        return
    good = np.isfinite(value) & (np.asarray(value) >= low) & (np.asarray(value) <= high)
    if not np.all(good):
        raise RangeError(
            message=f"The {quantity} is outside the range for which the formula holds.",
            quantity=quantity,
            value=f"{_worst(value, good):.6g} {unit}".strip(),
            limit=f"{low:.6g} to {high:.6g} {unit}".strip(),
            source=source,
            remedy=f"Keep the {quantity} between {low:.6g} and {high:.6g} {unit}".strip() + ".",
        )
