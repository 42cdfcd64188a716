"""Whole push-pull examples: turns, currents, stress, wire, snubber and capacitors as the sources print them.

One worked design is followed from turns to capacitors through the tool's own functions; each step has its
source beside it.
"""

from __future__ import annotations

from math import ceil, sqrt

import pytest
from power_rows import Row, row, rows

from subwright.base.standards import awg_diameter
from subwright.physics import capacitors as cap
from subwright.physics import magnetics as mag
from subwright.physics import push_pull as pp
from subwright.physics import snubbers as sn
from subwright.physics import switching as sw
from subwright.physics.chokes import boost_duty, output_choke_h
from subwright.physics.clamps import clamp_resistance_ohm, clamp_voltage_v
from subwright.physics.switching import pushpull_drain_stress_v

PRESSMAN, AN109, SHEET, OWN = "pressman1998", "mclyman-an109", "st-std50n03l", "derived"


@rows(
    # Pressman's relations for a push-pull at 80 % efficiency and d = 0.8 (from memory).
    row("off state at 16 V, 30 % spike", lambda: pushpull_drain_stress_v(16.0), 41.6, 1e-9, PRESSMAN),
    row(
        "flat-top primary, 500 W from 11 V",
        lambda: float(mag.flat_top_current(500.0, 11.0, 0.8, 0.8)),
        70.9,
        0.01,
        PRESSMAN,
    ),
    row(
        "rms of a half-primary, 500 W from 11 V",
        lambda: float(mag.half_winding_rms(mag.flat_top_current(500.0, 11.0, 0.8, 0.8), 0.8)),
        44.8,
        0.01,
        PRESSMAN,
    ),
    # McLyman, AN109, step 2, centre-tapped on both sides, 60 W at 98 %.
    row("apparent power, 60 W", lambda: float(mag.handbook_apparent_power(60.0, 0.98)), 171.0, 5e-3, AN109),
    row("recovery, 50 V 100 nC 300 kHz", lambda: sw.recovery_loss_w(50, 100e-9, 300e3), 1.5, 1e-9, SHEET),
    row("leakage, 50 nH 60 A 50 kHz", lambda: sn.leakage_loss_w(50e-9, 60.0, 50e3), 4.5, 1e-9, OWN),
    row("rail ripple, 10 A d 0.9 1000 µF", lambda: cap.pulse_ripple_v(10, 0.9, 50e3, 1e-3), 10e-3, 1e-9, OWN),
    row("capacitor ripple, 10 A d 0.8", lambda: 10 * pp.capacitor_ripple_factor(0.8), 5.0, 1e-9, OWN),
    row("capacitor ripple, 10 A d 0.9", lambda: 10 * pp.capacitor_ripple_factor(0.9), 3.33, 1.5e-3, OWN),
)  # fmt: skip
def test_printed_value(row: Row) -> None:
    row.check()


def test_the_worked_inverter_from_turns_to_stress():
    """250 W, 12 V to 310 V, 50 kHz, ETD39, 10.5 V least (tutorial; low authority)."""
    exact = float(mag.turns_square_wave(12.0, 1.0, 50e3, 0.150, 1.25e-4))
    assert exact == pytest.approx(3.20, abs=0.005)
    turns = round(exact)
    assert turns == 3
    assert float(mag.flux_peak_square_wave(12.0, 1.0, 50e3, turns, 1.25e-4)) == pytest.approx(0.160, rel=1e-9)
    # The loop equation without resistance and drop is the tutorial's V/(d V_min).
    ratio = pp.turns_ratio_needed(310.0, 0.98 * 10.5, 0.0, 0.0, 0.0, 0.0)
    assert ratio == pytest.approx(30.1, rel=0.01)
    assert ceil(turns * ratio - 0.5) in (90, 91)


def test_pressmans_example_carried_through_to_wire_snubber_and_capacitor():
    """500 W from 11 to 16 V at 50 kHz: each step by the handbook's rule."""
    flat = float(mag.flat_top_current(500.0, 11.0, 0.8, 0.8))
    rms = float(mag.half_winding_rms(flat, 0.8))
    assert rms == pytest.approx(0.986 * 500.0 / 11.0, rel=0.01)
    # 500 circular mils per ampere: 22 400 circular mils, next gauge at or above it is AWG 6 (26 240).
    circular_mils = 500.0 * rms
    gauge = next(n for n in range(20, -1, -1) if (awg_diameter(n) / 25.4e-6) ** 2 >= circular_mils)
    assert gauge == 6
    # Conduction of two 8 mΩ devices a side at 1.3 hot: the pulse for d/2 or its rms, the same heat.
    one = sw.conduction_loss_w(1.3 * 8e-3, flat / 2.0, 0.4)
    assert one == pytest.approx(1.3 * 8e-3 * (rms / 2.0) ** 2, rel=1e-9)
    # Ripple of the input capacitors is the rms of the pulses less their mean.
    ripple = flat * sqrt(0.8 * 0.2)
    assert cap.pulse_ripple_current_a(0.8 * flat, 0.8) == pytest.approx(ripple, rel=1e-12)
    # Leakage of 50 nH at the flat top: heat, and the clamp that holds 49.5 V against 16 V.
    leak = 2.0 * sn.leakage_loss_w(50e-9, flat, 50e3)
    assert leak == pytest.approx(50e-9 * flat**2 * 50e3, rel=1e-12)
    ohm = clamp_resistance_ohm(leak, 49.5, 16.0)
    assert float(clamp_voltage_v(leak, ohm, 16.0, 32.0)) == pytest.approx(49.5, rel=1e-12)


def test_the_chains_waveform_agrees_with_the_handbook_where_leakage_is_small():
    """Without leakage the pulse is flat: a half-primary's rms is sqrt(d/2) of the top."""
    shape = pp.pulse_shape(8e-6, 1e-12, 10e-3)
    assert shape.average == pytest.approx(1.0, rel=1e-4)
    top, share = 70.9, 0.8
    mean = top * share
    half_rms = sqrt(0.5 * shape.mean_square / (share * shape.average**2)) * mean
    assert half_rms == pytest.approx(44.8, rel=0.01)


def test_choke_formulas_against_volt_seconds_counted_by_hand():
    # Erickson & Maksimović ch. 2: a boost from 12 to 30 V without losses has D = 0.6.
    assert float(boost_duty(12.0, 30.0)) == pytest.approx(0.6)
    # 45 V across the choke for 30 % of 10 µs and 3 A of ripple: 45 µH.
    assert output_choke_h(45.0, 0.7, 50e3, 3.0) == pytest.approx(45.0 * 0.3 * 10e-6 / 3.0)
