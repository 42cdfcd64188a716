"""Peak-current-mode control of a boost converter: slope, current sense, loop gain and timing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from subwright.physics.bounds import require

__all__ = [
    "Compensator",
    "CurrentModePlant",
    "LoopFigures",
    "RampTimes",
    "compensator_gain",
    "loop_figures",
    "plant_gain",
    "ramp_times",
    "sampling_quality",
    "slope_needed",
]

Array = NDArray[np.complex128]
Floats = float | NDArray[np.float64]


def slope_needed(falling: Floats, damping_share: float = 0.5) -> Floats:
    """Slope to add to the sensed current so that peak current control is stable above half duty.

    Parameters
    ----------
    falling : slope of the sensed current while the switch is off, V/s, > 0; any shape.
    damping_share : share of it to add: 0.5 is the least for any duty; 1 dies out in one cycle.

    Returns
    -------
    V/s, shape of ``falling``.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    ``m_a >= m_2/2``; Unitrode application note U-97, Holland. [unitrode-u97]

    >>> slope_needed(2e5)
    100000.0
    """
    require("falling slope", falling, "V/s", above=0.0)
    require("share of the slope", damping_share, "", at_least=0.5, at_most=1.5)
    slope: Floats = damping_share * falling
    return slope


def sampling_quality(duty: Floats, added: Floats, rising: Floats) -> Floats:
    """Quality of the double pole at half the switching frequency.

    Parameters
    ----------
    duty : 0 to below 1; broadcast.
    added : slope added, V/s, >= 0.
    rising : slope of the sensed current while
        the switch is on, V/s, > 0.

    Returns
    -------
    ``1/(π (m_c (1-D) - 0.5))`` with ``m_c = 1 + added/rising``; infinite or negative means that the current
    hunts at half the frequency.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    Ridley, A new small-signal model for current-mode control, 1990. [ridley1990]

    >>> round(float(sampling_quality(0.3, 0.0, 1e5)), 3)
    1.592
    """
    require("duty", duty, "", at_least=0.0, below=1.0)
    require("added slope", added, "V/s", at_least=0.0)
    require("rising slope", rising, "V/s", above=0.0)
    damping = (1.0 + np.asarray(added) / np.asarray(rising)) * (1.0 - np.asarray(duty)) - 0.5
    quality: Floats = 1.0 / (np.pi * damping)
    return quality


class CurrentModePlant(NamedTuple):
    """What the loop controls; V, A, Ω, H, F, Hz."""

    rail_v: float
    rail_a: float
    duty: float
    inductance_h: float
    capacitance_f: float
    esr_ohm: float
    sense_ohm: float  # sensed volts per ampere of choke current
    switching_hz: float
    quality: float  # of the double pole at half the switching frequency
    constant_power: bool  # the load takes power, not current: no pole but the capacitor


def plant_gain(plant: CurrentModePlant, frequency_hz: Floats) -> Array:
    """Rail voltage over the control voltage at the current comparator, complex.

    Parameters
    ----------
    plant : what is controlled.
    frequency_hz : any shape, Hz, > 0.

    Returns
    -------
    dimensionless gain, shape of ``frequency_hz``.

    Raises
    ------
    RangeError : the frequency is not positive.

    Source
    ------
    Single pole, ESR zero, right-half-plane zero ``R (1-D)²/L`` and the sampling pair; Ridley 1990 and
    Erickson & Maksimović ch. 12. With a load of constant power the pole lies at nought. [ridley1990]

    >>> plant = CurrentModePlant(30.0, 6.0, 0.6, 10e-6, 5e-3, 5e-3, 12e-3, 100e3, 0.7, False)
    >>> round(float(abs(plant_gain(plant, 1000.0))), 2)
    1.08
    """
    require("frequency", frequency_hz, "Hz", above=0.0)
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    load = plant.rail_v / plant.rail_a
    share = 1.0 - plant.duty
    zero = load * share**2 / plant.inductance_h
    pole = 0.0 if plant.constant_power else 2.0 / (load * plant.capacitance_f)
    half = np.pi * plant.switching_hz
    sampling = 1.0 + s / (half * plant.quality) + (s / half) ** 2
    rising = (1.0 - s / zero) * (1.0 + s * plant.esr_ohm * plant.capacitance_f)
    gain = share / (plant.sense_ohm * plant.capacitance_f * (s + pole)) * rising / sampling
    return np.asarray(gain, dtype=np.complex128)


class Compensator(NamedTuple):
    """Inverting error amplifier: divider's top into it, and R in series with C, C beside, as feedback."""

    top_ohm: float
    series_ohm: float
    series_f: float
    across_f: float
    divided_by: float  # between the amplifier's output and the comparator


def compensator_gain(parts: Compensator, frequency_hz: Floats) -> Array:
    """Control voltage at the current comparator over the rail's error, sign of the inversion left out.

    Parameters
    ----------
    parts : the real values.
    frequency_hz : any shape, Hz, > 0.

    Returns
    -------
    dimensionless gain, shape of ``frequency_hz``. The divider's lower resistor carries no signal: the
    amplifier holds that point still.

    Raises
    ------
    RangeError : the frequency is not positive.

    Source
    ------
    Impedance of the feedback network over the upper resistor. [derived]

    >>> parts = Compensator(22e3, 100e3, 10e-9, 100e-12, 3.0)
    >>> round(float(abs(compensator_gain(parts, 2000.0))), 2)
    1.49
    """
    require("frequency", frequency_hz, "Hz", above=0.0)
    s = 2j * np.pi * np.asarray(frequency_hz, dtype=np.float64)
    branch = 1.0 / (parts.series_ohm + 1.0 / (s * parts.series_f)) + s * parts.across_f
    gain = 1.0 / (branch * parts.top_ohm * parts.divided_by)
    return np.asarray(gain, dtype=np.complex128)


class LoopFigures(NamedTuple):
    """Crossover, Hz, phase margin, degrees, and gain margin, dB; None where the phase never gets there."""

    crossover_hz: float
    phase_margin_deg: float
    gain_margin_db: float | None


def loop_figures(plant: CurrentModePlant, parts: Compensator) -> LoopFigures:
    """Crossover and margins of the loop, read from its own curve.

    Parameters
    ----------
    plant : what is controlled.
    parts : the compensator's real values.

    Returns
    -------
    LoopFigures; no gain margin where the phase never reaches half a turn below half the switching
    frequency.

    Raises
    ------
    RangeError : the loop has no gain left at the lowest frequency looked at (1 Hz).

    Source
    ------
    Nyquist's criterion, read at unity gain and at half a turn; Erickson & Maksimović ch. 9. [erickson2001]

    >>> plant = CurrentModePlant(30.0, 6.0, 0.6, 10e-6, 5e-3, 5e-3, 12e-3, 100e3, 0.7, False)
    >>> figures = loop_figures(plant, Compensator(22e3, 47e3, 22e-9, 100e-12, 3.0))
    >>> 700 < figures.crossover_hz < 900 and 60 < figures.phase_margin_deg < 90
    True
    """
    grid = np.geomspace(1.0, 0.5 * plant.switching_hz, 400)
    gain = plant_gain(plant, grid) * compensator_gain(parts, grid)
    level = np.log(np.abs(gain))
    require("loop gain at 1 Hz", float(np.exp(level[0])), "", above=1.0)
    phase = np.degrees(np.unwrap(np.angle(gain)))
    # Two integrators at most: the curve starts between a quarter and half a turn behind.
    phase += 360.0 * round((-135.0 - phase[0]) / 360.0)
    after = int(np.argmax(level <= 0.0))
    share = level[after - 1] / (level[after - 1] - level[after])
    crossover = float(np.exp((1 - share) * np.log(grid[after - 1]) + share * np.log(grid[after])))
    margin = float(180.0 + (1 - share) * phase[after - 1] + share * phase[after])
    below = phase <= -180.0
    below[:after] = False
    gain_margin = None
    if below.any():
        gain_margin = float(-20.0 / np.log(10.0) * level[int(np.argmax(below))])
    return LoopFigures(crossover_hz=crossover, phase_margin_deg=margin, gain_margin_db=gain_margin)


class RampTimes(NamedTuple):
    """Charge and discharge of the timing capacitor, s."""

    charge_s: float
    discharge_s: float

    @property
    def frequency_hz(self) -> float:
        """Rate of the ramp, Hz."""
        return 1.0 / (self.charge_s + self.discharge_s)

    @property
    def duty_most(self) -> float:
        """Greatest duty: the output is off while the capacitor discharges."""
        return self.charge_s / (self.charge_s + self.discharge_s)


def ramp_times(
    rt_ohm: float, ct_f: float, reference_v: float, low_v: float, high_v: float, discharge_a: float
) -> RampTimes:
    """Times of an oscillator that charges its capacitor through a resistor and discharges it by a current.

    Parameters
    ----------
    rt_ohm, ct_f : Ω and F, > 0.
    reference_v : that the resistor comes from, V.
    low_v, high_v : turning points of the ramp, V, low above 0 and below high.
    discharge_a : A, greater than
        what the resistor brings at the lower point.

    Returns
    -------
    RampTimes.

    Raises
    ------
    RangeError : a value is out of range, or the current can't discharge against the resistor.

    Source
    ------
    RC charge and discharge; TI UCx84x data sheet SLUS223, oscillator section. [ti-slus223]

    >>> times = ramp_times(10e3, 3.3e-9, 5.0, 1.2, 2.82, 8.3e-3)
    >>> round(times.frequency_hz / 1e3, 1), round(times.duty_most, 3)
    (52.6, 0.965)
    """
    require("timing resistor", rt_ohm, "Ω", above=0.0)
    require("timing capacitor", ct_f, "F", above=0.0)
    require("lower point of the ramp", low_v, "V", above=0.0, below=high_v)
    require("upper point of the ramp", high_v, "V", below=reference_v)
    require("discharge current", discharge_a, "A", above=(reference_v - low_v) / rt_ohm)
    charge = rt_ohm * ct_f * np.log((reference_v - low_v) / (reference_v - high_v))
    pulled = discharge_a * rt_ohm
    discharge = rt_ohm * ct_f * np.log((pulled - reference_v + high_v) / (pulled - reference_v + low_v))
    return RampTimes(charge_s=float(charge), discharge_s=float(discharge))
