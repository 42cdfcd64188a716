"""Dropped impedance tables: what a page sends, and the fit of it."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from subwright.build.driver_measurement import Measurement
from subwright.workspace import measured_driver

__all__ = ["Runs", "fitted"]


class Runs(BaseModel):
    """Impedance tables as text, and what the second run had on the cone."""

    model_config = ConfigDict(extra="forbid")

    free: str = Field(min_length=1, max_length=700_000)
    loaded: str = Field(default="", max_length=700_000)
    mass: str = Field(default="", max_length=30)
    test_box: str = Field(default="", max_length=30)
    piston: str = Field(default="", max_length=30)


def fitted(place: Path, runs: Runs) -> Measurement:
    """The driver that the tables tell of; ``place`` is an empty folder to lay them in."""
    free = _written(place / "free-air.csv", runs.free)
    loaded = _written(place / "second-run.csv", runs.loaded) if runs.loaded else None
    return measured_driver(free, loaded, mass=runs.mass, test_box=runs.test_box, piston=runs.piston)


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path
