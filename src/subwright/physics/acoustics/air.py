"""Air: density, speed of sound and what follows from them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from subwright.base.errors import RangeError

__all__ = [
    "AIR_20C",
    "GAMMA",
    "GAS_CONSTANT_J_PER_KG_K",
    "SMALL_AIR",
    "STANDARD_PRESSURE_PA",
    "Air",
    "air_at",
    "speed_of_sound_linear_m_per_s",
    "tuning_drift_ratio",
]

GAMMA = 1.4  # ratio of specific heats of dry air
GAS_CONSTANT_J_PER_KG_K = 287.06  # dry air
STANDARD_PRESSURE_PA = 101_325.0
_ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True, kw_only=True, slots=True)
class Air:
    """State of the air that the loudspeaker works in."""

    density_kg_per_m3: float
    speed_m_per_s: float

    @property
    def impedance_pa_s_per_m(self) -> float:
        """Characteristic impedance ρc in Pa·s/m."""
        return self.density_kg_per_m3 * self.speed_m_per_s

    @property
    def stiffness_pa(self) -> float:
        """Adiabatic bulk modulus ρc² in Pa (γ·p0 for an ideal gas)."""
        return self.density_kg_per_m3 * self.speed_m_per_s**2


def air_at(temperature_c: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> Air:
    """Dry air as an ideal gas: ρ = p/(R·T), c = √(γ·R·T).

    Parameters
    ----------
    temperature_c : °C, −60 … 100.
    pressure_pa : static pressure in Pa, 50 kPa … 110 kPa.

    Returns
    -------
    Air : density in kg/m³ and speed of sound in m/s.

    Raises
    ------
    RangeError : temperature or pressure outside the range above.

    Source
    ------
    [beranek-mellow-2012], ch. 1. At 20 °C and 101325 Pa: 1.204 kg/m³ and 343.2 m/s printed; this function
    gives 1.2041 kg/m³ and 343.24 m/s.

    >>> air = air_at(20.0)
    >>> round(air.density_kg_per_m3, 3), round(air.speed_m_per_s, 1)
    (1.204, 343.2)
    """
    if not -60.0 <= temperature_c <= 100.0:
        raise RangeError(
            message="Air temperature is outside the range in which a loudspeaker is used.",
            quantity="air temperature",
            value=f"{temperature_c:.4g} °C",
            limit="−60 °C … 100 °C",
            remedy="Give the temperature in degrees Celsius.",
        )
    if not 50e3 <= pressure_pa <= 110e3:
        raise RangeError(
            message="Static air pressure is outside the range found on the ground.",
            quantity="static pressure",
            value=f"{pressure_pa / 1e3:.4g} kPa",
            limit="50 kPa … 110 kPa",
            remedy="Give the static pressure in pascals; 101325 Pa at sea level.",
        )
    temperature_k = temperature_c + _ZERO_CELSIUS_K
    return Air(
        density_kg_per_m3=pressure_pa / (GAS_CONSTANT_J_PER_KG_K * temperature_k),
        speed_m_per_s=math.sqrt(GAMMA * GAS_CONSTANT_J_PER_KG_K * temperature_k),
    )


AIR_20C = air_at(20.0)
# The constants of the 1972-74 papers, for comparison with their printed numbers.
SMALL_AIR = Air(density_kg_per_m3=1.18, speed_m_per_s=345.0)


def speed_of_sound_linear_m_per_s(temperature_c: float) -> float:
    """Speed of sound in m/s by the linear rule 331.3 + 0.606·t.

    Parameters
    ----------
    temperature_c : °C; the rule holds within 0.25 % from −20 °C to 40 °C.

    Source
    ------
    [beranek-mellow-2012], ch. 1 (rule as restated in encyclopaedias).
    """
    return 331.3 + 0.606 * temperature_c


def tuning_drift_ratio(from_c: float, to_c: float) -> float:
    """Ratio by which a box tuning moves when the air warms from ``from_c`` to ``to_c`` (°C); dimensionless.

    A Helmholtz resonance is proportional to the speed of sound, hence to √T.

    Source
    ------
    [beranek-mellow-2012], ch. 4; 20 → 40 °C gives +3.4 %.
    """
    return air_at(to_c).speed_m_per_s / air_at(from_c).speed_m_per_s
