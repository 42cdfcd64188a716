"""The vented box: tuning, port area and length in whole millimetres."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.physics.acoustics.boxes import VentedBox
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.ports import effective_length_m, tuning_hz
from subwright.stages.enclosure_kinds import (
    VENTED_QL,
    BoxPlan,
    Job,
    braces_m3,
    check_volume,
    port_mouths,
    refuse_size,
    shaped_box,
)
from subwright.stages.enclosure_port import (
    Mouth,
    Port,
    finished_port,
    least_slot_height_m,
    port_displacement_m3,
    port_fits,
    slot_mouth,
)
from subwright.stages.enclosure_shape import (
    UPRIGHT,
    FrontLayout,
    InnerBox,
)
from subwright.stages.enclosure_target import FILLS, Target, vented_target

__all__ = ["VentedKind"]

_PORT_SHARE = 0.2  # of the inner volume that ports may take
_SETTLE = 4  # rounds in which port length, sides and net volume settle; each shrinks the error tenfold
_SLOT_STEP_M = 0.001


@dataclass(frozen=True, slots=True)
class VentedKind:
    """Vented box with round or slot port."""

    def plan(self, job: Job) -> BoxPlan:
        """Size box and port together: the port takes volume, and the volume sets the port's length."""
        spec = job.spec
        if spec.qtc is not None:
            raise NoSolutionError(
                message="Qtc belongs to a sealed box.",
                quantity="enclosure.qtc",
                value=f"{spec.qtc:.3g}",
                remedy='Remove the key, or write enclosure.kind = "sealed".',
            )
        if spec.fill in ("light", "dense"):
            raise NoSolutionError(
                message="Filling damps the port; a vented box is lined at most.",
                quantity="enclosure.fill",
                value=spec.fill,
                limit='"none" or "lining"',
                source="small-1973-vented",
                remedy='Write fill = "lining".',
            )
        ql = VENTED_QL if spec.ql is None else spec.ql
        limit = job.room.volume_m3 - job.fixed_displacement_m3
        if limit <= 0.0:
            raise refuse_size(job)
        target = vented_target(spec, job.driver.model, job.qts, ql, limit)
        plan = self._with_port(job, target, ql)
        if plan.net_volume_m3 < 0.98 * target.net_volume_m3 and spec.volume_m3 is None:
            # The port took volume that the room can't give back: aim again for what is left.
            target = vented_target(spec, job.driver.model, job.qts, ql, plan.net_volume_m3)
            plan = self._with_port(job, target, ql)
        check_volume(job, plan.net_volume_m3)
        return plan

    def _with_port(self, job: Job, target: Target, ql: float) -> BoxPlan:
        spec = job.spec
        wanted = _wanted_area_m2(job, target, ql)
        tried: list[str] = []
        for mouth in self._mouths(job, target, wanted):
            plan = self._fitted(job, target, ql, mouth, tried)
            if plan is not None and plan.port is not None:
                reasons = (*target.reasons, _port_reason(plan.port, wanted))
                return replace(plan, port_area_wanted_m2=wanted, reasons=reasons)
        raise NoSolutionError(
            message="No port fits this box at this tuning.",
            quantity="port length",
            value=tried[-1] if tried else "no port to try",
            limit="the inside of the box" + ("" if spec.port_bend == "straight" else ", with one bend"),
            source="beranek-mellow-2012",
            remedy="Tune higher, use a larger box, a smaller port or round pipe, or build it sealed.",
        )

    def _mouths(self, job: Job, target: Target, wanted_m2: float) -> Iterator[Mouth]:
        """Openings to try: the smallest that keeps the speed limit first, then ever smaller ones."""
        spec = job.spec
        if spec.port_kind == "slot":
            yield from self._slots(job, target, wanted_m2)
            return
        yield from port_mouths(spec, wanted_m2)

    def _slots(self, job: Job, target: Target, wanted_m2: float) -> Iterator[Mouth]:
        spec = job.spec
        if job.slopes != UPRIGHT:
            raise NoSolutionError(
                message="A leaning box is planned with round ports.",
                quantity="enclosure.port_kind",
                value="slot",
                limit='"round"',
                remedy='Write enclosure.port_kind = "round", or enclosure.outline = "rectangular".',
            )
        shaped = shaped_box(job, 1.15 * target.net_volume_m3 + job.fixed_displacement_m3, None)
        if shaped is None:
            raise refuse_size(job)
        width = shaped[1].sides_m[0]
        if spec.port_height_m is not None:
            yield slot_mouth(width, spec.port_height_m, spec.panel_thickness_m)
            return
        height = least_slot_height_m(wanted_m2, width)
        while height >= 0.015:
            yield slot_mouth(width, height, spec.panel_thickness_m)
            height = round(height - _SLOT_STEP_M, 6)

    def _fitted(self, job: Job, target: Target, ql: float, mouth: Mouth, tried: list[str]) -> BoxPlan | None:
        """Box and length for an opening, or None where it doesn't fit; ``tried`` then says why."""
        spec = job.spec
        assert target.tuning_hz is not None  # a vented target always has one
        gain = FILLS[spec.fill].gain
        net = target.net_volume_m3
        length = _length_m(mouth, net * gain, target.tuning_hz)
        braces = 0.0
        thickness = job.front_m
        for _ in range(_SETTLE):
            if length < thickness:
                tried.append(f"{mouth.count} × {mouth.name}: shorter than the panel is thick")
                return None
            port_m3 = port_displacement_m3(mouth, length, thickness)
            gross = target.net_volume_m3 + job.fixed_displacement_m3 + port_m3 + braces
            shaped = shaped_box(job, gross, mouth)
            if shaped is None or port_m3 > _PORT_SHARE * shaped[1].volume_m3:
                tried.append(f"{mouth.count} × {mouth.name}, {show(length, 'length')} long")
                return None
            layout, inner = shaped
            thickness = job.opening_m(layout.ports)
            braces = braces_m3(inner.sides_m, job.braces, spec.panel_thickness_m)
            if mouth.kind == "slot":
                mouth = slot_mouth(inner.sides_m[0], mouth.inner_m, spec.panel_thickness_m)
            net = inner.volume_m3 - job.fixed_displacement_m3 - port_m3 - braces
            if net <= 0.0:
                return None
            length = _length_m(mouth, net * gain, target.tuning_hz)
        port = finished_port(
            mouth,
            round(length, 3),
            job.narrowest(inner),
            "side panel" if layout.ports == "side panel" else "front",
            thickness,
            bend_allowed=spec.port_bend != "straight",
        )
        if not port_fits(port, thickness, bend_wanted=spec.port_bend == "one bend"):
            tried.append(
                f"{mouth.count} × {mouth.name}, {show(length, 'length')} long in a box that takes "
                f"{show(port.length_limit_m, 'length')}"
            )
            return None
        return self._finished(job, target, ql, layout, inner, port)

    def _finished(
        self, job: Job, target: Target, ql: float, layout: FrontLayout, inner: InnerBox, port: Port
    ) -> BoxPlan:
        """Everything recomputed from the whole-millimetre sides and length."""
        spec = job.spec
        fill = FILLS[spec.fill]
        displaced = job.displaced(inner, port.displacement_m3)
        net = inner.volume_m3 - sum(displaced.values())
        tuned = float(tuning_hz(port.area_m2, net * fill.gain, port.length_m + port.end_correction_m))
        qa = fill.qa if spec.qa is None else spec.qa
        qp = math.inf if spec.qp is None else spec.qp
        return BoxPlan(
            target=target,
            layout=layout,
            inner=inner,
            port=port,
            displaced_m3=MappingProxyType(displaced),
            net_volume_m3=net,
            tuning_hz=tuned,
            ql=ql,
            qa=qa,
            qp=qp,
            gain=fill.gain,
            model=VentedBox(volume_m3=net, tuning_hz=tuned, gain=fill.gain, ql=ql, qa=qa, qp=qp),
            port_area_wanted_m2=None,
            reasons=target.reasons,
            sources=(
                "small-1972-direct",
                "small-1973-vented",
                "beranek-mellow-2012",
                "jaouen-chevillotte-2018",
                "salvatti-2002",
            ),
        )


def _length_m(mouth: Mouth, volume_m3: float, tuning: float) -> float:
    return float(effective_length_m(mouth.area_m2, volume_m3, tuning)) - mouth.ends_m


def _wanted_area_m2(job: Job, target: Target, ql: float) -> float:
    """Least port area that keeps the speed limit, from the flow at full drive within the excursion limit.

    The flow doesn't depend on the port's size, only on volume and tuning.
    """
    assert target.tuning_hz is not None  # a vented target always has one
    need = job.need
    top = max(2.0 * target.tuning_hz, 1.5 * need.lowest_note_hz)
    frequency = np.geomspace(need.lowest_note_hz, top, 40)
    box = VentedBox(
        volume_m3=target.net_volume_m3,
        tuning_hz=target.tuning_hz,
        gain=FILLS[job.spec.fill].gain,
        ql=ql,
    )
    response = solve(job.driver.model, box, frequency, source_ohm=need.source_ohm)
    drive = np.full_like(frequency, need.drive_v)
    if need.highpass is not None:
        drive = drive * np.abs(need.highpass(frequency))
    drive = np.minimum(drive, job.driver.xmax_m / (math.sqrt(2.0) * response.excursion_m_per_v))
    peak = math.sqrt(2.0) * float(np.max(response.opening_m3_per_s_per_v * drive))
    return peak / job.spec.port_speed_limit_m_per_s


def _port_reason(port: Port, wanted_m2: float) -> str:
    size = f"{port.count} × {port.name}" if port.kind == "round" else port.name
    text = f"Port: {size}, {show(port.length_m, 'length')} long, {port.bend}, on the {port.on}."
    if port.speed_area_m2 >= wanted_m2:
        return f"{text} It keeps the speed limit at full power and is no larger than that takes."
    return (
        f"{text} {show(wanted_m2, 'area')} would keep the speed limit, but no port of that area fits; "
        f"this is the best that does, {show(port.area_m2, 'area')}."
    )
