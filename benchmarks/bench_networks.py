"""Time the analogue networks against their limits: python benchmarks/bench_networks.py."""

from __future__ import annotations

import sys
import timeit
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from subwright.base.preferred import between
from subwright.parts.library import load_library
from subwright.physics.batteries import corner_defaults
from subwright.physics.networks.comparator_search import search_sensing
from subwright.physics.networks.filter_search import search_sallen_key_highpass, search_sallen_key_lowpass
from subwright.stages.common import Corner
from subwright.stages.filter import FilterInput, FilterSpec, design_filter
from subwright.stages.filter_blocks import draft_blocks
from subwright.stages.filter_tolerance import response_band
from subwright.stages.protection import ProtectionInput, ProtectionSpec, design_protection


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
            lambda: design_protection(ProtectionSpec(), protection, library),
        ),
        (
            "protection stage, 100,000 draws",
            0.3,  # every threshold twice: with 1 % and with 5 % resistors
            lambda: design_protection(ProtectionSpec(), replace(protection, draws=100_000), library),
        ),
        (
            "filter band, 20,000 draws x 200 frequencies",
            0.5,
            lambda: response_band(drafts, spec, replace(line, draws=20_000), 3e6, grid),
        ),
        ("filter band, 500 draws", 0.010, lambda: response_band(drafts, spec, line, 3e6, grid)),
        ("filter stage, 500 draws", 0.020, lambda: design_filter(spec, line, library)),
    ]
    slow = 0
    for name, limit, action in rows:
        action()
        seconds = min(timeit.repeat(action, number=1, repeat=15))
        slow += seconds > limit
        verdict = "SLOW" if seconds > limit else ""
        print(f"{name:52s} {1e3 * seconds:9.2f} ms  limit {1e3 * limit:6.0f} ms  {verdict}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
