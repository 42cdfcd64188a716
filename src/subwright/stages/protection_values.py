"""Resistor and capacitor values to choose from: the drawer's stock first, then the whole series."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between, is_member
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.stages.protection_records import (
    OverVoltageNetwork,
    ThermalNetwork,
    Threshold,
    UnderVoltageNetwork,
)

__all__ = ["SeriesWish", "ValueStocks", "value_reasons"]

Array = npt.NDArray[np.float64]
Choice = TypeVar("Choice")
Search: TypeAlias = Callable[[Callable[[float, float], Array], float], tuple[Choice, float]]
SeriesWish: TypeAlias = Literal["E12", "E24", "E96", "mixed"]

_DRAWER_LIMIT: Final = 0.01
_ANY_LIMIT: Final = 0.05
_GOOD_ENOUGH: Final = 0.001  # a finer series wouldn't be seen behind the tolerance of its own resistors


@dataclass(frozen=True, kw_only=True, slots=True)
class ValueStocks:
    """Where a network's resistors may come from.

    Attributes
    ----------
    library : parts with the drawer merged. series : whole series to fall back on; mixed: E24 and the drawer,
        and E96 where that halves the error.
    tolerance : worst tolerance that a drawer stock may have, fraction.
    """

    library: Library
    series: SeriesWish
    tolerance: float

    @property
    def whole_series(self) -> str:
        """The series that a single resistor is rounded to."""
        return "E24" if self.series == "mixed" else self.series

    def from_drawer(self, low_ohm: float, high_ohm: float) -> Array:
        """Drawer values between two resistances, rising, in Ω."""
        drawer = self.library.drawer
        if drawer is None:
            return np.empty(0)
        fine = [s for s in drawer.resistors if s.tolerance <= self.tolerance * (1 + 1e-9)]
        return np.unique(np.concatenate([np.empty(0), *(s.values(low_ohm, high_ohm) for s in fine)]))

    def from_series(self, low_ohm: float, high_ohm: float) -> Array:
        """Series values between two resistances, rising, in Ω."""
        return between(low_ohm, high_ohm, self.whole_series)

    def origin(self, value_ohm: float) -> str:
        """Where a value comes from: "drawer", or the coarsest series that has it."""
        if self.holds(value_ohm):
            return "drawer"
        return next((s for s in ("E12", "E24", "E96") if is_member(value_ohm, s)), "no series")

    def holds(self, value_ohm: float) -> bool:
        """Whether the drawer has this resistor."""
        return self.from_drawer(value_ohm * (1 - 1e-6), value_ohm * (1 + 1e-6)).size > 0

    def first_fit(self, search: Search[Choice], with_more: Search[Choice] | None = None) -> Choice:
        """Run a search over the drawer's values, then over the whole series where those miss by over 1 %.

        ``search`` takes a function from (low, high) in Ω to values, and the error limit as a fraction; it
        returns its choice and the error of that. ``with_more`` is a search for a network with a resistor
        more, which is tried where the series misses by over 1 % too.

        Raises
        ------
        NoSolutionError : not even the whole series comes within 5 %.
        """
        if with_more is None:
            return self._first_fit(search)[0]
        try:
            choice, error = self._first_fit(search)
        except NoSolutionError:
            return self._first_fit(with_more)[0]
        if error <= _DRAWER_LIMIT:
            return choice
        other, left = self._first_fit(with_more)
        return other if left < error else choice

    def _first_fit(self, search: Search[Choice]) -> tuple[Choice, float]:
        if self.library.drawer is not None and self.library.drawer.resistors:
            try:
                return search(self._all_or_none, _DRAWER_LIMIT)
            except NoSolutionError:
                pass
        if self.series == "mixed":
            return self._mixed(search)
        return search(self.from_series, _ANY_LIMIT)

    def _mixed(self, search: Search[Choice]) -> tuple[Choice, float]:
        """Drawer and E24 together; with E96 where that leaves at most half of the error."""
        try:
            choice, error = search(lambda low, high: self._together(low, high, "E24"), _ANY_LIMIT)
        except NoSolutionError:
            return search(lambda low, high: self._together(low, high, "E24", "E96"), _ANY_LIMIT)
        if error <= _GOOD_ENOUGH:
            return choice, error
        finer, left = search(lambda low, high: self._together(low, high, "E24", "E96"), _ANY_LIMIT)
        return (finer, left) if left <= 0.5 * error else (choice, error)

    def _together(self, low_ohm: float, high_ohm: float, *series: str) -> Array:
        """Values of the drawer and of several series, each once, rising, in Ω."""
        stocks = [self.from_drawer(low_ohm, high_ohm), *(between(low_ohm, high_ohm, s) for s in series)]
        values = np.sort(np.concatenate(stocks))
        return values[np.diff(values, prepend=0.0) > 1e-9 * values]

    def _all_or_none(self, low_ohm: float, high_ohm: float) -> Array:
        found = self.from_drawer(low_ohm, high_ohm)
        if found.size == 0:
            raise NoSolutionError(message="The drawer has no resistor in this range.")
        return found


def _lower(network: UnderVoltageNetwork | OverVoltageNetwork) -> tuple[float, ...]:
    return (network.lower_ohm, *([network.lower_second_ohm] if network.lower_second_ohm else []))


def value_reasons(
    stocks: ValueStocks,
    under: UnderVoltageNetwork,
    over: OverVoltageNetwork,
    thermal: ThermalNetwork,
    thresholds: Mapping[str, Threshold],
) -> Iterator[str]:
    """A sentence per network: where its resistors come from, and how close it comes.

    Parameters
    ----------
    stocks : what they were chosen from. under, over, thermal : the networks. thresholds : by name.
    """
    networks = {
        "under-voltage": (under.upper_each_ohm, *_lower(under), under.feedback_ohm),
        "over-voltage": (over.upper_ohm, *_lower(over), over.reference_ohm, over.feedback_ohm),
        "thermal": (thermal.series_ohm, thermal.upper_ohm, thermal.lower_ohm, thermal.feedback_ohm),
    }
    for name, resistors in networks.items():
        by_origin: dict[str, list[str]] = {}
        for ohm in dict.fromkeys(resistors):
            by_origin.setdefault(stocks.origin(ohm), []).append(show(ohm, "resistance"))
        listed = "; ".join(f"{origin}: {', '.join(values)}" for origin, values in by_origin.items())
        miss = max(abs(thresholds[f"{name} {end}"].error) for end in ("trip", "release"))
        unit = "temperature difference" if name == "thermal" else "voltage"
        yield (
            f"{name.capitalize()} resistors, {len(set(resistors))} different values ({listed}): trip and "
            f"release within {show(miss, unit)} of what was wanted."
        )
