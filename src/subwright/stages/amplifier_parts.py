"""Choosing switches, output devices, filter and input capacitors of the amplifier."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, isfinite, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import is_member, nearest, neighbours
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.output_stages import OUTPUT_STAGES, OutputStage
from subwright.parts.schema import Capacitor, Mosfet
from subwright.physics.class_d import (
    commutation_capacitance_f,
    lc_corner_hz,
    lc_quality,
    output_filter_l_c,
    parallel_damping_ohm,
)
from subwright.physics.safe_area import whole_devices

__all__ = [
    "DAMPING_RATIO",
    "RESERVE_ID",
    "FilterChoice",
    "InputBank",
    "OutputChoice",
    "SwitchPool",
    "battery_bank",
    "best_switch",
    "choose_filter",
    "choose_input_bank",
    "choose_lift_bank",
    "choose_output_stage",
    "pool_of_switches",
    "sine_phases",
    "switch_charge_coul",
]

Array = NDArray[np.float64]

_BUTTERWORTH_Q = sqrt(0.5)
DAMPING_RATIO = 2.0  # damping capacitor over filter capacitor: unloaded peak 1.41 times sqrt(L/C)
RESERVE_ID = 0.5  # share of a MOSFET's current rating that the crest may use
_FILM_VOLTAGES_V = (63.0, 100.0, 160.0, 250.0, 400.0, 630.0)
_MOST_CANS = 12
_SUPPLY_H_PER_M: Final = 1e-6  # both conductors of a cable side by side; common practice, no source
_SUPPLY_RISE: Final = 0.10  # of the battery, that a step of the output may move it by at the stage; ours
_HIGHEST_NOTE_HZ: Final = 150.0
_MOST_PAIRS = 8
_SINK_C = 80.0  # heatsink temperature for which pairs are counted
_POWER_ASIDE = 0.9  # of a share of the power: drops and bias do not shrink with it
_JUNCTION_RESERVE_K = 25.0


def sine_phases(count: int = 48) -> Array:
    """Sines of ``count`` midpoints over a quarter cycle, shape (count,); their mean square is 1/2."""
    phases: Array = np.sin((np.arange(count) + 0.5) * (0.5 * pi / count))
    return phases


def switch_charge_coul(mosfet: Mosfet) -> float:
    """Gate charge from threshold to the end of the plateau, C: Q_gd and half of Q_gs (common practice)."""
    return mosfet.qgd_coul + 0.5 * mosfet.qgs_coul


@dataclass(frozen=True, kw_only=True, slots=True)
class SwitchPool:
    """N-channel MOSFETs that stand a voltage and a current, best first within drawer and library."""

    mosfets: tuple[Mosfet, ...]
    at_hand: tuple[bool, ...]

    def column(self, of: Callable[[Mosfet], float]) -> Array:
        """A value of each device as a column, shape (n, 1)."""
        return np.array([[of(m)] for m in self.mosfets])


def pool_of_switches(
    library: Library, wanted: str, voltage_v: float, reserve: float, crest_a: float, count: int
) -> SwitchPool:
    """The MOSFETs that qualify as class-D switches.

    Parameters
    ----------
    library : parts with the drawer merged. wanted : "auto" or a part id.
    voltage_v : highest voltage across an off switch, V. reserve : share of the rating to keep free.
    crest_a : highest output current, A. count : switches needed.

    Returns
    -------
    SwitchPool; a stated part is taken as it is, and its ratings show whether it holds.

    Raises
    ------
    NoSolutionError : none qualifies.
    PartNotFoundError : the stated part is unknown.
    """
    if wanted != "auto":
        return SwitchPool(mosfets=(library.mosfet(wanted),), at_hand=(library.in_drawer(wanted) >= count,))
    needed_v = voltage_v / (1.0 - reserve)
    fits = [
        m
        for m in library.mosfets.values()
        if m.channel == "n" and m.vds_v >= needed_v and m.id_a * RESERVE_ID >= crest_a
    ]
    if not fits:
        channel = [m for m in library.mosfets.values() if m.channel == "n"]
        strong = [m for m in channel if m.vds_v >= needed_v]
        best = max(strong or channel, key=lambda m: m.id_a if strong else m.vds_v, default=None)
        limit = "none at hand"
        if best is not None:
            limit = (
                f"{show(best.vds_v, 'voltage')} at {show(RESERVE_ID * best.id_a, 'current')}, half the rated "
                f"current, {best.id}"
            )
        raise NoSolutionError(
            message="No MOSFET in the drawer or library can switch this output stage.",
            quantity="drain voltage and crest current",
            value=f"{show(needed_v, 'voltage')} at {show(crest_a, 'current')}",
            limit=limit,
            source="parts library and drawer",
            remedy="Add a suitable MOSFET to the drawer, lower goal.power or the over-voltage limit, "
            + (
                "use a load of higher impedance (amplifier.load), or take several amplifiers."
                if strong
                else 'use a load of lower impedance, or amplifier.kind = "class_d_full_bridge", which '
                "needs half the rails."
            ),
        )
    return SwitchPool(mosfets=tuple(fits), at_hand=tuple(library.in_drawer(m.id) >= count for m in fits))


def best_switch(pool: SwitchPool, loss_w: Array) -> tuple[int, tuple[str, ...]]:
    """Index of the device to use and the ids that would also do.

    Parameters
    ----------
    pool : candidates. loss_w : total loss with each, W, shape (n,).

    Returns
    -------
    (index, other ids best first): from the drawer where one there will do, else the least loss.
    """
    order = sorted(
        range(len(pool.mosfets)), key=lambda k: (not pool.at_hand[k], float(loss_w[k]), pool.mosfets[k].id)
    )
    return order[0], tuple(pool.mosfets[k].id for k in order[1:5])


@dataclass(frozen=True, kw_only=True, slots=True)
class FilterChoice:
    """One leg's output filter in preferred values; damping parts across its capacitor."""

    inductance_h: float
    filter_f: float
    corner_hz: float
    target_hz: float
    quality: float
    damping_ohm: float
    damping_f: float
    capacitor_v: float


def choose_filter(
    load_ohm: float,
    target_hz: float,
    bridge: bool,
    capacitor_peak_v: float,
    capacitor_f: float | None = None,
) -> FilterChoice:
    """Choose inductor (E12), capacitor (E6) and damping (E12, E6) near a Butterworth filter.

    Parameters
    ----------
    load_ohm : load, ohm. target_hz : wanted corner, Hz. bridge : true when each leg sees half the load.
    capacitor_peak_v : highest voltage on the capacitor, V.
    capacitor_f : stated capacitor, F, or None.

    Returns
    -------
    FilterChoice.

    Raises
    ------
    RangeError : the stated capacitor is no preferred value.
    NoSolutionError : no film capacitor rating stands the voltage.

    Source
    ------
    Butterworth values [ti-slaa701]; damping after Erickson & Maksimovic [erickson2001].
    """
    ideal_l, ideal_c = output_filter_l_c(load_ohm, target_hz, bridge)
    if capacitor_f is not None and not is_member(capacitor_f, "E24"):
        near = show(float(nearest(capacitor_f, "E6")), "capacitance")
        raise RangeError(
            message="The filter capacitor is no preferred value.",
            quantity="filter capacitor",
            value=show(capacitor_f, "capacitance"),
            limit="a member of E24",
            source="iec-60063",
            remedy=f"Take {near}, or leave amplifier.filter_capacitor to auto.",
        )
    capacitors = neighbours(ideal_c, "E6", 3) if capacitor_f is None else np.array([capacitor_f])
    if capacitor_f is not None:
        ideal_l = 1.0 / ((2.0 * pi * target_hz) ** 2 * capacitor_f)
    inductors = neighbours(ideal_l, "E12", 5)
    leg_ohm = load_ohm / 2.0 if bridge else load_ohm
    corner = 1.0 / (2.0 * pi * np.sqrt(inductors[:, None] * capacitors[None, :]))
    quality = leg_ohm * np.sqrt(capacitors[None, :] / inductors[:, None])
    cost = np.log(corner / target_hz) ** 2 + np.log(quality / _BUTTERWORTH_Q) ** 2
    row, column = np.unravel_index(int(np.argmin(cost)), cost.shape)
    inductance, filter_f = float(inductors[row]), float(capacitors[column])
    damping_f = float(nearest(DAMPING_RATIO * filter_f, "E6"))
    ratings = [v for v in _FILM_VOLTAGES_V if v >= 1.25 * capacitor_peak_v]
    if not ratings:
        raise NoSolutionError(
            message="No usual film capacitor stands the output voltage.",
            quantity="filter capacitor voltage",
            value=show(capacitor_peak_v, "voltage"),
            limit=show(_FILM_VOLTAGES_V[-1] / 1.25, "voltage"),
            source="common-practice",
            remedy="Use a load of lower impedance, so that the rails come down.",
        )
    return FilterChoice(
        inductance_h=inductance,
        filter_f=filter_f,
        corner_hz=lc_corner_hz(inductance, filter_f),
        target_hz=target_hz,
        quality=lc_quality(inductance, filter_f, load_ohm, bridge),
        damping_ohm=float(nearest(parallel_damping_ohm(inductance, filter_f, damping_f / filter_f), "E12")),
        damping_f=damping_f,
        capacitor_v=ratings[0],
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputChoice:
    """A class-AB output: the stage, how many in parallel per leg, and what else would do."""

    stage: OutputStage
    parallel: int
    others: tuple[str, ...]


def _is_wanted(wanted: str, stage: OutputStage) -> bool:
    if stage.device == "lateral MOSFET":
        return wanted == "lateral"
    return wanted in ("auto", stage.form)


def choose_output_stage(
    wanted: str,
    supply_v: float,
    crest_a: float,
    device_w: Callable[[OutputStage], float],
    beside: Callable[[OutputStage], float],
) -> OutputChoice:
    """Choose chip or complementary pairs: fewest that stand voltage, current, heat and reactive load.

    Parameters
    ----------
    wanted : "auto", "chip", "pair" or "lateral".
    supply_v : highest voltage between the supply terminals, V.
    crest_a : highest output current, A.
    device_w : heat of the whole output leg at its worst drive with a stage, W.
    beside : how many of one transistor's safe operating areas the reactive load line asks for.

    Returns
    -------
    OutputChoice; chips are not paralleled; of equal counts the weaker.

    Raises
    ------
    NoSolutionError : none stands the voltage.
    """
    found: list[tuple[int, OutputStage]] = []
    missed: list[str] = []
    share = 0.0  # of the power that the stage nearest to it would stand
    for stage in OUTPUT_STAGES.values():
        if not _is_wanted(wanted, stage):
            continue
        if stage.supply_max_v < supply_v:
            missed.append(f"{stage.id} {show(stage.supply_max_v, 'voltage')}")
            share = max(share, _POWER_ASIDE * (stage.supply_max_v / supply_v) ** 2)
            continue
        allowed = stage.tj_max_c - _JUNCTION_RESERVE_K - _SINK_C
        per_case_w = allowed / (stage.rth_jc_k_per_w + stage.interface_k_per_w)
        by_heat = ceil(device_w(stage) / stage.cases / per_case_w - 1e-9)
        lines = beside(stage)
        if not isfinite(lines):
            missed.append(f"{stage.id} beyond its rating with a reactive load")
            continue
        count = max(whole_devices(lines), by_heat, ceil(crest_a / stage.peak_a - 1e-9))
        if count > (most := 1 if stage.form == "chip" else _MOST_PAIRS):
            heat_w = device_w(stage) / stage.cases
            if by_heat == count:
                missed.append(
                    f"{stage.id} {show(heat_w, 'power')} in a case that sheds {show(per_case_w, 'power')}"
                    + (f", {count} of them" if most > 1 else "")
                )
                share = max(share, _POWER_ASIDE * most * per_case_w / heat_w)
            else:
                missed.append(f"{count} × {stage.id}")
                share = max(share, _POWER_ASIDE * most / count)
            continue
        found.append((count, stage))
    if not found:
        raise NoSolutionError(
            message="No class-AB output stage stands these rails, this heat and a reactive load.",
            quantity="voltage between the rails and crest current",
            value=f"{show(supply_v, 'voltage')} at {show(crest_a, 'current')}: {', '.join(missed)}",
            limit=f"the rating of each, one chip or {_MOST_PAIRS} pairs side by side",
            source="output stage table",
            remedy='Take class D (amplifier.kind = "class_d_half_bridge"), '
            + (
                f"lower goal.power to {100.0 * share:.0f} % or less, "
                if share > 0.0
                else "lower goal.power, "
            )
            + 'set converter.output = "regulated" where the rails follow the battery, or leave '
            "amplifier.ab_output out.",
        )
    found.sort(key=lambda item: item[0])
    count, stage = found[0]
    return OutputChoice(stage=stage, parallel=count, others=tuple(s.id for _, s in found[1:]))


@dataclass(frozen=True, kw_only=True, slots=True)
class InputBank:
    """Electrolytic capacitors in parallel at a supply."""

    capacitor: Capacitor
    count: int

    @property
    def ripple_limit_a(self) -> float:
        """Ripple current that the bank stands, A rms."""
        return self.count * (self.capacitor.ripple_a or 0.0)


def choose_lift_bank(
    library: Library, voltage_v: float, needed_f: float, what: str = "lifts the rail"
) -> InputBank:
    """Choose electrolytics that lift a rail over the crests, or feed one.

    Parameters
    ----------
    library : parts with the drawer merged.
    voltage_v : highest voltage on them, V; the rating keeps a fifth in hand.
    needed_f : capacitance, F; the cans' lower tolerance is taken off. what : it does, for the refusal.

    Returns
    -------
    InputBank : from the drawer where it holds enough, else the fewest cans, then the smallest.

    Raises
    ------
    NoSolutionError : none gives it with a dozen cans.
    """
    ranked: list[tuple[bool, int, float, str, Capacitor]] = []
    for part in library.capacitors.values():
        if part.technology != "electrolytic" or part.voltage_v < 1.25 * voltage_v:
            continue
        count = ceil(needed_f / (part.capacitance_f * (1.0 - part.tolerance)))
        if count <= _MOST_CANS:
            size = count * part.diameter_m**2 * part.height_m
            ranked.append((library.in_drawer(part.id) < count, count, size, part.id, part))
    if not ranked:
        raise NoSolutionError(
            message=f"No electrolytic in the drawer or library {what} over the lowest note.",
            quantity="capacitance of each leg or side",
            value=show(needed_f, "capacitance"),
            limit=f"at most {_MOST_CANS} cans",
            source="parts library and drawer",
            remedy="Raise goal.lowest_note, take a load of higher impedance, or class D, which needs none.",
        )
    found = min(ranked, key=lambda row: row[:4])
    return InputBank(capacitor=found[4], count=found[1])


def battery_bank(
    library: Library,
    highest_v: float,
    rail_v: float,
    step_a: float,
    crest_a: float,
    source_ohm: float,
    length_m: float,
) -> tuple[InputBank, float]:
    """Choose the electrolytics at the supply of a linear stage that runs straight from the battery.

    The cable's current can't jump: what a step of the output asks for, and what the cable still brings when
    it lets go, swings into the bank. At the notes themselves the battery is firmer than any bank.

    Parameters
    ----------
    library : parts with the drawer merged. highest_v : battery, V. rail_v : nominal, V.
    step_a : crest into the least load, A. crest_a : with a full sine, A. source_ohm : battery, cable and
    contacts, Ω. length_m : of the cable, one way, m.

    Returns
    -------
    (the bank, its ripple current at the highest note, A rms).

    Raises
    ------
    NoSolutionError : a dozen cans don't do.

    Source
    ------
    ``L I²/2 = C dV²/2`` with a tenth of the battery; both conductors side by side 1 µH/m of run, common
    practice. Current of a bridge: twice the note, ``|sin|`` less its mean. [derived]
    """
    needed_f = commutation_capacitance_f(step_a, _SUPPLY_H_PER_M * length_m, _SUPPLY_RISE * rail_v)
    pulses_a = crest_a * sqrt(0.5 - (2.0 / pi) ** 2)
    omega = 2.0 * pi * 2.0 * _HIGHEST_NOTE_HZ

    def ripple_a(farads: float) -> float:
        reach = omega * source_ohm * farads
        return pulses_a * reach / sqrt(1.0 + reach * reach)

    bank = choose_input_bank(library, highest_v, ripple_a(needed_f), needed_f)
    return bank, ripple_a(bank.count * bank.capacitor.capacitance_f)


def choose_input_bank(
    library: Library, voltage_v: float, ripple_a: float, needed_f: float = 0.0
) -> InputBank:
    """Choose electrolytics for a supply's ripple.

    Parameters
    ----------
    library : parts with the drawer merged.
    voltage_v : highest steady voltage, V; the rating keeps a fifth in hand.
    ripple_a : switching ripple, A rms. needed_f : least capacitance, F; the cans' lower tolerance is off it.

    Returns
    -------
    InputBank : from the drawer where it holds enough, else the fewest cans, then the smallest.

    Raises
    ------
    NoSolutionError : none stands voltage and ripple with a dozen cans.
    """
    ranked: list[tuple[bool, int, float, str, Capacitor]] = []
    for part in library.capacitors.values():
        if part.technology != "electrolytic" or part.voltage_v < 1.25 * voltage_v or not part.ripple_a:
            continue
        held_f = part.capacitance_f * (1.0 - part.tolerance)
        count = max(1, ceil(ripple_a / part.ripple_a), ceil(needed_f / held_f))
        if count <= _MOST_CANS:
            size = count * part.diameter_m**2 * part.height_m
            ranked.append((library.in_drawer(part.id) < count, count, size, part.id, part))
    if not ranked:
        raise NoSolutionError(
            message="No electrolytic in the drawer or library stands the supply's voltage and ripple.",
            quantity="capacitor voltage and ripple",
            value=f"{show(1.25 * voltage_v, 'voltage')}, {show(ripple_a, 'current')} rms",
            limit=f"at most {_MOST_CANS} cans",
            source="parts library and drawer",
            remedy="Add low-ESR electrolytics of that rating to the drawer, or switch faster.",
        )
    _, count, _, _, part = min(ranked, key=lambda row: row[:4])
    return InputBank(capacitor=part, count=count)
