"""The converter's bill of materials: every real part with the stress on it."""

from __future__ import annotations

from typing import Final

from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating
from subwright.stages.converter_bill_lines import bank_line, capacitor_line, resistor_line
from subwright.stages.converter_bill_supply import magnetic_parts, supply_parts
from subwright.stages.converter_clamp import power_rating_w
from subwright.stages.converter_controller import controller_parts
from subwright.stages.converter_result import ConverterResult
from subwright.stages.converter_spec import ConverterDemand, ConverterSpec

__all__ = ["GATE_PULL_OHM", "TURN_OFF_OHM", "converter_parts"]

GATE_PULL_OHM: Final = 10e3
TURN_OFF_OHM: Final = 220.0  # bypasses the diode that leads the gate up
_SIDES: Final = 2  # of the controller, each with a driver


def converter_parts(
    spec: ConverterSpec, demand: ConverterDemand, result: ConverterResult, library: Library
) -> tuple[PartUse, ...]:
    """Every part of the converter but the transformer, with ratings.

    Parameters
    ----------
    spec, demand : wishes and demand. result : the converter, its bill still empty.
    library : parts with the drawer merged.

    Returns
    -------
    One record for each role.
    """
    plan, input_bank, reservoir_bank = result.plan, result.input_bank, result.reservoir_bank
    rail_open_v, drain_peak_v = result.rail_unloaded_v, result.drain_peak_v
    timing, mosfet, diode = plan.timing, plan.switch.mosfet, plan.rectifier.rectifier
    count, groups = plan.switch.per_side, result.switch_count // plan.switch.per_side
    highest = "highest battery"
    feed_v = demand.emf_max_v if result.gate_supply is None else result.gate_supply.output_v

    def at_hand(part_id: str, quantity: int = 1) -> bool:
        return library.in_drawer(part_id) >= quantity

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
                    applied=feed_v,
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
            quantity=result.switch_count,
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
            in_drawer=at_hand(mosfet.id, result.switch_count),
            substitutes=plan.switch.candidates,
            provenance=mosfet.provenance.kind,
        ),
    ]
    reverse = Rating(
        quantity="reverse voltage with ringing",
        unit="V",
        applied=result.reverse_peak_v,
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
            in_drawer=at_hand(diode.id, 1 if partner is not None else plan.rectifier.packages),
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
        ("input capacitor", input_bank, demand.emf_max_v, result.input_ripple_a, input_bank.count),
        ("rail capacitor", reservoir_bank, rail_open_v, result.reservoir_ripple_a, 2 * reservoir_bank.count),
    ):
        uses.append(
            bank_line(
                role,
                bank.capacitor,
                number,
                library,
                volts=volts,
                at=highest,
                ripple_a=ripple / bank.count,
                ripple_at="nominal, full sine",
                substitutes=bank.candidates,
            )
        )
    snubber_each_w = result.snubber_w / groups
    ring, clamp = result.rectifier_snubber, result.clamp
    film, snubber_v = "film or C0G capacitor", 100 if demand.emf_max_v < 20 else 250
    uses += [
        resistor_line("timing resistor", timing.rt_ohm, 1),
        capacitor_line("timing capacitor", timing.ct_f, 1, film, 50, 0.05),
        capacitor_line("soft-start capacitor", timing.soft_start_f, 1, "electrolytic", 16, 0.2),
        resistor_line("gate resistor", result.gate_ohm, result.switch_count),
        resistor_line("gate pull-down", GATE_PULL_OHM, result.switch_count),
        resistor_line(
            "snubber resistor", result.snubber_ohm, groups, max(1.0, power_rating_w(snubber_each_w))
        ),
        capacitor_line("snubber capacitor", result.snubber_f, groups, film, snubber_v, 0.1),
        resistor_line("rectifier snubber resistor", ring.resistor_ohm, 2, ring.rating_w, ring.heat_w),
        capacitor_line("rectifier snubber capacitor", ring.capacitor_f, 2, film, ring.capacitor_v, 0.1),
        resistor_line(
            "rail bleeder",
            result.bleeder_ohm,
            2,
            max(1.0, power_rating_w(rail_open_v**2 / result.bleeder_ohm)),
            rail_open_v**2 / result.bleeder_ohm,
        ),
    ]
    if clamp is not None:
        uses += [
            PartUse(
                role="clamp diode",
                letter="D",
                part_id=clamp.diode.id,
                description=clamp.diode.description,
                quantity=clamp.diode_packages,
                ratings=(
                    Rating(
                        quantity="reverse voltage",
                        unit="V",
                        applied=clamp.peak_v,
                        limit=clamp.diode.vrrm_v,
                        source=clamp.diode.provenance.document,
                        at=highest,
                    ),
                    Rating(
                        quantity="peak current",
                        unit="A",
                        applied=clamp.diode_peak_a,
                        limit=clamp.diode_peak_limit_a,
                        source=clamp.diode.provenance.document,
                        at="highest battery, crest",
                    ),
                ),
                in_drawer=at_hand(clamp.diode.id, clamp.diode_packages),
                provenance=clamp.diode.provenance.kind,
            ),
            capacitor_line("clamp capacitor", clamp.capacitor_f, 1, "film capacitor", clamp.capacitor_v, 0.1),
            resistor_line("clamp resistor", clamp.resistor_ohm, 1, clamp.rating_w, clamp.heat_w),
        ]
    uses += controller_parts(result, feed_v, library)
    uses += supply_parts(result, library)
    uses += magnetic_parts(result, library)
    if timing.rd_ohm > 0:
        uses.append(resistor_line("discharge resistor", timing.rd_ohm, 1))
    if timing.divider_top_ohm > 0:
        uses.append(resistor_line("dead-time divider, top", timing.divider_top_ohm, 1))
        uses.append(resistor_line("dead-time divider, bottom", timing.divider_bottom_ohm, 1))
    driver = plan.drive.driver
    if driver.kind == "turn-off":
        uses.append(
            PartUse(
                role="gate turn-off diode",
                letter="D",
                part_id="1N4148",
                description="small-signal diode from controller output to gate",
                quantity=_SIDES,
                provenance="memory",
            )
        )
        uses.append(resistor_line("gate turn-off base resistor", TURN_OFF_OHM, _SIDES))
    for transistor in (driver.npn, driver.pnp):
        if transistor is None:
            continue
        uses.append(
            PartUse(
                role=f"gate {driver.kind}, {transistor.polarity.upper()}",
                letter="Q",
                part_id=transistor.id,
                description=transistor.description,
                quantity=_SIDES,
                ratings=(
                    Rating(
                        quantity="collector-emitter voltage",
                        unit="V",
                        applied=feed_v,
                        limit=transistor.vceo_v,
                        source=transistor.provenance.document,
                        at=highest,
                    ),
                    Rating(
                        quantity="collector current, peak",
                        unit="A",
                        applied=driver.peak_a,
                        limit=2.0 * transistor.ic_a,
                        source=transistor.provenance.document,
                        at="each edge",
                    ),
                ),
                in_drawer=at_hand(transistor.id, _SIDES),
                provenance=transistor.provenance.kind,
            )
        )
    return tuple(uses)
