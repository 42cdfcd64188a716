"""What the amplifier's sheet shows of a class-D modulator: figures and their windows, delays, heat."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.units import show
from subwright.build.modulator_course import clocked_course, frequency_over_modulation
from subwright.build.result import Design
from subwright.outputs.plots_modulator import carrier_plot, frequency_plot
from subwright.outputs.sheet_parts import drawing
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid
from subwright.stages.amplifier_modulator_records import Modulator

__all__ = ["modulator_figures", "modulator_grids"]

_SHOWN: Final = 0.5  # modulation of the plotted course


def modulator_figures(design: Design) -> Iterator[Figure]:
    """What the comparator of a clocked loop sees, or how a self-oscillating one slows; else nothing."""
    found = design.amplifier.modulator
    if found is None:
        return
    if found.clocked:
        course = clocked_course(found, _SHOWN)
        caption = f"Modulation {percent(course.modulation)}, nominal rail, delays left out."
        yield drawing("modulator", carrier_plot(course), caption)
    else:
        plot = frequency_plot(*frequency_over_modulation(found))
        yield drawing("modulator", plot, "Closed form with delays, without the load's current.")


def modulator_grids(design: Design) -> Iterator[Grid]:
    """Loop, clock, dead time, driver and delays of a class-D stage; nothing for other kinds."""
    found = design.amplifier.modulator
    if found is None:
        return
    yield Grid(
        title=f"Modulator, {found.form}",
        header=("what", "value", "from", "to"),
        rows=tuple(_rows(found, design.goal.lowest_note_hz)),
        figures=frozenset({1, 2, 3}),
        note="Windows: every part at its limit, the integrated circuits at those of their data.",
    )
    yield Grid(
        title="From the comparator's crossing to the switched node",
        header=("delay of", "takes"),
        rows=(
            *((name, show(value, "time")) for name, value in found.delays_s.items()),
            ("all together", show(found.delay_s, "time")),
        ),
        figures=frozenset({1}),
    )
    yield Grid(
        title="Warm parts of the modulator, at the highest rail",
        header=("part", "heat"),
        rows=tuple((name, show(watts, "power")) for name, watts in found.heat_w.items()),
        figures=frozenset({1}),
        note="Of several in one role, each.",
    )


def _rows(m: Modulator, note_hz: float) -> Iterator[tuple[str, str, str, str]]:
    def row(
        what: str, value: float, dimension: str, span: tuple[float, float] | None = None
    ) -> tuple[str, str, str, str]:
        ends = ("", "") if span is None else (show(span[0], dimension), show(span[1], dimension))
        return (what, show(value, dimension), *ends)

    yield row("switching frequency at rest", m.switching_hz, "frequency", m.switching_window_hz)
    yield row("dead time, gate to gate", m.dead_time_s, "time", m.dead_time_window_s)
    yield row("shortest pulse of a switched node", m.pulse_least_s, "time")
    yield ("modulation that it leaves", percent(m.modulation_reach), "", "")
    yield row("loop's bandwidth", m.loop_hz, "frequency")
    for hertz, db in zip((note_hz, 100.0), m.suppression_db, strict=True):
        yield (f"errors of the output stage at {show(hertz, 'frequency')}", f"\u2212{db:.0f} dB", "", "")
    yield ("gain to the load", f"{m.gain:.3g}", "", f"asked for {m.gain_wanted:.3g}")
    yield row("steady voltage at the load, at most", m.offset_v, "voltage", (0.0, m.offset_limit_v))
    if m.clocked:
        yield row("carrier, lower turning point", m.clock_low_v, "voltage")
        yield row("carrier, upper turning point", m.clock_high_v, "voltage")
    else:
        yield (
            "hysteresis, integrator's threshold over half the swing of the nodes",
            percent(m.hysteresis),
            "",
            "",
        )
    yield row("drivers' supply", m.gate_supply_v, "voltage")
    yield row("the same at the lowest rail", m.gate_supply_low_v, "voltage")
    yield row("drivers lock out below, at most", m.lockout_v, "voltage")
    yield row("bootstrap capacitor's voltage", m.bootstrap_v, "voltage")
    yield (
        "it may fall by, in the longest pulse",
        show(m.hold_drop_v, "voltage"),
        "",
        f"held {show(m.hold_s, 'time')}",
    )
    yield row("gate current at the switches' plateau", m.gate_current_a, "current")
    yield row("drivers and logic draw", m.driver_supply_a, "current")
