"""What a board maker would etch: copper read from the Gerber file alone, against the netlist and the gaps.

The reader and the geometry are not ours: gerbonara reads the file, shapely joins the shapes. Nothing of the
board's record is used but the links, which are wires and in no file of copper.
"""

from __future__ import annotations

from functools import cache
from itertools import combinations

from board_tasks import amplifiers
from gerbonara import ExcellonFile, GerberFile
from gerbonara.apertures import CircleAperture
from gerbonara.graphic_objects import Flash
from shapely import LineString, Point, union_all
from shapely.geometry.base import BaseGeometry

from subwright.boards.make import make_board
from subwright.boards.record import Board
from subwright.outputs.drill import drill_files
from subwright.outputs.gerber import gerber_files

Copper = tuple[str, BaseGeometry]


@cache
def board() -> Board:
    return make_board(amplifiers())


@cache
def copper() -> tuple[Copper, ...]:
    """Net and shape, mm, of everything on the foil."""
    text = gerber_files(board(), build="Van", code="")["copper-bottom.gbr"]
    return tuple((one.attrs[".N"][0], shape(one)) for one in GerberFile.from_string(text).objects)


def shape(one: object) -> BaseGeometry:
    tool = one.aperture  # type: ignore[attr-defined]
    if not isinstance(one, Flash):
        line = LineString([(one.x1, one.y1), (one.x2, one.y2)])  # type: ignore[attr-defined]
        return line.buffer(tool.diameter / 2, quad_segs=32)
    if isinstance(tool, CircleAperture):
        return Point(one.x, one.y).buffer(tool.diameter / 2, quad_segs=32)
    half = abs(tool.w - tool.h) / 2
    ends = ((-half, 0), (half, 0)) if tool.w > tool.h else ((0, -half), (0, half))
    middle = LineString([(one.x + dx, one.y + dy) for dx, dy in ends])
    return middle.buffer(min(tool.w, tool.h) / 2, quad_segs=32)


def islands() -> list[tuple[set[str], BaseGeometry]]:
    """Separate pieces of copper with the nets that touch each."""
    whole = union_all([one for _, one in copper()])
    pieces = list(getattr(whole, "geoms", [whole]))
    return [({net for net, one in copper() if piece.intersects(one)}, piece) for piece in pieces]


def test_no_piece_of_copper_joins_two_nets() -> None:
    assert all(len(nets) == 1 for nets, _ in islands())


def test_copper_and_links_make_each_net_one_piece() -> None:
    pieces = islands()
    group = list(range(len(pieces)))

    def root(at: int) -> int:
        while group[at] != at:
            at = group[at]
        return at

    for link in board().links:
        ends = [Point(x / 1000, y / 1000) for x, y in (link.start, link.end)]
        one, other = (next(k for k, (_, piece) in enumerate(pieces) if piece.contains(end)) for end in ends)
        group[root(one)] = root(other)
    found: dict[str, set[int]] = {}
    for number, (nets, _) in enumerate(pieces):
        (net,) = nets
        found.setdefault(net, set()).add(root(number))
    assert {net for net, roots in found.items() if len(roots) > 1} <= {"N/C"}


def test_gaps_are_the_rules() -> None:
    least = board().rules.spacing_um / 1000
    for (_, a), (_, b) in combinations(islands(), 2):
        assert a.distance(b) >= least - 2e-3  # a circle's polygon is that much within the circle


def test_every_hole_but_the_screws_goes_through_copper_with_a_rim() -> None:
    holes = ExcellonFile.from_string(drill_files(board())["holes-unplated.drl"]).objects
    whole = union_all([one for _, one in copper()])
    screws = {(one.x_um / 1000, one.y_um / 1000) for one in board().holes}
    bare = 0
    for hole in holes:
        bore = Point(hole.x, hole.y).buffer(hole.aperture.diameter / 2)
        if (hole.x, hole.y) in screws:
            bare += 1
            assert not bore.buffer(1.8).intersects(whole)
        else:
            assert whole.contains(bore.buffer(0.25))
    assert bare == len(screws)
