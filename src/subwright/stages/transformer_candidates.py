"""Candidate transformers worth winding: turns that keep flux and ratio, wires that no others beat, and pairs.

Three steps, each vectorised: turn counts that keep flux and ratio; for each of them the choices of wire and
strands per winding, of which those are dropped that another choice beats in both height and loss; then every
pairing of a primary with a secondary.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.physics.leakage import concentric_leakage, ring_breadth
from subwright.physics.magnetic_thermal import thermal_resistance_from_volume
from subwright.physics.magnetics import turns_square_wave
from subwright.stages.transformer_lay import foil_share
from subwright.stages.transformer_model import (
    Candidates,
    ampere_turns_per_turn,
    density_limit,
    lay_alone,
    lay_winding,
    lead_inductance_h,
    primary_halves,
    secondary_halves,
    winding_loss_w,
)
from subwright.stages.transformer_rail import ratio_for_rail
from subwright.stages.transformer_reach import Lying, lying, may_reach
from subwright.stages.transformer_records import (
    TransformerNeed,
    TransformerSpec,
)
from subwright.stages.transformer_tables import (
    CoreTable,
    WireTable,
    core_loss_w,
    heating_voltage,
    mean_square,
)

__all__ = ["Effort", "all_candidates"]

Effort = Literal["quick", "thorough"]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LEAST_FLUX_SHARE: Final = 0.35  # of the flux limit; with more turns than that the core must still matter:
_CORE_MATTERS: Final = 0.1  # core loss over the loss that the temperature rise allows
_MOST_TURNS: Final = 60
_THINNEST_DENSITY_SHARE: Final = 0.25  # of the density limit; more copper than that is left unused
_SECONDARY_SLACK: Final = 1.06  # keeps near ties while it isn't known yet how high the primary stands
_RATIOS_PER_TURN: Final = 3  # turn counts of the secondary tried per primary, nearest to the ratio wanted
_MOST_LITZ: Final = 6
_MOST_PAIRS: Final[Mapping[Effort, int]] = {"quick": 8_000, "thorough": 600_000}
# Beyond so many pairings each winding's choices are thinned out, and the best core and turns looked at anew.
_MOST_LAID: Final = 3_000  # windings laid before a quick look samples the wires
_SECTION_CLASS: Final = 1.2
_NEAR: Final = _SECTION_CLASS**2.5  # how far from the best of a coarse look the closer one goes, either way
_MOST_RELAXED: Final = 200_000  # the same when looking for what stands in the way
_TYPICAL_BUILD: Final = 0.6  # of the window's depth
_TYPICAL_COPPER: Final = 0.02  # of the battery, dropped in the windings at the crest


@dataclass(frozen=True, slots=True)
class _Options:
    """Wire and strand choices of one winding."""

    wire: Ints
    strands: Floats
    drawer: Bools


@dataclass(frozen=True, slots=True)
class _TurnSets:
    """Turn counts that keep flux and ratio."""

    row: Ints
    primary: Floats
    secondary: Floats

    def only(self, keep: Bools) -> _TurnSets:
        """Those that ``keep`` names."""
        return _TurnSets(self.row[keep], self.primary[keep], self.secondary[keep])


def _core_matters(
    spec: TransformerSpec, need: TransformerNeed, table: CoreTable, flux_share: Floats
) -> Bools:
    """Where the core loss is more than a small part of the loss that the temperature rise allows."""
    rows = np.arange(flux_share.shape[0])[:, None]
    flux = flux_share * (table.flux_limit_t * table.area_min_m2 / table.area_m2)[:, None]
    flux *= heating_voltage(need) / need.v_primary_max_v
    core_w = core_loss_w(table, rows, flux, need)
    allowed_w = spec.max_rise_k / np.asarray(thermal_resistance_from_volume(table.volume_m3))
    return core_w > _CORE_MATTERS * allowed_w[:, None]


def _turn_sets(
    spec: TransformerSpec, need: TransformerNeed, table: CoreTable, relax: float
) -> tuple[_TurnSets, int]:
    """Turn counts within the flux limit (times ``relax``) and the ratio window; and how many were covered."""
    needed = turns_square_wave(
        need.v_primary_max_v, need.duty, need.switching_hz, table.flux_limit_t, table.area_min_m2
    )
    if spec.primary_turns is not None:
        primary = np.array([float(spec.primary_turns)])
    else:
        top = math.ceil(float(np.max(needed)) / _LEAST_FLUX_SHARE**2)
        primary = np.arange(1.0, min(max(top, 1), _MOST_TURNS) + 1.0)
    flux_share = np.asarray(needed)[:, None] / primary
    wanted = flux_share <= relax * (1.0 + 1e-9)
    if spec.primary_turns is None:
        least = np.minimum(_LEAST_FLUX_SHARE, np.max(np.where(wanted, flux_share, 0.0), axis=1))
        useful = flux_share >= least[:, None] * (1.0 - 1e-9)
        useful |= _core_matters(spec, need, table, flux_share)
        wanted &= useful
    row, column = np.nonzero(wanted)
    np_turns = primary[column]
    wanted_ratio = _ratio_wanted(spec, need, table, row, np_turns)
    if spec.secondary_turns is not None:
        ns_turns = np.full((row.size, 1), float(spec.secondary_turns))
    else:
        middle = np.round(np_turns * wanted_ratio)
        offset = np.arange(-_RATIOS_PER_TURN, _RATIOS_PER_TURN + 1.0)
        ns_turns = middle[:, None] + offset
    ratio = ns_turns / np_turns[:, None]
    low, high = need.ratio_min / relax, need.ratio_max * relax
    within = (ns_turns >= 1) & (ratio >= low * (1 - 1e-9)) & (ratio <= high * (1 + 1e-9))
    if spec.primary_turns is not None and spec.secondary_turns is not None:
        within[:] = True  # both fixed: kept as they are, and reported against the window
    distance = np.where(within, np.abs(ratio / wanted_ratio[:, None] - 1.0), np.inf)
    nearest = np.argsort(distance, axis=1, kind="stable")[:, :_RATIOS_PER_TURN]
    keep = np.take_along_axis(within, nearest, axis=1)
    at, which = np.nonzero(keep)
    sets = _TurnSets(row[at], np_turns[at], np.take_along_axis(ns_turns, nearest, axis=1)[at, which])
    return sets, flux_share.size * (offset.size if spec.secondary_turns is None else 1)


def _ratio_wanted(
    spec: TransformerSpec, need: TransformerNeed, table: CoreTable, row: Ints, np_turns: Floats
) -> Floats:
    """Ratio that each core and primary would need for the rail, shape (n,), before any wire is chosen.

    Leakage is that of a window filled to _TYPICAL_BUILD and copper that drops _TYPICAL_COPPER of the battery;
    the candidates' own figures decide later.
    """
    rail = need.rail
    if rail is None:
        return np.full(np_turns.shape, need.ratio_target)
    depth = np.where(table.ring[row], 0.5 * table.hole_m[row], table.window_height_m[row])
    build = _TYPICAL_BUILD * np.minimum(depth, table.build_limit_m[row])
    ring_turn = table.outer_m[row] - table.hole_m[row] + 2.0 * table.height_m[row] + 4.0 * build
    turn = np.where(table.ring[row], ring_turn, table.turn_m[row])
    breadth = table.width_m[row].copy()
    ring = np.flatnonzero(table.ring[row])
    if ring.size:
        r = row[ring]
        breadth[ring] = ring_breadth(table.hole_m[r], table.outer_m[r], table.height_m[r], 0.5 * build[ring])
    interfaces = np.where(table.interfaces[row] > 1, 2.0, 1.0)
    leakage = concentric_leakage(
        np_turns, turn, breadth, build, interfaces * spec.insulation_m, interfaces
    ) + lead_inductance_h(spec, need.primary_rms_a / density_limit(spec))
    start = need.ratio_target
    copper = _TYPICAL_COPPER * rail.emf_v / (start * rail.crest_a)
    return ratio_for_rail(need, rail, start, copper, leakage)


def _options(
    spec: TransformerSpec,
    wires: WireTable,
    fixed_strands: int | None,
    rms_a: float,
    heat_share: float,
    relax: float,
    halves: int = 2,
) -> tuple[_Options, int]:
    """Wire and strand choices whose current density is neither above the limit nor pointlessly low."""
    if fixed_strands is not None:
        counts = np.array([float(fixed_strands)])
    else:
        counts = np.arange(1.0, spec.most_strands * (2 // halves) + 1.0)
    density = rms_a * math.sqrt(heat_share) / (wires.copper_m2[:, None] * counts)
    limit = density_limit(spec)
    keep = density <= limit * relax * (1 + 1e-9)
    litz = (wires.strands > 1)[:, None]
    keep &= ~litz | (counts <= _MOST_LITZ) | (fixed_strands is not None)
    # foils in parallel lie in different layers and don't share the current
    keep &= ~wires.foil[:, None] | (counts <= 1) | (fixed_strands is not None)
    if fixed_strands is None:
        # a wire that was asked for is never refused for being too good
        keep &= (density >= _THINNEST_DENSITY_SHARE * limit) | ((counts <= 1) & (len(wires.wires) == 1))
    wire, which = np.nonzero(keep)
    return _Options(wire, counts[which], wires.drawer[wire]), density.size


def _near(options: _Options, wires: WireTable, section_m2: float) -> _Options:
    """Choices whose copper section lies near one that is known to do well."""
    section = wires.copper_m2[options.wire] * options.strands
    keep = np.abs(np.log(section / section_m2)) <= math.log(_NEAR)
    return _Options(options.wire[keep], options.strands[keep], options.drawer[keep])


def _coarse(options: _Options, wires: WireTable) -> _Options:
    """A fair sample for a quick look: of each class of copper section the finest, middle and coarsest wire.

    Choices from the drawer are sampled among themselves as well.
    """
    section = wires.copper_m2[options.wire] * options.strands
    step = np.floor(np.log(section / section.min()) / math.log(_SECTION_CLASS) + 1e-9).astype(np.int64)
    order = np.lexsort((options.strands, step))
    chosen = np.zeros(section.size, dtype=bool)
    for part in (np.ones_like(chosen), options.drawer):
        own = order[part[order]]
        if not own.size:
            continue
        edges = np.flatnonzero(np.diff(step[own], prepend=-1))
        last = np.append(edges[1:], own.size) - 1
        chosen[own[edges]] = chosen[own[last]] = chosen[own[(edges + last) // 2]] = True
    return _Options(options.wire[chosen], options.strands[chosen], options.drawer[chosen])


def _skyline(height: Floats, loss: Floats, slack: float) -> Bools:
    """Choices (axis 1) that no other choice beats in both height and loss; ``inf`` marks what is out."""
    order = np.lexsort((loss, height), axis=1)
    sorted_loss = np.take_along_axis(loss, order, axis=1)
    best = np.minimum.accumulate(sorted_loss, axis=1)
    before = np.concatenate([np.full((loss.shape[0], 1), np.inf), best[:, :-1]], axis=1)
    good = np.isfinite(sorted_loss) & (sorted_loss < before * slack)
    keep = np.zeros_like(good)
    np.put_along_axis(keep, order, good, axis=1)
    return keep


def _worth_pairing(height: Floats, section: Floats, loss: Floats, options: _Options, slack: float) -> Bools:
    """Which (turns, choice) of one winding go on: undominated in height, or in copper section, and loss.

    Choices from the drawer compete among themselves as well, so that a better wire that must be bought
    doesn't hide them.
    """
    keep = _skyline(height, loss, slack) | _skyline(section, loss, slack)
    if np.any(options.drawer) and not np.all(options.drawer):
        own = np.where(options.drawer, loss, np.inf)
        keep |= _skyline(height, own, slack) | _skyline(section, own, slack)
    return keep


def _thinned(keep: Bools, options: _Options, wires: WireTable, most: int) -> Bools:
    """At most ``most`` of each group's kept options, evenly spread over the copper section, ends included.

    Options from the drawer are spread among themselves as well.
    """
    order = np.argsort(wires.copper_m2[options.wire] * options.strands, kind="stable")
    spread = np.zeros_like(keep)
    for part in (keep, keep & options.drawer):
        sorted_part = part[:, order]
        count = sorted_part.sum(axis=1, keepdims=True)
        rank = np.cumsum(sorted_part, axis=1) - 1
        step = np.floor(rank * (most - 1) / np.maximum(count - 1, 1) + 0.5)
        before = np.concatenate([np.full((keep.shape[0], 1), -1.0), step[:, :-1]], axis=1)
        spread[:, order] |= sorted_part & ((step != before) | (count <= most))
    return spread


def _groups(row: Ints, turns: Floats) -> tuple[Ints, Floats, Ints]:
    """Distinct (row, turns) pairs, and for every input which of them it is."""
    key = row * 4096 + turns.astype(np.int64)
    distinct, inverse = np.unique(key, return_inverse=True)
    return distinct // 4096, (distinct % 4096).astype(float), inverse


def _kept_options(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    wires: WireTable,
    options: _Options,
    row: Ints,
    turns: Floats,
    *,
    is_primary: bool,
    start_m: Floats,
    mmf_a: Floats,
    relax: float,
    copper_c: float,
) -> tuple[Bools, Floats, Lying]:
    """Lay every option on every (row, turns) group and drop the dominated.

    Returns (which are kept, lowest kept height of each group, how they all lie).
    """
    groups, count = row.size, options.wire.size
    shape = (groups, count)
    halves = primary_halves(need) if is_primary else secondary_halves(need)
    # what has no room for its copper alone need not be laid at all
    section = turns[:, None] * (halves * options.strands * wires.copper_m2[options.wire])
    if np.any(wires.foil):
        section = section * foil_share(table, wires, row[:, None], options.wire[None, :])
    window = (table.fill_limit[row] * relax * table.window_m2[row])[:, None]
    group, option = np.nonzero(section <= window)
    wide_row = row[group]
    columns = (turns[group], options.wire[option], options.strands[option], halves, start_m[group])
    if is_primary:
        laid = lay_winding(spec, table, wires, wide_row, *columns, table.interfaces[wide_row])
    else:
        laid = lay_alone(spec, table, wires, wide_row, *columns)
    rms_a = need.primary_rms_a if is_primary else need.secondary_rms_a
    own, eddy = winding_loss_w(wires, options.wire[option], laid, halves, rms_a, mmf_a[group], copper_c)
    good = laid.fits & (laid.top_m <= table.build_limit_m[wide_row] * relax)
    loss, height = np.full(shape, np.inf), np.full(shape, np.inf)
    loss[group, option] = np.where(good, own + eddy, np.inf)
    height[group, option] = laid.top_m
    slack = 1.0 if is_primary else _SECONDARY_SLACK
    keep = _worth_pairing(height, section, loss, options, slack)
    lowest = np.min(np.where(keep, height, np.inf), axis=1)
    place = (group, option)
    how = lying(spec, table, laid, own, halves, rms_a, wide_row, turns[group], place, shape)
    return keep, lowest, how


def all_candidates(
    spec: TransformerSpec,
    need: TransformerNeed,
    table: CoreTable,
    wires: tuple[WireTable, WireTable],
    copper_c: float,
    relax: float = 1.0,
    effort: Effort = "thorough",
    near_m2: tuple[float, float] | None = None,
) -> tuple[Candidates, int, bool]:
    """Candidates worth winding, and how many combinations they stand for.

    Parameters
    ----------
    spec, need, table, wires, copper_c : as for ``evaluate``.
    relax : factor by which flux, ratio, density, fill and height may pass their limits here; above 1 only
        to find out what stands in the way when nothing is feasible.
    effort : how many pairings of wires to look at before thinning them out; a quick search also leaves out
        pairs that can't give the rail.
    near_m2 : copper sections of one half of primary and secondary that a coarser look found best; choices far
        from them are left out. None looks at all.

    Returns
    -------
    (candidates, number of combinations covered, whether the wires were thinned out).
    """
    heat_share = mean_square(spec, need)
    sets, covered = _turn_sets(spec, need, table, relax)
    first, first_count = _options(
        spec, wires[0], spec.primary_strands, need.primary_rms_a, heat_share, relax, primary_halves(need)
    )
    second, second_count = _options(
        spec, wires[1], spec.secondary_strands, need.secondary_rms_a, heat_share, relax
    )
    covered *= first_count * second_count
    if near_m2 is not None:
        first, second = _near(first, wires[0], near_m2[0]), _near(second, wires[1], near_m2[1])
    sampled = effort == "quick" and sets.row.size * max(first.wire.size, second.wire.size) > _MOST_LAID
    if sampled:
        first = _coarse(first, wires[0]) if first.wire.size else first
        second = _coarse(second, wires[1]) if second.wire.size else second
    if not (sets.row.size and first.wire.size and second.wire.size):
        return _no_candidates(), covered, False
    ampere_turns = ampere_turns_per_turn(need)

    row_p, turns_p, group_p = _groups(table.alike[sets.row], sets.primary)
    zero = np.zeros(row_p.size)
    keep_p, lowest, how_p = _kept_options(
        spec, need, table, wires[0], first, row_p, turns_p,
        is_primary=True, start_m=zero, mmf_a=turns_p * ampere_turns, relax=relax, copper_c=copper_c,
    )  # fmt: skip
    row_s, turns_s, group_s = _groups(table.alike[sets.row], sets.secondary)
    floor = np.full(row_s.size, np.inf)
    np.minimum.at(floor, group_s, lowest[group_p])
    mmf_s = np.zeros(row_s.size)
    np.maximum.at(mmf_s, group_s, sets.primary * ampere_turns)
    start_s = np.where(np.isfinite(floor), floor + spec.insulation_m, 0.0)
    start_s = np.where(table.interfaces[row_s] > 1, 0.0, start_s)
    keep_s, _, how_s = _kept_options(
        spec, need, table, wires[1], second, row_s, turns_s,
        is_primary=False, start_m=start_s, mmf_a=mmf_s, relax=relax, copper_c=copper_c,
    )  # fmt: skip

    pairs = int(np.sum(keep_p.sum(axis=1)[group_p] * keep_s.sum(axis=1)[group_s]))
    limit = _MOST_PAIRS[effort] if relax == 1.0 else _MOST_RELAXED
    thin = pairs > limit
    if thin:
        most = max(3, math.isqrt(limit // sets.row.size))
        keep_p = _thinned(keep_p, first, wires[0], most)
        keep_s = _thinned(keep_s, second, wires[1], most)

    rail = need.rail if effort == "quick" and relax == 1.0 else None
    if rail is not None:
        # turn sets on which not even the best of every value gives the rail
        some = np.asarray(keep_p.any(axis=1))[group_p] & np.asarray(keep_s.any(axis=1))[group_s]
        sets, group_p, group_s = sets.only(some), group_p[some], group_s[some]
        turns = (sets.primary, sets.secondary)
        least = (how_p.least(keep_p).taken(group_p, 0), how_s.least(keep_s).taken(group_s, 0))
        reach = may_reach(spec, need, rail, table, sets.row, turns, *least)
        sets, group_p, group_s = sets.only(reach), group_p[reach], group_s[reach]

    # every kept primary of a turn set with every kept secondary of it
    pairs_p, pairs_s = keep_p.sum(axis=1)[group_p], keep_s.sum(axis=1)[group_s]
    total = pairs_p * pairs_s
    of_set = np.repeat(np.arange(sets.row.size), total)
    position = np.arange(of_set.size) - np.repeat(np.cumsum(total) - total, total)
    option_p = np.nonzero(keep_p)[1]
    option_s = np.nonzero(keep_s)[1]
    begin_p = np.cumsum(keep_p.sum(axis=1)) - keep_p.sum(axis=1)
    begin_s = np.cumsum(keep_s.sum(axis=1)) - keep_s.sum(axis=1)
    width = np.maximum(pairs_s[of_set], 1)
    choice_p = option_p[begin_p[group_p[of_set]] + position // width]
    choice_s = option_s[begin_s[group_s[of_set]] + position % width]
    if rail is not None:
        row, turns = sets.row[of_set], (sets.primary[of_set], sets.secondary[of_set])
        lies = (how_p.taken(group_p[of_set], choice_p), how_s.taken(group_s[of_set], choice_s))
        reach = may_reach(spec, need, rail, table, row, turns, *lies)
        of_set, choice_p, choice_s = of_set[reach], choice_p[reach], choice_s[reach]
    return (
        Candidates(
            row=sets.row[of_set],
            primary_turns=sets.primary[of_set],
            secondary_turns=sets.secondary[of_set],
            primary_wire=first.wire[choice_p],
            primary_strands=first.strands[choice_p],
            secondary_wire=second.wire[choice_s],
            secondary_strands=second.strands[choice_s],
        ),
        covered,
        thin or sampled,
    )


def _no_candidates() -> Candidates:
    whole, real = np.zeros(0, dtype=np.int64), np.zeros(0)
    return Candidates(
        row=whole,
        primary_turns=real,
        secondary_turns=real,
        primary_wire=whole,
        primary_strands=real,
        secondary_wire=whole,
        secondary_strands=real,
    )
