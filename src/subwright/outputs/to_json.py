"""Turns any result into JSON: dataclasses and models by field name, arrays as lists, never a NaN.

Field names carry their unit suffix, so the JSON needs no units beside the numbers. The bytes are the same for
the same object: fields keep their order, numbers use the shortest form that reads back exactly.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from enum import Enum
from pathlib import PurePath

import numpy as np
from pydantic import BaseModel

from subwright.base.errors import SubwrightError

__all__ = ["Json", "dumps", "plain"]

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


def _refuse(path: str, message: str, value: str) -> SubwrightError:
    return SubwrightError(
        message=message,
        quantity=path or "value",
        value=value,
        remedy="this is a fault in the result itself; please report it with the build file",
    )


def _number(value: float, path: str) -> float:
    if not math.isfinite(value):
        raise _refuse(path, "a number that is not finite can't be written", str(value))
    return value + 0.0  # turns -0.0 into 0.0


def _array(value: np.ndarray, path: str) -> Json:
    if value.dtype.kind in "fc" and not np.isfinite(value).all():
        raise _refuse(path, "an array holds a number that is not finite", "NaN or infinity")
    if value.dtype.kind == "c":
        return {"real": (value.real + 0.0).tolist(), "imag": (value.imag + 0.0).tolist()}
    if value.dtype.kind == "f":
        listed: Json = (value + 0.0).tolist()
        return listed
    if value.dtype.kind in "biuU":
        return value.tolist()  # type: ignore[no-any-return]  # numpy types tolist() as Any
    return [plain(item, path=f"{path}[{i}]") for i, item in enumerate(value.tolist())]


def _key(key: object, path: str) -> str:
    if isinstance(key, Enum):
        return str(key.value)
    if isinstance(key, tuple):
        return " ".join(_key(part, path) for part in key)
    if isinstance(key, str | int | float) and not isinstance(key, bool):
        return str(key)
    raise _refuse(path, "a mapping has a key that JSON can't hold", type(key).__name__)


def _fields(value: object) -> Iterator[tuple[str, object]]:
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield name, getattr(value, name)
        return
    assert dataclasses.is_dataclass(value)  # narrowed by the caller
    for field in dataclasses.fields(value):
        if not field.name.startswith("_") and field.compare:
            yield field.name, getattr(value, field.name)


def plain(value: object, *, path: str = "") -> Json:
    """The object as JSON types; ``path`` names the place in error messages.

    Dataclasses and pydantic models become objects, enums their value, numpy arrays nested lists, complex
    numbers ``{"real": ..., "imag": ...}``, mappings objects with text keys, sets sorted lists. Left out are
    private fields and those that don't count when two results are compared (measured run times): the same
    design must give the same bytes. Raises SubwrightError for NaN, infinity, and types without a JSON form.
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Enum):
        return plain(value.value, path=path)
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return _number(float(value), path)
    if isinstance(value, complex):
        return {"real": _number(value.real, path), "imag": _number(value.imag, path)}
    if isinstance(value, np.ndarray):
        return _array(value, path)
    if isinstance(value, np.generic):
        return plain(value.item(), path=path)
    if isinstance(value, PurePath):
        return value.as_posix()
    if isinstance(value, BaseModel) or (dataclasses.is_dataclass(value) and not isinstance(value, type)):
        return {name: plain(item, path=f"{path}.{name}".lstrip(".")) for name, item in _fields(value)}
    if isinstance(value, Mapping):
        return {_key(k, path): plain(v, path=f"{path}.{_key(k, path)}") for k, v in value.items()}
    if isinstance(value, AbstractSet):
        members = [plain(item, path=path) for item in value]
        return sorted(members, key=lambda member: json.dumps(member, ensure_ascii=False, sort_keys=True))
    if isinstance(value, Sequence):
        return [plain(item, path=f"{path}[{i}]") for i, item in enumerate(value)]
    raise _refuse(path, "a value of this type has no JSON form", type(value).__name__)


def _flat(value: Json) -> bool:
    return not isinstance(value, list | dict)


def _written(value: Json, indent: str) -> str:
    if isinstance(value, dict) and value:
        inner = indent + " "
        items = [
            f"{inner}{json.dumps(k, ensure_ascii=False)}: {_written(v, inner)}" for k, v in value.items()
        ]
        return "{\n" + ",\n".join(items) + f"\n{indent}}}"
    if isinstance(value, list) and value and not all(_flat(v) for v in value):
        inner = indent + " "
        return "[\n" + ",\n".join(inner + _written(v, inner) for v in value) + f"\n{indent}]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def dumps(value: object, *, path: str = "") -> str:
    """The object as JSON text: one field a line, lists of plain values on one line, a line feed at the end.

    Raises SubwrightError as ``plain`` does.
    """
    return _written(plain(value, path=path), "") + "\n"
