"""The converter's bill of materials: every real part with the stress on it."""

from __future__ import annotations

from math import ceil

from subwright.base.errors import NoSolutionError
from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating
from subwright.stages.converter_parts import CapacitorBank
from subwright.stages.converter_spec import ConverterDemand, ConverterPlan, ConverterSpec

__all__ = ["converter_parts"]


def converter_parts(
    spec: ConverterSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    library: Library,
    input_bank: CapacitorBank,
    reservoir_bank: CapacitorBank,
    *,
    input_ripple_a: float,
    reservoir_ripple_a: float,
    drain_peak_v: float,
    rail_open_v: float,
    snubber_ohm: float,
    snubber_f: float,
    snubber_w: float,
    gate_ohm: float,
    bleeder_ohm: float,
) -> tuple[PartUse, ...]:
    """Every part of the converter but the transformer, with ratings.

    Parameters
    ----------
    spec, demand, plan : the design so far. library : parts with the drawer merged.
    input_bank, reservoir_bank : the electrolytics. Keyword values : stresses in V, A and W, and the
        preferred values in ohm and F that the design settled on.

    Returns
    -------
    One record for each role.

    Raises
    ------
    NoSolutionError : a part that the circuit needs is in neither drawer nor library.
    """
    timing, mosfet, diode = plan.timing, plan.switch.mosfet, plan.rectifier.rectifier
    count = plan.switch.per_side
    highest = "highest battery"

    def at_hand(part_id: str) -> bool:
        return library.in_drawer(part_id) > 0

    def resistor(role: str, value: float, quantity: int, watts: float = 0.25) -> PartUse:
        return PartUse(
            role=role,
            letter="R",
            part_id=code(value, "resistance"),
            description=f"resistor {watts:g} W",
            quantity=quantity,
            value=show(value, "resistance"),
            tolerance=0.01 if watts <= 0.25 else 0.05,
            provenance="IEC 60063 preferred value",
        )

    def capacitor(role: str, value: float, quantity: int, kind: str, volts: float, tol: float) -> PartUse:
        return PartUse(
            role=role,
            letter="C",
            part_id=code(value, "capacitance"),
            description=f"{kind} {volts:g} V",
            quantity=quantity,
            value=show(value, "capacitance"),
            tolerance=tol,
            provenance="IEC 60063 preferred value",
        )

    uses = [
        PartUse(
            role="push-pull controller",
            letter="U",
            part_id=plan.controller.id,
            description=plan.controller.description,
            quantity=1,
            ratings=(
                Rating(
                    quantity="supply voltage",
                    unit="V",
                    applied=demand.emf_max_v,
                    limit=plan.controller.supply_max_v,
                    source=plan.controller.provenance.document,
                    at=highest,
                ),
            ),
            in_drawer=at_hand(plan.controller.id),
            provenance=plan.controller.provenance.kind,
        ),
        PartUse(
            role="push-pull switch",
            letter="Q",
            part_id=mosfet.id,
            description=mosfet.description,
            quantity=2 * count,
            ratings=(
                Rating(
                    quantity="drain-source voltage",
                    unit="V",
                    applied=drain_peak_v,
                    limit=mosfet.vds_v,
                    source=mosfet.provenance.document,
                    at=highest,
                ),
                Rating(
                    quantity="drain current, rms",
                    unit="A",
                    applied=plan.primary_rms_a / count,
                    limit=mosfet.id_a,
                    source=mosfet.provenance.document,
                    at="nominal, full sine",
                ),
            ),
            in_drawer=at_hand(mosfet.id),
            substitutes=plan.switch.candidates,
            provenance=mosfet.provenance.kind,
        ),
    ]
    reverse = Rating(
        quantity="reverse voltage with ringing",
        unit="V",
        applied=2 * rail_open_v * (1 + spec.ringing_allowance),
        limit=diode.vrrm_v,
        source=diode.provenance.document,
        at=highest,
    )
    forward = Rating(
        quantity="mean forward current of a leg",
        unit="A",
        applied=0.5 * demand.rail_mean_a,
        limit=diode.if_a,
        source=diode.provenance.document,
        at="nominal, full sine",
    )
    partner = plan.rectifier.partner
    uses.append(
        PartUse(
            role="rail rectifier",
            letter="D",
            part_id=diode.id,
            description=diode.description,
            quantity=1 if partner is not None else plan.rectifier.packages,
            ratings=(reverse, forward),
            in_drawer=at_hand(diode.id),
            substitutes=plan.rectifier.candidates,
            provenance=diode.provenance.kind,
        )
    )
    if partner is not None:
        uses.append(
            PartUse(
                role="rail rectifier, negative side",
                letter="D",
                part_id=partner.id,
                description=partner.description,
                quantity=1,
                ratings=(
                    Rating(
                        quantity=reverse.quantity,
                        unit="V",
                        applied=reverse.applied,
                        limit=partner.vrrm_v,
                        source=partner.provenance.document,
                        at=highest,
                    ),
                ),
                in_drawer=at_hand(partner.id),
                provenance=partner.provenance.kind,
            )
        )
    for role, bank, volts, ripple, number in (
        ("input capacitor", input_bank, demand.emf_max_v, input_ripple_a, input_bank.count),
        ("rail capacitor", reservoir_bank, rail_open_v, reservoir_ripple_a, 2 * reservoir_bank.count),
    ):
        can = bank.capacitor
        uses.append(
            PartUse(
                role=role,
                letter="C",
                part_id=can.id,
                description=can.description,
                quantity=number,
                value=show(can.capacitance_f, "capacitance"),
                tolerance=can.tolerance,
                ratings=(
                    Rating(
                        quantity="voltage",
                        unit="V",
                        applied=volts,
                        limit=can.voltage_v,
                        source=can.provenance.document,
                        at=highest,
                    ),
                    Rating(
                        quantity="ripple current, rms",
                        unit="A",
                        applied=ripple / bank.count,
                        limit=can.ripple_a or float("inf"),
                        source=can.provenance.document,
                        at="nominal, full sine",
                    ),
                ),
                in_drawer=library.in_drawer(can.id) >= number,
                substitutes=bank.candidates,
                provenance=can.provenance.kind,
            )
        )
    snubber_each_w = snubber_w / 2
    uses += [
        resistor("timing resistor", timing.rt_ohm, 1),
        capacitor("timing capacitor", timing.ct_f, 1, "film or C0G capacitor", 50, 0.05),
        capacitor("soft-start capacitor", timing.soft_start_f, 1, "electrolytic", 16, 0.2),
        resistor("gate resistor", gate_ohm, 2 * count),
        resistor("gate pull-down", 10e3, 2 * count),
        resistor("snubber resistor", snubber_ohm, 2, max(1.0, ceil(2 * snubber_each_w))),
        capacitor(
            "snubber capacitor",
            snubber_f,
            2,
            "film or C0G capacitor",
            100 if demand.emf_max_v < 20 else 250,
            0.1,
        ),
        resistor("rail bleeder", bleeder_ohm, 2, max(1.0, ceil(2 * rail_open_v**2 / bleeder_ohm))),
    ]
    if timing.rd_ohm > 0:
        uses.append(resistor("discharge resistor", timing.rd_ohm, 1))
    if timing.divider_top_ohm > 0:
        uses.append(resistor("dead-time divider, top", timing.divider_top_ohm, 1))
        uses.append(resistor("dead-time divider, bottom", timing.divider_bottom_ohm, 1))
    if plan.buffered:
        for polarity in ("npn", "pnp"):
            transistor = next(
                (
                    t
                    for t in sorted(library.transistors.values(), key=lambda t: (not at_hand(t.id), t.id))
                    if t.polarity == polarity and t.ic_a >= 1.0 and t.vceo_v >= demand.emf_max_v * 1.2
                ),
                None,
            )
            if transistor is None:
                raise NoSolutionError(
                    message=f"No {polarity.upper()} transistor for the gate buffers.",
                    quantity="collector current",
                    value="1 A",
                    limit="none in the library or drawer",
                    source="parts library and drawer",
                    remedy="Add one to the drawer, or choose a controller with stronger outputs.",
                )
            uses.append(
                PartUse(
                    role=f"gate buffer, {polarity.upper()}",
                    letter="Q",
                    part_id=transistor.id,
                    description=transistor.description,
                    quantity=2,
                    ratings=(
                        Rating(
                            quantity="collector-emitter voltage",
                            unit="V",
                            applied=demand.emf_max_v,
                            limit=transistor.vceo_v,
                            source=transistor.provenance.document,
                            at=highest,
                        ),
                    ),
                    in_drawer=at_hand(transistor.id),
                    provenance=transistor.provenance.kind,
                )
            )
    return tuple(uses)
