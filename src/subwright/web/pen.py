"""Draws SVG for a page that goes on living: what has a key can be patched without drawing the rest again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from subwright.outputs.drawing import escaped, num, rect, text

__all__ = ["Pen", "polyline"]


@dataclass(kw_only=True, slots=True)
class Pen:
    """Collects markup, and for each key what a page has to set: ``{"w.supply.0": {"text": "12.0 V"}}``."""

    prefix: str
    say: Callable[[str], str]
    parts: list[str] = field(default_factory=list)
    live: dict[str, dict[str, str]] = field(default_factory=dict)

    def put(self, *markup: str) -> None:
        """Add finished markup."""
        self.parts += markup

    def text(
        self,
        x: float,
        y: float,
        content: str,
        classes: str = "t",
        anchor: str = "start",
        key: str = "",
        *,
        foreign: bool = False,
    ) -> None:
        """One line of text; ``foreign`` where a design says it, in English, on a page of any language."""
        said = self.say(content)
        extra = self._keyed(key) + (' lang="en"' if foreign else "")
        self.parts.append(text(x, y, said, classes=classes, anchor=anchor, extra=extra))
        if key:
            self.live[self._name(key)] = {"text": said}

    def path(self, d: str, classes: str, *, width: float | None = None, key: str = "") -> None:
        """One path; with ``width`` its stroke is that many units wide."""
        wide = "" if width is None else f' stroke-width="{num(width)}"'
        self.parts.append(f'<path d="{d}" class="{classes}"{wide}{self._keyed(key)}/>')
        if key:
            self.live[self._name(key)] = {"d": d} | ({} if width is None else {"stroke-width": num(width)})

    def rect(self, x: float, y: float, width: float, height: float, classes: str, *, key: str = "") -> None:
        """One rectangle."""
        if not key:
            self.parts.append(rect(x, y, width, height, classes=classes))
            return
        values = {"x": num(x), "y": num(y), "width": num(width), "height": num(height)}
        said = " ".join(f'{name}="{value}"' for name, value in values.items())
        self.parts.append(f'<rect {said} class="{classes}"{self._keyed(key)}/>')
        self.live[self._name(key)] = values

    def circle(self, x: float, y: float, radius: float, classes: str) -> None:
        """One circle."""
        self.parts.append(f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" class="{classes}"/>')

    def link(self, key: str, box: tuple[float, float, float, float], name: str = "") -> None:
        """Begin what opens the sheet ``key``: a link over ``box`` (left, top, width, height).

        It is called by the words inside it; ``name`` is for one that holds none.
        """
        left, top, width, height = box
        label = f' aria-label="{escaped(name)}"' if name else ""
        self.parts.append(f'<a href="#{key}" data-stage="{key}"{label} class="thing">')
        self.parts.append(rect(left, top, width, height, classes="hit"))

    def end(self) -> None:
        """End what `link` began."""
        self.parts.append("</a>")

    def svg(self, width: float, height: float, title: str, classes: str) -> str:
        """The whole drawing; a group and not an image, for its links must be reached one by one."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="sw {classes}" role="group"'
            f' viewBox="0 0 {num(width)} {num(height)}" aria-label="{escaped(title)}">'
            + "\n".join(self.parts)
            + "</svg>"
        )

    def _name(self, key: str) -> str:
        return f"{self.prefix}.{key}"

    def _keyed(self, key: str) -> str:
        return f' data-k="{self._name(key)}"' if key else ""


def polyline(points: Sequence[tuple[float, float]]) -> str:
    """Path text through the points."""
    return "M" + "L".join(f"{num(x)} {num(y)}" for x, y in points)
