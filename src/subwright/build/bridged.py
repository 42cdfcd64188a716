"""A full bridge across both rails, in a chain that counts rails one at a time.

The chain reckons the whole demand as the current of one working rail. A bridge takes it from both rails at
once, half the current from each: the sum of the rail currents, and so the primary, is the same; what runs
through a secondary, a diode, a reservoir or a winding of the output choke is half. Halving the resistances on
that side makes drop and loss exact, and the currents shown are put right afterwards. While a choke
freewheels, two rails alike leave the half-secondaries without current, which one working rail doesn't.
"""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from subwright.build.chain_model import ChainPoint, ConverterModel

__all__ = ["shared_model", "shared_point"]


def shared_model(model: ConverterModel) -> ConverterModel:
    """The converter as a bridge across both rails sees it.

    Source
    ------
    ``2 R (i/2)² = (R/2) i²``. [derived]
    """
    return replace(
        model,
        secondary_winding_ohm=0.5 * model.secondary_winding_ohm,
        diode_ohm=0.5 * model.diode_ohm,
        reservoir_esr_ohm=0.5 * model.reservoir_esr_ohm,
        choke_ohm=0.5 * model.choke_ohm,
        both_rails=True,
    )


def shared_point(point: ChainPoint) -> ChainPoint:
    """The point with the currents of one rail where the chain has put both into one."""
    return replace(
        point,
        secondary_rms_a=point.secondary_rms_a / sqrt(2.0),
        reservoir_ripple_a=point.reservoir_ripple_a / sqrt(2.0),
        rail_peak_a=0.5 * point.rail_peak_a,
        rail_other_v=point.rail_crest_v,
    )
