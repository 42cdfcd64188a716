"""Under-voltage, over-voltage and thermal shut-down with hysteresis, in real resistor values.

Three comparators of a quad open-collector package each watch one quantity against one reference of about
5 V, have their own pull-up and feedback, and pull their output low when they trip. A diode from each output
pulls the common run line down; the fourth comparator turns that into an inhibit signal, high when tripped,
for the controller's shut-down input. A lamp from the reference to each output shows which one tripped.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.stages.common import Contributor, Corner, Loss, PartUse, remembered
from subwright.stages.protection_bill import Circuit, protection_parts
from subwright.stages.protection_burst import settle_chatter
from subwright.stages.protection_cranking import cranking_rides
from subwright.stages.protection_current import design_over_current
from subwright.stages.protection_inputs import input_ranges
from subwright.stages.protection_models import (
    ReferenceModel,
    saturation,
)
from subwright.stages.protection_records import (
    Chatter,
    CrankingRide,
    HoldOff,
    InputRange,
    LampCurrents,
    OrderCheck,
    OverCurrentTrip,
    OverVoltageNetwork,
    ProtectionInput,
    ProtectionSpec,
    ReferenceSupply,
    ThermalNetwork,
    Threshold,
    ToleranceWindow,
    TrimmerRange,
    UnderVoltageNetwork,
)
from subwright.stages.protection_reference import (
    COMPARATOR_SUPPLY_A,
    INHIBIT_OHM,
    LAMP_V,
    RUN_OHM,
    choose_parts,
    choose_reference,
    expected_window,
    lamp_currents,
    lamp_ohm,
    output_sink_a,
    settle_hold_off,
    supply_reference,
)
from subwright.stages.protection_settled import NetworkWish, settle_networks
from subwright.stages.protection_targets import Targets, choose_targets
from subwright.stages.protection_upgrade import Advice
from subwright.stages.protection_values import ValueStocks, value_reasons
from subwright.stages.protection_windows import order_checks

__all__ = [
    "Chatter",
    "OrderCheck",
    "OverVoltageNetwork",
    "ProtectionInput",
    "ProtectionResult",
    "ProtectionSpec",
    "ReferenceSupply",
    "ThermalNetwork",
    "Threshold",
    "ToleranceWindow",
    "TrimmerRange",
    "UnderVoltageNetwork",
    "design_protection",
]

_SOURCES: Final = (
    "ti-an74",
    "adi-adcmp391",
    "lm339",
    "ti-lm2901-range",
    "tcr-note",
    "gum2008",
    "gum101",
    "iec-60063",
    "iec-60539",
    "common-practice",
    "derived",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ProtectionResult:
    """The protection circuit as built.

    Attributes
    ----------
    thresholds : by name: under-voltage, over-voltage and thermal, trip and release of each.
    hysteresis : by protection name, in V or K, with windows like a threshold's.
    under_voltage, over_voltage, thermal : networks with their resistors, Ω and F.
    reference : voltage, load and feed of the reference and the comparator's supply.
    comparator, ntc : part ids.
    lamp_ohm, lamp_a : status lamp resistor and current.
    run_ohm, inhibit_ohm : pull-up of the common run line (also each half of the divider that the fourth
        comparator compares it with), and of the inhibit output, Ω.
    sink_a, sink_limit_a : of a tripped output, A.
    chatter : hysteresis against the battery's own recovery.
    cranking : what it does at each level of the starting profile; empty where no standard sets any.
    order : pairs of figures whose order matters, each with its limit.
    over_current, amplifier_current : networks of the battery's and the amplifier's over-current trips; None
        where not fitted.
    hold_off : capacitor on the run line that keeps it off after the last trip has cleared.
    lamp_currents : of a status lamp over all parts. lamps : protections that have one.
    isolating_link : whether a jumper isolates the protections for bring-up.
    stops : what a trip stops: the controller, or by its mute the amplifier where there is no controller.
    advice : per protection, what 5 % resistors cost and which two are worth buying at 1 %; worked
        out when it is first looked at.
    trimmers : of the trips that have one, with what they reach.
    inputs : of every comparator at every corner, against their range.
    """

    thresholds: Mapping[str, Threshold]
    hysteresis: Mapping[str, Threshold]
    under_voltage: UnderVoltageNetwork
    over_voltage: OverVoltageNetwork
    thermal: ThermalNetwork
    reference: ReferenceSupply
    comparator: str
    ntc: str
    lamp_ohm: float
    lamp_a: float
    run_ohm: float
    inhibit_ohm: float
    sink_a: float
    sink_limit_a: float
    chatter: Chatter
    cranking: tuple[CrankingRide, ...]
    order: tuple[OrderCheck, ...]
    over_current: OverCurrentTrip | None
    amplifier_current: OverCurrentTrip | None
    hold_off: HoldOff
    lamp_currents: LampCurrents
    lamps: tuple[str, ...]
    isolating_link: bool
    stops: Literal["controller", "amplifier"]
    advice: Advice
    trimmers: tuple[TrimmerRange, ...]
    inputs: tuple[InputRange, ...]
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]


@remembered
def design_protection(spec: ProtectionSpec, data: ProtectionInput, library: Library) -> ProtectionResult:
    """Design the protection circuit.

    Parameters
    ----------
    spec : the builder's wishes. data : battery corners, source resistance and load step.
    library : parts with the drawer merged.

    Returns
    -------
    The circuit with its windows over tolerance.

    Raises
    ------
    RangeError : a release on the wrong side of its trip, or a temperature outside the thermistor's table.
    NoSolutionError : no preferred values or no part serves.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    choices = choose_parts(spec, data, library)
    model = choose_reference(data, choices.shunt)
    volts = model.nominal_v()
    tolerance = spec.resistor_tolerance
    stocks = ValueStocks(library=library, series=spec.resistor_series, tolerance=tolerance)
    expected = expected_window(model, tolerance, data.corners[Corner.NOMINAL])
    targets = choose_targets(spec, data, expected)
    soft_start_s = data.restart_s
    trips = [t for t in (spec.over_current, spec.amplifier_current) if t != "none"]
    bias = (choices.comparator.ib_a, choices.comparator.ib_max_a)
    hold_off = settle_hold_off(spec.hold_off_s, volts, bias, emptied=bool(trips))
    data = replace(data, restart_s=soft_start_s + hold_off.nominal_s)
    resistor = lamp_ohm(volts, spec.lamp_a)
    sink = output_sink_a(volts, resistor)

    made = settle_networks(
        NetworkWish(
            targets=targets,
            reference=model,
            comparator=choices.comparator,
            ntc=choices.ntc,
            library=library,
            series=spec.resistor_series,
            tolerance=tolerance,
            sink_a=sink,
            sense_filter_s=spec.sense_filter_s,
            trimmer=spec.trimmer,
            thermal_trimmer=spec.thermal_trimmer,
            draws=data.draws,
            seed=data.seed,
        )
    )
    under, over, thermal = made.under, made.over, made.thermal
    thresholds, hysteresis = made.thresholds, made.hysteresis
    under_trip = thresholds["under-voltage trip"]
    highest = thresholds["over-voltage trip"].window.worst_high
    reference = supply_reference(
        model,
        choices,
        data,
        under,
        over,
        thermal,
        under_trip.window.worst_low,
        highest,
        sink,
        tolerance,
        2 + len(trips),
        len(trips) if spec.over_current_after == "latch" else 0,
    )
    chatter = settle_chatter(
        data,
        under,
        volts,
        saturation(choices.comparator, sink).nominal,
        choices.comparator.ib_a,
        under_trip,
        hysteresis["under-voltage"],
    )
    current = None
    if spec.over_current != "none" and data.current is not None:
        current = design_over_current(
            spec.over_current,
            spec.over_current_trip_a,
            spec.over_current_filter_s,
            spec.over_current_after,
            data.current,
            model,
            choices.comparator,
            tolerance,
        )
    output = None
    if spec.amplifier_current != "none" and data.output_current is not None:
        output = design_over_current(
            spec.amplifier_current,
            spec.amplifier_current_trip_a,
            spec.over_current_filter_s,
            spec.over_current_after,
            data.output_current,
            model,
            choices.comparator,
            tolerance,
        )
    circuit = Circuit(
        under=under,
        over=over,
        thermal=thermal,
        supply=reference,
        choices=choices,
        lamp_ohm=resistor,
        sink_a=sink,
        highest_v=highest,
        tolerance=tolerance,
        current=current,
        output=output,
        hold_off=hold_off,
        link=spec.isolating_link,
        mutes=data.stops == "amplifier",
    )
    return ProtectionResult(
        thresholds=thresholds,
        hysteresis=hysteresis,
        under_voltage=under,
        over_voltage=over,
        thermal=thermal,
        reference=reference,
        comparator=choices.comparator.id,
        ntc=choices.ntc.id,
        lamp_ohm=resistor,
        lamp_a=(volts - LAMP_V) / resistor,
        run_ohm=RUN_OHM,
        inhibit_ohm=INHIBIT_OHM,
        sink_a=sink,
        sink_limit_a=choices.comparator.sink_a,
        chatter=chatter,
        over_current=current,
        amplifier_current=output,
        hold_off=hold_off,
        lamp_currents=lamp_currents(reference, resistor),
        lamps=("under-voltage", "over-voltage", "thermal", *_extra_lamps(current, output)),
        isolating_link=spec.isolating_link,
        stops=data.stops,
        cranking=cranking_rides(data, under, thresholds, hold_off, soft_start_s),
        order=order_checks(thresholds, hysteresis, chatter, data),
        advice=made.advice,
        trimmers=made.trimmers,
        inputs=input_ranges(
            data.corners,
            reference,
            choices.comparator,
            under,
            over,
            thermal,
            {"over-current": current, "amplifier over-current": output},
        ),
        parts=protection_parts(circuit, stocks),
        losses=(_loss(reference, data),),
        contributors=made.contributors,
        sources=_SOURCES + (("tl431",) if model.shunt else ()) + (("b57330",) if choices.ntc.table else ()),
        reasons=(
            *_reasons(data, targets, model, reference, chatter, thermal),
            *value_reasons(stocks, under, over, thermal, thresholds),
        ),
    )


def _extra_lamps(current: OverCurrentTrip | None, output: OverCurrentTrip | None) -> tuple[str, ...]:
    """Names of the over-current trips that are fitted."""
    names = (("over-current", current), ("amplifier over-current", output))
    return tuple(name for name, trip in names if trip is not None)


def _loss(reference: ReferenceSupply, data: ProtectionInput) -> Loss:
    """Standing heat at the nominal corner: comparator supply and reference feed."""
    volts = data.corners[Corner.NOMINAL]
    current = COMPARATOR_SUPPLY_A
    if reference.feed_ohm is not None:
        current += max(0.0, volts - reference.nominal_v) / reference.feed_ohm
    watts = volts * current
    return Loss(where="protection circuit", full_w=watts, programme_w=watts, idle_w=watts)


def _reasons(
    data: ProtectionInput,
    targets: Targets,
    model: ReferenceModel,
    reference: ReferenceSupply,
    chatter: Chatter,
    thermal: ThermalNetwork,
) -> tuple[str, ...]:
    def volts(value: float) -> str:
        return show(value, "voltage")

    lines = [
        f"Under-voltage trip {volts(targets.under_trip.value)}: {targets.under_trip.reason}.",
        f"Under-voltage release {volts(targets.under_release.value)}: {targets.under_release.reason}.",
        f"Over-voltage trip {volts(targets.over_trip.value)}: {targets.over_trip.reason}.",
        f"Over-voltage release {volts(targets.over_release.value)}: {targets.over_release.reason}.",
        f"Thermal trip {targets.thermal_trip.value:.0f} °C: {targets.thermal_trip.reason}.",
        f"Thermal release {targets.thermal_release.value:.0f} °C: {targets.thermal_release.reason}.",
    ]
    if model.kind == "shunt":
        lines.append(
            f"Reference: a shunt {reference.part_id} with its two resistors stays within "
            f"{volts(reference.low_v)} to {volts(reference.high_v)}; "
            + (
                "there is no controller whose reference it could borrow."
                if data.stops == "amplifier"
                else "the controller's own reference is only good to "
                f"{100 * data.controller_vref_tolerance:.0f} %, which would widen every voltage window."
            )
        )
    else:
        lines.append(
            f"Reference: the controller's own {volts(reference.nominal_v)}, "
            f"±{100 * data.controller_vref_tolerance:.0f} %; no extra parts."
        )
    lines.append(
        f"Dropping the load lifts the battery by {volts(chatter.drop_v)}, on crests up to "
        f"{volts(chatter.need_v)} after the sense filter; the least hysteresis over all tolerances is "
        f"{volts(chatter.hysteresis_worst_v)}, so it "
        + ("can't undo its own trip." if chatter.margin_v >= 0 else "can chatter on bass hits.")
    )
    lines.append(
        f"The thermistor warms itself by {thermal.self_heating_k:.1f} K at the trip; the trip is stated for "
        "the heatsink. An open thermistor reads as cold: check its level at bring-up, and fix it so that it "
        "can't fall off."
    )
    lines.append(
        f"Below {volts(reference.range_lost_v)} both inputs of the under-voltage comparator leave its range: "
        "a classic 339 then pulls low and keeps the unit off, a re-designed B die may not, so the "
        + ("controller's own lockout" if data.stops == "controller" else "amplifier's own lockout")
        + " must hold it off there."
    )
    if data.stops == "amplifier":
        lines.append(
            "There is no converter to stop: a trip pulls the amplifier's mute low. Its idle current goes on "
            "until the remote line switches off."
        )
    return tuple(lines)
