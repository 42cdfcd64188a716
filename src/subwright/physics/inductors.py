"""Inductors with an air gap whose field spreads: fringing raises inductance above the plain formula."""

from __future__ import annotations

import math

from subwright.physics.bounds import require
from subwright.physics.chokes import air_gap_m, gapped_inductance_h

__all__ = ["fringed_inductance_h", "fringing_factor", "gap_for_inductance_m"]

_ROUNDS = 200


def fringing_factor(gap_m: float, area_m2: float, winding_width_m: float) -> float:
    """By how much fringing raises the inductance of a gapped core.

    Parameters
    ----------
    gap_m : gap in the centre leg, m, >= 0.
    area_m2 : section of the core, m², > 0.
    winding_width_m : length of the winding along the leg, m, above the gap.

    Returns
    -------
    ``1 + g/sqrt(A) ln(2 G/g)``, factor, 1 for no gap.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    McLyman, Transformer and Inductor Design Handbook, chapter on inductors. [mclyman-handbook]

    >>> round(fringing_factor(1e-3, 173e-6, 29.5e-3), 3)
    1.31
    """
    require("core section", area_m2, "m²", above=0.0)
    require("air gap", gap_m, "m", at_least=0.0, below=winding_width_m)
    if gap_m == 0.0:
        return 1.0
    return _factor(gap_m, area_m2, winding_width_m)


def fringed_inductance_h(
    turns: int, gap_m: float, area_m2: float, path_m: float, mu_i: float, winding_width_m: float
) -> float:
    """Inductance of a gapped core with fringing.

    Parameters
    ----------
    turns : whole number, >= 1.
    gap_m : gap in the centre leg, m, >= 0.
    area_m2, path_m : effective area, m², and length, m, of the core, > 0.
    mu_i : permeability of the core's material, dimensionless, > 0.
    winding_width_m : length of the winding along the leg, m.

    Returns
    -------
    H.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Reluctances in series, the gap's divided by the fringing factor. [mclyman-handbook]

    >>> plain = gapped_inductance_h(14, 1e-3, 173e-6, 103e-3, 2200.0)
    >>> 1.2 < fringed_inductance_h(14, 1e-3, 173e-6, 103e-3, 2200.0, 29.5e-3) / plain < 1.31
    True
    """
    spread = fringing_factor(gap_m, area_m2, winding_width_m)
    return gapped_inductance_h(turns, gap_m / spread, area_m2, path_m, mu_i)


def gap_for_inductance_m(
    turns: int, inductance_h: float, area_m2: float, path_m: float, mu_i: float, winding_width_m: float
) -> float:
    """Gap that gives an inductance with fringing; the inverse of ``fringed_inductance_h``.

    Parameters
    ----------
    turns : whole number, >= 1.
    inductance_h : H, > 0.
    area_m2, path_m : effective area, m², and length, m, of the core, > 0.
    mu_i : permeability of the core's material, dimensionless, > 0.
    winding_width_m : length of the winding along the leg, m.

    Returns
    -------
    m, by iteration; 0 where the core alone has less inductance, infinity where no gap within the winding's
    length is wide enough.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [mclyman-handbook].

    >>> gap = gap_for_inductance_m(14, 45e-6, 173e-6, 103e-3, 2200.0, 29.5e-3)
    >>> round(fringed_inductance_h(14, gap, 173e-6, 103e-3, 2200.0, 29.5e-3) * 1e6, 6)
    45.0
    """
    needed = air_gap_m(turns, inductance_h, area_m2, path_m, mu_i)
    if needed == 0.0:
        return 0.0
    gap = needed
    for _ in range(_ROUNDS):
        if gap >= 0.5 * winding_width_m:  # beyond it the fringing formula stops growing
            return math.inf
        wider = needed * _factor(gap, area_m2, winding_width_m)
        if abs(wider - gap) <= 1e-13 * wider:
            return wider
        gap = wider
    return math.inf  # the gap runs away: the field spreads as fast as it widens


def _factor(gap_m: float, area_m2: float, winding_width_m: float) -> float:
    return 1.0 + gap_m / math.sqrt(area_m2) * math.log(2.0 * winding_width_m / gap_m)
