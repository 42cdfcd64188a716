"""Reversed battery and pulses: a series MOSFET or a diode and the fuse, and a suppressor diode.

A MOSFET against a reversed battery is turned round: its body diode carries the first current and the channel
takes over. In the return (N-channel) it is cheap and cool, but every other path to the vehicle's body, a
signal cable's shield above all, bypasses it. In the positive lead (P-channel) nothing bypasses it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import ceil, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet, Rectifier, Suppressor, Zener
from subwright.physics.transients import (
    CLAMPED_DUMP_V,
    JUMP_START_V,
    LONG_OVER_VOLTAGE_V,
    PULSES,
    ClampedPulse,
    Pulse,
    absorbed_rise_v,
    clamp_pulse,
    pulse_power_limit_w,
)
from subwright.stages.battery_guard_bill import guard_parts
from subwright.stages.battery_guard_negative import negative_stresses
from subwright.stages.battery_guard_records import (
    BatteryGuardInput,
    BatteryGuardResult,
    BatteryGuardSpec,
    GuardedPart,
    PulseStress,
    ReversedPart,
    ReverseNeed,
    ReverseSwitch,
    ShuntDiode,
    SurgeClamp,
)
from subwright.stages.common import Corner, remembered

__all__ = [
    "BatteryGuardInput",
    "BatteryGuardResult",
    "BatteryGuardSpec",
    "GuardedPart",
    "ReverseNeed",
    "ReverseSwitch",
    "ReversedPart",
    "design_battery_guard",
    "plan_reverse_switch",
]

_GATE_OHM: Final = 10e3
_STATED_GATE_V: Final = 10.0  # at which the sheets state the on resistance
_SPARE_K: Final = 25.0  # kept free below the junction limit; common practice
_MOST: Final = 6
_PER_CLASS: Final = 2
_AVALANCHE: Final = 1.3  # breakdown of a usual sample over its rating; common practice
_SURGE_S: Final = 5e-3  # half of the 10 ms half sine: ifsm² times this is the diode's A²s
_LONG_RISE_S: Final = 2e-3  # pulses longer than this aren't swallowed by the input capacitors


def plan_reverse_switch(spec: BatteryGuardSpec, need: ReverseNeed, library: Library) -> ReverseSwitch | None:
    """The series MOSFET, or None where none is wanted; its resistance belongs to the supply's path.

    Parameters
    ----------
    spec : the builder's wishes. need : current, voltage and air. library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no MOSFET blocks the voltage and stays cool without a heatsink.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    if spec.reverse not in ("n_mosfet", "p_mosfet"):
        return None
    channel = "n" if spec.reverse == "n_mosfet" else "p"
    blocks = 2.0 * need.battery_max_v  # reversed while the input capacitors are still full
    if spec.reverse_mosfet != "auto":
        candidates = [library.mosfet(spec.reverse_mosfet)]
    else:
        candidates = [m for m in library.mosfets.values() if m.channel == channel and m.vds_v >= 1.1 * blocks]
    fits = [found for m in candidates if (found := _count(m, spec.reverse_mosfets, need)) is not None]
    other = "" if channel == "n" else '"n_mosfet" or '
    remedy = f'Take battery_guard.reverse = {other}"shunt_diode", or name a larger MOSFET.'
    if not candidates:
        raise NoSolutionError(
            message=f"No {channel.upper()}-channel MOSFET blocks twice the highest battery voltage.",
            quantity="reverse-polarity switch",
            value=show(blocks, "voltage"),
            limit="a tenth below its rating",
            remedy=remedy,
        )
    if not fits:
        raise NoSolutionError(
            message="No MOSFET carries the supply current without a heatsink.",
            quantity="reverse-polarity switch",
            value=show(need.rms_a, "current"),
            limit=f"{_MOST} in parallel, {show(blocks, 'voltage')} blocked",
            remedy=remedy,
        )

    def rank(fit: tuple[Mosfet, int, float]) -> tuple[bool, int, float, str]:
        mosfet, count, _ = fit
        return library.in_drawer(mosfet.id) < count, count, mosfet.vds_v, mosfet.id

    mosfet, count, junction = min(fits, key=rank)
    clamp = _gate_clamp(mosfet, library)
    each = mosfet.rds_on_ohm * mosfet.rds_hot_ratio  # at 100 °C: on the safe side of a cool switch
    high = clamp.vz_v * (1.0 + clamp.tolerance)
    return ReverseSwitch(
        kind=spec.reverse,
        mosfet=mosfet.id,
        count=count,
        resistance_ohm=each / count,
        rms_a=need.rms_a,
        loss_w=need.rms_a**2 * each / count,
        junction_c=junction,
        junction_limit_c=mosfet.tj_max_c,
        blocks_v=blocks,
        rating_v=mosfet.vds_v,
        gate_ohm=_GATE_OHM,
        clamp_id=clamp.id,
        clamp_v=clamp.vz_v,
        gate_low_v=min(need.battery_low_v, clamp.vz_v * (1.0 - clamp.tolerance)),
        gate_low_limit_v=mosfet.vgs_th_v,
        gate_high_v=high,
        gate_limit_v=mosfet.vgs_max_v,
        turn_off_s=_GATE_OHM * count * mosfet.qg_coul / _STATED_GATE_V,
        avalanche_limit_j=mosfet.eas_j or 0.0,
    )


def _count(mosfet: Mosfet, wanted: int | None, need: ReverseNeed) -> tuple[Mosfet, int, float] | None:
    """How many in parallel stay cool in still air, with the junction temperature; None: not even six."""
    each = mosfet.rds_on_ohm * mosfet.rds_hot_ratio
    for count in (wanted,) if wanted else range(1, _MOST + 1):
        junction = need.ambient_c + (need.rms_a / count) ** 2 * each * mosfet.rth_ja_k_per_w
        if wanted or junction <= mosfet.tj_max_c - _SPARE_K:
            return mosfet, count, junction
    return None


def _gate_clamp(mosfet: Mosfet, library: Library) -> Zener:
    clamps = [
        z
        for z in library.zeners.values()
        if z.vz_v * (1 + z.tolerance) <= 0.9 * mosfet.vgs_max_v
        and z.vz_v * (1 - z.tolerance) >= 0.95 * _STATED_GATE_V
    ]
    if not clamps:
        raise NoSolutionError(
            message="No zener diode keeps the gate of the reverse-polarity switch in its range.",
            quantity="gate clamp",
            limit=f"{show(_STATED_GATE_V, 'voltage')} to {show(0.9 * mosfet.vgs_max_v, 'voltage')}",
            remedy="Add one to your drawer file with the values from its sheet.",
        )
    return min(clamps, key=lambda z: (library.in_drawer(z.id) == 0, abs(z.vz_v - 12.0), z.id))


@remembered
def design_battery_guard(
    spec: BatteryGuardSpec, data: BatteryGuardInput, reverse: ReverseSwitch | None, library: Library
) -> BatteryGuardResult:
    """Clamp, diode and every pulse against every part on the battery side.

    Parameters
    ----------
    spec : the builder's wishes. data : battery, fuse, capacitors and the parts behind. reverse : as planned.
    library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no rectifier for a diode across the input.
    PartNotFoundError : an id that is in neither drawer nor library.
    """
    weakest = min(data.parts, key=lambda part: part.limit_v)
    clamp = _clamp(spec, data, weakest.limit_v, library)
    diode = _shunt(spec, data, library) if spec.reverse == "shunt_diode" else None
    record = library.suppressor(clamp.suppressor) if clamp else None
    reversed_j = 0.0
    pulses = PULSES.get(data.system_v, ())
    if reverse is not None and pulses:
        negative = next(p for p in pulses if p.name == "pulse 1")
        # From the supply down through zero: what is left beyond it has to be blocked on full capacitors.
        hit = clamp_pulse(
            data.corners[Corner.CHARGING] - 0.01,
            max(0.0, -negative.peak_v - data.corners[Corner.CHARGING]),
            negative.decay_s,
            negative.source_ohm,
            max(_AVALANCHE * reverse.rating_v, data.corners[Corner.CHARGING] + 1.0),
            0.0,
        )
        reversed_j = hit.energy_j
    stresses = tuple(_stresses(spec, data, record, clamp, weakest))
    return BatteryGuardResult(
        kind=spec.reverse,
        reverse=reverse,
        diode=diode,
        clamp=clamp,
        guarded=data.parts,
        stresses=stresses,
        negative=tuple(negative_stresses(data, clamp)),
        reversed_j=reversed_j,
        parts=guard_parts(reverse, diode, clamp, data, library),
        losses=(),  # the switch's heat is the supply's: its resistance stands in the contacts
        contributors=(),
        sources=("iso-7637-2", "iso-16750-2", "common-practice", "derived"),
        reasons=tuple(_reasons(spec, data, reverse, diode, clamp, weakest)),
    )


def _dump(spec: BatteryGuardSpec, data: BatteryGuardInput) -> Pulse:
    base = next(p for p in PULSES[data.system_v] if p.name.startswith("load dump"))
    return Pulse(
        name=base.name,
        peak_v=base.peak_v,
        source_ohm=spec.dump_resistance_ohm or base.source_ohm,
        width_s=spec.dump_width_s or base.width_s,
        source=base.source,
    )


def _hit(part: Suppressor, count: int, pulse: Pulse, base_v: float) -> ClampedPulse:
    return clamp_pulse(
        base_v, pulse.peak_v, pulse.decay_s, pulse.source_ohm, part.break_max_v, part.slope_ohm / count
    )


def _clamp(
    spec: BatteryGuardSpec, data: BatteryGuardInput, weakest_v: float, library: Library
) -> SurgeClamp | None:
    """The suppressor that stands all steady voltages, clamps lowest, and survives its severest pulse."""
    if spec.clamp == "none" or (data.system_v not in PULSES and spec.clamp == "auto"):
        return None
    steady = max(
        data.corners[Corner.MAX],
        JUMP_START_V.get(data.system_v, 0.0),
        LONG_OVER_VOLTAGE_V.get(data.system_v, 0.0),
    )
    clamped = CLAMPED_DUMP_V.get(data.system_v, 0.0) if spec.alternator == "clamped" else 0.0
    base = data.corners[Corner.CHARGING]
    pulses = [p for p in PULSES.get(data.system_v, ()) if p.name in ("pulse 2a", "pulse 3b")]
    if spec.alternator == "unclamped" and data.system_v in PULSES:
        pulses.append(_dump(spec, data))

    def fit(part: Suppressor, count: int) -> SurgeClamp:
        hits = [_hit(part, count, p, base) for p in pulses]
        severest = max(hits, key=lambda h: h.energy_j) if hits else None
        power = severest.peak_v * severest.peak_a / count if severest else 0.0
        limit = part.pulse_w
        if severest and severest.half_s > 0:
            limit = pulse_power_limit_w(severest.half_s, part.pulse_w, part.pulse_long_w)
        return SurgeClamp(
            suppressor=part.id,
            count=count,
            standoff_v=part.standoff_v,
            standoff_needed_v=steady,
            break_min_v=part.break_min_v,
            peak_v=max((h.peak_v for h in hits), default=part.break_max_v),
            weakest_v=weakest_v,
            peak_a=severest.peak_a if severest else 0.0,
            energy_j=severest.energy_j if severest else 0.0,
            power_w=power,
            power_limit_w=limit,
            leakage_a=part.leakage_a * count,
        )

    if spec.clamp != "auto":
        return fit(library.suppressor(spec.clamp), 1)
    # Behind a central clamp it must leave the dump to that clamp, or it takes the whole alternator alone.
    standing = [s for s in library.suppressors.values() if s.standoff_v >= steady and s.break_min_v > clamped]
    # Of each power class the two that clamp lowest, and whatever is at hand: the others can only be worse.
    standing.sort(key=lambda s: s.clamp_v)
    ahead = {s.id: sum(o.pulse_w == s.pulse_w for o in standing[:n]) for n, s in enumerate(standing)}
    standing = [s for s in standing if ahead[s.id] < _PER_CLASS or library.in_drawer(s.id)]
    fits = [(_fewest(fit, part, weakest_v), part) for part in standing]

    def rank(pair: tuple[SurgeClamp, Suppressor]) -> tuple[bool, bool, bool, int, float, str]:
        found, part = pair
        return (
            found.power_w > found.power_limit_w,
            found.peak_v > weakest_v,
            library.in_drawer(part.id) < found.count,
            found.count,
            part.pulse_w if spec.alternator == "clamped" else found.peak_v,
            part.id,
        )

    return min(fits, key=rank)[0] if fits else None


def _fewest(fit: Callable[[Suppressor, int], SurgeClamp], part: Suppressor, weakest_v: float) -> SurgeClamp:
    """As few in parallel as survive and hold the voltage, or the most there may be."""
    found = fit(part, 1)
    for count in range(2, _MOST + 1):
        if found.power_w <= found.power_limit_w and found.peak_v <= weakest_v:
            break
        if found.power_w <= found.power_limit_w and part.break_max_v > weakest_v:
            break  # more of them can't clamp below their breakdown
        found = fit(part, count)
    return found


def _shunt(spec: BatteryGuardSpec, data: BatteryGuardInput, library: Library) -> ShuntDiode:
    fault = data.corners[Corner.NOMINAL] / data.source_ohm
    through = data.fuse_a2s or (6.0 * data.fuse_a) ** 2 * 0.1  # 600 % for at most 0.1 s, ISO 8820-3 (memory)
    if spec.reverse_diode != "auto":
        candidates = [library.rectifier(spec.reverse_diode)]
    else:
        candidates = [r for r in library.rectifiers.values() if r.vrrm_v >= 2 * data.corners[Corner.MAX]]
    if not candidates:
        raise NoSolutionError(
            message="No rectifier can stand across the input.",
            quantity="diode across the input",
            remedy="Add one to your drawer file with the values from its sheet.",
        )

    def stands(part: Rectifier) -> float:
        return part.ifsm_a**2 * _SURGE_S

    def needed(part: Rectifier) -> int:
        return ceil(sqrt(through / stands(part)))

    best = min(candidates, key=lambda r: (needed(r), library.in_drawer(r.id) == 0, r.id))
    count = min(needed(best), _MOST)
    return ShuntDiode(
        rectifier=best.id,
        count=count,
        fault_a=fault,
        surge_a2s=count**2 * stands(best),
        fuse_a2s=through,
    )


def _stresses(
    spec: BatteryGuardSpec,
    data: BatteryGuardInput,
    part: Suppressor | None,
    clamp: SurgeClamp | None,
    weakest: GuardedPart,
) -> Iterator[PulseStress]:
    def stress(name: str, at_v: float, held_by: str) -> PulseStress:
        return PulseStress(
            name=name, at_v=at_v, weakest=weakest.role, limit_v=weakest.limit_v, held_by=held_by
        )

    yield stress("highest steady battery", data.corners[Corner.MAX], "the battery itself")
    if data.system_v not in PULSES:
        return
    if data.system_v == 12:
        yield stress("jump start, 60 s", JUMP_START_V[12], "nothing: the parts must stand it")
    yield stress(
        "long over-voltage, 1 h", LONG_OVER_VOLTAGE_V[data.system_v], "nothing: the parts must stand it"
    )
    base = data.corners[Corner.CHARGING]
    for pulse in PULSES[data.system_v]:
        if pulse.peak_v < 0 or pulse.name.startswith("load dump"):
            continue
        bare = base + pulse.peak_v
        options = {"nothing": bare}
        if data.capacitance_f > 0:
            rise = absorbed_rise_v(
                pulse.peak_v, pulse.decay_s, pulse.source_ohm, data.capacitance_f, data.esr_ohm
            )
            options["the input capacitors"] = base + rise
        if part is not None and clamp is not None:
            options[f"the suppressor {part.id}"] = _hit(part, clamp.count, pulse, base).peak_v
        held_by = min(options, key=options.__getitem__)
        yield stress(f"{pulse.name}, {pulse.peak_v:+.0f} V", options[held_by], held_by)
    if spec.alternator == "clamped":
        level = CLAMPED_DUMP_V[data.system_v]
        yield stress("load dump, clamped", level, "the alternator's central clamp")
    else:
        dump = _dump(spec, data)
        if part is not None and clamp is not None:
            at = _hit(part, clamp.count, dump, base).peak_v
            yield stress(dump.name, at, f"{clamp.count} × {part.id}")
        else:
            yield stress(dump.name, base + dump.peak_v, "nothing")


def _reasons(
    spec: BatteryGuardSpec,
    data: BatteryGuardInput,
    reverse: ReverseSwitch | None,
    diode: ShuntDiode | None,
    clamp: SurgeClamp | None,
    weakest: GuardedPart,
) -> Iterator[str]:
    if reverse is not None:
        where = "the return" if reverse.kind == "n_mosfet" else "the positive lead"
        yield (
            f"Reversed battery: {reverse.count} × {reverse.mosfet} in {where}, "
            f"{show(reverse.resistance_ohm, 'resistance')} together, {show(reverse.loss_w, 'power')} at "
            "full sine; "
            f"{show(reverse.junction_c, 'temperature')} without a heatsink."
        )
        if reverse.kind == "n_mosfet":
            yield (
                "The circuit's ground is no longer the vehicle's: the signal cable's shield must not join "
                "the two. "
                "Use the differential input or an isolating transformer, and keep the board off the chassis."
            )
    elif diode is not None:
        yield (
            f"Reversed battery: {diode.count} × {diode.rectifier} across the input carries "
            f"{show(diode.fault_a, 'current')} until the fuse opens."
        )
    else:
        yield (
            "Reversed battery: nothing is fitted. The body diodes of the power switches conduct until the "
            "fuse opens, and electrolytics stand reversed until then."
        )
    if clamp is not None:
        yield (
            f"Suppressor: {clamp.count} × {clamp.suppressor} stands the "
            f"{show(clamp.standoff_needed_v, 'voltage')} "
            f"of a jump start or long over-voltage and clamps at {show(clamp.peak_v, 'voltage')}; weakest "
            "part "
            f"behind it: {weakest.role}, {show(weakest.limit_v, 'voltage')}."
        )
        if spec.alternator == "clamped":
            yield (
                f"It begins to conduct above the {show(CLAMPED_DUMP_V.get(data.system_v, 0.0), 'voltage')} "
                "of the "
                "alternator's own clamp; a lower one would have to swallow the whole load dump."
            )
    elif data.system_v not in PULSES:
        yield "No suppressor: ISO 7637-2 and ISO 16750-2 set no pulses for a bank of this voltage."
