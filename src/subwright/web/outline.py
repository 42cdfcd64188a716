"""A build at a glance: the things of its drawing in one line, without words, for a list."""

from __future__ import annotations

from subwright.outputs.drawing import escaped, num
from subwright.web import things
from subwright.web.pen import Pen
from subwright.web.scene import Scene

__all__ = ["outline"]

_MIDDLE = 70.0
_SIZE = (760.0, 140.0)
_TRUNK = 22.0
_BOX_X = 650.0


def outline(scene: Scene, name: str) -> str:
    """SVG of the power's way from battery to box, its lines as heavy as the power; ``name`` is read out."""
    pen = Pen(prefix="o", say=lambda text: text)
    _flow(pen, scene, "battery", 90.0, 150.0)
    if scene.shapes.bridge:
        _flow(pen, scene, "unit", 140.0, 430.0)
    else:
        _flow(pen, scene, "core", 230.0, 280.0)
        _flow(pen, scene, "amplifier", 370.0, 430.0)
    _flow(pen, scene, "speaker", 520.0, _BOX_X - 40.0)
    things.battery(pen, 52.0, _MIDDLE, scene)
    if scene.shapes.boost:
        things.switches(pen, 190.0, _MIDDLE, scene)
        things.choke(pen, 325.0, _MIDDLE, scene)
    elif not scene.shapes.bridge:
        things.switches(pen, 190.0, _MIDDLE, scene)
        things.transformer(pen, 325.0, _MIDDLE, scene)
    things.amplifier(pen, 475.0, _MIDDLE, scene)
    mouth_x, mouth_y = things.box(pen, _BOX_X, _MIDDLE, scene, 124.0)
    for i in range(2):
        r = 20.0 + 16.0 * i
        at, up, down = num(mouth_x + 6 + 0.55 * r), num(mouth_y - 0.62 * r), num(mouth_y + 0.62 * r)
        pen.path(f"M{at} {up}A{num(r)} {num(r)} 0 0 1 {at} {down}", "wave", width=3.0 - i)
    width, height = _SIZE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="sw outline" role="img" aria-label="{escaped(name)}"'
        f' viewBox="0 0 {num(width)} {num(height)}">' + "".join(pen.parts) + "</svg>"
    )


def _flow(pen: Pen, scene: Scene, name: str, start: float, end: float) -> None:
    weight = max(3.0, _TRUNK * scene.watts[name] / scene.greatest_w)
    pen.path(f"M{num(start)} {num(_MIDDLE)}H{num(end)}", "flow", width=weight)
