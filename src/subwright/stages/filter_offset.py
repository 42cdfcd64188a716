"""How far from rest the op-amps' offsets and bias currents may push each block of the filter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from subwright.parts.schema import OpAmp
from subwright.stages.filter_records import BlockKind

__all__ = ["OffsetBlock", "inner_offsets_v", "offsets_v"]


class OffsetBlock(Protocol):
    """What the offset depends on of a block."""

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


def offsets_v(blocks: Sequence[OffsetBlock], op_amp: OpAmp) -> tuple[float, ...]:
    """Largest steady voltage at each block's output against the signal's ground, V.

    Parameters
    ----------
    blocks : input to output. op_amp : of every block; each has its largest offset, and bias currents that
        all flow the worse way.

    Returns
    -------
    One bound a block, magnitudes; behind a coupling capacitor 0.

    Source
    ------
    Superposition of each amplifier's offset times its noise gain and of its bias currents' drops. [derived]
    """
    reached, found = 0.0, []
    for block in blocks:
        reached = _behind_v(block, reached, op_amp)
        found.append(reached)
    return tuple(found)


def inner_offsets_v(block: OffsetBlock, op_amp: OpAmp) -> tuple[float, ...]:
    """Largest steady voltage at the outputs inside a block: band-pass and high-pass of a state-variable one.

    Parameters
    ----------
    block : of any kind; () where it has one output. op_amp : of every block.

    Returns
    -------
    Magnitudes, V, in the order of ``inner_levels`` behind the block's own output.

    Source
    ------
    Each integrator asks of the output before it its own offset and its track's drop. [derived]
    """
    r = block.resistors_ohm
    if "R in" not in r:
        return ()
    tracks = [r[f"R{k}"] + r.get(f"R{k} gang", 0.0) for k in (2, 1)]
    return tuple(op_amp.vos_v + op_amp.ib_a * track for track in tracks)


def _behind_v(block: OffsetBlock, before_v: float, op_amp: OpAmp) -> float:
    """Bound at a block's output from the one at its input, V."""
    r, vos, ib = block.resistors_ohm, op_amp.vos_v, op_amp.ib_a
    if block.kind == "summer":  # the coupling capacitors leave a follower at DC
        return vos + ib * (r["feedback"] + r.get("gain control", 0.0))
    if block.kind == "infrasonic":
        return vos + ib * r["R to ground"]
    if block.kind == "transform":
        gain = r["feedback R"] / r["input R"]
        return gain * before_v + (1.0 + gain) * vos + ib * 2.0 * r["feedback R"]
    if block.kind == "low-pass":
        return _low_pass_v(block, before_v, op_amp)
    if block.kind in ("phase", "all-pass"):  # what the + input's resistor drops counts twice
        into = r.get("R", 0.0) + r.get("R gang", 0.0)
        return before_v + 2.0 * vos + ib * (r["feedback"] + 2.0 * into)
    if block.kind == "output":
        return before_v + vos
    return 0.0


def _low_pass_v(block: OffsetBlock, before_v: float, op_amp: OpAmp) -> float:
    r, vos, ib = block.resistors_ohm, op_amp.vos_v, op_amp.ib_a
    if "R3" in r:  # multiple feedback
        return before_v + 2.0 * vos + ib * (r["R2"] + r["R3"] * 2.0)
    if "R in" in r:  # the integrators hold the other two outputs at zero
        own = 1.0 + r["R low"] / r["R in"] + r["R low"] / r["R high"]
        share = r["Q lower"] / (r["Q upper"] + r["Q lower"])
        band_v, high_v = inner_offsets_v(block, op_amp)
        plus_v = vos + ib * share * r["Q upper"] + share * band_v
        through_v = r["R low"] * (before_v / r["R in"] + high_v / r["R high"] + ib)
        return own * plus_v + through_v
    path = sum(r.get(role, 0.0) for role in ("R1", "R2", "R1 gang", "R2 gang"))
    return block.gain * (before_v + vos + ib * path) + ib * r.get("gain upper", 0.0)
