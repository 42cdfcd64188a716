"""Sheets of what surrounds the power path: protection, filter, wiring, heat."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.cautions import before_touching
from subwright.outputs.plots import filter_plot, group_delay_plot
from subwright.outputs.plots_control import burst_plot
from subwright.outputs.protection_tables import (
    contributor_grid,
    input_grid,
    lamp_span,
    over_current_entries,
    tolerance_grid,
    trimmer_grid,
)
from subwright.outputs.sheet_parts import CORNER, LEVEL, Entry, drawing, sheet_of, shown
from subwright.outputs.tables import number, percent
from subwright.outputs.views import Figure, Grid, Sheet
from subwright.outputs.windows import Window, WindowChart
from subwright.outputs.wiring_table import wiring_grid
from subwright.stages.filter_records import FilterBlock, OpAmpSupply
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_records import Threshold

__all__ = ["filter_sheet", "heat_sheet", "protection_sheet", "wiring_sheet"]


def _window(threshold: Threshold) -> Window:
    w = threshold.window
    return Window(
        label=threshold.name,
        nominal=threshold.nominal,
        rss_low=w.rss_low,
        rss_high=w.rss_high,
        worst_low=w.worst_low,
        worst_high=w.worst_high,
        text=number(threshold.nominal, threshold.unit),
    )


def _chart(
    key: str,
    title: str,
    unit: str,
    thresholds: Mapping[str, Threshold],
    references: tuple[tuple[str, float], ...],
    caption: str,
) -> Figure:
    chart = WindowChart(
        title=title, unit=unit, windows=tuple(_window(t) for t in thresholds.values()), references=references
    )
    return Figure(key=key, drawn=chart.render(inline=True), caption=caption)


def _threshold_rows(result: ProtectionResult) -> Iterator[tuple[str, ...]]:
    for threshold in result.thresholds.values():
        yield _threshold_row(threshold, threshold.unit)
    for threshold in result.hysteresis.values():
        yield _threshold_row(threshold, "K" if threshold.unit == "°C" else threshold.unit)


def _threshold_row(threshold: Threshold, unit: str) -> tuple[str, ...]:
    w = threshold.window
    values = (threshold.target, threshold.nominal, w.worst_low, w.worst_high, w.p1, w.p99)
    return (threshold.name, *(number(value, unit) for value in values), threshold.reason)


def _networks(result: ProtectionResult) -> tuple[tuple[str, ...], ...]:
    """Every resistor and capacitor of the comparator networks: network, where, value."""
    rows: list[tuple[str, ...]] = []
    under, over, hot = result.under_voltage, result.over_voltage, result.thermal
    wanted: tuple[tuple[str, object, list[Entry]], ...] = (
        (
            "under-voltage",
            under,
            [
                ("upper_each_ohm", "battery to the middle, and middle to + input, each"),
                ("lower_ohm", "+ input to ground"),
                ("lower_second_ohm", "in series with that"),
                ("trimmer_ohm", "trimmer in series with that"),
                ("feedback_ohm", "output to + input"),
                ("pullup_ohm", "output pull-up"),
                ("filter_f", "middle to ground"),
            ],
        ),
        (
            "over-voltage",
            over,
            [
                ("upper_ohm", "battery to \u2212 input"),
                ("lower_ohm", "\u2212 input to ground"),
                ("lower_second_ohm", "in series with that"),
                ("trimmer_ohm", "trimmer in series with that"),
                ("reference_ohm", "reference to + input"),
                ("feedback_ohm", "output to + input"),
                ("pullup_ohm", "output pull-up"),
                ("filter_f", "\u2212 input to ground"),
            ],
        ),
        (
            "thermal",
            hot,
            [
                ("ntc", "reference to \u2212 input: thermistor"),
                ("series_ohm", "\u2212 input to ground"),
                ("trimmer_ohm", "trimmer in series with that"),
                ("upper_ohm", "reference to + input"),
                ("lower_ohm", "+ input to ground"),
                ("feedback_ohm", "output to + input"),
                ("pullup_ohm", "output pull-up"),
                ("filter_f", "\u2212 input to ground"),
            ],
        ),
    )
    for name, network, entries in wanted:
        rows += [(name, label, value) for label, value in shown(network, entries)]
    return tuple(rows)


def protection_sheet(design: Design) -> Sheet | None:
    """When it shuts down and comes back, over all tolerances."""
    result = design.protection
    if result is None:
        return None
    volts = {name: t for name, t in result.thresholds.items() if t.unit == "V"}
    degrees = {name: t for name, t in result.thresholds.items() if t.unit != "V"}
    corners = tuple((CORNER[corner], value) for corner, value in design.supply.corners.items())
    figures = (
        _chart(
            "thresholds",
            "When it shuts down and comes back",
            "battery at the terminals, V",
            volts,
            corners,
            "Broken lines: the battery's own voltages, unloaded.",
        ),
        _chart(
            "thermal-thresholds",
            "When it is too hot",
            "heatsink, °C",
            degrees,
            (),
            "At the thermistor.",
        ),
        drawing(
            "burst",
            burst_plot(
                result.chatter.trace,
                trip_v=result.thresholds["under-voltage trip"].nominal,
                release_v=result.thresholds["under-voltage release"].nominal,
            ),
            f"A full sine of the lowest note on a battery of {show(result.chatter.burst_v, 'voltage')} at "
            "rest, where the sag only just reaches the trip and the spring back is highest.",
        ),
    )
    chatter = result.chatter
    values: list[Entry] = [
        ("comparator", result.comparator),
        ("reference", f"{result.reference.part_id}, {show(result.reference.nominal_v, 'voltage')}"),
        ("thermistor", result.ntc),
        ("comparator supply resistor", show(result.reference.comparator_ohm, "resistance")),
        ("its clamp", f"{result.reference.clamp_id}, {show(result.reference.clamp_v, 'voltage')}"),
        ("status lamp resistor", show(result.lamp_ohm, "resistance")),
        ("status lamp, over all parts", lamp_span(result)),
        ("off after the last trip", show(result.hold_off.nominal_s, "time")),
        ("isolating link for bring-up", "fitted" if result.isolating_link else "none"),
        *over_current_entries(result),
        ("drop that a trip takes off the battery", show(chatter.drop_v, "voltage")),
        ("hysteresis needed against chatter", show(chatter.need_v, "voltage")),
        ("hysteresis, nominal", show(chatter.hysteresis_v, "voltage")),
        ("hysteresis, least over all tolerances", show(chatter.hysteresis_worst_v, "voltage")),
    ]
    thresholds = Grid(
        title="Thresholds",
        header=("threshold", "wanted", "real values", "lowest", "highest", "1 %", "99 %", "why"),
        rows=tuple(_threshold_rows(result)),
        figures=frozenset({1, 2, 3, 4, 5, 6}),
        note="Lowest and highest: every part at its limit. 1 % and 99 %: of random builds.",
    )
    networks = Grid(
        title="Networks",
        header=("network", "from where to where", "value"),
        rows=_networks(result),
        figures=frozenset({2}),
    )
    sheet = sheet_of(design, "protection", "Protection", result, values=values, figures=figures)
    trimmers = trimmer_grid(result)
    grids = (
        thresholds,
        *(() if trimmers is None else (trimmers,)),
        tolerance_grid(result),
        contributor_grid(result),
        input_grid(result),
        networks,
    )
    return replace(sheet, grids=grids)


def filter_sheet(design: Design) -> Sheet:
    """The line-level filter: blocks in real values, response with tolerance, levels and noise."""
    result, levels = design.filter, design.filter.levels
    values: list[Entry] = [
        ("low-pass", f"{result.alignment.title()}, order {result.order}"),
        *shown(result, [("corner_hz", "its corner"), ("infrasonic_hz", "infrasonic corner")]),
        ("op-amp", f"{result.op_amp_count} \u00d7 {result.op_amp}"),
        ("op-amp supply", _supply_text(result.op_amp_supply)),
        *shown(
            levels,
            [
                ("sensitivity_v", "input for full output"),
                ("full_output_v", "full output, into the amplifier"),
                ("gain", "gain, every input driven"),
                ("overload_v", "input at which it clips"),
                ("headroom_db", "headroom of the fullest block"),
                ("snr_db", "full output over noise"),
                ("noise_v", "noise at the output"),
                ("offset_v", "largest DC at the output"),
            ],
        ),
    ]
    plot = filter_plot(
        result.frequency_hz,
        result.gain_db,
        low_db=result.band_low_db,
        high_db=result.band_high_db,
        corner_hz=result.corner_hz,
    )
    figures = (
        drawing("filter", plot, "Every input driven, level at its top. Band: 1 % to 99 % of random builds."),
        drawing(
            "filter-delay",
            group_delay_plot(
                result.frequency_hz,
                result.group_delay_s,
                label="filter",
                title="Group delay of the filter",
            ),
            "Line-level filter alone.",
        ),
    )
    blocks = Grid(
        title="Blocks, input to output",
        header=("block", "parts", "gain", "frequency", "wanted", "Q", "wanted", "peak at full output"),
        rows=tuple(_block_row(block) for block in result.blocks),
        figures=frozenset({2, 3, 4, 5, 6, 7}),
    )
    windows = [("low-pass", result.low_pass)]
    if result.infrasonic is not None:
        windows.append(("infrasonic", result.infrasonic))
    corners = Grid(
        title="Corners over tolerance",
        header=("corner", "wanted", "real values", "lowest", "highest", "1 %", "99 %", "level there"),
        rows=tuple(
            (
                name,
                show(w.target_hz, "frequency"),
                show(w.nominal_hz, "frequency"),
                show(w.worst_low_hz, "frequency"),
                show(w.worst_high_hz, "frequency"),
                show(w.p1_hz, "frequency"),
                show(w.p99_hz, "frequency"),
                show(-w.drop_db, "level").replace("-", "\u2212"),
            )
            for name, w in windows
        ),
        figures=frozenset(range(1, 8)),
    )
    sheet = sheet_of(design, "filter", "Filter", result, values=values, figures=figures)
    return replace(sheet, grids=(blocks, corners))


def _supply_text(supply: OpAmpSupply) -> str:
    """What the op-amps run on, with its parts."""
    told = shown(
        supply,
        [
            ("series_ohm", "series resistor"),
            ("zener_id", "zener"),
            ("r1_ohm", "R1"),
            ("r2_ohm", "R2"),
            ("midpoint_ohm", "midpoint divider, each"),
            ("midpoint_f", "midpoint capacitor"),
            ("filter_ohm", "filter resistor"),
            ("filter_f", "filter capacitor"),
        ],
    )
    parts = ", ".join(f"{label} {value}" for label, value in told)
    reach = f"{show(supply.low_v, 'voltage')} to {show(supply.high_v, 'voltage')} in all"
    return f"{supply.kind}, {reach}" + (f"; {parts}" if parts else "")


def _block_row(block: FilterBlock) -> tuple[str, ...]:
    parts = [f"{role} {show(value, 'resistance')}" for role, value in block.resistors_ohm.items()]
    parts += [f"{role} {show(value, 'capacitance')}" for role, value in block.capacitors_f.items()]

    def optional(value: float | None, dimension: str) -> str:
        return "" if value is None else show(value, dimension)

    return (
        block.name,
        ", ".join(parts),
        show(block.gain, "ratio").replace("-", "\u2212"),
        optional(block.f0_hz, "frequency"),
        optional(block.f0_target_hz, "frequency"),
        optional(block.q, "ratio"),
        optional(block.q_target, "ratio"),
        show(block.peak_v, "voltage"),
    )


def wiring_sheet(design: Design) -> Sheet:
    """Cables, links, tracks, fuse."""
    result = design.wiring
    values: list[Entry] = [
        ("fuse", f"{show(design.supply.fuse_a, 'current')}, {design.supply.fuse_body}"),
        ("speaker cable", show(result.speaker.section_m2, "area")),
        ("speaker cable's share of the load", percent(result.speaker.loss_ratio, 1)),
    ]
    sheet = sheet_of(design, "wiring", "Wiring and fuse", result, values=values, lead=result.fuse_position)
    return replace(sheet, grids=(wiring_grid(design),))


def heat_sheet(design: Design) -> Sheet:
    """Heatsink and junction temperatures."""
    result = design.heat
    values: list[Entry] = [("heatsink" if result.form == "heatsink" else "plate", result.description)]
    values += shown(
        result,
        [
            ("plate_side_m", "plate, side"),
            ("plate_thickness_m", "plate, thickness"),
            ("rth_k_per_w", "thermal resistance"),
            ("mass_kg", "mass"),
            ("air_c", "air at the sink"),
            ("touch_c", "to the touch with programme, 25 °C air"),
            ("touch_hot_c", "to the touch with programme, hottest air"),
            ("trip_c", "shuts down at"),
        ],
    )
    trips = result.time_to_trip_s
    values.append(("full sine, until it shuts down", "never" if trips is None else show(trips, "time", 2)))
    levels = tuple(result.sink_c)
    sink = Grid(
        title="Heatsink",
        header=("", *(LEVEL[level] for level in levels), "least favourable sine"),
        rows=(
            (
                "heat into it",
                *(show(result.power_w[level], "power") for level in levels),
                show(result.worst_w, "power"),
            ),
            (
                "its temperature, steady",
                *(show(result.sink_c[level], "temperature") for level in levels),
                show(result.sink_worst_c, "temperature"),
            ),
        ),
        figures=frozenset(range(1, len(levels) + 2)),
    )
    junctions = Grid(
        title="Junction temperatures",
        header=(
            "device",
            "pieces",
            *(LEVEL[level] for level in levels),
            "least favourable sine",
            "as it shuts down",
            "limit",
        ),
        rows=tuple(
            (
                device.name,
                str(device.count),
                *(show(device.junction_c[level], "temperature") for level in levels),
                show(device.worst_c, "temperature"),
                show(device.trip_c, "temperature"),
                show(device.limit_c, "temperature"),
            )
            for device in result.devices
        ),
        figures=frozenset(range(1, len(levels) + 5)),
    )
    care = before_touching(sink=show(result.trip_c, "temperature"))
    sheet = sheet_of(design, "heat", "Heat", result, values=values)
    return replace(sheet, grids=(sink, junctions), cautions=(care,))
