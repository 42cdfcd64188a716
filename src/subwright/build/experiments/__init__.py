"""Named experiments on a design's own circuits: simulated, and set beside the closed forms.

An experiment is a plain value with a name, the block it tries and a function that tells which cases of it a
design has; a case knows how to run itself. Whoever runs it chooses the engine; nothing here knows a front
end.

There is nothing to register: every module of this package is an area, and holds one ``EXPERIMENT`` or a tuple
``EXPERIMENTS``. They are loaded when somebody first asks for ``EXPERIMENTS``.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from subwright.base.errors import SubwrightError
from subwright.build.experiments.record import BLOCKS, Case, Check, Experiment, Outcome

__all__ = ["BLOCKS", "Case", "Check", "Experiment", "Outcome", "all_experiments", "experiment_named"]

_NO_AREAS = ("record",)


@cache
def all_experiments() -> tuple[Experiment, ...]:
    """Every experiment, in the order of the blocks from battery to air, then by name.

    Raises
    ------
    SubwrightError : two experiments share a name, or an area holds none.
    """
    found: dict[str, Experiment] = {}
    for module in iter_modules(__path__):
        if module.name in _NO_AREAS:
            continue
        for experiment in _of(import_module(f"{__name__}.{module.name}")):
            if experiment.name in found:
                raise SubwrightError(message=f"Two experiments are named '{experiment.name}'.")
            found[experiment.name] = experiment
    return tuple(sorted(found.values(), key=lambda one: (_rank(one.block), one.name)))


def _rank(block: str) -> int:
    return BLOCKS.index(block) if block in BLOCKS else len(BLOCKS)


def _of(area: Any) -> tuple[Experiment, ...]:
    single = getattr(area, "EXPERIMENT", None)
    found: tuple[Experiment, ...] = getattr(area, "EXPERIMENTS", () if single is None else (single,))
    if not found:
        raise SubwrightError(
            message=f"The module {area.__name__} holds no experiment.",
            remedy="Give it EXPERIMENT or EXPERIMENTS, or keep helpers elsewhere.",
        )
    return found


def experiment_named(name: str) -> Experiment:
    """An experiment by its name.

    Raises
    ------
    SubwrightError : there is none of that name.
    """
    for experiment in all_experiments():
        if experiment.name == name:
            return experiment
    raise SubwrightError(
        message="There is no such experiment.",
        quantity="experiment",
        value=name,
        limit=", ".join(experiment.name for experiment in all_experiments()),
    )


def __getattr__(name: str) -> tuple[Experiment, ...]:
    if name == "EXPERIMENTS":
        return all_experiments()
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
