"""Range checks for formula functions that take floats or arrays."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from subwright.base.errors import RangeError

__all__ = ["Floats", "require"]

Floats: TypeAlias = float | NDArray[np.float64]


def require(ok: ArrayLike, quantity: str, value: ArrayLike, limit: str, remedy: str = "") -> None:
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

    >>> require(2.0 > 0, "frequency, Hz", 2.0, "> 0 Hz")
    """
    if ok is True:
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
