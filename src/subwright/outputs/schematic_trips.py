"""A sheet for each over-current trip: what it reads, its level, its output, and its latch if it has one."""

from __future__ import annotations

from typing import Final

from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.protection_circuit import PROTECTION_NETS
from subwright.circuits.protection_trips import TRIP_WORDS
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import (
    draw_comparator,
    draw_output,
    draw_shunted,
    draw_test_point,
)

__all__ = ["draw_trip"]

_Y: Final = 260  # of the comparator
_LATCH_X: Final = 830


def draw_trip(kit: Kit, watch: str, *, with_discharge: bool) -> tuple[str, ...]:
    """Draw one trip; ``with_discharge`` adds what empties the hold-off. Returns the sheet's notes."""
    sheet, word = kit.sheet, TRIP_WORDS[watch]
    by_drop = bool(kit.circuit.by_role(f"{watch} gating diodes"))
    sheet.say(90, 96, watch, head=True)
    plus, minus = draw_comparator(kit, watch, _Y)
    tap = draw_output(kit, watch, _Y)
    sheet.flag("run", tap, "right")
    if by_drop:
        _switches(kit, watch, word)
        _level_through_diodes(kit, watch, word)
        sheet.flag(f"{word}_level", (plus[0] - 20, plus[1]), "left")
        sheet.wire((plus[0] - 20, plus[1]), plus)
        end = 310
    else:
        _level(kit, watch, word, 350, plus)
        end = _shunt(kit, watch, word)
    line = _Y + 10
    both = len(kit.circuit.by_role(f"{watch} negative level upper")) > 0
    sense_x = kit.run(
        kit.one(f"{watch} filter resistor").nets[0], end, line, [kit.one(f"{watch} filter resistor")]
    )
    at = sense_x + 20
    sheet.wire((sense_x, line), (at, line), (at, line + 10))
    draw_shunted(kit, f"{watch} filter capacitor", f"{word}_sense", (at, line + 10))
    low = line + 80
    if by_drop:
        sheet.wire((at, line), minus)
    else:
        sheet.wire((at, line), (at + 40, line), (at + 40, low), (410, low), (410, minus[1]), minus)
    draw_test_point(kit, f"{word}_sense", (at + 20, line))
    if both:
        _other_way(kit, watch, word)
    notes = [_what_is_read(by_drop)]
    if kit.circuit.by_role(f"{watch} latch, NPN"):
        _latch(kit, watch, word)
        notes.append("Latched: it stays off until the supply has been switched off and on.")
    else:
        notes.append("After a trip the hold-off keeps it off; then it tries again.")
    if with_discharge:
        _discharge(kit)
    if both:
        notes.append("Two comparators on one output: the current is watched in both directions.")
    notes.append(readings_line(kit.circuit, {f"{word}_{end}" for end in ("sense", "level", "tap")}))
    notes.append("Resistors 0.25 W, capacitors film 63 V unless stated.")
    return tuple(notes)


def _what_is_read(by_drop: bool) -> str:
    if by_drop:
        return (
            "Each drain is read only while its gate is high; the level runs through an equal pair of diodes. "
            "Take the drain's wire from the tab itself."
        )
    return "Run the two sense wires twisted from the shunt's own terminals, apart from the power links."


def _shunt(kit: Kit, watch: str, word: str) -> int:
    """The shunt and its flag; returns where its filter begins."""
    sheet, line, net = kit.sheet, _Y + 10, f"{word}_shunt"
    note = "battery return" if word == "current" else "loudspeaker return"
    sheet.flag(net, (170, line), "left", note, heavy=True)
    sheet.wire((170, line), (190, line), (190, line + 10), heavy=True)
    shunt = kit.one(f"{watch} shunt")
    end = kit.upright(shunt, net, 190, line + 10).end(shunt, net)
    sheet.wire(end, (end[0], end[1] + 10), heavy=True)
    sheet.ground(GROUND, (end[0], end[1] + 10))
    sheet.wire((190, line), (200, line))
    return 200


def _level(kit: Kit, watch: str, word: str, x: int, plus: tuple[int, int]) -> None:
    sheet, y = kit.sheet, plus[1]
    sheet.rail("reference", (x, y - 40))
    kit.upright(kit.one(f"{watch} level upper"), "reference", x, y - 40)
    sheet.wire((x, y), plus)
    draw_test_point(kit, f"{word}_level", (x + 30, y))
    sheet.wire((x, y), (x, y + 20))
    draw_shunted(kit, f"{watch} level lower", f"{word}_level", (x, y + 20))


def _other_way(kit: Kit, watch: str, word: str) -> None:
    """The second comparator: its input stands above ground until the current runs backwards."""
    sheet, y = kit.sheet, _Y + 210
    shifted, shunt = f"{word}_negative", f"{word}_shunt"
    out = PROTECTION_NETS[watch]
    part = [p for p in kit.circuit.parts if p.kind == "comparator" and p.nets[2] == out][1]
    amp = kit.place_amplifier(part, 460, y, flip=True)
    sheet.wire(amp["out"], (510, y), (510, _Y))
    level = amp["+"][1]
    sheet.flag(shunt, (170, level), "left")
    node = kit.run(shunt, 170, level, [kit.one(f"{watch} negative filter resistor")]) + 20
    sheet.wire((node - 20, level), amp["+"])
    sheet.wire((node, level), (node, level + 10))
    draw_shunted(kit, f"{watch} negative filter capacitor", shifted, (node, level + 10))
    upper = kit.one(f"{watch} negative level upper")
    sheet.rail("reference", (340, level - 50))
    kit.upright(upper, "reference", 340, level - 50)
    sheet.wire((340, level - 10), (340, level))
    sheet.name(shifted, (390, level))
    sheet.wire(amp["-"], (410, amp["-"][1]), (410, amp["-"][1] + 10))
    sheet.ground(GROUND, (410, amp["-"][1] + 10))


def _switches(kit: Kit, watch: str, word: str) -> None:
    """One row for each switch: gate, resistor, diode to its drain, diode to the common load."""
    sheet, common = kit.sheet, f"{word}_drop"
    first = _Y + 10
    resistors = kit.circuit.by_role(f"{watch} gate resistor")
    for number, resistor in enumerate(resistors):
        y = first + 110 * number
        gate, node = resistor.nets
        sheet.flag(gate, (170, y), "left")
        end = kit.run(gate, 170, y, [resistor])
        to_drain, to_load = _diodes(kit, f"{watch} gating diodes", node, common)
        drain = to_drain.nets[1]
        sheet.wire((end, y), (end, y + 10))
        kit.upright(to_drain, node, end, y + 10)
        sheet.flag(drain, (end - 20, y + 60), "left")
        sheet.wire((end - 20, y + 60), (end, y + 60), (end, y + 50))
        kit.lying(to_load, node, end + 10, y)
        sheet.wire((end, y), (end + 10, y))
        sheet.wire((end + 50, y), (310, y))
    last = first + 110 * (len(resistors) - 1)
    sheet.wire((310, first), (310, last + 10))
    draw_shunted(kit, f"{watch} sense load", common, (310, last + 10))


def _diodes(kit: Kit, role: str, node: str, common: str) -> tuple[Part, Part]:
    """Of the two diodes from a node: the one that leads elsewhere, and the one to the common net."""
    found = [part for part in kit.circuit.by_role(role) if part.nets[0] == node]
    found.sort(key=lambda part: part.nets[1] == common)
    return found[0], found[1]


def _level_through_diodes(kit: Kit, watch: str, word: str) -> None:
    sheet, y, tap, level = kit.sheet, 590, f"{word}_tap", f"{word}_level"
    node = f"{word}_level_node"
    sheet.say(90, y - 92, "level", head=True)
    sheet.rail("reference", (170, y - 50))
    upper = kit.one(f"{watch} level upper")
    kit.upright(upper, "reference", 170, y - 50)
    sheet.wire((170, y - 10), (170, y), (170, y + 10))
    draw_shunted(kit, f"{watch} level lower", tap, (170, y + 10))
    to_tap, to_level = _diodes(kit, f"{watch} level diodes", node, level)
    sheet.wire((170, y), (220, y))
    draw_test_point(kit, tap, (190, y))
    kit.lying(to_tap, tap, 220, y)
    sheet.wire((260, y), (280, y), (300, y))
    pull = kit.one(f"{watch} level pull-up")
    sheet.rail("reference", (280, y - 50))
    kit.upright(pull, "reference", 280, y - 50)
    sheet.wire((280, y - 10), (280, y))
    kit.lying(to_level, node, 300, y)
    sheet.wire((340, y), (370, y), (370, y + 10))
    draw_shunted(kit, f"{watch} level load", level, (370, y + 10))
    sheet.wire((370, y), (400, y))
    sheet.flag(level, (400, y), "right")


def _latch(kit: Kit, watch: str, word: str) -> None:
    """PNP and NPN, each of which drives the other, between the output and ground."""
    sheet, out, x, y = kit.sheet, PROTECTION_NETS[watch], _LATCH_X, _Y
    sheet.say(x - 30, y - 92, "latch", head=True)
    sheet.flag(out, (x, y), "left")
    drive, feedback = kit.one(f"{watch} latch drive resistor"), kit.one(f"{watch} latch feedback resistor")
    sheet.wire((x, y), (x + 10, y))
    base = kit.run(out, x + 10, y, [drive])
    pull = kit.one(f"{watch} latch pull-up")
    sheet.rail("reference", (base + 10, y - 60))
    kit.upright(pull, "reference", base + 10, y - 60)
    sheet.wire((base + 10, y - 20), (base + 10, y))
    pnp = kit.place(kit.one(f"{watch} latch, PNP"), base + 80, y, flip=True)
    sheet.wire((base, y), pnp["base"])
    sheet.wire(pnp["emitter"], (pnp["emitter"][0], y - 60))
    sheet.rail("reference", (pnp["emitter"][0], y - 60))
    right = pnp["collector"][0]
    sheet.wire(pnp["collector"], (right, y + 40))
    end = kit.upright(feedback, f"{word}_latch_feedback", right, y + 40).end(
        feedback, f"{word}_latch_feedback"
    )
    npn = kit.place(kit.one(f"{watch} latch, NPN"), right - 70, y + 100, turn=2, flip=True)
    sheet.wire(end, (right, y + 100), npn["base"])
    sheet.wire((right, y + 100), (right, y + 120))
    draw_shunted(kit, f"{watch} latch pull-down", f"{word}_latch_base", (right, y + 120))
    sheet.wire((right, y + 100), (right + 80, y + 100), (right + 80, y + 120))
    draw_shunted(kit, f"{watch} latch capacitor", f"{word}_latch_base", (right + 80, y + 120))
    sheet.ground(GROUND, npn["emitter"])
    sheet.wire(npn["collector"], (npn["collector"][0], y + 60), (x + 10, y + 60), (x + 10, y))


def _discharge(kit: Kit) -> None:
    """What empties the hold-off's capacitor as the run line falls."""
    sheet, role, y = kit.sheet, "hold-off discharge", 500
    x = 560
    sheet.say(x - 40, y - 92, "emptying the hold-off", head=True)
    sheet.flag("run", (x, y), "left")
    end = kit.run("run", x, y, [kit.one(f"{role} coupling"), kit.one(f"{role} drive, PNP")])
    pull = kit.one(f"{role} base to emitter, PNP")
    sheet.rail("reference", (end + 10, y - 60))
    kit.upright(pull, "reference", end + 10, y - 60)
    sheet.wire((end + 10, y - 20), (end + 10, y))
    pnp = kit.place(kit.one(f"{role} transistor, PNP"), end + 90, y, flip=True)
    sheet.wire((end, y), pnp["base"])
    column = pnp["emitter"][0]
    sheet.wire(pnp["emitter"], (column, y - 60))
    sheet.rail("reference", (column, y - 60))
    drive = kit.one(f"{role} drive, NPN")
    foot = kit.upright(drive, "empty_feed", column, y + 30).end(drive, "empty_feed")
    sheet.wire(pnp["collector"], (column, y + 30))
    low = foot[1] + 20
    sheet.wire(foot, (column, low), (column, low + 10))
    draw_shunted(kit, f"{role} base to emitter, NPN", "empty_npn", (column, low + 10))
    npn = kit.place(kit.one(f"{role} transistor, NPN"), column + 110, low)
    sheet.wire((column, low), npn["base"])
    sheet.ground(GROUND, npn["emitter"])
    out = npn["collector"]
    sheet.wire(out, (out[0], low - 50))
    resistor, diode = kit.one(f"{role} resistor"), kit.one(f"{role} diode")
    kit.upright(resistor, "hold", out[0], low - 90)
    sheet.wire((out[0], low - 90), (out[0], low - 110), (out[0] + 20, low - 110))
    sheet.flag("hold", (out[0] + 20, low - 110), "right")
    kit.lying(diode, "empty_out", out[0] + 40, low - 40)
    sheet.wire((out[0], low - 40), (out[0] + 40, low - 40))
    sheet.wire((out[0] + 80, low - 40), (out[0] + 90, low - 40))
    sheet.flag("run", (out[0] + 90, low - 40), "right")
