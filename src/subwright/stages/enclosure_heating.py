"""How the voice coil warms up over time, and what level that costs."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.physics.acoustics.thermal import (
    CoilThermal,
    compression_db,
    crest_ratio,
    resistance_ratio,
    step_rise_k,
)
from subwright.stages.enclosure_response import SpeakerSystem

__all__ = ["COURSE_S", "CoilCourse", "coil_course"]

Array = NDArray[np.float64]

COURSE_S: Final[Array] = np.array([1.0, 10.0, 60.0, 600.0, 3600.0, 14400.0])
COURSE_S.flags.writeable = False
_STEPS: Final = 400


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CoilCourse:
    """Temperatures and lost level at times after switching on."""

    what: str  # "full sine", "programme"
    frequency_hz: float
    ambient_c: float
    time_s: Array
    coil_c: Array
    magnet_c: Array
    compression_db: Array  # against the coil at ambient, negative


def coil_course(
    system: SpeakerSystem,
    what: str,
    frequency_hz: float,
    drive_v: float,
    *,
    ambient_c: float,
    crest_factor_db: float,
    time_s: Array = COURSE_S,
) -> CoilCourse | None:
    """Warming of coil and magnet at a constant drive, the coil's resistance rising with it.

    Parameters
    ----------
    system : the box with its driver.
    what : name of the programme.
    frequency_hz : at which the drive heats.
    drive_v : rms voltage of a sine with the programme's peaks, V.
    ambient_c : air, magnet and coil at the start, °C.
    crest_factor_db : dB, at least a sine's 3.01.
    time_s : ascending, s, shape (n,).

    Returns
    -------
    CoilCourse, None where the thermal data are unknown.

    Source
    ------
    [klippel-2004] (two heat stores); [button-1992]; steps on a logarithmic time axis [derived].
    """
    thermal = system.thermal
    if thermal is None:
        return None
    cold = system.solve(np.array([frequency_hz]))
    total = complex(1.0 / cold.current_a_per_v[0])
    re = system.driver.re_ohm
    mean_square = drive_v**2 * 2.0 / crest_ratio(crest_factor_db) ** 2

    def power_w(rise_k: float) -> float:
        ratio = float(resistance_ratio(ambient_c - 20.0 + rise_k))
        return mean_square * re * ratio / abs(total + re * (ratio - 1.0)) ** 2

    coil, magnet = _integrated(thermal, power_w, time_s)
    source_ratio = system.source_ohm / re
    hot = np.asarray(compression_db(ambient_c - 20.0 + coil, source_ratio=source_ratio))
    start = float(compression_db(ambient_c - 20.0, source_ratio=source_ratio))
    return CoilCourse(
        what=what,
        frequency_hz=frequency_hz,
        ambient_c=ambient_c,
        time_s=time_s,
        coil_c=ambient_c + coil,
        magnet_c=ambient_c + magnet,
        compression_db=hot - start,
    )


def _integrated(
    thermal: CoilThermal, power_w: Callable[[float], float], time_s: Array
) -> tuple[Array, Array]:
    """Rises of coil and magnet at the times, K.

    Over each step the power is constant, by the mid-point rule; within it the two stores follow their closed
    solution, so the steps may grow far beyond the coil's time constant.
    """
    first = min(0.01 * thermal.coil_k_per_w * thermal.coil_j_per_k, 0.5 * float(time_s[0]))
    grid = np.unique(np.concatenate((np.geomspace(first, float(time_s[-1]), _STEPS), time_s)))
    coil = magnet = now = 0.0
    coils, magnets = [], []
    for later in grid.tolist():
        middle, _ = _step(thermal, coil, magnet, power_w(coil), 0.5 * (later - now))
        coil, magnet = _step(thermal, coil, magnet, power_w(middle), later - now)
        now = later
        coils.append(coil)
        magnets.append(magnet)
    where = np.searchsorted(grid, time_s)
    return np.array(coils)[where], np.array(magnets)[where]


def _step(
    thermal: CoilThermal, coil: float, magnet: float, power: float, span_s: float
) -> tuple[float, float]:
    """Rises after a span at constant power, from any start: forced answer plus the start's decay."""
    forced_coil, forced_magnet = step_rise_k(thermal, power, np.array([span_s]))
    a = 1.0 / (thermal.coil_k_per_w * thermal.coil_j_per_k)
    b = 1.0 / (thermal.coil_k_per_w * thermal.magnet_j_per_k)
    c = 1.0 / (thermal.magnet_k_per_w * thermal.magnet_j_per_k)
    # exp(M·t) of the 2 × 2 system coil' = −a·(coil − magnet), magnet' = b·(coil − magnet) − c·magnet
    half, product = 0.5 * (a + b + c), a * c
    root = math.sqrt(half * half - product)
    fast, slow = half + root, product / (half + root)
    e_fast, e_slow = math.exp(-fast * span_s), math.exp(-slow * span_s)
    mean = (e_slow * fast - e_fast * slow) / (fast - slow)
    slope = (e_slow - e_fast) / (fast - slow)
    new_coil = mean * coil + slope * (-a * (coil - magnet))
    new_magnet = mean * magnet + slope * (b * (coil - magnet) - c * magnet)
    return new_coil + float(forced_coil[0]), new_magnet + float(forced_magnet[0])
