"""The states in which test points are read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Final

from subwright.build.result import Design, OperatingPoint
from subwright.stages.common import Corner, Level

__all__ = [
    "ANY_BATTERY",
    "BATTERIES",
    "FULL_SINE",
    "NO_SIGNAL",
    "battery_voltages",
    "operating_points",
    "played",
]

BATTERIES: Final[Mapping[str, Corner]] = MappingProxyType(
    {
        "lowest battery": Corner.LOW,
        "nominal battery": Corner.NOMINAL,
        "highest battery": Corner.MAX,
    }
)
"""Corners by the name that sheets and print give them."""

ANY_BATTERY: Final = "any battery"
NO_SIGNAL: Final = "no signal"
"""Running and not muted, inputs shorted."""
FULL_SINE: Final = "full sine"
"""A steady sine of the lowest note at the onset of clipping into the rated load."""

_LEVELS: Final = {NO_SIGNAL: Level.IDLE, FULL_SINE: Level.FULL}


def battery_voltages(design: Design) -> Mapping[str, float]:
    """Battery at rest by the name of the state, V."""
    return {name: design.supply.corners[corner] for name, corner in BATTERIES.items()}


def operating_points(design: Design, signal: str) -> Iterator[tuple[str, OperatingPoint]]:
    """The settled chain at each battery at which it plays, by the name of the state.

    Parameters
    ----------
    design : the build. signal : ``NO_SIGNAL`` or ``FULL_SINE``.

    Returns
    -------
    ("lowest battery, no signal", point) and so on.
    """
    for at, kept in played(signal).items():
        for point in design.points:
            if (point.corner, point.level) == kept:
                yield at, point


def played(signal: str) -> Mapping[str, tuple[Corner, Level]]:
    """Corner and level of each battery with a signal, by the name of the state.

    Parameters
    ----------
    signal : ``NO_SIGNAL`` or ``FULL_SINE``.

    >>> list(played(NO_SIGNAL))
    ['lowest battery, no signal', 'nominal battery, no signal', 'highest battery, no signal']
    """
    return {f"{battery}, {signal}": (corner, _LEVELS[signal]) for battery, corner in BATTERIES.items()}
