"""Resistance of windings: copper over temperature, skin effect, Dowell's layers, strands in a field.

Two effects add up without disturbing each other, the skin effect of a conductor's own current and the
proximity effect of the field in which it lies. For a single round wire both have an exact solution; Dowell's
is that of layers packed side by side, a round wire of diameter d taken as the square one of equal section,
side √π/2 d.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import Floats, require_that
from subwright.physics.dowell import dowell_factor, dowell_thickness, porosity
from subwright.physics.magnetics import MU_0

__all__ = [
    "CIRCULAR_MIL_M2",
    "COPPER_DENSITY_KG_PER_M3",
    "COPPER_RESISTIVITY_20",
    "COPPER_TEMPERATURE_COEFFICIENT",
    "copper_resistivity",
    "dowell_factor",
    "dowell_thickness",
    "largest_strand",
    "porosity",
    "proximity_loss_per_metre",
    "push_pull_harmonics",
    "round_wire_factors",
    "round_wire_proximity",
    "skin_depth",
    "skin_factor",
    "strand_factor",
    "wire_resistance",
]

COPPER_RESISTIVITY_20 = 1.7241e-8  # Ω·m, annealed copper at 100 % conductivity, 58.0 MS/m (IEC 60028)
COPPER_TEMPERATURE_COEFFICIENT = 0.00393  # 1/K at 20 °C (IEC 60028)
COPPER_DENSITY_KG_PER_M3 = 8890.0  # IEC 60028
CIRCULAR_MIL_M2 = 5.067e-10  # area of a circle of 0.001 inch diameter


def copper_resistivity(temperature_c: Floats) -> Floats:
    """Resistivity of annealed copper.

    Parameters
    ----------
    temperature_c : temperature, °C, -60 to 250.

    Returns
    -------
    resistivity, Ω·m.

    Raises
    ------
    RangeError : outside the range in which the coefficient is constant.

    Source
    ------
    IEC 60028: 1/58 Ω·mm²/m at 20 °C, 0.00393 per kelvin. [iec-60028]

    >>> round(float(copper_resistivity(100.0)) * 1e8, 3)
    2.266
    """
    t = np.asarray(temperature_c)
    require_that((t >= -60) & (t <= 250), "copper temperature, °C", temperature_c, "-60 to 250 °C")
    return COPPER_RESISTIVITY_20 * (1.0 + COPPER_TEMPERATURE_COEFFICIENT * (temperature_c - 20.0))


def wire_resistance(length_m: Floats, area_m2: Floats, temperature_c: Floats = 20.0) -> Floats:
    """Direct-current resistance of a copper wire.

    Parameters
    ----------
    length_m : length, m, >= 0.
    area_m2 : copper section, m², > 0.
    temperature_c : temperature, °C.

    Returns
    -------
    resistance, Ω.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    ``ρ l / A`` with IEC 60028 copper. [iec-60028]

    A 0.5 mm wire, per metre, in mΩ (IEC 60317-0-1 with its 58.5 MS/m gives 87.1):

    >>> round(float(wire_resistance(1.0, math.pi / 4 * 0.5e-3**2)) * 1e3, 1)
    87.8
    """
    require_that(np.asarray(length_m) >= 0, "length, m", length_m, ">= 0 m")
    require_that(np.asarray(area_m2) > 0, "wire section, m²", area_m2, "> 0 m²")
    return copper_resistivity(temperature_c) * length_m / area_m2


def skin_depth(frequency_hz: Floats, resistivity_ohm_m: Floats = COPPER_RESISTIVITY_20) -> Floats:
    """Depth at which a plane wave in a conductor has fallen to 1/e, ``√(ρ/(π f μ0))``.

    Parameters
    ----------
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0; copper at 20 °C when not given.

    Returns
    -------
    skin depth, m.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Plane-wave solution; as 6.62/√f cm in McLyman, AN109. [mclyman-an109]

    >>> round(float(skin_depth(100e3)) * 1e3, 3)
    0.209
    """
    require_that(np.asarray(frequency_hz) > 0, "frequency, Hz", frequency_hz, "> 0 Hz")
    require_that(np.asarray(resistivity_ohm_m) > 0, "resistivity, Ω·m", resistivity_ohm_m, "> 0 Ω·m")
    depth: Floats = np.sqrt(resistivity_ohm_m / (math.pi * MU_0 * np.asarray(frequency_hz)))
    return depth


def largest_strand(frequency_hz: Floats, resistivity_ohm_m: Floats = COPPER_RESISTIVITY_20) -> Floats:
    """Largest wire diameter whose own skin effect is still negligible, ``2 δ``.

    Parameters
    ----------
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.

    Returns
    -------
    diameter, m.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    McLyman, AN109, wire choice for R_ac = R_dc. [mclyman-an109]

    >>> round(float(largest_strand(100e3)) * 1e3, 3)
    0.418
    """
    return 2.0 * skin_depth(frequency_hz, resistivity_ohm_m)


def _bessel_ratio(wire_m: Floats, depth_m: Floats) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """``z = (1 - j) d/(2δ)`` and ``J0(z)/J1(z)``, by the continued fraction of the recurrence, backwards."""
    z = (1.0 - 1.0j) * np.asarray(wire_m / (2.0 * np.asarray(depth_m)), dtype=np.complex128)
    start = 12 + int(1.5 * float(np.max(np.abs(z), initial=0.0)))
    step = 2.0 / z
    ratio = start * step
    for n in range(start - 1, 0, -1):
        ratio = n * step - 1.0 / ratio
    return z, ratio


def skin_factor(wire_m: Floats, frequency_hz: Floats, resistivity_ohm_m: Floats) -> Floats:
    """Resistance of one round wire with its own current over its direct-current resistance.

    Parameters
    ----------
    wire_m : bare wire diameter, m, > 0; 0.01 to 1000 skin depths.
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.

    Returns
    -------
    ``Re[z J0(z) / (2 J1(z))]`` with z = (1 - j) d/(2δ), dimensionless, >= 1.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Round conductor in cylindrical waves; Snelling, Soft Ferrites, 2nd ed. 1988, ch. 11 (from memory).
    [snelling1988]

    >>> round(float(skin_factor(0.4e-3, 100e3, 1.7241e-8)), 3)
    1.017
    """
    return round_wire_factors(wire_m, frequency_hz, resistivity_ohm_m)[0]


def proximity_loss_per_metre(
    wire_m: Floats, frequency_hz: Floats, resistivity_ohm_m: Floats, field_a_per_m: Floats
) -> Floats:
    """Eddy loss of one round wire across a sinusoidal field, per metre of wire.

    Parameters
    ----------
    wire_m : bare wire diameter, m, > 0; 0.01 to 1000 skin depths.
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.
    field_a_per_m : peak field strength across the wire, A/m.

    Returns
    -------
    ``2π ρ H² |Re[z J1(z) / J0(z)]|`` with z = (1 - j) d/(2δ), W/m; at low frequency
    ``π μ0² ω² d⁴ H² / (128 ρ)``.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Round conductor in a uniform transverse field: J. A. Ferreira, IEEE Trans. Power Electronics 9(1), 1994
    (from memory). [ferreira1994]

    >>> round(float(proximity_loss_per_metre(0.5e-3, 50e3, 2.3e-8, 5e3)), 3)
    0.252
    """
    loss: Floats = round_wire_factors(wire_m, frequency_hz, resistivity_ohm_m)[1] * np.square(field_a_per_m)
    return loss


def round_wire_factors(
    wire_m: Floats, frequency_hz: Floats, resistivity_ohm_m: Floats
) -> tuple[Floats, Floats]:
    """Skin factor and eddy loss of one round wire at once, for searches.

    Parameters
    ----------
    wire_m : bare wire diameter, m, > 0; 0.01 to 1000 skin depths.
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.

    Returns
    -------
    (``skin_factor``, dimensionless; ``proximity_loss_per_metre`` in a field of 1 A/m peak, W/m).

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    As for the two functions. [snelling1988] [ferreira1994]

    >>> [f"{float(x):.4g}" for x in round_wire_factors(0.5e-3, 50e3, 2.3e-8)]
    ['1.006', '1.006e-08']
    """
    depth = skin_depth(frequency_hz, resistivity_ohm_m)
    thickness = np.asarray(wire_m) / depth
    require_that(
        (thickness >= 0.01) & (thickness <= 1000.0),
        "wire diameter over skin depth",
        thickness,
        "0.01 to 1000",
        "Use a wire that suits the frequency.",
    )
    z, ratio = _bessel_ratio(wire_m, depth)
    eddy = 2.0 * math.pi * resistivity_ohm_m * np.abs(np.real(z / ratio))
    return np.real(z * ratio / 2.0), eddy


def round_wire_proximity(
    wire_m: Floats, frequency_hz: Floats, resistivity_ohm_m: Floats, field_a_per_m: Floats
) -> Floats:
    """Eddy loss of one thin round wire across a sinusoidal field, low-frequency form.

    Parameters
    ----------
    wire_m : bare wire diameter, m, > 0; at most 1.6 skin depths.
    frequency_hz : frequency, Hz, > 0.
    resistivity_ohm_m : resistivity, Ω·m, > 0.
    field_a_per_m : peak field strength across the wire, A/m.

    Returns
    -------
    loss, W/m: ``π μ0² ω² d⁴ H² / (128 ρ)``.

    Raises
    ------
    RangeError : a quantity out of range, or the wire is too thick for the low-frequency form.

    Source
    ------
    E. C. Snelling, Soft Ferrites, 2nd ed. 1988, ch. 11 (from memory); the basis of Sullivan 1999.
    [snelling1988] [sullivan1999]

    >>> round(float(round_wire_proximity(0.3e-3, 50e3, 2.3e-8, 5e3)), 4)
    0.0337
    """
    depth = skin_depth(frequency_hz, resistivity_ohm_m)
    require_that(np.asarray(wire_m) > 0, "wire diameter, m", wire_m, "> 0 m")
    require_that(
        np.asarray(wire_m) <= 1.6 * np.asarray(depth),
        "wire diameter, m",
        wire_m,
        "1.6 skin depths",
        "Use proximity_loss_per_metre, which holds at any thickness.",
    )
    omega = 2.0 * math.pi * frequency_hz
    loss: Floats = (
        math.pi * MU_0**2 * omega**2 * wire_m**4 * np.square(field_a_per_m) / (128.0 * resistivity_ohm_m)
    )
    return loss


def strand_factor(
    strands: Floats,
    turns: Floats,
    strand_m: Floats,
    breadth_m: Floats,
    frequency_hz: Floats,
    resistivity_ohm_m: Floats,
) -> Floats:
    """Resistance of a winding of twisted thin strands over its direct-current resistance.

    Parameters
    ----------
    strands : strands n in parallel per turn, >= 1.
    turns : turns N between zero and full magnetomotive force, > 0.
    strand_m : bare strand diameter, m, > 0; at most 1.6 skin depths.
    breadth_m : breadth of the winding along the field, m, > 0.
    frequency_hz : frequency, Hz, > 0 (or the effective frequency of a waveform).
    resistivity_ohm_m : resistivity, Ω·m, > 0.

    Returns
    -------
    ``1 + π² ω² μ0² N² n² d⁶ / (768 ρ² b²)``, dimensionless.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    C. R. Sullivan, Optimal choice for number of strands in a litz-wire transformer winding, IEEE Trans.
    Power Electronics 14(2), 1999, eq. 2 with k = 1 (from memory). [sullivan1999]

    >>> round(float(strand_factor(20, 10, 0.2e-3, 25e-3, 50e3, 2.3e-8)), 3)
    1.016
    """
    for name, value in (("strands", strands), ("turns", turns), ("breadth, m", breadth_m)):
        require_that(np.asarray(value) > 0, name, value, "> 0")
    one_metre = round_wire_proximity(strand_m, frequency_hz, resistivity_ohm_m, turns / breadth_m)
    # 1 A peak through n strands loses ρ·2/(π d² n) per metre of turn; the field's mean square is a third
    direct = 2.0 * resistivity_ohm_m / (math.pi * np.square(strand_m) * strands)
    factor: Floats = 1.0 + strands * one_metre / 3.0 / direct
    return factor


def push_pull_harmonics(share: float, edge_share: float, count: int = 60) -> NDArray[np.float64]:
    """Peak values of the odd harmonics of an alternating pulse train of unit height.

    Parameters
    ----------
    share : share d of the period in which the current flows, half of it each way, 0 < d <= 1.
    edge_share : duration of one edge over the period, 0 <= e < d/2.
    count : number of odd harmonics, >= 1.

    Returns
    -------
    amplitudes of orders 1, 3, 5 …, dimensionless, shape (count,); signed.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Fourier series of the trapezoidal pulse. [derived]

    The squares sum to twice the mean square:

    >>> round(float(np.sum(push_pull_harmonics(0.8, 0.01, 4000) ** 2)) / 2, 3)
    0.793
    """
    require_that((share > 0) & (share <= 1), "conduction share", share, "0 < d <= 1")
    require_that((edge_share >= 0) & (edge_share < share / 2), "edge share", edge_share, "below half of d")
    require_that(count >= 1, "number of harmonics", count, ">= 1")
    order = 2.0 * np.arange(count) + 1.0
    series: NDArray[np.float64] = (
        4.0 / (math.pi * order) * np.sin(math.pi * order * share / 2.0) * np.sinc(order * edge_share)
    )
    return series
