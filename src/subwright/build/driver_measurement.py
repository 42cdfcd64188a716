"""From measuring files to a driver record in the drawer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from subwright.base.errors import NoSolutionError, SubwrightError
from subwright.base.units import show
from subwright.parts.drawer import Drawer, add_part, load_drawer
from subwright.parts.library import load_library
from subwright.parts.passive import Driver
from subwright.parts.reader import rules_of
from subwright.physics.acoustics.recording import impedance_of_recording
from subwright.physics.acoustics.sweep import ImpedanceSweep
from subwright.physics.acoustics.sweep_fit import KnownLoad
from subwright.stages.driver_measure import (
    MeasuredDriver,
    MeasureInput,
    MeasurementNote,
    driver_record,
    measure_driver,
    recording_notes,
)
from subwright.stages.driver_recording_file import read_recording
from subwright.stages.driver_sweep_file import read_sweep

__all__ = ["Bench", "Measurement", "measure_files", "save_driver"]

_RATED_OHM = (2.0, 4.0, 6.0, 8.0, 12.0, 16.0)
_RE_SHARE = 0.75
_FRAME_OVER_PISTON = 1.18


@dataclass(frozen=True, kw_only=True, slots=True)
class Bench:
    """How the runs were taken.

    Attributes
    ----------
    added_mass_kg, test_box_m3 : what the second run had on the cone; one of the two.
    load_tolerance : relative, of that.
    piston_diameter_m : to the middle of the surround.
    re_ohm : by ohmmeter, None: from the fit.
    resistor_ohm : known series resistor, for recordings.
    right : what the right channel of a recording lies over. right_gain : its gain over that of the left.
    low_hz, high_hz : band of a recorded sweep.
    highest_hz : points above are left out of the fit.
    """

    added_mass_kg: float | None = None
    test_box_m3: float | None = None
    load_tolerance: float = 0.01
    piston_diameter_m: float | None = None
    re_ohm: float | None = None
    resistor_ohm: float | None = None
    right: Literal["driver", "resistor"] = "driver"
    right_gain: float = 1.0
    low_hz: float = 10.0
    high_hz: float = 2000.0
    highest_hz: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Measurement:
    """What the files say: the set, and every note from recording to fit."""

    measured: MeasuredDriver
    notes: tuple[MeasurementNote, ...]
    source: str  # one line for the record: how the values were had


def measure_files(free: Path, loaded: Path | None, bench: Bench) -> Measurement:
    """Measure a driver from one or two files, each an impedance table or a two-channel WAV recording.

    Parameters
    ----------
    free : run in free air.
    loaded : run with added mass or on a test box; None leaves mass and Vas unknown.
    bench : how they were taken.

    Raises
    ------
    InputError : a file can't be used.
    RangeError, ConvergenceError : no driver can be read from the curves.
    NoSolutionError : something about the runs is missing or said twice.

    Source
    ------
    [small-1972-direct]
    """
    if bench.added_mass_kg is not None and bench.test_box_m3 is not None:
        raise _incomplete("added mass and test box", "both given", "Give the one that the second run had.")
    load = None
    if bench.added_mass_kg is not None:
        load = KnownLoad(kind="added mass", amount=bench.added_mass_kg, tolerance=bench.load_tolerance)
    elif bench.test_box_m3 is not None:
        load = KnownLoad(kind="test box", amount=bench.test_box_m3, tolerance=bench.load_tolerance)
    if (loaded is None) != (load is None):
        missing = "the second run's file" if loaded is None else "what the second run had on the cone"
        raise _incomplete("second run", f"{missing} is missing", "Give --loaded with --mass or --test-box.")
    if loaded is not None and bench.piston_diameter_m is None:
        raise _incomplete("piston diameter", "none", "Measure to the middle of the surround: --piston.")
    notes: list[MeasurementNote] = []
    data = MeasureInput(
        free=_sweep_of(free, bench, notes, "free air"),
        loaded=None if loaded is None else _sweep_of(loaded, bench, notes, "second run"),
        load=load,
        piston_diameter_m=bench.piston_diameter_m,
        re_ohm=bench.re_ohm,
        highest_hz=bench.highest_hz,
    )
    measured = measure_driver(data)
    return Measurement(
        measured=measured,
        notes=(*notes, *measured.notes),
        source=_source(free, loaded, load, bench),
    )


def _sweep_of(path: Path, bench: Bench, notes: list[MeasurementNote], name: str) -> ImpedanceSweep:
    if path.suffix.lower() not in (".wav", ".wave"):
        return read_sweep(path)
    if bench.resistor_ohm is None:
        raise _incomplete("series resistor", "none", "A recording needs the known resistor: --resistor.")
    sweep, quality = impedance_of_recording(
        read_recording(path),
        bench.resistor_ohm,
        right=bench.right,
        right_gain=bench.right_gain,
        low_hz=bench.low_hz,
        high_hz=bench.high_hz,
    )
    notes.extend(recording_notes(quality, name))
    return sweep


def _incomplete(quantity: str, value: str, remedy: str) -> NoSolutionError:
    return NoSolutionError(
        message="The measurement is not described fully.", quantity=quantity, value=value, remedy=remedy
    )


def _source(free: Path, loaded: Path | None, load: KnownLoad | None, bench: Bench) -> str:
    text = f"measured: free air {free.name}"
    if loaded is not None and load is not None:
        amount = show(load.amount, "mass" if load.kind == "added mass" else "volume")
        text += f", {loaded.name} with {load.kind} {amount}"
    if bench.re_ohm is not None:
        text += ", Re by ohmmeter"
    return text + "; limits as given"


def save_driver(
    measurement: Measurement, drawer: Path, part_id: str, stated: Mapping[str, float], *, quantity: int = 1
) -> Drawer:
    """Write a measured driver into a drawer file as a record of one's own.

    Parameters
    ----------
    measurement : a complete one.
    drawer : the file; made where it isn't there yet.
    part_id : what to call the driver.
    stated : values that no sweep tells, SI by field name; xmax_m and power_w are needed.
    quantity : how many are at hand.

    Raises
    ------
    NoSolutionError : the set is incomplete.
    InputError : the drawer file, or the new record in it, has a problem.

    Source
    ------
    [iec-60268-5] for the rated impedance.
    """
    measured = measurement.measured
    if not measured.complete or measured.sd_m2 is None:
        raise _incomplete(
            "second run", "none", "A record needs a run with added mass or on a test box: --loaded, --mass."
        )
    for name, option in (("xmax_m", "--xmax"), ("power_w", "--power")):
        if name not in stated:
            raise _incomplete(
                name.rsplit("_", 1)[0],
                "not given",
                f"No sweep tells this; look it up or estimate: {option}.",
            )
    if part_id in load_library().drivers:
        raise SubwrightError(
            message="The library has a driver of this name.",
            quantity="driver id",
            value=part_id,
            remedy="Choose another name with --id.",
        )
    if drawer.exists() and part_id in (held := load_drawer(drawer)).record_lines:
        raise SubwrightError(
            message="The drawer has a driver or another part of this name.",
            quantity="driver id",
            value=part_id,
            limit=f"{drawer}:{held.record_lines[part_id]}",
            remedy="Choose another name with --id. To measure anew, take that table out of the drawer first.",
        )
    frame = stated.get("frame_m") or _FRAME_OVER_PISTON * math.sqrt(4.0 * measured.sd_m2 / math.pi)
    re = measured.values["re_ohm"].value
    rated = max((z for z in _RATED_OHM if z * _RE_SHARE <= re), default=_RATED_OHM[0])
    record = driver_record(
        measured, {"impedance_ohm": rated, **stated}, nominal_diameter_m=round(frame / 0.0254) * 0.0254
    )
    rules = rules_of(Driver)
    values: dict[str, str | int | float | bool] = {"id": part_id, "source": measurement.source}
    for name, value in record.items():
        rule = rules[name]
        values[rule.key] = (
            float(f"{value:.5g}") if rule.dimension == "ratio" else show(value, rule.dimension, 5)
        )
    return add_part(drawer, "driver", values, quantity=quantity)
