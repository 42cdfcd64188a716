"""The box search for a whole design: with its drive, its amplifier's resistance and its lowest note."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.base.units import show
from subwright.build.result import Design
from subwright.stages.enclosure import EnclosureNeed
from subwright.stages.enclosure_radiators import StockRadiator
from subwright.stages.enclosure_search import BoxChoice, BoxSearch, search_boxes

__all__ = ["keys_of", "search_for"]


def search_for(design: Design, *, most: int = 12) -> BoxSearch:
    """Search the boxes that would do for a design.

    Parameters
    ----------
    design : a solved build; its electrical side stays as it is.
    most : boxes to return.

    Raises
    ------
    NoSolutionError : no box in the room does.

    Source
    ------
    [small-1973-vented]
    """
    box = design.enclosure
    need = EnclosureNeed(
        drive_v=box.full_drive_v,
        source_ohm=box.source_ohm,
        lowest_note_hz=box.lowest_note_hz,
        upper_hz=box.upper_hz,
        crest_factor_db=box.limits_crest_db,
    )
    return search_boxes(design.spec.enclosure, design.driver, need, most=most)


def keys_of(choice: BoxChoice) -> Mapping[str, str]:
    """Build-file keys that make a design of a chosen box, each with its value as text."""
    keys = {
        "enclosure.kind": choice.kind,
        "enclosure.volume": show(choice.net_volume_m3, "volume", 4),
        "enclosure.qtc": "auto",
        "enclosure.tuning": "auto",
    }
    keys["enclosure.alignment"] = "auto"
    if choice.qtc is not None and choice.band_damping is not None:
        keys["enclosure.volume"] = "auto"
        keys["enclosure.qtc"] = f"{choice.qtc:.4f}"
        keys["enclosure.band_damping"] = f"{choice.band_damping:.4f}"
    if choice.tuning_hz is not None and choice.port_diameter_m is not None:
        if choice.qtc is None:
            keys["enclosure.tuning"] = show(choice.tuning_hz, "frequency", 4)
        keys["enclosure.port_kind"] = "round"
        keys["enclosure.port_diameter"] = show(choice.port_diameter_m, "length", 4)
        keys["enclosure.port_count"] = str(choice.port_count)
    if choice.radiator is not None and choice.tuning_hz is not None:
        keys["enclosure.tuning"] = show(choice.tuning_hz, "frequency", 4)
        keys |= _radiator_keys(choice.radiator)
        keys["enclosure.radiator_count"] = str(choice.radiator_count)
    return keys


def _radiator_keys(unit: StockRadiator) -> dict[str, str]:
    keys = {
        "diameter": show(unit.diameter_m, "length", 4),
        "mass": show(unit.mass_kg, "mass", 4),
        "resonance": show(unit.resonance_hz, "frequency", 4),
        "q": f"{unit.q:.4g}",
        "xmax": "auto" if unit.xmax_m is None else show(unit.xmax_m, "length", 4),
        "frame": show(unit.frame_m, "length", 4),
        "hole": show(unit.hole_m, "length", 4),
        "depth": "auto" if unit.depth_m is None else show(unit.depth_m, "length", 4),
    }
    return {f"enclosure.radiator_{name}": value for name, value in keys.items()}
