"""Bill of materials: nothing lost, nothing counted twice, designators unique."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.outputs.bom import HEADER, bom_csv, bom_rows, designators, spans
from subwright.outputs.tables import Fact, margin_text, number, percent, rating_row, share_used
from subwright.stages.common import PartUse, Rating

EXAMPLES = Path(__file__).parents[3] / "examples"


def use(role: str, letter: str = "R", part_id: str = "4k7", quantity: float = 1, **more: object) -> PartUse:
    return PartUse(
        role=role,
        letter=letter,
        part_id=part_id,
        description="resistor",
        quantity=quantity,
        **more,  # type: ignore[arg-type]
    )


USES = [
    ("converter", use("push-pull switch", "Q", "n-60v-8m", 4, ratings=(
        Rating(quantity="drain-source voltage", unit="V", applied=32.0, limit=60.0, at="max, full"),
        Rating(quantity="drain current", unit="A", applied=38.0, limit=40.0),
    ))),
    ("converter", use("timing resistor", tolerance=0.01, value="4.7 kΩ")),
    ("protection", use("divider top", tolerance=0.01, value="4.7 kΩ")),
    ("protection", use("divider bottom", part_id="10k", tolerance=0.01, value="10.0 kΩ")),
    ("filter", use("loose one", tolerance=0.05, value="4.7 kΩ")),
    ("wiring", use("positive lead", "W", "lead-16", 4.2, unit="m")),
]  # fmt: skip


def test_alike_parts_share_a_line_and_keep_their_designators() -> None:
    rows = {row.part_id + row.tolerance: row for row in bom_rows(USES)}
    shared = rows["4k7\u00b11 %"]
    assert shared.quantity == "2"
    assert shared.designators == ("R1", "R2")
    assert shared.roles == ("converter: timing resistor", "protection: divider top")
    assert rows["4k7\u00b15 %"].designators == ("R4",)
    assert rows["n-60v-8m"].designators == ("Q1", "Q2", "Q3", "Q4")
    assert rows["lead-16"].designators == ()
    assert rows["lead-16"].quantity == "4.20 m"


def test_tightest_rating_leads() -> None:
    row = next(row for row in bom_rows(USES) if row.part_id == "n-60v-8m")
    assert row.tightest is not None
    assert (row.tightest.quantity, row.tightest.applied, row.tightest.limit) == (
        "drain current",
        "38.0 A",
        "40.0 A",
    )
    assert row.tightest.margin == pytest.approx(0.05)
    assert row.tightest.tight


def test_csv_reads_back() -> None:
    rows = list(csv.DictReader(io.StringIO(bom_csv(bom_rows(USES)), newline="")))
    assert list(rows[0]) == list(HEADER)
    switch = next(row for row in rows if row["part"] == "n-60v-8m")
    assert switch["designators"] == "Q1 Q2 Q3 Q4"
    assert switch["margin"] == "5 % left"
    assert switch["in drawer"] == "no"


def test_faults_are_refused() -> None:
    with pytest.raises(SubwrightError, match="whole number"):
        bom_rows([("filter", use("half", quantity=0.5))])
    with pytest.raises(SubwrightError, match="two parts under one role"):
        designators([("filter", use("same")), ("filter", use("same"))])


PARTS = st.lists(
    st.tuples(
        st.sampled_from("QRCDU"),
        st.sampled_from(["a", "b", "c"]),
        st.integers(1, 5),
        st.sampled_from(["converter", "filter"]),
    ),
    max_size=25,
)


@settings(deadline=None)
@given(PARTS)
def test_every_piece_is_counted_once(parts: list[tuple[str, str, int, str]]) -> None:
    uses = [
        (stage, use(f"role {i}", letter, part_id, quantity))
        for i, (letter, part_id, quantity, stage) in enumerate(parts)
    ]
    rows = bom_rows(uses)
    names = [name for row in rows for name in row.designators]
    assert len(set(names)) == len(names) == sum(quantity for _, _, quantity, _ in parts)
    assert sum(int(row.quantity) for row in rows) == len(names)
    for letter in "QRCDU":
        numbers = sorted(int(name[1:]) for name in names if name[0] == letter)
        assert numbers == list(range(1, len(numbers) + 1))


@settings(deadline=None)
@given(st.lists(st.integers(1, 40), unique=True))
def test_spans_expand_back(numbers: list[int]) -> None:
    names = [f"R{n}" for n in sorted(numbers)]
    back: list[str] = []
    for item in spans(names).split():
        ends = [int(re.sub(r"\D", "", end)) for end in item.split("\u2013")]
        back += [f"R{n}" for n in range(ends[0], ends[-1] + 1)]
    assert back == names


def test_cells() -> None:
    assert spans(["R1", "R2", "R3", "R7", "C1"]) == "R1\u2013R3 R7 C1"
    assert number(0.0047, "m") == "4.70 mm"
    assert number(31.25, "turn/V") == "31.2 turn/V"
    assert percent(0.031, 1) == "3.1 %"
    assert percent(-0.05) == "\u22125 %"
    assert [margin_text(m) for m in (0.32, -0.034, 0.0, 0.0049, -0.001)] == [
        "32 % left",
        "3 % beyond",
        "none left",
        "under 1 % left",
        "under 1 % beyond",
    ]
    assert (share_used(0.3), share_used(-1.0)) == (0.7, 1.0)
    assert Fact(quantity="drop", value="2.9 %", margin=0.03).tight
    assert not Fact(quantity="drop", value="2.9 %").tight
    with pytest.raises(SubwrightError):
        percent(float("nan"))
    assert rating_row("coil", Rating(quantity="t", unit="°C", applied=90, limit=120)).applied == "90.0 °C"


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.build.toml")), ids=lambda path: path.stem)
def test_no_line_mixes_kinds_voltages_or_powers(path: Path) -> None:
    """A 2.2 µF film capacitor for 100 V isn't one for 63 V, nor a 2 W resistor one of 0.25 W."""
    uses = tuple(service.solve(path).design.part_uses())
    bought = {f"{stage}: {use.role}": use for stage, use in uses}
    for row in bom_rows(uses):
        kinds = {bought[role].description for role in row.roles}
        if row.printed[1] == "":  # a value alone
            assert kinds == {row.description}, row.roles
            limits = {
                (rating.quantity, rating.unit, rating.limit)
                for role in row.roles
                for rating in bought[role].ratings
                if rating.unit in ("V", "W")
            }
            assert len({limit for quantity, unit, limit in limits if unit == "W"}) <= 1, row.roles
            assert len({limit for quantity, unit, limit in limits if unit == "V"}) <= 1, row.roles
