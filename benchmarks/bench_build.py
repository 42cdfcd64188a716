"""Speed of the whole build: warm redesign, cold command, help. Run: ``python benchmarks/bench_build.py``."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from subwright import service
from subwright.build.solver import solve_build
from subwright.parts.library import load_library
from subwright.stages.transformer import TransformerNeed, TransformerSpec, search

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.build.toml"))


def best_and_median(run: Callable[[], object], count: int) -> tuple[float, float]:
    times = []
    for _ in range(count):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return min(times), statistics.median(times)


def row(what: str, times: tuple[float, float], limit_s: float) -> None:
    best, median = times
    print(
        f"{what:58s} best {best * 1e3:8.1f} ms   median {median * 1e3:8.1f} ms   aim {limit_s * 1e3:6.0f} ms"
    )


def command(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run(
        [sys.executable, "-m", "subwright", *words], check=False, capture_output=True, timeout=60
    )


def main() -> None:
    library = load_library()
    for path in EXAMPLES:
        opened = service.open_build(path)
        parts = library
        if opened.spec.drawer is not None:
            parts = library.with_drawer(service.open_drawer(path.parent / opened.spec.drawer))
        solve_build(opened.spec, parts)
        row(f"warm redesign, {path.stem}", best_and_median(lambda: solve_build(opened.spec, parts), 12), 0.05)
    need = TransformerNeed(
        switching_hz=50e3,
        v_primary_max_v=15.5,
        duty=0.92,
        ratio_min=3.1,
        ratio_max=3.8,
        ratio_target=3.3,
        primary_rms_a=18.0,
        secondary_rms_a=4.5,
        ambient_c=50.0,
        programme_mean_square=0.3,
    )
    found = search(TransformerSpec(), need, library)
    print(
        f"transformer search covers {found.statistics.combinations:,} combinations, "
        f"{found.statistics.evaluated:,} of them wound and heated in full"
    )
    row(
        "transformer search, whole library",
        best_and_median(lambda: search(TransformerSpec(), need, library), 5),
        1.0,
    )
    row("subwright --help", best_and_median(command("--help"), 5), 0.3)
    row("subwright design, cold, with imports", best_and_median(command("design", str(EXAMPLES[-1])), 5), 2.0)


if __name__ == "__main__":
    main()
