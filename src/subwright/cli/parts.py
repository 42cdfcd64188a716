"""``subwright parts`` and ``subwright drawer``: lists of parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from subwright import service
from subwright.base.units import show
from subwright.cli.answer import Answer
from subwright.cli.talk import clean
from subwright.parts.drawer import ValueStock

__all__ = ["drawer_add", "drawer_list", "list_parts"]


def list_parts(kind: str, query: str, drawer: Path | None) -> Answer:
    """List the parts of one kind."""
    rows = service.list_parts(kind, query, drawer)

    def data() -> Mapping[str, object]:
        return {"parts": [_part(row) for row in rows]}

    def text() -> RenderableType:
        return _table(rows, counted=drawer is not None) if rows else Text("no part matches")

    return Answer(command="parts", data=data, text=text)


def drawer_list(file: Path) -> Answer:
    """List a drawer."""
    drawer, rows = service.list_drawer(file)
    stocks = (*drawer.resistors, *drawer.capacitors)

    def data() -> Mapping[str, object]:
        return {"name": drawer.name, "parts": [_part(row) for row in rows], "values": list(stocks)}

    def text() -> RenderableType:
        lines = Text("\n".join(clean(_stock(stock)) for stock in stocks))
        return Group(Text(clean(drawer.name), style="bold"), _table(rows, counted=True), lines)

    return Answer(command="drawer list", data=data, text=text)


def drawer_add(file: Path, part: str, quantity: int) -> Answer:
    """Put a part into a drawer file."""
    row = service.add_drawer_part(file, part, quantity)

    def text() -> RenderableType:
        return Text(clean(f"{row.id}: {row.in_drawer} at hand"))

    return Answer(command="drawer add", data=lambda: {"file": str(file), "part": _part(row)}, text=text)


def _part(row: service.PartRow) -> Mapping[str, object]:
    return {
        "id": row.id,
        "kind": row.kind,
        "description": row.description,
        "provenance": row.provenance,
        "document": row.document,
        "in_drawer": row.in_drawer,
        "values": row.record,
    }


def _table(rows: Sequence[service.PartRow], *, counted: bool) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    if counted:
        table.add_column("at hand", justify="right")
    table.add_column("id", overflow="fold")
    table.add_column("part", overflow="fold", ratio=1)
    table.add_column("values from", overflow="fold")
    for row in rows:
        count = [str(row.in_drawer or "·")] if counted else []
        cells = (*count, row.id, row.description, row.provenance)
        table.add_row(*(Text(clean(cell)) for cell in cells))
    return table


def _stock(stock: ValueStock) -> str:
    dimension = "resistance" if stock.kind == "resistor" else "capacitance"
    if stock.listed:
        values = ", ".join(show(value, dimension) for value in stock.listed)
    else:
        values = f"{show(stock.low or 0.0, dimension)} to {show(stock.high or 0.0, dimension)}"
    kind = f"{stock.technology} {stock.kind}".strip()
    return f"{kind}s, {stock.series}, {100 * stock.tolerance:g} %: {values}"
