"""The modulator's drivers: for each leg its half-bridge driver, floating supply and both gates' resistors."""

from __future__ import annotations

from typing import Final

from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator_parts import bridge, down, find, spot

__all__ = ["draw_drivers"]

_CHIP: Final = 460
_FIRST: Final = 210  # height of leg A's driver in a bridge
_PITCH: Final = 320
_ALONE: Final = 320
_GATE: Final = 880  # x at which the gates' resistors begin


def draw_drivers(kit: Kit) -> None:
    """Draw the drivers of all legs."""
    if not bridge(kit):
        _leg(kit, "a", _ALONE)
        return
    for k, name in enumerate("ab"):
        kit.sheet.say(90, _FIRST + _PITCH * k - 130, f"leg {name.upper()}", head=True)
        _leg(kit, name, _FIRST + _PITCH * k)


def _leg(kit: Kit, name: str, y: int) -> None:
    sheet, node, boost = kit.sheet, f"node_{name}", f"boost_{name}"
    part = find(kit, "gate driver", node)
    chip = kit.place_chip(part, _CHIP, y)
    left = chip["VCC"][0]
    feed = chip["VCC"]
    can = next(p for p in kit.circuit.by_role("driver decoupling") if p.designator == _decoupling(kit, name))
    sheet.wire(feed, (left - 50, feed[1]), (left - 110, feed[1]))
    sheet.rail("driver_supply", (left - 50, feed[1]))
    down(kit, can, "driver_supply", (left - 110, feed[1]))
    sheet.wire(chip["VDD"], (left - 20, chip["VDD"][1]))
    sheet.rail("logic_supply", (left - 20, chip["VDD"][1]))
    for pin in ("HIN", "LIN", "SD"):
        at = chip[pin]
        sheet.wire(at, (left - 20, at[1]))
        sheet.flag(kit.pin_net(part, pin), (left - 20, at[1]), "left")
    for pin, step in (("VSS", -20), ("COM", 20)):
        at = chip[pin]
        sheet.wire(at, (at[0] + step, at[1]))
        sheet.ground(kit.pin_net(part, pin), (at[0] + step, at[1]))
    _floating(kit, node, boost, (chip["VB"][1], chip["VS"][1]), chip["VB"][0])
    _gate(kit, "upper", name, chip["HO"][0], chip["HO"][1], chip["VS"][1])
    _gate(kit, "lower", name, chip["LO"][0], chip["LO"][1], None)
    if kit.circuit.by_role("node bleed"):
        sheet.flag(node, (170, y + 80), "left")
        sheet.wire((170, y + 80), (190, y + 80))
        down(kit, find(kit, "node bleed", node), node, (190, y + 80))


def _decoupling(kit: Kit, name: str) -> str:
    """Of the equal capacitors, the one of this leg."""
    return kit.circuit.by_role("driver decoupling")["ab".index(name)].designator


def _floating(kit: Kit, node: str, boost: str, rows: tuple[int, int], x: int) -> None:
    """What hangs between VB and VS, and what charges it."""
    sheet, (top, bottom) = kit.sheet, rows
    sheet.wire((x, top), (_GATE, top))
    spot(kit, boost, (x + 30, top))
    for k, role in enumerate(("bootstrap capacitor", "bootstrap bypass", "bootstrap zener")):
        part = find(kit, role, boost, node)
        name, *value = kit.sheet.texts.get(part.designator, (part.designator,))
        shown = value if role == "bootstrap capacitor" else value[:1]  # a note tells the bypass's rating
        turn = 1 if part.nets[0] == boost else 3  # two lines: there is no room for three between the rows
        kit.place(part, x + 70 + 90 * k, top + 20, turn=turn, lines=(name, " ".join(shown)))
    diode = find(kit, "bootstrap diode", boost)
    kit.lying(diode, boost, _GATE, top)
    feed = diode.nets[0]
    sheet.wire((_GATE + 40, top), (_GATE + 70, top))
    kit.lying(find(kit, "bootstrap resistor", feed), feed, _GATE + 70, top)
    sheet.wire((_GATE + 110, top), (_GATE + 130, top))
    sheet.rail("driver_supply", (_GATE + 130, top))
    for part in kit.circuit.by_role("bootstrap pre-charge"):
        if boost not in part.nets:
            continue
        if bridge(kit):  # no room above the first leg
            sheet.rail(boost, (_GATE - 50, top))
            at = (250, top + 200)
            sheet.rail("rail_positive", at)
            sheet.rail(boost, kit.upright(part, "rail_positive", *at).end(part, "rail_positive"), "down")
        else:
            kit.upright(part, "rail_positive", _GATE - 50, top - 50)
            sheet.rail("rail_positive", (_GATE - 50, top - 50))
            sheet.wire((_GATE - 50, top - 10), (_GATE - 50, top))
    sheet.wire((x, bottom), (_GATE + 120, bottom), (_GATE + 170, bottom))
    sheet.flag(node, (_GATE + 170, bottom), "right")


def _gate(kit: Kit, side: str, name: str, x: int, y: int, source: int | None) -> None:
    """On through the resistor, off through the diode, and what empties the gate without a driver."""
    sheet, drive, gate = kit.sheet, f"drive_{side}_{name}", f"gate_{side}_{name}"
    start = _GATE if source is not None else _GATE - 100  # labels of both, and of a leg below, keep apart
    kit.lying(find(kit, "gate resistor on", gate), drive, start, y)
    kit.lying(find(kit, "gate diode off", gate), drive, start, y + 30)
    sheet.wire((x, y), (start - 20, y), (start, y))
    sheet.wire((start - 20, y), (start - 20, y + 30), (start, y + 30))
    end = start + 60
    sheet.wire((start + 40, y + 30), (end, y + 30), (end, y))
    pull = find(kit, "gate pull-down", gate)
    column = _GATE + 120
    sheet.wire((start + 40, y), (end, y), (column, y), (_GATE + 170, y))
    sheet.flag(gate, (_GATE + 170, y), "right")
    if source is None:
        down(kit, pull, gate, (column, y))
    else:
        kit.upright(pull, pull.nets[1] if pull.nets[0] == gate else pull.nets[0], column, source)
        sheet.wire((column, source + 40), (column, y))
