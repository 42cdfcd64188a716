"""What each block's printed board must carry: its netlist, with a shape for every part that may sit on it.

Currents that belong on links and sinks stay off boards: the converter's and the amplifier's power stages are
hard-wired as their sheets say.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from subwright.boards.footprints import (
    Footprint,
    axial,
    ceramic,
    dual_in_line,
    electrolytic,
    film,
    header,
    indicator,
    to_92,
    to_126,
    to_220,
)
from subwright.boards.wanted import Ground, Wanted, WantedPart, WantedWire
from subwright.build.board_currents import board_loads, carried
from subwright.build.result import Design
from subwright.circuits.netlist import GROUND, PINS, Part, Pulse, Ramp, Steady
from subwright.outputs.board_branches import branches_of
from subwright.outputs.joined_nets import JoinedPin, joined_pins
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_pins import (
    CHIP_KINDS,
    SECTIONED_KINDS,
    channels_of,
    pin_numbers,
    supply_pin_numbers,
)
from subwright.outputs.schematic_texts import part_texts, spare_sections
from subwright.outputs.schematics import Schematics
from subwright.parts.library import Library
from subwright.stages.common import PartUse

__all__ = ["HARD_WIRED", "footprint_of", "wanted_boards"]

HARD_WIRED: Final[Mapping[str, str]] = {
    "wiring": "Cables and terminals.",
    "converter": "Its currents belong on thick links and its parts on the heatsink, not on foil.",
    "boost": "Its currents belong on thick links and its parts on the heatsink, not on foil.",
    "battery-guard": "The battery's whole current passes through it: wired at the battery terminals.",
    "amplifier": "Its currents belong on thick links and its parts on the heatsink, not on foil.",
}
"""Blocks without a board, by key, with the reason."""

_FROM_BATTERY: Final = ("BATTERY", "CONTROL", "UNIT +", "REMOTE")
_FLOATING_V: Final = 20.0  # most that a half-bridge driver's floating supply may hold, its family's rating
_FEWEST: Final = 3  # parts that are worth a board
_WATTS: Final = re.compile(r"(\d+(?:\.\d+)?) W\b")
_VOLTS: Final = re.compile(r"(\d+(?:\.\d+)?) V\b")
_PANEL: Final[Mapping[str, str]] = {
    "potentiometer": "on the panel",
    "switch": "on the panel",
    "connector": "on the panel",
    "thermistor": "on the heatsink",
    "mosfet": "on the heatsink",
    "relay": "on wires",
    "winding": "wound, stands beside the board",
    "inductor": "wound, stands beside the board",
}
_HEAVY: Final = frozenset(
    (("mosfet", "D"), ("mosfet", "S"), ("relay", "11"), ("relay", "12"), ("relay", "14"))
)
_SENSES: Final = "; thin wire, the heavy current goes by a cable of its own"
_PINS_OF_CHIP: Final[Mapping[tuple[str, int], int]] = {
    ("op-amp", 1): 8,
    ("op-amp", 2): 8,
    ("op-amp", 4): 14,
    ("comparator", 2): 8,
    ("comparator", 4): 14,
    ("grounded comparator", 2): 14,
    ("schmitt inverter", 6): 14,
}
_CHIP_PINS: Final[Mapping[str, int]] = {"384x controller": 8, "half-bridge driver": 14}
_DIODE: Final[tuple[tuple[str, int, float, float], ...]] = (
    # name of the case in a description; steps between the leads; body, mm
    ("P-600", 14, 9.0, 9.0),
    ("DO-201", 12, 9.0, 5.2),
    ("DO-41", 8, 5.2, 2.7),
)
_ONE_AMPERE: Final = re.compile(r"\b(?:1|1\.3) [AW]\b")
_RATED: Final[tuple[tuple[float, str, int, float, float], ...]] = (
    # W; name; steps between the leads; length and diameter, mm
    (0.34, "axial 0207", 8, 6.5, 2.5),
    (0.61, "axial 0309", 10, 9.0, 3.2),
    (1.01, "axial 0411", 12, 11.5, 4.5),
    (2.01, "axial 0617", 16, 15.5, 5.5),
    (3.01, "axial 0617", 16, 17.0, 6.0),
    (5.01, "cement 5 W", 22, 22.0, 9.5),
)
_FILM: Final[tuple[tuple[float, float, float], ...]] = (
    # F up to which a box with leads 5 mm apart is this wide and high, mm
    (120e-9, 2.6, 6.5),
    (270e-9, 3.5, 8.0),
    (500e-9, 4.5, 9.5),
    (1.1e-6, 5.5, 11.0),
    (2.3e-6, 7.2, 13.0),
)
_ORDER: Final[Mapping[str, str]] = {
    # from the left, seen on the flat side or the printed face, leads down; from memory
    "BC": "C B E",
    "2N": "E B C",
    "MPS": "E B C",
    "BD": "E C B",
    "TIP": "B C E",
    "TL431": "REF A K",
}


def wanted_boards(
    sheets: Schematics, design: Design, library: Library
) -> tuple[tuple[Wanted, ...], tuple[tuple[str, str], ...]]:
    """What each block's board carries, in the order of the sheets, and the blocks without one.

    Parameters
    ----------
    sheets : the drawn blocks. design, library : the build, and the parts with the drawer merged.

    Returns
    -------
    Boards to make, and (title, reason) of the blocks that have none.
    """
    channels = {record.id: record.channels for record in library.op_amps.values()}
    channels |= {record.id: record.channels for record in library.comparators.values()}
    bill: dict[str, dict[str, PartUse]] = {}
    for stage, use in design.part_uses():
        bill.setdefault(stage, {})[use.role] = use
    pins: dict[str, list[JoinedPin]] = {}
    for pin in joined_pins(sheets.blocks, sheets.shared, channels):
        pins.setdefault(pin.block, []).append(pin)
    bearers: dict[str, list[str]] = {}
    for block in sheets.blocks:
        for net in dict.fromkeys(pin.net for pin in pins.get(block.key, ())):
            bearers.setdefault(net, []).append(block.title)
    voltages = _voltages(sheets.blocks, pins, design)
    boards: list[Wanted] = []
    without: list[tuple[str, str]] = []
    for block in sheets.blocks:
        reason = HARD_WIRED.get(block.key, "")
        if not reason:
            made = _wanted(block, pins.get(block.key, []), bill, channels, bearers, voltages)
            made = replace(made, currents=_currents(block, made, pins.get(block.key, []), bill, design))
            if len(made.parts) >= _FEWEST:
                boards.append(made)
                continue
            reason = "Fewer parts than are worth a board: soldered to their neighbours' leads."
        without.append((block.title, reason))
    return tuple(boards), tuple(without)


def _wanted(
    block: Block,
    pins: list[JoinedPin],
    bill: Mapping[str, Mapping[str, PartUse]],
    channels: Mapping[str, int],
    bearers: Mapping[str, list[str]],
    known: Mapping[str, tuple[float, float]],
) -> Wanted:
    uses = _uses(block, bill)
    texts = part_texts(block.circuit, uses)
    nets: dict[str, dict[str, str]] = {}
    parts: dict[str, Part] = {}
    for pin in pins:
        if pin.part.standing == "bought":
            nets.setdefault(pin.case, {})[pin.code] = pin.net
            parts.setdefault(pin.case, pin.part)
    _tie_spares(block, nets, channels)
    on_board: list[WantedPart] = []
    off_board: list[tuple[str, str]] = []
    wires: dict[tuple[str, str], WantedWire] = {}
    for case, part in parts.items():
        shape = footprint_of(part, uses.get(part.role), channels)
        if isinstance(shape, str):
            off_board.append((case, shape))
            for code, net in nets[case].items():
                leads = f"{part.role} {case}" + (_SENSES if (part.kind, code) in _HEAVY else "")
                wires[f"{case} {code}", net] = WantedWire(name=f"{case} {code}", net=net, leads_to=leads)
            continue
        lines = texts.get(part.designator) or texts.get(case) or ()
        if part.kind in SECTIONED_KINDS:
            lines = texts.get(case, lines)
        label = next((line for line in lines if line != case and line != part.designator), "")
        on_board.append(WantedPart(case=case, label=label, footprint=shape, nets=nets[case], role=part.role))
    heavy = {
        net for case, _ in off_board for code, net in nets[case].items() if (parts[case].kind, code) in _HEAVY
    }
    joined = _joined_names(block, pins)
    used = {net for part in on_board for net in part.nets.values()}
    used |= {net for _, net in wires}
    for net, (name, outside) in joined.items():
        others = [title for title in bearers.get(net, ()) if title != block.title]
        if net in used and (others or outside) and net != Ground:
            leads = ", ".join(others) if others else "outside"
            leads += _SENSES if net in heavy else ""
            wires[name, net] = WantedWire(name=name, net=net, leads_to=leads)
    if Ground in used:
        wires[Ground, Ground] = WantedWire(name="0 V", net=Ground, leads_to="0 V of the unit")
    own = {net for part in on_board for net in part.nets.values()}
    leaving: dict[str, tuple[str, str]] = {}
    for key in wires:
        leaving.setdefault(key[1], key)
    for point in block.circuit.test_points:
        net = next((n for n, (_, _) in joined.items() if _net_of(block, n, pins) == point.net), "")
        if net in leaving:
            key = leaving[net]
            wire = wires[key]
            wires[key] = WantedWire(name=f"{wire.name} {point.designator}", net=net, leads_to=wire.leads_to)
        elif net in own:
            wires[point.designator, net] = WantedWire(name=point.designator, net=net, leads_to="")
    voltages, groups = _floating(pins, {net: known[net] for net in used if net in known})
    return Wanted(
        key=block.key,
        title=block.title,
        parts=tuple(on_board),
        wires=tuple(wire for wire in wires.values() if wire.net in own),
        voltages=voltages,
        groups=groups,
        off_board=tuple(off_board),
    )


def _currents(
    block: Block,
    made: Wanted,
    pins: list[JoinedPin],
    bill: Mapping[str, Mapping[str, PartUse]],
    design: Design,
) -> Mapping[str, float]:
    low, high = made.span
    handed = [
        load.amps for load in board_loads(design) if (load.board, load.what) == ("control", "control supply")
    ]
    branches = branches_of(
        pins,
        _uses(block, bill),
        made.wires,
        frozenset(part.case for part in made.parts),
        high - low,
        switched=("CONTROL", handed[0]) if handed and block.key == "control" else None,
    )
    return carried(design, block.key, branches)


def _uses(block: Block, bill: Mapping[str, Mapping[str, PartUse]]) -> Mapping[str, PartUse]:
    uses = {**bill.get(block.stage, {})}
    for role, stage in block.stages.items():
        if role in bill.get(stage, {}):
            uses[role] = bill[stage][role]
    return uses


def _circuit_nets(pins: Iterable[JoinedPin]) -> Mapping[str, str]:
    """The netlist's own name of each joined net of a block."""
    words = {"plus": "+", "minus": "-", "supply plus": "V+", "supply minus": "V-"}
    names: dict[str, str] = {}
    for pin in pins:
        plain = words.get(pin.pin, pin.pin)
        if plain in PINS[pin.part.kind]:
            section_nets = dict(zip(PINS[pin.part.kind], pin.part.nets, strict=True))
            names.setdefault(pin.net, section_nets[plain])
    return names


def _net_of(_block: Block, net: str, pins: Iterable[JoinedPin]) -> str:
    return _circuit_nets(pins).get(net, "")


def _joined_names(block: Block, pins: list[JoinedPin]) -> Mapping[str, tuple[str, bool]]:
    """Printed name of each joined net, and whether the world outside acts on it in the simulation."""
    own = _circuit_nets(pins)
    outside = {
        net for part in block.circuit.parts if part.standing == "bench" for net in part.nets if net != GROUND
    }
    return {net: (block.names.get(inner, net), inner in outside) for net, inner in own.items()}


def _voltages(
    blocks: Iterable[Block], pins: Mapping[str, list[JoinedPin]], design: Design
) -> Mapping[str, tuple[float, float]]:
    """Lowest and highest voltage of nets that a simulation drives or the battery feeds, over all blocks."""
    highest_v = max(design.supply.corners.values())
    known: dict[str, tuple[float, float]] = {Ground: (0.0, 0.0)}
    for block in blocks:
        names: dict[str, list[str]] = {}
        for net, inner in _circuit_nets(pins.get(block.key, ())).items():
            names.setdefault(inner, []).append(net)
        driven: dict[str, tuple[float, float]] = {
            inner: (0.0, highest_v) for inner, name in block.names.items() if name in _FROM_BATTERY
        }
        for part in block.circuit.parts:
            if part.standing != "bench" or part.kind != "voltage source" or GROUND not in part.nets:
                continue
            low, high = _range(part.value)
            plus, minus = part.nets
            inner, low, high = (plus, low, high) if minus == GROUND else (minus, -high, -low)
            before = driven.get(inner, (low, high))
            driven[inner] = (min(low, before[0]), max(high, before[1]))
        for inner, (low, high) in driven.items():
            for net in names.get(inner, ()):
                before = known.get(net, (low, high))
                known[net] = (min(low, before[0]), max(high, before[1]))
    return known


def _floating(
    pins: Iterable[JoinedPin], known: Mapping[str, tuple[float, float]]
) -> tuple[Mapping[str, tuple[float, float]], Mapping[str, str]]:
    """What rides on a half-bridge driver's switched node: groups of nets, and how high they go.

    The node swings between the lowest and the highest net of the block, its floating supply above that.
    Resistors, diodes and transistors on the driver's upper output belong to the group.
    """
    voltages, groups = dict(known), {}
    low = min((a for a, _ in known.values()), default=0.0)
    high = max((b for _, b in known.values()), default=0.0)
    every = list(pins)
    for pin in every:
        if pin.part.kind != "half-bridge driver" or pin.pin not in ("VS", "VB", "HO"):
            continue
        top = high if pin.pin == "VS" else high + _FLOATING_V
        groups[pin.net] = pin.case
        voltages[pin.net] = (low, top)
        if pin.pin != "HO":
            continue
        edge = [pin.net]
        while edge:
            net = edge.pop()
            for part in {p.part.designator: p.part for p in every if p.net == net}.values():
                if part.kind not in ("resistor", "diode", "zener", "transistor"):
                    continue
                for other in {p.net for p in every if p.part.designator == part.designator}:
                    if other not in groups and other not in known and other != Ground:
                        groups[other] = pin.case
                        voltages[other] = (low, top)
                        edge.append(other)
    return voltages, groups


def _range(value: object) -> tuple[float, float]:
    match value:
        case Steady():
            return value.value - abs(value.ac), value.value + abs(value.ac)
        case Pulse():
            return min(value.first, value.then), max(value.first, value.then)
        case Ramp():
            values = [level for _, level in value.points]
            return min(values), max(values)
        case _:
            return 0.0, 0.0


def _tie_spares(block: Block, nets: dict[str, dict[str, str]], channels: Mapping[str, int]) -> None:
    """Unused sections are tied as the sheets say: an amplifier as a follower of 0 V, other inputs to 0 V."""
    first = {part.case: part for part in block.circuit.parts if part.kind in SECTIONED_KINDS}
    for name in spare_sections(block.circuit, channels):
        part = next(p for case, p in first.items() if name.startswith(case) and name[:-1] == case)
        numbers = pin_numbers(replace(part, designator=name), channels)
        case = nets[part.case]
        ground = (
            case.get(_supply_minus(part, channels), Ground) if part.kind == "schmitt inverter" else Ground
        )
        if part.kind == "op-amp":
            case[numbers["out"]] = case[numbers["-"]] = f"SPARE_{name}"
            case[numbers["+"]] = ground
        elif part.kind == "schmitt inverter":
            case[numbers["in"]] = ground
        else:
            case[numbers["+"]] = case[numbers["-"]] = ground


def _supply_minus(part: Part, channels: Mapping[str, int]) -> str:
    return supply_pin_numbers(part, channels).get("V-", "")


def footprint_of(part: Part, use: PartUse | None, channels: Mapping[str, int]) -> Footprint | str:
    """A part's shape, or why it doesn't sit on a board.

    Parameters
    ----------
    part : the netlist's. use : its line of the bill. channels : amplifiers in one case, by part id.
    """
    words = "" if use is None else use.description
    if part.kind in _PANEL:
        return _PANEL[part.kind]
    if part.kind in CHIP_KINDS:
        return dual_in_line(_CHIP_PINS.get(part.kind, 16))
    if part.kind in SECTIONED_KINDS:
        pins = _PINS_OF_CHIP.get((part.kind, channels_of(part, channels)))
        return "its case is not known" if pins is None else dual_in_line(pins)
    match part.kind:
        case "resistor":
            return _resistor(words)
        case "capacitor":
            return _capacitor(part.value if isinstance(part.value, float) else 0.0, words)
        case "diode" | "zener":
            return _diode(words, part.kind == "zener")
        case "transistor" | "shunt reference":
            return _transistor(part, words)
        case "lamp":
            return indicator()
        case "jumper":
            return header()
        case "gate driver":
            return _driver()
        case _:
            return "on wires"


def _resistor(words: str) -> Footprint | str:
    watts = float(found.group(1)) if (found := _WATTS.search(words)) else 0.25
    for most, name, steps, length, diameter in _RATED:
        if watts <= most:
            return axial(name, steps, length, diameter, ("1", "2"))
    return "too hot for a board"


def _capacitor(value_f: float, words: str) -> Footprint | str:
    volts = float(found.group(1)) if (found := _VOLTS.search(words)) else 63.0
    if "electrolytic" in words:
        shape = electrolytic(value_f, volts, bipolar="bipolar" in words)
        return "too large for a board" if shape is None else shape
    if "ceramic" in words or words.startswith("C0G"):
        return ceramic(large=value_f > 0.5e-6)
    for most, width, height in _FILM:
        if value_f <= most:
            return film(4, 7.3, width, height)
    return "too large for a board"


def _diode(words: str, zener: bool) -> Footprint:
    for name, steps, length, diameter in _DIODE:
        if name in words:
            return axial(name, steps, length, diameter, ("A", "K"))
    if zener or _ONE_AMPERE.search(words):
        return axial("DO-41", 8, 5.2, 2.7, ("A", "K"))
    return axial("DO-35", 6, 4.0, 2.0, ("A", "K"))


def _transistor(part: Part, words: str) -> Footprint | str:
    order = next((pins for start, pins in _ORDER.items() if part.part_id.startswith(start)), None)
    if order is None:
        return "its case is not known"
    if part.part_id.startswith("BD"):
        return to_126(order.split())
    if part.part_id.startswith("TIP"):
        return to_220(order.split(), sink="K/W" in words)
    return to_92(order.split())


def _driver() -> Footprint:
    """A photovoltaic driver in its case of four pins, from memory: lamp on 1 and 2, output − 3 and + 4."""
    return _renamed(dual_in_line(4), {"1": "A", "2": "K", "3": "2", "4": "1"})


def _renamed(shape: Footprint, names: Mapping[str, str]) -> Footprint:
    lands = tuple(replace(land, pins=tuple(names.get(pin, pin) for pin in land.pins)) for land in shape.lands)
    return replace(shape, lands=lands)
