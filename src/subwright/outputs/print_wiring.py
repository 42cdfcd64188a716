"""The wiring diagram: battery, fuse, cable, unit and driver, with what each run must be."""

from __future__ import annotations

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.drawing import document, line, rect, text

__all__ = ["wiring_picture"]

_WIDTH, _HEIGHT = 920.0, 300.0
_PLUS, _MINUS = 92.0, 196.0  # heights of the two leads
_BATTERY, _FUSE, _UNIT, _DRIVER = (30.0, 150.0), (250.0, 330.0), (500.0, 690.0), (790.0, 890.0)


def wiring_picture(design: Design) -> str:
    """The diagram as an SVG drawing; not to scale."""
    supply, speaker = design.supply, design.wiring.speaker
    section = show(supply.section_m2, "area")
    fuse = show(supply.fuse_a, "current")
    to_fuse = show(supply.fuse_distance_m, "length")
    back = design.spec.supply.return_path == "cable"
    volts = f"{design.spec.supply.system_v} V {design.spec.supply.battery}"
    body = [
        *_box(*_BATTERY, "battery", volts),
        text(_BATTERY[1] - 16, _PLUS + 5, "+", classes="h t", anchor="middle"),
        text(_BATTERY[1] - 16, _MINUS + 5, "\u2212", classes="h t", anchor="middle"),
        *_box(*_UNIT, "unit", "converter, amplifier" if design.converter or design.boost else "amplifier"),
        text(_UNIT[0] + 12, _PLUS + 5, "+", classes="h t", anchor="middle"),
        text(_UNIT[0] + 12, _MINUS + 5, "\u2212", classes="h t", anchor="middle"),
        # positive lead: unprotected up to the fuse
        line(_BATTERY[1], _PLUS, _FUSE[0], _PLUS, classes="lim"),
        rect(_FUSE[0], _PLUS - 13, _FUSE[1] - _FUSE[0], 26, classes="part"),
        line(_FUSE[0], _PLUS, _FUSE[1], _PLUS, classes="s3"),
        line(_FUSE[1], _PLUS, _UNIT[0], _PLUS, classes="s1"),
        text(
            (_FUSE[0] + _FUSE[1]) / 2, _PLUS - 22, f"{fuse} {supply.fuse_body}", classes="t", anchor="middle"
        ),
        text((_BATTERY[1] + _FUSE[0]) / 2, _PLUS - 10, f"\u2264 {to_fuse}", classes="ta", anchor="middle"),
        text((_BATTERY[1] + _FUSE[0]) / 2, _PLUS + 20, "not", classes="ta sm", anchor="middle"),
        text((_BATTERY[1] + _FUSE[0]) / 2, _PLUS + 34, "protected", classes="ta sm", anchor="middle"),
        text((_FUSE[1] + _UNIT[0]) / 2, _PLUS - 10, section, classes="t", anchor="middle"),
        text(
            (_FUSE[1] + _UNIT[0]) / 2,
            _PLUS + 20,
            show(supply.cable_positive_m, "length"),
            classes="ts",
            anchor="middle",
        ),
        *_return(design, section, back=back),
        *_box(*_DRIVER, "driver", show(design.driver.nominal_impedance_ohm, "resistance")),
    ]
    run = f"{show(speaker.section_m2, 'area')}"
    for level, sign in ((_PLUS, "+"), (_MINUS, "\u2212")):
        body += [
            line(_UNIT[1], level, _DRIVER[0], level, classes="s1"),
            text(_DRIVER[0] + 12, level + 5, sign, classes="t", anchor="middle"),
        ]
    middle = (_UNIT[1] + _DRIVER[0]) / 2
    body += [
        text(middle, _PLUS - 10, run, classes="t", anchor="middle"),
        text(middle, _PLUS + 20, show(speaker.length_m, "length"), classes="ts", anchor="middle"),
        text(middle, _MINUS - 10, run, classes="t", anchor="middle"),
    ]
    if design.amplifier.from_battery:
        supplied = "raised rail" if design.boost is not None else "supply"
        note = f"both speaker leads carry half the {supplied}: neither may touch the body"
        body.append(text(_DRIVER[1], _HEIGHT - 14, note, classes="ta", anchor="end"))
    title = text(16, 24, "Wiring", classes="h t")
    return document([title, *body], width=_WIDTH, height=_HEIGHT, title="Wiring", desc="Battery to driver")


def _box(left: float, right: float, name: str, below: str) -> list[str]:
    middle = (left + right) / 2
    return [
        rect(left, _PLUS - 34, right - left, _MINUS - _PLUS + 68, classes="open"),
        text(middle, (_PLUS + _MINUS) / 2 - 2, name, classes="h t", anchor="middle"),
        text(middle, (_PLUS + _MINUS) / 2 + 16, below, classes="ts sm", anchor="middle"),
    ]


def _return(design: Design, section: str, *, back: bool) -> list[str]:
    supply = design.supply
    if back:
        middle = (_BATTERY[1] + _UNIT[0]) / 2
        length = show(supply.cable_return_m, "length")
        return [
            line(_BATTERY[1], _MINUS, _UNIT[0], _MINUS, classes="s1"),
            text(middle, _MINUS - 10, section, classes="t", anchor="middle"),
            text(middle, _MINUS + 20, f"{length}, beside the positive lead", classes="ts", anchor="middle"),
        ]
    body = []
    for start, end in ((_BATTERY[1], _BATTERY[1] + 60.0), (_UNIT[0], _UNIT[0] - 60.0)):
        body += [
            line(start, _MINUS, end, _MINUS, classes="s1"),
            line(end, _MINUS, end, _MINUS + 22, classes="s1"),
            line(end - 14, _MINUS + 22, end + 14, _MINUS + 22, classes="frame"),
            line(end - 9, _MINUS + 27, end + 9, _MINUS + 27, classes="frame"),
            line(end - 4, _MINUS + 32, end + 4, _MINUS + 32, classes="frame"),
        ]
    middle = (_BATTERY[1] + _UNIT[0]) / 2
    length = show(supply.cable_return_m, "length")
    body += [
        text(middle, _MINUS - 10, f"{section}, {length}", classes="t", anchor="middle"),
        text(middle, _MINUS + 20, "return by the body: bare metal", classes="ts", anchor="middle"),
    ]
    return body
