"""``subwright driver``: measure a driver without a data sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, cast

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from subwright.base.errors import SubwrightError
from subwright.base.quantities import dimension_of, words_of
from subwright.base.units import parse, show
from subwright.build.driver_measurement import Bench, Measurement, measure_files, save_driver
from subwright.cli.answer import Answer
from subwright.cli.talk import clean
from subwright.stages.driver_recording_file import write_sweep_file

__all__ = ["MeasureOptions", "measure", "sweep_signal"]

_STATED = {
    "xmax": "xmax_m",
    "xdamage": "xdamage_m",
    "power": "power_w",
    "frame": "frame_m",
    "hole": "hole_m",
    "depth": "depth_m",
    "weight": "mass_kg",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasureOptions:
    """The options of ``driver measure`` as typed; "" where not given."""

    mass: str
    test_box: str
    tolerance: str
    piston: str
    re: str
    resistor: str
    right: str
    right_gain: float
    low: str
    high: str
    fit_to: str
    drawer: Path | None
    part_id: str
    stated: Mapping[str, str]  # by option: "xmax": "8 mm"


def _read(option: str, text: str, dimension: str) -> float:
    try:
        value = parse(text, dimension)
    except SubwrightError as error:
        raise SubwrightError(message=f"--{option}: {error}") from None
    if not (value > 0.0 and math.isfinite(value)):
        raise SubwrightError(
            message=f"--{option} must be above zero.", quantity=option, value=text, limit="above 0"
        )
    return value


def _maybe(option: str, text: str, dimension: str) -> float | None:
    return _read(option, text, dimension) if text else None


def measure(free: Path, loaded: Path | None, options: MeasureOptions) -> Answer:
    """Fit one or two runs, print the set with its intervals, and perhaps put it into a drawer."""
    if options.right not in ("driver", "resistor"):
        raise SubwrightError(
            message="--right says what the right channel lies over.",
            quantity="right",
            value=options.right,
            limit='"driver" or "resistor"',
        )
    bench = Bench(
        added_mass_kg=_maybe("mass", options.mass, "mass"),
        test_box_m3=_maybe("test-box", options.test_box, "volume"),
        load_tolerance=_read("tolerance", options.tolerance, "ratio"),
        piston_diameter_m=_maybe("piston", options.piston, "length"),
        re_ohm=_maybe("re", options.re, "resistance"),
        resistor_ohm=_maybe("resistor", options.resistor, "resistance"),
        right=cast("Literal['driver', 'resistor']", options.right),
        right_gain=options.right_gain,
        low_hz=_read("low", options.low, "frequency"),
        high_hz=_read("high", options.high, "frequency"),
        highest_hz=_maybe("fit-to", options.fit_to, "frequency"),
    )
    stated = {
        _STATED[name]: _read(name, text, dimension_of(_STATED[name]))
        for name, text in options.stated.items()
        if text
    }
    if (options.drawer is None) != (not options.part_id):
        raise SubwrightError(
            message="A driver for the drawer needs both a file and a name.",
            quantity="--drawer, --id",
            value="only one given",
            remedy='Add --drawer my.drawer.toml --id "Attic 12".',
        )
    result = measure_files(free, loaded, bench)
    notes: tuple[str, ...] = ()
    if options.drawer is not None:
        save_driver(result, options.drawer, options.part_id, stated)
        notes = (
            f"{options.part_id} is in {options.drawer} now; in the build file: "
            f'drawer = "{options.drawer.name}", driver.part = "{options.part_id}"',
        )

    def data() -> Mapping[str, object]:
        measured = result.measured
        return {
            "values": {
                name: {"value": e.value, "low": e.low, "high": e.high} for name, e in measured.values.items()
            },
            "by_three_points": dict(measured.by_three_points),
            "sd_m2": measured.sd_m2,
            "le_h": measured.le_h,
            "misfit": measured.fit.residual,
            "points": measured.fit.points,
            "complete": measured.complete,
            "notes": result.notes,
            "saved_to": None if options.drawer is None else str(options.drawer),
        }

    return Answer(command="driver measure", data=data, text=lambda: _shown(result), notes=notes)


def _shown(result: Measurement) -> RenderableType:
    measured = result.measured
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("parameter")
    table.add_column("value", justify="right")
    table.add_column("95 % interval")
    table.add_column("three points", justify="right")
    for name, estimate in measured.values.items():
        dimension = dimension_of(name)
        interval = f"{show(estimate.low, dimension, 4)} … {show(estimate.high, dimension, 4)}"
        classical = measured.by_three_points.get(name)
        table.add_row(
            words_of(name),
            show(estimate.value, dimension, 4),
            interval,
            "" if classical is None else show(classical, dimension, 4),
        )
    if measured.sd_m2 is not None:
        table.add_row(words_of("sd_m2"), show(measured.sd_m2, "area", 4), "", "")
    table.add_row(words_of("le_h"), show(measured.le_h, "inductance"), "at 1 kHz, by the model", "")
    fit = measured.fit
    lines = [
        f"misfit {show(fit.residual, 'share')} rms up to {show(fit.highest_hz, 'frequency')}",
        *(
            f"{note.severity}: {note.message} "
            f"{note.quantity}: {note.value}, limit {note.limit}. {note.remedy}"
            for note in result.notes
        ),
    ]
    if not measured.complete:
        lines.append("Moving mass, Bl and Vas need a second run: --loaded with --mass or --test-box.")
    return Group(table, Text(""), Text(clean("\n".join(lines))))


def sweep_signal(file: Path, low: str, high: str, length: str, rate: str, peak: float) -> Answer:
    """Write the measuring sweep as a WAV file."""
    low_hz, high_hz = _read("low", low, "frequency"), _read("high", high, "frequency")
    length_s, rate_hz = _read("length", length, "time"), _read("rate", rate, "frequency")
    write_sweep_file(file, low_hz=low_hz, high_hz=high_hz, length_s=length_s, rate_hz=rate_hz, peak=peak)
    said = (
        f"{file}: sine from {show(low_hz, 'frequency')} to {show(high_hz, 'frequency')} in "
        f"{show(length_s, 'time')}, a second of silence after it"
    )
    caution = "Start at a low level: a sweep through the resonance moves the cone a long way."
    return Answer(
        command="driver sweep-signal",
        data=lambda: {"file": str(file), "low_hz": low_hz, "high_hz": high_hz, "length_s": length_s},
        text=lambda: Text(clean(said)),
        notes=(caution,),
    )
