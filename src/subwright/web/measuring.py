"""Dropped impedance tables and sound recordings: what a page sends, and the fit of it."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from subwright.base.errors import SubwrightError
from subwright.base.units import parse
from subwright.build.driver_measurement import Bench, Measurement, measure_files

__all__ = ["RECORDING_LIMIT_BYTES", "Recordings", "Runs", "fitted"]

RECORDING_LIMIT_BYTES = 24_000_000
"""A minute and a half of two channels in 24 bit at 44.1 kHz; a sweep of ten seconds is enough."""

_KEPT = 6
_MARK = "recording:"


class Runs(BaseModel):
    """Impedance tables as text, or recordings by their names, and how they were taken."""

    model_config = ConfigDict(extra="forbid")

    free: str = Field(min_length=1, max_length=700_000)
    loaded: str = Field(default="", max_length=700_000)
    mass: str = Field(default="", max_length=30)
    test_box: str = Field(default="", max_length=30)
    piston: str = Field(default="", max_length=30)
    re: str = Field(default="", max_length=30)
    resistor: str = Field(default="", max_length=30)
    right: Literal["driver", "resistor"] = "driver"


@dataclass(kw_only=True, slots=True)
class Recordings:
    """The latest sound files that pages sent, in a folder of their own; the oldest goes first."""

    folder: Path | None = None
    names: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    async def keep(self, chunks: AsyncIterator[bytes]) -> str:
        """Write a file as it arrives and return what to call it.

        Raises
        ------
        SubwrightError : it is larger than a recording has to be, or no WAV file by its first bytes.
        """
        with self.lock:
            if self.folder is None:
                self.folder = Path(tempfile.mkdtemp(prefix="subwright-recordings-"))
        name = secrets.token_hex(12)
        path, size, head = self.folder / f"{name}.wav", 0, b""
        try:
            with path.open("wb") as stream:
                async for chunk in chunks:
                    size += len(chunk)
                    head = (head + chunk[:12])[:12]
                    if size > RECORDING_LIMIT_BYTES:
                        raise SubwrightError(
                            message="the recording is too large",
                            quantity="size",
                            limit=f"{RECORDING_LIMIT_BYTES / 1e6:.0f} MB",
                            remedy="a sweep of ten seconds is enough",
                        )
                    stream.write(chunk)
            if not (head.startswith(b"RIFF") and head[8:12] == b"WAVE"):
                raise SubwrightError(
                    message="that is no WAV file", remedy="record two channels as WAV, 16 or 24 bit"
                )
        except SubwrightError:
            path.unlink(missing_ok=True)
            raise
        with self.lock:
            self.names.append(name)
            while len(self.names) > _KEPT:
                (self.folder / f"{self.names.pop(0)}.wav").unlink(missing_ok=True)
        return _MARK + name

    def path(self, told: str) -> Path | None:
        """The file that a run names; None where the run is a table.

        Raises
        ------
        SubwrightError : the recording is not here any more.
        """
        if not told.startswith(_MARK):
            return None
        name = told.removeprefix(_MARK)
        with self.lock:
            if self.folder is None or name not in self.names:
                raise SubwrightError(message="that recording is not here any more", remedy="drop it again")
            return self.folder / f"{name}.wav"

    def close(self) -> None:
        """Remove them all."""
        if self.folder is not None:
            shutil.rmtree(self.folder, ignore_errors=True)
            self.folder = None
            self.names.clear()


def fitted(place: Path, runs: Runs, recordings: Recordings) -> Measurement:
    """The driver that the runs tell of; ``place`` is an empty folder to lay tables in.

    Raises as `subwright.build.driver_measurement.measure_files`.
    """
    free = recordings.path(runs.free) or _written(place / "free-air.csv", runs.free)
    loaded = None
    if runs.loaded:
        loaded = recordings.path(runs.loaded) or _written(place / "second-run.csv", runs.loaded)
    bench = Bench(
        added_mass_kg=_maybe(runs.mass, "mass"),
        test_box_m3=_maybe(runs.test_box, "volume"),
        piston_diameter_m=_maybe(runs.piston, "length"),
        re_ohm=_maybe(runs.re, "resistance"),
        resistor_ohm=_maybe(runs.resistor, "resistance"),
        right=runs.right,
    )
    return measure_files(free, loaded, bench)


def _maybe(text: str, dimension: str) -> float | None:
    return parse(text, dimension) if text.strip() else None


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path
