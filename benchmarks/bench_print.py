"""Speed of the whole pack with its PDF, cold and made again. Run: ``python benchmarks/bench_print.py``."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from subwright import service

ROOT = Path(__file__).resolve().parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.build.toml"))
COLD_S, WARM_S = 5.0, 1.5


def main() -> int:
    slow = 0
    for path in EXAMPLES:
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            command = [sys.executable, "-m", "subwright", "pack", str(path), "-o", f"{folder}/cold"]
            subprocess.run(command, check=False, capture_output=True, timeout=60)
            cold = time.perf_counter() - begun
            solved = service.solve(path)
            service.render_pack(solved, Path(folder) / "warm", paper="a4")
            begun = time.perf_counter()
            service.render_pack(service.solve(path), Path(folder) / "warm", paper="a4")
            warm = time.perf_counter() - begun
        slow += cold > COLD_S or warm > WARM_S
        print(f"{path.name:34s} cold {cold:5.2f} s (aim {COLD_S:.1f})  warm {warm:5.2f} s (aim {WARM_S:.1f})")
    return int(slow > 0)


if __name__ == "__main__":
    sys.exit(main())
