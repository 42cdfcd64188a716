"""The chain with a regulated converter: output choke, rail held while the duty has room.

The currents are flat-topped here: the choke keeps the rail current steady over a switching cycle, so a
primary path carries ``n (i+ + i-)`` whenever a switch conducts. The share of conduction follows from the rail
wanted, and ends at what dead time and the commutation of the leakage inductance leave; there the rail
follows the battery. The choke's current is taken as continuous.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError
from subwright.build.chain_common import collapsed
from subwright.build.chain_instants import Instants
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, PowerStage, Source
from subwright.physics.chokes import regulated_share

__all__ = ["Regulated", "RegulatedState", "clip_regulated", "solve_regulated"]

Array = NDArray[np.float64]

_MOST_ITERATIONS = 400
_TOLERANCE = 1e-11
_EASING = ((60, 1.0), (160, 0.5), (_MOST_ITERATIONS, 0.25))
"""Up to which round a step goes how far: near the limit of the duty whole steps would swing for ever."""
_LEAST = 0.05
"""Of the battery's EMF at the terminals, and of the set voltage on a rail: no round goes lower, and where one
ends there the supply has collapsed."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RegulatedState:
    """Voltages, V, currents, A, and conducting share at each instant."""

    terminal: Array
    working: Array
    other: Array
    i_working: Array
    i_other: Array
    share: Array
    clamp_a: Array

    def column(self, index: int) -> RegulatedState:
        """The state at one instant, arrays over the corners."""
        return RegulatedState(
            terminal=self.terminal[:, index],
            working=self.working[:, index],
            other=self.other[:, index],
            i_working=self.i_working[:, index],
            i_other=self.i_other[:, index],
            share=self.share[:, index],
            clamp_a=self.clamp_a[:, index],
        )


class Regulated:
    """Loop equations of a regulated converter, averaged over a switching cycle."""

    __slots__ = ("model", "n", "set_v", "source")

    def __init__(self, model: ConverterModel, source: Source) -> None:
        if model.set_v is None:
            raise ValueError("the model has no set voltage")
        self.model, self.source = model, source
        self.n, self.set_v = model.ratio, model.set_v

    def start(self, emf: Array, demand: Array) -> RegulatedState:
        """First guess: rails at the set voltage, battery unloaded."""
        rail = np.full_like(emf + demand, self.set_v)
        zero = np.zeros_like(rail)
        terminal = rail * 0.0 + emf
        return RegulatedState(
            terminal=terminal,
            working=rail,
            other=rail,
            i_working=zero,
            i_other=zero,
            share=np.minimum(self.set_v / (self.n * terminal), self.model.share),
            clamp_a=zero,
        )

    def constant_w(self, terminal: Array) -> Array:
        """Power that does not depend on the load, W."""
        m = self.model
        core = m.core_w * (terminal / m.core_v) ** m.core_exponent
        steady = m.gate_w + m.control_power_w(terminal) + m.choke_core_w + m.reservoir_w
        steady = steady + m.aux_primary_a * terminal
        return np.asarray(core + steady + (m.shunt_s + m.ring_shunt_s) * terminal**2)

    def leakage_w(self, state: RegulatedState) -> Array:
        """Power that the leakage inductance holds at turn-off, W."""
        end_a = self.n * (state.i_working + state.i_other + 0.5 * self.model.choke_ripple_a)
        return np.asarray(self.model.switching_hz * self.model.leakage_h * end_a**2)

    def path_drop_v(self, state: RegulatedState) -> Array:
        """Drop of the primary path while a switch conducts, V."""
        return np.asarray(self.model.primary_ohm * self.n * (state.i_working + state.i_other))

    @property
    def per_primary(self) -> float:
        """Battery current over primary current beyond the conducting share: turn-off overlap and recovery."""
        m = self.model
        return 2.0 * m.switching_hz * m.turn_off_s + m.recovery * m.share

    def battery_a(self, state: RegulatedState) -> Array:
        """Current out of the battery, A."""
        primary = self.n * (state.i_working + state.i_other)
        steady = (self.constant_w(state.terminal) + self.leakage_w(state)) / state.terminal
        return np.asarray(primary * (state.share + self.per_primary) + steady + state.clamp_a)

    def _winding_v(self, state: RegulatedState, share: Array) -> Array:
        """Half-secondary voltage while a switch conducts, V."""
        m = self.model
        primary = self.n * (state.i_working + state.i_other)
        path = m.primary_ohm + m.input_esr_ohm * (1.0 - share)
        return np.asarray(self.n * (state.terminal - path * primary))

    def _drop_v(self, own: Array, opposite: Array, share: Array) -> Array:
        """Drop between winding and rail, V: legs, half-secondaries and choke."""
        m = self.model
        copper = own * share + 0.5 * (1.0 - share) * (own - opposite) * (not m.both_rails)
        legs = 0.5 * (1.0 + share) * m.diode_ohm * own
        return np.asarray(m.diode_v + legs + m.secondary_winding_ohm * copper + m.choke_ohm * own)

    def step(self, emf: Array, state: RegulatedState, demand: Array, i_other: Array) -> RegulatedState:
        """One round of the fixed point: rail at its set value, or where the largest share leaves it.

        Parameters
        ----------
        emf : battery, V. state : the round before. demand : power out of the working rail, W.
        i_other : current out of the idling rail, A.
        """
        m, n = self.model, self.n
        primary = n * (state.i_working + state.i_other)
        end_a = primary + 0.5 * n * m.choke_ripple_a
        most = m.share - 2.0 * m.switching_hz * m.leakage_h * end_a / state.terminal
        most = np.maximum(most, 0.02)
        capped = most * self._winding_v(state, most) - self._drop_v(state.i_working, i_other, most)
        slope = n**2 * most * (most * self.source.total_ohm + m.primary_ohm)
        slope = slope + m.secondary_winding_ohm + m.diode_ohm + m.choke_ohm
        open_v = capped + slope * state.i_working
        root = np.maximum(open_v**2 - 4.0 * slope * demand, 0.0)
        reachable = 0.5 * (open_v + np.sqrt(root))
        working = np.clip(reachable, _LEAST * self.set_v, self.set_v)
        i_working = demand / working
        held = regulated_share(
            working,
            self._drop_v(i_working, i_other, state.share),
            np.maximum(self._winding_v(state, state.share), 1e-3),
            most,
        )
        share = np.where(reachable < self.set_v, most, held)
        after = RegulatedState(
            terminal=state.terminal,
            working=working,
            other=state.other,
            i_working=i_working,
            i_other=i_other,
            share=np.asarray(share),
            clamp_a=state.clamp_a,
        )
        other = share * self._winding_v(after, np.asarray(share)) - self._drop_v(
            i_other, i_working, np.asarray(share)
        )
        clamp_a, _ = m.clamp_currents(self.leakage_w(after), state.terminal, self.path_drop_v(after))
        terminal = emf - self.source.total_ohm * self.battery_a(after)
        return RegulatedState(
            terminal=np.maximum(terminal, _LEAST * emf),
            working=working,
            other=np.maximum(other, _LEAST * self.set_v),
            i_working=i_working,
            i_other=i_other,
            share=np.asarray(share),
            clamp_a=clamp_a,
        )

    def losses(self, state: RegulatedState) -> dict[str, Array]:
        """Losses between battery terminal and rails by name, W."""
        m, share = self.model, state.share
        primary = self.n * (state.i_working + state.i_other)
        battery = self.battery_a(state)
        both = state.i_working + state.i_other
        squares = state.i_working**2 + state.i_other**2
        idle = 0.5 * (1.0 - share) * (not m.both_rails)
        copper = squares * share + idle * (state.i_working - state.i_other) ** 2
        _, clamp_w = m.clamp_currents(self.leakage_w(state), state.terminal, self.path_drop_v(state))
        core = m.core_w * (state.terminal / m.core_v) ** m.core_exponent
        one = np.ones_like(primary)
        on = primary**2 * share
        return {
            "battery": self.source.battery_ohm * battery**2,
            "cable": self.source.cable_ohm * battery**2,
            "fuse and contacts": self.source.contact_ohm * battery**2,
            "input capacitors": m.input_esr_ohm * on * (1.0 - share),
            "switch conduction": on * m.switch_ohm,
            "switch turn-off": 2.0 * m.switching_hz * m.turn_off_s * primary * state.terminal,
            "gate drive": m.gate_w * one,
            "control circuit": m.control_power_w(state.terminal),
            "snubber and output capacitance": m.shunt_s * state.terminal**2,
            "primary links": on * m.link_ohm,
            "primary copper": on * m.primary_winding_ohm,
            "core": core,
            "leakage clamp": clamp_w,
            "secondary copper": m.secondary_winding_ohm * copper,
            "rectifier": 0.5 * (1.0 + share) * m.diode_ohm * squares + m.diode_v * both,
            "rectifier recovery": m.recovery * m.share * primary * state.terminal,
            "rectifier snubber": m.ring_shunt_s * state.terminal**2,
            "auxiliary supply": m.aux_a * (state.working + state.other) + m.aux_primary_a * state.terminal,
            "rail bleeders": m.bleeder_s * (state.working**2 + state.other**2),
            "output choke": m.choke_ohm * squares + m.choke_core_w * one,
            "reservoir capacitors": m.reservoir_w * one,
        }


def _eased(number: int, before: RegulatedState, after: RegulatedState) -> RegulatedState:
    """From one state towards the next, by the share of the way that this round takes."""
    share = next(share for last, share in _EASING if number < last)
    if share == 1.0:
        return after
    values = {
        item.name: (1.0 - share) * getattr(before, item.name) + share * getattr(after, item.name)
        for item in fields(RegulatedState)
    }
    return RegulatedState(**values)


def _settled(before: RegulatedState, after: RegulatedState) -> float:
    return max(
        float(np.max(np.abs(after.terminal / before.terminal - 1.0))),
        float(np.max(np.abs(after.working / before.working - 1.0))),
        float(np.max(np.abs(after.other / before.other - 1.0))),
        float(np.max(np.abs(after.share / before.share - 1.0))),
        float(np.max(np.abs(after.i_working - before.i_working))) / float(np.max(after.i_working) + 1e-3),
        float(np.max(np.abs(after.clamp_a - before.clamp_a))) / float(np.max(after.i_working) + 1e-3),
    )


def _checked(
    state: RegulatedState, demand: Array, change: float, emf: Array, loop: Regulated
) -> RegulatedState:
    source, floor = loop.source, 1.001 * _LEAST
    flat = bool(
        np.any(state.terminal <= floor * emf)
        or np.any(np.minimum(state.working, state.other) <= floor * loop.set_v)
    )
    if change <= _TOLERANCE and not flat:
        return state
    if (
        flat
        or not np.all(np.isfinite(state.working))
        or np.any(np.abs(state.i_working * state.working / np.maximum(demand, 1e-9) - 1.0) > 1e-3)
    ):
        raise collapsed(demand, float(np.min(emf)) ** 2 / (4.0 * source.total_ohm))
    raise ConvergenceError(
        message="The battery, the regulated converter and the amplifier did not settle on one point.",
        quantity="relative change",
        value=f"{change:.3g}",
        limit=f"{_TOLERANCE:g}",
        remedy="The design is close to the most power that the source can give: lower goal.power, or shorten "
        "or thicken the cable (supply.section).",
    )


def solve_regulated(
    at: Instants, source: Source, stage: PowerStage, model: ConverterModel, start: RegulatedState | None
) -> tuple[ChainPoint, RegulatedState]:
    """Chain with a regulated converter.

    Parameters
    ----------
    at : what the load asks. source, stage, model : the parts of the chain.
    start : the solution of a like chain, to begin from; None begins unloaded.

    Returns
    -------
    (point with arrays of shape (corners, waveforms), state at every instant).
    """
    loop = Regulated(model, source)
    idle = np.zeros_like(at.v_out)
    state = start or loop.start(at.emf, idle)
    change = np.inf
    demand = idle
    for number in range(_MOST_ITERATIONS):
        resting = stage.input_power_w(idle, idle, state.other)
        i_other = 0.5 * resting / state.other + model.rail_own_a(state.other)
        demand = (
            stage.input_power_w(at.v_out, at.i_out, state.working)
            - 0.5 * stage.input_power_w(idle, idle, state.working)
            + at.swap
            + model.rail_own_a(state.working) * state.working
        )
        after = loop.step(at.emf, state, demand, i_other)
        change = _settled(state, after)
        state = _eased(number, state, after)
        if change < _TOLERANCE:
            break
    state = _checked(state, demand, change, at.emf, loop)

    losses = loop.losses(state)
    playing = stage.loss_split_w(at.v_out, at.i_out, state.working)
    resting_working = stage.loss_split_w(idle, idle, state.working)
    resting_other = stage.loss_split_w(idle, idle, state.other)
    for name, watts in playing.items():
        losses[f"amplifier {name}"] = at.full(watts + 0.5 * (resting_other[name] - resting_working[name]))
    primary = model.ratio * (state.i_working + state.i_other)
    battery = loop.battery_a(state)
    share = state.share
    squares = state.i_working**2 + state.i_other**2
    copper = squares * share + 0.5 * (1.0 - share) * (state.i_working - state.i_other) ** 2
    mean_battery, mean_both = at.mean(battery), at.mean(state.i_working + state.i_other)
    point = ChainPoint(
        emf_v=np.broadcast_to(at.emf, mean_battery.shape),
        peak_v=at.at_crest(at.v_out),
        output_w=at.mean(at.delivered),
        battery_w=at.emf * mean_battery,
        battery_a=mean_battery,
        battery_rms_a=np.sqrt(at.mean(battery**2)),
        battery_peak_a=at.highest(battery),
        terminal_v=at.mean(state.terminal),
        terminal_least_v=at.lowest(state.terminal),
        rail_crest_v=at.at_crest(state.working),
        rail_mean_v=at.mean(state.working),
        rail_other_v=at.at_crest(state.other),
        rail_a=0.5 * mean_both,
        rail_peak_a=at.at_crest(state.i_working),
        primary_rms_a=np.sqrt(0.5 * at.mean(primary**2 * share)),
        primary_peak_a=at.at_crest(primary),
        secondary_rms_a=np.sqrt(0.5 * at.mean(copper)),
        diode_a=0.25 * mean_both,
        input_ripple_a=np.sqrt(at.mean(primary**2 * share * (1.0 - share))),
        reservoir_ripple_a=np.full(mean_battery.shape, model.choke_ripple_a / np.sqrt(12.0)),
        losses_w=at.means(losses),
    )
    return point, state


def clip_regulated(
    emf: Array,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    model: ConverterModel,
    start: RegulatedState | None,
) -> Array:
    """Peak output voltage at the onset of clipping, V, shape of ``emf``; see ``find_clipping``."""
    loop = Regulated(model, source)
    zero = np.zeros_like(emf)
    state = start or loop.start(emf, zero)
    change = np.inf
    demand = zero
    for number in range(_MOST_ITERATIONS):
        peak = stage.clip_peak_v(state.working, load.magnitude_ohm)
        i_other = 0.5 * stage.input_power_w(zero, zero, state.other) / state.other
        i_other = i_other + model.rail_own_a(state.other)
        demand = stage.input_power_w(peak, peak * load.conductance_s, state.working)
        demand = demand - 0.5 * stage.input_power_w(zero, zero, state.working)
        demand = demand + model.rail_own_a(state.working) * state.working
        after = loop.step(emf, state, demand, i_other)
        change = _settled(state, after)
        state = _eased(number, state, after)
        if change < _TOLERANCE:
            break
    state = _checked(state, demand, change, emf, loop)
    return np.asarray(stage.clip_peak_v(state.working, load.magnitude_ohm))
