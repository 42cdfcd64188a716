"""Outputs and bases of complementary followers, at rest and with a sine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeAlias

import numpy as np

from subwright.circuits.amplifier_values import ClassABValues
from subwright.physics.amplifier_models import ClassABModel, class_ab_sum_a
from subwright.stages.amplifier_driving import GATE_A_PER_V2, GATE_THRESHOLD_V, junction_v

__all__ = ["Row", "base_rows", "middle_v", "output_rows", "upper_base_v"]

Row: TypeAlias = tuple[str, float, float, str]
"""Net, mean in V, swing peak to peak in V, and shape in words."""


def middle_v(v: ClassABValues) -> float:
    """Where the outputs rest: 0 V between rails, half of a single supply, V."""
    return 0.0 if v.split_rails else 0.5 * v.rail_v


def output_rows(v: ClassABValues, at_lead: float, note: str) -> Iterator[Row]:
    """The legs' outputs, which share a sine in opposition; ``at_lead`` is its peak ahead of the lead, V."""
    leg_v = at_lead / v.legs
    shape = f"sine {leg_v:.1f} V peak, {note}" if at_lead else ""
    for name in "ab"[: v.legs]:
        yield f"out_{name}", middle_v(v), 2.0 * leg_v, shape


def upper_base_v(v: ClassABValues, model: ClassABModel, crest_a: float) -> float:
    """Upper end of the bias above the output while the upper devices give an output current, V.

    Source
    ------
    Translinear loop of the class-AB output stage with its ballast [gray-meyer].
    """
    both = float(class_ab_sum_a(np.asarray(crest_a), model.bias_a, model.ballast_ohm))
    each_a = 0.5 * (both + crest_a) / v.pairs
    device = GATE_THRESHOLD_V + (2.0 * each_a / GATE_A_PER_V2) ** 0.5 if v.lateral else junction_v(each_a)
    driver = junction_v(v.driver_rest_a) if v.driver_rest_a else 0.0
    return each_a * v.ballast_ohm + device + driver


def base_rows(
    v: ClassABValues, model: ClassABModel, at_lead: float, crest_a: float, note: str
) -> Iterator[Row]:
    """Both ends of the bias, which stays what it is while the output moves."""
    if v.driving is None or not v.driving.bias_id:
        return
    # what the upper end does on one half of the sine, the lower end mirrors on the other
    leg_v = at_lead / v.legs + upper_base_v(v, model, crest_a) - 0.5 * v.spread_v if at_lead else 0.0
    shape = f"sine {leg_v:.1f} V peak, {note}" if at_lead else ""
    for name in "ab"[: v.legs]:
        for side, sign in (("upper", 1.0), ("lower", -1.0)):
            yield f"base_{side}_{name}", middle_v(v) + 0.5 * sign * v.spread_v, 2.0 * leg_v, shape
