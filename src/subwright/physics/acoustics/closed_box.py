"""Closed forms of the closed box: a second-order high-pass with resonance fc and total Q Qtc."""

from __future__ import annotations

import math

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import ComplexArray, Real
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = [
    "box_pressure_pa",
    "compliance_ratio_for_q",
    "cutoff_ratio",
    "displacement_peak_ratio",
    "efficiency_volume_constant",
    "group_delay_at_resonance_s",
    "power_displacement_constant",
    "response",
    "response_peak",
    "response_peak_ratio",
    "system_ratio",
]


def system_ratio(alpha: Real) -> Real:
    """fc/fs = Qtc/Qts = √(1 + α) of a lossless closed box; dimensionless.

    Parameters
    ----------
    alpha : compliance ratio Vas/Vb, any shape.

    Source
    ------
    [small-1972-closed].
    """
    return np.sqrt(1.0 + np.asarray(alpha))


def compliance_ratio_for_q(qts: float, qtc: float) -> float:
    """Compliance ratio α = Vas/Vb that turns Qts into Qtc: (Qtc/Qts)² − 1; dimensionless.

    Parameters
    ----------
    qts : driver's total Q with source resistance included.
    qtc : wanted total Q, above ``qts``.

    Raises
    ------
    RangeError : when the driver's Q is already as high as the wanted one.

    Source
    ------
    [small-1972-closed]. Qts 0.42, Qtc 0.7071 gives 1.834.

    >>> round(compliance_ratio_for_q(0.42, 0.7071), 3)
    1.834
    """
    if not qtc > qts > 0.0:
        raise RangeError(
            message="A closed box raises the driver's Q; the wanted Qtc must lie above Qts.",
            quantity="Qtc",
            value=f"{qtc:.3g}",
            limit=f"above Qts = {qts:.3g}",
            source="small-1972-closed",
            remedy="Ask for a higher Qtc, or use a driver with a stronger motor.",
        )
    return (qtc / qts) ** 2 - 1.0


def response(frequency_ratio: Real, qtc: Real) -> ComplexArray:
    """Normalised second-order high-pass −x²/(1 − x² + jx/Q) with x = f/fc; dimensionless.

    Source
    ------
    [small-1972-closed].
    """
    s = 1j * np.asarray(frequency_ratio, dtype=np.float64)
    return np.asarray(s**2 / (s**2 + s / qtc + 1.0), dtype=np.complex128)


def cutoff_ratio(qtc: Real, level_db: float = -3.0103) -> Real:
    """Frequency over fc at which the response has dropped to ``level_db``; dimensionless.

    |G|² = x⁴/(x⁴ + (1/Q² − 2)·x² + 1) solved for x.

    Parameters
    ----------
    qtc : total Q, any shape.
    level_db : below 0 dB.

    Source
    ------
    [small-1972-closed]. Qtc 0.500 / 0.7071 / 1.00 give 1.554 / 1.000 / 0.786 at −3 dB.

    >>> round(float(cutoff_ratio(0.5)), 3)
    1.554
    """
    if not level_db < 0.0:
        raise RangeError(
            message="A cut-off level must lie below the passband.",
            quantity="level",
            value=f"{level_db:.3g} dB",
            limit="below 0 dB",
            remedy="Give a negative level, for example −3.",
        )
    excess = 10.0 ** (-level_db / 10.0) - 1.0  # 1 at -3.01 dB
    a = 1.0 / np.asarray(qtc) ** 2 - 2.0
    return np.asarray(np.sqrt((a + np.sqrt(a * a + 4.0 * excess)) / (2.0 * excess)), dtype=np.float64)


def response_peak(qtc: float) -> float:
    """Height of the response peak over the passband, Q²/√(Q² − 1/4); 1 where there is none (Q ≤ 1/√2).

    Parameters
    ----------
    qtc : total Q.

    Returns
    -------
    Amplitude ratio, dimensionless.

    Source
    ------
    [small-1972-closed]. Q 1.0 gives 1.25 dB.
    """
    return qtc**2 / math.sqrt(qtc**2 - 0.25) if qtc > math.sqrt(0.5) else 1.0


def response_peak_ratio(qtc: float) -> float:
    """Frequency of the response peak over fc, 1/√(1 − 1/(2Q²)); infinite where there is none.

    Source
    ------
    [small-1972-closed].
    """
    return 1.0 / math.sqrt(1.0 - 0.5 / qtc**2) if qtc > math.sqrt(0.5) else math.inf


def displacement_peak_ratio(qtc: float) -> float:
    """Frequency of the displacement peak over fc, √(1 − 1/(2Q²)); 0 where displacement is greatest at 0 Hz.

    Its height over the static value is ``response_peak``.

    Source
    ------
    [small-1972-closed].
    """
    return math.sqrt(1.0 - 0.5 / qtc**2) if qtc > math.sqrt(0.5) else 0.0


def efficiency_volume_constant(qtc: Real, *, air: Air = AIR_20C) -> Real:
    """k in η0 = k·f3³·Vb for a small box (α ≫ 1) with Qes = Qts.

    Parameters
    ----------
    qtc : total Q, any shape.
    air : state of the air; ``SMALL_AIR`` reproduces the printed 2.0e-6 at the best Q.

    Returns
    -------
    The constant, unit s³/m³.

    Source
    ------
    [small-1972-closed].
    """
    constant = 4.0 * math.pi**2 / air.speed_m_per_s**3
    return constant / (np.asarray(qtc) * cutoff_ratio(qtc) ** 3)


def power_displacement_constant(qtc: float, *, air: Air = AIR_20C) -> float:
    """k in PAR = k·f3⁴·Vd², the sine power that a displacement allows.

    k = (4π³ρ/c)/(X²·(f3/fc)⁴) with X the displacement peak over static (at least 1).

    Parameters
    ----------
    qtc : total Q.
    air : state of the air.

    Returns
    -------
    The constant, unit W·s⁴/m⁶.

    Source
    ------
    [small-1972-closed]. 0.424 at Qtc 0.7071, 0.85 at 1.1.
    """
    constant = 4.0 * math.pi**3 * air.density_kg_per_m3 / air.speed_m_per_s
    return float(constant / (response_peak(qtc) ** 2 * cutoff_ratio(qtc) ** 4))


def group_delay_at_resonance_s(fc_hz: float, qtc: float) -> float:
    """Group delay at fc, 2·Q/ωc, in s.

    Source
    ------
    [derived] from the second-order high-pass. 40 Hz, Q 0.7071: 5.63 ms.
    """
    return 2.0 * qtc / (2.0 * math.pi * fc_hz)


def box_pressure_pa(volume_peak_m3: Real, volume_m3: float, *, gain: float = 1.0, air: Air = AIR_20C) -> Real:
    """Peak sound pressure inside a closed box, ρ·c²·Vd/(g·Vb), in Pa.

    Parameters
    ----------
    volume_peak_m3 : peak displaced volume, m³, any shape; small against the box.
    volume_m3 : net volume, m³.
    gain : acoustic enlargement by fill, dimensionless.
    air : state of the air.

    Source
    ------
    [beranek-mellow-2012], ch. 4 (adiabatic gas law). 480 cm³ in 56.6 L: 1203 Pa.
    """
    return air.stiffness_pa * np.asarray(volume_peak_m3) / (gain * volume_m3)
