"""Rules on a reversed battery and on pulses."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = [
    "engine_start",
    "negative_pulses",
    "pulses",
    "reverse_diode",
    "reverse_switch",
    "reversed_battery",
    "suppressor",
]


@rule(
    "GRD-01",
    stage="battery_guard",
    severity="note",
    title="A reversed battery",
    what="Whether anything but the fuse stops a battery connected the wrong way round: 1 if so.",
    why="Reversed, the body diodes of the switches conduct until the fuse opens, and electrolytics stand "
    "reversed meanwhile: they may burst.",
    limit="A series MOSFET, or a diode across the input that blows the fuse.",
    source="iso-16750-2",
    example="Terminals of ring lugs get swapped once in a unit's life; 3 mΩ at 24 A are 1.7 W to prevent it.",
    remedy='Set battery_guard.reverse = "p_mosfet" or "n_mosfet".',
)
def reversed_battery(design: Design) -> Iterator[Measure]:
    """Count what is fitted."""
    guard = design.battery_guard
    if guard is not None:
        yield Measure(
            quantity="parts that stop a reversed battery",
            value=0.0 if guard.kind == "none" else 1.0,
            limit=1.0,
            dimension="ratio",
            counted=True,
            sense="at least",
        )


@rule(
    "GRD-02",
    stage="battery_guard",
    severity="warn",
    title="The switch against a reversed battery",
    what="Its junction without a heatsink, the voltage that it blocks on full input capacitors, its gate, "
    "and "
    "its avalanche energy when pulse 1 pulls the supply below zero.",
    why="It carries the whole current at all times and is the first to meet every negative pulse.",
    limit="Junction limit; drain-source rating; gate threshold at the low corner and gate rating above; "
    "single-pulse avalanche energy.",
    source="ti-lm749x0",
    example="24 A through three IRF3205 of 12 mΩ hot: 0.77 W each, 48 K over the air without a heatsink.",
    remedy="Raise battery_guard.reverse_mosfets, or choose another battery_guard.reverse_mosfet.",
    near=0.03,
)
def reverse_switch(design: Design) -> Iterator[Measure]:
    """Measure temperature, voltages and energy."""
    guard = design.battery_guard
    if guard is None or guard.reverse is None:
        return
    switch = guard.reverse
    yield Measure(
        quantity="junction of the reverse-polarity switch",
        value=switch.junction_c,
        limit=switch.junction_limit_c,
        dimension="temperature",
        at="full sine, no heatsink",
    )
    yield Measure(
        quantity="voltage across the reverse-polarity switch",
        value=switch.blocks_v,
        limit=switch.rating_v,
        dimension="voltage",
        at="reversed on full capacitors",
    )
    yield Measure(
        quantity="gate drive of the reverse-polarity switch",
        value=switch.gate_low_v,
        limit=2.0 * switch.gate_low_limit_v,
        dimension="voltage",
        sense="at least",
        at="low battery, twice the threshold",
    )
    yield Measure(
        quantity="gate voltage of the reverse-polarity switch",
        value=switch.gate_high_v,
        limit=switch.gate_limit_v,
        dimension="voltage",
        at="clamped",
    )
    if guard.reversed_j > 0 and switch.avalanche_limit_j > 0:
        yield Measure(
            quantity="avalanche energy of the reverse-polarity switch",
            value=guard.reversed_j,
            limit=switch.avalanche_limit_j,
            dimension="energy",
            at="pulse 1, one device taking all",
        )


@rule(
    "GRD-03",
    stage="battery_guard",
    severity="warn",
    title="The diode across the input outlives the fuse",
    what="Melting integral that the fuse may let through against what the diode stands.",
    why="A diode that opens before the fuse leaves the circuit reversed and unprotected.",
    limit="Half-sine surge rating squared, times 5 ms.",
    source="common-practice",
    example="A 30 A fuse that takes 0.1 s at 180 A lets 3240 A²s through: a diode of 150 A surge stands "
    "113 A²s.",
    remedy="Choose a diode of a higher surge rating (battery_guard.reverse_diode), or "
    'battery_guard.reverse = "n_mosfet".',
)
def reverse_diode(design: Design) -> Iterator[Measure]:
    """Measure the integral in A²s."""
    guard = design.battery_guard
    if guard is not None and guard.diode is not None:
        yield Measure(
            quantity="melting integral through the diode across the input",
            value=guard.diode.fuse_a2s,
            limit=guard.diode.surge_a2s,
            dimension="melting integral",
        )


@rule(
    "GRD-04",
    stage="battery_guard",
    severity="warn",
    title="Over-voltages and pulses at the weakest part",
    what="Voltage at the parts on the battery side in a jump start, a long over-voltage and the short "
    "pulses of "
    "the supply line, with what holds it there. The load dump has a rule of its own, SUP-10.",
    why="Each lasts from a microsecond to an hour; none asks whether music plays.",
    limit="Lowest rating among all parts that see the battery.",
    source="iso-7637-2",
    example="A jump start from a lorry puts 24 V on a 12 V unit for a minute: 25 V capacitors just stand it.",
    remedy="Choose parts of the next voltage class (converter.input_capacitor, converter.controller). "
    "Against "
    "pulses of less than a second a suppressor does as well (battery_guard.clamp); a longer over-voltage "
    "would burn it.",
    near=0.0,
)
def pulses(design: Design) -> Iterator[Measure]:
    """Measure each pulse in V."""
    guard = design.battery_guard
    if guard is None:
        return
    for stress in guard.stresses:
        if not stress.name.startswith("load dump"):
            yield Measure(
                quantity=f"{stress.name}, at the {stress.weakest}",
                value=stress.at_v,
                limit=stress.limit_v,
                dimension="voltage",
            )


@rule(
    "GRD-05",
    stage="battery_guard",
    severity="warn",
    title="The suppressor stands and survives",
    what="Highest steady voltage against its standoff voltage, and the peak power of its severest pulse "
    "against "
    "the rating for that width.",
    why="One that conducts steadily burns; one that fails short blows the fuse, one that fails open guards "
    "nothing.",
    limit="Standoff voltage; pulse power from the 1 ms and 10 ms ratings, straight on log scales.",
    source="iso-16750-2",
    example="101 V behind 2 Ω for 0.4 s on a 33 V part: 29 A at 44 V, 101 J.",
    remedy="Choose another battery_guard.clamp; where an unclamped load dump is too much for any, fit the "
    'alternator with a clamp and set battery_guard.alternator = "clamped".',
)
def suppressor(design: Design) -> Iterator[Measure]:
    """Measure voltage and power."""
    guard = design.battery_guard
    if guard is None or guard.clamp is None:
        return
    yield Measure(
        quantity="steady voltage on the suppressor",
        value=guard.clamp.standoff_needed_v,
        limit=guard.clamp.standoff_v,
        dimension="voltage",
    )
    yield Measure(
        quantity="pulse power of the suppressor",
        value=guard.clamp.power_w,
        limit=guard.clamp.power_limit_w,
        dimension="power",
        at="severest pulse",
    )


@rule(
    "GRD-06",
    stage="protection",
    severity="note",
    title="While the engine is started",
    what="Lowest battery voltage behind the sense filter at each level of the starting profile, against the "
    "highest value of the under-voltage trip; and the battery with the engine running against the highest "
    "value of the release.",
    why="Whether music stops for a moment or the unit stays off until somebody switches it off and on is "
    "decided here, not by chance. A short dip passes the filter only in part; the ripple that the pistons "
    "put on the plateau, 2 Hz, passes it whole.",
    limit="Worst-case high ends of trip and release. A dip below the controller's own lockout stops it "
    "whatever the filter does.",
    source="iso-16750-2",
    example="8 V for 15 ms, then 9.5 V for a second, and a 10.5 V trip: it stops, and plays again about a "
    "second after the engine has started.",
    remedy="Nothing, where it may stop while the engine starts. Else lower protection.under_voltage_trip "
    "below the plateau that the battery keeps, or lengthen protection.sense_filter for the first dip.",
)
def engine_start(design: Design) -> Iterator[Measure]:
    """Measure voltages in V."""
    for ride in design.protection.cranking:
        if ride.level == "cut":  # without a supply everything stops; the sheet tells for how long
            continue
        after = "" if ride.outcome == "rides through" else f", silent for up to {show(ride.off_s, 'time')}"
        dips = f"{show(ride.dip_v, 'voltage')}, then {show(ride.plateau_v, 'voltage')}"
        locked = ride.locked_out and ride.sensed_v >= ride.trip_high_v
        yield Measure(
            quantity=f"engine start at level {ride.level} ({dips}) {ride.outcome}{after}: "
            + ("the dip, which stops the controller itself," if locked else "the battery behind the filter"),
            value=ride.dip_v if locked else ride.sensed_v,
            limit=ride.lockout_v if locked and ride.lockout_v is not None else ride.trip_high_v,
            dimension="voltage",
            sense="at least",
        )
    if design.protection.cranking:
        ride = design.protection.cranking[0]
        yield Measure(
            quantity="battery with the engine running, that has to release the under-voltage",
            value=ride.engine_v,
            limit=ride.release_high_v,
            dimension="voltage",
            sense="at least",
            severity="warn",
            remedy="Lower protection.under_voltage_release, or switch off and on after starting.",
        )


@rule(
    "GRD-07",
    stage="battery_guard",
    severity="warn",
    title="Negative pulses at every part",
    what="Lowest supply voltage in the negative pulses of the supply line, with what holds it there, against "
    "what each part stands; where a resistor or a body diode takes it, the current.",
    why="When the supply of an inductive neighbour is cut, its coil pulls the common line far below zero. "
    "The input capacitors usually swallow that; without a converter there are none.",
    limit="-0.3 V for integrated circuits, -1 V for electrolytic capacitors, -5 V for the base of a switched "
    "transistor, the rated current of body diodes and of reversed inputs (from memory).",
    source="iso-7637-2",
    example="-150 V behind 10 Ω for 2 ms takes 13 mC: 4400 µF fall by 3 V in it and stay positive.",
    remedy="Fit a suppressor (battery_guard.clamp): it conducts forward; or more input capacitance "
    "(converter.input_capacitor), or a diode in the feed of the part named.",
)
def negative_pulses(design: Design) -> Iterator[Measure]:
    """Measure each part in V or A; of the pulses only the one that comes nearest to its limit."""
    guard = design.battery_guard
    if guard is None:
        return
    nearest: dict[str, Measure] = {}
    for stress in guard.negative:
        volts = stress.unit == "V"
        measure = Measure(
            quantity=f"{stress.pulse}, at the {stress.role}",
            value=stress.value,
            limit=stress.limit,
            dimension="voltage" if volts else "current",
            sense="at least" if volts else "at most",
            at=f"held by {stress.held_by}",
        )
        if stress.role not in nearest or measure.margin < nearest[stress.role].margin:
            nearest[stress.role] = measure
    yield from nearest.values()
