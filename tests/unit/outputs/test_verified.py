"""Results of simulation: kept whole beside the build, known as stale, shown on their own page."""

from __future__ import annotations

import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from subwright import __version__, service
from subwright.base.errors import InputError, SubwrightError
from subwright.build.experiments import all_experiments, experiment_named
from subwright.build.experiments.record import Check
from subwright.outputs import verified
from subwright.outputs.design_view import pack_view
from subwright.outputs.pack import pack_files
from subwright.outputs.print_code import design_code
from subwright.outputs.sheet_checked import (
    checked_csv,
    checked_sheet,
    difference_text,
    limit_text,
    state_of,
    value_text,
)
from subwright.outputs.verified import Saved, SavedDesign, read_verified, results_of, save_verified
from subwright.service.solved import library_of

EXAMPLE = Path(__file__).parents[3] / "examples" / "storyteller-van.build.toml"
RAIL = Check(quantity="positive rail", closed=30.0, simulated=30.3, unit="V", limit=0.02)
LEVEL = Check(quantity="level", closed=-3.0, simulated=-3.08, unit="dB", limit=0.05, absolute=True)


def saved(experiment: str = "box-response", case: str = "", engine: str = "ngspice", *checks: Check) -> Saved:
    return Saved(
        experiment=experiment,
        block="box",
        case=case,
        engine=engine,
        seconds=1.25,
        at="2026-01-02T03:04:05+00:00",
        checks=checks or (RAIL, LEVEL),
    )


@cache
def solved() -> service.Solved:
    return service.solve(EXAMPLE)


def test_what_is_saved_is_read(tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    assert read_verified(path) == ()
    save_verified(path, "AAAA-0001", [saved()])
    assert read_verified(path) == (SavedDesign(code="AAAA-0001", made_with=__version__, results=(saved(),)),)
    assert [p.name for p in tmp_path.iterdir()] == ["van.verified.json"]


def test_nothing_new_writes_nothing(tmp_path: Path) -> None:
    save_verified(tmp_path / "van.verified.json", "AAAA-0001", [])
    assert list(tmp_path.iterdir()) == []


def test_a_newer_result_takes_the_place_of_the_same_case_only(tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    save_verified(path, "AAAA-0001", [saved("a"), saved("b"), saved("b", "", "embedded")])
    better = saved("b", "", "ngspice", replace(RAIL, simulated=30.1))
    save_verified(path, "AAAA-0001", [better, saved("c")])
    save_verified(path, "AAAA-0002", [saved("a")])
    first, second = read_verified(path)
    assert first.results == (saved("a"), better, saved("b", "", "embedded"), saved("c"))
    assert second.results == (saved("a"),)
    assert results_of((first, second), "AAAA-0002") == second.results
    assert results_of((first, second), "AAAA-0003") == ()


def test_results_of_another_version_do_not_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "van.verified.json"
    monkeypatch.setattr(verified, "__version__", "0.0.1")
    save_verified(path, "AAAA-0001", [saved("a")])
    monkeypatch.undo()
    assert results_of(read_verified(path), "AAAA-0001") == ()
    save_verified(path, "AAAA-0001", [saved("b")])
    assert [one.made_with for one in read_verified(path)] == ["0.0.1", __version__]


def test_the_oldest_designs_go_first(tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    for number in range(21):
        save_verified(path, f"AAAA-{number:04d}", [saved()])
    save_verified(path, "AAAA-0001", [saved("again")])
    save_verified(path, "AAAA-0021", [saved()])
    codes = [one.code for one in read_verified(path)]
    assert len(codes) == 20
    assert codes[-2:] == ["AAAA-0001", "AAAA-0021"]
    assert "AAAA-0002" not in codes


def _save_one(path: Path, name: str) -> None:
    save_verified(path, "AAAA-0001", [saved(name)])


def test_two_at_a_time_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    names = [f"experiment-{k}" for k in range(12)]
    with ProcessPoolExecutor(4) as pool:
        list(pool.map(_save_one, [path] * len(names), names))
    (kept,) = read_verified(path)
    assert sorted(one.experiment for one in kept.results) == sorted(names)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "1: .*is no JSON"),
        ('{\n"format": 1,\n"designs": [', "3: .*is no JSON"),
        ("[" * 100_000, "holds something else"),
        ("[]", "holds something else"),
        ('{"format": 2, "designs": []}', "later version"),
        ('{"format": 1}', "lacks a field"),
        ('{"format": 1, "designs": [{"code": "A", "made_with": "1", "results": [{}]}]}', "lacks a field"),
        ('{"format": 1, "designs": [{"code": 5, "made_with": "1", "results": []}]}', "lacks a field"),
    ],
)
def test_another_file_is_refused_and_left_alone(text: str, complaint: str, tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        save_verified(path, "AAAA-0001", [saved()])
    assert caught.match(complaint)
    assert str(caught.value).startswith(f"{path}:")
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("value", ["NaN", "Infinity", "1e999", "true", '"3"'])
def test_a_value_that_can_not_be_one_is_refused(value: str, tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    save_verified(path, "AAAA-0001", [saved()])
    path.write_text(path.read_text(encoding="utf-8").replace("30.3", value), encoding="utf-8")
    with pytest.raises(InputError, match="can't be one"):
        read_verified(path)


def test_a_check_that_compares_nothing_is_refused() -> None:
    for change in ({"closed": 0.0}, {"simulated": float("nan")}, {"limit": 0.0}):
        with pytest.raises(SubwrightError, match="can't be compared"):
            replace(RAIL, **change)
    assert replace(LEVEL, closed=0.0).difference == -3.08


def test_checks_as_text() -> None:
    assert (value_text(30.3, "V"), difference_text(RAIL), limit_text(RAIL)) == ("30.30 V", "+1 %", "2 %")
    assert RAIL.holds
    assert (value_text(-3.08, "dB"), difference_text(LEVEL), limit_text(LEVEL)) == (
        "\u22123.080 dB",
        "\u22120.08 dB",
        "0.05 dB",
    )
    assert not LEVEL.holds
    near = replace(RAIL, simulated=30.0 + 1e-9)
    assert difference_text(near) == "< 0.02 %"
    lag = Check(quantity="delay", closed=1.5, simulated=1.502, unit="s", limit=0.01, absolute=True)
    assert (difference_text(lag), limit_text(lag)) == ("+2.0 ms", "10 ms")


def test_a_page_says_that_nothing_was_run() -> None:
    made = solved()
    sheet = checked_sheet(made.design, library_of(made), ())
    assert sheet.lead.startswith("NOT RUN.")
    assert sheet.grids == ()
    assert "NOT RUN" in pack_files(made.design)["summary.html"].decode()


def test_a_page_says_that_only_another_version_was_run() -> None:
    made = solved()
    other = SavedDesign(code="AAAA-0001", made_with=__version__, results=(saved(),))
    sheet = checked_sheet(made.design, library_of(made), (other,))
    assert sheet.lead.startswith("RUN ON ANOTHER VERSION OF THIS DESIGN")
    assert not any("positive rail" in row for grid in sheet.grids for row in grid.rows)


def test_a_page_shows_what_was_run_and_what_was_not() -> None:
    made, library = solved(), library_of(solved())
    code = design_code(made.design)
    every = tuple(
        saved(one.name, case.name) for one in all_experiments() for case in one.cases(made.design, library)
    )
    whole = SavedDesign(code=code, made_with=__version__, results=every)
    state, results, missing = state_of(made.design, library, (whole,))
    assert (state, results, missing) == ("run", every, ())
    sheet = checked_sheet(made.design, library, (whole,))
    assert f"{len(every)} BREAK THEIR LIMIT" in sheet.lead
    assert sum(len(grid.rows) for grid in sheet.grids) == 2 * len(every)
    assert all(("NO" in row) is ("level" in row) for grid in sheet.grids for row in grid.rows)
    part = replace(whole, results=(saved("box-response"), saved("no longer there")))
    sheet = checked_sheet(made.design, library, (part,))
    if len({one.experiment for one in every}) > 1:
        assert sheet.grids[-1].title == "Not run on this design"
    assert {"no longer there", experiment_named("box-response").title} <= {grid.title for grid in sheet.grids}


def test_the_pack_depends_on_the_results_but_not_on_when_they_were_made() -> None:
    made, library = solved(), library_of(solved())
    code = design_code(made.design)
    first = SavedDesign(code=code, made_with=__version__, results=(saved(),))
    later = replace(first, results=(replace(saved(), seconds=9.5, at="2027-07-07T07:07:07+00:00"),))
    one, other = (pack_view(made.design, library=library, verified=(results,)) for results in (first, later))
    assert [sheet for sheet in one.sheets if sheet.key == "checked"] == [
        sheet for sheet in other.sheets if sheet.key == "checked"
    ]
    assert checked_csv(first.results) == checked_csv(later.results)
    assert "positive rail,30.00 V,30.30 V,'+1 %,2 %,yes,ngspice" in checked_csv(first.results)


def test_the_file_is_readable_by_people(tmp_path: Path) -> None:
    path = tmp_path / "van.verified.json"
    save_verified(path, "AAAA-0001", [saved()])
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") > 20
    assert json.loads(text)["designs"][0]["results"][0]["checks"][0]["quantity"] == "positive rail"


def test_engines_that_read_alike_share_a_row() -> None:
    made, library = solved(), library_of(solved())
    results = tuple(saved("box-response", "", engine) for engine in ("ngspice", "embedded"))
    results = (*results, saved("box-response", "", "third", replace(RAIL, simulated=30.2)))
    whole = SavedDesign(code=design_code(made.design), made_with=__version__, results=results)
    grid = checked_sheet(made.design, library, (whole,)).grids[0]
    assert [row[-1] for row in grid.rows] == ["embedded and ngspice", "embedded and ngspice", "third"]
