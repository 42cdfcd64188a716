"""The capacitors at a class-D leg's switches, or at a chip's supply pins."""

from __future__ import annotations

from dataclasses import replace

from subwright.circuits.amplifier_parts import NEGATIVE, POSITIVE
from subwright.circuits.netlist import GROUND, Circuit, Part
from subwright.stages.amplifier_spec import AmplifierResult
from subwright.stages.amplifier_supply_capacitors import SupplyCapacitor, supply_capacitors

__all__ = ["with_supply_capacitors"]


def with_supply_capacitors(circuit: Circuit, result: AmplifierResult, rail_v: float) -> Circuit:
    """A stage's netlist with what its bill has at the supply pins, charged.

    Parameters
    ----------
    circuit : the stage. result : its numbers. rail_v : one rail, or the single supply, V.

    Returns
    -------
    Circuit; the same one where nothing stands there. On the bench's stiff rails they change nothing.
    """
    used = [
        int(p.designator[1:]) for p in circuit.parts if p.kind == "capacitor" and p.designator[1:].isdigit()
    ]
    number = max(used, default=500)
    split = result.model.split_rails
    parts = list(circuit.parts)
    for each in supply_capacitors(result):
        for nets in _nets(each, split):
            number += 1
            parts.append(
                Part(
                    designator=f"C{number}",
                    kind="capacitor",
                    nets=nets,
                    value=each.farads,
                    role=each.role,
                    part_id=_part_id(result, each.role),
                    initial_v=rail_v * (2.0 if nets == (POSITIVE, NEGATIVE) else 1.0),
                )
            )
    return replace(circuit, parts=tuple(parts))


def _part_id(result: AmplifierResult, role: str) -> str:
    return next(part.part_id for part in result.parts if part.role == role)


def _nets(each: SupplyCapacitor, split: bool) -> list[tuple[str, str]]:
    """Ends of each, its plus first."""
    if each.across == "leg":
        return [(POSITIVE, NEGATIVE if split else GROUND)] * each.count
    pins = [(POSITIVE, GROUND), (GROUND, NEGATIVE)] if split else [(POSITIVE, GROUND)]
    return pins * (each.count // len(pins))
