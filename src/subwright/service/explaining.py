"""Explanations of checks, keys and sources."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from subwright.base.errors import SubwrightError
from subwright.base.sources import bibliography
from subwright.build.findings import explain as explain_rule
from subwright.build.findings import rules
from subwright.build.spec import BuildSpec
from subwright.outputs.spec_entries import SpecEntry, SpecTable, entry_at, spec_tables
from subwright.outputs.tomlfile import did_you_mean, dotted
from subwright.service.build_files import spec_keys

if TYPE_CHECKING:
    pass


__all__ = [
    "Explanation",
    "explain",
    "finding_codes",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Explanation:
    """One page: a title and headed paragraphs."""

    code: str
    title: str
    sections: tuple[tuple[str, str], ...]


def finding_codes() -> tuple[str, ...]:
    """The codes of every check."""
    return tuple(rule.code for rule in rules())


def explain(code: str = "") -> Explanation:
    """Explain a finding's code, a key or table of the build file, or a source; "" lists what there is.

    Raises
    ------
    SubwrightError
        It is none of them; near misses are named.
    """
    word = code.strip()
    if not word:
        return _index_page()
    if word.upper() in finding_codes():
        return _rule_page(word)
    if (entry := entry_at(BuildSpec, tuple(word.split(".")))) is not None:
        return _key_page(entry)
    if (table := _table(word)) is not None:
        return _table_page(table)
    if (source := bibliography().get(word)) is not None:
        sections = (("Work", source.citation()), ("How its figures got here", source.status))
        return Explanation(code=source.key, title=source.title, sections=sections)
    known = (*finding_codes(), *spec_keys(), *bibliography())
    raise SubwrightError(
        message=f"{word!r} is no finding, no key of the build file and no source{did_you_mean(word, known)}",
        remedy="list them with: subwright explain",
    )


def _index_page() -> Explanation:
    checks = "\n".join(f"{rule.code}  {rule.title}" for rule in rules())
    keys = "\n".join(
        f"{dotted(table.loc) if table.loc else 'top of the file'}: {', '.join(e.key for e in table.entries)}"
        for table in spec_tables(BuildSpec)
    )
    sections = (("Checks", checks), ("Keys of the build file", keys), ("Sources", ", ".join(bibliography())))
    return Explanation(code="", title="What can be explained", sections=sections)


def _rule_page(code: str) -> Explanation:
    rule = explain_rule(code)
    sections = (
        ("What is checked", rule.what),
        ("Why", rule.why),
        ("Limit", rule.limit),
        ("Source", rule.source),
        ("Example", rule.example),
        ("What to do", rule.remedy),
        ("Severity", rule.severity),
    )
    return Explanation(code=rule.code, title=rule.title, sections=sections)


def _table(word: str) -> SpecTable | None:
    return next((table for table in spec_tables(BuildSpec) if table.loc and dotted(table.loc) == word), None)


def _table_page(table: SpecTable) -> Explanation:
    sections = tuple(
        (entry.key, f"{entry.why} {entry.range or ', '.join(entry.choices)}".strip())
        for entry in table.entries
    )
    return Explanation(code=dotted(table.loc), title=table.about, sections=sections)


def _key_page(entry: SpecEntry) -> Explanation:
    sections = [("What it is", entry.why)]
    if entry.range:
        sections.append(("Range", entry.range))
    if entry.choices:
        sections.append(("Choices", ", ".join(entry.choices)))
    sections.append(("Default", entry.default or ("must be given" if entry.required else "none")))
    return Explanation(
        code=dotted(entry.loc), title=f"Build-file key {dotted(entry.loc)}", sections=tuple(sections)
    )
