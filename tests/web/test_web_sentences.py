"""What a design says about itself in German: whole sentences or none, and none out of date."""

from __future__ import annotations

import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

from subwright import service
from subwright.build.findings import rules
from subwright.web.german import german, rows

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.build.toml"))
GAP = re.compile(r"\{\d\}")
KEY = re.compile(r"[a-z]+(?:_[a-z]+)*\.[a-z0-9]+(?:_[a-z0-9]+)*")
FIGURE = re.compile(r"\d+(?:\.\d+)?")
LEAST = 0.95  # new checks may be ahead of their German pages, most may not


def texts(path: Path) -> Iterator[str]:
    for finding in service.solve(path).design.findings:
        yield from (finding.title, finding.message, finding.remedy)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name.partition(".")[0])
def test_findings_are_told_in_german(path: Path) -> None:
    said = [text for text in texts(path) if text]
    missing = [text for text in said if german(text) is None]
    assert len(missing) <= (1.0 - LEAST) * len(said), missing


def test_the_pages_of_the_checks_are_german() -> None:
    said = [text for rule in rules() for text in (rule.title, rule.what, rule.why, rule.remedy)]
    missing = [text for text in said if german(text) is None]
    assert len(missing) <= (1.0 - LEAST) * len(said), missing


def test_both_languages_name_the_same_keys_and_figures() -> None:
    """A remedy that names another key, or a figure that was mistyped, would send the reader astray."""
    for english, said in rows().items():
        for kind in (GAP, KEY):
            assert sorted(kind.findall(english)) == sorted(kind.findall(said)), (english, said)
        assert sorted(FIGURE.findall(english)) == sorted(FIGURE.findall(said)), (english, said)


def test_german_reads_as_german() -> None:
    strange = {"the", "and", "with", "from", "against", "battery", "rail", "loss", "which", "lower", "raise"}
    for english, said in rows().items():
        plain = re.sub(r'"[^"]*"', "", KEY.sub("", said.lower()))  # values of keys are the build file's own
        words = set(re.findall(r"[a-zäöüß]+", plain))
        assert not words & strange, (english, said)
        assert said.strip(string.whitespace) == said
        assert said, english


@pytest.mark.parametrize(
    ("english", "said"),
    [
        ("Voltage drop in the battery cable", "Spannungsabfall im Batteriekabel"),
        ("load dump (EL 22u 25V) is 35 V, at most 25 V", "Lastabwurf (EL 22u 25V): 35 V, höchstens 25 V"),
        ("fuse rating is 40.0 A, at least 27.0 A", "Nennstrom der Sicherung: 40.0 A, mindestens 27.0 A"),
        ("12.0 V", "12.0 V"),
        # words that the catalogue lacks, in the place of a figure or of a name: nothing is translated
        ("load dump (some new part) is 35.0 V, at most 25.0 V", None),
        ("fuse rating is far too much, at most 25.0 A", None),
        ("Load dump against the parts on the other side", None),
    ],
)  # fmt: skip
def test_a_text_is_german_as_a_whole_or_not_at_all(english: str, said: str | None) -> None:
    assert german(english) == said
