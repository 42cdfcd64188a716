"""What the solver tells the switch-on control: currents, leaks and times of the other stages."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.build.electrical import Electrical
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library
from subwright.physics.transients import CLAMPED_DUMP_V
from subwright.stages.battery_guard import BatteryGuardResult
from subwright.stages.common import Corner, Level
from subwright.stages.control import TIMER_SUPPLY_A, ControlInput, ControlResult, StandbyItem, design_control
from subwright.stages.converter_boost_stop import run_current_a
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_reference import COMPARATOR_SUPPLY_A
from subwright.stages.speaker_guard import SpeakerGuardResult

__all__ = ["control"]

_ELECTROLYTIC_A_PER_FV: Final = 1e-3  # a tenth of 0.01 C V: after hours on voltage; common practice
_SWITCH_OFF_A: Final = 1e-6  # a power MOSFET, off and warm, typical; from memory
_SMALL_SIGNAL_A: Final = 20e-3  # op-amps before a class-AB bridge; common practice
_RAIL_LEFT: Final = 0.3  # share of the rail that may go before anything is heard; common practice


def control(
    spec: BuildSpec,
    electrical: Electrical,
    protection: ProtectionResult,
    guard: BatteryGuardResult,
    speaker: SpeakerGuardResult,
    library: Library,
) -> ControlResult:
    """Remote switch-on, standby current, and the order of events."""
    converter, corners = electrical.converter, electrical.supply.corners
    own = COMPARATOR_SUPPLY_A + protection.reference.load_a + TIMER_SUPPLY_A
    if converter is not None:
        feed, nominal_v = converter.gate_supply, corners[Corner.NOMINAL]
        # A follower passes the current on; what it drops is heat.
        own += (
            (converter.control_w + converter.gate_w) / nominal_v
            if feed is None
            else feed.battery_a(nominal_v)
        )
    elif electrical.boost is not None:
        plan = electrical.boost.plan
        if plan.gate_supply is None:
            own += plan.controller.quiescent_a + plan.drive.supply_a
        else:  # the rail feeds them; the control line only lets it
            own += run_current_a(corners[Corner.NOMINAL])
        own += _amplifier_a(spec, electrical)
    else:
        own += _amplifier_a(spec, electrical)
    if speaker.relay is not None:
        own += speaker.relay.coil_a
    opened = None
    if speaker.fitted:
        opened = speaker.relay.open_s if speaker.relay else speaker.switch.open_s if speaker.switch else None
    dump = max((s.at_v for s in guard.stresses if s.name.startswith("load dump")), default=0.0)
    data = ControlInput(
        corners=corners,
        capacity_ah=spec.supply.capacity_ah,
        control_a=own,
        leaks=tuple(_leaks(electrical, protection, guard, corners[Corner.NOMINAL])),
        ungated=(StandbyItem(name="control circuits, always on", current_a=own),),
        soft_start_s=_soft_start_s(electrical),
        rail_hold_s=_rail_hold_s(electrical),
        speaker_open_s=opened,
        highest_v=max(corners[Corner.MAX], dump, CLAMPED_DUMP_V.get(spec.supply.system_v, 0.0)),
    )
    return design_control(spec.control, data, library)


def _amplifier_a(spec: BuildSpec, electrical: Electrical) -> float:
    """What an amplifier on one supply takes from the switched control supply, A."""
    modulator = electrical.amplifier.modulator
    stated = spec.amplifier.control_current_a
    if modulator is None:
        return _SMALL_SIGNAL_A if stated is None else stated
    if stated is None or not modulator.driver_supply_direct:
        return modulator.control_line_a
    return modulator.control_line_a - modulator.supply_a + stated


def _leaks(
    electrical: Electrical, protection: ProtectionResult, guard: BatteryGuardResult, volts: float
) -> Iterator[StandbyItem]:
    under, over = protection.under_voltage, protection.over_voltage
    yield StandbyItem(
        name="under-voltage sense divider",
        current_a=volts / (2.0 * under.upper_each_ohm + under.lower_all_ohm),
    )
    yield StandbyItem(
        name="over-voltage sense divider", current_a=volts / (over.upper_ohm + over.lower_all_ohm)
    )
    converter = electrical.converter
    if converter is not None:
        bank = converter.input_bank
        yield StandbyItem(
            name="input capacitors", current_a=_ELECTROLYTIC_A_PER_FV * bank.capacitance_f * volts
        )
        count = 2 * converter.plan.switch.per_side
    else:
        count = electrical.amplifier.switch_count
    if electrical.boost is not None:
        yield from _rail_leaks(electrical, volts)
        count += electrical.boost.plan.switch.per_side
    yield StandbyItem(name="power switches, off", current_a=count * _SWITCH_OFF_A)
    if guard.clamp is not None:
        yield StandbyItem(name="suppressor", current_a=guard.clamp.leakage_a)


def _soft_start_s(electrical: Electrical) -> float:
    """Time over which the converter opens, s; 0 without one."""
    if electrical.boost is not None:
        return electrical.boost.plan.timing.soft_start_s
    return 0.0 if electrical.converter is None else electrical.converter.plan.timing.soft_start_s


def _rail_leaks(electrical: Electrical, volts: float) -> Iterator[StandbyItem]:
    """What a stopped boost converter draws: its rail stays at the battery's voltage."""
    assert electrical.boost is not None
    plan = electrical.boost.plan
    bank_f = plan.input_bank.capacitance_f + plan.rail_f
    yield StandbyItem(name="input and rail capacitors", current_a=_ELECTROLYTIC_A_PER_FV * bank_f * volts)
    divider = plan.divider.top_ohm + plan.divider.bottom_ohm
    yield StandbyItem(
        name="rail bleeder and feedback divider",
        current_a=volts / plan.bleeder_ohm + volts / divider,
    )


def _rail_hold_s(electrical: Electrical) -> float | None:
    """How long the rails stay up, idling, once the converter stops; None without rails."""
    converter = electrical.converter
    if electrical.boost is not None:
        # It falls no further than the battery, from which the amplifier goes on.
        rail_v = float(electrical.chain[Level.IDLE].rail_crest_v.min())
        kept = 0.5 * (1.0 - (1.0 - _RAIL_LEFT) ** 2) * electrical.boost.plan.rail_f * rail_v**2
        return kept / electrical.amplifier.idle_w
    if converter is None:
        return None
    rail_v = float(electrical.chain[Level.IDLE].rail_crest_v.min())
    kept = 0.5 * (1.0 - (1.0 - _RAIL_LEFT) ** 2) * 2.0 * converter.reservoir_bank.capacitance_f * rail_v**2
    return kept / electrical.amplifier.idle_w
