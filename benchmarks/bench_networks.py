"""Time the analogue networks against their limits, and random builds against simulating each of them.

    python benchmarks/bench_networks.py [number of simulated builds]

Exits with 1 when a limit is broken.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy starts its threads

import itertools
import sys
import time
import timeit
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.preferred import between
from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.models import ComparatorModel, Model, ShuntReferenceModel
from subwright.circuits.netlist import Circuit, Part, Ramp
from subwright.circuits.ngspice import Ngspice
from subwright.circuits.protection_ramp import ThresholdRun, heat_run, run_thresholds, voltage_run
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library, load_library
from subwright.physics.batteries import corner_defaults
from subwright.physics.networks.comparator_search import search_sensing
from subwright.physics.networks.filter_search import search_sallen_key_highpass, search_sallen_key_lowpass
from subwright.physics.networks.thermistor import divider_self_heating_k
from subwright.physics.networks.tolerance import Parameter, draws
from subwright.stages.common import Corner
from subwright.stages.filter import FilterInput, FilterSpec, design_filter
from subwright.stages.filter_blocks import block_response, draft_blocks
from subwright.stages.filter_tolerance import filter_parameters, response_band
from subwright.stages.protection import (
    ProtectionInput,
    ProtectionResult,
    ProtectionSpec,
    design_protection,
)
from subwright.stages.protection_models import (
    Case,
    ReferenceModel,
    over_voltage_case,
    thermal_case,
    thermistor_of,
    under_voltage_case,
)

DRAWS: Final = 100_000
LEAST_RATIO: Final = 1_000.0  # builds in closed form over simulated ones, in the same time
RESPONSES: Final = 20_000
SWEEPS: Final = 30
AC_SWEEP: Final = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=118)  # 200 frequencies
SAME_DB: Final = 0.05
SAME: Final = 0.005  # how far a simulated build may lie from the closed form of the same build
WATCHES: Final = ("under-voltage", "over-voltage", "thermal")


@dataclass(frozen=True)
class Builds:
    """The same random builds for closed forms and simulator: limits once, drawn rows by case."""

    cases: tuple[Case, ...]
    names: tuple[str, ...]
    parameters: tuple[Parameter, ...]

    @classmethod
    def of(cls, result: ProtectionResult, library: Library) -> Builds:
        comparator, supply = library.comparator(result.comparator), result.reference
        reference = ReferenceModel(
            kind="shunt",
            shunt=library.reference(supply.part_id),
            upper_ohm=supply.upper_ohm or 0.0,
            lower_ohm=supply.lower_ohm or np.inf,
        )
        targets = {name: threshold.target for name, threshold in result.thresholds.items()}
        rest = (reference, comparator, 0.01, result.sink_a)
        cases = (
            under_voltage_case(result.under_voltage, *rest, targets["under-voltage trip"]),
            over_voltage_case(result.over_voltage, *rest, targets["over-voltage trip"]),
            thermal_case(result.thermal, reference, comparator, library.ntc(result.ntc), 0.01, result.sink_a),
        )
        shared = {parameter.name for parameter in reference.parameters(0.01)}
        pool: dict[str, Parameter] = {}
        for watch, case in zip(WATCHES, cases, strict=True):
            for parameter in case.parameters:
                name = parameter.name if parameter.name in shared else f"{watch} {parameter.name}"
                pool[name] = parameter
        return cls(cases, tuple(pool), tuple(pool.values()))

    def draw(self, count: int) -> NDArray[np.float64]:
        return draws(self.parameters, count, seed=1)

    def thresholds(self, drawn: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Every threshold of every build, V or °C, in closed form."""
        rows = dict(zip(self.names, drawn, strict=True))
        found: dict[str, NDArray[np.float64]] = {}
        for watch, case in zip(WATCHES, self.cases, strict=True):
            own = np.stack(
                [rows[name if (name := f"{watch} {p.name}") in rows else p.name] for p in case.parameters]
            )
            found |= dict(zip(case.results[:2], case.model(own), strict=False))
        return found


def as_drawn(
    run: ThresholdRun, build: Mapping[str, float], result: ProtectionResult, library: Library
) -> ThresholdRun:
    """The ramp on a circuit of which every part has its drawn value."""
    models: list[Model] = []
    for model in run.circuit.models:
        if isinstance(model, ShuntReferenceModel):
            models.append(
                replace(model, reference_v=build["shunt reference"], pin_a=build["reference pin current"])
            )
        else:
            models.append(model)
        if isinstance(model, ComparatorModel):
            models += [
                replace(
                    model,
                    name=f"COMPARATOR{number}",
                    offset_v=build[f"{watch} comparator offset"],
                    bias_a=build[f"{watch} comparator bias"],
                    saturation_ohm=build[f"{watch} output low"] / result.sink_a,
                )
                for number, watch in enumerate(WATCHES)
            ]
    comparators = iter(range(len(WATCHES)))

    def part_as_drawn(part: Part) -> Part:
        if part.kind == "resistor":
            role = "thermal thermistor series" if part.role == "thermistor series" else part.role
            return replace(part, value=build.get(role, part.value))
        if part.kind == "thermistor":
            return replace(part, value=thermistor_as_drawn(run, part, build, result, library))
        number = next(comparators, None) if part.kind == "comparator" else None
        return part if number is None else replace(part, model=f"COMPARATOR{number}")

    parts = tuple(part_as_drawn(part) for part in run.circuit.parts)
    circuit = Circuit(
        name=run.circuit.name, parts=parts, models=tuple(models), test_points=run.circuit.test_points
    )
    return replace(run, circuit=circuit)


def thermistor_as_drawn(
    run: ThresholdRun, part: Part, build: Mapping[str, float], result: ProtectionResult, library: Library
) -> float | Ramp:
    """The drawn thermistor on the ramp's heatsink, warmed by its own divider, Ω."""
    thermistor = thermistor_of(library.ntc(result.ntc))
    off_r, off_b = build["thermal thermistor R25"] - 1.0, build["thermal thermistor B"] - 1.0
    volts = build["shunt reference"] * (1.0 + build["reference upper"] / build["reference lower"])
    series = build["thermal thermistor series"]

    def ohm(heatsink_c: float) -> float:
        found, own_k = 0.0, 0.0
        for _ in range(6):
            bead = heatsink_c + own_k
            found = float(thermistor.resistance_ohm(bead)) * float(thermistor.spread(bead, off_r, off_b))
            own_k = float(divider_self_heating_k(volts, found, series, thermistor.dissipation_w_per_k))
        return found

    if not isinstance(part.value, Ramp):
        return ohm(25.0)
    times, heat = np.array(run.ramp.points).T
    return Ramp(points=tuple((t, ohm(float(np.interp(t, times, heat)))) for t, _ in part.value.points))


def against_simulation(result: ProtectionResult, library: Library, engine: Engine, count: int) -> bool:
    """Time 100,000 builds in closed form, then the first ``count`` of them by ramps; print both."""
    builds = Builds.of(result, library)
    seconds, drawn, found = np.inf, np.empty(0), {}
    for _ in range(3):
        start = time.perf_counter()
        drawn = builds.draw(DRAWS)
        found = builds.thresholds(drawn)
        seconds = min(seconds, time.perf_counter() - start)
    worst = 0.0
    runs = voltage_run(result, library), heat_run(result, library)
    start = time.perf_counter()
    for k in range(count):
        build = dict(zip(builds.names, drawn[:, k].tolist(), strict=True))
        simulated: dict[str, float] = {}
        for run in runs:
            simulated |= run_thresholds(as_drawn(run, build, result, library), engine)
        worst = max(worst, *(abs(value / found[name][k] - 1.0) for name, value in simulated.items()))
    each = (time.perf_counter() - start) / count
    ratio = each * DRAWS / seconds
    print(
        f"\nSix thresholds of {DRAWS:,} random builds in closed form: {1e3 * seconds:.0f} ms. "
        f"The first {count} of them simulated, ramps up and down: {1e3 * each:.0f} ms each, "
        f"{each * DRAWS / 3600.0:.1f} h for all.\n"
        f"Ratio {ratio:,.0f} (at least {LEAST_RATIO:,.0f}); the two differ by {100 * worst:.3f} % at most "
        f"(limit {100 * SAME:.1f} %)."
    )
    return ratio >= LEAST_RATIO and worst <= SAME


def against_sweeps(spec: FilterSpec, line: FilterInput, library: Library, engine: Engine) -> bool:
    """Time the band of 20,000 responses, then sweeps of some of the same builds one by one; print both."""
    drafts = [draft for draft in draft_blocks(spec, line, library) if draft.values]
    parameters = filter_parameters(drafts, spec)
    result = design_filter(spec, line, library)
    gbw_hz = library.op_amp(result.op_amp).gbw_hz
    circuit = filter_circuit(result, library, supply_v=35.0)
    output = Voltage(FILTER_OUTPUT)
    grid = simulate(circuit, AC_SWEEP, [output], engine).axis
    many = replace(line, draws=RESPONSES)
    seconds = min(timeit.repeat(lambda: response_band(drafts, spec, many, gbw_hz, grid), number=1, repeat=3))
    table = draws(parameters, RESPONSES, line.seed)
    names = [parameter.name for parameter in parameters]
    worst = 0.0
    start = time.perf_counter()
    for k in range(SWEEPS):
        build = dict(zip(names, table[:, k].tolist(), strict=True))
        parts = tuple(
            replace(part, value=build[part.role]) if part.role in build else part for part in circuit.parts
        )
        drawn = Circuit(
            name=circuit.name, parts=parts, models=circuit.models, test_points=circuit.test_points
        )
        swept = np.abs(simulate(drawn, AC_SWEEP, [output], engine).phasor(output))
        closed = np.abs(
            np.prod(
                [
                    block_response(
                        d.kind, {role: build[f"{d.name} {role}"] for role in d.values}, gbw_hz, d.gain < 0.0
                    ).at(grid)
                    for d in drafts
                ],
                axis=0,
            )
        )
        worst = max(worst, float(np.max(np.abs(20.0 * np.log10(swept / closed)))))
    each = (time.perf_counter() - start) / SWEEPS
    ratio = each * RESPONSES / seconds
    print(
        f"\nBand of {RESPONSES:,} filters at {grid.size} frequencies in closed form: {1e3 * seconds:.0f} ms. "
        f"{SWEEPS} of the same builds swept one by one: {1e3 * each:.0f} ms each; all of them would take "
        f"{each * RESPONSES / 60.0:.0f} min (extrapolated).\n"
        f"Ratio {ratio:,.0f} (at least {LEAST_RATIO:,.0f}); the two differ by {worst:.4f} dB at most "
        f"(limit {SAME_DB:g} dB)."
    )
    return ratio >= LEAST_RATIO and worst <= SAME_DB


def main() -> int:
    library = load_library()
    tops, bottoms, feedbacks = (
        between(10e3, 100e3, "E96"),
        between(5e3, 100e3, "E96"),
        between(22e3, 1e6, "E96"),
    )

    def sensing(exhaustive: bool) -> None:
        search_sensing(
            10.5,
            12.0,
            top_ohm=tops,
            bottom_ohm=bottoms,
            feedback_ohm=feedbacks,
            reference_v=5.0,
            pullup_v=5.0,
            pullup_ohm=10e3,
            low_v=0.2,
            exhaustive=exhaustive,
        )

    order = (Corner.MIN, Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX)
    volts = [d.volts for d in corner_defaults("lead-acid", 12)]
    protection = ProtectionInput(
        battery="lead-acid",
        system_v=12,
        corners=dict(zip(order, volts, strict=True)),
        source_resistance_ohm=0.02,
        load_step_a=30.0,
    )
    line = FilterInput(
        full_input_v=1.0,
        vented=True,
        tuning_hz=28.0,
        rail_low_v=30.0,
        rail_high_v=42.0,
        battery_low_v=9.5,
        battery_high_v=16.0,
    )
    spec = FilterSpec()
    drafts = draft_blocks(spec, line, library)
    grid = np.geomspace(10.0, 500.0, 200)
    number = itertools.count()

    def protected(draws: int) -> None:
        """Windows of builds that no stage before has drawn."""
        design_protection(ProtectionSpec(), replace(protection, draws=draws, seed=next(number)), library)

    def searched(topology: str | None) -> None:
        """A filter whose corner no search before has had."""
        wishes: dict[str, object] = {"corner_hz": 70.0 + 0.01 * next(number)}
        if topology is not None:
            wishes |= {"topology": topology, "sweep_low_hz": 45.0, "sweep_high_hz": 130.0}
        draft_blocks(spec.model_copy(update=wishes), line, library)

    caps, ohms = between(10e-9, 1e-6, "E12"), between(4.7e3, 100e3, "E96")
    rows: list[tuple[str, float, Callable[[], object]]] = [
        (
            f"sensing search, all {tops.size * bottoms.size * feedbacks.size} E96 triples",
            0.3,
            lambda: sensing(True),
        ),
        ("sensing search, solved resistor, E96", 0.010, lambda: sensing(False)),
        (
            "low-pass search, E12 and E96",
            0.010,
            lambda: search_sallen_key_lowpass(80.0, 0.7071, capacitors_f=caps, resistors_ohm=ohms),
        ),
        (
            "high-pass search, E12 and E96",
            0.010,
            lambda: search_sallen_key_highpass(22.0, 0.7071, capacitors_f=caps, resistors_ohm=ohms),
        ),
        (
            "protection stage, 2,000 draws",
            0.020,
            lambda: protected(2_000),
        ),
        (
            "protection stage, 100,000 draws",
            0.3,  # every threshold twice: with 1 % and with 5 % resistors
            lambda: protected(100_000),
        ),
        ("value search of the whole filter, another each time", 0.3, lambda: searched(topology=None)),
        ("the same, swept state-variable", 0.3, lambda: searched(topology="state-variable")),
        (
            "filter band, 20,000 draws x 200 frequencies",
            0.5,
            lambda: response_band(drafts, spec, replace(line, draws=20_000), 3e6, grid),
        ),
        ("filter band, 500 draws", 0.010, lambda: response_band(drafts, spec, line, 3e6, grid)),
        (
            "filter stage, 500 draws, another each time",
            0.020,
            lambda: design_filter(spec, replace(line, seed=next(number)), library),
        ),
    ]
    slow = 0
    for name, limit, action in rows:
        action()
        seconds = min(timeit.repeat(action, number=1, repeat=15))
        slow += seconds > limit
        verdict = "SLOW" if seconds > limit else ""
        print(f"{name:52s} {1e3 * seconds:9.2f} ms  limit {1e3 * limit:6.0f} ms  {verdict}")
    engine = Ngspice()
    if engine.missing():
        print(f"\nNothing to compare random builds with: {engine.missing()}.", file=sys.stderr)
        return 1 if slow else 2
    design = design_protection(ProtectionSpec(reference="shunt"), protection, library)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    kept = against_simulation(design, library, engine, count)
    kept = against_sweeps(spec, line, library, engine) and kept
    return 1 if slow or not kept else 0


if __name__ == "__main__":
    sys.exit(main())
