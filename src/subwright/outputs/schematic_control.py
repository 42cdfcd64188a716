"""The sheet of switching on and off: remote line, supply switch, timers."""

from __future__ import annotations

from typing import Final

from subwright.circuits.control_circuit import TIMER_OUTPUTS
from subwright.circuits.netlist import GROUND
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_shunted, draw_test_point

__all__ = ["draw_control"]

_ROWS: Final = {"un-mute": 430, "loudspeaker": 600}
_NODES: Final = {"un-mute": "mute_delay", "loudspeaker": "speaker_delay"}


def draw_control(kit: Kit) -> tuple[str, ...]:
    """Draw the netlist; returns the sheet's notes."""
    notes = []
    remote = bool(kit.circuit.by_role("remote line series"))
    supply = "control" if remote else "battery"
    if remote:
        _remote(kit)
        notes.append("Remote line: a low-current 12 V or 24 V output, never the battery's own power cable.")
    else:
        notes.append("No remote line: on whenever the battery is connected. Fit a switch, or pull the fuse.")
    _supply(kit, supply)
    for name, y in _ROWS.items():
        if kit.circuit.by_role(f"{name} timer resistor"):
            _timer(kit, name, supply, y)
    delays = sum(bool(kit.circuit.by_role(f"{name} timer resistor")) for name in _ROWS)
    empties = (
        "both delays empty through their diodes" if delays > 1 else "the delay empties through its diode"
    )
    notes.append(f"At switch-off {empties}: a quick off and on starts afresh.")
    notes.append("Timer capacitors: low leakage. Resistors 0.25 W, 5 %, film 63 V unless stated.")
    notes.append(readings_line(kit.circuit))
    if kit.spare_sections:
        notes.append(f"Not used: {', '.join(kit.spare_sections)}. Inputs to 0 V, output open.")
    return tuple(notes)


def _remote(kit: Kit) -> None:
    sheet, y = kit.sheet, 260
    sheet.say(90, 96, "remote line and supply switch", head=True)
    sheet.flag("remote", (170, y), "left")
    node = kit.run("remote", 170, y, [kit.one("remote line series")]) + 20
    draw_test_point(kit, "remote_base", (node - 10, y))
    for number, role in enumerate(
        ("remote line pull-down", "remote line debounce", "remote line clamp diode")
    ):
        x = node + 10 + 70 * number
        sheet.wire((x, y), (x, y + 10))
        draw_shunted(kit, role, "remote_base", (x, y + 10))
    npn = kit.place(kit.one("remote transistor"), 490, y)
    sheet.wire((node - 20, y), npn["base"])
    sheet.ground(GROUND, npn["emitter"])
    column = npn["collector"][0]
    resistor = kit.one("control supply base resistor")
    foot = kit.upright(resistor, "switch_base", column, 170).end(resistor, "switch_base")
    sheet.wire(foot, npn["collector"])
    pnp = kit.place(kit.one("control supply switch"), column, 140, turn=3, flip=True)
    sheet.wire(pnp["base"], (column, 170))
    line = pnp["emitter"][1]
    sheet.flag("battery", (200, line), "left")
    pull = kit.one("control supply base pull-up")
    sheet.wire((200, line), pnp["emitter"])
    kit.upright(pull, "battery", 410, line)
    sheet.wire((410, line + 40), (column, line + 40))
    sheet.wire(pnp["collector"], (column + 80, line))
    draw_test_point(kit, "control", (column + 60, line))
    sheet.flag("control", (column + 80, line), "right")


def _supply(kit: Kit, supply: str) -> None:
    sheet, y = kit.sheet, 180
    sheet.say(700, 96, "supply of the timers", head=True)
    sheet.flag(supply, (710, y), "left")
    node = kit.run(supply, 710, y, [kit.one("timer supply resistor")]) + 20
    sheet.wire((node - 20, y), (node, y), (node, y + 10))
    draw_shunted(kit, "timer supply clamp", "timer", (node, y + 10))
    at = node + 80
    sheet.wire((node, y), (at, y), (at, y + 10))
    draw_shunted(kit, "timer supply decoupling", "timer", (at, y + 10))
    draw_test_point(kit, "timer", (node + 40, y))
    sheet.wire((at, y), (at + 70, y))
    unit = kit.place_supply(kit.cases("comparator")[0], at + 70, y + 40)
    sheet.ground(GROUND, unit["V-"])
    sheet.rail("timer", (at + 30, y))
    sheet.rail("timer", (1060, y - 10))
    upper = kit.one("timer half supply upper")
    kit.upright(upper, "timer", 1060, y - 10)
    sheet.wire((1060, y + 30), (1060, y + 40), (1060, y + 50))
    draw_shunted(kit, "timer half supply lower", "half", (1060, y + 50))
    sheet.wire((1060, y + 40), (1030, y + 40), (1030, y + 80), (1020, y + 80))
    draw_test_point(kit, "half", (1040, y + 40))
    sheet.flag("half", (1020, y + 80), "left")


def _timer(kit: Kit, name: str, supply: str, y: int) -> None:
    sheet, node, out = kit.sheet, _NODES[name], TIMER_OUTPUTS[name]
    sheet.say(440, y - 80, f"{name} delay", head=True)
    x = 690
    sheet.rail("timer", (x, y - 60))
    kit.upright(kit.one(f"{name} timer resistor"), "timer", x, y - 60)
    sheet.wire((x, y - 20), (x, y), (x, y + 10))
    draw_shunted(kit, f"{name} timer capacitor", node, (x, y + 10))
    kit.lying(kit.one(f"{name} timer discharge resistor"), f"{node}_out", 620, y)
    sheet.wire((660, y), (x, y))
    kit.lying(kit.one(f"{name} timer discharge diode"), supply, 560, y)
    sheet.wire((600, y), (620, y))
    sheet.wire((550, y), (560, y))
    sheet.flag(supply, (550, y), "left")
    part = next(p for p in kit.circuit.parts if p.kind == "comparator" and p.nets[2] == out)
    amp = kit.place_amplifier(part, 900, y + 10, flip=True)
    sheet.wire((x, y), amp["+"])
    sheet.flag("half", (amp["-"][0] - 20, amp["-"][1]), "left")
    sheet.wire((amp["-"][0] - 20, amp["-"][1]), amp["-"])
    end = (1000, y + 10)
    sheet.wire(amp["out"], end)
    if name == "un-mute":
        sheet.rail("timer", (970, y - 60))
        kit.upright(kit.one("un-mute pull-up"), "timer", 970, y - 60)
        sheet.wire((970, y - 20), (970, y + 10))
        draw_test_point(kit, "mute", (980, y + 10))
        sheet.say(940, y + 48, "to the amplifier: low mutes")
    else:
        draw_test_point(kit, "speaker_on", (970, y + 10))
        sheet.say(940, y + 48, "to the speaker guard")
    sheet.flag(out, end, "right")
