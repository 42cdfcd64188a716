"""What to ask of a simulator: an analysis, and the quantities to keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["AcSweep", "Analysis", "Current", "Probe", "Transient", "Voltage"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Transient:
    """A run over time.

    Attributes
    ----------
    stop_s : end. step_s : longest time step. keep_from_s : results before are thrown away.
    from_initial : start from the capacitors' initial voltages instead of an operating point.
    accuracy : relative accuracy of the simulator's own step control, dimensionless.
    current_floor_a, voltage_floor_v : changes below these don't matter.
    """

    stop_s: float
    step_s: float
    keep_from_s: float = 0.0
    from_initial: bool = False
    accuracy: float = 1e-3
    current_floor_a: float = 1e-9
    voltage_floor_v: float = 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class AcSweep:
    """Small-signal response at logarithmic frequencies."""

    low_hz: float
    high_hz: float
    per_decade: int


Analysis: TypeAlias = Transient | AcSweep


@dataclass(frozen=True, slots=True)
class Voltage:
    """Voltage of a net against ground."""

    net: str


@dataclass(frozen=True, slots=True)
class Current:
    """Current through a voltage source, inductor or winding, from its first pin to its second."""

    designator: str


Probe: TypeAlias = Voltage | Current
