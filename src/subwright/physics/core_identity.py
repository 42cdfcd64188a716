"""What an unmarked core is: inductance factor from test windings, permeability, and the likely material.

A test winding of N turns reads ``L = A_L N² + L0``, with the leads' own L0. Several turn counts fix both by
least squares; with one, L0 is only known to be small. Uncertainties are standard ones unless said otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError
from subwright.physics.bounds import require_that
from subwright.physics.cores import EffectiveParameters, e_pair, ring  # noqa: F401  (e_pair: in an example)

__all__ = [
    "CLASSES",
    "Family",
    "InductanceFit",
    "MaterialClass",
    "Verdict",
    "classify",
    "closed_permeability",
    "fit_inductance_factor",
    "pair_factor_uncertainty",
    "ring_factor_uncertainty",
]

Family = Literal["iron powder", "alloy powder or nickel-zinc", "power ferrite", "high permeability"]

_LEAD_ALLOWANCE_H: Final = 0.3e-6  # leads of a test winding, standard uncertainty; own allowance
_MISCOUNT: Final = 3.0  # weighted residual beyond which a turn count is doubted


@dataclass(frozen=True, kw_only=True, slots=True)
class MaterialClass:
    """A class of core material and the permeabilities that its grades measure at 25 °C, tolerances included.

    ``serves`` : whether it is fit for a converter's transformer. ``why`` : the reason, one sentence.
    """

    family: Family
    mu_low: float
    mu_high: float
    serves: bool
    why: str


CLASSES: Final[tuple[MaterialClass, ...]] = (
    MaterialClass(
        family="iron powder",
        mu_low=3.0,
        mu_high=110.0,
        serves=False,
        why="Its gap is spread through the material: the magnetising current would be twenty times a "
        "ferrite's, and at some tens of kilohertz it loses ten times as much. It makes chokes, not "
        "transformers.",
    ),
    MaterialClass(
        family="alloy powder or nickel-zinc",
        mu_low=110.0,
        mu_high=1600.0,
        serves=False,
        why="Powdered alloys are for chokes; nickel-zinc ferrite saturates early and loses much below a "
        "megahertz.",
    ),
    MaterialClass(
        family="power ferrite",
        mu_low=1400.0,
        mu_high=3750.0,
        serves=True,
        why="Manganese-zinc grades of 2000 to 3000 are made for this.",
    ),
    MaterialClass(
        family="high permeability",
        mu_low=3200.0,
        mu_high=25_000.0,
        serves=False,
        why="Grades for signal transformers and interference chokes saturate at 0.24 T when hot, reach their "
        "Curie point at 130 °C, and lose several times as much as power grades.",
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What a permeability points to.

    Attributes
    ----------
    family : the likeliest class.
    others : further classes that the permeability within twice its uncertainty allows.
    serves : whether the likeliest class is fit for a converter's transformer.
    why : the reason.
    """

    family: Family
    others: tuple[Family, ...]
    serves: bool
    why: str


@dataclass(frozen=True, kw_only=True, slots=True)
class InductanceFit:
    """Inductance factor of a core from its test windings.

    Attributes
    ----------
    al_h, al_uncertainty_h : inductance factor and its standard uncertainty, H per turn squared.
    lead_h, lead_uncertainty_h : inductance that doesn't go with N², H.
    residuals : reading over fit less one, per reading.
    worst : largest weighted residual, dimensionless; some 2 is usual, beyond 3 a turn is doubted.
    suspect : (reading, turns that would fit better) where one more or one fewer turn explains the misfit.
    """

    al_h: float
    al_uncertainty_h: float
    lead_h: float
    lead_uncertainty_h: float
    residuals: tuple[float, ...]
    worst: float
    suspect: tuple[int, int] | None


def fit_inductance_factor(
    turns: tuple[int, ...],
    inductance_h: tuple[float, ...],
    accuracy: float,
    resolution_h: float = 0.0,
    lead_allowance_h: float = _LEAD_ALLOWANCE_H,
) -> InductanceFit:
    """Inductance factor and lead inductance of a core from readings at one or more turn counts.

    Parameters
    ----------
    turns : turns of each test winding, whole, 1 to 500, at least one winding.
    inductance_h : reading of each, H, > 0.
    accuracy : meter's limit of error over the reading, 0 to 0.3.
    resolution_h : last digit of the meter, H, >= 0.
    lead_allowance_h : standard uncertainty of the leads' inductance about zero, H, > 0.

    Returns
    -------
    InductanceFit. Weighted least squares of ``L = A_L N² + L0`` with L0 held to zero within the allowance.
    The meter's limit of error counts twice, once scattering from reading to reading and once common to all,
    each with its limit over √3: the common part doesn't average out.

    Raises
    ------
    RangeError : a quantity out of range, or no positive inductance factor fits.

    Source
    ------
    Definition of A_L [iec-62044-1]; limit of error over √3 for a rectangular distribution, Guide to the
    expression of uncertainty in measurement [jcgm100].

    Readings made of A_L = 2.5 µH and 0.2 µH of leads:

    >>> fit = fit_inductance_factor((5, 10, 20), (62.7e-6, 250.2e-6, 1000.2e-6), 0.001)
    >>> round(fit.al_h * 1e9), round(fit.lead_h * 1e9), fit.suspect
    (2500, 194, None)
    """
    require_that(
        len(turns) >= 1 and len(turns) == len(inductance_h), "number of readings", len(turns), ">= 1"
    )
    for n in turns:
        require_that(1 <= n <= 500 and n == int(n), "number of turns", n, "whole, 1 to 500")
    for reading in inductance_h:
        require_that(reading > 0, "inductance, H", reading, "> 0 H", "Read again; check the meter's range.")
    require_that(0 <= accuracy <= 0.3, "meter accuracy", accuracy, "0 to 0.3")
    require_that(resolution_h >= 0, "meter resolution, H", resolution_h, ">= 0 H")
    require_that(lead_allowance_h > 0, "lead allowance, H", lead_allowance_h, "> 0 H")
    count = np.array(turns, dtype=float)
    value = np.array(inductance_h)
    sigma = np.hypot(np.maximum(accuracy, 1e-4) / math.sqrt(3.0) * value, resolution_h / math.sqrt(12.0))
    solution, covariance, weighted = _solve(count, value, sigma, lead_allowance_h)
    factor, lead = float(solution[0]), float(solution[1])
    if factor <= 0:
        raise RangeError(
            message="The readings don't grow with the square of the turns.",
            quantity="inductance factor",
            value=f"{factor * 1e9:.4g} nH",
            limit="> 0 nH",
            remedy="Count the turns and read again; keep the test leads short.",
        )
    common = accuracy / math.sqrt(3.0) * factor
    worst = float(np.max(np.abs(weighted)))
    return InductanceFit(
        al_h=factor,
        al_uncertainty_h=float(math.hypot(math.sqrt(covariance[0, 0]), common)),
        lead_h=lead,
        lead_uncertainty_h=float(math.sqrt(covariance[1, 1])),
        residuals=tuple(float(x) for x in value / (factor * count**2 + lead) - 1.0),
        worst=worst,
        suspect=_suspect(count, value, sigma, lead_allowance_h) if worst > _MISCOUNT else None,
    )


def _solve(
    turns: NDArray[np.float64], value_h: NDArray[np.float64], sigma_h: NDArray[np.float64], allowance_h: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(solution, covariance, weighted residuals) with the lead's expectation as a further row."""
    matrix = np.vstack([np.column_stack([turns**2, np.ones_like(turns)]), [0.0, 1.0]])
    weight = 1.0 / np.append(sigma_h, allowance_h)
    target = np.append(value_h, 0.0) * weight
    scaled = matrix * weight[:, None]
    size = np.linalg.norm(scaled, axis=0)  # columns differ by orders of magnitude
    solution = np.linalg.lstsq(scaled / size, target, rcond=None)[0] / size
    covariance = np.linalg.inv((scaled / size).T @ (scaled / size)) / np.outer(size, size)
    return solution, covariance, scaled @ solution - target


def _suspect(
    turns: NDArray[np.float64], value_h: NDArray[np.float64], sigma_h: NDArray[np.float64], allowance_h: float
) -> tuple[int, int] | None:
    """The reading, and its better turn count, whose change by one turn lets all others agree."""
    best: tuple[float, int, int] | None = None
    for i in range(turns.size):
        for other in (turns[i] - 1, turns[i] + 1):
            if other < 1:
                continue
            changed = turns.copy()
            changed[i] = other
            misfit = float(np.max(np.abs(_solve(changed, value_h, sigma_h, allowance_h)[2])))
            if misfit <= _MISCOUNT and (best is None or misfit < best[0]):
                best = (misfit, i, int(other))
    return None if best is None else best[1:]


def ring_factor_uncertainty(
    outer_m: float, inner_m: float, height_m: float, uncertainty_m: float
) -> tuple[float, float, float]:
    """Core factor and section of a measured ring with their relative uncertainties.

    Parameters
    ----------
    outer_m, inner_m, height_m : uncoated size, m.
    uncertainty_m : standard uncertainty of each of them, m, >= 0.

    Returns
    -------
    (C1 in 1/m, its relative standard uncertainty, that of the effective area).

    Raises
    ------
    RangeError : the sizes make no ring, or the uncertainty is out of range.

    Source
    ------
    Effective values of [iec-60205]; propagation by differences over each dimension, [jcgm100].

    >>> factor, own, area = ring_factor_uncertainty(36e-3, 23e-3, 15e-3, 0.1e-3)
    >>> round(factor), round(own, 4), round(area, 4)
    (935, 0.0133, 0.0124)
    """
    require_that(uncertainty_m >= 0, "calliper uncertainty, m", uncertainty_m, ">= 0 m")
    size = (outer_m, inner_m, height_m)
    middle = ring(*size)
    square_c = square_a = 0.0
    step = max(uncertainty_m, 1e-9)
    for i in range(3):
        moved = tuple(x + step * (j == i) for j, x in enumerate(size))
        other = ring(moved[0], moved[1], moved[2])
        square_c += ((other.c1_per_m / middle.c1_per_m - 1.0) * uncertainty_m / step) ** 2
        square_a += ((other.a_e_m2 / middle.a_e_m2 - 1.0) * uncertainty_m / step) ** 2
    return middle.c1_per_m, math.sqrt(square_c), math.sqrt(square_a)


def pair_factor_uncertainty(
    make: Callable[[float, float, float, float, float, float], EffectiveParameters],
    size_m: tuple[float, float, float, float, float, float],
    uncertainty_m: float,
    model: float = 0.0,
) -> tuple[float, float, float]:
    """Core factor and section of a measured pair of halves with their relative uncertainties.

    Parameters
    ----------
    make : effective parameters from the six sizes, such as ``cores.e_pair``.
    size_m : overall width, half height, thickness, window width, window height of one half, centre leg, m.
    uncertainty_m : standard uncertainty of each, m, >= 0.
    model : relative standard uncertainty of the sections themselves, where the shape isn't quite the
    formula's.

    Returns
    -------
    (C1 in 1/m, its relative standard uncertainty, that of the effective area).

    Raises
    ------
    RangeError : the sizes make no pair, or an uncertainty is out of range.

    Source
    ------
    Effective values of [iec-60205]; propagation by differences over each dimension, [jcgm100].

    >>> sizes = (42.15e-3, 21e-3, 14.95e-3, 30.1e-3, 15.05e-3, 11.95e-3)
    >>> factor, own, area = pair_factor_uncertainty(e_pair, sizes, 0.1e-3)
    >>> round(factor), round(own, 3), round(area, 3)
    (543, 0.012, 0.011)
    """
    require_that(uncertainty_m >= 0, "calliper uncertainty, m", uncertainty_m, ">= 0 m")
    require_that(0 <= model < 0.5, "uncertainty of the sections", model, "0 to 0.5")
    middle = make(*size_m)
    square_c = square_a = model**2
    step = max(uncertainty_m, 1e-9)
    for i in range(6):
        moved = [x + step * (j == i) for j, x in enumerate(size_m)]
        other = make(moved[0], moved[1], moved[2], moved[3], moved[4], moved[5])
        square_c += ((other.c1_per_m / middle.c1_per_m - 1.0) * uncertainty_m / step) ** 2
        square_a += ((other.a_e_m2 / middle.a_e_m2 - 1.0) * uncertainty_m / step) ** 2
    return middle.c1_per_m, math.sqrt(square_c), math.sqrt(square_a)


def closed_permeability(
    effective: float, effective_uncertainty: float, path_m: float, gap_m: float, gap_uncertainty_m: float
) -> tuple[float, float]:
    """Permeability of the material of a pair whose halves don't quite touch.

    Parameters
    ----------
    effective : relative permeability measured on the pair, dimensionless, > 0.
    effective_uncertainty : its standard uncertainty, dimensionless.
    path_m : effective length, m, > 0.
    gap_m : left between the ground faces in all, m, >= 0.
    gap_uncertainty_m : its standard uncertainty, m.

    Returns
    -------
    (relative permeability of the material, its standard uncertainty), dimensionless.

    Raises
    ------
    RangeError : the gap alone would explain the reading, or a quantity out of range.

    Source
    ------
    ``1/μe = 1/μi + g/l_e``. [snelling1988] [jcgm100]

    >>> mu, own = closed_permeability(1700.0, 60.0, 97e-3, 10e-6, 5e-6)
    >>> round(mu), round(own)
    (2061, 236)
    """
    require_that(effective > 0, "effective permeability", effective, "> 0")
    require_that(path_m > 0, "path, m", path_m, "> 0 m")
    share = effective * gap_m / path_m
    require_that(0 <= share < 0.9, "gap's share of the reluctance", share, "below 0.9")
    closed = effective / (1.0 - share)
    by_reading = effective_uncertainty * (closed / effective) ** 2
    by_gap = closed**2 / path_m * gap_uncertainty_m
    return closed, math.hypot(by_reading, by_gap)


def classify(permeability: float, uncertainty: float) -> Verdict:
    """Material class that a measured initial permeability points to.

    Parameters
    ----------
    permeability : relative, of the closed core, small signal, near 25 °C; 1.5 to 25 000.
    uncertainty : standard uncertainty of it, dimensionless, >= 0.

    Returns
    -------
    Verdict. Where two classes hold the value, the one in whose range it lies deeper comes first, and the
    other one among ``others``.

    Raises
    ------
    RangeError : no core material measures like that.

    Source
    ------
    Ranges of the makers' grade lists, tolerance included; the borders are common practice, no source.
    [common-practice]

    >>> classify(2250, 60).family, classify(75, 2).serves
    ('power ferrite', False)
    """
    require_that(
        1.5 <= permeability <= CLASSES[-1].mu_high,
        "relative permeability",
        permeability,
        f"1.5 to {CLASSES[-1].mu_high:.0f}",
        "Check turns, units and dimensions: no core material measures like that.",
    )
    require_that(uncertainty >= 0, "uncertainty of the permeability", uncertainty, ">= 0")

    def depth(item: MaterialClass) -> float:
        return min(permeability / item.mu_low, item.mu_high / permeability)

    low, high = permeability - 2.0 * uncertainty, permeability + 2.0 * uncertainty
    ranked = sorted(CLASSES, key=depth, reverse=True)
    first = ranked[0]
    others = tuple(c.family for c in ranked[1:] if c.mu_low <= high and low <= c.mu_high)
    return Verdict(family=first.family, others=others, serves=first.serves, why=first.why)
