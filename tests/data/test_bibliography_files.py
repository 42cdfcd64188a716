"""The bibliography's own files: every entry can be printed, and a malformed one is refused by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from subwright.base.errors import SubwrightError
from subwright.base.sources import bibliography, read_bibliography


def test_one_line_for_each_source() -> None:
    lines = [source.citation() for source in bibliography().values()]
    assert len(set(lines)) == len(lines)
    for line in lines:
        assert "\n" not in line
        assert "  " not in line
        assert "://" not in line


def test_a_published_work_has_an_author_or_a_year() -> None:
    """A habit of the trade has neither; a work that was read has one at least."""
    for key, source in bibliography().items():
        if source.status == "read":
            assert source.author or source.year, key


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[a\n", "can't be read"),
        ('[a]\ntitle = "T"\n', "needs title and status"),
        ('[a]\ntitle = "T"\nstatus = "heard"\n', "status 'heard'"),
        ('[a]\ntitle = "T"\nstatus = "read"\npage = 3\n', "needs title and status"),
        ('[a]\ntitle = "T"\nstatus = "read"\nyear = 20015\n', "year 20015"),
        ('[a]\ntitle = "T"\nstatus = "read"\nyear = "2015"\n', "year '2015'"),
        ('["A B"]\ntitle = "T"\nstatus = "read"\n', "lower-case"),
        ("a = 3\n", "needs title and status"),
    ],
)
def test_a_malformed_entry_is_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "x.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SubwrightError, match=words) as caught:
        read_bibliography(tmp_path)
    assert "x.toml" in str(caught.value)


def test_a_key_in_two_files_is_refused(tmp_path: Path) -> None:
    entry = '[a-1]\ntitle = "T"\nstatus = "read"\n'
    (tmp_path / "x.toml").write_text(entry, encoding="utf-8")
    (tmp_path / "y.toml").write_text(entry, encoding="utf-8")
    with pytest.raises(SubwrightError, match=r"y\.toml: the source \[a-1\] is in the bibliography twice"):
        read_bibliography(tmp_path)
