"""A finished board: parts, copper, links, wire pads and holes, in whole micrometres.

The origin is the board's lower left corner, y points up, and everything is seen from the component side, the
copper below too. All sizes are final: nothing is to be turned or moved by who draws it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

__all__ = ["Board", "Hole", "Link", "Outline", "Pad", "Place", "Placed", "Rules", "Track", "Turn", "WirePad"]

Place: TypeAlias = tuple[int, int]
"""x and y, µm."""

Turn: TypeAlias = Literal[0, 90, 180, 270]
"""Degrees, counter-clockwise seen from the component side."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pad:
    """Copper around one lead of a part.

    Attributes
    ----------
    case : designator of the whole case ("U201", "R12"). pin : code of the pin as the schematic prints it.
    net : "" where the pin is not connected. x_um, y_um : middle, µm.
    hole_um : drill diameter, µm. across_um, along_um : final size in x and in y, µm; unequal for an oval.
    plated : the hole's wall is plated.
    """

    case: str
    pin: str
    net: str
    x_um: int
    y_um: int
    hole_um: int
    across_um: int
    along_um: int
    plated: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Outline:
    """A closed polygon seen from above; its last point joins its first.

    Attributes
    ----------
    points : corners, µm.
    """

    points: tuple[Place, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Placed:
    """A part in its place.

    Attributes
    ----------
    case : designator of the whole case. footprint : name of its shape. x_um, y_um : its reference point, µm.
    turn : degrees, counter-clockwise. body : outline of the body at its place. pads : at their places.
    label : value as printed ("4.7 kΩ"). polarity : place of the mark at pin 1, + or cathode; None where the
    part may go in either way. height_um : of the body above the board, µm.
    """

    case: str
    footprint: str
    x_um: int
    y_um: int
    turn: Turn
    body: Outline
    pads: tuple[Pad, ...]
    label: str
    polarity: Place | None
    height_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Track:
    """A run of copper on the lower side, with round ends.

    Attributes
    ----------
    net : what it belongs to. points : its corners, at least two, µm. width_um : µm.
    """

    net: str
    points: tuple[Place, ...]
    width_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Link:
    """A wire on the component side, straight between two pads of its own.

    Attributes
    ----------
    number : printed as "link 7". net : what it belongs to. start, end : middles of its pads, µm.
    wire_um : diameter of the bare wire, µm. hole_um, pad_um : diameters, µm.
    insulated : it crosses something and needs a sleeve.
    """

    number: int
    net: str
    start: Place
    end: Place
    wire_um: int
    hole_um: int
    pad_um: int
    insulated: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class WirePad:
    """Where a wire that leaves the board, or the bench's clip, is soldered.

    Attributes
    ----------
    name : as printed. net : what it belongs to. x_um, y_um : middle, µm. hole_um, pad_um : diameters, µm.
    leads_to : the other sheet or part; "" for a test point.
    """

    name: str
    net: str
    x_um: int
    y_um: int
    hole_um: int
    pad_um: int
    leads_to: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Hole:
    """A hole for a screw.

    Attributes
    ----------
    x_um, y_um : middle, µm. diameter_um : µm.
    """

    x_um: int
    y_um: int
    diameter_um: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Rules:
    """What the board was made to.

    Attributes
    ----------
    track_um : narrowest track. spacing_um : least gap between copper of different nets. edge_um : least gap
    from copper to the board's edge. copper_um : thickness of the foil. grid_um : of the tracks. All µm.
    rise_k : by which its current may heat a track, K.
    """

    track_um: int
    spacing_um: int
    edge_um: int
    copper_um: int
    grid_um: int
    rise_k: float = 20.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Board:
    """One block's board.

    Attributes
    ----------
    key : the block's ("line-filter"). title : as printed. width_um, height_um : of the bare board, µm.
    placed, tracks, links, wire_pads, holes : what is on it. rules : what it was made to.
    unrouted : pairs of pins ("U1.3") that found no way; empty on every board that is kept, since such a pair
    gets an insulated link.
    """

    key: str
    title: str
    width_um: int
    height_um: int
    placed: tuple[Placed, ...]
    tracks: tuple[Track, ...]
    links: tuple[Link, ...]
    wire_pads: tuple[WirePad, ...]
    holes: tuple[Hole, ...]
    rules: Rules
    unrouted: tuple[tuple[str, str], ...] = ()
