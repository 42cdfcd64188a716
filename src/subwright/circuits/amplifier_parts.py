"""Collecting the parts of an output stage's netlist: bought ones, the bench's rails, lead and load."""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import GROUND, Numbering, Part, PartKind, Standing, Steady, Value

__all__ = ["NEGATIVE", "POSITIVE", "AmplifierParts"]

POSITIVE: Final = "rail_positive"
NEGATIVE: Final = "rail_negative"

_HUNDRED: Final = 500


class AmplifierParts:
    """Hands out designators and collects parts.

    Attributes
    ----------
    parts : collected. number : designators. low : net of the lower supply terminal.
    """

    def __init__(self, ids: dict[str, str], split_rails: bool) -> None:
        self.parts: list[Part] = []
        self.number = Numbering(_HUNDRED)
        self.low = NEGATIVE if split_rails else GROUND
        self._ids = ids

    def bought(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        value: Value = None,
        *,
        model: str = "",
        series_ohm: float = 0.0,
        initial_v: float | None = None,
        setting: float = 1.0,
    ) -> str:
        """Add a part of the bill and return its designator.

        Raises
        ------
        SubwrightError : the bill has no such part.
        """
        if role not in self._ids:
            raise SubwrightError(message=f"The amplifier's bill has no '{role}'.")
        name = self.number.next(letters)
        self.parts.append(
            Part(
                designator=name,
                kind=kind,
                nets=nets,
                value=value,
                model=model,
                role=role,
                part_id=self._ids[role],
                series_ohm=series_ohm,
                initial_v=initial_v,
                setting=setting,
            )
        )
        return name

    def bench(self, name: str, kind: PartKind, nets: tuple[str, ...], role: str, value: Value) -> None:
        """Add what stands for the rest of the world."""
        standing: Standing = "bench"
        self.parts.append(
            Part(designator=f"BENCH_{name}", kind=kind, nets=nets, value=value, role=role, standing=standing)
        )

    def amplifier(self, name: str, nets: tuple[str, str, str, str, str], model: str) -> None:
        """Add an amplifier with a bandwidth that stands for what isn't designed here."""
        self.parts.append(
            Part(
                designator=f"BENCH_{name}",
                kind="op-amp",
                nets=nets,
                model=model,
                role="voltage stage",
                standing="bench",
            )
        )

    def supply(self, rail_v: float) -> None:
        """Stiff rails, or a stiff battery."""
        positive = Steady(value=rail_v)
        self.bench("RAIL_POSITIVE", "voltage source", (POSITIVE, GROUND), "positive rail", positive)
        if self.low != GROUND:
            self.bench("RAIL_NEGATIVE", "voltage source", (GROUND, self.low), "negative rail", positive)

    def load(self, ends: tuple[str, str], lead_ohm: float, load_ohm: float) -> None:
        """Speaker lead and a resistor between two ends."""
        far = ends[0]
        if lead_ohm > 0.0:
            far = "terminal"
            self.bench("LEAD", "resistor", (ends[0], far), "speaker lead", lead_ohm)
        self.bench("LOAD", "resistor", (far, ends[1]), "loudspeaker", load_ohm)
