"""The box: volume, port, panels, and what the driver does in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.physics.acoustics.circuit import PowerShares
from subwright.physics.acoustics.cutting import CutPlan, Piece, Placement
from subwright.physics.acoustics.panels import MATERIALS, simply_supported_hz
from subwright.stages.enclosure_catalogue import KINDS
from subwright.stages.enclosure_drills import Hole
from subwright.stages.enclosure_evaluation import RESONANCE_FACTOR, closed_resonance, evaluate
from subwright.stages.enclosure_kinds import BoxPlan, Job
from subwright.stages.enclosure_panels import Panel, panels_of
from subwright.stages.enclosure_port import Port
from subwright.stages.enclosure_response import (
    FREQUENCY_HZ,
    CoilHeat,
    LevelDemand,
    MaxLevel,
    SpeakerSystem,
)
from subwright.stages.enclosure_result import EnclosureResult
from subwright.stages.enclosure_shape import UPRIGHT, sloped_room_of, slopes_of
from subwright.stages.enclosure_spec import (
    CabinData,
    DriverData,
    EnclosureNeed,
    EnclosureSpec,
    HighPass,
)

__all__ = [
    "FREQUENCY_HZ",
    "CoilHeat",
    "CutPlan",
    "EnclosureNeed",
    "EnclosureResult",
    "EnclosureSpec",
    "HighPass",
    "Hole",
    "LevelDemand",
    "MaxLevel",
    "Panel",
    "Piece",
    "Placement",
    "PlannedBox",
    "Port",
    "PowerShares",
    "SpeakerSystem",
    "design_enclosure",
    "evaluate_enclosure",
    "plan_enclosure",
]

Array = NDArray[np.float64]

_MOST_BRACES = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class PlannedBox:
    """A box with its measures, before anything plays in it.

    Attributes
    ----------
    job : wishes, need and driver. plan : volume, port and inner sides. panels : the boards.
    """

    job: Job
    plan: BoxPlan
    panels: tuple[Panel, ...]

    @property
    def kind(self) -> str:
        """Kind of enclosure."""
        return self.job.spec.kind

    @property
    def tuning_hz(self) -> float | None:
        """Tuning of port or passive radiator, Hz; None for a sealed box."""
        return self.plan.tuning_hz

    @property
    def closed_resonance(self) -> tuple[float, float]:
        """Resonance, Hz, and total Q with the port closed."""
        return closed_resonance(self.job, self.plan)


def plan_enclosure(spec: EnclosureSpec, driver: DriverData, need: EnclosureNeed) -> PlannedBox:
    """Measures of the box for a driver group, in whole millimetres.

    Parameters
    ----------
    spec : the builder's wishes. driver : the driver stage's result.
    need : drive, source resistance, lowest note, corner, crest factor and infrasonic filter.

    Raises
    ------
    NoSolutionError : driver, volume or port can't be brought into the room.
    RangeError : board not sold at this thickness.

    Source
    ------
    [small-1972-closed], [small-1973-vented]; see the modules of physics.acoustics.
    """
    job, plan, panels = _stiffened(spec, driver, need)
    return PlannedBox(job=job, plan=plan, panels=panels)


def evaluate_enclosure(planned: PlannedBox, cabin: CabinData) -> EnclosureResult:
    """What a planned box does with its driver in a cabin.

    Parameters
    ----------
    planned : the box. cabin : the cabin stage's result.
    """
    job, plan = planned.job, planned.plan
    spec, need, driver = job.spec, job.need, job.driver
    system = SpeakerSystem(
        driver=driver.model,
        box=plan.model,
        source_ohm=need.source_ohm,
        xmax_m=driver.xmax_m,
        power_w=driver.power_w,
        rated_ohm=driver.nominal_impedance_ohm,
        xdamage_m=driver.xdamage_m,
        highpass=need.highpass,
        port_area_m2=None if plan.port is None else plan.port.speed_area_m2,
        radiator_area_m2=None if plan.radiator is None else plan.radiator.count * plan.radiator.sd_m2,
        radiator_xmax_m=None if plan.radiator is None else plan.radiator.xmax_m,
        port_speed_limit_m_per_s=spec.port_speed_limit_m_per_s,
        thermal=driver.thermal,
        cabin=cabin,
    )
    return evaluate(job, plan, planned.panels, system)


def design_enclosure(
    spec: EnclosureSpec, driver: DriverData, cabin: CabinData, need: EnclosureNeed
) -> EnclosureResult:
    """Design the box for a driver group, and work out what it does: plan and evaluation in one.

    Parameters
    ----------
    spec, driver, need : as for ``plan_enclosure``. cabin : the cabin stage's result.

    Raises
    ------
    NoSolutionError : driver, volume or port can't be brought into the room.
    RangeError : board not sold at this thickness.
    """
    return evaluate_enclosure(plan_enclosure(spec, driver, need), cabin)


def _stiffened(
    spec: EnclosureSpec, driver: DriverData, need: EnclosureNeed
) -> tuple[Job, BoxPlan, tuple[Panel, ...]]:
    """Plan without braces; then double the front and add braces as needed, with the volume that they take."""
    kind = KINDS[spec.kind]
    t = spec.panel_thickness_m
    layers: int = 1 if spec.front_layers is None else spec.front_layers
    braces = (0, 0, 0)
    slopes = slopes_of(spec.outline, spec.room_height_m, spec.room_depth_m, spec.room_depth_top_m)
    if slopes != UPRIGHT and spec.joint == "rebate":
        raise NoSolutionError(
            message="Leaning boards are planned with butt joints.",
            quantity="enclosure.joint",
            value=spec.joint,
            limit='"butt"',
            remedy='Write enclosure.joint = "butt", or enclosure.outline = "rectangular".',
        )
    while True:
        room = sloped_room_of(
            spec.room_width_m,
            spec.room_height_m,
            None if spec.room_depth_m is None else spec.room_depth_m - driver.outside_m,
            slopes=slopes,
            thickness_m=t,
            front_m=layers * t,
        )
        job = Job(
            spec=spec,
            need=need,
            driver=driver,
            room=room,
            front_layers=layers,
            braces=braces,
            slopes=slopes,
        )
        plan = kind.plan(job)
        panels = panels_of(job, plan)
        wanted_layers, wanted_braces = _stiffening(job, plan, panels)
        if (wanted_layers, wanted_braces) == (layers, braces):
            return job, plan, panels
        layers, braces = wanted_layers, wanted_braces


def _stiffening(job: Job, plan: BoxPlan, panels: tuple[Panel, ...]) -> tuple[int, tuple[int, int, int]]:
    """Front layers and braces that this box should have: at least what it has."""
    spec = job.spec
    limit = RESONANCE_FACTOR * job.need.upper_hz
    front = next(panel for panel in panels if panel.name == "front")
    layers = job.front_layers
    if spec.front_layers is None and front.resonance_hz is not None and front.resonance_hz < limit:
        layers = 2
    most = _MOST_BRACES if spec.braces is None else spec.braces
    counts = list(job.braces)
    material, t = MATERIALS[spec.panel_material], spec.panel_thickness_m
    while sum(counts) < most:
        spans = [side / (n + 1) for side, n in zip(plan.inner.sides_m, counts, strict=True)]
        if plan.chambers is not None:  # the divider braces the box across its width already
            spans[0] = max(plan.chambers.rear_width_m, plan.chambers.front_width_m) / (counts[0] + 1)
        pairs = ((0, 1), (0, 2), (2, 1))  # back, top and bottom, sides
        pair = min(pairs, key=lambda p: simply_supported_hz(spans[p[0]], spans[p[1]], t, material))
        stiff = simply_supported_hz(spans[pair[0]], spans[pair[1]], t, material) >= limit
        if stiff and spec.braces is None:
            break
        counts[max(pair, key=lambda axis: spans[axis])] += 1
    return layers, (counts[0], counts[1], counts[2])
