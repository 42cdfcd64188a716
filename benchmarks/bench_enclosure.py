"""How long a box takes, warm: response and limits on 400 frequencies, and the whole stage.

Run: ``python benchmarks/bench_enclosure.py``. Exit code 1 when a target is missed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from subwright.parts.library import load_library
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureSpec, design_enclosure
from subwright.stages.enclosure_search import search_boxes


def best_ms(task: Callable[[], object], rounds: int = 30) -> float:
    """Shortest of several runs, ms: what the code takes when nothing else runs."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return 1e3 * min(times)


def main() -> int:
    library = load_library()
    driver = design_driver(DriverSpec(part="Drover 12"), library)
    cabin = design_cabin(CabinSpec.model_validate({"kind": "cabin", "volume": "3 m3"}))
    need = EnclosureNeed(drive_v=driver.rated_v, source_ohm=0.1)
    vented = EnclosureSpec(kind="vented")
    system = design_enclosure(vented, driver, cabin, need).system
    frequency = np.geomspace(10.0, 500.0, 400)

    def response_and_limits() -> None:
        system.power_shares(frequency, 40.0)
        system.group_delay_s(frequency)
        system.max_level(40.0, frequency_hz=frequency)

    room = {"room_width": "450 mm", "room_height": "380 mm", "room_depth": "330 mm"}
    limited = EnclosureSpec.model_validate({"kind": "vented", **room})
    tasks: list[tuple[str, Callable[[], object], float]] = [
        ("response, shares, delay and limits, 400 frequencies", response_and_limits, 3.0),
        ("driver stage", lambda: design_driver(DriverSpec(part="Drover 12"), library), 2.0),
        ("sealed box", lambda: design_enclosure(EnclosureSpec(), driver, cabin, need), 6.0),
        ("vented box", lambda: design_enclosure(vented, driver, cabin, need), 8.0),
        ("vented box in a tight room", lambda: design_enclosure(limited, driver, cabin, need), 12.0),
    ]
    found = search_boxes(limited, driver, need)
    assert found.considered >= 20_000
    searched = f"search of {found.considered} boxes"
    tasks.append((searched, lambda: search_boxes(EnclosureSpec(), driver, need), 2000.0))
    plates = {"radiator_diameter": "260 mm", "radiator_mass": "150 g", "radiator_resonance": "18 Hz"}
    plates |= {"radiator_frame": "310 mm", "radiator_hole": "280 mm"}
    passive = EnclosureSpec.model_validate({"kind": "passive-radiator", **plates})
    band = EnclosureSpec(kind="band-pass")
    tasks.append(("passive-radiator box", lambda: design_enclosure(passive, driver, cabin, need), 8.0))
    tasks.append(("band-pass box", lambda: design_enclosure(band, driver, cabin, need), 8.0))
    late = 0
    for name, task, target_ms in tasks:
        took = best_ms(task)
        late += took > target_ms
        print(f"{name:55s} {took:7.2f} ms   target {target_ms:g} ms")
    return 1 if late else 0


if __name__ == "__main__":
    sys.exit(main())
