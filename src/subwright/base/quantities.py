"""The one glossary: every dimension, the unit it is stored in, the units read, and the units shown.

A stored or public field ends in a unit suffix (``rail_v``, ``volume_m3``); :func:`dimension_of` turns that
suffix into a dimension name, and the dimension name selects the record in :data:`QUANTITIES`. Values are kept
in SI units, except where the whole trade uses another one: temperature in °C, angle in degrees, battery
capacity in ampere-hours, level in decibels.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from subwright.base.errors import SubwrightError
from subwright.base.glossary import ALL
from subwright.base.scales import Quantity, Rung, UnitScale

__all__ = [
    "QUANTITIES",
    "SUFFIXES",
    "UNITS",
    "Quantity",
    "Rung",
    "UnitScale",
    "dimension_of",
    "key_of",
    "words_of",
]

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({quantity.name: quantity for quantity in ALL})
"""Dimension name to its record."""

UNITS: Mapping[str, str] = MappingProxyType({quantity.name: quantity.unit for quantity in ALL})
"""Dimension name to the symbol of the unit that values are stored in."""

SUFFIXES: Mapping[str, str] = MappingProxyType(
    {
        "_v": "voltage",
        "_a": "current",
        "_w": "power",
        "_j": "energy",
        "_ohm": "resistance",
        "_f": "capacitance",
        "_h": "inductance",
        "_hz": "frequency",
        "_s": "time",
        "_m": "length",
        "_m2": "area",
        "_m3": "volume",
        "_kg": "mass",
        "_c": "temperature",
        "_k": "temperature difference",
        "_k_per_w": "thermal resistance",
        "_j_per_k": "thermal capacity",
        "_w_per_k": "thermal conductance",
        "_t": "flux density",
        "_coul": "charge",
        "_db": "level",
        "_m_per_s": "speed",
        "_m_per_s2": "acceleration",
        "_m3_per_s": "volume velocity",
        "_pa": "pressure",
        "_m_per_n": "compliance",
        "_kg_per_s": "mechanical resistance",
        "_tm": "force factor",
        "_deg": "angle",
        "_ah": "battery capacity",
        "_turns": "turns",
        "_kg_per_m3": "density",
        "_w_per_m3": "volumetric loss",
        "_a_per_m2": "current density",
        "_ohm_per_m": "linear resistance",
        "_ohm_m": "resistivity",
        "_v_per_s": "slew rate",
        "_v_per_rthz": "noise density",
        "_a_per_rthz": "current noise density",
        "_m3_per_pa": "acoustic compliance",
        "_pa_s_per_m3": "acoustic resistance",
        "_pa_per_v": "pressure sensitivity",
        "_kg_per_m2": "area density",
        "_per_m3": "inverse volume",
        "_m_per_s_per_v": "speed per volt",
        "_a_per_v": "transconductance",
        "_a2s": "melting integral",
        "_per_m": "inverse length",
        "_per_k": "temperature coefficient",
    }
)
"""Field-name suffix to dimension name."""

_BY_LENGTH = tuple(sorted(SUFFIXES, key=len, reverse=True))
_COMPOUND = re.compile(
    r"_per_(?:v|a|w|j|ohm|f|h|hz|rthz|s2?|min|m[23]?|mm|cm|metre|kg|c|k|t|coul|db|pa|n|deg|ah)(?:_[a-z0-9]+)?$"
)


@lru_cache(maxsize=4096)  # field names: some thousand in all
def _suffix_of(field_name: str) -> str:
    """Longest known unit suffix of ``field_name``, "" where it has none."""
    for suffix in _BY_LENGTH:
        if field_name.endswith(suffix) and len(field_name) > len(suffix):
            before = field_name[: -len(suffix)]
            if before.endswith("_per"):
                raise SubwrightError(
                    message=f"the field name {field_name!r} ends in a compound unit that the glossary lacks",
                    remedy="add the suffix to SUFFIXES in base/quantities.py",
                )
            return suffix
    if _COMPOUND.search(field_name):
        raise SubwrightError(
            message=f"the field name {field_name!r} ends in a compound unit that the glossary lacks",
            remedy="add the suffix to SUFFIXES in base/quantities.py",
        )
    return ""


def dimension_of(field_name: str) -> str:
    """Dimension name that a field's unit suffix stands for.

    Parameters
    ----------
    field_name : name of a field or argument, ``"rail_v"``.

    Returns
    -------
    Dimension name, a key of :data:`QUANTITIES`; "ratio" where the name has no unit suffix.

    Raises
    ------
    SubwrightError : the name ends in ``_per_…`` of an unknown compound unit.

    Examples
    --------
    >>> dimension_of("rth_jc_k_per_w"), dimension_of("qts")
    ('thermal resistance', 'ratio')
    """
    suffix = _suffix_of(field_name)
    return SUFFIXES[suffix] if suffix else "ratio"


def key_of(field_name: str) -> str:
    """Build-file key of a field: its name without the unit suffix.

    ``_turns`` stays, because it says what is counted: ``primary_turns = 4``.

    Parameters
    ----------
    field_name : name of a field, ``"cable_length_m"``.

    Returns
    -------
    The key, ``"cable_length"``.

    Raises
    ------
    SubwrightError : the name ends in ``_per_…`` of an unknown compound unit.
    """
    suffix = _suffix_of(field_name)
    return field_name[: -len(suffix)] if suffix and suffix != "_turns" else field_name


def words_of(field_name: str) -> str:
    """A field's name as words for a message: ``"cable_length_m"`` gives ``"cable length"``."""
    return key_of(field_name).replace("_", " ")
