"""Read the library's own tables, ``data/<kind>.toml``; see :mod:`subwright.parts` for their form."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from functools import cache, partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from subwright.base.errors import FileProblem, InputError
from subwright.parts.schema import KINDS, Provenance, Record, Wire

__all__ = ["library_records", "read_data_file"]

_FILES: Mapping[str, str] = {
    "material": "materials.toml",
    "core": "cores.toml",
    "wire": "wires.toml",
    "mosfet": "mosfets.toml",
    "rectifier": "rectifiers.toml",
    "capacitor": "capacitors.toml",
    "op_amp": "op_amps.toml",
    "comparator": "comparators.toml",
    "fast_comparator": "fast_comparators.toml",
    "schmitt_inverter": "schmitt_inverters.toml",
    "gate_driver": "gate_drivers.toml",
    "controller": "controllers.toml",
    "reference": "references.toml",
    "transistor": "transistors.toml",
    "zener": "zeners.toml",
    "suppressor": "suppressors.toml",
    "relay": "relays.toml",
    "ntc": "ntcs.toml",
    "heatsink": "heatsinks.toml",
    "insulator": "insulators.toml",
    "driver": "drivers.toml",
}


_DATA = Path(__file__).with_name("data")


@cache
def library_records(name: str) -> Mapping[str, Record]:
    """All records of a kind by id, read once; InputError where a table is wrong."""
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
