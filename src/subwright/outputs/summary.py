"""The summary page: one HTML file that carries its style and drawings and asks the network for nothing."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from markupsafe import Markup

from subwright.outputs.bom import spans
from subwright.outputs.look import MONO, TEXT, drawing_css, page_variables
from subwright.outputs.tables import TIGHT, margin_text, share_used
from subwright.outputs.views import PackView

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["page_css", "summary_html"]

_FIT = ("winding", "panels")  # drawings shown at their own size


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    text = files("subwright.outputs").joinpath("templates/summary.html.j2").read_text(encoding="utf-8")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, keep_trailing_newline=True
    )
    environment.filters["margin_text"] = margin_text
    environment.filters["used_percent"] = lambda margin: f"{100 * share_used(margin):.0f}"
    environment.filters["spans"] = spans
    environment.filters["drawing"] = Markup
    environment.filters["fits"] = lambda key: key.startswith(_FIT)
    return environment.from_string(text)


def _css_string(content: str) -> str:
    """Text as a CSS string that can't end early, whatever it holds."""
    return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\{ord(c):06x}" for c in content) + '"'


def page_css(*, running_head: str = "", stamp: str = "") -> str:
    """The page's style sheet: variables, layout, drawings, and the running head of the printed pages."""
    text = files("subwright.outputs").joinpath("templates/summary.css").read_text(encoding="utf-8")
    style = text.replace("FONT_TEXT", TEXT).replace("FONT_MONO", MONO)
    font = f"font:8pt {TEXT}"
    head = (
        f"@page{{@top-left{{content:{_css_string(running_head)};{font};color:#5a656e}}"
        f'@bottom-right{{content:counter(page) " / " counter(pages);{font};color:#5a656e}}'
        f"@top-right{{content:{_css_string(stamp)};{font};font-weight:700;color:#bf2f1b}}}}\n"
    )
    return page_variables() + style + head + drawing_css(inline=True)


def summary_html(view: PackView) -> str:
    """The whole page as HTML text; everything but the drawings is escaped."""
    contents = (
        ("findings", "Findings"),
        ("power", "Power"),
        *((sheet.key, sheet.title) for sheet in view.sheets),
        ("parts", "Parts to buy"),
        ("first-power", "Before first power"),
        ("sources", "Sources"),
    )
    css = page_css(running_head=view.name, stamp=view.stamp)
    return _template().render(
        v=view,
        css=Markup(css),  # own text; the build's name is inside a CSS string
        contents=contents,
        numbers={key: f"{number:02d}" for number, (key, _) in enumerate(contents, 1)},
        tight=TIGHT,
    )
