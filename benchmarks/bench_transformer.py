"""How long transformer and converter take, warm: the search over the whole library, a redesign on one core,
and a redesign of a whole converter with its transformer, as each changed wish asks for it.

Run: ``python benchmarks/bench_transformer.py``. Exit code 1 when a target is missed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from subwright import service
from subwright.build import electrical
from subwright.build.electrical_converter import ConverterRound, searching_round
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.transformer import (
    TransformerNeed,
    TransformerSpec,
    choose_transformer,
    design_transformer,
    search,
)

NEED = TransformerNeed(
    switching_hz=50e3,
    v_primary_max_v=15.5,
    duty=0.92,
    ratio_min=3.1,
    ratio_max=3.8,
    ratio_target=3.3,
    primary_rms_a=32.0,
    secondary_rms_a=9.0,
    ambient_c=50.0,
    programme_mean_square=0.3,
    corner_v={Corner.NOMINAL: 12.2, Corner.CHARGING: 14.0},
)
LEAST_COMBINATIONS = 200_000
EXAMPLES = Path(__file__).parents[1] / "examples"


def best_ms(task: Callable[[], object], rounds: int) -> float:
    """Least processor time of several runs, ms: what the code takes when nothing else runs."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        task()
        times.append(time.process_time() - start)
    return 1e3 * min(times)


def converter_redesign(name: str) -> Callable[[], object]:
    """Plan, transformer search, sizing and finished lists of an example's converter, as its solver asks "
    "for them."""
    asked: list[tuple[Any, ...]] = []

    def listening(*arguments: Any) -> ConverterRound:
        asked.append(arguments)
        return searching_round(*arguments)

    electrical.searching_round = listening  # type: ignore[assignment]
    try:
        service.solve(EXAMPLES / f"{name}.build.toml")
    finally:
        electrical.searching_round = searching_round
    job = asked[0][0]
    return lambda: searching_round(*asked[0]).finished(job)


def main() -> int:
    library, free = load_library(), TransformerSpec()
    found = search(free, NEED, library).statistics
    print(
        f"{len(library.cores)} cores, {len(library.wires)} wires: {found.combinations:,} combinations, "
        f"{found.evaluated:,} wound and heated, {found.feasible:,} keep every limit"
    )
    held = choose_transformer(free, NEED, library, compare=False).with_core()
    rows = (
        ("search over the whole library", best_ms(lambda: search(free, NEED, library), 7), 1000.0),
        (
            "design on one core",
            best_ms(lambda: design_transformer(held, NEED, library, compare=False), 30),
            5.0,
        ),
        *(
            (f"converter redesign, {name}", best_ms(converter_redesign(name), 40), 10.0)
            for name in ("storyteller-van", "canal-workboat")
        ),
    )
    missed = found.combinations < LEAST_COMBINATIONS
    for name, took, target in rows:
        missed |= took > target
        print(f"{name:36s} {took:8.2f} ms   target {target:g} ms{'   MISSED' if took > target else ''}")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
