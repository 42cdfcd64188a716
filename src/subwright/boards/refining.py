"""Parts moved and turned once the copper stands: what counts is the handwork that the board then takes.

A length of nets can't tell a board with many links from one with few; only the copper itself can. So a part
is moved, its nets and those in its way are led anew, and the move stays where links, sleeves and copper grow
less. The threshold under which a worse board is still taken sinks to nothing. Source of the threshold:
G. Dueck, T. Scheuer, Threshold accepting, 1990. [threshold-1990]
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Final

from subwright.boards.placement import Spot, Table
from subwright.boards.record import Turn
from subwright.boards.routing import PadSpot, Router
from subwright.boards.standing import Standing

__all__ = ["Refining"]

_MOVES: Final = 0.7  # share of tries that move a part; the others lead nets anew
_TURNED: Final = 0.35  # of the moves
_SWAPPED: Final = 0.2
_REACH: Final = 14  # steps, at first
_LONGER: Final = 24.0  # steps by which a move may lengthen its nets and still be tried
_SLACK: Final = 14.0  # steps of track by which a board may become worse, at first
_PULL: Final = 1.0  # of a step between parts that should be close


class Refining:
    """One board's parts and copper while they are made better.

    Parameters
    ----------
    standing : the board. table : parts in their places. router : with all nets led.
    pulls : groups of the table that pull parts together, by number.
    """

    def __init__(self, standing: Standing, table: Table, router: Router, pulls: Sequence[int]) -> None:
        self._standing, self._table, self._router, self._pulls = standing, table, router, pulls
        self._pads: list[tuple[PadSpot, ...]] = []
        self._covers: list[tuple[int, int]] = []
        self._kin: dict[str, list[int]] = {}
        for k, item in enumerate(standing.items):
            spot = self._spot(k)
            self._pads.append(standing.pads(k, spot))
            self._covers.append(standing.covers(k, spot))
            self._kin.setdefault(f"{item.footprint.name} {item.edge}", []).append(k)

    def _spot(self, item: int) -> Spot:
        spot = self._table.at[item]
        assert spot is not None
        return spot

    @property
    def cost(self) -> float:
        """Handwork, and how far apart stands what should be close."""
        return self._router.worth + _PULL * sum(self._table.length(number) for number in self._pulls)

    def run(self, dice: random.Random, tries: int, tell: Callable[[float], None]) -> tuple[Spot, ...]:
        """Move parts and lead nets anew; the places of the best board, whose copper the router then holds.

        Parameters
        ----------
        dice : for all chances. tries : how many. tell : told the share that is done.
        """
        table, router = self._table, self._router
        cost = self.cost
        best, best_state, best_spots = cost, router.state(), self._spots()
        for number in range(tries):
            if number % 50 == 0:
                tell(number / tries)
            left = 1.0 - number / tries
            slack = _SLACK * max(0.0, left - 0.2)
            if dice.random() < _MOVES:
                cost = self._move(dice, left, cost, slack)
            else:
                cost = self._lead(dice, cost, slack)
            if cost < best - 1e-9:
                best, best_state, best_spots = cost, router.state(), self._spots()
        router.go_back(best_state)
        for item in range(len(best_spots)):
            table.lift(item)
        for item, spot in enumerate(best_spots):
            table.put(item, spot)
        return best_spots

    def _spots(self) -> tuple[Spot, ...]:
        return tuple(self._spot(k) for k in range(len(self._standing.items)))

    def _linked(self, dice: random.Random) -> str:
        """A net, one with links more likely."""
        ways = self._router.ways
        linked = [net for net, way in ways.items() for _ in way.links]
        if linked and dice.random() < 0.85:
            return linked[int(dice.random() * len(linked))]
        every = list(ways)
        return every[int(dice.random() * len(every))]

    def _lead(self, dice: random.Random, cost: float, slack: float) -> float:
        net = self._linked(dice)
        forced = net if dice.random() < 0.7 else ""
        kept = dict(self._router.ways)
        if self._router.tear((net,), dice, forced=forced):
            new = self.cost
            if new <= cost + slack:
                return new
        self._router.ways = kept
        return cost

    def _move(self, dice: random.Random, left: float, cost: float, slack: float) -> float:
        table, router, standing = self._table, self._router, self._standing
        net = self._linked(dice)
        able = [k for k, item in enumerate(standing.items) if net in item.nets]
        item = able[int(dice.random() * len(able))] if able else int(dice.random() * len(standing.items))
        new = self._proposed(dice, item, left)
        if not new:
            return cost
        numbers = sorted({number for k in new for number in table.nets_of[k]})
        before = sum(table.length(number) for number in numbers)
        old = {k: table.lift(k) for k in new}
        if not table.put_all(new):
            table.put_all(old)
            return cost
        longer = sum(table.length(number) for number in numbers) - before
        if longer <= _LONGER:
            state = router.state()
            parts = {k: (self._pads[k], self._covers[k]) for k in new}
            for k, spot in new.items():
                self._pads[k], self._covers[k] = standing.pads(k, spot), standing.covers(k, spot)
            self._stand()
            nets = {own for k in new for own in standing.items[k].nets if own in router.ways}
            if router.tear(sorted(nets | set(router.strangers())), dice):
                found = self.cost
                if found <= cost + slack:
                    return found
            router.go_back(state)
            for k, (pads, covers) in parts.items():
                self._pads[k], self._covers[k] = pads, covers
        for k in new:
            table.lift(k)
        table.put_all(old)
        return cost

    def _stand(self) -> None:
        over = bodies = 0
        for own, under in self._covers:
            over |= own
            bodies |= under
        self._router.stand([pad for pads in self._pads for pad in pads], over, bodies)

    def _proposed(self, dice: random.Random, item: int, left: float) -> dict[int, Spot]:
        """New places of one part, or of two of one shape; {} where chance gives none."""
        own = self._standing.items[item]
        x, y, turn = self._spot(item)
        kind = dice.random()
        if kind < _SWAPPED:
            others = self._kin[f"{own.footprint.name} {own.edge}"]
            other = others[int(dice.random() * len(others))]
            return {} if other == item else {item: self._spot(other), other: (x, y, turn)}
        new: Turn = turn
        reach = max(2, round(_REACH * left))
        if kind < _SWAPPED + _TURNED and len(own.turns) > 1:
            if len(own.nets) == 2 and dice.random() < 0.5:
                return {item: self._table.about(item)}
            new = own.turns[int(dice.random() * len(own.turns))]
            reach = 4
        low, high = self._table.columns_for(item)
        span = 2 * reach + 1
        x = min(high, max(low, x - reach + int(dice.random() * span)))
        y = min(self._table.rows - 1, max(0, y - reach + int(dice.random() * span)))
        return {} if (x, y, new) == self._spot(item) else {item: (x, y, new)}
