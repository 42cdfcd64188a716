"""What a stage's sheet lets you change: its tables of the build file, the keys that come first, its parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.session import BuildSession, Input

__all__ = ["PARTS", "STAGES", "StageInputs", "inputs_of", "sheet_keys"]

STAGES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "supply": (
            ("supply",),
            ("battery", "system", "capacity", "cable_length", "section", "fuse", "low", "return_path"),
        ),
        "wiring": (("wiring",), ("speaker_length", "speaker_section", "track_limit", "link_length")),
        "converter": (
            ("converter",),
            ("switching", "mosfet", "rectifier", "rail", "controller", "reservoir"),
        ),
        "transformer": (
            ("transformer",),
            ("core", "stack", "primary_turns", "secondary_turns", "primary_wire", "max_rise"),
        ),
        "protection": (
            ("protection",),
            ("under_voltage_trip", "under_voltage_release", "over_voltage_trip", "thermal_trip"),
        ),
        "filter": (("filter",), ("corner", "order", "alignment", "infrasonic_filter", "sensitivity")),
        "amplifier": (("amplifier",), ("kind", "load", "switching", "mosfet")),
        "heat": (("heat",), ("heatsink", "basis", "air_rise", "plate_finish")),
        "driver": (("driver",), ("part", "count", "connection")),
        "enclosure": (
            ("enclosure",),
            ("kind", "volume", "room_width", "room_height", "room_depth", "qtc", "tuning", "panel_thickness"),
        ),
        "air": (("goal", "cabin"), ("power", "spl", "lowest_note", "crest_factor", "kind", "length")),
        "build": (("",), ("name", "note", "drawer")),
    }
)
"""Sheet → (tables of the build file, keys shown before the others)."""

PARTS: Mapping[str, str] = MappingProxyType(
    {
        "amplifier.mosfet": "mosfet",
        "converter.controller": "controller",
        "converter.mosfet": "mosfet",
        "converter.rectifier": "rectifier",
        "converter.input_capacitor": "capacitor",
        "converter.reservoir_capacitor": "capacitor",
        "driver.part": "driver",
        "filter.op_amp": "op_amp",
        "heat.heatsink": "heatsink",
        "protection.comparator": "comparator",
        "protection.ntc": "ntc",
        "protection.shunt_reference": "reference",
        "transformer.core": "core",
        "transformer.material": "material",
        "transformer.primary_wire": "wire",
        "transformer.secondary_wire": "wire",
    }
)
"""Keys that name a part → its kind in the library."""

_HIDDEN = frozenset({"format_version"})


@dataclass(frozen=True, kw_only=True, slots=True)
class StageInputs:
    """The inputs of one sheet: those in sight, and those folded away."""

    first: tuple[Input, ...]
    more: tuple[Input, ...]


def sheet_keys(sheets: Iterable[str]) -> tuple[str, ...]:
    """Every sheet that can be opened: the stages', and those of what is asked of the build."""
    return tuple(dict.fromkeys((*STAGES, *sheets)))


def inputs_of(session: BuildSession, stage: str) -> StageInputs:
    """The inputs of a stage's sheet; what the file says stands in sight."""
    tables, wanted = STAGES.get(stage, ((stage,), ()))
    found = [item for table in tables for item in session.inputs(table) if item.entry.key not in _HIDDEN]
    order = {key: i for i, key in enumerate(wanted)}
    first = [item for item in found if item.entry.key in order or item.given]
    first.sort(key=lambda item: order.get(item.entry.key, len(order)))
    names = {item.key for item in first}
    return StageInputs(first=tuple(first), more=tuple(item for item in found if item.key not in names))
