"""Spacing of conductors on printed boards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from subwright.base.errors import RangeError
from subwright.base.tables.origin import Origin

__all__ = ["BOARD_SPACING", "BoardSpacing", "BoardSurface", "board_spacing"]

BoardSurface = Literal[
    "internal",
    "external bare",
    "external bare above 3050 m",
    "external with permanent coating",
    "external with conformal coating",
    "lead bare",
    "lead with conformal coating",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardSpacing:
    """Least spacing in m for one kind of surface up to one peak or DC voltage in V."""

    up_to_v: float
    surface: BoardSurface
    spacing_m: float
    origin: Origin


_READ = Origin(source="ipc-2221a", where="table 6-1, columns B1 to B3", status="read in a secondary page")
_MEMORY = Origin(source="ipc-2221a", where="table 6-1, columns B4 to A7", status="from memory")

# Highest voltage of the row in V, then millimetres in the order of BoardSurface.
_ROWS = (
    (15.0, (0.05, 0.1, 0.1, 0.05, 0.13, 0.13, 0.13)),
    (30.0, (0.05, 0.1, 0.1, 0.05, 0.13, 0.25, 0.13)),
    (50.0, (0.1, 0.6, 0.6, 0.13, 0.13, 0.4, 0.13)),
    (100.0, (0.1, 0.6, 1.5, 0.13, 0.13, 0.5, 0.13)),
    (150.0, (0.2, 0.6, 3.2, 0.4, 0.4, 0.8, 0.4)),
    (170.0, (0.2, 1.25, 3.2, 0.4, 0.4, 0.8, 0.4)),
    (250.0, (0.2, 1.25, 6.4, 0.4, 0.4, 0.8, 0.4)),
    (300.0, (0.2, 1.25, 12.5, 0.4, 0.4, 0.8, 0.8)),
    (500.0, (0.25, 2.5, 12.5, 0.8, 0.8, 1.5, 0.8)),
)
_SURFACES: tuple[BoardSurface, ...] = get_args(BoardSurface)

BOARD_SPACING: tuple[BoardSpacing, ...] = tuple(
    BoardSpacing(
        up_to_v=up_to,
        surface=surface,
        spacing_m=millimetres / 1e3,
        origin=_READ if position < 3 else _MEMORY,
    )
    for up_to, row in _ROWS
    for position, (surface, millimetres) in enumerate(zip(_SURFACES, row, strict=True))
)
"""Every cell of the table, by voltage, then by surface."""


def board_spacing(peak_v: float, surface: BoardSurface) -> BoardSpacing:
    """Least spacing between two conductors of a printed board.

    Parameters
    ----------
    peak_v : DC or peak voltage between them, V, 0 to 500.
    surface : where the conductors lie and what covers them.

    Returns
    -------
    The cell of the table: spacing in m.

    Raises
    ------
    RangeError : the voltage is outside the table.

    Source
    ------
    [ipc-2221a], table 6-1. The letters of its columns move between editions, so they are named by what they
    say. Insulation from the mains is no matter of this table.

    Examples
    --------
    >>> board_spacing(80.0, "external bare").spacing_m
    0.0006
    """
    for cell in BOARD_SPACING:
        if cell.surface == surface and 0.0 <= peak_v <= cell.up_to_v:
            return cell
    raise RangeError(
        message="the spacing table does not reach this voltage",
        quantity="peak voltage",
        value=f"{peak_v:.4g} V",
        limit="0 V to 500 V",
        source="ipc-2221a",
        remedy="above 500 V the standard adds a length per volt, and a safety standard decides",
    )
