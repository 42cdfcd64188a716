"""The loudest level of a whole design: at each battery corner, band by band, and as the coil warms up."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.build.result import Design
from subwright.stages.common import Corner, Level
from subwright.stages.enclosure import MaxLevel
from subwright.stages.enclosure_heating import CoilCourse, coil_course

__all__ = ["BoxLimits", "clip_voltages_v", "limits_for"]

_SINE_CREST_DB = 20.0 * math.log10(math.sqrt(2.0))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BoxLimits:
    """Limits of level of a design.

    ``corners`` holds the loudest level with programme at each battery corner that the design plays at, the
    sag of battery and rails included; ``own`` the driver's and box's own limits; ``damage`` the level at
    which cone or coil breaks, None where the damaging displacement is unknown. ``heating`` is () where the
    thermal data are unknown or it wasn't asked for.
    """

    corners: Mapping[Corner, MaxLevel]
    clip_v: Mapping[Corner, float]
    own: MaxLevel
    damage: MaxLevel | None
    heating: tuple[CoilCourse, ...]


def clip_voltages_v(design: Design) -> Mapping[Corner, float]:
    """Rms voltage of a sine at the onset of clipping at the amplifier's ideal source, V, by battery corner.

    Parameters
    ----------
    design : a solved build; its operating points count the sag of battery, converter and rails.

    Source
    ------
    [derived]
    """
    amplifier = design.amplifier
    ratio = (amplifier.load_ohm + amplifier.output_resistance_ohm) / amplifier.load_ohm
    return {
        point.corner: point.output_peak_v / math.sqrt(2.0) * ratio
        for point in design.points
        if point.level is Level.FULL
    }


def limits_for(design: Design, *, heating: bool = True) -> BoxLimits:
    """All limits of level of a design.

    Parameters
    ----------
    design : a solved build.
    heating : whether to follow the coil as it warms up, which takes most of the time.

    Source
    ------
    [small-1972-direct], [klippel-2004]; see the stage's modules.
    """
    box = design.enclosure
    clips = clip_voltages_v(design)
    ambient = design.spec.supply.ambient_max_c
    courses = []
    for what, heat, crest in (
        ("full sine", box.coil_full, _SINE_CREST_DB),
        ("programme", box.coil_programme, box.limits_crest_db),
    ):
        if heating and heat is not None:
            course = coil_course(
                box.system,
                what,
                heat.frequency_hz,
                box.full_drive_v,
                ambient_c=ambient,
                crest_factor_db=max(crest, _SINE_CREST_DB),
            )
            if course is not None:
                courses.append(course)
    return BoxLimits(
        corners=MappingProxyType(dict(box.corner_levels(clips))),
        clip_v=MappingProxyType(dict(clips)),
        own=box.own_limits,
        damage=None if box.xdamage_m is None else box.damage_level(math.inf),
        heating=tuple(courses),
    )
