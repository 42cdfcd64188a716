"""The inputs' sheets: sockets, series resistors, clamps, pad and difference amplifiers."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_difference_input", "draw_single_inputs"]

_HOT: Final = 190
_COLD: Final = 450


def draw_single_inputs(kit: Kit, channels: str, upper: str, lower: str) -> None:
    """Draw single-ended channels below one another.

    Parameters
    ----------
    kit : the sheet. channels : their letters. upper, lower : nets of the op-amps' supply.
    """
    for row, name in enumerate(channels):
        y = _HOT + 250 * row
        out = f"receiver_{name}"
        kit.sheet.say(90, y - 100, f"channel {name.upper()}", head=True)
        jack = kit.place(_on(kit, "line input", f"lead_hot_{name}"), 130, y)
        kit.sheet.ground(GROUND, jack["shell"])
        end = _lead(kit, f"lead_hot_{name}", out, y, (upper, lower))
        _out(kit, out, end, y)


def draw_difference_input(kit: Kit, name: str, upper: str, lower: str, middle: str, *, cases: bool) -> None:
    """Draw one channel with its difference amplifier.

    Parameters
    ----------
    kit : the sheet. name : letter of the channel. upper, lower, middle : nets of the op-amps' supply and of
        the signal's ground. cases : whether to draw the amplifiers' supply pins here.
    """
    sheet = kit.sheet
    sheet.say(90, _HOT - 100, f"channel {name.upper()}", head=True)
    hot, cold, out = f"hot_{name}", f"cold_{name}", f"receiver_{name}"
    minus, plus = f"minus_{name}", f"plus_{name}"
    entry = kit.at_net("connector", f"lead_hot_{name}")
    jack = kit.place(entry, 130, _HOT, shape="terminals" if "terminal" in entry.role else "")
    sheet.wire(jack["shell"], (130, _COLD), (150, _COLD))
    ends = [
        _lead(kit, f"lead_{side}_{name}", net, y, (upper, lower))
        for side, net, y in (("hot", hot, _HOT), ("cold", cold, _COLD))
    ]
    x = max(ends) + 30
    shunt = [part for part in kit.circuit.by_role("input pad shunt") if hot in part.nets]
    if shunt:
        middle_y = (_HOT + _COLD) // 20 * 10
        sheet.wire((x, _HOT), (x, middle_y - 20))
        kit.upright(shunt[0], hot, x, middle_y - 20)
        sheet.wire((x, middle_y + 20), (x, _COLD))
    for end, y in zip(ends, (_HOT, _COLD), strict=True):
        sheet.wire((end, y), (x, y), (x + 20, y))
    x += 20
    amplifier = kit.amplifier(plus)
    at = (x + 260, (_HOT + _COLD) // 20 * 10)
    amp = kit.place_amplifier(amplifier, *at, flip=True)
    # the + input: from the hot lead, and from the signal's ground
    node = kit.run(hot, x, _HOT, [_on(kit, "difference amplifier in", hot)]) + 20
    sheet.wire((node - 20, _HOT), (node, _HOT), (node, amp["+"][1]), amp["+"])
    sheet.wire((node, _HOT), (node + 20, _HOT))
    end = kit.run(plus, node + 20, _HOT, [_on(kit, "difference amplifier out", plus)])
    sheet.wire((end, _HOT), (end + 10, _HOT), (end + 10, _HOT + 10))
    sheet.ground(middle, (end + 10, _HOT + 10))
    # the − input: from the cold lead, and from the output
    sheet.wire(
        (kit.run(cold, x, _COLD, [_on(kit, "difference amplifier in", cold)]), _COLD),
        (node, _COLD),
        (node, amp["-"][1]),
        amp["-"],
    )
    sheet.wire((node, _COLD), (node + 60, _COLD))
    back = kit.run(minus, node + 60, _COLD, [_on(kit, "difference amplifier out", minus, out)])
    corner = (at[0] + 60, at[1])
    sheet.wire((back, _COLD), (corner[0], _COLD), corner)
    sheet.wire(amp["out"], corner)
    _out(kit, out, corner[0], corner[1])
    if cases:
        _supplies(kit, corner[0] + 240, at[1], lower)


def _on(kit: Kit, role: str, *nets: str) -> Part:
    return next(p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets))


def _lead(kit: Kit, lead: str, after: str, y: int, supply: tuple[str, str]) -> int:
    """Series resistor, capacitor to ground and clamp of one lead; returns where its line ends."""
    sheet = kit.sheet
    node = kit.run(lead, 150, y, [_on(kit, "input series", lead, after)])
    x = node + 40
    capacitor = _on(kit, "input RF capacitor", after)
    sheet.wire((node, y), (x, y), (x, y + 10))
    sheet.ground(GROUND, kit.upright(capacitor, after, x, y + 10).end(capacitor, after))
    zeners = [p for p in kit.circuit.by_role("input clamp zener") if after in p.nets]
    if zeners:
        first = zeners[0]
        between = next(net for net in first.nets if net != after)
        pair = kit.circuit.by_role("input clamp zener")
        second = next(p for p in pair if p is not first and between in p.nets)
        at = x + 80
        sheet.wire((x, y), (at, y), (at, y + 10))
        kit.upright(first, after, at, y + 10)
        sheet.ground(GROUND, kit.upright(second, between, at, y + 50).end(second, between))
        return at
    above, below = x + 70, x + 140
    sheet.wire((x, y), (above, y), (below, y))
    up = _on(kit, "input clamp diode", after, supply[0])
    kit.upright(up, supply[0], above, y - 60)
    sheet.wire((above, y - 20), (above, y))
    sheet.rail(supply[0], (above, y - 60))
    down = _on(kit, "input clamp diode", after, supply[1])
    end = kit.upright(down, after, below, y + 20).end(down, after)
    sheet.wire((below, y), (below, y + 20))
    if supply[1] == GROUND:
        sheet.ground(GROUND, end)
    else:
        sheet.rail(supply[1], end, "down")
    return below


def _out(kit: Kit, net: str, x: int, y: int) -> Point:
    """The channel's way to the filter."""
    sheet = kit.sheet
    sheet.wire((x, y), (x + 50, y), (x + 90, y))
    for point in kit.circuit.test_points:
        if point.net == net:
            sheet.name(net, (x + 50, y), point=point.designator)
    sheet.flag(net, (x + 90, y), "right", "to the filter")
    return x + 90, y


def _supplies(kit: Kit, x: int, y: int, lower: str) -> None:
    """Supply pins of the cases that the amplifiers lie in; a case of their own with its capacitors."""
    sheet = kit.sheet
    decoupling = list(kit.circuit.by_role("op-amp decoupling"))
    for row, case in enumerate(kit.cases("op-amp")):
        at = y + 170 * row
        unit = kit.place_supply(case, x, at)
        upper = kit.pin_net(case, "V+")
        sheet.rail(upper, unit["V+"])
        if lower == GROUND:
            sheet.ground(GROUND, unit["V-"])
        else:
            sheet.rail(lower, unit["V-"], "down")
        if case.standing != "bought":
            continue
        own = [decoupling.pop(0) for _ in range(1 if lower == GROUND else 2)]
        sheet.wire(unit["V+"], (x + 60, at - 40))
        first = next(p for p in own if upper in p.nets)
        sheet.ground(GROUND, kit.upright(first, upper, x + 60, at - 40).end(first, upper))
        if lower != GROUND:
            second = next(p for p in own if lower in p.nets)
            sheet.wire(unit["V-"], (x + 60, at + 40), (x + 60, at + 50))
            sheet.ground(GROUND, kit.upright(second, lower, x + 60, at + 50).end(second, lower))
