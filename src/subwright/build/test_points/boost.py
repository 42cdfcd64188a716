"""The boost converter: battery terminal, node, rail, sensed current and gates, with and without signal."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from subwright.base.units import show
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, operating_points
from subwright.circuits.boost_values import BoostPowerValues, closed_point, from_plan
from subwright.circuits.netlist import Reading
from subwright.stages.common import Level
from subwright.stages.converter_boost import BoostCrest, boost_values
from subwright.stages.converter_boost_records import BoostPlan, BoostResult

__all__ = ["boost_control_readings", "boost_readings", "boost_values_at"]

Array = NDArray[np.float64]
Row: TypeAlias = tuple[str, float, float, str, float]
"""Net, mean, swing peak to peak, shape in words, and how far the mean may lie off; V."""
_Rows: TypeAlias = Callable[[BoostResult, OperatingPoint, BoostPowerValues, BoostCrest, str], Iterator[Row]]

_INSTANTS: Final = 2000


def boost_values_at(design: Design, point: OperatingPoint) -> tuple[BoostPowerValues, BoostCrest]:
    """Power stage and switching cycle at a point's battery and mean load.

    Parameters
    ----------
    design : with a boost converter. point : of its chain.

    Raises
    ------
    SubwrightError : the rail can't be held there.
    """
    boost, source_ohm = design.boost, design.supply.source_resistance_ohm
    assert boost is not None
    plan = boost.plan
    hot = boost_values(design.spec.converter, plan, design.heat.air_c, boost.choke_c[Level.PROGRAMME])
    values = from_plan(hot, plan, emf_v=point.emf_v, source_ohm=source_ohm, rail_a=point.rail_a)
    crest = closed_point(hot, plan, emf_v=point.emf_v, source_ohm=source_ohm, rail_a=point.rail_a)
    return values, crest


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Cycle:
    """One switching cycle: where the switch is on, where the rectifier leads, and the choke's current, A."""

    on: NDArray[np.bool_]
    leading: NDArray[np.bool_]
    choke_a: Array
    period_s: float

    @property
    def on_share(self) -> float:
        """Share of the time for which the switch is on."""
        return float(self.on.mean())


def _cycle(v: BoostPowerValues, crest: BoostCrest) -> _Cycle:
    at = (np.arange(_INSTANTS) + 0.5) / _INSTANTS
    valley = max(crest.peak_a - crest.ripple_a, 0.0)
    # means of choke and cycle agree where the current has gaps: what it conducts for, both slopes together
    conducting = min(1.0, crest.choke_a / (0.5 * (crest.peak_a + valley)))
    on, leading = at < crest.duty, (at >= crest.duty) & (at < conducting)
    rising = valley + (crest.peak_a - valley) * at / crest.duty
    falling = crest.peak_a - (crest.peak_a - valley) * (at - crest.duty) / max(
        conducting - crest.duty, 1.0 / _INSTANTS
    )
    choke = np.where(on, rising, np.where(leading, falling, 0.0))
    return _Cycle(on=on, leading=leading, choke_a=choke, period_s=v.period_s)


def _across(current_a: Array, period_s: float, farad: float, esr_ohm: float) -> float:
    """Swing across a bank that takes a current whose mean the supply gives or the load takes, V."""
    moving = current_a - current_a.mean()
    held = np.cumsum(moving) * period_s / _INSTANTS / farad
    return float(np.ptp(held + esr_ohm * moving))


def boost_readings(design: Design) -> Mapping[str, tuple[Reading, ...]]:
    """Readings of the power stage by net; terminals and rail have the means of the settled chain.

    Parameters
    ----------
    design : the build. An empty mapping without a boost converter.
    """
    return _readings(design, _power_rows)


def boost_control_readings(design: Design) -> Mapping[str, tuple[Reading, ...]]:
    """Readings of the controller's sense pin and gates by net.

    Parameters
    ----------
    design : the build. An empty mapping without a boost converter.
    """
    return _readings(design, _control_rows)


def _readings(design: Design, rows: _Rows) -> Mapping[str, tuple[Reading, ...]]:
    boost = design.boost
    if boost is None:
        return {}
    found: dict[str, list[Reading]] = {}
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, point in operating_points(design, signal):
            values, crest = boost_values_at(design, point)
            for net, dc_v, ripple_v, waveform, within_v in rows(boost, point, values, crest, signal):
                reading = Reading(at=at, dc_v=dc_v, ripple_v=ripple_v, waveform=waveform, within_v=within_v)
                found.setdefault(net, []).append(reading)
    return {net: tuple(kept) for net, kept in found.items()}


def _power_rows(
    boost: BoostResult, point: OperatingPoint, v: BoostPowerValues, crest: BoostCrest, signal: str
) -> Iterator[Row]:
    rate, cycle = show(v.switching_hz, "frequency"), _cycle(v, crest)
    # the cable's inductance keeps the ripple out of the battery: the bank has it alone
    swing = _across(-cycle.choke_a, v.period_s, v.input_f, v.input_esr_ohm)
    yield "input", point.terminal_v, swing, f"triangular ripple, {rate}", 0.0
    top_v = v.rail_v + v.diode_v + v.diode_ohm * crest.peak_a
    gaps = cycle.on_share + float(cycle.leading.mean()) < 1.0 - 2.0 / _INSTANTS
    low = f"low for {crest.duty:.0%} of the time, {rate}{', ringing in its gaps' if gaps else ''}"
    mean = point.terminal_v - (v.choke_ohm + v.link_ohm) * crest.choke_a
    yield "node", mean, top_v, f"pulses 0 V to {top_v:.1f} V, {low}", 0.0
    given = np.where(cycle.leading, cycle.choke_a, 0.0)
    swing = _across(given, v.period_s, v.rail_f, v.rail_esr_ohm)
    shape = f"{show(swing, 'voltage')} ripple, {rate}"
    if signal == FULL_SINE:
        bass = show(boost.bass_ripple_v, "voltage")
        shape += f"; {bass} up and down at {show(boost.bass_ripple_hz, 'frequency')}, twice the worst note"
    yield "rail", boost.set_v, swing, shape, 0.5 * (boost.rail_high_v - boost.rail_low_v)
    sensed = np.where(cycle.on, cycle.choke_a, 0.0) * v.burden_ohm / v.sense_turns
    top_v = float(crest.peak_a) * v.burden_ohm / v.sense_turns
    yield "sense", float(sensed.mean()), top_v, f"rising pulses to {top_v:.3f} V, {rate}", 0.0


def _control_rows(
    boost: BoostResult, point: OperatingPoint, v: BoostPowerValues, crest: BoostCrest, signal: str
) -> Iterator[Row]:
    plan, rate, cycle = boost.plan, show(v.switching_hz, "frequency"), _cycle(v, crest)
    sense, on_s = plan.sense, crest.duty * v.period_s
    foot_v = sense.offset_v
    top_v = foot_v + sense.slope_v_per_s * on_s + sense.sense_ohm * crest.peak_a
    pulses = float(np.where(cycle.on, cycle.choke_a, 0.0).mean()) * sense.sense_ohm
    # the ramp goes on rising after the pulse, until the timing capacitor is discharged
    ramp_v = sense.slope_v_per_s * plan.timing.charge_s
    mean = foot_v + pulses + 0.5 * ramp_v
    top_v = max(top_v, foot_v + ramp_v)
    shape = f"{foot_v:.2f} V rising to {top_v:.2f} V, {rate}"
    yield "cs", mean, top_v - foot_v, shape, 0.0
    high_v = _feed_v(plan, point) - plan.drive.driver.drop_v
    shape = f"square wave 0 V to {high_v:.1f} V, {crest.duty:.0%} of the time, {rate}"
    yield "gate", crest.duty * high_v, high_v, shape, 0.0


def _feed_v(plan: BoostPlan, point: OperatingPoint) -> float:
    """Supply of controller and gates, V: that of the follower on the rail, or the battery's."""
    return point.terminal_v if plan.gate_supply is None else plan.gate_supply.output_v
