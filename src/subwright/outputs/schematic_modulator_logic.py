"""The modulator's logic: level shift or pull-up, both dead times, and the mute that stops the drivers."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator_parts import down, find, low, section, spot
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_logic"]

_HIGH: Final = 200  # heights of both drives
_LOW: Final = 400
_MUTE: Final = 560


def draw_logic(kit: Kit) -> None:
    """Draw from the comparator's output to both drives, and the stop."""
    start = _shifted(kit) if "pwm" in kit.circuit.nets else _pulled_up(kit)
    _dead_times(kit, start)
    _mute(kit)


def _shifted(kit: Kit) -> Point:
    """From a comparator on 0 V to logic on the negative rail, by a transistor whose base is at 0 V."""
    sheet, y = kit.sheet, 300
    sheet.say(90, 86, "level shift", head=True)
    shift = kit.place(kit.one("level shift transistor"), 230, y - 60, flip=True)
    x = shift["emitter"][0]
    sheet.flag("pwm", (160, y - 100), "left")
    sheet.wire((160, y - 100), (x, y - 100), shift["emitter"])
    kit.upright(kit.one("level shift emitter"), "op_positive", x, y - 160)
    sheet.rail("op_positive", (x, y - 160))
    sheet.wire((x, y - 120), (x, y - 100))
    sheet.wire(shift["base"], (x - 40, y - 60), (x - 40, y - 50))
    sheet.ground(GROUND, (x - 40, y - 50))
    sheet.wire(shift["collector"], (x, y), (x, y + 20))
    down(kit, kit.one("level shift collector"), "logic_pwm", (x, y + 20))
    spot(kit, "logic_pwm", (x + 30, y))
    return x, y


def _pulled_up(kit: Kit) -> Point:
    sheet, x, y = kit.sheet, 240, 300
    sheet.say(90, 86, "pull-up", head=True)
    sheet.flag("logic_pwm", (160, y), "left")
    sheet.wire((160, y), (x, y))
    kit.upright(kit.one("comparator pull-up"), "logic_supply", x, y - 60)
    sheet.rail("logic_supply", (x, y - 60))
    sheet.wire((x, y - 20), (x, y))
    spot(kit, "logic_pwm", (x + 30, y))
    return x, y


def _dead_times(kit: Kit, start: Point) -> None:
    """Two inverters make both phases; each rises at once, falls slowly, and so turns its drive on late."""
    sheet, (x, y) = kit.sheet, start
    sheet.say(500, 86, "dead time", head=True)
    first = kit.place_amplifier(section(kit, "phase_low"), x + 110, y)
    sheet.wire(start, first["in"])
    split = (first["out"][0] + 20, y)
    sheet.wire(first["out"], split)
    second = kit.place_amplifier(section(kit, "phase_high"), split[0] + 60, _LOW)
    sheet.wire(split, (split[0], _LOW), second["in"])
    sheet.wire(split, (split[0], _HIGH), (520, _HIGH))
    sheet.wire(second["out"], (520, _LOW))
    _slow(kit, "high", "phase_low", 520, _HIGH)
    _slow(kit, "low", "phase_high", 520, _LOW)


def _slow(kit: Kit, word: str, phase: str, x: int, y: int) -> None:
    """Resistor with a diode past it, capacitor, and the inverter that gives the drive."""
    sheet, slow, drive, stands = kit.sheet, f"slow_{word}", f"{word}_drive", low(kit)
    kit.lying(kit.one(f"dead-time resistor {word}"), phase, x + 20, y)
    kit.lying(find(kit, "dead-time diode", phase, slow), phase, x + 20, y - 60)
    sheet.wire((x, y), (x, y - 60), (x + 20, y - 60))
    sheet.wire((x, y), (x + 20, y))
    end = x + 80
    sheet.wire((x + 60, y - 60), (end, y - 60), (end, y))
    gate = kit.place_amplifier(section(kit, drive), x + 320, y)
    sheet.wire((x + 60, y), (end, y), (end + 50, y), (end + 130, y), gate["in"])
    sheet.wire((end + 50, y), (end + 50, y + 10))
    down(kit, find(kit, "dead-time capacitor", slow, stands), slow, (end + 50, y + 10))
    held = find(kit, "mute hold diode", "stop", slow)
    kit.upright(held, "stop", end + 130, y - 60)
    sheet.rail("stop", (end + 130, y - 60))
    sheet.wire((end + 130, y - 20), (end + 130, y))
    out = gate["out"]
    sheet.wire(out, (out[0] + 90, y))
    spot(kit, drive, (out[0] + 40, y))
    sheet.flag(drive, (out[0] + 90, y), "right", "to the drivers")


def _mute(kit: Kit) -> None:
    """A line that lets the drivers run while it is up; without current it stops them."""
    sheet, y, stands = kit.sheet, _MUTE, low(kit)
    sheet.say(90, y - 110, "mute", head=True)
    x = 260
    series = kit.circuit.by_role("mute series")
    if kit.circuit.by_role("mute transistor"):
        shift = kit.place(kit.one("mute transistor"), x - 10, y - 30, flip=True)
        sheet.flag("mute", (160, y - 60), "left")
        end = kit.run("mute", 160, y - 60, [series[0]])
        sheet.wire((end, y - 60), (x, y - 60), shift["emitter"])
        sheet.wire(shift["base"], (x - 40, y - 30), (x - 40, y - 20))
        sheet.ground(GROUND, (x - 40, y - 20))
        sheet.wire(shift["collector"], (x, y), (x, y + 20))
        down(kit, kit.one("mute collector"), "run", (x, y + 20))
    elif series:
        sheet.flag("mute", (160, y), "left")
        end = kit.run("mute", 160, y, [series[0]])
        sheet.wire((end, y), (x, y), (x, y + 20))
        down(kit, kit.one("mute shunt"), "run", (x, y + 20))
    else:
        kit.upright(kit.one("mute pull-up"), "logic_supply", x, y - 50)
        sheet.rail("logic_supply", (x, y - 50))
        sheet.wire((x, y - 10), (x, y))
    gate = kit.place_amplifier(section(kit, "stop"), x + 180, y)
    sheet.wire((x, y), (x + 80, y), gate["in"])
    sheet.wire((x + 80, y), (x + 80, y + 20))
    down(kit, find(kit, "mute capacitor", "run", stands), "run", (x + 80, y + 20))
    out = gate["out"]
    sheet.wire(out, (out[0] + 90, y))
    spot(kit, "stop", (out[0] + 40, y))
    sheet.flag("stop", (out[0] + 90, y), "right", "to the drivers")
