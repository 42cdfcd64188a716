"""The first power-up as records: ordered steps, what is read at each, and what a wrong reading means."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BenchSupply", "BringUp", "Cause", "Discharge", "Reading", "Step"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """One figure to measure.

    Attributes
    ----------
    key : short name for the bench log: "rail-positive". name : what it is. where : where the probes go.
    dimension : of the figures, a name of `subwright.base.quantities`.
    expected, low, high : from the design, in SI units (°C for temperatures); ``high`` None: no upper end.
    basis : where the window comes from. customary : it is common practice, without a source; otherwise it
        follows from the design's own tolerances.
    rests_on : ``stage`` or ``stage/role`` entries of the design whose change makes an old reading void.
    """

    key: str
    name: str
    where: str
    dimension: str
    expected: float
    low: float
    high: float | None
    basis: str
    rests_on: tuple[str, ...]
    customary: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """One way to get a wrong reading: what is seen, what it points at, and what to do.

    ``fault`` is its key in `subwright.build.faults`; "" where no reading shows it.
    """

    sign: str
    cause: str
    remedy: str
    fault: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchSupply:
    """Setting of the laboratory supply: V and the current limit in A."""

    voltage_v: float
    limit_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One step; the next is begun only when all its readings lie in their windows.

    Attributes
    ----------
    number, key, title : place, short name and heading.
    fitted : what is fitted from this step on. absent : what must not be fitted or connected yet.
    links : state of the protections' links. supply : None where nothing is powered from it.
    load : what hangs on the output. actions : in order. readings : what to measure.
    causes : at least three, for readings outside. stops : switch off at once when one of these is seen.
    """

    number: int
    key: str
    title: str
    fitted: tuple[str, ...]
    absent: tuple[str, ...]
    links: str
    supply: BenchSupply | None
    load: str
    actions: tuple[str, ...]
    readings: tuple[Reading, ...]
    causes: tuple[Cause, ...]
    stops: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Discharge:
    """How one capacitor bank is emptied before the hand goes in.

    Attributes
    ----------
    bank : its name. capacitance_f : F. from_v, to_v : highest voltage it can hold and the voltage taken as
        safe, V. resistor_ohm : preferred value to hold across it, Ω. pulse_w : at the first instant, W.
    energy_j : that goes into it, J. held_s : how long to hold it, s.
    alone_s : time the fitted bleeder alone needs, s; None without one.
    """

    bank: str
    capacitance_f: float
    from_v: float
    to_v: float
    resistor_ohm: float
    pulse_w: float
    energy_j: float
    held_s: float
    alone_s: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class BringUp:
    """The whole procedure of one design; ``bench_v`` is the supply voltage of the powered steps, V."""

    name: str
    bench_v: float
    steps: tuple[Step, ...]
    discharges: tuple[Discharge, ...]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Every reading, in order; keys are unique."""
        return tuple(reading for step in self.steps for reading in step.readings)

    def step_of(self, key: str) -> Step | None:
        """The step that takes the reading of that key, or None."""
        return next((step for step in self.steps if any(r.key == key for r in step.readings)), None)

    def reading(self, key: str) -> Reading | None:
        """The reading of that key, or None."""
        return next((reading for reading in self.readings if reading.key == key), None)
