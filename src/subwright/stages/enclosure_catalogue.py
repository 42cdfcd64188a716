"""Every kind of box by the word that the build file has for it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from subwright.stages.enclosure_kinds import Kind, SealedKind, VentedKind
from subwright.stages.enclosure_resonant import BandPassKind, PassiveRadiatorKind

__all__ = ["KINDS"]

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "sealed": SealedKind(),
        "vented": VentedKind(),
        "passive-radiator": PassiveRadiatorKind(),
        "band-pass": BandPassKind(),
    }
)
