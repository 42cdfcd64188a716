"""Output stages of class AB: one sheet for each leg of discrete devices."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_leg"]

_TOP: Final = 120
_BOTTOM: Final = 640
_OUT: Final = 380
_FIRST_PAIR: Final = 560
_LAST_X: Final = 1090


def draw_leg(kit: Kit, name: str, upper: str, lower: str, positive: str, negative: str) -> None:
    """Draw one leg of discrete devices.

    Parameters
    ----------
    kit : the sheet. name : of the leg. upper, lower : nets of the collectors. positive, negative : nets that
        feed the drivers.
    """
    sheet = kit.sheet
    top_y, low_y = _TOP + 140, _BOTTOM - 140
    above, below = f"base_upper_{name}", f"base_lower_{name}"
    sheet.flag(above, (190, top_y), "left", "voltage stage")
    sheet.flag(below, (190, low_y), "left", "voltage stage")
    _bias(kit, name, above, below, top_y, low_y)
    drivers = [p for p in kit.circuit.parts if p.role.startswith("driver ") and _named(p, name)]
    if drivers:
        driven = _driver_pair(kit, name, (positive, negative), top_y, low_y)
    else:
        driven = ((440, top_y), (440, low_y))
        sheet.wire((420, top_y), (440, top_y))
        sheet.wire((420, low_y), (440, low_y))
    _pairs(kit, name, (upper, lower), driven)


def _named(part: Part, name: str) -> bool:
    return any(net.endswith(f"_{name}") for net in part.nets)


def _on(kit: Kit, role: str, *nets: str) -> Part:
    return next(p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets))


def _bias(kit: Kit, name: str, above: str, below: str, top_y: int, low_y: int) -> None:
    """The bias transistor with its divider and capacitor between the two lines."""
    sheet, inner, foot = kit.sheet, f"bias_{name}", f"bias_foot_{name}"
    middle = (top_y + low_y) // 20 * 10
    x = 240
    sheet.wire((190, top_y), (420, top_y))
    sheet.wire((190, low_y), (420, low_y))
    sheet.wire((x, top_y), (x, top_y + 30))
    kit.upright(_on(kit, "bias upper", above), above, x, top_y + 30)
    sheet.wire((x, top_y + 70), (x, middle), (x, middle + 10))
    kit.upright(_on(kit, "bias lower", inner), inner, x, middle + 10)
    sheet.wire((x, middle + 50), (x, middle + 60))
    trimmer = kit.place(_on(kit, "bias trimmer", foot), x, middle + 80, turn=1)
    sheet.wire((x, middle + 60), trimmer["top"])
    sheet.wire(trimmer["wiper"], (trimmer["wiper"][0], middle + 60), (x, middle + 60))
    sheet.wire(trimmer["bottom"], (x, low_y))
    transistor = kit.place(_on(kit, "bias transistor", inner), x + 70, middle)
    sheet.wire((x, middle), transistor["base"])
    sheet.wire(transistor["collector"], (x + 80, top_y))
    sheet.wire(transistor["emitter"], (x + 80, low_y))
    capacitor = _on(kit, "bias capacitor", above)
    sheet.wire((x + 150, top_y), (x + 150, middle - 20))
    kit.upright(capacitor, above, x + 150, middle - 20)
    sheet.wire((x + 150, middle + 20), (x + 150, low_y))
    for point in kit.circuit.test_points:
        if point.net in (above, below):
            sheet.name(point.net, (210, top_y if point.net == above else low_y), point=point.designator)


def _driver_pair(kit: Kit, name: str, rails: tuple[str, str], top_y: int, low_y: int) -> tuple[Point, Point]:
    """Drivers at the ends of the bias, with the resistor that empties the output bases."""
    sheet, x = kit.sheet, 450
    above, below = f"driven_upper_{name}", f"driven_lower_{name}"
    first = kit.place(_on(kit, "driver NPN", above), x, top_y)
    second = kit.place(_on(kit, "driver PNP", below), x, low_y, flip=True)
    sheet.wire((420, top_y), first["base"])
    sheet.wire((420, low_y), second["base"])
    for rail, pin, away in ((rails[0], first["collector"], "up"), (rails[1], second["collector"], "down")):
        if rail == GROUND:
            sheet.ground(GROUND, pin)
        else:
            sheet.rail(rail, pin, "up" if away == "up" else "down")
    column = first["emitter"][0]
    bus = (column, top_y + 40), (column, low_y - 40)
    sheet.wire(first["emitter"], bus[0], (column, _OUT - 20))
    kit.upright(_on(kit, "driver resistor", above), above, column, _OUT - 20)
    sheet.wire((column, _OUT + 20), bus[1], second["emitter"])
    return bus


def _pairs(kit: Kit, name: str, rails: tuple[str, str], driven: tuple[Point, Point]) -> None:
    """The pairs side by side, the output line between them."""
    sheet, out = kit.sheet, f"out_{name}"
    # The first device of each side stands leftmost.
    devices = {
        side: [
            p
            for p in kit.circuit.by_role("output stage")
            if p.nets[0] == rails[k] and p.model == ("UPPER", "LOWER")[k] and _outward(kit, p, out)
        ]
        for k, side in enumerate(("upper", "lower"))
    }
    count = len(devices["upper"])
    lateral = devices["upper"][0].kind == "mosfet"
    pitch = min(110, (_LAST_X - 120 - _FIRST_PAIR) // max(count, 1) // 10 * 10)
    lead = 40 if pitch > 50 else 30  # from a device back to its drop; clear of the emitter before
    last = _FIRST_PAIR + pitch * (count - 1)
    for k, side in enumerate(("upper", "lower")):
        y = (_TOP + 80, _BOTTOM - 80)[k]
        sign = 1 if k == 0 else -1
        bus_y = driven[k][1]
        start = (driven[k][0], bus_y)
        xs = [_FIRST_PAIR + pitch * n for n in range(count)]
        sheet.wire(start, (xs[-1] - lead, bus_y))
        for part, x in zip(devices[side], xs, strict=True):
            placed = kit.place(part, x, y, flip=k == 1)
            base = placed["gate" if lateral else "base"]
            if lateral:
                _gate(kit, part, x - lead, bus_y, base, sign)
            else:
                sheet.wire((x - lead, bus_y), (x - lead, y), base)
            _emitter(kit, part, placed["source" if lateral else "emitter"], out, y, sign)
            rail_y = (_TOP, _BOTTOM)[k]
            sheet.wire(placed["drain" if lateral else "collector"], (x + 10, rail_y), heavy=True)
        rail_y = (_TOP, _BOTTOM)[k]
        sheet.wire((xs[0] - 60, rail_y), (xs[-1] + 10, rail_y), heavy=True)
        if rails[k] == GROUND:
            sheet.wire((xs[0] - 60, rail_y), (xs[0] - 60, rail_y + 10), heavy=True)
            sheet.ground(GROUND, (xs[0] - 60, rail_y + 10))
        else:
            sheet.flag(rails[k], (xs[0] - 60, rail_y), "left", heavy=True)
    end = last + 90
    sheet.wire((_FIRST_PAIR + 10, _OUT), (end + 30, _OUT), heavy=True)
    sheet.flag(out, (end + 30, _OUT), "right", heavy=True)
    for point in kit.circuit.test_points:
        if point.net == out:
            sheet.name(out, (last + 40, _OUT), point=point.designator)
    _zobel(kit, name, end)


def _outward(kit: Kit, part: Part, out: str) -> bool:
    """Whether a device's emitter leads to an output, with or without a resistor."""
    last = part.nets[2]
    if last == out:
        return True
    return any(last in r.nets and out in r.nets for r in kit.circuit.by_role("emitter resistor"))


def _gate(kit: Kit, part: Part, x: int, bus_y: int, gate: Point, sign: int) -> None:
    """A gate resistor lying on the bus's way to the gate."""
    resistor = next(r for r in kit.circuit.by_role("gate resistor") if part.nets[1] in r.nets)
    far = next(net for net in resistor.nets if net != part.nets[1])
    if sign > 0:
        kit.upright(resistor, part.nets[1], x, bus_y - 40)
    else:
        kit.upright(resistor, far, x, bus_y)
    kit.sheet.wire((x, gate[1]), gate)
    kit.sheet.wire((x, gate[1]), (x, bus_y - 40 * sign))


def _emitter(kit: Kit, part: Part, pin: Point, out: str, y: int, sign: int) -> None:
    """Emitter resistor from a device to the output line."""
    sheet, x = kit.sheet, pin[0]
    if part.nets[2] == out:
        sheet.wire(pin, (x, _OUT), heavy=True)
        return
    resistor = next(r for r in kit.circuit.by_role("emitter resistor") if part.nets[2] in r.nets)
    near = y + 120 * sign
    sheet.wire(pin, (x, near), heavy=True)
    if sign > 0:
        kit.upright(resistor, part.nets[2], x, near)
    else:
        kit.upright(resistor, out, x, near - 40)
    sheet.wire((x, near + 40 * sign), (x, _OUT), heavy=True)


def _zobel(kit: Kit, name: str, x: int) -> None:
    """Resistor and capacitor that calm the output at high frequencies."""
    out, calm = f"out_{name}", f"calm_{name}"
    resistor = _on(kit, "output Zobel resistor", out)
    capacitor = _on(kit, "output Zobel capacitor", calm)
    kit.sheet.wire((x, _OUT), (x, _OUT + 20))
    kit.upright(resistor, out, x, _OUT + 20)
    kit.sheet.ground(GROUND, kit.upright(capacitor, calm, x, _OUT + 60).end(capacitor, calm))
