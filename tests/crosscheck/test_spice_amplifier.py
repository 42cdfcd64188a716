"""Output stages and inputs: the closed forms of ripple, loss, response and rejection against the circuits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log, pi, sqrt

import numpy as np
import pytest

from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_class_d import INDUCTORS, class_d_circuit, class_d_filter_circuit
from subwright.circuits.amplifier_drive import sine_ramp
from subwright.circuits.amplifier_values import (
    ClassABValues,
    ClassDValues,
    class_ab_values,
    class_d_values,
)
from subwright.circuits.analysis import AcSweep, Current, Probe, Transient, Voltage
from subwright.circuits.enclosure_circuit import enclosure_circuit
from subwright.circuits.input_circuit import INPUT_OUTPUTS, INPUT_PARTS, input_circuit
from subwright.circuits.measure import last_periods, mean_of, rms_of
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.parts.library import load_library
from subwright.physics.acoustics.boxes import SealedBox
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.amplifiers import (
    CLASS_B_MAX_EFFICIENCY,
    class_b_dissipation_w,
    class_b_efficiency,
    class_b_input_power_w,
    class_b_worst_dissipation_w,
)
from subwright.physics.class_d import filter_response, ripple_current_pp_a
from subwright.physics.networks.difference import difference_gains, difference_rejection_db
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.input import InputNeed, InputResult, InputSpec, design_input
from subwright.stages.supply import SupplySpec, supply_corners

pytestmark = pytest.mark.spice

LIBRARY = load_library()
TWELVE = supply_corners(SupplySpec())[0]
LOAD, LEAD = 4.0, 0.05
RIPPLE, LOSS, RESPONSE_DB = 0.03, 0.03, 0.1
GAIN_DB, REJECTION_DB = 0.05, 0.3
CLASS_D = {"class_d_half_bridge": 100.0, "class_d_full_bridge": 150.0, "bridge_class_d": None}
CLASS_AB = {
    "chip": ("class_ab", 20.0, {"ab_output": "chip"}),
    "bridge chip": ("bridge_class_ab", None, {}),
    "pairs": ("class_ab", 150.0, {"ab_output": "pair"}),
    "bridge of pairs": ("bridge_class_ab", None, {"ab_output": "pair"}),
}


def design(kind: str, power_w: float | None, **wishes: object) -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, **wishes})
    return design_amplifier(
        spec, power_w, LOAD, TWELVE, LIBRARY, source_resistance_ohm=0.02, speaker_cable_ohm=LEAD
    )


# -- class D ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Switched:
    """Averages over the last whole cycles."""

    ripple_a: float
    inductor_a: float
    output_v: float  # of the filter, mean
    output_rms_v: float
    input_w: float
    idle_rail_a: float  # mean current that the negative rail takes back
    rail_rms_a: float  # of the positive rail about its mean


def switched(
    values: ClassDValues,
    engine: Engine,
    modulation: float,
    *,
    settle: int = 40,
    keep: int = 4,
    note_hz: float = 0.0,
    per_period: int = 200,
) -> Switched:
    periods, step = settle + keep, values.period_s / per_period
    circuit = class_d_circuit(
        values, load_ohm=LOAD, modulation=modulation, periods=periods + 1, note_hz=note_hz
    )
    run = Transient(
        stop_s=periods * values.period_s,
        step_s=step,
        keep_from_s=(settle - 1) * values.period_s,
        from_initial=True,
        accuracy=1e-4,
    )
    bridge = values.legs == 2
    rails = ["BENCH_RAIL_POSITIVE"] + (["BENCH_RAIL_NEGATIVE"] if values.split_rails else [])
    outputs = ["out_a"] + (["out_b"] if bridge else [])
    probes: list[Probe] = [Current(INDUCTORS[0]), *map(Current, rails), *map(Voltage, outputs)]
    traces = simulate(circuit, run, probes, engine, timeout_s=120.0)

    def last(course: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return last_periods(traces.axis, course, keep * values.period_s, 1)

    time_s, coil = last(traces.current(INDUCTORS[0]))
    _, out = last(traces.voltage("out_a") - (traces.voltage("out_b") if bridge else 0.0))
    drawn = [last(-traces.current(rail))[1] for rail in rails]
    means = [mean_of(time_s, course) for course in drawn]
    return Switched(
        ripple_a=float(np.ptp(coil)),
        inductor_a=mean_of(time_s, coil),
        output_v=mean_of(time_s, out),
        output_rms_v=rms_of(time_s, out),
        input_w=values.rail_v * sum(means),
        idle_rail_a=-means[-1],
        rail_rms_a=rms_of(time_s, drawn[0] - means[0]),
    )


def alive(kind: str) -> tuple[ClassDModel, ClassDValues]:
    """A designed stage without dead time."""
    result = design(kind, CLASS_D[kind])
    assert isinstance(result.model, ClassDModel)
    model = replace(result.model, dead_time_s=0.0)
    return model, replace(class_d_values(result), dead_time_s=0.0)


def path_ohm(values: ClassDValues) -> float:
    return values.legs * (values.switch_ohm + values.inductor_ohm)


def conduction_w(model: ClassDModel, output_v: object, values: ClassDValues) -> float:
    """The model's terms that the circuit has, averaged over the points given, W."""
    v = np.asarray(output_v) * LOAD / (LOAD + LEAD)
    terms = model.losses_w(v, v / LOAD, values.rail_v)
    names = ("switch conduction", "output inductor copper", "filter damping")
    return float(sum(np.mean(terms[name]) for name in names))


@pytest.mark.parametrize("duty", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("kind", CLASS_D)
def test_ripple_loss_and_rail_current_at_a_steady_duty(
    kind: str, duty: float, reference_engine: Engine
) -> None:
    model, values = alive(kind)
    m = 2.0 * duty - 1.0
    found = switched(values, reference_engine, m)
    ripple = ripple_current_pp_a(values.bus_v, values.inductance_h, values.switching_hz, m)
    assert found.ripple_a == pytest.approx(ripple, rel=RIPPLE)
    load = LOAD + LEAD
    ideal = m * float(model.swing_v(values.rail_v))
    assert found.output_v == pytest.approx(ideal * load / (load + path_ohm(values)), rel=2e-3, abs=1e-3)
    loss = found.input_w - found.output_rms_v**2 / load
    assert loss == pytest.approx(conduction_w(model, found.output_v, values), rel=LOSS)
    if m == 0.0:
        return  # the rail carries nothing but the inductors' ripple, which the next form leaves out
    # what the supply's capacitor carries
    amps = np.array([found.inductor_a])
    terminal = np.array([ideal])
    expected = model.bus_ripple_rms_a(amps, terminal, values.rail_v)
    assert found.rail_rms_a == pytest.approx(expected, rel=LOSS)
    if kind == "class_d_half_bridge":
        assert found.idle_rail_a == pytest.approx((1.0 - duty) * found.inductor_a, rel=LOSS)


def test_a_loss_without_the_switch_would_be_noticed(reference_engine: Engine) -> None:
    model, values = alive("class_d_half_bridge")
    found = switched(values, reference_engine, 0.5)
    loss = found.input_w - found.output_rms_v**2 / (LOAD + LEAD)
    for wrong in ({"switch_ohm": 0.9 * values.switch_ohm}, {"inductor_ohm": 0.5 * values.inductor_ohm}):
        assert loss != pytest.approx(conduction_w(replace(model, **wrong), found.output_v, values), rel=LOSS)


def test_body_diodes_take_over_from_a_resistive_switch(reference_engine: Engine) -> None:
    """Where current times resistance passes a diode's threshold, the model's loss is an upper bound."""
    model, values = alive("class_d_half_bridge")
    ohms = 0.16
    found = switched(replace(values, switch_ohm=ohms), reference_engine, 0.8)
    assert ohms * found.inductor_a > 0.9
    loss = found.input_w - found.output_rms_v**2 / (LOAD + LEAD)
    bound = conduction_w(replace(model, switch_ohm=ohms), found.output_v, values)
    assert 0.93 * bound < loss < 0.99 * bound


@pytest.mark.parametrize("kind", CLASS_D)
def test_dead_time_takes_what_the_model_says(kind: str, reference_engine: Engine) -> None:
    """Above half the ripple each leg loses the bus, and a diode more at each edge, for the dead time."""
    model, values = alive(kind)
    dead = 40e-9
    without = switched(values, reference_engine, 0.8)
    with_dead = switched(replace(values, dead_time_s=dead), reference_engine, 0.8)
    lost = (without.output_v - with_dead.output_v) * (LOAD + LEAD + path_ohm(values)) / (LOAD + LEAD)
    stated = float(replace(model, dead_time_s=dead).dead_time_error_v(values.rail_v))
    diode_v = 0.02585 * log(with_dead.inductor_a / 1e-9) + 1e-3 * with_dead.inductor_a
    diodes = values.legs * 2.0 * diode_v * dead * values.switching_hz
    assert lost == pytest.approx(stated + diodes, rel=0.03)


@pytest.mark.parametrize("kind", ["class_d_half_bridge", "bridge_class_d"])
def test_a_sine_comes_out_with_the_loss_of_the_model(kind: str, reference_engine: Engine) -> None:
    model, values = alive(kind)
    cycle, m = 200, 0.8
    note = values.switching_hz / cycle
    found = switched(values, reference_engine, m, settle=cycle // 4, keep=cycle, note_hz=note, per_period=80)
    load = LOAD + LEAD
    series = values.inductor_ohm + values.switch_ohm
    response = filter_response(
        np.array([note]),
        values.inductance_h,
        values.filter_f,
        values.damping_ohm,
        values.damping_f,
        series,
        load,
        values.legs,
    )
    peak = m * float(model.swing_v(values.rail_v)) * float(np.abs(response[0]))
    assert found.output_rms_v * sqrt(2.0) == pytest.approx(peak, rel=3e-3)
    phases = np.sin((np.arange(1000) + 0.5) * (pi / 2000))
    loss = found.input_w - found.output_rms_v**2 / load
    # at a bass note the damping network carries nothing; at this one it does
    reactance = 1.0 / (2.0 * pi * note * values.damping_f)
    across = peak / values.legs / sqrt(2.0)
    damping = values.legs * across**2 * values.damping_ohm / (reactance**2 + values.damping_ohm**2)
    assert loss == pytest.approx(conduction_w(model, peak * phases, values) + damping, rel=LOSS)


def test_a_snubber_takes_its_capacitors_energy_at_each_edge(reference_engine: Engine) -> None:
    result = design("class_d_half_bridge", 100.0, snubber="auto")
    assert isinstance(result.model, ClassDModel)
    bare = replace(class_d_values(result), dead_time_s=0.0)
    assert bare.snubber_ohm is not None
    snubbed = switched(bare, reference_engine, 0.5, per_period=400)
    plain = switched(replace(bare, snubber_ohm=None), reference_engine, 0.5, per_period=400)
    stated = float(result.model.losses_w(0.0, 0.0, bare.rail_v)["output snubber"])
    assert snubbed.input_w - plain.input_w == pytest.approx(stated, rel=0.05)


SWEEP = AcSweep(low_hz=20.0, high_hz=400e3, per_decade=30)


def closed_form(values: ClassDValues, traces: Traces, load: object) -> np.ndarray:
    return filter_response(
        traces.axis,
        values.inductance_h,
        values.filter_f,
        values.damping_ohm,
        values.damping_f,
        values.switch_ohm + values.inductor_ohm,
        load,
        values.legs,
    )


@pytest.mark.parametrize("load_ohm", [LOAD, 1e6])
@pytest.mark.parametrize("kind", CLASS_D)
def test_response_of_the_output_filter(kind: str, load_ohm: float, reference_engine: Engine) -> None:
    _, values = alive(kind)
    circuit = class_d_filter_circuit(values, load_ohm)
    outputs = [Voltage(f"out_{name}") for name in "ab"[: values.legs]]
    traces = simulate(circuit, SWEEP, outputs, reference_engine, timeout_s=120.0)
    response = traces.phasor(outputs[0]) - (traces.phasor(outputs[1]) if values.legs == 2 else 0.0)
    ratio = response / closed_form(values, traces, load_ohm)
    assert np.max(np.abs(20.0 * np.log10(np.abs(ratio)))) < RESPONSE_DB
    assert np.max(np.abs(np.degrees(np.angle(ratio)))) < 0.5


def test_response_into_the_driver_in_its_box(reference_engine: Engine) -> None:
    _, values = alive("class_d_half_bridge")
    driver = DriverModel(
        re_ohm=3.4, bl_tm=14.5, mms_kg=0.14, cms_m_per_n=0.2e-3, rms_kg_per_s=5.0, sd_m2=0.05,
        coil_factor=0.0235, coil_exponent=0.688,
    )  # fmt: skip
    box = SealedBox(volume_m3=0.03)
    circuit = class_d_filter_circuit(values, enclosure_circuit(driver, box, source_ohm=LEAD))
    traces = simulate(circuit, SWEEP, [Voltage("out_a")], reference_engine, timeout_s=120.0)
    impedance = solve(driver, box, traces.axis).impedance_ohm + LEAD
    ratio = traces.phasor(Voltage("out_a")) / closed_form(values, traces, impedance)
    assert np.max(np.abs(20.0 * np.log10(np.abs(ratio)))) < RESPONSE_DB
    resistive = traces.phasor(Voltage("out_a")) / closed_form(values, traces, LOAD)
    assert np.max(np.abs(20.0 * np.log10(np.abs(resistive)))) > 10.0 * RESPONSE_DB


# -- class AB -----------------------------------------------------------------------------------------------

NOTE_HZ, POINTS = 50.0, 240
SINE = np.sin((np.arange(2000) + 0.5) * (pi / 4000))


@dataclass(frozen=True)
class Followed:
    """Averages over one cycle of a sine, W."""

    input_w: float
    load_w: float
    ballast_w: float
    lead_w: float


def followed(values: ClassABValues, engine: Engine, peak_v: float, load_ohm: float = LOAD) -> Followed:
    """The stage with ``peak_v`` at the load's own terminals."""
    wanted = peak_v * (load_ohm + values.lead_ohm) / load_ohm
    circuit = class_ab_circuit(values, load_ohm=load_ohm, signal=sine_ramp(wanted, NOTE_HZ, points=POINTS))
    run = Transient(stop_s=1.0 / NOTE_HZ, step_s=1.0 / NOTE_HZ / POINTS, accuracy=1e-4)
    rails = ["BENCH_RAIL_POSITIVE"] + (["BENCH_RAIL_NEGATIVE"] if values.split_rails else [])
    legs = "ab"[: values.legs]
    nets = [f"out_{name}" for name in legs] + (["terminal"] if values.lead_ohm else [])
    if values.ballast_ohm:
        nets += [
            f"emitter_{side}_{name}{k}"
            for side in ("upper", "lower")
            for name in legs
            for k in range(values.pairs)
        ]
    probes: list[Probe] = [*map(Current, rails), *map(Voltage, nets)]
    traces = simulate(circuit, run, probes, engine, timeout_s=120.0)
    time_s = traces.axis
    near = traces.voltage("terminal" if values.lead_ohm else "out_a")
    across = near - (traces.voltage("out_b") if values.legs == 2 else 0.0)
    drops = [
        rms_of(time_s, traces.voltage(net) - traces.voltage(f"out_{net.rsplit('_', 1)[1][0]}"))
        for net in nets
        if net.startswith("emitter")
    ]
    return Followed(
        input_w=values.rail_v * sum(-mean_of(time_s, traces.current(rail)) for rail in rails),
        load_w=rms_of(time_s, across) ** 2 / load_ohm,
        ballast_w=sum(drop**2 / values.ballast_ohm for drop in drops),
        lead_w=values.lead_ohm * (rms_of(time_s, across) / load_ohm) ** 2,
    )


def stage(name: str) -> tuple[AmplifierResult, ClassABModel, ClassABValues]:
    kind, power_w, wishes = CLASS_AB[name]
    result = design(kind, power_w, **wishes)
    assert isinstance(result.model, ClassABModel)
    return result, result.model, class_ab_values(result)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.25, 0.5, 1.0])
@pytest.mark.parametrize("name", ["chip", "bridge chip"])
def test_class_ab_draws_and_heats_as_the_model_says(
    name: str, share: float, reference_engine: Engine
) -> None:
    """Without emitter resistors the transistors obey the model's own law at every level."""
    result, model, values = stage(name)
    peak = share * result.peak_v
    found = followed(values, reference_engine, peak)
    v = peak * SINE
    drawn = float(np.mean(model.input_power_w(v, v / LOAD, values.rail_v)))
    heat = float(np.mean(model.losses_w(v, v / LOAD, values.rail_v)["output devices"]))
    assert found.input_w == pytest.approx(drawn, rel=1e-3)
    drivers = values.driver_a * float(model.bus_v(values.rail_v))
    devices = found.input_w - found.load_w - found.lead_w - found.ballast_w - drivers
    assert devices == pytest.approx(heat, rel=2e-3)


def sum_of_currents(values: ClassABValues, i: np.ndarray) -> np.ndarray:
    """Both transistors' currents added, with the emitter resistors in their loop, by bisection, A."""
    ohms, volt = values.ballast_ohm / values.pairs, 1.380649e-23 * 300.15 / 1.602176634e-19
    low, high = np.abs(i), np.abs(i) + 2.0 * values.bias_a
    for _ in range(80):
        middle = 0.5 * (low + high)
        product = 0.25 * (middle**2 - i**2)
        allowed = values.bias_a**2 * np.exp(-ohms * (middle - 2.0 * values.bias_a) / volt)
        low, high = np.where(product < allowed, middle, low), np.where(product < allowed, high, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize("share", [0.0, 0.05, 0.1, 0.2, 0.5, 1.0])
@pytest.mark.parametrize("name", ["pairs", "bridge of pairs"])
def test_emitter_resistors_only_lower_what_the_model_says(
    name: str, share: float, reference_engine: Engine
) -> None:
    """They turn the idle transistor off sooner than the model's plain product law, which is an upper bound.

    With the resistors in the loop the circuit is met at every level; the plain law at idle and from half of
    full drive.
    """
    result, model, values = stage(name)
    peak = share * result.peak_v
    found = followed(values, reference_engine, peak)
    v = peak * SINE
    exact = values.rail_v * float(np.mean(sum_of_currents(values, v / LOAD)))
    exact += values.driver_a * float(model.bus_v(values.rail_v))
    assert found.input_w == pytest.approx(exact, rel=1e-3)
    drawn = float(np.mean(model.input_power_w(v, v / LOAD, values.rail_v)))
    assert found.input_w < 1.0002 * drawn
    if share in (0.0, 0.5, 1.0):
        assert found.input_w == pytest.approx(drawn, rel=LOSS)
    if share == 1.0:
        terms = {k: float(np.mean(w)) for k, w in model.losses_w(v, v / LOAD, values.rail_v).items()}
        assert found.ballast_w == pytest.approx(terms["ballast resistors"], rel=LOSS)
        assert found.lead_w == pytest.approx(terms["speaker lead"], rel=LOSS)


def class_b(rail_v: float) -> ClassABValues:
    return ClassABValues(
        legs=1, split_rails=True, rail_v=rail_v, bias_a=1e-4, driver_a=0.0, pairs=1, ballast_ohm=0.0,
        lead_ohm=0.0, ids={"output stage": "pair"},
    )  # fmt: skip


@pytest.mark.parametrize("share", [0.25, 0.5, 2.0 / pi, 0.8, 0.985])
def test_class_b_of_the_textbook(share: float, reference_engine: Engine) -> None:
    """Boylestad & Nashelsky: power, efficiency and heat of a class-B stage with a sine."""
    rail_v, ohms = 30.0, 16.0
    peak = share * rail_v
    found = followed(class_b(rail_v), reference_engine, peak, ohms)
    assert found.input_w == pytest.approx(class_b_input_power_w(rail_v, peak, ohms), rel=2e-3)
    assert found.load_w / found.input_w == pytest.approx(class_b_efficiency(rail_v, peak), rel=2e-3)
    heat = found.input_w - found.load_w
    assert heat == pytest.approx(class_b_dissipation_w(rail_v, peak, ohms), rel=5e-3)
    if share == 2.0 / pi:
        assert heat == pytest.approx(class_b_worst_dissipation_w(rail_v, ohms), rel=5e-3)
        assert heat == pytest.approx(2.0 * rail_v**2 / (pi**2 * ohms), rel=5e-3)
    if share == 0.985:
        assert found.load_w / found.input_w / share == pytest.approx(CLASS_B_MAX_EFFICIENCY, rel=2e-3)
        assert found.load_w / found.input_w / share == pytest.approx(0.785, rel=3e-3)


# -- inputs -------------------------------------------------------------------------------------------------

NEED = InputNeed(channels=2, sensitivity_v=1.0, summing_ohm=22e3, side_v=12.0, battery_max_v=14.8)
OP_AMP = LIBRARY.op_amps["TL072"]
INPUTS = {
    "line": InputSpec(),
    # 330 Ω: the usual 220 Ω would exactly make up for 22 kΩ that is 1 % high
    "line, difference": InputSpec.model_validate({"receiver": "difference", "source_output": "330 ohm"}),
    "speaker": InputSpec(source="speaker"),
    "speaker, 40 V": InputSpec.model_validate({"source": "speaker", "speaker": "40 V"}),
}
DIFFERENCE = [name for name in INPUTS if name != "line"]
BAND = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=10)


def heard(name: str, engine: Engine, **how: object) -> tuple[InputResult, np.ndarray]:
    """Modulus at both channels' outputs, shape (2, frequencies)."""
    spec = INPUTS[name]
    result = design_input(spec, NEED, LIBRARY)
    circuit = input_circuit(result, OP_AMP, side_v=NEED.side_v, summing_ohm=NEED.summing_ohm, **how)
    outputs = [Voltage(net) for net in INPUT_OUTPUTS]
    traces = simulate(circuit, BAND, outputs, engine, timeout_s=120.0)
    return result, np.abs([traces.phasor(net) for net in outputs])


@pytest.mark.parametrize("name", INPUTS)
def test_gain_of_the_inputs(name: str, reference_engine: Engine) -> None:
    resting = 7.2 if name.startswith("speaker") else 0.0
    result, gain = heard(name, reference_engine, resting_v=resting)
    assert gain.shape[0] == result.channels
    assert np.max(np.abs(20.0 * np.log10(gain / result.gain))) < GAIN_DB


@pytest.mark.parametrize("part", INPUT_PARTS)
@pytest.mark.parametrize("name", DIFFERENCE)
def test_rejection_with_one_resistor_off(name: str, part: str, reference_engine: Engine) -> None:
    spec = INPUTS[name]
    result = design_input(spec, NEED, LIBRARY)
    around = result.difference_in_ohm
    assert around is not None
    source = spec.source_output_ohm if spec.source == "line" else 0.0
    off = {part: spec.resistor_tolerance}
    values = [result.series_ohm] * 2 + [around] * 4
    values[INPUT_PARTS.index(part)] *= 1.0 + spec.resistor_tolerance
    values[0] += source
    shunt = np.inf if result.shunt_ohm is None else result.shunt_ohm
    differential, _ = difference_gains(tuple(values), shunt)
    rejection = float(difference_rejection_db(tuple(values), shunt))
    _, gain = heard(name, reference_engine, off=off, source_ohm=source)
    assert np.max(np.abs(20.0 * np.log10(gain / float(differential)))) < GAIN_DB
    _, common = heard(name, reference_engine, off=off, source_ohm=source, mode="common")
    low = 20.0 * np.log10(gain[:, 0] / common[:, 0])  # where the capacitors carry nothing
    assert low == pytest.approx(rejection, abs=REJECTION_DB)
