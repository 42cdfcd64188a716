"""The sheet of the speaker guard: detector, driver, and what parts the driver from the amplifier."""

from __future__ import annotations

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_shunted, draw_test_point

__all__ = ["draw_speaker_guard"]


def draw_speaker_guard(kit: Kit, *, source: str) -> tuple[str, ...]:
    """Draw the netlist; ``source`` is the net that feeds the detector's PNP. Returns the sheet's notes."""
    floating = "dc_return" in kit.circuit.nets
    kit.sheet.say(90, 96, "detector of direct voltage", head=True)
    _detector(kit, source, floating)
    _driver(kit)
    notes = ["Direct voltage of either polarity at the loudspeaker takes the driver's base current away."]
    if kit.circuit.by_role("speaker relay"):
        _relay(kit)
        notes.append(
            "The driver hangs on the relay's contact: take its wires by the shortest way, heavy lines."
        )
    else:
        _switch(kit)
        notes.append("The gate drivers' outputs float with the loudspeaker: keep their tracks apart.")
    if floating:
        notes.append("Both loudspeaker terminals are live: neither may touch ground.")
    notes.append("Resistors 0.25 W, 5 % unless stated; the detector's capacitor has no polarity.")
    return tuple(notes)


def _detector(kit: Kit, source: str, floating: bool) -> None:
    sheet, y = kit.sheet, 220
    legs = kit.circuit.by_role("detector low-pass resistor")
    sheet.flag("speaker_amp", (190, y), "left")
    node = kit.run("speaker_amp", 190, y, [legs[0]])
    low = "dc_return" if floating else GROUND
    sheet.wire((node, y), (270, y), (270, y + 10))
    capacitor = kit.one("detector low-pass capacitor")
    foot = kit.upright(capacitor, "dc_sense", 270, y + 10).end(capacitor, "dc_sense")
    draw_test_point(kit, "dc_sense", (node + 10, y))
    positive = kit.place(kit.one("detector transistor, positive"), 380, y)
    negative = kit.place(kit.one("detector transistor, negative"), 380, y + 150)
    sheet.wire((270, y), positive["base"])
    sheet.wire((320, y), (320, y + 190), (negative["emitter"][0], y + 190), negative["emitter"])
    if floating:
        back = y + 90
        sheet.wire(foot, (270, back))
        sheet.flag("speaker_return", (190, back), "left")
        sheet.wire((kit.run("speaker_return", 190, back, [legs[1]]), back), (270, back))
        sheet.wire((270, back), (340, back), (340, negative["base"][1]), negative["base"])
        sheet.wire((340, back), (positive["emitter"][0], back), positive["emitter"])
    else:
        sheet.ground(low, foot)
        sheet.ground(low, positive["emitter"])
        sheet.wire(negative["base"], (340, negative["base"][1]), (340, negative["base"][1] + 10))
        sheet.ground(low, (340, negative["base"][1] + 10))
    column = positive["collector"][0]
    base_y = y + 110
    if floating:
        sheet.wire(positive["collector"], (column, y - 40), (440, y - 40), (440, base_y))
    else:
        sheet.wire(positive["collector"], (column, y - 40), (column + 20, y - 40))
        sheet.flag("speaker_on", (column + 20, y - 40), "right")
    pnp = kit.place(kit.one("detector PNP"), 540, base_y, flip=True)
    sheet.wire(negative["collector"], (column, base_y), (440, base_y), pnp["base"])
    sheet.rail(source, (490, base_y - 80))
    kit.upright(kit.one("detector PNP base to emitter"), source, 490, base_y - 80)
    sheet.wire((490, base_y - 40), (490, base_y))
    right = pnp["emitter"][0]
    sheet.rail(source, (right, base_y - 80))
    sheet.wire((right, base_y - 80), pnp["emitter"])
    couple = kit.one("detector coupling resistor")
    end = kit.upright(couple, "pnp_out", right, base_y + 30).end(couple, "pnp_out")
    sheet.wire(pnp["collector"], (right, base_y + 30))
    third_y = end[1] + 20
    third = kit.place(kit.one("detector output transistor"), 640, third_y)
    sheet.wire(end, (right, third_y), third["base"])
    sheet.wire((right, third_y), (right, third_y + 10))
    draw_shunted(kit, "detector pull-down", "third_base", (right, third_y + 10))
    sheet.ground(GROUND, third["emitter"])
    sheet.wire(third["collector"], (third["collector"][0], 340), (720, 340), (720, 260))


def _driver(kit: Kit) -> None:
    sheet, y = kit.sheet, 260
    sheet.say(650, 96, "driver and switch", head=True)
    sheet.flag("speaker_on", (700, y), "left")
    driver = kit.place(kit.one("speaker switch driver"), 800, y)
    sheet.wire((700, y), driver["base"])
    sheet.rail("control", (740, y - 80))
    kit.upright(kit.one("speaker switch base resistor"), "control", 740, y - 80)
    sheet.wire((740, y - 40), (740, y))
    draw_test_point(kit, "speaker_on", (760, y))
    sheet.ground(GROUND, driver["emitter"])


def _relay(kit: Kit) -> None:
    """The relay, mirrored: its coil's foot at the driver, its moving contact at the right."""
    sheet, y = kit.sheet, 150
    part = kit.one("speaker relay")
    top = part.nets[0]
    placed = kit.place(part, 920, y + 40, turn=2, flip=True)
    sheet.wire((810, 240), (810, y), placed["coil -"])
    draw_test_point(kit, "driver_out", (810, 200))
    right = placed["coil +"]
    droppers = kit.circuit.by_role("speaker relay dropper")
    sheet.wire(right, (980, y))
    if droppers:
        end = kit.run(top, 980, y, list(droppers))
    else:
        end = 1000
        sheet.wire((980, y), (end, y))
    sheet.rail("control", (end, y))
    above = y - 50
    sheet.wire((840, y), (840, above), (850, above))
    kit.lying(kit.one("speaker relay flyback diode"), "driver_out", 850, above)
    zeners = kit.circuit.by_role("speaker relay release zener")
    if zeners:
        sheet.wire((890, above), (910, above))
        kit.lying(zeners[0], "release", 910, above)
        sheet.wire((950, above), (970, above), (970, y))
    else:
        sheet.wire((890, above), (970, above), (970, y))
    common, make, rest = part.nets[2:]
    sheet.wire(placed["common"], (1000, placed["common"][1]), heavy=True)
    sheet.flag(common, (1000, placed["common"][1]), "right", heavy=True)
    low = y + 190
    sheet.wire(placed["make"], (870, placed["make"][1]), (870, low), (1000, low), heavy=True)
    sheet.flag(make, (1000, low), "right", heavy=True)
    lead = (placed["common"][1], low)[make == "speaker_out"]
    draw_test_point(kit, "speaker_out", (960, lead))
    if rest == GROUND:
        foot = (890, placed["rest"][1] + 20)
        sheet.wire(placed["rest"], (890, placed["rest"][1]), foot, heavy=True)
        sheet.ground(GROUND, foot)
    elif rest != "relay_rest":
        sheet.wire(placed["rest"], (890, placed["rest"][1]), (890, low - 50), (1000, low - 50), heavy=True)
        sheet.flag(rest, (1000, low - 50), "right", heavy=True)


def _switch(kit: Kit) -> None:
    """Two gate drivers in series over the MOSFETs, back to back."""
    sheet = kit.sheet
    first, second = kit.circuit.by_role("speaker switch gate drivers")
    upper, lower = kit.place(first, 940, 170), kit.place(second, 940, 270)
    sheet.rail("control", (860, 90))
    kit.upright(kit.one("speaker switch drive resistor"), "control", 860, 90)
    sheet.wire((860, 130), (860, 150), upper["anode"])
    sheet.wire(upper["cathode"], (880, 190), (880, 250), lower["anode"])
    sheet.wire(lower["cathode"], (860, 290), (860, 220), (810, 220), (810, 240))
    draw_test_point(kit, "driver_out", (830, 220))
    sheet.wire(upper["-"], (1000, 190), (1000, 250), lower["+"])
    switches = kit.circuit.by_role("speaker switch")
    sides = {drain: [p for p in switches if p.nets[0] == drain] for drain in ("speaker_amp", "speaker_out")}
    top, pitch = 420, 70
    rows = len(sides["speaker_amp"])
    last = top + pitch * (rows - 1)
    # Several in parallel need room for their labels between the lines.
    bus_a, at_a, middle, at_b, gates, bus_b = (
        (840, 890, 940, 990, 1030, 1050) if rows == 1 else (720, 830, 880, 970, 1010, 1050)
    )
    sheet.wire(lower["-"], (980, 340), (middle, 340), (middle, top - 10), (middle, last - 10))
    sheet.wire(upper["+"], (1030, 150), (1030, 350), (gates, 350), (gates, top + 20), (gates, last + 20))
    for row in range(rows):
        y = top + pitch * row
        left = kit.place(sides["speaker_amp"][row], at_a, y, turn=3)
        right = kit.place(sides["speaker_out"][row], at_b, y, turn=3, flip=True)
        sheet.wire(left["source"], (middle, y - 10), right["source"], heavy=True)
        sheet.wire(left["gate"], (at_a, y + 20), right["gate"], (gates, y + 20))
        sheet.wire(left["drain"], (bus_a, y - 10), heavy=True)
        sheet.wire(right["drain"], (bus_b, y - 10), heavy=True)
    for x, net, side in ((bus_a, "speaker_amp", "left"), (bus_b, "speaker_out", "right")):
        foot = 20 if net == "speaker_out" else 0
        if rows > 1 or foot:
            sheet.wire((x, top - 10), (x, last - 10 + foot), heavy=True)
        sheet.flag(net, (x, last - 10), "left" if side == "left" else "right", heavy=True)
    draw_test_point(kit, "speaker_out", (bus_b, last + 10))
