"""What the solver tells the stages that stand between battery and circuit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt
from typing import Final

from subwright.build.electrical import Electrical
from subwright.build.load_path import LoadPath, speaker_data
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library
from subwright.stages.battery_guard import (
    BatteryGuardInput,
    BatteryGuardResult,
    GuardedPart,
    ReversedPart,
    ReverseNeed,
    ReverseSwitch,
    design_battery_guard,
    plan_reverse_switch,
)
from subwright.stages.common import Corner, Level
from subwright.stages.driver import DriverResult
from subwright.stages.enclosure import EnclosureResult
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_current import plan_shunt_ohm
from subwright.stages.protection_records import CurrentInput
from subwright.stages.speaker_guard import SpeakerGuardResult, design_speaker_guard
from subwright.stages.supply import supply_corners

__all__ = [
    "battery_guard",
    "output_current_input",
    "over_current_input",
    "plan_guard",
    "plan_shunt",
    "resistance_within",
    "speaker_guard",
]

_EFFICIENCY: Final = 0.75  # whole chain at full sine, before anything is designed; on the safe side
_CHIP_V: Final = -0.3  # below its ground, absolute limit of almost every integrated circuit; from memory
_ELECTROLYTIC_V: Final = -1.0  # an electrolytic capacitor reversed for a moment; common practice
_COMPARATOR_A: Final = 50e-3  # out of a 339-family input below its ground; from memory
_SHUNT_A: Final = 0.1  # 431-family backwards; from memory
_FORWARD_V: Final = 0.8  # of a zener, forward
_TRANSISTOR_V: Final = -5.0  # emitter-base breakdown of small transistors; from memory
_SHORTED_CONDUCTION: Final = 0.5  # a shorted stage rests near half its modulation; common practice
_ON_RAILS: Final = {"switch": "the lower switch stands on the negative rail, below the comparators"}
_UNSEEN: Final = {
    "class_d_full_bridge": {
        **_ON_RAILS,
        "shunt": "a bridge across both rails sends its current from rail to rail, past the return",
    }
}
_CREST: Final = 1.2  # rms over average battery current of a bass note; on the safe side


def plan_guard(spec: BuildSpec, target_w: float, library: Library) -> ReverseSwitch | None:
    """The series switch against a reversed battery, sized for the power asked for (W)."""
    corners, _ = supply_corners(spec.supply)
    need = ReverseNeed(
        rms_a=_CREST * target_w / (_EFFICIENCY * corners[Corner.NOMINAL]),
        battery_max_v=corners[Corner.MAX],
        battery_low_v=corners[Corner.LOW],
        ambient_c=spec.supply.ambient_max_c,
    )
    return plan_reverse_switch(spec.battery_guard, need, library)


def plan_shunt(spec: BuildSpec, target_w: float) -> float | None:
    """Shunt of the over-current trip, Ω, sized for the power asked for (W); None where there is none."""
    if spec.protection.over_current != "shunt":
        return None
    average = target_w / (_EFFICIENCY * supply_corners(spec.supply)[0][Corner.NOMINAL])
    wanted = spec.protection.over_current_trip_a or 1.5 * 2.0 * average
    return plan_shunt_ohm(wanted, _CREST * average)


def over_current_input(spec: BuildSpec, electrical: Electrical, shunt_ohm: float | None) -> CurrentInput:
    """Currents that the over-current trip must leave alone, and what the switches stand."""
    full, corners = electrical.chain[Level.FULL], electrical.supply.corners
    converter = electrical.converter
    data = CurrentInput(
        crest_a=float(full.battery_peak_a.max()),
        rms_a=float(full.battery_rms_a.max()),
        fault_a=corners[Corner.NOMINAL] / electrical.source.total_ohm,
        shunt_ohm=shunt_ohm,
    )
    if converter is None:
        return data
    mosfet, side = converter.plan.switch.mosfet, converter.plan.switch.per_side
    return replace(
        data,
        switch_ohm=mosfet.rds_on_ohm / side,
        switch_hot_ratio=mosfet.rds_hot_ratio,
        switch_limit_a=mosfet.id_a * side,
        conduction=converter.plan.timing.share,
        gate_v=converter.plan.drive.gate_v,
        drain_v=mosfet.vds_v,
    )


def output_current_input(
    electrical: Electrical, shunt_ohm: float | None, battery_shunt_ohm: float | None, library: Library
) -> CurrentInput:
    """Output currents that the amplifier's trip must leave alone, and what its devices stand.

    A stage on one supply returns over the battery's shunt: a second one in that path would stand on the
    first one's drop.
    """
    amplifier = electrical.amplifier
    unseen = _UNSEEN.get(amplifier.kind, {} if amplifier.from_battery else _ON_RAILS)
    if battery_shunt_ohm is not None and amplifier.rails in ("battery", "raised"):
        unseen = {**unseen, "shunt": "the stage returns over the battery's shunt and would read its drop too"}
    data = CurrentInput(
        crest_a=amplifier.peak_least_a,
        rms_a=amplifier.peak_a / sqrt(2.0),
        fault_a=amplifier.rail_expected_v / max(amplifier.output_resistance_ohm, 1e-3),
        switch_limit_a=amplifier.switch_peak_limit_a,
        shunt_ohm=shunt_ohm,
        both_ways=not amplifier.from_battery,
        unseen_by=unseen,
    )
    mosfet = library.mosfets.get(amplifier.switch_id)
    if mosfet is None:
        return data
    return replace(
        data,
        switch_ohm=mosfet.rds_on_ohm,
        switch_hot_ratio=mosfet.rds_hot_ratio,
        sides=2,
        conduction=_SHORTED_CONDUCTION,
        drain_v=mosfet.vds_v,
    )


def resistance_within(reverse: ReverseSwitch | None, shunt_ohm: float | None) -> float:
    """What switch and shunt put in the battery's path inside the unit, Ω."""
    return (shunt_ohm or 0.0) + (reverse.resistance_ohm if reverse else 0.0)


def battery_guard(
    spec: BuildSpec,
    electrical: Electrical,
    protection: ProtectionResult,
    reverse: ReverseSwitch | None,
    library: Library,
) -> BatteryGuardResult:
    """Every pulse against every part on the battery side."""
    converter, supply = electrical.converter, electrical.supply
    bank = None if converter is None else converter.input_bank
    if electrical.boost is not None:
        bank = electrical.boost.plan.input_bank
    data = BatteryGuardInput(
        system_v=spec.supply.system_v,
        corners=supply.corners,
        parts=tuple(_parts(electrical, protection, library)),
        capacitance_f=0.0 if bank is None else bank.capacitance_f,
        esr_ohm=0.0 if bank is None else bank.esr_ohm,
        source_ohm=electrical.source.total_ohm,
        fuse_a=supply.fuse_a,
        fuse_a2s=None,
        reversed_parts=tuple(_reversed_parts(electrical, protection, library)),
        body_diode_v=_body_diode_v(electrical, library),
    )
    return design_battery_guard(spec.battery_guard, data, reverse, library)


def speaker_guard(
    spec: BuildSpec,
    electrical: Electrical,
    path: LoadPath,
    driver: DriverResult,
    box: EnclosureResult,
    library: Library,
) -> SpeakerGuardResult:
    """Direct voltage at the loudspeaker: detector and switch against coil and lowest note."""
    full, heat = electrical.chain[Level.FULL], box.coil_programme
    data = speaker_data(
        spec,
        electrical.amplifier,
        driver,
        electrical.supply.corners,
        float(full.peak_v.max()),
        sag_v=electrical.source.total_ohm * float(full.battery_a.max()),
        coil_start_c=None if heat is None else heat.temperature_c,
    )
    return design_speaker_guard(spec.speaker_guard, data, library, path.switch)


def _parts(electrical: Electrical, protection: ProtectionResult, library: Library) -> Iterator[GuardedPart]:
    """Parts that see the battery, each with the highest battery voltage that it stands for a pulse."""
    converter = electrical.converter
    if converter is not None:
        controller, bank = converter.plan.controller, converter.input_bank
        mosfet = converter.plan.switch.mosfet
        yield GuardedPart(role="controller", part_id=controller.id, limit_v=controller.supply_max_v)
        yield GuardedPart(role="input capacitor", part_id=bank.capacitor.id, limit_v=bank.capacitor.voltage_v)
        # The over-voltage trip has stopped the converter by then: a still switch sees the battery once.
        yield GuardedPart(role="converter switch", part_id=mosfet.id, limit_v=mosfet.vds_v)
    else:
        yield from _boost_parts(electrical)
        amplifier = electrical.amplifier
        yield GuardedPart(
            role="output stage", part_id=amplifier.switch_id, limit_v=amplifier.switch_voltage_limit_v
        )
    reference = protection.reference
    # Where the clamp of the comparators' supply reaches its rated power.
    yield GuardedPart(
        role="comparator supply",
        part_id=reference.clamp_id,
        limit_v=reference.clamp_v + reference.comparator_ohm * reference.clamp_limit_w / reference.clamp_v,
    )
    if reference.kind == "shunt" and reference.feed_ohm is not None:
        shunt = library.reference(reference.part_id)
        yield GuardedPart(
            role="shunt reference",
            part_id=shunt.id,
            limit_v=reference.nominal_v + reference.feed_ohm * shunt.i_max_a,
        )


def _boost_parts(electrical: Electrical) -> Iterator[GuardedPart]:
    """Parts of a boost converter: choke and diode lead every pulse on to the rail."""
    if electrical.boost is None:
        return
    plan = electrical.boost.plan
    if plan.gate_supply is None:
        controller = plan.controller
        yield GuardedPart(role="controller", part_id=controller.id, limit_v=controller.supply_max_v)
    for role, part_id, limit_v in (
        ("input capacitor", plan.input_bank.capacitor.id, plan.input_bank.capacitor.voltage_v),
        ("boost switch", plan.switch.mosfet.id, plan.switch.mosfet.vds_v),
        ("rail capacitor", plan.rail_bank.capacitor.id, plan.rail_bank.capacitor.voltage_v),
    ):
        yield GuardedPart(role=role, part_id=part_id, limit_v=limit_v)


def _body_diode_v(electrical: Electrical, library: Library) -> float | None:
    """Forward drop from ground through body diodes (and the primary) to the supply, V."""
    converter = electrical.converter
    if converter is not None:
        drops = 2.0 if converter.topology == "full-bridge" else 1.0
        return drops * converter.plan.switch.mosfet.vsd_v
    if electrical.boost is not None:
        return electrical.boost.plan.switch.mosfet.vsd_v  # through the choke, backwards
    mosfet = library.mosfets.get(electrical.amplifier.switch_id)
    return None if mosfet is None else 2.0 * mosfet.vsd_v


def _reversed_parts(
    electrical: Electrical, protection: ProtectionResult, library: Library
) -> Iterator[ReversedPart]:
    """The same parts, with what each stands when the supply is pulled below zero."""
    converter = electrical.converter
    if converter is not None:
        mosfet, bank = converter.plan.switch.mosfet, converter.input_bank
        yield ReversedPart(role="controller", part_id=converter.plan.controller.id, lowest_v=_CHIP_V)
        yield ReversedPart(role="input capacitor", part_id=bank.capacitor.id, lowest_v=_ELECTROLYTIC_V)
        yield ReversedPart(
            role="converter switch, body diode",
            part_id=mosfet.id,
            most_a=mosfet.id_a * converter.plan.switch.per_side,
        )
    elif electrical.boost is not None:
        # The rail's diode blocks: amplifier and rail capacitors never see the reversed battery.
        plan = electrical.boost.plan
        if plan.gate_supply is None:
            yield ReversedPart(role="controller", part_id=plan.controller.id, lowest_v=_CHIP_V)
        yield ReversedPart(
            role="input capacitor", part_id=plan.input_bank.capacitor.id, lowest_v=_ELECTROLYTIC_V
        )
        yield ReversedPart(
            role="boost switch, body diode",
            part_id=plan.switch.mosfet.id,
            most_a=plan.switch.mosfet.id_a * plan.switch.per_side,
        )
    elif (own := library.mosfets.get(electrical.amplifier.switch_id)) is not None:
        yield ReversedPart(role="output stage, body diodes", part_id=own.id, most_a=own.id_a)
    else:
        yield ReversedPart(role="output stage", part_id=electrical.amplifier.switch_id, lowest_v=_CHIP_V)
    yield ReversedPart(role="control supply switch", part_id="PNP transistor", lowest_v=_TRANSISTOR_V)
    reference = protection.reference
    yield ReversedPart(
        role="comparator supply",
        part_id=reference.clamp_id,
        most_a=reference.clamp_limit_w / _FORWARD_V,
        series_ohm=reference.comparator_ohm,
    )
    if reference.kind == "shunt" and reference.feed_ohm is not None:
        yield ReversedPart(
            role="shunt reference",
            part_id=reference.part_id,
            most_a=_SHUNT_A,
            series_ohm=reference.feed_ohm,
        )
    for role, ohm in (
        ("under-voltage sense input", 2.0 * protection.under_voltage.upper_each_ohm),
        ("over-voltage sense input", protection.over_voltage.upper_ohm),
    ):
        yield ReversedPart(role=role, part_id=protection.comparator, most_a=_COMPARATOR_A, series_ohm=ohm)
