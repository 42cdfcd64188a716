"""A switch one class up where the least one leaves no transformer of whole turns."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from subwright.base.errors import NoSolutionError
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.stages.common import Corner, Level

LIBRARY = load_library()


def wishes(**amplifier: Any) -> BuildSpec:
    return BuildSpec.model_validate(
        {
            "format_version": 1,
            "name": "heath lorry",
            "supply": {"battery": "lead-acid", "system": 12, "cable_length": "4 m"},
            "driver": {"part": "Moraine 15"},
            "goal": {"crest_factor": "9 dB"},
            "amplifier": amplifier,
        }
    )


@cache
def free() -> Design:
    return solve_build(wishes(), LIBRARY)


def test_a_free_choice_finds_a_switch_that_leaves_room() -> None:
    design = free()
    assert design.amplifier.power_target_w is not None
    full = design.point(Corner.NOMINAL, Level.FULL)
    assert full.output_w >= 0.98 * design.amplifier.power_target_w
    rated_v = LIBRARY.mosfet(design.amplifier.switch_id).vds_v
    assert f"rated {rated_v:.0f} V there is" in design.amplifier.reasons[-1]
    assert design.converter is not None
    assert design.converter.rail_unloaded_v <= design.amplifier.rail_max_v


def test_a_stated_switch_is_kept_and_refused_with_what_would_have_to_change() -> None:
    below_v = max(
        m.vds_v
        for m in LIBRARY.mosfets.values()
        if m.vds_v < LIBRARY.mosfet(free().amplifier.switch_id).vds_v and m.channel == "n"
    )
    weaker = next(m.id for m in LIBRARY.mosfets.values() if m.vds_v == below_v and m.id_a > 40.0)
    with pytest.raises(NoSolutionError) as refused:
        solve_build(wishes(mosfet=weaker), LIBRARY)
    assert refused.value.code in ("CNV-02", "MAG-19")
    assert refused.value.remedy


def test_a_narrowed_library_keeps_all_but_weaker_switches() -> None:
    narrowed = LIBRARY.with_mosfets_from(150.0)
    assert narrowed.mosfets.keys() == {k for k, m in LIBRARY.mosfets.items() if m.vds_v >= 150.0}
    assert narrowed.cores == LIBRARY.cores
