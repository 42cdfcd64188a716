"""Collecting the parts of the controller's netlist, with designators from its own hundred."""

from __future__ import annotations

from typing import Final, TypeAlias

from subwright.base.units import code
from subwright.circuits.models import BipolarModel, ControllerModel, ZenerModel
from subwright.circuits.netlist import Numbering, Part, PartKind, Value

__all__ = ["HUNDRED", "ControllerParts", "Models"]

HUNDRED: Final = 1000
Models: TypeAlias = list[BipolarModel | ControllerModel | ZenerModel]


class ControllerParts:
    """Collects the block's parts, in drawing order."""

    def __init__(self) -> None:
        self.parts: list[Part] = []
        self._number = Numbering(HUNDRED)

    def add(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        part_id: str,
        value: Value = None,
        *,
        model: str = "",
        initial_v: float | None = None,
    ) -> None:
        """A part of the bill."""
        self.parts.append(
            Part(
                designator=self._number.next(letters),
                kind=kind,
                nets=nets,
                value=value,
                model=model,
                role=role,
                part_id=part_id,
                initial_v=initial_v,
            )
        )

    def resistor(self, role: str, a: str, b: str, ohm: float) -> None:
        """A resistor, Ω."""
        self.add("R", "resistor", (a, b), role, code(ohm, "resistance"), ohm)

    def capacitor(self, role: str, a: str, b: str, farad: float, *, initial_v: float | None = None) -> None:
        """A capacitor, F."""
        part_id = code(farad, "capacitance")
        self.add("C", "capacitor", (a, b), role, part_id, farad, initial_v=initial_v)

    def bench(self, name: str, kind: PartKind, nets: tuple[str, ...], value: Value, role: str) -> None:
        """What stands in for the rest of the world."""
        self.parts.append(
            Part(
                designator=f"BENCH_{name}",
                kind=kind,
                nets=nets,
                value=value,
                role=role,
                standing="bench",
            )
        )
