"""Averages of the power stage: by the closed form, and out of a simulation that settles from there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.base.preferred import at_most
from subwright.circuits.analysis import Current, Probe, Transient, Voltage
from subwright.circuits.converter_regulated import BODY_V, regulated_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.gate_drive_circuit import gate_nets
from subwright.circuits.measure import last_periods, mean_of, rms_of
from subwright.circuits.simulate import Traces
from subwright.physics.clamps import clamp_voltage_v
from subwright.physics.push_pull import AveragedPulse, averaged_pulse, split_loop_ohm

__all__ = [
    "PowerPoint",
    "averaged_point",
    "averaged_terminal_pulse",
    "quick",
    "settling_probes",
    "settling_run",
    "simulated_point",
]

_SETTLE_CYCLES: Final = 180
_KEPT_CYCLES: Final = 24
_AVERAGE_CYCLES: Final = 6
_STEPS_PER_CYCLE: Final = 200
_FLOOR: Final = 1e-4  # of the battery current, below which a current does not matter
_CLAMP_CYCLES: Final = 8.0  # longest time constant of a quick stage's clamp
_ROUNDS: Final = 60
_DRIFT: Final = 1e-3  # of each average over the kept cycles
_CHOKE_DRIFT: Final = 3e-3  # the same behind a choke, which rings on with the rails' cans
_ACCURACY: Final = 1e-3
_CHOKE_ACCURACY: Final = 5e-3  # enough there: the choke's current has no sharp pulses
_RING_CYCLES: Final = 10.0  # of the choke with a quick stage's rails
_RIPPLE: Final = 0.05  # of the drop that drives the pulse, accepted in a quick stage


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerPoint:
    """Averages of the power stage at one load."""

    positive_v: float
    negative_v: float  # magnitude
    battery_a: float
    switch_rms_a: float  # one position
    clamp_v: float | None = None  # of the clamp's capacitor


def averaged_point(values: PowerValues) -> PowerPoint:
    """The closed form's averages, without the losses that the netlist does not hold.

    Parameters
    ----------
    values : the netlist's values; core, gate and overlap losses are none of them.

    Returns
    -------
    PowerPoint.

    Raises
    ------
    SubwrightError : a rail collapses under this load.

    Source
    ------
    Loop equations over the averaged pulse of ``physics.push_pull``. [derived]
    """
    v = values
    if v.choke is not None:
        held = regulated_point(v)
        return PowerPoint(
            positive_v=held.positive_v,
            negative_v=held.negative_v,
            battery_a=held.battery_a,
            switch_rms_a=held.switch_rms_a,
            clamp_v=held.clamp_v,
        )
    at, pulse, primary_ohm, secondary_ohm = _settled_pulse(v)
    primary_a = v.ratio * (v.positive_a + v.negative_a)
    final, square = float(pulse.final), float(pulse.mean_square)
    sag = (primary_ohm * final + v.input_esr_ohm * (square - 1.0)) * primary_a
    common = v.ratio * (at.volts - sag) - v.diode_v
    each = secondary_ohm * final + v.reservoir_esr_ohm * (square - 1.0)
    positive_v, negative_v = common - each * v.positive_a, common - each * v.negative_a
    if min(positive_v, negative_v) <= 0.0:
        raise SubwrightError(
            message="A rail collapses under this load.",
            quantity="load of the rails",
            value=f"{v.positive_a:.3g} A and {v.negative_a:.3g} A",
            remedy="Simulate a smaller load.",
        )
    return PowerPoint(
        positive_v=positive_v,
        negative_v=negative_v,
        battery_a=at.battery_a,
        switch_rms_a=sqrt(0.5 * square) * (primary_a + at.clamp_rest_a),
        clamp_v=at.clamp_v,
    )


def averaged_terminal_pulse(values: PowerValues) -> AveragedPulse:
    """The pulse that the averages of peak-charged rails rest on, over the mean primary current.

    Parameters
    ----------
    values : without a choke.
    """
    return _settled_pulse(values)[1]


def _settled_pulse(v: PowerValues) -> tuple[_Terminal, AveragedPulse, float, float]:
    """Terminal and pulse once they agree, and the resistances of primary and secondary path, Ω."""
    primary_ohm = v.switch_ohm + v.primary_winding_ohm + v.link_ohm
    secondary_ohm = v.secondary_winding_ohm + v.diode_ohm
    loop = float(split_loop_ohm(primary_ohm, secondary_ohm, v.ratio, v.positive_a, v.negative_a))
    primary_a = v.ratio * (v.positive_a + v.negative_a)
    at = _Terminal(volts=v.emf_v, battery_a=primary_a, clamp_v=None, clamp_rest_a=0.0, reset_v=v.avalanche_v)
    pulse = averaged_pulse(v.share, v.switching_hz, v.leakage_h, loop, primary_a, v.avalanche_v)
    for _ in range(_ROUNDS):
        at = _terminal(v, at, primary_a, pulse, loop, primary_ohm)
        pulse = averaged_pulse(v.share, v.switching_hz, v.leakage_h, loop, primary_a, at.reset_v)
    return at, pulse, primary_ohm, secondary_ohm


@dataclass(frozen=True, kw_only=True, slots=True)
class _Terminal:
    """The battery's terminal, and what the clamp makes of it."""

    volts: float
    battery_a: float
    clamp_v: float | None
    clamp_rest_a: float  # that the conducting switch carries for the clamp
    reset_v: float  # against which the leakage current falls


def _terminal(
    v: PowerValues, at: _Terminal, primary_a: float, pulse: AveragedPulse, loop: float, primary_ohm: float
) -> _Terminal:
    """The terminal once the leakage energy has gone where it goes: one round, from the round before.

    A clamp that the leakage alone doesn't fill charges to the resting drain through the idle half-primary, at
    the conducting switch's expense. A bridge's diodes lead the energy back to the battery.
    """
    spent_w = float(pulse.final - pulse.mean_square) * loop * primary_a**2
    if v.bridge:
        reset_v = 2.0 * (at.volts + BODY_V)
        battery_a = primary_a - 2.0 * spent_w / reset_v
        volts = v.emf_v - v.source_ohm * battery_a
        return _Terminal(
            volts=volts, battery_a=battery_a, clamp_v=None, clamp_rest_a=0.0, reset_v=2.0 * (volts + BODY_V)
        )
    if v.clamp is None:
        volts = v.emf_v - v.source_ohm * primary_a
        return _Terminal(
            volts=volts, battery_a=primary_a, clamp_v=None, clamp_rest_a=0.0, reset_v=v.avalanche_v
        )
    diode_v, drop_v = v.clamp.diode_v, primary_ohm * float(pulse.final) * primary_a
    rest_v = 2.0 * at.volts - drop_v - diode_v
    clamp_v = float(clamp_voltage_v(spent_w, v.clamp.resistor_ohm, at.volts, rest_v, diode_v))
    through_a = (clamp_v - at.volts) / v.clamp.resistor_ohm
    leakage_a = spent_w / (clamp_v + diode_v)
    battery_a = primary_a + through_a - 2.0 * leakage_a
    return _Terminal(
        volts=v.emf_v - v.source_ohm * battery_a,
        battery_a=battery_a,
        clamp_v=clamp_v,
        clamp_rest_a=max(through_a - leakage_a, 0.0),
        reset_v=clamp_v + diode_v,
    )


def quick(values: PowerValues, *, snubbed: bool = False) -> PowerValues:
    """The same stage with one can a bank, as small as it may be without shaping the pulse.

    Snubbers and bleeders go: the averaged model counts them as a conductance of their own. Behind a choke the
    rectifier's stay, for nothing else quiets the winding in the gaps of its current.

    Parameters
    ----------
    snubbed : the switches keep their snubbers. Without them a leakage inductance that a short pulse leaves
        with a current sees no capacitance, and a simulator's steps run out at the clamp's edge.
    values : the real stage. Its banks shrink until half a cycle's charge moves their voltage by 5 % of the
        drop that drives the pulse; they then settle with a time constant of ten cycles at most.
    """
    point = averaged_point(values)
    drop_v = values.ratio * values.emf_v - values.diode_v - min(point.positive_v, point.negative_v)
    slack_v = _RIPPLE * drop_v
    half_s = 0.5 * values.period_s
    least = max(values.positive_a, values.negative_a) * half_s / slack_v
    input_least = point.battery_a * half_s / (slack_v / values.ratio)
    if values.choke is not None:
        # With both rails' cans the choke then rings at a tenth of the switching frequency.
        least = (_RING_CYCLES / (2.0 * pi * values.switching_hz)) ** 2 / (2.0 * values.choke.inductance_h)
    clamp = values.clamp
    if clamp is not None:
        most = _CLAMP_CYCLES * values.period_s / clamp.resistor_ohm
        clamp = replace(
            clamp,
            each=1,
            diode_ohm=clamp.diode_ohm / clamp.each,
            capacitor_f=min(clamp.capacitor_f, at_most(most, "E12")),
        )
    return replace(
        values,
        reservoir_f=min(values.reservoir_f, least),
        input_f=min(values.input_f, input_least),
        switches_per_side=1,
        input_count=1,
        reservoir_count=1,
        clamp=clamp,
        switch_snubber=values.switch_snubber if snubbed else None,
        rectifier_snubber=None if values.choke is None else values.rectifier_snubber,
        bleeder_ohm=None,
    )


def settling_probes(values: PowerValues) -> tuple[Probe, ...]:
    """What ``simulated_point`` reads."""
    probes = (Voltage("rail_positive"), Voltage("rail_negative"), Current("BT101"), Current("T101A"))
    gate = Voltage(gate_nets("a", values.switches_per_side)[0])
    return (*probes, Voltage("clamp"), gate) if _clamped(values) else probes


def _clamped(values: PowerValues) -> bool:
    return values.clamp is not None and not values.bridge


def settling_run(values: PowerValues) -> Transient:
    """Transient in which a ``quick`` stage settles from the closed form; kept for its last cycles."""
    period = values.period_s
    return Transient(
        stop_s=_SETTLE_CYCLES * period,
        step_s=period / _STEPS_PER_CYCLE,
        keep_from_s=(_SETTLE_CYCLES - _KEPT_CYCLES - 1) * period,
        from_initial=True,
        accuracy=_ACCURACY if values.choke is None else _CHOKE_ACCURACY,
        current_floor_a=_FLOOR * averaged_point(values).battery_a,
        voltage_floor_v=1e-3,
    )


def simulated_point(values: PowerValues, traces: Traces) -> PowerPoint:
    """Averages over the last whole cycles of a settling run.

    Parameters
    ----------
    values : what was simulated. traces : of ``settling_probes``.

    Raises
    ------
    SubwrightError : the rails or the battery current still drift.
    """
    time, period = traces.axis, values.period_s
    courses = {
        "positive rail": traces.voltage("rail_positive"),
        "negative rail": -traces.voltage("rail_negative"),
        "battery current": -traces.current("BT101"),
    }
    means: list[float] = []
    most = _DRIFT if values.choke is None else _CHOKE_DRIFT
    for name, course in courses.items():
        kept_s, kept = last_periods(time, course, period, _KEPT_CYCLES)
        early = kept_s <= kept_s[0] + _AVERAGE_CYCLES * period
        late = mean_of(*last_periods(time, course, period, _AVERAGE_CYCLES))
        drift = mean_of(kept_s[early], kept[early]) / late - 1.0
        if abs(drift) > most:
            raise SubwrightError(
                message=f"The simulated {name} has not settled.",
                quantity="drift over the last cycles",
                value=f"{100 * drift:.3f} %",
                limit=f"{100 * most:g} %",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
        means.append(late)
    switch = traces.current("T101A")
    clamp_v = None
    if _clamped(values):
        clamp_v = mean_of(*last_periods(time, traces.voltage("clamp"), period, _AVERAGE_CYCLES))
        # What flows in the winding while its switch is off goes to the clamp.
        gate = traces.voltage(gate_nets("a", values.switches_per_side)[0])
        switch = np.where(gate > 0.5 * float(gate.max()), switch, 0.0)
    # A bridge's one primary carries both half cycles, each position half of them.
    share = sqrt(0.5) if values.bridge else 1.0
    return PowerPoint(
        positive_v=means[0],
        negative_v=means[1],
        battery_a=means[2],
        switch_rms_a=share * rms_of(*last_periods(time, switch, period, _AVERAGE_CYCLES)),
        clamp_v=clamp_v,
    )
