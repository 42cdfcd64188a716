"""Steps of the first power-up of a boost converter: board, choke, controller, gates, rail, second stop."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_boost_rail import loaded_step, second_stop_step, through_step, unloaded_step
from subwright.build.bringup_numbers import supply_limit
from subwright.build.bringup_rails import POWER_STOPS
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.converter_boost_records import BoostChoke, BoostResult

__all__ = ["boost_steps"]

_PATHS: Final = 0.10
_GAP: Final = 0.15  # of the inductance: fringing is an estimate; common practice
_COPPER: Final = 0.15
_CONTROL_A: Final = 10e-3
_DUTY: Final = (0.85, 1.10)


def boost_steps(design: Design, bench_v: float, links: str) -> Iterator[Step]:
    """Steps from the bare board to the raised rail under a dummy load; numbers are set later."""
    boost = design.boost
    if boost is None:
        return
    yield _bare_board(boost)
    yield _choke(boost)
    yield through_step(boost, bench_v, links)
    yield _controller(boost, bench_v, links, _awakened(design))
    yield _gates(boost, bench_v, links, _awakened(design))
    yield unloaded_step(design, boost, bench_v, links)
    yield loaded_step(design, boost, bench_v, links)
    yield second_stop_step(boost, links)


def _awakened(design: Design) -> bool:
    """Whether the controller sleeps until a remote line wakes it."""
    return design.control is not None and design.control.remote is not None


def _bare_board(boost: BoostResult) -> Step:
    plan = boost.plan
    pull, bleeder = 10e3 / plan.switch.per_side, plan.bleeder_ohm
    divider = plan.divider.top_ohm + plan.divider.bottom_ohm
    rail = bleeder * divider / (bleeder + divider)
    return Step(
        number=0,
        key="bare-board",
        title="Look, then measure without power",
        fitted=("everything soldered",),
        absent=("battery", "fuse", "controller and comparators (out of their sockets)", "choke"),
        links="open",
        supply=None,
        load="nothing",
        actions=(
            "Look at every joint under a lamp, then at each polarised part against the parts list: "
            "electrolytics, rectifier, zeners, integrated circuits, lamps.",
            "Check that no heatsink tab touches its sink: more than 1 MΩ from each tab to the sink. The "
            "switch's "
            "tab is the node, the rectifier's the raised rail.",
            "Measure as below. Wait until the meter has charged the capacitors.",
        ),
        readings=(
            Reading(
                key="gate-pull-down",
                name="gate to source",
                where="gate and source of the boost switch, controller out of its socket",
                dimension="resistance",
                expected=pull,
                low=(1.0 - _PATHS) * pull,
                high=(1.0 + _PATHS) * pull,
                basis="pull-downs in parallel at 5 %, 5 % for meter and paths beside them",
                customary=True,
                rests_on=("boost/gate pull-down", "boost/boost switch"),
            ),
            Reading(
                key="rail-resistance",
                name="raised rail to ground",
                where="across the rail's capacitors, red lead on +, once the meter has settled",
                dimension="resistance",
                expected=rail,
                low=(1.0 - _PATHS) * rail,
                high=(1.0 + _PATHS) * rail,
                basis="bleeder and feedback divider in parallel",
                customary=True,
                rests_on=("boost/rail bleeder", "boost/feedback divider, top"),
            ),
            Reading(
                key="input-resistance",
                name="battery + to battery − on the unit",
                where="the unit's battery terminals, fuse out, meter's red lead on +",
                dimension="resistance",
                expected=1e3,
                low=100.0,
                high=None,
                basis="anything lower is a short circuit or a reversed part",
                customary=True,
                rests_on=("supply", "battery_guard"),
            ),
        ),
        causes=(
            Cause(
                sign="near 0 Ω across the battery terminals",
                cause="a suppressor is fitted back to front, or a solder bridge",
                remedy="lift one lead at a time until the short is gone",
            ),
            Cause(
                sign="the rail reads far less than its bleeder",
                cause="a reversed electrolytic, or the amplifier's supply shorted",
                remedy="a capacitor that was powered in reverse is finished, even if it looks well",
                fault="boost-capacitor-leaky",
            ),
            Cause(
                sign="the rail reads the divider alone",
                cause="the bleeder is missing or open: the rail keeps its charge for minutes",
                remedy="fit it before the rail is ever powered",
            ),
        ),
        stops=("Any reading near zero where resistance is expected: don't power it.",),
    )


def _set_gap(choke: BoostChoke) -> str:
    """What to do so that the inductance fits."""
    if choke.powder:
        return (
            "A ring of powder has no gap to set, and a meter's small current reads it at its highest. Off by "
            "a few per cent, take a turn off or put one on; more, and the ring is of another mix."
        )
    return (
        f"Set the gap: {show(choke.gap_m, 'length')} in the centre leg, or a spacer of "
        f"{show(0.5 * choke.gap_m, 'length')} under each outer leg. Measure, and move the gap until the "
        "inductance fits; then clamp and glue."
    )


def _choke(boost: BoostResult) -> Step:
    choke = boost.plan.choke
    return Step(
        number=0,
        key="boost-choke",
        title="The choke on its own",
        fitted=(),
        absent=("board: the choke is measured before it goes in",),
        links="open",
        supply=None,
        load="nothing",
        actions=(
            f"Wind {choke.turns} turns of {choke.strands} × {choke.wire.id} side by side; cut each strand to "
            f"{show(choke.wire_length_m, 'length')}, scrape and tin all of them.",
            _set_gap(choke),
            "Measure the copper on four wires.",
        ),
        readings=(
            Reading(
                key="choke-inductance",
                name="inductance of the choke",
                where="its two ends, meter at 10 kHz to 100 kHz",
                dimension="inductance",
                expected=choke.rest_h,
                low=(1.0 - _GAP) * choke.rest_h,
                high=(1.0 + _GAP) * choke.rest_h,
                basis="what current limit, ripple and loop put up with",
                customary=True,
                rests_on=("boost/boost choke core",),
            ),
            Reading(
                key="choke-resistance",
                name="copper of the choke",
                where="its two ends, four wires",
                dimension="resistance",
                expected=choke.cold_ohm,
                low=(1.0 - _COPPER) * choke.cold_ohm,
                high=(1.0 + 2.0 * _COPPER) * choke.cold_ohm,
                basis="length of the leads",
                customary=True,
                rests_on=("boost/boost choke core", "boost/boost choke wire"),
            ),
        ),
        causes=(
            Cause(
                sign="inductance several times too high",
                cause="no gap: it saturates at a few amperes",
                remedy="put the spacers in; without them the first pulse kills the switch",
                fault="choke-gap-wrong",
            ),
            Cause(
                sign="inductance far too low",
                cause="a turn is missing, the gap is too wide, or a turn is shorted",
                remedy="count again where the wire passes the window; take the halves apart and look",
                fault="choke-gap-wrong",
            ),
            Cause(
                sign="resistance high",
                cause="a strand is broken or not tinned",
                remedy="tin the ends again, all strands",
                fault="choke-open",
            ),
        ),
        stops=("Inductance outside its window: it does not go into the board.",),
    )


def _controller(boost: BoostResult, bench_v: float, links: str, awakened: bool) -> Step:
    timing, controller = boost.plan.timing, boost.plan.controller
    swing = timing.switching_tolerance
    expected_a = controller.quiescent_a + _CONTROL_A
    divided = 0.98 * bench_v * boost.plan.divider.bottom_ohm
    divided /= boost.plan.divider.top_ohm + boost.plan.divider.bottom_ohm
    starts = controller.uvlo_on_v or controller.supply_min_v
    return Step(
        number=0,
        key="boost-controller",
        title="Controller and comparators",
        fitted=("controller", "comparators", "timing parts"),
        absent=("amplifier's supply", "driver", "switch's gate: gate resistors lifted"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.5 * expected_a)),
        load="bleeder only",
        actions=(
            "Supply's output at zero, current limit set; turn it up slowly. The rail follows it, less a "
            "diode.",
            *(
                (
                    "Remote line still dead: nothing may stand at the controller's supply pin, though the "
                    "rail has voltage. Then give the line its own.",
                )
                if awakened
                else ()
            ),
            f"The controller starts at about {show(starts, 'voltage')} at its own pin.",
            "Oscilloscope on the timing capacitor, then on the output: one pulse for each ramp, as wide as "
            "it "
            "ever gets, for the rail is far below what the divider asks for.",
        ),
        readings=(
            Reading(
                key="boost-frequency",
                name="frequency at the output",
                where="output of the controller to ground",
                dimension="frequency",
                expected=timing.switching_hz,
                low=timing.switching_hz * (1.0 - swing),
                high=timing.switching_hz * (1.0 + swing),
                basis="timing parts and the controller's own spread",
                rests_on=("boost/timing resistor", "boost/timing capacitor", "boost/boost controller"),
            ),
            Reading(
                key="greatest-duty",
                name="share of the cycle that the output is high",
                where="output of the controller to ground",
                dimension="ratio",
                expected=timing.duty_most,
                low=_DUTY[0] * timing.duty_most,
                high=min(_DUTY[1] * timing.duty_most, 0.99),
                basis="discharge current of the timing capacitor from part to part",
                customary=True,
                rests_on=("boost/timing resistor", "boost/boost controller"),
            ),
            Reading(
                key="feedback",
                name="feedback at the controller",
                where="feedback pin to ground",
                dimension="voltage",
                expected=divided,
                low=0.9 * divided,
                high=1.05 * divided,
                basis="divider at 1 %, the diode's drop",
                customary=True,
                rests_on=("boost/feedback divider, top", "boost/feedback divider, bottom"),
            ),
        ),
        causes=(
            Cause(
                sign="frequency or duty off",
                cause="a wrong timing part: the capacitor's letters or the resistor's bands misread",
                remedy="take both out and measure them",
                fault="boost-timing-wrong",
            ),
            Cause(
                sign="feedback near zero",
                cause="the divider's upper resistor is open or missing: the rail would run away",
                remedy="don't go on: the second stop is all that is left then",
                fault="feedback-divider-wrong",
            ),
            Cause(
                sign="no pulses at all",
                cause="a protection holds it, the remote line is dead, the soft-start capacitor is "
                "shorted, or the sense pin stands high",
                remedy="open the link; measure the error amplifier's output rising, and the sense pin near "
                "zero",
                fault="boost-held",
            ),
        ),
        stops=POWER_STOPS,
    )


def _gates(boost: BoostResult, bench_v: float, links: str, awakened: bool) -> Step:
    plan = boost.plan
    limit = plan.switch.mosfet.vgs_max_v
    supply = min(bench_v - 2.0, plan.gate_supply.output_v) if plan.gate_supply else bench_v
    expected = min(supply - plan.drive.driver.drop_v, limit)
    gate_a = plan.drive.supply_a + plan.controller.quiescent_a
    return Step(
        number=0,
        key="boost-gate",
        title="Gate drive, switch without choke",
        fitted=("gate resistors", "switch"),
        absent=("choke: one end lifted", "amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.5 * gate_a)),
        load="bleeder only",
        actions=(
            "Take the wire out: the node must not reach the battery while the switch is driven. Feed the "
            "rail itself from the supply, so that the controller has its voltage"
            f"{'; the remote line too' if awakened else ''}.",
            "Oscilloscope from gate to source, ground clip short. Look at the edges: straight down through "
            "the "
            "plateau, no ringing beyond the gate's limit.",
        ),
        readings=(
            Reading(
                key="boost-gate",
                name="gate voltage when on",
                where="gate to source",
                dimension="voltage",
                expected=expected,
                low=0.8 * expected,
                high=min(1.25 * expected, limit),
                basis="drops of follower and output from part to part; never above the gate's rating",
                customary=True,
                rests_on=("boost/boost controller", "boost/boost switch"),
            ),
        ),
        causes=(
            Cause(
                sign="nothing at the gate, its pull-down in order",
                cause="the output is shorted, or the gate resistor is still lifted",
                remedy="follow the pulse from the controller's output on",
            ),
            Cause(
                sign="slow edges",
                cause="a wrong gate resistor, or the turn-off transistor is reversed",
                remedy="compare part by part",
            ),
            Cause(
                sign="far too low",
                cause="the follower's zener is reversed, or its base resistor is open",
                remedy="measure the controller's supply pin",
                fault="boost-gate-low",
            ),
        ),
        stops=POWER_STOPS,
    )
