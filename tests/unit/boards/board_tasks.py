"""Small boards to make: an inverting amplifier with its decoupling, and any number of copies of it."""

from __future__ import annotations

from subwright.boards.footprints import axial, ceramic, dual_in_line
from subwright.boards.wanted import Wanted, WantedPart, WantedWire

__all__ = ["amplifiers", "part"]


def part(case: str, shape: object, nets: dict[str, str], role: str = "a part") -> WantedPart:
    return WantedPart(case=case, label="1k", footprint=shape, nets=nets, role=role)  # type: ignore[arg-type]


def amplifiers(cases: int = 1) -> Wanted:
    """Dual op-amps in a chain, two inverting stages to a case."""
    resistor = axial("axial 0207", 8, 6.5, 2.5, ("1", "2"))
    parts: list[WantedPart] = []
    stage = "IN"
    for k in range(cases):
        chip = {"8": "PLUS", "4": "MINUS", "3": "GND", "5": "GND"}
        for side, (out, minus) in enumerate((("1", "2"), ("7", "6"))):
            name = f"{k}{'AB'[side]}"
            chip |= {out: f"OUT_{name}", minus: f"SUM_{name}"}
            parts += [
                part(f"R{4 * k + 2 * side + 1}", resistor, {"1": stage, "2": f"SUM_{name}"}),
                part(f"R{4 * k + 2 * side + 2}", resistor, {"1": f"SUM_{name}", "2": f"OUT_{name}"}),
            ]
            stage = f"OUT_{name}"
        parts.append(part(f"U{k + 1}", dual_in_line(8), chip, "op-amp"))
        for letter, net in (("A", "PLUS"), ("B", "MINUS")):
            parts.append(part(f"C{k + 1}{letter}", ceramic(), {"1": net, "2": "GND"}, "op-amp decoupling"))
    wires = (
        WantedWire(name="IN", net="IN", leads_to="inputs"),
        WantedWire(name="OUT", net=stage, leads_to="amplifier"),
        *(WantedWire(name=net, net=net, leads_to="supply") for net in ("PLUS", "MINUS")),
        WantedWire(name="0 V", net="GND", leads_to="0 V of the unit"),
        WantedWire(name="TP1", net="OUT_0A", leads_to=""),
    )
    return Wanted(
        key="amplifiers",
        title="Amplifiers",
        parts=tuple(parts),
        wires=wires,
        voltages={"GND": (0.0, 0.0), "PLUS": (15.0, 15.0), "MINUS": (-15.0, -15.0)},
    )
