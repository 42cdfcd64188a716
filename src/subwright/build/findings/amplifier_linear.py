"""Rules on class-AB output devices, and on rails that change with the signal."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.build.findings.rule import Measure, rule
from subwright.build.load_lines import driver_load_line
from subwright.build.result import Design

__all__ = ["inner_tap", "lift_reached", "load_line_of_the_driver", "rail_saving", "rail_switches"]


@rule(
    "AMP-12",
    stage="amplifier",
    severity="stop",
    title="Load line of the driver in the safe operating area",
    what="Hardest instant of one output transistor with the driver's own impedance in its box, modulus and "
    "phase, at every frequency that the line filter lets through and any drive, charging battery, case as "
    "hot as with programme, against its safe operating area.",
    why="Outside it a bipolar transistor draws its current into one spot and shorts: rail on the voice coil. "
    "Chips guard themselves, and nobody prints their area: they are not judged here.",
    limit="The whole of the area for steady current: bass notes last too long for the pulsed curves.",
    source="onsemi-tip35",
    example="At 46 V and 45 degrees 330 W: four MJL21194 with their cases at 85 °C.",
    remedy="Lower goal.power, take a larger heatsink (heat.heatsink), use a driver of higher impedance, or "
    'take class D (amplifier.kind = "class_d_half_bridge").',
    near=0.1,
)
def load_line_of_the_driver(design: Design) -> Iterator[Measure]:
    """Measure the share of the safe operating area."""
    found = driver_load_line(design)
    if found is not None:
        yield Measure(
            quantity="safe operating area used by one transistor",
            value=found.share,
            limit=1.0,
            dimension="share",
            at=f"{found.frequency_hz:.0f} Hz, {found.phase_deg:+.0f}°",
        )


@rule(
    "AMP-13",
    stage="amplifier",
    severity="note",
    title="Changing rails save heat",
    what="Heat of the output with Gaussian programme, against plain class AB on the upper rail alone.",
    why="Two rails cost parts and a threshold that can fail. A capacitor that lifts the battery gives its "
    "charge once and takes it once more: at low battery voltage that may eat the saving.",
    limit="No more than plain class AB.",
    source="raab1986",
    example="150 W from ±40 V with inner rails of ±20 V: 34 W instead of 61 W with programme.",
    remedy="Set amplifier.inner_rail nearer to a third, or take class D.",
)
def rail_saving(design: Design) -> Iterator[Measure]:
    """Measure the heat in W."""
    heat = design.amplifier.rail_heat
    if heat:
        yield Measure(
            quantity="heat of the output with programme",
            value=heat[1].switched_w,
            limit=heat[1].plain_w,
            dimension="power",
        )


@rule(
    "AMP-14",
    stage="amplifier",
    severity="warn",
    title="The lifted rail is as high as reckoned",
    what="What the battery is lifted by at the end of a crest of the lowest note: less the diode's drop, the "
    "switch's and what the capacitors have given by then.",
    why="Full power counts on amplifier.lift.",
    limit="amplifier.lift.",
    source="derived",
    example="From 12 V, 0.4 V in the diode, 0.2 V in the switch and 0.9 V of sag leave 88 %.",
    remedy="Lower amplifier.lift, raise goal.lowest_note, or put larger capacitors into the drawer.",
)
def lift_reached(design: Design) -> Iterator[Measure]:
    """Measure the lift as a share of the battery."""
    amplifier, rails = design.amplifier, design.amplifier.rail_switching
    if rails is None or rails.form != "lifted":
        return
    yield Measure(
        quantity="lift at the end of a crest",
        value=amplifier.lift_reached,
        limit=design.spec.amplifier.lift,
        dimension="share",
        sense="at least",
        at=f"{design.goal.lowest_note_hz:g} Hz",
    )


@rule(
    "AMP-15",
    stage="amplifier",
    severity="warn",
    title="Tap of the secondary for the inner rails",
    what="Inner rails that whole turns give, against amplifier.inner_rail.",
    why="The tap falls on a whole turn: with few turns the inner rail may lie far from the wanted one, and "
    "heat and the threshold move with it.",
    limit="A fifth, upwards and downwards.",
    source="derived",
    example="Half of 7 turns is 3.5: tapped at the 4th the inner rail lies 14 % high.",
    remedy="Set amplifier.inner_rail to a whole share of the turns.",
)
def inner_tap(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    rails, transformer = design.amplifier.rail_switching, design.transformer
    if rails is None or rails.form != "two pairs" or transformer is None:
        return
    turns = transformer.tap_turns
    yield Measure(
        quantity="inner rails off the wanted ones",
        value=abs(turns / transformer.secondary_turns / design.spec.amplifier.inner_rail - 1.0),
        limit=0.2,
        dimension="share",
        at=f"tap at turn {turns} of {transformer.secondary_turns}",
    )


@rule(
    "AMP-16",
    stage="amplifier",
    severity="stop",
    title="Switches that change the rail",
    what="Highest voltage across a lifting switch or follower, the whole rail, with a fifth kept free.",
    why="They stand the whole rail when they are off, and at start-up before the inner rails are there.",
    limit="Rated voltage less a fifth.",
    source="common-practice",
    example="±57 V unloaded need a follower of 72 V: take 100 V.",
    remedy="Put MOSFETs of the next voltage class into the drawer, or lower goal.power.",
)
def rail_switches(design: Design) -> Iterator[Measure]:
    """Measure the voltage in V."""
    rails = design.amplifier.rail_switching
    if rails is None:
        return
    highest = rails.upper_v
    if design.converter is not None:
        highest = max(highest, design.converter.rail_unloaded_v)
    yield Measure(
        quantity="voltage across a rail's switch",
        value=highest,
        limit=0.8 * rails.upper_limit_v,
        dimension="voltage",
        at="highest battery, no load",
    )
