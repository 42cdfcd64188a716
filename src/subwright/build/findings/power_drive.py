"""Rules on the converter's timing, gate drive, controller, start and stop, efficiency and life."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design, OperatingPoint
from subwright.physics.capacitors import electrolytic_life_s
from subwright.stages.common import Corner, Level
from subwright.stages.converter_drive_load import returned_v

__all__ = [
    "capacitor_life",
    "chain_efficiency",
    "controller_awake",
    "controller_supply",
    "converter_efficiency",
    "dead_time",
    "discharge_time",
    "gate_drive",
    "gate_voltage",
    "inrush",
    "switching_frequency",
]

_FOLLOWER_DROPOUT_V = 1.5  # least voltage over the gate supply's follower
_STANDARD_GATE_V = 8.0
_LOGIC_GATE_V = 5.0
_LOGIC_THRESHOLD_V = 2.6  # largest threshold of what the trade calls logic level
_DEAD_TIMES = 2.0
_DISCHARGED_S = 120.0
_SELF_HEAT_K = 5.0  # inside a can at its full ripple rating
_LIFE_S = 5000 * 3600.0
_DAY_OVER_USE = 24.0 / 3.0
_LIFE_LEAST_C = 40.0  # below this the ten-kelvin rule promises too much
_LIFE_MOST_K = 10.0  # and above the rated temperature by this it isn't meant to hold
_CONVERTER_EFFICIENCY = 0.85
_CHAIN_EFFICIENCY = {True: 0.75, False: 0.50}  # switching amplifiers, linear ones
_BEFORE_CONVERTER = ("battery", "cable", "fuse and contacts")


@rule(
    "CNV-12",
    stage="converter",
    severity="note",
    title="Switching frequency off its target",
    what="Frequency from the real timing parts against the one asked for.",
    why="Turns, ripple and dead time follow the real frequency, but core and switches were chosen with the "
    "target in mind.",
    limit="10 % of converter.switching.",
    source="common-practice",
    example="10 kΩ and 1 nF on a 494: the ramp runs at 110 kHz, the switches at 55 kHz, 10 % above 50 kHz.",
    remedy='Set converter.timing_resistor_series = "E96", or converter.switching to the frequency reached.',
)
def switching_frequency(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    if design.converter is None:
        return
    timing = design.converter.plan.timing
    yield Measure(
        quantity="switching frequency off its target",
        value=abs(timing.switching_hz / timing.switching_target_hz - 1.0),
        limit=0.10,
        dimension="share",
    )


@rule(
    "CNV-13",
    stage="converter",
    severity="stop",
    title="Dead time against turn-off time",
    what="Time with both switches off against the time that a switch takes to let go.",
    why="While both conduct, their ampere-turns cancel: the transformer is a short circuit across the "
    "battery, and only resistance limits the current.",
    limit="Twice the turn-off time by gate charge.",
    source="pressman1998",
    example="A plateau charge of 40 nC at 0.25 A takes 160 ns: at least 320 ns of dead time, better 800 ns.",
    remedy="Raise converter.dead_time, or take switches with less gate-drain charge (converter.mosfet).",
    near=0.2,
)
def dead_time(design: Design) -> Iterator[Measure]:
    """Measure the dead time in s."""
    if design.converter is None:
        return
    yield Measure(
        quantity="dead time",
        value=design.converter.plan.timing.dead_time_s,
        limit=_DEAD_TIMES * design.converter.turn_off_s,
        dimension="time",
        sense="at least",
    )


@rule(
    "CNV-14",
    stage="converter",
    severity="warn",
    title="Gate drive on a tired battery",
    what="Gate voltage at the crest of a full sine, low corner, after the drops of controller and buffer.",
    why="On resistance is stated for 10 V. With less the switch is neither on nor off: it takes the heat of "
    "both while the current is highest.",
    limit="8 V; 5 V for switches with a largest threshold of 2.6 V (logic level). Common practice, no "
    "source.",
    source="common-practice",
    example="11.2 V less 2 V in the controller and 0.7 V in the buffer leave 8.5 V.",
    remedy="Choose logic-level switches (converter.mosfet) or a controller with less drop "
    "(converter.controller), or thicken the cable (supply.section).",
    near=0.02,
)
def gate_drive(design: Design) -> Iterator[Measure]:
    """Measure the gate voltage in V."""
    converter = design.converter
    if converter is None:
        return
    plan = converter.plan
    least_v = design.point(Corner.LOW, Level.FULL).terminal_least_v
    if converter.gate_supply is not None:
        least_v = min(least_v - _FOLLOWER_DROPOUT_V, converter.gate_supply.output_v)
    least_v -= plan.drive.driver.drop_v
    yield Measure(
        quantity="gate voltage",
        value=least_v,
        limit=_LOGIC_GATE_V if plan.switch.mosfet.vgs_th_v <= _LOGIC_THRESHOLD_V else _STANDARD_GATE_V,
        dimension="voltage",
        sense="at least",
        at="low battery, crest of a full sine",
    )


@rule(
    "CNV-15",
    stage="converter",
    severity="stop",
    title="Gate voltage on a full battery",
    what="Highest voltage that the drive can put on a gate: the highest battery, or the gate supply's own "
    "voltage where there is one. A bridge's gates see two diodes more while the gate transformer's "
    "magnetising current comes back.",
    why="Gate oxide breaks down within microseconds and shorts the switch; 24 V and more on a 20 V gate "
    "don't wait for a fault.",
    limit="Gate-source rating of the switch.",
    source="st-std50n03l",
    example="A 12 V system ends at 16 V: fine for ±20 V gates. A 24 V system reaches 32 V: the drive needs "
    "its own 12 V supply.",
    remedy='Set converter.gate_supply = "regulated": zener and emitter follower make 12 V.',
    near=0.05,
)
def gate_voltage(design: Design) -> Iterator[Measure]:
    """Measure the gate voltage in V."""
    converter = design.converter
    if converter is None:
        return
    supply = converter.gate_supply
    feed_v = design.supply.corners[Corner.MAX] if supply is None else supply.output_v
    if converter.gate_transformer is not None:
        feed_v = returned_v(converter.drive, converter.plan.controller, feed_v)
    yield Measure(
        quantity="highest gate voltage",
        value=feed_v,
        limit=converter.plan.switch.mosfet.vgs_max_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-16",
    stage="converter",
    severity="stop",
    title="The controller stays awake on a tired battery",
    what="Supply of the controller at the low corner, at rest and at the crest of a full sine, and while "
    "cranking, against its own lockout.",
    why="Under its lockout the controller lets go, the battery recovers, it starts again: the sound stutters "
    "and each start charges the rails anew.",
    limit="Start voltage at rest; the higher of stop voltage and least supply while playing.",
    source="common-practice",
    example="10.9 V at the crest against 8 V: 36 % in hand. A 24 V unit on 12 V never starts.",
    remedy="Choose a controller with a lower lockout (converter.controller), or thicken the cable "
    "(supply.section).",
    near=0.05,
)
def controller_awake(design: Design) -> Iterator[Measure]:
    """Measure the supply voltages in V."""
    if design.converter is None:
        return
    controller, supply = design.converter.plan.controller, design.converter.gate_supply

    def fed(battery_v: float) -> float:
        """Controller's supply at a battery voltage, V."""
        return battery_v if supply is None else min(battery_v - _FOLLOWER_DROPOUT_V, supply.output_v)

    if controller.uvlo_on_v is not None:
        yield Measure(
            quantity="supply for the controller's start",
            value=fed(design.supply.corners[Corner.LOW]),
            limit=controller.uvlo_on_v,
            dimension="voltage",
            sense="at least",
            at="low battery at rest",
        )
    yield Measure(
        quantity="supply of the controller",
        value=fed(design.point(Corner.LOW, Level.FULL).terminal_least_v),
        limit=max(controller.supply_min_v, controller.uvlo_off_v or 0.0),
        dimension="voltage",
        sense="at least",
        at="low battery, crest of a full sine",
    )
    yield Measure(
        quantity="supply of the controller",
        value=fed(design.supply.corners[Corner.MIN]),
        limit=max(controller.supply_min_v, controller.uvlo_off_v or 0.0),
        dimension="voltage",
        sense="at least",
        at="cranking",
        severity="note",
        remedy="It lets go while the engine cranks and starts softly afterwards; the under-voltage trip "
        "holds it off meanwhile. Choose a controller with a lower lockout (converter.controller) if it "
        "must not.",
    )


@rule(
    "CNV-17",
    stage="converter",
    severity="stop",
    title="The controller stands the battery",
    what="Highest battery voltage against the controller's supply rating.",
    why="The controller hangs on the battery all day. It is the cheapest part, and it takes the switches "
    "along when it goes.",
    limit="Supply rating of the controller.",
    source="common-practice",
    example="32 V of a charging 24 V battery against 35 V: 9 % left, and nothing for a load dump.",
    remedy="Choose a controller with a higher rating (converter.controller), or set converter.gate_supply = "
    '"regulated".',
    near=0.1,
)
def controller_supply(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    if design.converter is None:
        return
    yield Measure(
        quantity="supply of the controller",
        value=design.supply.corners[Corner.MAX]
        if design.converter.gate_supply is None
        else design.converter.gate_supply.output_v,
        limit=design.converter.plan.controller.supply_max_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-18",
    stage="converter",
    severity="warn",
    title="Charging the rails at switch-on",
    what="Peak of the battery current that charges both rails during soft start, averaged over a cycle, "
    "against the peak with a full sine.",
    why="Without a soft start the empty rail capacitors look like a short circuit through the transformer: "
    "switches, fuse and contacts take it.",
    limit="Battery peak of a full sine at the nominal corner.",
    source="derived",
    example="Two rails of 4700 µF to 43 V by a ratio of 3.5 from 12.6 V in 0.3 s: 4.7 A if filled evenly, "
    "but through 20 mΩ of battery, 15 mΩ of loop and 60 nH they fill within 0.12 s, with 19 A at most.",
    remedy="Raise converter.soft_start, or lower converter.reservoir.",
    near=0.1,
)
def inrush(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    if design.converter is None:
        return
    yield Measure(
        quantity="battery current during soft start",
        value=design.converter.inrush_a,
        limit=design.point(Corner.NOMINAL, Level.FULL).battery_peak_a,
        dimension="current",
    )


@rule(
    "CNV-19",
    stage="converter",
    severity="warn",
    title="The rails discharge themselves",
    what="Time for a rail at the highest battery to fall below 5 V through its bleeder after switch-off.",
    why="A charged bank bites the hand, welds the screwdriver and kills the switch that is soldered next. "
    "Measure the rails before touching them, whatever this says.",
    limit="Two minutes; common practice, no source.",
    source="common-practice",
    example="4.7 kΩ on 4700 µF: 22 s for each fall to 37 %, so from 45 V to 5 V it takes 49 s.",
    remedy="Lower converter.reservoir, or fit smaller bleeders of higher power than the ones listed.",
)
def discharge_time(design: Design) -> Iterator[Measure]:
    """Measure the time in s."""
    if design.converter is None:
        return
    yield Measure(
        quantity="discharge of a rail to 5 V",
        value=design.converter.bleeder_s,
        limit=_DISCHARGED_S,
        dimension="time",
    )


def _converter_watts(point: OperatingPoint) -> tuple[float, float]:
    """Power at the converter's terminals and its own losses, W."""
    before = sum(point.losses_w.get(name, 0.0) for name in _BEFORE_CONVERTER)
    own = sum(
        watts
        for name, watts in point.losses_w.items()
        if name not in _BEFORE_CONVERTER and not name.startswith("amplifier ")
    )
    return point.battery_w - before, own


@rule(
    "CNV-20",
    stage="converter",
    severity="note",
    title="Efficiency of the converter",
    what="Power on the rails over power at the battery terminals, full sine, nominal battery.",
    why="What is lost here heats the sink and empties the battery; a low figure points to the stage that "
    "wastes.",
    limit="85 %; common practice for 12 V push-pull converters, no source.",
    source="common-practice",
    example="220 W in and 22 W of named losses: 90 %.",
    remedy="See the losses by name: usually thicker primary wire (transformer.primary_strands), better "
    "switches (converter.mosfet) or a lower converter.switching.",
    near=0.01,
)
def converter_efficiency(design: Design) -> Iterator[Measure]:
    """Measure the efficiency as a share."""
    if design.converter is None:
        return
    taken_w, lost_w = _converter_watts(design.point(Corner.NOMINAL, Level.FULL))
    yield Measure(
        quantity="efficiency from terminals to rails",
        value=1.0 - lost_w / taken_w,
        limit=_CONVERTER_EFFICIENCY,
        dimension="share",
        sense="at least",
        at="full sine",
    )


@rule(
    "CNV-21",
    stage="converter",
    severity="note",
    title="Life of the electrolytics",
    what="Years until the input or rail capacitors wear out, at three hours a day of programme in the "
    "hottest air, by the ten-kelvin rule, with 5 K of own heat at the full ripple rating.",
    why="Electrolytics are the parts that age. In hot air, with ripple, years become months.",
    limit="5000 hours: four and a half years at three hours a day; common practice, no source.",
    source="electrolytic-rule",
    example="2000 h at 105 °C become 64 000 h at 55 °C, 58 years at three hours a day; at 75 °C 15 years.",
    remedy="Keep the cans away from the heatsink (heat.air_rise), or choose 105 °C long-life cans "
    "(converter.reservoir_capacitor, converter.input_capacitor).",
)
def capacitor_life(design: Design) -> Iterator[Measure]:
    """Measure the life in s."""
    converter = design.converter
    if converter is None:
        return
    point = design.point(Corner.CHARGING, Level.PROGRAMME)
    for name, bank, ripple_a in (
        ("input capacitors", converter.input_bank, point.input_ripple_a),
        ("rail capacitors", converter.reservoir_bank, point.reservoir_ripple_a),
    ):
        can = bank.capacitor
        if can.life_s is None:
            continue
        core_c = design.heat.air_c + _SELF_HEAT_K * (ripple_a / bank.ripple_limit_a) ** 2
        counted_c = min(max(core_c, _LIFE_LEAST_C), can.temp_c + _LIFE_MOST_K)
        yield Measure(
            quantity=f"life of the {name}, three hours a day",
            value=_DAY_OVER_USE * electrolytic_life_s(can.life_s, can.temp_c, counted_c),
            limit=_DAY_OVER_USE * _LIFE_S,
            dimension="time",
            sense="at least",
            at="programme, hottest air",
        )


@rule(
    "EFF-01",
    stage="amplifier",
    severity="note",
    title="Efficiency from battery to driver",
    what="Power into the rated load over power out of the battery, full sine, nominal battery.",
    why="It decides how long the battery lasts and how large the heatsink must be.",
    limit="75 % with a switching amplifier, 50 % with a linear one; common practice, no source.",
    source="common-practice",
    example="180 W out of 225 W: 80 %.",
    remedy="See the losses by name, the largest first; a linear amplifier gains most from "
    'amplifier.kind = "class_d_half_bridge".',
    near=0.01,
)
def chain_efficiency(design: Design) -> Iterator[Measure]:
    """Measure the efficiency as a share."""
    yield Measure(
        quantity="efficiency from battery to load",
        value=design.point(Corner.NOMINAL, Level.FULL).efficiency,
        limit=_CHAIN_EFFICIENCY[design.amplifier.recirculates],
        dimension="share",
        sense="at least",
        at="full sine",
    )
