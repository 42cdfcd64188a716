"""Every kind of box by the word that the build file has for it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from subwright.stages.enclosure_band_pass import BandPassKind
from subwright.stages.enclosure_kinds import Kind, SealedKind
from subwright.stages.enclosure_radiator_box import PassiveRadiatorKind
from subwright.stages.enclosure_vented import VentedKind

__all__ = ["KINDS"]

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "sealed": SealedKind(),
        "vented": VentedKind(),
        "passive-radiator": PassiveRadiatorKind(),
        "band-pass": BandPassKind(),
    }
)
