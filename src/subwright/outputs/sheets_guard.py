"""Sheets of what guards the build: battery side."""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.sheet_parts import Entry, sheet_of, shown
from subwright.outputs.views import Grid, Sheet

__all__ = ["battery_guard_sheet"]


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
    return replace(sheet, grids=(pulses, guarded))
