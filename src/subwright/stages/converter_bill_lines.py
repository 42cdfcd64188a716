"""Lines that every converter's bill of materials has: preferred resistors and capacitors, banks of cans."""

from __future__ import annotations

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import Capacitor
from subwright.stages.common import PartUse, Rating

__all__ = ["bank_line", "capacitor_line", "resistor_line"]

_PREFERRED = "IEC 60063 preferred value"


def resistor_line(
    role: str,
    ohm: float,
    quantity: int,
    watts: float = 0.25,
    heat_w: float | None = None,
    *,
    at: str = "highest battery",
) -> PartUse:
    """A resistor.

    Parameters
    ----------
    role : what it does. ohm : preferred value, Ω. quantity : pieces. watts : size, W.
    heat_w : what it takes, W; None where that is too little to count. at : where it takes that.
    """
    return PartUse(
        role=role,
        letter="R",
        part_id=code(ohm, "resistance"),
        description=f"resistor {watts:g} W",
        quantity=quantity,
        value=show(ohm, "resistance"),
        tolerance=0.01 if watts <= 0.25 else 0.05,
        ratings=()
        if heat_w is None
        else (Rating(quantity="dissipation", unit="W", applied=heat_w, limit=watts, at=at),),
        provenance=_PREFERRED,
    )


def capacitor_line(
    role: str, farad: float, quantity: int, kind: str, volts: float, tolerance: float
) -> PartUse:
    """A capacitor that is no can of a bank.

    Parameters
    ----------
    role : what it does. farad : preferred value, F. quantity : pieces. kind : what it is made of.
    volts : rating, V. tolerance : a fraction.
    """
    return PartUse(
        role=role,
        letter="C",
        part_id=code(farad, "capacitance"),
        description=f"{kind} {volts:g} V",
        quantity=quantity,
        value=show(farad, "capacitance"),
        tolerance=tolerance,
        provenance=_PREFERRED,
    )


def bank_line(
    role: str,
    can: Capacitor,
    quantity: int,
    library: Library,
    *,
    volts: float,
    at: str,
    ripple_a: float,
    ripple_at: str,
    substitutes: tuple[str, ...],
) -> PartUse:
    """Cans of a bank.

    Parameters
    ----------
    role : what they do. can : each. quantity : pieces. library : parts with the drawer merged.
    volts : across each, V, and where. ripple_a : rms through each, A, and where. substitutes : ids.
    """
    document = can.provenance.document
    return PartUse(
        role=role,
        letter="C",
        part_id=can.id,
        description=can.description,
        quantity=quantity,
        value=show(can.capacitance_f, "capacitance"),
        tolerance=can.tolerance,
        ratings=(
            Rating(quantity="voltage", unit="V", applied=volts, limit=can.voltage_v, source=document, at=at),
            Rating(
                quantity="ripple current, rms",
                unit="A",
                applied=ripple_a,
                limit=can.ripple_a or float("inf"),
                source=document,
                at=ripple_at,
            ),
        ),
        in_drawer=library.in_drawer(can.id) >= quantity,
        substitutes=substitutes,
        provenance=can.provenance.kind,
    )
