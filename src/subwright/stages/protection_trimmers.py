"""Trimmers of the protection networks: values that reach the target in every unit, and what they reach."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_most
from subwright.base.units import show
from subwright.physics.networks.thermistor import Thermistor
from subwright.physics.networks.tolerance import Parameter, worst_case
from subwright.stages.protection_models import (
    RESISTOR_DRIFT,
    TRIMMER_TOLERANCE,
    Builds,
    Case,
    ReferenceModel,
    over_voltage_lower_ohm,
    thermal_series_ohm,
    under_voltage_lower_ohm,
)
from subwright.stages.protection_records import (
    OverVoltageNetwork,
    ThermalNetwork,
    TrimmerRange,
    UnderVoltageNetwork,
)
from subwright.stages.protection_targets import Targets
from subwright.stages.protection_values import ValueStocks

__all__ = ["TRIMMERS_OHM", "Arm", "Needed", "fit_trimmer", "trimmer_ranges", "with_arm"]

Array: TypeAlias = npt.NDArray[np.float64]
Needed: TypeAlias = Callable[[Builds], Array]
"""Whole arm, Ω, that builds take to trip at the target, with their own ``trimmer setting``."""

TRIMMERS_OHM: Final = (100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3, 50e3, 100e3)
"""Common practice: trimmers come in 1-2-5 steps."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Arm:
    """A fixed resistor and the trimmer in series with it, Ω."""

    fixed_ohm: float
    track_ohm: float


def _need_ohm(case: Case, needed: Needed, setting: Parameter) -> tuple[float, float]:
    """Least and most that the whole arm may have to be, with every part at its limit, Ω."""
    own = tuple(p for p in case.parameters if p.name not in ("trimmer", setting.name))
    parameters = (*own, setting)
    names = [p.name for p in parameters]
    low, high = worst_case(lambda builds: needed(dict(zip(names, builds, strict=True)))[None], parameters)
    return float(low[0]), float(high[0])


def fit_trimmer(case: Case, needed: Needed, setting: Parameter, stocks: ValueStocks) -> Arm:
    """Fixed part and trimmer of an arm that reaches the target with every part at its limit.

    Parameters
    ----------
    case : the network without a trimmer. needed : the arm that a build takes, Ω.
    setting : how far off hand and meter set it, named "trimmer setting". stocks : for the fixed part.

    Raises
    ------
    NoSolutionError : no trimmer of a usual value has the span.
    """
    low, high = _need_ohm(case, needed, setting)
    fixed = at_most(low / (1 + stocks.tolerance), stocks.whole_series)
    span = high - fixed * (1 - stocks.tolerance)
    for track in TRIMMERS_OHM:
        if track * (1 - TRIMMER_TOLERANCE) >= span:
            return Arm(fixed_ohm=fixed, track_ohm=track)
    raise NoSolutionError(
        message="No trimmer of a usual value covers the tolerances.",
        quantity="trimmer",
        value=show(span, "resistance"),
        limit=show(TRIMMERS_OHM[-1], "resistance"),
        remedy="Use 1 % resistors or a better reference.",
    )


def with_arm(case: Case, part: str, arm_ohm: float, tolerance: float) -> Case:
    """A network whose trimmer is gone and whose fixed resistor has another value, Ω and fraction.

    The trimmer is shut, so its own setting rule can't move: the arm is what the resistor makes it.
    """

    def changed(parameter: Parameter) -> Parameter:
        if parameter.name == "trimmer":
            return Parameter(name="trimmer", nominal=0.0, low=0.0, high=0.0)
        if parameter.name == part:
            return Parameter.relative(part, arm_ohm, tolerance + RESISTOR_DRIFT)
        return parameter

    return replace(case, parameters=tuple(changed(p) for p in case.parameters))


def _trimmer_range(
    protection: str, case: Case, needed: Needed, part: str, target: float, tolerance: float
) -> TrimmerRange:
    """What one trimmer reaches.

    Parameters
    ----------
    protection : its name. case : the network as built. needed : as :func:`fit_trimmer`'s.
    part : name of the fixed resistor. target : of the trip, V or °C.
    tolerance : of the resistors, fraction.
    """
    by_name = {p.name: p for p in case.parameters}
    fixed, track = by_name[part].nominal, by_name["trimmer"].nominal
    low, high = _need_ohm(case, needed, by_name["trimmer setting"])
    nominal = float(needed({p.name: np.asarray(p.nominal) for p in case.parameters}))

    def trip(arm_ohm: float) -> float:
        other = with_arm(case, part, arm_ohm, tolerance)
        return float(other.model(np.array([[p.nominal] for p in other.parameters]))[0, 0])

    def half(one: Case) -> float:
        lowest, highest = worst_case(lambda builds: one.model(builds)[:1], one.parameters)
        return 0.5 * float(highest[0] - lowest[0])

    reach = tolerance + RESISTOR_DRIFT
    return TrimmerRange(
        protection=protection,
        unit="°C" if protection == "thermal" else "V",
        fixed_ohm=fixed,
        track_ohm=track,
        set_ohm=nominal - fixed,
        need_low_ohm=low,
        need_high_ohm=high,
        least_ohm=fixed * (1 + reach),
        most_ohm=fixed * (1 - reach) + track * (1 - TRIMMER_TOLERANCE),
        target=target,
        trip_shut=trip(fixed),
        trip_open=trip(fixed + track),
        window_without=half(with_arm(case, part, nominal, tolerance)),
        window_with=half(case),
    )


def trimmer_ranges(
    cases: Callable[[float], tuple[Case, ...]],
    under: UnderVoltageNetwork,
    over: OverVoltageNetwork,
    thermal: ThermalNetwork,
    targets: Targets,
    reference: ReferenceModel,
    thermistor: Thermistor,
    tolerance: float,
) -> tuple[TrimmerRange, ...]:
    """What every trimmer fitted reaches.

    Parameters
    ----------
    cases : models of the networks for a resistor tolerance (fraction). under, over, thermal : as built.
    targets : of the trips. reference, thermistor, tolerance : the rest of the circuit.
    """
    tracks = (under.trimmer_ohm, over.trimmer_ohm, thermal.trimmer_ohm)
    if not any(tracks):
        return ()

    def at_under(x: Builds) -> Array:
        return under_voltage_lower_ohm(x, reference.volts(x), targets.under_trip.value)

    def at_over(x: Builds) -> Array:
        return over_voltage_lower_ohm(x, reference.volts(x), targets.over_trip.value)

    def at_heat(x: Builds) -> Array:
        wanted_c = targets.thermal_trip.value + x["trimmer setting"]
        return thermal_series_ohm(thermistor, x, reference.volts(x), wanted_c, thermal.self_heating_k)

    wanted = (
        ("under-voltage", at_under, "sense lower", targets.under_trip.value),
        ("over-voltage", at_over, "sense lower", targets.over_trip.value),
        ("thermal", at_heat, "thermistor series", targets.thermal_trip.value),
    )
    return tuple(
        _trimmer_range(name, case, needed, part, target, tolerance)
        for (name, needed, part, target), case, track in zip(wanted, cases(tolerance), tracks, strict=True)
        if track is not None
    )
