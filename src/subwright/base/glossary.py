"""The records of the glossary: every dimension, its stored unit, the units read and the units shown.

Source
------
[si-brochure] for units and prefixes; [iec-60062] for the letters used as decimal marks.
"""

from __future__ import annotations

from subwright.base.scales import (
    Quantity,
    Rung,
    UnitScale,
    factors,
    ladder,
    marks,
    one_rung,
    prefixed,
    tens,
)

__all__ = ["ALL"]

_INCH = 0.0254
_FOOT = 0.3048
_POUND = 0.45359237
_PSI = _POUND * 9.80665 / _INCH**2

ALL: tuple[Quantity, ...] = (
    Quantity(
        name="voltage",
        unit="V",
        example="12 V",
        units=prefixed("numk", "V"),
        marks=marks("", {"V": 0}),
        ladder=ladder("num_k", "V"),
    ),
    Quantity(
        name="current",
        unit="A",
        example="30 A",
        units=prefixed("pnumk", "A"),
        marks=marks("", {"A": 0}),
        ladder=ladder("pnum_k", "A"),
    ),
    Quantity(
        name="power",
        unit="W",
        example="250 W",
        units=prefixed("numkM", "W"),
        marks=marks("", {"W": 0}),
        ladder=ladder("num_kM", "W"),
    ),
    Quantity(
        name="energy",
        unit="J",
        example="50 mJ",
        units=prefixed("numkM", "J") | factors({"Wh": 3600.0, "mWh": 3.6, "kWh": 3.6e6}),
        ladder=ladder("num_kM", "J"),
    ),
    Quantity(
        name="resistance",
        unit="Ω",
        example="4.7 kΩ",
        units=prefixed("numkMG", "ohm", "Ohm", "ohms", "OHM")
        | tens({"R": 0, "n": -9, "u": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9}),
        marks=marks("umkMG", {"R": 0}),
        ladder=ladder("num_kMG", "Ω"),
    ),
    Quantity(
        name="capacitance",
        unit="F",
        example="100 nF",
        units=prefixed("pnum", "F") | tens({"p": -12, "n": -9, "u": -6, "m": -3}),
        marks=marks("pnum", {"F": 0}),
        # The trade counts electrolytics in thousands of microfarads, so the ladder skips millifarads.
        ladder=ladder("pnu_", "F"),
    ),
    Quantity(
        name="inductance",
        unit="H",
        example="22 µH",
        units=prefixed("pnum", "H") | tens({"p": -12, "n": -9, "u": -6, "m": -3}),
        marks=marks("pnum", {"H": 0}),
        ladder=ladder("pnum_", "H"),
    ),
    Quantity(
        name="frequency",
        unit="Hz",
        example="80 Hz",
        units=prefixed("kMG", "Hz"),
        ladder=ladder("_kMG", "Hz"),
    ),
    Quantity(
        name="time",
        unit="s",
        example="20 ms",
        units=prefixed("pnum", "s") | factors({"min": 60.0, "h": 3600.0, "years": 31557600.0}),
        ladder=(
            *ladder("pnum_", "s"),
            Rung(start=120.0, scale=60.0, label="min"),
            Rung(start=7200.0, scale=3600.0, label="h"),
            Rung(start=63115200.0, scale=31557600.0, label="years"),
        ),
    ),
    Quantity(
        name="length",
        unit="m",
        example="18 mm",
        units=prefixed("numk", "m")
        | tens({"cm": -2})
        | factors({"in": _INCH, '"': _INCH, "ft": _FOOT, "'": _FOOT, "mil": _INCH / 1000.0}),
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
        units=tens({"m2": 0, "mm2": -6, "cm2": -4, "dm2": -2, "um2": -12, "sqmm": -6, "sqcm": -4, "sqm": 0})
        | factors({"in2": _INCH**2, "sqin": _INCH**2, "ft2": _FOOT**2, "sqft": _FOOT**2})
        | factors({"cmil": 0.25 * 3.141592653589793 * (_INCH / 1000.0) ** 2}),
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
        units=tens({"m3": 0, "l": -3, "L": -3, "dm3": -3, "ml": -6, "mL": -6, "cl": -5, "cm3": -6, "mm3": -9})
        | factors({"cuft": _FOOT**3, "ft3": _FOOT**3, "cuin": _INCH**3, "in3": _INCH**3}),
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
        units=tens({"kg": 0, "g": -3, "mg": -6}) | factors({"lb": _POUND, "oz": _POUND / 16.0}),
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
        ladder=one_rung("°C"),
        decimals=1,
    ),
    Quantity(
        name="temperature difference",
        unit="K",
        example="40 K",
        units=tens({"K": 0, "mK": -3}),
        ladder=one_rung("K"),
    ),
    Quantity(
        name="thermal resistance",
        unit="K/W",
        example="1.5 K/W",
        units={"K/W": UnitScale(), "degC/W": UnitScale(), "C/W": UnitScale(), "mK/W": UnitScale(exponent=-3)},
        ladder=one_rung("K/W"),
    ),
    Quantity(
        name="thermal capacity",
        unit="J/K",
        example="12 J/K",
        units={"J/K": UnitScale(), "J/degC": UnitScale(), "kJ/K": UnitScale(exponent=3)},
        ladder=one_rung("J/K"),
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
        ladder=ladder("um_", "W/K"),
    ),
    Quantity(
        name="flux density",
        unit="T",
        example="200 mT",
        units=prefixed("um", "T") | tens({"G": -4, "kG": -1}),
        ladder=ladder("um_", "T"),
    ),
    Quantity(
        name="charge",
        unit="C",
        example="60 nC",
        units=prefixed("pnum", "C"),
        ladder=ladder("pnum_", "C"),
    ),
    Quantity(
        name="level", unit="dB", example="3 dB", units=tens({"dB": 0}), ladder=one_rung("dB"), decimals=2
    ),
    Quantity(
        name="ratio",
        unit="",
        example="0.05",
        units={"": UnitScale(), "%": UnitScale(exponent=-2), "ppm": UnitScale(exponent=-6)},
        ladder=one_rung(""),
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
        ladder=one_rung("m/s"),
    ),
    Quantity(
        name="speed per volt",
        unit="m/s/V",
        example="0.05 m/s/V",
        units=prefixed("um", "m/s/V"),
        ladder=ladder("um_", "m/s/V"),
    ),
    Quantity(
        name="acceleration",
        unit="m/s²",
        example="9.81 m/s²",
        units={"m/s2": UnitScale(), "g": UnitScale(factor=9.80665)},
        ladder=one_rung("m/s²"),
    ),
    Quantity(
        name="pressure",
        unit="Pa",
        example="101.3 kPa",
        units=prefixed("umkMG", "Pa") | factors({"bar": 1e5, "mbar": 100.0, "hPa": 100.0, "psi": _PSI}),
        ladder=ladder("um_kMG", "Pa"),
    ),
    Quantity(
        name="modulus",
        unit="Pa",
        example="4 GPa",
        units=prefixed("kMG", "Pa") | {"N/mm2": UnitScale(exponent=6)},
        ladder=ladder("_kMG", "Pa"),
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
        ladder=one_rung("kg/s"),
    ),
    Quantity(
        name="force factor",
        unit="T·m",
        example="14 T·m",
        units=tens({"Tm": 0}) | {"T*m": UnitScale(), "T.m": UnitScale(), "N/A": UnitScale()},
        ladder=one_rung("T·m"),
    ),
    Quantity(
        name="angle",
        unit="°",
        example="90°",
        units={"deg": UnitScale(), "rad": UnitScale(factor=57.29577951308232)},
        ladder=one_rung("°"),
    ),
    Quantity(
        name="battery capacity",
        unit="Ah",
        example="60 Ah",
        units={"Ah": UnitScale(), "A*h": UnitScale(), "mAh": UnitScale(exponent=-3)},
        ladder=one_rung("Ah"),
    ),
    Quantity(
        name="turns",
        unit="turns",
        example="12 turns",
        units={"": UnitScale(), "turns": UnitScale(), "turn": UnitScale()},
        ladder=one_rung("turns"),
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
        ladder=one_rung("kg/m³"),
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
        ladder=ladder("_kM", "W/m³"),
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
        ladder=ladder("um_", "Ω/m"),
    ),
    Quantity(
        name="resistivity",
        unit="Ω·m",
        example="5 Ω·m",
        units=prefixed("num", "ohmm", "ohm*m"),
        ladder=ladder("num_", "Ω·m"),
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
        units=prefixed("num", "V/rtHz"),
        ladder=ladder("num_", "V/√Hz"),
    ),
    Quantity(
        name="current noise density",
        unit="A/√Hz",
        example="2 pA/√Hz",
        units=prefixed("pnum", "A/rtHz"),
        ladder=ladder("pnum_", "A/√Hz"),
    ),
    Quantity(
        name="acoustic compliance",
        unit="m³/Pa",
        example="2e-7 m³/Pa",
        units={"m3/Pa": UnitScale(), "m5/N": UnitScale()},
        ladder=one_rung("m³/Pa"),
    ),
    Quantity(
        name="acoustic resistance",
        unit="Pa·s/m³",
        example="5000 Pa·s/m³",
        units={"Pa*s/m3": UnitScale(), "kPa*s/m3": UnitScale(exponent=3), "MPa*s/m3": UnitScale(exponent=6)},
        ladder=ladder("_kM", "Pa·s/m³"),
    ),
    Quantity(
        name="pressure sensitivity",
        unit="Pa/V",
        example="0.6 Pa/V",
        units={"Pa/V": UnitScale(), "mPa/V": UnitScale(exponent=-3)},
        ladder=ladder("m_", "Pa/V"),
    ),
    Quantity(
        name="area density",
        unit="kg/m²",
        example="12 kg/m²",
        units={"kg/m2": UnitScale(), "g/m2": UnitScale(exponent=-3)},
        ladder=one_rung("kg/m²"),
    ),
    Quantity(
        name="melting integral",
        unit="A²s",
        example="500 A²s",
        units={"A2s": UnitScale(), "A2*s": UnitScale(), "kA2s": UnitScale(factor=1e3)},
        ladder=one_rung("A²s"),
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
        ladder=one_rung("1/m"),
    ),
    Quantity(
        name="inverse volume",
        unit="1/m³",
        example="2e7 1/m³",
        units={"1/m3": UnitScale(), "1/cm3": UnitScale(exponent=6), "1/mm3": UnitScale(exponent=9)},
        ladder=one_rung("1/m³"),
    ),
    Quantity(
        name="transconductance",
        unit="A/V",
        example="20 A/V",
        units={"A/V": UnitScale(), "mA/V": UnitScale(exponent=-3), "uA/V": UnitScale(exponent=-6)},
        ladder=ladder("um_", "A/V"),
    ),
    Quantity(
        name="temperature coefficient",
        unit="1/K",
        example="100 ppm/K",
        units={"1/K": UnitScale(), "ppm/K": UnitScale(exponent=-6), "%/K": UnitScale(exponent=-2)},
        ladder=(Rung(start=0.0, scale=1e-6, label="ppm/K"), Rung(start=1e-3, scale=1e-2, label="%/K")),
    ),
)
"""Every dimension."""
