"""What every route shares: the folder, the rules, the templates, and how this reader wants to see things."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from subwright import service
from subwright.build.moment import Moment, moment_at, voltage_range
from subwright.build.result import Design
from subwright.outputs.drawing import num
from subwright.outputs.look import DARK, LIGHT, MONO, TEXT, Palette, drawing_css
from subwright.outputs.tables import share_used
from subwright.outputs.views import Grid
from subwright.session import BuildSession, Outcome
from subwright.stages.common import Corner, Level
from subwright.web.catalogue import choice, chosen, label, spoken, texts
from subwright.web.customary import customary
from subwright.web.drawing import Drawn, draw_narrow, draw_wide
from subwright.web.german import german
from subwright.web.linking import keyed, linked
from subwright.web.measuring import Recordings
from subwright.web.scene import Scene, margin_said, scene_of
from subwright.web.security import Rules
from subwright.workspace import EXAMPLE, Workspace

__all__ = ["Desk", "Reader", "level_of", "style_sheet"]

Words = Callable[[str], str]

_STYLES = ("workbench", "bench", "pages")
_MOST_COLUMNS, _LONG_CELL = 5, 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Reader:
    """How one reader wants to see the workbench; kept in cookies of their browser."""

    language: str = "en"
    units: str = "metric"
    paper: str = ""  # "light", "dark" or "" for what the system says

    @classmethod
    def of(cls, request: Request) -> Reader:
        """The reader who sent this request."""
        held = request.cookies
        return cls(
            language=chosen(held.get("language", ""), request.headers.get("accept-language", "")),
            units="inch" if held.get("units") == "inch" else "metric",
            paper=held.get("paper", "") if held.get("paper") in ("light", "dark") else "",
        )

    def say(self, text: str) -> str:
        """A printed text in this reader's units."""
        return customary(text) if self.units == "inch" else text

    def word(self, key: str) -> str:
        """One of the workbench's own words."""
        return texts()[self.language][key]

    def label(self, group: str, name: str) -> str:
        """What a key, a kind of part, a sheet, a figure or an act is called."""
        return label(self.language, group, name)

    def told(self, text: str, how: str = "") -> Markup:
        """What a design says about itself: in the reader's language where the catalogue has it, else marked
        as English.

        ``how``: "keys" leads from keys of the build file to their inputs, "pages" to their explanations.
        """
        found = text if self.language == "en" else german(text)
        said = self.say(text if found is None else found)
        shown = keyed(said) if how == "keys" else linked(said) if how == "pages" else escape(said)
        return Markup('<span lang="en">{}</span>').format(shown) if found is None else shown

    def plain(self, text: str) -> str:
        """The same for an attribute, which can't mark its language."""
        found = None if self.language == "en" else german(text)
        return self.say(text if found is None else found)

    def mark(self, text: str) -> Markup:
        """Marks an attribute's text that `plain` leaves in English."""
        return self.english if self.language != "en" and german(text) is None else Markup("")

    def choice(self, key: str, value: str) -> str:
        """What one of a key's choices is called."""
        return choice(self.language, key, value)

    @property
    def english(self) -> Markup:
        """Marks what a design says about itself, which is English, on a page of another language."""
        return Markup("" if self.language == "en" else ' lang="en"')

    def stage(self, key: str) -> str:
        """A stage's name; one that the catalogue does not know yet goes by its key."""
        return texts()[self.language].get(key, key.replace("_", " "))


@dataclass(kw_only=True, slots=True)
class Desk:
    """The running workbench."""

    workspace: Workspace
    rules: Rules
    recordings: Recordings = field(default_factory=Recordings)

    def page(self, request: Request, template: str, status: int = 200, /, **values: Any) -> HTMLResponse:
        """A template filled in for the reader who asks."""
        return HTMLResponse(self.fragment(Reader.of(request), template, **values), status_code=status)

    def fragment(self, reader: Reader, template: str, /, **values: Any) -> str:
        """A template filled in."""
        return (
            _environment()
            .get_template(template)
            .render(
                t=reader.word,
                stage=reader.stage,
                say=reader.say,
                called=reader.label,
                choice=reader.choice,
                told=reader.told,
                plain=reader.plain,
                mark=reader.mark,
                called_margin=lambda margin: margin_said(margin, reader.word),
                en=reader.english,
                spoken=lambda: spoken(reader.language),
                reader=reader,
                example=EXAMPLE,
                **values,
            )
        )

    def moment(self, outcome: Outcome, emf_v: float | None, level: str) -> Moment:
        """The build at a battery voltage (None: nominal; held to the range) and level."""
        design: Design = outcome.design
        low, high = voltage_range(design)
        wanted = design.supply.corners[Corner.NOMINAL] if emf_v is None else emf_v
        return moment_at(design, min(max(wanted, low), high), level_of(level))

    def drawn(self, outcome: Outcome, moment: Moment, reader: Reader) -> tuple[Drawn, Drawn]:
        """The drawing in both layouts."""
        scene = _translated(scene_of(outcome.design, outcome.overview, moment, reader.word), reader)
        return draw_wide(scene, reader.word, reader.say), draw_narrow(scene, reader.word, reader.say)

    def session(self, name: str) -> BuildSession:
        """An opened build. Raises SubwrightError where the folder holds none of that name."""
        return self.workspace.session(name)


def _translated(scene: Scene, reader: Reader) -> Scene:
    """The same with the tightest margins named in the reader's language where the catalogue has it."""
    if reader.language == "en":
        return scene
    labels = {
        key: replace(label, tightest=said, native=True) if (said := german(label.tightest)) else label
        for key, label in scene.labels.items()
    }
    return replace(scene, labels=labels)


def level_of(text: str) -> Level:
    """The level of that name; full sine for anything else."""
    return next((level for level in Level if level.value == text), Level.FULL)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("subwright.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["drawing"] = Markup  # drawings come from our own pen, with all text escaped
    environment.filters["bar"] = lambda margin: num(100.0 * share_used(margin))
    environment.filters["moment"] = _moment
    environment.filters["wordy"] = _wordy
    environment.filters["inputs_named"] = service.remedy_keys
    return environment


def _moment(epoch_s: float, between: str) -> str:
    """Date and time of day, as this machine's clock on the wall shows them."""
    return datetime.fromtimestamp(epoch_s).astimezone().strftime(f"%Y-%m-%d{between}%H:%M")


def _wordy(grid: Grid) -> bool:
    """Whether a table is too much text for a narrow page: its rows are then set one under the other."""
    return len(grid.header) > _MOST_COLUMNS or any(
        len(cell) > _LONG_CELL for row in grid.rows for cell in row
    )


@cache
def style_sheet() -> str:
    """The page's style: the colours of every drawing, light and dark, and the layout."""
    static = files("subwright.web").joinpath("static")
    base = "".join(static.joinpath(f"{name}.css").read_text(encoding="utf-8") for name in _STYLES)
    base = base.replace("FONT_TEXT", TEXT).replace("FONT_MONO", MONO)
    light, dark = _variables(LIGHT), _variables(DARK)
    return (
        f":root{{color-scheme:light;{light}}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root:not([data-paper=light])"
        f"{{color-scheme:dark;{dark}}}}}\n"
        f"@media screen{{:root[data-paper=dark]{{color-scheme:dark;{dark}}}}}\n"
        f"{drawing_css(inline=True)}{base}"
    )


def _variables(palette: Palette) -> str:
    return ";".join(f"--{name}:{getattr(palette, name)}" for name in Palette.__slots__)
