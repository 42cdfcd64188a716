"""An integrated class-AB amplifier with all that hangs on its pins."""

from __future__ import annotations

from typing import Final

from subwright.circuits.amplifier_chip import CHIP_INPUT, MUTE_PIN
from subwright.circuits.amplifier_parts import POSITIVE
from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point
from subwright.stages.amplifier_supply_capacitors import CHIP_BYPASS, CHIP_RESERVOIR

__all__ = ["draw_chip"]

_ENTRY: Final = 190
_ROWS: Final = {"a": 220, "b": 440}
_AMPLIFIER: Final = 620
_OUT: Final = 810
_MUTE: Final = (150, 560)
_UNIT: Final = (980, 560)
_PINS: Final = (540, 110)


def _on(kit: Kit, role: str, *nets: str) -> Part:
    return next(p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets))


def draw_chip(kit: Kit, legs: str) -> None:
    """Draw the sections, feedback where there is none inside, input, mute and supply.

    Parameters
    ----------
    kit : the sheet. legs : names of the legs.
    """
    sheet = kit.sheet
    bridged = "muting_a" not in kit.circuit.nets
    for name in legs:
        wanted = CHIP_INPUT if name == "a" else f"wanted_{name}"
        part = next(p for p in kit.circuit.parts if p.kind == "op-amp" and wanted in p.nets)
        y = _ROWS[name]
        amp = sheet.place(part, _AMPLIFIER, y, flip=True)
        plus, out = amp["+"], (_OUT, y)
        if name == "b":
            sheet.wire((plus[0] - 60, plus[1]), plus)
            sheet.say(plus[0] - 200, plus[1] - 8, "inverted, fed inside the chip")
        elif bridged:
            _divided_input(kit, plus)
        else:
            _muted_input(kit, plus)
        sheet.wire(amp["out"], out, heavy=True)
        sheet.wire(out, (_OUT + 120, y), heavy=True)
        sheet.flag(f"out_{name}", (_OUT + 120, y), "right", heavy=True)
        for point in kit.circuit.test_points:
            if point.net == f"out_{name}":
                sheet.name(point.net, (_OUT + 80, y), point=point.designator)
        if kit.circuit.by_role("feedback resistor"):
            _feedback(kit, name, amp["-"], out)
        else:
            left = amp["-"][0] - 20
            sheet.wire(amp["-"], (left, amp["-"][1]), (left, y + 60), (_OUT - 60, y + 60), (_OUT - 60, y))
            sheet.say(_AMPLIFIER - 40, y + 76, "feedback inside the chip")
        if kit.circuit.by_role("output Zobel resistor"):
            x = _OUT + 40
            resistor = _on(kit, "output Zobel resistor", f"out_{name}")
            capacitor = _on(kit, "output Zobel capacitor", f"calm_{name}")
            sheet.wire((x, y), (x, y + 20))
            kit.upright(resistor, f"out_{name}", x, y + 20)
            end = kit.upright(capacitor, f"calm_{name}", x, y + 60).end(capacitor, f"calm_{name}")
            sheet.ground(GROUND, end)
    if bridged:
        _low_mutes(kit)
    else:
        _plays(kit)
    _case(kit)
    _supply_pins(kit)


def _input_line(kit: Kit, net: str, x: int, y: int, plus: Point) -> int:
    """The coupling capacitor from ``x`` on, and the line to the chip; returns where that begins."""
    kit.sheet.wire((x, y), (x + 10, y))
    kit.lying(kit.one("chip input coupling"), net, x + 10, y)
    kit.sheet.wire((x + 50, y), (x + 60, y), plus)
    return x + 50


def _muted_input(kit: Kit, plus: Point) -> None:
    """Series resistors with the shunts that mute, coupling, resistor and capacitor to ground."""
    sheet, y = kit.sheet, plus[1]
    sheet.flag("wanted_a", (_ENTRY, y), "left")
    first = kit.run("wanted_a", _ENTRY, y, [_on(kit, "chip input series", "wanted_a")])
    second = [_on(kit, "chip input series", "muted_a")]
    node = kit.run("muted_first_a", first, y, second) + 10
    sheet.wire((node - 10, y), (node, y))
    corner, low = first - 40, _MUTE[1]
    for part, x, down in zip(kit.circuit.by_role("mute transistor"), (first, node), (60, 120), strict=True):
        shunt = kit.place(part, x - 10, y + down)
        sheet.wire((x, y), shunt["drain"])
        sheet.ground(GROUND, shunt["source"])
        sheet.wire(shunt["gate"], (corner, y + down))
    sheet.wire((corner, y + 60), (corner, y + 120), (corner, low), (corner, low + 10))
    sheet.flag("mute", (corner - 60, low), "left")
    gate = kit.run("mute", corner - 60, low, [kit.one("mute gate")])
    sheet.wire((gate, low), (corner, low))
    soft = kit.one("mute capacitor")
    sheet.ground(GROUND, kit.upright(soft, "muting_a", corner, low + 10).end(soft, "muting_a"))
    x = _input_line(kit, "muted_a", node, y, plus)
    for role, at in (("chip input", x + 20), ("chip input filter", x + 100)):
        part = kit.one(role)
        sheet.wire((at, y), (at, y + 10))
        sheet.ground(GROUND, kit.upright(part, CHIP_INPUT, at, y + 10).end(part, CHIP_INPUT))


def _divided_input(kit: Kit, plus: Point) -> None:
    """A divider where the chip's fixed gain is too much, and the coupling capacitor."""
    sheet, y, net, x = kit.sheet, plus[1], "wanted_a", _ENTRY
    sheet.flag(net, (x, y), "left")
    series = kit.circuit.by_role("chip input series")
    if series:
        x, net = kit.run(net, x, y, list(series)), "divided_a"
    sheet.wire((x, y), (x + 30, y), (x + 100, y))
    foot = kit.one("chip input")
    sheet.wire((x + 30, y), (x + 30, y + 10))
    sheet.ground(GROUND, kit.upright(foot, net, x + 30, y + 10).end(foot, net))
    _input_line(kit, net, x + 100, y, plus)


def _plays(kit: Kit) -> None:
    """What holds the chip's own mute pin on play."""
    sheet, x, y = kit.sheet, 540, 560
    play, soft = kit.one("chip play resistor"), kit.one("chip play capacitor")
    low = next(net for net in play.nets if net != MUTE_PIN)
    sheet.wire((x, y), (x + 90, y), (x + 150, y))
    sheet.wire((x, y), (x, y + 10))
    sheet.rail(low, kit.upright(play, MUTE_PIN, x, y + 10).end(play, MUTE_PIN), "down")
    sheet.wire((x + 90, y), (x + 90, y + 10))
    sheet.ground(GROUND, kit.upright(soft, MUTE_PIN, x + 90, y + 10).end(soft, MUTE_PIN))
    sheet.flag(MUTE_PIN, (x + 150, y), "right")


def _low_mutes(kit: Kit) -> None:
    """From the line that mutes to the chip's mute and stand-by pins."""
    sheet, (x, y) = kit.sheet, _MUTE
    sheet.flag("mute", (x, y), "left")
    end = kit.run("mute", x, y, [kit.one("chip mute resistor")])
    soft = kit.one("chip mute capacitor")
    sheet.wire((end, y), (end + 20, y), (end + 90, y))
    sheet.wire((end + 20, y), (end + 20, y + 10))
    sheet.ground(GROUND, kit.upright(soft, MUTE_PIN, end + 20, y + 10).end(soft, MUTE_PIN))
    sheet.flag(MUTE_PIN, (end + 90, y), "right")


def _case(kit: Kit) -> None:
    """Supply and mute pins of the case."""
    sheet, (x, y) = kit.sheet, _UNIT
    case = next(p for p in kit.circuit.parts if p.kind == "op-amp")
    unit = sheet.place(case, x, y, shape="supply unit", name=case.case)
    positive, negative = kit.pin_net(case, "V+"), kit.pin_net(case, "V-")
    sheet.rail(positive, unit["V+"])
    if negative == GROUND:
        sheet.ground(GROUND, unit["V-"])
    else:
        sheet.rail(negative, unit["V-"], "down")
    sheet.wire((x - 60, y), (x - 20, y))
    sheet.flag(MUTE_PIN, (x - 60, y), "left")


def _supply_pins(kit: Kit) -> None:
    """The capacitors at each supply pin, the small one first."""
    sheet, (x, y) = kit.sheet, _PINS
    sheet.say(x - 60, y - 24, "at the chip's supply pins", head=True)
    small, large = kit.circuit.by_role(CHIP_BYPASS), kit.circuit.by_role(CHIP_RESERVOIR)
    for k, pair in enumerate(zip(small, large, strict=True)):
        at = x + 280 * k
        net = POSITIVE if POSITIVE in pair[0].nets else next(n for n in pair[0].nets if n != GROUND)
        sheet.flag(net, (at, y), "left", heavy=True)
        sheet.wire((at, y), (at + 20, y), (at + 100, y), heavy=True)
        for part, left in zip(pair, (at + 20, at + 100), strict=True):
            sheet.wire((left, y), (left, y + 10), heavy=True)
            sheet.ground(GROUND, kit.upright(part, net, left, y + 10).end(part, net))


def _feedback(kit: Kit, name: str, minus: Point, out: Point) -> None:
    """Feedback below the chip."""
    sheet, net, foot = kit.sheet, f"minus_{name}", f"foot_{name}"
    x, low = minus[0] - 20, minus[1] + 70
    sheet.wire(minus, (x, minus[1]), (x, low))
    upper = _on(kit, "feedback resistor", net)
    kit.lying(upper, net, x + 60, low)
    sheet.wire((x, low), (x + 60, low))
    sheet.wire((x + 100, low), (out[0], low), out)
    shunt = _on(kit, "feedback shunt", net)
    kit.upright(shunt, net, x, low)
    capacitor = _on(kit, "feedback capacitor", foot)
    end = kit.upright(capacitor, foot, x, low + 40).end(capacitor, foot)
    sheet.ground(GROUND, end)
