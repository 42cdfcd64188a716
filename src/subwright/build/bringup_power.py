"""Steps of the first power-up on the battery's side: bare board, transformer, controller and gates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from subwright.base.units import parse, show
from subwright.build.bringup_numbers import supply_limit
from subwright.build.bringup_rails import POWER_STOPS, rail_steps
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.converter import ConverterResult
from subwright.stages.converter_timing import Timing
from subwright.stages.transformer import TransformerResult

__all__ = ["power_steps"]

_RESISTOR: Final = 0.05  # of a resistor whose tolerance the bill leaves open
_PATHS: Final = 0.05  # meter, leakage and paths beside a resistor on the board; common practice
_DEAD: Final = (0.6, 1.6)  # the discharge switch varies widely from part to part; common practice
_CONTROL_A: Final = 10e-3  # comparators and lamps beside the controller; common practice
_QUANTITY: Final = {
    "inductance": "inductance",
    "resistance": "resistance",
    "ratio": "ratio",
    "voltage": "voltage",
}

# Readings of the winding sheet, told by words of their actions.
_CHECKS: Final = (
    ("Ohmmeter between any", "insulation", "insulation between windings and to the core"),
    ("P3–P4 the same way", "primary-halves", "inductance of one half-primary over the other's"),
    ("Inductance of P1–P4 divided", "primary-phase", "inductance end to end over one half's"),
    ("Voltage of P1–P4 divided", "primary-phase-voltage", "voltage end to end over one half's"),
    ("oltage of S1–S2", "turns-ratio", "half-secondary over half-primary voltage"),
    ("voltage of P1–S2 divided", "winding-sense", "primary and secondary in series over the primary"),
    ("voltage of S1–S4 divided", "secondary-phase", "voltage of both half-secondaries over one's"),
    ("voltage of A1–A4 divided", "auxiliary-phase", "voltage of both small halves over one's"),
    ("voltage of A1–A2", "auxiliary-ratio", "voltage of a small half over the primary's"),
    ("Short the secondary", "leakage", "leakage inductance at one half-primary"),
    ("resistance of P1–P2", "primary-resistance", "copper of one half-primary"),
    ("resistance of S1–S2", "secondary-resistance", "copper of one half-secondary"),
    ("nductance of P1–P2", "primary-inductance", "inductance of one half-primary"),
)


_ALIKE: Final = ("turns are whole; 3 % for meter and leads", True)
_WIRE: Final = ("wire table at 20 °C; 10 % for joints and meter", True)
_BASIS: Final = {  # where each window comes from, and whether that is common practice
    "insulation": ("anything lower is damaged enamel or tape", True),
    "primary-inductance": ("the core's inductance factor at its limits", False),
    "primary-halves": _ALIKE,
    "primary-phase": _ALIKE,
    "primary-phase-voltage": _ALIKE,
    "turns-ratio": _ALIKE,
    "secondary-phase": _ALIKE,
    "leakage": ("lowest and highest of the estimates for this lay", False),
    "primary-resistance": _WIRE,
    "secondary-resistance": _WIRE,
}


def power_steps(design: Design, bench_v: float, links: str) -> Iterator[Step]:
    """Steps from the bare board to rails under a dummy load; numbers are set when they are put in order."""
    whole = design.transformer is not None and design.transformer.primary.halves == 1
    for step in _all_steps(design, bench_v, links):
        # The one primary of a bridge has no halves that could be reversed or missing.
        yield replace(step, causes=tuple(c for c in step.causes if not (whole and _of_a_half(c))))


def _of_a_half(cause: Cause) -> bool:
    return cause.fault.startswith("half-primary")


def _all_steps(design: Design, bench_v: float, links: str) -> Iterator[Step]:
    converter, transformer = design.converter, design.transformer
    yield _bare_board(design, converter)
    if converter is None or transformer is None:
        return
    yield _transformer(transformer)
    yield _controller(design, converter, bench_v, links)
    yield _gates(design, converter, bench_v, links)
    yield from rail_steps(design, converter, bench_v, links)


def _bare_board(design: Design, converter: ConverterResult | None) -> Step:
    readings = []
    if converter is not None:
        pulldown = next(part for part in converter.parts if part.role == "gate pull-down")
        bleeder = next(part for part in converter.parts if part.role == "rail bleeder")
        expected = parse(pulldown.value, "resistance") / converter.plan.switch.per_side
        pull, bleed = (_PATHS + (part.tolerance or _RESISTOR) for part in (pulldown, bleeder))
        readings = [
            Reading(
                key=f"gate-pull-down-{side}",
                name=f"gate to source, side {side}",
                where=f"gate and source of the switches of side {side}, controller out of its socket",
                dimension="resistance",
                expected=expected,
                low=(1.0 - pull) * expected,
                high=(1.0 + pull) * expected,
                basis="pull-downs in parallel at their tolerance, 5 % for meter and paths beside them",
                customary=True,
                rests_on=("converter/gate pull-down", "converter/push-pull switch"),
            )
            for side in ("A", "B")
        ]
        readings += [
            Reading(
                key=f"bleeder-{name}",
                name=f"{name} rail to ground",
                where=f"across the {name} rail's capacitors, once the meter has settled",
                dimension="resistance",
                expected=converter.bleeder_ohm,
                low=(1.0 - bleed) * converter.bleeder_ohm,
                high=(1.0 + bleed) * converter.bleeder_ohm,
                basis="bleeder at its tolerance, 5 % for capacitor leakage beside it",
                customary=True,
                rests_on=("converter/rail bleeder",),
            )
            for name in ("positive", "negative")
        ]
    readings.append(
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
        )
    )
    return Step(
        number=0,
        key="bare-board",
        title="Look, then measure without power",
        fitted=("everything soldered",),
        absent=(
            "battery",
            "fuse",
            "controller and comparators (out of their sockets)",
            *(() if converter is None else ("transformer",)),
        ),
        links="open",
        supply=None,
        load="nothing",
        actions=(
            "Look at every joint under a lamp, then at each polarised part against the parts list: "
            "electrolytics, diodes, integrated circuits, lamps.",
            "Check that no heatsink tab touches its sink: more than 1 MΩ from each tab to the sink.",
            "Measure as below. Wait until the meter has charged the capacitors.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="near 0 Ω across the battery terminals",
                cause="a switch or a suppressor is fitted back to front, or a solder bridge",
                remedy="lift one lead at a time until the short is gone",
                fault="input-shorted",
            ),
            Cause(
                sign="0.4 V to 0.7 V on the diode range both ways across a rectifier",
                cause="a reversed diode: two of them in series short the winding or a rail",
                remedy="compare the package with the rectifier's common pin in the parts list",
                fault="rectifier-reversed",
            ),
            Cause(
                sign="a bleeder reads open",
                cause="it is missing or open: that rail keeps its charge for minutes",
                remedy="fit it before the rails are ever powered",
                fault="bleeder-open",
            ),
            Cause(
                sign="half of the expected gate resistance, or none",
                cause="a damaged gate, or drain and gate swapped",
                remedy="take the switch out and measure it alone",
                fault="gate-punctured",
            ),
            Cause(
                sign="a rail reads far less than its bleeder",
                cause="a reversed electrolytic, or the amplifier's supply shorted",
                remedy="a capacitor that was powered in reverse is finished, even if it looks well",
                fault="rail-capacitor-leaky",
            ),
        ),
        stops=("Any reading near zero where resistance is expected: don't power it.",),
    )


def _transformer(transformer: TransformerResult) -> Step:
    return Step(
        number=0,
        key="transformer",
        title="The transformer on its own",
        fitted=(),
        absent=("board: the transformer is measured before it goes in",),
        links="open",
        supply=None,
        load="nothing",
        actions=tuple(f"Reading {check.number}: {check.action}" for check in transformer.checks),
        readings=tuple(_sheet_readings(transformer)),
        causes=(
            Cause(
                sign="end-to-end inductance near zero",
                cause="one half-primary is reversed (swapped phase): both switches would short the battery",
                remedy="swap the ends of that half and read again",
                fault="half-primary-reversed",
            ),
            Cause(
                sign="inductance of one half a quarter of the other's, or open",
                cause="a missing half-primary: a strand bundle not joined, or joined to the wrong pin",
                remedy="trace each bundle with the ohmmeter before varnishing",
                fault="half-primary-open",
            ),
            Cause(
                sign="both ratios low by one turn's worth",
                cause="the secondary has a turn too few, or the primary one too many",
                remedy="add or take off a turn at the outer layer; a turn counts each time the wire passes "
                "the window",
                fault="turn-missing",
            ),
            Cause(
                sign="both ratios high by one turn's worth",
                cause="the secondary has a turn too many, or the primary one too few",
                remedy="as above",
                fault="turn-too-many",
            ),
            *(
                ()
                if transformer.secondary.halves == 1
                else (
                    Cause(
                        sign="S1–S4 near zero, each half alone in order",
                        cause="one half-secondary is reversed: each rail fills in every other half cycle",
                        remedy="swap S3 with S4 and read again",
                        fault="half-secondary-reversed",
                    ),
                    Cause(
                        sign="S3–S4 reads nothing",
                        cause="that half-secondary is open or not joined",
                        remedy="trace it with the ohmmeter; scrape and tin each strand",
                        fault="half-secondary-open",
                    ),
                )
            ),
            Cause(
                sign="a winding's resistance high",
                cause="a strand of the bundle is broken or not soldered",
                remedy="tin the ends again, all strands, and measure on four wires",
                fault="strand-broken",
            ),
            Cause(
                sign="leakage high",
                cause="the windings don't lie on one another",
                remedy="wind the half-primaries together, spread over the whole core",
                fault="windings-apart",
            ),
            Cause(
                sign="inductance far low, and it warms under a generator",
                cause="a shorted turn, or a gap between the core halves",
                remedy="clamp the halves and read again; if it stays, unwind",
                fault="shorted-turn",
            ),
        ),
        stops=("Any reading outside its window: it does not go into the board.",),
    )


def _sheet_readings(transformer: TransformerResult) -> Iterator[Reading]:
    """The winding sheet's readings; the ratio of the second half-secondary is one of its own."""
    for check in transformer.checks:
        key, name = _named(check.number, check.action)
        if transformer.primary.halves == 1:
            name = name.replace("one half-primary", "the primary").replace("half-primary", "primary")
        reading = Reading(
            key=key,
            name=name,
            where=f"reading {check.number} above",
            dimension=_QUANTITY[check.quantity],
            expected=check.expected,
            low=check.low,
            high=check.high,
            basis=_BASIS.get(key, ("winding sheet", False))[0],
            customary=_BASIS.get(key, ("", False))[1],
            rests_on=("transformer",),
        )
        yield reading
        if key == "turns-ratio" and transformer.secondary.halves == 2:
            yield replace(
                reading,
                key="turns-ratio-second",
                name=f"the other {name}",
                where=f"reading {check.number} above, at S3–S4",
            )


def _named(number: int, action: str) -> tuple[str, str]:
    """Key and name of a reading of the winding sheet."""
    for words, key, name in _CHECKS:
        if words in action:
            return key, name
    return f"winding-{number}", f"reading {number} of the winding sheet"


def _controller(design: Design, converter: ConverterResult, bench_v: float, links: str) -> Step:
    timing, controller = converter.plan.timing, converter.plan.controller
    protection = design.protection
    dead_low, dead_high = (share * timing.dead_time_s for share in _DEAD)
    swing = timing.switching_tolerance
    window = (timing.switching_hz * (1.0 - swing), timing.switching_hz * (1.0 + swing))
    expected_a = controller.quiescent_a + _CONTROL_A
    starts_v = controller.uvlo_on_v or controller.supply_min_v
    return Step(
        number=0,
        key="controller",
        title="Controller, reference and comparators",
        fitted=("controller", "comparators", "timing parts"),
        absent=("transformer", "amplifier's supply", "driver", "switches' gates: gate resistors lifted"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.5 * expected_a)),
        load="nothing",
        actions=(
            "Switch the supply on with its output at zero and turn it up slowly; watch the current.",
            f"The controller starts at about {show(starts_v, 'voltage')}.",
            "Give the remote line its voltage. Oscilloscope on both outputs of the controller: they "
            "alternate, with a pause between.",
        ),
        readings=(
            Reading(
                key="reference-voltage",
                name="reference of the protections",
                where=f"reference pin of {protection.reference.part_id} to ground",
                dimension="voltage",
                expected=protection.reference.nominal_v,
                low=protection.reference.low_v,
                high=protection.reference.high_v,
                basis="the sheet's limits",
                rests_on=("converter/push-pull controller", "protection/protection reference"),
            ),
            Reading(
                key="switching-frequency",
                name="frequency at one output",
                where="one output of the controller to ground",
                dimension="frequency",
                expected=timing.switching_hz,
                low=window[0],
                high=window[1],
                basis="timing parts and the controller's own spread",
                rests_on=(
                    "converter/timing resistor",
                    "converter/timing capacitor",
                    "converter/push-pull controller",
                ),
            ),
            Reading(
                key="dead-time",
                name="pause between the two outputs",
                where="both outputs on two channels, at half height",
                dimension="time",
                expected=timing.dead_time_s,
                low=dead_low,
                high=dead_high,
                basis="the discharge switch varies widely from part to part",
                customary=True,
                rests_on=("converter/timing capacitor", "converter/discharge resistor"),
            ),
            Reading(
                key="controller-current",
                name="supply current",
                where="the supply's own meter",
                dimension="current",
                expected=expected_a,
                low=0.2 * expected_a,
                high=2.5 * expected_a,
                basis="controller, comparators and lamps",
                customary=True,
                rests_on=("converter/push-pull controller",),
            ),
        ),
        causes=(
            *_timing_causes(timing),
            Cause(
                sign="no pulses at all",
                cause="a protection holds it (lamp lit, link closed), or the remote line is off",
                remedy="open the link; check the remote line and the soft-start pin rising",
                fault="controller-held",
            ),
            Cause(
                sign="reference low or absent",
                cause="the controller is reversed or its reference is loaded by a short",
                remedy="out of the socket, measure the reference pin's track to ground",
                fault="reference-wrong",
            ),
            Cause(
                sign="one output silent",
                cause="that output is shorted, or the turn-off transistor is reversed",
                remedy="compare both gate networks part by part",
            ),
        ),
        stops=POWER_STOPS,
    )


def _timing_causes(timing: Timing) -> tuple[Cause, ...]:
    if timing.rd_ohm == 0.0:  # the pause is a share of the cycle, or the controller's own
        return (
            Cause(
                sign="frequency off, the pause with it or not",
                cause="a wrong timing part: the resistor's bands or the capacitor's letters misread",
                remedy="take both out and measure them",
                fault="timing-part-wrong",
            ),
        )
    return (
        Cause(
            sign="frequency off, the pause in its window",
            cause="a wrong timing part, the resistor: a band of its code misread",
            remedy="take it out and measure it",
            fault="timing-resistor-wrong",
        ),
        Cause(
            sign="frequency off, and the pause off the other way",
            cause="a wrong timing part, the capacitor: 1 n, 1n5 and 2n2 look alike",
            remedy="take it out and measure it",
            fault="timing-capacitor-wrong",
        ),
    )


def _gates(design: Design, converter: ConverterResult, bench_v: float, links: str) -> Step:
    drive = converter.drive
    timing = converter.plan.timing
    supply = converter.gate_supply
    gate_a = (
        drive.supply_a + converter.plan.controller.quiescent_a
        if supply is None
        else supply.battery_a(bench_v)
    )
    limit = converter.plan.switch.mosfet.vgs_max_v
    expected = drive.gate_v
    if converter.gate_supply is None and converter.gate_transformer is None:
        expected = min(bench_v - converter.plan.controller.output_drop_v, limit)
    return Step(
        number=0,
        key="gates",
        title="Gate drive, switches without transformer",
        fitted=("gate resistors", "switches"),
        absent=("transformer", "amplifier's supply", "driver"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.5 * gate_a)),
        load="nothing",
        actions=(
            "Same voltage. Oscilloscope from gate to source of each switch in turn, ground clip short.",
            "Look at the edges: straight down through the plateau, no ringing beyond the gate's limit.",
        ),
        readings=(
            *(
                Reading(
                    key=f"gate-{side}",
                    name=f"gate voltage when on, side {side}",
                    where=f"gate to source, side {side}",
                    dimension="voltage",
                    expected=expected,
                    low=0.85 * expected,
                    high=min(1.2 * expected, limit),
                    basis="output drop of the controller from part to part; never above the gate's rating",
                    customary=True,
                    rests_on=("converter/push-pull controller", "converter/push-pull switch"),
                )
                for side in ("A", "B")
            ),
            Reading(
                key="duty",
                name="share of the cycle that one side is on",
                where="gate to source, either side",
                dimension="ratio",
                expected=timing.duty_each,
                low=0.5 - _DEAD[1] * (0.5 - timing.duty_each) * (1.0 + timing.switching_tolerance),
                high=0.5 - _DEAD[0] * (0.5 - timing.duty_each) * (1.0 - timing.switching_tolerance),
                basis="what the windows of pause and frequency leave",
                customary=True,
                rests_on=("converter/timing capacitor", "converter/push-pull controller"),
            ),
        ),
        causes=(
            Cause(
                sign="nothing at the gates of one side, their pull-down in order",
                cause="a missing gate resistor, or one with an open joint: that side never switches",
                remedy="measure from the controller's output to the gate; resolder",
                fault="gate-resistor-open",
            ),
            Cause(
                sign="gate low on one side, its pull-down read low before",
                cause="a switch with a punctured gate loads the driver",
                remedy="measure that side's switches alone; replace the pair",
                fault="gate-punctured",
            ),
            Cause(
                sign="both gates high at once",
                cause="swapped outputs, or a wrong timing part that leaves no pause",
                remedy="stop: both switches on short the battery; recheck the pause of the last step",
            ),
            Cause(
                sign="slow falling edge",
                cause="the turn-off transistor or its diode is reversed or missing",
                remedy="compare with the other side",
                fault="turn-off-missing",
            ),
            Cause(
                sign="current well above the last step's",
                cause="a switch conducts: gate or drain pin swapped, or the input is shorted",
                remedy="touch each switch: the warm one is it",
            ),
        ),
        stops=(*POWER_STOPS, "Gate voltage above its rating."),
    )
