"""Powder cores under direct current: the gap is spread through them, and they saturate gently."""

from __future__ import annotations

from math import pi
from typing import Final

from subwright.physics.bounds import require

__all__ = ["EXPONENT", "biased_flux_t", "field_a_per_m", "kept_share", "kept_turns"]

EXPONENT: Final = 1.7
"""How sharply permeability falls; from memory of makers' curves, which it follows within some per cent."""
_MU_0: Final = 4e-7 * pi
_STEPS: Final = 32  # of Simpson's rule: the curve is smooth


def field_a_per_m(turns: int, current_a: float, path_m: float) -> float:
    """Field in a closed ring.

    Parameters
    ----------
    turns : whole number, >= 1.
    current_a : A, >= 0.
    path_m : effective length, m, > 0.

    Returns
    -------
    ``N I/l``, A/m.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ampère's law. [mclyman-handbook]

    >>> round(field_a_per_m(50, 4.0, 0.05027))  # 50 Oe
    3979
    """
    require("turns", turns, "", at_least=1)
    require("current", current_a, "A", at_least=0.0)
    require("path", path_m, "m", above=0.0)
    return turns * current_a / path_m


def kept_share(field_a_per_m: float, half_a_per_m: float) -> float:
    """Share of the initial permeability that is left under a steady field.

    Parameters
    ----------
    field_a_per_m : A/m, >= 0.
    half_a_per_m : field at which half is left, A/m, > 0.

    Returns
    -------
    ``1/(1 + (H/H_half)^1.7)``, dimensionless, at most 1.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    The form ``1/(a + b H^c)`` in which makers print their curves, normalised; exponent from memory. [derived]

    >>> kept_share(0.0, 4100.0), kept_share(4100.0, 4100.0)
    (1.0, 0.5)
    """
    require("field", field_a_per_m, "A/m", at_least=0.0)
    require("field of half permeability", half_a_per_m, "A/m", above=0.0)
    return float(1.0 / (1.0 + (field_a_per_m / half_a_per_m) ** EXPONENT))


def biased_flux_t(mu_i: float, field_a_per_m: float, half_a_per_m: float) -> float:
    """Flux density at a field: the permeability's integral over it.

    Parameters
    ----------
    mu_i : initial permeability, dimensionless, > 0.
    field_a_per_m : A/m, >= 0.
    half_a_per_m : field at which half the permeability is left, A/m, > 0.

    Returns
    -------
    T, by Simpson's rule.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Incremental permeability is the slope of the magnetisation curve. [derived]

    >>> round(biased_flux_t(75.0, 1000.0, 4100.0), 4)
    0.0912
    """
    require("permeability", mu_i, "", above=0.0)
    require("field", field_a_per_m, "A/m", at_least=0.0)
    step = field_a_per_m / _STEPS
    weights = (1.0, *(4.0 if k % 2 else 2.0 for k in range(1, _STEPS)), 1.0)
    total = sum(w * kept_share(k * step, half_a_per_m) for k, w in enumerate(weights))
    return _MU_0 * mu_i * total * step / 3.0


def kept_turns(
    per_turn_h: float, inductance_h: float, current_a: float, path_m: float, half_a_per_m: float, most: int
) -> int:
    """Least turns that still have an inductance at a current.

    Parameters
    ----------
    per_turn_h : inductance of one turn without current, H, > 0.
    inductance_h : wanted at the current, H, > 0.
    current_a : A, >= 0.
    path_m : effective length, m, > 0.
    half_a_per_m : field at which half the permeability is left, A/m, > 0.
    most : turns to try, >= 1.

    Returns
    -------
    whole turns; 0 where no number up to ``most`` has so much, for more turns saturate the core sooner.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``A_L N² kept(N I/l)``, turn by turn. [mclyman-handbook]

    >>> kept_turns(100e-9, 100e-6, 0.0, 0.1, 4100.0, 100), kept_turns(100e-9, 100e-6, 10.0, 0.1, 4100.0, 100)
    (32, 49)
    """
    require("inductance of a turn", per_turn_h, "H", above=0.0)
    require("inductance", inductance_h, "H", above=0.0)
    require("most turns", most, "", at_least=1)
    first = max(1, int((inductance_h / per_turn_h) ** 0.5))
    for turns in range(first, most + 1):
        left = kept_share(field_a_per_m(turns, current_a, path_m), half_a_per_m)
        if per_turn_h * turns**2 * left >= inductance_h:
            return turns
    return 0
