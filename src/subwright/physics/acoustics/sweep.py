"""Reading a driver's resonance and Q from a measured impedance sweep by the three-point method."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import ComplexArray, FloatArray
from subwright.physics.acoustics.impedance import ImpedanceQ, q_from_impedance

__all__ = ["ImpedanceSweep", "ThreePoint", "moving_mass_kg", "three_point"]

_LEAST_POINTS = 12


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ImpedanceSweep:
    """Measured impedance over ascending frequencies; ``phase_rad`` is None for magnitude alone."""

    frequency_hz: FloatArray
    magnitude_ohm: FloatArray
    phase_rad: FloatArray | None = None

    def __post_init__(self) -> None:
        f, z, p = self.frequency_hz, self.magnitude_ohm, self.phase_rad
        if f.size < _LEAST_POINTS:
            raise RangeError(
                message="The sweep has too few points to find a resonance in.",
                quantity="points of the sweep",
                value=str(f.size),
                limit=f"at least {_LEAST_POINTS}",
                remedy="Measure at twelve frequencies or more, most of them around the peak.",
            )
        shapes = {f.shape, z.shape} | ({p.shape} if p is not None else set())
        numbers = [f, z] if p is None else [f, z, p]
        if len(shapes) != 1 or not all(np.all(np.isfinite(values)) for values in numbers):
            raise RangeError(
                message="The sweep's columns must be finite and of one length.",
                quantity="impedance sweep",
                value=f"{f.size} frequencies, {z.size} magnitudes",
                remedy="Export the sweep again.",
            )
        if not (np.all(np.diff(f) > 0.0) and f[0] > 0.0 and np.all(z > 0.0)):
            raise RangeError(
                message="Frequencies must ascend from above zero, and every magnitude be positive.",
                quantity="impedance sweep",
                value=f"{f[0]:.4g} Hz … {f[-1]:.4g} Hz, least magnitude {z.min():.4g} Ω",
                limit="above 0",
                remedy="Sort the rows by frequency and check the order of the columns.",
            )

    @property
    def impedance_ohm(self) -> ComplexArray | None:
        """Complex impedance in Ω, None without phase."""
        if self.phase_rad is None:
            return None
        return np.asarray(self.magnitude_ohm * np.exp(1j * self.phase_rad), dtype=np.complex128)

    def within(self, low_hz: float, high_hz: float) -> ImpedanceSweep:
        """The part of the sweep between two frequencies in Hz."""
        keep = (self.frequency_hz >= low_hz) & (self.frequency_hz <= high_hz)
        phase = None if self.phase_rad is None else self.phase_rad[keep]
        return ImpedanceSweep(
            frequency_hz=self.frequency_hz[keep], magnitude_ohm=self.magnitude_ohm[keep], phase_rad=phase
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ThreePoint:
    """What three points of a resonance peak say: the peak and the two frequencies at |Z| = √(Re·Zmax)."""

    peak_hz: float
    z_max_ohm: float
    f1_hz: float
    f2_hz: float
    re_ohm: float
    q: ImpedanceQ


def three_point(sweep: ImpedanceSweep, re_ohm: float) -> ThreePoint:
    """Resonance and Q from the peak of a sweep and its two sides.

    The peak is the greatest magnitude below which the curve falls on both sides, set between the points by a
    parabola over log frequency; the sides are read by interpolation over log frequency.

    Parameters
    ----------
    sweep : free-air, added-mass or test-box run.
    re_ohm : DC resistance, Ω.

    Raises
    ------
    RangeError : no peak inside the sweep, or one without both sides.

    Source
    ------
    [small-1972-direct], section on measurement.
    """
    f, z = sweep.frequency_hz, sweep.magnitude_ohm
    inside = np.arange(1, f.size - 1)
    tops = inside[(z[inside] >= z[inside - 1]) & (z[inside] >= z[inside + 1])]
    if tops.size == 0 or z[tops].max() <= 1.2 * re_ohm:
        raise RangeError(
            message="The sweep shows no resonance peak.",
            quantity="greatest impedance inside the sweep",
            value=f"{z[inside].max():.4g} Ω, {f[0]:.4g} Hz … {f[-1]:.4g} Hz",
            limit=f"a peak well above Re = {re_ohm:.4g} Ω with the curve falling on both sides",
            source="small-1972-direct",
            remedy="Sweep from a third of the resonance to at least three times it; check the wiring.",
        )
    top = int(tops[np.argmax(z[tops])])
    peak_hz, z_max = _parabola(np.log(f[top - 1 : top + 2]), z[top - 1 : top + 2])
    side = math.sqrt(re_ohm * z_max)
    below = np.flatnonzero(z[:top] <= side)
    above = np.flatnonzero(z[top:] <= side)
    if below.size == 0 or above.size == 0:
        where = "below" if below.size == 0 else "above"
        raise RangeError(
            message=f"The sweep doesn't reach far enough {where} the resonance.",
            quantity="impedance at the sweep's end",
            value=f"{z[0]:.4g} Ω at {f[0]:.4g} Hz, {z[-1]:.4g} Ω at {f[-1]:.4g} Hz",
            limit=f"√(Re·Zmax) = {side:.4g} Ω on both sides of {peak_hz:.4g} Hz",
            source="small-1972-direct",
            remedy=f"Sweep from {peak_hz / 3:.3g} Hz or lower to {peak_hz * 3:.3g} Hz or higher.",
        )
    i, j = int(below[-1]), top + int(above[0])
    f1 = _crossing(f[i], f[i + 1], z[i], z[i + 1], side)
    f2 = _crossing(f[j - 1], f[j], z[j - 1], z[j], side)
    return ThreePoint(
        peak_hz=peak_hz,
        z_max_ohm=z_max,
        f1_hz=f1,
        f2_hz=f2,
        re_ohm=re_ohm,
        q=q_from_impedance(re_ohm, z_max, f1, f2),
    )


def _parabola(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Frequency and height of the parabola through three points over log frequency."""
    left, right = x[0] - x[1], x[2] - x[1]
    slope_l, slope_r = (y[0] - y[1]) / left, (y[2] - y[1]) / right
    curve = (slope_r - slope_l) / (right - left)
    if curve >= 0.0:
        return math.exp(x[1]), float(y[1])
    slope = slope_l - curve * left
    at = -slope / (2.0 * curve)
    return math.exp(x[1] + at), float(y[1] + slope * at + curve * at * at)


def _crossing(fa: float, fb: float, za: float, zb: float, wanted: float) -> float:
    share = 0.0 if za == zb else (wanted - za) / (zb - za)
    return float(fa * (fb / fa) ** share)


def moving_mass_kg(added_kg: float, fs_hz: float, loaded_hz: float) -> float:
    """Moving mass in kg from the drop of resonance under a known mass, m/[(fs/f′)² − 1].

    Parameters
    ----------
    added_kg : mass stuck to the cone, kg.
    fs_hz, loaded_hz : resonance without and with it, Hz.

    Raises
    ------
    RangeError : the mass didn't lower the resonance.

    Source
    ------
    [small-1972-direct]; 100 g from 30 Hz to 24 Hz: 178 g.

    >>> round(1e3 * moving_mass_kg(0.1, 30.0, 24.0))
    178
    """
    excess = (fs_hz / loaded_hz) ** 2 - 1.0
    if excess <= 0.0:
        raise RangeError(
            message="The added mass did not lower the resonance.",
            quantity="resonance with added mass",
            value=f"{loaded_hz:.4g} Hz",
            limit=f"below {fs_hz:.4g} Hz",
            source="small-1972-direct",
            remedy="Check which run was taken with the mass, and that it was stuck fast to the cone.",
        )
    return added_kg / excess
