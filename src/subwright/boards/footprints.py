"""Shapes of leaded parts: pads on the grid of 1.27 mm, body, height.

A shape's pads stand on whole steps of the grid, so leads are bent to it. Bodies are from memory of the usual
makes: axial bodies after the sizes that IEC 60115 calls 0207, 0411 and 0617, diodes after JEDEC DO-35, DO-41,
DO-201 and P-600, chips after JEDEC MS-001, transistors after JEDEC TO-92, TO-126 and TO-220. A part that
differs is to be tried on the print first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from subwright.boards.record import Outline, Pad, Place, Placed, Turn

__all__ = [
    "STEP_UM",
    "Footprint",
    "Land",
    "axial",
    "ceramic",
    "dual_in_line",
    "electrolytic",
    "film",
    "header",
    "indicator",
    "placed",
    "single_wire",
    "to_92",
    "to_126",
    "to_220",
    "turned",
]

STEP_UM: Final = 1270
"""Grid of pads and tracks: half of the tenth of an inch."""

_SMALL: Final = (900, 2000)  # hole and pad of a lead of 0.6 mm, µm
_MEDIUM: Final = (1000, 2200)  # 0.8 mm
_THICK: Final = (1500, 3000)  # 1.3 mm


@dataclass(frozen=True, kw_only=True, slots=True)
class Land:
    """A pad of a shape: pin codes that it may bear, steps from the shape's origin, sizes in µm."""

    pins: tuple[str, ...]
    x: int
    y: int
    hole_um: int
    across_um: int
    along_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Footprint:
    """A part's shape.

    Attributes
    ----------
    name : as printed. lands : its pads. body : outline, µm from the origin. height_um : above the board.
    polarity : place of the mark, µm from the origin; None where it may go in either way.
    lead_body : whether wires above the board may pass under the body, lifted or sleeved.
    """

    name: str
    lands: tuple[Land, ...]
    body: tuple[Place, ...]
    height_um: int
    polarity: Place | None = None

    def land(self, pin: str) -> Land | None:
        """The pad that bears a pin code."""
        return next((land for land in self.lands if pin in land.pins), None)


def turned(place: Place, turn: Turn) -> Place:
    """A place turned about the origin.

    >>> turned((3, 1), 90), turned((3, 1), 180), turned((3, 1), 270)
    ((-1, 3), (-3, -1), (1, -3))
    """
    x, y = place
    match turn:
        case 90:
            return -y, x
        case 180:
            return -x, -y
        case 270:
            return y, -x
        case _:
            return x, y


def placed(
    footprint: Footprint, case: str, label: str, nets: dict[str, str], x_um: int, y_um: int, turn: Turn
) -> Placed:
    """A shape at its place, with its nets.

    Parameters
    ----------
    footprint : the shape. case, label : as printed. nets : by pin code. x_um, y_um : where its origin goes.
    turn : degrees.
    """

    def at(place: Place) -> Place:
        x, y = turned(place, turn)
        return x_um + x, y_um + y

    upright = turn in (0, 180)
    pads = []
    for land in footprint.lands:
        x, y = at((land.x * STEP_UM, land.y * STEP_UM))
        pin = next((code for code in land.pins if code in nets), land.pins[0])
        across, along = (land.across_um, land.along_um) if upright else (land.along_um, land.across_um)
        pads.append(
            Pad(
                case=case,
                pin=pin,
                net=nets.get(pin, ""),
                x_um=x,
                y_um=y,
                hole_um=land.hole_um,
                across_um=across,
                along_um=along,
            )
        )
    return Placed(
        case=case,
        footprint=footprint.name,
        x_um=x_um,
        y_um=y_um,
        turn=turn,
        body=Outline(points=tuple(at(point) for point in footprint.body)),
        pads=tuple(pads),
        label=label,
        polarity=None if footprint.polarity is None else at(footprint.polarity),
        height_um=footprint.height_um,
    )


def _rectangle(left: float, bottom: float, right: float, top: float) -> tuple[Place, ...]:
    """Corners in µm from millimetres."""
    a, b, c, d = (round(value * 1000) for value in (left, bottom, right, top))
    return (a, b), (c, b), (c, d), (a, d)


def _round(x: float, y: float, diameter: float) -> tuple[Place, ...]:
    """A circle as a polygon of 24 corners that encloses it, µm from millimetres."""
    radius = diameter / 2 / math.cos(math.pi / 24)
    return tuple(
        (
            round((x + radius * math.cos(2 * math.pi * (k + 0.5) / 24)) * 1000),
            round((y + radius * math.sin(2 * math.pi * (k + 0.5) / 24)) * 1000),
        )
        for k in range(24)
    )


def _land(pins: str, x: int, y: int, size: tuple[int, int], along: int = 0, across: int = 0) -> Land:
    return Land(
        pins=tuple(pins.split()),
        x=x,
        y=y,
        hole_um=size[0],
        across_um=across or size[1],
        along_um=along or size[1],
    )


def axial(name: str, steps: int, length_mm: float, diameter_mm: float, pins: Iterable[str]) -> Footprint:
    """A part with a lead at each end: resistors, and diodes, whose second pin is the cathode.

    Parameters
    ----------
    name : as printed. steps : between the leads. length_mm, diameter_mm : of the body.
    pins : codes of the first and the second pin.
    """
    first, second = pins
    size = _SMALL if diameter_mm < 4.0 else _MEDIUM if diameter_mm < 7.0 else _THICK
    middle = steps * 1.27 / 2
    half, radius = length_mm / 2, diameter_mm / 2
    marked = "K" in second.split()
    return Footprint(
        name=name,
        lands=(_land(first, 0, 0, size), _land(second, steps, 0, size)),
        body=_rectangle(middle - half, -radius, middle + half, radius),
        height_um=round(diameter_mm * 1000),
        polarity=(round((middle + half * 0.8) * 1000), 0) if marked else None,
    )


def film(steps: int, length_mm: float, width_mm: float, height_mm: float, name: str = "film") -> Footprint:
    """A box capacitor, its leads ``steps`` apart."""
    middle = steps * 1.27 / 2
    return Footprint(
        name=f"{name} {length_mm:g} × {width_mm:g}",
        lands=(_land("1", 0, 0, _SMALL), _land("2", steps, 0, _SMALL)),
        body=_rectangle(middle - length_mm / 2, -width_mm / 2, middle + length_mm / 2, width_mm / 2),
        height_um=round(height_mm * 1000),
    )


def ceramic(large: bool = False) -> Footprint:
    """A dipped multilayer capacitor with leads 5 mm apart."""
    return film(4, 5.5, 3.8 if large else 2.6, 6.0, "ceramic")


_CANS: Final[tuple[tuple[float, float, int, float], ...]] = (
    # capacitance times voltage in µF·V up to which the usual can has this diameter, mm; steps; height, mm
    (1300.0, 5.0, 2, 12.0),
    (2600.0, 6.3, 2, 12.5),
    (5600.0, 8.0, 3, 12.5),
    (12000.0, 10.0, 4, 17.0),
    (26000.0, 12.5, 4, 26.0),
    (56000.0, 16.0, 6, 32.0),
    (120000.0, 18.0, 6, 41.0),
)


def electrolytic(capacitance_f: float, voltage_v: float, *, bipolar: bool = False) -> Footprint | None:
    """A standing can; None where it would be larger than a board takes.

    Parameters
    ----------
    capacitance_f, voltage_v : rated, F and V. bipolar : two foils etched: twice the volume, no polarity.

    Sizes are from memory: the usual cans by capacitance times voltage.
    """
    product = capacitance_f * 1e6 * voltage_v * (2.0 if bipolar else 1.0)
    for most, diameter, steps, height in _CANS:
        if product <= most:
            size = (900, 1900) if steps == 2 else _SMALL if steps < 6 else _MEDIUM
            middle = steps * 1.27 / 2
            return Footprint(
                name=f"can ⌀ {diameter:g}" + (", bipolar" if bipolar else ""),
                lands=(_land("1", 0, 0, size), _land("2", steps, 0, size)),
                body=_round(middle, 0.0, diameter),
                height_um=round(height * 1000),
                polarity=None if bipolar else (round((middle - diameter / 2 * 0.75) * 1000), 0),
            )
    return None


def dual_in_line(pins: int) -> Footprint:
    """A chip in two rows 7.62 mm apart, standing in a socket, pin 1 at the origin, its row down the left."""
    half = pins // 2
    size = (900, 1600)
    left = [_land(str(k + 1), 0, -2 * k, size, across=2400) for k in range(half)]
    right = [_land(str(pins - k), 6, -2 * k, size, across=2400) for k in range(half)]
    top, bottom = 1.5, -(half - 1) * 2.54 - 1.5
    return Footprint(
        name=f"DIP-{pins}",
        lands=(*left, *right),
        body=_rectangle(-0.4, bottom, 8.02, top),
        height_um=9000,
        polarity=(round(3.81 * 1000), round(top * 1000)),
    )


def to_92(order: Iterable[str]) -> Footprint:
    """A small transistor, its outer leads 2.54 mm apart, the middle one bent back as far; flat side down.

    Parameters
    ----------
    order : pin codes from the left, seen on the flat side with the leads down.
    """
    first, middle, last = order
    size = (900, 1800)
    flat = -1.1
    arc = [
        (2.4 * math.cos(angle), 0.6 + 2.4 * math.sin(angle))
        for angle in (math.radians(-45 + 15 * k) for k in range(19))
    ]
    body = tuple((round(x * 1000), round(max(y, flat) * 1000)) for x, y in arc)
    return Footprint(
        name="TO-92",
        lands=(_land(first, -1, 0, size), _land(middle, 0, 2, size), _land(last, 1, 0, size)),
        body=body,
        height_um=8000,
        polarity=(0, round(flat * 1000)),
    )


def to_126(order: Iterable[str]) -> Footprint:
    """A standing TO-126, its face down, leads bent to 2.54 mm."""
    return _upright("TO-126", order, 8.0, (-1.3, 1.6), 16000)


def to_220(order: Iterable[str], *, sink: bool = False) -> Footprint:
    """A standing TO-220, its face down, the tab behind.

    Parameters
    ----------
    order : pin codes from the left, seen on the face. sink : a clip-on heatsink stands round it.
    """
    if sink:
        return _upright("TO-220 with clip-on sink", order, 19.0, (-4.5, 9.0), 30000)
    return _upright("TO-220", order, 10.4, (-1.9, 2.9), 22000)


def _upright(
    name: str, order: Iterable[str], width_mm: float, depth_mm: tuple[float, float], height_um: int
) -> Footprint:
    size = (1100, 1700)
    lands = tuple(_land(pin, 2 * (k - 1), 0, size, along=2600) for k, pin in enumerate(order))
    return Footprint(
        name=name,
        lands=lands,
        body=_rectangle(-width_mm / 2, depth_mm[0], width_mm / 2, depth_mm[1]),
        height_um=height_um,
        polarity=(-2540, round(depth_mm[0] * 1000)),
    )


def indicator() -> Footprint:
    """A light-emitting diode of 3 mm; the flat of its rim is the cathode."""
    size = (900, 1900)
    return Footprint(
        name="LED 3 mm",
        lands=(_land("A", 0, 0, size), _land("K", 2, 0, size)),
        body=_round(1.27, 0.0, 3.8),
        height_um=9000,
        polarity=(2900, 0),
    )


def header() -> Footprint:
    """Two pins 2.54 mm apart for a plugged jumper."""
    size = (1000, 1900)
    return Footprint(
        name="header 2",
        lands=(_land("1", 0, 0, size), _land("2", 2, 0, size)),
        body=_rectangle(-1.27, -1.27, 3.81, 1.27),
        height_um=9000,
    )


def single_wire(letters: int, side: Literal["left", "right"]) -> Footprint:
    """A pad for a wire, with room for its printed name on the inner side.

    Parameters
    ----------
    letters : of the name. side : edge of the board that it stands at.
    """
    width = 1.9 + letters * 1.0
    left, right = (-1.3, width) if side == "left" else (-width, 1.3)
    return Footprint(
        name="wire",
        lands=(_land("1", 0, 0, (1300, 2600)),),
        body=_rectangle(left, -1.3, right, 1.3),
        height_um=0,
    )
