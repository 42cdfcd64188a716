"""Panels of the box: sizes in whole millimetres, cut-outs, resonances, braces, mass, and how to saw them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from subwright.base.standards import sheets_of
from subwright.physics.acoustics.cutting import CutPlan, Piece, plan_cuts_closely
from subwright.physics.acoustics.panels import MATERIALS, PanelMaterial, simply_supported_hz
from subwright.stages.enclosure_drills import Drill, Hole, cover_drills, driver_drills, end_drills
from subwright.stages.enclosure_kinds import BoxPlan, Job, brace_rim_m
from subwright.stages.enclosure_port import riser_m
from subwright.stages.enclosure_shape import EDGE_M, UPRIGHT
from subwright.stages.enclosure_solid import groove_m3, profile_area_m2, rebate_m
from subwright.stages.enclosure_spec import EnclosureSpec

__all__ = [
    "Bevel",
    "Drill",
    "Hole",
    "Panel",
    "cut_plan",
    "panels_mass_kg",
    "panels_of",
    "weakest_panel",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Bevel:
    """An edge that is not sawn square."""

    edge: str  # "top", "bottom", "front", "back"
    angle_deg: float  # from square


@dataclass(frozen=True, kw_only=True, slots=True)
class Panel:
    """One panel, or several that are alike. Length runs along the outside's width, else along its depth."""

    name: str
    length_m: float
    width_m: float
    thickness_m: float
    count: int
    holes: tuple[Hole, ...]
    span_length_m: float  # free span between supports
    span_width_m: float
    resonance_hz: float | None  # edges simply supported, layers glued; None for boards inside the box
    outline_m: tuple[tuple[float, float], ...] = ()  # corners where it is no rectangle
    drills: tuple[Drill, ...] = ()
    bevels: tuple[Bevel, ...] = ()
    rebate_m: float = 0.0  # depth of the rebate round its inner edge, as wide as the boards are thick

    @property
    def area_m2(self) -> float:
        """Board area of all of them as rectangles, cut-outs included, m²."""
        return self.count * self.length_m * self.width_m

    @property
    def face_m2(self) -> float:
        """Area of one as it is cut, without its cut-outs, m²."""
        whole = profile_area_m2(self.outline_m) if self.outline_m else self.length_m * self.width_m
        return whole - sum(hole.area_m2 for hole in self.holes)


def panels_of(job: Job, plan: BoxPlan) -> tuple[Panel, ...]:
    """Panels of the box: front and back cover the edges, top and bottom cover the sides.

    Rebated joints let the other boards half-way into front and back. Boards of a leaning front or back are
    given at their larger face, with the bevels of their edges.

    Parameters
    ----------
    job : what was asked.
    plan : sides, port and layout.

    Returns
    -------
    Panels in the order of assembly.

    Source
    ------
    [derived], geometry; [leissa-1973] for the resonances.
    """
    t, slopes = job.spec.panel_thickness_m, job.slopes
    material = MATERIALS[job.spec.panel_material]
    width, height, depth = plan.inner.sides_m
    outer_width, outer_height = _up(width + 2.0 * t), _up(height + 2.0 * t)
    rebate = rebate_m(job)
    free = plan.inner.sides_m
    if plan.chambers is not None:
        free = (max(plan.chambers.rear_width_m, plan.chambers.front_width_m), height, depth)
    across = [side / (count + 1) for side, count in zip(free, job.braces, strict=True)]

    def outside(
        name: str,
        length: float,
        wide: float,
        span: tuple[float, float],
        count: int = 1,
        holes: tuple[Hole, ...] = (),
        outline: tuple[tuple[float, float], ...] = (),
        bevels: tuple[Bevel, ...] = (),
        drills: tuple[Drill, ...] = (),
        groove: float = 0.0,
    ) -> Panel:
        layers = count if name == "front" else 1
        return Panel(
            name=name,
            length_m=length,
            width_m=wide,
            thickness_m=t,
            count=count,
            holes=holes,
            span_length_m=span[0],
            span_width_m=span[1],
            resonance_hz=simply_supported_hz(span[0], span[1], layers * t, material),
            outline_m=outline,
            drills=drills,
            bevels=bevels,
            rebate_m=groove,
        )

    front_high = _up(outer_height * math.hypot(1.0, slopes.front) + job.front_m * slopes.front)
    back_high = _up(outer_height * math.hypot(1.0, slopes.back) + t * slopes.back)
    back, flat, upright = (across[0], across[1]), (across[0], across[2]), (across[2], across[1])
    holes = tuple(_front_holes(job, plan))
    lift = 0.5 * (front_high - outer_height)  # cut-outs keep to the middle of a longer, leaning front
    if lift > 0.0:
        holes = tuple(replace(hole, y_m=hole.y_m + lift) for hole in holes)
    covering = cover_drills(outer_width, front_high, t, holes)
    bolts = tuple(driver_drills(job, holes))
    # Braces leave out their front rim where driver and port are, so the front counts as unsupported by them.
    panels = [
        outside(
            "front",
            outer_width,
            front_high,
            (free[0], height),
            job.front_layers,
            holes,
            bevels=_bevels(slopes.front, "top", "bottom"),
            drills=(*covering, *bolts),
            groove=rebate,
        ),
        outside(
            "back",
            outer_width,
            back_high,
            back,
            bevels=_bevels(slopes.back, "top", "bottom"),
            drills=cover_drills(outer_width, back_high, t, ()),
            groove=rebate,
        ),
    ]
    long = depth + 2.0 * rebate
    half = 0.5 * slopes.both * height
    edges = (*_bevels(slopes.front, "front"), *_bevels(slopes.back, "back"))
    if slopes == UPRIGHT:
        drills = end_drills(outer_width, long, t)
        panels.append(outside("top and bottom", outer_width, long, flat, 2, drills=drills))
    else:
        low, high = _up(depth + half + slopes.both * t), _up(depth - half)
        for name, wide in (("bottom", low), ("top", high)):
            drills = end_drills(outer_width, wide, t)
            panels.append(outside(name, outer_width, wide, flat, bevels=edges, drills=drills))
    side_holes = tuple(replace(h, x_m=h.x_m + rebate) for h in _side_holes(plan, depth, height))
    outline: tuple[tuple[float, float], ...] = ()
    if slopes != UPRIGHT:
        base = depth + half
        outline = (
            (0.0, 0.0),
            (base, 0.0),
            (base - slopes.back * height, height),
            (slopes.front * height, height),
        )
        long = _up(base)
    if side_holes:
        panels.append(outside("left side", long, height, upright, outline=outline))
        panels.append(outside("right side", long, height, upright, holes=side_holes, outline=outline))
    else:
        panels.append(outside("sides", long, height, upright, 2, outline=outline))
    panels.extend(_inside_boards(job, plan))
    return tuple(panels)


def _bevels(slope: float, *edges: str) -> tuple[Bevel, ...]:
    if slope == 0.0:
        return ()
    angle = math.degrees(math.atan(slope))
    return tuple(Bevel(edge=edge, angle_deg=angle) for edge in edges)


def _up(side_m: float) -> float:
    """Next whole millimetre: board that stands proud is trimmed flush."""
    return math.ceil(side_m * 1e3 - 1e-6) / 1e3


def _inside_boards(job: Job, plan: BoxPlan) -> Iterator[Panel]:
    t = job.spec.panel_thickness_m
    sides = plan.inner.sides_m

    def board(
        name: str,
        length: float,
        wide: float,
        count: int,
        holes: tuple[Hole, ...] = (),
        outline: tuple[tuple[float, float], ...] = (),
    ) -> Panel:
        return Panel(
            outline_m=outline,
            name=name,
            length_m=length,
            width_m=wide,
            thickness_m=t,
            count=count,
            holes=holes,
            span_length_m=length,
            span_width_m=wide,
            resonance_hz=None,
        )

    for axis, name in enumerate(("width", "height", "depth")):
        if not job.braces[axis]:
            continue
        a, b = (side for i, side in enumerate(sides) if i != axis)
        rim = brace_rim_m(a, b)
        window = Hole(
            purpose="window",
            shape="rectangle",
            width_m=a - 2.0 * rim,
            height_m=b - 2.0 * rim,
            x_m=0.5 * a,
            y_m=0.5 * b,
        )
        title = f"ring brace across the {name}"
        if axis == 0 and job.slopes != UPRIGHT:  # the profile of the box, lying on its floor
            yield _leaning_brace(job, plan, title, rim)
        else:
            yield board(title, a, b, job.braces[axis], (window,))
    port = plan.port
    if plan.chambers is not None:
        yield board(
            "divider",
            sides[2],
            sides[1],
            1,
            tuple(_driver_holes(job, job.driver.count, 0.0, sides[2], 0.0, sides[1])),
        )
    if port is not None and port.kind == "slot" and port.height_m is not None:
        straight = port.bend == "straight"
        shelf = port.length_m - job.front_m if straight else sides[2] - port.height_m
        yield board("port shelf", sides[0], round(shelf, 6), 1)
        if not straight:
            yield board("port riser", sides[0], riser_m(port), 1)


def _leaning_brace(job: Job, plan: BoxPlan, name: str, rim: float) -> Panel:
    """A brace across the width of a leaning box; its window keeps a rim at the narrow top."""
    _, height, depth = plan.inner.sides_m
    half = 0.5 * job.slopes.both * height
    base = depth + half
    outline = (
        (0.0, 0.0),
        (base, 0.0),
        (base - job.slopes.back * height, height),
        (job.slopes.front * height, height),
    )
    free = max(depth - half - 2.0 * rim, 0.25 * depth)
    window = Hole(
        purpose="window",
        shape="rectangle",
        width_m=free,
        height_m=height - 2.0 * rim,
        x_m=job.slopes.front * height + 0.5 * (depth - half),
        y_m=0.5 * height,
    )
    return Panel(
        name=name,
        length_m=_up(base),
        width_m=height,
        thickness_m=job.spec.panel_thickness_m,
        count=job.braces[0],
        holes=(window,),
        span_length_m=base,
        span_width_m=height,
        resonance_hz=None,
        outline_m=outline,
    )


def _front_holes(job: Job, plan: BoxPlan) -> Iterator[Hole]:
    t, layout, port = job.spec.panel_thickness_m, plan.layout, plan.port
    width, height, _ = plan.inner.sides_m
    left, right, bottom, top = t, t + width, t, t + height
    if port is not None and port.kind == "slot":
        yield Hole(
            purpose="port",
            shape="rectangle",
            width_m=width,
            height_m=port.height_m or 0.0,
            x_m=0.5 * (left + right),
            y_m=bottom + 0.5 * (port.height_m or 0.0),
        )
        bottom += (port.height_m or 0.0) + t
    openings = _openings(plan)
    if openings is not None and plan.chambers is not None:
        left = right - plan.chambers.front_width_m
        yield from _row(openings, (None, 0.5 * (bottom + top)), (left, right))
        return
    if openings is not None and layout.ports != "side panel":
        outer = openings.outer_m
        if layout.ports == "beside":
            right -= outer + EDGE_M
            yield from _row(openings, (right + 0.5 * outer, None), (bottom, top))
        else:
            yield from _row(openings, (None, bottom + EDGE_M + 0.5 * outer), (left, right))
            bottom += outer + EDGE_M
    yield from _driver_holes(job, layout.columns, left, right, bottom, top)


def _driver_holes(
    job: Job, columns: int, left: float, right: float, bottom: float, top: float
) -> Iterator[Hole]:
    """Cut-outs of the drivers in rows, in the middle of a field of a panel."""
    hole, count = job.driver.hole_m, job.driver.count
    if hole is None:
        return
    pitch, rows = job.driver.frame_m + EDGE_M, math.ceil(count / columns)
    for index in range(count):
        row, column = divmod(index, columns)
        in_row = min(columns, count - row * columns)
        yield Hole(
            purpose="driver",
            shape="round",
            width_m=hole,
            height_m=hole,
            x_m=0.5 * (left + right) + (column - 0.5 * (in_row - 1)) * pitch,
            y_m=0.5 * (bottom + top) + (0.5 * (rows - 1) - row) * pitch,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Openings:
    """Round openings beside the drivers: pipes, or passive radiators."""

    count: int
    outer_m: float
    hole_m: float
    purpose: str


def _openings(plan: BoxPlan) -> _Openings | None:
    port, radiator = plan.port, plan.radiator
    if radiator is not None:
        return _Openings(
            count=radiator.count, outer_m=radiator.frame_m, hole_m=radiator.hole_m, purpose="radiator"
        )
    if port is None or port.outer_diameter_m is None:
        return None
    outer = port.outer_diameter_m
    return _Openings(count=port.count, outer_m=outer, hole_m=_up(outer), purpose="port")


def _row(
    openings: _Openings, at: tuple[float | None, float | None], run: tuple[float, float]
) -> Iterator[Hole]:
    """Holes evenly along one line; the coordinate that is None runs between ``run``."""
    for index in range(openings.count):
        place = run[0] + (index + 0.5) * (run[1] - run[0]) / openings.count
        yield Hole(
            purpose=openings.purpose,
            shape="round",
            width_m=openings.hole_m,
            height_m=openings.hole_m,
            x_m=place if at[0] is None else at[0],
            y_m=place if at[1] is None else at[1],
        )


def _side_holes(plan: BoxPlan, depth_m: float, height_m: float) -> tuple[Hole, ...]:
    openings = _openings(plan)
    if openings is None or plan.layout.ports != "side panel":
        return ()
    middle = EDGE_M + 0.5 * openings.outer_m
    return tuple(_row(openings, (None, min(middle, 0.5 * height_m)), (0.0, depth_m)))


def weakest_panel(panels: tuple[Panel, ...]) -> tuple[Panel, float]:
    """The panel that resonates lowest, and its resonance in Hz.

    Source
    ------
    [leissa-1973]
    """
    return min(((p, p.resonance_hz) for p in panels if p.resonance_hz is not None), key=lambda x: x[1])


def panels_mass_kg(panels: tuple[Panel, ...], material: PanelMaterial) -> float:
    """Mass of all panels without their cut-outs and rebates, kg; of a doubled front one board is rebated.

    Source
    ------
    [derived], geometry.
    """
    grooves = sum(
        groove_m3(panel.length_m, panel.width_m, panel.thickness_m, panel.rebate_m) for panel in panels
    )
    wood = sum(panel.count * panel.face_m2 * panel.thickness_m for panel in panels)
    return (wood - grooves) * material.density_kg_per_m3


def cut_plan(spec: EnclosureSpec, panels: tuple[Panel, ...]) -> CutPlan:
    """How to saw the panels: from the sheet given, else from the stock sheets that take the least board.

    Parameters
    ----------
    spec : kerf, material and perhaps the sheet.
    panels : what to cut.

    Raises
    ------
    RangeError : board not sold at this thickness and no sheet given.
    NoSolutionError : a panel larger than any sheet.

    Source
    ------
    [coffman-1980], [jylanki-2010]; sheets by [common-practice].
    """
    pieces = [
        Piece(name=panel.name, length_m=panel.length_m, width_m=panel.width_m)
        for panel in panels
        for _ in range(panel.count)
    ]
    if spec.sheet_length_m is not None and spec.sheet_width_m is not None:
        sizes = [(spec.sheet_length_m, spec.sheet_width_m)]
    else:
        stock = sheets_of(spec.panel_material, spec.panel_thickness_m)
        longest = max(max(piece.length_m, piece.width_m) for piece in pieces)
        sizes = [(sheet.length_m, sheet.width_m) for sheet in stock if sheet.length_m >= longest] or [
            (sheet.length_m, sheet.width_m) for sheet in stock
        ]
    plans = [
        plan_cuts_closely(pieces, sheet_length_m=length, sheet_width_m=width, kerf_m=spec.kerf_m)
        for length, width in sizes
    ]
    return min(plans, key=lambda plan: plan.sheets * plan.sheet_length_m * plan.sheet_width_m)
