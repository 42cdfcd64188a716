"""The converter's controller on a sheet: supply at the right, timing, soft start and inhibit at the left."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_pen import Placed
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_controller", "point"]

_X: Final = 600
_TOP: Final = 190  # of the first pins
_LIFT: Final = 70  # of the supply's line above them


def draw_controller(kit: Kit, feed: str) -> None:
    """Draw the controller's netlist; ``feed`` is the net of its supply."""
    part = kit.one("push-pull controller")
    chip = kit.place_chip(part, _X, _TOP + 160)
    if part.kind == "3525 controller":
        _left_3525(kit, chip)
        supply: tuple[str, ...] = ("VIN", "VC")
    else:
        _left_494(kit, chip)
        supply = ("VCC", "C1", "C2")
    _supply(kit, feed, [chip[pin] for pin in supply])
    if part.kind == "3525 controller":
        _outputs(kit, {"out_a": chip["OUTA"], "out_b": chip["OUTB"]}, None)
        kit.sheet.say(chip["OSC"][0] + 8, chip["OSC"][1] + 4, "left open")
        kit.sheet.say(chip["SYNC"][0] + 8, chip["SYNC"][1] + 4, "left open")
    else:
        kit.sheet.flag("vref", (chip["OC"][0] + 60, chip["OC"][1]), "right")
        kit.sheet.wire(chip["OC"], (chip["OC"][0] + 60, chip["OC"][1]))
        _outputs(kit, {"out_a": chip["E1"], "out_b": chip["E2"]}, "output pull-down")
    ground = chip["GND"]
    kit.sheet.wire(ground, (ground[0] + 20, ground[1]), (ground[0] + 20, ground[1] + 20))
    kit.sheet.ground(GROUND, (ground[0] + 20, ground[1] + 20))


def point(kit: Kit, net: str, at: Point) -> None:
    """A net's test point, where it has one."""
    for spot in kit.circuit.test_points:
        if spot.net == net:
            kit.sheet.name(net, at, point=spot.designator)


def _down(kit: Kit, role: str, net: str, at: Point) -> None:
    """A part from a net down to ground."""
    part = kit.one(role)
    kit.sheet.ground(GROUND, kit.upright(part, net, *at).end(part, net))


def _left_3525(kit: Kit, chip: Placed) -> None:
    sheet, x = kit.sheet, chip["REF"][0]
    y = {pin: chip[pin][1] for pin in ("REF", "NI", "INV", "COMP", "SS", "SD", "RT", "CT", "DIS")}
    _reference(kit, chip["REF"])
    if kit.circuit.by_role("loop capacitor"):
        kit.lying(kit.one("reference resistor"), "vref", x - 90, y["NI"])
        sheet.wire((x - 100, y["REF"]), (x - 100, y["NI"]), (x - 90, y["NI"]))
        sheet.wire((x - 50, y["NI"]), chip["NI"])
        kit.upright(kit.one("loop capacitor"), "error", x - 50, y["INV"])
        sheet.wire(chip["COMP"], (x - 50, y["COMP"]))
        kit.lying(kit.one("loop resistor"), "feedback", x - 150, y["INV"])
        sheet.wire((x - 110, y["INV"]), (x - 50, y["INV"]), chip["INV"])
        _down(kit, "feedback divider, bottom", "feedback", (x - 190, y["INV"]))
        kit.lying(kit.one("feedback divider, top"), "rail_positive", x - 280, y["INV"])
        sheet.wire((x - 240, y["INV"]), (x - 190, y["INV"]), (x - 150, y["INV"]))
        sheet.flag("rail_positive", (x - 300, y["INV"]), "left")
        sheet.wire((x - 300, y["INV"]), (x - 280, y["INV"]))
    else:
        sheet.wire(chip["NI"], (x - 30, y["NI"]), (x - 30, y["REF"]))
        sheet.wire(chip["INV"], (x - 30, y["INV"]), (x - 30, y["COMP"]), chip["COMP"])
    sheet.wire(chip["SS"], (x - 220, y["SS"]))
    _down(kit, "soft-start capacitor", "soft", (x - 220, y["SS"]))
    point(kit, "soft", (x - 120, y["SS"]))
    sheet.flag("inhibit", (x - 30, y["SD"]), "left")
    sheet.wire(chip["SD"], (x - 30, y["SD"]))
    sheet.wire(chip["RT"], (x - 280, y["RT"]))
    _down(kit, "timing resistor", "rt", (x - 280, y["RT"]))
    sheet.wire(chip["CT"], (x - 170, y["CT"]))
    _down(kit, "timing capacitor", "ct", (x - 170, y["CT"]))
    point(kit, "ct", (x - 120, y["CT"]))
    if kit.circuit.by_role("discharge resistor"):
        kit.upright(kit.one("discharge resistor"), "ct", x - 60, y["CT"])
        sheet.wire((x - 60, y["DIS"]), chip["DIS"])
    else:
        sheet.wire(chip["DIS"], (x - 30, y["DIS"]), (x - 30, y["CT"]))


def _reference(kit: Kit, pin: Point) -> None:
    """The reference's line to the left, with its capacitor; protection takes it from the flag."""
    x, y = pin
    end = x - 330
    kit.sheet.wire(pin, (end, y))
    _down(kit, "reference capacitor", "vref", (end, y))
    point(kit, "vref", (x - 60, y))
    kit.sheet.flag("vref", (end - 20, y), "left")
    kit.sheet.wire((end - 20, y), (end, y))


def _left_494(kit: Kit, chip: Placed) -> None:
    sheet, x = kit.sheet, chip["REF"][0]
    top = chip["REF"][1]
    dead = chip["DTC"][1]
    left = x - 360
    sheet.wire(chip["REF"], (left, top))
    point(kit, "vref", (x - 60, top))
    reference = kit.one("reference capacitor")
    kit.upright(reference, "vref", x - 90, top)
    sheet.ground(GROUND, (x - 90, top + 40))
    sheet.wire(chip["1IN-"], (x - 30, chip["1IN-"][1]), (x - 30, top))
    sheet.wire(chip["2IN-"], (x - 30, chip["2IN-"][1]), (x - 30, chip["1IN-"][1]))
    sheet.wire(chip["1IN+"], (x - 60, chip["1IN+"][1]), (x - 60, chip["2IN+"][1]), chip["2IN+"])
    sheet.ground(GROUND, (x - 60, chip["2IN+"][1]))
    sheet.wire(chip["DTC"], (x - 300, dead))
    point(kit, "dead", (x - 110, dead))
    columns: list[tuple[str, int]] = [("soft-start capacitor", x - 200)]
    bottom = "soft-start resistor"
    if kit.circuit.by_role("dead-time divider, top"):
        columns.append(("dead-time divider, top", x - 140))
        bottom = "dead-time divider, bottom"
    for role, column in columns:
        kit.upright(kit.one(role), "vref", column, top + 60)
        sheet.wire((column, top), (column, top + 60))
        sheet.wire((column, top + 100), (column, dead))
    _down(kit, bottom, "dead", (x - 250, dead))
    sheet.wire(chip["RT"], (x - 100, chip["RT"][1]))
    _down(kit, "timing resistor", "rt", (x - 100, chip["RT"][1]))
    sheet.wire(chip["CT"], (x - 40, chip["CT"][1]))
    _down(kit, "timing capacitor", "ct", (x - 40, chip["CT"][1]))
    point(kit, "ct", (x - 20, chip["CT"][1]))
    sheet.say(x - 72, chip["FB"][1] + 4, "left open")
    _reset(kit, x - 300, top, dead)


def _reset(kit: Kit, x: int, top: int, dead: int) -> None:
    """Two transistors that lift the dead-time input to the reference while the protection inhibits."""
    sheet, left = kit.sheet, x - 60
    pnp = kit.place(kit.one("soft-start reset transistor"), x - 10, top + 120, flip=True)
    sheet.wire(pnp["emitter"], (x, top))
    sheet.wire(pnp["collector"], (x, dead))
    base = (left, top + 120)
    sheet.wire(pnp["base"], base)
    kit.upright(kit.one("soft-start reset pull-up"), "vref", left, top + 20)
    sheet.wire((left, top), (left, top + 20))
    sheet.wire((left, top + 60), base, (left, top + 140))
    kit.upright(kit.one("soft-start reset base resistor"), "reset_base", left, top + 140)
    npn = kit.place(kit.one("inhibit transistor"), left + 10, top + 400, turn=2, flip=True)
    sheet.wire((left, top + 180), npn["collector"])
    sheet.ground(GROUND, npn["emitter"])
    y = npn["base"][1]
    sheet.wire(npn["base"], (left + 60, y), (left + 90, y))
    _down(kit, "inhibit base pull-down", "inhibit_base", (left + 60, y))
    kit.lying(kit.one("inhibit base resistor"), "inhibit_base", left + 90, y)
    sheet.flag("inhibit", (left + 150, y), "right")
    sheet.wire((left + 130, y), (left + 150, y))


def _supply(kit: Kit, feed: str, pins: list[Point]) -> None:
    """The supply's line to the right: capacitors, then the follower that makes it, or the way it comes."""
    sheet, (x, y) = kit.sheet, pins[0]
    for above, below in pairwise(pins):
        sheet.wire(below, (x + 30, below[1]), (x + 30, above[1]))
    sheet.wire(pins[0], (x + 30, y), (x + 30, y - _LIFT))
    x, y = x + 30, y - _LIFT
    role = "gate supply capacitor" if feed == "drive" else "controller supply capacitor"
    for k, name in enumerate((role, "controller ceramic")):
        _down(kit, name, feed, (x + 60 + 70 * k, y))
    point(kit, feed, (x + 30, y))
    if feed != "drive":
        sheet.wire((x, y), (x + 220, y))
        sheet.flag(feed, (x + 220, y), "right")
        return
    q = kit.place(kit.one("gate supply transistor"), x + 200, y + 10, turn=3, flip=True)
    sheet.wire((x, y), q["emitter"])
    node = (q["base"][0], y + 60)
    sheet.wire(q["base"], node)
    _down(kit, "gate supply zener", "zener", node)
    kit.lying(kit.one("gate supply resistor"), "zener", node[0] + 20, node[1])
    sheet.wire(node, (node[0] + 20, node[1]))
    end = node[0] + 90
    sheet.wire((node[0] + 60, node[1]), (end, node[1]), (end, y))
    if kit.circuit.by_role("gate supply collector resistor"):
        kit.lying(kit.one("gate supply collector resistor"), "collector", q["collector"][0] + 10, y)
        sheet.wire(q["collector"], (q["collector"][0] + 10, y))
        sheet.wire((q["collector"][0] + 50, y), (end, y))
    else:
        sheet.wire(q["collector"], (end, y))
    sheet.flag("control", (end + 10, y), "right")
    sheet.wire((end, y), (end + 10, y))


def _outputs(kit: Kit, pins: dict[str, Point], pull_down: str | None) -> None:
    """The outputs' ways to the gate drive."""
    for k, (net, pin) in enumerate(pins.items()):
        end = (pin[0] + 190, pin[1])
        kit.sheet.wire(pin, end)
        point(kit, net, (pin[0] + 60, pin[1]))
        if pull_down is not None:
            part = next(p for p in kit.circuit.by_role(pull_down) if net in p.nets)
            at = (pin[0] + 100 + 50 * k, pin[1])
            kit.sheet.ground(GROUND, kit.upright(part, net, *at).end(part, net))
        kit.sheet.flag(net, end, "right", "to the gate drive")
