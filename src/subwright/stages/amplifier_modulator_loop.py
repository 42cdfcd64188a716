"""The loop of a class-D modulator in preferred values: integrator, clock or hysteresis, offset."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import log, pi, sqrt
from types import MappingProxyType
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import FastComparator, OpAmp
from subwright.physics.modulators import (
    RelaxationClock,
    clocked_loop_hz,
    difference_offset_v,
    feedback_slope_v_per_s,
    least_pulse_modulation,
    relaxation_clock,
    self_oscillating_duration_s,
    self_oscillating_loop_hz,
    self_oscillating_pulse_s,
)
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_supply import CLOCK_PULL_UP_OHM, Supplies, chips

__all__ = ["Loop", "design_loop"]

_SLOPE_RATIO: Final = 2.2
"""Carrier's slope over the feedback's at the highest bus: above 2 no modulation makes a second crossing."""
_SLOPE_MOST: Final = 3.2
_THRESHOLD_OHM: Final = 10e3
_TIMING_OHM: Final = (2.2e3, 22e3)
_TIMING_AIM_OHM: Final = 6.8e3
_TIMING_F: Final = (100e-12, 4.7e-9)
_SERIES_OHM: Final = 2.2e3
_SHARE: Final = 0.5
_HYSTERESIS_OHM: Final = 2.2e3
_SWING_LOSS_V: Final = 3.1  # of the usual op-amps' outputs to their supply
_OP_AMP_S: Final = 20e-9  # lag of 8 MHz, while the op-amp isn't chosen
_ROOM_V: Final = 6.6  # highest that a carrier makes the integrator go
_ONE_ROOM_V: Final = 2.9  # lowest, on one supply
_CLAMP_F: Final = 8e-12  # two 1N4148, from memory
_HYSTERESIS_V: Final = 1.5  # at the integrator's output, either way
_SWING_V: Final = (5.0, 1.9)  # greatest either way with the delay's overshoot, two rails and one supply
_FEEDBACK_OHM: Final = (15e3, 330e3)
_FEEDBACK_V2_PER_OHM: Final = 0.1  # heat of a feedback resistor, W
_INTEGRATOR_F: Final = (47e-12, 10e-9)
_INPUT_OHM: Final = 47e3
_INPUT_BELOW: Final = 10.0  # corner of the input coupling under the lowest note
_RESISTOR: Final = 0.01
_CAPACITOR: Final = 0.05
_DELAY_SPREAD: Final = (0.7, 1.4)  # of the whole delay from part to part; common practice, no source
_DELAY_SHARE: Final = 0.7  # of a self-oscillating period that delays may fill
_HALF_SHARE: Final = 0.45  # of a clock's period
_REACH_LEAST: Final = 0.7
_BANDWIDTH: Final = 20.0  # gain-bandwidth over the switching frequency, wanted
_SLEW: Final = 1.2  # of an op-amp over the steepest ripple, twice that at rest
_SLOPE_V_PER_S: Final = 6e6  # steepest ripple aimed at
_OFFSET_SHARE: Final = (
    0.01  # of the peak output: moves the cone by a hundredth of its travel; common practice
)
_BIAS_SHARE: Final = 0.25  # input offset current over bias current, from memory
_RAIL_MISMATCH: Final = 0.02  # of two rails; common practice, no source
_TIGHT: Final = 0.001
_GUESS_OHM: Final = 100e3  # feedback resistor while the op-amp is chosen
_USUAL: Final = ("NE5532", "LM833", "MC33078", "NJM4580", "OPA2134")


@dataclass(frozen=True, kw_only=True, slots=True)
class Loop:
    """The loop's values; names as in Modulator."""

    op_amp_id: str
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    tolerance: float
    gain: float
    gain_wanted: float
    input_hz: float
    clock: RelaxationClock | None
    hysteresis: float
    switching_hz: float
    window_hz: tuple[float, float]
    delays_s: Mapping[str, float]
    carrier_v_per_s: float
    feedback_v_per_s: float
    loop_hz: float
    pulse_least_s: float
    reach: float
    offset_v: float
    offset_limit_v: float
    integrator_window_v: tuple[float, float]
    integrator_room_v: tuple[float, float]
    slew_v_per_s: float
    difference_v: float


@dataclass(frozen=True, slots=True)
class _Integrator:
    feedback_ohm: float
    input_ohm: float
    capacitor_f: float

    @property
    def gain(self) -> float:
        return self.feedback_ohm / self.input_ohm

    @property
    def duration_s(self) -> float:
        return self.feedback_ohm * self.capacitor_f


def design_loop(
    need: ModulatorNeed,
    supplies: Supplies,
    delays_s: Mapping[str, float],
    library: Library,
) -> Loop:
    """Choose op-amp, integrator, and clock or hysteresis.

    Parameters
    ----------
    need : the wishes. supplies : of op-amps and clock. delays_s : behind the comparator, by name, s.
    library : with the drawer merged.

    Returns
    -------
    Loop.

    Raises
    ------
    NoSolutionError : the delays don't allow the switching frequency, or no op-amp serves.
    PartNotFoundError : the stated op-amp is unknown.

    Source
    ------
    Loop conditions [cox-mouton2018], [derived]; delay of the comparator [ti-lm319].
    """
    comparator = chips(library)[0]
    gain_wanted = need.peak_v / (sqrt(2.0) * need.full_input_v)
    node_gain = gain_wanted / need.load_share
    delays = {
        "comparator": comparator.response_s,
        **delays_s,
        # the clamp diodes' capacitance behind the resistors before the comparator
        "clamp": _CLAMP_F * (_SERIES_OHM * _SHARE if need.clocked else 2.0 * _HYSTERESIS_OHM),
    }
    pulse_s = comparator.response_s
    _refuse_fast(need, sum(delays.values()) + _OP_AMP_S, pulse_s)
    op_amp = _op_amp(need, supplies, node_gain, sum(delays.values()) + _OP_AMP_S, library)
    delays["op-amp"] = 1.0 / (2.0 * pi * op_amp.gbw_hz)
    delay_s = sum(delays.values())
    high_v, nominal_v = need.swing_v(need.rail_high_v), need.swing_v(need.rail_nominal_v)
    if need.clocked:
        resistors, capacitors, clock = _clock(need, supplies, comparator)
        carrier = clock.slope_v_per_s
        target_s = _SLOPE_RATIO * _SHARE * high_v / carrier
        integrator = _integrator(need, node_gain, target_s, (1.0, _SLOPE_MOST / _SLOPE_RATIO))
        resistors |= {"comparator series": _SERIES_OHM, "comparator shunt": _SERIES_OHM}
        share, hysteresis = _SHARE, 0.0
        feedback = share * feedback_slope_v_per_s(high_v, integrator.feedback_ohm, integrator.capacitor_f)
        switching_hz, window = (
            clock.frequency_hz,
            _clock_window(need, supplies, comparator, resistors, capacitors),
        )
        loop_hz = clocked_loop_hz(switching_hz, carrier, feedback * nominal_v / high_v, delay_s)
        reach = least_pulse_modulation(pulse_s, switching_hz)
        middle_v = 0.5 * (clock.low_v + clock.high_v) / share
        # The ripple dies away as the mean nears the carrier's ends; the delay's overshoot stays.
        half_v = (0.5 * (clock.high_v - clock.low_v) + 2.0 * feedback * delay_s) / share
        difference_v = max(supplies.clock_v + 0.6 - clock.low_v, clock.high_v + 0.6)
    else:
        clock = None
        resistors, capacitors = {}, {}
        hysteresis, integrator = _hysteresis(need, nominal_v, node_gain, supplies.op_low_v, delay_s)
        resistors["hysteresis input"] = _HYSTERESIS_OHM
        resistors["hysteresis feedback"] = _HYSTERESIS_OHM / hysteresis
        share = 1.0 / (1.0 + hysteresis)
        carrier = 0.0
        feedback = share * feedback_slope_v_per_s(high_v, integrator.feedback_ohm, integrator.capacitor_f)
        period_s = self_oscillating_duration_s(hysteresis, integrator.duration_s, delay_s)
        switching_hz, window = 1.0 / period_s, _loop_window(hysteresis, integrator.duration_s, delay_s)
        loop_hz = self_oscillating_loop_hz(period_s)
        # Pulses never get shorter than a quarter of the period; what ends its reach is the slowing down.
        reach = sqrt(1.0 - 0.02)
        pulse_s = self_oscillating_pulse_s(period_s, reach)
        middle_v = supplies.reference_v
        half_v = high_v * (hysteresis + 2.0 * delay_s / integrator.duration_s)
        difference_v = 0.7  # held by the clamp diodes
    resistors |= {"integrator input": integrator.input_ohm, "integrator feedback": integrator.feedback_ohm}
    capacitors["integrator capacitor"] = integrator.capacitor_f
    input_hz = 0.0
    if not need.split_rails:
        resistors |= {"modulator input bias": _INPUT_OHM, "modulator input balance": _INPUT_OHM}
        exact = _INPUT_BELOW / (2.0 * pi * _INPUT_OHM * need.lowest_note_hz)
        capacitors["modulator input capacitor"] = float(at_least(exact, "E6"))
        input_hz = 1.0 / (2.0 * pi * _INPUT_OHM * capacitors["modulator input capacitor"])
    limit_v = _OFFSET_SHARE * need.peak_v
    usual = need.tolerance if need.tolerance is not None else _RESISTOR
    offset_v = _offset_v(need, supplies, op_amp, integrator.gain, integrator.feedback_ohm, usual)
    if need.tolerance is None and offset_v > limit_v:
        usual = _TIGHT
        offset_v = _offset_v(need, supplies, op_amp, integrator.gain, integrator.feedback_ohm, usual)
    low_room = (-supplies.op_low_v if need.split_rails else 0.0) + op_amp.swing_loss_v
    return Loop(
        op_amp_id=op_amp.id,
        resistors_ohm=MappingProxyType(resistors),
        capacitors_f=MappingProxyType(capacitors),
        tolerance=usual,
        gain=integrator.gain * need.load_share,
        gain_wanted=gain_wanted,
        input_hz=input_hz,
        clock=clock,
        hysteresis=hysteresis,
        switching_hz=switching_hz,
        window_hz=window,
        delays_s=MappingProxyType(delays),
        carrier_v_per_s=carrier,
        feedback_v_per_s=feedback,
        loop_hz=loop_hz,
        pulse_least_s=pulse_s,
        reach=reach,
        offset_v=offset_v,
        offset_limit_v=limit_v,
        integrator_window_v=(middle_v - half_v, middle_v + half_v),
        integrator_room_v=(low_room, supplies.op_low_v - op_amp.swing_loss_v),
        slew_v_per_s=2.0 * feedback / share,
        difference_v=difference_v,
    )


def _refuse_fast(need: ModulatorNeed, delay_s: float, pulse_s: float) -> None:
    """Refuse a switching frequency that the delays don't allow."""
    if need.clocked:
        highest = min(_HALF_SHARE / delay_s, (1.0 - _REACH_LEAST) / (2.0 * pulse_s))
        what = "the shortest pulse or the loop's delay fills too much of the clock's period"
    else:
        highest = _DELAY_SHARE / (4.0 * delay_s)
        what = "the delays leave too little of the period to the hysteresis"
    if need.switching_hz <= highest:
        return
    raise NoSolutionError(
        message=f"The class-D modulator can't switch that fast: {what}.",
        quantity="amplifier.switching",
        value=show(need.switching_hz, "frequency"),
        limit=f"at most {show(highest, 'frequency')} with {show(delay_s, 'time')} from comparator to node",
        source="derived",
        remedy="Lower amplifier.switching, or shorten amplifier.dead_time.",
    )


def _op_amp(need: ModulatorNeed, supplies: Supplies, gain: float, delay_s: float, library: Library) -> OpAmp:
    """A dual op-amp that is fast enough; with room and little offset first, then one at hand."""
    if need.op_amp != "auto":
        return library.op_amp(need.op_amp)
    sides = 2.0 if need.split_rails else 1.0
    lowest, highest = sides * supplies.op_low_v, sides * supplies.op_v
    wanted, slew = (
        min(_BANDWIDTH * need.switching_hz, 8e6),
        _SLEW * _slew_v_per_s(need, supplies.op_low_v, delay_s),
    )
    fit = [
        a
        for a in library.op_amps.values()
        if a.channels == 2 and a.gbw_hz >= wanted and a.slew_v_per_s >= slew and a.supply_max_v >= highest
    ]
    if not fit:
        raise NoSolutionError(
            message="No dual op-amp in drawer and library is fast enough for the modulator's integrator.",
            quantity="gain-bandwidth and slew rate",
            value=f"{wanted / 1e6:.1f} MHz, {slew / 1e6:.1f} V/µs",
            limit="that of the records",
            source="parts library",
            remedy="Lower amplifier.switching, or state amplifier.op_amp.",
        )
    room_v = supplies.op_low_v - _ROOM_V
    if not need.split_rails:
        room_v = min(room_v, _ONE_ROOM_V)

    def offset(a: OpAmp) -> float:
        share = _offset_v(need, supplies, a, gain, _GUESS_OHM, _TIGHT) / (_OFFSET_SHARE * need.peak_v)
        return max(round(share, 2), 1.0)

    return min(
        fit,
        key=lambda a: (
            a.supply_min_v > lowest,
            max(a.swing_loss_v - room_v, 0.0) if need.clocked or not need.split_rails else 0.0,
            offset(a),
            library.in_drawer(a.id) == 0,
            _USUAL.index(a.id) if a.id in _USUAL else len(_USUAL),
            a.id,
        ),
    )


def _slew_v_per_s(need: ModulatorNeed, op_low_v: float, delay_s: float) -> float:
    """About what the integrator's ripple needs at full output, V/s."""
    if need.clocked:
        return 5.0 * need.switching_hz
    own_s = 0.25 / need.switching_hz - delay_s
    return 2.0 * _hysteresis_v(need, op_low_v, delay_s) * need.rail_high_v / need.rail_nominal_v / own_s


def _clock_at(
    supplies: Supplies,
    comparator: FastComparator,
    timing_ohm: float,
    timing_f: float,
    delay_s: float,
    skew: float = 0.0,
) -> RelaxationClock:
    return relaxation_clock(
        supplies.clock_v,
        comparator.vol_v,
        CLOCK_PULL_UP_OHM,
        timing_ohm,
        timing_f,
        _THRESHOLD_OHM,
        _THRESHOLD_OHM,
        _THRESHOLD_OHM * (1.0 + skew),
        delay_s,
    )


def _clock(
    need: ModulatorNeed, supplies: Supplies, comparator: FastComparator
) -> tuple[dict[str, float], dict[str, float], RelaxationClock]:
    """Timing parts nearest to the frequency: each capacitor near the aim with its best resistor."""
    wanted = need.switching_hz
    aim_f = 1.0 / (1.4 * wanted * _TIMING_AIM_OHM)
    best: tuple[float, float, float, RelaxationClock] | None = None
    for capacitor in between(
        max(0.4 * aim_f, _TIMING_F[0]), min(max(2.5 * aim_f, 2.0 * _TIMING_F[0]), _TIMING_F[1]), "E6"
    ):
        farads = float(capacitor)
        exact = 1.0 / (1.4 * wanted * farads)
        for _ in range(5):  # the period grows almost straight with the resistor
            got = _clock_at(supplies, comparator, exact, farads, comparator.response_s).frequency_hz
            exact = min(max(exact + (1.0 / wanted - 1.0 / got) / (1.4 * farads), 500.0), 1e5)
        ohms = float(nearest(exact, "E24"))
        if not _TIMING_OHM[0] <= ohms <= _TIMING_OHM[1]:
            continue
        clock = _clock_at(supplies, comparator, ohms, farads, comparator.response_s)
        error = abs(clock.frequency_hz / wanted - 1.0)
        if best is None or error < best[0] - 1e-9:
            best = (error, ohms, farads, clock)
    if best is None:
        raise NoSolutionError(
            message="No preferred timing parts give the modulator's clock that frequency.",
            quantity="amplifier.switching",
            value=show(wanted, "frequency"),
            source="derived",
            remedy="Choose another amplifier.switching.",
        )
    resistors = {
        "clock timing resistor": best[1],
        "clock pull-up": CLOCK_PULL_UP_OHM,
        "clock threshold upper": _THRESHOLD_OHM,
        "clock threshold lower": _THRESHOLD_OHM,
        "clock threshold feedback": _THRESHOLD_OHM,
    }
    return resistors, {"clock timing capacitor": best[2]}, best[3]


def _clock_window(
    need: ModulatorNeed,
    supplies: Supplies,
    comparator: FastComparator,
    resistors: Mapping[str, float],
    capacitors: Mapping[str, float],
) -> tuple[float, float]:
    """Lowest and highest frequency with every part at its worst, Hz."""
    ohms, farads = resistors["clock timing resistor"], capacitors["clock timing capacitor"]
    ends = []
    for sign, delay in ((1.0, _DELAY_SPREAD[1]), (-1.0, _DELAY_SPREAD[0])):
        ends.append(
            _clock_at(
                supplies,
                comparator,
                ohms * (1.0 + sign * _RESISTOR),
                farads * (1.0 + sign * _CAPACITOR),
                comparator.response_s * delay,
                -2.0 * sign * _RESISTOR,
            ).frequency_hz
        )
    return ends[0], ends[1]


def _loop_window(hysteresis: float, integrator_s: float, delay_s: float) -> tuple[float, float]:
    high = (1.0 + 2.0 * _RESISTOR) * (1.0 + _RESISTOR) * (1.0 + _CAPACITOR)
    slow = self_oscillating_duration_s(hysteresis * high, integrator_s, delay_s * _DELAY_SPREAD[1])
    fast = self_oscillating_duration_s(hysteresis / high, integrator_s, delay_s * _DELAY_SPREAD[0])
    return 1.0 / slow, 1.0 / fast


def _hysteresis_v(need: ModulatorNeed, op_low_v: float, delay_s: float) -> float:
    """Threshold at the integrator's output, V: less where the delay's overshoot is the larger part."""
    own_s = 0.25 / need.switching_hz - delay_s
    room_v = _SWING_V[1] if not need.split_rails else min(_SWING_V[0], max(op_low_v - _SWING_LOSS_V, 1.0))
    most_v = room_v * need.rail_nominal_v / need.rail_high_v
    quick_v = 0.5 * _SLOPE_V_PER_S * own_s * need.rail_nominal_v / need.rail_high_v
    return min(_HYSTERESIS_V, quick_v, most_v / (1.0 + 2.0 * delay_s / own_s))


def _hysteresis(
    need: ModulatorNeed, swing_v: float, gain: float, op_low_v: float, delay_s: float
) -> tuple[float, _Integrator]:
    """Ratio of the positive feedback and the integrator that give the frequency together."""
    aim_v = _hysteresis_v(need, op_low_v, delay_s)
    feedback = float(nearest(_HYSTERESIS_OHM * swing_v / aim_v, "E24"))
    hysteresis = _HYSTERESIS_OHM / feedback
    target_s = (0.25 / need.switching_hz - delay_s) / hysteresis
    return hysteresis, _integrator(need, gain, target_s, (0.9, 1.1))


def _integrator(
    need: ModulatorNeed, gain: float, target_s: float, window: tuple[float, float]
) -> _Integrator:
    """Feedback resistor, input resistor and capacitor that meet gain and time constant best.

    A clocked loop may be slower than the target (its window starts at 1), a self-oscillating one should
    meet it.
    """
    # The nodes average less than the rail in each resistor.
    least = max(_FEEDBACK_OHM[0], need.rail_high_v**2 / _FEEDBACK_V2_PER_OHM)
    best: tuple[float, _Integrator] | None = None
    for feedback in _steps(least, max(_FEEDBACK_OHM[1], 4.0 * least)):
        capacitor = float(
            at_least(target_s / feedback, "E12") if window[0] >= 1.0 else nearest(target_s / feedback, "E12")
        )
        if not _INTEGRATOR_F[0] <= capacitor <= _INTEGRATOR_F[1]:
            continue
        made = _Integrator(feedback, float(nearest(feedback / gain, "E24")), capacitor)
        over = made.duration_s / target_s
        outside = 0.0 if window[0] * (1.0 - 1e-9) <= over <= window[1] else 1.0
        miss = abs(log(over)) if window[0] < 1.0 else 0.02 * (over - 1.0)
        score = outside + miss + abs(log(made.gain / gain))
        if best is None or score < best[0] - 1e-9:
            best = (score, made)
    if best is None:
        raise NoSolutionError(
            message="No preferred values give the modulator's integrator its time constant.",
            quantity="integrator's time constant",
            value=show(target_s, "time"),
            limit=f"{show(_FEEDBACK_OHM[0] * _INTEGRATOR_F[0], 'time')} to "
            f"{show(_FEEDBACK_OHM[1] * _INTEGRATOR_F[1], 'time')}",
            source="derived",
            remedy="Choose another amplifier.switching.",
        )
    return best[1]


@lru_cache(maxsize=32)
def _steps(low: float, high: float) -> tuple[float, ...]:
    return tuple(float(v) for v in between(low, high, "E24"))


def _offset_v(
    need: ModulatorNeed, supplies: Supplies, op_amp: OpAmp, gain: float, feedback_ohm: float, tolerance: float
) -> float:
    """Greatest direct voltage at the load: both op-amps, their bias currents and unequal resistors, V."""
    current_a = _BIAS_SHARE * op_amp.ib_a  # equal resistors at both inputs leave the difference only
    own = op_amp.vos_v * (1.0 + 2.0 * gain) + current_a * feedback_ohm
    mean_v = 0.0
    if not need.split_rails:
        own += current_a * _INPUT_OHM * gain
        mean_v = 0.5 * need.rail_high_v
    elif need.legs == 2:
        mean_v = _RAIL_MISMATCH * need.rail_high_v
    return own + difference_offset_v(gain, tolerance, mean_v, supplies.reference_v)
