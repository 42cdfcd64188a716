"""Regulated rails with their controller as one circuit: the divided rail decides every pulse."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.controller_circuit import controller_circuit, controller_model
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_regulated import RegulatedPoint, regulated_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.gate_drive_circuit import POSITIONS, gate_nets
from subwright.circuits.measure import last_periods, mean_of
from subwright.circuits.models import Clock, ControllerModel
from subwright.circuits.netlist import BENCH, Circuit, Part, Pulse, Steady
from subwright.circuits.simulate import Array, Traces
from subwright.physics.regulated_loop import RegulatedLoop
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_controller import LOOP_OHM, loop_capacitor_f
from subwright.stages.converter_family import dead_time_kind, duty_v, feedback_v, ramp_v

__all__ = ["ClosedStep", "averaged_loop", "closed_step", "step_courses"]

_STEPS: Final = 200  # in a switching cycle
_BEFORE: Final = 40  # cycles that the loop has to come to rest
_BANK: Final = 16.0  # over the quick stage's: choke and bank then swing at a fortieth of the switching rate
_MEAN: Final = 0.5  # of a cycle: the rails' ripple repeats after it
_FIRST: Final = frozenset({"a", "high_a", "low_b"})
_LEAST_FALL_S: Final = 50e-9  # of a ramp whose own fall is counted as none
_INNER_V: Final = 0.7  # of the 494, between its FB and the ramp


@dataclass(frozen=True, kw_only=True, slots=True)
class ClosedStep:
    """A load step on regulated rails, to be simulated.

    Attributes
    ----------
    circuit : controller and power stage joined. run, probes : what to ask of it.
    step_s : when the loads step. step_a : by how much, each rail.
    loop : the averaged loop about its state after the step.
    """

    circuit: Circuit
    run: Transient
    probes: tuple[Probe, ...]
    step_s: float
    step_a: float
    loop: RegulatedLoop


def averaged_loop(result: ConverterResult, values: PowerValues, loop_f: float) -> RegulatedLoop:
    """The loop of both rails alike, linearised about the closed form's state of rest.

    Parameters
    ----------
    result : the converter. values : its power stage at the load. loop_f : of the integrator, F.
    """
    v, choke = values, values.choke
    assert choke is not None
    assert result.choke is not None
    controller, timing = result.plan.controller, result.plan.timing
    at = regulated_point(v)
    primary = v.switch_ohm + v.primary_winding_ohm + v.link_ohm + v.input_esr_ohm * (1.0 - at.share)
    # Both rails' currents pass the primary; the commutation takes a share that grows with them.
    reflected = 2.0 * v.ratio**2 * (primary * at.share + 2.0 * v.switching_hz * v.leakage_h)
    own = 0.5 * (1.0 + at.share) * v.diode_ohm + v.secondary_winding_ohm * at.share + choke.resistance_ohm
    low_v, high_v = _opens_v(result)
    rises = 1.0 - _falling(result) * timing.oscillator_hz
    divider_ohm = 1.0 / (1.0 / result.choke.feedback_top_ohm + 1.0 / result.choke.feedback_bottom_ohm)
    per_volt_s = feedback_v(controller) / choke.set_v / ((LOOP_OHM + divider_ohm) * loop_f)
    return RegulatedLoop(
        inductance_h=2.0 * choke.inductance_h,
        rail_f=v.reservoir_f,
        rail_esr_ohm=v.reservoir_esr_ohm,
        path_ohm=reflected + own,
        winding_v=at.winding_v,
        share=at.share,
        ratio=v.ratio,
        rail_a=0.5 * (v.positive_a + v.negative_a),
        source_ohm=v.source_ohm,
        input_f=v.input_f,
        share_per_vs=per_volt_s * rises / (high_v - low_v),
    )


def _opens_v(result: ConverterResult) -> tuple[float, float]:
    """Error amplifier's output at no duty and at all of it, V, as the controller's model has its ramp."""
    controller = result.plan.controller
    low_v, high_v = duty_v(controller)
    return max(low_v, controller_model(controller).ramp_low_v), high_v


def _falling(result: ConverterResult) -> float:
    """Time in which the ramp falls, s; what else the dead time holds lies in its rise."""
    timing, controller = result.plan.timing, result.plan.controller
    own_s = controller.dead_time_s(timing.ct_f, timing.rd_ohm) - controller.dead_min_s
    return max(own_s, _LEAST_FALL_S)


def closed_step(result: ConverterResult, values: PowerValues, light: float, cycles: int) -> ClosedStep:
    """The loop closed around a small power stage, begun where the closed form has it.

    Parameters
    ----------
    result : the converter. values : of ``quick``, both rails loaded alike, at the load after the step.
    light : share of it before. cycles : to simulate after the step.

    Returns
    -------
    ClosedStep. Banks are sixteen times those of ``values``, and the loop's capacitor is chosen for them as
    the design's is for its own.
    """
    v, choke = replace(values, reservoir_f=_BANK * values.reservoir_f), values.choke
    assert choke is not None
    period = v.period_s
    before = replace(v, positive_a=light * v.positive_a, negative_a=light * v.negative_a)
    path = v.ratio**2 * (v.switch_ohm + v.primary_winding_ohm + v.link_ohm)
    loop_f = loop_capacitor_f(
        result.plan.controller,
        winding_v=v.ratio * v.emf_v,
        divided=feedback_v(result.plan.controller) / choke.set_v,
        choke_h=choke.inductance_h,
        rails_f=2.0 * v.reservoir_f,
        path_ohm=path + 0.5 * (v.secondary_winding_ohm + v.diode_ohm + choke.resistance_ohm),
        source_ohm=v.ratio**2 * v.source_ohm,
    )
    control = controller_circuit(
        replace(result, loop_f=loop_f), supply=Steady(value=v.emf_v), corners={}, settled=True
    )
    control = _begun(result, _clocked(result, control), regulated_point(before))
    step_s = _BEFORE * period
    stop_s = step_s + cycles * period
    return ClosedStep(
        circuit=_joined(result, control, power_circuit(before), _steps(v, light, step_s, stop_s)),
        run=Transient(
            stop_s=stop_s,
            step_s=period / _STEPS,
            keep_from_s=step_s - 12.0 * period,
            from_initial=True,
            current_floor_a=1e-4 * v.positive_a,
            voltage_floor_v=1e-4,
        ),
        probes=(Voltage("rail_positive"), Voltage("rail_negative"), Voltage("comp"), Current("BT101")),
        step_s=step_s,
        step_a=(1.0 - light) * v.positive_a,
        loop=averaged_loop(result, v, loop_f),
    )


def _clocked(result: ConverterResult, control: Circuit) -> Circuit:
    """The controller with sources in place of its ramp, which the loop doesn't change."""
    clock = Clock(period_s=0.5 / result.plan.timing.switching_hz, fall_s=_falling(result))
    models = tuple(
        replace(model, clock=clock) if isinstance(model, ControllerModel) else model
        for model in control.models
    )
    return replace(control, models=models)


def _steps(v: PowerValues, light: float, at_s: float, stop_s: float) -> dict[str, Pulse]:
    """Loads that step up together."""
    return {
        f"{BENCH}LOAD_{name}": Pulse(
            first=light * load_a,
            then=load_a,
            delay_s=at_s,
            edge_s=0.01 * v.period_s,
            then_s=2.0 * stop_s,
            period_s=4.0 * stop_s,
        )
        for name, load_a in (("POSITIVE", v.positive_a), ("NEGATIVE", v.negative_a))
    }


def _begun(result: ConverterResult, control: Circuit, at: RegulatedPoint) -> Circuit:
    """The controller with its error amplifier where the share asks it to be."""
    controller, timing = result.plan.controller, result.plan.timing
    low_v, high_v = _opens_v(result)
    half_s, fall_s = 1.0 / timing.oscillator_hz, _falling(result)
    rested_s = controller.dead_min_s if dead_time_kind(controller) != "dead-time input" else 0.0
    part = (at.gate_share * half_s + rested_s) / (half_s - fall_s)
    reference_v = feedback_v(controller)
    if controller.family == "494":
        comp_v = low_v + _INNER_V + (1.0 - part) * (high_v - low_v)
    else:
        comp_v = low_v + part * (high_v - low_v)
    begun = {
        "loop capacitor": comp_v - reference_v,
        "balance capacitor": reference_v,
        "timing capacitor": ramp_v(controller)[0],
    }
    return replace(
        control,
        parts=tuple(
            replace(part, initial_v=begun[part.role]) if part.role in begun else part
            for part in control.parts
        ),
    )


def _joined(result: ConverterResult, control: Circuit, power: Circuit, loads: dict[str, Pulse]) -> Circuit:
    """Both netlists as one; the gates follow the outputs at once."""
    positions = POSITIONS[result.topology]
    switches = [part for part in power.parts if part.kind == "mosfet"]
    feet = {switch.nets[1]: switch.nets[2] for switch in switches}
    count = len(switches) // len(positions)
    drives = [
        Part(
            designator=f"{BENCH}DRIVE_{net.upper()}",
            kind="voltage by voltage",
            nets=(net, feet[net], f"out_{'a' if position in _FIRST else 'b'}", "0"),
            value=1.0,
            role="gate drive",
            standing="bench",
        )
        for position in positions
        for net in gate_nets(position, count)
    ]
    kept = [part for part in control.parts if part.designator != f"{BENCH}RAIL"]
    kept += [
        replace(part, value=loads.get(part.designator, part.value))
        for part in power.parts
        if not part.designator.startswith(f"{BENCH}GATE")
    ]
    return Circuit(
        name="regulated converter, closed loop",
        parts=(*kept, *drives),
        models=(*control.models, *power.models),
        couplings=power.couplings,
        open_nets=control.open_nets,
    )


def step_courses(step: ClosedStep, traces: Traces) -> tuple[Array, Array, float]:
    """Rail after the step, its switching ripple averaged away, and its mean before.

    Parameters
    ----------
    step : what was simulated. traces : of its probes.

    Returns
    -------
    (time from the step, s; positive rail, V; its mean over ten cycles before the step, V).
    """
    period = step.run.step_s * _STEPS
    time, rail = traces.axis, traces.voltage("rail_positive")
    early = time <= step.step_s
    before_v = mean_of(*last_periods(time[early], rail[early], period, 10))
    # The mean over a window is the difference of the integral at its ends.
    whole = np.concatenate(([0.0], np.cumsum(0.5 * (rail[1:] + rail[:-1]) * np.diff(time))))
    window = _MEAN * period
    middles = np.arange(step.step_s + 0.5 * window, time[-1] - 0.5 * window, 0.1 * window)
    ends, begins = (np.interp(middles + sign * 0.5 * window, time, whole) for sign in (1.0, -1.0))
    return middles - step.step_s, (ends - begins) / window, before_v
