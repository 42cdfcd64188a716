"""The three networks with their windows, remembered: most changes of a build leave them as they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from subwright.parts.library import Library
from subwright.parts.schema import Comparator, Ntc
from subwright.stages.common import Contributor
from subwright.stages.protection_models import (
    Case,
    ReferenceModel,
    over_voltage_case,
    thermal_case,
    thermistor_of,
    under_voltage_case,
)
from subwright.stages.protection_networks import design_over_voltage, design_thermal, design_under_voltage
from subwright.stages.protection_records import (
    OverVoltageNetwork,
    ThermalNetwork,
    Threshold,
    TrimmerRange,
    UnderVoltageNetwork,
)
from subwright.stages.protection_targets import Targets
from subwright.stages.protection_trimmers import trimmer_ranges
from subwright.stages.protection_upgrade import Advice
from subwright.stages.protection_values import SeriesWish, ValueStocks
from subwright.stages.protection_windows import protection_windows

__all__ = ["NetworkWish", "Networks", "settle_networks"]

_KEPT: Final = 32


@dataclass(frozen=True, kw_only=True, slots=True)
class NetworkWish:
    """All that the networks and their windows depend on.

    Attributes
    ----------
    targets : wanted thresholds. reference, comparator, ntc : the rest of the circuit. library : with drawer.
    series, tolerance : of the resistors. sink_a : of an output when low, A. sense_filter_s : s.
    trimmer, thermal_trimmer : which trips are set by hand. draws, seed : of the random builds.
    """

    targets: Targets
    reference: ReferenceModel
    comparator: Comparator
    ntc: Ntc
    library: Library
    series: SeriesWish
    tolerance: float
    sink_a: float
    sense_filter_s: float
    trimmer: bool
    thermal_trimmer: bool
    draws: int
    seed: int

    def cases(
        self, under: UnderVoltageNetwork, over: OverVoltageNetwork, thermal: ThermalNetwork, tolerance: float
    ) -> tuple[Case, ...]:
        """Models of three networks with resistors of a tolerance (fraction)."""
        rest = (self.reference, self.comparator, tolerance, self.sink_a)
        return (
            under_voltage_case(under, *rest, self.targets.under_trip.value),
            over_voltage_case(over, *rest, self.targets.over_trip.value),
            thermal_case(thermal, self.reference, self.comparator, self.ntc, tolerance, self.sink_a),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Networks:
    """The networks as built, with thresholds and hysteresis by name, and who moves them."""

    under: UnderVoltageNetwork
    over: OverVoltageNetwork
    thermal: ThermalNetwork
    thresholds: Mapping[str, Threshold]
    hysteresis: Mapping[str, Threshold]
    contributors: tuple[Contributor, ...]
    trimmers: tuple[TrimmerRange, ...]
    advice: Advice


@lru_cache(maxsize=_KEPT)
def settle_networks(wish: NetworkWish) -> Networks:
    """Choose the resistors and work out the windows; the same wish finds what was made before.

    Parameters
    ----------
    wish : all that it depends on.

    Raises
    ------
    NoSolutionError : no preferred values, or no trimmer, serves.
    RangeError : a temperature outside the thermistor's table.
    """
    stocks = ValueStocks(library=wish.library, series=wish.series, tolerance=wish.tolerance)
    targets = wish.targets
    under = design_under_voltage(
        targets.under_trip,
        targets.under_release,
        wish.reference,
        wish.comparator,
        stocks,
        wish.sink_a,
        wish.sense_filter_s,
        wish.trimmer,
    )
    over = design_over_voltage(
        targets.over_trip,
        targets.over_release,
        wish.reference,
        wish.comparator,
        stocks,
        wish.sink_a,
        wish.trimmer,
    )
    thermal = design_thermal(
        targets.thermal_trip,
        targets.thermal_release,
        wish.reference,
        wish.comparator,
        wish.ntc,
        stocks,
        wish.sink_a,
        wish.thermal_trimmer,
    )

    def cases(tolerance: float) -> tuple[Case, ...]:
        return wish.cases(under, over, thermal, tolerance)

    thresholds, hysteresis, contributors = protection_windows(
        cases, targets, wish.tolerance, wish.draws, wish.seed
    )
    thermistor = thermistor_of(wish.ntc)
    return Networks(
        under=under,
        over=over,
        thermal=thermal,
        thresholds=MappingProxyType(thresholds),
        hysteresis=MappingProxyType(hysteresis),
        contributors=contributors,
        trimmers=trimmer_ranges(
            cases, under, over, thermal, targets, wish.reference, thermistor, wish.tolerance
        ),
        advice=Advice(cases, thresholds),
    )
