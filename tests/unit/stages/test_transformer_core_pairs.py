"""Unmarked pairs of halves: calliper and test windings to section, window, permeability and a record."""

from __future__ import annotations

from dataclasses import replace

import pytest

from subwright.base.errors import RangeError
from subwright.parts.drawer import load_drawer
from subwright.parts.library import Library, load_library
from subwright.parts.schema import Core
from subwright.physics.cores import al_from_permeability, e_pair
from subwright.stages.common import Corner
from subwright.stages.transformer import TransformerNeed, TransformerSpec, design_transformer
from subwright.stages.transformer_core import CoreReadings, identify_core
from subwright.stages.transformer_core_check import area_error
from subwright.stages.transformer_core_plan import BenchSupply

LIBRARY = load_library()
SUPPLY = BenchSupply()
KNOWN = tuple(
    core.id
    for core in LIBRARY.cores.values()
    if core.shape != "ring" and core.al_h is not None and core.catalogue_a_e_m2 is not None
)
# Overall width, thickness, window width, centre leg, height and window of the pair, mm; then the makers'
# effective length, mm, and section, mm². From memory of catalogues.
BROAD = {
    "20/20": (20.5, 14.0, 18.0, 8.8, 20.2, 14.3, 45.2, 62.0),
    "26/25": (26.5, 19.0, 22.5, 12.0, 24.75, 16.1, 55.5, 118.0),
    "32/30": (32.0, 22.0, 27.5, 13.45, 30.35, 21.3, 74.6, 161.0),
    "35/35": (35.1, 26.0, 32.0, 14.35, 34.75, 25.0, 87.9, 196.0),
    "40/40": (40.5, 28.0, 37.0, 14.9, 39.75, 29.5, 102.0, 201.0),
}


def measured(core: Core, al_h: float | None = None) -> CoreReadings:
    """What a calliper and a meter read on a core of the library."""
    al = core.al_h if al_h is None else al_h
    assert al is not None
    assert core.depth_m is not None
    assert core.window_m is not None
    assert core.leg_m is not None
    return CoreReadings(
        shape="etd" if core.shape == "etd" else "e",
        outer_m=core.outer_m,
        inner_m=core.inner_m,
        height_m=core.height_m,
        depth_m=core.depth_m,
        window_m=core.window_m,
        leg_m=core.leg_m,
        turns=(10, 20),
        inductance_h=(100 * al, 400 * al),
    )


@pytest.mark.parametrize("core_id", KNOWN)
def test_a_pair_of_the_library_is_recognised(core_id: str) -> None:
    core = LIBRARY.core(core_id)
    identity = identify_core(measured(core), SUPPLY, LIBRARY)
    assert identity.fit.al_h == pytest.approx(core.al_h, rel=1e-3)
    assert identity.geometry.a_e_m2 == pytest.approx(core.a_e_m2, rel=0.03)
    assert identity.geometry.l_e_m == pytest.approx(core.l_e_m, rel=0.03)
    assert identity.window_m2 == pytest.approx(core.window_area_m2, rel=0.25)
    grade = LIBRARY.material(core.material)
    spread = 2 * identity.permeability_uncertainty + grade.mu_i_tolerance * grade.mu_i
    assert abs(identity.permeability - grade.mu_i) < spread
    assert identity.permeability > identity.effective_permeability
    assert identity.verdict.family == "power ferrite" or "power ferrite" in identity.verdict.others


@pytest.mark.parametrize("name", BROAD)
def test_broad_outer_legs_lie_within_twice_the_uncertainty(name: str) -> None:
    width, depth, inner, leg, height, window, path, section = (x * 1e-3 for x in BROAD[name])
    readings = CoreReadings(
        shape="pq",
        outer_m=width,
        inner_m=inner,
        height_m=height,
        depth_m=depth,
        window_m=window,
        leg_m=leg,
        turns=(10,),
        inductance_h=(300e-6,),
    )
    identity = identify_core(readings, SUPPLY, LIBRARY)
    assert identity.geometry.a_e_m2 == pytest.approx(section * 1e-3, rel=2 * identity.area_uncertainty)
    assert identity.geometry.l_e_m == pytest.approx(path, rel=0.1)
    assert identity.area_uncertainty > 0.08
    etd = identify_core(replace(readings, shape="etd"), SUPPLY, LIBRARY)
    assert etd.area_uncertainty < identity.area_uncertainty
    assert identity.saturation_t < etd.saturation_t  # the section may be that much smaller


def test_what_is_not_sure_is_carried_on() -> None:
    core = LIBRARY.core(KNOWN[0])
    sharp = identify_core(replace(measured(core), calliper_m=0.02e-3), SUPPLY, LIBRARY)
    blunt = identify_core(replace(measured(core), calliper_m=0.3e-3, accuracy=0.05), SUPPLY, LIBRARY)
    assert blunt.area_uncertainty > 2 * sharp.area_uncertainty
    assert blunt.permeability_uncertainty > sharp.permeability_uncertainty
    assert blunt.al_tolerance > sharp.al_tolerance
    assert blunt.flux_peak_t < sharp.flux_peak_t
    assert dict(blunt.record)["al_tolerance"] != dict(sharp.record)["al_tolerance"]
    wide = identify_core(replace(measured(core), gap_m=25e-6), SUPPLY, LIBRARY)
    assert wide.permeability > sharp.permeability
    assert wide.permeability_uncertainty > sharp.permeability_uncertainty


def test_a_ground_gap_is_thought_of() -> None:
    core = LIBRARY.core("ETD39/20/13-3C95")
    gapped = identify_core(measured(core, al_from_permeability(240.0, core.c1_per_m)), SUPPLY, LIBRARY)
    assert not gapped.verdict.serves
    assert gapped.record == ()
    assert gapped.pulse is None
    assert "straight edge" in " ".join(gapped.reasons)
    ring = CoreReadings(outer_m=41.5e-3, inner_m=26e-3, height_m=13e-3, turns=(20,), inductance_h=(40e-6,))
    assert "straight edge" not in " ".join(identify_core(ring, SUPPLY, LIBRARY).reasons)


def test_sizes_that_make_no_pair_are_refused() -> None:
    core = LIBRARY.core(KNOWN[0])
    with pytest.raises(RangeError, match="centre leg"):
        identify_core(replace(measured(core), leg_m=core.inner_m + 1e-3), SUPPLY, LIBRARY)


def test_section_by_hand() -> None:
    """The five sections of the standard on an E42/21/15, worked out beside the code."""
    size = (42.15e-3, 21e-3, 14.95e-3, 30.1e-3, 15.05e-3, 11.95e-3)
    outer, back = (size[0] - size[3]) / 2, size[1] - size[4]
    areas = (2 * outer * size[2], 2 * back * size[2], size[5] * size[2])
    lengths = (2 * size[4], size[3] - size[5], 2 * size[4])
    pi = 3.141592653589793
    corners = (
        (pi / 4 * (outer + back), (areas[0] + areas[1]) / 2),
        (pi / 4 * (size[5] / 2 + back), (areas[2] + areas[1]) / 2),
    )
    parts = (*zip(lengths, areas, strict=True), *corners)
    c1 = sum(length / area for length, area in parts)
    c2 = sum(length / area**2 for length, area in parts)
    assert e_pair(*size).a_e_m2 == pytest.approx(c1 / c2)


def test_from_the_bench_to_a_wound_transformer(tmp_path: object) -> None:
    from pathlib import Path

    from subwright.service import save_core

    core = LIBRARY.core("ETD44/22/15-N87")
    readings = measured(core, 0.9 * (core.al_h or 0.0))
    identity = identify_core(replace(readings, accuracy=0.04), SUPPLY, LIBRARY, name="grey pair")
    file = Path(str(tmp_path)) / "bench.drawer.toml"
    save_core(file, identity, quantity=1)
    library: Library = load_library().with_drawer(load_drawer(file))
    own = library.core("grey pair")
    assert own.only_identified
    assert own.shape == "etd"
    assert area_error(own) == 0.02
    need = TransformerNeed(
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
    made = design_transformer(TransformerSpec(core="grey pair"), need, library, compare=False)
    marked = design_transformer(TransformerSpec(core=core.id), need, library, compare=False)
    assert made.core.id == "grey pair"
    assert made.flux_limit_t < marked.flux_limit_t
    assert made.primary_turns > marked.primary_turns
    spread = made.magnetising_high_h / made.magnetising_h - 1.0
    assert spread == pytest.approx(identity.al_tolerance, rel=0.02)
    assert made.magnetising_h == pytest.approx(identity.fit.al_h * made.primary_turns**2, rel=1e-3)
