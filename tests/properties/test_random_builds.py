"""Two hundred random builds: each balances its energy, or is refused in one clear sentence."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.to_json import dumps
from subwright.parts.library import load_library

WANTED = 200
CHUNKS = 8
LIBRARY = load_library()
DRIVERS = tuple(LIBRARY.drivers)
# What a random wish may rightly be refused for; anything else would be a fault of the programme.
ALLOWED = ("NoSolutionError", "RangeError")


def random_wishes(seed: int) -> dict[str, Any]:
    pick = random.Random(seed)
    return {
        "format_version": 1,
        "name": f"random {seed}",
        "supply": {
            "battery": pick.choice(["lead-acid", "agm", "lfp"]),
            "system": pick.choice([12, 12, 12, 24, 24, 36]),
            "capacity": f"{pick.choice([20, 45, 70, 100, 200])} Ah",
            "cable_length": f"{pick.uniform(0.5, 8.0):.2f} m",
            "ambient_max": f"{pick.choice([35, 45, 50])} °C",
        },
        "driver": {"part": pick.choice(DRIVERS)},
        "enclosure": {"kind": pick.choice(["sealed", "vented"])},
        "amplifier": {
            "kind": pick.choice(
                ["auto", "class_d_half_bridge", "class_d_half_bridge", "class_ab", "bridge_class_d"]
            )
        },
        "goal": {
            "crest_factor": f"{pick.choice([6, 9, 12])} dB",
            "power": f"{pick.choice([15, 25, 40, 60, 100, 150, 200])} W",
            "lowest_note": f"{pick.choice([25, 30, 40])} Hz",
        },
        "converter": {"switching": f"{pick.choice([30, 50, 70])} kHz"},
        "filter": {"order": pick.choice([2, 4]), "corner": f"{pick.choice([60, 80, 100, 120])} Hz"},
        "protection": {"over_current": pick.choice(["none", "none", "shunt", "switch"])},
    }


def random_build(seed: int) -> dict[str, Any]:
    """Every third of the wishes that a bridge may serve gets it on the raised rail of a boost converter."""
    build = random_wishes(seed)
    if seed % 3 == 0 and build["amplifier"]["kind"] in ("auto", "bridge_class_d"):
        build["converter"]["topology"] = "boost"
    return build


def judge(error: SubwrightError, seed: int) -> None:
    """A refusal is one of the kinds allowed, and says what to do."""
    assert type(error).__name__ in ALLOWED, f"seed {seed}: {error!r}"
    assert error.message, f"seed {seed}"
    assert error.remedy, f"seed {seed}: {error}"


def designs(first: int) -> Iterator[Design]:
    """Solve seeds ``first, first + CHUNKS, …`` until this chunk's share of builds stands."""
    found, refused, seed = 0, 0, first
    while found < WANTED // CHUNKS:
        try:
            design = solve_build(BuildSpec.model_validate(random_build(seed)), LIBRARY)
        except SubwrightError as error:
            refused += 1
            judge(error, seed)
            assert refused <= 2 * WANTED // CHUNKS, "more wishes are refused than met"
        else:
            found += 1
            yield design
        seed += CHUNKS


def finite(value: object) -> bool:
    return bool(np.all(np.isfinite(np.asarray(value, dtype=float))))


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_energy_balances_on_random_builds(chunk: int) -> None:
    for design in designs(chunk):
        balance = design.balance
        name = design.spec.name
        assert abs(balance.imbalance) <= 1e-3, name
        assert sum(watts for _, watts in balance.entries) == pytest.approx(balance.battery_w, rel=1e-3), name
        assert all(watts >= 0 for _, watts in balance.entries), name
        assert 0 < balance.radiated_w < balance.battery_w, name
        for point in design.points:
            total = point.output_w + sum(point.losses_w.values())
            assert total == pytest.approx(point.battery_w, rel=1e-3), (name, point.corner, point.level)
            assert finite((point.terminal_v, point.rail_crest_v, point.battery_rms_a, point.primary_rms_a)), (
                name
            )
        assert finite(design.enclosure.full_spl_db), name
        assert finite(design.filter.gain_db), name
        assert all(finite((f.value, f.limit, f.margin)) for f in design.findings), name
        dumps(design)  # refuses a number that is not finite, anywhere in the design
