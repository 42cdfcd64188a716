"""The rail that a winding gives at the crest: peak-charged, or held by an output choke.

One set of formulas serves the candidates' own figures, the quick look at what can't do, and the ratio to
begin with, so the three can't disagree.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.physics.push_pull import pulse_average
from subwright.stages.transformer_records import RailNeed, TransformerNeed

__all__ = ["loaded_rail_v", "ratio_for_rail"]

Floats = NDArray[np.float64]

_TERMINAL: float = 0.9  # of the battery, left at its terminals at the crest; to turn power into current


def loaded_rail_v(
    need: TransformerNeed,
    rail: RailNeed,
    ratio: Floats,
    primary_ohm: Floats,
    secondary_ohm: Floats,
    leakage_h: Floats,
) -> Floats:
    """Working rail at the crest; all arrays of one shape.

    Parameters
    ----------
    need, rail : what is asked. ratio : Ns/Np. primary_ohm : one half-primary, without switch and links.
    secondary_ohm : one half-secondary, without its diode. leakage_h : referred to one half-primary, H.

    Returns
    -------
    rail, V.

    Source
    ------
    Peak-charged: averaged pulse of ``physics.push_pull``. Held: conducting share less commutation,
    ``2 f L n I / V``, buck-derived. [derived] [pressman1998]
    """
    primary = rail.path_ohm + primary_ohm
    secondary = (rail.diode_ohm + secondary_ohm) / rail.halves_loaded
    if rail.held:
        base, slope = _held(need, rail, primary, leakage_h)
        return np.asarray(ratio * base - rail.diode_v - rail.crest_a * (ratio**2 * slope + secondary))
    loop = primary + secondary / ratio**2
    averaging = need.duty * pulse_average(need.duty / (2.0 * need.switching_hz), leakage_h, loop)
    drop = ratio**2 * (rail.source_ohm + loop / averaging)
    return np.asarray(ratio * rail.emf_v - rail.diode_v - rail.crest_a * drop)


def _held(
    need: TransformerNeed, rail: RailNeed, primary_ohm: Floats, leakage_h: Floats
) -> tuple[float, Floats]:
    """(volts per unit of ratio without load, ohm per ratio squared) of a rail behind a choke."""
    battery_a = rail.crest_a * rail.needed_v / (_TERMINAL * rail.emf_v)
    terminal = rail.emf_v - rail.source_ohm * battery_a
    return need.duty * terminal, need.duty * primary_ohm + 2.0 * need.switching_hz * leakage_h


def ratio_for_rail(
    need: TransformerNeed, rail: RailNeed, ratio: float, copper_ohm: float, leakage_h: Floats
) -> Floats:
    """Ratio that gives the rail needed, shape of ``leakage_h``; the resistances taken at a ratio near it.

    Parameters
    ----------
    need, rail : what is asked. ratio : near the one looked for. copper_ohm : of both windings, referred to
        the primary. leakage_h : referred to one half-primary, H.
    """
    if rail.held:
        base, slope = _held(need, rail, np.asarray(rail.path_ohm + copper_ohm), leakage_h)
        secondary = rail.diode_ohm / rail.halves_loaded
        asked = rail.needed_v + rail.diode_v + rail.crest_a * secondary
    else:
        loop = np.asarray(rail.path_ohm + rail.diode_ohm / rail.halves_loaded / ratio**2 + copper_ohm)
        averaging = need.duty * pulse_average(need.duty / (2.0 * need.switching_hz), leakage_h, loop)
        base, slope, asked = rail.emf_v, rail.source_ohm + loop / averaging, rail.needed_v + rail.diode_v
    drop = rail.crest_a * slope
    room = np.maximum(base**2 - 4.0 * drop * asked, 0.0)
    return np.asarray((base - np.sqrt(room)) / (2.0 * drop))
