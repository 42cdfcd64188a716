"""What can hurt, worded for the moment before the hand acts. Common practice; numbers come in as text."""

from __future__ import annotations

from subwright.outputs.views import Caution

__all__ = [
    "before_connecting",
    "before_connecting_a_rail",
    "before_cutting",
    "before_etching",
    "before_first_power",
    "before_first_power_from_battery",
    "before_mounting",
    "before_playing",
    "before_touching",
    "before_winding",
    "before_wiring_a_board",
]


def before_connecting(*, battery: str, fuse: str, fuse_distance: str, fault: str) -> Caution:
    """Cable and battery. ``battery`` is the chemistry; the others are printed values."""
    points = [
        f"A short circuit here drives about {fault} until the fuse opens. Take rings, watches and chains "
        "off, and use insulated tools.",
        f"Fit the {fuse} fuse no farther than {fuse_distance} of cable from the battery's positive pole. The "
        "cable up to the fuse is unprotected: sleeve it and keep it off metal edges.",
        "Disconnect the battery's negative pole first and connect it last. Leave the fuse out until polarity "
        "and every joint have been checked with a meter.",
    ]
    if battery == "lfp":
        points.append(
            "A lithium iron phosphate battery needs its own management system; its terminal current may "
            "exceed the figure above. Don't charge it below 0 °C."
        )
    else:
        points.append(
            "A lead-acid battery gives off explosive gas while charging and holds acid: no sparks, eye "
            "protection on, air moving."
        )
    points.append(
        "Vehicle wiring touches safety systems. Keep clear of airbag and brake wiring, follow the vehicle "
        "maker's instructions and local codes, and leave it to a licensed technician where they ask for one."
    )
    return Caution(before="you connect the battery", points=tuple(points))


def before_winding() -> Caution:
    """The winding bench."""
    return Caution(
        before="you wind",
        points=(
            "Wire under tension whips and cut ends are sharp: eye protection on.",
            "Break the core's edges or tape them first. Ferrite chips are sharp, and a nick in the enamel is "
            "a short circuit that shows only under power.",
            "Burning or scraping enamel off makes fumes and dust: do it in moving air.",
            "Measure phasing and insulation before the part meets a battery. One reversed half is a short "
            "circuit across it.",
        ),
    )


def before_first_power(*, rail: str, discharge: str) -> Caution:
    """The first time the converter gets a voltage. ``rail`` and ``discharge`` are printed values."""
    return Caution(
        before="you switch on for the first time",
        points=(
            "Feed it from a laboratory supply with its current limit set low, or through a series resistor "
            "or lamp. Connect neither driver nor battery yet.",
            f"The rails reach \u00b1{rail}, twice that from one to the other: enough to hurt. One hand only, "
            "and nobody alone.",
            f"After switching off the rails need {discharge} to fall below 5 V. Measure them before you "
            "touch anything; discharge them through a resistor, never with a screwdriver.",
            "Wrongly connected electrolytics burst and switches can burn through. Eye protection on, a "
            "covered board, a fire extinguisher within reach.",
        ),
    )


def before_first_power_from_battery(*, supply: str) -> Caution:
    """The first time an amplifier without converter gets a voltage."""
    return Caution(
        before="you switch on for the first time",
        points=(
            "Feed it from a laboratory supply with its current limit set low, or through a series resistor "
            "or lamp. Connect neither driver nor battery yet.",
            f"Both speaker terminals sit at half of the {supply} supply. Neither may "
            "touch the vehicle's body.",
            "Wrongly connected electrolytics burst and switches can burn through. Eye protection on, a "
            "covered board, a fire extinguisher within reach.",
        ),
    )


def before_connecting_a_rail(*, peak: str, resistor: str, wait: str) -> Caution:
    """A raised rail hangs on the battery through choke and diode: printed peak, resistor and time."""
    return Caution(
        before="you put the battery onto a raised rail",
        points=(
            f"Some {peak} rush through choke and diode into the empty capacitors, whatever the controller "
            "does: "
            "sparks at the contact, and the rail rings above the battery. Clip the pre-charge resistor of "
            f"{resistor} across the open fuse holder for {wait} or longer, read the rail, then put the "
            "fuse in.",
            "Stopping the converter leaves the battery on the rail. Before hands go in: fuse out, then "
            "wait for "
            "the bleeder and measure.",
            "A short behind the rectifier is cleared by the fuse alone. Keep a switch in the battery lead "
            "within reach, eye protection on, and a fire extinguisher by.",
        ),
    )


def before_touching(*, sink: str) -> Caution:
    """Hot parts. ``sink`` is the printed heatsink temperature."""
    return Caution(
        before="you touch or cover the heatsink",
        points=(
            f"It may reach {sink}. Metal above about 60 °C burns skin at a touch.",
            "Leave its fins free, upright where possible, and nothing flammable near them. A carpeted box in "
            "the sun starts from a hotter air than was reckoned with.",
        ),
    )


def before_cutting(*, material: str) -> Caution:
    """The saw."""
    return Caution(
        before="you cut the panels",
        points=(
            "Check every dimension against the driver and the vehicle before the first cut. Sizes are "
            "finished sizes: the saw takes its width outside them.",
            f"Dust from {material} harms the lungs and burns easily: mask and extraction on, ears and eyes "
            "covered, work clamped, hands clear of the blade.",
        ),
    )


def before_mounting(*, mass: str) -> Caution:
    """The finished box in the vehicle."""
    return Caution(
        before="you drive with it",
        points=(
            f"It weighs about {mass}. In a crash or a hard stop it becomes a projectile: bolt or strap it to "
            "structure rated for the load, not to trim.",
            "Keep it clear of seat belts, airbags, exits, and of anything that must stay cool.",
        ),
    )


def before_playing(*, level: str) -> Caution:
    """Loud sound. ``level`` is the printed highest level."""
    return Caution(
        before="you turn it up",
        points=(
            f"It can reach about {level} at 1 m, more in a closed cabin. That damages hearing within "
            "minutes, and low notes don't feel as loud as they are: measure, keep "
            "sessions short, wear protection.",
            "It can drown sirens and horns. While driving, keep it low enough to hear them.",
        ),
    )


def before_etching() -> Caution:
    """A board in the making."""
    return Caution(
        before="you etch, drill and solder",
        points=(
            "Etchants burn skin and eyes and eat metal: goggles, gloves, moving air, plastic trays, water at "
            "hand. Never mix them; never pour them down a drain: copper is poison to water and goes to the "
            "place that takes chemicals.",
            "Dust of glass-fibre board harms the lungs: drill and saw it wet or under a suction hose, with a "
            "mask. Small drills break and fly: eye protection on.",
            "Flux fumes irritate: let the air carry them away from you. Wash your hands after leaded solder.",
        ),
    )


def before_wiring_a_board() -> Caution:
    """A finished board on its way into the unit."""
    return Caution(
        before="you wire a board into the unit",
        points=(
            "Supply off, fuse out, battery's negative pole off. Capacitors in the unit hold their charge: "
            "measure every rail and let it down through a resistor first.",
            "Look over each track against the light and measure for shorts between neighbours and from each "
            "supply to 0 V before any part is powered.",
        ),
    )
