"""Circuit symbols: pins on the grid, strokes, and the box that labels keep clear of.

Shapes follow IEC 60617 as the trade draws them; the resistor also has its zigzag (IEEE 315). Local units are
those of the sheet, four to the millimetre; a two-terminal symbol lies along x, its first pin at the left.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Final, Literal

from subwright.outputs.schematic_chips import (
    CHIPS,
    chip,
    grounded_comparator,
    half_bridge_driver,
    schmitt_inverter,
    triangle,
)
from subwright.outputs.schematic_strokes import GRID, Mark, Point, Stroke, Symbol, arc, area, arrow, line

__all__ = ["GRID", "STYLES", "Mark", "Point", "ResistorStyle", "Stroke", "Symbol", "symbol"]

ResistorStyle = Literal["iec", "us"]
STYLES: Final[tuple[ResistorStyle, ...]] = ("iec", "us")


def _pair(first: str, second: str) -> tuple[tuple[str, Point], ...]:
    return ((first, (-20, 0)), (second, (20, 0)))


def _resistor_body(style: ResistorStyle) -> tuple[Stroke, ...]:
    if style == "us":
        teeth = [(-13 + 26 * (k + 0.5) / 6, -6 if k % 2 == 0 else 6) for k in range(6)]
        return (line((-20, 0), (-13, 0), *teeth, (13, 0), (20, 0)),)
    return (
        area((-13, -5), (13, -5), (13, 5), (-13, 5), fill="open"),
        line((-20, 0), (-13, 0)),
        line((13, 0), (20, 0)),
    )


_BENT_BAR: Final = ((3, -7), (7, -7), (7, 7), (11, 7))  # of a breakdown diode


def _diode_body(bar: tuple[tuple[float, float], ...]) -> tuple[Stroke, ...]:
    return (area((-7, -7), (-7, 7), (7, 0)), line(*bar), line((-20, 0), (-7, 0)), line((7, 0), (20, 0)))


_FULL_TURN: Final = tuple(math.radians(20.0 * k) for k in range(18))


def _coil() -> tuple[Stroke, ...]:
    points: tuple[tuple[float, float], ...] = ((-20.0, 0.0),)
    for k in range(4):
        points += arc(-15 + 10 * k, 0, 5, 180, 360)
    return (line(*points, (20, 0)),)


def _mosfet() -> Symbol:
    """N channel, enhancement, with its body diode."""
    strokes = (
        line((-20, 0), (-8, 0)),
        line((-8, -10), (-8, 10)),
        *(line((-3, y - 3.5), (-3, y + 3.5), heavy=True) for y in (-10, 0, 10)),
        line((-3, -10), (10, -10), (10, -20)),
        line((-3, 10), (10, 10), (10, 20)),
        line((-3, 0), (10, 0), (10, 10)),
        arrow((-2, 0), 180),
        line((10, -13), (20, -13), (20, 13), (10, 13)),
        area((15.5, 4), (24.5, 4), (20, -4)),
        line((15, -4), (25, -4)),
    )
    return Symbol(
        pins=(("drain", (10, -20)), ("gate", (-20, 0)), ("source", (10, 20))),
        strokes=strokes,
        box=(-12, -16, 26, 16),
    )


def _p_mosfet() -> Symbol:
    """P channel, enhancement, with its body diode."""
    plain = _mosfet()
    strokes = (
        *plain.strokes[:8],
        arrow((8, 0), 0),
        line((10, -13), (20, -13), (20, 13), (10, 13)),
        area((15.5, -4), (24.5, -4), (20, 4)),
        line((15, 4), (25, 4)),
    )
    return Symbol(pins=plain.pins, strokes=strokes, box=plain.box)


def _relay() -> Symbol:
    """Coil above, its contacts below; the broken line says that they move together."""
    return Symbol(
        pins=(
            ("coil +", (-20, -40)),
            ("coil -", (20, -40)),
            ("common", (-20, 20)),
            ("make", (20, 10)),
            ("rest", (20, 30)),
        ),
        strokes=(
            area((-12, -50), (12, -50), (12, -30), (-12, -30), fill="open"),
            line((-6, -30), (6, -50)),
            line((-20, -40), (-12, -40)),
            line((12, -40), (20, -40)),
            *(line((0, y), (0, y + 5)) for y in (-28, -18, -8, 2)),
            line((-20, 20), (-12, 20)),
            area(*arc(-10, 20, 2.5, 0, 340), fill="open"),
            line((-8, 20), (13, 29)),
            area(*arc(12, 10, 2.5, 0, 340), fill="open"),
            line((14.5, 10), (20, 10)),
            area(*arc(12, 30, 2.5, 0, 340), fill="open"),
            line((14.5, 30), (20, 30)),
        ),
        box=(-13, -51, 15, 34),
    )


def _gate_driver() -> Symbol:
    """Light-emitting diode beside a photovoltaic source, in one case."""
    return Symbol(
        pins=(("anode", (-40, -20)), ("cathode", (-40, 20)), ("+", (40, -20)), ("-", (40, 20))),
        strokes=(
            area((-30, -30), (30, -30), (30, 30), (-30, 30), fill="open"),
            line((-40, -20), (-18, -20), (-18, -6)),
            area((-25, -6), (-11, -6), (-18, 6)),
            line((-25, 6), (-11, 6)),
            line((-18, 6), (-18, 20), (-40, 20)),
            line((-9, -3), (-1, -3)),
            arrow((2, -3), 0, 5),
            line((-9, 4), (-1, 4)),
            arrow((2, 4), 0, 5),
            line((40, -20), (17, -20), (17, -4)),
            line((8, -4), (26, -4), heavy=True),
            line((12, 4), (22, 4)),
            line((17, 4), (17, 20), (40, 20)),
        ),
        box=(-30, -30, 30, 30),
    )


def _transistor(npn: bool) -> Symbol:
    head = arrow((8, 13.5), 48) if npn else arrow((-2, 4.5), 228)
    return Symbol(
        pins=(("collector", (10, -20)), ("base", (-20, 0)), ("emitter", (10, 20))),
        strokes=(
            line((-20, 0), (-6, 0)),
            line((-6, -11), (-6, 11), heavy=True),
            line((-6, -4), (10, -15), (10, -20)),
            line((-6, 4), (10, 15), (10, 20)),
            head,
        ),
        box=(-9, -17, 12, 17),
    )


def _p_junction_fet() -> Symbol:
    """Junction field-effect transistor, P channel: the arrow of its gate points away."""
    return Symbol(
        pins=(("drain", (10, -20)), ("gate", (-20, 0)), ("source", (10, 20))),
        strokes=(
            line((-20, 0), (-3, 0)),
            line((-3, -13), (-3, 13), heavy=True),
            line((-3, -8), (10, -8), (10, -20)),
            line((-3, 8), (10, 8), (10, 20)),
            arrow((-14, 0), 180),
        ),
        box=(-15, -15, 12, 15),
    )


@cache
def symbol(kind: str, style: ResistorStyle = "iec") -> Symbol:
    """Symbol of a part kind, or of one of its variants ("polarised capacitor", "pnp", "supply unit" …).

    Raises
    ------
    KeyError : there is none.
    """
    wide = (-13.0, -6.0, 13.0, 6.0)
    body = _resistor_body(style)
    if kind in CHIPS:
        return chip(kind)
    match kind:
        case "resistor":
            return Symbol(pins=_pair("1", "2"), strokes=body, box=wide)
        case "thermistor":
            slope = line((-14, 11), (-8, 11), (10, -11))
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(*body, slope),
                box=(-14, -12, 13, 12),
            )
        case "potentiometer":
            wiper = (line((0, -20), (0, -10)), arrow((0, -5), 90))
            return Symbol(
                pins=(("top", (-20, 0)), ("wiper", (0, -20)), ("bottom", (20, 0))),
                strokes=(*body, *wiper),
                box=(-13, -12, 13, 6),
            )
        case "capacitor":
            plates = (line((-3, -11), (-3, 11), heavy=True), line((3, -11), (3, 11), heavy=True))
            leads = (line((-20, 0), (-3, 0)), line((3, 0), (20, 0)))
            return Symbol(pins=_pair("+", "-"), strokes=(*plates, *leads), box=(-5, -12, 5, 12))
        case "polarised capacitor":
            plates = (
                area((-7, -11), (-7, 11), (-2.5, 11), (-2.5, -11), fill="open"),
                line((3.5, -11), (3.5, 11), heavy=True),
            )
            leads = (line((-20, 0), (-7, 0)), line((3.5, 0), (20, 0)))
            return Symbol(
                pins=_pair("+", "-"),
                strokes=(*plates, *leads),
                box=(-16, -12, 6, 12),
                marks=(Mark(x=-13, y=-7, content="+"),),
            )
        case "inductor":
            return Symbol(pins=_pair("1", "2"), strokes=_coil(), box=(-20, -7, 20, 2))
        case "coupled inductor":
            dot = area(*arc(-18, -10, 2.6, 0, 340))
            return Symbol(pins=_pair("1", "2"), strokes=(*_coil(), dot), box=(-21, -13, 20, 2))
        case "winding":
            dot = area(*arc(-18, -10, 2.6, 0, 340))
            return Symbol(pins=_pair("start", "finish"), strokes=(*_coil(), dot), box=(-21, -13, 20, 2))
        case "diode":
            return Symbol(
                pins=_pair("anode", "cathode"), strokes=_diode_body(((7, -7), (7, 7))), box=(-8, -8, 9, 8)
            )
        case "zener":
            return Symbol(pins=_pair("anode", "cathode"), strokes=_diode_body(_BENT_BAR), box=(-8, -8, 12, 8))
        case "lamp":
            rays = (
                line((-2, -9), (3, -15)),
                arrow((5, -17), -50, 5),
                line((4, -8), (9, -14)),
                arrow((11, -16), -50, 5),
            )
            return Symbol(
                pins=_pair("anode", "cathode"),
                strokes=(*_diode_body(((7, -7), (7, 7))), *rays),
                box=(-8, -18, 12, 8),
            )
        case "shunt reference":
            tap = line((0, -20), (0, -3))
            return Symbol(
                pins=(("anode", (-20, 0)), ("cathode", (20, 0)), ("reference", (0, -20))),
                strokes=(*_diode_body(_BENT_BAR), tap),
                box=(-8, -10, 12, 8),
            )
        case "mosfet":
            return _mosfet()
        case "p-mosfet":
            return _p_mosfet()
        case "junction fet":
            return _p_junction_fet()
        case "relay":
            return _relay()
        case "gate driver":
            return _gate_driver()
        case "npn" | "pnp":
            return _transistor(kind == "npn")
        case "grounded comparator":
            return grounded_comparator()
        case "half-bridge driver":
            return half_bridge_driver()
        case "schmitt inverter":
            return schmitt_inverter()
        case "op-amp" | "comparator":
            return triangle(kind == "comparator")
        case "supply unit":
            return Symbol(
                pins=(("V+", (0, -40)), ("V-", (0, 40))),
                strokes=(
                    area((-22, -26), (22, -26), (22, 26), (-22, 26), fill="open"),
                    line((0, -40), (0, -26)),
                    line((0, 40), (0, 26)),
                ),
                box=(-22, -26, 22, 26),
                marks=(Mark(x=0, y=-16, content="V+"), Mark(x=0, y=16, content="V−")),
            )
        case "regulator":
            return Symbol(
                pins=(("in", (-40, 0)), ("out", (40, 0)), ("adjust", (0, 30))),
                strokes=(
                    area((-26, -16), (26, -16), (26, 18), (-26, 18), fill="open"),
                    line((-40, 0), (-26, 0)),
                    line((26, 0), (40, 0)),
                    line((0, 18), (0, 30)),
                ),
                box=(-26, -16, 26, 18),
                marks=(
                    Mark(x=-14, y=0, content="in"),
                    Mark(x=12, y=0, content="out"),
                    Mark(x=0, y=12, content="adj"),
                ),
            )
        case "switch":
            return Symbol(
                pins=(("common", (-20, 0)), ("closed", (20, -10)), ("open", (20, 10))),
                strokes=(
                    line((-20, 0), (-12, 0)),
                    area(*arc(-10, 0, 2.5, 0, 340), fill="open"),
                    line((-8, -1), (11, -8)),
                    area(*arc(12, -10, 2.5, 0, 340), fill="open"),
                    area(*arc(12, 10, 2.5, 0, 340), fill="open"),
                    line((14.5, -10), (20, -10)),
                    line((14.5, 10), (20, 10)),
                ),
                box=(-13, -13, 15, 13),
            )
        case "connector":
            return Symbol(
                pins=(("signal", (20, 0)), ("shell", (0, 20))),
                strokes=(
                    line(*arc(0, 0, 12, 50, 310)),
                    area(*arc(0, 0, 4, 0, 340)),
                    line((4, 0), (20, 0)),
                    line((0, 12), (0, 20)),
                ),
                box=(-13, -13, 9, 13),
            )
        case "terminals":  # a pair of screw terminals; the pins are a connector's
            screws = tuple(
                stroke
                for y in (-3, 8)
                for stroke in (
                    area(*arc(0, y, 4, 0, 340), fill="open"),
                    line((-2.8, y + 2.8), (2.8, y - 2.8)),
                )
            )
            return Symbol(
                pins=(("signal", (20, 0)), ("shell", (0, 20))),
                strokes=(
                    area((-9, -10), (9, -10), (9, 15), (-9, 15), fill="open"),
                    line((4, -3), (14, -3), (14, 0), (20, 0)),
                    line((0, 12), (0, 20)),
                    *screws,
                ),
                box=(-10, -11, 10, 16),
                marks=(Mark(x=-15, y=-3, content="+"), Mark(x=-15, y=9, content="\u2212")),
            )
        case "jumper":
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(
                    line((-20, 0), (-12, 0)),
                    area(*arc(-9, 0, 3, 0, 340), fill="open"),
                    area(*arc(9, 0, 3, 0, 340), fill="open"),
                    line((12, 0), (20, 0)),
                    line((-9, -5), (-9, -9), (9, -9), (9, -5)),
                ),
                box=(-13, -10, 13, 4),
            )
        case "battery":
            strokes = [line((-20, 0), (-9, 0)), line((9, 0), (20, 0))]
            for x in (-9, 3):
                strokes += [line((x, -13), (x, 13)), line((x + 6, -6), (x + 6, 6), heavy=True)]
            return Symbol(
                pins=_pair("+", "-"),
                strokes=tuple(strokes),
                box=(-11, -14, 11, 14),
                marks=(Mark(x=-15, y=-8, content="+"),),
            )
        case "cable":
            sheath = tuple((12.0 * math.cos(a), 5.0 * math.sin(a)) for a in _FULL_TURN)
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(area(*sheath, fill="open"), line((-20, 0), (20, 0), heavy=True)),
                box=(-13, -6, 13, 6),
            )
        case "loudspeaker":
            return Symbol(
                pins=_pair("+", "-"),
                strokes=(
                    line((-20, 0), (-8, 0)),
                    line((8, 0), (20, 0)),
                    area((-8, -5), (8, -5), (8, 7), (-8, 7), fill="open"),
                    area((-8, -5), (-16, -15), (16, -15), (8, -5), fill="open"),
                ),
                box=(-17, -16, 17, 8),
                marks=(Mark(x=-14, y=8, content="+"),),
            )
        case "fuse":
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(
                    area((-13, -5), (13, -5), (13, 5), (-13, 5), fill="open"),
                    line((-20, 0), (20, 0)),
                ),
                box=wide,
            )
    raise KeyError(kind)
