"""Foil, stacked E cores, forms of leads, and the table of other cores."""

from __future__ import annotations

from dataclasses import replace

import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.transformer import TransformerNeed, TransformerSpec, design_transformer
from subwright.stages.transformer_alternatives import alternatives
from subwright.stages.transformer_leakage import lead_inductance_h

LIBRARY = load_library()
NEED = TransformerNeed(
    switching_hz=50e3,
    v_primary_max_v=15.5,
    duty=0.92,
    ratio_min=3.1,
    ratio_max=3.8,
    ratio_target=3.3,
    primary_rms_a=32.0,
    secondary_rms_a=9.0,
    ambient_c=50.0,
    programme_mean_square=0.3,
    corner_v={Corner.NOMINAL: 12.2, Corner.CHARGING: 14.0},
)
FOIL = TransformerSpec(core="ETD49/25/16-N87", primary_wire="foil 0.2x32")


def test_foil_is_one_layer_a_turn_and_cut_to_the_former() -> None:
    made = design_transformer(FOIL, NEED, LIBRARY, compare=False)
    p = made.primary
    assert p.strands == 1
    assert p.layers == made.primary_turns * 2
    room = made.core.winding_width_m - 2 * FOIL.margin_m
    assert p.foil_width_m == pytest.approx(min(32e-3, room))
    assert p.copper_m2 == pytest.approx(p.foil_width_m * 0.2e-3)
    assert made.secondary.foil_width_m == 0.0
    assert made.build_share <= 1.0
    wound = [step for step in made.steps if step.winding == "primary" and step.turns]
    assert len(wound) == 1
    assert wound[0].pieces == 2
    assert "gloves" in wound[0].action


def test_foil_length_by_hand() -> None:
    spec = FOIL.model_copy(update={"interleave": "plain"})
    made = design_transformer(spec, NEED, LIBRARY, compare=False)
    core, p = made.core, made.primary
    pitch = p.wire.overall_m
    turn = core.mean_turn_m + 2 * 3.141592653589793 * (p.layers * pitch / 2 - core.winding_height_m / 2)
    assert p.strand_length_m == pytest.approx(p.turns * turn + 2 * spec.lead_m, rel=1e-9)


def test_no_foil_through_a_ring() -> None:
    with pytest.raises(NoSolutionError):
        design_transformer(
            TransformerSpec(core="R50/30/20-N87", primary_wire="foil 0.2x20"), NEED, LIBRARY, compare=False
        )


def test_two_e_cores_side_by_side() -> None:
    spec = TransformerSpec(core="E42/21/15-N87", max_rise_k=70.0)
    one = design_transformer(spec, NEED, LIBRARY, compare=False)
    spec = spec.model_copy(update={"stack": 2})
    two = design_transformer(spec, NEED, LIBRARY, compare=False)
    assert two.stack == 2
    assert two.primary_turns < one.primary_turns
    area = 2 * min(two.core.a_min_m2, two.core.a_e_m2)
    flux = NEED.v_primary_max_v * NEED.duty / (4 * NEED.switching_hz * two.primary_turns * area)
    assert two.flux_peak_t[Corner.MAX] == pytest.approx(flux)
    assert two.core.al_h is not None
    assert two.magnetising_h == pytest.approx(two.primary_turns**2 * 2 * two.core.al_h)
    # a turn goes round both legs: two depths more
    assert two.core.depth_m is not None
    length = (two.primary.strand_length_m - 2 * spec.lead_m) / two.primary_turns
    assert length > one.core.mean_turn_m * 0.8 + 2 * two.core.depth_m
    assert "Make a coil former for 2 sets" in two.steps[0].action
    assert two.parts[0].quantity == 2


def test_stacks_of_e_cores_are_not_chosen_unasked() -> None:
    free = design_transformer(TransformerSpec(), NEED, LIBRARY, compare=False)
    assert free.stack == 1 or free.core.shape == "ring"
    with pytest.raises(NoSolutionError, match="rectangular leg"):
        design_transformer(TransformerSpec(core="ETD49/25/16-N87", stack=2), NEED, LIBRARY, compare=False)


def test_leads_leak_by_their_form_and_distance() -> None:
    def lead(**wishes: object) -> float:
        return float(lead_inductance_h(TransformerSpec().model_copy(update=wishes), 8e-6))

    assert lead(lead_spacing_m=5e-3) < lead() < lead(lead_spacing_m=20e-3)
    assert lead(lead_form="flat") < lead(lead_form="twisted") < lead()
    assert lead(lead_m=60e-3) == pytest.approx(2 * lead())
    assert lead(lead_spacing_m=1e-3) == pytest.approx(0.0, abs=1e-15)  # they can't be nearer than touching


def test_flat_leads_lower_the_leakage_of_the_whole() -> None:
    plain = design_transformer(TransformerSpec(core="ETD49/25/16-N87"), NEED, LIBRARY, compare=False)
    flat = design_transformer(
        TransformerSpec(core="ETD49/25/16-N87", lead_form="flat"), NEED, LIBRARY, compare=False
    )
    assert flat.lead_h < 0.5 * plain.lead_h
    assert flat.leakage_h < plain.leakage_h


def test_the_build_file_says_how_the_leads_run() -> None:
    spec = TransformerSpec.model_validate({"lead_spacing": "4 mm", "lead_form": "twisted"})
    assert spec.lead_spacing_m == pytest.approx(4e-3)


def test_other_cores_are_what_a_design_on_them_gives() -> None:
    rows = alternatives(TransformerSpec(), NEED, LIBRARY, named=("E20/10/6-N87", "R63/38/25-N87"), most=3)
    serving = [row for row in rows if row.serves]
    assert len(serving) >= 3
    assert [row.core_id for row in rows if not row.serves] == ["E20/10/6-N87"]
    assert "flux density" in rows[-1].broken
    for row in serving:
        again = design_transformer(
            TransformerSpec(core=row.core_id, stack=row.stack), NEED, LIBRARY, compare=False
        )
        # the whole-library search thins wires out, so that a look at one core alone may find a little better
        assert row.loss_w <= 1.10 * again.heating_w
        assert row.primary_turns == again.primary_turns


def test_other_cores_name_why_one_is_no_use() -> None:
    spec = TransformerSpec(core="R50/30/20-N87", primary_turns=3, secondary_turns=10)
    rows = alternatives(spec, NEED, LIBRARY, most=1, chosen="R50/30/20-N87")
    assert [row.core_id for row in rows if row.chosen] == ["R50/30/20-N87"]
    with pytest.raises(PartNotFoundError):
        alternatives(spec, NEED, LIBRARY, named=("R50/30/21-N87",))


@pytest.mark.parametrize("wire", ["foil 0.5x25", "ECW 2.00"])
def test_a_wire_asked_for_is_not_refused_for_being_too_good(wire: str) -> None:
    small = replace(NEED, primary_rms_a=4.0, secondary_rms_a=1.2)
    made = design_transformer(
        TransformerSpec(core="ETD59/31/22-N87", primary_wire=wire), small, LIBRARY, compare=False
    )
    assert made.primary.wire.id == wire
    assert made.primary.strands == 1
    assert made.primary.heating_density_a_per_m2 < 1e6
