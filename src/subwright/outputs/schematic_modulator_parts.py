"""What every sheet of the modulator uses: a part by role and net, a part down to its net, test points."""

from __future__ import annotations

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import GROUND, Part
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_symbols import Point

__all__ = ["bridge", "down", "find", "low", "section", "spot", "stand", "zero"]


def low(kit: Kit) -> str:
    """Net on which logic and drivers stand: the negative rail, or 0 V of a single supply."""
    return "rail_negative" if "rail_negative" in kit.circuit.nets else GROUND


def zero(kit: Kit) -> str:
    """Net that input and integrator take for nought: 0 V, or the reference of a single supply."""
    return "reference" if "reference" in kit.circuit.nets else GROUND


def bridge(kit: Kit) -> bool:
    """Whether there are two legs."""
    return "node_b" in kit.circuit.nets


def find(kit: Kit, role: str, *nets: str) -> Part:
    """The part of a role that lies on all of some nets.

    Raises
    ------
    SubwrightError : there is none, or more than one.
    """
    found = [part for part in kit.circuit.by_role(role) if set(nets) <= set(part.nets)]
    if len(found) != 1:
        raise SubwrightError(message=f"The netlist has {len(found)} of '{role}' on {', '.join(nets)}.")
    return found[0]


def section(kit: Kit, net: str) -> Part:
    """The section of an integrated circuit whose output a net is.

    Raises
    ------
    SubwrightError : there is none.
    """
    for part in kit.circuit.parts:
        place = {"op-amp": 2, "grounded comparator": 2, "schmitt inverter": 1}.get(part.kind)
        if place is not None and part.nets[place] == net:
            return part
    raise SubwrightError(message=f"The netlist has nothing whose output is {net}.")


def stand(kit: Kit, net: str, at: Point) -> None:
    """The symbol of 0 V, of the reference or of the negative rail below a point; a flag for a node."""
    if net.startswith("node_"):
        kit.sheet.flag(net, at, "left")
    else:
        kit.sheet.ground(net, at)


def down(kit: Kit, part: Part, net: str, at: Point) -> None:
    """A part of two terminals from ``net`` at a point down to the symbol of its other net."""
    placed = kit.upright(part, net, *at)
    other = part.nets[0] if part.nets[1] == net else part.nets[1]
    kit.sheet.ground(other, placed.end(part, net))


def spot(kit: Kit, net: str, at: Point) -> None:
    """A net's test point, where it has one."""
    for point in kit.circuit.test_points:
        if point.net == net:
            kit.sheet.name(net, at, point=point.designator)
