"""The voltage stage before DRIVE: a sheet for each leg, and two for what class H's legs share."""

from __future__ import annotations

from typing import Final

from subwright.circuits.amplifier_parts import POSITIVE
from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.voltage_stage_circuit import HALF, MUTED, REFERENCE, LegFeed
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_pen import Placed
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_difference", "draw_shared_input", "draw_stage_leg"]

_TOP: Final = 100
_LOW: Final = 640
_ROW: Final = 380  # of both bases
_LEFT, _RIGHT = 480, 600  # columns of the pair
_BUFFER: Final = 720
_LAST: Final = 800  # of the voltage amplifier
_FLAGS: Final = 840
_ENTRY: Final = 180
_BACK: Final = 960  # of the feedback's shunt


def _on(kit: Kit, role: str, *nets: str) -> Part:
    return next(p for p in kit.circuit.by_role(role) if all(net in p.nets for net in nets))


def _point(kit: Kit, net: str, at: Point) -> None:
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator)


def _down(kit: Kit, net: str, at: Point) -> None:
    """What a part ends at below: 0 V, or half of a single supply."""
    if net == GROUND:
        kit.sheet.ground(GROUND, at)
    else:
        kit.sheet.rail(net, at, "down")


def draw_stage_leg(kit: Kit, name: str, feed: LegFeed) -> None:
    """Draw one leg.

    Parameters
    ----------
    kit : the sheet. name : of the leg. feed : nets between which it works.
    """
    driven = bool(kit.circuit.by_role("leg input"))
    if driven:
        _driven_input(kit, name)
    elif name == "b":
        _inverter_input(kit)
    else:
        _entry(kit, "input_base_a")
        if HALF in kit.circuit.nets:
            _half(kit)
    _rails(kit, feed)
    _sources(kit, name, feed)
    _pair(kit, name)
    _mirror(kit, name)
    _last(kit, name, feed)
    _feedback(kit, name, driven)


def draw_shared_input(kit: Kit) -> None:
    """Draw what stands before both legs of class H: mute, coupling, and the buffers of signal and half."""
    sheet = kit.sheet
    _entry(kit, "signal_in")
    sheet.wire((440, _ROW), (460, _ROW))
    end = _buffer(kit, "signal_in", 490, _ROW)
    sheet.flag("signal_held", (end, _ROW + 10), "right", "to the difference")
    _half(kit, flag=False)
    end = _buffer(kit, HALF, 330, 180)
    _point(kit, REFERENCE, (end - 20, 190))
    sheet.flag(REFERENCE, (end, 190), "right")
    decoupling = list(kit.circuit.by_role("difference op-amp decoupling"))
    for case, capacitor, x in zip(kit.cases("op-amp"), decoupling, (620, 770), strict=False):
        unit = kit.place_supply(case, x, 190)
        sheet.rail(POSITIVE, unit["V+"])
        sheet.ground(GROUND, unit["V-"])
        sheet.wire(unit["V+"], (x + 50, 150))
        sheet.ground(GROUND, kit.upright(capacitor, POSITIVE, x + 50, 150).end(capacitor, POSITIVE))


def _buffer(kit: Kit, net: str, x: int, y: int) -> int:
    """An op-amp as a follower, its input at (x - 30, y); where its output ends, 10 below."""
    sheet, part = kit.sheet, kit.amplifier(net)
    amp = kit.place_amplifier(part, x, y + 10, flip=True)
    corner = (x + 50, y + 10)
    sheet.wire(amp["out"], corner, (x + 70, y + 10), (x + 90, y + 10))
    sheet.wire(corner, (x + 50, y + 50), (x - 40, y + 50), (x - 40, y + 20), amp["-"])
    return x + 90


def draw_difference(kit: Kit) -> None:
    """Draw the op-amps that hold the difference of both outputs, and drive both legs in opposition."""
    sheet = kit.sheet
    error = kit.place_amplifier(kit.amplifier("difference_minus"), 560, 300)
    for net, role, inner, y in (
        ("out_a", "difference feedback", "difference_minus", 230),
        (REFERENCE, "difference signal", "difference_minus", 290),
        ("signal_held", "difference signal", "difference_plus", 370),
        ("out_b", "difference feedback", "difference_plus", 430),
    ):
        sheet.flag(net, (240, y), "left")
        end = kit.run(net, 240, y, [_on(kit, role, net, inner)])
        sheet.wire((end, y), (340, y))
    sheet.wire((340, 230), (340, 290))
    sheet.wire((340, 290), (400, 290), error["-"])
    sheet.wire((340, 430), (340, 370))
    sheet.wire((340, 370), (420, 370), (480, 370), (480, 310), error["+"])
    calm = _on(kit, "difference capacitor", "difference_plus")
    sheet.wire((420, 370), (420, 390))
    sheet.rail(REFERENCE, kit.upright(calm, "difference_plus", 420, 390).end(calm, "difference_plus"), "down")
    sheet.wire((400, 290), (400, 200), (530, 200))
    kit.lying(_on(kit, "difference capacitor", "difference_minus"), "difference_minus", 530, 200)
    sheet.wire((570, 200), (640, 200), (640, 300))
    sheet.wire(error["out"], (640, 300), (700, 300), (740, 300), (780, 300))
    _point(kit, "steer_a", (740, 300))
    sheet.flag("steer_a", (780, 300), "right", "to leg A")
    turn = kit.place_amplifier(kit.amplifier("steer_turned"), 840, 470)
    first, back = (_on(kit, "inverter resistor", "steer_turned", net) for net in ("steer_a", "steer_b"))
    sheet.wire((700, 300), (700, 460), (710, 460))
    kit.lying(first, "steer_a", 710, 460)
    sheet.wire((750, 460), (780, 460), turn["-"])
    sheet.wire((780, 460), (780, 390), (820, 390))
    kit.lying(back, "steer_turned", 820, 390)
    sheet.wire((860, 390), (900, 390), (900, 470))
    sheet.wire(turn["+"], (790, 480), (790, 500))
    sheet.rail(REFERENCE, (790, 500), "down")
    sheet.wire(turn["out"], (900, 470), (940, 470), (980, 470))
    _point(kit, "steer_b", (940, 470))
    sheet.flag("steer_b", (980, 470), "right", "to leg B")


def _entry(kit: Kit, base: str) -> None:
    """From the filter past the mute to a base: series resistor, shunt, coupling, bias."""
    sheet = kit.sheet
    sheet.flag("wanted_a", (_ENTRY, _ROW), "left")
    first = kit.run("wanted_a", _ENTRY, _ROW, [_on(kit, "input series", "wanted_a")])
    sheet.wire((first - 10, _ROW), (first, _ROW))
    node = kit.run(MUTED[0], first, _ROW, [_on(kit, "input series", *MUTED)]) + 10
    sheet.wire((node - 10, _ROW), (node, _ROW), (node + 10, _ROW))
    corner, low = first - 40, 570
    mutes = kit.circuit.by_role("mute transistor")
    for part, x, y in zip(mutes, (first, node), (_ROW + 60, _ROW + 120), strict=False):
        shunt = kit.place(part, x - 10, y)
        sheet.wire((x, _ROW), shunt["drain"])
        sheet.ground(GROUND, shunt["source"])
        sheet.wire(shunt["gate"], (corner, y))
    if mutes:
        sheet.wire((corner, _ROW + 60), (corner, _ROW + 120), (corner, low), (corner, low + 10))
        sheet.flag("mute", (corner - 60, low), "left")
        gate = kit.run("mute", corner - 60, low, [kit.one("mute gate")])
        sheet.wire((gate, low), (corner, low))
        soft = kit.one("mute capacitor")
        sheet.ground(GROUND, kit.upright(soft, "muting_a", corner, low + 10).end(soft, "muting_a"))
    kit.lying(kit.one("input coupling"), "muted_a", node + 10, _ROW)
    x, last = node + 60, node + 100
    sheet.wire((node + 50, _ROW), (x, _ROW), (last, _ROW), (440, _ROW))
    bias, calm = kit.one("input bias"), kit.one("input filter")
    sheet.wire((x, _ROW), (x, _ROW + 10))
    foot = kit.upright(bias, base, x, _ROW + 10).end(bias, base)
    _down(kit, next(net for net in bias.nets if net != base), foot)
    sheet.wire((last, _ROW), (last, _ROW + 10))
    sheet.ground(GROUND, kit.upright(calm, base, last, _ROW + 10).end(calm, base))
    _point(kit, base, (last + 20, _ROW))
    if base == "input_base_a":
        sheet.wire((440, _ROW), (450, _ROW))


def _half(kit: Kit, *, flag: bool = True) -> None:
    """The divider that makes half of a single supply."""
    sheet, x, y = kit.sheet, 150, 180
    upper, lower, store = kit.one("half upper"), kit.one("half lower"), kit.one("half capacitor")
    supply = next(net for net in upper.nets if net != HALF)
    sheet.rail(supply, (x, y - 60))
    kit.upright(upper, supply, x, y - 60)
    sheet.wire((x, y - 20), (x, y), (x, y + 10))
    sheet.ground(GROUND, kit.upright(lower, HALF, x, y + 10).end(lower, HALF))
    sheet.wire((x, y), (x + 40, y), (x + 80, y), (x + 110, y) if flag else (x + 150, y))
    sheet.wire((x + 80, y), (x + 80, y + 10))
    sheet.ground(GROUND, kit.upright(store, HALF, x + 80, y + 10).end(store, HALF))
    _point(kit, HALF, (x + 40, y))
    if flag:
        sheet.flag(HALF, (x + 110, y), "right")


def _inverter_input(kit: Kit) -> None:
    """Leg B rests on half the supply; its signal comes to the other base."""
    sheet = kit.sheet
    sheet.flag(HALF, (230, _ROW), "left")
    end = kit.run(HALF, 230, _ROW, [kit.one("inverter bias")])
    sheet.wire((end, _ROW), (450, _ROW))
    _point(kit, "input_base_b", (370, _ROW))


def _driven_input(kit: Kit, name: str) -> None:
    """A leg of class H: its base behind the resistor that matches the feedback's."""
    sheet, drive, base = kit.sheet, f"steer_{name}", f"input_base_{name}"
    sheet.flag(drive, (230, _ROW), "left")
    end = kit.run(drive, 230, _ROW, [_on(kit, "leg input", base)])
    sheet.wire((end, _ROW), (330, _ROW), (450, _ROW))
    bias = _on(kit, "leg bias", base)
    sheet.wire((330, _ROW), (330, _ROW + 20))
    sheet.rail(REFERENCE, kit.upright(bias, base, 330, _ROW + 20).end(bias, base), "down")
    _point(kit, base, (370, _ROW))


def _rails(kit: Kit, feed: LegFeed) -> None:
    """Both supplies' lines."""
    sheet = kit.sheet
    sheet.flag(feed.positive, (350, _TOP), "left")
    sheet.wire((350, _TOP), (380, _TOP), (430, _TOP), (540, _TOP), (_LAST, _TOP))
    sheet.wire((440, _LOW), (_LEFT, _LOW), (_RIGHT, _LOW), (640, _LOW), (_BUFFER, _LOW), (_LAST, _LOW))
    if feed.negative == GROUND:
        sheet.wire((440, _LOW), (440, _LOW + 10))
        sheet.ground(GROUND, (440, _LOW + 10))
    else:
        sheet.flag(feed.negative, (440, _LOW), "left")


def _sources(kit: Kit, name: str, feed: LegFeed) -> None:
    """Reference, tail and the voltage amplifier's load."""
    sheet, bias, middle = kit.sheet, f"source_bias_{name}", f"feed_mid_{name}"
    above, y = feed.positive, _TOP + 10
    sheet.wire((430, _TOP), (430, y))
    while above != bias:
        chain = kit.circuit.by_role("reference diode")
        diode = next(p for p in chain if p.nets[0] == above and p.nets[1].endswith(f"_{name}"))
        kit.upright(diode, above, 430, y)
        above, y = diode.nets[1], y + 40
    base_y = 200
    sheet.wire((430, y), (430, base_y), (430, base_y + 10))
    first, second = _on(kit, "reference feed", bias), _on(kit, "reference feed", GROUND, middle)
    kit.upright(first, bias, 430, base_y + 10)
    sheet.wire((430, base_y + 50), (430, base_y + 60), (430, base_y + 70))
    sheet.ground(GROUND, kit.upright(second, middle, 430, base_y + 70).end(second, middle))
    store = _on(kit, "reference capacitor", middle)
    sheet.wire((380, _TOP), (380, 160))
    kit.upright(store, feed.positive, 380, 160)
    sheet.wire((380, 200), (380, base_y + 60), (430, base_y + 60))
    tail = _source(kit, "tail source", "tail resistor", name, feed, 540, base_y)
    load = _source(kit, "stage source", "stage source resistor", name, feed, _LAST, base_y)
    sheet.wire((430, base_y), (480, base_y), tail["base"])
    sheet.wire((480, base_y), (480, 250), (620, 250), (_LAST - 40, 250), (_LAST - 40, base_y), load["base"])
    _point(kit, bias, (620, 250))
    sheet.wire(tail["collector"], (540, 300))
    sheet.wire((_LEFT, 300), (510, 300), (540, 300), (_RIGHT, 300))
    _point(kit, f"tail_{name}", (510, 300))
    sheet.wire(load["collector"], (_LAST, 300), (_FLAGS, 300))
    sheet.flag(f"base_upper_{name}", (_FLAGS, 300), "right")


def _source(kit: Kit, role: str, resistor: str, name: str, feed: LegFeed, x: int, y: int) -> Placed:
    """A current source hanging on the upper supply, its emitter resistor above it."""
    inner = f"{role.replace(' ', '_')}_{name}"
    placed = kit.place(_on(kit, role, inner), x - 10, y, flip=True)
    kit.sheet.wire((x, _TOP), (x, _TOP + 20))
    kit.upright(_on(kit, resistor, inner), feed.positive, x, _TOP + 20)
    kit.sheet.wire((x, _TOP + 60), placed["emitter"])
    return placed


def _pair(kit: Kit, name: str) -> None:
    """The long-tailed pair, its bases outwards."""
    sheet, tail = kit.sheet, f"tail_{name}"
    for base, emitter, x, away in (
        ("input_base", "input_emitter", _LEFT, -10),
        ("feedback", "back_emitter", _RIGHT, 10),
    ):
        part = _on(kit, "input pair", f"{base}_{name}")
        placed = kit.place(part, x + away, _ROW, flip=away < 0, mirrored=away > 0)
        sheet.wire((x, 300), (x, 310))
        resistor = _on(kit, "pair degeneration", f"{emitter}_{name}")
        kit.upright(resistor, tail, x, 310)
        sheet.wire((x, 350), placed["emitter"])


def _mirror(kit: Kit, name: str) -> None:
    """The mirror below the pair; its diode is on the feedback's side."""
    sheet, common, y = kit.sheet, f"mirror_{name}", 540
    left = kit.place(_on(kit, "mirror", f"mirror_left_{name}"), _LEFT + 10, y, flip=True, mirrored=True)
    right = kit.place(_on(kit, "mirror", f"mirror_right_{name}"), _RIGHT - 10, y)
    sheet.wire((_LEFT, _ROW + 20), (_LEFT, 450), left["collector"])
    sheet.wire((_RIGHT, _ROW + 20), (_RIGHT, 500), right["collector"])
    sheet.wire(left["base"], (540, y), right["base"])
    sheet.wire((540, y), (540, 500), (_RIGHT, 500))
    for word, x, placed in (("left", _LEFT, left), ("right", _RIGHT, right)):
        inner = f"mirror_{word}_{name}"
        part = _on(kit, "mirror degeneration", inner)
        sheet.wire(placed["emitter"], (x, 570))
        kit.upright(part, inner, x, 570)
        sheet.wire((x, 610), (x, _LOW))
    assert common in kit.circuit.nets


def _last(kit: Kit, name: str, feed: LegFeed) -> None:
    """Buffer, voltage amplifier with its limiter, and the Miller capacitor."""
    sheet = kit.sheet
    base, lower, emitter, drive = (
        f"{word}_{name}" for word in ("vas_base", "base_lower", "vas_emitter", "vas_drive")
    )
    part = _on(kit, "amplifier buffer", drive)
    buffer = kit.place(part, _BUFFER - 10, 450)
    sheet.wire((_LEFT, 450), (640, 450), (660, 450), buffer["base"])
    top = kit.pin_net(part, "collector")
    if top == GROUND:
        sheet.wire(buffer["collector"], (_BUFFER, 410), (_BUFFER + 20, 410))
        sheet.ground(GROUND, (_BUFFER + 20, 410))
    else:
        sheet.rail(top, buffer["collector"])
    last = kit.place(_on(kit, "voltage amplifier", lower), _LAST - 10, 520)
    sheet.wire(buffer["emitter"], (_BUFFER, 520), last["base"])
    sheet.wire((_BUFFER, 520), (_BUFFER, 530))
    kit.upright(_on(kit, "buffer resistor", drive), drive, _BUFFER, 530)
    sheet.wire((_BUFFER, 570), (_BUFFER, _LOW))
    sheet.wire(last["emitter"], (_LAST, 550), (_LAST, 560))
    kit.upright(_on(kit, "voltage amplifier emitter", emitter), emitter, _LAST, 560)
    sheet.wire((_LAST, 600), (_LAST, _LOW))
    limiter = kit.place(_on(kit, "current limiter", emitter), 650, 590, flip=True, mirrored=True)
    sheet.wire(limiter["base"], (760, 590), (760, 550), (780, 550), (_LAST, 550))
    _point(kit, emitter, (780, 550))
    sheet.wire(limiter["collector"], (640, 450))
    sheet.wire(limiter["emitter"], (640, _LOW))
    miller = _on(kit, "Miller capacitor", lower)
    sheet.wire((660, 450), (660, 340), (700, 340))
    kit.lying(miller, base, 700, 340)
    sheet.wire((740, 340), (_LAST, 340), (_LAST, 440), last["collector"])
    sheet.wire((_LAST, 440), (_FLAGS, 440))
    sheet.flag(lower, (_FLAGS, 440), "right")


def _feedback(kit: Kit, name: str, driven: bool) -> None:
    """From the output back to the pair, with what sets the gain."""
    sheet, back, out = kit.sheet, f"feedback_{name}", f"out_{name}"
    sheet.wire((630, _ROW), (_BACK, _ROW))
    end = kit.run(back, _BACK, _ROW, [_on(kit, "voltage feedback", back)])
    sheet.flag(out, (end + 10, _ROW), "right")
    sheet.wire((end, _ROW), (end + 10, _ROW))
    if driven:
        shunt = _on(kit, "voltage feedback shunt", back)
        sheet.wire((_BACK, _ROW), (_BACK, _ROW + 20))
        sheet.rail(REFERENCE, kit.upright(shunt, back, _BACK, _ROW + 20).end(shunt, back), "down")
        return
    shunts = [p for p in kit.circuit.parts if f"foot_{name}" in p.nets and p.kind == "resistor"]
    if shunts:
        store = next(p for p in kit.circuit.parts if f"foot_{name}" in p.nets and p.kind == "capacitor")
        sheet.wire((_BACK, _ROW), (_BACK, _ROW + 20))
        kit.upright(shunts[0], back, _BACK, _ROW + 20)
        foot = f"foot_{name}"
        sheet.ground(GROUND, kit.upright(store, foot, _BACK, _ROW + 60).end(store, foot))
    if name != "b":
        return
    y = _ROW - 70
    sheet.wire((_BACK, _ROW), (_BACK, y))
    end = kit.run(back, _BACK, y, [kit.one("inverter input")])
    sheet.wire((end, y), (end + 10, y))
    sheet.flag("out_a", (end + 10, y), "right")
