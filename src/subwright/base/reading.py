"""Read values as people write them, and say what was probably meant when they can't be read.

Source
------
[si-brochure] for prefixes and spelling; [iec-60062] for the letter codes.
"""

from __future__ import annotations

import math
import re
from difflib import get_close_matches
from functools import lru_cache

from subwright.base.errors import RangeError, UnitError
from subwright.base.gauge import awg_area, awg_diameter
from subwright.base.quantities import QUANTITIES, Quantity, UnitScale

__all__ = ["parse", "quantity_named", "with_article"]

_LONGEST = 60  # characters; longer text is not a value
_QUOTED = 24  # characters of a refused text that a message repeats

_PLAIN = re.compile(
    r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))((?:[eE][+-]?[0-9]{1,3})?)(\s.*|[^0-9\s.].*)?", re.DOTALL
)
_FRACTION = re.compile(r"([+-]?)(?:([0-9]+)\s+)?([0-9]+)\s?/\s?([0-9]+)\s*([^0-9/.].*)?", re.DOTALL)
_MARKED = re.compile(r"([+-]?)([0-9]*)([A-Za-z])([0-9]+)\s?([A-Za-z]*)")
_GAUGE = re.compile(r"(?:awg\s*([0-9]+)(/0)?)|(?:([0-9]+)(/0)?\s*awg)", re.IGNORECASE)
_ZEROS = re.compile(r"(?:awg\s*(0{2,4}))|(?:(0{2,4})\s*awg)", re.IGNORECASE)
_FEET_INCHES = re.compile(
    r"([0-9]+)\s*(?:ft|')\s*([0-9]+(?:\.[0-9]+)?|[0-9]+/[0-9]+|[0-9]+\s+[0-9]+/[0-9]+)\s*(?:in|\")"
)
_COMMA = re.compile(r"([+-]?)([0-9]*),([0-9]+)(.*)", re.DOTALL)

_TO_ASCII = str.maketrans(
    {
        "\u00b5": "u",
        "\u03bc": "u",
        "\u03a9": "ohm",
        "\u2126": "ohm",
        "²": "2",
        "³": "3",
        "−": "-",
        "°": "deg",
        "º": "deg",
        "℃": "degC",
        "℉": "degF",
        "·": "*",
        "⋅": "*",
        "×": "*",
        "″": '"',
        "”": '"',
        "′": "'",
        "’": "'",
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "√": "rt",
        "\u00a0": " ",
        "\u2007": " ",
        "\u2009": " ",
        "\u202f": " ",
    }
)

_SPELT_OUT = {
    "volt": "V",
    "amp": "A",
    "ampere": "A",
    "watt": "W",
    "joule": "J",
    "ohm": "Ω",
    "farad": "F",
    "microfarad": "µF",
    "mfd": "µF",
    "uf": "µF",
    "nf": "nF",
    "pf": "pF",
    "henry": "H",
    "henries": "H",
    "hertz": "Hz",
    "kilohertz": "kHz",
    "cps": "Hz",
    "second": "s",
    "sec": "s",
    "minute": "min",
    "hour": "h",
    "hr": "h",
    "meter": "m",
    "metre": "m",
    "millimeter": "mm",
    "millimetre": "mm",
    "centimeter": "cm",
    "centimetre": "cm",
    "inch": "in",
    "inche": "in",
    "foot": "ft",
    "feet": "ft",
    "liter": "l",
    "litre": "l",
    "gram": "g",
    "kilogram": "kg",
    "kilo": "kg",
    "pound": "lb",
    "lbs": "lb",
    "ounce": "oz",
    "celsius": "°C",
    "centigrade": "°C",
    "fahrenheit": "°F",
    "kelvin": "K",
    "tesla": "T",
    "gauss": "G",
    "decibel": "dB",
    "percent": "%",
    "pct": "%",
    "pascal": "Pa",
    "degree": "°",
    "radian": "rad",
    "coulomb": "C",
    "cc": "cm³",
    "cubic feet": "cuft",
    "sqmm": "mm²",
}


def quantity_named(dimension: str) -> Quantity:
    """The glossary's record of a dimension.

    Parameters
    ----------
    dimension : dimension name, a key of :data:`subwright.base.quantities.QUANTITIES`.

    Returns
    -------
    The record.

    Raises
    ------
    UnitError : there is no such dimension; the message names a near one.
    """
    try:
        return QUANTITIES[dimension]
    except KeyError:
        near = get_close_matches(dimension, QUANTITIES, n=1)
        raise UnitError(
            message=f"there is no dimension called {dimension!r}",
            remedy=f"did you mean {near[0]!r}?" if near else "see QUANTITIES in base/quantities.py",
        ) from None


def parse(text: str | float, dimension: str) -> float:
    """Read a value with its unit.

    Reads decimal numbers ("18 mm"), the letter code of parts ("4k7", "R47"), fractions ("1 1/2 in"), feet
    and inches, wire gauges for a length (diameter) or an area (section), percentages for ratios, and a
    decimal comma where it can't be a thousands separator. A float or int is taken to be in the stored unit.

    Parameters
    ----------
    text : the value as written, or a number in the stored unit of ``dimension``.
    dimension : dimension name, a key of :data:`subwright.base.quantities.QUANTITIES`.

    Returns
    -------
    The value in the stored unit: SI, but °C, degrees, ampere-hours and decibels for those dimensions.

    Raises
    ------
    UnitError : the text is no number, its unit is missing, unknown or of another dimension, or a decimal
        comma is ambiguous.
    RangeError : the value is not finite.

    Source
    ------
    [iec-60062], clause on letter and digit codes, for "4k7"; [astm-b258] for wire gauges.

    Examples
    --------
    >>> parse("4k7", "resistance"), parse("1 1/2 in", "length"), parse("185 F", "temperature")
    (4700.0, 0.038099999999999995, 85.0)
    """
    if isinstance(text, str):
        return _parse_text(text, dimension)
    quantity_named(dimension)
    if isinstance(text, bool):
        raise UnitError(
            message=f"{with_article(dimension)} is wanted, not true or false",
            quantity=dimension,
            value=str(text).lower(),
            remedy=f'write a value such as "{QUANTITIES[dimension].example}"',
        )
    return _finite(float(text), dimension, repr(text))


def _finite(value: float, dimension: str, text: str) -> float:
    if not math.isfinite(value):
        raise RangeError(
            message=f"the {dimension} {text} is not a finite number",
            quantity=dimension,
            value=text,
            limit="finite numbers",
            remedy=f'write a value such as "{QUANTITIES[dimension].example}"',
        )
    return value + 0.0  # turns −0.0 into 0.0


@lru_cache(maxsize=4096)
def _parse_text(text: str, dimension: str) -> float:
    quantity = quantity_named(dimension)
    if len(text) > _LONGEST:
        raise _unreadable(text, quantity, "the text is too long to be a value")
    plain = text if text.isascii() else text.translate(_TO_ASCII)
    plain = plain.strip()
    if "," in plain:
        plain = _decimal_comma(plain, text, quantity)
    match = _PLAIN.fullmatch(plain)
    if match is not None:
        number, power, unit = match.groups(default="")
        scale = quantity.units.get(unit) or quantity.units.get("".join(unit.replace("^", "").split()))
        if scale is not None:
            return _finite(_scaled(number, power, scale), dimension, _quoted(text))
    other = _other_spelling(plain, quantity)
    if other is not None:
        return _finite(other, dimension, _quoted(text))
    if match is None:
        raise _unreadable(text, quantity, "it does not start with a number")
    raise _wrong_unit(text, match.group(1) + match.group(2), (match.group(3) or "").strip(), quantity)


def _scaled(number: str, power: str, scale: UnitScale) -> float:
    """Value in the stored unit; the power of ten is added in decimal, so that no bit is lost to it."""
    exponent = scale.exponent + (int(power[1:]) if power else 0)
    value = float(f"{number}e{exponent}")
    if scale.factor != 1.0 or scale.offset != 0.0:
        value = value * scale.factor + scale.offset
    return value


def _decimal_comma(plain: str, text: str, quantity: Quantity) -> str:
    match = _COMMA.fullmatch(plain)
    if match is None or "," in match.group(4) or "." in match.group(4):
        raise _unreadable(text, quantity, "a value holds one decimal mark and no thousands separators")
    sign, whole, part, rest = match.groups()
    if len(part) == 3 and 1 <= len(whole) <= 3 and whole.strip("0"):
        raise UnitError(
            message=f"{_quoted(text)} can be read as {whole}.{part} or as {whole}{part}",
            quantity=quantity.name,
            value=_quoted(text),
            remedy=f'write "{sign}{whole}.{part}{rest}" or "{sign}{whole}{part}{rest}"',
        )
    return f"{sign}{whole}.{part}{rest}"


def _other_spelling(plain: str, quantity: Quantity) -> float | None:
    """Letter code, fraction, feet and inches, or wire gauge; None where the text is none of them."""
    marked = _MARKED.fullmatch(plain)
    if marked is not None and marked.group(3) in quantity.marks:
        sign, whole, mark, part, unit = marked.groups()
        scale = quantity.units.get(unit) if unit else UnitScale()
        if scale == UnitScale():
            return float(f"{sign}{whole or '0'}.{part}e{quantity.marks[mark]}")
    fraction = _FRACTION.fullmatch(plain)
    if fraction is not None:
        sign, whole, over, under, unit = fraction.groups(default="")
        scale = quantity.units.get("".join(unit.split()))
        if scale is not None and float(under) > 0.0:
            value = float(whole or "0") + float(over) / float(under)
            value = (-value if sign == "-" else value) * float(f"1e{scale.exponent}")
            return value * scale.factor + scale.offset
    if quantity.name == "length":
        feet = _FEET_INCHES.fullmatch(plain)
        if feet is not None:
            inches = _parse_text(f"{feet.group(2)} in", "length")
            return float(feet.group(1)) * 0.3048 + inches
    if quantity.name in ("length", "area"):
        return _gauge(plain, quantity)
    return None


def _gauge(plain: str, quantity: Quantity) -> float | None:
    match = _GAUGE.fullmatch(plain)
    zeros = _ZEROS.fullmatch(plain)
    if zeros is not None:
        n = 1 - len(zeros.group(1) or zeros.group(2))
    elif match is not None:
        digits = match.group(1) or match.group(3)
        n = 1 - int(digits) if match.group(2) or match.group(4) else int(digits)
    else:
        return None
    return awg_diameter(n) if quantity.name == "length" else awg_area(n)


def with_article(name: str) -> str:
    """The name with its article: "an area", "a voltage"."""
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def _quoted(text: str) -> str:
    """The text as it is quoted in a message: on one line, and cut where it is long."""
    return repr(text) if len(text) <= _QUOTED else repr(text[:_QUOTED]) + "…"


def _unreadable(text: str, quantity: Quantity, why: str) -> UnitError:
    return UnitError(
        message=f"{_quoted(text)} can't be read as {with_article(quantity.name)}: {why}",
        quantity=quantity.name,
        value=_quoted(text),
        remedy=f'write a value such as "{quantity.example}"',
    )


def _wrong_unit(text: str, number: str, unit: str, quantity: Quantity) -> UnitError:
    example = f'for example "{quantity.example}"'
    if not unit:
        return UnitError(
            message=f"the {quantity.name} {_quoted(text)} has no unit",
            quantity=quantity.name,
            value=_quoted(text),
            remedy=f"add the unit, {example}",
        )
    near = _near_unit(unit, quantity)
    others = () if near else _BELONGS_TO.get("".join(unit.split()), ())
    if others:
        owners = " or ".join(with_article(name) for name in others[:2])
        message = f"{_quoted(text)} is {owners}, not {with_article(quantity.name)}"
    else:
        message = f"{_quoted(unit)} is not a unit of {quantity.name}"
    wanted = f"write a value in {quantity.unit}" if quantity.unit else "write a plain number or a percentage"
    return UnitError(
        message=message,
        quantity=quantity.name,
        value=_quoted(text),
        remedy=f'did you mean "{number} {near}"?' if near else f"{wanted}, {example}",
    )


def _near_unit(unit: str, quantity: Quantity) -> str:
    """The accepted unit most likely meant, spelled as it is printed; "" where nothing is near."""
    compact = "".join(unit.split())
    for word in (compact.lower(), compact.lower().removesuffix("s")):
        meant = _SPELT_OUT.get(word)
        if meant is not None and meant.translate(_TO_ASCII) in quantity.units:
            return meant
    if compact not in _BELONGS_TO or compact.lower() == quantity.unit.lower():
        folded = {symbol.lower(): symbol for symbol in reversed(list(quantity.units)) if symbol}
        meant = folded.get(compact.lower(), "")
        if meant in _BARE_PREFIXES and quantity.marks:
            meant += quantity.unit.translate(_TO_ASCII)
        if meant:
            return _printed(meant)
    if compact in _BELONGS_TO:
        return ""
    near = get_close_matches(compact, [symbol for symbol in quantity.units if len(symbol) > 1], n=1)
    return _printed(near[0]) if near else ""


_BARE_PREFIXES = frozenset("pnumkKMG")


def _owners() -> dict[str, tuple[str, ...]]:
    """Unit spelling to the dimensions it belongs to; the unit-less "4.7 k" of a resistor does not count."""
    owners: dict[str, tuple[str, ...]] = {}
    for quantity in QUANTITIES.values():
        for symbol in quantity.units:
            if symbol and not (symbol in _BARE_PREFIXES and quantity.marks):
                owners[symbol] = (*owners.get(symbol, ()), quantity.name)
    return owners


_BELONGS_TO = _owners()


def _printed(symbol: str) -> str:
    """An accepted ASCII spelling as it is printed: ``"kohm"`` gives ``"kΩ"``."""
    out = symbol.replace("ohm", "Ω").replace("degC", "°C").replace("degF", "°F").replace("*", "·")
    if out[:1] == "u":
        out = "µ" + out[1:]
    return out.replace("m2", "m²").replace("m3", "m³")
