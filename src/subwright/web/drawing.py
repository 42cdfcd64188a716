"""The build as one drawing, battery to air, in two layouts: reading order on a wide page, down a phone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from subwright.outputs.drawing import num, wrap
from subwright.web import things
from subwright.web.pen import Pen
from subwright.web.scene import Label, Scene

__all__ = ["Drawn", "draw_narrow", "draw_wide"]

_TRUNK = 30.0  # drawing units for the greatest power that the battery gives
_LEAST = 1.4
_BAR = 104.0
_ROWS = 3  # lines for the tightest margin

_WIDE = (980.0, 640.0)
_ROW = 176.0


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


def _words(
    pen: Pen, x: float, y: float, label: Label | None, name: str, *, chars: int = 19, lines: int = 3
) -> None:
    """A stage's name, its figures, and the bar of its tightest margin."""
    pen.text(x, y, name, "t h")
    if label is None:
        return
    at = y
    for i in range(lines):
        shown = label.figures[i] if i < len(label.figures) else ""
        at += 15.0
        pen.text(x, at, shown, "t" if i < 2 else "ts", key=f"{label.key}.{i}")
    if not label.tightest:
        return
    at += 9.0
    pen.rect(x, at, _BAR, 5, "rest")
    pen.rect(x, at, max(_BAR * label.used, 1.0), 5, "dota" if label.tight else "solid")
    rows = [label.margin_text, *wrap(label.tightest, chars)]
    if len(rows) > _ROWS:
        kept = rows[_ROWS - 1]
        kept = kept if len(kept) <= chars - 2 else kept.rpartition(" ")[0] or kept[: chars - 2]
        rows = [*rows[: _ROWS - 1], f"{kept} \u2026"]
    for i, row in enumerate(rows):
        at += 14.0
        pen.text(x, at + 3, row, "ta sm" if label.tight else "ts sm", foreign=i > 0 and not label.native)


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
    _flow(pen, scene, "battery", f"M112 {y}H190", "battery.a")
    if scene.shapes.bridge:
        _flow(pen, scene, "unit", f"M240 {y}H708")
    else:
        _flow(pen, scene, "unit", f"M240 {y}H304")
        _flow(pen, scene, "core", f"M408 {y}H446")
        half = 0.0 if scene.shapes.boost else 12.0 + 26.0 * scene.rail_share
        sides = ((-1.0, "up"),) if scene.shapes.boost else ((-1.0, "up"), (1.0, "down"))
        for sign, name in sides:
            at = num(_ROW + sign * half)
            _flow(pen, scene, "rails", f"M530 {at}H562", f"rails.{name}", 1.0 / len(sides))
            _flow(pen, scene, "amplifier", f"M666 {at}H708", f"amplifier.{name}", 1.0 / len(sides))
    _flow(pen, scene, "speaker", f"M816 {num(_ROW + 22)}H830V374H388V436")
    pen.path(f"M{num(816)} {y}H846", "hair")
    pen.path(f"M362 92V{num(_ROW - 36)}", "ref")
    pen.path(f"M760 92V{num(_ROW - 40)}", "hair")
    pen.path("M820 58h46m-46 0l8 -4m-8 4l8 4", "hair")


def _wide_power(pen: Pen, scene: Scene, words: Words) -> None:
    top = 250.0

    def stage(key: str, left: float, width: float, sheet: str = "") -> None:
        pen.link(sheet or key, (left - 8, _ROW - 62, width, 252))
        _words(pen, left, top, scene.labels.get(key), words(key), chars=17)

    stage("supply", 24, 136)
    things.battery(pen, 70, _ROW, scene)
    pen.end()
    stage("wiring", 168, 130)
    things.fuse(pen, 215, _ROW)
    pen.end()
    if scene.shapes.bridge:
        things.bridge(pen, 470, _ROW, words)
    elif scene.shapes.boost:
        stage("boost", 306, 132)
        things.switches(pen, 356, _ROW, scene)
        pen.end()
        stage("choke", 440, 132, "boost")
        things.choke(pen, 488, _ROW, scene)
        pen.end()
        stage("raised", 574, 122, "boost")
        things.raised_rail(pen, 614, _ROW, scene)
        pen.end()
    else:
        stage("converter", 306, 132)
        things.switches(pen, 356, _ROW, scene)
        pen.end()
        stage("transformer", 440, 132)
        things.transformer(pen, 488, _ROW, scene)
        pen.end()
        stage("rails", 574, 122, "converter")
        things.rails(pen, 614, _ROW, scene)
        pen.end()
    stage("amplifier", 702, 124)
    things.amplifier(pen, 762, _ROW, scene)
    pen.end()
    stage("heat", 850, 126)
    things.heatsink(pen, 894, _ROW, scene)
    pen.end()


def _wide_control(pen: Pen, scene: Scene, words: Words) -> None:
    pen.link("protection", (296, 6, 330, 98))
    things.protection(pen, 362, 74, scene.ruler, scene.emf)
    _words(pen, 430, 24, scene.labels.get("protection"), words("protection"), lines=2, chars=29)
    pen.end()
    pen.link("filter", (628, 6, 196, 98))
    things.filter_card(pen, 760, 58, scene)
    label = scene.labels.get("filter")
    pen.text(694, 24, words("filter"), "t h", "end")
    for i, shown in enumerate(label.figures[:2] if label else ()):
        pen.text(694, 40 + 15 * i, shown, "t", "end", key=f"filter.{i}")
    if label and label.tightest:
        pen.rect(640 + 8, 62, 46, 5, "rest")
        pen.rect(640 + 8, 62, max(46 * label.used, 1.0), 5, "dota" if label.tight else "solid")
        pen.text(694, 82, label.margin_text, "ta sm" if label.tight else "ts sm", "end")
    pen.end()


def _wide_extras(pen: Pen, scene: Scene, words: Words) -> None:
    """The smaller stages, where they sit in the line."""
    places = {
        "battery_guard": (things.guard, (273.0, _ROW), (273.0, _ROW - 26.0)),
        "control": (things.switch, (222.0, 74.0), (222.0, 48.0)),
        "speaker_guard": (things.relay, (640.0, 374.0), (640.0, 354.0)),
    }
    for key, (thing, (x, y), (text_x, text_y)) in places.items():
        if key in scene.extras:
            pen.link(key, (x - 50, min(y, text_y) - 16, 100, abs(y - text_y) + 34))
            thing(pen, x, y)
            pen.text(text_x, text_y, words(key), "ts sm", "middle")
            pen.end()
    if "control" in scene.extras:
        pen.path("M240 74h58", "ref")
    pen.link("input" if "input" in scene.extras else "filter", (864, 38, 104, 40))
    pen.text(872, 62, words("music"), "t")
    pen.end()


def _wide_sound(pen: Pen, scene: Scene, words: Words) -> None:
    if scene.shapes.cabin:
        pen.path(
            "M52 398H842Q900 398 926 450L962 520V612Q962 626 948 626H40Q26 626 26 612V424Q26 398 52 398Z",
            "room",
        )
    else:
        pen.path("M26 626H962", "room")
    pen.link("driver", (40, 402, 250, 98))
    _words(pen, 48, 422, scene.labels.get("driver"), words("driver"), chars=30, lines=2)
    pen.end()
    pen.link("enclosure", (40, 503, 252, 119))
    _words(pen, 48, 519, scene.labels.get("enclosure"), words("enclosure"), chars=32)
    pen.end()
    pen.link("enclosure", (300, 424, 190, 196), words("enclosure"))
    mouth_x, mouth_y = things.box(pen, 388, 520, scene, 172.0)
    pen.end()
    _air(pen, scene, mouth_x + 16, mouth_y, 4)
    pen.link("air", (700, 452, 250, 140))
    pen.text(716, 500, scene.level_text, "t loud", key="air.level")
    pen.text(716, 526, scene.level_note, "ts", key="air.note")
    pen.text(716, 548, words("air.where"), "ts sm")
    pen.text(716, 566, words("air.cabin") if scene.shapes.cabin else words("air.open"), "ts sm")
    pen.end()


def _air(pen: Pen, scene: Scene, x: float, y: float, count: int) -> None:
    """Waves that leave the cone, the heavier the more it swings."""
    for i in range(count):
        r = 30.0 + 44.0 * i
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
        _words(pen, 158, y - 40, scene.labels.get(key), words(key), chars=25)
        pen.end()
    y = ends[-1] + pitch + 52
    pen.link("enclosure", (34, y - 84, 302, 168))
    mouth_x, mouth_y = things.box(pen, 92, y, scene, 140.0)
    _words(pen, 186, y - 40, scene.labels.get("enclosure"), words("enclosure"), chars=21)
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
