"""What the records work out themselves: loss fits, oscillators, thermistors, drops."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.base.errors import RangeError
from subwright.parts.cores import complete_core
from subwright.parts.library import load_library
from subwright.parts.reader import rules_of
from subwright.parts.schema import KINDS, Provenance

LIBRARY = load_library()


# Data-sheet rows are from the sheets named beside them.
def test_3525_oscillator() -> None:
    """ST SG2525A/SG3525A, June 2000, p. 4 (read): 1/[C(0.7 R + 3 RD)]; 3.6 kΩ, 10 nF gives 40 kHz ±2 %."""
    chip = LIBRARY.controller("SG3525A")
    assert chip.oscillator_hz(3.6e3, 10e-9) == pytest.approx(40e3, rel=0.02)
    for rt, ct, rd in ((4.7e3, 4.7e-9, 47.0), (10e3, 2.2e-9, 100.0)):
        assert chip.oscillator_hz(rt, ct, rd) == pytest.approx(1 / (ct * (0.7 * rt + 3 * rd)), rel=1e-6)


def test_3525_dead_time_is_the_discharge() -> None:
    """The ramp's period grows by 3 RD C: the part in which both outputs are off."""
    chip = LIBRARY.controller("SG3525A")
    longer = 1 / chip.oscillator_hz(4.7e3, 4.7e-9, 100) - 1 / chip.oscillator_hz(4.7e3, 4.7e-9)
    assert chip.dead_time_s(4.7e-9, 100) - chip.dead_min_s == pytest.approx(longer, rel=1e-9)
    assert longer == pytest.approx(3 * 100 * 4.7e-9, rel=1e-6)


def test_494_oscillator() -> None:
    """TI SLVS074E p. 4 (read): 12 kΩ and 10 nF give 10 kHz typical; the textbook 1.1/(RC) gives 9.2 kHz."""
    f = LIBRARY.controller("TL494").oscillator_hz(12e3, 10e-9)
    assert f == pytest.approx(9.17e3, rel=2e-3)
    assert 0.8 * 10e3 < f < 1.05 * 10e3


def test_3524_oscillator() -> None:
    """TI SLVS077 (from memory): 1.30/(RC), 10 kΩ and 10 nF give 13.0 kHz."""
    assert LIBRARY.controller("SG3524").oscillator_hz(10e3, 10e-9) == pytest.approx(13.0e3, rel=1e-3)


def test_3525_sheet_limits() -> None:
    """ST SG2525A/SG3525A, June 2000 (read): 5.1 V, 50 µA, 49 % typical, start at 7 V, 8 to 35 V."""
    chip = LIBRARY.controller("SG3525A")
    assert (chip.vref_v, chip.soft_start_a, chip.duty_max) == (5.1, 50e-6, 0.49)
    assert (chip.uvlo_on_v, chip.supply_min_v, chip.supply_max_v) == (7.0, 8.0, 35.0)
    assert chip.uvlo_on_v is not None
    assert chip.uvlo_off_v is not None
    assert chip.uvlo_on_v - chip.uvlo_off_v == pytest.approx(0.5, rel=1e-6)


def test_494_sheet_limits() -> None:
    """TI SLVS074E; National LM494 (read): 5.00 V ±5 %, 45 %, 1.8 to 500 kΩ, 470 pF to 10 µF, 7 to 40 V."""
    chip = LIBRARY.controller("TL494")
    assert (chip.vref_v, chip.vref_tolerance, chip.duty_max) == (5.0, 0.05, 0.45)
    assert (chip.rt_min_ohm, chip.rt_max_ohm) == (1.8e3, 500e3)
    assert chip.ct_min_f == pytest.approx(470e-12, rel=1e-9)
    assert chip.ct_max_f == pytest.approx(10e-6, rel=1e-9)
    assert (chip.supply_min_v, chip.supply_max_v, chip.f_max_hz) == (7, 40, 300e3)


@pytest.mark.parametrize(
    ("rt", "ct", "rd", "quantity"),
    [
        (100.0, 10e-9, 0.0, "timing resistor"),
        (1e9, 10e-9, 0.0, "timing resistor"),
        (10e3, 1e-12, 0.0, "timing capacitor"),
        (10e3, 10e-9, 1e4, "discharge resistor"),
        (2.0e3, 1.0e-9, 0.0, "oscillator frequency"),
        (math.nan, 1.0e-9, 0.0, "timing resistor"),
    ],
)
def test_oscillator_refuses_parts_outside_the_family(rt: float, ct: float, rd: float, quantity: str) -> None:
    with pytest.raises(RangeError) as caught:
        LIBRARY.controller("SG3525A").oscillator_hz(rt, ct, rd)
    assert caught.value.quantity == quantity
    assert caught.value.limit
    assert caught.value.remedy


def test_fit_at_refuses_frequencies_without_data() -> None:
    with pytest.raises(RangeError, match="don't reach this frequency"):
        LIBRARY.material("N87").fit_at(1e6)
    with pytest.raises(RangeError, match="power-ferrite grade"):
        LIBRARY.material("T38").fit_at(50e3)


@pytest.mark.parametrize(
    ("temp_c", "ohm"),
    [(-20, 68104), (0, 27326), (25, 10000), (50, 4158), (70, 2227), (85, 1451), (100, 973), (125, 531)],
)
def test_tabled_thermistor(temp_c: float, ohm: float) -> None:
    """EPCOS/TDK B57330V2103 R/T data (read); 85 °C lies between two rows of ours."""
    assert LIBRARY.ntc("NTC 10k 3435").resistance_ohm(temp_c) == pytest.approx(ohm, rel=3e-3)


@pytest.mark.parametrize(
    ("temp_c", "ohm"),
    [(0, 33621), (50, 3588.2), (60, 2486.2), (70, 1759.8), (80, 1270.3), (100, 697.5)],
)
def test_thermistor_by_its_b_constant(temp_c: float, ohm: float) -> None:
    """R25 exp(B(1/T − 1/298.15)), B 3950 K."""
    assert LIBRARY.ntc("NTC 10k 3950").resistance_ohm(temp_c) == pytest.approx(ohm, rel=1e-4)


@pytest.mark.parametrize("name", LIBRARY.ntcs)
def test_b_constant_and_table_agree(name: str) -> None:
    """B = ln(R25/R85)/(1/298.15 − 1/358.15) (definition of B25/85)."""
    part = LIBRARY.ntc(name)
    b = math.log(part.resistance_ohm(25) / part.resistance_ohm(85)) / (1 / 298.15 - 1 / 358.15)
    assert b == pytest.approx(part.b_k, rel=5e-3)


@given(name=st.sampled_from(sorted(LIBRARY.ntcs)), temp_c=st.floats(0, 100))
def test_temperature_is_the_inverse_of_resistance(name: str, temp_c: float) -> None:
    part = LIBRARY.ntc(name)
    assert part.temperature_c(part.resistance_ohm(temp_c)) == pytest.approx(temp_c, abs=1e-6)


def test_thermistor_refuses_what_it_has_no_data_for() -> None:
    part = LIBRARY.ntc("NTC 10k 3950")
    for bad in (-1.0, 101.0, math.nan):
        with pytest.raises(RangeError):
            part.resistance_ohm(bad)
    for bad in (1.0, 1e6, math.nan):
        with pytest.raises(RangeError):
            part.temperature_c(bad)


def test_rectifier_drop_is_a_line() -> None:
    diode = LIBRARY.rectifier("MUR1620CT")
    assert diode.drop_v(8.0) == pytest.approx(diode.vf0_v + 8 * diode.rd_ohm, rel=1e-12)


def test_provenance_of_single_fields() -> None:
    material = LIBRARY.material("N87")
    assert material.provenance.kind_of("mu_i") == "datasheet"
    assert material.provenance.kind_of("steinmetz") == "memory"
    core = LIBRARY.core("R36/23/15-N87")
    assert core.provenance.kind_of("a_e_m2") == "computed"
    assert core.provenance.kind_of("outer_m") == "memory"


@pytest.mark.parametrize("kind", KINDS)
def test_each_value_has_its_own_key_in_a_drawer(kind: str) -> None:
    keys = [rule.key for rule in rules_of(KINDS[kind]).values()]
    assert len(set(keys)) == len(keys)


BAD = [
    ("mosfet", "IRF3205", {"qg_coul": 40e-9}, "qg_coul"),
    ("mosfet", "IRF3205", {"pd_w": 100.0}, "pd_w"),
    ("material", "N87", {"bsat_100_t": 0.5}, "bsat_100_t"),
    ("material", "N87", {"ct0": 1.0}, "ct0"),
    ("core", "R36/23/15-N87", {"inner_m": 0.04}, "inner_m"),
    ("core", "R36/23/15-N87", {"v_e_m3": 9e-6}, "v_e_m3"),
    ("wire", "ECW 1.00", {"overall_m": 0.9e-3}, "overall_m"),
    ("wire", "litz 20x0.1", {"strands": 30}, "area_m2"),
    ("wire", "foil 0.1x20", {"width_m": None}, "width_m"),
    ("rectifier", "MBR1045", {"common": "cathode"}, "common"),
    ("rectifier", "MBR1045", {"qrr_coul": 1e-9}, "qrr_coul"),
    ("rectifier", "MUR820", {"trr_s": 0.0}, "trr_s"),
    ("rectifier", "MUR820", {"ifsm_a": 9.0}, "ifsm_a"),
    ("capacitor", "EL 1000u 63V", {"ripple_a": None}, "ripple_a"),
    ("op_amp", "TL072", {"supply_min_v": 40.0}, "supply_min_v"),
    ("comparator", "LM339", {"vos_v": 0.02}, "vos_v"),
    ("controller", "TL494", {"f_min_hz": 1e6}, "f_min_hz"),
    ("controller", "SG3525A", {"uvlo_on_v": None}, "uvlo_on_v"),
    ("controller", "SG3525A", {"uvlo_off_v": 7.5}, "uvlo_off_v"),
    ("ntc", "NTC 10k 3435", {"table": ((0.0, 100.0), (1.0, 200.0))}, "table"),
    ("driver", "Drover 12", {"k_le": 0.1}, "k_le"),
    ("driver", "Drover 12", {"xdamage_m": 0.01}, "xdamage_m"),
    ("driver", "Drover 12", {"hole_m": 0.4}, "hole_m"),
    ("driver", "Drover 12", {"qts": 0.9}, "qts"),
]


@pytest.mark.parametrize(("kind", "part_id", "change", "field"), BAD, ids=lambda v: str(v)[:30])
def test_contradictions_are_noticed(kind: str, part_id: str, change: dict[str, object], field: str) -> None:
    record = LIBRARY.find(kind, part_id)
    assert not list(record.problems())
    assert field in dict(replace(record, **change).problems())  # type: ignore[arg-type]


def test_only_a_caliper_is_needed_for_a_ring() -> None:
    complaints: list[tuple[str, str]] = []
    full = complete_core(
        {"shape": "ring", "outer_m": 36e-3, "inner_m": 23e-3, "height_m": 15e-3, "coating_m": 0.4e-3},
        lambda key, text: complaints.append((key, text)),
    )
    assert not complaints
    assert full is not None
    core = LIBRARY.core("R36/23/15-N87")
    for name in ("a_e_m2", "l_e_m", "window_area_m2", "mean_turn_m", "surface_m2", "mass_kg"):
        assert full[name] == pytest.approx(getattr(core, name), rel=1e-12)
    assert full["window_area_m2"] == pytest.approx(math.pi / 4 * 22.2e-3**2, rel=1e-12)
    assert full["mean_turn_m"] == pytest.approx(2 * (15.8e-3 + (36.8e-3 - 22.2e-3) / 2), rel=1e-12)


@pytest.mark.parametrize(
    ("raw", "key"),
    [
        ({"shape": "pot", "outer_m": 0.03}, "shape"),
        ({"shape": "ring", "outer_m": 0.03}, "inner_m"),
        ({"shape": "e", "outer_m": 0.042, "inner_m": 0.03, "height_m": 0.042}, "depth_m"),
        ({"shape": "ring", "outer_m": 0.02, "inner_m": 0.03, "height_m": 0.01}, "outer_m"),
    ],
)
def test_incomplete_dimensions_are_refused(raw: dict[str, object], key: str) -> None:
    complaints: dict[str, str] = {}
    assert complete_core(raw, complaints.__setitem__) is None
    assert key in complaints


@pytest.mark.parametrize(
    ("core_id", "mean_turn_mm", "area_mm2"),
    [
        # EPCOS data book, coil formers (from memory): mean turn and winding area
        ("ETD39/20/13-N87", 69.0, 178),
        ("ETD49/25/16-N87", 86.0, 269),
        ("E42/21/15-N87", 87.0, 177),
        ("E55/28/21-N87", 113, 277),
    ],
)
def test_estimated_coil_former_is_near_a_real_one(core_id: str, mean_turn_mm: float, area_mm2: float) -> None:
    """What a measured, unlisted pair gets, against coil formers that exist."""
    core = LIBRARY.core(core_id)
    names = ("shape", "outer_m", "inner_m", "height_m", "depth_m", "window_m", "leg_m")
    full = complete_core({n: getattr(core, n) for n in names}, lambda k, t: pytest.fail(f"{k} {t}"))
    assert full is not None
    assert full["mean_turn_m"] * 1e3 == pytest.approx(mean_turn_mm, rel=0.03)
    assert full["window_area_m2"] * 1e6 == pytest.approx(area_mm2, rel=0.10)


def test_provenance_default_is_its_kind() -> None:
    p = Provenance(document="d", condition="c", kind="measured", computed_fields=("x",))
    assert (p.kind_of("x"), p.kind_of("y")) == ("computed", "measured")
