"""What every stage shares: the shape of a spec, and the records that a result carries."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import wraps
from typing import TYPE_CHECKING, Final, Literal, ParamSpec, TypeVar

from subwright.base.units import code, show

if TYPE_CHECKING:
    from subwright.parts.library import Library
    from subwright.parts.record import Record

__all__ = [
    "LEVELS",
    "Contributor",
    "Corner",
    "Level",
    "Loss",
    "PartUse",
    "Rating",
    "capacitor_use",
    "diode_use",
    "record_use",
    "remembered",
    "resistor_use",
]

Given = ParamSpec("Given")
Result = TypeVar("Result")

_KEPT: Final = 4
_SIZES_W: Final = (0.25, 0.5, 1.0, 2.0, 5.0)
_HALF_LOADED: Final = 0.5  # a resistor at half its rating lasts; common practice
_PREFERRED: Final = "IEC 60063 preferred value"
_DIODES: Final = {
    "1N4148": "small-signal diode 75 V 0.15 A",
    "1N4007": "rectifier 1000 V 1 A",
    "UF4004": "fast diode 400 V 1 A",
}


class Corner(StrEnum):
    """Battery conditions at which every electrical number is evaluated."""

    MIN = "min"  # cranking: the converter is held off, control circuits may still run
    LOW = "low"  # engine off, battery tired: the lowest voltage at which it must still play
    NOMINAL = "nominal"
    CHARGING = "charging"
    MAX = "max"  # highest steady voltage before the over-voltage trip


class Level(StrEnum):
    """How hard the amplifier works."""

    IDLE = "idle"
    PROGRAMME = "programme"  # music of the stated crest factor, peaks at clipping
    FULL = "full"  # continuous sine at the onset of clipping


LEVELS = (Level.IDLE, Level.PROGRAMME, Level.FULL)


@dataclass(frozen=True, kw_only=True, slots=True)
class Rating:
    """A stress on a part beside what the part stands; both in the same unit."""

    quantity: str  # "drain-source voltage"
    unit: str  # glossary unit symbol: "V"
    applied: float
    limit: float
    source: str = ""  # bibliography key or provenance text
    at: str = ""  # corner and level at which it occurs

    @property
    def margin(self) -> float:
        """Share of the limit that is left, dimensionless; negative when exceeded."""
        return 1.0 - self.applied / self.limit


@dataclass(frozen=True, kw_only=True, slots=True)
class PartUse:
    """One line of the bill of materials: a real part, how many, where and under what stress."""

    role: str  # unique within the stage: "push-pull switch"
    letter: str  # designator class letter, IEEE 315: "Q", "R", "C", "T"
    part_id: str  # library or drawer id; for R and C the preferred value ("4k7")
    description: str
    quantity: float
    unit: Literal["pcs", "m", "m2", "kg"] = "pcs"
    value: str = ""  # printed value: "4.7 kΩ"
    tolerance: float | None = None  # fraction, 0.05 for 5 %
    ratings: tuple[Rating, ...] = ()
    in_drawer: bool = False
    substitutes: tuple[str, ...] = ()  # ids that would also do, best first
    provenance: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Loss:
    """One heat source: W at full sine and programme, nominal corner unless ``at`` says otherwise."""

    where: str  # "switch conduction"
    full_w: float
    programme_w: float
    idle_w: float = 0.0
    at: Corner = Corner.NOMINAL


@dataclass(frozen=True, kw_only=True, slots=True)
class Contributor:
    """How one toleranced part moves one result: d(ln result)/d(ln part) times its tolerance."""

    result: str  # "under-voltage trip"
    part: str  # role of the part
    tolerance: float  # fraction
    sensitivity: float  # dimensionless relative sensitivity

    @property
    def effect(self) -> float:
        """Relative shift of the result at the part's tolerance limit, dimensionless."""
        return self.sensitivity * self.tolerance


def remembered(design: Callable[Given, Result]) -> Callable[Given, Result]:
    """Keep a stage's last few results: a change elsewhere in the build asks for the same again.

    Arguments are compared, not hashed, so that they may hold mappings; results are frozen.

    Parameters
    ----------
    design : a pure function of its arguments. What it raises isn't kept.
    """
    kept: deque[tuple[tuple[object, ...], dict[str, object], Result]] = deque(maxlen=_KEPT)

    @wraps(design)
    def made(*args: Given.args, **kwargs: Given.kwargs) -> Result:
        for before, named, result in tuple(kept):
            if before == args and named == kwargs:
                return result
        result = design(*args, **kwargs)
        kept.append((args, kwargs, result))
        return result

    return made


def record_use(
    role: str, letter: str, record: Record, quantity: int, library: Library, *ratings: Rating
) -> PartUse:
    """A library part on a bill.

    Parameters
    ----------
    role, letter : as in PartUse. record : from the library. quantity : pieces.
    library : parts with the drawer merged. ratings : stresses on it.
    """
    return PartUse(
        role=role,
        letter=letter,
        part_id=record.id,
        description=record.description,
        quantity=quantity,
        ratings=ratings,
        in_drawer=library.in_drawer(record.id) >= quantity,
        provenance=record.provenance.kind,
    )


def resistor_use(
    role: str,
    ohm: float,
    watts: float = 0.0,
    *,
    tolerance: float = 0.05,
    quantity: int = 1,
    at: str = "highest battery",
    at_hand: bool = False,
) -> PartUse:
    """A resistor of a preferred value in the size that its heat takes.

    Parameters
    ----------
    role : as in PartUse. ohm : Ω. watts : its heat, W; 0: too little to count. tolerance : fraction.
    quantity : pieces. at : when it is hottest. at_hand : whether the drawer has it in the smallest size.
    """
    size = next((w for w in _SIZES_W if watts <= _HALF_LOADED * w), _SIZES_W[-1])
    rating = Rating(quantity="power", unit="W", applied=watts, limit=size, at=at)
    return PartUse(
        role=role,
        letter="R",
        part_id=code(ohm, "resistance"),
        description=f"resistor {size:g} W",
        quantity=quantity,
        value=show(ohm, "resistance"),
        tolerance=tolerance,
        ratings=(rating,) if watts else (),
        in_drawer=at_hand and size == _SIZES_W[0],
        provenance=_PREFERRED,
    )


def capacitor_use(role: str, farad: float, description: str, tolerance: float) -> PartUse:
    """A capacitor of a preferred value, F; ``tolerance`` is a fraction."""
    return PartUse(
        role=role,
        letter="C",
        part_id=code(farad, "capacitance"),
        description=description,
        quantity=1,
        value=show(farad, "capacitance"),
        tolerance=tolerance,
        provenance=_PREFERRED,
    )


def diode_use(role: str, part_id: str, quantity: int = 1) -> PartUse:
    """A usual small diode: 1N4148, 1N4007 or UF4004."""
    return PartUse(
        role=role,
        letter="D",
        part_id=part_id,
        description=_DIODES[part_id],
        quantity=quantity,
        provenance="memory",
    )
