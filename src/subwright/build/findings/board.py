"""Rules on what the printed boards are asked to carry and to hold apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.standards import board_spacing
from subwright.build.board_currents import board_loads
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.physics.board import track_current_a
from subwright.stages.common import Corner

__all__ = ["board_current", "board_grid", "board_voltage"]

_GRID_M: Final = 1.27e-3  # of tracks: half a tenth of an inch
_APART_V: Final = 300.0  # last row of the table whose gap a second step of the grid still keeps
_PAD_GAP_M: Final = 0.94e-3  # between neighbours of a chip's row: 2.54 mm less a pad of 1.6 mm


@rule(
    "BRD-01",
    stage="wiring",
    severity="warn",
    title="Current in the narrowest track",
    what="Each current that the stages put on a low-power board (the switched control supply, the supplies "
    "of controller and modulator, a relay's coil, the gates' pulses by their effective value), against what "
    "a track of board.track carries at wiring.track_rise.",
    why="A board's supply comes in by one track; where neighbours are tight it is no wider than board.track.",
    limit="The standard's chart for an outer layer, at the foil's thickness.",
    source="ipc-2221",
    example="0.65 mm of 35 µm foil carries 2.4 A at 20 K.",
    remedy="Widen board.track, take thicker foil (wiring.copper_thickness), or feed that board by a wire.",
    near=0.2,
)
def board_current(design: Design) -> Iterator[Measure]:
    """Measure each current in A."""
    spec = design.spec
    limit = track_current_a(spec.board.track_m, spec.wiring.track_rise_k, spec.wiring.copper_thickness_m)
    for load in board_loads(design):
        yield Measure(
            quantity=f"{load.what}, in one track",
            value=load.amps,
            limit=limit,
            dimension="current",
            at=f"{spec.board.track_m * 1e3:.2f} mm",
        )


@rule(
    "BRD-02",
    stage="wiring",
    severity="warn",
    title="Voltage between neighbours on a board",
    what="The highest voltage between two conductors of the low-power boards: from rail to rail, or the "
    "battery's highest.",
    why="Bare copper tracks over where flux and damp sit; the standard's gap grows with the voltage.",
    limit="300 V: above it the standard asks 2.5 mm, more than two steps of the grid leave.",
    source="ipc-2221a",
    example="Rails of ±70 V are 140 V apart: 0.6 mm.",
    remedy="Lower converter.rail, or wire the parts at the rails by hand.",
    near=0.1,
)
def board_voltage(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    yield Measure(
        quantity="voltage between neighbours",
        value=_highest_v(design),
        limit=_APART_V,
        dimension="voltage",
    )


@rule(
    "BRD-03",
    stage="wiring",
    severity="warn",
    title="Track and gap on the grid",
    what="board.track and board.spacing together, against one step of the grid that all tracks run on.",
    why="Two tracks on neighbouring steps must both fit; otherwise no board can be made.",
    limit="1.27 mm, half a tenth of an inch: the pitch that leaded parts share.",
    source="common-practice",
    example="0.65 mm and 0.6 mm are 1.25 mm.",
    remedy="Lower board.track or board.spacing.",
)
def board_grid(design: Design) -> Iterator[Measure]:
    """Measure the sum in m, and the gap between a chip's pins where more is asked."""
    spec = design.spec.board
    yield Measure(
        quantity="track and gap",
        value=spec.track_m + spec.spacing_m,
        limit=_GRID_M,
        dimension="length",
    )
    usual_v = min(_highest_v(design), 150.0)
    yield Measure(
        quantity="gap between a chip's neighbouring pads",
        value=max(spec.spacing_m, board_spacing(usual_v, "external bare").spacing_m),
        limit=_PAD_GAP_M,
        dimension="length",
    )


def _highest_v(design: Design) -> float:
    highest = design.supply.corners[Corner.MAX]
    if design.converter is not None:
        highest = max(highest, 2.0 * design.converter.rail_unloaded_v)
    if design.boost is not None:
        highest = max(highest, design.boost.rail_high_v)
    return highest
