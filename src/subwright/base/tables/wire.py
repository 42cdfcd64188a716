"""Wire sizes: American gauge by its rule, and metric enamelled round copper wire."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from subwright.base.errors import RangeError
from subwright.base.gauge import AWG_MAX, AWG_MIN, awg_area, awg_diameter, awg_name
from subwright.base.tables.origin import Origin
from subwright.base.units import show

__all__ = [
    "AWG",
    "METRIC_WIRE",
    "AwgSize",
    "EnamelledWire",
    "enamelled_overall",
    "enamelled_wire",
    "enamelled_wire_at_least",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class AwgSize:
    """One gauge of solid round wire: nominal bare diameter in m and section in m²."""

    n: int
    name: str
    diameter_m: float
    area_m2: float
    origin: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class EnamelledWire:
    """One nominal size of enamelled round copper wire.

    Attributes
    ----------
    conductor_m : nominal bare diameter, m.
    grade1_m, grade2_m : largest overall diameter with grade 1 and grade 2 insulation, m.
    series : "R20" for the preferred sizes, "R40" for the intermediate ones.
    """

    conductor_m: float
    grade1_m: float
    grade2_m: float
    series: str
    origin: Origin

    @property
    def area_m2(self) -> float:
        """Copper section, m²."""
        return 0.25 * math.pi * self.conductor_m**2

    def overall_m(self, grade: int) -> float:
        """Largest overall diameter in m for insulation grade 1 or 2.

        Raises
        ------
        RangeError : another grade.
        """
        if grade not in (1, 2):
            raise RangeError(
                message=f"the table holds insulation grades 1 and 2, not {grade}",
                quantity="insulation grade",
                value=str(grade),
                limit="1 or 2",
                source="iec-60317-0-1",
            )
        return self.grade1_m if grade == 1 else self.grade2_m


_AWG_ORIGIN = Origin(
    source="astm-b258", where="computed by the defining rule", status="read in a secondary page"
)

AWG: Mapping[int, AwgSize] = MappingProxyType(
    {
        n: AwgSize(n=n, name=awg_name(n), diameter_m=awg_diameter(n), area_m2=awg_area(n), origin=_AWG_ORIGIN)
        for n in range(AWG_MIN, AWG_MAX + 1)
    }
)
"""Gauge number to size; 1/0 to 4/0 are 0 to −3."""

# Nominal diameter, largest overall diameter of grade 1 and of grade 2, in micrometres.
_R20 = (
    (100, 117, 125),
    (112, 130, 139),
    (125, 144, 154),
    (140, 160, 171),
    (160, 182, 194),
    (180, 204, 217),
    (200, 226, 239),
    (224, 252, 266),
    (250, 281, 297),
    (280, 312, 329),
    (315, 349, 367),
    (355, 392, 411),
    (400, 439, 459),
    (450, 491, 513),
    (500, 544, 566),
    (560, 606, 630),
    (630, 679, 704),
    (710, 762, 789),
    (800, 855, 884),
    (900, 959, 989),
    (1000, 1062, 1094),
    (1120, 1184, 1217),
    (1250, 1316, 1349),
    (1400, 1468, 1502),
    (1600, 1670, 1706),
    (1800, 1872, 1909),
    (2000, 2074, 2112),
    (2240, 2316, 2355),
    (2500, 2578, 2618),
    (2800, 2880, 2922),
    (3150, 3233, 3276),
)
_R40_BETWEEN = (
    *(106, 118, 132, 150, 170, 190, 212, 236, 265, 300, 335, 375, 425, 475, 530, 600, 670, 750, 850, 950),
    *(1060, 1180, 1320, 1500, 1700, 1900, 2120, 2360, 2650, 3000),
)
# Largest overall diameters that a wire maker prints for two of the R40 sizes.
_R40_READ = {106: (123, 132), 118: (136, 145)}

# Rows whose increase a published gauge table or a maker's table repeats for both grades.
_CONFIRMED = {
    *(100, 112, 280, 315, 355, 450, 500, 560, 630, 800, 900, 1000, 1120, 1250, 1600, 1800, 2000, 2500),
    *(3150,),
}
_TABLE_1 = Origin(source="iec-60317-0-1", where="table 1, R20 sizes", status="from memory")
_TABLE_1_CONFIRMED = Origin(
    source="is-13730-0-1", where="table 1, R20 sizes", status="read in a secondary page"
)
_MAKER = Origin(source="enamelled-wire-maker", where="R40 sizes", status="read in a secondary page")
_BETWEEN = Origin(
    source="iec-60317-0-1",
    where="size between the rows of table 1: increase over bare wire as in the next larger row",
    status="derived",
)


def _enamelled() -> dict[float, EnamelledWire]:
    rows = [
        (bare, one, two, "R20", _TABLE_1_CONFIRMED if bare in _CONFIRMED else _TABLE_1)
        for bare, one, two in _R20
    ]
    for bare in _R40_BETWEEN:
        above, one, two = next(row for row in _R20 if row[0] > bare)
        if bare in _R40_READ:
            rows.append((bare, *_R40_READ[bare], "R40", _MAKER))
        else:
            rows.append((bare, bare + one - above, bare + two - above, "R40", _BETWEEN))
    return {
        bare / 1e6: EnamelledWire(
            conductor_m=bare / 1e6, grade1_m=one / 1e6, grade2_m=two / 1e6, series=series, origin=origin
        )
        for bare, one, two, series, origin in sorted(rows, key=lambda row: row[0])
    }


METRIC_WIRE: Mapping[float, EnamelledWire] = MappingProxyType(_enamelled())
"""Nominal bare diameter in m, ascending, to the row."""


def enamelled_wire(conductor_m: float) -> EnamelledWire:
    """The row of a nominal size of enamelled wire.

    Parameters
    ----------
    conductor_m : nominal bare diameter, m; must be a listed size.

    Returns
    -------
    The row.

    Raises
    ------
    RangeError : not a listed size; the message names the nearest ones.

    Source
    ------
    [iec-60317-0-1], table 1.

    Examples
    --------
    >>> enamelled_wire(0.5e-3).overall_m(2)
    0.000566
    """
    for size, row in METRIC_WIRE.items():
        if math.isclose(size, conductor_m, rel_tol=1e-6):
            return row
    near = sorted(sorted(METRIC_WIRE, key=lambda size: abs(size - conductor_m))[:2])
    raise RangeError(
        message="this is no nominal size of enamelled wire",
        quantity="bare diameter",
        value=f"{conductor_m * 1e3:.4g} mm",
        limit=_wire_range(),
        source="iec-60317-0-1",
        remedy="use " + " or ".join(f"{size * 1e3:g} mm" for size in near),
    )


def enamelled_wire_at_least(conductor_m: float) -> EnamelledWire:
    """The thinnest listed wire whose bare diameter is not below ``conductor_m``.

    Parameters
    ----------
    conductor_m : least bare diameter, m.

    Returns
    -------
    The row.

    Raises
    ------
    RangeError : thicker than the thickest listed wire, or not a positive number.

    Source
    ------
    [iec-60317-0-1], table 1.
    """
    if conductor_m > 0.0:
        for size, row in METRIC_WIRE.items():
            if size >= conductor_m * (1.0 - 1e-9):
                return row
    raise RangeError(
        message="no listed enamelled wire is that thick"
        if conductor_m > 0.0
        else "a bare diameter is positive",
        quantity="bare diameter",
        value=f"{conductor_m * 1e3:.4g} mm",
        limit=_wire_range(),
        source="iec-60317-0-1",
        remedy="use several strands, or foil",
    )


def enamelled_overall(conductor_m: float, grade: int) -> float:
    """Largest overall diameter of enamelled wire of any bare diameter within the table.

    A size between the rows of the standard's table takes the increase of the next larger R20 row. For R40
    sizes makers print up to some 2 µm less, so the rule is on the safe side of a full window.

    Parameters
    ----------
    conductor_m : bare diameter, m, 0.1 mm to 3.15 mm.
    grade : insulation grade, 1 or 2.

    Returns
    -------
    Overall diameter in m.

    Raises
    ------
    RangeError : the diameter is outside the table, or another grade.

    Source
    ------
    [iec-60317-0-1], table 1 and its rule for intermediate diameters; [is-13730-0-1] at gauge sizes.

    Examples
    --------
    A gauge size of 0.813 mm is printed as 0.872 mm for grade 1:

    >>> round(enamelled_overall(0.813e-3, 1) * 1e3, 3)
    0.872
    """
    sizes = tuple(METRIC_WIRE)
    if not sizes[0] * (1.0 - 1e-9) <= conductor_m <= sizes[-1] * (1.0 + 1e-9):
        raise RangeError(
            message="the table of enamelled wire does not reach this diameter",
            quantity="bare diameter",
            value=f"{conductor_m * 1e3:.4g} mm",
            limit=_wire_range(),
            source="iec-60317-0-1",
        )
    row = enamelled_wire_at_least(conductor_m)
    if math.isclose(row.conductor_m, conductor_m, rel_tol=1e-6):
        return row.overall_m(grade)
    above = next(r for r in METRIC_WIRE.values() if r.series == "R20" and r.conductor_m >= row.conductor_m)
    return conductor_m + above.overall_m(grade) - above.conductor_m


def _wire_range() -> str:
    sizes = tuple(METRIC_WIRE)
    return f"{show(sizes[0], 'length')} to {show(sizes[-1], 'length')}"
