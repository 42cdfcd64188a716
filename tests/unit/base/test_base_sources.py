"""The bibliography."""

from __future__ import annotations

import pytest

from subwright.base.errors import SubwrightError
from subwright.base.sources import STATUSES, bibliography, cited_keys, get


def test_every_entry_is_complete() -> None:
    for key, source in bibliography().items():
        assert source.key == key
        assert source.title
        assert source.status in STATUSES


def test_an_unknown_key_names_near_ones() -> None:
    with pytest.raises(SubwrightError, match="iec-60063"):
        get("iec-60064")


def test_citation_is_one_line() -> None:
    line = get("iec-60063").citation()
    assert "\n" not in line
    assert "IEC 60063" in line
    assert "2015" in line


def test_cited_keys_reads_the_source_section_only() -> None:
    text = """Formula [not-this].

    Source
    ------
    [astm-b258], eq. 3; [derived].

    Examples
    --------
    >>> values[0]  # [nor-this]
    """
    assert cited_keys(text) == ("astm-b258", "derived")
    assert cited_keys("No section, [nothing].") == ()
    assert cited_keys("A.\n\nSource\n------\n[derived]\n\n>>> table[crowd]\n") == ("derived",)
