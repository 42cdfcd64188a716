"""A tapped secondary in the simulator: the tap's voltage is its share of the turns, and the rails stay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.simulate import Engine, simulate
from subwright.outputs.schematic_blocks import blocks
from subwright.service.solved import library_for

pytestmark = pytest.mark.spice

EXAMPLES = Path(__file__).parents[2] / "examples"


def test_a_tap_gives_its_share_of_the_turns(reference_engine: Engine) -> None:
    spec = service.open_build(EXAMPLES / "storyteller-van.build.toml").spec
    spec = spec.model_copy(update={"amplifier": spec.amplifier.model_copy(update={"kind": "class_g"})})
    design = service.solve(spec, folder=EXAMPLES).design
    transformer = design.transformer
    assert transformer is not None
    block = next(
        block for block in blocks(design, library_for(spec, EXAMPLES))[0] if block.key == "converter"
    )
    run = block.analysis
    assert isinstance(run, Transient)
    period_s = run.stop_s / 200.0
    shorter = replace(run, stop_s=60.0 * period_s, keep_from_s=50.0 * period_s)
    nets = ("rail_positive", "rail_negative", "tap_a", "tap_b", "second_a", "second_b")
    traces = simulate(block.circuit, shorter, [Voltage(net) for net in nets], reference_engine)

    def size(net: str) -> float:
        return float(np.sqrt(np.mean(traces.voltage(net) ** 2)))

    share = transformer.tap_turns / transformer.secondary_turns
    for leg in "ab":
        assert size(f"tap_{leg}") / size(f"second_{leg}") == pytest.approx(share, rel=2e-3)
    for net in ("rail_positive", "rail_negative"):
        point = next(point for point in block.circuit.test_points if point.net == net)
        reading = next(reading for reading in point.readings if reading.at == "nominal battery, full sine")
        assert float(np.mean(traces.voltage(net))) == pytest.approx(reading.dc_v, rel=0.01)
