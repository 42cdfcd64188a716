"""Whole builds whose modulator breaks a rule by what the builder wishes, and builds on every supply."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest

from subwright import service
from subwright.base.errors import NoSolutionError
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[3] / "examples"
LIBRARY = load_library()


@cache
def _opened(name: str) -> BuildSpec:
    return service.open_build(EXAMPLES / f"{name}.build.toml").spec.model_copy(update={"drawer": None})


def built(name: str = "storyteller-van", **wishes: Any) -> Design:
    spec = _opened(name)
    amplifier = type(spec.amplifier).model_validate(
        {**spec.amplifier.model_dump(exclude_unset=True, by_alias=True), **wishes}
    )
    return solve_build(spec.model_copy(update={"amplifier": amplifier}), LIBRARY)


def broken(design: Design, code: str) -> bool:
    found = [f for f in design.findings if f.code == code]
    assert found, f"{code} says nothing"
    return any(f.margin < 0 for f in found)


@pytest.mark.parametrize(
    ("code", "wishes"),
    [
        ("MOD-01", {"dead_time": "15 ns"}),
        ("MOD-02", {"op_amp": "NE5532", "full_input": "0.3 V"}),
        ("MOD-04", {"gate_supply": "9 V"}),
        ("MOD-06", {"gate_drive": "4 A"}),
    ],
)
def test_a_wish_breaks_the_rule_and_the_example_keeps_it(code: str, wishes: dict[str, str]) -> None:
    assert not broken(built(), code)
    assert broken(built(**wishes), code)


def test_a_stated_modulation_may_be_more_than_the_pulses_leave() -> None:
    assert not [f for f in built().findings if f.code == "MOD-03"]  # auto follows the pulse
    assert not broken(built(modulation_max="95 %"), "MOD-03")
    assert broken(built(modulation_max="98 %"), "MOD-03")


def test_a_loop_that_cannot_switch_that_fast_is_refused_with_the_limit() -> None:
    with pytest.raises(NoSolutionError) as refused:
        built("cargo-bike-cinema", modulator="self-oscillating", switching="800 kHz", inductor_core="bought")
    assert refused.value.quantity == "amplifier.switching"
    assert "at most" in (refused.value.limit or "")


@pytest.mark.parametrize("name", ["storyteller-van", "canal-workboat", "cargo-bike-cinema", "harvest-wagon"])
@pytest.mark.parametrize("form", ["clocked", "self-oscillating"])
def test_every_example_has_a_modulator_that_keeps_all_rules(name: str, form: str) -> None:
    design = built(name, modulator=form)
    m = design.amplifier.modulator
    assert m is not None
    assert m.form == form
    assert not [f.message for f in design.findings if f.code.startswith("MOD") and f.margin < 0]
    # designed on the rails that the chain gives
    point = design.point(Corner.NOMINAL, Level.FULL)
    assert m.rail_nominal_v == pytest.approx(point.rail_crest_v, rel=1e-9)
    assert m.rail_low_v <= m.rail_nominal_v <= m.rail_high_v
    roles = [p.role for p in design.amplifier.parts]
    assert len(roles) == len(set(roles))


@pytest.mark.parametrize("name", ["storyteller-van", "canal-workboat", "cargo-bike-cinema", "harvest-wagon"])
def test_the_loss_model_draws_what_the_modulator_draws(name: str) -> None:
    """The model is asked before rails settle; what it takes must be that of the finished circuit."""
    amplifier = built(name).amplifier
    m, model = amplifier.modulator, amplifier.model
    assert m is not None
    rail = m.rail_nominal_v
    losses = {k: float(w) for k, w in model.losses_w(0.0, 0.0, rail).items()}
    bus = float(model.bus_v(rail))
    assert losses["control circuits"] == pytest.approx(m.supply_a * bus, rel=0.08)
    gates_a = 2 * model.legs * LIBRARY.mosfets[amplifier.switch_id].qg_coul * m.gate_supply_v / 10.0
    gates_a *= model.switching_hz
    through = {"ground": rail, "rail_positive": rail, "control": model.gate_feed_v}[m.driver_supply_from]
    spent = losses["gate drive"] + losses["gate supply regulator"]
    assert spent == pytest.approx(gates_a * through, rel=0.05)


def test_class_ab_has_none() -> None:
    assert built("cargo-bike-cinema", kind="bridge_class_ab").amplifier.modulator is None
