"""Boxes with a passive radiator, and fourth-order band-pass boxes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.physics.acoustics.circuit import passband_pressure_pa_per_v, solve
from subwright.physics.acoustics.parameters import piston_area_m2
from subwright.physics.acoustics.ports import effective_length_m, tuning_hz
from subwright.physics.acoustics.resonant_boxes import (
    BandPassBox,
    BandPassShape,
    PassiveRadiator,
    PassiveRadiatorBox,
    band_pass_shape,
    radiator_mass_for_kg,
    radiator_tuning_hz,
)
from subwright.stages.enclosure_kinds import (
    VENTED_QL,
    BoxPlan,
    Job,
    check_volume,
    port_mouths,
    refuse_size,
    shaped_box,
)
from subwright.stages.enclosure_port import (
    Mouth,
    Port,
    finished_port,
    port_displacement_m3,
    port_fits,
)
from subwright.stages.enclosure_shape import EDGE_M, UPRIGHT, FrontLayout, InnerBox, inner_box, layouts
from subwright.stages.enclosure_spec import Chambers, EnclosureSpec, Radiator
from subwright.stages.enclosure_target import FILLS, Target, vented_target

__all__ = ["BandPassKind", "PassiveRadiatorKind", "bare_radiator", "radiator_mouth", "radiators_m3"]

_SETTLE = 5
_RADIATOR_SHAPE = 0.12  # volume of a cone without motor over Sd^1.5
_GRAM = 1e-3
_QTC = 0.7
_DAMPING = 0.7
_QTC_STEPS = (0.85, 1.0, 1.3)  # a wider ripple before a higher tuning
_LEAST_DAMPING = 0.4
_IN_FRONT_M = 0.020  # free in front of the cone beyond xmax
_FRONT_SHARE = 0.25  # of the front chamber that the port may take


@dataclass(frozen=True, slots=True)
class PassiveRadiatorKind:
    """Closed box tuned by one or two passive radiators with added mass."""

    def plan(self, job: Job) -> BoxPlan:
        """Size the box as a vented one, then load the radiator until it is tuned."""
        spec = job.spec
        _refuse_vented_keys(spec)
        bare = bare_radiator(spec)
        ql = VENTED_QL if spec.ql is None else spec.ql
        taken_by_radiators = radiators_m3(spec)
        fixed = job.fixed_displacement_m3 + taken_by_radiators
        limit = job.room.volume_m3 - fixed
        if limit <= 0.0:
            raise refuse_size(job)
        target = vented_target(spec, job.driver.model, job.qts, ql, limit)
        assert target.tuning_hz is not None  # a vented target always has one
        mouth = radiator_mouth(spec)
        taken = fixed
        for _ in range(2 if any(job.braces) else 1):
            shaped = shaped_box(job, target.net_volume_m3 + taken, mouth)
            if shaped is None:
                raise refuse_size(job, mouth)
            layout, inner = shaped
            displaced = job.displaced(inner, 0.0)
            displaced["radiators"] = taken_by_radiators
            taken = sum(displaced.values())
        net = inner.volume_m3 - taken
        if net <= 0.0:
            raise refuse_size(job, mouth)
        check_volume(job, net)
        fill = FILLS[spec.fill]
        wanted_hz = target.tuning_hz
        if spec.tuning_hz is None:
            wanted_hz = _flattest_hz(job, bare, net, ql, target.tuning_hz)
        unit, radiator = _loaded(spec, bare, wanted_hz, net * fill.gain, layout)
        tuned = radiator_tuning_hz(unit, net * fill.gain)
        qa = fill.qa if spec.qa is None else spec.qa
        model = PassiveRadiatorBox(
            volume_m3=net, radiator=unit, gain=fill.gain, ql=ql, qa=qa, q_frequency_hz=tuned
        )
        reason = (
            f"Passive radiator: {show(radiator.added_kg, 'mass')} added to each cone of "
            f"{show(radiator.bare_kg, 'mass')} tunes the box to {show(tuned, 'frequency')}; its notch lies "
            f"at {show(unit.fs_hz, 'frequency')}. The volume is that of the vented alignment"
            + (
                "."
                if spec.tuning_hz is not None
                else f", the tuning the lowest reach with at most {show(spec.ripple_db, 'level')} of peak."
            )
        )
        return BoxPlan(
            target=replace(target, tuning_hz=wanted_hz),
            layout=layout,
            inner=inner,
            port=None,
            radiator=radiator,
            displaced_m3=MappingProxyType(displaced),
            net_volume_m3=net,
            tuning_hz=tuned,
            ql=ql,
            qa=qa,
            qp=math.inf,
            gain=fill.gain,
            model=model,
            port_area_wanted_m2=None,
            reasons=(*target.reasons, reason),
            sources=("small-1972-direct", "small-1974-passive", "small-1973-vented"),
        )


def radiators_m3(spec: EnclosureSpec) -> float:
    """Volume that the radiators take from the box, m³.

    Source
    ------
    [common-practice] for the shape of a cone.
    """
    area = piston_area_m2(spec.radiator_diameter_m or 0.0)
    return float(spec.radiator_count * _RADIATOR_SHAPE * area**1.5)


def _refuse_vented_keys(spec: EnclosureSpec) -> None:
    if spec.qtc is not None:
        raise NoSolutionError(
            message="Qtc belongs to a sealed or band-pass box.",
            quantity="enclosure.qtc",
            value=f"{spec.qtc:.3g}",
            remedy='Remove the key, or write enclosure.kind = "sealed".',
        )
    if spec.fill in ("light", "dense"):
        raise NoSolutionError(
            message="Filling damps the radiator; such a box is lined at most.",
            quantity="enclosure.fill",
            value=spec.fill,
            limit='"none" or "lining"',
            source="small-1973-vented",
            remedy='Write fill = "lining".',
        )


def bare_radiator(spec: EnclosureSpec) -> PassiveRadiator:
    """One radiator without added mass.

    Raises
    ------
    NoSolutionError : not all of its data are given.

    Source
    ------
    [small-1974-passive]
    """
    given = {
        "radiator_diameter": spec.radiator_diameter_m,
        "radiator_mass": spec.radiator_mass_kg,
        "radiator_resonance": spec.radiator_resonance_hz,
        "radiator_frame": spec.radiator_frame_m,
        "radiator_hole": spec.radiator_hole_m,
    }
    missing = [name for name, value in given.items() if value is None]
    diameter, mass, resonance = spec.radiator_diameter_m, spec.radiator_mass_kg, spec.radiator_resonance_hz
    if missing or diameter is None or mass is None or resonance is None:
        raise NoSolutionError(
            message="A passive radiator can't be guessed: its data are needed.",
            quantity=", ".join(f"enclosure.{name}" for name in missing),
            value="none",
            source="small-1974-passive",
            remedy="Give them from its sheet, or measure them: mass by a known added weight.",
        )
    omega = 2.0 * math.pi * resonance
    return PassiveRadiator(
        sd_m2=piston_area_m2(diameter),
        mms_kg=mass,
        cms_m_per_n=1.0 / (omega**2 * mass),
        rms_kg_per_s=omega * mass / spec.radiator_q,
    )


def radiator_mouth(spec: EnclosureSpec) -> Mouth:
    """The radiator as an opening that the front or side panel must find room for.

    Raises
    ------
    NoSolutionError : a cut-out as large as the frame.

    Source
    ------
    [derived], geometry.
    """
    frame, hole = spec.radiator_frame_m or 0.0, spec.radiator_hole_m or 0.0
    if not hole < frame:
        raise NoSolutionError(
            message="The radiator's cut-out must be smaller than its frame.",
            quantity="enclosure.radiator_hole",
            value=show(hole, "length"),
            limit=f"below {show(frame, 'length')}",
            remedy="Measure both again.",
        )
    return Mouth(
        kind="round",
        count=spec.radiator_count,
        area_m2=spec.radiator_count * piston_area_m2(spec.radiator_diameter_m or 0.0),
        speed_area_m2=spec.radiator_count * piston_area_m2(spec.radiator_diameter_m or 0.0),
        ends_m=0.0,
        inner_m=hole,
        outer_m=frame,
        width_m=hole,
        solid_m2=0.0,
        name="passive radiator",
        source="derived",
    )


def _flattest_hz(job: Job, bare: PassiveRadiator, net_m3: float, ql: float, start_hz: float) -> float:
    """Tuning of the lowest reach with no more peak than allowed, around that of the vented alignment.

    Without the coil's inductance, as alignments are; the radiator's notch makes the best tuning another one.
    """
    spec, model = job.spec, replace(job.driver.model, coil_factor=0.0)
    every = _all_of(bare, spec.radiator_count)
    gain = FILLS[spec.fill].gain
    frequency = np.geomspace(0.4 * start_hz, 8.0 * start_hz, 80)
    reference = passband_pressure_pa_per_v(model, source_ohm=job.need.source_ohm)
    best: tuple[float, float, float] | None = None
    for tuned in np.geomspace(0.7 * start_hz, 1.2 * start_hz, 13).tolist():
        mass = radiator_mass_for_kg(tuned, every, net_m3 * gain)
        if mass < every.mms_kg:
            break
        box = PassiveRadiatorBox(
            volume_m3=net_m3, radiator=replace(every, mms_kg=mass), gain=gain, ql=ql, q_frequency_hz=tuned
        )
        response = solve(model, box, frequency, source_ohm=job.need.source_ohm)
        level = 20.0 * np.log10(np.abs(response.pressure_pa_per_v) / reference)
        below = np.flatnonzero(level < -3.0)
        f3 = float(frequency[below[-1]]) if below.size else float(frequency[0])
        merit = (max(float(level.max()), spec.ripple_db), f3, tuned)
        best = merit if best is None else min(best, merit)
    return start_hz if best is None else best[2]


def _all_of(bare: PassiveRadiator, count: int) -> PassiveRadiator:
    """Several radiators as one."""
    return PassiveRadiator(
        sd_m2=bare.sd_m2 * count,
        mms_kg=bare.mms_kg * count,
        cms_m_per_n=bare.cms_m_per_n / count,
        rms_kg_per_s=bare.rms_kg_per_s * count,
    )


def _loaded(
    spec: EnclosureSpec, bare: PassiveRadiator, wanted_hz: float, volume_m3: float, layout: FrontLayout
) -> tuple[PassiveRadiator, Radiator]:
    """All radiators with whole grams added, and the record of them."""
    count = spec.radiator_count
    every = _all_of(bare, count)
    each = radiator_mass_for_kg(wanted_hz, every, volume_m3) / count
    if each < bare.mms_kg:
        alone = radiator_tuning_hz(every, volume_m3)
        raise NoSolutionError(
            message="The radiator is too heavy for this tuning, even with nothing added.",
            quantity="tuning",
            value=show(wanted_hz, "frequency"),
            limit=f"at most {show(alone, 'frequency')} with {show(bare.mms_kg, 'mass')} on each cone",
            source="small-1974-passive",
            remedy="Tune lower (enclosure.tuning), use a smaller box, more or larger radiators.",
        )
    added = round((each - bare.mms_kg) / _GRAM) * _GRAM
    unit = replace(every, mms_kg=(bare.mms_kg + added) * count)
    return unit, Radiator(
        count=count,
        sd_m2=bare.sd_m2,
        bare_kg=bare.mms_kg,
        added_kg=added,
        notch_hz=unit.fs_hz,
        xmax_m=spec.radiator_xmax_m,
        frame_m=spec.radiator_frame_m or 0.0,
        hole_m=spec.radiator_hole_m or 0.0,
        depth_m=spec.radiator_depth_m,
        on="side panel" if layout.ports == "side panel" else "front",
    )


# --- band-pass ----------------------------------------------------------------------------------------


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
