"""``subwright driver``: from files to a drawer record, and what it says of bad ones."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cli_support import Command

from subwright.parts.drawer import load_drawer
from subwright.parts.library import load_library
from subwright.physics.acoustics.boxes import OpenAir
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.parameters import DriverModel
from subwright.stages.driver import DriverSpec, design_driver

ATTIC = DriverModel(
    re_ohm=3.4,
    bl_tm=14.5,
    mms_kg=0.14,
    cms_m_per_n=2.308e-4,
    rms_kg_per_s=6.2,
    sd_m2=0.05,
    coil_factor=0.0235,
    coil_exponent=0.688,
)


def table(path: Path, model: DriverModel, *, phase: bool = True, points: int = 150) -> Path:
    grid = np.geomspace(8.0, 800.0, points)
    z = solve(model, OpenAir(radiates=False), grid).impedance_ohm
    rows = ["Frequency Hz;Magnitude ohm;Phase deg" if phase else "Frequency Hz;Magnitude ohm"]
    for f, value in zip(grid, z, strict=True):
        cells = [f"{f:.5f}", f"{abs(value):.6f}", *([f"{np.degrees(np.angle(value)):.5f}"] if phase else [])]
        rows.append(";".join(cells).replace(".", ","))
    path.write_text("\n".join(rows) + "\n", encoding="latin-1")
    return path


@pytest.fixture
def runs(tmp_path: Path) -> tuple[str, str]:
    free = table(tmp_path / "free.txt", ATTIC)
    loaded = table(tmp_path / "with 100 g.txt", replace(ATTIC, mms_kg=0.24))
    return str(free), str(loaded)


def test_two_runs_make_a_driver_that_can_be_designed_with(
    subwright: Command, runs: tuple[str, str], tmp_path: Path
) -> None:
    drawer = tmp_path / "bench.drawer.toml"
    arguments = [
        "driver",
        "measure",
        runs[0],
        "--loaded",
        runs[1],
        "--mass",
        "100 g",
        "--piston",
        "252.31 mm",
    ]
    arguments += ["--drawer", str(drawer), "--id", "Attic 12", "--xmax", "9 mm", "--power", "200 W"]
    done = subwright(*arguments)
    assert done.returncode == 0, done.stderr
    assert "Attic 12 is in" in done.stderr
    library = load_library().with_drawer(load_drawer(drawer))
    driver = design_driver(DriverSpec(part="Attic 12"), library)
    assert driver.qts == pytest.approx(ATTIC.qts, rel=1e-3)
    assert driver.vas_m3 == pytest.approx(ATTIC.vas_m3(), rel=1e-3)
    assert driver.bl_tm == pytest.approx(ATTIC.bl_tm, rel=1e-3)
    assert not driver.inconsistencies
    assert driver.parts[0].provenance.startswith("measured: free air")
    again = subwright(*arguments, "--re", "3.4 ohm")
    assert again.returncode == 2
    assert "Attic 12" in again.stderr
    assert "--id" in again.stderr
    assert "To measure anew" in again.stderr


def test_the_three_point_reading_uses_the_fits_re(subwright: Command, runs: tuple[str, str]) -> None:
    """The sweep's least magnitude lies above Re: read with it, Qes came out a fifth high."""
    done = subwright("driver", "measure", runs[0], "--json")
    body = json.loads(done.stdout)
    assert body["by_three_points"]["qes"] == pytest.approx(ATTIC.qes, rel=0.04)
    assert not any("methods differ" in note["message"] for note in body["notes"])


def test_json_holds_intervals(subwright: Command, runs: tuple[str, str]) -> None:
    done = subwright("driver", "measure", runs[0], "--re", "3.4 ohm", "--json")
    body = json.loads(done.stdout)
    assert body["complete"] is False
    q = body["values"]["qts"]
    assert q["low"] <= q["value"] <= q["high"]
    assert q["value"] == pytest.approx(ATTIC.qts, rel=1e-4)


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--mass", "100 g"], "second run"),
        (["--mass", "100 parrots"], "--mass"),
        (["--drawer", "x.toml"], "--id"),
        (["--right", "sideways"], "--right"),
        (["--mass", "100 g", "--test-box", "30 l"], "test box"),
    ],
)
def test_half_said_measurements_are_refused(
    subwright: Command, runs: tuple[str, str], extra: list[str], words: str
) -> None:
    done = subwright("driver", "measure", runs[0], *extra)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_a_record_without_xmax_is_refused(subwright: Command, runs: tuple[str, str], tmp_path: Path) -> None:
    drawer = tmp_path / "d.toml"
    arguments = ["driver", "measure", runs[0], "--loaded", runs[1], "--mass", "100 g", "--piston", "252 mm"]
    done = subwright(*arguments, "--drawer", str(drawer), "--id", "Attic 12")
    assert done.returncode == 2
    assert "--xmax" in done.stderr
    assert not drawer.exists()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no row of numbers"),
        ("20 5 0\nhello\n", ":2: row:"),
        ("20 5 0\n30\n", ":2: row:"),
        ("-20 5 0\n", "above 0"),
        ("20 nan 0\n", "not finite"),
        ("20 5 0\n30 5 0\n", "too few points"),
    ],
)
def test_bad_tables_are_located(subwright: Command, tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text)
    done = subwright("driver", "measure", str(path))
    assert done.returncode == 2
    assert words in done.stderr
    assert "bad.csv:" in done.stderr


def test_a_recording_must_be_one(subwright: Command, tmp_path: Path) -> None:
    path = tmp_path / "noise.wav"
    path.write_bytes(b"RIFF and nothing else")
    done = subwright("driver", "measure", str(path), "--resistor", "10 ohm")
    assert done.returncode == 2
    assert "no WAV file" in done.stderr


def test_the_sweep_that_is_written_can_be_read_back(subwright: Command, tmp_path: Path) -> None:
    path = tmp_path / "sweep.wav"
    done = subwright("driver", "sweep-signal", str(path), "--length", "2 s", "--rate", "8 kHz")
    assert done.returncode == 0, done.stderr
    played = subwright("driver", "measure", str(path), "--resistor", "10 ohm")
    assert played.returncode == 2  # both channels alike: an open circuit
    assert "open, shorted" in played.stderr
    assert "Traceback" not in played.stderr
