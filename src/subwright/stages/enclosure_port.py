"""Ports as they are built: stock pipe or a slot of panels, whole millimetres, straight or bent once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, pi
from typing import Literal

from subwright.base.tables.origin import Origin
from subwright.physics.acoustics.ports import (
    flared_ends_m,
    rectangular_end_m,
    round_end_m,
    tube_resonance_hz,
)
from subwright.stages.enclosure_spec import Bend

__all__ = [
    "STOCK_PIPES",
    "Mouth",
    "Pipe",
    "Port",
    "finished_port",
    "least_slot_height_m",
    "pipe_of",
    "port_displacement_m3",
    "port_fits",
    "port_limits_m",
    "riser_m",
    "round_mouths",
    "slot_mouth",
]

_FLARE_MOST = 2.0  # of the throat's speed


@dataclass(frozen=True, kw_only=True, slots=True)
class Pipe:
    """One size of pipe on sale."""

    name: str
    inner_m: float
    outer_m: float
    origin: Origin


def _pipe(outer_mm: float, wall_mm: float, source: str) -> Pipe:
    return Pipe(
        name=f"PVC-U pipe {outer_mm:g} × {wall_mm:g} mm",
        inner_m=(outer_mm - 2.0 * wall_mm) / 1e3,
        outer_m=outer_mm / 1e3,
        origin=Origin(source=source, where="outside diameter and wall", status="from memory"),
    )


STOCK_PIPES: tuple[Pipe, ...] = (
    _pipe(40.0, 3.0, "en-1329-1"),
    _pipe(50.0, 3.0, "en-1329-1"),
    _pipe(63.0, 3.0, "en-1329-1"),
    _pipe(75.0, 3.0, "en-1329-1"),
    _pipe(90.0, 3.0, "en-1329-1"),
    _pipe(110.0, 3.2, "en-1329-1"),
    _pipe(125.0, 3.2, "en-1329-1"),
    _pipe(160.0, 4.0, "en-1401-1"),
    _pipe(200.0, 4.9, "en-1401-1"),
    _pipe(250.0, 6.2, "en-1401-1"),
)
"""Drain pipe, the usual stuff for ports, ascending."""


def pipe_of(inner_m: float) -> Pipe:
    """The stock pipe of an inner diameter (within 1 mm), or a tube of that diameter with 3 mm walls.

    Parameters
    ----------
    inner_m : inner diameter, m.

    Source
    ------
    [common-practice] for the wall.
    """
    for pipe in STOCK_PIPES:
        if abs(pipe.inner_m - inner_m) <= 1e-3:
            return pipe
    return Pipe(
        name=f"tube, inner diameter {1e3 * inner_m:.4g} mm",
        inner_m=inner_m,
        outer_m=inner_m + 0.006,
        origin=Origin(source="common-practice", where="walls of 3 mm", status="common practice"),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Mouth:
    """Cross-section of the port or ports, before the length is known."""

    kind: Literal["round", "slot"]
    count: int
    area_m2: float  # all together
    ends_m: float  # both end corrections of one port
    inner_m: float  # inner diameter, or height of the slot
    outer_m: float  # outer diameter, or height with the shelf
    width_m: float  # of the slot; the diameter for a round port
    solid_m2: float  # cross-section that the ports take from the box, walls included
    name: str
    source: str
    flare_m: float = 0.0
    speed_area_m2: float  # over which the speed limit is reckoned


@dataclass(frozen=True, kw_only=True, slots=True)
class Port:
    """The finished port."""

    kind: Literal["round", "slot"]
    name: str
    count: int
    diameter_m: float | None  # inner, of a round port
    outer_diameter_m: float | None
    width_m: float | None  # of a slot
    height_m: float | None
    board_m: float | None  # thickness of a slot's shelf and riser
    area_m2: float  # all together
    flare_m: float  # radius of both mouths, 0 for plain ends
    speed_area_m2: float  # over which the speed limit is reckoned
    length_m: float  # along the middle, whole millimetres, panel included
    end_correction_m: float  # both ends
    bend: Bend
    first_leg_m: float  # from the mouth to the bend, along the middle
    straight_limit_m: float  # longest straight port that the box takes
    length_limit_m: float  # longest port that the box takes, with one bend where allowed
    displacement_m3: float
    resonance_hz: float  # of the pipe itself, ends included
    on: str  # panel that it opens through


def round_mouths(pipes: tuple[Pipe, ...], counts: tuple[int, ...], flare_m: float = 0.0) -> Iterator[Mouth]:
    """Round openings from pipes and counts. One end lies in a panel, the other in the air of the box.

    Parameters
    ----------
    pipes : sizes allowed.
    counts : numbers of pipes allowed.
    flare_m : radius that both mouths are rounded to, m, 0 for plain ends.

    Source
    ------
    [jaouen-chevillotte-2018], [levine-schwinger-1948] for the ends; [bezzola-2019] finds 10 to 16 dB more
    level before well-flared mouths are heard, of which 6 dB at most are used here.
    """
    for pipe in pipes:
        ends = float(round_end_m(pipe.inner_m, "flanged")) + float(round_end_m(pipe.inner_m, "free"))
        wide = 1.0 + 2.0 * flare_m / pipe.inner_m
        if flare_m > 0.0:
            ends = flared_ends_m(pipe.inner_m, flare_m)
        for count in counts:
            yield Mouth(
                kind="round",
                count=count,
                area_m2=count * 0.25 * pi * pipe.inner_m**2,
                ends_m=ends,
                inner_m=pipe.inner_m,
                outer_m=pipe.outer_m + 2.0 * flare_m,
                width_m=pipe.inner_m,
                flare_m=flare_m,
                speed_area_m2=count * 0.25 * pi * pipe.inner_m**2 * min(wide**2, _FLARE_MOST),
                solid_m2=count * 0.25 * pi * pipe.outer_m**2,
                name=pipe.name,
                source=pipe.origin.source,
            )


def slot_mouth(width_m: float, height_m: float, thickness_m: float) -> Mouth:
    """A slot along the bottom panel, over the whole inner width, under a shelf of the panels' thickness.

    Parameters
    ----------
    width_m, height_m : of the slot, m.
    thickness_m : of the shelf, m.

    Source
    ------
    [beranek-mellow-2012] for the ends; the inner end along the bottom acts as half of one twice as high.
    """
    ends = rectangular_end_m(width_m, height_m, "flanged") + rectangular_end_m(
        width_m, height_m, "free", along_wall=True
    )
    return Mouth(
        kind="slot",
        count=1,
        area_m2=width_m * height_m,
        speed_area_m2=width_m * height_m,
        ends_m=ends,
        inner_m=height_m,
        outer_m=height_m + thickness_m,
        width_m=width_m,
        solid_m2=width_m * (height_m + thickness_m),
        name=f"slot {1e3 * width_m:.0f} × {1e3 * height_m:.0f} mm",
        source="beranek-mellow-2012",
    )


def port_limits_m(mouth: Mouth, sides_m: tuple[float, float, float], on: str) -> tuple[float, float]:
    """Longest straight and longest once-bent port in the box, from the mouth along the middle, m.

    The inner end keeps one inner diameter (slot: its height) from the wall it faces, so that the end
    correction holds. A bent port runs to half its outer size short of the far wall and turns along the
    longest other side.

    Parameters
    ----------
    mouth : cross-section.
    sides_m : inner width, height and depth, m.
    on : "front" or "side panel".

    Source
    ------
    [common-practice] for the clearance.
    """
    width, height, depth = sides_m
    along, across = (width, max(height, depth)) if on == "side panel" else (depth, max(width, height))
    straight = along - mouth.inner_m
    if mouth.kind == "slot":
        second = height - 1.5 * mouth.inner_m
        first = along - 0.5 * mouth.inner_m
    else:
        second = across - mouth.outer_m - mouth.inner_m
        first = along - 0.5 * mouth.outer_m
    return straight, max(straight, first + max(second, 0.0))


def finished_port(
    mouth: Mouth,
    length_m: float,
    sides_m: tuple[float, float, float],
    on: str,
    thickness_m: float,
    *,
    bend_allowed: bool,
) -> Port:
    """The port record from its mouth and length.

    Parameters
    ----------
    mouth : cross-section.
    length_m : along the middle, from the outside of the panel to the inner end, m.
    sides_m : inner sides of the box, m.
    on : "front" or "side panel".
    thickness_m : panel thickness, m; that part of the length takes nothing from the box.
    bend_allowed : whether one bend is allowed.

    Source
    ------
    [beranek-mellow-2012], ch. 2, for the resonance.
    """
    straight, bent = port_limits_m(mouth, sides_m, on)
    straight, bent = straight + thickness_m, bent + thickness_m
    along = (sides_m[0] if on == "side panel" else sides_m[2]) + thickness_m
    bend: Bend = "straight" if length_m <= straight else "one bend"
    round_port = mouth.kind == "round"
    if bend == "straight":
        first_leg = length_m
    elif round_port:
        first_leg = min(along - 0.5 * mouth.outer_m, length_m - mouth.outer_m)
    else:
        first_leg = along - 0.5 * mouth.inner_m
    displacement = port_displacement_m3(mouth, length_m, thickness_m)
    if bend == "one bend" and not round_port:
        # The shelf ends one slot height before the back, where the riser stands on it: the corner of the
        # two boards counts once.
        displacement -= mouth.width_m * mouth.outer_m * (mouth.outer_m - mouth.inner_m)
    return Port(
        kind=mouth.kind,
        name=mouth.name,
        count=mouth.count,
        diameter_m=mouth.inner_m if round_port else None,
        outer_diameter_m=mouth.outer_m if round_port else None,
        width_m=None if round_port else mouth.width_m,
        height_m=None if round_port else mouth.inner_m,
        board_m=None if round_port else mouth.outer_m - mouth.inner_m,
        area_m2=mouth.area_m2,
        flare_m=mouth.flare_m,
        speed_area_m2=mouth.speed_area_m2,
        length_m=length_m,
        end_correction_m=mouth.ends_m,
        bend=bend,
        first_leg_m=first_leg,
        straight_limit_m=straight,
        length_limit_m=bent if bend_allowed else straight,
        displacement_m3=displacement,
        resonance_hz=float(tube_resonance_hz(length_m, mouth.ends_m)),
        on=on,
    )


def riser_m(port: Port) -> float:
    """Height in m of the upright board of a bent slot port; 0 for any other port.

    It stands on the end of the shelf, one slot height from the back, and ends where the port does: the
    port's second leg rises from half the slot's height, past the shelf's edge, to the riser's top.

    Source
    ------
    [derived], geometry.
    """
    if port.bend == "straight" or port.height_m is None or port.board_m is None:
        return 0.0
    return round(port.length_m - port.first_leg_m - 0.5 * port.height_m - port.board_m, 6)


def port_fits(port: Port, thickness_m: float, *, bend_wanted: bool) -> bool:
    """Whether a port can be built in its box.

    Parameters
    ----------
    port : finished port.
    thickness_m : panel thickness, m; a bent slot's upright board is at least as high.
    bend_wanted : whether a straight port is refused.

    Source
    ------
    [common-practice]
    """
    if port.length_m > port.length_limit_m:
        return False
    if port.bend == "straight":
        return not bend_wanted
    return port.kind == "round" or riser_m(port) >= thickness_m


def port_displacement_m3(mouth: Mouth, length_m: float, thickness_m: float) -> float:
    """Volume that the ports take from the box, m³: the part of their length that lies inside it.

    Parameters
    ----------
    mouth : cross-section.
    length_m : from the outside of the panel, m.
    thickness_m : panel thickness, m.

    Source
    ------
    [derived], geometry.
    """
    return mouth.solid_m2 * max(length_m - thickness_m, 0.0)


def least_slot_height_m(area_m2: float, width_m: float) -> float:
    """Least height in m, whole millimetres, of a slot of given width with at least an area; 15 mm or more.

    Parameters
    ----------
    area_m2 : wanted, m².
    width_m : m.

    Source
    ------
    [common-practice] for the least height.
    """
    return max(ceil(1e3 * area_m2 / width_m - 1e-9), 15) / 1e3
