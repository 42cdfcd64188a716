"""Where every wish for a converter ends: battery, power, topology and output, solved one after the other.

Run: ``python benchmarks/sweep_converter.py``. One line for each wish: the transformer, or the refusal with
its rule and remedy. Exit code 1 when one ends in anything else.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from itertools import product

from subwright.base.errors import NoSolutionError
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library

BATTERIES_V = (12, 24, 36, 48)
POWERS_W = (50, 75, 100, 150, 200, 250, 300, 350, 450, 600)
TOPOLOGIES, OUTPUTS = ("push-pull", "full-bridge"), ("peak-charged", "regulated")
AMPLIFIERS = (("class_d_half_bridge", "Drover 12 D2"), ("class_d_full_bridge", "Moraine 15"))


def wish(system_v: int, watts: int, topology: str, output: str, amplifier: str, driver: str) -> BuildSpec:
    """A build that asks for this converter."""
    return BuildSpec.model_validate(
        {
            "format_version": 1,
            "name": f"{system_v} V {watts} W {topology} {output}",
            "supply": {
                "battery": "lead-acid",
                "system": system_v,
                "capacity": "40 Ah",
                "cable_length": "3 m",
            },
            "driver": {"part": driver},
            "enclosure": {"kind": "sealed"},
            "amplifier": {"kind": amplifier},
            "goal": {"power": f"{watts} W"},
            "converter": {"topology": topology, "output": output},
        }
    )


def end(spec: BuildSpec) -> tuple[str, str]:
    """Kind of end, and what there is to say about it."""
    try:
        design = solve_build(spec, load_library())
    except NoSolutionError as error:
        known = "refusal" if error.code and error.remedy else "refusal without a rule"
        return known, str(error)
    transformer = design.transformer
    if transformer is None:
        return "design", "straight from the battery"
    stops = [f.message for f in design.findings if f.severity == "stop" and f.stage == "converter"]
    turns = f"{transformer.core.id}, {transformer.primary_turns} : {transformer.secondary_turns}"
    return ("design with a stop" if stops else "design"), "; ".join((turns, *stops))


def main() -> int:
    begun, ends = time.perf_counter(), Counter[str]()
    for amplifier, driver in AMPLIFIERS:
        print(amplifier)
        for system_v, watts, topology, output in product(BATTERIES_V, POWERS_W, TOPOLOGIES, OUTPUTS):
            spec = wish(system_v, watts, topology, output, amplifier, driver)
            kind, told = end(spec)
            ends[kind] += 1
            print(f"  {spec.name:40s} {kind:22s} {told}")
    for kind, count in ends.most_common():
        print(f"{count:4d} {kind}")
    print(f"{time.perf_counter() - begun:.0f} s")
    return int(bool(set(ends) - {"design", "refusal"}))


if __name__ == "__main__":
    sys.exit(main())
