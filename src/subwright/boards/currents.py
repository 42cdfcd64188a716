"""The highest current that each net of a board can carry, from what limits it: resistors, chips, what leaves.

Nothing is simulated. A resistor passes no more than its voltage drives through it, and no more than its
rating stands; what a junction or a chip's output passes has come through a resistor, a chip's supply or a
wire; and at each net as much goes in as comes out. What is pulsed (gates) comes from the stages, as an
effective value.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from typing import Final, Literal

__all__ = ["CHIP_A", "Branch", "BranchKind", "net_currents", "pulsed_nets", "resistor_most_a"]

CHIP_A: Final = 30e-3
"""More than any amplifier, comparator or logic of these boards draws for itself, A (from memory)."""

_ROUNDS: Final = 60
_SETTLED: Final = 1e-9  # A, below which a round changes nothing
_GATE_OHM: Final = 150.0  # more than any gate resistor of these boards

BranchKind = Literal["resistor", "capacitor", "junction", "transistor", "chip", "wire"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Branch:
    """Something that joins nets.

    Attributes
    ----------
    kind : "junction" for all that conducts and limits nothing: diodes, lamps, jumpers.
    nets : net by pin; of a transistor the emitter (or source) last.
    most_a : of a resistor, what it can carry; of a wire, what is known to flow, A; else inf.
    supplies : pins of a chip by which its own current comes and goes. drives : its pins that drive gates.
    ohm : of a resistor, Ω.
    """

    kind: BranchKind
    nets: Mapping[str, str]
    most_a: float = inf
    supplies: tuple[str, ...] = ()
    drives: tuple[str, ...] = ()
    ohm: float = inf


def resistor_most_a(ohm: float, volts: float, rated_w: float) -> float:
    """The most that a resistor can carry for long.

    Parameters
    ----------
    ohm : Ω, > 0. volts : highest across it, V. rated_w : W.

    Returns
    -------
    The lesser of ``V/R`` and ``sqrt(P/R)``, A. Source: Ohm's law. [derived]

    >>> round(resistor_most_a(1000.0, 12.0, 0.25), 4), round(resistor_most_a(8.2, 12.0, 0.25), 3)
    (0.012, 0.175)
    """
    return min(volts / ohm, sqrt(rated_w / ohm))


def net_currents(
    branches: Sequence[Branch], pulsed_a: Mapping[str, float] | None = None
) -> Mapping[str, float]:
    """Highest effective current in any conductor of each net, A.

    Parameters
    ----------
    branches : all that is on the board, and the wires that leave it. pulsed_a : effective current of nets
    that carry pulses, A; it counts beside what is steady.

    Returns
    -------
    A by net; inf where nothing limits it. A conductor parts a net's pins in two: it carries no more than half
    of what all of them could bring, because as much goes in as comes out. Source: Kirchhoff's first law.
    [derived]
    """
    pins: list[tuple[int, str]] = [(k, pin) for k, branch in enumerate(branches) for pin in branch.nets]
    at: dict[str, list[tuple[int, str]]] = {}
    for k, pin in pins:
        at.setdefault(branches[k].nets[pin], []).append((k, pin))
    most = {(k, pin): 0.0 if branches[k].kind == "capacitor" else branches[k].most_a for k, pin in pins}

    def limits(key: tuple[int, str]) -> bool:
        k, pin = key
        branch = branches[k]
        if branch.kind == "chip":
            return pin in branch.supplies
        return branch.kind in ("resistor", "capacitor") or (branch.kind == "wire" and branch.most_a < inf)

    def brought(key: tuple[int, str]) -> float:
        """What the others at a pin's net can bring it."""
        others = [other for other in at[branches[key[0]].nets[key[1]]] if other != key]
        firm = [other for other in others if limits(other)]
        # what limits nothing passes on what the firm ones bring; alone with its kind, what they bring
        return sum(most[other] for other in (firm or others))

    for _ in range(_ROUNDS):
        change = 0.0
        for k, branch in enumerate(branches):
            for pin, new in _tightened(k, branch, most, brought).items():
                old = most[k, pin]
                if new < old:
                    change = max(change, inf if old == inf else old - new)
                    most[k, pin] = new
        if change <= _SETTLED:
            break
    steady = {net: 0.5 * sum(most[key] for key in keys) for net, keys in at.items()}
    return {net: sqrt(amps**2 + (pulsed_a or {}).get(net, 0.0) ** 2) for net, amps in steady.items()}


def pulsed_nets(branches: Sequence[Branch], ground: str) -> frozenset[str]:
    """Nets that the charge of gates passes: from a driver's pins through gate resistors, diodes, transistors.

    Parameters
    ----------
    branches : all that is on the board. ground : the net that every return ends at.
    """
    supplies = {b.nets[pin] for b in branches if b.drives for pin in b.supplies if pin in b.nets}
    found = {b.nets[pin] for b in branches for pin in b.drives if pin in b.nets}
    edge = sorted(found)
    while edge:
        net = edge.pop()
        for branch in branches:
            if net not in branch.nets.values():
                continue
            if branch.kind not in ("junction", "transistor") and branch.ohm > _GATE_OHM:
                continue
            fresh = {*branch.nets.values()} - found
            found |= fresh
            edge += sorted(fresh - supplies - {ground})
    return frozenset(found | supplies) if found else frozenset()


def _tightened(
    k: int,
    branch: Branch,
    most: Mapping[tuple[int, str], float],
    brought: Callable[[tuple[int, str]], float],
) -> Mapping[str, float]:
    """Pins of a branch with what they can carry now."""
    pins = tuple(branch.nets)
    match branch.kind:
        case "resistor" | "capacitor":
            return {}
        case "wire":
            return {} if branch.most_a < inf else {pin: brought((k, pin)) for pin in pins}
        case "junction":
            least = min(brought((k, pin)) for pin in pins)
            return dict.fromkeys(pins, least)
        case "transistor":
            found = {pin: min(most[k, pin], brought((k, pin))) for pin in pins}
            last = pins[-1]  # emitter or source: the sum of the others, and each of those is less
            found[last] = min(found[last], sum(found[pin] for pin in pins[:-1]))
            return {pin: min(value, found[last]) for pin, value in found.items()}
        case _:
            signal = {pin: brought((k, pin)) for pin in pins if pin not in branch.supplies}
            whole = CHIP_A + sum(signal.values())
            return signal | {pin: whole for pin in branch.supplies if pin in branch.nets}
