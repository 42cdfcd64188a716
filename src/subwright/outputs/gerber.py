"""A board's layers as Gerber X2: copper, solder mask, legend and profile.

Source: [gerber]; millimetres with six decimals, absolute, so that a micrometre is a thousand steps and no
coordinate is rounded. Attributes name the layer's use (.FileFunction), and at each flash its pin, net and
part (.P, .N, .C). Everything is seen from the component side and nothing is mirrored, as the format wants it.
No clock goes into a file.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from subwright import __version__
from subwright.boards.record import Board, Place
from subwright.outputs.board_legend import legend_strokes
from subwright.outputs.board_lettering import STROKE_UM

__all__ = ["MASK_MARGIN_UM", "gerber_files"]

MASK_MARGIN_UM: Final = 100
"""How far the solder mask stays away from a pad, µm (common practice, no source)."""

_STEPS: Final = 1_000  # of the format to a micrometre
_PROFILE_UM: Final = 100
_ESCAPED: Final = frozenset("%*\\,")

Polarity = Literal["Positive", "Negative"]


@dataclass(frozen=True, slots=True)
class _Tool:
    """An aperture: circle ("C") or oval ("O") with its use."""

    shape: Literal["C", "O"]
    across_um: int
    along_um: int
    use: str

    @property
    def define(self) -> str:
        sizes = (self.across_um,) if self.shape == "C" else (self.across_um, self.along_um)
        return f"{self.shape},{'X'.join(f'{size / 1000:.3f}' for size in sizes)}"


@dataclass(frozen=True, slots=True)
class _Mark:
    """What is drawn with one aperture: one place flashes it, more draw a line. With its object attributes."""

    tool: _Tool
    points: tuple[Place, ...]
    net: str | None = None
    case: str = ""
    pin: str = ""


def gerber_files(board: Board, *, build: str, code: str) -> dict[str, str]:
    """The layers by file name.

    Parameters
    ----------
    board : what is drawn. build : name of the whole build. code : the design's code.

    Returns
    -------
    Text of ``copper-bottom.gbr``, ``soldermask-bottom.gbr``, ``legend-top.gbr`` and ``profile.gbr``.
    """
    unique = uuid.uuid5(uuid.NAMESPACE_OID, f"{code}/{board.key}")  # the same for the same design
    project = "\n".join(
        (
            _words("TF.ProjectId", f"{build}: {board.title}", str(unique), code),
            _words("TF.SameCoordinates", str(unique)),
        )
    )
    return {
        # The upper side is layer 1 and stays bare but for links; the foil is layer 2.
        "copper-bottom.gbr": _layer("Copper,L2,Bot", "Positive", project, _copper(board)),
        "soldermask-bottom.gbr": _layer("Soldermask,Bot", "Negative", project, _openings(board)),
        "legend-top.gbr": _layer("Legend,Top", "Positive", project, _legend(board)),
        "profile.gbr": _layer("Profile,NP", "Positive", project, _profile(board)),
    }


def _round(diameter_um: int, use: str) -> _Tool:
    return _Tool("C", diameter_um, diameter_um, use)


def _land(across_um: int, along_um: int, use: str) -> _Tool:
    return _Tool("C" if across_um == along_um else "O", across_um, along_um, use)


def _copper(board: Board) -> Iterator[_Mark]:
    for track in board.tracks:
        yield _Mark(_round(track.width_um, "Conductor"), track.points, net=track.net)
    yield from _lands(board, 0, "ComponentPad")


def _openings(board: Board) -> Iterator[_Mark]:
    for mark in _lands(board, MASK_MARGIN_UM, ""):
        yield _Mark(mark.tool, mark.points)


def _lands(board: Board, margin_um: int, use: str) -> Iterator[_Mark]:
    """Every pad on the foil, of parts, links and wires, each larger by a margin all round."""
    more = 2 * margin_um
    for placed in board.placed:
        for pad in placed.pads:
            tool = _land(pad.across_um + more, pad.along_um + more, use)
            yield _Mark(tool, ((pad.x_um, pad.y_um),), net=pad.net, case=pad.case, pin=pad.pin)
    for link in board.links:
        tool = _round(link.pad_um + more, use)
        for pin, place in (("1", link.start), ("2", link.end)):
            yield _Mark(tool, (place,), net=link.net, case=f"LINK{link.number}", pin=pin)
    for number, wire in enumerate(board.wire_pads, 1):
        tool = _round(wire.pad_um + more, use)
        yield _Mark(tool, ((wire.x_um, wire.y_um),), net=wire.net, case=f"WIRE{number}", pin="1")


def _legend(board: Board) -> Iterator[_Mark]:
    tool = _round(STROKE_UM, "")
    for stroke in legend_strokes(board):
        yield _Mark(tool, stroke)


def _profile(board: Board) -> Iterator[_Mark]:
    x, y = board.width_um, board.height_um
    yield _Mark(_round(_PROFILE_UM, "Profile"), ((0, 0), (x, 0), (x, y), (0, y), (0, 0)))


def _layer(function: str, polarity: Polarity, project: str, marks: Iterable[_Mark]) -> str:
    drawn = tuple(marks)
    tools = sorted({mark.tool for mark in drawn}, key=lambda t: (t.use, t.shape, t.across_um, t.along_um))
    names = {tool: f"D{number}" for number, tool in enumerate(tools, 10)}
    lines = [
        _words("TF.GenerationSoftware", "subwright", "subwright", __version__),
        project,
        _words("TF.Part", "Single"),
        f"%TF.FileFunction,{function}*%",
        f"%TF.FilePolarity,{polarity}*%",
        "%FSLAX46Y46*%",
        "%MOMM*%",
        "%LPD*%",
        *_defined(tools, names),
        "G01*",
        *_drawn(drawn, names),
        "M02*",
    ]
    return "\n".join(lines) + "\n"


def _defined(tools: Sequence[_Tool], names: dict[_Tool, str]) -> Iterator[str]:
    use = ""
    for tool in tools:
        if tool.use != use:
            yield f"%TA.AperFunction,{tool.use}*%" if tool.use else "%TD*%"
            use = tool.use
        yield f"%AD{names[tool]}{tool.define}*%"
    if use:
        yield "%TD*%"


def _drawn(marks: Sequence[_Mark], names: dict[_Tool, str]) -> Iterator[str]:
    tool: _Tool | None = None
    said: tuple[str | None, str, str] = (None, "", "")
    for mark in marks:
        if mark.tool != tool:
            tool = mark.tool
            yield f"{names[tool]}*"
        attributes = (mark.net, mark.case, mark.pin)
        if attributes != said:
            if said != (None, "", ""):
                yield "%TD*%"
            yield from _attributes(mark)
            said = attributes
        if len(mark.points) == 1:
            yield f"{_at(mark.points[0])}D03*"
            continue
        yield f"{_at(mark.points[0])}D02*"
        for point in mark.points[1:]:
            yield f"{_at(point)}D01*"
    if said != (None, "", ""):
        yield "%TD*%"


def _attributes(mark: _Mark) -> Iterator[str]:
    if mark.case:
        yield _words("TO.P", mark.case, mark.pin)
    if mark.net is not None:
        # A pin that goes nowhere is named by its own word of the format.
        yield _words("TO.N", mark.net or "N/C")
    if mark.case:
        yield _words("TO.C", mark.case)


def _at(place: Place) -> str:
    return f"X{place[0] * _STEPS}Y{place[1] * _STEPS}"


def _words(name: str, *fields: str) -> str:
    return f"%{name},{','.join(_plain(field) for field in fields)}*%"


def _plain(field: str) -> str:
    """A field with what steers the format written by its number."""
    return "".join(
        f"\\u{ord(c):04X}" if c in _ESCAPED or not " " <= c <= "~" else c
        for c in field
        if c.isprintable() and ord(c) <= 0xFFFF
    )
