"""Range checks for the formula functions: one clear refusal instead of a NaN further down."""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from subwright.base.errors import RangeError

__all__ = ["Floats", "require", "require_that"]

Floats: TypeAlias = float | NDArray[np.float64]


def require(
    name: str,
    value: float | NDArray[Any],
    unit: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
    source: str = "",
    remedy: str = "",
) -> None:
    """Raise a ``RangeError`` unless ``value`` is finite and inside the stated bounds.

    Parameters
    ----------
    name : the quantity's name as the trade writes it.
    value : number or array of any shape, in ``unit``; every element must pass.
    unit : unit symbol for the message; "" for a ratio.
    above, at_least, below, at_most : bounds in the same unit; the first and third exclude the bound.
    source, remedy : passed on to the error.

    Raises
    ------
    RangeError : with the first offending element and the bounds.

    >>> require("load resistance", 4.0, "Ω", above=0.0)
    """
    if isinstance(value, (int, float)):
        if _inside(value, above, at_least, below, at_most):
            return
        worst = float(value)
    else:
        flat = np.asarray(value, dtype=float).ravel()
        # With both extremes inside, all are; a NaN anywhere is the extreme and never inside.
        if not flat.size or all(
            _inside(edge, above, at_least, below, at_most) for edge in (float(flat.min()), float(flat.max()))
        ):
            return
        worst = next(v for v in flat.tolist() if not _inside(v, above, at_least, below, at_most))
    raise RangeError(
        message=f"The {name} is outside the range of the formula.",
        quantity=name,
        value=f"{worst:.4g} {unit}".rstrip(),
        limit=_limits(unit, above, at_least, below, at_most),
        source=source,
        remedy=remedy or f"Give a {name} within the limit.",
    )


def require_that(ok: ArrayLike, quantity: str, value: ArrayLike, limit: str, remedy: str = "") -> None:
    """Raise a RangeError that shows the first offending value, unless all of ``ok`` holds.

    Parameters
    ----------
    ok : condition per element, any shape. A comparison with NaN is false, so NaN never passes.
    quantity : the quantity's name, with its unit where it has one ("frequency, Hz").
    value : the values tested, in the unit that ``quantity`` names or dimensionless; broadcastable to ``ok``.
    limit : the limit, formatted with its unit.
    remedy : what the caller can do.

    Raises
    ------
    RangeError : an element of ``ok`` is false.

    >>> require_that(2.0 > 0, "frequency, Hz", 2.0, "> 0 Hz")
    """
    if ok is True or (isinstance(ok, np.bool_) and ok):
        return
    holds = np.asarray(ok, dtype=bool)
    if bool(holds) if holds.ndim == 0 else np.logical_and.reduce(holds, axis=None):
        return
    shape = np.broadcast_shapes(holds.shape, np.shape(value))
    bad = np.broadcast_to(np.asarray(value, dtype=float), shape)[~np.broadcast_to(holds, shape)]
    raise RangeError(
        message=f"The {quantity.split(',')[0]} is out of the range of this formula.",
        quantity=quantity,
        value=f"{bad.flat[0]:.6g}",
        limit=limit,
        remedy=remedy,
    )


def _inside(
    value: float, above: float | None, at_least: float | None, below: float | None, at_most: float | None
) -> bool:
    return (
        math.isfinite(value)
        and (above is None or value > above)
        and (at_least is None or value >= at_least)
        and (below is None or value < below)
        and (at_most is None or value <= at_most)
    )


def _limits(
    unit: str, above: float | None, at_least: float | None, below: float | None, at_most: float | None
) -> str:
    signs = ((">", above), ("≥", at_least), ("<", below), ("≤", at_most))
    bounds = [f"{sign} {bound:.4g} {unit}".rstrip() for sign, bound in signs if bound is not None]
    return " and ".join(bounds) or "a finite number"
