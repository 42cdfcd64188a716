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
    def gain(self) -> float:
        """Passband gain with its sign, V/V."""
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
    inverted : True for the phase switch at 0°, False for 180°.
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

    def variable(fixed: str, track: str, a: str, b: str) -> None:
        """A fixed resistor in series with a potentiometer's setting, which may be zero."""
        net.resistor(a, b, r[fixed] + r.get(track, 0.0), f"{name} {fixed}")

    def op_amp(positive: str, negative: str, node: str = "", which: str = "") -> None:
        net.op_amp(
            positive,
            negative,
            node or out,
            amplifier.gbw_hz,
            noise_v_per_rthz=amplifier.noise_v_per_rthz,
            noise_a_per_rthz=amplifier.noise_a,
            name=f"{name} op-amp{which}",
        )

    def bridged_tee(a: str, b: str, side: str) -> None:
        tee, bridge = f"{name} {side} tee", f"{name} {side} bridge"
        net.resistor(a, tee, r[f"{side} R"], f"{name} {side} R first")
        net.resistor(tee, b, r[f"{side} R"], f"{name} {side} R second")
        net.capacitor(tee, GROUND, c[f"{side} C"], f"{name} {side} C")
        net.resistor(a, bridge, r["bridge R"], f"{name} {side} bridge R")
        net.capacitor(bridge, b, c["bridge C"], f"{name} {side} bridge C")

    if block.kind == "summer":
        for role in (role.removesuffix(" input") for role in r if role.endswith(" input")):
            capacitor(into, f"{name} {role}", f"{role} coupling")
            resistor(f"{name} {role}", minus, f"{role} input")
        variable("feedback", "gain control", minus, out)
        op_amp(GROUND, minus)
    elif block.kind == "infrasonic":
        capacitor(into, middle, "C1")
        capacitor(middle, plus, "C2")
        resistor(middle, out, "R to output")
        resistor(plus, GROUND, "R to ground")
        op_amp(plus, out)
    elif block.kind == "transform":
        bridged_tee(into, minus, "input")
        bridged_tee(minus, out, "feedback")
        op_amp(GROUND, minus)
    elif block.kind == "low-pass" and "R3" in r:
        resistor(into, middle, "R1")
        resistor(middle, out, "R2")
        resistor(middle, minus, "R3")
        capacitor(minus, out, "C1")
        capacitor(middle, GROUND, "C2")
        op_amp(GROUND, minus)
    elif block.kind == "low-pass" and "integrator A" in c:
        high, band = f"{name} high", f"{name} band"
        resistor(into, minus, "R in")
        resistor(out, minus, "R low")
        resistor(high, minus, "R high")
        resistor(band, plus, "Q upper")
        resistor(plus, GROUND, "Q lower")
        op_amp(plus, minus, high, " summing")
        for n, (source, sink, letter) in enumerate(((high, band, "A"), (band, out, "B")), start=1):
            virtual = f"{name} - {letter}"
            variable(f"R{n}", f"R{n} gang", source, virtual)
            capacitor(virtual, sink, f"integrator {letter}")
            op_amp(GROUND, virtual, sink, f" {letter}")
    elif block.kind == "low-pass":
        variable("R1", "R1 gang", into, middle)
        variable("R2", "R2 gang", middle, plus)
        capacitor(middle, out, "C to output")
        capacitor(plus, GROUND, "C to ground")
        if "gain upper" in r:
            resistor(out, minus, "gain upper")
            resistor(minus, GROUND, "gain lower")
            op_amp(plus, minus)
        else:
            op_amp(plus, out)
    elif block.kind == "all-pass":
        resistor(into, minus, "input")
        resistor(minus, out, "feedback")
        variable("R", "R gang", into, plus)
        capacitor(plus, GROUND, "C")
        op_amp(plus, minus)
    elif block.kind == "phase":
        resistor(into, minus, "input")
        resistor(minus, out, "feedback")
        op_amp(GROUND if (block.gain < 0.0) == inverted else into, minus)
    elif block.kind == "coupling":
        capacitor(into, out, "series")
        resistor(out, GROUND, "to ground")
    else:
        op_amp(into, out)
    return out
