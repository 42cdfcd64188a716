"""Checks a parsed file against a model and says each problem in plain words, at its line and key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from subwright.base.errors import FileProblem, InputError, SubwrightError
from subwright.base.near import closest
from subwright.base.tomllines import KeyPath
from subwright.outputs.tomlfile import TomlFile, did_you_mean, dotted, short

__all__ = ["file_keys", "model_at", "nested_models", "unknown_key", "validate"]

M = TypeVar("M", bound=BaseModel)

_PROBLEMS_SHOWN = 20


def validate(model: type[M], file: TomlFile) -> M:
    """Build ``model`` from the file.

    Raises
    ------
    InputError
        With one `FileProblem` for each thing wrong, in file order: what stands there, what is allowed, what
        was probably meant.
    """
    try:
        return model.model_validate(dict(file.data), by_alias=True, by_name=False)
    except ValidationError as error:
        details = error.errors(include_url=False)
    except SubwrightError as error:
        problem = FileProblem(file=file.path, line=1, key="file", message=_plain(str(error)))
        raise InputError(message=str(error), problems=(problem,)) from None
    places: dict[KeyPath, ErrorDetails] = {}
    for detail in details:
        places.setdefault(_place(detail, file.data), detail)
    # Words only for those that are shown: a file of another trade has thousands.
    ordered = sorted(places, key=file.line_of)
    shown = [file.problem(loc, _message(places[loc], loc, model)) for loc in ordered[:_PROBLEMS_SHOWN]]
    if more := ordered[_PROBLEMS_SHOWN:]:
        words = f"and {len(more)} more problems from here on; mend those above first"
        shown.append(file.problem(more[0], words))
    raise InputError(message=f"{len(ordered)} problems", problems=tuple(shown))


def file_keys(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """The model's fields by the key that a file uses for them (the alias where there is one)."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def nested_models(annotation: Any) -> tuple[type[BaseModel], ...]:
    """The models inside an annotation, through ``X | None``, ``Annotated``, lists and tuples."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (annotation,)
    if get_origin(annotation) is Annotated:
        return nested_models(get_args(annotation)[0])
    if get_origin(annotation) in {Union, UnionType, list, tuple}:
        return tuple(model for part in get_args(annotation) for model in nested_models(part))
    return ()


def model_at(model: type[BaseModel], loc: KeyPath) -> type[BaseModel] | None:
    """The model that describes the table at ``loc``; None where there is no table in ``model``."""
    here: type[BaseModel] | None = model
    for item in loc:
        if isinstance(item, int):
            continue
        info = file_keys(here).get(item) if here else None
        inner = nested_models(info.annotation) if info else ()
        here = inner[0] if inner else None
    return here


def _place(detail: ErrorDetails, data: Mapping[str, Any]) -> KeyPath:
    """The path in the file that an error is about: its ``loc`` without the names of union members."""
    here: Any = data
    path: KeyPath = ()
    last = len(detail["loc"]) - 1
    absent_is_right = detail["type"] in {"missing", "extra_forbidden"}
    for index, item in enumerate(detail["loc"]):
        named = isinstance(item, str) and isinstance(here, dict)
        if named and (item in here or (absent_is_right and index == last)):
            path, here = (*path, item), here.get(item)
        elif isinstance(here, list) and isinstance(item, int) and item < len(here):
            path, here = (*path, item), here[item]
    return path


def _message(detail: ErrorDetails, loc: KeyPath, model: type[BaseModel]) -> str:
    kind, given = detail["type"], detail["input"]
    if kind == "missing":
        return _missing(loc, model)
    if kind == "extra_forbidden":
        return unknown_key(loc, model)
    if kind in {"literal_error", "enum"}:
        return _not_a_choice(detail, given)
    if kind in {"string_too_short", "string_too_long"}:
        limit = detail["ctx"]["min_length" if kind == "string_too_short" else "max_length"]
        least = "at least" if kind == "string_too_short" else "at most"
        return f"is {short(given)}; write {least} {limit} {'character' if limit == 1 else 'characters'}"
    if kind in _WANTED:
        return f"is {short(given)}; {_WANTED[kind]}"
    return _plain(detail["msg"])


_WANTED = {
    "int_type": "write a whole number without quotes, for example 2",
    "int_parsing": "write a whole number without quotes, for example 2",
    "int_from_float": "write a whole number",
    "float_type": "write a number",
    "float_parsing": "write a number",
    "bool_type": "write true or false, without quotes",
    "bool_parsing": "write true or false, without quotes",
    "string_type": 'write text in quotes, for example "…"',
    "list_type": "write a list, for example [1, 2]",
    "tuple_type": "write a list, for example [1, 2]",
    "dict_type": "write a table of keys here",
    "model_type": "a table of keys belongs here, not a single value",
    "model_attributes_type": "a table of keys belongs here, not a single value",
}


def _plain(message: str) -> str:
    """A validator's own words, on one line."""
    for start in ("Value error, ", "Assertion failed, "):
        message = message.removeprefix(start)
    return " ".join(message.split())


def _missing(loc: KeyPath, model: type[BaseModel]) -> str:
    name = str(loc[-1])
    parent = model_at(model, loc[:-1])
    info = file_keys(parent).get(name) if parent else None
    where = f"in [{dotted(loc[:-1])}]" if loc[:-1] else "at the top of the file"
    if info is not None and nested_models(info.annotation):
        where, name = "", f"[{dotted(loc)}]"
    why = f" ({info.description.rstrip('.')})" if info is not None and info.description else ""
    return " ".join(f"is missing; add {name} {where}{why}".split())


def unknown_key(loc: KeyPath, model: type[BaseModel]) -> str:
    """Say that ``model`` has no key at ``loc``, and which one was probably meant."""
    name, parent = str(loc[-1]), model_at(model, loc[:-1])
    if parent is None:
        holder = model_at(model, loc[:-2])
        if holder is not None and str(loc[-2]) in file_keys(holder):
            return f"is not a known key; {dotted(loc[:-1])} is a single value, not a table"
        return f"is in [{dotted(loc[:-1])}], which {unknown_key(loc[:-1], model)}"
    known = file_keys(parent)
    if name in known:
        first = next(iter(file_keys(_inner(known[name]))))
        return f"is a table; name a key in it, such as {dotted((*loc, first))}"
    if hint := did_you_mean(name, known):
        return f"is not a known key{hint}"
    if elsewhere := [place for place in _tables_with(model, name) if place != loc[:-1]][:3]:
        homes = (f"[{dotted(place)}]" if place else "the top of the file" for place in elsewhere)
        return f"is not a known key here; it belongs in {' or '.join(homes)}"
    if near := closest(name, {key for _, key in _every_key(model)}, 1):
        place = _tables_with(model, near[0])[0]
        return f"is not a known key here; did you mean {dotted((*place, near[0]))}?"
    where = f"[{dotted(loc[:-1])}]" if loc[:-1] else "the top of a file"
    return f"is not a known key; {where} knows {', '.join(sorted(known))}"


def _inner(info: FieldInfo) -> type[BaseModel]:
    return nested_models(info.annotation)[0]


def _every_key(model: type[BaseModel], place: KeyPath = ()) -> Iterator[tuple[KeyPath, str]]:
    for key, info in file_keys(model).items():
        yield place, key
        for inner in nested_models(info.annotation)[:1]:
            yield from _every_key(inner, (*place, key))


def _tables_with(model: type[BaseModel], name: str) -> list[KeyPath]:
    return [place for place, key in _every_key(model) if key == name]


def _not_a_choice(detail: ErrorDetails, given: object) -> str:
    expected = str(detail.get("ctx", {}).get("expected", ""))
    words = expected.replace(" or ", ", ").split(",")
    choices = [word.strip().strip("'\"") for word in words if word.strip()]
    hint = did_you_mean(given, choices) if isinstance(given, str) else ""
    return f"is {short(given)}; choose one of {', '.join(choices)}{hint}"
