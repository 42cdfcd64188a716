"""Each record of the library against physics and against its neighbours; a slip of the pen shows up here."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import fields

import numpy as np
import pytest

from subwright.base.preferred import values
from subwright.base.tables.wire import METRIC_WIRE
from subwright.parts.library import load_library
from subwright.parts.schema import (
    KINDS,
    Capacitor,
    Core,
    Driver,
    Heatsink,
    Material,
    Mosfet,
    Record,
    Rectifier,
    Wire,
)

LIBRARY = load_library()
EVERYTHING = [record for kind in KINDS for record in LIBRARY.kind(kind).values()]


def ids(record: Record) -> str:
    return record.id


# ---------------------------------------------------------------- all kinds


@pytest.mark.parametrize(
    ("kind", "least"),
    [
        ("material", 11),
        ("core", 40),
        ("wire", 50),
        ("mosfet", 40),
        ("rectifier", 25),
        ("capacitor", 60),
        ("op_amp", 8),
        ("comparator", 6),
        ("fast_comparator", 1),
        ("schmitt_inverter", 1),
        ("gate_driver", 2),
        ("controller", 4),
        ("reference", 3),
        ("transistor", 10),
        ("zener", 10),
        ("suppressor", 20),
        ("relay", 6),
        ("ntc", 10),
        ("heatsink", 12),
        ("insulator", 8),
        ("driver", 6),
    ],
)
def test_library_is_large_enough_to_choose_from(kind: str, least: int) -> None:
    assert len(LIBRARY.kind(kind)) >= least


@pytest.mark.parametrize("record", EVERYTHING, ids=ids)
def test_every_record_says_where_it_comes_from(record: Record) -> None:
    names = {field.name for field in fields(record)}
    assert record.provenance.document
    assert record.provenance.condition
    assert set(record.provenance.memory_fields) <= names
    assert set(record.provenance.computed_fields) <= names
    assert record.description
    assert record.id == record.id.strip()


@pytest.mark.parametrize("record", EVERYTHING, ids=ids)
def test_no_value_is_nan_or_infinite(record: Record) -> None:
    for field in fields(record):
        value = getattr(record, field.name)
        if isinstance(value, float):
            assert math.isfinite(value), field.name


def test_only_drivers_are_invented() -> None:
    assert {type(r) for r in EVERYTHING if r.provenance.kind == "invented"} == {Driver}
    assert all(d.provenance.kind == "invented" for d in LIBRARY.drivers.values())


# ---------------------------------------------------------------- materials

MATERIALS = list(LIBRARY.materials.values())
POWER = [m for m in MATERIALS if m.family == "power ferrite"]


@pytest.mark.parametrize("material", MATERIALS, ids=ids)
def test_saturation_falls_with_temperature(material: Material) -> None:
    assert material.bsat_100_t < material.bsat_25_t


@pytest.mark.parametrize("material", POWER, ids=ids)
def test_power_ferrite_is_one(material: Material) -> None:
    assert 1500 <= material.mu_i <= 3500
    assert 0.45 <= material.bsat_25_t <= 0.55
    assert 0.36 <= material.bsat_100_t <= 0.43
    assert material.curie_c >= 200
    assert material.transformer_grade
    for fit in material.steinmetz:
        assert 1.2 <= fit.alpha <= 2.6
        assert 2.4 <= fit.beta <= 3.0
    assert material.steinmetz[0].f_low_hz <= 25e3
    assert material.steinmetz[-1].f_high_hz >= 100e3


@pytest.mark.parametrize("material", POWER, ids=ids)
def test_loss_is_least_between_60_and_120_degrees(material: Material) -> None:
    """MnZn power grades have their least loss at working temperature; the quadratic must open upwards."""
    assert material.ct2 > 0
    assert 60 <= material.ct1 / (2 * material.ct2) <= 125
    assert material.ct0 - 25 * material.ct1 + 625 * material.ct2 >= 1.1


@pytest.mark.parametrize("material", [m for m in POWER if len(m.steinmetz) > 1], ids=ids)
def test_neighbouring_fits_meet(material: Material) -> None:
    for low, high in itertools.pairwise(material.steinmetz):
        f = low.f_high_hz
        for flux in (0.05, 0.1):
            ratio = (low.k * f**low.alpha * flux**low.beta) / (high.k * f**high.alpha * flux**high.beta)
            assert ratio == pytest.approx(1.0, rel=0.10)


@pytest.mark.parametrize("material", [m for m in MATERIALS if m.family != "power ferrite"], ids=ids)
def test_other_materials_are_no_transformer_grades(material: Material) -> None:
    assert not material.transformer_grade
    assert material.mu_i < 100 or material.mu_i > 4000


def test_unmarked_core_is_taken_at_its_worst() -> None:
    unmarked = LIBRARY.material("unmarked")
    fit = unmarked.fit_at(50e3)
    for other in POWER:
        assert unmarked.bsat_25_t <= other.bsat_25_t
        assert unmarked.bsat_100_t <= other.bsat_100_t
        assert unmarked.curie_c <= other.curie_c
        assert abs(other.mu_i / unmarked.mu_i - 1) <= unmarked.mu_i_tolerance, (
            "an unmarked core of this grade would not be taken for one"
        )
        for f, flux in itertools.product((20e3, 50e3, 100e3), (0.03, 0.1, 0.2, 0.3)):
            theirs = other.fit_at(f)
            for temp in (25.0, 60.0, 100.0, 120.0):
                mine = fit.k * f**fit.alpha * flux**fit.beta * factor(unmarked, temp)
                assert mine >= theirs.k * f**theirs.alpha * flux**theirs.beta * factor(other, temp)


def factor(material: Material, temp_c: float) -> float:
    return material.ct0 - material.ct1 * temp_c + material.ct2 * temp_c**2


# ---------------------------------------------------------------- cores and wire

CORES = list(LIBRARY.cores.values())


def test_sizes_that_the_trade_keeps() -> None:
    sizes = {core.id.rpartition("-")[0] for core in CORES}
    assert len(sizes) >= 40
    for wanted in (
        "R16",
        "R20",
        "R22",
        "R25",
        "R29",
        "R30",
        "R34",
        "R36",
        "R40",
        "R41.8",
        "R50",
        "R58",
        "R63",
    ):
        assert any(size.startswith(wanted) for size in sizes), wanted
    for wanted in ("ETD29", "ETD34", "ETD39", "ETD44", "ETD49", "ETD54", "ETD59", "E25", "E42", "E55", "E65"):
        assert any(size.startswith(wanted + "/") for size in sizes), wanted


@pytest.mark.parametrize("core", CORES, ids=ids)
def test_core_geometry_holds_together(core: Core) -> None:
    material = LIBRARY.material(core.material)
    assert core.a_min_m2 <= core.a_e_m2 * 1.05
    assert core.c1_per_m == pytest.approx(core.l_e_m / core.a_e_m2, rel=1e-9)
    assert core.v_e_m3 == pytest.approx(core.l_e_m * core.a_e_m2, rel=1e-2)
    assert core.mean_turn_m > 2 * math.sqrt(math.pi * core.a_min_m2) * 0.99  # no shorter way round an area
    assert core.window_area_m2 == pytest.approx(core.winding_width_m * core.winding_height_m, rel=0.02) or (
        core.shape == "ring"
    )
    # corners and pressed radii make the mass 0 to 15 % more than A_e·l_e of this density
    assert 0.97 <= core.mass_kg / (core.v_e_m3 * material.density_kg_per_m3) <= 1.17


@pytest.mark.parametrize("core", CORES, ids=ids)
def test_core_name_states_its_dimensions(core: Core) -> None:
    size, _, material = core.id.rpartition("-")
    assert material == core.material
    numbers = [float(x) for x in size.lstrip("ERTD").split("/")]
    if core.shape == "ring":
        stated = (core.outer_m, core.inner_m, core.height_m)
        assert [x * 1e3 for x in stated] == pytest.approx(numbers, rel=1e-6)
    else:
        assert core.depth_m is not None
        stated = (core.outer_m, core.height_m / 2, core.depth_m)
        for value, number in zip(stated, numbers, strict=True):
            assert value * 1e3 == pytest.approx(number, abs=1.0)


def test_bigger_cores_cool_better() -> None:
    for shape in ("etd", "e"):
        rows = sorted((c.v_e_m3, c.rth_k_per_w) for c in CORES if c.shape == shape and c.rth_k_per_w)
        clearly = [(a, b) for a, b in itertools.combinations(rows, 2) if b[0] > 1.2 * a[0]]
        assert clearly
        assert all(big <= small for (_, small), (_, big) in clearly)


@pytest.mark.parametrize("core", [c for c in CORES if c.rth_k_per_w], ids=ids)
def test_thermal_resistance_near_the_volume_rule(core: Core) -> None:
    """R_th = 53 V_e^-0.54 (K/W, cm³), after S. A. Mulder; makers' values scatter widely around it."""
    assert core.rth_k_per_w is not None
    rule = 53 * (core.v_e_m3 * 1e6) ** -0.54
    assert 0.6 <= core.rth_k_per_w / rule <= 1.7


WIRES = list(LIBRARY.wires.values())


@pytest.mark.parametrize("wire", WIRES, ids=ids)
def test_wire_section_and_insulation(wire: Wire) -> None:
    assert wire.overall_m > wire.conductor_m
    if wire.kind in ("enamelled", "litz"):
        assert wire.area_m2 == pytest.approx(wire.strands * math.pi / 4 * wire.conductor_m**2, rel=1e-3)
    if wire.kind == "litz":
        fill = wire.area_m2 / (math.pi / 4 * wire.overall_m**2)
        assert 0.3 < fill < 0.6
    if wire.kind == "hook-up":
        assert 0.55 < wire.area_m2 / (math.pi / 4 * wire.conductor_m**2) < 0.8


def test_enamelled_wire_is_the_standards_grade_2() -> None:
    wires = [w for w in WIRES if w.kind == "enamelled"]
    assert {round(w.conductor_m * 1e3, 3) for w in wires} >= {0.2, 0.25, 0.315, 0.5, 0.8, 1.0, 1.5, 2.0, 2.5}
    for wire in wires:
        assert wire.overall_m == METRIC_WIRE[wire.conductor_m].grade2_m


def test_wire_resistance() -> None:
    """IEC 60317-0-1, table A.1 (from memory): 0.0871, 0.0340 and 0.0218 Ω/m at 20 °C for 0.5, 0.8, 1.0 mm."""
    for name, ohm in (("ECW 0.50", 0.0871), ("ECW 0.80", 0.0340), ("ECW 1.00", 0.0218)):
        assert LIBRARY.wire(name).resistance_ohm_per_m() == pytest.approx(ohm, rel=1e-2)


# ---------------------------------------------------------------- switches and rectifiers

MOSFETS = list(LIBRARY.mosfets.values())


@pytest.mark.parametrize("mosfet", MOSFETS, ids=ids)
def test_mosfet_values_hold_together(mosfet: Mosfet) -> None:
    assert mosfet.qgd_coul < mosfet.qg_coul
    assert mosfet.qgs_coul < mosfet.qg_coul
    assert mosfet.qgs_coul + mosfet.qgd_coul < mosfet.qg_coul * 1.02
    assert mosfet.rth_jc_k_per_w < mosfet.rth_ja_k_per_w / 10
    assert mosfet.vgs_th_v < mosfet.vgs_max_v / 2
    assert mosfet.pd_w == pytest.approx((mosfet.tj_max_c - 25) / mosfet.rth_jc_k_per_w, rel=0.1)
    # a current rating above what the resistance allows at 25 °C case is a package or pulse rating
    assert mosfet.pd_w is not None
    silicon_a = math.sqrt(mosfet.pd_w / (mosfet.rds_on_ohm * mosfet.rds_hot_ratio))
    assert mosfet.id_a <= 1.15 * silicon_a


@pytest.mark.parametrize("mosfet", MOSFETS, ids=ids)
def test_mosfet_is_a_power_switch_of_its_time(mosfet: Mosfet) -> None:
    """Resistance times gate charge lies within what silicon of these decades gives for the voltage."""
    figure = mosfet.rds_on_ohm * mosfet.qg_coul  # Ω·C
    low, high = (0.25e-9, 1.6e-9) if mosfet.vds_v <= 60 else (0.4e-9, 4e-9)
    if mosfet.vds_v >= 150:
        low, high = 1.2e-9, 11e-9
    if mosfet.channel == "p":
        high *= 3
    assert low < figure < high


@pytest.mark.parametrize("mosfet", MOSFETS, ids=ids)
def test_mosfet_die_size(mosfet: Mosfet) -> None:
    """On resistance times die area, the die taken from RthJC, rises no slower than V^1.5 allows.

    A die of 1 cm² has about 0.09 K/W junction to case (common practice), so area is about 0.09/RthJC cm².
    Specific resistance between half of today's 0.1 mΩ·cm² and 40 mΩ·cm² scaled from 100 V by (V/100)².
    """
    specific = mosfet.rds_on_ohm * 0.09 / mosfet.rth_jc_k_per_w * 1e3  # mΩ·cm²
    scale = (mosfet.vds_v / 100) ** 2 + 0.1
    assert 0.15 < specific / scale < 12


@pytest.mark.parametrize("mosfet", MOSFETS, ids=ids)
def test_body_diode_recovery(mosfet: Mosfet) -> None:
    """A triangle of trr long and Irrm high: Qrr = Irrm trr/2 with Irrm of some ampere to some tens."""
    irrm = 2 * mosfet.qrr_coul / mosfet.trr_s
    assert 1.0 < irrm < 20


def test_temperature_rise_of_resistance_grows_with_voltage() -> None:
    by_voltage = sorted({(m.vds_v, m.rds_hot_ratio) for m in MOSFETS if m.channel == "n"})
    low = [r for v, r in by_voltage if v <= 60]
    high = [r for v, r in by_voltage if v >= 150]
    assert max(low) < min(high)


def test_every_voltage_class_has_a_switch() -> None:
    assert {m.vds_v for m in MOSFETS if m.channel == "n"} >= {30, 40, 55, 60, 75, 100, 150, 200}
    assert {m.vds_v for m in MOSFETS if m.channel == "p"} >= {55, 100}
    assert {m.package for m in MOSFETS} >= {"TO-220", "TO-247", "D2PAK"}


RECTIFIERS = list(LIBRARY.rectifiers.values())


@pytest.mark.parametrize("diode", RECTIFIERS, ids=ids)
def test_rectifier_values_hold_together(diode: Rectifier) -> None:
    drop = diode.drop_v(diode.if_a)
    if diode.technology == "schottky":
        assert 0.4 < drop < 0.9
        assert diode.vrrm_v <= 200
        assert diode.cj_f is not None
    else:
        assert 0.7 < drop < 1.4
        assert 0.05 < 2 * diode.qrr_coul / diode.trr_s < 12
    assert diode.ifsm_a > 4 * diode.if_a


def test_schottky_drop_grows_with_voltage() -> None:
    """At the rated current, where the sheets state it; the lines of two classes may cross far below."""
    for current in (10, 15, 20):
        rows = sorted(
            (d.vrrm_v, round(d.drop_v(d.if_a), 3))
            for d in RECTIFIERS
            if d.technology == "schottky" and d.if_a == current
        )
        by_class = [max(v for _, v in g) for _, g in itertools.groupby(rows, key=lambda r: r[0])]
        assert by_class == sorted(by_class)


def test_common_cathode_and_common_anode_are_both_there() -> None:
    kinds = {(d.technology, d.common) for d in RECTIFIERS}
    assert {("ultrafast", "cathode"), ("ultrafast", "anode"), ("schottky", "cathode")} <= kinds


# ---------------------------------------------------------------- capacitors

ELECTROLYTICS = [c for c in LIBRARY.capacitors.values() if c.technology == "electrolytic"]


def can_m3(capacitor: Capacitor) -> float:
    return math.pi / 4 * capacitor.diameter_m**2 * capacitor.height_m


def voltage_groups() -> Iterable[list[Capacitor]]:
    key = lambda c: (c.life_s < 1e7, c.voltage_v)  # noqa: E731  # snap-in cans apart from radial ones
    for _, group in itertools.groupby(sorted(ELECTROLYTICS, key=key), key=key):
        yield sorted(group, key=can_m3)


def test_enough_electrolytics() -> None:
    assert len(ELECTROLYTICS) >= 25
    assert {c.voltage_v for c in ELECTROLYTICS} >= {10, 16, 25, 35, 50, 63, 80, 100}


def test_bigger_cans_of_one_voltage_do_better() -> None:
    for group in voltage_groups():
        for small, big in itertools.pairwise(group):
            if can_m3(big) > can_m3(small) * 1.01:
                assert big.capacitance_f > small.capacitance_f
                assert big.esr_ohm <= small.esr_ohm
                assert big.ripple_a is not None
                assert small.ripple_a is not None
                assert big.ripple_a >= small.ripple_a


@pytest.mark.parametrize("capacitor", ELECTROLYTICS, ids=ids)
def test_electrolytic_energy_density(capacitor: Capacitor) -> None:
    """½CV² per can volume: 0.05 to 0.6 J/cm³ for low-voltage aluminium of these decades (common practice)."""
    density = 0.5 * capacitor.capacitance_f * capacitor.voltage_v**2 / (can_m3(capacitor) * 1e6)
    assert 0.03 < density < 0.6


@pytest.mark.parametrize("capacitor", ELECTROLYTICS, ids=ids)
def test_electrolytic_ripple_warms_the_can_by_its_usual_few_kelvin(capacitor: Capacitor) -> None:
    """I²·ESR over the can's surface at 15 W/(m² K) gives some kelvin; 5 K is a usual basis of the rating.

    At 105 °C the ESR is about a third of its value at 20 °C. A factor of five each way covers the makers'
    different bases (common practice, no source).
    """
    assert capacitor.ripple_a is not None
    watts = capacitor.ripple_a**2 * capacitor.esr_ohm / 3
    d, h = capacitor.diameter_m, capacitor.height_m
    surface = math.pi * d * h + math.pi / 4 * d**2
    assert 1 < watts / (surface * 15) < 25


@pytest.mark.parametrize(
    "capacitor", [c for c in LIBRARY.capacitors.values() if c.technology != "electrolytic"], ids=ids
)
def test_film_and_ceramic_esr(capacitor: Capacitor) -> None:
    """Loss factor at 100 kHz: C0G and PP a few per mille, PET and X7R a few per cent; plus leads."""
    tan_delta = capacitor.esr_ohm * 2 * math.pi * 100e3 * capacitor.capacitance_f
    assert tan_delta < (0.01 if capacitor.dielectric in ("PP", "C0G") else 0.04)


def test_capacitances_are_preferred_values() -> None:
    decade = values("E12")
    for capacitor in LIBRARY.capacitors.values():
        mantissa = capacitor.capacitance_f / 10 ** math.floor(math.log10(capacitor.capacitance_f) + 1e-9)
        assert np.min(np.abs(decade / decade[0] - mantissa)) < 1e-6, capacitor.id


# ---------------------------------------------------------------- the rest


@pytest.mark.parametrize("driver", LIBRARY.drivers.values(), ids=ids)
def test_driver_set_is_consistent(driver: Driver) -> None:
    """Small-signal definitions (R. H. Small, 1972) within 1 %; air 1.184 kg/m³ and 346.1 m/s at 25 °C."""
    omega = 1 / math.sqrt(driver.mms_kg * driver.cms_m_per_n)
    assert driver.fs_hz == pytest.approx(omega / (2 * math.pi), rel=1e-2)
    assert driver.qms == pytest.approx(omega * driver.mms_kg / driver.rms_kg_per_s, rel=1e-2)
    assert driver.qes == pytest.approx(omega * driver.mms_kg * driver.re_ohm / driver.bl_tm**2, rel=1e-2)
    assert driver.qts == pytest.approx(driver.qms * driver.qes / (driver.qms + driver.qes), rel=1e-2)
    vas = 1.184 * 346.1**2 * driver.sd_m2**2 * driver.cms_m_per_n
    assert driver.vas_m3 == pytest.approx(vas, rel=1e-2)


@pytest.mark.parametrize("driver", LIBRARY.drivers.values(), ids=ids)
def test_driver_is_buildable(driver: Driver) -> None:
    assert 0.70 < driver.re_ohm / driver.impedance_ohm < 0.95
    piston = math.sqrt(4 * driver.sd_m2 / math.pi)
    assert 0.75 < piston / driver.nominal_diameter_m < 0.9
    assert piston < driver.hole_m < driver.frame_m
    assert 0.95 < driver.frame_m / driver.nominal_diameter_m < 1.1
    # at rated noise about half of the rating heats the coil (its impedance is above Re over most of the band,
    # common practice), less as copper warms: rise (1 + 0.0039 rise) = heat times thermal resistance
    heat = driver.power_w * 0.5 * (driver.rth_coil_k_per_w + driver.rth_magnet_k_per_w)
    rise = (math.sqrt(1 + 4 * 0.0039 * heat) - 1) / (2 * 0.0039)
    assert 0.6 * driver.coil_max_c < 25 + rise < driver.coil_max_c
    # copper of 385 J/(kg K), and up to a third more for former and glue
    copper_s = driver.coil_mass_kg * 385 * driver.rth_coil_k_per_w
    assert copper_s < driver.tau_coil_s < 1.33 * copper_s


def test_driver_names_cover_the_sizes() -> None:
    assert {round(d.nominal_diameter_m / 0.0254) for d in LIBRARY.drivers.values()} >= {8, 10, 12, 15}


@pytest.mark.parametrize("sink", LIBRARY.heatsinks.values(), ids=ids)
def test_heatsink_follows_from_its_surface(sink: Heatsink) -> None:
    """Between all its box's faces at 25 W/(m² K) and half of them at 5; fins add up to six times the box."""
    length, width, height = sink.length_m, sink.width_m, sink.height_m
    box = 2 * (length * width + length * height + width * height)
    best = 1 / (25 * box * 3)
    worst = 1 / (5 * box * 0.5)
    assert best < sink.rth_k_per_w < worst
    assert sink.mass_kg < length * width * height * 2700 * 1.01


def test_heatsinks_span_the_need() -> None:
    resistances = sorted(s.rth_k_per_w for s in LIBRARY.heatsinks.values())
    assert resistances[0] < 0.5
    assert resistances[-1] > 15


def test_reference_grades_are_the_sheets() -> None:
    """NXP TL431 family, rev. 02 (read): 2.440 to 2.550 V, 2.470 to 2.520 V, 2.483 to 2.507 V."""
    for name, low, high in (
        ("TL431", 2.440, 2.550),
        ("TL431A", 2.470, 2.520),
        ("TL431B", 2.483, 2.507),
    ):
        part = LIBRARY.reference(name)
        assert part.vref_v * (1 - part.tolerance) == pytest.approx(low, abs=6e-3)
        assert part.vref_v * (1 + part.tolerance) == pytest.approx(high, abs=6e-3)


def test_comparator_figures_are_the_sheets() -> None:
    """TI SNOSBJ3D, ST LM193/293/393, onsemi LM339 (read): 9 mV, 400 nA, 0.7 V, 6 mA, 1.3 µs, V+ − 2 V."""
    for name in ("LM339", "LM393"):
        part = LIBRARY.comparator(name)
        assert (part.vos_v, part.vos_max_v) == (2e-3, 9e-3)
        assert 20e-9 <= part.ib_a <= 65e-9
        assert (part.ib_max_a, part.vol_max_v, part.sink_a) == (400e-9, 0.7, 6e-3)
        assert (part.response_s, part.input_headroom_v) == (1.3e-6, 2.0)
        assert part.open_collector
