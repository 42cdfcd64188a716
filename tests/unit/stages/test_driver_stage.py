"""The driver stage: from a part, from parameters, from both; groups; refusals."""

from __future__ import annotations

import math

import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError, RangeError
from subwright.parts.library import load_library
from subwright.physics.acoustics.completion import relations_hold
from subwright.physics.acoustics.parameters import efficiency_from_motor
from subwright.stages.driver import DriverResult, DriverSpec, design_driver

LIBRARY = load_library()
INLINE = {
    "fs": "28 Hz",
    "qes": 0.4,
    "qms": 4.0,
    "re": "3.4 ohm",
    "vas": "80 l",
    "sd": "500 cm2",
    "xmax": "12 mm",
    "power": "300 W",
}


def inline(**changes: object) -> DriverResult:
    return design_driver(DriverSpec.model_validate(INLINE | changes), LIBRARY)


@pytest.mark.parametrize("part", sorted(LIBRARY.drivers))
def test_every_driver_of_the_library_is_consistent(part: str) -> None:
    found = design_driver(DriverSpec(part=part), LIBRARY)
    assert found.inconsistencies == ()
    record = LIBRARY.driver(part)
    assert found.nominal_impedance_ohm == record.impedance_ohm
    for name in ("fs_hz", "qts", "vas_m3", "bl_tm", "mms_kg", "sd_m2"):
        assert getattr(found, name) == pytest.approx(getattr(record, name), rel=found.inconsistency_limit)
    full = {
        name: getattr(found, name)
        for name in (
            *("re_ohm", "fs_hz", "sd_m2", "qes", "qms", "mms_kg", "bl_tm", "cms_m_per_n"),
            *("rms_kg_per_s", "vas_m3", "qts", "efficiency"),
        )
    }
    assert relations_hold(full) < 1e-9
    assert found.rated_v == pytest.approx(math.sqrt(record.power_w * record.impedance_ohm), rel=1e-12)


def test_inline_parameters_are_completed() -> None:
    found = inline()
    assert found.qts == pytest.approx(0.4 * 4.0 / 4.4, rel=1e-12)
    assert found.nominal_impedance_ohm == 4.0
    assert found.vd_m3 == pytest.approx(0.05 * 0.012, rel=1e-12)
    assert found.thermal is None
    assert found.hole_m is None
    assert any("thermal" in reason for reason in found.reasons)
    assert any("common practice" in reason for reason in found.reasons)


def test_diameter_instead_of_area() -> None:
    found = inline(sd="auto", piston_diameter="252 mm")
    assert found.sd_m2 == pytest.approx(math.pi * 0.126**2, rel=1e-12)


def test_sensitivity_instead_of_vas() -> None:
    reference = inline()
    found = inline(vas="auto", sensitivity=f"{reference.sensitivity_db:.6f} dB")
    assert found.vas_m3 == pytest.approx(reference.vas_m3, rel=1e-5)


def test_a_wrong_number_is_named_and_left_out() -> None:
    found = inline(bl="14.6 T.m", mms="142 g", cms="0.2275 mm/N", vas="800 l", sensitivity="88.6 dB")
    assert [item.quantity for item in found.inconsistencies] == ["vas_m3"]
    item = found.inconsistencies[0]
    assert item.suspects == ("vas_m3",)
    assert item.relative_difference > 5.0
    assert "that one is wrong" in item.message
    assert found.vas_m3 == pytest.approx(0.0807, rel=2e-2)


def test_numbers_that_can_t_be_told_apart_are_both_named() -> None:
    """Without the sensitivity, Vas and Sd meet in one relation only."""
    found = inline(bl="14.6 T.m", mms="142 g", cms="0.2275 mm/N", vas="800 l")
    assert set(found.inconsistencies[0].suspects) == {"vas_m3", "sd_m2"}
    assert "Sd, Vas" in found.inconsistencies[0].message


def test_measured_values_go_before_the_record() -> None:
    found = design_driver(DriverSpec.model_validate({"part": "Fell 12", "fs": "26 Hz"}), LIBRARY)
    assert found.fs_hz == pytest.approx(26.0, rel=1e-12)
    assert found.inconsistencies == ()
    assert any("no longer agrees" in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("count", "connection", "re_ratio", "nominal"),
    [
        (2, "auto", 0.5, 2.0),
        (2, "series", 2.0, 8.0),
        (3, "parallel", 1 / 3, 4 / 3),
        (4, "series-parallel", 1.0, 4.0),
    ],
)
def test_groups(count: int, connection: str, re_ratio: float, nominal: float) -> None:
    one = inline()
    group = inline(count=count, connection=connection)
    assert group.re_ohm == pytest.approx(one.re_ohm * re_ratio, rel=1e-12)
    assert group.nominal_impedance_ohm == pytest.approx(nominal, rel=1e-12)
    for name in ("fs_hz", "qts", "qes", "qms", "xmax_m"):
        assert getattr(group, name) == pytest.approx(getattr(one, name), rel=1e-12)
    for name in ("vas_m3", "sd_m2", "mms_kg", "power_w", "displacement_m3", "efficiency", "air_load_kg"):
        assert getattr(group, name) == pytest.approx(count * getattr(one, name), rel=1e-12), name
    # The group at its rated voltage takes its rated power
    assert group.rated_v**2 / group.nominal_impedance_ohm == pytest.approx(group.power_w, rel=1e-12)
    assert group.parts[0].quantity == count


def test_thermal_of_a_group_scales() -> None:
    one = design_driver(DriverSpec(part="Drover 12"), LIBRARY)
    two = design_driver(DriverSpec(part="Drover 12", count=2), LIBRARY)
    assert one.thermal is not None
    assert two.thermal is not None
    assert two.thermal.coil_k_per_w == pytest.approx(0.5 * one.thermal.coil_k_per_w, rel=1e-12)
    tau = one.thermal.coil_k_per_w * one.thermal.coil_j_per_k
    assert two.thermal.coil_k_per_w * two.thermal.coil_j_per_k == pytest.approx(tau, rel=1e-12)


def test_a_measured_inductance_replaces_the_lossy_one() -> None:
    found = inline(k_le=0.03, n_le=0.7)
    assert (found.coil_factor, found.coil_exponent) == (0.03, 0.7)
    plain = inline(le="2 mH")
    assert (plain.coil_factor, plain.coil_exponent) == (pytest.approx(0.002), 1.0)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sd": "auto"}, "piston area"),
        ({"re": "auto"}, "DC resistance"),
        ({"qms": "auto"}, "Qms"),
        ({"xmax": "auto"}, "linear displacement"),
        ({"power": "auto"}, "rated noise power"),
        ({"k_le": 0.03}, "k_le"),
        ({"piston_diameter": "250 mm"}, "one of the two keys"),
        ({"xdamage": "10 mm"}, "one way"),
        ({"qts": 0.6}, "swapped"),
        ({"vas": "2000 l", "sd": "500 cm2", "fs": "60 Hz"}, "mixed up"),
        ({"vas": "auto", "qes": "auto", "fs": "60 Hz", "mms": "26 g", "bl": "30 T.m"}, "power of ten"),
    ],
)
def test_refusals_say_what_to_do(changes: dict[str, object], words: str) -> None:
    with pytest.raises(NoSolutionError) as caught:
        inline(**changes)
    assert words in str(caught.value)
    assert caught.value.remedy


def test_unknown_part_names_near_ones() -> None:
    with pytest.raises(PartNotFoundError) as caught:
        design_driver(DriverSpec(part="drover12"), LIBRARY)
    assert "Drover 12" in caught.value.near


def test_connection_must_suit_the_count() -> None:
    with pytest.raises(RangeError):
        inline(count=3, connection="series-parallel")


# --- two coils, compound pairs -------------------------------------------------------------------------


def wired(**changes: object) -> DriverResult:
    return design_driver(DriverSpec.model_validate({"part": "Drover 12", **changes}), load_library())


def test_two_coils_in_series_are_four_times_those_in_parallel() -> None:
    stated = wired(coils=2, coils_stated="parallel")
    series = wired(coils=2, coils_stated="parallel", coils_wired="series")
    one = wired(coils=2, coils_stated="parallel", coils_wired="one")
    assert series.re_ohm == pytest.approx(4.0 * stated.re_ohm)
    assert series.nominal_impedance_ohm == pytest.approx(4.0 * stated.nominal_impedance_ohm)
    assert series.bl_tm == pytest.approx(2.0 * stated.bl_tm)
    assert series.qes == pytest.approx(stated.qes)
    assert series.efficiency == pytest.approx(stated.efficiency)
    assert series.coil_factor == pytest.approx(4.0 * stated.coil_factor)
    assert one.re_ohm == pytest.approx(2.0 * stated.re_ohm)
    assert one.qes == pytest.approx(2.0 * stated.qes)
    assert one.efficiency == pytest.approx(0.5 * stated.efficiency)
    assert one.power_w == pytest.approx(0.5 * stated.power_w)


@pytest.mark.parametrize("connection", ["parallel", "series"])
def test_a_compound_pair_halves_vas_and_efficiency(connection: str) -> None:
    plain, pair = wired(), wired(compound=connection)
    assert pair.fs_hz == pytest.approx(plain.fs_hz)
    assert pair.qts == pytest.approx(plain.qts)
    assert pair.vas_m3 == pytest.approx(0.5 * plain.vas_m3)
    assert pair.efficiency == pytest.approx(0.5 * plain.efficiency)
    assert pair.sd_m2 == plain.sd_m2
    assert pair.re_ohm == pytest.approx(plain.re_ohm * (2.0 if connection == "series" else 0.5))
    assert pair.power_w == pytest.approx(2.0 * plain.power_w)
    assert pair.parts[0].quantity == 2
    assert pair.outside_m == plain.depth_m


def test_one_coil_leaves_nothing_to_wire() -> None:
    with pytest.raises(NoSolutionError, match="one coil"):
        wired(coils_wired="series")


def test_a_group_keeps_the_efficiency_that_its_elements_imply() -> None:
    four = wired(count=4, connection="series-parallel", compound="parallel")
    by_motor = efficiency_from_motor(four.bl_tm, four.sd_m2, four.re_ohm, four.mms_kg)
    assert four.efficiency == pytest.approx(by_motor, rel=0.03)
