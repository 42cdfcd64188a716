"""The boost converter in steady state: its switched circuit against the averaged closed form."""

from __future__ import annotations

from typing import Final

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.boost_power import (
    boost_circuit,
    boost_probes,
    boost_run,
    quick_boost,
    simulated_boost,
)
from subwright.circuits.boost_values import closed_point, from_plan
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner, Level
from subwright.stages.converter_boost import BoostValues, boost_values
from subwright.stages.converter_boost_records import BoostResult

__all__ = ["EXPERIMENT", "hot_boost_values"]

_RAIL: Final = 0.02
_INPUT: Final = 0.03
_SWITCH: Final = 0.05
_PEAK: Final = 0.03
_SENSE: Final = 0.03
_LOADS: Final = ((0.1, "a tenth of the crest"), (1.0, "crest of a full sine"))
_CORNERS: Final = (Corner.LOW, Corner.NOMINAL, Corner.MAX)


def hot_boost_values(design: Design, boost: BoostResult) -> BoostValues:
    """The converter's values at the temperatures of programme."""
    junction_c = next(
        device.junction_c[Level.PROGRAMME]
        for device in design.heat.devices
        if device.name == "converter switch"
    )
    return boost_values(design.spec.converter, boost.plan, junction_c, boost.choke_c[Level.PROGRAMME])


def _steady(
    design: Design, boost: BoostResult, corner: Corner, load: float, engine: Engine, timeout_s: float
) -> Outcome:
    plan, hot = boost.plan, hot_boost_values(design, boost)
    emf_v, source_ohm = design.supply.corners[corner], design.supply.source_resistance_ohm
    rail_a = load * plan.demand.rail_crest_a
    closed = closed_point(hot, plan, emf_v=emf_v, source_ohm=source_ohm, rail_a=rail_a)
    small = quick_boost(from_plan(hot, plan, emf_v=emf_v, source_ohm=source_ohm, rail_a=rail_a))
    traces = simulate(boost_circuit(small), boost_run(small), boost_probes(), engine, timeout_s=timeout_s)
    point = simulated_boost(small, traces)
    per_amp = plan.sense.burden_ohm / plan.sense.turns
    checks = (
        Check(quantity="raised rail", closed=boost.set_v, simulated=point.rail_v, unit="V", limit=_RAIL),
        Check(
            quantity="battery current",
            closed=closed.choke_a,
            simulated=point.battery_a,
            unit="A",
            limit=_INPUT,
        ),
        Check(
            quantity="switch current, rms",
            closed=closed.switch_rms_a,
            simulated=point.switch_rms_a,
            unit="A",
            limit=_SWITCH,
        ),
        Check(
            quantity="peak of the choke",
            closed=closed.peak_a,
            simulated=point.choke_peak_a,
            unit="A",
            limit=_PEAK,
        ),
        Check(
            quantity="peak at the current sense burden",
            closed=closed.peak_a * per_amp,
            simulated=point.sense_peak_v,
            unit="V",
            limit=_SENSE,
        ),
    )
    return Outcome(
        checks=checks,
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "raised rail, V": traces.voltage("rail"),
            "choke, A": traces.current("L101"),
            "switch, A": traces.current("T101A"),
        },
    )


def _cases(design: Design, _library: Library) -> tuple[Case, ...]:
    boost = design.boost
    if boost is None:
        return ()

    def case(corner: Corner, load: float, words: str) -> Case:
        return Case(
            name=f"{corner.value} battery, {words}",
            run=lambda engine, timeout_s: _steady(design, boost, corner, load, engine, timeout_s),
        )

    return tuple(
        case(at.corner, load, words)
        for at in boost.corners
        if at.corner in _CORNERS and at.rail_v >= boost.set_v
        for load, words in _LOADS
    )


EXPERIMENT = Experiment(
    name="boost-steady-state",
    block="converter",
    title="The boost converter in steady state",
    about=(
        "Choke, switch, current transformer, rectifier and banks switched at the duty that the closed form "
        "finds, on the lowest, nominal and highest battery, with the crest's load and a tenth of it, where "
        "the choke's current has gaps. The rail must come out by itself. The rail's bank is made small so "
        "that it settles; edges, recovery and core loss are in neither of the two."
    ),
    cases=_cases,
)
