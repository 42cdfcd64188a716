"""The whole filter as one nodal network: noise at its output, and a second route to its response."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from subwright.physics.networks.nodal import GROUND, Network
from subwright.stages.filter_records import BlockKind

__all__ = ["AmplifierModel", "ChainBlock", "chain_network"]


class ChainBlock(Protocol):
    """What the network needs to know of a block."""

    @property
    def name(self) -> str:
        """Unique name."""
        ...

    @property
    def kind(self) -> BlockKind:
        """Which circuit."""
        ...

    @property
    def resistors_ohm(self) -> Mapping[str, float]:
        """Resistors by role, Ω."""
        ...

    @property
    def capacitors_f(self) -> Mapping[str, float]:
        """Capacitors by role, F."""
        ...


@dataclass(frozen=True, kw_only=True, slots=True)
class AmplifierModel:
    """The op-amp as the network sees it: bandwidth in Hz, noise in V/√Hz and A/√Hz."""

    gbw_hz: float
    noise_v_per_rthz: float = 0.0
    noise_a: float = 0.0  # per √Hz


def chain_network(
    blocks: Iterable[ChainBlock], amplifier: AmplifierModel, *, inverted: bool = True
) -> tuple[Network, str]:
    """Network of the blocks in order, driven by 1 V on every input, and the name of its output node.

    Parameters
    ----------
    blocks : input to output. amplifier : the op-amp in every block.
    inverted : position of the phase switch, as in ``block_response``.
    """
    net = Network().source("in", 1.0, name="signal")
    node = "in"
    for block in blocks:
        node = _add(net, block, node, amplifier, inverted)
    return net, node


def _add(net: Network, block: ChainBlock, into: str, amplifier: AmplifierModel, inverted: bool) -> str:
    name, r, c = block.name, block.resistors_ohm, block.capacitors_f
    out, plus, minus, middle = (f"{name} {end}" for end in ("out", "+", "-", "middle"))

    def resistor(a: str, b: str, role: str) -> None:
        net.resistor(a, b, r[role], f"{name} {role}")

    def capacitor(a: str, b: str, role: str) -> None:
        net.capacitor(a, b, c[role], f"{name} {role}")

    def op_amp(positive: str, negative: str) -> None:
        net.op_amp(
            positive,
            negative,
            out,
            amplifier.gbw_hz,
            noise_v_per_rthz=amplifier.noise_v_per_rthz,
            noise_a_per_rthz=amplifier.noise_a,
            name=f"{name} op-amp",
        )

    if block.kind == "summer":
        for role in (role.removesuffix(" input") for role in r if role.endswith(" input")):
            capacitor(into, f"{name} {role}", f"{role} coupling")
            resistor(f"{name} {role}", minus, f"{role} input")
        resistor(minus, out, "feedback")
        op_amp(GROUND, minus)
    elif block.kind == "infrasonic":
        capacitor(into, middle, "C1")
        capacitor(middle, plus, "C2")
        resistor(middle, out, "R to output")
        resistor(plus, GROUND, "R to ground")
        op_amp(plus, out)
    elif block.kind == "low-pass":
        resistor(into, middle, "R1")
        resistor(middle, plus, "R2")
        capacitor(middle, out, "C to output")
        capacitor(plus, GROUND, "C to ground")
        if "gain upper" in r:
            resistor(out, minus, "gain upper")
            resistor(minus, GROUND, "gain lower")
            op_amp(plus, minus)
        else:
            op_amp(plus, out)
    elif block.kind == "phase":
        resistor(into, minus, "input")
        resistor(minus, out, "feedback")
        op_amp(GROUND if inverted else into, minus)
    else:
        op_amp(into, out)
    return out
