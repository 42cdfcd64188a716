"""Rules on goal, driver, cabin and ears.

The box has files of its own (``acoustic_box``, ``acoustic_more``); importing this one registers all.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from subwright.base.quantities import words_of
from subwright.base.units import show
from subwright.build.findings import acoustic_box, acoustic_more  # noqa: F401  (registers the rules)
from subwright.build.findings.rule import Measure, Sense, rule
from subwright.build.result import Design
from subwright.physics.acoustics.exposure import a_weighting_db, allowed_time_s, c_weighting_db
from subwright.stages.common import Corner, Level

__all__ = [
    "cabin_modes",
    "coil_endless_sine",
    "coil_programme",
    "compression",
    "full_sine_power",
    "level_reached",
    "lowest_note_heard",
    "parameters_agree",
    "peak_level",
    "programme_power",
    "suits_the_box",
    "time_allowed",
]

Array = NDArray[np.float64]

_LEVEL_SLACK_DB = 0.5
_LOWEST_NOTE_DB = 10.0
_FULL_SINE_RATIO = 2.0
_COMPRESSION_DB = 3.0
_QTS_LEAST = 0.2
_QTS_MOST = {"sealed": 0.7, "vented": 0.5, "passive-radiator": 0.5, "band-pass": 0.6}
_DAY_DB = 85.0
_PEAK_DB = 137.0
_SINE_CREST_DB = 3.0103


@rule(
    "GOA-01",
    stage="goal",
    severity="warn",
    title="The level asked for is reached",
    what="Loudest sine at goal.spl_frequency, 1 m in half space, nominal battery, within every limit: "
    "excursion, coil heat, port air speed and amplifier.",
    why="A level that only holds until the cone meets its stops is not a level.",
    limit="goal.spl, with half a decibel of slack.",
    source="small-1972-direct",
    example="108 dB asked for at 50 Hz, 106.8 dB until the cone reaches xmax: not reached.",
    remedy="Take more or larger drivers (driver.count), a larger or vented box (enclosure.kind), or lower "
    "goal.spl.",
)
def level_reached(design: Design) -> Iterator[Measure]:
    """Measure the level in dB."""
    if design.goal.spl_db is None:
        return
    limits = design.enclosure.limits
    wanted_hz = design.goal.spl_frequency_hz
    nearest = int(np.argmin(np.abs(np.log(limits.frequency_hz / wanted_hz))))
    yield Measure(
        quantity="loudest level within all limits",
        value=_at(limits.frequency_hz, limits.level_db, wanted_hz),
        limit=design.goal.spl_db - _LEVEL_SLACK_DB,
        dimension="level",
        sense="at least",
        at=f"{show(wanted_hz, 'frequency')}, limited by {limits.limited_by[nearest]}",
    )


def _at(frequency_hz: Array, values: Array, wanted_hz: float) -> float:
    """Value at a frequency, by interpolation over log frequency."""
    return float(np.interp(np.log(wanted_hz), np.log(frequency_hz), values))


@rule(
    "GOA-02",
    stage="goal",
    severity="note",
    title="The lowest note is heard",
    what="Level of the lowest note, cabin gain included, below the passband.",
    why="A note that is played at full power and 20 dB down only heats the coil and moves the cone.",
    limit="10 dB below the passband; common practice, no source.",
    source="common-practice",
    example="A sealed box of f3 55 Hz is 10 dB down at 32 Hz; a van's cabin gives most of it back.",
    remedy="Take a larger or vented box (enclosure.volume, enclosure.kind), or raise goal.lowest_note.",
    near=0.1,
)
def lowest_note_heard(design: Design) -> Iterator[Measure]:
    """Measure the loss in dB."""
    box = design.enclosure
    note_hz = design.goal.lowest_note_hz
    gain_db = design.cabin.gain_at_db(box.frequency_hz)
    yield Measure(
        quantity="lowest note below the passband",
        value=max(box.passband_db - _at(box.frequency_hz, box.spl_db + gain_db, note_hz), 0.0),
        limit=_LOWEST_NOTE_DB,
        dimension="level",
        at=show(note_hz, "frequency"),
    )


@rule(
    "DRV-01",
    stage="driver",
    severity="warn",
    title="The driver's parameters agree with each other",
    what="Each stated parameter that the others contradict, by how much.",
    why="Data sheets mix samples, definitions and slips. A box built on a wrong one is wrong by as much.",
    limit="3 %.",
    source="small-1972-direct",
    example="Qms 5 and Qes 0.5 imply Qts 0.455; a sheet that says 0.50 is 10 % off.",
    remedy="Measure the driver and put the values into driver.fs, driver.qms, driver.qes and so on, or leave "
    "the suspect out so that it follows from the others.",
)
def parameters_agree(design: Design) -> Iterator[Measure]:
    """Measure the disagreement as a share."""
    for item in design.driver.inconsistencies:
        yield Measure(
            quantity=f"disagreement of the {words_of(item.quantity)}",
            value=abs(item.relative_difference),
            limit=design.driver.inconsistency_limit,
            dimension="share",
            remedy=item.message,
        )


@rule(
    "DRV-02",
    stage="driver",
    severity="warn",
    title="Programme power",
    what="Mean power of programme whose peaks just clip, at the nominal battery and while charging, against "
    "the driver's rated noise power.",
    why="The rating is a mean power of noise; what burns a coil is the mean, hour after hour.",
    limit="Rated noise power of the driver group.",
    source="iec-60268-5",
    example="180 W of sine with a crest factor of 9 dB are 45 W of programme: a 150 W driver is at ease.",
    remedy="Lower goal.power, state the true goal.crest_factor, or take more drivers (driver.count).",
    near=0.1,
)
def programme_power(design: Design) -> Iterator[Measure]:
    """Measure the power in W."""
    for corner in (Corner.NOMINAL, Corner.CHARGING):
        yield Measure(
            quantity="programme power into the driver",
            value=design.point(corner, Level.PROGRAMME).output_w,
            limit=design.driver.power_w,
            dimension="power",
            at=f"{corner.value} battery",
        )


@rule(
    "DRV-03",
    stage="driver",
    severity="note",
    title="Full sine power",
    what="Power of a sine at the onset of clipping, nominal battery, against twice the rated noise power.",
    why="The standard's noise has peaks of twice its rms voltage: an amplifier of twice the rated power "
    "passes them, a larger one can also burn.",
    limit="Twice the rated noise power: a crest factor of 6 dB against the sine's 3 dB.",
    source="iec-60268-5",
    example="A 100 W driver on 180 W of sine: within 200 W.",
    remedy="Lower goal.power, or take a stronger driver.",
)
def full_sine_power(design: Design) -> Iterator[Measure]:
    """Measure the power in W."""
    yield Measure(
        quantity="full sine power into the driver",
        value=design.point(Corner.NOMINAL, Level.FULL).output_w,
        limit=_FULL_SINE_RATIO * design.driver.power_w,
        dimension="power",
    )


@rule(
    "DRV-04",
    stage="driver",
    severity="stop",
    title="Voice coil with programme",
    what="Steady coil temperature with programme at the frequency that heats it most, magnet warmed through, "
    "in the hottest air.",
    why="Glue softens first, then the coil rubs, then it burns; in a stuffed box the smoke has nowhere to "
    "go.",
    limit="The coil's highest temperature, where the driver's data give it.",
    source="button-1992",
    example="45 W through 2.0 K/W in all are 90 K: 140 °C in 50 °C air, against 180 °C.",
    remedy="Lower goal.power, or take more drivers (driver.count).",
    near=0.1,
)
def coil_programme(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    heat, limit_c = design.enclosure.coil_programme, design.enclosure.coil_max_c
    if heat is not None and limit_c is not None:
        yield Measure(
            quantity="voice coil",
            value=heat.temperature_c,
            limit=limit_c,
            dimension="temperature",
            at=f"programme, {show(heat.frequency_hz, 'frequency')}",
        )


@rule(
    "DRV-05",
    stage="driver",
    severity="note",
    title="The driver suits the kind of box",
    what="Total Q of the driver behind amplifier and cable, against the range of its kind of box.",
    why="A high Q booms in any box that is not huge; a low one gives bass only to a vented box.",
    limit="0.2 to 0.7 for a sealed box, to 0.6 for a band-pass, to 0.5 for a vented or passive-radiator one.",
    source="small-1973-vented",
    example="Qts 0.45 with a Qtc of 0.707: the box has 0.68 of Vas. Qts 0.7 would need fifty times Vas.",
    remedy="Change enclosure.kind, or take another driver.",
    near=0.0,
)
def suits_the_box(design: Design) -> Iterator[Measure]:
    """Measure Q, dimensionless."""
    box = design.enclosure
    ranges: tuple[tuple[Sense, float], ...] = (("at most", _QTS_MOST[box.kind]), ("at least", _QTS_LEAST))
    for sense, limit in ranges:
        yield Measure(
            quantity=f"Qts in a {box.kind} box",
            value=box.qts_with_source,
            limit=limit,
            dimension="ratio",
            sense=sense,
        )


@rule(
    "DRV-06",
    stage="driver",
    severity="warn",
    title="Voice coil with a sine that never ends",
    what="Steady coil temperature with a continuous sine at the onset of clipping, at the frequency that "
    "heats it most.",
    why="A test tone left on, or an amplifier driven into clipping, does this. The thermal trip on the "
    "heatsink doesn't see it.",
    limit="The coil's highest temperature, where the driver's data give it.",
    source="button-1992",
    example="150 W through 2.0 K/W would be 300 K: the coil is gone in minutes.",
    remedy="Keep test tones to seconds; lower goal.power or take more drivers (driver.count) where it must "
    "be safe.",
)
def coil_endless_sine(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    heat, limit_c = design.enclosure.coil_full, design.enclosure.coil_max_c
    if heat is not None and limit_c is not None:
        yield Measure(
            quantity="voice coil",
            value=heat.temperature_c,
            limit=limit_c,
            dimension="temperature",
            at=f"endless full sine, {show(heat.frequency_hz, 'frequency')}",
        )


@rule(
    "DRV-07",
    stage="driver",
    severity="note",
    title="Power compression",
    what="Level lost with programme because the hot coil has a higher resistance.",
    why="Beyond a few decibels more power is heat only: the next driver gains more than the next hundred "
    "watts.",
    limit="3 dB; common practice, no source.",
    source="button-1992",
    example="A coil 130 K warmer has 1.5 times its resistance: 3.6 dB less.",
    remedy="Lower goal.power, or take more drivers (driver.count).",
)
def compression(design: Design) -> Iterator[Measure]:
    """Measure the loss in dB."""
    heat = design.enclosure.coil_programme
    if heat is not None:
        yield Measure(
            quantity="level lost to the hot coil",
            value=abs(heat.compression_db),
            limit=_COMPRESSION_DB,
            dimension="level",
            at="programme",
        )


@rule(
    "CAB-01",
    stage="cabin",
    severity="note",
    title="Cabin modes in the band",
    what="Lowest resonance of the closed cabin against the low-pass corner.",
    why="At a mode the level depends on the seat: loud at the bulkhead, gone in the middle.",
    limit="Low-pass corner.",
    source="beranek-mellow-2012",
    example="A cabin of 3.1 m has its first mode at 55 Hz, inside a band that ends at 80 Hz.",
    remedy="Move the box to a corner and try filter.phase_switch, or lower filter.corner below the mode.",
)
def cabin_modes(design: Design) -> Iterator[Measure]:
    """Measure the frequency in Hz."""
    if design.cabin.modes:
        lowest = design.cabin.modes[0]
        yield Measure(
            quantity="lowest cabin mode",
            value=lowest.frequency_hz,
            limit=design.filter.corner_hz,
            dimension="frequency",
            sense="at least",
            at=lowest.label,
        )


def _band(design: Design) -> NDArray[np.bool_]:
    """Where it plays: from the lowest note to the low-pass corner, at least one frequency."""
    frequency = design.enclosure.frequency_hz
    lowest = design.goal.lowest_note_hz
    return np.asarray((frequency >= lowest) & (frequency <= max(design.filter.corner_hz, 1.1 * lowest)))


@rule(
    "SND-01",
    stage="cabin",
    severity="note",
    title="How long ears may stay",
    what="A-weighted level of programme at full drive, cabin included (without a cabin: 1 m), at the loudest "
    "note of the band; and the time a day that it may last.",
    why="Hearing doesn't grow back. Bass sounds less loud than it is, and the weighting already allows for "
    "that: the other loudspeakers come on top.",
    limit="85 dB(A) for eight hours a day, halved for each 3 dB more.",
    source="niosh-98-126",
    example="112 dB of programme at 63 Hz are 86 dB(A): 6.6 hours; at 80 Hz they are 89 dB(A) and 2.8 hours.",
    remedy="Keep the level down or the time short, wear plugs at the bench, keep children away; lower "
    "goal.power.",
)
def time_allowed(design: Design) -> Iterator[Measure]:
    """Measure the A-weighted level in dB."""
    box, band = design.enclosure, _band(design)
    mean_db = box.full_cabin_spl_db[band] - (design.goal.crest_factor_db - _SINE_CREST_DB)
    heard_db = mean_db + a_weighting_db(box.frequency_hz[band])
    loudest = int(np.argmax(heard_db))
    level_db = float(heard_db[loudest])
    allowed = show(float(allowed_time_s(level_db)), "time", 2)
    note = show(float(box.frequency_hz[band][loudest]), "frequency")
    yield Measure(
        quantity="A-weighted level of programme at full drive",
        value=level_db,
        limit=_DAY_DB,
        dimension="level",
        at=f"{note}; {allowed} a day",
    )


@rule(
    "SND-02",
    stage="cabin",
    severity="warn",
    title="Peak level",
    what="C-weighted peak of a full sine, cabin included (without a cabin: 1 m), at the loudest note of the "
    "band.",
    why="Peaks harm at once, whatever the mean.",
    limit="137 dB(C), where the directive asks for hearing protection; 140 dB(C) is its limit.",
    source="eu-2003-10",
    example="A sine of 126 dB at 50 Hz has peaks of 129 dB, 128 dB(C).",
    remedy="Lower goal.power, and never work with the head at the box at full drive.",
)
def peak_level(design: Design) -> Iterator[Measure]:
    """Measure the C-weighted peak in dB."""
    box, band = design.enclosure, _band(design)
    peak_db = box.full_cabin_spl_db[band] + _SINE_CREST_DB + c_weighting_db(box.frequency_hz[band])
    yield Measure(
        quantity="C-weighted peak level at full drive",
        value=float(np.max(peak_db)),
        limit=_PEAK_DB,
        dimension="level",
        at="full sine",
    )
