"""What the rules work out themselves, by a second route, and the worked examples of their pages."""

from __future__ import annotations

from dataclasses import replace
from math import log, log10, pi, sin, sqrt

import numpy as np
import pytest
from findings_support import at_point, bike, changed, findings_of, put, van

from subwright.build.findings.rule import REGISTRY
from subwright.parts.library import load_library
from subwright.physics.acoustics.exposure import a_weighting_db, allowed_time_s, c_weighting_db
from subwright.physics.board import track_current_a
from subwright.physics.capacitors import electrolytic_life_s
from subwright.physics.clamps import clamp_voltage_v
from subwright.physics.class_d import rail_pumping_v
from subwright.physics.electrical import cable_loop_resistance_ohm, preece_current_a
from subwright.physics.magnetic_thermal import rise_from_surface_load, rise_from_surface_power
from subwright.physics.magnetics import flux_swing
from subwright.physics.soft_start import ChargingPath, fill_rails
from subwright.physics.voltage_stage import lag_deg, sine_slew_v_per_s, slew_v_per_s
from subwright.stages.common import Corner, Level
from subwright.stages.converter_drive import design_gate_supply
from subwright.stages.converter_gate_transformer import design_gate_transformer

HOUR = 3600.0

FILLING = fill_rails(
    ChargingPath(
        emf_v=12.6, source_ohm=0.02, ratio=3.5, diode_v=0.8, loop_ohm=0.015, leakage_h=60e-9,
        switching_hz=50e3, reset_v=25.2,
    ),
    rail_f=4.7e-3, share_most=0.92, start_s=0.3,
)  # fmt: skip

# Code, what its example prints, and the same number worked out: (printed, computed, printed to).
EXAMPLES = [
    ("SUP-01", "drop 1.2 V", 1.2, 20.0 * cable_loop_resistance_ohm(4.0, 7.6e-3), 0.05),
    ("AMP-08", "360 W", 360.0, 35.0**2 / 3.4, 0.5),
    ("AMP-10", "200 W", 200.0, 40.0**2 / (4.0 * sqrt(2.0)) * sin(pi / 4.0), 0.5),
    ("AMP-04", "6.7 V", 6.7, rail_pumping_v(50.0, 2.0 / pi, 20.0, 4.0, 4700e-6), 0.05),
    ("VST-01", "10 mA", 10.0, 1e3 * 10.0 / 20.0 / 50.0, 0.5),
    ("VST-02", "5.0 V/µs", 5.0, sine_slew_v_per_s(40.0, 20e3) / 1e6, 0.05),
    ("VST-02", "10 V/µs", 10.0, slew_v_per_s(1.1e-3, 110e-12) / 1e6, 0.05),
    ("VST-03", "79°", 79.0, 90.0 - lag_deg(500e3, [3e6, 30e6]), 0.6),
    ("VST-04", "21 mV", 21.0, 5.0 + 0.2 * 5e-6 * 15e3 * 1e3 + 1.0, 0.5),
    ("VST-05", "30 mA", 30.0, 0.6 / 20.0 * 1e3, 0.5),
    ("VST-06", "2.6 V", 2.6, 0.6 + 0.3 + 0.75 + 0.9, 0.06),
    ("VST-07", "55 dB", 55.0, -40.0 * log10(125.0 / (125.0 + 2.9e3)), 0.6),
    ("CNV-02", "55.2 V", 55.2, 16.0 * 3.5 - 0.8, 0.05),
    ("CNV-03", "41.6 V", 41.6, 2 * 16.0 * 1.3, 0.05),
    ("CNV-04", "8 µJ", 8.0, 0.5 * 40e-9 * 20.0**2 * 1e6, 0.5),
    ("CNV-04", "3.9 µJ", 3.9, 0.5 * 10e-9 * 28.0**2 * 1e6, 0.05),
    ("CNV-04", "37 W", 37.0, 50e3 * 78e-9 * 97.0**2, 0.5),
    ("CNV-04", "47 V", 47.0, float(clamp_voltage_v(36.7, 39.0, 16.0, 32.0)), 0.5),
    ("CNV-05", "48 µJ", 48.0, 0.5 * 60e-9 * 40.0**2 * 1e6, 0.5),
    ("CNV-05", "103 µJ", 103.0, 0.5 * 60e-9 * 40.0**2 * 1e6 * 60 / (60 - 32), 0.5),
    ("CNV-06", "125 V", 125.0, 2 * 48.0 * 1.3, 0.5),
    ("CNV-12", "55 kHz", 55.0, 1.1 / (10e3 * 1e-9) / 2e3, 0.05),
    ("CNV-13", "160 ns", 160.0, 40e-9 / 0.25 * 1e9, 0.5),
    ("CNV-18", "4.7 A", 4.7, 2 * 4.7e-3 * 43.3 * 3.5 / 0.3, 0.05),
    ("CNV-18", "19 A", 19.0, FILLING.peak_a, 0.5),
    ("CNV-18", "0.12 s", 0.12, FILLING.filled_s, 0.005),
    ("CNV-19", "49 s", 49.0, 4.7e3 * 4700e-6 * log(45.0 / 5.0), 0.5),
    ("CNV-21", "64 000 h", 64e3, electrolytic_life_s(2000 * HOUR, 105.0, 55.0) / HOUR, 0.5),
    ("CNV-21", "58 years", 58.0, electrolytic_life_s(2000 * HOUR, 105.0, 55.0) / HOUR / 3.0 / 365.25, 0.5),
    ("CNV-21", "15 years", 15.0, electrolytic_life_s(2000 * HOUR, 105.0, 75.0) / HOUR / 3.0 / 365.25, 0.5),
    ("WIR-02", "18 mΩ", 18.0, cable_loop_resistance_ohm(1.0, 7.98e-3, 60.0) * 1e3, 0.5),
    ("WIR-03", "12 A", 12.0, track_current_a(6e-3, 20.0), 0.5),
    ("WIR-05", "147 A", 147.0, preece_current_a(1.5e-3), 0.5),
    ("MAG-01", "186 mT", 186.0, float(flux_swing(16.0, 9.2e-6, 4, 198e-6)) * 1e3, 0.5),
    ("MAG-04", "26 K", 26.0, float(rise_from_surface_power(3.0, 60e-4)), 0.5),
    ("MAG-04", "38 K", 38.0, float(rise_from_surface_load(3.0, 60e-4)), 0.5),
    ("MAG-09", "1.6 A", 1.6, 16.0 * 9.2e-6 / 90e-6, 0.05),
    ("MAG-11", "0.45 A", 0.45, 18.0 * 0.1 * 4.0 / (2 * 8.0), 0.005),
    ("MAG-11", "228 mT", 228.0, 130.0 * (1 + 0.45 / 0.6), 0.7),
    ("MAG-12", "±177 mT", 177.0, 150.0 * 1.06 * 1.01 * 1.10, 0.5),
    ("MAG-14", "2.3 W", 2.3, 100e3 * 0.5 * 50e-9 * 30.0**2, 0.06),
    ("DRV-01", "Qts 0.455", 0.455, 5 * 0.5 / 5.5, 0.0005),
    ("DRV-02", "45 W", 45.0, 180.0 * 10 ** (-(9.0 - 3.01) / 10), 0.5),
    ("DRV-05", "0.68 of Vas", 0.68, 1 / ((sqrt(0.5) / 0.45) ** 2 - 1), 0.005),
    ("DRV-07", "3.6 dB", 3.6, 20 * log10(1 + 130 * 0.00393), 0.05),
    ("GOA-02", "10 dB down", 10.0, 10 * log10(1 + (55.0 / 32.0) ** 4), 0.5),
    ("CAB-01", "55 Hz", 55.0, 343.0 / (2 * 3.1), 0.5),
    ("SND-01", "6.6 hours", 6.6, float(allowed_time_s(112.0 + a_weighting_db(63.096))) / HOUR, 0.05),
    ("SND-01", "2.8 hours", 2.8, float(allowed_time_s(112.0 + a_weighting_db(79.433))) / HOUR, 0.05),
    ("SND-02", "128 dB(C)", 128.0, 126.0 + 3.01 + float(c_weighting_db(50.0)), 0.5),
    ("ENC-02", "16 m/s", 16.0, 0.06 / (0.25 * pi * 0.069**2), 0.5),
    ("ENC-03", "1.4 dB", 1.4, 20 * log10(9.4 / 8.0), 0.05),
    ("ENC-08", "4.5 ms", 4.5, 2 * sqrt(0.5) / (2 * pi * 50.0) * 1e3, 0.05),
    ("ENC-11", "0.7 dB", 0.7, 20 * log10(0.81 / sqrt(0.81 - 0.25)), 0.05),
    ("ENC-11", "1.8 dB", 1.8, 20 * log10(1.21 / sqrt(1.21 - 0.25)), 0.05),
    ("FIL-03", "0.63 V/µs", 0.63, 2 * pi * 20e3 * 5.0 * 1e-6, 0.005),
    ("FIL-06", "100 dB", 100.0, 20 * log10(2.0 / 20e-6), 0.5),
    ("FIL-09", "1.3 mm", 1.3, 0.03 * 27 / 3.2 * 10.0 * 0.5, 0.05),
    ("PRO-04", "0.75 V", 0.75, 0.025 * 30.0, 0.005),
    ("PRO-06", "140 °C", 140.0, 90.0 + 20.0 * 2.5, 0.5),
    ("HEA-01", "115 °C", 115.0, 85.0 + 12.0 * 2.5, 0.5),
    ("HEA-04", "180 s", 180.0, 0.4 * 900.0 * 20.0 / 40.0, 0.5),
]


@pytest.mark.parametrize(
    ("code", "printed", "number", "computed", "to"), EXAMPLES, ids=[f"{e[0]} {e[1]}" for e in EXAMPLES]
)
def test_worked_examples(code: str, printed: str, number: float, computed: float, to: float) -> None:
    assert printed in REGISTRY[code].example
    assert computed == pytest.approx(number, abs=to)


# --- second routes ------------------------------------------------------------------------------------


def test_converter_efficiency_from_what_comes_out() -> None:
    """The rule counts the losses inside; what leaves towards the load must say the same."""
    point = van().point(Corner.NOMINAL, Level.FULL)
    amplifier_w = sum(w for name, w in point.losses_w.items() if name.startswith("amplifier "))
    before_w = sum(point.losses_w[name] for name in ("battery", "cable", "fuse and contacts"))
    (finding,) = findings_of("CNV-20", van())
    assert finding.value == pytest.approx(
        (point.output_w + amplifier_w) / (point.battery_w - before_w), rel=1e-6
    )


def test_flux_walks_until_both_half_cycles_have_equal_volt_seconds() -> None:
    """Two loop equations for the offset current, solved as a system instead of by the rule's formula."""
    design = van()
    converter, transformer = design.converter, design.transformer
    assert converter is not None
    assert transformer is not None
    rms_a = design.point(Corner.NOMINAL, Level.FULL).primary_rms_a
    pulse_a = rms_a * sqrt(2.0 / converter.plan.timing.share)
    rest = converter.magnetics.primary_ohm + converter.link_ohm
    worse = rest + converter.switch_ohm * 1.05
    better = rest + converter.switch_ohm * 0.95
    # Unknowns: offset current i and winding voltage v; V - (I + i) worse = v, V - (I - i) better = v.
    offset, _ = np.linalg.solve(
        np.array([[worse, 1.0], [-better, 1.0]]), np.array([-pulse_a * worse, -pulse_a * better])
    )
    area = transformer.core.a_e_m2 * transformer.stack
    offset_t = transformer.magnetising_h * abs(offset) / (transformer.primary_turns * area)
    (finding,) = findings_of("MAG-11", design)
    assert finding.value == pytest.approx(max(transformer.flux_peak_t.values()) + offset_t, rel=0.02)


def test_a_current_mode_controller_keeps_the_flux_centred() -> None:
    assert not findings_of("MAG-11", put(van(), "converter.plan.controller.mode", "current"))


def test_avalanche_energy_by_integration() -> None:
    """The leakage current falls against clamp less twice the battery, while the clamp takes all of it."""
    design = changed(van(), {"converter.drain_ring_v": 400.0, "converter.plan.switch.mosfet.eas_j": 0.1})
    converter = design.converter
    assert converter is not None
    clamp_v, rest_v = converter.drain_limit_v, 2.0 * design.supply.corners[Corner.MAX]
    peak_a = max(point.primary_peak_a for point in design.points if point.level is Level.FULL)
    end_s = converter.magnetics.leakage_h * peak_a / (clamp_v - rest_v)
    t = np.linspace(0.0, end_s, 2001)
    current = peak_a * (1.0 - t / end_s)
    (finding,) = findings_of("CNV-05", design)
    assert finding.value == pytest.approx(np.trapezoid(clamp_v * current, t), rel=1e-5)


def test_no_avalanche_no_energy() -> None:
    assert not findings_of("CNV-05", put(van(), "converter.drain_ring_v", 40.0))
    assert not findings_of("CNV-05", put(van(), "converter.plan.switch.mosfet.eas_j", None))


@pytest.mark.parametrize("share", [0.9, 0.999, 1.001, 1.1])
def test_the_snubber_holds_the_spike_just_when_the_ring_stays_below_the_rating(share: float) -> None:
    design = van()
    assert design.converter is not None
    unclamped = put(design, "converter.clamp", None)
    (finding,) = findings_of(
        "CNV-04", put(unclamped, "converter.drain_ring_v", share * design.converter.drain_limit_v)
    )
    assert (finding.margin >= 0) == (share < 1)


def test_the_gate_sees_the_battery_unless_a_supply_holds_it_down() -> None:
    design = put(van(), "supply.corners", {**van().supply.corners, Corner.MAX: 32.0})
    (finding,) = findings_of("CNV-15", design)
    assert finding.value == 32.0
    assert design.converter is not None
    supply = design_gate_supply(load_library(), 19.0, 24.0, 32.0, 40e-3, 60.0)
    fed = put(design, "converter.gate_supply", supply)
    (finding,) = findings_of("CNV-15", fed)
    assert finding.value == supply.output_v
    assert finding.margin > 0
    # Behind a gate transformer the magnetising current comes back through a Schottky diode at either end.
    transformer = design_gate_transformer(load_library(), 9.3, 50e3, 0.4)
    (finding,) = findings_of("CNV-15", put(fed, "converter.gate_transformer", transformer))
    assert finding.value == pytest.approx(supply.output_v + 0.8)
    drop = design.converter.plan.drive.driver.drop_v
    (drive,) = findings_of("CNV-14", at_point(fed, Corner.LOW, Level.FULL, terminal_least_v=24.0))
    assert drive.value == pytest.approx(supply.output_v - drop)
    (drooping,) = findings_of("CNV-14", at_point(fed, Corner.LOW, Level.FULL, terminal_least_v=11.0))
    assert drooping.value == pytest.approx(11.0 - 1.5 - drop)


def test_gate_drive_after_its_drops_and_by_kind_of_switch() -> None:
    design = changed(
        at_point(van(), Corner.LOW, Level.FULL, terminal_least_v=10.0),
        {"converter.plan.drive.driver.drop_v": 2.7},
    )
    (finding,) = findings_of("CNV-14", design)
    assert finding.value == pytest.approx(10.0 - 2.0 - 0.7)
    assert finding.severity == "warn"
    (direct,) = findings_of("CNV-14", put(design, "converter.plan.drive.driver.drop_v", 2.0))
    assert direct.value == pytest.approx(8.0)
    (logic,) = findings_of("CNV-14", put(design, "converter.plan.switch.mosfet.vgs_th_v", 2.5))
    assert logic.severity == "ok"


def test_a_late_trip_costs_the_junction_as_much_as_it_is_late() -> None:
    design = changed(van(), {"heat.devices.*.worst_c": 500.0})
    on_time = put(design, "protection.thresholds.thermal trip.window.worst_high", design.heat.trip_c)
    late = put(design, "protection.thresholds.thermal trip.window.worst_high", design.heat.trip_c + 7.0)
    for a, b, device in zip(
        findings_of("PRO-06", on_time), findings_of("PRO-06", late), design.heat.devices, strict=True
    ):
        assert a.value == pytest.approx(device.trip_c)
        assert b.value - a.value == pytest.approx(7.0)


def test_where_the_sink_never_reaches_the_trip_its_own_heat_counts() -> None:
    design = changed(van(), {"heat.devices.*.worst_c": 90.0, "heat.devices.*.trip_c": 120.0})
    for code in ("HEA-01", "PRO-06"):
        assert 120.0 not in {finding.value for finding in findings_of(code, design)}


def test_sound_level_of_a_flat_box() -> None:
    """100 dB at every note: the highest note of the band is heard loudest, 6 dB below the sine."""
    design = van()
    flat = np.full_like(design.enclosure.frequency_hz, 100.0)
    design = changed(
        design,
        {"enclosure.full_cabin_spl_db": flat, "goal.crest_factor_db": 9.0103, "filter.corner_hz": 80.0},
    )
    (finding,) = findings_of("SND-01", design)
    top = design.enclosure.frequency_hz[design.enclosure.frequency_hz <= 80.0][-1]
    assert finding.value == pytest.approx(94.0 + float(a_weighting_db(top)), abs=1e-6)
    (peak,) = findings_of("SND-02", design)
    assert peak.value == pytest.approx(103.01 + float(c_weighting_db(top)), abs=1e-3)


def test_the_time_allowed_is_told() -> None:
    """94 dB(A) may last one hour."""
    design = van()
    frequency = design.enclosure.frequency_hz
    level = 94.0 + 6.0 - a_weighting_db(frequency)
    design = changed(design, {"enclosure.full_cabin_spl_db": level, "goal.crest_factor_db": 9.0103})
    (finding,) = findings_of("SND-01", design)
    assert finding.value == pytest.approx(94.0)
    assert "60 min a day" in finding.message


def test_off_centre_is_where_spring_and_motor_balance() -> None:
    design = put(van(), "filter.levels.output_offset_v", 0.02)
    driver, levels = design.driver, design.filter.levels
    gain = design.amplifier.peak_v / (levels.full_output_v * sqrt(2.0))
    current = 0.02 * gain / (driver.re_ohm + design.amplifier.output_resistance_ohm)
    (finding,) = findings_of("FIL-09", design)
    assert finding.value / driver.cms_m_per_n == pytest.approx(driver.bl_tm * current)


def test_a_coupled_output_has_no_offset() -> None:
    assert bike().filter.op_amp_supply.kind == "battery"
    assert not findings_of("FIL-09", bike())
    assert van().filter.levels.offset_v > 0.01
    assert not findings_of("FIL-09", van())


def test_the_level_reached_is_the_one_the_limits_allow() -> None:
    design = van()
    limits = design.enclosure.limits
    k = 90
    asked = changed(
        design,
        {"goal.spl_frequency_hz": float(limits.frequency_hz[k]), "goal.spl_db": float(limits.level_db[k])},
    )
    (finding,) = findings_of("GOA-01", asked)
    assert finding.value == pytest.approx(limits.level_db[k])
    assert finding.severity == "ok"
    assert limits.limited_by[k] in finding.quantity
    assert not findings_of("GOA-01", put(asked, "goal.spl_db", None))


def test_life_of_a_can_at_its_ripple_and_air() -> None:
    design = changed(van(), {"heat.air_c": 60.0})
    assert design.converter is not None
    bank = design.converter.reservoir_bank
    design = at_point(
        design, Corner.CHARGING, Level.PROGRAMME, reservoir_ripple_a=bank.ripple_limit_a, input_ripple_a=0.0
    )
    cool, warm = findings_of("CNV-21", design)
    can = design.converter.input_bank.capacitor
    assert can.life_s is not None
    assert bank.capacitor.life_s is not None
    by_day = 24.0 / 3.0  # three hours of use a day
    hot = bank.capacitor.temp_c - 65.0
    assert cool.value == pytest.approx(by_day * can.life_s * 2 ** ((can.temp_c - 60.0) / 10))
    assert warm.value == pytest.approx(by_day * bank.capacitor.life_s * 2 ** (hot / 10))


def test_life_is_not_promised_beyond_the_rule() -> None:
    """Below 40 °C the rule promises too much; beyond the rating it isn't meant to hold."""
    frozen = findings_of("CNV-21", changed(van(), {"heat.air_c": -20.0}))
    mild = findings_of("CNV-21", changed(van(), {"heat.air_c": 30.0}))
    assert [f.value for f in frozen] == [f.value for f in mild]
    assert findings_of("CNV-21", changed(van(), {"heat.air_c": 150.0}))


def test_a_weaker_twin_limits_the_rectifier() -> None:
    design = van()
    assert design.converter is not None
    choice = design.converter.plan.rectifier
    twin = replace(choice.rectifier, vrrm_v=100.0)
    (finding,) = findings_of("CNV-06", put(design, "converter.plan.rectifier.partner", twin))
    assert finding.limit == 100.0


def test_a_track_is_judged_by_the_builders_own_limits() -> None:
    (first, *_), (wide, *_) = (
        findings_of("WIR-03", put(van(), "wiring.conductors.*.track_limit_m", width))
        for width in (6e-3, 10e-3)
    )
    assert wide.limit > first.limit
    assert first.limit == pytest.approx(track_current_a(6e-3, van().spec.wiring.track_rise_k))
