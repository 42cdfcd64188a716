"""The music as instants side by side: what the load asks at each, and the means over each waveform.

Several waveforms are solved as one array, corners by instants: the time goes with the number of operations,
hardly with the number of instants.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain_model import LoadPoint
from subwright.build.waveform import Waveform

__all__ = ["Instants"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Instants:
    """What the load asks at every instant of one or more waveforms; arrays are corners by instants.

    ``begin`` and ``crest`` hold, per waveform, the column of its first instant and of its crest; ``weight``
    is instants by waveforms.
    """

    emf: Array  # (corners, 1)
    v_out: Array
    i_out: Array
    delivered: Array  # power into the load, reactive power apart, W
    swap: Array  # reactive power that the reservoir takes on itself, W
    begin: NDArray[np.intp]
    crest: NDArray[np.intp]
    weight: Array

    @classmethod
    def of(
        cls, emf_v: Array, peak_v: Array, waves: Sequence[Waveform], load: LoadPoint, *, recirculates: bool
    ) -> Instants:
        """Lay the waveforms side by side.

        Parameters
        ----------
        emf_v : battery voltages, V, shape (corners,). peak_v : peak output of each waveform, V, shape
            (corners,) or (corners, waveforms). waves : the waveforms. load : its admittance.
        recirculates : whether the stage returns reactive power to its supply.
        """
        size = np.array([wave.weight.size for wave in waves])
        begin = np.cumsum(size) - size
        in_phase = np.concatenate([wave.in_phase for wave in waves])
        quadrature = np.concatenate([wave.quadrature for wave in waves])
        weight = np.zeros((in_phase.size, len(waves)))
        for column, (first, wave) in enumerate(zip(begin, waves, strict=True)):
            weight[first : first + wave.weight.size, column] = wave.weight
        peak = np.asarray(peak_v, dtype=np.float64)
        peak = np.repeat(peak, size, axis=1) if peak.ndim == 2 else peak[:, None]
        v_out = peak * in_phase
        i_out = peak * (load.conductance_s * in_phase + load.susceptance_s * quadrature)
        delivered = v_out**2 * load.conductance_s if recirculates else v_out * i_out
        return cls(
            emf=np.asarray(emf_v, dtype=np.float64)[:, None],
            v_out=v_out,
            i_out=i_out,
            delivered=delivered,
            swap=delivered - v_out * i_out,
            begin=begin,
            crest=begin + np.array([wave.crest for wave in waves]),
            weight=weight,
        )

    def full(self, values: Array | float) -> Array:
        """``values`` at every corner and instant."""
        return np.broadcast_to(values, self.v_out.shape).copy()

    def mean(self, values: Array) -> Array:
        """Mean over each waveform: (..., corners, instants) to (..., corners, waveforms)."""
        return np.asarray(values @ self.weight)

    def means(self, values: dict[str, Array]) -> dict[str, Array]:
        """Mean of each entry, shapes as for ``mean``; entries are whole arrays."""
        return dict(zip(values, self.mean(np.array(list(values.values()))), strict=True))

    def highest(self, values: Array) -> Array:
        """Largest of each waveform, shape (corners, waveforms)."""
        return np.asarray(np.maximum.reduceat(values, self.begin, axis=1))

    def lowest(self, values: Array) -> Array:
        """Smallest of each waveform, shape (corners, waveforms)."""
        return np.asarray(np.minimum.reduceat(values, self.begin, axis=1))

    def at_crest(self, values: Array) -> Array:
        """Value at the crest of each waveform, shape (corners, waveforms)."""
        return values[:, self.crest]
