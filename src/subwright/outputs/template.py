"""Writes a new build file: what the builder answered plainly, every other key explained and commented out."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterator, Mapping

from pydantic import BaseModel

from subwright.base.tomllines import KeyPath
from subwright.outputs.spec_entries import SpecEntry, SpecTable, spec_tables
from subwright.outputs.tomlfile import dotted, toml_value

__all__ = ["new_file_text"]

_WIDTH = 100
_TIED = "\N{NO-BREAK SPACE}"  # holds a value and its unit together while lines are broken

_HEAD = """\
# Build file: everything that one powered subwoofer is designed from.
#
# A value that has a unit is written with it, in quotes: cable_length = "4 m". "auto" leaves the choice to
# the design. A line such as `# key = value` shows what is used when the key is left out; to change it,
# take away the "# " and write your value. The brackets give the range that is accepted."""


def new_file_text(
    model: type[BaseModel], values: Mapping[KeyPath, object], plain: Collection[KeyPath] = ()
) -> str:
    """Text of a new build file.

    Parameters
    ----------
    model : the build file's spec.
    values : values by place; written plainly.
    plain : places of further keys to write plainly, with their default, because a builder will want to
        look at them.

    Returns
    -------
    TOML text with each key explained; the keys in ``values``, ``plain`` and those without a default stand
    plainly, all others as comments.
    """
    lines = [_HEAD]
    for table in spec_tables(model):
        lines += (
            ["", *_table_lines(table, values, plain)] if table.loc else _entry_lines(table, values, plain)
        )
    return "\n".join(lines) + "\n"


def _table_lines(
    table: SpecTable, values: Mapping[KeyPath, object], plain: Collection[KeyPath]
) -> Iterator[str]:
    given = any(loc[: len(table.loc)] == table.loc for loc in values)
    absent = table.optional and not given
    yield from _comment(table.about)
    yield f"# [{dotted(table.loc)}]" if absent else f"[{dotted(table.loc)}]"
    yield from _entry_lines(table, values, () if absent else plain, absent=absent)


def _entry_lines(
    table: SpecTable,
    values: Mapping[KeyPath, object],
    plain: Collection[KeyPath],
    *,
    absent: bool = False,
) -> Iterator[str]:
    after_plain = True
    for entry in table.entries:
        value = toml_value(values[entry.loc]) if entry.loc in values else entry.default or '"…"'
        plain_here = not absent and (entry.loc in values or entry.loc in plain or entry.required)
        if plain_here or after_plain:  # keys that stay as they are follow one another without a gap
            yield ""
        after_plain = plain_here
        yield from _comment(_explanation(entry))
        yield f"{'' if plain_here else '# '}{entry.key} = {value}"


def _explanation(entry: SpecEntry) -> str:
    """What a key is, with its range or choices in brackets."""
    choices = " | ".join(entry.choices) if len(entry.choices) > 1 else ""
    facts = entry.range.replace(" ", _TIED) or choices
    return f"{entry.why} ({facts})" if facts else entry.why


def _comment(text: str) -> list[str]:
    lines = textwrap.wrap(
        text,
        _WIDTH,
        initial_indent="# ",
        subsequent_indent="# ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_TIED, " ") for line in lines]
