"""What the knobs do: sensitivity over the turn, the swept corner and its tracking error, the phase."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

import numpy as np

from subwright.physics.networks.filters import all_pass_phase_deg
from subwright.physics.networks.levels import db, track_share
from subwright.physics.networks.rational import Rational, level_crossing_hz
from subwright.stages.filter_draft import PHASE_POT_OHM, Array, Draft
from subwright.stages.filter_lowpass import corner_drop_db, swept
from subwright.stages.filter_records import GainControl, PhaseControl, SweepControl
from subwright.stages.filter_response import block_response
from subwright.stages.filter_spec import FilterInput, FilterSpec

__all__ = ["gain_control", "phase_control", "sweep_control"]

_TURN: Final = (0.0, 0.25, 0.5, 0.75, 1.0)
_TRACK_TOLERANCE: Final = 0.20


def gain_control(spec: FilterSpec, data: FilterInput, drafts: Sequence[Draft]) -> GainControl | None:
    """The gain control's range, or None without one.

    Parameters
    ----------
    spec : the builder's wishes. data : levels. drafts : the blocks.
    """
    if spec.sensitivity_most_v is None:
        return None
    summer = next(d for d in drafts if d.kind == "summer")
    foot, pot = summer.resistors_ohm["feedback"], summer.resistors_ohm["gain control"]
    full_v = data.full_input_v / abs(float(np.prod([d.gain for d in drafts]))) / data.receiver_gain

    def sensitivity(share: float) -> float:
        return full_v * (foot + pot) / (foot + share * pot)

    rows = tuple(sensitivity(float(track_share(x, spec.gain_taper))) for x in _TURN)
    return GainControl(
        pot_ohm=pot,
        foot_ohm=foot,
        taper=spec.gain_taper,
        tolerance=_TRACK_TOLERANCE,
        sensitivity_least_v=rows[-1],
        sensitivity_most_v=rows[0],
        reach_v=full_v * (foot + pot) / (foot + (1.0 - _TRACK_TOLERANCE) * pot),
        rotation=_TURN,
        sensitivity_v=rows,
    )


def phase_control(drafts: Sequence[Draft], corner_hz: float) -> PhaseControl | None:
    """Lag at the corner at either end of the phase control, or None without one.

    Parameters
    ----------
    drafts : the blocks. corner_hz : real low-pass corner, Hz.
    """
    block = next((d for d in drafts if d.kind == "all-pass"), None)
    if block is None:
        return None
    foot, capacitor = block.resistors_ohm["R"], block.capacitors_f["C"]

    def lag(resistance: float) -> float:
        return -float(all_pass_phase_deg(2 * np.pi * corner_hz * resistance * capacitor))

    return PhaseControl(
        pot_ohm=PHASE_POT_OHM,
        foot_ohm=foot,
        capacitor_f=capacitor,
        least_deg=lag(foot),
        most_deg=lag(foot + PHASE_POT_OHM),
    )


def sweep_control(spec: FilterSpec, drafts: Sequence[Draft], gbw_hz: float) -> SweepControl | None:
    """Corner over the turn of the ganged potentiometer, and what mismatch of its tracks does; None if fixed.

    Parameters
    ----------
    spec : the builder's wishes. drafts : the blocks. gbw_hz : of the op-amp, Hz.
    """
    if not swept(spec):
        return None
    stages = [d for d in drafts if d.kind == "low-pass"]
    foot, pot = stages[0].resistors_ohm["R1"], stages[0].track_ohm
    low, high = spec.sweep_low_hz or 0.0, spec.sweep_high_hz or 0.0
    passband = float(np.prod([abs(d.gain) for d in stages]))
    level = passband * 10.0 ** (-corner_drop_db(spec) / 20.0)

    def chain(settings: Sequence[Array]) -> list[Rational]:
        tracks = iter(settings)
        builds = []
        for d in stages:
            values = {role: np.asarray(value) for role, value in d.values.items()}
            values |= {"R1 gang": next(tracks), "R2 gang": next(tracks)}
            builds.append(block_response("low-pass", values, gbw_hz))
        return builds

    turn = np.asarray(_TURN)
    mid = pot * (1.0 - turn)
    start = low * (high / low) ** turn
    count = 2 * len(stages)
    matched = chain([mid] * count)
    corner = np.asarray(level_crossing_hz(matched, level, start))
    shift, step = 0.0, 0.0
    half = 0.5 * spec.gang_tracking
    for signs in product((1, -1), repeat=count):
        if len(set(signs)) == 1:
            continue  # all tracks alike: that is their own tolerance, which the knob makes up for
        builds = chain([mid * (1.0 + half * s) for s in signs])
        moved = np.asarray(level_crossing_hz(builds, level, corner))
        shift = max(shift, float(np.max(np.abs(moved / corner - 1.0))))
        gain = np.ones(corner.shape)
        for b in builds:
            gain = gain * np.abs(b.at(corner))
        step = max(step, float(np.max(np.abs(db(gain / level)))))
    return SweepControl(
        pot_ohm=pot,
        foot_ohm=foot,
        gangs=count,
        tracking=spec.gang_tracking,
        rotation=_TURN,
        corner_hz=tuple(corner.tolist()),
        low_hz=float(corner[0]),
        high_hz=float(corner[-1]),
        low_target_hz=low,
        high_target_hz=high,
        tracking_share=shift,
        tracking_db=step,
    )
