"""What the converter's sheet tells beside its plain list: clamp, drive, rails, small rails, and the two "
"outputs."""

from __future__ import annotations

import numpy as np

from subwright.base.units import show
from subwright.build.result import Design, Finding
from subwright.outputs.sheet_parts import drawing
from subwright.outputs.svg import Axis, Limit, Plot, Series
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid
from subwright.stages.converter import ConverterResult

__all__ = ["drive_grid", "output_figure", "output_grid", "rail_grid", "switch_grid"]

_HEADER = ("what", "value", "of", "where")


def _found(design: Design, code: str) -> tuple[Finding, ...]:
    return tuple(finding for finding in design.findings if finding.code == code)


def _parallel(count: int) -> str:
    return f", {count} in parallel at each drain" if count > 1 else ""


def switch_grid(design: Design, result: ConverterResult) -> Grid:
    """Off-state stress, snubber, clamp, avalanche and rectifier."""
    snubber, mosfet = result.rectifier_snubber, result.plan.switch.mosfet
    rated = show(result.drain_limit_v, "voltage")
    rows: list[tuple[str, str, str, str]] = [
        ("drain peak", show(result.drain_peak_v, "voltage"), rated, "highest battery, crest of a full sine"),
        ("the same, nothing clamping", show(result.drain_ring_v, "voltage"), rated, "highest battery, crest"),
        (
            "snubber across each switch",
            f"{show(result.snubber_ohm, 'resistance')}, {show(result.snubber_f, 'capacitance')}",
            f"{show(result.snubber_w, 'power')} in all",
            "highest battery",
        ),
    ]
    clamp = result.clamp
    if clamp is not None:
        rows += [
            (
                "clamp diodes",
                f"{clamp.diode_packages} × {clamp.diode.id}{_parallel(clamp.diodes_each)}",
                f"{show(clamp.diode_peak_a, 'current')} of {show(clamp.diode_peak_limit_a, 'current')}",
                "each turn-off at the crest",
            ),
            (
                "clamp capacitor",
                show(clamp.capacitor_f, "capacitance"),
                f"{show(clamp.voltage_v, 'voltage')} of {show(clamp.capacitor_v, 'voltage')}",
                "film, at the drains",
            ),
            (
                "clamp resistor",
                show(clamp.resistor_ohm, "resistance"),
                f"{show(clamp.heat_w, 'power')} of {show(clamp.rating_w, 'power')}",
                f"full sine; {show(clamp.rest_w, 'power')} at rest",
            ),
            (
                "back to the battery",
                show(clamp.returned_w, "power"),
                f"{show(clamp.leakage_w, 'power')} of leakage at the crest",
                f"zeners would burn {show(clamp.zener_w, 'power')}",
            ),
        ]
    energy = _found(design, "CNV-05")
    rows += [
        (
            "one avalanche, if the clamp opens" if clamp is not None else "one avalanche",
            show(finding.value, "energy"),
            f"{show(finding.limit, 'energy')}, half of what {mosfet.id} stands",
            finding.quantity.partition("(")[2].rstrip(")"),
        )
        for finding in energy
    ]
    if not energy:
        rows.append(("avalanche", "none", rated, "the spike stays below the rating, clamped or not"))
    rows += [
        (
            "reverse voltage of a rectifier leg",
            show(result.reverse_peak_v, "voltage"),
            show(result.reverse_limit_v, "voltage"),
            "highest battery, ringing included",
        ),
        (
            "snubber across each half-secondary",
            f"{show(snubber.resistor_ohm, 'resistance')}, {show(snubber.capacitor_f, 'capacitance')}",
            f"{show(snubber.heat_w, 'power')} of {show(snubber.rating_w, 'power')}",
            f"rings at {show(snubber.ring_hz, 'frequency')}",
        ),
    ]
    return Grid(
        title="Switches and rectifier: what they see, and what holds it",
        header=_HEADER,
        rows=tuple(rows),
        figures=frozenset({1, 2}),
    )


def drive_grid(result: ConverterResult) -> Grid:
    """Gate drive, what feeds controller and gates, and the small rails."""
    drive, supply, gate, aux = result.drive, result.gate_supply, result.gate_transformer, result.auxiliary
    kinds = {
        "direct": "straight from the controller",
        "turn-off": "PNP that pulls each side down",
        "buffer": "complementary followers",
    }
    rows: list[tuple[str, str, str, str]] = [
        (
            "gate drive",
            kinds[drive.driver.kind],
            f"{show(drive.driver.peak_a, 'current')} peak",
            f"{show(drive.gate_v, 'voltage')} at the gates, nominal battery",
        ),
        (
            "gate resistor",
            show(drive.gate_ohm, "resistance"),
            f"{show(drive.turn_off_s, 'time')} to turn off",
            f"{show(drive.gate_w, 'power')} and {show(drive.supply_a, 'current')} for the whole drive",
        ),
    ]
    if gate is not None:
        rows.append(
            (
                "gate transformer",
                f"{gate.core.id}, five windings of {gate.turns} turns",
                f"{show(gate.flux_peak_t, 'flux density')} of {show(gate.flux_limit_t, 'flux density')}",
                f"upper switches float on it; magnetised by {show(gate.magnetising_a, 'current')} at the "
                f"peak, of which the supply gives {show(drive.magnetising_a, 'current')} on the mean",
            )
        )
    if supply is None:
        rows.append(("controller and gates", "on the battery", "", "through their own decoupling"))
    else:
        rows += [
            (
                "controller and gates",
                f"{supply.zener.id} and {supply.transistor.id}",
                f"{show(supply.output_v, 'voltage')}, {show(supply.load_a, 'current')}",
                f"{show(supply.dropout_low_v, 'voltage')} on a tired battery",
            ),
            (
                "series resistor of the zener",
                show(supply.series_ohm, "resistance"),
                show(supply.series_w, "power"),
                f"zener {show(supply.zener_w, 'power')}, highest battery",
            ),
            (
                "collector resistor",
                show(supply.collector_ohm, "resistance") if supply.collector_ohm else "none",
                show(supply.collector_w, "power") if supply.collector_ohm else "",
                f"transistor {show(supply.transistor_w, 'power')}, junction "
                f"{show(supply.transistor_c, 'temperature')}",
            ),
        ]
    small = show(aux.current_a, "current")
    window = f"{show(aux.low_v, 'voltage')} to {show(aux.high_v, 'voltage')}"
    if aux.turns:
        rows.append(
            (
                "small rails",
                f"winding of 2 × {aux.turns} turns, {show(aux.reservoir_f, 'capacitance')} each",
                f"{window}, {small} each",
                f"{show(aux.heat_w, 'power')} in the regulators; from the rails it would be "
                f"{show(aux.other_heat_w, 'power')}",
            )
        )
    else:
        rows.append(
            (
                "small rails",
                "regulators on the main rails",
                f"{window}, {small} each",
                f"{show(aux.heat_w, 'power')} in the regulators; a winding would leave "
                f"{show(aux.other_heat_w, 'power')}",
            )
        )
    return Grid(title="Drive, and what feeds it", header=_HEADER, rows=tuple(rows), figures=frozenset({2}))


def rail_grid(design: Design, result: ConverterResult) -> Grid:
    """Output choke, ripple at both frequencies, pumping, life of the cans."""
    bank, amplifier, output = result.reservoir_bank, design.amplifier, result.choke
    rows: list[tuple[str, str, str, str]] = []
    if output is not None:
        choke = output.choke
        rows += [
            (
                "output choke",
                f"{choke.core.id}, {choke.windings} × {choke.turns} turns of {choke.strands} × "
                f"{choke.wire.id}",
                f"{show(choke.inductance_h, 'inductance')} each",
                f"{choke.how}, cut {show(choke.wire_length_m, 'length')}",
            ),
            (
                "its flux density",
                show(choke.flux_peak_t, "flux density"),
                show(choke.flux_limit_t, "flux density"),
                f"ripple {show(output.ripple_a, 'current')}; gaps below {show(output.critical_a, 'current')}",
            ),
            (
                "rail held at",
                show(output.set_v, "voltage"),
                f"from {show(output.holds_from_v, 'voltage')} of battery",
                f"divider {show(output.feedback_top_ohm, 'resistance')} over "
                f"{show(output.feedback_bottom_ohm, 'resistance')}",
            ),
            (
                "conducting share, crest",
                percent(output.share_nominal, 1),
                percent(output.share_most, 1),
                "nominal battery; the rest is dead time and commutation",
            ),
        ]
    rows += [
        (
            "ripple at the switching frequency",
            show(result.reservoir_ripple_v, "voltage"),
            f"{show(result.reservoir_ripple_a, 'current')} of {show(bank.ripple_limit_a, 'current')}",
            f"{show(bank.capacitance_f, 'capacitance')} for "
            f"{show(result.reservoir_needed_f, 'capacitance')} needed",
        ),
        (
            "ripple at twice the lowest note",
            show(result.bass_ripple_v, "voltage"),
            percent(result.bass_ripple_v / result.plan.rail_v) if result.bass_ripple_v else "held",
            "full sine: battery, cable and converter sag with each crest",
        ),
    ]
    if amplifier.pumping_v is not None and amplifier.pumping_limit_v is not None:
        needed = amplifier.rail_capacitance_needed_f
        rows.append(
            (
                "pumping at the lowest note",
                show(amplifier.pumping_v, "voltage"),
                show(amplifier.pumping_limit_v, "voltage"),
                "half-bridge pushes current back into the idle rail"
                + (f"; {show(needed, 'capacitance')} keep it inside" if needed else ""),
            )
        )
    rows += [
        (
            finding.quantity.partition(",")[0],
            show(finding.value, finding.dimension),
            f"at least {show(finding.limit, finding.dimension)}",
            "three hours a day of programme in the hottest air",
        )
        for finding in _found(design, "CNV-21")
    ]
    rows.append(
        (
            "bleeder",
            show(result.bleeder_ohm, "resistance"),
            f"below 5 V after {show(result.bleeder_s, 'time')}",
            "wait that long before touching a rail",
        )
    )
    return Grid(title="Rails", header=_HEADER, rows=tuple(rows), figures=frozenset({2}))


def output_grid(result: ConverterResult) -> Grid:
    """Peak-charged against regulated: regulation, limits, and which fits."""
    return Grid(
        title="Which output fits, and why",
        header=("output", "fits", "taken", "ratio", "line", "load", "why"),
        rows=tuple(
            (
                fit.output,
                "yes" if fit.fits else "no",
                "taken" if fit.chosen else "",
                f"{fit.ratio:.3g}",
                percent(fit.line),
                percent(fit.load),
                fit.why,
            )
            for fit in result.outputs
        ),
        figures=frozenset({3, 4, 5}),
        note="Line: change of the unloaded rail from the low to the highest battery. Load: drop from "
        "unloaded to the crest, nominal battery. Both outputs by the same closed form without leakage; the "
        "rails of this build are solved in full above.",
    )


def output_figure(result: ConverterResult) -> Figure | None:
    """One rail against the battery for both outputs."""
    if not result.outputs:
        return None
    series = []
    for fit in result.outputs:
        battery_v = np.array(fit.battery_v)
        name = fit.output if fit.chosen else f"{fit.output} instead"
        series += [
            Series(label=f"{name}, idle", x=battery_v, y=np.array(fit.idle_v), style="dashed", near=0.9),
            Series(label=f"{name}, crest", x=battery_v, y=np.array(fit.full_v), near=0.2),
        ]
    limit = result.outputs[0].open_limit_v
    plot = Plot(
        title="One rail, peak-charged and regulated",
        x=Axis(label="battery at rest", unit="V"),
        y=Axis(label="one rail", unit="V"),
        series=series,
        limits=[Limit(label=f"stands {show(limit, 'voltage')}", value=limit)],
    )
    return drawing(
        "output-compared", plot, "Closed forms without leakage, idle and at the crest of a full sine."
    )
