"""The wiring sheet: battery, fuse, cables and earth to the unit, and the cable to the loudspeaker."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.wiring import wiring_readings
from subwright.build.wiring_values import battery_link, wiring_values
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import GROUND, Part
from subwright.circuits.shunt_return import OUTPUT_SHUNT_NET
from subwright.circuits.wiring_circuit import DRIVER_NETS, FUSED, UNIT_NETS, wiring_circuit
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import readings_line
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_kit import Kit
from subwright.parts.library import Library
from subwright.stages.driver import DriverResult
from subwright.stages.wiring import Conductor

__all__ = ["wiring_block"]

_PLUS: Final = 140  # heights of the leads
_MINUS: Final = 280
_SPEAKER: Final = 430
_PITCH: Final = 60  # from one branch of drivers to the next
_APART: Final = 130  # from one driver of a branch to the next
_BESIDE: Final = (3, 2)  # branches, and drivers in one, that find room beside the table
_TABLE: Final = (630, 350)  # left and top of the links' table
_READINGS: Final = (800, 102)  # left and top
_READINGS_WIDTH: Final = 50
_LEAD: Final = 20
_BATTERIES: Final = {"lead-acid": "lead-acid", "agm": "AGM", "lfp": "LFP"}


def wiring_block(design: Design, library: Library) -> Iterator[Block]:
    """Everything that carries current between battery, unit and loudspeaker."""
    values = wiring_values(design)
    circuit = wiring_circuit(values).with_readings(wiring_readings(design, library))
    reverse = None if design.battery_guard is None else design.battery_guard.reverse
    before = reverse is not None and reverse.kind == "p_mosfet"
    switched = design.speaker_guard is not None and design.speaker_guard.fitted
    names = {
        UNIT_NETS[0]: "UNIT +" if before else "BATTERY",
        UNIT_NETS[1]: "UNIT \u2212",
        "speaker_a": "DRIVER +" if switched else "SPEAKER +",
        "speaker_b": "SPEAKER \u2212",
        FUSED: "FUSED",
        OUTPUT_SHUNT_NET: "SHUNT OUT",
    }
    stages = {
        "link, battery input": "wiring",
        "speaker cable": "wiring",
        "driver": "driver",
    }

    apart = len(values.branches) > _BESIDE[0] or max(values.branches) > _BESIDE[1]

    def draw(kit: Kit) -> tuple[str, ...]:
        _supply(kit, design)
        if not apart:
            _speaker(kit, _SPEAKER)
        _links(kit, design.wiring.conductors)
        _readings(kit)
        return _notes(design)

    def draw_drivers(kit: Kit) -> tuple[str, ...]:
        _speaker(kit, _PLUS)
        return ("Mark + on both ends of the speaker cable and at each driver.",)

    yield Block(
        key="wiring",
        title="Wiring",
        stage="supply",
        stages=stages,
        circuit=circuit,
        names=names,
        draw=draw,
        more=(draw_drivers,) if apart else (),
        more_titles=("loudspeaker",),
        texts=_texts(design, circuit.parts),
        analysis=Transient(stop_s=1e-3, step_s=1e-5),
        probes=tuple(Voltage(net) for net in (UNIT_NETS[0], FUSED, *DRIVER_NETS)),
    )


def _texts(design: Design, parts: Sequence[Part]) -> Mapping[str, tuple[str, ...]]:
    supply, speaker, driver = design.supply, design.wiring.speaker, design.driver
    section = show(supply.section_m2, "area")
    link = battery_link(design)
    lines: dict[str, tuple[str, ...]] = {
        "battery": (f"{design.spec.supply.system_v:g} V", _BATTERIES[design.spec.supply.battery]),
        "supply fuse": (f"{supply.fuse_a:g} A", supply.fuse_body),
        "supply cable, positive": (section, show(supply.cable_positive_m, "length")),
        "supply cable, return": (section, show(supply.cable_return_m, "length")),
        "body of the vehicle": ("body",),
        "link, battery input": () if link is None else (_wire(link), show(link.length_m, "length")),
        "speaker cable": (show(speaker.section_m2, "area"), show(speaker.length_m, "length")),
        # in one line: drivers in parallel stand close
        "driver": (f"{driver.name or driver.part_id} {_each_ohm(driver):.3g} Ω",),
    }
    return {part.designator: (part.designator, *lines[part.role]) for part in parts if part.role in lines}


def _each_ohm(driver: DriverResult) -> float:
    """Nominal impedance of one driver of the group, as its label says it."""
    return driver.nominal_impedance_ohm * driver.single_re_ohm / driver.re_ohm


def _supply(kit: Kit, design: Design) -> None:
    """Out from the battery over the fuse, back over cable or body to the unit's 0 V."""
    sheet = kit.sheet
    sheet.say(110, 80, "battery to unit", head=True)
    battery = kit.one("battery")
    top = kit.upright(battery, "battery_cell", 130, _PLUS + 50)
    sheet.wire(top.end(battery, "battery_minus"), (130, _PLUS), (220, _PLUS), heavy=True)
    sheet.wire(top.end(battery, "battery_cell"), (130, _MINUS), (390, _MINUS), heavy=True)
    end = kit.run("battery_plus", 210, _PLUS, [kit.one("supply fuse")], heavy=True)
    sheet.wire((end, _PLUS), (390, _PLUS), heavy=True)
    points = {point.net: point.designator for point in kit.circuit.test_points}
    sheet.name("fused", (end + 30, _PLUS), point=points["fused"])
    out = kit.run("fused", 380, _PLUS, [kit.one("supply cable, positive")], heavy=True)
    chassis = design.spec.supply.return_path == "chassis"
    role = "body of the vehicle" if chassis else "supply cable, return"
    back = kit.run("battery_minus", 380, _MINUS, [kit.one(role)], heavy=True)
    links = kit.circuit.by_role("link, battery input")
    minus = UNIT_NETS[1] if UNIT_NETS[1] in kit.circuit.nets else GROUND
    for at, y, net in ((out, _PLUS, "terminal"), (back, _MINUS, "return")):
        link = next((part for part in links if net in part.nets), None)
        far = at + 40
        sheet.wire((at, y), (far, y), heavy=True)
        if link is not None:
            sheet.wire((far, y), (far + 70, y), heavy=True)
            far = kit.run(net, far + 60, y, [link], heavy=True)
        sheet.wire((far, y), (far + 60, y), heavy=True)
        if y == _PLUS:
            sheet.name(UNIT_NETS[0], (far + 30, y), point=points[UNIT_NETS[0]])
            sheet.flag(UNIT_NETS[0], (far + 60, y), "right", heavy=True)
        elif minus != GROUND:
            sheet.flag(minus, (far + 60, y), "right", heavy=True)
        else:
            sheet.ground(GROUND, (far + 60, y))
            sheet.say(far + 80, y + 8, "0 V of the unit: its one star point")
    if links:
        sheet.say(out + 10, _PLUS - 40, "terminals of the unit, then links to its board")
    else:
        sheet.say(out + 10, _PLUS - 40, "terminals of the unit")
    sheet.say(210, _PLUS - 40, f"fuse within {show(design.supply.fuse_distance_m, 'length')} of the pole")


def _speaker(kit: Kit, top: int) -> None:
    """From the amplifier to the drivers, each branch along a line of its own, the first at ``top``."""
    sheet = kit.sheet
    sheet.say(110, top - 60, "unit to loudspeaker", head=True)
    out, back = kit.circuit.by_role("speaker cable")
    branches = _branches(kit)
    bottom = top + _PITCH * (len(branches) - 1)
    low = bottom + 80
    sheet.flag("speaker_a", (190, top), "left", heavy=True)
    sheet.wire((190, top), (220, top), heavy=True)
    start = kit.run("speaker_a", 210, top, [out], heavy=True)
    end = start + 30 + _APART * max(len(branch) for branch in branches)
    for number, branch in enumerate(branches):
        y, x, net = top + _PITCH * number, start, DRIVER_NETS[0]
        for driver in branch:
            placed = kit.lying(driver, net, x + 60, y)
            sheet.wire((x, y), placed["+"], heavy=True)
            x, net = placed["-"][0], driver.nets[1]
        sheet.wire((x, y), (end, y), heavy=True)
    sheet.wire((start, top), (start, bottom), heavy=True)
    sheet.wire((end, top), (end, low), (start, low), heavy=True)
    returns = back.nets[1]
    begin = kit.lying(back, returns, 220, low)
    sheet.wire((start, low), begin.end(back, returns), heavy=True)
    sheet.wire((220, low), (190, low), heavy=True)
    if returns == GROUND:
        sheet.ground(GROUND, (190, low))
        sheet.say(110, low + 40, "0 V at the amplifier's output filter")
    else:
        sheet.flag(returns, (190, low), "left", heavy=True)
        if returns == OUTPUT_SHUNT_NET:
            sheet.say(110, low + 40, "over the shunt to 0 V at the amplifier's output filter")


def _branches(kit: Kit) -> list[list[Part]]:
    """Drivers in parallel, each branch its drivers in series."""
    drivers = kit.circuit.by_role("driver")
    found: list[list[Part]] = []
    for driver in drivers:
        if driver.nets[0] == DRIVER_NETS[0]:
            found.append([driver])
        else:
            next(branch for branch in found if branch[-1].nets[1] == driver.nets[0]).append(driver)
    return found


def _wire(conductor: Conductor) -> str:
    beside = f"{conductor.parallel} \u00d7 " if conductor.parallel > 1 else ""
    return f"{beside}\u2300 {conductor.diameter_m * 1e3:.2f} mm"


def _links(kit: Kit, conductors: Sequence[Conductor]) -> None:
    """What each conductor inside the unit must be at least."""
    x, y = _TABLE
    kit.sheet.say(x, y - 22, "inside the unit, at least", head=True)
    columns = (0, 250, 350, 430)
    rows = [("conductor", "wire", "carries", "or track")]
    rows += [
        (
            f"{conductor.name} ({conductor.count} \u00d7)",
            _wire(conductor),
            show(conductor.rms_a, "current"),
            "wire only"
            if conductor.link_advised or conductor.track_width_m is None
            else show(conductor.track_width_m, "length"),
        )
        for conductor in conductors
    ]
    for number, row in enumerate(rows):
        for column, words in zip(columns, row, strict=True):
            kit.sheet.say(x + column, y + _LEAD * number, words, classes="sm t" if number else "sm ts")


def _readings(kit: Kit) -> None:
    """What the test points read, beside the battery lead: the notes have no room for it."""
    x, y = _READINGS
    kit.sheet.say(x, y - 22, "at the test points", head=True)
    for number, words in enumerate(wrap(readings_line(kit.circuit), _READINGS_WIDTH)):
        kit.sheet.say(x, y + 14 * number, words, classes="sm t")


def _notes(design: Design) -> tuple[str, ...]:
    supply, wiring = design.supply, design.wiring
    powered = [row for row in wiring.conductors if row.link_advised]
    least = min((row.diameter_m for row in powered), default=0.0)
    notes = [
        wiring.fuse_position,
        f"A short circuit at the cable's far end drives {show(supply.fault_far_a, 'current')}: sleeve it "
        "wherever it passes metal.",
        "Battery lead, reservoirs, speaker return and screens meet at the unit's star point only.",
        "Mark + on both ends of the speaker cable.",
    ]
    if design.boost is not None and design.boost.disconnect == "switch":
        switch = next(use for use in design.boost.parts if use.role == "battery switch")
        notes.append(
            f"A {switch.part_id} sits right behind the fuse: only these two cut the raised rail off."
        )
    if least:
        notes.append(
            f"Links by their heat; the habit is 1.5 mm or more at 150 to 200 W from 12 V (common practice, "
            f"no source), here {least * 1e3:.2f} mm or more."
        )
    return tuple(notes)
