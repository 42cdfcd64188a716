"""What a stage's sheet lets you change: its tables of the build file, the keys that come first, its parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.base.quantities import dimension_of
from subwright.base.units import show
from subwright.build.result import Design
from subwright.session import BuildSession, Input

__all__ = ["PARTS", "STAGES", "StageInputs", "chosen", "inputs_of", "sheet_keys"]

STAGES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "supply": (
            ("supply",),
            ("battery", "system", "capacity", "cable_length", "section", "fuse", "low", "return_path"),
        ),
        "wiring": (("wiring", "board"), ("speaker_length", "speaker_section", "track_limit", "link_length")),
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

_BORROWED: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = MappingProxyType(
    {
        "boost": (
            ("converter",),
            ("topology", "rail", "switching", "ripple", "choke_core", "mosfet", "rectifier", "disconnect"),
        ),
    }
)
"""The same for sheets that some builds have, and that share another sheet's table."""

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

_TAKEN: Mapping[str, str] = MappingProxyType(
    {
        "amplifier.dead_time": "modulator.dead_time_wanted_s",
        "amplifier.inductor_core": "inductor.core_id",
        "amplifier.load": "load_ohm",
        "amplifier.mosfet": "switch_id",
        "amplifier.op_amp": "modulator.op_amp_id",
        "battery_guard.clamp": "clamp.suppressor",
        "battery_guard.reverse_mosfet": "reverse.mosfet",
        "battery_guard.reverse_mosfets": "reverse.count",
        "converter.choke_core": "plan.choke.core",
        "converter.controller": "plan.controller",
        "converter.dead_time": "plan.timing.dead_time_target_s",
        "converter.input_capacitor": "input_bank.capacitor",
        "converter.mosfet": "plan.switch.mosfet",
        "converter.rectifier": "plan.rectifier.rectifier",
        "converter.reservoir_capacitor": "reservoir_bank.capacitor",
        "enclosure.port_diameter": "port.diameter_m",
        "enclosure.volume": "net_volume_m3",
        "heat.heatsink": "sink_id",
        "protection.over_voltage_release": "thresholds.over-voltage release.target",
        "protection.over_voltage_trip": "thresholds.over-voltage trip.target",
        "protection.under_voltage_release": "thresholds.under-voltage release.target",
        "protection.under_voltage_trip": "thresholds.under-voltage trip.target",
        "speaker_guard.mosfet": "switch.mosfet",
        "supply.charging": "corners.charging",
        "supply.low": "corners.low",
        "supply.max": "corners.max",
        "supply.min": "corners.min",
        "supply.nominal": "corners.nominal",
        "transformer.primary_strands": "primary.strands",
        "transformer.primary_wire": "primary.wire",
        "transformer.secondary_strands": "secondary.strands",
        "transformer.secondary_wire": "secondary.wire",
        "wiring.speaker_section": "speaker.section_m2",
    }
)
"""Key → where its stage's result says what was taken, where that is not the spec's own field name."""

_UNSAID = ("auto", "", "none")

_HIDDEN = frozenset({"format_version"})

_ORDER = (
    *("supply", "wiring", "battery_guard", "control", "converter", "boost", "transformer", "protection"),
    *("input", "signal", "filter", "amplifier", "speaker_guard", "heat", "driver", "enclosure", "air"),
)
"""How sheets are listed: along the power's way, what a build is asked for last."""


@dataclass(frozen=True, kw_only=True, slots=True)
class StageInputs:
    """The inputs of one sheet: those in sight, and those folded away."""

    first: tuple[Input, ...]
    more: tuple[Input, ...]


def sheet_keys(sheets: Iterable[str]) -> tuple[str, ...]:
    """Every sheet that can be opened, along the power's way: the stages', and those of what is asked."""
    place = {key: i for i, key in enumerate(_ORDER)}
    return tuple(sorted(dict.fromkeys((*STAGES, *sheets)), key=lambda key: place.get(key, len(place))))


def inputs_of(session: BuildSession, stage: str) -> StageInputs:
    """The inputs of a stage's sheet; what the file says stands in sight."""
    tables, wanted = STAGES.get(stage) or _BORROWED.get(stage, ((stage,), ()))
    found = [item for table in tables for item in session.inputs(table) if item.entry.key not in _HIDDEN]
    order = {key: i for i, key in enumerate(wanted)}
    first = [item for item in found if item.entry.key in order or item.given]
    first.sort(key=lambda item: order.get(item.entry.key, len(order)))
    names = {item.key for item in first}
    return StageInputs(first=tuple(first), more=tuple(item for item in found if item.key not in names))


def _within(value: object, step: str) -> object:
    """One step into a result: a field, or what a mapping holds under a name or an enum's value."""
    if isinstance(value, Mapping):
        return next((held for key, held in value.items() if getattr(key, "value", key) == step), None)
    return getattr(value, step, None)


def chosen(design: Design, item: Input) -> str:
    """What the design took where the file leaves a key open; "" where its result does not say."""
    if len(item.entry.loc) != 2 or (item.given and item.text not in _UNSAID):
        return ""
    table, key = (str(part) for part in item.entry.loc)
    spec, result = getattr(design.spec, table, None), getattr(design, table, None)
    if table == "converter" and result is None:
        result = design.boost
    if spec is None or result is None:
        return ""
    fields = type(spec).model_fields
    name = next((n for n, info in fields.items() if (info.alias or n) == key), key)
    value: object = result
    for step in _TAKEN.get(item.key, name).split("."):
        value = _within(value, step)
    if isinstance(value, bool) or value is None:
        return ""
    if isinstance(value, int | float):
        return show(value, dimension_of(name)) if isinstance(value, float) else str(value)
    found = getattr(value, "id", value)
    return found if isinstance(found, str) and found not in _UNSAID else ""
