"""Switching on and off: threshold and debounce of the remote line, order of events, standby."""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.build.test_points import NO_SIGNAL, played
from subwright.build.test_points.control import (
    control_load_ohm,
    control_readings,
    mute_load,
    speaker_base_ohm,
)
from subwright.circuits.analysis import Current, Transient, Voltage
from subwright.circuits.control_circuit import TIMER_OUTPUTS, control_circuit
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.control_records import ControlResult, Remote

__all__ = ["EXPERIMENT"]

_THRESHOLD: Final = 0.03
_TIME: Final = 0.05
_DIODE_EMPTY_S: Final = 10e-3  # what the order of events allows the timers at switch-off
_OFF_A: Final = 5e-6
_BATTERY_S: Final = 0.1  # on each other battery: the timers' supply settles in a tenth of a millisecond
_POINT: Final = 0.01
_LOW_V: Final = 2e-3  # the supply settles while the first delay begins
_POINTS: Final = ("control", "remote_base", "timer", "half", "mute")


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
    """Switched on at once: debounce, then each timer, counted from the control supply; then each battery.

    The remote line stays where it was; what it drives moves by the logarithm of its current.
    """
    volts = {
        at: (design.point(corner, Level.IDLE).terminal_v, design.supply.corners[corner])
        for at, (corner, _) in played(NO_SIGNAL).items()
    }
    first = next(at for at in volts if at.startswith("nominal"))
    nominal, line = volts[first]
    remote = control.remote
    begin, edge = 0.1, 1e-4
    last = max(timer.nominal_s for timer in control.timers)
    stop = begin + 1.3 * last + (0.0 if remote is None else 3.0 * remote.debounce_s)
    order = (first, *(at for at in volts if at != first))
    ends = {at: stop + number * _BATTERY_S for number, at in enumerate(order)}
    steps = [
        point
        for before, at in pairwise(order)
        for point in ((ends[before], volts[before][0]), (ends[before] + edge, volts[at][0]))
    ]
    started = ((0.0, nominal),) if remote else ((0.0, 0.0), (begin, 0.0), (begin + edge, nominal))
    load_ohm, base_ohm, mute = control_load_ohm(design), speaker_base_ohm(design), mute_load(design)
    circuit = control_circuit(
        control,
        library,
        battery=Ramp(points=(*started, *steps)),
        remote=None if remote is None else Ramp(points=((0.0, 0.0), (begin, 0.0), (begin + edge, line))),
        load_ohm=load_ohm,
        mute=mute,
        speaker_base_ohm=base_ohm,
    )
    supply_net = "battery" if remote is None else "control"
    nets = tuple(dict.fromkeys((supply_net, *_nets(control), *(p.net for p in circuit.test_points))))
    traces = simulate(
        circuit,
        Transient(stop_s=max(ends.values()), step_s=1e-3, accuracy=1e-5),
        [Voltage(net) for net in nets],
        engine,
        timeout_s=timeout_s,
    )
    playing = traces.axis <= stop
    on = next(
        time for time, rising in crossings(traces.axis, traces.voltage(supply_net), 0.5 * nominal) if rising
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
        output = traces.voltage(TIMER_OUTPUTS[timer.name])[playing]
        level = 0.5 * float(output.max())
        late = [time for time, rising in crossings(traces.axis[playing], output, level) if rising]
        checks.append(
            Check(
                quantity=f"{timer.name}, after the control supply",
                closed=timer.nominal_s,
                simulated=(late[-1] if late else stop) - on,
                unit="s",
                limit=_TIME,
            )
        )

    def read(net: str, time_s: float) -> float:
        return float(np.interp(time_s, traces.axis, traces.voltage(net)))

    readings = control_readings(design, library)
    for at, end in ends.items():
        for net in (net for net in _POINTS if net in circuit.nets):
            told = next(reading for reading in readings[net] if reading.at == at)
            checks.append(
                Check(
                    quantity=f"{net.replace('_', ' ')}, {at}",
                    closed=told.dc_v,
                    simulated=read(net, end - edge),
                    unit="V",
                    limit=_POINT,
                )
            )
    for timer in control.timers:
        out = TIMER_OUTPUTS[timer.name]
        if timer.name == "un-mute" or base_ohm is not None:
            checks.append(
                Check(
                    quantity=f"{out.replace('_', ' ')} while its delay runs",
                    closed=readings[out][0].dc_v,
                    simulated=read(out, on + 0.5 * timer.nominal_s),
                    unit="V",
                    limit=_LOW_V,
                    absolute=True,
                )
            )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={f"{net}, V": traces.voltage(net) for net in (supply_net, *_nets(control))},
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
    "at once, the debounce and each timer counted from the control supply, then what the test points read "
    "while it plays on each battery; switched off, every output low with the supply. Limits 3 % of the "
    "threshold, 5 % of the times, 20 ms at switch-off, 1 % of each reading, 2 mV of a low output.",
    cases=_cases,
)
