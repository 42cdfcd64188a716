"""Netlists of output stages and inputs: made of their bills, driven as stated, and refusals."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from subwright.base.errors import SubwrightError
from subwright.circuits.amplifier_bank import with_input_bank
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_class_d import INDUCTORS, class_d_circuit, class_d_filter_circuit
from subwright.circuits.amplifier_drive import GATE_V, gate_drives, pulse_edges, sine_ramp
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_supply import with_supply_capacitors
from subwright.circuits.amplifier_values import class_ab_values, class_d_values
from subwright.circuits.analysis import AcSweep, Transient, Voltage
from subwright.circuits.enclosure_circuit import enclosure_circuit
from subwright.circuits.input_circuit import INPUT_OUTPUTS, input_circuit
from subwright.circuits.measure import mean_of, rms_of
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.spice_text import deck
from subwright.circuits.voltage_stage_circuit import voltage_stage_circuit
from subwright.circuits.voltage_stage_loop import leg_feeds
from subwright.parts.library import load_library
from subwright.physics.acoustics.boxes import SealedBox
from subwright.physics.acoustics.parameters import DriverModel
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.input import InputNeed, InputResult, InputSpec, design_input
from subwright.stages.supply import SupplySpec, supply_corners

LIBRARY = load_library()
TWELVE = supply_corners(SupplySpec())[0]
OP_AMP = LIBRARY.op_amps["TL072"]
RUN = Transient(stop_s=1e-5, step_s=1e-7)
CLASS_D = [
    ("class_d_half_bridge", 100.0, {}),
    ("class_d_half_bridge", 100.0, {"snubber": "auto", "inductor_core": "bought"}),
    ("class_d_full_bridge", 150.0, {}),
    ("bridge_class_d", None, {"snubber": "auto"}),
]
CLASS_AB = [
    ("class_ab", 20.0, {"ab_output": "chip"}),
    ("class_ab", 150.0, {"ab_output": "pair"}),
    ("bridge_class_ab", None, {}),
    ("bridge_class_ab", None, {"ab_output": "pair"}),
    ("class_ab", 60.0, {"ab_output": "lateral"}),
]
NEED = InputNeed(channels=2, sensitivity_v=1.0, summing_ohm=22e3, side_v=12.0, battery_max_v=14.8)
INPUTS = [
    InputSpec(),
    InputSpec(receiver="difference"),
    InputSpec(source="speaker"),
]


def design(kind: str, power_w: float | None, wishes: dict[str, object]) -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, **wishes})
    return design_amplifier(spec, power_w, 4.0, TWELVE, LIBRARY, speaker_cable_ohm=0.05)


def bill(result: AmplifierResult | InputResult) -> dict[str, float]:
    """Quantities by role, as the netlist counts them."""
    counted = {part.role: part.quantity for part in result.parts if part.letter != "W"}
    if "output inductor core" in counted:
        counted["output inductor"] = counted.pop("output inductor core")
    return counted


def switched(result: AmplifierResult) -> Circuit:
    return class_d_circuit(class_d_values(result), load_ohm=4.0, modulation=0.5, periods=3)


def before_drive(result: AmplifierResult) -> dict[str, int]:
    """What the voltage stage's netlist holds; nothing of a chip."""
    stage = result.voltage_stage
    if stage is None:
        return {}
    rails = result.rail_switching
    values = class_ab_values(result, switched=rails is not None)
    made = voltage_stage_circuit(
        stage,
        values.ids,
        leg_feeds(values, lifted=rails is not None and rails.form == "lifted"),
        split_rails=values.split_rails,
        supply_v=values.rail_v,
        spread_v=values.spread_v,
        signal=Steady(value=0.0),
    )
    return dict(made.bought())


def inputs(result: InputResult, **how: object) -> Circuit:
    return input_circuit(result, OP_AMP, side_v=12.0, summing_ohm=22e3, **how)


@pytest.mark.parametrize(("kind", "power_w", "wishes"), CLASS_D, ids=str)
def test_a_class_d_stage_is_made_of_its_bill(
    kind: str, power_w: float | None, wishes: dict[str, object]
) -> None:
    result = design(kind, power_w, wishes)
    made = with_supply_capacitors(switched(result), result, result.rail_needed_v)
    expected = {role: count for role, count in bill(result).items() if role != "amplifier input capacitor"}
    assert dict(made.bought()) == expected
    for designator in INDUCTORS[: result.model.legs]:
        coil = made.part(designator)
        assert (coil.value, coil.series_ohm) == (result.inductance_h, result.inductor_ohm)
    assert [part.value for part in made.by_role("filter capacitor")] == [result.filter_f] * result.model.legs
    again = with_supply_capacitors(switched(result), result, result.rail_needed_v)
    assert deck(made, RUN, [Voltage("out_a")]).text == deck(again, RUN, [Voltage("out_a")]).text


def banked(circuit: Circuit, result: AmplifierResult) -> Circuit:
    """With the bank of a stage on the battery."""
    if not result.input_capacitor_count:
        return circuit
    can = LIBRARY.capacitors[result.input_capacitor_id]
    return with_input_bank(circuit, can, result.input_capacitor_count, result.rail_needed_v)


@pytest.mark.parametrize(("kind", "power_w", "wishes"), CLASS_AB, ids=str)
def test_a_class_ab_stage_is_made_of_its_bill(
    kind: str, power_w: float | None, wishes: dict[str, object]
) -> None:
    result = design(kind, power_w, wishes)
    values = class_ab_values(result)
    made = class_ab_circuit(values, load_ohm=4.0, signal=Steady(value=0.0))
    made = banked(with_supply_capacitors(made, result, values.rail_v), result)
    per_line = 1 if values.chip else 2  # one line of the bill is a pair
    expected = {
        role: count * (per_line if role == "output stage" else 1) for role, count in bill(result).items()
    }
    assert {**made.bought(), **before_drive(result)} == expected
    assert not set(made.bought()) & set(before_drive(result))
    ballasts = [part.value for part in made.by_role("emitter resistor")]
    assert ballasts == [pytest.approx(0.22)] * (0 if values.chip else 2 * values.pairs * values.legs)
    text = deck(made, RUN, [Voltage("out_a")]).text
    assert ("\nQU501" in text) == values.chip
    assert ("\nMQ" in text) == values.lateral
    assert ("\nQQ501" in text) != values.chip


@pytest.mark.parametrize(("kind", "power_w"), [("class_g", 150.0), ("bridge_class_h", None)])
def test_rails_that_change_are_made_of_their_bill(kind: str, power_w: float | None) -> None:
    result = design(kind, power_w, {})
    values, rails = class_ab_values(result, switched=True), result.rail_switching
    assert rails is not None
    if kind == "class_g":
        made = class_g_circuit(values, rails, LIBRARY, load_ohm=4.0, signal=Steady(value=0.0))
    else:
        made = class_h_circuit(
            values,
            rails,
            LIBRARY,
            lift_f=result.lift_f,
            cans=result.lift_count,
            load_ohm=4.0,
            signals=(Steady(value=6.0), Steady(value=6.0)),
        )
    made = banked(made, result)
    expected = {role: count * (2 if role == "output stage" else 1) for role, count in bill(result).items()}
    assert {**made.bought(), **before_drive(result)} == expected
    assert not set(made.bought()) & set(before_drive(result))
    for part in made.parts:
        if part.role in rails.resistors_ohm:
            assert part.value == rails.resistors_ohm[part.role]
    assert deck(made, RUN, [Voltage("out_a")]).devices


@pytest.mark.parametrize("spec", INPUTS, ids=lambda spec: f"{spec.source}, {spec.receiver}")
@pytest.mark.parametrize("channels", [1, 2])
def test_the_inputs_are_made_of_their_bill(spec: InputSpec, channels: int) -> None:
    result = design_input(spec, replace(NEED, channels=channels), LIBRARY)
    made = inputs(result)
    assert dict(made.bought()) == bill(result)
    elsewhere = {part.case for part in made.parts if part.standing == "elsewhere"}
    assert len(elsewhere) == (1 if result.op_amps else 0)  # two to a case
    sweep = AcSweep(low_hz=10.0, high_hz=100.0, per_decade=5)
    assert deck(made, sweep, [Voltage(INPUT_OUTPUTS[0])]).devices


def test_a_resistor_is_off_by_what_is_stated() -> None:
    result = design_input(InputSpec(receiver="difference"), NEED, LIBRARY)
    assert result.difference_out_ohm is not None
    values = [part.value for part in inputs(result, off={"R4": 0.01}).by_role("difference amplifier out")]
    assert values == pytest.approx([22e3, 1.01 * 22e3] * 2)
    with pytest.raises(SubwrightError, match=r"no such resistor.*R9"):
        inputs(result, off={"R9": 0.01})
    with pytest.raises(SubwrightError, match=r"no such resistor.*R1"):
        inputs(design_input(InputSpec(), NEED, LIBRARY), off={"R1": 0.01})


def test_designators_are_unique_across_the_three() -> None:
    circuits = (
        switched(design(*CLASS_D[2])),
        inputs(design_input(InputSpec(source="speaker"), NEED, LIBRARY)),
    )
    names = [part.designator for made in circuits for part in made.parts if part.standing != "bench"]
    names += [point.designator for made in circuits for point in made.test_points]
    assert len(names) == len(set(names))


def test_pulses_have_the_duty_of_the_modulation() -> None:
    for m in (-0.9, -0.5, 0.0, 0.37, 0.95):
        for on, off in pulse_edges(m, 200e3, 3):
            assert (off - on) * 200e3 == pytest.approx(0.5 * (1.0 + m), rel=1e-12)


def test_a_pulse_that_the_dead_time_swallows_is_left_out() -> None:
    """At 95 % the lower switch would be on for 125 ns."""
    values = replace(class_d_values(design(*CLASS_D[0])), dead_time_s=150e-9)
    upper, lower = gate_drives(values, 0.95, 3)
    assert max(volts for _, volts in upper.points) == GATE_V
    between = [volts for time, volts in lower.points if values.period_s < time < 2.0 * values.period_s]
    assert not any(between)


def test_pulses_that_follow_a_sine_have_its_mean_and_fundamental() -> None:
    """Natural sampling leaves the note itself undistorted."""
    count, m, f = 64, 0.8, 200e3
    edges = np.array(pulse_edges(m, f, count, f / count))
    high = (edges[:, 1] - edges[:, 0]).sum() * f / count
    assert high == pytest.approx(0.5, abs=1e-9)
    omega = 2.0 * np.pi * f / count
    pulse = (np.exp(-1j * omega * edges[:, 0]) - np.exp(-1j * omega * edges[:, 1])) / (1j * omega)
    fundamental = 2.0 * 2.0 * pulse.sum() * f / count
    assert fundamental == pytest.approx(-1j * m, abs=1e-6)


@pytest.mark.parametrize("modulation", [-0.5, 0.0, 0.8])
def test_each_switch_waits_for_the_dead_time_and_never_longer(modulation: float) -> None:
    values = class_d_values(design(*CLASS_D[0]))
    upper, lower = gate_drives(values, modulation, 6)
    end_s = 5 * values.period_s
    time_s = np.unique(np.concatenate([[t for t, _ in drive.points] for drive in (upper, lower)]))
    time_s = np.append(time_s[time_s < end_s], end_s)
    on = [np.interp(time_s, *np.array(drive.points).T) for drive in (upper, lower)]
    assert np.max(np.minimum(*on)) <= 0.5 * GATE_V
    neither = 1.0 - mean_of(time_s, on[0] + on[1]) / GATE_V
    assert neither * values.period_s == pytest.approx(2.0 * values.dead_time_s, rel=1e-3)


def test_a_sine_of_lines_has_the_true_mean_square() -> None:
    ramp = sine_ramp(10.0, 50.0, points=48)
    time_s, volts = np.array(ramp.points).T
    assert time_s[-1] == pytest.approx(0.02)
    assert rms_of(time_s, volts) == pytest.approx(10.0 / np.sqrt(2.0), rel=1e-12)
    assert all(b[0] > a[0] for a, b in pairwise(ramp.points))


def test_what_has_no_circuit_is_refused() -> None:
    half = design(*CLASS_D[0])
    with pytest.raises(SubwrightError, match=r"no class-AB circuit.*class_d_half_bridge"):
        class_ab_values(half)
    with pytest.raises(SubwrightError, match=r"no class-D circuit.*class_ab"):
        class_d_values(design(*CLASS_AB[0]))
    with pytest.raises(SubwrightError, match=r"no class-AB circuit.*bridge_class_h"):
        class_ab_values(design("bridge_class_h", None, {}))
    values = class_d_values(half)
    with pytest.raises(SubwrightError, match="within its period"):
        class_d_circuit(values, load_ohm=4.0, modulation=1.0, periods=3)
    with pytest.raises(SubwrightError, match="leave no pulse"):
        class_d_circuit(replace(values, dead_time_s=3e-6), load_ohm=4.0, modulation=0.0, periods=3)
    with pytest.raises(SubwrightError, match="too fast for the triangle"):
        pulse_edges(0.95, 200e3, 4, 180e3)
    with pytest.raises(SubwrightError, match="has no 'output switch'"):
        class_d_circuit(replace(values, ids={}), load_ohm=4.0, modulation=0.0, periods=3)
    driver = DriverModel(
        re_ohm=3.4, bl_tm=14.5, mms_kg=0.14, cms_m_per_n=0.2e-3, rms_kg_per_s=5.0, sd_m2=0.05
    )
    speaker = enclosure_circuit(driver, SealedBox(volume_m3=0.03))
    assert isinstance(class_d_filter_circuit(values, speaker), Circuit)
    with pytest.raises(SubwrightError, match="can't lie between the legs of a bridge"):
        class_d_filter_circuit(class_d_values(design(*CLASS_D[3])), speaker)


def test_a_ramp_drives_the_class_ab_stage() -> None:
    made = class_ab_circuit(class_ab_values(design(*CLASS_AB[0])), load_ohm=4.0, signal=sine_ramp(5.0, 50.0))
    assert isinstance(made.part("BENCH_SIGNAL").value, Ramp)
