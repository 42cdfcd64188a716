"""Reference of the thresholds, the comparator itself, and what feeds both from the battery."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Comparator, Ntc, Reference, Zener
from subwright.physics.networks.supplies import zener_series_ohm, zener_shunt
from subwright.physics.networks.tolerance import worst_case
from subwright.stages.protection_models import Case, ReferenceModel
from subwright.stages.protection_networks import PULL_UP_OHM
from subwright.stages.protection_records import (
    HoldOff,
    LampCurrents,
    OverVoltageNetwork,
    ProtectionInput,
    ProtectionSpec,
    ReferenceSupply,
    ThermalNetwork,
    UnderVoltageNetwork,
)

__all__ = [
    "COMPARATOR_SUPPLY_A",
    "EMPTY_DRIVE_OHM",
    "EMPTY_OHM",
    "HALF_OHM",
    "HOLD_OHM",
    "INHIBIT_OHM",
    "LAMP_V",
    "LATCH_F",
    "LATCH_HOLD_OHM",
    "LATCH_OHM",
    "MUTE_OHM",
    "NOISE_F",
    "RUN_OHM",
    "Choices",
    "choose_parts",
    "choose_reference",
    "expected_window",
    "lamp_currents",
    "lamp_ohm",
    "output_sink_a",
    "settle_hold_off",
    "supply_reference",
]

RUN_OHM: Final = 470e3  # pull-up of the line that every tripped output pulls down; fills the hold-off
HOLD_OHM: Final = 10e3  # between that line and the hold-off's capacitor: a trip acts at once, past it
NOISE_F: Final = 1e-9  # on the run line: its diodes sit at the ends of long tracks; common practice
HALF_OHM: Final = 10e3  # each half of the divider that the line is compared with
INHIBIT_OHM: Final = 4.7e3  # pull-up of the inhibit output
MUTE_OHM: Final = 47e3  # base of the transistor that mutes: 80 µA for the 1.2 mA of the mute
LATCH_OHM: Final = 10e3  # each of a latch's two coupling resistors
LATCH_F: Final = 10e-9  # across the NPN's base: no edge at switch-on sets it
LATCH_HOLD_OHM: Final = 47e3  # base to emitter of each: no leakage sets it
EMPTY_OHM: Final = 22.0  # what the hold-off's capacitor is emptied through
EMPTY_DRIVE_OHM: Final = 2.2e3  # into each base of the pair that empties it
_EMPTY_LEAST_F: Final = 100e-9
_EMPTY_PER: Final = (
    25.0  # its own capacitor is a twenty-fifth of the hold-off's: the pulse outlasts the emptying
)
LAMP_V: Final = 1.8  # forward voltage of a red LED at 1 mA; common practice
_LAMP_LEAST_V: Final = 1.6  # red LEDs at 1 mA; common practice
_LAMP_MOST_V: Final = 2.1
_OUTPUT_MOST_V: Final = 0.2  # saturated output at some milliamperes
_OUTPUT_TYPICAL_V: Final = 0.1
_OUTPUT_LEAST_V: Final = 0.03
_DIODE_V: Final = 0.6
_HELD_DIODE_V: Final = 0.5  # at the ten microamperes of the run line's pull-up; common practice
_HELD_DIODE_LEAST_V: Final = 0.35  # hot
_HELD_DIODE_MOST_V: Final = 0.65  # cold
_SHUNT_DIVIDER_OHM: Final = 2.2e3  # small against the reference pin's current
_CONTROLLER_GOOD_ENOUGH: Final = 0.02
COMPARATOR_SUPPLY_A: Final = 2.5e-3  # quad 339 with its outputs low, largest (lm339, from memory)
_HEADROOM_SPARE_V: Final = 0.5
_ZENER_A: Final = 1e-3
_DUMP_SPARE: Final = 2.0  # a clamped load dump is about twice the highest steady voltage (iso-16750-2)
_FEED_SERIES: Final = "E12"
_FILM_TO_F: Final = 4.7e-6  # larger ones are electrolytic
_EMPTY_V: Final = 0.05  # a capacitor emptied by a saturated transistor


@dataclass(frozen=True, kw_only=True, slots=True)
class Choices:
    """Library parts of the protection circuit."""

    comparator: Comparator
    ntc: Ntc
    clamp: Zener
    shunt: Reference | None


def choose_parts(spec: ProtectionSpec, data: ProtectionInput, library: Library) -> Choices:
    """Comparator, thermistor, supply clamp and (where wanted) shunt reference.

    Drawer parts come first; then four comparators in one case before two, and the tighter thermistor.

    Raises
    ------
    PartNotFoundError : an id that is in neither drawer nor library.
    NoSolutionError : no part in the library serves.
    """

    def away(part_id: str) -> bool:
        return library.in_drawer(part_id) == 0

    comparators = [c for c in library.comparators.values() if c.open_collector]
    if spec.comparator != "auto":
        comparators = [library.comparator(spec.comparator)]
        if not comparators[0].open_collector:
            raise NoSolutionError(
                message="The protection circuit needs a comparator with open-collector outputs.",
                quantity="comparator",
                value=spec.comparator,
                remedy="Take a part of the 339 or 393 family.",
            )
    if not comparators:
        raise _none("open-collector comparator")
    comparator = min(comparators, key=lambda c: (away(c.id), -c.channels, c.vos_max_v, c.id))

    ntcs = [library.ntc(spec.ntc)] if spec.ntc != "auto" else list(library.ntcs.values())
    hottest_c = spec.thermal_trip_c + 10.0  # tolerance must not leave the table
    covering = [n for n in ntcs if not n.table or (n.table[0][0] <= 0.0 and n.table[-1][0] >= hottest_c)]
    if not covering:
        raise _none(f"thermistor whose table reaches {hottest_c:.0f} °C")
    ntc = min(covering, key=lambda n: (away(n.id), not n.table, n.r_tolerance + n.b_tolerance, n.id))

    least_v = data.controller_vref_v + comparator.input_headroom_v + _HEADROOM_SPARE_V
    clamps = [
        z
        for z in library.zeners.values()
        if z.vz_v * (1 + z.tolerance) <= comparator.supply_max_v and z.vz_v * (1 - z.tolerance) >= least_v
    ]
    if not clamps:
        raise _none(f"zener diode from {least_v:.1f} V to {comparator.supply_max_v:.0f} V")
    clamp = min(clamps, key=lambda z: (away(z.id), z.power_w < 1.0, abs(z.vz_v - 12.0), z.id))

    shunt = None
    if _wants_shunt(spec, data):
        if spec.shunt_reference != "auto":
            shunt = library.reference(spec.shunt_reference)
        elif library.references:
            shunt = min(
                library.references.values(),
                key=lambda r: (away(r.id) or r.tolerance > 0.01, abs(r.tolerance - 0.01), r.id),
            )
        else:
            raise _none("shunt reference")
    return Choices(comparator=comparator, ntc=ntc, clamp=clamp, shunt=shunt)


def _wants_shunt(spec: ProtectionSpec, data: ProtectionInput) -> bool:
    if spec.reference == "controller" and data.stops == "amplifier":
        raise NoSolutionError(
            message="There is no controller whose reference could be borrowed.",
            quantity="protection.reference",
            value="controller",
            limit="an amplifier straight on the battery",
            remedy='Set protection.reference = "shunt" or "auto".',
        )
    poor = data.controller_vref_tolerance > _CONTROLLER_GOOD_ENOUGH
    return spec.reference == "shunt" or (spec.reference == "auto" and poor)


def _none(what: str) -> NoSolutionError:
    return NoSolutionError(
        message=f"Neither drawer nor library has a suitable {what}.",
        quantity=what,
        remedy="Add one to your drawer file with the values from its sheet.",
    )


def choose_reference(data: ProtectionInput, shunt: Reference | None) -> ReferenceModel:
    """Reference as the thresholds see it: about 5 V from the controller or from a shunt and two resistors."""
    if shunt is None:
        return ReferenceModel(
            kind="controller",
            controller_v=data.controller_vref_v,
            controller_tolerance=data.controller_vref_tolerance,
        )
    ratio = max(0.0, 5.0 / shunt.vref_v - 1.0)
    upper = nearest(ratio * _SHUNT_DIVIDER_OHM, "E24")
    return ReferenceModel(kind="shunt", shunt=shunt, upper_ohm=upper, lower_ohm=_SHUNT_DIVIDER_OHM)


def expected_window(reference: ReferenceModel, tolerance: float, typical_v: float) -> float:
    """Worst-case relative shift to expect of a voltage threshold near ``typical_v`` (V), before its design.

    Reference at its limit plus 2 t (1 - k) of a divider of that ratio (the divider's worst case).
    """
    parameters = reference.parameters(tolerance)
    case = Case(results=("reference",), parameters=parameters, function=lambda x: (reference.volts(x),))
    low, high = worst_case(case.model, parameters)
    nominal = reference.nominal_v()
    spread = max(float(high[0]) / nominal - 1.0, 1.0 - float(low[0]) / nominal)
    return spread + 2 * (tolerance + 0.004) * (1 - nominal / typical_v)


def lamp_ohm(reference_v: float, lamp_a: float) -> float:
    """Series resistor of a status lamp, Ω, a preferred value that doesn't exceed the wanted current."""
    return at_least((reference_v - LAMP_V) / lamp_a, "E12")


def lamp_currents(reference: ReferenceSupply, resistor_ohm: float) -> LampCurrents:
    """Current of a lit lamp with reference, resistor, LED and output at their limits, A."""
    return LampCurrents(
        low_a=(reference.low_v - _LAMP_MOST_V - _OUTPUT_MOST_V) / (1.05 * resistor_ohm),
        nominal_a=(reference.nominal_v - LAMP_V) / resistor_ohm,
        high_a=(reference.high_v - _LAMP_LEAST_V) / (0.95 * resistor_ohm),
    )


def settle_hold_off(
    wanted_s: float, reference_v: float, bias_a: tuple[float, float], emptied: bool
) -> HoldOff:
    """Capacitor that the run line's pull-up fills past the half reference in about the wanted time.

    While a trip holds the line down, line and capacitor stand a diode and a saturated output above ground.
    The line runs ahead of the capacitor by the drop of the resistor between them:
    ``t = (R + r) C ln((E - V0)/(E - Vh))`` with ``Vh = V/2 - (E - V/2) r/R`` and ``E = V + Ib (R + r)``.
    [derived]

    Parameters
    ----------
    wanted_s : s. reference_v : V. bias_a : of the comparator, typical and largest, A; it flows into the line.
    emptied : whether a transistor empties the capacitor at every trip, however short.
    """
    through = RUN_OHM + HOLD_OHM

    def decays(standing_v: float, bias: float) -> float:
        end = reference_v + bias * through
        half = 0.5 * reference_v
        return log((end - standing_v) / (end - half + (end - half) * HOLD_OHM / RUN_OHM))

    typical = decays(_HELD_DIODE_V + _OUTPUT_TYPICAL_V, bias_a[0])
    capacitor = at_least(wanted_s / (through * typical), "E6")
    spread = 0.1 if capacitor <= _FILM_TO_F else 0.2
    constant = capacitor * through
    lowest = _EMPTY_V if emptied else _HELD_DIODE_LEAST_V + _OUTPUT_LEAST_V
    return HoldOff(
        capacitor_f=capacitor,
        nominal_s=constant * typical,
        low_s=0.95 * (1.0 - spread) * constant * decays(_HELD_DIODE_MOST_V + _OUTPUT_MOST_V, bias_a[1]),
        high_s=1.05 * (1.0 + spread) * constant * decays(lowest, 0.0),
        emptied=emptied,
        couple_f=at_least(max(_EMPTY_LEAST_F, capacitor / _EMPTY_PER), "E6") if emptied else 0.0,
        short_s=constant * decays(_EMPTY_V, bias_a[0]) if emptied else 0.0,
    )


def output_sink_a(reference_v: float, lamp_resistor_ohm: float) -> float:
    """Current that one output sinks when it has tripped, A: pull-up, lamp and the common line."""
    return (
        reference_v / PULL_UP_OHM
        + (reference_v - LAMP_V) / lamp_resistor_ohm
        + (reference_v - _DIODE_V) / RUN_OHM
    )


def supply_reference(
    model: ReferenceModel,
    choices: Choices,
    data: ProtectionInput,
    under: UnderVoltageNetwork,
    over: OverVoltageNetwork,
    thermal: ThermalNetwork,
    trip_low_v: float,
    highest_v: float,
    sink_a: float,
    tolerance: float,
    tripped: int = 2,
    latches: int = 0,
) -> ReferenceSupply:
    """Feed of reference and comparator, from the lowest trip up to the highest battery voltage.

    Parameters
    ----------
    model, choices : reference and parts. data : corners. under, over, thermal : the loads on the reference.
    trip_low_v : lowest under-voltage trip, V: the circuit must be right down to there.
    highest_v : highest over-voltage trip, V. sink_a : current of one tripped output, A.
    tolerance : of the resistors, fraction. tripped : outputs that may be low at once;
        under- and over-voltage exclude each other. latches : that may be set at once.

    Raises
    ------
    NoSolutionError : the lowest trip leaves too little voltage for the comparator or the reference.
    """
    volts = model.nominal_v()
    parameters = model.parameters(tolerance)
    case = Case(results=("reference",), parameters=parameters, function=lambda x: (model.volts(x),))
    low, high = worst_case(case.model, parameters)
    load = (
        tripped * sink_a
        + latches * 2.0 * volts / LATCH_OHM
        + volts / INHIBIT_OHM
        + volts / (2 * HALF_OHM)
        + volts / (1.5 * (thermal.series_ohm + thermal.trimmer_set_ohm))
        + volts / (thermal.upper_ohm + thermal.lower_ohm)
        + volts / (over.reference_ohm + over.feedback_ohm)
        + volts / (under.feedback_ohm + under.pullup_ohm)
    )
    limit, feed, feed_w = data.reference_limit_a, None, 0.0
    if model.shunt is not None:
        own = volts / (model.upper_ohm + model.lower_ohm)
        spare = trip_low_v - float(high[0])
        if spare <= 0:
            raise NoSolutionError(
                message="The under-voltage trip lies below the reference.",
                quantity="under-voltage trip",
                value=show(trip_low_v, "voltage"),
                limit=show(float(high[0]), "voltage"),
                remedy="Raise the under-voltage trip.",
            )
        feed = at_most(spare / (load + own + model.shunt.i_min_a), _FEED_SERIES)
        feed_w = (highest_v - volts) ** 2 / feed
        limit = spare / feed - own - model.shunt.i_min_a

    comparator, clamp = choices.comparator, choices.clamp
    least = float(high[0]) + comparator.input_headroom_v
    wanted = least + _HEADROOM_SPARE_V
    if trip_low_v >= clamp.vz_v + 3.0:
        series = float(zener_series_ohm(trip_low_v, clamp.vz_v, COMPARATOR_SUPPLY_A, _ZENER_A))
    elif trip_low_v > wanted:
        series = (trip_low_v - wanted) / COMPARATOR_SUPPLY_A
    else:
        raise NoSolutionError(
            message="The under-voltage trip leaves the comparator too little supply.",
            quantity="under-voltage trip",
            value=show(trip_low_v, "voltage", 5),
            limit=show(wanted, "voltage", 5),
            source=comparator.provenance.document,
            remedy="Raise the under-voltage trip or use a reference of a lower voltage.",
        )
    # No more than the clamp needs: what drops here also blinds the comparators sooner as the battery falls.
    clamp_low_v = clamp.vz_v * (1 - clamp.tolerance)
    over_v = max(_DUMP_SPARE * highest_v - clamp_low_v, 1.0)
    series = min(
        at_most(series, _FEED_SERIES), at_least(over_v * clamp.vz_v / (0.5 * clamp.power_w), _FEED_SERIES)
    )
    shunt = zener_shunt(highest_v, clamp.vz_v * (1 - clamp.tolerance), series, COMPARATOR_SUPPLY_A)
    lowest_supply = min(trip_low_v - series * COMPARATOR_SUPPLY_A, clamp.vz_v * (1 - clamp.tolerance))
    return ReferenceSupply(
        kind=model.kind,
        part_id=model.shunt.id if model.shunt else "controller",
        nominal_v=volts,
        low_v=float(low[0]),
        high_v=float(high[0]),
        upper_ohm=model.upper_ohm if model.shunt else None,
        lower_ohm=model.lower_ohm if model.shunt else None,
        feed_ohm=feed,
        feed_w=feed_w,
        load_a=load,
        limit_a=limit,
        comparator_ohm=series,
        comparator_w=shunt.resistor_w,
        clamp_id=clamp.id,
        clamp_v=clamp.vz_v,
        clamp_low_v=clamp_low_v,
        clamp_w=shunt.zener_w,
        clamp_limit_w=clamp.power_w,
        comparator_low_v=lowest_supply,
        comparator_low_limit_v=least,
        comparator_high_v=min(highest_v, clamp.vz_v * (1 + clamp.tolerance)),
        comparator_high_limit_v=comparator.supply_max_v,
        range_lost_v=_range_lost_v(under, volts, comparator, series),
    )


def _range_lost_v(
    network: UnderVoltageNetwork, reference_v: float, comparator: Comparator, series_ohm: float
) -> float:
    """Battery voltage below which sense node and reference both leave the comparator's input range, V.

    The node follows the battery through the divider with the output low; the range ends at the supply less
    its headroom. Below that a classic 339 pulls low and a re-designed die may not (ti-lm2901-range).
    """
    top = 2 * network.upper_each_ohm
    share = 1.0 / (1.0 + top / network.lower_all_ohm + top / network.feedback_ohm)
    margin = comparator.input_headroom_v + series_ohm * COMPARATOR_SUPPLY_A
    node_meets_range = margin / (1.0 - share)
    reference_leaves = reference_v + margin
    return min(node_meets_range, reference_leaves)
