"""What readings say of a unit: uncertain quantities with priors, and the readings that they make."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
import numpy.typing as npt

from subwright.build.bringup_numbers import RailLine, dummy_load_ohm, rail_line
from subwright.build.bringup_records import BringUp, Reading
from subwright.build.result import Design
from subwright.parts.library import Library
from subwright.stages.protection_models import (
    Case,
    ReferenceModel,
    over_voltage_case,
    thermal_case,
    thermistor_of,
    under_voltage_case,
)

__all__ = ["BenchModel", "Unknown", "bench_model"]

Array = npt.NDArray[np.float64]
Values = Mapping[str, Array]

_UNIFORM: Final = sqrt(3.0)  # limits over standard deviation of a part somewhere inside its tolerance
_COPPER: Final = 0.10
_RAIL_OHM: Final = 0.30
_DROP_V: Final = 0.4
_RAIL_MODEL: Final = 0.005  # of an unloaded or loaded rail: ringing, unequal halves; common practice
_LEAKAGE: Final = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Unknown:
    """One uncertain quantity: name, dimension, designed value and standard deviation before any reading."""

    name: str
    dimension: str
    designed: float
    prior: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchModel:
    """The unknowns of a design, and each reading as a function of them.

    Attributes
    ----------
    unknowns : in order. readings : key → function of the unknowns (shape (n,) each) and of the turns.
    own_error : share of a reading that the model itself may be off. primary_turns, secondary_turns : as
        designed, half windings; 0 without a transformer.
    thresholds : the protections' trips and releases as functions of the unknowns, V or °C.
    roles : name of an unknown → role under which the protection stage knows the part.
    """

    unknowns: tuple[Unknown, ...]
    readings: Mapping[str, Callable[[Values, int, int], Array]]
    own_error: Mapping[str, float]
    primary_turns: int
    secondary_turns: int
    thresholds: Mapping[str, Callable[[Values], Array]]
    roles: Mapping[str, str]


def bench_model(design: Design, procedure: BringUp, library: Library) -> BenchModel:
    """Build the model of a design's bench readings.

    Priors are the tolerances taken as limits of a uniform spread: standard deviation = limit/√3, as GUM does.

    Source
    ------
    [derived]; [common-practice] for the priors of copper, leakage and rail resistance.
    """
    maker = _Maker()
    if design.transformer is not None and design.converter is not None:
        _transformer(maker, procedure)
        _rails(maker, design, procedure, rail_line(design))
    _protection(maker, design, library)
    for key, name in _PLAIN.items():
        reading = procedure.reading(key)
        if reading is not None and reading.high is not None:
            maker.plain(name, reading)
    _box(maker, procedure)
    transformer = design.transformer
    return BenchModel(
        unknowns=tuple(maker.unknowns),
        readings=maker.readings,
        own_error=maker.own_error,
        primary_turns=0 if transformer is None else transformer.primary_turns,
        secondary_turns=0 if transformer is None else transformer.secondary_turns,
        thresholds=maker.thresholds,
        roles=maker.roles,
    )


_PLAIN: Final = {
    "switching-frequency": "switching frequency",
    "low-pass-corner": "low-pass corner",
    "infrasonic-corner": "infrasonic corner",
    "driver-resistance": "coil resistance",
    "driver-resonance": "free-air resonance",
    "box-tuning": "tuning",
}


class _Maker:
    """Collects unknowns and readings."""

    def __init__(self) -> None:
        self.unknowns: list[Unknown] = []
        self.readings: dict[str, Callable[[Values, int, int], Array]] = {}
        self.own_error: dict[str, float] = {}
        self.thresholds: dict[str, Callable[[Values], Array]] = {}
        self.roles: dict[str, str] = {}

    def unknown(self, name: str, dimension: str, designed: float, prior: float) -> None:
        if all(known.name != name for known in self.unknowns):
            self.unknowns.append(Unknown(name=name, dimension=dimension, designed=designed, prior=prior))

    def plain(self, name: str, reading: Reading) -> None:
        """A quantity that is read as it is; its window is its prior."""
        high = reading.high if reading.high is not None else reading.expected
        self.unknown(name, reading.dimension, reading.expected, 0.5 * (high - reading.low) / _UNIFORM)
        self.readings[reading.key] = lambda x, _p, _s: x[name]


def _designed(procedure: BringUp, key: str) -> Reading | None:
    return procedure.reading(key)


def _transformer(maker: _Maker, procedure: BringUp) -> None:
    inductance, leakage = _designed(procedure, "primary-inductance"), _designed(procedure, "leakage")
    primary, secondary = (_designed(procedure, f"{side}-resistance") for side in ("primary", "secondary"))
    if inductance is None or leakage is None or primary is None or secondary is None:
        return
    # per half-primary turn squared and per turn: what stays when a turn is added
    maker.readings["primary-inductance"] = lambda x, p, _s: x["inductance factor AL"] * p**2
    maker.readings["leakage"] = lambda x, p, _s: x["leakage factor"] * p**2
    maker.readings["primary-resistance"] = lambda x, p, _s: x["primary copper"] * p
    maker.readings["secondary-resistance"] = lambda x, _p, s: x["secondary copper"] * s
    maker.readings["turns-ratio"] = lambda x, p, s: np.full_like(next(iter(x.values())), s / p)


def _turn_priors(maker: _Maker, procedure: BringUp, primary_turns: int, secondary_turns: int) -> None:
    wanted = (
        ("primary-inductance", "inductance factor AL", "inductance", primary_turns**2, None),
        ("leakage", "leakage factor", "inductance", primary_turns**2, _LEAKAGE),
        ("primary-resistance", "primary copper", "resistance", primary_turns, _COPPER),
        ("secondary-resistance", "secondary copper", "resistance", secondary_turns, _COPPER),
    )
    for key, name, dimension, scale, share in wanted:
        reading = procedure.reading(key)
        if reading is None:
            continue
        high = reading.high if reading.high is not None else reading.expected
        spread = 0.5 * (high - reading.low) / reading.expected if share is None else share
        designed = reading.expected / scale
        maker.unknown(name, dimension, designed, designed * spread / _UNIFORM)


def _rails(maker: _Maker, design: Design, procedure: BringUp, line: RailLine) -> None:
    converter = design.converter
    if converter is None:
        return
    _turn_priors(maker, procedure, converter.primary_turns, converter.secondary_turns)
    maker.unknown("rail drop", "voltage", line.drop_v, _DROP_V / _UNIFORM)
    maker.unknown("rail resistance", "resistance", line.rail_ohm, _RAIL_OHM * line.rail_ohm / _UNIFORM)
    bench_v = procedure.bench_v
    load = dummy_load_ohm(design, line.rail_v(bench_v, 0.0))
    regulated = line.ratio is None

    def empty(x: Values, p: int, s: int) -> Array:
        return x["rail drop"] if regulated else s / p * bench_v - x["rail drop"]

    def loaded(x: Values, p: int, s: int) -> Array:
        return empty(x, p, s) / (1.0 + x["rail resistance"] / load)

    for side in ("positive", "negative"):
        maker.readings[f"rail-{side}"] = empty
        maker.readings[f"loaded-rail-{side}"] = loaded
        maker.own_error[f"rail-{side}"] = maker.own_error[f"loaded-rail-{side}"] = _RAIL_MODEL


def _protection(maker: _Maker, design: Design, library: Library) -> None:
    protection = design.protection
    supply = protection.reference
    reference = ReferenceModel(
        kind="controller",
        controller_v=supply.nominal_v,
        controller_tolerance=0.5 * (supply.high_v - supply.low_v) / supply.nominal_v,
    )
    comparator = library.comparator(protection.comparator)
    tolerance, sink = design.spec.protection.resistor_tolerance, protection.sink_a
    target = {name: threshold.target for name, threshold in protection.thresholds.items()}
    under, over = target["under-voltage trip"], target["over-voltage trip"]
    ntc = library.ntc(protection.ntc)
    cases = (
        under_voltage_case(protection.under_voltage, reference, comparator, tolerance, sink, under),
        over_voltage_case(protection.over_voltage, reference, comparator, tolerance, sink, over),
        thermal_case(protection.thermal, reference, comparator, ntc, tolerance, sink),
    )
    for case in cases:
        _case(maker, case)
    maker.readings["reference-voltage"] = lambda x, _p, _s: x["reference voltage"]
    for name in ("under-voltage", "over-voltage"):
        for end in ("trip", "release"):
            function = maker.thresholds[f"{name} {end}"]
            maker.readings[f"{name}-{end}"] = lambda x, _p, _s, f=function: f(x)  # type: ignore[misc]
    thermistor, heat = thermistor_of(ntc), protection.thermal.self_heating_k
    nominal = {"thermal thermistor R25": 1.0, "thermal thermistor B": 1.0}
    bare: list[tuple[Values, Values]] = []
    for end in ("trip", "release"):
        function = maker.thresholds[f"thermal {end}"]

        def stand_in(x: Values, _p: int, _s: int, f: Callable[[Values], Array] = function) -> Array:
            # the bench puts a resistor there: the thermistor's own spread has no part in the reading
            if not bare or bare[0][0] is not x:
                there = {name: np.full_like(x[name], value) for name, value in nominal.items()}
                bare[:] = [(x, {**x, **there})]
            return np.asarray(thermistor.resistance_ohm(f(bare[0][1]) + heat))

        maker.readings[f"thermal-{end}-resistance"] = stand_in


def _case(maker: _Maker, case: Case) -> None:
    protection = case.results[0].removesuffix(" trip")
    names = []
    for parameter in case.parameters:
        shared = parameter.name == "controller reference"
        name = "reference voltage" if shared else f"{protection} {parameter.name}"
        names.append(name)
        dimension = "voltage" if shared else "resistance" if parameter.nominal > 2.0 else "ratio"
        # a one-sided limit (bias current) keeps its nominal: the middle of a uniform spread is close enough
        maker.unknown(name, dimension, parameter.nominal, max(parameter.reach, 0.0) / _UNIFORM)
        maker.roles[name] = name

    last: list[tuple[Values, Array]] = []  # trip and release are asked for with the same values in turn

    def result(x: Values, row: int) -> Array:
        if not last or last[0][0] is not x:
            last[:] = [(x, np.asarray(case.model(np.stack([x[name] for name in names]))))]
        return np.asarray(last[0][1][row])

    for row, name in enumerate(case.results[:2]):
        maker.thresholds[name] = lambda x, r=row: result(x, r)  # type: ignore[misc]


def _box(maker: _Maker, procedure: BringUp) -> None:
    reading, free = procedure.reading("box-resonance"), procedure.reading("driver-resonance")
    if reading is None or free is None:
        return
    ratio = reading.expected / free.expected
    maker.unknown("resonance in the box over free air", "ratio", ratio, 0.1 * ratio / _UNIFORM)
    maker.readings["box-resonance"] = lambda x, _p, _s: (
        x["free-air resonance"] * x["resonance in the box over free air"]
    )
