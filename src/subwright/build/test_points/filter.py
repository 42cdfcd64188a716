"""What the bench reads behind each block of the line-level filter: at rest, and with the bring-up's sine."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np

from subwright.build.bringup_tone import bring_up_tone
from subwright.build.result import Design
from subwright.build.test_points.filter_supply import SupplyPoint, supply_points, supply_readings
from subwright.build.test_points.inputs import sine_reading, tone_state
from subwright.build.test_points.states import ANY_BATTERY, BATTERIES, NO_SIGNAL
from subwright.circuits.filter_circuit import block_nets
from subwright.circuits.netlist import Reading
from subwright.parts.library import Library
from subwright.stages.filter_offset import inner_offsets_v, offsets_v
from subwright.stages.filter_response import inner_levels

__all__ = ["filter_readings", "tone_levels_v"]

_NOMINAL: Final = list(BATTERIES)[1]


def tone_levels_v(design: Design) -> Mapping[str, float]:
    """Level of the bring-up's sine at each block's outputs by net, every knob as designed, V rms.

    Parameters
    ----------
    design : the build.

    Source
    ------
    Product of the blocks' transfer functions up to there; of a state-variable stage's inner outputs, its own
    output times ``ω R C`` of each integrator. [derived]
    """
    tone = bring_up_tone(design)
    reached = tone.input_v * design.input.gain
    found: dict[str, float] = {}
    for block, nets in zip(design.filter.blocks, block_nets(design.filter), strict=True):
        reached *= abs(complex(block.response.at(tone.hertz)))
        values = {**block.resistors_ohm, **block.capacitors_f}
        inner = inner_levels(block.kind, values, np.array([tone.hertz]))[:, 0]
        found |= {net: reached * float(share) for net, share in zip(nets, inner, strict=True)}
    return found


def filter_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings by net, of every block's output and of the supply.

    Parameters
    ----------
    design, library : the build and its parts.
    """
    tone, points = bring_up_tone(design), supply_points(design, library)
    levels = tone_levels_v(design)
    op_amp = library.op_amp(design.filter.op_amp)
    bounds = offsets_v(design.filter.blocks, op_amp)
    found: dict[str, tuple[Reading, ...]] = {}
    for block, nets, bound in zip(design.filter.blocks, block_nets(design.filter), bounds, strict=True):
        on_mid = design.filter.op_amp_supply.kind == "battery" and block.op_amps > 0
        for net, own in zip(nets, (bound, *inner_offsets_v(block, op_amp)), strict=True):
            rest = tuple(_rest(points, own, on_mid=on_mid))
            middle = next(row for row in rest if row.at.startswith((_NOMINAL, ANY_BATTERY)))
            at = tone_state(design, tone)
            sine = sine_reading(at, middle.dc_v, levels[net], tone.hertz, middle.within_v)
            found[net] = (*rest, sine)
    return {**found, **supply_readings(design, library)}


def _rest(points: tuple[SupplyPoint, ...], bound_v: float, *, on_mid: bool) -> Iterator[Reading]:
    if not on_mid:
        yield Reading(at=f"{ANY_BATTERY}, {NO_SIGNAL}", dc_v=0.0, within_v=bound_v)
        return
    for p in points:
        yield Reading(at=p.at, dc_v=p.middle_v, within_v=p.middle_within_v + bound_v)
