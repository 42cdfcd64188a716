"""Print values as engineers do, and code them as parts are marked.

Source
------
[si-brochure] for prefixes and spelling; [iec-60062] for the letter codes.
"""

from __future__ import annotations

import math
from functools import lru_cache

from subwright.base.errors import RangeError
from subwright.base.reading import quantity_named, with_article

__all__ = ["code", "show"]

_LARGEST = 1e100  # stored units; beyond it a print is nonsense and rounding may overflow


def show(value: float, dimension: str, digits: int = 3) -> str:
    """Print a value with the unit an engineer would pick.

    The value is rounded first and the unit chosen afterwards, so 999.6 mV is printed "1.00 V". Temperatures
    and levels are printed with a limited number of decimals instead, and never as "-0".

    Parameters
    ----------
    value : value in the stored unit of ``dimension``.
    dimension : dimension name, a key of :data:`subwright.base.quantities.QUANTITIES`.
    digits : significant digits, 1 to 15.

    Returns
    -------
    Text that :func:`parse` reads back to within the printed digits.

    Raises
    ------
    UnitError : the dimension is unknown.
    RangeError : the value is not finite, or ``digits`` is out of range.

    Source
    ------
    [si-brochure], section 5.4 on the value of a quantity: a space, and no unit prefix left to rounding.

    Examples
    --------
    >>> show(4700.0, "resistance"), show(0.038, "volume"), show(0.9996, "voltage")
    ('4.70 kΩ', '38.0 l', '1.00 V')
    """
    return _shown(float(value) + 0.0, dimension, digits)  # the sum turns −0.0 into 0.0


@lru_cache(maxsize=16_384)  # from one edit of a build to the next most of its values stay
def _shown(value: float, dimension: str, digits: int) -> str:
    quantity = quantity_named(dimension)
    if not 1 <= digits <= 15:
        raise RangeError(
            message="digits must be 1 to 15", quantity="digits", value=str(digits), limit="1 to 15"
        )
    if not abs(value) < _LARGEST:
        raise RangeError(
            message=f"{with_article(dimension)} that is not finite, or beyond all measure, can't be printed",
            quantity=dimension,
            value=repr(value),
            limit=f"{_LARGEST:.0e} {quantity.unit}".strip(),
            remedy="this is a fault of the programme; the formula that made the value should have refused",
        )
    if dimension == "turns" and value.is_integer():
        return f"{value:.0f} {'turn' if abs(value) == 1.0 else 'turns'}"
    if value == 0.0:
        return _joined("0", quantity.ladder[-1].label if len(quantity.ladder) == 1 else quantity.unit)
    rounded = float(f"{value:.{digits - 1}e}")
    rung = quantity.ladder[0]
    for step in quantity.ladder[1:]:
        if abs(rounded) < step.start * (1.0 - 1e-12):
            break
        rung = step
    # In a ladder of tens the rounded value divides exactly to a bit. Elsewhere, and where the decimals are
    # limited, the number is rounded once, from the value itself.
    once = quantity.decimals is not None or not _is_ten(rung.scale)
    number = _fixed((value if once else rounded) / rung.scale, digits, quantity.decimals)
    return _joined(number, rung.label)


@lru_cache(maxsize=128)  # a few dozen rungs in all
def _is_ten(scale: float) -> bool:
    return scale == float(f"1e{round(math.log10(scale))}")


def _joined(number: str, label: str) -> str:
    return f"{number}{label}" if label in ("", "°") else f"{number} {label}"


def _fixed(value: float, digits: int, most_decimals: int | None) -> str:
    """Significant digits without an exponent wherever that stays readable."""
    exponent = int(f"{value:.{digits - 1}e}".partition("e")[2])
    decimals = digits - 1 - exponent
    if most_decimals is not None:
        decimals = min(decimals, max(0, most_decimals + digits - 3))
    elif exponent < -4 or exponent > 14:
        return f"{value:.{digits - 1}e}"
    if decimals < 0:
        value = round(value, decimals)
    text = f"{value:.{max(0, decimals)}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


_CODE_MARKS: dict[str, tuple[tuple[int, str], ...]] = {
    "resistance": ((9, "G"), (6, "M"), (3, "k"), (0, "R")),
    "capacitance": ((0, "F"), (-3, "m"), (-6, "u"), (-9, "n"), (-12, "p")),
    "inductance": ((0, "H"), (-3, "m"), (-6, "u"), (-9, "n")),
    "voltage": ((0, "V"),),
}
_CODE_RANGE: dict[str, tuple[float, float]] = {
    "resistance": (1e-4, 1e12),
    "capacitance": (1e-14, 1e3),
    "inductance": (1e-11, 1e3),
    "voltage": (1e-2, 1e4),
}


def code(value: float, dimension: str) -> str:
    """Letter and digit code of a part's value, the letter standing where the decimal point would.

    Parameters
    ----------
    value : resistance in Ω, capacitance in F, inductance in H or voltage in V, in the range of real parts and
        of at most four significant digits, as every preferred value is.
    dimension : "resistance", "capacitance", "inductance" or "voltage".

    Returns
    -------
    The code: "4k7", "2R2", "R47", "100n".

    Raises
    ------
    RangeError : no part has such a value, it has more than four significant digits, or the dimension has no
        code.

    Source
    ------
    [iec-60062], clause 4; the small letter k is common practice where the standard prints K.

    Examples
    --------
    >>> code(4700.0, "resistance"), code(0.47, "resistance"), code(100e-9, "capacitance")
    ('4k7', 'R47', '100n')
    """
    marks = _CODE_MARKS.get(dimension)
    if marks is None:
        raise RangeError(
            message=f"there is no letter code for {with_article(dimension)}",
            quantity="dimension",
            value=dimension,
            limit=", ".join(_CODE_MARKS),
            source="iec-60062",
        )
    low, high = _CODE_RANGE[dimension]
    if not low <= value < high:
        raise RangeError(
            message=f"no part is marked with this {dimension}",
            quantity=dimension,
            value=repr(value),
            limit=f"{show(low, dimension)} to {show(high, dimension)}",
            source="iec-60062",
        )
    mantissa, _, exponent = f"{value:.3e}".partition("e")
    if abs(float(f"{mantissa}e{exponent}") / value - 1.0) > 1e-9:
        raise RangeError(
            message=f"{value!r} has more than four significant digits, so it is no preferred value",
            quantity=dimension,
            value=repr(value),
            limit="four significant digits",
            source="iec-60062",
            remedy="choose a preferred value before coding it",
        )
    power = int(exponent)
    mark_power, mark = next(((p, m) for p, m in marks if power >= p), marks[-1])
    digits = mantissa.replace(".", "")
    shift = power - mark_power + 1  # digits before the mark
    if shift <= 0:
        whole, part = "", "0" * -shift + digits
    else:
        digits = digits.ljust(shift, "0")
        whole, part = digits[:shift], digits[shift:]
    return f"{whole}{mark}{part.rstrip('0')}"
