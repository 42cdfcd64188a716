"""What goes into and comes out of the design of the inputs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import Frequency, Ratio, Resistance, StageSpec, Voltage, choice, quantity
from subwright.stages.common import Contributor, Loss, PartUse

__all__ = ["InputNeed", "InputResult", "InputSpec"]


class InputSpec(StageSpec):
    """What the builder may say about the inputs."""

    source: Literal["line", "speaker"] = choice(
        "line",
        why="Line outputs (phono sockets), or the loudspeaker terminals of a radio, bridged or not. How many "
        "channels: filter.inputs.",
    )
    receiver: Literal["auto", "single-ended", "difference"] = choice(
        "auto",
        why="A difference amplifier reads between signal and screen and so rejects ground noise; "
        "single-ended adds it to the music. auto: difference for loudspeaker terminals, single-ended for "
        "line outputs.",
    )
    speaker_v: Voltage = quantity(
        "8 V",
        low="1 V",
        high="40 V",
        why="Rms voltage of the radio's loudspeaker terminals at its loudest clean level; a bridged radio on "
        "14.4 V reaches about 9 V.",
    )
    speaker_rest_v: Voltage | None = quantity(
        None,
        low="0 V",
        high="30 V",
        why="What the radio's loudspeaker terminals rest on above ground, bridged outputs at half their "
        "supply; auto: half of the highest battery voltage on 12 V and 24 V, 8 V on more, which no radio "
        "runs from.",
    )
    source_output_ohm: Resistance = quantity(
        "220 ohm",
        low="0 ohm",
        high="2 kohm",
        why="Output resistance of the line source, in its signal lead only; unbalances a difference "
        "amplifier.",
    )
    ground_noise_v: Voltage = quantity(
        "50 mV",
        low="0.1 mV",
        high="2 V",
        why="Rms noise between the radio's ground and this unit's, alternator whine included; common "
        "practice, no source: measure it.",
    )
    resistance_ohm: Resistance = quantity(
        "22 kohm", low="10 kohm", high="100 kohm", why="Resistors of the difference amplifier."
    )
    resistor_tolerance: Ratio = quantity("1 %", low="0.05 %", high="5 %", why="Their tolerance.")
    resistor_series: Literal["E12", "E24", "E96"] = choice("E24", why="Their preferred-value series.")
    rf_corner_hz: Frequency = quantity(
        "150 kHz", low="50 kHz", high="1 MHz", why="Corner of the filter that keeps radio signals out."
    )
    fault_v: Voltage | None = quantity(
        None,
        low="1 V",
        high="60 V",
        why="Highest voltage that a wrong plug may put on an input: the series resistor limits what the "
        "clamp diodes then carry; auto: the highest battery voltage, at least 16 V.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class InputNeed:
    """What the other stages tell this one.

    Attributes
    ----------
    channels : 1 or 2. sensitivity_v : rms at the filter's input for full output, V.
    summing_ohm : input resistance of the summing amplifier that follows, Ω.
    side_v : least voltage of one side of the op-amps' supply, V.
    reference_v : what the op-amps' ground stands at over the unit's, V: 0 with split rails, half the battery
        where they run from it.
    battery_max_v : highest battery voltage, V.
    draws, seed : random builds.
    """

    channels: Literal[1, 2]
    sensitivity_v: float
    summing_ohm: float
    side_v: float
    battery_max_v: float
    reference_v: float = 0.0
    draws: int = 2000
    seed: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class InputResult:
    """The inputs as built.

    Attributes
    ----------
    source, receiver : what they take, and how. channels : 1 or 2. op_amps : amplifiers that they use.
    leads : signal leads of each channel that have a series resistor, 1 or 2.
    series_ohm : in each lead, Ω. shunt_ohm : across a pad, Ω; None where there is none.
    rf_f : from each lead to ground, F. rf_corner_hz : its corner, Hz.
    difference_in_ohm, difference_out_ohm : input resistors, and feedback and ground resistors, Ω; None
        without a difference amplifier.
    gain : output of one channel over its source, V/V. source_v : rms at the source for full output, V.
    output_v : rms at the summing amplifier then, V. load_ohm : load on the source, Ω.
    resting_v : what both leads rest on above ground, V. fault_v : that a wrong plug may put there, V.
    pad_w : heat in the whole pad at ``source_v``, one channel, W. resistor_w : in each series resistor, W.
    rejection_worst_db, rejection_p1_db, rejection_median_db : common-mode rejection with every part at a
        limit, and of random builds (1st percentile and median), dB; 0 where single-ended.
    rejection_matched_db : the worst case had the source no resistance, dB.
    ground_noise_v : between the grounds, V rms. noise_db : full output over what of it comes through, worst
        case, dB. noise_limit_db : least that is sensible.
    common_mode_v, common_mode_limit_v : peak at the op-amp's inputs, and what they stand, V.
    clamp_id, clamp_v : diode to each supply of the op-amps, and its drop, V; or, where these run from the
        battery and the source rests on ground, zener diodes back to back to ground, and where they hold.
    clamp_a, clamp_limit_a : through the clamp with the fault on the input, and what it stands, A.
    fault_w : heat in the series resistor then, W.
    """

    source: Literal["line", "speaker"]
    receiver: Literal["single-ended", "difference"]
    channels: int
    op_amps: int
    leads: int
    series_ohm: float
    shunt_ohm: float | None
    rf_f: float
    rf_corner_hz: float
    difference_in_ohm: float | None
    difference_out_ohm: float | None
    gain: float
    source_v: float
    output_v: float
    load_ohm: float
    resting_v: float
    fault_v: float
    pad_w: float
    resistor_w: float
    rejection_worst_db: float
    rejection_p1_db: float
    rejection_median_db: float
    rejection_matched_db: float
    ground_noise_v: float
    noise_db: float
    noise_limit_db: float
    common_mode_v: float
    common_mode_limit_v: float
    clamp_id: str
    clamp_v: float
    clamp_a: float
    clamp_limit_a: float
    fault_w: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
