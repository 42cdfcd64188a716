"""Class-B stages that change between two rails: what they draw, and what programme makes of it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require

__all__ = ["class_g_efficiency", "class_g_input_power_w", "gaussian_levels"]

Array = NDArray[np.float64]


def class_g_input_power_w(outer_v: float, inner_v: float, peak_v: float, load_ohm: float) -> float:
    """Power that an ideal class-G stage draws from both rail pairs with a sine.

    Parameters
    ----------
    outer_v, inner_v : one rail of the upper and of the lower pair, V, ``0 < inner_v <= outer_v``.
    peak_v : output peak, V, 0 to ``outer_v``.
    load_ohm : ohm, > 0.

    Returns
    -------
    ``2 Vp/(pi R) (Vi (1 - cos t) + Vo cos t)`` with ``sin t = Vi/Vp``, W; class B of the inner rail below it.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Raab 1986, input power of the class-G amplifier. [raab1986]

    >>> round(class_g_input_power_w(40.0, 20.0, 40.0, 8.0), 1)
    118.8
    >>> round(class_g_input_power_w(30.0, 30.0, 20.0, 16.0), 1)
    23.9
    """
    require("upper rail", outer_v, "V", above=0.0)
    require("lower rail", inner_v, "V", above=0.0, at_most=outer_v)
    require("output peak", peak_v, "V", at_least=0.0, at_most=outer_v)
    require("load resistance", load_ohm, "Ω", above=0.0)
    above = math.sqrt(1.0 - (inner_v / peak_v) ** 2) if peak_v > inner_v else 0.0
    return 2.0 * peak_v / (math.pi * load_ohm) * (inner_v * (1.0 - above) + outer_v * above)


def class_g_efficiency(outer_v: float, inner_v: float, peak_v: float) -> float:
    """Efficiency of an ideal class-G stage with a sine.

    Parameters
    ----------
    outer_v, inner_v : one rail of the upper and of the lower pair, V.
    peak_v : output peak, V, > 0.

    Returns
    -------
    Output over input power, dimensionless.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Raab 1986: pi/4 again at the lower rail. [raab1986]

    >>> [round(class_g_efficiency(1.0, 0.5, p), 3) for p in (0.25, 0.5, 1.0)]
    [0.393, 0.785, 0.842]
    """
    require("output peak", peak_v, "V", above=0.0, at_most=outer_v)
    return 0.5 * peak_v**2 / class_g_input_power_w(outer_v, inner_v, peak_v, 1.0)


def gaussian_levels(crest_factor_db: float, count: int = 96) -> tuple[Array, Array]:
    """Instantaneous levels of noise-like programme whose crests are cut, and how long it stays at each.

    Parameters
    ----------
    crest_factor_db : of the crest over the uncut programme's rms, dB, 3.0103 to 30.
    count : levels, dimensionless.

    Returns
    -------
    (level over the crest, 0 to 1, shape (count + 1,); share of the time at its magnitude, sums to 1).

    Raises
    ------
    RangeError : the crest factor is below that of a sine.

    Source
    ------
    Normal distribution of many uncorrelated tones' sum; the last level holds what is cut. [derived]

    >>> level, share = gaussian_levels(9.0)
    >>> round(float(share.sum()), 9), round(float(np.sqrt((share * level**2).sum())), 3)
    (1.0, 0.353)
    """
    require("crest factor", crest_factor_db, "dB", at_least=3.0102, at_most=30.0)
    crest = math.exp(crest_factor_db / 20.0 * math.log(10.0))  # over the rms
    edges = np.linspace(0.0, crest, count + 1)
    below = np.array([math.erf(edge / math.sqrt(2.0)) for edge in edges])
    share = np.append(np.diff(below), 1.0 - below[-1])
    middle = np.append(0.5 * (edges[1:] + edges[:-1]) / crest, 1.0)
    return middle, share
