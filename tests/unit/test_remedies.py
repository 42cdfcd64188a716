"""Remedies found by trying: the least change of an input that settles a check."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.build.result import Finding
from subwright.outputs import project
from subwright.outputs.project import BuildFile, parse_build, read_build
from subwright.service import Remedy, Solved, Wrong, remedy_by, remedy_keys
from subwright.service.remedies import _entry as entry_of
from subwright.service.remedies import _rows, _strides, _way

VAN = Path(__file__).parents[2] / "examples" / "storyteller-van.build.toml"


@cache
def van() -> tuple[BuildFile, Solved]:
    build = read_build(VAN)
    return build, service.solve(build)


def finding(code: str) -> Finding:
    return next(f for f in van()[1].design.findings if f.code == code and f.open)


@cache
def tried(code: str, key: str, room: float | None = None) -> Remedy:
    build, solved = van()
    found = finding(code)
    wrong = Wrong(code=code, quantity=found.quantity, severity=found.severity, room=room)
    return remedy_by(build, key, wrong, found.remedy, solved=solved)


def with_value(key: str, value: str) -> Solved:
    build = van()[0]
    return service.solve(parse_build(project.set_value(build.source, key, value).text, build.path))


def test_the_least_change_that_does() -> None:
    found = tried("DRV-06", "goal.power")
    assert found.cured
    assert found.before == "180 W"
    watts = float(found.value.removesuffix(" W"))
    assert 120.0 < watts < 180.0
    assert found.margin is not None
    assert found.margin >= 0.0
    again = with_value("goal.power", found.value)
    assert not [f for f in again.design.findings if f.code == "DRV-06" and f.severity == "warn"]
    # a step nearer to what it is now would not do (the ladder's steps are 1 to 3 % here)
    nearer = with_value("goal.power", f"{watts * 1.025:.3g} W")
    assert [f for f in nearer.design.findings if f.code == "DRV-06" and f.severity == "warn"]


def test_a_count_goes_up_by_one_where_that_does() -> None:
    found = tried("DRV-06", "driver.count")
    assert (found.before, found.value, found.cured, found.tried) == ("1", "2", True, 1)


def test_room_can_be_asked_for() -> None:
    plain, roomy = tried("DRV-06", "goal.power"), tried("DRV-06", "goal.power", 0.1)
    assert roomy.cured
    assert roomy.margin is not None
    assert roomy.margin >= 0.1
    assert float(roomy.value.removesuffix(" W")) < float(plain.value.removesuffix(" W"))


def test_what_is_not_enough_is_said_with_the_best_that_was_found() -> None:
    found = tried("CAB-01", "filter.corner")
    assert not found.cured
    assert found.margin is not None
    assert finding("CAB-01").margin < found.margin < 0.0
    assert found.solved is not None


def test_a_value_that_the_remedy_names_is_tried() -> None:
    found = tried("INP-01", "input.receiver")
    assert (found.value, found.cured) == ("difference", True)


def test_parts_are_tried_in_their_order() -> None:
    build, solved = van()
    dump = finding("SUP-10")
    wrong = Wrong(code="SUP-10", quantity=dump.quantity, severity=dump.severity)
    parts = ("EL 1000u 25V", "EL 2200u 35V")
    key = "converter.input_capacitor"
    found = remedy_by(build, key, wrong, dump.remedy, solved=solved, taken="EL 2200u 25V", parts=parts)
    assert (found.before, found.value, found.cured, found.tried) == ("EL 2200u 25V", "EL 2200u 35V", True, 2)


def test_a_build_without_a_design_is_mended() -> None:
    build = van()[0]
    broken = parse_build(project.set_value(build.source, "goal.power", "900 W").text, build.path)
    with pytest.raises(SubwrightError) as refused:
        service.solve(broken)
    remedy = refused.value.remedy
    assert remedy_keys(remedy) == ("goal.power", "amplifier.kind")
    found = remedy_by(broken, "goal.power", Wrong(), remedy)
    assert found.cured
    assert 225.0 <= float(found.value.removesuffix(" W")) < 900.0
    assert found.margin is None
    assert found.solved is not None


def test_an_input_that_there_is_not() -> None:
    with pytest.raises(SubwrightError, match=r"supply\.colour is no input"):
        remedy_by(van()[0], "supply.colour", Wrong(), "Change supply.colour.")


def test_remedies_name_their_inputs() -> None:
    text = "Raise converter.reservoir, or e.g. see a.b and op.amp; heat.heatsink."
    assert remedy_keys(text) == ("converter.reservoir", "heat.heatsink")
    assert remedy_keys("Nothing to do.") == ()


@pytest.mark.parametrize(
    ("text", "key", "way"),
    [
        ("Raise supply.section, or lower supply.fuse.", "supply.section", 1),
        ("Raise supply.section, or lower supply.fuse.", "supply.fuse", -1),
        ("Thicken the cable (supply.section), lower goal.power.", "supply.section", 1),
        ("Fewer strands (transformer.primary_strands).", "transformer.primary_strands", -1),
        ("Change enclosure.port_diameter.", "enclosure.port_diameter", 0),
        ("A matter of supply.section.", "supply.section", 0),
    ],
)
def test_which_way(text: str, key: str, way: int) -> None:
    assert _way(text, key) == way


@pytest.mark.parametrize(
    ("key", "before", "text", "rows"),
    [
        ("supply.section", "16 mm2", "Raise supply.section.", [("20 mm2", "25 mm2")]),
        ("protection.resistor_tolerance", "1 %", "tighten protection.resistor_tolerance", [("0.5 %",)]),
        ("driver.count", "1", "more drivers (driver.count)", [("2", "3")]),
        ("enclosure.electronics_inside", "true", "enclosure.electronics_inside = false", [("false",)]),
        ("goal.power", "180 W", "Lower goal.power.", [("178 W", "176 W")]),
        ("supply.fuse", "40 A", "Raise supply.fuse.", [("50 A", "60 A")]),
    ],
)
def test_values_are_what_one_writes_and_buys(
    key: str, before: str, text: str, rows: list[tuple[str, ...]]
) -> None:
    entry = entry_of(key)
    assert entry is not None
    found = [tuple(row[: len(rows[0])]) for row in _rows(entry, before, text, ()) if row]
    assert found[0] == rows[0]


def test_no_value_leaves_the_bounds() -> None:
    entry = entry_of("goal.power")
    assert entry is not None
    assert entry.rule is not None
    (row,) = _rows(entry, entry.rule.high_text, "Raise goal.power.", ())
    assert list(row) == []


def test_strides_reach_the_end() -> None:
    for count in range(20):
        at = list(_strides(count))
        assert at == sorted(set(at))
        assert (at[-1] == count - 1) if count else not at
