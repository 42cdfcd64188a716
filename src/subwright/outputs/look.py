"""Paper, ink and one accent: the colours, type and line styles that every drawing and page shares.

The accent marks limits and whatever touches them; everything else is ink. Curves are told apart by weight
and dash, not by colour, so a black-and-white print loses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DARK", "LIGHT", "MONO", "TEXT", "Palette", "drawing_css", "page_variables"]

MONO = "ui-monospace, 'DejaVu Sans Mono', 'Liberation Mono', Menlo, Consolas, monospace"
TEXT = "'Source Sans 3', 'Noto Sans', 'Liberation Sans', 'Helvetica Neue', Arial, sans-serif"


@dataclass(frozen=True, kw_only=True, slots=True)
class Palette:
    """One set of colours, as CSS hex strings."""

    paper: str  # the page
    sheet: str  # what is laid on the page: tables, drawings
    ink: str
    soft: str  # second-rank text and curves
    hair: str  # rules and grid
    accent: str
    wash: str  # the accent thinned out, for shaded regions
    tint: str  # the ink thinned out, for bands


LIGHT = Palette(
    paper="#f5f6f2",
    sheet="#fdfdfb",
    ink="#16202a",
    soft="#5a656e",
    hair="#d3d8d4",
    accent="#bf2f1b",
    wash="#f6e3de",
    tint="#dde2e4",
)
DARK = Palette(
    paper="#10161b",
    sheet="#172027",
    ink="#e3e8e7",
    soft="#9ba8af",
    hair="#33404a",
    accent="#ff8064",
    wash="#3a2723",
    tint="#2b3842",
)

# class name -> (property, palette colour) pairs; widths and dashes are the same in light and dark
_COLOURS: tuple[tuple[str, str, str], ...] = (
    ("paper", "fill", "sheet"),
    ("t", "fill", "ink"),
    ("ts", "fill", "soft"),
    ("ta", "fill", "accent"),
    ("halo", "stroke", "sheet"),
    ("grid", "stroke", "hair"),
    ("frame", "stroke", "ink"),
    ("hair", "stroke", "soft"),
    ("s1", "stroke", "ink"),
    ("s2", "stroke", "ink"),
    ("s3", "stroke", "soft"),
    ("s4", "stroke", "soft"),
    ("lim", "stroke", "accent"),
    ("ref", "stroke", "soft"),
    ("hach", "stroke", "accent"),
    ("band", "fill", "tint"),
    ("wash", "fill", "wash"),
    ("dot", "fill", "ink"),
    ("dota", "fill", "accent"),
    ("solid", "fill", "ink"),
    ("mid", "fill", "soft"),
    ("wire", "stroke", "ink"),
    ("heavy", "stroke", "ink"),
    ("open", "fill", "sheet"),
    ("open", "stroke", "ink"),
    ("part", "fill", "tint"),
    ("part", "stroke", "ink"),
    ("foil", "stroke", "tint"),
    ("land", "fill", "tint"),
    ("bore", "fill", "sheet"),
    ("bore", "stroke", "soft"),
    ("body", "stroke", "ink"),
    ("jump", "stroke", "accent"),
)

_SHAPES = """
.sw text{{font-family:{mono};font-size:12px}}
.sw .h{{font-family:{text};font-size:14px;font-weight:600}}
.sw .sm{{font-size:11px}}
.sw .halo{{stroke-width:3.4px;stroke-linejoin:round;paint-order:stroke}}
.sw .grid{{fill:none;stroke-width:1px}}
.sw .frame{{fill:none;stroke-width:1px}}
.sw .hair{{fill:none;stroke-width:1px}}
.sw .s1,.sw .s2,.sw .s3,.sw .s4{{fill:none;stroke-linejoin:round;stroke-linecap:round}}
.sw .s1{{stroke-width:2.4px}}
.sw .s2{{stroke-width:1.6px;stroke-dasharray:7 4}}
.sw .s3{{stroke-width:1.6px}}
.sw .s4{{stroke-width:1.8px;stroke-dasharray:1.5 4}}
.sw .lim{{fill:none;stroke-width:1.4px}}
.sw .ref{{fill:none;stroke-width:1.2px;stroke-dasharray:10 3 2 3}}
.sw .hach{{fill:none;stroke-width:.9px}}
.sw .open,.sw .part{{stroke-width:1.4px}}
.sw .wire,.sw .heavy{{fill:none;stroke-linecap:square}}
.sw .wire{{stroke-width:1.3px}}
.sw .heavy{{stroke-width:3px}}
.sw .lab{{font-size:13px}}
.sw .foil{{fill:none;stroke-linejoin:round;stroke-linecap:round}}
.sw .bore{{stroke-width:1px}}
.sw .body{{fill:none;stroke-width:1.6px;stroke-linejoin:round}}
.sw .jump{{fill:none;stroke-width:4px;stroke-linecap:round}}
.sw .l12{{font-size:16px}}
.sw .l13{{font-size:17.3px}}
.sw .l15{{font-size:20px}}
"""


def _colour_rules(colours: dict[str, str], prefix: str) -> str:
    return "".join(f"{prefix}.{name}{{{prop}:{colours[colour]}}}\n" for name, prop, colour in _COLOURS)


def _hex(palette: Palette) -> dict[str, str]:
    return {name: getattr(palette, name) for name in Palette.__slots__}


def drawing_css(*, inline: bool) -> str:
    """CSS for the drawings' classes.

    ``inline`` gives rules that read the page's variables (one block for a whole page); otherwise the rules
    carry the light colours, with the dark ones behind ``prefers-color-scheme``, so that viewers without CSS
    variables still draw ink on paper.
    """
    shapes = _SHAPES.format(mono=MONO, text=TEXT).strip() + "\n"
    if inline:
        return shapes + _colour_rules({name: f"var(--{name})" for name in Palette.__slots__}, ".sw ")
    dark = _colour_rules(_hex(DARK), ".sw ")
    light = _colour_rules(_hex(LIGHT), ".sw ")
    return f"{shapes}{light}@media screen and (prefers-color-scheme:dark){{\n{dark}}}\n"


def page_variables() -> str:
    """CSS variables for a page: light, dark on request of the reader's system, always light on paper."""

    def block(palette: Palette) -> str:
        return ";".join(f"--{name}:{value}" for name, value in _hex(palette).items())

    return (
        f":root{{color-scheme:light dark;{block(LIGHT)}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{block(DARK)}}}}}\n"
    )
