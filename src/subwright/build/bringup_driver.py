"""Steps of the first power-up with the driver in its box: alone, first sound, one hour of music."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from subwright.base.units import show
from subwright.build.bringup_records import Cause, Reading, Step
from subwright.build.result import Design
from subwright.stages.common import Corner, Level

__all__ = ["driver_steps"]


def driver_steps(design: Design) -> Iterator[Step]:
    """Driver alone, first sound, soak."""
    yield _driver(design)
    yield _first_sound(design)
    yield _soak(design)


def _driver(design: Design) -> Step:
    driver, box = design.driver, design.enclosure
    readings = [
        Reading(
            key="driver-resistance",
            name="direct-current resistance",
            where="the box's terminals, leads' own resistance taken off",
            dimension="resistance",
            expected=driver.re_ohm,
            low=0.93 * driver.re_ohm,
            high=1.07 * driver.re_ohm,
            basis="makers state it to some per cent; coil at room temperature",
            customary=True,
            rests_on=("driver",),
        ),
        Reading(
            key="driver-resonance",
            name="free-air resonance",
            where="impedance peak, driver in the hand, cone upright",
            dimension="frequency",
            expected=driver.fs_hz,
            low=0.85 * driver.fs_hz,
            high=1.15 * driver.fs_hz,
            basis="makers state it to 15 % or so; an unplayed suspension is stiffer",
            customary=True,
            rests_on=("driver",),
        ),
    ]
    sealed = box.fc_hz is not None and box.tuning_hz is None
    if sealed and box.fc_hz is not None:
        readings.append(
            Reading(
                key="box-resonance",
                name="resonance in the box",
                where="impedance peak at the box's terminals",
                dimension="frequency",
                expected=box.fc_hz,
                low=0.9 * box.fc_hz,
                high=1.1 * box.fc_hz,
                basis="driver's spread, half of it hidden behind the box's air",
                customary=True,
                rests_on=("driver", "enclosure"),
            )
        )
    elif box.tuning_hz is not None:
        readings.append(
            Reading(
                key="box-tuning",
                name="tuning of the port or radiator",
                where="impedance minimum between the two peaks",
                dimension="frequency",
                expected=box.tuning_hz,
                low=0.93 * box.tuning_hz,
                high=1.07 * box.tuning_hz,
                basis="port length and end correction",
                customary=True,
                rests_on=("enclosure",),
            )
        )
    return Step(
        number=0,
        key="driver",
        title="Driver and box, without the amplifier",
        fitted=("driver in its box",),
        absent=("amplifier's output lead",),
        links="as they are",
        supply=None,
        load="the driver alone",
        actions=(
            "A 1.5 V cell on the terminals for a moment: plus on plus moves the cone outwards.",
            "Generator through 1 kΩ, millivoltmeter on the terminals: the peak is the resonance.",
            "Press the cone in gently with both palms: it must come back slowly from a sealed box, without "
            "scraping.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="cone moves inwards",
                cause="swapped phase: leads crossed at the driver or the terminals",
                remedy="swap them at the driver",
            ),
            Cause(
                sign="resistance half or double",
                cause="two coils or drivers joined the other way than designed",
                remedy="compare with the wiring page",
                fault="coils-joined-otherwise",
            ),
            Cause(
                sign="resonance in the box too low, cone comes back at once",
                cause="the box leaks: gasket, terminal, or a joint without glue",
                remedy="listen for air at the joints while a low tone plays softly",
                fault="box-leaks",
            ),
            *(
                ()
                if box.tuning_hz is None
                else (
                    Cause(
                        sign="tuning off by more than the window",
                        cause="the port or the radiator's mass is not what was designed",
                        remedy="measure its length inside the box; compare with the panel drawings",
                        fault="port-off",
                    ),
                )
            ),
            Cause(
                sign="scraping",
                cause="frame bent by uneven screws, or chips in the gap",
                remedy="loosen all screws, tighten crosswise",
            ),
        ),
        stops=("Scraping, or a coil that reads open.",),
    )


def _first_sound(design: Design) -> Step:
    full = design.point(Corner.NOMINAL, Level.FULL)
    low, high = (design.point(corner, Level.FULL) for corner in (Corner.LOW, Corner.CHARGING))
    load = design.amplifier.load_ohm
    return Step(
        number=0,
        key="first-sound",
        title="Battery, driver, first sound",
        fitted=("driver", f"{show(design.supply.fuse_a, 'current')} fuse at the battery"),
        absent=(),
        links="closed",
        supply=None,
        load="dummy load first, then the driver",
        actions=(
            "Feed it from the battery, first through a 5 A fuse, level at zero. Then the real fuse.",
            "With the dummy load on the output, rated for the full power, and a sine in the middle of the "
            "band: raise the level until the tops just flatten, read, and turn down within ten seconds.",
            "Discharge, connect the driver, level at zero. Music, level up slowly, ear protection on. "
            "Turn the phase for more bass at the seat.",
        ),
        readings=(
            Reading(
                key="clip-output",
                name="output at the onset of clipping, rms",
                where="across the dummy load",
                dimension="voltage",
                expected=sqrt(full.output_w * load),
                low=0.95 * sqrt(low.output_w * load),
                high=1.05 * sqrt(high.output_w * load),
                basis="from a tired battery to a charging one, meter 5 %",
                customary=True,
                rests_on=("supply", "converter", "transformer", "amplifier"),
            ),
            Reading(
                key="clip-terminal",
                name="voltage on the unit's terminals meanwhile",
                where="battery terminals of the unit",
                dimension="voltage",
                expected=full.terminal_v,
                low=low.terminal_v,
                high=high.terminal_v,
                basis="from a tired battery to a charging one",
                rests_on=("supply",),
            ),
        ),
        causes=(
            Cause(
                sign="clips far too early",
                cause="thin cable, a bad crimp or a tired battery: look at the terminals' voltage",
                remedy="measure the drop along each joint while it plays",
                fault="supply-path-poor",
            ),
            Cause(
                sign="under-voltage lamp on bass hits",
                cause="resistance in the supply path is higher than designed",
                remedy="measure battery and terminals at once; the difference is the path's",
            ),
            Cause(
                sign="weak, hollow bass",
                cause="swapped phase between two drivers, or against the vehicle's own speakers",
                remedy="swap one pair of leads; try the phase control",
            ),
            Cause(
                sign="rattle or chuffing",
                cause="a loose panel, or port air too fast at this level",
                remedy="hand on each panel; lower the level until it goes",
            ),
        ),
        stops=("The fuse's holder or a crimp gets warm.", "A smell of hot varnish from the driver."),
    )


def _soak(design: Design) -> Step:
    heat = design.heat
    rise = heat.sink_c[Level.PROGRAMME] - heat.air_c
    programme = design.point(Corner.NOMINAL, Level.PROGRAMME)
    return Step(
        number=0,
        key="soak",
        title="One hour of music",
        fitted=("box closed, cover on",),
        absent=(),
        links="closed",
        supply=None,
        load="the driver",
        actions=(
            "Music of the kind it is for, level just below clipping, one hour, somebody in the room.",
            "Read temperatures after 5, 15, 30 and 60 minutes, probe beside the hottest part.",
            f"Over an hour a heatsink of {show(heat.capacity_j_per_k, 'thermal capacity')} settles; a rise "
            "that still grows at the end has not.",
        ),
        readings=(
            Reading(
                key="sink-rise",
                name="heatsink above the air, after an hour",
                where="heatsink beside the hottest part, less the air's temperature",
                dimension="temperature difference",
                expected=rise,
                low=0.4 * rise,
                high=1.25 * rise,
                basis="losses and heatsink ±25 %; softer music, a cooler sink",
                customary=True,
                rests_on=("heat", "amplifier", "converter"),
            ),
            Reading(
                key="programme-current",
                name="battery current, averaged over a minute",
                where="clamp meter on the battery lead",
                dimension="current",
                expected=programme.battery_a,
                low=0.3 * programme.battery_a,
                high=1.4 * programme.battery_a,
                basis="music differs in crest factor far more than parts do",
                customary=True,
                rests_on=("supply", "amplifier", "converter"),
            ),
        ),
        causes=(
            Cause(
                sign="heatsink hotter than the window",
                cause="an insulator without paste, a loose clamp, or fins lying flat",
                remedy="compare the parts' own temperatures: the odd one is badly mounted",
                fault="heat-path-poor",
            ),
            Cause(
                sign="thermal trip within the hour",
                cause="no moving air round the sink, or a sine instead of music",
                remedy="see the time to trip on the heat page; that is normal with a sine",
            ),
            Cause(
                sign="transformer far hotter than the sink",
                cause="a shorted turn or a wrong core grade",
                remedy="back to the transformer's readings",
            ),
            Cause(
                sign="one capacitor warm",
                cause="it carries more ripple than its neighbours, or is reversed",
                remedy="replace it; check the joint of the others",
            ),
        ),
        stops=(
            f"Heatsink above {show(heat.trip_c, 'temperature')}, without a trip.",
            "Cable, fuse holder or terminal too hot to hold.",
        ),
    )
