"""Over-current trip: a shunt in the return or the drop of the converter's switches, against a small level.

The level is a divider from the reference, some tens of millivolts: the comparator's offset counts heavily, so
the window is wide and both of its ends are judged. A switch's drop costs no power, but its resistance belongs
to its temperature, and the window says what that means.
"""

from __future__ import annotations

from dataclasses import replace
from math import log
from typing import Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between, nearest
from subwright.base.units import show
from subwright.parts.schema import Comparator
from subwright.physics.networks.comparator_search import search_ratio
from subwright.physics.networks.tolerance import Parameter, influences, worst_case
from subwright.stages.protection_models import RESISTOR_DRIFT, Case, ReferenceModel
from subwright.stages.protection_records import CurrentInput, DropSense, OverCurrentTrip

__all__ = ["design_over_current", "plan_shunt_ohm", "response_s"]

Array: TypeAlias = npt.NDArray[np.float64]

_SHUNT_TOLERANCE: Final = 0.01
_LEAST_LEVEL_V: Final = 0.06  # below this the offset decides alone; common practice
_MOST_SHUNT_W: Final = 3.0
_FILTER_OHM: Final = 1e3
_DROP_FILTER_OHM: Final = 10e3
_DROP_LOAD_OHM: Final = 3.3e3
_DROP_A: Final = 0.3e-3  # from a gate through the diode into its drain
_DIODE_V: Final = 0.55  # a small diode at some tenths of a milliampere; common practice
_PAIR_V: Final = 0.01  # how far apart the two pairs of diodes lie; common practice
_QUICK_DIODE: Final = "1N4148"
_QUICK_DIODE_V: Final = 75.0
_TALL_DIODE: Final = "UF4004"  # 400 V
_DIVIDER_MISS: Final = 0.05
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
    if method in data.unseen_by:
        raise NoSolutionError(
            message=f"This over-current trip can't see its current: {data.unseen_by[method]}.",
            quantity="over-current trip",
            value=method,
            remedy='Set it to "none" and rely on the trip on the battery side, or to another method.',
        )
    if method == "switch":
        if data.switch_ohm is None or data.switch_hot_ratio is None:
            raise NoSolutionError(
                message="There is no MOSFET whose drop could be sensed.",
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
    drop = _drop_sense(data, volts) if method == "switch" else None
    share = 1.0 if drop is None else drop.conduction
    upper, lower = _divider(wanted * sense * share, volts, drop)

    case = Case(
        results=("over-current trip",),
        parameters=(
            *reference.parameters(tolerance),
            Parameter.relative("level upper", upper, tolerance + RESISTOR_DRIFT),
            Parameter.relative("level lower", lower, tolerance + RESISTOR_DRIFT),
            Parameter(
                name="comparator offset", nominal=0.0, low=-comparator.vos_max_v, high=comparator.vos_max_v
            ),
            span,
            *(() if drop is None else (Parameter(name="diodes", nominal=0.0, low=-_PAIR_V, high=_PAIR_V),)),
        ),
        function=lambda x: (
            (
                _level_v(x["level upper"], x["level lower"], reference.volts(x), drop)
                - x["comparator offset"]
                + x.get("diodes", 0.0)
            )
            / (share * x[span.name]),
        ),
    )
    low, high = worst_case(case.model, case.parameters)
    strongest = influences(case.model, case.parameters)[0]
    level = float(_level_v(np.asarray(upper), np.asarray(lower), np.asarray(volts), drop))
    nominal = level / (share * sense)
    filter_ohm = _FILTER_OHM if drop is None else _DROP_FILTER_OHM
    capacitor = at_least(filter_s / filter_ohm, "E6")
    tau = capacitor * filter_ohm
    watched = data.both_ways and method == "shunt"
    upper_n = nearest(_FILTER_OHM * volts / level, "E24") if watched else 0.0
    negative = volts * _FILTER_OHM / upper_n / sense if watched else 0.0
    shares = (1.0, negative / nominal) if watched else (1.0,)
    made = OverCurrentTrip(
        method=method,
        sense_ohm=sense,
        sense_w=heat,
        upper_ohm=upper,
        lower_ohm=lower,
        level_v=level,
        filter_ohm=filter_ohm,
        filter_f=capacitor,
        filter_s=tau,
        target_a=wanted,
        nominal_a=nominal,
        low_a=float(low[0]) * min(shares),
        high_a=float(high[0]) * max(shares),
        first=(strongest.parameter, abs(strongest.shift) / nominal),
        must_a=data.crest_a,
        limit_a=data.switch_limit_a,
        short_a=0.0,
        response_s=None,
        after=after,
        held_a=level / sense,
        drop=drop,
        both_ways=watched,
        negative_upper_ohm=upper_n,
        negative_a=negative,
    )
    # the most sluggish unit: the highest level, read across the lowest resistance
    latest_v = made.high_a * share * span.low
    seen_a = data.fault_a if drop is None else min(data.fault_a, drop.most_v / span.low)
    return replace(
        made,
        short_a=seen_a,
        response_s=response_s(made, data.fault_a, level_v=latest_v, sense_ohm=span.low),
    )


def response_s(
    trip: OverCurrentTrip, fault_a: float, *, level_v: float | None = None, sense_ohm: float | None = None
) -> float | None:
    """From a fault to the trip of its comparator, s; None where the fault never reaches the level.

    Parameters
    ----------
    trip : as built. fault_a : A. level_v : of one unit, V; None: the nominal one. sense_ohm : of one unit, Ω;
    None: the nominal one.
    """
    drop, tau = trip.drop, trip.filter_s
    level_v = trip.held_a * trip.sense_ohm if level_v is None else level_v
    source_v = fault_a * (trip.sense_ohm if sense_ohm is None else sense_ohm)
    if drop is not None and source_v > drop.most_v:
        source_v = drop.most_v  # the drain has let go of the diode: pull-up and load drive the filter alone
        tau += trip.filter_f * drop.pull_ohm * drop.load_ohm / (drop.pull_ohm + drop.load_ohm)
    return -tau * log(1.0 - level_v / source_v) if source_v > level_v else None


def _drop_sense(data: CurrentInput, reference_v: float) -> DropSense:
    """Resistors and diodes of the gated reading; level and sense carry the same currents."""
    pull = at_least((data.gate_v - _DIODE_V) / _DROP_A, "E12")
    own_a = (data.gate_v - _DIODE_V) / pull
    return DropSense(
        sides=data.sides,
        pull_ohm=pull,
        load_ohm=_DROP_LOAD_OHM,
        level_pull_ohm=nearest((reference_v - _DIODE_V) / own_a, "E24"),
        gate_v=data.gate_v,
        diode=_QUICK_DIODE if data.drain_v <= _QUICK_DIODE_V else _TALL_DIODE,
        conduction=_seen(data.conduction),
        most_v=(data.gate_v - 2.0 * _DIODE_V) * _DROP_LOAD_OHM / (pull + _DROP_LOAD_OHM),
    )


def _seen(on: float) -> float:
    """Share of a switch's drop that the filter settles to, from the share of the time that one is on.

    The filter fills through its resistor and empties through that and the load, more slowly:
    ``s/(s + (1 - s) Rf/(Rf + Rl))``. [derived]
    """
    return on / (on + (1.0 - on) * _DROP_FILTER_OHM / (_DROP_FILTER_OHM + _DROP_LOAD_OHM))


def _level_v(upper_ohm: Array, lower_ohm: Array, reference_v: Array, drop: DropSense | None) -> Array:
    """Level at its divider's tap, V: raised by the diode's current where it runs through a pair of diodes."""
    share = lower_ohm / (upper_ohm + lower_ohm)
    tap = np.asarray(reference_v * share)
    if drop is None:
        return tap
    # into the tap: pull-up less what the load takes, both nearly independent of the tap's small voltage
    source = upper_ohm * share
    open_a = (reference_v - _DIODE_V) / drop.level_pull_ohm
    loading = source * (1.0 / drop.level_pull_ohm + 1.0 / drop.load_ohm)
    return np.asarray((tap + source * open_a) / (1.0 + loading))


def _divider(level_v: float, reference_v: float, drop: DropSense | None) -> tuple[float, float]:
    """Preferred resistors from the reference and to ground that make a level (V), Ω."""
    if drop is None:
        pair = search_ratio(
            reference_v / level_v - 1.0,
            upper_ohm=between(1e3, 100e3, "E24"),
            lower_ohm=between(100.0, 4.7e3, "E12"),
            keep=1,
        )[0]
        return pair.upper_ohm, pair.lower_ohm
    uppers, lowers = between(1e3, 47e3, "E24")[:, None], between(47.0, 1e3, "E12")
    made = _level_v(uppers, lowers, np.asarray(reference_v), drop)
    # the stiffest divider among equals: the diode's current raises a weak one
    miss = np.round(np.abs(made / level_v - 1.0), 3) + 1e-7 * lowers
    row, column = np.unravel_index(int(np.argmin(miss)), miss.shape)
    if abs(made[row, column] / level_v - 1.0) > _DIVIDER_MISS:
        raise NoSolutionError(
            message="No divider makes the level of the over-current trip.",
            quantity="level",
            value=show(level_v, "voltage"),
            limit=f"{show(float(made.min()), 'voltage')} to {show(float(made.max()), 'voltage')}",
            remedy='Raise the trip, or set it to "shunt".',
        )
    return float(uppers[row, 0]), float(lowers[column])


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
