"""Loudspeaker protection: a detector of direct voltage, and a relay or MOSFETs that part the driver from it.

The detector has to tell a stuck output from the lowest note: a low-pass whose filtered bass stays below a
transistor's threshold, and whose answer to the whole rail is still quick against the coil's heat.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import log
from typing import Final, TypeAlias

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet, Relay
from subwright.stages.common import Corner, remembered
from subwright.stages.speaker_guard_bill import guard_parts
from subwright.stages.speaker_guard_detector import design_detector
from subwright.stages.speaker_guard_records import (
    DcDetector,
    SpeakerGuardInput,
    SpeakerGuardResult,
    SpeakerGuardSpec,
    SpeakerRelay,
    SpeakerSwitch,
    SwitchDrive,
)

__all__ = [
    "SpeakerGuardInput",
    "SpeakerGuardResult",
    "SpeakerGuardSpec",
    "choose_speaker_switch",
    "design_speaker_guard",
]

Parting: TypeAlias = SpeakerRelay | SpeakerSwitch | None

_BASE_V: Final = 0.65  # silicon transistor at 20 °C; common practice
_FORCED_GAIN: Final = 40.0  # of the driver; common practice
_TIMER_SINK_A: Final = 5e-3  # what the timer's comparator takes from its base, of the 6 mA that it sinks
_FLYBACK_V: Final = 0.7
_LIGHT_V: Final = 1.35  # light-emitting diode of a photovoltaic driver at 10 mA; from memory
_LIGHT_A: Final = 8e-3  # at the lowest battery; from memory
_SATURATED_V: Final = 0.2
_COPPER_PER_K: Final = 0.00393
_RELAY_COIL_C: Final = 85.0  # coil in the hottest box, warmed by itself; common practice
_GATE_V: Final = 12.0  # two photovoltaic drivers in series
_GATE_OPEN_S: Final = 2e-3  # their built-in shunt empties the gates; from memory
_LOAD_SHARE: Final = 0.01  # of the load's resistance that the switch may take; common practice
_VOLTAGE_RESERVE: Final = 1.2
_SPARE_K: Final = 25.0
_MOST: Final = 4
_RESISTOR_W: Final = 2.0


def choose_speaker_switch(spec: SpeakerGuardSpec, data: SpeakerGuardInput, library: Library) -> Parting:
    """What parts the driver from a stuck output; its resistance belongs to the path of the load.

    Parameters
    ----------
    spec : the builder's wishes. data : amplifier, driver and battery. library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no relay or MOSFET serves the kind asked for.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    needed = data.stuck_w > data.power_w
    relay: SpeakerRelay | None = None
    if spec.switch in ("auto", "relay") and (needed or spec.switch == "relay"):
        relay = _relay(spec, data, library)
    if spec.switch == "mosfet" or (spec.switch == "auto" and needed and not _breaks(relay)):
        return _switch(spec, data, library)
    return relay


@remembered
def design_speaker_guard(
    spec: SpeakerGuardSpec, data: SpeakerGuardInput, library: Library, chosen: Parting
) -> SpeakerGuardResult:
    """Design the detector for the switch chosen, and rate the switch for the design as it stands.

    Parameters
    ----------
    spec : the builder's wishes. data : amplifier, driver and battery. library : parts with the drawer merged.
    chosen : by :func:`choose_speaker_switch`, perhaps from expected figures: part and number stay.

    Raises
    ------
    NoSolutionError : no relay or MOSFET serves the kind asked for.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    needed = data.stuck_w > data.power_w
    relay: SpeakerRelay | None = None
    switch: SpeakerSwitch | None = None
    if isinstance(chosen, SpeakerRelay):
        relay = _relay_fit(library.relay(chosen.relay), spec, data)
    elif chosen is not None:
        switch = _switch_fit(library.mosfet(chosen.mosfet), chosen.per_side, data)
    if relay is None and switch is None:
        return SpeakerGuardResult(
            kind="none",
            fitted=False,
            needed=needed,
            detector=None,
            drive=None,
            relay=None,
            switch=None,
            resistance_ohm=0.0,
            total_s=0.0,
            coil_heat_j=0.0,
            coil_limit_j=_coil_limit_j(data),
            parts=(),
            losses=(),
            contributors=(),
            sources=("common-practice",),
            reasons=(
                "No direct-voltage protection: "
                + (
                    "the build file says so."
                    if spec.switch == "none"
                    else f"a stuck output heats the coil with {show(data.stuck_w, 'power')}, which it stands."
                ),
            ),
        )
    drive = _drive(spec, data, relay, library)
    if relay is not None:
        relay = _with_release(relay, drive.zener_v)
    detector = design_detector(spec, data, drive, library)
    total = detector.trip_latest_s + (relay.open_s if relay else switch.open_s if switch else 0.0)
    return SpeakerGuardResult(
        kind="relay" if relay else "mosfet",
        fitted=True,
        needed=needed,
        detector=detector,
        drive=drive,
        relay=relay,
        switch=switch,
        resistance_ohm=relay.resistance_ohm if relay else switch.resistance_ohm if switch else 0.0,
        total_s=total,
        coil_heat_j=data.stuck_v**2 / data.re_ohm * total,
        coil_limit_j=_coil_limit_j(data),
        parts=guard_parts(detector, drive, relay, switch, data, library),
        losses=(),  # the switch's heat is the speaker lead's: its resistance stands in the load's path
        contributors=(),
        sources=("common-practice", "derived", "relay-rating-note"),
        reasons=tuple(_reasons(data, detector, relay, switch, total)),
    )


def _breaks(relay: SpeakerRelay | None) -> bool:
    return relay is not None and (relay.contact == "grounded" or relay.breaks_a >= relay.breaks_needed_a)


def _coil_limit_j(data: SpeakerGuardInput) -> float | None:
    if data.coil_j_per_k is None or data.coil_max_c is None:
        return None
    return max(0.0, data.coil_max_c - data.coil_start_c) * data.coil_j_per_k


def _relay(spec: SpeakerGuardSpec, data: SpeakerGuardInput, library: Library) -> SpeakerRelay | None:
    nominal = data.corners[Corner.NOMINAL]
    if spec.relay != "auto":
        candidates = [library.relay(spec.relay)]
    else:
        candidates = [
            r
            for r in library.relays.values()
            if r.contact_a >= data.rms_a
            and r.nominal_v <= 1.1 * nominal
            and (spec.contact == "series" or r.changeover)
        ]
    if not candidates:
        if spec.switch == "auto":
            return None
        raise NoSolutionError(
            message="No relay carries the loudspeaker's current.",
            quantity="relay contact",
            value=show(data.rms_a, "current"),
            remedy='Set speaker_guard.switch = "mosfet", or add a relay to your drawer file.',
        )

    def rank(pair: tuple[Relay, SpeakerRelay]) -> tuple[bool, bool, bool, bool, float, str]:
        part, found = pair
        return (
            not _breaks(found),
            found.coil_low_v < found.pull_in_v or found.coil_high_v > found.coil_limit_v,
            library.in_drawer(part.id) == 0,
            found.dropper_ohm is not None,
            part.contact_a,
            part.id,
        )

    return min(((part, _relay_fit(part, spec, data)) for part in candidates), key=rank)[1]


def _relay_fit(part: Relay, spec: SpeakerGuardSpec, data: SpeakerGuardInput) -> SpeakerRelay:
    nominal, highest = data.corners[Corner.NOMINAL], data.corners[Corner.MAX]
    lowest = data.corners[Corner.LOW] - data.sag_v
    hot = 1.0 + _COPPER_PER_K * (_RELAY_COIL_C - 20.0)
    dropper: float | None = None
    if highest > part.coil_max_v:
        # As much as pulls in at the low corner: the hot coil needs more, and the dropper takes its share.
        most = part.coil_ohm * max(lowest / part.pull_in_v - hot, 0.0)
        wanted = part.coil_ohm * (highest / part.coil_max_v - 1.0)
        dropper = at_least(wanted, "E12") if wanted <= most else at_most(max(most, 1.0), "E12")
    series = dropper or 0.0
    current = nominal / (part.coil_ohm + series)
    worst = highest / (part.coil_ohm + series)
    return SpeakerRelay(
        relay=part.id,
        contact=spec.contact,
        breaks_a=part.breaks_a(data.stuck_v),
        breaks_needed_a=data.stuck_a,
        contact_a=part.contact_a,
        carries_a=data.rms_a,
        coil_a=current,
        dropper_ohm=dropper,
        dropper_w=worst**2 * series,
        coil_low_v=lowest * hot * part.coil_ohm / (hot * part.coil_ohm + series),
        pull_in_v=part.pull_in_v * hot,
        coil_high_v=highest * part.coil_ohm / (part.coil_ohm + series),
        coil_limit_v=part.coil_max_v,
        resistance_ohm=part.closed_ohm,
        loss_w=data.rms_a**2 * part.closed_ohm,
        coil_ohm=part.coil_ohm,
        coil_h=part.coil_time_s * part.coil_ohm,
        drop_out_v=part.drop_out_v,
        decay_s=0.0,
        open_s=part.release_s,
    )


def _with_release(relay: SpeakerRelay, zener_v: float) -> SpeakerRelay:
    """With the time in which the coil's current dies through its diode, and its zener where there is one.

    ``t = L/R ln((V + Vc)/(Vd + Vc))`` from the coil's highest voltage to the one at which it may still hold,
    against diode and zener. [derived]
    """
    against = _FLYBACK_V + zener_v
    ratio = (relay.coil_high_v + against) / (relay.drop_out_v + against)
    decay = relay.coil_h / relay.coil_ohm * log(ratio)
    return replace(relay, decay_s=decay, open_s=relay.open_s + decay)


def _drive(
    spec: SpeakerGuardSpec, data: SpeakerGuardInput, relay: SpeakerRelay | None, library: Library
) -> SwitchDrive:
    """The transistor that switches coil or light, its base resistor, and the zener of a quick release.

    Raises
    ------
    NoSolutionError : no transistor stands the control supply.
    """
    nominal, highest = data.corners[Corner.NOMINAL], data.corners[Corner.MAX]
    lowest = data.corners[Corner.LOW] - data.sag_v
    pulse_v = max(highest, data.highest_v)
    light_ohm, light_w = 0.0, 0.0
    if relay is None:
        light_ohm = at_most((lowest - 2.0 * _LIGHT_V - _SATURATED_V) / _LIGHT_A, "E12")
        light_w = (highest - 2.0 * _LIGHT_V) ** 2 / light_ohm
        load_a = (nominal - 2.0 * _LIGHT_V) / light_ohm
        most_a = (highest - 2.0 * _LIGHT_V) / light_ohm
    else:
        load_a, most_a = relay.coil_a, relay.coil_a * highest / nominal
    quick = relay is not None and spec.release == "quick"
    least_zener = nominal if quick else 0.0
    fits = [
        t
        for t in library.transistors.values()
        if t.polarity == "npn"
        and t.ic_a >= 2.0 * most_a
        and t.hfe_min >= 2.0 * _FORCED_GAIN
        and t.vceo_v >= 1.1 * max(pulse_v, highest + least_zener)
    ] or [
        t
        for t in library.transistors.values()
        if t.polarity == "npn"
        and t.ic_a >= 2.0 * most_a
        and t.vceo_v >= 1.1 * max(pulse_v, highest + least_zener)
    ]
    if not fits:
        raise NoSolutionError(
            message="No NPN transistor switches the loudspeaker's relay or gate drivers.",
            quantity="collector-emitter voltage",
            value=show(1.1 * max(pulse_v, highest + least_zener), "voltage"),
            remedy='Add one to your drawer file, or set speaker_guard.release = "plain".',
        )
    driver = min(fits, key=lambda t: (library.in_drawer(t.id) == 0, t.ic_a, t.vceo_v, t.id))
    zener, zener_v, zener_high_v = "", 0.0, 0.0
    if quick:
        room = driver.vceo_v / 1.1 - highest - _FLYBACK_V
        zeners = [z for z in library.zeners.values() if z.vz_v * (1 + z.tolerance) <= room]
        if zeners:
            best = min(
                zeners, key=lambda z: (library.in_drawer(z.id) == 0, abs(z.vz_v - 2.0 * nominal), z.id)
            )
            zener, zener_v, zener_high_v = best.id, best.vz_v, best.vz_v * (1 + best.tolerance)
    gain = min(_FORCED_GAIN, 0.5 * driver.hfe_min)
    base = max(at_most((lowest - _BASE_V) / (load_a / gain), "E12"), at_least(highest / _TIMER_SINK_A, "E12"))
    return SwitchDrive(
        transistor=driver.id,
        base_ohm=base,
        load_a=load_a,
        sink_a=(nominal - _BASE_V) / base,
        stress_v=max(pulse_v, highest + zener_high_v + (0.0 if relay is None else _FLYBACK_V)),
        limit_v=driver.vceo_v,
        zener=zener,
        zener_v=zener_v,
        light_ohm=light_ohm,
        light_w=light_w,
    )


def _switch(spec: SpeakerGuardSpec, data: SpeakerGuardInput, library: Library) -> SpeakerSwitch:
    if spec.mosfet != "auto":
        candidates = [library.mosfet(spec.mosfet)]
    else:
        candidates = [
            m
            for m in library.mosfets.values()
            if m.channel == "n" and m.vds_v >= _VOLTAGE_RESERVE * data.stuck_v and m.vgs_max_v > _GATE_V
        ]

    fits = [
        found
        for part in candidates
        for count in range(1, _MOST + 1)
        if (found := _switch_fit(part, count, data)).junction_c <= found.junction_limit_c - _SPARE_K
    ]
    if not fits:
        raise NoSolutionError(
            message="No pair of MOSFETs carries the loudspeaker's current without a heatsink.",
            quantity="speaker switch",
            value=show(data.rms_a, "current"),
            limit=show(data.stuck_v, "voltage"),
            remedy="Name a larger speaker_guard.mosfet, or lower goal.power.",
        )
    return min(
        fits,
        key=lambda s: (
            s.coil_j > s.avalanche_limit_j > 0,
            s.resistance_ohm > _LOAD_SHARE * data.stuck_v / data.stuck_a,
            library.in_drawer(s.mosfet) < 2 * s.per_side,
            s.per_side,
            s.rating_v,
            s.resistance_ohm,
            s.mosfet,
        ),
    )


def _switch_fit(part: Mosfet, count: int, data: SpeakerGuardInput) -> SpeakerSwitch:
    each = part.rds_on_ohm * part.rds_hot_ratio
    heat = (data.rms_a / count) ** 2 * each
    return SpeakerSwitch(
        mosfet=part.id,
        per_side=count,
        resistance_ohm=2.0 * each / count,
        loss_w=2.0 * count * heat,
        junction_c=data.ambient_c + heat * part.rth_ja_k_per_w,
        junction_limit_c=part.tj_max_c,
        blocks_v=data.stuck_v,
        rating_v=part.vds_v,
        coil_j=0.5 * (data.le_h or 0.0) * data.stuck_a**2,
        avalanche_limit_j=part.eas_j or 0.0,
        gate_v=_GATE_V,
        gate_limit_v=part.vgs_max_v,
        open_s=_GATE_OPEN_S,
    )


def _reasons(
    data: SpeakerGuardInput,
    detector: DcDetector,
    relay: SpeakerRelay | None,
    switch: SpeakerSwitch | None,
    total_s: float,
) -> Iterator[str]:
    yield (
        f"Detector: trips at +{show(detector.threshold_v, 'voltage')} and "
        f"−{show(detector.negative_v, 'voltage')}; {show(detector.resistor_ohm, 'resistance')} and "
        f"{show(detector.capacitor_f, 'capacitance')} "
        f"leave {show(detector.bass_v, 'voltage')} of the lowest note at full output, below the "
        f"{show(detector.threshold_low_v, 'voltage')} of a hot transistor, and trip "
        f"{show(detector.trip_latest_s, 'time')} after the output sticks at {show(data.stuck_v, 'voltage')}."
    )
    if relay is not None:
        yield (
            f"Relay: {relay.relay} breaks {show(relay.breaks_a, 'current')} of direct current at that "
            "voltage; "
            f"{show(relay.breaks_needed_a, 'current')} would flow."
        )
        if relay.contact == "grounded":
            yield (
                "Its rest contact is grounded: an arc runs to ground, shorts the stuck output and blows the "
                "fuse instead of burning on through the driver (common practice)."
            )
    if switch is not None:
        yield (
            f"Two times {switch.per_side} × {switch.mosfet} back to back: no relay at hand breaks "
            f"{show(data.stuck_a, 'current')} of direct current at {show(data.stuck_v, 'voltage')}, or "
            "MOSFETs "
            "are asked for; silicon has no arc. Drive: two photovoltaic gate drivers in series."
        )
    yield f"The lead is open {show(total_s, 'time')} after the fault at the latest."
