"""Rules on every part's ratings, on the heatsink, and on wires inside the unit and to the driver."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from math import isfinite
from typing import Final

from subwright.base.quantities import UNITS
from subwright.build.findings.rule import Check, Measure, rule
from subwright.build.result import Design, Severity
from subwright.physics.board import track_current_a
from subwright.stages.common import Corner, Level, Rating
from subwright.stages.wiring import Conductor

__all__ = [
    "junctions",
    "link_rise",
    "link_survives_fuse",
    "restart_heat",
    "sink_temperature",
    "speaker_cable_current",
    "speaker_cable_loss",
    "summer_programme",
    "time_to_trip",
    "touch",
    "tracks",
]

# Ratings that a rule of their own judges, with its own severity and words.
_JUDGED_ELSEWHERE: Final = frozenset(
    {
        ("supply", "voltage"),
        ("supply", "breaking current"),
        ("transformer", "peak flux density"),
        ("transformer", "flux density after one lost pulse"),
        ("transformer", "temperature rise"),
        ("transformer", "copper share of the window"),
        ("transformer", "winding height over the height available"),
        ("transformer", "current density"),
        ("converter", "supply voltage"),
        ("converter", "drain-source voltage"),
        ("converter", "reverse voltage with ringing"),
        ("converter", "mean forward current of a leg"),
        ("converter", "ripple current, rms"),
        ("amplifier", "drain-source voltage"),
        ("amplifier", "drain current"),
        ("wiring", "rms current"),
        ("heat", "sink temperature"),
    }
)
_RATED: Final[tuple[tuple[str, str, Severity, str, str, str], ...]] = (
    (
        "RAT-01",
        "supply",
        "stop",
        "Cable and fuse carry the current for hours, out of sight.",
        "22 A on a fuse of 20 A: it opens on a loud evening.",
        "Raise supply.section and supply.fuse, or lower goal.power.",
    ),
    (
        "RAT-02",
        "converter",
        "stop",
        "A part beyond its rating is a part on its way out, and in a converter it takes its neighbours "
        "along.",
        "A drain current of 30 A on a device of 50 A: 40 % in hand.",
        "Name a stronger part: converter.mosfet, converter.rectifier, converter.input_capacitor or "
        "converter.reservoir_capacitor.",
    ),
    (
        "RAT-03",
        "transformer",
        "stop",
        "Above its Curie point ferrite stops being a magnet, and enamel beyond its class shorts its turns.",
        "A core at 95 °C against a Curie point of 220 °C: 57 % in hand.",
        "Lower transformer.max_rise, or choose a larger core (transformer.core).",
    ),
    (
        "RAT-04",
        "protection",
        "stop",
        "Protection that fails first protects nothing.",
        "0.3 W in a zener of 0.5 W: 40 % in hand.",
        "Choose a stronger comparator (protection.comparator), or a smaller protection.lamp.",
    ),
    (
        "RAT-05",
        "filter",
        "stop",
        "The filter hangs on the rails: what their highest voltage leaves over becomes heat in small parts.",
        "0.2 W in a resistor of 0.25 W: 20 % in hand.",
        'Set filter.op_amp_supply = "regulator", or choose another filter.op_amp.',
    ),
    (
        "RAT-06",
        "amplifier",
        "stop",
        "An output device that fails puts the whole rail on the voice coil.",
        "A crest of 12 A through a device of 40 A: 70 % in hand.",
        "Choose a stronger device (amplifier.mosfet), or a driver of higher impedance.",
    ),
    (
        "RAT-07",
        "battery_guard",
        "warn",
        "The first part behind the fuse meets every fault of the vehicle first.",
        "32 V across a switch of 55 V: 42 % in hand.",
        "Choose stronger parts: battery_guard.reverse_mosfet or battery_guard.clamp.",
    ),
    (
        "RAT-08",
        "speaker_guard",
        "stop",
        "It is asked to act once, in the worst moment, with the whole rail across it.",
        "63 V across a switch of 100 V: 37 % in hand.",
        "Choose stronger parts: speaker_guard.mosfet or speaker_guard.relay.",
    ),
    (
        "RAT-10",
        "control",
        "warn",
        "The switch of the control supply stays on the battery for life.",
        "35 V across a transistor of 80 V: 56 % in hand.",
        'Put a stronger PNP transistor into your drawer file, or set control.remote = "none".',
    ),
    (
        "RAT-09",
        "input",
        "warn",
        "A wrong plug or a loud radio must not burn the pad: its smell is the first that anyone notices.",
        "30 mW in a resistor of 0.25 W: 88 % in hand.",
        "Lower input.speaker or input.fault to what can really happen.",
    ),
)


@cache
def _dimensions() -> dict[str, str]:
    """Unit symbol to the first dimension stored in it; a bare number is a share."""
    found = {"": "share"}
    for dimension, unit in UNITS.items():
        if unit:
            found.setdefault(unit, dimension)
    return found


def _ratings(design: Design, stage: str) -> Iterator[tuple[str, Rating]]:
    for name, use in design.part_uses():
        for rating in use.ratings:
            # An infinite limit stands for a sheet that gives none: nothing to judge.
            if name == stage and isfinite(rating.limit) and (name, rating.quantity) not in _JUDGED_ELSEWHERE:
                yield use.role, rating


def _rating_check(stage: str) -> Check:
    def check(design: Design) -> Iterator[Measure]:
        """Measure each rating in its own unit."""
        for role, rating in _ratings(design, stage):
            yield Measure(
                quantity=f"{role}: {rating.quantity}",
                value=rating.applied,
                limit=rating.limit,
                dimension=_dimensions()[rating.unit],
                at=rating.at,
            )

    return check


for _code, _stage, _severity, _why, _example, _remedy in _RATED:
    rule(
        _code,
        stage=_stage,
        severity=_severity,
        title=f"Ratings of the parts: {_stage}",
        what="Each stress on each part of this stage against the rating in the part's record.",
        why=_why,
        limit="The part's own rating; the finding names part and quantity, the parts list its data sheet.",
        source="common-practice",
        example=_example,
        remedy=_remedy,
        near=0.05,
    )(_rating_check(_stage))


@rule(
    "HEA-01",
    stage="heat",
    severity="stop",
    title="Junction temperatures",
    what="Junction of every kind of device in the hottest air: with programme without end, and with the "
    "least favourable sine until the thermal trip acts.",
    why="Silicon above its limit fails or ages by the week. The trip watches the heatsink, not the silicon: "
    "the drop between them must be counted.",
    limit="Highest junction temperature of the device's data sheet.",
    source="tip31-lecture",
    example="A sink at 85 °C and 12 W through 1.5 + 1.0 K/W: 115 °C against 150 °C.",
    remedy="A larger heatsink (heat.heatsink), a lower protection.thermal_trip, or more and better devices "
    "(converter.mosfets_per_side, amplifier.mosfet).",
    near=0.05,
)
def junctions(design: Design) -> Iterator[Measure]:
    """Measure the temperatures in °C."""
    for device in design.heat.devices:
        for at, value in (
            ("programme, hottest air", device.junction_c[Level.PROGRAMME]),
            ("least favourable sine until the trip", min(device.worst_c, device.trip_c)),
        ):
            yield Measure(
                quantity=f"junction of the {device.name}",
                value=value,
                limit=device.limit_c,
                dimension="temperature",
                at=at,
            )


@rule(
    "HEA-02",
    stage="heat",
    severity="warn",
    title="Heatsink temperature on its basis",
    what="Steady sink temperature in the hottest air, on the basis that it was chosen for (programme or full "
    "sine), against what keeps every junction at its reserve and the trip away.",
    why="The reserve is what dust, a blanket over the fins and a hot summer use up.",
    limit="Sink temperature that leaves heat.junction_reserve at every junction and 5 K to the trip.",
    source="tip31-lecture",
    example="50 °C air and 12 W through 2 K/W: 74 °C, against 80 °C allowed.",
    remedy="Choose a larger heatsink (heat.heatsink), or lower heat.junction_reserve knowingly.",
)
def sink_temperature(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    heat = design.heat
    playing = heat.basis is Level.PROGRAMME
    yield Measure(
        quantity="heatsink temperature",
        value=heat.sink_c[heat.basis] if playing else heat.sink_worst_c,
        limit=heat.sink_limit_c,
        dimension="temperature",
        at="programme, hottest air" if playing else "least favourable sine, hottest air",
    )


@rule(
    "HEA-03",
    stage="heat",
    severity="note",
    title="Temperature to the touch",
    what="Heatsink with programme, in 25 °C air and in the hottest air.",
    why="Metal that is hot enough burns before the hand is back, and luggage leans against it.",
    limit="heat.touch_limit: 70 °C for metal that is touched briefly.",
    source="iec-62368-1",
    example="24 K over 50 °C air are 74 °C: guard it with a grille or mark it.",
    remedy="Choose a larger heatsink (heat.heatsink), guard the fins, and mark them as hot.",
)
def touch(design: Design) -> Iterator[Measure]:
    """Measure the temperatures in °C."""
    heat = design.heat
    for at, value in (("25 °C air", heat.touch_c), ("hottest air", heat.touch_hot_c)):
        yield Measure(
            quantity="heatsink to the touch",
            value=value,
            limit=heat.touch_limit_c,
            dimension="temperature",
            at=at,
        )


@rule(
    "HEA-04",
    stage="heat",
    severity="note",
    title="How long a full sine lasts",
    what="Time from programme temperature to the thermal trip with the least favourable sine in the hottest "
    "air; where it never trips, the sink's steady temperature against the trip.",
    why="A bench test at full power needs that time, and long synthesiser notes come close to it.",
    limit="60 s; common practice, no source.",
    source="common-practice",
    example="0.4 kg of aluminium is 360 J/K: 20 K with 40 W take about 180 s, a little more with what it "
    "sheds.",
    remedy='Choose a heavier heatsink (heat.heatsink), or heat.basis = "full" to hold it for ever.',
)
def time_to_trip(design: Design) -> Iterator[Measure]:
    """Measure the time in s, or the temperature in °C."""
    heat = design.heat
    if heat.time_to_trip_s is None:
        yield Measure(
            quantity="heatsink with an endless full sine",
            value=heat.sink_worst_c,
            limit=heat.trip_c,
            dimension="temperature",
        )
        return
    yield Measure(
        quantity="full sine until the thermal trip",
        value=heat.time_to_trip_s,
        limit=60.0,
        dimension="time",
        sense="at least",
        at="hottest air",
    )


@rule(
    "HEA-05",
    stage="heat",
    severity="warn",
    title="Programme in the hottest air doesn't trip",
    what="Heatsink with programme in the hottest air against the lowest value of the thermal trip over all "
    "tolerances.",
    why="A trip on the low side of its tolerance stops the music in July, and only there.",
    limit="Worst-case low end of the thermal trip.",
    source="derived",
    example="74 °C against a trip of 85 °C ± 4 K: 7 K left.",
    remedy="Choose a larger heatsink (heat.heatsink), or raise protection.thermal_trip while the junctions "
    "allow it.",
    near=0.01,
)
def summer_programme(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    trip = design.protection.thresholds.get("thermal trip")
    if trip is None:
        return
    yield Measure(
        quantity="heatsink with programme",
        value=design.heat.sink_c[Level.PROGRAMME],
        limit=trip.window.worst_low,
        dimension="temperature",
        at="hottest air",
    )


@rule(
    "HEA-06",
    stage="heat",
    severity="warn",
    title="It cools down far enough to start again",
    what="Air at the heatsink, hottest, against the lowest value of the thermal release over all tolerances.",
    why="After a thermal trip the sink falls towards the air around it and no further. A release below that "
    "never comes.",
    limit="Worst-case low end of the thermal release.",
    source="derived",
    example="50 °C outside and 15 K more in a closed housing are 65 °C: a release of 70 °C ± 4 K is just "
    "reached.",
    remedy="Raise protection.thermal_release, or lower heat.air_rise with vents.",
    near=0.05,
)
def restart_heat(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    release = design.protection.thresholds.get("thermal release")
    if release is None:
        return
    yield Measure(
        quantity="air at the heatsink",
        value=design.heat.air_c,
        limit=release.window.worst_low,
        dimension="temperature",
        at="hottest",
    )


@rule(
    "WIR-01",
    stage="wiring",
    severity="warn",
    title="Temperature rise of the links",
    what="Rise of each wire link above the air with a full sine that never ends.",
    why="Links carry more than any track on the board; a hot one lifts its pad and its insulation drips.",
    limit="wiring.link_rise.",
    source="churchill-chu1975",
    example="15 A in 1.5 mm of copper, 50 °C air: 22 K, against 30 K.",
    remedy="Lower wiring.link_rise so that thicker wire is chosen.",
)
def link_rise(design: Design) -> Iterator[Measure]:
    """Measure the rise in K."""
    for conductor in design.wiring.conductors:
        yield Measure(
            quantity=f"rise of the {conductor.name} link",
            value=conductor.rise_k,
            limit=conductor.rise_limit_k,
            dimension="temperature difference",
            at="full sine",
        )


@rule(
    "WIR-02",
    stage="wiring",
    severity="warn",
    title="Loss in the speaker cable",
    what="Resistance of the speaker cable, out and back, over the load's.",
    why="It takes power and loosens the amplifier's grip on the cone.",
    limit="wiring.speaker_loss, 2 % unless set otherwise.",
    source="iec-60228",
    example="1 m of 2.5 mm² and back: 18 mΩ warm, 0.5 % of 4 Ω.",
    remedy="Raise wiring.speaker_section, or shorten wiring.speaker_length.",
    near=0.05,
)
def speaker_cable_loss(design: Design) -> Iterator[Measure]:
    """Measure the loss as a share."""
    speaker = design.wiring.speaker
    yield Measure(
        quantity="speaker cable over load",
        value=speaker.loss_ratio,
        limit=speaker.loss_limit_ratio,
        dimension="share",
    )


def _heaviest_track_a(design: Design, conductor: Conductor) -> float:
    spec = design.spec.wiring
    return track_current_a(conductor.track_limit_m, spec.track_rise_k, spec.copper_thickness_m)


@rule(
    "WIR-03",
    stage="wiring",
    severity="note",
    title="Currents that a track can't carry",
    what="Current of each conductor inside the unit against what a track of the greatest useful width "
    "carries.",
    why="Board copper is thin. Beyond some amperes a track gets wider than the parts it connects; a wire "
    "link soldered along it does the work.",
    limit="Track of wiring.track_limit with wiring.track_rise.",
    source="ipc-2221",
    example="6 mm of 35 µm copper carries about 12 A with 20 K: a half-primary of 18 A takes a wire link.",
    remedy="Lay the wire link that the wiring list gives, or allow wider tracks with wiring.track_limit or "
    "thicker copper with wiring.copper_thickness.",
)
def tracks(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    for conductor in design.wiring.conductors:
        yield Measure(
            quantity=f"current of the {conductor.name} on a track",
            value=conductor.rms_a,
            limit=_heaviest_track_a(design, conductor),
            dimension="current",
            at="full sine",
        )


@rule(
    "WIR-04",
    stage="wiring",
    severity="warn",
    title="Current of the speaker cable",
    what="Rms current of a full sine at the nominal battery against what the cable carries.",
    why="The cable runs behind trim, where nobody sees it soften.",
    limit="Rating of the section, or its heat balance for a rise of 20 K.",
    source="iec-60228",
    example="6.7 A in a section that carries 11 A: 39 % in hand.",
    remedy="Raise wiring.speaker_section.",
)
def speaker_cable_current(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    amplifier, speaker = design.amplifier, design.wiring.speaker
    yield Measure(
        quantity="current of the speaker cable",
        value=(design.point(Corner.NOMINAL, Level.FULL).output_w / amplifier.load_ohm) ** 0.5,
        limit=speaker.current_limit_a,
        dimension="current",
        at="full sine",
    )


@rule(
    "WIR-05",
    stage="wiring",
    severity="warn",
    title="The battery links outlive the fuse",
    what="Current that melts the links on the battery side against twice the fuse's rating.",
    why="If a link inside the box melts before the fuse opens, the arc is inside the box.",
    limit="Twice the fuse rating, where a blade fuse opens within seconds.",
    source="brooks-preece",
    example="1.5 mm of copper melts at 147 A; a 40 A fuse has opened at 80 A.",
    remedy="Lower wiring.link_rise so that thicker wire is chosen, or choose a smaller supply.fuse.",
)
def link_survives_fuse(design: Design) -> Iterator[Measure]:
    """Measure the current in A."""
    for conductor in design.wiring.conductors:
        if conductor.name in ("battery input", "half-primary and switch"):
            yield Measure(
                quantity=f"melting current of the {conductor.name} link",
                value=conductor.fusing_a,
                limit=2.0 * design.supply.fuse_a,
                dimension="current",
                sense="at least",
            )
