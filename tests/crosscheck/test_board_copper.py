"""A board's copper by another route: painted on a fine raster and flooded, without any geometry library.

Each net must be one flood, links taken in; no flood may hold two nets; and two floods stay apart by the rule.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from subwright import service
from subwright.boards.make import demands_of, make_board
from subwright.boards.record import Board
from subwright.boards.wanted import Wanted
from subwright.outputs.board_parts import wanted_boards
from subwright.outputs.schematics import schematics
from subwright.service.solved import library_of

EXAMPLES = Path(__file__).parents[2] / "examples"
CELL_UM = 50
BOARDS = (
    ("storyteller-van", "gate-drive"),
    ("storyteller-van", "speaker-guard"),
    ("canal-workboat", "control"),
)
Raster = NDArray[np.bool_]


@cache
def tasks(name: str) -> dict[str, tuple[Wanted, Board | None]]:
    solved = service.solve(EXAMPLES / f"{name}.build.toml")
    library = library_of(solved)
    wanted, _ = wanted_boards(schematics(solved.design, library), solved.design, library)
    spec = solved.design.spec
    keys = {key for build, key in BOARDS if build == name}
    demands = demands_of(spec.board, spec.wiring.copper_thickness_m)
    return {task.key: (task, make_board(task, demands)) for task in wanted if task.key in keys}


class Paint:
    """Copper of a board, cell by cell."""

    def __init__(self, board: Board) -> None:
        rows, columns = board.height_um // CELL_UM + 1, board.width_um // CELL_UM + 1
        self.y, self.x = np.mgrid[0:rows, 0:columns] * float(CELL_UM)
        self.nets: dict[str, Raster] = {}
        for track in board.tracks:
            for a, b in zip(track.points, track.points[1:], strict=False):
                self.stroke(track.net, a, b, track.width_um / 2)
        for part in board.placed:
            for pad in part.pads:
                radius = min(pad.across_um, pad.along_um) / 2
                dx, dy = pad.across_um / 2 - radius, pad.along_um / 2 - radius
                name = pad.net or f"{pad.case}.{pad.pin}"
                a, b = (pad.x_um - dx, pad.y_um - dy), (pad.x_um + dx, pad.y_um + dy)
                self.stroke(name, a, b, radius)
        for wire in board.wire_pads:
            self.stroke(wire.net, (wire.x_um, wire.y_um), (wire.x_um, wire.y_um), wire.pad_um / 2)
        for link in board.links:
            for end in (link.start, link.end):
                self.stroke(link.net, end, end, link.pad_um / 2)

    def stroke(self, net: str, a: tuple[float, float], b: tuple[float, float], radius: float) -> None:
        at = self.nets.setdefault(net, np.zeros(self.x.shape, dtype=bool))
        low_x, high_x = min(a[0], b[0]) - radius, max(a[0], b[0]) + radius
        low_y, high_y = min(a[1], b[1]) - radius, max(a[1], b[1]) + radius
        window = (
            slice(max(0, int(low_y // CELL_UM)), int(high_y // CELL_UM) + 2),
            slice(max(0, int(low_x // CELL_UM)), int(high_x // CELL_UM) + 2),
        )
        x, y = self.x[window], self.y[window]
        dx, dy = b[0] - a[0], b[1] - a[1]
        long = dx * dx + dy * dy
        share = np.clip(((x - a[0]) * dx + (y - a[1]) * dy) / long, 0.0, 1.0) if long else 0.0 * x
        at[window] |= np.hypot(x - a[0] - share * dx, y - a[1] - share * dy) <= radius


def problems_of(board: Board) -> list[str]:
    paint = Paint(board)
    found: list[str] = []
    for net, raster in paint.nets.items():
        labels, count = ndimage.label(raster, structure=np.ones((3, 3)))
        groups = {k: {k} for k in range(1, count + 1)}
        for link in board.links:
            if link.net != net:
                continue
            a, b = (int(labels[y // CELL_UM, x // CELL_UM]) for x, y in (link.start, link.end))
            joined = groups[a] | groups[b]
            for k in joined:
                groups[k] = joined
        pieces = {frozenset(group) for group in groups.values()}
        if len(pieces) != 1:
            found.append(f"{net} is in {len(pieces)} pieces")
    total = np.zeros(paint.x.shape, dtype=int)
    for raster in paint.nets.values():
        total += raster
    if (total > 1).any():
        found.append(f"{int((total > 1).sum())} cells are on two nets")
    every = np.maximum(total, 0) > 0
    for net, raster in paint.nets.items():
        away = ndimage.distance_transform_edt(~raster, sampling=CELL_UM)
        other = every & ~raster
        if other.any() and away[other].min() < board.rules.spacing_um - 2 * CELL_UM:
            found.append(f"{net} is {away[other].min():.0f} µm from a neighbour")
    return found


@pytest.mark.parametrize(("name", "key"), BOARDS)
def test_each_net_is_one_flood(name: str, key: str) -> None:
    _, board = tasks(name)[key]
    assert board is not None
    assert problems_of(board) == []


def test_the_flood_finds_a_cut_and_a_bridge() -> None:
    _, board = tasks("storyteller-van")["gate-drive"]
    assert board is not None
    from dataclasses import replace

    ground = [track for track in board.tracks if track.net == "GND"]
    other = tuple(track for track in board.tracks if track not in ground)
    assert any("GND is in" in problem for problem in problems_of(replace(board, tracks=other)))
    crossing = replace(
        ground[0], points=((3000, board.height_um // 2), (board.width_um - 3000, board.height_um // 2))
    )
    assert any(
        "two nets" in problem for problem in problems_of(replace(board, tracks=(*board.tracks, crossing)))
    )
