"""What every stage shares: the shape of a spec, and the records that a result carries."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

__all__ = [
    "LEVELS",
    "Contributor",
    "Corner",
    "Level",
    "Loss",
    "PartUse",
    "Rating",
]


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
