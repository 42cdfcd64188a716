"""What nobody has checked yet: part data from memory or invented, and the works that the build rests on."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping

from subwright.base.quantities import words_of
from subwright.base.sources import bibliography
from subwright.build.result import Design
from subwright.outputs.views import SourceRow
from subwright.parts.record import Record

__all__ = ["records_in", "source_rows", "sources_text", "unchecked"]

_UNCHECKED = {"memory": "from memory", "invented": "invented"}


def records_in(value: object) -> Iterator[Record]:
    """Every part record inside a result, wherever it's nested; a record may come more than once."""
    if isinstance(value, Record):
        yield value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            yield from records_in(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from records_in(item)
    elif isinstance(value, tuple | list):
        for item in value:
            yield from records_in(item)


def unchecked(design: Design) -> tuple[str, ...]:
    """A line for each part whose data are from memory or invented, wholly or in some fields, sorted."""
    lines: dict[str, str] = {}
    for _, result in design.stage_results():
        for record in records_in(result):
            line = _line(record)
            if line:
                lines[record.id] = line
    for _, part in design.part_uses():
        how = _UNCHECKED.get(part.provenance)
        if how and part.part_id not in lines:
            lines[part.part_id] = f"{part.part_id}: {how}"
    return tuple(lines[key] for key in sorted(lines))


def _line(record: Record) -> str:
    provenance = record.provenance
    how = _UNCHECKED.get(provenance.kind)
    if how:
        told = ", ".join(part for part in (provenance.document, provenance.condition) if part)
        return f"{record.id}: {how}" + (f" ({told})" if told else "")
    if provenance.memory_fields:
        fields = ", ".join(words_of(name) for name in provenance.memory_fields)
        return f"{record.id}: {fields} from memory; the rest from {provenance.document}"
    return ""


def source_rows(design: Design) -> tuple[SourceRow, ...]:
    """The works that the build's formulas, tables and limits come from, by key.

    A finding's source that isn't a bibliography key is its own citation.
    """
    known = bibliography()
    rows = []
    for key in design.source_keys():
        entry = known.get(key)
        if entry is None:
            rows.append(SourceRow(key="", citation=key, status=""))
        else:
            rows.append(SourceRow(key=key, citation=entry.citation(), status=entry.status))
    return tuple(sorted(rows, key=lambda row: (row.key == "", row.key, row.citation)))


def sources_text(sources: tuple[SourceRow, ...], from_memory: tuple[str, ...]) -> str:
    """Both lists as plain text."""
    lines = ["SOURCES", ""]
    lines += [f"[{row.key}] {row.citation}" if row.key else row.citation for row in sources]
    lines += [
        "",
        "PART DATA FROM MEMORY OR INVENTED: COMPARE WITH THE DATA SHEET OF THE PART IN YOUR HAND",
        "",
    ]
    lines += from_memory or ("none",)
    return "\n".join(lines) + "\n"
