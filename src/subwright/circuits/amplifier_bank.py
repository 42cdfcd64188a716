"""The capacitors at the supply of an output stage that runs straight from the battery or a raised rail."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.circuits.amplifier_parts import POSITIVE
from subwright.circuits.netlist import GROUND, Circuit, Part
from subwright.parts.passive import Capacitor

__all__ = ["INPUT_BANK", "with_input_bank"]

INPUT_BANK: Final = "amplifier input capacitor"
"""Their role on the bill."""


def with_input_bank(circuit: Circuit, part: Capacitor, count: int, supply_v: float) -> Circuit:
    """A stage's netlist with its capacitors from the supply to ground, charged.

    Parameters
    ----------
    circuit : the stage. part : one can. count : of them. supply_v : V.
    """
    used = [
        int(p.designator[1:]) for p in circuit.parts if p.kind == "capacitor" and p.designator[1:].isdigit()
    ]
    first = max(used, default=500) + 1
    cans = tuple(
        Part(
            designator=f"C{first + k}",
            kind="capacitor",
            nets=(POSITIVE, GROUND),
            value=part.capacitance_f,
            role=INPUT_BANK,
            part_id=part.id,
            series_ohm=part.esr_ohm,
            initial_v=supply_v,
        )
        for k in range(count)
    )
    return replace(circuit, parts=(*circuit.parts, *cans))
