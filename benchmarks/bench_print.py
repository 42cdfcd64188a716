"""Speed of the whole pack with its PDF, cold and made again. Run: ``python benchmarks/bench_print.py``.

The aims are for an idle machine; the processor time beside each shows what a busy one would have needed.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from subwright import service

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.build.toml"))
COLD_S, WARM_S = 5.0, 1.5


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def cold(path: Path, folder: Path) -> tuple[float, float]:
    """Wall and processor time in s of the command in a process of its own."""
    begun, used = time.perf_counter(), _children_s()
    command = [sys.executable, "-m", "subwright", "pack", str(path), "-o", str(folder)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=120)
    if done.returncode not in (0, 1):
        raise SystemExit(done.stderr)
    return time.perf_counter() - begun, _children_s() - used


def warm(path: Path, folder: Path) -> tuple[float, float]:
    """Wall and processor time in s of a second design and pack in this process."""
    service.render_pack(service.solve(path), folder, paper="a4")
    begun, used = time.perf_counter(), time.process_time()
    service.render_pack(service.solve(path), folder, paper="a4")
    return time.perf_counter() - begun, time.process_time() - used


def main() -> int:
    slow = 0
    for path in EXAMPLES:
        with tempfile.TemporaryDirectory() as folder:
            first, again = cold(path, Path(folder) / "cold"), warm(path, Path(folder) / "warm")
        slow += min(first) > COLD_S or min(again) > WARM_S
        print(
            f"{path.name:34s} cold {first[0]:5.2f} s, processor {first[1]:5.2f} s (aim {COLD_S:.1f})   "
            f"warm {again[0]:5.2f} s, processor {again[1]:5.2f} s (aim {WARM_S:.1f})"
        )
    return int(slow > 0)


if __name__ == "__main__":
    sys.exit(main())
