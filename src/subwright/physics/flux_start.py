"""Flux of a push-pull transformer in the first pulses after switch-on."""

from __future__ import annotations

import numpy as np

from subwright.physics.bounds import Floats, require_that

__all__ = ["flux_at_switch_on"]


def flux_at_switch_on(flux_peak_t: Floats, pulses: Floats) -> Floats:
    """Highest flux density while the pulses grow from nothing to full width in equal steps.

    Parameters
    ----------
    flux_peak_t : peak flux density of the settled drive at full width, T, >= 0.
    pulses : number of pulses (two per cycle) in which the width grows, >= 0, dimensionless; below 1 the very
        first pulse is of full width.

    Returns
    -------
    ``B (1 + 1/n)`` with n whole pulses, ``2 B`` where n is 0 or 1, T. The core starts from zero; each pulse
    undoes a little less than the one before it has done, and the rest is spread over all of them.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Alternating sum of the volt-seconds; remanence and the return of the magnetising current between narrow
    pulses, which only lowers it, are neglected. [derived]

    20 ms of soft start at 50 kHz, against none:

    >>> [round(float(flux_at_switch_on(0.15, n)), 4) for n in (2000, 0)]
    [0.1501, 0.3]
    """
    require_that(np.asarray(flux_peak_t) >= 0, "flux density, T", flux_peak_t, ">= 0 T")
    require_that(np.asarray(pulses) >= 0, "number of pulses", pulses, ">= 0")
    whole = np.maximum(np.floor(np.asarray(pulses, dtype=float)), 1.0)
    highest: Floats = flux_peak_t * (1.0 + 1.0 / whole)
    return highest
