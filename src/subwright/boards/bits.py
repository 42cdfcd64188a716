"""Sets of a grid's steps as whole numbers, one bit a step: a wave over the whole board is a few shifts.

A search over such sets settles all steps of one cost at once, so that a cheapest way over a board of ten
thousand steps takes a fraction of a millisecond. Source: R. B. Dial, Algorithm 360: shortest-path forest with
topological ordering, 1969 (buckets of whole costs); C. Y. Lee, An algorithm for path connections, 1961 (waves
over a grid). [dial-1969] [lee-1961]
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.boards.record import Place

__all__ = ["BORDER", "Classes", "Found", "Steps", "Ways", "cheapest", "classes_of", "members"]

BORDER: Final = 4
"""Steps round the grid that are never free, so that no shift runs over an edge."""

_MOST: Final = 4000  # cost at which a search gives up

Classes = Sequence[tuple[int, int]]
"""Costs of entering a step, with the set of steps that cost so much; the sets have no step in common."""


@dataclass(frozen=True, slots=True)
class Steps:
    """How a grid's steps are numbered: columns and rows with the border round them."""

    columns: int
    rows: int

    @property
    def width(self) -> int:
        """From a step to the one above it."""
        return self.columns + 2 * BORDER

    @property
    def all(self) -> int:
        """Every step within the border."""
        row = ((1 << self.columns) - 1) << BORDER
        return sum(row << (self.width * (y + BORDER)) for y in range(self.rows))

    def index(self, place: Place) -> int:
        """Number of a place."""
        return (place[1] + BORDER) * self.width + place[0] + BORDER

    def place(self, index: int) -> Place:
        """Place of a number."""
        y, x = divmod(index, self.width)
        return x - BORDER, y - BORDER

    def of(self, places: Iterable[Place]) -> int:
        """The set of some places; those outside the border are left out."""
        made = 0
        for x, y in places:
            if -BORDER <= x < self.columns + BORDER and -BORDER <= y < self.rows + BORDER:
                made |= 1 << self.index((x, y))
        return made

    def crossed(self, steps: int) -> int:
        """A set with the four neighbours of each of its steps."""
        w = self.width
        return steps | steps << 1 | steps >> 1 | steps << w | steps >> w

    def squared(self, steps: int) -> int:
        """A set with the eight neighbours of each of its steps."""
        row = steps | steps << 1 | steps >> 1
        return row | row << self.width | row >> self.width


def members(steps: int) -> Iterator[int]:
    """Numbers of a set's steps, ascending.

    >>> list(members(0b101001))
    [0, 3, 5]
    """
    while steps:
        low = steps & -steps
        yield low.bit_length() - 1
        steps ^= low


def classes_of(steps: int, dearer: Iterable[tuple[int, int]]) -> Classes:
    """Parts a set by cost.

    Parameters
    ----------
    steps : the set; each of its steps costs 1. dearer : by how much more a step of some other set costs; what
    lies in several of those sets pays for each.

    >>> sorted(classes_of(0b1111, [(4, 0b0011), (2, 0b0001)]))
    [(1, 12), (5, 2), (7, 1)]
    """
    made = {1: steps}
    for more, those in dearer:
        if not more or not those:
            continue
        for cost, own in list(made.items()):
            hit = own & those
            if hit:
                made[cost] ^= hit
                made[cost + more] = made.get(cost + more, 0) | hit
    return tuple((cost, own) for cost, own in sorted(made.items()) if own)


@dataclass(frozen=True, kw_only=True, slots=True)
class Ways:
    """Where a net may go, and what it costs.

    Attributes
    ----------
    copper : by cost, steps for tracks. ends : by cost, steps where a link may begin or end.
    along, across : by cost, steps over which a link along x, or along y, may pass.
    """

    copper: Classes
    ends: Classes
    along: Classes
    across: Classes


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """A way from what is joined to the nearest goal: runs of copper with links between them, and its cost."""

    paths: tuple[tuple[int, ...], ...]
    links: tuple[tuple[int, int], ...]
    cost: int


def cheapest(steps: Steps, ways: Ways, starts: int, goals: int) -> Found | None:
    """The cheapest way from any of some steps to any of some others; None where there is none.

    Parameters
    ----------
    steps : the grid. ways : costs. starts, goals : sets.
    """
    wave = _Wave(steps, ways, starts, goals)
    return wave.found()


class _Wave:
    def __init__(self, steps: Steps, ways: Ways, starts: int, goals: int) -> None:
        self._steps, self._ways, self._starts, self._goals = steps, ways, starts, goals
        self._settled: tuple[dict[int, int], dict[int, int], dict[int, int]] = ({}, {}, {})
        self._landed: dict[int, int] = {}
        self._cost = -1

    def found(self) -> Found | None:
        """Run, then go back from the goal."""
        reached = self._run()
        if not reached:
            return None
        return self._traced((reached & -reached).bit_length() - 1)

    def _run(self) -> int:
        """Steps of the goal that are reached first."""
        w, goals = self._steps.width, self._goals
        copper, ends = self._ways.copper, self._ways.ends
        able = 0
        for _, those in ends:
            able |= those
        on, along, across = self._settled
        landed = self._landed
        buckets: list[dict[int, int]] = [{0: self._starts}, {}, {}]
        flat, level, upright = buckets
        done = done_along = done_across = 0
        cost = 0
        while cost < _MOST and (flat or level or upright):
            now = flat.pop(cost, 0)
            now ^= now & done
            if now:
                done |= now
                on[cost] = now
                if now & goals:
                    self._cost = cost
                    return now & goals
                next_ = now << 1 | now >> 1 | now << w | now >> w
                next_ ^= next_ & done
                for more, those in copper:
                    hit = next_ & those
                    if hit:
                        flat[cost + more] = flat.get(cost + more, 0) | hit
                up = now & able
                up ^= up & landed.get(cost, 0)
                if up:
                    for more, those in ends:
                        hit = up & those
                        if hit:
                            level[cost + more] = level.get(cost + more, 0) | hit
                            upright[cost + more] = upright.get(cost + more, 0) | hit
            for bucket, kept, classes, shift in (
                (level, along, self._ways.along, 1),
                (upright, across, self._ways.across, w),
            ):
                now = bucket.pop(cost, 0)
                if not now:
                    continue
                before = done_along if shift == 1 else done_across
                now ^= now & before
                if not now:
                    continue
                before |= now
                if shift == 1:
                    done_along = before
                else:
                    done_across = before
                kept[cost] = now
                next_ = now << shift | now >> shift
                next_ ^= next_ & before
                for more, those in classes:
                    hit = next_ & those
                    if hit:
                        bucket[cost + more] = bucket.get(cost + more, 0) | hit
                down = now & able
                down ^= down & done
                if down:
                    for more, those in ends:
                        hit = down & those
                        if hit:
                            flat[cost + more] = flat.get(cost + more, 0) | hit
                            landed[cost + more] = landed.get(cost + more, 0) | hit
            cost += 1
        return 0

    def _traced(self, goal: int) -> Found:
        on, along, across = self._settled
        w = self._steps.width
        step, cost, layer = goal, self._cost, 0
        paths: list[list[int]] = [[goal]]
        links: list[tuple[int, int]] = []
        landing = -1
        go = 0
        while not (layer == 0 and cost == 0 and self._starts >> step & 1):
            if layer == 0:
                before = cost - _cost_of(self._ways.copper, step)
                wave = on.get(before, 0)
                ways = (go, 1, -1, w, -w) if go else (1, -1, w, -w)
                move = next((d for d in ways if wave >> (step - d) & 1), 0)
                if move:
                    go = move
                    step, cost = step - move, before
                    paths[-1].append(step)
                    continue
                cost -= _cost_of(self._ways.ends, step)
                layer = 1 if along.get(cost, 0) >> step & 1 else 2
                landing, go = step, 0
                continue
            ends = _cost_of(self._ways.ends, step)
            rises = on.get(cost - ends, 0) & ~self._landed.get(cost - ends, 0) if ends else 0
            if step != landing and rises >> step & 1:
                links.append((step, landing))
                paths.append([step])
                cost, layer = cost - ends, 0
                continue
            kept, classes, shift = (
                (along, self._ways.along, 1) if layer == 1 else (across, self._ways.across, w)
            )
            cost -= _cost_of(classes, step)
            step += shift if kept.get(cost, 0) >> (step + shift) & 1 else -shift
        return Found(
            paths=tuple(tuple(reversed(path)) for path in reversed(paths)),
            links=tuple(reversed(links)),
            cost=self._cost,
        )


def _cost_of(classes: Classes, step: int) -> int:
    """Cost of entering a step; 0 where it is in none."""
    return next((cost for cost, those in classes if those >> step & 1), 0)
