"""A secondary whose halves are tapped for a second pair of rails."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.netlist import GROUND, Circuit, Part

__all__ = ["INNER_SECTIONS", "with_taps"]

INNER_SECTIONS: Final = ("T101G", "T101H")
"""The turns between the centre and each tap; the auxiliary winding has the letters before."""
_HALVES: Final = ("T101C", "T101D")


def with_taps(circuit: Circuit, turns: int, tap: int) -> Circuit:
    """The power stage with each half-secondary in two sections, the nets between them its taps.

    Parameters
    ----------
    circuit : the power stage. turns : of each half-secondary. tap : turns between its centre and the tap.

    Returns
    -------
    Circuit with the nets ``tap_a`` and ``tap_b``; the sections' inductances go with their turns squared and
    their resistances with the turns, so that the two in series are the half that was.

    Raises
    ------
    SubwrightError : the tap isn't inside the winding.
    """
    if not 0 < tap < turns:
        raise SubwrightError(
            message="The secondary can't be tapped there.",
            quantity="turns from the centre to the tap",
            value=str(tap),
            limit=f"1 to {turns - 1}",
            remedy="Set amplifier.inner_rail to a whole share of the turns, or take class AB.",
        )
    inner, outer = tap / turns, 1.0 - tap / turns
    parts: list[Part] = []
    for part in circuit.parts:
        if part.designator not in _HALVES or not isinstance(part.value, float):
            parts.append(part)
            continue
        k = _HALVES.index(part.designator)
        middle = f"tap_{'ab'[k]}"
        for name, nets, share in (
            (part.designator, tuple(middle if net == GROUND else net for net in part.nets), outer),
            (INNER_SECTIONS[k], tuple(net if net == GROUND else middle for net in part.nets), inner),
        ):
            parts.append(
                replace(
                    part,
                    designator=name,
                    nets=nets,
                    value=part.value * share**2,
                    series_ohm=part.series_ohm * share,
                )
            )
    couplings = tuple(
        replace(coupling, windings=(*coupling.windings, *INNER_SECTIONS))
        if set(_HALVES) <= set(coupling.windings)
        else coupling
        for coupling in circuit.couplings
    )
    return replace(circuit, parts=tuple(parts), couplings=couplings)
