"""The auxiliary supply on a sheet: winding, rectifier, capacitors of both small rails."""

from __future__ import annotations

from subwright.circuits.netlist import GROUND
from subwright.outputs.schematic_controller import point
from subwright.outputs.schematic_kit import Kit

__all__ = ["draw_auxiliary"]


def draw_auxiliary(kit: Kit) -> None:
    """Draw the auxiliary supply's netlist."""
    sheet, x, middle = kit.sheet, 260, 300
    first, second = kit.circuit.part("T101E"), kit.circuit.part("T101F")
    kit.upright(first, "aux_a", x, middle - 50)
    kit.upright(second, GROUND, x, middle + 10)
    sheet.core(x - 20, middle - 60, middle + 60)
    sheet.wire((x, middle - 10), (x, middle), (x, middle + 10))
    sheet.wire((x, middle), (x + 40, middle), (x + 40, middle + 10))
    sheet.ground(GROUND, (x + 40, middle + 10))
    upper, lower, a, b = middle - 120, middle + 120, x + 200, x + 280
    sheet.wire((x, middle - 50), (x, upper), (a, upper))
    sheet.wire((x, middle + 50), (x, lower), (b, lower))
    diodes = kit.circuit.by_role("auxiliary rectifier")
    for net, column, y in (("aux_a", a, upper), ("aux_b", b, lower)):
        to_plus = next(p for p in diodes if p.nets == (net, "aux_positive"))
        from_minus = next(p for p in diodes if p.nets == ("aux_negative", net))
        kit.upright(to_plus, "aux_positive", column, middle - 200)
        kit.upright(from_minus, net, column, middle + 170)
        sheet.wire((column, middle - 160), (column, y), (column, middle + 170))
        sheet.wire((column, middle - 200), (column, middle - 220))
        sheet.wire((column, middle + 210), (column, middle + 230))
    for net, y in (("aux_positive", middle - 220), ("aux_negative", middle + 230)):
        capacitor = next(p for p in kit.circuit.by_role("auxiliary capacitor") if net in p.nets)
        sheet.wire((a, y), (b, y), (b + 100, y), (b + 180, y))
        sheet.ground(GROUND, kit.upright(capacitor, net, b + 100, y).end(capacitor, net))
        point(kit, net, (b + 50, y))
        sheet.flag(net, (b + 180, y), "right", "to the filter's regulator, in place of the main rail")
