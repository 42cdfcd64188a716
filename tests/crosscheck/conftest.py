"""Simulators for the cross-checks: present, or loudly absent; never quietly absent where it counts."""

from __future__ import annotations

import os
from importlib import metadata

import pytest

from subwright.circuits.embedded import Embedded
from subwright.circuits.ngspice import Ngspice
from subwright.circuits.simulate import Engine

ENGINES: dict[str, Engine] = {"ngspice": Ngspice(), "neospice": Embedded()}


def wanted_here(name: str) -> bool:
    """ngspice must be there in CI; the Python package where this project's metadata ask for it."""
    if not os.environ.get("CI"):
        return False
    if name == "ngspice":
        return True
    return any(name in requirement for requirement in metadata.requires("subwright") or ())


def engine_or_skip(name: str) -> Engine:
    """The engine, or a failure where it should be, or a skip that says what was not checked."""
    engine = ENGINES[name]
    why = engine.missing()
    if why and wanted_here(name):
        pytest.fail(f"The simulator {name} is missing in CI: {why}.")
    if why:
        pytest.skip(f"NOT CHECKED BY SIMULATION: {why}.")
    return engine


@pytest.fixture(scope="session")
def reference_engine() -> Engine:
    """The engine that every cross-check relies on."""
    return engine_or_skip("ngspice")


@pytest.fixture(scope="session", params=sorted(ENGINES))
def engine(request: pytest.FixtureRequest) -> Engine:
    """Each engine in turn."""
    return engine_or_skip(request.param)
