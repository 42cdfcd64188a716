"""The modulator's supplies: drivers, logic, op-amp and comparator, the reference of a single supply."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator_parts import down, find, low, spot

__all__ = ["draw_supplies"]

_DRIVERS: Final = 150
_OPS: Final = 390
_CASES: Final = 590


def draw_supplies(kit: Kit) -> None:
    """Draw every supply and the supply pins of the integrated circuits."""
    _drivers(kit)
    if "op_negative" in kit.circuit.nets:
        _both_sides(kit)
    else:
        _one_side(kit)
    _cases(kit)


def _drivers(kit: Kit) -> None:
    """Supply of the drivers along one line, on to that of the logic."""
    sheet, y = kit.sheet, _DRIVERS
    sheet.say(90, y - 76, "supply of drivers and logic", head=True)
    if kit.circuit.by_role("driver supply follower"):
        x = _follower(kit, y)
    else:
        feed = kit.one("driver supply resistor")
        top = next(net for net in feed.nets if net != "driver_supply")
        sheet.flag(top, (160, y), "left")
        x = kit.run(top, 160, y, [feed]) + 20
        sheet.wire((x - 20, y), (x, y))
        down(kit, kit.one("driver supply zener"), "driver_supply", (x, y))
    sheet.wire((x, y), (x + 100, y), (x + 190, y), (x + 220, y))
    down(kit, kit.one("driver supply capacitor"), "driver_supply", (x + 100, y))
    spot(kit, "driver_supply", (x + 60, y))
    sheet.rail("driver_supply", (x + 190, y))
    end = kit.run("driver_supply", x + 210, y, [kit.one("logic supply resistor")]) + 20
    for k, role in enumerate(("logic supply zener", "logic supply capacitor", "logic decoupling")):
        at = end + 90 * k
        sheet.wire((at - (20 if k == 0 else 90), y), (at, y))
        down(kit, find(kit, role, "logic_supply", low(kit)), "logic_supply", (at, y))
    spot(kit, "logic_supply", (end + 50, y))
    sheet.wire((end + 180, y), (end + 240, y))
    sheet.rail("logic_supply", (end + 240, y))


def _follower(kit: Kit, y: int) -> int:
    """Emitter follower behind a zener; returns the x at which its output is."""
    sheet = kit.sheet
    dropper = kit.one("driver supply dropper")
    top = next(net for net in dropper.nets if net != "driver_collector")
    if top == GROUND:
        sheet.wire((140, y), (160, y))
        sheet.ground(GROUND, (140, y))
    else:
        sheet.flag(top, (160, y), "left")
    end = kit.run(top, 180, y, [dropper])
    sheet.wire((160, y), (180, y), (190, y))
    q = kit.place(kit.one("driver supply follower"), end + 40, y + 10, turn=3)
    sheet.wire((end, y), q["collector"])
    base = (q["base"][0], y + 70)
    resistor = kit.one("driver supply resistor")
    switch = next(net for net in resistor.nets if net != "driver_base")
    kit.lying(resistor, switch, 190, base[1])
    if switch == top:
        sheet.wire((180, y), (180, base[1]), (190, base[1]))
    else:  # what switches it on
        sheet.flag(switch, (160, base[1]), "left")
        sheet.wire((160, base[1]), (190, base[1]))
    sheet.wire((230, base[1]), base, q["base"])
    down(kit, kit.one("driver supply zener"), "driver_base", base)
    out = q["emitter"]
    sheet.wire(out, (out[0] + 40, y))
    return out[0] + 40


def _both_sides(kit: Kit) -> None:
    """A side above and a side below 0 V, each from its rail."""
    y = _OPS
    kit.sheet.say(90, y - 66, "supply of op-amp and comparator", head=True)
    for k, word in enumerate(("positive", "negative")):
        x = 160 + 530 * k
        end = _side(kit, word, x, y)
        net = f"op_{word}"
        kit.sheet.wire((end, y), (end + 60, y), (end + 150, y), (end + 190, y))
        for step, role in ((60, "op supply capacitor"), (150, "op decoupling")):
            down(kit, find(kit, role, net), net, (end + step, y))
        spot(kit, net, (end + 110, y))
        kit.sheet.rail(net, (end + 190, y))


def _side(kit: Kit, word: str, x: int, y: int) -> int:
    """Resistor alone, or follower behind a zener; returns the x at which its output is."""
    sheet, rail, net = kit.sheet, f"rail_{word}", f"op_{word}"
    sheet.flag(rail, (x, y), "left")
    followers = [p for p in kit.circuit.parts if p.kind == "transistor" and p.nets[2] == net]
    if not followers:
        end = kit.run(rail, x, y, [find(kit, "op supply resistor", rail)])
        sheet.wire((end, y), (end + 20, y))
        return end + 20
    base, collector = f"op_base_{word}", f"op_collector_{word}"
    sheet.wire((x, y), (x + 20, y), (x + 30, y))
    end = kit.run(rail, x + 20, y, [find(kit, "op supply dropper", collector)])
    q = kit.place(followers[0], end + 40, y + 10, turn=3)
    sheet.wire((end, y), q["collector"])
    node = (q["base"][0], y + 70)
    kit.lying(find(kit, "op supply resistor", rail, base), rail, x + 30, node[1])
    sheet.wire((x + 20, y), (x + 20, node[1]), (x + 30, node[1]))
    sheet.wire((x + 70, node[1]), node, q["base"])
    down(kit, find(kit, "op supply zener", base), base, node)
    out = q["emitter"]
    sheet.wire(out, (out[0] + 20, y))
    return out[0] + 20


def _one_side(kit: Kit) -> None:
    """From the drivers' supply, and the reference that stands for 0 V."""
    sheet, y = kit.sheet, _OPS
    sheet.say(90, y - 66, "supply of op-amp and comparator, reference", head=True)
    sheet.rail("driver_supply", (150, y))
    end = kit.run("driver_supply", 150, y, [kit.one("op supply resistor")]) + 30
    sheet.wire((end - 30, y), (end, y), (end + 90, y), (end + 180, y))
    for step, role in ((0, "op supply capacitor"), (90, "op decoupling")):
        down(kit, find(kit, role, "op_positive"), "op_positive", (end + step, y))
    spot(kit, "op_positive", (end + 40, y))
    sheet.rail("op_positive", (end + 150, y))
    node = kit.run("op_positive", end + 180, y, [kit.one("reference resistor")]) + 40
    sheet.wire((node - 40, y), (node, y), (node, y + 20))
    shunt = kit.place(kit.one("reference"), node, y + 40, turn=3, flip=True)
    sheet.ground(GROUND, shunt["anode"])
    upper = node + 90
    kit.upright(kit.one("reference upper"), "reference", upper, y)
    tap = (upper, y + 40)
    sheet.wire(shunt["reference"], tap)
    sheet.wire(tap, (upper, y + 50))
    down(kit, kit.one("reference lower"), "reference_set", (upper, y + 50))
    sheet.wire((node, y), (upper, y), (upper + 90, y), (upper + 150, y))
    down(kit, kit.one("reference capacitor"), "reference", (upper + 90, y))
    spot(kit, "reference", (upper + 40, y))
    sheet.rail("reference", (upper + 150, y))


def _cases(kit: Kit) -> None:
    """Supply pins of each case."""
    sheet, y = kit.sheet, _CASES
    sheet.say(90, y - 66, "supply pins", head=True)
    x = 160
    for kind in ("op-amp", "grounded comparator", "schmitt inverter"):
        for case in kit.cases(kind):
            unit = kit.place_supply(case, x, y)
            sheet.rail(kit.pin_net(case, "V+"), unit["V+"])
            under = kit.pin_net(case, "V-")
            if under in (GROUND, low(kit)):
                sheet.ground(under, unit["V-"])
            else:
                sheet.rail(under, unit["V-"], "down")
            x += 150
