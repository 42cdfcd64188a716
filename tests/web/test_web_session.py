"""One build's session: history on disk, crashes, other programmes, and the design at any battery voltage."""

from __future__ import annotations

import io
import json
import os
import zipfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import InputError, RangeError, SubwrightError
from subwright.build.moment import moment_at, voltage_range
from subwright.build.result import Design
from subwright.outputs import project
from subwright.outputs.archive import zipped
from subwright.outputs.history import History, open_history, patch_between
from subwright.outputs.project import drop_value
from subwright.outputs.tomlfile import TomlFile, parse_toml
from subwright.service import solve
from subwright.session import BuildSession, Conflict, moved_between
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def build(tmp_path: Path) -> Path:
    for name in ("storyteller-van.build.toml", "storyteller-van.drawer.toml"):
        (tmp_path / name).write_bytes((EXAMPLES / name).read_bytes())
    return tmp_path / "storyteller-van.build.toml"


def set_key(session: BuildSession, key: str, value: str) -> None:
    session.change(key, value, session.revision)


def journal_of(build: Path) -> Path:
    return build.parent / ".subwright" / "storyteller-van.journal"


def test_each_text_of_a_build_file_is_checked_once(build: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    checked: list[str] = []
    validate = project.validate

    def counted(model: Any, source: TomlFile) -> Any:
        checked.append(source.text)
        return validate(model, source)

    monkeypatch.setattr(project, "validate", counted)
    session = BuildSession.opened(build)
    session.outcome()
    set_key(session, "filter.corner", "97 Hz")
    session.outcome()
    assert len(checked) == len(set(checked)) == 2
    session.undo(session.revision)
    session.outcome()
    set_key(session, "filter.corner", "97 Hz")
    assert len(checked) == 2
    for _ in range(2):  # what was refused is told again, whole
        with pytest.raises(InputError, match=r"filter\.corner") as refused:
            set_key(session, "filter.corner", "97 furlongs")
        assert refused.value.problems


# --- the history ---------------------------------------------------------------------------------------


@given(st.lists(st.text(alphabet="ab\n\u2028é", max_size=12), min_size=1, max_size=8))
@settings(max_examples=60)
def test_a_patch_goes_there_and_back(texts: list[str]) -> None:
    for before, after in pairwise(texts):
        patch = patch_between(before, after, "x")
        assert patch.apply(before) == after
        assert patch.revert(after) == before


def test_undo_and_redo_go_all_the_way(build: Path) -> None:
    session = BuildSession.opened(build)
    first = session.text
    for power in range(40, 140):
        set_key(session, "goal.power", f"{power} W")
    last = session.text
    while session.undo(session.revision):
        pass
    assert session.text == first == build.read_text()
    while session.redo(session.revision):
        pass
    assert session.text == last == build.read_text()


def test_everything_is_there_again_after_a_restart(build: Path) -> None:
    session = BuildSession.opened(build)
    set_key(session, "goal.power", "120 W")
    session.keep("louder")
    set_key(session, "filter.corner", "90 Hz")
    set_key(session, "goal.power", "100 W")
    session.undo(session.revision)
    again = BuildSession.opened(build)
    assert again.text == session.text
    assert again.revision == session.revision
    assert [p.what for p in again.history.done] == [p.what for p in session.history.done]
    assert again.redo(again.revision).startswith("goal.power")
    assert 'power = "120 W"' in again.version("louder").text


def test_a_change_noted_but_not_saved_is_saved_on_opening(build: Path) -> None:
    session = BuildSession.opened(build)
    set_key(session, "goal.power", "120 W")
    before = build.read_text()
    os.utime(build, (1_000_000_000, 1_000_000_000))
    session.history.change(before.replace('"120 W"', '"130 W"'), "goal.power")  # and then the power went
    again = BuildSession.opened(build)
    assert 'power = "130 W"' in build.read_text()
    assert again.undo(again.revision) == "goal.power"
    assert build.read_text() == before


def test_a_line_cut_off_by_a_crash_costs_that_line_only(build: Path) -> None:
    session = BuildSession.opened(build)
    set_key(session, "goal.power", "120 W")
    with journal_of(build).open("a") as stream:
        stream.write('{"op": "edit", "start": 3, "ol')
    again = BuildSession.opened(build)
    assert again.undo(again.revision).startswith("goal.power")
    set_key(again, "goal.power", "90 W")
    assert BuildSession.opened(build).text == again.text


def test_a_spoilt_journal_is_put_aside_and_the_build_opens(build: Path) -> None:
    session = BuildSession.opened(build)
    set_key(session, "goal.power", "120 W")
    rows = journal_of(build).read_text().splitlines()
    row = json.loads(rows[1])
    row["old"] = "nonsense"
    journal_of(build).write_text("\n".join([rows[0], json.dumps(row)]) + "\n")
    again = BuildSession.opened(build)
    assert again.text == session.text
    assert again.undo(again.revision) == ""
    assert list(journal_of(build).parent.glob("*.old"))


def test_what_another_programme_writes_is_a_step_like_any_other(build: Path) -> None:
    session = BuildSession.opened(build)
    seen = session.revision
    build.write_text(build.read_text().replace('"180 W"', '"140 W"'))
    with pytest.raises(Conflict, match="changed"):
        session.change("filter.corner", "90 Hz", seen)
    assert 'power = "140 W"' in session.text
    assert session.undo(session.revision) == "changed outside the workbench"
    assert 'power = "180 W"' in build.read_text()


def test_what_is_written_within_one_tick_of_the_files_clock_is_seen_as_well(build: Path) -> None:
    """A file's time moves in steps of some milliseconds: two saves within one leave time and size alike."""
    session = BuildSession.opened(build)
    before = build.stat().st_mtime_ns
    build.write_text(build.read_text().replace('"180 W"', '"140 W"'))
    os.utime(build, ns=(before, before))
    assert 'power = "140 W"' in session.text


def test_a_file_that_is_spoilt_outside_does_not_take_the_session_down(build: Path) -> None:
    session = BuildSession.opened(build)
    good = session.text
    build.write_bytes(b"\xff\xfe\x00spoilt")
    assert session.text == good


def test_a_folder_that_cannot_be_written_changes_nothing(build: Path) -> None:
    history = History(journal=Path("/proc/nowhere/x.journal"), text="a")
    with pytest.raises(SubwrightError, match="history"):
        history.change("b", "x")
    assert history.text == "a"
    assert history.revision == 0


def test_leaving_a_key_to_its_default_keeps_its_line_as_a_comment(build: Path) -> None:
    session = BuildSession.opened(build)
    set_key(session, "goal.power", "")
    assert '# power = "180 W"' in session.text
    set_key(session, "goal.power", "90 W")
    assert session.text.count("power = ") == build.read_text().count("power = ")
    source = parse_toml(session.text, build)
    with pytest.raises(InputError, match="must be given"):
        drop_value(source, "name")
    with pytest.raises(InputError, match="no_such"):
        drop_value(source, "goal.no_such")


def test_open_history_tells_which_state_is_newer(tmp_path: Path) -> None:
    journal = tmp_path / "j" / "x.journal"
    history, unsaved = open_history(journal, "one", 0.0)
    assert not unsaved
    history.change("two", "x")
    assert open_history(journal, "two", 0.0)[1] is False
    assert open_history(journal, "one", 0.0)[1] is True
    later = journal.stat().st_mtime + 10.0  # somebody put the old text back by hand
    reopened, unsaved = open_history(journal, "one", later)
    assert not unsaved
    assert reopened.text == "one"


def test_what_moved_names_stage_value_before_and_after(build: Path) -> None:
    session = BuildSession.opened(build)
    before = session.outcome()
    after = session.what_if("supply.cable_length", "9 m")
    moved = {(m.stage, m.name): (m.before, m.after) for m in moved_between(before, after)}
    assert ("supply", "copper section") in moved
    old, new = moved[("supply", "cable to battery +")]
    assert (old, new) == ("4.00 m", "9.00 m")
    assert moved_between(before, before) == ()


# --- the moment ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["storyteller-van", "canal-workboat", "cargo-bike-cinema"])
def design(request: pytest.FixtureRequest) -> Design:
    return solve(EXAMPLES / f"{request.param}.build.toml").design


def test_between_the_corners_it_agrees_with_the_solved_sweep(design: Design) -> None:
    """Second route: the chain solved at 25 voltages against the cubic through four corners."""
    swept = design.sweeps
    for i, emf in enumerate(swept.battery_v):
        point = moment_at(design, float(emf), Level.FULL).point
        assert point is not None
        idle = moment_at(design, float(emf), Level.IDLE).point
        assert idle is not None
        assert point.output_w == pytest.approx(swept.clip_w[i], rel=2e-3)
        assert point.battery_a == pytest.approx(swept.battery_a[i], rel=2e-3)
        assert point.rail_crest_v == pytest.approx(swept.rail_full_v[i], rel=2e-3)
        assert idle.rail_crest_v == pytest.approx(swept.rail_idle_v[i], rel=2e-3)


def test_at_a_corner_it_is_the_operating_point_itself(design: Design) -> None:
    for solved in design.points:
        point = moment_at(design, solved.emf_v, solved.level).point
        assert point is not None
        assert point.battery_a == pytest.approx(solved.battery_a, rel=1e-9)
        assert sum(point.losses_w.values()) == pytest.approx(
            sum(solved.losses_w.values()), rel=1e-9, abs=1e-9
        )


def test_no_watt_is_lost_between_the_corners(design: Design) -> None:
    low, high = design.supply.corners[Corner.LOW], design.supply.corners[Corner.MAX]
    for emf in np.linspace(low, high, 13):
        point = moment_at(design, float(emf), Level.FULL).point
        assert point is not None
        lost = sum(point.losses_w.values())
        assert point.battery_w == pytest.approx(point.output_w + lost, rel=2e-3)


def test_outside_it_is_off_or_refused(design: Design) -> None:
    low, high = voltage_range(design)
    assert moment_at(design, low, Level.FULL).state in ("off low", "tired")
    assert moment_at(design, high, Level.FULL).point is None
    for wrong in (low - 0.1, high + 0.1, -1.0, 1e6):
        with pytest.raises(RangeError, match="battery voltage"):
            moment_at(design, wrong, Level.FULL)


def test_a_stronger_battery_is_never_quieter(design: Design) -> None:
    corners = design.supply.corners
    levels = [
        moment_at(design, float(emf), Level.FULL).loudest_db
        for emf in np.linspace(corners[Corner.LOW], corners[Corner.MAX], 9)
    ]
    known = [level for level in levels if level is not None]
    assert len(known) == 9
    assert all(b >= a - 1e-9 for a, b in pairwise(known))


def test_an_archive_repeats_byte_for_byte() -> None:
    files = {"b/x.txt": b"two", "a.txt": b"one"}
    first = zipped(files)
    assert first == zipped(dict(reversed(files.items())))
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert archive.namelist() == ["a.txt", "b/x.txt"]
        assert {name: archive.read(name) for name in archive.namelist()} == files
