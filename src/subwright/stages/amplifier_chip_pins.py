"""What an integrated amplifier needs at its input, feedback, mute and stand-by pins, in preferred values.

The pins are those of the multi-sourced families, from memory: read the maker's sheet before the board is
made. An 11-lead amplifier plays while current flows out of its mute pin; vehicle types play while their mute
and stand-by pins are high.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Final

from subwright.base.preferred import at_least, at_most, nearest
from subwright.stages.amplifier_voltage_stage_network import Wanted, plain_network

__all__ = ["BRIDGE_GAIN", "BRIDGE_INPUT_OHM", "ChipPins", "bridge_chip_pins", "chip_pins"]

BRIDGE_GAIN: Final = 20.0
"""Of a bridged vehicle amplifier, set inside, V/V (26 dB, from memory)."""

BRIDGE_INPUT_OHM: Final = 50e3
"""Least resistance of its input, Ω; from memory."""
_LOW: Final = 10.0  # corners of the capacitors below the lowest note
_PLAY_A: Final = 0.5e-3  # least current out of an 11-lead amplifier's mute pin, from memory
_PLAY_V: Final = 2.6  # of that pin below ground, from memory
_LOWEST_RAIL: Final = 0.7  # of the rail at full power: a tired battery's
_PLAY_F: Final = 47e-6  # common practice: it plays after a second or so
_MUTE_GATE_OHM: Final = 100e3
_MUTE_GATE_F: Final = 100e-9
_PIN_OHM: Final = 10e3  # before the vehicle type's pins
_PIN_F: Final = 2.2e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class ChipPins:
    """Values by role; ``gain`` from the chip's input, ``share`` of the signal that reaches it.

    ``counts`` : parts of a role that aren't one.
    """

    resistors_ohm: dict[str, float]
    capacitors_f: dict[str, float]
    counts: dict[str, int]
    gain: float
    share: float


def chip_pins(wanted: Wanted, rail_v: float) -> ChipPins:
    """Surroundings of an 11-lead amplifier on split rails.

    Parameters
    ----------
    wanted : of the network. rail_v : one rail at full power, V.

    Returns
    -------
    ChipPins; the gain stays above the ten that the chip is stable from.

    Source
    ------
    Data sheets of 11-lead integrated power amplifiers, from memory; non-inverting amplifier [horowitz-hill].
    """
    network = plain_network(wanted)
    ohms, farads = network.resistors_ohm, network.capacitors_f
    return ChipPins(
        resistors_ohm={
            "feedback resistor": ohms["voltage feedback"],
            "feedback shunt": ohms["voltage feedback shunt"],
            "chip input series": ohms["input series"],
            "chip input": ohms["input bias"],
            "mute gate": _MUTE_GATE_OHM,
            "chip play resistor": float(at_most((_LOWEST_RAIL * rail_v - _PLAY_V) / _PLAY_A, "E12")),
        },
        capacitors_f={
            "feedback capacitor": farads["voltage feedback capacitor"],
            "chip input coupling": farads["input coupling"],
            "chip input filter": farads["input filter"],
            "mute capacitor": _MUTE_GATE_F,
            "chip play capacitor": _PLAY_F,
        },
        counts={"chip input series": 2},
        gain=network.leg_gain,
        share=network.gain / network.leg_gain,
    )


def bridge_chip_pins(gain: float, input_ohm: float, note_hz: float) -> ChipPins:
    """Surroundings of a vehicle type that drives both ends of the load.

    Parameters
    ----------
    gain : wanted from the filter's output to the load, V/V. input_ohm : that the filter asks for, Ω.
    note_hz : lowest, Hz.

    Returns
    -------
    ChipPins; its second half is fed inside, from the first.

    Source
    ------
    Data sheets of bridged vehicle-radio power amplifiers, from memory.
    """
    share = min(gain / BRIDGE_GAIN, 1.0)
    foot = float(nearest(max(share, 0.01) * input_ohm, "E24"))
    resistors = {"chip input": foot, "chip mute resistor": _PIN_OHM}
    reached = 1.0
    if share < 1.0:
        loaded = foot * BRIDGE_INPUT_OHM / (foot + BRIDGE_INPUT_OHM)
        series = float(nearest(loaded * (1.0 / share - 1.0), "E24"))
        resistors["chip input series"] = series
        reached = loaded / (loaded + series)
    return ChipPins(
        resistors_ohm=resistors,
        capacitors_f={
            "chip input coupling": float(at_least(_LOW / (2.0 * pi * note_hz * BRIDGE_INPUT_OHM), "E6")),
            "chip mute capacitor": _PIN_F,
        },
        counts={},
        gain=BRIDGE_GAIN,
        share=reached,
    )
