"""What the bench reads on the loudspeaker's protection: detector, driver, and the lead behind its switch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, pi
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_tone import offset_limit_v
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points.control import control_readings, driver_base_v
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, operating_points
from subwright.circuits.models import JunctionModel
from subwright.circuits.netlist import Reading
from subwright.circuits.speaker_guard_circuit import GATE_LIGHT
from subwright.circuits.spice_text import junction_emission
from subwright.parts.library import Library
from subwright.physics.junctions import base_emitter_v, diode_v, saturated_v
from subwright.stages.speaker_guard_detector import NPN_GAIN
from subwright.stages.speaker_guard_records import DcDetector, SpeakerGuardResult, SwitchDrive

__all__ = [
    "DELAYED",
    "HELD",
    "METER_OHM",
    "TRIP_TIMES",
    "GuardLevels",
    "full_sine",
    "guard_levels",
    "outputs_supply_v",
    "speaker_guard_readings",
    "steady_v",
]

TRIP_TIMES: Final = 2.0
"""The steady voltage that parts the driver for certain, over the largest threshold."""
HELD: Final = "detector held at "
"""How the states begin in which a steady voltage stands on the detector."""
DELAYED: Final = "first "
"""How the state begins in which the loudspeaker's timer still holds the driver."""
_SATURATED_V: Final = 0.1  # of the PNP that drives the third transistor; hardly matters
METER_OHM: Final = 10e6  # of a usual multimeter; common practice
_REST_SHARE: Final = 0.03  # of their supply by which outputs may rest off its half, as the bring-up has it
_ROUNDS: Final = 30


@dataclass(frozen=True, kw_only=True, slots=True)
class GuardLevels:
    """Steady voltages at the driver, V.

    Attributes
    ----------
    base, collector : while it lets the loudspeaker in. open : its collector while it doesn't.
    sunk, sunk_negative : its base while a steady voltage of either sign takes the current away.
    sense, sense_negative : behind the low-pass then; 0 between two outputs.
    """

    base: float
    collector: float
    open: float
    sunk: float
    sunk_negative: float
    sense: float
    sense_negative: float


def steady_v(detector: DcDetector) -> float:
    """The steady voltage that is put on the detector to see it part the driver, V."""
    return TRIP_TIMES * detector.threshold_high_v


def guard_levels(
    design: Design, library: Library, guard: SpeakerGuardResult, *, control_v: float, outputs_v: float
) -> GuardLevels:
    """Steady voltages at the driver, by closed forms.

    Parameters
    ----------
    design, library : the build and its parts. guard : of it, with a detector. control_v : control supply, V.
    outputs_v : supply of a bridge's outputs, V; 0 about ground.

    Raises
    ------
    RangeError : a transistor is not driven into saturation.

    Source
    ------
    Ebers and Moll, the light-emitting diodes by the law of the junction. [derived]
    """
    detector, drive = guard.detector, guard.drive
    assert detector is not None
    assert drive is not None
    record = library.transistor(drive.transistor)
    base_v = driver_base_v(design, library, control_v)
    base_a = (control_v - base_v) / drive.base_ohm
    times = max(record.ic_a / 0.1, 1.0)
    collector_v = 0.1
    for _ in range(_ROUNDS):
        load_a = _load_a(guard, drive, control_v - collector_v)
        collector_v = saturated_v(load_a, base_a, record.hfe_min, times=times)[1]
    sink_a = control_v / drive.base_ohm
    source_v = outputs_v or control_v
    indirect_v = _sunk_indirectly_v(detector, source_v, sink_a)
    sense_v, sunk_v = (0.0, indirect_v) if detector.floating else _sunk_directly_v(detector, sink_a)
    return GuardLevels(
        base=base_v,
        collector=collector_v,
        open=_open_v(guard, control_v),
        sunk=sunk_v,
        sunk_negative=indirect_v,
        sense=sense_v,
        sense_negative=0.0 if detector.floating else -_sense_negative_v(detector),
    )


def _load_a(guard: SpeakerGuardResult, drive: SwitchDrive, across_v: float) -> float:
    """Current of coil or light-emitting diodes with a voltage across all of it, A."""
    relay = guard.relay
    if relay is not None:
        return across_v / (relay.coil_ohm + (relay.dropper_ohm or 0.0))
    current_a = (across_v - 2.0 * GATE_LIGHT.forward_v) / drive.light_ohm
    for _ in range(_ROUNDS):
        current_a = (across_v - 2.0 * _light_v(current_a)) / drive.light_ohm
    return current_a


def _light_v(current_a: float) -> float:
    forward_v, rated_a = GATE_LIGHT.forward_v, GATE_LIGHT.rated_a
    own = JunctionModel(name=GATE_LIGHT.name, forward_v=forward_v, rated_a=rated_a)
    return diode_v(current_a, forward_v, rated_a, junction_emission(own))


def _open_v(guard: SpeakerGuardResult, control_v: float) -> float:
    """The driver's collector while nothing flows but a meter's current, V."""
    if guard.relay is not None:
        return control_v
    open_v = control_v
    for _ in range(_ROUNDS):
        open_v = control_v - 2.0 * _light_v(open_v / METER_OHM)
    return open_v


def _sunk_directly_v(detector: DcDetector, sink_a: float) -> tuple[float, float]:
    """Behind the low-pass, and the driver's base, with the positive steady voltage on the detector, V."""
    sense_v, sunk_v = 0.7, 0.1
    for _ in range(_ROUNDS):
        base_a = (steady_v(detector) - sense_v) / detector.resistor_ohm
        sense_v, sunk_v = saturated_v(sink_a, base_a, NPN_GAIN)
    return sense_v, sunk_v


def _sunk_indirectly_v(detector: DcDetector, source_v: float, sink_a: float) -> float:
    """The driver's base with PNP and third transistor on, V."""
    base_v, sunk_v = 0.7, 0.1
    for _ in range(_ROUNDS):
        base_a = (source_v - _SATURATED_V - base_v) / detector.couple_ohm - base_v / detector.down_ohm
        base_v, sunk_v = saturated_v(sink_a, base_a, NPN_GAIN)
    return sunk_v


def _sense_negative_v(detector: DcDetector) -> float:
    """Behind the low-pass with the negative steady voltage on the detector, a magnitude, V."""
    node_v = 0.6
    for _ in range(_ROUNDS):
        node_v = base_emitter_v((steady_v(detector) - node_v) / detector.resistor_ohm)
    return node_v


def speaker_guard_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings at the test points of the loudspeaker's protection, by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Returns
    -------
    While the delay runs, without a signal and with a full sine on each battery, and with a steady voltage of
    either sign on the detector; {} without a detector.
    """
    guard = design.speaker_guard
    if guard is None or guard.detector is None:
        return {}
    detector = guard.detector
    found: dict[str, list[Reading]] = {}

    def add(net: str, at: str, dc_v: float, within_v: float = 0.0) -> None:
        found.setdefault(net, []).append(Reading(at=at, dc_v=dc_v, within_v=within_v))

    switching = control_readings(design, library)

    def levels(at: str, point: OperatingPoint) -> GuardLevels:
        control_v = next((row.dc_v for row in switching.get("control", ()) if row.at == at), point.terminal_v)
        return guard_levels(
            design, library, guard, control_v=control_v, outputs_v=outputs_supply_v(detector, point)
        )

    resting = tuple(operating_points(design, NO_SIGNAL))
    nominal_at, nominal = resting[len(resting) // 2]
    tripped = levels(nominal_at, nominal)
    for row in switching.get("speaker_on", ()):
        if row.at.startswith(DELAYED):
            found["speaker_on"] = [row]
            add("driver_out", row.at, tripped.open)
            add("speaker_out", row.at, 0.5 * outputs_supply_v(detector, nominal))
    off_v, _ = offset_limit_v(design)
    for at, point in resting:
        found_v, outputs_v = levels(at, point), outputs_supply_v(detector, point)
        within_v = _REST_SHARE * outputs_v if outputs_v > 0.0 else off_v
        for net in ("dc_sense", "speaker_out"):
            add(net, at, 0.5 * outputs_v, within_v)
        add("speaker_on", at, found_v.base)
        add("driver_out", at, found_v.collector)
    for at, point in operating_points(design, FULL_SINE):
        for net, row in full_sine(design, guard, point, at).items():
            found.setdefault(net, []).append(row)
    for sign, sense_v, base_v in (
        ("+", tripped.sense, tripped.sunk),
        ("\u2212", tripped.sense_negative, tripped.sunk_negative),
    ):
        at = f"{HELD}{sign}{show(steady_v(detector), 'voltage')}"
        if not detector.floating:
            add("dc_sense", at, sense_v)
        add("speaker_on", at, base_v)
        add("driver_out", at, tripped.open)
    return {net: tuple(rows) for net, rows in found.items()}


def outputs_supply_v(detector: DcDetector, point: OperatingPoint) -> float:
    """Supply of a bridge's outputs, between whose ends they rest, V; 0 about ground."""
    return point.rail_mean_v if detector.outputs_v > 0.0 else 0.0


def full_sine(
    design: Design, guard: SpeakerGuardResult, point: OperatingPoint, at: str
) -> Mapping[str, Reading]:
    """What the lowest note at the onset of clipping leaves behind the low-pass, and at the driver.

    Parameters
    ----------
    design : the build. guard : of it, with a detector. point : the chain with a full sine. at : the state.

    Source
    ------
    Attenuation of an RC low-pass; the detector sits before the switch, whose resistance is in the lead.
    Between two outputs each side has half of the voltage. [derived]
    """
    detector, hertz = guard.detector, design.spec.goal.lowest_note_hz
    assert detector is not None
    lost = guard.resistance_ohm / design.amplifier.load_ohm
    side, behind = (0.5, -lost) if detector.floating else (1.0, 0.0)
    before_v = side * (1.0 + lost) * point.output_peak_v
    left_v = before_v / hypot(1.0, 2.0 * pi * hertz * detector.tau_s)
    behind_v = side * (1.0 + behind) * point.output_peak_v
    rest_v = 0.5 * outputs_supply_v(detector, point)
    return {
        net: Reading(
            at=at,
            dc_v=rest_v,
            ripple_v=2.0 * peak_v,
            waveform=f"sine {peak_v:.3g} V peak, {show(hertz, 'frequency')}",
        )
        for net, peak_v in (("dc_sense", left_v), ("speaker_out", behind_v))
    }
