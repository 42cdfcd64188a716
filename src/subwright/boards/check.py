"""A finished board held to what it must carry, by shapes of its own: nothing here knows the router's grid."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from subwright.base.standards import board_spacing
from subwright.boards.record import Board, Pad, Place
from subwright.boards.wanted import Wanted, voltage_between
from subwright.physics.board import track_current_a

if TYPE_CHECKING:
    from shapely import Geometry

__all__ = ["Checked", "check_board"]

_ROUND_UM = 1.0  # polygons of circles stand for the circles within this
_SEGMENTS = 32  # of a quarter circle
_SCREW_HEAD_UM = 3500
_RING_UM = 300  # least copper round a hole
_BETWEEN_HOLES_UM = 400  # least board between two holes
_LOADS = 8  # nets that are told


@dataclass(frozen=True, kw_only=True, slots=True)
class Checked:
    """What a board was found to be.

    Attributes
    ----------
    problems : sentences; none on a good board. spacing_um : least gap of two nets' copper, µm.
    spacing_nets : those two. closest_share : least gap over what its voltage asks.
    edge_um : least gap from copper to the edge, µm. narrowest_um : track, µm.
    ring_um : least copper round a hole, µm. copper_mm : length of all tracks, mm.
    links, insulated : wires above, and those of them in a sleeve.
    loads : nets that carry most: net, A, its narrowest track in µm, and what that carries, A; closest first.
    """

    problems: tuple[str, ...]
    spacing_um: float
    spacing_nets: tuple[str, str]
    closest_share: float
    edge_um: float
    narrowest_um: int
    ring_um: float
    copper_mm: float
    links: int
    insulated: int
    loads: tuple[tuple[str, float, int, float], ...] = ()


@dataclass(frozen=True, slots=True)
class _Shape:
    """One piece of copper: its net, what it is called, its outline, and the places where leads join it."""

    net: str
    name: str
    outline: Geometry
    leads: tuple[Place, ...]


def check_board(board: Board, wanted: Wanted) -> Checked:
    """Hold a board to its netlist and its rules.

    Parameters
    ----------
    board : as made. wanted : what it must carry.

    Returns
    -------
    What was measured; ``problems`` says in sentences what is wrong.

    Every net must be one piece of copper and links; two nets keep the rule's gap, and the standard's for the
    voltage between them [ipc-2221a]; every track carries its net's current [ipc-2221]; every pin of the
    netlist has its pad, once, on the right net; no two bodies overlap; copper keeps off edge and screws;
    holes leave copper and board round them; links run straight and cross
    neither each other nor, bare, a body.
    """
    from shapely import STRtree

    shapes = list(_copper(board))
    tree = STRtree([shape.outline for shape in shapes])
    problems = [*_pins(board, wanted), *_pieces(board, shapes, tree)]
    gaps, spacing, nets, share = _gaps(board, wanted, shapes, tree)
    edges, edge = _edges(board, shapes)
    rings, ring = _rings(board)
    problems += [*gaps, *edges, *rings, *_holes(board), *_bodies(board), *_links(board)]
    if board.unrouted:
        problems.append(f"{len(board.unrouted)} connections are not made")
    loads = _loads(board, wanted)
    problems += [
        f"a track of {net} is {width} µm wide and carries {most:.2f} A; {amps:.2f} A may flow"
        for net, amps, width, most in loads
        if amps > most
    ]
    narrowest = min((track.width_um for track in board.tracks), default=board.rules.track_um)
    if narrowest < board.rules.track_um:
        problems.append(f"a track is {narrowest} µm wide, the rule is {board.rules.track_um} µm")
    return Checked(
        problems=tuple(problems),
        spacing_um=spacing,
        spacing_nets=nets,
        closest_share=share,
        edge_um=edge,
        narrowest_um=narrowest,
        ring_um=ring,
        copper_mm=sum(_length(track.points) for track in board.tracks) / 1000,
        links=len(board.links),
        insulated=sum(link.insulated for link in board.links),
        loads=loads[:_LOADS],
    )


def _loads(board: Board, wanted: Wanted) -> tuple[tuple[str, float, int, float], ...]:
    """Net, A, narrowest track in µm and what that carries, A, of every net that has tracks."""
    narrowest: dict[str, int] = {}
    for track in board.tracks:
        narrowest[track.net] = min(track.width_um, narrowest.get(track.net, track.width_um))
    rules = board.rules
    found = [
        (
            net,
            wanted.currents[net],
            width,
            track_current_a(width * 1e-6, rules.rise_k, rules.copper_um * 1e-6),
        )
        for net, width in narrowest.items()
        if wanted.currents.get(net, 0.0) > 0.0
    ]
    return tuple(sorted(found, key=lambda row: (-row[1] / row[3], row[0])))


def _length(points: Sequence[Place]) -> float:
    return float(sum(((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2) ** 0.5 for a, b in pairwise(points)))


def _stadium(x: float, y: float, across: float, along: float) -> Geometry:
    from shapely import LineString, Point

    radius = min(across, along) / 2
    dx, dy = across / 2 - radius, along / 2 - radius
    line = LineString([(x - dx, y - dy), (x + dx, y + dy)]) if dx or dy else Point(x, y)
    return line.buffer(radius, quad_segs=_SEGMENTS)


def _copper(board: Board) -> Iterator[_Shape]:
    from shapely import LineString

    for track in board.tracks:
        line = LineString(track.points).buffer(track.width_um / 2, quad_segs=_SEGMENTS)
        yield _Shape(track.net, f"a track of {track.net}", line, ())
    for part in board.placed:
        for pad in part.pads:
            outline = _stadium(pad.x_um, pad.y_um, pad.across_um, pad.along_um)
            yield _Shape(pad.net, f"{pad.case} pin {pad.pin}", outline, ((pad.x_um, pad.y_um),))
    for wire in board.wire_pads:
        outline = _stadium(wire.x_um, wire.y_um, wire.pad_um, wire.pad_um)
        yield _Shape(wire.net, f"wire pad {wire.name}", outline, ((wire.x_um, wire.y_um),))
    for link in board.links:
        for end in (link.start, link.end):
            yield _Shape(link.net, f"link {link.number}", _stadium(*end, link.pad_um, link.pad_um), (end,))


def _pins(board: Board, wanted: Wanted) -> Iterator[str]:
    found: dict[tuple[str, str], str] = {}
    for part in board.placed:
        for pad in part.pads:
            if (pad.case, pad.pin) in found:
                yield f"{pad.case} pin {pad.pin} has two pads"
            found[pad.case, pad.pin] = pad.net
    for key, net in wanted.pins.items():
        if key not in found:
            yield f"{key[0]} pin {key[1]} has no pad"
        elif found[key] != net:
            yield f"{key[0]} pin {key[1]} is on {found[key] or 'no net'} and belongs on {net}"
    for key, net in found.items():
        if net and key not in wanted.pins:
            yield f"{key[0]} pin {key[1]} is on {net} and belongs on no net"
    wires = {(wire.name, wire.net) for wire in board.wire_pads}
    yield from (
        f"wire pad {wire.name} is missing" for wire in wanted.wires if (wire.name, wire.net) not in wires
    )


def _pieces(board: Board, shapes: Sequence[_Shape], tree: Any) -> Iterator[str]:
    """Nets that are not one piece, by shapes that touch and links that join."""
    above = list(range(len(shapes)))

    def top(k: int) -> int:
        while above[k] != k:
            above[k] = above[above[k]]
            k = above[k]
        return k

    first, second = tree.query([shape.outline for shape in shapes], predicate="intersects")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b and shapes[a].net == shapes[b].net and shapes[a].net:
            above[top(a)] = top(b)
    ends: dict[Place, int] = {}
    for k, shape in enumerate(shapes):
        if shape.name.startswith("link "):
            ends[shape.leads[0]] = k
    for link in board.links:
        above[top(ends[link.start])] = top(ends[link.end])
    pieces: dict[str, dict[int, str]] = {}
    for k, shape in enumerate(shapes):
        if shape.net:
            pieces.setdefault(shape.net, {}).setdefault(top(k), shape.name)
    for net, parts in pieces.items():
        if len(parts) > 1:
            yield f"net {net} is in {len(parts)} pieces: {', '.join(parts.values())}"


def _gaps(
    board: Board, wanted: Wanted, shapes: Sequence[_Shape], tree: Any
) -> tuple[list[str], float, tuple[str, str], float]:
    problems: list[str] = []
    least, nets, share = float("inf"), ("", ""), float("inf")
    asked: dict[tuple[str, str], float] = {}

    def gap(a: str, b: str) -> float:
        key = (min(a, b), max(a, b))
        if key not in asked:
            volts = voltage_between(wanted, a, b) if a and b else 0.0
            asked[key] = max(board.rules.spacing_um, board_spacing(volts, "external bare").spacing_m * 1e6)
        return asked[key]

    reach = 3000.0
    first, second = tree.query([shape.outline for shape in shapes], predicate="dwithin", distance=reach)
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        one, other = shapes[a], shapes[b]
        if a >= b or (one.net and one.net == other.net):
            continue
        if not one.net and not other.net and one.name.split(" ")[0] == other.name.split(" ")[0]:
            continue
        away = one.outline.distance(other.outline)
        want = gap(one.net, other.net)
        if away < want - _ROUND_UM:
            problems.append(f"{one.name} is {away:.0f} µm from {other.name}; {want:.0f} µm are asked for")
        if away < least:
            least, nets = away, (one.net, other.net)
        share = min(share, away / want)
    return problems, least, nets, share


def _edges(board: Board, shapes: Sequence[_Shape]) -> tuple[list[str], float]:
    from shapely import Point, box

    border = box(0, 0, board.width_um, board.height_um)
    problems: list[str] = []
    least = float("inf")
    for shape in shapes:
        away = border.exterior.distance(shape.outline) if border.contains(shape.outline) else 0.0
        least = min(least, away)
        if away < board.rules.edge_um - _ROUND_UM:
            problems.append(f"{shape.name} is {away:.0f} µm from the edge")
    for hole in board.holes:
        head = Point(hole.x_um, hole.y_um).buffer(_SCREW_HEAD_UM - _ROUND_UM, quad_segs=_SEGMENTS)
        problems += [
            f"{shape.name} lies under the screw at {hole.x_um / 1000:.1f}, {hole.y_um / 1000:.1f} mm"
            for shape in shapes
            if head.intersects(shape.outline)
        ]
    return problems, least


def _drilled(board: Board) -> Iterator[tuple[str, Place, int, int]]:
    """Name, place, diameter and least copper across of every hole with a pad."""
    for part in board.placed:
        for pad in part.pads:
            yield _name(pad), (pad.x_um, pad.y_um), pad.hole_um, min(pad.across_um, pad.along_um)
    for wire in board.wire_pads:
        yield f"wire pad {wire.name}", (wire.x_um, wire.y_um), wire.hole_um, wire.pad_um
    for link in board.links:
        for end in (link.start, link.end):
            yield f"link {link.number}", end, link.hole_um, link.pad_um


def _name(pad: Pad) -> str:
    return f"{pad.case} pin {pad.pin}"


def _rings(board: Board) -> tuple[list[str], float]:
    rings = [(name, (pad - hole) / 2) for name, _, hole, pad in _drilled(board)]
    thin = [f"{name} has {ring:.0f} µm of copper round its hole" for name, ring in rings if ring < _RING_UM]
    return thin, min((ring for _, ring in rings), default=float("inf"))


def _holes(board: Board) -> Iterator[str]:
    import numpy as np

    drilled = [(name, place, hole) for name, place, hole, _ in _drilled(board)]
    drilled += [("a screw", (hole.x_um, hole.y_um), hole.diameter_um) for hole in board.holes]
    if not drilled:
        return
    places = np.array([place for _, place, _ in drilled], dtype=float)
    size = np.array([hole for _, _, hole in drilled], dtype=float)
    away = np.hypot(*(places[:, None, :] - places[None, :, :]).transpose(2, 0, 1))
    left = away - (size[:, None] + size[None, :]) / 2
    for a, b in zip(*np.nonzero(left < _BETWEEN_HOLES_UM), strict=True):
        if a < b:
            yield f"the holes of {drilled[a][0]} and {drilled[b][0]} leave {left[a, b]:.0f} µm between them"


def _bodies(board: Board) -> Iterator[str]:
    from shapely import Polygon, STRtree, box

    outlines = [Polygon(part.body.points) for part in board.placed]
    tree = STRtree(outlines)
    first, second = tree.query(outlines, predicate="intersects")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b and outlines[a].intersection(outlines[b]).area > 1e3:
            yield f"{board.placed[a].case} and {board.placed[b].case} overlap"
    border = box(0, 0, board.width_um, board.height_um)
    for part, outline in zip(board.placed, outlines, strict=True):
        if not border.covers(outline):
            yield f"{part.case} stands over the edge"


def _links(board: Board) -> Iterator[str]:
    from shapely import LineString, Point, Polygon

    wires = [(link, LineString([link.start, link.end])) for link in board.links]
    numbers = [link.number for link in board.links]
    if len(set(numbers)) < len(numbers):
        yield "two links bear one number"
    for k, (link, wire) in enumerate(wires):
        if link.start[0] != link.end[0] and link.start[1] != link.end[1]:
            yield f"link {link.number} runs neither along nor across"
        for other, line in wires[k + 1 :]:
            if wire.distance(line) < (link.wire_um + other.wire_um) / 2:
                yield f"links {link.number} and {other.number} touch"
        under = [part.case for part in board.placed if _passes(wire, link.wire_um, Polygon(part.body.points))]
        if under and not link.insulated:
            yield f"link {link.number} is bare and passes under {', '.join(under)}"
        for part in board.placed:
            for pad in part.pads:
                if pad.net != link.net and wire.distance(Point(pad.x_um, pad.y_um)) < link.wire_um:
                    yield f"link {link.number} lies on the lead of {_name(pad)}"


def _passes(wire: Geometry, wire_um: int, body: Geometry) -> bool:
    return bool(wire.distance(body) < wire_um / 2)
