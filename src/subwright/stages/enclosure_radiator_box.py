"""Boxes with a passive radiator."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.physics.acoustics.circuit import passband_pressure_pa_per_v, solve
from subwright.physics.acoustics.parameters import piston_area_m2
from subwright.physics.acoustics.resonant_boxes import (
    PassiveRadiator,
    PassiveRadiatorBox,
    radiator_mass_for_kg,
    radiator_tuning_hz,
)
from subwright.stages.enclosure_kinds import (
    VENTED_QL,
    BoxPlan,
    Job,
    check_volume,
    refuse_size,
    shaped_box,
)
from subwright.stages.enclosure_port import (
    Mouth,
)
from subwright.stages.enclosure_shape import FrontLayout
from subwright.stages.enclosure_spec import EnclosureSpec, Radiator
from subwright.stages.enclosure_target import FILLS, vented_target

__all__ = ["PassiveRadiatorKind", "bare_radiator", "radiator_mouth", "radiators_m3"]

_RADIATOR_SHAPE = 0.12  # volume of a cone without motor over Sd^1.5
_GRAM = 1e-3


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
