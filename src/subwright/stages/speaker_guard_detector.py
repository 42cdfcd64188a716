"""The detector of direct voltage: its low-pass, its thresholds of either polarity, and how soon it acts."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi, sqrt
from typing import Final, Literal

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Transistor
from subwright.physics.junctions import JUNCTION_COLD_V, JUNCTION_HOT_V, base_emitter_v
from subwright.physics.rc_timing import rc_dc_detect_time_s
from subwright.stages.common import Corner
from subwright.stages.speaker_guard_records import (
    DcDetector,
    SpeakerGuardInput,
    SpeakerGuardSpec,
    SwitchDrive,
)

__all__ = ["CAPACITOR", "NPN_GAIN", "PNP_GAIN", "RESISTOR", "design_detector", "small_transistor"]

NPN_GAIN: Final = 290.0  # of a small NPN, typical; common practice
_GAIN_LEAST: Final = 110.0  # at some microamperes, cold
PNP_GAIN: Final = 250.0
_LEAST_V: Final = 0.50  # what the lowest note must stay below, hot
RESISTOR: Final = 0.05
CAPACITOR: Final = 0.20  # two electrolytics back to back
_COUPLE_OHM: Final = 47e3
_DOWN_OHM: Final = 47e3
_PULLS_OHM: Final = (22e3, 270e3)
_RESERVE: Final = 1.1


@dataclass(frozen=True, kw_only=True, slots=True)
class _Thresholds:
    """Of one pull resistor: both polarities at room temperature, and the extremes of both, V.

    ``positive_node_v``, ``negative_node_v``, ``high_node_v`` : the same behind the low-pass, where a stuck
    output brings current enough.
    """

    positive_v: float
    negative_v: float
    low_v: float
    high_v: float
    positive_node_v: float
    negative_node_v: float
    high_node_v: float


def small_transistor(library: Library, polarity: Literal["npn", "pnp"], volts: float) -> Transistor:
    """The smallest transistor that stands a voltage, V.

    Raises
    ------
    NoSolutionError : there is none.
    """
    fits = [
        t for t in library.transistors.values() if t.polarity == polarity and t.vceo_v >= _RESERVE * volts
    ]
    if not fits:
        raise NoSolutionError(
            message=f"No {polarity.upper()} transistor stands the detector's supply.",
            quantity="collector-emitter voltage",
            value=show(_RESERVE * volts, "voltage"),
            remedy="Add one to your drawer file with the values from its sheet.",
        )
    return min(fits, key=lambda t: (library.in_drawer(t.id) == 0, t.ic_a, t.vceo_v, t.id))


def _through_pnp(sink_a: float, pull_ohm: float, shift_v: float, gain: float) -> float:
    """Current that the low-pass must give until PNP and third transistor take the base current away, A.

    ``shift_v`` moves every junction, V.
    """
    third_a = sink_a / gain + (base_emitter_v(sink_a) + shift_v) / _DOWN_OHM
    return (base_emitter_v(third_a) + shift_v) / pull_ohm + third_a / PNP_GAIN


def _thresholds(
    sink_a: float, sink_most_a: float, resistor_ohm: float, pull_ohm: float, floating: bool
) -> _Thresholds:
    """Direct voltages that trip the detector.

    Positive: a junction and the base current's drop. Through the PNP: a junction at that current and its drop
    in the resistor that the emitter hangs on. [derived]
    """
    leg_ohm = 0.5 * resistor_ohm if floating else resistor_ohm

    def indirect(sink: float, shift: float, gain: float, spread: float) -> tuple[float, float]:
        current = _through_pnp(sink, pull_ohm, shift, gain)
        node = base_emitter_v(current) + shift
        return node, node + current * spread * leg_ohm

    def direct(sink: float, shift: float, gain: float, spread: float) -> tuple[float, float]:
        node = base_emitter_v(sink) + shift
        return node, node + sink / gain * spread * leg_ohm

    ways = (indirect,) if floating else (direct, indirect)
    nominal = [way(sink_a, 0.0, NPN_GAIN, 1.0) for way in ways]
    low = [way(sink_a, JUNCTION_HOT_V, 4.0 * NPN_GAIN, 1 - RESISTOR) for way in ways]
    high = [way(sink_most_a, JUNCTION_COLD_V, _GAIN_LEAST, (1 + RESISTOR) ** 2) for way in ways]
    return _Thresholds(
        positive_v=nominal[0][1],
        negative_v=nominal[-1][1],
        low_v=min(volts for _, volts in low),
        high_v=max(volts for _, volts in high),
        positive_node_v=nominal[0][0],
        negative_node_v=nominal[-1][0],
        high_node_v=max(node for node, _ in high),
    )


def _alike(
    sink_a: float, most_a: float, resistor_ohm: float, floating: bool, aim_v: float
) -> tuple[float, _Thresholds]:
    """Pull resistor that makes both polarities alike, and neither so early that the lowest note reaches it.

    Where none keeps clear of it, the one that comes nearest to the aim; a rule then tells.
    """
    leg_ohm = 0.5 * resistor_ohm if floating else resistor_ohm

    def miss(pull_ohm: float) -> float:
        current = _through_pnp(sink_a, pull_ohm, 0.0, NPN_GAIN)
        return abs(base_emitter_v(current) + current * leg_ohm - aim_v)

    ranked = sorted((float(ohm) for ohm in between(*_PULLS_OHM, "E12")), key=miss)
    nearest: _Thresholds | None = None
    for ohm in ranked:
        found = _thresholds(sink_a, most_a, resistor_ohm, ohm, floating)
        if found.low_v >= _LEAST_V:
            return ohm, found
        nearest = nearest or found
    return ranked[0], nearest or _thresholds(sink_a, most_a, resistor_ohm, ranked[0], floating)


def design_detector(
    spec: SpeakerGuardSpec, data: SpeakerGuardInput, drive: SwitchDrive, library: Library
) -> DcDetector:
    """The quickest preferred low-pass that leaves the lowest note alone with the worst parts.

    Parameters
    ----------
    spec : the builder's wishes. data : amplifier, driver and battery. drive : whose base current it takes.
    library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no usual capacitor is slow enough, or so small a voltage never reaches the threshold.
    """
    omega = 2.0 * pi * data.lowest_note_hz
    # A note that begins at its zero crossing reaches twice its steady amplitude in its first half wave.
    wanted = sqrt(max((2.0 * spec.bass_margin * data.peak_v / _LEAST_V) ** 2 - 1.0, 1.0)) / omega
    slow = wanted / ((1.0 - RESISTOR) * (1.0 - CAPACITOR))
    legs: Literal[1, 2] = 2 if data.floating else 1
    fits = []
    for c in between(1e-6, 100e-6, "E6"):
        if 15e3 < slow / c <= 100e3:
            r = legs * at_least(slow / c / legs, "E12")
            if 22e3 <= r <= 100e3:
                fits.append((float(r * c), r, float(c)))
    if not fits:
        raise NoSolutionError(
            message="No usual capacitor makes a detector of direct voltage slow enough for the lowest note.",
            quantity="time constant",
            value=show(slow, "time"),
            limit=show(100e3 * 100e-6, "time"),
            remedy="Raise goal.lowest_note, or lower speaker_guard.bass_margin.",
        )
    tau, resistor, capacitor = min(fits, key=lambda f: (round(f[0] / slow, 1), f[2]))
    most_a = (data.corners[Corner.MAX] - base_emitter_v(drive.sink_a)) / drive.base_ohm
    aim = base_emitter_v(drive.sink_a) + drive.sink_a / NPN_GAIN * resistor / legs
    pull, found = _alike(drive.sink_a, most_a, resistor, data.floating, aim)
    if data.stuck_v <= found.high_v:
        raise NoSolutionError(
            message="The stuck output never reaches the detector's threshold.",
            quantity="stuck output",
            value=show(data.stuck_v, "voltage"),
            limit=show(found.high_v, "voltage"),
            remedy='Set speaker_guard.switch = "none": so small a direct voltage is harmless.',
        )
    low_tau = (1.0 - RESISTOR) * (1.0 - CAPACITOR) * tau
    supply_v = max(data.outputs_v, data.highest_v, data.corners[Corner.MAX])
    stands_v = supply_v + (data.stuck_v if data.floating and data.outputs_v == 0.0 else 0.0)
    slower_v = max(found.positive_node_v, found.negative_node_v)
    return DcDetector(
        resistor_ohm=resistor,
        resistors=legs,
        capacitor_f=capacitor,
        tau_s=tau,
        floating=data.floating,
        threshold_v=found.positive_v,
        negative_v=found.negative_v,
        node_v=found.positive_node_v,
        negative_node_v=found.negative_node_v,
        threshold_low_v=found.low_v,
        threshold_high_v=found.high_v,
        bass_v=2.0 * data.peak_v / hypot(1.0, omega * low_tau),
        trip_s=rc_dc_detect_time_s(resistor, capacitor, data.stuck_v, slower_v),
        trip_latest_s=rc_dc_detect_time_s(
            (1.0 + RESISTOR) * resistor, (1.0 + CAPACITOR) * capacitor, data.stuck_v, found.high_node_v
        ),
        pull_ohm=pull,
        couple_ohm=_COUPLE_OHM,
        down_ohm=_DOWN_OHM,
        npn=small_transistor(library, "npn", stands_v).id,
        pnp=small_transistor(library, "pnp", stands_v).id,
        supply_v=supply_v,
        outputs_v=data.outputs_v,
    )
