"""Parts: the library and the drawer."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from subwright.base.errors import PartNotFoundError, SubwrightError
from subwright.base.near import closest
from subwright.outputs.tomlfile import did_you_mean, read_toml
from subwright.parts.drawer import Drawer, parse_drawer, set_quantity
from subwright.parts.library import Library, load_library
from subwright.parts.schema import KINDS, Record

if TYPE_CHECKING:
    pass


__all__ = [
    "PartRow",
    "add_drawer_part",
    "list_drawer",
    "list_parts",
    "open_drawer",
    "part_kinds",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class PartRow:
    """One part for a list."""

    id: str
    kind: str
    description: str
    provenance: str
    document: str
    in_drawer: int
    record: Record


def part_kinds() -> tuple[str, ...]:
    """The kinds of part that the library holds."""
    return tuple(KINDS)


def _kind(word: str) -> str:
    plain = word.strip().lower().replace("-", "_").replace(" ", "_")
    for name in (plain, plain.removesuffix("s")):
        if name in KINDS:
            return name
    raise SubwrightError(
        message=f"there is no kind of part {word!r}{did_you_mean(plain, KINDS)}",
        remedy=f"kinds are {', '.join(KINDS)}",
    )


def list_parts(kind: str, query: str = "", drawer: Path | None = None) -> tuple[PartRow, ...]:
    """The parts of one kind that match every word of ``query``, those in the drawer first.

    Raises
    ------
    SubwrightError
        There is no such kind; the message names the nearest.
    InputError
        The drawer file can't be used.
    """
    name = _kind(kind)
    library = load_library()
    if drawer is not None:
        library = library.with_drawer(open_drawer(drawer))
    words = query.lower().split()
    rows = [
        _part_row(name, record, library)
        for record in library.kind(name).values()
        if all(word in f"{record.id} {record.description}".lower() for word in words)
    ]
    return tuple(sorted(rows, key=lambda row: row.in_drawer == 0))


def _part_row(kind: str, record: Record, library: Library) -> PartRow:
    return PartRow(
        id=record.id,
        kind=kind,
        description=record.description,
        provenance=record.provenance.kind,
        document=record.provenance.document,
        in_drawer=library.in_drawer(record.id),
        record=record,
    )


def open_drawer(path: Path) -> Drawer:
    """Read a drawer file. Raises `InputError` with each problem located."""
    return parse_drawer(read_toml(path, "drawer file").text, path)


def list_drawer(path: Path) -> tuple[Drawer, tuple[PartRow, ...]]:
    """A drawer file and its parts, kind by kind."""
    drawer = open_drawer(path)
    library = load_library().with_drawer(drawer)
    rows = tuple(
        _part_row(kind, record, library)
        for kind in KINDS
        for record in library.kind(kind).values()
        if record.id in drawer.quantities
    )
    return drawer, rows


def add_drawer_part(path: Path, part_id: str, quantity: int = 1) -> PartRow:
    """Count ``quantity`` more of a library part (or of one that the drawer describes itself) as at hand.

    Raises
    ------
    PartNotFoundError
        The part is in neither; near misses are named.
    InputError
        The drawer file can't be used or saved.
    """
    library = load_library()
    if path.exists():
        library = library.with_drawer(open_drawer(path))
    kind = next((kind for kind in KINDS if part_id in library.kind(kind)), None)
    if kind is None:
        near = closest(part_id, [known for name in KINDS for known in library.kind(name)])
        raise PartNotFoundError(
            message=f"there is no part {part_id!r} in the library or the drawer",
            remedy=f"did you mean {' or '.join(near)}?" if near else "look it up with: subwright parts KIND",
            near=near,
        )
    drawer = set_quantity(path, part_id, library.in_drawer(part_id) + quantity)
    return _part_row(kind, library.kind(kind)[part_id], library.with_drawer(drawer))
