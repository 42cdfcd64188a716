"""Read a drawer file's text: every value checked, every problem with its line and key."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.base.tomllines import KeyPath, scan
from subwright.base.units import parse
from subwright.parts.cores import complete_core
from subwright.parts.reader import Complaint, build, check_values, read_table, rules_of
from subwright.parts.schema import KINDS, Provenance, Record
from subwright.parts.stock import Drawer, ValueStock

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["FORMAT_VERSION", "DrawerReader"]

FORMAT_VERSION = 1

_PRIVATE = ("quantity", "source")
_STOCK_KEYS = {
    "resistor_stock": ("series", "tolerance", "power", "voltage", "low", "high", "stock"),
    "capacitor_stock": ("series", "tolerance", "voltage", "technology", "low", "high", "stock"),
}
_SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
_TECHNOLOGIES = ("electrolytic", "film", "ceramic")


class DrawerReader:
    """Reads one drawer file; collects all problems before it refuses."""

    def __init__(self, text: str, path: Path | None) -> None:
        self.text = text
        self.path = path
        self.problems: list[FileProblem] = []
        self.lines: Mapping[KeyPath, int] = {}  # known once the text has proved to be TOML
        self.quantities: dict[str, int] = {}
        self.record_lines: dict[str, int] = {}

    def complain(self, table: str, index: int | None, key: str, message: str) -> None:
        """Note one problem at the line of its key, or of its table."""
        line = self._line(table, index, key)
        where = table if index is None else f"{table}[{index}]"
        label = ".".join(part for part in (where, key) if part)
        self.problems.append(
            FileProblem(file=self.path or Path("drawer"), line=line, key=label, message=message)
        )

    def _line(self, table: str, index: int | None, key: str) -> int:
        """Line of a key, else of its table; 1 where neither is in the file."""
        parts = (table or None, index, key or None)
        loc = tuple(part for part in parts if part is not None)
        return next((self.lines[loc[:end]] for end in range(len(loc), 0, -1) if loc[:end] in self.lines), 1)

    def fail_if_problems(self) -> None:
        """Raise InputError where anything has been noted."""
        if self.problems:
            raise InputError(message="The drawer file can't be used.", problems=tuple(self.problems))

    def drawer(self) -> Drawer:
        """Return the drawer, or raise InputError with every problem found."""
        data = self._toml()
        self.lines = scan(self.text).lines
        version = data.pop("format_version", None)
        if version != FORMAT_VERSION:
            missing = f"is missing; write format_version = {FORMAT_VERSION} as the first line"
            other = f"is {version!r}; this programme reads {FORMAT_VERSION}"
            self.complain("", None, "format_version", missing if version is None else other)
            self.fail_if_problems()
        name = data.pop("name", "")
        if not isinstance(name, str):
            self.complain("", None, "name", "is not a text")
        have = self._have(data.pop("have", {}))
        stocks = {key: self._stocks(key, data.pop(key, [])) for key in _STOCK_KEYS}
        records: dict[str, Mapping[str, Record]] = {}
        for kind, tables in data.items():
            if kind not in KINDS:
                self.complain(kind, None, "", f"no such kind of part; kinds are {', '.join(KINDS)}")
            elif not isinstance(tables, list):
                self.complain(kind, None, "", f"write [[{kind}]], one such table for each part")
            else:
                records[kind] = MappingProxyType(self._records(kind, tables))
        self.fail_if_problems()
        return Drawer(
            name=name,
            path=self.path,
            quantities=MappingProxyType(self.quantities),
            records=MappingProxyType(records),
            resistors=stocks["resistor_stock"],
            capacitors=stocks["capacitor_stock"],
            reference_lines=MappingProxyType(have),
            record_lines=MappingProxyType(self.record_lines),
        )

    def _toml(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self.text)
        except RecursionError:
            problem = FileProblem(
                file=self.path or Path("drawer"), line=1, key="file", message="is nested too deeply"
            )
            raise InputError(message="The drawer file is not usable.", problems=(problem,)) from None
        except ValueError as error:  # TOML's own errors, and numbers or dates that don't exist
            found = re.search(r"at line (\d+)", str(error))
            line = int(found.group(1)) if found else self.text.count("\n") + 1
            message = re.sub(r"\s*\(at .*\)$", "", str(error))
            problem = FileProblem(file=self.path or Path("drawer"), line=line, key="file", message=message)
            raise InputError(message="The drawer file is not TOML.", problems=(problem,)) from None

    def _have(self, table: Any) -> dict[str, int]:
        if not isinstance(table, dict):
            self.complain("have", None, "", "write [have] and one line 'part = count' for each part")
            return {}
        lines = {}
        for part_id, count in table.items():
            if self._count("have", None, part_id, count):
                self.quantities[part_id] = count
                lines[part_id] = self._line("have", None, part_id)
        return lines

    def _count(self, table: str, index: int | None, key: str, count: Any) -> bool:
        if isinstance(count, int) and not isinstance(count, bool) and 0 <= count <= 1_000_000:
            return True
        self.complain(table, index, key, f"{count!r} is not a whole number of parts, 0 or more")
        return False

    def _records(self, kind: str, tables: list[Any]) -> dict[str, Record]:
        out: dict[str, Record] = {}
        cls = KINDS[kind]
        rules = rules_of(cls)
        for index, table in enumerate(tables):
            before = len(self.problems)

            def complain(key: str, message: str, index: int = index) -> None:
                self.complain(kind, index, key, message)

            if not isinstance(table, dict):
                complain("", f"write [[{kind}]] and one line for each value")
                continue
            raw = read_table(cls, table, complain, skip=_PRIVATE)
            source = table.get("source", "")
            if not isinstance(source, str) or not source:
                complain(
                    "source", 'is missing; say where the values come from, such as "measured" or the sheet'
                )
            if len(self.problems) > before:
                continue

            def complain_field(name: str, message: str, complain: Complaint = complain) -> None:
                rule = rules.get(name)
                complain(rule.key if rule else name, message)

            if check_values(cls, raw, complain_field) is None:
                continue
            if kind == "core":
                full = complete_core(raw, complain_field)
                if full is None:
                    continue
                raw = full
            record = build(cls, raw, _own_provenance(source), complain_field)
            if record is None:
                continue
            if record.id in out or record.id in self.quantities:
                complain("id", f"{record.id!r} is in this drawer twice")
                continue
            out[record.id] = record
            self.record_lines[record.id] = self._line(kind, index, "")
            count = table.get("quantity", 1)
            if self._count(kind, index, "quantity", count):
                self.quantities[record.id] = count
        return out

    def _stocks(self, table_name: str, tables: Any) -> tuple[ValueStock, ...]:
        if not isinstance(tables, list):
            self.complain(table_name, None, "", f"write [[{table_name}]], one such table for each stock")
            return ()
        stocks = [self._stock(table_name, index, table) for index, table in enumerate(tables)]
        return tuple(stock for stock in stocks if stock is not None)

    def _stock(self, table_name: str, index: int, table: Any) -> ValueStock | None:
        before = len(self.problems)
        resistors = table_name == "resistor_stock"
        dimension = "resistance" if resistors else "capacitance"

        def complain(key: str, message: str) -> None:
            self.complain(table_name, index, key, message)

        def read(key: str, what: str) -> float | None:
            value = table.get(key)
            if value is None:
                return None
            if not isinstance(value, str):
                complain(key, f"{value!r} has no unit; write it as a text with its unit")
                return None
            try:
                return parse(value, what)
            except SubwrightError as error:
                complain(key, str(error))
                return None

        if not isinstance(table, dict):
            complain("", f"write [[{table_name}]] and one line for each value")
            return None
        for key in table:
            if key not in _STOCK_KEYS[table_name]:
                complain(key, f"no such key; keys are {', '.join(_STOCK_KEYS[table_name])}")
        series = table.get("series")
        if series not in _SERIES:
            complain("series", f"{series!r} is none of {', '.join(_SERIES)}")
        tolerance = read("tolerance", "ratio")
        if tolerance is None or not 0 < tolerance <= 0.5:
            complain("tolerance", 'must be given, between 0 and 50 %, such as "1 %"')
        low, high = read("low", dimension), read("high", dimension)
        listed = self._listed(table.get("stock", []), dimension, complain)
        if bool(listed) == (low is not None or high is not None):
            complain("stock", "give either a list of values (stock), or low and high of a whole series")
        elif listed:
            low, high = listed[0], listed[-1]
        elif low is None or high is None or not 0 < low < high:
            complain("low", "low and high must both be given, low below high")
        technology = table.get("technology", "film") if not resistors else ""
        if not resistors and technology not in _TECHNOLOGIES:
            complain("technology", f"{technology!r} is none of {', '.join(_TECHNOLOGIES)}")
        power, voltage = read("power", "power"), read("voltage", "voltage")
        for key, rating in (("power", power), ("voltage", voltage)):
            if rating is not None and not rating > 0:
                complain(key, "must be above zero")
        if len(self.problems) > before or tolerance is None or low is None or high is None:
            return None
        return ValueStock(
            kind="resistor" if resistors else "capacitor",
            series=str(series),
            tolerance=tolerance,
            power_w=power,
            voltage_v=voltage,
            technology=technology,
            low=low,
            high=high,
            listed=listed,
        )

    def _listed(self, items: Any, dimension: str, complain: Any) -> tuple[float, ...]:
        if not isinstance(items, list):
            complain("stock", f'{items!r} is not a list of values; write stock = ["10k", "22k"]')
            return ()
        values = set()
        for item in items:
            if not isinstance(item, str):
                complain("stock", f'{item!r} is not a text; write the value as on the part, such as "4k7"')
                continue
            try:
                value = parse(item, dimension)
            except SubwrightError as error:
                complain("stock", str(error))
                continue
            if value > 0:
                values.add(value)
            else:
                complain("stock", f"{item!r} is not above zero")
        return tuple(sorted(values))


def _own_provenance(source: str) -> Provenance:
    measured = source.lower().startswith("measured")
    return Provenance(
        document=source, condition="as the drawer file says", kind="measured" if measured else "datasheet"
    )
