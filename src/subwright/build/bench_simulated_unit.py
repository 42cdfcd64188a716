"""What every block of the simulated bench needs: the unit, the simulator and the fault's edit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.circuits.analysis import AcSweep, Probe, Transient
from subwright.circuits.netlist import Circuit
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.parts.library import Library

__all__ = ["METER_A", "Bench", "Edit", "Readings", "one_hertz"]

Edit = Callable[[Circuit], Circuit]
Readings = dict[str, float]
METER_A: Final = 100e-6
"""What an ohmmeter feeds, A."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Bench:
    """What the blocks need: design, parts, procedure, simulator and the fault's edit."""

    design: Design
    library: Library
    procedure: BringUp
    engine: Engine
    edit: Edit
    timeout_s: float

    def run(self, circuit: Circuit, analysis: Transient | AcSweep, probes: list[Probe]) -> Traces:
        """Simulate a circuit of this unit, with its fault in it."""
        return simulate(self.edit(circuit), analysis, probes, self.engine, timeout_s=self.timeout_s)

    def expected(self, key: str) -> float:
        """What the procedure expects of a reading, in its SI unit. Raises SubwrightError if it has none."""
        reading = self.procedure.reading(key)
        if reading is None:
            raise SubwrightError(message=f"the bring-up has no reading {key}")
        return reading.expected


def one_hertz(frequency_hz: float) -> AcSweep:
    """The least sweep that begins at a frequency in Hz."""
    return AcSweep(low_hz=frequency_hz, high_hz=1.5 * frequency_hz, per_decade=20)
