"""The summary page: self-contained, everything escaped, a stop on every sheet, links that lead somewhere."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from outputs_support import EVIL, Page

from subwright.outputs.bom import bom_rows
from subwright.outputs.plots import group_delay_plot
from subwright.outputs.sheet_parts import drawing
from subwright.outputs.summary import page_css, summary_html
from subwright.outputs.tables import Fact, margin_text, ratings
from subwright.outputs.views import (
    Caution,
    FindingRow,
    Grid,
    PackView,
    Sheet,
    SourceRow,
    Station,
)
from subwright.stages.common import PartUse, Rating

PART = PartUse(
    role=f"switch {EVIL}",
    letter="Q",
    part_id=f"n-60v {EVIL}",
    description=EVIL,
    quantity=2,
    ratings=(Rating(quantity="drain-source voltage", unit="V", applied=58.0, limit=60.0, at=EVIL),),
    provenance=EVIL,
)
F = np.geomspace(10.0, 500.0, 50)


def view(**changes: object) -> PackView:
    sheet = Sheet(
        key="supply",
        title="Battery and cable",
        lead=EVIL,
        values=((EVIL, EVIL),),
        facts=(Fact(quantity=EVIL, value="2.4 %", limit="3.0 %", margin=0.2, source=EVIL, note=EVIL),),
        ratings=ratings((PART,)),
        reasons=(EVIL,),
        cautions=(Caution(before=EVIL, points=(EVIL,)),),
        figures=(drawing("group-delay", group_delay_plot(F, 0 * F + 0.005, title=EVIL), EVIL),),
        grids=(Grid(title=EVIL, header=(EVIL, "n"), rows=((EVIL, "1"),), figures=frozenset({1}), note=EVIL),),
        more=((EVIL, EVIL),),
    )
    base = PackView(
        name=EVIL,
        note=EVIL,
        made_with="subwright",
        made_on="",
        key_figures=((EVIL, EVIL),),
        stations=(
            Station(
                key="supply",
                name=EVIL,
                figures=(EVIL,),
                tightest=EVIL,
                margin=0.05,
                margin_text=margin_text(0.05),
            ),
        ),
        findings=(
            FindingRow(
                code="PRO-03",
                severity="stop",
                title=EVIL,
                detail=EVIL,
                quantity=EVIL,
                value="0.6 V",
                limit="0.7 V",
                source=EVIL,
                remedy=EVIL,
            ),
        ),
        flows=(drawing("flow", group_delay_plot(F, 0 * F + 0.005), EVIL, wide=True),),
        budget=None,
        operating=(),
        sheets=(sheet,),
        bom=bom_rows([("converter", PART)]),
        sources=(SourceRow(key="iec-60063", citation=EVIL, status="read"),),
        from_memory=(EVIL,),
        closing=(Caution(before=EVIL, points=(EVIL,)),),
    )
    return dataclasses.replace(base, **changes)


def test_page_is_well_nested_and_shows_hostile_text_as_text() -> None:
    page = Page(summary_html(view()))
    assert page.tags["script"] == 0
    assert EVIL in "".join(page.text)
    assert "&49" not in "".join(page.text)


def test_ids_are_unique_and_links_lead_somewhere() -> None:
    page = Page(summary_html(view()))
    assert len(set(page.ids)) == len(page.ids)
    for link in page.links:
        assert link.startswith("#")
        assert link[1:] in page.ids


def test_nothing_is_fetched() -> None:
    text = summary_html(view())
    assert "default-src 'none'" in text
    outside = re.findall(r"(?:https?:)?//[\w.]+", text)
    assert set(outside) <= {"http://www.w3.org"}
    assert "@import" not in text
    assert "url(" not in text


def test_a_stop_is_said_on_every_sheet_in_print_and_in_the_title() -> None:
    text = summary_html(view())
    sections = re.findall(r"<section .*?</header>", text, re.DOTALL)
    assert len(sections) >= 6
    assert all("NOT READY TO BUILD: PRO-03" in section for section in sections)
    assert re.search(r"@top-right\{content:\"NOT\\000020READY", text)
    assert "<title>NOT READY TO BUILD: PRO-03." in text
    clean = summary_html(view(findings=()))
    assert "NOT READY" not in clean
    assert "Every check passed" in clean


def test_build_name_can_not_leave_the_style_sheet() -> None:
    css = page_css(running_head='"}</style><b>', stamp="")
    head = re.search(r"@top-left\{content:\"([^\"]*)\"", css)
    assert head is not None
    assert re.fullmatch(r"[0-9A-Za-z\\]*", head.group(1))


def test_same_bytes_and_a_date_only_when_given() -> None:
    assert summary_html(view()) == summary_html(view())
    assert "2031-05-06" in summary_html(view(made_on="2031-05-06"))


def test_light_dark_print_and_phone_styles_are_there() -> None:
    css = page_css()
    for expected in ("prefers-color-scheme:dark", "@media print", "max-width:520px", "max-width:640px"):
        assert expected in css


@pytest.mark.parametrize(("margin", "tight"), [(0.05, True), (-0.2, True), (0.5, False)])
def test_tight_margins_carry_the_accent(margin: float, tight: bool) -> None:
    fact = Fact(quantity="flux", value="1", limit="2", margin=margin)
    sheet = Sheet(key="supply", title="t", facts=(fact,))
    text = summary_html(view(sheets=(sheet,), bom=(), findings=()))
    assert ('<tr class="tight"><td class="lead">flux' in text) is tight
