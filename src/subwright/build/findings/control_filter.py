"""Rules on the line-level filter."""

from __future__ import annotations

from collections.abc import Iterator
from math import log10, sqrt

import numpy as np

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.filter import FilterBlock

__all__ = [
    "bandwidth",
    "corner_off_target",
    "corner_spread",
    "equaliser_lift",
    "filter_offset",
    "gain_reach",
    "headroom",
    "infrasonic_missing",
    "noise",
    "op_amp_supply",
    "shape",
    "slew_rate",
    "sweep_ends",
    "sweep_tracking",
]

_CORNER_ERROR = 0.05
_CORNER_SPREAD = 0.15
_OFF_CENTRE = 0.1
_SWEEP_ERROR = 0.15
_TRACKING_DB = 1.0
_REACH = 1.3
_LIFT_DB = 12.0
_SHAPE_DB = 1.0


@rule(
    "FIL-01",
    stage="filter",
    severity="note",
    title="Corner of the low-pass off its target",
    what="Real low-pass corner from preferred values and the op-amp's bandwidth, against filter.corner.",
    why="A corner that is off leaves a hole or a hump where the other loudspeakers take over.",
    limit="5 %.",
    source="ti-sloa049",
    example="80 Hz asked for, 78.4 Hz from the parts: 2 %.",
    remedy='Set filter.resistor_series = "E96", filter.capacitor_series = "E12", or move filter.corner.',
)
def corner_off_target(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    windows = {"low-pass": design.filter.low_pass, "infrasonic": design.filter.infrasonic}
    for name, window in windows.items():
        if window is not None:
            yield Measure(
                quantity=f"{name} corner off its target",
                value=abs(window.nominal_hz / window.target_hz - 1.0),
                limit=_CORNER_ERROR,
                dimension="share",
            )


@rule(
    "FIL-02",
    stage="filter",
    severity="warn",
    title="Bandwidth of the op-amp",
    what="Gain-bandwidth product of the op-amp against what each block needs for its Q and gain.",
    why="An op-amp that runs out of gain shifts corners and lets the top leak through the low-pass.",
    limit="The block's own need, by the usual rule of a hundred times gain and corner.",
    source="opamps-for-everyone",
    example="A 3 MHz op-amp in a block that needs 20 kHz: 150 times as much.",
    remedy="Choose a faster op-amp (filter.op_amp).",
    near=0.1,
)
def bandwidth(design: Design) -> Iterator[Measure]:
    """Measure the bandwidth in Hz."""
    for block in design.filter.blocks:
        if not block.op_amps:
            continue
        yield Measure(
            quantity=f"gain-bandwidth product in the {block.name}",
            value=block.gbw_hz,
            limit=block.gbw_needed_hz,
            dimension="frequency",
            sense="at least",
        )


@rule(
    "FIL-03",
    stage="filter",
    severity="warn",
    title="Slew rate of the op-amp",
    what="Slew rate of the op-amp against the steepest signal in each block at full output.",
    why="A sine that an op-amp can't follow becomes a triangle.",
    limit="2π times frequency times peak voltage of the block.",
    source="terrell-opamps",
    example="5 V peak at 20 kHz are 0.63 V/µs: a 13 V/µs op-amp doesn't notice.",
    remedy="Choose a faster op-amp (filter.op_amp), or lower filter.gain.",
    near=0.1,
)
def slew_rate(design: Design) -> Iterator[Measure]:
    """Measure the slew rate in V/s."""
    for block in design.filter.blocks:
        if not block.op_amps:
            continue
        yield Measure(
            quantity=f"slew rate in the {block.name}",
            value=block.slew_v_per_s,
            limit=block.slew_needed_v_per_s,
            dimension="slew rate",
            sense="at least",
        )


@rule(
    "FIL-04",
    stage="filter",
    severity="warn",
    title="Headroom of the filter",
    what="Level between the fullest block at full output and its clipping, on the lowest supply.",
    why="The filter must never clip before the amplifier does: it would square the wave that the amplifier "
    "then delivers faithfully.",
    limit="The least that is sensible, named in the filter's levels.",
    source="self-ssad",
    example="Peaks of 4 V on op-amps that reach 10 V: 8 dB.",
    remedy="Lower filter.gain so that the amplifier's own gain does the work, or give the op-amps more "
    "supply (filter.op_amp_supply).",
)
def headroom(design: Design) -> Iterator[Measure]:
    """Measure the headroom in dB."""
    levels = design.filter.levels
    yield Measure(
        quantity="headroom of the fullest block",
        value=levels.headroom_db,
        limit=levels.headroom_limit_db,
        dimension="level",
        sense="at least",
    )


@rule(
    "FIL-05",
    stage="filter",
    severity="warn",
    title="A vented box has its infrasonic filter",
    what="Corner of the infrasonic filter against half the tuning of a vented box.",
    why="Below its tuning a vented box no longer holds the cone: a dropped needle or a slammed door throws "
    "it against its stops.",
    limit="Half the tuning frequency of the box.",
    source="small-1973-vented",
    example="A box tuned to 32 Hz with a filter at 26 Hz: well above 16 Hz.",
    remedy='Set filter.infrasonic_filter = "on", or raise filter.infrasonic towards the tuning.',
)
def infrasonic_missing(design: Design) -> Iterator[Measure]:
    """Measure the corner in Hz; 0 where there is no filter."""
    tuning_hz = design.enclosure.tuning_hz
    if design.enclosure.kind == "vented" and tuning_hz is not None:
        yield Measure(
            quantity="corner of the infrasonic filter",
            value=design.filter.infrasonic_hz or 0.0,
            limit=0.5 * tuning_hz,
            dimension="frequency",
            sense="at least",
            at="none fitted" if design.filter.infrasonic_hz is None else "",
        )


@rule(
    "FIL-06",
    stage="filter",
    severity="note",
    title="Signal to noise",
    what="Full output over the noise at the filter's output, 10 Hz to 20 kHz, level at its top.",
    why="In a quiet van a hissing box is heard all night.",
    limit="80 dB; common practice, no source.",
    source="self-ssad",
    example="2 V over 20 µV: 100 dB.",
    remedy="Choose a quieter op-amp (filter.op_amp), a lower filter.input_resistance, or less filter.gain.",
)
def noise(design: Design) -> Iterator[Measure]:
    """Measure the ratio in dB."""
    levels = design.filter.levels
    yield Measure(
        quantity="full output over noise",
        value=levels.snr_db,
        limit=levels.snr_limit_db,
        dimension="level",
        sense="at least",
    )


@rule(
    "FIL-07",
    stage="filter",
    severity="note",
    title="Corner of the low-pass over tolerance",
    what="Farther end of the low-pass corner's root-sum-square window, from its target.",
    why="Film capacitors of 10 % move a corner by as much; two boxes side by side should agree better.",
    limit="15 %.",
    source="gum2008",
    example="80 Hz with 5 % capacitors: 76 to 84 Hz.",
    remedy='Set filter.capacitor_tolerance = "5 %" or better, and buy such capacitors.',
)
def corner_spread(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    window = design.filter.low_pass
    farthest = max(abs(window.rss_high_hz - window.target_hz), abs(window.target_hz - window.rss_low_hz))
    yield Measure(
        quantity="low-pass corner off its target, over tolerance",
        value=farthest / window.target_hz,
        limit=_CORNER_SPREAD,
        dimension="share",
    )


@rule(
    "FIL-08",
    stage="filter",
    severity="stop",
    title="Supply of the op-amps",
    what="Total op-amp supply at the lowest and the highest rail against what the op-amp needs and stands.",
    why="The filter's supply hangs on rails that follow the battery up and down.",
    limit="Least and greatest total supply of the op-amp.",
    source="horowitz-hill",
    example="Two 12 V zeners ± 5 % are at most 25.2 V: below 36 V.",
    remedy='Set filter.op_amp_supply = "regulator", or choose another op-amp (filter.op_amp).',
    near=0.05,
)
def op_amp_supply(design: Design) -> Iterator[Measure]:
    """Measure the supply in V."""
    supply = design.filter.op_amp_supply
    yield Measure(
        quantity="op-amp supply",
        value=supply.low_v,
        limit=supply.limit_low_v,
        dimension="voltage",
        sense="at least",
        at="lowest rail",
    )
    yield Measure(
        quantity="op-amp supply",
        value=supply.high_v,
        limit=supply.limit_high_v,
        dimension="voltage",
        at="highest rail",
    )


@rule(
    "FIL-09",
    stage="filter",
    severity="note",
    title="The cone stays in the middle",
    what="How far the filter's largest direct voltage, through the amplifier's gain, pushes the cone off "
    "centre; not where the output is coupled by a capacitor.",
    why="Offsets of op-amps add up, the amplifier multiplies them: the cone loses stroke on one side, and "
    "there is a thump at switch-on.",
    limit="A tenth of the driver's xmax; common practice, no source.",
    source="derived",
    example="30 mV × 27 = 0.8 V into 3.2 Ω: 0.25 A × 10 T·m × 0.5 mm/N = 1.3 mm, against 1.1 mm of an xmax "
    "of 11 mm.",
    remedy='Set filter.output_coupling = "auto", choose an op-amp with less offset and bias '
    "(filter.op_amp), or lower filter.gain.",
)
def filter_offset(design: Design) -> Iterator[Measure]:
    """Measure the displacement in m."""
    levels, driver, amplifier = design.filter.levels, design.driver, design.amplifier
    if levels.output_offset_v == 0.0:
        return
    gain = amplifier.peak_v / (sqrt(2.0) * levels.full_output_v)
    direct_a = gain * abs(levels.output_offset_v) / (driver.re_ohm + amplifier.output_resistance_ohm)
    yield Measure(
        quantity="cone off centre",
        value=driver.bl_tm * direct_a * driver.cms_m_per_n,
        limit=_OFF_CENTRE * driver.xmax_m,
        dimension="length",
    )


@rule(
    "FIL-10",
    stage="filter",
    severity="note",
    title="Ends of the swept corner",
    what="Corner of the low-pass at either end of the ganged potentiometer, against the ends asked for.",
    why="Tracks come in three values a decade: the real range is never quite the one on the front panel.",
    limit="15 %.",
    source="ti-sloa049",
    example="40 to 120 Hz asked for, 38 to 122 Hz from the parts: 5 %.",
    remedy='Set filter.capacitor_series = "E12", or move filter.sweep_low and filter.sweep_high.',
)
def sweep_ends(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    sweep = design.filter.sweep
    if sweep is None:
        return
    for name, real, wanted in (
        ("lower", sweep.low_hz, sweep.low_target_hz),
        ("upper", sweep.high_hz, sweep.high_target_hz),
    ):
        yield Measure(
            quantity=f"{name} end of the swept corner off its target",
            value=abs(real / wanted - 1.0),
            limit=_SWEEP_ERROR,
            dimension="share",
        )


@rule(
    "FIL-11",
    stage="filter",
    severity="note",
    title="Tracking of the ganged potentiometer",
    what="Largest change of the level at the swept corner when the tracks differ by filter.gang_tracking.",
    why="Tracks that run apart move the poles apart: the slope is no longer the one that was chosen.",
    limit="1 dB; common practice, no source.",
    source="common-practice",
    example="Tracks 10 % apart in a fourth-order low-pass: some tenths of a decibel.",
    remedy="Choose a better potentiometer and state its filter.gang_tracking, or fix the corner.",
)
def sweep_tracking(design: Design) -> Iterator[Measure]:
    """Measure the change in dB."""
    sweep = design.filter.sweep
    if sweep is not None:
        yield Measure(
            quantity="level at the corner, tracks apart",
            value=sweep.tracking_db,
            limit=_TRACKING_DB,
            dimension="level",
            at=f"tracks {100 * sweep.tracking:.0f} % apart",
        )


@rule(
    "FIL-12",
    stage="filter",
    severity="warn",
    title="Reach of the gain control",
    what="Input that gives full output with the gain control at its top and the least resistance that its "
    "track may have, against filter.sensitivity.",
    why="Tracks are ± 20 %: a weak radio must still drive the box to its limit.",
    limit="1.3 times filter.sensitivity; common practice, no source.",
    source="common-practice",
    example="0.25 V asked for, 0.30 V with a track that is 20 % low.",
    remedy="Lower filter.sensitivity, or measure the track and pick a better one.",
)
def gain_reach(design: Design) -> Iterator[Measure]:
    """Measure the input in V."""
    knob = design.filter.gain_control
    if knob is not None:
        yield Measure(
            quantity="least input that certainly gives full output",
            value=knob.reach_v,
            limit=_REACH * design.spec.filter.sensitivity_v,
            dimension="voltage",
        )


@rule(
    "FIL-13",
    stage="filter",
    severity="warn",
    title="What an equaliser asks of amplifier and cone",
    what="Highest gain of bass boost and box transform together, 10 to 500 Hz, over their gain in the middle "
    "of the band.",
    why="Every 3 dB of lift doubles the power asked for there: the rest of the band may play at half of it, "
    "and the cone's stroke grows as fast as the voltage.",
    limit="12 dB; common practice, no source.",
    source="linkwitz1978",
    example="A box of 62 Hz made to play as one of 31 Hz: 12 dB at the bottom.",
    remedy="Raise filter.transform, or lower filter.boost.",
)
def equaliser_lift(design: Design) -> Iterator[Measure]:
    """Measure the lift in dB."""
    blocks = [
        b for b in design.filter.blocks if b.kind == "transform" or (b.kind == "infrasonic" and _peaked(b))
    ]
    if not blocks:
        return
    gain = np.ones(design.filter.frequency_hz.shape)
    for block in blocks:
        gain = gain * np.abs(block.response.at(design.filter.frequency_hz)) / abs(block.gain)
    yield Measure(
        quantity="lift by bass boost and box transform",
        value=20.0 * log10(float(gain.max())),
        limit=_LIFT_DB,
        dimension="level",
    )


@rule(
    "FIL-14",
    stage="filter",
    severity="note",
    title="The low-pass has the shape of its alignment",
    what="Largest difference between the low-pass as built and its alignment, from a quarter of the corner "
    "to twice it, each at its own corner.",
    why="Stages whose poles or Q are off make humps and dips that no setting of the corner takes away.",
    limit="1 dB; common practice, no source.",
    source="common-practice",
    example="The stage of Q 2.9 in a Chebyshev low-pass of order 4 and 0.5 dB, its pole 3 % off: 0.5 dB.",
    remedy='Set filter.resistor_series = "E96" or filter.capacitor_series = "E12", let the drawer hold more '
    "values, or choose an alignment with a lower Q (filter.alignment).",
)
def shape(design: Design) -> Iterator[Measure]:
    """Measure the difference in dB."""
    yield Measure(
        quantity=f"{design.filter.alignment} low-pass off its shape",
        value=design.filter.shape_miss_db,
        limit=_SHAPE_DB,
        dimension="level",
    )


def _peaked(block: FilterBlock) -> bool:
    return block.q is not None and block.q > 0.75
