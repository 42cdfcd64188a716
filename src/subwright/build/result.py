"""The finished design: every stage's result, the operating points, the energy balance and the findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.stages.common import Corner, Level, PartUse

if TYPE_CHECKING:
    from subwright.build.spec import BuildSpec
    from subwright.stages.amplifier import AmplifierResult
    from subwright.stages.battery_guard import BatteryGuardResult
    from subwright.stages.cabin import CabinResult
    from subwright.stages.control import ControlResult
    from subwright.stages.converter import ConverterResult
    from subwright.stages.converter_boost_records import BoostResult
    from subwright.stages.driver import DriverResult
    from subwright.stages.enclosure import EnclosureResult
    from subwright.stages.filter import FilterResult
    from subwright.stages.goal import GoalResult
    from subwright.stages.heat import HeatResult
    from subwright.stages.input import InputResult
    from subwright.stages.protection import ProtectionResult
    from subwright.stages.signal import SignalResult
    from subwright.stages.speaker_guard import SpeakerGuardResult
    from subwright.stages.supply import SupplyResult
    from subwright.stages.transformer import TransformerResult
    from subwright.stages.wiring import WiringResult

__all__ = [
    "STAGES",
    "Design",
    "EnergyBalance",
    "Finding",
    "OperatingPoint",
    "Severity",
    "Sweeps",
]

Array = NDArray[np.float64]
Severity = Literal["stop", "warn", "note", "ok"]


@dataclass(frozen=True, kw_only=True, slots=True)
class OperatingPoint:
    """The electrical chain at one battery corner and one level, into the rated load resistance.

    Mean values unless the name says otherwise; ``rail_`` values are per side (for a battery bridge the
    rail is the battery terminal). ``losses_w`` maps each named loss to W.
    """

    corner: Corner
    level: Level
    emf_v: float
    terminal_v: float
    terminal_least_v: float
    battery_a: float
    battery_rms_a: float
    battery_peak_a: float
    battery_w: float
    rail_crest_v: float
    rail_mean_v: float
    rail_a: float
    rail_peak_a: float
    output_peak_v: float
    output_w: float
    efficiency: float
    primary_rms_a: float
    primary_peak_a: float
    secondary_rms_a: float
    diode_a: float
    input_ripple_a: float
    reservoir_ripple_a: float
    losses_w: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class EnergyBalance:
    """Where each watt goes, from the battery's EMF to the air, into the real driver at one frequency.

    ``entries`` are (name, W) in the order of the chain; the last one is the sound radiated.
    """

    frequency_hz: float
    corner: Corner
    battery_w: float
    entries: tuple[tuple[str, float], ...]
    radiated_w: float
    imbalance: float  # share of battery_w that no entry explains
    limit: float  # largest share accepted
    residual: float  # largest relative change in the last round of the solver


@dataclass(frozen=True, kw_only=True, slots=True)
class Sweeps:
    """Curves across the battery's range and across the load, at the onset of clipping or below."""

    battery_v: Array  # EMF
    clip_w: Array  # sine power into the rated load at the onset of clipping
    efficiency: Array  # load power over battery power at that point
    battery_a: Array
    rail_full_v: Array
    rail_idle_v: Array
    load_w: Array  # nominal battery
    load_rail_v: Array  # working rail at the crest
    load_efficiency: Array


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """The result of one numbered rule on one design."""

    code: str
    severity: Severity
    title: str
    message: str
    quantity: str
    value: float
    limit: float
    dimension: str
    margin: float  # share of the limit that is left; negative: broken
    source: str
    remedy: str
    stage: str
    gravity: Severity = "stop"  # how grave it is once its limit is broken
    counted: bool = False  # a number of things, which has no margin while it is right

    @property
    def judged(self) -> bool:
        """Whether its margin matters: a note's limit may be passed without harm, a count is right or not."""
        return self.gravity in ("stop", "warn") and (self.margin < 0.0 or not self.counted)

    @property
    def open(self) -> bool:
        """Whether the builder has to look at it."""
        return self.severity != "ok"


@dataclass(frozen=True, kw_only=True, slots=True)
class Design:
    """One consistent design.

    ``converter`` and ``transformer`` are None for an amplifier on a single supply: straight from the battery,
    or on the raised rail of a ``boost`` converter.
    """

    spec: BuildSpec
    goal: GoalResult
    supply: SupplyResult
    driver: DriverResult
    cabin: CabinResult
    enclosure: EnclosureResult
    amplifier: AmplifierResult
    converter: ConverterResult | None
    transformer: TransformerResult | None
    protection: ProtectionResult
    input: InputResult
    filter: FilterResult
    signal: SignalResult
    wiring: WiringResult
    heat: HeatResult
    points: tuple[OperatingPoint, ...]
    sweeps: Sweeps
    balance: EnergyBalance
    rounds: int
    battery_guard: BatteryGuardResult | None = None
    speaker_guard: SpeakerGuardResult | None = None
    control: ControlResult | None = None
    boost: BoostResult | None = None
    findings: tuple[Finding, ...] = ()

    def point(self, corner: Corner, level: Level) -> OperatingPoint:
        """Operating point at a corner and level."""
        for candidate in self.points:
            if candidate.corner is corner and candidate.level is level:
                return candidate
        raise KeyError((corner, level))

    def stage_results(self) -> Iterator[tuple[str, object]]:
        """Name and result of each stage present, in the order of the chain."""
        for name in STAGES:
            result = getattr(self, name)
            if result is not None:
                yield name, result

    def part_uses(self) -> Iterator[tuple[str, PartUse]]:
        """Stage name and each part use of the whole build, in the order of the chain."""
        for name, result in self.stage_results():
            for use in getattr(result, "parts", ()):
                yield name, use

    def tightest(self, *stages: str) -> Finding | None:
        """The judged finding with the least margin, kept limits included.

        Parameters
        ----------
        stages : whose findings count; none named: every stage's.

        Returns
        -------
        The finding; of stages where every limit is a mere note, the least of those; None without any.
        """
        found = [finding for finding in self.findings if not stages or finding.stage in stages]
        judged = [finding for finding in found if finding.judged]
        return min(judged or found, key=lambda f: (f.margin, f.code), default=None)

    def source_keys(self) -> tuple[str, ...]:
        """Bibliography keys that the build rests on, sorted."""
        keys: set[str] = set()
        for _, result in self.stage_results():
            keys.update(getattr(result, "sources", ()))
        keys.update(finding.source for finding in self.findings if finding.source)
        return tuple(sorted(keys))

    @property
    def worst(self) -> Severity:
        """Gravest severity among the findings."""
        order: tuple[Severity, ...] = ("stop", "warn", "note")
        present = {finding.severity for finding in self.findings}
        return next((severity for severity in order if severity in present), "ok")


STAGES: tuple[str, ...] = (
    "goal",
    "supply",
    "battery_guard",
    "converter",
    "transformer",
    "boost",
    "protection",
    "input",
    "filter",
    "signal",
    "amplifier",
    "speaker_guard",
    "control",
    "driver",
    "enclosure",
    "cabin",
    "wiring",
    "heat",
)

assert {field.name for field in fields(Design)}.issuperset(STAGES)
