"""Panel sheets and wood screws as they are sold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from subwright.base.errors import RangeError
from subwright.base.tables.origin import Origin
from subwright.base.units import show

__all__ = ["SHEETS", "WOOD_SCREWS", "PanelMaterial", "Sheet", "WoodScrew", "sheets_of", "wood_screw"]

PanelMaterial = Literal["plywood", "mdf"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """One sheet size: the long and the short side in m, and the thicknesses it is commonly sold in, m."""

    name: str
    material: PanelMaterial
    length_m: float
    width_m: float
    thicknesses_m: tuple[float, ...]
    origin: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class WoodScrew:
    """One nominal diameter of wood screw: pilot hole, clearance hole, and lengths on sale, all in m."""

    diameter_m: float
    pilot_m: float
    clearance_m: float
    lengths_m: tuple[float, ...]
    origin: Origin


_HABIT = Origin(source="common-practice", where="sizes on sale; ask the yard", status="common practice")
_PLYWOOD = tuple(t / 1e3 for t in (6.5, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0, 30.0))
_MDF = tuple(t / 1e3 for t in (6.0, 9.0, 12.0, 15.0, 16.0, 18.0, 19.0, 22.0, 25.0, 30.0))


def _sheet(name: str, material: PanelMaterial, length: float, width: float) -> Sheet:
    return Sheet(
        name=name,
        material=material,
        length_m=length,
        width_m=width,
        thicknesses_m=_PLYWOOD if material == "plywood" else _MDF,
        origin=_HABIT,
    )


SHEETS: tuple[Sheet, ...] = (
    _sheet("plywood 2440 x 1220", "plywood", 2.44, 1.22),
    _sheet("plywood 2500 x 1250", "plywood", 2.50, 1.25),
    _sheet("plywood half 1250 x 1250", "plywood", 1.25, 1.25),
    _sheet("plywood half 1220 x 1220", "plywood", 1.22, 1.22),
    _sheet("mdf 2440 x 1220", "mdf", 2.44, 1.22),
    _sheet("mdf 2800 x 2070", "mdf", 2.80, 2.07),
    _sheet("mdf half 2070 x 1400", "mdf", 2.07, 1.40),
    _sheet("mdf half 1220 x 1220", "mdf", 1.22, 1.22),
)
"""Whole and half sheets."""


def _screw(diameter: float, pilot: float, clearance: float, *lengths: float) -> WoodScrew:
    return WoodScrew(
        diameter_m=diameter / 1e3,
        pilot_m=pilot / 1e3,
        clearance_m=clearance / 1e3,
        lengths_m=tuple(length / 1e3 for length in lengths),
        origin=_HABIT,
    )


WOOD_SCREWS: tuple[WoodScrew, ...] = (
    _screw(3.0, 2.0, 3.2, 12, 16, 20, 25, 30, 35, 40),
    _screw(3.5, 2.5, 3.7, 16, 20, 25, 30, 35, 40, 45, 50),
    _screw(4.0, 2.5, 4.2, 20, 25, 30, 35, 40, 45, 50, 60, 70),
    _screw(4.5, 3.0, 4.7, 25, 30, 35, 40, 45, 50, 60, 70, 80),
    _screw(5.0, 3.5, 5.2, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100),
    _screw(6.0, 4.0, 6.2, 40, 50, 60, 70, 80, 90, 100, 120),
)
"""By nominal diameter, ascending."""


def sheets_of(material: PanelMaterial, thickness_m: float) -> tuple[Sheet, ...]:
    """Sheet sizes in which a material is sold at a thickness.

    Parameters
    ----------
    material : "plywood" or "mdf".
    thickness_m : panel thickness, m.

    Returns
    -------
    Sheets, whole ones and halves.

    Raises
    ------
    RangeError : not sold at that thickness; the message names the thicknesses.

    Source
    ------
    [common-practice]
    """
    found = tuple(
        sheet
        for sheet in SHEETS
        if sheet.material == material and any(abs(t - thickness_m) < 1e-6 for t in sheet.thicknesses_m)
    )
    if found:
        return found
    listed = next((sheet.thicknesses_m for sheet in SHEETS if sheet.material == material), ())
    raise RangeError(
        message=f"{material} is not commonly sold at this thickness",
        quantity="panel thickness",
        value=f"{thickness_m * 1e3:.4g} mm",
        limit=", ".join(show(t, "length") for t in listed),
        source="common-practice",
        remedy="use a listed thickness, or give the sheet's own size",
    )


def wood_screw(diameter_m: float) -> WoodScrew:
    """The row of a nominal wood screw diameter.

    Parameters
    ----------
    diameter_m : nominal diameter, m; must be a listed size.

    Returns
    -------
    The row.

    Raises
    ------
    RangeError : not a listed size.

    Source
    ------
    [common-practice]
    """
    for row in WOOD_SCREWS:
        if abs(row.diameter_m - diameter_m) < 1e-6:
            return row
    raise RangeError(
        message="this is no listed wood screw size",
        quantity="screw diameter",
        value=f"{diameter_m * 1e3:.4g} mm",
        limit=", ".join(show(row.diameter_m, "length") for row in WOOD_SCREWS),
        source="common-practice",
    )
