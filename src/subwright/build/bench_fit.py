"""Refit of a design to one unit's readings: least squares with the tolerances as priors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
import numpy.typing as npt

from subwright.base.errors import ConvergenceError, SubwrightError
from subwright.build.bench import Entry, is_over_range, latest
from subwright.build.bench_advice import (
    COVERAGE,
    Advice,
    FittedTrip,
    advise,
    slopes_of,
    standard_values,
)
from subwright.build.bench_model import BenchModel, Unknown, bench_model
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.parts.library import Library

__all__ = ["COVERAGE", "Advice", "Fit", "Fitted", "FittedTrip", "fit_unit"]

Array = npt.NDArray[np.float64]

_UNIFORM: Final = sqrt(3.0)
_ROUNDS: Final = 40
_TURN_COST: Final = 8.0  # -2 ln 0.02: one winding in fifty is miscounted by a turn; common practice
_SETTLED: Final = 1e-6
_FARTHEST: Final = 30.0  # standard deviations: far enough for a wrong reading, near enough to stay finite


@dataclass(frozen=True, kw_only=True, slots=True)
class Fitted:
    """One quantity of this unit: as designed, as fitted, and its uncertainty (k = 2) before and after."""

    unknown: Unknown
    value: float
    uncertainty: float

    @property
    def before(self) -> float:
        """Uncertainty before any reading, in the quantity's unit."""
        return COVERAGE * self.unknown.prior

    @property
    def known(self) -> bool:
        """Whether the readings said something about it: its uncertainty at least halved."""
        return self.uncertainty < 0.5 * self.before


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """A unit refitted.

    Attributes
    ----------
    unit : its number. used : keys of the readings that took part.
    primary_turns, secondary_turns : as wound, by the readings; 0 without a transformer.
    quantities, trips, advice : of this unit.
    misfit : root mean square of the readings' residuals over their own uncertainty; well above 1 means that
        a reading or the model is wrong. worst : the key that fits least, and by how many standard deviations.
    """

    unit: str
    used: tuple[str, ...]
    primary_turns: int
    secondary_turns: int
    quantities: tuple[Fitted, ...]
    trips: tuple[FittedTrip, ...]
    advice: tuple[Advice, ...]
    misfit: float
    worst: tuple[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Settled:
    cost: float
    z: Array
    covariance: Array
    residuals: Array


def fit_unit(
    design: Design, procedure: BringUp, library: Library, entries: Sequence[Entry], unit: str
) -> Fit:
    """Refit the design to one unit's latest readings.

    Gauss and Newton's least squares on the readings, each over its uncertainty, and on the parts, each over
    its tolerance; turns are whole and found by trying.

    Parameters
    ----------
    design, procedure, library : of the unit. entries : the log. unit : which unit.

    Raises
    ------
    SubwrightError : the unit has no reading that the model knows. ConvergenceError : the fit didn't settle.

    Source
    ------
    [derived]: maximum a posteriori estimate with normal errors.
    """
    model = bench_model(design, procedure, library)
    found = {
        key: entry
        for key, entry in latest(entries, unit).items()
        if key in model.readings and not _no_figure(procedure, entry)
    }
    if not found:
        raise SubwrightError(
            message=f"unit {unit} has no reading to fit from",
            quantity="bench log",
            value=f"{len(latest(entries, unit))} readings",
            remedy=f"enter one of: {', '.join(list(model.readings)[:6])} …",
        )
    best, turns = _best(model, found)
    return _report(design, library, model, found, best, turns, unit)


def _no_figure(procedure: BringUp, entry: Entry) -> bool:
    reading = procedure.reading(entry.key)
    return reading is None or is_over_range(reading, entry.value)


def _best(model: BenchModel, found: Mapping[str, Entry]) -> tuple[_Settled, tuple[int, int]]:
    tries = [(0, 0)]
    if model.primary_turns and "turns-ratio" in found:
        tries = [(p, s) for p in (-1, 0, 1) for s in (-2, -1, 0, 1, 2) if model.primary_turns + p > 0]
    best: tuple[_Settled, tuple[int, int]] | None = None
    for p, s in tries:
        turns = (model.primary_turns + p, model.secondary_turns + s)
        if model.primary_turns and "turns-ratio" in found and (p, s) != (0, 0):
            entry = found["turns-ratio"]
            if abs(turns[1] / turns[0] - entry.value) > 6.0 * max(entry.uncertain, 1e-9):
                continue
        settled = _settle(model, found, turns)
        cost = settled.cost + _TURN_COST * (abs(p) + abs(s))
        if best is None or cost < best[0].cost + _TURN_COST * (
            abs(best[1][0] - model.primary_turns) + abs(best[1][1] - model.secondary_turns)
        ):
            best = (settled, turns)
    assert best is not None
    return best


def _predict(model: BenchModel, keys: Sequence[str], z: Array, turns: tuple[int, int]) -> Array:
    x = standard_values(model, z)
    return np.stack([np.asarray(model.readings[key](x, *turns), dtype=float) for key in keys])


def _settle(model: BenchModel, found: Mapping[str, Entry], turns: tuple[int, int]) -> _Settled:
    keys = list(found)
    measured = np.array([found[key].value for key in keys])
    spread = np.array(
        [
            np.hypot(found[key].uncertain, model.own_error.get(key, 0.0) * abs(found[key].value)) / _UNIFORM
            for key in keys
        ]
    )
    spread = np.maximum(spread, 1e-12 * np.maximum(np.abs(measured), 1e-30))

    def cost_of(at: Array) -> tuple[float, Array]:
        residual = (measured - _predict(model, keys, at[:, None], turns)[:, 0]) / spread
        return float(residual @ residual + at @ at), residual

    z, damping = np.zeros(len(model.unknowns)), 1e-6
    cost, residual = cost_of(z)
    for _ in range(_ROUNDS):
        _, slopes = slopes_of(lambda columns: _predict(model, keys, columns, turns), z)
        scaled = slopes / spread[:, None]
        normal = scaled.T @ scaled + np.eye(z.size)
        downhill = scaled.T @ residual - z
        for _ in range(_ROUNDS):  # shorter steps until one helps
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), downhill)
            trial = np.clip(z + step, -_FARTHEST, _FARTHEST)
            lower, rest = cost_of(trial)
            if lower <= cost:
                damping = max(0.1 * damping, 1e-9)
                break
            damping *= 10.0
        else:
            trial, lower, rest = z, cost, residual  # nothing lower anywhere near: this is the bottom
        moved, gained = float(np.max(np.abs(trial - z))), cost - lower
        z, cost, residual = trial, lower, rest
        if moved < _SETTLED or gained <= _SETTLED * (1.0 + cost) * 1e-3:
            return _Settled(cost=cost, z=z, covariance=np.linalg.inv(normal), residuals=residual)
    raise ConvergenceError(
        message="the fit to the readings did not settle",
        quantity="last gain",
        value=f"{gained:.2g} of {cost:.3g}",
        remedy="look for a reading with a wrong prefix",
    )


def _report(
    design: Design,
    library: Library,
    model: BenchModel,
    found: Mapping[str, Entry],
    settled: _Settled,
    turns: tuple[int, int],
    unit: str,
) -> Fit:
    deviation = np.sqrt(np.diag(settled.covariance))
    quantities = tuple(
        Fitted(
            unknown=known,
            value=known.designed + known.prior * float(settled.z[i]),
            uncertainty=COVERAGE * known.prior * float(deviation[i]),
        )
        for i, known in enumerate(model.unknowns)
    )
    names = list(model.thresholds)
    made, slopes = slopes_of(
        lambda columns: np.stack([model.thresholds[n](standard_values(model, columns)) for n in names]),
        settled.z,
    )
    spread = COVERAGE * np.sqrt(np.einsum("ij,jk,ik->i", slopes, settled.covariance, slopes))
    trips = tuple(
        FittedTrip(
            name=name,
            unit=design.protection.thresholds[name].unit,
            target=design.protection.thresholds[name].target,
            value=float(made[i]),
            uncertainty=float(spread[i]),
        )
        for i, name in enumerate(names)
    )
    worst = int(np.argmax(np.abs(settled.residuals)))
    return Fit(
        unit=unit,
        used=tuple(found),
        primary_turns=turns[0],
        secondary_turns=turns[1],
        quantities=quantities,
        trips=trips,
        advice=advise(design, library, model, settled, trips, frozenset(found)),
        misfit=float(np.sqrt(np.mean(settled.residuals**2))),
        worst=(list(found)[worst], float(settled.residuals[worst])),
    )
