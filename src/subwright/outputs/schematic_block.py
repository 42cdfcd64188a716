"""A block of a build that has a netlist, with what its sheets print and who places its parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from subwright.circuits.analysis import Analysis, Probe
from subwright.circuits.netlist import Circuit
from subwright.outputs.schematic_kit import Kit

__all__ = ["Block"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Block:
    """A circuit with its drawing.

    Attributes
    ----------
    key : names its files. title : heads its sheet. stage : whose bill it belongs to.
    stages : of roles that stand on another stage's bill.
    circuit : its netlist. names : printed names of nets. draw : its placement; returns the sheet's notes.
    more : placements of further sheets. more_titles : of those, after the title and a comma.
    drawn_inherent : inherent elements that stand for something visible.
    elsewhere : parts that another sheet shows.
    texts : lines beside symbols that the netlist and its bill don't give, by designator.
    analysis, probes : what its SPICE text asks for.
    """

    key: str
    title: str
    stage: str
    circuit: Circuit
    names: Mapping[str, str]
    draw: Callable[[Kit], tuple[str, ...]]
    analysis: Analysis
    probes: tuple[Probe, ...]
    more: tuple[Callable[[Kit], tuple[str, ...]], ...] = ()
    more_titles: tuple[str, ...] = ("supply",)
    drawn_inherent: frozenset[str] = frozenset()
    elsewhere: frozenset[str] = frozenset()
    stages: Mapping[str, str] = field(default_factory=dict)
    texts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def stage_of(self, role: str) -> str:
        """Whose bill a role stands on."""
        return self.stages.get(role, self.stage)
