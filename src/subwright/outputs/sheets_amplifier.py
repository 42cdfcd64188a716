"""What the amplifier's sheet shows beside its values: load line, changing rails and bias."""

from __future__ import annotations

from collections.abc import Iterator

from subwright.base.units import show
from subwright.build.load_lines import driver_load_line
from subwright.build.result import Design
from subwright.outputs.plots_air import load_line_plot
from subwright.outputs.sheet_parts import drawing
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid
from subwright.stages.amplifier_driving import junction_v
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["amplifier_figures", "amplifier_grids"]


def amplifier_figures(design: Design) -> Iterator[Figure]:
    """Load line of the driver in the safe operating area; nothing for class D and chips."""
    found = driver_load_line(design)
    if found is None:
        return
    yield drawing(
        "load-line",
        load_line_plot(
            found.limit_v,
            (
                (f"limit, case {found.case_c:.0f} °C", found.limit_hot_a),
                ("limit, case 25 °C", found.limit_cold_a),
            ),
            found.pairs,
            (
                (f"driver, {found.frequency_hz:.0f} Hz", found.line),
                (f"{design.amplifier.load_ohm:g} Ω resistor", found.rated),
            ),
        ),
        f"One of {found.pairs} pairs, charging battery, at the drive that comes nearest to the limit: "
        f"{percent(found.share)} of it at {show(found.voltage_v, 'voltage')} and "
        f"{show(found.current_a, 'current')}. The limit is that for steady current.",
    )


def amplifier_grids(design: Design) -> Iterator[Grid]:
    """Heat of changing rails, their parts, and the bias to set."""
    result = design.amplifier
    if result.rail_heat:
        yield Grid(
            title="Heat of the output devices with and without changing rails",
            header=("level", "class AB on the upper rail", "as designed", "saved"),
            rows=tuple(
                (
                    row.level,
                    show(row.plain_w, "power"),
                    show(row.switched_w, "power"),
                    percent(1.0 - row.switched_w / row.plain_w),
                )
                for row in result.rail_heat
            ),
            figures=frozenset({1, 2, 3}),
            note="Programme: Gaussian, its crests at clipping. Diodes, followers and lifting included.",
        )
    rails = result.rail_switching
    if rails is not None:
        turns = "" if design.transformer is None else str(design.transformer.secondary_turns)
        rows = [
            ("upper rail takes over at an output of", show(rails.trip_v, "voltage")),
            ("lets go at", show(rails.release_v, "voltage")),
            ("distance to the lower rail then", show(rails.head_v, "voltage")),
        ]
        if rails.form == "two pairs" and design.transformer is not None:
            tap = design.transformer.tap_turns
            rows.append(("tap of each half-secondary, from its centre", f"turn {tap} of {turns}"))
            rows.append(("each inner reservoir at least", show(rails.reservoir_needed_f, "capacitance")))
        if rails.form == "lifted":
            rows.append(("lift at the end of the lowest note's crest", percent(result.lift_reached)))
        yield Grid(
            title="Changing the rail", header=("what", "value"), rows=tuple(rows), figures=frozenset({1})
        )
    driving = result.driving
    if driving is not None and driving.bias_id:
        pairs = result.devices[0].count // (2 * result.model.legs)
        each_a = _bias_a(design) / pairs
        across = next((p for p in result.parts if p.role == "emitter resistor"), None)
        rows = [
            ("quiescent current of each pair", show(each_a, "current")),
            ("between the ends of the bias, cold", show(driving.spread_v, "voltage")),
            ("falls by, for each kelvin", f"about {2 + 2 * bool(driving.driver_ids)} \u00d7 2 mV"),
            ("base-emitter voltage reckoned with", show(junction_v(each_a), "voltage")),
        ]
        if across is not None:
            millivolts = 2e3 * each_a * _ballast(design)
            rows.append(("across both emitter resistors of a pair", f"{millivolts:.1f} mV"))
        yield Grid(title="Bias", header=("what", "value"), rows=tuple(rows), figures=frozenset({1}))
    if result.voltage_stage is not None:
        yield _voltage_stage(result.voltage_stage)


def _voltage_stage(stage: VoltageStage) -> Grid:
    """What the voltage stage was designed for, and what to find on its test points."""
    rows = [
        ("current asked of it at most", show(stage.need_a, "current")),
        ("current of its voltage amplifier", show(stage.stage_a, "current")),
        ("its limiter holds at", show(stage.limit_a, "current")),
        ("current of the input pair, both halves", show(stage.tail_a, "current")),
        ("gain from the filter's output to the load", f"{stage.gain:.1f}"),
        ("noise gain of a leg's feedback", f"{stage.leg_gain:.1f}"),
        ("loop gain of one at", show(stage.unity_hz, "frequency")),
        ("phase margin there", f"{stage.phase_margin_deg:.0f}°"),
        (
            "loop gain at 50 Hz and at 1 kHz",
            f"{stage.loop_gain_50hz_db:.0f} dB, {stage.loop_gain_1khz_db:.0f} dB",
        ),
        ("response, 3 dB down", f"{stage.low_corner_hz:.1f} Hz to {show(stage.closed_hz, 'frequency')}"),
        (
            "slew rate, and a full sine of 20 kHz",
            f"{show(stage.slew_v_per_s, 'slew rate')}, {show(stage.slew_needed_v_per_s, 'slew rate')}",
        ),
        ("steady voltage across the load, at most", show(stage.offset_v, "voltage")),
        ("noise across the load, 20 Hz to 20 kHz", show(stage.noise_v, "voltage")),
        ("left of the signal with MUTE low", f"{stage.mute_db:.0f} dB"),
        ("step across the load when MUTE changes", show(stage.mute_thump_v, "voltage")),
        (
            "distance to the upper and the lower supply at the crest",
            f"{show(stage.clip_upper_v, 'voltage')}, {show(stage.clip_lower_v, 'voltage')}",
        ),
    ]
    return Grid(
        title="Voltage stage",
        header=("what", "value"),
        rows=tuple(rows),
        figures=frozenset({1}),
        note="Early voltages and small capacitances are from memory: the loop's figures serve the choice of "
        "parts, the oscilloscope has the last word.",
    )


def _bias_a(design: Design) -> float:
    return float(getattr(design.amplifier.model, "bias_a", 0.0))


def _ballast(design: Design) -> float:
    """Of one device, Ω."""
    result = design.amplifier
    pairs = result.devices[0].count // (2 * result.model.legs)
    return float(getattr(result.model, "ballast_ohm", 0.0)) * pairs
