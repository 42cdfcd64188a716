"""The transformer stage: turns, core and wire for a centre-tapped push-pull converter.

Every combination of core, stack, turns, ratio, wire and strands that the spec leaves open is wound and heated
(``transformer_search``); the best is finished at the temperature that its own loss gives it
(``transformer_build``) and comes with a winding sheet and the readings that prove it (``transformer_sheet``).
"""

from __future__ import annotations

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.stages.transformer_build import take_out
from subwright.stages.transformer_held import HeldTransformer
from subwright.stages.transformer_records import (
    AuxiliaryNeed,
    ParetoRow,
    PhasingCheck,
    RailNeed,
    SearchStatistics,
    TransformerNeed,
    TransformerResult,
    TransformerSpec,
    Winding,
    WindingStep,
)
from subwright.stages.transformer_refusal import REFUSED, nearest_candidate, refusal
from subwright.stages.transformer_search import Effort, Found, search_all

__all__ = [
    "AuxiliaryNeed",
    "HeldTransformer",
    "ParetoRow",
    "PhasingCheck",
    "RailNeed",
    "SearchStatistics",
    "TransformerNeed",
    "TransformerResult",
    "TransformerSpec",
    "Winding",
    "WindingStep",
    "choose_transformer",
    "design_transformer",
    "search",
]

_CORE_CHOICES = ("core", "stack", "material")
_WINDING_CHOICES = (
    "primary_turns",
    "secondary_turns",
    "primary_wire",
    "secondary_wire",
    "primary_strands",
    "secondary_strands",
)


def _check(need: TransformerNeed) -> None:
    """Refuse a need that no formula can answer."""
    positive = {
        "switching frequency, Hz": need.switching_hz,
        "highest primary voltage, V": need.v_primary_max_v,
        "primary current, A": need.primary_rms_a,
        "secondary current, A": need.secondary_rms_a,
        "turns ratio": need.ratio_min,
    }
    for name, value in positive.items():
        if not 0 < value < float("inf"):
            raise RangeError(
                message="The transformer was asked for an impossible value.",
                quantity=name,
                value=f"{value:g}",
                limit="> 0",
            )
    shares = {"conduction share": need.duty, "programme mean square": need.programme_mean_square}
    for name, value in shares.items():
        if not 0 < value <= 1:
            raise RangeError(
                message="The transformer was asked for an impossible share.",
                quantity=name,
                value=f"{value:g}",
                limit="0 to 1",
            )
    if not need.ratio_min <= need.ratio_target <= need.ratio_max:
        raise RangeError(
            message="The turns ratio wanted lies outside its own window.",
            quantity="turns ratio",
            value=f"{need.ratio_target:.4g}",
            limit=f"{need.ratio_min:.4g} to {need.ratio_max:.4g}",
            remedy="Lower the rail wanted, or allow the amplifier a higher rail.",
        )


def search(spec: TransformerSpec, need: TransformerNeed, library: Library) -> Found:
    """Wind and heat everything that the spec leaves open.

    Parameters
    ----------
    spec : the builder's wishes. need : what the converter asks. library : parts with the drawer merged.

    Returns
    -------
    Found: candidates, evaluation, feasibility, score, Pareto front and the choice, as columns.

    Raises
    ------
    RangeError, NoSolutionError, PartNotFoundError : nothing can be tabulated at all.
    """
    _check(need)
    return search_all(spec, need, library)


def design_transformer(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    *,
    compare: bool = True,
    effort: Effort = "thorough",
) -> TransformerResult:
    """Choose, wind and check the transformer.

    Parameters
    ----------
    spec : the builder's wishes; whatever it fixes is kept.
    need : what the converter asks.
    library : parts with the drawer merged; cores in the drawer come first.
    compare : whether to say what fixed choices cost, by searching without them (one full search more when
        the core is fixed).
    effort : "quick" thins the wires out in a large search and looks closely at the best core only.

    Returns
    -------
    TransformerResult. A transformer that is fixed altogether is analysed as it stands, and its ratings show
    what it exceeds.

    Raises
    ------
    NoSolutionError : no combination keeps every limit; says which limit is nearest to being met and what
        would have to change.
    RangeError : a value outside the formulas' range.
    PartNotFoundError : an unknown core, grade or wire.

    Source
    ------
    Selection rule: ``transformer_search``; physics: see the modules used.
    [venkatachalam2002] [dowell1966] [mclyman-handbook]
    """
    return choose_transformer(spec, need, library, compare=compare, effort=effort).finished(need, library)


def choose_transformer(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    *,
    compare: bool = True,
    effort: Effort = "thorough",
    explain: bool = True,
) -> HeldTransformer:
    """Choose a transformer; ``design_transformer`` says how, and what the arguments are.

    ``explain`` off leaves out of a refusal what stands in the way, which takes some searches to find out.

    Returns
    -------
    HeldTransformer, which can be heated at other currents and finished.

    Raises
    ------
    NoSolutionError : no combination keeps every limit.
    RangeError : a value outside the formulas' range.
    PartNotFoundError : an unknown core, grade or wire.
    """
    _check(need)
    found = search_all(spec, need, library, effort=effort)
    if found.best >= 0:
        choice = (_why(spec, found), *(_costs(spec, need, library, found) if compare else ()))
        return _taken(spec, need, library, found, found.best, choice)
    if _all_fixed(spec):
        found = search_all(spec, need, library, relax=100.0)
        index = nearest_candidate(found)
        if index >= 0:
            broken = ", ".join(v.name for v in found.violations if v.share[index] > 1 + 1e-9)
            choice = (f"Fixed altogether and taken as it stands. Beyond its limit: {broken}.",)
            return _taken(spec, need, library, found, index, choice)
    if explain:
        raise refusal(spec, need, library)
    raise NoSolutionError(message="No transformer keeps every limit.", quantity="transformer", code=REFUSED)


def _taken(
    spec: TransformerSpec,
    need: TransformerNeed,
    library: Library,
    found: Found,
    index: int,
    choice: tuple[str, ...],
) -> HeldTransformer:
    wound = take_out(spec, need, library, found, index)
    return HeldTransformer(
        spec=spec,
        wound=wound,
        search=found.statistics,
        searched=need,
        searched_k=float(found.evaluation.rise_high_k[index]),
        choice=choice,
    )


def _fixed(spec: TransformerSpec, names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(name for name in names if getattr(spec, name) not in (None, "auto"))


def _all_fixed(spec: TransformerSpec) -> bool:
    return spec.core != "auto" and len(_fixed(spec, _WINDING_CHOICES)) == len(_WINDING_CHOICES)


def _why(spec: TransformerSpec, found: Found) -> str:
    """How the choice fell."""
    stats, row = found.statistics, int(found.candidates.row[found.best])
    core = found.table.cores[row].id
    if spec.core != "auto":
        return f"{core} as wished; {stats.feasible} of {stats.evaluated} ways to wind it keep every limit."
    if found.table.drawer[row]:
        origin = "It is in the drawer, and the drawer comes first"
    elif bool(found.table.drawer.any()):
        origin = "No core in the drawer keeps every limit"
    else:
        origin = "No core is in the drawer"
    return (
        f"{core} has the least sum of loss over the least loss and core volume over the least volume among "
        f"{stats.feasible} designs that keep every limit. {origin}."
    )


def _costs(spec: TransformerSpec, need: TransformerNeed, library: Library, found: Found) -> tuple[str, ...]:
    """What the fixed choices cost: the same search without them."""
    sentences: list[str] = []
    loss = float(found.evaluation.heating_w[found.best])
    for names in (_WINDING_CHOICES, _CORE_CHOICES):
        fixed = _fixed(spec, names)
        if not fixed:
            continue
        default = {name: TransformerSpec.model_fields[name].default for name in fixed}
        free = _best_without(spec.model_copy(update=default), need, library)
        words = ", ".join(name.replace("_", " ") for name in fixed)
        if free is None:
            continue
        free_loss, core, turns = free
        if free_loss < loss * 0.995:
            sentences.append(
                f"Fixed {words}: {show(loss, 'power')} of heat instead of {show(free_loss, 'power')} "
                f"with {core}, {turns}."
            )
        else:
            sentences.append(f"Fixed {words}: no more heat than the free choice ({core}, {turns}).")
    return tuple(sentences)


def _best_without(
    spec: TransformerSpec, need: TransformerNeed, library: Library
) -> tuple[float, str, str] | None:
    """(loss in W, core, turns) of the best design under a freer spec; None where there is none."""
    try:
        found = search_all(spec, need, library)
    except (NoSolutionError, RangeError):
        return None
    if found.best < 0:
        return None
    c, at = found.candidates, found.best
    row = int(c.row[at])
    stack = int(found.table.stack[row])
    core = found.table.cores[row].id
    return (
        float(found.evaluation.heating_w[at]),
        f"{stack} × {core}" if stack > 1 else core,
        f"{c.primary_turns[at]:.0f} : {c.secondary_turns[at]:.0f} turns",
    )
