"""The fourth-order band-pass box: driver between a closed chamber and a vented one."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.ports import effective_length_m, tuning_hz
from subwright.physics.acoustics.resonant_boxes import (
    BandPassBox,
    BandPassShape,
    band_pass_shape,
)
from subwright.stages.enclosure_kinds import (
    VENTED_QL,
    BoxPlan,
    Job,
    check_volume,
    port_mouths,
    refuse_size,
)
from subwright.stages.enclosure_port import (
    Mouth,
    Port,
    finished_port,
    port_displacement_m3,
    port_fits,
)
from subwright.stages.enclosure_shape import EDGE_M, UPRIGHT, FrontLayout, InnerBox, inner_box, layouts
from subwright.stages.enclosure_spec import Chambers
from subwright.stages.enclosure_target import FILLS, Target

__all__ = ["BandPassKind"]

_SETTLE = 5
_QTC = 0.7
_DAMPING = 0.7
_QTC_STEPS = (0.85, 1.0, 1.3)  # a wider ripple before a higher tuning
_LEAST_DAMPING = 0.4
_IN_FRONT_M = 0.020  # free in front of the cone beyond xmax
_FRONT_SHARE = 0.25  # of the front chamber that the port may take


@dataclass(frozen=True, slots=True)
class BandPassKind:
    """Driver on a divider between a closed chamber on the left and a vented one on the right."""

    def plan(self, job: Job) -> BoxPlan:
        """Size both chambers and the port of the right one together."""
        spec = job.spec
        if job.slopes != UPRIGHT:
            raise NoSolutionError(
                message="A band-pass box is planned with upright walls.",
                quantity="enclosure.outline",
                value=spec.outline,
                limit='"rectangular"',
                remedy='Write outline = "rectangular", or take another kind of box.',
            )
        if spec.alignment != "auto":
            raise NoSolutionError(
                message="A band-pass is shaped by its Qtc and damping, not by a named alignment.",
                quantity="enclosure.alignment",
                value=spec.alignment,
                limit='"auto"',
                remedy="Give enclosure.qtc and enclosure.band_damping.",
            )
        if spec.port_kind == "slot":
            raise NoSolutionError(
                message="A band-pass box is planned with round ports.",
                quantity="enclosure.port_kind",
                value="slot",
                limit='"round"',
                remedy='Write port_kind = "round".',
            )
        limit = job.room.volume_m3 - job.fixed_displacement_m3
        if limit <= 0.0:
            raise refuse_size(job)
        target, shape, damping = _band_target(job, limit)
        plan = self._with_port(job, target, shape, damping)
        if plan.net_volume_m3 < 0.98 * target.net_volume_m3 and spec.volume_m3 is None:
            target, shape, damping = _band_target(job, plan.net_volume_m3)
            plan = self._with_port(job, target, shape, damping)
        check_volume(job, plan.net_volume_m3)
        return plan

    def _with_port(self, job: Job, target: Target, shape: BandPassShape, damping: float) -> BoxPlan:
        wanted = _wanted_area_m2(job, shape)
        tried: list[str] = []
        for mouth in port_mouths(job.spec, wanted):
            plan = self._fitted(job, target, shape, damping, mouth, tried)
            if plan is not None:
                return replace(plan, port_area_wanted_m2=wanted)
        raise NoSolutionError(
            message="No port fits the front chamber at this tuning.",
            quantity="port length",
            value=f"{tried[0]}; {tried[-1]}" if tried else "no port to try",
            limit="the inside of the front chamber",
            source="beranek-mellow-2012",
            remedy="Raise enclosure.qtc or enclosure.tuning, take a smaller port, or another kind of box.",
        )

    def _fitted(
        self,
        job: Job,
        target: Target,
        shape: BandPassShape,
        damping: float,
        mouth: Mouth,
        tried: list[str],
    ) -> BoxPlan | None:
        spec = job.spec
        t, front_m = spec.panel_thickness_m, job.front_m
        gain = FILLS[spec.fill].gain
        rear, front = shape.rear_m3 / gain, shape.front_m3
        least = _least(job, mouth)
        divider = braces = 0.0
        for _ in range(_SETTLE):
            length = float(effective_length_m(mouth.area_m2, front, shape.tuning_hz)) - mouth.ends_m
            if length < front_m:
                tried.append(f"{mouth.count} × {mouth.name}: shorter than the panel is thick")
                return None
            port_m3 = port_displacement_m3(mouth, length, front_m)
            gross = rear + front + job.fixed_displacement_m3 + port_m3 + divider + braces
            found = inner_box(gross, job.room, least)
            if found is None:
                tried.append(f"{mouth.count} × {mouth.name}, {show(length, 'length')} long")
                return None
            inner = found
            width, height, depth = inner.sides_m
            divider = t * height * depth
            braces = job.displaced(inner, 0.0).get("braces", 0.0)
            if inner.limited or inner.volume_m3 > 1.01 * gross:
                # Share what there is, or is to spare, as the shape asks.
                left = inner.volume_m3 - divider - braces - port_m3 - job.fixed_displacement_m3
                if left <= 0.0:
                    tried.append(f"{mouth.count} × {mouth.name} would fill the box")
                    return None
                rear, front = left * rear / (rear + front), left * front / (rear + front)
        if port_m3 > _FRONT_SHARE * front:
            tried.append(f"{mouth.count} × {mouth.name} would fill the front chamber")
            return None
        rear_width = round((rear + job.fixed_displacement_m3 + 0.5 * braces) / (height * depth), 3)
        front_width = round(width - t - rear_width, 3)
        if rear_width < _rear_least_m(job) - 1e-9 or front_width < _front_least_m(job, mouth) - 1e-9:
            tried.append(f"{mouth.count} × {mouth.name}: a chamber would be narrower than its contents")
            return None
        sides = (front_width, height, depth)
        length = round(length, 3)
        port = finished_port(
            mouth, length, sides, "front", front_m, bend_allowed=spec.port_bend != "straight"
        )
        if not port_fits(port, front_m, bend_wanted=spec.port_bend == "one bend"):
            tried.append(
                f"{mouth.count} × {mouth.name}, {show(length, 'length')} long in a chamber that takes "
                f"{show(port.length_limit_m, 'length')}"
            )
            return None
        return self._finished(job, target, damping, inner, port, (rear_width, front_width))

    def _finished(
        self,
        job: Job,
        target: Target,
        damping: float,
        inner: InnerBox,
        port: Port,
        widths: tuple[float, float],
    ) -> BoxPlan:
        spec, t, model = job.spec, job.spec.panel_thickness_m, job.driver.model
        fill = FILLS[spec.fill]
        _, height, depth = inner.sides_m
        displaced = job.displaced(inner, port.displacement_m3)
        displaced["divider"] = t * height * depth
        braces = displaced.get("braces", 0.0)
        rear = widths[0] * height * depth - job.fixed_displacement_m3 - 0.5 * braces
        front = widths[1] * height * depth - port.displacement_m3 - 0.5 * braces
        tuned = float(tuning_hz(port.area_m2, front, port.length_m + port.end_correction_m))
        alpha = model.vas_m3() / (rear * fill.gain)
        rear_hz = model.fs_hz * math.sqrt(1.0 + alpha)
        qtc = job.qts * math.sqrt(1.0 + alpha)
        got_damping = math.sqrt(front / model.vas_m3()) / (2.0 * job.qts)
        ql = VENTED_QL if spec.ql is None else spec.ql
        qa = fill.qa if spec.qa is None else spec.qa
        qp = math.inf if spec.qp is None else spec.qp
        ideal = band_pass_shape(model.fs_hz, job.qts, model.vas_m3(), qtc, min(max(got_damping, 0.3), 1.0))
        chambers = Chambers(
            rear_width_m=widths[0],
            front_width_m=widths[1],
            rear_m3=rear,
            front_m3=front,
            damping=got_damping,
            low_hz=ideal.low_hz,
            high_hz=ideal.high_hz,
        )
        reason = (
            f"Band-pass: {show(rear, 'volume')} closed behind the driver (Qtc {qtc:.2f}), "
            f"{show(front, 'volume')} in front tuned to {show(tuned, 'frequency')}, damping "
            f"{got_damping:.2f}. The left side is screwed on over a gasket, not glued: the driver goes in "
            "through it."
        )
        return BoxPlan(
            target=target,
            layout=FrontLayout(columns=1, rows=1, ports="front chamber", least_m=(0.0, 0.0, 0.0)),
            inner=inner,
            port=port,
            chambers=chambers,
            displaced_m3=MappingProxyType(displaced),
            net_volume_m3=rear + front,
            stiff_volume_m3=rear,
            tuning_hz=tuned,
            ql=ql,
            qa=qa,
            qp=qp,
            gain=fill.gain,
            model=BandPassBox(
                rear_m3=rear,
                front_m3=front,
                tuning_hz=tuned,
                rear_gain=fill.gain,
                rear_qa=qa,
                rear_hz=rear_hz,
                ql=ql,
                qp=qp,
            ),
            port_area_wanted_m2=None,
            reasons=(*target.reasons, reason),
            sources=("small-1972-direct", "fincham-1979", "geddes-1989", "beranek-mellow-2012"),
        )


def _band_target(job: Job, limit_m3: float) -> tuple[Target, BandPassShape, float]:
    """Net volume of both chambers and their shape: as asked, flat, or the flattest that the room allows."""
    spec, model = job.spec, job.driver.model
    vas, gain = model.vas_m3(), FILLS[spec.fill].gain
    damping = _DAMPING if spec.band_damping is None else spec.band_damping
    qtc = _QTC if spec.qtc is None else spec.qtc

    def shape_of(q: float, s: float) -> BandPassShape:
        made = band_pass_shape(model.fs_hz, job.qts, vas, q, s)
        return made if spec.tuning_hz is None else replace(made, tuning_hz=spec.tuning_hz)

    def net(made: BandPassShape) -> float:
        return made.rear_m3 / gain + made.front_m3

    wanted = spec.volume_m3
    if wanted is not None and spec.qtc is not None:
        raise NoSolutionError(
            message="Give enclosure.volume or enclosure.qtc, not both: one follows from the other.",
            quantity="volume and Qtc",
            value=f"{show(wanted, 'volume')}, {spec.qtc:.3g}",
            limit="one of them",
            remedy="Remove one of the two keys.",
        )
    if wanted is not None and wanted > limit_m3 * 1.0001:
        raise NoSolutionError(
            message="The room doesn't hold the volume asked for.",
            quantity="net volume",
            value=show(wanted, "volume"),
            limit=f"at most {show(limit_m3, 'volume')}",
            remedy='Give more room, a smaller volume, or leave the volume "auto".',
        )
    if wanted is None:
        if qtc <= job.qts * 1.15:
            raise NoSolutionError(
                message="The driver's Q leaves nothing to a closed rear chamber.",
                quantity="Qts with source resistance",
                value=f"{job.qts:.3g}",
                limit=f"below {qtc / 1.15:.3g} for Qtc {qtc:.3g}",
                source="fincham-1979",
                remedy="Raise enclosure.qtc, or take a driver of lower Qts.",
            )
        made = shape_of(qtc, damping)
        if net(made) <= limit_m3:
            reason = f"Band-pass of Qtc {qtc:.2f} and damping {damping:.2f}: {show(net(made), 'volume')}."
            return _target(net(made), made, "band-pass", False, reason), made, damping
    total = limit_m3 if wanted is None else wanted
    found = _squeezed(job, total, damping, gain)
    made = shape_of(found[0], found[1])
    reason = (
        f"{show(total, 'volume')} for both chambers "
        f"{'as given' if wanted is not None else 'is what the room leaves'}: Qtc {found[0]:.2f}, damping "
        f"{found[1]:.2f}."
    )
    return (
        _target(total, made, "given" if wanted is not None else "band-pass", wanted is None, reason),
        made,
        found[1],
    )


def _target(net_m3: float, made: BandPassShape, family: str, limited: bool, reason: str) -> Target:
    return Target(
        net_volume_m3=net_m3,
        tuning_hz=made.tuning_hz,
        family=family,
        limited_by_room=limited,
        reasons=(reason,),
    )


def _squeezed(job: Job, total_m3: float, damping: float, gain: float) -> tuple[float, float]:
    """Qtc and damping that make both chambers fill a volume, the damping as near as it can be."""
    vas = job.driver.model.vas_m3()
    for most in _QTC_STEPS:
        s = damping
        while s >= _LEAST_DAMPING - 1e-9:
            rear = (total_m3 - (2.0 * s * job.qts) ** 2 * vas) * gain
            qtc = job.qts * math.sqrt(1.0 + vas / rear) if rear > 0.0 else math.inf
            if qtc <= most:
                return qtc, s
            s -= 0.02
    least = (2.0 * _LEAST_DAMPING * job.qts) ** 2 * vas + vas / ((_QTC_STEPS[-1] / job.qts) ** 2 - 1.0) / gain
    raise NoSolutionError(
        message="This volume is too small for a band-pass with this driver.",
        quantity="net volume of both chambers",
        value=show(total_m3, "volume"),
        limit=f"at least {show(least, 'volume')} for Qtc {_QTC_STEPS[-1]:g} and damping {_LEAST_DAMPING:g}",
        source="fincham-1979",
        remedy="Give more room, fill the rear chamber, or take a sealed box or a driver of smaller Vas.",
    )


def _rear_least_m(job: Job) -> float:
    depth = job.driver.depth_m
    return 0.1 if depth is None else max(depth - job.spec.panel_thickness_m + 0.020, 0.05)


def _front_least_m(job: Job, mouth: Mouth) -> float:
    row = mouth.count * mouth.outer_m + (mouth.count + 1) * EDGE_M
    return max(job.driver.xmax_m + _IN_FRONT_M, row)


def _least(job: Job, mouth: Mouth) -> tuple[float, float, float]:
    """Least inner sides: the drivers stand on the divider, which is as deep and high as the inside."""
    driver, t = job.driver, job.spec.panel_thickness_m
    grid: Iterator[FrontLayout] = layouts(
        drivers=driver.count,
        frame_m=driver.frame_m,
        hole_m=driver.hole_m,
        depth_m=driver.depth_m,
        thickness_m=0.0,
        front_m=t,
    )
    along, high, _ = next(grid).least_m
    width = _rear_least_m(job) + t + _front_least_m(job, mouth)
    return width, max(high, mouth.outer_m + 2.0 * EDGE_M), along


def _wanted_area_m2(job: Job, shape: BandPassShape) -> float:
    """Least port area that keeps the speed limit, from the flow at full drive within the excursion limit."""
    need = job.need
    frequency = np.geomspace(need.lowest_note_hz, max(2.0 * shape.tuning_hz, 1.5 * need.lowest_note_hz), 40)
    gain = FILLS[job.spec.fill].gain
    box = BandPassBox(
        rear_m3=shape.rear_m3 / gain, front_m3=shape.front_m3, tuning_hz=shape.tuning_hz, rear_gain=gain
    )
    response = solve(job.driver.model, box, frequency, source_ohm=need.source_ohm)
    drive = np.full_like(frequency, need.drive_v)
    if need.highpass is not None:
        drive = drive * np.abs(need.highpass(frequency))
    drive = np.minimum(drive, job.driver.xmax_m / (math.sqrt(2.0) * response.excursion_m_per_v))
    peak = math.sqrt(2.0) * float(np.max(response.opening_m3_per_s_per_v * drive))
    return peak / job.spec.port_speed_limit_m_per_s
