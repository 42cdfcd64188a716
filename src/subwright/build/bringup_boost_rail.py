"""Steps of a boost converter's first power-up on its rail: the way through, unloaded, loaded, second stop."""

from __future__ import annotations

from typing import Final

from subwright.base.preferred import at_least
from subwright.base.units import show
from subwright.build.bringup_numbers import dummy_load_ohm, rail_line, supply_limit
from subwright.build.bringup_rails import POWER_STOPS, idle_losses_w
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.converter_boost_records import BoostResult

__all__ = ["loaded_step", "second_stop_step", "through_step", "unloaded_step"]

_MODEL: Final = 0.5  # loss models without load: half to twice; common practice
_DIODE: Final = (0.2, 0.8)  # V that the rectifier takes at some milliamperes; common practice


def through_step(boost: BoostResult, bench_v: float, links: str) -> Step:
    """The battery on the rail through choke and rectifier, nothing switching."""
    pre, plan = boost.precharge, boost.plan
    rest_a = (bench_v - 0.4) * (
        1.0 / plan.bleeder_ohm + 1.0 / (plan.divider.top_ohm + plan.divider.bottom_ohm)
    )
    return Step(
        number=0,
        key="boost-passive",
        title="The way through: battery on the rail, no pulses",
        fitted=("choke, after its own readings",),
        absent=("amplifier's supply", "driver", "controller (out of its socket)"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=1.0),
        load="bleeder only",
        actions=(
            f"Feed the unit through the pre-charge resistor of {show(pre.resistor_ohm, 'resistance')}: the "
            "rail "
            f"creeps up to the supply within {show(pre.wait_s, 'time')}. That is how it is connected from "
            "now "
            "on, each time.",
            "Take the resistor out and feed it directly, the supply's limit as stated. Nothing switches, "
            "and the "
            "rail stands at the supply less the rectifier: only the fuse would take it off.",
        ),
        readings=(
            Reading(
                key="rail-passive",
                name="raised rail without pulses",
                where="raised rail to ground",
                dimension="voltage",
                expected=bench_v - 0.4,
                low=bench_v - _DIODE[1],
                high=bench_v - 0.5 * _DIODE[0],
                basis="the rectifier's drop at the bleeder's current",
                customary=True,
                rests_on=("boost/boost rectifier", "boost/boost choke core"),
            ),
            Reading(
                key="passive-current",
                name="supply current without pulses",
                where="the supply's own meter, or a milliammeter in its lead",
                dimension="current",
                expected=rest_a,
                low=0.7 * rest_a,
                high=2.5 * rest_a,
                basis="bleeder and divider; electrolytics that have stood for long leak at first",
                customary=True,
                rests_on=("boost/rail bleeder", "boost/rail capacitor"),
            ),
        ),
        causes=(
            Cause(
                sign="the rail stays at zero",
                cause="the rectifier is reversed or the choke open",
                remedy="measure both; a reversed rectifier will short the rail through the switch",
                fault="boost-diode-reversed",
            ),
            Cause(
                sign="the supply goes into its limit and stays there",
                cause="the switch is shorted or its gate floats: choke and switch lie across the battery",
                remedy="measure drain to source, then the gate's pull-down",
                fault="boost-switch-shorted",
            ),
            Cause(
                sign="rail in order, the current too high after minutes",
                cause="a capacitor of the raised rail is reversed or leaks",
                remedy="feel which one warms; it is finished",
                fault="boost-capacitor-leaky",
            ),
            Cause(
                sign="the rail equals the supply to the last digit",
                cause="the rectifier is shorted",
                remedy="take it out and measure it alone",
            ),
        ),
        stops=POWER_STOPS,
    )


def unloaded_step(design: Design, boost: BoostResult, bench_v: float, links: str) -> Step:
    """The rail without load."""
    idle_a = idle_losses_w(design) / bench_v
    return Step(
        number=0,
        key="boost-rail",
        title="The raised rail without load",
        fitted=("controller",),
        absent=("amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(3.5 * idle_a)),
        load="bleeder only",
        actions=(
            f"Clip a meter to the rail before you switch on: it starts at the supply and climbs to "
            f"{show(boost.set_v, 'voltage')} within {show(boost.plan.timing.soft_start_s, 'time')}.",
            "Turn the voltage up from zero; if the rail climbs beyond its window, switch off at once.",
            "Oscilloscope on the node: pulses with gaps, the rail's height, no ringing beyond the switch's "
            "rating.",
        ),
        readings=(
            Reading(
                key="raised-rail",
                name="raised rail",
                where="raised rail to ground",
                dimension="voltage",
                expected=boost.set_v,
                low=boost.rail_low_v,
                high=boost.rail_high_v,
                basis="the controller's reference and the divider, worst case",
                rests_on=(
                    "boost/boost controller",
                    "boost/feedback divider, top",
                    "boost/feedback divider, bottom",
                ),
            ),
            Reading(
                key="raised-rail-current",
                name="supply current",
                where="the supply's own meter",
                dimension="current",
                expected=idle_a,
                low=_MODEL * idle_a,
                high=3.0 * idle_a,
                basis="edges, core and node capacitance are the least certain of all",
                customary=True,
                rests_on=("boost",),
            ),
        ),
        causes=(
            Cause(
                sign="the rail runs up to the second stop and hangs there",
                cause="the divider's upper resistor is open, or the feedback pin isn't reached",
                remedy="switch off; measure the divider",
                fault="feedback-divider-wrong",
            ),
            Cause(
                sign="the rail stays at the supply",
                cause="no pulses: protection, soft start, or a sense pin that stands high",
                remedy="look at the error amplifier's output and the sense pin",
                fault="boost-never-switches",
            ),
            Cause(
                sign="the rail moves up and down slowly, or the choke sings",
                cause="a wrong compensation part, or the slope resistor is missing",
                remedy="compare both with the parts list; look for long and short pulses in turn",
            ),
        ),
        stops=(*POWER_STOPS, f"The rail passes {show(boost.rail_high_v, 'voltage')}."),
    )


def loaded_step(design: Design, boost: BoostResult, bench_v: float, links: str) -> Step:
    """The rail under a dummy load."""
    line = rail_line(design)
    ohm = dummy_load_ohm(design, boost.set_v)
    load_a = boost.set_v / ohm
    input_a = line.per_a * load_a + idle_losses_w(design) / bench_v
    watts = boost.set_v**2 / ohm
    size = next((s for s in (3.0, 5.0, 10.0, 25.0, 50.0, 100.0) if s >= 2.0 * watts), 200.0)
    return Step(
        number=0,
        key="boost-loaded",
        title="The raised rail under a dummy load",
        fitted=(),
        absent=("amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=at_least(1.4 * input_a, "E24")),
        load=f"{show(ohm, 'resistance')}, {size:.0f} W from the rail to ground",
        actions=(
            f"Discharge, then fit {show(ohm, 'resistance')} of {size:.0f} W from the rail to ground, on a "
            "tile: "
            "it gets hot.",
            "Short leads from the supply; its voltage at the unit's terminals stays as stated.",
            "Turn the supply's limit down while it runs: the rail must sag and come back, not oscillate.",
            "Run it for a minute at a time and feel heatsink, choke and rail capacitors between runs.",
        ),
        readings=(
            Reading(
                key="raised-rail-loaded",
                name="raised rail, loaded",
                where="raised rail to ground",
                dimension="voltage",
                expected=boost.set_v,
                low=0.99 * boost.rail_low_v,
                high=boost.rail_high_v,
                basis="the loop holds it",
                rests_on=("boost/boost controller", "boost/feedback divider, top"),
            ),
            Reading(
                key="raised-loaded-current",
                name="supply current",
                where="the supply's own meter",
                dimension="current",
                expected=input_a,
                low=0.85 * input_a,
                high=1.2 * input_a,
                basis="load 5 %, losses without load half to three times",
                customary=True,
                rests_on=("boost",),
            ),
        ),
        causes=(
            Cause(
                sign="the rail sags and the current stays low",
                cause="the current limit acts: a wrong burden or slope resistor, or a choke of too few turns",
                remedy="oscilloscope on the sense pin: a straight ramp that ends below the threshold",
                fault="boost-limit-early",
            ),
            Cause(
                sign="the choke's current turns up at its end",
                cause="the choke saturates: too small a gap or a shorted turn",
                remedy="measure the choke again",
                fault="boost-lossy",
            ),
            Cause(
                sign="the rail capacitors are hot",
                cause="cans of too little ripple current, or too far from rectifier and switch",
                remedy="compare with the parts list; shorten the loop",
            ),
        ),
        stops=(
            *POWER_STOPS,
            f"Node peaks above {show(boost.drain_limit_v, 'voltage')}.",
            "The load resistor smells: it is too small.",
        ),
    )


def second_stop_step(boost: BoostResult, links: str) -> Step:
    """The zeners that end the pulses when the divider no longer does."""
    guard = boost.plan.guard
    return Step(
        number=0,
        key="boost-second-stop",
        title="The second stop of the rail",
        fitted=(),
        absent=("amplifier's supply", "driver", "dummy load", "choke (one end lifted)"),
        links=links,
        supply=BenchSupply(voltage_v=guard.most_v, limit_a=0.1),
        load="bleeder only",
        actions=(
            "With the choke lifted nothing can lift the rail: feed the rail itself from the supply.",
            "Controller running, feedback pin held at ground so that the pulses are there. Turn the rail up "
            "slowly until they end: that is the second stop. Take the wire off the feedback pin afterwards.",
        ),
        readings=(
            Reading(
                key="second-stop",
                name="rail at which the pulses end",
                where="raised rail to ground",
                dimension="voltage",
                expected=guard.nominal_v,
                low=0.98 * guard.least_v,
                high=1.02 * guard.most_v,
                basis="zeners at 5 %, and less at a milliampere",
                customary=True,
                rests_on=("boost/rail guard zener", "boost/boost controller"),
            ),
        ),
        causes=(
            Cause(
                sign="the pulses never end",
                cause="a zener is missing or reversed, or its resistor is open",
                remedy="don't go on without it",
            ),
            Cause(
                sign="they end below the rail that is set",
                cause="a zener of a lower voltage",
                remedy="add the printed voltages up",
            ),
            Cause(
                sign="no pulses to begin with",
                cause="the feedback pin isn't held at ground, or the controller has no supply",
                remedy="look at both",
            ),
        ),
        stops=("The rail passes the rating of its capacitors.",),
    )
