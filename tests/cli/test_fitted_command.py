"""``subwright fitted``: one unit's thresholds in plain words and as JSON."""

from __future__ import annotations

import json
from pathlib import Path

from cli_support import EXAMPLES, Command

VAN = EXAMPLES / "storyteller-van.build.toml"


def test_lists_what_may_be_measured(subwright: Command) -> None:
    done = subwright("fitted", VAN)
    assert done.returncode == 0
    assert "under-voltage sense lower" in done.stdout
    assert "reference voltage" in done.stdout


def test_tells_thresholds_and_trims(subwright: Command) -> None:
    listed = json.loads(subwright("fitted", VAN, "--json").stdout)["measurable"]
    part = next(p for p in listed if p["role"] == "under-voltage sense lower")
    given = f"{part['role']}={0.96 * part['nominal']:.0f} ohm"
    words = subwright("fitted", VAN, "-m", given)
    assert words.returncode == 0
    assert "in series with the under-voltage sense lower" in words.stdout
    body = json.loads(
        subwright("fitted", VAN, "-m", given, "-m", "reference voltage=5.08 V", "--json").stdout
    )
    assert body["measured"]["reference voltage"] == 5.08
    trim = body["trims"][0]
    assert abs(trim["trip_after"] - trim["target"]) < abs(trim["trip_before"] - trim["target"])


def test_tells_where_the_thermal_trimmer_stands(subwright: Command, tmp_path: Path) -> None:
    """A thermistor of 4 % more at 25 °C takes more of the track for the same trip."""
    build = tmp_path / "van.build.toml"
    text = VAN.read_text(encoding="utf-8")
    build.write_text(text + "\n[protection]\nthermal_trimmer = true\n", encoding="utf-8")
    for extra in VAN.parent.glob("storyteller-van.drawer.toml"):
        (tmp_path / extra.name).write_bytes(extra.read_bytes())
    settings = []
    for measured in ("10 kohm", "10.4 kohm"):
        done = subwright("fitted", build, "-m", f"thermistor at 25 °C={measured}", "--json")
        trim = json.loads(done.stdout)["trims"][2]
        assert trim["role"] == "thermal trimmer"
        assert abs(trim["trip_after"] - 85.0) < 0.05
        settings.append(trim["add_ohm"])
    assert settings[1] > settings[0] + 100.0
    words = subwright("fitted", build, "-m", "thermistor at 25 °C=10.4 kohm").stdout
    assert "turn the trimmer to" in words
    assert "in series with" in words


def test_a_wrong_part_or_value_is_one_line(subwright: Command) -> None:
    for given, said in (
        ("under-voltage sens lower=10k", "under-voltage sense lower"),
        ("under-voltage sense lower", "equals sign"),
        ("under-voltage sense lower=ten", "ten"),
        ("under-voltage sense lower=10 ohm", "far from"),
    ):
        done = subwright("fitted", VAN, "-m", given)
        assert done.returncode == 2
        assert done.stdout == ""
        assert said in done.stderr
        assert "Traceback" not in done.stderr
