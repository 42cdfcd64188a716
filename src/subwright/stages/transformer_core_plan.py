"""Bench procedures for an unmarked core: a pulse until the current bends, and heat against direct current."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from subwright.base.units import show
from subwright.parts.schema import Material
from subwright.physics.core_check import (
    field_current,
    pulse_current,
    sine_drive_voltage,
    turns_for_pulse_current,
)
from subwright.physics.core_loss import loss_factor, steinmetz
from subwright.physics.cores import EffectiveParameters
from subwright.physics.magnetic_thermal import thermal_resistance_from_volume
from subwright.physics.magnetics import inductance

__all__ = ["BenchSupply", "HeatPlan", "PulsePlan", "PulseRow", "plan_heat", "plan_pulse"]

_STEPS_T: Final = (0.10, 0.20, 0.25, 0.30, 0.35, 0.40)
_STOP: Final = 2.0  # times the straight line's current; own allowance
_SHORTEST_S: Final = 4e-6  # that a switch and an eye on a scope can follow; own allowance
_DROP: Final = 0.10  # of the supply, lost in the loop at the end of the longest pulse; own allowance
_HEAT_FLUX_T: Final = 0.15
_HEAT_C: Final = 60.0


@dataclass(frozen=True, kw_only=True, slots=True)
class BenchSupply:
    """What the bench can give.

    Attributes
    ----------
    volts_v : of the pulse supply, V. limit_a : most that supply, switch and capacitor may give, A.
    loop_ohm : switch, leads, shunt and winding, ohm.
    frequency_hz : of the sine for the heat test, Hz; that of the converter to come.
    """

    volts_v: float = 12.0
    limit_a: float = 10.0
    loop_ohm: float = 0.1
    frequency_hz: float = 50e3


@dataclass(frozen=True, kw_only=True, slots=True)
class PulseRow:
    """One length of pulse: flux density T, volt-seconds V·s, time s, current A at least and at most."""

    flux_t: float
    volt_seconds: float
    time_s: float
    current_low_a: float
    current_high_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PulsePlan:
    """Saturation check.

    Attributes
    ----------
    turns : of the winding to use. inductance_h : its inductance, H.
    microsecond_a : current after the first microsecond, the slope to look for, A.
    rows : lengths of pulse to try, shortest first.
    stop_a : current at which to stop whatever the slope, A; limit_a : what the supply may give, A.
    steps : what to do. cautions : before the hand is on it.
    """

    turns: int
    inductance_h: float
    microsecond_a: float
    rows: tuple[PulseRow, ...]
    stop_a: float
    limit_a: float
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatPlan:
    """Loss check.

    Attributes
    ----------
    frequency_hz, flux_peak_t : sine to drive it with, Hz and T. turns : of the winding.
    drive_v, drive_a : rms voltage and about what magnetising current that takes, V and A.
    loss_low_w, loss_high_w : core loss of the best and the worst power grade, W.
    rise_low_k, rise_high_k : temperature rise that goes with them, K.
    steps : what to do.
    """

    frequency_hz: float
    flux_peak_t: float
    turns: int
    drive_v: float
    drive_a: float
    loss_low_w: float
    loss_high_w: float
    rise_low_k: float
    rise_high_k: float
    steps: tuple[str, ...]


def plan_pulse(
    geometry: EffectiveParameters, al_h: float, permeability: float, at_hand: int, supply: BenchSupply
) -> PulsePlan:
    """Saturation check with the winding at hand, or with more turns where the supply asks for them.

    Parameters
    ----------
    geometry : of the core. al_h : inductance factor, H. permeability : initial, relative.
    at_hand : turns of the largest test winding. supply : bench.

    Returns
    -------
    PulsePlan. Above the first steps a ferrite's permeability is up to twice the initial one, so the current
    lies between half the straight line and all of it until the core saturates.

    Raises
    ------
    RangeError : a quantity out of range.

    Source
    ------
    Faraday's and Ampère's laws. [derived]
    """
    most = _STEPS_T[-1]
    path = geometry.l_e_m
    by_current = turns_for_pulse_current(most, path, permeability, supply.limit_a / _STOP)
    by_drop = turns_for_pulse_current(
        most, path, permeability, _DROP * supply.volts_v / max(supply.loop_ohm, 1e-6)
    )
    by_time = math.ceil(_SHORTEST_S * supply.volts_v / (_STEPS_T[0] * geometry.a_min_m2))
    turns = max(at_hand, by_current, by_drop, by_time)
    coil_h = float(inductance(turns, al_h))
    rows = []
    for flux in _STEPS_T:
        volt_seconds = flux * turns * geometry.a_min_m2
        straight = float(field_current(flux, path, permeability, turns))
        time = volt_seconds / (supply.volts_v - 0.5 * straight * supply.loop_ohm)
        check = float(pulse_current(supply.volts_v, coil_h, supply.loop_ohm, time))
        rows.append(
            PulseRow(
                flux_t=flux,
                volt_seconds=volt_seconds,
                time_s=time,
                current_low_a=0.5 * min(check, straight),
                current_high_a=max(check, straight),
            )
        )
    stop = _STOP * rows[-1].current_high_a
    why = (
        f"Wind {turns} turns: with the {at_hand} at hand the current would pass what the supply may give, "
        "drop too much in the loop, or be over too soon to see."
        if turns > at_hand
        else f"Use the winding of {turns} turns."
    )
    first = 1e-6 * supply.volts_v / coil_h
    return PulsePlan(
        turns=turns,
        inductance_h=coil_h,
        microsecond_a=first,
        rows=tuple(rows),
        stop_a=stop,
        limit_a=supply.limit_a,
        steps=(
            f"{why} Put it in series with a switch (a MOSFET of 60 V or more with its driver), a shunt of "
            "about 10 mΩ, and a capacitor of 1000 µF or more at the supply. Across the winding: a fast "
            "diode that takes the current over when the switch opens.",
            f"Set the supply to {show(supply.volts_v, 'voltage')} and its current limit to the least that "
            "keeps the capacitor charged; the pulses come from the capacitor.",
            "One pulse every tenth of a second, no faster: the current must have died out and the core must "
            "stay cold.",
            f"Begin with {show(rows[0].time_s, 'time')}. The current must rise straight, at first "
            f"{show(first, 'current')} in each microsecond, and reach the range of the table.",
            "Lengthen the pulse row by row. Note the time at which the slope has doubled: that is where the "
            f"core saturates. Stop there, or at {show(stop, 'current')} whatever it looks like.",
            "Turn the winding round, pulse at the first length ten times, and repeat: the core keeps some "
            "flux from the pulses before. Take the shorter of both times.",
            "If you can, repeat with the core at 80 to 100 °C (oven, not flame): that is how it will work.",
            "Note it with: subwright core pulse DRAWER CORE --turns … --volts … --time …",
        ),
        cautions=(
            "A charged capacitor gives hundreds of amperes into a short: fuse the supply, discharge through "
            "a resistor before you touch, wear eye protection.",
            "A pulse that lasts too long destroys switch and shunt within a millisecond: let the generator "
            "bound its length.",
        ),
    )


def plan_heat(
    geometry: EffectiveParameters,
    al_h: float,
    at_hand: int,
    supply: BenchSupply,
    grades: tuple[Material, ...],
) -> HeatPlan:
    """Loss check: drive the core with a sine until it is warm, then warm it as much with direct current.

    Parameters
    ----------
    geometry : of the core. al_h : inductance factor, H. at_hand : turns of the largest test winding.
    supply : bench, for the frequency. grades : power grades to expect something between.

    Returns
    -------
    HeatPlan at 150 mT and about 60 °C.

    Raises
    ------
    RangeError : no grade has loss data at this frequency.

    Source
    ------
    Calorimetric substitution, common practice; rise by [mulder1994].
    """
    f, flux = supply.frequency_hz, _HEAT_FLUX_T
    losses = []
    for grade in grades:
        fit = grade.fit_at(f)
        factor = loss_factor(_HEAT_C, flux, grade.ct0, grade.ct1, grade.ct2, grade.beta_per_k)
        losses.append(float(steinmetz(f, flux, fit.k, fit.alpha, fit.beta) * factor * geometry.v_e_m3))
    low, high = min(losses), max(losses)
    rth = float(np.asarray(thermal_resistance_from_volume(geometry.v_e_m3)))
    drive_v = float(sine_drive_voltage(flux, f, at_hand, geometry.a_e_m2))
    drive_a = drive_v / (2.0 * math.pi * f * float(inductance(at_hand, al_h)))
    return HeatPlan(
        frequency_hz=f,
        flux_peak_t=flux,
        turns=at_hand,
        drive_v=drive_v,
        drive_a=drive_a,
        loss_low_w=low,
        loss_high_w=high,
        rise_low_k=rth * low,
        rise_high_k=rth * high,
        steps=(
            "First a look with small signals: the inductance at 10 kHz and at 100 kHz must agree within 5 "
            "%, and the quality factor at 100 kHz must be 25 or more (common practice, no source). Less "
            "points to a lossy or high-permeability grade.",
            f"Drive {at_hand} turns with {show(drive_v, 'voltage')} rms at {show(f, 'frequency')} (about "
            f"{show(drive_a, 'current')} of magnetising current; a series capacitor at resonance spares the "
            "amplifier), thermometer under a drop of grease on the core, in a box without draught.",
            "Wait until it no longer rises, an hour for a large ring. Note the temperature and the winding's "
            "resistance.",
            "Then direct current through the same winding, set until the core settles at the same "
            "temperature. Note voltage and current.",
            f"A power ferrite loses {show(low, 'power')} to {show(high, 'power')} and rises by "
            f"{rth * low:.0f} to "
            f"{rth * high:.0f} K here. Stop at twice that: it is not for transformers.",
            "Note it with: subwright core heat DRAWER CORE --at … --flux … --temperature … --volts … "
            "--current …",
        ),
    )
