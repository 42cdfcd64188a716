"""Line-level filter: summing amplifier, infrasonic high-pass, low-pass, phase switch and level control.

All parts are preferred values; response, corners, noise and levels are computed from them and from the
chosen op-amp's bandwidth. The summing amplifier inverts, and so does the phase switch in its "0°" position,
so that the output is upright.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from math import sqrt
from operator import mul
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import OpAmp
from subwright.physics.networks.levels import db, dbu, dbv
from subwright.physics.networks.noise import integrated_noise_v, shot_noise_a_per_rthz, signal_to_noise_db
from subwright.physics.networks.prototypes import HALF_POWER_DB
from subwright.physics.networks.rational import Rational
from subwright.stages.common import Contributor, Loss, PartUse
from subwright.stages.filter_bill import FilterCircuit, amplifier_count, filter_parts
from subwright.stages.filter_blocks import (
    Draft,
    block_response,
    draft_blocks,
    infrasonic_corner_hz,
    wanted_gain,
)
from subwright.stages.filter_controls import gain_control, phase_control, sweep_control
from subwright.stages.filter_lowpass import corner_drop_db, measured_corner_hz, shape_miss_db
from subwright.stages.filter_network import AmplifierModel, chain_network
from subwright.stages.filter_records import (
    BlockKind,
    CornerWindow,
    FilterBlock,
    GainControl,
    GainStructure,
    OpAmpSupply,
    PhaseControl,
    SweepControl,
)
from subwright.stages.filter_response import inner_levels
from subwright.stages.filter_spec import FilterInput, FilterSpec
from subwright.stages.filter_supply import (
    AUDIO_HZ,
    HEADROOM_DB,
    bandwidth_needed_hz,
    choose_op_amp,
    design_op_amp_supply,
    slew_needed_v_per_s,
)
from subwright.stages.filter_tolerance import corner_window, response_band

__all__ = [
    "BlockKind",
    "CornerWindow",
    "FilterBlock",
    "FilterInput",
    "FilterResult",
    "FilterSpec",
    "GainControl",
    "GainStructure",
    "OpAmpSupply",
    "PhaseControl",
    "SweepControl",
    "design_filter",
]

Array: TypeAlias = npt.NDArray[np.float64]
Complex: TypeAlias = npt.NDArray[np.complexfloating]

_GRID_HZ: Final = (10.0, 500.0, 200)  # the grid of the enclosure's responses
_NOISE_GRID: Final = 40
_SNR_LIMIT_DB: Final = 80.0  # common practice
_SOURCES: Final = (
    "opamps-for-everyone",
    "ti-sloa049",
    "linkwitz1976",
    "self-ssad",
    "nyquist1928",
    "gum2008",
    "gum101",
    "iec-60063",
    "common-practice",
    "derived",
)
_SUPPLY_WORKS: Final = {
    "zener": ("horowitz-hill",),
    "follower": ("horowitz-hill",),
    "regulator": ("lm317",),
    "battery": (),
}


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FilterResult:
    """The line-level filter as built.

    Attributes
    ----------
    blocks : input to output, each with its parts and limits.
    frequency_hz : 10 to 500 Hz, 200 points, logarithmic. gain : complex, V/V, every input driven, level at
        its top, phase switch at 0°. gain_db : its level, dB; band_low_db, band_high_db : 1st and 99th
        percentile over the parts' tolerance, dB. group_delay_s : s.
    corner_hz : real low-pass corner, Hz; low_pass : its window. order, alignment : as specified.
    shape_miss_db : how far the low-pass is from its alignment at worst, each at its own corner, dB.
    infrasonic_hz : real high-pass corner, Hz, or None where it is off; infrasonic : its window.
    passband_low_hz, passband_high_hz : where the whole filter is 3 dB below its maximum, Hz; the lower one
        is None where it lies below the grid.
    levels : gain structure, headroom and noise.
    gain_control, sweep, phase_control : what the knobs do; None where there is none.
    op_amp, op_amp_count : part id and cases. op_amp_supply : what they run on.
    """

    blocks: tuple[FilterBlock, ...]
    frequency_hz: Array
    gain: Complex
    gain_db: Array
    band_low_db: Array
    band_high_db: Array
    group_delay_s: Array
    corner_hz: float
    low_pass: CornerWindow
    shape_miss_db: float
    order: int
    alignment: str
    infrasonic_hz: float | None
    infrasonic: CornerWindow | None
    passband_low_hz: float | None
    passband_high_hz: float
    levels: GainStructure
    gain_control: GainControl | None
    sweep: SweepControl | None
    phase_control: PhaseControl | None
    op_amp: str
    op_amp_count: int
    op_amp_supply: OpAmpSupply
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
    _amplifier: AmplifierModel = field(repr=False)

    def node_noise_v(self) -> Mapping[str, float]:
        """Noise at each block's output, 10 Hz to 20 kHz, level at its top, V rms by the block's name."""
        network, _ = chain_network(self.blocks, self._amplifier)
        grid = np.geomspace(_GRID_HZ[0], AUDIO_HZ, _NOISE_GRID)
        return {
            b.name: integrated_noise_v(network.noise_density_v2_per_hz(f"{b.name} out", grid), grid)
            for b in self.blocks
        }

    def output_noise_v2_per_hz(self, frequency_hz: Array) -> Array:
        """Noise density at the amplifier's input, level at its top, V²/Hz, at frequencies in Hz."""
        network, out = chain_network(self.blocks, self._amplifier)
        by_part = network.noise_density_v2_per_hz(out, frequency_hz)
        return np.asarray(sum(by_part.values()), dtype=np.float64)

    def transfer(self, frequency_hz: float | Array, *, phase_deg: Literal[0, 180] = 0) -> Complex:
        """Complex gain from the inputs (driven alike) to the amplifier, V/V, at frequencies in Hz.

        ``phase_deg`` is the position of the phase switch; without one only 0 is meaningful.
        """
        gain = _product(self.blocks, frequency_hz)
        if phase_deg == 180:
            phase = [b for b in self.blocks if b.kind == "phase"]
            for block in phase:
                values = {**block.resistors_ohm, **block.capacitors_f}
                turned = block_response("phase", values, block.gbw_hz, inverted=block.gain > 0.0)
                gain = gain / block.response.at(frequency_hz) * turned.at(frequency_hz)
        return gain

    def infrasonic_response(self, frequency_hz: float | Array) -> Complex:
        """Complex gain of the infrasonic high-pass alone at frequencies in Hz; 1 where it is off."""
        return _product([b for b in self.blocks if b.kind == "infrasonic"], frequency_hz)

    def low_pass_response(self, frequency_hz: float | Array) -> Complex:
        """Complex gain of the low-pass alone at frequencies in Hz, V/V."""
        return _product([b for b in self.blocks if b.kind == "low-pass"], frequency_hz)


def _product(blocks: Sequence[FilterBlock], frequency_hz: float | Array) -> Complex:
    one: Complex = np.ones(np.shape(frequency_hz), dtype=complex)
    return reduce(mul, (b.response.at(frequency_hz) for b in blocks), one)


def design_filter(spec: FilterSpec, data: FilterInput, library: Library) -> FilterResult:
    """Design the filter.

    Parameters
    ----------
    spec : the builder's wishes. data : levels, box and supply. library : parts with the drawer merged.

    Returns
    -------
    The filter with its response, tolerance band, levels and parts.

    Raises
    ------
    NoSolutionError : no preferred values, op-amp or supply serves.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    drafts = draft_blocks(spec, data, library)
    frequency = np.geomspace(*_GRID_HZ)
    total = abs(float(np.prod([d.gain for d in drafts])))
    input_v = data.full_input_v / total
    # Peaks with ideal op-amps choose the real one; its own effect on them is far below 1 %.
    ideal = [block_response(d.kind, d.values, np.inf, d.gain < 0.0) for d in drafts]
    peaks = _peaks(drafts, ideal, frequency, input_v)
    op_amp = choose_op_amp(spec, drafts, max(peaks), data, library)
    battery = data.rail_low_v is None or spec.op_amp_supply == "battery"
    amplifiers = data.receiver_op_amps + amplifier_count(drafts, "battery" if battery else "split")
    supply = design_op_amp_supply(spec, data, op_amp, amplifiers, library)
    blocks = tuple(
        FilterBlock(
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
            peak_v=peak,
            gbw_needed_hz=bandwidth_needed_hz(d) if d.op_amps else 0.0,
            gbw_hz=op_amp.gbw_hz,
            slew_needed_v_per_s=slew_needed_v_per_s(d, peak) if d.op_amps else 0.0,
            slew_v_per_s=op_amp.slew_v_per_s,
            op_amps=d.op_amps,
        )
        for d, peak in zip(drafts, peaks, strict=True)
    )
    gain = _product(blocks, frequency)
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

    swing = 0.5 * supply.low_v - op_amp.swing_loss_v
    levels = _levels(spec, data, drafts, blocks, op_amp, swing, input_v)
    gain_knob = gain_control(spec, data, drafts)
    sweep = sweep_control(spec, drafts, op_amp.gbw_hz)
    phase_knob = phase_control(drafts, low_pass.nominal_hz)
    circuit = FilterCircuit(
        spec=spec,
        blocks=blocks,
        op_amp=op_amp,
        supply=supply,
        swing_v=swing,
        receivers=data.receiver_op_amps,
        gain_control=gain_knob,
        sweep=sweep,
        phase=phase_knob,
    )
    parts = filter_parts(circuit, library)
    edges = _edges(frequency, np.abs(gain))
    return FilterResult(
        blocks=blocks,
        frequency_hz=frequency,
        gain=gain,
        gain_db=np.asarray(db(np.abs(gain))),
        band_low_db=np.asarray(db(band[0])),
        band_high_db=np.asarray(db(band[1])),
        group_delay_s=np.asarray(-np.gradient(np.unwrap(np.angle(gain)), 2 * np.pi * frequency)),
        corner_hz=low_pass.nominal_hz,
        low_pass=low_pass,
        shape_miss_db=shape_miss_db(spec, low_passes, low_pass.nominal_hz / low_pass.target_hz),
        order=spec.order,
        alignment=spec.alignment,
        infrasonic_hz=infrasonic.nominal_hz if infrasonic else None,
        infrasonic=infrasonic,
        passband_low_hz=edges[0],
        passband_high_hz=edges[1],
        levels=levels,
        gain_control=gain_knob,
        sweep=sweep,
        phase_control=phase_knob,
        op_amp=op_amp.id,
        op_amp_count=int(next(p.quantity for p in parts if p.role == "filter op-amp")),
        op_amp_supply=supply,
        parts=parts,
        losses=(_loss(supply, data),),
        contributors=contributors,
        sources=(*_SOURCES, *_SUPPLY_WORKS[supply.kind]),
        _amplifier=_amplifier_model(op_amp),
        reasons=_reasons(spec, data, low_pass, infrasonic, levels, op_amp, supply, blocks),
    )


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


def _amplifier_model(op_amp: OpAmp) -> AmplifierModel:
    return AmplifierModel(
        gbw_hz=op_amp.gbw_hz,
        noise_v_per_rthz=op_amp.noise_v_per_rthz,
        noise_a=float(shot_noise_a_per_rthz(op_amp.ib_a)),
    )


def _levels(
    spec: FilterSpec,
    data: FilterInput,
    drafts: Sequence[Draft],
    blocks: Sequence[FilterBlock],
    op_amp: OpAmp,
    swing_v: float,
    input_v: float,
) -> GainStructure:
    network, out = chain_network(blocks, _amplifier_model(op_amp))
    grid = np.geomspace(_GRID_HZ[0], AUDIO_HZ, _NOISE_GRID)
    noise = integrated_noise_v(network.noise_density_v2_per_hz(out, grid), grid)
    total = abs(float(np.prod([d.gain for d in drafts])))
    inputs = 2 if spec.inputs == "stereo" else 1
    fullest = max(b.peak_v for b in blocks)
    offset = _offset_v(drafts, op_amp)
    return GainStructure(
        sensitivity_v=input_v,
        full_output_v=data.full_input_v,
        gain_target=wanted_gain(spec, data),
        gain=total,
        per_input=total / inputs,
        swing_v=swing_v,
        headroom_db=float(db(swing_v / fullest)),
        headroom_limit_db=HEADROOM_DB,
        overload_v=input_v * swing_v / fullest,
        noise_v=noise,
        noise_dbu=float(dbu(noise)),
        noise_dbv=float(dbv(noise)),
        snr_db=signal_to_noise_db(data.full_input_v, noise),
        snr_limit_db=_SNR_LIMIT_DB,
        offset_v=offset,
        output_offset_v=0.0 if any(d.kind == "coupling" for d in drafts) else offset,
    )


def _offset_v(drafts: Sequence[Draft], op_amp: OpAmp) -> float:
    """Largest DC at the output: offsets and bias currents, all adding up."""
    offset = 0.0
    for d in drafts:
        r = d.resistors_ohm
        if d.kind == "summer":  # the coupling capacitors leave a follower at DC
            offset = op_amp.vos_v + op_amp.ib_a * (r["feedback"] + r.get("gain control", 0.0))
        elif d.kind == "infrasonic":
            offset = op_amp.vos_v + op_amp.ib_a * r["R to ground"]
        elif d.kind == "transform":
            offset = d.op_amp_gain * offset + (1.0 + d.op_amp_gain) * op_amp.vos_v
            offset += op_amp.ib_a * 2.0 * r["feedback R"]
        elif d.kind == "low-pass" and "R3" in r:
            offset += 2 * op_amp.vos_v + op_amp.ib_a * (r["R2"] + r["R3"] * 2.0)
        elif d.kind == "low-pass" and "R in" in r:  # the integrators hold the other two outputs at zero
            own = 1.0 + r["R low"] / r["R in"] + r["R low"] / r["R high"]
            offset += own * op_amp.vos_v + op_amp.ib_a * r["R low"] + 2 * _integrator_v(r, op_amp)
        elif d.kind == "low-pass":
            path = sum(r.get(role, 0.0) for role in ("R1", "R2", "R1 gang", "R2 gang"))
            offset = d.gain * (offset + op_amp.vos_v + op_amp.ib_a * path)
        elif d.kind in ("phase", "all-pass"):
            offset += 2 * op_amp.vos_v + op_amp.ib_a * (
                r["feedback"] + r.get("R", 0.0) + r.get("R gang", 0.0)
            )
        elif d.kind == "output":
            offset += op_amp.vos_v
    return offset


def _integrator_v(resistors_ohm: Mapping[str, float], op_amp: OpAmp) -> float:
    """DC that an integrator asks of the block before it, V."""
    track = resistors_ohm["R1"] + resistors_ohm.get("R1 gang", 0.0)
    return op_amp.vos_v + op_amp.ib_a * track


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


def _loss(supply: OpAmpSupply, data: FilterInput) -> Loss:
    """Everything that the op-amp supply draws turns into heat; at the highest rail or battery."""
    if supply.kind == "follower" and data.rail_high_v is not None:
        base_a = (data.rail_high_v - (supply.zener_v or 0.0)) / (supply.series_ohm or 1.0)
        watts = 2 * data.rail_high_v * (supply.current_a + base_a)
    elif supply.series_ohm is not None and supply.zener_v is not None and data.rail_high_v is not None:
        watts = 2 * data.rail_high_v * (data.rail_high_v - supply.zener_v) / supply.series_ohm
    elif supply.kind == "regulator" and data.rail_high_v is not None:
        watts = 2 * data.rail_high_v * supply.current_a
    elif supply.zener_v is not None and supply.filter_ohm is not None:
        watts = data.battery_high_v * (data.battery_high_v - supply.zener_v) / supply.filter_ohm
    else:
        watts = data.battery_high_v * supply.current_a
    return Loss(where="filter", full_w=watts, programme_w=watts, idle_w=watts)


def _reasons(
    spec: FilterSpec,
    data: FilterInput,
    low_pass: CornerWindow,
    infrasonic: CornerWindow | None,
    levels: GainStructure,
    op_amp: OpAmp,
    supply: OpAmpSupply,
    blocks: Sequence[FilterBlock],
) -> tuple[str, ...]:
    def hertz(value: float) -> str:
        return show(value, "frequency")

    lines = [
        f"Low-pass: {spec.alignment} of order {spec.order}, {low_pass.drop_db:.1f} dB down at "
        f"{hertz(low_pass.nominal_hz)} with the real values (wanted {hertz(low_pass.target_hz)}).",
    ]
    if infrasonic is not None:
        why = "as the build file says"
        if spec.infrasonic_hz is None:
            why = "0.8 times the tuning" if data.tuning_hz is not None else "20 Hz, as there is no tuning"
        lines.append(
            f"Infrasonic high-pass at {hertz(infrasonic.nominal_hz)} ({why}): below its tuning a vented box "
            "leaves the cone without load."
        )
    else:
        lines.append("No infrasonic high-pass: a closed box holds the cone itself.")
    lines.append(
        f"Gain {levels.gain:.3g} from every input driven alike, all of it in the summing amplifier, where it "
        f"costs the least noise; one input alone gives half."
        if spec.inputs == "stereo"
        else f"Gain {levels.gain:.3g}, all of it in the summing amplifier, where it costs the least noise."
    )
    lines.append(
        f"Op-amp {op_amp.id}: {op_amp.gbw_hz / 1e6:.3g} MHz, {op_amp.slew_v_per_s / 1e6:.3g} V/µs and "
        f"{1e9 * op_amp.noise_v_per_rthz:.3g} nV/√Hz serve every block."
    )
    if supply.kind == "battery":
        held = "" if supply.zener_id is None else f" through a {supply.zener_id}, as it is too high for them,"
        lines.append(
            f"Op-amps run from the battery{held} with a buffered midpoint; the output is AC-coupled."
        )
    elif supply.kind == "zener":
        lines.append(
            f"Op-amps run from the rails through {supply.zener_id} zener shunts; each series resistor takes "
            f"up to {show(supply.resistor_w, 'power')} at the highest rail."
        )
    elif supply.kind == "follower":
        sink = "free-standing" if supply.sink_k_per_w is None else f"on {supply.sink_k_per_w:g} K/W each"
        lines.append(
            f"Op-amps run from the rails through emitter followers behind {supply.zener_id} zeners: a plain "
            f"shunt's resistors would run hot, and these rails are too high for adjustable regulators. Each "
            f"transistor takes {show(supply.transistor_w, 'power')} and reaches "
            f"{supply.transistor_c:.0f} °C, {sink}."
        )
    else:
        lines.append("Op-amps run from the rails through adjustable regulators: zeners would run hot.")
    if levels.output_offset_v == 0.0 and supply.kind != "battery":
        lines.append(
            f"A capacitor couples the output: the op-amps' offsets, {show(levels.offset_v, 'voltage')} at "
            "worst, would push the cone off centre."
        )
    if spec.alignment == "chebyshev":
        lines.append(
            f"Chebyshev with {spec.ripple_db:g} dB of ripple; its corner is "
            + (
                "3.01 dB below the ripple's peaks."
                if spec.ripple_norm == "half power"
                else "the ripple's end."
            )
        )
    if spec.sweep_low_hz is not None and spec.order == 4:
        lines.append(
            "The corner control has four tracks on one shaft, rarer than two: have it at hand before you drill, "
            "or set filter.order to 2."
        )
    if not spec.phase_switch and float(np.prod([b.gain for b in blocks])) < 0.0:
        lines.append(
            "Without a phase switch the filter inverts: swap the loudspeaker's leads to make it upright."
        )
    return tuple(lines)
