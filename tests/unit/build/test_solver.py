"""The order of the stages: contradictions are refused before anything is solved."""

from __future__ import annotations

from pathlib import Path

import pytest

from subwright.base.errors import NoSolutionError
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.service import open_build

EXAMPLES = sorted((Path(__file__).parents[3] / "examples").glob("*.build.toml"))


def test_a_low_pass_below_the_lowest_note_is_refused() -> None:
    """Seen with a spoilt build file: nothing was left of the pass band to read a level from."""
    spec = BuildSpec.model_validate(
        {
            "format_version": 1,
            "name": "upside down",
            "driver": {"part": "Harbour 10"},
            "filter": {"corner": "35 Hz"},
            "goal": {"lowest_note": "40 Hz"},
        }
    )
    with pytest.raises(NoSolutionError, match="lowest note") as caught:
        solve_build(spec, load_library())
    assert "filter.corner" in caught.value.remedy


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.split(".")[0])
def test_the_rounds_come_to_rest(path: Path) -> None:
    """Two heatsinks at their limit took turns: the cooler one made the hotter one serve again."""
    spec = open_build(path).spec
    for share in (0.97, 1.0, 1.03):
        power_w = share * (spec.goal.power_w or 0.0)
        goal = spec.goal.model_copy(update={"power_w": power_w})
        design = solve_build(spec.model_copy(update={"goal": goal, "drawer": None}), load_library())
        assert design.rounds <= 12
        assert design.heat is not None
        assert design.heat.sink_c[design.heat.basis] <= design.heat.sink_limit_c + 1e-6
