"""Make validated part records from the plain mappings that TOML gives.

Two spellings are read: the library's tables give SI numbers under the field's own name (``vds_v = 55``); a
drawer gives quantities with their units under the field's name without its unit suffix (``vds = "55 V"``).
"""

from __future__ import annotations

import math
import types
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, fields, replace
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin

from subwright.base.errors import SubwrightError
from subwright.base.near import closest
from subwright.base.quantities import QUANTITIES, dimension_of, key_of
from subwright.base.units import parse, show
from subwright.parts.magnetic import SteinmetzFit
from subwright.parts.record import Bounds, Provenance, Record

__all__ = ["Complaint", "FieldRule", "build", "check_values", "read_table", "rules_of"]

R = TypeVar("R", bound=Record)

Complaint = Callable[[str, str], None]
"""Called with (key, sentence) for each thing wrong."""

_FILLED_BY_READER = {"description", "provenance"}


@dataclass(frozen=True, kw_only=True, slots=True)
class FieldRule:
    """What one field of a record accepts.

    Attributes
    ----------
    name : the field's name. key : its key in a drawer file, without the unit suffix unless that is another
        field's name.
    form : "float", "int", "bool", "str", "choice", "fits" or "pairs".
    low, high : plausible range, SI. choices : accepted words. required : must be given.
    dimension : dimension name of a float.
    """

    name: str
    key: str
    form: Literal["float", "int", "bool", "str", "choice", "fits", "pairs"]
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    required: bool = True
    dimension: str = "ratio"


_RULES: dict[type[Any], Mapping[str, FieldRule]] = {}


def rules_of(cls: type[Any]) -> Mapping[str, FieldRule]:
    """Field rules of a record class by field name, from its annotations."""
    if cls not in _RULES:
        rules = {f.name: _rule(f.name, f.type, _is_required(f)) for f in fields(cls)}
        for name, rule in rules.items():
            if rule.key != name and rule.key in rules:  # drain current id_a beside the part's id
                rules[name] = replace(rule, key=name)
        _RULES[cls] = rules
    return _RULES[cls]


def _is_required(field: Any) -> bool:
    return field.default is MISSING and field.name not in _FILLED_BY_READER


def _rule(name: str, annotation: Any, required: bool) -> FieldRule:
    low, high = -math.inf, math.inf
    if get_origin(annotation) in (Union, types.UnionType):
        annotation = next(a for a in get_args(annotation) if a is not type(None))
    if get_origin(annotation) is Annotated:
        base, *extra = get_args(annotation)
        for bounds in extra:
            if isinstance(bounds, Bounds):
                low, high = bounds.low, bounds.high
        annotation = base
    if get_origin(annotation) in (Union, types.UnionType):
        annotation = next(a for a in get_args(annotation) if a is not type(None))
    plain = {float: "float", int: "int", bool: "bool", str: "str"}.get(annotation)
    if plain is not None:
        number = plain in ("float", "int")
        return FieldRule(
            name=name,
            key=key_of(name) if number else name,
            form=plain,  # type: ignore[arg-type]  # values of the table above
            low=low,
            high=high,
            required=required,
            dimension=dimension_of(name) if number else "ratio",
        )
    if get_origin(annotation) is Literal:
        return FieldRule(name=name, key=name, form="choice", choices=get_args(annotation), required=required)
    inner = get_args(annotation)[0] if get_args(annotation) else None
    if inner is SteinmetzFit:
        return FieldRule(name=name, key=name, form="fits", required=required)
    if get_origin(inner) is tuple:
        return FieldRule(name=name, key=name, form="pairs", required=required)
    # Provenance is filled in by the reader and never read from a table
    return FieldRule(name=name, key=name, form="str", required=False)


def build(cls: type[R], raw: Mapping[str, Any], provenance: Provenance, complain: Complaint) -> R | None:
    """Make a record from SI values under field names.

    Parameters
    ----------
    cls : record class. raw : values by field name; a missing description is made from the values.
    provenance : where the values come from. complain : called for each problem, with the field's name.

    Returns
    -------
    The record, or None where something was wrong.
    """
    checked = check_values(cls, raw, complain)
    if checked is None:
        return None
    missing = [rule.name for rule in rules_of(cls).values() if rule.required and rule.name not in checked]
    for name in missing:
        complain(name, "is missing")
    if missing:
        return None
    values: dict[str, Any] = {"description": "", **checked, "provenance": provenance}
    record = cls(**values)
    if not record.description:
        record = cls(**{**values, "description": record.summary()})
    contradictions = tuple(record.problems())
    for name, sentence in contradictions:
        complain(name, sentence)
    return None if contradictions else record


def check_values(cls: type[R], raw: Mapping[str, Any], complain: Complaint) -> dict[str, Any] | None:
    """Check each given value for its type and range; nothing is asked of what isn't given.

    Parameters
    ----------
    cls, raw, complain : as for :func:`build`.

    Returns
    -------
    The values in their fields' types, or None where something was wrong.
    """
    rules = rules_of(cls)
    sound = True

    def bad(key: str, sentence: str) -> None:
        nonlocal sound
        sound = False
        complain(key, sentence)

    values = {}
    for name, value in raw.items():
        rule = rules.get(name)
        if rule is None or name == "provenance":
            bad(name, f"no such field of a {cls.__name__.lower()}{_near(name, rules)}")
        else:
            values[name] = _checked(rule, value, bad)
    return values if sound else None


def _checked(rule: FieldRule, value: Any, bad: Complaint) -> Any:
    """The value in the field's own type; complains where it doesn't fit."""
    if type(value) is float and rule.form == "float" and rule.low <= value <= rule.high:
        return value  # nearly all of a library's values: thousands, at each cold start
    match rule.form:
        case "float" | "int":
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                bad(rule.name, f"{value!r} is not a number")
                return None
            if rule.form == "int" and not isinstance(value, int):
                bad(rule.name, f"{value!r} is not a whole number")
                return None
            if not rule.low <= value <= rule.high or not math.isfinite(value):
                bad(
                    rule.name,
                    f"{_shown(value, rule)} is outside {_range(rule)}; check the unit and the zeros",
                )
                return None
            return float(value) if rule.form == "float" else value
        case "bool" | "str":
            wanted = bool if rule.form == "bool" else str
            if not isinstance(value, wanted):
                bad(rule.name, f"{value!r} is not {'true or false' if wanted is bool else 'a text'}")
                return None
            return value
        case "choice":
            if value not in rule.choices:
                near = _near(str(value), rule.choices)
                bad(rule.name, f"{value!r} is none of {', '.join(rule.choices)}{near}")
            return value
        case "fits":
            return tuple(_fit(item, rule, bad) for item in value) if isinstance(value, Sequence) else ()
        case "pairs":
            return _pairs(rule, value, bad)


def _fit(item: Any, rule: FieldRule, bad: Complaint) -> SteinmetzFit | None:
    names = tuple(rules_of(SteinmetzFit))
    if isinstance(item, Mapping):
        if set(item) != set(names):
            bad(rule.name, f"a loss fit needs exactly {', '.join(names)}")
            return None
        values = [item[name] for name in names]
    elif isinstance(item, Sequence) and not isinstance(item, str) and len(item) == len(names):
        values = list(item)
    else:
        bad(rule.name, f"a loss fit is a list of {', '.join(names)}")
        return None
    checked = [_checked(rules_of(SteinmetzFit)[n], v, bad) for n, v in zip(names, values, strict=True)]
    return None if None in checked else SteinmetzFit(**dict(zip(names, checked, strict=True)))


def _pairs(rule: FieldRule, value: Any, bad: Complaint) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, Sequence) or isinstance(value, str):
        bad(rule.name, "must be a list of pairs")
        return ()
    pairs = []
    for item in value:
        if (
            not isinstance(item, Sequence)
            or len(item) != 2
            or any(isinstance(x, bool) or not isinstance(x, (int, float)) for x in item)
        ):
            bad(rule.name, f"{item!r} is not a pair of numbers")
            return ()
        pairs.append((float(item[0]), float(item[1])))
    return tuple(pairs)


def read_table(
    cls: type[R], table: Mapping[str, Any], complain: Complaint, *, skip: tuple[str, ...] = ()
) -> dict[str, Any]:
    """Translate a drawer's table, quantities with units, to SI values under field names.

    Parameters
    ----------
    cls : record class. table : the table as TOML gives it. complain : called with the table's own keys.
    skip : keys that are the caller's ("quantity", "source").

    Returns
    -------
    Values by field name; what can't be read has been complained about and is left out.
    """
    by_key = {rule.key: rule for rule in rules_of(cls).values() if rule.name != "provenance"}
    out: dict[str, Any] = {}
    for key, value in table.items():
        if key in skip:
            continue
        rule = by_key.get(key)
        if rule is None:
            complain(key, f"no such value of a {cls.__name__.lower()}{_near(key, by_key)}")
            continue
        try:
            out[rule.name] = _translate(rule, value)
        except SubwrightError as error:
            complain(key, str(error))
    return out


def _translate(rule: FieldRule, value: Any) -> Any:
    if rule.form == "float":
        return _quantity(value, rule.dimension)
    if rule.form == "pairs" and isinstance(value, Sequence):
        return [
            (_quantity(item[0], "temperature"), _quantity(item[1], "resistance"))
            if isinstance(item, Sequence) and len(item) == 2
            else item
            for item in value
        ]
    if rule.form == "fits" and isinstance(value, Sequence):
        by_key = {fit.key: fit for fit in rules_of(SteinmetzFit).values()}
        return [
            {
                by_key[k].name if k in by_key else k: _quantity(
                    v, by_key[k].dimension if k in by_key else "ratio"
                )
                for k, v in item.items()
            }
            if isinstance(item, Mapping)
            else item
            for item in value
        ]
    return value


def _quantity(value: Any, dimension: str) -> float:
    if isinstance(value, str):
        return parse(value, dimension)
    if dimension == "ratio" and isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    bare = isinstance(value, (int, float)) and not isinstance(value, bool)
    raise SubwrightError(
        message=f"the {dimension} {value!r} has no unit" if bare else f"{value!r} is not a {dimension}",
        remedy=f'write a text with the unit, such as "{QUANTITIES[dimension].example}"',
    )


def _shown(value: float, rule: FieldRule) -> str:
    if rule.form == "int" or not math.isfinite(value):
        return str(value)
    return show(value, rule.dimension)


def _range(rule: FieldRule) -> str:
    if math.isinf(rule.high):
        return f"{_shown(rule.low, rule)} and above"
    return f"{_shown(rule.low, rule)} to {_shown(rule.high, rule)}"


def _near(word: str, known: Any) -> str:
    near = closest(word, known, 1)
    return f"; did you mean {near[0]!r}?" if near else ""
