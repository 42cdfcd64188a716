"""The boost converter with its controller as one circuit: the chip decides every pulse."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.boost_control import boost_control_circuit
from subwright.circuits.boost_power import boost_circuit
from subwright.circuits.boost_values import BoostPowerValues
from subwright.circuits.measure import mean_of
from subwright.circuits.netlist import BENCH, Circuit
from subwright.circuits.simulate import Traces
from subwright.stages.converter_boost import BoostCrest
from subwright.stages.converter_boost_records import BoostPlan, BoostResult

__all__ = [
    "ClosedPoint",
    "closed_boost_circuit",
    "closed_probes",
    "closed_run",
    "control_voltage",
    "joined",
    "pulses",
    "simulated_loop",
]

Array = NDArray[np.float64]

_STEPS: Final = 200  # in a switching cycle
_CYCLES: Final = 60
_KEPT: Final = 16
_HIGH_V: Final = 5.0
_LEAST: Final = 4  # pulses to judge by


@dataclass(frozen=True, kw_only=True, slots=True)
class ClosedPoint:
    """What the closed loop settles to; ``alternation_a`` is the mean step from one peak to the next."""

    rail_v: float
    switching_hz: float
    choke_peak_a: float
    control_v: float
    alternation_a: float


def control_voltage(plan: BoostPlan, crest: BoostCrest) -> float:
    """What the error amplifier must give for a crest's peak current, V: sense, ramp and offsets added up."""
    sense, controller = plan.sense, plan.controller
    on_s = crest.duty / plan.timing.switching_hz
    sensed = crest.peak_a * sense.sense_ohm + sense.offset_v + sense.slope_v_per_s * on_s
    return (controller.comp_offset_v or 1.4) + (controller.sense_division or 3.0) * sensed


def joined(control: Circuit, power: Circuit) -> Circuit:
    """Controller and power stage as one netlist: what stood in for the other falls away."""
    stand_ins = {BENCH + name for name in ("RAIL", "SENSE", "GATE")}
    names = {model.name for model in control.models}
    renamed = {model.name: f"{model.name}_POWER" for model in power.models if model.name in names}
    kept = [
        *control.parts,
        *(replace(part, model=renamed.get(part.model, part.model)) for part in power.parts),
    ]
    models = (replace(model, name=renamed.get(model.name, model.name)) for model in power.models)
    return Circuit(
        name="boost converter, closed loop",
        parts=tuple(part for part in kept if part.designator not in stand_ins),
        models=(*control.models, *models),
        couplings=power.couplings,
    )


def closed_boost_circuit(
    result: BoostResult, values: BoostPowerValues, crest: BoostCrest, control_v: float
) -> Circuit:
    """The loop closed, begun where the closed form has it.

    Parameters
    ----------
    result : the converter. values, crest : power stage and its closed form at the load.
    control_v : of the control line, V.
    """
    control = boost_control_circuit(
        result,
        rail=result.set_v,
        control=control_v,
        settled=True,
        comp_v=control_voltage(result.plan, crest),
    )
    return joined(control, boost_circuit(values))


def closed_probes() -> tuple[Probe, ...]:
    """What ``simulated_loop`` reads."""
    return (Voltage("rail"), Voltage("gate"), Voltage("comp"), Current("L101"))


def closed_run(values: BoostPowerValues) -> Transient:
    """Sixty cycles from the closed form's own state."""
    period = values.period_s
    return Transient(
        stop_s=_CYCLES * period,
        step_s=period / _STEPS,
        from_initial=True,
        current_floor_a=1e-4 * values.choke_a,
        voltage_floor_v=1e-4,
    )


def pulses(time: Array, gate_v: Array) -> tuple[Array, Array]:
    """Moments at which a gate's pulses begin and end, s; the first ends after the first begins."""
    on = (gate_v > _HIGH_V).astype(int)
    edges = np.diff(on)
    begin, end = time[1:][edges == 1], time[1:][edges == -1]
    return begin, end[end > begin[0]] if begin.size else end


def simulated_loop(values: BoostPowerValues, traces: Traces) -> ClosedPoint:
    """Averages and peaks over the last cycles.

    Parameters
    ----------
    values : what was simulated. traces : of ``closed_probes``.

    Raises
    ------
    SubwrightError : the controller gave too few pulses.
    """
    time = traces.axis
    begin, _ = pulses(time, traces.voltage("gate"))
    begin = begin[-_KEPT - 1 :]
    if begin.size < _LEAST:
        raise SubwrightError(
            message="The simulated controller gave too few pulses.",
            quantity="pulses",
            value=f"{begin.size}",
            limit=f"{_LEAST}",
            remedy="This is an error in subwright, not in the build; please report it.",
        )
    choke = traces.current("L101")
    peaks = np.array([choke[(time >= a) & (time < b)].max() for a, b in pairwise(begin)])
    last = (time >= begin[0]) & (time < begin[-1])
    return ClosedPoint(
        rail_v=mean_of(time[last], traces.voltage("rail")[last]),
        switching_hz=float((begin.size - 1) / (begin[-1] - begin[0])),
        choke_peak_a=float(peaks.mean()),
        control_v=mean_of(time[last], traces.voltage("comp")[last]),
        alternation_a=float(np.abs(np.diff(peaks)).mean()),
    )
