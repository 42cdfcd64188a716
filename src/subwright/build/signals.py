"""What the solver tells the stages that follow the signal: inputs and the chain as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from typing import Final, Literal

import numpy as np

from subwright.build.electrical import PLAYING, Electrical
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library
from subwright.stages.cabin import CabinResult
from subwright.stages.common import Corner, Level
from subwright.stages.enclosure import EnclosureResult
from subwright.stages.filter import FilterResult
from subwright.stages.input import InputNeed, InputResult, design_input, takes_op_amps
from subwright.stages.signal import OutputFilter, SignalNeed, SignalNode, SignalResult, design_signal
from subwright.stages.signal_air import AirChain, noise_grid

__all__ = ["inputs", "receiver_op_amps", "signal"]

_NOMINAL: Final = PLAYING.index(Corner.NOMINAL)
_CARRIER_HZ: Final = (1e3, 300e3, 90)  # where an output filter may peak


def _channels(spec: BuildSpec) -> Literal[1, 2]:
    return 2 if spec.filter.inputs == "stereo" else 1


def receiver_op_amps(spec: BuildSpec) -> int:
    """Amplifiers that the inputs take, which share the filter's supply."""
    return takes_op_amps(spec.input, _channels(spec))


def inputs(spec: BuildSpec, electrical: Electrical, filters: FilterResult, library: Library) -> InputResult:
    """The inputs before the filter."""
    summer = next(b for b in filters.blocks if b.kind == "summer")
    need = InputNeed(
        channels=_channels(spec),
        sensitivity_v=filters.levels.sensitivity_v,
        summing_ohm=next(ohm for role, ohm in summer.resistors_ohm.items() if role.endswith(" input")),
        side_v=0.5 * filters.op_amp_supply.low_v,
        battery_max_v=electrical.supply.corners[Corner.MAX],
        reference_v=0.5 * filters.op_amp_supply.high_v if filters.op_amp_supply.kind == "battery" else 0.0,
    )
    return design_input(spec.input, need, library)


def signal(
    spec: BuildSpec,
    electrical: Electrical,
    box: EnclosureResult,
    filters: FilterResult,
    entry: InputResult,
    cabin: CabinResult,
) -> SignalResult:
    """The chain from radio to air."""
    amplifier, full = electrical.amplifier, electrical.chain[Level.FULL]
    peak_v = float(full.peak_v[_NOMINAL])
    frequency = box.frequency_hz
    gain = filters.transfer(frequency) * entry.gain
    infrasonic = np.abs(filters.infrasonic_response(frequency))
    if filters.infrasonic_hz is None:
        infrasonic = np.ones_like(frequency)
    # The box's "full" curves run through the infrasonic filter already: take it out again.
    flat_db = box.full_spl_db - 20.0 * np.log10(infrasonic)
    cabin_db = box.full_cabin_spl_db - 20.0 * np.log10(infrasonic)
    own_db = filters.gain_db
    need = SignalNeed(
        nodes=_nodes(amplifier.voltage_gain, peak_v, filters, entry),
        frequency_hz=frequency,
        filter_gain=np.asarray(gain, dtype=np.complex128),
        passband_gain=filters.levels.gain * entry.gain,
        band_low_db=np.interp(frequency, filters.frequency_hz, filters.band_low_db - own_db),
        band_high_db=np.interp(frequency, filters.frequency_hz, filters.band_high_db - own_db),
        box_db=flat_db,
        box_cabin_db=cabin_db,
        filter_delay_s=np.interp(frequency, filters.frequency_hz, filters.group_delay_s),
        box_delay_s=box.group_delay_s,
        output_filter=_output_filter(electrical, box),
        sine_w={c: float(full.output_w[k]) for k, c in enumerate(PLAYING)},
        burst_w=_burst_w(electrical),
        crest_factor_db=spec.goal.crest_factor_db,
        air=_air(spec, electrical, box, filters, cabin),
    )
    return design_signal(need)


def _air(
    spec: BuildSpec,
    electrical: Electrical,
    box: EnclosureResult,
    filters: FilterResult,
    cabin: CabinResult,
) -> AirChain:
    """From the terminals to the ear."""
    frequency = box.frequency_hz
    per_volt = box.system.solve(frequency)
    return AirChain(
        frequency_hz=frequency,
        drive_v=box.full_drive_v,
        excursion_m=per_volt.excursion_m_per_v,
        velocity_m_per_s=np.abs(per_volt.velocity_m_per_s_per_v),
        pressure_pa=np.abs(per_volt.pressure_pa_per_v),
        cabin_db=None if cabin.kind == "none" else cabin.gain_at_db(frequency),
        xmax_m=box.xmax_m,
        noise_v_per_rthz=np.sqrt(filters.output_noise_v2_per_hz(noise_grid(frequency))),
        full_input_v=spec.amplifier.full_input_v,
        low_hz=spec.goal.lowest_note_hz,
        high_hz=spec.filter.corner_hz,
    )


def _burst_w(electrical: Electrical) -> Mapping[Corner, float]:
    """Sine power within a burst, the rails still where the programme's average leaves them, W."""
    stage = electrical.amplifier
    rails = electrical.chain[Level.PROGRAMME].rail_mean_v
    peak = stage.clip_peak_v(rails, stage.load_ohm)
    return {c: float(peak[k]) ** 2 / (2.0 * stage.load_ohm) for k, c in enumerate(PLAYING)}


def _output_filter(electrical: Electrical, box: EnclosureResult) -> OutputFilter | None:
    stage = electrical.amplifier
    if (
        stage.inductance_h is None
        or stage.filter_f is None
        or stage.damping_ohm is None
        or stage.damping_f is None
    ):
        return None
    frequency = np.geomspace(*_CARRIER_HZ)
    return OutputFilter(
        inductance_h=stage.inductance_h,
        capacitance_f=stage.filter_f,
        damping_ohm=stage.damping_ohm,
        damping_f=stage.damping_f,
        series_ohm=stage.inductor_ohm,
        legs=stage.model.legs,
        frequency_hz=frequency,
        load_ohm=box.system.solve(frequency).impedance_ohm,
        nominal_ohm=stage.load_ohm,
    )


def _nodes(
    voltage_gain: float, peak_v: float, filters: FilterResult, entry: InputResult
) -> tuple[SignalNode, ...]:
    """Levels at the onset of clipping, whatever the filter's full output and the amplifier's gain make it."""
    swing = filters.levels.swing_v
    reached = entry.output_v
    for block in filters.blocks:
        reached *= abs(block.gain)
    share = peak_v / sqrt(2.0) / (voltage_gain * reached)  # of the levels that the filter was designed for
    level = share * entry.source_v
    nodes = [SignalNode(name="source", level_v=level, peak_v=sqrt(2.0) * level, limit_v=None)]
    level = share * entry.output_v
    if entry.op_amps:
        nodes.append(SignalNode(name="receiver", level_v=level, peak_v=sqrt(2.0) * level, limit_v=swing))
    for block in filters.blocks:
        level *= abs(block.gain)
        nodes.append(
            SignalNode(
                name=block.name,
                level_v=level,
                peak_v=share * block.peak_v,
                limit_v=swing if block.op_amps else None,
            )
        )
    nodes.append(SignalNode(name="loudspeaker", level_v=peak_v / sqrt(2.0), peak_v=peak_v, limit_v=peak_v))
    return tuple(nodes)
