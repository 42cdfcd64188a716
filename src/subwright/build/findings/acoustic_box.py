"""Rules on the box: size, port, cone, panels, response."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from subwright.base.units import show
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design

__all__ = [
    "box_q",
    "cone_stops",
    "excursion",
    "fits_room",
    "group_delay",
    "infrasonic_excursion",
    "lifting",
    "motor_depth",
    "net_volume",
    "panel_resonance",
    "pipe_resonance",
    "port_speed",
    "tuning",
]

_GROUP_DELAY_S = 0.030
_VOLUME_SHARE = 0.10
_TUNING_SHARE = 0.05
_QTC_MOST = 1.1
_LIFT_KG = 25.0
_PIPE_FACTOR = 2.0


@rule(
    "ENC-01",
    stage="enclosure",
    severity="stop",
    title="The box fits into its room",
    what="Outside of the box against the room available, in each direction that was given.",
    why="Panels are cut before anybody finds out.",
    limit="enclosure.room_width, enclosure.room_height, enclosure.room_depth.",
    source="derived",
    example="830 mm in a room of 840 mm: 10 mm to slide it in.",
    remedy="Lower enclosure.volume, choose thinner panels (enclosure.panel_thickness), or find more room.",
)
def fits_room(design: Design) -> Iterator[Measure]:
    """Measure the sides in m."""
    box = design.enclosure
    sides = (
        ("width", box.outer_width_m, box.room_width_m),
        ("height", box.outer_height_m, box.room_height_m),
        ("depth", box.outer_depth_m, box.room_depth_m),
    )
    for name, outer_m, room_m in sides:
        if room_m is not None:
            yield Measure(
                quantity=f"{name} of the box", value=outer_m, limit=room_m * (1.0 + 1e-9), dimension="length"
            )


@rule(
    "ENC-02",
    stage="enclosure",
    severity="warn",
    title="Air speed in the port",
    what="Greatest peak speed at full drive from the lowest note up, the cone at xmax at most.",
    why="Fast air turns turbulent at the edges: it chuffs, and the port stops tuning the box.",
    limit="enclosure.port_speed_limit, 17 m/s (5 % of the speed of sound) unless set otherwise.",
    source="salvatti-2002",
    example="A 69 mm pipe that moves 0.06 m³/s breathes at 16 m/s; a 103 mm pipe at 7 m/s.",
    remedy="Larger or more ports (enclosure.port_diameter, enclosure.port_count), rounded mouths, a higher "
    "filter.infrasonic, or a higher goal.lowest_note.",
    near=0.05,
)
def port_speed(design: Design) -> Iterator[Measure]:
    """Measure the speed in m/s."""
    box = design.enclosure
    if box.port_speed_m_per_s is not None and box.port_speed_at_hz is not None:
        yield Measure(
            quantity="air speed in the port",
            value=box.port_speed_m_per_s,
            limit=box.port_speed_limit_m_per_s,
            dimension="speed",
            at=f"full drive, {show(box.port_speed_at_hz, 'frequency')}",
        )


@rule(
    "ENC-03",
    stage="enclosure",
    severity="warn",
    title="Excursion in the playing band",
    what="Greatest peak excursion at full drive from the lowest note up.",
    why="Beyond xmax the coil leaves the gap: distortion rises steeply, and cooling gets worse.",
    limit="Linear displacement xmax of the driver, one way.",
    source="small-1972-direct",
    example="9.4 mm at 32 Hz with an xmax of 8 mm: 1.4 dB too much.",
    remedy="Lower goal.power, raise goal.lowest_note, take a smaller sealed box (enclosure.volume), or more "
    "drivers (driver.count).",
    near=0.05,
)
def excursion(design: Design) -> Iterator[Measure]:
    """Measure the excursion in m."""
    box = design.enclosure
    yield Measure(
        quantity="peak excursion",
        value=box.excursion_m,
        limit=box.xmax_m,
        dimension="length",
        at=f"full drive, {show(box.excursion_at_hz, 'frequency')}",
    )


@rule(
    "ENC-04",
    stage="enclosure",
    severity="stop",
    title="The cone doesn't reach its stops",
    what="Greatest peak excursion at full drive at any frequency from 10 Hz up, infrasonic filter included, "
    "against the displacement that damages.",
    why="A coil former that hits the back plate once may rub for ever after.",
    limit="Displacement that damages, one way, where the driver's data give it.",
    source="iec-60268-5",
    example="14 mm at 12 Hz against 15 mm: 7 % left, and a bump in the road is not counted.",
    remedy='Set filter.infrasonic_filter = "on", lower goal.power, or take a smaller box (enclosure.volume).',
    near=0.1,
)
def cone_stops(design: Design) -> Iterator[Measure]:
    """Measure the excursion in m."""
    box = design.enclosure
    if box.xdamage_m is not None:
        below = box.infrasonic_excursion_m > box.excursion_m
        at_hz = box.infrasonic_excursion_at_hz if below else box.excursion_at_hz
        yield Measure(
            quantity="peak excursion at any frequency",
            value=max(box.excursion_m, box.infrasonic_excursion_m),
            limit=box.xdamage_m,
            dimension="length",
            at=f"full drive, {show(at_hz, 'frequency')}",
        )


@rule(
    "ENC-05",
    stage="enclosure",
    severity="note",
    title="Excursion below the lowest note",
    what="Greatest peak excursion at full drive below the lowest note, infrasonic filter included.",
    why="Nobody plays there, but record warps, wind on a microphone and slammed doors do.",
    limit="Linear displacement xmax of the driver, one way.",
    source="small-1973-vented",
    example="A vented box tuned to 32 Hz without a filter: the cone at 20 Hz moves as if in free air.",
    remedy='Set filter.infrasonic_filter = "on", or raise filter.infrasonic.',
    near=0.05,
)
def infrasonic_excursion(design: Design) -> Iterator[Measure]:
    """Measure the excursion in m."""
    box = design.enclosure
    if box.lowest_note_hz > float(box.frequency_hz[0]):
        yield Measure(
            quantity="peak excursion below the lowest note",
            value=box.infrasonic_excursion_m,
            limit=box.xmax_m,
            dimension="length",
            at=f"full drive, {show(box.infrasonic_excursion_at_hz, 'frequency')}",
        )


@rule(
    "ENC-06",
    stage="enclosure",
    severity="note",
    title="Resonance of the panels",
    what="Lowest resonance of the weakest panel, edges glued, against twice the low-pass corner.",
    why="A panel that resonates in the band sings along and rattles what lies on it.",
    limit="Twice the low-pass corner; below the corner itself: a warning.",
    source="leissa-1973",
    example="480 × 300 mm of 18 mm board resonate far above 160 Hz; 12 mm of the same size come near.",
    remedy="Add enclosure.braces, raise enclosure.panel_thickness, or set enclosure.front_layers = 2.",
    near=0.05,
)
def panel_resonance(design: Design) -> Iterator[Measure]:
    """Measure the frequency in Hz."""
    box = design.enclosure
    yield Measure(
        quantity=f"lowest resonance of the {box.panel_resonance_of} panel",
        value=box.panel_resonance_hz,
        limit=box.panel_resonance_limit_hz,
        dimension="frequency",
        sense="at least",
        severity="warn" if box.panel_resonance_hz < box.upper_hz else None,
    )


@rule(
    "ENC-07",
    stage="enclosure",
    severity="stop",
    title="The driver fits into the box",
    what="Depth of the driver behind its flange against the free depth behind the panel's face.",
    why="A magnet that touches the back wall keeps the frame off the gasket, and hums through the box.",
    limit="Inner depth and the panel's thickness.",
    source="derived",
    example="A driver of 145 mm in 324 mm: plenty. Vented pole pieces want another 20 mm of air behind them.",
    remedy="Raise enclosure.room_depth or enclosure.volume, or take a shallower driver.",
    near=0.1,
)
def motor_depth(design: Design) -> Iterator[Measure]:
    """Measure the depth in m."""
    box = design.enclosure
    if box.driver_depth_m is not None:
        yield Measure(
            quantity="depth of the driver",
            value=box.driver_depth_m,
            limit=box.driver_room_m,
            dimension="length",
        )


@rule(
    "ENC-08",
    stage="enclosure",
    severity="note",
    title="Group delay at the lowest note",
    what="Delay of the box alone at the lowest note.",
    why="A long delay makes the lowest notes trail behind the beat.",
    limit="30 ms; common practice, no source.",
    source="common-practice",
    example="A sealed box with Qtc 0.707 at 50 Hz delays by 4.5 ms there; a vented one tuned to 32 Hz by "
    "some 18 ms.",
    remedy="Lower enclosure.tuning or enclosure.qtc, or take a sealed box (enclosure.kind).",
    near=0.05,
)
def group_delay(design: Design) -> Iterator[Measure]:
    """Measure the delay in s."""
    box = design.enclosure
    at_log = np.interp(np.log(box.lowest_note_hz), np.log(box.frequency_hz), box.group_delay_s)
    yield Measure(
        quantity="group delay of the box",
        value=float(at_log),
        limit=_GROUP_DELAY_S,
        dimension="time",
        at=show(box.lowest_note_hz, "frequency"),
    )


@rule(
    "ENC-09",
    stage="enclosure",
    severity="note",
    title="Net volume against its target",
    what="Net volume of the box as built, from whole-millimetre panels less driver, port and braces, against "
    "the volume aimed at.",
    why="A few per cent don't matter; ten move resonance and Q visibly.",
    limit="10 %.",
    source="small-1972-closed",
    example="36.5 l for a target of 38 l: 4 %.",
    remedy="Set enclosure.volume to the volume reached, or give the box more room (enclosure.room_depth).",
)
def net_volume(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    box = design.enclosure
    yield Measure(
        quantity="net volume off its target",
        value=abs(box.net_volume_m3 / box.target_volume_m3 - 1.0),
        limit=_VOLUME_SHARE,
        dimension="share",
    )


@rule(
    "ENC-10",
    stage="enclosure",
    severity="note",
    title="Tuning against its target",
    what="Tuning of the vented box as built, against the tuning aimed at.",
    why="The port is cut to whole millimetres and the volume is what the panels give; both move the tuning.",
    limit="5 %.",
    source="small-1973-vented",
    example="31.4 Hz for a target of 32 Hz: 2 %.",
    remedy="Change enclosure.port_diameter or enclosure.tuning; at the bench trim the port by the impedance "
    "dip.",
)
def tuning(design: Design) -> Iterator[Measure]:
    """Measure the deviation as a share."""
    box = design.enclosure
    if box.tuning_hz is not None and box.target_tuning_hz is not None:
        yield Measure(
            quantity="tuning off its target",
            value=abs(box.tuning_hz / box.target_tuning_hz - 1.0),
            limit=_TUNING_SHARE,
            dimension="share",
        )


@rule(
    "ENC-11",
    stage="enclosure",
    severity="note",
    title="Total Q of a sealed box",
    what="Q of the resonance of driver and box, losses included.",
    why="Above 0.707 the response has a hump at resonance; above 1 every bass note tends to be the same "
    "note.",
    limit="1.1: a hump of 1.8 dB.",
    source="small-1972-closed",
    example="Qtc 0.9 has a hump of 0.7 dB, Qtc 1.1 one of 1.8 dB.",
    remedy='Raise enclosure.volume, or set enclosure.fill = "light" or "dense".',
)
def box_q(design: Design) -> Iterator[Measure]:
    """Measure Q, dimensionless."""
    if design.enclosure.kind == "sealed":
        yield Measure(
            quantity="total Q of the box", value=design.enclosure.qtc, limit=_QTC_MOST, dimension="ratio"
        )


@rule(
    "ENC-12",
    stage="enclosure",
    severity="note",
    title="The port's own resonance",
    what="First resonance of the air column in the port against twice the low-pass corner.",
    why="A long port is an organ pipe: it adds a note of its own where the filter still lets something "
    "through.",
    limit="Twice the low-pass corner; common practice, no source.",
    source="beranek-mellow-2012",
    example="A port of 400 mm with its ends resonates near 360 Hz: clear of 160 Hz.",
    remedy="Shorten the port: a smaller enclosure.port_diameter, a higher enclosure.tuning, or a larger "
    "enclosure.volume.",
    near=0.05,
)
def pipe_resonance(design: Design) -> Iterator[Measure]:
    """Measure the frequency in Hz."""
    box = design.enclosure
    if box.port is not None:
        yield Measure(
            quantity="resonance of the port",
            value=box.port.resonance_hz,
            limit=_PIPE_FACTOR * box.upper_hz,
            dimension="frequency",
            sense="at least",
        )


@rule(
    "ENC-13",
    stage="enclosure",
    severity="note",
    title="Lifting the box",
    what="Mass of box, driver and port, without the electronics.",
    why="It goes in and out of vehicles, bent over and at arm's length. Loose in a vehicle it is also a "
    "missile: strap it to the frame.",
    limit="25 kg, the guideline for one person close to the body; less bent over.",
    source="hse-l23",
    example="31 kg: two people, or a thinner board.",
    remedy='Set enclosure.panel_material = "plywood", lower enclosure.panel_thickness with braces, and lift '
    "in pairs.",
)
def lifting(design: Design) -> Iterator[Measure]:
    """Measure the mass in kg."""
    yield Measure(
        quantity="mass of the box", value=design.enclosure.mass_kg, limit=_LIFT_KG, dimension="mass"
    )
