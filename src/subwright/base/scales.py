"""What the glossary is made of: unit scales, ladders of printed units, and the record of one dimension.

Source
------
[si-brochure], table of prefixes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

__all__ = [
    "PREFIX_EXPONENT",
    "Quantity",
    "Rung",
    "UnitScale",
    "factors",
    "ladder",
    "marks",
    "one_rung",
    "prefixed",
    "tens",
]

PREFIX_EXPONENT: Mapping[str, int] = MappingProxyType(
    {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "K": 3, "M": 6, "G": 9}
)
_PREFIX_SHOWN = {"p": "p", "n": "n", "u": "µ", "m": "m", "": "", "k": "k", "M": "M", "G": "G"}


@dataclass(frozen=True, kw_only=True, slots=True)
class UnitScale:
    """How one unit becomes the stored unit: ``stored = number · 10**exponent · factor + offset``.

    The power of ten is kept apart so that "4.7 kΩ" is read as the float nearest to 4700 and not as a product
    that misses it by one bit.
    """

    exponent: int = 0
    factor: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Rung:
    """One step of the ladder of printed units; used from ``start`` (in the stored unit) upwards."""

    start: float
    scale: float  # stored units per printed unit
    label: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """A dimension: its name, stored unit, an example as the user writes it, and how it is read and printed.

    Attributes
    ----------
    name : dimension name, "thermal resistance".
    unit : symbol of the stored unit.
    example : a value as the build file spells it; "" is never allowed.
    units : accepted unit spelling (ASCII, see :mod:`subwright.base.units`) to its scale.
    marks : letter that may stand for the decimal point ("4k7") to its power of ten.
    ladder : printed units, smallest first.
    decimals : None for significant digits; otherwise the most decimals printed with three digits.
    bare : True where a plain number without a unit is the usual spelling.
    """

    name: str
    unit: str
    example: str
    units: Mapping[str, UnitScale]
    marks: Mapping[str, int] = field(default_factory=dict)
    ladder: tuple[Rung, ...]
    decimals: int | None = None
    bare: bool = False


def prefixed(prefixes: str, *symbols: str) -> dict[str, UnitScale]:
    """Unit spellings for each symbol with each one-letter prefix and without; ``K`` is read as ``k``."""
    letters = ["", *prefixes]
    if "k" in letters:
        letters.append("K")
    return {
        letter + symbol: UnitScale(exponent=PREFIX_EXPONENT[letter])
        for symbol in symbols
        for letter in letters
    }


def tens(exponents: Mapping[str, int]) -> dict[str, UnitScale]:
    """Unit spellings whose scales are powers of ten, dimensionless."""
    return {symbol: UnitScale(exponent=exponent) for symbol, exponent in exponents.items()}


def factors(pairs: Mapping[str, float]) -> dict[str, UnitScale]:
    """Unit spellings whose scales are plain factors, stored units per unit."""
    return {symbol: UnitScale(factor=factor) for symbol, factor in pairs.items()}


def ladder(prefixes: str, symbol: str) -> tuple[Rung, ...]:
    """Rungs at each thousand; "_" in ``prefixes`` stands for the unit without a prefix."""
    rungs = []
    for position, letter in enumerate(prefixes):
        plain = letter.replace("_", "")
        scale = float(f"1e{PREFIX_EXPONENT[plain]}")
        rungs.append(
            Rung(start=0.0 if position == 0 else scale, scale=scale, label=_PREFIX_SHOWN[plain] + symbol)
        )
    return tuple(rungs)


def one_rung(symbol: str) -> tuple[Rung, ...]:
    """A ladder of one printed unit, the stored one."""
    return (Rung(start=0.0, scale=1.0, label=symbol),)


def marks(letters: str, own: Mapping[str, int]) -> dict[str, int]:
    """Letters that may stand for the decimal point: prefixes, and the unit's own letter."""
    powers = {letter: PREFIX_EXPONENT[letter] for letter in letters}
    if "k" in powers:
        powers["K"] = 3
    return powers | dict(own)
