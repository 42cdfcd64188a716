"""The build as one drawing, battery to air, in two layouts: reading order on a wide page, down a phone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from subwright.outputs.drawing import num
from subwright.web import things
from subwright.web.lettering import fits, set_in_lines, shortened
from subwright.web.pen import Pen
from subwright.web.scene import Label, Scene

__all__ = ["Drawn", "draw_narrow", "draw_wide"]

_TRUNK = 28.0  # drawing units for the greatest power that the battery gives
_LEAST = 1.4
_BAR = 84.0
_LINES = 2  # of words on the tightest margin
_STEP, _LEAD = 16.0, 15.0  # from one line of figures, of words, to the next

_WIDE = (860.0, 620.0)
_ROW = 166.0
_LINE = 356.0  # the loudspeaker's line
_SPEAKER_X, _BOX_X = 731.0, 330.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """A drawing, and what to set in it when only the moment changes."""

    svg: str
    live: Mapping[str, Mapping[str, str]]


Words = Callable[[str], str]


def _weight(scene: Scene, name: str) -> float:
    watts = scene.watts[name]
    return 0.0 if watts <= 0.0 else max(_LEAST, _TRUNK * watts / scene.greatest_w)


def _flow(pen: Pen, scene: Scene, name: str, d: str, key: str = "", share: float = 1.0) -> None:
    pen.path(d, "flow", width=_weight(scene, name) * share, key=f"flow.{key or name}")


def _words(pen: Pen, x: float, y: float, label: Label | None, name: str, wide: float, rows: int = 3) -> None:
    """A stage's name, its figures, and the bar of its tightest margin, in a column of ``wide``."""
    pen.text(x, y, name, "t h")
    if label is None:
        return
    at = y
    for i in range(rows):
        shown = label.figures[i] if i < len(label.figures) else ""
        at += _STEP
        narrow = "" if fits(pen.say(shown), wide) else " sm"
        said = shortened(shown, wide) if narrow else shown
        pen.text(x, at, said, f"{'t' if i < 2 else 'ts'}{narrow}", key=f"{label.key}.{i}")
    if not label.tightest:
        return
    at += 7.0
    pen.rect(x, at, _BAR, 5, "rest")
    pen.rect(x, at, max(_BAR * label.used, 1.0), 5, "dota" if label.broken else "solid")
    ink = "ta sm" if label.broken else "ts sm"
    at += 4.0 + _LEAD
    pen.text(x, at, label.margin_text, ink)
    for row in set_in_lines(label.tightest, wide, _LINES):
        at += _LEAD
        pen.text(x, at, row, ink, foreign=not label.native)


def draw_wide(scene: Scene, words: Words, say: Words) -> Drawn:
    """In reading order: the power path on the first line, box and air on the second.

    Parameters
    ----------
    scene : what to show.
    words : a stage's key to its name in the reader's language.
    say : every printed text passes through it (units, language).
    """
    pen = Pen(prefix="w", say=say)
    width, height = _WIDE
    _wide_flows(pen, scene)
    _wide_power(pen, scene, words)
    _wide_control(pen, scene, words)
    _wide_sound(pen, scene, words)
    _wide_extras(pen, scene, words)
    return Drawn(svg=pen.svg(width, height, words("drawing"), "wide"), live=pen.live)


def _wide_flows(pen: Pen, scene: Scene) -> None:
    y = num(_ROW)
    _flow(pen, scene, "battery", f"M100 {y}H134", "battery.a")
    if scene.shapes.bridge:
        _flow(pen, scene, "unit", f"M186 {y}H606")
    else:
        _flow(pen, scene, "unit", f"M186 {y}H246")
        _flow(pen, scene, "core", f"M352 {y}H376")
        half = 0.0 if scene.shapes.boost else 12.0 + 26.0 * scene.rail_share
        sides = ((-1.0, "up"),) if scene.shapes.boost else ((-1.0, "up"), (1.0, "down"))
        for sign, name in sides:
            at = num(_ROW + sign * half)
            _flow(pen, scene, "rails", f"M462 {at}H486", f"rails.{name}", 1.0 / len(sides))
            _flow(pen, scene, "amplifier", f"M592 {at}H606", f"amplifier.{name}", 1.0 / len(sides))
    x, box = num(_SPEAKER_X), num(_BOX_X)
    _flow(pen, scene, "speaker", f"M714 {num(_ROW + 22)}H{x}V{num(_LINE)}H{box}V470")
    pen.path(f"M714 {num(_ROW - 8)}H756", "hair")
    pen.path(f"M300 80V{num(_ROW - 36)}", "ref")
    pen.path(f"M660 90V{num(_ROW - 40)}", "hair")
    pen.path("M722 58h42m-42 0l8 -4m-8 4l8 4", "hair")


def _wide_power(pen: Pen, scene: Scene, words: Words) -> None:
    top = _ROW + 62.0

    def stage(key: str, left: float, width: float, sheet: str = "") -> None:
        pen.link(sheet or key, (left - 6, _ROW - 52, width + 8, 224))
        _words(pen, left, top, scene.labels.get(key), words(key), width)

    stage("supply", 14, 92)
    things.battery(pen, 58, _ROW, scene)
    pen.end()
    stage("wiring", 114, 124)
    things.fuse(pen, 160, _ROW)
    pen.end()
    if scene.shapes.bridge:
        things.bridge(pen, 420, _ROW, words)
    elif scene.shapes.boost:
        stage("boost", 246, 106)
        things.switches(pen, 300, _ROW, scene)
        pen.end()
        stage("choke", 360, 124, "boost")
        things.choke(pen, 418, _ROW, scene)
        pen.end()
        stage("raised", 492, 102, "boost")
        things.raised_rail(pen, 538, _ROW, scene)
        pen.end()
    else:
        stage("converter", 246, 106)
        things.switches(pen, 300, _ROW, scene)
        pen.end()
        stage("transformer", 360, 124)
        things.transformer(pen, 418, _ROW, scene)
        pen.end()
        stage("rails", 492, 102, "converter")
        things.rails(pen, 538, _ROW, scene)
        pen.end()
    stage("amplifier", 602, 113)
    things.amplifier(pen, 660, _ROW, scene)
    pen.end()
    stage("heat", 752, 106)
    things.heatsink(pen, 804, _ROW, scene)
    pen.end()


def _wide_control(pen: Pen, scene: Scene, words: Words) -> None:
    pen.link("protection", (236, 6, 274, 112))
    things.protection(pen, 300, 64, scene.ruler, scene.emf)
    _words(pen, 368, 20, scene.labels.get("protection"), words("protection"), 146, 2)
    pen.end()
    pen.link("filter", (512, 6, 210, 88))
    things.filter_card(pen, 660, 56, scene)
    label = scene.labels.get("filter")
    pen.text(594, 20, words("filter"), "t h", "end")
    for i, shown in enumerate(label.figures[:2] if label else ()):
        pen.text(594, 36 + _STEP * i, shown, "t", "end", key=f"filter.{i}")
    if label and label.tightest:
        pen.rect(548, 59, 46, 5, "rest")
        pen.rect(548, 59, max(46 * label.used, 1.0), 5, "dota" if label.broken else "solid")
        pen.text(594, 79, label.margin_text, "ta sm" if label.broken else "ts sm", "end")
    pen.end()


def _wide_extras(pen: Pen, scene: Scene, words: Words) -> None:
    """The smaller stages, where they sit in the line."""
    places = {
        "battery_guard": (things.guard, (215.0, _ROW), (215.0, _ROW - 24.0)),
        "control": (things.switch, (170.0, 64.0), (170.0, 42.0)),
        "speaker_guard": (things.relay, (540.0, _LINE), (540.0, _LINE + 28.0)),
    }
    for key, (thing, (x, y), (text_x, text_y)) in places.items():
        if key in scene.extras:
            pen.link(key, (x - 46, min(y - 16, text_y - 13), 92, abs(y - text_y) + 34))
            thing(pen, x, y)
            pen.text(text_x, text_y, words(key), "ts sm", "middle")
            pen.end()
    if "control" in scene.extras:
        pen.path("M188 64h50", "ref")
    pen.link("input" if "input" in scene.extras else "filter", (764, 38, 92, 40))
    pen.text(770, 62, words("music"), "t sm")
    pen.end()


def _wide_sound(pen: Pen, scene: Scene, words: Words) -> None:
    if scene.shapes.cabin:
        pen.path(
            "M36 394H736Q790 394 814 440L846 506V600Q846 614 832 614H24Q10 614 10 600V420Q10 394 36 394Z",
            "room",
        )
    else:
        pen.path("M10 614H846", "room")
    pen.link("driver", (16, 400, 206, 104))
    _words(pen, 24, 417, scene.labels.get("driver"), words("driver"), 194, 2)
    pen.end()
    pen.link("enclosure", (16, 506, 206, 106))
    _words(pen, 24, 521, scene.labels.get("enclosure"), words("enclosure"), 194, 2)
    pen.end()
    pen.link("enclosure", (236, 414, 194, 194), words("enclosure"))
    mouth_x, mouth_y = things.box(pen, _BOX_X, 508, scene, 172.0)
    pen.end()
    _air(pen, scene, mouth_x + 14, mouth_y, 4)
    pen.link("air", (606, 442, 224, 140))
    pen.text(616, 490, scene.level_text, "t loud", key="air.level")
    pen.text(616, 516, scene.level_note, "ts", key="air.note")
    pen.text(616, 537, words("air.where"), "ts sm")
    pen.text(616, 554, words("air.cabin") if scene.shapes.cabin else words("air.open"), "ts sm")
    pen.end()


def _air(pen: Pen, scene: Scene, x: float, y: float, count: int) -> None:
    """Waves that leave the cone, the heavier the more it swings."""
    room = min(1.0, (_WIDE[1] - 10.0 - y) / 96.0) if count > 1 else 1.0  # inside the drawing
    for i in range(count):
        r = (28.0 + 42.0 * i) * room
        weight = (3.2 - 0.6 * i) * scene.cone
        at, up, down = num(x + 0.55 * r), num(y - 0.62 * r), num(y + 0.62 * r)
        d = f"M{at} {up}A{num(r)} {num(r)} 0 0 1 {at} {down}"
        pen.path(d, "wave", width=max(weight, 0.0), key=f"wave.{i}")


def draw_narrow(scene: Scene, words: Words, say: Words) -> Drawn:
    """Down a phone: the power runs along the left edge, each thing hangs on it. Arguments as `draw_wide`."""
    pen = Pen(prefix="n", say=say)
    rows: list[tuple[str, str, str]] = [("supply", "battery", ""), ("wiring", "unit", "")]
    if scene.shapes.boost:
        rows += [("boost", "core", ""), ("choke", "rails", "boost"), ("raised", "amplifier", "boost")]
    elif not scene.shapes.bridge:
        rows += [("converter", "core", ""), ("transformer", "rails", ""), ("rails", "amplifier", "converter")]
    rows += [("amplifier", "speaker", ""), ("heat", "speaker", ""), ("protection", "speaker", "")]
    rows += [("filter", "speaker", ""), ("driver", "speaker", "enclosure")]
    pitch, first = 136.0, 66.0
    ends = [first + pitch * i for i in range(len(rows))]
    for (_key, power, _sheet), y in zip(rows, ends, strict=True):
        _flow(pen, scene, power, f"M20 {num(y)}V{num(y + pitch)}", f"{power}.{num(y)}")
    for (key, power, sheet), y in zip(rows, ends, strict=True):
        if key in ("protection", "filter", "heat"):
            pen.path(f"M20 {num(y)}H40", "ref")
        else:
            _flow(pen, scene, power, f"M20 {num(y)}H60", f"stub.{key}", 0.6)
        pen.link(sheet or key, (34, y - 62, 302, 124))
        _narrow_thing(pen, key, y, scene)
        _words(pen, 158, y - 44, scene.labels.get(key), words(key), 182)
        pen.end()
    y = ends[-1] + pitch + 52
    pen.link("enclosure", (34, y - 84, 302, 168))
    mouth_x, mouth_y = things.box(pen, 92, y, scene, 140.0)
    _words(pen, 188, y - 46, scene.labels.get("enclosure"), words("enclosure"), 152)
    pen.end()
    _air(pen, scene, mouth_x - 4, mouth_y, 1)
    y += 130
    pen.link("air", (34, y - 40, 302, 96))
    pen.text(40, y, scene.level_text, "t loud", key="air.level")
    pen.text(40, y + 22, scene.level_note, "ts", key="air.note")
    pen.text(40, y + 42, words("air.where"), "ts sm")
    pen.end()
    return Drawn(svg=pen.svg(344.0, y + 66, words("drawing"), "narrow"), live=pen.live)


def _narrow_thing(pen: Pen, key: str, y: float, scene: Scene) -> None:
    x = 92.0
    match key:
        case "supply":
            things.battery(pen, x, y, scene)
        case "wiring":
            things.fuse(pen, x, y)
        case "boost":
            things.switches(pen, x, y, scene)
        case "choke":
            things.choke(pen, x, y, scene)
        case "raised":
            things.raised_rail(pen, x, y, scene)
        case "converter":
            things.switches(pen, x, y, scene)
        case "transformer":
            things.transformer(pen, x, y, scene)
        case "rails":
            things.rails(pen, x, y, scene)
        case "amplifier":
            things.amplifier(pen, x, y, scene)
        case "heat":
            things.heatsink(pen, x, y, scene)
        case "protection":
            things.protection(pen, x, y, scene.ruler, scene.emf)
        case "filter":
            things.filter_card(pen, x, y, scene)
        case _:
            _cone(pen, x, y)


def _cone(pen: Pen, x: float, y: float) -> None:
    """A driver seen from the front."""
    for radius, classes in ((40.0, "part"), (33.0, "open"), (12.0, "part")):
        pen.circle(x, y, radius, classes)
