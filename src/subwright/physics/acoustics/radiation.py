"""Sound radiated by a small source at low frequency, levels, and the air that moves with a piston."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from subwright.physics.acoustics._types import Real
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = [
    "REFERENCE_PRESSURE_PA",
    "Space",
    "air_load_kg",
    "displacement_for_level_m3",
    "level_db",
    "level_from_displacement_db",
    "level_from_power_db",
    "pressure_per_volume_velocity_pa_s_per_m3",
    "radiation_resistance_pa_s_per_m3",
]

REFERENCE_PRESSURE_PA = 20e-6
Space = Literal["half", "full"]
_SOLID_ANGLE = {"half": 2.0 * math.pi, "full": 4.0 * math.pi}


def level_db(pressure_pa: Real) -> Real:
    """Sound pressure level in dB re 20 µPa of an rms pressure in Pa (any shape, > 0).

    Source
    ------
    [iso-1683].
    """
    return 20.0 * np.log10(np.abs(pressure_pa) / REFERENCE_PRESSURE_PA)


def radiation_resistance_pa_s_per_m3(
    frequency_hz: Real, *, air: Air = AIR_20C, space: Space = "half"
) -> Real:
    """Acoustic radiation resistance of a source small against the wavelength, in Pa·s/m³.

    R = ρ·ω²/(Ω·c) with Ω = 2π (half space) or 4π (full space).

    Parameters
    ----------
    frequency_hz : any shape, Hz.
    air : state of the air.
    space : "half" for a source on a large wall or floor, "full" for one far from any wall.

    Source
    ------
    [beranek-mellow-2012], ch. 4 (low-frequency limit of the baffled piston); [small-1972-direct].
    """
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    return air.density_kg_per_m3 * omega**2 / (_SOLID_ANGLE[space] * air.speed_m_per_s)


def pressure_per_volume_velocity_pa_s_per_m3(
    frequency_hz: Real, *, distance_m: float = 1.0, air: Air = AIR_20C, space: Space = "half"
) -> Real:
    """Magnitude of pressure at a distance per volume velocity, ρ·ω/(Ω·r), in Pa·s/m³.

    Parameters
    ----------
    frequency_hz : any shape, Hz.
    distance_m : m.
    air : state of the air.
    space : "half" or "full".

    Source
    ------
    [beranek-mellow-2012], ch. 4 (simple source).
    """
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    return air.density_kg_per_m3 * omega / (_SOLID_ANGLE[space] * distance_m)


def level_from_power_db(
    power_w: Real, *, distance_m: float = 1.0, air: Air = AIR_20C, space: Space = "half"
) -> Real:
    """Level in dB re 20 µPa at a distance from acoustic power in W: p² = ρ·c·W/(Ω·r²).

    Parameters
    ----------
    power_w : acoustic power, any shape, W.
    distance_m : m.
    air : state of the air.
    space : "half" or "full".

    Source
    ------
    [small-1972-direct]; 1 W in half space at 1 m gives 112.2 dB at 20 °C.

    >>> round(float(level_from_power_db(1.0)), 1)
    112.2
    """
    pressure = np.sqrt(air.impedance_pa_s_per_m * np.asarray(power_w) / (_SOLID_ANGLE[space] * distance_m**2))
    return level_db(pressure)


def level_from_displacement_db(
    volume_peak_m3: Real,
    frequency_hz: Real,
    *,
    distance_m: float = 1.0,
    air: Air = AIR_20C,
    space: Space = "half",
) -> Real:
    """Level in dB re 20 µPa of a sinusoidal volume displacement of the given peak.

    p(rms) = ρ·ω²·V/(√2·Ω·r); in half space at 1 m this is 108.55 + 20·lg V + 40·lg f.

    Parameters
    ----------
    volume_peak_m3 : peak of the displaced volume, m³, broadcasts with the frequency.
    frequency_hz : Hz.
    distance_m : m.
    air : state of the air.
    space : "half" or "full".

    Source
    ------
    [beranek-mellow-2012], ch. 4 and 13 (low-frequency limit).
    """
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    pressure = (
        air.density_kg_per_m3
        * omega**2
        * volume_peak_m3
        / (math.sqrt(2.0) * _SOLID_ANGLE[space] * distance_m)
    )
    return level_db(pressure)


def displacement_for_level_m3(
    level: Real,
    frequency_hz: Real,
    *,
    distance_m: float = 1.0,
    air: Air = AIR_20C,
    space: Space = "half",
) -> Real:
    """Peak volume displacement in m³ that gives a level; the inverse of ``level_from_displacement_db``.

    Parameters
    ----------
    level : dB re 20 µPa, broadcasts with the frequency.
    frequency_hz : Hz.
    distance_m : m.
    air : state of the air.
    space : "half" or "full".

    Source
    ------
    [beranek-mellow-2012], ch. 4; 100 dB at 20 Hz in half space at 1 m takes 935 cm³.
    """
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    pressure = REFERENCE_PRESSURE_PA * 10.0 ** (np.asarray(level) / 20.0)
    return math.sqrt(2.0) * _SOLID_ANGLE[space] * distance_m * pressure / (air.density_kg_per_m3 * omega**2)


def air_load_kg(area_m2: Real, *, sides: int = 2, air: Air = AIR_20C) -> Real:
    """Mass in kg of the air that moves with a piston in a wall at low frequency: 8/3·ρ·a³ for each side.

    Parameters
    ----------
    area_m2 : piston area, m², any shape.
    sides : 1 or 2 faces in contact with open air.
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 4; [small-1972-direct]. 0.0500 m² gives 12.9 g for both sides.

    >>> round(1e3 * float(air_load_kg(0.05)), 1)
    12.9
    """
    radius = np.sqrt(np.asarray(area_m2) / math.pi)
    return sides * 8.0 / 3.0 * air.density_kg_per_m3 * radius**3
