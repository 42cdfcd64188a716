"""What goes into the filter's design."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import (
    Decibel,
    Frequency,
    Ratio,
    Resistance,
    StageSpec,
    Voltage,
    choice,
    quantity,
)

__all__ = ["FilterInput", "FilterSpec"]


class FilterSpec(StageSpec):
    """What the builder may say about the line-level filter."""

    corner_hz: Frequency = quantity("80 Hz", low="30 Hz", high="250 Hz", why="Corner of the low-pass.")
    order: Literal[2, 4] = choice(4, why="Order of the low-pass: 2 falls at 12 dB, 4 at 24 dB per octave.")
    alignment: Literal["butterworth", "linkwitz-riley", "bessel", "chebyshev"] = choice(
        "linkwitz-riley",
        why="linkwitz-riley (-6 dB at the corner) adds flat with a high-pass of its kind; butterworth and "
        "bessel are at -3 dB there; chebyshev falls fastest and ripples: see ripple and ripple_norm.",
    )
    ripple_db: Decibel = quantity(
        "0.5 dB", low="0.05 dB", high="3 dB", why="Peak-to-valley ripple of a chebyshev low-pass."
    )
    ripple_norm: Literal["half power", "ripple edge"] = choice(
        "half power",
        why="What the corner of a chebyshev low-pass means: 3.01 dB below the ripple's peaks, or the end of "
        "the ripple band. Books use either.",
    )
    topology: Literal["unity", "equal", "multiple-feedback", "state-variable"] = choice(
        "unity",
        why="Sallen–Key stages with unity gain, or with equal parts and gain (more sensitive); multiple "
        "feedback (inverts, quiet above the audio band); state-variable (three op-amps, sweeps well).",
    )
    sweep_low_hz: Frequency | None = quantity(
        None,
        low="25 Hz",
        high="200 Hz",
        why="Lower end of a corner that a ganged potentiometer sweeps; with sweep_high. Without: fixed.",
    )
    sweep_high_hz: Frequency | None = quantity(
        None, low="40 Hz", high="400 Hz", why="Upper end of the swept corner; filter.corner is its setting."
    )
    gang_tracking: Ratio = quantity(
        "10 %",
        low="0.5 %",
        high="30 %",
        why="How far the tracks of a ganged potentiometer may differ; common practice for carbon, no source.",
    )
    infrasonic_filter: Literal["auto", "on", "off"] = choice(
        "auto", why="High-pass that keeps notes below the tuning off the cone; auto: on for vented boxes."
    )
    infrasonic_hz: Frequency | None = quantity(
        None,
        low="8 Hz",
        high="60 Hz",
        why="Its corner; auto: 0.8 times the tuning, 20 Hz where there is none.",
    )
    boost_db: Decibel | None = quantity(
        None,
        low="0.5 dB",
        high="9 dB",
        why="Bass boost: gives the infrasonic high-pass a peak of this height (it is on then); none: flat.",
    )
    boost_peak_hz: Frequency | None = quantity(
        None,
        low="20 Hz",
        high="80 Hz",
        why="Where the boost peaks; auto: the tuning, 35 Hz for a closed box.",
    )
    transform_hz: Frequency | None = quantity(
        None,
        low="10 Hz",
        high="60 Hz",
        why="Resonance that a biquad gives a sealed box in place of its own; none: no biquad. Each octave "
        "down asks for four times the voltage and stroke.",
    )
    transform_q: Ratio = quantity("0.707", low="0.4", high="1.2", why="Q that goes with transform.")
    inputs: Literal["stereo", "mono"] = choice("stereo", why="Two line inputs that are summed, or one.")
    sensitivity_v: Voltage = quantity(
        "1 V",
        low="50 mV",
        high="10 V",
        why="Rms input, on every input at once, that gives full output with the level control at its top.",
    )
    gain: Ratio | None = quantity(
        None,
        low="0.02",
        high="50",
        why="Voltage gain from input to amplifier; auto: full output over sensitivity.",
    )
    sensitivity_most_v: Voltage | None = quantity(
        None,
        low="100 mV",
        high="20 V",
        why="A gain control turns the sensitivity down to this input for full output; none: fixed gain.",
    )
    gain_taper: Literal["linear", "logarithmic"] = choice(
        "linear", why="Law of the gain control's track; linear spreads the decibels best here."
    )
    phase_switch: bool = choice(True, why="Switch that turns the phase by 180°.")
    phase_control: bool = choice(
        False, why="Potentiometer that delays the phase steplessly by an all-pass, up to 150° at the corner."
    )
    level_control: bool = choice(True, why="Potentiometer for the level, with a buffer after it.")
    input_resistance_ohm: Resistance = quantity(
        "22 kohm", low="10 kohm", high="100 kohm", why="Load that each input puts on the source."
    )
    capacitor_series: Literal["E6", "E12"] = choice("E6", why="Preferred-value series of the capacitors.")
    capacitor_tolerance: Ratio = quantity("5 %", low="1 %", high="20 %", why="Their tolerance.")
    resistor_series: Literal["E12", "E24", "E96"] = choice("E24", why="Preferred-value series of resistors.")
    resistor_tolerance: Ratio = quantity("1 %", low="0.1 %", high="10 %", why="Their tolerance.")
    op_amp: str = choice("auto", why="Op-amp id from the library or drawer.")
    op_amp_supply: Literal["auto", "zener", "follower", "regulator", "battery"] = choice(
        "auto",
        why="Zener diodes, emitter followers behind zeners or adjustable regulators from the rails, or half "
        "the battery as a midpoint (through a zener where the battery is too high); auto takes zeners while "
        "they stay cool, then regulators, then followers, and the battery where there are no rails.",
    )
    output_coupling: Literal["auto", "capacitor", "none"] = choice(
        "auto",
        why="Capacitor between filter and amplifier; auto fits it: offsets of op-amps would push the "
        "cone off centre and thump at switch-on.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class FilterInput:
    """What the other stages tell this one.

    Attributes
    ----------
    full_input_v : rms voltage at the amplifier's input for full output, V.
    vented : whether the box has a port. tuning_hz : its tuning, None for a closed box.
    rail_low_v, rail_high_v : lowest and highest voltage of one rail, V; None where there are no rails.
    battery_low_v, battery_high_v : at the unit's terminals, V.
    box_hz, box_q : resonance, Hz, and Q of a sealed box; None for other boxes.
    amplifier_input_ohm : resistance to ground at the amplifier's input, Ω.
    receiver_op_amps : amplifiers of the inputs, which share supply and cases.
    receiver_gain : their output over a line source, V/V.
    draws, seed : random builds for the band, and the generator's seed.
    """

    full_input_v: float
    vented: bool = False
    tuning_hz: float | None = None
    rail_low_v: float | None = None
    rail_high_v: float | None = None
    battery_low_v: float
    battery_high_v: float
    box_hz: float | None = None
    box_q: float | None = None
    amplifier_input_ohm: float = 22e3
    receiver_op_amps: int = 0
    receiver_gain: float = 1.0
    draws: int = 500
    seed: int = 1
