"""The class-D output stage: one row for each leg, from its switches through the filter out."""

from __future__ import annotations

from subwright.circuits.amplifier_bank import INPUT_BANK
from subwright.circuits.amplifier_parts import POSITIVE
from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.stages.amplifier_supply_capacitors import LEG_FILM

__all__ = ["draw_class_d", "draw_input_bank"]


def draw_class_d(kit: Kit, *, fed_back: bool = False, sensed: bool = False) -> None:
    """Draw a class-D stage's netlist.

    Parameters
    ----------
    kit : the sheet. fed_back : whether another sheet takes the switched nodes.
    sensed : whether the loudspeaker's return leads over the protection's shunt.
    """
    legs = [name for name in "ab" if f"node_{name}" in kit.circuit.nets]
    films = kit.circuit.by_role(LEG_FILM)
    for k, name in enumerate(legs):
        _leg(kit, name, 100 + 310 * k, films[k], fed_back=fed_back, sensed=sensed)
        if len(legs) > 1:
            kit.sheet.say(90, 76 + 310 * k, f"leg {name.upper()}", head=True)


def _leg(kit: Kit, name: str, top: int, film: Part, *, fed_back: bool, sensed: bool) -> None:
    sheet, node, out = kit.sheet, f"node_{name}", f"out_{name}"
    switches = [part for part in kit.circuit.by_role("output switch") if node in part.nets]
    upper = next(part for part in switches if part.nets[2] == node)
    lower = next(part for part in switches if part.nets[0] == node)
    y = top + 100
    above = kit.place(upper, 250, top + 40)
    below = kit.place(lower, 250, y + 60)
    sheet.flag(upper.nets[0], (230, top), "left", heavy=True)
    sheet.wire((230, top), (260, top), above["drain"], heavy=True)
    sheet.wire(above["source"], (260, y), below["drain"], heavy=True)
    low, beside = lower.nets[2], 340
    sheet.wire((260, top), (beside, top), (beside, top + 10), heavy=True)
    foot = kit.upright(film, upper.nets[0], beside, top + 10).end(film, upper.nets[0])
    sheet.wire(foot, (beside, y + 100), (260, y + 100), heavy=True)
    if low == GROUND:
        sheet.wire(below["source"], (260, y + 100), heavy=True)
        sheet.ground(GROUND, (260, y + 100))
    else:
        sheet.wire(below["source"], (260, y + 100), (230, y + 100), heavy=True)
        sheet.flag(low, (230, y + 100), "left", heavy=True)
    for part, placed in ((upper, above), (lower, below)):
        sheet.wire((200, placed["gate"][1]), placed["gate"])
        sheet.flag(part.nets[1], (200, placed["gate"][1]), "left")
    sheet.wire((260, y), (470, y), heavy=True)
    if fed_back:
        sheet.wire((230, y), (260, y))
        sheet.flag(node, (230, y), "left")
    _series(kit, "output snubber", node, 380, y)
    kit.lying(_on(kit, "output inductor", node), node, 470, y)
    sheet.wire((510, y), (760, y), heavy=True)
    capacitor = _on(kit, "filter capacitor", out)
    sheet.wire((570, y), (570, y + 10), heavy=True)
    sheet.ground(GROUND, kit.upright(capacitor, out, 570, y + 10).end(capacitor, out))
    _series(kit, "filter damping", out, 670, y)
    sheet.flag(out, (760, y), "right", heavy=True)
    for point in kit.circuit.test_points:
        if point.net in (node, out):
            sheet.name(point.net, (310 if point.net == node else 720, y), point=point.designator)
    if f"out_{'b' if name == 'a' else 'a'}" not in kit.circuit.nets:
        sheet.say(767, y + 60, "the other terminal: 0 V at the filter capacitor")
        if sensed:
            sheet.say(767, y + 74, "over the shunt SHUNT OUT")


def draw_input_bank(kit: Kit, x: int, y: int, *, across: int) -> None:
    """The capacitors at the supply, so many in a row, each row at a flag of its own."""
    cans = kit.circuit.by_role(INPUT_BANK)
    kit.sheet.say(x - 60, y - 24, "at the output devices", head=True)
    for first in range(0, len(cans), across):
        row = cans[first : first + across]
        kit.sheet.flag(POSITIVE, (x, y), "left", heavy=True)
        for k, can in enumerate(row):
            at = x + 20 + 80 * k
            kit.sheet.wire((at, y), (at, y + 10), heavy=True)
            kit.sheet.ground(GROUND, kit.upright(can, POSITIVE, at, y + 10).end(can, POSITIVE))
        kit.sheet.wire((x, y), (x + 20 + 80 * (len(row) - 1), y), heavy=True)
        y += 110


def _on(kit: Kit, role: str, net: str) -> Part:
    return next(part for part in kit.circuit.by_role(role) if net in part.nets)


def _series(kit: Kit, role: str, net: str, x: int, y: int) -> None:
    """Resistor and capacitor in series from the line at ``y`` down to ground."""
    if not kit.circuit.by_role(f"{role} resistor"):
        return
    resistor = _on(kit, f"{role} resistor", net)
    inner = next(end for end in resistor.nets if end != net)
    capacitor = _on(kit, f"{role} capacitor", inner)
    kit.upright(resistor, net, x, y)
    sheet_end = kit.upright(capacitor, inner, x, y + 40).end(capacitor, inner)
    kit.sheet.ground(GROUND, sheet_end)
