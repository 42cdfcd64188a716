"""What changes an amplifier's rails: followers and inner rectifiers of class G, lifting of class H."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit

__all__ = ["draw_followers", "draw_lifting"]

_ROW_OF_CANS: Final = 5


def _on(kit: Kit, role: str, *nets: str) -> Part:
    return next(p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets))


def _all(kit: Kit, role: str, *nets: str) -> list[Part]:
    return [p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets)]


def _each(kit: Kit, cans: Sequence[Part]) -> str:
    """What all of a bank are: "C502\u2013C508: 10000µ 50 V each"."""
    first, last = cans[0].designator, cans[-1].designator
    value = " ".join(kit.sheet.texts[first][1:])
    return f"{first}: {value}" if len(cans) == 1 else f"{first}\u2013{last}: {value} each"


def draw_followers(kit: Kit) -> None:
    """Draw both sides of class G, and the rectifiers of the inner rails."""
    kit.sheet.say(90, 74, "outer rails take over", head=True)
    _follower(kit, "positive", 150, 1)
    _follower(kit, "negative", 520, -1)
    kit.sheet.say(690, 74, "inner rails from the taps", head=True)
    _rectifiers(kit)


def _follower(kit: Kit, word: str, y: int, sign: int) -> None:
    """One side: outer rail at the outside, collectors' feed towards the middle."""
    sheet = kit.sheet
    outer, node, gate, boot, inner = (
        f"{name}_{word}" for name in ("rail", "feed", "follow", "boot", "inner")
    )
    rail_y, gate_y, feed_y = y - 30 * sign, y + 50 * sign, y + 110 * sign
    sheet.flag(outer, (150, rail_y), "left", heavy=True)
    mosfet = kit.place(kit.one(f"{word} follower"), 470, gate_y, flip=sign < 0)
    sheet.wire((150, rail_y), (480, rail_y), mosfet["drain"], heavy=True)
    # feed, bootstrap, gate
    first, second = _on(kit, "follower feed", outer), _on(kit, "follower gate feed", gate)
    x = 220
    sheet.wire((x, rail_y), (x, gate_y))
    kit.lying(first, outer, x, gate_y)
    sheet.wire((x + 40, gate_y), (x + 70, gate_y), (x + 90, gate_y))
    kit.lying(second, boot, x + 90, gate_y)
    sheet.wire((x + 130, gate_y), (x + 180, gate_y), mosfet["gate"])
    low_y = feed_y + 60 * sign
    for part, net, at in (
        (_on(kit, "follower bootstrap", boot), boot, x + 70),
        (_on(kit, "follower zener", gate), gate, x + 180),
    ):
        if sign > 0:
            end = kit.upright(part, net, at, gate_y + 30).end(part, net)
            sheet.wire((at, gate_y), (at, gate_y + 30))
        else:
            kit.upright(part, "out_a", at, gate_y - 70)
            sheet.wire((at, gate_y), (at, gate_y - 30))
            end = (at, gate_y - 70)
        sheet.wire(end, (at, low_y))
    sheet.wire((x + 70, low_y), (x + 180, low_y), (x + 240, low_y))
    sheet.flag("out_a", (x + 240, low_y), "right")
    # collectors' feed, and the diode from the inner rail
    diode = _on(kit, "commutation diode", inner)
    sheet.wire(mosfet["source"], (480, feed_y), heavy=True)
    sheet.wire((480, feed_y), (560, feed_y), heavy=True)
    sheet.flag(node, (560, feed_y), "right", heavy=True)
    for point in kit.circuit.test_points:
        if point.net == node:
            sheet.name(node, (520, feed_y), point=point.designator)
    inner_y = rail_y + 80 * sign
    kit_x = 560
    sheet.wire((480, feed_y), (480, feed_y))
    placed = (
        kit.upright(diode, inner, kit_x - 40, inner_y)
        if sign > 0
        else kit.upright(diode, node, kit_x - 40, inner_y - 40)
    )
    near = placed.end(diode, node)
    sheet.wire(placed.end(diode, inner), (kit_x - 40, feed_y), heavy=True)
    sheet.wire(near, (kit_x - 40, inner_y - 20 * sign), (kit_x, inner_y - 20 * sign), heavy=True)
    sheet.flag(inner, (kit_x, inner_y - 20 * sign), "right", heavy=True)


def _rectifiers(kit: Kit) -> None:
    """Full-wave rectifiers of both inner rails, reservoirs beside them."""
    sheet = kit.sheet
    for row, tap in enumerate("ab"):
        y = 250 + 160 * row
        sheet.flag(f"tap_{tap}", (740, y), "left", heavy=True)
        sheet.wire((740, y), (790 + 120 * row, y), heavy=True)
    for word, y, up in (("positive", 150, True), ("negative", 520, False)):
        net = f"inner_{word}"
        diodes = [_on(kit, "inner rectifier", net, f"tap_{tap}") for tap in "ab"]
        for row, tap in (
            (1, "b"),
            (0, "a"),
        ):  # so the right one's text goes between
            diode = diodes[row]
            x, tap_y = 790 + 120 * row, 250 + 160 * row
            if up:
                kit.upright(diode, net, x, y + 20)
                sheet.wire((x, y), (x, y + 20), heavy=True)
                sheet.wire((x, y + 60), (x, tap_y), heavy=True)
            else:
                kit.upright(diode, f"tap_{tap}", x, y - 60)
                sheet.wire((x, y - 20), (x, y), heavy=True)
                sheet.wire((x, y - 60), (x, tap_y), heavy=True)
        cans = _all(kit, "inner reservoir", net)
        pitch = min(70, 130 // max(len(cans) - 1, 1) // 10 * 10)
        end = 1000 + pitch * (len(cans) - 1)
        sheet.wire((740, y), (790, y), (910, y), (end, y), heavy=True)
        sheet.flag(net, (740, y), "left", heavy=True)
        sheet.say(950, y - 12 if up else y + 20, _each(kit, cans), classes="sm t")
        for n, can in enumerate(cans):
            x, top, upper = 1000 + pitch * n, net if up else GROUND, y + 20 if up else y - 60
            turn = 1 if can.nets[0] == top else 3
            placed = kit.place(can, x, upper + 20, turn=turn, lines=(can.designator,), side="right")
            if up:
                sheet.wire((x, y), (x, y + 20), heavy=True)
                sheet.ground(GROUND, placed.end(can, net))
            else:
                sheet.wire((x, y - 20), (x, y), heavy=True)
                sheet.wire((x, y - 60), (x, y - 80), heavy=True)
        for point in kit.circuit.test_points:
            if point.net == net:
                sheet.name(net, (760, y), point=point.designator)
        if not up:
            sheet.wire((1000, y - 80), (max(end, 1030), y - 80), heavy=True)
            sheet.wire((1030, y - 80), (1030, y - 70))
            sheet.ground(GROUND, (1030, y - 70))


def draw_lifting(kit: Kit, name: str) -> None:
    """Draw one leg's comparator, gate drive, switches and lifting capacitors."""
    sheet = kit.sheet
    feed, lift, gate, out = f"feed_{name}", f"lift_{name}", f"gate_{name}", f"out_{name}"
    minus, plus, line = f"sense_{name}", f"trip_{name}", f"line_{name}"
    # threshold network into the comparator
    y = 330
    comparator = kit.place_amplifier(kit.amplifier(plus), 420, y)
    for net, pin, row, feeds in (
        (minus, "-", 150, (("threshold output", out), ("threshold reference", "reference"))),
        (plus, "+", 450, (("threshold battery", "rail_positive"),)),
    ):
        x = 330
        for n, (role, far) in enumerate(feeds):
            at = row + 70 * n
            part = _on(kit, role, net, far)
            sheet.flag(far, (180, at), "left")
            sheet.wire((180, at), (200, at))
            kit.lying(part, far, 200, at)
            sheet.wire((240, at), (x, at))
        foot = _on(kit, f"{'threshold output' if net == minus else 'threshold battery'} to ground", net)
        last = row + 70 * (len(feeds) - 1)
        pin_y = comparator[pin][1]
        if net == minus:
            sheet.wire((x, row), (x, pin_y), comparator[pin])
            sheet.wire((270, last), (270, last + 10))
            sheet.ground(GROUND, kit.upright(foot, net, 270, last + 10).end(foot, net))
        else:
            sheet.wire((x, row), (x, pin_y), comparator[pin])
            sheet.wire((270, row), (270, row + 10))
            sheet.ground(GROUND, kit.upright(foot, net, 270, row + 10).end(foot, net))
    # hysteresis and pull-up at its output
    back = _on(kit, "threshold hysteresis", plus, line)
    column = 480
    sheet.wire(comparator["out"], (column, y))
    sheet.wire((330, 400), (370, 400))
    kit.lying(back, plus, 370, 400)
    sheet.wire((410, 400), (column, 400), (column, y))
    pull = _on(kit, "threshold pull-up", line)
    kit.upright(pull, "rail_positive", column, y - 80)
    sheet.rail("rail_positive", (column, y - 80))
    sheet.wire((column, y - 40), (column, y))
    # buffer
    first, second = _on(kit, "gate buffer NPN", line), _on(kit, "gate buffer PNP", line)
    x = 560
    top = kit.place(first, x, y - 50)
    low = kit.place(second, x, y + 50, flip=True)
    sheet.wire((column, y), (x - 40, y), (x - 40, y - 50), top["base"])
    sheet.wire((x - 40, y), (x - 40, y + 50), low["base"])
    sheet.rail("rail_positive", top["collector"])
    sheet.ground(GROUND, low["collector"])
    joint = (x + 10, y)
    sheet.wire(top["emitter"], joint, low["emitter"])
    sheet.wire(joint, (x + 60, y))
    for point in kit.circuit.test_points:
        if point.net == gate:
            sheet.name(gate, (x + 40, y), point=point.designator)
    # gates: on through a resistor, off through a diode
    split = x + 60
    for sign, word in ((-1, "lifting"), (1, "charging")):
        at = y + 70 * sign
        far = f"gate_{'high' if sign < 0 else 'low'}_{name}"
        sheet.wire((split, y), (split, at), (split + 10, at))
        kit.lying(_on(kit, f"{word} gate", far), gate, split + 10, at)
        sheet.wire((split + 50, at), (split + 110, at))
        diode_y = at + 40 * sign
        sheet.wire((split, at), (split, diode_y), (split + 10, diode_y))
        kit.lying(_on(kit, "gate speed-up diode", far), gate, split + 10, diode_y)
        sheet.wire((split + 50, diode_y), (split + 70, diode_y), (split + 70, at))
    # switches and bank
    column = split + 140
    upper = kit.place(_on(kit, "lifting switch", lift), column, y - 70, flip=True)
    lower = kit.place(_on(kit, "charging switch", lift), column, y + 70)
    sheet.wire((split + 110, y - 70), upper["gate"])
    sheet.wire((split + 110, y + 70), lower["gate"])
    spine = column + 10
    sheet.wire(upper["source"], (spine, y - 170), heavy=True)
    sheet.wire(upper["drain"], (spine, y), lower["drain"], heavy=True)
    sheet.ground(GROUND, lower["source"])
    rail_y = y - 170
    diode = _on(kit, "commutation diode", feed)
    sheet.flag("rail_positive", (spine - 40, rail_y), "left", heavy=True)
    sheet.wire((spine - 40, rail_y), (spine, rail_y), (spine + 30, rail_y), heavy=True)
    kit.lying(diode, "rail_positive", spine + 30, rail_y)
    sheet.wire((spine + 70, rail_y), (spine + 110, rail_y), (spine + 150, rail_y), heavy=True)
    sheet.flag(feed, (spine + 150, rail_y), "right", heavy=True)
    for point in kit.circuit.test_points:
        if point.net in (feed, lift):
            spot = (spine + 130, rail_y) if point.net == feed else (spine + 30, y)
            sheet.name(point.net, spot, point=point.designator)
    _bank(kit, (feed, lift), (spine, y), rail_y)
    if name == "a":
        _shared(kit)


def _bank(kit: Kit, nets: tuple[str, str], spine: tuple[int, int], rail_y: int) -> None:
    """Lifting capacitors in one row above their lower line, or in two about it."""
    sheet, (feed, lift), (x, y) = kit.sheet, nets, spine
    cans = _all(kit, "lifting capacitor", lift)
    above = cans if len(cans) <= _ROW_OF_CANS else cans[: (len(cans) + 1) // 2]
    pitch = 70 if len(above) < _ROW_OF_CANS else 60 if len(above) == _ROW_OF_CANS else 50
    first = x + 90
    feeds = x + 110  # where the rail comes down
    sheet.say(first - 12, y + 118, _each(kit, cans), classes="sm t")
    for row, bank in ((-1, above), (1, cans[len(above) :])):
        if not bank:
            continue
        xs = [first + pitch * n for n in range(len(bank))]
        bus = y + 90 * row
        sheet.wire((x, y), (xs[-1], y), heavy=True)
        for at, can in zip(xs, bank, strict=True):
            sheet.wire((at, bus), (at, bus - 20 * row), heavy=True)
            top = bus + 20 if row < 0 else y + 30
            net = feed if row < 0 else lift
            lines = (can.designator,)
            kit.place(can, at, top + 20, turn=1 if can.nets[0] == net else 3, lines=lines, side="right")
            sheet.wire((at, y + 30 * row), (at, y), heavy=True)
        if row < 0:
            sheet.wire((feeds, rail_y), (feeds, bus), heavy=True)
            sheet.wire((min(first, feeds), bus), (max(xs[-1], feeds), bus), heavy=True)
        else:
            end = first + pitch * (len(above) - 1) + 60
            last = max(first + pitch * (len(above) - 1), feeds)
            sheet.wire((first, bus), (end, bus), (end, y - 90), (last, y - 90), heavy=True)


def _shared(kit: Kit) -> None:
    """Reference, and the comparator's supply: once for both legs."""
    sheet, y = kit.sheet, 580
    sheet.say(90, y - 20, "for both legs", head=True)
    feed = kit.one("threshold reference feed")
    sheet.flag("rail_positive", (180, y + 20), "left")
    sheet.wire((180, y + 20), (200, y + 20))
    kit.lying(feed, "rail_positive", 200, y + 20)
    node = (290, y + 20)
    sheet.wire((240, y + 20), node, (340, y + 20))
    shunt = kit.place(kit.one("threshold shunt reference"), 290, y + 60, turn=3)
    sheet.wire(node, shunt["cathode"])
    sheet.wire(shunt["reference"], (shunt["reference"][0], y + 20))
    sheet.ground(GROUND, shunt["anode"])
    sheet.flag("reference", (340, y + 20), "right")
    case = kit.cases("comparator")[0]
    unit = kit.place_supply(case, 480, y + 50)
    sheet.rail("rail_positive", unit["V+"])
    sheet.ground(GROUND, unit["V-"])
    capacitor = kit.one("comparator decoupling")
    sheet.wire(unit["V+"], (550, y + 10), (550, y + 30))
    sheet.ground(GROUND, kit.upright(capacitor, "rail_positive", 550, y + 30).end(capacitor, "rail_positive"))
