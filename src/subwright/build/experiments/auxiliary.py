"""The small rails' own winding on the working transformer, from a tired battery to a charging one."""

from __future__ import annotations

from typing import Final

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.auxiliary_loaded import AUXILIARY_PROBES, auxiliary_v, loaded_auxiliary
from subwright.circuits.converter_point import quick, settling_run
from subwright.circuits.converter_values import PowerValues, from_result
from subwright.circuits.measure import last_periods, mean_of
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.converter import ConverterResult

__all__ = ["EXPERIMENT"]

_SMALL_RAIL: Final = 0.03
_DRIVEN: Final = 0.10  # behind a choke, where the winding rings after each commutation
_MEAN: Final = 6  # cycles averaged
_CASES: Final = ((Corner.LOW, 1.0), (Corner.NOMINAL, 1.0), (Corner.MAX, 0.1))


def _values(design: Design, converter: ConverterResult, corner: Corner, load: float) -> PowerValues:
    each_a = 0.5 * load * design.amplifier.rail_crest_a
    return quick(
        from_result(
            converter,
            emf_v=design.supply.corners[corner],
            source_ohm=design.supply.source_resistance_ohm,
            positive_a=each_a,
            negative_a=each_a,
        )
    )


def _small_rails(
    design: Design,
    converter: ConverterResult,
    corner: Corner,
    load: float,
    engine: Engine,
    timeout_s: float,
) -> Outcome:
    values, aux = _values(design, converter, corner, load), converter.auxiliary
    circuit = loaded_auxiliary(converter, values)
    traces = simulate(circuit, settling_run(values), AUXILIARY_PROBES, engine, timeout_s=timeout_s)
    sides = [
        abs(mean_of(*last_periods(traces.axis, traces.voltage(net), values.period_s, _MEAN)))
        for net in ("aux_positive", "aux_negative")
    ]
    closed = auxiliary_v(converter, values)
    middle, half = 0.5 * (aux.low_v + aux.high_v), 0.5 * (aux.high_v - aux.low_v)
    limit = _SMALL_RAIL if values.choke is None else _DRIVEN
    checks = [
        Check(quantity=f"{name} small rail", closed=closed, simulated=found, unit="V", limit=limit)
        for name, found in zip(("positive", "negative"), sides, strict=True)
    ]
    checks.append(
        Check(
            quantity="small rail, from the middle of what its regulators were designed for",
            closed=middle,
            simulated=min(sides) if load == 1.0 else max(sides),
            unit="V",
            limit=(1.0 + limit) * half,
            absolute=True,
        )
    )
    return Outcome(
        checks=tuple(checks),
        engine=traces.engine,
        axis=traces.axis,
        traces={
            "positive small rail, V": traces.voltage("aux_positive"),
            "negative small rail, V": traces.voltage("aux_negative"),
        },
    )


def _cases(design: Design, _library: Library) -> tuple[Case, ...]:
    converter = design.converter
    if converter is None or not converter.auxiliary.turns:
        return ()

    def case(corner: Corner, load: float) -> Case:
        return Case(
            name=f"{corner.value} battery, {load:.0%} of the crest's load",
            run=lambda engine, timeout_s: _small_rails(design, converter, corner, load, engine, timeout_s),
        )

    return tuple(case(*row) for row in _CASES)


EXPERIMENT = Experiment(
    name="auxiliary-supply",
    block="converter",
    title="The small rails' own winding over the battery's range",
    about=(
        "Auxiliary winding, rectifier and power stage on one core: on the lowest and nominal battery with "
        "all of the crest's load, on the highest with a tenth. Each small rail before its regulator within "
        "3 % of the winding's highest voltage in a pulse less a diode; 10 % behind a choke, where the "
        "winding rings after each commutation and charges the small capacitors above that. Always between "
        "the least and the highest that its regulators were designed for. Capacitors are small so that all "
        "settles."
    ),
    cases=_cases,
)
