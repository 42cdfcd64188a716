"""Remote switch-on, what it draws while parked, and the order in which everything comes up and goes down.

The remote line turns a transistor on, which turns on the switch of the control supply. From there the
converter
starts softly, one timer un-mutes the amplifier and another connects the loudspeaker. Off again, both timers
are
emptied through diodes at once: the loudspeaker is off before the rails have moved.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log
from typing import Final

import numpy as np

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import at_least, at_most, between
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.junctions import JUNCTION_COLD_V, JUNCTION_HOT_V, base_emitter_v
from subwright.physics.networks.comparator_search import search_ratio
from subwright.stages.common import Corner, remembered
from subwright.stages.control_bill import BASE_PULL_UP_OHM, control_parts
from subwright.stages.control_records import (
    ControlInput,
    ControlResult,
    ControlSpec,
    Event,
    Remote,
    StandbyItem,
    Timer,
    TimerSupply,
)

__all__ = [
    "REMOTE_GAIN",
    "SWITCH_GAIN",
    "TIMER_COMPARATOR",
    "TIMER_SUPPLY_A",
    "ControlInput",
    "ControlResult",
    "ControlSpec",
    "StandbyItem",
    "design_control",
]

_BASE_V: Final = 0.65
_BASE_COLD_V: Final = 0.75
REMOTE_GAIN: Final = 290.0  # of a small NPN, typical; common practice
SWITCH_GAIN: Final = 250.0  # of the control supply's PNP, typical; common practice
_RESISTOR: Final = 0.05
_CAPACITOR: Final = 0.20
_FORCED_GAIN: Final = 20.0  # a switched transistor is driven with a twentieth; common practice
_LEAST_BASE_A: Final = 50e-6
_SWITCH_LEAK_A: Final = 1e-6  # off, hot; from memory of small power transistors
_DIODE_EMPTY_S: Final = 10e-3  # a timer's capacitor through its diode and 100 Ω
_HALF: Final = log(2.0)  # RC until half the supply
_LOW_SUPPLY_V: Final = 0.8  # drop of the switch and its base
TIMER_COMPARATOR: Final = "LM393"
TIMER_SUPPLY_A: Final = 3e-3  # a dual comparator's largest, the divider and the pull-up
_TIMER_V: Final = 8.0  # above this the half supply lies well inside the comparator's range
_DECOUPLING_F: Final = 100e-9
_HALF_OHM: Final = 10e3
_PULL_UP_OHM: Final = 10e3


@remembered
def design_control(spec: ControlSpec, data: ControlInput, library: Library) -> ControlResult:
    """Design the switch-on control.

    Parameters
    ----------
    spec : the builder's wishes. data : battery, currents and the times of the other stages.
    library : parts with the drawer merged.

    Raises
    ------
    RangeError : the loudspeaker would be connected before the un-mute.
    NoSolutionError : no preferred values or no transistor serves.
    """
    if spec.speaker_s <= spec.unmute_s:
        raise RangeError(
            message="The loudspeaker must be connected after the amplifier's un-mute.",
            quantity="control.speaker",
            value=show(spec.speaker_s, "time"),
            limit=f"above {show(spec.unmute_s, 'time')}",
            remedy="Raise control.speaker or lower control.unmute.",
        )
    remote = _remote(spec, data, library) if spec.remote == "line" else None
    standby = data.leaks if remote else (*data.leaks, *data.ungated)
    if remote:
        standby = (
            *standby,
            StandbyItem(name=f"supply switch {remote.switch}, off", current_a=_SWITCH_LEAK_A),
        )
    total = sum(item.current_a for item in standby)
    timers: tuple[Timer, ...] = (_timer("un-mute", spec.unmute_s),)
    if data.speaker_open_s is not None:
        timers = (*timers, _timer("loudspeaker", spec.speaker_s))
    supply = _timer_supply(data, library)
    on, off = _switch_on(data, remote, timers), _switch_off(data, remote)
    return ControlResult(
        remote=remote,
        standby=standby,
        standby_a=total,
        flat_s=3600.0 * data.capacity_ah / total,
        parked_s=spec.parked_s,
        parked_share=total * spec.parked_s / (3600.0 * data.capacity_ah),
        timers=timers,
        supply=supply,
        switch_on=on,
        switch_off=off,
        parts=control_parts(remote, timers, supply, library),
        losses=(),
        contributors=(),
        sources=("common-practice", "derived", "iec-60063"),
        reasons=tuple(_reasons(spec, data, remote, total)),
    )


def _remote(spec: ControlSpec, data: ControlInput, library: Library) -> Remote:
    nominal, highest = data.corners[Corner.NOMINAL], data.corners[Corner.MAX]
    wanted = spec.remote_on_v or 0.4 * nominal
    if wanted <= _BASE_COLD_V * 1.2:
        raise RangeError(
            message="The remote threshold is too near a transistor's own.",
            quantity="control.remote_on",
            value=show(wanted, "voltage"),
            limit=show(1.2 * _BASE_COLD_V, "voltage"),
            remedy="Raise control.remote_on.",
        )
    current = max(data.control_a, 1e-3)
    switches = [
        t
        for t in library.transistors.values()
        if t.polarity == "pnp" and t.vceo_v >= 1.1 * data.highest_v and t.ic_a >= 2.0 * current
    ]
    if not switches:
        raise NoSolutionError(
            message="No PNP transistor switches the control supply.",
            quantity="control supply",
            value=show(current, "current"),
            limit=show(1.1 * data.highest_v, "voltage"),
            remedy="Add one to your drawer file with the values from its sheet.",
        )
    switch = min(switches, key=lambda t: (library.in_drawer(t.id) == 0, t.ic_a, t.vceo_v, t.id))
    # The line's current at the highest battery, all of it through the series resistor.
    least = (highest - _BASE_V) / spec.remote_current_a
    drive_a = base_emitter_v(1e-3) / BASE_PULL_UP_OHM + current / SWITCH_GAIN
    ratio = wanted / base_emitter_v(drive_a) - 1.0
    pair = search_ratio(
        ratio,
        upper_ohm=between(least, 3.0 * least, "E24"),
        lower_ohm=between(max(least / ratio * 0.8, 100.0), 4.0 * least / ratio, "E24"),
        keep=1,
    )[0]
    series, down = pair.upper_ohm, pair.lower_ohm
    source = series * down / (series + down)
    share = down / (series + down)
    drop = drive_a / REMOTE_GAIN * source
    base = base_emitter_v(drive_a) + drop
    # With a quick line the supply stands at half when half its current flows, and the capacitor gives the
    # base current of that moment: nothing is lost in the divider.
    half_on = base_emitter_v(base_emitter_v(1e-3) / BASE_PULL_UP_OHM + 0.5 * current / SWITCH_GAIN)
    base_hot, base_cold = base + JUNCTION_HOT_V, base + JUNCTION_COLD_V

    def reach_s(line_v: float, base_v: float, tau_s: float) -> float:
        final = line_v * share
        return tau_s * log(final / (final - base_v)) if final > base_v else float("inf")

    low = data.corners[Corner.LOW]
    if low * share <= base_cold:
        raise RangeError(
            message="A cold transistor on a tired battery would not switch on.",
            quantity="control.remote_on",
            value=show(wanted, "voltage"),
            limit=show(low, "voltage"),
            remedy="Lower control.remote_on.",
        )
    capacitor = at_least(spec.debounce_s / (source * log(1 / (1 - half_on / (nominal * share)))), "E6")
    tau = source * capacitor
    slowest = reach_s(low, base_cold, tau * (1 + _RESISTOR) * (1 + _CAPACITOR))
    base_a = max(current / _FORCED_GAIN, _LEAST_BASE_A)
    base_ohm = at_most((low - _LOW_SUPPLY_V) / base_a, "E12")
    high_ratio = (1 + _RESISTOR) / (1 - _RESISTOR)
    return Remote(
        series_ohm=series,
        pulldown_ohm=down,
        filter_f=capacitor,
        wanted_v=wanted,
        base_v=base,
        on_v=base * (1 + series / down),
        on_low_v=base_hot * (1 + series / down / high_ratio),
        on_high_v=base_cold * (1 + series / down * high_ratio),
        line_a=(highest - _BASE_V) / series,
        line_limit_a=spec.remote_current_a,
        debounce_s=reach_s(nominal, half_on, tau),
        quickest_s=reach_s(highest, half_on + JUNCTION_HOT_V, tau * (1 - _RESISTOR) * (1 - _CAPACITOR)),
        slowest_s=slowest,
        switch=switch.id,
        base_ohm=base_ohm,
        base_w=(highest - _LOW_SUPPLY_V) ** 2 / base_ohm,
        switch_a=current,
        switch_limit_a=switch.ic_a,
        switch_v=data.highest_v,
        switch_limit_v=switch.vceo_v,
    )


def _timer(name: str, wanted_s: float) -> Timer:
    """RC against half the supply, resistor between 47 kΩ and 470 kΩ so that leakage doesn't count."""
    capacitors, resistors = between(1e-6, 100e-6, "E6"), between(47e3, 470e3, "E12")
    times = _HALF * capacitors[:, None] * resistors
    miss = np.round(np.abs(times / wanted_s - 1.0), 2)
    # the smallest capacitor among equals: rows rise in capacitance, and argmin takes the first
    row, column = np.unravel_index(int(np.argmin(miss)), miss.shape)
    capacitor_f, resistor_ohm = float(capacitors[row]), float(resistors[column])
    nominal = float(times[row, column])
    return Timer(
        name=name,
        resistor_ohm=resistor_ohm,
        capacitor_f=capacitor_f,
        wanted_s=wanted_s,
        nominal_s=nominal,
        low_s=nominal * (1 - _RESISTOR) * (1 - _CAPACITOR),
        high_s=nominal * (1 + _RESISTOR) * (1 + _CAPACITOR),
    )


def _timer_supply(data: ControlInput, library: Library) -> TimerSupply:
    """Resistor and zener that keep the timers' comparator within its rating; the timers don't mind its volts.

    Raises
    ------
    NoSolutionError : no zener lies between the least that it needs and its rating.
    """
    comparator = library.comparator(TIMER_COMPARATOR)
    clamps = [
        z
        for z in library.zeners.values()
        if z.vz_v * (1 + z.tolerance) <= comparator.supply_max_v and z.vz_v * (1 - z.tolerance) >= _TIMER_V
    ]
    if not clamps:
        raise NoSolutionError(
            message="No zener diode clamps the timers' supply.",
            quantity="timer supply clamp",
            limit=f"{show(_TIMER_V, 'voltage')} to {show(comparator.supply_max_v, 'voltage')}",
            remedy="Add one to your drawer file with the values from its sheet.",
        )
    low, highest = data.corners[Corner.LOW], data.corners[Corner.MAX]
    clamp = min(clamps, key=lambda z: (library.in_drawer(z.id) == 0, abs(z.vz_v - 12.0), z.id))
    # Enough for the clamp where the battery is high above it, else no more than a volt at what they draw.
    series = at_most(max(low - clamp.vz_v, 1.0) / TIMER_SUPPLY_A, "E12")
    lowest_v = clamp.vz_v * (1 - clamp.tolerance)
    most_a = max(highest - lowest_v, 0.0) / series
    return TimerSupply(
        series_ohm=series,
        series_w=max(highest - lowest_v, TIMER_SUPPLY_A * series) ** 2 / series,
        clamp=clamp.id,
        clamp_v=clamp.vz_v,
        clamp_w=clamp.vz_v * (1 + clamp.tolerance) * most_a,
        clamp_limit_w=clamp.power_w,
        low_v=min(low - TIMER_SUPPLY_A * series, lowest_v),
        nominal_v=min(data.corners[Corner.NOMINAL] - TIMER_SUPPLY_A * series, clamp.vz_v),
        decoupling_f=_DECOUPLING_F,
        half_ohm=_HALF_OHM,
        pullup_ohm=_PULL_UP_OHM,
    )


def _switch_on(data: ControlInput, remote: Remote | None, timers: tuple[Timer, ...]) -> tuple[Event, ...]:
    first = 0.0 if remote is None else remote.quickest_s
    last = 0.0 if remote is None else remote.slowest_s
    names = {"un-mute": "amplifier un-muted", "loudspeaker": "loudspeaker connected"}
    # Everything after the control supply counts from it, so its own spread moves all of them together.
    return (
        Event(name="control supply on", earliest_s=first, latest_s=last),
        Event(
            name="rails good",
            earliest_s=(1 - _CAPACITOR) * data.soft_start_s,
            latest_s=(1 + _CAPACITOR) * data.soft_start_s,
        ),
        *(Event(name=names[t.name], earliest_s=t.low_s, latest_s=t.high_s) for t in timers),
    )


def _switch_off(data: ControlInput, remote: Remote | None) -> tuple[Event, ...]:
    """Counted from the control supply's end."""
    opened = data.speaker_open_s
    events = [
        Event(name="amplifier muted", earliest_s=0.0, latest_s=_DIODE_EMPTY_S),
    ]
    if opened is not None:
        events.append(
            Event(name="loudspeaker off", earliest_s=0.2 * opened, latest_s=_DIODE_EMPTY_S + opened)
        )
    if data.rail_hold_s is not None:
        events.append(
            Event(name="rails fallen", earliest_s=data.rail_hold_s, latest_s=3.0 * data.rail_hold_s)
        )
    return tuple(events)


def _reasons(spec: ControlSpec, data: ControlInput, remote: Remote | None, total_a: float) -> Iterator[str]:
    if remote is None:
        yield "No remote line: it is on whenever the battery is connected. Fit a switch, or pull the fuse."
    else:
        yield (
            f"Remote line: on between {show(remote.on_low_v, 'voltage')} and "
            f"{show(remote.on_high_v, 'voltage')} "
            f"over parts and temperature, drawing {show(remote.line_a, 'current')} at most."
        )
    days = 3600.0 * data.capacity_ah / total_a / 86400.0
    yield (
        f"Off, it draws {show(total_a, 'current')}: alone it would flatten the battery in {days:.0f} days; "
        "the "
        "battery's own discharge of a few per cent a month comes on top."
    )
    yield (
        "At switch-off both timers empty through diodes, so the loudspeaker is off before the rails have "
        "moved, and a quick off and on starts the delays afresh."
    )
