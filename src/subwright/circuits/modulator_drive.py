"""From the comparator to the gates: level shift, mute, dead time, half-bridge drivers and gate resistors."""

from __future__ import annotations

from subwright.circuits.builder import Builder
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import GROUND

__all__ = ["add_drivers", "add_logic", "lower_rail"]

_INVERTERS = 5


def lower_rail(v: ModulatorValues) -> str:
    """Net on which logic and drivers stand."""
    return "rail_negative" if v.record.split_rails else GROUND


def add_logic(build: Builder, v: ModulatorValues) -> None:
    """Level shift or pull-up, mute, and the inverters that make both drives with their dead times."""
    low = lower_rail(v)
    if v.record.split_rails:
        build.resistor("level shift emitter", "op_positive", "pwm", v.ohm("level shift emitter"))
        shift = v.bipolars["level shift transistor"]
        build.bought("Q", "transistor", ("logic_pwm", GROUND, "pwm"), "level shift transistor", model=shift)
        build.resistor("level shift collector", "logic_pwm", low, v.ohm("level shift collector"))
    else:
        build.resistor("comparator pull-up", "logic_supply", "logic_pwm", v.ohm("comparator pull-up"))
    names = build.sections(_INVERTERS, 6)
    for name, pins in zip(
        names,
        (
            ("logic_pwm", "phase_low"),
            ("phase_low", "phase_high"),
            ("slow_high", "high_drive"),
            ("slow_low", "low_drive"),
            ("run", "stop"),
        ),
        strict=True,
    ):
        nets = (*pins, "logic_supply", low)
        build.bought("U", "schmitt inverter", nets, "logic inverters", model=v.logic, name=name)
    for phase, slow, word in (("phase_low", "slow_high", "high"), ("phase_high", "slow_low", "low")):
        role = f"dead-time resistor {word}"
        build.resistor(role, phase, slow, v.ohm(role))
        build.bought("D", "diode", (phase, slow), "dead-time diode", model=v.diodes["dead-time diode"])
        build.capacitor("dead-time capacitor", slow, low, v.farad("dead-time capacitor"), initial_v=0.0)
        build.bought("D", "diode", ("stop", slow), "mute hold diode", model=v.diodes["mute hold diode"])
    _mute(build, v, low)
    decoupling = v.farad("logic decoupling")
    build.capacitor("logic decoupling", "logic_supply", low, decoupling, initial_v=v.record.logic_supply_v)


def _mute(build: Builder, v: ModulatorValues, low: str) -> None:
    """What lets the drivers run only while the mute line is up; capacitor charged to where it rests then."""
    if v.has("mute transistor"):
        build.resistor("mute series", "mute", "mute_emitter", v.ohm("mute series"))
        build.bought(
            "Q",
            "transistor",
            ("run", GROUND, "mute_emitter"),
            "mute transistor",
            model=v.bipolars["mute transistor"],
        )
        build.resistor("mute collector", "run", low, v.ohm("mute collector"))
    elif v.has("mute series"):
        build.resistor("mute series", "mute", "run", v.ohm("mute series"))
        build.resistor("mute shunt", "run", low, v.ohm("mute shunt"))
    else:
        build.resistor("mute pull-up", "logic_supply", "run", v.ohm("mute pull-up"))
    farad = v.farad("mute capacitor")
    build.capacitor("mute capacitor", "run", low, farad, initial_v=v.record.mute_run_v)


def add_drivers(build: Builder, v: ModulatorValues) -> None:
    """A half-bridge driver for each leg with its floating supply and the resistors at both gates."""
    m, low = v.record, lower_rail(v)
    for name in "ab"[: m.legs]:
        high, lower = ("high_drive", "low_drive") if name == "a" else ("low_drive", "high_drive")
        node, boost, feed = f"node_{name}", f"boost_{name}", f"boost_feed_{name}"
        logic, outputs = ("logic_supply", high, "stop", lower, low), (f"drive_lower_{name}", boost, node)
        nets = (*logic, "driver_supply", low, *outputs, f"drive_upper_{name}")
        build.bought("U", "half-bridge driver", nets, "gate driver", model=v.driver)
        build.resistor("bootstrap resistor", "driver_supply", feed, v.ohm("bootstrap resistor"))
        build.bought("D", "diode", (feed, boost), "bootstrap diode", model=v.diodes["bootstrap diode"])
        for role in ("bootstrap capacitor", "bootstrap bypass"):
            build.capacitor(role, boost, node, v.farad(role), initial_v=m.bootstrap_v)
        zener = v.zeners["bootstrap zener"]
        build.bought("VR", "zener", (node, boost), "bootstrap zener", model=zener)
        if v.has("bootstrap pre-charge"):
            build.resistor("bootstrap pre-charge", "rail_positive", boost, v.ohm("bootstrap pre-charge"))
        if v.has("node bleed"):
            build.resistor("node bleed", node, GROUND, v.ohm("node bleed"))
        farad = v.farad("driver decoupling")
        build.capacitor("driver decoupling", "driver_supply", low, farad, initial_v=m.gate_supply_v)
        for side, source in (("upper", node), ("lower", low)):
            drive, gate = f"drive_{side}_{name}", f"gate_{side}_{name}"
            build.resistor("gate resistor on", drive, gate, v.ohm("gate resistor on"))
            build.bought("D", "diode", (gate, drive), "gate diode off", model=v.diodes["gate diode off"])
            build.resistor("gate pull-down", gate, source, v.ohm("gate pull-down"))
