"""Resistor and capacitor values to choose from: the drawer's stock first, then the whole series."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between
from subwright.parts.library import Library

__all__ = ["ValueStocks"]

Array = npt.NDArray[np.float64]
Choice = TypeVar("Choice")


@dataclass(frozen=True, kw_only=True, slots=True)
class ValueStocks:
    """Where a network's resistors may come from.

    Attributes
    ----------
    library : parts with the drawer merged. series : whole series to fall back on.
    tolerance : worst tolerance that a drawer stock may have, fraction.
    """

    library: Library
    series: str
    tolerance: float

    def from_drawer(self, low_ohm: float, high_ohm: float) -> Array:
        """Drawer values between two resistances, rising, in Ω."""
        drawer = self.library.drawer
        if drawer is None:
            return np.empty(0)
        fine = [s for s in drawer.resistors if s.tolerance <= self.tolerance * (1 + 1e-9)]
        return np.unique(np.concatenate([np.empty(0), *(s.values(low_ohm, high_ohm) for s in fine)]))

    def from_series(self, low_ohm: float, high_ohm: float) -> Array:
        """Series values between two resistances, rising, in Ω."""
        return between(low_ohm, high_ohm, self.series)

    def holds(self, value_ohm: float) -> bool:
        """Whether the drawer has this resistor."""
        return self.from_drawer(value_ohm * (1 - 1e-6), value_ohm * (1 + 1e-6)).size > 0

    def first_fit(self, search: Callable[[Callable[[float, float], Array], float], Choice]) -> Choice:
        """Run a search over the drawer's values, then over the whole series where those miss by over 1 %.

        ``search`` takes a function from (low, high) in Ω to values, and the error limit as a fraction.

        Raises
        ------
        NoSolutionError : not even the whole series comes within 5 %.
        """
        if self.library.drawer is not None and self.library.drawer.resistors:
            try:
                return search(self._all_or_none, 0.01)
            except NoSolutionError:
                pass
        return search(self.from_series, 0.05)

    def _all_or_none(self, low_ohm: float, high_ohm: float) -> Array:
        found = self.from_drawer(low_ohm, high_ohm)
        if found.size == 0:
            raise NoSolutionError(message="The drawer has no resistor in this range.")
        return found
