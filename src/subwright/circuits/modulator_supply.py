"""Supplies of the modulator: of the drivers, the logic, the op-amps and comparators, and the reference."""

from __future__ import annotations

from typing import Final

from subwright.circuits.builder import Builder
from subwright.circuits.modulator_drive import lower_rail
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import GROUND

__all__ = ["add_supplies"]

_TOPS: Final = {"ground": GROUND, "rail_positive": "rail_positive", "control": "control"}


def add_supplies(build: Builder, v: ModulatorValues) -> None:
    """Every supply, its capacitors charged to where it rests."""
    _driver_supply(build, v)
    _logic_supply(build, v)
    if v.record.split_rails:
        _op_supplies(build, v)
    else:
        build.resistor("op supply resistor", "driver_supply", "op_positive", v.ohm("op supply resistor"))
        rest = v.record.op_supply_v
        farad = v.farad("op supply capacitor")
        build.capacitor("op supply capacitor", "op_positive", GROUND, farad, initial_v=rest)
        build.capacitor("op decoupling", "op_positive", GROUND, v.farad("op decoupling"), initial_v=rest)
        _reference(build, v)


def _driver_supply(build: Builder, v: ModulatorValues) -> None:
    m, low = v.record, lower_rail(v)
    zener = v.zeners["driver supply zener"]
    feed = _TOPS[m.driver_supply_from]
    if not v.has("driver supply follower"):
        build.resistor("driver supply resistor", feed, "driver_supply", v.ohm("driver supply resistor"))
        build.bought("VR", "zener", (low, "driver_supply"), "driver supply zener", model=zener)
    else:
        # a follower on the one supply is switched on at its base
        base = feed if m.split_rails else "control"
        build.resistor("driver supply dropper", feed, "driver_collector", v.ohm("driver supply dropper"))
        build.resistor("driver supply resistor", base, "driver_base", v.ohm("driver supply resistor"))
        build.bought("VR", "zener", (low, "driver_base"), "driver supply zener", model=zener)
        pins = ("driver_collector", "driver_base", "driver_supply")
        follower = v.bipolars["driver supply follower"]
        build.bought("Q", "transistor", pins, "driver supply follower", model=follower)
    farad = v.farad("driver supply capacitor")
    build.capacitor("driver supply capacitor", "driver_supply", low, farad, initial_v=m.gate_supply_v)


def _logic_supply(build: Builder, v: ModulatorValues) -> None:
    low = lower_rail(v)
    build.resistor("logic supply resistor", "driver_supply", "logic_supply", v.ohm("logic supply resistor"))
    zener = v.zeners["logic supply zener"]
    build.bought("VR", "zener", (low, "logic_supply"), "logic supply zener", model=zener)
    rest = v.record.logic_supply_v
    farad = v.farad("logic supply capacitor")
    build.capacitor("logic supply capacitor", "logic_supply", low, farad, initial_v=rest)


def _op_supplies(build: Builder, v: ModulatorValues) -> None:
    """A follower behind a zener on each side, or a mere resistor where the rails are low."""
    rest, farad = v.record.op_supply_v, v.farad("op supply capacitor")
    for word, polarity in (("positive", "NPN"), ("negative", "PNP")):
        rail, net = f"rail_{word}", f"op_{word}"
        follower = f"op supply follower {polarity}"
        if v.has(follower):
            base, collector = f"op_base_{word}", f"op_collector_{word}"
            build.resistor("op supply resistor", rail, base, v.ohm("op supply resistor"))
            ends = (GROUND, base) if word == "positive" else (base, GROUND)
            zener = v.zeners["op supply zener"]
            build.bought("VR", "zener", ends, "op supply zener", model=zener)
            build.resistor("op supply dropper", rail, collector, v.ohm("op supply dropper"))
            pins = (collector, base, net)
            build.bought("Q", "transistor", pins, follower, model=v.bipolars[follower])
        else:
            build.resistor("op supply resistor", rail, net, v.ohm("op supply resistor"))
        ends = (net, GROUND) if word == "positive" else (GROUND, net)
        build.capacitor("op supply capacitor", *ends, farad, initial_v=rest)
        build.capacitor("op decoupling", *ends, v.farad("op decoupling"), initial_v=rest)


def _reference(build: Builder, v: ModulatorValues) -> None:
    """The 431 that stands for 0 V on one supply."""
    build.resistor("reference resistor", "op_positive", "reference", v.ohm("reference resistor"))
    build.bought(
        "U", "shunt reference", ("reference", "reference_set", GROUND), "reference", model=v.reference
    )
    build.resistor("reference upper", "reference", "reference_set", v.ohm("reference upper"))
    build.resistor("reference lower", "reference_set", GROUND, v.ohm("reference lower"))
    farad = v.farad("reference capacitor")
    build.capacitor("reference capacitor", "reference", GROUND, farad, initial_v=v.zero_v)
