"""Stranded copper cable: largest conductor resistance at 20 °C, and what a single cable may carry.

A current rating holds for one cable in free air. In a bundle, in a conduit or near an engine it is lower; the
maker's sheet and the local code decide.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from subwright.base.errors import RangeError
from subwright.base.tables.origin import Origin
from subwright.base.units import show

__all__ = [
    "IEC60228_CLASS5",
    "VEHICLE_CABLE",
    "CableSize",
    "CableStandard",
    "cable",
    "cable_at_least",
    "cables",
]

CableStandard = Literal["vehicle", "iec60228"]


@dataclass(frozen=True, kw_only=True, slots=True)
class CableSize:
    """One nominal section.

    Attributes
    ----------
    section_m2 : nominal section, m².
    resistance_ohm_per_m : largest resistance of the conductor at 20 °C, Ω/m.
    current_a : rating of a single cable in free air, A; None where no figure is known.
    origin : of the resistance.
    current_origin : of the rating; None where there is none.
    """

    section_m2: float
    resistance_ohm_per_m: float
    current_a: float | None
    origin: Origin
    current_origin: Origin | None


_VEHICLE = Origin(source="iso-6722-1", where="largest conductor resistance at 20 °C", status="from memory")
_CLASS5 = Origin(
    source="iec-60228", where="table 3, class 5, plain copper", status="read in a secondary page"
)
_THIN_WALL = Origin(
    source="thin-wall-cable",
    where="maker's nominal rating, one cable in free air",
    status="read in a secondary page",
)
_FIXED = Origin(
    source="din-vde-0276-1000",
    where="fixed wiring at 30 °C, on the safe side",
    status="read in a secondary page",
)
_FIXED_LARGE = Origin(
    source="din-vde-0276-1000", where="fixed wiring at 30 °C, on the safe side", status="from memory"
)

# Section in mm² to A. Above 10 mm² there is no thin-wall figure, and the fixed-wiring one is the lower habit.
_CURRENT: dict[float, tuple[float, Origin]] = {
    **{
        section: (current, _THIN_WALL)
        for section, current in (
            (0.5, 11.0),
            (0.75, 14.0),
            (1.0, 16.5),
            (1.5, 21.0),
            (2.0, 25.0),
            (2.5, 29.0),
            (3.0, 33.0),
            (4.0, 39.0),
            (6.0, 50.0),
            (10.0, 70.0),
        )
    },
    **{
        section: (current, _FIXED)
        for section, current in ((16.0, 82.0), (25.0, 108.0), (35.0, 135.0), (50.0, 168.0), (70.0, 207.0))
    },
    **{section: (current, _FIXED_LARGE) for section, current in ((95.0, 250.0), (120.0, 292.0))},
}
_FIXED_SMALL = {1.5: 18.0, 2.5: 26.0, 4.0: 34.0, 6.0: 44.0, 10.0: 61.0}  # for cable that is not thin-wall

# Section in mm² and resistance in mΩ/m.
_VEHICLE_ROWS = (
    (0.35, 54.4),
    (0.5, 37.1),
    (0.75, 24.7),
    (1.0, 18.5),
    (1.25, 14.9),
    (1.5, 12.7),
    (2.0, 9.42),
    (2.5, 7.60),
    (3.0, 6.15),
    (4.0, 4.71),
    (5.0, 3.94),
    (6.0, 3.14),
    (8.0, 2.38),
    (10.0, 1.82),
    (12.0, 1.52),
    (16.0, 1.16),
    (20.0, 0.955),
    (25.0, 0.743),
    (30.0, 0.647),
    (35.0, 0.527),
    (40.0, 0.473),
    (50.0, 0.368),
    (60.0, 0.315),
    (70.0, 0.259),
    (95.0, 0.196),
    (120.0, 0.153),
)
_CLASS5_ROWS = (
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
    (4.0, 4.95),
    (6.0, 3.30),
    (10.0, 1.91),
    (16.0, 1.21),
    (25.0, 0.780),
    (35.0, 0.554),
    (50.0, 0.386),
    (70.0, 0.272),
    (95.0, 0.206),
    (120.0, 0.161),
)


def _vehicle_row(section: float, resistance: float) -> CableSize:
    current, origin = _CURRENT.get(section, (None, None))
    return CableSize(
        section_m2=section / 1e6,
        resistance_ohm_per_m=resistance / 1e3,
        current_a=current,
        origin=_VEHICLE,
        current_origin=origin,
    )


def _class5_row(section: float, resistance: float) -> CableSize:
    current: float | None = _FIXED_SMALL.get(section)
    origin: Origin | None = _FIXED if current is not None else None
    if section >= 16.0:
        current, origin = _CURRENT[section]
    return CableSize(
        section_m2=section / 1e6,
        resistance_ohm_per_m=resistance / 1e3,
        current_a=current,
        origin=_CLASS5,
        current_origin=origin,
    )


VEHICLE_CABLE: Mapping[float, CableSize] = MappingProxyType(
    {row.section_m2: row for row in (_vehicle_row(*pair) for pair in _VEHICLE_ROWS)}
)
"""Section in m², ascending, to the row: single-core vehicle cable."""

IEC60228_CLASS5: Mapping[float, CableSize] = MappingProxyType(
    {row.section_m2: row for row in (_class5_row(*pair) for pair in _CLASS5_ROWS)}
)
"""Section in m², ascending, to the row: flexible cable of conductor class 5."""


def cables(standard: CableStandard) -> Mapping[float, CableSize]:
    """The table of a cable standard.

    Parameters
    ----------
    standard : "vehicle" (ISO 6722-1) or "iec60228" (conductor class 5).

    Returns
    -------
    Section in m², ascending, to the row.

    Source
    ------
    [iso-6722-1], [iec-60228] table 3.
    """
    return VEHICLE_CABLE if standard == "vehicle" else IEC60228_CLASS5


def cable(section_m2: float, standard: CableStandard) -> CableSize:
    """The row of a nominal section.

    Parameters
    ----------
    section_m2 : nominal section, m²; must be a listed size.
    standard : "vehicle" or "iec60228".

    Returns
    -------
    The row.

    Raises
    ------
    RangeError : not a listed section; the message names the nearest ones.

    Source
    ------
    [iso-6722-1], [iec-60228] table 3.

    Examples
    --------
    >>> round(cable(2.5e-6, "vehicle").resistance_ohm_per_m * 1e3, 2)
    7.6
    """
    table = cables(standard)
    for section, row in table.items():
        if math.isclose(section, section_m2, rel_tol=1e-6):
            return row
    near = sorted(sorted(table, key=lambda section: abs(section - section_m2))[:2])
    raise _refuse(
        "this is no nominal section of the cable standard",
        section_m2,
        standard,
        "use " + " or ".join(f"{section * 1e6:g} mm²" for section in near),
    )


def cable_at_least(section_m2: float, standard: CableStandard) -> CableSize:
    """The thinnest listed cable whose nominal section is not below ``section_m2``.

    Parameters
    ----------
    section_m2 : least section, m².
    standard : "vehicle" or "iec60228".

    Returns
    -------
    The row.

    Raises
    ------
    RangeError : thicker than the thickest listed cable, or not a positive number.

    Source
    ------
    [iso-6722-1], [iec-60228] table 3.
    """
    if section_m2 > 0.0:
        for section, row in cables(standard).items():
            if section >= section_m2 * (1.0 - 1e-9):
                return row
    raise _refuse(
        "no listed cable is that thick" if section_m2 > 0.0 else "a section is positive",
        section_m2,
        standard,
        "shorten the run, run two cables each with its own fuse, or raise the system voltage",
    )


def _refuse(message: str, section_m2: float, standard: CableStandard, remedy: str) -> RangeError:
    sections = tuple(cables(standard))
    return RangeError(
        message=message,
        quantity="copper section",
        value=f"{section_m2 * 1e6:.4g} mm²",
        limit=f"{show(sections[0], 'area')} to {show(sections[-1], 'area')}",
        source="iso-6722-1" if standard == "vehicle" else "iec-60228",
        remedy=remedy,
    )
