"""What the filter stage hands on about each block, the supply, the noise and the levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.physics.networks.rational import Rational

__all__ = ["BlockKind", "CornerWindow", "FilterBlock", "GainStructure", "OpAmpSupply"]

BlockKind: TypeAlias = Literal["summer", "infrasonic", "low-pass", "phase", "output"]
Complex: TypeAlias = npt.NDArray[np.complexfloating]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FilterBlock:
    """One op-amp block with real part values.

    Attributes
    ----------
    name : "low-pass A". kind : which circuit.
    resistors_ohm, capacitors_f : by role within the block, Ω and F.
    gain : passband gain with its sign, V/V.
    f0_hz, q : pole frequency and Q from the real values; None for blocks without poles of interest.
    f0_target_hz, q_target : wanted.
    response : exact transfer function with the chosen op-amp.
    peak_v : highest peak at its output at full output, V.
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
    offset_v : largest DC at the output, V.
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


@dataclass(frozen=True, kw_only=True, slots=True)
class OpAmpSupply:
    """What the op-amps run on.

    Attributes
    ----------
    kind : zener shunts or adjustable regulators from both rails, or the battery with a midpoint.
    low_v, high_v : total supply of an op-amp, V. limit_low_v, limit_high_v : what it needs and stands, V.
    current_a : drawn from each rail by the op-amps, A.
    series_ohm, zener_id, zener_v : per rail; None where there is no zener.
    r1_ohm, r2_ohm : per regulator; None where there is none.
    midpoint_ohm, midpoint_f : each divider resistor and the capacitor; None with split rails.
    filter_ohm, filter_f : battery filter; None with split rails.
    resistor_w, zener_w, regulator_w, regulator_c : heat and regulator junction at the highest rail.
    """

    kind: Literal["zener", "regulator", "battery"]
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
