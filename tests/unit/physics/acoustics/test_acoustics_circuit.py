"""The equivalent circuit against closed forms, a nodal solution, and conservation of energy."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from subwright.physics.acoustics import closed_box, vented_box
from subwright.physics.acoustics.air import AIR_20C
from subwright.physics.acoustics.alignments import b4, flat_alignment
from subwright.physics.acoustics.boxes import BoxModel, OpenAir, SealedBox, VentedBox
from subwright.physics.acoustics.circuit import group_delay_s, passband_pressure_pa_per_v, solve
from subwright.physics.acoustics.impedance import lossy_inductance_ohm, q_from_impedance
from subwright.physics.acoustics.parameters import DriverModel, grouped, reference_efficiency
from subwright.physics.acoustics.radiation import radiation_resistance_pa_s_per_m3

FREQUENCY = np.geomspace(5.0, 500.0, 300)


def driver_of(
    *,
    fs_hz: float = 28.0,
    qes: float = 0.42,
    qms: float = 4.0,
    vas_m3: float = 0.09,
    re_ohm: float = 3.4,
    sd_m2: float = 0.05,
    coil_factor: float = 0.0,
    coil_exponent: float = 1.0,
) -> DriverModel:
    """A driver from its resonance, Qs, Vas, Re and Sd."""
    cms = vas_m3 / (AIR_20C.stiffness_pa * sd_m2**2)
    omega = 2.0 * math.pi * fs_hz
    mms = 1.0 / (omega**2 * cms)
    return DriverModel(
        re_ohm=re_ohm,
        bl_tm=math.sqrt(omega * mms * re_ohm / qes),
        mms_kg=mms,
        cms_m_per_n=cms,
        rms_kg_per_s=omega * mms / qms,
        sd_m2=sd_m2,
        coil_factor=coil_factor,
        coil_exponent=coil_exponent,
    )


def normalised(driver: DriverModel, box: BoxModel, frequency: Any, source_ohm: float = 0.0) -> Any:
    """Pressure over that of the passband without inductance."""
    pressure = solve(driver, box, frequency, source_ohm=source_ohm).pressure_pa_per_v
    return pressure / passband_pressure_pa_per_v(driver, source_ohm=source_ohm)


# --- second routes --------------------------------------------------------------------------------


@pytest.mark.parametrize("qtc", [0.5, 0.7071, 1.0, 1.5])
@pytest.mark.parametrize("source_ohm", [0.0, 0.4])
def test_sealed_circuit_is_the_closed_form(qtc: float, source_ohm: float) -> None:
    driver = driver_of()
    qes = driver.qes * (driver.re_ohm + source_ohm) / driver.re_ohm
    qts = driver.qms * qes / (driver.qms + qes)
    alpha = closed_box.compliance_ratio_for_q(qts, qtc)
    box = SealedBox(volume_m3=driver.vas_m3() / alpha, radiates=False)
    fc = driver.fs_hz * math.sqrt(1.0 + alpha)
    found = normalised(driver, box, FREQUENCY, source_ohm)
    assert found == pytest.approx(closed_box.response(FREQUENCY / fc, qtc), rel=1e-9)


@pytest.mark.parametrize("ql", [math.inf, 7.0])
@pytest.mark.parametrize("qts", [0.25, 0.3827, 0.45])
def test_vented_circuit_is_the_fourth_order_function(qts: float, ql: float) -> None:
    """With leakage as the only box loss the circuit and the published coefficients are the same system."""
    wanted = flat_alignment(qts, ql)
    # Qms as high as it gets, because the published function has the driver's damping in Qts alone
    driver = driver_of(qes=qts * 1.1, qms=11.0 * qts)
    assert driver.qts == pytest.approx(qts, rel=1e-9)
    box = VentedBox(
        volume_m3=driver.vas_m3() / wanted.alpha, tuning_hz=wanted.h * driver.fs_hz, ql=ql, radiates=False
    )
    found = normalised(driver, box, FREQUENCY)
    formula = vented_box.response(FREQUENCY / driver.fs_hz, qts, wanted.alpha, wanted.h, ql)
    assert found == pytest.approx(formula, rel=1e-9)


@pytest.mark.parametrize("ql", [math.inf, 7.0])
def test_cone_displacement_is_the_published_function(ql: float) -> None:
    wanted = b4(ql)
    driver = driver_of(qes=wanted.qts * 1.1, qms=11.0 * wanted.qts)
    box = VentedBox(
        volume_m3=driver.vas_m3() / wanted.alpha, tuning_hz=wanted.h * driver.fs_hz, ql=ql, radiates=False
    )
    moved = solve(driver, box, FREQUENCY).excursion_m_per_v
    static = driver.bl_tm * driver.cms_m_per_n / driver.re_ohm
    # Static displacement works against the suspension alone: the open port doesn't hold pressure.
    formula = np.abs(
        vented_box.displacement_ratio(FREQUENCY / driver.fs_hz, wanted.qts, wanted.alpha, wanted.h, ql)
    )
    assert moved / static == pytest.approx(formula, rel=1e-7)


@pytest.mark.parametrize("ql", [math.inf, 7.0])
def test_b4_box_is_three_decibels_down_at_its_f3(ql: float) -> None:
    wanted = b4(ql)
    driver = driver_of(qes=wanted.qts * 1.1, qms=11.0 * wanted.qts)
    box = VentedBox(
        volume_m3=driver.vas_m3() / wanted.alpha, tuning_hz=wanted.h * driver.fs_hz, ql=ql, radiates=False
    )
    at = np.array([wanted.f3_ratio * driver.fs_hz])
    assert 20.0 * math.log10(abs(normalised(driver, box, at)[0])) == pytest.approx(-3.0103, abs=1e-4)


def test_radiation_resistance_moves_the_response_by_the_efficiency() -> None:
    """The level changes by about the efficiency: a small effect, but not none."""
    driver = driver_of()
    with_it = normalised(driver, SealedBox(volume_m3=0.049), FREQUENCY)
    without = normalised(driver, SealedBox(volume_m3=0.049, radiates=False), FREQUENCY)
    change = np.abs(with_it / without) - 1.0
    eta = reference_efficiency(driver.fs_hz, driver.vas_m3(), driver.qes)
    assert np.max(np.abs(change)) < 3.0 * eta
    assert np.max(np.abs(change)) > 0.1 * eta


def test_passband_efficiency_is_the_reference_efficiency() -> None:
    """Acoustic power over V²/Re far above resonance, where mass controls and inductance is absent."""
    driver = driver_of(vas_m3=0.005, qes=2.0)
    shares = solve(driver, OpenAir(), np.array([600.0])).power_shares(1.0)
    eta = reference_efficiency(driver.fs_hz, driver.vas_m3(), driver.qes)
    assert float(shares.radiated_w[0]) * driver.re_ohm == pytest.approx(eta, rel=5e-3)


def nodal(driver: DriverModel, box: VentedBox, frequency: float, source_ohm: float) -> dict[str, complex]:
    """The same system as simultaneous equations: voltage, force, box flow, port pressure, leak pressure."""
    w = 2.0 * math.pi * frequency
    compliance = box.gain * box.volume_m3 / AIR_20C.stiffness_pa
    wb = 2.0 * math.pi * box.tuning_hz
    mass = 1.0 / (wb**2 * compliance)
    r_port, r_abs = 1.0 / (wb * compliance * box.qp), 1.0 / (wb * compliance * box.qa)
    r_leak = box.ql / (wb * compliance)
    r_rad = float(radiation_resistance_pa_s_per_m3(frequency))
    coil = complex(lossy_inductance_ohm(frequency, driver.coil_factor, driver.coil_exponent))
    # unknowns: current, velocity, box pressure, port flow out, leak flow out
    system = np.zeros((5, 5), dtype=complex)
    known = np.array([1.0, 0.0, 0.0, 0.0, 0.0], dtype=complex)
    system[0, 0], system[0, 1] = source_ohm + driver.re_ohm + coil, driver.bl_tm
    mechanical = driver.rms_kg_per_s + 1j * w * driver.mms_kg + 1.0 / (1j * w * driver.cms_m_per_n)
    # outside pressure is r_rad times everything that flows out
    outside = np.array([0.0, driver.sd_m2, 0.0, 1.0, 1.0]) * r_rad
    system[1] = [-driver.bl_tm, mechanical, -driver.sd_m2, 0.0, 0.0]
    system[1] += driver.sd_m2 * outside
    z_box = r_abs + 1.0 / (1j * w * compliance)
    system[2] = [0.0, z_box * driver.sd_m2, 1.0, z_box, z_box]
    system[3] = [0.0, 0.0, 1.0, -(r_port + 1j * w * mass), 0.0] - outside
    system[4] = [0.0, 0.0, 1.0, 0.0, -r_leak] - outside
    current, velocity, pressure, port, leak = np.linalg.solve(system, known)
    return {"current": current, "velocity": velocity, "pressure": pressure, "port": port, "leak": leak}


@pytest.mark.parametrize("frequency", [8.0, 20.0, 31.7, 55.0, 210.0])
def test_circuit_agrees_with_simultaneous_equations(frequency: float) -> None:
    driver = driver_of(coil_factor=0.0235, coil_exponent=0.688)
    box = VentedBox(volume_m3=0.06, tuning_hz=30.0, ql=7.0, qa=40.0, qp=60.0, gain=1.05)
    found = solve(driver, box, np.array([frequency]), source_ohm=0.3)
    wanted = nodal(driver, box, frequency, 0.3)
    assert found.current_a_per_v[0] == pytest.approx(wanted["current"], rel=1e-9)
    assert found.velocity_m_per_s_per_v[0] == pytest.approx(wanted["velocity"], rel=1e-9)
    port = found.load.opening_ratio[0] * driver.sd_m2 * found.velocity_m_per_s_per_v[0]
    assert port == pytest.approx(wanted["port"], rel=1e-9)
    total = driver.sd_m2 * wanted["velocity"] + wanted["port"] + wanted["leak"]
    pressure = 1j * AIR_20C.density_kg_per_m3 * frequency * total  # ρ·ω/(2π·r) at one metre
    assert found.pressure_pa_per_v[0] == pytest.approx(pressure, rel=1e-9)


def test_impedance_gives_the_parameters_back() -> None:
    """Forward and inverse: the readings of a computed free-air impedance are the driver's own Qs."""
    driver = driver_of(qms=5.0, qes=0.5, fs_hz=30.0, re_ohm=6.0)
    at = solve(driver, OpenAir(radiates=False), np.array([30.0])).impedance_ohm
    peak = abs(at[0])
    assert peak == pytest.approx(66.0, rel=1e-9)
    frequency = np.linspace(15.0, 60.0, 200_001)
    magnitude = np.abs(solve(driver, OpenAir(radiates=False), frequency).impedance_ohm)
    above = frequency[magnitude >= math.sqrt(6.0 * peak)]
    found = q_from_impedance(6.0, peak, float(above[0]), float(above[-1]))
    assert found.qms == pytest.approx(5.0, rel=1e-4)
    assert found.qes == pytest.approx(0.5, rel=1e-4)
    assert found.fs_hz == pytest.approx(30.0, rel=1e-4)


def test_impedance_peaks_of_a_vented_box_give_box_and_driver_back() -> None:
    driver = driver_of(fs_hz=30.0, qes=0.4, qms=200.0, vas_m3=0.085)
    box = VentedBox(volume_m3=0.085 / 1.4142, tuning_hz=30.0, ql=1e6, radiates=False)
    frequency = np.geomspace(10.0, 80.0, 400_001)
    magnitude = np.abs(solve(driver, box, frequency).impedance_ohm)
    lower, upper = frequency < 30.0, frequency > 30.0
    low = float(frequency[lower][magnitude[lower].argmax()])
    high = float(frequency[upper][magnitude[upper].argmax()])
    closed = 30.0 * math.sqrt(1.0 + 1.4142)
    assert (low, high) == pytest.approx((17.065, 52.741), rel=5e-4)
    assert vented_box.tuning_from_peaks_hz(low, high, closed) == pytest.approx(30.0, rel=1e-3)
    assert vented_box.compliance_ratio_from_peaks(low, high, 30.0) == pytest.approx(1.4142, rel=2e-3)


def test_group_delay_of_a_closed_box() -> None:
    """Against the closed form at resonance, and against the slope of the unwrapped phase elsewhere."""
    driver = driver_of(qes=0.45, qms=4.5)
    alpha = closed_box.compliance_ratio_for_q(driver.qts, 0.7071)
    fc = driver.fs_hz * math.sqrt(1.0 + alpha)
    box = SealedBox(volume_m3=driver.vas_m3() / alpha, radiates=False)
    at = group_delay_s(driver, box, np.array([fc]))
    assert float(at[0]) == pytest.approx(closed_box.group_delay_at_resonance_s(fc, 0.7071), rel=1e-6)
    fine = np.linspace(20.0, 200.0, 20_001)
    phase = np.unwrap(np.angle(solve(driver, box, fine).pressure_pa_per_v))
    slope = -np.gradient(phase, 2.0 * math.pi * fine)
    assert group_delay_s(driver, box, fine)[100:-100] == pytest.approx(slope[100:-100], rel=1e-4)


# --- energy ---------------------------------------------------------------------------------------

DRIVERS = st.builds(
    driver_of,
    fs_hz=st.floats(15.0, 60.0),
    qes=st.floats(0.15, 1.5),
    qms=st.floats(1.0, 15.0),
    vas_m3=st.floats(0.01, 0.5),
    re_ohm=st.floats(1.0, 14.0),
    sd_m2=st.floats(0.01, 0.12),
    coil_factor=st.floats(0.0, 0.05),
    coil_exponent=st.floats(0.4, 1.0),
)
LOSS_Q = st.one_of(st.floats(2.0, 200.0), st.just(math.inf))
VENTED = st.builds(
    VentedBox,
    volume_m3=st.floats(0.005, 0.3),
    tuning_hz=st.floats(15.0, 60.0),
    ql=LOSS_Q,
    qa=LOSS_Q,
    qp=LOSS_Q,
)
SEALED = st.builds(
    SealedBox,
    volume_m3=st.floats(0.005, 0.3),
    gain=st.floats(1.0, 1.4),
    ql=LOSS_Q,
    qa=LOSS_Q,
    q_frequency_hz=st.floats(20.0, 100.0),
)
BOXES = st.one_of(VENTED, SEALED, st.just(OpenAir()))


@given(driver=DRIVERS, box=BOXES, source_ohm=st.floats(0.0, 2.0), drive_v=st.floats(0.1, 100.0))
def test_energy_balances(driver: DriverModel, box: BoxModel, source_ohm: float, drive_v: float) -> None:
    shares = solve(driver, box, FREQUENCY[::15], source_ohm=source_ohm).power_shares(drive_v)
    assert shares.sum_w == pytest.approx(shares.input_w, rel=1e-9)
    for name in ("source_w", "coil_w", "eddy_w", "suspension_w", "leakage_w", "absorption_w", "port_w"):
        assert np.all(getattr(shares, name) >= 0.0), name
    assert np.all(shares.radiated_w > 0.0)


@given(driver=DRIVERS, box=BOXES)
def test_radiated_power_is_that_of_the_pressure(driver: DriverModel, box: BoxModel) -> None:
    """p² over ρc through a hemisphere of one metre is the power in the radiation resistance."""
    response = solve(driver, box, FREQUENCY[::15])
    through = np.abs(response.pressure_pa_per_v) ** 2 * 2.0 * math.pi / AIR_20C.impedance_pa_s_per_m
    assert response.power_shares(1.0).radiated_w == pytest.approx(through, rel=1e-9)


# --- scaling and limits ---------------------------------------------------------------------------


@given(driver=DRIVERS, box=VENTED, count=st.sampled_from([2, 3, 4]))
def test_n_drivers_on_n_boxes_are_one_scaled(driver: DriverModel, box: VentedBox, count: int) -> None:
    """N drivers in parallel on N times the volume: same motion, N times the pressure (no radiation load)."""
    silent = VentedBox(
        volume_m3=box.volume_m3, tuning_hz=box.tuning_hz, ql=box.ql, qa=box.qa, qp=box.qp, radiates=False
    )
    large = VentedBox(
        volume_m3=box.volume_m3 * count,
        tuning_hz=box.tuning_hz,
        ql=box.ql,
        qa=box.qa,
        qp=box.qp,
        radiates=False,
    )
    one = solve(driver, silent, FREQUENCY[::15])
    many = solve(grouped(driver, count, "parallel"), large, FREQUENCY[::15])
    assert many.velocity_m_per_s_per_v == pytest.approx(one.velocity_m_per_s_per_v, rel=1e-9)
    assert many.pressure_pa_per_v == pytest.approx(count * one.pressure_pa_per_v, rel=1e-9)
    assert many.impedance_ohm == pytest.approx(one.impedance_ohm / count, rel=1e-9)


@given(driver=DRIVERS, box=BOXES, count=st.sampled_from([2, 3, 4]))
def test_series_and_parallel_take_the_same_power_at_the_same_coil_voltage(
    driver: DriverModel, box: BoxModel, count: int
) -> None:
    series = solve(grouped(driver, count, "series"), box, FREQUENCY[::30]).power_shares(count * 1.0)
    parallel = solve(grouped(driver, count, "parallel"), box, FREQUENCY[::30]).power_shares(1.0)
    assert series.input_w == pytest.approx(parallel.input_w, rel=1e-9)
    assert series.radiated_w == pytest.approx(parallel.radiated_w, rel=1e-9)


@given(driver=DRIVERS, box=VENTED, scale=st.floats(0.5, 2.0))
def test_shapes_scale_with_frequency(driver: DriverModel, box: VentedBox, scale: float) -> None:
    """All lengths by s, all frequencies by 1/s: the normalised response keeps its shape."""
    base = DriverModel(
        re_ohm=driver.re_ohm,
        bl_tm=driver.bl_tm,
        mms_kg=driver.mms_kg,
        cms_m_per_n=driver.cms_m_per_n,
        rms_kg_per_s=driver.rms_kg_per_s,
        sd_m2=driver.sd_m2,
    )
    scaled = DriverModel(
        re_ohm=driver.re_ohm,
        bl_tm=driver.bl_tm * scale,
        mms_kg=driver.mms_kg * scale**3,
        cms_m_per_n=driver.cms_m_per_n / scale,
        rms_kg_per_s=driver.rms_kg_per_s * scale**2,
        sd_m2=driver.sd_m2 * scale**2,
    )
    first = VentedBox(
        volume_m3=box.volume_m3, tuning_hz=box.tuning_hz, ql=box.ql, qa=box.qa, qp=box.qp, radiates=False
    )
    second = VentedBox(
        volume_m3=box.volume_m3 * scale**3,
        tuning_hz=box.tuning_hz / scale,
        ql=box.ql,
        qa=box.qa,
        qp=box.qp,
        radiates=False,
    )
    one = normalised(base, first, FREQUENCY[::15])
    two = normalised(scaled, second, FREQUENCY[::15] / scale)
    assert np.abs(two) == pytest.approx(np.abs(one), rel=1e-9)


def test_a_tiny_port_makes_a_closed_box() -> None:
    """Far above tuning the port's mass holds the air back: the vented box behaves as a closed one."""
    driver = driver_of()
    frequency = np.array([40.0, 80.0])
    vented = VentedBox(volume_m3=0.05, tuning_hz=0.5, ql=math.inf)
    closed = SealedBox(volume_m3=0.05)
    assert solve(driver, vented, frequency).impedance_ohm == pytest.approx(
        solve(driver, closed, frequency).impedance_ohm, rel=2e-3
    )


def test_twelve_and_twenty_four_decibels_per_octave() -> None:
    driver = driver_of()
    low = np.array([1.0, 2.0])
    sealed = np.abs(solve(driver, SealedBox(volume_m3=0.05), low).pressure_pa_per_v)
    vented = np.abs(
        solve(driver, VentedBox(volume_m3=0.06, tuning_hz=30.0, ql=math.inf), low).pressure_pa_per_v
    )
    assert 20.0 * math.log10(sealed[1] / sealed[0]) == pytest.approx(12.04, abs=0.1)
    assert 20.0 * math.log10(vented[1] / vented[0]) == pytest.approx(24.08, abs=0.2)


@pytest.mark.parametrize("vented", [False, True])
def test_impedance_peaks_by_a_reckoning_of_the_electrical_side(vented: bool) -> None:
    """Moving mass, compliance and losses as capacitor, coil and resistor behind the force factor.

    Without the radiation of the whole box the peaks come out several per cent higher; with it both agree.
    """
    driver = driver_of(qms=9.0, vas_m3=0.12)
    volume, tuning, ql = 0.03, 34.0, 7.0
    f = np.geomspace(15.0, 120.0, 200)
    s = 2j * np.pi * f
    bl2, area2 = driver.bl_tm**2, driver.sd_m2**2
    box = s * volume / AIR_20C.stiffness_pa
    outlet = np.zeros_like(box)
    if vented:
        compliance, omega = volume / AIR_20C.stiffness_pa, 2.0 * math.pi * tuning
        outlet = omega * compliance / ql + omega**2 * compliance / s
    moving = driver.rms_kg_per_s / bl2 + s * driver.mms_kg / bl2 + 1.0 / (s * driver.cms_m_per_n * bl2)

    def reckoned(radiation: Any) -> Any:
        load = (radiation + 1.0 / box) / (1.0 + outlet * (1.0 / box + radiation))
        return np.abs(driver.re_ohm + 1.0 / (moving + area2 * load / bl2))

    model = VentedBox(volume_m3=volume, tuning_hz=tuning, ql=ql) if vented else SealedBox(volume_m3=volume)
    found = np.abs(solve(driver, model, f).impedance_ohm)
    air = AIR_20C.density_kg_per_m3 * (2 * np.pi * f) ** 2 / (2.0 * math.pi * AIR_20C.speed_m_per_s)
    np.testing.assert_allclose(found, reckoned(air), rtol=1e-3)
    assert 1.02 < float(np.max(reckoned(np.zeros_like(air)) / found)) < 1.12
