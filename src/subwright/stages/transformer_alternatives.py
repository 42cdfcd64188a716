"""If it were another core: the transformer on every core at hand and on the best of the library."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.parts.library import Library
from subwright.parts.schema import Core
from subwright.stages.common import Corner
from subwright.stages.transformer_build import build_result
from subwright.stages.transformer_records import TransformerNeed, TransformerResult, TransformerSpec
from subwright.stages.transformer_refusal import nearest_candidate
from subwright.stages.transformer_search import Found, search_all

__all__ = ["AlternativeRow", "alternatives"]

_RELAX = (1.0, 1.5, 3.0, 10.0)  # limits are widened by these in turn for a core that keeps none


@dataclass(frozen=True, kw_only=True, slots=True)
class AlternativeRow:
    """One core and the best transformer on it.

    Attributes
    ----------
    core_id, stack, material_id : the core. in_drawer : how many are at hand. chosen : the build has it now.
    broken : limits that the best winding on it still breaks; () where it serves.
    refused : why nothing can be wound on it at all, "" where something can; all figures are 0 then.
    primary_turns, secondary_turns : of each half.
    primary, secondary : strands and wire of each half, "12 × ECW 0.50".
    loss_w, rise_low_k, rise_high_k : heating basis, W and K. fill : copper share of the window.
    flux_peak_t : at the highest battery, T. leakage_h : with leads, H. regulation : copper loss at full sine.
    magnetising_peak_a : at the highest battery, A. outer_m, height_m, copper_kg : size and copper.
    """

    core_id: str
    stack: int
    material_id: str
    in_drawer: int
    chosen: bool
    broken: tuple[str, ...] = ()
    refused: str = ""
    primary_turns: int = 0
    secondary_turns: int = 0
    primary: str = ""
    secondary: str = ""
    loss_w: float = 0.0
    rise_low_k: float = 0.0
    rise_high_k: float = 0.0
    fill: float = 0.0
    flux_peak_t: float = 0.0
    leakage_h: float = 0.0
    regulation: float = 0.0
    magnetising_peak_a: float = 0.0
    outer_m: float = 0.0
    height_m: float = 0.0
    copper_kg: float = 0.0

    @property
    def serves(self) -> bool:
        """Whether a winding on this core keeps every limit."""
        return not (self.broken or self.refused)


def alternatives(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    *,
    named: Sequence[str] = (),
    most: int = 6,
    chosen: str = "",
) -> tuple[AlternativeRow, ...]:
    """What other cores would do for the same need.

    Parameters
    ----------
    spec : the builder's wishes; core, stack, grade and turns are freed, everything else is kept.
    need : what the converter asks. library : parts with the drawer merged.
    named : cores wanted in the table whatever they come to.
    most : how many further cores of the library to show, best first.
    chosen : the core that the build has now; marked, and always in the table.

    Returns
    -------
    rows: cores that serve, least score first, then those that don't. Each figure is that of the finished
    transformer at its own temperature.

    Raises
    ------
    PartNotFoundError : a named core is unknown.
    RangeError : the need is impossible.
    """
    free = spec.model_copy(
        update={
            "core": "auto",
            "stack": None,
            "material": "auto",
            "primary_turns": None,
            "secondary_turns": None,
        }
    )
    wanted = [core.id for core in library.cores.values() if library.in_drawer(core.id)]
    wanted += [library.core(core_id).id for core_id in (*named, *((chosen,) if chosen else ()))]
    found = search_all(free, need, library)
    best = _best_of_each(found)
    known = dict.fromkeys(wanted)
    others = [core_id for core_id in best if core_id not in known][: max(most, 0)]
    serving = [core_id for core_id in best if core_id in known or core_id in others]
    rows = [
        _row(build_result(free, need, library, found, best[core_id], ()), library, chosen, ())
        for core_id in serving
    ]
    rest = [library.core(core_id) for core_id in known if core_id not in best]
    return (*rows, *(_unfit(free, need, library, core, chosen) for core in rest))


def _best_of_each(found: Found) -> dict[str, int]:
    """Candidate of the least score on each core that serves, best core first."""
    at = np.flatnonzero(np.isfinite(found.score))
    order = at[np.argsort(found.score[at], kind="stable")]
    best: dict[str, int] = {}
    rows: Iterable[int] = found.candidates.row[order].tolist()
    for index, row in zip(order.tolist(), rows, strict=True):
        best.setdefault(found.table.cores[row].id, index)
    return best


def _unfit(
    free: TransformerSpec, need: TransformerNeed, library: Library, core: Core, chosen: str
) -> AlternativeRow:
    """A core on which no winding keeps every limit: the one that breaks them least, or why there is none."""
    held = free.model_copy(update={"core": core.id})
    empty = AlternativeRow(
        core_id=core.id,
        stack=1,
        material_id=core.material,
        in_drawer=library.in_drawer(core.id),
        chosen=core.id == chosen,
    )
    try:
        for factor in _RELAX:
            found = search_all(held, need, library, relax=factor)
            index = nearest_candidate(found)
            if index >= 0:
                broken = tuple(v.name for v in found.violations if v.share[index] > 1 + 1e-9)
                result = build_result(held, need, library, found, index, ())
                return _row(result, library, chosen, broken)
    except SubwrightError as error:  # no loss data, unfit grade, or heat that doesn't settle
        return replace(empty, refused=error.message)
    return replace(empty, refused="The windings don't go on it, by far.")


def _row(result: TransformerResult, library: Library, chosen: str, broken: tuple[str, ...]) -> AlternativeRow:
    p, s = result.primary, result.secondary
    return AlternativeRow(
        core_id=result.core.id,
        stack=result.stack,
        material_id=result.material.id,
        in_drawer=library.in_drawer(result.core.id),
        chosen=result.core.id == chosen,
        broken=broken,
        primary_turns=result.primary_turns,
        secondary_turns=result.secondary_turns,
        primary=f"{p.strands} × {p.wire.id}",
        secondary=f"{s.strands} × {s.wire.id}",
        loss_w=result.heating_w,
        rise_low_k=result.rise_low_k,
        rise_high_k=result.rise_high_k,
        fill=result.fill,
        flux_peak_t=result.flux_peak_t[Corner.MAX],
        leakage_h=result.leakage_h,
        regulation=result.regulation,
        magnetising_peak_a=result.magnetising_peak_a,
        outer_m=result.outer_m,
        height_m=result.height_m,
        copper_kg=result.copper_kg,
    )
