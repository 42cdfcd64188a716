"""What the filter stage hands on about each block, the supply, the noise and the levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.physics.networks.rational import Rational

__all__ = [
    "BlockKind",
    "CornerWindow",
    "FilterBlock",
    "GainControl",
    "GainStructure",
    "OpAmpSupply",
    "PhaseControl",
    "SweepControl",
]

BlockKind: TypeAlias = Literal[
    "summer", "infrasonic", "transform", "low-pass", "all-pass", "phase", "output", "coupling"
]
Complex: TypeAlias = npt.NDArray[np.complexfloating]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FilterBlock:
    """One op-amp block with real part values.

    Attributes
    ----------
    name : "low-pass A". kind : which circuit. op_amps : amplifiers in it, 0 for a passive block.
    resistors_ohm, capacitors_f : by role within the block, Ω and F. A role that ends in "gang" is the setting
        of a ganged potentiometer, "gain control" the whole track of one; every other value is a fixed part.
        A low-pass with a role "R3" is a multiple-feedback stage, with "integrator A" a state-variable one,
        with "gain upper" a Sallen–Key stage with gain, else one with unity gain.
    gain : passband gain with its sign, V/V.
    f0_hz, q : pole frequency and Q from the real values; None for blocks without poles of interest.
    f0_target_hz, q_target : wanted.
    response : exact transfer function with the chosen op-amp.
    peak_v : highest peak at any of its op-amps' outputs at full output, V.
    gbw_needed_hz, gbw_hz : bandwidth rule and the op-amp's, Hz. slew_needed_v_per_s, slew_v_per_s : V/s.
    """

    name: str
    kind: BlockKind
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    gain: float
    f0_hz: float | None = None
    q: float | None = None
    f0_target_hz: float | None = None
    q_target: float | None = None
    response: Rational
    peak_v: float
    gbw_needed_hz: float
    gbw_hz: float
    slew_needed_v_per_s: float
    slew_v_per_s: float
    op_amps: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class CornerWindow:
    """A corner frequency over tolerance, Hz.

    Attributes
    ----------
    target_hz : wanted. nominal_hz : from the real values. drop_db : level at the corner below the passband.
    worst_low_hz, worst_high_hz, rss_low_hz, rss_high_hz : limits. p1_hz, p99_hz : of the random builds.
    """

    target_hz: float
    nominal_hz: float
    drop_db: float
    worst_low_hz: float
    worst_high_hz: float
    rss_low_hz: float
    rss_high_hz: float
    p1_hz: float
    p99_hz: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GainStructure:
    """Levels through the filter.

    Attributes
    ----------
    sensitivity_v : rms on every input for full output. full_output_v : rms at the amplifier's input.
    gain_target, gain : V/V, wanted and real, passband, every input driven. per_input : one input alone.
    swing_v : peak that the op-amps reach on the lowest supply. headroom_db, headroom_limit_db : of the
        fullest block at full output, dB, and the least that is sensible.
    overload_v : rms on every input at which the first block clips.
    noise_v : rms at the output, 10 Hz to 20 kHz, level at its top. noise_dbu, noise_dbv : the same as levels.
    snr_db : full output over noise. snr_limit_db : least that is sensible.
    offset_v : largest DC at the last op-amp's output, V. output_offset_v : at the amplifier, V.
    """

    sensitivity_v: float
    full_output_v: float
    gain_target: float
    gain: float
    per_input: float
    swing_v: float
    headroom_db: float
    headroom_limit_db: float
    overload_v: float
    noise_v: float
    noise_dbu: float
    noise_dbv: float
    snr_db: float
    snr_limit_db: float
    offset_v: float
    output_offset_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GainControl:
    """A potentiometer that sets which input gives full output.

    Attributes
    ----------
    pot_ohm, foot_ohm : track, and the fixed resistor in series, Ω. taper : law of the track.
    tolerance : of the track, fraction.
    sensitivity_least_v, sensitivity_most_v : rms for full output at either end, V, real values: of a line
        source before its receiver, or behind the pad of a loudspeaker-level input.
    reach_v : the least sensitivity that is certain over the track's tolerance, V.
    rotation, sensitivity_v : share of the turn, and the input for full output there, V.
    """

    pot_ohm: float
    foot_ohm: float
    taper: Literal["linear", "logarithmic"]
    tolerance: float
    sensitivity_least_v: float
    sensitivity_most_v: float
    reach_v: float
    rotation: tuple[float, ...]
    sensitivity_v: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepControl:
    """A ganged potentiometer that moves the low-pass corner.

    Attributes
    ----------
    pot_ohm, foot_ohm : each track, and the fixed resistor in series with it, Ω. gangs : tracks.
    tracking : mismatch between tracks, fraction.
    rotation, corner_hz : share of the turn, and the corner there, Hz.
    low_hz, high_hz : real ends, Hz. low_target_hz, high_target_hz : wanted.
    tracking_share : largest shift of the corner by the tracks' mismatch, over the turn, as a fraction.
    tracking_db : largest change of the response at the corner by it, dB.
    """

    pot_ohm: float
    foot_ohm: float
    gangs: int
    tracking: float
    rotation: tuple[float, ...]
    corner_hz: tuple[float, ...]
    low_hz: float
    high_hz: float
    low_target_hz: float
    high_target_hz: float
    tracking_share: float
    tracking_db: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PhaseControl:
    """A potentiometer that delays the signal by an all-pass.

    Attributes
    ----------
    pot_ohm, foot_ohm : track and fixed resistor, Ω. capacitor_f : F.
    least_deg, most_deg : lag at the low-pass corner at either end, degrees.
    """

    pot_ohm: float
    foot_ohm: float
    capacitor_f: float
    least_deg: float
    most_deg: float


@dataclass(frozen=True, kw_only=True, slots=True)
class OpAmpSupply:
    """What the op-amps run on.

    Attributes
    ----------
    kind : zener shunts, emitter followers behind zeners or adjustable regulators from both rails, or the
        battery with a midpoint.
    low_v, high_v : total supply of an op-amp, V. limit_low_v, limit_high_v : what it needs and stands, V.
    current_a : drawn from each rail by the op-amps, A.
    series_ohm, zener_id, zener_v : per rail; None where there is no zener. On a battery that is too high for
        the op-amp one zener lies behind ``filter_ohm``.
    r1_ohm, r2_ohm : per regulator; None where there is none.
    midpoint_ohm, midpoint_f : each divider resistor and the capacitor; None with split rails.
    filter_ohm, filter_f : battery filter; None with split rails.
    resistor_w, zener_w, regulator_w, regulator_c : heat and regulator junction at the highest rail, which is
        regulator_v, V.
    transistor, transistor_w, transistor_c, transistor_limit_c, transistor_v, transistor_limit_v : pair of
        emitter followers, each one's heat, junction and collector voltage with their limits; "" and 0 where
        there is none. sink_k_per_w : heatsink that each follower needs, None for none.
    """

    kind: Literal["zener", "follower", "regulator", "battery"]
    low_v: float
    high_v: float
    limit_low_v: float
    limit_high_v: float
    current_a: float
    series_ohm: float | None = None
    zener_id: str | None = None
    zener_v: float | None = None
    r1_ohm: float | None = None
    r2_ohm: float | None = None
    midpoint_ohm: float | None = None
    midpoint_f: float | None = None
    filter_ohm: float | None = None
    filter_f: float | None = None
    resistor_w: float = 0.0
    zener_w: float = 0.0
    regulator_w: float = 0.0
    regulator_c: float = 0.0
    regulator_v: float = 0.0
    transistor: str = ""
    transistor_w: float = 0.0
    transistor_c: float = 0.0
    transistor_limit_c: float = 0.0
    transistor_v: float = 0.0
    transistor_limit_v: float = 0.0
    sink_k_per_w: float | None = None
