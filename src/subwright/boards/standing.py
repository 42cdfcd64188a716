"""Parts as they stand on a board's grid: their pads, what they cover, and where no copper may be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from subwright.boards.bits import Steps
from subwright.boards.footprints import STEP_UM, turned
from subwright.boards.placement import Item, Spot
from subwright.boards.record import Place
from subwright.boards.routing import LINK_PAD_UM, LINK_WIRE_UM, PadSpot

__all__ = ["MARGIN_UM", "SCREW_AT_UM", "SCREW_FREE_UM", "SCREW_UM", "Standing", "place_um", "size_um"]

MARGIN_UM: Final = 2540
"""From the board's edge to the first step, µm."""

SCREW_AT_UM: Final = 5000
SCREW_UM: Final = 3200
SCREW_FREE_UM: Final = 3500
"""Radius round a screw's middle that stays free of copper, µm."""

_CUT_UM: Final = 250  # that a cut corner comes nearer than its steps


def place_um(step: Place) -> Place:
    """Where a step is, µm from the board's lower left corner."""
    return MARGIN_UM + step[0] * STEP_UM, MARGIN_UM + step[1] * STEP_UM


def size_um(columns: int, rows: int) -> Place:
    """Width and height of a board of so many steps, µm."""
    return 2 * MARGIN_UM + (columns - 1) * STEP_UM, 2 * MARGIN_UM + (rows - 1) * STEP_UM


@dataclass(frozen=True)
class Standing:
    """A board of one size, for parts that may stand anywhere on it.

    Attributes
    ----------
    items : in order. columns, rows : steps. track_um : least width. edge_um : least gap from copper to edge.
    """

    items: tuple[Item, ...]
    columns: int
    rows: int
    track_um: int
    edge_um: int

    @cached_property
    def steps(self) -> Steps:
        """The grid."""
        return Steps(self.columns, self.rows)

    @cached_property
    def closed(self) -> int:
        """Steps where no track may be: at the edge and round the screws."""
        return self.near_screws(SCREW_FREE_UM + self.track_um / 2 + _CUT_UM) | self._rim(
            self.edge_um + self.track_um / 2
        )

    @cached_property
    def closed_ends(self) -> int:
        """Steps where no link may end, for the same reasons."""
        return self.near_screws(SCREW_FREE_UM + LINK_PAD_UM / 2) | self._rim(self.edge_um + LINK_PAD_UM / 2)

    def near_screws(self, reach_um: float) -> int:
        """Steps whose distance from a screw's middle is less."""
        return self.steps.of(self.places_near_screws(reach_um))

    def places_near_screws(self, reach_um: float) -> frozenset[Place]:
        """The same as places."""
        width, height = size_um(self.columns, self.rows)
        return frozenset(
            (x, y)
            for x in range(self.columns)
            for y in range(self.rows)
            for sx in (SCREW_AT_UM, width - SCREW_AT_UM)
            for sy in (SCREW_AT_UM, height - SCREW_AT_UM)
            if math.hypot(MARGIN_UM + x * STEP_UM - sx, MARGIN_UM + y * STEP_UM - sy) < reach_um
        )

    def _rim(self, reach_um: float) -> int:
        steps = math.ceil((reach_um - MARGIN_UM) / STEP_UM)
        return self.steps.of(
            (x, y)
            for x in range(self.columns)
            for y in range(self.rows)
            if min(x, y, self.columns - 1 - x, self.rows - 1 - y) < steps
        )

    def pads(self, item: int, spot: Spot) -> tuple[PadSpot, ...]:
        """Pads of one part at its place."""
        x, y, turn = spot
        made = []
        one = self.items[item]
        for land, net in zip(one.footprint.lands, one.nets, strict=True):
            dx, dy = turned((land.x, land.y), turn)
            across, along = land.across_um, land.along_um
            if turn in (90, 270):
                across, along = along, across
            radius = min(across, along) / 2
            made.append(
                PadSpot(
                    net=net,
                    x=x + dx,
                    y=y + dy,
                    half_x_um=across / 2 - radius,
                    half_y_um=along / 2 - radius,
                    radius_um=radius,
                )
            )
        return tuple(made)

    def covers(self, item: int, spot: Spot) -> tuple[int, int]:
        """Steps over which no link passes, and steps under the body, which it passes in a sleeve only."""
        x, y, turn = spot
        shape = self.items[item].footprint
        lands = [turned((land.x, land.y), turn) for land in shape.lands]
        pads = self.steps.of((x + dx, y + dy) for dx, dy in lands)
        if shape.height_um == 0:
            return self.steps.crossed(pads), 0  # the wire's sleeve and solder stand there
        corners = [turned(point, turn) for point in shape.body]
        room = LINK_WIRE_UM / 2 + 100
        low_x, high_x = min(c[0] for c in corners) - room, max(c[0] for c in corners) + room
        low_y, high_y = min(c[1] for c in corners) - room, max(c[1] for c in corners) + room
        body = self.steps.of(
            (x + dx, y + dy)
            for dx in range(math.ceil(low_x / STEP_UM), math.floor(high_x / STEP_UM) + 1)
            for dy in range(math.ceil(low_y / STEP_UM), math.floor(high_y / STEP_UM) + 1)
        )
        if len(lands) == 2:  # its leads lie on the board between pad and body
            (ax, ay), (bx, by) = lands
            leads = self.steps.of(
                (x + dx, y + dy)
                for dx in range(min(ax, bx), max(ax, bx) + 1)
                for dy in range(min(ay, by), max(ay, by) + 1)
            )
            pads |= leads & ~body
        return pads, body

    def all_pads(self, spots: Sequence[Spot]) -> tuple[PadSpot, ...]:
        """Pads of all parts."""
        return tuple(pad for item, spot in enumerate(spots) for pad in self.pads(item, spot))

    def all_covers(self, spots: Sequence[Spot]) -> tuple[int, int]:
        """What all parts cover; a pad's own lead under its body counts as body."""
        over = body = 0
        for item, spot in enumerate(spots):
            own, under = self.covers(item, spot)
            over |= own
            body |= under
        return over, body
