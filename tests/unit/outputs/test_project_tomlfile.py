"""Reading TOML with located problems, the line index, and saving without loss."""

# ruff: noqa: E501  (a row of a table stays on one line)

from __future__ import annotations

import os
import stat
import subprocess
import sys
import textwrap
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from patience import assert_within, own_s
from subwright.base.errors import InputError
from subwright.base.saving import save_atomically
from subwright.base.tomllines import KeyPath, scan
from subwright.outputs.tomlfile import parse_toml, read_toml


def problem(text: str) -> str:
    with pytest.raises(InputError) as caught:
        parse_toml(text, Path("a.build.toml"))
    assert len(caught.value.problems) == 1
    return str(caught.value.problems[0])


# --- line index ---

EVERY_KIND = '''\
title = "x" # comment with = and [brackets]
multi = """
first
a = "not a key"
""" # closing
literal = \'\'\'
b = 1\'\'\'
"quoted.key" = 1
site."a b".c = 2

[table] # header
list = [ # comment ]
  "one", # , ]
  { x = 1, y = "}" },
  [ 3,
    4 ],
]
inline = { deep = { er = 1 }, k.l = 2 }
when = 1979-05-27T07:32:00Z

[table.sub]
v = 1
  [[rows]]
  id = "a"
  [rows.inner]
  z = 1
  [[rows]]
  id = "b"
  [rows.inner]
  z = 2
'''


def test_each_kind_of_key_has_its_line() -> None:
    lines = scan(EVERY_KIND).lines
    expected: dict[KeyPath, int] = {
        ("title",): 1,
        ("multi",): 2,
        ("literal",): 6,
        ("quoted.key",): 8,
        ("site", "a b", "c"): 9,
        ("table",): 11,
        ("table", "list"): 12,
        ("table", "list", 1): 14,
        ("table", "list", 1, "y"): 14,
        ("table", "list", 2, 1): 16,
        ("table", "inline", "deep", "er"): 18,
        ("table", "inline", "k", "l"): 18,
        ("table", "when"): 19,
        ("table", "sub", "v"): 22,
        ("rows", 0, "id"): 24,
        ("rows", 0, "inner", "z"): 26,
        ("rows", 1, "id"): 28,
        ("rows", 1, "inner", "z"): 30,
    }
    assert {loc: lines.get(loc) for loc in expected} == expected
    assert ("a",) not in lines


def every_path(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from every_path(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from every_path(inner, (*path, index))


keys = st.text(min_size=1, max_size=6)
scalars = st.integers(-(2**40), 2**40) | st.booleans() | st.text(max_size=12) | st.floats(allow_nan=False)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(keys, values, max_size=5))
def test_index_holds_exactly_the_paths_that_the_decoder_sees(document: dict[str, Any]) -> None:
    text = tomlkit.dumps(document)
    assert set(scan(text).lines) == set(every_path(tomllib.loads(text)))


def value_at(data: Any, path: KeyPath) -> Any:
    for item in path:
        data = data[item]
    return data


@given(st.dictionaries(keys, values, max_size=5))
def test_each_value_stands_where_the_layout_says(document: dict[str, Any]) -> None:
    text = tomlkit.dumps(document)
    data = tomllib.loads(text)
    for path, (start, end) in scan(text).values.items():
        assert tomllib.loads(f"v = {text[start:end]}")["v"] == value_at(data, path)


def test_values_end_before_blanks_and_comments() -> None:
    text = "a = 1  # one\r\nb = 2 \r\nc = {d = 3 , e = 4}\nf=5"
    cut = {path: text[start:end] for path, (start, end) in scan(text).values.items()}
    assert cut == {
        ("a",): "1",
        ("b",): "2",
        ("c",): "{d = 3 , e = 4}",
        ("c", "d"): "3",
        ("c", "e"): "4",
        ("f",): "5",
    }


def test_windows_line_ends_count_once() -> None:
    assert scan("a = 1\r\n\r\n[b]\r\nc = 2\r\n").lines[("b", "c")] == 4


# --- syntax ---


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a = 1\n[supply]\ncable_length = 5 m\n", 'a.build.toml:3: cable_length: needs quotes round its value; write cable_length = "5 m"'),
        ("a = “5 m”\n", 'a.build.toml:1: a: has curly quotes; write straight ones: a = "5 m"'),
        ("x = 1\nx = 2\n", "a.build.toml:2: x: is set twice; keep one of the two"),
        ("\nname = \n", 'a.build.toml:2: name: has no value after "="; write name = "…" or remove the line'),
        ("on = True\n", "a.build.toml:1: on: is True; write true"),
        ('name = "van\nb = 2\n', "a.build.toml:1: name: has a string without its closing quote"),
        ("[supply\nb = 2\n", "a.build.toml:1: [supply: has a table header without its closing ']'"),
        ("just words\n", "a.build.toml:1: just words: has no '=' after the key"),
        ("[a]\nb = [1,\n", "a.build.toml:2: b: has a list or inline table without its closing bracket"),
        ("[a]\n[b]\n[a]\n", "a.build.toml:3: [a]: is declared twice; join the two tables under one header"),
        ("a = [1.0, nan]\n", "a.build.toml:1: a[1]: is nan, not a finite number; write a number"),
        ("a.b = -inf\n", "a.build.toml:1: a.b: is -inf, not a finite number; write a number"),
    ],
)  # fmt: skip
def test_syntax_problem_names_line_key_and_remedy(text: str, says: str) -> None:
    assert problem(text) == says


def test_deep_nesting_is_refused() -> None:
    assert "nested too deeply" in problem("a = " + "[" * 5000 + "]" * 5000)


def test_endless_integer_is_refused() -> None:
    assert "can't be read" in problem("a = " + "9" * 5000)


# --- files ---


def file_problem(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_toml(path)
    return str(caught.value)


def test_missing_file_names_a_neighbour(tmp_path: Path) -> None:
    (tmp_path / "van.build.toml").write_text("a = 1")
    said = file_problem(tmp_path / "vam.build.toml")
    assert said.endswith(
        "file: does not exist (near it stands van.build.toml); check the path of the build file"
    )


def test_folder_binary_latin_and_huge_files_are_refused(tmp_path: Path) -> None:
    assert "is a folder" in file_problem(tmp_path)
    binary = tmp_path / "b"
    binary.write_bytes(b"a = 1\n\x00\x01")
    assert f"{binary}:2: file: is binary" in file_problem(binary)
    latin = tmp_path / "l"
    latin.write_bytes("a = 1\nname = 'Käse'\n".encode("latin-1"))
    assert f"{latin}:2: file: is not UTF-8 text (byte 0xe4)" in file_problem(latin)
    huge = tmp_path / "h"
    with huge.open("wb") as stream:
        stream.truncate(5_000_000_000)
    assert_within(1.0, lambda: own_s(lambda: file_problem(huge)))  # it isn't read
    assert "holds 5000.0 MB, limit 1 MB" in file_problem(huge)
    assert "can't be read" in file_problem(Path("a\0b"))


def test_pipe_is_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "p")
    assert "is not a regular file" in file_problem(tmp_path / "p")


def test_permission_problem_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.toml"
    path.write_text("a = 1")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "permission denied; give yourself read access" in file_problem(path)


def test_byte_order_mark_is_read_off(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(path).data == {"a": 1}


# --- saving ---


def test_save_keeps_mode_and_link(tmp_path: Path) -> None:
    target, link = tmp_path / "real.toml", tmp_path / "link.toml"
    target.write_text("a = 1\n")
    target.chmod(0o640)
    link.symlink_to(target)
    save_atomically(link, "a = 2\n")
    assert link.is_symlink()
    assert target.read_text() == "a = 2\n"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert sorted(p.name for p in tmp_path.iterdir()) == ["link.toml", "real.toml"]


def test_new_file_obeys_the_umask(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        save_atomically(tmp_path / "new.toml", "a = 1\n")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "new.toml").stat().st_mode) == 0o640


@pytest.mark.parametrize("step", ["fsync", "replace", "open"])
def test_failed_save_leaves_the_old_file_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "x.toml"
    path.write_text("old\n")

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("subwright.base.saving.os." + step, fail)
    with pytest.raises(InputError, match="no space left on device; the old file is unchanged"):
        save_atomically(path, "new\n")
    monkeypatch.undo()
    assert path.read_text() == "old\n"
    assert [p.name for p in tmp_path.iterdir()] == ["x.toml"]


def test_save_into_missing_folder_is_one_clear_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be saved: no such file or directory"):
        save_atomically(tmp_path / "none" / "x.toml", "a")


def test_killed_saves_leave_the_old_or_the_new_file_whole(tmp_path: Path) -> None:
    """A process that saves without pause is killed at odd moments; the file is always one whole version."""
    path = tmp_path / "x.toml"
    versions = [f"version = {n}\n" + "# filler\n" * 20_000 for n in (0, 1)]
    path.write_text(versions[0])
    writer = textwrap.dedent("""
        import itertools, pathlib, sys
        from subwright.base.saving import save_atomically
        texts = [f"version = {n}\\n" + "# filler\\n" * 20_000 for n in (0, 1)]
        print("ready", flush=True)
        for n in itertools.count():
            save_atomically(pathlib.Path(sys.argv[1]), texts[n % 2])
    """)
    for delay in (0.0, 0.003, 0.011, 0.017, 0.029, 0.041):
        with subprocess.Popen([sys.executable, "-c", writer, str(path)], stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == b"ready\n"
            time.sleep(delay)
            child.kill()
        assert path.read_text() in versions
