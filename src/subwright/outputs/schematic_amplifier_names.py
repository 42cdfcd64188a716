"""Printed names of the nets that the amplifier's blocks share: output stage, voltage stage and modulator."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from subwright.circuits.shunt_return import OUTPUT_SHUNT_NET, SHUNT_NET

__all__ = ["AMPLIFIER_NAMES", "positive_name"]

AMPLIFIER_NAMES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "rail_negative": "RAIL \u2212",
        "out_a": "SPEAKER +",
        "out_b": "SPEAKER \u2212",
        "wanted_a": "FILTER OUT",
        "mute": "MUTE",
        SHUNT_NET: "SHUNT",
        OUTPUT_SHUNT_NET: "SHUNT OUT",
        **{f"feed_{leg}": f"FEED {leg.upper()}" for leg in "ab"},
        **{f"node_{leg}": f"NODE {leg.upper()}" for leg in "ab"},
        **{f"base_upper_{leg}": f"DRIVE {leg.upper()} +" for leg in "ab"},
        **{f"base_lower_{leg}": f"DRIVE {leg.upper()} \u2212" for leg in "ab"},
        **{
            f"gate_{side}_{leg}": f"GATE {side[0].upper()}{leg.upper()}"
            for side in ("upper", "lower")
            for leg in "ab"
        },
    }
)
"""By net, whatever the kind of amplifier."""


def positive_name(*, from_battery: bool) -> str:
    """Printed name of the net ``rail_positive``; ``from_battery``: it is the battery itself."""
    return "BATTERY" if from_battery else "RAIL +"
