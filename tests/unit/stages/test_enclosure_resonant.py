"""Passive-radiator and band-pass boxes as they are built."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError
from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureResult, EnclosureSpec, design_enclosure

CABIN = design_cabin(CabinSpec())
RADIATOR = {
    "radiator_diameter": "260 mm",
    "radiator_mass": "150 g",
    "radiator_resonance": "18 Hz",
    "radiator_frame": "310 mm",
    "radiator_hole": "280 mm",
    "radiator_xmax": "20 mm",
}


def box(part: str = "Drover 12", driver: dict[str, object] | None = None, **keys: object) -> EnclosureResult:
    group = design_driver(DriverSpec.model_validate({"part": part, **(driver or {})}), load_library())
    need = EnclosureNeed(drive_v=group.rated_v, source_ohm=0.1)
    return design_enclosure(EnclosureSpec.model_validate(keys), group, CABIN, need)


def displaced(made: EnclosureResult) -> float:
    return sum(made.displaced_m3.values())


def test_a_radiator_is_loaded_by_whole_grams_to_its_tuning() -> None:
    made = box(kind="passive-radiator", tuning="33 Hz", **RADIATOR)
    assert made.radiator is not None
    assert made.radiator.added_kg * 1e3 == pytest.approx(round(made.radiator.added_kg * 1e3))
    assert made.tuning_hz == pytest.approx(33.0, rel=0.01)
    assert made.gross_volume_m3 - displaced(made) == pytest.approx(made.net_volume_m3)
    assert made.port is None
    purposes = [hole.purpose for panel in made.panels for hole in panel.holes]
    assert purposes.count("radiator") == 1
    assert purposes.count("driver") == 1
    assert "radiator excursion" in made.own_limits.limited_by


def test_the_radiator_moves_no_further_than_its_limit_allows() -> None:
    made = box(kind="passive-radiator", **RADIATOR)
    system, limits = made.system, made.own_limits
    moved = system.radiator_excursion_at_1v(system.solve(limits.frequency_hz))
    assert moved is not None
    assert np.all(moved * limits.drive_v <= 0.020 * (1 + 1e-9))


def test_a_radiator_must_be_described() -> None:
    with pytest.raises(NoSolutionError, match=r"enclosure\.radiator_mass"):
        box(kind="passive-radiator", **{k: v for k, v in RADIATOR.items() if k != "radiator_mass"})


def test_a_heavy_radiator_is_refused_with_the_tuning_it_can_do() -> None:
    with pytest.raises(NoSolutionError, match="too heavy"):
        box(kind="passive-radiator", tuning="60 Hz", **RADIATOR)


def test_two_radiators_share_the_air() -> None:
    one, two = (
        box(kind="passive-radiator", **RADIATOR),
        box(kind="passive-radiator", radiator_count=2, **RADIATOR),
    )
    assert one.radiator_excursion_m is not None
    assert two.radiator_excursion_m is not None
    assert two.radiator_excursion_m < 0.6 * one.radiator_excursion_m


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"volume": "40 l"},
        {"qtc": 0.8},
        {"band_damping": 0.55},
        {"fill": "dense"},
        {"room_width": "440 mm"},
    ],
    ids=str,
)
def test_band_pass_chambers_add_up(keys: dict[str, object]) -> None:
    made = box(kind="band-pass", **keys)
    chambers = made.chambers
    assert chambers is not None
    assert made.port is not None
    t = 0.018
    assert chambers.rear_width_m + t + chambers.front_width_m == pytest.approx(made.inner_width_m, abs=1e-9)
    assert chambers.rear_m3 + chambers.front_m3 == pytest.approx(made.net_volume_m3)
    assert made.gross_volume_m3 - displaced(made) == pytest.approx(made.net_volume_m3)
    divider = next(panel for panel in made.panels if panel.name == "divider")
    assert divider.length_m == pytest.approx(made.inner_depth_m)
    assert [hole.purpose for hole in divider.holes] == ["driver"]
    front = next(panel for panel in made.panels if panel.name == "front")
    assert {hole.purpose for hole in front.holes} == {"port"}
    left = t + chambers.rear_width_m + t
    for hole in front.holes:
        assert left < hole.x_m - 0.5 * hole.width_m
        assert hole.x_m + 0.5 * hole.width_m < t + made.inner_width_m
    assert made.upper_f3_hz is not None
    assert made.f3_hz is not None
    assert made.f3_hz < made.tuning_hz < made.upper_f3_hz


def test_a_wide_open_room_gives_the_flat_band_pass() -> None:
    made = box(kind="band-pass")
    assert made.qtc == pytest.approx(0.7, abs=0.02)
    assert made.chambers is not None
    assert made.chambers.damping == pytest.approx(0.7, abs=0.02)
    assert made.tuning_hz == pytest.approx(made.fc_hz, rel=0.02)


def test_a_tight_room_lowers_the_damping_before_it_gives_up() -> None:
    made = box(kind="band-pass", volume="26 l")
    assert made.chambers is not None
    assert made.chambers.damping < 0.7 or made.qtc > 0.75
    with pytest.raises(NoSolutionError):
        box(kind="band-pass", volume="8 l")


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"kind": "band-pass", "port_kind": "slot"}, "round ports"),
        ({"kind": "band-pass", "volume": "40 l", "qtc": 0.8}, "not both"),
        ({"kind": "band-pass", "room_height": "150 mm"}, "fit"),
        ({"kind": "passive-radiator", "fill": "dense", **RADIATOR}, "Filling"),
        ({"kind": "passive-radiator", "qtc": 0.7, **RADIATOR}, "Qtc"),
        ({"kind": "passive-radiator", **RADIATOR, "radiator_hole": "320 mm"}, "cut-out"),
    ],
)
def test_contradictions_are_named(keys: dict[str, object], words: str) -> None:
    with pytest.raises(NoSolutionError, match=words):
        box(**keys)


def test_a_compound_pair_takes_room_outside() -> None:
    plain = box(room_depth="500 mm", volume="20 l")
    pair = box(driver={"compound": "parallel"}, room_depth="500 mm", volume="20 l")
    assert pair.outer_depth_m <= 0.5 - 0.14
    assert math.isfinite(plain.outer_depth_m)


def test_bands_cover_the_whole_range_and_say_what_limits() -> None:
    limits = box(kind="vented").limits
    bands = limits.bands
    assert bands[0].low_hz == limits.frequency_hz[0]
    assert bands[-1].high_hz == limits.frequency_hz[-1]
    for before, after in pairwise(bands):
        assert before.high_hz == after.low_hz
        assert before.limit != after.limit
    for f, name in zip(limits.frequency_hz, limits.limited_by, strict=True):
        assert any(b.limit == name and b.low_hz <= f <= b.high_hz for b in bands)


# --- flared ports, named alignments ---------------------------------------------------------------------


def test_a_flare_slows_the_air_at_the_mouth() -> None:
    plain = box(kind="vented", port_diameter="84 mm", port_count=1)
    flared = box(kind="vented", port_diameter="84 mm", port_count=1, port_flare="20 mm")
    assert plain.port is not None
    assert flared.port is not None
    assert flared.port.speed_area_m2 == pytest.approx(2.0 * flared.port.area_m2)
    assert plain.port.speed_area_m2 == plain.port.area_m2
    assert flared.port_speed_m_per_s is not None
    assert plain.port_speed_m_per_s is not None
    assert flared.port_speed_m_per_s == pytest.approx(0.5 * plain.port_speed_m_per_s, rel=0.03)
    assert flared.tuning_hz == pytest.approx(plain.tuning_hz, rel=0.02)
    assert flared.port.length_m > plain.port.length_m  # a wide mouth has less air of its own
    cut = next(h for p in flared.panels for h in p.holes if h.purpose == "port")
    assert cut.width_m == pytest.approx(0.130)


@pytest.mark.parametrize(
    ("name", "qtc"), [("critical", 0.5), ("bessel", 0.577), ("butterworth", 0.707), ("chebyshev", 1.0)]
)
def test_sealed_alignments_by_name(name: str, qtc: float) -> None:
    assert box(alignment=name).qtc == pytest.approx(qtc, abs=0.01)


def test_vented_alignments_by_name() -> None:
    families = {}
    for name in ("flat", "sub-chebyshev", "boom-box", "keele", "margolis-small"):
        made = box(kind="vented", alignment=name)
        families[name] = made.family
        assert made.f3_hz is not None
    assert families["flat"] == "QB3"
    assert families["sub-chebyshev"] == "SC4"
    assert families["boom-box"] == "SBB4"
    assert box(kind="vented", alignment="boom-box").tuning_hz == pytest.approx(
        design_driver(DriverSpec(part="Drover 12"), load_library()).fs_hz, rel=0.02
    )


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"alignment": "flat"}, "not one of a sealed box"),
        ({"kind": "vented", "alignment": "bessel"}, "not one of a vented box"),
        ({"kind": "vented", "alignment": "flat", "volume": "40 l"}, "sets volume and tuning"),
        ({"alignment": "bessel", "qtc": 0.8}, "not both"),
        ({"kind": "band-pass", "alignment": "flat"}, "damping"),
    ],
)
def test_alignments_that_do_not_apply_are_refused(keys: dict[str, object], words: str) -> None:
    with pytest.raises(NoSolutionError, match=words):
        box(**keys)


@pytest.mark.parametrize("count", [2, 3])
def test_several_drivers_stand_side_by_side_on_the_divider(count: int) -> None:
    made = box("Skerry 8", driver={"count": count}, kind="band-pass")
    divider = next(panel for panel in made.panels if panel.name == "divider")
    assert len(divider.holes) == count
    for hole in divider.holes:
        assert hole.x_m - 0.5 * hole.width_m > 0.0
        assert hole.x_m + 0.5 * hole.width_m < divider.length_m
        assert hole.y_m - 0.5 * hole.height_m > 0.0
        assert hole.y_m + 0.5 * hole.height_m < divider.width_m
