"""The power flow from battery to air: one ribbon, and each loss peeling off it with its watts.

Every width is proportional to power on one linear scale. Ribbons too thin to see are drawn at a stated least
width, and the sound power, a few watts at most, is drawn again under a lens with its enlargement written on.
"""

from __future__ import annotations

from dataclasses import dataclass

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.outputs.drawing import document, line, num, rect, text, text_width, wrap

__all__ = ["Flow", "Peel", "Step"]

_TRUNK = 104.0  # drawing units for the power that enters
_LEAST = 1.2
_RADIUS = 8.0
_LABEL_CHARS = 13
_SIZE = 11.0
_ROW = 12.5
_NOTE = 11.0  # size of the small print
_TOO_SMALL = 1e-5  # losses below this share of the source are left out of the picture
_MOST = 6  # losses drawn one by one in a step; smaller ones are drawn together


@dataclass(frozen=True, kw_only=True, slots=True)
class Peel:
    """One loss that leaves the flow, W."""

    label: str
    power_w: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One stretch of the way: what enters it is what the step before has left."""

    name: str
    losses: tuple[Peel, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Flow:
    """Power from source to sink; the losses and what arrives must add up to what enters."""

    title: str
    source: str  # "battery, 12.6 V"
    source_w: float
    steps: tuple[Step, ...]
    sink: str
    sink_w: float

    def __post_init__(self) -> None:
        lost = sum(p.power_w for s in self.steps for p in s.losses)
        gap = self.source_w - lost - self.sink_w
        parts = [self.source_w, self.sink_w, *(p.power_w for s in self.steps for p in s.losses)]
        if not all(0.0 <= v < float("inf") for v in parts) or self.source_w == 0.0:
            raise SubwrightError(
                message="a power in the flow is negative, zero at the source, or not finite",
                quantity=self.title,
                value=str(min(parts)),
                remedy="the result itself is at fault; please report it with the build file",
            )
        if abs(gap) > 2e-3 * self.source_w:
            raise SubwrightError(
                message="the power flow doesn't add up",
                quantity="power unaccounted for",
                value=show(gap, "power"),
                limit=show(2e-3 * self.source_w, "power"),
                remedy="the result itself is at fault; please report it with the build file",
            )

    def render(self, *, inline: bool = False) -> str:
        """The drawing as SVG text."""
        scale = _TRUNK / self.source_w
        columns = [_Column.of(step, scale, _TOO_SMALL * self.source_w) for step in self.steps]
        head = 20.0 + max(text_width(self.source, 12), 70.0) + 16.0
        air = _Air.of(self.sink, self.sink_w * scale)
        width = head + sum(c.width for c in columns) + air.width + 12.0
        top, under = 74.0, 74.0 + _TRUNK
        notes = wrap(self._note(scale, air), int((width - 24.0) / text_width("0", _NOTE)))
        height = under + 26.0 + max((c.depth for c in columns), default=0.0) + 6.0 + 14.0 * len(notes)
        body = [text(12, 20, self.title, classes="t h")]
        body += [
            text(12, top + 14, self.source, classes="t"),
            text(12, top + 30, show(self.source_w, "power"), classes="t"),
        ]
        # the ribbon is one outline, or the eye sees a seam at every step
        outline = f"M{num(head - 14)} {num(top)}l10 {num(_TRUNK / 2)}l-10 {num(_TRUNK / 2)}"
        x, left_w = head, self.source_w
        for step, column in zip(self.steps, columns, strict=True):
            body.append(line(x + 6, 46, x + 6, top - 4, classes="hair"))
            body.append(text(x + 11, 53, step.name, classes="t"))
            body.append(text(x + 11, 68, show(left_w, "power"), classes="ts sm"))
            body += column.draw(x, top + left_w * scale, under)
            outline += column.edge(x, top + left_w * scale, top + _LEAST)
            left_w -= sum(p.power_w for p in step.losses)
            x += column.width
        body.append(f'<path d="{outline}H{num(x)}V{num(top)}Z" class="solid"/>')
        body += air.draw(x, top, self.sink_w)
        for row, words in enumerate(notes, 1 - len(notes)):
            body.append(text(12, height - 8 + 14 * row, words, classes="ts sm"))
        return document(
            body, width=width, height=height, title=self.title, desc=self._described(), inline=inline
        )

    def _note(self, scale: float, air: _Air) -> str:
        note = "Widths are proportional to power."
        if any(0 < p.power_w * scale < _LEAST for s in self.steps for p in s.losses):
            note += f" Below {show(_LEAST / scale, 'power', 2)} they are drawn at the width of that power."
        if any(0 < p.power_w <= _TOO_SMALL * self.source_w for s in self.steps for p in s.losses):
            note += f" Losses under {show(_TOO_SMALL * self.source_w, 'power', 2)} are left out."
        if air.enlarged > 1:
            note += f" Sound power is drawn {air.enlarged} times as wide."
        return note

    def _described(self) -> str:
        said = [f"{self.source} gives {show(self.source_w, 'power')}."]
        for step in self.steps:
            lost = ", ".join(f"{p.label} {show(p.power_w, 'power')}" for p in step.losses)
            said.append(f"In {step.name}: {lost}." if lost else f"In {step.name}: nothing.")
        return " ".join([*said, f"{self.sink}: {show(self.sink_w, 'power')}."])


@dataclass(frozen=True, kw_only=True, slots=True)
class _Column:
    """A step laid out: its losses from left (deepest label) to right (highest label)."""

    peels: tuple[Peel, ...]
    widths: tuple[float, ...]
    lines: tuple[tuple[str, ...], ...]
    width: float
    depth: float

    @staticmethod
    def of(step: Step, scale: float, least_w: float) -> _Column:
        shown = sorted((p for p in step.losses if p.power_w > least_w), key=lambda p: -p.power_w)
        if len(shown) > _MOST:
            rest = shown[_MOST - 1 :]
            together = Peel(label=f"{len(rest)} smaller losses", power_w=sum(p.power_w for p in rest))
            shown = [*shown[: _MOST - 1], together]
        widths = tuple(p.power_w * scale for p in shown)
        lines = tuple((*wrap(p.label, _LABEL_CHARS), show(p.power_w, "power")) for p in shown)
        labels = max((text_width(row, _SIZE) for rows in lines for row in rows), default=0.0)
        strips = sum(max(w, _LEAST) + 9.0 for w in widths)
        name = text_width(step.name, 12.0) + 24.0
        wide = max(name, 10.0 + strips + _RADIUS + labels + 10.0 if shown else 0.0, 70.0)
        depth = sum(len(rows) * _ROW + 6.0 for rows in lines)
        return _Column(peels=tuple(shown), widths=widths, lines=lines, width=wide, depth=depth)

    def edge(self, x: float, edge: float, least: float) -> str:
        """The ribbon's lower edge along this column, as path text: a step up wherever a loss leaves."""
        path = ""
        at = x + 6.0
        for width in self.widths:
            path += f"L{num(at)} {num(max(edge, least))}"
            edge -= width
            path += f"V{num(max(edge, least))}"
            at += max(width, _LEAST) + 9.0
        return path

    def draw(self, x: float, edge: float, under: float) -> list[str]:
        """The losses, bending down from the ribbon's lower edge to their labels."""
        body: list[str] = []
        at = x + 6.0
        row = under + 26.0 + self.depth
        for width, rows in zip(self.widths, self.lines, strict=True):
            row -= len(rows) * _ROW + 6.0
            drawn = max(width, _LEAST)
            inner, outer = _RADIUS, _RADIUS + drawn
            right, end = at + inner, row + len(rows) * _ROW / 2
            body.append(
                f'<path d="M{num(at)} {num(edge - drawn)}A{num(outer)} {num(outer)} 0 0 1 {num(at + outer)}'
                f" {num(edge + inner)}V{num(end)}l{num(-drawn / 2)} {num(min(drawn / 2, 8.0))}"
                f"L{num(right)} {num(end)}V{num(edge + inner)}"
                f'A{num(inner)} {num(inner)} 0 0 0 {num(at)} {num(edge)}Z" class="mid"/>'
            )
            body += [
                text(
                    right + drawn + 5.0,
                    row + 10.0 + i * _ROW,
                    content,
                    classes="t sm" if i == len(rows) - 1 else "ts sm",
                )
                for i, content in enumerate(rows)
            ]
            edge -= width
            at += drawn + 9.0
        return body


@dataclass(frozen=True, kw_only=True, slots=True)
class _Air:
    """The end of the ribbon: what leaves as sound, under a lens when it is thin."""

    label: str
    thick: float
    enlarged: int
    width: float

    @staticmethod
    def of(label: str, thick: float) -> _Air:
        fits = [n for n in (10, 20, 50, 100, 200, 500, 1000) if thick * n <= 44.0]
        enlarged = 1 if thick >= 8.0 or not fits else fits[-1]
        return _Air(label=label, thick=thick, enlarged=enlarged, width=max(text_width(label), 60.0) + 76.0)

    def draw(self, x: float, top: float, power_w: float) -> list[str]:
        thin = max(self.thick, _LEAST)
        middle = top + thin / 2
        body: list[str] = []
        if self.enlarged > 1:
            wide = max(self.thick * self.enlarged, _LEAST)
            body.append(rect(x, top, 14, thin, classes="solid"))
            body.append(line(x + 14, middle, x + 20, middle - wide / 2, classes="hair"))
            body.append(line(x + 14, middle, x + 20, middle + wide / 2, classes="hair"))
            body.append(text(x + 20, middle - wide / 2 - 6, f"\u00d7 {self.enlarged}", classes="ts sm"))
            thin = wide
        else:
            body.append(rect(x, top, 20, thin, classes="solid"))
        upper = middle - thin / 2
        tip = min(thin / 2 + 3.0, 16.0)
        body.append(
            f'<path d="M{num(x + 20)} {num(upper)}h32v-3l{num(tip)} {num(thin / 2 + 3)}'
            f'l{num(-tip)} {num(thin / 2 + 3)}v-3h-32Z" class="solid"/>'
        )
        reach = x + 20 + 32 + tip + 6
        body.append(text(reach, middle, self.label, classes="t"))
        body.append(text(reach, middle + 16, show(power_w, "power"), classes="t"))
        return body
