"""The winding sheet as plain text, for the bench: what to cut, how to wind, what to measure afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill

from subwright.base.units import show
from subwright.outputs.tables import number, percent
from subwright.stages.common import Corner
from subwright.stages.transformer_records import PhasingCheck, TransformerResult, Winding, WindingStep

__all__ = ["capacitances", "check_rows", "laid", "passes", "step_rows", "winding_text"]

_WIDTH = 78


def _wrapped(words: str, indent: str = "", first: str = "") -> str:
    return fill(words, _WIDTH, initial_indent=first or indent, subsequent_indent=indent)


def step_rows(steps: tuple[WindingStep, ...]) -> tuple[tuple[str, ...], ...]:
    """Steps as table rows: number, action, winding, turns, wire, cut, start, finish."""
    return tuple(
        (
            str(step.number),
            step.action,
            str(step.turns) if step.turns else "",
            f"{step.strands} \u00d7 {step.wire_id}" if step.wire_id and step.strands else step.wire_id,
            f"{step.pieces} \u00d7 {show(step.cut_length_m, 'length')}" if step.pieces else "",
            " ".join(step.start_labels),
            " ".join(step.finish_labels),
        )
        for step in steps
    )


def check_rows(checks: tuple[PhasingCheck, ...]) -> tuple[tuple[str, ...], ...]:
    """Readings on the finished transformer as table rows: number, action, expected, passes, meaning."""
    return tuple(
        (
            str(check.number),
            check.action,
            number(check.expected, check.unit),
            passes(check),
            check.failure,
        )
        for check in checks
    )


def passes(check: PhasingCheck) -> str:
    """The range of readings that passes."""
    low = number(check.low, check.unit)
    return f"at least {low}" if check.high is None else f"{low} to {number(check.high, check.unit)}"


def winding_text(result: TransformerResult, *, name: str, stamp: str = "") -> str:
    """The sheet as text of at most 78 columns where words allow; ends in a line feed."""
    return "\n".join(_lines(result, name, stamp)) + "\n"


def _lines(result: TransformerResult, name: str, stamp: str) -> Iterator[str]:
    yield f"WINDING SHEET: {' '.join(name.split())}"
    if stamp:
        yield stamp
    yield ""
    yield from _facts(result)
    yield ""
    yield "WIND"
    for step in result.steps:
        lead = f"{step.number:>2}. "
        yield _wrapped(step.action, " " * len(lead), lead)
        for told in _told(step):
            yield _wrapped(told, " " * 8, " " * 6 + "- ")
    yield ""
    yield "MEASURE BEFORE IT MEETS A BATTERY"
    for check in result.checks:
        lead = f"{check.number:>2}. "
        yield _wrapped(check.action, " " * len(lead), lead)
        expected = number(check.expected, check.unit)
        yield _wrapped(f"{check.quantity}: {expected}; passes: {passes(check)}", " " * 8, " " * 6 + "- ")
        yield _wrapped(f"outside: {check.failure}", " " * 8, " " * 6 + "- ")


def _facts(result: TransformerResult) -> Iterator[str]:
    core = f"{result.core.id}, grade {result.material.id}"
    how = "stacked" if result.core.shape == "ring" else "sets side by side"
    rows = [("core", core + (f", {result.stack} {how}" if result.stack > 1 else ""))]
    for winding in result.windings:
        halves = f"{winding.halves} halves of " if winding.halves > 1 else ""
        pieces = winding.strands * winding.halves
        wire = f"{winding.strands} \u00d7 {winding.wire.id}{laid(result, winding)}"
        rows.append(
            (
                winding.name,
                f"{halves}{winding.turns} turns, {wire}",
            )
        )
        rows.append(
            (
                "",
                f"cut {pieces} piece{'s' if pieces > 1 else ''} to {show(winding.cut_length_m, 'length')}"
                + (f" by {show(winding.foil_width_m, 'length')}" if winding.foil_width_m > 0 else ""),
            )
        )
        if winding.name == "secondary" and result.tap_turns:
            rows.append(("", f"taps S5 and S6: {result.tap_turns} turns from the centre"))
    rows.append(
        ("tape", f"{show(result.tape_length_m, 'length')}, {show(result.tape_width_m, 'length')} wide")
    )
    rows.append(("copper share", f"{percent(result.fill)} of the window, limit {percent(result.fill_limit)}"))
    flux = result.flux_peak_t.get(Corner.MAX)
    if flux is not None:
        limit = show(result.flux_limit_t, "flux density")
        rows.append(("peak flux", f"{show(flux, 'flux density')} at the highest battery, limit {limit}"))
    leaks = (show(result.leakage_low_h, "inductance"), show(result.leakage_high_h, "inductance"))
    rows.append(
        (
            "leakage",
            f"{show(result.leakage_h, 'inductance')} at P1\u2013P2, {leaks[0]} to {leaks[1]}, leads in it",
        )
    )
    if result.auxiliary is not None:
        small = show(result.leakage_auxiliary_h, "inductance", 2)
        rows.append(("", f"{small} from the primary to the auxiliary winding"))
    rows.append(("capacitance", capacitances(result)))
    rows.append(
        ("finished size", f"{show(result.outer_m, 'length')} across, {show(result.height_m, 'length')} high")
    )
    for label, words in rows:
        yield f"{label:<14}{words}".rstrip()


def laid(result: TransformerResult, winding: Winding) -> str:
    """ ", twisted" or how else the strands lie; nothing for a single wire."""
    if winding.foil_width_m > 0:
        return ", foil on foil"
    return f", {result.lay}" if winding.strands * winding.halves > 1 else ""


def capacitances(result: TransformerResult) -> str:
    """Winding capacitances, one figure each: estimates of an order of magnitude print no more."""
    between = show(result.capacitance_f, "capacitance", 1)
    own = "next to nothing"
    if result.self_capacitance_f > 0:
        own = show(result.self_capacitance_f, "capacitance", 1)
    return f"about {between} primary to secondary, {own} across the secondary (order of magnitude)"


def _told(step: WindingStep) -> Iterator[str]:
    if not step.turns:
        return
    for word, labels in (("starts", step.start_labels), ("finishes", step.finish_labels)):
        if labels:
            yield f"{word}: {' '.join(labels)}"
    if step.dots:
        yield f"alike (dot): {' '.join(step.dots)}"
