"""Rules on the power amplifier and on the balance of the whole chain."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.physics.class_d import PUMPING_WORST_MODULATION, rail_pumping_v, reactive_pumping_v
from subwright.stages.amplifier_supply_capacitors import supply_capacitors
from subwright.stages.common import Corner, Level

__all__ = [
    "carrier",
    "dead_time_distortion",
    "device_current",
    "device_voltage",
    "energy",
    "filter_corner",
    "filter_damping",
    "least_impedance",
    "output_capacitors",
    "power_reached",
    "pumping",
    "reactive_load",
    "stuck_output",
]


@rule(
    "AMP-01",
    stage="amplifier",
    severity="warn",
    title="The power asked for is reached",
    what="Sine power into the rated load at the onset of clipping, nominal battery, all sag included.",
    why="The figure on the cover must be one that the bench can repeat.",
    limit="98 % of the target.",
    source="iec-60268-5",
    example="A target of 150 W met by 149 W passes; 120 W does not.",
    remedy="Raise the turns ratio (transformer.secondary_turns), thicken the cable, or lower goal.power.",
)
def power_reached(design: Design) -> Iterator[Measure]:
    """Measure the power in W."""
    yield Measure(
        quantity="sine power at clipping, nominal battery",
        value=design.point(Corner.NOMINAL, Level.FULL).output_w,
        limit=0.98 * design.goal.power_w,
        dimension="power",
        sense="at least",
        severity="stop" if design.amplifier.from_battery else None,
        remedy=_bridge_remedy(design) if design.amplifier.from_battery else "",
    )


def _bridge_remedy(design: Design) -> str:
    if design.amplifier.rails == "raised":
        return "Raise converter.rail, thicken the cable (supply.section), or lower goal.power."
    return (
        "A bridge straight from the battery can't give more into this load: lower goal.power, use a driver "
        'of lower impedance, or set amplifier.kind = "class_d_half_bridge" and let a converter make rails.'
    )


@rule(
    "AMP-02",
    stage="amplifier",
    severity="stop",
    title="Voltage of the output devices",
    what="Highest voltage across an output device, pumped rails included, plus the reserve for ringing.",
    why="A MOSFET that avalanches on every edge dies of heat; one that breaks down dies at once.",
    limit="Rated voltage less amplifier.voltage_reserve.",
    source="st-std50n03l",
    example="±35 V pumped by 10 % are 77 V between the rails: a 100 V device keeps 20 % free.",
    remedy="Choose a device of the next voltage class (amplifier.mosfet), or lower goal.power.",
)
def device_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    amplifier = design.amplifier
    expected = amplifier.switch_voltage_v
    if design.converter is not None:
        pumped = 1.0 + design.spec.amplifier.pumping_limit if amplifier.pumping_v is not None else 1.0
        expected = 2.0 * design.converter.rail_unloaded_v * pumped
    yield Measure(
        quantity="voltage across an output device",
        value=expected,
        limit=amplifier.switch_voltage_limit_v * (1.0 - amplifier.switch_voltage_margin_needed),
        dimension="voltage",
        at="highest battery, no load",
    )


@rule(
    "AMP-03",
    stage="amplifier",
    severity="stop",
    title="Peak current of the output devices",
    what="Crest current into the lowest impedance reckoned with (80 % of the nominal one).",
    why="Loudspeakers dip below their nominal impedance, and clipping happens into the dip.",
    limit="What the devices carry hot, with the stage's own reserve.",
    source="iec-60268-5",
    example="35 V at the crest into 3.2 Ω are 11 A.",
    remedy="Choose stronger devices (amplifier.mosfet), or a driver of higher impedance.",
    near=0.1,
)
def device_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    yield Measure(
        quantity="crest current into the lowest impedance",
        value=design.amplifier.switch_peak_a,
        limit=design.amplifier.switch_peak_limit_a,
        dimension="current",
    )


@rule(
    "AMP-04",
    stage="amplifier",
    severity="warn",
    title="Rail pumping by the half-bridge",
    what="Rise of the idling rail at the lowest note, worst modulation, with the rail capacitors fitted.",
    why="A half-bridge pushes charge back into the rail that rests; the converter can't take it back, so the "
    "capacitors must hold it.",
    limit="amplifier.pumping_limit, as a share of the rail.",
    source="ir-iraudamp4",
    example="±50 V, 20 Hz, 4 Ω and 4700 µF: 6.7 V.",
    remedy="Raise converter.reservoir, raise goal.lowest_note, or use a full bridge.",
    near=0.05,
)
def pumping(design: Design) -> Iterator[Measure]:
    """Measure the rise in V."""
    amplifier, converter = design.amplifier, design.converter
    if converter is None or amplifier.pumping_limit_v is None:
        return
    bank = converter.reservoir_bank
    least_f = bank.capacitance_f * (1.0 - bank.capacitor.tolerance)
    yield Measure(
        quantity="rise of the idling rail",
        value=rail_pumping_v(
            design.point(Corner.NOMINAL, Level.FULL).rail_mean_v,
            PUMPING_WORST_MODULATION,
            design.goal.lowest_note_hz,
            amplifier.load_ohm,
            least_f,
        ),
        limit=amplifier.pumping_limit_v,
        dimension="voltage",
        at=f"{design.goal.lowest_note_hz:g} Hz",
    )
    box = design.enclosure
    played = box.frequency_hz >= design.goal.lowest_note_hz
    rises = reactive_pumping_v(
        design.point(Corner.NOMINAL, Level.FULL).rail_mean_v,
        box.frequency_hz[played],
        box.impedance_ohm[played],
        least_f,
    )
    worst = int(np.argmax(rises))
    yield Measure(
        quantity="rise of the idling rail, the driver's own impedance",
        value=float(rises[worst]),
        limit=amplifier.pumping_limit_v,
        dimension="voltage",
        at=f"{box.frequency_hz[played][worst]:.0f} Hz",
    )


@rule(
    "AMP-05",
    stage="amplifier",
    severity="note",
    title="Corner of the output filter",
    what="Corner of the class-D output filter from the real inductor and capacitor, against its target.",
    why="Too low eats treble that nobody misses here but peaks with an open load; too high lets the carrier "
    "out.",
    limit="Within a quarter of the target, upwards and downwards.",
    source="ti-slaa701",
    example="22 µH and 680 nF: 41 kHz for a target of 40 kHz.",
    remedy="Set amplifier.filter_capacitor, or amplifier.filter_corner.",
)
def filter_corner(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    amplifier = design.amplifier
    if amplifier.filter_corner_hz is None or amplifier.filter_corner_target_hz is None:
        return
    ratio = amplifier.filter_corner_hz / amplifier.filter_corner_target_hz
    yield Measure(
        quantity="output filter corner off its target",
        value=max(ratio, 1.0 / ratio) - 1.0,
        limit=0.25,
        dimension="share",
    )


@rule(
    "AMP-06",
    stage="amplifier",
    severity="note",
    title="Damping of the output filter",
    what="Q of the output filter at the rated load.",
    why="A high Q rings on every edge and with every load above the nominal one.",
    limit="Q at most 1.0; 0.707 is flat.",
    source="ti-slaa701",
    example="15 µH and 680 nF per leg at 6 Ω bridged: Q 0.64.",
    remedy="Larger capacitor at the same corner, or fit the damping network.",
)
def filter_damping(design: Design) -> Iterator[Measure]:
    """Measure Q, dimensionless."""
    if design.amplifier.filter_q is not None:
        yield Measure(
            quantity="Q of the output filter", value=design.amplifier.filter_q, limit=1.0, dimension="ratio"
        )


@rule(
    "AMP-07",
    stage="amplifier",
    severity="stop",
    title="Least impedance of the driver",
    what="Lowest modulus of the driver's impedance in its box, 10 to 500 Hz, against the lowest that the "
    "amplifier is reckoned for.",
    why="Currents, switches and cable are sized for 80 % of the nominal impedance.",
    limit="80 % of the rated load impedance.",
    source="iec-60268-5",
    example="A nominal 4 Ω driver must stay above 3.2 Ω.",
    remedy="Set amplifier.load to the impedance that the driver really has.",
    near=0.02,
)
def least_impedance(design: Design) -> Iterator[Measure]:
    """Measure the impedance in Ω."""
    yield Measure(
        quantity="least impedance of the driver in its box",
        value=float(abs(design.enclosure.impedance_ohm).min()),
        limit=design.amplifier.load_least_ohm,
        dimension="resistance",
        sense="at least",
    )


@rule(
    "AMP-08",
    stage="amplifier",
    severity="warn",
    title="An output stuck to a rail",
    what="Heat in the voice coil if an output device shorts, against the driver's rated power.",
    why="A shorted switch puts the whole rail on the coil: without a DC detector and relay the coil burns in "
    "seconds, and so may the box.",
    limit="The driver's rated noise power.",
    source="common-practice",
    example="35 V on a coil of 3.4 Ω are 360 W of direct current.",
    remedy="Fit a DC detector with a relay or MOSFET switch of sufficient DC-breaking rating in the speaker "
    "lead: speaker_guard.switch.",
)
def stuck_output(design: Design) -> Iterator[Measure]:
    """Measure the heat in W; with a detector and a switch fitted the rules SPK judge them instead."""
    if design.speaker_guard is not None and design.speaker_guard.fitted:
        return
    yield Measure(
        quantity="heat in the coil with a stuck output",
        value=(design.amplifier.stuck_a * design.amplifier.load_ohm) ** 2 / design.driver.re_ohm,
        limit=design.driver.power_w,
        dimension="power",
    )


@rule(
    "AMP-09",
    stage="amplifier",
    severity="note",
    title="Distortion by dead time, before feedback",
    what="The published estimate from dead time, switching frequency and rail; feedback lowers it.",
    why="Dead time takes a fixed bite at each zero crossing; at low level it is all one hears.",
    limit="5 % at full drive, open loop; common practice, no source.",
    source="honda-cerezo2003",
    example="40 ns at 200 kHz lose 0.8 % of the bus at each crossing.",
    remedy="Shorten amplifier.dead_time, lower amplifier.switching, or close a feedback loop around the "
    "stage.",
)
def dead_time_distortion(design: Design) -> Iterator[Measure]:
    """Measure the estimate as a share."""
    if design.amplifier.dead_time_thd is not None:
        yield Measure(
            quantity="distortion by dead time, open loop",
            value=design.amplifier.dead_time_thd,
            limit=0.05,
            dimension="share",
        )


@rule(
    "AMP-10",
    stage="amplifier",
    severity="warn",
    title="Class AB into a reactive load",
    what="Hardest instant of one output device with the load 0, 45 or 60 degrees reactive at any drive, "
    "charging battery, against its safe operating area with the case at 85 °C. A chip, whose area nobody "
    "prints: against the heat it loses with its case at 100 °C.",
    why="A loudspeaker stores energy: the device that conducts may have more than the whole rail across it. "
    "At bass notes the instant lasts milliseconds, which a junction can't average out, and at high voltage "
    "second breakdown allows less than the heat would.",
    limit="The whole of the area: current, power and second breakdown, for steady current.",
    source="self-apad",
    example="±40 V into 4 Ω: 100 W at most into a resistor; at 45 degrees and 5.7 Ω 200 W, at 40 V.",
    remedy='Add pairs or choose stronger ones (amplifier.ab_output = "pair"), lower goal.power, or take '
    'class D (amplifier.kind = "class_d_half_bridge").',
    near=0.05,
)
def reactive_load(design: Design) -> Iterator[Measure]:
    """Measure the share of the safe operating area."""
    amplifier = design.amplifier
    if amplifier.reactive_share > 0.0:
        yield Measure(
            quantity="safe operating area of one output device",
            value=amplifier.reactive_share,
            limit=1.0,
            dimension="share",
            at=f"load {amplifier.reactive_deg:.0f} degrees reactive",
        )


@rule(
    "AMP-11",
    stage="amplifier",
    severity="warn",
    title="The carrier stays above the output filter",
    what="Lowest switching frequency, at the modulator's limit, against the output filter's corner.",
    why="A self-oscillating modulator slows down towards the crests: a carrier that slides into the "
    "filter's band "
    "comes out at the loudspeaker, and the ripple grows.",
    limit="Twice the corner; common practice, no source.",
    source="common-practice",
    example="200 kHz at rest and 90 % modulation leave 38 kHz: too low for a filter of 25 kHz.",
    remedy="Raise amplifier.switching, lower amplifier.modulation_max, or set amplifier.modulator = "
    '"clocked".',
)
def carrier(design: Design) -> Iterator[Measure]:
    """Measure the frequency in Hz."""
    amplifier = design.amplifier
    if amplifier.filter_corner_hz is not None:
        yield Measure(
            quantity="lowest switching frequency",
            value=amplifier.switching_least_hz,
            limit=2.0 * amplifier.filter_corner_hz,
            dimension="frequency",
            sense="at least",
        )


@rule(
    "AMP-17",
    stage="amplifier",
    severity="warn",
    title="Ripple current of the capacitors at the output devices",
    what="Current of the film across each class-D leg, a full sine into the least load, its leads to the "
    "reservoir beside it; of a linear stage on the battery, what its bank takes of the notes.",
    why="Each period the leg's current comes and goes between the rails, and the film carries what the leads "
    "don't bring in time. A hot film ages and fails.",
    limit="The film: 10 K of its own heat, by the dielectric's loss and the case, from memory. The bank: its "
    "rated ripple current.",
    source="common-practice",
    example="12 A at 200 kHz make 3.8 A in 1 µF: polyester would stand 2.3 A, polypropylene 4.5 A.",
    remedy="Raise amplifier.switching, lower goal.power, or fit two films of the same value on each leg.",
)
def output_capacitors(design: Design) -> Iterator[Measure]:
    """Measure the currents in A rms."""
    amplifier = design.amplifier
    for each in supply_capacitors(amplifier):
        if each.dielectric:
            yield Measure(
                quantity="ripple current of the film at a leg",
                value=each.ripple_a,
                limit=each.ripple_limit_a,
                dimension="current",
                at=f"{each.dielectric}, full sine, least load",
            )
    if amplifier.rails == "battery" and not amplifier.recirculates:
        yield Measure(
            quantity="ripple current of the bank at the supply",
            value=amplifier.rail_ripple_a,
            limit=amplifier.input_capacitor_limit_a,
            dimension="current",
            at="full sine, highest note",
        )


@rule(
    "BAL-01",
    stage="amplifier",
    severity="stop",
    title="Energy balance from battery to air",
    what="Power out of the battery less every named loss and the sound radiated, over the former.",
    why="If watts go missing the design does not describe one consistent machine, and no other number "
    "counts.",
    limit="0.1 %.",
    source="derived",
    example="240 W from the battery must be explained to within 0.24 W.",
    remedy="This is a fault of the programme: please report it with the build file.",
)
def energy(design: Design) -> Iterator[Measure]:
    """Measure the unexplained share."""
    yield Measure(
        quantity="unexplained share of the battery's power",
        value=abs(design.balance.imbalance),
        limit=design.balance.limit,
        dimension="share",
    )
