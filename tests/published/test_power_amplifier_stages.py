"""Class B, class D, output filters and bus pumping as printed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from power_rows import Row, row, rows

from subwright.physics import amplifiers as amp
from subwright.physics import class_d as cd

BOOK = "boylestad"
TI = "ti-slaa701"
NXP = "nxp-tfa9812"
TPA = "ti-tpa3125"


def single(load: float) -> tuple[float, float]:
    return cd.output_filter_l_c(load, 40e3)


@rows(
    row("class B at best", lambda: amp.CLASS_B_MAX_EFFICIENCY, 0.7854, 1e-4, BOOK),
    row("ex. 12.9: 24 V, 22 V peak", lambda: amp.class_b_efficiency(24, 22), 0.72, 1e-3, BOOK),
    row("ex. 12.9: 24 V, 6 V peak", lambda: amp.class_b_efficiency(24, 6), 0.196, 3e-3, BOOK),
    row("ex. 12.7: output", lambda: amp.sine_power_w(20, 16), 12.5, 1e-9, BOOK),
    row("ex. 12.7: input", lambda: amp.class_b_input_power_w(30, 20, 16), 23.9, 2e-3, BOOK),
    row("ex. 12.7: efficiency", lambda: amp.class_b_efficiency(30, 20), 0.523, 2e-3, BOOK),
    row("±45 V, 4 Ω: worst, both", lambda: amp.class_b_worst_dissipation_w(45, 4), 102.6, 1e-3, BOOK),
    row("±45 V, 4 Ω: worst, each", lambda: amp.class_b_worst_dissipation_w(45, 4) / 2, 51.3, 1e-3, BOOK),
    row("40 kHz 4 Ω: L", lambda: single(4)[0], 22.5e-6, 3e-3, TI),
    row("40 kHz 4 Ω: C", lambda: single(4)[1], 0.703e-6, 1e-3, TI),
    row("40 kHz 8 Ω: L", lambda: single(8)[0], 45.0e-6, 1e-3, TI),
    row("40 kHz 8 Ω: C", lambda: single(8)[1], 0.352e-6, 2e-3, TI),
    row("40 kHz 4 Ω: Q", lambda: cd.lc_quality(*single(4), 4), 0.707, 5e-4, TI),
    row("6 Ω 15 µH 680 nF: f0", lambda: cd.lc_corner_hz(15e-6, 680e-9), 49.8e3, 2e-3, NXP),
    row("8 Ω 18 µH 560 nF: f0", lambda: cd.lc_corner_hz(18e-6, 560e-9), 50.1e3, 2e-3, NXP),
    row("16 Ω 47 µH 330 nF: f0", lambda: cd.lc_corner_hz(47e-6, 330e-9), 40.4e3, 2e-3, NXP),
    row("6 Ω 15 µH 680 nF: Q", lambda: cd.lc_quality(15e-6, 680e-9, 6, bridge=True), 0.64, 5e-3, NXP),
    row("8 Ω 18 µH 560 nF: Q", lambda: cd.lc_quality(18e-6, 560e-9, 8, bridge=True), 0.71, 8e-3, NXP),
    row("16 Ω 47 µH 330 nF: Q", lambda: cd.lc_quality(47e-6, 330e-9, 16, bridge=True), 0.67, 2e-3, NXP),
    row("coupling 4 Ω 60 Hz", lambda: amp.coupling_capacitance_f(60, 4), 663e-6, 1e-3, TPA),
    row("coupling 4 Ω 40 Hz", lambda: amp.coupling_capacitance_f(40, 4), 995e-6, 1e-3, TPA),
    row("coupling 4 Ω 20 Hz", lambda: amp.coupling_capacitance_f(20, 4), 1989e-6, 1e-3, TPA),
    row("coupling 8 Ω 60 Hz", lambda: amp.coupling_capacitance_f(60, 8), 332e-6, 2e-3, TPA),
    row("coupling 8 Ω 40 Hz", lambda: amp.coupling_capacitance_f(40, 8), 497e-6, 2e-3, TPA),
    row("coupling 8 Ω 20 Hz", lambda: amp.coupling_capacitance_f(20, 8), 995e-6, 1e-3, TPA),
    row("±35 V, 400 kHz, 22 µH", lambda: cd.ripple_current_pp_a(70, 22e-6, 400e3), 1.99, 2e-3, "derived"),
    row(
        "100 W, 4 Ω, 72.5 mΩ × 1.5",
        lambda: cd.class_d_conduction_w(100, 1.5 * 72.5e-3, 4),
        2.7,
        1e-2,
        "honda-cerezo2003",
    ),
    row("pumping, M 2/π", lambda: cd.rail_pumping_v(50, 2 / math.pi, 20, 4, 4700e-6), 6.74, 1e-3, "derived"),
    row("pumping, M 1", lambda: cd.rail_pumping_v(50, 1.0, 20, 4, 4700e-6), 4.54, 1e-3, "derived"),
)
def test_printed(row: Row) -> None:
    row.check()


def test_worst_class_b_drive_is_where_the_book_puts_it() -> None:
    # Boylestad & Nashelsky ex. 12.8: Vp = 2 V/pi, 28.6 V on 45 V rails; found here by search.
    peaks = np.linspace(0.1, 45.0, 4491)
    heat = [amp.class_b_dissipation_w(45.0, float(p), 4.0) for p in peaks]
    best = int(np.argmax(heat))
    assert peaks[best] == pytest.approx(28.6, rel=2e-3)
    assert heat[best] == pytest.approx(amp.class_b_worst_dissipation_w(45.0, 4.0), rel=1e-6)


@pytest.mark.parametrize(
    ("exact_uf", "chosen_uf"),
    [(663, 680), (995, 1000), (1989, 2200), (332, 330), (497, 470)],
)
def test_the_data_sheet_takes_the_preferred_neighbour(exact_uf: float, chosen_uf: float) -> None:
    # TPA3125D2 data sheet, table 3: the printed capacitors are E6 and E12 neighbours of the exact value.
    assert chosen_uf / exact_uf == pytest.approx(1.0, abs=0.11)


@pytest.mark.parametrize(
    ("name", "changed"),
    [
        ("lower note", {"frequency_hz": 15.0}),
        ("lower load", {"load_ohm": 3.0}),
        ("less capacitance", {"capacitance_f": 3300e-6}),
        ("more output, up to 2/π", {"modulation": 0.55}),
    ],
)
def test_bus_pumping_gets_worse_the_way_the_reference_designs_say(
    name: str, changed: dict[str, float]
) -> None:
    # International Rectifier IRAUDAMP4 and IRAUDAMP1, page 5.
    base = {
        "rail_v": 35.0,
        "modulation": 0.4,
        "frequency_hz": 20.0,
        "load_ohm": 4.0,
        "capacitance_f": 4700e-6,
    }
    assert cd.rail_pumping_v(**(base | changed)) > cd.rail_pumping_v(**base), name


def test_bus_pumping_is_small_above_100_hz() -> None:
    # Same page: it appears below about 100 Hz.
    at_20 = cd.rail_pumping_v(35.0, 2 / math.pi, 20.0, 4.0, 4700e-6)
    at_100 = cd.rail_pumping_v(35.0, 2 / math.pi, 100.0, 4.0, 4700e-6)
    assert at_20 > 4.0
    assert at_100 < 1.0


def test_bridge_ceilings_of_a_12_v_battery() -> None:
    # Ohm's law: 12 V into 4 Ω is 36 W as a square wave, 18 W as a sine.
    assert amp.bridge_square_power_w(12.0, 4.0) == 36.0
    assert amp.bridge_sine_power_w(12.0, 4.0) == 18.0


def test_square_wave_has_its_textbook_distortion() -> None:
    # Fourier series of the square wave: sqrt(pi²/8 - 1) = 48.3 %.
    assert amp.clipped_sine_thd(1e7) == pytest.approx(0.4834, rel=1e-3)
