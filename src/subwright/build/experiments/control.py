"""Switching on and off: threshold and debounce of the remote line, order of events, standby."""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import Current, Transient, Voltage
from subwright.circuits.control_circuit import TIMER_OUTPUTS, control_circuit
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.control_records import ControlResult, Remote

__all__ = ["EXPERIMENT"]

_THRESHOLD: Final = 0.03
_TIME: Final = 0.05
_DIODE_EMPTY_S: Final = 10e-3  # what the order of events allows the timers at switch-off
_OFF_A: Final = 5e-6


def _nets(control: ControlResult) -> tuple[str, ...]:
    return tuple(TIMER_OUTPUTS[timer.name] for timer in control.timers)


def _crept(
    design: Design, control: ControlResult, remote: Remote, library: Library, engine: Engine, timeout_s: float
) -> Outcome:
    """The remote line turned up slowly until the control supply is half on."""
    volts = design.supply.corners[Corner.NOMINAL]
    slow_s = 400.0 * remote.debounce_s
    top = 1.5 * remote.on_v
    circuit = control_circuit(
        control,
        library,
        battery=Steady(value=volts),
        remote=Ramp(points=((0.0, 0.0), (slow_s, top))),
        load_ohm=volts / remote.switch_a,
    )
    traces = simulate(
        circuit,
        Transient(stop_s=slow_s, step_s=slow_s / 4000.0, accuracy=1e-5),
        [Voltage("remote"), Voltage("control"), Current("BENCH_BATTERY")],
        engine,
        timeout_s=timeout_s,
    )
    supply = traces.voltage("control")
    on = next(time for time, rising in crossings(traces.axis, supply, 0.5 * volts) if rising)
    checks = (
        Check(
            quantity="remote line's voltage that switches on",
            closed=remote.on_v,
            simulated=float(np.interp(on, traces.axis, traces.voltage("remote"))),
            unit="V",
            limit=_THRESHOLD,
        ),
        Check(
            quantity="battery current of the control circuit, remote line off",
            closed=0.0,
            simulated=-float(traces.current("BENCH_BATTERY")[0]),
            unit="A",
            limit=_OFF_A,
            absolute=True,
        ),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={"remote line, V": traces.voltage("remote"), "control supply, V": supply},
    )


def _sequence(
    design: Design, control: ControlResult, library: Library, engine: Engine, timeout_s: float
) -> Outcome:
    """Switched on at once: debounce, then each timer; counted from the control supply."""
    volts = design.supply.corners[Corner.NOMINAL]
    remote = control.remote
    begin, edge = 0.1, 1e-4
    edge_up = Ramp(points=((0.0, 0.0), (begin, 0.0), (begin + edge, volts)))
    last = max(timer.nominal_s for timer in control.timers)
    stop = begin + 1.3 * last + (0.0 if remote is None else 3.0 * remote.debounce_s)
    circuit = control_circuit(
        control,
        library,
        battery=edge_up if remote is None else Steady(value=volts),
        remote=None if remote is None else edge_up,
        load_ohm=1e3 if remote is None else volts / remote.switch_a,
    )
    supply_net = "battery" if remote is None else "control"
    nets = (supply_net, *_nets(control))
    traces = simulate(
        circuit,
        Transient(stop_s=stop, step_s=1e-3, accuracy=1e-5),
        [Voltage(net) for net in nets],
        engine,
        timeout_s=timeout_s,
    )
    on = next(
        time for time, rising in crossings(traces.axis, traces.voltage(supply_net), 0.5 * volts) if rising
    )
    checks = []
    if remote is not None:
        checks.append(
            Check(
                quantity="debounce of the remote line",
                closed=remote.debounce_s,
                simulated=on - begin,
                unit="s",
                limit=_TIME,
            )
        )
    for timer in control.timers:
        output = traces.voltage(TIMER_OUTPUTS[timer.name])
        level = 0.5 * float(output.max())
        late = [time for time, rising in crossings(traces.axis, output, level) if rising]
        checks.append(
            Check(
                quantity=f"{timer.name}, after the control supply",
                closed=timer.nominal_s,
                simulated=(late[-1] if late else stop) - on,
                unit="s",
                limit=_TIME,
            )
        )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{net}, V": traces.voltage(net) for net in nets},
    )


def _off(
    design: Design, control: ControlResult, remote: Remote, library: Library, engine: Engine, timeout_s: float
) -> Outcome:
    """Switched off while it plays: both outputs must be low as soon as the supply has gone."""
    volts = design.supply.corners[Corner.NOMINAL]
    last = max(timer.nominal_s for timer in control.timers)
    begin = 4.0 * last
    circuit = control_circuit(
        control,
        library,
        battery=Steady(value=volts),
        remote=Ramp(points=((0.0, volts), (begin, volts), (begin + 1e-4, 0.0))),
        load_ohm=volts / remote.switch_a,
    )
    nets = ("control", *_nets(control))
    traces = simulate(
        circuit,
        Transient(stop_s=begin + 4.0, step_s=2e-3, accuracy=1e-5),
        [Voltage(net) for net in nets],
        engine,
        timeout_s=timeout_s,
    )

    def falls_s(net: str, level: float) -> float:
        found = crossings(traces.axis, traces.voltage(net), level)
        return next((time for time, rising in found if not rising and time > begin), float(traces.axis[-1]))

    gone = falls_s("control", 0.5 * volts)
    checks = tuple(
        Check(
            quantity=f"{net.replace('_', ' ')} low, after the control supply",
            closed=0.0,
            simulated=falls_s(net, 0.25 * float(traces.voltage(net).max())) - gone,
            unit="s",
            limit=2.0 * _DIODE_EMPTY_S,
            absolute=True,
        )
        for net in _nets(control)
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{net}, V": traces.voltage(net) for net in nets},
    )


def _cases(design: Design, library: Library) -> tuple[Case, ...]:
    control = design.control
    if control is None:
        return ()
    on = Case(name="switched on", run=partial(_sequence, design, control, library))
    if control.remote is None:
        return (on,)
    given = (design, control, control.remote, library)
    return (
        Case(name="line rising slowly", run=partial(_crept, *given)),
        on,
        Case(name="switched off", run=partial(_off, *given)),
    )


EXPERIMENT: Final = Experiment(
    name="remote-switch-on",
    block="supply",
    title="Switching on and off",
    about="The remote line turned up slowly to its threshold with the standby current before it; switched on "
    "at once, the debounce and each timer counted from the control supply; switched off, every output low "
    "with the supply. Limits 3 % of the threshold, 5 % of the times, 20 ms at switch-off.",
    cases=_cases,
)
