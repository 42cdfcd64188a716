"""The protection's sheet: each watched quantity a row into its comparator, all on one run line."""

from __future__ import annotations

import itertools
from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.protection_circuit import PROTECTION_NETS
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point

__all__ = [
    "RUN_X",
    "draw_comparator",
    "draw_output",
    "draw_protection",
    "draw_shunted",
    "draw_test_point",
]

_OUT_X: Final = 560  # outputs of the comparators
RUN_X: Final = 700
_SHOWN: Final = frozenset(
    ("reference", "supply", "under_sense", "over_sense", "thermal_sense", "run", "inhibit")
)


def draw_protection(kit: Kit, *, tolerance: float) -> tuple[str, ...]:
    """Draw the watches over battery and heatsink, run line and supplies; returns the sheet's notes.

    Parameters
    ----------
    kit : to draw with. tolerance : of the resistors, fraction.
    """
    draw = {"under-voltage": _under_voltage, "over-voltage": _over_voltage, "thermal": _thermal}
    y, taps = 170, []
    for watch, row in draw.items():
        kit.sheet.say(90, y - 92, watch, head=True)
        row(kit, y)
        taps.append(draw_output(kit, watch, y))
        y += 180
    for upper, lower in itertools.pairwise(taps):
        kit.sheet.wire(upper, lower)
    _run_line(kit, taps[0])
    _supplies(kit, 760, 460)
    if kit.circuit.by_role("mute transistor"):
        _mute(kit, 520, 630)
    notes = [f"Resistors 0.25 W, {100.0 * tolerance:g} %, capacitors film 63 V unless stated."]
    if kit.circuit.by_role("isolating link"):
        link = kit.one("isolating link").designator
        notes.append(f"{link} open: the protections shut nothing down. Open it for the first tests only.")
    if kit.circuit.by_role("thermal trimmer"):
        trimmer = kit.one("thermal trimmer").designator
        notes.append(f"{trimmer}: more of its track lowers the thermal trip; set it at bring-up.")
    if kit.spare_sections:
        notes.append(f"Not used: {', '.join(kit.spare_sections)}. Inputs to 0 V, output open.")
    notes.append("A lamp lights while its protection has tripped; every output is an open collector.")
    notes.append(readings_line(kit.circuit, _SHOWN))
    return tuple(notes)


def draw_comparator(kit: Kit, watch: str, y: int, number: int = 0) -> tuple[Point, Point]:
    """A comparator of a row, its + input at the top; returns the + and − pins."""
    out = PROTECTION_NETS[watch]
    part = [p for p in kit.circuit.parts if p.kind == "comparator" and p.nets[2] == out][number]
    amp = kit.place_amplifier(part, 460, y, flip=True)
    kit.sheet.wire(amp["out"], (_OUT_X, y))
    return amp["+"], amp["-"]


def draw_output(kit: Kit, watch: str, y: int) -> Point:
    """Pull-up, lamp and diode of a row's output; returns the point on the run line."""
    sheet, out = kit.sheet, PROTECTION_NETS[watch]
    pull = kit.one(f"{watch} pull-up")
    sheet.rail("reference", (_OUT_X - 40, y - 60))
    kit.upright(pull, "reference", _OUT_X - 40, y - 60)
    sheet.wire((_OUT_X - 40, y - 20), (_OUT_X - 40, y))
    resistor, lamp = kit.one(f"{watch} lamp resistor"), kit.one(f"{watch} lamp")
    middle = lamp.nets[0]
    x = _OUT_X + 40
    sheet.rail("reference", (x, y - 90))
    kit.upright(resistor, "reference", x, y - 90)
    kit.upright(lamp, middle, x, y - 50)
    sheet.wire((x, y - 10), (x, y))
    sheet.wire((_OUT_X, y), (x, y), (x + 30, y))
    diode = kit.one(f"{watch} combining diode")
    kit.lying(diode, out, x + 30, y)
    sheet.wire((x + 70, y), (RUN_X, y))
    sheet.name(out, (_OUT_X - 10, y))
    return RUN_X, y


def _divider(kit: Kit, watch: str, net: str, at: Point) -> None:
    """Lower arm from ``at`` down to ground, with its trimmer or its second resistor where there is one."""
    x, y = at
    part = kit.one(f"{watch} sense lower")
    foot = kit.upright(part, net, x, y).end(part, net)
    for second in kit.circuit.by_role(f"{watch} sense lower B"):
        foot = kit.upright(second, second.nets[0], *foot).end(second, second.nets[0])
    for trimmer in kit.circuit.by_role(f"{watch} trimmer"):
        foot = _draw_trimmer(kit, trimmer, foot)
    kit.sheet.ground(GROUND, foot)


def _draw_trimmer(kit: Kit, part: Part, top: Point) -> Point:
    """A trimmer as a variable resistor, from ``top`` down; returns its foot."""
    trimmer = kit.place(part, top[0], top[1] + 20, turn=1)
    kit.sheet.wire(trimmer["wiper"], (top[0] + 20, top[1]), top)
    return trimmer["bottom"]


def draw_test_point(kit: Kit, net: str, at: Point) -> None:
    """The ring of a net's test point, where it has one."""
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator)


def draw_shunted(kit: Kit, role: str, net: str, at: Point) -> None:
    """The one part of a role, from ``at`` down to 0 V."""
    part = kit.one(role)
    kit.sheet.ground(GROUND, kit.upright(part, net, *at).end(part, net))


def _under_voltage(kit: Kit, y: int) -> None:
    sheet = kit.sheet
    plus, minus = draw_comparator(kit, "under-voltage", y)
    sheet.rail("reference", (minus[0] - 10, minus[1] + 20), "down")
    sheet.wire(minus, (minus[0] - 10, minus[1]), (minus[0] - 10, minus[1] + 20))
    line = plus[1]
    sheet.flag("battery", (170, line), "left")
    a, b = kit.one("under-voltage sense upper A"), kit.one("under-voltage sense upper B")
    middle = kit.run("battery", 170, line, [a]) + 20
    sheet.wire((middle - 20, line), (middle, line), (middle, line + 10))
    draw_shunted(kit, "under-voltage sense filter", "under_filter", (middle, line + 10))
    sense = kit.run("under_filter", middle, line, [b]) + 20
    sheet.wire((sense - 20, line), (sense, line), (sense, line + 10))
    _divider(kit, "under-voltage", "under_sense", (sense, line + 10))
    draw_test_point(kit, "under_sense", (sense + 30, line))
    sheet.wire((sense, line), plus)
    _draw_feedback(kit, "under-voltage", "under_sense", (sense + 50, line), y)


def _draw_feedback(kit: Kit, watch: str, net: str, start: Point, y: int) -> None:
    """The resistor that makes the hysteresis, over the comparator from output to input."""
    top, left = y - 50, start[0] + 10
    kit.lying(kit.one(f"{watch} feedback"), net, left + 30, top)
    kit.sheet.wire(start, (start[0], top), (left + 30, top))
    kit.sheet.wire((left + 70, top), (_OUT_X - 60, top), (_OUT_X - 60, y))


def _over_voltage(kit: Kit, y: int) -> None:
    sheet = kit.sheet
    plus, minus = draw_comparator(kit, "over-voltage", y)
    level = plus[1]
    sheet.flag("reference", (290, level), "left")
    end = kit.run("reference", 290, level, [kit.one("over-voltage reference resistor")])
    sheet.wire((end, level), plus)
    _draw_feedback(kit, "over-voltage", "over_level", (end + 20, level), y)
    line = y + 30
    sheet.flag("battery", (170, line), "left")
    sense = kit.run("battery", 170, line, [kit.one("over-voltage sense upper")]) + 20
    sheet.wire((sense - 20, line), (sense, line), (sense, line + 10))
    _divider(kit, "over-voltage", "over_sense", (sense, line + 10))
    sheet.wire((sense, line), (sense + 80, line), (sense + 80, line + 10))
    draw_shunted(kit, "over-voltage sense filter", "over_sense", (sense + 80, line + 10))
    draw_test_point(kit, "over_sense", (sense + 120, line))
    sheet.wire((sense + 80, line), (minus[0] - 10, line), (minus[0] - 10, minus[1]), minus)


def _thermal(kit: Kit, y: int) -> None:
    sheet = kit.sheet
    plus, minus = draw_comparator(kit, "thermal", y)
    level = plus[1]
    x = 330
    sheet.rail("reference", (x, level - 40))
    kit.upright(kit.one("thermal level upper"), "reference", x, level - 40)
    sheet.wire((x, level), plus)
    lower = kit.one("thermal level lower")
    sheet.wire((x, level), (x, level + 20))
    sheet.ground(GROUND, kit.upright(lower, "thermal_level", x, level + 20).end(lower, "thermal_level"))
    _draw_feedback(kit, "thermal", "thermal_level", (x + 50, level), y)
    line = y + 10
    sheet.rail("reference", (150, line - 70))
    kit.upright(kit.one("heatsink thermistor"), "reference", 150, line - 70)
    series = kit.one("thermistor series")
    sheet.wire((150, line - 30), (150, line + 10))
    foot = kit.upright(series, "thermal_sense", 150, line + 10).end(series, "thermal_sense")
    trimmers = kit.circuit.by_role("thermal trimmer")
    if trimmers:
        foot = _draw_trimmer(kit, trimmers[0], foot)
    sheet.ground(GROUND, foot)
    sheet.wire((150, line), (240, line), (240, line + 10))
    draw_shunted(kit, "thermistor filter", "thermal_sense", (240, line + 10))
    sheet.wire((240, line), (300, line), (300, y + 90), (410, y + 90), (410, minus[1]), minus)
    draw_test_point(kit, "thermal_sense", (210, line))
    kit.sheet.say(195, line + 80, "thermistor on")
    kit.sheet.say(195, line + 94, "the heatsink")


def _run_line(kit: Kit, first: Point) -> None:
    """Hold-off, link, half reference and the comparator that inhibits."""
    sheet = kit.sheet
    y = first[1] + 40
    sheet.wire((RUN_X, y), (RUN_X + 40, y), (RUN_X + 40, y + 20))
    series = kit.one("hold-off series resistor")
    foot = kit.upright(series, "run", RUN_X + 40, y + 20).end(series, "run")
    gap = 20
    if kit.circuit.by_role("hold-off discharge coupling"):
        gap = 40
        sheet.wire((foot[0], foot[1] + 30), (foot[0] + 20, foot[1] + 30))
        sheet.flag("hold", (foot[0] + 20, foot[1] + 30), "right")
    sheet.wire(foot, (foot[0], foot[1] + gap))
    draw_shunted(kit, "hold-off capacitor", "hold", (foot[0], foot[1] + gap))
    sheet.wire((RUN_X + 100, y), (RUN_X + 100, y + 20))
    draw_shunted(kit, "run line noise capacitor", "run", (RUN_X + 100, y + 20))
    part = next(p for p in kit.circuit.parts if p.kind == "comparator" and p.nets[2] == "inhibit")
    amp = kit.place_amplifier(part, 990, y + 10)
    draw_test_point(kit, "run", (RUN_X + 70, y))
    link, pull = kit.circuit.by_role("isolating link"), kit.one("run line pull-up")
    x = RUN_X + 40
    if link:
        sheet.wire((x, y), (x + 60, y))
        x = kit.run("run", x + 60, y, link)
    sheet.wire((x, y), amp["-"])
    sheet.rail("reference", (890, y - 70))
    kit.upright(pull, "reference", 890, y - 70)
    sheet.wire((890, y - 30), (890, y))
    upper, lower = kit.one("run line half reference upper"), kit.one("run line half reference lower")
    sheet.flag("reference", (870, y + 40), "left")
    sheet.wire((kit.run("reference", 870, y + 40, [upper]), y + 40), (930, y + 40))
    sheet.wire((930, y + 40), (930, y + 20), amp["+"])
    sheet.wire((930, y + 40), (930, y + 50))
    sheet.ground(GROUND, kit.upright(lower, "half", 930, y + 50).end(lower, "half"))
    out = (1040, y + 10)
    sheet.wire(amp["out"], out, (1060, y + 10))
    sheet.rail("reference", (1040, y - 50))
    kit.upright(kit.one("inhibit pull-up"), "reference", 1040, y - 50)
    sheet.wire((1040, y - 10), out)
    draw_test_point(kit, "inhibit", (1050, y + 10))
    sheet.flag("inhibit", (1060, y + 10), "right")
    mutes = bool(kit.circuit.by_role("mute transistor"))
    sheet.say(1010, y + 44, "to the mute:" if mutes else "to the controller:")
    sheet.say(1010, y + 58, "high mutes" if mutes else "high shuts down")
    sheet.say(RUN_X + 40, first[1] - 92, "run line and inhibit", head=True)
    if kit.circuit.by_role("hold-off discharge coupling"):
        sheet.flag("run", (RUN_X, first[1] - 20), "right")
        sheet.wire((RUN_X, first[1] - 20), first)


def _mute(kit: Kit, x: int, y: int) -> None:
    """Where no controller can be stopped: the transistor that pulls the amplifier's mute low."""
    sheet = kit.sheet
    sheet.say(x - 60, y - 56, "mute on a trip", head=True)
    sheet.flag("inhibit", (x, y), "left")
    end = kit.run("inhibit", x, y, [kit.one("mute base resistor")])
    npn = kit.place(kit.one("mute transistor"), end + 50, y)
    sheet.wire((end, y), npn["base"])
    sheet.ground(GROUND, npn["emitter"])
    out = npn["collector"]
    sheet.wire(out, (out[0], y - 40), (out[0] + 20, y - 40))
    sheet.flag("mute", (out[0] + 20, y - 40), "right")


def _supplies(kit: Kit, x: int, y: int) -> None:
    """Supply of the comparators, their cases, and the reference."""
    sheet = kit.sheet
    sheet.say(x - 30, y - 76, "supply and reference", head=True)
    sheet.flag("control", (x + 60, y), "left")
    resistor, clamp = kit.one("comparator supply resistor"), kit.one("comparator supply clamp")
    node = kit.run("control", x + 60, y, [resistor]) + 20
    sheet.wire((node - 20, y), (node, y), (node, y + 10))
    sheet.ground(GROUND, kit.upright(clamp, "supply", node, y + 10).end(clamp, "supply"))
    at = node + 70
    sheet.wire((node, y), (at, y), (at, y + 10))
    draw_shunted(kit, "comparator supply decoupling", "supply", (at, y + 10))
    draw_test_point(kit, "supply", (node + 40, y))
    cases = kit.cases("comparator")
    for number, case in enumerate(cases[:2], 1):
        unit = kit.place_supply(case, at + 60 * number, y + 40)
        sheet.wire((at + 60 * (number - 1), y), unit["V+"])
        sheet.ground(GROUND, unit["V-"])
    if cases[2:]:  # a third stands over the first
        above = y - 110
        unit = kit.place_supply(cases[2], at + 40, above + 40)
        sheet.wire((at, y), (at, above), unit["V+"])
        sheet.ground(GROUND, unit["V-"])
    _reference(kit, x, y + 130)


def _reference(kit: Kit, x: int, y: int) -> None:
    sheet = kit.sheet
    feeds = kit.circuit.by_role("reference feed")
    if not feeds:
        sheet.flag("reference", (x + 60, y), "left")
        sheet.say(x, y + 42, "from the controller's reference pin")
        sheet.wire((x + 60, y), (x + 100, y))
        draw_test_point(kit, "reference", (x + 80, y))
        sheet.rail("reference", (x + 100, y))
        return
    sheet.flag("control", (x + 60, y), "left")
    node = kit.run("control", x + 60, y, list(feeds)) + 30
    part: Part = kit.one("protection reference")
    sheet.wire((node - 30, y), (node, y), (node, y + 10))
    draw_test_point(kit, "reference", (node - 20, y))
    shunt = kit.place(part, node, y + 30, turn=3, flip=True)
    sheet.ground(GROUND, shunt["anode"])
    at = node + 90
    sheet.wire((node, y), (at, y), (at + 40, y))
    sheet.rail("reference", (at + 40, y))
    divider = kit.circuit.by_role("reference upper")
    tap = shunt["reference"]
    if not divider:
        sheet.wire(tap, (tap[0] + 20, tap[1]), (tap[0] + 20, y))
        return
    lower = kit.one("reference lower")
    kit.upright(divider[0], "reference", at, y)
    sheet.wire((at, y + 40), (at, y + 50))
    sheet.ground(GROUND, kit.upright(lower, "reference_pin", at, y + 50).end(lower, "reference_pin"))
    sheet.wire(tap, (tap[0] + 20, tap[1]), (tap[0] + 20, y + 40), (at, y + 40))
