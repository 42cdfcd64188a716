"""What the filter's op-amps run on, and the supply pins of each case."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_test_point
from subwright.stages.filter import FilterResult

__all__ = ["SUPPLY_NETS", "draw_supply"]

SUPPLY_NETS: Final = frozenset({"op_positive", "op_negative", "op_supply", "mid"})
"""Nets of the op-amps' supply that have a test point here."""

_X: Final = 190
_LAST_CASE: Final = 1050
_CASE_ROW: Final = 170


def draw_supply(kit: Kit, result: FilterResult, y: int, origin: str) -> None:
    """Draw the supply along ``y``, the cases at its right; ``origin`` says where its rails come from."""
    kind = result.op_amp_supply.kind
    origin = "from the terminal" if kind == "battery" else origin
    kit.sheet.say(90, y - 40, f"supply of the op-amps, {origin}", head=True)
    if kind == "battery":
        x = _battery(kit, y)
    else:
        x = _X
        for word in ("positive", "negative"):
            draw = {"follower": _follower, "zener": _zener}.get(kind, _regulator)
            draw(kit, word, x, y)
            x += 340 if kind == "regulator" else 270
        x -= 30
    rails = [net for net in ("op_positive", "op_negative", "op_supply") if net in kit.circuit.nets]
    decoupling = list(kit.circuit.by_role("op-amp decoupling"))
    start = x
    for case in kit.cases("op-amp"):
        own = [decoupling.pop(0) for _ in rails if decoupling]
        if x > _LAST_CASE:
            x, y = start, y + _CASE_ROW
        _case(kit, case, own, x, y + 30)
        x += 150


def _case(kit: Kit, case: Part, capacitors: list[Part], x: int, y: int) -> None:
    """Supply pins of one case with its decoupling beside it."""
    sheet = kit.sheet
    unit = kit.place_supply(case, x, y)
    upper, lower = kit.pin_net(case, "V+"), kit.pin_net(case, "V-")
    sheet.rail(upper, unit["V+"])
    first = next(part for part in capacitors if upper in part.nets)
    top = kit.upright(first, upper, x + 50, y - 40)
    sheet.wire(unit["V+"], (x + 50, y - 40))
    if lower == GROUND:
        sheet.ground(GROUND, unit["V-"])
        sheet.ground(GROUND, top.end(first, upper))
        return
    sheet.rail(lower, unit["V-"], "down")
    second = next(part for part in capacitors if lower in part.nets)
    kit.upright(second, GROUND, x + 50, y)
    sheet.wire(unit["V-"], (x + 50, y + 40))
    sheet.wire((x + 50, y), (x + 70, y))
    sheet.ground(GROUND, (x + 70, y))


def _on(kit: Kit, role: str, net: str) -> Part:
    return next(part for part in kit.circuit.by_role(role) if net in part.nets)


def _follower(kit: Kit, word: str, x: int, y: int) -> None:
    sheet, rail, base, out = kit.sheet, f"rail_{word}", f"base_{word}", f"op_{word}"
    sheet.flag(rail, (x - 20, y), "left")
    sheet.wire((x - 20, y), (x, y))
    transistor = kit.place(_on(kit, "op-amp supply follower", rail), x + 80, y + 10, turn=3)
    sheet.wire((x, y), transistor["collector"])
    sheet.wire((x, y), (x, y + 10))
    kit.upright(_on(kit, "op-amp supply resistor", rail), rail, x, y + 10)
    sheet.wire((x, y + 50), (x + 80, y + 50), (x + 130, y + 50))
    sheet.wire(transistor["base"], (x + 80, y + 50))
    for role, at in (("op-amp supply zener", x + 80), ("op-amp supply base capacitor", x + 130)):
        part = _on(kit, role, base)
        sheet.ground(GROUND, kit.upright(part, base, at, y + 50).end(part, base))
    sheet.wire(transistor["emitter"], (x + 130, y), (x + 160, y))
    sheet.rail(out, (x + 160, y))
    draw_test_point(kit, out, (x + 130, y))


def _zener(kit: Kit, word: str, x: int, y: int) -> None:
    sheet, rail, out = kit.sheet, f"rail_{word}", f"op_{word}"
    sheet.flag(rail, (x - 20, y), "left")
    end = kit.run(rail, x - 20, y, [_on(kit, "op-amp supply resistor", rail)]) + 20
    sheet.wire((end - 20, y), (end, y), (end, y + 10))
    zener = _on(kit, "op-amp supply zener", out)
    sheet.ground(GROUND, kit.upright(zener, out, end, y + 10).end(zener, out))
    sheet.wire((end, y), (end + 50, y))
    sheet.rail(out, (end + 50, y))
    draw_test_point(kit, out, (end + 20, y))


def _regulator(kit: Kit, word: str, x: int, y: int) -> None:
    sheet, rail, out, adjust = kit.sheet, f"rail_{word}", f"op_{word}", f"adjust_{word}"
    sheet.flag(rail, (x - 20, y), "left")
    box = kit.place(_on(kit, f"{word} regulator", rail), x + 60, y, side="above")
    sheet.wire((x - 20, y), (x, y), box["in"])
    sheet.wire((x, y), (x, y + 10))
    before, behind = _on(kit, "regulator input capacitor", rail), _on(kit, "regulator output capacitor", out)
    sheet.ground(GROUND, kit.upright(before, rail, x, y + 10, side="left").end(before, rail))
    node = (x + 60, y + 60)
    sheet.wire(box["adjust"], node)
    upper, lower = _on(kit, "regulator output to adjust", out), _on(kit, "regulator adjust to ground", adjust)
    kit.upright(upper, out, x + 120, y + 10)
    sheet.wire(box["out"], (x + 120, y), (x + 120, y + 10))
    sheet.wire((x + 120, y + 50), (x + 120, y + 60), node, (node[0], y + 70))
    sheet.ground(GROUND, kit.upright(lower, adjust, node[0], y + 70).end(lower, adjust))
    sheet.wire((x + 120, y), (x + 190, y), (x + 190, y + 10))
    sheet.ground(GROUND, kit.upright(behind, out, x + 190, y + 10).end(behind, out))
    sheet.rail(out, (x + 190, y))
    draw_test_point(kit, out, (x + 150, y))


def _battery(kit: Kit, y: int) -> int:
    """Filtered battery, and half of it as the signal's ground."""
    sheet, x = kit.sheet, _X
    sheet.flag("battery", (x - 20, y), "left")
    node = kit.run("battery", x - 20, y, [kit.one("op-amp supply filter")]) + 20
    sheet.wire((node - 20, y), (node, y), (node, y + 10))
    can = kit.one("op-amp supply filter capacitor")
    sheet.ground(GROUND, kit.upright(can, "op_supply", node, y + 10).end(can, "op_supply"))
    zeners = kit.circuit.by_role("op-amp supply zener")
    for zener in zeners:
        node += 70
        sheet.wire((node - 70, y), (node, y), (node, y + 10))
        sheet.ground(GROUND, kit.upright(zener, "op_supply", node, y + 10).end(zener, "op_supply"))
    top = node + 100
    sheet.wire((node, y), (node + 50, y), (top, y))
    sheet.rail("op_supply", (node + 50, y))
    draw_test_point(kit, "op_supply", (node + 80, y))
    dividers = kit.circuit.by_role("midpoint divider")
    upper, lower = (next(p for p in dividers if net in p.nets) for net in ("op_supply", GROUND))
    kit.upright(upper, "op_supply", top, y)
    half = (top, y + 40)
    sheet.ground(GROUND, kit.upright(lower, "half", top, y + 40).end(lower, "half"))
    smoothing = kit.one("midpoint capacitor")
    sheet.wire(half, (top + 60, y + 40))
    sheet.ground(GROUND, kit.upright(smoothing, "half", top + 60, y + 40).end(smoothing, "half"))
    amp = kit.place_amplifier(kit.amplifier("half"), top + 140, y + 30)
    sheet.wire((top + 60, y + 40), amp["+"])
    out = (top + 180, y + 30)
    sheet.wire(amp["out"], out, (out[0], y - 10), (top + 100, y - 10), (top + 100, y + 20), amp["-"])
    sheet.wire(out, (out[0] + 20, y + 30), (out[0] + 20, y + 40))
    sheet.ground("mid", (out[0] + 20, y + 40))
    draw_test_point(kit, "mid", (out[0], y + 10))
    return out[0] + 110
