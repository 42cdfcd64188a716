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
    "speaker_guard",
    "with_guard",
]

_EFFICIENCY: Final = 0.75  # whole chain at full sine, before anything is designed; on the safe side
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
    )


def output_current_input(electrical: Electrical, shunt_ohm: float | None, library: Library) -> CurrentInput:
    """Output currents that the amplifier's trip must leave alone, and what its devices stand."""
    amplifier = electrical.amplifier
    data = CurrentInput(
        crest_a=amplifier.peak_least_a,
        rms_a=amplifier.peak_a / sqrt(2.0),
        fault_a=amplifier.rail_expected_v / max(amplifier.output_resistance_ohm, 1e-3),
        switch_limit_a=amplifier.switch_peak_limit_a,
        shunt_ohm=shunt_ohm,
    )
    mosfet = library.mosfets.get(amplifier.switch_id)
    if mosfet is None:
        return data
    return replace(data, switch_ohm=mosfet.rds_on_ohm, switch_hot_ratio=mosfet.rds_hot_ratio)


def with_guard(spec: BuildSpec, reverse: ReverseSwitch | None, shunt_ohm: float | None) -> BuildSpec:
    """The spec with switch and shunt among the contacts, where their current flows."""
    added = (shunt_ohm or 0.0) + (reverse.resistance_ohm if reverse else 0.0)
    if added == 0.0:
        return spec
    contacts = spec.supply.contact_resistance_ohm + added
    supply = spec.supply.model_copy(update={"contact_resistance_ohm": contacts})
    return spec.model_copy(update={"supply": supply})


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
    data = BatteryGuardInput(
        system_v=spec.supply.system_v,
        corners=supply.corners,
        parts=tuple(_parts(electrical, protection, library)),
        capacitance_f=0.0 if bank is None else bank.capacitance_f,
        esr_ohm=0.0 if bank is None else bank.esr_ohm,
        source_ohm=electrical.source.total_ohm,
        fuse_a=supply.fuse_a,
        fuse_a2s=None,
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
