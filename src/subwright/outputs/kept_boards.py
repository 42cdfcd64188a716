"""Finished boards as a file beside the build: one JSON object, replaced as a whole.

Boards take seconds each and are kept by the code of the exact design and the version that made it; boards of
another design are known for what they are. Making some of them anew leaves the others of the same design.
"""

from __future__ import annotations

import json
import math
import types
from collections.abc import Callable, Sequence
from dataclasses import asdict, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from subwright import __version__
from subwright.base.saving import locked, save_atomically
from subwright.boards.record import Board
from subwright.outputs.kept_json import KeptFormat
from subwright.outputs.made_board import KeptBoards, MadeBoard

__all__ = ["boards_path", "read_boards", "save_boards", "usable"]

_FILE: Final = KeptFormat(what="boards", again="make the boards again", version=1)
_LARGEST_UM: Final = 999_999  # what the test records can say
_Record = TypeVar("_Record")


def boards_path(build: Path) -> Path:
    """The boards that belong to a build file: ``van.build.toml`` → ``van.boards.json``."""
    return build.with_name(build.name.removesuffix(".toml").removesuffix(".build") + ".boards.json")


def usable(kept: KeptBoards | None, code: str) -> KeptBoards | None:
    """The boards where they are of the design of this code by this version, else None."""
    return kept if kept is not None and (kept.code, kept.made_with) == (code, __version__) else None


def save_boards(
    path: Path,
    code: str,
    made: Sequence[MadeBoard],
    *,
    without: Sequence[tuple[str, str]],
    wanted: Sequence[str],
) -> KeptBoards:
    """Put boards of a design into the file; others of the same design stay, those of another go.

    Parameters
    ----------
    path : the file. code : the design's. made : new boards. without : blocks that have none, with the reason.
    wanted : keys of all boards that the design asks for, in order.

    Returns
    -------
    What the file holds now.

    Raises
    ------
    InputError : the file can't be written, or what is there holds no boards; it is left as it was.
    """
    with locked(path.parent):
        before = usable(read_boards(path), code)
        held = {one.board.key: one for one in before.boards} if before is not None else {}
        held |= {one.board.key: one for one in made}
        kept = KeptBoards(
            code=code,
            made_with=__version__,
            boards=tuple(held[key] for key in wanted if key in held),
            without=tuple(without),
            wanted=tuple(wanted),
        )
        save_atomically(path, _text(kept))
    return kept


def _text(kept: KeptBoards) -> str:
    """One line a board, so that a comparison of two versions shows which board changed."""
    body = asdict(kept)
    boards = ",\n".join(json.dumps(one, ensure_ascii=False, allow_nan=False) for one in body.pop("boards"))
    head = json.dumps({"format": _FILE.version, **body}, ensure_ascii=False, allow_nan=False)
    return f'{head[:-1]}, "boards": [\n{boards}\n]}}\n'


def read_boards(path: Path) -> KeptBoards | None:
    """The boards kept in a file; None where there is no file.

    Raises
    ------
    InputError : the file can't be read, or holds something else.
    """
    body = _FILE.read(path)
    if body is None:
        return None
    try:
        kept: KeptBoards = _reader(KeptBoards)(body)
        for one in kept.boards:
            _require_sane(one.board)
    except (KeyError, TypeError, ValueError):
        raise _FILE.unusable(path, "lacks a field of a board, or a value can't be one") from None
    return kept


@cache
def _reader(kind: Any) -> Callable[[Any], Any]:
    """Makes a value of a record's field out of JSON; raises TypeError or ValueError for anything else."""
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        readers = {field.name: _reader(hints[field.name]) for field in fields(kind)}

        def record(body: Any) -> Any:
            if not isinstance(body, dict) or body.keys() != readers.keys():
                raise TypeError
            return kind(**{name: read(body[name]) for name, read in readers.items()})

        return record
    origin, inner = get_origin(kind), get_args(kind)
    if origin is tuple:
        return _row(inner)
    if origin is Literal:
        return lambda value: _one_of(value, inner)
    if origin in (Union, types.UnionType):
        (other,) = (_reader(one) for one in inner if one is not type(None))
        return lambda value: None if value is None else other(value)
    return lambda value: _plain(value, kind)


def _row(inner: tuple[Any, ...]) -> Callable[[Any], Any]:
    if inner[-1] is Ellipsis:
        each = _reader(inner[0])
        return lambda value: tuple([each(item) for item in _list(value)])
    readers = [_reader(one) for one in inner]
    return lambda value: tuple([read(item) for read, item in zip(readers, _list(value), strict=True)])


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise TypeError
    return value


def _one_of(value: Any, allowed: tuple[Any, ...]) -> Any:
    if isinstance(value, bool) or value not in allowed:
        raise ValueError
    return value


def _plain(value: Any, kind: type[_Record]) -> _Record | float:
    if kind is float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise TypeError
        return float(value)
    if type(value) is not kind:
        raise TypeError
    return value


def _require_sane(board: Board) -> None:
    """Raise ValueError for what no board can be, and what a drawing could not be made of."""
    pads = [pad for placed in board.placed for pad in placed.pads]
    sizes = [board.width_um, board.height_um]
    sizes += [size for pad in pads for size in (pad.hole_um, pad.across_um, pad.along_um)]
    sizes += [track.width_um for track in board.tracks]
    sizes += [size for link in board.links for size in (link.wire_um, link.hole_um, link.pad_um)]
    sizes += [size for wire in board.wire_pads for size in (wire.hole_um, wire.pad_um)]
    sizes += [hole.diameter_um for hole in board.holes]
    if not pads or min(sizes) <= 0 or max(sizes) > _LARGEST_UM:
        raise ValueError
    if any(len(track.points) < 2 for track in board.tracks):
        raise ValueError
    if any(len(placed.body.points) < 3 for placed in board.placed):
        raise ValueError
    places = [(pad.x_um, pad.y_um) for pad in pads]
    places += [point for track in board.tracks for point in track.points]
    places += [point for placed in board.placed for point in placed.body.points]
    places += [end for link in board.links for end in (link.start, link.end)]
    places += [(wire.x_um, wire.y_um) for wire in board.wire_pads]
    places += [(hole.x_um, hole.y_um) for hole in board.holes]
    if any(abs(value) > _LARGEST_UM for place in places for value in place):
        raise ValueError
