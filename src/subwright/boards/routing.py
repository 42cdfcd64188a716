"""Tracks on one copper side and straight wire links above it, by negotiated congestion.

Every net is led over the grid by the cheapest way, at first over others' copper; what more than one net uses
grows dearer from round to round until each has its own. Source: L. McMurchie, C. Ebeling, PathFinder, 1995,
in the form for a grid. [pathfinder-1995]
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.boards.footprints import STEP_UM
from subwright.boards.record import Place

__all__ = ["LINK_HOLE_UM", "LINK_PAD_UM", "LINK_WIRE_UM", "Copper", "Obstacles", "PadSpot", "Routed", "route"]

LINK_PAD_UM: Final = 1800
LINK_HOLE_UM: Final = 800
LINK_WIRE_UM: Final = 600
_LINK_STEP: Final = 0.8  # of a step of link
_UNDER_BODY: Final = 3.0  # of a step of link under a body
_END_UNDER_BODY: Final = 30.0
_LINK_END_LAST: Final = 30.0
_REFINEMENTS: Final = 4
_UNTANGLE: Final = 4
_HARD: Final = 1000.0
_EASE_FROM: Final = 28  # round from which on links cost less, so that what is stuck comes free
_EASE: Final = 0.88
_EASE_LEAST: Final = 0.25
_PATIENCE: Final = 15  # rounds without fewer conflicts
_ROUNDS: Final = 60
_PRESENT_FIRST: Final = 0.6
_PRESENT_GROWTH: Final = 1.35
_PRESENT_MOST: Final = 60.0
_HISTORY: Final = 0.6
_INFINITE: Final = math.inf


@dataclass(frozen=True, kw_only=True, slots=True)
class PadSpot:
    """A pad on the grid: its net, its step, half of what its stadium is longer by in x and y, its radius."""

    net: str
    x: int
    y: int
    half_x_um: float
    half_y_um: float
    radius_um: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Obstacles:
    """The board before routing.

    Attributes
    ----------
    columns, rows : steps. pads : all of them. closed : steps without copper.
    closed_link : steps where no link ends. over : steps that no link passes over.
    bodies : steps under a body, which a link passes in a sleeve only.
    """

    columns: int
    rows: int
    pads: tuple[PadSpot, ...]
    closed: frozenset[Place]
    closed_link: frozenset[Place]
    over: frozenset[Place]
    bodies: frozenset[Place]


@dataclass(slots=True)
class Copper:
    """What one net has: edges between steps, and links between steps."""

    edges: set[tuple[Place, Place]]
    links: list[tuple[Place, Place]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Routed:
    """Result: copper by net, rounds, and nets that still share a step with another ("" : all found)."""

    copper: Mapping[str, Copper]
    rounds: int
    trouble: tuple[str, ...]


class _Way:
    """What one net uses at present."""

    __slots__ = ("copper", "links", "over", "paths", "tangled")

    def __init__(self) -> None:
        self.paths: list[list[int]] = []
        self.links: list[tuple[int, int]] = []
        self.copper: set[int] = set()  # stamped steps
        self.over: set[int] = set()  # steps under its links
        self.tangled = False  # whether links of its own cross


class _Grid:
    def __init__(
        self,
        obstacles: Obstacles,
        nets: Sequence[str],
        track_um: int,
        spacing: Callable[[str, str], int],
        link_end: float,
    ) -> None:
        self.o = obstacles
        self.width = obstacles.columns + 2
        self.size = self.width * (obstacles.rows + 2)
        self.track_um = track_um
        self.spacing = spacing
        least = STEP_UM - track_um
        self.far = _far([(a, b) for k, a in enumerate(nets) for b in nets[k + 1 :] if spacing(a, b) > least])
        w = self.width
        self.plus = (0, 1, -1, w, -w)
        self.square = (0, 1, -1, w, -w, w + 1, w - 1, -w + 1, -w - 1)
        across = math.hypot(STEP_UM, STEP_UM) - (LINK_PAD_UM + track_um) / 2
        self.ends = self.plus if across >= least else self.square
        border = bytearray(self.size)
        for x in range(w):
            border[x] = border[self.size - w + x] = 1
        for y in range(obstacles.rows + 2):
            border[y * w] = border[y * w + w - 1] = 1
        self.border = border
        self.shut = bytearray(border)
        for place in obstacles.closed:
            self.shut[self.index(place)] = 1
        self.shut_link = bytearray(border)
        for place in obstacles.closed_link:
            self.shut_link[self.index(place)] = 1
        for pad in obstacles.pads:
            for place in self._near(pad, 2000.0, hole=True):
                self.shut_link[self.index(place)] = 1
        self.above = bytearray(border)
        for place in obstacles.over:
            self.above[self.index(place)] = 1
        self.body = bytearray(self.size)
        for place in obstacles.bodies:
            self.body[self.index(place)] = 1
        self.link_end = link_end  # cost of a link's end in steps of track
        self.ease = 1.0  # share of what a body above costs links
        self._cache: dict[tuple[int, int, int], list[int]] = {}
        self.occupied = [0] * self.size
        self.occupied_over = [0] * self.size
        self.history = [0.0] * self.size
        self.history_over = [0.0] * self.size
        # beside its pads the masks keep strangers away already, and its kin may come as near as the grid
        self.excused: dict[str, frozenset[int]] = {
            net: frozenset(
                self.index((pad.x, pad.y)) + offset
                for pad in obstacles.pads
                if pad.net in self.far and spacing(net, pad.net) <= least
                for offset in self.square
            )
            for net in self.far
        }
        self.masks = {net: self._masks(net) for net in nets}

    def index(self, place: Place) -> int:
        return (place[1] + 1) * self.width + place[0] + 1

    def place(self, index: int) -> Place:
        y, x = divmod(index, self.width)
        return x - 1, y - 1

    def _near(self, pad: PadSpot, reach_um: float, *, hole: bool = False) -> Iterable[Place]:
        """Steps whose distance from a pad's copper, or from its hole's middle, is below ``reach_um``."""
        half_x, half_y, radius = (0.0, 0.0, 0.0) if hole else (pad.half_x_um, pad.half_y_um, pad.radius_um)
        reach = reach_um + radius - 0.5
        steps = int((reach + max(half_x, half_y)) // STEP_UM) + 1
        for dy in range(-steps, steps + 1):
            for dx in range(-steps, steps + 1):
                away_x = max(0.0, abs(dx) * STEP_UM - half_x)
                away_y = max(0.0, abs(dy) * STEP_UM - half_y)
                if math.hypot(away_x, away_y) < reach:
                    x, y = pad.x + dx, pad.y + dy
                    if 0 <= x < self.o.columns and 0 <= y < self.o.rows:
                        yield x, y

    def _masks(self, net: str) -> tuple[bytearray, bytearray]:
        """Steps closed to a net's tracks, and to its links' ends."""
        shut, link = bytearray(self.shut), bytearray(self.shut_link)
        for number, pad in enumerate(self.o.pads):
            if pad.net == net:
                continue
            gap = self.spacing(net, pad.net)
            for mask, half in ((shut, self.track_um // 2), (link, LINK_PAD_UM // 2)):
                key = (number, gap, half)
                if key not in self._cache:
                    self._cache[key] = [self.index(p) for p in self._near(pad, gap + half)]
                for step in self._cache[key]:
                    mask[step] = 1
        return shut, link

    # a net's marks

    def add(self, net: str, way: _Way) -> None:
        track = self.square if net in self.far else (0,)
        ends = {end for link in way.links for end in link}
        for path in way.paths:
            for step in path:
                way.copper.update(step + offset for offset in track)
        if net in self.far:
            way.copper -= self.excused[net]
            for path in way.paths:
                way.copper.update(path)
        around = self.square if net in self.far else self.ends
        for end in ends:
            way.copper.update(end + offset for offset in around)
        for first, last in way.links:
            way.over.update(_between(first, last, self.width))
        for step in way.copper:
            self.occupied[step] += 1
        for step in way.over:
            self.occupied_over[step] += 1

    def drop(self, way: _Way) -> None:
        for step in way.copper:
            self.occupied[step] -= 1
        for step in way.over:
            self.occupied_over[step] -= 1


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


def _between(first: int, last: int, width: int) -> range:
    low, high = min(first, last), max(first, last)
    return range(low, high + 1, 1 if high - low < width else width)


def route(
    obstacles: Obstacles,
    track_um: int,
    spacing: Callable[[str, str], int],
    *,
    link_end: float,
    rounds: int = _ROUNDS,
) -> Routed:
    """Lead every net that has two pads or more.

    Parameters
    ----------
    obstacles : the board. track_um : width of every track, µm. spacing : least gap of two nets' copper, µm;
    the net "" is copper without one. link_end : cost of a link's end, in steps of track.
    rounds : after which it gives up.

    Returns
    -------
    Copper by net, with the nets that are in trouble; a board is good only when there are none.
    """
    pads: dict[str, list[Place]] = {}
    for pad in obstacles.pads:
        if pad.net:
            pads.setdefault(pad.net, []).append((pad.x, pad.y))
    nets = [net for net, spots in pads.items() if len(set(spots)) > 1]
    grid = _Grid(obstacles, nets, track_um, spacing, link_end)
    order = sorted(nets, key=lambda net: (_extent(pads[net]), net))
    ways: dict[str, _Way] = {}
    present = _PRESENT_FIRST
    used = since = 0
    fewest = grid.size
    bad: list[str] = order
    for used in range(1, rounds + 1):
        for net in bad:
            if net in ways:
                grid.drop(ways[net])
                del ways[net]
            way = _lead(grid, net, pads[net], present)
            if way is None:
                return Routed(copper={}, rounds=used, trouble=(net,))
            grid.add(net, way)
            ways[net] = way
        crowded = [k for k, count in enumerate(grid.occupied) if count > 1]
        crowded_over = [k for k, count in enumerate(grid.occupied_over) if count > 1]
        tangled = {net for net in order if ways[net].tangled}
        if not crowded and not crowded_over and not tangled:
            bad = []
            break
        fewest, since = min((fewest, since), (len(crowded) + len(crowded_over) + len(tangled), used))
        if used - since > _PATIENCE:
            break
        for step in crowded:
            grid.history[step] += _HISTORY
        for step in crowded_over:
            grid.history_over[step] += _HISTORY
        hot, hot_over = set(crowded), set(crowded_over)
        bad = [
            net
            for net in order
            if net in tangled
            or not hot.isdisjoint(ways[net].copper)
            or not hot_over.isdisjoint(ways[net].over)
        ]
        present = min(present * _PRESENT_GROWTH, _PRESENT_MOST)
        if used >= _EASE_FROM:
            grid.ease = max(_EASE_LEAST, grid.ease * _EASE)
            grid.link_end = link_end * grid.ease
    if not bad:
        _refine(grid, order, pads, ways)
    copper = {net: _finished(grid, ways[net]) for net in nets}
    return Routed(copper=copper, rounds=used, trouble=tuple(bad))


def _refine(
    grid: _Grid, order: Sequence[str], pads: Mapping[str, Sequence[Place]], ways: dict[str, _Way]
) -> None:
    """Lead each net once more while all others stay, with dearer links: each can only become better."""
    grid.history = [0.0] * grid.size
    grid.history_over = [0.0] * grid.size
    grid.link_end, grid.ease = _LINK_END_LAST, 1.0
    for turn in range(_REFINEMENTS):
        better = False
        for net in order if turn % 2 else reversed(order):
            old = ways[net]
            if turn and not old.links:
                continue
            grid.drop(old)
            new = _lead(grid, net, pads[net], _HARD)
            kept = old
            if new is not None and not new.tangled and _free(grid, net, new) and _worth(new) < _worth(old):
                kept, better = new, True
            kept.copper.clear()
            kept.over.clear()
            grid.add(net, kept)
            ways[net] = kept
        if not better:
            break


def _worth(way: _Way) -> float:
    return 2.0 * _LINK_END_LAST * len(way.links) + sum(len(path) for path in way.paths)


def _free(grid: _Grid, net: str, way: _Way) -> bool:
    """Whether a way shares no step with another net's."""
    grid.add(net, way)
    free = all(grid.occupied[step] < 2 for step in way.copper)
    free = free and all(grid.occupied_over[step] < 2 for step in way.over)
    grid.drop(way)
    return free


def _extent(spots: Sequence[Place]) -> int:
    xs = [x for x, _ in spots]
    ys = [y for _, y in spots]
    return max(xs) - min(xs) + max(ys) - min(ys)


def _finished(grid: _Grid, way: _Way) -> Copper:
    edges = {
        (min(a, b), max(a, b))
        for path in way.paths
        for a, b in zip(map(grid.place, path), map(grid.place, path[1:]), strict=False)
    }
    return Copper(edges=edges, links=[(grid.place(a), grid.place(b)) for a, b in way.links])


def _lead(grid: _Grid, net: str, spots: Sequence[Place], present: float) -> _Way | None:
    """One net from its pads: each pad that is nearest to what is joined already, in turn."""
    way = _Way()
    left = list(dict.fromkeys(spots))
    start = left.pop(0)
    tree = [grid.index(start)]
    places = [start]
    while left:
        target = min(left, key=lambda s: (min(abs(s[0] - p[0]) + abs(s[1] - p[1]) for p in places), s))
        left.remove(target)
        goal = grid.index(target)
        if goal in tree:
            continue
        found = first = _search(grid, net, tree, goal, present, way, frozenset())
        barred: frozenset[int] = frozenset()
        for _ in range(_UNTANGLE):
            tangle = () if found is None else _tangled(found[1], grid.width)
            if not tangle:
                break
            barred |= frozenset(tangle)
            found = _search(grid, net, tree, goal, present, way, barred)
            if found is None:
                found = first
                break
        if found is None:
            return None
        paths, links = found
        way.tangled = way.tangled or bool(_tangled(links, grid.width))
        way.paths += paths
        way.links += links
        for path in paths:
            tree += [step for step in path if step not in tree]
            places += [grid.place(path[0]), grid.place(path[-1])]
    return way


def _tangled(links: Sequence[tuple[int, int]], width: int) -> tuple[int, ...]:
    """Steps over which more than one of these links passes."""
    over: dict[int, int] = {}
    for first, last in links:
        for step in _between(first, last, width):
            over[step] = over.get(step, 0) + 1
    return tuple(step for step, count in over.items() if count > 1)


def _search(
    grid: _Grid,
    net: str,
    tree: Sequence[int],
    goal: int,
    present: float,
    way: _Way,
    barred: frozenset[int],
) -> tuple[list[list[int]], list[tuple[int, int]]] | None:
    """Cheapest way from the tree to a pad: A* over copper (0), links along x (1) and links along y (2)."""
    size, width = grid.size, grid.width
    shut, shut_link = grid.masks[net]
    occupied, history = grid.occupied, grid.history
    occupied_over, history_over = grid.occupied_over, grid.history_over
    above, body, link_end = grid.above, grid.body, grid.link_end
    end_under, under = _END_UNDER_BODY * grid.ease, _UNDER_BODY * grid.ease
    own_over = barred | {step for link in way.links for step in _between(*link, width)}
    own_ends = {end for link in way.links for end in link}
    closed_ends = {end + offset for end in own_ends for offset in grid.plus}
    far = net in grid.far
    square, around = grid.square, (grid.square if far else grid.ends)
    goal_y, goal_x = divmod(goal, width)
    best = [_INFINITE] * (3 * size)
    came = [-1] * (3 * size)
    heap: list[tuple[float, float, int]] = []
    push, pop = heapq.heappush, heapq.heappop
    for step in tree:
        best[step] = 0.0
        y, x = divmod(step, width)
        push(heap, ((abs(x - goal_x) + abs(y - goal_y)) * 0.8, 0.0, step))
    neighbours = (1, -1, width, -width)
    while heap:
        _, cost, state = pop(heap)
        if cost > best[state]:
            continue
        if state == goal:
            break
        layer, step = divmod(state, size)
        if layer == 0:
            for offset in neighbours:
                new = step + offset
                if shut[new] and new != goal:
                    continue
                if far:
                    crowd = 0
                    for o in square:
                        crowd += occupied[new + o] if 0 <= new + o < size else 0
                else:
                    crowd = occupied[new]
                total = cost + (1.0 + history[new]) * (1.0 + present * crowd)
                if total < best[new]:
                    best[new] = total
                    came[new] = state
                    y, x = divmod(new, width)
                    push(heap, (total + (abs(x - goal_x) + abs(y - goal_y)) * 0.8, total, new))
            if shut_link[step] or step in closed_ends or came[state] >= size:
                continue
            crowd = 0
            for o in around:
                crowd += occupied[step + o]
            extra = link_end * (1.0 + history[step]) + present * crowd + end_under * body[step]
            for new in (step + size, step + 2 * size):
                total = cost + extra
                if total < best[new]:
                    best[new] = total
                    came[new] = state
                    y, x = divmod(step, width)
                    push(heap, (total + (abs(x - goal_x) + abs(y - goal_y)) * 0.8, total, new))
        else:
            stride = 1 if layer == 1 else width
            base = layer * size
            for offset in (stride, -stride):
                new = step + offset
                if above[new] or new in own_over:
                    continue
                total = cost + (_LINK_STEP + history_over[new] + under * body[new]) * (
                    1.0 + present * occupied_over[new]
                )
                if total < best[base + new]:
                    best[base + new] = total
                    came[base + new] = state
                    y, x = divmod(new, width)
                    push(heap, (total + (abs(x - goal_x) + abs(y - goal_y)) * 0.8, total, base + new))
            if shut_link[step] or step in closed_ends or came[state] < size:
                continue
            crowd = 0
            for o in around:
                crowd += occupied[step + o]
            total = cost + link_end * (1.0 + history[step]) + present * crowd + end_under * body[step]
            if total < best[step]:
                best[step] = total
                came[step] = state
                y, x = divmod(step, width)
                push(heap, (total + (abs(x - goal_x) + abs(y - goal_y)) * 0.8, total, step))
    if best[goal] == _INFINITE:
        return None
    return _traced(came, goal, size)


def _traced(came: Sequence[int], goal: int, size: int) -> tuple[list[list[int]], list[tuple[int, int]]]:
    """Runs of copper and links between them, from the tree to the goal."""
    states = [goal]
    while came[states[-1]] >= 0:
        states.append(came[states[-1]])
    states.reverse()
    paths: list[list[int]] = [[]]
    links: list[tuple[int, int]] = []
    begin = -1
    for state in states:
        layer, step = divmod(state, size)
        if layer:
            if begin < 0:
                begin = step
        else:
            if begin >= 0:
                links.append((begin, step))
                paths.append([])
                begin = -1
            paths[-1].append(step)
    return [path for path in paths if path], links
