"""Bill of materials of the protection circuit: every part with its role, value and stress."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from typing import Final

from subwright.base.units import code, show
from subwright.parts.record import Record
from subwright.stages.common import PartUse, Rating, capacitor_use, diode_use, resistor_use
from subwright.stages.protection_records import (
    DropSense,
    HoldOff,
    OverCurrentTrip,
    OverVoltageNetwork,
    ReferenceSupply,
    ThermalNetwork,
    UnderVoltageNetwork,
)
from subwright.stages.protection_reference import (
    EMPTY_DRIVE_OHM,
    EMPTY_OHM,
    HALF_OHM,
    HOLD_OHM,
    INHIBIT_OHM,
    LATCH_F,
    LATCH_HOLD_OHM,
    LATCH_OHM,
    MUTE_OHM,
    NOISE_F,
    RUN_OHM,
    Choices,
)
from subwright.stages.protection_values import ValueStocks

__all__ = ["Circuit", "protection_parts"]

_SHUNT_SIZES_W: Final = (1.0, 2.0, 3.0, 5.0, 10.0)
_HALF_LOADED: Final = 0.5  # common practice: a resistor at half its rating lasts


@dataclass(frozen=True, kw_only=True, slots=True)
class Circuit:
    """The designed circuit, gathered for the bill."""

    under: UnderVoltageNetwork
    over: OverVoltageNetwork
    thermal: ThermalNetwork
    supply: ReferenceSupply
    choices: Choices
    lamp_ohm: float
    sink_a: float
    highest_v: float
    tolerance: float
    current: OverCurrentTrip | None
    output: OverCurrentTrip | None
    hold_off: HoldOff
    link: bool
    mutes: bool


@lru_cache(maxsize=32)
def protection_parts(circuit: Circuit, stocks: ValueStocks) -> tuple[PartUse, ...]:
    """Every part of the protection circuit, with ratings.

    Parameters
    ----------
    circuit : the design. stocks : where resistors come from, to mark those at hand.

    Returns
    -------
    One record for each role.
    """
    return (
        *_semiconductors(circuit, stocks),
        *_network_resistors(circuit, stocks),
        *_supply_resistors(circuit, stocks),
        *_capacitors(circuit),
        *_over_current("over-current", circuit.current, circuit, stocks),
        *_over_current("amplifier over-current", circuit.output, circuit, stocks),
        *_link(circuit),
        *_hold_off_discharge(circuit, stocks),
    )


def _record(
    role: str, letter: str, record: Record, quantity: int, stocks: ValueStocks, *ratings: Rating
) -> PartUse:
    return PartUse(
        role=role,
        letter=letter,
        part_id=record.id,
        description=record.description,
        quantity=quantity,
        ratings=ratings,
        in_drawer=stocks.library.in_drawer(record.id) >= quantity,
        provenance=record.provenance.kind,
    )


def _semiconductors(circuit: Circuit, stocks: ValueStocks) -> Iterator[PartUse]:
    comparator, supply = circuit.choices.comparator, circuit.supply
    document = comparator.provenance.document
    yield _record(
        "protection comparator",
        "U",
        comparator,
        ceil((4 + sum(t.sections for t in (circuit.current, circuit.output) if t)) / comparator.channels),
        stocks,
        Rating(
            quantity="supply voltage",
            unit="V",
            applied=supply.comparator_high_v,
            limit=comparator.supply_max_v,
            source=document,
            at="highest battery",
        ),
        Rating(
            quantity="output sink current",
            unit="A",
            applied=circuit.sink_a,
            limit=comparator.sink_a,
            source=document,
            at="tripped",
        ),
    )
    if circuit.choices.shunt is not None:
        shunt = circuit.choices.shunt
        most = (circuit.highest_v - supply.low_v) / (supply.feed_ohm or float("inf"))
        yield _record(
            "protection reference",
            "U",
            shunt,
            1,
            stocks,
            Rating(
                quantity="cathode current",
                unit="A",
                applied=most,
                limit=shunt.i_max_a,
                source=shunt.provenance.document,
                at="highest battery, no load",
            ),
        )
    yield _record("heatsink thermistor", "RT", circuit.choices.ntc, 1, stocks)
    clamp = circuit.choices.clamp
    yield _record(
        "comparator supply clamp",
        "VR",
        clamp,
        1,
        stocks,
        Rating(
            quantity="power",
            unit="W",
            applied=supply.clamp_w,
            limit=clamp.power_w,
            source=clamp.provenance.document,
            at="highest battery",
        ),
    )
    for name in ("under-voltage", "over-voltage", "thermal"):
        yield PartUse(
            role=f"{name} combining diode",
            letter="D",
            part_id="1N4148",
            description="small-signal diode 75 V 0.15 A",
            quantity=1,
            provenance="memory",
        )
        yield PartUse(
            role=f"{name} lamp",
            letter="DS",
            part_id="LED red 3 mm",
            description="light-emitting diode, red, about 1.8 V at 1 mA",
            quantity=1,
            provenance="common practice",
        )


def _resistor(
    role: str, value_ohm: float, stocks: ValueStocks, tolerance: float, watts: float = 0.0, quantity: int = 1
) -> PartUse:
    return resistor_use(
        role,
        value_ohm,
        watts,
        tolerance=tolerance,
        quantity=quantity,
        at_hand=stocks.holds(value_ohm),
    )


def _network_resistors(circuit: Circuit, stocks: ValueStocks) -> Iterator[PartUse]:
    under, over, thermal = circuit.under, circuit.over, circuit.thermal
    rows = [
        ("under-voltage sense upper A", under.upper_each_ohm),
        ("under-voltage sense upper B", under.upper_each_ohm),
        ("under-voltage sense lower", under.lower_ohm),
        ("under-voltage feedback", under.feedback_ohm),
        ("under-voltage pull-up", under.pullup_ohm),
        ("over-voltage sense upper", over.upper_ohm),
        ("over-voltage sense lower", over.lower_ohm),
        ("over-voltage reference resistor", over.reference_ohm),
        ("over-voltage feedback", over.feedback_ohm),
        ("over-voltage pull-up", over.pullup_ohm),
        ("thermistor series", thermal.series_ohm),
        ("thermal level upper", thermal.upper_ohm),
        ("thermal level lower", thermal.lower_ohm),
        ("thermal feedback", thermal.feedback_ohm),
        ("thermal pull-up", thermal.pullup_ohm),
    ]
    for name, second in (("under", under.lower_second_ohm), ("over", over.lower_second_ohm)):
        if second is not None:
            rows.append((f"{name}-voltage sense lower B", second))
    for role, value in rows:
        yield _resistor(role, value, stocks, circuit.tolerance)
    trimmers = {
        "under-voltage": under.trimmer_ohm,
        "over-voltage": over.trimmer_ohm,
        "thermal": thermal.trimmer_ohm,
    }
    for name, trimmer in trimmers.items():
        if trimmer is not None:
            yield PartUse(
                role=f"{name} trimmer",
                letter="R",
                part_id=f"trimmer {code(trimmer, 'resistance')}",
                description="multi-turn trimmer",
                quantity=1,
                value=show(trimmer, "resistance"),
                tolerance=0.20,
                provenance="common practice",
            )


def _supply_resistors(circuit: Circuit, stocks: ValueStocks) -> Iterator[PartUse]:
    supply = circuit.supply
    for name in ("under-voltage", "over-voltage", "thermal"):
        yield _resistor(f"{name} lamp resistor", circuit.lamp_ohm, stocks, 0.05)
    yield _resistor("run line pull-up", RUN_OHM, stocks, 0.05)
    yield _resistor("hold-off series resistor", HOLD_OHM, stocks, 0.05)
    yield _resistor("run line half reference upper", HALF_OHM, stocks, 0.05)
    yield _resistor("run line half reference lower", HALF_OHM, stocks, 0.05)
    yield _resistor("inhibit pull-up", INHIBIT_OHM, stocks, 0.05)
    if circuit.mutes:
        yield _resistor("mute base resistor", MUTE_OHM, stocks, 0.05)
        yield _record("mute transistor", "Q", stocks.library.transistor("BC547B"), 1, stocks)
    yield _resistor("comparator supply resistor", supply.comparator_ohm, stocks, 0.05, supply.comparator_w)
    if supply.feed_ohm is not None and supply.upper_ohm is not None and supply.lower_ohm is not None:
        yield _resistor("reference feed", supply.feed_ohm, stocks, 0.05, supply.feed_w)
        if supply.upper_ohm > 0:
            yield _resistor("reference upper", supply.upper_ohm, stocks, circuit.tolerance)
            yield _resistor("reference lower", supply.lower_ohm, stocks, circuit.tolerance)


def _capacitors(circuit: Circuit) -> Iterator[PartUse]:
    volts = circuit.highest_v
    rows = [
        ("under-voltage sense filter", circuit.under.filter_f, volts),
        ("over-voltage sense filter", circuit.over.filter_f, circuit.supply.high_v),
        ("thermistor filter", circuit.thermal.filter_f, circuit.supply.high_v),
        ("comparator supply decoupling", 100e-9, circuit.supply.comparator_high_v),
        ("run line noise capacitor", NOISE_F, circuit.supply.high_v),
        ("hold-off capacitor", circuit.hold_off.capacitor_f, circuit.supply.high_v),
    ]
    for role, value, applied in rows:
        film_f = 4.7e-6 if role == "hold-off capacitor" else 1e-6  # an electrolytic's leakage shifts a delay
        kind, rating, tolerance = ("film", 63.0, 0.10) if value <= film_f else ("electrolytic", 63.0, 0.20)
        yield PartUse(
            role=role,
            letter="C",
            part_id=code(value, "capacitance"),
            description=f"{kind} {max(rating, 100.0 if applied > 50 else rating):g} V",
            quantity=1,
            value=show(value, "capacitance"),
            tolerance=tolerance,
            ratings=(
                Rating(
                    quantity="voltage",
                    unit="V",
                    applied=applied,
                    limit=max(rating, 100.0 if applied > 50 else rating),
                    at="highest battery",
                ),
            ),
            provenance="IEC 60063 preferred value",
        )


def _link(circuit: Circuit) -> Iterator[PartUse]:
    if circuit.link:
        yield PartUse(
            role="isolating link",
            letter="J",
            part_id="2-pin header and jumper",
            description="between the run line and the inhibit comparator: open it for the first tests only",
            quantity=1,
            provenance="common practice",
        )


def _over_current(
    name: str, trip: OverCurrentTrip | None, circuit: Circuit, stocks: ValueStocks
) -> Iterator[PartUse]:
    if trip is None:
        return
    if trip.method == "shunt":
        size = next((w for w in _SHUNT_SIZES_W if trip.sense_w <= _HALF_LOADED * w), _SHUNT_SIZES_W[-1])
        yield PartUse(
            role=f"{name} shunt",
            letter="R",
            part_id=code(trip.sense_ohm, "resistance"),
            description=f"current-sense resistor {size:g} W, four terminals",
            quantity=1,
            value=show(trip.sense_ohm, "resistance"),
            tolerance=0.01,
            ratings=(Rating(quantity="power", unit="W", applied=trip.sense_w, limit=size, at="full sine"),),
            provenance="IEC 60063 preferred value",
        )
    if trip.drop is not None:
        yield from _drop_sense(name, trip.drop, stocks)
    yield _resistor(f"{name} level upper", trip.upper_ohm, stocks, circuit.tolerance)
    yield _resistor(f"{name} level lower", trip.lower_ohm, stocks, circuit.tolerance)
    if trip.both_ways:
        yield _resistor(f"{name} negative level upper", trip.negative_upper_ohm, stocks, circuit.tolerance)
        yield _resistor(f"{name} negative filter resistor", trip.filter_ohm, stocks, circuit.tolerance)
        yield capacitor_use(f"{name} negative filter capacitor", trip.filter_f, "film 63 V", 0.10)
    yield _resistor(f"{name} filter resistor", trip.filter_ohm, stocks, 0.05)
    yield _resistor(f"{name} pull-up", circuit.under.pullup_ohm, stocks, 0.05)
    yield _resistor(f"{name} lamp resistor", circuit.lamp_ohm, stocks, 0.05)
    yield PartUse(
        role=f"{name} filter capacitor",
        letter="C",
        part_id=code(trip.filter_f, "capacitance"),
        description="film 63 V",
        quantity=1,
        value=show(trip.filter_f, "capacitance"),
        tolerance=0.10,
        provenance="IEC 60063 preferred value",
    )
    yield PartUse(
        role=f"{name} combining diode",
        letter="D",
        part_id="1N4148",
        description="small-signal diode 75 V 0.15 A",
        quantity=1,
        provenance="memory",
    )
    yield PartUse(
        role=f"{name} lamp",
        letter="DS",
        part_id="LED red 3 mm",
        description="light-emitting diode, red, about 1.8 V at 1 mA",
        quantity=1,
        provenance="common practice",
    )
    if trip.after == "latch":
        for part, role in (("BC547B", f"{name} latch, NPN"), ("BC557B", f"{name} latch, PNP")):
            record = stocks.library.transistor(part)
            yield _record(role, "Q", record, 1, stocks)
        for end in ("drive", "feedback"):
            yield _resistor(f"{name} latch {end} resistor", LATCH_OHM, stocks, 0.05)
        for end in ("pull-up", "pull-down"):
            yield _resistor(f"{name} latch {end}", LATCH_HOLD_OHM, stocks, 0.05)
        yield capacitor_use(f"{name} latch capacitor", LATCH_F, "film 63 V", 0.10)


def _drop_sense(name: str, drop: DropSense, stocks: ValueStocks) -> Iterator[PartUse]:
    """Diodes and resistors that read a switch's drop while its gate is high."""
    for what, quantity in (("gating", 2 * drop.sides), ("level", 2)):
        yield PartUse(
            role=f"{name} {what} diodes",
            letter="D",
            part_id=drop.diode,
            description="fast diode 400 V 1 A"
            if drop.diode == "UF4004"
            else "small-signal diode 75 V 0.15 A",
            quantity=quantity,
            provenance="memory",
        )
    yield _resistor(f"{name} gate resistor", drop.pull_ohm, stocks, 0.01, quantity=drop.sides)
    yield _resistor(f"{name} sense load", drop.load_ohm, stocks, 0.01)
    yield _resistor(f"{name} level load", drop.load_ohm, stocks, 0.01)
    yield _resistor(f"{name} level pull-up", drop.level_pull_ohm, stocks, 0.01)


def _hold_off_discharge(circuit: Circuit, stocks: ValueStocks) -> Iterator[PartUse]:
    """What empties the hold-off at a trip too short to do it through its resistor."""
    if not circuit.hold_off.emptied:
        return
    library = stocks.library
    yield _record("hold-off discharge transistor, PNP", "Q", library.transistor("BC557B"), 1, stocks)
    yield _record("hold-off discharge transistor, NPN", "Q", library.transistor("BC547B"), 1, stocks)
    for end in ("PNP", "NPN"):
        yield _resistor(f"hold-off discharge drive, {end}", EMPTY_DRIVE_OHM, stocks, 0.05)
        yield _resistor(f"hold-off discharge base to emitter, {end}", LATCH_HOLD_OHM, stocks, 0.05)
    yield _resistor("hold-off discharge resistor", EMPTY_OHM, stocks, 0.05)
    yield diode_use("hold-off discharge diode", "1N4148")
    yield capacitor_use("hold-off discharge coupling", circuit.hold_off.couple_f, "film 63 V", 0.10)
