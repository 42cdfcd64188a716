"""What a filter is whatever its op-amps run on: values, responses, tolerance band, noise; remembered.

A change elsewhere in the build moves rails and battery, and leaves all of this as it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from math import sqrt
from operator import mul
from types import MappingProxyType
from typing import Final

import numpy as np

from subwright.parts.library import Library
from subwright.parts.schema import OpAmp
from subwright.physics.networks.levels import db
from subwright.physics.networks.noise import integrated_noise_v, shot_noise_a_per_rthz
from subwright.physics.networks.prototypes import HALF_POWER_DB
from subwright.physics.networks.rational import Rational
from subwright.stages.common import Contributor, remembered
from subwright.stages.filter_blocks import draft_blocks, infrasonic_corner_hz
from subwright.stages.filter_controls import gain_control, phase_control, sweep_control
from subwright.stages.filter_draft import Array, Draft
from subwright.stages.filter_lowpass import corner_drop_db, measured_corner_hz, shape_miss_db
from subwright.stages.filter_network import AmplifierModel, chain_network
from subwright.stages.filter_offset import offsets_v
from subwright.stages.filter_records import (
    Complex,
    CornerWindow,
    FilterBlock,
    GainControl,
    PhaseControl,
    SweepControl,
)
from subwright.stages.filter_response import block_response, inner_levels
from subwright.stages.filter_spec import FilterInput, FilterSpec
from subwright.stages.filter_supply import AUDIO_HZ, bandwidth_needed_hz, slew_needed_v_per_s
from subwright.stages.filter_tolerance import corner_window, response_band

__all__ = ["Plan", "Settled", "amplifier_model", "chain_gain", "planned", "settled", "without_supply"]

_GRID_HZ: Final = (10.0, 500.0, 200)  # the grid of the enclosure's responses
_NOISE_GRID: Final = 40


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """Values before an op-amp is chosen.

    Attributes
    ----------
    drafts : blocks, input to output. peaks_v : highest at any op-amp's output of each, V.
    input_v : rms on every input for full output, V. passband_gain : of all blocks, V/V.
    """

    drafts: tuple[Draft, ...]
    peaks_v: tuple[float, ...]
    input_v: float
    passband_gain: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Settled:
    """The filter with its op-amp; attributes as in FilterResult and GainStructure."""

    blocks: tuple[FilterBlock, ...]
    input_v: float
    passband_gain: float
    frequency_hz: Array
    gain: Complex
    band_low_db: Array
    band_high_db: Array
    group_delay_s: Array
    low_pass: CornerWindow
    infrasonic: CornerWindow | None
    shape_miss_db: float
    passband_low_hz: float | None
    passband_high_hz: float
    noise_v: float
    offset_v: float
    gain_control: GainControl | None
    sweep: SweepControl | None
    phase_control: PhaseControl | None
    contributors: tuple[Contributor, ...]


def without_supply(spec: FilterSpec, data: FilterInput) -> FilterInput:
    """What other stages tell the filter, without what only its supply, or a box transform, asks for."""
    rails = None if data.rail_low_v is None else 0.0
    box = (data.box_hz, data.box_q) if spec.transform_hz is not None else (None, None)
    return replace(
        data,
        rail_low_v=rails,
        rail_high_v=rails,
        battery_low_v=0.0,
        battery_high_v=0.0,
        box_hz=box[0],
        box_q=box[1],
    )


@remembered
def planned(spec: FilterSpec, data: FilterInput, library: Library) -> Plan:
    """Blocks in preferred values, and their peaks.

    Parameters
    ----------
    spec : the builder's wishes. data : of ``without_supply``. library : parts with the drawer merged.
    """
    drafts = draft_blocks(spec, data, library)
    total = abs(float(np.prod([d.gain for d in drafts])))
    input_v = data.full_input_v / total
    # Peaks with ideal op-amps choose the real one; its own effect on them is far below 1 %.
    ideal = [block_response(d.kind, d.values, np.inf, d.gain < 0.0) for d in drafts]
    peaks = _peaks(drafts, ideal, np.geomspace(*_GRID_HZ), input_v)
    return Plan(drafts=drafts, peaks_v=tuple(peaks), input_v=input_v, passband_gain=total)


@remembered
def settled(spec: FilterSpec, data: FilterInput, op_amp: OpAmp, library: Library) -> Settled:
    """Responses, windows, noise and knobs.

    Parameters
    ----------
    spec : the builder's wishes. data : of ``without_supply``. op_amp : for every block.
    library : parts with the drawer merged.
    """
    plan = planned(spec, data, library)
    drafts, frequency = plan.drafts, np.geomspace(*_GRID_HZ)
    blocks = tuple(_block(d, op_amp, peak) for d, peak in zip(drafts, plan.peaks_v, strict=True))
    gain = chain_gain(blocks, frequency)
    band = response_band(drafts, spec, data, op_amp.gbw_hz, frequency)
    low_passes = tuple(d for d in drafts if d.kind == "low-pass")
    low_pass, contributors = corner_window(
        low_passes,
        spec,
        data,
        op_amp.gbw_hz,
        measured_corner_hz(spec),
        corner_drop_db(spec),
        "low-pass corner",
    )
    infrasonic = None
    target = infrasonic_corner_hz(spec, data)
    if target is not None:
        high_pass = [d for d in drafts if d.kind == "infrasonic"]
        infrasonic, more = corner_window(
            high_pass, spec, data, op_amp.gbw_hz, target, HALF_POWER_DB, "infrasonic corner"
        )
        contributors += more
    edges = _edges(frequency, np.abs(gain))
    return Settled(
        blocks=blocks,
        input_v=plan.input_v,
        passband_gain=plan.passband_gain,
        frequency_hz=frequency,
        gain=gain,
        band_low_db=np.asarray(db(band[0])),
        band_high_db=np.asarray(db(band[1])),
        group_delay_s=np.asarray(-np.gradient(np.unwrap(np.angle(gain)), 2 * np.pi * frequency)),
        low_pass=low_pass,
        infrasonic=infrasonic,
        shape_miss_db=shape_miss_db(spec, low_passes, low_pass.nominal_hz / low_pass.target_hz),
        passband_low_hz=edges[0],
        passband_high_hz=edges[1],
        noise_v=_noise_v(blocks, op_amp),
        offset_v=offsets_v([d for d in drafts if d.op_amps], op_amp)[-1],
        gain_control=gain_control(spec, data, drafts),
        sweep=sweep_control(spec, drafts, op_amp.gbw_hz),
        phase_control=phase_control(drafts, low_pass.nominal_hz),
        contributors=contributors,
    )


def _block(d: Draft, op_amp: OpAmp, peak_v: float) -> FilterBlock:
    return FilterBlock(
        name=d.name,
        kind=d.kind,
        resistors_ohm=MappingProxyType(dict(d.resistors_ohm)),
        capacitors_f=MappingProxyType(dict(d.capacitors_f)),
        gain=d.gain,
        f0_hz=d.f0_hz,
        q=d.q,
        f0_target_hz=d.f0_target_hz,
        q_target=d.q_target,
        response=block_response(d.kind, d.values, op_amp.gbw_hz, d.gain < 0.0),
        peak_v=peak_v,
        gbw_needed_hz=bandwidth_needed_hz(d) if d.op_amps else 0.0,
        gbw_hz=op_amp.gbw_hz,
        slew_needed_v_per_s=slew_needed_v_per_s(d, peak_v) if d.op_amps else 0.0,
        slew_v_per_s=op_amp.slew_v_per_s,
        op_amps=d.op_amps,
    )


def _noise_v(blocks: Sequence[FilterBlock], op_amp: OpAmp) -> float:
    """At the output, 10 Hz to 20 kHz, V rms."""
    network, out = chain_network(blocks, amplifier_model(op_amp))
    grid = np.geomspace(_GRID_HZ[0], AUDIO_HZ, _NOISE_GRID)
    return integrated_noise_v(network.noise_density_v2_per_hz(out, grid), grid)


def chain_gain(blocks: Sequence[FilterBlock], frequency_hz: float | Array) -> Complex:
    """Complex gain of blocks in a row at frequencies in Hz, V/V; 1 of none."""
    one: Complex = np.ones(np.shape(frequency_hz), dtype=complex)
    return reduce(mul, (b.response.at(frequency_hz) for b in blocks), one)


def _peaks(
    drafts: Sequence[Draft], responses: Sequence[Rational], frequency_hz: Array, input_v: float
) -> list[float]:
    """Highest peak at any op-amp's output of each block with a sine of ``input_v`` rms on the grid, V."""
    so_far: Complex = np.ones_like(frequency_hz, dtype=complex)
    peaks = []
    for draft, response in zip(drafts, responses, strict=True):
        so_far = so_far * response.at(frequency_hz)
        inner = np.max(inner_levels(draft.kind, draft.values, frequency_hz), axis=0)
        peaks.append(sqrt(2.0) * input_v * float(np.max(np.abs(so_far) * inner)))
    return peaks


def amplifier_model(op_amp: OpAmp) -> AmplifierModel:
    """What the network has in place of an op-amp."""
    return AmplifierModel(
        gbw_hz=op_amp.gbw_hz,
        noise_v_per_rthz=op_amp.noise_v_per_rthz,
        noise_a=float(shot_noise_a_per_rthz(op_amp.ib_a)),
    )


def _edges(frequency_hz: Array, magnitude: Array) -> tuple[float | None, float]:
    """Frequencies 3.01 dB below the maximum, interpolated on the logarithmic grid."""
    level = 20 * np.log10(magnitude / magnitude.max()) + HALF_POWER_DB
    top = int(np.argmax(magnitude))
    log_f = np.log(frequency_hz)
    above = np.flatnonzero(level[top:] < 0)
    high = frequency_hz[-1]
    if above.size:
        k = top + int(above[0])
        high = np.exp(np.interp(0.0, [-level[k - 1], -level[k]], [log_f[k - 1], log_f[k]]))
    below = np.flatnonzero(level[: top + 1] < 0)
    if not below.size:
        return None, float(high)
    k = int(below[-1])
    low = np.exp(np.interp(0.0, [level[k], level[k + 1]], [log_f[k], log_f[k + 1]]))
    return float(low), float(high)
