"""Sheets of the power path: battery and cable, converter, transformer, amplifier."""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.cautions import before_connecting, before_winding
from subwright.outputs.converter_view import (
    drive_grid,
    output_figure,
    output_grid,
    rail_grid,
    switch_grid,
)
from subwright.outputs.plots import (
    battery_current_plot,
    clipping_power_plot,
    efficiency_plot,
    rail_load_plot,
    rail_plot,
)
from subwright.outputs.sheet_parts import CORNER, Entry, drawing, sheet_of, shown
from subwright.outputs.sheets_amplifier import amplifier_figures, amplifier_grids
from subwright.outputs.sheets_boost import topology_grid
from subwright.outputs.sheets_modulator import modulator_figures, modulator_grids
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid, LaterDrawing, Sheet
from subwright.outputs.winding_drawing import winding_svg
from subwright.outputs.winding_sheet import capacitances, check_rows, step_rows
from subwright.stages.common import Corner

__all__ = ["amplifier_sheet", "converter_sheet", "supply_sheet", "transformer_sheet"]


_KIND = {
    "class_d_half_bridge": "class D, half-bridge",
    "class_d_full_bridge": "class D, full bridge between the rails",
    "class_ab": "class AB",
    "class_g": "class G, two pairs of rails",
    "bridge_class_h": "class H bridge, battery lifted over the crests",
    "bridge_class_d": "class D bridge, straight from the battery",
    "bridge_class_ab": "class AB bridge, straight from the battery",
}


def _kind(design: Design) -> str:
    name = _KIND[design.amplifier.kind]
    return name.split(",")[0] + ", on the raised rail" if design.amplifier.rails == "raised" else name


def _corner_lines(design: Design) -> tuple[tuple[str, float], ...]:
    """Names and voltages of the corners at which it plays, for reference lines in plots."""
    return tuple(
        (CORNER[corner], value) for corner, value in design.supply.corners.items() if corner is not Corner.MIN
    )


def supply_sheet(design: Design) -> Sheet:
    """Battery, cable, fuse."""
    supply, spec = design.supply, design.spec.supply
    values = [
        ("battery", f"{spec.battery}, {spec.system_v} V, {show(spec.capacity_ah, 'battery capacity')}"),
        *shown(
            supply,
            [
                ("section_m2", "copper section"),
                ("cable_positive_m", "cable to battery +"),
                ("cable_return_m", "return cable"),
                ("fuse_a", "fuse"),
                ("fuse_body", "fuse body"),
                ("fuse_voltage_v", "fuse rated voltage"),
                ("fuse_distance_m", "fuse within, of battery +"),
                ("fuse_distance_sheathed_m", "the same, cable sheathed"),
                ("drop_v", "cable drop, full sine"),
                ("peak_drop_v", "cable drop, peak"),
                ("source_resistance_ohm", "source resistance"),
                ("fault_a", "short circuit behind the fuse"),
                ("fault_far_a", "short circuit at the unit"),
                ("runtime_s", "running time, programme, engine off"),
            ],
        ),
    ]
    rows = tuple(
        (
            CORNER[corner],
            show(value, "voltage"),
            show(supply.terminal_v[corner], "voltage") if corner in supply.terminal_v else "off",
            show(supply.corner_average_a[corner], "current") if corner in supply.corner_average_a else "",
            supply.corner_reasons.get(corner, ""),
        )
        for corner, value in supply.corners.items()
    )
    corners = Grid(
        title="Battery corners",
        header=("battery", "unloaded", "at the unit, full sine", "current, full sine", "why"),
        rows=rows,
        figures=frozenset({1, 2, 3}),
    )
    sweeps = design.sweeps
    figure = drawing(
        "battery-current",
        battery_current_plot(sweeps.battery_v, sweeps.battery_a, fuse_a=supply.fuse_a),
        "Mean current with a full sine. Programme draws far less; the fuse must carry the sine too.",
    )
    care = before_connecting(
        battery=spec.battery,
        fuse=show(supply.fuse_a, "current"),
        fuse_distance=show(supply.fuse_distance_m, "length"),
        fault=show(supply.fault_a, "current", 2),
    )
    sheet = sheet_of(design, "supply", "Battery and cable", supply, values=values, figures=(figure,))
    return replace(sheet, grids=(corners,), cautions=(care,))


def converter_sheet(design: Design) -> Sheet | None:
    """Controller, switches, rectifier, capacitors, snubber; None for a build straight from the battery."""
    result = design.converter
    if result is None:
        return None
    plan = result.plan
    values: list[Entry] = [
        ("topology", result.topology),
        *shown(
            result,
            [
                ("plan.controller.id", "controller"),
                ("plan.timing.switching_hz", "switching frequency"),
                ("plan.timing.dead_time_s", "dead time"),
                ("plan.timing.rt_ohm", "timing resistor"),
                ("plan.timing.ct_f", "timing capacitor"),
                ("plan.timing.soft_start_f", "soft-start capacitor"),
                ("plan.timing.soft_start_s", "soft start"),
            ],
        ),
        ("conducting share of the cycle", percent(plan.timing.share, 1)),
        ("switches", f"{result.switch_count} \u00d7 {plan.switch.mosfet.id}"),
        ("rectifier", plan.rectifier.rectifier.id),
        (
            "input capacitors",
            f"{result.input_bank.count} \u00d7 {result.input_bank.capacitor.id}",
        ),
        (
            "capacitors on each rail",
            f"{result.reservoir_bank.count} \u00d7 {result.reservoir_bank.capacitor.id}",
        ),
        *shown(
            result,
            [
                ("snubber_ohm", "snubber resistor"),
                ("snubber_f", "snubber capacitor"),
                ("gate_ohm", "gate resistor"),
                ("bleeder_ohm", "rail bleeder"),
                ("bleeder_s", "rails below 5 V after"),
                ("inrush_a", "inrush during soft start"),
                ("rail_unloaded_v", "rail, unloaded, highest battery"),
            ],
        ),
    ]
    sweeps = design.sweeps
    figures: tuple[Figure, ...] = (
        drawing(
            "rail-against-battery",
            rail_plot(
                sweeps.battery_v,
                sweeps.rail_full_v,
                sweeps.rail_idle_v,
                limit_v=result.rail_max_v,
                needed_v=design.amplifier.rail_needed_v,
            ),
            "One rail. Limit: what the amplifier stands.",
        ),
        drawing(
            "rail-against-load",
            rail_load_plot(sweeps.load_w, sweeps.load_rail_v, needed_v=design.amplifier.rail_needed_v),
            "The working rail at the crest of the sine, nominal battery.",
        ),
    )
    compared = output_figure(result)
    if compared is not None:
        figures = (*figures, compared)
    sheet = sheet_of(design, "converter", "Converter", result, values=values, figures=figures)
    grids = (
        topology_grid(design),
        output_grid(result),
        switch_grid(design, result),
        drive_grid(result),
        rail_grid(design, result),
    )
    return replace(sheet, grids=(*grids, *sheet.grids))


def transformer_sheet(design: Design, *, stamp: str = "") -> Sheet | None:
    """Core, windings and the bench instructions; None for a build straight from the battery."""
    result = design.transformer
    if result is None:
        return None
    one = "one half-primary" if result.primary.halves > 1 else "the primary"
    core = result.core.id + (f", {result.stack} stacked" if result.stack > 1 else "")
    values: list[Entry] = [("core", core), ("grade", result.material.id)]
    for winding in result.windings:
        halves = f"{winding.halves} \u00d7 " if winding.halves > 1 else ""
        wire = f"{winding.strands} \u00d7 {winding.wire.id}"
        values += [
            (f"{winding.name}, turns", f"{halves}{winding.turns}"),
            (f"{winding.name}, wire", f"{wire}, {winding.layers} layer{'s' if winding.layers != 1 else ''}"),
            (
                f"{winding.name}, cut",
                f"{winding.strands * winding.halves} pieces of {show(winding.cut_length_m, 'length')}",
            ),
            (
                f"{winding.name}{', one half' if winding.halves > 1 else ''}, hot",
                show(winding.resistance_ac_ohm, "resistance"),
            ),
        ]
    values += [
        *shown(
            result,
            [
                ("magnetising_h", f"inductance of {one}"),
                ("leakage_h", f"leakage, at {one}"),
                ("core_w", "core loss"),
                ("copper_w", "copper loss, full sine"),
                ("copper_programme_w", "copper loss, programme"),
                ("outer_m", "finished, across"),
                ("height_m", "finished, height"),
            ],
        ),
        (
            "leakage, estimated",
            f"{show(result.leakage_low_h, 'inductance')} to {show(result.leakage_high_h, 'inductance')}",
        ),
        ("winding capacitance", capacitances(result)),
        *(
            [("leakage, primary to auxiliary", show(result.leakage_auxiliary_h, "inductance", 2))]
            if result.auxiliary is not None
            else []
        ),
        ("copper in the window", percent(result.fill)),
        (
            "temperature rise",
            f"{result.rise_low_k:.0f} to {show(result.rise_high_k, 'temperature difference')}",
        ),
    ]
    flux = Grid(
        title="Peak flux density",
        header=("battery", "flux density", "limit at the highest battery"),
        rows=tuple(
            (CORNER[corner], show(value, "flux density"), show(result.flux_limit_t, "flux density"))
            for corner, value in result.flux_peak_t.items()
        ),
        figures=frozenset({1, 2}),
        note=f"One lost pulse at the highest battery: {show(result.flux_lost_pulse_t, 'flux density')}, "
        f"limit {show(result.lost_pulse_limit_t, 'flux density')}.",
    )
    steps = Grid(
        title="Winding",
        header=("step", "what to do", "turns", "strands and wire", "cut", "starts", "finishes"),
        rows=step_rows(result.steps),
        figures=frozenset({2, 3, 4, 5, 6}),
    )
    checks = Grid(
        title="Measure before it meets a battery",
        header=("check", "what to do", "expect", "passes", "a reading outside means"),
        rows=check_rows(result.checks),
        figures=frozenset({2, 3}),
    )
    figure = Figure(
        key="winding",
        drawn=LaterDrawing(make=lambda: winding_svg(result, stamp=stamp, inline=True)),
        caption="Core and windows to scale; strokes stand for turns of the whole bundle.",
        wide=True,
    )
    sheet = sheet_of(design, "transformer", "Transformer", result, values=values, figures=(figure,))
    return replace(sheet, grids=(flux, steps, checks), cautions=(before_winding(),))


def amplifier_sheet(design: Design) -> Sheet:
    """Output stage, filter, clipping."""
    result = design.amplifier
    values: list[Entry] = [
        ("kind", _kind(design)),
        ("output devices", f"{result.switch_count} \u00d7 {result.switch_id}"),
        *shown(
            result,
            [
                ("load_ohm", "load"),
                ("load_least_ohm", "least impedance reckoned with"),
                ("power_w", "power at clipping, nominal battery"),
                ("peak_v", "peak at the load"),
                ("peak_a", "peak current"),
                (
                    "rail_needed_v",
                    "supply of one side, at the crest" if not result.from_battery else "supply at the crest",
                ),
                ("idle_w", "drawn at idle"),
                ("inductance_h", "output inductor"),
                ("inductor_ohm", "output inductor, resistance at most"),
                ("inductor_peak_a", "output inductor, peak current"),
                ("filter_f", "filter capacitor"),
                ("damping_ohm", "damping resistor"),
                ("damping_f", "damping capacitor"),
                ("filter_corner_hz", "output filter corner"),
                ("pumping_v", "rail pumping at the lowest note"),
                ("stuck_w", "heat in the rated load if the output sticks"),
            ],
        ),
    ]
    sweeps = design.sweeps
    corners = _corner_lines(design)
    figures = (
        drawing(
            "clipping-power",
            clipping_power_plot(
                sweeps.battery_v, sweeps.clip_w, target_w=design.goal.power_w, corners=corners
            ),
            "Sine into the rated load, battery and rails sagging.",
        ),
        drawing(
            "efficiency",
            efficiency_plot(sweeps.battery_v, sweeps.efficiency, corners=corners),
            "Load power over everything that leaves the battery, at the onset of clipping.",
        ),
        *modulator_figures(design),
        *amplifier_figures(design),
    )
    ceilings = Grid(
        title="What a bridge straight from the battery could do",
        header=("battery", "unloaded", "ideal square", "ideal sine", "class D sine", "class AB sine"),
        rows=tuple(
            (
                CORNER[ceiling.corner],
                show(ceiling.supply_v, "voltage"),
                show(ceiling.square_w, "power"),
                show(ceiling.sine_w, "power"),
                _power(ceiling.class_d_sine_w),
                _power(ceiling.class_ab_sine_w),
            )
            for ceiling in result.ceilings
        ),
        figures=frozenset({1, 2, 3, 4, 5}),
    )
    sheet = sheet_of(design, "amplifier", "Amplifier", result, values=values, figures=figures)
    fits = (topology_grid(design),) if result.rails == "battery" else ()
    grids = (*modulator_grids(design), *amplifier_grids(design))
    return replace(sheet, grids=(*grids, *((ceilings,) if result.ceilings else ()), *fits))


def _power(value: float | None) -> str:
    return "" if value is None else show(value, "power")
