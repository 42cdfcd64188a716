"""Each rule is silent, or content, on a sound build and fires on one that breaks it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import inf, nan
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from boost_breaks import BREAKS_BOOST
from findings_support import at_point, bike, changed, findings_of, lifted, put, two_pairs, van, wagon

from subwright.base.errors import SubwrightError
from subwright.base.quantities import QUANTITIES
from subwright.build.findings import evaluate, power_heat, rules
from subwright.build.findings.rule import REGISTRY, Measure
from subwright.build.result import Design
from subwright.physics.networks.rational import Rational
from subwright.stages.battery_guard_records import ReverseSwitch, ShuntDiode
from subwright.stages.cabin import CabinMode
from subwright.stages.common import Corner, Level, PartUse, Rating
from subwright.stages.control_records import Event
from subwright.stages.driver import Inconsistency
from subwright.stages.enclosure_spec import Radiator
from subwright.stages.filter import GainControl, SweepControl
from subwright.stages.protection_records import InputRange, OverCurrentTrip, TrimmerRange
from subwright.stages.speaker_guard_records import SpeakerRelay

LOW, NOMINAL, CHARGING = Corner.LOW, Corner.NOMINAL, Corner.CHARGING
PROGRAMME, FULL = Level.PROGRAMME, Level.FULL
GRAVE = ("stop", "warn", "note", "ok")


@dataclass(frozen=True)
class Break:
    """What to change on the van so that a rule fires, and how gravely."""

    changes: dict[str, Any] = field(default_factory=dict)
    points: dict[tuple[Corner, Level], dict[str, float]] = field(default_factory=dict)
    severity: str = ""  # "" : the rule's own
    bridge: bool = False  # start from the build without a converter
    base: Callable[[], Design] | None = None  # start from this build instead
    before: dict[str, Any] = field(default_factory=dict)  # what makes the example sound, where it isn't

    def start(self) -> Design:
        if self.base is not None:
            return self.base()
        return bike() if self.bridge else van()

    def sound(self) -> Design:
        return changed(self.start(), self.before)

    def design(self) -> Design:
        design = changed(self.start(), self.changes)
        for (corner, level), values in self.points.items():
            design = at_point(design, corner, level, **values)
        return design


def part(quantity: str, unit: str) -> PartUse:
    return PartUse(
        role="suspect",
        letter="R",
        part_id="1k",
        description="resistor",
        quantity=1,
        ratings=(Rating(quantity=quantity, unit=unit, applied=2.0, limit=1.0),),
    )


def order_of(name: str, value: float) -> dict[str, Any]:
    order = van().protection.order
    assert any(check.name == name for check in order), name
    return {
        "protection.order": tuple(replace(c, value=value) if c.name == name else c for c in order),
    }


SWITCH = ReverseSwitch(
    kind="n_mosfet",
    mosfet="IRF3205",
    count=3,
    resistance_ohm=4e-3,
    rms_a=24.0,
    loss_w=2.3,
    junction_c=98.0,
    junction_limit_c=175.0,
    blocks_v=32.0,
    rating_v=55.0,
    gate_ohm=10e3,
    clamp_id="BZX85C12",
    clamp_v=12.0,
    gate_low_v=11.0,
    gate_low_limit_v=4.0,
    gate_high_v=12.6,
    gate_limit_v=20.0,
    turn_off_s=4e-4,
    avalanche_limit_j=0.26,
)
CURRENT = OverCurrentTrip(
    method="shunt",
    sense_ohm=1.5e-3,
    sense_w=0.9,
    upper_ohm=8.2e3,
    lower_ohm=100.0,
    level_v=0.06,
    filter_ohm=1e3,
    filter_f=47e-9,
    filter_s=47e-6,
    target_a=60.0,
    nominal_a=60.0,
    low_a=50.0,
    high_a=70.0,
    first=("comparator offset", 0.15),
    must_a=40.0,
    limit_a=220.0,
    short_a=300.0,
    response_s=8e-6,
    after="retry",
    held_a=60.0,
)
BLIND = InputRange(watch="thermal", corner=Corner.LOW, lower_v=3.7, limit_v=2.8)
REACH = TrimmerRange(
    protection="thermal",
    unit="°C",
    fixed_ohm=3e3,
    track_ohm=2e3,
    set_ohm=575.0,
    need_low_ohm=3.15e3,
    need_high_ohm=4.06e3,
    least_ohm=3.04e3,
    most_ohm=4.56e3,
    target=85.0,
    trip_shut=91.0,
    trip_open=73.0,
    window_without=3.0,
    window_with=2.0,
)
LATE = (
    Event(name="amplifier un-muted", earliest_s=1.0, latest_s=2.0),
    Event(name="loudspeaker connected", earliest_s=3.0, latest_s=4.0),
)
RELAY = SpeakerRelay(
    relay="relay 12 V 10 A",
    contact="series",
    breaks_a=0.8,
    breaks_needed_a=15.0,
    contact_a=10.0,
    carries_a=6.0,
    coil_a=0.033,
    dropper_ohm=None,
    dropper_w=0.0,
    coil_low_v=10.9,
    pull_in_v=10.5,
    coil_high_v=15.0,
    coil_limit_v=15.6,
    resistance_ohm=0.01,
    loss_w=0.6,
    open_s=10e-3,
    coil_ohm=360.0,
    coil_h=2.2,
    drop_out_v=1.2,
    decay_s=3e-3,
)
PLATE = Radiator(
    count=1,
    sd_m2=0.05,
    bare_kg=0.15,
    added_kg=0.1,
    notch_hz=14.0,
    xmax_m=0.015,
    frame_m=0.31,
    hole_m=0.28,
    depth_m=None,
    on="front",
)
ACROSS = ShuntDiode(rectifier="MBR1045", count=1, fault_a=480.0, surge_a2s=113.0, fuse_a2s=3240.0)
COIL = van().enclosure.coil_programme or SimpleNamespace()
BLOCK = van().filter.blocks[0]
LIFT = replace(
    BLOCK,
    kind="transform",
    response=Rational(numerator=(10.0, 1e-3), denominator=(1.0, 1e-3)),
)
SWEEP = SweepControl(
    pot_ohm=22e3,
    foot_ohm=11e3,
    gangs=2,
    tracking=0.1,
    rotation=(0.0, 1.0),
    corner_hz=(40.0, 120.0),
    low_hz=40.0,
    high_hz=120.0,
    low_target_hz=40.0,
    high_target_hz=120.0,
    tracking_share=0.02,
    tracking_db=0.2,
)
KNOB = GainControl(
    pot_ohm=100e3,
    foot_ohm=10e3,
    taper="linear",
    tolerance=0.2,
    sensitivity_least_v=1.0,
    sensitivity_most_v=11.0,
    reach_v=1.5,
    rotation=(0.0, 1.0),
    sensitivity_v=(11.0, 1.0),
)
PORT = SimpleNamespace(resonance_hz=50.0)
CLASH = Inconsistency(
    quantity="qts",
    stated=0.5,
    implied=0.45,
    relative_difference=-0.11,
    suspects=("qts",),
    message="Its Qts contradicts Qms and Qes.",
)
MODE = CabinMode(frequency_hz=20.0, label="length 1")
LOUD = np.full_like(van().enclosure.frequency_hz, 140.0)

BREAKS: dict[str, list[Break]] = {
    "SUP-01": [Break({"supply.drop_ratio": 0.1})],
    "SUP-02": [Break({"supply.fuse_a": 1.0})],
    "SUP-03": [Break({"supply.fuse_a": 900.0})],
    "SUP-04": [Break({"supply.fault_a": 9e4})],
    "SUP-05": [Break({"supply.fuse_voltage_v": 6.0})],
    "SUP-06": [Break({"supply.fault_section_m2": 1e-3})],
    "SUP-07": [Break({"supply.runtime_s": 600.0})],
    "SUP-08": [Break({"protection.thresholds.under-voltage trip.window.worst_high": 12.0})],
    "SUP-09": [Break({"supply.conductor_c": 140.0})],
    "SUP-10": [Break({"converter.plan.controller.supply_max_v": 20.0})],
    "AMP-01": [
        Break(points={(NOMINAL, FULL): {"output_w": 5.0}}),
        Break(points={(NOMINAL, FULL): {"output_w": 5.0}}, severity="stop", bridge=True),
    ],
    "AMP-02": [
        Break({"converter.rail_unloaded_v": 300.0}),
        Break({"amplifier.switch_voltage_v": 90.0}, bridge=True),
    ],
    "AMP-03": [Break({"amplifier.switch_peak_a": 900.0})],
    "AMP-04": [Break({"amplifier.pumping_limit_v": 1e-3})],
    "AMP-05": [Break({"amplifier.filter_corner_hz": 1e6}), Break({"amplifier.filter_corner_hz": 1e3})],
    "AMP-06": [Break({"amplifier.filter_q": 2.0})],
    "AMP-07": [Break({"amplifier.load_least_ohm": 50.0})],
    "AMP-08": [Break({"amplifier.stuck_a": 60.0, "speaker_guard": None})],
    "AMP-11": [Break({"amplifier.switching_least_hz": 3e4})],
    "SIG-03": [Break({"signal.air.*.noise": 0.01})],
    "AMP-10": [Break({"amplifier.reactive_share": 1.4})],
    "AMP-12": [
        Break({"amplifier.devices.*.count": 4}, base=two_pairs),
        Break({"heat.devices.*.junction_c": dict.fromkeys(Level, 149.0)}, base=two_pairs),
        Break({"enclosure.impedance_ohm": np.full(200, 0.4 + 0.4j)}, base=lifted),
    ],
    "MOD-01": [Break({"amplifier.modulator.dead_time_window_s": (-5e-9, 90e-9)})],
    "MOD-02": [Break({"amplifier.modulator.offset_v": 0.9})],
    "MOD-03": [Break({"amplifier.modulator.modulation_reach": 0.9, "spec.amplifier.modulation_max": 0.95})],
    "MOD-04": [Break({"amplifier.modulator.bootstrap_low_v": 9.2})],
    "MOD-05": [Break({"amplifier.modulator.hold_drop_v": 2.5})],
    "MOD-06": [Break({"amplifier.modulator.gate_current_a": 0.3})],
    "MOD-07": [
        Break({"amplifier.modulator.integrator_window_v": (2.0, 9.5)}),
        Break({"amplifier.modulator.integrator_window_v": (1.0, 6.5)}, bridge=True),
    ],
    "MOD-08": [Break({"amplifier.modulator.feedback_slope_v_per_s": 6e5})],
    "MOD-09": [Break({"amplifier.modulator.switching_hz": 170e3})],
    "MOD-10": [Break({"amplifier.modulator.gain": 20.0})],
    "AMP-13": [Break({"amplifier.rail_heat.*.switched_w": 500.0}, base=two_pairs)],
    "AMP-14": [Break({"amplifier.lift_reached": 0.7}, base=lifted)],
    "AMP-15": [Break({"transformer.secondary_turns": 1}, base=two_pairs)],
    "AMP-16": [
        Break({"amplifier.rail_switching.upper_limit_v": 55.0}, base=two_pairs),
        Break({"converter.rail_unloaded_v": 90.0}, base=two_pairs),
        Break({"amplifier.rail_switching.upper_v": 50.0}, base=lifted),
    ],
    "AMP-17": [
        Break({"amplifier.switch_peak_a": 300.0}),
        Break({"amplifier.rail_ripple_a": 9.0}, base=lifted),
    ],
    "AMP-09": [Break({"amplifier.dead_time_thd": 0.2})],
    "VST-01": [
        Break({"amplifier.voltage_stage.need_a": 0.05}, base=two_pairs),
        Break({"amplifier.voltage_stage.stage_a": 3e-3}, base=lifted),
    ],
    "VST-02": [Break({"amplifier.voltage_stage.slew_v_per_s": 1e6}, base=two_pairs)],
    "VST-03": [Break({"amplifier.voltage_stage.phase_margin_deg": 40.0}, base=two_pairs)],
    "VST-04": [Break({"amplifier.voltage_stage.offset_v": 0.3}, base=two_pairs)],
    "VST-05": [Break({"amplifier.voltage_stage.limit_a": 0.01}, base=two_pairs)],
    "VST-06": [
        Break({"amplifier.voltage_stage.clip_upper_v": 6.0}, base=two_pairs),
        Break({"amplifier.voltage_stage.clip_lower_v": 6.0}, base=lifted),
    ],
    "VST-07": [Break({"amplifier.voltage_stage.mute_db": -30.0}, base=two_pairs)],
    "VST-08": [Break({"amplifier.voltage_stage.gain": 20.0}, base=two_pairs)],
    "BAL-01": [Break({"balance.imbalance": 0.01}), Break({"balance.imbalance": -0.01})],
    "EFF-01": [Break(points={(NOMINAL, FULL): {"efficiency": 0.6}})],
    "CNV-01": [Break(points={(NOMINAL, FULL): {"rail_crest_v": 20.0}})],
    "CNV-02": [Break({"converter.rail_unloaded_v": 300.0})],
    "CNV-03": [Break({"converter.plan.drain_limit_needed_v": 400.0})],
    "CNV-04": [
        Break({"converter.drain_peak_v": 400.0}),
        Break({"converter.clamp": None, "converter.drain_ring_v": 400.0}),
    ],
    "CNV-05": [
        Break({"converter.drain_ring_v": 400.0, "converter.plan.switch.mosfet.eas_j": 1e-6}),
    ],
    "CNV-06": [Break({"converter.reverse_peak_v": 2e3})],
    "CNV-07": [Break({"converter.plan.rectifier.rectifier.if_a": 0.2})],
    "CNV-08": [
        Break(points={(CHARGING, PROGRAMME): {"input_ripple_a": 90.0}}),
        Break(points={(NOMINAL, FULL): {"input_ripple_a": 90.0}}),
    ],
    "CNV-09": [
        Break(points={(CHARGING, PROGRAMME): {"reservoir_ripple_a": 90.0}}),
        Break(points={(NOMINAL, FULL): {"reservoir_ripple_a": 90.0}}),
    ],
    "CNV-10": [
        Break({"converter.rail_unloaded_v": 300.0}),
        # Pumping alone: the rail just fits, its rise no longer does.
        Break({"converter.rail_limit_v": van().converter.rail_unloaded_v * 1.001}),
        # Without pumping the rail itself.
        Break({"amplifier.pumping_v": None, "converter.rail_limit_v": 20.0}),
    ],
    "CNV-11": [Break({"converter.reservoir_needed_f": 1.0})],
    "CNV-12": [
        Break({"converter.plan.timing.switching_target_hz": 20e3}),
        Break({"converter.plan.timing.switching_target_hz": 90e3}),
    ],
    "CNV-13": [Break({"converter.turn_off_s": 5e-6})],
    "CNV-14": [Break(points={(LOW, FULL): {"terminal_least_v": 8.5}})],
    "CNV-15": [Break({"supply.corners": {**van().supply.corners, Corner.MAX: 32.0}})],
    "CNV-16": [
        Break(points={(LOW, FULL): {"terminal_least_v": 6.0}}),
        Break({"converter.plan.controller.uvlo_on_v": 20.0}),
        Break({"converter.plan.controller.uvlo_off_v": None, "converter.plan.controller.supply_min_v": 20.0}),
    ],
    "CNV-17": [Break({"converter.plan.controller.supply_max_v": 12.0})],
    "CNV-18": [Break({"converter.inrush_a": 900.0})],
    "CNV-19": [Break({"converter.bleeder_s": 600.0})],
    "CNV-20": [Break(points={(NOMINAL, FULL): {"losses_w": {"rectifier": 200.0}}})],
    "CNV-21": [Break({"heat.air_c": 104.0})],
    "CNV-22": [Break(points={(NOMINAL, Level.IDLE): {"battery_w": 1.0}})],
    "CNV-23": [Break({"converter.choke": SimpleNamespace(holds_from_v=13.0)})],
    "CNV-24": [
        Break({"converter.plan.rectifier.rectifier.vrrm_v": 80.0}),
        Break({"converter.plan.rectifier.rectifier.if_a": 5.0}),
    ],
    "CNV-27": [Break({"converter.bass_ripple_v": 20.0})],
    "CNV-26": [Break({"converter.choke": SimpleNamespace(share_nominal=0.9, share_most=0.85)})],
    "CNV-25": [Break({"converter.plan.rectifier.rectifier.if_a": 1.0})],
    "RAT-01": [Break({"supply.parts": (part("continuous current", "A"),)})],
    "RAT-02": [Break({"converter.parts": (part("voltage", "V"),)})],
    "RAT-03": [Break({"transformer.parts": (part("wire temperature", "°C"),)})],
    "RAT-04": [Break({"protection.parts": (part("power", "W"),)})],
    "RAT-05": [Break({"filter.parts": (part("power", "W"),)})],
    "RAT-06": [Break({"amplifier.parts": (part("ripple current", "A"),)})],
    "RAT-10": [Break({"control.parts": (part("collector current", "A"),)})],
    "RAT-09": [Break({"input.parts": (part("power", "W"),)})],
    "RAT-08": [Break({"speaker_guard.parts": (part("coil voltage", "V"),)})],
    "RAT-07": [Break({"battery_guard.parts": (part("pulse power", "W"),)})],
    "HEA-01": [
        Break({"heat.devices.*.junction_c": dict.fromkeys(Level, 190.0)}),
        Break({"heat.devices.*.worst_c": 190.0, "heat.devices.*.trip_c": 180.0}),
    ],
    "HEA-02": [
        Break({"heat.sink_c": dict.fromkeys(Level, 99.0)}),
        Break({"heat.basis": FULL, "heat.sink_worst_c": 99.0}),
    ],
    "HEA-03": [Break({"heat.touch_c": 90.0})],
    "HEA-04": [
        Break({"heat.time_to_trip_s": 5.0}),
        Break({"heat.time_to_trip_s": None, "heat.sink_worst_c": 99.0}),
    ],
    "HEA-05": [Break({"heat.sink_c": dict.fromkeys(Level, 99.0)})],
    "HEA-06": [Break({"heat.air_c": 80.0})],
    "WIR-01": [Break({"wiring.conductors.*.rise_k": 60.0})],
    "WIR-02": [Break({"wiring.speaker.loss_ratio": 0.1})],
    "WIR-03": [Break({"wiring.conductors.*.rms_a": 60.0})],
    "WIR-04": [Break({"wiring.speaker.current_limit_a": 0.5})],
    "BRD-01": [Break({"control.remote.switch_a": 4.0})],
    "BRD-02": [Break({"converter.rail_unloaded_v": 190.0})],
    "BRD-03": [
        Break({"spec.board.track_m": 0.9e-3, "spec.board.spacing_m": 0.5e-3}),
        Break({"spec.board.track_m": 0.3e-3, "spec.board.spacing_m": 0.96e-3}),
    ],
    "WIR-05": [Break({"wiring.conductors.*.fusing_a": 5.0})],
    "MAG-01": [Break({"transformer.flux_limit_t": 0.01})],
    "MAG-02": [Break({"transformer.flux_lost_pulse_t": 0.6})],
    "MAG-03": [Break({"transformer.fill": 0.6})],
    "MAG-04": [Break({"transformer.rise_high_k": 90.0})],
    "MAG-05": [Break({"transformer.rise_full_high_k": 150.0})],
    "MAG-06": [Break({"transformer.build_share": 1.2})],
    "MAG-07": [
        Break({"transformer.ratio": 1.0}),
        Break({"transformer.ratio": 9.0}, severity="stop"),
    ],
    "MAG-08": [Break({"transformer.secondary.heating_density_a_per_m2": 2e7})],
    "MAG-09": [Break({"transformer.magnetising_peak_a": 30.0})],
    "MAG-10": [Break({"transformer.regulation": 0.1})],
    "MAG-11": [Break({"transformer.saturation_t": 0.05})],
    "MAG-12": [Break({"converter.plan.timing.switching_tolerance": 5.0})],
    "MAG-13": [Break({"transformer.primary.proximity_share": 0.7})],
    "MAG-14": [Break(points={(NOMINAL, FULL): {"losses_w": {"leakage clamp": 40.0}}})],
    "MAG-15": [Break({"transformer.core.shape": "ring", "transformer.hole_left_m": 1e-3})],
    "MAG-16": [Break({"transformer.lead_h": 80e-9, "transformer.leakage_h": 100e-9})],
    "MAG-17": [
        Break({"transformer.core.provenance.kind": "measured", "transformer.flux_lost_pulse_t": 0.4}),
        Break(
            {"transformer.core.provenance.kind": "measured", "transformer.flux_lost_pulse_t": 0.1},
            severity="note",
            before={"transformer.core.provenance.kind": "datasheet"},
        ),
    ],
    "MAG-19": [Break({"transformer.search.feasible": 0})],
    "MAG-18": [Break({"converter.plan.timing.soft_start_s": 0.0, "transformer.lost_pulse_limit_t": 0.15})],
    "PRO-01": [
        Break(order_of("under-voltage trip below the low corner at rest", 20.0)),
        Break(order_of("under-voltage trip below the low corner at full sine", 20.0), severity="note"),
    ],
    "PRO-02": [
        Break({"protection.thresholds.under-voltage release.window.worst_high": 20.0}),
        Break({"protection.thresholds.under-voltage release.window.worst_high": 13.5}, severity="warn"),
    ],
    "PRO-03": [
        Break(order_of("over-voltage trip above charging", 10.0)),
        Break(order_of("over-voltage trip above the max corner", 10.0)),
    ],
    "PRO-04": [Break(order_of("under-voltage hysteresis against chatter", 0.01))],
    "PRO-05": [
        Break(order_of("voltage windows apart", 30.0)),
        Break(order_of("under-voltage release above its trip", -0.1)),
        Break(order_of("over-voltage release below its trip", -0.1)),
        Break(order_of("thermal release below its trip", -0.1)),
        Break(order_of("thermal release above the hottest ambient", 20.0), severity="warn"),
        Break(order_of("over-voltage release above charging", 10.0), severity="warn"),
    ],
    "PRO-06": [
        Break(
            {"protection.thresholds.thermal trip.window.worst_high": 250.0, "heat.devices.*.worst_c": 300.0}
        )
    ],
    "PRO-07": [
        Break({"protection.reference.comparator_low_v": 1.0}),
        Break({"protection.reference.comparator_high_v": 90.0}),
        Break({"protection.reference.clamp_w": 9.0}),
    ],
    "PRO-08": [Break({"protection.reference.load_a": 1.0})],
    "PRO-09": [Break({"protection.thresholds.over-voltage trip.window.worst_high": 25.0})],
    "PRO-10": [Break({"protection.sink_a": 0.5})],
    "PRO-11": [Break({"protection.thermal.self_heating_k": 9.0})],
    "PRO-12": [
        Break({"protection.reference.range_lost_v": 11.0}),
        Break(
            {
                "protection.reference.range_lost_v": 9.0,
                "converter.plan.controller.uvlo_off_v": None,
                "supply.corners": {**van().supply.corners, Corner.MIN: 6.0},
            }
        ),
        Break(
            {
                "protection.reference.range_lost_v": 7.0,
                "supply.corners": {**van().supply.corners, Corner.MIN: 8.0},
            },
            severity="note",
        ),
        Break({"protection.reference.range_lost_v": 12.5}, bridge=True),
    ],
    "PRO-13": [Break({"supply.corners": {**van().supply.corners, Corner.MIN: 11.5}})],
    "PRO-15": [
        Break({"protection.over_current": replace(CURRENT, low_a=20.0)}),
        Break({"protection.over_current": replace(CURRENT, high_a=250.0)}),
        Break({"protection.over_current": replace(CURRENT, short_a=65.0, response_s=None)}),
        Break({"protection.amplifier_current": replace(CURRENT, low_a=20.0)}),
    ],
    "PRO-16": [Break({"protection.lamp_currents.low_a": 1e-4})],
    "PRO-17": [Break({"protection.inputs": (BLIND,)})],
    "PRO-18": [
        Break({"protection.trimmers": (replace(REACH, need_low_ohm=2.9e3),)}),
        Break({"protection.trimmers": (replace(REACH, need_high_ohm=4.7e3),)}),
    ],
    "PRO-14": [Break({"protection.chatter.trace.trips": 3})],
    "GRD-01": [Break({"battery_guard.kind": "none"})],
    "GRD-02": [
        Break({"battery_guard.reverse": SWITCH, "battery_guard.reversed_j": 9.0}),
        Break({"battery_guard.reverse": replace(SWITCH, junction_c=190.0)}),
        Break({"battery_guard.reverse": replace(SWITCH, gate_low_v=5.0)}),
    ],
    "GRD-03": [Break({"battery_guard.diode": ACROSS})],
    "GRD-04": [Break({"battery_guard.stresses": (replace(van().battery_guard.stresses[0], at_v=99.0),)})],
    "GRD-06": [
        Break(
            {"protection.cranking": (replace(van().protection.cranking[0], engine_v=9.0),)}, severity="warn"
        ),
        Break({"protection.cranking": (replace(van().protection.cranking[0], sensed_v=1.0),)}),
    ],
    "GRD-07": [
        Break({"battery_guard.negative": (replace(van().battery_guard.negative[0], value=-40.0),)}),
    ],
    "SEQ-01": [
        Break({"control.switch_on": (Event(name="rails good", earliest_s=0.0, latest_s=9.0), *LATE)}),
    ],
    "SEQ-02": [
        Break(
            {
                "control.switch_off": (
                    Event(name="loudspeaker off", earliest_s=0.0, latest_s=0.5),
                    Event(name="rails fallen", earliest_s=0.1, latest_s=0.3),
                )
            }
        )
    ],
    "SEQ-03": [
        Break({"control.remote.on_high_v": 13.0}),
        Break({"control.remote.on_low_v": 0.5}),
        Break({"control.remote.line_a": 0.1}),
    ],
    "SEQ-04": [Break({"control.parked_share": 0.4})],
    "SPK-01": [Break({"speaker_guard.detector.bass_v": 0.9})],
    "SPK-02": [Break({"speaker_guard.coil_heat_j": 1e5})],
    "SPK-03": [Break({"speaker_guard.relay": RELAY})],
    "SPK-04": [
        Break({"speaker_guard.relay": replace(RELAY, coil_low_v=8.0)}),
        Break({"speaker_guard.relay": replace(RELAY, coil_high_v=40.0)}),
    ],
    "SPK-05": [
        Break({"speaker_guard.switch.rating_v": 55.0}),
        Break({"speaker_guard.switch.coil_j": 5.0}),
    ],
    "GRD-05": [
        Break({"battery_guard.clamp.standoff_v": 12.0}),
        Break({"battery_guard.clamp.power_w": 1e6}),
    ],
    "FIL-01": [Break({"filter.low_pass.nominal_hz": 120.0})],
    "FIL-02": [Break({"filter.blocks": (replace(BLOCK, gbw_hz=1.0),)})],
    "FIL-03": [Break({"filter.blocks": (replace(BLOCK, slew_v_per_s=1.0),)})],
    "FIL-04": [Break({"filter.levels.headroom_db": 0.5})],
    "FIL-05": [
        Break({"enclosure.kind": "vented", "enclosure.tuning_hz": 32.0, "filter.infrasonic_hz": None}),
        Break({"enclosure.kind": "vented", "enclosure.tuning_hz": 60.0, "filter.infrasonic_hz": 20.0}),
    ],
    "FIL-06": [Break({"filter.levels.snr_db": 50.0})],
    "FIL-07": [Break({"filter.low_pass.rss_low_hz": 50.0}), Break({"filter.low_pass.rss_high_hz": 110.0})],
    "FIL-08": [Break({"filter.op_amp_supply.low_v": 1.0}), Break({"filter.op_amp_supply.high_v": 90.0})],
    "FIL-09": [Break({"filter.levels.output_offset_v": -1.0})],
    "FIL-10": [
        Break({"filter.sweep": replace(SWEEP, low_hz=30.0)}),
        Break({"filter.sweep": replace(SWEEP, high_hz=200.0)}),
    ],
    "FIL-11": [Break({"filter.sweep": replace(SWEEP, tracking_db=2.0)})],
    "FIL-12": [Break({"filter.gain_control": KNOB})],
    "FIL-13": [Break({"filter.blocks": (LIFT,)})],
    "FIL-14": [Break({"filter.shape_miss_db": 1.5})],
    "INP-01": [Break({"input.noise_db": 20.0})],
    "INP-02": [Break({"input.receiver": "difference", "input.common_mode_v": 30.0})],
    "INP-03": [Break({"input.clamp_a": 1.0})],
    "INP-04": [Break({"input.source": "speaker", "input.source_v": 12.0})],
    "SIG-01": [Break({"signal.headroom_db": -1.0})],
    "SIG-02": [Break({"signal.peak.peak_db": 12.0})],
    "GOA-01": [Break({"goal.spl_db": 139.0})],
    "GOA-02": [Break({"enclosure.passband_db": 150.0})],
    "DRV-01": [Break({"driver.inconsistencies": (CLASH,)})],
    "DRV-02": [
        Break(points={(NOMINAL, PROGRAMME): {"output_w": 2e3}}),
        Break(points={(CHARGING, PROGRAMME): {"output_w": 2e3}}),
    ],
    "DRV-03": [Break(points={(NOMINAL, FULL): {"output_w": 2e3}})],
    "DRV-04": [Break({"enclosure.coil_programme.temperature_c": 400.0})],
    "DRV-05": [Break({"enclosure.qts_with_source": 0.9}), Break({"enclosure.qts_with_source": 0.1})],
    "DRV-06": [Break({"enclosure.coil_full.temperature_c": 400.0})],
    "DRV-07": [Break({"enclosure.coil_programme.compression_db": -5.0})],
    "CAB-01": [Break({"cabin.modes": (MODE,)})],
    "SND-01": [Break({"enclosure.full_cabin_spl_db": LOUD})],
    "SND-02": [Break({"enclosure.full_cabin_spl_db": LOUD})],
    "ENC-01": [
        Break({"enclosure.room_width_m": 0.1}),
        Break({"enclosure.room_height_m": 0.1}),
        Break({"enclosure.room_depth_m": 0.1}),
    ],
    "ENC-02": [Break({"enclosure.port_speed_m_per_s": 30.0, "enclosure.port_speed_at_hz": 32.0})],
    "ENC-03": [Break({"enclosure.excursion_m": 0.1})],
    "ENC-04": [
        Break({"enclosure.excursion_m": 0.1, "enclosure.xdamage_m": 0.02}),
        Break({"enclosure.infrasonic_excursion_m": 0.1, "enclosure.xdamage_m": 0.02}),
    ],
    "ENC-05": [Break({"enclosure.infrasonic_excursion_m": 0.1})],
    "ENC-06": [
        Break({"enclosure.panel_resonance_hz": 100.0}),
        Break({"enclosure.panel_resonance_hz": 60.0}, severity="warn"),
    ],
    "ENC-07": [Break({"enclosure.driver_depth_m": 2.0})],
    "ENC-08": [Break({"enclosure.group_delay_s": np.full_like(LOUD, 0.1)})],
    "ENC-09": [Break({"enclosure.net_volume_m3": 1e-3})],
    "ENC-10": [Break({"enclosure.tuning_hz": 30.0, "enclosure.target_tuning_hz": 40.0})],
    "ENC-11": [Break({"enclosure.qtc": 1.4})],
    "ENC-12": [Break({"enclosure.port": PORT})],
    "ENC-13": [Break({"enclosure.mass_kg": 60.0})],
    "ENC-14": [
        Break(
            {
                "enclosure.radiator": PLATE,
                "enclosure.radiator_excursion_m": 0.03,
                "enclosure.radiator_excursion_at_hz": 33.0,
            }
        )
    ],
    "ENC-15": [Break({"spec.enclosure.electronics_inside": True, "enclosure.wall_k_per_w": 5.0})],
    "ENC-16": [Break({"enclosure.balance.tip_g": 0.5})],
}

BREAKS |= {
    code: [Break(changes, severity=severity, base=wagon) for changes, severity in cases]
    for code, cases in BREAKS_BOOST.items()
}

CASES = [
    pytest.param(code, case, id=f"{code}{'abcdef'[k]}")
    for code, cases in BREAKS.items()
    for k, case in enumerate(cases)
]


def test_every_rule_has_a_design_that_breaks_it() -> None:
    assert set(BREAKS) == set(REGISTRY)


@pytest.mark.parametrize(("code", "case"), CASES)
def test_the_rule_fires(code: str, case: Break) -> None:
    page = REGISTRY[code]
    sound = {f.quantity for f in findings_of(code, case.sound()) if f.margin < 0}
    broken = [f for f in findings_of(code, case.design()) if f.margin < 0 and f.quantity not in sound]
    if not broken:  # the sound build breaks it already: then it must get worse
        before = min(f.margin for f in findings_of(code, case.sound()))
        broken = [f for f in findings_of(code, case.design()) if f.margin < before]
    assert broken, "it stays silent"
    assert min(broken, key=lambda f: GRAVE.index(f.severity)).severity == (case.severity or page.severity)
    for finding in broken:
        assert finding.open
        assert finding.remedy
        assert finding.stage == page.stage
        assert finding.source == page.source
        assert finding.quantity in finding.message


@pytest.mark.parametrize(
    "design",
    [pytest.param(van, id="van"), pytest.param(bike, id="bike"), pytest.param(wagon, id="wagon")],
)
def test_each_measure_is_finite_and_of_a_known_dimension(design: Any) -> None:
    findings = evaluate(design())
    assert findings
    for finding in findings:
        assert finding.dimension in QUANTITIES, finding.code
        assert np.isfinite([finding.value, finding.limit, finding.margin]).all(), finding.code
        assert finding.severity in ("stop", "warn", "note", "ok")
        assert (finding.severity == "ok") <= (finding.margin >= 0)


def test_gravest_first_then_by_code_and_margin() -> None:
    found = evaluate(van())
    keys = [(GRAVE.index(f.severity), f.code, f.margin) for f in found]
    assert keys == sorted(keys)


def test_without_a_converter_its_rules_say_nothing() -> None:
    found = {finding.code[:3] for finding in evaluate(bike())}
    assert not found & {"CNV", "MAG"}
    assert {"SUP", "AMP", "PRO", "FIL", "DRV", "ENC", "HEA", "WIR", "SND"} <= found
    assert not findings_of("RAT-02", bike())


def test_each_stage_of_a_build_has_a_tightest_margin() -> None:
    stages = {finding.stage for finding in evaluate(van())}
    assert stages >= {name for name, _ in van().stage_results()}


def test_a_small_margin_is_a_note_and_a_large_one_is_fine() -> None:
    page = REGISTRY["MAG-06"]  # near: 5 %
    for share, severity in ((0.9, "ok"), (0.97, "note"), (1.01, "stop")):
        (finding,) = page.evaluate(put(van(), "transformer.build_share", share))
        assert finding.severity == severity
        assert finding.margin == pytest.approx(1.0 - share)


def test_a_value_that_is_no_number_is_refused_and_names_the_rule() -> None:
    for bad in (nan, inf):
        with pytest.raises(SubwrightError, match="MAG-03") as caught:
            findings_of("MAG-03", put(van(), "transformer.fill", bad))
        assert caught.value.quantity == "copper share of the window"


@pytest.mark.parametrize(
    ("value", "limit", "sense", "margin"),
    [
        (8.0, 10.0, "at most", 0.2),
        (12.0, 10.0, "at most", -0.2),
        (12.0, 10.0, "at least", 0.2),
        (8.0, 10.0, "at least", -0.2),
        (1.0, 0.0, "at most", -1.0),
        (0.5, 0.0, "at least", 1.0),
        (0.0, 0.0, "at most", 0.0),
        (-8.0, -10.0, "at most", -0.2),
        (-12.0, -10.0, "at most", 0.2),
    ],
)
def test_margins(value: float, limit: float, sense: Any, margin: float) -> None:
    measure = Measure(quantity="x", value=value, limit=limit, dimension="voltage", sense=sense)
    assert measure.margin == pytest.approx(margin)


# --- ratings ------------------------------------------------------------------------------------------


def test_a_rating_without_a_limit_is_not_judged() -> None:
    use = part("ripple current, peak", "A")
    use = replace(use, ratings=(replace(use.ratings[0], limit=inf),))
    assert not findings_of("RAT-02", put(van(), "converter.parts", (use,)))


def test_ratings_keep_their_unit() -> None:
    units = {"V": "voltage", "A": "current", "W": "power", "°C": "temperature", "K": "temperature difference"}
    units |= {"": "share", "m": "length", "m/s": "speed", "T": "flux density", "A/m²": "current density"}
    for unit, dimension in units.items():
        (finding,) = findings_of("RAT-02", put(van(), "converter.parts", (part("stress", unit),)))
        assert finding.dimension == dimension


def test_every_unit_of_a_rating_is_known() -> None:
    for design in (van(), bike()):
        for name, use in design.part_uses():
            for rating in use.ratings:
                assert rating.unit in power_heat._dimensions(), (name, use.role)


def test_ratings_left_to_other_rules_exist() -> None:
    """A rating that is renamed must not slip through unjudged, nor be judged twice."""
    present = {
        (name, rating.quantity)
        for design in (van(), bike())
        for name, use in design.part_uses()
        for rating in use.ratings
    }
    assert present >= power_heat._JUDGED_ELSEWHERE


def test_all_parts_with_ratings_are_covered() -> None:
    judged = {r.stage for r in rules() if r.code.startswith("RAT")}
    elsewhere = {name for name, _ in power_heat._JUDGED_ELSEWHERE}
    for design in (van(), bike()):
        stages = {name for name, use in design.part_uses() if use.ratings}
        assert stages <= judged | elsewhere


# --- protection ---------------------------------------------------------------------------------------


def test_every_pair_of_the_protections_order_is_judged_once() -> None:
    order = van().protection.order
    judged = sum(len(findings_of(code, van())) for code in ("PRO-01", "PRO-03", "PRO-04", "PRO-05"))
    assert judged == len(order) - 1  # the release has a rule that reads its own window
    worst = {f"{check.name}": check.margin for check in order}
    for finding in findings_of("PRO-05", van()):
        assert (finding.margin < 0) == (worst[finding.quantity] < 0)
