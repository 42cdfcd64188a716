"""Rules on the boost converter's control: current limit, slope, loop, bass on the rail, second stop, "
"start."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = [
    "bass_on_rail",
    "crossover",
    "current_limit",
    "gate_level",
    "loop_margins",
    "second_stop",
    "slope",
    "start",
]

_LIMIT_ROOM = 1.05
_ZERO_SHARE = 4.0
_PHASE_DEG = 45.0
_GAIN_DB = 8.0
_BASS_SHARE = 0.03
_GUARD_ROOM = 1.02
_START_ROOM_V = 0.2
_LEAST_GATE_V = 8.0


@rule(
    "BST-15",
    stage="boost",
    severity="stop",
    title="The current limit leaves the crest alone",
    what="Least current limit over the comparator's tolerance, at the duty of each battery corner with the "
    "slope counted, against the choke's peak at the crest of a full sine.",
    why="A limit that bites at the crest cuts the bass by collapsing the rail; the slope that steadies the "
    "loop "
    "lowers the limit as the duty grows, on the tired battery where the current is highest.",
    limit="105 % of the peak.",
    source="unitrode-u97",
    example="A peak of 45 A at a duty of 0.65 and a least limit of 58 A.",
    remedy="Lower goal.power, or converter.ripple: less slope is needed.",
)
def current_limit(design: Design) -> Iterator[Measure]:
    """Measure the limit in A."""
    if design.boost is None:
        return
    for at in design.boost.corners:
        yield Measure(
            quantity="least current limit",
            value=at.limit_a,
            limit=_LIMIT_ROOM * at.peak_a,
            dimension="current",
            sense="at least",
            at=f"{at.corner.value} battery",
        )


@rule(
    "BST-16",
    stage="boost",
    severity="stop",
    title="Slope for duties above one half",
    what="Slope that the ramp adds to the sensed current, over half of the falling slope, on the tired "
    "battery.",
    why="Without it peak current control hunts at half the switching frequency as soon as the duty passes "
    "one "
    "half: long pulse, short pulse, and a choke that sings.",
    limit="1, the least that damps any duty.",
    source="unitrode-u97",
    example="1.5 times the least: the current settles with a Q of about 1.",
    remedy='Leave converter.controller = "auto", so that the slope resistor is worked out anew.',
)
def slope(design: Design) -> Iterator[Measure]:
    """Measure the ratio."""
    if design.boost is None:
        return
    sense = design.boost.plan.sense
    yield Measure(
        quantity="added slope over the least",
        value=sense.slope_v_per_s / sense.slope_needed_v_per_s,
        limit=1.0,
        dimension="ratio",
        sense="at least",
        at="tired battery",
    )


@rule(
    "BST-17",
    stage="boost",
    severity="warn",
    title="The loop stays below the right-half-plane zero",
    what="Highest crossover of the voltage loop against a quarter of the lowest right-half-plane zero.",
    why="Above that zero more duty first takes from the rail what it is to give. A loop that is still fast "
    "there answers a bass hit the wrong way round and oscillates.",
    limit="A quarter of the zero at the crest on a tired battery; common practice, no source.",
    source="common-practice",
    example="2.2 Ω, a duty of 0.65 and 8 µH put the zero at 5.4 kHz: cross over below 1.3 kHz.",
    remedy="More rail capacitance (converter.reservoir), or a smaller choke by more converter.ripple or a "
    "higher "
    "converter.switching, which moves the zero up.",
)
def crossover(design: Design) -> Iterator[Measure]:
    """Measure the crossover in Hz."""
    if design.boost is None:
        return
    loop = design.boost.loop
    yield Measure(
        quantity="highest crossover of the rail's loop",
        value=loop.crossover_hz,
        limit=loop.zero_hz / _ZERO_SHARE,
        dimension="frequency",
    )


@rule(
    "BST-18",
    stage="boost",
    severity="warn",
    title="Margins of the rail's loop",
    what="Least phase margin and least gain margin over every battery corner, crest and light load, the "
    "load a "
    "resistor or of constant power.",
    why="A class-D amplifier takes power, not current: when the rail dips it draws more. A loop with little "
    "margin rings on every bass hit.",
    limit="45° and 8 dB; common practice, no source.",
    source="common-practice",
    example="66° and 13 dB in the worst corner.",
    remedy="More rail capacitance or cans of less series resistance (converter.reservoir_capacitor), or a "
    "higher converter.switching.",
)
def loop_margins(design: Design) -> Iterator[Measure]:
    """Measure the phase in degrees and the gain in dB."""
    if design.boost is None:
        return
    loop = design.boost.loop
    yield Measure(
        quantity="least phase margin of the rail's loop",
        value=loop.phase_margin_deg,
        limit=_PHASE_DEG,
        dimension="angle",
        sense="at least",
    )
    if loop.gain_margin_db is not None:
        yield Measure(
            quantity="least gain margin of the rail's loop",
            value=loop.gain_margin_db,
            limit=_GAIN_DB,
            dimension="level",
            sense="at least",
        )


@rule(
    "BST-19",
    stage="boost",
    severity="note",
    title="The bass on the raised rail",
    what="Peak of the rail's movement at twice the worst note of a full sine, loop closed, against the rail.",
    why="A loop of a kilohertz is no wall to the bass: the rail dips at each crest. The design takes the "
    "rail "
    "as still and keeps the dip in hand by setting it higher; a larger dip clips the crest.",
    limit="3 % of the rail; common practice, no source.",
    source="common-practice",
    example="131 mV of 30.6 V are 0.4 %.",
    remedy="More rail capacitance: converter.reservoir.",
)
def bass_on_rail(design: Design) -> Iterator[Measure]:
    """Measure the ripple in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="raised rail at twice the bass note",
        value=design.boost.bass_ripple_v,
        limit=_BASS_SHARE * design.boost.set_v,
        dimension="voltage",
        at=f"{design.boost.bass_ripple_hz:.0f} Hz",
    )


@rule(
    "BST-20",
    stage="boost",
    severity="warn",
    title="The second stop of the rail",
    what="Least voltage at which the zeners into the current-sense pin act, against the highest regulated "
    "rail.",
    why="A broken divider drives the rail up without an end: cans, switch and amplifier go together. The "
    "second stop has to act then and never before.",
    limit="102 % of the highest rail over the tolerances of reference and divider.",
    source="common-practice",
    example="A rail of 32.2 V at most and zeners that act at 33.5 V at the least.",
    remedy='Leave the zeners to the design (converter.controller = "auto"), or lower converter.rail.',
)
def second_stop(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="least voltage of the rail's second stop",
        value=design.boost.plan.guard.least_v,
        limit=_GUARD_ROOM * design.boost.rail_high_v,
        dimension="voltage",
        sense="at least",
    )


@rule(
    "BST-21",
    stage="boost",
    severity="warn",
    title="It starts on a tired battery",
    what="Supply of the controller before the first pulse, tired battery less choke, diode and follower, "
    "against "
    "the voltage at which it starts.",
    why="Once it runs the raised rail feeds it; but the first pulse has to come out of the battery.",
    limit="0.2 V above the controller's start.",
    source="ti-slus223",
    example="11.5 V less 2.2 V are 9.3 V; a 3843 starts at 8.4 V.",
    remedy='Set converter.gate_supply = "battery", or raise supply.min and the under-voltage trip with it.',
)
def start(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    boost = design.boost
    if boost is None:
        return
    controller = boost.plan.controller
    yield Measure(
        quantity="controller's supply before the first pulse",
        value=boost.start_v,
        limit=(controller.uvlo_on_v or controller.supply_min_v) + _START_ROOM_V,
        dimension="voltage",
        sense="at least",
        at="tired battery",
    )


@rule(
    "BST-22",
    stage="boost",
    severity="warn",
    title="Level at the boost switch's gate",
    what="High level at the gates on a tired battery.",
    why="On resistance is stated for 10 V. A gate that sags with the battery makes the switch hottest when "
    "the "
    "current is highest.",
    limit="8 V; common practice, no source.",
    source="common-practice",
    example="12.3 V from the rail's follower less 1.2 V in the driver are 11.1 V.",
    remedy='Set converter.gate_supply = "regulated", or converter.gate_drive = "direct".',
)
def gate_level(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    if design.boost is None:
        return
    yield Measure(
        quantity="high level at the boost switch's gate",
        value=design.boost.gate_v_low,
        limit=_LEAST_GATE_V,
        dimension="voltage",
        sense="at least",
        at="tired battery",
    )
