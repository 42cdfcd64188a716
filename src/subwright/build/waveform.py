"""Signals as weighted instants: a sine, and programme of a given crest factor."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError

__all__ = ["Waveform", "programme", "silence", "sine"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Waveform:
    """Instants of a signal of unit peak: in-phase value, quadrature value and weight (weights sum to 1).

    ``crest`` is the index of an instant of weight zero at the very peak.
    """

    in_phase: Array
    quadrature: Array
    weight: Array
    crest: int

    @property
    def mean_square(self) -> float:
        """Mean square of the in-phase signal, dimensionless."""
        return float(self.weight @ self.in_phase**2)


def _fixed(values: Array) -> Array:
    """The same array, made safe to share between all who ask for the waveform."""
    values.flags.writeable = False
    return values


def _gauss(low: float, high: float, count: int) -> tuple[Array, Array]:
    nodes, weights = np.polynomial.legendre.leggauss(count)
    half = 0.5 * (high - low)
    return half * nodes + 0.5 * (high + low), half * weights


@lru_cache(maxsize=8)
def sine(count: int = 24) -> Waveform:
    """Half a sine cycle by Gauss-Legendre quadrature with ``count`` instants and its crest.

    >>> round(sine().mean_square, 9)
    0.5
    """
    angle, weight = _gauss(0.0, np.pi, count)
    angle = np.append(angle, 0.5 * np.pi)
    weight = np.append(weight / np.pi, 0.0)
    return Waveform(
        in_phase=_fixed(np.sin(angle)), quadrature=_fixed(np.cos(angle)), weight=_fixed(weight), crest=count
    )


def silence() -> Waveform:
    """No signal: one instant.

    >>> silence().mean_square
    0.0
    """
    return Waveform(in_phase=np.zeros(1), quadrature=np.zeros(1), weight=np.ones(1), crest=0)


@lru_cache(maxsize=32)
def programme(crest_factor_db: float, count: int = 24) -> Waveform:
    """Programme: a normal distribution cut at its peak so that peak over rms is the crest factor.

    Parameters
    ----------
    crest_factor_db : peak over rms, dB, 5 to 20.
    count : number of quadrature instants.

    Returns
    -------
    Waveform of unit peak.

    Raises
    ------
    NoSolutionError : the crest factor is outside 5 to 20 dB.

    Source
    ------
    Clipped noise as programme after IEC 60268-5; the distribution is a model. [iec-60268-5]

    >>> round(float(-10 * np.log10(programme(9.0).mean_square)), 6)
    9.0
    """
    if not 5.0 <= crest_factor_db <= 20.0:
        raise NoSolutionError(
            message="The programme model needs a crest factor between 5 and 20 dB.",
            quantity="crest factor",
            value=f"{crest_factor_db:g} dB",
            limit="5 to 20 dB",
            source="a cut normal distribution falls to 4.8 dB at the least",
            remedy="Use 6 dB for heavily limited bass, 9 dB for pop, 12 dB and up for film and voice.",
        )
    target = 10.0 ** (-crest_factor_db / 10.0)
    level, weight = _gauss(0.0, 1.0, count)
    square = level**2

    def mean_square(sharpness: float) -> tuple[float, Array]:
        density = weight * np.exp(-sharpness * square)
        density /= density.sum()
        return float(density @ square), density

    low, high = 0.0, 60.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        value, density = mean_square(middle)
        if value > target:
            low = middle
        else:
            high = middle
    level = np.append(level, 1.0)
    return Waveform(
        in_phase=_fixed(level),
        quadrature=_fixed(np.zeros_like(level)),
        weight=_fixed(np.append(density, 0.0)),
        crest=count,
    )
