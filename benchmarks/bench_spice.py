"""How far the converter's closed forms and its simulated circuits lie apart, and how long a simulation takes.

    python benchmarks/bench_spice.py [number of random converters]

Every example that has a converter and ten random converters, each at the lowest, nominal and highest battery
and at 10 % and 100 % of its load. One simulation at a time. Exits with 1 when a limit is broken.
The examples' other blocks: benchmarks/check_matrix.py.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from subwright import service
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.circuits.converter_point import averaged_point, quick
from subwright.circuits.converter_regulated import regulated_point
from subwright.circuits.converter_settle import settled_point
from subwright.circuits.converter_values import PowerValues, from_result
from subwright.circuits.ngspice import Ngspice
from subwright.circuits.simulate import Engine
from subwright.parts.library import load_library
from subwright.stages.common import Corner

ROOT = Path(__file__).parent.parent
LIMITS = {
    "rail": 0.02,
    "input current": 0.03,
    "switch rms": 0.05,
    "clamp voltage": 0.10,
    "duty": 0.08,
}


@dataclass(frozen=True)
class Row:
    """One comparison."""

    what: str
    seconds: float
    errors: dict[str, float]  # by the name of their limit

    @property
    def broken(self) -> list[str]:
        return [name for name, error in self.errors.items() if not abs(error) <= LIMITS[name]]


def power_row(what: str, values: PowerValues, engine: Engine) -> Row:
    small = quick(values)
    start = time.perf_counter()
    settled = settled_point(small, engine)
    seconds = time.perf_counter() - start
    found, expected = settled.found, averaged_point(small)
    errors = {
        "rail": max(
            found.positive_v / expected.positive_v - 1, found.negative_v / expected.negative_v - 1, key=abs
        ),
        "input current": found.battery_a / expected.battery_a - 1,
        "switch rms": found.switch_rms_a / expected.switch_rms_a - 1,
    }
    if found.clamp_v is not None and expected.clamp_v is not None:
        errors["clamp voltage"] = found.clamp_v / expected.clamp_v - 1
    if small.choke is not None:
        errors["duty"] = settled.gate_share / regulated_point(small).gate_share - 1
    return Row(what, seconds, errors)


def example_rows(name: str, design: Design, engine: Engine) -> Iterator[Row]:
    converter = design.converter
    if converter is None:
        return
    for corner in (Corner.LOW, Corner.NOMINAL, Corner.MAX):
        for load in (0.1, 1.0):
            for split in (0.5, 0.95):
                total = load * design.amplifier.rail_crest_a
                values = from_result(
                    converter,
                    emf_v=design.supply.corners[corner],
                    source_ohm=design.supply.source_resistance_ohm,
                    positive_a=split * total,
                    negative_a=(1 - split) * total,
                )
                yield power_row(f"{name}, {corner}, {load:.0%}, {split:.0%} on one rail", values, engine)


REGULATED = ((12, "push-pull"), (24, "push-pull"), (24, "full-bridge"), (48, "full-bridge"))


def regulated_rows(engine: Engine) -> Iterator[Row]:
    """A van's build with other batteries, its rails regulated."""
    library = load_library()
    for system, topology in REGULATED:
        wishes = {
            "format_version": 1,
            "name": f"regulated, {system} V {topology}",
            "supply": {"battery": "lead-acid", "system": system, "capacity": "100 Ah", "cable_length": "3 m"},
            "driver": {"part": "Harbour 10"},
            "goal": {"power": "150 W", "lowest_note": "32 Hz"},
            "amplifier": {"kind": "class_d_half_bridge"},
            "converter": {"topology": topology, "output": "regulated"},
        }
        design = solve_build(BuildSpec.model_validate(wishes), library)
        yield from example_rows(design.spec.name, design, engine)


def random_rows(count: int, engine: Engine) -> Iterator[Row]:
    for seed in range(count):
        rng = np.random.default_rng(1000 + seed)

        def between(low: float, high: float, rng: np.random.Generator = rng) -> float:
            return float(np.exp(rng.uniform(np.log(low), np.log(high))))

        emf = float(rng.choice([12.6, 25.2, 50.4]))
        seen, ratio, share = emf**2 / between(100, 600), between(1, 5), float(rng.uniform(0.85, 0.96))
        hertz, path = between(25e3, 100e3), seen * between(0.002, 0.02)
        on_s, source = share / (2 * hertz), seen * between(0.01, 0.05)
        leakage, magnetising = between(0.02, 0.6) * on_s * 2 * path, seen * on_s * between(15, 50)
        input_esr, reservoir_esr = seen * between(1e-3, 1e-2), seen * ratio**2 * between(5e-4, 3e-3)
        diode_v = between(0.4, 1.0)
        for corner in (0.85, 1.0, 1.2):
            for load in (0.1, 1.0):
                values = PowerValues(
                    emf_v=corner * emf,
                    source_ohm=source,
                    positive_a=0.95 * load * emf / seen / ratio,
                    negative_a=0.05 * load * emf / seen / ratio,
                    ratio=ratio,
                    switching_hz=hertz,
                    share=share,
                    switch_ohm=0.6 * path,
                    primary_winding_ohm=0.3 * path,
                    link_ohm=0.1 * path,
                    secondary_winding_ohm=0.4 * path * ratio**2,
                    diode_ohm=0.3 * path * ratio**2,
                    diode_v=diode_v,
                    leakage_h=leakage,
                    magnetising_h=magnetising,
                    avalanche_v=2.6 * emf + 8.0,
                    input_f=1.0,
                    input_esr_ohm=input_esr,
                    reservoir_f=1.0,
                    reservoir_esr_ohm=reservoir_esr,
                )
                yield power_row(f"random {seed}, battery × {corner}, {load:.0%}", values, engine)


def rows(count: int, engine: Engine) -> Iterator[Row]:
    for path in sorted((ROOT / "examples").glob("*.build.toml")):
        name, design = path.name.removesuffix(".build.toml"), service.solve(path).design
        yield from example_rows(name, design, engine)
    yield from regulated_rows(engine)
    yield from random_rows(count, engine)


def main() -> int:
    engine = Ngspice()
    if engine.missing():
        print(f"Nothing to measure: {engine.missing()}.", file=sys.stderr)
        return 2
    done = []
    for row in rows(int(sys.argv[1]) if len(sys.argv) > 1 else 10, engine):
        done.append(row)
        errors = "  ".join(f"{name} {error:+.2g}" for name, error in row.errors.items())
        print(f"{row.seconds:6.2f} s  {row.what:58}  {errors}{'   BROKEN' if row.broken else ''}")
    print()
    for name, limit in LIMITS.items():
        found = [abs(row.errors[name]) for row in done if name in row.errors]
        if found:
            print(f"{name:16} worst {max(found):.3g} of {limit:g}, median {float(np.median(found)):.3g}")
    slowest = max(done, key=lambda row: row.seconds)
    print(f"slowest {slowest.seconds:.2f} s: {slowest.what}")
    return 1 if any(row.broken for row in done) else 0


if __name__ == "__main__":
    sys.exit(main())
