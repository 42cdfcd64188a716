"""Rows and drawings that are made when somebody looks at them."""

from __future__ import annotations

from pathlib import Path

from subwright import service
from subwright.outputs.tables import every_value
from subwright.outputs.views import Figure, Later, LaterDrawing

VAN = Path(__file__).parents[3] / "examples" / "storyteller-van.build.toml"


def test_rows_are_made_once_and_only_when_asked_for() -> None:
    made: list[int] = []

    def make() -> tuple[tuple[str, str], ...]:
        made.append(1)
        return (("core", "grey ring"), ("turns", "4"), ("fill", "12 %"))

    rows = Later(make)
    assert made == []
    assert len(rows) == 3
    assert rows[0] == ("core", "grey ring")
    assert rows[1:] == (("turns", "4"), ("fill", "12 %"))
    assert list(rows) == [*rows[:1], *rows[1:]]
    assert bool(rows)
    assert not Later(tuple)
    assert made == [1]


def test_a_later_drawing_is_drawn_once_for_a_page() -> None:
    made: list[int] = []

    def make() -> str:
        made.append(1)
        return "<svg></svg>"

    figure = Figure(key="x", drawn=LaterDrawing(make=make))
    assert made == []
    assert figure.svg == figure.svg == "<svg></svg>"
    assert made == [1]


def test_a_sheet_lists_what_its_result_holds() -> None:
    design = service.solve(VAN).design
    sheet = next(sheet for sheet in service.sheets(design) if sheet.key == "protection")
    assert tuple(sheet.more) == tuple(every_value(design.protection))
    assert sheet.facts
    assert sheet.facts[0].margin is not None
    assert {fact.quantity for fact in sheet.facts} <= {finding.quantity for finding in design.findings}
