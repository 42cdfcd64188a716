"""Field types of the build file: a stage's spec is a frozen pydantic model whose values carry their units.

In the build file a dimensioned value is a text with its unit under a key without a unit suffix
(``cable_length = "4 m"``); the model stores it in the field that has the suffix (``cable_length_m``). In code
the field's own name may be used, and then a plain number in the stored unit is accepted as well, because the
name says which unit that is.
"""

from __future__ import annotations

import types
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from subwright.base.errors import RangeError, SubwrightError
from subwright.base.near import closest
from subwright.base.quantities import QUANTITIES, UNITS, dimension_of, key_of, words_of
from subwright.base.units import parse, show

__all__ = [
    "AUTO",
    "Acceleration",
    "Angle",
    "Area",
    "BatteryCapacity",
    "Capacitance",
    "Celsius",
    "Charge",
    "Compliance",
    "Current",
    "CurrentDensity",
    "Decibel",
    "Density",
    "Dimension",
    "Energy",
    "FieldRule",
    "FluxDensity",
    "ForceFactor",
    "Frequency",
    "Inductance",
    "KelvinDifference",
    "Length",
    "Mass",
    "MechanicalResistance",
    "Modulus",
    "Power",
    "Pressure",
    "Ratio",
    "Resistance",
    "SlewRate",
    "Speed",
    "StageSpec",
    "ThermalCapacity",
    "ThermalResistance",
    "Time",
    "Turns",
    "Voltage",
    "Volume",
    "choice",
    "quantity",
]

AUTO = "auto"


@dataclass(frozen=True, slots=True)
class Dimension:
    """Marks an annotated float as a value of this dimension."""

    name: str


Length: TypeAlias = Annotated[float, Dimension("length")]
Area: TypeAlias = Annotated[float, Dimension("area")]
Volume: TypeAlias = Annotated[float, Dimension("volume")]
Voltage: TypeAlias = Annotated[float, Dimension("voltage")]
Current: TypeAlias = Annotated[float, Dimension("current")]
CurrentDensity: TypeAlias = Annotated[float, Dimension("current density")]
Power: TypeAlias = Annotated[float, Dimension("power")]
Energy: TypeAlias = Annotated[float, Dimension("energy")]
Resistance: TypeAlias = Annotated[float, Dimension("resistance")]
Capacitance: TypeAlias = Annotated[float, Dimension("capacitance")]
Inductance: TypeAlias = Annotated[float, Dimension("inductance")]
Frequency: TypeAlias = Annotated[float, Dimension("frequency")]
Time: TypeAlias = Annotated[float, Dimension("time")]
Mass: TypeAlias = Annotated[float, Dimension("mass")]
Celsius: TypeAlias = Annotated[float, Dimension("temperature")]
KelvinDifference: TypeAlias = Annotated[float, Dimension("temperature difference")]
ThermalResistance: TypeAlias = Annotated[float, Dimension("thermal resistance")]
ThermalCapacity: TypeAlias = Annotated[float, Dimension("thermal capacity")]
FluxDensity: TypeAlias = Annotated[float, Dimension("flux density")]
Charge: TypeAlias = Annotated[float, Dimension("charge")]
Decibel: TypeAlias = Annotated[float, Dimension("level")]
Ratio: TypeAlias = Annotated[float, Dimension("ratio")]
Speed: TypeAlias = Annotated[float, Dimension("speed")]
SlewRate: TypeAlias = Annotated[float, Dimension("slew rate")]
Acceleration: TypeAlias = Annotated[float, Dimension("acceleration")]
Pressure: TypeAlias = Annotated[float, Dimension("pressure")]
Modulus: TypeAlias = Annotated[float, Dimension("modulus")]
Density: TypeAlias = Annotated[float, Dimension("density")]
Compliance: TypeAlias = Annotated[float, Dimension("compliance")]
MechanicalResistance: TypeAlias = Annotated[float, Dimension("mechanical resistance")]
ForceFactor: TypeAlias = Annotated[float, Dimension("force factor")]
Angle: TypeAlias = Annotated[float, Dimension("angle")]
BatteryCapacity: TypeAlias = Annotated[float, Dimension("battery capacity")]
Turns: TypeAlias = Annotated[int, Dimension("turns")]


@dataclass(frozen=True, slots=True)
class _Bounds:
    """Bounds as written in the spec, kept in the field's metadata until the model class is complete."""

    low: str
    high: str


class _Unmarked(float):
    """A plain number that stood under a build-file key, where a unit belongs."""


def quantity(default: str | None, *, low: str, high: str, why: str) -> Any:
    """A dimensioned field of a stage's spec.

    Parameters
    ----------
    default : the default as the build file would spell it, ``"4 m"``; None means that the stage chooses, and
        then the key may be absent or "auto" and the annotation must allow None.
    low, high : bounds, both allowed values, spelled with their units.
    why : one sentence for the user: what the value is, and what happens by default.

    Returns
    -------
    A pydantic field.
    """
    info = Field(default=default, description=why, validate_default=True)
    info.metadata.append(_Bounds(low=low, high=high))
    return info


def choice(default: Any, *, why: str) -> Any:
    """A field of a stage's spec that is a name, a switch, a plain text or a count.

    Parameters
    ----------
    default : the default, of the annotated type.
    why : one sentence for the user: what is chosen here.

    Returns
    -------
    A pydantic field.
    """
    return Field(default=default, description=why)


@dataclass(frozen=True, kw_only=True, slots=True)
class FieldRule:
    """What the spec says about one dimensioned field.

    Attributes
    ----------
    name : field name, with its unit suffix.
    key : build-file key, without it.
    dimension : dimension name.
    low, high : bounds in the stored unit, both allowed.
    low_text, high_text : the bounds as the spec spells them.
    unit : the unit in which the spec spells this field's values.
    optional : whether the field may be left to the programme.
    why : the spec's sentence for the user.
    """

    name: str
    key: str
    dimension: str
    low: float
    high: float
    low_text: str
    high_text: str
    unit: str
    optional: bool
    why: str

    @property
    def bare(self) -> bool:
        """Whether a plain number is the usual spelling (ratios and turns)."""
        return QUANTITIES[self.dimension].bare


@dataclass(frozen=True, kw_only=True, slots=True)
class _ChoiceRule:
    """A field that is no quantity: the values it allows (empty: any), and whether None is one."""

    name: str
    allowed: tuple[Any, ...]
    optional: bool


def _arms(annotation: Any) -> tuple[Any, ...]:
    """The members of a union, or the annotation itself."""
    return get_args(annotation) if get_origin(annotation) in (Union, types.UnionType) else (annotation,)


def _marker(info: FieldInfo) -> Dimension | None:
    """The dimension marker of a field's annotation, inside ``X | None`` as well."""
    inner = [item for arm in _arms(info.annotation) for item in get_args(arm)[1:]]
    return next((item for item in (*info.metadata, *inner) if isinstance(item, Dimension)), None)


def _rule(model: type[BaseModel], name: str, info: FieldInfo) -> FieldRule | _ChoiceRule:
    """The rule of one field.

    Raises
    ------
    TypeError : the spec contradicts itself; a fault of the programme, found when the module is imported.
    """

    def fault(why: str) -> TypeError:
        return TypeError(f"{model.__name__}.{name}: {why}")

    arms = _arms(info.annotation)
    optional = type(None) in arms
    marker = _marker(info)
    bounds = next((item for item in info.metadata if isinstance(item, _Bounds)), None)
    if info.default is None and not optional:
        raise fault("the default None needs an annotation that allows None")
    if marker is None:
        if bounds is not None:
            raise fault("quantity() needs a dimension type such as Length")
        allowed = tuple(value for arm in arms if get_origin(arm) is Literal for value in get_args(arm))
        return _ChoiceRule(name=name, allowed=allowed, optional=optional)
    if bounds is None:
        raise fault("a dimensioned field is made with quantity()")
    implied = dimension_of(name)
    if QUANTITIES[implied].unit != QUANTITIES[marker.name].unit:
        raise fault(f"the suffix says {implied}, the type says {marker.name}")
    rule = FieldRule(
        name=name,
        key=key_of(name),
        dimension=marker.name,
        low=parse(bounds.low, marker.name),
        high=parse(bounds.high, marker.name),
        low_text=bounds.low,
        high_text=bounds.high,
        unit=_unit_text(info.default or bounds.low, marker.name),
        optional=optional,
        why=info.description or "",
    )
    if not rule.low < rule.high:
        raise fault(f"the bounds {bounds.low!r} and {bounds.high!r} leave no room")
    if info.default is not None:
        try:
            _read(rule, info.default)
        except SubwrightError as error:
            raise fault(f"the default is refused: {error}") from None
    return rule


def _unit_text(value: str, dimension: str) -> str:
    """The unit at the end of a spelled value ("mm" of "18 mm"); the stored unit where it has none ("4k7")."""
    unit = value.lstrip("+-0123456789. ")
    try:
        parse(f"1 {unit}", dimension)
    except SubwrightError:
        return QUANTITIES[dimension].unit
    return unit


class StageSpec(BaseModel):
    """Base of every stage's spec: frozen, unknown keys refused, values with units, bounds enforced.

    The build-file key of a field is its name without the unit suffix.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=key_of,
        populate_by_name=True,
        allow_inf_nan=False,
    )

    RULES: ClassVar[Mapping[str, FieldRule]] = {}
    """Dimensioned fields of this spec by field name."""

    _CHOICES: ClassVar[Mapping[str, _ChoiceRule]] = {}

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Collect the rules of the fields once, and refuse a spec that contradicts itself."""
        super().__pydantic_init_subclass__(**kwargs)
        rules = {name: _rule(cls, name, info) for name, info in cls.model_fields.items()}
        quantities = {name: rule for name, rule in rules.items() if isinstance(rule, FieldRule)}
        choices = {name: rule for name, rule in rules.items() if isinstance(rule, _ChoiceRule)}
        cls.RULES = types.MappingProxyType(quantities)
        cls._CHOICES = types.MappingProxyType(choices)
        keys = [key_of(name) for name in cls.model_fields]
        twice = sorted({key for key in keys if keys.count(key) > 1})
        if twice:
            raise TypeError(f"{cls.__name__}: two fields share the build-file key {twice[0]!r}")

    @model_validator(mode="before")
    @classmethod
    def _note_plain_numbers(cls, data: Any) -> Any:
        """Mark numbers that stand under a build-file key, so that their field can refuse them by name."""
        if not isinstance(data, Mapping):
            return data
        marked = dict(data)
        for rule in cls.RULES.values():
            value = marked.get(rule.key)
            if rule.bare or rule.key == rule.name or isinstance(value, bool):
                continue
            if isinstance(value, (int, float)):
                marked[rule.key] = _Unmarked(value)
        return marked

    @field_validator("*", mode="before")
    @classmethod
    def _read_field(cls, value: Any, info: ValidationInfo) -> Any:
        name = info.field_name or ""
        try:
            if name in cls.RULES:
                return _read(cls.RULES[name], value)
            return _read_choice(cls._CHOICES[name], value) if name in cls._CHOICES else value
        except SubwrightError as error:
            # The text goes in as a value, because a message template would read braces in it.
            raise PydanticCustomError("subwright", "{text}", {"text": str(error)}) from None


def _is_auto(value: Any) -> bool:
    return value is None or (isinstance(value, str) and value.strip().lower() == AUTO)


def _unreadable(text: str, dimension: str) -> bool:
    """Whether a text is no value of that dimension at all."""
    try:
        parse(text, dimension)
    except SubwrightError:
        return True
    return False


def _read(rule: FieldRule, value: Any) -> float | None:
    """The value in the stored unit, within its bounds; None for "auto" where that is allowed."""
    name = words_of(rule.name)
    allowed = f'write a value from "{rule.low_text}" to "{rule.high_text}"'
    if _is_auto(value):
        if rule.optional:
            return None
        raise SubwrightError(
            message=f"{name} can't be left to the programme", quantity=name, value=AUTO, remedy=allowed
        )
    if isinstance(value, _Unmarked):
        raise SubwrightError(
            message=f"{name} needs its unit",
            quantity=name,
            value=f"{float(value):g}",
            remedy=f'write "{float(value):g} {rule.unit}"',
        )
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise SubwrightError(
            message=f"{name} is a {rule.dimension}, written as text with its unit",
            quantity=name,
            value=str(value)[:40],
            remedy=allowed,
        )
    if rule.dimension == "turns" and isinstance(value, str) and _unreadable(value, "turns"):
        raise SubwrightError(
            message=f"{name} must be a whole number", quantity=name, value=value[:40], remedy=allowed
        )
    number = parse(value, rule.dimension)
    # One bit lost in a conversion must not turn an allowed bound away.
    below = number < rule.low - 1e-12 * abs(rule.low)
    if below or number > rule.high + 1e-12 * abs(rule.high):
        raise RangeError(
            message=f"{name} is too {'small' if below else 'large'}",
            quantity=name,
            value=value.strip() if isinstance(value, str) else show(number, rule.dimension),
            limit=f"at least {rule.low_text}" if below else f"at most {rule.high_text}",
            remedy=allowed,
        )
    if rule.dimension != "turns":
        return number
    if not number.is_integer():
        raise SubwrightError(
            message=f"{name} must be a whole number",
            quantity=name,
            value=str(value),
            remedy=f"write {max(1, round(number))}",
        )
    return int(number)


def _read_choice(rule: _ChoiceRule, value: Any) -> Any:
    """Let a choice among numbers be written with its unit ("12 V"), and name the choices when none fits."""
    if _is_auto(value) and rule.optional and AUTO not in rule.allowed:
        return None
    if not rule.allowed or (value in rule.allowed and not isinstance(value, bool)):
        return value
    dimension = dimension_of(rule.name)
    numbers = all(isinstance(item, (int, float)) for item in rule.allowed)
    if numbers and isinstance(value, str):
        if dimension == "ratio" and _unreadable(value, dimension):
            raise SubwrightError(
                message=f"{words_of(rule.name)} must be a whole number",
                quantity=words_of(rule.name),
                value=value[:40],
                limit="one of " + ", ".join(str(item) for item in rule.allowed),
                remedy=f"write a whole number without quotes, for example {rule.allowed[0]}",
            )
        number = parse(value, dimension)
        for item in rule.allowed:
            if number == item:
                return item
    unit = UNITS[dimension] if numbers else ""
    texts = [f"{item} {unit}".strip() for item in rule.allowed]
    near = " or ".join(f'"{text}"' for text in closest(str(value), texts))
    raise SubwrightError(
        message=f"{words_of(rule.name)} has no choice {str(value)[:40]!r}",
        quantity=words_of(rule.name),
        value=str(value)[:40],
        limit="one of " + ", ".join(texts),
        remedy=f"did you mean {near}?" if near else "write one of the choices named",
    )
