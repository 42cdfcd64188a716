"""Driver and box: the electrical analogue of the whole system against the equivalent circuit, solved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from subwright.build.experiments.record import Case, Check, Experiment, Outcome
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep
from subwright.circuits.enclosure_circuit import (
    PRESSURE_PROBE,
    SOURCE_PROBE,
    TERMINAL_PROBE,
    enclosure_circuit,
)
from subwright.circuits.simulate import Array, Complex, Engine, simulate
from subwright.parts.library import Library

__all__ = ["EXPERIMENT"]

_SWEEP: Final = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40)
_IMPEDANCE: Final = 0.005
_LEVEL_DB: Final = 0.05
_ANGLE_DEG: Final = 0.5
_REFERENCE_PA: Final = 20e-6


def _widest(quantity: str, closed: Array, simulated: Array, unit: str, limit: float, absolute: bool) -> Check:
    """The check at the frequency where two curves lie farthest apart."""
    apart = np.abs(simulated - closed) if absolute else np.abs(simulated / closed - 1.0)
    k = int(np.argmax(apart))
    return Check(
        quantity=quantity,
        closed=float(closed[k]),
        simulated=float(simulated[k]),
        unit=unit,
        limit=limit,
        absolute=absolute,
    )


def _apart_deg(simulated: Complex, closed: Complex) -> Array:
    """Angle between two phasors, without the jumps at half a turn."""
    return np.asarray(np.degrees(np.angle(simulated / closed)), dtype=np.float64)


def _curves(design: Design, engine: Engine, timeout_s: float) -> Outcome:
    system = design.enclosure.system
    circuit = enclosure_circuit(system.driver, system.box, source_ohm=system.source_ohm, air=system.air)
    probes = (SOURCE_PROBE, TERMINAL_PROBE, PRESSURE_PROBE)
    traces = simulate(circuit, _SWEEP, probes, engine, timeout_s=timeout_s)
    expected = system.solve(traces.axis)
    closed_ohm = np.asarray(expected.impedance_ohm, dtype=np.complex128)
    closed_pa = np.asarray(expected.pressure_pa_per_v, dtype=np.complex128)
    ohm = -traces.phasor(TERMINAL_PROBE) / traces.phasor(SOURCE_PROBE)
    pa = traces.phasor(PRESSURE_PROBE)
    level = 20.0 * np.log10(np.abs(pa) / _REFERENCE_PA)
    closed_level = 20.0 * np.log10(np.abs(closed_pa) / _REFERENCE_PA)
    impedance_deg = np.degrees(np.angle(closed_ohm))
    pressure_deg = np.degrees(np.angle(closed_pa))
    span = f"{_SWEEP.low_hz:g} to {_SWEEP.high_hz:g} Hz"
    checks = (
        _widest(f"impedance, {span}", np.abs(closed_ohm), np.abs(ohm), "Ω", _IMPEDANCE, False),
        _widest(
            f"angle of the impedance, {span}",
            impedance_deg,
            impedance_deg + _apart_deg(ohm, closed_ohm),
            "°",
            _ANGLE_DEG,
            True,
        ),
        _widest(f"level at 1 m and 1 V, {span}", closed_level, level, "dB", _LEVEL_DB, True),
        _widest(
            f"angle of the pressure, {span}",
            pressure_deg,
            pressure_deg + _apart_deg(pa, closed_pa),
            "°",
            _ANGLE_DEG,
            True,
        ),
    )
    traced: Mapping[str, Array] = {
        "impedance, Ω": np.abs(ohm),
        "impedance by the closed form, Ω": np.abs(closed_ohm),
        "level at 1 m and 1 V, dB": level,
        "level by the closed form, dB": closed_level,
    }
    return Outcome(checks=checks, engine=traces.engine, axis=traces.axis, axis_unit="Hz", traces=traced)


def _cases(design: Design, _library: Library) -> tuple[Case, ...]:
    return (Case(name="", run=lambda engine, timeout_s: _curves(design, engine, timeout_s)),)


EXPERIMENT = Experiment(
    name="box-response",
    block="box",
    title="Impedance and sound pressure of the driver in its box",
    about=(
        "Coil, moving mass, suspension, box air, port or radiator and radiation as one electrical analogue, "
        "swept over frequency; the closed form is the equivalent circuit solved algebraically. The limits "
        "allow for the ladder that stands for the lossy coil inductance."
    ),
    cases=_cases,
)
