"""The starter library: part records by kind and id, read from ``data/*.toml`` on first use of each kind."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import cache, cached_property, partial
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, TypeVar, cast

from subwright.base.errors import FileProblem, InputError, PartNotFoundError
from subwright.parts.schema import (
    KINDS,
    Capacitor,
    Comparator,
    Controller,
    Core,
    Driver,
    Heatsink,
    Insulator,
    Material,
    Mosfet,
    Ntc,
    OpAmp,
    Provenance,
    Record,
    Rectifier,
    Reference,
    Transistor,
    Wire,
    Zener,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from subwright.parts.drawer import Drawer

__all__ = ["Library", "load_library", "near_ids"]

R = TypeVar("R", bound=Record)

_NAMES = {
    "op_amp": "op-amp",
    "mosfet": "MOSFET",
    "ntc": "NTC thermistor",
    "zener": "zener diode",
}


class Library:
    """Parts by kind: ``library.cores["R36/23/15-N87"]``, or ``library.core(id)`` with near-miss hints.

    A library is read-only. :meth:`with_drawer` gives a new one that also holds a drawer's own records and
    knows how many of each part are at hand; the drawer's record wins where both have the same id.
    """

    def __init__(self, drawer: Drawer | None = None) -> None:
        self._drawer = drawer

    @property
    def drawer(self) -> Drawer | None:
        """The drawer merged in, or None."""
        return self._drawer

    def with_drawer(self, drawer: Drawer) -> Library:
        """Return this library with a drawer's own records and stock merged in.

        Raises
        ------
        InputError : the drawer counts a part that neither it nor the library knows.
        """
        merged = Library(drawer)
        drawer.check_references(merged)
        return merged

    def in_drawer(self, part_id: str) -> int:
        """How many of a part are at hand; 0 where there is no drawer."""
        return self._drawer.quantities.get(part_id, 0) if self._drawer else 0

    def kind(self, name: str) -> Mapping[str, Record]:
        """All records of a kind by id; ``name`` is a key of :data:`subwright.parts.schema.KINDS`."""
        own = self._drawer.records.get(name, {}) if self._drawer else {}
        base = _base_records(name)
        return MappingProxyType({**base, **own}) if own else base

    def find(self, name: str, part_id: str) -> Record:
        """Record of a kind by id.

        Raises
        ------
        PartNotFoundError : no such part; carries the ids that look like it.
        """
        records = self.kind(name)
        record = records.get(part_id)
        if record is not None:
            return record
        near = near_ids(part_id, records)
        label = _NAMES.get(name, name)
        elsewhere = next((k for k in KINDS if k != name and part_id in self.kind(k)), "")
        if elsewhere:
            remedy = f"{part_id} is a {_NAMES.get(elsewhere, elsewhere)}; name a {label}."
        elif near:
            remedy = f"Did you mean {' or '.join(near)}? Or add the part to your drawer file."
        else:
            remedy = "Add the part to your drawer file with the values from its sheet."
        raise PartNotFoundError(
            message=f"There is no {label} {part_id!r} in the drawer or the library.",
            quantity=label,
            value=part_id,
            remedy=remedy,
            near=near,
        )

    @cached_property
    def materials(self) -> Mapping[str, Material]:
        """Core materials by grade."""
        return cast("Mapping[str, Material]", self.kind("material"))

    @cached_property
    def cores(self) -> Mapping[str, Core]:
        """Cores and core sets by id, ``size-grade``."""
        return cast("Mapping[str, Core]", self.kind("core"))

    @cached_property
    def wires(self) -> Mapping[str, Wire]:
        """Winding wire, litz, foil and hook-up wire."""
        return cast("Mapping[str, Wire]", self.kind("wire"))

    @cached_property
    def mosfets(self) -> Mapping[str, Mosfet]:
        """Power MOSFETs."""
        return cast("Mapping[str, Mosfet]", self.kind("mosfet"))

    @cached_property
    def rectifiers(self) -> Mapping[str, Rectifier]:
        """Power rectifiers."""
        return cast("Mapping[str, Rectifier]", self.kind("rectifier"))

    @cached_property
    def capacitors(self) -> Mapping[str, Capacitor]:
        """Capacitors that carry current."""
        return cast("Mapping[str, Capacitor]", self.kind("capacitor"))

    @cached_property
    def op_amps(self) -> Mapping[str, OpAmp]:
        """Operational amplifiers."""
        return cast("Mapping[str, OpAmp]", self.kind("op_amp"))

    @cached_property
    def comparators(self) -> Mapping[str, Comparator]:
        """Comparators."""
        return cast("Mapping[str, Comparator]", self.kind("comparator"))

    @cached_property
    def controllers(self) -> Mapping[str, Controller]:
        """PWM controllers with two outputs."""
        return cast("Mapping[str, Controller]", self.kind("controller"))

    @cached_property
    def references(self) -> Mapping[str, Reference]:
        """Shunt references."""
        return cast("Mapping[str, Reference]", self.kind("reference"))

    @cached_property
    def transistors(self) -> Mapping[str, Transistor]:
        """Small bipolar transistors."""
        return cast("Mapping[str, Transistor]", self.kind("transistor"))

    @cached_property
    def zeners(self) -> Mapping[str, Zener]:
        """Voltage-regulator diodes."""
        return cast("Mapping[str, Zener]", self.kind("zener"))

    @cached_property
    def ntcs(self) -> Mapping[str, Ntc]:
        """NTC thermistors."""
        return cast("Mapping[str, Ntc]", self.kind("ntc"))

    @cached_property
    def heatsinks(self) -> Mapping[str, Heatsink]:
        """Heatsinks."""
        return cast("Mapping[str, Heatsink]", self.kind("heatsink"))

    @cached_property
    def insulators(self) -> Mapping[str, Insulator]:
        """Insulating pads."""
        return cast("Mapping[str, Insulator]", self.kind("insulator"))

    @cached_property
    def drivers(self) -> Mapping[str, Driver]:
        """Loudspeaker drivers."""
        return cast("Mapping[str, Driver]", self.kind("driver"))

    def material(self, part_id: str) -> Material:
        """Core material by grade; PartNotFoundError with near misses."""
        return cast("Material", self.find("material", part_id))

    def core(self, part_id: str) -> Core:
        """Core by id; PartNotFoundError with near misses."""
        return cast("Core", self.find("core", part_id))

    def wire(self, part_id: str) -> Wire:
        """Wire by id; PartNotFoundError with near misses."""
        return cast("Wire", self.find("wire", part_id))

    def mosfet(self, part_id: str) -> Mosfet:
        """MOSFET by id; PartNotFoundError with near misses."""
        return cast("Mosfet", self.find("mosfet", part_id))

    def rectifier(self, part_id: str) -> Rectifier:
        """Rectifier by id; PartNotFoundError with near misses."""
        return cast("Rectifier", self.find("rectifier", part_id))

    def capacitor(self, part_id: str) -> Capacitor:
        """Capacitor by id; PartNotFoundError with near misses."""
        return cast("Capacitor", self.find("capacitor", part_id))

    def op_amp(self, part_id: str) -> OpAmp:
        """Op-amp by id; PartNotFoundError with near misses."""
        return cast("OpAmp", self.find("op_amp", part_id))

    def comparator(self, part_id: str) -> Comparator:
        """Comparator by id; PartNotFoundError with near misses."""
        return cast("Comparator", self.find("comparator", part_id))

    def controller(self, part_id: str) -> Controller:
        """Controller by id; PartNotFoundError with near misses."""
        return cast("Controller", self.find("controller", part_id))

    def reference(self, part_id: str) -> Reference:
        """Shunt reference by id; PartNotFoundError with near misses."""
        return cast("Reference", self.find("reference", part_id))

    def transistor(self, part_id: str) -> Transistor:
        """Transistor by id; PartNotFoundError with near misses."""
        return cast("Transistor", self.find("transistor", part_id))

    def zener(self, part_id: str) -> Zener:
        """Zener diode by id; PartNotFoundError with near misses."""
        return cast("Zener", self.find("zener", part_id))

    def ntc(self, part_id: str) -> Ntc:
        """Thermistor by id; PartNotFoundError with near misses."""
        return cast("Ntc", self.find("ntc", part_id))

    def heatsink(self, part_id: str) -> Heatsink:
        """Heatsink by id; PartNotFoundError with near misses."""
        return cast("Heatsink", self.find("heatsink", part_id))

    def insulator(self, part_id: str) -> Insulator:
        """Insulating pad by id; PartNotFoundError with near misses."""
        return cast("Insulator", self.find("insulator", part_id))

    def driver(self, part_id: str) -> Driver:
        """Driver by id; PartNotFoundError with near misses."""
        return cast("Driver", self.find("driver", part_id))

    def core_columns(self, ids: tuple[str, ...] | None = None) -> Mapping[str, NDArray[Any]]:
        """Cores as columns for searches over all of them at once.

        Parameters
        ----------
        ids : cores wanted, in this order; None: all.

        Returns
        -------
        Arrays of one length: "id" and "material" and "shape" (text), "in_drawer" (int), and each float
        field of :class:`Core` (SI, NaN only where the record has None).
        """
        columns = dict(self.columns("core", ids))
        columns["in_drawer"] = _array([self.in_drawer(i) for i in columns["id"]], int)
        return MappingProxyType(columns)

    def columns(self, name: str, ids: tuple[str, ...] | None = None) -> Mapping[str, NDArray[Any]]:
        """Records of a kind as columns: one array per text, number or switch field, in order of ``ids``.

        Parameters
        ----------
        name : kind. ids : records wanted; None: all.

        Raises
        ------
        PartNotFoundError : one of ``ids`` is unknown.
        """
        from subwright.parts.reader import rules_of

        records = self.kind(name)
        chosen = list(records.values()) if ids is None else [self.find(name, i) for i in ids]
        dtypes: dict[str, type] = {"float": float, "int": int, "bool": bool, "str": str, "choice": str}
        out = {
            rule.name: _array([getattr(r, rule.name) for r in chosen], dtypes[rule.form])
            for rule in rules_of(KINDS[name]).values()
            if rule.form in dtypes and rule.name not in ("description", "provenance", "price_class")
        }
        return MappingProxyType(out)


def _array(values: list[Any], dtype: type) -> NDArray[Any]:
    import numpy as np

    array: NDArray[Any] = np.array(values, dtype=dtype)  # None becomes NaN
    array.flags.writeable = False
    return array


def near_ids(part_id: str, known: Mapping[str, object]) -> tuple[str, ...]:
    """Up to three known ids that look like ``part_id``, compared without case, blanks and dashes."""
    from difflib import get_close_matches

    plain = {_plain(i): i for i in known}
    wanted = _plain(part_id)
    starts = [plain[p] for p in plain if wanted and p.startswith(wanted)]
    close = [plain[p] for p in get_close_matches(wanted, plain, n=3, cutoff=0.6)]
    return tuple(dict.fromkeys([*close, *starts]))[:3]


def _plain(text: str) -> str:
    return re.sub(r"[\s_-]+", "", text).lower()


@cache
def load_library() -> Library:
    """Return the starter library; each kind is read when first asked for, then kept."""
    return Library()


_FILES: Mapping[str, str] = {
    "material": "materials.toml",
    "core": "cores.toml",
    "wire": "wires.toml",
    "mosfet": "mosfets.toml",
    "rectifier": "rectifiers.toml",
    "capacitor": "capacitors.toml",
    "op_amp": "op_amps.toml",
    "comparator": "comparators.toml",
    "controller": "controllers.toml",
    "reference": "references.toml",
    "transistor": "transistors.toml",
    "zener": "zeners.toml",
    "ntc": "ntcs.toml",
    "heatsink": "heatsinks.toml",
    "insulator": "insulators.toml",
    "driver": "drivers.toml",
}


_DATA = Path(__file__).with_name("data")


@cache
def _base_records(name: str) -> Mapping[str, Record]:
    records = read_data_file(name, _DATA / _FILES[name])
    if name == "wire":
        records = {**_enamelled_wires(), **records}
    return MappingProxyType(records)


def _enamelled_wires() -> dict[str, Record]:
    """Enamelled round wire of the sizes on sale, grade 2, from the standard's table in :mod:`base`."""
    from subwright.base.tables.wire import METRIC_WIRE

    out: dict[str, Record] = {}
    for size in METRIC_WIRE.values():
        millimetres = round(size.conductor_m * 1e3, 3)
        if not 0.2 <= millimetres <= 2.5 or (size.series != "R20" and millimetres not in _R40_ON_SALE):
            continue
        wire = Wire(
            id=f"ECW {millimetres:.2f}" if round(millimetres, 2) == millimetres else f"ECW {millimetres:.3f}",
            description=f"enamelled copper wire {millimetres:g} mm, grade 2",
            provenance=Provenance(
                document="IEC 60317-0-1, enamelled round copper wire",
                condition=f"{size.origin.where}; largest overall diameter of grade 2",
                kind="standard" if size.origin.status == "read" else "memory",
            ),
            kind="enamelled",
            conductor_m=size.conductor_m,
            overall_m=size.grade2_m,
            area_m2=math.pi / 4 * size.conductor_m**2,
        )
        out[wire.id] = wire
    return out


_R40_ON_SALE = (0.3, 0.6, 0.75, 0.85, 0.95, 1.06, 1.18, 1.32, 1.5, 1.7, 1.9)


def read_data_file(name: str, path: Path) -> dict[str, Record]:
    """Read one of the library's own tables.

    Parameters
    ----------
    name : kind of the records. path : the TOML file.

    Raises
    ------
    InputError : with file, line, key and sentence for each problem.
    """
    from subwright.parts.reader import build

    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    problems: list[FileProblem] = []
    records: dict[str, Record] = {}

    def complain(part_id: str, key: str, sentence: str) -> None:
        problems.append(
            FileProblem(file=path, line=_line_of(text, part_id), key=f"{part_id}.{key}", message=sentence)
        )

    sources = {key: dict(table) for key, table in data.pop("source", {}).items()}
    for raw in _rows(name, data, complain):
        part_id = str(raw.get("id", "?"))
        key = raw.pop("source", "")
        if key not in sources:
            complain(part_id, "source", f"no source {key!r} in this file")
            continue
        provenance = _provenance(sources[key])
        for variant in _variants(name, raw, part_id, complain):
            record = build(
                KINDS[name],
                variant,
                provenance,
                partial(complain, part_id),
            )
            if record is None:
                continue
            if record.id in records:
                complain(part_id, "id", f"{record.id} is in the file twice")
            records[record.id] = record
    if problems:
        raise InputError(message=f"{path.name} can't be used", problems=tuple(problems))
    return records


def _rows(
    name: str, data: Mapping[str, Any], complain: Callable[[str, str, str], None]
) -> Iterator[dict[str, Any]]:
    """Expand each ``[[kind]]`` table of defaults, columns and rows to one mapping per record."""
    for key, groups in data.items():
        if key != name:
            complain(key, "file", f"no kind {key!r} belongs in this file")
            continue
        for group in groups:
            defaults = group.get("defaults", {})
            columns = group["columns"]
            for row in group["rows"]:
                if len(row) != len(columns):
                    complain(str(row[0]), "row", f"has {len(row)} values for {len(columns)} columns")
                    continue
                given = {c: v for c, v in zip(columns, row, strict=True) if v != "-"}
                yield {**defaults, **given}


def _provenance(table: Mapping[str, Any]) -> Provenance:
    return Provenance(
        document=table["document"],
        condition=table["condition"],
        kind=table["kind"],
        memory_fields=tuple(table.get("memory_fields", ())),
        computed_fields=tuple(table.get("computed_fields", ())),
    )


def _variants(
    name: str, raw: dict[str, Any], part_id: str, complain: Callable[[str, str, str], None]
) -> Iterator[dict[str, Any]]:
    """One mapping per record; a core's row holds one size and the grades that it is made in."""
    if name != "core":
        yield raw
        return
    from subwright.parts.cores import complete_core

    grades = raw.pop("grades", {})
    full = complete_core(raw, partial(complain, part_id))
    if full is None:
        return
    for material, al_h in grades.items():
        variant = {**full, "id": f"{part_id}-{material}", "material": material}
        yield variant if al_h == "-" else {**variant, "al_h": al_h}


def _line_of(text: str, part_id: str) -> int:
    """Line of the row that starts with this id, counted from 1."""
    match = re.search(rf'^\s*\[\s*"{re.escape(part_id)}"', text, re.MULTILINE)
    return text.count("\n", 0, match.start()) + 1 if match else 1
