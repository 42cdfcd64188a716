"""What every part record has in common: an id, a description, and where its values come from.

Units are SI throughout; a field's suffix names its unit (``_m``, ``_ohm``, ``_k_per_w`` ...), a field
without a suffix is a ratio, a count or a word. Each field's plausible range stands beside it as ``Bounds``:
a value outside is refused when a record is read, because it is nearly always a slip of a power of ten.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

__all__ = [
    "Bounds",
    "Positive",
    "Provenance",
    "ProvenanceKind",
    "Record",
    "Tolerance",
]

ProvenanceKind = Literal["datasheet", "measured", "fitted", "memory", "standard", "computed", "invented"]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Plausible range of a field, SI, both ends allowed."""

    low: float
    high: float


Positive = Annotated[float, Bounds(1e-15, math.inf)]
Tolerance = Annotated[float, Bounds(0.0, 0.8)]


@dataclass(frozen=True, kw_only=True, slots=True)
class Provenance:
    """Where a record's values come from.

    Attributes
    ----------
    document : the document's name, or a plain statement where there is none.
    condition : the condition that the values hold at ("25 °C, 10 V gate").
    kind : how the values were obtained.
    memory_fields : fields of this record that are from memory although the rest is not.
    computed_fields : fields of this record that were worked out from the others.
    """

    document: str
    condition: str
    kind: ProvenanceKind
    memory_fields: tuple[str, ...] = ()
    computed_fields: tuple[str, ...] = ()

    def kind_of(self, field: str) -> ProvenanceKind:
        """Provenance kind of one field of the record."""
        if field in self.memory_fields:
            return "memory"
        return "computed" if field in self.computed_fields else self.kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Record:
    """Base of all part records.

    Attributes
    ----------
    id : the name it is looked up by; unique within its kind.
    description : one line for lists and the parts list.
    provenance : where the values come from.
    """

    id: str
    description: str
    provenance: Provenance

    def summary(self) -> str:
        """One line made from the values, used where a record carries no description of its own."""
        return self.id

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield (field, sentence) for each value that contradicts another one in the record."""
        yield from ()
