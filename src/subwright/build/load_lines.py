"""Where the driver's own impedance takes the output devices of class AB within their safe operating area."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees

import numpy as np
from numpy.typing import NDArray

from subwright.build.result import Design
from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.safe_area import LoadLine, SafeArea, hardest_point, load_line
from subwright.stages.common import Corner, Level

__all__ = ["DriverLoadLine", "driver_load_line"]

Array = NDArray[np.float64]

_MOST_POINTS = 48
_LEAST_DRIVE = 0.3  # of full: what the line filter takes away beyond needs no look


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DriverLoadLine:
    """Hardest load line of the driver in its box.

    Attributes
    ----------
    area : of one transistor. pairs : side by side. case_c : with programme, hottest air, °C.
    frequency_hz, modulus_ohm, phase_deg : where, and the impedance there, speaker lead included.
    share : of the safe operating area that one transistor uses at its hardest instant, dimensionless.
    voltage_v, current_a : of one transistor at that instant. line : over its half cycle, all pairs together.
    rated : the same into the rated resistance at full drive.
    limit_v, limit_hot_a, limit_cold_a : the area's edge, V, and A at ``case_c`` and at 25 °C, shape (n,).
    """

    area: SafeArea
    pairs: int
    case_c: float
    frequency_hz: float
    modulus_ohm: float
    phase_deg: float
    share: float
    voltage_v: float
    current_a: float
    line: LoadLine
    rated: LoadLine
    limit_v: Array
    limit_hot_a: Array
    limit_cold_a: Array


def driver_load_line(design: Design) -> DriverLoadLine | None:
    """Hardest load line over the band that the line filter lets through, charging battery.

    Parameters
    ----------
    design : the build.

    Returns
    -------
    DriverLoadLine; None for class D, and for a chip, whose safe operating area nobody prints.

    Source
    ------
    Load line of the complex impedance. [self-apad]
    """
    amplifier, model = design.amplifier, design.amplifier.model
    stage = OUTPUT_STAGES.get(amplifier.switch_id)
    if stage is None or not isinstance(model, ClassABModel):
        return None
    area = stage.safe_area
    if area is None:
        return None
    device = amplifier.devices[0]
    pairs = device.count // (stage.cases * model.legs)
    hot = next(heat for heat in design.heat.devices if heat.name == device.name)
    case_c = hot.junction_c[Level.PROGRAMME] - device.rth_jc_k_per_w * device.programme_w
    rail_v = design.point(Corner.CHARGING, Level.PROGRAMME).rail_mean_v
    side_v = rail_v * (1.0 + model.lift_ratio) / model.legs
    reach_v = float(model.clip_peak_v(rail_v, amplifier.load_ohm)) / model.legs
    box = design.enclosure
    gain = np.abs(design.filter.transfer(box.frequency_hz))
    drive = np.minimum(gain / design.filter.levels.gain, 1.0)
    heard = np.flatnonzero(drive > _LEAST_DRIVE)
    picked = heard[:: max(1, heard.size // _MOST_POINTS)]
    load = (box.impedance_ohm[picked] + model.series_ohm()) / model.legs
    worst: tuple[float, float, float, LoadLine] | None = None
    where = 0
    for k, index in enumerate(picked):
        point = (float(abs(load[k])), degrees(float(np.angle(load[k]))))
        found = hardest_point(area, case_c, side_v, reach_v * float(drive[index]), [point])
        if worst is None or found[0] > worst[0]:
            worst, where = found, k
    assert worst is not None
    needed, volts, amps, line = worst
    rated = load_line(side_v, min(reach_v, side_v), amplifier.load_ohm / model.legs, 0.0)
    top = max(float(np.max(line.across_v)), float(np.max(rated.across_v)))
    edge = np.geomspace(1.0, min(area.voltage_v, 1.25 * top), 120)
    return DriverLoadLine(
        area=area,
        pairs=pairs,
        case_c=case_c,
        frequency_hz=float(box.frequency_hz[picked[where]]),
        modulus_ohm=float(abs(load[where])) * model.legs,
        phase_deg=degrees(float(np.angle(load[where]))),
        share=needed / pairs,
        voltage_v=volts,
        current_a=amps / pairs,
        line=line,
        rated=rated,
        limit_v=edge,
        limit_hot_a=area.allowed_a(edge, case_c),
        limit_cold_a=area.allowed_a(edge, 25.0),
    )
