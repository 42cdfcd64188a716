"""The sheet between fuse and circuit: reverse-polarity switch or diode, gate clamp, suppressor."""

from __future__ import annotations

from typing import Final

from subwright.circuits.battery_guard_circuit import BEHIND
from subwright.circuits.netlist import GROUND
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_test_point

__all__ = ["draw_battery_guard"]

_LINE: Final = 180
_PITCH: Final = 70
_ACROSS: Final = 3  # suppressors or diodes in a row
_BETWEEN: Final = 130


def draw_battery_guard(kit: Kit) -> tuple[str, ...]:
    """Draw the netlist; returns the sheet's notes."""
    sheet = kit.sheet
    sheet.say(90, 96, "battery side", head=True)
    switches = kit.circuit.by_role("reverse-polarity switch")
    start = 200
    notes = []
    if switches and switches[0].nets[2] == BEHIND:
        _in_the_positive(kit)
        start = 440
        notes.append("P-channel, turned round: its body diode carries the first current, then the channel.")
    else:
        sheet.flag(BEHIND, (200, _LINE), "left", heavy=True)
        if switches:
            _in_the_return(kit)
            notes.append("The circuit's 0 V is no longer the vehicle's: no shield may join the two.")
    across = [
        part
        for role in ("suppressor behind the fuse", "diode across the input")
        for part in kit.circuit.by_role(role)
    ]
    for row, begin in enumerate(range(0, len(across), _ACROSS)):
        y = _LINE + 140 * row
        these = across[begin : begin + _ACROSS]
        if row:
            sheet.wire((640, y - 140), (640, y), (700 + _BETWEEN * (len(these) - 1), y), heavy=True)
        for number, part in enumerate(these):
            x = 700 + _BETWEEN * number
            sheet.wire((x, y), (x, y + 20), heavy=True)
            sheet.ground(GROUND, kit.upright(part, BEHIND, x, y + 20).end(part, BEHIND))
    sheet.wire((start, _LINE), (1060, _LINE), heavy=True)
    draw_test_point(kit, BEHIND, (600, _LINE))
    sheet.flag(BEHIND, (1060, _LINE), "right", heavy=True)
    if kit.circuit.by_role("suppressor behind the fuse"):
        notes.append("The suppressor's leads short and straight across the lines: a centimetre is 10 nH.")
    notes.append("The fuse stays at the battery; nothing here replaces it.")
    notes.append(readings_line(kit.circuit))
    return tuple(notes)


def _in_the_positive(kit: Kit) -> None:
    """P-channel MOSFETs side by side in the positive lead."""
    sheet = kit.sheet
    switches = kit.circuit.by_role("reverse-polarity switch")
    drain = switches[0].nets[0]
    sheet.flag(drain, (200, _LINE), "left", heavy=True)
    last = _LINE + _PITCH * (len(switches) - 1)
    for row, part in enumerate(switches):
        y = _LINE + _PITCH * row
        placed = kit.place(part, 330, y + 10, turn=3)
        sheet.wire((260, y), placed["drain"], heavy=True)
        sheet.wire(placed["source"], (400, y), heavy=True)
        sheet.wire(placed["gate"], (460, y + 30))
    sheet.wire((200, _LINE), (260, _LINE), (260, last), heavy=True)
    sheet.wire((400, _LINE), (400, last), heavy=True)
    sheet.wire((400, _LINE), (440, _LINE), heavy=True)
    low = max(last + 30, 280)
    sheet.wire((460, _LINE + 30), (460, low), (540, low))
    _gate(kit, 540, low, _LINE)


def _gate(kit: Kit, x: int, y: int, top: int) -> None:
    """Gate clamp up to the positive line, gate resistor to 0 V, both at ``(x, y)``."""
    sheet = kit.sheet
    clamp, resistor = kit.one("reverse-polarity gate clamp"), kit.one("reverse-polarity gate resistor")
    sheet.wire((x, top), (x, y - 50))
    kit.upright(clamp, BEHIND, x, y - 50)
    sheet.wire((x, y - 10), (x, y), (x, y + 10))
    draw_test_point(kit, "guard_gate", (x - 40, y))
    sheet.ground(GROUND, kit.upright(resistor, "guard_gate", x, y + 10).end(resistor, "guard_gate"))


def _in_the_return(kit: Kit) -> None:
    """N-channel MOSFETs side by side in the return; the gate hangs on the positive line."""
    sheet = kit.sheet
    switches = kit.circuit.by_role("reverse-polarity switch")
    drain = switches[0].nets[0]
    top = 370 if len(switches) <= 4 else 280
    last = top + _PITCH * (len(switches) - 1)
    sheet.flag(drain, (200, top), "left", heavy=True)
    for row, part in enumerate(switches):
        y = top + _PITCH * row
        placed = kit.place(part, 330, y + 10, turn=3)
        sheet.wire((260, y), placed["drain"], heavy=True)
        sheet.wire(placed["source"], (400, y), heavy=True)
        sheet.wire(placed["gate"], (440, y + 30))
    sheet.wire((200, top), (260, top), (260, last), heavy=True)
    sheet.wire((400, top), (400, last), (400, last + 40), heavy=True)
    sheet.ground(GROUND, (400, last + 40))
    gate_y = top - 50
    sheet.wire((440, last + 30), (440, gate_y), (540, gate_y))
    resistor, clamp = kit.one("reverse-polarity gate resistor"), kit.one("reverse-polarity gate clamp")
    sheet.wire((540, _LINE), (540, gate_y - 50))
    kit.upright(resistor, BEHIND, 540, gate_y - 50)
    sheet.wire((540, gate_y - 10), (540, gate_y), (540, gate_y + 10))
    draw_test_point(kit, "guard_gate", (500, gate_y))
    sheet.ground(GROUND, kit.upright(clamp, "guard_gate", 540, gate_y + 10).end(clamp, "guard_gate"))
