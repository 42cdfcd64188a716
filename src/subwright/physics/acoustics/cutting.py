"""Cutting rectangular panels from a sheet with straight saw cuts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from subwright.base.errors import NoSolutionError

__all__ = ["CutPlan", "Piece", "Placement", "plan_cuts", "plan_cuts_closely"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """One rectangle to cut, m."""

    name: str
    length_m: float
    width_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Placement:
    """A piece on a sheet; x runs along the sheet's length from its lower left corner."""

    piece: Piece
    sheet: int  # from 0
    x_m: float
    y_m: float
    turned: bool  # length lies across the sheet


@dataclass(frozen=True, kw_only=True, slots=True)
class CutPlan:
    """Where each piece lies, and how much of the sheets it uses."""

    sheet_length_m: float
    sheet_width_m: float
    kerf_m: float
    placements: tuple[Placement, ...]
    sheets: int
    used_share: float  # area of the pieces over the area of the sheets


@dataclass(slots=True)
class _Shelf:
    sheet: int
    y_m: float
    height_m: float
    x_m: float


def plan_cuts(
    pieces: Iterable[Piece],
    *,
    sheet_length_m: float,
    sheet_width_m: float,
    kerf_m: float,
    may_turn: bool = True,
) -> CutPlan:
    """Place pieces in full-length strips, tallest first, each in the first strip that takes it.

    Every strip can be sawn off the sheet in one cut and divided by cross cuts.

    Parameters
    ----------
    pieces : rectangles, m.
    sheet_length_m, sheet_width_m : raw sheet, m.
    kerf_m : width of the saw cut, m.
    may_turn : whether a piece may lie either way; False keeps its length along the sheet's (visible grain).

    Returns
    -------
    CutPlan : placements in the order of cutting.

    Raises
    ------
    NoSolutionError : when a piece is larger than the sheet.

    Source
    ------
    [coffman-1980] (first-fit decreasing height strip packing).
    """
    oriented = []
    for piece in pieces:
        long_side, short_side = piece.length_m, piece.width_m
        turned = False
        if may_turn and short_side > long_side:
            long_side, short_side, turned = short_side, long_side, True
        if may_turn and (long_side > sheet_length_m and long_side <= sheet_width_m):
            long_side, short_side, turned = short_side, long_side, not turned
        if long_side > sheet_length_m or short_side > sheet_width_m:
            raise NoSolutionError(
                message=f"The panel {piece.name!r} is larger than the sheet.",
                quantity="panel",
                value=f"{1e3 * piece.length_m:.4g} × {1e3 * piece.width_m:.4g} mm",
                limit=f"{1e3 * sheet_length_m:.4g} × {1e3 * sheet_width_m:.4g} mm",
                remedy="Use a larger sheet or a smaller box.",
            )
        oriented.append((short_side, long_side, turned, piece))
    oriented.sort(key=lambda item: (-item[0], -item[1], item[3].name))

    shelves: list[_Shelf] = []
    placements: list[Placement] = []
    for height, length, turned, piece in oriented:
        shelf = next(
            (s for s in shelves if height <= s.height_m and s.x_m + length <= sheet_length_m), None
        ) or _new_shelf(shelves, height, sheet_width_m, kerf_m)
        placements.append(
            Placement(piece=piece, sheet=shelf.sheet, x_m=shelf.x_m, y_m=shelf.y_m, turned=turned)
        )
        shelf.x_m += length + kerf_m
    sheets = 1 + max((s.sheet for s in shelves), default=-1)
    area = sum(p.piece.length_m * p.piece.width_m for p in placements)
    return CutPlan(
        sheet_length_m=sheet_length_m,
        sheet_width_m=sheet_width_m,
        kerf_m=kerf_m,
        placements=tuple(placements),
        sheets=sheets,
        used_share=area / (sheets * sheet_length_m * sheet_width_m) if sheets else 0.0,
    )


def plan_cuts_closely(
    pieces: Iterable[Piece], *, sheet_length_m: float, sheet_width_m: float, kerf_m: float
) -> CutPlan:
    """Place pieces in strips, and where that takes more sheets than their area asks for, pack them closer.

    The closer packing divides what is left of a sheet by edge-to-edge cuts only, so a circular saw can do it;
    of several orders and rules the one with the fewest sheets is kept. It is used only where it saves one.

    Parameters
    ----------
    pieces : rectangles, m.
    sheet_length_m, sheet_width_m : raw sheet, m.
    kerf_m : width of the saw cut, m.

    Raises
    ------
    NoSolutionError : when a piece is larger than the sheet.

    Source
    ------
    [coffman-1980] for the strips; [jylanki-2010] for the guillotine packing.
    """
    wanted = list(pieces)
    strips = plan_cuts(wanted, sheet_length_m=sheet_length_m, sheet_width_m=sheet_width_m, kerf_m=kerf_m)
    area = sum((piece.length_m + kerf_m) * (piece.width_m + kerf_m) for piece in wanted)
    sheet = (sheet_length_m + kerf_m) * (sheet_width_m + kerf_m)
    if strips.sheets <= math.ceil(area / sheet - 1e-9):
        return strips
    closer = _packed(wanted, sheet_length_m, sheet_width_m, kerf_m)
    return closer if closer is not None and closer.sheets < strips.sheets else strips


_TENTH_MM = 1e4


def _packed(
    pieces: list[Piece], sheet_length_m: float, sheet_width_m: float, kerf_m: float
) -> CutPlan | None:
    """Best guillotine packing, in whole tenths of a millimetre; each piece takes its saw cut with it."""
    import rectpack

    def tenths(length_m: float) -> int:
        return math.ceil(length_m * _TENTH_MM - 1e-6)

    best: CutPlan | None = None
    rules = (rectpack.GuillotineBssfSas, rectpack.GuillotineBssfLlas, rectpack.GuillotineBafMaxas)
    for rule in rules:
        for order in (rectpack.SORT_AREA, rectpack.SORT_SSIDE, rectpack.SORT_LSIDE):
            packer = rectpack.newPacker(
                mode=rectpack.PackingMode.Offline,
                bin_algo=rectpack.PackingBin.BBF,
                pack_algo=rule,
                sort_algo=order,
                rotation=True,
            )
            for number, piece in enumerate(pieces):
                packer.add_rect(tenths(piece.length_m + kerf_m), tenths(piece.width_m + kerf_m), rid=number)
            size = (
                math.floor((side + kerf_m) * _TENTH_MM + 1e-6) for side in (sheet_length_m, sheet_width_m)
            )
            packer.add_bin(*size, count=len(pieces))
            packer.pack()
            placed = packer.rect_list()
            if len(placed) < len(pieces) or (best is not None and len(packer) >= best.sheets):
                continue
            placements = []
            for sheet, x, y, width, _, number in sorted(placed, key=lambda item: (item[0], item[2], item[1])):
                piece = pieces[number]
                turned = width != tenths(piece.length_m + kerf_m)
                placements.append(
                    Placement(piece=piece, sheet=sheet, x_m=x / _TENTH_MM, y_m=y / _TENTH_MM, turned=turned)
                )
            area = sum(piece.length_m * piece.width_m for piece in pieces)
            best = CutPlan(
                sheet_length_m=sheet_length_m,
                sheet_width_m=sheet_width_m,
                kerf_m=kerf_m,
                placements=tuple(placements),
                sheets=len(packer),
                used_share=area / (len(packer) * sheet_length_m * sheet_width_m),
            )
    return best


def _new_shelf(shelves: list[_Shelf], height: float, sheet_width_m: float, kerf_m: float) -> _Shelf:
    tops: dict[int, float] = {}
    for shelf in shelves:
        tops[shelf.sheet] = max(tops.get(shelf.sheet, 0.0), shelf.y_m + shelf.height_m + kerf_m)
    for sheet, top in sorted(tops.items()):
        if top + height <= sheet_width_m:
            shelf = _Shelf(sheet=sheet, y_m=top, height_m=height, x_m=0.0)
            break
    else:
        shelf = _Shelf(sheet=len(tops), y_m=0.0, height_m=height, x_m=0.0)
    shelves.append(shelf)
    return shelf
