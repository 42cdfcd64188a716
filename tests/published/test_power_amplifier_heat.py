"""Junctions, plates and convection as printed."""

from __future__ import annotations

import pytest
from power_rows import Row, row, rows

from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.physics import surfaces as sf
from subwright.physics import thermal as th
from subwright.physics.surfaces import PlateFinish

LECTURE = "tip31-lecture"
PLATE = "valvo-plate"


def plate(finish: PlateFinish) -> float:
    return sf.plate_rth_k_per_w(0.01, 2e-3, finish)


@rows(
    row("TIP31 3.9 W: case", lambda: th.junction_temperature_c(25, 3.9, 0, 0, 13), 76, 1 / 76, LECTURE),
    row(
        "TIP31 3.9 W: junction", lambda: th.junction_temperature_c(25, 3.9, 3.125, 0, 13), 88, 1 / 88, LECTURE
    ),
    row("TIP31 6 W: case", lambda: th.junction_temperature_c(25, 6, 0, 0, 13), 103, 1e-9, LECTURE),
    row(
        "TO-220 greased, bare",
        lambda: th.TO220_INTERFACE_K_PER_W["metal to metal"][1],
        1.0,
        1e-9,
        "onsemi-an1040",
    ),
    row("TO-220 greased, mica", lambda: th.TO220_INTERFACE_K_PER_W["mica"][1], 1.6, 1e-9, "onsemi-an1040"),
    row(
        "TIP35C junction to case",
        lambda: OUTPUT_STAGES["TIP35C/TIP36C"].rth_jc_k_per_w,
        1.0,
        1e-9,
        "st-tip35c",
    ),
    row("plate 100 cm² bright, flat", lambda: plate("bright horizontal"), 8.11, 1e-3, PLATE),
    row("plate 100 cm² bright, upright", lambda: plate("bright vertical"), 7.07, 1e-3, PLATE),
    row("plate 100 cm² black, flat", lambda: plate("black horizontal"), 4.60, 1e-3, PLATE),
    row("plate 100 cm² black, upright", lambda: plate("black vertical"), 4.10, 1e-3, PLATE),
    row("0.1 m plate, 40 K: h", lambda: sf.plate_convection_w_per_m2_k(40, 0.1), 6.35, 1e-3, "holman"),
    row("0.1 m plate, 40 K: heat", lambda: sf.plate_heat_w(40, 25, 0.02, 0.1, 0), 5.08, 1e-3, "holman"),
    row("0.1 m plate, 40 K: K/W", lambda: 40 / sf.plate_heat_w(40, 25, 0.02, 0.1, 0), 7.87, 1e-3, "holman"),
    row(
        "regulator 1.88 W, bare TO-220 in 50 °C",
        lambda: th.junction_temperature_c(50, (14.4 - 5) * 0.2, 65, 0, 0),
        172,
        2e-3,
        "tip31-lecture",
    ),
)
def test_printed(row: Row) -> None:
    row.check()


def test_emissivity_and_still_air_give_the_usual_total() -> None:
    # A heatsink selection article gives 3 to 20 W/(m² K) in still air for all surfaces together.
    for emissivity in (0.05, 0.85):
        total = sf.plate_convection_w_per_m2_k(40.0, 0.1) + sf.radiation_w_per_m2_k(65.0, 25.0, emissivity)
        assert 3.0 < total < 20.0


def test_the_two_published_plates_agree_within_the_handbooks_spread() -> None:
    # Siemens and Valvo state ±20 %; a black upright plate by Holman and Stefan-Boltzmann at 40 K.
    watts = sf.plate_heat_w(40.0, 25.0, 0.02, 0.1, 0.85)
    assert 40.0 / watts == pytest.approx(plate("black vertical"), rel=0.2)


def test_order_of_merit_of_interfaces() -> None:
    # Mazda (ed.), Power Electronics Handbook, table 2.1: grease conducts better than air, mica costs extra.
    for dry, greased in th.TO220_INTERFACE_K_PER_W.values():
        assert greased < dry
    assert th.TO220_INTERFACE_K_PER_W["mica"][1] > th.TO220_INTERFACE_K_PER_W["metal to metal"][0]
