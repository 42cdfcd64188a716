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
_PITCH: Final = 40  # of the pins
_NETWORK: Final = (770, 600)  # of a 494's divided rail


def draw_controller(kit: Kit, feed: str, *, shared: bool) -> None:
    """Draw the controller's netlist.

    Parameters
    ----------
    kit : the sheet. feed : net of its supply. shared : whether the protection takes the reference.
    """
    part = kit.one("push-pull controller")
    draw, slots = {
        "3525 controller": (_draw_3525, 9),
        "494 controller": (_draw_494, 9),
        "3524 controller": (_draw_3524, 10),
        "3846 controller": (_draw_3846, 11),
    }[part.kind]
    middle = _TOP + _PITCH * (slots - 1) // 2
    chip = kit.place_chip(part, _X, middle)
    draw(kit, chip, feed, shared)
    ground = chip["GND"]
    kit.sheet.wire(ground, (ground[0] + 20, ground[1]), (ground[0] + 20, ground[1] + 20))
    kit.sheet.ground(GROUND, (ground[0] + 20, ground[1] + 20))


def _draw_3525(kit: Kit, chip: Placed, feed: str, shared: bool) -> None:
    _left_3525(kit, chip, shared)
    _supply(kit, feed, [chip["VIN"], chip["VC"]])
    _outputs(kit, {"out_a": chip["OUTA"], "out_b": chip["OUTB"]}, None)
    _left_open(kit, chip, "OSC", "SYNC")


def _draw_494(kit: Kit, chip: Placed, feed: str, _shared: bool) -> None:
    _left_494(kit, chip)
    _supply(kit, feed, [chip["VCC"], chip["C1"], chip["C2"]])
    kit.sheet.flag("vref", (chip["OC"][0] + 60, chip["OC"][1]), "right")
    kit.sheet.wire(chip["OC"], (chip["OC"][0] + 60, chip["OC"][1]))
    _outputs(kit, {"out_a": chip["E1"], "out_b": chip["E2"]}, "output pull-down")


def _draw_3524(kit: Kit, chip: Placed, feed: str, shared: bool) -> None:
    sheet = kit.sheet
    _left_3524(kit, chip, shared)
    _supply(kit, feed, [chip["VIN"], chip["CA"], chip["CB"]])
    _outputs(kit, {"out_a": chip["EA"], "out_b": chip["EB"]}, "output pull-down")
    _left_open(kit, chip, "OSC")
    ground = chip["GND"]
    for pin in ("CL+", "CL-"):
        sheet.wire(chip[pin], (ground[0] + 20, chip[pin][1]), (ground[0] + 20, ground[1]))


def _draw_3846(kit: Kit, chip: Placed, feed: str, _shared: bool) -> None:
    _left_3846(kit, chip)
    _supply(kit, feed, [chip["VIN"], chip["VC"]])
    _outputs(kit, {"out_a": chip["OUTA"], "out_b": chip["OUTB"]}, None)
    _left_open(kit, chip, "SYNC")
    x, y = chip["SD"]
    kit.sheet.wire((x, y), (x + 60, y), (x + 80, y))
    _down(kit, "shutdown pull-down", "shutdown", (x + 60, y))
    kit.lying(kit.one("shutdown resistor"), "shutdown", x + 80, y)
    kit.sheet.wire((x + 120, y), (x + 140, y))
    kit.sheet.flag("inhibit", (x + 140, y), "right")


def _left_open(kit: Kit, chip: Placed, *pins: str) -> None:
    for pin in pins:
        kit.sheet.say(chip[pin][0] + 8, chip[pin][1] + 4, "left open")


def point(kit: Kit, net: str, at: Point, *, named: bool = False) -> None:
    """A net's test point, where it has one; ``named`` where a flag elsewhere leads here."""
    for spot in kit.circuit.test_points:
        if spot.net == net:
            kit.sheet.name(net, at, point=spot.designator, named=named)


def _down(kit: Kit, role: str, net: str, at: Point) -> None:
    """A part from a net down to ground."""
    part = kit.one(role)
    kit.sheet.ground(GROUND, kit.upright(part, net, *at).end(part, net))


def _left_3525(kit: Kit, chip: Placed, shared: bool) -> None:
    sheet, x = kit.sheet, chip["REF"][0]
    y = {pin: chip[pin][1] for pin in ("REF", "NI", "INV", "COMP", "SS", "SD", "RT", "CT", "DIS")}
    _reference(kit, chip["REF"], leads=shared)
    if kit.circuit.by_role("loop capacitor"):
        _loop(kit, chip["NI"], chip["INV"], chip["COMP"], y["REF"])
    else:
        _resting(kit, chip["NI"], chip["INV"], chip["COMP"], y["REF"])
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


def _loop(kit: Kit, plus: Point, minus: Point, out: Point, top: int) -> None:
    """Reference and divided rail into the error amplifier, the loop's capacitor from its output."""
    sheet, x = kit.sheet, plus[0]
    kit.lying(kit.one("reference resistor"), "vref", x - 90, plus[1])
    sheet.wire((x - 100, top), (x - 100, plus[1]), (x - 90, plus[1]))
    sheet.wire((x - 50, plus[1]), plus)
    _divided(kit, minus, out)


def _divided(kit: Kit, minus: Point, out: Point) -> None:
    """The divided rail along the inverting input's line, the loop's capacitor from there to the output."""
    sheet, (x, y) = kit.sheet, minus
    capacitor = kit.upright(kit.one("loop capacitor"), "error", x - 50, y)
    sheet.wire(out, (x - 50, out[1]))
    if out[1] > y + 40:
        sheet.wire((x - 50, out[1]), capacitor.end(kit.one("loop capacitor"), "error"))
    kit.lying(kit.one("loop resistor"), "feedback", x - 150, y)
    sheet.wire((x - 110, y), (x - 50, y), minus)
    _down(kit, "feedback divider, bottom", "feedback", (x - 190, y))
    kit.lying(kit.one("feedback divider, top"), "rail_positive", x - 280, y)
    sheet.wire((x - 240, y), (x - 190, y), (x - 150, y))
    sheet.flag("rail_positive", (x - 300, y), "left")
    sheet.wire((x - 300, y), (x - 280, y))


def _resting(kit: Kit, plus: Point, minus: Point, out: Point, top: int) -> None:
    """The error amplifier follows the reference."""
    sheet, x = kit.sheet, plus[0]
    sheet.wire(plus, (x - 30, plus[1]), (x - 30, top))
    sheet.wire(minus, (x - 30, minus[1]), (x - 30, out[1]), out)


def _left_3524(kit: Kit, chip: Placed, shared: bool) -> None:
    """Clamp of COMP at the lower left, with the soft start; the amplifier's inputs above."""
    sheet, x = kit.sheet, chip["REF"][0]
    y = {pin: chip[pin][1] for pin in ("REF", "NI", "INV", "SD", "COMP", "RT", "CT")}
    _reference(kit, chip["REF"], leads=shared)
    column = x - 100
    kit.upright(kit.one("reference divider, top"), "vref", column, y["REF"])
    sheet.wire((column, y["NI"]), chip["NI"])
    if kit.circuit.by_role("loop capacitor"):
        _down(kit, "reference divider, bottom", "half", (column, y["NI"]))
        _divided(kit, chip["INV"], chip["COMP"])
    else:
        kit.upright(kit.one("reference divider, middle"), "half", column, y["NI"])
        sheet.wire((column, y["NI"] + 40), (column, y["INV"]), chip["INV"])
        _down(kit, "reference divider, bottom", "below", (column, y["INV"]))
    kit.lying(kit.one("shutdown resistor"), "inhibit", x - 110, y["SD"])
    sheet.wire((x - 70, y["SD"]), chip["SD"])
    sheet.flag("inhibit", (x - 130, y["SD"]), "left")
    sheet.wire((x - 130, y["SD"]), (x - 110, y["SD"]))
    for pin, role, net, at in (
        ("RT", "timing resistor", "rt", x - 100),
        ("CT", "timing capacitor", "ct", x - 40),
    ):
        sheet.wire(chip[pin], (at, y[pin]))
        _down(kit, role, net, (at, y[pin]))
    point(kit, "ct", (x - 20, y["CT"]))
    _clamp(kit, x - 160, y["COMP"], chip["COMP"], y["REF"])


def _clamp(kit: Kit, x: int, out: int, comp: Point, top: int) -> None:
    """The transistor that holds COMP above its divider, and the one that empties the divider's capacitor."""
    sheet, limit = kit.sheet, out + 50
    pnp = kit.place(kit.one("duty clamp transistor"), x - 10, limit, flip=True)
    begin = (comp[0] - 50, out) if kit.circuit.by_role("loop capacitor") else comp
    sheet.wire(begin, (x, out), pnp["emitter"])
    sheet.ground(GROUND, pnp["collector"])
    sheet.wire(pnp["base"], (x - 60, limit), (x - 120, limit), (x - 190, limit))
    kit.upright(kit.one("dead-time divider, top"), "vref", x - 60, out - 50)
    sheet.wire((x - 60, top), (x - 60, out - 50))
    sheet.wire((x - 60, out - 10), (x - 60, limit))
    _down(kit, "dead-time divider, bottom", "limit", (x - 60, limit))
    _down(kit, "soft-start capacitor", "limit", (x - 120, limit))
    point(kit, "limit", (x - 90, limit))
    npn = kit.place(kit.one("inhibit transistor"), x - 180, limit + 90, turn=2, flip=True)
    sheet.wire((x - 190, limit), npn["collector"])
    sheet.ground(GROUND, npn["emitter"])
    _inhibited(kit, npn["base"])


def _inhibited(kit: Kit, base: Point) -> None:
    """Base resistors of the inhibit transistor, to the right."""
    sheet, (x, y) = kit.sheet, base
    sheet.wire(base, (x + 40, y), (x + 90, y))
    _down(kit, "inhibit base pull-down", "inhibit_base", (x + 40, y))
    kit.lying(kit.one("inhibit base resistor"), "inhibit_base", x + 90, y)
    sheet.flag("inhibit", (x + 150, y), "right")
    sheet.wire((x + 130, y), (x + 150, y))


def _left_3846(kit: Kit, chip: Placed) -> None:
    """As a 3525's, but for the resistor that charges the soft start, and the ramp's way to the sense pins."""
    sheet, x = kit.sheet, chip["REF"][0]
    y = {pin: chip[pin][1] for pin in ("REF", "CL", "RT", "CT", "CS-", "CS+")}
    _reference(kit, chip["REF"])
    draw = _loop if kit.circuit.by_role("loop capacitor") else _resting
    draw(kit, chip["EA+"], chip["EA-"], chip["COMP"], y["REF"])
    sheet.wire(chip["CL"], (x - 210, y["CL"]), (x - 330, y["CL"]))
    kit.upright(kit.one("soft-start resistor"), "vref", x - 210, y["CL"] - 60)
    sheet.wire((x - 210, y["REF"]), (x - 210, y["CL"] - 60))
    sheet.wire((x - 210, y["CL"] - 20), (x - 210, y["CL"]))
    _down(kit, "soft-start capacitor", "soft", (x - 330, y["CL"]))
    point(kit, "soft", (x - 60, y["CL"]))
    sheet.wire(chip["RT"], (x - 270, y["RT"]))
    _down(kit, "timing resistor", "rt", (x - 270, y["RT"]))
    sheet.wire(chip["CT"], (x - 130, y["CT"]), (x - 200, y["CT"]))
    _down(kit, "timing capacitor", "ct", (x - 200, y["CT"]))
    point(kit, "ct", (x - 60, y["CT"]))
    npn = kit.place(kit.one("ramp follower"), x - 100, y["CS-"] - 20)
    sheet.wire((x - 130, y["CT"]), (x - 130, npn["base"][1]), npn["base"])
    sheet.rail("vref", npn["collector"])
    kit.upright(kit.one("ramp divider, top"), "follower", x - 90, y["CS+"] - 40)
    sheet.wire((x - 90, y["CS+"]), chip["CS+"])
    _down(kit, "ramp divider, bottom", "sensed", (x - 90, y["CS+"]))
    sheet.wire(chip["CS-"], (x - 20, y["CS-"]))
    sheet.ground(GROUND, (x - 20, y["CS-"]))


def _reference(kit: Kit, pin: Point, *, leads: bool = True) -> None:
    """The reference's line to the left, with its capacitor, and its flag where it ``leads`` elsewhere."""
    x, y = pin
    end = x - 330
    kit.sheet.wire(pin, (end, y))
    _down(kit, "reference capacitor", "vref", (end, y))
    point(kit, "vref", (x - 60, y))
    if leads:
        kit.sheet.flag("vref", (end - 20, y), "left")
        kit.sheet.wire((end - 20, y), (end, y))


def _left_494(kit: Kit, chip: Placed) -> None:
    sheet, x = kit.sheet, chip["REF"][0]
    top = chip["REF"][1]
    dead = chip["DTC"][1]
    left = x - 360
    sheet.wire(chip["REF"], (left, top))
    reference = kit.one("reference capacitor")
    regulated = bool(kit.circuit.by_role("loop capacitor"))
    point(kit, "vref", (x - 170 if regulated else x - 60, top), named=True)
    divided = bool(kit.circuit.by_role("dead-time divider, top"))
    beside = x - 90 if not regulated else x - 110 if divided else x - 130
    kit.upright(reference, "vref", beside, top)
    sheet.ground(GROUND, (beside, top + 40))
    if regulated:
        _loop_494(kit, chip, top)
    else:
        sheet.wire(chip["1IN-"], (x - 30, chip["1IN-"][1]), (x - 30, top))
        sheet.wire(chip["2IN-"], (x - 30, chip["2IN-"][1]), (x - 30, chip["1IN-"][1]))
        sheet.wire(chip["1IN+"], (x - 60, chip["1IN+"][1]), (x - 60, chip["2IN+"][1]), chip["2IN+"])
        sheet.ground(GROUND, (x - 60, chip["2IN+"][1]))
        sheet.say(x - 72, chip["FB"][1] + 4, "left open")
    sheet.wire(chip["DTC"], (x - 300, dead))
    point(kit, "dead", (x - 110, dead))
    columns: list[tuple[str, int]] = [("soft-start capacitor", x - 200)]
    bottom = "soft-start resistor"
    if divided:
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
    _reset(kit, x - 300, top, dead)


def _loop_494(kit: Kit, chip: Placed, top: int) -> None:
    """Reference, turned over, with the loop's capacitor; the divided rail has its place below the case."""
    sheet, x = kit.sheet, chip["REF"][0]
    minus, plus, out = chip["1IN-"], chip["1IN+"], chip["FB"]
    kit.upright(kit.one("reference resistor"), "vref", x - 50, top)
    sheet.wire((x - 50, minus[1]), minus)
    capacitor = kit.upright(kit.one("loop capacitor"), "reference", x - 50, plus[1] + 20)
    sheet.wire((x - 50, minus[1]), (x - 50, plus[1] + 20))
    sheet.wire(capacitor.end(kit.one("loop capacitor"), "reference"), (x - 50, out[1]), out)
    sheet.flag("error", (x - 70, plus[1]), "left")
    sheet.wire(plus, (x - 70, plus[1]))
    sheet.wire(chip["2IN-"], (x - 30, chip["2IN-"][1]), (x - 30, top))
    sheet.wire(chip["2IN+"], (x - 20, chip["2IN+"][1]))
    sheet.ground(GROUND, (x - 20, chip["2IN+"][1]))
    left, y = _NETWORK
    sheet.flag("rail_positive", (left, y), "left")
    sheet.wire((left, y), (left + 20, y))
    kit.lying(kit.one("feedback divider, top"), "rail_positive", left + 20, y)
    sheet.wire((left + 60, y), (left + 80, y), (left + 120, y))
    _down(kit, "feedback divider, bottom", "feedback", (left + 80, y))
    kit.lying(kit.one("loop resistor"), "feedback", left + 120, y)
    sheet.wire((left + 160, y), (left + 190, y), (left + 220, y))
    _down(kit, "balance capacitor", "error", (left + 190, y))
    sheet.flag("error", (left + 220, y), "right")


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
    _inhibited(kit, npn["base"])


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
    kit.lying(kit.one("gate supply resistor"), "zener", node[0] + 20, node[1])
    _down(kit, "gate supply zener", "zener", node)
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
