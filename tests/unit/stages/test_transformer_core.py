"""An unmarked core from the bench into a design: identity, plans, notes of the checks, and their effect."""

from __future__ import annotations

from dataclasses import replace

import pytest
from transformer_parts import MADE_UP

from subwright.base.errors import NoSolutionError, RangeError
from subwright.parts.cores import complete_core
from subwright.parts.library import load_library
from subwright.parts.schema import Core, Provenance
from subwright.physics.cores import al_from_permeability, ring
from subwright.stages.common import Corner
from subwright.stages.transformer import TransformerNeed, TransformerSpec, design_transformer
from subwright.stages.transformer_core import CoreReadings, identify_core
from subwright.stages.transformer_core_check import read_heat, read_pulse
from subwright.stages.transformer_core_plan import BenchSupply
from subwright.stages.transformer_tables import FLUX_DERATING, core_table

LIBRARY = load_library()
SUPPLY = BenchSupply()
NEED = TransformerNeed(
    switching_hz=50e3,
    v_primary_max_v=15.5,
    duty=0.92,
    ratio_min=3.0,
    ratio_max=3.8,
    ratio_target=3.3,
    primary_rms_a=12.0,
    secondary_rms_a=3.8,
    ambient_c=50.0,
    programme_mean_square=0.3,
    corner_v={Corner.NOMINAL: 12.2, Corner.CHARGING: 14.0},
)


def readings(mu: float, turns: tuple[int, ...] = (5, 10), coating_m: float = 0.3e-3) -> CoreReadings:
    """What a 41.5 × 26 × 13 mm ring of that permeability reads."""
    al = al_from_permeability(mu, ring(41.5e-3, 26e-3, 13e-3).c1_per_m)
    return CoreReadings(
        outer_m=41.5e-3 + 2 * coating_m,
        inner_m=26e-3 - 2 * coating_m,
        height_m=13e-3 + 2 * coating_m,
        coating_m=coating_m,
        turns=turns,
        inductance_h=tuple(al * n * n for n in turns),
    )


def own_core(**values: object) -> Core:
    """A measured ring as a drawer makes it."""
    raw = {"shape": "ring", "outer_m": 41.5e-3, "inner_m": 26e-3, "height_m": 13e-3, "coating_m": 0.3e-3}
    full = complete_core(raw, lambda key, sentence: None)
    assert full is not None
    provenance = Provenance(document="measured", condition="bench", kind="measured")
    core = Core(id="grey ring", description="grey ring", provenance=provenance, material="unmarked", **full)
    return replace(core, **values)  # type: ignore[arg-type]


class Drawer:
    """The library with one core put in the drawer."""

    def __init__(self, core: Core, at_hand: int = 2) -> None:
        self.at_hand = at_hand
        self.cores, self.materials, self.wires = {core.id: core}, LIBRARY.materials, LIBRARY.wires
        self.core, self.material, self.wire = self.cores.__getitem__, LIBRARY.material, LIBRARY.wire

    def in_drawer(self, part_id: str) -> int:
        return self.at_hand if part_id in self.cores else 0


def test_a_power_ferrite_gets_plans_and_a_derated_record() -> None:
    identity = identify_core(readings(2200), SUPPLY, LIBRARY, name="grey ring")
    assert identity.verdict.family == "power ferrite"
    assert identity.permeability == pytest.approx(2200, rel=1e-3)
    record = dict(identity.record)
    assert record["material"] == "unmarked"
    assert record["source"].startswith("measured")
    assert record["outer"] == "41.5 mm"
    assert identity.flux_peak_t == pytest.approx(FLUX_DERATING * 0.24 / 2)
    assert identity.flux_checked_t > 1.4 * identity.flux_peak_t
    assert identity.pulse is not None
    assert identity.heat is not None
    assert identity.pulse.cautions


@pytest.mark.parametrize(("mu", "word"), [(75, "iron powder"), (10000, "high permeability"), (125, "alloy")])
def test_other_materials_are_refused_with_the_reason(mu: float, word: str) -> None:
    identity = identify_core(readings(mu, (20, 40)), SUPPLY, LIBRARY)
    assert word in identity.verdict.family
    assert not identity.verdict.serves
    assert identity.record == ()
    assert identity.pulse is None
    assert any(identity.verdict.why in said for said in identity.reasons)


def test_pulse_plan_keeps_the_limits_of_the_supply() -> None:
    for limit in (0.5, 2.0, 20.0):
        supply = BenchSupply(volts_v=12.0, limit_a=limit, loop_ohm=0.05)
        plan = identify_core(readings(2200), supply, LIBRARY).pulse
        assert plan is not None
        assert plan.stop_a <= limit * 1.05
        assert plan.rows[0].time_s >= 4e-6
        for row in plan.rows:
            assert row.volt_seconds == pytest.approx(
                row.flux_t * plan.turns * ring(41.5e-3, 26e-3, 13e-3).a_min_m2
            )
            assert row.current_low_a < row.current_high_a
            assert row.current_high_a * supply.loop_ohm <= 0.105 * supply.volts_v
    weak = identify_core(readings(2200), BenchSupply(limit_a=0.5), LIBRARY).pulse
    assert weak is not None
    assert weak.turns > 10
    assert "Wind" in weak.steps[0]


def test_a_pulse_proves_no_more_than_is_sure() -> None:
    core = own_core()
    time = 0.40 * 10 * core.a_min_m2 / 11.8
    reading = read_pulse(core, LIBRARY, turns=10, volts_v=12.0, drop_v=0.2, time_s=time)
    assert reading.flux_t == pytest.approx(0.40, rel=1e-9)
    assert reading.checked_t == pytest.approx(reading.flux_t - 2 * reading.uncertainty_t)
    assert 0.6 * reading.checked_t < reading.saturation_t < 0.85 * reading.checked_t
    hot = read_pulse(core, LIBRARY, turns=10, volts_v=12.0, drop_v=0.2, time_s=time, core_c=100.0)
    assert hot.saturation_t == pytest.approx(hot.checked_t)


def test_a_core_that_bends_early_is_called_out() -> None:
    core = own_core()
    time = 0.25 * 10 * core.a_min_m2 / 12.0
    reading = read_pulse(core, LIBRARY, turns=10, volts_v=12.0, time_s=time)
    assert any("another material" in said for said in reading.reasons)
    with pytest.raises(RangeError):
        read_pulse(core, LIBRARY, turns=10, volts_v=12.0, time_s=time * 10)


def test_heat_reading_is_the_ratio_to_the_grade() -> None:
    core = own_core()
    first = read_heat(
        core, LIBRARY, frequency_hz=50e3, flux_peak_t=0.15, core_c=60.0, direct_v=1.0, direct_a=2.0
    )
    assert first.loss_factor == pytest.approx(1.15 * 2.0 / first.expected_w)
    fit = LIBRARY.material("unmarked").fit_at(50e3)
    assert first.expected_w > 0.9 * fit.k * 50e3**fit.alpha * 0.15**fit.beta * core.v_e_m3
    with pytest.raises(RangeError):
        read_heat(
            core, LIBRARY, frequency_hz=50e3, flux_peak_t=0.15, core_c=60.0, direct_v=50.0, direct_a=2.0
        )
    powder = replace(core, material="iron powder 75")
    with pytest.raises(NoSolutionError):
        read_heat(
            powder, LIBRARY, frequency_hz=50e3, flux_peak_t=0.1, core_c=60.0, direct_v=1.0, direct_a=1.0
        )


def test_the_design_reckons_with_what_the_bench_found() -> None:
    """A_L and its tolerance, saturation and loss of the very core, not of its grade."""
    spec = TransformerSpec(core="grey ring", stack=2)
    plain = design_transformer(spec, NEED, Drawer(own_core()), compare=False)  # type: ignore[arg-type]
    core = own_core(al_h=2.67e-6, al_tolerance=0.03, saturation_t=0.24, loss_factor=1.5)
    found = design_transformer(spec, NEED, Drawer(core), compare=False)  # type: ignore[arg-type]
    assert found.magnetising_h == pytest.approx(found.primary_turns**2 * 2.67e-6 * 2)
    assert found.magnetising_low_h == pytest.approx(0.97 * found.magnetising_h)
    assert plain.magnetising_low_h < 0.7 * plain.magnetising_h
    grade = LIBRARY.material("unmarked")
    hot = found.saturation_t
    assert 0.24 <= hot < 0.26  # at 90 °C a little above the value at 100 °C
    assert found.flux_limit_t == pytest.approx(FLUX_DERATING * hot / 2)
    assert found.flux_peak_t[Corner.MAX] <= found.flux_limit_t
    assert plain.saturation_t > grade.bsat_100_t
    same = TransformerSpec(
        core="grey ring", stack=2, primary_turns=found.primary_turns, secondary_turns=found.secondary_turns
    )
    unit = design_transformer(same, NEED, Drawer(replace(core, loss_factor=1.0)), compare=False)  # type: ignore[arg-type]
    dear = design_transformer(same, NEED, Drawer(core), compare=False)  # type: ignore[arg-type]
    assert dear.core_w == pytest.approx(1.5 * unit.core_w, rel=0.03)  # a little warmer too


def test_no_more_rings_without_a_name_are_stacked_than_lie_in_the_drawer() -> None:
    """The second ring of a stack was put on the list to buy, where nobody has it."""
    core = own_core(al_h=2.67e-6, al_tolerance=0.03, saturation_t=0.38)
    for at_hand, stacks in ((1, {1}), (2, {1, 2})):
        table = core_table(TransformerSpec(core="grey ring"), NEED, Drawer(core, at_hand))  # type: ignore[arg-type]
        assert set(table.stack.tolist()) == stacks
    asked = core_table(TransformerSpec(core="grey ring", stack=2), NEED, Drawer(core, 1))  # type: ignore[arg-type]
    assert set(asked.stack.tolist()) == {2}


def test_only_a_measured_core_without_a_pulse_is_only_identified() -> None:
    assert own_core().only_identified
    assert not own_core(checked_flux_t=0.38).only_identified
    assert not own_core(provenance=MADE_UP).only_identified
