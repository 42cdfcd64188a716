"""What each two-output family has around it: pins, dead time, soft start, stop, and the loop of the rails."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypeAlias

from subwright.circuits.controller_parts import ControllerParts, Models
from subwright.circuits.models import BipolarModel
from subwright.circuits.netlist import GROUND
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_controller import (
    HALF_LOOP_OHM,
    HALF_OHM,
    INHIBIT_NPN,
    INHIBIT_OHM,
    LOOP_OHM,
    RAMP_NPN,
    RESET_BASE_OHM,
    RESET_PNP,
    SHUTDOWN_OHM,
    SHUTDOWN_PULL_OHM,
)
from subwright.stages.converter_family import BASE_V, RAMP_DIVIDER_OHM, feedback_v, soft_start_ohm
from subwright.stages.converter_timing import soft_start_levels

__all__ = ["SOFT_NETS", "Surroundings", "family_pins", "family_surroundings"]

_GAIN: Final = 200.0
_NPN: Final = BipolarModel(name="NPN_INHIBIT", polarity="npn", current_gain=_GAIN)
_PNP: Final = BipolarModel(name="PNP_RESET", polarity="pnp", current_gain=_GAIN)
_CLAMP: Final = BipolarModel(name="PNP_CLAMP", polarity="pnp", current_gain=_GAIN)
_FOLLOWER: Final = BipolarModel(name="NPN_RAMP", polarity="npn", current_gain=_GAIN)

SOFT_NETS: Final[Mapping[str, str]] = {"3525": "soft", "494": "dead", "3524": "limit", "3846": "soft"}
"""Net that the soft start moves, by family."""

Surroundings: TypeAlias = Callable[[ControllerParts, ConverterResult, bool], Models]


def family_pins(result: ConverterResult, feed: str) -> tuple[str, ...]:
    """Nets of the pins of a known family's case; ``feed`` is its supply.

    Raises
    ------
    KeyError : the family is unknown.
    """
    pins = {"3525": _pins_3525, "494": _pins_494, "3524": _pins_3524, "3846": _pins_3846}
    return pins[result.plan.controller.family](result, feed)


def family_surroundings(result: ConverterResult) -> Surroundings:
    """Adds what a family needs besides timing parts and supply; ``True`` has its soft start over.

    Raises
    ------
    KeyError : the family is unknown.
    """
    made: Mapping[str, Surroundings] = {
        "3525": _around_3525,
        "494": _around_494,
        "3524": _around_3524,
        "3846": _around_3846,
    }
    return made[result.plan.controller.family]


# --- pins -----------------------------------------------------------------------------------------


def _pins_3525(result: ConverterResult, feed: str) -> tuple[str, ...]:
    """Without feedback the error amplifier follows the reference: the duty at its end."""
    inverting, plus = ("comp", "vref") if result.choke is None else ("error", "reference")
    discharge = "ct" if result.plan.timing.rd_ohm == 0.0 else "discharge"
    return (
        inverting, plus, "sync", "oscillator", "ct", "rt", discharge, "soft", "comp", "inhibit", "out_a",
        GROUND, feed, "out_b", feed, "vref",
    )  # fmt: skip


def _pins_494(result: ConverterResult, feed: str) -> tuple[str, ...]:
    """Amplifiers that lift FB shorten the pulses; the second rests. The outputs are emitter followers."""
    plus, minus = (GROUND, "vref") if result.choke is None else ("error", "reference")
    return (
        plus, minus, "comp", "dead", "ct", "rt", GROUND, feed, "out_a", "out_b", feed, feed,
        "vref", "vref", "vref", GROUND,
    )  # fmt: skip


def _pins_3524(result: ConverterResult, feed: str) -> tuple[str, ...]:
    """Current limit at rest; without feedback the amplifier stands high and the clamp sets the duty."""
    inverting, plus = ("below", "half") if result.choke is None else ("error", "half")
    return (
        inverting, plus, "oscillator", GROUND, GROUND, "rt", "ct", GROUND, "comp", "shutdown", "out_a", feed,
        feed, "out_b", feed, "vref",
    )  # fmt: skip


def _pins_3846(result: ConverterResult, feed: str) -> tuple[str, ...]:
    """Its own ramp at the current sense: voltage mode."""
    inverting, plus = ("comp", "vref") if result.choke is None else ("error", "reference")
    return (
        "soft", "vref", GROUND, "sensed", plus, inverting, "comp", "ct", "rt", "sync", "out_a", GROUND, feed,
        "out_b", feed, "shutdown",
    )  # fmt: skip


# --- surroundings ---------------------------------------------------------------------------------


def _around_3525(build: ControllerParts, result: ConverterResult, settled: bool) -> Models:
    """One capacitor starts it softly."""
    start_v = result.plan.controller.vref_v if settled else None
    build.capacitor(
        "soft-start capacitor", "soft", GROUND, result.plan.timing.soft_start_f, initial_v=start_v
    )
    _integrator(build, result, "error", 0.0 if settled else None)
    return []


def _around_494(build: ControllerParts, result: ConverterResult, settled: bool) -> Models:
    """The dead-time input: divider, soft start from the reference, two transistors to start it anew."""
    timing, controller = result.plan.timing, result.plan.controller
    level_v = 0.0
    if timing.divider_top_ohm > 0.0:
        _, _, level_v = soft_start_levels(controller, timing.divider_top_ohm, timing.divider_bottom_ohm)
        build.resistor("dead-time divider, top", "vref", "dead", timing.divider_top_ohm)
        build.resistor("dead-time divider, bottom", "dead", GROUND, timing.divider_bottom_ohm)
    else:
        build.resistor("soft-start resistor", "dead", GROUND, soft_start_ohm(controller))
    start_v = controller.vref_v - level_v if settled else None
    build.capacitor("soft-start capacitor", "vref", "dead", timing.soft_start_f, initial_v=start_v)
    _inhibit(build, "reset_drive")
    build.resistor("soft-start reset base resistor", "reset_drive", "reset_base", RESET_BASE_OHM)
    build.resistor("soft-start reset pull-up", "vref", "reset_base", INHIBIT_OHM)
    pins = ("dead", "reset_base", "vref")
    build.add("Q", "transistor", pins, "soft-start reset transistor", RESET_PNP, model=_PNP.name)
    if result.choke is not None:
        # The rail comes in upright and the reference turned over: with the same time constant on both
        # inputs the output is the integral of their difference, and nothing of the ripple besides.
        held_v = controller.vref_v if settled else None
        _integrator(build, result, "reference", None if held_v is None else -held_v)
        build.capacitor("balance capacitor", "error", GROUND, result.loop_f, initial_v=held_v)
    return [_NPN, _PNP]


def _around_3524(build: ControllerParts, result: ConverterResult, settled: bool) -> Models:
    """A transistor holds COMP a base's voltage above a divider, whose capacitor starts it softly."""
    timing, controller = result.plan.timing, result.plan.controller
    _, _, level_v = soft_start_levels(controller, timing.divider_top_ohm, timing.divider_bottom_ohm)
    build.resistor("dead-time divider, top", "vref", "limit", timing.divider_top_ohm)
    build.resistor("dead-time divider, bottom", "limit", GROUND, timing.divider_bottom_ohm)
    start_v = level_v if settled else None
    build.capacitor("soft-start capacitor", "limit", GROUND, timing.soft_start_f, initial_v=start_v)
    build.add(
        "Q", "transistor", (GROUND, "limit", "comp"), "duty clamp transistor", RESET_PNP, model=_CLAMP.name
    )
    _inhibit(build, "limit")
    build.resistor("shutdown resistor", "inhibit", "shutdown", SHUTDOWN_OHM)
    if result.choke is None:
        top, middle, bottom = HALF_OHM
        build.resistor("reference divider, top", "vref", "half", top)
        build.resistor("reference divider, middle", "half", "below", middle)
        build.resistor("reference divider, bottom", "below", GROUND, bottom)
    else:
        build.resistor("reference divider, top", "vref", "half", HALF_LOOP_OHM)
        build.resistor("reference divider, bottom", "half", GROUND, HALF_LOOP_OHM)
        lifted_v = level_v + BASE_V - feedback_v(controller) if settled else None
        _integrator(build, result, "error", lifted_v, referred=False)
    return [_CLAMP, _NPN]


def _around_3846(build: ControllerParts, result: ConverterResult, settled: bool) -> Models:
    """A follower carries the ramp to the current sense; a resistor and a capacitor start it softly."""
    timing, controller = result.plan.timing, result.plan.controller
    build.resistor("soft-start resistor", "vref", "soft", soft_start_ohm(controller))
    start_v = controller.vref_v if settled else None
    build.capacitor("soft-start capacitor", "soft", GROUND, timing.soft_start_f, initial_v=start_v)
    build.add("Q", "transistor", ("vref", "ct", "follower"), "ramp follower", RAMP_NPN, model=_FOLLOWER.name)
    top, bottom = RAMP_DIVIDER_OHM
    build.resistor("ramp divider, top", "follower", "sensed", top)
    build.resistor("ramp divider, bottom", "sensed", GROUND, bottom)
    build.resistor("shutdown resistor", "inhibit", "shutdown", SHUTDOWN_OHM)
    build.resistor("shutdown pull-down", "shutdown", GROUND, SHUTDOWN_PULL_OHM)
    _integrator(build, result, "error", 0.0 if settled else None)
    return [_FOLLOWER]


def _inhibit(build: ControllerParts, collector: str) -> None:
    """A transistor that pulls a net down while the protection inhibits."""
    build.resistor("inhibit base resistor", "inhibit", "inhibit_base", INHIBIT_OHM)
    build.resistor("inhibit base pull-down", "inhibit_base", GROUND, INHIBIT_OHM)
    pins = (collector, "inhibit_base", GROUND)
    build.add("Q", "transistor", pins, "inhibit transistor", INHIBIT_NPN, model=_NPN.name)


def _integrator(
    build: ControllerParts,
    result: ConverterResult,
    around: str,
    lifted_v: float | None,
    *,
    referred: bool = True,
) -> None:
    """Divided rail and reference into the error amplifier, its capacitor back to the input ``around``.

    ``lifted_v`` is the output above that input while the duty is wide open, V; None for an empty start.
    """
    if result.choke is None:
        return
    build.resistor("loop resistor", "feedback", "error", LOOP_OHM)
    if referred:
        build.resistor("reference resistor", "vref", "reference", LOOP_OHM)
    build.capacitor("loop capacitor", "comp", around, result.loop_f, initial_v=lifted_v)
