"""Every experiment of every example on both engines: how much of its limit each one uses.

    python benchmarks/check_matrix.py [--engine ngspice|embedded|both] [EXPERIMENT ...]

One row an experiment, one column an example and engine. A cell is the largest difference between closed form
and simulation, as a share of its limit: 1.00 is the limit. A dash: the design has no such block, or the
engine can't run it. Exits with 1 when a limit is broken or a simulation fails, with 2 when an engine is
missing.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from pathlib import Path

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.experiments import all_experiments

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("*.build.toml"))
_WIDTH = 9


def short(path: Path) -> str:
    """An example's name that fits a column."""
    return path.name.partition(".")[0].partition("-")[0][: 2 * _WIDTH - 2]


def cell(ran: list[service.Ran]) -> str:
    if any(one.error is not None for one in ran):
        return "FAILED"
    shares = [abs(c.difference) / c.limit for one in ran if one.outcome for c in one.outcome.checks]
    if not shares:
        return "-"
    worst = max(shares)
    return f"{worst:.2f}" + ("!" if worst > 1.0 else "")


def broken(name: str, row: service.VerifiedRow) -> str:
    return (
        f"{name}: {row.experiment} {row.case}, {row.quantity}, {row.engine}: closed form {row.closed:g} "
        f"{row.unit}, simulated {row.simulated:g} {row.unit}, difference {row.difference:+.3g}, "
        f"limit {row.limit:g}"
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engine", default="both", choices=("ngspice", "embedded", "both"))
    parser.add_argument("experiments", nargs="*")
    asked = parser.parse_args()
    engines = service.verifying.ENGINES if asked.engine == "both" else (asked.engine,)
    start = time.perf_counter()
    cells: dict[str, dict[tuple[str, str], list[service.Ran]]] = defaultdict(lambda: defaultdict(list))
    wrong: list[str] = []
    seconds: dict[str, float] = defaultdict(float)
    checks = 0
    for path in EXAMPLES:
        solved = service.solve(path)
        offered = {one.name for one in service.experiments(solved)}
        names = tuple(name for name in asked.experiments if name in offered)
        if asked.experiments and not names:
            continue
        try:
            found = service.verify(solved, names=names, engine=asked.engine, save=False)  # type: ignore[arg-type]
        except SubwrightError as error:
            print(f"{path.name}: {error}", file=sys.stderr)
            return 2
        checks += len(found.rows)
        for one in found.ran:
            cells[one.experiment][short(path), one.engine].append(one)
            seconds[one.experiment] += one.seconds
        wrong += [broken(path.name, row) for row in found.broken]
        wrong += [
            f"{path.name}: {one.experiment} {one.case}, {one.engine}: {one.error}" for one in found.failed
        ]
    columns = [(short(path), engine) for path in EXAMPLES for engine in engines]
    order = [one for one in all_experiments() if one.name in cells]
    width = max((len(one.name) for one in order), default=10)
    per = len(engines) * _WIDTH
    print(f"{'share of the limit used':{width + 12}}" + "".join(f"{short(path):>{per}}" for path in EXAMPLES))
    print(" " * (width + 12) + "".join(f"{engine[:8]:>{_WIDTH}}" for _, engine in columns) + "   all runs")
    for one in order:
        row = "".join(f"{cell(cells[one.name][column]):>{_WIDTH}}" for column in columns)
        print(f"{one.block:11} {one.name:{width}}{row}{seconds[one.name]:9.1f} s")
    print(f"\n{checks} comparisons in {time.perf_counter() - start:.0f} s", end="")
    print(": all hold" if not wrong else f", {len(wrong)} WRONG:")
    for line in wrong:
        print(f"  {line}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
