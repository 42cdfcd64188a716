"""Low-power rails for filter and small-signal circuits: from the main rails, or from an extra winding."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from subwright.base.preferred import at_least
from subwright.stages.converter_spec import ConverterDemand, ConverterSpec, Magnetics

__all__ = ["Auxiliary", "auxiliary_ratio", "design_auxiliary"]

_REGULATED_V = 15.0
_DROPOUT_V = 3.0  # of a 317-family regulator and its like
_DIODE_V = 0.9  # fast small-signal rectifier
_SAG = 0.90  # battery at the low corner under load over the same at rest
_LEAKAGE_SHARE = 0.9  # of the winding's volts that a peak-charged small rail reaches; common practice
_RIPPLE_V = 0.2


@dataclass(frozen=True, kw_only=True, slots=True)
class Auxiliary:
    """Feed of the ±15 V regulators; voltages are one side's, before the regulator."""

    source: str  # "rails" or "winding"
    turns: int  # each half of the winding; 0 where the rails feed
    current_a: float  # each side
    low_v: float
    high_v: float
    heat_w: float  # both regulators, highest battery
    other_heat_w: float  # the same if the other way had been taken
    reservoir_f: float  # each side; 0 where the rails feed
    primary_a: float  # mean current that the winding takes, seen from the battery


def auxiliary_ratio(emf_low_v: float) -> float:
    """Turns of one auxiliary half over the primary's, least: 15 V and dropout on a tired battery.

    Parameters
    ----------
    emf_low_v : battery at the low corner, at rest, V.
    """
    return (_REGULATED_V + _DROPOUT_V + _DIODE_V) / (_LEAKAGE_SHARE * _SAG * emf_low_v)


def design_auxiliary(
    spec: ConverterSpec,
    demand: ConverterDemand,
    magnetics: Magnetics,
    rail_low_v: float,
    rail_high_v: float,
    switching_hz: float,
    share: float,
) -> Auxiliary:
    """Turns of a small centre-tapped winding, or what the main rails cost instead.

    Parameters
    ----------
    spec : the builder's wishes. demand : battery. magnetics : the wound transformer.
    rail_low_v, rail_high_v : main rail, least and highest, V. switching_hz : Hz. share : conducting share.

    Returns
    -------
    Auxiliary; the turns are whole and keep 15 V and the regulator's dropout on a tired battery.
    """
    volts_low = _SAG * demand.emf_low_v / magnetics.primary_turns  # of one turn
    turns = ceil(auxiliary_ratio(demand.emf_low_v) * magnetics.primary_turns - 1e-9)
    low = turns * volts_low * _LEAKAGE_SHARE - _DIODE_V
    high = turns * demand.emf_max_v / magnetics.primary_turns - _DIODE_V
    by_winding = 2.0 * (high - _REGULATED_V) * spec.auxiliary_current_a
    by_rails = 2.0 * max(rail_high_v - _REGULATED_V, 0.0) * spec.auxiliary_current_a
    if spec.auxiliary_feed == "rails":
        return Auxiliary(
            source="rails",
            turns=0,
            current_a=spec.auxiliary_current_a,
            low_v=rail_low_v,
            high_v=rail_high_v,
            heat_w=by_rails,
            other_heat_w=by_winding,
            reservoir_f=0.0,
            primary_a=0.0,
        )
    needed = spec.auxiliary_current_a * (1.0 - 0.5 * share) / (2.0 * switching_hz * _RIPPLE_V)
    return Auxiliary(
        source="winding",
        turns=turns,
        current_a=spec.auxiliary_current_a,
        low_v=low,
        high_v=high,
        heat_w=by_winding,
        other_heat_w=by_rails,
        reservoir_f=at_least(max(needed, 47e-6), "E6"),
        primary_a=2.0 * spec.auxiliary_current_a * turns / magnetics.primary_turns,
    )
