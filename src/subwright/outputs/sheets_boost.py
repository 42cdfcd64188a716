"""Sheet of the boost converter, and the table that says which topology fits."""

from __future__ import annotations

from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.topology import topology_fits
from subwright.outputs.cautions import before_connecting_a_rail
from subwright.outputs.plots import rail_load_plot, rail_plot
from subwright.outputs.sheet_parts import CORNER, LEVEL, Entry, drawing, sheet_of, shown
from subwright.outputs.tables import percent
from subwright.outputs.views import Grid, Sheet
from subwright.stages.common import Corner, Level
from subwright.stages.converter_boost_records import BoostResult

__all__ = ["boost_sheet", "topology_grid"]


def topology_grid(design: Design) -> Grid:
    """Every topology, whether it fits this build, and why."""
    return Grid(
        title="Which topology fits, and why",
        header=("topology", "fits", "taken", "why"),
        rows=tuple(
            (fit.topology, "yes" if fit.fits else "no", "taken" if fit.chosen else "", fit.why)
            for fit in topology_fits(design)
        ),
        figures=frozenset(),
        note="Limits are common practice; the figures are this build's own.",
    )


def boost_sheet(design: Design) -> Sheet | None:
    """Rail, choke, switch, rectifier, capacitors and control; None without a boost converter."""
    result = design.boost
    if result is None:
        return None
    plan, choke = result.plan, result.plan.choke
    values: list[Entry] = [
        ("topology", "boost, one raised rail, not isolated"),
        ("raised rail", show(result.set_v, "voltage")),
        ("its window", f"{show(result.rail_low_v, 'voltage')} to {show(result.rail_high_v, 'voltage')}"),
        *shown(
            result,
            [
                ("plan.controller.id", "controller"),
                ("plan.timing.switching_hz", "switching frequency"),
                ("plan.timing.rt_ohm", "timing resistor"),
                ("plan.timing.ct_f", "timing capacitor"),
                ("plan.timing.soft_start_f", "soft-start capacitor"),
                ("plan.timing.soft_start_s", "soft start"),
            ],
        ),
        ("greatest duty", percent(plan.timing.duty_most, 1)),
        ("switches", f"{plan.switch.per_side} \u00d7 {plan.switch.mosfet.id}"),
        ("rectifier", f"{plan.diode.packages} \u00d7 {plan.diode.rectifier.id}"),
        ("choke", f"{choke.core.id}, {choke.turns} turns of {choke.strands} \u00d7 {choke.wire.id}"),
        *shown(
            result,
            [
                ("plan.choke.inductance_h", "its inductance"),
                ("plan.choke.gap_m", "gap in the centre leg"),
                ("plan.choke.wire_length_m", "cut each strand to"),
                ("plan.choke.saturation_a", "saturates at, hot"),
            ],
        ),
        ("copper in the window", percent(choke.fill)),
        ("input capacitors", f"{plan.input_bank.count} \u00d7 {plan.input_bank.capacitor.id}"),
        ("rail capacitors", f"{plan.rail_bank.count} \u00d7 {plan.rail_bank.capacitor.id}"),
        *shown(
            result,
            [
                ("plan.divider.top_ohm", "feedback divider, top"),
                ("plan.divider.bottom_ohm", "feedback divider, bottom"),
                ("loop.series_ohm", "compensation resistor"),
                ("loop.series_f", "compensation capacitor"),
                ("loop.across_f", "compensation capacitor, fast"),
                ("plan.sense.burden_ohm", "current sense burden"),
                ("plan.sense.slope_ohm", "slope resistor"),
                ("plan.sense.limit_least_a", "current limit, least"),
                ("plan.sense.limit_most_a", "current limit, most"),
                ("plan.guard.least_v", "second stop, least"),
                ("plan.guard.most_v", "second stop, most"),
                ("loop.crossover_hz", "loop's highest crossover"),
                ("loop.zero_hz", "right-half-plane zero, lowest"),
            ],
        ),
        ("phase margin, least", f"{result.loop.phase_margin_deg:.0f}\u00b0"),
        *shown(
            result,
            [
                ("bass_ripple_v", "rail at twice the worst note, peak"),
                ("rail_ripple_v", "rail at the switching frequency"),
                ("holds_from_v", "holds down to a battery of"),
                ("plan.snubber_ohm", "snubber resistor"),
                ("plan.snubber_f", "snubber capacitor"),
                ("plan.drive.gate_ohm", "gate resistor"),
                ("plan.bleeder_ohm", "rail bleeder"),
                ("bleeder_s", "rail below 5 V after, fuse out"),
                ("precharge.resistor_ohm", "pre-charge resistor"),
                ("precharge.wait_s", "charge through it for"),
            ],
        ),
        ("efficiency, full sine", percent(result.efficiency[Corner.NOMINAL], 1)),
    ]
    sweeps = design.sweeps
    figures = (
        drawing(
            "rail-against-battery",
            rail_plot(
                sweeps.battery_v,
                sweeps.rail_full_v,
                sweeps.rail_idle_v,
                limit_v=plan.guard.least_v,
                needed_v=design.amplifier.rail_needed_v,
            ),
            "The raised rail. Limit: where the second stop acts.",
        ),
        drawing(
            "rail-against-load",
            rail_load_plot(sweeps.load_w, sweeps.load_rail_v, needed_v=design.amplifier.rail_needed_v),
            "The rail at the crest of the sine, nominal battery, the loop taken as still.",
        ),
    )
    sheet = sheet_of(design, "boost", "Boost converter", result, values=values, figures=figures)
    return replace(
        sheet,
        grids=(topology_grid(design), _crests(result), _loops(result), _heat(result)),
        cautions=(
            before_connecting_a_rail(
                peak=show(result.precharge.plain_peak_a, "current"),
                resistor=show(result.precharge.resistor_ohm, "resistance"),
                wait=show(result.precharge.wait_s, "time"),
            ),
        ),
    )


def _crests(result: BoostResult) -> Grid:
    return Grid(
        title="Crest of a full sine",
        header=(
            "battery",
            "at the unit",
            "rail",
            "duty",
            "choke",
            "ripple",
            "peak",
            "least limit",
            "switch, rms",
            "diode, rms",
            "zero",
        ),
        rows=tuple(
            (
                CORNER[at.corner],
                show(at.terminal_v, "voltage"),
                show(at.rail_v, "voltage"),
                f"{at.duty:.3f}",
                show(at.choke_a, "current"),
                show(at.ripple_a, "current"),
                show(at.peak_a, "current"),
                show(at.limit_a, "current"),
                show(at.switch_rms_a, "current"),
                show(at.diode_rms_a, "current"),
                show(at.zero_hz, "frequency"),
            )
            for at in result.corners
        ),
        figures=frozenset(range(1, 11)),
        note="Over one switching cycle. Zero: the right-half-plane zero, above which more duty first lowers "
        "the rail.",
    )


def _loops(result: BoostResult) -> Grid:
    return Grid(
        title="The rail's loop",
        header=("operating point", "crossover", "phase margin", "gain margin"),
        rows=tuple(
            (
                name,
                show(at.crossover_hz, "frequency"),
                f"{at.phase_margin_deg:.0f}\u00b0",
                "ample" if at.gain_margin_db is None else f"{at.gain_margin_db:.0f} dB",
            )
            for name, at in result.loop.figures.items()
        ),
        figures=frozenset({1, 2, 3}),
        note="Load of constant power unless it says otherwise; from the parts as they are, peak current "
        "control "
        "with its sampling counted.",
    )


def _heat(result: BoostResult) -> Grid:
    return Grid(
        title="The choke's heat",
        header=("level", "loss", "temperature, hottest air"),
        rows=tuple(
            (LEVEL[level], show(result.choke_w[level], "power"), show(result.choke_c[level], "temperature"))
            for level in Level
            if level in result.choke_w
        ),
        figures=frozenset({1, 2}),
        note="Hardest battery, severest of the published rules. Bias raises a ferrite's loss by an amount "
        "that "
        "no data here state: feel it at bring-up.",
    )
