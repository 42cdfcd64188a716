"""What a drawer holds: records of one's own, counts, and stocks of plain resistor and capacitor values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from subwright.base.errors import FileProblem, InputError
from subwright.parts.schema import KINDS, Record

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from subwright.parts.library import Library

__all__ = ["Drawer", "ValueStock"]


@dataclass(frozen=True, kw_only=True, slots=True)
class ValueStock:
    """Resistors or capacitors at hand, all of one series, tolerance and rating.

    Attributes
    ----------
    kind : "resistor" or "capacitor".
    series : IEC 60063 series. tolerance : relative.
    power_w : rating of a resistor, None for capacitors. voltage_v : rating, None where not stated.
    technology : of a capacitor, "" for resistors.
    low, high : smallest and largest value at hand, in Ω or F.
    listed : single values, rising, in Ω or F; empty where the whole series from low to high is at hand.
    """

    kind: Literal["resistor", "capacitor"]
    series: str
    tolerance: float
    power_w: float | None = None
    voltage_v: float | None = None
    technology: str = ""
    low: float
    high: float
    listed: tuple[float, ...] = ()

    def values(self, low: float, high: float) -> NDArray[np.float64]:
        """Values at hand from low to high, rising, in Ω or F; empty where there are none."""
        import numpy as np

        from subwright.base.preferred import between

        if self.listed:
            return np.array([v for v in self.listed if low * (1 - 1e-9) <= v <= high * (1 + 1e-9)])
        low, high = max(low, self.low), min(high, self.high)
        return between(low, high, self.series) if low <= high else np.empty(0)

    def holds(self, value: float) -> bool:
        """Whether this very value (within 1 part in 10⁶) is at hand."""
        return bool(len(self.values(value * (1 - 1e-6), value * (1 + 1e-6))))


@dataclass(frozen=True, kw_only=True)
class Drawer:
    """A drawer file, read and checked.

    Attributes
    ----------
    name : the file's name for itself. path : where it was read from, None for text.
    quantities : how many of each part id are at hand.
    records : the drawer's own records by kind, then id.
    resistors, capacitors : stocks of plain values.
    reference_lines, record_lines : line of each counted library part and of each own record.
    """

    name: str = ""
    path: Path | None = None
    quantities: Mapping[str, int] = field(default_factory=dict)
    records: Mapping[str, Mapping[str, Record]] = field(default_factory=dict)
    resistors: tuple[ValueStock, ...] = ()
    capacitors: tuple[ValueStock, ...] = ()
    reference_lines: Mapping[str, int] = field(default_factory=dict)
    record_lines: Mapping[str, int] = field(default_factory=dict)

    def check_references(self, library: Library) -> None:
        """Refuse counts of parts that are in no record, and own cores of an unknown material.

        Raises
        ------
        InputError : with file, line, id and near misses for each.
        """
        from subwright.parts.library import near_ids

        known: dict[str, object] = {}
        for name in KINDS:
            known.update(library.kind(name))
        problems = []
        for part_id, line in self.reference_lines.items():
            if part_id not in known:
                near = near_ids(part_id, known)
                hint = f"; did you mean {' or '.join(near)}?" if near else "; add it as a record of your own"
                problems.append(self._problem(line, f"have.{part_id}", f"is in no record{hint}"))
        for core in self.records.get("core", {}).values():
            material = getattr(core, "material", "")
            if material not in library.materials:
                near = near_ids(material, library.materials)
                hint = f"; did you mean {' or '.join(near)}?" if near else ""
                line = self.record_lines.get(core.id, 1)
                problems.append(
                    self._problem(line, f"core.{core.id}.material", f"no grade {material!r}{hint}")
                )
        if problems:
            raise InputError(message="The drawer file can't be used.", problems=tuple(problems))

    def _problem(self, line: int, key: str, message: str) -> FileProblem:
        return FileProblem(file=self.path or Path("drawer"), line=line, key=key, message=message)
