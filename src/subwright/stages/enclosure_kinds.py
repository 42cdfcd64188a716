"""Kinds of box: each turns a job into a plan with whole-millimetre sides and its acoustic model.

A new kind is a class with ``plan`` and an entry in ``KINDS``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Protocol

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.physics.acoustics.boxes import BoxModel, SealedBox
from subwright.stages.enclosure_port import (
    STOCK_PIPES,
    Mouth,
    Port,
    pipe_of,
    round_mouths,
)
from subwright.stages.enclosure_shape import (
    UPRIGHT,
    FrontLayout,
    InnerBox,
    Room,
    Slopes,
    inner_box,
    layouts,
)
from subwright.stages.enclosure_spec import Chambers, DriverData, EnclosureNeed, EnclosureSpec, Radiator
from subwright.stages.enclosure_target import FILLS, Target, qts_with_source, sealed_target

__all__ = [
    "VENTED_QL",
    "BoxPlan",
    "Job",
    "Kind",
    "SealedKind",
    "brace_rim_m",
    "braces_m3",
    "check_volume",
    "port_mouths",
    "refuse_size",
    "shaped_box",
]

VENTED_QL = 7.0
_RING_M = 0.05  # width of a brace's rim
_VOLUME_TOLERANCE = 0.03
_LEAST_TOP_M = 0.05  # inner depth at the top of a leaning box
_LOWER, _LOWER_TRIES = 0.95, 40


@dataclass(frozen=True, kw_only=True, slots=True)
class Job:
    """Everything that a kind needs to plan a box."""

    spec: EnclosureSpec
    need: EnclosureNeed
    driver: DriverData
    room: Room
    front_layers: int
    braces: tuple[int, int, int]  # ring braces across width, height, depth
    slopes: Slopes = UPRIGHT

    @property
    def front_m(self) -> float:
        """Thickness of the front, m."""
        return self.front_layers * self.spec.panel_thickness_m

    def opening_m(self, on: str) -> float:
        """Thickness of the panel that the port opens through, m."""
        return self.spec.panel_thickness_m if on == "side panel" else self.front_m

    @property
    def qts(self) -> float:
        """Total Q with source resistance."""
        return qts_with_source(self.driver.model, self.need.source_ohm)

    @property
    def fixed_displacement_m3(self) -> float:
        """What driver and electronics take from the inner volume, m³."""
        electronics = self.spec.electronics_m3 if self.spec.electronics_inside else 0.0
        return self.driver.displacement_m3 + electronics

    def narrowest(self, inner: InnerBox) -> tuple[float, float, float]:
        """Inner width, height and least depth, m."""
        width, height, depth = inner.sides_m
        return width, height, depth - 0.5 * self.slopes.both * height

    def displaced(self, inner: InnerBox, port_m3: float) -> dict[str, float]:
        """What takes from the inner volume, by name, m³."""
        taken = {"driver": self.driver.displacement_m3}
        if port_m3 > 0.0:
            taken["port"] = port_m3
        if self.spec.electronics_inside:
            taken["electronics"] = self.spec.electronics_m3
        if any(self.braces):
            taken["braces"] = braces_m3(inner.sides_m, self.braces, self.spec.panel_thickness_m)
        return taken


@dataclass(frozen=True, kw_only=True, slots=True)
class BoxPlan:
    """A box with whole-millimetre sides and the acoustic model of just that box."""

    target: Target
    layout: FrontLayout
    inner: InnerBox
    port: Port | None
    radiator: Radiator | None = None
    chambers: Chambers | None = None
    displaced_m3: Mapping[str, float]
    net_volume_m3: float
    stiff_volume_m3: float | None = None  # that stiffens the driver, where that isn't all of it
    tuning_hz: float | None
    ql: float
    qa: float
    qp: float
    gain: float
    model: BoxModel
    port_area_wanted_m2: float | None  # least that keeps the speed limit
    reasons: tuple[str, ...]
    sources: tuple[str, ...]


class Kind(Protocol):
    """A kind of box."""

    def plan(self, job: Job) -> BoxPlan:
        """Plan the box for a job."""
        ...


def braces_m3(sides_m: tuple[float, float, float], braces: tuple[int, int, int], thickness_m: float) -> float:
    """Volume of all ring braces, m³.

    Parameters
    ----------
    sides_m : inner sides, m.
    braces : how many across width, height and depth.
    thickness_m : m.

    Source
    ------
    [derived], geometry; the rim's width is [common-practice].
    """
    total = 0.0
    for axis, count in enumerate(braces):
        a, b = (side for i, side in enumerate(sides_m) if i != axis)
        rim = brace_rim_m(a, b)
        total += count * (a * b - (a - 2.0 * rim) * (b - 2.0 * rim)) * thickness_m
    return total


def brace_rim_m(a_m: float, b_m: float) -> float:
    """Width of a brace's rim in m: 50 mm, at most a quarter of the shorter side.

    Source
    ------
    [common-practice]
    """
    return min(_RING_M, math.floor(250.0 * min(a_m, b_m)) / 1e3)


def _layouts(job: Job, mouth: Mouth | None) -> Iterator[FrontLayout]:
    round_port = mouth is not None and mouth.kind == "round"
    return layouts(
        drivers=job.driver.count,
        frame_m=job.driver.frame_m,
        hole_m=job.driver.hole_m,
        depth_m=job.driver.depth_m,
        thickness_m=job.spec.panel_thickness_m,
        front_m=job.front_m,
        ports=mouth.count if mouth is not None and round_port else 0,
        port_outer_m=mouth.outer_m if mouth is not None and round_port else 0.0,
        slot_height_m=mouth.outer_m if mouth is not None and not round_port else 0.0,
        lean=job.slopes.both,
    )


def _inner(job: Job, volume_m3: float, least_m: tuple[float, float, float]) -> InnerBox | None:
    """Inner sides; a leaning box that would run out to an edge at its top is built lower."""
    room = job.room
    for _ in range(_LOWER_TRIES):
        inner = inner_box(volume_m3, room, least_m)
        if inner is None or job.slopes == UPRIGHT or job.narrowest(inner)[2] >= _LEAST_TOP_M:
            return inner
        room = replace(room, height_m=_LOWER * inner.sides_m[1])
    return None


def shaped_box(job: Job, volume_m3: float, mouth: Mouth | None) -> tuple[FrontLayout, InnerBox] | None:
    """Layout and sides: the first layout that keeps to the wanted volume, else the smallest that fits.

    Parameters
    ----------
    job : what was asked.
    volume_m3 : wanted inner volume, m³.
    mouth : openings on the panels, None for none.
    """
    best: tuple[FrontLayout, InnerBox] | None = None
    for layout in _layouts(job, mouth):
        inner = _inner(job, volume_m3, layout.least_m)
        if inner is None:
            continue
        if inner.volume_m3 <= 1.005 * volume_m3:
            return layout, inner
        if best is None or inner.volume_m3 < best[1].volume_m3:
            best = layout, inner
    return best


def refuse_size(job: Job, mouth: Mouth | None = None) -> NoSolutionError:
    """The refusal of a room too small for driver and openings."""
    least = min((layout.least_m for layout in _layouts(job, mouth)), key=math.prod)
    rooms = (job.room.width_m, job.room.height_m, job.room.depth_m)
    t = job.spec.panel_thickness_m
    panels = (2.0 * t, 2.0 * t, t + job.front_m)
    short = [
        f"{name} {show(need + board, 'length')}"
        for name, need, room, board in zip(("width", "height", "depth"), least, rooms, panels, strict=True)
        if need > room
    ]
    return NoSolutionError(
        message="The driver doesn't fit the room."
        if mouth is None
        else "Driver and radiator don't fit the room.",
        quantity="outer sides needed",
        value=", ".join(short) or "more than the room",
        limit=" × ".join(
            show(side + board, "length") if math.isfinite(side) else "free"
            for side, board in zip(rooms, panels, strict=True)
        ),
        remedy="Give more room, or use a smaller or shallower driver.",
    )


def check_volume(job: Job, net_m3: float) -> None:
    """Refuse a net volume that isn't the one asked for."""
    wanted = job.spec.volume_m3
    if wanted is not None and abs(net_m3 / wanted - 1.0) > _VOLUME_TOLERANCE:
        larger = net_m3 > wanted
        raise NoSolutionError(
            message=(
                "Driver and port need a larger box than asked for."
                if larger
                else "The room doesn't hold the volume asked for beside driver, port and braces."
            ),
            quantity="net volume",
            value=f"asked for {show(wanted, 'volume')}, comes to {show(net_m3, 'volume')}",
            limit=f"within {_VOLUME_TOLERANCE:.0%}",
            remedy=(
                "Ask for a larger volume, or use a smaller driver or port."
                if larger
                else 'Ask for a smaller volume, give more room, or leave the volume "auto".'
            ),
        )


def port_mouths(spec: EnclosureSpec, wanted_m2: float) -> Iterator[Mouth]:
    """Round openings to try: the smallest that keeps the speed limit first, then ever smaller ones.

    Parameters
    ----------
    spec : the builder's wishes.
    wanted_m2 : least area that keeps the speed limit, m².

    Source
    ------
    [common-practice] for preferring one wide pipe.
    """
    pipes = STOCK_PIPES if spec.port_diameter_m is None else (pipe_of(spec.port_diameter_m),)
    counts = (1, 2, 3, 4) if spec.port_count is None else (spec.port_count,)
    mouths = list(round_mouths(pipes, counts, spec.port_flare_m))
    # One wide pipe flows better than several narrow ones of the same area.
    mouths.sort(key=lambda mouth: mouth.area_m2 * (1.0 + 0.08 * (mouth.count - 1)))
    yield from (mouth for mouth in mouths if mouth.speed_area_m2 >= wanted_m2)
    mouths.sort(key=lambda mouth: mouth.area_m2 * (1.0 - 0.06 * (mouth.count - 1)), reverse=True)
    yield from (mouth for mouth in mouths if mouth.speed_area_m2 < wanted_m2)


@dataclass(frozen=True, slots=True)
class SealedKind:
    """Closed box."""

    def plan(self, job: Job) -> BoxPlan:
        """Size a closed box."""
        spec, model = job.spec, job.driver.model
        fill = FILLS[spec.fill]
        qa = fill.qa if spec.qa is None else spec.qa
        ql = math.inf if spec.ql is None else spec.ql
        if spec.tuning_hz is not None:
            raise NoSolutionError(
                message="A sealed box has no tuning.",
                quantity="enclosure.tuning",
                value=show(spec.tuning_hz, "frequency"),
                remedy='Remove the key, or write enclosure.kind = "vented".',
            )
        limit = job.room.volume_m3 - job.fixed_displacement_m3
        if limit <= 0.0:
            raise refuse_size(job)
        target = sealed_target(spec, model, job.qts, limit)
        port_m3 = 0.0
        taken = job.fixed_displacement_m3
        for _ in range(2 if any(job.braces) else 1):
            shaped = shaped_box(job, target.net_volume_m3 + taken, None)
            if shaped is None:
                raise refuse_size(job)
            layout, inner = shaped
            displaced = job.displaced(inner, port_m3)
            taken = sum(displaced.values())
        net = inner.volume_m3 - taken
        if net <= 0.0:
            raise refuse_size(job)
        check_volume(job, net)
        fc = model.fs_hz * math.sqrt(1.0 + model.vas_m3() / (net * fill.gain))
        return BoxPlan(
            target=target,
            layout=layout,
            inner=inner,
            port=None,
            displaced_m3=MappingProxyType(displaced),
            net_volume_m3=net,
            tuning_hz=None,
            ql=ql,
            qa=qa,
            qp=math.inf,
            gain=fill.gain,
            model=SealedBox(volume_m3=net, gain=fill.gain, qa=qa, ql=ql, q_frequency_hz=fc),
            port_area_wanted_m2=None,
            reasons=target.reasons,
            sources=("small-1972-direct", "small-1972-closed"),
        )
