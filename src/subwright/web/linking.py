"""From a text to what it names: keys of the build file, checks and works become links."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from markupsafe import Markup, escape

from subwright import service
from subwright.base.sources import bibliography
from subwright.web.stage import STAGES

__all__ = ["keyed", "linked", "place_of"]

_KEY = re.compile(r"(?<![\w./])[a-z]+(?:_[a-z]+)*\.[a-z0-9]+(?:_[a-z0-9]+)*(?![\w/])")
_CODE = re.compile(r"(?<![\w-])[A-Z]{3}-\d\d(?![\w-])")


@cache
def _keys() -> Mapping[str, str]:
    """Dotted key of the build file → the sheet that it is changed on."""
    sheets = {table: key for key, (tables, _) in STAGES.items() for table in tables}
    return {key: sheets.get(key.split(".")[0], key.split(".")[0]) for key in service.spec_keys()}


def place_of(key: str) -> str:
    """Where a key of the build file is changed, as the part of an address behind "#"; "" for no such key.

    >>> place_of("supply.section"), place_of("goal.power"), place_of("no.key")
    ('supply/in-supply-section', 'air/in-goal-power', '')
    """
    sheet = _keys().get(key)
    return f"{sheet}/in-{key.replace('.', '-')}" if sheet else ""


def keyed(text: str) -> Markup:
    """A text whose keys of the build file lead to their inputs in the workbench.

    >>> print(keyed("Raise supply.section <now>."))
    Raise <a href="#supply/in-supply-section" data-stage="supply">supply.section</a> &lt;now&gt;.
    """

    def link(key: str) -> str:
        place = place_of(key)
        return f'<a href="#{place}" data-stage="{place.split("/")[0]}">{key}</a>' if place else key

    return Markup(_KEY.sub(lambda found: link(found[0]), str(escape(text))))


def linked(text: str) -> Markup:
    """A text whose keys, checks and works lead to their pages."""

    def link(word: str, known: bool) -> str:
        return f'<a href="/explain/{word}" data-explain="{word}">{word}</a>' if known else word

    if text in bibliography():
        return Markup(link(text, True))
    found = _KEY.sub(lambda at: link(at[0], at[0] in _keys()), str(escape(text)))
    return Markup(_CODE.sub(lambda at: link(at[0], at[0] in service.finding_codes()), found))
