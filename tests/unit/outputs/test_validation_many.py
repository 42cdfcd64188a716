"""A file of another trade: thousands of unknown tables, of which the first are told and the rest counted."""

from __future__ import annotations

from pathlib import Path

import pytest

from subwright.base.errors import InputError
from subwright.outputs import validation
from subwright.outputs.project import read_build

HEAD = 'format_version = 1\nname = "many"\n[driver]\npart = "Harbour 10"\n'


def test_the_first_twenty_are_told_and_the_rest_counted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    worded = []
    plain = validation.unknown_key
    monkeypatch.setattr(validation, "unknown_key", lambda loc, model: worded.append(loc) or plain(loc, model))
    path = tmp_path / "many.build.toml"
    path.write_text(HEAD + "".join(f"[x{k}]\n" for k in range(1, 501)), encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_build(path)
    problems = refusal.value.problems
    assert [p.key for p in problems] == [f"x{k}" for k in range(1, 22)]
    assert [p.line for p in problems] == list(range(5, 26))
    assert problems[-1].message == "and 480 more problems from here on; mend those above first"
    assert len(worded) == 20


def test_twenty_are_told_and_nothing_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "some.build.toml"
    path.write_text(HEAD + "".join(f"[x{k}]\n" for k in range(1, 21)), encoding="utf-8")
    with pytest.raises(InputError) as refusal:
        read_build(path)
    assert len(refusal.value.problems) == 20
    assert all("more problems" not in p.message for p in refusal.value.problems)
