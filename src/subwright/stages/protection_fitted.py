"""Selection on test: thresholds of one unit from the values measured on it, and the trims that centre them.

Measure each resistor before it is soldered in, and the reference once it runs. What has been measured no
longer counts with its tolerance but with the meter's error and the drift between bench and vehicle.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from subwright.base.errors import RangeError
from subwright.base.near import closest
from subwright.base.preferred import between
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.networks.tolerance import Parameter, worst_case
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_models import (
    RESISTOR_DRIFT,
    Case,
    ReferenceModel,
    over_voltage_case,
    thermal_case,
    under_voltage_case,
)

__all__ = [
    "METER",
    "REFERENCE_ROLE",
    "THERMISTOR_ROLE",
    "FittedProtection",
    "FittedThreshold",
    "Measurable",
    "Trim",
    "fitted_protection",
    "measurable_parts",
]

METER: Final = 0.003  # a hand-held meter in its resistance and voltage ranges; common practice, no source
REFERENCE_ROLE: Final = "reference voltage"
THERMISTOR_ROLE: Final = "thermistor at 25 °C"
_FAR_OFF: Final = 0.25  # a part further from its marking than this was misread, or is another part
_WORTH: Final = 0.1  # share of the window left that a trim must take off to be worth a solder joint
_TRIMMED: Final = {"under-voltage": "sense lower", "over-voltage": "sense lower", "thermal": "level lower"}
_TRACKED: Final = {**_TRIMMED, "thermal": "thermistor series"}  # what a trimmer is in series with
_NTC_METER: Final = 0.025  # half a kelvin of doubt about the 25 °C at some 4.4 %/K, and the meter


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurable:
    """A part worth measuring: its role, what it is marked, and the unit ("Ω" or "V") of both."""

    role: str
    nominal: float
    unit: Literal["Ω", "V"]


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedThreshold:
    """A threshold of this unit, in V or °C.

    Attributes
    ----------
    target, designed : wanted, and with nominal parts. here : with the measured parts.
    low, high : worst case of what was not measured, of the meter and of drift.
    """

    name: str
    unit: Literal["V", "°C"]
    target: float
    designed: float
    here: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Trim:
    """What centres the trip of one protection on its target.

    Attributes
    ----------
    role : part to trim. fitted_ohm : as measured or marked, Ω.
    how : leave it, add a resistor in parallel or in series, or turn the trimmer.
    add_ohm : preferred value to add, or the trimmer's setting, Ω; None where it stays.
    trip_before, trip_after, release_after : V or °C. target : of the trip.
    """

    protection: str
    role: str
    unit: Literal["V", "°C"]
    how: Literal["leave", "parallel", "series", "trimmer"]
    fitted_ohm: float
    add_ohm: float | None
    target: float
    trip_before: float
    trip_after: float
    release_after: float


@dataclass(frozen=True, kw_only=True, slots=True)
class FittedProtection:
    """One unit's thresholds and trims; ``measured`` maps each role given to its value, Ω or V."""

    measured: Mapping[str, float]
    thresholds: tuple[FittedThreshold, ...]
    trims: tuple[Trim, ...]


def measurable_parts(result: ProtectionResult, library: Library) -> tuple[Measurable, ...]:
    """Parts whose measured value sharpens a threshold, by role.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.

    Returns
    -------
    The reference first, then each resistor once.
    """
    parts = [Measurable(role=REFERENCE_ROLE, nominal=result.reference.nominal_v, unit="V")]
    for case in _cases(result, library, _reference(result, library), 0.0):
        protection = _protection(case)
        parts += [
            Measurable(role=f"{protection} {p.name}", nominal=p.nominal, unit="Ω")
            for p in case.parameters
            if _is_resistor(p.name)
        ]
    r25 = library.ntc(result.ntc).r25_ohm
    return (*parts, Measurable(role=THERMISTOR_ROLE, nominal=r25, unit="Ω"))


def fitted_protection(
    result: ProtectionResult, library: Library, measured: Mapping[str, float], tolerance: float
) -> FittedProtection:
    """Thresholds that this unit will have, and the trims that centre them.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    measured : role → measured value, Ω (the reference in V). tolerance : of the parts not measured, fraction.

    Returns
    -------
    FittedProtection.

    Raises
    ------
    RangeError : a role that the circuit doesn't have, or a value far from what the part is marked.
    """
    known = {part.role: part for part in measurable_parts(result, library)}
    for role, value in measured.items():
        _check(role, value, known)
    reference = _reference(result, library)
    if REFERENCE_ROLE in measured:
        reference = ReferenceModel(
            kind="controller", controller_v=measured[REFERENCE_ROLE], controller_tolerance=METER
        )
    thresholds: list[FittedThreshold] = []
    trims: list[Trim] = []
    r25 = library.ntc(result.ntc).r25_ohm
    for case in _cases(result, library, reference, tolerance):
        fitted = replace(case, parameters=tuple(_as_measured(case, measured, r25)))
        found = tuple(_thresholds(fitted, result))
        thresholds += found
        trims.append(_trim(fitted, result, 0.5 * (found[0].high - found[0].low)))
    return FittedProtection(measured=dict(measured), thresholds=tuple(thresholds), trims=tuple(trims))


def _reference(result: ProtectionResult, library: Library) -> ReferenceModel:
    supply = result.reference
    if supply.kind == "shunt":
        return ReferenceModel(
            kind="shunt",
            shunt=library.reference(supply.part_id),
            upper_ohm=supply.upper_ohm or 0.0,
            lower_ohm=supply.lower_ohm or np.inf,
        )
    return ReferenceModel(
        kind="controller",
        controller_v=supply.nominal_v,
        controller_tolerance=supply.high_v / supply.nominal_v - 1.0,
    )


def _cases(
    result: ProtectionResult, library: Library, reference: ReferenceModel, tolerance: float
) -> tuple[Case, ...]:
    comparator = library.comparator(result.comparator)
    target = {name: threshold.target for name, threshold in result.thresholds.items()}
    sink = result.sink_a
    under, over = target["under-voltage trip"], target["over-voltage trip"]
    return (
        under_voltage_case(result.under_voltage, reference, comparator, tolerance, sink, under),
        over_voltage_case(result.over_voltage, reference, comparator, tolerance, sink, over),
        thermal_case(result.thermal, reference, comparator, library.ntc(result.ntc), tolerance, sink),
    )


def _protection(case: Case) -> str:
    return case.results[0].removesuffix(" trip")


def _is_resistor(name: str) -> bool:
    return name.startswith(("sense", "level")) or name in (
        "feedback",
        "pull-up",
        "reference resistor",
        "thermistor series",
    )


def _check(role: str, value: float, known: Mapping[str, Measurable]) -> None:
    part = known.get(role)
    if part is None:
        near = closest(role, known, 2)
        raise RangeError(
            message=f"The protection circuit has no part called {role!r}.",
            quantity="measured part",
            value=role,
            remedy=f"Did you mean {' or '.join(near)}?" if near else "List the parts without measurements.",
        )
    if not abs(value / part.nominal - 1.0) <= _FAR_OFF:
        dimension = "voltage" if part.unit == "V" else "resistance"
        raise RangeError(
            message="A measured value is far from what the part should be.",
            quantity=role,
            value=show(value, dimension) if np.isfinite(value) else str(value),
            limit=f"{show(part.nominal, dimension)} ±{100 * _FAR_OFF:.0f} %",
            remedy="Check the part's marking, the meter's range, and that the part is out of the circuit.",
        )


def _as_measured(case: Case, measured: Mapping[str, float], r25_ohm: float) -> Iterator[Parameter]:
    for parameter in case.parameters:
        if parameter.name == "thermistor R25" and THERMISTOR_ROLE in measured:
            doubt = min(_NTC_METER, parameter.reach)
            yield Parameter.relative(parameter.name, measured[THERMISTOR_ROLE] / r25_ohm, doubt)
            continue
        value = measured.get(f"{_protection(case)} {parameter.name}")
        if value is None:
            yield parameter
        else:
            yield Parameter.relative(parameter.name, value, METER + RESISTOR_DRIFT)


def _thresholds(case: Case, result: ProtectionResult) -> Iterator[FittedThreshold]:
    low, high = worst_case(case.model, case.parameters)
    nominal = _nominal(case)[:, 0]
    for number, name in enumerate(case.results[:2]):
        design = result.thresholds[name]
        yield FittedThreshold(
            name=name,
            unit=design.unit,
            target=design.target,
            designed=design.nominal,
            here=float(nominal[number]),
            low=float(low[number]),
            high=float(high[number]),
        )


def _nominal(
    case: Case, name: str = "", values: npt.NDArray[np.float64] | None = None
) -> npt.NDArray[np.float64]:
    """Results with nominal parts, one column per value of the part ``name``."""
    builds = np.array([[p.nominal] for p in case.parameters])
    if values is not None:
        builds = np.repeat(builds, values.size, axis=1)
        builds[[p.name for p in case.parameters].index(name)] = values
    return case.model(builds)


def _trim(case: Case, result: ProtectionResult, half_window: float) -> Trim:
    protection = _protection(case)
    track = next((p.nominal for p in case.parameters if p.name == "trimmer"), None)
    part = _TRIMMED[protection] if track is None else _TRACKED[protection]
    design = result.thresholds[f"{protection} trip"]
    ohm = next(p.nominal for p in case.parameters if p.name == part)
    if track is not None:
        return _setting(case, result, part, ohm, track)
    # All that a preferred resistor in parallel or in series can make of the part.
    extra = between(3.0 * ohm, 300.0 * ohm, "E24"), between(max(1.0, ohm / 300.0), ohm / 3.0, "E24")
    made = np.concatenate([[ohm], ohm * extra[0] / (ohm + extra[0]), ohm + extra[1]])
    trips, releases = _nominal(case, part, made)[:2]
    error = np.abs(trips - design.target)
    best = int(np.argmin(error))
    if error[0] - error[best] < _WORTH * half_window:
        best = 0
    how: Literal["leave", "parallel", "series"] = "leave"
    add: float | None = None
    if best > 0:
        parallel = best <= extra[0].size
        how = "parallel" if parallel else "series"
        add = float(extra[0][best - 1] if parallel else extra[1][best - 1 - extra[0].size])
    return Trim(
        protection=protection,
        role=f"{protection} {part}",
        unit=design.unit,
        how=how,
        fitted_ohm=ohm,
        add_ohm=add,
        target=design.target,
        trip_before=float(trips[0]),
        trip_after=float(trips[best]),
        release_after=float(releases[best]),
    )


def _setting(case: Case, result: ProtectionResult, part: str, ohm: float, track: float) -> Trim:
    """Where the trimmer ends up: found on the same network with a fixed lower arm in its place."""
    protection = _protection(case)
    design = result.thresholds[f"{protection} trip"]
    trip, release = _nominal(case)[:2, 0]
    # With the trimmer shut the case's own setting rule can't move: the lower arm is what we make it.
    still = replace(
        case,
        parameters=tuple(
            replace(p, nominal=0.0, low=0.0) if p.name == "trimmer" else p for p in case.parameters
        ),
    )
    arms = ohm + np.linspace(0.0, track, 2001)
    trips = _nominal(still, part, arms)[0]
    best = int(np.argmin(np.abs(trips - design.target)))
    return Trim(
        protection=protection,
        role=f"{protection} trimmer",
        unit=design.unit,
        how="trimmer",
        fitted_ohm=ohm,
        add_ohm=float(arms[best] - ohm),
        target=design.target,
        trip_before=float(trips[0]),
        trip_after=float(trip),
        release_after=float(release),
    )
