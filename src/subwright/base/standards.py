"""The standards' tables in one place: wire, cable, fuses, board spacing, sheets and screws.

Each row says where it comes from. A look-up outside its table refuses; nothing is extrapolated.
"""

from __future__ import annotations

from subwright.base.gauge import awg_area, awg_diameter, awg_name
from subwright.base.preferred import SERIES
from subwright.base.tables.board import BOARD_SPACING, BoardSpacing, BoardSurface, board_spacing
from subwright.base.tables.cable import (
    IEC60228_CLASS5,
    VEHICLE_CABLE,
    CableSize,
    CableStandard,
    cable,
    cable_at_least,
    cables,
)
from subwright.base.tables.fuse import (
    FUSE_RATINGS,
    FUSE_TIMES,
    FuseBody,
    FuseRating,
    OpeningTime,
    fuse_at_least,
    fuse_ratings,
    opening_time,
)
from subwright.base.tables.origin import Origin
from subwright.base.tables.timber import (
    SHEETS,
    WOOD_SCREWS,
    PanelMaterial,
    Sheet,
    WoodScrew,
    sheets_of,
    wood_screw,
)
from subwright.base.tables.wire import (
    AWG,
    METRIC_WIRE,
    AwgSize,
    EnamelledWire,
    enamelled_overall,
    enamelled_wire,
    enamelled_wire_at_least,
)

__all__ = [
    "AWG",
    "BOARD_SPACING",
    "FUSE_RATINGS",
    "FUSE_TIMES",
    "IEC60228_CLASS5",
    "METRIC_WIRE",
    "SERIES",
    "SHEETS",
    "VEHICLE_CABLE",
    "WOOD_SCREWS",
    "AwgSize",
    "BoardSpacing",
    "BoardSurface",
    "CableSize",
    "CableStandard",
    "EnamelledWire",
    "FuseBody",
    "FuseRating",
    "OpeningTime",
    "Origin",
    "PanelMaterial",
    "Sheet",
    "WoodScrew",
    "awg_area",
    "awg_diameter",
    "awg_name",
    "board_spacing",
    "cable",
    "cable_at_least",
    "cables",
    "enamelled_overall",
    "enamelled_wire",
    "enamelled_wire_at_least",
    "fuse_at_least",
    "fuse_ratings",
    "opening_time",
    "sheets_of",
    "wood_screw",
]
