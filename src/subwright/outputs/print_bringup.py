"""The first power-up on paper: as plain text for the bench, and as rows for the page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from textwrap import fill

from subwright.base.units import show
from subwright.build.bringup_records import BringUp, Discharge, Reading, Step
from subwright.outputs.views import Caution, Grid, PackView

__all__ = [
    "bringup_text",
    "discharge_text",
    "reading_cells",
    "step_cautions",
    "step_grids",
    "supply_text",
    "window_text",
]

_WIDTH = 96
_RULE = "-" * _WIDTH


def _cell(value: float, dimension: str) -> str:
    return show(value, dimension, 4)


def window_text(reading: Reading) -> str:
    """The window of a reading: "10.10 V to 10.89 V", or "1.000 MΩ or more"."""
    low = _cell(reading.low, reading.dimension)
    if reading.high is None:
        return f"{low} or more"
    return f"{low} to {_cell(reading.high, reading.dimension)}"


def reading_cells(reading: Reading) -> tuple[str, str, str, str, str]:
    """Name, where, expected, window and basis of a reading."""
    expected = "" if reading.high is None else _cell(reading.expected, reading.dimension)
    basis = f"{reading.basis} (common practice, no source)" if reading.customary else reading.basis
    return reading.name, reading.where, expected, window_text(reading), basis


def supply_text(step: Step) -> str:
    """The supply's setting in one line; "" where the step needs none."""
    if step.supply is None:
        return ""
    return f"{show(step.supply.voltage_v, 'voltage')}, limit {show(step.supply.limit_a, 'current')}"


def discharge_text(bank: Discharge) -> str:
    """How one bank is emptied, in one sentence."""
    alone = (
        "it has no bleeder of its own"
        if bank.alone_s is None
        else f"its bleeder alone needs {show(bank.alone_s, 'time', 2)}"
    )
    return (
        f"{bank.bank[:1].upper()}{bank.bank[1:]}, up to {show(bank.capacitance_f, 'capacitance')} at "
        f"{show(bank.from_v, 'voltage')}: hold {show(bank.resistor_ohm, 'resistance')}, wirewound, "
        f"{_watts(bank)} or more, across it for {max(2.0 * bank.held_s, 5.0):.0f} s "
        f"({show(bank.held_s, 'time', 2)} to {show(bank.to_v, 'voltage')}; "
        f"{show(bank.energy_j, 'energy', 2)} goes into it), then measure; {alone}."
    )


def _watts(bank: Discharge) -> str:
    # a wirewound part stands five times its rating for five seconds; common practice
    need = bank.pulse_w / 5.0
    return f"{next((size for size in (1, 2, 5, 10, 25, 50) if size >= need), 100)} W"


def _wrapped(words: str, first: str, rest: str) -> str:
    return fill(words, _WIDTH, initial_indent=first, subsequent_indent=rest)


def _step(step: Step, cautions: tuple[Caution, ...]) -> Iterator[str]:
    yield ""
    yield _RULE
    yield f"STEP {step.number}  {step.title.upper()}"
    yield _RULE
    for name, words in (
        ("fitted", "; ".join(step.fitted)),
        ("not yet", "; ".join(step.absent)),
        ("link", step.links),
        ("supply", supply_text(step)),
        ("load", step.load),
    ):
        if words:
            yield _wrapped(words, f"{name:<9}", " " * 9)
    for caution in cautions:
        yield ""
        yield f"BEFORE {caution.before.upper()}"
        for point in caution.points:
            yield _wrapped(point, "  ! ", "    ")
    yield ""
    for number, action in enumerate(step.actions, 1):
        yield _wrapped(action, f"{number:>2}. ", "    ")
    if step.readings:
        yield ""
        yield "MEASURE"
    for reading in step.readings:
        name, where, expected, window, basis = reading_cells(reading)
        yield _wrapped(f"{name} [{reading.key}]", "  ", "    ")
        yield _wrapped(where, "      at    ", " " * 12)
        yield f"      want  {expected + ', ' if expected else ''}{window}     read: ____________"
        yield _wrapped(basis, "      why   ", " " * 12)
    yield ""
    yield "IF IT IS WRONG"
    for cause in step.causes:
        yield _wrapped(f"{cause.sign}: {cause.cause}. Then: {cause.remedy}.", "  - ", "    ")
    yield ""
    yield "SWITCH OFF AT ONCE IF"
    for stop in step.stops:
        yield _wrapped(stop, "  ! ", "    ")


def step_cautions(view: PackView, procedure: BringUp) -> Mapping[str, tuple[Caution, ...]]:
    """The pack's cautions by the step before which they belong."""
    by_words = {caution.before: caution for sheet in view.sheets for caution in sheet.cautions}
    by_words |= {caution.before: caution for caution in view.closing}
    wanted = {
        next((step.key for step in procedure.steps if step.supply is not None), ""): (
            "you switch on for the first time",
        ),
        "first-sound": ("you connect the battery", "you turn it up"),
        "soak": ("you touch or cover the heatsink", "you drive with it"),
    }
    return {
        key: tuple(by_words[words] for words in befores if words in by_words)
        for key, befores in wanted.items()
    }


def step_grids(procedure: BringUp) -> tuple[Grid, ...]:
    """A table of readings for each step, for the page."""
    return tuple(
        Grid(
            title=f"{step.number}. {step.title}",
            header=("measure", "where", "expected", "window"),
            rows=tuple(reading_cells(reading)[:4] for reading in step.readings),
            figures=frozenset({2, 3}),
            note=", ".join(words for words in (supply_text(step), step.load) if words),
        )
        for step in procedure.steps
    )


def bringup_text(procedure: BringUp, view: PackView) -> str:
    """The whole procedure as plain text; the stamp is repeated at its head while a stop stands."""
    lines = [f"FIRST POWER-UP: {procedure.name}"]
    if view.stamp:
        lines.append(view.stamp)
    lines += [
        "",
        _wrapped(
            "One step after the other. The next step begins only when every reading of this one lies in its "
            "window. Write the readings down, or enter them: subwright bench add FILE KEY=VALUE.",
            "",
            "",
        ),
    ]
    if procedure.discharges:
        lines += ["", "DISCHARGE, AFTER EACH SWITCHING OFF AND BEFORE THE HAND GOES IN"]
        lines += [_wrapped(discharge_text(bank), "  - ", "    ") for bank in procedure.discharges]
    cautions = step_cautions(view, procedure)
    for step in procedure.steps:
        lines += _step(step, cautions.get(step.key, ()))
    return "\n".join(lines) + "\n"
