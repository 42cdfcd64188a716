"""The modulator of a class-D amplifier, designed once on the rails that the chain settled on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from subwright.build.chain_model import ChainPoint
from subwright.build.electrical_demands import NOMINAL
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_modulator import design_modulator
from subwright.stages.amplifier_modulator_bill import (
    MODULATOR_WORKS,
    modulator_sentences,
    modulator_uses,
)
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.common import Level

__all__ = ["modulator_need", "with_modulator"]


def modulator_need(
    spec: BuildSpec, amplifier: AmplifierResult, points: Mapping[Level, ChainPoint], library: Library
) -> ModulatorNeed | None:
    """What the modulator is designed for; None for class AB.

    Parameters
    ----------
    spec : the build. amplifier : settled. points : the chain at every level over the playing corners.
    library : parts with the drawer merged.
    """
    model = amplifier.model
    if not isinstance(model, ClassDModel):
        return None
    wishes, full = spec.amplifier, points[Level.FULL]
    idle_v = float(np.max(points[Level.IDLE].rail_mean_v))
    # The feedback is taken at the nodes: the switches' own resistance is inside the loop.
    series = model.legs * model.inductor_ohm + model.cable_ohm
    rails = (float(np.min(full.rail_crest_v)), float(full.rail_crest_v[NOMINAL]))
    highest_v = max(amplifier.rail_expected_v, idle_v)
    feed = (*rails, highest_v)
    if not model.split_rails:
        feed = (
            float(np.min(full.terminal_least_v)),
            float(full.terminal_v[NOMINAL]),
            float(np.max(points[Level.IDLE].terminal_v)),
        )
    return ModulatorNeed(
        form=wishes.modulator,
        legs=model.legs,
        split_rails=model.split_rails,
        rail_low_v=rails[0],
        rail_nominal_v=rails[1],
        rail_high_v=highest_v,
        feed_v=feed,
        peak_v=amplifier.peak_v,
        load_share=amplifier.load_ohm / (amplifier.load_ohm + series),
        full_input_v=wishes.full_input_v,
        lowest_note_hz=spec.goal.lowest_note_hz,
        switching_hz=model.switching_hz,
        dead_time_s=model.dead_time_s,
        modulation_max=model.modulation_max,
        gate_drive_a=wishes.gate_drive_a,
        gate_supply_v=wishes.gate_supply_v,
        tolerance=wishes.feedback_tolerance,
        op_amp=wishes.op_amp,
        mosfet=library.mosfets[amplifier.switch_id],
        node_s=_node_s(amplifier, model, rails[1]),
    )


def _node_s(amplifier: AmplifierResult, model: ClassDModel, rail_v: float) -> float:
    """Time in which half of the idle ripple moves a node by half of the bus, s."""
    bus_v = float(model.bus_v(rail_v))
    # the charge of both output capacitances, which fall with the root of the voltage
    charge = 2.0 * float(model.coss_f) * (float(model.coss_v) * bus_v) ** 0.5 + model.snubber_f * bus_v
    return float(charge / amplifier.ripple_pp_a)


def with_modulator(
    spec: BuildSpec, amplifier: AmplifierResult, points: Mapping[Level, ChainPoint], library: Library
) -> AmplifierResult:
    """The amplifier with its modulator and gate drivers; class AB comes back as it is.

    Parameters
    ----------
    spec, amplifier, points, library : as in ``modulator_need``.

    Raises
    ------
    NoSolutionError : delays forbid the switching frequency, or no part serves.
    """
    need = modulator_need(spec, amplifier, points, library)
    if need is None:
        return amplifier
    made = design_modulator(need, library)
    return replace(
        amplifier,
        modulator=made,
        parts=(*amplifier.parts, *modulator_uses(made, need, library)),
        sources=(*amplifier.sources, *MODULATOR_WORKS),
        reasons=(*amplifier.reasons, *modulator_sentences(made, amplifier.dead_time_thd or 0.0)),
    )
