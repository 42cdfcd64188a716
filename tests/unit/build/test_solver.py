"""The order of the stages: contradictions are refused before anything is solved."""

from __future__ import annotations

import pytest

from subwright.base.errors import NoSolutionError
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library


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
