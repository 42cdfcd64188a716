"""Which parts to buy better: the pair whose finer tolerance narrows a network's window most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from subwright.base.errors import RangeError

from ._checks import Array
from .tolerance import Model, Parameter, sensitivities, worst_case

__all__ = ["PairUpgrade", "rank_pairs"]

_TRIED = 6


@dataclass(frozen=True, kw_only=True, slots=True)
class PairUpgrade:
    """Two parts bought finer, and what is left of the window.

    Attributes
    ----------
    parts : their names. half_widths : worst-case half window of each result, in the result's unit.
    left : the same over the window with every part coarse, mean of the results (dimensionless).
    """

    parts: tuple[str, str]
    half_widths: tuple[float, ...]
    left: float


def rank_pairs(
    model: Model, coarse: Sequence[Parameter], fine: Sequence[Parameter]
) -> tuple[tuple[float, ...], tuple[PairUpgrade, ...]]:
    """Every pair of parts bought finer, the one that narrows the windows most first.

    Each pair is evaluated at its own worst-case corners (by the sign of each sensitivity), not from the
    sensitivities alone; the foremost of them with every flip of a sign that makes it worse.

    Parameters
    ----------
    model : function of an array (parts, builds) that returns an array (results, builds).
    coarse, fine : the same parts with coarse and with fine limits, in each part's own unit; only parts whose
        limits differ can be bought finer.

    Returns
    -------
    Half window of each result with every part coarse, in the result's unit; and the pairs.

    Raises
    ------
    RangeError : the two lists don't name the same parts, or fewer than two parts differ.

    Source
    ------
    [gum2008], method of extreme values; ranking [derived].

    >>> def divider(r):
    ...     return r[2:3] * r[1:2] / (r[0] + r[1])
    >>> parts = [("R1", 30e3), ("R2", 10e3), ("reference", 5.0)]
    >>> at = lambda t: [Parameter.relative(n, v, t) for n, v in parts[:2]] + [Parameter.relative("reference",
    ...     5.0, 0.02)]
    >>> coarse, pairs = rank_pairs(divider, at(0.05), at(0.01))
    >>> print(f"{coarse[0]:.4f} {pairs[0].half_widths[0]:.4f}", *pairs[0].parts)
    0.1189 0.0438 R1 R2
    """
    names = [p.name for p in coarse]
    if names != [p.name for p in fine]:
        raise RangeError(
            message="Coarse and fine limits must be of the same parts.", quantity="parts", value=str(names)
        )
    can = [n for n, (a, b) in enumerate(zip(coarse, fine, strict=True)) if b.reach < a.reach * (1 - 1e-9)]
    if len(can) < 2:
        raise RangeError(
            message="Fewer than two parts can be bought finer.",
            quantity="parts",
            value=str(len(can)),
            limit="2",
        )
    wide = np.array([[p.low, p.high] for p in coarse])
    narrow = np.array([[p.low, p.high] for p in fine])
    rising = sensitivities(model, coarse) >= 0.0  # (results, parts)
    pairs = list(combinations(can, 2))
    limits = np.repeat(wide[None], len(pairs) + 1, axis=0)  # (options, parts, low and high), all coarse last
    for option, pair in enumerate(pairs):
        limits[option, pair, :] = narrow[pair, :]
    # columns: option, then result, then its lowest and highest corner
    up = np.where(rising[None], limits[:, None, :, 1], limits[:, None, :, 0])
    down = np.where(rising[None], limits[:, None, :, 0], limits[:, None, :, 1])
    corners = np.stack([down, up], axis=2)
    shape = corners.shape[:3]
    results = np.atleast_2d(model(corners.reshape(-1, wide.shape[0]).T)).reshape(-1, *shape)
    own = results[np.arange(shape[1]), :, np.arange(shape[1])]  # (results, options, 2)
    quick = 0.5 * (own[..., 1] - own[..., 0]).T
    order = np.argsort((quick[:-1] / quick[-1]).mean(axis=1), kind="stable")
    # A sign may turn within the limits, as beside a trimmer: the foremost are tried with every flip.
    whole = _half(model, coarse)
    tried = [_bought(model, coarse, fine, pairs[n], whole) for n in order[:_TRIED]]
    rest = [
        PairUpgrade(
            parts=(names[pairs[n][0]], names[pairs[n][1]]),
            half_widths=tuple(float(h) for h in quick[n]),
            left=float((quick[n] / quick[-1]).mean()),
        )
        for n in order[_TRIED:]
    ]
    return tuple(float(h) for h in whole), (*sorted(tried, key=lambda pair: pair.left), *rest)


def _half(model: Model, parameters: Sequence[Parameter]) -> Array:
    low, high = worst_case(model, parameters)
    return np.asarray(0.5 * (high - low))


def _bought(
    model: Model, coarse: Sequence[Parameter], fine: Sequence[Parameter], pair: tuple[int, int], whole: Array
) -> PairUpgrade:
    mixed = [fine[n] if n in pair else part for n, part in enumerate(coarse)]
    half = _half(model, mixed)
    first, second = (coarse[n].name for n in pair)
    return PairUpgrade(
        parts=(first, second),
        half_widths=tuple(float(h) for h in half),
        left=float((half / whole).mean()),
    )
