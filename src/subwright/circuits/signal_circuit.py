"""Inputs and filter as one circuit: from the radio's leads to the power stage."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.circuits.filter_circuit import filter_circuit
from subwright.circuits.filter_supply import FilterBuilder
from subwright.circuits.input_circuit import INPUT_OUTPUTS, InputPlace, Mode, input_circuit
from subwright.circuits.netlist import Circuit, Part
from subwright.parts.library import Library
from subwright.stages.filter import FilterResult
from subwright.stages.input import InputResult

__all__ = ["filter_inputs", "input_place", "signal_circuit", "summing_ohm"]

_STAND_INS: Final = ("BENCH_OP_", "BENCH_MID", "BENCH_SUMMING_", "BENCH_LINE_")
"""What each circuit has in place of the other."""


def filter_inputs(filters: FilterResult) -> tuple[str, ...]:
    """Nets at which the filter takes each channel, in the order of the channels."""
    summer = next(block for block in filters.blocks if block.kind == "summer")
    sides = (role.removesuffix(" input") for role in summer.resistors_ohm if role.endswith(" input"))
    return tuple(f"line_{side}" for side in sides)


def summing_ohm(filters: FilterResult) -> float:
    """Resistance of each input of the summing amplifier, Ω."""
    summer = next(block for block in filters.blocks if block.kind == "summer")
    return next(ohms for role, ohms in summer.resistors_ohm.items() if role.endswith(" input"))


def input_place(filters: FilterResult, library: Library, op_amps: int) -> InputPlace:
    """Where the inputs' amplifiers lie in the filter's cases, and what feeds them.

    Parameters
    ----------
    filters : the filter. library : parts with the drawer merged. op_amps : that the inputs use.
    """
    build = FilterBuilder(filters, library)
    sections = build.spare[:op_amps]
    channels = library.op_amp(filters.op_amp).channels
    own = [name for k, name in enumerate(build.spare[:op_amps]) if _first_of(build, k, channels)]
    cases = {_case(name, channels) for name in own}
    return InputPlace(
        sections=sections,
        own=frozenset(own),
        decouplings=len(cases),
        upper=build.rails[0],
        lower=build.rails[1],
        middle=build.ground,
    )


def _case(section: str, channels: int) -> str:
    return section[:-1] if channels > 1 else section


def _first_of(build: FilterBuilder, index: int, channels: int) -> bool:
    """Whether a spare section lies in a case that no block of the filter uses."""
    left = len(build.spare) - channels * (len(build.spare) // channels)  # in the last case that blocks use
    return index >= left


def signal_circuit(
    entry: InputResult,
    filters: FilterResult,
    library: Library,
    *,
    supply_v: float,
    phase_deg: int = 0,
    mode: Mode = "differential",
) -> Circuit:
    """Netlist from the radio's leads to the power stage.

    Parameters
    ----------
    entry : the inputs. filters : the filter. library : parts with the drawer merged.
    supply_v : one rail, or the battery where the op-amps run from it, V.
    phase_deg : position of the phase switch. mode : 1 V between the leads of every channel, or on both alike.

    Returns
    -------
    Circuit; the response is that of the filter's output.
    """
    place = input_place(filters, library, entry.op_amps)
    op_amp = library.op_amp(filters.op_amp)
    ahead = input_circuit(
        entry,
        op_amp,
        side_v=0.5 * filters.op_amp_supply.low_v,
        summing_ohm=summing_ohm(filters),
        mode=mode,
        place=place,
    )
    behind = filter_circuit(filters, library, supply_v=supply_v, phase_deg=phase_deg)
    joined = dict(zip(filter_inputs(filters), INPUT_OUTPUTS, strict=False))

    def kept(circuit: Circuit) -> list[Part]:
        return [p for p in circuit.parts if not p.designator.startswith(_STAND_INS)]

    parts = [
        *kept(ahead),
        *(replace(p, nets=tuple(joined.get(net, net) for net in p.nets)) for p in kept(behind)),
    ]
    models = {model.name: model for model in (*ahead.models, *behind.models)}
    return Circuit(
        name="inputs and line-level filter",
        parts=tuple(parts),
        models=tuple(models.values()),
        test_points=(*ahead.test_points, *behind.test_points),
    )
