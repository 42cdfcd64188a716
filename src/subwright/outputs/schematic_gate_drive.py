"""The gate drive on a sheet: drivers, a bridge's gate transformer, resistor and pull-down for each gate."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from subwright.circuits.gate_drive_circuit import POSITIONS
from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_controller import point
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point

__all__ = ["draw_gate_drive"]

_ROWS: Final[Mapping[str, int]] = {"a": 160, "b": 450}
_LEFT: Final = 170
_BUS: Final = 330  # x at which a driver's node ends
_WINDING: Final = 480


def draw_gate_drive(kit: Kit, feed: str) -> None:
    """Draw the gate drive's netlist; ``feed`` is the net of the drivers' supply."""
    bridged = bool(kit.circuit.by_role("gate transformer core"))
    for side, y in _ROWS.items():
        end = _driver(kit, side, y, feed)
        if not bridged:
            _gates(kit, side, _node(kit, side), end, y)
    if bridged:
        _transformer(kit, feed)


def _node(kit: Kit, side: str) -> str:
    node = f"drive_{side}"
    return node if node in kit.circuit.nets else f"out_{side}"


def _on(kit: Kit, role: str, net: str) -> Part | None:
    return next((part for part in kit.circuit.by_role(role) if net in part.nets), None)


def _driver(kit: Kit, side: str, y: int, feed: str) -> int:
    """What stands behind an output; returns the x at which its node goes on along ``y``."""
    sheet, out = kit.sheet, f"out_{side}"
    sheet.flag(out, (_LEFT - 20, y), "left")
    diode = _on(kit, "gate turn-off diode", out)
    npn, pnp = (
        _on(kit, f"gate {kind}, {polarity}", out)
        for kind, polarity in (("buffer", "NPN"), ("turn-off" if diode else "buffer", "PNP"))
    )
    if pnp is None:
        sheet.wire((_LEFT - 20, y), (_BUS, y))
        return _BUS
    x = _BUS - 10
    if diode is not None:
        bypass = _on(kit, "gate turn-off base resistor", out)
        assert bypass is not None
        sheet.wire((_LEFT - 20, y), (_LEFT + 30, y))
        kit.lying(diode, out, _LEFT + 30, y)
        kit.lying(bypass, out, _LEFT + 30, y - 60)
        sheet.wire((_LEFT + 10, y), (_LEFT + 10, y - 60), (_LEFT + 30, y - 60))
        sheet.wire((_LEFT + 70, y - 60), (_LEFT + 90, y - 60), (_LEFT + 90, y))
        sheet.wire((_LEFT + 70, y), (_LEFT + 90, y), (x, y), (_BUS, y))
        placed = kit.place(pnp, x - 10, y + 70, flip=True)
        sheet.wire((_LEFT + 10, y), (_LEFT + 10, y + 70), placed["base"])
        sheet.wire(placed["emitter"], (x, y))
        sheet.ground(GROUND, placed["collector"])
        return _BUS
    assert npn is not None
    upper = kit.place(npn, x - 10, y - 40)
    lower = kit.place(pnp, x - 10, y + 40, flip=True)
    base = x - 80
    sheet.wire((_LEFT - 20, y), (base, y))
    sheet.wire(upper["base"], (base, y - 40), (base, y), (base, y + 40), lower["base"])
    sheet.wire(upper["emitter"], (x, y), lower["emitter"])
    sheet.wire((x, y), (_BUS, y))
    sheet.rail(feed, upper["collector"])
    sheet.ground(GROUND, lower["collector"])
    return _BUS


def _gates(kit: Kit, position: str, node: str, x: int, y: int, *, foot: Point | None = None) -> None:
    """Resistor, gate and pull-down in a column per switch, from the line at ``y`` to ground or a foot."""
    sheet = kit.sheet
    resistors = [part for part in kit.circuit.by_role("gate resistor") if node in part.nets]
    pitch = 170 if len(resistors) < 4 else 150
    column = x + 70
    for k, resistor in enumerate(resistors):
        gate = resistor.nets[1]
        sheet.wire((x if k == 0 else column - pitch, y), (column, y), (column, y + 10))
        kit.upright(resistor, node, column, y + 10)
        pull = _on(kit, "gate pull-down", gate)
        assert pull is not None
        sheet.wire((column, y + 50), (column, y + 60), (column, y + 70))
        placed = kit.upright(pull, gate, column, y + 70)
        if foot is None:
            sheet.ground(GROUND, placed.end(pull, gate))
        else:
            sheet.wire(placed.end(pull, gate), (column, foot[1]))
        sheet.flag(gate, (column + 30, y + 60), "right")
        sheet.wire((column, y + 60), (column + 30, y + 60))
        if k == 0:
            sheet.wire((column, y + 60), (column - 30, y + 60))
            point(kit, gate, (column - 30, y + 60))
        column += pitch
    if foot is not None:
        last = column - pitch
        net = position.replace("high", "leg")
        sheet.wire(foot, (last + 30, foot[1]))
        if position.startswith("high"):
            sheet.flag(net, (last + 30, foot[1]), "right")
        else:
            sheet.ground(GROUND, (last + 30, foot[1]))


def _transformer(kit: Kit, feed: str) -> None:
    """The primary between both drivers' nodes, a row for each secondary."""
    sheet = kit.sheet
    windings = kit.circuit.by_role("gate transformer core")
    primary = windings[0]
    first, second = (_node(kit, side) for side in "ab")
    top, bottom = _ROWS["a"], _ROWS["b"]
    middle = (top + bottom) // 20 * 10
    x = _WINDING - 40
    kit.upright(primary, first, x, middle - 20)
    sheet.wire((_BUS, top), (x, top), (x, middle - 20))
    sheet.wire((_BUS, bottom), (x, bottom), (x, middle + 20))
    for node, y in ((first, top), (second, bottom)):
        clamp = _on(kit, "gate transformer clamp diode", node)
        back = _on(kit, "gate transformer return diode", node)
        assert clamp is not None
        assert back is not None
        at = _BUS + 40
        sheet.ground(GROUND, kit.upright(clamp, node, at, y).end(clamp, node))
        sheet.rail(feed, kit.upright(back, feed, at, y - 40).end(back, node))
    sheet.core(_WINDING - 20, 90, 660)
    for k, (position, winding) in enumerate(zip(POSITIONS["full-bridge"], windings[1:], strict=True)):
        y = 70 + 155 // 10 * 10 * k
        node = f"wind_{position}"
        kit.upright(winding, node, _WINDING, y + 40)
        sheet.wire((_WINDING, y + 40), (_WINDING, y), (_WINDING + 20, y))
        foot = (_WINDING, y + 120)
        sheet.wire((_WINDING, y + 80), foot)
        _gates(kit, position, node, _WINDING + 20, y, foot=foot)
