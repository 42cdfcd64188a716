"""The states in which test points are read."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from subwright.build.result import Design
from subwright.stages.common import Corner

__all__ = ["BATTERIES", "battery_voltages"]

BATTERIES: Final[Mapping[str, Corner]] = MappingProxyType(
    {
        "lowest battery": Corner.LOW,
        "nominal battery": Corner.NOMINAL,
        "highest battery": Corner.MAX,
    }
)
"""Corners by the name that sheets and print give them."""


def battery_voltages(design: Design) -> Mapping[str, float]:
    """Battery at rest by the name of the state, V."""
    return {name: design.supply.corners[corner] for name, corner in BATTERIES.items()}
