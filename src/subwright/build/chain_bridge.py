"""The chain without a converter: a bridge amplifier straight from the battery."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain_common import MOST_ROUNDS, TOLERANCE, moved, not_settled, rail_under_power
from subwright.build.chain_instants import Instants
from subwright.build.chain_model import ChainPoint, LoadPoint, PowerStage, Source

__all__ = ["clip_bridge", "solve_bridge"]

Array = NDArray[np.float64]


def solve_bridge(at: Instants, source: Source, stage: PowerStage) -> ChainPoint:
    """Chain of battery and bridge; arrays of shape (corners, waveforms).

    Parameters
    ----------
    at : what the load asks. source, stage : the parts of the chain.
    """
    emf = at.full(at.emf)
    terminal = emf
    for _ in range(MOST_ROUNDS):
        power = np.maximum(stage.input_power_w(at.v_out, at.i_out, terminal) + at.swap, 0.0)
        update = rail_under_power(emf, source.total_ohm, power)
        change = moved(update, terminal)
        terminal = update
        if change < TOLERANCE:
            break
    else:
        raise not_settled(change)
    current = (stage.input_power_w(at.v_out, at.i_out, terminal) + at.swap) / terminal
    squared = current**2
    losses = {
        "battery": source.battery_ohm * squared,
        "cable": source.cable_ohm * squared,
        "fuse and contacts": source.contact_ohm * squared,
    }
    for name, watts in stage.loss_split_w(at.v_out, at.i_out, terminal).items():
        losses[f"amplifier {name}"] = at.full(watts)
    mean_current, mean_terminal = at.mean(current), at.mean(terminal)
    zero = np.zeros_like(mean_current)
    return ChainPoint(
        emf_v=np.broadcast_to(at.emf, zero.shape),
        peak_v=at.at_crest(at.v_out),
        output_w=at.mean(at.delivered),
        battery_w=at.emf * mean_current,
        battery_a=mean_current,
        battery_rms_a=np.sqrt(at.mean(squared)),
        battery_peak_a=at.highest(current),
        terminal_v=mean_terminal,
        terminal_least_v=at.lowest(terminal),
        rail_crest_v=at.at_crest(terminal),
        rail_mean_v=mean_terminal,
        rail_other_v=at.at_crest(terminal),
        rail_a=mean_current,
        rail_peak_a=at.at_crest(current),
        primary_rms_a=zero,
        primary_peak_a=zero,
        secondary_rms_a=zero,
        diode_a=zero,
        input_ripple_a=zero,
        reservoir_ripple_a=zero,
        losses_w=at.means(losses),
    )


def clip_bridge(emf: Array, load: LoadPoint, source: Source, stage: PowerStage) -> Array:
    """Peak output voltage at the onset of clipping, V, shape of ``emf``; see ``find_clipping``."""
    rail = emf
    change = np.inf
    for _ in range(4 * MOST_ROUNDS):
        peak = stage.clip_peak_v(rail, load.magnitude_ohm)
        power = stage.input_power_w(peak, peak * load.conductance_s, rail)
        new = emf / (1.0 + source.total_ohm * power / rail**2)
        change = moved(new, rail)
        rail = new
        if change < 0.1 * TOLERANCE:
            return np.asarray(stage.clip_peak_v(rail, load.magnitude_ohm))
    raise not_settled(change)
