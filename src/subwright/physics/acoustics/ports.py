"""Ports: end corrections, length and tuning, air speed, resonance of the tube itself."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import Real
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = [
    "FLANGED_RATIO",
    "FREE_RATIO",
    "MACH_SHARE",
    "End",
    "air_speed_m_per_s",
    "effective_length_m",
    "equivalent_radius_m",
    "flared_ends_m",
    "hydraulic_diameter_m",
    "minimum_area_m2",
    "minimum_diameter_m",
    "rectangular_end_m",
    "round_end_m",
    "speed_limit_m_per_s",
    "tube_resonance_hz",
    "tuning_hz",
]

End = Literal["flanged", "free"]

FLANGED_RATIO = 8.0 / (3.0 * math.pi)  # end length over radius of a piston in a wall
FREE_RATIO = 0.6133  # the same for a thin tube that ends in free air
MACH_SHARE = 0.05


def round_end_m(diameter_m: Real, end: End) -> Real:
    """End correction of a round opening in m: 0.849 times the radius in a wall, 0.613 for a free end.

    Parameters
    ----------
    diameter_m : inner diameter, m, any shape.
    end : "flanged" where the tube ends in a wall, "free" where it ends in the air.

    Source
    ------
    flanged 8/(3π) after Rayleigh, restated in [jaouen-chevillotte-2018]; free [levine-schwinger-1948].
    """
    return 0.5 * np.asarray(diameter_m) * (FLANGED_RATIO if end == "flanged" else FREE_RATIO)


def flared_ends_m(diameter_m: float, flare_m: float) -> float:
    """What both rounded mouths of a round port add to its physical length, m; may be negative.

    Each mouth opens on a quarter circle. Air in it counts by the inverse of the area, ∫ (a/r(x))² dx, and
    what moves beyond counts as a piston in a wall of the mouth's radius, turned to the throat's area. With
    no flare this is the correction of two flanged ends.

    Parameters
    ----------
    diameter_m : throat, m.
    flare_m : radius of the quarter circle, m, 0 or more.

    Raises
    ------
    RangeError : a negative flare, or no throat.

    Source
    ------
    [beranek-mellow-2012], ch. 2 (acoustic mass of a tube of varying section); [derived]. Ø 100 mm with 25 mm:
    48.5 mm.

    >>> round(1e3 * flared_ends_m(0.1, 0.0), 1), round(1e3 * flared_ends_m(0.1, 0.025), 1)
    (84.9, 48.5)
    """
    if not diameter_m > 0.0 or flare_m < 0.0:
        raise RangeError(
            message="A flared port needs a throat and a rounding of 0 or more.",
            quantity="diameter, flare",
            value=f"{1e3 * diameter_m:.3g} mm, {1e3 * flare_m:.3g} mm",
            limit="above 0, at least 0",
            remedy="Correct enclosure.port_diameter or enclosure.port_flare.",
        )
    throat = 0.5 * diameter_m
    mouth = throat + flare_m
    end = FLANGED_RATIO * mouth * (throat / mouth) ** 2
    if flare_m == 0.0:
        return 2.0 * end
    # Along the arc x = f·sin w, r = a + f·(1 − cos w): smooth in w, so few Gauss points do.
    nodes, weights = np.polynomial.legendre.leggauss(24)
    turn = 0.25 * math.pi * (nodes + 1.0)
    radius = throat + flare_m * (1.0 - np.cos(turn))
    inside = 0.25 * math.pi * float(np.sum(weights * (throat / radius) ** 2 * flare_m * np.cos(turn)))
    return 2.0 * (inside - flare_m + end)


def rectangular_end_m(width_m: float, height_m: float, end: End, *, along_wall: bool = False) -> float:
    """End correction of a rectangular opening in m.

    The flanged value is the exact air mass of a rectangular piston in a wall, the self-integral of 1/R over
    the rectangle divided by 2π times its area. The free value is smaller in the ratio that holds for round
    openings. An opening that lies along a wall reaching past its mouth acts as half of one twice as high.

    Parameters
    ----------
    width_m, height_m : sides of the opening, m.
    end : "flanged" or "free".
    along_wall : whether one width side lies along a wall that goes on past the mouth.

    Source
    ------
    [beranek-mellow-2012] (rectangular piston); ratio flanged to free is [common-practice]. Aspect 1:1, 2:1,
    4:1, 10:1 give 0.839, 0.815, 0.750, 0.630 times the equivalent radius.

    >>> round(rectangular_end_m(0.1, 0.1, "flanged") / equivalent_radius_m(0.1, 0.1), 3)
    0.839
    """
    a, b = width_m, height_m * (2.0 if along_wall else 1.0)
    d = math.hypot(a, b)
    along_a, along_b = math.asinh(b / a), math.asinh(a / b)
    plain = a * along_a + b * along_b
    first = 0.5 * (b * d + a * a * along_a - b * b)
    second = 0.5 * (a * d + b * b * along_b - a * a)
    both = (d**3 - a**3 - b**3) / 3.0
    integral = 4.0 * (a * b * plain - b * first - a * second + both)
    flanged = integral / (2.0 * math.pi * a * b)
    return flanged if end == "flanged" else flanged * FREE_RATIO / FLANGED_RATIO


def equivalent_radius_m(width_m: float, height_m: float) -> float:
    """Radius in m of the circle with the area of a slot. 300 × 40 mm: 61.8 mm.

    Source
    ------
    [derived], geometry.
    """
    return math.sqrt(width_m * height_m / math.pi)


def hydraulic_diameter_m(width_m: float, height_m: float) -> float:
    """Hydraulic diameter 2·w·h/(w + h) of a slot in m. 300 × 40 mm: 70.6 mm.

    Source
    ------
    [derived], geometry (four times area over perimeter).
    """
    return 2.0 * width_m * height_m / (width_m + height_m)


def effective_length_m(area_m2: Real, volume_m3: Real, tuning: Real, *, air: Air = AIR_20C) -> Real:
    """Acoustic length in m, ends included, of openings that tune a volume: c²·S/(ωb²·V).

    Parameters
    ----------
    area_m2 : total area of the openings, m².
    volume_m3 : acoustic volume (net volume times fill gain), m³.
    tuning : box tuning fb, Hz. All arguments broadcast.
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 4 (Helmholtz resonator). Ø 100 mm, 60 L, 32 Hz: 381.4 mm with c = 343.2 m/s.

    >>> round(1e3 * float(effective_length_m(math.pi * 0.05**2, 0.06, 32.0)), 1)
    381.5
    """
    omega = 2.0 * math.pi * np.asarray(tuning)
    return air.speed_m_per_s**2 * np.asarray(area_m2) / (omega**2 * volume_m3)


def tuning_hz(area_m2: Real, volume_m3: Real, acoustic_length_m: Real, *, air: Air = AIR_20C) -> Real:
    """Tuning in Hz of a volume with openings of given area and acoustic length, c/(2π)·√(S/(V·L)).

    Parameters
    ----------
    area_m2 : total area, m².
    volume_m3 : acoustic volume, m³.
    acoustic_length_m : length with both end corrections, m. All arguments broadcast.
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 4 (Helmholtz resonator).
    """
    return np.asarray(
        air.speed_m_per_s
        / (2.0 * math.pi)
        * np.sqrt(np.asarray(area_m2) / (np.asarray(volume_m3) * acoustic_length_m)),
        dtype=np.float64,
    )


def minimum_area_m2(tuning: float, displaced_volume_m3: float) -> float:
    """Smallest port area in m² for a cone displacement, 0.8·fb·Vd.

    Parameters
    ----------
    tuning : fb, Hz.
    displaced_volume_m3 : Sd·xmax, one-way peak, m³.

    Source
    ------
    [small-1973-vented], Part II.
    """
    return 0.8 * tuning * displaced_volume_m3


def minimum_diameter_m(tuning: float, displaced_volume_m3: float) -> float:
    """Smallest port diameter in m for a cone displacement, √(fb·Vd).

    Parameters
    ----------
    tuning : fb, Hz.
    displaced_volume_m3 : Sd·xmax, one-way peak, m³.

    Source
    ------
    [small-1973-vented], Part II. 35 Hz, 120 cm³: 64.8 mm.

    >>> round(1e3 * minimum_diameter_m(35.0, 120e-6), 1)
    64.8
    """
    return math.sqrt(tuning * displaced_volume_m3)


def air_speed_m_per_s(volume_peak_m3: Real, frequency_hz: Real, area_m2: Real) -> Real:
    """Peak air speed in m/s in a port, 2π·f·V/S.

    Parameters
    ----------
    volume_peak_m3 : peak volume moved through the port, m³.
    frequency_hz : Hz.
    area_m2 : total port area, m². All arguments broadcast.

    Source
    ------
    [derived], kinematics. 415 cm³ at 30 Hz through Ø 100 mm: 9.96 m/s.
    """
    speed = 2.0 * math.pi * np.asarray(frequency_hz) * volume_peak_m3 / np.asarray(area_m2)
    return np.asarray(speed, dtype=np.float64)


def speed_limit_m_per_s(*, air: Air = AIR_20C, mach_share: float = MACH_SHARE) -> float:
    """Peak air speed above which a port is heard, as a share of the speed of sound, in m/s.

    Recommendations differ: below 10 m/s (salvatti-2002), 15 to 20 m/s (small-1973-vented); 5 % is 17.2 m/s.

    Parameters
    ----------
    air : state of the air.
    mach_share : share of the speed of sound, 0.02 … 0.1.

    Raises
    ------
    RangeError : share outside that range.

    Source
    ------
    [common-practice], bounded by [salvatti-2002].
    """
    if not 0.02 <= mach_share <= 0.1:
        raise RangeError(
            message="The port speed limit is outside the range of the published recommendations.",
            quantity="share of the speed of sound",
            value=f"{mach_share:.3g}",
            limit="0.02 … 0.1",
            source="salvatti-2002",
            remedy="Use 0.05, which is 17 m/s.",
        )
    return mach_share * air.speed_m_per_s


def tube_resonance_hz(length_m: Real, end_total_m: Real = 0.0, *, air: Air = AIR_20C) -> Real:
    """First resonance in Hz of the tube open at both ends, c/(2·L).

    Parameters
    ----------
    length_m : physical length, m.
    end_total_m : both end corrections together, m.
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 2. 0.40 m: 429 Hz.
    """
    return np.asarray(air.speed_m_per_s / (2.0 * (np.asarray(length_m) + end_total_m)), dtype=np.float64)
