"""A low-pass swept by a ganged potentiometer, in preferred values: the shape of its response and its ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError

from ._checks import Array, between, positive

__all__ = ["SweptChoice", "search_swept"]

_RATIO: Final = np.geomspace(0.3, 2.0, 12)  # where shapes are compared, over the corner
_STEP: Final = 1.02  # for the slope at the corner
_Q_OFF: Final = 0.3  # farther from the wanted Q no stage is tried, as a natural logarithm
_APART: Final = 0.2  # nor with poles farther from their places
_SHARES: Final = (0.4, 2.5)  # of the summing amplifier's own resistor to the others
_DB_WEIGHT: Final = 0.1  # a decibel of shape counts like a tenth of an end


@dataclass(frozen=True, kw_only=True, slots=True)
class SweptChoice:
    """Ganged potentiometer, foot resistor and the parts of each section.

    Attributes
    ----------
    pot_ohm, foot_ohm : each track, and the fixed resistor in series with it, Ω.
    capacitors_f : per section (to output, to ground), or both integrators, F.
    high_ohm : per section the resistor that tunes a state-variable stage, Ω; empty for Sallen–Key stages.
    corner_ohm_hz : corner times the resistance of each track with its foot, Ω·Hz.
    end_miss : largest relative miss of the ends. shape_miss_db : largest miss of the response, each at its
        own corner, dB.
    """

    pot_ohm: float
    foot_ohm: float
    capacitors_f: tuple[tuple[float, float], ...]
    high_ohm: tuple[float, ...]
    corner_ohm_hz: float
    end_miss: float
    shape_miss_db: float


@dataclass(frozen=True, kw_only=True, slots=True)
class _Stages:
    """Choices for one section: time constant over the track's resistance, F, and Q; parts beside them."""

    mean_f: Array
    q: Array
    first_f: Array
    second_f: Array
    high_ohm: Array


def search_swept(
    low_hz: float,
    high_hz: float,
    sections: Sequence[tuple[float, float]],
    *,
    pots_ohm: Array,
    resistors_ohm: Array,
    capacitors_f: Array,
    unity: bool,
    summing_ohm: float = 10e3,
    end_limit: float = 0.15,
    shape_limit_db: float = 2.0,
) -> SweptChoice:
    """Parts of a low-pass whose equal resistors are a ganged potentiometer in series with a foot.

    Parameters
    ----------
    low_hz, high_hz : wanted ends of the corner, Hz, > 0.
    sections : per section pole frequency over the corner, and Q; dimensionless; one or two.
    pots_ohm, resistors_ohm, capacitors_f : values to choose from, ohm and F, ascending, 1-D.
    unity : True for unity-gain Sallen–Key stages (the capacitors set Q as ``sqrt(Cf/Cg)/2``), False for
        state-variable ones (equal capacitors; the summing amplifier's own resistor tunes them).
    summing_ohm : the other resistors of the summing amplifier, ohm, > 0.
    end_limit : largest relative miss of the ends, dimensionless.
    shape_limit_db : largest miss of the response, dB.

    Returns
    -------
    SweptChoice with the least of ends and shape together, 1 dB like 10 %.

    Raises
    ------
    RangeError : the range isn't above 1.2 : 1.
    NoSolutionError : nothing within the limits.

    Source
    ------
    [derived] from [ti-sloa049] with equal resistors, and ``f0 = √k/(2π R C)`` of a state-variable stage with
    k the summing amplifier's own resistor over the others.

    >>> from subwright.base.preferred import between as of_series
    >>> c = search_swept(40.0, 120.0, [(1.0, 0.5**0.5)], pots_ohm=of_series(10e3, 100e3, "E3"),
    ...     resistors_ohm=of_series(3e3, 60e3, "E24"), capacitors_f=of_series(10e-9, 1e-6, "E12"), unity=True)
    >>> c.end_miss < 0.03, c.shape_miss_db < 0.5
    (True, True)
    """
    positive("lower corner", low_hz, "Hz")
    between("range of the corner", high_hz / low_hz, 1.2, 20.0, ":1")
    between("number of sections", len(sections), 1, 2, "")
    caps, feet = np.asarray(capacitors_f, dtype=float), np.asarray(resistors_ohm, dtype=float)
    pot, foot = (x.ravel() for x in np.meshgrid(np.asarray(pots_ohm, dtype=float), feet, indexing="ij"))
    near = np.abs(np.log((pot / foot + 1.0) * low_hz / high_hz)) < 2.0 * np.log1p(end_limit)
    pot, foot = pot[near], foot[near]
    if unity:
        stages = [_followers(caps, q) for _, q in sections]
    else:
        stages = [_variables(caps, feet, q, summing_ohm, tuned=n > 0) for n, (_, q) in enumerate(sections)]
    picks = _sets(stages, [ratio for ratio, _ in sections])
    if pot.size == 0 or picks.shape[1] == 0:
        raise _refuse(None, end_limit, "no set fits")
    mean = np.stack([s.mean_f[pick] for s, pick in zip(stages, picks, strict=True)])
    q = np.stack([s.q[pick] for s, pick in zip(stages, picks, strict=True)])
    scale, shape_db = _shapes(mean, q, sections)
    ends = scale[:, None] / np.stack([foot * high_hz, (pot + foot) * low_hz])[:, None, :]
    end = np.max(np.abs(np.log(ends)), axis=0)
    bad = (end > np.log1p(end_limit)) | (shape_db[:, None] > shape_limit_db)
    score = np.where(bad, np.inf, end + _DB_WEIGHT * shape_db[:, None])
    at, knob = np.unravel_index(int(np.argmin(score)), score.shape)
    if not np.isfinite(score[at, knob]):
        raise _refuse(
            float(shape_db.min()),
            end_limit,
            f"{100 * float(np.expm1(end.min())):.1f} % and {float(shape_db.min()):.2f} dB, each alone",
            shape_limit_db,
        )
    chosen = [(s, int(pick[at])) for s, pick in zip(stages, picks, strict=True)]
    return SweptChoice(
        pot_ohm=float(pot[knob]),
        foot_ohm=float(foot[knob]),
        capacitors_f=tuple((float(s.first_f[n]), float(s.second_f[n])) for s, n in chosen),
        high_ohm=() if unity else tuple(float(s.high_ohm[n]) for s, n in chosen),
        corner_ohm_hz=float(scale[at]),
        end_miss=float(np.expm1(end[at, knob])),
        shape_miss_db=float(shape_db[at]),
    )


def _refuse(
    found_db: float | None, end_limit: float, value: str, shape_limit_db: float = 0.0
) -> NoSolutionError:
    limit = f"{100 * end_limit:.0f} %" + ("" if found_db is None else f" and {shape_limit_db:g} dB together")
    return NoSolutionError(
        message="No potentiometer, resistors and capacitors give the wanted swept low-pass.",
        quantity="miss of the ends and of the response",
        value=value,
        limit=limit,
        remedy="Allow more capacitor values (filter.capacitor_series), or move the ends of the sweep.",
    )


def _followers(caps: Array, q: float) -> _Stages:
    """Pairs of capacitors that come near the wanted Q."""
    first, second = (x.ravel() for x in np.meshgrid(caps, caps, indexing="ij"))
    quality = 0.5 * np.sqrt(first / second)
    near = np.abs(np.log(quality / q)) < _Q_OFF
    first, second, quality = first[near], second[near], quality[near]
    return _Stages(
        mean_f=np.sqrt(first * second),
        q=quality,
        first_f=first,
        second_f=second,
        high_ohm=np.zeros(first.size),
    )


def _variables(caps: Array, resistors: Array, q: float, summing_ohm: float, *, tuned: bool) -> _Stages:
    """Equal integrators; the divider gives any Q. One stage stays plain, the others follow it."""
    low, high = (share * summing_ohm for share in _SHARES)
    own = resistors[(resistors >= low) & (resistors <= high)] if tuned else np.array([summing_ohm])
    own = np.union1d(own, [summing_ohm])
    each, high_ohm = (x.ravel() for x in np.meshgrid(caps, own, indexing="ij"))
    mean = each * np.sqrt(summing_ohm / high_ohm)
    return _Stages(mean_f=mean, q=np.full(mean.size, q), first_f=each, second_f=each, high_ohm=high_ohm)


def _sets(stages: Sequence[_Stages], ratios: Sequence[float]) -> NDArray[np.intp]:
    """Choices of every section whose poles keep near their places to one another; shape (sections, sets)."""
    first = np.arange(stages[0].mean_f.size)
    if len(stages) == 1:
        return first[None, :]
    places = [np.log(s.mean_f * ratio) for s, ratio in zip(stages, ratios, strict=True)]
    return np.stack(np.nonzero(np.abs(places[0][:, None] - places[1][None, :]) < _APART))


def _shapes(mean_f: Array, q: Array, sections: Sequence[tuple[float, float]]) -> tuple[Array, Array]:
    """Corner times track, Ω·Hz, and the largest miss of the response at that corner, dB, of each set."""
    ratio = np.array([r for r, _ in sections])[:, None]
    wanted_q = np.array([w for _, w in sections])[:, None]
    own = 1.0 / (2 * np.pi * mean_f)  # pole times track, Ω·Hz
    base = np.exp(np.mean(np.log(own / ratio), axis=0))

    def level_db(at: Array, poles: Array, quality: Array) -> Array:
        """Level at ``at``, shape (points, sets), of poles in the same unit."""
        x = at[None, ...] / poles[:, None, :]
        square = (1.0 - x * x) ** 2 + (x / quality[:, None, :]) ** 2
        return np.asarray(-10.0 * np.sum(np.log10(square), axis=0))

    one = np.ones((1, 1))
    target = level_db(one, ratio, wanted_q)[0, 0]
    corner = base
    for _ in range(2):  # Newton's steps on a nearly straight flank
        here, there = level_db(np.stack([corner, corner * _STEP]), own, q)
        corner = corner * _STEP ** np.clip((target - here) / (there - here), -20.0, 20.0)
    ideal = level_db(_RATIO[:, None], ratio, wanted_q)
    real = level_db(_RATIO[:, None] * corner, own, q)
    return corner, np.max(np.abs(real - ideal), axis=0)
