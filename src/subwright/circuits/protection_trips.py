"""Over-current trips of battery and amplifier: shunt or drop of switches, retrying or latching."""

from __future__ import annotations

from typing import Final, TypeAlias

from subwright.circuits.builder import Builder
from subwright.circuits.models import BipolarModel, JunctionModel
from subwright.circuits.netlist import GROUND, Steady, Value
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_records import DropSense, OverCurrentTrip
from subwright.stages.protection_reference import LATCH_F, LATCH_HOLD_OHM, LATCH_OHM

__all__ = [
    "SMALL_DIODE",
    "SMALL_NPN",
    "SMALL_PNP",
    "TRIP_WORDS",
    "Inputs",
    "current_trip",
    "level_net",
]

Inputs: TypeAlias = tuple[str, str]
"""Nets of a comparator's + and − input."""

SMALL_DIODE: Final = JunctionModel(name="SMALL", forward_v=0.6, rated_a=1e-3, junction_f=4e-12)
SMALL_NPN: Final = BipolarModel(name="NPN", polarity="npn", current_gain=200.0, junction_f=100e-12)
SMALL_PNP: Final = BipolarModel(name="PNP", polarity="pnp", current_gain=220.0, junction_f=100e-12)

TRIP_WORDS: Final = {"over-current": "current", "amplifier over-current": "output"}
"""What the nets of each trip begin with."""


def level_net(watch: str, trip: OverCurrentTrip) -> str:
    """Net of the tap of a trip's level divider; a shunt is compared with it directly.

    Parameters
    ----------
    watch : "over-current" or "amplifier over-current". trip : as built.
    """
    return f"{TRIP_WORDS[watch]}_{'level' if trip.drop is None else 'tap'}"


def current_trip(
    build: Builder, result: ProtectionResult, watch: str, trip: OverCurrentTrip, amperes: Value
) -> tuple[Inputs, ...]:
    """Parts of one trip, its output's pull-up and its latch included; returns its comparators' inputs.

    Parameters
    ----------
    build : collects. result : the design. watch : "over-current" or "amplifier over-current".
    trip : as built. amperes : through shunt or switch, A; None for nought.
    """
    word = TRIP_WORDS[watch]
    out, sense, level = f"{word}_out", f"{word}_sense", f"{word}_level"
    flowing = Steady(value=0.0) if amperes is None else amperes
    if trip.drop is None:
        source = f"{word}_shunt"
        build.resistor(f"{watch} shunt", source, GROUND, trip.sense_ohm)
        build.bench(word.upper(), "current source", (GROUND, source), flowing, f"{watch} under test")
    else:
        source = f"{word}_drop"
        _switch_drop(build, watch, word, trip, trip.drop, flowing)
    build.resistor(f"{watch} filter resistor", source, sense, trip.filter_ohm)
    build.capacitor(f"{watch} filter capacitor", sense, GROUND, trip.filter_f)
    tap = level if trip.drop is None else f"{word}_tap"
    build.resistor(f"{watch} level upper", "reference", tap, trip.upper_ohm)
    build.resistor(f"{watch} level lower", tap, GROUND, trip.lower_ohm)
    if trip.drop is not None:
        _through_diodes(build, watch, word, trip.drop, tap, level)
    build.resistor(f"{watch} pull-up", "reference", out, result.under_voltage.pullup_ohm)
    inputs = [(level, sense)]
    if trip.both_ways:
        shifted = f"{word}_negative"
        build.resistor(f"{watch} negative level upper", "reference", shifted, trip.negative_upper_ohm)
        build.resistor(f"{watch} negative filter resistor", source, shifted, trip.filter_ohm)
        build.capacitor(f"{watch} negative filter capacitor", shifted, GROUND, trip.filter_f)
        inputs.append((shifted, GROUND))
    if trip.after == "latch":
        _latch(build, watch, word, out)
    return tuple(inputs)


def _switch_drop(
    build: Builder, watch: str, word: str, trip: OverCurrentTrip, drop: DropSense, amperes: Value
) -> None:
    """Each gate feeds a diode into its drain; a second one from there to the common load.

    On the bench the first switch is held on and carries the current; the other one is off, its drain high.
    """
    common = f"{word}_drop"
    for number, side in enumerate("ab"[: drop.sides]):
        gate, drain, node = f"{word}_gate_{side}", f"{word}_drain_{side}", f"{word}_node_{side}"
        on = number == 0
        name = f"{word}_{side}".upper()
        high = Steady(value=drop.gate_v if on else 0.0)
        build.bench(f"GATE_{name}", "voltage source", (gate, GROUND), high, f"gate {side.upper()}")
        if on:
            build.bench(f"SWITCH_{name}", "resistor", (drain, GROUND), trip.sense_ohm, "switch that is on")
            build.bench(word.upper(), "current source", (GROUND, drain), amperes, f"{watch} under test")
        else:
            off = Steady(value=2.0 * drop.gate_v)
            build.bench(f"SWITCH_{name}", "voltage source", (drain, GROUND), off, "switch that is off")
        build.resistor(f"{watch} gate resistor", gate, node, drop.pull_ohm)
        build.bought("D", "diode", (node, drain), f"{watch} gating diodes", model=SMALL_DIODE)
        build.bought("D", "diode", (node, common), f"{watch} gating diodes", model=SMALL_DIODE)
    build.resistor(f"{watch} sense load", common, GROUND, drop.load_ohm)


def _through_diodes(build: Builder, watch: str, word: str, drop: DropSense, tap: str, level: str) -> None:
    """The level's own pair of diodes, at the same currents."""
    node = f"{word}_level_node"
    build.resistor(f"{watch} level pull-up", "reference", node, drop.level_pull_ohm)
    build.bought("D", "diode", (node, tap), f"{watch} level diodes", model=SMALL_DIODE)
    build.bought("D", "diode", (node, level), f"{watch} level diodes", model=SMALL_DIODE)
    build.resistor(f"{watch} level load", level, GROUND, drop.load_ohm)


def _latch(build: Builder, watch: str, word: str, out: str) -> None:
    """Two transistors that hold the output low once it has been low, until the reference goes."""
    drive, feedback, base = f"{word}_latch_drive", f"{word}_latch_feedback", f"{word}_latch_base"
    build.resistor(f"{watch} latch drive resistor", out, drive, LATCH_OHM)
    build.resistor(f"{watch} latch pull-up", "reference", drive, LATCH_HOLD_OHM)
    build.bought("Q", "transistor", (feedback, drive, "reference"), f"{watch} latch, PNP", model=SMALL_PNP)
    build.resistor(f"{watch} latch feedback resistor", feedback, base, LATCH_OHM)
    build.resistor(f"{watch} latch pull-down", base, GROUND, LATCH_HOLD_OHM)
    build.capacitor(f"{watch} latch capacitor", base, GROUND, LATCH_F)
    build.bought("Q", "transistor", (out, base, GROUND), f"{watch} latch, NPN", model=SMALL_NPN)
