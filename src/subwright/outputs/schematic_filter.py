"""The filter's sheet: blocks in a chain from the line inputs to the power stage, their supply below."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.circuits.filter_circuit import FILTER_OUTPUT, block_nets
from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_filter_supply import SUPPLY_NETS, draw_supply
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point
from subwright.stages.filter import FilterBlock, FilterResult

__all__ = ["FilterPage", "draw_filter", "filter_pages", "nets_on"]

_FIRST: Final = (120, 180)
_RIGHT: Final = 1040
_OUT: Final = 60  # room that the last flag's words need beside the last block
_INDENT: Final = 60  # of rows that go on from another
_SPREAD: Final = 30  # most room between two blocks
_ROW: Final = 240  # from line to line over the supply
_ROW_ALONE: Final = 200
_HEAD: Final = 112  # of a block's name over its line
_LOW_HEAD: Final = 88
_BOTTOM: Final = 692
_SUPPLY_Y: Final = 580
_SUPPLY_ALONE_Y: Final = 200
_CASES: Final = 3  # op-amp cases that stand beside their supply


@dataclass(frozen=True, kw_only=True, slots=True)
class FilterPage:
    """One of the filter's sheets.

    Attributes
    ----------
    rows : places of the blocks in the chain, row by row. supply : whether the op-amps' supply is on it.
    """

    rows: tuple[tuple[int, ...], ...]
    supply: bool

    @property
    def title(self) -> str:
        """What it shows beside what the sheets before it show."""
        return "continued" if self.rows else "supply"


def filter_pages(result: FilterResult, cases: int) -> tuple[FilterPage, ...]:
    """The chain in rows, the rows on as many sheets as they need, their supply below them or on its own.

    Parameters
    ----------
    result : the blocks in order. cases : of the op-amps that its netlist has.
    """
    rows: list[list[int]] = [[]]
    x = _FIRST[0]
    last = len(result.blocks) - 1
    for k, block in enumerate(result.blocks):
        if rows[-1] and x + _width(block) > _RIGHT - (_OUT if k == last else 0):
            x = _FIRST[0] + _INDENT
            rows.append([])
        rows[-1].append(k)
        x += _width(block)
    sheets: list[list[list[int]]] = [[]]
    for row in rows:
        if sheets[-1] and not _room(result, [*sheets[-1], row], _BOTTOM, supply=False):
            sheets.append([])
        sheets[-1].append(row)
    below = result.op_amp_supply.kind != "regulator" and cases <= _CASES
    below = below and _room(result, sheets[-1], _SUPPLY_Y - 48, supply=True)
    pages = [
        FilterPage(rows=tuple(map(tuple, sheet)), supply=below and sheet is sheets[-1]) for sheet in sheets
    ]
    return (*pages, *(() if below else (FilterPage(rows=(), supply=True),)))


def nets_on(result: FilterResult, page: FilterPage) -> frozenset[str]:
    """Nets whose test points a sheet shows: outputs of its blocks, and the supply where it is on it."""
    blocks = block_nets(result)
    nets = {net for row in page.rows for k in row for net in blocks[k]}
    return frozenset(nets | (SUPPLY_NETS if page.supply or not page.rows else set()))


def _room(result: FilterResult, rows: Sequence[Sequence[int]], bottom: int, *, supply: bool) -> bool:
    """Whether the last of these rows ends above ``bottom``."""
    line_y, _ = _lines(result, rows, supply=supply)[-1]
    return line_y + _depth(result, rows[-1]) <= bottom


def _lines(
    result: FilterResult, rows: Sequence[Sequence[int]], *, supply: bool
) -> tuple[tuple[int, int], ...]:
    """Each row's line, and how far over it the blocks' names stand."""
    lines: list[tuple[int, int]] = []
    before = 0
    for row in rows:
        lift, head = _lift(result, row), _HEAD if supply else _LOW_HEAD
        y = _FIRST[1] + lift
        if lines:
            pitch = _ROW if supply else _ROW_ALONE
            if before + head > pitch:
                head = _LOW_HEAD
            y = lines[-1][0] + max(pitch, (before + head + 9) // 10 * 10) + lift
        lines.append((y, head + lift))
        before = _depth(result, row)
    return tuple(lines)


def _lift(result: FilterResult, row: Sequence[int]) -> int:
    """Room that a row needs above it where a block has a second network, or a gain, above its amplifier."""
    blocks = [result.blocks[k] for k in row]
    if any(block.kind == "transform" for block in blocks):
        return 60
    return 20 if any("gain upper" in block.resistors_ohm for block in blocks) else 0


def _depth(result: FilterResult, row: Sequence[int]) -> int:
    """How far a row reaches down from its line."""
    blocks = [result.blocks[k] for k in row]
    if any("integrator A" in block.capacitors_f for block in blocks):
        return 160
    if any(block.kind == "all-pass" for block in blocks):
        return 140
    return 130 if any("right input" in block.resistors_ohm for block in blocks) else 108


def _width(block: FilterBlock) -> int:
    more = 120 if _pots(block) else 0
    more += 50 if "gain upper" in block.resistors_ohm else 0
    return more + (660 if "integrator A" in block.capacitors_f else _WIDTH[block.kind])


def draw_filter(
    kit: Kit,
    result: FilterResult,
    page: FilterPage,
    *,
    taken: frozenset[str] = frozenset(),
    origin: str = "from the converter",
) -> tuple[str, ...]:
    """Draw one sheet of the filter's netlist.

    Parameters
    ----------
    kit : the sheet with the circuit on it. result : the blocks in order. page : which of them it shows.
    taken : amplifiers in its cases that the inputs use. origin : where the supply's rails come from.

    Returns
    -------
    Notes for the foot of the sheet.
    """
    notes = ["Resistors 0.25 W, capacitors film 63 V unless stated."]
    if not page.rows:
        draw_supply(kit, result, _SUPPLY_ALONE_Y, origin)
        return tuple(notes)
    for row, (line_y, head) in zip(page.rows, _lines(result, page.rows, supply=page.supply), strict=True):
        _draw_row(kit, result, row, line_y, head)
    if page.supply:
        draw_supply(kit, result, _SUPPLY_Y, origin)
    if result.blocks[-1] is result.blocks[page.rows[-1][-1]]:
        notes += _spare(kit, taken)
    return tuple(notes)


def _draw_row(kit: Kit, result: FilterResult, row: Sequence[int], line_y: int, head: int) -> None:
    """Blocks beside one another; flags lead from the row before and to the row after."""
    sheet = kit.sheet
    points = {point.net: point.designator for point in kit.circuit.test_points}
    x, y = _FIRST[0], line_y
    spread = _spread(result, row)
    if row[0] > 0:
        x += _INDENT
        sheet.flag(f"out_{row[0] - 1}", (x, y), "left")
    for k in row:
        block = result.blocks[k]
        sheet.say(x + 10, line_y - head, block.name, head=True)
        x, y = _DRAW[block.kind](kit, block, k, x, y)
        last = k == len(result.blocks) - 1
        net = FILTER_OUTPUT if last else f"out_{k}"
        if net in points:
            sheet.name(net, (x, y), point=points[net])
        ahead = 20 if last else 10 + spread
        sheet.wire((x, y), (x + ahead, y))
        x += ahead
        if last:
            sheet.flag(net, (x, y), "right", "to the power stage")
        elif k == row[-1]:
            sheet.flag(net, (x, y), "right")
        elif "integrator A" in block.capacitors_f:
            sheet.name(net, (x, y))  # leads back to the stage's summing amplifier


def _spread(result: FilterResult, row: Sequence[int]) -> int:
    """More room between the blocks of a row, for the test points' names, where the sheet has it."""
    last = row[-1] == len(result.blocks) - 1
    start = _FIRST[0] + (_INDENT if row[0] > 0 else 0)
    free = _RIGHT - (_OUT if last else 0) - start - sum(_width(result.blocks[k]) for k in row)
    return min(_SPREAD, max(free, 0) // len(row) // 10 * 10)


def _spare(kit: Kit, taken: frozenset[str]) -> list[str]:
    spare = [name for name in kit.spare_sections if name not in taken]
    if not spare:
        return []
    ground = kit.sheet.names.get(_signal_ground(kit), "0 V")
    return [f"Not used: {', '.join(spare)}. Join output and − input, + input to {ground}."]


def _signal_ground(kit: Kit) -> str:
    return "mid" if "mid" in kit.circuit.nets else GROUND


def _pots(block: FilterBlock) -> bool:
    return any(role.endswith("gang") or role == "gain control" for role in block.resistors_ohm)


def _summer(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    """Inputs below one another, then an inverting amplifier."""
    sheet, minus = kit.sheet, (x + 160, y)
    sides = [role.removesuffix(" input") for role in block.resistors_ohm if role.endswith(" input")]
    for row, side in enumerate(sides):
        at = y + 100 * row
        sheet.flag(f"line_{side}", (x + 20, at), "left")
        parts = [kit.of(block, f"{side} coupling"), kit.of(block, f"{side} input")]
        end = kit.run(f"line_{side}", x + 20, at, parts)
        sheet.wire((end, at), (x + 150, at), (x + 150, y), minus)
    return _inverting(kit, f"minus_{k}", kit.variable(block, "feedback"), minus)


def _inverting(kit: Kit, net: str, feedback: list[Part], minus: Point, *, plus: bool = True) -> Point:
    """Amplifier with its − input on ``net`` at ``minus``, feedback above it; returns its output."""
    sheet, (x, y) = kit.sheet, minus
    amplifier = kit.amplifier(net)
    wide = 60 * len(feedback)
    amp = kit.place_amplifier(amplifier, x + max(50, wide // 2 + 10), y + 10)
    out = (x + max(90, wide + 20), y + 10)
    sheet.wire(minus, amp["-"])
    sheet.wire(minus, (x, y - 50))
    end = kit.run(net, x, y - 50, feedback)
    sheet.wire((end, y - 50), (out[0], y - 50), out)
    sheet.wire(amp["out"], out)
    if plus:
        to = (amp["+"][0] - 10, amp["+"][1])
        sheet.wire(amp["+"], to, (to[0], to[1] + 20))
        sheet.ground(_signal_ground(kit), (to[0], to[1] + 20))
    return out


def _follower(kit: Kit, amplifier: Part, plus: Point) -> Point:
    """Unity amplifier whose + input is at the right of ``plus``; returns its output."""
    sheet, (x, y) = kit.sheet, plus
    amp = kit.place_amplifier(amplifier, x + 60, y - 10)
    out = (x + 100, y - 10)
    sheet.wire(plus, amp["+"])
    sheet.wire(amp["out"], out, (out[0], y - 50), (x + 20, y - 50), (x + 20, y - 20), amp["-"])
    return out


def _second_order(
    kit: Kit,
    block: FilterBlock,
    k: int,
    at: Point,
    series: tuple[list[Part], list[Part]],
    up: Part,
    down: Part,
) -> Point:
    """Two series elements into a + input; one element from the middle to the output, one to ground."""
    sheet, (x, y) = kit.sheet, at
    net = f"plus_{k}"
    middle = kit.run(series[0][0].nets[0], x, y, series[0])
    plus = kit.run(f"middle_{k}", middle, y, series[1]) + 10
    sheet.wire((plus - 10, y), (plus, y), (plus, y + 10))
    sheet.ground(_signal_ground(kit), kit.upright(down, net, plus, y + 10).end(down, net))
    if "gain upper" in block.resistors_ohm:
        out, top = _with_gain(kit, block, k, (plus, y)), y - 90
    else:
        out, top = _follower(kit, kit.amplifier(net), (plus, y)), y - 80
    _over(kit, f"middle_{k}", (middle, y), up, top, out[0])
    sheet.wire((out[0], top), (out[0], y - 50))
    return out


def _over(kit: Kit, net: str, start: Point, part: Part, top: int, right: int) -> None:
    """An element on its way over the amplifier: from ``start``, on ``net``, up to ``top`` and along."""
    left = (start[0] + right) // 20 * 10 - 20
    kit.lying(part, net, left, top)
    kit.sheet.wire(start, (start[0], top), (left, top))
    kit.sheet.wire((left + 40, top), (right, top))


def _with_gain(kit: Kit, block: FilterBlock, k: int, plus: Point) -> Point:
    sheet, (x, y) = kit.sheet, plus
    amp = kit.place_amplifier(kit.amplifier(f"plus_{k}"), x + 100, y - 10)
    out, minus = (x + 150, y - 10), (x + 40, y - 20)
    sheet.wire(plus, amp["+"])
    sheet.wire(amp["out"], out)
    sheet.wire((minus[0], y - 50), minus, amp["-"])
    lower = kit.of(block, "gain lower")
    sheet.wire(minus, (minus[0], y + 20))
    sheet.ground(
        _signal_ground(kit), kit.upright(lower, f"minus_{k}", minus[0], y + 20).end(lower, f"minus_{k}")
    )
    end = kit.run(f"minus_{k}", minus[0], y - 50, [kit.of(block, "gain upper")])
    sheet.wire((end, y - 50), (out[0], y - 50), out)
    return out


def _infrasonic(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    series = ([kit.of(block, "C1")], [kit.of(block, "C2")])
    return _second_order(
        kit, block, k, (x, y), series, kit.of(block, "R to output"), kit.of(block, "R to ground")
    )


def _low_pass(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    if "R3" in block.resistors_ohm:
        return _multiple_feedback(kit, block, k, x, y)
    if "integrator A" in block.capacitors_f:
        return _state_variable(kit, block, k, x, y)
    series = (kit.variable(block, "R1"), kit.variable(block, "R2"))
    return _second_order(
        kit, block, k, (x, y), series, kit.of(block, "C to output"), kit.of(block, "C to ground")
    )


def _multiple_feedback(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    sheet = kit.sheet
    first, net = kit.of(block, "R1"), f"middle_{k}"
    middle = kit.run(first.nets[0], x, y, [first])
    minus = kit.run(net, middle, y, [kit.of(block, "R3")]) + 10
    sheet.wire((minus - 10, y), (minus, y))
    shunt = kit.of(block, "C2")
    sheet.wire((middle, y), (middle, y + 10))
    sheet.ground(_signal_ground(kit), kit.upright(shunt, net, middle, y + 10).end(shunt, net))
    out = _inverting(kit, f"minus_{k}", [kit.of(block, "C1")], (minus, y))
    _over(kit, net, (middle, y), kit.of(block, "R2"), y - 90, out[0])
    sheet.wire((out[0], y - 90), (out[0], y - 50))
    return out


def _state_variable(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    """A summing amplifier and two integrators; both outputs return to it."""
    sheet, band, high, minus_net = kit.sheet, f"band_{k}", f"high_{k}", f"minus_{k}"
    entry, back = kit.of(block, "R in"), kit.of(block, "R low")
    low = next(net for net in back.nets if net != minus_net)
    minus = kit.run(entry.nets[0], x, y, [entry]) + 30
    sheet.wire((minus - 30, y), (minus, y))
    first = kit.place_amplifier(kit.amplifier(minus_net), minus + 60, y + 10)
    at = (minus + 100, y + 10)
    sheet.wire((minus, y), first["-"])
    sheet.wire(first["out"], at)
    sheet.wire((minus, y), (minus, y - 40))
    sheet.wire((kit.run(minus_net, minus, y - 40, [kit.of(block, "R high")]), y - 40), (at[0], y - 40), at)
    sheet.wire((minus - 10, y), (minus - 10, y - 80))
    sheet.flag(low, (kit.run(minus_net, minus - 10, y - 80, [back]), y - 80), "right")
    plus = (minus + 10, y + 60)
    sheet.wire(first["+"], (minus + 10, y + 20), plus)
    sheet.flag(band, (kit.run(f"plus_{k}", plus[0], plus[1], [kit.of(block, "Q upper")]), plus[1]), "right")
    lower = kit.of(block, "Q lower")
    sheet.wire(plus, (plus[0], y + 70))
    sheet.ground(
        _signal_ground(kit), kit.upright(lower, f"plus_{k}", plus[0], y + 70).end(lower, f"plus_{k}")
    )
    for letter, number, net in (("A", 1, high), ("B", 2, band)):
        point = next((point.designator for point in kit.circuit.test_points if point.net == net), "")
        sheet.name(net, at, point=point, named=True)
        end = kit.run(net, at[0], at[1], kit.variable(block, f"R{number}"))
        sheet.wire((end, at[1]), (end + 10, at[1]))
        integrator = [kit.of(block, f"integrator {letter}")]
        at = _inverting(kit, f"virtual_{letter.lower()}_{k}", integrator, (end + 10, at[1]))
    return at


def _transform(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    """A bridged tee before the amplifier, another around it."""
    sheet = kit.sheet
    resistors, capacitors = (kit.circuit.by_role(f"{block.name} bridge {letter}") for letter in "RC")

    def tee(side: str, index: int, left: int, at: int) -> int:
        r1, r2 = kit.circuit.by_role(f"{block.name} {side} R")
        net = f"{side}_tee_{k}"
        middle = kit.run(r1.nets[0], left, at, [r1])
        end = kit.run(net, middle, at, [r2])
        shunt = kit.of(block, f"{side} C")
        sheet.wire((middle, at), (middle, at + 10))
        sheet.ground(_signal_ground(kit), kit.upright(shunt, net, middle, at + 10).end(shunt, net))
        kit.run(r1.nets[0], left, at - 50, [resistors[index], capacitors[index]])
        sheet.wire((left, at), (left, at - 50))
        sheet.wire((end, at), (end, at - 50))
        return end

    minus = tee("input", 0, x, y) + 20
    sheet.wire((minus - 20, y), (minus, y))
    end = tee("feedback", 1, minus, y - 90)
    sheet.wire((minus, y), (minus, y - 90))
    amp = kit.place_amplifier(kit.amplifier(f"minus_{k}"), minus + 90, y + 10)
    sheet.wire((minus, y), amp["-"])
    out = (end + 10, y + 10)
    sheet.wire(amp["out"], out, (out[0], y - 90), (end, y - 90))
    to = (amp["+"][0] - 10, amp["+"][1])
    sheet.wire(amp["+"], to, (to[0], to[1] + 20))
    sheet.ground(_signal_ground(kit), (to[0], to[1] + 20))
    return out


def _all_pass(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    sheet, node = kit.sheet, (x + 10, y)
    sheet.wire((x, y), node)
    variable = kit.variable(block, "R")
    reach = 60 * len(variable) + 10
    entry = kit.of(block, "input")
    end = kit.run(entry.nets[0], x + 10, y, [entry])
    minus = (max(end, x + reach) + 20, y)
    sheet.wire((end, y), minus)
    out = _inverting(kit, f"minus_{k}", [kit.of(block, "feedback")], minus, plus=False)
    sheet.wire(node, (x + 10, y + 60))
    last = kit.run(variable[0].nets[0], x + 10, y + 60, variable)
    plus = (minus[0] + 10, y + 20)
    sheet.wire((last, y + 60), (plus[0], y + 60), plus, (minus[0] + 20, y + 20))
    shunt = kit.of(block, "C")
    sheet.wire((plus[0], y + 60), (plus[0], y + 70))
    sheet.ground(
        _signal_ground(kit), kit.upright(shunt, f"plus_{k}", plus[0], y + 70).end(shunt, f"plus_{k}")
    )
    return out


def _phase(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    """The switch puts the + input on the signal or on ground."""
    sheet = kit.sheet
    sheet.wire((x, y), (x + 10, y))
    entry = kit.of(block, "input")
    end = kit.run(entry.nets[0], x + 10, y, [entry])
    minus = (end + 40, y)
    sheet.wire((end, y), minus)
    out = _inverting(kit, f"minus_{k}", [kit.of(block, "feedback")], minus, plus=False)
    part = kit.circuit.by_role("phase switch")[0]
    ground = _signal_ground(kit)
    flipped = part.nets[1] != ground  # the throw on the signal is drawn uppermost
    switch = kit.place(part, x + 60, y + 60, turn=2, flip=flipped)
    signal, earthed = (switch["closed"], switch["open"]) if flipped else (switch["open"], switch["closed"])
    sheet.wire((x + 10, y), (x + 10, signal[1]), signal)
    sheet.wire(earthed, (x + 30, earthed[1]), (x + 30, earthed[1] + 10))
    sheet.ground(ground, (x + 30, earthed[1] + 10))
    plus = minus[0] + 20
    sheet.wire(switch["common"], (minus[0] + 10, y + 60), (minus[0] + 10, y + 20), (plus, y + 20))
    sheet.say(x + 42, y + 92, "drawn at 0°")
    return out


def _output(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    sheet = kit.sheet
    pot = kit.place(kit.circuit.by_role("level control")[0], x + 40, y + 30, turn=1)
    sheet.wire((x, y), (x + 40, y), pot["top"])
    sheet.ground(_signal_ground(kit), pot["bottom"])
    plus = (x + 70, y + 30)
    sheet.wire(pot["wiper"], plus)
    return _follower(kit, kit.amplifier(f"plus_{k}"), plus)


def _coupling(kit: Kit, block: FilterBlock, k: int, x: int, y: int) -> Point:
    sheet = kit.sheet
    series, shunt = kit.of(block, "series"), kit.of(block, "to ground")
    net = next(n for n in shunt.nets if n != GROUND)
    end = kit.run(series.nets[0], x, y, [series]) + 10
    sheet.wire((end - 10, y), (end, y), (end, y + 10))
    sheet.ground(GROUND, kit.upright(shunt, net, end, y + 10).end(shunt, net))
    sheet.wire((end, y), (end + 30, y))
    return end + 30, y


_Drawer = Callable[[Kit, FilterBlock, int, int, int], Point]
_DRAW: Final[Mapping[str, _Drawer]] = {
    "summer": _summer,
    "infrasonic": _infrasonic,
    "transform": _transform,
    "low-pass": _low_pass,
    "all-pass": _all_pass,
    "phase": _phase,
    "output": _output,
    "coupling": _coupling,
}
_WIDTH: Final[Mapping[str, int]] = {
    "summer": 260,
    "infrasonic": 240,
    "transform": 300,
    "low-pass": 240,
    "all-pass": 200,
    "phase": 210,
    "output": 180,
    "coupling": 135,
}
