"""Rules on how far the converter reaches: clamp at rest, regulation, common practice, a third more power."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner, Level

__all__ = [
    "bass_on_rails",
    "clamp_at_rest",
    "duty_room",
    "rectifier_practice",
    "regulation_room",
    "third_more",
]


@rule(
    "CNV-22",
    stage="converter",
    severity="note",
    title="The clamp at rest",
    what="Heat of the clamp's resistor with nothing playing, nominal battery, as a share of what the battery "
    "then gives.",
    why="The clamp's capacitor rests at twice the battery, so its resistor works all night. A small one, "
    "asked for by a tight rating, empties the battery in silence.",
    limit="25 % of the idle power; common practice, no source.",
    source="common-practice",
    example="39 Ω across 12 V are 3.7 W: a third of an idle of 12 W.",
    remedy="Take switches of the next voltage class (converter.mosfet), so that the resistor may be larger, "
    "or lower the leakage (shorter transformer.lead).",
    near=0.02,
)
def clamp_at_rest(design: Design) -> Iterator[Measure]:
    """Measure the share."""
    converter = design.converter
    if converter is None or converter.clamp is None:
        return
    idle = design.point(Corner.NOMINAL, Level.IDLE)
    yield Measure(
        quantity="clamp over the battery's idle power",
        value=idle.losses_w["leakage clamp"] / idle.battery_w,
        limit=0.25,
        dimension="share",
        at="nothing playing",
    )


@rule(
    "CNV-23",
    stage="converter",
    severity="note",
    title="A regulated rail holds on a tired battery",
    what="Battery voltage down to which the duty has room at the crest of a full sine, against the low "
    "corner.",
    why="Below it the rail follows the battery, and the loop is open: the bass appears on the rail.",
    limit="Low corner of the battery.",
    source="pressman1998",
    example="A rail that holds down to 11.5 V and a low corner of 11 V: the last half volt costs power.",
    remedy="Raise transformer.secondary_turns, lower converter.rail, or thicken the cable (supply.section).",
)
def regulation_room(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    converter = design.converter
    if converter is None or converter.choke is None:
        return
    yield Measure(
        quantity="battery down to which the rail holds",
        value=converter.choke.holds_from_v,
        limit=design.supply.corners[Corner.LOW],
        dimension="voltage",
        at="crest of a full sine",
    )


@rule(
    "CNV-24",
    stage="converter",
    severity="note",
    title="Rectifier against what builders use",
    what="Reverse and current rating of a rectifier leg at 100 to 250 W and rails up to 45 V.",
    why="A rule of thumb that many working converters bear out; one that falls below it should know why.",
    limit="100 V and 8 A; common practice, no source.",
    source="common-practice",
    example="A leg of 200 V and 10 A on ±43 V: twice the voltage, 25 % more current.",
    remedy="Choose a stronger diode (converter.rectifier).",
)
def rectifier_practice(design: Design) -> Iterator[Measure]:
    """Measure the ratings in V and A."""
    converter = design.converter
    if converter is None:
        return
    point = design.point(Corner.NOMINAL, Level.FULL)
    if not (100.0 <= point.output_w <= 250.0 and point.rail_crest_v <= 45.0):
        return
    diode = converter.plan.rectifier.rectifier
    for quantity, value, limit, dimension in (
        ("reverse rating of a leg", diode.vrrm_v, 100.0, "voltage"),
        ("current rating of a leg", diode.if_a, 8.0, "current"),
    ):
        yield Measure(quantity=quantity, value=value, limit=limit, dimension=dimension, sense="at least")


@rule(
    "CNV-25",
    stage="converter",
    severity="note",
    title="A third more power from another transformer alone",
    what="Currents of switches, rectifier and input capacitors at four thirds of this power, and the rail "
    "that it takes, against the ratings of these parts and of the rail capacitors.",
    why="Builders report that a 150 W converter gives 200 W when only the transformer is changed; whether "
    "this one would, its own numbers say.",
    limit="60 % of the switches' current rating, the legs' mean rating, the bank's ripple rating, the rail "
    "capacitors' voltage. Common practice, no source.",
    source="common-practice",
    example="4.1 A mean in a leg of 10 A become 5.5 A: 45 % in hand.",
    remedy="Before rewinding for more power, change the part named here: converter.mosfets_per_side, "
    "converter.rectifier, converter.input_capacitor or converter.reservoir_capacitor.",
)
def third_more(design: Design) -> Iterator[Measure]:
    """Measure the currents in A."""
    converter = design.converter
    if converter is None:
        return
    more, point, plan = 4.0 / 3.0, design.point(Corner.NOMINAL, Level.FULL), converter.plan
    for quantity, now_a, limit_a in (
        (
            "rms current of a switch",
            point.primary_rms_a / plan.switch.per_side,
            0.6 * plan.switch.mosfet.id_a,
        ),
        ("mean current of a rectifier leg", point.diode_a, plan.rectifier.rectifier.if_a),
        ("ripple current of the input bank", point.input_ripple_a, converter.input_bank.ripple_limit_a),
    ):
        yield Measure(
            quantity=f"{quantity} with a third more power",
            value=more * now_a,
            limit=limit_a,
            dimension="current",
        )
    yield Measure(
        quantity="unloaded rail with a third more power",
        value=sqrt(more) * converter.rail_unloaded_v,
        limit=converter.rail_limit_v,
        dimension="voltage",
        at="highest battery",
    )


@rule(
    "CNV-26",
    stage="converter",
    severity="stop",
    title="The duty of a regulated rail stays below its limit",
    what="Conducting share that the rail needs at the nominal battery and the crest of a full sine, against "
    "what dead time and the commutation of the leakage leave.",
    why="Above it the rail cannot be what it is set to, whatever the loop does. A wish that asks for more "
    "is refused with this code.",
    limit="Share of the cycle less dead time and less 2 f L I / V of commutation.",
    source="pressman1998",
    example="A need of 0.88 against 0.84: 5 % more secondary turns, or a rail 5 % lower.",
    remedy="Raise transformer.secondary_turns, lower converter.rail, shorten converter.dead_time, or lower "
    "the leakage (transformer.lead_form, transformer.interleave).",
    near=0.01,
)
def duty_room(design: Design) -> Iterator[Measure]:
    """Measure the share."""
    converter = design.converter
    if converter is None or converter.choke is None:
        return
    yield Measure(
        quantity="conducting share needed",
        value=converter.choke.share_nominal,
        limit=converter.choke.share_most,
        dimension="share",
        at="nominal battery, crest of a full sine",
    )


@rule(
    "CNV-27",
    stage="converter",
    severity="note",
    title="The bass on the rails",
    what="Swing of the working rail at twice the lowest note, full sine, over the rail needed: battery, "
    "cable, winding and leakage sag with each crest.",
    why="No capacitor of sensible size holds a rail over a half cycle of bass. The sag is power lost at the "
    "crest, and what an amplifier without much feedback lets through is heard.",
    limit="A quarter of the rail; common practice, no source.",
    source="common-practice",
    example="4.5² × 20 mΩ of source and path are 0.41 Ω: 20 A at the crest take 8.1 V off a rail of 43 V, "
    "19 %.",
    remedy="Thicken the cable (supply.section), lower converter.link and the leakage "
    "(transformer.lead_form), or "
    'set converter.output = "regulated", which holds the rail while the duty has room.',
    near=0.02,
)
def bass_on_rails(design: Design) -> Iterator[Measure]:
    """Measure the swing as a share of the rail."""
    converter = design.converter
    if converter is None or converter.choke is not None:
        return
    yield Measure(
        quantity="rail swing at twice the lowest note",
        value=converter.bass_ripple_v / converter.plan.rail_v,
        limit=0.25,
        dimension="share",
        at="full sine, nominal battery",
    )
