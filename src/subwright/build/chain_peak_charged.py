"""The chain with peak-charged rails: no choke, the rail follows the battery.

Per instant the rail and the battery sag together, which is one quadratic in the rail current and a short
fixed-point loop for the losses that depend on the voltages themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from subwright.build.chain_common import (
    MOST_ROUNDS,
    TOLERANCE,
    collapsed,
    moved,
    not_settled,
    rail_under_power,
)
from subwright.build.chain_instants import Instants
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, PowerStage, Source
from subwright.physics.push_pull import averaged_pulse, split_loop_ohm

__all__ = ["RailState", "clip_peak_charged", "solve_peak_charged"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class RailState:
    """Voltages, V, and currents, A, at each instant: what one round of the loop hands to the next."""

    terminal: Array
    working: Array
    other: Array
    i_working: Array
    i_other: Array
    extra: Array  # of each rail: recovery and rectifier snubbers
    clamp: Array  # of the battery
    reset: Array | float  # V, against which the leakage current falls

    def column(self, index: int) -> RailState:
        """The state at one instant, arrays over the corners."""
        return RailState(
            terminal=self.terminal[:, index],
            working=self.working[:, index],
            other=self.other[:, index],
            i_working=self.i_working[:, index],
            i_other=self.i_other[:, index],
            extra=self.extra[:, index],
            clamp=self.clamp[:, index],
            reset=self.reset[:, index] if isinstance(self.reset, np.ndarray) else self.reset,
        )


class _Pulses:
    """What a rail ampere costs in volts at each instant, by the pulse that the split between the rails gives.

    ``final``, ``square`` and ``end`` are those of ``averaged_pulse``; ``drop_ohm`` is seen from the working
    rail up to the EMF; ``stored`` is what of the loop's drop goes with the leakage current.
    """

    __slots__ = (
        "drop_ohm",
        "end",
        "final",
        "overlap",
        "r_input",
        "r_primary",
        "r_secondary",
        "square",
        "stored",
    )

    def __init__(self, model: ConverterModel, source_ohm: float, state: RailState) -> None:
        m, i_working, i_other = model, state.i_working, state.i_other
        loop = split_loop_ohm(m.primary_ohm, m.secondary_ohm, m.ratio, i_working, i_other)
        primary = m.ratio * (i_working + i_other)
        pulse = averaged_pulse(m.share, m.switching_hz, m.leakage_h, loop, primary, state.reset)
        self.final, self.square, self.end = pulse
        self.overlap = 2.0 * m.switching_hz * m.turn_off_s * self.end
        self.stored = self.final - self.square
        self.r_primary = m.primary_ohm * self.final  # drop per ampere of mean primary current
        ripple = self.square - 1.0
        self.r_input = m.input_esr_ohm * ripple
        self.r_secondary = m.secondary_ohm * self.final + m.reservoir_esr_ohm * ripple
        before = source_ohm * (1.0 + self.overlap) + self.r_primary + self.r_input
        self.drop_ohm = m.ratio**2 * before + self.r_secondary


class _Link:
    """The converter as the rails see it: from terminal and EMF to the rails' currents."""

    __slots__ = ("model", "n", "r_source")

    def __init__(self, model: ConverterModel, source: Source) -> None:
        self.model, self.n, self.r_source = model, model.ratio, source.total_ohm

    def pulses(self, state: RailState) -> _Pulses:
        """The pulses under a state's currents."""
        return _Pulses(self.model, self.r_source, state)

    def start(self, emf: Array) -> RailState:
        """First guess: battery and rails unloaded."""
        zero = np.zeros_like(emf)
        rail = self.n * emf - self.model.diode_v
        return RailState(
            terminal=emf,
            working=rail,
            other=rail,
            i_working=zero,
            i_other=zero,
            extra=zero,
            clamp=zero,
            reset=self.model.reset_v(zero, emf),
        )

    def constant_a(self, state: RailState) -> Array:
        """Battery current that does not depend on the rail currents of this round, A."""
        m, terminal = self.model, state.terminal
        steady = m.gate_w + m.control_power_w(terminal) + m.aux_primary_a * terminal
        power = _core_w(m, terminal) + steady + m.shunt_s * terminal**2
        return np.asarray(power / terminal + state.clamp)

    def open_v(self, emf: Array, pulses: _Pulses, constant_a: Array, i_other: Array) -> Array:
        """Working rail at no current of its own, V."""
        primary = self.n * i_other
        sag = self.r_source * (constant_a + (1.0 + pulses.overlap) * primary)
        return np.asarray(
            self.n * (emf - sag - (pulses.r_primary + pulses.r_input) * primary) - self.model.diode_v
        )

    def leakage_w(self, pulses: _Pulses, primary: Array, i_working: Array, i_other: Array) -> Array:
        """Power that the leakage inductance holds at turn-off, W."""
        on_primary = primary**2 * self.model.primary_ohm
        on_secondary = (i_working**2 + i_other**2) * self.model.secondary_ohm
        return np.asarray(pulses.stored * (on_primary + on_secondary))

    def after(
        self, emf: Array, pulses: _Pulses, constant_a: Array, working: Array, demand: Array, i_other: Array
    ) -> RailState:
        """The state once the working rail has settled at ``working`` V under a demand of ``demand`` W.

        Raises
        ------
        NoSolutionError : a voltage of the chain has fallen to nothing.
        """
        m = self.model
        i_working = demand / working
        primary = self.n * (i_working + i_other)
        terminal = emf - self.r_source * (primary * (1.0 + pulses.overlap) + constant_a)
        dropped = pulses.r_primary * primary
        other = (
            self.n * (terminal - dropped - pulses.r_input * primary)
            - m.diode_v
            - pulses.r_secondary * i_other
        )
        if min(working.min(), terminal.min(), other.min()) <= 0.0:
            raise collapsed(demand)
        leakage_w = self.leakage_w(pulses, primary, i_working, i_other)
        clamp, _ = m.clamp_currents(leakage_w, terminal, dropped)
        return RailState(
            terminal=terminal,
            working=working,
            other=other,
            i_working=i_working,
            i_other=i_other,
            extra=m.recovery * (i_working + i_other) + m.ring_s * (working + other),
            clamp=clamp,
            reset=m.reset_v(leakage_w, terminal, dropped),
        )

    def change(self, before: RailState, now: RailState) -> float:
        """How far a round moved the state (dimensionless)."""
        most_a = float(np.abs(now.i_working).max())
        return max(
            moved(now.working, before.working),
            moved(now.terminal, before.terminal),
            moved(now.other, before.other),
            float(np.abs(now.extra - before.extra).max()) / (most_a + 1e-3),
            float(np.abs(now.clamp - before.clamp).max()) / (self.n * most_a + 1e-3),
        )


def _core_w(model: ConverterModel, terminal: Array) -> Array:
    return np.asarray(model.core_w * (terminal / model.core_v) ** model.core_exponent)


class _Demand:
    """What the power stage asks of the rails.

    Three cases in one call of the stage: the music on the working rail, and each rail at rest.
    """

    __slots__ = ("_i", "_model", "_stage", "_swap", "_v")

    def __init__(
        self, v_out: Array, i_out: Array, swap: Array | float, stage: PowerStage, model: ConverterModel
    ) -> None:
        idle = np.zeros_like(v_out)
        self._v, self._i = np.array((v_out, idle, idle)), np.array((i_out, idle, idle))
        self._stage, self._model, self._swap = stage, model, swap

    def of(self, state: RailState) -> tuple[Array, Array]:
        """Power out of the working rail, W, and current out of the idling one, A."""
        working, other, own_a = state.working, state.other, self._model.rail_own_a
        playing, resting, resting_other = self._stage.input_power_w(
            self._v, self._i, np.array((working, working, other))
        )
        i_other = 0.5 * resting_other / other + state.extra + own_a(other)
        demand = playing - 0.5 * resting + self._swap + (state.extra + own_a(working)) * working
        return demand, i_other

    def losses_w(self, state: RailState) -> dict[str, Array]:
        """The stage's own losses: the working side carries the music, the idling side rests on its rail."""
        rails = np.array((state.working, state.working, state.other))
        losses = {}
        for name, watts in self._stage.loss_split_w(self._v, self._i, rails).items():
            playing, resting, resting_other = np.broadcast_to(watts, rails.shape)
            losses[f"amplifier {name}"] = playing + 0.5 * (resting_other - resting)
        return losses


def solve_peak_charged(
    at: Instants, source: Source, stage: PowerStage, model: ConverterModel, start: RailState | None
) -> tuple[ChainPoint, RailState]:
    """Chain with peak-charged rails.

    Parameters
    ----------
    at : what the load asks. source, stage, model : the parts of the chain.
    start : the solution of a like chain, to begin from; None begins unloaded.

    Returns
    -------
    (point with arrays of shape (corners, waveforms), state at every instant).
    """
    link = _Link(model, source)
    asked = _Demand(at.v_out, at.i_out, at.swap, stage, model)
    state = start or link.start(at.full(at.emf))
    change = np.inf
    for _ in range(MOST_ROUNDS):
        demand, i_other = asked.of(state)
        constant_a, pulses = link.constant_a(state), link.pulses(state)
        open_v = link.open_v(at.emf, pulses, constant_a, i_other)
        working = rail_under_power(open_v, pulses.drop_ohm, demand)
        following = link.after(at.emf, pulses, constant_a, working, demand, i_other)
        change = link.change(state, following)
        state = following
        if change < TOLERANCE:
            break
    else:
        raise not_settled(change)
    return _point(at, source, link, state, asked.losses_w(state)), state


def _point(
    at: Instants, source: Source, link: _Link, state: RailState, stage_losses: dict[str, Array]
) -> ChainPoint:
    """Means, crests and losses of a settled state."""
    model, pulses = link.model, link.pulses(state)
    k, square = pulses.overlap, pulses.square
    ripple = square - 1.0
    terminal, working, other = state.terminal, state.working, state.other
    i_working, i_other = state.i_working, state.i_other
    both_v, both_a = working + other, i_working + i_other
    primary = link.n * both_a
    battery = primary * (1.0 + k) + link.constant_a(state)
    clamp = (link.leakage_w(pulses, primary, i_working, i_other), terminal, pulses.r_primary * primary)
    _, clamp_w = model.clamp_currents(*clamp)
    rest_a = model.clamp_rest_a(*clamp)
    battery2, primary2, terminal2 = battery**2, primary**2, terminal**2
    secondary2 = i_working**2 + i_other**2
    on_primary = square * primary2  # W per ohm of path
    on_secondary = square * secondary2
    losses = {
        "battery": source.battery_ohm * battery2,
        "cable": source.cable_ohm * battery2,
        "fuse and contacts": source.contact_ohm * battery2,
        "input capacitors": pulses.r_input * primary2,
        "switch conduction": on_primary * model.switch_ohm,
        "switch turn-off": k * primary * terminal,
        "gate drive": np.full_like(terminal, model.gate_w),
        "control circuit": model.control_power_w(terminal),
        "snubber and output capacitance": model.shunt_s * terminal2,
        "primary links": on_primary * model.link_ohm,
        "primary copper": on_primary * model.primary_winding_ohm,
        "core": _core_w(model, terminal),
        "leakage clamp": clamp_w,
        "secondary copper": on_secondary * model.secondary_winding_ohm,
        "rectifier": on_secondary * model.diode_ohm + model.diode_v * both_a,
        "rectifier recovery": model.recovery * both_a * both_v,
        "rectifier snubber": model.ring_s * both_v**2,
        "auxiliary supply": model.aux_a * both_v + model.aux_primary_a * terminal,
        "rail bleeders": model.bleeder_s * (working**2 + other**2),
        "reservoir capacitors": model.reservoir_esr_ohm * ripple * secondary2,
        **stage_losses,
    }
    mean_terminal, mean_battery, mean_both = at.mean(terminal), at.mean(battery), at.mean(both_a)
    return ChainPoint(
        emf_v=np.broadcast_to(at.emf, mean_battery.shape),
        peak_v=at.at_crest(at.v_out),
        output_w=at.mean(at.delivered),
        battery_w=at.emf * mean_battery,
        battery_a=mean_battery,
        battery_rms_a=np.sqrt(at.mean(battery2)),
        battery_peak_a=at.highest(battery),
        terminal_v=mean_terminal,
        terminal_least_v=at.lowest(terminal),
        rail_crest_v=at.at_crest(working),
        rail_mean_v=at.mean(working),
        rail_other_v=at.at_crest(other),
        rail_a=0.5 * mean_both,
        rail_peak_a=at.at_crest(i_working),
        primary_rms_a=np.sqrt(0.5 * at.mean(square * (primary + rest_a) ** 2)),
        primary_peak_a=at.at_crest(pulses.end * primary),
        secondary_rms_a=np.sqrt(0.5 * at.mean(on_secondary)),
        diode_a=0.25 * mean_both,
        input_ripple_a=np.sqrt(at.mean(ripple * primary2)),
        reservoir_ripple_a=np.sqrt(0.5 * at.mean(ripple * secondary2)),
        losses_w=at.means(losses),
    )


def clip_peak_charged(
    emf: Array,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    model: ConverterModel,
    start: RailState | None,
) -> Array:
    """Peak output voltage at the onset of clipping, V, shape of ``emf``; see ``find_clipping``."""
    link = _Link(model, source)
    state = start or link.start(emf)
    change = np.inf
    for _ in range(4 * MOST_ROUNDS):
        rail = state.working
        peak = stage.clip_peak_v(rail, load.magnitude_ohm)
        demand, i_other = _Demand(peak, peak * load.conductance_s, 0.0, stage, model).of(state)
        constant_a, pulses = link.constant_a(state), link.pulses(state)
        dropped = pulses.drop_ohm * demand / rail**2
        working = link.open_v(emf, pulses, constant_a, i_other) / (1.0 + dropped)
        following = link.after(emf, pulses, constant_a, working, demand * (working / rail) ** 2, i_other)
        change = moved(working, rail)
        state = following
        if change < 0.1 * TOLERANCE:
            return np.asarray(stage.clip_peak_v(working, load.magnitude_ohm))
        if dropped.max() > 0.5:  # beyond the maximum-power point the rounds would swing
            state = replace(following, working=0.5 * (working + rail))
    raise not_settled(change)
