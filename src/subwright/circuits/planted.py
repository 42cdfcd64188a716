"""Faults put into a netlist: a pin that is open, a part that leaks, is turned round, or has a wrong value."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import Circuit, Part

__all__ = ["changed", "leaking", "opened", "reversed_part"]

_OPEN_OHM: Final = 1e9  # an open joint on a damp board


def _with(circuit: Circuit, parts: tuple[Part, ...]) -> Circuit:
    return replace(circuit, parts=parts)


def _bench(name: str, nets: tuple[str, str], ohm: float, role: str) -> Part:
    return Part(
        designator=f"BENCH_{name}", kind="resistor", nets=nets, value=ohm, role=role, standing="bench"
    )


def opened(circuit: Circuit, designator: str, pin: int = 0) -> Circuit:
    """The circuit with one pin of a part lifted.

    Parameters
    ----------
    circuit : sound. designator : the part. pin : which of its nets.

    Raises
    ------
    SubwrightError : there is no such part.
    """
    part = circuit.part(designator)
    net = part.nets[pin]
    far = f"lifted_{designator.lower()}"
    lifted = replace(part, nets=(*part.nets[:pin], far, *part.nets[pin + 1 :]))
    joint = _bench(f"JOINT_{designator}", (net, far), _OPEN_OHM, "open joint")
    return _with(circuit, (*(lifted if p is part else p for p in circuit.parts), joint))


def leaking(circuit: Circuit, designator: str, ohm: float) -> Circuit:
    """The circuit with a resistance in Ω across a part: a leak, or a short circuit.

    It lies between the first and the last pin: drain and source of a switch, both ends of everything else.

    Raises
    ------
    SubwrightError : there is no such part.
    """
    part = circuit.part(designator)
    leak = _bench(f"LEAK_{designator}", (part.nets[0], part.nets[-1]), ohm, "leak")
    return _with(circuit, (*circuit.parts, leak))


def reversed_part(circuit: Circuit, designator: str) -> Circuit:
    """The circuit with a part of two pins the other way round.

    Raises
    ------
    SubwrightError : there is no such part, or it has more pins.
    """
    part = circuit.part(designator)
    if len(part.nets) != 2:
        raise SubwrightError(message=f"{designator} has {len(part.nets)} pins: it can't be turned round.")
    turned = replace(part, nets=part.nets[::-1])
    return _with(circuit, tuple(turned if p is part else p for p in circuit.parts))


def changed(circuit: Circuit, designator: str, factor: float) -> Circuit:
    """The circuit with a part of ``factor`` times its value.

    Raises
    ------
    SubwrightError : there is no such part, or its value is no number.
    """
    part = circuit.part(designator)
    if not isinstance(part.value, float):
        raise SubwrightError(message=f"{designator} has no value that could be a wrong one.")
    other = replace(part, value=factor * part.value)
    return _with(circuit, tuple(other if p is part else p for p in circuit.parts))
