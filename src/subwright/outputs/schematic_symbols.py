"""Circuit symbols: pins on the grid, strokes, and the box that labels keep clear of.

Shapes follow IEC 60617 as the trade draws them; the resistor also has its zigzag (IEEE 315). Local units are
those of the sheet, four to the millimetre; a two-terminal symbol lies along x, its first pin at the left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

__all__ = ["GRID", "STYLES", "Mark", "Point", "ResistorStyle", "Stroke", "Symbol", "symbol"]

GRID: Final = 10

Point = tuple[int, int]
ResistorStyle = Literal["iec", "us"]
STYLES: Final[tuple[ResistorStyle, ...]] = ("iec", "us")


@dataclass(frozen=True, kw_only=True, slots=True)
class Stroke:
    """A polyline; ``fill`` is "" for open strokes, "solid" for ink, "open" for paper."""

    points: tuple[tuple[float, float], ...]
    closed: bool = False
    fill: Literal["", "solid", "open"] = ""
    heavy: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A character inside a symbol, centred; it stays upright when the symbol is turned."""

    x: float
    y: float
    content: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Symbol:
    """Pins by name, strokes, marks, and the box (left, top, right, bottom) of the body."""

    pins: tuple[tuple[str, Point], ...]
    strokes: tuple[Stroke, ...]
    box: tuple[float, float, float, float]
    marks: tuple[Mark, ...] = ()


def _line(*points: tuple[float, float], heavy: bool = False) -> Stroke:
    return Stroke(points=points, heavy=heavy)


def _area(*points: tuple[float, float], fill: Literal["", "solid", "open"] = "solid") -> Stroke:
    return Stroke(points=points, closed=True, fill=fill)


def _arc(x: float, y: float, radius: float, start: float, end: float) -> tuple[tuple[float, float], ...]:
    """Points of an arc, angles in degrees, clockwise on the sheet from the right."""
    count = max(2, round(abs(end - start) / 20.0))
    angles = (math.radians(start + (end - start) * k / count) for k in range(count + 1))
    return tuple((x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles)


def _arrow(tip: tuple[float, float], angle: float, size: float = 6.0) -> Stroke:
    """A solid arrow head; ``angle`` is where it points, degrees clockwise from the right."""
    a = math.radians(angle)
    back = (tip[0] - size * math.cos(a), tip[1] - size * math.sin(a))
    side = (-0.45 * size * math.sin(a), 0.45 * size * math.cos(a))
    return _area(tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))


def _pair(first: str, second: str) -> tuple[tuple[str, Point], ...]:
    return ((first, (-20, 0)), (second, (20, 0)))


def _resistor_body(style: ResistorStyle) -> tuple[Stroke, ...]:
    if style == "us":
        teeth = [(-13 + 26 * (k + 0.5) / 6, -6 if k % 2 == 0 else 6) for k in range(6)]
        return (_line((-20, 0), (-13, 0), *teeth, (13, 0), (20, 0)),)
    return (
        _area((-13, -5), (13, -5), (13, 5), (-13, 5), fill="open"),
        _line((-20, 0), (-13, 0)),
        _line((13, 0), (20, 0)),
    )


_BENT_BAR: Final = ((3, -7), (7, -7), (7, 7), (11, 7))  # of a breakdown diode


def _diode_body(bar: tuple[tuple[float, float], ...]) -> tuple[Stroke, ...]:
    return (_area((-7, -7), (-7, 7), (7, 0)), _line(*bar), _line((-20, 0), (-7, 0)), _line((7, 0), (20, 0)))


_FULL_TURN: Final = tuple(math.radians(20.0 * k) for k in range(18))


def _coil() -> tuple[Stroke, ...]:
    points: tuple[tuple[float, float], ...] = ((-20.0, 0.0),)
    for k in range(4):
        points += _arc(-15 + 10 * k, 0, 5, 180, 360)
    return (_line(*points, (20, 0)),)


def _mosfet() -> Symbol:
    """N channel, enhancement, with its body diode."""
    strokes = (
        _line((-20, 0), (-8, 0)),
        _line((-8, -10), (-8, 10)),
        *(_line((-3, y - 3.5), (-3, y + 3.5), heavy=True) for y in (-10, 0, 10)),
        _line((-3, -10), (10, -10), (10, -20)),
        _line((-3, 10), (10, 10), (10, 20)),
        _line((-3, 0), (10, 0), (10, 10)),
        _arrow((-2, 0), 180),
        _line((10, -13), (20, -13), (20, 13), (10, 13)),
        _area((15.5, 4), (24.5, 4), (20, -4)),
        _line((15, -4), (25, -4)),
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
        _arrow((8, 0), 0),
        _line((10, -13), (20, -13), (20, 13), (10, 13)),
        _area((15.5, -4), (24.5, -4), (20, 4)),
        _line((15, 4), (25, 4)),
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
            _area((-12, -50), (12, -50), (12, -30), (-12, -30), fill="open"),
            _line((-6, -30), (6, -50)),
            _line((-20, -40), (-12, -40)),
            _line((12, -40), (20, -40)),
            *(_line((0, y), (0, y + 5)) for y in (-28, -18, -8, 2)),
            _line((-20, 20), (-12, 20)),
            _area(*_arc(-10, 20, 2.5, 0, 340), fill="open"),
            _line((-8, 20), (13, 29)),
            _area(*_arc(12, 10, 2.5, 0, 340), fill="open"),
            _line((14.5, 10), (20, 10)),
            _area(*_arc(12, 30, 2.5, 0, 340), fill="open"),
            _line((14.5, 30), (20, 30)),
        ),
        box=(-13, -51, 15, 34),
    )


def _gate_driver() -> Symbol:
    """Light-emitting diode beside a photovoltaic source, in one case."""
    return Symbol(
        pins=(("anode", (-40, -20)), ("cathode", (-40, 20)), ("+", (40, -20)), ("-", (40, 20))),
        strokes=(
            _area((-30, -30), (30, -30), (30, 30), (-30, 30), fill="open"),
            _line((-40, -20), (-18, -20), (-18, -6)),
            _area((-25, -6), (-11, -6), (-18, 6)),
            _line((-25, 6), (-11, 6)),
            _line((-18, 6), (-18, 20), (-40, 20)),
            _line((-9, -3), (-1, -3)),
            _arrow((2, -3), 0, 5),
            _line((-9, 4), (-1, 4)),
            _arrow((2, 4), 0, 5),
            _line((40, -20), (17, -20), (17, -4)),
            _line((8, -4), (26, -4), heavy=True),
            _line((12, 4), (22, 4)),
            _line((17, 4), (17, 20), (40, 20)),
        ),
        box=(-30, -30, 30, 30),
    )


def _transistor(npn: bool) -> Symbol:
    arrow = _arrow((8, 13.5), 48) if npn else _arrow((-2, 4.5), 228)
    return Symbol(
        pins=(("collector", (10, -20)), ("base", (-20, 0)), ("emitter", (10, 20))),
        strokes=(
            _line((-20, 0), (-6, 0)),
            _line((-6, -11), (-6, 11), heavy=True),
            _line((-6, -4), (10, -15), (10, -20)),
            _line((-6, 4), (10, 15), (10, 20)),
            arrow,
        ),
        box=(-9, -17, 12, 17),
    )


def _p_junction_fet() -> Symbol:
    """Junction field-effect transistor, P channel: the arrow of its gate points away."""
    return Symbol(
        pins=(("drain", (10, -20)), ("gate", (-20, 0)), ("source", (10, 20))),
        strokes=(
            _line((-20, 0), (-3, 0)),
            _line((-3, -13), (-3, 13), heavy=True),
            _line((-3, -8), (10, -8), (10, -20)),
            _line((-3, 8), (10, 8), (10, 20)),
            _arrow((-14, 0), 180),
        ),
        box=(-15, -15, 12, 15),
    )


def _triangle(collector: bool) -> Symbol:
    """Op-amp or comparator without its supply pins; a comparator's open collector is underlined (IEC)."""
    marks = [Mark(x=-13, y=-10, content="−"), Mark(x=-13, y=10, content="+")]
    strokes = [
        _area((-22, -24), (-22, 24), (22, 0), fill="open"),
        _line((-30, -10), (-22, -10)),
        _line((-30, 10), (-22, 10)),
        _line((22, 0), (30, 0)),
    ]
    if collector:
        strokes += [_area((4, -4), (8, 0), (4, 4), (0, 0), fill="open"), _line((0, 6), (8, 6))]
    return Symbol(
        pins=(("-", (-30, -10)), ("+", (-30, 10)), ("out", (30, 0))),
        strokes=tuple(strokes),
        box=(-22, -24, 22, 24),
        marks=tuple(marks),
    )


def _grounded_comparator() -> Symbol:
    """A comparator whose open collector pulls to a ground pin of its own, drawn below."""
    plain = _triangle(collector=True)
    return Symbol(
        pins=(*plain.pins, ("ground", (0, 20))),
        strokes=(*plain.strokes, _line((0, 12), (0, 20))),
        box=plain.box,
        marks=plain.marks,
    )


def _schmitt_inverter() -> Symbol:
    """Inverter with hysteresis (IEC 60617-12: general qualifying symbol 1, negated output)."""
    return Symbol(
        pins=(("in", (-30, 0)), ("out", (30, 0))),
        strokes=(
            _area((-18, -20), (18, -20), (18, 20), (-18, 20), fill="open"),
            _line((-30, 0), (-18, 0)),
            _area(*_arc(21, 0, 3, 0, 340), fill="open"),
            _line((24, 0), (30, 0)),
            _line((-11, 12), (3, 12), (3, 2)),
            _line((-3, 12), (-3, 2), (11, 2)),
        ),
        box=(-18, -20, 24, 20),
        marks=(Mark(x=0, y=-12, content="1"),),
    )


_CHIPS: Final = {
    # pins down the left and down the right side; their numbers are those of the case
    "3525 controller": (
        ("REF", "NI", "INV", "COMP", "SS", "SD", "RT", "CT", "DIS"),
        ("VIN", "VC", "OUTA", "OUTB", "OSC", "SYNC", "GND"),
    ),
    "494 controller": (
        ("REF", "1IN-", "1IN+", "2IN-", "2IN+", "FB", "DTC", "RT", "CT"),
        ("VCC", "OC", "C1", "E1", "C2", "E2", "GND"),
    ),
    "384x controller": (("REF", "FB", "COMP", "RTCT"), ("VCC", "OUT", "GND", "CS")),
    "half-bridge driver": (("VDD", "HIN", "LIN", "SD", "VSS"), ("VB", "HO", "VS", "VCC", "LO", "COM")),
}
_CHIP_PITCH: Final = 40
_CHIP_HALF: Final = 70


def _chip(sides: tuple[tuple[str, ...], tuple[str, ...]]) -> Symbol:
    """A case as a box, its pins down both sides."""
    high = max(len(side) for side in sides)
    top = -(high - 1) * _CHIP_PITCH // 2
    pins: list[tuple[str, Point]] = []
    strokes = [
        _area(
            (-_CHIP_HALF, top - 24),
            (_CHIP_HALF, top - 24),
            (_CHIP_HALF, -top + 24),
            (-_CHIP_HALF, -top + 24),
            fill="open",
        )
    ]
    marks = []
    for sign, names in zip((-1, 1), sides, strict=True):
        for k, name in enumerate(names):
            y = top + _CHIP_PITCH * k
            pins.append((name, (sign * (_CHIP_HALF + 30), y)))
            strokes.append(_line((sign * _CHIP_HALF, y), (sign * (_CHIP_HALF + 30), y)))
            marks.append(
                Mark(x=sign * (_CHIP_HALF - 7 - 3.4 * len(name)), y=y, content=name.replace("-", "−"))
            )
    return Symbol(
        pins=tuple(pins),
        strokes=tuple(strokes),
        box=(-_CHIP_HALF, top - 24, _CHIP_HALF, -top + 24),
        marks=tuple(marks),
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
    if kind in _CHIPS:
        return _chip(_CHIPS[kind])
    match kind:
        case "resistor":
            return Symbol(pins=_pair("1", "2"), strokes=body, box=wide)
        case "thermistor":
            slope = _line((-14, 11), (-8, 11), (10, -11))
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(*body, slope),
                box=(-14, -12, 13, 12),
            )
        case "potentiometer":
            wiper = (_line((0, -20), (0, -10)), _arrow((0, -5), 90))
            return Symbol(
                pins=(("top", (-20, 0)), ("wiper", (0, -20)), ("bottom", (20, 0))),
                strokes=(*body, *wiper),
                box=(-13, -12, 13, 6),
            )
        case "capacitor":
            plates = (_line((-3, -11), (-3, 11), heavy=True), _line((3, -11), (3, 11), heavy=True))
            leads = (_line((-20, 0), (-3, 0)), _line((3, 0), (20, 0)))
            return Symbol(pins=_pair("+", "-"), strokes=(*plates, *leads), box=(-5, -12, 5, 12))
        case "polarised capacitor":
            plates = (
                _area((-7, -11), (-7, 11), (-2.5, 11), (-2.5, -11), fill="open"),
                _line((3.5, -11), (3.5, 11), heavy=True),
            )
            leads = (_line((-20, 0), (-7, 0)), _line((3.5, 0), (20, 0)))
            return Symbol(
                pins=_pair("+", "-"),
                strokes=(*plates, *leads),
                box=(-16, -12, 6, 12),
                marks=(Mark(x=-13, y=-7, content="+"),),
            )
        case "inductor":
            return Symbol(pins=_pair("1", "2"), strokes=_coil(), box=(-20, -7, 20, 2))
        case "coupled inductor":
            dot = _area(*_arc(-18, -10, 2.6, 0, 340))
            return Symbol(pins=_pair("1", "2"), strokes=(*_coil(), dot), box=(-21, -13, 20, 2))
        case "winding":
            dot = _area(*_arc(-18, -10, 2.6, 0, 340))
            return Symbol(pins=_pair("start", "finish"), strokes=(*_coil(), dot), box=(-21, -13, 20, 2))
        case "diode":
            return Symbol(
                pins=_pair("anode", "cathode"), strokes=_diode_body(((7, -7), (7, 7))), box=(-8, -8, 9, 8)
            )
        case "zener":
            return Symbol(pins=_pair("anode", "cathode"), strokes=_diode_body(_BENT_BAR), box=(-8, -8, 12, 8))
        case "lamp":
            rays = (
                _line((-2, -9), (3, -15)),
                _arrow((5, -17), -50, 5),
                _line((4, -8), (9, -14)),
                _arrow((11, -16), -50, 5),
            )
            return Symbol(
                pins=_pair("anode", "cathode"),
                strokes=(*_diode_body(((7, -7), (7, 7))), *rays),
                box=(-8, -18, 12, 8),
            )
        case "shunt reference":
            tap = _line((0, -20), (0, -3))
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
            return _grounded_comparator()
        case "schmitt inverter":
            return _schmitt_inverter()
        case "op-amp" | "comparator":
            return _triangle(kind == "comparator")
        case "supply unit":
            return Symbol(
                pins=(("V+", (0, -40)), ("V-", (0, 40))),
                strokes=(
                    _area((-22, -26), (22, -26), (22, 26), (-22, 26), fill="open"),
                    _line((0, -40), (0, -26)),
                    _line((0, 40), (0, 26)),
                ),
                box=(-22, -26, 22, 26),
                marks=(Mark(x=0, y=-16, content="V+"), Mark(x=0, y=16, content="V−")),
            )
        case "regulator":
            return Symbol(
                pins=(("in", (-40, 0)), ("out", (40, 0)), ("adjust", (0, 30))),
                strokes=(
                    _area((-26, -16), (26, -16), (26, 18), (-26, 18), fill="open"),
                    _line((-40, 0), (-26, 0)),
                    _line((26, 0), (40, 0)),
                    _line((0, 18), (0, 30)),
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
                    _line((-20, 0), (-12, 0)),
                    _area(*_arc(-10, 0, 2.5, 0, 340), fill="open"),
                    _line((-8, -1), (11, -8)),
                    _area(*_arc(12, -10, 2.5, 0, 340), fill="open"),
                    _area(*_arc(12, 10, 2.5, 0, 340), fill="open"),
                    _line((14.5, -10), (20, -10)),
                    _line((14.5, 10), (20, 10)),
                ),
                box=(-13, -13, 15, 13),
            )
        case "connector":
            return Symbol(
                pins=(("signal", (20, 0)), ("shell", (0, 20))),
                strokes=(
                    _line(*_arc(0, 0, 12, 50, 310)),
                    _area(*_arc(0, 0, 4, 0, 340)),
                    _line((4, 0), (20, 0)),
                    _line((0, 12), (0, 20)),
                ),
                box=(-13, -13, 9, 13),
            )
        case "terminals":  # a pair of screw terminals; the pins are a connector's
            screws = tuple(
                stroke
                for y in (-3, 8)
                for stroke in (
                    _area(*_arc(0, y, 4, 0, 340), fill="open"),
                    _line((-2.8, y + 2.8), (2.8, y - 2.8)),
                )
            )
            return Symbol(
                pins=(("signal", (20, 0)), ("shell", (0, 20))),
                strokes=(
                    _area((-9, -10), (9, -10), (9, 15), (-9, 15), fill="open"),
                    _line((4, -3), (14, -3), (14, 0), (20, 0)),
                    _line((0, 12), (0, 20)),
                    *screws,
                ),
                box=(-10, -11, 10, 16),
                marks=(Mark(x=-15, y=-3, content="+"), Mark(x=-15, y=9, content="\u2212")),
            )
        case "jumper":
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(
                    _line((-20, 0), (-12, 0)),
                    _area(*_arc(-9, 0, 3, 0, 340), fill="open"),
                    _area(*_arc(9, 0, 3, 0, 340), fill="open"),
                    _line((12, 0), (20, 0)),
                    _line((-9, -5), (-9, -9), (9, -9), (9, -5)),
                ),
                box=(-13, -10, 13, 4),
            )
        case "battery":
            strokes = [_line((-20, 0), (-9, 0)), _line((9, 0), (20, 0))]
            for x in (-9, 3):
                strokes += [_line((x, -13), (x, 13)), _line((x + 6, -6), (x + 6, 6), heavy=True)]
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
                strokes=(_area(*sheath, fill="open"), _line((-20, 0), (20, 0), heavy=True)),
                box=(-13, -6, 13, 6),
            )
        case "loudspeaker":
            return Symbol(
                pins=_pair("+", "-"),
                strokes=(
                    _line((-20, 0), (-8, 0)),
                    _line((8, 0), (20, 0)),
                    _area((-8, -5), (8, -5), (8, 7), (-8, 7), fill="open"),
                    _area((-8, -5), (-16, -15), (16, -15), (8, -5), fill="open"),
                ),
                box=(-17, -16, 17, 8),
                marks=(Mark(x=-14, y=8, content="+"),),
            )
        case "fuse":
            return Symbol(
                pins=_pair("1", "2"),
                strokes=(
                    _area((-13, -5), (13, -5), (13, 5), (-13, 5), fill="open"),
                    _line((-20, 0), (20, 0)),
                ),
                box=wide,
            )
    raise KeyError(kind)
