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
from difflib import get_close_matches
from typing import Annotated, Any, ClassVar, Literal, TypeAlias, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from subwright.base.errors import SubwrightError
from subwright.base.quantities import QUANTITIES, dimension_of, key_of, words_of
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
    """What the spec says about one dimensioned field, with its bounds in the stored unit."""

    name: str
    key: str
    dimension: str
    low: float
    high: float
    optional: bool
    why: str

    @property
    def bare(self) -> bool:
        """Whether a plain number is the usual spelling (ratios and turns)."""
        return QUANTITIES[self.dimension].bare


def _refusal(error: SubwrightError) -> PydanticCustomError:
    # The text goes in as a value, because a message template would read braces in it.
    return PydanticCustomError("subwright", "{text}", {"text": str(error)})


def _marker(annotation: Any, metadata: list[Any]) -> tuple[Dimension | None, bool]:
    """The dimension marker of an annotation, and whether the annotation allows None."""
    optional = False
    for item in metadata:
        if isinstance(item, Dimension):
            return item, False
    if get_origin(annotation) in (Union, types.UnionType):
        arms = get_args(annotation)
        optional = type(None) in arms
        for arm in arms:
            for item in get_args(arm)[1:]:
                if isinstance(item, Dimension):
                    return item, optional
    return None, optional


def _rule(model: type[BaseModel], name: str, info: FieldInfo) -> FieldRule | None:
    marker, optional = _marker(info.annotation, info.metadata)
    bounds = next((item for item in info.metadata if isinstance(item, _Bounds)), None)
    if marker is None:
        if bounds is not None:
            raise TypeError(f"{model.__name__}.{name}: quantity() needs a dimension type such as Length")
        return None
    if bounds is None:
        raise TypeError(f"{model.__name__}.{name}: a dimensioned field is made with quantity()")
    if info.default is None and not optional:
        raise TypeError(f"{model.__name__}.{name}: the default None needs an annotation that allows None")
    implied = dimension_of(name)
    same_unit = QUANTITIES[implied].unit == QUANTITIES[marker.name].unit
    if not same_unit:
        raise TypeError(f"{model.__name__}.{name}: the suffix says {implied}, the type says {marker.name}")
    rule = FieldRule(
        name=name,
        key=key_of(name),
        dimension=marker.name,
        low=parse(bounds.low, marker.name),
        high=parse(bounds.high, marker.name),
        optional=optional,
        why=info.description or "",
    )
    if not rule.low < rule.high:
        raise TypeError(
            f"{model.__name__}.{name}: the bounds {bounds.low!r} and {bounds.high!r} leave no room"
        )
    return rule


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
        use_attribute_docstrings=False,
    )

    RULES: ClassVar[Mapping[str, FieldRule]] = {}
    """Dimensioned fields of this spec by field name."""

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Collect the rules of the dimensioned fields once, and refuse a spec that contradicts itself."""
        super().__pydantic_init_subclass__(**kwargs)
        rules = {name: _rule(cls, name, info) for name, info in cls.model_fields.items()}
        cls.RULES = types.MappingProxyType({name: rule for name, rule in rules.items() if rule is not None})
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
    def _read_quantity(cls, value: Any, info: ValidationInfo) -> Any:
        rule = cls.RULES.get(info.field_name or "")
        if rule is None:
            return _read_choice(cls, value, info.field_name or "")
        try:
            return _read(rule, value)
        except SubwrightError as error:
            raise _refusal(error) from None


def _read(rule: FieldRule, value: Any) -> float | None:
    name, example = words_of(rule.name), QUANTITIES[rule.dimension].example
    if value is None or (isinstance(value, str) and value.strip().lower() == AUTO):
        if rule.optional:
            return None
        raise SubwrightError(
            message=f"{name} can't be left to the programme",
            quantity=name,
            value=AUTO,
            remedy=f'write a value from "{_shown(rule.low, rule)}" to "{_shown(rule.high, rule)}"',
        )
    if isinstance(value, _Unmarked):
        raise SubwrightError(
            message=f"{name} needs its unit",
            quantity=name,
            value=f"{float(value):g}",
            remedy=f'write "{float(value):g} {QUANTITIES[rule.dimension].unit}"',
        )
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise SubwrightError(
            message=f"{name} is a {rule.dimension}, written as text with its unit",
            quantity=name,
            value=str(value)[:40],
            remedy=f'write a value such as "{example}"',
        )
    number = parse(value, rule.dimension)
    # One bit lost in a conversion must not turn an allowed bound away.
    if not rule.low - 1e-12 * abs(rule.low) <= number <= rule.high + 1e-12 * abs(rule.high):
        below = number < rule.low
        raise SubwrightError(
            message=f"{name} is too {'small' if below else 'large'}",
            quantity=name,
            value=value if isinstance(value, str) else _shown(number, rule),
            limit=f"{'at least' if below else 'at most'} {_shown(rule.low if below else rule.high, rule)}",
            remedy=rule.why,
        )
    if rule.dimension == "turns" and not number.is_integer():
        raise SubwrightError(
            message=f"{name} must be a whole number",
            quantity=name,
            value=str(value),
            remedy=f"write {round(number)}",
        )
    return int(number) if rule.dimension == "turns" else number


def _shown(value: float, rule: FieldRule) -> str:
    return show(value, rule.dimension)


def _read_choice(model: type[BaseModel], value: Any, name: str) -> Any:
    """Let a choice among numbers be written with its unit ("12 V"), and name the choices when none fits."""
    allowed = get_args(model.model_fields[name].annotation) if name in model.model_fields else ()
    if get_origin(model.model_fields[name].annotation) is not Literal or value in allowed:
        return value
    numbers = all(isinstance(item, (int, float)) for item in allowed)
    dimension = dimension_of(name)
    if numbers and isinstance(value, str):
        try:
            number = parse(value, dimension)
        except SubwrightError as error:
            raise _refusal(error) from None
        for item in allowed:
            if number == item:
                return item
    texts = [show(item, dimension) if numbers else str(item) for item in allowed]
    near = get_close_matches(str(value).lower(), texts, n=1)
    raise _refusal(
        SubwrightError(
            message=f"{words_of(name)} has no choice {value!r}",
            quantity=words_of(name),
            value=str(value),
            limit="one of " + ", ".join(texts),
            remedy=f"did you mean {near[0]!r}?" if near else "write one of the choices named",
        )
    )
