"""The amplifier loss models by independent routes: switched waveforms, device currents, book formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.physics import amplifiers as amp
from subwright.physics import class_d as cd
from subwright.physics import switching as sw
from subwright.physics.amplifier_models import ClassABModel, ClassDModel

SAMPLES = 200_000


def class_d(**changed: float) -> ClassDModel:
    values: dict[str, float] = {
        "switch_ohm": 0.05,
        "switch_time_s": 20e-9,
        "recovery_coul": 80e-9,
        "coss_f": 250e-12,
        "coss_v": 25.0,
        "diode_v": 1.0,
        "gate_coul": 40e-9,
        "gate_v": 12.0,
        "inductance_h": 33e-6,
        "inductor_ohm": 0.03,
        "inductor_core_w": 0.3,
        "filter_f": 1e-6,
        "damping_ohm": 5.6,
        "switching_hz": 200e3,
        "dead_time_s": 40e-9,
        "control_a": 0.02,
        "cable_ohm": 0.05,
        "modulation_max": 0.95,
    }
    legs = int(changed.pop("legs", 1))
    return ClassDModel(legs=legs, split_rails=legs == 1, **(values | changed))


def class_ab(legs: int = 1, **changed: float) -> ClassABModel:
    values: dict[str, float] = {
        "drop_v": 3.0,
        "bias_a": 0.1,
        "driver_a": 0.02,
        "ballast_ohm": 0.22,
        "cable_ohm": 0.05,
    }
    return ClassABModel(legs=legs, split_rails=legs == 1, **(values | changed))


def switched_period(model: ClassDModel, v_out: float, i_out: float, rail: float) -> tuple[float, float]:
    """(power from the rails, heat in switch and inductor) of one ideal-edged period, by sampling it."""
    n = SAMPLES
    t = (np.arange(n) + 0.5) / n
    period = 1.0 / model.switching_hz
    duty = 0.5 * (1.0 + v_out / rail)
    ripple = 2.0 * rail * duty * (1.0 - duty) * period / model.inductance_h
    on = t < duty
    current = np.where(
        on,
        i_out + ripple * (t / duty - 0.5),
        i_out + ripple * (0.5 - (t - duty) / (1.0 - duty)),
    )
    resistance = float(np.ravel(model.switch_ohm)[0]) + model.inductor_ohm
    heat = float(np.mean(current**2)) * resistance
    from_rails = float(np.mean(np.where(on, rail * current, -rail * current)))
    return from_rails, heat


@pytest.mark.parametrize(("v_out", "i_out"), [(0.0, 0.0), (12.0, 3.0), (-20.0, -5.0), (30.0, 7.5)])
def test_class_d_conduction_is_that_of_the_switched_current(v_out: float, i_out: float) -> None:
    model = class_d()
    losses = model.losses_w(v_out, i_out, 35.0)
    _, heat = switched_period(model, v_out, i_out, 35.0)
    ours = float(losses["switch conduction"] + losses["output inductor copper"])
    assert ours == pytest.approx(heat, rel=1e-6)


def test_lossless_class_d_takes_from_the_rails_what_it_gives() -> None:
    # A half-bridge with ideal parts: sampled rail power equals output power, sign included (recirculation).
    model = class_d()
    for v_out, i_out in ((20.0, 4.0), (20.0, -4.0)):
        from_rails, _ = switched_period(model, v_out, i_out, 35.0)
        one_sample = 2 * 35.0 * abs(i_out) / SAMPLES  # an edge falls between two samples
        assert from_rails == pytest.approx(v_out * i_out, rel=0.0, abs=one_sample)


@pytest.mark.parametrize("model", [class_d(), class_d(legs=2), class_ab(), class_ab(legs=2)])
def test_input_less_output_is_the_sum_of_the_losses(model: ClassDModel | ClassABModel) -> None:
    rng = np.random.default_rng(7)
    rail = rng.uniform(20.0, 60.0, 400)
    v = rng.uniform(-0.8, 0.8, 400) * rail
    i = rng.uniform(-12.0, 12.0, 400)
    terms = model.losses_w(v, i, rail)
    total = np.sum(np.broadcast_arrays(*terms.values()), axis=0)
    assert np.allclose(model.input_power_w(v, i, rail) - v * i, total, rtol=1e-12, atol=1e-9)


def pair_currents(i: float, bias: float, ballast: float) -> tuple[float, float]:
    """Currents of the upper and lower device by bisection: their product falls with the ballasts' drop."""
    low, high = abs(i), abs(i) + 2.0 * bias
    for _ in range(200):
        middle = 0.5 * (low + high)
        allowed = bias**2 * np.exp(-ballast * (middle - 2.0 * bias) / 0.02587)
        low, high = (middle, high) if 0.25 * (middle**2 - i**2) < allowed else (low, middle)
    return 0.5 * (high + i), 0.5 * (high - i)


def test_class_ab_input_from_the_currents_of_its_two_devices() -> None:
    # Independent route: each device's current by bisection, each fed by its own rail.
    model = class_ab()
    rail, bias = 40.0, model.bias_a
    for i in (-6.0, -0.05, 0.0, 0.3, 8.0):
        upper, lower = pair_currents(i, bias, model.ballast_ohm)
        expected = rail * upper + rail * lower + 2.0 * rail * model.driver_a
        assert float(model.input_power_w(10.0, i, rail)) == pytest.approx(expected, rel=1e-12)


def test_class_ab_without_bias_is_the_books_class_b() -> None:
    model = class_ab(drop_v=0.0, bias_a=0.0, driver_a=0.0, ballast_ohm=0.0, cable_ohm=0.0)
    v = 20.0 * np.sin((np.arange(4000) + 0.5) * math.pi / 4000)
    drawn = float(np.mean(model.input_power_w(v, v / 16.0, 30.0)))
    assert drawn == pytest.approx(amp.class_b_input_power_w(30.0, 20.0, 16.0), rel=1e-6)


def test_quiescent_power_is_the_bias_times_both_rails() -> None:
    model = class_ab(bias_a=0.1, driver_a=0.0)
    assert float(model.input_power_w(0.0, 0.0, 40.0)) == pytest.approx(2 * 40.0 * 0.1, rel=1e-12)


@pytest.mark.parametrize("model", [class_d(), class_d(legs=2), class_ab(), class_ab(legs=2)])
def test_rail_for_peak_inverts_clip_peak(model: ClassDModel | ClassABModel) -> None:
    for peak in (3.0, 20.0, 55.0):
        assert float(model.clip_peak_v(model.rail_for_peak_v(peak, 4.0), 4.0)) == pytest.approx(
            peak, rel=1e-12
        )


def test_class_ab_devices_never_gain_power_below_clipping() -> None:
    model = class_ab()
    rail = 40.0
    v = np.linspace(-1.0, 1.0, 401) * float(model.clip_peak_v(rail, 4.0))
    for name, watts in model.losses_w(v, v / 4.0, rail).items():
        assert np.all(watts >= 0.0), name


def test_soft_edges_below_half_the_ripple() -> None:
    # Below half the ripple both edges commutate by themselves: no recovery, no capacitance loss.
    model = class_d()
    half = 0.5 * cd.ripple_current_pp_a(70.0, model.inductance_h, model.switching_hz)
    soft = model.losses_w(0.0, 0.99 * half, 35.0)
    hard = model.losses_w(0.0, 1.01 * half, 35.0)
    assert float(soft["diode recovery"]) == 0.0
    assert float(soft["output capacitance"]) == 0.0
    assert float(hard["diode recovery"]) == pytest.approx(70.0 * 200e3 * 80e-9, rel=1e-12)


def test_edge_losses_meet_at_half_the_ripple() -> None:
    # Turn-off of both switches at ΔI/2 ± i and, above it, turn-on plus turn-off at |i|: one continuous curve.
    model = class_d()
    half = 0.5 * cd.ripple_current_pp_a(70.0, model.inductance_h, model.switching_hz)
    below = float(model.losses_w(0.0, half * (1 - 1e-9), 35.0)["switch overlap"])
    above = float(model.losses_w(0.0, half * (1 + 1e-9), 35.0)["switch overlap"])
    assert below == pytest.approx(above, rel=1e-6)


def test_bus_ripple_against_the_sampled_switched_current() -> None:
    model = class_d(inductance_h=1.0)  # ripple of the inductor out of the way
    v, i, rail = 12.0, 5.0, 35.0
    n = 100_000
    duty = 0.5 * (1 + v / rail)
    upper = np.where((np.arange(n) + 0.5) / n < duty, i, 0.0)
    assert model.bus_ripple_rms_a(np.array([i]), np.array([v]), rail) == pytest.approx(
        float(np.std(upper)), rel=1e-4
    )


def test_bridge_bus_ripple_against_the_sampled_switched_current() -> None:
    model = class_d(legs=2, inductance_h=1.0)
    v, i, supply = 6.0, 3.0, 14.4
    n = 100_000
    duty = 0.5 * (1 + v / supply)
    drawn = np.where((np.arange(n) + 0.5) / n < duty, i, -i)
    assert model.bus_ripple_rms_a(np.array([i]), np.array([v]), supply) == pytest.approx(
        float(np.std(drawn)), rel=1e-4
    )


@pytest.mark.parametrize("overdrive", [1.0, 1.05, 1.5, 4.0, 50.0])
def test_clipped_sine_against_sampling(overdrive: float) -> None:
    n = 400_000
    angle = (np.arange(n) + 0.5) * 2 * math.pi / n
    wave = np.clip(overdrive * np.sin(angle), -1.0, 1.0) * 12.0
    assert amp.clipped_sine_power_w(12.0, 4.0, overdrive) == pytest.approx(
        float(np.mean(wave**2)) / 4.0, rel=1e-6
    )
    fundamental = 2.0 * float(np.mean(wave * np.sin(angle)))
    harmonics = math.sqrt(max(float(np.mean(wave**2)) - 0.5 * fundamental**2, 0.0))
    assert amp.clipped_sine_thd(overdrive) == pytest.approx(
        harmonics / (fundamental / math.sqrt(2.0)), rel=1e-4, abs=2e-4
    )


def test_pumping_against_the_charge_that_flows_back() -> None:
    # Half a cycle of a sine, ideal half-bridge: integrate the current pushed into the idle rail.
    rail, modulation, note, load, farad = 50.0, 0.8, 20.0, 4.0, 10.0  # huge C keeps the rail still
    t = (np.arange(200_000) + 0.5) / 200_000 * 0.5 / note
    v = modulation * rail * np.sin(2 * math.pi * note * t)
    into_idle = v / load * 0.5 * (1.0 - v / rail)  # load current for the share that the lower switch is on
    charge = float(np.mean(into_idle)) * 0.5 / note
    assert cd.rail_pumping_v(rail, modulation, note, load, farad) == pytest.approx(charge / farad, rel=1e-6)


def test_worst_pumping_is_at_two_over_pi() -> None:
    drive = np.linspace(0.01, 1.0, 991)
    rise = [cd.rail_pumping_v(50.0, float(m), 20.0, 4.0, 4700e-6) for m in drive]
    assert drive[int(np.argmax(rise))] == pytest.approx(2 / math.pi, abs=1e-3)
    needed = cd.pumping_capacitance_f(50.0, 20.0, 4.0, max(rise))
    assert needed == pytest.approx(4700e-6, rel=1e-5)


def test_dead_time_distortion_against_the_spectrum_of_its_error() -> None:
    n = 1 << 16
    angle = (np.arange(n) + 0.5) * 2 * math.pi / n
    error, peak = 0.8, 40.0
    wave = peak * np.sin(angle) - error * np.sign(np.sin(angle))
    spectrum = np.abs(np.fft.rfft(wave)) / n * 2
    measured = math.sqrt(float(np.sum(spectrum[2:] ** 2))) / spectrum[1]
    # The estimate refers to the wanted sine; the error takes 4/pi of itself off the fundamental.
    assert cd.dead_time_thd(error, peak) == pytest.approx(measured, rel=1.5 * 4 / math.pi * error / peak)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0, 4.0])
def test_damping_resistor_is_the_optimum(ratio: float) -> None:
    # Erickson & Maksimovic: the resistor that gives the lowest peak of output impedance.
    inductance, farad = 22e-6, 680e-9
    omega = np.geomspace(0.2, 5.0, 4000) / math.sqrt(inductance * farad)

    def peak_of(resistor: float) -> float:
        branch = resistor + 1.0 / (1j * omega * ratio * farad)
        return float(
            np.max(np.abs(1.0 / (1.0 / (1j * omega * inductance) + 1j * omega * farad + 1.0 / branch)))
        )

    best = cd.parallel_damping_ohm(inductance, farad, ratio)
    peak = peak_of(best)
    assert peak == pytest.approx(math.sqrt(inductance / farad) * math.sqrt(2 * (2 + ratio)) / ratio, rel=1e-3)
    assert peak < min(peak_of(0.8 * best), peak_of(1.25 * best))


@pytest.mark.parametrize("legs", [1, 2])
def test_edge_and_gate_terms_are_the_published_formulas(legs: int) -> None:
    # Each term of the model by the data-sheet formula of one switch or edge, well above the ripple.
    model = class_d(legs=legs)
    rail, amps, hertz = 30.0, 9.0, 200e3
    bus = rail * (2 if legs == 1 else 1)
    terms = {name: float(w) for name, w in model.losses_w(5.0, amps, rail).items()}
    charge = sw.output_charge_coul(250e-12, 25.0, bus)
    expected = {
        "switch overlap": legs * bus * amps * hertz * 20e-9,
        "body diode in dead time": legs * sw.dead_time_loss_w(1.0, amps, 40e-9, hertz, edges=2),
        "diode recovery": legs * sw.recovery_loss_w(bus, 80e-9, hertz),
        "output capacitance": legs * 2 * sw.coss_loss_w(bus, charge, hertz),
        "gate drive": legs * 2 * sw.gate_drive_power_w(40e-9, 12.0, hertz),
        "gate supply regulator": legs * 2 * 40e-9 * hertz * (rail - 12.0),
        "control circuits": 0.02 * bus,
        "speaker lead": 0.05 * amps**2,
        "output inductor core": legs * 0.3,
    }
    for name, watts in expected.items():
        assert terms[name] == pytest.approx(watts, rel=1e-12), name


def test_filter_damping_from_the_integrated_ripple() -> None:
    # Integrate the triangular current into the capacitor; the model takes the parabolas for a sine (7 %).
    model = class_d()
    ripple = cd.ripple_current_pp_a(70.0, model.inductance_h, model.switching_hz)
    phase = (np.arange(20_000) + 0.5) / 20_000
    current = ripple * (2 * np.abs(2 * (phase % 1.0) - 1.0) - 1.0) / 2
    voltage = np.cumsum(current) / 20_000 / model.switching_hz / model.filter_f
    heat = float(np.var(voltage)) / model.damping_ohm
    assert float(model.losses_w(0.0, 0.0, 35.0)["filter damping"]) == pytest.approx(heat, rel=0.07)


@pytest.mark.parametrize("legs", [1, 2])
def test_ballast_heat_from_each_devices_current(legs: int) -> None:
    model = class_ab(legs=legs)
    for i in (-4.0, 0.02, 6.0):
        upper, lower = pair_currents(i, model.bias_a, model.ballast_ohm)
        heat = legs * 0.22 * (upper**2 + lower**2)
        assert float(model.losses_w(3.0, i, 40.0)["ballast resistors"]) == pytest.approx(heat, rel=1e-12)
