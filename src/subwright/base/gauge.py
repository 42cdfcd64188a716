"""American wire gauge by its defining rule; the unit reader and the tables both need it."""

from __future__ import annotations

import math

from subwright.base.errors import RangeError

__all__ = ["AWG_MAX", "AWG_MIN", "awg_area", "awg_diameter", "awg_name"]

AWG_MIN = -3  # 4/0
AWG_MAX = 56


def awg_diameter(n: int) -> float:
    """Nominal bare diameter of solid round wire of gauge ``n``.

    d = 0.127 mm · 92^((36 − n)/39); sizes 1/0, 2/0, 3/0 and 4/0 are n = 0, −1, −2 and −3.

    Parameters
    ----------
    n : gauge number, dimensionless integer, −3 to 56.

    Returns
    -------
    Diameter in m.

    Raises
    ------
    RangeError : ``n`` lies outside the standard's sizes.

    Source
    ------
    [astm-b258], section on the geometric progression of the gauge.

    Examples
    --------
    AWG 12 is printed as 2.053 mm:

    >>> round(awg_diameter(12) * 1e3, 3)
    2.053
    """
    if not AWG_MIN <= n <= AWG_MAX:
        raise RangeError(
            message=f"AWG {n} is not a standard wire size",
            quantity="wire gauge",
            value=f"AWG {n}",
            limit="AWG 4/0 to AWG 56",
            source="astm-b258",
            remedy="give the section in mm² instead",
        )
    return 0.127e-3 * math.pow(92.0, (36 - n) / 39)


def awg_area(n: int) -> float:
    """Nominal copper section of solid round wire of gauge ``n``.

    Parameters
    ----------
    n : gauge number, dimensionless integer, −3 to 56.

    Returns
    -------
    Section in m².

    Raises
    ------
    RangeError : ``n`` lies outside the standard's sizes.

    Source
    ------
    [astm-b258]; section of a round wire of the nominal diameter.
    """
    return 0.25 * math.pi * awg_diameter(n) ** 2


def awg_name(n: int) -> str:
    """Printed name of a gauge: ``"AWG 4"``, ``"AWG 2/0"`` for n = −1."""
    return f"AWG {n}" if n > 0 else f"AWG {1 - n}/0"
