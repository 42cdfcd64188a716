"""What an experiment is, and what it answers."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.circuits.simulate import Engine
from subwright.parts.library import Library

__all__ = ["BLOCKS", "Case", "Check", "Experiment", "Outcome", "worst_of"]

Array = NDArray[np.float64]

BLOCKS: Final = (
    "wiring",
    "supply",
    "controller",
    "converter",
    "protection",
    "input",
    "filter",
    "signal",
    "modulator",
    "amplifier",
    "speaker",
    "box",
    "bring-up",
)
"""The blocks in the order in which experiments are listed; others follow."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """One quantity by two routes.

    Attributes
    ----------
    quantity : what is compared, in the builder's words ("positive rail").
    closed, simulated : the closed form's and the simulation's value, in ``unit``.
    unit : SI symbol, "dB" or "°"; "" for a ratio.
    limit : largest allowed difference: a share of ``closed``, or in ``unit`` where ``absolute``.
    absolute : whether the limit is a difference and not a share.

    Raises
    ------
    SubwrightError : a value is not finite, the limit isn't above 0, or a share of nothing is asked for.
    """

    quantity: str
    closed: float
    simulated: float
    unit: str
    limit: float
    absolute: bool = False

    def __post_init__(self) -> None:
        finite = math.isfinite(self.closed) and math.isfinite(self.simulated)
        if not finite or not self.limit > 0.0 or (self.closed == 0.0 and not self.absolute):
            raise SubwrightError(
                message="These two can't be compared: not finite, a share of nothing, or no limit.",
                quantity=self.quantity,
                value=f"{self.closed:g} and {self.simulated:g}",
                limit=f"{self.limit:g}",
                remedy="This is an error in subwright, not in the build; please report it.",
            )

    @property
    def difference(self) -> float:
        """Simulated against closed form: a share of it, or in ``unit`` where ``absolute``."""
        apart = self.simulated - self.closed
        return apart if self.absolute else apart / self.closed

    @property
    def holds(self) -> bool:
        """Whether the two agree within the limit."""
        return abs(self.difference) <= self.limit


def worst_of(checks: Iterable[Check]) -> Check:
    """The check that uses most of its limit, of several points of one quantity.

    Raises
    ------
    ValueError : there is none.
    """
    return max(checks, key=lambda check: abs(check.difference) / check.limit)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Outcome:
    """What one case came to.

    Attributes
    ----------
    checks : the comparisons. engine : who simulated.
    axis : time in s or frequency in Hz, shape (n,). axis_unit : "s" or "Hz".
    traces : course by label ("positive rail, V"), each of the axis's shape, to plot; () where none is kept.
    """

    checks: tuple[Check, ...]
    engine: str
    axis: Array = field(default_factory=lambda: np.zeros(0))
    axis_unit: str = "s"
    traces: Mapping[str, Array] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One run of an experiment on one design: "lowest battery, full load".

    Attributes
    ----------
    name : what sets it apart from the experiment's other cases; "" where there is one only.
    run : simulates it on an engine, waiting so many seconds at most for each simulation. May be called from
        any thread, several cases at a time; raises SubwrightError where there is no answer.
    """

    name: str
    run: Callable[[Engine, float], Outcome]


@dataclass(frozen=True, kw_only=True, slots=True)
class Experiment:
    """A named experiment.

    Attributes
    ----------
    name : short name in lower case with hyphens ("converter-steady-state").
    block : the circuit block it tries ("converter"), one of ``BLOCKS`` if it can be.
    title : a line for people. about : what is simulated and compared, and where the limits come from.
    cases : its cases for one design; () where the design has no such block. Cheap: circuits are made when a
        case runs.
    embedded : whether the embedded engine can run it too.
    """

    name: str
    block: str
    title: str
    about: str
    cases: Callable[[Design, Library], tuple[Case, ...]]
    embedded: bool = True
