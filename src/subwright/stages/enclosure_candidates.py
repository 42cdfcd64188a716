"""Boxes of each kind that stay within the limits, with their figures; columns of boxes at once."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.physics.acoustics.boxes import BoxModel, SealedBox, VentedBox
from subwright.physics.acoustics.circuit import Response, passband_pressure_pa_per_v, solve
from subwright.physics.acoustics.ports import effective_length_m
from subwright.physics.acoustics.radiation import level_db
from subwright.physics.acoustics.resonant_boxes import (
    BandPassBox,
    PassiveRadiator,
    PassiveRadiatorBox,
    radiator_mass_for_kg,
)
from subwright.stages.enclosure_band_pass import BandPassKind
from subwright.stages.enclosure_kinds import VENTED_QL, Job, shaped_box
from subwright.stages.enclosure_port import (
    STOCK_PIPES,
    Mouth,
    finished_port,
    port_displacement_m3,
    port_fits,
    round_mouths,
)
from subwright.stages.enclosure_radiator_box import bare_radiator, radiator_mouth, radiators_m3
from subwright.stages.enclosure_radiators import StockRadiator, radiators_to_try
from subwright.stages.enclosure_shape import UPRIGHT
from subwright.stages.enclosure_target import FILLS

__all__ = [
    "PEAK_DB",
    "BoxChoice",
    "band_pass_choices",
    "passive_choices",
    "sealed_choices",
    "vented_choices",
]

Array = NDArray[np.float64]
_ROOT2: Final = math.sqrt(2.0)
_TUNINGS: Final = 40
_RADIATOR_TUNINGS: Final = 24
_MOST_ADDED: Final = 2.0  # of the bare cone: more sags the suspension; common practice, no source
_QTCS: Final = 12
_DAMPINGS: Final = 8
_GRID: Final = np.geomspace(12.0, 200.0, 72)
PEAK_DB: Final = 2.0  # of the response over its passband
_DELAY_STEP: Final = 1e-4
_LONGEST_PORT_M: Final = 1.5


@dataclass(frozen=True, kw_only=True, slots=True)
class BoxChoice:
    """One box of the front."""

    kind: Literal["sealed", "vented", "passive-radiator", "band-pass"]
    net_volume_m3: float
    qtc: float | None  # band-pass: of driver and closed chamber
    band_damping: float | None
    tuning_hz: float | None
    port: str  # "1 × PVC-U pipe 110 × 3.2 mm", "" without one
    port_diameter_m: float | None
    port_count: int
    port_length_m: float | None
    port_bend: str
    port_speed_m_per_s: float | None
    outer_width_m: float
    outer_height_m: float
    outer_depth_m: float
    f3_hz: float
    level_db: float  # loudest at the lowest note within all limits, half space
    delay_s: float  # group delay at the lowest note
    peak_db: float
    radiator: StockRadiator | None = None
    radiator_count: int = 0
    radiator_added_kg: float | None = None  # to each, whole grams
    radiator_excursion_m: float | None = None  # greatest peak at full drive, cone at xmax at most


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Acoustics:
    """Figures of n boxes, arrays of shape (n,)."""

    f3_hz: Array
    level_db: Array
    delay_s: Array
    peak_db: Array
    flow_m3_per_s: Array  # greatest peak flow through the port at full drive within xmax
    swept_m3: Array  # greatest peak of the volume that a radiator sweeps, likewise


def _acoustics(job: Job, box: BoxModel, middle_hz: Array | None = None) -> _Acoustics:
    """All figures of a column of boxes; a band-pass is judged against its level in the middle."""
    need, driver = job.need, job.driver
    model, note = driver.model, need.lowest_note_hz
    response = solve(model, box, _GRID, source_ohm=need.source_ohm)
    pressure = np.abs(response.pressure_pa_per_v)
    level = 20.0 * np.log10(pressure / passband_pressure_pa_per_v(model, source_ohm=need.source_ohm))
    if middle_hz is not None:
        at_middle = np.array(
            [np.interp(math.log(f), np.log(_GRID), row) for f, row in zip(middle_hz, level, strict=True)]
        )
        level = level - at_middle[:, None]
    near = np.array([note, note * (1.0 - _DELAY_STEP), note * (1.0 + _DELAY_STEP)])
    at = solve(model, box, near, source_ohm=need.source_ohm)
    turn = np.angle(at.pressure_pa_per_v[:, 2] * np.conj(at.pressure_pa_per_v[:, 1]))
    drive = np.minimum(_highest_drive(job, at)[:, 0], need.drive_v)
    full = np.full_like(_GRID, need.drive_v)
    if need.highpass is not None:
        full = full * np.abs(need.highpass(_GRID))
    held = np.minimum(full, driver.xmax_m / (_ROOT2 * response.excursion_m_per_v))
    flow = _ROOT2 * held * response.opening_m3_per_s_per_v
    return _Acoustics(
        f3_hz=_cutoffs(level),
        level_db=np.asarray(level_db(np.abs(at.pressure_pa_per_v[:, 0]) * drive)),
        delay_s=-turn / (4.0 * math.pi * note * _DELAY_STEP),
        peak_db=np.maximum(level.max(axis=1), 0.0),
        flow_m3_per_s=flow[:, note <= _GRID].max(axis=1),
        swept_m3=(flow / (2.0 * math.pi * _GRID))[:, note <= _GRID].max(axis=1),
    )


def _highest_drive(job: Job, response: Response) -> Array:
    """Rms drive that cone and coil allow for the programme, V."""
    driver = job.driver
    cone = driver.xmax_m / (_ROOT2 * response.excursion_m_per_v)
    coil_w = np.abs(response.current_a_per_v) ** 2 * driver.model.re_ohm
    crest = 10.0 ** (job.need.crest_factor_db / 20.0)
    return np.asarray(np.minimum(cone, np.sqrt(driver.power_w / coil_w) * crest / _ROOT2))


def _cutoffs(level: Array) -> Array:
    """−3 dB frequencies of rows of levels over the passband; the lowest of the grid where there is none."""
    top = np.argmax(level, axis=1)
    threshold = np.minimum(0.0, level.max(axis=1)) - 3.0103
    index = np.arange(level.shape[1])
    below = (level < threshold[:, None]) & (index[None, :] < top[:, None])
    last = np.where(below.any(axis=1), level.shape[1] - 1 - np.argmax(below[:, ::-1], axis=1), 0)
    rows = np.arange(len(level))
    low, high = level[rows, last], level[rows, last + 1]
    share = np.clip((threshold - low) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    found = _GRID[last] * (_GRID[last + 1] / _GRID[last]) ** share
    return np.asarray(np.where(below.any(axis=1), found, _GRID[0]), dtype=np.float64)


def sealed_choices(job: Job, volumes: Array) -> tuple[list[BoxChoice], int]:
    """Closed boxes of these net volumes: those within the limits, and the number tried.

    Parameters
    ----------
    job : wishes, need and driver. volumes : net, m³, shape (n,).
    """
    spec = job.spec
    fill = FILLS[spec.fill]
    net = volumes[:, None]
    stiff = job.driver.model.fs_hz * np.sqrt(1.0 + job.driver.model.vas_m3() / (net * fill.gain))
    box = SealedBox(
        volume_m3=net,
        gain=fill.gain,
        qa=fill.qa if spec.qa is None else spec.qa,
        ql=1e9 if spec.ql is None else spec.ql,
        q_frequency_hz=stiff,
    )
    found = _acoustics(job, box)
    choices = []
    for i in np.flatnonzero(found.peak_db <= PEAK_DB).tolist():
        gross = float(volumes[i]) + job.fixed_displacement_m3
        shaped = shaped_box(job, gross, None)
        if shaped is not None and shaped[1].volume_m3 <= 1.02 * gross:
            choices.append(_choice(job, found, i, float(volumes[i]), None, None, shaped[1].sides_m, None, ""))
    return choices, len(volumes)


def vented_choices(job: Job, volumes: Array) -> tuple[list[BoxChoice], int]:
    """Vented boxes of these net volumes, every tuning and pipe: those within the limits; number tried.

    Parameters
    ----------
    job : wishes, need and driver. volumes : net, m³, shape (n,).
    """
    spec, fs = job.spec, job.driver.model.fs_hz
    fill = FILLS["lining" if spec.fill in ("light", "dense") else spec.fill]
    tunings = np.geomspace(max(0.5 * fs, 15.0), max(1.8 * fs, 40.0), _TUNINGS)
    net, tuned = (grid.ravel()[:, None] for grid in np.meshgrid(volumes, tunings, indexing="ij"))
    box = VentedBox(
        volume_m3=net,
        tuning_hz=tuned,
        gain=fill.gain,
        ql=VENTED_QL if spec.ql is None else spec.ql,
        qa=fill.qa if spec.qa is None else spec.qa,
        qp=math.inf if spec.qp is None else spec.qp,
    )
    found = _acoustics(job, box)
    flare = spec.port_flare_m
    mouths = [*round_mouths(STOCK_PIPES, (1,), flare), *round_mouths(STOCK_PIPES[3:8], (2,), flare)]
    choices = []
    for mouth in mouths:
        speed = found.flow_m3_per_s / mouth.speed_area_m2
        length = (
            np.asarray(effective_length_m(mouth.area_m2, net[:, 0] * fill.gain, tuned[:, 0])) - mouth.ends_m
        )
        good = (
            (speed <= spec.port_speed_limit_m_per_s)
            & (found.peak_db <= PEAK_DB)
            & (length >= job.front_m)
            & (length <= _LONGEST_PORT_M)
        )
        for i in np.flatnonzero(good).tolist():
            volume = float(net[i, 0])
            placed = _room_for(job, volume, mouth, float(length[i]))
            if placed is not None:
                sides, bend = placed
                choices.append(
                    _choice(
                        job,
                        found,
                        i,
                        float(net[i, 0]),
                        float(tuned[i, 0]),
                        mouth,
                        sides,
                        float(length[i]),
                        bend,
                    )
                )
    return choices, len(net) * len(mouths)


def passive_choices(job: Job, volumes: Array) -> tuple[list[BoxChoice], int]:
    """Passive-radiator boxes at every tuning the mass allows: those within the limits; number tried.

    Parameters
    ----------
    job : wishes, need and driver. volumes : net, m³, shape (n,).
    """
    """Boxes with one or two passive radiators, each loaded with whole grams."""
    spec, fs = job.spec, job.driver.model.fs_hz
    fill = FILLS["lining" if spec.fill in ("light", "dense") else spec.fill]
    tunings = np.geomspace(max(0.5 * fs, 15.0), max(1.8 * fs, 40.0), _RADIATOR_TUNINGS)
    grid_net, grid_tuned = (grid.ravel() for grid in np.meshgrid(volumes, tunings, indexing="ij"))
    choices = []
    tried = 0
    for unit in radiators_to_try(spec):
        for count in (1, 2):
            asked = _with_radiator(job, unit, count)
            bare = bare_radiator(asked.spec)
            every = PassiveRadiator(
                sd_m2=bare.sd_m2 * count,
                mms_kg=bare.mms_kg * count,
                cms_m_per_n=bare.cms_m_per_n / count,
                rms_kg_per_s=bare.rms_kg_per_s * count,
            )
            tried += grid_net.size
            each = np.array(
                [
                    radiator_mass_for_kg(f, every, v * fill.gain) / count
                    for f, v in zip(grid_tuned.tolist(), grid_net.tolist(), strict=True)
                ]
            )
            added = np.round((each - bare.mms_kg) * 1e3) / 1e3
            can = (added >= 0.0) & (added <= _MOST_ADDED * bare.mms_kg)
            if not can.any():
                continue
            net, tuned, added = grid_net[can], grid_tuned[can], added[can]
            box = PassiveRadiatorBox(
                volume_m3=net[:, None],
                radiator=every,
                gain=fill.gain,
                ql=VENTED_QL if spec.ql is None else spec.ql,
                qa=fill.qa if spec.qa is None else spec.qa,
                q_frequency_hz=tuned[:, None],
                moving_kg=count * (bare.mms_kg + added[:, None]),
            )
            found = _acoustics(asked, box)
            moved = found.swept_m3 / every.sd_m2
            good = (found.peak_db <= PEAK_DB) & (moved <= (math.inf if unit.xmax_m is None else unit.xmax_m))
            for i in np.flatnonzero(good).tolist():
                sides = _room_beside(asked, float(net[i]))
                if sides is None:
                    continue
                choice = _choice(asked, found, i, float(net[i]), float(tuned[i]), None, sides, None, "")
                choices.append(
                    replace(
                        choice,
                        kind="passive-radiator",
                        radiator=unit,
                        radiator_count=count,
                        radiator_added_kg=float(added[i]),
                        radiator_excursion_m=float(moved[i]),
                    )
                )
    return choices, tried


def _with_radiator(job: Job, unit: StockRadiator, count: int) -> Job:
    told = {
        "radiator_diameter_m": unit.diameter_m,
        "radiator_mass_kg": unit.mass_kg,
        "radiator_resonance_hz": unit.resonance_hz,
        "radiator_q": unit.q,
        "radiator_xmax_m": unit.xmax_m,
        "radiator_frame_m": unit.frame_m,
        "radiator_hole_m": unit.hole_m,
        "radiator_depth_m": unit.depth_m,
        "radiator_count": count,
    }
    return replace(job, spec=job.spec.model_copy(update=told))


def _room_beside(job: Job, net_m3: float) -> tuple[float, float, float] | None:
    """Inner sides of a box that takes driver and radiators, None where none does."""
    gross = net_m3 + job.fixed_displacement_m3 + radiators_m3(job.spec)
    if gross > job.room.volume_m3:
        return None
    shaped = shaped_box(job, gross, radiator_mouth(job.spec))
    if shaped is None or not 0.99 * gross <= shaped[1].volume_m3 <= 1.02 * gross:
        return None
    depth = job.spec.radiator_depth_m
    across = shaped[1].sides_m[0 if shaped[0].ports == "side panel" else 2]
    if depth is not None and depth > across:
        return None
    return shaped[1].sides_m


def band_pass_choices(job: Job, largest_m3: float) -> tuple[list[BoxChoice], int]:
    """Fourth-order band-pass boxes up to this net volume: those within the limits, and the number tried.

    Parameters
    ----------
    job : wishes, need and driver. largest_m3 : net, m³.
    """
    """Symmetrical band-pass boxes, each good one planned as it would be built."""
    spec, model = job.spec, job.driver.model
    if job.slopes != UPRIGHT:
        return [], 0
    gain, vas = FILLS[spec.fill].gain, model.vas_m3()
    q, s = (
        grid.ravel()
        for grid in np.meshgrid(
            np.linspace(max(1.15 * job.qts, 0.45), 1.1, _QTCS),
            np.linspace(0.45, 0.8, _DAMPINGS),
            indexing="ij",
        )
    )
    rear = vas / ((q / job.qts) ** 2 - 1.0) / gain
    front = (2.0 * s * job.qts) ** 2 * vas
    small = (q > job.qts) & (rear + front <= largest_m3)
    q, s, rear, front = q[small], s[small], rear[small], front[small]
    flare = spec.port_flare_m
    mouths = [*round_mouths(STOCK_PIPES, (1,), flare), *round_mouths(STOCK_PIPES[3:8], (2,), flare)]
    if q.size == 0:
        return [], 0
    tuned = model.fs_hz * q / job.qts
    fill = FILLS[spec.fill]
    box = BandPassBox(
        rear_m3=rear[:, None],
        front_m3=front[:, None],
        tuning_hz=tuned[:, None],
        rear_gain=gain,
        rear_qa=fill.qa if spec.qa is None else spec.qa,
        rear_hz=tuned[:, None],
        ql=VENTED_QL if spec.ql is None else spec.ql,
        qp=math.inf if spec.qp is None else spec.qp,
    )
    found = _acoustics(job, box, tuned)
    choices = []
    for mouth in mouths:
        speed = found.flow_m3_per_s / mouth.speed_area_m2
        length = np.asarray(effective_length_m(mouth.area_m2, front, tuned)) - mouth.ends_m
        good = (speed <= spec.port_speed_limit_m_per_s) & (found.peak_db <= PEAK_DB)
        good &= (length >= job.front_m) & (length <= _LONGEST_PORT_M)
        for i in np.flatnonzero(good).tolist():
            asked = spec.model_copy(
                update={
                    "volume_m3": None,
                    "tuning_hz": None,
                    "alignment": "auto",
                    "port_kind": "round",
                    "qtc": float(q[i]),
                    "band_damping": float(s[i]),
                    "port_diameter_m": mouth.inner_m,
                    "port_count": mouth.count,
                }
            )
            try:
                plan = BandPassKind().plan(replace(job, spec=asked))
            except NoSolutionError:
                continue
            if plan.target.limited_by_room or plan.port is None or plan.tuning_hz is None:
                continue
            choice = _choice(
                job,
                found,
                i,
                plan.net_volume_m3,
                plan.tuning_hz,
                mouth,
                plan.inner.sides_m,
                plan.port.length_m,
                plan.port.bend,
            )
            choices.append(replace(choice, kind="band-pass", qtc=float(q[i]), band_damping=float(s[i])))
    return choices, len(q) * len(mouths)


def _room_for(
    job: Job, net_m3: float, mouth: Mouth, length_m: float
) -> tuple[tuple[float, float, float], str] | None:
    """Inner sides of a box that takes this port and how it is bent, None where none does."""
    port_m3 = port_displacement_m3(mouth, length_m, job.front_m)
    gross = net_m3 + job.fixed_displacement_m3 + port_m3
    if port_m3 > 0.2 * gross or gross > job.room.volume_m3:
        return None
    shaped = shaped_box(job, gross, mouth)
    if shaped is None or not 0.99 * gross <= shaped[1].volume_m3 <= 1.02 * gross:
        return None
    layout, inner = shaped
    on = "side panel" if layout.ports == "side panel" else "front"
    port = finished_port(
        mouth,
        round(length_m, 3),
        job.narrowest(inner),
        on,
        job.opening_m(layout.ports),
        bend_allowed=job.spec.port_bend != "straight",
    )
    fits = port_fits(port, job.opening_m(layout.ports), bend_wanted=job.spec.port_bend == "one bend")
    return (inner.sides_m, port.bend) if fits else None


def _choice(
    job: Job,
    found: _Acoustics,
    i: int,
    net_m3: float,
    tuning: float | None,
    mouth: Mouth | None,
    sides_m: tuple[float, float, float],
    length_m: float | None,
    bend: str,
) -> BoxChoice:
    t = job.spec.panel_thickness_m
    return BoxChoice(
        kind="sealed" if mouth is None else "vented",
        net_volume_m3=net_m3,
        qtc=None,
        band_damping=None,
        tuning_hz=tuning,
        port="" if mouth is None else f"{mouth.count} × {mouth.name}",
        port_diameter_m=None if mouth is None else mouth.inner_m,
        port_count=0 if mouth is None else mouth.count,
        port_length_m=None if length_m is None else round(length_m, 3),
        port_bend=bend,
        port_speed_m_per_s=None if mouth is None else float(found.flow_m3_per_s[i]) / mouth.speed_area_m2,
        outer_width_m=sides_m[0] + 2.0 * t,
        outer_height_m=sides_m[1] + 2.0 * t,
        outer_depth_m=sides_m[2]
        + job.slopes.both * (0.5 * sides_m[1] + t)
        + job.slopes.across(job.front_m, t),
        f3_hz=float(found.f3_hz[i]),
        level_db=float(found.level_db[i]),
        delay_s=float(found.delay_s[i]),
        peak_db=float(found.peak_db[i]),
    )
