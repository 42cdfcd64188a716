"""Line-level filter: summing amplifier, infrasonic high-pass, low-pass, phase switch and level control.

All parts are preferred values; response, corners, noise and levels are computed from them and from the
chosen op-amp's bandwidth. The summing amplifier inverts, and so does the phase switch in its "0°" position,
so that the output is upright.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import OpAmp
from subwright.physics.networks.levels import db, dbu, dbv
from subwright.physics.networks.noise import integrated_noise_v, signal_to_noise_db
from subwright.stages.common import Contributor, Loss, PartUse
from subwright.stages.filter_bill import FilterCircuit, amplifier_count, filter_parts
from subwright.stages.filter_blocks import (
    block_response,
    wanted_gain,
)
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
from subwright.stages.filter_settled import (
    Settled,
    amplifier_model,
    chain_gain,
    planned,
    settled,
    without_supply,
)
from subwright.stages.filter_spec import FilterInput, FilterSpec
from subwright.stages.filter_supply import (
    AUDIO_HZ,
    HEADROOM_DB,
    choose_op_amp,
    design_op_amp_supply,
)

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
        gain = chain_gain(self.blocks, frequency_hz)
        if phase_deg == 180:
            phase = [b for b in self.blocks if b.kind == "phase"]
            for block in phase:
                values = {**block.resistors_ohm, **block.capacitors_f}
                turned = block_response("phase", values, block.gbw_hz, inverted=block.gain > 0.0)
                gain = gain / block.response.at(frequency_hz) * turned.at(frequency_hz)
        return gain

    def infrasonic_response(self, frequency_hz: float | Array) -> Complex:
        """Complex gain of the infrasonic high-pass alone at frequencies in Hz; 1 where it is off."""
        return chain_gain([b for b in self.blocks if b.kind == "infrasonic"], frequency_hz)

    def low_pass_response(self, frequency_hz: float | Array) -> Complex:
        """Complex gain of the low-pass alone at frequencies in Hz, V/V."""
        return chain_gain([b for b in self.blocks if b.kind == "low-pass"], frequency_hz)


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
    core = without_supply(spec, data)
    plan = planned(spec, core, library)
    op_amp = choose_op_amp(spec, plan.drafts, max(plan.peaks_v), data, library)
    battery = data.rail_low_v is None or spec.op_amp_supply == "battery"
    amplifiers = data.receiver_op_amps + amplifier_count(plan.drafts, "battery" if battery else "split")
    supply = design_op_amp_supply(spec, data, op_amp, amplifiers, library)
    made = settled(spec, core, op_amp, library)
    swing = 0.5 * supply.low_v - op_amp.swing_loss_v
    levels = _levels(spec, data, made, swing)
    circuit = FilterCircuit(
        spec=spec,
        blocks=made.blocks,
        op_amp=op_amp,
        supply=supply,
        swing_v=swing,
        receivers=data.receiver_op_amps,
        gain_control=made.gain_control,
        sweep=made.sweep,
        phase=made.phase_control,
    )
    parts = filter_parts(circuit, library)
    low_pass, infrasonic = made.low_pass, made.infrasonic
    return FilterResult(
        blocks=made.blocks,
        frequency_hz=made.frequency_hz,
        gain=made.gain,
        gain_db=np.asarray(db(np.abs(made.gain))),
        band_low_db=made.band_low_db,
        band_high_db=made.band_high_db,
        group_delay_s=made.group_delay_s,
        corner_hz=low_pass.nominal_hz,
        low_pass=low_pass,
        shape_miss_db=made.shape_miss_db,
        order=spec.order,
        alignment=spec.alignment,
        infrasonic_hz=infrasonic.nominal_hz if infrasonic else None,
        infrasonic=infrasonic,
        passband_low_hz=made.passband_low_hz,
        passband_high_hz=made.passband_high_hz,
        levels=levels,
        gain_control=made.gain_control,
        sweep=made.sweep,
        phase_control=made.phase_control,
        op_amp=op_amp.id,
        op_amp_count=int(next(p.quantity for p in parts if p.role == "filter op-amp")),
        op_amp_supply=supply,
        parts=parts,
        losses=(_loss(supply, data),),
        contributors=made.contributors,
        sources=(*_SOURCES, *_SUPPLY_WORKS[supply.kind]),
        _amplifier=amplifier_model(op_amp),
        reasons=_reasons(spec, data, low_pass, infrasonic, levels, op_amp, supply, made.blocks),
    )


def _levels(spec: FilterSpec, data: FilterInput, made: Settled, swing_v: float) -> GainStructure:
    fullest = max(b.peak_v for b in made.blocks)
    coupled = any(b.kind == "coupling" for b in made.blocks)
    return GainStructure(
        sensitivity_v=made.input_v,
        full_output_v=data.full_input_v,
        gain_target=wanted_gain(spec, data),
        gain=made.passband_gain,
        per_input=made.passband_gain / (2 if spec.inputs == "stereo" else 1),
        swing_v=swing_v,
        headroom_db=float(db(swing_v / fullest)),
        headroom_limit_db=HEADROOM_DB,
        overload_v=made.input_v * swing_v / fullest,
        noise_v=made.noise_v,
        noise_dbu=float(dbu(made.noise_v)),
        noise_dbv=float(dbv(made.noise_v)),
        snr_db=signal_to_noise_db(data.full_input_v, made.noise_v),
        snr_limit_db=_SNR_LIMIT_DB,
        offset_v=made.offset_v,
        output_offset_v=0.0 if coupled else made.offset_v,
    )


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
            "The corner control has four tracks on one shaft, rarer than two: have it before you drill, or "
            "set filter.order to 2."
        )
    if not spec.phase_switch and float(np.prod([b.gain for b in blocks])) < 0.0:
        lines.append(
            "Without a phase switch the filter inverts: swap the loudspeaker's leads to make it upright."
        )
    return tuple(lines)
