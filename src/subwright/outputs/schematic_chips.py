"""Symbols of integrated circuits: amplifiers, gates, and cases as boxes with their pins down both sides."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from subwright.outputs.schematic_strokes import Mark, Point, Symbol, arc, area, line

__all__ = ["CHIPS", "chip", "grounded_comparator", "half_bridge_driver", "schmitt_inverter", "triangle"]


def triangle(collector: bool) -> Symbol:
    """Op-amp or comparator without its supply pins; a comparator's open collector is underlined (IEC)."""
    marks = [Mark(x=-13, y=-10, content="−"), Mark(x=-13, y=10, content="+")]
    strokes = [
        area((-22, -24), (-22, 24), (22, 0), fill="open"),
        line((-30, -10), (-22, -10)),
        line((-30, 10), (-22, 10)),
        line((22, 0), (30, 0)),
    ]
    if collector:
        strokes += [area((4, -4), (8, 0), (4, 4), (0, 0), fill="open"), line((0, 6), (8, 6))]
    return Symbol(
        pins=(("-", (-30, -10)), ("+", (-30, 10)), ("out", (30, 0))),
        strokes=tuple(strokes),
        box=(-22, -24, 22, 24),
        marks=tuple(marks),
    )


def grounded_comparator() -> Symbol:
    """A comparator whose open collector pulls to a ground pin of its own, drawn below."""
    plain = triangle(collector=True)
    return Symbol(
        pins=(*plain.pins, ("ground", (0, 40))),
        strokes=(*plain.strokes, line((0, 12), (0, 40))),
        box=plain.box,
        marks=plain.marks,
    )


def schmitt_inverter() -> Symbol:
    """Inverter with hysteresis (IEC 60617-12: general qualifying symbol 1, negated output)."""
    return Symbol(
        pins=(("in", (-30, 0)), ("out", (40, 0))),
        strokes=(
            area((-18, -20), (18, -20), (18, 20), (-18, 20), fill="open"),
            line((-30, 0), (-18, 0)),
            area(*arc(21, 0, 3, 0, 340), fill="open"),
            line((24, 0), (40, 0)),
            line((-11, 12), (3, 12), (3, 2)),
            line((-3, 12), (-3, 2), (11, 2)),
        ),
        box=(-18, -20, 24, 20),
        marks=(Mark(x=0, y=-12, content="1"),),
    )


CHIPS: Final = {
    # pins down the left and down the right side, "" for a gap; their numbers are those of the case
    "3525 controller": (
        ("REF", "NI", "INV", "COMP", "SS", "SD", "RT", "CT", "DIS"),
        ("VIN", "VC", "OUTA", "OUTB", "OSC", "SYNC", "GND"),
    ),
    "494 controller": (
        ("REF", "1IN-", "1IN+", "2IN-", "2IN+", "FB", "DTC", "RT", "CT"),
        ("VCC", "OC", "C1", "E1", "C2", "E2", "GND"),
    ),
    "3524 controller": (
        ("REF", "NI", "", "INV", "", "SD", "", "COMP", "RT", "CT"),
        ("VIN", "CA", "EA", "CB", "EB", "OSC", "CL+", "CL-", "GND"),
    ),
    "3846 controller": (
        ("REF", "EA+", "EA-", "COMP", "CL", "RT", "CT", "", "", "CS-", "CS+"),
        ("VIN", "VC", "OUTA", "OUTB", "SYNC", "SD", "", "GND"),
    ),
    "384x controller": (("REF", "FB", "COMP", "RTCT"), ("VCC", "OUT", "GND", "CS")),
}
_CHIP_PITCH: Final = 40
_CHIP_HALF: Final = 70


def chip(kind: str) -> Symbol:
    """A case as a box, its pins down both sides at one pitch."""
    sides = CHIPS[kind]
    high = max(len(side) for side in sides)
    top = -(high - 1) * _CHIP_PITCH // 2
    left, right = (
        tuple((name, top + _CHIP_PITCH * k) for k, name in enumerate(side) if name) for side in sides
    )
    return _case(left, right)


def half_bridge_driver() -> Symbol:
    """Driver of an upper and a lower switch: supplies and inputs at the left, outputs at the right.

    VB and VS lie as far apart as a part is long: what hangs between them stands there.
    """
    return _case(
        (("VCC", -120), ("VDD", -70), ("HIN", -30), ("LIN", 10), ("SD", 50), ("VSS", 120)),
        (("VB", -120), ("VS", -80), ("HO", -20), ("LO", 90), ("COM", 130)),
    )


def _case(left: Sequence[tuple[str, int]], right: Sequence[tuple[str, int]]) -> Symbol:
    heights = [y for _, y in (*left, *right)]
    top, bottom = min(heights) - 24, max(heights) + 24
    pins: list[tuple[str, Point]] = []
    strokes = [
        area((-_CHIP_HALF, top), (_CHIP_HALF, top), (_CHIP_HALF, bottom), (-_CHIP_HALF, bottom), fill="open")
    ]
    marks = []
    for sign, side in ((-1, left), (1, right)):
        for name, y in side:
            pins.append((name, (sign * (_CHIP_HALF + 30), y)))
            strokes.append(line((sign * _CHIP_HALF, y), (sign * (_CHIP_HALF + 30), y)))
            marks.append(
                Mark(x=sign * (_CHIP_HALF - 7 - 3.4 * len(name)), y=y, content=name.replace("-", "−"))
            )
    return Symbol(
        pins=tuple(pins),
        strokes=tuple(strokes),
        box=(-_CHIP_HALF, top, _CHIP_HALF, bottom),
        marks=tuple(marks),
    )
