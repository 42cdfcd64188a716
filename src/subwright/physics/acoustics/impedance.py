"""Voice-coil impedance models and parameters from measured impedance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import ComplexArray, Real

__all__ = [
    "ImpedanceQ",
    "lossy_inductance_ohm",
    "q_from_impedance",
    "vas_from_known_volume_m3",
    "vas_from_known_volume_simple_m3",
    "wright_inductance_ohm",
]


def lossy_inductance_ohm(frequency_hz: Real, k: float, n: float) -> ComplexArray:
    """Blocked impedance in Ω of a coil with eddy losses, Z = K·(jω)ⁿ, without its wire resistance.

    Parameters
    ----------
    frequency_hz : any shape, Hz, > 0.
    k : K in Ω·sⁿ; for n = 1 it is the inductance in H.
    n : exponent, 0 … 1: 1 lossless inductor, 0.5 semi-inductor, 0 resistor.

    Raises
    ------
    RangeError : n outside 0 … 1 or K negative.

    Source
    ------
    [leach-2002], the power-law model; limits of n after [vanderkooy-1989]. K = 0.0235, n = 0.688 at 1 kHz:
    9.64 Ω at 61.9°.

    >>> z = complex(lossy_inductance_ohm(1000.0, 0.0235, 0.688))
    >>> round(abs(z), 2), round(z.real, 2), round(z.imag, 2)
    (9.64, 4.54, 8.51)
    """
    if not 0.0 <= n <= 1.0 or k < 0.0:
        raise RangeError(
            message="The voice-coil model K·(jω)ⁿ is outside its range.",
            quantity="K, n",
            value=f"{k:.4g}, {n:.4g}",
            limit="K ≥ 0 and 0 ≤ n ≤ 1",
            source="leach-2002",
            remedy="Fit K and n to a measured impedance, or give the inductance with n = 1.",
        )
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    turn = complex(math.cos(0.5 * math.pi * n), math.sin(0.5 * math.pi * n))
    return np.asarray(k * omega**n * turn, dtype=np.complex128)


def wright_inductance_ohm(frequency_hz: Real, k_r: float, e_r: float, k_x: float, e_x: float) -> ComplexArray:
    """Blocked impedance in Ω by four constants, Z = Kr·ω^Er + j·Kx·ω^Ex, without the wire resistance.

    Parameters
    ----------
    frequency_hz : any shape, Hz, > 0.
    k_r, k_x : real and imaginary factors, Ω·s^E.
    e_r, e_x : exponents, dimensionless.

    Source
    ------
    [wright-1990].
    """
    omega = 2.0 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    return np.asarray(k_r * omega**e_r + 1j * k_x * omega**e_x, dtype=np.complex128)


@dataclass(frozen=True, kw_only=True, slots=True)
class ImpedanceQ:
    """Resonance and Q read from an impedance curve."""

    fs_hz: float
    qms: float
    qes: float
    qts: float
    side_impedance_ohm: float  # |Z| at which the two side frequencies are read


def q_from_impedance(re_ohm: float, z_max_ohm: float, f1_hz: float, f2_hz: float) -> ImpedanceQ:
    """Resonance and Q from the impedance peak and its two side frequencies.

    r0 = Zmax/Re; the sides are where |Z| = Re·√r0; fs = √(f1·f2); Qms = fs·√r0/(f2 − f1); Qes = Qms/(r0 − 1).

    Parameters
    ----------
    re_ohm : DC resistance, Ω.
    z_max_ohm : impedance at resonance, Ω; must exceed ``re_ohm``.
    f1_hz, f2_hz : side frequencies, Hz, f1 < f2.

    Raises
    ------
    RangeError : when the peak is not above Re, or the side frequencies are not ordered.

    Source
    ------
    [small-1972-direct], section on measurement. Re 6.00 Ω, Zmax 66.0 Ω, 21.657 Hz, 41.557 Hz: fs 30.00 Hz,
    Qms 5.00, Qes 0.500, Qts 0.4545.
    """
    if not z_max_ohm > re_ohm > 0.0:
        raise RangeError(
            message="The impedance peak must lie above the DC resistance.",
            quantity="impedance at resonance",
            value=f"{z_max_ohm:.4g} Ω",
            limit=f"above Re = {re_ohm:.4g} Ω",
            source="small-1972-direct",
            remedy="Check the reading at resonance and measure Re again with the leads shorted out.",
        )
    if not 0.0 < f1_hz < f2_hz:
        raise RangeError(
            message="The side frequencies must lie below and above resonance.",
            quantity="side frequencies",
            value=f"{f1_hz:.4g} Hz and {f2_hz:.4g} Hz",
            limit="0 < f1 < f2",
            source="small-1972-direct",
            remedy="Read both frequencies at which |Z| = √(Re·Zmax).",
        )
    ratio = z_max_ohm / re_ohm
    fs_hz = math.sqrt(f1_hz * f2_hz)
    qms = fs_hz * math.sqrt(ratio) / (f2_hz - f1_hz)
    return ImpedanceQ(
        fs_hz=fs_hz,
        qms=qms,
        qes=qms / (ratio - 1.0),
        qts=qms / ratio,
        side_impedance_ohm=re_ohm * math.sqrt(ratio),
    )


def vas_from_known_volume_m3(
    volume_m3: float, fs_hz: float, qes: float, box_hz: float, box_qes: float
) -> float:
    """Vas in m³ from a test box: Vas = Vt·[fc·Qec/(fs·Qes) − 1].

    Parameters
    ----------
    volume_m3 : net volume of the test box including the cone's hollow, m³.
    fs_hz, qes : free-air resonance (Hz) and electrical Q.
    box_hz, box_qes : the same with the driver on the box.

    Raises
    ------
    RangeError : when the box did not raise the resonance.

    Source
    ------
    [small-1972-direct]; [leach-2002] notation. Vt 30 L, 30 Hz, 0.50, 55.2 Hz, 0.93: 72.7 L.
    """
    excess = box_hz * box_qes / (fs_hz * qes) - 1.0
    return volume_m3 * _positive_excess(excess)


def vas_from_known_volume_simple_m3(volume_m3: float, fs_hz: float, box_hz: float) -> float:
    """Vas in m³ from the shift of resonance alone: Vas = Vt·[(fc/fs)² − 1].

    Parameters
    ----------
    volume_m3 : net volume of the test box, m³.
    fs_hz, box_hz : resonance in free air and in the box, Hz.

    Raises
    ------
    RangeError : when the box did not raise the resonance.

    Source
    ------
    [small-1972-direct], moving-mass difference neglected. Vt 30 L, 30 Hz, 55.2 Hz: 71.6 L.
    """
    return volume_m3 * _positive_excess((box_hz / fs_hz) ** 2 - 1.0)


def _positive_excess(excess: float) -> float:
    if excess <= 0.0:
        raise RangeError(
            message="The test box did not raise the driver's resonance.",
            quantity="stiffness ratio",
            value=f"{excess:.4g}",
            limit="above 0",
            source="small-1972-direct",
            remedy="Seal the test box, or use a smaller one; check which reading was taken in the box.",
        )
    return excess
