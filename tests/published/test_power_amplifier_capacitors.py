"""Capacitor life, rectified rails and hold-up as printed."""

from __future__ import annotations

from power_rows import Row, row, rows

from subwright.physics import capacitors as cap
from subwright.physics.rc_timing import rc_charge_time_s, resistor_charge_energy_j

HOUR = 3600.0
BOOK = "boylestad"


def life(celsius: float) -> float:
    return cap.electrolytic_life_s(2000 * HOUR, 105.0, celsius) / HOUR


@rows(
    row("2000 h at 105 °C: at 95 °C", lambda: life(95), 4000, 1e-9, "electrolytic-rule"),
    row("2000 h at 105 °C: at 85 °C", lambda: life(85), 8000, 1e-9, "electrolytic-rule"),
    row("2000 h at 105 °C: at 65 °C", lambda: life(65), 32000, 1e-9, "electrolytic-rule"),
    row("ex. 15.3: 50 mA 100 µF", lambda: cap.full_wave_ripple_rms_v(50e-3, 100e-6), 1.2, 1e-9, BOOK),
    row("ex. 15.4: 30 V 50 mA 100 µF", lambda: cap.full_wave_dc_v(30, 50e-3, 100e-6), 27.9, 1e-3, BOOK),
    row(
        "10 A, d 0.9, 50 kHz, 1000 µF",
        lambda: cap.pulse_ripple_v(10, 0.9, 50e3, 1e-3),
        10e-3,
        1e-9,
        "derived",
    ),
    row("10 A, d 0.8: ripple current", lambda: cap.pulse_ripple_current_a(10, 0.8), 5.0, 1e-9, "derived"),
    row("10 A, d 0.9: ripple current", lambda: cap.pulse_ripple_current_a(10, 0.9), 3.33, 2e-3, "derived"),
    row("5 A in 20 mΩ", lambda: cap.ripple_heat_w(5, 20e-3), 0.5, 1e-9, "bhc-notes"),
    row(
        "500 W, 10 ms, 50 to 40 V",
        lambda: cap.hold_up_capacitance_f(500, 0.01, 50, 40),
        11.1e-3,
        2e-3,
        "derived",
    ),
    row(
        "pre-charge of 10 mF to 14.4 V", lambda: resistor_charge_energy_j(10e-3, 14.4), 1.04, 5e-3, "derived"
    ),
    row("22 Ω, 10 mF to 95 %", lambda: rc_charge_time_s(22, 10e-3, 0.95, 1.0), 0.66, 5e-3, "derived"),
    row("22 Ω pre-charge from 14.4 V: peak", lambda: 14.4 / 22, 0.65, 1e-2, "derived"),
)
def test_printed(row: Row) -> None:
    row.check()
