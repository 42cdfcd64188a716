"""The library: look-up, hints, columns, laziness, and refusal of bad tables."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import FrozenInstanceError
from pathlib import Path

import numpy as np
import pytest

from patience import assert_within
from subwright.base.errors import InputError, PartNotFoundError
from subwright.parts.library import Library, load_library, near_ids
from subwright.parts.schema import KINDS, Core, Mosfet
from subwright.parts.tables import read_data_file

LIBRARY = load_library()


def test_library_is_loaded_once() -> None:
    assert load_library() is LIBRARY
    assert LIBRARY.cores is LIBRARY.cores


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_has_its_mapping_and_its_look_up(kind: str) -> None:
    records = LIBRARY.kind(kind)
    part_id, record = next(iter(records.items()))
    assert isinstance(record, KINDS[kind])
    assert getattr(LIBRARY, f"{kind}s")[part_id] is record
    assert getattr(LIBRARY, kind)(part_id) is record


def test_mappings_and_records_are_read_only() -> None:
    with pytest.raises(TypeError):
        LIBRARY.cores["x"] = None  # type: ignore[index]
    with pytest.raises(FrozenInstanceError):
        LIBRARY.mosfet("IRF3205").vds_v = 1.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("asked", "first"),
    [
        ("irf3205", "IRF3205"),
        ("IRF 3205", "IRF3205"),
        ("IRF3250", "IRF3205"),
        ("IRFB-3077", "IRFB3077"),
        ("IRFZ44", "IRFZ44N"),
    ],
)
def test_near_misses(asked: str, first: str) -> None:
    with pytest.raises(PartNotFoundError) as caught:
        LIBRARY.mosfet(asked)
    assert first in caught.value.near
    assert first in caught.value.remedy
    assert caught.value.value == asked


def test_a_size_without_its_grade_is_hinted() -> None:
    with pytest.raises(PartNotFoundError) as caught:
        LIBRARY.core("ETD39/20/13")
    assert all(i.startswith("ETD39/20/13-") for i in caught.value.near)


def test_unlike_anything_gets_no_hint() -> None:
    with pytest.raises(PartNotFoundError) as caught:
        LIBRARY.core("qqqqqqqqqqqq")
    assert caught.value.near == ()
    assert "drawer file" in caught.value.remedy


def test_a_part_of_another_kind_is_named() -> None:
    with pytest.raises(PartNotFoundError, match="IRF3205 is a MOSFET; name a core"):
        LIBRARY.core("IRF3205")


def test_near_ids_ignores_case_blanks_and_dashes() -> None:
    assert near_ids("r36/23/15 n87", LIBRARY.cores)[0] == "R36/23/15-N87"
    assert near_ids("", LIBRARY.cores) == ()


def test_core_columns_are_the_records() -> None:
    columns = LIBRARY.core_columns()
    assert len(columns["id"]) == len(LIBRARY.cores)
    for index, core in enumerate(LIBRARY.cores.values()):
        assert columns["id"][index] == core.id
        assert columns["a_e_m2"][index] == core.a_e_m2
        assert columns["al_h"][index] == core.al_h or (core.al_h is None and np.isnan(columns["al_h"][index]))
    assert columns["in_drawer"].sum() == 0
    with pytest.raises(ValueError, match="read-only"):
        columns["a_e_m2"][0] = 1.0


def test_columns_of_chosen_records_keep_their_order() -> None:
    ids = ("IRFB4110", "IRF3205")
    assert tuple(LIBRARY.columns("mosfet", ids)["id"]) == ids
    with pytest.raises(PartNotFoundError):
        LIBRARY.columns("mosfet", ("IRF3205", "nothing"))


def test_there_is_nothing_in_no_drawer() -> None:
    assert LIBRARY.drawer is None
    assert LIBRARY.in_drawer("IRF3205") == 0
    assert LIBRARY.resistors == ()
    assert LIBRARY.capacitor_values == ()


def test_whole_library_is_read_within_30_ms() -> None:
    """Processor time of reading all kinds, in a fresh process."""
    code = (
        "import time, subwright.parts.tables as t, subwright.parts.reader, subwright.parts.cores\n"
        "from subwright.parts.schema import KINDS\n"
        "import subwright.base.tables.wire\n"
        "start = time.process_time()\n"
        "for kind in KINDS: t.library_records(kind)\n"
        "print(time.process_time() - start)"
    )

    def spent() -> float:
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        return float(done.stdout)

    assert_within(0.030, spent)


def test_asking_for_one_kind_reads_one_file() -> None:
    code = (
        "import subwright.parts.tables as t; from subwright.parts.library import load_library\n"
        "load_library().ntc('NTC 10k 3435')\n"
        "print(t.library_records.cache_info().currsize)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "1"


GOOD = """
[source.a]
document = "a sheet"
condition = "25 °C"
kind = "datasheet"

[[ntc]]
columns = ["id", "r25_ohm", "b_k", "r_tolerance", "b_tolerance", "dissipation_w_per_k"]
defaults = { source = "a" }
rows = [
  ["one", 10e3, 3435, 0.03, 0.01, 3e-3],
  ["two", 10e3, 3435, 0.03, 0.01, 3e-3],
]
"""


def problems_of(tmp_path: Path, text: str, kind: str = "ntc") -> list[str]:
    path = tmp_path / "ntcs.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_data_file(kind, path)
    return [f"{p.line}: {p.key}: {p.message}" for p in caught.value.problems]


def test_good_table(tmp_path: Path) -> None:
    path = tmp_path / "ntcs.toml"
    path.write_text(GOOD, encoding="utf-8")
    records = read_data_file("ntc", path)
    assert list(records) == ["one", "two"]
    assert records["one"].provenance.kind == "datasheet"
    assert records["one"].description == "NTC thermistor 10000 Ω, B 3435 K"


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('["two", 10e3', '["two", 10e9', 12, "r25_ohm: 10.0 GΩ is outside 1.00 Ω to 10.0 MΩ"),
        ('["two", 10e3', '["two", "10k"', 12, "r25_ohm: '10k' is not a number"),
        ('["two", 10e3', '["two", true', 12, "r25_ohm: True is not a number"),
        ('["two", 10e3', '["two", nan', 12, "r25_ohm: nan is outside"),
        ('["two", 10e3', '["one", 10e3', 11, "id: one is in the file twice"),
        ('["two", 10e3, 3435', '["two", 10e3', 12, "row: has 5 values for 6 columns"),
        ('"b_k"', '"bee_k"', 11, "no such field of a ntc; did you mean 'b_k'?"),
        ('source = "a"', 'source = "b"', 11, "no source 'b' in this file"),
        ("[[ntc]]", "[[ntcs]]", 1, "no kind 'ntcs' belongs in this file"),
    ],
)
def test_bad_table_says_what_and_where(tmp_path: Path, old: str, new: str, line: int, said: str) -> None:
    assert old in GOOD
    found = problems_of(tmp_path, GOOD.replace(old, new))
    assert any(text.startswith(f"{line}: ") and said in text for text in found), found


def test_missing_value_is_named(tmp_path: Path) -> None:
    found = problems_of(tmp_path, GOOD.replace('["two", 10e3', '["two", "-"'))
    assert found == ["12: two.r25_ohm: is missing"]


def test_records_that_contradict_themselves_are_refused(tmp_path: Path) -> None:
    text = GOOD.replace('"dissipation_w_per_k"]', '"dissipation_w_per_k", "table"]')
    text = text.replace('["one", 10e3, 3435, 0.03, 0.01, 3e-3]', '["one", 10e3, 3435, 0.03, 0.01, 3e-3, "-"]')
    wrong = '["two", 10e3, 3435, 0.03, 0.01, 3e-3, [[0, 27000], [25, 9000], [50, 4000]]]'
    found = problems_of(tmp_path, text.replace('["two", 10e3, 3435, 0.03, 0.01, 3e-3]', wrong))
    assert "r25_ohm: 10000 Ω, but the table gives 9000 Ω" in found[0]


def test_types_of_the_look_ups() -> None:
    assert isinstance(Library().core("R36/23/15-N87"), Core)
    assert isinstance(Library().mosfet("IRF3205"), Mosfet)
