"""Every numbered rule has a whole page, a known source and words that lead somewhere."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.base.sources import bibliography
from subwright.build.findings import Rule, explain, rules
from subwright.build.findings.rule import REGISTRY, rule
from subwright.build.result import STAGES

ALL = [pytest.param(r, id=r.code) for r in rules()]
PLACE = re.compile(r"\b([a-z_]+\.[a-z_]+)\b")
SPEC_TABLES = {key.split(".")[0] for key in service.spec_keys()}


def texts(page: Rule) -> dict[str, str]:
    return {
        name: getattr(page, name) for name in ("title", "what", "why", "limit", "source", "example", "remedy")
    }


def test_there_are_many_and_every_stage_has_some() -> None:
    assert len(rules()) >= 100
    assert {r.stage for r in rules()} == set(STAGES)


def test_codes_are_in_order_and_without_gaps() -> None:
    """A number that was given away stays given away; new ones go at the end."""
    families: dict[str, list[int]] = {}
    for r in rules():
        family, _, number = r.code.partition("-")
        families.setdefault(family, []).append(int(number))
    for family, numbers in families.items():
        assert numbers == list(range(1, len(numbers) + 1)), family


@pytest.mark.parametrize("page", ALL)
def test_the_page_is_complete(page: Rule) -> None:
    assert re.fullmatch(r"[A-Z]{3}-\d{2}", page.code)
    assert page.severity in ("stop", "warn", "note")
    assert 0.0 <= page.near < 0.5
    for name, text in texts(page).items():
        assert text == text.strip(), name
        assert text, name
        assert "  " not in text, name
        if name in ("what", "why", "example", "remedy"):
            assert text.endswith("."), name
    assert not page.title.endswith(".")


@pytest.mark.parametrize("page", ALL)
def test_the_source_is_in_the_bibliography(page: Rule) -> None:
    assert page.source in bibliography()


@pytest.mark.parametrize("page", ALL)
def test_the_example_has_numbers(page: Rule) -> None:
    assert re.search(r"\d", page.example)


@pytest.mark.parametrize("page", ALL)
def test_a_remedy_names_a_key_unless_it_is_no_matter_of_the_build_file(page: Rule) -> None:
    """Those without a key ask for hands (a fuse body, a clamp, a detector, a supply) or for a report."""
    named = {place for place in PLACE.findall(page.remedy) if place.split(".")[0] in SPEC_TABLES}
    without = {"SUP-05", "SUP-10", "AMP-06", "AMP-08", "BAL-01", "CNV-15"}
    assert named or page.code in without


@pytest.mark.parametrize("page", ALL)
def test_every_key_named_exists(page: Rule) -> None:
    keys = set(service.spec_keys())
    for name, text in texts(page).items():
        for place in PLACE.findall(text):
            if place.split(".")[0] in SPEC_TABLES:
                assert place in keys, (name, place)


def test_explain_takes_either_case_and_blanks() -> None:
    assert explain(" sup-01 ").code == "SUP-01"
    assert explain("MAG-11").title == "Flux walking by unequal switches"


@pytest.mark.parametrize(("wrong", "near"), [("SUP-00", "SUP-0"), ("MAG1", "MAG-1"), ("cnv01", "CNV-01")])
def test_explain_names_near_misses(wrong: str, near: str) -> None:
    with pytest.raises(SubwrightError) as caught:
        explain(wrong)
    assert near in (caught.value.remedy or "")
    assert wrong in str(caught.value)


def test_explain_without_a_near_miss_says_how_to_list_them() -> None:
    with pytest.raises(SubwrightError) as caught:
        explain("what about the neighbours")
    assert "subwright explain" in (caught.value.remedy or "")


def test_a_code_is_given_once() -> None:
    page = REGISTRY["SUP-01"]
    with pytest.raises(ValueError, match="SUP-01"):
        rule("SUP-01", stage="supply", severity="note", **texts(page))(page.check)
    assert REGISTRY["SUP-01"] is page


def test_importing_the_rules_loads_nothing_heavy() -> None:
    probe = "import sys, subwright.build.findings; print({'scipy', 'typst', 'neospice'} & {*sys.modules})"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
