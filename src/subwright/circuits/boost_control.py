"""The boost converter's controller: supply from the rail, timing, sense, slope, loop, guard, gates."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from subwright.base.units import show
from subwright.circuits.builder import Builder
from subwright.circuits.models import BipolarModel, CurrentModeModel, JunctionModel, ZenerModel
from subwright.circuits.netlist import GROUND, Circuit, Reading, Steady, TestPoint, Value
from subwright.parts.schema import Controller, Zener
from subwright.stages.converter_boost_records import BoostResult
from subwright.stages.converter_boost_stop import RUN_OHM
from subwright.stages.converter_controller import CERAMIC_F, INHIBIT_OHM

__all__ = ["boost_control_circuit", "boost_feed", "current_mode_model"]

_HUNDRED: Final = 1000
_GAIN: Final = 200.0
_BASE_V: Final = 0.7
_SUPPLY_F: Final = 10e-6
_FOLLOWER_F: Final = 100e-6
_TURN_OFF_OHM: Final = 220.0
_SMALL: Final = JunctionModel(name="SMALL", forward_v=0.7, rated_a=0.1, junction_f=4e-12)
_NPN: Final = BipolarModel(name="NPN", polarity="npn", current_gain=_GAIN)
_PNP: Final = BipolarModel(name="PNP", polarity="pnp", current_gain=_GAIN)


def current_mode_model(controller: Controller) -> CurrentModeModel:
    """Behaviour of a one-output controller by its record."""
    return CurrentModeModel(
        name="CONTROLLER",
        vref_v=controller.vref_v,
        error_v=controller.error_v or 0.5 * controller.vref_v,
        ramp_low_v=controller.ramp_low_v or 1.2,
        ramp_high_v=controller.ramp_high_v or 2.8,
        discharge_a=controller.discharge_a or 8.3e-3,
        sense_v=controller.sense_v or 1.0,
        sense_division=controller.sense_division or 3.0,
        comp_offset_v=controller.comp_offset_v or 1.4,
        sense_delay_s=controller.sense_delay_s or 150e-9,
        output_drop_v=controller.output_drop_v,
        uvlo_on_v=controller.uvlo_on_v or controller.supply_min_v,
        uvlo_off_v=controller.uvlo_off_v or 0.95 * controller.supply_min_v,
        quiescent_a=controller.quiescent_a,
    )


def boost_feed(result: BoostResult) -> str:
    """Net that feeds controller and gates."""
    return "control" if result.plan.gate_supply is None else "drive"


def boost_control_circuit(
    result: BoostResult,
    *,
    rail: Value,
    control: Value,
    inhibit: Value = 0.0,
    sense: Value = 0.0,
    corners: Mapping[str, float] | None = None,
    settled: bool = False,
    comp_v: float | None = None,
) -> Circuit:
    """Netlist of everything around the controller; sources stand in for power stage and protection.

    Parameters
    ----------
    result : the converter with its bill. rail, control, inhibit, sense : of the raised rail, the control
        line, the protection's stop line and the burden, V.
    corners : battery voltages by name, V, for what the test points should read.
    settled : whether supply, reference and soft start begin charged.
    comp_v : at the error amplifier's output to begin from, V; None for a dead start.

    Returns
    -------
    Circuit whose nets ``rail``, ``sense`` and ``gate`` are those of the power stage.
    """
    plan = result.plan
    build = Builder(_HUNDRED, {use.role: use.part_id for use in result.parts})
    for name, net, value, what in (
        ("RAIL", "rail", rail, "raised rail"),
        ("CONTROL", "control", control, "control line"),
        ("INHIBIT", "inhibit", inhibit, "stop line of the protection"),
        ("SENSE", "sense", sense, "voltage across the burden"),
    ):
        source = Steady(value=value) if isinstance(value, float) else value
        build.bench(name, "voltage source", (net, GROUND), source, what)
    feed = boost_feed(result)
    out = "gate" if plan.drive.driver.kind == "direct" else "out"
    pins = ("comp", "feedback", "cs", "ramp", GROUND, out, feed, "vref")
    model = current_mode_model(plan.controller)
    build.bought("U", "384x controller", pins, "boost controller", model=model)
    feed_v = 0.0 if plan.gate_supply is None else plan.gate_supply.output_v
    _supply(build, result, feed_v if settled else 0.0)
    _timing(build, result, settled)
    _loop(build, result, settled, comp_v)
    _sense(build, result)
    _gate(build, result)
    charge = plan.switch.per_side * plan.switch.mosfet.qg_coul / plan.drive.gate_v
    build.bench("GATE", "capacitor", ("gate", GROUND), charge, "gates of the switches", initial_v=0.0)
    return Circuit(
        name="boost controller",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=_points(result, corners or {}),
    )


def _zener(zener: Zener, name: str) -> ZenerModel:
    return ZenerModel(name=name, zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a)


def _supply(build: Builder, result: BoostResult, start_v: float) -> None:
    """Follower on the rail, which two transistors let start with the control line; capacitors."""
    supply, feed = result.plan.gate_supply, boost_feed(result)
    if supply is not None:
        build.resistor("run base resistor", "control", "run_base", RUN_OHM)
        build.resistor("run base pull-down", "run_base", GROUND, RUN_OHM)
        lower, upper = ("run_pull", "run_base", GROUND), ("allowed", "run_upper", "rail")
        build.bought("Q", "transistor", lower, "run transistor, NPN", model=_NPN)
        build.resistor("run resistor", "run_upper", "run_pull", RUN_OHM)
        build.resistor("run pull-up", "rail", "run_upper", RUN_OHM)
        build.bought("Q", "transistor", upper, "run transistor, PNP", model=_PNP)
        collector = "rail"
        if supply.collector_ohm > 0.0:
            collector = "collector"
            build.resistor("gate supply collector resistor", "rail", collector, supply.collector_ohm)
        build.resistor("gate supply resistor", "allowed", "zener", supply.series_ohm)
        zener = _zener(supply.zener, "FEED")
        build.bought("VR", "zener", (GROUND, "zener"), "gate supply zener", model=zener)
        follower = BipolarModel(name="FOLLOWER", polarity="npn", current_gain=supply.transistor.hfe_min)
        nets = (collector, "zener", feed)
        build.bought("Q", "transistor", nets, "gate supply transistor", model=follower)
        build.capacitor("gate supply capacitor", feed, GROUND, _FOLLOWER_F, initial_v=start_v)
    build.capacitor("controller supply capacitor", feed, GROUND, _SUPPLY_F, initial_v=start_v)
    build.capacitor("controller ceramic", feed, GROUND, CERAMIC_F, initial_v=start_v)


def _timing(build: Builder, result: BoostResult, settled: bool) -> None:
    timing = result.plan.timing
    start_v = result.plan.controller.vref_v if settled else 0.0
    build.capacitor("reference capacitor", "vref", GROUND, CERAMIC_F, initial_v=start_v)
    build.resistor("timing resistor", "vref", "ramp", timing.rt_ohm)
    build.capacitor("timing capacitor", "ramp", GROUND, timing.ct_f, initial_v=0.0)


def _loop(build: Builder, result: BoostResult, settled: bool, comp_v: float | None) -> None:
    """Divider and compensation; soft start and stop hold the error amplifier's output down."""
    plan, loop = result.plan, result.loop
    build.resistor("feedback divider, top", "rail", "feedback", plan.divider.top_ohm)
    build.resistor("feedback divider, bottom", "feedback", GROUND, plan.divider.bottom_ohm)
    build.resistor("compensation resistor", "feedback", "lead", loop.series_ohm)
    across_v = 0.0 if comp_v is None else plan.divider.reference_v - comp_v
    build.capacitor("compensation capacitor", "lead", "comp", loop.series_f, initial_v=across_v)
    role = "compensation capacitor, fast"
    build.capacitor(role, "feedback", "comp", loop.across_f, initial_v=across_v)
    build.resistor("soft-start resistor", "vref", "soft", plan.timing.soft_start_ohm)
    start_v = plan.controller.vref_v if settled else 0.0
    build.capacitor("soft-start capacitor", "soft", GROUND, plan.timing.soft_start_f, initial_v=start_v)
    build.bought("Q", "transistor", (GROUND, "soft", "comp"), "soft-start transistor", model=_PNP)
    build.bought("D", "diode", ("soft", "vref"), "soft-start diode", model=_SMALL)
    build.resistor("inhibit base resistor", "inhibit", "inhibit_base", INHIBIT_OHM)
    build.resistor("inhibit base pull-down", "inhibit_base", GROUND, INHIBIT_OHM)
    nets = ("soft", "inhibit_base", GROUND)
    build.bought("Q", "transistor", nets, "inhibit transistor", model=_NPN)


def _sense(build: Builder, result: BoostResult) -> None:
    """Filter, slope and the zeners of the rail's guard, all into the sense pin."""
    sense, guard = result.plan.sense, result.plan.guard
    build.resistor("current sense filter resistor", "sense", "cs", sense.filter_ohm)
    build.capacitor("current sense filter capacitor", "cs", GROUND, sense.filter_f)
    build.bought("Q", "transistor", ("vref", "ramp", "slope"), "slope transistor", model=_NPN)
    build.resistor("slope resistor", "slope", "cs", sense.slope_ohm)
    roles = {zener: index for index, zener in enumerate(dict.fromkeys(z.id for z in guard.zeners), 1)}
    net = "rail"
    for place, zener in enumerate(guard.zeners, 1):
        index = roles[zener.id]
        role = "rail guard zener" if index == 1 else f"rail guard zener, {index}"
        below = "guard" if place == len(guard.zeners) else f"guard_{place}"
        build.bought("VR", "zener", (below, net), role, model=_zener(zener, f"GUARD_{index}"))
        net = below
    build.resistor("rail guard resistor", "guard", "cs", guard.series_ohm)


def _gate(build: Builder, result: BoostResult) -> None:
    """From the controller's output to the line of the gates."""
    driver, feed = result.plan.drive.driver, boost_feed(result)
    if driver.kind == "turn-off":
        build.bought("D", "diode", ("out", "gate"), "gate turn-off diode", model=_SMALL)
        build.resistor("gate turn-off base resistor", "out", "gate", _TURN_OFF_OHM)
    for transistor, collector in ((driver.npn, feed), (driver.pnp, GROUND)):
        if transistor is None:
            continue
        name = transistor.polarity.upper()
        model = BipolarModel(
            name=f"DRIVER_{name}", polarity=transistor.polarity, current_gain=transistor.hfe_min
        )
        nets = (collector, "out", "gate")
        build.bought("Q", "transistor", nets, f"gate {driver.kind}, {name}", model=model)


def _points(result: BoostResult, corners: Mapping[str, float]) -> tuple[TestPoint, ...]:
    plan = result.plan
    controller, timing = plan.controller, plan.timing
    low, high = controller.ramp_low_v or 1.2, controller.ramp_high_v or 2.8
    supply, any_battery = plan.gate_supply, "any battery, running"

    def steady(volts: float) -> tuple[Reading, ...]:
        return (Reading(at=any_battery, dc_v=volts),)

    feed = (
        steady(supply.output_v)
        if supply is not None
        else tuple(Reading(at=at, dc_v=volts) for at, volts in corners.items())
    )
    rate = show(timing.switching_hz, "frequency")
    ramp = Reading(
        at=any_battery,
        dc_v=0.5 * (low + high),
        ripple_v=high - low,
        waveform=f"saw-tooth {low:g} V to {high:g} V, {rate}",
    )
    points: list[tuple[str, str, tuple[Reading, ...]]] = [
        (boost_feed(result), "supply of controller and gates", feed),
        ("vref", "controller's reference", steady(controller.vref_v)),
        ("ramp", "ramp", (ramp,)),
        ("feedback", "divided rail", steady(plan.divider.reference_v)),
        ("cs", "sensed current with slope", ()),
        ("gate", "line of the gates", ()),
    ]
    return tuple(
        TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what, readings=readings)
        for k, (net, what, readings) in enumerate(points, 1)
    )
