"""A block's board from what it must carry: size, places, tracks, links."""

from __future__ import annotations

import math
import random
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.standards import board_spacing
from subwright.boards.check import check_board
from subwright.boards.crossings import uncross
from subwright.boards.finishing import Solid, runs_of, widened
from subwright.boards.footprints import STEP_UM, Land, placed, single_wire
from subwright.boards.placement import Attraction, Item, Spot, Table, arrange, cells_of
from subwright.boards.record import Board, Hole, Link, Place, Placed, Rules, Track, WirePad
from subwright.boards.refining import Refining
from subwright.boards.routing import LINK_HOLE_UM, LINK_PAD_UM, LINK_WIRE_UM, Copper, PadSpot, Router
from subwright.boards.standing import (
    MARGIN_UM,
    SCREW_AT_UM,
    SCREW_FREE_UM,
    SCREW_UM,
    Standing,
    place_um,
    size_um,
)
from subwright.boards.wanted import Ground, Wanted, WantedWire, voltage_between
from subwright.physics.board import track_width_m
from subwright.stages.board import BoardSpec

__all__ = ["Demands", "demands_of", "make_board", "needed_um"]

Progress = Callable[[str, float], None]

_PULSED: Final = re.compile(r"^(GATE|NODE|SW )")
"""Names of wires that carry edges: to gates and from switched nodes."""

_BESIDE: Final = (
    # roles of capacitors that stand beside a pin, and how much they are drawn there
    (re.compile(r"decoupling|ceramic|bypass"), 6.0),
    (re.compile(r"filter|timing|noise|bootstrap|reference capacitor"), 2.0),
)
_GATE_PULL: Final = 2.5

_ASPECT: Final = 1.35
_FILL_FIRST: Final = 0.55
_FILL_MANY: Final = 0.43  # from _MANY_PARTS on
_MANY_PARTS: Final = 50
_GROWTH: Final = 1.1  # of the area at each failure
_SEEDS: Final = 2
_SEEDS_SMALL: Final = 4
_SMALL: Final = 22  # parts and wires up to which so many arrangements are compared
_FEW_PARTS: Final = 70  # parts and wires up to which some arrangements are compared
_UNCROSSED_EACH: Final = 350  # times that the uncrossing tries for each part
_TRIES_EACH: Final = 60  # times that the refining tries for each part
_TRIES: Final = 24
_MANY: Final = 6  # pins from which on a net counts as a supply
_LEAST: Final = 14  # steps


@dataclass(frozen=True, kw_only=True, slots=True)
class Demands:
    """What the builder asks of every board.

    Attributes
    ----------
    track_um, spacing_um, edge_um, copper_um : least width and gaps, and the foil.
    signal_um, supply_um : widths where there is room. max_width_um, max_height_um : of a board.
    seed : of the annealing. rise_k : that a track's current may heat it by, K.
    """

    track_um: int = 650
    spacing_um: int = 500
    edge_um: int = 2000
    copper_um: int = 35
    signal_um: int = 1000
    supply_um: int = 1600
    max_width_um: int = 200_000
    max_height_um: int = 150_000
    seed: int = 1
    rise_k: float = 20.0


def demands_of(spec: BoardSpec, copper_thickness_m: float, rise_k: float = 20.0) -> Demands:
    """A build file's wishes in whole micrometres.

    Parameters
    ----------
    spec : its table ``board``. copper_thickness_m : of the foil, m. rise_k : of tracks, K.
    """

    def um(value_m: float) -> int:
        return round(value_m * 1e6)

    return Demands(
        track_um=um(spec.track_m),
        spacing_um=um(spec.spacing_m),
        edge_um=um(spec.edge_m),
        copper_um=um(copper_thickness_m),
        signal_um=um(spec.signal_width_m),
        supply_um=um(spec.supply_width_m),
        max_width_um=um(spec.max_width_m),
        max_height_um=um(spec.max_height_m),
        seed=spec.arrangement,
        rise_k=rise_k,
    )


def make_board(wanted: Wanted, demands: Demands | None = None, progress: Progress | None = None) -> Board:
    """Place and route one block.

    Parameters
    ----------
    wanted : parts, wires and voltages. demands : of the builder. progress : told what is being done.

    Returns
    -------
    A board on which every net is one piece; `boards.check` holds it to that by another route.

    Raises
    ------
    SubwrightError : it doesn't fit the largest board that was asked for.
    """
    asked = demands or Demands()
    tell = progress or (lambda _what, _share: None)
    spacing = _Spacing(wanted, asked)
    items = _items(wanted)
    area = sum(_area(item) for item in items)
    columns, rows = _first_size(area, items)
    most = _steps_in(asked.max_width_um), _steps_in(asked.max_height_um)
    tried = (0, 0)
    for attempt in range(_TRIES):
        columns, rows = min(columns, most[0]), min(rows, most[1])  # in a small tray they stand closer
        if (columns, rows) == tried or min(columns, rows) < 2:
            break
        tried = columns, rows
        width, height = size_um(columns, rows)
        words = f"{wanted.title}: {width / 1000:.0f} × {height / 1000:.0f} mm"
        tell(words, attempt / _TRIES)
        share = attempt / _TRIES

        def refined(done: float, share: float = share, words: str = words) -> None:
            tell(words, share + (1.0 - share) * done)

        best = _found(wanted, asked, spacing, items, columns, rows, refined)
        if best is not None:
            return best
        columns, rows = _grown(columns, rows)
    raise SubwrightError(
        message=f"The board '{wanted.title}' doesn't fit into the size that is allowed.",
        quantity="board.max_width, board.max_height",
        value=f"{asked.max_width_um / 1000:.0f} mm × {asked.max_height_um / 1000:.0f} mm",
        remedy="Allow a larger board.",
    )


class _Spacing:
    """Least gap of two nets: the builder's, and the standard's for the voltage between them."""

    def __init__(self, wanted: Wanted, demands: Demands) -> None:
        self._wanted, self._least = wanted, demands.spacing_um
        self._known: dict[tuple[str, str], int] = {}
        nets = wanted.nets
        pairs = sorted(self(a, b) for k, a in enumerate(nets) for b in nets[k + 1 :])
        # the grid's own gap serves most pairs; the few that need more keep a step further away
        steps = sorted({gap for gap in pairs if gap <= STEP_UM - demands.track_um})
        self.usual = steps[-1] if steps else demands.spacing_um
        if self.usual > STEP_UM - demands.track_um:
            raise SubwrightError(
                message="Track and spacing are wider than the grid.",
                quantity="board.track + board.spacing",
                value=f"{(demands.track_um + demands.spacing_um) / 1000:g} mm",
                limit=f"{STEP_UM / 1000:g} mm",
                remedy="Lower board.track or board.spacing.",
            )

    def __call__(self, first: str, second: str) -> int:
        key = (first, second) if first < second else (second, first)
        if key not in self._known:
            volts = voltage_between(self._wanted, *key) if first and second else 0.0
            standard = board_spacing(volts, "external bare").spacing_m
            self._known[key] = max(self._least, round(standard * 1e6))
        return self._known[key]


def _items(wanted: Wanted) -> tuple[Item, ...]:
    items = [
        Item(
            name=part.case,
            footprint=part.footprint,
            nets=tuple(_net(land, part.nets) for land in part.footprint.lands),
        )
        for part in wanted.parts
    ]
    for wire, side in _sides(wanted.wires):
        items.append(_wire(wire, side, side))
    items += [_wire(wire, "left", "") for wire in wanted.wires if not wire.leads_to]
    return tuple(items)


def _sides(wires: Sequence[WantedWire]) -> Iterator[tuple[WantedWire, str]]:
    """Edges of wires that leave: those to gates and switched nodes together, and those to one place."""
    leaving: dict[str, list[WantedWire]] = {}
    for wire in wires:
        if wire.leads_to:
            pulsed = _PULSED.search(wire.name) is not None
            leaving.setdefault("" if pulsed else wire.leads_to, []).append(wire)
    count = sum(map(len, leaving.values()))
    right: list[WantedWire] = leaving.pop("", [])
    left: list[WantedWire] = []
    for group in sorted(leaving.values(), key=len, reverse=True):
        for wire in group:
            (left if len(left) < count / 2 else right).append(wire)
    for side, those in (("left", left), ("right", right)):
        for wire in those:
            yield wire, side


def _wire(wire: WantedWire, side: str, edge: str) -> Item:
    shape = single_wire(len(wire.name), "right" if side == "right" else "left")
    return Item(name=wire.name, footprint=shape, nets=(wire.net,), edge=edge, turns=(0,))


def _net(land: Land, nets: Mapping[str, str]) -> str:
    return next((nets[pin] for pin in land.pins if pin in nets), "")


def _area(item: Item) -> int:
    left, bottom, right, top = cells_of(item.footprint, 0)
    return (right - left + 1) * (top - bottom + 1)


def _first_size(area: int, items: Sequence[Item]) -> tuple[int, int]:
    room = area / (_FILL_MANY if len(items) > _MANY_PARTS else _FILL_FIRST) + 4 * 36
    columns = max(_LEAST, round(math.sqrt(room * _ASPECT)))
    at_edge = max(sum(item.edge == side for item in items) for side in ("left", "right"))
    rows = max(_LEAST, round(room / columns), 3 * at_edge + 14)
    return max(columns, round(room / rows)), rows


def _steps_in(size: int) -> int:
    """Steps that fit into a width or height in µm."""
    return (size - 2 * MARGIN_UM) // STEP_UM + 1


def _grown(columns: int, rows: int) -> tuple[int, int]:
    more = math.sqrt(_GROWTH)
    return max(columns + 1, round(columns * more)), max(rows + 1, round(rows * more))


def _found(
    wanted: Wanted,
    demands: Demands,
    spacing: _Spacing,
    items: Sequence[Item],
    columns: int,
    rows: int,
    tell: Callable[[float], None],
) -> Board | None:
    """The best board of one size; None where no arrangement comes out."""
    track_um = demands.track_um
    standing = Standing(tuple(items), columns, rows, track_um, demands.edge_um)
    pulled = len(_attractions(wanted, items))
    led: list[tuple[float, Table, Router]] = []
    seeds = _SEEDS_SMALL if len(items) <= _SMALL else _SEEDS if len(items) <= _FEW_PARTS else 1
    for number in range(seeds):
        tell(0.0)
        table = _table(wanted, standing)
        dice = random.Random(demands.seed + 10 * number)
        if not arrange(table, dice):
            continue
        uncross(table, len(table.net_pins) - pulled, dice, _UNCROSSED_EACH * len(items), tell)
        router = Router(
            standing.steps,
            wanted.nets,
            track_um,
            spacing,
            closed=standing.closed,
            closed_ends=standing.closed_ends,
        )
        spots = table.spots
        router.stand(standing.all_pads(spots), *standing.all_covers(spots))
        if router.lead_all(random.Random(demands.seed), tell):
            led.append((router.worth, table, router))
    if not led:
        return None
    _, table, router = min(led, key=lambda one: one[0])
    pulls = range(len(table.net_pins) - pulled, len(table.net_pins))
    tries = _TRIES_EACH * len(items)
    spots = Refining(standing, table, router, pulls).run(random.Random(demands.seed), tries, tell)
    board = _finish(wanted, demands, spacing, standing, spots, router.copper())
    return None if check_board(board, wanted).problems else board


def _table(wanted: Wanted, standing: Standing) -> Table:
    items = standing.items
    bits = [0] * standing.rows
    for x, y in standing.places_near_screws(SCREW_FREE_UM + 1200):
        bits[y] |= 1 << x
    return Table(items, standing.columns, standing.rows, bits, _weights(items), _attractions(wanted, items))


def _weights(items: Sequence[Item]) -> Mapping[str, float]:
    """Nets with many pins pull less: they are led from pin to pin, not to one place. Gate wires pull more."""
    count: dict[str, int] = {}
    for item in items:
        for net in item.nets:
            if net:
                count[net] = count.get(net, 0) + 1
    made = {net: 1.0 if pins < _MANY else 0.5 if net != Ground else 0.3 for net, pins in count.items()}
    for item in items:
        if item.footprint.name == "wire" and item.edge and _PULSED.search(item.name):
            made[item.nets[0]] = _GATE_PULL
    return made


def _attractions(wanted: Wanted, items: Sequence[Item]) -> tuple[Attraction, ...]:
    """A capacitor that decouples or filters stays beside a pin of a chip on its net, one after the other."""
    chips = [k for k, item in enumerate(items) if item.footprint.name.startswith("DIP")]
    given: dict[tuple[int, str], int] = {}
    made: list[Attraction] = []
    for k, part in enumerate(wanted.parts):
        pull = next((pull for pattern, pull in _BESIDE if pattern.search(part.role)), 0.0)
        if not pull or not part.case.startswith("C"):
            continue
        own = [net for net in items[k].nets if net != Ground]
        able = [(chip, net) for net in own for chip in chips if net in items[chip].nets]
        if not able:
            continue
        chip, net = min(able, key=lambda one: (given.get(one, 0), one))
        given[chip, net] = given.get((chip, net), 0) + 1
        pair = (k, items[k].nets.index(net)), (chip, items[chip].nets.index(net))
        made.append(Attraction(first=pair[0], second=pair[1], weight=pull))
    return tuple(made)


def _finish(
    wanted: Wanted,
    demands: Demands,
    spacing: _Spacing,
    standing: Standing,
    spots: Sequence[Spot],
    found: Mapping[str, Copper],
) -> Board:
    width, height = size_um(standing.columns, standing.rows)
    pads = standing.all_pads(spots)
    _, bodies = standing.all_covers(spots)
    at_step = standing.steps.index
    placed_parts: list[Placed] = []
    wires: list[WirePad] = []
    wanted_wires = {(wire.name, wire.net): wire for wire in wanted.wires}
    for k, (item, (x, y, turn)) in enumerate(zip(standing.items, spots, strict=True)):
        at = place_um((x, y))
        if k < len(wanted.parts):
            part = wanted.parts[k]
            placed_parts.append(placed(part.footprint, part.case, part.label, dict(part.nets), *at, turn))
        else:
            land = item.footprint.lands[0]
            wire = wanted_wires[item.name, item.nets[0]]
            wires.append(
                WirePad(
                    name=wire.name,
                    net=wire.net,
                    x_um=at[0],
                    y_um=at[1],
                    hole_um=land.hole_um,
                    pad_um=land.across_um,
                    leads_to=wire.leads_to,
                )
            )
    links: list[Link] = []
    for net, copper in found.items():
        for first, last in copper.links:
            sleeved = any(bodies >> at_step(step) & 1 for step in _steps(first, last))
            start, end = sorted((place_um(first), place_um(last)))
            links.append(
                Link(
                    number=len(links) + 1,
                    net=net,
                    start=start,
                    end=end,
                    wire_um=LINK_WIRE_UM,
                    hole_um=LINK_HOLE_UM,
                    pad_um=LINK_PAD_UM,
                    insulated=sleeved,
                )
            )
    holes = tuple(
        Hole(x_um=x, y_um=y, diameter_um=SCREW_UM)
        for x in (SCREW_AT_UM, width - SCREW_AT_UM)
        for y in (SCREW_AT_UM, height - SCREW_AT_UM)
    )
    track_um = demands.track_um
    pad_steps: dict[str, set[Place]] = {}
    for pad in pads:
        pad_steps.setdefault(pad.net, set()).add((pad.x, pad.y))
    thin = []
    for net, copper in found.items():
        stops = frozenset(pad_steps.get(net, set()) | {end for link in copper.links for end in link})
        thin += [
            Track(net=net, points=run, width_um=track_um)
            for run in runs_of(copper, stops, place_um, STEP_UM // 2)
        ]
    solids = _solids(pads, links)
    pins = {net: len(steps) for net, steps in pad_steps.items()}
    widths = {
        net: max(
            demands.supply_um if net == Ground or pins[net] >= _MANY else demands.signal_um,
            needed_um(wanted, demands, net),
        )
        for net in pins
    }

    def edge(at: Place) -> float:
        return min(at[0], at[1], width - at[0], height - at[1]) - demands.edge_um

    solids += [
        Solid(net="", start=at, end=at, radius_um=SCREW_FREE_UM - demands.spacing_um)
        for at in ((hole.x_um, hole.y_um) for hole in holes)
    ]

    tracks = widened(thin, solids, widths, spacing, edge)
    return Board(
        key=wanted.key,
        title=wanted.title,
        width_um=width,
        height_um=height,
        placed=tuple(placed_parts),
        tracks=tracks,
        links=tuple(links),
        wire_pads=tuple(wires),
        holes=holes,
        rules=Rules(
            track_um=track_um,
            spacing_um=demands.spacing_um,
            edge_um=demands.edge_um,
            copper_um=demands.copper_um,
            grid_um=STEP_UM,
            rise_k=demands.rise_k,
        ),
    )


def needed_um(wanted: Wanted, demands: Demands, net: str) -> int:
    """Width that a net's current asks for, µm; 0 where it carries none that is known.

    Raises
    ------
    RangeError : no track carries it.
    """
    amps = wanted.currents.get(net, 0.0)
    if amps <= 0.0:
        return 0
    return math.ceil(track_width_m(amps, demands.rise_k, demands.copper_um * 1e-6) * 1e6)


def _steps(first: Place, last: Place) -> Iterator[Place]:
    for x in range(min(first[0], last[0]), max(first[0], last[0]) + 1):
        for y in range(min(first[1], last[1]), max(first[1], last[1]) + 1):
            yield x, y


def _solids(pads: Sequence[PadSpot], links: Sequence[Link]) -> list[Solid]:
    solids = []
    for pad in pads:
        x, y = place_um((pad.x, pad.y))
        dx, dy = round(pad.half_x_um), round(pad.half_y_um)
        solids.append(
            Solid(net=pad.net, start=(x - dx, y - dy), end=(x + dx, y + dy), radius_um=pad.radius_um)
        )
    for link in links:
        solids += [
            Solid(net=link.net, start=end, end=end, radius_um=link.pad_um / 2)
            for end in (link.start, link.end)
        ]
    return solids
