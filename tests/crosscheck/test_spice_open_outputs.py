"""An open comparator's output that nothing else holds: a solver gets over it, at any battery."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from subwright.build.bench_faults import planted_faults
from subwright.build.solver import solve_build
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import load_library
from subwright.service import open_build, open_drawer

pytestmark = pytest.mark.spice

EXAMPLE = Path(__file__).parents[2] / "examples" / "cargo-bike-cinema.build.toml"
LIBRARY = load_library().with_drawer(open_drawer(EXAMPLE.with_name("cargo-bike-cinema.drawer.toml")))


def test_feedback_lifted_off_a_comparator_can_be_simulated(tmp_path: Path, reference_engine: Engine) -> None:
    """Only lamp, pull-up and diode are left on the output while another trips; batteries of 48 V."""
    path = tmp_path / EXAMPLE.name
    text = EXAMPLE.read_text(encoding="utf-8")
    assert "system = 12" in text
    path.write_text(text.replace("system = 12", "system = 48"), encoding="utf-8")
    design = solve_build(open_build(path).spec, LIBRARY)
    planted = next(p for p in planted_faults(design) if p.what == "feedback of the under-voltage open")
    heated = Ramp(points=((0.0, 5720.0), (60.0, 477.0), (120.0, 5720.0)))
    run = Transient(stop_s=120.0, step_s=0.04, accuracy=1e-5)
    net = PROTECTION_NETS["thermal"]
    for battery_v in np.linspace(42.0, 58.0, 9):
        battery = Steady(value=float(battery_v))
        whole = protection_circuit(design.protection, LIBRARY, battery=battery, thermistor=heated)
        traces = simulate(planted.edit(whole), run, (Voltage(net),), reference_engine)
        course = traces.voltage(net)
        assert course.min() < 0.5 < 4.0 < course.max(), battery_v
