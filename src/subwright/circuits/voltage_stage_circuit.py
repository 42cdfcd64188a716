"""The voltage stage before the drivers of class AB: pair, mirror, voltage amplifier, sources, feedback, mute.

The same parts serve three netlists: the block by itself, its output stage replaced by a follower; the loop
closed through the real output stage; and that loop opened for its gain. Net names are those of the output
stage where the two meet: ``base_upper_a``, ``base_lower_a``, ``out_a`` and the feeds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import pi
from typing import Final

from subwright.circuits.amplifier_parts import POSITIVE
from subwright.circuits.builder import Builder
from subwright.circuits.models import BipolarModel, JunctionFetModel, JunctionModel, Model, OpAmpModel
from subwright.circuits.netlist import GROUND, Circuit, Ramp, Reading, Steady, TestPoint
from subwright.stages.amplifier_driving import SATURATION_A, THERMAL_V, junction_v
from subwright.stages.amplifier_voltage_stage_currents import (
    DIODE_A,
    DIODE_EMISSION,
    DIODE_V,
    reference_v,
)
from subwright.stages.amplifier_voltage_stage_records import StageTransistor, VoltageStage

__all__ = [
    "HALF",
    "MUTED",
    "MUTE_OPEN_V",
    "REFERENCE",
    "LegFeed",
    "add_voltage_stage",
    "bench_line",
    "stage_points",
    "voltage_stage_circuit",
]

HALF: Final = "half"
"""Net of half a single supply."""
REFERENCE: Final = "half_buffered"
"""The same behind its buffer, where op-amps hold the difference of two legs."""
MUTED: Final = ("muted_first_a", "muted_a")
"""Nets at which the mute shunts the signal, one after the other."""
MUTE_OPEN_V: Final = 12.0
"""To what the line that mutes is pulled up elsewhere while the amplifier plays, V."""
_PULL_UP_OHM: Final = 10e3
_HUNDRED: Final = 1400
_OP_AMP_GAIN: Final = 1e5


@dataclass(frozen=True, kw_only=True, slots=True)
class LegFeed:
    """Nets between which a leg's voltage stage works."""

    positive: str
    negative: str


class _Stage:
    """One amplifier's voltage stage under construction."""

    def __init__(self, build: Builder, stage: VoltageStage, split_rails: bool) -> None:
        self.build, self.stage = build, stage
        self.middle = GROUND if split_rails else HALF
        if stage.bridge == "difference":
            self.middle = REFERENCE
        self.models = {role: _model_of(role, part, stage) for role, part in stage.transistors.items()}

    def resistor(self, role: str, a: str, b: str) -> None:
        self.build.resistor(role, a, b, self.stage.resistors_ohm[role])

    def capacitor(self, role: str, a: str, b: str, at_rest_v: float) -> None:
        self.build.capacitor(role, a, b, self.stage.capacitors_f[role], initial_v=at_rest_v)

    def transistor(self, role: str, collector: str, base: str, emitter: str) -> None:
        nets = (collector, base, emitter)
        self.build.bought("Q", "transistor", nets, role, model=self.models[role])


def _model_of(role: str, part: StageTransistor, stage: VoltageStage) -> Model:
    """Model of a transistor with the figures that the stage was reckoned with.

    Parameters
    ----------
    role : its role, which names the model. part : the figures. stage : for the mute's.
    """
    name = role.upper().replace(" ", "_")
    if part.polarity == "p-channel":
        return JunctionFetModel(name=name, channel="p", on_ohm=stage.mute_ohm, pinch_v=stage.mute_pinch_v)
    # what the collector's capacitance takes of the transition frequency is not the transit time's
    charging_s = part.collector_f * THERMAL_V / part.current_a if part.current_a > 0.0 else 0.0
    return BipolarModel(
        name=name,
        polarity=part.polarity,
        current_gain=part.current_gain,
        saturation_a=SATURATION_A,
        transit_s=max(1.0 / (2.0 * pi * part.transit_hz) - charging_s, 0.0),
        early_v=part.early_v,
        collector_f=part.collector_f,
    )


def add_voltage_stage(
    build: Builder, stage: VoltageStage, feeds: Mapping[str, LegFeed], *, split_rails: bool, supply_v: float
) -> None:
    """Put the stage's parts down.

    Parameters
    ----------
    build : where they go. stage : the design. feeds : of each leg by its letter. split_rails : whether 0 V is
    the middle. supply_v : one rail, or the battery, V, for the capacitors' voltages at rest.
    """
    at = _Stage(build, stage, split_rails)
    rest_v = 0.0 if split_rails else 0.5 * supply_v
    if not split_rails:
        at.resistor("half upper", POSITIVE, HALF)
        at.resistor("half lower", HALF, GROUND)
        at.capacitor("half capacitor", HALF, GROUND, rest_v)
    _entry(at, rest_v)
    if stage.bridge == "difference":
        _difference(at, supply_v)
    for leg, feed in feeds.items():
        at.resistor("voltage feedback", f"out_{leg}", f"feedback_{leg}")
        if stage.bridge == "difference":
            at.resistor("leg input", f"steer_{leg}", f"input_base_{leg}")
            at.resistor("leg bias", f"input_base_{leg}", REFERENCE)
            at.resistor("voltage feedback shunt", f"feedback_{leg}", REFERENCE)
        elif leg == "b":
            _inverter(at, rest_v)
        else:
            _shunt(at, "voltage feedback", "a", rest_v)
        _amplifier(at, leg, feed, supply_v, rest_v, split_rails)


def _entry(at: _Stage, rest_v: float) -> None:
    """From the filter's output past the mute to the first base, or to the buffer before both legs."""
    before = "wanted_a"
    for node in MUTED:
        at.resistor("input series", before, node)
        before = node
        if "mute transistor" in at.stage.transistors:
            nets = (node, "muting_a", GROUND)
            model = at.models["mute transistor"]
            at.build.bought("Q", "junction fet", nets, "mute transistor", model=model)
    if "mute transistor" in at.stage.transistors:
        at.resistor("mute gate", "mute", "muting_a")
        at.capacitor("mute capacitor", "muting_a", GROUND, MUTE_OPEN_V)
    base = "signal_in" if at.stage.bridge == "difference" else "input_base_a"
    at.capacitor("input coupling", base, "muted_a", rest_v)
    at.resistor("input bias", base, at.middle)
    at.capacitor("input filter", base, GROUND, rest_v)


def _shunt(at: _Stage, word: str, leg: str, rest_v: float) -> None:
    """Resistor and capacitor from a leg's feedback to ground: its gain, at anything but direct voltages."""
    at.resistor(f"{word} shunt", f"feedback_{leg}", f"foot_{leg}")
    at.capacitor(f"{word} {'shunt ' if word == 'inverter' else ''}capacitor", f"foot_{leg}", GROUND, rest_v)


def _inverter(at: _Stage, rest_v: float) -> None:
    """Leg B about half the supply, from leg A's output."""
    at.resistor("inverter input", "out_a", "feedback_b")
    at.resistor("inverter bias", HALF, "input_base_b")
    _shunt(at, "inverter", "b", rest_v)


def _difference(at: _Stage, supply_v: float) -> None:
    """Op-amps: buffers of half and of the signal, the integrator of the difference, and its mirror image."""
    build, stage, cases = at.build, at.stage, at.stage.counts["difference op-amp"]
    room = stage.op_amp_room_v
    model = OpAmpModel(
        name="DIFFERENCE", gbw_hz=stage.op_amp_hz, dc_gain=_OP_AMP_GAIN, swing_v=(room, supply_v - room)
    )
    half, signal, error, turned = build.sections(2 * cases, 2)
    for _ in range(cases):
        at.capacitor("difference op-amp decoupling", POSITIVE, GROUND, supply_v)
    for section, plus, minus, out in (
        (half, HALF, REFERENCE, REFERENCE),
        (signal, "signal_in", "signal_held", "signal_held"),
        (error, "difference_plus", "difference_minus", "steer_a"),
        (turned, REFERENCE, "steer_turned", "steer_b"),
    ):
        nets = (plus, minus, out, POSITIVE, GROUND)
        build.bought("U", "op-amp", nets, "difference op-amp", model=model, name=section)
    # too high a difference lowers leg A's drive
    at.resistor("difference feedback", "out_a", "difference_minus")
    at.resistor("difference feedback", "out_b", "difference_plus")
    at.resistor("difference signal", REFERENCE, "difference_minus")
    at.resistor("difference signal", "signal_held", "difference_plus")
    at.capacitor("difference capacitor", "steer_a", "difference_minus", 0.0)
    at.capacitor("difference capacitor", "difference_plus", REFERENCE, 0.0)
    at.resistor("inverter resistor", "steer_a", "steer_turned")
    at.resistor("inverter resistor", "steer_turned", "steer_b")


def _amplifier(
    at: _Stage, leg: str, feed: LegFeed, supply_v: float, rest_v: float, split_rails: bool
) -> None:
    """Pair, mirror, voltage amplifier and the two current sources of a leg."""

    def net(word: str) -> str:
        return f"{word}_{leg}"

    counts = at.stage.counts
    tail, bias = net("tail"), net("source_bias")
    # the pair: the input's half ends at the voltage amplifier, the feedback's at the mirror's diode
    for base, emitter, collector in (
        ("input_base", "input_emitter", "vas_base"),
        ("feedback", "back_emitter", "mirror"),
    ):
        at.transistor("input pair", net(collector), net(base), net(emitter))
        at.resistor("pair degeneration", tail, net(emitter))
    for collector, emitter in (("vas_base", "mirror_left"), ("mirror", "mirror_right")):
        at.transistor("mirror", net(collector), net("mirror"), net(emitter))
        at.resistor("mirror degeneration", net(emitter), feed.negative)
    # reference and current sources
    above = feed.positive
    for k in range(1, counts.get("reference diode", 2) + 1):
        last = k == counts.get("reference diode", 2)
        below = bias if last else net(f"reference_{k}")
        at.build.bought("D", "diode", (above, below), "reference diode", model=_DIODE)
        above = below
    at.resistor("reference feed", bias, net("feed_mid"))
    at.resistor("reference feed", net("feed_mid"), GROUND)
    at.capacitor("reference capacitor", feed.positive, net("feed_mid"), 0.5 * supply_v)
    for role, resistor, collector in (
        ("tail source", "tail resistor", tail),
        ("stage source", "stage source resistor", net("base_upper")),
    ):
        at.resistor(resistor, feed.positive, net(role.replace(" ", "_")))
        at.transistor(role, collector, bias, net(role.replace(" ", "_")))
    # voltage amplifier behind its buffer, with its limiter
    top = GROUND if split_rails else feed.positive
    at.transistor("amplifier buffer", top, net("vas_base"), net("vas_drive"))
    at.resistor("buffer resistor", net("vas_drive"), feed.negative)
    at.transistor("voltage amplifier", net("base_lower"), net("vas_drive"), net("vas_emitter"))
    at.resistor("voltage amplifier emitter", net("vas_emitter"), feed.negative)
    at.transistor("current limiter", net("vas_base"), net("vas_emitter"), feed.negative)
    low_v = -supply_v if split_rails else 0.0
    at.capacitor("Miller capacitor", net("base_lower"), net("vas_base"), rest_v - low_v - 2.0)


_DIODE: Final = JunctionModel(
    name="REFERENCE_DIODE", forward_v=DIODE_V, rated_a=DIODE_A, emission=DIODE_EMISSION
)


def stage_points(
    stage: VoltageStage, legs: Iterable[str], *, split_rails: bool, supply_v: float
) -> tuple[TestPoint, ...]:
    """Test points of the stage with what stands there at rest.

    Parameters
    ----------
    stage : the design. legs : letters. split_rails : whether 0 V is the middle. supply_v : one rail, or the
    battery, V.
    """
    low_v = -supply_v if split_rails else 0.0
    rest_v = 0.0 if split_rails else 0.5 * supply_v
    half_a = 0.5 * stage.tail_a
    tail_v = rest_v + junction_v(half_a) + half_a * stage.resistors_ohm["pair degeneration"]
    drop_v = reference_v(stage.reference_a)
    vas_v = stage.stage_a * stage.resistors_ohm["voltage amplifier emitter"]
    found: list[tuple[str, str, float]] = []
    if not split_rails:
        found.append((HALF, "half of the supply", rest_v))
    if stage.bridge == "difference":
        found.append((REFERENCE, "half of the supply behind its buffer", rest_v))
        found += [(f"steer_{leg}", f"drive of leg {leg.upper()}", rest_v) for leg in legs]
    for leg in legs:
        of = f"leg {leg.upper()}"
        found += [
            (f"input_base_{leg}", f"input of the pair, {of}", rest_v),
            (f"tail_{leg}", f"tail of the pair, {of}", tail_v),
            (f"source_bias_{leg}", f"bases of the current sources, {of}", supply_v - drop_v),
            (f"vas_emitter_{leg}", f"emitter of the voltage amplifier, {of}", low_v + vas_v),
        ]
    return tuple(
        TestPoint(
            designator=f"TP{_HUNDRED + k}",
            net=net,
            what=what,
            readings=(Reading(at=f"no signal, supply {supply_v:.1f} V", dc_v=round(volts, 3)),),
        )
        for k, (net, what, volts) in enumerate(found, 1)
    )


def bench_line(build: Builder, stage: VoltageStage, *, open_v: float | Ramp = MUTE_OPEN_V) -> None:
    """The line that mutes, as the rest of the build holds it; nothing where no part hangs on it.

    Parameters
    ----------
    build : where it goes. stage : the design. open_v : of the pull-up, V, or its course.
    """
    if "mute transistor" in stage.transistors:
        course = open_v if isinstance(open_v, Ramp) else Steady(value=open_v)
        build.bench("MUTE", "voltage source", ("mute_line", GROUND), course, "control supply")
        build.bench("MUTE_PULL_UP", "resistor", ("mute_line", "mute"), _PULL_UP_OHM, "pull-up of the mute")


def voltage_stage_circuit(
    stage: VoltageStage,
    ids: Mapping[str, str],
    feeds: Mapping[str, LegFeed],
    *,
    split_rails: bool,
    supply_v: float,
    spread_v: float,
    signal: Ramp | Steady,
) -> Circuit:
    """Netlist of the stage by itself: an ideal follower in the middle of each leg's bias is its output.

    Parameters
    ----------
    stage : the design. ids : part to buy, by role. feeds : of each leg. split_rails : whether 0 V is the
    middle. supply_v : one rail, or the battery, V. spread_v : between the ends of the bias, V.
    signal : at the filter's output, V.

    Returns
    -------
    Circuit.
    """
    build = Builder(_HUNDRED, ids)
    add_voltage_stage(build, stage, feeds, split_rails=split_rails, supply_v=supply_v)
    build.bench("SIGNAL", "voltage source", ("wanted_a", GROUND), signal, "filter's output")
    bench_line(build, stage)
    seen = {GROUND}
    for net, volts in ((POSITIVE, supply_v), *((feed.positive, supply_v) for feed in feeds.values())):
        if net not in seen:
            seen.add(net)
            build.bench(net.upper(), "voltage source", (net, GROUND), Steady(value=volts), "supply")
    for feed in feeds.values():
        if feed.negative not in seen:
            seen.add(feed.negative)
            down = (GROUND, feed.negative)
            build.bench(feed.negative.upper(), "voltage source", down, Steady(value=supply_v), "supply")
    for leg in feeds:
        upper, lower, out, between = (
            f"{word}_{leg}" for word in ("base_upper", "base_lower", "out", "between")
        )
        name = leg.upper()
        build.bench(f"SPREAD_{name}", "voltage source", (upper, lower), Steady(value=spread_v), "bias")
        build.bench(f"UPPER_{name}", "voltage by voltage", (out, between, upper, GROUND), 0.5, "output stage")
        build.bench(
            f"LOWER_{name}", "voltage by voltage", (between, GROUND, lower, GROUND), 0.5, "output stage"
        )
    return Circuit(
        name="class-AB voltage stage",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=stage_points(stage, feeds, split_rails=split_rails, supply_v=supply_v),
    )
