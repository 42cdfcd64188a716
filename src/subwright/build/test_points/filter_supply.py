"""What the bench reads on the op-amps' supply: from zener diodes or regulators, or half the battery."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.build.result import Design
from subwright.build.test_points.states import NO_SIGNAL, battery_voltages, operating_points
from subwright.circuits.auxiliary_circuit import auxiliary_circuit
from subwright.circuits.filter_supply import FOLLOWER_GAIN, FOLLOWER_JUNCTIONS
from subwright.circuits.netlist import Reading
from subwright.parts.library import Library
from subwright.physics.junctions import base_emitter_v
from subwright.physics.networks.supplies import adjustable_regulator_v, zener_node_v

__all__ = ["SupplyPoint", "drawn_a", "supply_points", "supply_readings"]

_DRAWN: Final = 0.5  # of the op-amps' greatest supply current: what most of them take; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyPoint:
    """The op-amps' supply on one battery without a signal.

    Attributes
    ----------
    at : the state. feed_v : one rail, small rail or the battery's terminals that it is made of, V.
    upper_v, middle_v : supply and signal's ground, V; the lower supply is as far below the latter.
    upper_within_v, middle_within_v : how far whole parts may put them from there, V.
    """

    at: str
    feed_v: float
    upper_v: float
    middle_v: float
    upper_within_v: float
    middle_within_v: float


def drawn_a(design: Design) -> float:
    """What the op-amps are taken to draw at rest, A."""
    return _DRAWN * design.filter.op_amp_supply.current_a


def supply_points(design: Design, library: Library) -> tuple[SupplyPoint, ...]:
    """The op-amps' supply on the lowest, the nominal and the highest battery.

    Parameters
    ----------
    design, library : the build and its parts.

    Source
    ------
    Kirchhoff's current law with two straight lines for a zener diode; [lm317] for the regulators.
    """
    if design.filter.op_amp_supply.kind == "battery":
        return tuple(_halved(design, library))
    return tuple(_split(design, library))


def supply_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings of the supply's nets.

    Parameters
    ----------
    design, library : the build and its parts.
    """
    points = supply_points(design, library)

    def rows(sign: float) -> tuple[Reading, ...]:
        return tuple(Reading(at=p.at, dc_v=sign * p.upper_v, within_v=p.upper_within_v) for p in points)

    if design.filter.op_amp_supply.kind != "battery":
        return {"op_positive": rows(1.0), "op_negative": rows(-1.0)}
    middle = tuple(Reading(at=p.at, dc_v=p.middle_v, within_v=p.middle_within_v) for p in points)
    return {"op_supply": rows(1.0), "mid": middle}


def _split(design: Design, library: Library) -> Iterator[SupplyPoint]:
    supply, load_a = design.filter.op_amp_supply, drawn_a(design)
    low_v, high_v = 0.5 * supply.low_v, 0.5 * supply.high_v
    for at, feed_v in _feeds(design):
        if supply.kind == "regulator":
            volts = float(adjustable_regulator_v(_stated(supply.r1_ohm), _stated(supply.r2_ohm)))
        else:
            through_a = load_a / (FOLLOWER_GAIN + 1.0) if supply.kind == "follower" else load_a
            volts = _clamped(design, library, feed_v, _stated(supply.series_ohm), through_a)
        if supply.kind == "follower":
            volts -= base_emitter_v(load_a / FOLLOWER_JUNCTIONS)
        within = max(high_v - volts, volts - low_v)
        yield SupplyPoint(
            at=at, feed_v=feed_v, upper_v=volts, middle_v=0.0, upper_within_v=within, middle_within_v=0.0
        )


def _feeds(design: Design) -> Iterator[tuple[str, float]]:
    """The rail or small rail before the supply by the name of the state, V."""
    converter = design.converter
    if converter is None or converter.auxiliary.source != "winding":
        yield from ((at, point.rail_mean_v) for at, point in operating_points(design, NO_SIGNAL))
        return
    small = auxiliary_circuit(
        converter, battery_v=design.spec.supply.system_v, corners=battery_voltages(design)
    )
    readings = next(point.readings for point in small.test_points if point.net == "aux_positive")
    yield from ((f"{reading.at}, {NO_SIGNAL}", reading.dc_v) for reading in readings)


def _halved(design: Design, library: Library) -> Iterator[SupplyPoint]:
    """The filtered battery and its half, at the least, the usual and the greatest current."""
    supply, op_amp = design.filter.op_amp_supply, library.op_amp(design.filter.op_amp)
    half_ohm, filter_ohm = _stated(supply.midpoint_ohm), _stated(supply.filter_ohm)
    divider = next(part for part in design.filter.parts if part.role == "midpoint divider")
    tolerance = 0.0 if supply.zener_id is None else library.zener(supply.zener_id).tolerance

    def upper(feed_v: float, load_a: float, share: float = 1.0) -> float:
        # both dividing resistors hang on it as well: the battery behind what they leave of it
        left = 2.0 * half_ohm / (2.0 * half_ohm + filter_ohm)
        into_ohm = left * filter_ohm
        return _clamped(design, library, left * feed_v, into_ohm, load_a, share)

    for at, point in operating_points(design, NO_SIGNAL):
        feed_v = point.terminal_v
        volts = upper(feed_v, drawn_a(design))
        most, least = upper(feed_v, 0.0, 1.0 + tolerance), upper(feed_v, supply.current_a, 1.0 - tolerance)
        within = max(most - volts, volts - least)
        uneven = 0.5 * volts * (divider.tolerance or 0.0)
        own = op_amp.vos_v + op_amp.ib_a * 0.5 * half_ohm
        yield SupplyPoint(
            at=at,
            feed_v=feed_v,
            upper_v=volts,
            middle_v=0.5 * volts,
            upper_within_v=within,
            middle_within_v=0.5 * within + uneven + own,
        )


def _clamped(
    design: Design, library: Library, feed_v: float, series_ohm: float, load_a: float, share: float = 1.0
) -> float:
    """Behind a resistor and the zener diode, if there is one; ``share`` of its stated voltage."""
    supply = design.filter.op_amp_supply
    if supply.zener_id is None:
        return feed_v - load_a * series_ohm
    zener = library.zener(supply.zener_id)
    return zener_node_v(feed_v, series_ohm, load_a, share * zener.vz_v, zener.rz_ohm, zener.iz_test_a)


def _stated(value: float | None) -> float:
    if value is None:
        raise SubwrightError(message="The op-amp supply lacks a value that its kind needs.")
    return value
