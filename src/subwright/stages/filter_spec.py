"""What goes into the filter's design."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import (
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
    alignment: Literal["butterworth", "linkwitz-riley", "bessel"] = choice(
        "linkwitz-riley",
        why="linkwitz-riley (-6 dB at the corner) adds flat with a high-pass of its kind; butterworth and "
        "bessel are at -3 dB there.",
    )
    topology: Literal["unity", "equal"] = choice(
        "unity", why="Sallen–Key stages with unity gain, or with equal parts and gain (more sensitive)."
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
    phase_switch: bool = choice(True, why="Switch that turns the phase by 180°.")
    level_control: bool = choice(True, why="Potentiometer for the level, with a buffer after it.")
    input_resistance_ohm: Resistance = quantity(
        "22 kohm", low="10 kohm", high="100 kohm", why="Load that each input puts on the source."
    )
    capacitor_series: Literal["E6", "E12"] = choice("E6", why="Preferred-value series of the capacitors.")
    capacitor_tolerance: Ratio = quantity("5 %", low="1 %", high="20 %", why="Their tolerance.")
    resistor_series: Literal["E12", "E24", "E96"] = choice("E24", why="Preferred-value series of resistors.")
    resistor_tolerance: Ratio = quantity("1 %", low="0.1 %", high="10 %", why="Their tolerance.")
    op_amp: str = choice("auto", why="Op-amp id from the library or drawer.")
    op_amp_supply: Literal["auto", "zener", "regulator", "battery"] = choice(
        "auto",
        why="Zener diodes or adjustable regulators from the rails, or half the battery as a midpoint; auto "
        "takes zeners while they stay cool, and the battery where there are no rails.",
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
    draws, seed : random builds for the band, and the generator's seed.
    """

    full_input_v: float
    vented: bool = False
    tuning_hz: float | None = None
    rail_low_v: float | None = None
    rail_high_v: float | None = None
    battery_low_v: float
    battery_high_v: float
    draws: int = 500
    seed: int = 1
