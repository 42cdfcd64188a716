"""Places for parts on the grid: seeded annealing on the length of the nets, never with an overlap.

A board's rows are whole numbers whose bits are its steps: whether a part fits is a few shifts and ANDs.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.boards.footprints import STEP_UM, Footprint, turned
from subwright.boards.record import Turn

__all__ = ["Attraction", "Item", "Spot", "Table", "arrange", "cells_of"]

_TURNS: Final[tuple[Turn, ...]] = (0, 90, 180, 270)
_PAD_ROOM_UM: Final = 250  # half of the room between two pads
_CHIP_ROOM: Final = 1  # steps all round a chip for the tracks that leave it
_FAR_MOVES: Final = 0.2  # share of moves over the whole board to the end
_TRIES: Final = 400
_MOVES_EACH: Final = 2000
_START_SHARE: Final = 0.04  # of the mean length of a net, as the first temperature
_END_T: Final = 0.15


@dataclass(frozen=True, kw_only=True, slots=True)
class Item:
    """Something to place.

    Attributes
    ----------
    name : of the part or the wire. footprint : its shape. nets : of each land, "" where none.
    edge : "left", "right" for what stands at an edge; "" for the rest.
    turns : that are allowed.
    """

    name: str
    footprint: Footprint
    nets: tuple[str, ...]
    edge: str = ""
    turns: tuple[Turn, ...] = _TURNS


Spot = tuple[int, int, Turn]
"""x and y in steps, and the turn."""

_Shape = tuple[int, tuple[int, ...], int, tuple[tuple[int, int], ...]]
"""Lowest row, bits of each row, leftmost step, and the lands' steps."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Attraction:
    """Two pins that should be close: (item, land) each, and its weight in lengths of a plain net."""

    first: tuple[int, int]
    second: tuple[int, int]
    weight: float


def cells_of(footprint: Footprint, turn: Turn) -> tuple[int, int, int, int]:
    """Steps that a turned shape takes: left, bottom, right, top, all included.

    Half a step on each side of a body's edge is its own; a pad keeps half of the least gap. One step more
    lets a track or a link pass between neighbours; a chip, which many tracks leave, has more.
    """
    xs: list[float] = []
    ys: list[float] = []
    for point in footprint.body:
        x, y = turned(point, turn)
        xs.append(x)
        ys.append(y)
    for land in footprint.lands:
        x, y = turned((land.x * STEP_UM, land.y * STEP_UM), turn)
        across, along = (
            (land.across_um, land.along_um) if turn in (0, 180) else (land.along_um, land.across_um)
        )
        xs += [x - across / 2 - _PAD_ROOM_UM, x + across / 2 + _PAD_ROOM_UM]
        ys += [y - along / 2 - _PAD_ROOM_UM, y + along / 2 + _PAD_ROOM_UM]
    low = (math.ceil(min(xs) / STEP_UM - 0.5), math.ceil(min(ys) / STEP_UM - 0.5))
    high = (math.floor(max(xs) / STEP_UM + 0.5), math.floor(max(ys) / STEP_UM + 0.5))
    if footprint.height_um == 0:
        return low[0], low[1], high[0], high[1]
    room = _CHIP_ROOM if footprint.name.startswith("DIP") else 0
    return low[0] - room, low[1] - room, high[0] + 1 + room, high[1] + 1 + room


def _shape(footprint: Footprint, turn: Turn) -> _Shape:
    left, bottom, right, top = cells_of(footprint, turn)
    bits = (1 << (right - left + 1)) - 1
    lands = tuple(turned((land.x, land.y), turn) for land in footprint.lands)
    return bottom, (bits,) * (top - bottom + 1), left, lands


class Table:
    """The board while parts move on it.

    Parameters
    ----------
    items : what to place. columns, rows : steps of the board. closed : bits of each row that are not free.
    weights : of nets by name, 1 where not said. attractions : pairs of pins that should be close.
    """

    def __init__(
        self,
        items: Sequence[Item],
        columns: int,
        rows: int,
        closed: Sequence[int],
        weights: Mapping[str, float],
        attractions: Sequence[Attraction],
    ) -> None:
        self.items, self.columns, self.rows = items, columns, rows
        self.taken = list(closed)
        self.shapes: list[dict[Turn, _Shape]] = [
            {turn: _shape(item.footprint, turn) for turn in item.turns} for item in items
        ]
        self.at: list[Spot | None] = [None] * len(items)
        self.pins_of: list[list[int]] = []
        self.x: list[int] = []
        self.y: list[int] = []
        nets: dict[str, list[int]] = {}
        for item in items:
            pins = []
            for net in item.nets:
                pins.append(len(self.x))
                self.x.append(0)
                self.y.append(0)
                if net:
                    nets.setdefault(net, []).append(pins[-1])
            self.pins_of.append(pins)
        groups = [(pins, weights.get(net, 1.0)) for net, pins in nets.items() if len(pins) > 1]
        groups += [
            ([self.pins_of[a.first[0]][a.first[1]], self.pins_of[a.second[0]][a.second[1]]], a.weight)
            for a in attractions
        ]
        self.net_pins = [pins for pins, _ in groups]
        self.net_weight = [weight for _, weight in groups]
        self.cost = [0.0] * len(groups)
        nets_at: dict[int, list[int]] = {}
        for number, pins in enumerate(self.net_pins):
            for pin in pins:
                nets_at.setdefault(pin, []).append(number)
        self.nets_of = [
            sorted({number for pin in pins for number in nets_at.get(pin, ())}) for pins in self.pins_of
        ]

    @property
    def spots(self) -> tuple[Spot, ...]:
        """Places of all parts; all must have one."""
        return tuple(spot for spot in self.at if spot is not None)

    def fits(self, item: int, spot: Spot) -> bool:
        """Whether a part is free to stand there."""
        x, y, turn = spot
        bottom, rows, left, _ = self.shapes[item][turn]
        shift = x + left
        low = y + bottom
        if shift < 0 or low < 0 or low + len(rows) > self.rows:
            return False
        taken = self.taken
        for k, bits in enumerate(rows):
            moved = bits << shift
            if moved >> self.columns or taken[low + k] & moved:
                return False
        return True

    def put(self, item: int, spot: Spot) -> None:
        """Stand a part there; the room must be free."""
        x, y, turn = spot
        bottom, rows, left, lands = self.shapes[item][turn]
        for k, bits in enumerate(rows):
            self.taken[y + bottom + k] |= bits << (x + left)
        for pin, (dx, dy) in zip(self.pins_of[item], lands, strict=True):
            self.x[pin] = x + dx
            self.y[pin] = y + dy
        self.at[item] = spot

    def lift(self, item: int) -> Spot:
        """Take a part away; where it stood."""
        spot = self.at[item]
        assert spot is not None
        x, y, turn = spot
        bottom, rows, left, _ = self.shapes[item][turn]
        for k, bits in enumerate(rows):
            self.taken[y + bottom + k] &= ~(bits << (x + left))
        self.at[item] = None
        return spot

    def put_all(self, places: Mapping[int, Spot]) -> bool:
        """Put lifted parts down; none where one of them doesn't fit."""
        done: list[int] = []
        for k, spot in places.items():
            if not self.fits(k, spot):
                for other in done:
                    self.lift(other)
                return False
            self.put(k, spot)
            done.append(k)
        return True

    def about(self, item: int) -> Spot:
        """A place of a part of two leads at which they are exchanged."""
        spot = self.at[item]
        assert spot is not None
        x, y, turn = spot
        opposite: dict[Turn, Turn] = {0: 180, 90: 270, 180: 0, 270: 90}
        _, other = self.shapes[item][turn][3]
        back = self.shapes[item][opposite[turn]][3]
        return x + other[0] - back[0][0], y + other[1] - back[0][1], opposite[turn]

    def length(self, net: int) -> float:
        """Half the perimeter round a group's pins, weighted."""
        pins = self.net_pins[net]
        xs = [self.x[pin] for pin in pins]
        ys = [self.y[pin] for pin in pins]
        return self.net_weight[net] * (max(xs) - min(xs) + max(ys) - min(ys))

    def columns_for(self, item: int) -> tuple[int, int]:
        """First and last column where a part may stand."""
        edge = self.items[item].edge
        if edge == "left":
            return 1, 1
        if edge == "right":
            return self.columns - 2, self.columns - 2
        return 0, self.columns - 1


def arrange(table: Table, dice: random.Random, moves: int = _MOVES_EACH) -> bool:
    """Put all of a table's parts where their nets are short; False where they don't fit.

    Parameters
    ----------
    table : empty. dice : for all chances. moves : for each part.
    """
    if not _first(table, dice):
        return False
    _anneal(table, dice, moves * len(table.items))
    return True


def _area(table: Table, item: int) -> int:
    _, rows, _, _ = table.shapes[item][table.items[item].turns[0]]
    return len(rows) * rows[0].bit_count()


def _first(table: Table, dice: random.Random) -> bool:
    """The largest first, each at the best of some free places."""
    order = sorted(
        range(len(table.items)),
        key=lambda k: (table.items[k].edge == "", -_area(table, k), table.items[k].name),
    )
    for item in order:
        best: tuple[float, Spot] | None = None
        for spot in _spots(table, item, dice):
            if table.fits(item, spot):
                x, y, _ = spot
                away = abs(x - table.columns / 2) + abs(y - table.rows / 2)
                if best is None or away < best[0]:
                    best = (away, spot)
        if best is None:
            best = next(
                (
                    (0.0, (x, y, turn))
                    for turn in table.items[item].turns
                    for y in range(table.rows)
                    for x in range(table.columns_for(item)[0], table.columns_for(item)[1] + 1)
                    if table.fits(item, (x, y, turn))
                ),
                None,
            )
        if best is None:
            return False
        table.put(item, best[1])
    for net in range(len(table.net_pins)):
        table.cost[net] = table.length(net)
    return True


def _spots(table: Table, item: int, dice: random.Random) -> Iterator[Spot]:
    low, high = table.columns_for(item)
    turns = table.items[item].turns
    for _ in range(_TRIES):
        yield dice.randint(low, high), dice.randrange(table.rows), dice.choice(turns)


def _anneal(table: Table, dice: random.Random, steps: int) -> None:
    count = len(table.items)
    start = max(1.0, _START_SHARE * (table.columns + table.rows) * 2)
    ratio = (_END_T / start) ** (1.0 / max(1, steps))
    heat = start
    reach_all = max(table.columns, table.rows)
    kin: dict[str, list[int]] = {}
    for k, own in enumerate(table.items):
        kin.setdefault(f"{own.footprint.name} {own.edge}", []).append(k)
    chance = dice.random
    for step in range(steps):
        heat *= ratio
        item = int(chance() * count)
        if chance() < 0.3 and _swap(table, dice, item, kin, heat):
            continue
        far = chance() < _FAR_MOVES  # what is boxed in can still leave
        reach = reach_all if far else max(2, round(reach_all * (1.0 - step / steps)))
        _shift(table, dice, item, reach, heat)


def _accept(table: Table, nets: Sequence[int], heat: float, chance: float) -> bool:
    new = [table.length(net) for net in nets]
    rise = sum(new) - sum(table.cost[net] for net in nets)
    if rise > 0.0 and chance >= math.exp(-rise / heat):
        return False
    for net, cost in zip(nets, new, strict=True):
        table.cost[net] = cost
    return True


def _shift(table: Table, dice: random.Random, item: int, reach: int, heat: float) -> None:
    old = table.lift(item)
    low, high = table.columns_for(item)
    turns = table.items[item].turns
    turn = turns[int(dice.random() * len(turns))] if dice.random() < 0.3 else old[2]
    span = 2 * reach + 1
    x = min(high, max(low, old[0] - reach + int(dice.random() * span)))
    y = min(table.rows - 1, max(0, old[1] - reach + int(dice.random() * span)))
    spot: Spot = (x, y, turn)
    if spot == old or not table.fits(item, spot):
        table.put(item, old)
        return
    table.put(item, spot)
    if not _accept(table, table.nets_of[item], heat, dice.random()):
        table.lift(item)
        table.put(item, old)


def _swap(table: Table, dice: random.Random, item: int, kin: Mapping[str, list[int]], heat: float) -> bool:
    """Two of one shape change places; False where there is no other."""
    own = table.items[item]
    others = kin[f"{own.footprint.name} {own.edge}"]
    other = others[int(dice.random() * len(others))]
    if other == item:
        return False
    first, second = table.lift(item), table.lift(other)
    nets = sorted({*table.nets_of[item], *table.nets_of[other]})
    fits = table.fits(item, second)
    if fits:
        table.put(item, second)
        fits = table.fits(other, first)
        if fits:
            table.put(other, first)
            if _accept(table, nets, heat, dice.random()):
                return True
            table.lift(other)
        table.lift(item)
    table.put(item, first)
    table.put(other, second)
    return True
