"""What a planned box does: levels, displacement, air speed, panels, cuts and parts."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.base.units import show
from subwright.physics.acoustics.box_heat import wall_resistance_k_per_w
from subwright.physics.acoustics.closed_box import box_pressure_pa
from subwright.physics.acoustics.cutting import CutPlan
from subwright.physics.acoustics.panels import MATERIALS
from subwright.physics.acoustics.radiation import level_db
from subwright.stages.common import Contributor, PartUse, Rating
from subwright.stages.enclosure_drills import screw_of
from subwright.stages.enclosure_electronics import Compartment, place_electronics
from subwright.stages.enclosure_kinds import BoxPlan, Job
from subwright.stages.enclosure_panels import Panel, cut_plan, panels_mass_kg, weakest_panel
from subwright.stages.enclosure_port import Port
from subwright.stages.enclosure_response import (
    FREQUENCY_HZ,
    SpeakerSystem,
    cutoff_hz,
    upper_cutoff_hz,
)
from subwright.stages.enclosure_result import EnclosureResult
from subwright.stages.enclosure_solid import balance_of, boards_of
from subwright.stages.enclosure_spec import (
    EnclosureSpec,
)

__all__ = ["RESONANCE_FACTOR", "closed_resonance", "evaluate"]

Array = NDArray[np.float64]

_STANDARD_V = 2.83  # 1 W into 8 Ω
_ROOT2 = math.sqrt(2.0)
_PVC_KG_PER_M3 = 1400.0
RESONANCE_FACTOR = 2.0  # panels resonate above this multiple of the low-pass corner
_VOLUME_TOLERANCE = 0.02
_LENGTH_TOLERANCE_M = 0.002


def evaluate(job: Job, plan: BoxPlan, panels: tuple[Panel, ...], system: SpeakerSystem) -> EnclosureResult:
    """Response, displacement, port air speed, limits, cuts and parts of a planned box.

    Parameters
    ----------
    job, plan, panels : the box as planned. system : driver in that box, with what drives it.

    Returns
    -------
    EnclosureResult; curves over ``FREQUENCY_HZ``.
    """
    spec, need, driver, port = job.spec, job.need, job.driver, plan.port
    frequency = FREQUENCY_HZ
    response = system.solve(frequency)
    pressure = np.abs(response.pressure_pa_per_v)
    spl = np.asarray(level_db(pressure * _STANDARD_V))
    passband = system.passband_level_db(_STANDARD_V)
    if plan.chambers is not None and plan.tuning_hz is not None:
        passband = float(np.interp(math.log(plan.tuning_hz), np.log(frequency), spl))
    full_v = np.full_like(frequency, need.drive_v)
    if need.highpass is not None:
        full_v = full_v * np.abs(need.highpass(frequency))
    full_spl = np.asarray(level_db(np.maximum(pressure * full_v, 1e-12)))
    excursion = _ROOT2 * response.excursion_m_per_v * full_v
    excursion_limit = system.excursion_limit_v(response)
    playing = frequency >= need.lowest_note_hz
    at = _peak_at(excursion, playing)
    below = _peak_at(excursion, ~playing)
    speed_at_1v = system.port_speed_at_1v(response)
    speed = None if speed_at_1v is None else speed_at_1v * full_v
    speed_peak = speed_hz = None
    if speed_at_1v is not None:
        held = speed_at_1v * np.minimum(full_v, excursion_limit)
        index = _peak_at(held, playing)
        speed_peak, speed_hz = float(held[index]), float(frequency[index])
    moved_at_1v = system.radiator_excursion_at_1v(response)
    moved = None if moved_at_1v is None else moved_at_1v * full_v
    moved_at = None if moved is None else _peak_at(moved, playing)
    band = playing & (frequency <= max(need.upper_hz, 1.5 * need.lowest_note_hz))
    magnitude = np.abs(response.impedance_ohm)
    lowest = int(np.flatnonzero(band)[np.argmin(magnitude[band])])
    fc, qtc = closed_resonance(job, plan)
    weakest, resonance = weakest_panel(panels)
    inner = plan.inner.sides_m
    t, slopes = spec.panel_thickness_m, job.slopes
    floor = inner[2] + slopes.both * (0.5 * inner[1] + t) + slopes.across(job.front_m, t)
    boards = boards_of(job, plan)
    compartment = place_electronics(job, plan, panels, boards)
    material = MATERIALS[spec.panel_material]
    wood = panels_mass_kg(panels, material)
    plan_of_cuts = cut_plan(spec, panels)
    limit_hz = RESONANCE_FACTOR * need.upper_hz
    ratings = [
        Rating(
            quantity="cone displacement",
            unit="m",
            applied=float(excursion[at]),
            limit=driver.xmax_m,
            source="driver",
            at=f"full sine, {show(float(frequency[at]), 'frequency')}",
        )
    ]
    if port is not None and speed_peak is not None and speed_hz is not None:
        ratings.append(
            Rating(
                quantity="port air speed",
                unit="m/s",
                applied=speed_peak,
                limit=spec.port_speed_limit_m_per_s,
                source="salvatti-2002",
                at=f"full sine, {show(speed_hz, 'frequency')}",
            )
        )
    coil_full = system.coil_heat(frequency[band], full_v[band], ambient_c=need.ambient_c)
    coil_programme = system.coil_heat(
        frequency[band], full_v[band], ambient_c=need.ambient_c, crest_factor_db=need.crest_factor_db
    )
    return EnclosureResult(
        kind=spec.kind,
        family=plan.target.family,
        net_volume_m3=plan.net_volume_m3,
        target_volume_m3=plan.target.net_volume_m3,
        gross_volume_m3=plan.inner.volume_m3,
        displaced_m3=plan.displaced_m3,
        inner_width_m=inner[0],
        inner_height_m=inner[1],
        inner_depth_m=inner[2],
        outer_width_m=inner[0] + 2.0 * t,
        outer_height_m=inner[1] + 2.0 * t,
        outer_depth_m=floor,
        room_width_m=spec.room_width_m,
        room_height_m=spec.room_height_m,
        room_depth_m=spec.room_depth_m,
        limited_by_room=plan.target.limited_by_room or plan.inner.limited,
        fill=spec.fill,
        fill_gain=plan.gain,
        leakage_q=_finite(plan.ql),
        absorption_q=_finite(plan.qa),
        port_q=_finite(plan.qp),
        compliance_ratio=driver.model.vas_m3() / (_stiff_m3(plan) * plan.gain),
        qts_with_source=job.qts,
        source_ohm=need.source_ohm,
        fc_hz=fc,
        qtc=qtc,
        tuning_hz=plan.tuning_hz,
        target_tuning_hz=plan.target.tuning_hz,
        f3_hz=cutoff_hz(frequency, spl, passband),
        f10_hz=cutoff_hz(frequency, spl, passband, 10.0),
        upper_f3_hz=None if plan.chambers is None else upper_cutoff_hz(frequency, spl, passband),
        passband_db=passband,
        peak_db=max(float(spl.max()) - passband, 0.0),
        port=port,
        radiator=plan.radiator,
        radiator_excursion_m=None if moved is None or moved_at is None else float(moved[moved_at]),
        radiator_excursion_at_hz=None if moved_at is None else float(frequency[moved_at]),
        chambers=plan.chambers,
        port_speed_m_per_s=speed_peak,
        port_speed_at_hz=speed_hz,
        port_speed_limit_m_per_s=spec.port_speed_limit_m_per_s,
        port_area_wanted_m2=plan.port_area_wanted_m2,
        full_drive_v=need.drive_v,
        lowest_note_hz=need.lowest_note_hz,
        upper_hz=need.upper_hz,
        excursion_m=float(excursion[at]),
        excursion_at_hz=float(frequency[at]),
        infrasonic_excursion_m=float(excursion[below]),
        infrasonic_excursion_at_hz=float(frequency[below]),
        xmax_m=driver.xmax_m,
        xdamage_m=driver.xdamage_m,
        box_pressure_pa=float(
            box_pressure_pa(driver.model.sd_m2 * driver.xmax_m, _stiff_m3(plan), gain=plan.gain)
        ),
        coil_full=coil_full,
        coil_programme=coil_programme,
        coil_max_c=driver.coil_max_c,
        impedance_min_ohm=float(magnitude[lowest]),
        impedance_min_at_hz=float(frequency[lowest]),
        nominal_impedance_ohm=driver.nominal_impedance_ohm,
        outline=spec.outline,
        outer_depth_top_m=floor - slopes.both * (inner[1] + 2.0 * t),
        front_slope=slopes.front,
        back_slope=slopes.back,
        panels=panels,
        boards=boards,
        compartment=compartment,
        balance=balance_of(job, plan, boards, material.density_kg_per_m3),
        joint=spec.joint,
        wall_k_per_w=wall_resistance_k_per_w(_walls_m2(panels), t, spec.panel_material),
        front_layers=job.front_layers,
        braces=sum(job.braces),
        panel_resonance_hz=resonance,
        panel_resonance_of=weakest.name,
        panel_resonance_limit_hz=limit_hz,
        cut_plan=plan_of_cuts,
        driver_depth_m=driver.depth_m,
        driver_frame_m=driver.frame_m,
        driver_room_m=inner[2] + job.front_m if plan.chambers is None else plan.chambers.rear_width_m + t,
        wood_kg=wood,
        mass_kg=wood + (driver.mass_kg or 0.0) + _pipe_kg(port),
        frequency_hz=frequency,
        spl_db=spl,
        full_spl_db=full_spl,
        full_cabin_spl_db=full_spl + system.cabin.gain_at_db(frequency),
        full_excursion_m=excursion,
        full_port_speed_m_per_s=speed,
        full_radiator_excursion_m=moved,
        group_delay_s=system.group_delay_s(frequency),
        impedance_ohm=response.impedance_ohm,
        excursion_limit_v=excursion_limit,
        limits=system.max_level(need.drive_v, crest_factor_db=need.crest_factor_db),
        own_limits=system.max_level(math.inf, crest_factor_db=need.crest_factor_db),
        limits_crest_db=need.crest_factor_db,
        ratings=tuple(ratings),
        parts=_parts(spec, plan, plan_of_cuts, panels),
        losses=(),
        contributors=_contributors(plan),
        sources=(*plan.sources, "leissa-1973", "leach-2002"),
        reasons=(
            *plan.reasons,
            *_reasons(job, plan, weakest.name, resonance, limit_hz),
            *_electronics_reason(compartment),
        ),
        _system=system,
    )


def _peak_at(values: Array, where: NDArray[np.bool_]) -> int:
    index = np.flatnonzero(where)
    if index.size == 0:
        return int(np.argmax(values))
    return int(index[np.argmax(values[index])])


def _walls_m2(panels: tuple[Panel, ...]) -> float:
    """Outside of the box as wood, m²; a doubled front counts once."""
    outside = [panel for panel in panels if panel.resonance_hz is not None]
    return sum(panel.face_m2 * (1 if panel.name == "front" else panel.count) for panel in outside)


def _stiff_m3(plan: BoxPlan) -> float:
    """Net volume whose air stiffens the driver, m³."""
    return plan.net_volume_m3 if plan.stiff_volume_m3 is None else plan.stiff_volume_m3


def _finite(q: float) -> float | None:
    return None if math.isinf(q) else q


def closed_resonance(job: Job, plan: BoxPlan) -> tuple[float, float]:
    """Resonance and total Q with the port closed, box losses included."""
    model = job.driver.model
    alpha = model.vas_m3() / (_stiff_m3(plan) * plan.gain)
    fc = model.fs_hz * math.sqrt(1.0 + alpha)
    qtc = job.qts * math.sqrt(1.0 + alpha)
    # The Qs are stated at fb or fc; only the share of the stiffness that is the box's is damped by them.
    shift = 1.0 if plan.tuning_hz is None or plan.chambers is not None else fc / plan.tuning_hz
    leak = math.inf if plan.chambers is not None else plan.ql  # a band-pass's leak is the front chamber's
    loss = (1.0 / (leak * shift) + shift / plan.qa) * alpha / (1.0 + alpha)
    return fc, 1.0 / (1.0 / qtc + loss)


def _pipe_kg(port: Port | None) -> float:
    if port is None or port.diameter_m is None or port.outer_diameter_m is None:
        return 0.0
    wall = 0.25 * math.pi * (port.outer_diameter_m**2 - port.diameter_m**2)
    return port.count * wall * port.length_m * _PVC_KG_PER_M3


def _parts(
    spec: EnclosureSpec, plan: BoxPlan, cuts: CutPlan, panels: tuple[Panel, ...]
) -> tuple[PartUse, ...]:
    size = f"{1e3 * cuts.sheet_length_m:.0f} × {1e3 * cuts.sheet_width_m:.0f} mm"
    thickness = show(spec.panel_thickness_m, "length")
    parts = [
        PartUse(
            role="panel sheet",
            letter="MP",
            part_id=f"{spec.panel_material} {1e3 * spec.panel_thickness_m:g} mm",
            description=f"{MATERIALS[spec.panel_material].name} sheet {size}, {thickness}",
            quantity=cuts.sheets,
            provenance="common practice: stock sizes",
        )
    ]
    screws = sum(panel.count * sum(d.purpose == "screw" for d in panel.drills) for panel in panels)
    screw = screw_of(spec.panel_thickness_m)
    length = next(
        (long for long in screw.lengths_m if long >= 2.5 * spec.panel_thickness_m), screw.lengths_m[-1]
    )
    size = f"{1e3 * screw.diameter_m:.1f} × {1e3 * length:.0f} mm"
    parts.append(
        PartUse(
            role="box screws",
            letter="MP",
            part_id=f"wood screw {size}",
            description=f"Countersunk wood screw {size}, pilot {show(screw.pilot_m, 'length')}",
            quantity=screws,
            provenance="common practice: sizes on sale",
        )
    )
    port = plan.port
    if port is not None and port.kind == "round":
        parts.append(
            PartUse(
                role="port pipe",
                letter="MP",
                part_id=port.name,
                description=f"{port.name}, {port.count} × {show(port.length_m, 'length')}",
                quantity=round(port.count * port.length_m, 3),
                unit="m",
                provenance="standard size, from memory",
            )
        )
    if spec.fill != "none":
        w, h, d = plan.inner.sides_m
        parts.append(
            PartUse(
                role="damping material",
                letter="MP",
                part_id="polyester wadding 30 mm",
                description=f"Polyester wadding or wool felt, 30 mm, {spec.fill}",
                quantity=round(2.0 * (w * h + h * d) + w * d, 2),
                unit="m2",
                provenance="common practice",
            )
        )
    return tuple(parts)


def _contributors(plan: BoxPlan) -> tuple[Contributor, ...]:
    """How building tolerances move the tuning; fb goes with √(S/(V·L)) and L includes the ends."""
    port = plan.port
    if port is None:
        return ()
    total = port.length_m + port.end_correction_m
    return (
        Contributor(result="box tuning", part="net volume", tolerance=_VOLUME_TOLERANCE, sensitivity=-0.5),
        Contributor(
            result="box tuning",
            part="port length",
            tolerance=_LENGTH_TOLERANCE_M / port.length_m,
            sensitivity=-0.5 * port.length_m / total,
        ),
        Contributor(
            result="box tuning",
            part="port end corrections",
            tolerance=0.15,
            sensitivity=-0.5 * port.end_correction_m / total,
        ),
    )


def _electronics_reason(compartment: Compartment | None) -> list[str]:
    if compartment is None:
        return []
    size = " × ".join(show(side, "length") for side in compartment.sides_m)
    return [
        f"Electronics: {size} (width, height, depth) kept free in the {compartment.corner} corner, seen from "
        "the front; driver, port and braces keep clear of it."
    ]


def _reasons(job: Job, plan: BoxPlan, weakest: str, resonance_hz: float, limit_hz: float) -> list[str]:
    taken = ", ".join(f"{name} {show(volume, 'volume')}" for name, volume in plan.displaced_m3.items())
    reasons = [
        f"Whole-millimetre panels give {show(plan.inner.volume_m3, 'volume')} inside; less {taken} leaves "
        f"{show(plan.net_volume_m3, 'volume')}."
    ]
    if job.front_layers == 2 and job.spec.front_layers is None:
        reasons.append("The front is two boards glued together: one would resonate too low.")
    if any(job.braces):
        across = ", ".join(
            f"{count} across the {name}"
            for name, count in zip(("width", "height", "depth"), job.braces, strict=True)
            if count
        )
        reasons.append(f"Ring braces: {across}; leave out the front rim where driver or port is.")
    reasons.append(
        f"Lowest panel resonance: {weakest}, {show(resonance_hz, 'frequency')}; wanted above "
        f"{show(limit_hz, 'frequency')}."
    )
    if plan.port is not None and plan.layout.ports == "side panel":
        reasons.append("The port opens through the right-hand panel: the front has no room for it.")
    if job.driver.hole_m is None:
        reasons.append("Cut-out of the driver unknown: no hole is drawn; measure the driver's basket.")
    return reasons
