"""The amplifier's parts list, and in plain sentences what was chosen and why."""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier_driving import driving_uses
from subwright.stages.amplifier_inductor import WoundInductor
from subwright.stages.amplifier_parts import FilterChoice, InputBank, OutputChoice
from subwright.stages.amplifier_rails_bill import rail_sentences, rail_uses
from subwright.stages.amplifier_spec import AmplifierResult, AmplifierSpec, BatteryCeiling
from subwright.stages.amplifier_supply_capacitors import supply_capacitor_uses
from subwright.stages.amplifier_voltage_stage_bill import stage_sentences, voltage_stage_uses
from subwright.stages.common import Corner, PartUse, Rating

__all__ = ["amplifier_parts", "amplifier_reasons", "ceiling_sentences"]

_NAMES = {
    "class_d_half_bridge": "Class D half-bridge on split rails",
    "class_d_full_bridge": "Class D full bridge between split rails",
    "class_ab": "Class AB on split rails",
    "class_g": "Class G on two pairs of rails",
    "bridge_class_d": "Class D bridge straight from the battery",
    "bridge_class_h": "Class H bridge from the battery, rail lifted over the crests",
    "bridge_class_ab": "Class AB bridge straight from the battery",
}


def amplifier_parts(
    result: AmplifierResult,
    mosfet: Mosfet | None,
    output: OutputChoice | None,
    leg: FilterChoice | None,
    bank: InputBank | None,
    library: Library,
    others: tuple[str, ...],
) -> tuple[PartUse, ...]:
    """Parts list of the power stage.

    Parameters
    ----------
    result : the stage's numbers. mosfet or output : the devices. leg : one leg's filter, class D.
    bank : input capacitors of a battery bridge. library : with the drawer merged.
    others : ids that would also do.

    Returns
    -------
    Parts, role unique in each.
    """
    parts: list[PartUse] = []
    if mosfet is not None:
        parts.append(_switch_use(result, mosfet, library, others))
    if output is not None:
        parts += _output_uses(result, output)
    if leg is not None:
        parts += _filter_uses(result, leg, library)
    if result.lift_count:
        part = library.capacitors[result.lift_capacitor_id]
        parts.append(
            PartUse(
                role="lifting capacitor",
                letter="C",
                part_id=part.id,
                description=f"{part.description}, {result.lift_count} in parallel for each leg",
                quantity=2 * result.lift_count,
                value=show(part.capacitance_f, "capacitance"),
                tolerance=part.tolerance,
                ratings=(_rating("voltage", "V", result.rail_expected_v, part.voltage_v, "highest battery"),),
                in_drawer=library.in_drawer(part.id) >= 2 * result.lift_count,
                provenance=part.provenance.document,
            )
        )
    parts += driving_uses(replace(result, parts=tuple(parts)), library)
    parts += supply_capacitor_uses(replace(result, parts=tuple(parts)))
    parts += voltage_stage_uses(result, library)
    parts += rail_uses(result, library)
    if bank is not None:
        part = bank.capacitor
        parts.append(
            PartUse(
                role="amplifier input capacitor",
                letter="C",
                part_id=part.id,
                description=part.description,
                quantity=bank.count,
                value=show(part.capacitance_f, "capacitance"),
                tolerance=part.tolerance,
                ratings=(
                    _rating("voltage", "V", result.rail_expected_v, part.voltage_v, "highest battery"),
                    _rating("ripple current", "A", result.rail_ripple_a, bank.ripple_limit_a, "full sine"),
                ),
                in_drawer=library.in_drawer(part.id) >= bank.count,
                provenance=part.provenance.document,
            )
        )
    return tuple(parts)


def _rating(quantity: str, unit: str, applied: float, limit: float, at: str) -> Rating:
    return Rating(quantity=quantity, unit=unit, applied=applied, limit=limit, at=at)


def _switch_use(
    result: AmplifierResult, mosfet: Mosfet, library: Library, others: tuple[str, ...]
) -> PartUse:
    return PartUse(
        role="output switch",
        letter="Q",
        part_id=mosfet.id,
        description=mosfet.description,
        quantity=result.switch_count,
        ratings=(
            _rating(
                "drain-source voltage",
                "V",
                result.switch_voltage_v,
                mosfet.vds_v,
                _voltage_case(result),
            ),
            _rating(
                "drain current", "A", result.switch_peak_a, mosfet.id_a, "crest into the least impedance"
            ),
        ),
        in_drawer=library.in_drawer(mosfet.id) >= result.switch_count,
        substitutes=others,
        provenance=mosfet.provenance.document,
    )


def _voltage_case(result: AmplifierResult) -> str:
    if result.rails == "raised":
        return "highest raised rail"
    if result.from_battery:
        return "highest battery"
    return "highest battery, unloaded" + (", pumped" if result.pumping_v is not None else "")


def _output_uses(result: AmplifierResult, output: OutputChoice) -> list[PartUse]:
    stage = output.stage
    model = result.model
    legs = 1 if stage.form == "bridge chip" else model.legs
    sets = output.parallel * legs
    uses = [
        PartUse(
            role="output stage",
            letter="U" if stage.form != "pair" else "Q",
            part_id=stage.id,
            description=stage.description,
            quantity=sets,
            ratings=(
                _rating(
                    "supply voltage",
                    "V",
                    result.switch_voltage_v,
                    stage.supply_max_v,
                    "highest battery, unloaded",
                ),
                _rating(
                    "output current",
                    "A",
                    result.switch_peak_a,
                    result.switch_peak_limit_a,
                    "crest into the least impedance",
                ),
            ),
            substitutes=output.others,
            provenance=stage.provenance.document,
        )
    ]
    if stage.ballast_ohm > 0.0 and isinstance(model, ClassABModel):
        # Each transistor conducts half the cycle: a quarter of I² R.
        heat_w = 0.25 * (result.peak_least_a / output.parallel) ** 2 * stage.ballast_ohm
        rated_w = next(w for w in (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 20.0, 50.0) if w >= 2.0 * heat_w)
        uses.append(
            PartUse(
                role="emitter resistor",
                letter="R",
                part_id=code(stage.ballast_ohm, "resistance"),
                description=f"wire-wound resistor, {rated_w:g} W",
                quantity=2 * sets,
                value=show(stage.ballast_ohm, "resistance"),
                tolerance=0.05,
                ratings=(_rating("dissipation", "W", heat_w, rated_w, "full sine into the least impedance"),),
                provenance="preferred value, common practice",
            )
        )
    return uses


def _snubber_uses(result: AmplifierResult) -> list[PartUse]:
    if result.snubber_f is None or result.snubber_ohm is None:
        return []
    legs, bus_v = result.model.legs, float(result.model.bus_v(result.rail_expected_v))
    rated_w = next((w for w in (0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0) if w >= 2.0 * result.snubber_w), 17.0)
    rated_v = next((v for v in (100.0, 200.0, 500.0, 630.0) if v >= 1.25 * bus_v), 1000.0)
    return [
        PartUse(
            role="output snubber capacitor",
            letter="C",
            part_id=code(result.snubber_f, "capacitance"),
            description=f"C0G ceramic or film capacitor, {rated_v:g} V",
            quantity=legs,
            value=show(result.snubber_f, "capacitance"),
            tolerance=0.10,
            ratings=(_rating("voltage", "V", bus_v, rated_v, "highest battery"),),
            provenance="preferred value",
        ),
        PartUse(
            role="output snubber resistor",
            letter="R",
            part_id=code(result.snubber_ohm, "resistance"),
            description=f"resistor {rated_w:g} W, low inductance",
            quantity=legs,
            value=show(result.snubber_ohm, "resistance"),
            tolerance=0.05,
            ratings=(_rating("dissipation", "W", result.snubber_w, rated_w, "idle, highest battery"),),
            provenance="preferred value",
        ),
    ]


def _inductor_uses(result: AmplifierResult, leg: FilterChoice, library: Library) -> list[PartUse]:
    legs, wound = result.model.legs, result.inductor
    if wound is None:
        return [_bought_inductor(result, leg)]
    core, wire = library.core(wound.core_id), library.wires[wound.wire_id]
    return [
        PartUse(
            role="output inductor core",
            letter="L",
            part_id=core.id,
            description=f"{core.description}, {_gap_text(wound)}",
            quantity=legs,
            value=show(wound.inductance_h, "inductance"),
            tolerance=0.10,
            ratings=(
                _rating(
                    "peak flux density",
                    "T",
                    wound.flux_t,
                    1.05 * wound.flux_limit_t,
                    "crest into the least impedance, highest battery",
                ),
                _rating("copper share of the window", "", wound.fill, wound.fill_limit, "as wound"),
            ),
            in_drawer=wound.in_drawer,
            provenance=core.provenance.kind,
        ),
        PartUse(
            role="output inductor wire",
            letter="W",
            part_id=wire.id,
            description=f"{wire.description}, {wound.strands} strands in parallel, {wound.turns} turns",
            quantity=legs * wound.strands * wound.wire_m,
            unit="m",
            in_drawer=library.in_drawer(wire.id) > 0,
            provenance=wire.provenance.kind,
        ),
    ]


def _gap_text(wound: WoundInductor) -> str:
    if wound.gap_m == 0.0:
        return "no gap"
    return (
        f"gap {show(wound.gap_m, 'length')} in the centre leg, or {show(wound.spacer_m, 'length')} under "
        f"each "
        "outer leg"
    )


def _bought_inductor(result: AmplifierResult, leg: FilterChoice) -> PartUse:
    saturation_a = 1.2 * result.inductor_peak_a
    return PartUse(
        role="output inductor",
        letter="L",
        part_id=code(leg.inductance_h, "inductance"),
        description=(
            f"power inductor, saturates above {show(saturation_a, 'current')}, "
            f"at most {show(result.inductor_ohm, 'resistance')}"
        ),
        quantity=result.model.legs,
        value=show(leg.inductance_h, "inductance"),
        tolerance=0.10,
        ratings=(
            _rating(
                "peak current",
                "A",
                result.inductor_peak_a,
                saturation_a,
                "crest into the least impedance",
            ),
        ),
        provenance="preferred value",
    )


def _filter_uses(result: AmplifierResult, leg: FilterChoice, library: Library) -> list[PartUse]:
    legs = result.model.legs
    across_v = result.rail_expected_v
    film = _rating("voltage", "V", across_v, leg.capacitor_v, "output at the highest rail")
    return [
        *_inductor_uses(result, leg, library),
        *_snubber_uses(result),
        PartUse(
            role="filter capacitor",
            letter="C",
            part_id=code(leg.filter_f, "capacitance"),
            description=f"polypropylene film capacitor, {leg.capacitor_v:g} V",
            quantity=legs,
            value=show(leg.filter_f, "capacitance"),
            tolerance=0.10,
            ratings=(film,),
            provenance="preferred value",
        ),
        PartUse(
            role="filter damping capacitor",
            letter="C",
            part_id=code(leg.damping_f, "capacitance"),
            description=f"film capacitor, {leg.capacitor_v:g} V",
            quantity=legs,
            value=show(leg.damping_f, "capacitance"),
            tolerance=0.10,
            ratings=(film,),
            provenance="preferred value",
        ),
        PartUse(
            role="filter damping resistor",
            letter="R",
            part_id=code(leg.damping_ohm, "resistance"),
            description="metal oxide resistor, 3 W, low inductance",
            quantity=legs,
            value=show(leg.damping_ohm, "resistance"),
            tolerance=0.05,
            provenance="preferred value",
        ),
    ]


def ceiling_sentences(ceilings: tuple[BatteryCeiling, ...], load_ohm: float) -> tuple[str, ...]:
    """What the battery alone can do, and why printed figures differ.

    Parameters
    ----------
    ceilings : per corner. load_ohm : ohm.

    Returns
    -------
    Plain sentences.
    """
    by = {c.corner: c for c in ceilings}
    nominal, charging = by[Corner.NOMINAL], by[Corner.CHARGING]
    load = show(load_ohm, "resistance")
    lines = [
        f"A bridge from {nominal.supply_v:g} V into {load} can't pass {nominal.square_w:.0f} W even as a "
        f"square wave; an undistorted sine stops at half of that, {nominal.sine_w:.0f} W."
    ]
    if abs(nominal.supply_v - 12.0) < 0.01 and abs(load_ohm - 4.0) < 0.01:
        lines.append(
            "Builders count on about 30 W from a class-D bridge and 18 to 22 W from a class-AB bridge at "
            "12 V and 4 Ω (common practice, no source): figures for a charging battery, and partly clipped."
        )
    for name, at_nominal, at_charging, hard in (
        ("class D", nominal.class_d_sine_w, charging.class_d_sine_w, charging.class_d_square_w),
        ("class AB", nominal.class_ab_sine_w, charging.class_ab_sine_w, charging.class_ab_square_w),
    ):
        if at_nominal is None or at_charging is None or hard is None:
            continue
        lines.append(
            f"With its losses a {name} bridge gives a clean {at_nominal:.1f} W at {nominal.supply_v:g} V and "
            f"{at_charging:.1f} W at {charging.supply_v:g} V; driven into hard clipping there, {hard:.0f} W."
        )
    return tuple(lines)


def amplifier_reasons(spec: AmplifierSpec, result: AmplifierResult) -> tuple[str, ...]:
    """What was chosen and why.

    Parameters
    ----------
    spec : the builder's wishes. result : the stage's numbers.

    Returns
    -------
    Plain sentences.
    """
    nominal = next(c for c in result.ceilings if c.corner is Corner.NOMINAL)
    lines = [f"{_name(result)}{_why_kind(spec, result, nominal)}."]
    if result.rails == "raised":
        lines.append(
            f"It reaches {result.power_w:.1f} W into {show(result.load_ohm, 'resistance')} from a raised "
            "rail of "
            f"{show(result.rail_needed_v, 'voltage')}, at every battery that the boost converter can hold it "
            "from. Both loudspeaker leads are live: neither may touch ground."
        )
    elif result.from_battery:
        lines.append(
            f"It reaches {result.power_w:.1f} W into {show(result.load_ohm, 'resistance')} from the "
            f"{show(result.rail_needed_v, 'voltage')} that is left at its terminals."
        )
    else:
        lines.append(
            f"{result.power_w:.0f} W into {show(result.load_ohm, 'resistance')} needs a crest of "
            f"{show(result.peak_v, 'voltage')}, and rails of ±{show(result.rail_needed_v, 'voltage')} at "
            f"that instant; unloaded they may rise to ±{show(result.rail_max_v, 'voltage')}."
        )
    lines.append(
        f"{_count(result)} {result.switch_id}: {show(result.switch_voltage_v, 'voltage')} expected of "
        f"{show(result.switch_voltage_limit_v, 'voltage')}."
    )
    if (
        result.inductance_h is not None
        and result.filter_f is not None
        and result.filter_corner_hz is not None
    ):
        inductance, capacitance = (
            show(result.inductance_h, "inductance"),
            show(result.filter_f, "capacitance"),
        )
        if result.switching_least_hz < result.switching_hz:
            lines.append(
                f"Self-oscillating: {show(result.switching_hz, 'frequency')} at rest falls to "
                f"{show(result.switching_least_hz, 'frequency')} at the crest."
            )
        if result.inductor is not None:
            wound = result.inductor
            limit = show(wound.saturation_a, "current")
            crest = show(wound.peak_a, "current")
            soft = (
                f"Powder saturates softly: up to {limit} it keeps about 80 % of its inductance; crests reach "
                f"{crest}."
            )
            sharp = (
                f"It saturates above {limit}; crests reach {crest}. Fringing is an estimate: measure the "
                "inductance, and move the gap until it fits."
            )
            lines.append(
                f"Wind each output inductor on {wound.core_id}: {wound.turns} turns of {wound.strands} × "
                f"{wound.wire_id} in parallel, {_gap_text(wound)}. {sharp if wound.gap_m > 0.0 else soft}"
            )
        lines.append(
            f"Output filter {inductance} and "
            f"{capacitance}{' on each leg' if result.model.legs == 2 else ''}: "
            f"corner {show(result.filter_corner_hz, 'frequency')}, Q {result.filter_q:.2f} with the load; "
            "damped, because a voice coil is no load at that frequency."
        )
    if isinstance(result.model, ClassABModel) and result.reactive_share > 0.0:
        watts = result.reactive_peak_v * result.reactive_peak_a
        which = (
            "safe operating area at 85 °C case"
            if result.parts[0].letter == "Q"
            else ("heat that it may lose with its case at 100 °C")
        )
        lines.append(
            f"With the load up to 60° reactive one device meets {show(watts, 'power')} at "
            f"{show(result.reactive_peak_v, 'voltage')} and {show(result.reactive_peak_a, 'current')} for "
            f"some milliseconds of each bass cycle: {100.0 * result.reactive_share:.0f} % of its {which}. "
            "The curves are those for steady current: bass notes last too long for the pulsed ones."
        )
        if result.model.ballast_ohm > 0.0:
            lines.append(
                f"Bias: {show(result.model.bias_a, 'current')} a leg. Fix the bias transistor to the output "
                "devices' heatsink so that it tracks them (about 2 mV less per K and junction), turn its "
                "trimmer "
                "to the lowest bias before first power, and set it hot, by the drop across the emitter "
                "resistors."
            )
    lines += stage_sentences(result)
    lines += rail_sentences(result)
    if result.kind == "class_d_full_bridge":
        lines.append(
            "The bridge takes from both rails at once and pumps neither; both loudspeaker leads are live, "
            "and "
            "neither may touch ground."
        )
    if result.pumping_v is not None and result.rail_capacitance_f is not None:
        lines.append(
            "The half-bridge sends current back into the idle rail: "
            f"{show(result.rail_capacitance_f, 'capacitance')} on each rail keeps the rise to "
            f"{show(result.pumping_v, 'voltage')} at the lowest note."
        )
    if result.rails == "battery" or spec.kind == "auto":
        lines += ceiling_sentences(result.ceilings, result.load_ohm)
    return tuple(lines)


def _name(result: AmplifierResult) -> str:
    name = _NAMES[result.kind]
    return (
        name.split(" bridge")[0] + " bridge on the boost converter's rail"
        if result.rails == "raised"
        else name
    )


def _count(result: AmplifierResult) -> str:
    pairs = next((int(p.quantity) for p in result.parts if p.role == "output stage" and p.letter == "Q"), 0)
    if pairs:
        return "one pair" if pairs == 1 else f"{pairs} pairs"
    return f"{result.switch_count} ×"


def _why_kind(spec: AmplifierSpec, result: AmplifierResult, nominal: BatteryCeiling) -> str:
    if spec.kind != "auto":
        return ", as the build file asks"
    if result.kind == "class_d_full_bridge":
        return (
            ": no switch at hand stands the rails that a half-bridge would need; a bridge needs half of them"
        )
    if result.rails == "raised":
        return ": one raised rail asks for a bridge"
    if result.from_battery:
        return ": the battery alone reaches the power, so no converter is needed"
    if nominal.class_d_sine_w is None:
        return ": no switch at hand suits a bridge on this battery"
    return (
        f": {result.power_w:.0f} W is more than the {nominal.class_d_sine_w:.1f} W that a bridge gets from "
        f"{nominal.supply_v:g} V"
    )
