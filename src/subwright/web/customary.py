"""Printed metric values as an inch-minded reader expects them; the numbers behind them stay SI."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from types import MappingProxyType

__all__ = ["customary"]

_INCH = 0.0254
_POUND = 0.45359237
_FOOT3 = 0.028316846592

_VALUE = re.compile(r"(?<![\w.])([\u2212-]?\d+(?:\.\d+)?)[ \u00a0](mm|cm|m|ml|l|m³|g|kg|°C|m/s)(?![\w/²³·^])")


def _three(value: float) -> str:
    if value == 0.0:
        return "0"
    digits = f"{value:.3g}"
    return f"{value:.0f}" if "e" in digits else digits


def _length(metres: float) -> str:
    inches = metres / _INCH
    return f"{_three(inches)} in" if abs(inches) < 48.0 else f"{_three(inches / 12.0)} ft"


def _volume(litres: float) -> str:
    cubic_feet = litres / 1000.0 / _FOOT3
    small = abs(cubic_feet) < 0.1
    return f"{_three(litres * 1e-3 / _INCH**3)} in³" if small else f"{_three(cubic_feet)} ft³"


def _mass(kilograms: float) -> str:
    pounds = kilograms / _POUND
    return f"{_three(pounds * 16.0)} oz" if abs(pounds) < 1.0 else f"{_three(pounds)} lb"


_TO: Mapping[str, Callable[[float], str]] = MappingProxyType(
    {
        "mm": lambda v: _length(v * 1e-3),
        "cm": lambda v: _length(v * 1e-2),
        "m": _length,
        "ml": lambda v: _volume(v * 1e-3),
        "l": _volume,
        "m³": lambda v: _volume(v * 1e3),
        "g": lambda v: _mass(v * 1e-3),
        "kg": _mass,
        "°C": lambda v: f"{v * 1.8 + 32.0:.0f} °F",
        "m/s": lambda v: f"{_three(v / _INCH / 12.0)} ft/s",
    }
)


def customary(text: str) -> str:
    """Lengths, volumes, masses, speeds and temperatures of a sentence in inches and their kin.

    Copper sections (mm²) stay: cable is sold by them, and gauge numbers stand beside them where they matter.

    >>> customary("board 18.0 mm, net 19.0 l, 11.6 kg, 50.0 °C, 10.0 mm²")
    'board 0.709 in, net 0.671 ft³, 25.6 lb, 122 °F, 10.0 mm²'
    """

    def swapped(match: re.Match[str]) -> str:
        return _TO[match[2]](float(match[1].replace("\u2212", "-"))).replace("-", "\u2212")

    return _VALUE.sub(swapped, text)
