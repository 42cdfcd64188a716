"""A board's lists: what to fit in which order, wires, and the table of places."""

from __future__ import annotations

import math

from subwright.boards.record import Board, Link, Place, Placed
from subwright.outputs.csvfile import table
from subwright.outputs.made_board import plain_value_mm

__all__ = ["PLACES_HEADER", "STUFFING_HEADER", "places_csv", "stuffing_rows", "wire_rows"]

PLACES_HEADER = (
    "part",
    "value",
    "shape",
    "x mm",
    "y mm",
    "turn degrees",
    "height mm",
    "pin",
    "net",
    "pin x mm",
    "pin y mm",
    "hole mm",
)
STUFFING_HEADER = ("fit", "part", "value", "shape", "which way round")


def _mm(size_um: int) -> str:
    return f"{size_um / 1000:.3f}"


def _at(place: Place) -> tuple[str, str]:
    return _mm(place[0]), _mm(place[1])


def places_csv(board: Board) -> str:
    """Every pin of every part, link and wire pad with its place, as CSV; the origin is lower left."""
    rows: list[tuple[str, ...]] = []
    for placed in board.placed:
        named = (placed.case, placed.label, placed.footprint)
        about = (_mm(placed.x_um), _mm(placed.y_um), str(placed.turn), _mm(placed.height_um))
        rows += [
            (*named, *about, pad.pin, pad.net, _mm(pad.x_um), _mm(pad.y_um), _mm(pad.hole_um))
            for pad in placed.pads
        ]
    for link in board.links:
        wire = f"{plain_value_mm(link.wire_um)} {'insulated' if link.insulated else 'bare'} wire"
        named = (f"link {link.number}", wire, "link")
        about = (*_at(link.start), "0", "0.000")
        rows += [
            (*named, *about, pin, link.net, *_at(place), _mm(link.hole_um))
            for pin, place in (("1", link.start), ("2", link.end))
        ]
    for lead in board.wire_pads:
        place = _at((lead.x_um, lead.y_um))
        named = (lead.name, lead.leads_to or "test point", "wire pad")
        rows.append((*named, *place, "0", "", "1", lead.net, *place, _mm(lead.hole_um)))
    return table(PLACES_HEADER, rows)


def stuffing_rows(board: Board) -> tuple[tuple[str, ...], ...]:
    """What to fit, lowest first, so that the board lies flat while it is soldered: links, then parts."""
    lengths: dict[tuple[bool, int, int], list[int]] = {}
    for link in board.links:
        lengths.setdefault((link.insulated, link.wire_um, _span(link)), []).append(link.number)
    links = [
        (
            "",
            f"link{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}",
            f"{plain_value_mm(wire_um)} {'wire in a sleeve' if sleeved else 'bare tinned wire'}",
            f"{plain_value_mm(span_um)} long",
            "",
        )
        for (sleeved, wire_um, span_um), numbers in sorted(lengths.items())
    ]
    parts = [
        ("", placed.case, placed.label, placed.footprint, _way_round(placed))
        for placed in sorted(board.placed, key=lambda one: (one.height_um, one.footprint, _natural(one.case)))
    ]
    return (*links, *parts)


def _span(link: Link) -> int:
    """Between a link's holes, µm."""
    return round(math.hypot(link.start[0] - link.end[0], link.start[1] - link.end[1]))


def _natural(case: str) -> tuple[str, int]:
    letters = case.rstrip("0123456789")
    return letters, int(case[len(letters) :] or 0)


def _way_round(placed: Placed) -> str:
    if placed.polarity is None:
        return ""
    pins = {pad.pin for pad in placed.pads}
    if len(placed.pads) == 2:
        return "band at the line" if "K" in pins else "plus at the mark"
    return "notch at the ring" if len(placed.pads) > 4 else "case's mark at the ring"


def wire_rows(board: Board) -> tuple[tuple[str, str, str], ...]:
    """Wire pads: printed name, where the wire leads, hole; the order of the board's edge."""
    return tuple(
        (wire.name, wire.leads_to or "test point", plain_value_mm(wire.hole_um)) for wire in board.wire_pads
    )
