"""What the driver stage says in words: bases, contradictions, the part to buy."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from subwright.base.quantities import dimension_of
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Driver
from subwright.stages.common import PartUse
from subwright.stages.driver_spec import DriverSpec

__all__ = ["basis_reason", "disagreement", "driver_part", "show_value", "word"]

_SYMBOLS: Final[Mapping[str, str]] = {
    "re_ohm": "Re",
    "fs_hz": "fs",
    "sd_m2": "Sd",
    "qes": "Qes",
    "qms": "Qms",
    "qts": "Qts",
    "mms_kg": "Mms",
    "bl_tm": "Bl",
    "cms_m_per_n": "Cms",
    "rms_kg_per_s": "Rms",
    "vas_m3": "Vas",
    "efficiency": "efficiency",
}


def word(name: str) -> str:
    """Symbol of a parameter."""
    return _SYMBOLS[name]


def show_value(name: str, value: float) -> str:
    """A parameter's value with its unit."""
    return show(value, dimension_of(name) if name != "efficiency" else "share")


def disagreement(quantity: str, stated: float, implied: float, suspects: tuple[str, ...]) -> str:
    """One sentence on a stated value that the others contradict."""
    text = (
        f"{word(quantity)} is stated as {show_value(quantity, stated)}, but the other values imply "
        f"{show_value(quantity, implied)} ({stated / implied - 1.0:+.1%})."
    )
    if len(suspects) == 1:
        return f"{text} All others agree without {word(suspects[0])}: that one is wrong."
    if suspects:
        names = ", ".join(map(word, suspects))
        return f"{text} Leaving out any one of {names} settles it: measure those."
    return f"{text} No single value explains it: measure the driver."


def basis_reason(record: Driver | None, own: Mapping[str, float], basis: tuple[str, ...]) -> str:
    """One sentence on what the set is built on."""
    start = "Built on " + ", ".join(word(name) for name in basis) + "; the rest is worked out."
    if record is None:
        return start
    measured = [name for name in basis if name in own]
    kind = record.provenance.kind
    if not measured:
        return f"{start} Values of {record.id}: {kind}."
    return f"{start} Given here: {', '.join(map(word, measured))}; others from {record.id} ({kind})."


def driver_part(record: Driver | None, spec: DriverSpec, library: Library, pieces: int) -> PartUse:
    """The drivers to buy."""
    if record is None:
        return PartUse(
            role="driver",
            letter="LS",
            part_id=spec.name or "driver",
            description=spec.name or "driver by its parameters",
            quantity=pieces,
            provenance="as given in the build file",
        )
    return PartUse(
        role="driver",
        letter="LS",
        part_id=record.id,
        description=record.description,
        quantity=pieces,
        in_drawer=library.in_drawer(record.id) >= pieces,
        provenance=_provenance(record.provenance.kind, record.provenance.document),
    )


def _provenance(kind: str, document: str) -> str:
    """Kind and document; a record of one's own already begins with its kind."""
    return document if document.lower().startswith(kind) else f"{kind}: {document}"
