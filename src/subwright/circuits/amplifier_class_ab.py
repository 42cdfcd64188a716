"""The class-AB output stage: complementary followers between the rails, drivers, bias, lead and load.

A trimmed transistor spreads the bases so that each leg idles at its bias. The voltage stage before the
drivers is an ideal amplifier with feedback from the output, so that the output follows the signal; what it
draws is a steady current from rail to rail. The transistors are exponentials: their saturation is not there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from subwright.circuits.amplifier_chip import CHIP_INPUT, add_chip_input, chip_models, play_a
from subwright.circuits.amplifier_parts import POSITIVE, AmplifierParts
from subwright.circuits.amplifier_values import ClassABValues
from subwright.circuits.models import BipolarModel, Model, OpAmpModel, SquareLawModel
from subwright.circuits.netlist import GROUND, Circuit, Part, Ramp, Steady, TestPoint
from subwright.stages.amplifier_driving import (
    GATE_A_PER_V2,
    GATE_THRESHOLD_V,
    SATURATION_A,
    multiplier_ohm,
)

__all__ = ["LOOP_GAIN", "Feed", "add_leg", "add_middle", "class_ab_circuit", "output_models"]

_CURRENT_GAIN: Final = 1e6  # what the bases draw is the driver's
_BIAS_GAIN: Final = 1e7  # its base must not lift the spread: some tens of microvolts show in the idle current
LOOP_GAIN: Final = 1e4
"""Of the ideal voltage stage, what its feedback divides left out."""
_CHIP_HZ: Final = 5e9  # far above the note: nothing of the loop's own speed is asked
_CLAMP_V: Final = 500.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Feed:
    """Nets that feed a leg: collectors of its upper and lower devices, and the voltage stage's supplies."""

    upper: str
    lower: str
    positive: str
    negative: str


def class_ab_circuit(values: ClassABValues, *, load_ohm: float, signal: Ramp | Steady) -> Circuit:
    """Netlist of the output stage at a signal.

    Parameters
    ----------
    values : everything in it. load_ohm : resistor in place of the loudspeaker, Ω.
    signal : wanted between output and load's other end, V; a bridge's legs share it in opposition.

    Returns
    -------
    Circuit; its load hangs on ``out_a``, and ``out_b`` or ground.
    """
    v = values
    build = AmplifierParts(v.ids, v.split_rails)
    build.supply(v.rail_v)
    _drivers(build, v, POSITIVE, build.low)
    middle = add_middle(build, v)
    share = 1.0 / v.legs / v.gain
    build.bench("SIGNAL", "voltage source", ("signal", GROUND), "signal", signal)
    build.bench("SIGNAL_RETURN", "resistor", ("signal", GROUND), "source's own load", 1e6)
    feed = Feed(upper=POSITIVE, lower=build.low, positive=POSITIVE, negative=build.low)
    chips = build.number.sections("U", v.legs * v.pairs, v.legs) if v.chip else ()
    for leg, name in enumerate("ab"[: v.legs]):
        wanted = CHIP_INPUT if v.chip and leg == 0 else f"wanted_{name}"
        ends = (wanted, middle) if leg == 0 else (middle, wanted)
        build.bench(
            f"SHARE_{name.upper()}", "voltage by voltage", (*ends, "signal", GROUND), "a leg's share", share
        )
        add_leg(build, v, name, wanted, feed, chips[leg :: v.legs])
    build.load(("out_a", "out_b" if v.legs == 2 else GROUND), v.lead_ohm, load_ohm)
    return Circuit(
        name="class-AB output stage",
        parts=tuple(build.parts),
        models=output_models(v),
        test_points=_test_points(v),
    )


def add_middle(build: AmplifierParts, v: ClassABValues) -> str:
    """Net about which the legs swing: ground, or half of a battery."""
    if v.split_rails:
        return GROUND
    half = Steady(value=0.5 * v.rail_v)
    build.bench("MIDDLE", "voltage source", ("middle", GROUND), "half of the supply", half)
    return "middle"


def _drivers(build: AmplifierParts, v: ClassABValues, positive: str, negative: str) -> None:
    """What the loss model counts for drivers and input stages, less what the netlist draws itself.

    A chip's own current holds what flows out of its mute pin, from ground to one rail: that counts half.
    """
    rest = v.driver_a - v.legs * v.drawn_a - 0.5 * play_a(v.driving, v.rail_v)
    build.bench("DRIVERS", "current source", (positive, negative), "input stages", Steady(value=rest))


def output_models(v: ClassABValues) -> tuple[Model, ...]:
    """Models of the output devices, and of what drives them."""
    models: list[Model] = []
    if v.lateral:
        for name, channel in (("UPPER", "n"), ("LOWER", "p")):
            models.append(
                SquareLawModel(
                    name=name,
                    channel="n" if channel == "n" else "p",
                    threshold_v=GATE_THRESHOLD_V,
                    factor_a_per_v2=GATE_A_PER_V2,
                    clamp_v=_CLAMP_V,
                )
            )
    else:
        models += [
            BipolarModel(name="UPPER", polarity="npn", current_gain=_CURRENT_GAIN, saturation_a=SATURATION_A),
            BipolarModel(name="LOWER", polarity="pnp", current_gain=_CURRENT_GAIN, saturation_a=SATURATION_A),
        ]
    if v.driving is not None and v.driving.driver_ids:
        models += [
            BipolarModel(name="DRIVER_NPN", polarity="npn", current_gain=_CURRENT_GAIN),
            BipolarModel(name="DRIVER_PNP", polarity="pnp", current_gain=_CURRENT_GAIN),
        ]
    if v.driving is not None and v.driving.bias_id:
        models.append(BipolarModel(name="BIAS", polarity="npn", current_gain=_BIAS_GAIN))
    if v.chip:
        chip = OpAmpModel(name="STAGE", gbw_hz=_CHIP_HZ, dc_gain=LOOP_GAIN * v.gain)
        models += [chip, *chip_models(v.driving)]
    return tuple(models)


def _test_points(v: ClassABValues) -> tuple[TestPoint, ...]:
    points = [(f"out_{name}", f"output of leg {name.upper()}") for name in "ab"[: v.legs]]
    if v.driving is not None and v.driving.bias_id:
        points += [
            (f"base_{side}_{name}", f"{side} end of the bias, leg {name.upper()}")
            for name in "ab"[: v.legs]
            for side in ("upper", "lower")
        ]
    return tuple(
        TestPoint(designator=f"TP{500 + k}", net=net, what=what) for k, (net, what) in enumerate(points, 1)
    )


def add_leg(
    build: AmplifierParts,
    v: ClassABValues,
    name: str,
    wanted: str,
    feed: Feed,
    chips: tuple[str, ...] = (),
    *,
    slow: str = "",
) -> None:
    """One leg's pairs in parallel, each behind its own chip's voltage stage, or all behind one.

    Parameters
    ----------
    build : where parts go. v : values. name : of the leg. wanted : net of the signal. feed : supply nets.
    chips : sections of chips, one for each pair; () for discrete devices.
    slow : model of a voltage stage with a bandwidth, for legs whose rail jumps; "" for an instant one.
    """
    out, drive = f"out_{name}", f"drive_{name}"
    if v.driving is not None and v.driving.bias_id:
        drive = f"base_lower_{name}"  # where the voltage stage pushes
    if not v.chip:
        nets = (drive, GROUND, wanted, out)
        if slow:
            build.amplifier(f"STAGE_{name.upper()}", (wanted, out, drive, feed.positive, feed.negative), slow)
        else:
            build.bench(f"STAGE_{name.upper()}", "voltage by voltage", nets, "voltage stage", LOOP_GAIN)
        _spread(build, v, name, drive, feed)
    if v.chip and name == "a":
        add_chip_input(build, v.driving)
    for k in range(v.pairs):
        tag = name
        if v.chip:
            tag, drive = f"{name}{k}", f"drive_{name}{k}"
            _chip(build, v, chips[k], (name, wanted, out, drive), feed)
            _ideal_spread(build, v, tag, drive)
        for side, rail, model in (("upper", feed.upper, "UPPER"), ("lower", feed.lower, "LOWER")):
            emitter = f"emitter_{side}_{name}{k}" if v.ballast_ohm > 0.0 else out
            base = f"base_{side}_{tag}"
            if v.driving is not None and v.driving.driver_ids:
                base = f"driven_{side}_{tag}"
            if v.lateral:
                gate = f"gate_{side}_{name}{k}"
                build.bought("R", "resistor", (base, gate), "gate resistor", _ohm(v, "gate resistor"))
                build.bought("Q", "mosfet", (rail, gate, emitter), "output stage", model=model)
            elif v.chip:
                build.parts.append(
                    Part(
                        designator=f"{chips[k]}_{model}",
                        kind="transistor",
                        nets=(rail, base, emitter),
                        model=model,
                        role="output stage",
                        standing="inherent",
                    )
                )
            else:
                build.bought("Q", "transistor", (rail, base, emitter), "output stage", model=model)
            if v.ballast_ohm > 0.0:
                build.bought("R", "resistor", (emitter, out), "emitter resistor", v.ballast_ohm)
    if v.driving is not None and "output Zobel resistor" in v.driving.resistors_ohm:
        calm = f"calm_{name}"
        build.bought("R", "resistor", (out, calm), "output Zobel resistor", _ohm(v, "output Zobel resistor"))
        farads = v.driving.capacitors_f["output Zobel capacitor"]
        build.bought("C", "capacitor", (calm, GROUND), "output Zobel capacitor", farads)


def _ohm(v: ClassABValues, role: str) -> float:
    assert v.driving is not None
    return v.driving.resistors_ohm[role]


def _chip(
    build: AmplifierParts, v: ClassABValues, designator: str, nets: tuple[str, str, str, str], feed: Feed
) -> None:
    """A chip's voltage stage, with its gain set by two resistors where it has none inside."""
    name, wanted, out, drive = nets
    minus, plus = out, wanted
    if v.driving is not None and "feedback resistor" in v.driving.resistors_ohm:
        minus, foot = f"minus_{name}", f"foot_{name}"
        build.bought("R", "resistor", (out, minus), "feedback resistor", _ohm(v, "feedback resistor"))
        build.bought("R", "resistor", (minus, foot), "feedback shunt", _ohm(v, "feedback shunt"))
        farads = v.driving.capacitors_f["feedback capacitor"]
        build.bought("C", "capacitor", (foot, GROUND), "feedback capacitor", farads)
        # at DC and at the note alike: the capacitor's corner lies far below, and no course waits for it
        build.bench(f"SHORT_{name.upper()}", "resistor", (foot, GROUND), "charged capacitor", 1e-3)
    build.parts.append(
        Part(
            designator=designator,
            kind="op-amp",
            nets=(plus, minus, drive, feed.positive, feed.negative),
            model="STAGE",
            role="output stage",
            part_id=v.device_id,
        )
    )
    # what a builder sees as one pin: the chip's own output devices lie between
    build.parts.append(
        Part(
            designator=f"{designator}_LINK",
            kind="resistor",
            nets=(out, drive),
            value=1e9,
            role="output pin",
            standing="inherent",
        )
    )


def _spread(build: AmplifierParts, v: ClassABValues, tag: str, drive: str, feed: Feed) -> None:
    """The bias transistor between the drivers' bases, and the drivers; ideal sources where none are given."""
    if v.driving is None or not v.driving.bias_id:
        _ideal_spread(build, v, tag, drive)
        return
    driving, upper, lower = v.driving, f"base_upper_{tag}", drive
    current = Steady(value=driving.bias_a)
    build.bench(
        f"FEED_{tag}".upper(), "current source", (feed.positive, upper), "current source of the bias", current
    )
    build.bench(
        f"SINK_{tag}".upper(), "current source", (lower, feed.negative), "voltage stage's own", current
    )
    inner = f"bias_{tag}"
    fixed = f"bias_foot_{tag}"
    resistors = driving.resistors_ohm
    build.bought("Q", "transistor", (upper, inner, lower), "bias transistor", model="BIAS")
    build.bought("R", "resistor", (upper, inner), "bias upper", resistors["bias upper"])
    build.bought("R", "resistor", (inner, fixed), "bias lower", resistors["bias lower"])
    trimmed = multiplier_ohm(v.spread_v, driving.bias_a, resistors["bias upper"]) - resistors["bias lower"]
    build.bought(
        "R",
        "potentiometer",
        (fixed, fixed, lower),
        "bias trimmer",
        driving.trimmer_ohm,
        setting=min(max(trimmed / driving.trimmer_ohm, 0.0), 1.0),
    )
    build.bought(
        "C", "capacitor", (upper, lower), "bias capacitor", driving.capacitors_f["bias capacitor"],
        initial_v=v.spread_v,
    )  # fmt: skip
    if driving.driver_ids:
        above, below = f"driven_upper_{tag}", f"driven_lower_{tag}"
        build.bought("Q", "transistor", (feed.positive, upper, above), "driver NPN", model="DRIVER_NPN")
        build.bought("Q", "transistor", (feed.negative, lower, below), "driver PNP", model="DRIVER_PNP")
        build.bought("R", "resistor", (above, below), "driver resistor", resistors["driver resistor"])


def _ideal_spread(build: AmplifierParts, v: ClassABValues, tag: str, drive: str) -> None:
    """Base voltages at which each transistor idles at its share of the bias."""
    half = Steady(value=0.5 * v.inner_v)
    for side, ends in (("upper", ("base_upper", "")), ("lower", ("", "base_lower"))):
        nets = tuple(f"{end}_{tag}" if end else drive for end in ends)
        build.bench(f"SPREAD_{side}_{tag}".upper(), "voltage source", nets, "bias", half)
