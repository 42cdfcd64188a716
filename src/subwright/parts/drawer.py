"""The drawer file: parts at hand, records of one's own, and stock of resistors and capacitors.

Format, version 1 (TOML; dimensioned values are texts with their unit)::

    format_version = 1
    name = "Bench drawer"

    [have]                       # library parts at hand, and how many
    IRF3205 = 12
    "R36/23/15-N87" = 2

    [[resistor_stock]]           # a whole series between two values ...
    series = "E24"
    tolerance = "1 %"
    power = "0.6 W"
    low = "10 Ω"
    high = "1 MΩ"

    [[capacitor_stock]]          # ... or single values
    series = "E6"
    tolerance = "5 %"
    voltage = "63 V"
    technology = "film"
    stock = ["10n", "47n", "100n"]

    [[core]]                     # a part of one's own: same fields as the library, keys without the unit
    id = "black ring"
    quantity = 2
    source = "measured with a caliper, bench meter at 10 kHz"
    shape = "ring"
    material = "unmarked"
    outer = "36.1 mm"
    inner = "22.9 mm"
    height = "15.0 mm"
    al = "2.8 uH"
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.parts.cores import complete_core
from subwright.parts.reader import Complaint, build, check_values, read_table, rules_of
from subwright.parts.schema import KINDS, Provenance, Record

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from subwright.parts.library import Library

__all__ = [
    "FORMAT_VERSION",
    "Drawer",
    "ValueStock",
    "add_part",
    "load_drawer",
    "parse_drawer",
    "set_quantity",
]

FORMAT_VERSION = 1

_PRIVATE = ("quantity", "source")
_STOCK_KEYS = {
    "resistor_stock": ("series", "tolerance", "power", "voltage", "low", "high", "stock"),
    "capacitor_stock": ("series", "tolerance", "voltage", "technology", "low", "high", "stock"),
}
_SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
_TECHNOLOGIES = ("electrolytic", "film", "ceramic")


@dataclass(frozen=True, kw_only=True, slots=True)
class ValueStock:
    """Resistors or capacitors at hand, all of one series, tolerance and rating.

    Attributes
    ----------
    kind : "resistor" or "capacitor".
    series : IEC 60063 series. tolerance : relative.
    power_w : rating of a resistor, None for capacitors. voltage_v : rating, None where not stated.
    technology : of a capacitor, "" for resistors.
    low, high : smallest and largest value at hand, in Ω or F.
    listed : single values, rising, in Ω or F; empty where the whole series from low to high is at hand.
    """

    kind: Literal["resistor", "capacitor"]
    series: str
    tolerance: float
    power_w: float | None = None
    voltage_v: float | None = None
    technology: str = ""
    low: float
    high: float
    listed: tuple[float, ...] = ()

    def values(self, low: float, high: float) -> NDArray[np.float64]:
        """Values at hand from low to high, rising, in Ω or F; empty where there are none."""
        import numpy as np

        from subwright.base.preferred import between

        if self.listed:
            return np.array([v for v in self.listed if low * (1 - 1e-9) <= v <= high * (1 + 1e-9)])
        low, high = max(low, self.low), min(high, self.high)
        return between(low, high, self.series) if low <= high else np.empty(0)

    def holds(self, value: float) -> bool:
        """Whether this very value (within 1 part in 10⁶) is at hand."""
        return bool(len(self.values(value * (1 - 1e-6), value * (1 + 1e-6))))


@dataclass(frozen=True, kw_only=True)
class Drawer:
    """A drawer file, read and checked.

    Attributes
    ----------
    name : the file's name for itself. path : where it was read from, None for text.
    quantities : how many of each part id are at hand.
    records : the drawer's own records by kind, then id.
    resistors, capacitors : stocks of plain values.
    """

    name: str = ""
    path: Path | None = None
    quantities: Mapping[str, int] = field(default_factory=dict)
    records: Mapping[str, Mapping[str, Record]] = field(default_factory=dict)
    resistors: tuple[ValueStock, ...] = ()
    capacitors: tuple[ValueStock, ...] = ()
    reference_lines: Mapping[str, int] = field(default_factory=dict)

    def check_references(self, library: Library) -> None:
        """Refuse counts of parts that are in no record, and own cores of an unknown material.

        Raises
        ------
        InputError : with file, line, id and near misses for each.
        """
        from subwright.parts.library import near_ids

        known: dict[str, object] = {}
        for name in KINDS:
            known.update(library.kind(name))
        problems = []
        for part_id, line in self.reference_lines.items():
            if part_id not in known:
                near = near_ids(part_id, known)
                hint = f"; did you mean {' or '.join(near)}?" if near else "; add it as a record of your own"
                problems.append(self._problem(line, f"have.{part_id}", f"is in no record{hint}"))
        for core in self.records.get("core", {}).values():
            material = getattr(core, "material", "")
            if material not in library.materials:
                near = near_ids(material, library.materials)
                hint = f"; did you mean {' or '.join(near)}?" if near else ""
                problems.append(self._problem(1, f"core.{core.id}.material", f"no grade {material!r}{hint}"))
        if problems:
            raise InputError(message="The drawer file can't be used.", problems=tuple(problems))

    def _problem(self, line: int, key: str, message: str) -> FileProblem:
        return FileProblem(file=self.path or Path("drawer"), line=line, key=key, message=message)


def load_drawer(path: Path) -> Drawer:
    """Read a drawer file.

    Parameters
    ----------
    path : the file, TOML, format version 1.

    Raises
    ------
    InputError : the file can't be read, or something in it is wrong; each problem has line and key.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = "is not UTF-8 text" if isinstance(error, UnicodeDecodeError) else str(error.strerror).lower()
        problem = FileProblem(file=path, line=1, key="file", message=f"can't be read ({reason})")
        raise InputError(message="The drawer file can't be read.", problems=(problem,)) from None
    return parse_drawer(text, path)


def parse_drawer(text: str, path: Path | None = None) -> Drawer:
    """Make a drawer from the text of a drawer file.

    Raises
    ------
    InputError : with line and key of each problem.
    """
    reader = _DrawerReader(text, path)
    return reader.drawer()


class _DrawerReader:
    def __init__(self, text: str, path: Path | None) -> None:
        self.text = text
        self.path = path
        self.problems: list[FileProblem] = []
        self.lines = _lines_of(text)
        self.quantities: dict[str, int] = {}

    def complain(self, table: str, index: int | None, key: str, message: str) -> None:
        line = self.lines.get((table, index, key)) or self.lines.get((table, index, "")) or 1
        where = table if index is None else f"{table}[{index}]"
        label = ".".join(part for part in (where, key) if part)
        self.problems.append(
            FileProblem(file=self.path or Path("drawer"), line=line, key=label, message=message)
        )

    def fail_if_problems(self) -> None:
        if self.problems:
            raise InputError(message="The drawer file can't be used.", problems=tuple(self.problems))

    def drawer(self) -> Drawer:
        data = self._toml()
        version = data.pop("format_version", None)
        if version != FORMAT_VERSION:
            self.complain(
                "", None, "format_version", f"is {version!r}; this programme reads {FORMAT_VERSION}"
            )
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
        )

    def _toml(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self.text)
        except tomllib.TOMLDecodeError as error:
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
                lines[part_id] = self.lines.get(("have", None, part_id), 1)
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
        from subwright.base.units import parse

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
        from subwright.base.units import parse

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


_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_-]+)\s*\]\]?")
_KEY = re.compile(r"""^\s*(?:"([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+))\s*=""")


def _lines_of(text: str) -> dict[tuple[str, int | None, str], int]:
    """Line of each (table, index of an array table, key); the key "" stands for the table's own header."""
    lines: dict[tuple[str, int | None, str], int] = {}
    table, index = "", None
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        header = _HEADER.match(line)
        if header:
            table, index = header.group(2), None
            if header.group(1) == "[[":
                index = counts.get(table, 0)
                counts[table] = index + 1
                lines.setdefault((table, None, ""), number)
            lines[(table, index, "")] = number
            continue
        key = _KEY.match(line)
        if key:
            lines.setdefault((table, index, next(g for g in key.groups() if g is not None)), number)
    return lines


def add_part(
    path: Path,
    kind: str,
    values: Mapping[str, str | int | float | bool],
    *,
    quantity: int = 1,
) -> Drawer:
    """Add a record of one's own to a drawer file; comments and order of the file stay.

    The whole new text is checked before the file is replaced in one step; where anything is wrong the file
    stays as it was. A file that isn't there yet is made.

    Parameters
    ----------
    path : drawer file. kind : key of ``schema.KINDS``.
    values : the record as the drawer spells it (``{"id": ..., "source": ..., "outer": "36 mm"}``).
    quantity : how many are at hand.

    Returns
    -------
    The drawer as it now is.

    Raises
    ------
    InputError : the file, or the new record, has a problem.
    SubwrightError : no such kind of part.
    """
    import tomlkit

    if kind not in KINDS:
        raise SubwrightError(
            message=f"There is no kind of part {kind!r}.", remedy=f"Kinds are {', '.join(KINDS)}."
        )
    text = _text_or_new(path)
    parse_drawer(text, path)
    document = tomlkit.parse(text)
    table = tomlkit.table()
    for key, value in {**values, "quantity": quantity}.items():
        table.add(key, value)
    if kind not in document:
        document.add(kind, tomlkit.aot())
    document[kind].append(table)
    return _save(path, tomlkit.dumps(document))


def set_quantity(path: Path, part_id: str, quantity: int) -> Drawer:
    """Set how many of a library part, or of a record of one's own, are at hand; comments stay.

    Parameters
    ----------
    path : drawer file; made where it isn't there yet. part_id : part. quantity : count, 0 or more.

    Raises
    ------
    InputError : the file has a problem, or the count is not a whole number.
    """
    import tomlkit

    text = _text_or_new(path)
    drawer = parse_drawer(text, path)
    document: Any = tomlkit.parse(text)
    own = next((kind for kind, records in drawer.records.items() if part_id in records), None)
    if own is not None:
        for table in document[own]:
            if table["id"] == part_id:
                table["quantity"] = quantity
    else:
        if "have" not in document:
            document.add("have", tomlkit.table())
        document["have"][part_id] = quantity
    return _save(path, tomlkit.dumps(document))


def _text_or_new(path: Path) -> str:
    if path.exists():
        load_drawer(path)
        return path.read_text(encoding="utf-8")
    return f'format_version = {FORMAT_VERSION}\nname = "{path.name.split(".")[0]}"\n'


def _save(path: Path, text: str) -> Drawer:
    drawer = parse_drawer(text, path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with beside.open("w", encoding="utf-8", newline="\n") as handle:
            handle.write(text)
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(beside, path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        problem = FileProblem(file=path, line=1, key="file", message=f"can't be saved ({error.strerror})")
        raise InputError(message="The drawer file can't be saved.", problems=(problem,)) from None
    return drawer
