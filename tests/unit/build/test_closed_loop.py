"""Asking a simulator about the closed loop: once more with finer steps, and no more than that."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from subwright.base.errors import SubwrightError
from subwright.build.closed_loop import ask
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Circuit, Part, Steady
from subwright.circuits.simulate import CancelledError, Traces
from subwright.circuits.spice_text import Deck

RUN = Transient(stop_s=1e-3, step_s=1e-5, accuracy=3e-3)
CIRCUIT = Circuit(
    name="a resistor",
    parts=(
        Part(
            designator="BENCH_V",
            kind="voltage source",
            nets=("a", "0"),
            value=Steady(value=1.0),
            standing="bench",
        ),
        Part(designator="BENCH_R", kind="resistor", nets=("a", "0"), value=1.0, standing="bench"),
    ),
)


@dataclass
class Stubborn:
    """Refuses so many times, then answers."""

    refusals: int
    error: type[SubwrightError] = SubwrightError
    absent: str = ""
    asked: list[Deck] = field(default_factory=list)
    name: str = "stubborn"

    def missing(self) -> str:
        return self.absent

    def run(self, what: Deck, timeout_s: float) -> Traces:
        self.asked.append(what)
        if len(self.asked) <= self.refusals:
            raise self.error(message="no answer to trust")
        axis = np.array([0.0, 1e-3])
        return Traces(engine=self.name, axis=axis, values={Voltage("a"): np.ones(2)})


def asked(engine: Stubborn) -> Traces:
    return ask(CIRCUIT, RUN, [Voltage("a")], engine, timeout_s=1.0)


def test_a_second_time_goes_in_finer_steps() -> None:
    engine = Stubborn(refusals=1)
    assert asked(engine).engine == "stubborn"
    accuracies = [what.analysis.accuracy for what in engine.asked if isinstance(what.analysis, Transient)]
    assert len(accuracies) == 2
    assert accuracies[1] < accuracies[0] == RUN.accuracy


@pytest.mark.parametrize(
    ("engine", "times"),
    [
        (Stubborn(refusals=5), 2),
        (Stubborn(refusals=5, error=CancelledError), 1),
        (Stubborn(refusals=5, absent="it is not installed"), 0),
    ],
    ids=["never answers", "cancelled", "missing"],
)
def test_it_is_asked_no_more_than_that(engine: Stubborn, times: int) -> None:
    with pytest.raises(SubwrightError):
        asked(engine)
    assert len(engine.asked) == times
