"""The boost converter's power stage: battery, choke, switch with its current transformer, rectifier, rail.

The switch runs at the duty that the closed form finds for the rail, so that the circuit itself must come to
that rail. The load is a resistor. Output capacitances are left out, but for the snubber: nothing here
predicts a drain spike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.boost_values import BoostPowerValues
from subwright.circuits.measure import last_periods, mean_of, rms_of
from subwright.circuits.models import DiodeModel, JunctionModel, SwitchModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Coupling,
    Numbering,
    Part,
    Pulse,
    Steady,
    TestPoint,
)
from subwright.circuits.simulate import Traces
from subwright.stages.converter_bill import GATE_PULL_OHM
from subwright.stages.converter_boost_bill import BYPASS_ID

__all__ = [
    "BoostPoint",
    "boost_circuit",
    "boost_probes",
    "boost_run",
    "quick_boost",
    "simulated_boost",
]

_HUNDRED: Final = 100
_EDGE_S: Final = 20e-9
_GATE_V: Final = 10.0
_THRESHOLD_V: Final = 5.0
_OFF_OHM: Final = 50e3
_COUPLING: Final = 0.9995
_SIGNAL_V: Final = 0.7
_SIGNAL_A: Final = 0.3
_SETTLE: Final = 400
_KEPT: Final = 80
_AVERAGE: Final = 20
_STEPS: Final = 200
_BYPASS_F: Final = 1e-6
_BYPASS_OHM: Final = 10e-3
_DRIFT: Final = 2e-3
_RIPPLE: Final = 0.02  # of the rail, accepted in a quick stage


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostPoint:
    """Averages of the power stage at one load."""

    rail_v: float
    battery_a: float
    switch_rms_a: float
    choke_peak_a: float
    sense_peak_v: float  # across the burden


def boost_circuit(values: BoostPowerValues) -> Circuit:
    """Netlist of the power stage; capacitors and choke start where the closed form has them.

    Parameters
    ----------
    values : everything in it.
    """
    v = values
    number = Numbering(_HUNDRED)
    parts = [
        Part(
            designator=number.next("BT"),
            kind="voltage source",
            nets=("battery", GROUND),
            value=Steady(value=v.emf_v),
            role="battery",
            standing="elsewhere",
        ),
        Part(
            designator="BT101_RS",
            kind="resistor",
            nets=("battery", "input"),
            value=v.source_ohm,
            role="battery, cable and contacts",
            standing="inherent",
        ),
        *_cans(v, number, "input capacitor", "input"),
        Part(
            designator=number.next("L"),
            kind="inductor",
            nets=("input", "node"),
            value=v.inductance_h,
            role="boost choke core",
            part_id=v.ids["boost choke core"],
            series_ohm=v.choke_ohm + v.link_ohm,
            initial_a=v.valley_a,
        ),
        *_sense(v, number),
        *_switch(v, number),
        *_snubber(v, number),
        *_rectifier(v, number),
        *_cans(v, number, "rail capacitor", "rail"),
        *(
            Part(
                designator=number.next("C"),
                kind="capacitor",
                nets=("rail", GROUND),
                value=_BYPASS_F,
                role="rail bypass capacitor",
                part_id=BYPASS_ID,
                series_ohm=_BYPASS_OHM,
                initial_v=v.rail_v,
            )
            for _ in range(v.bypass_count)
        ),
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=("rail", GROUND),
            value=v.bleeder_ohm,
            role="rail bleeder",
            part_id=code(v.bleeder_ohm, "resistance"),
        ),
        Part(
            designator="BENCH_LOAD",
            kind="resistor",
            nets=("rail", GROUND),
            value=v.load_ohm,
            role="load of the rail",
            standing="bench",
        ),
    ]
    legs = v.packages * v.legs_per_package
    return Circuit(
        name="boost converter power stage",
        parts=tuple(parts),
        models=(
            JunctionModel(name="SIGNAL", forward_v=_SIGNAL_V, rated_a=_SIGNAL_A),
            SwitchModel(
                name="SWITCH",
                on_ohm=v.switch_ohm * v.switches,
                off_ohm=_OFF_OHM,
                threshold_v=_THRESHOLD_V,
                clamp_v=v.avalanche_v,
            ),
            DiodeModel(
                name="LEG",
                forward_v=v.diode_v,
                resistance_ohm=v.diode_ohm * legs,
                rated_a=max(v.rail_a / legs, 1e-3),
            ),
        ),
        couplings=(Coupling(designator="T101", windings=("T101A", "T101B"), factor=_COUPLING),),
        test_points=(
            TestPoint(designator="TP101", net="input", what="battery terminal"),
            TestPoint(designator="TP102", net="node", what="choke, switch and rectifier"),
            TestPoint(designator="TP103", net="rail", what="raised rail"),
            TestPoint(designator="TP104", net="sense", what="sensed current"),
        ),
    )


def _cans(v: BoostPowerValues, number: Numbering, role: str, net: str) -> list[Part]:
    at_input = net == "input"
    farad, ohm, count, volts = (
        (v.input_f, v.input_esr_ohm, v.input_count, v.terminal_v)
        if at_input
        else (v.rail_f, v.rail_esr_ohm, v.rail_count, v.rail_v)
    )
    return [
        Part(
            designator=number.next("C"),
            kind="capacitor",
            nets=(net, GROUND),
            value=farad / count,
            role=role,
            part_id=v.ids[role],
            series_ohm=ohm * count,
            initial_v=volts,
        )
        for _ in range(count)
    ]


def _sense(v: BoostPowerValues, number: Numbering) -> list[Part]:
    """Current transformer: the drain lead passes its core once."""
    core = v.ids["current transformer core"]
    return [
        Part(
            designator="T101A",
            kind="winding",
            nets=("node", "drain"),
            value=v.sense_h,
            role="current transformer core",
            part_id=core,
        ),
        Part(
            designator="T101B",
            kind="winding",
            nets=("sensed", GROUND),
            value=v.sense_h * v.sense_turns**2,
            role="current transformer core",
            part_id=core,
        ),
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=("sensed", GROUND),
            value=v.reset_ohm,
            role="current transformer reset resistor",
            part_id=code(v.reset_ohm, "resistance"),
        ),
        Part(
            designator=number.next("D"),
            kind="diode",
            nets=("sensed", "sense"),
            model="SIGNAL",
            role="current sense diode",
            part_id="1N4148",
        ),
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=("sense", GROUND),
            value=v.burden_ohm,
            role="current sense burden",
            part_id=code(v.burden_ohm, "resistance"),
        ),
    ]


def _switch(v: BoostPowerValues, number: Numbering) -> list[Part]:
    on_s = v.duty * v.period_s
    # The choke starts at its valley: the first pulse begins at once.
    drive = Pulse(
        first=_GATE_V,
        then=0.0,
        delay_s=on_s,
        edge_s=_EDGE_S,
        then_s=v.period_s - on_s,
        period_s=v.period_s,
    )
    return [
        Part(
            designator="BENCH_GATE",
            kind="voltage source",
            nets=("gate", GROUND),
            value=drive,
            role="gate drive",
            standing="bench",
        ),
        *(part for place in range(1, v.switches + 1) for part in _one_switch(v, place, number)),
    ]


def _one_switch(v: BoostPowerValues, place: int, number: Numbering) -> Iterator[Part]:
    """A switch with its resistors at its own gate."""
    gate = f"gate_{place}"
    yield Part(
        designator=number.next("Q"),
        kind="mosfet",
        nets=("drain", gate, GROUND),
        model="SWITCH",
        role="boost switch",
        part_id=v.ids["boost switch"],
    )
    for role, nets, ohm in (
        ("gate resistor", ("gate", gate), v.gate_ohm),
        ("gate pull-down", (gate, GROUND), GATE_PULL_OHM),
    ):
        yield Part(
            designator=number.next("R"),
            kind="resistor",
            nets=nets,
            value=ohm,
            role=role,
            part_id=code(ohm, "resistance"),
        )


def _snubber(v: BoostPowerValues, number: Numbering) -> list[Part]:
    return [
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=("node", "snub"),
            value=v.snubber_ohm,
            role="switch snubber resistor",
            part_id=code(v.snubber_ohm, "resistance"),
        ),
        Part(
            designator=number.next("C"),
            kind="capacitor",
            nets=("snub", GROUND),
            value=v.snubber_f,
            role="switch snubber capacitor",
            part_id=code(v.snubber_f, "capacitance"),
            initial_v=0.0,
        ),
    ]


def _rectifier(v: BoostPowerValues, number: Numbering) -> list[Part]:
    names = number.sections("D", v.packages * v.legs_per_package, v.legs_per_package)
    return [
        Part(
            designator=name,
            kind="diode",
            nets=("node", "rail"),
            model="LEG",
            role="boost rectifier",
            part_id=v.ids["boost rectifier"],
        )
        for name in names
    ]


def quick_boost(values: BoostPowerValues) -> BoostPowerValues:
    """The same stage with a rail bank so small that it settles in some hundred cycles.

    The averages don't feel it: the rail still moves by a fiftieth at most within a cycle, and a bank's series
    resistance stays.
    """
    ripple = values.rail_a * values.duty / (values.switching_hz * _RIPPLE * values.rail_v)
    return replace(values, rail_f=min(values.rail_f, max(ripple, 1e-6)), snubber_f=1e-12, bypass_count=0)


def boost_probes() -> tuple[Probe, ...]:
    """What ``simulated_boost`` reads."""
    return (Voltage("rail"), Voltage("sense"), Current("BT101"), Current("L101"), Current("T101A"))


def boost_run(values: BoostPowerValues) -> Transient:
    """Transient in which a ``quick_boost`` stage settles from the closed form."""
    period = values.period_s
    return Transient(
        stop_s=_SETTLE * period,
        step_s=period / _STEPS,
        keep_from_s=(_SETTLE - _KEPT - 1) * period,
        from_initial=True,
        accuracy=1e-3,
        current_floor_a=1e-4 * values.choke_a,
        voltage_floor_v=1e-3,
    )


def simulated_boost(values: BoostPowerValues, traces: Traces) -> BoostPoint:
    """Averages over the last whole cycles of a settling run.

    Parameters
    ----------
    values : what was simulated. traces : of ``boost_probes``.

    Raises
    ------
    SubwrightError : rail or battery current still drift.
    """
    time, period = traces.axis, values.period_s
    means = []
    for name, course in (("raised rail", traces.voltage("rail")), ("battery", -traces.current("BT101"))):
        kept_s, kept = last_periods(time, course, period, _KEPT)
        early = kept_s <= kept_s[0] + _AVERAGE * period
        late = mean_of(*last_periods(time, course, period, _AVERAGE))
        drift = mean_of(kept_s[early], kept[early]) / late - 1.0
        if abs(drift) > _DRIFT:
            raise SubwrightError(
                message=f"The simulated {name} has not settled.",
                quantity="drift over the last cycles",
                value=f"{100 * drift:.3f} %",
                limit=f"{100 * _DRIFT:g} %",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
        means.append(late)
    _, choke = last_periods(time, traces.current("L101"), period, _AVERAGE)
    _, sense = last_periods(time, traces.voltage("sense"), period, _AVERAGE)
    return BoostPoint(
        rail_v=means[0],
        battery_a=means[1],
        switch_rms_a=rms_of(*last_periods(time, traces.current("T101A"), period, _AVERAGE)),
        choke_peak_a=float(choke.max()),
        sense_peak_v=float(sense.max()),
    )
