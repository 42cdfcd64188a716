"""Search over every box that the room can take: how low, how loud, how quick, how large.

Volumes and tunings are solved together as columns of one circuit; then each port is tried in each of them,
for air speed first, for length and room last. What no other box beats in all four respects is kept.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.stages.enclosure_candidates import (
    PEAK_DB,
    BoxChoice,
    band_pass_choices,
    passive_choices,
    sealed_choices,
    vented_choices,
)
from subwright.stages.enclosure_kinds import Job, refuse_size, shaped_box
from subwright.stages.enclosure_shape import sloped_room_of, slopes_of
from subwright.stages.enclosure_spec import DriverData, EnclosureNeed, EnclosureSpec

__all__ = ["BoxChoice", "BoxSearch", "search_boxes"]

Array = NDArray[np.float64]

_SEALED: Final = 400
_VOLUMES: Final = 40
_STEPS: Final = (1e-3, 0.5, 0.5, 1e-3)  # m³, Hz, dB, s: finer differences are nobody's reason to choose
_LEAST_NET_M3: Final = 2e-3
_LARGEST_VAS: Final = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class BoxSearch:
    """What was looked at, and the boxes that no other beats in size, reach, level and delay at once."""

    considered: int
    fitting: int
    seconds_s: float
    lowest_note_hz: float
    front: tuple[BoxChoice, ...]  # smallest first
    sources: tuple[str, ...] = (
        "small-1972-closed",
        "small-1973-vented",
        "small-1974-passive",
        "fincham-1979",
    )


def search_boxes(
    spec: EnclosureSpec, driver: DriverData, need: EnclosureNeed, *, most: int = 12
) -> BoxSearch:
    """Search sealed, vented, passive-radiator and band-pass boxes over volume, tuning, pipes and radiators.

    Parameters
    ----------
    spec : room, board, fill, losses, port limits, and perhaps a radiator; kind, volume, Qtc and tuning don't
        count.
    driver : the driver stage's result.
    need : drive, source resistance, lowest note.
    most : boxes to return, spread over the sizes.

    Returns
    -------
    BoxSearch.

    Raises
    ------
    NoSolutionError : the driver fits into no box in this room.

    Source
    ------
    [small-1972-closed], [small-1973-vented], [small-1974-passive]; the circuit of physics.acoustics.circuit.
    """
    start = time.perf_counter()
    t = spec.panel_thickness_m
    layers = spec.front_layers or 1
    depth = None if spec.room_depth_m is None else spec.room_depth_m - driver.outside_m
    slopes = slopes_of(spec.outline, spec.room_height_m, spec.room_depth_m, spec.room_depth_top_m)
    room = sloped_room_of(
        spec.room_width_m, spec.room_height_m, depth, slopes=slopes, thickness_m=t, front_m=layers * t
    )
    job = Job(
        spec=spec,
        need=need,
        driver=driver,
        room=room,
        front_layers=layers,
        braces=(0, 0, 0),
        slopes=slopes,
    )
    largest = min(room.volume_m3 - job.fixed_displacement_m3, _LARGEST_VAS * driver.model.vas_m3())
    if largest <= _LEAST_NET_M3 or shaped_box(job, 1e-6, None) is None:
        raise refuse_size(job)
    sealed, tried_sealed = sealed_choices(job, np.geomspace(_LEAST_NET_M3, largest, _SEALED))
    vented, tried_vented = vented_choices(job, np.geomspace(2.0 * _LEAST_NET_M3, largest, _VOLUMES))
    passive, tried_passive = passive_choices(job, np.geomspace(2.0 * _LEAST_NET_M3, largest, _VOLUMES))
    banded, tried_banded = band_pass_choices(job, largest)
    every = [*sealed, *vented, *passive, *banded]
    tried = tried_sealed + tried_vented + tried_passive + tried_banded
    if not every:
        raise NoSolutionError(
            message="No box in this room stays within the limits with this driver.",
            quantity="boxes tried",
            value=str(tried),
            limit=f"response peak up to {show(PEAK_DB, 'level')}, port within its speed limit",
            remedy="Give more room, allow more port speed, lower the power, or take another driver.",
        )
    front = _front(every)
    return BoxSearch(
        considered=tried,
        fitting=len(every),
        seconds_s=time.perf_counter() - start,
        lowest_note_hz=need.lowest_note_hz,
        front=_spread(front, most),
    )


def _front(choices: list[BoxChoice]) -> list[BoxChoice]:
    """Boxes that no other beats: none is as good or better in all respects and better in one."""
    merit = np.array([(c.net_volume_m3, c.f3_hz, -c.level_db, c.delay_s) for c in choices])
    merit = np.round(merit / np.array(_STEPS))
    _, first = np.unique(merit, axis=0, return_index=True)
    merit, order = merit[first], first
    kept = np.ones(len(merit), dtype=bool)
    for i in range(len(merit)):
        if kept[i]:
            beaten = np.all(merit[i] <= merit, axis=1) & np.any(merit[i] < merit, axis=1)
            kept &= ~beaten
    return sorted((choices[j] for j in order[kept].tolist()), key=lambda c: c.net_volume_m3)


def _spread(front: list[BoxChoice], most: int) -> tuple[BoxChoice, ...]:
    """At most so many boxes, spread over log volume: of each size the one that reaches lowest."""
    if len(front) <= most:
        return tuple(front)
    edges = np.geomspace(front[0].net_volume_m3, front[-1].net_volume_m3 * 1.0001, most + 1)
    picked = []
    for low, high in pairwise(edges.tolist()):
        inside = [c for c in front if low <= c.net_volume_m3 < high]
        if inside:
            picked.append(min(inside, key=lambda c: (round(c.f3_hz), -c.level_db)))
    return tuple(picked)
