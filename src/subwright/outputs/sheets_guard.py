"""Sheets of what guards the build: battery side, loudspeaker, switching on and off."""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.sheet_parts import Entry, sheet_of, shown
from subwright.outputs.views import Grid, Sheet
from subwright.stages.battery_guard_records import BatteryGuardResult

__all__ = ["battery_guard_sheet", "control_sheet", "speaker_guard_sheet"]

_NO_STANDARD = {
    36: "no source: ISO 7637-2 and ISO 16750-2 know 12 V and 24 V networks only",
    48: "ISO 21780 for 48 V road vehicles (36 V to 52 V in full function, 60 V at most; from memory), not "
    "applied here; ISO 7637-2 and ISO 16750-2 know 12 V and 24 V networks only",
}
_FITTED = {"none": "nothing", "relay": "a relay", "mosfet": "two MOSFETs back to back"}


def battery_guard_sheet(design: Design) -> Sheet | None:
    """Reversed battery, suppressor, pulses."""
    result = design.battery_guard
    if result is None:
        return None
    values: list[Entry] = []
    if result.kind == "none":
        values.append(("against a reversed battery", "nothing but the fuse"))
    if result.reverse is not None:
        switch = result.reverse
        where = "return" if switch.kind == "n_mosfet" else "positive lead"
        values.append((f"switch in the {where}", f"{switch.count} × {switch.mosfet}"))
        values += shown(
            switch,
            [
                ("resistance_ohm", "its resistance, hot"),
                ("loss_w", "its heat, full sine"),
                ("junction_c", "its junction, no heatsink"),
                ("blocks_v", "it blocks"),
                ("gate_ohm", "gate resistor"),
                ("clamp_id", "gate clamp"),
                ("turn_off_s", "time to turn off"),
            ],
        )
        values.append(("avalanche energy in pulse 1", show(result.reversed_j, "energy")))
    if result.diode is not None:
        values.append(("diode across the input", f"{result.diode.count} × {result.diode.rectifier}"))
        values += shown(result.diode, [("fault_a", "its current until the fuse opens")])
    if result.clamp is not None:
        values.append(("suppressor", f"{result.clamp.count} × {result.clamp.suppressor}"))
        values += shown(
            result.clamp,
            [
                ("standoff_v", "its standoff voltage"),
                ("break_min_v", "conducts from"),
                ("peak_a", "severest pulse"),
                ("energy_j", "its energy"),
            ],
        )
    pulses = Grid(
        title="Over-voltages and pulses",
        header=("what", "at the parts", "weakest part", "it stands", "held by"),
        rows=tuple(
            (s.name, show(s.at_v, "voltage"), s.weakest, show(s.limit_v, "voltage"), s.held_by)
            for s in result.stresses
        ),
        figures=frozenset({1, 3}),
    )
    guarded = Grid(
        title="Parts that see the battery",
        header=("part", "type", "highest battery voltage"),
        rows=tuple((p.role, p.part_id, show(p.limit_v, "voltage")) for p in result.guarded),
        figures=frozenset({2}),
    )
    sheet = sheet_of(design, "battery_guard", "Battery guard", result, values=values)
    grids = (pulses, *_negative(result), *_starting(design), guarded)
    return replace(sheet, grids=grids)


def _negative(result: BatteryGuardResult) -> tuple[Grid, ...]:
    """Each negative pulse at each part."""
    if not result.negative:
        return ()
    rows = tuple(
        (
            n.pulse,
            n.role,
            n.part_id,
            show(n.value, "voltage" if n.unit == "V" else "current"),
            show(n.limit, "voltage" if n.unit == "V" else "current"),
            n.held_by,
        )
        for n in result.negative
    )
    return (
        Grid(
            title="Negative pulses",
            header=("pulse", "at the", "type", "it sees", "it stands", "held by"),
            rows=rows,
            figures=frozenset({3, 4}),
            note="V: lowest supply at the part. A: what flows backwards through it.",
        ),
    )


def _starting(design: Design) -> tuple[Grid, ...]:
    """The engine's start, level by level; where no standard sets any, what there is instead."""
    rides = design.protection.cranking
    if not rides:
        return (
            Grid(
                title="Pulses and engine start",
                header=("bank", "what sets limits"),
                rows=((f"{design.spec.supply.system_v} V", _NO_STANDARD[design.spec.supply.system_v]),),
            ),
        )
    rows = tuple(
        (
            "gone for 200 ms" if r.level == "cut" else f"level {r.level}",
            show(r.dip_v, "voltage"),
            "" if r.level == "cut" else f"{show(r.plateau_v, 'voltage')}, {show(r.plateau_s, 'time')}",
            f"±{show(r.ripple_v, 'voltage')}" if r.ripple_v else "",
            show(r.sensed_v, "voltage"),
            show(r.trip_high_v, "voltage"),
            r.outcome,
            show(r.off_s, "time"),
        )
        for r in rides
    )
    return (
        Grid(
            title="Engine start",
            header=(
                "level",
                "first dip",
                "plateau",
                "ripple, 2 Hz",
                "behind the filter",
                "trip, highest",
                "what it does",
                "silent for",
            ),
            rows=rows,
            figures=frozenset({1, 2, 3, 4, 5, 7}),
            note="ISO 16750-2, starting profile, from memory. The dip passes the sense filter only in part, "
            "the ripple nearly whole.",
        ),
    )


def speaker_guard_sheet(design: Design) -> Sheet | None:
    """Detector and switch in the speaker lead."""
    result = design.speaker_guard
    if result is None:
        return None
    values: list[Entry] = [("in the speaker lead", _FITTED[result.kind])]
    if result.detector is not None:
        values += shown(
            result.detector,
            [
                ("resistor_ohm", "detector resistor"),
                ("capacitor_f", "detector capacitor"),
                ("threshold_v", "trips above, positive"),
                ("negative_v", "trips above, negative"),
                ("threshold_low_v", "lowest of either, hot"),
                ("threshold_high_v", "highest of either, cold"),
                ("bass_v", "lowest note behind it, first half wave at full output"),
                ("trip_s", "trips after, output stuck"),
                ("trip_latest_s", "at the latest"),
            ],
        )
    if result.relay is not None:
        values += shown(
            result.relay,
            [
                ("relay", "relay"),
                ("contact", "its contact"),
                ("breaks_a", "it breaks, direct current"),
                ("breaks_needed_a", "it has to break"),
                ("coil_a", "its coil"),
                ("dropper_ohm", "dropper of the coil"),
                ("decay_s", "its current dies within"),
                ("open_s", "it opens within"),
            ],
        )
    if result.drive is not None:
        drive = result.drive
        values.append(("driver", drive.transistor))
        values += shown(drive, [("base_ohm", "its base resistor")])
        if drive.zener:
            values.append(("zener of the quick release", drive.zener))
        if drive.light_ohm:
            values += shown(drive, [("light_ohm", "resistor of the gate drivers' light")])
    if result.switch is not None:
        switch = result.switch
        values.append(("MOSFETs", f"2 × {switch.per_side} × {switch.mosfet}, back to back"))
        values += shown(
            switch,
            [
                ("resistance_ohm", "their resistance, hot"),
                ("loss_w", "their heat, full sine"),
                ("open_s", "they open within"),
            ],
        )
    if result.fitted:
        values += shown(
            result, [("total_s", "lead open at the latest"), ("coil_heat_j", "coil heat by then")]
        )
    return sheet_of(design, "speaker_guard", "Speaker guard", result, values=values)


def control_sheet(design: Design) -> Sheet | None:
    """Remote switch-on, standby, and the order of events."""
    result = design.control
    if result is None:
        return None
    values: list[Entry] = []
    if result.remote is not None:
        remote = result.remote
        values += shown(
            remote,
            [
                ("on_v", "remote line, switches on at"),
                ("series_ohm", "remote series resistor"),
                ("pulldown_ohm", "remote pull-down"),
                ("filter_f", "remote capacitor"),
                ("debounce_s", "debounce"),
                ("line_a", "drawn from the remote line"),
                ("switch", "switch of the control supply"),
                ("base_ohm", "its base resistor"),
            ],
        )
        span = f"{show(remote.on_low_v, 'voltage')} to {show(remote.on_high_v, 'voltage')}"
        values.insert(1, ("over parts and temperature", span))
    supply = result.supply
    values.append(("supply of the timers", f"{show(supply.series_ohm, 'resistance')} and {supply.clamp}"))
    values.append(("standby", show(result.standby_a, "current")))
    values.append(("alone it flattens the battery in", f"{result.flat_s / 86400.0:.0f} days"))
    timers = Grid(
        title="Timers, to half their supply",
        header=("timer", "R", "C", "wanted", "real values", "least", "most"),
        rows=tuple(
            (
                t.name,
                show(t.resistor_ohm, "resistance"),
                show(t.capacitor_f, "capacitance"),
                *(show(s, "time") for s in (t.wanted_s, t.nominal_s, t.low_s, t.high_s)),
            )
            for t in result.timers
        ),
        figures=frozenset(range(1, 7)),
    )
    order = Grid(
        title="Order of events",
        header=("when", "what", "earliest", "latest"),
        rows=tuple(
            (when, e.name, show(e.earliest_s, "time"), show(e.latest_s, "time"))
            for when, events in (("on", result.switch_on), ("off", result.switch_off))
            for e in events
        ),
        figures=frozenset({2, 3}),
        note="On: the first from the remote line, the others from the control supply. Off: from its end.",
    )
    parked = Grid(
        title="Standby",
        header=("path", "current"),
        rows=tuple((s.name, show(s.current_a, "current")) for s in result.standby),
        figures=frozenset({1}),
    )
    sheet = sheet_of(design, "control", "Switching on and off", result, values=values)
    return replace(sheet, grids=(timers, order, parked))
