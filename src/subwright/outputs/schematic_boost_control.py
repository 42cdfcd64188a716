"""The boost converter's controller on a sheet: loop left, sense and gates right, supply below."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points import FULL_SINE, battery_voltages
from subwright.build.test_points.boost import boost_control_readings
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.boost_control import boost_control_circuit, boost_feed
from subwright.circuits.netlist import GROUND
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_pen import Placed
from subwright.outputs.schematic_symbols import Point
from subwright.parts.library import Library

__all__ = ["boost_control_block", "draw_boost_control"]

_READINGS_AT: Final[Point] = (680, 532)  # beside the supply
_READINGS_WIDTH: Final = 66
_PERIODS: Final = 20
_SHARE: Final = 0.97  # of the rail while the circuit is tried alone: the loop opens fully
_X, _Y = 560, 200  # of the controller
_SUPPLY: Final = 540


def boost_control_block(design: Design, _library: Library) -> Iterator[Block]:
    """Everything around the boost converter's controller; nothing without one."""
    boost = design.boost
    if boost is None:
        return
    corners = battery_voltages(design)
    circuit = boost_control_circuit(
        boost, rail=_SHARE * boost.set_v, control=corners["nominal battery"], corners=corners, settled=True
    )
    circuit = circuit.with_readings(boost_control_readings(design))
    period, feed = 1.0 / boost.plan.timing.switching_hz, boost_feed(boost)
    switched = design.control is not None and design.control.remote is not None
    stopped = design.protection is not None

    def draw(kit: Kit) -> tuple[str, ...]:
        draw_boost_control(kit, feed)
        told = readings_line(circuit, signal=("running", FULL_SINE))
        for k, words in enumerate(wrap(told, _READINGS_WIDTH)):
            kit.sheet.say(_READINGS_AT[0], _READINGS_AT[1] + 14 * k, words, classes="sm t")
        return _notes(design)

    yield Block(
        key="boost-control",
        title="Boost converter controller",
        stage="boost",
        circuit=circuit,
        names={
            "rail": "RAIL +",
            "sense": "SENSE",
            "gate": "GATE",
            "vref": "VREF",
            "drive": "+DRIVE",
            "inhibit": "INHIBIT" if stopped else "STOP",
            "control": "CONTROL" if switched else "BATTERY",
        },
        draw=draw,
        analysis=Transient(
            stop_s=_PERIODS * period, step_s=period / 400.0, keep_from_s=5.0 * period, from_initial=True
        ),
        probes=tuple(Voltage(net) for net in ("ramp", "gate", "comp", "vref")),
    )


def _notes(design: Design) -> tuple[str, ...]:
    boost = design.boost
    assert boost is not None
    plan = boost.plan
    timing, sense, supply = plan.timing, plan.sense, plan.gate_supply
    limit = f"{show(sense.limit_least_a, 'current')} to {show(sense.limit_most_a, 'current')}"
    stop = "INHIBIT" if design.protection is not None else "STOP"
    fed = "The control line feeds it."
    if supply is not None:
        fed = "The rail never dies: the control line lets the follower run."
    return (
        f"{show(timing.switching_hz, 'frequency')}, duty up to {timing.duty_most:.2f}; a pulse ends at "
        f"{limit}, or with the rail past {show(plan.guard.least_v, 'voltage')}.",
        f"High {stop} empties the soft start and holds the error amplifier down: no pulse. {fed}",
        "Timing, filter and ceramics within 10 mm of the pins, their ground to pin 5 alone.",
        "Resistors 0.25 W, film and ceramic capacitors 63 V unless stated.",
    )


def draw_boost_control(kit: Kit, feed: str) -> None:
    """Draw the controller's netlist; ``feed`` is the net of its supply."""
    chip = kit.place_chip(kit.one("boost controller"), _X, _Y)
    _reference(kit, chip["REF"])
    _loop(kit, chip)
    _soft_start(kit)
    _timing(kit, chip["RTCT"])
    _slope_and_sense(kit, chip["CS"])
    _gates(kit, chip["OUT"], feed)
    sheet, ground, supply = kit.sheet, chip["GND"], chip["VCC"]
    sheet.wire(ground, (ground[0] + 20, ground[1]))
    sheet.ground(GROUND, (ground[0] + 20, ground[1]))
    sheet.wire(supply, (supply[0] + 20, supply[1]), (supply[0] + 20, supply[1] - 20))
    sheet.rail(feed, (supply[0] + 20, supply[1] - 20))
    _supply(kit, feed)


def _point(kit: Kit, net: str, at: Point) -> None:
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator)


def _down(kit: Kit, role: str, net: str, x: int, y: int) -> None:
    """A part from a net down to ground."""
    part = kit.one(role)
    kit.sheet.ground(GROUND, kit.upright(part, net, x, y).end(part, net))


def _reference(kit: Kit, pin: Point) -> None:
    sheet, (x, y) = kit.sheet, pin
    line = y - 40
    sheet.wire(pin, (x - 20, y), (x - 20, line), (x - 80, line), (x - 120, line))
    _down(kit, "reference capacitor", "vref", x - 80, line)
    _point(kit, "vref", (x - 50, line))
    sheet.rail("vref", (x - 120, line))


def _loop(kit: Kit, chip: Placed) -> None:
    """Divider from the rail, and what lies between it and the error amplifier's output."""
    sheet, (x, y), low = kit.sheet, chip["FB"], chip["COMP"][1]
    sheet.flag("rail", (160, y), "left")
    sheet.wire((160, y), (170, y))
    kit.lying(kit.one("feedback divider, top"), "rail", 170, y)
    sheet.wire((210, y), (240, y), (300, y), (430, y), (x, y))
    _down(kit, "feedback divider, bottom", "feedback", 240, y)
    _point(kit, "feedback", (270, y))
    kit.upright(kit.one("compensation capacitor, fast"), "feedback", 430, y)
    kit.upright(kit.one("compensation resistor"), "feedback", 300, y)
    kit.upright(kit.one("compensation capacitor"), "lead", 300, y + 40)
    sheet.wire(chip["COMP"], (430, low), (380, low), (380, y + 80), (300, y + 80))


def _soft_start(kit: Kit) -> None:
    """What holds the error amplifier's output down: a capacitor after the start, the protection at will."""
    sheet, y = kit.sheet, 370
    holder = kit.place(kit.one("soft-start transistor"), 370, y, flip=True)
    sheet.wire((380, 260), holder["emitter"])
    sheet.ground(GROUND, holder["collector"])
    sheet.wire(holder["base"], (320, y), (270, y), (220, y), (170, y), (170, 450))
    kit.upright(kit.one("soft-start resistor"), "vref", 320, y - 50)
    sheet.wire((320, y - 10), (320, y))
    kit.upright(kit.one("soft-start diode"), "vref", 270, y - 50)
    sheet.wire((270, y - 10), (270, y))
    sheet.wire((270, y - 50), (320, y - 50))
    sheet.rail("vref", (320, y - 50))
    _down(kit, "soft-start capacitor", "soft", 220, y)
    npn = kit.place(kit.one("inhibit transistor"), 180, 470, turn=2, flip=True)
    sheet.wire((170, 450), npn["collector"])
    sheet.ground(GROUND, npn["emitter"])
    base = npn["base"]
    sheet.wire(base, (230, base[1]), (260, base[1]))
    _down(kit, "inhibit base pull-down", "inhibit_base", 230, base[1])
    kit.lying(kit.one("inhibit base resistor"), "inhibit_base", 260, base[1])
    sheet.wire((300, base[1]), (320, base[1]))
    sheet.flag("inhibit", (320, base[1]), "right", "from protection")


def _timing(kit: Kit, pin: Point) -> None:
    """The ramp's resistor and capacitor; its node goes on to the slope's transistor."""
    sheet, y = kit.sheet, 450
    x = pin[0] - 10
    sheet.wire(pin, (x, pin[1]), (x, y), (510, y))
    _point(kit, "ramp", (x, 400))
    kit.lying(kit.one("timing resistor"), "vref", x - 50, y)
    sheet.wire((x - 10, y), (x, y))
    sheet.wire((x - 60, y), (x - 50, y))
    sheet.rail("vref", (x - 60, y))
    _down(kit, "timing capacitor", "ramp", x, y)


def _slope_and_sense(kit: Kit, pin: Point) -> None:
    """Slope, filter and the rail's guard meet at the sense pin."""
    sheet, row = kit.sheet, 480
    slope = kit.place(kit.one("slope transistor"), 530, 450)
    sheet.rail("vref", slope["collector"])
    emitter = slope["emitter"]
    sheet.wire(emitter, (emitter[0], row), (560, row))
    kit.lying(kit.one("slope resistor"), "slope", 560, row)
    x = pin[0] + 30
    sheet.wire(pin, (x, pin[1]), (x, 300), (x, 350), (x, row), (600, row))
    sheet.wire((x, 350), (x + 40, 350))
    _down(kit, "current sense filter capacitor", "cs", x + 40, 350)
    sheet.wire((x, 300), (x + 70, 300))
    _point(kit, "cs", (x + 30, 300))
    kit.lying(kit.one("current sense filter resistor"), "cs", x + 70, 300)
    sheet.wire((x + 110, 300), (x + 140, 300))
    sheet.flag("sense", (x + 140, 300), "right", "from the current transformer")
    zeners = [part for part in kit.circuit.parts if part.role.startswith("rail guard zener")]
    end = kit.run("cs", x, row, [kit.one("rail guard resistor"), *reversed(zeners)])
    sheet.flag("rail", (end + 20, row), "right", "guard of the rail")
    sheet.wire((end, row), (end + 20, row))


def _gates(kit: Kit, pin: Point, feed: str) -> None:
    """From the output to the gates' line: diode and PNP, two followers, or nothing."""
    sheet, (x, y) = kit.sheet, pin
    a, b = x + 80, x + 160
    found = {
        part.role.rpartition(", ")[2]: part
        for part in kit.circuit.parts
        if part.kind == "transistor"
        and part.role.startswith("gate ")
        and not part.role.startswith("gate supply")
    }
    diodes = kit.circuit.by_role("gate turn-off diode")
    sheet.wire(pin, (a if found else b, y))
    for diode in diodes:
        sheet.wire((a, y), (a + 20, y))
        kit.lying(diode, "out", a + 20, y)
        sheet.wire((a + 60, y), (b, y))
        sheet.wire((a, y), (a, y - 50), (a + 20, y - 50))
        kit.lying(kit.one("gate turn-off base resistor"), "out", a + 20, y - 50)
        sheet.wire((a + 60, y - 50), (b, y - 50), (b, y))
    if "NPN" in found:
        upper = kit.place(found["NPN"], b - 10, y - 30)
        sheet.wire((a, y), (a, y - 30), upper["base"])
        sheet.wire(upper["emitter"], (b, y))
        sheet.rail(feed, upper["collector"])
    if "PNP" in found:
        lower = kit.place(found["PNP"], b - 10, y + 40, flip=True)
        sheet.wire((a, y), (a, y + 40), lower["base"])
        sheet.wire((b, y), lower["emitter"])
        sheet.ground(GROUND, lower["collector"])
    sheet.wire((b, y), (b + 90, y))
    _point(kit, "gate", (b + 40, y))
    sheet.flag("gate", (b + 90, y), "right", "to the switches")


def _supply(kit: Kit, feed: str) -> None:
    """Supply of controller and gates along the foot of the sheet."""
    sheet, top, row = kit.sheet, _SUPPLY, _SUPPLY + 90
    if feed == "control":
        sheet.flag("control", (170, row), "left")
        start = 170
    else:
        start = _follower(kit, top, row)
    columns = ["controller supply capacitor", "controller ceramic"]
    if feed != "control":
        columns.insert(0, "gate supply capacitor")
    x = start + 60
    for role in columns:
        _down(kit, role, feed, x, row)
        x += 80
    sheet.wire((start, row), (x, row))
    _point(kit, feed, (x - 40, row))
    sheet.rail(feed, (x, row))


def _follower(kit: Kit, top: int, row: int) -> int:
    """Follower on the rail with the two transistors that let it start; returns where its output begins."""
    sheet, middle = kit.sheet, top + 50
    sheet.flag("rail", (160, top), "left")
    sheet.wire((160, top), (570, top))
    lower = kit.place(kit.one("run transistor, NPN"), 140, row, turn=2, flip=True)
    sheet.ground(GROUND, lower["emitter"])
    sheet.wire(lower["collector"], (130, middle), (180, middle))
    kit.lying(kit.one("run resistor"), "run_pull", 180, middle)
    sheet.wire((220, middle), (370, middle), (390, middle))
    sheet.wire(lower["base"], (190, row), (220, row))
    _down(kit, "run base pull-down", "run_base", 190, row)
    kit.lying(kit.one("run base resistor"), "run_base", 220, row)
    sheet.wire((260, row), (280, row))
    sheet.flag("control", (280, row), "right")
    kit.upright(kit.one("run pull-up"), "rail", 370, top)
    sheet.wire((370, top + 40), (370, middle))
    upper = kit.place(kit.one("run transistor, PNP"), 410, middle, flip=True)
    sheet.wire(upper["emitter"], (420, top))
    sheet.wire(upper["collector"], (420, row), (440, row))
    kit.lying(kit.one("gate supply resistor"), "allowed", 440, row)
    sheet.wire((480, row), (510, row), (510, row - 30))
    _down(kit, "gate supply zener", "zener", 510, row)
    follower = kit.place(kit.one("gate supply transistor"), 560, row - 30)
    sheet.wire((510, row - 30), follower["base"])
    if kit.circuit.by_role("gate supply collector resistor"):
        kit.upright(kit.one("gate supply collector resistor"), "rail", 570, top)
        sheet.wire((570, top + 40), follower["collector"])
    else:
        sheet.wire(follower["collector"], (570, top))
    sheet.wire(follower["emitter"], (570, row))
    return 570
