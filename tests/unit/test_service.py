"""The use cases behind the command line and the web: new builds, drawers, lists, explanations."""

from __future__ import annotations

from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import InputError, PartNotFoundError, SubwrightError

ANSWERS = {
    "name": "Test box",
    "supply.battery": "lfp",
    "supply.system": "24",
    "supply.cable_length": "2.5 m",
    "driver.part": "Harbour 10",
    "enclosure.kind": "sealed",
    "enclosure.volume": "40 l",
    "goal.power": "150 W",
}


def test_a_new_build_holds_the_answers(tmp_path: Path) -> None:
    path = tmp_path / "a.build.toml"
    spec = service.new_build(path, ANSWERS).spec
    assert spec == service.open_build(path).spec
    assert (spec.name, spec.supply.battery, spec.supply.system_v) == ("Test box", "lfp", 24)
    assert spec.supply.cable_length_m == pytest.approx(2.5, rel=1e-12)
    assert spec.goal.power_w == pytest.approx(150.0, rel=1e-12)
    assert service.check(path) == ()


def test_a_new_build_is_not_written_over_another(tmp_path: Path) -> None:
    path = tmp_path / "a.build.toml"
    service.new_build(path, ANSWERS)
    before = path.read_text()
    with pytest.raises(InputError, match="exists already"):
        service.new_build(path, {**ANSWERS, "name": "Other"})
    assert path.read_text() == before
    service.new_build(path, {**ANSWERS, "name": "Other"}, replace=True)
    assert service.open_build(path).spec.name == "Other"


def test_a_refused_answer_writes_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a voltage"):
        service.new_build(tmp_path / "a.build.toml", {**ANSWERS, "supply.cable_length": "3 V"})
    assert list(tmp_path.iterdir()) == []


def test_questions_have_help_and_accept_their_defaults() -> None:
    asked = service.questions()
    assert [question.key for question in asked][:2] == ["name", "supply.battery"]
    for question in asked:
        assert question.help
        if question.default:
            assert service.check_answer(question, question.default) == question.default
        with pytest.raises(SubwrightError, match="an answer is needed"):
            service.check_answer(question, "")


def test_an_unknown_driver_is_refused_with_near_misses() -> None:
    driver = next(question for question in service.questions() if question.key == "driver.part")
    with pytest.raises(PartNotFoundError, match="Harbour 10"):
        service.check_answer(driver, "Harbor 10")


def test_check_tells_problems_of_build_and_drawer(tmp_path: Path) -> None:
    path = tmp_path / "a.build.toml"
    service.new_build(path, {**ANSWERS, "drawer": "a.drawer.toml"})
    assert [problem.file.name for problem in service.check(path)] == ["a.drawer.toml"]
    (tmp_path / "a.drawer.toml").write_text("format_version = 1\n[have]\nIRF3206 = 2\n")
    assert "IRF3205" in service.check(path)[0].message
    (tmp_path / "a.drawer.toml").write_text("format_version = 1\n[have]\nIRF3205 = 2\n")
    assert service.check(path) == ()


def test_drawer_counts_up_and_marks_lists(tmp_path: Path) -> None:
    path = tmp_path / "a.drawer.toml"
    assert service.add_drawer_part(path, "IRF3205", 4).in_drawer == 4
    assert service.add_drawer_part(path, "IRF3205").in_drawer == 5
    drawer, rows = service.list_drawer(path)
    assert drawer.quantities == {"IRF3205": 5}
    assert [(row.id, row.kind, row.in_drawer) for row in rows] == [("IRF3205", "mosfet", 5)]
    listed = service.list_parts("MOSFETs", drawer=path)
    assert listed[0].id == "IRF3205"
    assert {row.in_drawer for row in listed[1:]} == {0}
    with pytest.raises(PartNotFoundError, match="IRF3205"):
        service.add_drawer_part(path, "IRF3206")


def test_lists_match_every_word() -> None:
    assert [row.id for row in service.list_parts("driver", "harbour")] == ["Harbour 10"]
    assert service.list_parts("driver", "harbour 12") == ()
    assert {row.kind for row in service.list_parts("op-amps")} == {"op_amp"}
    with pytest.raises(SubwrightError, match="did you mean 'core'"):
        service.list_parts("corre")


def test_every_check_key_and_source_has_a_page() -> None:
    for code in (*service.finding_codes(), *service.spec_keys()):
        page = service.explain(code)
        assert page.title
        assert all(text for _, text in page.sections), code
    assert service.explain("iec-60063").sections
    assert "SUP-" in dict(service.explain().sections)["Checks"]
    with pytest.raises(SubwrightError, match=r"did you mean 'supply\.battery'"):
        service.explain("supply.batery")


def test_set_value_changes_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a.build.toml"
    service.new_build(path, ANSWERS)
    before = path.read_text()
    service.set_value(path, "supply.cable_length", "6 m")
    assert path.read_text() == before.replace('cable_length = "2.5 m"', 'cable_length = "6 m"')
