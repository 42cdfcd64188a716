"""What the loops of the chain share: the rail under a power, how far a round moved it, and the refusals."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError, NoSolutionError

__all__ = ["MOST_ROUNDS", "TOLERANCE", "collapsed", "moved", "not_settled", "rail_under_power"]

Array = NDArray[np.float64]

MOST_ROUNDS: Final = 60
TOLERANCE: Final = 1e-10


def rail_under_power(open_v: Array, drop_ohm: Array | float, power_w: Array) -> Array:
    """Larger root V of ``V² - open V + drop P = 0``: the stable rail voltage at power ``P``."""
    root = open_v**2 - 4.0 * drop_ohm * power_w
    if root.min() < 0.0 or open_v.min() <= 0.0:
        raise collapsed(power_w, float(np.min(open_v**2 / (4.0 * drop_ohm))))
    return np.asarray(0.5 * (open_v + np.sqrt(root)))


def moved(now: Array, before: Array) -> float:
    """Largest change between two rounds over the smallest value, dimensionless; values are positive."""
    return float(np.abs(now - before).max() / before.min())


def collapsed(power_w: Array, most_w: float | None = None) -> NoSolutionError:
    """The refusal when a voltage of the chain falls to nothing."""
    return NoSolutionError(
        message="The supply can't deliver this power: the rail collapses.",
        quantity="power out of the rail",
        value=f"{float(np.max(power_w)):.4g} W",
        limit="what the battery and its cable can pass" if most_w is None else f"{most_w:.4g} W",
        source="maximum power theorem",
        remedy=_less(power_w, most_w)
        + "Shorten or thicken the cable (supply.section), or use a higher battery voltage (supply.system).",
        code="CNV-01",
    )


def _less(power_w: Array, most_w: float | None) -> str:
    """How far the power must come down, with a tenth in hand."""
    if most_w is None:
        return "Lower goal.power. "
    return f"Lower goal.power to {90.0 * min(most_w / float(np.max(power_w)), 1.0):.0f} % or less. "


def not_settled(change: float) -> ConvergenceError:
    """The refusal when the rounds go on without an end."""
    return ConvergenceError(
        message="The battery, converter and amplifier did not settle on one operating point.",
        quantity="relative change",
        value=f"{change:.3g}",
        limit=f"{TOLERANCE:g}",
        remedy="The design is close to the most power that the source can give: lower the target power.",
    )
