"""Rules on passive radiators, heat shut into the box, and how the box stands in a vehicle."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner, Level

__all__ = ["inside_air", "radiator_excursion", "tipping"]

_INSIDE_MOST_C = 70.0
_FORWARD_G = 0.8


@rule(
    "ENC-14",
    stage="enclosure",
    severity="warn",
    title="Excursion of the passive radiator",
    what="Greatest peak excursion of the radiators at full drive from the lowest note up.",
    why="Around the tuning the radiator does the cone's work; it needs about twice the cone's volume.",
    limit="enclosure.radiator_xmax, one way, where given.",
    source="small-1974-passive",
    example="23 mm at 34 Hz with an xmax of 20 mm: 1.2 dB too much.",
    remedy="Use two radiators (enclosure.radiator_count) or larger ones, lower goal.power, or raise "
    "goal.lowest_note.",
    near=0.05,
)
def radiator_excursion(design: Design) -> Iterator[Measure]:
    """Measure the excursion in m."""
    box = design.enclosure
    radiator, moved, at_hz = box.radiator, box.radiator_excursion_m, box.radiator_excursion_at_hz
    if radiator is not None and radiator.xmax_m is not None and moved is not None and at_hz is not None:
        yield Measure(
            quantity="peak excursion of the radiator",
            value=moved,
            limit=radiator.xmax_m,
            dimension="length",
            at=f"full drive, {show(at_hz, 'frequency')}",
        )


@rule(
    "ENC-15",
    stage="enclosure",
    severity="warn",
    title="Air inside the box with the electronics in it",
    what="Air temperature inside with programme for hours, all losses of electronics and driver shut in, in "
    "the hottest air outside.",
    why="Heatsinks inside work against the box's own air, and every 10 K halve a capacitor's life.",
    limit="70 °C; common practice, no source.",
    source="iso-6946",
    example="40 W through 0.45 K/W are 18 K: 68 °C in 50 °C air.",
    remedy="Bring the heatsink outside (enclosure.electronics_inside = false), lower goal.power, or take a "
    "larger box.",
    near=0.05,
)
def inside_air(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    box = design.enclosure
    if not design.spec.enclosure.electronics_inside:
        return
    heat_w = design.point(Corner.CHARGING, Level.PROGRAMME).battery_w
    yield Measure(
        quantity="air inside the box",
        value=design.spec.supply.ambient_max_c + heat_w * box.wall_k_per_w,
        limit=_INSIDE_MOST_C,
        dimension="temperature",
        at=f"programme while charging, {show(heat_w, 'power')} of heat",
    )


@rule(
    "ENC-16",
    stage="enclosure",
    severity="note",
    title="Standing in the vehicle",
    what="Steady acceleration, over gravity, at which the box tips about its nearer lower edge if it doesn't "
    "slide.",
    why="Emergency braking reaches 0.8 g and a crash many times that: what isn't strapped down flies.",
    limit="0.8, the forward load-securing acceleration; a box that stands firm is strapped down as well.",
    source="en-12195-1",
    example="Centre of gravity 190 mm up and 128 mm behind the front edge: it tips at 0.67 g.",
    remedy="Strap it to the vehicle's frame over its top, lay it on its back, or choose a lower room with "
    "enclosure.room_height.",
    near=0.0,
)
def tipping(design: Design) -> Iterator[Measure]:
    """Measure the acceleration over gravity, dimensionless."""
    yield Measure(
        quantity="acceleration at which the box tips, over gravity",
        value=design.enclosure.balance.tip_g,
        limit=_FORWARD_G,
        dimension="ratio",
        sense="at least",
    )
