"""How the boost converter is stopped and started: by the protections, and with the control circuits' supply.

Choke and diode keep its rail at the battery's voltage when it is off, so whatever the rail feeds would stay
awake: a pair of transistors gives the follower its base current only while the control line stands.
"""

from __future__ import annotations

from typing import Final

from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Transistor
from subwright.stages.common import PartUse, Rating, record_use
from subwright.stages.converter_bill_lines import resistor_line
from subwright.stages.converter_boost_records import BoostPlan
from subwright.stages.converter_controller import INHIBIT_NPN, INHIBIT_OHM

__all__ = ["RUN_OHM", "SATURATED_V", "run_current_a", "stop_parts"]

RUN_OHM: Final = 10e3
"""Each resistor at the two transistors; common practice."""
SATURATED_V: Final = 0.2
"""Across the upper transistor, V; common practice."""
_RESERVE: Final = 1.25
_QUARTER_W: Final = 0.25


def run_current_a(control_v: float) -> float:
    """What the two transistors take from the control line, A."""
    return control_v / RUN_OHM


def stop_parts(plan: BoostPlan, library: Library) -> list[PartUse]:
    """Bill of what stops and starts the converter.

    Parameters
    ----------
    plan : the converter. library : parts with the drawer merged.
    """
    uses = [
        _transistor(
            library.transistors[INHIBIT_NPN], "inhibit transistor", plan.controller.vref_v, "always", library
        ),
        resistor_line("inhibit base resistor", INHIBIT_OHM, 1),
        resistor_line("inhibit base pull-down", INHIBIT_OHM, 1),
    ]
    if plan.gate_supply is None:
        return uses
    highest = max(plan.guard.most_v, plan.demand.pulse_v)
    at = f"rail at {show(highest, 'voltage')}"
    base_w = highest**2 / RUN_OHM
    return [
        *uses,
        _transistor(_standing(library, "pnp", highest), "run transistor, PNP", highest, at, library),
        resistor_line("run pull-up", RUN_OHM, 1),
        resistor_line(
            "run resistor",
            RUN_OHM,
            1,
            0.6 if base_w > 0.5 * _QUARTER_W else _QUARTER_W,
            base_w,
            at="highest rail",
        ),
        _transistor(_standing(library, "npn", highest), "run transistor, NPN", highest, at, library),
        resistor_line("run base resistor", RUN_OHM, 1),
        resistor_line("run base pull-down", RUN_OHM, 1),
    ]


def _standing(library: Library, polarity: str, volts: float) -> Transistor:
    """Smallest transistor that stands a voltage with reserve; the strongest where none does."""
    fits = [part for part in library.transistors.values() if part.polarity == polarity]
    enough = [part for part in fits if part.vceo_v >= _RESERVE * volts]
    if not enough:
        return max(fits, key=lambda part: (part.vceo_v, part.id))
    return min(enough, key=lambda part: (part.pd_w, part.vceo_v, part.id))


def _transistor(part: Transistor, role: str, volts: float, at: str, library: Library) -> PartUse:
    return record_use(
        role,
        "Q",
        part,
        1,
        library,
        Rating(
            quantity="collector-emitter voltage",
            unit="V",
            applied=volts,
            limit=part.vceo_v,
            source=part.provenance.document,
            at=at,
        ),
    )
