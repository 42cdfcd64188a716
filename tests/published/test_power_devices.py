"""Rectifiers, avalanche, heat and damping as data sheets and textbooks print them."""

from __future__ import annotations

import numpy as np
import pytest
from power_rows import Row, row, rows

from subwright.base.sources import get
from subwright.physics.class_d import parallel_damping_ohm
from subwright.physics.electrical import adiabatic_section_m2, peukert_time_s, preece_diameter_m
from subwright.physics.rail_switching import gaussian_levels
from subwright.physics.snubbers import avalanche_energy_j
from subwright.physics.surfaces import air_film
from subwright.physics.switching import rectifier_loss_w
from subwright.physics.thermal import sink_rth_needed_k_per_w, time_to_reach_s

# STMicroelectronics data sheets, one diode hot: the printed P = V0 I(av) + R I(rms)² in V and mΩ, and the
# printed largest forward voltage at two currents, V and A
FORWARD = (
    ("STTH3002CT", 0.69, 10.0, 0.84, 15.0),
    ("STTH3002CT", 0.69, 10.0, 0.99, 30.0),
    ("STPS40H100CW", 0.50, 5.5, 0.61, 20.0),
    ("STPS40H100CW", 0.50, 5.5, 0.72, 40.0),
    ("STPS8H100", 0.48, 12.5, 0.58, 8.0),
    ("STPS8H100", 0.48, 12.5, 0.68, 16.0),
    ("STPS20150CT", 0.64, 11.0, 0.75, 10.0),
    ("STPS20150CT", 0.64, 11.0, 0.86, 20.0),
    ("STPS16150CT", 0.64, 14.0, 0.75, 8.0),
    ("STPS16150CT", 0.64, 14.0, 0.86, 16.0),
    ("STPS60150C", 0.60, 5.3, 0.76, 30.0),
    ("STPS60150C", 0.60, 5.3, 0.92, 60.0),
    ("STTH10002", 0.63, 3.4, 0.80, 50.0),
    ("STTH10002", 0.63, 3.4, 0.97, 100.0),
    ("STTH1302", 0.80, 23.0, 0.95, 6.5),
    ("STTH1302", 0.80, 23.0, 1.10, 13.0),
)


@pytest.mark.parametrize(("part", "v0", "milliohm", "drop", "current"), FORWARD)
def test_loss_equation_meets_the_forward_voltage(
    part: str, v0: float, milliohm: float, drop: float, current: float
) -> None:
    # a steady current dissipates the printed drop times itself
    assert get("st-an604").key == "st-an604"
    loss = rectifier_loss_w(v0, milliohm * 1e-3, current, current)
    assert loss / current == pytest.approx(drop, abs=0.006), part


@rows(
    # International Rectifier data sheets, third generation: EAS with its note of L, IAS and VDD = 25 V (50
    # V from 200 V up); 230 mJ read, the rest from memory
    row("IRF540", lambda: 1e3 * avalanche_energy_j(440e-6, 28.0, 100.0, 25.0), 230.0, 5e-3, "ir-an1005"),
    row("IRF530", lambda: 1e3 * avalanche_energy_j(528e-6, 14.0, 100.0, 25.0), 69.0, 5e-3, "ir-an1005"),
    row("IRF520", lambda: 1e3 * avalanche_energy_j(3.5e-3, 9.2, 100.0, 25.0), 200.0, 0.025, "ir-an1005"),
    row("IRF640", lambda: 1e3 * avalanche_energy_j(2.7e-3, 18.0, 200.0, 50.0), 580.0, 0.01, "ir-an1005"),
    row("IRF740", lambda: 1e3 * avalanche_energy_j(9.1e-3, 10.0, 400.0, 50.0), 520.0, 5e-3, "ir-an1005"),
    row("IRF840", lambda: 1e3 * avalanche_energy_j(14e-3, 8.0, 500.0, 50.0), 510.0, 0.035, "ir-an1005"),
    # later sheets of the same maker leave the supply out, E = L I²/2 (all numbers read)
    row("IRF1010N", lambda: 1e3 * avalanche_energy_j(270e-6, 43.0, 55.0, 0.0), 250.0, 5e-3, "ir-an1005"),
    row("IRFB4110", lambda: 1e3 * avalanche_energy_j(33e-6, 108.0, 100.0, 0.0), 190.0, 0.02, "ir-an1005"),
    row("Rashid, ex. 4.4", lambda: sink_rth_needed_k_per_w(150, 25, 125, 0.4, 0.1), 0.5, 1e-9, "rashid2014"),
    # Incropera, example 5.1: a bead of 1 s from 25 °C to 199 °C in gas of 200 °C takes 5.2 s (from memory)
    row("bead in hot gas", lambda: time_to_reach_s(199, 25, 25, 175, 1.0, 1.0), 5.2, 0.01, "incropera"),
    # Erickson & Maksimović, ch. 10: 330 µH, 470 µF and 2.5 times that for damping (from memory)
    row("damping", lambda: parallel_damping_ohm(330e-6, 470e-6, 2.5), 0.67, 7.5e-3, "erickson2001"),
    # worked examples of battery and cable texts
    row("100 Ah in 100 h, 5 A", lambda: hours(100, 100, 5, 1.2), 14.5, 3.5e-3, "peukert1897"),
    row("250 Ah in 250 h, 20 A", lambda: hours(250, 250, 20, 1.3), 5.0886, 1e-5, "peukert1897"),
    row("3 kA for 0.4 s, mm²", lambda: adiabatic_section_m2(3e3, 0.4) * 1e6, 16.5, 3e-3, "iec-60364-5-54"),
    # the table that goes with Preece's law, copper, inches (from memory)
    row("fuses at 5 A", lambda: preece_diameter_m(5.0) / 25.4e-3, 0.0062, 8e-3, "brooks-preece"),
    row("fuses at 10 A", lambda: preece_diameter_m(10.0) / 25.4e-3, 0.0098, 5e-3, "brooks-preece"),
    row("fuses at 20 A", lambda: preece_diameter_m(20.0) / 25.4e-3, 0.0156, 3.5e-3, "brooks-preece"),
    row("fuses at 50 A", lambda: preece_diameter_m(50.0) / 25.4e-3, 0.0288, 2e-3, "brooks-preece"),
    row("fuses at 100 A", lambda: preece_diameter_m(100.0) / 25.4e-3, 0.0457, 1.2e-3, "brooks-preece"),
    row("fuses at 200 A", lambda: preece_diameter_m(200.0) / 25.4e-3, 0.0725, 1e-3, "brooks-preece"),
)
def test_printed(row: Row) -> None:
    row.check()


def hours(amp_hours: float, rated_h: float, current_a: float, exponent: float) -> float:
    """Peukert's time in h."""
    return peukert_time_s(amp_hours * 3600, current_a, exponent, rated_h * 3600) / 3600


@pytest.mark.parametrize(
    ("kelvin", "milliwatts_per_m_k", "square_mm_per_s"),
    [(250, 22.3, 11.44), (300, 26.3, 15.89), (350, 30.0, 20.92), (400, 33.8, 26.41)],
)
def test_air(kelvin: float, milliwatts_per_m_k: float, square_mm_per_s: float) -> None:
    # Incropera, table A.4 (from memory); our power laws are stated to 1 %
    conductivity, viscosity = air_film(np.asarray(kelvin - 273.15))
    assert float(conductivity) * 1e3 == pytest.approx(milliwatts_per_m_k, rel=0.01)
    assert float(viscosity) * 1e6 == pytest.approx(square_mm_per_s, rel=0.01)


@pytest.mark.parametrize(
    ("reach", "outside"), [(1.0, 0.3173), (1.5, 0.1336), (2.0, 0.0455), (2.5, 0.0124), (3.0, 0.0027)]
)
def test_levels_of_programme_are_normal(reach: float, outside: float) -> None:
    # tables of the normal distribution: share beyond so many standard deviations
    crest_db = 18.0
    levels, share = gaussian_levels(crest_db, count=4000)
    beyond = float(share[levels * 10 ** (crest_db / 20) > reach].sum())
    assert beyond == pytest.approx(outside, abs=1.1e-3)


def test_mean_efficiency_with_two_rails() -> None:
    # Raab 1986, abstract: at typical ratios of peak to mean, ideal class B has 35 to 40 % on average, class
    # G of two rails 60 to 70 %; here normal programme of 10 dB crest and the best place of the lower rail
    assert get("raab1986").key == "raab1986"
    levels, share = gaussian_levels(10.0)
    out = float(share @ levels**2)
    assert 0.35 < out / float(share @ levels) < 0.40
    best = max(
        out / float(share @ (levels * np.where(levels > inner, 1.0, inner)))
        for inner in np.arange(0.2, 0.9, 0.02)
    )
    assert 0.60 < best < 0.70
