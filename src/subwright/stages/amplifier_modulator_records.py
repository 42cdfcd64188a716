"""What drives the gates of a class-D stage: from the line filter's output to the switches' gates.

Roles of the mappings are those of the bill and of the netlist. A role of one leg holds for each leg; that of
one switch for each switch.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = ["Modulator", "ModulatorForm"]

ModulatorForm = Literal["clocked", "self-oscillating"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Modulator:
    """Modulator with level shift, dead time, half-bridge drivers and their supplies, in preferred values.

    Attributes
    ----------
    form : clocked or self-oscillating. legs : 1 or 2. split_rails : whether 0 V is the middle of two rails;
        the drivers' logic then stands on the negative rail, else on 0 V.
    op_amp_id, comparator_id, driver_id, logic_id : integrated circuits.
    part_ids : library ids of the other parts by role: diodes, zeners, transistors, reference.
    resistors_ohm, capacitors_f : preferred values by role, Ω and F.
    heat_w : of resistors, zeners and transistors that get warm at the highest rail, by role, W.
    resistor_tolerance : of the integrator's four resistors, fraction.
    gain, gain_wanted : V/V from the filter's output to the load; real values, and what was asked for.
    input_hz : corner of the input coupling on one supply, Hz; 0 on split rails.
    reference_v : voltage that input and integrator refer to, V; 0 on split rails.
    clock_supply_v, clock_low_v, clock_high_v : supply of the clock and turning points of its carrier with the
        comparator's delay, V; 0 for a self-oscillating loop.
    threshold_low_v, threshold_high_v : of the clock's Schmitt trigger, V; 0 likewise.
    compare_share : share of the integrator's output that the comparator sees, dimensionless.
    hysteresis : h, integrator's threshold over half the differential swing of the nodes; 0 when clocked.
    switching_hz, switching_window_hz : at rest, at the nominal rail, Hz; lowest and highest over tolerances.
    switching_wanted_hz : asked for, Hz.
    delays_s : by name, from the comparator's crossing to the switched node, s. delay_s : their sum, s.
    carrier_slope_v_per_s, feedback_slope_v_per_s : at the comparator, highest bus, V/s; the first is 0 for a
        self-oscillating loop.
    slew_v_per_s : of the integrator at the highest bus and full output, V/s.
    integrator_window_v, integrator_room_v : lowest and highest that its output goes, and may go, V.
    difference_v : greatest between the comparator's inputs, V.
    loop_hz : frequency at which the loop's gain is 1, Hz.
    suppression_db : by which the loop lowers an error of the output stage, at the lowest note and at 100 Hz.
    dead_time_s, dead_time_window_s : gate to gate, typical, and least and greatest, s.
    dead_time_wanted_s : asked for, s.
    pulse_least_s : shortest pulse of the comparator, s. modulation_reach : greatest share of the bus that it
        leaves, dimensionless.
    offset_v, offset_limit_v : greatest DC at the load, V, and what it may be.
    bootstrap_f : of each leg, F. bootstrap_v, bootstrap_low_v : on it after charging, nominal and at the
        lowest supply, V. hold_s : longest time that the upper switch stays on, s. hold_drop_v : by which
        it falls in that time, V. lockout_v : highest voltage at
        which the driver may lock out, V. start_v : highest at which it may still refuse to start, V.
    gate_supply_v, gate_supply_low_v, gate_supply_high_v : VCC of the drivers at the nominal, the lowest and
        the highest supply, V.
    gate_current_a, gate_current_wanted_a : at each switch's plateau, A.
    driver_supply_direct : whether VCC comes through a resistor, not a follower. driver_supply_from : the net
        that feeds it.
    driver_supply_a, op_positive_a, op_negative_a : typical currents out of each supply, A; the last is 0 on
        one supply, where the op-amps hang on the drivers' supply.
    control_line_a : what the switched control supply gives, A; 0 on split rails.
    supply_a : what all of it takes, gates left out, as a current from rail to rail (from the one supply), A.
    op_supply_v : each side, V; of one supply the whole.
    mute_high_v, mute_run_v : voltage behind the mute line's pull-up that frees it, and at the gate then, V.
    logic_supply_v : above the drivers' ground, V.
    rail_low_v, rail_nominal_v, rail_high_v : one rail (or the one supply) it is designed for, V.
    """

    form: ModulatorForm
    legs: int
    split_rails: bool
    op_amp_id: str
    comparator_id: str
    driver_id: str
    logic_id: str
    part_ids: Mapping[str, str]
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    heat_w: Mapping[str, float]
    resistor_tolerance: float
    gain: float
    gain_wanted: float
    input_hz: float
    reference_v: float
    clock_supply_v: float
    clock_low_v: float
    clock_high_v: float
    threshold_low_v: float
    threshold_high_v: float
    compare_share: float
    hysteresis: float
    switching_hz: float
    switching_window_hz: tuple[float, float]
    switching_wanted_hz: float
    delays_s: Mapping[str, float]
    delay_s: float
    carrier_slope_v_per_s: float
    feedback_slope_v_per_s: float
    slew_v_per_s: float
    integrator_window_v: tuple[float, float]
    integrator_room_v: tuple[float, float]
    difference_v: float
    loop_hz: float
    suppression_db: tuple[float, float]
    dead_time_s: float
    dead_time_window_s: tuple[float, float]
    dead_time_wanted_s: float
    pulse_least_s: float
    modulation_reach: float
    offset_v: float
    offset_limit_v: float
    bootstrap_f: float
    bootstrap_v: float
    bootstrap_low_v: float
    hold_s: float
    hold_drop_v: float
    lockout_v: float
    start_v: float
    gate_supply_v: float
    gate_supply_low_v: float
    gate_supply_high_v: float
    gate_current_a: float
    gate_current_wanted_a: float
    driver_supply_direct: bool
    driver_supply_from: Literal["ground", "rail_positive", "control"]
    driver_supply_a: float
    op_positive_a: float
    op_negative_a: float
    control_line_a: float
    supply_a: float
    op_supply_v: float
    mute_high_v: float
    mute_run_v: float
    logic_supply_v: float
    rail_low_v: float
    rail_nominal_v: float
    rail_high_v: float

    @property
    def clocked(self) -> bool:
        """Whether a clock sets the frequency."""
        return self.form == "clocked"
