"""The converter's power stage: input bank, switches and transformer, rectifier, choke and rails.

Equal parts side by side are drawn once, with their number and all their designators.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.shunt_return import SHUNT_NET
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_pen import Placed
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_converter"]

_BUS: Final = 300  # height of the input bus and of both taps
_FIRST_CAN: Final = 210
_CROWDED: Final = 600  # secondaries that stand beyond have their rectifier closer
_FAR: Final = 850  # a rail that begins beyond has its parts closer together
_CAN: Final = 100  # from one capacitor to the next


def draw_converter(kit: Kit) -> None:
    """Draw the power stage's netlist."""
    bridged = not kit.circuit.by_role("half-primary")
    cans = kit.circuit.by_role("input capacitor")
    switches = _beside(kit)
    across = 480 + 80 * max(switches - 3, 0)
    if bridged:
        across = max(across, _snubber_x(switches) + 30)
    _input(kit, cans, across, bridged)
    if bridged:
        _bridge(kit, across)
    else:
        _push_pull(kit, across)
        _clamp(kit)
    tall = 50 if _tapped(kit) else 0
    kit.sheet.core(across + 20, 250 - tall, 350 + tall)
    _secondary(kit, across + 40)


def _beside(kit: Kit) -> int:
    """Switches in parallel at one place."""
    bridged = not kit.circuit.by_role("half-primary")
    return max(len(kit.circuit.by_role("push-pull switch")) // (4 if bridged else 2), 1)


def _pitch(switches: int) -> int:
    """From one switch of a bridge's corner to the next; several have their gates' names above."""
    return 130 if switches < 2 else 80


def _snubber_x(switches: int) -> int:
    """Where the snubbers of a bridge's leg stand, right of its switches."""
    return _first_x(switches) + 10 + _pitch(switches) * (switches - 1) + (120 if switches < 2 else 110)


def _first_x(switches: int) -> int:
    """Where the first switch of a bridge's corner stands."""
    return {1: 190, 2: 210}.get(switches, 200)


def _tapped(kit: Kit) -> bool:
    """Whether each half-secondary is in two sections."""
    return "tap_a" in kit.circuit.nets


def _low(kit: Kit) -> str:
    """Where the battery's side returns: 0 V, or the protection's shunt."""
    return SHUNT_NET if SHUNT_NET in kit.circuit.nets else GROUND


def _test_point(kit: Kit, net: str, at: Point, *, named: bool = False) -> None:
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator, named=named)


def _alike(parts: Sequence[Part]) -> list[list[Part]]:
    """Parts in parallel that one symbol stands for: those of one role."""
    groups: dict[tuple[str, str], list[Part]] = {}
    for part in parts:
        groups.setdefault((part.role, part.part_id), []).append(part)
    return list(groups.values())


def _group(kit: Kit, parts: Sequence[Part], net: str, x: int, y: int) -> Placed:
    """One symbol, standing, for parts in parallel; its pin on ``net`` at the top, which is ``y``."""
    first = parts[0]
    if len(parts) == 1:
        return kit.upright(first, net, x, y)
    name, *value = kit.sheet.texts.get(first.designator, (first.designator,))
    lines = (f"{name}–{parts[-1].designator}", f"{len(parts)} × {value[0]}" if value else "", *value[1:])
    also = tuple(part.designator for part in parts[1:])
    turn = 1 if first.nets[0] == net else 3
    return kit.place(first, x, y + 20, turn=turn, lines=lines, also=also)


def _bank(kit: Kit, parts: Sequence[Part], net: str, x: int, y: int, step: int = _CAN) -> int:
    """Groups side by side from the line at ``y`` down to ground or shunt; returns the x of the last."""
    for group in _alike(parts):
        first = group[0]
        kit.sheet.wire((x, y), (x, y + 10), heavy=first.kind == "capacitor")
        end = _group(kit, group, net, x, y + 10).end(first, net)
        if SHUNT_NET in first.nets:
            kit.sheet.wire((160, end[1] + 10), (x, end[1] + 10), end, heavy=True)
        else:
            kit.sheet.ground(GROUND, end)
        x += step
    return x - step


def _input(kit: Kit, cans: Sequence[Part], across: int, bridged: bool) -> None:
    """The input bank along the bus."""
    sheet, y = kit.sheet, _BUS
    sheet.flag("input", (160, y), "left", heavy=True)
    last = _bank(kit, cans, "input", _FIRST_CAN, y)
    if _low(kit) == SHUNT_NET:
        sheet.flag(SHUNT_NET, (160, y + 60), "left", heavy=True)
    sheet.wire((160, y), (last if bridged else across, y), heavy=True)
    _test_point(kit, "input", (180, y))


def _push_pull(kit: Kit, across: int) -> None:
    """Half-primaries from the bus to the drains, the switches of each half above and below."""
    sheet = kit.sheet
    first = kit.place(kit.circuit.part("T101A"), across, _BUS - 30, turn=3, flip=True)
    second = kit.place(kit.circuit.part("T101B"), across, _BUS + 30, turn=3, flip=True)
    sheet.wire(first["start"], (across, _BUS), second["finish"], heavy=True)
    _side(kit, "drain_a", first["finish"], 110)
    _side(kit, "drain_b", second["start"], 430)


def _side(kit: Kit, net: str, end: Point, y: int) -> None:
    """Switches in parallel with their snubber, under a drain line at ``y``."""
    sheet = kit.sheet
    switches = [p for p in kit.circuit.parts if p.kind == "mosfet" and p.nets[0] == net]
    pitch = 110 if len(switches) < 3 else 80
    across = end[0]
    x = across - 190 - pitch * (len(switches) - 1)
    sheet.wire(end, (across, y), (x + 10, y), heavy=True)
    for switch in switches:
        short = (switch.designator,) if len(switches) > 2 and switch is not switches[-1] else ()
        placed = kit.place(switch, x, y + 40, lines=short)  # of many alike, the last bears the type
        sheet.wire((x + 10, y), placed["drain"], heavy=True)
        sheet.ground(_low(kit), placed["source"])
        gate = (x - 30, y + 40)
        sheet.wire(placed["gate"], gate)
        if len(switches) > 2:  # names below, for want of width
            sheet.wire(gate, (x - 30, y + 60))
            sheet.rail(switch.nets[1], (x - 30, y + 60), "down")
        else:
            sheet.wire(gate, (x - 30, y + 100), (x - 40, y + 100))
            sheet.flag(switch.nets[1], (x - 40, y + 100), "left")
        x += pitch
    _test_point(kit, net, (across - 130, y), named=bool(kit.circuit.by_role("clamp diode")))
    _snubber(kit, "snubber", net, across - 80, y)


def _snubber(kit: Kit, role: str, net: str, x: int, y: int, into: str = GROUND, middle: str = "") -> None:
    """Resistor and capacitor in series from the line at ``y`` down, to ground or to a line 80 below."""
    for resistor in kit.circuit.by_role(f"{role} resistor"):
        if resistor.nets[0] != net or (middle and resistor.nets[1] != middle):
            continue
        inner = resistor.nets[1]
        capacitor = next(p for p in kit.circuit.by_role(f"{role} capacitor") if inner in p.nets)
        kit.upright(resistor, net, x, y)
        kit.upright(capacitor, inner, x, y + 40)
        if into == GROUND:
            kit.sheet.ground(SHUNT_NET if SHUNT_NET in capacitor.nets else GROUND, (x, y + 80))


def _clamp(kit: Kit) -> None:
    """A diode from each drain into one capacitor, a resistor back to the battery."""
    diodes = kit.circuit.by_role("clamp diode")
    if not diodes:
        return
    sheet, x, y = kit.sheet, 190, 590 if kit.circuit.by_role("output choke") else 600
    sheet.say(90, y - 34, "clamp of both drains", head=True)
    for drain, row in (("drain_a", y), ("drain_b", y + 60)):
        sheet.flag(drain, (x, row), "left")
        _lying_group(kit, [part for part in diodes if part.nets[0] == drain], x, row)
    sheet.wire((x + 40, y + 60), (x + 60, y + 60), (x + 60, y))
    sheet.wire((x + 40, y), (x + 120, y), (x + 120, y + 10))
    capacitor, resistor = kit.one("clamp capacitor"), kit.one("clamp resistor")
    sheet.ground(_low(kit), kit.upright(capacitor, "clamp", x + 120, y + 10).end(capacitor, "clamp"))
    sheet.flag("input", (kit.run("clamp", x + 120, y, [resistor]), y), "right")


def _lying_group(kit: Kit, parts: Sequence[Part], x: int, y: int) -> None:
    """One lying symbol for diodes in parallel, their anode at ``x``."""
    first, lines = parts[0], tuple[str, ...]()
    if len(parts) > 1:
        _, *value = kit.sheet.texts.get(first.designator, (first.designator,))
        names = ", ".join(part.designator for part in parts)
        lines = (names, f"{len(parts)} × {value[0]}" if value else f"{len(parts)} in parallel")
    kit.place(first, x + 20, y, lines=lines, also=tuple(part.designator for part in parts[1:]))


def _bridge(kit: Kit, across: int) -> None:
    """Four corners around one primary; each leg hangs on the bus by its flag."""
    sheet = kit.sheet
    primary = kit.circuit.part("T101A")
    if _beside(kit) > 1:
        first = kit.circuit.by_role("push-pull switch")[0]
        sheet.say(190, 68, f"each switch: {kit.sheet.texts[first.designator][1]}")
    winding = kit.place(primary, across, _BUS, turn=1, flip=True)
    for leg, y, end in (("a", 80, winding["start"]), ("b", 390, winding["finish"])):
        node = f"leg_{leg}"
        upper, lower = (
            [p for p in kit.circuit.parts if p.kind == "mosfet" and p.nets[1].startswith(f"gate_{row}_{leg}")]
            for row in ("high", "low")
        )
        pitch, first_x, many = _pitch(len(upper)), _first_x(len(upper)), len(upper) > 1
        right = first_x + 10 + pitch * (len(upper) - 1)
        for k, switch in enumerate(upper):
            x = first_x + pitch * k
            placed = _corner(kit, switch, x, y + 40)
            sheet.wire((x + 10, y), placed["drain"], heavy=True)
            sheet.wire(placed["source"], (x + 10, y + 80), heavy=True)
        for k, switch in enumerate(lower):
            x = first_x + pitch * k
            placed = _corner(kit, switch, x, y + 120)
            sheet.wire((x + 10, y + 80), placed["drain"], heavy=True)
            sheet.ground(_low(kit), placed["source"])
        snub = _snubber_x(len(upper))
        sheet.flag("input", (160, y), "left", heavy=True)
        sheet.wire((160, y), (right, y), heavy=True)
        if kit.circuit.by_role("snubber resistor"):
            sheet.wire((right, y), (snub, y))
            _snubber(kit, "snubber", "input", snub, y, into=node, middle=f"snub_high_{leg}")
            _snubber(kit, "snubber", node, snub, y + 80, middle=f"snub_low_{leg}")
        sheet.wire((first_x + 10, y + 80), (across, y + 80), end, heavy=True)
        _test_point(kit, node, (right + 40 if many else snub + 80, y + 80))
        # The gate transformer's upper windings stand on the legs.
        spur, tail = (across, _BUS - 80 if leg == "a" else _BUS + 60), 20
        if many:
            spur, tail = (first_x + 10, y + 80), 60
        sheet.wire(spur, (spur[0] - tail, spur[1]))
        sheet.flag(node, (spur[0] - tail, spur[1]), "left")


def _corner(kit: Kit, switch: Part, x: int, y: int) -> Placed:
    """One of the switches at a corner, its gate's name at its left, or above where there are many."""
    many = _beside(kit) > 1
    placed = kit.place(switch, x, y, lines=(switch.designator,) if many else ())
    gate = placed["gate"]
    if not many:
        kit.sheet.flag(switch.nets[1], gate, "left")
        return placed
    kit.sheet.wire(gate, (gate[0] - 10, gate[1]), (gate[0] - 10, gate[1] - 10))
    kit.sheet.rail(switch.nets[1], (gate[0] - 10, gate[1] - 10))
    return placed


def _secondary(kit: Kit, x: int) -> None:
    """Half-secondaries, rectifier, and each rail's bank."""
    sheet = kit.sheet
    halves = ("T101G", "T101H") if _tapped(kit) else ("T101C", "T101D")
    first = kit.place(kit.circuit.part(halves[0]), x, _BUS - 30, turn=1, flip=True)
    second = kit.place(kit.circuit.part(halves[1]), x, _BUS + 30, turn=1, flip=True)
    sheet.wire(first["finish"], (x, _BUS), second["start"], heavy=True)
    if _tapped(kit):
        first, second = _outer_sections(kit, x, first, second)
    sheet.wire((x, _BUS), (x + 70, _BUS), (x + 70, _BUS + 10), heavy=True)
    sheet.ground(GROUND, (x + 70, _BUS + 10))
    near = 30 if x > _CROWDED else 0
    upper, lower, a, b = 190, 400, x + 180 - near, x + 240 - near
    sheet.wire(first["start"], (x, upper), (a, upper), heavy=True)
    sheet.wire(second["finish"], (x, lower), (b, lower), heavy=True)
    _snubber(kit, "rectifier snubber", "second_a", x + (130 if _tapped(kit) else 90), upper)
    _snubber(kit, "rectifier snubber", "second_b", x + 60, lower)
    chokes = kit.circuit.by_role("output choke")
    plus, minus = ("choke_positive", "choke_negative") if chokes else ("rail_positive", "rail_negative")
    legs = [p for p in kit.circuit.parts if p.kind == "diode" and p.role.startswith("rail rectifier")]
    for net, column in (("second_a", a), ("second_b", b)):
        to_plus = next(p for p in legs if p.nets == (net, plus))
        from_minus = next(p for p in legs if p.nets == (minus, net))
        kit.upright(to_plus, plus, column, 110)
        kit.upright(from_minus, net, column, 480)
        sheet.wire((column, 150), (column, upper if net == "second_a" else lower), heavy=True)
        sheet.wire((column, upper if net == "second_a" else lower), (column, 480), heavy=True)
        sheet.wire((column, 110), (column, 90), heavy=True)
        sheet.wire((column, 520), (column, 540), heavy=True)
    sheet.wire((a, 90), (b, 90), heavy=True)
    sheet.wire((a, 540), (b, 540), heavy=True)
    if chokes:
        for net, part, y in (("rail_positive", chokes[0], 90), ("rail_negative", chokes[1], 540)):
            inner = plus if net == "rail_positive" else minus
            mirrored = part.nets[0] != inner
            kit.place(part, b + 60, y, mirrored=mirrored, shape="coupled inductor")
            sheet.wire((b, y), (b + 40, y), heavy=True)
            _rail(kit, net, b + 80, y)
        return
    _rail(kit, "rail_positive", b, 90)
    _rail(kit, "rail_negative", b, 540)


def _outer_sections(kit: Kit, x: int, first: Placed, second: Placed) -> tuple[Placed, Placed]:
    """The turns beyond the taps, and the taps' way to the amplifier."""
    sheet = kit.sheet
    above = kit.place(kit.circuit.part("T101C"), x, _BUS - 80, turn=1, flip=True)
    below = kit.place(kit.circuit.part("T101D"), x, _BUS + 80, turn=1, flip=True)
    for net, outer, inner in (
        ("tap_a", above["finish"], first["start"]),
        ("tap_b", below["start"], second["finish"]),
    ):
        sheet.wire(outer, inner, heavy=True)
        sheet.wire(outer, (x + 20, outer[1]), heavy=True)
        sheet.flag(net, (x + 20, outer[1]), "right", heavy=True)
    return above, below


def _rail(kit: Kit, net: str, x: int, y: int) -> None:
    """A rail's bank and bleeder along its line, and the way to the amplifier."""
    sheet = kit.sheet
    parts = [
        p for role in ("rail capacitor", "rail bleeder") for p in kit.circuit.by_role(role) if net in p.nets
    ]
    far = x > _FAR
    end = _bank(kit, parts, net, x + (40 if far else 60), y, 90 if far else _CAN) + (20 if far else 30)
    sheet.wire((x, y), (end, y), heavy=True)
    sheet.flag(net, (end, y), "right", "" if far else "to the amplifier", heavy=True)
    _test_point(kit, net, (x + 30, y))
