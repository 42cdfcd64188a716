"""Scaling laws and balances of amplifier, switching, wiring and heat formulas over random inputs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.physics import amplifiers as amp
from subwright.physics import board, capacitors, class_d, electrical, surfaces, switching, thermal
from subwright.physics.amplifier_models import ClassABModel, ClassDModel

volts = st.floats(5.0, 80.0)
amps = st.floats(0.1, 30.0)
ohms = st.floats(1.0, 16.0)
share = st.floats(0.05, 0.95)
scale = st.floats(0.1, 10.0)


@st.composite
def class_d_models(draw: st.DrawFn) -> ClassDModel:
    legs = draw(st.sampled_from([1, 2]))
    return ClassDModel(
        legs=legs,
        split_rails=legs == 1 or draw(st.booleans()),
        modulation_max=draw(st.floats(0.7, 0.99)),
        switch_ohm=draw(st.floats(1e-3, 0.3)),
        switch_time_s=draw(st.floats(5e-9, 80e-9)),
        recovery_coul=draw(st.floats(0.0, 500e-9)),
        coss_f=draw(st.floats(50e-12, 2e-9)),
        coss_v=25.0,
        diode_v=draw(st.floats(0.6, 1.5)),
        gate_coul=draw(st.floats(5e-9, 200e-9)),
        gate_v=12.0,
        inductance_h=draw(st.floats(5e-6, 100e-6)),
        inductor_ohm=draw(st.floats(1e-3, 0.2)),
        inductor_core_w=draw(st.floats(0.0, 2.0)),
        filter_f=draw(st.floats(0.1e-6, 4.7e-6)),
        damping_ohm=draw(st.floats(1.0, 30.0)),
        switching_hz=draw(st.floats(60e3, 500e3)),
        dead_time_s=draw(st.floats(0.0, 100e-9)),
        control_a=draw(st.floats(1e-3, 0.1)),
        cable_ohm=draw(st.floats(0.0, 0.3)),
    )


@st.composite
def class_ab_models(draw: st.DrawFn) -> ClassABModel:
    legs = draw(st.sampled_from([1, 2]))
    return ClassABModel(
        legs=legs,
        split_rails=legs == 1,
        drop_v=draw(st.floats(0.0, 4.0)),
        bias_a=draw(st.floats(0.0, 0.5)),
        driver_a=draw(st.floats(0.0, 0.1)),
        ballast_ohm=draw(st.floats(0.0, 0.5)),
        cable_ohm=draw(st.floats(0.0, 0.3)),
    )


models = st.one_of(class_d_models(), class_ab_models())


@given(models, volts, st.floats(-0.95, 0.95), st.floats(-20.0, 20.0))
def test_energy_balance(model: ClassDModel | ClassABModel, rail: float, swing: float, current: float) -> None:
    v = swing * rail
    total = sum(float(w) for w in model.losses_w(v, current, rail).values())
    assert float(model.input_power_w(v, current, rail)) - v * current == pytest.approx(
        total, rel=1e-9, abs=1e-9
    )


@given(models, volts, ohms, st.floats(0.0, 1.0))
def test_no_part_of_the_amplifier_makes_power(
    model: ClassDModel | ClassABModel, rail: float, load: float, drive: float
) -> None:
    v = drive * float(model.clip_peak_v(rail, load))
    for name, watts in model.losses_w(v, v / load, rail).items():
        assert float(watts) >= -1e-9, name


@given(models, volts, st.floats(-0.9, 0.9), st.floats(-20.0, 20.0))
def test_both_halves_of_a_wave_cost_the_same(
    model: ClassDModel | ClassABModel, rail: float, swing: float, current: float
) -> None:
    v = swing * rail
    for name, watts in model.losses_w(v, current, rail).items():
        assert float(watts) == pytest.approx(
            float(model.losses_w(-v, -current, rail)[name]), rel=1e-9, abs=1e-9
        ), name


@given(models, volts, ohms)
def test_clip_and_rail_are_inverse(model: ClassDModel | ClassABModel, peak: float, load: float) -> None:
    rail = model.rail_for_peak_v(peak, load)
    swing = float(model.swing_v(rail)) if isinstance(model, ClassDModel) else rail
    assert swing >= peak * (1 - 1e-12)  # equal only without any loss
    assert float(model.clip_peak_v(rail, load)) == pytest.approx(peak, rel=1e-9)


@given(volts, ohms, st.floats(1.0, 100.0))
def test_clipped_power_lies_between_sine_and_square(clip: float, load: float, overdrive: float) -> None:
    power = amp.clipped_sine_power_w(clip, load, overdrive)
    assert amp.sine_power_w(clip, load) * (1 - 1e-9) <= power <= amp.bridge_square_power_w(clip, load)
    assert amp.clipped_sine_thd(overdrive) <= 0.4835


@given(st.floats(1.0, 20.0), st.floats(1.001, 3.0))
def test_more_overdrive_is_more_power_and_more_distortion(overdrive: float, factor: float) -> None:
    assert amp.clipped_sine_power_w(1.0, 1.0, overdrive * factor) > amp.clipped_sine_power_w(
        1.0, 1.0, overdrive
    )
    assert amp.clipped_sine_thd(overdrive * factor) > amp.clipped_sine_thd(overdrive)


@given(volts, share, ohms)
def test_class_b_never_exceeds_its_worst_dissipation(rail: float, drive: float, load: float) -> None:
    assert amp.class_b_dissipation_w(rail, drive * rail, load) <= amp.class_b_worst_dissipation_w(
        rail, load
    ) * (1 + 1e-12)


@given(volts, share, st.floats(10.0, 200.0), ohms, st.floats(1e-3, 2e-2), scale)
def test_pumping_scales(rail: float, drive: float, note: float, load: float, farad: float, k: float) -> None:
    rise = class_d.rail_pumping_v(rail, drive, note, load, farad)
    assert class_d.rail_pumping_v(k * rail, drive, note, load, farad) == pytest.approx(k * rise, rel=1e-9)
    assert class_d.rail_pumping_v(rail, drive, note, k * load, farad) == pytest.approx(rise / k, rel=1e-9)
    assert class_d.rail_pumping_v(rail, drive, note, load, k * farad) == pytest.approx(rise / k, rel=1e-9)
    needed = class_d.pumping_capacitance_f(rail, note, load, 0.1 * rail)
    assert class_d.rail_pumping_v(rail, drive, note, load, needed) <= 0.1 * rail * (1 + 1e-12)


@given(ohms, st.floats(5e3, 100e3), st.booleans())
def test_output_filter_is_butterworth_at_its_corner(load: float, corner: float, bridge: bool) -> None:
    inductance, farad = class_d.output_filter_l_c(load, corner, bridge)
    assert class_d.lc_corner_hz(inductance, farad) == pytest.approx(corner, rel=1e-12)
    assert class_d.lc_quality(inductance, farad, load, bridge) == pytest.approx(math.sqrt(0.5), rel=1e-12)


@given(amps, st.floats(1e-3, 0.5), share, scale)
def test_conduction_grows_with_the_square(current: float, resistance: float, duty: float, k: float) -> None:
    base = switching.conduction_loss_w(resistance, current, duty)
    assert switching.conduction_loss_w(resistance, k * current, duty) == pytest.approx(k * k * base, rel=1e-9)


@given(st.floats(0.1, 35.0), st.floats(5.0, 100.0), st.floats(17e-6, 105e-6))
def test_track_inverts_where_the_chart_reaches(current: float, rise: float, copper: float) -> None:
    area_mil2 = (current / (0.048 * rise**0.44)) ** (1 / 0.725)
    width = area_mil2 * (25.4e-6) ** 2 / copper
    if width <= 400 * 25.4e-6:
        assert board.track_width_m(current, rise, copper) == pytest.approx(width, rel=1e-9)
        assert board.track_current_a(width, rise, copper) == pytest.approx(current, rel=1e-9)


@given(amps, st.floats(0.1, 20.0), st.floats(1e-4, 0.1), st.floats(-20.0, 100.0), scale)
def test_cable_drop_is_linear(
    current: float, length: float, ohm_per_m: float, celsius: float, k: float
) -> None:
    base = electrical.voltage_drop_v(current, length, ohm_per_m, celsius)
    assert electrical.voltage_drop_v(k * current, length, ohm_per_m, celsius) == pytest.approx(
        k * base, rel=1e-9
    )
    assert electrical.voltage_drop_v(current, length, ohm_per_m, celsius, 0.0) == pytest.approx(
        base / 2, rel=1e-9
    )


@given(st.floats(1.0, 1e3), st.floats(-20.0, 90.0), st.floats(-20.0, 90.0))
def test_hotter_air_never_raises_a_cables_current(rated: float, one: float, other: float) -> None:
    cool, hot = sorted((one, other))
    assert rated * electrical.derating_factor(hot, 100.0) <= rated * electrical.derating_factor(cool, 100.0)


@given(
    st.floats(1.0, 300.0),
    st.floats(0.0, 60.0),
    st.floats(0.002, 0.3),
    st.floats(0.03, 0.4),
    st.floats(0.0, 1.0),
)
def test_plate_rise_inverts_its_heat(
    rise: float, ambient: float, area: float, height: float, emissivity: float
) -> None:
    if height**3 * rise <= 10.0:
        watts = surfaces.plate_heat_w(rise, ambient, area, height, emissivity)
        assert surfaces.plate_rise_k(watts, ambient, area, height, emissivity) == pytest.approx(
            rise, rel=1e-6
        )


@settings(max_examples=40)
@given(st.floats(0.3e-3, 4e-3), st.floats(5.0, 100.0), st.floats(-10.0, 80.0))
def test_wire_current_and_rise_are_inverse(diameter: float, rise: float, ambient: float) -> None:
    size = np.array([diameter])
    ohm_per_m = electrical.COPPER_RESISTIVITY_20_OHM_M / (0.25 * math.pi * size**2)
    current = surfaces.wire_current_a(ohm_per_m, size, rise, ambient)
    back = surfaces.wire_rise_k(current, ohm_per_m, size, ambient)
    assert float(back[0]) == pytest.approx(rise, abs=2e-3)


@given(
    st.floats(0.1, 5.0), st.floats(0.1, 3.0), st.floats(0.1, 10.0), st.floats(0.1, 60.0), st.floats(0.0, 60.0)
)
def test_junction_chain_adds(rjc: float, rcs: float, rsa: float, watts: float, ambient: float) -> None:
    junction = thermal.junction_temperature_c(ambient, watts, rjc, rcs, rsa)
    assert junction - ambient == pytest.approx(watts * (rjc + rcs + rsa), rel=1e-9)


@given(st.floats(1.0, 500.0), st.floats(1e-3, 0.1), st.floats(20.0, 80.0), st.floats(0.3, 0.95))
def test_hold_up_inverts(power: float, time: float, start: float, sag: float) -> None:
    farad = capacitors.hold_up_capacitance_f(power, time, start, sag * start)
    assert capacitors.hold_up_time_s(power, farad, start, sag * start) == pytest.approx(time, rel=1e-9)


@given(st.floats(40.0, 105.0))
def test_ten_kelvin_halve_an_electrolytics_life(celsius: float) -> None:
    cool = capacitors.electrolytic_life_s(1e7, 105.0, celsius)
    assert capacitors.electrolytic_life_s(1e7, 105.0, celsius + 10.0) == pytest.approx(cool / 2, rel=1e-9)
