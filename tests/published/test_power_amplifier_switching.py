"""MOSFET, snubber and rectifier values as printed in data sheets and handbooks."""

from __future__ import annotations

import pytest
from power_rows import Row, row, rows

from subwright.physics import snubbers as sn
from subwright.physics import switching as sw
from subwright.physics.batteries import corner_defaults

TABLE_7 = "st-std50n03l"
SNUB = "snubbing-lab"
SHEET = "ir-irfb4212"


@rows(
    row(
        "conduction, 5 mΩ 40 A D 0.45 hot 1.3",
        lambda: sw.conduction_loss_w(6.5e-3, 40, 0.45),
        4.68,
        1e-9,
        TABLE_7,
    ),
    row(
        "overlap, 24 V 30 A 50 kHz 20 nC",
        lambda: sw.overlap_loss_w(24, 30, 50e3, 20e-9, 0.5),
        1.44,
        1e-9,
        TABLE_7,
    ),
    row(
        "gate drive, 100 nC 12 V 50 kHz",
        lambda: sw.gate_drive_power_w(100e-9, 12, 50e3),
        60e-3,
        1e-9,
        TABLE_7,
    ),
    row("recovery, 50 V 100 nC 300 kHz", lambda: sw.recovery_loss_w(50, 100e-9, 300e3), 1.50, 1e-9, TABLE_7),
    row(
        "dead time, 1 V 10 A 50 ns",
        lambda: sw.dead_time_loss_w(1, 10, 50e-9, 300e3, edges=1),
        0.15,
        1e-9,
        TABLE_7,
    ),
    row("output charge, 50 V 60 nC 300 kHz", lambda: sw.coss_loss_w(50, 60e-9, 300e3), 0.45, 1e-9, TABLE_7),
    row("100 V TO-220 at 25 °C case", lambda: sw.junction_power_limit_w(175, 25, 2.5), 60.0, 1e-9, SHEET),
    row("100 V TO-220 at 100 °C case", lambda: sw.junction_power_limit_w(175, 100, 2.5), 30.0, 1e-9, SHEET),
    row("its derating, W/K", lambda: sw.junction_power_limit_w(26, 25, 2.5), 0.4, 1e-9, SHEET),
    row(
        "TO-247 TIP35C at 25 °C case",
        lambda: sw.junction_power_limit_w(150, 25, 1.0),
        125.0,
        1e-9,
        "st-tip35c",
    ),
    row(
        "1 nF halves 20 MHz: C", lambda: sn.added_capacitance_method_f(1e-9, 20e6, 10e6), 333e-12, 2e-3, SNUB
    ),
    row("1 nF halves 20 MHz: L", lambda: sn.ring_inductance_h(20e6, 333.3e-12), 190e-9, 3e-3, SNUB),
    row("1 nF halves 20 MHz: R", lambda: sn.snubber_resistance_ohm(190e-9, 333.3e-12), 23.9, 2e-3, SNUB),
    row(
        "snubber heat, 1 nF 30 V 100 kHz",
        lambda: sn.snubber_loss_w(1e-9, 30, 100e3),
        90e-3,
        1e-9,
        "severns-snubbers",
    ),
    row("leakage, 50 nH 60 A 50 kHz", lambda: sn.leakage_loss_w(50e-9, 60, 50e3), 4.5, 1e-9, "derived"),
    row(
        "off-state of a push-pull at 16 V",
        lambda: sw.pushpull_drain_stress_v(16, 0.0),
        32.0,
        1e-9,
        "pressman1998",
    ),
    row("with the handbook's spike", lambda: sw.pushpull_drain_stress_v(16), 41.6, 1e-9, "pressman1998"),
    row("rectifier on a tapped winding, 50 V", lambda: sw.rectifier_reverse_v(50), 100.0, 1e-9, "mohan2003"),
)
def test_printed(row: Row) -> None:
    row.check()


def test_undamped_step_bounds_the_measured_ring() -> None:
    # "RC snubbing for the lab": a 10 V step rings to about 19 V, nearly twice.
    assert 0.9 * sn.undamped_peak_v(10.0) <= 19.0 <= sn.undamped_peak_v(10.0)


def test_added_capacitance_is_three_times_the_parasitic_when_the_ring_halves() -> None:
    # Same article: halving the ring frequency takes three times the parasitic capacitance.
    parasitic = sn.added_capacitance_method_f(1e-9, 20e6, 10e6)
    assert 1e-9 / parasitic == pytest.approx(3.0, rel=1e-12)


@pytest.mark.parametrize(("system", "low", "high"), [(12, 6.0, 16.0), (24, 10.0, 32.0)])
def test_corner_defaults_span_the_widest_iso_16750_2_code(system: int, low: float, high: float) -> None:
    # ISO 16750-2 supply codes, from memory: 12 V code A is 6 to 16 V, 24 V code E is 10 to 32 V.
    volts = [default.volts for default in corner_defaults("lead-acid", system)]
    assert (volts[0], volts[-1]) == (low, high)
    assert volts == sorted(volts)


def test_low_corner_at_rest_lies_above_code_d_under_load() -> None:
    # ISO 16750-2 code D, 12 V: 10.5 to 16 V at the terminals (from memory); at rest a battery stands higher.
    assert 10.5 < corner_defaults("lead-acid", 12)[1].volts < 12.0
