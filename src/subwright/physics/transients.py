"""Pulses on a vehicle's supply, and what a clamping diode makes of them.

Levels are kept as data with their standard; the clamp is solved in closed form for an exponential pulse
behind a source resistance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from subwright.physics.bounds import require

__all__ = [
    "CLAMPED_DUMP_V",
    "CRANKING_V",
    "JUMP_START_V",
    "LONG_OVER_VOLTAGE_V",
    "PULSES",
    "REVERSED_V",
    "ClampedPulse",
    "Pulse",
    "absorbed_rise_v",
    "clamp_pulse",
    "lowest_bank_v",
    "pulse_power_limit_w",
]

_TEN_PERCENT: Final = math.log(10.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Pulse:
    """A test pulse on top of the supply.

    Attributes
    ----------
    name : of the standard. peak_v : added to the supply, V; negative pulses below zero.
    source_ohm : of the generator, Ω. width_s : from the start until a tenth is left, s.
    source : bibliography key.
    """

    name: str
    peak_v: float
    source_ohm: float
    width_s: float
    source: Literal["iso-7637-2", "iso-16750-2"]

    @property
    def decay_s(self) -> float:
        """Time constant of the exponential, s."""
        return self.width_s / _TEN_PERCENT


def _pulse(name: str, peak_v: float, source_ohm: float, width_s: float) -> Pulse:
    standard: Literal["iso-7637-2", "iso-16750-2"] = (
        "iso-16750-2" if name.startswith("load dump") else "iso-7637-2"
    )
    return Pulse(name=name, peak_v=peak_v, source_ohm=source_ohm, width_s=width_s, source=standard)


PULSES: Final[Mapping[int, tuple[Pulse, ...]]] = MappingProxyType(
    {
        12: (
            _pulse("pulse 1", -150.0, 10.0, 2e-3),
            _pulse("pulse 2a", 112.0, 2.0, 50e-6),
            _pulse("pulse 3a", -220.0, 50.0, 150e-9),
            _pulse("pulse 3b", 150.0, 50.0, 150e-9),
            _pulse("load dump, no central clamp", 87.0, 0.5, 0.4),
        ),
        24: (
            _pulse("pulse 1", -600.0, 50.0, 1e-3),
            _pulse("pulse 2a", 112.0, 2.0, 50e-6),
            _pulse("pulse 3a", -300.0, 50.0, 150e-9),
            _pulse("pulse 3b", 300.0, 50.0, 150e-9),
            _pulse("load dump, no central clamp", 174.0, 1.0, 0.35),
        ),
    }
)
"""Severest levels. ISO 7637-2:2011 from memory, but pulse 1 at 12 V (−150 V behind 10 Ω) read in a
maker's sheet; load dump A of ISO 16750-2: 12 V 79 to 101 V, 0.5 to 4 Ω, 40 to 400 ms, less the 14 V on which
it stands; 24 V 151 to 202 V, 1 to 8 Ω, 100 to 350 ms, less 28 V (both read). The standard takes the upper
level with the upper resistance, or the lower with the lower; the upper level behind the lower resistance, as
here, is harder than either."""
CLAMPED_DUMP_V: Final[Mapping[int, float]] = MappingProxyType({12: 35.0, 24: 58.0})
"""Load dump B of ISO 16750-2, with a central clamp: 35 V read in a maker's sheet, 58 V the usual value."""
JUMP_START_V: Final[Mapping[int, float]] = MappingProxyType({12: 24.0, 24: 36.0})
"""12 V: started from a lorry, 24 V for 60 s. 24 V: the long over-voltage, 36 V for an hour. ISO 16750-2."""
LONG_OVER_VOLTAGE_V: Final[Mapping[int, float]] = MappingProxyType({12: 18.0, 24: 36.0})
"""One hour at 20 °C below the highest temperature, ISO 16750-2 (from memory)."""
REVERSED_V: Final[Mapping[int, float]] = MappingProxyType({12: -14.0, 24: -28.0})
"""Reversed battery for 60 s, ISO 16750-2 (from memory)."""
CRANKING_V: Final[Mapping[int, tuple[tuple[float, float], ...]]] = MappingProxyType(
    {
        12: ((8.0, 9.5), (4.5, 6.5), (3.0, 5.0), (6.0, 6.5)),
        24: ((10.0, 20.0), (8.0, 15.0), (6.0, 10.0)),
    }
)
"""First dip and plateau of cranking, levels I to IV (24 V: I to III), V; ISO 16750-2 (from memory)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ClampedPulse:
    """What a clamp has to take: peak voltage V and current A, energy J, and how long it conducts, s."""

    peak_v: float
    peak_a: float
    energy_j: float
    conducting_s: float

    @property
    def half_s(self) -> float:
        """Time to half value of the exponential pulse of the same peak power and energy, s."""
        power = self.peak_v * self.peak_a
        return math.log(2.0) * self.energy_j / power if power > 0 else 0.0


def clamp_pulse(
    base_v: float,
    peak_v: float,
    decay_s: float,
    source_ohm: float,
    break_v: float,
    slope_ohm: float,
) -> ClampedPulse:
    """An exponential pulse on a supply, clamped by a diode with a breakdown voltage and a slope.

    Parameters
    ----------
    base_v : supply under the pulse, V, below the breakdown.
    peak_v : added at the start, V, >= 0.
    decay_s : time constant, s, > 0.
    source_ohm : generator and cable, Ω, > 0.
    break_v : breakdown, V, > 0.
    slope_ohm : of the clamp, Ω, >= 0.

    Returns
    -------
    ClampedPulse; all but the peak voltage 0 where the pulse doesn't reach the breakdown.

    Raises
    ------
    RangeError : an argument is out of range; a supply above the breakdown would never stop conducting.

    Source
    ------
    Ohm's law on an exponential source, ``i = (V0 + Vp e^(-t/T) - Vz)/(R + r)``; energy by integration.
    [derived]

    >>> hit = clamp_pulse(14.0, 87.0, 0.174, 2.0, 40.6, 0.103)
    >>> print(f"{hit.peak_v:.1f} V {hit.peak_a:.1f} A {hit.energy_j:.0f} J")
    43.6 V 28.7 A 101 J
    """
    require("breakdown voltage", break_v, "V", above=0.0)
    require(
        "supply under the pulse",
        base_v,
        "V",
        below=break_v,
        remedy="Choose a suppressor with a higher standoff voltage.",
    )
    require("pulse voltage", peak_v, "V", at_least=0.0)
    require("decay", decay_s, "s", above=0.0)
    require("source resistance", source_ohm, "Ω", above=0.0)
    require("slope resistance", slope_ohm, "Ω", at_least=0.0)
    gap = break_v - base_v
    if peak_v <= gap:
        return ClampedPulse(peak_v=base_v + peak_v, peak_a=0.0, energy_j=0.0, conducting_s=0.0)
    total = source_ohm + slope_ohm
    time = decay_s * math.log(peak_v / gap)
    left = gap / peak_v  # e^(-time/decay)
    charge = (-gap * time + peak_v * decay_s * (1.0 - left)) / total
    square = (
        gap**2 * time
        - 2.0 * gap * peak_v * decay_s * (1.0 - left)
        + 0.5 * peak_v**2 * decay_s * (1.0 - left**2)
    ) / total**2
    current = (peak_v - gap) / total
    return ClampedPulse(
        peak_v=break_v + slope_ohm * current,
        peak_a=current,
        energy_j=break_v * charge + slope_ohm * square,
        conducting_s=time,
    )


def pulse_power_limit_w(half_s: float, power_1ms_w: float, power_10ms_w: float) -> float:
    """Pulse power that a suppressor stands for a pulse of another width.

    Straight on log scales through its two ratings, 10/1000 µs and 10/10000 µs, as the sheets' curves of peak
    power against pulse width run.

    Parameters
    ----------
    half_s : time to half value, s, > 0.
    power_1ms_w, power_10ms_w : ratings, W, > 0.

    Returns
    -------
    Peak power, W; below 10 µs that of 10 µs.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Shape of the makers' curves [common-practice].

    >>> round(pulse_power_limit_w(0.1, 1500.0, 475.0))
    150
    """
    require("pulse width", half_s, "s", above=0.0)
    require("pulse power", power_1ms_w, "W", above=0.0)
    require("pulse power", power_10ms_w, "W", above=0.0)
    slope = math.log10(power_10ms_w / power_1ms_w)
    return float(power_1ms_w * (max(half_s, 10e-6) / 1e-3) ** slope)


def absorbed_rise_v(
    peak_v: float, decay_s: float, source_ohm: float, capacitance_f: float, esr_ohm: float
) -> float:
    """Rise of a capacitor bank that swallows a short pulse.

    Parameters
    ----------
    peak_v : of the pulse over the bank, V.
    decay_s : time constant, s, > 0.
    source_ohm : of the pulse, Ω, > 0.
    capacitance_f : F, > 0.
    esr_ohm : of the bank, Ω, >= 0.

    Returns
    -------
    The larger of the step across the series resistance and the charge's lasting rise, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``V = peak T/(R C)`` for a pulse much shorter than R C; divider of R and ESR at its start. [derived]

    >>> print(f"{absorbed_rise_v(112.0, 21.7e-6, 2.0, 4.4e-3, 0.02):.2f}")
    1.11
    """
    require("decay", decay_s, "s", above=0.0)
    require("source resistance", source_ohm, "Ω", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("series resistance", esr_ohm, "Ω", at_least=0.0)
    step = peak_v * esr_ohm / (source_ohm + esr_ohm)
    return max(step, peak_v * decay_s / (source_ohm * capacitance_f))


def lowest_bank_v(
    base_v: float,
    peak_v: float,
    decay_s: float,
    source_ohm: float,
    capacitance_f: float,
    esr_ohm: float,
) -> float:
    """Lowest voltage of a capacitor bank in a negative pulse on a supply that has just been cut.

    Parameters
    ----------
    base_v : bank before the pulse, V, >= 0.
    peak_v : of the pulse, below zero, V.
    decay_s : time constant, s, > 0.
    source_ohm : of the pulse, Ω, > 0.
    capacitance_f : F, > 0.
    esr_ohm : of the bank, Ω, >= 0.

    Returns
    -------
    Lowest terminal voltage of the bank while the pulse lasts (eight time constants), V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``R C v' + v = E exp(-t/T)`` from ``v = base``, R with the bank's own resistance; the terminal divides
    between source and bank. [derived]

    >>> print(f"{lowest_bank_v(14.4, -150.0, 0.87e-3, 10.0, 4.4e-3, 0.02):.1f}")
    9.7
    >>> print(f"{lowest_bank_v(14.4, -150.0, 0.87e-3, 10.0, 100e-6, 0.1):.1f}")
    -45.7
    """
    require("battery voltage", base_v, "V", at_least=0.0)
    require("pulse voltage", peak_v, "V", at_most=0.0)
    require("decay", decay_s, "s", above=0.0)
    require("source resistance", source_ohm, "Ω", above=0.0)
    require("capacitance", capacitance_f, "F", above=0.0)
    require("series resistance", esr_ohm, "Ω", at_least=0.0)
    loop_ohm = source_ohm + esr_ohm
    ratio = loop_ohm * capacitance_f / decay_s
    if abs(ratio - 1.0) < 1e-6:  # the two exponentials fall together: a hair beside it says the same
        ratio = 1.0 + 1e-6
    forced = peak_v / (1.0 - ratio)
    u = np.linspace(0.0, 8.0, 801)  # time over the pulse's time constant
    bank = forced * np.exp(-u) + (base_v - forced) * np.exp(-u / ratio)
    terminal = (bank * source_ohm + peak_v * np.exp(-u) * esr_ohm) / loop_ohm
    return float(min(terminal.min(), base_v))
