"""How often the nets of a placement cross, if each is drawn as its shortest tree of straight lines.

The length of the nets says little about a board of one copper side: what costs links is that nets cross.
Their trees' crossings can be counted quickly, so parts are moved until few are left. Source of the tree:
R. C. Prim, Shortest connection networks and some generalizations, 1957. [prim-1957]
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

from subwright.boards.placement import Spot, Table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Numbers = NDArray[np.int64]

__all__ = ["Crossings", "uncross"]

_CROSSING: Final = 10.0  # of a crossing, in steps of net
_FIRST_T: Final = 9.0
_LAST_T: Final = 0.8
_OFTEN: Final = 500
_FAR: Final = 0.25  # share of moves over the whole board


class Crossings:
    """The trees of a table's nets, and how often they cross.

    Parameters
    ----------
    table : all of whose parts have a place. nets : how many of its first groups are nets.
    """

    def __init__(self, table: Table, nets: int) -> None:
        import numpy as np

        self._np = np
        self._table = table
        self.nets = nets
        first = [0]
        for number in range(nets):
            first.append(first[-1] + len(table.net_pins[number]) - 1)
        self._first = first
        self._legs: Numbers = np.zeros((4, first[-1]), dtype=np.int64)
        self._net: Numbers = np.repeat(np.arange(nets), np.diff(first))
        for number in range(nets):
            self.grow(number)

    def slices(self, numbers: Sequence[int]) -> Numbers:
        """Where the legs of some nets are."""
        inside = [self._np.arange(self._first[n], self._first[n + 1]) for n in numbers if n < self.nets]
        return self._np.concatenate(inside) if inside else self._np.zeros(0, dtype=self._np.int64)

    def grow(self, number: int) -> None:
        """A net's tree as its pins are now."""
        table = self._table
        pins = table.net_pins[number]
        xs, ys = [table.x[pin] for pin in pins], [table.y[pin] for pin in pins]
        count = len(pins)
        nearest = [0] * count
        away = [abs(xs[k] - xs[0]) + abs(ys[k] - ys[0]) for k in range(count)]
        out = set(range(1, count))
        legs = []
        while out:
            k = min(out, key=away.__getitem__)
            out.discard(k)
            j = nearest[k]
            legs.append((xs[j], ys[j], xs[k], ys[k]))
            x, y = xs[k], ys[k]
            for m in out:
                d = abs(xs[m] - x) + abs(ys[m] - y)
                if d < away[m]:
                    away[m], nearest[m] = d, k
        self._legs[:, self._first[number] : self._first[number + 1]] = self._np.array(legs).T

    def keep(self, at: Numbers) -> Any:
        """Legs to go back to."""
        return self._legs[:, at].copy()

    def put_back(self, at: Numbers, legs: Any) -> None:
        """Legs of earlier."""
        self._legs[:, at] = legs

    def count(self, at: Numbers) -> float:
        """Crossings of some legs with all of other nets; those among them count once."""
        if not len(at):
            return 0.0
        x1, y1, x2, y2 = self._legs
        a1, b1, a2, b2 = (row[at][:, None] for row in self._legs)
        one = (x2 - x1) * (b1 - y1) - (y2 - y1) * (a1 - x1)
        two = (x2 - x1) * (b2 - y1) - (y2 - y1) * (a2 - x1)
        three = (a2 - a1) * (y1 - b1) - (b2 - b1) * (x1 - a1)
        four = (a2 - a1) * (y2 - b1) - (b2 - b1) * (x2 - a1)
        # a place on the line counts as lying on its one side: pins in one row must not hide a crossing
        hit = ((one > 0) != (two > 0)) & ((three > 0) != (four > 0))
        hit &= self._net[at][:, None] != self._net
        inside = hit[:, at].sum()
        return float(hit.sum() - inside / 2)

    @property
    def total(self) -> float:
        """Of the whole board."""
        return self.count(self._np.arange(self._first[-1]))


def uncross(table: Table, nets: int, dice: random.Random, tries: int, tell: Callable[[float], None]) -> None:
    """Move, turn and exchange parts so that nets are short and cross little.

    Parameters
    ----------
    table : all of whose parts have a place. nets : how many of its first groups are nets; the
    others only pull. dice : for all chances. tries : how many. tell : called while the work goes on.
    """
    trees = Crossings(table, nets)
    kin: dict[str, list[int]] = {}
    for k, own in enumerate(table.items):
        kin.setdefault(f"{own.footprint.name} {own.edge}", []).append(k)
    heat = _FIRST_T
    ratio = (_LAST_T / _FIRST_T) ** (1.0 / max(1, tries))
    reach_all = max(table.columns, table.rows)
    for number in range(tries):
        heat *= ratio
        if number % _OFTEN == 0:
            tell(0.0)
        new = _proposed(table, dice, kin, reach_all, 1.0 - number / tries)
        if not new:
            continue
        old = {k: table.lift(k) for k in new}
        if not table.put_all(new):
            table.put_all(old)
            continue
        groups = sorted({group for k in new for group in table.nets_of[k]})
        longer = sum(table.length(group) - table.cost[group] for group in groups)
        limit = -heat * math.log(max(dice.random(), 1e-12))
        at = trees.slices(groups)
        done = False
        if longer - _CROSSING * len(at) < limit:
            before, kept = trees.count(at), trees.keep(at)
            if longer - _CROSSING * before < limit:
                for group in groups:
                    if group < nets:
                        trees.grow(group)
                done = longer + _CROSSING * (trees.count(at) - before) < limit
                if not done:
                    trees.put_back(at, kept)
        if done:
            for group in groups:
                table.cost[group] = table.length(group)
        else:
            for k in new:
                table.lift(k)
            table.put_all(old)


def _proposed(
    table: Table, dice: random.Random, kin: dict[str, list[int]], reach_all: int, left: float
) -> dict[int, Spot]:
    item = int(dice.random() * len(table.items))
    own = table.items[item]
    spot = table.at[item]
    assert spot is not None
    x, y, turn = spot
    chance = dice.random()
    if chance < 0.25:
        others = kin[f"{own.footprint.name} {own.edge}"]
        other = others[int(dice.random() * len(others))]
        second = table.at[other]
        assert second is not None
        return {item: second, other: spot} if other != item else {}
    if chance < 0.4 and len(own.nets) == 2 and len(own.turns) == 4:
        return {item: table.about(item)}
    far = dice.random() < _FAR
    reach = reach_all if far else max(2, round(reach_all * 0.4 * left))
    if dice.random() < 0.3:
        turn = own.turns[int(dice.random() * len(own.turns))]
    low, high = table.columns_for(item)
    x = min(high, max(low, x - reach + int(dice.random() * (2 * reach + 1))))
    y = min(table.rows - 1, max(0, y - reach + int(dice.random() * (2 * reach + 1))))
    return {} if (x, y, turn) == spot else {item: (x, y, turn)}
