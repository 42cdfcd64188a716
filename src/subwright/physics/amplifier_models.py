"""Instantaneous loss models of power stages: what each part of an amplifier turns into heat at one phase.

Both models answer the same questions for any output voltage and current (arrays over the phase of a note, and
over candidate parts), so the converter and the heat stages need not know which kind of amplifier they feed.
Voltages and currents are those at the load's terminals, averaged over a switching period.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["ClassABModel", "ClassDModel", "Floats", "class_ab_sum_a"]

_THERMAL_V = 0.02587  # kT/q at 27 °C
_NEWTON_STEPS = 12
_LEAST_BIAS_A = 1e-9  # below it the stage is class B

Array: TypeAlias = NDArray[np.float64]
_SLOWEST = 0.02  # share of its frequency that a self-oscillating modulator keeps at full modulation

Floats: TypeAlias = float | NDArray[np.float64]


def _total(terms: dict[str, Array]) -> Array:
    return reduce(np.add, terms.values())


def _together(*values: Floats) -> tuple[Array, ...]:
    """The values as arrays of one shape; those that have it go through as they are."""
    arrays = tuple(np.asarray(value, dtype=np.float64) for value in values)
    if all(array.shape == arrays[0].shape for array in arrays):
        return arrays
    return tuple(np.broadcast_arrays(*arrays))


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassDModel:
    """A half-bridge (1 leg) on split rails, or a full bridge (2 legs) on one supply or across both rails.

    Attributes
    ----------
    legs : 1 or 2.
    split_rails : true when ``v_rail`` is one of two rails.
    modulation_max : greatest share of the bus that the modulator uses, 0 to 1.
    switch_ohm : one switch, hot, ohm.
    switch_time_s : overlap time of one edge, s.
    recovery_coul : body diode's recovery charge, C.
    coss_f, coss_v : output capacitance and the drain voltage of its statement, F and V.
    diode_v : forward voltage of the body diode, V.
    gate_coul, gate_v : gate charge of one switch at the gate supply's voltage, C and V.
    gate_rails, gate_feed_v : voltage that feeds the gates' supply, as rails and as a fixed voltage on top,
        dimensionless and V: what is above ``gate_v`` is lost in its regulator.
    inductance_h, inductor_ohm, inductor_core_w : one leg's inductor; core loss at full ripple, W.
    filter_f, damping_ohm : one leg's filter capacitor and damping resistor, F and ohm.
    switching_hz, dead_time_s : Hz and s.
    control_a : current of modulator, logic and drivers from rail to rail, A; the gates' charge is apart.
    cable_ohm : speaker cable out and return, with switch and shunt in series with it, ohm.
    snubber_f : capacitor of each leg's snubber, F; 0 for none.
    self_oscillating : true where the loop sets the frequency: it falls with the square of the modulation, the
        ripple stays, and ``switching_hz`` is that at rest.

    Any electrical value may be an array over candidate parts, shaped to broadcast against the phase.
    """

    legs: int
    split_rails: bool
    modulation_max: float
    switch_ohm: Floats
    switch_time_s: Floats
    recovery_coul: Floats
    coss_f: Floats
    coss_v: Floats
    diode_v: Floats
    gate_coul: Floats
    gate_v: float
    inductance_h: float
    inductor_ohm: float
    inductor_core_w: float
    filter_f: float
    damping_ohm: float
    switching_hz: float
    dead_time_s: float
    control_a: float
    cable_ohm: float
    snubber_f: float = 0.0
    self_oscillating: bool = False
    gate_rails: float = 1.0
    gate_feed_v: float = 0.0

    def bus_v(self, v_rail: Floats) -> Array:
        """Voltage across one leg, V."""
        return np.asarray(v_rail, dtype=float) * (2.0 if self.split_rails else 1.0)

    def swing_v(self, v_rail: Floats) -> Array:
        """Greatest ideal output, V: the rail of a half-bridge, the whole bus of a full bridge."""
        return 0.5 * self.legs * self.bus_v(v_rail)

    def least_switching_hz(self) -> float:
        """Lowest switching frequency, at the modulator's limit, Hz."""
        slowed = max(1.0 - self.modulation_max**2, _SLOWEST) if self.self_oscillating else 1.0
        return self.switching_hz * slowed

    def series_ohm(self) -> float:
        """Resistance between the switched node's ideal average and the load, ohm (first candidate)."""
        switch = float(np.ravel(self.switch_ohm)[0])
        return self.legs * (switch + self.inductor_ohm) + self.cable_ohm

    def dead_time_error_v(self, v_rail: Floats) -> Array:
        """Output lost to dead time at crest, V (Mohan, section 8-5)."""
        return self.legs * self.bus_v(v_rail) * self.dead_time_s * self.switching_hz

    def clip_peak_v(self, v_rail: Floats, load_ohm: float) -> Array:
        """Peak output at the load when the modulator reaches its limit, V.

        Parameters
        ----------
        v_rail : rail of one side, or the supply of a bridge, V, any shape.
        load_ohm : ohm.
        """
        reach = self.modulation_max * self.swing_v(v_rail) - self.dead_time_error_v(v_rail)
        peak: Array = np.maximum(reach, 0.0) * load_ohm / (load_ohm + self.series_ohm())
        return peak

    def rail_for_peak_v(self, peak_v: float, load_ohm: float) -> float:
        """Rail that just gives ``peak_v`` at the load, V; the inverse of ``clip_peak_v``."""
        return peak_v / float(self.clip_peak_v(1.0, load_ohm))

    def losses_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> dict[str, Array]:
        """Each loss at this instant, W, averaged over the switching period.

        Parameters
        ----------
        v_out_v, i_out_a, v_rail_v : load voltage, load current, rail, V and A; broadcast shapes.

        Returns
        -------
        loss by name, W, broadcast shape; every entry >= 0.
        """
        v, i, rail = _together(v_out_v, i_out_a, v_rail_v)
        bus = self.bus_v(rail)
        amps = np.abs(i)
        slowed = 1.0 - np.minimum((v / self.swing_v(rail)) ** 2, 1.0)
        f = self.switching_hz * (np.maximum(slowed, _SLOWEST) if self.self_oscillating else 1.0)
        ripple = bus * slowed / (4.0 * f * self.inductance_h)
        rms2 = i * i + ripple**2 / 12.0
        # Below half the ripple both edges commutate softly; above it one edge is hard (buck waveforms).
        edge = np.maximum(amps, 0.5 * ripple)
        hard = amps > 0.5 * ripple
        legs = self.legs
        swung = legs * bus * f
        gate_a = 2.0 * legs * self.gate_coul * f
        charge = 2.0 * self.coss_f * np.sqrt(self.coss_v * bus)
        ripple_v_pp = ripple / (8.0 * f * self.filter_f)
        zero = np.zeros_like(rms2)
        return {
            "switch conduction": legs * self.switch_ohm * rms2,
            "switch overlap": swung * self.switch_time_s * edge,
            "body diode in dead time": legs * 2.0 * self.diode_v * self.dead_time_s * f * edge,
            "diode recovery": np.where(hard, swung * self.recovery_coul, 0.0),
            "output capacitance": np.where(hard, swung * charge, 0.0),
            "gate drive": gate_a * self.gate_v + zero,
            "gate supply regulator": gate_a
            * np.maximum(self.gate_rails * rail + self.gate_feed_v - self.gate_v, 0.0),
            "control circuits": self.control_a * bus + zero,
            "output inductor copper": legs * self.inductor_ohm * rms2,
            "output inductor core": legs * self.inductor_core_w + zero,
            "output snubber": legs * self.snubber_f * bus**2 * f + zero,
            "filter damping": legs * ripple_v_pp**2 / (8.0 * self.damping_ohm),
            "speaker lead": self.cable_ohm * (i * i),
        }

    def switch_losses(self) -> tuple[str, ...]:
        """Names of the losses that heat the switches."""
        return (
            "switch conduction",
            "switch overlap",
            "body diode in dead time",
            "diode recovery",
            "output capacitance",
        )

    def input_power_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> Array:
        """Power from the rails at this instant, W.

        The switched node averages ``v_out`` plus the drop in the series resistances, so the bus delivers
        that voltage times the inductor current; ripple, edges and overhead come on top.
        """
        power: Array = np.asarray(v_out_v) * np.asarray(i_out_a)
        return power + _total(self.losses_w(v_out_v, i_out_a, v_rail_v))

    def bus_ripple_rms_a(self, i_out_a: Array, v_out_v: Array, v_rail_v: Floats) -> float:
        """RMS switching ripple of the bus capacitor over the given phases, A: ``i sqrt(d (1 - d))``."""
        modulation = np.clip(np.asarray(v_out_v) / self.swing_v(v_rail_v), -1.0, 1.0)
        duty = 0.5 * (1.0 + modulation)
        if self.legs == 1:
            mean_square = i_out_a**2 * duty * (1.0 - duty)
        else:  # bridge switched in opposition: supply current is +i for d and -i for 1 - d
            mean_square = i_out_a**2 * (1.0 - modulation**2)
        return float(np.sqrt(np.mean(mean_square)))


def class_ab_sum_a(i_out_a: Array, bias_a: float, ballast_ohm: float) -> Array:
    """Sum of the currents of a complementary pair that share an output current.

    Parameters
    ----------
    i_out_a : output current, A, any shape.
    bias_a : quiescent current, A, > 0.
    ballast_ohm : emitter resistor of each device, ohm, >= 0.

    Returns
    -------
    sum s, A: ``i_p - i_n = i`` and ``i_p i_n = bias² exp(-R (s - 2 bias)/V_T)``. Without resistors that is
    ``sqrt(i² + 4 bias²)``; with them the idle device is turned off sooner.

    Source
    ------
    Translinear loop of the class-AB output stage, Gray & Meyer, with the emitter resistors' drop in it.
    [gray-meyer]

    >>> round(float(class_ab_sum_a(np.array(0.0), 0.05, 0.22)), 6)
    0.1
    """
    size = np.abs(np.asarray(i_out_a, dtype=np.float64))
    start: Array = np.sqrt(size**2 + 4.0 * bias_a**2)
    if ballast_ohm == 0.0 or bias_a < _LEAST_BIAS_A:
        return start
    # Newton in the logarithm of the idle device's doubled current, from above: convex, so it only falls.
    slope = ballast_ohm / _THERMAL_V
    y = np.log(np.maximum(start - size, 1e-300))
    for _ in range(_NEWTON_STEPS):
        x = np.exp(y)
        gap = y + np.log(x + 2.0 * size) - np.log(4.0 * bias_a**2) + slope * (x + size - 2.0 * bias_a)
        y -= gap / (1.0 + x / (x + 2.0 * size) + slope * x)
    both: Array = size + np.exp(np.maximum(y, -200.0))
    return both


@dataclass(frozen=True, kw_only=True, slots=True)
class ClassABModel:
    """A class-AB stage on split rails (1 leg), or two in a bridge on one supply (2 legs).

    Attributes
    ----------
    legs : 1 or 2.
    split_rails : true when ``v_rail`` is one of two rails.
    drop_v : voltage that the output can't reach the rail by, all devices in the path at crest added, V.
    bias_a : quiescent current of each output leg, A.
    driver_a : current of drivers and input stages from rail to rail, A.
    ballast_ohm : emitter or source resistor of each device as seen by the output current, ohm.
    cable_ohm : speaker cable out and return, with switch and shunt in series with it, ohm.
    inner_ratio : lower of two rail pairs over ``v_rail``, dimensionless; 1 for one pair (class G).
    lift_ratio : what a capacitor adds to the supply while the output needs it, over the supply,
        dimensionless; 0 for none (class H). While it is lifted the supply gives the current twice: once
        through the capacitor, and once more to charge it again.
    head_v : the upper rail takes over where the output comes nearer than this to the lower one, V.
    diode_v : drop of the diode through which the lower rail feeds, V; 0 without one.
    inner_head_v : voltage that a follower on the upper rail leaves across the output device, V; 0 for a
        rail that is switched hard.
    """

    legs: int
    split_rails: bool
    drop_v: float
    bias_a: float
    driver_a: float
    ballast_ohm: float
    cable_ohm: float
    lift_ratio: float = 0.0
    inner_ratio: float = 1.0
    head_v: float = 0.0
    diode_v: float = 0.0
    inner_head_v: float = 0.0

    @property
    def switched(self) -> bool:
        """Whether it has two rails to choose from."""
        return self.lift_ratio > 0.0 or self.inner_ratio < 1.0

    def bus_v(self, v_rail: Floats) -> Array:
        """Voltage between the supply terminals, V."""
        return np.asarray(v_rail, dtype=float) * (2.0 if self.split_rails else 1.0)

    def series_ohm(self) -> float:
        """Resistance between the output devices and the load, ohm."""
        return self.legs * self.ballast_ohm + self.cable_ohm

    def clip_peak_v(self, v_rail: Floats, load_ohm: float) -> Array:
        """Peak output at the load when the devices saturate, V.

        Parameters
        ----------
        v_rail : rail of one side, or the supply of a bridge, V, any shape.
        load_ohm : ohm.
        """
        reach = np.maximum(np.asarray(v_rail) * (1.0 + self.lift_ratio) - self.drop_v, 0.0)
        peak: Array = reach * load_ohm / (load_ohm + self.series_ohm())
        return peak

    def rail_for_peak_v(self, peak_v: float, load_ohm: float) -> float:
        """Rail that just gives ``peak_v`` at the load, V; the inverse of ``clip_peak_v``."""
        return (peak_v * (load_ohm + self.series_ohm()) / load_ohm + self.drop_v) / (1.0 + self.lift_ratio)

    def on_upper(self, v_out_v: Array, i_out_a: Array, v_rail_v: Array) -> NDArray[np.bool_]:
        """Whether the upper rail feeds the output at an instant, shape of the arguments."""
        reach = np.abs(v_out_v + self.series_ohm() * i_out_a) + self.head_v
        result: NDArray[np.bool_] = reach > self.inner_ratio * v_rail_v
        return result

    def rail_at_v(self, v_out_v: Array, i_out_a: Array, v_rail_v: Array) -> Array:
        """Rail that the conducting device hangs on, V: the upper one where the lower doesn't reach."""
        if not self.switched:
            return v_rail_v
        upper = (1.0 + self.lift_ratio) * v_rail_v
        lower = self.inner_ratio * v_rail_v - self.diode_v
        rail: Array = np.where(self.on_upper(v_out_v, i_out_a, v_rail_v), upper, lower)
        return rail

    def _sum_a(self, i_out_a: Array) -> Array:
        """Sum of both devices' currents, A; the ballast of one leg stands in its bias loop."""
        return class_ab_sum_a(i_out_a, self.bias_a, self.ballast_ohm)

    def losses_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> dict[str, Array]:
        """Each loss at this instant, W.

        Parameters
        ----------
        v_out_v, i_out_a, v_rail_v : load voltage, load current, rail, V and A; broadcast shapes.

        Returns
        -------
        loss by name, W, broadcast shape.
        """
        v, i, rail = _together(v_out_v, i_out_a, v_rail_v)
        both = self._sum_a(i)
        ballast = 0.5 * self.legs * self.ballast_ohm * (both**2 + i * i)
        cable = self.cable_ohm * (i * i)
        feeding = self.rail_at_v(v, i, rail)
        terms = {
            "output devices": feeding * both - v * i - ballast - cable,
            "ballast resistors": ballast,
            "driver and input stages": self.driver_a * self.bus_v(rail),
            "speaker lead": cable,
        }
        if not self.switched:
            return terms
        upper = self.on_upper(v, i, rail)
        if self.lift_ratio > 0.0:
            terms["rail lifting"] = np.where(upper, (1.0 - self.lift_ratio) * rail, 0.0) * both
        else:
            spare = feeding - np.abs(v + self.series_ohm() * i) - self.inner_head_v
            follower = np.where(upper, np.maximum(spare, 0.0), 0.0) * both
            terms["rail switches"] = follower
            terms["output devices"] = terms["output devices"] - follower
        terms["commutation diodes"] = np.where(upper, 0.0, self.diode_v) * both
        return terms

    def switch_losses(self) -> tuple[str, ...]:
        """Names of the losses that heat the output devices."""
        return ("output devices",)

    def plain(self) -> ClassABModel:
        """The same stage on the upper rail alone, as plain class AB."""
        return replace(
            self,
            lift_ratio=0.0,
            inner_ratio=1.0,
            head_v=0.0,
            diode_v=0.0,
            inner_head_v=0.0,
        )

    def input_power_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> Array:
        """Power from the rails at this instant, W: rail times the two devices' currents, plus the drivers.

        The devices draw ``class_ab_sum_a`` in total, from the one rail or the other.
        """
        v, i, rail = _together(v_out_v, i_out_a, v_rail_v)
        drawn = self._drawn_v(v, i, rail)
        result: Array = drawn * self._sum_a(i) + self.driver_a * self.bus_v(rail)
        return result

    def _drawn_v(self, v: Array, i: Array, rail: Array) -> Array:
        """Voltage that the current is paid for with: twice the supply while a capacitor lifts it."""
        if not self.switched:
            return rail
        upper = (2.0 if self.lift_ratio > 0.0 else 1.0) * rail
        drawn: Array = np.where(self.on_upper(v, i, rail), upper, self.inner_ratio * rail)
        return drawn
