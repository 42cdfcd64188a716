"""The pack's page on simulation: each quantity by its closed form and as simulated, or what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final, Literal

from subwright import __version__
from subwright.base.quantities import QUANTITIES, UNITS
from subwright.base.units import show
from subwright.build.experiments import all_experiments
from subwright.build.experiments.record import Check
from subwright.build.result import Design
from subwright.outputs.csvfile import table
from subwright.outputs.print_code import design_code
from subwright.outputs.verified import Saved, SavedDesign, results_of
from subwright.outputs.views import Grid, Sheet
from subwright.parts.library import Library

__all__ = [
    "CHECKED_HEADER",
    "checked_csv",
    "checked_sheet",
    "difference_text",
    "limit_text",
    "state_of",
    "value_text",
]

State = Literal["not run", "run on another version", "run in part", "run"]

_DIGITS: Final = 4
_DIMENSION: Final = {unit: name for name, unit in reversed(list(UNITS.items())) if unit}
_COLUMNS: Final = ("quantity", "closed form", "simulated", "difference", "limit", "holds", "engine")
CHECKED_HEADER: Final = ("block", "experiment", "case", *_COLUMNS)


def value_text(value: float, unit: str) -> str:
    """A compared value with its unit, four digits.

    >>> value_text(0.0123456, "V"), value_text(-90.0, "°"), value_text(0.5, "")
    ('12.35 mV', '−90.00°', '0.5000')
    """
    if not unit:
        text = show(value, "ratio", _DIGITS)
    else:
        dimension = _DIMENSION.get(unit)
        text = show(value, dimension, _DIGITS) if dimension else f"{show(value, 'ratio', _DIGITS)} {unit}"
    return text.replace("-", "\u2212", 1) if text.startswith("-") else text


def _change(value: float, unit: str, least: float) -> str:
    """A difference in its unit with its sign; below what the limit can show it is 0."""
    if abs(value) < least:
        return f"< {_plain(least, unit)}"
    return ("+" if value > 0 else "\u2212") + _plain(abs(value), unit)


def _plain(value: float, unit: str) -> str:
    dimension = _DIMENSION.get(unit)
    stretched = dimension is not None and QUANTITIES[dimension].decimals is not None
    if dimension is not None and not stretched:
        return show(value, dimension, 2)
    text = f"{value:.2g}" if value < 10.0 else f"{value:.0f}"
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}".strip()


def difference_text(check: Check) -> str:
    """Simulated less closed form: in per cent of it, or in its unit; "< …" below a hundredth of the limit.

    >>> difference_text(
    ...     Check(quantity="rail", closed=30.0, simulated=30.3, unit="V", limit=0.02, absolute=False))
    '+1 %'
    """
    if check.absolute:
        return _change(check.difference, check.unit, 1e-2 * check.limit)
    return _change(100.0 * check.difference, "%", check.limit)


def limit_text(check: Check) -> str:
    """The largest difference allowed, as ``difference_text`` prints one."""
    if check.absolute:
        return _plain(check.limit, check.unit)
    return _plain(100.0 * check.limit, "%")


def state_of(
    design: Design, library: Library, designs: Sequence[SavedDesign]
) -> tuple[State, tuple[Saved, ...], tuple[str, ...]]:
    """Whether a design was checked, the results that count, and the experiments that have none.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. designs : everything saved.
    """
    results = results_of(designs, design_code(design))
    done = {(one.experiment, one.case) for one in results}
    missing = []
    for experiment in all_experiments():
        cases = experiment.cases(design, library)
        left = [case.name for case in cases if (experiment.name, case.name) not in done]
        if left:
            named = "" if len(left) == len(cases) else f": {', '.join(name for name in left if name)}"
            missing.append(experiment.name + named)
    if results:
        return ("run in part" if missing else "run"), results, tuple(missing)
    return ("run on another version" if designs else "not run"), (), tuple(missing)


def _lead(state: State, results: Sequence[Saved]) -> str:
    checks = [check for one in results for check in one.checks]
    broken = sum(1 for check in checks if not check.holds)
    match state:
        case "not run":
            return (
                "NOT RUN. No experiment was simulated on this design: its circuits rest on the closed forms "
                "alone. To check them: subwright verify BUILD"
            )
        case "run on another version":
            return (
                "RUN ON ANOTHER VERSION OF THIS DESIGN only: what was found there says nothing sure of this "
                "one. To check it: subwright verify BUILD"
            )
        case _:
            told = "all hold" if not broken else f"{broken} BREAK THEIR LIMIT"
            part = "" if state == "run" else " Some experiments were not run on this design; they are listed."
            return (
                "Each quantity twice: by the closed form that the design rests on, and simulated on the "
                f"circuit as drawn. {len(checks)} comparisons, {told}.{part}"
            )


def checked_sheet(design: Design, library: Library, designs: Sequence[SavedDesign]) -> Sheet:
    """The page "Checked by simulation", one table an experiment.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged. designs : everything saved.
    """
    state, results, missing = state_of(design, library, designs)
    grids = [_grid(name, rows) for name, rows in _by_experiment(results).items()]
    if missing and state != "not run":
        grids.append(
            Grid(title="Not run on this design", header=("experiment",), rows=tuple((n,) for n in missing))
        )
    code = design_code(design)
    return Sheet(
        key="checked",
        title="Checked by simulation",
        lead=_lead(state, results),
        values=(("design", code), ("version", __version__), ("state", state)),
        grids=tuple(grids),
    )


def _by_experiment(results: Iterable[Saved]) -> Mapping[str, list[Saved]]:
    """In the order of the experiments; what this version doesn't know comes last."""
    order = [experiment.name for experiment in all_experiments()]
    found: dict[str, list[Saved]] = {name: [] for name in order}
    for one in results:
        found.setdefault(one.experiment, []).append(one)
    return {name: sorted(rows, key=lambda one: one.engine) for name, rows in found.items() if rows}


def _cells(one: Saved, check: Check) -> tuple[str, ...]:
    return (
        check.quantity,
        value_text(check.closed, check.unit),
        value_text(check.simulated, check.unit),
        difference_text(check),
        limit_text(check),
        "yes" if check.holds else "NO",
        one.engine,
    )


def _grid(name: str, rows: Sequence[Saved]) -> Grid:
    known = {experiment.name: experiment for experiment in all_experiments()}
    experiment = known.get(name)
    with_case = any(one.case for one in rows)
    header = ("case", *_COLUMNS) if with_case else _COLUMNS
    engines: dict[tuple[str, ...], list[str]] = {}  # of rows that read alike
    for case in dict.fromkeys(one.case for one in rows):
        for one in rows:
            for check in one.checks if one.case == case else ():
                *read, engine = _cells(one, check)
                engines.setdefault((*((case,) if with_case else ()), *read), []).append(engine)
    cells = [(*read, " and ".join(found)) for read, found in engines.items()]
    shift = 1 if with_case else 0
    return Grid(
        title=experiment.title if experiment else name,
        header=header,
        rows=tuple(cells),
        figures=frozenset(k + shift for k in (1, 2, 3, 4)),
        note=f"{name}. {experiment.about}" if experiment else name,
    )


def checked_csv(results: Iterable[Saved]) -> str:
    """Every comparison as a table; header only where nothing was run."""
    rows = [
        (one.block, one.experiment, one.case, *_cells(one, check))
        for name in _by_experiment(results).values()
        for one in name
        for check in one.checks
    ]
    return table(CHECKED_HEADER, rows)
