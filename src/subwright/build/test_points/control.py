"""What the bench reads on the switch-on control: its switched supply, the timers', and their outputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.states import NO_SIGNAL, played
from subwright.circuits.amplifier_chip import PIN_OHM
from subwright.circuits.control_circuit import COMPARATOR_A, TIMER_OUTPUTS
from subwright.circuits.netlist import Reading
from subwright.parts.library import Library
from subwright.physics.junctions import base_emitter_v, saturated_v
from subwright.physics.networks.supplies import zener_node_v
from subwright.stages.common import Corner, Level
from subwright.stages.control import REMOTE_GAIN, SWITCH_GAIN, TIMER_COMPARATOR
from subwright.stages.control_bill import BASE_PULL_UP_OHM
from subwright.stages.control_records import ControlResult, Remote
from subwright.stages.protection_reference import MUTE_OHM

__all__ = [
    "ControlLevels",
    "control_levels",
    "control_load_ohm",
    "control_readings",
    "driver_base_v",
    "mute_load",
    "speaker_base_ohm",
]

_OFF: Final = "remote line off"
_TRIPPED: Final = "tripped"
_ROUNDS: Final = 8  # each leaves a few hundredths of the error of the one before
_STATED_SINK_A: Final = 4e-3  # at which the comparator's saturated output is stated
_MUTE_GAIN: Final = 200.0  # of the transistor that mutes, typical; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class ControlLevels:
    """Steady voltages of the control circuit while it plays, V.

    Attributes
    ----------
    control : switched supply; the battery's own without a remote line. base : behind the remote line's
        divider; 0 without one. timer, half : of the timers. mute : un-mute line, let go.
    mute_low, speaker_low : both outputs while their delay runs.
    """

    control: float
    base: float
    timer: float
    half: float
    mute: float
    mute_low: float
    speaker_low: float


def control_load_ohm(design: Design) -> float:
    """What hangs on the control supply beside the timers, Ω: its current at the nominal battery."""
    remote = None if design.control is None else design.control.remote
    return 1e3 if remote is None else design.supply.corners[Corner.NOMINAL] / remote.switch_a


def speaker_base_ohm(design: Design) -> float | None:
    """The resistor that pulls the loudspeaker's timer up, in the speaker guard, Ω; None without one."""
    guard = design.speaker_guard
    return None if guard is None or guard.drive is None else guard.drive.base_ohm


def mute_load(design: Design) -> tuple[float, float] | None:
    """What the amplifier hangs on the mute line while it plays: a voltage, V, behind a resistance, Ω.

    Parameters
    ----------
    design : the build.

    Returns
    -------
    None where nothing draws current from the line.
    """
    modulator, driving = design.amplifier.modulator, design.amplifier.driving
    if modulator is not None and "mute series" in modulator.resistors_ohm:
        series_ohm = modulator.resistors_ohm["mute series"]
        if "mute shunt" not in modulator.resistors_ohm:  # into the emitter of a transistor on 0 V
            pull_ohm = 0.0 if design.control is None else design.control.supply.pullup_ohm
            return base_emitter_v(modulator.mute_high_v / (pull_ohm + series_ohm)), series_ohm
        shunt_ohm = modulator.resistors_ohm["mute shunt"]
        return 0.0, series_ohm + shunt_ohm
    if driving is not None and "chip mute resistor" in driving.resistors_ohm:
        return 0.0, driving.resistors_ohm["chip mute resistor"] + PIN_OHM
    return None


def control_levels(
    control: ControlResult,
    library: Library,
    *,
    battery_v: float,
    remote_v: float,
    load_ohm: float,
    mute: tuple[float, float] | None,
    base_ohm: float | None,
) -> ControlLevels:
    """Steady voltages of the control circuit, by closed forms.

    Parameters
    ----------
    control, library : the design and its parts. battery_v, remote_v : at the unit and of the remote line, V.
    load_ohm : on the control supply, Ω. mute : as of :func:`mute_load`. base_ohm : as of
        :func:`speaker_base_ohm`.

    Raises
    ------
    RangeError : a transistor is not driven into saturation.

    Source
    ------
    Ebers and Moll for both transistors, two straight lines for the zener diode. [derived]
    """
    supply = control.supply
    record = library.comparator(TIMER_COMPARATOR)
    zener = library.zener(supply.clamp)
    sink_ohm = record.vol_v / _STATED_SINK_A
    pull_ohm, half_ohm = supply.pullup_ohm, supply.half_ohm
    level_v, away_ohm = (0.0, float("inf")) if mute is None else mute
    others_a = COMPARATOR_A * len(control.timers)

    def timer_v(into_v: float, guess_v: float, line_v: float) -> float:
        load_a = others_a + guess_v / (2.0 * half_ohm) + (guess_v - line_v) / pull_ohm
        return zener_node_v(into_v, supply.series_ohm, load_a, zener.vz_v, zener.rz_ohm, zener.iz_test_a)

    control_v, base_v = battery_v, 0.0
    playing_v = muted_v = min(battery_v, supply.clamp_v)
    mute_v = low_v = 0.0
    for _ in range(_ROUNDS):
        if control.remote is not None:
            drawn_a = control_v / load_ohm + (control_v - playing_v) / supply.series_ohm
            base_v, lost_v = _switched(control.remote, battery_v, remote_v, drawn_a)
            control_v = battery_v - lost_v
        mute_v = (playing_v / pull_ohm + level_v / away_ohm) / (1.0 / pull_ohm + 1.0 / away_ohm)
        low_v = (muted_v / pull_ohm + level_v / away_ohm) / (1.0 / pull_ohm + 1.0 / away_ohm + 1.0 / sink_ohm)
        playing_v = timer_v(control_v, playing_v, mute_v)
        muted_v = timer_v(control_v, muted_v, low_v)
    return ControlLevels(
        control=control_v,
        base=base_v,
        timer=playing_v,
        half=0.5 * playing_v + 0.5 * half_ohm * record.ib_a * len(control.timers),
        mute=mute_v,
        mute_low=low_v,
        speaker_low=0.0 if base_ohm is None else control_v * sink_ohm / (sink_ohm + base_ohm),
    )


def _switched(remote: Remote, battery_v: float, remote_v: float, drawn_a: float) -> tuple[float, float]:
    """Base of the remote transistor, and what the supply switch loses, V."""
    share = remote.pulldown_ohm / (remote.series_ohm + remote.pulldown_ohm)
    source_ohm = share * remote.series_ohm
    base_v = pnp_base_v = 0.7
    low_v, lost_v = 0.1, 0.1
    for _ in range(_ROUNDS):
        drive_a = (battery_v - pnp_base_v - low_v) / remote.base_ohm
        base_v, low_v = saturated_v(drive_a, (share * remote_v - base_v) / source_ohm, REMOTE_GAIN)
        pnp_base_v, lost_v = saturated_v(drawn_a, drive_a - pnp_base_v / BASE_PULL_UP_OHM, SWITCH_GAIN)
    return base_v, lost_v


def driver_base_v(design: Design, library: Library, control_v: float) -> float:
    """Base of the transistor that lets the loudspeaker in, V, 0 V without a speaker guard.

    Parameters
    ----------
    design, library : the build and its parts. control_v : control supply, V.
    """
    drive = None if design.speaker_guard is None else design.speaker_guard.drive
    if drive is None:
        return 0.0
    record = library.transistor(drive.transistor)
    times = max(record.ic_a / 0.1, 1.0)
    base_v = 0.7
    for _ in range(_ROUNDS):
        base_a = (control_v - base_v) / drive.base_ohm
        base_v = saturated_v(
            min(drive.load_a, 0.9 * record.hfe_min * base_a), base_a, record.hfe_min, times=times
        )[0]
    return base_v


def control_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings at the test points of the switch-on control, by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Returns
    -------
    With the remote line off, while the delays run, and playing without a signal on each battery, the remote
    line at the battery's own voltage; {} without a control circuit.
    """
    control = design.control
    if control is None:
        return {}
    found: dict[str, list[Reading]] = {}

    def add(net: str, at: str, dc_v: float) -> None:
        found.setdefault(net, []).append(Reading(at=at, dc_v=dc_v))

    states = {at: _levels(design, control, library, corner) for at, (corner, _) in played(NO_SIGNAL).items()}
    nominal = next(levels for at, levels in states.items() if at.startswith("nominal"))
    if control.remote is not None:
        for net in ("control", "remote_base"):
            add(net, _OFF, 0.0)
    for timer in control.timers:
        low_v = nominal.mute_low if timer.name == "un-mute" else nominal.speaker_low
        add(TIMER_OUTPUTS[timer.name], f"first {show(timer.nominal_s, 'time')}", low_v)
    for at, levels in states.items():
        if control.remote is not None:
            add("control", at, levels.control)
            add("remote_base", at, levels.base)
        add("timer", at, levels.timer)
        add("half", at, levels.half)
        add("mute", at, levels.mute)
        if len(control.timers) > 1:
            add("speaker_on", at, driver_base_v(design, library, levels.control))
    if design.protection.stops == "amplifier":
        add("mute", _TRIPPED, _held_down(design, nominal.timer))
    return {net: tuple(rows) for net, rows in found.items()}


def _levels(design: Design, control: ControlResult, library: Library, corner: Corner) -> ControlLevels:
    return control_levels(
        control,
        library,
        battery_v=design.point(corner, Level.IDLE).terminal_v,
        remote_v=design.supply.corners[corner],
        load_ohm=control_load_ohm(design),
        mute=mute_load(design),
        base_ohm=speaker_base_ohm(design),
    )


def _held_down(design: Design, timer_v: float) -> float:
    """The mute line under the protection's transistor, V."""
    assert design.control is not None
    protection = design.protection
    driven_v = protection.reference.nominal_v - base_emitter_v(1e-3)
    base_a = driven_v / (protection.inhibit_ohm + MUTE_OHM)
    return saturated_v(timer_v / design.control.supply.pullup_ohm, base_a, _MUTE_GAIN)[1]
