"""Range checks for the formula functions: one clear refusal instead of a NaN further down."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError

__all__ = ["require"]


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
