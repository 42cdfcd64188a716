"""Hysteresis against the battery's own recovery: the need, the margin, and a burst followed in time."""

from __future__ import annotations

from typing import Final

from subwright.physics.networks.chatter import Burst, SenseNetwork, burst_trace
from subwright.physics.networks.comparators import least_hysteresis_v, residual_ripple
from subwright.stages.protection_records import Chatter, ProtectionInput, Threshold, UnderVoltageNetwork

__all__ = ["settle_chatter"]

_START_S: Final = 0.1
_BURST_S: Final = 0.8  # a held bass note; long enough for a release to come back into it
_TAIL_S: Final = 0.3
_JUST: Final = 0.98  # share of the sag that is left at the trip: the burst that only just trips
_POINTS: Final = 900


def settle_chatter(
    data: ProtectionInput,
    network: UnderVoltageNetwork,
    reference_v: float,
    low_v: float,
    bias_a: float,
    trip: Threshold,
    hysteresis: Threshold,
) -> Chatter:
    """The need for hysteresis, and the burst that provokes chatter most.

    Parameters
    ----------
    data : source resistance, load step and note. network : as built.
    reference_v, low_v : reference and saturated output, V. bias_a : input current, A.
    trip, hysteresis : of the under-voltage, with their windows.

    Returns
    -------
    Chatter. The battery is put where the burst only just trips: there it stands highest without the load.
    """
    share = float(residual_ripple(data.lowest_note_hz, network.filter_s))
    source = data.source_resistance_ohm
    need = float(least_hysteresis_v(source, data.load_step_a, share))
    emf = trip.nominal + source * data.idle_a + _JUST * need
    stop = _START_S + max(_BURST_S, 3.0 * data.restart_s)
    trace = burst_trace(
        SenseNetwork(
            upper_each_ohm=network.upper_each_ohm,
            lower_ohm=network.lower_all_ohm + 0.5 * (network.trimmer_ohm or 0.0),
            feedback_ohm=network.feedback_ohm,
            pullup_ohm=network.pullup_ohm,
            filter_f=network.filter_f,
            reference_v=reference_v,
            low_v=low_v,
            bias_a=bias_a,
        ),
        Burst(
            emf_v=emf,
            source_ohm=source,
            idle_a=data.idle_a,
            step_a=data.load_step_a,
            note_hz=data.lowest_note_hz,
            start_s=_START_S,
            stop_s=stop,
            restart_s=data.restart_s,
        ),
        stop + _TAIL_S,
        _POINTS,
    )
    return Chatter(
        drop_v=source * data.load_step_a,
        ripple_share=share,
        need_v=need,
        hysteresis_v=hysteresis.nominal,
        hysteresis_worst_v=hysteresis.window.worst_low,
        burst_v=emf,
        trace=trace,
    )
