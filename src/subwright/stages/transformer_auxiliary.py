"""The small winding that feeds low-power rails: thin wire over all others, with its room, wire and leakage.

Its current is a hundredth of the power windings' or less, and it lies outside the field between them: its
loss and eddies are left out, its copper, height and leakage are not.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import concentric_leakage
from subwright.physics.winding_loss import COPPER_DENSITY_KG_PER_M3, wire_resistance
from subwright.stages.transformer_lay import Laid, lay_winding
from subwright.stages.transformer_records import AuxiliaryNeed, TransformerSpec, Winding
from subwright.stages.transformer_tables import AUXILIARY_RMS, CoreTable

__all__ = ["auxiliary_leakage_h", "auxiliary_turns", "auxiliary_winding", "lay_auxiliary"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def auxiliary_turns(need: AuxiliaryNeed, primary_turns: Floats) -> Floats:
    """Whole turns of each half, shape of ``primary_turns``; never fewer than the need's ratio asks."""
    return np.asarray(np.ceil(need.ratio_least * np.asarray(primary_turns) - 1e-9))


def lay_auxiliary(
    spec: TransformerSpec, table: CoreTable, row: Ints, primary_turns: Floats, start_m: Floats
) -> Laid | None:
    """Lay the auxiliary winding of every candidate over the windings below and their tape.

    Parameters
    ----------
    spec, table : the builder's wishes; cores. row, primary_turns : columns, shape (n,).
    start_m : height at which the secondary ends, m, shape (n,).

    Returns
    -------
    Laid, shape (n,); None where the need has no auxiliary winding.
    """
    if table.auxiliary is None:
        return None
    need, wires = table.auxiliary
    one = np.ones(row.size)
    turns = auxiliary_turns(need, primary_turns)
    start = start_m + spec.insulation_m
    return lay_winding(spec, table, wires, row, turns, np.zeros(row.size, dtype=np.int64), one, 2, start, one)


def auxiliary_winding(
    spec: TransformerSpec, table: CoreTable, primary_turns: int, laid: Laid, temperature_c: float
) -> Winding:
    """The record of one transformer's auxiliary winding.

    Parameters
    ----------
    spec, table : as for ``lay_auxiliary``. primary_turns : whole. laid : of length 1.
    temperature_c : of the windings, \u00b0C.
    """
    assert table.auxiliary is not None
    need, wires = table.auxiliary
    wire, length, copper = wires.wires[0], float(laid.strand_m[0]), float(laid.copper_m2[0])
    resistance = float(wire_resistance(length, copper, min(temperature_c, 200.0)))
    rms_a = AUXILIARY_RMS * need.current_a
    return Winding(
        name="auxiliary",
        wire=wire,
        halves=2,
        turns=int(auxiliary_turns(need, np.array([float(primary_turns)]))[0]),
        strands=1,
        layers=int(laid.layers[0]),
        layers_below=0,
        build_m=float(laid.build_m[0]),
        bundle_m=float(laid.bundle_m[0]),
        strand_length_m=length,
        cut_length_m=math.ceil((length + 2.0 * spec.cut_margin_m) * 100.0) / 100.0,
        resistance_dc_ohm=resistance,
        resistance_ac_ohm=resistance,
        copper_m2=copper,
        rms_a=rms_a,
        current_density_a_per_m2=rms_a / copper,
        heating_density_a_per_m2=rms_a / copper,
        full_w=2.0 * rms_a**2 * resistance,
        proximity_share=0.0,
        mass_kg=float(2.0 * length * copper * COPPER_DENSITY_KG_PER_M3),
    )


def auxiliary_leakage_h(
    spec: TransformerSpec, primary: Winding, secondary: Winding, auxiliary: Winding, breadth_m: float
) -> float:
    """Leakage from primary to auxiliary winding, referred to one half-primary, H.

    Parameters
    ----------
    spec : the builder's wishes. primary, secondary, auxiliary : the windings. breadth_m : of the field, m.

    Returns
    -------
    inductance; the secondary and both tapes between count as a gap, because the field fills them.

    Source
    ------
    Concentric windings, as for the main leakage. [snelling1988]
    """
    leads = 2.0 * spec.lead_m
    turn = 0.5 * sum((w.strand_length_m - leads) / w.turns for w in (primary, auxiliary))
    between = secondary.build_m + 2.0 * spec.insulation_m
    return float(
        concentric_leakage(primary.turns, turn, breadth_m, primary.build_m + auxiliary.build_m, between)
    )
