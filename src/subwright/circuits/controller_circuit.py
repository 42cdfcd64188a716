"""The converter's controller: supply and lockout, timing parts, soft start, inhibit, feedback or none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.circuits.controller_families import SOFT_NETS, family_pins, family_surroundings
from subwright.circuits.controller_parts import HUNDRED, ControllerParts, Models
from subwright.circuits.models import BipolarModel, ControllerModel, ZenerModel
from subwright.circuits.netlist import GROUND, Circuit, PartKind, Reading, Steady, TestPoint, Value
from subwright.parts.schema import Controller
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_controller import CERAMIC_F, OUTPUT_PULL_OHM, SUPPLY_F
from subwright.stages.converter_family import open_emitters, ramp_v
from subwright.stages.converter_timing import soft_start_levels

__all__ = ["controller_circuit", "controller_kind", "controller_model", "supply_net"]

_LOAD_OHM: Final = 10e3  # on each output while the gates are elsewhere
_BASE_V: Final = 0.7
_LOWEST_V: Final = 0.1  # to which a ramp that ends at nought is emptied
_STOP_OHM: Final = 1.0
_KINDS: Final[Mapping[str, PartKind]] = {
    "3525": "3525 controller",
    "494": "494 controller",
    "3524": "3524 controller",
    "3846": "3846 controller",
}
_FAMILIES: Final[Mapping[str, Literal["3525", "494", "3524", "3846"]]] = {
    "3525": "3525",
    "494": "494",
    "3524": "3524",
    "3846": "3846",
}


def controller_kind(controller: Controller) -> PartKind:
    """Kind of part that a controller is in a netlist.

    Raises
    ------
    SubwrightError : its family has no circuit.
    """
    if controller.family not in _KINDS:
        raise SubwrightError(
            message=f"There is no circuit around a {controller.family}-family controller.",
            quantity="converter.controller",
            value=controller.id,
            limit=" or ".join(f"a {family}" for family in _KINDS),
            remedy='Set converter.controller = "auto" or to one of these families.',
        )
    return _KINDS[controller.family]


def controller_model(controller: Controller) -> ControllerModel:
    """Behaviour of a controller by its record: the constants of its frequency equation."""
    controller_kind(controller)
    low_v, high_v = ramp_v(controller)
    low_v = max(low_v, _LOWEST_V)
    # Discharge takes rd_weight/osc_k · RD CT: the level for which the exponential says the same.
    discharge_v = low_v
    if controller.rd_weight:
        grown = 2.718281828459045 ** (controller.rd_weight / controller.osc_k)
        discharge_v = (grown * low_v - high_v) / (grown - 1.0)
    return ControllerModel(
        name="CONTROLLER",
        family=_FAMILIES[controller.family],
        vref_v=controller.vref_v,
        charge_v=controller.osc_k * (high_v - low_v),
        ramp_low_v=low_v,
        ramp_high_v=high_v,
        discharge_v=discharge_v,
        dead_min_s=controller.dead_min_s,
        dead_share=1.0 - 2.0 * controller.duty_max,
        uvlo_on_v=controller.uvlo_on_v or controller.supply_min_v,
        uvlo_off_v=controller.uvlo_off_v or 0.95 * controller.supply_min_v,
        soft_start_a=controller.soft_start_a,
        quiescent_a=controller.quiescent_a,
        dead_ohm=controller.dead_ohm,
    )


def supply_net(result: ConverterResult) -> str:
    """Net that feeds controller and drivers."""
    return "control" if result.gate_supply is None else "drive"


def controller_circuit(
    result: ConverterResult,
    *,
    supply: Value,
    corners: Mapping[str, float],
    inhibit_v: float = 0.0,
    rail: Value = None,
    stopped: bool = False,
    settled: bool = False,
) -> Circuit:
    """Netlist of the controller.

    Parameters
    ----------
    result : the converter. supply : of the control circuits, V.
    corners : battery voltages by name, V, for what the test points should read.
    inhibit_v : of the protection's inhibit, V. rail : the positive rail of a regulated converter, V; None
        holds it a little below its set value, so that the duty opens.
    stopped : the ramp is held down, for a look at slow nets. settled : soft start long over.

    Returns
    -------
    Circuit; its outputs "out_a" and "out_b" go to the gate drive.

    Raises
    ------
    SubwrightError : the family has no circuit.
    """
    controller, timing = result.plan.controller, result.plan.timing
    kind, feed = controller_kind(controller), supply_net(result)
    build = ControllerParts()
    build.bench("CONTROL", "voltage source", ("control", GROUND), supply, "control supply")
    build.bench("INHIBIT", "voltage source", ("inhibit", GROUND), Steady(value=inhibit_v), "protection")
    models: Models = [controller_model(controller)]
    if result.gate_supply is None:
        build.capacitor("controller supply capacitor", feed, GROUND, SUPPLY_F)
    else:
        models += _follower(build, result, settled=settled)
    fed_v = result.gate_supply.output_v if settled and result.gate_supply is not None else None
    build.capacitor("controller ceramic", feed, GROUND, CERAMIC_F, initial_v=fed_v)
    build.add("U", kind, family_pins(result, feed), "push-pull controller", controller.id, model="CONTROLLER")
    build.capacitor("reference capacitor", "vref", GROUND, CERAMIC_F)
    build.resistor("timing resistor", "rt", GROUND, timing.rt_ohm)
    build.capacitor("timing capacitor", "ct", GROUND, timing.ct_f)
    if timing.rd_ohm > 0.0:
        build.resistor("discharge resistor", "ct", "discharge", timing.rd_ohm)
    models += family_surroundings(result)(build, result, settled)
    if result.choke is not None:
        held = Steady(value=0.98 * result.choke.set_v) if rail is None else rail
        build.bench("RAIL", "voltage source", ("rail_positive", GROUND), held, "positive rail")
        build.resistor("feedback divider, top", "rail_positive", "feedback", result.choke.feedback_top_ohm)
        build.resistor("feedback divider, bottom", "feedback", GROUND, result.choke.feedback_bottom_ohm)
    if open_emitters(controller):
        for out in ("out_a", "out_b"):
            build.resistor("output pull-down", out, GROUND, OUTPUT_PULL_OHM)
    for side in "ab":
        build.bench(f"LOAD_{side.upper()}", "resistor", (f"out_{side}", GROUND), _LOAD_OHM, "gate drive")
    if stopped:
        build.bench("STOP", "resistor", ("ct", GROUND), _STOP_OHM, "holds the ramp down")
    return Circuit(
        name="converter controller",
        parts=tuple(build.parts),
        models=tuple(models),
        test_points=_points(result, corners),
        open_nets=("sync", "oscillator", "comp"),
    )


def _follower(build: ControllerParts, result: ConverterResult, *, settled: bool) -> Models:
    """Zener and emitter follower that make the drive's supply from the control supply."""
    gate = result.gate_supply
    assert gate is not None
    collector = "control"
    if gate.collector_ohm > 0.0:
        collector = "collector"
        build.resistor("gate supply collector resistor", "control", collector, gate.collector_ohm)
    build.resistor("gate supply resistor", "control", "zener", gate.series_ohm)
    build.add("VR", "zener", (GROUND, "zener"), "gate supply zener", gate.zener.id, model="ZENER")
    nets = (collector, "zener", "drive")
    build.add("Q", "transistor", nets, "gate supply transistor", gate.transistor.id, model="NPN_FOLLOWER")
    build.capacitor(
        "gate supply capacitor", "drive", GROUND, 100e-6, initial_v=gate.output_v if settled else None
    )
    return [
        ZenerModel(
            name="ZENER",
            zener_v=gate.zener.vz_v,
            slope_ohm=gate.zener.rz_ohm,
            rated_a=gate.zener.iz_test_a,
        ),
        BipolarModel(name="NPN_FOLLOWER", polarity="npn", current_gain=gate.transistor.hfe_min),
    ]


def _points(result: ConverterResult, corners: Mapping[str, float]) -> tuple[TestPoint, ...]:
    """What the bench should read, running without inhibit."""
    controller, timing = result.plan.controller, result.plan.timing
    low_v, high_v = ramp_v(controller)
    supply, slow = result.gate_supply, SOFT_NETS[controller.family]
    _, _, rest = soft_start_levels(controller, timing.divider_top_ohm, timing.divider_bottom_ohm)

    def feed_v(battery_v: float) -> float:
        return battery_v if supply is None else min(supply.zener.vz_v - _BASE_V, battery_v - _BASE_V)

    always = "any battery, running"
    ramp = f"saw-tooth {low_v:g} V to {high_v:g} V, {show(timing.oscillator_hz, 'frequency')}"
    high = {at: feed_v(volts) - result.plan.drive.driver.drop_v for at, volts in corners.items()}
    square = f"square wave, {show(timing.switching_hz, 'frequency')}"
    points: list[tuple[str, str, tuple[Reading, ...]]] = [
        (
            supply_net(result),
            "supply of controller and drivers",
            tuple(Reading(at=at, dc_v=feed_v(volts)) for at, volts in corners.items()),
        ),
        ("vref", "controller's reference", (Reading(at=always, dc_v=controller.vref_v),)),
        (
            "ct",
            "ramp",
            (
                Reading(
                    at=always,
                    dc_v=0.5 * (low_v + high_v),
                    ripple_v=high_v - low_v,
                    waveform=ramp,
                ),
            ),
        ),
        (slow, "soft start, once it is over", (Reading(at=always, dc_v=rest),)),
        *(
            (
                f"out_{side}",
                f"output {side.upper()}",
                tuple(
                    Reading(at=at, dc_v=timing.duty_each * volts, ripple_v=volts, waveform=square)
                    for at, volts in high.items()
                ),
            )
            for side in "ab"
        ),
    ]
    return tuple(
        TestPoint(designator=f"TP{HUNDRED + k}", net=net, what=what, readings=readings)
        for k, (net, what, readings) in enumerate(points, 1)
    )
