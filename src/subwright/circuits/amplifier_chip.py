"""What stands around an integrated class-AB amplifier: its input, its mute, its stand-by pins.

The chip's own input is driven by the bench, and the filter's output rests: whether the note gets through the
network before it is a matter of two dividers, not of the power stage.
"""

from __future__ import annotations

from typing import Final

from subwright.circuits.amplifier_parts import NEGATIVE, AmplifierParts
from subwright.circuits.models import JunctionFetModel, Model
from subwright.circuits.netlist import GROUND, Steady
from subwright.stages.amplifier_driving import Driving
from subwright.stages.amplifier_voltage_stage_network import MUTE_OHM, MUTE_PINCH_V

__all__ = ["CHIP_INPUT", "MUTE_PIN", "PIN_OHM", "add_chip_input", "chip_models", "play_a"]

CHIP_INPUT: Final = "chip_in_a"
"""Net of the chip's input that the signal reaches."""
MUTE_PIN: Final = "mute_pin"
"""Net of its mute pin; of a vehicle type of its stand-by pin too."""
_OPEN_V: Final = 12.0  # of the line that mutes, while it plays
PIN_OHM: Final = 5.2e3
"""Inside of that pin, Ω: 2.6 V below ground at 0.5 mA, from memory."""
_SERIES: Final = "chip input series"


def add_chip_input(build: AmplifierParts, driving: Driving | None) -> None:
    """Put the parts between filter and chip down, and those at its mute pin.

    Parameters
    ----------
    build : where they go. driving : their values.
    """
    if driving is None:
        return
    ohms, farads = driving.resistors_ohm, driving.capacitors_f
    still = Steady(value=0.0)
    build.bench("FILTER", "voltage source", ("wanted_a", GROUND), "filter's output", still)
    build.bench("MUTE", "voltage source", ("mute", GROUND), "control supply", Steady(value=_OPEN_V))
    if "mute gate" in ohms:
        before = "wanted_a"
        for node in ("muted_first_a", "muted_a"):
            build.bought("R", "resistor", (before, node), _SERIES, ohms[_SERIES])
            build.bought("Q", "junction fet", (node, "muting_a", GROUND), "mute transistor", model="MUTE")
            before = node
        build.bought("R", "resistor", ("mute", "muting_a"), "mute gate", ohms["mute gate"])
        build.bought("C", "capacitor", ("muting_a", GROUND), "mute capacitor", farads["mute capacitor"])
        build.bought("R", "resistor", (CHIP_INPUT, GROUND), "chip input", ohms["chip input"])
        build.bought("C", "capacitor", (CHIP_INPUT, GROUND), "chip input filter", farads["chip input filter"])
        play = ohms["chip play resistor"]
        build.bought("R", "resistor", (MUTE_PIN, NEGATIVE), "chip play resistor", play)
        build.bought(
            "C", "capacitor", (GROUND, MUTE_PIN), "chip play capacitor", farads["chip play capacitor"]
        )
    else:
        before = "wanted_a"
        if _SERIES in ohms:
            build.bought("R", "resistor", (before, "divided_a"), _SERIES, ohms[_SERIES])
            before = "divided_a"
        build.bought("R", "resistor", (before, GROUND), "chip input", ohms["chip input"])
        build.bought("R", "resistor", ("mute", MUTE_PIN), "chip mute resistor", ohms["chip mute resistor"])
        build.bought(
            "C", "capacitor", (MUTE_PIN, GROUND), "chip mute capacitor", farads["chip mute capacitor"]
        )
    build.bench("MUTE_PIN", "resistor", (MUTE_PIN, GROUND), "inside of the chip's mute pin", PIN_OHM)
    build.bought("C", "capacitor", (CHIP_INPUT, before), "chip input coupling", farads["chip input coupling"])


def play_a(driving: Driving | None, rail_v: float) -> float:
    """Current out of a chip's mute pin while it plays, A; 0 without one.

    Parameters
    ----------
    driving : its values. rail_v : the negative rail's size, V.
    """
    if driving is None or "chip play resistor" not in driving.resistors_ohm:
        return 0.0
    return rail_v / (driving.resistors_ohm["chip play resistor"] + PIN_OHM)


def chip_models(driving: Driving | None) -> tuple[Model, ...]:
    """Models of the transistors that mute; none where the chip's own pin does it."""
    if driving is None or "mute gate" not in driving.resistors_ohm:
        return ()
    return (JunctionFetModel(name="MUTE", channel="p", on_ohm=MUTE_OHM, pinch_v=MUTE_PINCH_V),)
