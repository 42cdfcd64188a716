"""Build files spoilt in 500 ways: each gives a design or one clear refusal, never a traceback or a NaN.

Seeded, so a failure comes back: the failing file's text is in the assertion. Runs in this process.
"""

from __future__ import annotations

import json
import random
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_support import EXAMPLES

from subwright.base.quantities import QUANTITIES
from subwright.build.spec import BuildSpec
from subwright.cli import main as cli
from subwright.outputs.spec_entries import SpecEntry, spec_tables

BUILDS = sorted(path.name for path in EXAMPLES.glob("*.build.toml"))
ENTRIES = [entry for table in spec_tables(BuildSpec) if len(table.loc) == 1 for entry in table.entries]
PER_BUILD = 168
SLICES = 4

UNITS = ["V", "A", "W", "m", "mm", "l", "Hz", "kHz", "dB", "°C", "Ah", "%", "mohm", "", "furlong", "m²"]
VALUES = [
    "0", "-1", "1e308", "-0.0", "1e-300", "nan", "inf", "true", "[]", "{}", '""', '"auto"', '"none"', '"😀"',
    '"1e400 V"', '"NaN m"', '"0 m"', '"-4 m"', '"4 m', "'4 m'", "1979-05-27", '"\\u0000"', "[[[1]]]", '"∞"',
    "99999999999999999999999999", '"1/0 m"', '" "', "{a = {b = 1}}",
]  # fmt: skip

Mutation = Callable[[random.Random, list[str]], list[str]]


def value_rows(rows: list[str]) -> list[int]:
    return [index for index, row in enumerate(rows) if re.match(r"^\w+ *=", row)]


def delete_row(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.randrange(len(rows))
    return rows[:index] + rows[index + 1 :]


def repeat_row(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.randrange(len(rows))
    return rows[: index + 1] + rows[index:]


def move_row(rng: random.Random, rows: list[str]) -> list[str]:
    rest = list(rows)
    row = rest.pop(rng.randrange(len(rest)))
    rest.insert(rng.randrange(len(rest) + 1), row)
    return rest


def scale_number(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.choice(value_rows(rows))
    mild = [0.3, 0.5, 0.7, 0.9, 1.1, 1.5, 2.0, 3.0]
    factor = rng.choice([*mild, *mild, 0.0, 1e-9, 1e-3, 0.1, 10.0, 1e3, 1e9, -1.0])
    changed = re.sub(r"\d+(\.\d+)?", lambda m: f"{float(m[0]) * factor:g}", rows[index], count=1)
    return [*rows[:index], changed, *rows[index + 1 :]]


def swap_unit(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.choice(value_rows(rows))
    changed = re.sub(r'(\d) ?[^\d"]*"', lambda m: f'{m[1]} {rng.choice(UNITS)}"', rows[index], count=1)
    return [*rows[:index], changed, *rows[index + 1 :]]


def swap_value(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.choice(value_rows(rows))
    key = rows[index].split("=")[0]
    return [*rows[:index], f"{key}= {rng.choice(VALUES)}", *rows[index + 1 :]]


def swap_keys(rng: random.Random, rows: list[str]) -> list[str]:
    first, second = rng.sample(value_rows(rows), 2)
    (key_1, value_1), (key_2, value_2) = (rows[i].split("=", 1) for i in (first, second))
    changed = list(rows)
    changed[first], changed[second] = f"{key_2}={value_1}", f"{key_1}={value_2}"
    return changed


def header_row(rows: list[str], table: str) -> int | None:
    return next((i for i, row in enumerate(rows) if row.strip() == f"[{table}]"), None)


def with_key(rows: list[str], entry: SpecEntry, value: str) -> list[str]:
    """The rows with a key of a table set, whether it stood there or not."""
    table = str(entry.loc[0])
    head = header_row(rows, table)
    if head is None:
        return [*rows, f"[{table}]", f"{entry.key} = {value}"]
    end = next((i for i in range(head + 1, len(rows)) if rows[i].startswith("[")), len(rows))
    kept = [row for row in rows[head + 1 : end] if not re.match(rf"{entry.key} *=", row)]
    return [*rows[: head + 1], f"{entry.key} = {value}", *kept, *rows[end:]]


def choose(rng: random.Random, rows: list[str]) -> list[str]:
    """Set a key with choices to one of them."""
    entry = rng.choice([entry for entry in ENTRIES if entry.choices])
    choice = rng.choice(entry.choices)
    return with_key(rows, entry, choice if choice.isdigit() else f'"{choice}"')


def within_range(rng: random.Random, rows: list[str]) -> list[str]:
    """Set a quantity to a value in the range that the spec accepts, near its ends more often than not."""
    entry = rng.choice([entry for entry in ENTRIES if entry.rule])
    rule = entry.rule
    assert rule is not None
    share = rng.choice([0.0, 0.01, 0.1, rng.random(), 0.9, 1.0])
    value = rule.low + share * (rule.high - rule.low)
    if rule.low > 0.0:
        value = rule.low * (rule.high / rule.low) ** share
    text = f"{round(value)}" if rule.dimension == "turns" else f"{value:.5g}"
    unit = QUANTITIES[rule.dimension].unit
    return with_key(rows, entry, text if rule.bare else f'"{text} {unit}"')


def misspell(rng: random.Random, rows: list[str]) -> list[str]:
    index = rng.choice([i for i, row in enumerate(rows) if row.strip() and not row.startswith("#")])
    row = rows[index]
    at = rng.randrange(len(row))
    return [
        *rows[:index],
        row[:at] + rng.choice(["", "x", '"', "]", "=", "#", "\t"]) + row[at + 1 :],
        *rows[index + 1 :],
    ]


def cut_short(rng: random.Random, rows: list[str]) -> list[str]:
    text = "\n".join(rows)
    return text[: rng.randrange(len(text))].split("\n")


MUTATIONS: list[Mutation] = [
    delete_row,
    repeat_row,
    move_row,
    scale_number,
    scale_number,
    scale_number,
    choose,
    choose,
    within_range,
    within_range,
    within_range,
    swap_unit,
    swap_value,
    swap_keys,
    misspell,
    cut_short,
]


def junk(rng: random.Random, raw: bytes) -> bytes:
    at = rng.randrange(len(raw))
    return raw[:at] + rng.randbytes(rng.randrange(1, 40)) + raw[at + rng.randrange(20) :]


def spoilt(raw: bytes, seed: int) -> bytes:
    rng = random.Random(seed)
    if seed % 12 == 0:
        return junk(rng, raw)
    rows = raw.decode().split("\n")
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        if value_rows(rows)[1:]:
            rows = rng.choice(MUTATIONS)(rng, rows)
    return "\n".join(rows).encode()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("spoilt")
    for path in EXAMPLES.glob("*.drawer.toml"):
        shutil.copy(path, place)
    return place


@pytest.mark.parametrize("part", range(SLICES))
@pytest.mark.parametrize("name", BUILDS)
def test_spoilt_build_files(
    name: str, part: int, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    raw = (EXAMPLES / name).read_bytes()
    outcomes = set()
    for seed in range(part, PER_BUILD, SLICES):
        path = folder / f"{part}-{name}"
        path.write_bytes(spoilt(raw, seed))
        code = cli.run(["design", str(path), "--json"])
        out, err = capsys.readouterr()
        told = f"seed {seed}\n{err}\n{path.read_bytes().decode(errors='replace')}"
        assert code in {0, 1, 2}, told
        assert "fault in subwright" not in err, told
        assert "Traceback" not in err, told
        body = json.loads(out, parse_constant=lambda word, told=told: pytest.fail(f"{word}: {told}"))
        if code == 2:
            assert err.strip(), told
            assert all(line.strip() for line in err.splitlines()), told
            assert body["error"]["message"], told
        else:
            assert body["stations"], told
        outcomes.add(code == 2)
    assert outcomes == {True, False}  # the mutations neither all fail nor all pass


def test_there_are_500_of_them() -> None:
    assert len(BUILDS) * PER_BUILD >= 500
