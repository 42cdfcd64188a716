"""The coupled electrical chain: battery, cable, converter, amplifier and load solved together.

The amplifier follows the music, so its demand on the rails is solved instant by instant (quasi-static:
the bass is slow against the switching frequency) and averaged over the waveform. ``chain_peak_charged``,
``chain_regulated``, ``chain_boost`` and ``chain_bridge`` hold the loops of the four kinds of chain.

Assumptions, all on the safe side for currents:

* reservoir and input capacitors smooth the switching frequency but not the bass;
* in the half cycle in which a rail works it carries the whole music demand, the other rail only its
  idle share; charge that a half-bridge pumps into an idling rail comes back from its capacitor;
* a reactive load exchanges its reactive power with the reservoir capacitors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain_boost import BoostModel, BoostState, clip_boost, solve_boost
from subwright.build.chain_bridge import clip_bridge, solve_bridge
from subwright.build.chain_instants import Instants
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, PowerStage, Source
from subwright.build.chain_peak_charged import RailState, clip_peak_charged, solve_peak_charged
from subwright.build.chain_regulated import RegulatedState, clip_regulated, solve_regulated
from subwright.build.waveform import Waveform

__all__ = ["ChainState", "SolvedChain", "find_clipping", "solve_chain", "solve_waveforms"]

Array = NDArray[np.float64]
ChainState = RailState | RegulatedState | BoostState


@dataclass(frozen=True, kw_only=True, slots=True)
class SolvedChain:
    """A point for each waveform, and where a like chain may begin: at every instant, and at each crest.

    The states are None for a bridge, which settles in no time from anywhere.
    """

    points: tuple[ChainPoint, ...]
    state: ChainState | None
    crests: tuple[ChainState, ...]


def solve_waveforms(
    emf_v: Array,
    peak_v: Array,
    waves: Sequence[Waveform],
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    converter: ConverterModel | BoostModel | None,
    start: ChainState | None = None,
) -> SolvedChain:
    """Solve the chain for several waveforms together.

    Parameters
    ----------
    emf_v : battery voltages behind the source resistance, V, shape (corners,).
    peak_v : peak output voltages, V, shape (corners,), or (corners, waveforms).
    waves : instants and weights of the signals.
    load : the load's admittance.
    source, stage, converter : the parts of the chain; ``converter`` None for a battery bridge.
    start : ``state`` of an earlier solution with the same corners and waveforms, to begin from; it saves
        rounds and doesn't change the result.

    Returns
    -------
    SolvedChain, its points with arrays of shape (corners,).

    Raises
    ------
    NoSolutionError : the source can't deliver the demand (the rail collapses).
    ConvergenceError : the loop did not settle to 1e-10.

    Source
    ------
    Kirchhoff's laws and the averaged pulse of ``physics.push_pull``. [derived]
    """
    at = Instants.of(emf_v, peak_v, waves, load, recirculates=stage.recirculates)
    state: ChainState | None = None
    if converter is None:
        point = solve_bridge(at, source, stage)
    elif isinstance(converter, BoostModel):
        from_boost = start if isinstance(start, BoostState) else None
        point, state = solve_boost(at, source, stage, converter, from_boost)
    elif converter.set_v is not None:
        begin = start if isinstance(start, RegulatedState) else None
        point, state = solve_regulated(at, source, stage, converter, begin)
    else:
        from_rails = start if isinstance(start, RailState) else None
        point, state = solve_peak_charged(at, source, stage, converter, from_rails)
    return SolvedChain(
        points=tuple(point.waveform(index) for index in range(len(waves))),
        state=state,
        crests=() if state is None else tuple(state.column(int(index)) for index in at.crest),
    )


def solve_chain(
    emf_v: Array,
    peak_v: Array,
    waveform: Waveform,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    converter: ConverterModel | BoostModel | None,
) -> ChainPoint:
    """Solve the chain for one waveform at given peak output voltages; see ``solve_waveforms``."""
    return solve_waveforms(emf_v, peak_v, (waveform,), load, source, stage, converter).points[0]


def find_clipping(
    emf_v: Array,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    converter: ConverterModel | BoostModel | None,
    start: ChainState | None = None,
) -> Array:
    """Peak output voltage at the onset of clipping, with battery and rails sagging under that crest.

    Parameters
    ----------
    emf_v : battery voltages, V, shape (corners,).
    load, source, stage, converter : as in ``solve_waveforms``.
    start : the crest of an earlier solution with the same corners, to begin from.

    Returns
    -------
    peak voltages, V, shape (corners,).

    Raises
    ------
    NoSolutionError : the source can't deliver the demand (the rail collapses).
    ConvergenceError : no settled solution.

    Source
    ------
    Fixed point of "the crest just reaches the clipping limit of the sagged rail". The demand then grows
    with the square of the rail, so the rail obeys a divider ``V = open / (1 + drop I/V)``, which settles on
    either side of the maximum-power point. [derived]
    """
    emf = np.asarray(emf_v, dtype=np.float64)
    if converter is None:
        return clip_bridge(emf, load, source, stage)
    if isinstance(converter, BoostModel):
        return clip_boost(
            emf, load, source, stage, converter, start if isinstance(start, BoostState) else None
        )
    if converter.set_v is not None:
        begin = start if isinstance(start, RegulatedState) else None
        return clip_regulated(emf, load, source, stage, converter, begin)
    from_rails = start if isinstance(start, RailState) else None
    return clip_peak_charged(emf, load, source, stage, converter, from_rails)
