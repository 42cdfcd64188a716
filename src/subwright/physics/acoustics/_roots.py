"""A bracketing root finder for smooth scalar functions, free of scipy's import time."""

from __future__ import annotations

from collections.abc import Callable

from subwright.base.errors import ConvergenceError

__all__ = ["bracketed_root"]

_MAX_ITERATIONS = 100


def bracketed_root(
    function: Callable[[float], float], low: float, high: float, *, relative_tolerance: float = 1e-12
) -> float:
    """Root of ``function`` between ``low`` and ``high``.

    Parameters
    ----------
    function : smooth scalar function; its values at ``low`` and ``high`` must differ in sign.
    low, high : bracket, same unit as the root.
    relative_tolerance : size of the last step over the root's magnitude, dimensionless.

    Returns
    -------
    float : the root, in the unit of the bracket.

    Raises
    ------
    ConvergenceError : when the ends don't bracket a root, or the iteration doesn't settle.

    Source
    ------
    [dowell-jarratt-1971] (false position with the retained end's value halved).
    """
    f_low, f_high = function(low), function(high)
    if f_low == 0.0:
        return low
    if f_high == 0.0:
        return high
    if not f_low * f_high < 0.0:
        raise ConvergenceError(
            message="The search interval holds no sign change.",
            quantity="function value at the ends",
            value=f"{f_low:.4g} and {f_high:.4g}",
            limit="opposite signs",
            remedy="Check the inputs of the formula; the equation has no solution in its published range.",
        )
    for _ in range(_MAX_ITERATIONS):
        middle = high - f_high * (high - low) / (f_high - f_low)
        f_middle = function(middle)
        if f_middle == 0.0 or abs(middle - high) <= relative_tolerance * abs(middle):
            return middle
        if f_middle * f_high < 0.0:
            low, f_low = high, f_high
        else:
            f_low *= 0.5
        high, f_high = middle, f_middle
    raise ConvergenceError(
        message="The root search did not settle.",
        quantity="iterations",
        value=str(_MAX_ITERATIONS),
        limit=f"relative step {relative_tolerance:.1g}",
        remedy="Report the inputs; this equation should settle in a few steps.",
    )
