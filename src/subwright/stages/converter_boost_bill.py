"""The boost converter's bill of materials, and the sentences that explain it."""

from __future__ import annotations

from typing import Final

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import Transistor
from subwright.stages.common import Corner, Level, PartUse, Rating, record_use
from subwright.stages.converter_bill import GATE_PULL_OHM, TURN_OFF_OHM
from subwright.stages.converter_bill_lines import bank_line, capacitor_line, resistor_line
from subwright.stages.converter_bill_supply import supply_parts
from subwright.stages.converter_boost_records import BoostResult
from subwright.stages.converter_boost_stop import stop_parts
from subwright.stages.converter_clamp import power_rating_w
from subwright.stages.converter_controller import CERAMIC_F
from subwright.stages.converter_parts import CapacitorBank
from subwright.stages.converter_powder import choke_beside

__all__ = ["BYPASS_COUNT", "BYPASS_ID", "boost_parts", "boost_reasons"]

BYPASS_COUNT: Final = 4
"""Ceramics of 1 µF from the rectifier's cathode to the switch's source; common practice, no source."""
BYPASS_ID: Final = "X7R 1u 100V"

_HIGHEST: Final = "highest rail"
_FILM: Final = "film or C0G capacitor"
_SWITCH_A: Final = (50.0, 100.0, 200.0, 300.0, 500.0)  # usual battery switches; common practice
_SMALL_PNP: Final = "BC557B"
_SMALL_NPN: Final = "BC547B"


def boost_parts(result: BoostResult, library: Library) -> tuple[PartUse, ...]:
    """Every part of the boost converter with the stress on it.

    Parameters
    ----------
    result : the converter, its bill still empty. library : parts with the drawer merged.

    Returns
    -------
    One record for each role.
    """
    return (*_power_parts(result, library), *_control_parts(result, library), *_switch(result))


def _switch(result: BoostResult) -> tuple[PartUse, ...]:
    """The battery switch, where there is one."""
    if result.disconnect != "switch":
        return ()
    rating = next((a for a in _SWITCH_A if a >= result.fuse_a), _SWITCH_A[-1])
    return (
        PartUse(
            role="battery switch",
            letter="S",
            part_id=f"battery switch {rating:.0f} A DC",
            description=f"one pole, {rating:.0f} A, breaks {show(result.fault_a, 'current', 2)} DC",
            quantity=1,
            ratings=(
                Rating(
                    quantity="current",
                    unit="A",
                    applied=result.fuse_a,
                    limit=rating,
                    source="common-practice",
                    at="the fuse's own rating",
                ),
            ),
            provenance="common practice",
        ),
    )


def _at_hand(library: Library, part_id: str, count: int = 1) -> bool:
    return library.in_drawer(part_id) >= count


def _small(role: str, letter: str, part_id: str, description: str, count: int = 1) -> PartUse:
    return PartUse(
        role=role,
        letter=letter,
        part_id=part_id,
        description=description,
        quantity=count,
        provenance="common practice",
    )


def _bank(role: str, bank: CapacitorBank, volts: float, ripple_a: float, library: Library) -> PartUse:
    return bank_line(
        role,
        bank.capacitor,
        bank.count,
        library,
        volts=volts,
        at="highest battery or rail",
        ripple_a=ripple_a / bank.count,
        ripple_at="full sine, hardest battery",
        substitutes=bank.candidates,
    )


def _power_parts(result: BoostResult, library: Library) -> list[PartUse]:
    plan = result.plan
    mosfet, count, diode, choke = plan.switch.mosfet, plan.switch.per_side, plan.diode, plan.choke
    rectifier, demand, f = diode.rectifier, plan.demand, plan.timing.switching_hz
    snubber_w = plan.snubber_f * result.rail_high_v**2 * f
    bleeder_w = result.rail_high_v**2 / plan.bleeder_ohm
    return [
        PartUse(
            role="boost switch",
            letter="Q",
            part_id=mosfet.id,
            description=mosfet.description,
            quantity=count,
            ratings=(
                Rating(
                    quantity="drain-source voltage",
                    unit="V",
                    applied=result.drain_peak_v,
                    limit=mosfet.vds_v,
                    source=mosfet.provenance.document,
                    at="highest rail, ringing counted",
                ),
                Rating(
                    quantity="drain current, rms",
                    unit="A",
                    applied=result.switch_rms_a / count,
                    limit=mosfet.id_a,
                    source=mosfet.provenance.document,
                    at="nominal, full sine",
                ),
            ),
            in_drawer=_at_hand(library, mosfet.id, count),
            substitutes=plan.switch.candidates,
            provenance=mosfet.provenance.kind,
        ),
        PartUse(
            role="boost rectifier",
            letter="D",
            part_id=rectifier.id,
            description=rectifier.description,
            quantity=diode.packages,
            ratings=(
                Rating(
                    quantity="reverse voltage with ringing",
                    unit="V",
                    applied=result.reverse_peak_v,
                    limit=rectifier.vrrm_v,
                    source=rectifier.provenance.document,
                    at="highest rail",
                ),
                Rating(
                    quantity="mean forward current of a leg",
                    unit="A",
                    applied=result.diode_mean_a / diode.legs,
                    limit=rectifier.if_a,
                    source=rectifier.provenance.document,
                    at="nominal, full sine",
                ),
            ),
            in_drawer=_at_hand(library, rectifier.id, diode.packages),
            substitutes=diode.candidates,
            provenance=rectifier.provenance.kind,
        ),
        PartUse(
            role="boost choke core",
            letter="L",
            part_id=choke.core.id,
            description=f"{choke.core.description}, {choke.how}, "
            f"{choke.turns} turns of {choke.strands} × {choke.wire.id}",
            quantity=1,
            value=show(choke.inductance_h, "inductance"),
            ratings=(
                Rating(
                    quantity="choke flux density",
                    unit="T",
                    applied=choke.flux_crest_t,
                    limit=choke.flux_limit_t,
                    source=choke.core.provenance.document,
                    at="crest on a tired battery",
                ),
            ),
            in_drawer=choke.in_drawer,
            provenance=choke.core.provenance.kind,
        ),
        PartUse(
            role="boost choke wire",
            letter="W",
            part_id=choke.wire.id,
            description=choke.wire.description,
            quantity=round(choke.strands * choke.wire_length_m, 2),
            unit="m",
            in_drawer=library.in_drawer(choke.wire.id) > 0,
            provenance=choke.wire.provenance.kind,
        ),
        _bank("input capacitor", plan.input_bank, demand.emf_v[Corner.MAX], result.input_ripple_a, library),
        _bank("rail capacitor", plan.rail_bank, result.rail_high_v, result.rail_ripple_a, library),
        _small(
            "rail bypass capacitor",
            "C",
            BYPASS_ID,
            "ceramic 1 µF 100 V, tight across switch and diode",
            BYPASS_COUNT,
        ),
        resistor_line(
            "switch snubber resistor",
            plan.snubber_ohm,
            1,
            max(1.0, power_rating_w(snubber_w)),
            snubber_w,
            at=_HIGHEST,
        ),
        capacitor_line("switch snubber capacitor", plan.snubber_f, 1, _FILM, 100.0, 0.1),
        resistor_line(
            "rail bleeder", plan.bleeder_ohm, 1, max(1.0, power_rating_w(bleeder_w)), bleeder_w, at=_HIGHEST
        ),
        resistor_line("gate resistor", plan.drive.gate_ohm, count),
        resistor_line("gate pull-down", GATE_PULL_OHM, count),
        PartUse(
            role="pre-charge resistor",
            letter="R",
            part_id=code(result.precharge.resistor_ohm, "resistance"),
            description=f"wire-wound resistor {result.precharge.rating_w:g} W with two clips, a tool: it "
            "is not "
            "built in",
            quantity=1,
            value=show(result.precharge.resistor_ohm, "resistance"),
            tolerance=0.05,
            provenance="IEC 60063 preferred value",
        ),
    ]


def _control_parts(result: BoostResult, library: Library) -> list[PartUse]:
    plan = result.plan
    controller, timing, sense, loop = plan.controller, plan.timing, plan.sense, result.loop
    feed_v = plan.demand.emf_v[Corner.MAX] if plan.gate_supply is None else plan.gate_supply.output_v
    uses = [
        PartUse(
            role="boost controller",
            letter="U",
            part_id=controller.id,
            description=controller.description,
            quantity=1,
            ratings=(
                Rating(
                    quantity="supply voltage",
                    unit="V",
                    applied=feed_v,
                    limit=controller.supply_max_v,
                    source=controller.provenance.document,
                    at="highest battery",
                ),
            ),
            in_drawer=_at_hand(library, controller.id),
            provenance=controller.provenance.kind,
        ),
        resistor_line("timing resistor", timing.rt_ohm, 1),
        capacitor_line("timing capacitor", timing.ct_f, 1, _FILM, 50.0, 0.05),
        resistor_line("feedback divider, top", plan.divider.top_ohm, 1),
        resistor_line("feedback divider, bottom", plan.divider.bottom_ohm, 1),
        resistor_line("compensation resistor", loop.series_ohm, 1),
        capacitor_line("compensation capacitor", loop.series_f, 1, _FILM, 50.0, 0.05),
        capacitor_line("compensation capacitor, fast", loop.across_f, 1, _FILM, 50.0, 0.05),
        resistor_line("soft-start resistor", timing.soft_start_ohm, 1),
        capacitor_line("soft-start capacitor", timing.soft_start_f, 1, "electrolytic or film", 16.0, 0.2),
        _small("soft-start transistor", "Q", _SMALL_PNP, "PNP: holds the error amplifier down"),
        _small("soft-start diode", "D", "1N4148", "empties the soft-start capacitor at switch-off"),
        PartUse(
            role="current transformer core",
            letter="T",
            part_id=sense.core.id,
            description=f"{sense.core.description}, {sense.turns} turns of thin wire; the drain lead "
            "passes once",
            quantity=1,
            in_drawer=_at_hand(library, sense.core.id),
            provenance=sense.core.provenance.kind,
        ),
        _small("current sense diode", "D", "1N4148", "lets the pulse through and the reset not"),
        resistor_line("current sense burden", sense.burden_ohm, 1, 0.6, sense.burden_w, at=_HIGHEST),
        resistor_line("current transformer reset resistor", sense.reset_ohm, 1),
        resistor_line("current sense filter resistor", sense.filter_ohm, 1),
        capacitor_line("current sense filter capacitor", sense.filter_f, 1, "C0G capacitor", 50.0, 0.05),
        resistor_line("slope resistor", sense.slope_ohm, 1),
        _small("slope transistor", "Q", _SMALL_NPN, "NPN: lends the ramp without loading it"),
        resistor_line("rail guard resistor", plan.guard.series_ohm, 1),
        capacitor_line("reference capacitor", CERAMIC_F, 1, "ceramic X7R", 50.0, 0.1),
        capacitor_line("controller ceramic", CERAMIC_F, 1, "ceramic X7R", 50.0, 0.1),
        capacitor_line("controller supply capacitor", 10e-6, 1, "electrolytic", 35.0, 0.2),
    ]
    zeners: dict[str, int] = {}
    for zener in plan.guard.zeners:
        zeners[zener.id] = zeners.get(zener.id, 0) + 1
    for number, (part_id, count) in enumerate(zeners.items(), 1):
        zener = library.zeners[part_id]
        uses.append(
            PartUse(
                role="rail guard zener" if number == 1 else f"rail guard zener, {number}",
                letter="D",
                part_id=part_id,
                description=zener.description,
                quantity=count,
                value=show(zener.vz_v, "voltage"),
                tolerance=zener.tolerance,
                in_drawer=_at_hand(library, part_id, count),
                provenance=zener.provenance.kind,
            )
        )
    uses += supply_parts(plan, library, at=_HIGHEST)
    uses += stop_parts(plan, library)
    driver = plan.drive.driver
    if driver.kind == "turn-off":
        uses.append(_small("gate turn-off diode", "D", "1N4148", "from controller output to gate"))
        uses.append(resistor_line("gate turn-off base resistor", TURN_OFF_OHM, 1))
    uses += [_driver(t, driver.kind, feed_v, driver.peak_a, library) for t in (driver.npn, driver.pnp) if t]
    return uses


def _driver(part: Transistor, kind: str, feed_v: float, peak_a: float, library: Library) -> PartUse:
    return record_use(
        f"gate {kind}, {part.polarity.upper()}",
        "Q",
        part,
        1,
        library,
        Rating(
            quantity="collector-emitter voltage",
            unit="V",
            applied=feed_v,
            limit=part.vceo_v,
            source=part.provenance.document,
            at="highest battery",
        ),
        Rating(
            quantity="collector current, peak",
            unit="A",
            applied=peak_a,
            limit=2.0 * part.ic_a,
            source=part.provenance.document,
            at="each edge",
        ),
    )


def _choke_reason(result: BoostResult) -> str:
    """Why the choke is safe, in figures."""
    choke, tired = result.plan.choke, result.corners[0]
    limit = show(result.plan.sense.limit_most_a, "current")
    wound = f"Choke: {choke.core.id}, {choke.turns} turns of {choke.strands} × {choke.wire.id} side by side"
    if choke.powder:
        return (
            f"{wound} on a ring of powder: {show(choke.rest_h, 'inductance')} without current, "
            f"{show(choke.inductance_h, 'inductance')} at the crest of {show(tired.peak_a, 'current')}, half "
            f"at {show(choke.saturation_a, 'current')}; it saturates gently, and the current limit lets at "
            f"most {limit} through. Makers' curves differ by some per cent, and so does what is left."
        )
    return (
        f"{wound}, gap {show(choke.gap_m, 'length')} in the centre leg (or a spacer of "
        f"{show(0.5 * choke.gap_m, 'length')} under each outer leg): "
        f"{show(choke.inductance_h, 'inductance')}, saturated at {show(choke.saturation_a, 'current')} hot; "
        f"the crest reaches {show(tired.peak_a, 'current')} and the current limit lets at most {limit} "
        "through. Fringing is an estimate: measure the inductance and move the gap. Bias raises a "
        "ferrite's loss by an amount that no data here state."
    )


def boost_reasons(result: BoostResult, fed: bool) -> tuple[str, ...]:
    """What was chosen and why.

    Parameters
    ----------
    result : the converter. fed : whether controller and gates have a regulator of their own.
    """
    plan, sense, loop, pre = (
        result.plan,
        result.plan.sense,
        result.loop,
        result.precharge,
    )
    tired, f = result.corners[0], plan.timing.switching_hz
    diode, guard, controller = plan.diode, plan.guard, plan.controller
    lines = [
        f"Boost converter: one raised rail of {show(result.set_v, 'voltage')} "
        f"({show(result.rail_low_v, 'voltage')} to {show(result.rail_high_v, 'voltage')} over reference and "
        f"divider), {result.ratio:.2f} times the tired battery, for a bridge that needs no negative rail. No "
        "transformer, no isolation.",
        "Choke and diode lead from the battery straight to the amplifier: the converter's switch can't cut "
        "the "
        "load off. A short in the amplifier is cleared by the fuse alone, and only a pulled fuse or a "
        "switch in "
        "the battery lead disconnects it; when the converter is stopped the rail stays at the battery's "
        "voltage, so a trip must mute the amplifier too.",
        f"{controller.id}: its single output runs at the ramp's own frequency, "
        f"{show(f, 'frequency')} with {show(plan.timing.rt_ohm, 'resistance')} and "
        f"{show(plan.timing.ct_f, 'capacitance')}; the discharge leaves a greatest duty of "
        f"{plan.timing.duty_most:.2f}, and {tired.duty:.2f} are needed at the crest on a tired battery.",
        f"The rail holds at the crest down to {show(result.holds_from_v, 'voltage')} at the battery at rest; "
        "below, it sags with the battery.",
        _choke_reason(result),
        *((choke_beside(plan.choke.core.id, plan.choke),) if plan.choke.beside else ()),
        f"{plan.switch.per_side} × {plan.switch.mosfet.id}: {show(result.drain_peak_v, 'voltage')} of "
        f"{show(result.drain_limit_v, 'voltage')} with ringing; a clamped load dump of "
        f"{show(plan.demand.pulse_v, 'voltage')} comes through the diode to the whole rail.",
        f"{diode.packages} × {diode.rectifier.id} ({diode.legs} legs share). A synchronous switch in its "
        "place "
        f"would save about {show(diode.synchronous_saves_w, 'power')} at full sine; it also conducts "
        "backwards, "
        "and needs a floating drive that shuts it off in time: a diode is what survives a mistake.",
        f"Current transformer {sense.turns}:1 on {sense.core.id} in the drain lead, burden "
        f"{show(sense.burden_ohm, 'resistance')}: each pulse ends between "
        f"{show(sense.limit_least_a, 'current')} and {show(sense.limit_most_a, 'current')} whatever the loop "
        f"asks. The duty passes one half, so {show(sense.slope_ohm, 'resistance')} lend "
        f"{sense.slope_v_per_s / sense.slope_needed_v_per_s:.2f} times the least slope; the current settles "
        f"with a Q of {sense.quality:.2f}.",
        f"Loop: more duty first lowers the rail above {show(loop.zero_hz, 'frequency')} (right-half-plane "
        "zero, "
        f"crest, tired battery), so it crosses over at {show(loop.crossover_hz, 'frequency')} or below: "
        f"{show(loop.series_ohm, 'resistance')} with {show(loop.series_f, 'capacitance')}, "
        f"{show(loop.across_f, 'capacitance')} across; {loop.phase_margin_deg:.0f}° left in the worst "
        "corner.",
        "Such a loop is not fast against the bass: the rail moves by "
        f"{show(result.bass_ripple_v, 'voltage')} "
        f"either way at {show(result.bass_ripple_hz, 'frequency')}, twice the worst note. The rail is set "
        "that "
        "much higher; the rest of the figures take it as still.",
        f"{plan.rail_bank.count} × {plan.rail_bank.capacitor.id} take "
        f"{show(result.rail_ripple_a, 'current')} of pulses against "
        f"{show(plan.rail_bank.ripple_limit_a, 'current')}: in a boost converter the output capacitors work "
        "hardest.",
        f"If the divider opens the rail would run towards {show(result.lost_loop_v, 'voltage')} and beyond: "
        f"{len(guard.zeners)} zener(s) into the current-sense pin end every pulse at "
        f"{show(guard.least_v, 'voltage')} to {show(guard.most_v, 'voltage')}.",
        f"No soft start can help at the moment of connection: {show(pre.plain_peak_a, 'current')} would rush "
        f"through choke and diode and carry the rail to {show(pre.rail_overshoot_v, 'voltage')}. Charge it "
        f"through {show(pre.resistor_ohm, 'resistance')} for {show(pre.wait_s, 'time')} first.",
        f"At programme the choke reaches {show(result.choke_c[Level.PROGRAMME], 'temperature')} by the "
        "severest "
        f"rule ({show(result.choke_rise_low_k, 'temperature difference')} to "
        f"{show(result.choke_rise_high_k, 'temperature difference')} above the air).",
    ]
    if fed:
        lines.append(
            "Zener and follower on the raised rail feed controller and gates: "
            f"{show(result.gate_v_low, 'voltage')} at the gates however tired the battery is, and no load "
            "dump "
            f"reaches them. Before the first pulse the rail is the battery less a diode: "
            f"{show(result.start_v, 'voltage')} at the controller on a tired one, which starts at "
            f"{show(controller.uvlo_on_v or controller.supply_min_v, 'voltage')}."
        )
    return tuple(lines)
