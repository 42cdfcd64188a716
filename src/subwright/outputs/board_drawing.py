"""A board drawn: its parts from above with the copper seen through, and the copper at its true size to print.

The drawing for the screen and the bench has ten units to a millimetre. The one to print is in millimetres and
carries two bars of 50 mm, drawn in the same coordinates, by which the paper's scale is checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final, Literal

from subwright.boards.record import Board, Pad, Place, Placed
from subwright.outputs.board_legend import letterings, mark_strokes
from subwright.outputs.drawing import document, escaped, num, text
from subwright.outputs.drill import holes_by_diameter

__all__ = [
    "BAR_UM",
    "PRINT_EDGES_MM",
    "assembly_svg",
    "copper_print",
    "drill_print",
    "drill_signs",
    "print_size_mm",
]

BAR_UM: Final = 50_000
"""Length of the bars that tell a print's scale, µm."""

PRINT_EDGES_MM: Final = (11.0, 2.0, 2.0, 11.0)
"""Paper round a board's print: left with a bar, top, right, bottom with a bar, mm."""

_UNIT_UM: Final = 100.0  # µm to a unit of the drawing
_MARGIN: Final = 16.0
_FOOT: Final = 34.0
_PILOT_UM: Final = 400  # dot that catches the drill's point
_LETTER: Final = {1_500: "l15", 1_300: "l13", 1_200: "l12"}
_TO_TRANSFER: Final = "TO TRANSFER: this face onto the copper"
_TO_COMPARE: Final = "TO COMPARE: the etched side as you see it"
_TO_DRILL: Final = "TO DRILL: from the component side"
_CHIP_PINS: Final = 6
_SIGNS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def assembly_svg(board: Board, *, inline: bool = False) -> str:
    """The board from the component side.

    Parameters
    ----------
    board : what is drawn. inline : for a page that brings the style; else a file of its own.

    Returns
    -------
    SVG; each part is a group that names it in ``data-part``.
    """
    width = board.width_um / _UNIT_UM + 2 * _MARGIN
    height = board.height_um / _UNIT_UM + 2 * _MARGIN + _FOOT
    pen = _Pen(board)
    body = [
        *pen.foil(),
        f'<path d="{pen.path(_corners(board), close=True)}" class="frame"/>',
        *(pen.bore((hole.x_um, hole.y_um), hole.diameter_um) for hole in board.holes),
        *pen.links(),
        *(piece for placed in board.placed for piece in pen.part(placed)),
        *pen.wires(),
        *pen.names(),
        text(_MARGIN, height - 18, _size_text(board), classes="ts sm"),
        text(width - _MARGIN, height - 18, _links_text(board), classes="ta sm", anchor="end"),
    ]
    desc = (
        f"Seen from the component side, the copper below seen through it. {len(board.placed)} parts, "
        f"{len(board.links)} links, {len(board.wire_pads)} wire pads."
    )
    return document(body, width=width, height=height, title=f"{board.title}: board", desc=desc, inline=inline)


def _size_text(board: Board) -> str:
    return f"{board.width_um / 1000:.1f} × {board.height_um / 1000:.1f} mm, component side"


def _links_text(board: Board) -> str:
    sleeved = sum(link.insulated for link in board.links)
    more = f", {sleeved} in a sleeve (dashed)" if sleeved else ""
    return f"{len(board.links)} link{'' if len(board.links) == 1 else 's'}{more}" if board.links else ""


def _corners(board: Board) -> tuple[Place, ...]:
    return (0, 0), (board.width_um, 0), (board.width_um, board.height_um), (0, board.height_um)


class _Pen:
    """Draws one board ten units to a millimetre."""

    def __init__(self, board: Board) -> None:
        self._board = board

    def at(self, place: Place) -> tuple[float, float]:
        return (
            _MARGIN + place[0] / _UNIT_UM,
            _MARGIN + (self._board.height_um - place[1]) / _UNIT_UM,
        )

    def path(self, places: Iterable[Place], *, close: bool = False) -> str:
        found = [self.at(place) for place in places]
        return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in found) + ("Z" if close else "")

    def bore(self, place: Place, diameter_um: int) -> str:
        x, y = self.at(place)
        return f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(diameter_um / 2 / _UNIT_UM)}" class="bore"/>'

    def land(self, place: Place, across_um: int, along_um: int, *, square: bool = False) -> str:
        x, y = self.at(place)
        wide, tall = across_um / _UNIT_UM, along_um / _UNIT_UM
        rounded = "" if square else f' rx="{num(min(wide, tall) / 2)}"'
        return (
            f'<rect x="{num(x - wide / 2)}" y="{num(y - tall / 2)}" width="{num(wide)}" height="{num(tall)}"'
            f'{rounded} class="land"/>'
        )

    def foil(self) -> Iterator[str]:
        for track in self._board.tracks:
            wide = num(track.width_um / _UNIT_UM)
            yield f'<path d="{self.path(track.points)}" class="foil" stroke-width="{wide}"/>'
        first = {(pad.x_um, pad.y_um) for placed in self._board.placed for pad in _first_pin(placed)}
        for place, across, along in _lands(self._board):
            yield self.land(place, across, along, square=place in first)

    def links(self) -> Iterator[str]:
        for link in self._board.links:
            dash = ' stroke-dasharray="9 7"' if link.insulated else ""
            yield (
                f'<g data-link="{link.number}">{self.bore(link.start, link.hole_um)}'
                f"{self.bore(link.end, link.hole_um)}"
                f'<path d="{self.path((link.start, link.end))}" class="jump"{dash}/></g>'
            )

    def part(self, placed: Placed) -> Iterator[str]:
        strokes = "".join(f'<path d="{self.path(stroke)}" class="body"/>' for stroke in mark_strokes(placed))
        bores = "".join(self.bore((pad.x_um, pad.y_um), pad.hole_um) for pad in placed.pads)
        yield (
            f'<g data-part="{escaped(placed.case)}"><title>{escaped(f"{placed.case} {placed.label}")}</title>'
            f'<path d="{self.path(placed.body.points, close=True)}" class="body"/>{strokes}{bores}</g>'
        )

    def wires(self) -> Iterator[str]:
        for wire in self._board.wire_pads:
            x, y = self.at((wire.x_um, wire.y_um))
            rim = num(wire.pad_um / 2 / _UNIT_UM)
            yield f'<circle cx="{num(x)}" cy="{num(y)}" r="{rim}" class="hair"/>'
            yield self.bore((wire.x_um, wire.y_um), wire.hole_um)

    def names(self) -> Iterator[str]:
        for one in letterings(self._board):
            x, y = self.at((one.x_um, one.y_um))
            em = one.size_um * 1.33 / _UNIT_UM
            drop = 0.36 * em
            size = _LETTER[one.size_um]
            ink = {"part": "t", "value": "ts", "wire": "t", "link": "ta"}[one.kind]
            turn = f' transform="rotate(-90 {num(x)} {num(y)})"' if one.turn else ""
            owner = f' data-part="{escaped(one.of)}"' if one.kind in ("part", "value") else ""
            yield (
                f"<g{owner}>"
                + text(x, y + drop, one.text, classes=f"{ink} {size} halo", anchor="middle", extra=turn)
                + "</g>"
            )


def _first_pin(placed: Placed) -> Iterator[Pad]:
    """The pad at pin 1 of a chip, drawn square so that it can be found."""
    if len(placed.pads) >= _CHIP_PINS:
        yield from (pad for pad in placed.pads if pad.pin == "1")


def _lands(board: Board) -> Iterator[tuple[Place, int, int]]:
    """Every pad on the foil: middle, size across, size along."""
    for placed in board.placed:
        for pad in placed.pads:
            yield (pad.x_um, pad.y_um), pad.across_um, pad.along_um
    for link in board.links:
        yield link.start, link.pad_um, link.pad_um
        yield link.end, link.pad_um, link.pad_um
    for wire in board.wire_pads:
        yield (wire.x_um, wire.y_um), wire.pad_um, wire.pad_um


def print_size_mm(board: Board) -> tuple[float, float]:
    """Width and height of a board's print with its bars, mm; long enough for both."""
    left, top, right, bottom = PRINT_EDGES_MM
    bar = BAR_UM / 1000
    return (
        left + right + max(board.width_um / 1000, bar),
        top + bottom + max(board.height_um / 1000, bar),
    )


def copper_print(board: Board, *, seen_from: Literal["components", "copper"]) -> str:
    """The foil in black at its true size, with a white dot where each hole is drilled.

    Parameters
    ----------
    board : what is drawn. seen_from : "components" looks through the board, as a transfer is printed;
    "copper" is what the etched side looks like.

    Returns
    -------
    SVG whose unit is a millimetre and whose size says so.
    """
    sheet = _Sheet(board, mirrored=seen_from == "copper")
    drawn = [sheet.line(track.points, track.width_um) for track in board.tracks]
    drawn += [sheet.land(place, across, along) for place, across, along in _lands(board)]
    for diameter, places in holes_by_diameter(board).items():
        dot = min(_PILOT_UM, diameter)
        drawn += [sheet.disc(place, dot, "#fff") for place in places]
    drawn += [sheet.cross((hole.x_um, hole.y_um)) for hole in board.holes]
    return sheet.whole(drawn, _TO_TRANSFER if seen_from == "components" else _TO_COMPARE)


def drill_signs(board: Board) -> tuple[tuple[str, int, int], ...]:
    """Letter, diameter in µm and number of holes, by diameter."""
    found = holes_by_diameter(board)
    return tuple(
        (_SIGNS[number], diameter, len(places)) for number, (diameter, places) in enumerate(found.items())
    )


def drill_print(board: Board) -> str:
    """The holes from the component side at their true size and place; all but the commonest bear a letter."""
    sheet = _Sheet(board, mirrored=False)
    found = holes_by_diameter(board)
    common = max(found, key=lambda diameter: len(found[diameter]))
    drawn = []
    for sign, diameter, _ in drill_signs(board):
        for place in found[diameter]:
            drawn.append(sheet.ring(place, diameter))
            drawn.append(sheet.cross(place, diameter // 2))
            if diameter != common:
                drawn.append(sheet.letter(place, sign, diameter))
    return sheet.whole(drawn, _TO_DRILL)


class _Sheet:
    """A board's print in millimetres."""

    def __init__(self, board: Board, *, mirrored: bool) -> None:
        self._board = board
        self._mirrored = mirrored
        self._wide, self._tall = print_size_mm(board)

    def at(self, place: Place) -> tuple[str, str]:
        x = self._board.width_um - place[0] if self._mirrored else place[0]
        y = self._board.height_um - place[1]
        return f"{PRINT_EDGES_MM[0] + x / 1000:.3f}", f"{PRINT_EDGES_MM[1] + y / 1000:.3f}"

    def line(self, places: Sequence[Place], width_um: int) -> str:
        found = "L".join(f"{x} {y}" for x, y in map(self.at, places))
        return (
            f'<path d="M{found}" fill="none" stroke="#000" stroke-width="{width_um / 1000:.3f}"'
            ' stroke-linecap="round" stroke-linejoin="round"/>'
        )

    def land(self, place: Place, across_um: int, along_um: int) -> str:
        if across_um == along_um:
            return self.disc(place, across_um, "#000")
        half = abs(across_um - along_um) // 2
        dx, dy = (half, 0) if across_um > along_um else (0, half)
        ends = ((place[0] - dx, place[1] - dy), (place[0] + dx, place[1] + dy))
        return self.line(ends, min(across_um, along_um))

    def disc(self, place: Place, diameter_um: int, ink: str) -> str:
        x, y = self.at(place)
        return f'<circle cx="{x}" cy="{y}" r="{diameter_um / 2000:.3f}" fill="{ink}"/>'

    def ring(self, place: Place, diameter_um: int) -> str:
        x, y = self.at(place)
        return (
            f'<circle cx="{x}" cy="{y}" r="{diameter_um / 2000:.3f}" fill="none" stroke="#000"'
            ' stroke-width="0.12"/>'
        )

    def cross(self, place: Place, reach_um: int = 1_000) -> str:
        x, y = place
        return "".join(
            self._hair(((x - dx, y - dy), (x + dx, y + dy))) for dx, dy in ((reach_um, 0), (0, reach_um))
        )

    def letter(self, place: Place, sign: str, diameter_um: int) -> str:
        x, y = self.at((place[0] + diameter_um // 2 + 250, place[1] + 350))
        return f'<text x="{x}" y="{y}" font-family="DejaVu Sans Mono" font-size="1.8">{sign}</text>'

    def _hair(self, places: Sequence[Place]) -> str:
        found = "L".join(f"{x} {y}" for x, y in map(self.at, places))
        return f'<path d="M{found}" fill="none" stroke="#000" stroke-width="0.12"/>'

    def whole(self, drawn: Sequence[str], words: str) -> str:
        corners = _corners(self._board)
        edge = self._hair((*corners, corners[0]))
        size = f'width="{self._wide:.3f}mm" height="{self._tall:.3f}mm"'
        box = f'viewBox="0 0 {self._wide:.3f} {self._tall:.3f}"'
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>',
                f'<rect width="{self._wide:.3f}" height="{self._tall:.3f}" fill="#fff"/>',
                edge,
                *drawn,
                f'<text x="{PRINT_EDGES_MM[0]:g}" y="{self._tall - 7.6:.3f}" font-family="DejaVu Sans Mono"'
                f' font-size="2">{words}</text>',
                *self._bars(),
                "</svg>",
            ]
        )

    def _bars(self) -> Iterator[str]:
        """Two bars of 50 mm: their outer ends are 50 mm apart."""
        bar, (left, top, _, _) = BAR_UM / 1000, PRINT_EDGES_MM
        low = self._tall - 6.0
        yield f'<rect x="{left:g}" y="{low:.3f}" width="{bar:g}" height="0.8" fill="#000"/>'
        yield f'<rect x="3.5" y="{top:g}" width="0.8" height="{bar:g}" fill="#000"/>'
        words = f"{bar:g} mm"
        face = 'font-family="DejaVu Sans Mono" font-size="2.6" text-anchor="middle"'
        yield f'<text x="{left + bar / 2:g}" y="{low + 4.2:.3f}" {face}>{words}</text>'
        middle = f"{top + bar / 2:g}"
        yield f'<text x="8" y="{middle}" transform="rotate(-90 8 {middle})" {face}>{words}</text>'
