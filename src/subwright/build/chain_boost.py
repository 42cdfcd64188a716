"""The chain with a boost converter: one raised rail, held by its loop while the duty has room.

Averaged over a switching cycle, in continuous conduction and with gaps in the choke's current alike (see
``physics.boost``). The loop is taken as fast against the bass: what its finite reach lets through at twice
the note is reckoned apart (``BoostResult.bass_ripple_v``) and kept in hand by the rail that is set. Above the
greatest duty the rail falls to what that duty gives; a battery above the rail runs through choke and diode.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError
from subwright.build.chain_common import collapsed
from subwright.build.chain_instants import Instants
from subwright.build.chain_model import ChainPoint, LoadPoint, PowerStage, Source
from subwright.physics.boost import BEFORE_THE_TOP, Conduction, boost_conduction, diode_share, mean_square

__all__ = ["BoostModel", "BoostState", "clip_boost", "solve_boost"]

Array = NDArray[np.float64]

_MOST_ITERATIONS: Final = 400
_PLAIN_ITERATIONS: Final = 120
_TOLERANCE: Final = 1e-11
_LEAST_A: Final = 1e-6  # keeps an unloaded rail from dividing by nothing
_LEAST_V: Final = 1e-3
_LEAST_SHARE: Final = 0.02  # while it settles
_COLLAPSED: Final = 0.1  # of the battery: a rail or terminal down here has no operating point


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostModel:
    """Averaged electrical model of the boost converter, hot values of the real parts, SI."""

    set_v: float
    duty_most: float
    switching_hz: float
    inductance_h: float
    choke_ohm: float
    choke_ripple_ohm: float
    switch_ohm: float
    link_ohm: float
    diode_v: float
    diode_ohm: float
    input_esr_ohm: float
    rail_esr_ohm: float
    turn_on_s: float
    turn_off_s: float
    recovery_s: float  # charge of the diode over its current
    node_f: float  # charged by every edge, emptied into the switch: ½ C V²
    snubber_f: float  # part of it, whose resistor shares the heat
    gate_w: float
    control_w: float  # at the battery, where no regulator on the rail feeds controller and gates
    core_k: float  # W per (V s)^β and share: the grade's iGSE coefficient with the core's own sizes
    core_alpha: float
    core_beta: float
    bleeder_s: float
    control_a: float = 0.0  # from the rail through that regulator, gates included
    zener_v: float = 0.0
    zener_ohm: float = inf

    @property
    def rail_fed(self) -> bool:
        """Whether the rail feeds controller and gates."""
        return self.control_a > 0.0

    def control_a_at(self, rail_v: Array) -> Array:
        """Current that controller, gates and their regulator take from the rail, A."""
        return np.asarray(self.control_a + np.maximum(rail_v - self.zener_v, 0.0) / self.zener_ohm)

    def rail_own_w(self, rail_v: Array) -> Array:
        """Power that the converter itself takes from its rail, W."""
        return np.asarray(self.bleeder_s * rail_v**2 + self.control_a_at(rail_v) * rail_v)

    @property
    def loop_ohm(self) -> float:
        """In series with the choke all the time, Ω."""
        return self.choke_ohm + self.link_ohm


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostState:
    """Voltages, V, diode's share and conduction at each instant."""

    terminal: Array
    rail: Array
    share: Array  # of the conducting time in which the diode conducts
    conducting: Array  # of the period
    rail_a: Array  # out of the rail
    extra_w: Array  # taken from the terminals beside the choke's current

    def column(self, index: int) -> BoostState:
        """The state at one instant, arrays over the corners."""
        return BoostState(**{name: getattr(self, name)[:, index] for name in self.__dataclass_fields__})


class _Loop:
    """Loop equations of the boost converter."""

    __slots__ = ("model", "source")

    def __init__(self, model: BoostModel, source: Source) -> None:
        self.model, self.source = model, source

    def start(self, emf: Array, demand: Array) -> BoostState:
        """First guess: rail at its set value, battery unloaded."""
        rail = np.full_like(emf + demand, self.model.set_v)
        one = np.ones_like(rail)
        return BoostState(
            terminal=emf * one,
            rail=rail,
            share=np.minimum(emf / rail, 1.0),
            conducting=one,
            rail_a=demand / rail + _LEAST_A,
            extra_w=self.model.gate_w * one,
        )

    def choke_a(self, state: BoostState) -> Array:
        """Mean choke current, A: what the diode carries on, recovery's charge counted."""
        m = self.model
        recovery = np.where(state.conducting < 1.0, 0.0, m.recovery_s * m.switching_hz)
        switching = state.share < 1.0
        return np.asarray(state.rail_a / (state.share - np.where(switching, recovery, 0.0)))

    def diode_over_rail(self, state: BoostState) -> Array:
        """Forward current of the diode over the rail's: above 1 by the charge that recovery takes back."""
        return np.asarray(self.choke_a(state) * state.share / state.rail_a)

    def conduction(self, state: BoostState) -> Conduction:
        """How the choke conducts."""
        m, choke = self.model, self.choke_a(state)
        across = np.maximum(state.terminal - (m.loop_ohm + m.switch_ohm) * choke / state.conducting, _LEAST_V)
        full = across * (1.0 - state.share) / (m.inductance_h * m.switching_hz)
        return boost_conduction(choke, np.maximum(full, 1e-9))

    def off_ohm(self, state: BoostState) -> Array:
        """Resistance of the diode's path, the rail capacitors' share of it counted, Ω."""
        rest = 1.0 - state.share * state.conducting
        return np.asarray(self.model.diode_ohm + self.model.rail_esr_ohm * rest)

    def extras(self, state: BoostState, at: Conduction) -> dict[str, Array]:
        """Losses that the averaged loop voltages don't hold, W: edges, ripple, core and control."""
        m, f = self.model, self.model.switching_hz
        switching = state.share < 1.0
        on_v = np.maximum(state.terminal - (m.loop_ohm + m.switch_ohm) * at.mean_a, _LEAST_V)
        on = at.share * (1.0 - state.share)
        valley, peak = at.mean_a - 0.5 * at.ripple_a, at.mean_a + 0.5 * at.ripple_a
        edge = 0.5 * f * (state.rail + m.diode_v)
        ripple = at.share * at.ripple_a**2 / 12.0
        node = 0.5 * f * state.rail**2
        safe = np.maximum(on, 1e-6)
        off = np.maximum(at.share * state.share, 1e-6)
        a, b = m.core_alpha, m.core_beta
        core = m.core_k * (on_v * safe / f) ** b * (safe ** (1.0 - a) + off ** (1.0 - a))
        squares = at.share * mean_square(at)
        zero = np.zeros_like(on)
        return {
            "switch turn-off": np.where(switching, edge * m.turn_off_s * peak, zero),
            "switch turn-on": np.where(switching, edge * m.turn_on_s * np.maximum(valley, 0.0), zero),
            "snubber and output capacitance": np.where(switching, node * m.node_f, zero),
            "gate drive": np.where(switching, 0.0 if m.rail_fed else m.gate_w, zero),
            "control circuit": m.control_w + zero,
            "choke core": np.where(switching, core, zero),
            "choke copper": m.choke_ripple_ohm * ripple,
            "board links": m.link_ohm * ripple,
            "switch conduction": m.switch_ohm * ripple * (1.0 - state.share),
            "rectifier": m.diode_ohm * ripple * state.share,
            "rail capacitors": m.rail_esr_ohm * ripple * state.share,
            "input capacitors": m.input_esr_ohm * np.maximum(squares - (at.share * at.mean_a) ** 2, 0.0),
        }

    def battery_a(self, state: BoostState) -> Array:
        """Current out of the battery, A."""
        return np.asarray(self.choke_a(state) + state.extra_w / state.terminal)

    def step(self, emf: Array, state: BoostState, demand: Array, *, clipping: bool = False) -> BoostState:
        """One round of the fixed point.

        Parameters
        ----------
        emf : battery, V. state : the round before. demand : power out of the rail, W.
        clipping : the demand goes with the square of the rail, because the amplifier clips at it.
        """
        m = self.model
        off, more = self.off_ohm(state), self.diode_over_rail(state)
        # The amplifier as a conductance: what it takes falls with the square of a rail that sags.
        load_s = demand / state.rail**2
        path = self.source.total_ohm + m.loop_ohm + m.switch_ohm
        top = BEFORE_THE_TOP * np.sqrt(load_s * more * path)
        least = np.clip(np.maximum(top, 1.0 - m.duty_most / state.conducting), _LEAST_SHARE, 1.0)
        extra_a = state.extra_w / state.terminal
        resting = emf - self.source.total_ohm * extra_a

        def reached_v(share: Array | float, own_ohm: Array | float) -> Array:
            """Rail that a fixed share gives."""
            share = np.asarray(share)
            slope = (self.source.total_ohm + m.loop_ohm + (1.0 - share) * own_ohm) / share**2 + off / share
            slope = slope * np.where(share < 1.0, more, 1.0)
            open_v = resting / share - m.diode_v
            yielding = open_v / (1.0 + slope * load_s)
            if clipping:
                return np.asarray(yielding)
            root = open_v**2 - 4.0 * slope * demand
            return np.asarray(np.where(root > 0.0, 0.5 * (open_v + np.sqrt(np.maximum(root, 0.0))), yielding))

        through, capped = reached_v(1.0, 0.0), reached_v(least, m.switch_ohm)
        wanted_a = demand / m.set_v + _LEAST_A
        at = self.conduction(state)
        share = diode_share(
            np.maximum(state.terminal, _LEAST_V),
            m.set_v,
            more * wanted_a / at.share,
            m.loop_ohm,
            m.switch_ohm,
            m.diode_v,
            off,
        )
        passes = through >= m.set_v
        short = ~passes & (capped < m.set_v)
        rail = np.where(passes, through, np.where(short, capped, m.set_v))
        rail = np.maximum(rail, _COLLAPSED * emf)
        share = np.where(passes, 1.0, np.where(short, least, np.clip(share, _LEAST_SHARE, 1.0)))
        rail_a = demand / rail + _LEAST_A
        after = BoostState(
            terminal=state.terminal,
            rail=np.asarray(rail),
            share=np.asarray(share),
            conducting=at.share,
            rail_a=np.asarray(rail_a),
            extra_w=state.extra_w,
        )
        at = self.conduction(after)
        extra = sum(self.extras(after, at).values()) + 0.0 * share
        choke = self.choke_a(after)
        # A rail that is held takes power: the stable root. At a fixed share the converter takes current.
        root = emf**2 - 4.0 * self.source.total_ohm * (state.terminal * choke + extra)
        by_power = np.where(root > 0.0, 0.5 * (emf + np.sqrt(np.maximum(root, 0.0))), 0.5 * emf)
        by_current = emf - self.source.total_ohm * (choke + extra / state.terminal)
        terminal = np.where(passes | short, np.maximum(by_current, _COLLAPSED * emf), by_power)
        return BoostState(
            terminal=np.asarray(terminal),
            rail=after.rail,
            share=after.share,
            conducting=at.share,
            rail_a=after.rail_a,
            extra_w=np.asarray(extra),
        )

    def losses(self, state: BoostState) -> dict[str, Array]:
        """Losses between battery and rail by name, W, from the currents themselves."""
        m, at = self.model, self.conduction(state)
        battery, through = self.battery_a(state), at.share * at.mean_a**2
        extras = self.extras(state, at)
        recovery = state.rail_a * np.maximum(self.diode_over_rail(state) - 1.0, 0.0)
        diode_on = through * state.share
        rest, zero = 1.0 - state.share * at.share, np.zeros_like(state.rail)
        steady = {
            "battery": self.source.battery_ohm * battery**2,
            "cable": self.source.cable_ohm * battery**2,
            "fuse and contacts": self.source.contact_ohm * battery**2,
            "choke copper": m.choke_ohm * through,
            "board links": m.link_ohm * through,
            "switch conduction": m.switch_ohm * through * (1.0 - state.share),
            "rectifier": m.diode_ohm * diode_on + m.diode_v * (state.rail_a + recovery),
            "rectifier recovery": recovery * state.rail,
            "rail capacitors": m.rail_esr_ohm * diode_on * rest,
            "rail bleeder": m.bleeder_s * state.rail**2,
            "gate drive": (m.gate_w if m.rail_fed else 0.0) + zero,
            "control circuit": m.control_a_at(state.rail) * state.rail - (m.gate_w if m.rail_fed else 0.0),
        }
        names = dict.fromkeys((*steady, *extras))
        return {name: steady.get(name, zero) + extras.get(name, zero) for name in names}


def _between(before: BoostState, after: BoostState) -> BoostState:
    """Half way: calms an instant that jumps between a current with gaps and one without."""
    return BoostState(
        **{
            name: 0.5 * (getattr(before, name) + getattr(after, name))
            for name in BoostState.__dataclass_fields__
        }
    )


def _settled(before: BoostState, after: BoostState) -> float:
    return max(
        float(np.max(np.abs(after.terminal / before.terminal - 1.0))),
        float(np.max(np.abs(after.rail / before.rail - 1.0))),
        float(np.max(np.abs(after.share / before.share - 1.0))),
        float(np.max(np.abs(after.conducting / before.conducting - 1.0))),
        float(np.max(np.abs(after.rail_a - before.rail_a))) / float(np.max(after.rail_a) + 1e-3),
    )


def _checked(state: BoostState, emf: Array, demand: Array, change: float) -> BoostState:
    least = 1.01 * _COLLAPSED * emf
    if np.any(state.terminal <= least) or np.any(state.rail <= least) or not np.all(np.isfinite(state.rail)):
        raise collapsed(demand)
    if change <= _TOLERANCE:
        return state
    raise ConvergenceError(
        message="The battery, the boost converter and the amplifier did not settle on one point.",
        quantity="relative change",
        value=f"{change:.3g}",
        limit=f"{_TOLERANCE:g}",
        remedy="The design is close to the most power that the source can give: lower the target power.",
    )


def solve_boost(
    at: Instants, source: Source, stage: PowerStage, model: BoostModel, start: BoostState | None
) -> tuple[ChainPoint, BoostState]:
    """Chain with a boost converter.

    Parameters
    ----------
    at : what the load asks. source, stage, model : the parts of the chain.
    start : the solution of a like chain, to begin from; None begins unloaded.

    Returns
    -------
    (point with arrays of shape (corners, waveforms), state at every instant). Primary currents of the point
    are the choke's, secondary ones the diode's.

    Raises
    ------
    NoSolutionError : the source can't deliver the demand. ConvergenceError : no settled solution.
    """
    loop = _Loop(model, source)
    state = start or loop.start(at.emf, np.zeros_like(at.v_out))
    change, demand = np.inf, np.zeros_like(at.v_out)
    for number in range(_MOST_ITERATIONS):
        demand = np.maximum(
            stage.input_power_w(at.v_out, at.i_out, state.rail) + at.swap + model.rail_own_w(state.rail),
            0.0,
        )
        after = loop.step(at.emf, state, demand)
        change = _settled(state, after)
        state = after if number < _PLAIN_ITERATIONS else _between(state, after)
        if change < _TOLERANCE:
            break
    state = _checked(state, at.full(at.emf), demand, change)

    losses = loop.losses(state)
    for name, watts in stage.loss_split_w(at.v_out, at.i_out, state.rail).items():
        losses[f"amplifier {name}"] = at.full(watts)
    flow = loop.conduction(state)
    battery, squares = loop.battery_a(state), flow.share * mean_square(flow)
    mean_battery = at.mean(battery)
    diode_square = squares * state.share
    mean_rail_a = at.mean(state.rail_a)
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
        rail_crest_v=at.at_crest(state.rail),
        rail_mean_v=at.mean(state.rail),
        rail_other_v=at.at_crest(state.rail),
        rail_a=mean_rail_a,
        rail_peak_a=at.at_crest(state.rail_a),
        primary_rms_a=np.sqrt(at.mean(squares)),
        primary_peak_a=at.at_crest(flow.mean_a + 0.5 * flow.ripple_a),
        secondary_rms_a=np.sqrt(at.mean(diode_square)),
        diode_a=mean_rail_a,
        input_ripple_a=np.sqrt(at.mean(np.maximum(squares - (flow.share * flow.mean_a) ** 2, 0.0))),
        reservoir_ripple_a=np.sqrt(at.mean(np.maximum(diode_square - state.rail_a**2, 0.0))),
        losses_w=at.means(losses),
    )
    return point, state


def clip_boost(
    emf: Array,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    model: BoostModel,
    start: BoostState | None,
) -> Array:
    """Peak output voltage at the onset of clipping, V, shape of ``emf``; see ``find_clipping``."""
    loop = _Loop(model, source)
    state = start or loop.start(emf, np.zeros_like(emf))
    change, demand = np.inf, np.zeros_like(emf)
    for number in range(_MOST_ITERATIONS):
        peak = stage.clip_peak_v(state.rail, load.magnitude_ohm)
        demand = stage.input_power_w(peak, peak * load.conductance_s, state.rail)
        demand = np.asarray(demand + model.rail_own_w(state.rail))
        after = loop.step(emf, state, demand, clipping=True)
        change = _settled(state, after)
        state = after if number < _PLAIN_ITERATIONS else _between(state, after)
        if change < _TOLERANCE:
            break
    state = _checked(state, emf, demand, change)
    return np.asarray(stage.clip_peak_v(state.rail, load.magnitude_ohm))
