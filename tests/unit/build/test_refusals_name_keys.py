"""Refusals name the key of the build file that would have to change, and no formula's range instead."""

from __future__ import annotations

import re
from typing import Any

import pytest

from subwright.base.errors import SubwrightError
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library

LIBRARY = load_library()
SECTIONS = "|".join(name for name in BuildSpec.model_fields if name not in ("format_version", "name", "note"))
KEY = re.compile(rf"\b({SECTIONS})\.[a-z_]+")
HOT = {"battery": "lfp", "system": 24, "ambient_max": "65 °C"}

CASES: tuple[tuple[str, dict[str, Any], str], ...] = (
    (
        "plate",
        {
            "goal": {"power": "120 W"},
            "amplifier": {"kind": "class_ab"},
            "heat": {"heatsink": "plate"},
            "supply": {"system": 24},
        },
        "heat.heatsink",
    ),
    (
        "cable",
        {"goal": {"power": "150 W"}, "supply": {"cable_length": "60 ft", "max_drop": "0.5 %"}},
        "supply.max_drop",
    ),
    (
        "a group of a quarter of an ohm",
        {"driver": {"part": "Drover 12 D2", "count": 4, "compound": "parallel"}, "goal": {"power": "20 W"}},
        "driver.connection",
    ),
    (
        "op-amps on the battery that would have to swing beyond it",
        {
            "driver": {"part": "Fell 12"},
            "goal": {"power": "30 W", "lowest_note": "50 Hz"},
            "amplifier": {"kind": "bridge_class_h"},
            "filter": {"transform": "20 Hz"},
        },
        "amplifier.full_input",
    ),
    (
        "a transformer hotter than any ferrite's data",
        {"supply": HOT, "goal": {"power": "100 W"}, "transformer": {"max_rise": "85 K"}},
        "transformer.max_rise",
    ),
    (
        "no core keeps the rise, and a larger one would leave the data",
        {
            "driver": {"part": "Drover 12 D2"},
            "enclosure": {"kind": "vented"},
            "supply": {**HOT, "cable_length": "1.28 m"},
            "goal": {"spl": "118 dB", "lowest_note": "40 Hz", "crest_factor": "15 dB"},
            "amplifier": {"modulator": "self-oscillating"},
            "converter": {"topology": "push-pull", "switching": "70 kHz"},
            "transformer": {"rise_basis": "full"},
        },
        "goal.power",
    ),
)


@pytest.mark.parametrize(("wishes", "key"), [row[1:] for row in CASES], ids=[row[0] for row in CASES])
def test_a_refusal_names_a_key_that_exists(wishes: dict[str, Any], key: str) -> None:
    spec = BuildSpec.model_validate({"name": "refused", "driver": {"part": "Drover 12"}, **wishes})
    with pytest.raises(SubwrightError) as refusal:
        solve_build(spec, LIBRARY)
    error = refusal.value
    assert "formula" not in error.message, error
    assert error.remedy, error
    assert key in error.remedy, error
    for found in KEY.finditer(error.remedy):
        section, name = found.group(0).split(".")
        model = BuildSpec.model_fields[section].annotation
        assert model is not None
        aliases = {field.alias or title for title, field in model.model_fields.items()}
        assert name in aliases, (found.group(0), error.remedy)
