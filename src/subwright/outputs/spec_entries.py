"""What can stand in a build file: each key with its explanation, range, choices and default."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from subwright.base.fields import AUTO, FieldRule, StageSpec
from subwright.base.tomllines import KeyPath
from subwright.outputs.tomlfile import toml_value
from subwright.outputs.validation import nested_models

__all__ = ["SpecEntry", "SpecTable", "entry_at", "spec_tables"]


@dataclass(frozen=True, kw_only=True, slots=True)
class SpecEntry:
    """One key of the build file.

    Attributes
    ----------
    loc : where it stands, ``("supply", "cable_length")``.
    why : the explanation from the spec.
    default : as the file would spell it (``"4 m"`` in its quotes), or "" where there is none.
    required : whether the key must be given.
    range : ``0.1 m … 30 m``, or "" where there is none.
    choices : the allowed words, or () where anything of the right kind goes.
    rule : the quantity's rule; None for words, switches and counts.
    """

    loc: KeyPath
    why: str
    default: str
    required: bool
    range: str = ""
    choices: tuple[str, ...] = ()
    rule: FieldRule | None = None

    @property
    def key(self) -> str:
        """The key without its table."""
        return str(self.loc[-1])


@dataclass(frozen=True, kw_only=True, slots=True)
class SpecTable:
    """One table of the build file; ``optional`` where the whole table may be left out."""

    loc: KeyPath
    about: str
    entries: tuple[SpecEntry, ...]
    optional: bool = False


@cache
def spec_tables(model: type[BaseModel], loc: KeyPath = ()) -> tuple[SpecTable, ...]:
    """Every table that ``model`` describes, the document itself first, in the spec's own order."""
    tables = [_table(model, loc, optional=False)]
    for key, info in _keyed(model):
        inner = nested_models(info.annotation)
        for index, table in enumerate(spec_tables(inner[0], (*loc, key)) if inner else ()):
            optional = table.optional or (index == 0 and info.default is None)
            tables.append(replace(table, optional=optional))
    return tuple(tables)


def entry_at(model: type[BaseModel], loc: KeyPath) -> SpecEntry | None:
    """The entry at ``loc``; None where the spec knows no such key."""
    return _by_place(model).get(loc)


@cache
def _by_place(model: type[BaseModel]) -> Mapping[KeyPath, SpecEntry]:
    return MappingProxyType({entry.loc: entry for table in spec_tables(model) for entry in table.entries})


def _keyed(model: type[BaseModel]) -> Iterator[tuple[str, FieldInfo]]:
    for name, info in model.model_fields.items():
        yield info.alias or name, info


def _table(model: type[BaseModel], loc: KeyPath, *, optional: bool) -> SpecTable:
    rules = model.RULES if issubclass(model, StageSpec) else {}
    entries = tuple(
        _entry((*loc, info.alias or name), info, rules.get(name))
        for name, info in model.model_fields.items()
        if not nested_models(info.annotation)
    )
    about = (model.__doc__ or "").strip().split("\n\n", 1)[0]
    return SpecTable(loc=loc, about=" ".join(about.split()), entries=entries, optional=optional)


def _entry(loc: KeyPath, info: FieldInfo, rule: FieldRule | None) -> SpecEntry:
    choices = tuple(str(item) for item in _literals(info.annotation))
    return SpecEntry(
        loc=loc,
        why=" ".join((info.description or "").split()),
        default=_default(info, rule),
        required=info.is_required(),
        range=_range(info),
        choices=choices,
        rule=rule,
    )


def _literals(annotation: Any) -> tuple[Any, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    if get_origin(annotation) in {Union, UnionType}:
        return tuple(item for part in get_args(annotation) for item in _literals(part))
    return ()


def _range(info: FieldInfo) -> str:
    """The bounds as the spec spells them."""
    for item in info.metadata:
        low, high = getattr(item, "low", None), getattr(item, "high", None)
        if isinstance(low, str) and isinstance(high, str):
            return f"{low} … {high}"
    return ""


def _default(info: FieldInfo, rule: FieldRule | None) -> str:
    value = info.get_default(call_default_factory=True, validated_data={})
    if value is None and rule is not None:
        value = AUTO
    return "" if value is None or value is PydanticUndefined else toml_value(value)
