"""Heat that plates and wires give to still air by convection and radiation."""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.physics.bounds import require
from subwright.physics.electrical import COPPER_ALPHA_20_PER_K

__all__ = [
    "PLATE_FACTORS",
    "PlateFinish",
    "air_film",
    "plate_area_m2",
    "plate_convection_w_per_m2_k",
    "plate_heat_w",
    "plate_rise_k",
    "plate_rth_k_per_w",
    "radiation_w_per_m2_k",
    "wire_convection_w_per_m2_k",
    "wire_current_a",
    "wire_rise_k",
]

Array = NDArray[np.float64]
PlateFinish = Literal["bright horizontal", "bright vertical", "black horizontal", "black vertical"]

_STEFAN_BOLTZMANN: Final = 5.670374419e-8  # W/(m² K⁴), CODATA 2018
_ALUMINIUM_W_PER_CM_K: Final = 2.1
_AIR_PRANDTL: Final = 0.707  # at 300 K, nearly constant
_KELVIN: Final = 273.15

# Siemens / Valvo power-transistor handbooks, plate with the device in its centre.
PLATE_FACTORS: Final[dict[PlateFinish, float]] = {
    "bright horizontal": 1.0,
    "bright vertical": 0.85,
    "black horizontal": 0.5,
    "black vertical": 0.43,
}


def plate_rth_k_per_w(area_m2: float, thickness_m: float, finish: PlateFinish) -> float:
    """Thermal resistance of a square aluminium plate with the device in its centre.

    Parameters
    ----------
    area_m2 : area of one side, m², 10 to 1000 cm².
    thickness_m : m, 1 to 5 mm.
    finish : surface and position, a key of ``PLATE_FACTORS``.

    Returns
    -------
    ``3.3 C^0.25 / sqrt(lambda d) + 650 C/A`` (lambda in W/(cm K), d in mm, A in cm²), K/W, good to 20 %.
    Both sides must see free air.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Siemens and Valvo power-transistor handbooks. [valvo-plate]

    >>> round(plate_rth_k_per_w(0.01, 2e-3, "bright horizontal"), 2)
    8.11
    """
    require("plate area", area_m2, "m²", at_least=1e-3, at_most=0.1, source="valvo-plate")
    require("plate thickness", thickness_m, "m", at_least=1e-3, at_most=5e-3, source="valvo-plate")
    factor = PLATE_FACTORS[finish]
    return _plate_spreading(thickness_m, factor) + 650.0 * factor / (area_m2 * 1e4)


def _plate_spreading(thickness_m: float, factor: float) -> float:
    return 3.3 / math.sqrt(_ALUMINIUM_W_PER_CM_K * thickness_m * 1e3) * math.sqrt(math.sqrt(factor))


def plate_area_m2(rth_k_per_w: float, thickness_m: float, finish: PlateFinish) -> float:
    """Area of the square aluminium plate that reaches a thermal resistance.

    Parameters
    ----------
    rth_k_per_w : wanted, K/W, > 0.
    thickness_m : m, 1 to 5 mm.
    finish : a key of ``PLATE_FACTORS``.

    Returns
    -------
    area of one side, m²; never below 10 cm², where the formula ends.

    Raises
    ------
    RangeError : an argument is out of range.
    NoSolutionError : the spreading resistance of this thickness alone is too high, or more than 1000 cm²
        would be needed.

    Source
    ------
    ``plate_rth_k_per_w`` solved for the area. [valvo-plate]

    >>> round(plate_area_m2(plate_rth_k_per_w(0.02, 3e-3, "black vertical"), 3e-3, "black vertical"), 6)
    0.02
    """
    require("thermal resistance", rth_k_per_w, "K/W", above=0.0)
    require("plate thickness", thickness_m, "m", at_least=1e-3, at_most=5e-3, source="valvo-plate")
    factor = PLATE_FACTORS[finish]
    left = rth_k_per_w - _plate_spreading(thickness_m, factor)
    area_m2 = 650.0 * factor / left * 1e-4 if left > 0.0 else math.inf
    if area_m2 > 0.1:
        raise NoSolutionError(
            message="A flat plate can't get rid of this heat.",
            quantity="thermal resistance wanted",
            value=f"{rth_k_per_w:.3g} K/W",
            limit=f"≥ {plate_rth_k_per_w(0.1, thickness_m, finish):.3g} K/W at 1000 cm²",
            source="valvo-plate",
            remedy='Use a finned heatsink (heat.heatsink = "auto"), a thicker or black plate '
            "(heat.plate_thickness, heat.plate_finish), or lower goal.power.",
        )
    return max(area_m2, 1e-3)


def plate_convection_w_per_m2_k(rise_k: float, height_m: float) -> float:
    """Heat transfer coefficient of a vertical plate in still air, convection only.

    Parameters
    ----------
    rise_k : surface above air, K, > 0.
    height_m : vertical length, m; laminar while height³ times rise stays below about 10 m³ K.

    Returns
    -------
    ``h = 1.42 (dT/L)^0.25``, W/(m² K).

    Raises
    ------
    RangeError : an argument is out of range or the flow is turbulent.

    Source
    ------
    Holman, Heat Transfer, simplified equations for air (Gr Pr below 1e9). [holman]

    >>> round(plate_convection_w_per_m2_k(40.0, 0.1), 2)
    6.35
    """
    require("temperature rise", rise_k, "K", above=0.0)
    require("plate height", height_m, "m", above=0.0)
    require("height³ × rise", height_m**3 * rise_k, "m³ K", at_most=10.0, source="holman")
    return float(1.42 * (rise_k / height_m) ** 0.25)


def radiation_w_per_m2_k(surface_c: float, surroundings_c: float, emissivity: float) -> float:
    """Heat transfer coefficient of a small body that radiates into large surroundings.

    Parameters
    ----------
    surface_c, surroundings_c : °C, above absolute zero.
    emissivity : dimensionless, 0 to 1 (polished aluminium 0.04 to 0.06, black anodised 0.8 to 0.9).

    Returns
    -------
    ``eps sigma (Ts² + Ta²)(Ts + Ta)``, W/(m² K).

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Stefan-Boltzmann law, factored; emissivities from a heatsink selection article. [holman]

    >>> round(radiation_w_per_m2_k(80.0, 40.0, 0.85), 2)
    7.15
    """
    require("surface temperature", surface_c, "°C", above=-_KELVIN)
    require("temperature of the surroundings", surroundings_c, "°C", above=-_KELVIN)
    require("emissivity", emissivity, "", at_least=0.0, at_most=1.0)
    hot, cold = surface_c + _KELVIN, surroundings_c + _KELVIN
    return emissivity * _STEFAN_BOLTZMANN * (hot * hot + cold * cold) * (hot + cold)


def plate_heat_w(
    rise_k: float,
    ambient_c: float,
    area_m2: float,
    height_m: float,
    emissivity: float,
) -> float:
    """Heat that a vertical plate at uniform temperature gives to still air.

    Parameters
    ----------
    rise_k : surface above air, K, > 0.
    ambient_c : air and surroundings, °C.
    area_m2 : area that sees air: both sides, or one for a chassis panel, m², > 0.
    height_m : vertical length, m, > 0.
    emissivity : dimensionless, 0 (convection only) to 1.

    Returns
    -------
    heat, W.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Holman's simplified convection plus Stefan-Boltzmann radiation. [holman]

    >>> round(plate_heat_w(40.0, 25.0, 0.02, 0.1, 0.0), 2)
    5.08
    """
    require("plate area", area_m2, "m²", above=0.0)
    convection = plate_convection_w_per_m2_k(rise_k, height_m)
    radiation = radiation_w_per_m2_k(ambient_c + rise_k, ambient_c, emissivity)
    return (convection + radiation) * area_m2 * rise_k


def plate_rise_k(
    power_w: float, ambient_c: float, area_m2: float, height_m: float, emissivity: float
) -> float:
    """Temperature rise of a vertical plate that gives ``power_w`` to still air.

    Parameters
    ----------
    power_w : W, >= 0.
    ambient_c, area_m2, height_m, emissivity : °C, m², m, dimensionless; as for ``plate_heat_w``.

    Returns
    -------
    rise, K; the inverse of ``plate_heat_w`` to 1e-9.

    Raises
    ------
    RangeError : an argument is out of range.
    NoSolutionError : the rise would exceed 300 K.

    Source
    ------
    ``plate_heat_w`` inverted by bisection. [holman]

    >>> round(plate_rise_k(5.08, 25.0, 0.02, 0.1, 0.0), 1)
    40.0
    """
    require("heat into the plate", power_w, "W", at_least=0.0)
    if power_w == 0.0:
        return 0.0
    low, high = 1e-6, min(300.0, 10.0 / height_m**3)
    if plate_heat_w(high, ambient_c, area_m2, height_m, emissivity) < power_w:
        raise NoSolutionError(
            message="The plate is far too small for this heat.",
            quantity="temperature rise",
            value=f"> {high:.3g} K",
            limit=f"{high:.3g} K",
            source="holman",
            remedy="Use a larger panel or a finned heatsink.",
        )
    while high - low > 1e-9 * high:
        middle = 0.5 * (low + high)
        if plate_heat_w(middle, ambient_c, area_m2, height_m, emissivity) < power_w:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def air_film(temperature_c: Array) -> tuple[Array, Array]:
    """Thermal conductivity and kinematic viscosity of dry air at sea level.

    Parameters
    ----------
    temperature_c : °C, -40 to 250, any shape.

    Returns
    -------
    (conductivity in W/(m K), kinematic viscosity in m²/s), the same shape.

    Raises
    ------
    RangeError : the temperature is out of range.

    Source
    ------
    Power laws through the rows of Incropera, table A.4, 250 to 400 K, good to 1 %. [incropera]

    >>> k, nu = air_film(np.array(26.85))
    >>> float(k.round(4)), float((nu * 1e6).round(2))
    (0.0263, 15.89)
    """
    require("air temperature", temperature_c, "°C", at_least=-40.0, at_most=250.0, source="incropera")
    ratio = (temperature_c + _KELVIN) / 300.0
    return 0.0263 * ratio**0.875, 15.89e-6 * ratio**1.78


def wire_convection_w_per_m2_k(diameter_m: Array, rise_k: Array, ambient_c: float) -> Array:
    """Heat transfer coefficient of a horizontal wire in still air, convection only.

    Parameters
    ----------
    diameter_m : outer diameter, m, any shape, > 0.
    rise_k : surface above air, K, broadcast against the diameter, > 0.
    ambient_c : air, °C, -40 to 150.

    Returns
    -------
    h, W/(m² K), broadcast shape.

    Raises
    ------
    RangeError : an argument is out of range, or Ra leaves 1e-5 to 1e9.

    Source
    ------
    Churchill & Chu 1975, horizontal cylinder, laminar form ``Nu = 0.36 + 0.518 Ra^0.25 /
    (1 + (0.559/Pr)^(9/16))^(4/9)``; air properties at film temperature by power laws in T.
    [churchill-chu1975]

    >>> float(wire_convection_w_per_m2_k(np.array(1.5e-3), np.array(50.0), 25.0).round(0))
    20.0
    """
    require("wire diameter", diameter_m, "m", above=0.0)
    require("temperature rise", rise_k, "K", above=0.0)
    require("air temperature", ambient_c, "°C", at_least=-40.0, at_most=150.0)
    film = ambient_c + _KELVIN + 0.5 * rise_k
    conductivity, viscosity = air_film(film - _KELVIN)
    prandtl = _AIR_PRANDTL
    rayleigh = 9.81 / film * rise_k * diameter_m**3 / viscosity**2 * prandtl
    require("Rayleigh number", rayleigh, "", at_least=1e-5, at_most=1e9, source="churchill-chu1975")
    nusselt = 0.36 + 0.518 * rayleigh**0.25 / (1.0 + (0.559 / prandtl) ** (9.0 / 16.0)) ** (4.0 / 9.0)
    result: Array = nusselt * conductivity / diameter_m
    return result


def _wire_heat_w_per_m(diameter_m: Array, rise_k: Array, ambient_c: float, emissivity: float) -> Array:
    """Heat that a metre of wire gives to still air, W/m."""
    hot, cold = ambient_c + rise_k + _KELVIN, ambient_c + _KELVIN
    radiation = emissivity * _STEFAN_BOLTZMANN * (hot**2 + cold**2) * (hot + cold)
    film = wire_convection_w_per_m2_k(diameter_m, rise_k, ambient_c) + radiation
    heat: Array = film * math.pi * diameter_m * rise_k
    return heat


def _hot_ohm_per_m(ohm_per_m_20: Array, temperature_c: Array) -> Array:
    hot: Array = ohm_per_m_20 * (1.0 + COPPER_ALPHA_20_PER_K * (temperature_c - 20.0))
    return hot


def wire_current_a(
    ohm_per_m_20: Array, diameter_m: Array, rise_k: float, ambient_c: float, emissivity: float = 0.8
) -> Array:
    """Current that heats a single copper wire in still air by a chosen rise.

    Parameters
    ----------
    ohm_per_m_20 : resistance per metre at 20 °C, ohm/m, shape (n,).
    diameter_m : outer diameter over the insulation, m, shape (n,).
    rise_k : K, > 0.
    ambient_c : air around the wire, °C.
    emissivity : of the surface, dimensionless, 0 to 1; enamel and plastics are near 0.8.

    Returns
    -------
    rms current, A, shape (n,); the inverse of ``wire_rise_k``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Heat balance per metre with Churchill & Chu 1975 and Stefan-Boltzmann. [churchill-chu1975]

    >>> float(wire_current_a(np.array([9.76e-3]), np.array([1.5e-3]), 38.9, 25.0)[0].round(1))
    20.0
    """
    require("resistance per metre", ohm_per_m_20, "Ω/m", above=0.0)
    require("temperature rise", rise_k, "K", above=0.0)
    require("emissivity", emissivity, "", at_least=0.0, at_most=1.0)
    rise = np.full(np.shape(diameter_m), rise_k)
    heat = _wire_heat_w_per_m(diameter_m, rise, ambient_c, emissivity)
    current: Array = np.sqrt(heat / _hot_ohm_per_m(ohm_per_m_20, ambient_c + rise))
    return current


def wire_rise_k(
    current_a: Array,
    ohm_per_m_20: Array,
    diameter_m: Array,
    ambient_c: float,
    emissivity: float = 0.8,
    limit_k: float = 200.0,
) -> Array:
    """Steady rise of a single copper wire in still air, resistance growing with temperature.

    Parameters
    ----------
    current_a : rms current, A, >= 0, shape (n,).
    ohm_per_m_20 : resistance per metre at 20 °C, ohm/m, shape (n,).
    diameter_m : outer diameter over the insulation, m, shape (n,). The drop inside the insulation is
        left out.
    ambient_c : air around the wire, °C.
    emissivity : of the surface, dimensionless, 0 to 1; enamel and plastics are near 0.8.
    limit_k : upper end of the search, K; a wire that would run hotter gets ``inf``.

    Returns
    -------
    rise, K, shape (n,), to 1e-5 of ``limit_k``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Heat balance per metre with Churchill & Chu 1975 and Stefan-Boltzmann, bisection. [churchill-chu1975]

    >>> float(wire_rise_k(np.array([20.0]), np.array([9.76e-3]), np.array([1.5e-3]), 25.0)[0].round(0))
    39.0
    """
    require("current", current_a, "A", at_least=0.0)
    require("resistance per metre", ohm_per_m_20, "Ω/m", above=0.0)
    require("emissivity", emissivity, "", at_least=0.0, at_most=1.0)
    low = np.full(np.shape(diameter_m), 1e-3)
    high = np.full(np.shape(diameter_m), limit_k)

    def too_cool(rise: Array) -> NDArray[np.bool_]:
        loss = current_a**2 * _hot_ohm_per_m(ohm_per_m_20, ambient_c + rise)
        warmer: NDArray[np.bool_] = loss > _wire_heat_w_per_m(diameter_m, rise, ambient_c, emissivity)
        return warmer

    runaway = too_cool(high)
    for _ in range(18):
        middle = 0.5 * (low + high)
        warm = too_cool(middle)
        low = np.where(warm, middle, low)
        high = np.where(warm, high, middle)
    return np.where(runaway, np.inf, 0.5 * (low + high))
