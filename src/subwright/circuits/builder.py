"""Collecting the parts of a block's netlist: designators from its hundred, ids from its stage's bill."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.circuits.models import Model
from subwright.circuits.netlist import Numbering, Part, PartKind, Value

__all__ = ["Builder"]


class Builder:
    """Hands out designators and collects parts and models.

    Parameters
    ----------
    hundred : first number of the block. ids : part id by role, as in the bill of the block's stage.

    Attributes
    ----------
    parts, models : collected so far, each model once.
    """

    def __init__(self, hundred: int, ids: Mapping[str, str]) -> None:
        self.parts: list[Part] = []
        self.models: list[Model] = []
        self._number = Numbering(hundred)
        self._ids = ids

    def bought(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        value: Value = None,
        *,
        model: Model | None = None,
        name: str = "",
        setting: float = 1.0,
        series_ohm: float = 0.0,
        initial_v: float | None = None,
    ) -> str:
        """Add a part of the bill; returns its designator, ``name`` where that is given.

        Raises
        ------
        SubwrightError : the bill has no such part.
        """
        if role not in self._ids:
            raise SubwrightError(message=f"The bill has no '{role}'.")
        designator = name or self._number.next(letters)
        if model is not None and model not in self.models:
            self.models.append(model)
        self.parts.append(
            Part(
                designator=designator,
                kind=kind,
                nets=nets,
                value=value,
                model="" if model is None else model.name,
                role=role,
                part_id=self._ids[role],
                setting=setting,
                series_ohm=series_ohm,
                initial_v=initial_v,
            )
        )
        return designator

    def resistor(self, role: str, a: str, b: str, value_ohm: float) -> str:
        """A resistor of the bill, Ω."""
        self._same(role, value_ohm, "resistance")
        return self.bought("R", "resistor", (a, b), role, value_ohm)

    def capacitor(self, role: str, a: str, b: str, value_f: float, *, initial_v: float | None = None) -> str:
        """A capacitor of the bill, F."""
        self._same(role, value_f, "capacitance")
        return self.bought("C", "capacitor", (a, b), role, value_f, initial_v=initial_v)

    def trimmer(self, role: str, top: str, bottom: str, value_ohm: float, used_ohm: float) -> None:
        """A trimmer as a variable resistor: its wiper on its top, ``used_ohm`` of the track in circuit."""
        used = min(max(used_ohm, 0.0), value_ohm)
        self.bought("R", "potentiometer", (top, top, bottom), role, value_ohm, setting=used / value_ohm)

    def bench(
        self,
        name: str,
        kind: PartKind,
        nets: tuple[str, ...],
        value: Value,
        role: str,
        *,
        model: Model | None = None,
        senses: str = "",
        initial_v: float | None = None,
    ) -> None:
        """What stands in for the rest of the world."""
        if model is not None and model not in self.models:
            self.models.append(model)
        self.parts.append(
            Part(
                designator=f"BENCH_{name}",
                kind=kind,
                nets=nets,
                value=value,
                role=role,
                standing="bench",
                model="" if model is None else model.name,
                senses=senses,
                initial_v=initial_v,
            )
        )

    def sections(self, count: int, per_case: int) -> tuple[str, ...]:
        """Designators of amplifier sections, ``per_case`` to a case."""
        return self._number.sections("U", count, per_case)

    def _same(self, role: str, value: float, dimension: str) -> None:
        """The bill buys what the netlist holds."""
        wanted = self._ids.get(role, code(value, dimension))
        if wanted != code(value, dimension):
            raise SubwrightError(
                message=f"The bill has {wanted} as '{role}', the netlist {code(value, dimension)}.",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
