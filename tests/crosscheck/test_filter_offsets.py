"""Steady voltage behind each block of the filter: every offset and bias current by itself, all added up."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from subwright import service
from subwright.build.result import Design
from subwright.parts.library import load_library
from subwright.parts.schema import OpAmp
from subwright.physics.networks.nodal import GROUND, Network
from subwright.stages.filter_network import AmplifierModel, chain_network
from subwright.stages.filter_offset import offsets_v

EXAMPLES = Path(__file__).parents[2] / "examples"
BUILDS: dict[str, tuple[str, dict[str, Any]]] = {
    "unity gain": ("canal-workboat", {}),
    "equal parts": ("canal-workboat", {"topology": "equal"}),
    "multiple feedback, phase control": (
        "storyteller-van",
        {"topology": "multiple-feedback", "phase_control": True},
    ),
    "swept state-variable": (
        "storyteller-van",
        {
            "topology": "state-variable",
            "sweep_low_hz": 50.0,
            "sweep_high_hz": 150.0,
            "boost_db": 6.0,
            "transform_hz": 35.0,
            "sensitivity_most_v": 2.0,
        },
    ),
}
_HERTZ = 1e-4  # steady for every coupling capacitor


@cache
def made(name: str) -> Design:
    example, wishes = BUILDS[name]
    spec = service.open_build(EXAMPLES / f"{example}.build.toml").spec
    spec = spec.model_copy(update={"filter": spec.filter.model_copy(update=wishes)})
    return service.solve(spec, folder=EXAMPLES).design


def _added_up(design: Design, op_amp: OpAmp) -> list[float]:
    blocks = design.filter.blocks
    whole, _ = chain_network(blocks, AmplifierModel(gbw_hz=op_amp.gbw_hz))
    total = np.zeros(len(blocks))

    def reached(moved: str, *, plus: bool) -> np.ndarray:
        """With one amplifier's offset, or with a current into one of its inputs, and no signal."""
        network = Network(elements=[e for e in whole.elements if e.name != "signal"])
        network.source("in", 1e-30, name="signal")
        if plus:
            k = next(k for k, e in enumerate(network.elements) if e.name == moved)
            old = network.elements[k]
            network.elements[k] = type(old)(
                kind="A", name=moved, nodes=("apart", *old.nodes[1:]), value=old.value
            )
            network.source("apart", 1.0, old.nodes[0], name="offset")
        else:
            network.current(moved, 1.0, name="bias")
        solved = network.solve(np.array([_HERTZ]))
        return np.array([abs(solved.at(f"{block.name} out")[0]) for block in blocks])

    for amplifier in (e for e in whole.elements if e.kind == "A"):
        total += op_amp.vos_v * reached(amplifier.name, plus=True)
        for pin in amplifier.nodes[:2]:
            if pin != GROUND:
                total += op_amp.ib_a * reached(pin, plus=False)
    return [float(v) for v in total]


@pytest.mark.parametrize("op_amp", ["NE5532", "TL074"])
@pytest.mark.parametrize("name", BUILDS)
def test_bounds_are_every_offset_and_bias_current_added_up(name: str, op_amp: str) -> None:
    """The whole network, moved at one place at a time; a bound that is too low tells nobody anything."""
    design, record = made(name), load_library().op_amp(op_amp)
    blocks = design.filter.blocks
    active = [k for k, block in enumerate(blocks) if block.op_amps]
    closed, found = offsets_v(blocks, record), _added_up(design, record)
    assert [closed[k] for k in active] == pytest.approx([found[k] for k in active], rel=2e-4)
    assert [closed[k] for k in range(len(blocks)) if k not in active] == [0.0]
    own = offsets_v(blocks, load_library().op_amp(design.filter.op_amp))
    assert design.filter.levels.offset_v == pytest.approx(own[active[-1]], rel=1e-9)
