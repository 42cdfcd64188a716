"""Sheets of the signal's way: inputs, and the chain from the radio to the air."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.plots_air import AirDrawing
from subwright.outputs.plots_signal import GainDrawing, chain_plot, output_filter_plot
from subwright.outputs.sheet_parts import Entry, drawing, sheet_of, shown
from subwright.outputs.views import Figure, Grid, Later, LaterDrawing, Sheet
from subwright.stages.signal_air import AirNode

__all__ = ["input_sheet", "signal_sheet"]


def input_sheet(design: Design) -> Sheet:
    """Pad, receiver, protection."""
    result = design.input
    values: list[Entry] = [
        ("takes", f"{result.source} level, {result.receiver}"),
        *shown(
            result,
            [
                ("channels", "channels"),
                ("source_v", "at the source for full output"),
                ("series_ohm", "in each lead"),
                ("shunt_ohm", "across the leads"),
                ("difference_in_ohm", "difference amplifier, input resistors"),
                ("difference_out_ohm", "difference amplifier, feedback and ground resistors"),
                ("rf_f", "from each lead to ground"),
                ("rf_corner_hz", "keeps out radio above"),
                ("load_ohm", "load on the source"),
                ("pad_w", "heat in a channel's resistors"),
            ],
        ),
    ]
    if result.receiver == "difference":
        values += shown(
            result,
            [
                ("rejection_worst_db", "rejects what the leads share, worst"),
                ("rejection_p1_db", "99 % of builds reject more than"),
                ("rejection_median_db", "half of all builds more than"),
                ("common_mode_v", "common mode at the op-amp"),
            ],
        )
    values += shown(
        result,
        [
            ("noise_db", "full output over ground noise"),
            ("clamp_a", "clamp diode with a fault on the input"),
        ],
    )
    return sheet_of(design, "input", "Inputs", result, values=values)


def signal_sheet(design: Design) -> Sheet:
    """Levels, filter and box together, bursts, output filter."""
    result = design.signal

    @cache
    def noise_v() -> Mapping[str, float]:
        return result.noise_v(design.filter.node_noise_v())

    values = shown(
        result,
        [
            ("headroom_db", "least headroom before the amplifier"),
            ("headroom_at", "it is at"),
            ("f3_low_hz", "filter and box, lower 3 dB point"),
            ("f3_high_hz", "upper 3 dB point"),
            ("cabin_f3_low_hz", "lower 3 dB point in the cabin"),
            ("lift_db", "lift by equalisers"),
            ("burst_gain_db", "a burst clips later by"),
        ],
    )
    figures = [
        Figure(
            key="levels",
            drawn=LaterDrawing(
                make=lambda: GainDrawing(nodes=result.nodes, noise_v=noise_v()).render(inline=True)
            ),
            caption="Sine in the middle of the band at the onset of clipping; down to the line filter's "
            "noise, 10 Hz to 20 kHz. The amplifier's own noise comes on top.",
            wide=True,
        ),
        Figure(
            key="air",
            drawn=LaterDrawing(
                make=lambda: AirDrawing(
                    nodes=result.air,
                    terminals_v=result.nodes[-1].level_v,
                    terminals_noise_v=noise_v().get(result.nodes[-1].name),
                ).render(inline=True)
            ),
            caption="Sine in the middle of the band at the onset of clipping; down to the line filter's own "
            "noise, 10 to 500 Hz. Displacement: room from the highest peak in the band to the linear limit.",
            wide=True,
        ),
        drawing(
            "chain",
            chain_plot(
                result.frequency_hz,
                result.spl_db,
                cabin_db=result.spl_cabin_db if design.cabin.kind == "cabin" else None,
                low_db=result.spl_low_db,
                high_db=result.spl_high_db,
                f3_hz=(result.f3_low_hz, result.f3_high_hz),
            ),
            "Loudest sine that clips nowhere, every input driven. Band: tolerance of the filter's parts.",
        ),
    ]
    peak = result.peak
    if peak is not None:
        figures.append(
            drawing(
                "output-filter",
                output_filter_plot(
                    peak.frequency_hz,
                    peak.driver_db,
                    peak.nominal_db,
                    peak.open_db,
                    limit_db=peak.limit_db,
                ),
                "A voice coil is an inductor at these frequencies.",
            )
        )

    def grids() -> tuple[Grid, ...]:
        nodes = Grid(
            title="Levels from the radio to the loudspeaker",
            header=("node", "level", "clips at, rms", "headroom", "noise"),
            rows=tuple(
                (
                    node.name,
                    show(node.level_v, "voltage"),
                    "" if node.limit_v is None else show(node.limit_v / 2**0.5, "voltage"),
                    "" if node.headroom_db is None else f"{node.headroom_db:.1f} dB",
                    show(noise_v()[node.name], "voltage") if node.name in noise_v() else "",
                )
                for node in result.nodes
            ),
            figures=frozenset({1, 2, 3, 4}),
        )
        powers = Grid(
            title="Power at the onset of clipping",
            header=("battery", "endless sine", f"burst, {result.crest_factor_db:g} dB crest factor"),
            rows=tuple(
                (str(corner.value), show(watts, "power"), show(result.burst_w[corner], "power"))
                for corner, watts in result.sine_w.items()
            ),
            figures=frozenset({1, 2}),
            note="The burst's figure holds while the reservoir capacitors hold the rails.",
        )
        return (nodes, _air(result.air), powers, *_knobs(design))

    sheet = sheet_of(design, "signal", "Signal", result, values=values, figures=tuple(figures))
    return replace(sheet, grids=Later(grids))


def _air(nodes: Sequence[AirNode]) -> Grid:
    """From the cone to the ear in numbers."""

    def told(node: AirNode, value: float, level: float) -> str:
        if node.unit == "Pa":
            return f"{level:.1f} dB SPL".replace("-", "\u2212")
        return show(value, "length" if node.unit == "m" else "speed")

    return Grid(
        title="From the cone to the ear",
        header=("place", "level", "at", "highest peak", "at", "headroom", "noise"),
        rows=tuple(
            (
                node.name,
                told(node, node.level, node.level_db),
                show(node.at_hz, "frequency"),
                "" if node.unit == "Pa" else told(node, node.peak, 0.0),
                show(node.peak_hz, "frequency"),
                "" if node.headroom_db is None else f"{node.headroom_db:.1f} dB".replace("-", "\u2212"),
                told(node, node.noise, node.noise_db)
                if node.unit == "Pa"
                else f"\u2212{node.over_noise_db:.0f} dB",
            )
            for node in nodes
        ),
        figures=frozenset({1, 2, 3, 4, 5, 6}),
        note="Noise: the line filter's own, 10 to 500 Hz, level control at its top. The amplifier's own "
        "noise, and what the radio and the grounds add, come on top.",
    )


def _knobs(design: Design) -> Iterator[Grid]:
    """What each potentiometer of the filter does, over its turn."""
    gain, sweep, phase = design.filter.gain_control, design.filter.sweep, design.filter.phase_control
    if gain is not None:
        yield Grid(
            title="Gain control",
            header=("turned up by", "input for full output"),
            rows=tuple(
                (f"{100 * turn:.0f} %", show(volts, "voltage"))
                for turn, volts in zip(gain.rotation, gain.sensitivity_v, strict=True)
            ),
            figures=frozenset({0, 1}),
            note=f"{gain.taper} track of {show(gain.pot_ohm, 'resistance')}, in series with "
            f"{show(gain.foot_ohm, 'resistance')}. Over the track's tolerance full output is certain from "
            f"{show(gain.reach_v, 'voltage')}.",
        )
    if sweep is not None:
        yield Grid(
            title="Corner control",
            header=("turned up by", "corner"),
            rows=tuple(
                (f"{100 * turn:.0f} %", show(hertz, "frequency"))
                for turn, hertz in zip(sweep.rotation, sweep.corner_hz, strict=True)
            ),
            figures=frozenset({0, 1}),
            note=f"{sweep.gangs} linear tracks of {show(sweep.pot_ohm, 'resistance')} on one shaft, each in "
            f"series "
            f"with {show(sweep.foot_ohm, 'resistance')}. Tracks {100 * sweep.tracking:.0f} % apart move the "
            f"corner "
            f"by up to {100 * sweep.tracking_share:.1f} % and the level there by {sweep.tracking_db:.1f} dB.",
        )
    if phase is not None:
        yield Grid(
            title="Phase control",
            header=("turned", "lag at the corner"),
            rows=(("down", f"{phase.least_deg:.0f}°"), ("up", f"{phase.most_deg:.0f}°")),
            figures=frozenset({1}),
            note=f"Linear track of {show(phase.pot_ohm, 'resistance')} in series with "
            f"{show(phase.foot_ohm, 'resistance')}, into {show(phase.capacitor_f, 'capacitance')}.",
        )
