"""Transformer relations, core loss, skin and proximity effect, temperature rise against printed values.

Each row names its source. Values marked "from memory" were recalled from it, not read again; rows marked
"derived" are identities that the source implies. Tolerances are the source's rounding or its own spread.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.base.standards import awg_diameter
from subwright.physics.core_loss import (
    fit_power_law,
    igse_coefficient,
    igse_coefficient_approximate,
    igse_trapezoid,
    steinmetz,
    trapezoid_over_sine,
)
from subwright.physics.magnetic_thermal import (
    rise_from_surface_load,
    rise_from_surface_power,
    thermal_resistance_from_volume,
)
from subwright.physics.magnetics import (
    area_product_power,
    flat_top_current,
    flux_peak_square_wave,
    flux_swing,
    half_winding_rms,
    handbook_apparent_power,
    on_time,
    secondary_over_primary,
    turns_square_wave,
)
from subwright.physics.winding_loss import (
    CIRCULAR_MIL_M2,
    copper_resistivity,
    dowell_factor,
    largest_strand,
    skin_depth,
    wire_resistance,
)

CM2, GAUSS = 1e-4, 1e-4


# --- push-pull relations -------------------------------------------------------------


def test_turns_of_a_half_primary() -> None:
    # "Ferrite transformer turns calculation for high-frequency/SMPS inverter", worked tutorial, ETD39 (inputs
    # read): N = V·10^8/(4 f B A_e) with 12 V, 50 kHz, 1500 G, 1.25 cm² gives 3.2, taken as 3
    turns = turns_square_wave(12.0, 1.0, 50e3, 1500 * GAUSS, 1.25 * CM2)
    assert turns == pytest.approx(3.2, rel=1e-12)
    # … and the check with 3 turns gives 1600 G
    assert flux_peak_square_wave(12.0, 1.0, 50e3, 3, 1.25 * CM2) == pytest.approx(1600 * GAUSS, rel=1e-12)


def test_turns_ratio_of_the_same_example() -> None:
    # same tutorial: 310 V from a 10.5 V battery; with d = 0.98 (from memory) 30.1, 91 turns on 3
    ratio = secondary_over_primary(310.0, 0.98, 10.5)
    assert ratio == pytest.approx(30.1, rel=0.01)
    assert math.ceil(3 * float(ratio)) == 91


def test_flat_top_and_rms_primary_current() -> None:
    # Pressman, Switching Power Supply Design, 2nd ed., section 2.2 (from memory): 1.56 P/V and 0.986 P/V
    flat = flat_top_current(500.0, 11.0, 0.8, 0.8)
    assert flat == pytest.approx(70.9, rel=0.01)
    assert flat == pytest.approx(1.56 * 500.0 / 11.0, rel=0.005)
    assert half_winding_rms(flat, 0.8) == pytest.approx(44.8, rel=0.01)
    assert half_winding_rms(1.56, 0.8) == pytest.approx(0.986, rel=0.001)


@pytest.mark.parametrize(
    ("volts", "f", "duty", "expected"),
    [
        # TI SN6507 data sheet (2022), transformer V-t product, eq. 9: fixed duty, 24 V + 10 %, 780 kHz
        (26.4, 780e3, 1.0, 16.9e-6),
        # same, eq. 10: line-compensated duty, half of it at the typical voltage
        (24.0, 780e3, 0.5, 7.69e-6),
    ],
)
def test_volt_second_product(volts: float, f: float, duty: float, expected: float) -> None:
    assert flux_swing(volts, on_time(f, duty), 1.0, 1.0) == pytest.approx(expected, rel=0.01)


def test_handbook_apparent_power() -> None:
    # McLyman, AN109, step 2: 60 W, η 0.98, √2 taken as 1.41: 171 W
    assert handbook_apparent_power(60.0, 0.98) == pytest.approx(171.0, rel=0.005)


def test_area_product_power() -> None:
    # Pressman, 2nd ed., ch. 7 (from memory): P = 0.00100 B f A_e A_b/D_cma, 1600 G, 50 kHz, 1.25 and 1.77 cm²
    density = 1.0 / (500 * CIRCULAR_MIL_M2)
    power = area_product_power(0.16, 50e3, 1.25 * CM2, 1.77 * CM2, density, 0.4, 0.8, 0.8)
    assert power == pytest.approx(354.0, rel=0.01)


# --- core loss -----------------------------------------------------------------------

# Magnetics Inc. ferrite catalogue, core-loss page (from memory): P[mW/cm³] = a f^c B^d, f in kHz, B in kG
MAGNETICS_FITS = {
    "R below 100 kHz": (0.074, 1.43, 2.85),
    "R 100 to 500 kHz": (0.036, 1.64, 2.68),
    "P below 100 kHz": (0.158, 1.36, 2.86),
    "P 100 to 500 kHz": (0.0434, 1.63, 2.62),
}


@pytest.mark.parametrize(
    ("fit", "f", "b", "expected"),
    [
        ("R below 100 kHz", 25e3, 0.2, 53.2),
        ("R 100 to 500 kHz", 100e3, 0.1, 68.6),
        ("R 100 to 500 kHz", 100e3, 0.2, 440.0),
        ("P below 100 kHz", 25e3, 0.2, 91.4),
        ("P 100 to 500 kHz", 100e3, 0.1, 79.0),
        ("P 100 to 500 kHz", 100e3, 0.2, 485.0),
    ],
)
def test_published_power_law(fit: str, f: float, b: float, expected: float) -> None:
    a, c, d = MAGNETICS_FITS[fit]
    k = a * 1e3 * 1e-3**c * 10.0**d  # mW/cm³ from kHz and kG -> W/m³ from Hz and T
    assert steinmetz(f, b, k, c, d) == pytest.approx(expected * 1e3, rel=0.01)


def test_exponents_from_two_points() -> None:
    # N87: α = ln(375/57)/ln 4 (derived from the two table points)
    _, alpha, beta = fit_power_law((25e3, 100e3, 100e3), (0.2, 0.2, 0.1), (57e3, 375e3, 62e3))
    assert alpha == pytest.approx(1.36, abs=0.05)
    assert beta == pytest.approx(math.log(375 / 62) / math.log(2), rel=1e-12)


@pytest.mark.parametrize(
    ("alpha", "expected"), [(1.0, 1.000), (1.3, 0.951), (1.4, 0.932), (1.43, 0.926), (2.0, 8 / math.pi**2)]
)
def test_triangle_over_sine(alpha: float, expected: float) -> None:
    # derived from the iGSE of Venkatachalam, Sullivan, Abdallah, Tacca, COMPEL 2002
    assert trapezoid_over_sine(alpha) == pytest.approx(expected, rel=0.002)


@pytest.mark.parametrize(("duty", "expected"), [(0.8, 1.093), (0.6, 1.227)])
def test_flux_trapezoid(duty: float, expected: float) -> None:
    # derived from the iGSE: d^(1-α) at α = 1.4
    k_i = igse_coefficient(1.0, 1.4, 2.5)
    full = igse_trapezoid(50e3, 0.15, 1.0, k_i, 1.4, 2.5)
    assert igse_trapezoid(50e3, 0.15, duty, k_i, 1.4, 2.5) / full == pytest.approx(expected, rel=0.001)


@pytest.mark.parametrize(("alpha", "beta"), [(1.0, 2.0), (1.3, 2.6), (1.46, 2.75), (1.7, 2.4), (2.0, 2.0)])
def test_closed_form_of_the_igse_coefficient(alpha: float, beta: float) -> None:
    # Venkatachalam and others, COMPEL 2002: within 0.1 % for α from 1 to 2 (numerically confirmed)
    exact, quick = igse_coefficient(1.0, alpha, beta), igse_coefficient_approximate(1.0, alpha, beta)
    assert quick == pytest.approx(exact, rel=1.1e-3)


def test_igse_of_a_sine_is_steinmetz() -> None:
    # the definition of k_i (Venkatachalam and others, COMPEL 2002), integrated by brute force
    k, alpha, beta, f, peak = 3.2, 1.46, 2.75, 50e3, 0.15
    t = (np.arange(20000) + 0.5) / 20000 / f
    slope = np.abs(2 * math.pi * f * peak * np.cos(2 * math.pi * f * t))
    loss = igse_coefficient(k, alpha, beta) * (2 * peak) ** (beta - alpha) * np.mean(slope**alpha)
    assert loss == pytest.approx(steinmetz(f, peak, k, alpha, beta), rel=1e-6)


# --- skin depth, proximity effect, wire ----------------------------------------------


@pytest.mark.parametrize(
    ("f", "t", "expected_mm", "tolerance"),
    [
        (100e3, 20.0, 0.209, 0.002),  # McLyman, AN109: 6.62/√f cm
        (60.0, 20.0, 8.5, 0.01),  # encyclopaedia article on skin effect; Sullivan, IEMDC 2013
        (100e3, 100.0, 0.237, 0.02),  # Erickson & Maksimović, ch. 13: 7.5/√f cm (from memory)
    ],
)
def test_skin_depth(f: float, t: float, expected_mm: float, tolerance: float) -> None:
    assert skin_depth(f, copper_resistivity(t)) == pytest.approx(expected_mm * 1e-3, rel=tolerance)


@pytest.mark.parametrize(
    ("x", "layers", "expected"),
    [
        # Dowell, Proc. IEE 113(8), 1966 (form from memory), evaluated
        (1.0, 1, 1.086), (1.0, 2, 1.406), (1.0, 3, 1.940), (1.0, 10, 11.66),
        (0.5, 1, 1.006), (0.5, 5, 1.172), (0.5, 10, 1.691),
        (2.0, 1, 1.898), (2.0, 2, 5.146), (2.0, 4, 18.14),
    ],
)  # fmt: skip
def test_dowell(x: float, layers: int, expected: float) -> None:
    assert dowell_factor(x, layers) == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("gauge", "milliohm_per_m"), [(10, 3.28), (18, 20.9), (20, 33.3), (24, 84.2)]
)  # wire-gauge tables, 20 °C
def test_resistance_of_gauge_wire(gauge: int, milliohm_per_m: float) -> None:
    area = math.pi / 4 * awg_diameter(gauge) ** 2
    assert wire_resistance(1.0, area) == pytest.approx(milliohm_per_m * 1e-3, rel=0.01)


@pytest.mark.parametrize(
    ("gauge", "area_cm2", "microhm_per_cm"),
    [(26, 0.00128, 1345), (27, 0.00102, 1687), (28, 0.00080, 2142)],  # McLyman, AN109, wire extract
)
def test_wire_extract(gauge: int, area_cm2: float, microhm_per_cm: float) -> None:
    area = math.pi / 4 * awg_diameter(gauge) ** 2
    assert area == pytest.approx(area_cm2 * CM2, rel=0.015)
    assert wire_resistance(0.01, area) == pytest.approx(microhm_per_cm * 1e-6, rel=0.015)


@pytest.mark.parametrize(("d_mm", "expected"), [(0.5, 0.0871), (0.8, 0.0340), (1.0, 0.0218)])
def test_nominal_resistance_of_enamelled_wire(d_mm: float, expected: float) -> None:
    # IEC 60317-0-1, table A.1 (from memory), 58.5 MS/m; ours is IEC 60028 copper, 58.0 MS/m
    assert wire_resistance(1.0, math.pi / 4 * (d_mm * 1e-3) ** 2) == pytest.approx(expected, rel=0.01)


def test_current_density_of_500_circular_mils_per_ampere() -> None:
    # Pressman (from memory); 3.95 A/mm²
    density = 1.0 / (500 * CIRCULAR_MIL_M2)
    assert density == pytest.approx(3.95e6, rel=0.002)


def test_strand_for_equal_ac_and_dc_resistance() -> None:
    # McLyman, AN109: 0.418 mm, 0.00137 cm² at 100 kHz; the next smaller gauge is AWG 26
    d = float(largest_strand(100e3))
    assert d == pytest.approx(0.418e-3, rel=0.002)
    assert math.pi / 4 * d**2 == pytest.approx(0.00137 * CM2, rel=0.005)
    assert awg_diameter(26) < d < awg_diameter(25)


# --- temperature rise ----------------------------------------------------------------


def test_thermal_resistance_from_volume() -> None:
    # S. A. Mulder's rule, read in a magnetics encyclopaedia: ETD39, 11.5 cm³, 14.2 K/W
    assert thermal_resistance_from_volume(11.5e-6) == pytest.approx(14.2, rel=0.005)


@pytest.mark.parametrize(("v_cm3", "makers"), [(5.47, 28.0), (7.64, 20.0), (11.5, 16.0), (17.8, 11.0)])
def test_volume_rule_against_makers_values(v_cm3: float, makers: float) -> None:
    # EPCOS data book, wound ETD29, 34, 39, 44 sets in free air (from memory); the rule reads up to a
    # quarter low
    assert thermal_resistance_from_volume(v_cm3 * 1e-6) == pytest.approx(makers, rel=0.25)


@pytest.mark.parametrize(("psi_w_per_cm2", "expected"), [(0.03, 24.8), (0.07, 50.0)])
def test_rise_from_surface_load(psi_w_per_cm2: float, expected: float) -> None:
    # McLyman, Transformer and Inductor Design Handbook, ch. 6 (from memory)
    assert rise_from_surface_load(psi_w_per_cm2 * 100.0, 100 * CM2) == pytest.approx(expected, rel=0.01)


def test_rise_from_surface_power() -> None:
    # Orenchak, Power Electronics Technology, July 2004 (from memory): 2000 mW on 50 cm²
    assert rise_from_surface_power(2.0, 50 * CM2) == pytest.approx(21.6, rel=0.01)
