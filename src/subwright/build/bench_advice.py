"""What moves a unit's trips back: the resistor to add, and where the trip will then lie."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from subwright.build.bench_model import BenchModel
from subwright.build.result import Design
from subwright.parts.library import Library
from subwright.stages.protection_fitted import Trim, fitted_protection, measurable_parts
from subwright.stages.protection_models import RESISTOR_DRIFT

__all__ = [
    "COVERAGE",
    "Advice",
    "FittedTrip",
    "Posterior",
    "advise",
    "slopes_of",
    "standard_values",
    "with_resistor",
]

Array = npt.NDArray[np.float64]
Values = Mapping[str, Array]

COVERAGE: Final = 2.0  # standard deviations in a printed uncertainty: about 95 %
_UNIFORM: Final = sqrt(3.0)
_STEP: Final = 1e-4  # of a prior's standard deviation, for the slopes
_TRUST: Final = 0.25  # further from its marking than this the protection stage refuses a part


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedTrip:
    """A threshold of this unit with its uncertainty (k = 2, about 95 %), V or °C; ``target`` wanted."""

    name: str
    unit: str
    target: float
    value: float
    uncertainty: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Advice:
    """What moves a trip back: part, how, the resistor to add, Ω, and the trip with its window, V or °C.

    ``low`` and ``high`` hold the trip afterwards in about 95 of 100 units (k = 2): what the readings leave
    open, the added resistor's tolerance and the resistors' drift.
    """

    protection: str
    unit: str
    role: str
    how: str
    add_ohm: float | None
    before: float
    after: float
    low: float
    high: float
    target: float


class Posterior(Protocol):
    """What a fit has found: unknowns in standard deviations of their priors, and their covariance."""

    @property
    def z(self) -> Array:
        """Best estimate, shape (unknowns,)."""

    @property
    def covariance(self) -> Array:
        """Shape (unknowns, unknowns)."""


def standard_values(model: BenchModel, z: Array) -> dict[str, Array]:
    """Unknowns by name, in their units, from standardised ones of shape (unknowns, n)."""
    return {u.name: u.designed + u.prior * z[i] for i, u in enumerate(model.unknowns)}


def slopes_of(function: Callable[[Array], Array], z: Array) -> tuple[Array, Array]:
    """Value, shape (m,), and slopes, shape (m, n), of a function of columns, by central differences."""
    count = z.size
    step = _STEP * np.eye(count)
    columns = np.concatenate([z[:, None], z[:, None] + step, z[:, None] - step], axis=1)
    made = function(columns)
    return made[:, 0], (made[:, 1 : count + 1] - made[:, count + 1 :]) / (2.0 * _STEP)


def with_resistor(values: Values, role: str, how: str, add_ohm: float | Array) -> dict[str, Array]:
    """The same unit with a resistor of ``add_ohm`` Ω in parallel or in series with the part of that role."""
    part = values[role]
    other = part * add_ohm / (part + add_ohm) if how == "parallel" else part + add_ohm
    return {**values, role: other}


def advise(
    design: Design,
    library: Library,
    model: BenchModel,
    found: Posterior,
    trips: Sequence[FittedTrip],
    used: frozenset[str],
) -> tuple[Advice, ...]:
    """What the protection stage would trim on this unit, for each protection whose trip was read.

    A trip whose distance from its target is within its own uncertainty is left alone.

    Parameters
    ----------
    design, library, model : of the unit. found : the fit. trips : fitted. used : keys of readings that took
        part.

    Source
    ------
    [derived]: the fit's covariance carried through the changed network.
    """
    known = {part.role: part for part in measurable_parts(design.protection, library)}
    here = standard_values(model, found.z[:, None])
    measured = {
        name: float(here[name][0])
        for name in known
        if name in here and abs(float(here[name][0]) / known[name].nominal - 1.0) < _TRUST
    }
    tolerance = design.spec.protection.resistor_tolerance
    fitted = fitted_protection(design.protection, library, measured, tolerance)
    by_name = {trip.name: trip for trip in trips}
    rows = []
    for trim in fitted.trims:
        if not {f"{trim.protection}-trip", f"{trim.protection}-trip-resistance"} & used:
            continue  # a trip that nobody tried is not trimmed on a guess
        trip = by_name[f"{trim.protection} trip"]
        if trim.how in ("parallel", "series") and abs(trip.value - trip.target) <= trip.uncertainty:
            trim = replace(trim, how="leave", add_ohm=None)  # it may as well be right already
        after, spread = _afterwards(model, found, trim, frozenset(known), tolerance)
        rows.append(
            Advice(
                protection=trim.protection,
                unit=trim.unit,
                role=trim.role,
                how=trim.how,
                add_ohm=trim.add_ohm,
                before=trip.value,
                after=after,
                low=after - spread,
                high=after + spread,
                target=trim.target,
            )
        )
    return tuple(rows)


def _afterwards(
    model: BenchModel, found: Posterior, trim: Trim, resistors: frozenset[str], tolerance: float
) -> tuple[float, float]:
    """The trip after a trim and its uncertainty (k = 2), V or °C."""
    trip = model.thresholds[f"{trim.protection} trip"]
    added = trim.how in ("parallel", "series") and trim.add_ohm is not None

    def after(values: Values, off: float = 0.0) -> Array:
        if added and trim.add_ohm is not None:
            values = with_resistor(values, trim.role, trim.how, trim.add_ohm * (1.0 + off))
        return np.asarray(trip(values), dtype=float)

    made, slopes = slopes_of(lambda columns: after(standard_values(model, columns))[None], found.z)
    variance = float(slopes[0] @ found.covariance @ slopes[0])
    here = standard_values(model, found.z[:, None])
    if added:
        variance += (float(after(here, tolerance)[0] - made[0]) / _UNIFORM) ** 2
    for index, unknown in enumerate(model.unknowns):  # between bench and vehicle
        if unknown.name in resistors and unknown.prior > 0.0:
            drift = RESISTOR_DRIFT * float(here[unknown.name][0]) / unknown.prior / _UNIFORM
            variance += (float(slopes[0, index]) * drift) ** 2
    if trim.how == "trimmer":  # turned until the trip stands where it is wanted
        return trim.trip_after, COVERAGE * sqrt(variance)
    return float(made[0]), COVERAGE * sqrt(variance)
