"""Rules on the voltage stage of discrete class AB: current, speed, margin, offset, mute and gain."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier_voltage_stage import LEAST_MARGIN_DEG

__all__ = [
    "drive_current",
    "gain_to_the_load",
    "headroom",
    "limiter",
    "mute",
    "phase_margin",
    "slew_rate",
    "steady_voltage",
]


@rule(
    "VST-01",
    stage="amplifier",
    severity="stop",
    title="Current that the drivers ask of the voltage stage",
    what="Current of the voltage amplifier at rest, against the greatest that the drivers' bases take at "
    "their least gain, or the gates at full output and 20 kHz.",
    why="Its current source is all that lifts the upper half: short of current the crests clip early, on "
    "one side only, and the loop is open while they do.",
    limit="No less than the drivers ask.",
    source="self-apad",
    example="10 A over a gain of 20 and one of 50 ask for 10 mA: 15 mA have half as much again in hand.",
    remedy="Leave amplifier.stage_current out, or raise it; lower goal.power.",
    near=0.1,
)
def drive_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="current of the voltage stage",
            value=stage.stage_a,
            limit=stage.need_a,
            dimension="current",
            sense="at least",
            at="least gain, greatest crest",
        )


@rule(
    "VST-02",
    stage="amplifier",
    severity="warn",
    title="Slew rate of the voltage stage",
    what="The pair's current over the Miller capacitor, against the slope of a full sine of 20 kHz.",
    why="A subwoofer plays no 20 kHz, but a loop that can't follow what reaches it is open, and a switch "
    "or a radio burst gets through as a thump.",
    limit="The slope of a full sine of 20 kHz.",
    source="gray-meyer",
    example="1.1 mA into 110 pF: 10 V/µs; a full sine of 20 kHz and 40 V asks for 5.0 V/µs.",
    remedy="Leave amplifier.pair_current out, or raise it.",
    near=0.1,
)
def slew_rate(design: Design) -> Iterator[Measure]:
    """Measure the slew rate in V/s."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="slew rate",
            value=stage.slew_v_per_s,
            limit=stage.slew_needed_v_per_s,
            dimension="slew rate",
            sense="at least",
        )


@rule(
    "VST-03",
    stage="amplifier",
    severity="stop",
    title="Phase margin of the amplifier's loop",
    what="Phase left where the loop gain is one: 90° of the Miller capacitor, less the lag of output "
    "devices, drivers, voltage amplifier and mirror.",
    why="With little left the amplifier rings, and with a cable's capacitance it oscillates: the output "
    "transistors burn without a sound.",
    limit="60°.",
    source="gray-meyer",
    example="Unity at 500 kHz with outputs of 3 MHz and drivers of 30 MHz: 9.5° and 1° of lag, 79° left.",
    remedy="Leave amplifier.unity_loop out, or lower it.",
)
def phase_margin(design: Design) -> Iterator[Measure]:
    """Measure the margin in degrees."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="phase margin",
            value=stage.phase_margin_deg,
            limit=LEAST_MARGIN_DEG,
            dimension="angle",
            sense="at least",
            at=f"{stage.unity_hz / 1e3:.0f} kHz",
        )


@rule(
    "VST-04",
    stage="amplifier",
    severity="warn",
    title="Steady voltage at the loudspeaker",
    what="What the pair's base-emitter voltages, base currents in their resistors, emitter resistors and "
    "mirror may be off by, all with the worst sign, across the load.",
    why="It moves the cone off its rest and lets every switching on and off thump.",
    limit="100 mV; common practice.",
    source="common-practice",
    example="5 mV of junctions, a fifth of 5 µA in 15 kΩ and 1 mV of resistors: 21 mV.",
    remedy="Lower amplifier.input_resistance, leave amplifier.pair_current out, or pick two transistors of"
    " like gain from one strip.",
)
def steady_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="steady voltage across the load, worst signs",
            value=stage.offset_v,
            limit=0.1,
            dimension="voltage",
        )


@rule(
    "VST-05",
    stage="amplifier",
    severity="stop",
    title="Limiter of the voltage amplifier",
    what="Current at which the small transistor across its emitter resistor holds the voltage amplifier, "
    "against what it sinks at the lower crest: its source's current and the lower driver's base "
    "current.",
    why="Set too low it clips the lower crests; without one a shorted output lets the loop pull the "
    "voltage amplifier and the driver's base to destruction.",
    limit="At least what the lower crest asks; the design takes two and a half times the current at rest.",
    source="self-apad",
    example="0.6 V across 20 Ω: 30 mA, for 12 mA at rest and 8 mA of the driver's base.",
    remedy="Leave amplifier.stage_current out, or raise it.",
)
def limiter(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="current at which the limiter holds",
            value=stage.limit_a,
            limit=stage.stage_a + stage.need_a,
            dimension="current",
            sense="at least",
        )


@rule(
    "VST-06",
    stage="amplifier",
    severity="warn",
    title="Headroom that the voltage stage leaves",
    what="Least distance of the output from its supply at the crest: emitter resistor and saturation of "
    "the current source or of the voltage amplifier, driver and output junction or gate, against the "
    "drop that the rails were reckoned with.",
    why="What it takes more the crests lack: full power clips.",
    limit="The output stage's drop.",
    source="self-apad",
    example="0.6 V, 0.3 V, 0.75 V and 0.9 V: 2.6 V of the 3.5 V that the rails allow for.",
    remedy="Lower goal.power, or take more pairs at a lower current: amplifier.load.",
)
def headroom(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    stage, model = design.amplifier.voltage_stage, design.amplifier.model
    if stage is None or not isinstance(model, ClassABModel):
        return
    for side, volts in (("upper", stage.clip_upper_v), ("lower", stage.clip_lower_v)):
        yield Measure(
            quantity=f"drop from the {side} supply to the output at the crest",
            value=volts,
            limit=model.drop_v / model.legs,
            dimension="voltage",
        )


@rule(
    "VST-07",
    stage="amplifier",
    severity="warn",
    title="Mute before the voltage stage",
    what="What the two shunts leave of the signal, at the transistors' largest resistance, as a share of it.",
    why="Until rails and op-amps have settled, and after a trip, the loudspeaker must not hear them.",
    limit="A hundredth (40 dB); common practice.",
    source="common-practice",
    example="125 Ω behind 3.6 kΩ, twice: 55 dB.",
    remedy="Raise amplifier.input_resistance.",
)
def mute(design: Design) -> Iterator[Measure]:
    """Measure the share that is left."""
    stage = design.amplifier.voltage_stage
    if stage is not None:
        yield Measure(
            quantity="share of the signal that the mute leaves",
            value=10.0 ** (stage.mute_db / 20.0),
            limit=0.01,
            dimension="share",
        )


@rule(
    "VST-08",
    stage="amplifier",
    severity="warn",
    title="Gain from the line filter to the loudspeaker",
    what="Gain in preferred values, of a discrete stage or around a chip, against the one that gives full "
    "output at amplifier.full_input.",
    why="The line filter's levels are matched to it: too little gain never reaches full power, too much "
    "gives noise and clips early.",
    limit="A tenth, upwards and downwards.",
    source="derived",
    example="28.3 wanted; 15 kΩ over 360 Ω behind a divider of 0.66 gives 28.1: 1 % off.",
    remedy="Change amplifier.full_input: a vehicle chip's gain is fixed and only a divider before it can "
    "take some away.",
)
def gain_to_the_load(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    result, spec = design.amplifier, design.spec.amplifier
    if result.driving is None:
        return
    wanted = result.peak_v / sqrt(2.0) / spec.full_input_v
    driving, stage = result.driving, result.voltage_stage
    chip = (driving.fixed_gain or driving.gain) * driving.input_share
    gain = chip if stage is None else stage.gain
    yield Measure(
        quantity="gain off the wanted one",
        value=abs(gain / wanted - 1.0),
        limit=0.1,
        dimension="share",
        at=f"{gain:.1f} for {wanted:.1f}",
    )
