"""The workbench's own words, in the languages that `texts.toml` holds."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

__all__ = ["LANGUAGES", "SPOKEN", "choice", "chosen", "label", "labels", "spoken", "texts", "word"]

LANGUAGES = ("en", "de")

SPOKEN = (
    *("no answer", "try again", "close", "not taken", "make it now", "changed elsewhere", "show new"),
    *("making pack", "get pack", "pack stopped", "what if", "remedy", "limit", "nothing moved", "designing"),
    *("no design", "state.playing", "state.tired", "state.off low", "state.off high"),
    *("bench.inside", "bench.outside", "bench.edge", "bench.no number", "bench.saved", "bench.waiting"),
    *("bench.sending", "bench.refused", "bench.needs unit", "bench.other device", "bench.new design"),
    *("bench.reload", "bench.of", "bench.steps done", "bench.drop", "bench.all done"),
    *(
        "bench.leaves",
        "bench.against",
        "bench.no suspect",
        "bench.next reading",
        "bench.kept here",
        "bench.no shelf",
    ),
    *("board.cancelled", "board.failed", "board.ending"),
    *("trial.cancelled", "trial.seconds", "trial.cancelling"),
    *("remedy stopped", "trial cancel"),
    *("large", "small", "gone", "aside done", "bring back", "builds"),
)
"""Texts that a page hands to its scripts."""


@cache
def texts() -> Mapping[str, Mapping[str, str]]:
    """Every text by language and key; a language that lacks one falls back to English."""
    raw = tomllib.loads(files("subwright.web").joinpath("texts.toml").read_text(encoding="utf-8"))
    english: dict[str, str] = {key: row["en"] for key, row in raw.items()}
    return {
        language: {key: row.get(language, english[key]) for key, row in raw.items()} for language in LANGUAGES
    }


def word(language: str, key: str) -> str:
    """One text. Raises KeyError for a key that the catalogue lacks: a fault in a template."""
    return texts()[language][key]


def chosen(cookie: str, accepted: str) -> str:
    """The reader's language from what was chosen before, else from what the browser asks for.

    >>> chosen("", "de-AT,de;q=0.9,en;q=0.5"), chosen("en", "de"), chosen("", "fr")
    ('de', 'en', 'en')
    """
    if cookie in LANGUAGES:
        return cookie
    for part in accepted.split(","):
        tag = part.split(";")[0].strip().lower()[:2]
        if tag in LANGUAGES:
            return tag
    return "en"


def spoken(language: str) -> Mapping[str, str]:
    """The texts that scripts say, by key."""
    return {key: texts()[language][key] for key in SPOKEN}


@cache
def labels() -> Mapping[str, Mapping[str, str]]:
    """German names of keys, kinds, choices, sheets, figures and acts by their English ones; English where a
    key's own name says too little."""
    raw = tomllib.loads(files("subwright.web").joinpath("labels.toml").read_text(encoding="utf-8"))
    return {group: dict(rows) for group, rows in raw.items()}


def label(language: str, group: str, name: str) -> str:
    """What something is called; a name that the catalogue does not know yet stays as it is.

    >>> label("de", "keys", "cable_length"), label("en", "keys", "cable_length")
    ('Kabelweg, einfach', 'cable, one way')
    """
    known = labels().get(group if language == "de" else f"{group} english", {}).get(name)
    return known or name.replace("_", " ")


def choice(language: str, key: str, value: str) -> str:
    """What one of a key's choices is called; one that the catalogue does not know yet stays as it is.

    >>> choice("en", "amplifier.kind", "class_d_half_bridge"), choice("de", "enclosure.kind", "sealed")
    ('class D, half-bridge on ± rails', 'geschlossen')
    """
    for group in ("choices", "choices english") if language == "de" else ("choices english",):
        for name in (f"{key} {value}", value):
            if name in labels()[group]:
                return labels()[group][name]
    return value.replace("_", " ")
