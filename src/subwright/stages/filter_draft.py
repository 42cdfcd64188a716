"""A filter block before its op-amp is chosen, and where its part values come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between
from subwright.parts.library import Library
from subwright.stages.filter_records import BlockKind
from subwright.stages.filter_spec import FilterSpec

__all__ = ["PHASE_POT_OHM", "SUMMING_OHM", "Array", "Draft", "Range", "Shelf", "Values", "state_variable"]

Array: TypeAlias = npt.NDArray[np.float64]
Values: TypeAlias = Mapping[str, float] | Mapping[str, Array]
Found = TypeVar("Found")
Range: TypeAlias = Callable[[float, float], Array]

PHASE_POT_OHM: Final = 100e3  # track of the phase control
SUMMING_OHM: Final = 10e3  # resistors at the summing amplifier of a state-variable filter
_CLOSE: Final = 0.02
_WIDE: Final = 0.08


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """A block before the op-amp is chosen: parts by role (Ω or F), wanted and real pole."""

    kind: BlockKind
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    gain: float
    name: str = ""
    op_amp_gain: float = 1.0  # noise gain that the bandwidth rule sees
    f0_hz: float | None = None
    q: float | None = None
    f0_target_hz: float | None = None
    q_target: float | None = None
    op_amps: int = 1  # amplifiers that the block takes; 0 for a passive one
    track_ohm: float = 0.0  # each track of a ganged potentiometer in it

    @property
    def values(self) -> dict[str, float]:
        """All parts by role."""
        return {**self.resistors_ohm, **self.capacitors_f}


def state_variable(
    *,
    divider_ohm: tuple[float, float],
    tracks_ohm: Mapping[str, float],
    capacitor_f: float,
    f0_hz: float,
    q: float,
    high_ohm: float = SUMMING_OHM,
    track_ohm: float = 0.0,
) -> Draft:
    """A state-variable stage of gain -1 with equal integrators.

    Parameters
    ----------
    divider_ohm : upper and lower resistor of the divider that sets Q, Ω. tracks_ohm : of the integrators,
        by role, Ω. capacitor_f : of each integrator, F. f0_hz, q : from these values.
    high_ohm : from the summing amplifier's own output, Ω. track_ohm : each track of a ganged potentiometer.
    """
    return Draft(
        kind="low-pass",
        resistors_ohm={
            "R in": SUMMING_OHM,
            "R low": SUMMING_OHM,
            "R high": high_ohm,
            "Q upper": divider_ohm[0],
            "Q lower": divider_ohm[1],
            **tracks_ohm,
        },
        capacitors_f={"integrator A": capacitor_f, "integrator B": capacitor_f},
        gain=-1.0,
        op_amp_gain=1.0 + 2.0 * high_ohm / SUMMING_OHM,
        f0_hz=f0_hz,
        q=q,
        op_amps=3,
        track_ohm=track_ohm,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Shelf:
    """Where values come from: the drawer's stock while it comes close, else the whole series."""

    spec: FilterSpec
    library: Library

    def _stock(self, kind: str, low: float, high: float) -> Array:
        drawer = self.library.drawer
        if drawer is None:
            return np.empty(0)
        stocks = drawer.resistors if kind == "resistor" else drawer.capacitors
        worst = self.spec.resistor_tolerance if kind == "resistor" else self.spec.capacitor_tolerance
        fine = [s for s in stocks if s.tolerance <= worst * (1 + 1e-9)]
        return np.unique(np.concatenate([np.empty(0), *(s.values(low, high) for s in fine)]))

    def resistors(self, low_ohm: float, high_ohm: float) -> Array:
        """Resistors of the build file's series, Ω."""
        return between(low_ohm, high_ohm, self.spec.resistor_series)

    def capacitors(self, low_f: float, high_f: float) -> Array:
        """Capacitors of the build file's series, F."""
        return between(low_f, high_f, self.spec.capacitor_series)

    def search(self, attempt: Callable[[Range, Range, float], Found]) -> Found:
        """Try drawer resistors and capacitors, then drawer capacitors, then the series."""

        def stock(kind: str) -> Range:
            def values(low: float, high: float) -> Array:
                found = self._stock(kind, low, high)
                if found.size == 0:
                    raise NoSolutionError(message=f"The drawer has no {kind} in this range.")
                return found

            return values

        drawer = self.library.drawer
        if drawer is not None and drawer.capacitors:
            tries: list[tuple[Range, Range]] = [(self.resistors, stock("capacitor"))]
            if drawer.resistors:
                tries.insert(0, (stock("resistor"), stock("capacitor")))
            for resistors, capacitors in tries:
                try:
                    return attempt(resistors, capacitors, _CLOSE)
                except NoSolutionError:
                    continue
        return attempt(self.resistors, self.capacitors, _WIDE)
