"""The battery's scale under the drawing: its corners, where it plays, where it shuts down."""

from __future__ import annotations

from collections.abc import Callable

from subwright.base.units import show
from subwright.outputs.drawing import num
from subwright.web.lettering import word_width
from subwright.web.pen import Pen
from subwright.web.scene import Ruler

__all__ = ["ruler_svgs"]


def ruler_svgs(ruler: Ruler, words: Callable[[str], str]) -> str:
    """The scale for a wide page and for a phone; one of the two is shown."""
    return _ruler(ruler, words, 860.0, "wide") + _ruler(ruler, words, 344.0, "narrow")


def _ruler(ruler: Ruler, words: Callable[[str], str], width: float, classes: str) -> str:
    pen = Pen(prefix="r", say=lambda text: text)
    span = ruler.high_v - ruler.low_v

    def at(value: float) -> float:
        return width * min(max((value - ruler.low_v) / span, 0.0), 1.0)

    plays, ends = at(ruler.plays_from_v), at(ruler.plays_to_v)
    pen.rect(0, 8, width, 10, "rest")
    pen.rect(plays, 8, ends - plays, 10, "mid")
    low = at(ruler.off_below_v) if ruler.off_below_v is not None else 0.0
    high = at(ruler.off_above_v) if ruler.off_above_v is not None else width
    hatch = ""
    for start, end in ((0.0, low), (high, width)):
        hatch += "".join(f"M{num(start + 7 * i)} 18l7 -10" for i in range(int((end - start) / 7)))
    if hatch:
        pen.path(hatch, "hach")
    pen.path(f"M{num(low)} 4v18M{num(high)} 4v18", "lim")
    taken: list[tuple[float, float, int]] = []
    names: list[tuple[float, float, str]] = []
    for name, value in ruler.corners:
        content = f"{words(name)} {show(value, 'voltage')}"
        half = word_width(content) / 2
        x = at(value)
        middle = min(max(x, half), width - half)
        row = 0
        while any(
            r == row and middle - half < end + 6 and middle + half > start - 6 for start, end, r in taken
        ):
            row += 1
        taken.append((middle - half, middle + half, row))
        pen.path(f"M{num(x)} 18v{num(6 + 15 * row)}", "hair")
        names.append((middle, 36.0 + 15 * row, content))
    for middle, y, content in names:  # over every stroke, with the paper round them
        pen.text(middle, y, content, "ts sm halo", "middle")
    rows = max(row for _, _, row in taken) + 1
    height = 28 + 15 * rows
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sw {classes}" aria-hidden="true"'
        f' viewBox="0 0 {num(width)} {num(height)}">' + "".join(pen.parts) + "</svg>"
    )
