"""Copper, cables, fuses and fusing wires as printed."""

from __future__ import annotations

import pytest
from power_rows import Row, row, rows

from subwright.base.standards import (
    IEC60228_CLASS5,
    VEHICLE_CABLE,
    awg_area,
    awg_diameter,
    cable,
    opening_time,
)
from subwright.physics import electrical as el

IEC = "iec-60028"


def solid_mohm(square_mm: float) -> float:
    return el.conductor_resistance_ohm(1.0, square_mm * 1e-6) * 1e3


@rows(
    row("annealed copper", lambda: el.copper_resistivity_ohm_m(20), 1.7241e-8, 3e-5, IEC),
    row("20 to 60 °C", lambda: el.copper_factor(60), 1.157, 3e-4, IEC),
    row("20 to 90 °C", lambda: el.copper_factor(90), 1.275, 3e-4, IEC),
    row("solid 1.5 mm²", lambda: solid_mohm(1.5), 11.49, 5e-4, IEC),
    row("solid 2.5 mm²", lambda: solid_mohm(2.5), 6.90, 5e-4, IEC),
    row("solid 6 mm²", lambda: solid_mohm(6), 2.87, 2e-3, IEC),
    row("solid 16 mm²", lambda: solid_mohm(16), 1.078, 5e-4, IEC),
    row(
        "20 A, 4 m, 2.5 mm² vehicle cable",
        lambda: el.voltage_drop_v(20, 4, 7.6e-3),
        1.216,
        1e-9,
        "iso-6722-1",
    ),
    row("its share of 12 V", lambda: el.voltage_drop_v(20, 4, 7.6e-3) / 12, 0.101, 5e-3, "iso-6722-1"),
    row("Preece, AWG 12", lambda: el.preece_current_a(awg_diameter(12)), 235.3, 1e-3, "brooks-preece"),
    row("Preece, AWG 18", lambda: el.preece_current_a(awg_diameter(18)), 82.9, 1e-3, "brooks-preece"),
    row("AWG 4, mΩ/m", lambda: solid_mohm(awg_area(4) * 1e6), 0.8152, 1e-3, "astm-b258"),
    row("AWG 8, mΩ/m", lambda: solid_mohm(awg_area(8) * 1e6), 2.061, 1e-3, "astm-b258"),
    row("AWG 12, mΩ/m", lambda: solid_mohm(awg_area(12) * 1e6), 5.211, 1e-3, "astm-b258"),
    row("AWG 16, mΩ/m", lambda: solid_mohm(awg_area(16) * 1e6), 13.17, 1e-3, "astm-b258"),
    row("reverse MOSFET, 50 A 2 mΩ", lambda: el.reverse_mosfet_loss_w(50, 2e-3), 5.0, 1e-9, "derived"),
)
def test_printed(row: Row) -> None:
    row.check()


@pytest.mark.parametrize("section", [s for s in VEHICLE_CABLE if s in IEC60228_CLASS5])
def test_vehicle_cable_lies_between_solid_copper_and_class_5(section: float) -> None:
    # ISO 6722-1 rows are from memory; each must lie between the ideal conductor and IEC 60228 class 5.
    ours = cable(section, "vehicle").resistance_ohm_per_m
    assert el.conductor_resistance_ohm(1.0, section) < ours < cable(section, "iec60228").resistance_ohm_per_m


def test_strict_fuse_rule_on_thin_wall_cable() -> None:
    # ABYC E-11.10 with thin-wall ratings: a 30 A fuse fails on 2.5 mm² (29 A) and passes on 3 mm² (33 A).
    ratings = {mm2: cable(mm2 * 1e-6, "vehicle").current_a for mm2 in (2.5, 3.0)}
    assert ratings == {2.5: 29.0, 3.0: 33.0}
    assert not el.fuse_hold_ok(25.0, 30.0, 29.0)
    assert el.fuse_hold_ok(25.0, 30.0, 33.0)


def test_three_per_cent_rule_of_the_example() -> None:
    # 20 A over 4 m of 2.5 mm² loses 1.216 V, far above 3 % of 12 V.
    assert el.voltage_drop_v(20.0, 4.0, 7.6e-3) > 0.36


def test_blade_fuse_opens_in_the_printed_window() -> None:
    # ISO 8820-3 type C at 200 %: 0.15 s to 5 s (from memory, as are all its times).
    window = opening_time("blade C", 2.0)
    assert (window.shortest_s, window.longest_s) == (0.15, 5.0)
