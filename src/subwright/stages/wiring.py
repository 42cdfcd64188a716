"""Conductors inside the unit and to the driver: links, tracks, speaker cable, and where the fuse sits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.fields import Area, KelvinDifference, Length, Ratio, StageSpec, quantity
from subwright.base.standards import METRIC_WIRE, CableSize, cable, cables
from subwright.base.units import show
from subwright.physics.board import power_spacing_m, track_resistance_ohm, track_width_m
from subwright.physics.bounds import require
from subwright.physics.electrical import (
    COPPER_RESISTIVITY_20_OHM_M,
    cable_loop_resistance_ohm,
    conductor_resistance_ohm,
    preece_current_a,
)
from subwright.physics.surfaces import wire_current_a, wire_rise_k
from subwright.stages.common import Contributor, Loss, PartUse, Rating

__all__ = [
    "Conductor",
    "ConductorNeed",
    "SpeakerCable",
    "WiringDemand",
    "WiringResult",
    "WiringSpec",
    "choose_speaker_cable",
    "design_wiring",
]

Array = NDArray[np.float64]

_LINK_LEAST_M: Final = 0.5e-3  # thinner wire is awkward to solder as a power link; common practice
_MOST_PARALLEL: Final = 8
_PRACTICE_LINK_M: Final = 1.5e-3  # links at 150 to 200 W from 12 V, common practice
_SPEAKER_MOST_M2: Final = 16.1e-6  # 16 mm², the thickest that screw terminals of drivers take
_SPEAKER_RISE_K: Final = 20.0
_SPEAKER_WARM_C: Final = 60.0  # cable in a warm vehicle, for its resistance


class WiringSpec(StageSpec):
    """The builder's wishes for wires and tracks."""

    speaker_length_m: Length = quantity(
        "1 m", low="5 cm", high="20 m", why="One-way run from the amplifier to the driver terminals."
    )
    speaker_section_m2: Area | None = quantity(
        None, low="0.5 mm2", high="16 mm2", why="Copper section of the speaker cable; auto by its loss."
    )
    speaker_loss: Ratio = quantity(
        "2 %", low="0.1 %", high="10 %", why="Most that the speaker cable may take of the load's resistance."
    )
    copper_thickness_m: Length = quantity(
        "35 um", low="17 um", high="105 um", why="Copper on the board: 35 µm is one ounce per square foot."
    )
    track_rise_k: KelvinDifference = quantity(
        "20 K", low="5 K", high="60 K", why="Rise allowed for a track above the air around it."
    )
    track_limit_m: Length = quantity(
        "6 mm", low="1 mm", high="10 mm", why="A track that would have to be wider becomes a wire link."
    )
    link_length_m: Length = quantity(
        "80 mm", low="5 mm", high="1 m", why="Length of a link whose length nobody states."
    )
    link_rise_k: KelvinDifference = quantity(
        "30 K", low="5 K", high="80 K", why="Rise allowed for a wire link above the air around it."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ConductorNeed:
    """A conductor inside the unit.

    Attributes
    ----------
    name : "battery input", "primary half", "positive rail".
    rms_a, peak_a : full sine, A. programme_rms_a : with programme, A; idle_rms_a : A.
    length_m : m; None for the spec's usual length.
    voltage_v : highest voltage to its neighbours, V.
    count : how many alike.
    """

    name: str
    rms_a: float
    peak_a: float
    programme_rms_a: float = 0.0
    idle_rms_a: float = 0.0
    length_m: float | None = None
    voltage_v: float = 0.0
    count: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class WiringDemand:
    """Currents to carry, and the heat they are carried in.

    Attributes
    ----------
    conductors : inside the unit.
    speaker_rms_a, speaker_peak_a, speaker_programme_rms_a : A. load_ohm : ohm.
    ambient_c : air inside the unit, °C.
    fuse_a : supply fuse, A. fuse_distance_m, fuse_distance_sheathed_m : farthest place, m.
    """

    conductors: tuple[ConductorNeed, ...]
    speaker_rms_a: float
    speaker_peak_a: float
    speaker_programme_rms_a: float
    load_ohm: float
    ambient_c: float
    fuse_a: float
    fuse_distance_m: float
    fuse_distance_sheathed_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerCable:
    """The cable to the driver.

    Attributes
    ----------
    section_m2 : m². length_m : one way, m. resistance_ohm : out and return, warm, ohm.
    loss_ratio, loss_limit_ratio : over the load, and its limit. current_limit_a : what it carries, A.
    """

    section_m2: float
    length_m: float
    resistance_ohm: float
    loss_ratio: float
    loss_limit_ratio: float
    current_limit_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Conductor:
    """A conductor as chosen: a wire link always works; the track is what it would take instead.

    Attributes
    ----------
    name, count : as asked for. rms_a, peak_a, length_m : A and m.
    least_section_m2 : by heat, m². diameter_m, parallel : preferred wire and how many side by side.
    section_m2 : of all of them, m². rise_k, rise_limit_k : K. carries_a : at the limit, A.
    drop_v : at the peak current, V. loss_w : full sine, W. fusing_a : Preece, A.
    track_width_m : for the allowed rise, m; None past the chart. track_limit_m : m.
    track_loss_w : full sine, W, or None. spacing_m : to its neighbours, m.
    link_advised : whether a wire link should take the track's place.
    """

    name: str
    count: int
    rms_a: float
    peak_a: float
    length_m: float
    least_section_m2: float
    diameter_m: float
    parallel: int
    section_m2: float
    rise_k: float
    rise_limit_k: float
    carries_a: float
    drop_v: float
    loss_w: float
    fusing_a: float
    track_width_m: float | None
    track_limit_m: float
    track_loss_w: float | None
    spacing_m: float
    link_advised: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class WiringResult:
    """Every conductor, the speaker cable and the place of the fuse."""

    conductors: tuple[Conductor, ...]
    speaker: SpeakerCable
    fuse_position: str
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]


def choose_speaker_cable(spec: WiringSpec, load_ohm: float, rms_a: float = 0.0) -> SpeakerCable:
    """Choose the speaker cable by its share of the load, and by the current it carries.

    Parameters
    ----------
    spec : the wiring's spec. load_ohm : ohm. rms_a : full sine, A.

    Returns
    -------
    SpeakerCable : the thinnest listed section that holds both, or the stated one.

    Raises
    ------
    RangeError : a stated section is not listed. NoSolutionError : none up to 16 mm² will do.

    Source
    ------
    Resistance of flexible class 5 conductors [iec-60228], copper at 60 °C [iec-60028].
    """
    require("load impedance", load_ohm, "Ω", above=0.0)
    if spec.speaker_section_m2 is not None:
        return _speaker(spec, cable(spec.speaker_section_m2, "iec60228"), load_ohm)
    for row in cables("iec60228").values():
        found = _speaker(spec, row, load_ohm)
        if (
            row.section_m2 <= 16e-6
            and found.loss_ratio <= spec.speaker_loss
            and found.current_limit_a >= rms_a
        ):
            return found
    raise NoSolutionError(
        message="No usual speaker cable is thick enough for this run and load.",
        quantity="speaker cable loss",
        value=f"{spec.speaker_loss * 100:.2g} % of {show(load_ohm, 'resistance')} over "
        f"{show(spec.speaker_length_m, 'length')}",
        limit="16 mm² at most",
        source="iec-60228",
        remedy="Shorten wiring.speaker_length, raise wiring.speaker_loss, or use a load of higher impedance.",
    )


def _speaker(spec: WiringSpec, row: CableSize, load_ohm: float) -> SpeakerCable:
    ohm = cable_loop_resistance_ohm(spec.speaker_length_m, row.resistance_ohm_per_m, _SPEAKER_WARM_C)
    return SpeakerCable(
        section_m2=row.section_m2,
        length_m=spec.speaker_length_m,
        resistance_ohm=ohm,
        loss_ratio=ohm / load_ohm,
        loss_limit_ratio=spec.speaker_loss,
        current_limit_a=row.current_a if row.current_a is not None else _carries_a(row),
    )


@cache
def _carries_a(row: CableSize) -> float:
    """What a section without a listed rating carries, by the heat balance of its bare copper, A."""
    diameter = np.array([sqrt(4.0 * row.section_m2 / pi)])
    ohm_per_m = np.array([row.resistance_ohm_per_m])
    return float(wire_current_a(ohm_per_m, diameter, _SPEAKER_RISE_K, _SPEAKER_WARM_C)[0])


@cache
def _link_sizes() -> tuple[Array, Array, Array]:
    """(bare diameter, outer diameter, ohm per metre at 20 °C) of the preferred wires used as links."""
    rows = [w for w in METRIC_WIRE.values() if w.series == "R20" and w.conductor_m >= _LINK_LEAST_M]
    bare = np.array(sorted(w.conductor_m for w in rows))
    outer = np.array([w.grade2_m for w in sorted(rows, key=lambda w: w.conductor_m)])
    return bare, outer, COPPER_RESISTIVITY_20_OHM_M / (0.25 * pi * bare**2)


@cache
def _link_currents(rise_k: float, ambient_c: float) -> Array:
    """What each link size carries at a rise, A."""
    _, outer, ohm_per_m = _link_sizes()
    return wire_current_a(ohm_per_m, outer, rise_k, ambient_c)


def design_wiring(spec: WiringSpec, demand: WiringDemand) -> WiringResult:
    """Size links and tracks for their heat, choose the speaker cable, and place the fuse.

    Parameters
    ----------
    spec : the wiring's spec. demand : currents and surroundings.

    Returns
    -------
    WiringResult.

    Raises
    ------
    RangeError : a current is not a positive number, or the air is too hot.
    NoSolutionError : no link of eight thick wires carries a current.

    Source
    ------
    Wires: heat balance with [churchill-chu1975], sizes [iec-60317-0-1], fusing [brooks-preece]; tracks
    [ipc-2221]; spacing [ipc-9592]; fuse [abyc-e11].
    """
    require("air temperature inside the unit", demand.ambient_c, "°C", at_least=-40.0, at_most=100.0)
    sized = [_size(spec, need, demand.ambient_c) for need in demand.conductors]
    bare, outer, ohm_per_m = _link_sizes()
    pick = np.array([k for k, _, _ in sized], dtype=int)
    each_a = np.array(
        [need.rms_a / n for need, (_, n, _) in zip(demand.conductors, sized, strict=True)], dtype=float
    )
    rises = wire_rise_k(each_a, ohm_per_m[pick], outer[pick], demand.ambient_c) if sized else np.zeros(0)
    conductors = tuple(
        _conductor(spec, need, float(bare[k]), n, carries, float(rise), demand.ambient_c)
        for need, (k, n, carries), rise in zip(demand.conductors, sized, rises, strict=True)
    )
    speaker = choose_speaker_cable(spec, demand.load_ohm, demand.speaker_rms_a)
    position = (
        f"{demand.fuse_a:g} A fuse at the battery's positive pole, within "
        f"{demand.fuse_distance_m * 1e3:.0f} mm along the wire "
        f"({demand.fuse_distance_sheathed_m:.2f} m where the wire is sheathed); "
        "nothing else between pole and fuse."
    )
    return WiringResult(
        conductors=conductors,
        speaker=speaker,
        fuse_position=position,
        parts=_parts(conductors, speaker, demand),
        losses=_losses(demand, conductors, speaker),
        contributors=(),
        sources=(
            "iec-60028",
            "iec-60228",
            "iec-60317-0-1",
            "churchill-chu1975",
            "brooks-preece",
            "ipc-2221",
            "ipc-9592",
            "abyc-e11",
        ),
        reasons=_reasons(spec, conductors, speaker, position),
    )


def _size(spec: WiringSpec, need: ConductorNeed, ambient_c: float) -> tuple[int, int, float]:
    """(index of the wire size, wires side by side, current that the link carries)."""
    for name, amps in (("rms", need.rms_a), ("peak", need.peak_a)):
        require(f"{name} current of {need.name}", amps, "A", above=0.0)
    carries = _link_currents(spec.link_rise_k, ambient_c)
    for parallel in range(1, _MOST_PARALLEL + 1):
        index = int(np.searchsorted(carries * parallel, need.rms_a))
        if index < len(carries):
            return index, parallel, float(carries[index]) * parallel
    raise NoSolutionError(
        message=f"No bundle of wires carries the current of {need.name} with this rise.",
        quantity="rms current",
        value=show(need.rms_a, "current"),
        limit=show(float(carries[-1]) * _MOST_PARALLEL, "current"),
        source="churchill-chu1975",
        remedy="Use a copper bar, allow wiring.link_rise to be higher, or raise the battery voltage.",
    )


def _conductor(
    spec: WiringSpec,
    need: ConductorNeed,
    diameter_m: float,
    parallel: int,
    carries_a: float,
    rise_k: float,
    ambient_c: float,
) -> Conductor:
    length_m = need.length_m if need.length_m is not None else spec.link_length_m
    section = 0.25 * pi * diameter_m**2 * parallel
    ohm = conductor_resistance_ohm(length_m, section, ambient_c + rise_k)
    track_m: float | None
    track_w: float | None
    try:
        track_m = track_width_m(need.rms_a, spec.track_rise_k, spec.copper_thickness_m)
        track_ohm = track_resistance_ohm(
            length_m, track_m, spec.copper_thickness_m, ambient_c + spec.track_rise_k
        )
        track_w = need.rms_a**2 * track_ohm
    except RangeError:  # off the chart: no track can be named, so the link is the answer
        track_m = track_w = None
    return Conductor(
        name=need.name,
        count=need.count,
        rms_a=need.rms_a,
        peak_a=need.peak_a,
        length_m=length_m,
        # Heat goes with I²/A and leaves through about sqrt(A): what is needed falls short of the choice.
        least_section_m2=section * (need.rms_a / carries_a) ** (4.0 / 3.0),
        diameter_m=diameter_m,
        parallel=parallel,
        section_m2=section,
        rise_k=rise_k,
        rise_limit_k=spec.link_rise_k,
        carries_a=carries_a,
        drop_v=need.peak_a * ohm,
        loss_w=need.rms_a**2 * ohm,
        fusing_a=preece_current_a(diameter_m) * parallel,
        track_width_m=track_m,
        track_limit_m=spec.track_limit_m,
        track_loss_w=track_w,
        spacing_m=power_spacing_m(need.voltage_v),
        link_advised=track_m is None or track_m > spec.track_limit_m,
    )


def _wire(c: Conductor) -> str:
    one = f"{c.diameter_m * 1e3:g} mm"
    return one if c.parallel == 1 else f"{c.parallel} × {one}, kept apart"


def _parts(
    conductors: tuple[Conductor, ...], speaker: SpeakerCable, demand: WiringDemand
) -> tuple[PartUse, ...]:
    uses = [
        PartUse(
            role=f"link, {c.name}",
            letter="W",
            part_id=f"wire {c.diameter_m * 1e3:g} mm",
            description=f"copper wire {c.diameter_m * 1e3:g} mm, grade 2 enamel",
            quantity=c.length_m * c.parallel * c.count,
            unit="m",
            value=_wire(c),
            ratings=(
                Rating(quantity="rms current", unit="A", applied=c.rms_a, limit=c.carries_a, at="full sine"),
            ),
            provenance="IEC 60317-0-1 size",
        )
        for c in conductors
        if c.link_advised
    ]
    section = f"{speaker.section_m2 * 1e6:g} mm²"
    uses.append(
        PartUse(
            role="speaker cable",
            letter="W",
            part_id=f"iec60228-{section}",
            description=f"two-core flexible class 5 cable, copper, {section}",
            quantity=speaker.length_m,
            unit="m",
            value=f"2 × {section}",
            ratings=(
                Rating(
                    quantity="rms current",
                    unit="A",
                    applied=demand.speaker_rms_a,
                    limit=speaker.current_limit_a,
                    at="full sine",
                ),
            ),
            provenance="IEC 60228 size",
        )
    )
    return tuple(uses)


def _losses(
    demand: WiringDemand, conductors: tuple[Conductor, ...], speaker: SpeakerCable
) -> tuple[Loss, ...]:
    """Heat of the links; the speaker cable's is part of the amplifier's loss model and not repeated."""
    return tuple(
        Loss(
            where=f"link, {need.name}",
            full_w=c.loss_w * c.count,
            programme_w=c.loss_w * c.count * (need.programme_rms_a / need.rms_a) ** 2,
            idle_w=c.loss_w * c.count * (need.idle_rms_a / need.rms_a) ** 2,
        )
        for need, c in zip(demand.conductors, conductors, strict=True)
    )


def _reasons(
    spec: WiringSpec, conductors: tuple[Conductor, ...], speaker: SpeakerCable, position: str
) -> tuple[str, ...]:
    lines = []
    for c in conductors:
        wire = _wire(c)
        if c.link_advised:
            width = "wider than the chart goes"
            if c.track_width_m is not None:
                width = show(c.track_width_m, "length") + " wide"
            lines.append(
                f"{c.name}: use a wire link of {wire} ({c.rms_a:.1f} A, {c.rise_k:.0f} K above the air); "
                f"a track would have to be {width}."
            )
        else:
            lines.append(
                f"{c.name}: a track of {show(c.track_width_m or 0.0, 'length')} carries {c.rms_a:.1f} A with "
                f"{spec.track_rise_k:.0f} K; a {wire} link would do as well."
            )
    if any(c.link_advised and c.diameter_m < _PRACTICE_LINK_M and c.parallel == 1 for c in conductors):
        lines.append(
            "Links of at least 1.5 mm are the habit at 150 to 200 W from 12 V (common practice, no source); "
            "the diameters here follow from the heat."
        )
    lines.append(
        f"Speaker cable 2 × {speaker.section_m2 * 1e6:g} mm²: {speaker.loss_ratio * 100:.1f} % of the load."
    )
    lines.append(position)
    return tuple(lines)
