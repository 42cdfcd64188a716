"""The guided start: five questions in plain words, and the build-file keys that their answers become."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.parts.passive import Driver
from subwright.physics.batteries import BatteryKind
from subwright.stages.amplifier_spec import AmplifierKind
from subwright.stages.enclosure_spec import BoxKind

__all__ = ["RADIATOR", "SHEET", "Answers", "answers_to_keys", "guided_choices"]

SHEET: Mapping[str, str] = MappingProxyType(
    {
        "nominal_impedance": "4 ohm",
        "re": "3.4 ohm",
        "fs": "28 Hz",
        "qms": "4.5",
        "qes": "0.42",
        "vas": "60 l",
        "sd": "340 cm2",
        "xmax": "9 mm",
        "power": "200 W",
        "hole": "233 mm",
        "depth": "130 mm",
    }
)
"""What a data sheet usually says: key of the build file → how to write it."""

RADIATOR: Mapping[str, str] = MappingProxyType(
    {
        "radiator_diameter": "210 mm",
        "radiator_mass": "120 g",
        "radiator_resonance": "18 Hz",
        "radiator_frame": "266 mm",
        "radiator_hole": "233 mm",
        "radiator_xmax": "18 mm",
    }
)
"""What must be known of a passive radiator: key of the build file → how to write it."""

_OPTIONAL = frozenset({"radiator_xmax"})

_FIRST_PICKS = (
    ("core", 30),
    ("mosfet", 24),
    ("rectifier", 16),
    ("capacitor", 24),
    ("wire", 16),
    ("controller", 8),
)


class Answers(BaseModel):
    """What the guided start sends; texts with their units, as a person types them."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=80)
    battery: BatteryKind = "lead-acid"
    system: str = Field(default="12", max_length=4)
    capacity: str = Field(default="70 Ah", max_length=20)
    cable: str = Field(default="4 m", max_length=20)
    driver: str = Field(default="", max_length=120)  # empty: by its data sheet
    sheet: dict[str, str] = Field(default_factory=dict, max_length=20)
    count: str = Field(default="1", max_length=2)
    box: BoxKind = "sealed"
    radiator: dict[str, str] = Field(default_factory=dict, max_length=20)
    amplifier: AmplifierKind = "auto"
    width: str = Field(default="", max_length=20)
    height: str = Field(default="", max_length=20)
    depth: str = Field(default="", max_length=20)
    cabin: Literal["none", "cabin"] = "none"
    cabin_length: str = Field(default="", max_length=20)
    loudness: Literal["auto", "watts", "level"] = "auto"
    loud_value: str = Field(default="", max_length=20)
    drawer: str = Field(default="", max_length=120)
    parts: dict[str, int] = Field(default_factory=dict, max_length=200)


def answers_to_keys(answers: Answers) -> dict[str, str]:
    """Dotted key → value as the build file takes it; empty answers are left to their defaults."""
    keys = {
        "name": f'"{_quoted(answers.name)}"',
        "supply.battery": answers.battery,
        "supply.system": answers.system,
        "supply.capacity": answers.capacity,
        "supply.cable_length": answers.cable,
        **_driver(answers),
        "driver.count": answers.count,
        "enclosure.kind": answers.box,
        "enclosure.room_width": answers.width,
        "enclosure.room_height": answers.height,
        "enclosure.room_depth": answers.depth,
    }
    if answers.box == "passive-radiator":
        keys |= _radiator(answers)
    if answers.amplifier != "auto":
        keys["amplifier.kind"] = answers.amplifier
    if answers.cabin == "cabin":
        keys |= {"cabin.kind": "cabin", "cabin.length": answers.cabin_length}
    if answers.loudness == "watts":
        keys["goal.power"] = answers.loud_value
    elif answers.loudness == "level":
        keys["goal.spl"] = answers.loud_value
    return {key: value for key, value in keys.items() if value.strip()}


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


def _driver(answers: Answers) -> dict[str, str]:
    """The driver by its part, or by what its data sheet says."""
    if answers.driver:
        return {"driver.part": f'"{answers.driver}"'}
    strange = set(answers.sheet) - set(SHEET)
    if strange:
        raise SubwrightError(
            message="that is no value of a driver's data sheet", value=", ".join(sorted(strange))
        )
    stated = {f"driver.{key}": value for key, value in answers.sheet.items() if value.strip()}
    return {"driver.name": f'"{_quoted(answers.name)} driver"', **stated} if stated else {}


def _radiator(answers: Answers) -> dict[str, str]:
    """What the passive radiator's data sheet says."""
    stated = {key: value for key, value in answers.radiator.items() if value.strip()}
    strange = set(stated) - set(RADIATOR)
    if strange:
        raise SubwrightError(
            message="that is no value of a passive radiator", value=", ".join(sorted(strange))
        )
    missing = [f"enclosure.{key}" for key in RADIATOR if key not in stated and key not in _OPTIONAL]
    if missing:
        raise SubwrightError(
            message="A passive radiator can't be guessed: its data are needed.",
            quantity=", ".join(missing),
            remedy="Give them from its sheet, or take a sealed or vented box first and change it later.",
        )
    return {f"enclosure.{key}": value for key, value in stated.items()}


def guided_choices() -> dict[str, Any]:
    """What the page offers: the library's drivers, and parts that builders often have at hand."""
    drivers = [(row.id, row.description, _brief(row.record)) for row in service.list_parts("driver")]
    picks = [(kind, service.list_parts(kind)[:most]) for kind, most in _FIRST_PICKS]
    return {
        "drivers": drivers,
        "picks": picks,
        "sheet": SHEET,
        "radiator": RADIATOR,
        "optional": _OPTIONAL,
        "batteries": get_args(BatteryKind),
        "boxes": get_args(BoxKind),
        "amplifiers": get_args(AmplifierKind),
    }


def _brief(record: object) -> str:
    if not isinstance(record, Driver):
        return ""
    facts = []
    if record.nominal_diameter_m:
        facts.append(show(record.nominal_diameter_m, "length"))
    if record.power_w:
        facts.append(show(record.power_w, "power"))
    if record.impedance_ohm:
        facts.append(show(record.impedance_ohm, "resistance"))
    return " · ".join(facts)
