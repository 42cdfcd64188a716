"""What the bench reads where each input meets the filter: at rest, and with the bring-up's sine."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt
from typing import Final

from subwright.base.units import show
from subwright.build.bringup_tone import Tone, bring_up_tone
from subwright.build.result import Design
from subwright.build.test_points.filter_supply import supply_points
from subwright.build.test_points.states import ANY_BATTERY, BATTERIES, NO_SIGNAL
from subwright.circuits.input_circuit import INPUT_OUTPUTS
from subwright.circuits.netlist import Reading
from subwright.parts.library import Library

__all__ = ["input_readings", "played_tone", "sine_reading", "tone_state"]

_NOMINAL: Final = list(BATTERIES)[1]


def tone_state(design: Design, tone: Tone) -> str:
    """The state in which the bring-up's sine plays; on the nominal battery where the op-amps run from it."""
    battery = _NOMINAL if design.filter.op_amp_supply.kind == "battery" else ANY_BATTERY
    return f"{battery}, {played_tone(tone)}"


def played_tone(tone: Tone) -> str:
    """The bring-up's sine in words."""
    return f"{show(tone.input_v, 'voltage')} rms of {show(tone.hertz, 'frequency')} on each input"


def sine_reading(at: str, rest_v: float, rms_v: float, hertz: float, within_v: float) -> Reading:
    """A sine about a steady voltage.

    Parameters
    ----------
    at : the state. rest_v, within_v : mean and how far off it may lie, V. rms_v : of the sine, V.
    hertz : its frequency, Hz.
    """
    peak = sqrt(2.0) * rms_v
    return Reading(
        at=at,
        dc_v=rest_v,
        ripple_v=2.0 * peak,
        waveform=f"sine {peak:.3g} V peak, {show(hertz, 'frequency')}",
        within_v=within_v,
    )


def input_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Source
    ------
    The closed form of the difference amplifier's six resistors; of its amplifier's offset times its noise
    gain, its bias currents' drop, and what its rejection leaves of the voltage that both leads rest on.
    [derived]
    """
    entry, tone = design.input, bring_up_tone(design)
    points = supply_points(design, library)
    on_mid = design.filter.op_amp_supply.kind == "battery" and entry.op_amps > 0
    nominal = next(p for p in points if p.at.startswith(_NOMINAL))
    middle_v = nominal.middle_v if on_mid else 0.0
    within = _offset_v(design, library, middle_v)
    rest: tuple[Reading, ...] = (Reading(at=f"{ANY_BATTERY}, {NO_SIGNAL}", dc_v=0.0, within_v=within),)
    at = f"{ANY_BATTERY}, {played_tone(tone)}"
    if on_mid:
        at = tone_state(design, tone)
        rest = tuple(
            Reading(
                at=p.at,
                dc_v=p.middle_v,
                within_v=p.middle_within_v + _offset_v(design, library, p.middle_v),
            )
            for p in points
        )
        within += nominal.middle_within_v
    sine = sine_reading(at, middle_v, tone.input_v * entry.gain, tone.hertz, within)
    return dict.fromkeys(INPUT_OUTPUTS[: entry.channels], (*rest, sine))


def _offset_v(design: Design, library: Library, middle_v: float) -> float:
    """Largest steady voltage that the receiver adds of itself; 0 where a capacitor follows the socket, V."""
    entry, op_amp = design.input, library.op_amp(design.filter.op_amp)
    into, out = entry.difference_in_ohm, entry.difference_out_ohm
    if into is None or out is None:
        return 0.0
    own = op_amp.vos_v * (1.0 + out / into) + op_amp.ib_a * out
    let_through = entry.gain * float(10.0 ** (-entry.rejection_worst_db / 20.0))
    return own + let_through * abs(entry.resting_v - middle_v)
