"""Power that returns over a shunt of the protection instead of straight to 0 V."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import GROUND, Circuit, Part, Steady

__all__ = [
    "OUTPUT_SHUNT_NET",
    "SHUNT_NET",
    "amplifier_returns",
    "boost_returns",
    "converter_returns",
    "through_shunt",
]

SHUNT_NET: Final = "shunt"
"""Net of the shunt's live end: what carries the battery's current back comes together there."""
OUTPUT_SHUNT_NET: Final = "output_shunt"
"""Net of the live end of the amplifier's own shunt."""

_SOURCE: Final = "BT101_RS"
_BRIDGING: Final = "BENCH_SHUNT"
_ON_PRIMARY: Final = frozenset(
    {"input capacitor", "push-pull switch", "gate drive", "snubber capacitor", "clamp capacitor"}
)
_SENSED: Final = frozenset(
    {"current transformer core", "current transformer reset resistor", "current sense burden"}
)


def converter_returns(part: Part) -> bool:
    """Whether a part of the insulated converter lies on the battery's side."""
    return part.role in _ON_PRIMARY


def boost_returns(part: Part) -> bool:
    """Whether a part of the boost converter carries power; what the controller reads stays on 0 V."""
    return (part.role not in _SENSED and part.kind != "voltage source") or part.role == "gate drive"


def amplifier_returns(part: Part) -> bool:
    """Whether a part belongs to an output stage that the battery feeds, not to its bench."""
    return part.standing != "bench"


def through_shunt(
    circuit: Circuit, sense_ohm: float, returns: Callable[[Part], bool], net: str = SHUNT_NET
) -> Circuit:
    """The same circuit with the power's 0 V on ``net``, and the shunt from there to 0 V.

    The battery's path counts the shunt already, so its resistance is taken from there and no current changes.
    A circuit without that path is fed by a rail that has the shunt's drop in it: there the shunt is a joint
    without resistance.

    Parameters
    ----------
    circuit : the stage. sense_ohm : the shunt, Ω. returns : which parts return over it.
    net : its live end.

    Raises
    ------
    SubwrightError : the battery's path is no greater than the shunt, so it can't hold it.
    """
    parts = []
    held = False
    for part in circuit.parts:
        if part.designator == _SOURCE and isinstance(part.value, float):
            rest = part.value - sense_ohm
            if rest <= 0.0:
                raise SubwrightError(
                    message="The battery's path is no greater than the shunt in it.",
                    quantity="battery, cable and contacts",
                    value=f"{part.value:g} Ω",
                    limit=f"more than {sense_ohm:g} Ω",
                    remedy="This is an error in subwright, not in the build; please report it.",
                )
            part, held = replace(part, value=rest), True
        elif returns(part):
            part = replace(part, nets=tuple(net if end == GROUND else end for end in part.nets))
        parts.append(part)
    shunt = Part(
        designator=_BRIDGING,
        kind="resistor" if held else "voltage source",
        nets=(net, GROUND),
        value=sense_ohm if held else Steady(value=0.0),
        role="shunt, on the protection's sheet",
        standing="bench",
    )
    return replace(circuit, parts=(*parts, shunt))
