"""The build file: each mistake located and explained, keys set with the comments kept, saved whole."""

# ruff: noqa: E501  (a row of a table stays on one line)

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patience import assert_within, own_s
from subwright.base.errors import InputError
from subwright.build.spec import BuildSpec
from subwright.outputs.project import Change, drop_value, parse_build, read_build, save_build, set_value
from subwright.outputs.spec_entries import SpecEntry, spec_tables
from subwright.outputs.template import new_file_text
from subwright.outputs.tomlfile import parse_toml

PATH = Path("van.build.toml")

VAN = """\
# The storyteller's van.
format_version = 1
name = "Van"   # painted on the door

[supply]
battery = "lead-acid"  # under the seat
# One-way run. (0.1 m … 30 m)
# cable_length = "4 m"
capacity = "100 Ah"

[driver]
part = "lantern-250"
"""


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_build(text, PATH)
    return [str(problem) for problem in caught.value.problems]


def changed(text: str, key: str, value: str) -> Change:
    return set_value(parse_toml(text, PATH), key, value)


def diff(change: Change) -> list[str]:
    rows = difflib.ndiff(change.old_text.splitlines(), change.text.splitlines())
    return [row for row in rows if row[0] in "+-"]


# --- reading ---


def test_a_good_file_gives_the_spec() -> None:
    spec = parse_build(VAN, PATH).spec
    assert spec.name == "Van"
    assert spec.supply.capacity_ah == 100.0
    assert spec.supply.cable_length_m == pytest.approx(4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('capacity = "100 Ah"', "capacity = 100", 'van.build.toml:9: supply.capacity: capacity needs its unit [capacity is 100] Remedy: write "100 Ah"'),
        ('capacity = "100 Ah"', 'capacity = "100 kg"', "van.build.toml:9: supply.capacity: '100 kg' is a mass, "),
        ('capacity = "100 Ah"', 'capacity = "9e9 Ah"', "van.build.toml:9: supply.capacity: capacity is too large [capacity is 9e9 Ah, limit at most"),
        ('capacity = "100 Ah"', 'capacty = "100 Ah"', "van.build.toml:9: supply.capacty: is not a known key; did you mean 'capacity'?"),
        ('part = "lantern-250"', 'part = "x"\ncable_length = "4 m"', "van.build.toml:13: driver.cable_length: is not a known key here; it belongs in [supply]"),
        ('battery = "lead-acid"', 'battery = "lead acid"', "van.build.toml:6: supply.battery: battery has no choice 'lead acid' [battery is lead acid, limit one of lead-acid, agm, lfp] Remedy: did you mean"),
        ("[supply]", "[suply]", "van.build.toml:5: suply: is not a known key; did you mean 'supply'?"),
        ('name = "Van"', "", "van.build.toml:1: name: is missing; add name at the top of the file"),
        ('name = "Van"', "name = 7", 'van.build.toml:3: name: is 7; write text in quotes, for example "…"'),
        ('name = "Van"', 'name = ""', 'van.build.toml:3: name: is ""; write at least 1 character'),
        ("format_version = 1", "format_version = 2", "van.build.toml:2: format_version: is 2, but this version of subwright reads up to 1; install a newer subwright"),
        ("format_version = 1", "", "van.build.toml:1: format_version: is missing; write format_version = 1 as the first line"),
        ("format_version = 1", 'format_version = "1"', 'van.build.toml:2: format_version: is "1"; write format_version = 1'),
        ("format_version = 1", "format_version = 0", "van.build.toml:2: format_version: is 0; versions count from 1"),
        ('[driver]\npart = "lantern-250"', 'driver = "lantern-250"', "driver: is "),
    ],
)  # fmt: skip
def test_each_mistake_has_its_line_key_and_remedy(old: str, new: str, says: str) -> None:
    assert old in VAN
    said = problems(VAN.replace(old, new))
    assert said[0].startswith(says) or says in said[0], said


def test_all_mistakes_are_told_at_once_in_file_order() -> None:
    text = VAN.replace('"100 Ah"', "100").replace('"lead-acid"', '"gel"').replace("part =", "prat =")
    lines = [int(row.split(":")[1]) for row in problems(text)]
    assert lines == sorted(lines)
    assert {6, 9, 12} <= set(lines)


def test_a_missing_table_is_named_as_a_table() -> None:
    text = VAN[: VAN.index("[driver]")]
    assert problems(text)[0].startswith("van.build.toml:1: driver: is missing; add [driver]")


def test_stored_field_names_are_not_keys() -> None:
    said = problems(VAN.replace('capacity = "100 Ah"', "capacity_ah = 100"))
    assert "supply.capacity_ah: is not a known key; did you mean 'capacity'?" in said[0]


# --- setting ---


def test_setting_a_key_changes_its_line_only() -> None:
    change = changed(VAN, "supply.battery", "agm")
    assert diff(change) == [
        '- battery = "lead-acid"  # under the seat',
        '+ battery = "agm"  # under the seat',
    ]
    assert (change.before, change.after) == ('"lead-acid"', '"agm"')


def test_setting_a_commented_key_puts_it_in_its_place() -> None:
    assert diff(changed(VAN, "supply.cable_length", "5 m")) == [
        '- # cable_length = "4 m"',
        '+ cable_length = "5 m"',
    ]


def test_setting_a_new_key_goes_to_its_table() -> None:
    change = changed(VAN, "supply.max_drop", "4 %")
    assert tomllib.loads(change.text)["supply"]["max_drop"] == "4 %"
    assert change.text.index("max_drop") < change.text.index("[driver]")


def test_setting_a_key_of_a_table_that_is_not_there() -> None:
    change = changed(VAN, "goal.power", "150 W")
    assert tomllib.loads(change.text)["goal"] == {"power": "150 W"}
    assert change.text.startswith(VAN.rstrip("\n"))


@pytest.mark.parametrize(
    ("key", "typed", "stands"),
    [
        ("name", "123", "123"),
        ("name", '"Van 2"', "Van 2"),
        ("name", 'the "big" one', 'the "big" one'),
        ("driver.count", "2", 2),
        ("supply.max_drop", "0.05", 0.05),
        ("supply.section", "auto", "auto"),
        ("supply.section", "6 AWG", "6 AWG"),
        ("supply.system", "24", 24),
    ],
)
def test_typed_values_are_read_as_the_key_needs(key: str, typed: str, stands: object) -> None:
    data = tomllib.loads(changed(VAN, key, typed).text)
    for name in key.split("."):
        data = data[name]
    assert data == stands


@pytest.mark.parametrize(
    ("key", "typed", "says"),
    [
        ("supply.cable_length", "5", "the length '5' has no unit"),
        ("supply.cable_length", "5 V", "'5 V' is a voltage"),
        ("supply.cable_length", "500 m", "too large"),
        ("supply.cable_lenght", "5 m", "did you mean 'cable_length'?"),
        ("cable_length", "5 m", "it belongs in [supply]"),
        ("supply", "x", "is a table; name a key in it, such as supply.battery"),
        ("name.first", "x", "name is a single value, not a table"),
        ("suply.battery", "agm", "is in [suply], which is not a known key; did you mean 'supply'?"),
        ("driver.count", "5", "one of 1, 2, 3, 4"),
        ("supply.battery", "agm\nname = 'x'", "has no choice"),
        ("", "x", "is not a known key"),
        ("supply..x", "x", "is not a known key"),
    ],
)
def test_a_refused_value_says_why(key: str, typed: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        changed(VAN, key, typed)
    assert says in str(caught.value)


def test_a_problem_elsewhere_does_not_block_the_repair_of_another() -> None:
    broken = VAN.replace('"lead-acid"', '"gel"').replace('"100 Ah"', '"100 kg"')
    change = changed(broken, "supply.battery", "agm")
    assert [problem.key for problem in change.remaining] == ["supply.capacity"]


@pytest.mark.parametrize(
    "text",
    [
        'format_version = 1\nname = "x"\nsupply = { battery = "agm", system = 12 } # one line\ndriver.part = "y"\n',
        'format_version = 1\nname = "x"\nsupply.battery = "agm"\nsupply.system = 12\n[driver]\npart = "y"',
        'format_version = 1\nname = "x"\n[driver] # first\n  part = "y"\n\n[supply]\n  battery = "agm"\n\n\n[goal]\n',
        'format_version = 1\n"name" = "x"\n[supply]\n[driver]\npart = """\ny"""\n',
    ],
)
@pytest.mark.parametrize(
    ("key", "typed"),
    [("supply.battery", "lfp"), ("supply.cable_length", "2 m"), ("goal.power", "9 W"), ("note", "n")],
)
def test_unusual_layouts_are_set_all_the_same(text: str, key: str, typed: str) -> None:
    data = tomllib.loads(text)
    table, _, name = key.rpartition(".")
    (data.setdefault(table, {}) if table else data)[name] = typed
    change = changed(text, key, typed)
    assert tomllib.loads(change.text) == data
    assert change.text.count("#") == text.count("#")


def test_a_key_is_left_out_by_making_its_line_a_comment() -> None:
    change = drop_value(parse_toml(VAN, PATH), "supply.battery")
    assert diff(change) == [
        '- battery = "lead-acid"  # under the seat',
        '+ # battery = "lead-acid"  # under the seat',
    ]
    with pytest.raises(InputError, match="must be given"):
        drop_value(parse_toml(VAN, PATH), "name")


def test_setting_a_key_is_quick() -> None:
    """A browser sets a key at each step of a slider: the edit itself must not take the time of the design."""
    text = new_file_text(BuildSpec, {("name",): "x", ("driver", "part"): "y"})
    source = parse_toml(text, PATH)
    assert_within(0.05, lambda: own_s(lambda: set_value(source, "supply.cable_length", "5 m")))


def test_a_hash_in_a_long_text_is_not_taken_for_a_comment() -> None:
    text = VAN.replace("[supply]", 'note = """\n# cable_length = "1 m"\n"""\n[supply]')
    change = changed(text, "supply.cable_length", "5 m")
    assert tomllib.loads(change.text)["note"] == '# cable_length = "1 m"\n'
    assert tomllib.loads(change.text)["supply"]["cable_length"] == "5 m"


def test_windows_line_ends_stay() -> None:
    change = changed(VAN.replace("\n", "\r\n"), "supply.cable_length", "5 m")
    assert change.text.count("\r\n") == change.text.count("\n") == VAN.count("\n")


def every_entry() -> list[SpecEntry]:
    return [entry for table in spec_tables(BuildSpec) if not table.optional for entry in table.entries]


@settings(deadline=None)
@given(st.data())
def test_any_key_with_a_default_can_be_set_to_it_in_a_new_file(data: st.DataObject) -> None:
    entry = data.draw(st.sampled_from([entry for entry in every_entry() if entry.default]))
    text = new_file_text(BuildSpec, {("name",): "x", ("driver", "part"): "y"})
    value = entry.default.strip('"')
    change = changed(text, ".".join(map(str, entry.loc)), value)
    assert len(diff(change)) in {0, 2}, diff(change)


# --- saving ---


def test_save_writes_the_change(tmp_path: Path) -> None:
    path = tmp_path / "van.build.toml"
    path.write_text(VAN)
    save_build(set_value(read_build(path).source, "supply.battery", "lfp"))
    assert path.read_text() == VAN.replace('"lead-acid"', '"lfp"')


def test_save_refuses_when_the_file_changed_meanwhile(tmp_path: Path) -> None:
    path = tmp_path / "van.build.toml"
    path.write_text(VAN)
    change = set_value(read_build(path).source, "supply.battery", "lfp")
    path.write_text(VAN + "# a late thought\n")
    with pytest.raises(InputError, match="changed by another programme meanwhile"):
        save_build(change)
    assert path.read_text() == VAN + "# a late thought\n"


# --- a new file ---


def test_a_new_file_reads_back_and_explains_each_key() -> None:
    values = {("format_version",): 1, ("name",): 'A "quoted" name \\ ü', ("driver", "part"): "lantern-250"}
    text = new_file_text(BuildSpec, values, [("supply", "capacity")])
    spec = parse_build(text, PATH).spec
    assert spec.name == 'A "quoted" name \\ ü'
    assert '\ncapacity = "' in text
    assert '\n# cable_length = "' in text
    words = " ".join(text.replace("\n# ", " ").split())
    for entry in every_entry():
        assert entry.why, entry.loc
        assert entry.why in words, entry.loc
        assert entry.range in words, entry.loc
    assert max(map(len, text.splitlines())) <= 110


def test_each_default_written_plainly_means_what_leaving_it_out_means() -> None:
    needed = {("name",): "x", ("driver", "part"): "y"}
    every = [entry.loc for entry in every_entry() if entry.default]
    plain = parse_build(new_file_text(BuildSpec, needed, every), PATH).spec
    bare = parse_build(new_file_text(BuildSpec, {**needed, ("format_version",): 1}), PATH).spec
    assert plain == bare
