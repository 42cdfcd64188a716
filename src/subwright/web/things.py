"""The things of a build, drawn with a pen: each about 110 units wide round its middle (x, y)."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, sin

from subwright.outputs.drawing import num
from subwright.web.pen import Pen, polyline
from subwright.web.scene import Ruler, Scene

__all__ = [
    "amplifier",
    "battery",
    "box",
    "bridge",
    "choke",
    "filter_card",
    "fuse",
    "guard",
    "heatsink",
    "protection",
    "rails",
    "raised_rail",
    "relay",
    "switch",
    "switches",
    "transformer",
]

_TAU = 2.0 * pi


def battery(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """A battery with its cells, filled as high as its voltage stands between cranking and highest."""
    left, top, width, height = x - 42.0, y - 28.0, 84.0, 62.0
    pen.rect(left + 10, top - 9, 14, 9, "solid")
    pen.rect(left + width - 24, top - 9, 14, 9, "solid")
    pen.rect(left, top, width, height, "open")
    level = 4.0 + (height - 8.0) * scene.battery_fill
    pen.rect(left + 3, top + height - 3 - level + 4, width - 6, level - 4, "fill", key="battery.fill")
    cells = min(scene.shapes.cells, 24)
    walls = "".join(f"M{num(left + width * i / cells)} {num(top)}v{num(height)}" for i in range(1, cells))
    pen.path(walls, "pen")
    pen.path(f"M{num(left + 13)} {num(top - 15)}h8m-4 -4v8", "pen")
    pen.path(f"M{num(left + width - 21)} {num(top - 15)}h8", "pen")
    pen.rect(x - 25, y - 7, 50, 19, "open")
    pen.text(x, y + 7, scene.shapes.system, "t", "middle")


def fuse(pen: Pen, x: float, y: float) -> None:
    """A fuse in the line, and a turn of cable."""
    pen.path(f"M{num(x + 14)} {num(y + 32)}a13 13 0 1 0 26 0a13 13 0 1 0 -26 0", "pen")
    pen.path(f"M{num(x + 18)} {num(y + 32)}a9 9 0 1 0 18 0a9 9 0 1 0 -18 0", "pen")
    pen.rect(x - 26, y - 11, 52, 22, "open")
    pen.rect(x - 26, y - 11, 8, 22, "part")
    pen.rect(x + 18, y - 11, 8, 22, "part")
    pen.path(f"M{num(x - 18)} {num(y)}c9 -12 12 -12 18 0s9 12 18 0", "pen")


def switches(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """Power transistors standing in a row, tab up."""
    count = min(max(scene.shapes.switches, 1), 6)
    pitch = min(30.0, 104.0 / count)
    width = pitch - 6.0
    first = x - pitch * (count - 1) / 2
    for i in range(count):
        middle = first + pitch * i
        pen.rect(middle - width / 2, y - 34, width, 16, "part")
        pen.circle(middle, y - 26, min(4.0, width / 5), "open")
        pen.rect(middle - width / 2, y - 18, width, 26, "open")
        legs = "".join(f"M{num(middle + k * width / 3.2)} {num(y + 8)}v22" for k in (-1, 0, 1))
        pen.path(legs, "pen")
    pen.path(f"M{num(x - 54)} {num(y + 30)}h108", "frame")


def transformer(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """The core with every turn of both halves: the thick ones are the primary's."""
    shapes = scene.shapes
    if not shapes.ring:
        _bobbin(pen, x, y, scene)
        return
    outer = 42.0
    inner = outer * min(max(shapes.hole_share, 0.35), 0.75)
    pen.circle(x, y, outer, "part")
    pen.circle(x, y, inner, "open")
    _turns(pen, x, y, (inner, outer), 2 * shapes.primary_turns, (0.56, 0.94), "turn1")
    _turns(pen, x, y, (inner, outer), 2 * shapes.secondary_turns, (0.06, 0.44), "turn2")


def _turns(
    pen: Pen,
    x: float,
    y: float,
    radii: tuple[float, float],
    count: int,
    arc: tuple[float, float],
    classes: str,
) -> None:
    inner, outer = radii
    strokes = []
    for i in range(min(count, 120)):
        share = arc[0] + (arc[1] - arc[0]) * (i + 0.5) / max(count, 1)
        angle = _TAU * (share - 0.25)
        c, s = cos(angle), sin(angle)
        strokes.append(
            f"M{num(x + (inner - 4) * c)} {num(y + (inner - 4) * s)}"
            f"L{num(x + (outer + 4) * c)} {num(y + (outer + 4) * s)}"
        )
    pen.path("".join(strokes), classes)


def _bobbin(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """A core with a bobbin: middle leg between two outer ones, the windings in two blocks."""
    pen.rect(x - 48, y - 40, 96, 80, "part")
    pen.rect(x - 37, y - 28, 74, 56, "open")
    pen.rect(x - 37, y - 9, 74, 18, "part")
    shapes = scene.shapes
    for count, left, right, classes in (
        (2 * shapes.primary_turns, x - 33, x - 5, "turn1"),
        (2 * shapes.secondary_turns, x + 4, x + 33, "turn2"),
    ):
        shown = min(count, 60)
        step = (right - left) / max(shown, 1)
        strokes = "".join(f"M{num(left + step * (i + 0.5))} {num(y - 22)}v44" for i in range(shown))
        pen.path(strokes, classes)


def rails(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """The two rails as far apart as their voltage, with a reservoir capacitor on each."""
    half = 12.0 + 26.0 * scene.rail_share
    for sign, name in ((-1.0, "up"), (1.0, "down")):
        at = y + sign * half
        pen.path(f"M{num(x - 54)} {num(at)}H{num(x + 54)}", "rail", key=f"rail.{name}")
        pen.path(
            f"M{num(x)} {num(at)}V{num(y + sign * 10)}m-13 0h26M{num(x - 13)} {num(y + sign * 5)}h26"
            f"M{num(x)} {num(y + sign * 5)}V{num(y)}",
            "pen",
            key=f"rail.{name}.cap",
        )
    pen.path(f"M{num(x - 54)} {num(y)}h108", "hair")
    pen.text(x - 52, y - half - 5, "+", "t", key="rail.plus")
    pen.text(x - 52, y + half + 13, "\u2212", "t", key="rail.minus")


def choke(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """A choke on its gapped core: every turn, and the gap in the middle leg."""
    turns = max(scene.shapes.choke_turns, 1)
    pen.rect(x - 44, y - 40, 88, 80, "part")
    pen.rect(x - 32, y - 28, 20, 56, "open")
    pen.rect(x + 12, y - 28, 20, 56, "open")
    pen.path(f"M{num(x - 12)} {num(y)}h24", "frame")
    pitch = 52.0 / turns
    strokes = "".join(
        f"M{num(x - 30)} {num(y - 26 + pitch * (k + 0.7))}l60 {num(-0.4 * pitch)}" for k in range(turns)
    )
    pen.path(strokes, "turn1")


def raised_rail(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """One rail as high above the ground line as its voltage, with its capacitors."""
    half = 26.0 * scene.rail_share
    low = y + 34.0
    pen.path(f"M{num(x - 54)} {num(y - half)}H{num(x + 54)}", "rail", key="rail.up")
    for at in (x - 22.0, x + 22.0):
        pen.path(
            f"M{num(at)} {num(y - half)}V{num(y + 8)}m-13 0h26M{num(at - 13)} {num(y + 14)}h26"
            f"M{num(at)} {num(y + 14)}V{num(low)}",
            "pen",
            key=f"rail.cap.{num(at - x)}",
        )
    pen.path(f"M{num(x - 54)} {num(low)}h108", "hair")
    pen.text(x - 52, y - half - 5, "+", "t", key="rail.plus")


def amplifier(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """The output stage: its rails, and between them as much sine as it can give."""
    pen.rect(x - 54, y - 40, 108, 80, "open")
    half = 10.0 + 24.0 * (scene.rail_share or 0.2)
    pen.path(f"M{num(x - 44)} {num(y - half)}h88M{num(x - 44)} {num(y + half)}h88", "hair", key="amp.rails")
    peak = half * min(scene.swing, 1.0) * (1.0 if scene.cone > 0 else 0.0)
    wave = polyline([(x - 44 + i * 2.0, y - peak * sin(_TAU * i / 22.0)) for i in range(45)])
    pen.path(wave, "s1", key="amp.wave")


def heatsink(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """A finned heatsink, seen along its fins."""
    fins = scene.shapes.fins
    pitch = 84.0 / (fins - 1)
    path = f"M{num(x - 44)} {num(y + 34)}h88v-12"
    for i in range(fins):
        at = x + 44 - i * pitch
        low = y + 22
        path += f"H{num(at)}V{num(y - 26)}h{num(-pitch / 3)}V{num(low)}"
    pen.path(path + f"H{num(x - 44)}Z", "part")


def filter_card(pen: Pen, x: float, y: float, scene: Scene) -> None:
    """The filter's own response on a card, its corner marked."""
    shapes = scene.shapes
    left, top, width, height = x - 58.0, y - 30.0, 116.0, 60.0
    pen.rect(left, top, width, height, "open")
    corner = left + 6 + (width - 12) * shapes.filter_corner
    pen.path(f"M{num(corner)} {num(top + 4)}v{num(height - 8)}", "ref")
    curve = [
        (left + 6 + (width - 12) * a, top + height - 6 - (height - 12) * b)
        for a, b in zip(shapes.filter_x, shapes.filter_y, strict=True)
        if b > 0.0
    ]
    if curve:
        pen.path(polyline(curve), "s1")


def protection(pen: Pen, x: float, y: float, ruler: Ruler, emf_v: float) -> None:
    """The window in which it plays: hatched where it shuts down, a pointer where the battery stands."""
    left, width = x - 58.0, 116.0
    span = ruler.high_v - ruler.low_v

    def at(value: float) -> float:
        return left + width * min(max((value - ruler.low_v) / span, 0.0), 1.0)

    pen.rect(left, y - 16, width, 30, "open")
    low = at(ruler.off_below_v if ruler.off_below_v is not None else ruler.low_v)
    high = at(ruler.off_above_v if ruler.off_above_v is not None else ruler.high_v)
    hatch = ""
    for start, end in ((left, low), (high, left + width)):
        count = int((end - start) / 6.0)
        hatch += "".join(f"M{num(start + 6.0 * i)} {num(y + 14)}l6 -30" for i in range(count))
    if hatch:
        pen.path(hatch, "hach")
    pen.path(f"M{num(low)} {num(y - 16)}v30M{num(high)} {num(y - 16)}v30", "lim")
    here = at(emf_v)
    pen.path(f"M{num(here)} {num(y - 14)}l-6 -10h12Z", "solid", key="guard.here")


def box(pen: Pen, x: float, y: float, scene: Scene, room: float = 150.0) -> tuple[float, float]:
    """A cut through the enclosure, driver to the right, to scale; returns where the sound comes out."""
    shapes = scene.shapes
    scale = room / max(shapes.box_height_m, shapes.box_depth_m * 0.9)
    height, depth = shapes.box_height_m * scale, shapes.box_depth_m * scale
    wall = max(shapes.panel_m * scale, 3.0)
    left, top = x - depth / 2, y - height / 2
    right = left + depth
    pen.rect(left, top, depth, height, "part")
    pen.rect(left + wall, top + wall, depth - 2 * wall, height - 2 * wall, "open")
    divider = left + wall + (depth - 2 * wall) * shapes.chamber_share + wall
    if shapes.port:
        start = divider if shapes.chamber_share else left + 2.0 * wall
        _port(pen, right, top + height - wall, scale, scene, (start, wall))
    drivers = min(shapes.drivers, 2)
    passive = 0.0
    if shapes.radiators and shapes.radiator_in_front:
        passive = min(shapes.radiator_m * scale, 0.48 * (height - 2 * wall))
        _passive(pen, right, top + height - wall - passive / 2 - 3.0, passive / 2 - 3.0, scene)
    elif shapes.radiators:
        half = min(shapes.radiator_m * scale, 0.8 * (height - 2 * wall)) / 2
        _passive(pen, left, y, half, scene, facing=-1.0)
    below = passive or (height * 0.2 if shapes.port and not shapes.chamber_share else 0.0)
    at = right
    if shapes.chamber_share:
        pen.rect(divider - wall, top + wall, wall, height - 2 * wall, "part")
        at = divider
    for i in range(drivers):
        middle = y - below / 2 + (0.0 if drivers == 1 else (i - 0.5) * (height - 2 * wall) / 2)
        most = (height - 2 * wall - below) / drivers / 2 - 3
        _driver(pen, at, middle, min(shapes.driver_m * scale / 2, most), depth - wall, scene, i)
    if shapes.chamber_share and shapes.port:
        return right, top + height - wall - 6.0 - max(shapes.port_m * scale, 6.0) / 2
    return right, y - below / 2


def _passive(pen: Pen, at: float, y: float, half: float, scene: Scene, facing: float = 1.0) -> None:
    """A cone without a motor, in the panel whose outside is at ``at``; its weight in the middle."""
    out = facing * 6.0 * scene.cone
    pen.rect(min(at, at - facing * 8) - 0.5, y - half, 9.0, 2 * half, "gap")
    inner = at - facing * 0.4 * half + out
    pen.path(
        f"M{num(at + 0.4 * out)} {num(y - half + 2)}L{num(inner)} {num(y - half * 0.4)}V{num(y + half * 0.4)}"
        f"L{num(at + 0.4 * out)} {num(y + half - 2)}",
        "s1",
        key="passive",
    )
    weight = f"M{num(inner - facing * 5)} {num(y - half * 0.25)}v{num(half * 0.5)}"
    pen.path(weight, "frame", key="passive.mass")


def _port(
    pen: Pen, right: float, floor: float, scale: float, scene: Scene, edges: tuple[float, float]
) -> None:
    shapes = scene.shapes
    stop, wall = edges
    tall = max(shapes.port_m * scale, 6.0)
    top = floor - tall - (0.0 if shapes.port == "slot" else 6.0)
    reach = max(right - shapes.port_length_m * scale, stop)
    pen.rect(right - wall - 0.5, top, wall + 1.5, tall, "gap")
    pen.path(f"M{num(right)} {num(top)}H{num(reach)}M{num(right)} {num(top + tall)}H{num(reach)}", "frame")


def _driver(pen: Pen, right: float, y: float, half: float, depth: float, scene: Scene, index: int) -> None:
    """Frame, magnet and cone; the cone stands further out the more the amplifier swings."""
    out = 9.0 * scene.cone
    deep = min(max(scene.shapes.driver_depth_m / scene.shapes.box_depth_m, 0.2), 0.9) * depth
    neck, magnet = half * 0.28, half * 0.52
    back = right - deep
    pen.rect(right - 8, y - half, 9.5, 2 * half, "gap")
    pen.rect(back, y - magnet, deep * 0.34, 2 * magnet, "solid")
    pen.path(
        f"M{num(right)} {num(y - half)}L{num(back + deep * 0.34)} {num(y - neck - 6)}"
        f"M{num(right)} {num(y + half)}L{num(back + deep * 0.34)} {num(y + neck + 6)}",
        "frame",
    )
    cap = back + deep * 0.5 + out
    edge = right + 1.0 + out * 0.35
    pen.path(
        f"M{num(edge)} {num(y - half + 3)}L{num(cap)} {num(y - neck)}"
        f"A{num(neck)} {num(neck)} 0 0 1 {num(cap)} {num(y + neck)}L{num(edge)} {num(y + half - 3)}",
        "s1",
        key=f"cone.{index}",
    )


def guard(pen: Pen, x: float, y: float) -> None:
    """A diode in a case: what stands between a mistake and the parts."""
    pen.rect(x - 14, y - 14, 28, 28, "open")
    pen.path(f"M{num(x - 7)} {num(y - 7)}v14l12 -7ZM{num(x + 6)} {num(y - 8)}v16", "pen")


def relay(pen: Pen, x: float, y: float) -> None:
    """A contact in a case."""
    pen.rect(x - 16, y - 13, 32, 26, "open")
    pen.path(f"M{num(x - 16)} {num(y)}h8l14 -7M{num(x + 8)} {num(y)}h8", "pen")


def switch(pen: Pen, x: float, y: float) -> None:
    """A switch that somebody can reach."""
    pen.circle(x - 12, y, 2.5, "open")
    pen.circle(x + 12, y, 2.5, "open")
    pen.path(f"M{num(x - 10)} {num(y - 1)}l20 -10", "pen")


def bridge(pen: Pen, x: float, y: float, words: Callable[[str], str]) -> None:
    """The note in place of a converter."""
    pen.text(x, y - 22, words("draw.no converter"), "ts sm", "middle")
    pen.text(x, y + 32, words("draw.straight"), "ts sm", "middle")
