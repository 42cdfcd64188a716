"""Transfer function of each filter block from its part values, which may be arrays of builds."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from subwright.physics.networks.biquads import state_variable_lowpass, transform_biquad
from subwright.physics.networks.filters import (
    all_pass,
    coupling_highpass,
    follower,
    inverting_summer,
    mfb_lowpass,
    phase_switch,
)
from subwright.physics.networks.rational import Rational
from subwright.physics.networks.sallen_key import sallen_key_highpass, sallen_key_lowpass
from subwright.stages.filter_draft import Array, Values
from subwright.stages.filter_records import BlockKind

__all__ = ["block_response", "inner_levels"]


def block_response(kind: BlockKind, values: Values, gbw_hz: float, inverted: bool = True) -> Rational:
    """Transfer function of a block; the values may be arrays of builds.

    Parameters
    ----------
    kind : which circuit. values : parts by role, Ω and F. gbw_hz : of the op-amp, Hz.
    inverted : position of the phase switch; where the blocks before it invert, the inverting one is "0°".
    """
    if kind == "summer":
        names = [role.removesuffix(" input") for role in values if role.endswith(" input")]
        inputs = tuple((values[f"{n} input"], values[f"{n} coupling"]) for n in names)
        return inverting_summer(inputs, values["feedback"] + values.get("gain control", 0.0), gbw_hz)
    if kind == "infrasonic":
        return sallen_key_highpass(
            values["C1"], values["C2"], values["R to output"], values["R to ground"], gbw_hz=gbw_hz
        )
    if kind == "transform":
        return transform_biquad(
            values["input R"],
            values["input C"],
            values["feedback R"],
            values["feedback C"],
            values["bridge R"],
            values["bridge C"],
            gbw_hz,
        )
    if kind == "low-pass":
        return _low_pass(values, gbw_hz)
    if kind == "all-pass":
        return all_pass(
            values["R"] + values.get("R gang", 0.0),
            values["C"],
            input_ohm=values["input"],
            feedback_ohm=values["feedback"],
            gbw_hz=gbw_hz,
        )
    if kind == "phase":
        return phase_switch(values["input"], values["feedback"], inverted, gbw_hz)
    if kind == "coupling":
        return coupling_highpass(values["to ground"], values["series"])
    return follower(1.0, gbw_hz)


def inner_levels(kind: BlockKind, values: Mapping[str, float], frequency_hz: Array) -> Array:
    """Level at each op-amp's output of a block over that at the block's own, ideal op-amps.

    Parameters
    ----------
    kind : which circuit. values : parts by role, Ω and F. frequency_hz : shape (n,), Hz.

    Returns
    -------
    Shape (op-amp outputs, n), dimensionless; ones where the block has no other output inside.

    Source
    ------
    Of a state-variable stage an integrator's input is its output times ``ω R C``. [derived]
    """
    own = np.ones_like(frequency_hz)
    if kind != "low-pass" or "integrator A" not in values:
        return own[None, :]
    tracks = [values[f"R{n}"] + values.get(f"R{n} gang", 0.0) for n in (1, 2)]
    first, second = (
        2 * np.pi * frequency_hz * track * values[f"integrator {letter}"]
        for track, letter in zip(tracks, "AB", strict=True)
    )
    return np.stack([own, second, first * second])


def _low_pass(values: Values, gbw_hz: float) -> Rational:
    if "R3" in values:
        return mfb_lowpass(values["R1"], values["R2"], values["R3"], values["C1"], values["C2"], gbw_hz)
    if "integrator A" in values:
        return state_variable_lowpass(
            (values["R in"], values["R low"], values["R high"]),
            (values["Q upper"], values["Q lower"]),
            tuple(values[f"R{n}"] + values.get(f"R{n} gang", 0.0) for n in (1, 2)),
            (values["integrator A"], values["integrator B"]),
            gbw_hz,
        )
    gain = 1.0 + values["gain upper"] / values["gain lower"] if "gain upper" in values else 1.0
    r1, r2 = (values[f"R{n}"] + values.get(f"R{n} gang", 0.0) for n in (1, 2))
    return sallen_key_lowpass(r1, r2, values["C to output"], values["C to ground"], gain=gain, gbw_hz=gbw_hz)
