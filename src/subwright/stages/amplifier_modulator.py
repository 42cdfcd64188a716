"""The class-D modulator with its gate drivers: from the line filter's output to the switches' gates.

The integrator compares input and switched nodes; a comparator turns its output to pulses, against a clock's
carrier or with hysteresis in proportion to the bus; Schmitt inverters make the dead time; half-bridge drivers
with bootstrapped supplies charge the gates. It is designed once, when rails and parts are settled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import log
from types import MappingProxyType
from typing import Final

from subwright.base.preferred import at_least, nearest
from subwright.parts.library import Library
from subwright.physics.modulators import loop_suppression_db
from subwright.stages.amplifier_modulator_drive import Drive, design_drive, node_bleed, shortest_dead_time_s
from subwright.stages.amplifier_modulator_loop import design_loop
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.amplifier_modulator_supply import (
    LOGIC_PULL_UP_OHM,
    SHIFT_A,
    Supplies,
    SupplyNeed,
    chips,
    design_supplies,
)
from subwright.stages.common import remembered

__all__ = ["Draw", "design_modulator", "drawn", "supply_need"]

_EMITTER_V: Final = 0.65
_SHIFT_MOST: Final = (("BC556B", 52.0), ("MPSA92", 240.0))  # 80 % of the rating
_LOGIC_SHARE: Final = 0.95  # of the logic supply that the level shifter reaches
_NODE_F: Final = 25e-12  # collector, input and track at the level shifter; from memory
_MUTE_V: Final = 12.0  # behind the un-mute timer's pull-up
_MUTE_LOW_V: Final = 9.0  # the least that the timers' supply falls to
_MUTE_PULL_UP_OHM: Final = 10e3
_MUTE_OHM: Final = 22e3
_MUTE_F: Final = 10e-9
_DECOUPLING_F: Final = 100e-9
_REFERENCE_F: Final = 10e-6
_LOCAL_F: Final = 1e-6  # at each driver
_OP_F: Final = 47e-6
_BULK: Final = 10.0  # driver supply's capacitor over the bootstrap capacitors
_REFERENCE_HZ: Final = 100.0
_DELAY_GUESS_F: Final = 200e-12


@dataclass(frozen=True, kw_only=True, slots=True)
class Draw:
    """What the modulator means for the losses: dead time, s; supply of the gates and what feeds it, V and
    rails; its own current, A.
    """

    dead_time_s: float
    gate_v: float
    gate_rails: float
    gate_feed_v: float
    control_a: float


@remembered
def drawn(need: ModulatorNeed, dead_time_s: float | None, library: Library) -> Draw:
    """Dead time, gate supply and current of the modulator that a need will get.

    Parameters
    ----------
    need : with rails as they are expected. dead_time_s : stated, s; None takes the shortest that no spread
        of the parts turns into both switches on. library : with the drawer merged.

    Raises
    ------
    NoSolutionError : no follower stands the rails.
    """
    supplies = design_supplies(supply_need(need), library)
    if dead_time_s is None:
        dead_time_s = shortest_dead_time_s(need, supplies, library)
    return Draw(
        dead_time_s=dead_time_s,
        gate_v=supplies.driver_v,
        gate_rails=supplies.gate_rails,
        gate_feed_v=supplies.gate_feed_v,
        control_a=supplies.rail_a,
    )


def supply_need(need: ModulatorNeed) -> SupplyNeed:
    """What the supplies must carry for a need, all gates at 10 V."""
    gates = 2 * need.legs
    return SupplyNeed(
        clocked=need.clocked,
        legs=need.legs,
        split_rails=need.split_rails,
        rail_low_v=need.rail_low_v,
        rail_nominal_v=need.rail_nominal_v,
        rail_high_v=need.rail_high_v,
        feed_v=need.feed_v,
        gate_supply_v=need.gate_supply_v,
        gate_a=gates * need.mosfet.qg_coul * need.switching_hz,
        gate_at_v=10.0,
        switching_hz=need.switching_hz,
        dead_f=_DELAY_GUESS_F,
    )


def design_modulator(need: ModulatorNeed, library: Library) -> Modulator:
    """Design modulator, dead time, gate drivers and their supplies in preferred values.

    Parameters
    ----------
    need : wishes and surroundings. library : parts with the drawer merged.

    Returns
    -------
    Modulator.

    Raises
    ------
    NoSolutionError : delays forbid the switching frequency, no op-amp or transistor serves.
    PartNotFoundError : the stated op-amp is unknown.

    Source
    ------
    [cox-mouton2018], [ir-an978], [ir-2110], [onsemi-hc14], [nxp-hc1g14], [ti-lm319], [horowitz-hill]
    """
    comparator, logic, driver = chips(library)
    supplies = design_supplies(supply_need(need), library)
    drive = design_drive(need, supplies, library)
    shift_ohms, shift_s, shift_ids = _level_shift(need, supplies, logic.rising_v / logic.stated_v)
    name = "level shift" if need.split_rails else "pull-up"
    loop = design_loop(need, supplies, {name: shift_s, **drive.delays_s}, library)
    bleed_ohms, bleed_w = _bleed(need, supplies, drive, loop.resistors_ohm, library)
    mute_ohms, run_v = _mute(need, supplies, logic.rising_max_v / logic.stated_v * supplies.logic_v)
    parts = {**supplies.part_ids, **drive.part_ids, **shift_ids, "comparator clamp diode": "1N4148"}
    if need.split_rails:
        parts["mute transistor"] = parts["level shift transistor"]
    clock = loop.clock
    return Modulator(
        form=need.form,
        legs=need.legs,
        split_rails=need.split_rails,
        op_amp_id=loop.op_amp_id,
        comparator_id=comparator.id,
        driver_id=driver.id,
        logic_id=logic.id,
        part_ids=MappingProxyType(parts),
        resistors_ohm=MappingProxyType(
            {
                **loop.resistors_ohm,
                **shift_ohms,
                **drive.resistors_ohm,
                **bleed_ohms,
                **supplies.resistors_ohm,
                **mute_ohms,
            }
        ),
        capacitors_f=MappingProxyType({**loop.capacitors_f, **drive.capacitors_f, **_bulk(need, drive)}),
        heat_w=MappingProxyType({**supplies.heat_w, **drive.heat_w, **bleed_w}),
        resistor_tolerance=loop.tolerance,
        gain=loop.gain,
        gain_wanted=loop.gain_wanted,
        input_hz=loop.input_hz,
        reference_v=supplies.reference_v,
        clock_supply_v=supplies.clock_v,
        clock_low_v=0.0 if clock is None else clock.low_v,
        clock_high_v=0.0 if clock is None else clock.high_v,
        threshold_low_v=0.0 if clock is None else clock.threshold_low_v,
        threshold_high_v=0.0 if clock is None else clock.threshold_high_v,
        compare_share=0.5 if need.clocked else 1.0 / (1.0 + loop.hysteresis),
        hysteresis=loop.hysteresis,
        switching_hz=loop.switching_hz,
        switching_window_hz=loop.window_hz,
        switching_wanted_hz=need.switching_hz,
        delays_s=loop.delays_s,
        delay_s=sum(loop.delays_s.values()),
        carrier_slope_v_per_s=loop.carrier_v_per_s,
        feedback_slope_v_per_s=loop.feedback_v_per_s,
        slew_v_per_s=loop.slew_v_per_s,
        loop_hz=loop.loop_hz,
        suppression_db=(
            loop_suppression_db(need.lowest_note_hz, loop.loop_hz),
            loop_suppression_db(_REFERENCE_HZ, loop.loop_hz),
        ),
        integrator_window_v=loop.integrator_window_v,
        integrator_room_v=loop.integrator_room_v,
        difference_v=loop.difference_v,
        dead_time_s=drive.dead_time_s,
        dead_time_window_s=drive.window_s,
        dead_time_wanted_s=need.dead_time_s,
        pulse_least_s=loop.pulse_least_s,
        modulation_reach=loop.reach,
        offset_v=loop.offset_v,
        offset_limit_v=loop.offset_limit_v,
        bootstrap_f=drive.capacitors_f["bootstrap capacitor"],
        bootstrap_v=drive.bootstrap_v,
        bootstrap_low_v=drive.bootstrap_low_v,
        hold_s=drive.hold_s,
        hold_drop_v=drive.hold_drop_v,
        lockout_v=driver.stop_max_v,
        start_v=driver.start_max_v,
        gate_supply_v=supplies.driver_v,
        gate_supply_low_v=supplies.driver_low_v,
        gate_supply_high_v=supplies.driver_high_v,
        gate_current_a=drive.gate_current_a,
        gate_current_wanted_a=need.gate_drive_a,
        driver_supply_a=supplies.driver_a,
        driver_supply_direct=supplies.direct,
        driver_supply_from=supplies.source,
        op_positive_a=supplies.op_positive_a,
        op_negative_a=supplies.op_negative_a,
        control_line_a=supplies.control_line_a,
        supply_a=supplies.rail_a,
        op_supply_v=supplies.op_v,
        mute_high_v=_MUTE_V,
        mute_run_v=run_v,
        logic_supply_v=supplies.logic_v,
        rail_low_v=need.rail_low_v,
        rail_nominal_v=need.rail_nominal_v,
        rail_high_v=need.rail_high_v,
    )


def _bleed(
    need: ModulatorNeed,
    supplies: Supplies,
    drive: Drive,
    resistors_ohm: Mapping[str, float],
    library: Library,
) -> tuple[dict[str, float], dict[str, float]]:
    """The nodes' resistors to 0 V, Ω, and their heat, W; none for a half-bridge, whose load does it."""
    if need.legs == 1:
        return {}, {}
    pulls = [
        resistors_ohm[role]
        for role in ("integrator feedback", "hysteresis feedback")
        if role in resistors_ohm
    ]
    ohms, watts = node_bleed(need, supplies, drive, 1.0 / sum(1.0 / r for r in pulls), library)
    return {"node bleed": ohms}, {"node bleed": watts}


def _level_shift(
    need: ModulatorNeed, supplies: Supplies, threshold: float
) -> tuple[dict[str, float], float, dict[str, str]]:
    """From the comparator to the inverters: resistors in Ω, mean delay in s, transistor by role."""
    # Both edges are first order; the mean of the rising and the falling time to about the threshold.
    per = 0.5 * (_rise(threshold) + _fall(threshold))
    if not need.split_rails:
        return (
            {"comparator pull-up": LOGIC_PULL_UP_OHM},
            0.5 * _rise(threshold) * LOGIC_PULL_UP_OHM * _NODE_F,
            {},
        )
    transistor = next((name for name, most in _SHIFT_MOST if need.rail_high_v <= most), _SHIFT_MOST[-1][0])
    emitter = float(nearest((supplies.op_v - _EMITTER_V) / SHIFT_A, "E24"))
    current_a = (supplies.op_v - _EMITTER_V) / emitter
    collector = float(nearest(_LOGIC_SHARE * supplies.logic_v / current_a, "E24"))
    return (
        {"level shift emitter": emitter, "level shift collector": collector},
        per * collector * _NODE_F,
        {"level shift transistor": transistor},
    )


def _rise(threshold: float) -> float:
    return -log(1.0 - threshold)


def _fall(threshold: float) -> float:
    return -log(0.65 * threshold)  # the lower threshold is about 0.65 of the upper


def _mute(need: ModulatorNeed, supplies: Supplies, needed_v: float) -> tuple[dict[str, float], float]:
    """From the mute line to the run gate: resistors in Ω, and the gate's voltage while it is free, V."""
    series = _MUTE_PULL_UP_OHM + _MUTE_OHM
    wanted_v = 1.05 * needed_v
    if need.split_rails:
        collector = float(at_least(wanted_v * series / (_MUTE_LOW_V - _EMITTER_V), "E12"))
        current_a = (_MUTE_V - _EMITTER_V) / series
        run_v = min(current_a * collector, supplies.logic_v + _EMITTER_V)
        return {"mute series": _MUTE_OHM, "mute collector": collector}, run_v
    shunt = float(at_least(wanted_v * series / (_MUTE_LOW_V - wanted_v), "E12"))
    run_v = min(_MUTE_V * shunt / (series + shunt), supplies.logic_v + _EMITTER_V)
    return {"mute series": _MUTE_OHM, "mute shunt": shunt}, run_v


def _bulk(need: ModulatorNeed, drive: Drive) -> dict[str, float]:
    """Capacitors of the supplies, F."""
    boost = drive.capacitors_f["bootstrap capacitor"]
    bulk = {
        "driver supply capacitor": float(at_least(_BULK * need.legs * boost, "E3")),
        "driver decoupling": _LOCAL_F,
        "logic supply capacitor": _OP_F,
        "logic decoupling": _DECOUPLING_F,
        "op supply capacitor": _OP_F,
        "op decoupling": _DECOUPLING_F,
        "mute capacitor": _MUTE_F,
    }
    if need.clocked:
        bulk["clock supply capacitor"] = _REFERENCE_F
    if not need.split_rails:
        bulk["reference capacitor"] = _REFERENCE_F
    return bulk
