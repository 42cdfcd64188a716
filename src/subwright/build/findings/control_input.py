"""Rules on the inputs and on the signal chain as a whole."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = [
    "chain_headroom",
    "common_mode",
    "fault_current",
    "ground_noise",
    "noise_at_the_ears",
    "output_filter_peak",
    "speaker_pad",
]

_PAD_MISS = 0.1
_HEARING_DB = 26.0


@rule(
    "INP-01",
    stage="input",
    severity="note",
    title="Noise between the grounds",
    what="Full output over the noise between the radio's ground and this unit's that the inputs let through, "
    "worst case of the resistors.",
    why="Alternator whine comes in through the screen of the signal lead: the converter's ground and the "
    "radio's are never at the same voltage.",
    limit="50 dB; common practice, no source.",
    source="sedra-smith",
    example="1 V over 50 mV is 26 dB; a difference amplifier of 1 % parts adds 34 dB.",
    remedy='Set input.receiver = "difference"; a lower input.resistor_tolerance adds 6 dB for each halving.',
)
def ground_noise(design: Design) -> Iterator[Measure]:
    """Measure the ratio in dB."""
    entry = design.input
    yield Measure(
        quantity="full output over ground noise",
        value=entry.noise_db,
        limit=entry.noise_limit_db,
        dimension="level",
        sense="at least",
        at=entry.receiver,
    )


@rule(
    "INP-02",
    stage="input",
    severity="stop",
    title="Common mode at the receiver",
    what="Peak voltage at the op-amp's inputs from what both leads share, half a charging battery included.",
    why="Bridged loudspeaker outputs rest at half the battery: op-amp inputs pushed past their range fold "
    "the "
    "signal over.",
    limit="One side of the op-amps' supply less 3 V.",
    source="common-practice",
    example="7.4 V at rest and 0.8 V of music reach the inputs as 4 V, of 10 V allowed.",
    remedy="State what the radio's outputs really rest on (input.speaker_rest), lower input.speaker, or "
    'raise the op-amps\' supply (filter.op_amp_supply = "regulator").',
)
def common_mode(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    entry = design.input
    if entry.receiver == "difference":
        yield Measure(
            quantity="common mode at the op-amp's inputs",
            value=entry.common_mode_v,
            limit=entry.common_mode_limit_v,
            dimension="voltage",
        )


@rule(
    "INP-03",
    stage="input",
    severity="warn",
    title="Wrong voltage on an input",
    what="Current through a clamp diode with input.fault on the input.",
    why="In a van a plug sooner or later meets battery plus: the series resistor must hold what the diode "
    "can't.",
    limit="Continuous current of the clamp diode.",
    source="common-practice",
    example="16 V on 1 kΩ, clamped at 12 V: 3 mA.",
    remedy="Lower input.fault to what can really happen, or fit a larger series resistor.",
)
def fault_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    yield Measure(
        quantity="current through a clamp diode",
        value=design.input.clamp_a,
        limit=design.input.clamp_limit_a,
        dimension="current",
        at="fault on the input",
    )


@rule(
    "INP-04",
    stage="input",
    severity="note",
    title="Loss of the loudspeaker-level pad",
    what="Source voltage for full output with the pad's real values, against input.speaker.",
    why="A pad that takes too much leaves power unused; one that takes too little wastes the level control.",
    limit="10 % either way; common practice, no source.",
    source="derived",
    example="8 V wanted, 8.1 V with 1 kΩ, 1 kΩ and 300 Ω.",
    remedy='Set input.resistor_series = "E96", or input.speaker to what the radio gives.',
)
def speaker_pad(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    if design.input.source == "speaker":
        yield Measure(
            quantity="source voltage for full output off its target",
            value=abs(design.input.source_v / design.spec.input.speaker_v - 1.0),
            limit=_PAD_MISS,
            dimension="share",
        )


@rule(
    "SIG-01",
    stage="signal",
    severity="warn",
    title="Headroom along the line-level chain",
    what="Least room between the highest peak and clipping of any line-level node, receivers included, at "
    "full "
    "output.",
    why="Only the power amplifier may clip: what an op-amp has squared can't be undone after it.",
    limit="0 dB; FIL-04 asks for more in the filter itself.",
    source="self-ssad",
    example="A peak of 4 V on op-amps that reach 12 V: 9.5 dB.",
    remedy="Lower amplifier.full_input, or give the op-amps more supply (filter.op_amp_supply).",
    near=0.0,
)
def chain_headroom(design: Design) -> Iterator[Measure]:
    """Measure peak over clipping as a share."""
    signal = design.signal
    yield Measure(
        quantity=f"peak over clipping, {signal.headroom_at}",
        value=10.0 ** (-signal.headroom_db / 20.0),
        limit=1.0,
        dimension="share",
    )


@rule(
    "SIG-03",
    stage="signal",
    severity="note",
    title="Noise where one listens",
    what="Sound pressure level that the line filter's own noise makes, 10 to 500 Hz, level control at its "
    "top: in the vehicle at the ears, in the open at 1 m.",
    why="Hiss and rumble with nothing playing are what a parked vehicle lets one hear.",
    limit="26 dB SPL, the threshold of hearing at 100 Hz.",
    source="iso-226",
    example="2 µV at the amplifier's input, 105 dB SPL for 1 V: −9 dB SPL.",
    remedy="Take a quieter op-amp (filter.op_amp), or raise filter.sensitivity so that less gain is needed.",
)
def noise_at_the_ears(design: Design) -> Iterator[Measure]:
    """Measure the level in dB SPL; a negative one counts as none."""
    place = design.signal.air[-1]
    yield Measure(
        quantity="noise of the line filter, dB SPL",
        value=max(place.noise_db, 0.0),
        limit=_HEARING_DB,
        dimension="level",
        at=place.name,
    )


@rule(
    "SIG-02",
    stage="signal",
    severity="note",
    title="Output filter on the driver's own impedance",
    what="Highest gain of the class-D output filter, 1 to 300 kHz, with the driver in its box as its load.",
    why="A voice coil is an inductor up there: it doesn't damp the filter, which then rings and feeds radio "
    "noise into the leads.",
    limit="6 dB; common practice, no source.",
    source="erickson2001",
    example="A filter for 4 Ω on a coil of 300 Ω at 40 kHz: 3 dB with its damping network, over 20 dB "
    "without.",
    remedy="Fit the damping network, or raise amplifier.filter_capacitor.",
)
def output_filter_peak(design: Design) -> Iterator[Measure]:
    """Measure the gain in dB."""
    peak = design.signal.peak
    if peak is not None:
        yield Measure(
            quantity="highest gain of the output filter",
            value=peak.peak_db,
            limit=peak.limit_db,
            dimension="level",
            at=f"{peak.peak_hz / 1e3:.0f} kHz",
        )
