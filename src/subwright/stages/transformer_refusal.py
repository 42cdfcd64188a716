"""When no transformer keeps every limit: which one comes nearest, and what would have to change for it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.magnetics import HOTTEST_CORE_C, turns_square_wave
from subwright.stages.transformer_model import density_limit
from subwright.stages.transformer_records import TransformerNeed, TransformerSpec
from subwright.stages.transformer_search import Found, search_all
from subwright.stages.transformer_tables import core_table

__all__ = ["REFUSED", "nearest_candidate", "refusal"]

REFUSED = "MAG-19"  # the rule that a refusal of every winding names
_NO_DUTY = "CNV-26"  # the one that a held rail beyond the duty names
_FREE_RAIL = 1.6  # room given to the rail to see what would serve
_POWER_SHARES = (0.95, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3)
_WIDER = (1.5, 3.0, 10.0)  # limits are widened by these factors in turn until something can be wound


def nearest_candidate(found: Found) -> int:
    """Candidate that breaks the limits least; -1 if none can be wound.

    The measure is the sum of the logarithms of applied over limit, and a tenth for each limit broken.
    """
    if not found.candidates.row.size:
        return -1
    shares = np.stack([v.share for v in found.violations])
    broken = shares > 1 + 1e-9
    cost = np.sum(np.where(broken, np.log(np.maximum(shares, 1.0)) + 0.1, 0.0), axis=0)
    best = int(np.argmin(cost))
    return best if np.isfinite(cost[best]) else -1


def refusal(spec: TransformerSpec, need: TransformerNeed, library: Library) -> NoSolutionError:
    """The error that says what stands in the way.

    Parameters
    ----------
    spec, need, library : as for the search that found nothing.

    Returns
    -------
    NoSolutionError on the limit that the nearest candidate breaks most, with all that would have to change.
    """
    for factor in _WIDER:
        found = search_all(spec, need, library, relax=factor)
        index = nearest_candidate(found)
        if index >= 0:
            return _explain(spec, need, library, found, index)
    return _far_off(spec, need, library)


def _explain(
    spec: TransformerSpec, need: TransformerNeed, library: Library, found: Found, index: int
) -> NoSolutionError:
    c, table = found.candidates, found.table
    row = int(c.row[index])
    broken = sorted(
        ((v.name, float(v.share[index])) for v in found.violations if v.share[index] > 1 + 1e-9),
        key=lambda item: -item[1],
    )
    core, stack = table.cores[row], int(table.stack[row])
    turns = f"{c.primary_turns[index]:.0f} : {c.secondary_turns[index]:.0f} turns"
    nearest = f"{stack} × {core.id}" if stack > 1 else core.id
    facts = [_fact(name, share, spec, need, found, index) for name, share in broken]
    name, applied, limit, _, source = facts[0]
    remedies = [remedy for *_, remedy, _ in facts]
    short = any(name.startswith("rail") for name, *_ in facts)
    if short and need.rail is not None:
        held = spec.model_copy(update={"core": core.id, "stack": stack})
        loaded_v = need.rail.needed_v / max(dict(broken).get("rail at full power", 1.0), 1.0)
        remedies += _rail_that_serves(held, need, library, loaded_v)
    if any(fact[0] == "temperature rise" for fact in facts):
        remedies += _rise_that_serves(spec, need, library, float(found.evaluation.rise_high_k[index]))
    others = "".join(f" Also {n}: {a}, limit {li}." for n, a, li, _, _ in facts[1:])
    return NoSolutionError(
        message=f"No transformer keeps every limit. Nearest: {nearest} with {turns} a half.{others}",
        quantity=name,
        value=applied,
        limit=limit,
        source=source,
        remedy=" ".join(remedies),
        code=_NO_DUTY if short and need.rail is not None and need.rail.held else REFUSED,
    )


def _rail_that_serves(
    spec: TransformerSpec, need: TransformerNeed, library: Library, loaded_v: float
) -> list[str]:
    """What a rail out of reach would ask of amplifier, power or output; found by trying, on one core."""
    rail = need.rail
    if rail is None:
        return []
    remedies = []
    free = replace(
        need, ratio_max=_FREE_RAIL * need.ratio_max, rail=replace(rail, most_v=_FREE_RAIL * rail.most_v)
    )
    loose = spec.model_copy(update={"secondary_turns": None})
    found = search_all(loose, free, library, front=False)
    if found.best >= 0:
        np_turns, ns_turns = (
            float(turns[found.best])
            for turns in (found.candidates.primary_turns, found.candidates.secondary_turns)
        )
        given = f"{np_turns:.0f} : {ns_turns:.0f} turns would give it"
        if spec.secondary_turns is not None:
            given += f" (transformer.secondary_turns = {ns_turns:.0f})"
        unloaded_v = ns_turns / np_turns * rail.emf_most_v - rail.diode_v
        if rail.held or unloaded_v <= rail.most_v:
            remedies.append(f"{given}.")
        else:
            remedies.append(
                f"{given}; unloaded the rail then rises to {show(unloaded_v, 'voltage')}, so the "
                f"amplifier must stand that instead of {show(rail.most_v, 'voltage')}: set "
                f"amplifier.mosfet or amplifier.ab_output to parts rated "
                f"{100.0 * (unloaded_v / rail.most_v - 1.0):.0f} % higher."
            )
    for share in _POWER_SHARES:
        root = math.sqrt(share)
        less = replace(
            need,
            primary_rms_a=root * need.primary_rms_a * root,
            secondary_rms_a=root * need.secondary_rms_a,
            ratio_min=root * need.ratio_min,
            ratio_target=root * need.ratio_target,
            rail=replace(rail, crest_a=root * rail.crest_a, needed_v=root * rail.needed_v),
        )
        if search_all(spec, less, library, front=False).best >= 0:
            remedies.append(f"Or lower goal.power to about {100 * share:.0f} %.")
            break
    if rail.held:
        lower = show(loaded_v, "voltage")
        remedies.append(f"Or lower converter.rail to {lower}, or shorten converter.dead_time.")
    else:
        remedies.append('Or set converter.output = "regulated": its rail doesn\'t rise when the load goes.')
    return remedies


def _rise_that_serves(
    spec: TransformerSpec, need: TransformerNeed, library: Library, rise_k: float
) -> list[str]:
    """A temperature rise with which all else fits, found by trying.

    It is more than the rise that was missed: hotter copper loses more, and hot ferrite carries less flux.
    """
    most = min(TransformerSpec.RULES["max_rise_k"].high or math.inf, HOTTEST_CORE_C - need.ambient_c)
    trial = math.ceil(max(rise_k, spec.max_rise_k + 1.0))
    while trial <= most:
        if search_all(spec.model_copy(update={"max_rise_k": float(trial)}), need, library).best >= 0:
            return [f'transformer.max_rise = "{trial} K" would do.']
        trial = math.ceil(trial * 1.08)
    return []


def _fact(
    name: str, share: float, spec: TransformerSpec, need: TransformerNeed, found: Found, index: int
) -> tuple[str, str, str, str, str]:
    """(quantity, applied, limit, remedy, source) of one broken limit."""
    table, c, e = found.table, found.candidates, found.evaluation
    row = int(c.row[index])
    if name == "flux density":
        area = float(table.area_min_m2[row]) * share
        turns = math.ceil(float(c.primary_turns[index]) * share - 1e-9)
        return (
            "peak flux density",
            show(float(e.flux_peak_t[index]), "flux density"),
            show(float(table.flux_limit_t[row]), "flux density"),
            f"It needs A_e ≥ {area * 1e6:.0f} mm², or {show(need.switching_hz * share, 'frequency')}"
            + (f", or {turns} turns per half-primary." if spec.primary_turns is not None else "."),
            "saturation flux density of the grade, derated"
            if spec.flux_limit_t is None
            else "transformer.flux_limit",
        )
    if name == "temperature rise":
        rise = float(e.rise_high_k[index])
        return (
            name,
            show(rise, "temperature difference"),
            show(spec.max_rise_k, "temperature difference"),
            f"It needs a larger core, or {float(e.heating_w[index]) / share:.1f} W of loss or less instead "
            f"of {float(e.heating_w[index]):.1f} W.",
            "transformer.max_rise",
        )
    if name == "window fill":
        fill = float(e.fill[index])
        return (
            "copper share of the window",
            f"{fill:.3f}",
            f"{float(table.fill_limit[row]):.3f}",
            f"It needs a window ≥ {float(table.window_m2[row]) * share * 1e6:.0f} mm², or less copper.",
            "mclyman-handbook" if spec.fill_limit is None else "transformer.fill_limit",
        )
    if name == "winding height":
        limit = float(table.build_limit_m[row])
        return (
            name,
            show(limit * share, "length"),
            show(limit, "length"),
            f"It needs {show(limit * (share - 1.0), 'length')} more height: a larger window, fewer or "
            "thinner strands, or thinner insulation.",
            "layers of whole turns",
        )
    if name == "current density":
        density = float(e.density_a_per_m2[index])
        return (
            name,
            show(density, "current density"),
            show(density_limit(spec), "current density"),
            f"It needs {share:.2f} times the copper section: thicker wire, more strands (at most "
            f"{spec.most_strands} by transformer.most_strands), or a higher transformer.current_density.",
            "pressman1998" if spec.current_density_a_per_m2 is None else "transformer.current_density",
        )
    if need.rail is not None and name.startswith("rail"):
        loaded = name == "rail at full power"
        limit = need.rail.needed_v if loaded else need.rail.most_v
        return (
            name,
            show(limit / share if loaded else limit * share, "voltage"),
            show(limit, "voltage"),
            "It needs more turns on the secondary, thicker copper, or less leakage (transformer.lead_form)."
            if loaded
            else "It needs fewer turns on the secondary, or parts that stand a higher rail.",
            "amplifier's rail window",
        )
    ratio = float(c.secondary_turns[index] / c.primary_turns[index])
    return (
        name,
        f"{ratio:.3f}",
        f"{need.ratio_min:.3f} to {need.ratio_max:.3f}",
        f"No pair of whole turn counts lies in that window here: more turns per half-primary (a lower flux "
        f"density), or a window that takes in {ratio:.3f}.",
        "rail voltages",
    )


def _far_off(spec: TransformerSpec, need: TransformerNeed, library: Library) -> NoSolutionError:
    """Nothing comes near: say what the largest core allowed would have to bear."""
    table = core_table(spec, need, library)
    needed = np.asarray(
        turns_square_wave(
            need.v_primary_max_v, need.duty, need.switching_hz, table.flux_limit_t, table.area_min_m2
        )
    )
    row = int(np.argmin(needed))
    copper = 2.0 * math.ceil(float(needed[row])) * need.primary_rms_a / density_limit(spec)
    return NoSolutionError(
        message=f"The windings don't go on any core that is allowed, by far. Best is {table.cores[row].id}: "
        f"{math.ceil(float(needed[row]))} turns per half-primary.",
        quantity="copper section of the primary alone",
        value=f"{copper * 1e6:.1f} mm²",
        limit=f"half of {float(table.fill_limit[row] * table.window_m2[row]) * 1e6:.1f} mm²",
        source="window and fill limit",
        remedy="Free what transformer.* fixes, allow more strands (transformer.most_strands), choose a "
        "larger core, or lower the power.",
        code=REFUSED,
    )
