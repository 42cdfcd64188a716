"""Tracks on one copper side and straight wire links above it, by negotiated congestion.

Every net is led over the grid by the cheapest way, at first over others' copper; what more than one net uses
grows dearer from round to round until each has its own. Source: L. McMurchie, C. Ebeling, PathFinder, 1995,
in the form for a grid. [pathfinder-1995] What stands can then be torn up in part and led anew, and stays so
where that is less handwork.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

from subwright.boards.bits import BORDER, Classes, Steps, Ways, cheapest, classes_of, members
from subwright.boards.footprints import STEP_UM
from subwright.boards.record import Place

__all__ = [
    "LINK_HOLE_UM",
    "LINK_PAD_UM",
    "LINK_WIRE_UM",
    "Copper",
    "PadSpot",
    "Router",
    "Way",
]

LINK_PAD_UM: Final = 1800
LINK_HOLE_UM: Final = 800
LINK_WIRE_UM: Final = 600
_LINK_END: Final = 22  # cost of a link's end in steps of track
_SLEEVE: Final = 2  # cost of a step of link under a body, more than a free one
_END_UNDER_BODY: Final = 20
_WORTH_LINK: Final = 44.0  # of a link in steps of track: less handwork is worth a detour
_WORTH_SLEEVE: Final = 16.0
_FORCED_END: Final = 90  # cost of a link's end where a way without one is looked for
_UNTANGLE: Final = 4
_ROUNDS: Final = 36
_PATIENCE: Final = 9  # rounds without fewer conflicts
_EASE_FROM: Final = 20  # round from which on links cost less, so that what is stuck comes free
_PRESENT_FIRST: Final = 1.0
_PRESENT_GROWTH: Final = 1.4
_PRESENT_MOST: Final = 300.0
_TEAR: Final = 6  # cost of a step over another net's copper that may be torn up
_PARTINGS: Final = 24
_TORN_MORE: Final = 5  # nets torn up beside those that are asked for


@dataclass(frozen=True, kw_only=True, slots=True)
class PadSpot:
    """A pad on the grid: its net, its step, half of what its stadium is longer by in x and y, its radius."""

    net: str
    x: int
    y: int
    half_x_um: float
    half_y_um: float
    radius_um: float


@dataclass(slots=True)
class Copper:
    """What one net has: edges between steps, and links between steps."""

    edges: set[tuple[Place, Place]]
    links: list[tuple[Place, Place]]


@dataclass(frozen=True, slots=True)
class Way:
    """What one net uses: legs of copper, links, the steps that both take, and whether its own links cross."""

    edges: frozenset[tuple[int, int]]
    links: tuple[tuple[int, int], ...]
    marks: int  # steps that no other net may take
    over: int  # steps under its links
    path: int  # steps of its tracks
    tangled: bool


class Router:
    """The copper of one board while it is made and made better.

    Parameters
    ----------
    steps : the grid. nets : all nets with a pad. track_um : width that a track has at least, µm.
    spacing : least gap of two nets' copper, µm; the net "" is copper without one.
    closed, closed_ends : steps where no track may be, and where no link may end.
    """

    def __init__(
        self,
        steps: Steps,
        nets: Sequence[str],
        track_um: int,
        spacing: Callable[[str, str], int],
        *,
        closed: int,
        closed_ends: int,
    ) -> None:
        self.steps = steps
        every = tuple(dict.fromkeys((*nets, "")))
        self._gaps = {(a, b): spacing(a, b) for a in every for b in every}
        self._gaps_of = {a: sorted({self._gaps[a, b] for b in every if b != a}) for a in every}
        self._at: dict[str, tuple[PadSpot, ...]] = {}
        self._pads: dict[str, int] = {}
        self._spots: dict[str, tuple[int, ...]] = {}
        self._holes: dict[str, int] = {}
        self._shut: dict[tuple[str, int, int], int] = {}
        self._open: dict[str, int] = {}
        self._open_ends: dict[str, int] = {}
        self._excused: dict[str, int] = {}
        self._above = self._bodies = self._crowd = 0
        self._closed, self._closed_ends = closed, closed_ends
        self.nets: tuple[str, ...] = ()
        self.ways: dict[str, Way] = {}
        self._track = track_um
        self._least = STEP_UM - track_um
        self._far = _far(
            [(a, b) for k, a in enumerate(nets) for b in nets[k + 1 :] if spacing(a, b) > self._least]
        )
        across = math.hypot(STEP_UM, STEP_UM) - (LINK_PAD_UM + track_um) / 2
        self._plain_ends = across >= self._least
        self._free = self.steps.all
        self._history: dict[int, int] = {}
        self._history_over: dict[int, int] = {}

    # the board as parts stand on it

    def stand(self, pads: Sequence[PadSpot], over: int, bodies: int) -> None:
        """Take parts as they stand now; what is led stays as it is.

        Parameters
        ----------
        pads : of all parts. over : steps over which no link passes. bodies : steps under a body.
        """
        at: dict[str, list[PadSpot]] = {}
        for pad in pads:
            at.setdefault(pad.net, []).append(pad)
        fresh = {net: tuple(spots) for net, spots in at.items()}
        moved = [net for net, spots in fresh.items() if self._at.get(net) != spots]
        self._at = fresh
        for net in moved:
            spots = fresh[net]
            self._pads[net] = self.steps.of((pad.x, pad.y) for pad in spots)
            self._spots[net] = tuple(dict.fromkeys(self.steps.index((pad.x, pad.y)) for pad in spots))
            holes = 0
            for pad in spots:
                holes |= self._round(pad, 2000.0, hole=True)
            self._holes[net] = holes
            for gap in self._gaps_of[net]:
                for half in (self._track // 2, LINK_PAD_UM // 2):
                    made = 0
                    for pad in spots:
                        made |= self._round(pad, gap + half)
                    self._shut[net, gap, half] = made
        self.nets = tuple(net for net in fresh if net and len(self._spots[net]) > 1)
        holes = 0
        for own in self._holes.values():
            holes |= own
        track, end = self._track // 2, LINK_PAD_UM // 2
        for net in self.nets:
            shut = self._closed
            shut_ends = self._closed_ends | holes
            for other in fresh:
                if other != net:
                    gap = self._gap(net, other)
                    shut |= self._shut[other, gap, track]
                    shut_ends |= self._shut[other, gap, end]
            self._open[net] = (self._free & ~shut) | self._pads[net]
            self._open_ends[net] = self._free & ~shut_ends
        self._above = self._free & ~over
        self._bodies = bodies
        if self._far and moved:
            # beside its pads the masks keep strangers away already, and its kin may come as near as the grid
            self._excused = {
                net: self.steps.squared(
                    self.steps.of(
                        (pad.x, pad.y)
                        for other, spots in fresh.items()
                        if other in self._far and self._gap(net, other) <= self._least
                        for pad in spots
                    )
                )
                for net in self._far
            }

    def _gap(self, one: str, other: str) -> int:
        return self._gaps[one, other]

    def _round(self, pad: PadSpot, reach_um: float, *, hole: bool = False) -> int:
        """Steps whose distance from a pad's copper, or from its hole's middle, is below ``reach_um``."""
        shape = (0.0, 0.0, 0.0) if hole else (pad.half_x_um, pad.half_y_um, pad.radius_um)
        template = _template(self.steps.width, reach_um, *shape)
        shift = self.steps.index((pad.x, pad.y)) - BORDER * (self.steps.width + 1)
        return (template << shift) & self._free

    # costs

    def _others(self, net: str) -> tuple[int, int, int]:
        """Steps that one other net takes, that several take, and steps under others' links."""
        one = two = over = 0
        for other, way in self.ways.items():
            if other != net:
                two |= one & way.marks
                one |= way.marks
                over |= way.over
        return one, two, over

    def _costs(self, net: str, present: int, end: int, *, hard: bool) -> Ways:
        """Where a net may go beside the others, and at what price; ``hard`` : not over them at all."""
        steps, far = self.steps, net in self._far
        one, two, over = self._others(net)
        near = steps.squared(one) if far else one
        near_two = steps.squared(two) if far else two
        near_ends = steps.squared(one) if far or not self._plain_ends else steps.crossed(one)
        open_, ends, above = self._open[net], self._open_ends[net] & self._open[net], self._above
        old = self._levels(self._history, present)
        old_over = self._levels(self._history_over, present)
        if hard:
            open_ &= ~near
            ends &= ~near_ends
            above &= ~over
            near = near_two = near_ends = over = 0
        copper = classes_of(open_, [(present, near), (present, near_two), *old])
        bodies = self._bodies
        ended = [(cost + end - 1, own) for cost, own in classes_of(ends, [(_END_UNDER_BODY, bodies)])]
        if near_ends:
            ended = [
                (cost + more - 1, part & own)
                for cost, own in ended
                for more, part in classes_of(own, [(present, near_ends), *old])
            ]
        passing = classes_of(above, [(_SLEEVE, bodies), (present, over), *old_over])
        return Ways(
            copper=copper,
            ends=tuple((cost, own) for cost, own in ended if own),
            along=passing,
            across=passing,
        )

    def _levels(self, counted: Mapping[int, int], present: int) -> list[tuple[int, int]]:
        """Steps by how often they were shared, with what that adds to their price."""
        made = [0, 0, 0]
        for step, count in counted.items():
            made[0 if count < 3 else 1 if count < 7 else 2] |= 1 << step
        dearer = (2 + present // 8, 6 + present // 3, 16 + present)
        return [(more, those) for more, those in zip(dearer, made, strict=True) if those]

    # one net

    def _lead(self, net: str, costs: Ways, first: int = 0) -> Way | None:
        """A net from its pads: always the one nearest to what is joined; ``first`` picks the first."""
        steps = self.steps
        spots = self._spots[net]
        tree = 1 << spots[first % len(spots)]
        left = self._pads[net] & ~tree
        edges: set[tuple[int, int]] = set()
        links: list[tuple[int, int]] = []
        over = closed = 0
        tangled = False
        while left:
            ways = costs if not links else _without(costs, over, closed)
            found = best = cheapest(steps, ways, tree, left)
            barred = 0
            for _ in range(_UNTANGLE):
                tangle = 0 if found is None else _tangle(found.links, steps.width)
                if not tangle:
                    break
                barred |= tangle
                found = cheapest(steps, _without(ways, barred, 0), tree, left)
            if found is None:
                found = best
            if found is None:
                return None
            tangled = tangled or bool(_tangle(found.links, steps.width))
            for link in found.links:
                links.append(link)
                over |= _between(*link, steps.width)
                closed |= steps.crossed(1 << link[0] | 1 << link[1])
            for path in found.paths:
                for step in path:
                    tree |= 1 << step
                edges.update((min(a, b), max(a, b)) for a, b in pairwise(path))
            left &= ~tree
        return self._way(net, edges, links, tangled)

    def _way(
        self, net: str, edges: Iterable[tuple[int, int]], links: Sequence[tuple[int, int]], tangled: bool
    ) -> Way:
        steps, far = self.steps, net in self._far
        path = self._pads[net]
        ends = over = 0
        kept = frozenset(edges)
        for a, b in kept:
            path |= 1 << a | 1 << b
        for one, other in links:
            ends |= 1 << one | 1 << other
            over |= _between(one, other, steps.width)
        path |= ends
        marks = (steps.squared(path) & ~self._excused[net]) | path if far else path
        marks |= steps.squared(ends) if far or not self._plain_ends else steps.crossed(ends)
        return Way(kept, tuple(links), marks, over, path, tangled)

    # all nets

    def lead_all(self, dice: random.Random, tell: Callable[[float], None]) -> bool:
        """Lead every net from nothing; False where some stay in each other's way. ``tell`` : once a round."""
        self.ways = {}
        self._history, self._history_over = {}, {}
        order = sorted(self.nets, key=lambda net: (len(self._spots[net]), net))
        present, end = _PRESENT_FIRST, float(_LINK_END)
        fewest, since = 10**9, 0
        bad: Sequence[str] = order
        for used in range(1, _ROUNDS + 1):
            tell(0.0)
            for net in bad:
                self.ways.pop(net, None)
                way = self._lead(net, self._costs(net, round(present), round(end), hard=False))
                if way is None:
                    return False
                self.ways[net] = way
            bad = self._settle(order)
            if not bad:
                self._history, self._history_over = {}, {}
                return True
            fewest, since = min((fewest, since), (self._crowd, used))
            if used - since > _PATIENCE:
                break
            present = min(present * _PRESENT_GROWTH, _PRESENT_MOST)
            if used >= _EASE_FROM:
                end = max(end * 0.88, 0.3 * _LINK_END)
        self._history, self._history_over = {}, {}
        return self._part(dice)

    def _part(self, dice: random.Random) -> bool:
        """Tear up nets until none is in another's way; False where that leads nowhere."""
        for _ in range(_PARTINGS):
            kept: dict[str, Way] = {}
            one = over = 0
            order = list(self.ways)
            dice.shuffle(order)
            for net in order:
                way = self.ways[net]
                if not (way.tangled or way.marks & one or way.over & over):
                    kept[net] = way
                    one |= way.marks
                    over |= way.over
            loose = [net for net in order if net not in kept]
            whole, self.ways = self.ways, kept
            if self.tear(loose, dice, more=3 * _TORN_MORE):
                return True
            self.ways = whole
        return False

    def _settle(self, order: Sequence[str]) -> Sequence[str]:
        """Nets that share steps with others, or are in their own way; what they share grows dearer."""
        one = two = over = over_two = 0
        for way in self.ways.values():
            two |= one & way.marks
            one |= way.marks
            over_two |= over & way.over
            over |= way.over
        for counted, crowded in ((self._history, two), (self._history_over, over_two)):
            for step in members(crowded):
                counted[step] = counted.get(step, 0) + 1
        self._crowd = two.bit_count() + over_two.bit_count()
        return [
            net
            for net in order
            if self.ways[net].tangled or self.ways[net].marks & two or self.ways[net].over & over_two
        ]

    # better

    def state(self) -> tuple[object, ...]:
        """All that `stand` and `tear` change, to go back to."""
        return (
            dict(self._at),
            dict(self._pads),
            dict(self._spots),
            dict(self._holes),
            dict(self._shut),
            dict(self._open),
            dict(self._open_ends),
            dict(self._excused),
            self._above,
            self._bodies,
            dict(self.ways),
        )

    def go_back(self, state: tuple[object, ...]) -> None:
        """To a state of earlier, which is used up by it."""
        (
            self._at,
            self._pads,
            self._spots,
            self._holes,
            self._shut,
            self._open,
            self._open_ends,
            self._excused,
            self._above,
            self._bodies,
            self.ways,
        ) = state  # type: ignore[assignment]

    @property
    def worth(self) -> float:
        """Handwork of what is led: links, sleeves, and steps of track; less is better."""
        return sum(self._worth(way) for way in self.ways.values())

    def _worth(self, way: Way) -> float:
        sleeved = sum(bool(_between(*link, self.steps.width) & self._bodies) for link in way.links)
        return _WORTH_LINK * len(way.links) + _WORTH_SLEEVE * sleeved + way.path.bit_count()

    def strangers(self) -> list[str]:
        """Nets whose way no longer fits how the parts stand."""
        found = []
        for net, way in self.ways.items():
            ends = 0
            for one, other in way.links:
                ends |= 1 << one | 1 << other
            misfit = way.path & ~self._open[net] or ends & ~self._open_ends[net] or way.over & ~self._above
            if misfit or self._pads[net] & ~way.path:
                found.append(net)
        return found

    def tear(
        self, nets: Iterable[str], dice: random.Random, *, forced: str = "", more: int = _TORN_MORE
    ) -> bool:
        """Tear nets up and lead them anew, with what is in their way; False where that fails.

        Parameters
        ----------
        nets : to tear up. dice : for the order. forced : a net that is first led as if links were very dear.
        more : nets that may be torn up beside those.

        The ways are changed even where it fails: keep a copy of ``ways``.
        """
        waiting = [net for net in dict.fromkeys(nets) if net in self._pads]
        torn = set(waiting)
        most = len(torn) + more
        dice.shuffle(waiting)
        if forced:
            waiting.remove(forced)
            waiting.insert(0, forced)
        for net in waiting:
            self.ways.pop(net, None)
        tries = 0
        while waiting:
            net = waiting.pop(0)
            tries += 1
            begin = int(dice.random() * 64)
            if net == forced and tries == 1:
                way = self._lead(net, self._costs(net, _TEAR, _FORCED_END, hard=False), begin)
            else:
                way = self._lead(net, self._costs(net, 0, _LINK_END, hard=True), begin)
                if way is None and len(torn) < most:
                    way = self._lead(net, self._costs(net, _TEAR, _LINK_END, hard=False), begin)
            if way is None or way.tangled:
                return False
            hit = [other for other, own in self.ways.items() if own.marks & way.marks or own.over & way.over]
            torn.update(hit)
            if len(torn) > most or tries > 3 * most:
                return False
            for other in hit:
                del self.ways[other]
            self.ways[net] = way
            waiting += hit
        return True

    def copper(self) -> Mapping[str, Copper]:
        """What every net has, in places."""
        place = self.steps.place
        return {
            net: Copper(
                edges={(place(a), place(b)) for a, b in self.ways[net].edges},
                links=[(place(a), place(b)) for a, b in self.ways[net].links],
            )
            for net in self.nets
        }


@lru_cache(maxsize=4096)
def _template(width: int, reach_um: float, half_x: float, half_y: float, radius: float) -> int:
    """Steps near a pad at (BORDER, BORDER)."""
    reach = reach_um + radius - 0.5
    made = 0
    for dy in range(-BORDER, BORDER + 1):
        for dx in range(-BORDER, BORDER + 1):
            away_x = max(0.0, abs(dx) * STEP_UM - half_x)
            away_y = max(0.0, abs(dy) * STEP_UM - half_y)
            if math.hypot(away_x, away_y) < reach:
                made |= 1 << ((BORDER + dy) * width + BORDER + dx)
    return made


def _without(ways: Ways, over: int, closed: int) -> Ways:
    """Costs without some steps for links and some for their ends."""

    def less(classes: Classes, those: int) -> Classes:
        return tuple((cost, own & ~those) for cost, own in classes) if those else classes

    passing = less(ways.along, over)
    return Ways(copper=ways.copper, ends=less(ways.ends, closed), along=passing, across=passing)


def _tangle(links: Sequence[tuple[int, int]], width: int) -> int:
    """Steps over which more than one of these links passes."""
    one = two = 0
    for link in links:
        own = _between(*link, width)
        two |= one & own
        one |= own
    return two


@lru_cache(maxsize=65536)
def _between(first: int, last: int, width: int) -> int:
    low, high = min(first, last), max(first, last)
    made = 0
    for step in range(low, high + 1, 1 if high - low < width else width):
        made |= 1 << step
    return made


def _far(pairs: Sequence[tuple[str, str]]) -> frozenset[str]:
    """Nets that keep a step more to all others, so that every one of these pairs has one of them."""
    left = list(pairs)
    far: set[str] = set()
    while left:
        count: dict[str, int] = {}
        for pair in left:
            for net in pair:
                count[net] = count.get(net, 0) + 1
        worst = max(sorted(count), key=lambda net: count[net])
        far.add(worst)
        left = [pair for pair in left if worst not in pair]
    return frozenset(far)
