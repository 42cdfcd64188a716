"""Rules on the class-D modulator and its gate drivers."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = [
    "bootstrap_hold",
    "carrier_slope",
    "dead_time_window",
    "driver_start",
    "frequency_met",
    "gain_met",
    "gate_current_met",
    "integrator_room",
    "modulation_reached",
    "output_offset",
]

_MOST_DETUNED = 0.08  # what the output filter's corner and the losses don't mind
_MOST_GAIN = 0.05  # 0.4 dB
_GATE_LEAST = 0.85
_RESTED = "the drivers' supply at its lowest"


@rule(
    "MOD-01",
    stage="amplifier",
    severity="warn",
    title="Dead time of the class-D drivers at its worst",
    what="Shortest time from one gate's threshold to the other's, with thresholds, delays, resistors and "
    "capacitors all at the end of their range that shortens it.",
    why="Below zero both switches of a leg conduct at once: they heat at idle, and die where the supply can "
    "give the current.",
    limit="Zero.",
    source="ir-2110",
    example="66 ns typical are 4 ns at the worst with 20 nC gates; 40 ns typical could become −20 ns.",
    remedy="Leave amplifier.dead_time at auto or raise it, raise amplifier.gate_drive, or take a switch with "
    "less gate charge.",
)
def dead_time_window(design: Design) -> Iterator[Measure]:
    """Measure the time in s."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="shortest dead time, gate to gate",
        value=m.dead_time_window_s[0],
        limit=0.0,
        dimension="time",
        sense="at least",
        at="every part at its worst",
    )


@rule(
    "MOD-02",
    stage="amplifier",
    severity="warn",
    title="Direct voltage that the class-D loop puts on the loudspeaker",
    what="Offsets and bias currents of both op-amps, and the mismatch of the integrator's resistors times "
    "the nodes' mean over their reference, all added up.",
    why="It moves the cone out of its middle, heats the voice coil a little, and thumps at un-mute.",
    limit="A hundredth of the peak output (common practice, no source).",
    source="horowitz-hill",
    example="24 V across 1 % resistors and a gain of 19 can leave 0.27 V; 0.1 % leave 27 mV.",
    remedy="Match the four resistors with a meter, set amplifier.feedback_tolerance lower, or state an "
    "op-amp with less offset (amplifier.op_amp).",
)
def output_offset(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="direct voltage at the loudspeaker",
        value=m.offset_v,
        limit=m.offset_limit_v,
        dimension="voltage",
    )


@rule(
    "MOD-03",
    stage="amplifier",
    severity="warn",
    title="The modulator reaches the modulation reckoned with",
    what="Greatest share of the bus that the shortest pulse of comparator and clock leaves.",
    why="Rails and power follow from amplifier.modulation_max; a modulator that drops pulses before it clips "
    "sooner, and with a step.",
    limit="amplifier.modulation_max, where it is stated; auto follows the pulse.",
    source="ti-lm319",
    example="80 ns at 200 kHz leave 96.8 %; at 400 kHz 93.6 %.",
    remedy="Lower amplifier.switching or amplifier.modulation_max.",
)
def modulation_reached(design: Design) -> Iterator[Measure]:
    """Measure the share."""
    m = design.amplifier.modulator
    if m is None or design.spec.amplifier.modulation_max is None:
        return
    yield Measure(
        quantity="greatest modulation",
        value=m.modulation_reach,
        limit=design.amplifier.modulation_max,
        dimension="share",
        sense="at least",
    )


@rule(
    "MOD-04",
    stage="amplifier",
    severity="warn",
    title="The gate drivers start at the lowest supply",
    what="Voltage on the bootstrap capacitor once charged, at the lowest supply, beside the highest voltage "
    "at which a driver of this family may still refuse to start.",
    why="The upper switch would stay off: half a bridge amplifies nothing and pulls the output to one side.",
    limit="Highest starting voltage of the driver's floating supply.",
    source="ir-2110",
    example="10.5 V of a tired battery less 0.3 V in the switch, 0.2 V in the filter and 0.35 V in the "
    "diode are 9.65 V; most drivers start at 8.6 V, some need 9.7 V.",
    remedy="Raise amplifier.gate_supply or supply.low; where the battery itself is low, test the driver you "
    "have at that voltage.",
)
def driver_start(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="charged bootstrap capacitor",
        value=m.bootstrap_low_v,
        limit=m.start_v,
        dimension="voltage",
        sense="at least",
        at=_RESTED,
    )


@rule(
    "MOD-05",
    stage="amplifier",
    severity="warn",
    title="The bootstrap holds through a clipped crest",
    what="By how much the bootstrap capacitor falls while the upper switch is on for half a period of the "
    "lowest note, capacitor at the low end of its tolerance, currents at their largest.",
    why="Clipped hard the modulator stops switching, and nothing charges the capacitor; at the lockout the "
    "upper switch opens in the middle of the crest.",
    limit="Charged capacitor at the lowest supply less the highest lockout voltage of the floating supply.",
    source="ir-an978",
    example="10 µF give 0.7 mA for 16 ms and fall by 1.4 V of the 1.9 V between 11.3 V and 9.4 V.",
    remedy="Raise amplifier.gate_supply, or goal.lowest_note.",
)
def bootstrap_hold(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="fall of the bootstrap in the longest crest",
        value=m.hold_drop_v,
        limit=m.bootstrap_low_v - m.lockout_v,
        dimension="voltage",
        at=_RESTED,
    )


@rule(
    "MOD-06",
    stage="amplifier",
    severity="warn",
    title="The gate drivers give the current reckoned with",
    what="Current into a gate at its plateau, through driver and gate resistor.",
    why="Switching losses are reckoned with amplifier.gate_drive; a slower gate makes them larger.",
    limit="85 % of amplifier.gate_drive.",
    source="ir-2110",
    example="12.2 V, a plateau of 5 V and 6 Ω in the driver leave 1 A at the most.",
    remedy="Lower amplifier.gate_drive to what the driver gives.",
)
def gate_current_met(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="gate current at the plateau",
        value=m.gate_current_a,
        limit=_GATE_LEAST * m.gate_current_wanted_a,
        dimension="current",
        sense="at least",
    )


@rule(
    "MOD-07",
    stage="amplifier",
    severity="warn",
    title="Room of the modulator's integrator",
    what="Lowest and highest voltage that the integrator's output goes through, beside what the op-amp "
    "reaches on its supply.",
    why="At its end the integrator no longer corrects: the output clips early, and comes back late.",
    limit="The op-amp's supply less what its output leaves, at the lowest supply.",
    source="derived",
    example="On 10 V the carrier asks for 2.8 V to 6.5 V of 2.2 V to 7.8 V.",
    remedy="State an op-amp that goes nearer to its supply (amplifier.op_amp), or raise goal.power: higher "
    "rails give it more room.",
)
def integrator_room(design: Design) -> Iterator[Measure]:
    """Measure the voltages in V."""
    m = design.amplifier.modulator
    if m is None:
        return
    for name, value, limit, sense in (
        ("lowest output of the integrator", m.integrator_window_v[0], m.integrator_room_v[0], "at least"),
        ("highest output of the integrator", m.integrator_window_v[1], m.integrator_room_v[1], "at most"),
    ):
        yield Measure(
            quantity=name,
            value=value,
            limit=limit,
            dimension="voltage",
            sense="at least" if sense == "at least" else "at most",
        )


@rule(
    "MOD-08",
    stage="amplifier",
    severity="stop",
    title="The carrier is steeper than the feedback's ripple",
    what="Slope of the clock's carrier over that of the integrator's ripple at the comparator, highest bus, "
    "pumped rails included.",
    why="With a carrier that is less steep the comparator crosses again within the period: edges multiply, "
    "and the switches heat.",
    limit="1; above 2 it holds at any output.",
    source="cox-mouton2018",
    example="0.55 V/µs over 0.24 V/µs are 2.3.",
    remedy="Raise amplifier.switching, or let the rails rise less (supply.max, converter.output).",
)
def carrier_slope(design: Design) -> Iterator[Measure]:
    """Measure the ratio."""
    m, amplifier = design.amplifier.modulator, design.amplifier
    if m is None or not m.clocked:
        return
    pumped = 1.0 if amplifier.pumping_limit_v is None else 1.0 + design.spec.amplifier.pumping_limit
    yield Measure(
        quantity="slope of the carrier over the feedback's",
        value=m.carrier_slope_v_per_s / (pumped * m.feedback_slope_v_per_s),
        limit=1.0,
        dimension="ratio",
        sense="at least",
    )


@rule(
    "MOD-09",
    stage="amplifier",
    severity="warn",
    title="The modulator's frequency is the one reckoned with",
    what="Switching frequency at rest from preferred values, beside amplifier.switching.",
    why="Losses, ripple and the output filter follow from amplifier.switching.",
    limit="8 % either way; the tolerances of the parts come on top.",
    source="derived",
    example="3.3 kΩ and 1 nF give 200.4 kHz.",
    remedy="Set amplifier.switching to what the preferred values give.",
)
def frequency_met(design: Design) -> Iterator[Measure]:
    """Measure the relative error."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="switching frequency off the wanted one",
        value=abs(m.switching_hz / m.switching_wanted_hz - 1.0),
        limit=_MOST_DETUNED,
        dimension="share",
    )


@rule(
    "MOD-10",
    stage="amplifier",
    severity="warn",
    title="Gain of the class-D loop",
    what="Gain from the filter's output to the loudspeaker with preferred values, beside peak output over "
    "peak of amplifier.full_input.",
    why="The filter is matched to that input: with less gain full power is never reached.",
    limit="5 % either way.",
    source="derived",
    example="68 kΩ over 2.4 kΩ with 0.95 left by the output's resistance are 26.8.",
    remedy="Choose an amplifier.full_input for which the E24 series has a pair.",
)
def gain_met(design: Design) -> Iterator[Measure]:
    """Measure the relative error."""
    m = design.amplifier.modulator
    if m is None:
        return
    yield Measure(
        quantity="gain off the wanted one",
        value=abs(m.gain / m.gain_wanted - 1.0),
        limit=_MOST_GAIN,
        dimension="share",
    )
