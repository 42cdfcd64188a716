"""Modulators and gate drivers as printed in data sheets and handbooks."""

from __future__ import annotations

import math

from power_rows import Row, row, rows

from subwright.parts.library import load_library
from subwright.physics import modulators as mod

LIBRARY = load_library()
DRIVER = LIBRARY.gate_driver("IR2110")
FAST = LIBRARY.fast_comparator("LM319")
LOGIC = LIBRARY.schmitt_inverter("74HC14")
SHEET, COMPARATOR = "ir-2110", "ti-lm319"


@rows(
    # 54 nC + 115 µA/20 kHz is printed as 59.8 nC, and 59.8 nF for 1 V
    row(
        "charge of a bootstrap, 54 nC and 115 µA at 20 kHz",
        lambda: mod.bootstrap_charge_coul(54e-9, 115e-6, 1.0 / 20e3, 0.0),
        59.8e-9,
        1e-3,
        "ti-mcf8329",
    ),
    # t = -ln(1 - V_T/V) R C for a rising edge; falling, the same way from the other side
    row(
        "delay of an RC network before a Schmitt trigger, 1.7 V of 4.5 V",
        lambda: mod.discharge_delay_s(1e3, 1e-9, 4.5, 4.5 - 1.7),
        -math.log(1.0 - 1.7 / 4.5) * 1e-6,
        1e-9,
        "ti-hct14",
    ),
    # relaxation oscillator with three equal halves: T = 2.2 R C
    row(
        "relaxation oscillator, half of the output fed back, over R C",
        lambda: (
            1.0 / mod.relaxation_clock(6.0, 0.0, 1e-3, 10e3, 1e-9, 10e3, 10e3, 5e3, 0.0).frequency_hz / 10e-6
        ),
        2.2,
        2e-3,
        "horowitz-hill",
    ),
    row("driver on, typical", lambda: DRIVER.on_s, 120e-9, 1e-9, SHEET),
    row("driver on, largest", lambda: DRIVER.on_max_s, 150e-9, 1e-9, SHEET),
    row("driver off, typical", lambda: DRIVER.off_s, 94e-9, 1e-9, SHEET),
    row("driver off, largest", lambda: DRIVER.off_max_s, 125e-9, 1e-9, SHEET),
    row("driver's channels apart", lambda: DRIVER.match_s, 10e-9, 1e-9, SHEET),
    row("the same of its 600 V sister", lambda: LIBRARY.gate_driver("IR2113").match_s, 20e-9, 1e-9, SHEET),
    row("floating quiescent current, largest", lambda: DRIVER.floating_max_a, 230e-6, 1e-9, SHEET),
    row("floating supply starts, highest", lambda: DRIVER.start_max_v, 9.7, 1e-9, SHEET),
    row("floating supply stops, highest", lambda: DRIVER.stop_max_v, 9.4, 1e-9, SHEET),
    row("output at 15 V into a short, typical", lambda: 15.0 / DRIVER.output_ohm, 2.5, 1e-9, SHEET),
    row("level shift of one edge", lambda: DRIVER.shift_coul, 5e-9, 1e-9, "ir-an978"),
    row("comparator's response", lambda: FAST.response_s, 80e-9, 1e-9, COMPARATOR),
    row("between its inputs", lambda: FAST.difference_max_v, 5.0, 1e-9, COMPARATOR),
    row("ground pin to positive supply", lambda: FAST.ground_max_v, 18.0, 1e-9, COMPARATOR),
    row("its offset over temperature", lambda: FAST.vos_max_v, 10e-3, 1e-9, COMPARATOR),
    row("upper threshold, greatest", lambda: LOGIC.rising_max_v, 3.15, 1e-9, "onsemi-hc14"),
    row("upper threshold, least", lambda: LOGIC.rising_min_v, 2.3, 1e-9, "onsemi-hc14"),
    row("lower threshold, greatest", lambda: LOGIC.falling_max_v, 2.0, 1e-9, "onsemi-hc14"),
    row("lower threshold, least", lambda: LOGIC.falling_min_v, 0.9, 1e-9, "onsemi-hc14"),
    row("lower threshold, typical", lambda: LOGIC.falling_v, 1.53, 1e-9, "nxp-hc1g14"),
)
def test_printed(row: Row) -> None:
    row.check()
