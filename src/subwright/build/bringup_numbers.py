"""Numbers of the first power-up that no stage needed: loaded rail, discharge, the thermistor's stand-in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import log
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.base.preferred import at_least, at_most, nearest
from subwright.base.units import parse
from subwright.build.bringup_records import Discharge
from subwright.build.result import Design
from subwright.parts.library import Library
from subwright.physics.networks.thermistor import divider_self_heating_k
from subwright.physics.networks.tolerance import Parameter, worst_case
from subwright.stages.common import Corner, Level
from subwright.stages.protection_models import (
    ReferenceModel,
    over_voltage_case,
    thermal_case,
    thermistor_of,
    under_voltage_case,
)

__all__ = [
    "BENCH_C",
    "DISCHARGED_V",
    "RailLine",
    "StandIn",
    "bench_voltage",
    "discharges",
    "dummy_load_ohm",
    "hysteresis_windows",
    "rail_line",
    "rating_w",
    "supply_limit",
    "thermistor_stand_in",
]

DISCHARGED_V: Final = 5.0  # below it nothing burns or jolts; common practice
BENCH_C: Final = (15.0, 22.0, 30.0)
"""Room temperature of a bench: coldest, usual, hottest, °C; common practice."""
_OWN_HEAT: Final = 4  # rounds: the bead's own heat is some tenths of a kelvin on a cold bench
_HELD_S: Final = 5.0  # as long as a hand holds a clip lead still; common practice


def bench_voltage(design: Design) -> float:
    """Supply voltage of the powered steps, V: charging, or the middle of what no protection minds."""
    low = design.protection.thresholds["under-voltage release"].window.worst_high
    high = design.protection.thresholds["over-voltage trip"].window.worst_low
    charging = design.supply.corners[Corner.CHARGING]
    return charging if low < charging < high else round(0.5 * (low + high), 1)


def supply_limit(highest_a: float) -> float:
    """Current limit where up to ``highest_a`` is in order, A: a preferred value above, at least 100 mA.

    It lies above the window of the current, so that a supply that limits never reads as in order.
    """
    return at_least(max(1.1 * highest_a, 0.1), "E12")


@dataclass(frozen=True, kw_only=True, slots=True)
class RailLine:
    """One rail as a straight line, and the input current that goes with it.

    Attributes
    ----------
    ratio : half-secondary over half-primary turns; None where the rail is regulated.
    drop_v : lost whatever the load, V (the rail itself where regulated). rail_ohm : slope, Ω.
    idle_a : input current without load on the rails, A. per_a : input current per ampere of both rails.
    """

    ratio: float | None
    drop_v: float
    rail_ohm: float
    idle_a: float
    per_a: float

    def rail_v(self, terminal_v: float, load_a: float) -> float:
        """Rail in V at a voltage on the unit's terminals and a current from each rail."""
        if self.ratio is None:
            return self.drop_v - self.rail_ohm * load_a
        return self.ratio * terminal_v - self.drop_v - self.rail_ohm * load_a

    def input_a(self, load_a: float) -> float:
        """Input current in A with that current from each rail."""
        return self.idle_a + self.per_a * load_a


def rail_line(design: Design) -> RailLine:
    """Fit the rail's line to the solved operating points at the charging corner, by least squares.

    Raises SubwrightError for a build without a converter.

    Source
    ------
    [derived]: three operating points of the solved chain.
    """
    if design.converter is None and design.boost is None:
        raise SubwrightError(message="this build runs straight from the battery and has no rails")
    points = [design.point(Corner.CHARGING, level) for level in (Level.IDLE, Level.PROGRAMME, Level.FULL)]
    loads = np.array([point.rail_a for point in points])
    terminals = np.array([point.terminal_v for point in points])
    rails = np.array([point.rail_mean_v for point in points])
    inputs = np.array([point.battery_a for point in points])
    held = design.converter is None or design.converter.plan.regulated
    ratio = None if held or design.converter is None else design.converter.ratio
    lost = rails if ratio is None else ratio * terminals - rails
    slope, start = np.polyfit(loads, lost, 1)
    per_a, idle = np.polyfit(loads, inputs, 1)
    return RailLine(
        ratio=ratio,
        drop_v=float(start),
        rail_ohm=float(-slope if ratio is None else slope),
        idle_a=max(float(idle), 0.0),
        per_a=float(per_a),
    )


def rating_w(power_w: float) -> float:
    """A wirewound resistor's usual rating at no more than half its load, W; common practice."""
    return next((size for size in (3.0, 5.0, 10.0, 25.0, 50.0, 100.0) if size >= 2.0 * power_w), 200.0)


def dummy_load_ohm(design: Design, rail_v: float) -> float:
    """Preferred resistor from each rail to ground that draws about the programme's current, Ω."""
    return nearest(rail_v / design.point(Corner.CHARGING, Level.PROGRAMME).rail_a, "E12")


def _discharge(
    bank: str, capacitance_f: float, from_v: float, alone_ohm: float | None = None
) -> Discharge | None:
    if from_v <= DISCHARGED_V:
        return None
    constants = log(from_v / DISCHARGED_V)
    ohm = at_most(_HELD_S / (capacitance_f * constants), "E6")
    return Discharge(
        bank=bank,
        capacitance_f=capacitance_f,
        from_v=from_v,
        to_v=DISCHARGED_V,
        resistor_ohm=ohm,
        pulse_w=from_v**2 / ohm,
        energy_j=0.5 * capacitance_f * (from_v**2 - DISCHARGED_V**2),
        held_s=ohm * capacitance_f * constants,
        alone_s=None if alone_ohm is None else alone_ohm * capacitance_f * constants,
    )


def discharges(design: Design) -> tuple[Discharge, ...]:
    """Each capacitor bank that can hold more than is safe, with the resistor that empties it in some seconds.

    t = R C ln(V/V_safe), capacitance at the top of its tolerance.

    Source
    ------
    [derived], discharge of a capacitor through a resistor; the safe voltage is [common-practice].
    """
    found: list[Discharge | None] = []
    highest = design.supply.corners[Corner.MAX]
    converter, boost = design.converter, design.boost
    if converter is not None:
        rail, source = converter.reservoir_bank, converter.input_bank
        farad = rail.count * rail.capacitor.capacitance_f * (1.0 + rail.capacitor.tolerance)
        found.append(_discharge("each rail", farad, converter.rail_unloaded_v, converter.bleeder_ohm))
        farad = source.count * source.capacitor.capacitance_f * (1.0 + source.capacitor.tolerance)
        found.append(_discharge("battery input", farad, highest))
    elif boost is not None:
        highest_v = max(boost.plan.guard.most_v, highest)
        most = 1.0 + boost.plan.rail_bank.capacitor.tolerance
        found.append(_discharge("raised rail", boost.plan.rail_f * most, highest_v, boost.plan.bleeder_ohm))
        source = boost.plan.input_bank
        most = 1.0 + source.capacitor.tolerance
        found.append(_discharge("battery input", source.capacitance_f * most, highest))
    else:
        for part in design.amplifier.parts:
            if part.role == "amplifier input capacitor":
                each = parse(part.value, "capacitance") * (1.0 + (part.tolerance or 0.0))
                found.append(_discharge("battery input", each * part.quantity, highest))
    return tuple(bank for bank in found if bank is not None)


@dataclass(frozen=True, kw_only=True, slots=True)
class StandIn:
    """Resistors in place of the thermistor.

    Attributes
    ----------
    trip_ohm, trip_low_ohm, trip_high_ohm : resistance at which this circuit trips, and its window without
        the thermistor's own tolerance, Ω.
    release_ohm, release_low_ohm, release_high_ohm : the same for the release.
    cold_ohm : preferred value that must release it. hold_ohm : that must not trip it.
    hot_ohm : preferred value that must trip it.
    trip_c, release_c : heatsink temperatures that they stand for, °C.
    node_v, node_low_v, node_high_v : thermistor's node on a bench of 15 °C to 30 °C, V.
    """

    trip_ohm: float
    trip_low_ohm: float
    trip_high_ohm: float
    release_ohm: float
    release_low_ohm: float
    release_high_ohm: float
    cold_ohm: float
    hold_ohm: float
    hot_ohm: float
    trip_c: float
    release_c: float
    node_v: float
    node_low_v: float
    node_high_v: float


def thermistor_stand_in(design: Design, library: Library) -> StandIn:
    """What to put in place of the thermistor to try the thermal trip on the cold bench.

    The circuit sees only a resistance: the thermistor's tolerance is left out of the window, and its own heat
    is put back (the bead is warmer than the heatsink). Values are of the E24 series.

    Raises PartNotFoundError when ``library`` lacks the thermistor or comparator.

    Source
    ------
    [iec-60539] for the thermistor's law; the network is the protection stage's own.
    """
    protection = design.protection
    ntc, comparator = library.ntc(protection.ntc), library.comparator(protection.comparator)
    supply = protection.reference
    reference = _reference(design)
    tolerance = design.spec.protection.resistor_tolerance
    case = thermal_case(protection.thermal, reference, comparator, ntc, tolerance, protection.sink_a)
    exact = replace(case, parameters=tuple(_settled(parameter) for parameter in case.parameters))
    thermistor, heat = thermistor_of(ntc), protection.thermal.self_heating_k
    low, high = worst_case(exact.model, exact.parameters)
    nominal = exact.model(np.array([[parameter.nominal] for parameter in exact.parameters]))[:, 0]

    def ohm(temperature_c: float) -> float:
        return float(thermistor.resistance_ohm(temperature_c + heat))

    def node_v(temperature_c: float, off: float, volts: float) -> float:
        lower = protection.thermal.series_ohm
        if protection.thermal.trimmer_ohm is not None:
            lower += protection.thermal.trimmer_set_ohm
        series = lower * (1.0 - tolerance * off)
        own_k = 0.0
        warm = series
        for _ in range(_OWN_HEAT):
            warm = float(thermistor.resistance_ohm(temperature_c + own_k)) * (1.0 + ntc.r_tolerance * off)
            own_k = float(divider_self_heating_k(volts, warm, series, thermistor.dissipation_w_per_k))
        return volts * series / (series + warm)

    hold, cold = at_least(ohm(float(low[0])), "E24"), at_least(ohm(float(low[1])), "E24")
    return StandIn(
        trip_ohm=ohm(float(nominal[0])),
        trip_low_ohm=ohm(float(high[0])),
        trip_high_ohm=ohm(float(low[0])),
        release_ohm=ohm(float(nominal[1])),
        release_low_ohm=ohm(float(high[1])),
        release_high_ohm=ohm(float(low[1])),
        cold_ohm=cold,
        hold_ohm=hold,
        hot_ohm=at_most(ohm(float(high[0])), "E24"),
        trip_c=float(nominal[0]),
        release_c=float(nominal[1]),
        node_v=node_v(BENCH_C[1], 0.0, supply.nominal_v),
        node_low_v=node_v(BENCH_C[0], 1.0, supply.low_v),
        node_high_v=node_v(BENCH_C[2], -1.0, supply.high_v),
    )


def hysteresis_windows(design: Design, library: Library) -> Mapping[str, tuple[float, float, float]]:
    """Distance from trip to release of both voltage protections: nominal, lowest, highest, V.

    Trip and release share most of their parts, so the distance is far sharper than either alone.

    Raises PartNotFoundError when ``library`` lacks the comparator.
    """
    protection, tolerance = design.protection, design.spec.protection.resistor_tolerance
    comparator, reference = library.comparator(protection.comparator), _reference(design)
    target = {name: threshold.target for name, threshold in protection.thresholds.items()}
    sink = protection.sink_a
    cases = {
        "under-voltage": under_voltage_case(
            protection.under_voltage, reference, comparator, tolerance, sink, target["under-voltage trip"]
        ),
        "over-voltage": over_voltage_case(
            protection.over_voltage, reference, comparator, tolerance, sink, target["over-voltage trip"]
        ),
    }
    found = {}
    for name, case in cases.items():
        row = case.results.index(f"{name} hysteresis")
        low, high = worst_case(case.model, case.parameters)
        nominal = case.model(np.array([[parameter.nominal] for parameter in case.parameters]))[row, 0]
        found[name] = (float(nominal), float(low[row]), float(high[row]))
    return found


def _reference(design: Design) -> ReferenceModel:
    supply = design.protection.reference
    half = 0.5 * (supply.high_v - supply.low_v) / supply.nominal_v
    return ReferenceModel(kind="controller", controller_v=supply.nominal_v, controller_tolerance=half)


def _settled(parameter: Parameter) -> Parameter:
    """The thermistor's own tolerances taken out."""
    if parameter.name in ("thermistor R25", "thermistor B"):
        return replace(parameter, low=parameter.nominal, high=parameter.nominal)
    return parameter
