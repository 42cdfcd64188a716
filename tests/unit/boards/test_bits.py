"""Ways over sets of steps against the textbook search with a heap, on random boards; crossings by shapes."""

from __future__ import annotations

import heapq
import random

import numpy as np
import pytest
from board_tasks import amplifiers
from shapely import LineString

from subwright.boards.bits import Steps, Ways, cheapest, classes_of, members
from subwright.boards.crossings import Crossings, uncross
from subwright.boards.make import Demands, _attractions, _items, _table
from subwright.boards.placement import Table, arrange
from subwright.boards.standing import Standing

STEPS = Steps(14, 10)


def cost_at(classes: object, step: int) -> int:
    return next((cost for cost, own in classes if own >> step & 1), 0)  # type: ignore[attr-defined]


def by_heap(ways: Ways, start: int, goal: int) -> int | None:
    """Dijkstra over copper and links along and across; one that has just landed rises only after a step."""
    w = STEPS.width
    best = {("copper", start, False): 0}
    heap = [(0, "copper", start, False)]
    while heap:
        cost, layer, at, landed = heapq.heappop(heap)
        if best[layer, at, landed] < cost:
            continue
        if layer == "copper" and at == goal:
            return cost
        nexts: list[tuple[int, str, int, bool]] = []
        ends = cost_at(ways.ends, at)
        if layer == "copper":
            nexts += [(cost_at(ways.copper, at + d), "copper", at + d, False) for d in (1, -1, w, -w)]
            if ends and not landed:
                nexts += [(ends, "along", at, False), (ends, "across", at, False)]
        else:
            d = 1 if layer == "along" else w
            classes = ways.along if layer == "along" else ways.across
            nexts += [(cost_at(classes, at + s), layer, at + s, False) for s in (d, -d)]
            if ends:
                nexts.append((ends, "copper", at, True))
        for more, new, step, down in nexts:
            key = (new, step, down)
            if more and cost + more < best.get(key, 10**9):
                best[key] = cost + more
                heapq.heappush(heap, (cost + more, new, step, down))
    return None


@pytest.mark.parametrize("seed", range(40))
def test_the_wave_finds_what_the_heap_finds(seed: int) -> None:
    dice = random.Random(seed)
    places = [(x, y) for x in range(STEPS.columns) for y in range(STEPS.rows)]

    def some(share: float) -> int:
        return STEPS.of(place for place in places if dice.random() < share)

    start, goal = (STEPS.index(place) for place in dice.sample(places, 2))
    open_ = some(0.6) | 1 << start | 1 << goal
    passing = classes_of(some(0.9), [(2, some(0.3))])
    ways = Ways(
        copper=classes_of(open_, [(5, some(0.2)), (3, some(0.2))]),
        ends=tuple((cost + 8, own) for cost, own in classes_of(open_ & some(0.8), [(4, some(0.3))])),
        along=passing,
        across=passing,
    )
    found = cheapest(STEPS, ways, 1 << start, 1 << goal)
    expected = by_heap(ways, start, goal)
    assert (None if found is None else found.cost) == expected
    if found is None:
        return
    steps = [step for path in found.paths for step in path]
    assert steps[0] == start
    assert steps[-1] == goal
    paid = sum(cost_at(ways.copper, step) for path in found.paths for step in path[1:])
    for first, last in found.links:
        d = (1 if abs(last - first) < STEPS.width else STEPS.width) * (1 if last > first else -1)
        paid += sum(cost_at(passing, step) for step in range(first + d, last + d, d))
        paid += cost_at(ways.ends, first) + cost_at(ways.ends, last)
    assert paid == found.cost


def test_classes_part_a_set_without_losing_a_step() -> None:
    made = classes_of(0b11111, [(4, 0b00110), (4, 0b01100), (0, 0b1)])
    assert sorted(made) == [(1, 0b10001), (5, 0b01010), (9, 0b00100)]
    assert list(members(0b10110)) == [1, 2, 4]


def table(seed: int) -> tuple[Table, int]:
    wanted = amplifiers(2)
    items = _items(wanted)
    standing = Standing(items, 60, 46, 650, 2000)
    made = _table(wanted, standing)
    assert arrange(made, random.Random(seed))
    return made, len(made.net_pins) - len(_attractions(wanted, items))


@pytest.mark.parametrize("seed", range(3))
def test_crossings_are_those_of_the_lines(seed: int) -> None:
    made, nets = table(seed)
    trees = Crossings(made, nets)
    legs = [LineString([(a, b), (c, d)]) for a, b, c, d in trees._legs.T]
    several = sum(
        legs[i].crosses(legs[k]) for i in range(len(legs)) for k in range(i) if trees._net[i] != trees._net[k]
    )
    touching = sum(
        legs[i].touches(legs[k]) for i in range(len(legs)) for k in range(i) if trees._net[i] != trees._net[k]
    )
    assert several <= trees.total <= several + touching


def test_uncrossing_leaves_less_to_cross_and_every_part_in_its_own_room() -> None:
    made, nets = table(1)
    before = Crossings(made, nets).total
    uncross(made, nets, random.Random(1), 4000, lambda _share: None)
    assert Crossings(made, nets).total < before
    for k, spot in enumerate(made.spots):
        made.lift(k)
        assert made.fits(k, spot)
        made.put(k, spot)
    assert made.cost == pytest.approx([made.length(group) for group in range(len(made.net_pins))])
    assert np.isfinite(made.cost).all()


def test_the_builders_least_width_is_led_between_a_chips_pins_where_it_fits() -> None:
    """Pads of 1.6 mm stand 2.54 mm apart: 0.3 mm with 0.3 mm on each side pass through 0.94 mm."""
    from subwright.boards.make import _Spacing
    from subwright.boards.routing import Router

    wanted = amplifiers()
    items = _items(wanted)
    chip = next(k for k, item in enumerate(items) if item.footprint.name == "DIP-8")
    for width, gap, passes in ((300, 300, True), (650, 500, False)):
        asked = Demands(track_um=width, spacing_um=gap)
        standing = Standing((items[chip],), 40, 40, width, 2000)
        router = Router(standing.steps, wanted.nets, width, _Spacing(wanted, asked), closed=0, closed_ends=0)
        router.stand(standing.pads(0, (15, 25, 0)), 0, 0)
        between = standing.steps.index((15, 24))  # pin 1 at 25, pin 2 at 23
        nets = items[chip].nets[:2]
        assert all(bool(router._shut[net, gap, width // 2] >> between & 1) is not passes for net in nets)
