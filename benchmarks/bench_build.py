"""Speed of the whole build: warm redesign, cold command, help. Run: ``python benchmarks/bench_build.py``.

Processor time of this process and of the commands it starts, so that other work on the machine tells little.
Every full redesign changes the power by a little: nothing is found that was worked out for the one before.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy starts its threads

import itertools
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from subwright import service
from subwright.build.spec import BuildSpec
from subwright.parts.library import load_library
from subwright.stages.transformer import TransformerNeed, TransformerSpec, search

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.build.toml"))


def processor_s() -> float:
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


def best_and_median(run: Callable[[], object], count: int, clock: Callable[[], float]) -> tuple[float, float]:
    times = []
    for _ in range(count):
        begun = clock()
        run()
        times.append(clock() - begun)
    return min(times), statistics.median(times)


def row(what: str, times: tuple[float, float], limit_s: float) -> None:
    best, median = (1e3 * seconds for seconds in times)
    print(f"{what:50s} best {best:7.1f} ms   median {median:7.1f} ms   aim {1e3 * limit_s:5.0f} ms")


def edits(spec: BuildSpec, part: str, change: dict[str, tuple[float, float]]) -> Callable[[], BuildSpec]:
    """Builds that differ from one another in one value: its start and step."""
    count = itertools.count()

    def following() -> BuildSpec:
        at = next(count)
        values = {name: start + at * step for name, (start, step) in change.items()}
        return spec.model_copy(update={part: getattr(spec, part).model_copy(update=values)})

    return following


def redesigns(path: Path) -> None:
    """A change of power moves everything; one of the filter's corner leaves the electrical design alone."""
    spec = service.open_build(path).spec
    power_w = spec.goal.power_w
    if power_w is None:
        raise SystemExit(f"{path.name} states no power to change")
    name = path.name.removesuffix(".build.toml")
    everything = edits(spec, "goal", {"power_w": (power_w, 0.01)})
    filter_only = edits(spec, "filter", {"corner_hz": (spec.filter.corner_hz, 0.01)})
    for what, following in (("full redesign", everything), ("edit of the filter", filter_only)):
        service.solve(following(), folder=path.parent)

        def once(following: Callable[[], BuildSpec] = following) -> object:
            return service.solve(following(), folder=path.parent)

        row(f"{what}, {name}", best_and_median(once, 12, time.process_time), 0.05)


def command(*words: str) -> Callable[[], object]:
    return lambda: subprocess.run(
        [sys.executable, "-m", "subwright", *words], check=False, capture_output=True, timeout=60
    )


def transformer_search() -> None:
    library = load_library()
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
        best_and_median(lambda: search(TransformerSpec(), need, library), 3, time.process_time),
        1.0,
    )


def main() -> None:
    for path in EXAMPLES:
        redesigns(path)
    transformer_search()
    row("subwright --help", best_and_median(command("--help"), 5, processor_s), 0.3)
    cold = command("design", str(EXAMPLES[-1]))
    row("subwright design, cold, with imports", best_and_median(cold, 5, processor_s), 2.0)


if __name__ == "__main__":
    main()
