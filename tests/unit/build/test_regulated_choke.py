"""The output choke of a regulated converter, against what the solved chain sends through it."""

from __future__ import annotations

from functools import cache
from math import log, pi, sqrt

import pytest

from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.stages.common import Corner, Level
from subwright.stages.converter_choke import OutputChoke

LIBRARY = load_library()
KINDS = ("class_d_full_bridge", "class_d_half_bridge")


@cache
def made(kind: str) -> tuple[Design, OutputChoke]:
    wishes = {
        "name": "choke",
        "supply": {"battery": "lfp", "system": 24},
        "driver": {"part": "Drover 12"},
        "goal": {"power": "150 W", "lowest_note": "32 Hz"},
        "amplifier": {"kind": kind},
        "converter": {"output": "regulated"},
    }
    design = solve_build(BuildSpec.model_validate(wishes), LIBRARY)
    assert design.converter is not None
    assert design.converter.choke is not None
    return design, design.converter.choke


@pytest.mark.parametrize("kind", KINDS)
def test_the_core_holds_the_currents_of_both_windings(kind: str) -> None:
    """Both windings pull the same way: the primary's crest over the turns ratio is what the core sees."""
    design, output = made(kind)
    choke = output.choke
    assert design.transformer is not None
    sums = [
        design.point(corner, Level.FULL).primary_peak_a / design.transformer.ratio
        for corner in (Corner.LOW, Corner.NOMINAL, Corner.MAX)
    ]
    flux = choke.inductance_h * (max(sums) + 0.5 * output.ripple_a) / (choke.turns * choke.core.a_min_m2)
    assert flux <= 1.01 * choke.flux_limit_t
    assert flux == pytest.approx(choke.flux_peak_t, rel=0.1)


@pytest.mark.parametrize("kind", KINDS)
def test_the_gap_counts_its_fringing(kind: str) -> None:
    """Reluctances in series, the gap's divided by McLyman's 1 + g/sqrt(A) ln(2 G/g)."""
    design, output = made(kind)
    assert design.converter is not None
    assert {"erickson2001", "mclyman-handbook"} <= set(design.converter.sources)
    choke, core = output.choke, output.choke.core
    spread = 1.0 + choke.gap_m / sqrt(core.a_e_m2) * log(2.0 * core.winding_width_m / choke.gap_m)
    path = choke.gap_m / spread + core.l_e_m / LIBRARY.materials[core.material].mu_i
    assert choke.inductance_h == pytest.approx(4e-7 * pi * choke.turns**2 * core.a_e_m2 / path, rel=1e-4)
    assert spread > 1.2
