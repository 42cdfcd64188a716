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
    al_tolerance = "3 %"         # of this very core; a catalogue's is 25 %
    saturation = "302 mT"        # at 100 °C, from a pulse; left out: the grade's
    checked_flux = "395 mT"      # up to which the pulse ran straight; left out: nobody has looked
    loss_factor = 1.1            # loss measured over the grade's
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from subwright.base.errors import FileProblem, InputError, PartNotFoundError, SubwrightError
from subwright.base.saving import save_atomically
from subwright.parts.drawer_reader import FORMAT_VERSION, DrawerReader
from subwright.parts.schema import KINDS
from subwright.parts.stock import Drawer, ValueStock

__all__ = [
    "FORMAT_VERSION",
    "SIZE_LIMIT_BYTES",
    "Drawer",
    "ValueStock",
    "add_part",
    "load_drawer",
    "parse_drawer",
    "set_quantity",
    "set_values",
]

SIZE_LIMIT_BYTES = 1_000_000
"""A drawer file is some kilobytes; anything above this is another file given by mistake."""


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
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            problem = FileProblem(file=path, line=1, key="file", message="is too large to be a drawer file")
            raise InputError(message="The drawer file can't be read.", problems=(problem,))
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = (
            "is not UTF-8 text"
            if isinstance(error, UnicodeDecodeError)
            else (error.strerror or "unknown reason").lower()
        )
        problem = FileProblem(file=path, line=1, key="file", message=f"can't be read ({reason})")
        raise InputError(message="The drawer file can't be read.", problems=(problem,)) from None
    return parse_drawer(text, path)


def parse_drawer(text: str, path: Path | None = None) -> Drawer:
    """Make a drawer from the text of a drawer file.

    Parameters
    ----------
    text : the file's text. path : its name, for messages.

    Raises
    ------
    InputError : with line and key of each problem.
    """
    return DrawerReader(text, path).drawer()


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
    document: Any = tomlkit.parse(text)
    table = tomlkit.table()
    for key, value in {**values, "quantity": quantity}.items():
        table.add(key, value)
    if kind not in document:
        document.add(tomlkit.nl())
        document.add(kind, tomlkit.aot())
    else:
        document[kind][-1].add(tomlkit.nl())
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


def set_values(path: Path, kind: str, part_id: str, values: Mapping[str, str | int | float | bool]) -> Drawer:
    """Set values of a record of one's own in a drawer file; everything else, comments too, stays.

    Parameters
    ----------
    path : drawer file. kind : key of ``schema.KINDS``. part_id : the record.
    values : as the drawer spells them (``{"checked_flux": "310 mT"}``).

    Returns
    -------
    The drawer as it now is.

    Raises
    ------
    InputError : the file, or a value, has a problem; the file stays as it was.
    PartNotFoundError : the drawer has no such record of its own.
    """
    import tomlkit

    drawer = load_drawer(path)
    own = drawer.records.get(kind, {})
    if part_id not in own:
        near = tuple(own)
        raise PartNotFoundError(
            message=f"The drawer {path.name} describes no {kind} called {part_id!r} itself.",
            quantity="id",
            value=part_id,
            remedy=f"Its own are: {', '.join(near)}." if near else "It describes none itself.",
            near=near,
        )
    document: Any = tomlkit.parse(path.read_text(encoding="utf-8"))
    for table in document[kind]:
        if table["id"] == part_id:
            for key, value in values.items():
                table[key] = value
    return _save(path, tomlkit.dumps(document))


def _text_or_new(path: Path) -> str:
    if path.exists():
        load_drawer(path)
        return path.read_text(encoding="utf-8")
    return f'format_version = {FORMAT_VERSION}\nname = "{path.name.split(".")[0]}"\n'


def _save(path: Path, text: str) -> Drawer:
    drawer = parse_drawer(text, path)
    save_atomically(path, text)
    return drawer
