"""What the print explains in words: how this build works, and what its terms mean."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.result import Design
from subwright.stages.common import Corner, Level

__all__ = ["glossary", "how_it_works"]

_TERMS: tuple[tuple[str, str], ...] = (
    ("Alignment", "A set of proportions between driver and box that gives a known response."),
    ("AL", "Inductance of a core for one turn; N turns give N² times as much."),
    ("Bleeder", "A resistor that empties a capacitor bank after switching off."),
    ("Bring-up", "The first power-up, step by step, with each step measured before the next."),
    ("Chatter", "Tripping and releasing over and over, because tripping takes the load off the battery."),
    ("Clipping", "The output reaching the rail: the tops of the wave go flat."),
    ("Corner (battery)", "One condition of the battery: cranking, tired, at rest, charging, or at its top."),
    ("Corner (filter)", "The frequency at which a filter begins to take away."),
    ("Crest factor", "Peak over mean power of the programme, in dB: how much room the music leaves."),
    ("Dead time", "The pause in which neither switch conducts."),
    ("Drain spike", "The peak at a switch when the leakage inductance gives its energy back."),
    ("Drawer", "The file of parts at hand; they are preferred."),
    ("Dummy load", "A resistor that takes the driver's place on the bench."),
    ("Fill factor", "Share of the winding window that is copper."),
    ("Flux swing", "How far the core is magnetised each half cycle; at saturation it stops being a core."),
    (
        "Half-primary",
        "One of the two halves of a centre-tapped primary winding; only one conducts at a time.",
    ),
    ("Hysteresis", "The distance between trip and release, so that a protection doesn't chatter."),
    ("Infrasonic", "Below the lowest note: it moves the cone and makes no sound worth having."),
    ("Isolating link", "A jumper that lets the protections show on their lamps without stopping anything."),
    ("Leakage inductance", "The part of a winding's field that misses the other winding."),
    ("NTC", "A thermistor whose resistance falls as it warms."),
    ("Port", "A tube whose air resonates with the box and helps on the lowest notes."),
    ("Preferred value", "One of the values of IEC 60063 in which resistors and capacitors are sold."),
    ("Push-pull", "Two switches on the battery's minus that feed the two half-primaries in turn."),
    ("Rail", "A supply voltage of the amplifier, positive or negative to ground."),
    ("Rail pumping", "A half-bridge giving energy back to one rail, which rises on low notes."),
    ("Release", "The value at which a protection lets it run again."),
    ("Snubber", "A resistor and capacitor that calm a ringing."),
    ("Soft start", "The pulses grow over some tenths of a second so that the rails charge gently."),
    ("Stop, warn, note", "Gravity of a finding: don't build it so; only if you know why; worth knowing."),
    ("Trip", "The value at which a protection stops the unit."),
    ("Window", "The range in which a reading passes, from the tolerances of the parts."),
)


def glossary() -> tuple[tuple[str, str], ...]:
    """Terms with their meanings, in order."""
    return _TERMS


def how_it_works(design: Design) -> tuple[tuple[str, str], ...]:
    """Heading and paragraph for each part of the way from battery to air, with this build's figures."""
    return tuple(_paragraphs(design))


def _volts(value: float) -> str:
    return show(value, "voltage")


def _paragraphs(design: Design) -> Iterator[tuple[str, str]]:
    full, programme = (design.point(Corner.NOMINAL, level) for level in (Level.FULL, Level.PROGRAMME))
    supply = design.supply
    fuse = (
        f"{show(supply.fuse_a, 'current')} fuse within {show(supply.fuse_distance_m, 'length')} of its pole"
    )
    yield (
        "Battery and cable",
        f"The battery, {_volts(supply.corners[Corner.NOMINAL])} at rest, feeds the unit through a {fuse} "
        f"and {show(supply.section_m2, 'area')} of copper. The way there and back, with the battery's own "
        f"resistance, is {show(supply.source_resistance_ohm, 'resistance')}: at full sine the unit sees "
        f"{_volts(full.terminal_v)} and draws {show(full.battery_a, 'current')}; with music "
        f"{show(programme.battery_a, 'current')} on average.",
    )
    yield from _converter(design)
    yield from _boost(design)
    yield from _signal(design)
    amplifier, driver, box = design.amplifier, design.driver, design.enclosure
    single = "straight from the battery; both speaker terminals rest at half of it"
    if amplifier.rails == "raised":
        single = (
            f"on the raised rail of {_volts(full.rail_crest_v)}; both speaker terminals rest at half of it"
        )
    rails = (
        f"between rails of \u00b1{_volts(full.rail_crest_v)} at the crest"
        if not amplifier.from_battery
        else single
    )
    yield (
        "Amplifier",
        f"The amplifier works {rails}. It clips at {show(full.output_w, 'power')} into "
        f"{show(amplifier.load_ohm, 'resistance')} from a battery at rest. Of every 100 W drawn at full sine "
        f"{100.0 * full.efficiency:.0f} W reach the load.",
    )
    ported = "" if box.tuning_hz is None else f", tuned to {show(box.tuning_hz, 'frequency')}"
    yield (
        "Driver and box",
        f"The driver, {show(driver.re_ohm, 'resistance')} of copper in a gap of "
        f"{driver.bl_tm:.1f} T m, moves up to {show(box.excursion_m, 'length')} each way at full sine, of "
        f"{show(driver.xmax_m, 'length')} allowed. The {design.spec.enclosure.kind.replace('_', ' ')} box of "
        f"{show(box.net_volume_m3, 'volume')}{ported} turns "
        f"{show(design.balance.radiated_w, 'power')} of that into sound at "
        f"{show(design.balance.frequency_hz, 'frequency')}; the rest warms the coil.",
    )
    yield from _protections(design)


def _boost(design: Design) -> Iterator[tuple[str, str]]:
    boost = design.boost
    if boost is None:
        return
    plan = boost.plan
    yield (
        "Boost converter",
        f"{show(plan.timing.switching_hz, 'frequency')} times a second a switch lays the choke across the "
        "battery and lets go; the current it has gathered runs on through the rectifier into "
        f"{plan.rail_bank.count} capacitors, and makes of {_volts(design.supply.corners[Corner.NOMINAL])} "
        "one "
        f"rail of {_volts(boost.set_v)}. A regulator ends each pulse where the current asks for it, and "
        "holds "
        f"the rail down to a battery of {_volts(boost.holds_from_v)}. Nothing isolates the rail: without a "
        "pulse it is the battery, less a diode, and only fuse and battery switch take it off.",
    )


def _converter(design: Design) -> Iterator[tuple[str, str]]:
    converter, transformer = design.converter, design.transformer
    if converter is None or transformer is None:
        return
    timing = converter.plan.timing
    regulated = (
        "A regulator shortens the pulses to hold the rails."
        if converter.plan.regulated
        else "Nothing regulates the rails: they follow the battery, and the amplifier is made for that."
    )
    yield (
        "Converter",
        f"A {converter.topology.replace('_', ' ')} converter switches the battery onto the transformer "
        f"{show(timing.switching_hz, 'frequency')} times a second, first one way, then the other, with "
        f"{show(timing.dead_time_s, 'time')} between in which nothing conducts. "
        f"{transformer.primary_turns} turns against {transformer.secondary_turns} multiply the voltage by "
        f"{converter.ratio:.2f}; rectifiers and {2 * converter.reservoir_bank.count} capacitors of "
        f"{show(converter.reservoir_bank.capacitor.capacitance_f, 'capacitance')} make the rails. "
        f"{regulated}",
    )


def _signal(design: Design) -> Iterator[tuple[str, str]]:
    filt = design.filter
    below = (
        ""
        if filt.infrasonic_hz is None
        else f" Below {show(filt.infrasonic_hz, 'frequency')} the infrasonic filter keeps what would only "
        "move the cone away."
    )
    yield (
        "Signal",
        f"Both channels are summed and a low-pass of order {filt.order} lets through what lies below "
        f"{show(filt.corner_hz, 'frequency')}.{below} Level and phase are set to suit the other speakers.",
    )


def _protections(design: Design) -> Iterator[tuple[str, str]]:
    thresholds = design.protection.thresholds

    def at(name: str) -> str:
        threshold = thresholds[name]
        return show(threshold.nominal, "voltage" if threshold.unit == "V" else "temperature")

    yield (
        "Protections",
        f"Comparators stop it below {at('under-voltage trip')} at its terminals, above "
        f"{at('over-voltage trip')}, and when the heatsink reaches {at('thermal trip')}; it comes back at "
        f"{at('under-voltage release')}, {at('over-voltage release')} and {at('thermal release')}. A lamp "
        "each says which. The fuse guards the cable, not the electronics.",
    )
