"""The finished build at any battery voltage between its corners, read off the settled design.

Nothing is designed here: cable, turns and parts stay as they are. Every electrical number is carried between
the corners at which the chain was solved, by the one polynomial through them (four corners: a cubic); they
are smooth there. Outside the corners nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.build.result import Design, OperatingPoint
from subwright.stages.common import Corner, Level

__all__ = ["Moment", "State", "moment_at", "voltage_range"]

Array = NDArray[np.float64]
State = Literal["playing", "tired", "off low", "off high"]

_CARRIED: Final = tuple(
    field.name for field in fields(OperatingPoint) if field.name not in ("corner", "level", "losses_w")
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Moment:
    """The build at one battery voltage and level.

    Attributes
    ----------
    emf_v : the battery, unloaded.
    level : how hard it plays.
    state : "playing" between the low and the highest corner; "tired" below the low corner, where nothing was
        designed to play; "off low" and "off high" beyond the trips.
    point : mean values at this voltage; None unless playing.
    loudest_db : highest level between the lowest note and the filter's corner at 1 m, half space; None unless
        playing.
    """

    emf_v: float
    level: Level
    state: State
    point: OperatingPoint | None = None
    loudest_db: float | None = None


def voltage_range(design: Design) -> tuple[float, float]:
    """Lowest (cranking) and highest battery voltage that `moment_at` takes, V.

    The upper end lies just beyond the over-voltage trip, so that the trip itself can be seen.
    """
    corners = design.supply.corners
    trip = _trip(design, "over-voltage trip")
    return corners[Corner.MIN], max(corners[Corner.MAX], trip or 0.0) * 1.02


def moment_at(design: Design, emf_v: float, level: Level) -> Moment:
    """The build at ``emf_v``.

    Parameters
    ----------
    design : the finished design.
    emf_v : battery, unloaded, V, within `voltage_range`.
    level : how hard it plays.

    Raises
    ------
    RangeError : the voltage is outside that range.

    Source
    ------
    Lagrange interpolation between solved corners. [derived]
    """
    low, high = voltage_range(design)
    if not low - 1e-9 <= emf_v <= high + 1e-9:
        raise RangeError(
            message="There is nothing to say about this battery voltage.",
            quantity="battery voltage",
            value=show(emf_v, "voltage"),
            limit=f"{show(low, 'voltage')} to {show(high, 'voltage')}",
            source="corners of the supply and the over-voltage trip",
            remedy="Change supply.min, supply.max or protection.over_voltage_trip.",
        )
    state = _state(design, emf_v)
    if state != "playing":
        return Moment(emf_v=emf_v, level=level, state=state)
    points = [point for point in design.points if point.level is level]
    share = _weights([point.emf_v for point in points], emf_v)
    point = _between(points, share)
    full = [candidate for candidate in design.points if candidate.level is Level.FULL]
    peak_v = float(_weights([p.emf_v for p in full], emf_v) @ np.array([p.output_peak_v for p in full]))
    return Moment(
        emf_v=emf_v, level=level, state="playing", point=point, loudest_db=_loudest_db(design, peak_v)
    )


def _trip(design: Design, name: str) -> float | None:
    protection = design.protection
    if protection is None:
        return None
    threshold = protection.thresholds.get(name)
    return None if threshold is None else threshold.nominal


def _state(design: Design, emf_v: float) -> State:
    corners = design.supply.corners
    low, high = _trip(design, "under-voltage trip"), _trip(design, "over-voltage trip")
    slack = 1e-9 * emf_v
    if high is not None and emf_v > max(high, corners[Corner.MAX]) + slack:
        return "off high"
    if emf_v > corners[Corner.MAX] + slack:
        # above the highest corner and below the trip it still runs, but nothing was designed there
        return "off high"
    if emf_v >= corners[Corner.LOW] - slack:
        return "playing"
    return "off low" if low is not None and emf_v <= low else "tired"


def _weights(nodes: Sequence[float], at: float) -> Array:
    """Lagrange weights of distinct nodes; of nodes that coincide the first one counts."""
    weights = np.zeros(len(nodes))
    distinct = [i for i, v in enumerate(nodes) if all(abs(v - nodes[k]) > 1e-6 * v for k in range(i))]
    for i in distinct:
        others = [nodes[k] for k in distinct if k != i]
        weights[i] = np.prod([(at - v) / (nodes[i] - v) for v in others])
    return weights


def _between(points: Sequence[OperatingPoint], share: Array) -> OperatingPoint:
    def carried(name: str) -> float:
        return float(share @ np.array([getattr(point, name) for point in points]))

    values = {name: carried(name) for name in _CARRIED}
    names = dict.fromkeys(name for point in points for name in point.losses_w)
    losses: Mapping[str, float] = {
        name: max(0.0, float(share @ np.array([point.losses_w.get(name, 0.0) for point in points])))
        for name in names
    }
    nearest = points[int(np.argmax(share))]
    return OperatingPoint(corner=nearest.corner, level=nearest.level, losses_w=losses, **values)


def _loudest_db(design: Design, peak_v: float) -> float:
    """Highest level in the played band when the amplifier clips at ``peak_v``, dB.

    The driver's and box's own limits stay; only the amplifier's moves with the battery.
    """
    box = design.enclosure
    nominal_v = design.point(Corner.NOMINAL, Level.FULL).output_peak_v
    limits, own = box.limits, box.own_limits
    drive_v = np.minimum(own.drive_v, box.full_drive_v * peak_v / nominal_v)
    level_db = limits.level_db + 20.0 * np.log10(drive_v / limits.drive_v)
    band = (limits.frequency_hz >= box.lowest_note_hz) & (limits.frequency_hz <= box.upper_hz)
    return float(np.max(level_db[band]))
