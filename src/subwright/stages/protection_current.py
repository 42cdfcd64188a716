"""Over-current trip: a shunt in the return or the drop of the converter's switches, against a small level.

The level is a divider from the reference, some tens of millivolts: the comparator's offset counts heavily, so
the window is wide and both of its ends are judged. A switch's drop costs no power, but its resistance belongs
to its temperature, and the window says what that means.
"""

from __future__ import annotations

from math import log
from typing import Final, Literal

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between
from subwright.base.units import show
from subwright.parts.schema import Comparator
from subwright.physics.networks.comparator_search import search_ratio
from subwright.physics.networks.tolerance import Parameter, influences, worst_case
from subwright.stages.protection_models import RESISTOR_DRIFT, Case, ReferenceModel
from subwright.stages.protection_records import CurrentInput, OverCurrentTrip

__all__ = ["design_over_current", "plan_shunt_ohm"]

_SHUNT_TOLERANCE: Final = 0.01
_LEAST_LEVEL_V: Final = 0.06  # below this the offset decides alone; common practice
_MOST_SHUNT_W: Final = 3.0
_FILTER_OHM: Final = 1e3
_COLD_SHARE: Final = 0.6  # a good switch at 25 °C over the sheet's largest; common practice


def design_over_current(
    method: Literal["shunt", "switch"],
    target_a: float | None,
    filter_s: float,
    after: Literal["retry", "latch"],
    data: CurrentInput,
    reference: ReferenceModel,
    comparator: Comparator,
    tolerance: float,
) -> OverCurrentTrip:
    """Design the over-current trip.

    Parameters
    ----------
    method : shunt or switch drop. target_a : wanted trip, A; None: one and a half times the crest.
    filter_s : wanted time constant of the blanking, s. after : what follows. data : currents.
    reference, comparator : the rest of the circuit. tolerance : of the resistors, fraction.

    Raises
    ------
    NoSolutionError : no shunt gives a usable level, or there is no switch to sense.
    """
    wanted = 1.5 * data.crest_a if target_a is None else target_a
    if method == "switch":
        if data.switch_ohm is None or data.switch_hot_ratio is None:
            raise NoSolutionError(
                message="Without a converter there is no switch whose drop could be sensed.",
                quantity="protection.over_current",
                value="switch",
                remedy='Set protection.over_current = "shunt".',
            )
        sense = data.switch_ohm * data.switch_hot_ratio
        span = Parameter(
            name="switch resistance", nominal=sense, low=_COLD_SHARE * data.switch_ohm, high=1.2 * sense
        )
        heat = 0.0
    else:
        sense = data.shunt_ohm or plan_shunt_ohm(wanted, data.rms_a)
        span = Parameter.relative("shunt", sense, _SHUNT_TOLERANCE + RESISTOR_DRIFT)
        heat = data.rms_a**2 * sense
    volts = reference.nominal_v()
    if wanted * sense >= 0.8 * volts:
        raise NoSolutionError(
            message="The drop at the over-current trip is too near the reference.",
            quantity="drop at the trip",
            value=show(wanted * sense, "voltage"),
            limit=show(0.8 * volts, "voltage"),
            remedy='Lower the trip, or set it to "shunt".',
        )
    pair = search_ratio(
        volts / (wanted * sense) - 1.0,
        upper_ohm=between(1e3, 100e3, "E24"),
        lower_ohm=between(100.0, 4.7e3, "E12"),
        keep=1,
    )[0]
    level = volts / (1.0 + pair.ratio)

    case = Case(
        results=("over-current trip",),
        parameters=(
            *reference.parameters(tolerance),
            Parameter.relative("level upper", pair.upper_ohm, tolerance + RESISTOR_DRIFT),
            Parameter.relative("level lower", pair.lower_ohm, tolerance + RESISTOR_DRIFT),
            Parameter(
                name="comparator offset", nominal=0.0, low=-comparator.vos_max_v, high=comparator.vos_max_v
            ),
            span,
        ),
        function=lambda x: (
            (
                reference.volts(x) * x["level lower"] / (x["level upper"] + x["level lower"])
                - x["comparator offset"]
            )
            / x[span.name],
        ),
    )
    low, high = worst_case(case.model, case.parameters)
    strongest = influences(case.model, case.parameters)[0]
    nominal = level / sense
    capacitor = at_least(filter_s / _FILTER_OHM, "E6")
    tau = capacitor * _FILTER_OHM
    reach = float(high[0]) / data.fault_a
    return OverCurrentTrip(
        method=method,
        sense_ohm=sense,
        sense_w=heat,
        upper_ohm=pair.upper_ohm,
        lower_ohm=pair.lower_ohm,
        level_v=level,
        filter_ohm=_FILTER_OHM,
        filter_f=capacitor,
        filter_s=tau,
        target_a=wanted,
        nominal_a=nominal,
        low_a=float(low[0]),
        high_a=float(high[0]),
        first=(strongest.parameter, abs(strongest.shift) / nominal),
        must_a=data.crest_a,
        limit_a=data.switch_limit_a,
        response_s=-tau * log(1.0 - reach) if reach < 1.0 else float("inf"),
        after=after,
    )


def plan_shunt_ohm(wanted_a: float, rms_a: float) -> float:
    """Smallest preferred shunt, Ω, whose drop at the trip (A) stands clear of the offset, within its heat.

    Raises
    ------
    NoSolutionError : it would get too hot at ``rms_a`` (A).
    """
    ohm = at_least(_LEAST_LEVEL_V / wanted_a, "E6")
    if rms_a**2 * ohm > _MOST_SHUNT_W:
        raise NoSolutionError(
            message="A shunt with a usable drop would get too hot.",
            quantity="shunt",
            value=show(rms_a**2 * ohm, "power"),
            limit=show(_MOST_SHUNT_W, "power"),
            remedy='Set protection.over_current = "switch".',
        )
    return ohm
