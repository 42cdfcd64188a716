"""The regulated output: coupled choke, feedback divider, and from which battery on the rail holds."""

from __future__ import annotations

from math import ceil, sqrt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.chokes import output_choke_h
from subwright.stages.converter_choke import OutputChoke, design_choke
from subwright.stages.converter_family import feedback_v
from subwright.stages.converter_parts import hot_resistance
from subwright.stages.converter_spec import ConverterDemand, ConverterPlan, ConverterSpec, Magnetics

__all__ = ["regulated_output"]

_BOTTOM_OHM = (1e3, 4.7e3)


def _divider(ratio: float, series: str) -> tuple[float, float]:
    """Preferred top and bottom resistors, ohm, whose ratio is the least at or above the one wanted."""
    best: tuple[float, float, float] | None = None
    for bottom in between(*_BOTTOM_OHM, series):
        top = at_least(ratio * float(bottom), series)
        if best is None or top / bottom < best[0]:
            best = (top / bottom, top, float(bottom))
    assert best is not None
    return best[1], best[2]


def regulated_output(
    spec: ConverterSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    magnetics: Magnetics,
    library: Library,
) -> OutputChoke:
    """Coupled output choke and divider for both rails.

    Parameters
    ----------
    spec, demand, plan : as designed so far. magnetics : the wound transformer. library : parts.

    Returns
    -------
    OutputChoke; the rail is what the divider's real values make of the controller's reference.

    Raises
    ------
    NoSolutionError : the duty would pass its limit at the nominal battery, or no core holds the choke.

    Source
    ------
    Buck-derived converter, Pressman ch. 2. [pressman1998]
    """
    controller, timing, diode = plan.controller, plan.timing, plan.rectifier.rectifier
    f, ratio = timing.switching_hz, magnetics.secondary_turns / magnetics.primary_turns
    bridge = plan.topology == "full-bridge"
    path = hot_resistance(plan.switch.mosfet, demand.switch_c) / plan.switch.per_side
    path *= 2.0 if bridge else 1.0
    path += magnetics.primary_ohm + spec.link_ohm
    reference_v = feedback_v(controller)
    top, bottom = _divider(plan.rail_v / reference_v - 1.0, spec.timing_resistor_series)
    set_v = reference_v * (1.0 + top / bottom)
    crest_a = demand.rail_crest_a
    on_a = ratio * crest_a
    each_a = demand.each_crest_a
    drop_v = diode.vf0_v + (diode.rd_ohm + magnetics.secondary_ohm) * each_a

    def share_at(emf_v: float) -> tuple[float, float]:
        """Share needed and share possible at the crest, battery sagging."""
        at_v = emf_v - demand.source_ohm * crest_a * set_v / (0.9 * emf_v) - path * on_a
        need = (set_v + drop_v) / (ratio * at_v) if at_v > 0 else float("inf")
        end_a = on_a + 0.5 * ratio * spec.ripple * crest_a
        return need, timing.share - 2.0 * f * magnetics.leakage_h * end_a / max(at_v, 1e-3)

    need, can = share_at(demand.emf_nominal_v)
    if need > can:
        raise NoSolutionError(
            message="The regulated rail would need a duty beyond what dead time and commutation leave.",
            quantity="conducting share at the nominal battery",
            value=f"{need:.3f}",
            limit=f"{can:.3f}",
            source="derived",
            remedy=f"Set transformer.primary_turns = {magnetics.primary_turns} and "
            f"transformer.secondary_turns = {ceil(magnetics.secondary_turns * need / can)} or more "
            f"({magnetics.secondary_turns} here), lower "
            f"converter.rail to {show(set_v * can / need, 'voltage')}, or shorten converter.dead_time.",
            code="CNV-26",
        )
    low, high = 0.5 * demand.emf_low_v, demand.emf_nominal_v
    for _ in range(40):
        middle = 0.5 * (low + high)
        needed, possible = share_at(middle)
        if needed <= possible:
            high = middle
        else:
            low = middle
    light, _ = share_at(demand.emf_max_v)
    wanted_a = spec.ripple * crest_a  # of both windings together, as all that the core sees
    inductance = output_choke_h(set_v, min(light, 0.98), f, wanted_a)
    choke = design_choke(
        library,
        inductance,
        1.05 * crest_a + 0.5 * wanted_a,
        wanted_a,
        2.0 * f,
        demand.each_rms_share * crest_a * sqrt(demand.music_mean_square),
        windings=2,
        wanted=spec.choke_core,
    )
    ripple = set_v * (1.0 - min(light, 0.98)) / (2.0 * f * choke.inductance_h)
    return OutputChoke(
        choke=choke,
        set_v=set_v,
        share_nominal=need,
        share_most=can,
        holds_from_v=high,
        ripple_a=ripple,
        critical_a=0.5 * ripple,
        feedback_top_ohm=top,
        feedback_bottom_ohm=bottom,
    )
