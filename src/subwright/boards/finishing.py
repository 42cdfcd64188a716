"""From steps to tracks: runs joined, corners cut at 45°, widened where there is room."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.boards.record import Place, Track
from subwright.boards.routing import Copper

__all__ = ["Solid", "runs_of", "widened"]

_Floats = NDArray[np.float64]
_ROUND_TO_UM: Final = 50


@dataclass(frozen=True, kw_only=True, slots=True)
class Solid:
    """Copper that is already there: a stadium between two places, of a net ("" : none), radius in µm."""

    net: str
    start: Place
    end: Place
    radius_um: float


def runs_of(
    copper: Copper, stops: frozenset[Place], at: Callable[[Place], Place], cut_um: int
) -> tuple[tuple[Place, ...], ...]:
    """A net's copper as runs of corners in µm, cut at each bend.

    Parameters
    ----------
    copper : edges between steps. stops : steps of its pads, where runs end. at : µm of a step.
    cut_um : how much of each leg a cut corner takes; half a step keeps clear of every other step.
    """
    around: dict[Place, list[Place]] = {}
    for a, b in sorted(copper.edges):
        around.setdefault(a, []).append(b)
        around.setdefault(b, []).append(a)
    ends = [place for place in sorted(around) if len(around[place]) != 2 or place in stops]
    done: set[tuple[Place, Place]] = set()
    runs: list[tuple[Place, ...]] = []
    for start in [*ends, *sorted(around)]:
        closed = start not in ends
        for follow in around[start]:
            if (start, follow) in done:
                continue
            run = [start, follow]
            done |= {(start, follow), (follow, start)}
            while len(around[run[-1]]) == 2 and run[-1] not in stops and run[-1] != start:
                first, second = around[run[-1]]
                after = second if first == run[-2] else first
                done |= {(run[-1], after), (after, run[-1])}
                run.append(after)
            runs.append(_cut([at(place) for place in run], cut_um))
            if closed:
                break
    return tuple(runs)


def _cut(run: Sequence[Place], cut_um: int) -> tuple[Place, ...]:
    corners = [run[0]]
    for before, place, after in zip(run, run[1:], run[2:], strict=False):
        if (place[0] - before[0], place[1] - before[1]) == (after[0] - place[0], after[1] - place[1]):
            continue
        corners += [_toward(place, before, cut_um), _toward(place, after, cut_um)]
    corners.append(run[-1])
    kept = [corners[0]]
    for place in corners[1:]:
        if place == kept[-1]:
            continue
        while len(kept) > 1 and _straight(kept[-2], kept[-1], place):
            kept.pop()
        kept.append(place)
    return tuple(kept)


def _toward(place: Place, other: Place, by_um: int) -> Place:
    def sign(value: int) -> int:
        return (value > 0) - (value < 0)

    return place[0] + by_um * sign(other[0] - place[0]), place[1] + by_um * sign(other[1] - place[1])


def _straight(a: Place, b: Place, c: Place) -> bool:
    cross = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
    along = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1])
    return cross == 0 and along > 0


def widened(
    tracks: Sequence[Track],
    solids: Sequence[Solid],
    wanted_um: Mapping[str, int],
    spacing: Callable[[str, str], int],
    edge: Callable[[Place], float],
) -> tuple[Track, ...]:
    """Each leg of each track as wide as it may be, up to what its net wants.

    Parameters
    ----------
    tracks : at their least width. solids : pads and other copper. wanted_um : width by net, µm.
    spacing : least gap of two nets, µm. edge : how far a place is from where copper must end, µm.

    Returns
    -------
    Tracks; neighbouring legs of one width stay one track. The nets that want most are served first.
    """
    legs: list[tuple[int, Place, Place]] = []
    for number, track in enumerate(tracks):
        legs += [(number, a, b) for a, b in zip(track.points, track.points[1:], strict=False)]
    nets = [tracks[number].net for number, _, _ in legs] + [solid.net for solid in solids]
    starts = np.array([a for _, a, _ in legs] + [s.start for s in solids], dtype=float)
    ends = np.array([b for _, _, b in legs] + [s.end for s in solids], dtype=float)
    radii = np.array(
        [tracks[number].width_um / 2 for number, _, _ in legs] + [s.radius_um for s in solids], dtype=float
    )
    names = list(dict.fromkeys(nets))
    number_of = {net: k for k, net in enumerate(names)}
    net_number = np.array([number_of[net] for net in nets])
    gaps = {net: np.array([spacing(net, other) for other in names], dtype=float) for net in names}
    order = sorted(range(len(legs)), key=lambda k: (-wanted_um.get(nets[k], 0), k))
    for k in order:
        want = wanted_um.get(nets[k], 0)
        _, a, b = legs[k]
        foreign = net_number != net_number[k]
        room = min(edge(a), edge(b))
        if foreign.any():
            away = _distances(a, b, starts[foreign], ends[foreign])
            free = away - radii[foreign] - gaps[nets[k]][net_number[foreign]]
            room = min(room, float(free.min()))
        width = min(want, int(2 * room) // _ROUND_TO_UM * _ROUND_TO_UM)
        radii[k] = max(radii[k], width / 2)
    made: list[Track] = []
    for (number, a, b), radius in zip(legs, radii, strict=False):
        width = round(radius * 2)
        last = made[-1] if made else None
        if (
            last is not None
            and last.width_um == width
            and last.points[-1] == a
            and last.net == tracks[number].net
        ):
            made[-1] = replace(last, points=(*last.points, b))
        else:
            made.append(Track(net=tracks[number].net, points=(a, b), width_um=width))
    return tuple(made)


def _distances(a: Place, b: Place, starts: _Floats, ends: _Floats) -> _Floats:
    """Distance of the segment from a to b to each of n segments, (n,), in their unit."""
    first, second = np.array(a, dtype=float), np.array(b, dtype=float)
    away = np.minimum(_to_segment(first, starts, ends), _to_segment(second, starts, ends))
    tiled_a = np.broadcast_to(first, starts.shape)
    tiled_b = np.broadcast_to(second, starts.shape)
    away = np.minimum(away, _to_segment(starts, tiled_a, tiled_b))
    away = np.minimum(away, _to_segment(ends, tiled_a, tiled_b))
    crossing = (_side(first, second, starts) * _side(first, second, ends) < 0) & (
        _side(starts, ends, first) * _side(starts, ends, second) < 0
    )
    return np.where(crossing, 0.0, away)


def _to_segment(point: _Floats, start: _Floats, end: _Floats) -> _Floats:
    leg = end - start
    long = np.sum(leg * leg, axis=-1)
    share = np.sum((point - start) * leg, axis=-1) / np.where(long > 0.0, long, 1.0)
    foot = start + np.clip(share, 0.0, 1.0)[..., None] * leg
    away = point - foot
    return np.asarray(np.hypot(away[..., 0], away[..., 1]))


def _side(a: _Floats, b: _Floats, c: _Floats) -> _Floats:
    """Above 0 where c lies left of the line from a to b."""
    d, e = b - a, c - a
    return np.asarray(d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0])
