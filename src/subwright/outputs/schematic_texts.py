"""What is printed beside a symbol and at its pins: designator, value, rating, pin numbers, net names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

from subwright.base.units import code
from subwright.circuits.netlist import Circuit, Part
from subwright.outputs.schematic_pins import SECTIONED_KINDS, channels_of
from subwright.stages.common import PartUse

__all__ = [
    "PLAIN_CAPACITOR_V",
    "PLAIN_RESISTOR_W",
    "part_texts",
    "polarised",
    "spare_sections",
]

PLAIN_RESISTOR_W: Final = "0.25 W"
PLAIN_CAPACITOR_V: Final = "63 V"
_RATING: Final = {"R": re.compile(r"\d+(?:\.\d+)? W\b"), "C": re.compile(r"\d+ V\b")}


def polarised(part: Part, uses: Mapping[str, PartUse]) -> bool:
    """Whether a capacitor must be fitted the right way round."""
    use = uses.get(part.role)
    return use is not None and "electrolytic" in use.description and "bipolar" not in use.description


def part_texts(circuit: Circuit, uses: Mapping[str, PartUse]) -> dict[str, tuple[str, ...]]:
    """Lines beside each symbol, by designator; of a case with sections, also by the case.

    Parameters
    ----------
    circuit : the netlist. uses : the block's bill by role.
    """
    texts: dict[str, tuple[str, ...]] = {}
    for part in circuit.parts:
        if part.standing in ("bench", "inherent"):
            continue
        use = uses.get(part.role)
        if part.kind in SECTIONED_KINDS:
            texts[part.designator] = (part.designator,)
            texts[part.case] = (part.case, part.part_id)
            continue
        lines = (part.designator, *_value(part, use))
        if part.kind == "diode" and part.designator == f"{part.case}B":
            lines = lines[:1]  # the first section names the case's type
        if part.kind == "diode" and part.designator == part.case and _twin(use):
            lines = (*lines, "both legs")
        texts[part.designator] = tuple(line for line in lines if line)
    return texts


def _twin(use: PartUse | None) -> bool:
    """Whether a case holds two diodes: one that is drawn alone has them in parallel."""
    return use is not None and " 2 \u00d7 " in use.description


def _value(part: Part, use: PartUse | None) -> Iterable[str]:
    match part.kind:
        case "resistor":
            yield code(_number(part), "resistance")
            yield _rating("R", use, PLAIN_RESISTOR_W)
        case "capacitor":
            value = _capacitance(_number(part))
            if use is not None and "bipolar" in use.description:
                yield f"{value} {_rating('C', use, '')}"
                yield "bipolar"
                return
            yield value
            plain = "" if use is not None and polarised(part, {part.role: use}) else PLAIN_CAPACITOR_V
            yield _rating("C", use, plain)
        case "potentiometer":
            yield part.part_id.removeprefix("potentiometer ").removeprefix("trimmer ")
        case "lamp":
            yield "red"
        case "gate driver":
            yield "photovoltaic"
        case "connector" | "jumper" | "switch":
            yield ""
        case "transistor" if " and " in part.part_id:
            first, second = part.part_id.split(" and ")
            yield second if part.model == "PNP" else first
        case _:
            yield part.part_id


def _capacitance(value_f: float) -> str:
    if value_f >= 1e-3:
        return f"{value_f * 1e6:.0f}µ"
    return code(value_f, "capacitance").replace("u", "µ")


def _number(part: Part) -> float:
    return part.value if isinstance(part.value, float) else 0.0


def _rating(letter: str, use: PartUse | None, plain: str) -> str:
    found = _RATING[letter].search(use.description) if use is not None else None
    return "" if found is None or found.group() == plain else found.group()


def spare_sections(circuit: Circuit, channels: Mapping[str, int]) -> tuple[str, ...]:
    """Sections of amplifier cases that nothing uses: "U302D"."""
    used = {part.designator for part in circuit.parts if part.kind in SECTIONED_KINDS}
    cases = {
        part.case: channels_of(part, channels)
        for part in circuit.parts
        if part.kind in SECTIONED_KINDS and channels_of(part, channels) > 1
    }
    return tuple(
        name
        for case, count in cases.items()
        for k in range(count)
        if (name := f"{case}{chr(65 + k)}") not in used
    )
