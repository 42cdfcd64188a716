"""The one glossary: every dimension, the unit it is stored in, the units read, and the units shown.

A stored or public field ends in a unit suffix (``rail_v``, ``volume_m3``); :func:`dimension_of` turns that
suffix into a dimension name, and the dimension name selects the record in :data:`QUANTITIES`. Values are kept
in SI units, except where the whole trade uses another one: temperature in °C, angle in degrees, battery
capacity in ampere-hours, level in decibels.

Source
------
[si-brochure] for units and prefixes; [iec-60062] for the letters used as decimal marks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from subwright.base.errors import SubwrightError

__all__ = [
    "PREFIX_EXPONENT",
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


def _prefixed(prefixes: str, *symbols: str) -> dict[str, UnitScale]:
    """Unit spellings for each symbol with each one-letter prefix and without; ``K`` is read as ``k``."""
    letters = ["", *prefixes]
    if "k" in letters:
        letters.append("K")
    return {
        letter + symbol: UnitScale(exponent=PREFIX_EXPONENT[letter])
        for symbol in symbols
        for letter in letters
    }


def _tens(**exponents: int) -> dict[str, UnitScale]:
    return {symbol: UnitScale(exponent=exponent) for symbol, exponent in exponents.items()}


def _factors(pairs: Mapping[str, float]) -> dict[str, UnitScale]:
    return {symbol: UnitScale(factor=factor) for symbol, factor in pairs.items()}


def _ladder(prefixes: str, symbol: str) -> tuple[Rung, ...]:
    """Rungs at each thousand; "_" in ``prefixes`` stands for the unit without a prefix."""
    rungs = []
    for position, letter in enumerate(prefixes):
        plain = letter.replace("_", "")
        scale = float(f"1e{PREFIX_EXPONENT[plain]}")
        rungs.append(
            Rung(start=0.0 if position == 0 else scale, scale=scale, label=_PREFIX_SHOWN[plain] + symbol)
        )
    return tuple(rungs)


def _one(symbol: str) -> tuple[Rung, ...]:
    return (Rung(start=0.0, scale=1.0, label=symbol),)


def _marks(letters: str, **own: int) -> dict[str, int]:
    marks = {letter: PREFIX_EXPONENT[letter] for letter in letters}
    if "k" in marks:
        marks["K"] = 3
    return marks | own


_INCH = 0.0254
_FOOT = 0.3048
_POUND = 0.45359237
_PSI = _POUND * 9.80665 / _INCH**2

_ALL: tuple[Quantity, ...] = (
    Quantity(
        name="voltage",
        unit="V",
        example="12 V",
        units=_prefixed("numk", "V"),
        marks=_marks("", V=0),
        ladder=_ladder("num_k", "V"),
    ),
    Quantity(
        name="current",
        unit="A",
        example="30 A",
        units=_prefixed("pnumk", "A"),
        marks=_marks("", A=0),
        ladder=_ladder("pnum_k", "A"),
    ),
    Quantity(
        name="power",
        unit="W",
        example="250 W",
        units=_prefixed("numkM", "W"),
        marks=_marks("", W=0),
        ladder=_ladder("num_kM", "W"),
    ),
    Quantity(
        name="energy",
        unit="J",
        example="50 mJ",
        units=_prefixed("numkM", "J") | _factors({"Wh": 3600.0, "mWh": 3.6, "kWh": 3.6e6}),
        ladder=_ladder("num_kM", "J"),
    ),
    Quantity(
        name="resistance",
        unit="Ω",
        example="4.7 kΩ",
        units=_prefixed("numkMG", "ohm", "Ohm", "ohms", "OHM")
        | _tens(R=0, n=-9, u=-6, m=-3, k=3, K=3, M=6, G=9),
        marks=_marks("umkMG", R=0),
        ladder=_ladder("num_kMG", "Ω"),
    ),
    Quantity(
        name="capacitance",
        unit="F",
        example="100 nF",
        units=_prefixed("pnum", "F") | _tens(p=-12, n=-9, u=-6, m=-3),
        marks=_marks("pnum", F=0),
        # The trade counts electrolytics in thousands of microfarads, so the ladder skips millifarads.
        ladder=_ladder("pnu_", "F"),
    ),
    Quantity(
        name="inductance",
        unit="H",
        example="22 µH",
        units=_prefixed("pnum", "H") | _tens(p=-12, n=-9, u=-6, m=-3),
        marks=_marks("pnum", H=0),
        ladder=_ladder("pnum_", "H"),
    ),
    Quantity(
        name="frequency",
        unit="Hz",
        example="80 Hz",
        units=_prefixed("kMG", "Hz"),
        ladder=_ladder("_kMG", "Hz"),
    ),
    Quantity(
        name="time",
        unit="s",
        example="20 ms",
        units=_prefixed("pnum", "s") | _factors({"min": 60.0, "h": 3600.0}),
        ladder=(
            *_ladder("pnum_", "s"),
            Rung(start=120.0, scale=60.0, label="min"),
            Rung(start=7200.0, scale=3600.0, label="h"),
        ),
    ),
    Quantity(
        name="length",
        unit="m",
        example="18 mm",
        units=_prefixed("numk", "m")
        | _tens(cm=-2)
        | _factors({"in": _INCH, '"': _INCH, "ft": _FOOT, "'": _FOOT, "mil": _INCH / 1000.0}),
        ladder=(
            Rung(start=0.0, scale=1e-9, label="nm"),
            Rung(start=1e-6, scale=1e-6, label="µm"),
            Rung(start=1e-4, scale=1e-3, label="mm"),
            Rung(start=1.0, scale=1.0, label="m"),
            Rung(start=1e4, scale=1e3, label="km"),
        ),
    ),
    Quantity(
        name="area",
        unit="m²",
        example="2.5 mm²",
        units=_tens(m2=0, mm2=-6, cm2=-4, dm2=-2, um2=-12, sqmm=-6, sqcm=-4, sqm=0)
        | _factors({"in2": _INCH**2, "sqin": _INCH**2, "ft2": _FOOT**2, "sqft": _FOOT**2})
        | _factors({"cmil": 0.25 * 3.141592653589793 * (_INCH / 1000.0) ** 2}),
        ladder=(
            Rung(start=0.0, scale=1e-12, label="µm²"),
            Rung(start=1e-10, scale=1e-6, label="mm²"),
            Rung(start=1e-3, scale=1e-4, label="cm²"),
            Rung(start=1.0, scale=1.0, label="m²"),
        ),
    ),
    Quantity(
        name="volume",
        unit="m³",
        example="38 l",
        units=_tens(m3=0, l=-3, L=-3, dm3=-3, ml=-6, mL=-6, cl=-5, cm3=-6, mm3=-9)
        | _factors({"cuft": _FOOT**3, "ft3": _FOOT**3, "cuin": _INCH**3, "in3": _INCH**3}),
        ladder=(
            Rung(start=0.0, scale=1e-9, label="mm³"),
            Rung(start=1e-6, scale=1e-6, label="cm³"),
            Rung(start=1e-3, scale=1e-3, label="l"),
            Rung(start=1.0, scale=1.0, label="m³"),
        ),
    ),
    Quantity(
        name="mass",
        unit="kg",
        example="95 g",
        units=_tens(kg=0, g=-3, mg=-6) | _factors({"lb": _POUND, "oz": _POUND / 16.0}),
        ladder=(
            Rung(start=0.0, scale=1e-6, label="mg"),
            Rung(start=1e-3, scale=1e-3, label="g"),
            Rung(start=1.0, scale=1.0, label="kg"),
        ),
    ),
    Quantity(
        name="temperature",
        unit="°C",
        example="85 °C",
        units={
            "degC": UnitScale(),
            "C": UnitScale(),
            "degF": UnitScale(factor=5.0 / 9.0, offset=-160.0 / 9.0),
            "F": UnitScale(factor=5.0 / 9.0, offset=-160.0 / 9.0),
        },
        ladder=_one("°C"),
        decimals=1,
    ),
    Quantity(
        name="temperature difference",
        unit="K",
        example="40 K",
        units=_tens(K=0, mK=-3),
        ladder=_one("K"),
    ),
    Quantity(
        name="thermal resistance",
        unit="K/W",
        example="1.5 K/W",
        units={"K/W": UnitScale(), "degC/W": UnitScale(), "C/W": UnitScale(), "mK/W": UnitScale(exponent=-3)},
        ladder=_one("K/W"),
    ),
    Quantity(
        name="thermal capacity",
        unit="J/K",
        example="12 J/K",
        units={"J/K": UnitScale(), "J/degC": UnitScale(), "kJ/K": UnitScale(exponent=3)},
        ladder=_one("J/K"),
    ),
    Quantity(
        name="thermal conductance",
        unit="W/K",
        example="0.7 W/K",
        units={
            "W/K": UnitScale(),
            "mW/K": UnitScale(exponent=-3),
            "uW/K": UnitScale(exponent=-6),
            "W/degC": UnitScale(),
        },
        ladder=_ladder("um_", "W/K"),
    ),
    Quantity(
        name="flux density",
        unit="T",
        example="200 mT",
        units=_prefixed("um", "T") | _tens(G=-4, kG=-1),
        ladder=_ladder("um_", "T"),
    ),
    Quantity(
        name="charge",
        unit="C",
        example="60 nC",
        units=_prefixed("pnum", "C"),
        ladder=_ladder("pnum_", "C"),
    ),
    Quantity(name="level", unit="dB", example="3 dB", units=_tens(dB=0), ladder=_one("dB"), decimals=2),
    Quantity(
        name="ratio",
        unit="",
        example="0.05",
        units={"": UnitScale(), "%": UnitScale(exponent=-2), "ppm": UnitScale(exponent=-6)},
        ladder=_one(""),
        bare=True,
    ),
    Quantity(
        name="share",
        unit="",
        example="5 %",
        units={"": UnitScale(), "%": UnitScale(exponent=-2), "ppm": UnitScale(exponent=-6)},
        ladder=(Rung(start=0.0, scale=0.01, label="%"),),
        bare=True,
    ),
    Quantity(
        name="speed",
        unit="m/s",
        example="17 m/s",
        units={
            "m/s": UnitScale(),
            "mm/s": UnitScale(exponent=-3),
            "km/h": UnitScale(factor=1.0 / 3.6),
            "ft/s": UnitScale(factor=_FOOT),
        },
        ladder=_one("m/s"),
    ),
    Quantity(
        name="acceleration",
        unit="m/s²",
        example="9.81 m/s²",
        units={"m/s2": UnitScale(), "g": UnitScale(factor=9.80665)},
        ladder=_one("m/s²"),
    ),
    Quantity(
        name="pressure",
        unit="Pa",
        example="101.3 kPa",
        units=_prefixed("umkMG", "Pa") | _factors({"bar": 1e5, "mbar": 100.0, "hPa": 100.0, "psi": _PSI}),
        ladder=_ladder("um_kMG", "Pa"),
    ),
    Quantity(
        name="modulus",
        unit="Pa",
        example="4 GPa",
        units=_prefixed("kMG", "Pa") | {"N/mm2": UnitScale(exponent=6)},
        ladder=_ladder("_kMG", "Pa"),
    ),
    Quantity(
        name="compliance",
        unit="m/N",
        example="0.25 mm/N",
        units={"m/N": UnitScale(), "mm/N": UnitScale(exponent=-3), "um/N": UnitScale(exponent=-6)},
        ladder=(
            Rung(start=0.0, scale=1e-6, label="µm/N"),
            Rung(start=1e-5, scale=1e-3, label="mm/N"),
            Rung(start=1.0, scale=1.0, label="m/N"),
        ),
    ),
    Quantity(
        name="mechanical resistance",
        unit="kg/s",
        example="2.4 kg/s",
        units={"kg/s": UnitScale(), "Ns/m": UnitScale(), "N*s/m": UnitScale(), "g/s": UnitScale(exponent=-3)},
        ladder=_one("kg/s"),
    ),
    Quantity(
        name="force factor",
        unit="T·m",
        example="14 T·m",
        units=_tens(Tm=0) | {"T*m": UnitScale(), "T.m": UnitScale(), "N/A": UnitScale()},
        ladder=_one("T·m"),
    ),
    Quantity(
        name="angle",
        unit="°",
        example="90°",
        units={"deg": UnitScale(), "rad": UnitScale(factor=57.29577951308232)},
        ladder=_one("°"),
    ),
    Quantity(
        name="battery capacity",
        unit="Ah",
        example="60 Ah",
        units={"Ah": UnitScale(), "A*h": UnitScale(), "mAh": UnitScale(exponent=-3)},
        ladder=_one("Ah"),
    ),
    Quantity(
        name="turns",
        unit="turns",
        example="12 turns",
        units={"": UnitScale(), "turns": UnitScale(), "turn": UnitScale()},
        ladder=_one("turns"),
        bare=True,
    ),
    Quantity(
        name="density",
        unit="kg/m³",
        example="680 kg/m³",
        units={
            "kg/m3": UnitScale(),
            "g/cm3": UnitScale(exponent=3),
            "kg/dm3": UnitScale(exponent=3),
            "kg/l": UnitScale(exponent=3),
            "lb/ft3": UnitScale(factor=_POUND / _FOOT**3),
        },
        ladder=_one("kg/m³"),
    ),
    Quantity(
        name="volumetric loss",
        unit="W/m³",
        example="100 kW/m³",
        units={
            "W/m3": UnitScale(),
            "kW/m3": UnitScale(exponent=3),
            "MW/m3": UnitScale(exponent=6),
            "mW/cm3": UnitScale(exponent=3),
            "W/cm3": UnitScale(exponent=6),
        },
        ladder=_ladder("_kM", "W/m³"),
    ),
    Quantity(
        name="current density",
        unit="A/m²",
        example="4 A/mm²",
        units={"A/m2": UnitScale(), "A/mm2": UnitScale(exponent=6), "A/cm2": UnitScale(exponent=4)},
        ladder=(Rung(start=0.0, scale=1e6, label="A/mm²"),),
    ),
    Quantity(
        name="linear resistance",
        unit="Ω/m",
        example="7.6 mΩ/m",
        units={
            "ohm/m": UnitScale(),
            "mohm/m": UnitScale(exponent=-3),
            "uohm/m": UnitScale(exponent=-6),
            "ohm/km": UnitScale(exponent=-3),
        },
        ladder=_ladder("um_", "Ω/m"),
    ),
    Quantity(
        name="resistivity",
        unit="Ω·m",
        example="5 Ω·m",
        units=_prefixed("num", "ohmm", "ohm*m"),
        ladder=_ladder("num_", "Ω·m"),
    ),
    Quantity(
        name="slew rate",
        unit="V/s",
        example="0.5 V/µs",
        units={"V/s": UnitScale(), "V/us": UnitScale(exponent=6), "V/ms": UnitScale(exponent=3)},
        ladder=(
            Rung(start=0.0, scale=1.0, label="V/s"),
            Rung(start=1e3, scale=1e3, label="V/ms"),
            Rung(start=1e5, scale=1e6, label="V/µs"),
        ),
    ),
    Quantity(
        name="noise density",
        unit="V/√Hz",
        example="8 nV/√Hz",
        units=_prefixed("num", "V/rtHz"),
        ladder=_ladder("num_", "V/√Hz"),
    ),
    Quantity(
        name="melting integral",
        unit="A²s",
        example="500 A²s",
        units={"A2s": UnitScale(), "A2*s": UnitScale(), "kA2s": UnitScale(factor=1e3)},
        ladder=_one("A²s"),
    ),
    Quantity(
        name="volume velocity",
        unit="m³/s",
        example="20 l/s",
        units={"m3/s": UnitScale(), "l/s": UnitScale(exponent=-3)},
        ladder=(Rung(start=0.0, scale=1e-3, label="l/s"), Rung(start=1.0, scale=1.0, label="m³/s")),
    ),
    Quantity(
        name="inverse length",
        unit="1/m",
        example="500 1/m",
        units={"1/m": UnitScale(), "1/mm": UnitScale(exponent=3), "1/cm": UnitScale(exponent=2)},
        ladder=_one("1/m"),
    ),
    Quantity(
        name="temperature coefficient",
        unit="1/K",
        example="100 ppm/K",
        units={"1/K": UnitScale(), "ppm/K": UnitScale(exponent=-6), "%/K": UnitScale(exponent=-2)},
        ladder=(Rung(start=0.0, scale=1e-6, label="ppm/K"), Rung(start=1e-3, scale=1e-2, label="%/K")),
    ),
)

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({quantity.name: quantity for quantity in _ALL})
"""Dimension name to its record."""

UNITS: Mapping[str, str] = MappingProxyType({quantity.name: quantity.unit for quantity in _ALL})
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
        "_a2s": "melting integral",
        "_per_m": "inverse length",
        "_per_k": "temperature coefficient",
    }
)
"""Field-name suffix to dimension name."""

_BY_LENGTH = tuple(sorted(SUFFIXES, key=len, reverse=True))
_COMPOUND = re.compile(r"_per(_[a-z0-9]+)+$")


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
