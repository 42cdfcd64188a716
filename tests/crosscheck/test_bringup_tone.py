"""The sine of the first power-up against inputs, filter and amplifier gone through part by part."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from subwright import service
from subwright.build.bringup import bring_up
from subwright.build.bringup_tone import bring_up_tone
from subwright.build.result import Design
from subwright.parts.library import Library
from subwright.physics.networks.nodal import Network
from subwright.service.solved import library_for
from subwright.stages.filter_network import AmplifierModel, chain_network

EXAMPLES = Path(__file__).parents[2] / "examples"
BUILDS: dict[str, tuple[str, dict[str, Any]]] = {
    "flat": ("cargo-bike-cinema", {}),
    "infrasonic corner near the tone": ("canal-workboat", {}),
    "boosted by 6 dB": ("storyteller-van", {"boost_db": 6.0, "boost_peak_hz": 30.0}),
    "box transform": ("storyteller-van", {"transform_hz": 30.0, "level_control": False}),
}


@cache
def made(name: str) -> tuple[Design, Library]:
    example, wishes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    spec = spec.model_copy(update={"filter": spec.filter.model_copy(update=wishes)})
    return service.solve(spec, folder=EXAMPLES).design, library_for(spec, EXAMPLES)


@pytest.mark.parametrize("name", BUILDS)
def test_the_output_s_level_is_what_the_whole_network_makes_of_the_input_s(name: str) -> None:
    """Network of the blocks, receiver's loss and amplifier's gain; not the response's own maximum."""
    design, library = made(name)
    tone = bring_up_tone(design)
    gbw_hz = library.op_amp(design.filter.op_amp).gbw_hz
    network, out = chain_network(design.filter.blocks, AmplifierModel(gbw_hz=gbw_hz))
    assert isinstance(network, Network)
    through = float(np.abs(network.solve(tone.hertz).at(out))[0])
    wanted = tone.input_v * design.input.gain * through * design.amplifier.voltage_gain
    reading = bring_up(design, library).reading("output-level")
    assert reading is not None
    assert reading.expected == pytest.approx(wanted, rel=5e-3)
