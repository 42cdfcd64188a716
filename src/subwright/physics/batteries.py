"""Habits of vehicle batteries: internal resistance, running time, and the voltages they are met at.

Where a standard sets a voltage it is named; the rest is common practice without a document, and says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

__all__ = ["BATTERIES", "Battery", "BatteryKind", "CornerDefault", "corner_defaults"]

BatteryKind = Literal["lead-acid", "agm", "lfp"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Battery:
    """Habits of one battery chemistry.

    Attributes
    ----------
    ohm_ah : internal resistance of a healthy 12 V block times its capacity, Ω·Ah.
    peukert : Peukert exponent. usable : share of the capacity that is used in practice.
    full_v : a full 12 V block at rest, V.
    """

    ohm_ah: float
    peukert: float
    usable: float
    full_v: float


BATTERIES: Final[Mapping[BatteryKind, Battery]] = MappingProxyType(
    {
        "lead-acid": Battery(ohm_ah=0.40, peukert=1.20, usable=0.5, full_v=12.6),
        "agm": Battery(ohm_ah=0.25, peukert=1.10, usable=0.5, full_v=12.8),
        "lfp": Battery(ohm_ah=1.0, peukert=1.03, usable=0.8, full_v=13.3),
    }
)
"""Common practice, no source: a 12 V block of 70 Ah measures about 5.7 mΩ (flooded), 3.6 mΩ (AGM); a 100 Ah
LFP block with its management circuit about 10 mΩ. At rest a full block stands at 2.1 V per lead cell, a
little more for AGM, 3.32 V per LFP cell."""


@dataclass(frozen=True, slots=True)
class CornerDefault:
    """A voltage in V and where it comes from."""

    volts: float
    why: str


_TIRED = (
    "1.92 V per cell at rest, a flat battery (common practice); the 10.5 V of code D, ISO 16750-2, is met at "
    "the terminals under load"
)
_LEAD_NOMINAL = "2.0 V per cell, the system's name"
_LFP_LOW = "3.0 V per cell under load, nearly empty (common practice)"
_LFP_NOMINAL = "3.2 V per cell, the cell's name"
_LFP_MIN = "2.5 V per cell, where the management circuit cuts off (common practice)"
_NO_STARTER = "1.67 V per cell; a bank of this voltage seldom starts an engine (common practice)"
_MAX_48 = "58 V, the rated voltage of ISO 8820 links and below the 60 V limit of extra-low voltage"

_LEAD: Final[Mapping[int, tuple[CornerDefault, ...]]] = {
    12: (
        CornerDefault(6.0, "cranking: lower limit of code A, ISO 16750-2"),
        CornerDefault(11.5, _TIRED),
        CornerDefault(12.0, _LEAD_NOMINAL),
        CornerDefault(14.4, "2.4 V per cell, absorption charge (common practice)"),
        CornerDefault(16.0, "upper limit of codes A to D, ISO 16750-2"),
    ),
    24: (
        CornerDefault(10.0, "cranking: lower limit of code E, ISO 16750-2"),
        CornerDefault(23.0, _TIRED),
        CornerDefault(24.0, _LEAD_NOMINAL),
        CornerDefault(28.8, "2.4 V per cell, absorption charge (common practice)"),
        CornerDefault(32.0, "upper limit of codes E to H, ISO 16750-2"),
    ),
    36: (
        CornerDefault(30.0, _NO_STARTER),
        CornerDefault(34.5, _TIRED),
        CornerDefault(36.0, _LEAD_NOMINAL),
        CornerDefault(43.2, "2.4 V per cell, absorption charge (common practice)"),
        CornerDefault(46.5, "2.58 V per cell, equalising a cold bank (common practice)"),
    ),
    48: (
        CornerDefault(40.0, _NO_STARTER),
        CornerDefault(46.0, _TIRED),
        CornerDefault(48.0, _LEAD_NOMINAL),
        CornerDefault(57.6, "2.4 V per cell, absorption charge (common practice)"),
        CornerDefault(58.0, _MAX_48),
    ),
}
_LFP: Final[Mapping[int, tuple[CornerDefault, ...]]] = {
    12: (
        CornerDefault(10.0, _LFP_MIN),
        CornerDefault(12.0, _LFP_LOW),
        CornerDefault(12.8, _LFP_NOMINAL),
        CornerDefault(14.4, "3.6 V per cell, end of charge (common practice)"),
        CornerDefault(16.0, "upper limit of codes A to D, ISO 16750-2: the alternator may be left alone"),
    ),
    24: (
        CornerDefault(20.0, _LFP_MIN),
        CornerDefault(24.0, _LFP_LOW),
        CornerDefault(25.6, _LFP_NOMINAL),
        CornerDefault(28.8, "3.6 V per cell, end of charge (common practice)"),
        CornerDefault(32.0, "upper limit of codes E to H, ISO 16750-2: the alternator may be left alone"),
    ),
    36: (
        CornerDefault(30.0, _LFP_MIN),
        CornerDefault(36.0, _LFP_LOW),
        CornerDefault(38.4, _LFP_NOMINAL),
        CornerDefault(43.2, "3.6 V per cell, end of charge (common practice)"),
        CornerDefault(43.8, "3.65 V per cell, where the management circuit cuts off (common practice)"),
    ),
    48: (
        CornerDefault(40.0, _LFP_MIN),
        CornerDefault(48.0, _LFP_LOW),
        CornerDefault(51.2, _LFP_NOMINAL),
        CornerDefault(57.6, "3.6 V per cell, end of charge (common practice)"),
        CornerDefault(58.0, _MAX_48),
    ),
}


def corner_defaults(battery: BatteryKind, system_v: int) -> tuple[CornerDefault, ...]:
    """Open-circuit voltages of a battery, from cranking to the highest.

    Parameters
    ----------
    battery : chemistry.
    system_v : 12, 24, 36 or 48 V.

    Returns
    -------
    Five defaults: cranking, low, nominal, charging, highest.

    Source
    ------
    Supply codes of [iso-16750-2] where they exist, otherwise per-cell habits [common-practice]; 58 V for
    48 V systems after the rating of [iso-8820-3] links.

    >>> [d.volts for d in corner_defaults("lead-acid", 12)]
    [6.0, 11.5, 12.0, 14.4, 16.0]
    """
    return (_LFP if battery == "lfp" else _LEAD)[system_v]
