"""A block's board from what it must carry: size, places, tracks, links."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.standards import board_spacing
from subwright.boards.check import check_board
from subwright.boards.finishing import Solid, runs_of, widened
from subwright.boards.footprints import STEP_UM, Land, placed, single_wire, turned
from subwright.boards.placement import Attraction, Item, Spot, cells_of, place
from subwright.boards.record import Board, Hole, Link, Place, Placed, Rules, Track, WirePad
from subwright.boards.routing import (
    LINK_HOLE_UM,
    LINK_PAD_UM,
    LINK_WIRE_UM,
    Obstacles,
    PadSpot,
    Routed,
    route,
)
from subwright.boards.wanted import Ground, Wanted, WantedWire, voltage_between
from subwright.physics.board import track_width_m
from subwright.stages.board import BoardSpec

__all__ = ["Demands", "demands_of", "make_board", "needed_um"]

Progress = Callable[[str, float], None]

_MARGIN_UM: Final = 2540  # from the edge to the first step
_SCREW_AT_UM: Final = 5000
_SCREW_UM: Final = 3200
_SCREW_FREE_UM: Final = 3500  # radius that stays free of copper
_CUT_UM: Final = 250  # that a cut corner comes nearer than its steps
_ASPECT: Final = 1.35
_FILL_FIRST: Final = 0.62
_FILL_MANY: Final = 0.58  # from _MANY_PARTS on
_MANY_PARTS: Final = 50
_MOST_COMPARED: Final = 75  # parts and wires; of more than that, the first board that comes out is taken
_GROWTH: Final = 1.1  # of the area at each failure
_SEEDS: Final = 2
_LINK_ENDS: Final = (20.0, 14.0, 9.0)  # cost of a link's end in steps of track: each is tried
_LINK_ENDS_MANY: Final = (9.0,)
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
    for attempt in range(_TRIES):
        width = 2 * _MARGIN_UM + (columns - 1) * STEP_UM
        height = 2 * _MARGIN_UM + (rows - 1) * STEP_UM
        tell(f"{wanted.title}: {width / 1000:.0f} × {height / 1000:.0f} mm", attempt / _TRIES)
        if width > asked.max_width_um or height > asked.max_height_um:
            break
        found = _found(wanted, asked, spacing, items, columns, rows)
        best = next(found, None) if len(items) > _MOST_COMPARED else min(found, key=_handwork, default=None)
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
    leaving = [wire for wire in wanted.wires if wire.leads_to]
    for k, wire in enumerate(leaving):
        side = "left" if k % 2 else "right"
        items.append(_wire(wire, side, side))
    items += [_wire(wire, "left", "") for wire in wanted.wires if not wire.leads_to]
    return tuple(items)


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


def _grown(columns: int, rows: int) -> tuple[int, int]:
    more = math.sqrt(_GROWTH)
    return max(columns + 1, round(columns * more)), max(rows + 1, round(rows * more))


def _closed(columns: int, rows: int, reach_um: float) -> frozenset[Place]:
    """Steps that are too near to a screw."""
    width, height = 2 * _MARGIN_UM + (columns - 1) * STEP_UM, 2 * _MARGIN_UM + (rows - 1) * STEP_UM
    return frozenset(
        (x, y)
        for x in range(columns)
        for y in range(rows)
        for sx in (_SCREW_AT_UM, width - _SCREW_AT_UM)
        for sy in (_SCREW_AT_UM, height - _SCREW_AT_UM)
        if math.hypot(_MARGIN_UM + x * STEP_UM - sx, _MARGIN_UM + y * STEP_UM - sy) < reach_um
    )


def _found(
    wanted: Wanted, demands: Demands, spacing: _Spacing, items: Sequence[Item], columns: int, rows: int
) -> Iterator[Board]:
    """Boards of one size, each from another arrangement or price of a link."""
    for number in range(_SEEDS):
        spots = _placed(wanted, items, columns, rows, demands.seed + 10 * number)
        if spots is None:
            continue
        for link_end in _LINK_ENDS_MANY if len(items) > _MOST_COMPARED else _LINK_ENDS:
            board = _routed(wanted, demands, spacing, items, columns, rows, spots, link_end)
            if board is not None:
                yield board


def _handwork(board: Board) -> tuple[int, int]:
    """Links to fit, one in a sleeve as much as two; then micrometres of track."""
    length = sum(
        abs(x1 - x0) + abs(y1 - y0) for track in board.tracks for (x0, y0), (x1, y1) in pairwise(track.points)
    )
    return len(board.links) + sum(link.insulated for link in board.links), length


def _placed(
    wanted: Wanted, items: Sequence[Item], columns: int, rows: int, seed: int
) -> tuple[Spot, ...] | None:
    bits = [0] * rows
    for x, y in _closed(columns, rows, _SCREW_FREE_UM + 1200):
        bits[y] |= 1 << x
    return place(
        items,
        columns,
        rows,
        bits,
        seed=seed,
        weights=_weights(items),
        attractions=_attractions(wanted, items),
    )


def _routed(
    wanted: Wanted,
    demands: Demands,
    spacing: _Spacing,
    items: Sequence[Item],
    columns: int,
    rows: int,
    spots: Sequence[Spot],
    link_end: float,
) -> Board | None:
    track_um = STEP_UM - spacing.usual
    obstacles = _obstacles(items, spots, columns, rows, track_um, demands.edge_um)
    found = route(obstacles, track_um, spacing, link_end=link_end)
    if found.trouble:
        return None
    board = _finish(wanted, demands, spacing, items, spots, columns, rows, found, obstacles)
    return None if check_board(board, wanted).problems else board


def _weights(items: Sequence[Item]) -> Mapping[str, float]:
    """Nets with many pins pull less: they are led from pin to pin, not to one place."""
    count: dict[str, int] = {}
    for item in items:
        for net in item.nets:
            if net:
                count[net] = count.get(net, 0) + 1
    return {net: 1.0 if pins < _MANY else 0.5 if net != Ground else 0.3 for net, pins in count.items()}


def _attractions(wanted: Wanted, items: Sequence[Item]) -> tuple[Attraction, ...]:
    """Each decoupling capacitor stays beside a supply pin of a chip, one after the other."""
    chips = [k for k, item in enumerate(items) if item.footprint.name.startswith("DIP")]
    given: dict[tuple[int, str], int] = {}
    made: list[Attraction] = []
    for k, part in enumerate(wanted.parts):
        if "decoupling" not in part.role:
            continue
        nets = [net for net in items[k].nets if net != Ground]
        able = [chip for chip in chips if nets and nets[0] in items[chip].nets]
        if not able:
            continue
        net = nets[0]
        chip = min(able, key=lambda c: (given.get((c, net), 0), c))
        given[chip, net] = given.get((chip, net), 0) + 1
        land = items[chip].nets.index(nets[0])
        made.append(Attraction(first=(k, items[k].nets.index(nets[0])), second=(chip, land), weight=5.0))
    return tuple(made)


def _pads(items: Sequence[Item], spots: Sequence[Spot]) -> Iterator[PadSpot]:
    for item, (x, y, turn) in zip(items, spots, strict=True):
        for land, net in zip(item.footprint.lands, item.nets, strict=True):
            dx, dy = turned((land.x, land.y), turn)
            across, along = land.across_um, land.along_um
            if turn in (90, 270):
                across, along = along, across
            radius = min(across, along) / 2
            yield PadSpot(
                net=net,
                x=x + dx,
                y=y + dy,
                half_x_um=across / 2 - radius,
                half_y_um=along / 2 - radius,
                radius_um=radius,
            )


def _obstacles(
    items: Sequence[Item], spots: Sequence[Spot], columns: int, rows: int, track_um: int, edge_um: int
) -> Obstacles:
    pads = tuple(_pads(items, spots))
    over: set[Place] = {(pad.x, pad.y) for pad in pads}
    bodies: set[Place] = set()
    for item, (x, y, turn) in zip(items, spots, strict=True):
        if item.footprint.height_um == 0:
            continue
        corners = [turned(point, turn) for point in item.footprint.body]
        room = LINK_WIRE_UM / 2 + 100
        low_x, high_x = min(c[0] for c in corners) - room, max(c[0] for c in corners) + room
        low_y, high_y = min(c[1] for c in corners) - room, max(c[1] for c in corners) + room
        bodies |= {
            (x + dx, y + dy)
            for dx in range(math.ceil(low_x / STEP_UM), math.floor(high_x / STEP_UM) + 1)
            for dy in range(math.ceil(low_y / STEP_UM), math.floor(high_y / STEP_UM) + 1)
        }
        lands = [turned((land.x, land.y), turn) for land in item.footprint.lands]
        if len(lands) == 2:  # its leads lie on the board between pad and body
            (ax, ay), (bx, by) = lands
            over |= {
                (x + dx, y + dy)
                for dx in range(min(ax, bx), max(ax, bx) + 1)
                for dy in range(min(ay, by), max(ay, by) + 1)
            } - bodies
    return Obstacles(
        columns=columns,
        rows=rows,
        pads=pads,
        closed=_closed(columns, rows, _SCREW_FREE_UM + track_um / 2 + _CUT_UM)
        | _rim(columns, rows, edge_um + track_um / 2),
        closed_link=_closed(columns, rows, _SCREW_FREE_UM + LINK_PAD_UM / 2)
        | _rim(columns, rows, edge_um + LINK_PAD_UM / 2),
        over=frozenset(over),
        bodies=frozenset(bodies),
    )


def _rim(columns: int, rows: int, reach_um: float) -> frozenset[Place]:
    """Steps that are nearer to the board's edge."""
    steps = math.ceil((reach_um - _MARGIN_UM) / STEP_UM)
    return frozenset(
        (x, y)
        for x in range(columns)
        for y in range(rows)
        if min(x, y, columns - 1 - x, rows - 1 - y) < steps
    )


def _at(step: Place) -> Place:
    return _MARGIN_UM + step[0] * STEP_UM, _MARGIN_UM + step[1] * STEP_UM


def _finish(
    wanted: Wanted,
    demands: Demands,
    spacing: _Spacing,
    items: Sequence[Item],
    spots: Sequence[Spot],
    columns: int,
    rows: int,
    found: Routed,
    obstacles: Obstacles,
) -> Board:
    width = 2 * _MARGIN_UM + (columns - 1) * STEP_UM
    height = 2 * _MARGIN_UM + (rows - 1) * STEP_UM
    placed_parts: list[Placed] = []
    wires: list[WirePad] = []
    wanted_wires = {(wire.name, wire.net): wire for wire in wanted.wires}
    for k, (item, (x, y, turn)) in enumerate(zip(items, spots, strict=True)):
        at = _at((x, y))
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
    for net, copper in found.copper.items():
        for first, last in copper.links:
            sleeved = any(step in obstacles.bodies for step in _steps(first, last))
            start, end = sorted((_at(first), _at(last)))
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
        Hole(x_um=x, y_um=y, diameter_um=_SCREW_UM)
        for x in (_SCREW_AT_UM, width - _SCREW_AT_UM)
        for y in (_SCREW_AT_UM, height - _SCREW_AT_UM)
    )
    track_um = STEP_UM - spacing.usual
    pad_steps: dict[str, set[Place]] = {}
    for pad in obstacles.pads:
        pad_steps.setdefault(pad.net, set()).add((pad.x, pad.y))
    thin = []
    for net, copper in found.copper.items():
        stops = frozenset(pad_steps.get(net, set()) | {end for link in copper.links for end in link})
        thin += [
            Track(net=net, points=run, width_um=track_um) for run in runs_of(copper, stops, _at, STEP_UM // 2)
        ]
    solids = _solids(obstacles.pads, links)
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
        Solid(net="", start=at, end=at, radius_um=_SCREW_FREE_UM - demands.spacing_um)
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
        x, y = _at((pad.x, pad.y))
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
