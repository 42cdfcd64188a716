"""Where to measure: test points of the schematics, and the bring-up's readings with their points."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from subwright.build.bringup_records import BringUp
from subwright.circuits.netlist import TestPoint
from subwright.outputs.point_rows import BATTERY_ORDER, state_rows
from subwright.outputs.print_blocks import Block, heading, soft, table
from subwright.outputs.print_bringup import reading_cells, window_text
from subwright.outputs.schematics import SchematicSheet

__all__ = ["point_blocks", "points_of"]

_RAILS: Final = {
    f"{load}rail-{side}": ("converter power stage", f"rail_{side}")
    for load in ("", "loaded-")
    for side in ("positive", "negative")
}
_MODULATOR: Final = {
    "gate-supply": "driver_supply",
    "logic-supply": "logic_supply",
    "op-positive": "op_positive",
    "op-negative": "op_negative",
    "reference": "reference",
    "stop": "stop",
    "stop-free": "stop",
    "clock": "carrier",
}
_AT: Final[Mapping[str, tuple[str, str]]] = {  # reading → circuit and net
    **_RAILS,
    "reference-voltage": ("protection", "reference"),
    "thermistor-node": ("protection", "thermal_sense"),
    "inhibit-line": ("protection", "inhibit"),
    "over-current-level": ("protection", "current_level"),
    "switching-frequency": ("converter controller", "out_a"),
    "dead-time": ("converter controller", "out_a"),
    "gate-A": ("gate drive", "gate_a_1"),
    "gate-B": ("gate drive", "gate_b_1"),
    "amplifier-switching": ("class-D output stage", "node_a"),
    **{f"modulator-{key}": ("class-D modulator", net) for key, net in _MODULATOR.items()},
    **{f"bootstrap-{leg}": ("class-D modulator", f"boost_{leg}") for leg in "ab"},
    "clip-terminal": ("wiring", "unit_plus"),
    **{
        f"{watch}-voltage-{end}": ("wiring", "unit_plus")
        for watch in ("under", "over")
        for end in ("trip", "release")
    },
}
_THROUGH_DIODES: Final = {"over-current-level": ("protection", "current_tap")}  # a switch's drop is read


def points_of(drawn: Sequence[SchematicSheet]) -> tuple[tuple[str, str, TestPoint], ...]:
    """Sheet's title, circuit's name and test point, each point once, in the order of the sheets."""
    found: dict[str, tuple[str, str, TestPoint]] = {}
    for sheet in drawn:
        for point in sheet.circuit.test_points:
            found.setdefault(point.designator, (sheet.title, sheet.circuit.name, point))
    return tuple(found.values())


def point_blocks(procedure: BringUp, drawn: Sequence[SchematicSheet]) -> Iterator[Block]:
    """Test points on the schematics with what they carry, then every reading with its place."""
    points = points_of(drawn)
    if points:
        yield heading("On the schematics")
        yield soft(
            f"Against 0 V, or as stated; on the {BATTERY_ORDER} battery, or one value where it makes no "
            "difference. Swings are from peak to peak, shapes those on the nominal battery; the file of "
            "test points in the pack has them all."
        )
        yield table(
            "",
            ("point", "sheet, what it carries", "state", "mean", "swing", "shape"),
            [row for title, _, point in points for row in _rows(title, point)],
            figures=(0, 3, 4),
        )
    named = {(circuit, point.net): point.designator for _, circuit, point in points}
    yield heading("Readings of the first power-up")
    yield soft("Each has a name in the bench log: subwright bench add FILE NAME=VALUE.")
    rows = []
    for step in procedure.steps:
        for reading in step.readings:
            expected = reading_cells(reading)[2] or window_text(reading)
            places = (_AT.get(reading.key, ("", "")), _THROUGH_DIODES.get(reading.key, ("", "")))
            at = next((named[place] for place in places if place in named), "")
            rows.append((str(step.number), reading.name, reading.where, at, expected, reading.key))
    yield table(
        "",
        ("step", "what", "where the probes go", "point", "expected", "name in the bench log"),
        rows,
        figures=(0, 3, 4),
    )


def _rows(title: str, point: TestPoint) -> Iterator[tuple[str, ...]]:
    """A point's rows; its name and what it carries stand in the first."""
    head = (point.designator, f"{title}: {point.what}")
    if not point.readings:
        yield (*head, "", "", "", "")
    for row in state_rows(point.readings):
        yield (*head, row.state, row.mean, row.swing, row.shape)
        head = ("", "")
