"""Resistor values of the three protection networks, from targets to preferred values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least
from subwright.base.units import show
from subwright.parts.schema import Comparator, Ntc
from subwright.physics.networks.comparator_search import (
    RatioChoice,
    search_inverting,
    search_ratio,
    search_sensing,
)
from subwright.physics.networks.dividers import parallel
from subwright.physics.networks.thermistor import divider_self_heating_k
from subwright.stages.protection_models import (
    Builds,
    ReferenceModel,
    over_voltage_case,
    over_voltage_lower_ohm,
    saturation,
    setting_of,
    thermal_case,
    thermal_series_ohm,
    thermistor_of,
    under_voltage_case,
    under_voltage_lower_ohm,
)
from subwright.stages.protection_records import OverVoltageNetwork, ThermalNetwork, UnderVoltageNetwork
from subwright.stages.protection_targets import Target
from subwright.stages.protection_trimmers import fit_trimmer
from subwright.stages.protection_values import ValueStocks

__all__ = [
    "PULL_UP_OHM",
    "design_over_voltage",
    "design_thermal",
    "design_under_voltage",
]

Values: TypeAlias = Callable[[float, float], npt.NDArray[np.float64]]
Lowers: TypeAlias = Mapping[float, tuple[float, float | None]]
Network = TypeVar("Network")

PULL_UP_OHM: Final = 10e3
_OVER_VOLTAGE_FILTER_S: Final = 2e-3  # quick: the switches stand an over-voltage for a short time only
_THERMAL_FILTER_S: Final = 10e-3  # keeps hum off a long thermistor lead


def _singles(values: Values, low_ohm: float, high_ohm: float) -> Lowers:
    """Lower arms of one resistor, Ω."""
    return {float(r): (float(r), None) for r in values(low_ohm, high_ohm)}


def _pairs(values: Values, low_ohm: float, high_ohm: float) -> Lowers:
    """Lower arms of two resistors in series, the larger one first, Ω; rising."""
    arms: dict[float, tuple[float, float | None]] = {}
    for first in values(low_ohm, high_ohm):
        for second in values(0.01 * first, first):
            arms.setdefault(round(float(first + second), 3), (float(first), float(second)))
    return dict(sorted(arms.items()))


def design_under_voltage(
    trip: Target,
    release: Target,
    reference: ReferenceModel,
    comparator: Comparator,
    stocks: ValueStocks,
    sink_a: float,
    filter_s: float,
    trimmer: bool,
) -> UnderVoltageNetwork:
    """Network that hits trip and release at once.

    Parameters
    ----------
    trip, release : wanted voltages. reference, comparator : the rest of the circuit.
    stocks : resistors to choose from. sink_a : current of the output when low, A.
    filter_s : wanted time constant of the sense filter, s. trimmer : whether the trip is set by hand.

    Raises
    ------
    NoSolutionError : no preferred values come within 5 %.
    """
    reference_v = reference.nominal_v()

    def tried(values: Values, lowers: Lowers, error_limit: float) -> tuple[UnderVoltageNetwork, float]:
        best = search_sensing(
            trip.value,
            release.value,
            top_ohm=2.0 * values(10e3, 100e3),
            bottom_ohm=np.array(list(lowers)),
            feedback_ohm=values(22e3, 2.2e6),
            reference_v=reference_v,
            pullup_v=reference_v,
            pullup_ohm=PULL_UP_OHM,
            low_v=saturation(comparator, sink_a).nominal,
            bias_a=comparator.ib_a,
            error_limit=error_limit,
            keep=1,
        )[0]
        each = 0.5 * best.top_ohm
        source = float(parallel(each, each + float(parallel(best.bottom_ohm, best.feedback_ohm))))
        capacitor = at_least(filter_s / source, "E6")
        network = UnderVoltageNetwork(
            upper_each_ohm=each,
            lower_ohm=lowers[best.bottom_ohm][0],
            lower_second_ohm=lowers[best.bottom_ohm][1],
            feedback_ohm=best.feedback_ohm,
            pullup_ohm=PULL_UP_OHM,
            filter_f=capacitor,
            filter_s=capacitor * source,
        )
        return network, best.error

    network = stocks.first_fit(
        lambda values, limit: tried(values, _singles(values, 5e3, 200e3), limit),
        lambda values, limit: tried(values, _pairs(values, 5e3, 200e3), limit),
    )
    if not trimmer:
        return network

    arm = fit_trimmer(
        under_voltage_case(network, reference, comparator, stocks.tolerance, sink_a, trip.value),
        lambda x: under_voltage_lower_ohm(x, reference.volts(x), trip.value),
        setting_of("under-voltage"),
        stocks,
    )
    return replace(network, lower_ohm=arm.fixed_ohm, lower_second_ohm=None, trimmer_ohm=arm.track_ohm)


def design_over_voltage(
    trip: Target,
    release: Target,
    reference: ReferenceModel,
    comparator: Comparator,
    stocks: ValueStocks,
    sink_a: float,
    trimmer: bool,
) -> OverVoltageNetwork:
    """Sense divider and hysteresis of the over-voltage trip; arguments as :func:`design_under_voltage`."""
    reference_v = reference.nominal_v()
    low_v = saturation(comparator, sink_a).nominal
    share = release.value / trip.value
    if share * reference_v <= low_v:
        raise NoSolutionError(
            message="The over-voltage release lies too far below its trip for this circuit.",
            quantity="over-voltage release over trip",
            value=f"{share:.3f}",
            limit=f"{low_v / reference_v:.3f}",
            remedy="Raise the over-voltage release.",
        )
    # With the pull-up on the reference the upper level is the reference itself; only the lower one moves.
    back = (share - low_v / reference_v) / (1.0 - share)

    def tried(values: Values, lowers: Lowers, error_limit: float) -> tuple[OverVoltageNetwork, float]:
        pairs = search_ratio(
            back,
            upper_ohm=values(22e3, 2.2e6),
            lower_ohm=values(4.7e3, 100e3),
            error_limit=error_limit / (1.0 - share),
            keep=14,
        )
        dividers = search_ratio(
            trip.value / reference_v - 1.0,
            upper_ohm=values(10e3, 470e3),
            lower_ohm=np.array(list(lowers)),
            error_limit=2 * error_limit,
            keep=14,
        )

        def miss(divider: RatioChoice, pair: RatioChoice) -> tuple[int, int, float]:
            at_trip = reference_v * (1 + divider.ratio)
            at_release = at_trip * (pair.ratio + low_v / reference_v) / (1 + pair.ratio)
            error = max(abs(at_trip / trip.value - 1), abs(at_release / release.value - 1))
            values = {divider.upper_ohm, *lowers[divider.lower_ohm], pair.upper_ohm, pair.lower_ohm}
            return int(error / 1e-3), len(values), error

        divider, pair = min(((d, p) for d in dividers for p in pairs), key=lambda pick: miss(*pick))
        if (error := miss(divider, pair)[2]) > error_limit:
            raise NoSolutionError(
                message="No preferred values come close to the over-voltage trip and release.",
                quantity="over-voltage error",
                value=f"{100 * error:.1f} %",
                limit=f"{100 * error_limit:.1f} %",
                remedy='Set protection.resistor_series = "E96" or "mixed", or leave '
                "protection.over_voltage_trip and protection.over_voltage_release to themselves.",
            )
        source = float(parallel(divider.upper_ohm, divider.lower_ohm))
        capacitor = at_least(_OVER_VOLTAGE_FILTER_S / source, "E6")
        network = OverVoltageNetwork(
            upper_ohm=divider.upper_ohm,
            lower_ohm=lowers[divider.lower_ohm][0],
            lower_second_ohm=lowers[divider.lower_ohm][1],
            reference_ohm=pair.lower_ohm,
            feedback_ohm=pair.upper_ohm,
            pullup_ohm=PULL_UP_OHM,
            filter_f=capacitor,
            filter_s=capacitor * source,
        )
        return network, error

    network = stocks.first_fit(
        lambda values, limit: tried(values, _singles(values, 10e3, 100e3), limit),
        lambda values, limit: tried(values, _pairs(values, 10e3, 100e3), limit),
    )
    if not trimmer:
        return network

    arm = fit_trimmer(
        over_voltage_case(network, reference, comparator, stocks.tolerance, sink_a, trip.value),
        lambda x: over_voltage_lower_ohm(x, reference.volts(x), trip.value),
        setting_of("over-voltage"),
        stocks,
    )
    return replace(network, lower_ohm=arm.fixed_ohm, lower_second_ohm=None, trimmer_ohm=arm.track_ohm)


def design_thermal(
    trip: Target,
    release: Target,
    reference: ReferenceModel,
    comparator: Comparator,
    ntc: Ntc,
    stocks: ValueStocks,
    sink_a: float,
    trimmer: bool = False,
) -> ThermalNetwork:
    """Thermistor divider and levels of the thermal trip; arguments as :func:`design_under_voltage`.

    The series resistor is about twice the thermistor's resistance between trip and release: nearly the
    best sensitivity at half the self-heating.
    """
    reference_v = reference.nominal_v()
    thermistor = thermistor_of(ntc)

    def search(values: Values, error_limit: float) -> tuple[ThermalNetwork, float]:
        middle = (
            float(thermistor.resistance_ohm(trip.value)) * float(thermistor.resistance_ohm(release.value))
        ) ** 0.5
        near = values(middle, 4 * middle)
        if near.size == 0:
            raise NoSolutionError(
                message="No resistor fits in series with the thermistor.",
                quantity="thermistor series resistor",
                limit=f"{show(middle, 'resistance')} to {show(4 * middle, 'resistance')}",
                remedy="Allow the whole series, or take a thermistor of another value.",
            )
        series = float(near[np.argmin(np.abs(np.log(near / (2 * middle))))])

        def level(temperature_c: float) -> tuple[float, float]:
            """Node voltage when the heatsink is at ``temperature_c``, and the bead's own heat."""
            heat = 0.0
            for _ in range(4):
                ohm = float(thermistor.resistance_ohm(temperature_c + heat))
                heat = float(divider_self_heating_k(reference_v, ohm, series, ntc.dissipation_w_per_k))
            return reference_v * series / (ohm + series), heat

        at_trip, heat = level(trip.value)
        at_release, _ = level(release.value)
        best = search_inverting(
            at_trip,
            at_release,
            r1_ohm=values(4.7e3, 47e3),
            r2_ohm=values(4.7e3, 470e3),
            r3_ohm=values(22e3, 2.2e6),
            supply_v=reference_v,
            pullup_v=reference_v,
            pullup_ohm=PULL_UP_OHM,
            low_v=saturation(comparator, sink_a).nominal,
            error_limit=error_limit,
            keep=1,
        )[0]
        source = float(parallel(series, float(thermistor.resistance_ohm(25.0))))
        capacitor = at_least(_THERMAL_FILTER_S / source, "E6")
        network = ThermalNetwork(
            ntc=ntc.id,
            series_ohm=series,
            upper_ohm=best.r1_ohm,
            lower_ohm=best.r2_ohm,
            feedback_ohm=best.r3_ohm,
            pullup_ohm=PULL_UP_OHM,
            filter_f=capacitor,
            filter_s=capacitor * source,
            self_heating_k=heat,
        )
        return network, best.error

    network = stocks.first_fit(search)
    if not trimmer:
        return network
    case = thermal_case(network, reference, comparator, ntc, stocks.tolerance, sink_a)

    def needed(x: Builds) -> npt.NDArray[np.float64]:
        wanted = trip.value + x["trimmer setting"]
        return thermal_series_ohm(thermistor, x, reference.volts(x), wanted, network.self_heating_k)

    setting = setting_of("thermal")
    arm = fit_trimmer(case, needed, setting, stocks)
    nominal = {p.name: np.asarray(p.nominal) for p in (*case.parameters, setting)}
    return replace(
        network,
        series_ohm=arm.fixed_ohm,
        trimmer_ohm=arm.track_ohm,
        trimmer_set_ohm=float(needed(nominal)) - arm.fixed_ohm,
        trimmer_target_c=trip.value,
    )
