"""The coupled electrical chain: battery, cable, converter, amplifier and load solved together.

The amplifier follows the music, so its demand on the rails is solved instant by instant (quasi-static:
the bass is slow against the switching frequency) and averaged over the waveform. Per instant the rail
and the battery sag together, which is one quadratic in the rail current and a short fixed-point loop
for the losses that depend on the voltages themselves.

Assumptions, all on the safe side for currents:

* reservoir and input capacitors smooth the switching frequency but not the bass;
* in the half cycle in which a rail works it carries the whole music demand, the other rail only its
  idle share; charge that a half-bridge pumps into an idling rail comes back from its capacitor;
* a reactive load exchanges its reactive power with the reservoir capacitors.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError, NoSolutionError
from subwright.build.chain_model import ChainPoint, ConverterModel, LoadPoint, PowerStage, Source
from subwright.build.chain_regulated import clip_regulated, solve_regulated
from subwright.build.waveform import Waveform

__all__ = ["find_clipping", "solve_chain"]

Array = NDArray[np.float64]

_MOST_ITERATIONS = 60
_TOLERANCE = 1e-10


def solve_chain(
    emf_v: Array,
    peak_v: Array,
    waveform: Waveform,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    converter: ConverterModel | None,
) -> ChainPoint:
    """Solve the chain for one waveform at given peak output voltages.

    Parameters
    ----------
    emf_v : battery voltages behind the source resistance, V, shape (corners,).
    peak_v : peak output voltages, V, shape (corners,).
    waveform : instants and weights of the signal.
    load : the load's admittance.
    source, stage, converter : the parts of the chain; ``converter`` None for a battery bridge.

    Returns
    -------
    ChainPoint with arrays of shape (corners,).

    Raises
    ------
    NoSolutionError : the source can't deliver the demand (the rail collapses).
    ConvergenceError : the loop did not settle to 1e-11.

    Source
    ------
    Kirchhoff's laws and the averaged pulse of ``physics.push_pull``. [derived]
    """
    emf = np.asarray(emf_v, dtype=np.float64)[:, None]
    v_out = np.asarray(peak_v, dtype=np.float64)[:, None] * waveform.in_phase
    i_out = np.asarray(peak_v, dtype=np.float64)[:, None] * (
        load.conductance_s * waveform.in_phase + load.susceptance_s * waveform.quadrature
    )
    if stage.recirculates:
        delivered = v_out**2 * load.conductance_s
        swap = delivered - v_out * i_out
    else:
        delivered = v_out * i_out
        swap = np.zeros_like(delivered)
    if converter is None:
        return _battery_bridge(emf, v_out, i_out, delivered, swap, waveform, source, stage)
    if converter.set_v is not None:
        return solve_regulated(emf, v_out, i_out, delivered, swap, waveform, source, stage, converter)
    return _with_converter(emf, v_out, i_out, delivered, swap, waveform, source, stage, converter)


def _quadratic_rail(open_v: Array, drop_ohm: Array | float, power_w: Array) -> Array:
    """Larger root V of ``V² - open V + drop P = 0``: the stable rail voltage at power ``P``."""
    root = open_v**2 - 4.0 * drop_ohm * power_w
    if np.any(root < 0) or np.any(open_v <= 0):
        raise _collapsed(power_w, float(np.min(open_v**2 / (4.0 * drop_ohm))))
    return np.asarray(0.5 * (open_v + np.sqrt(root)))


def _still_up(rail_v: Array, terminal_v: Array, other_v: Array, power_w: Array) -> None:
    """Refuse a step on which a voltage of the chain has fallen to nothing."""
    if min(float(np.min(rail_v)), float(np.min(terminal_v)), float(np.min(other_v))) <= 0.0:
        raise _collapsed(power_w, None)


def _collapsed(power_w: Array, most_w: float | None) -> NoSolutionError:
    return NoSolutionError(
        message="The supply can't deliver this power: the rail collapses.",
        quantity="power out of the rail",
        value=f"{float(np.max(power_w)):.4g} W",
        limit="what the battery and its cable can pass" if most_w is None else f"{most_w:.4g} W",
        source="maximum power theorem",
        remedy="Lower the target power, shorten or thicken the cable, or use a higher battery voltage.",
    )


def _battery_bridge(
    emf: Array,
    v_out: Array,
    i_out: Array,
    delivered: Array,
    swap: Array,
    waveform: Waveform,
    source: Source,
    stage: PowerStage,
) -> ChainPoint:
    r_source = source.total_ohm
    terminal = np.broadcast_to(emf, v_out.shape).copy()
    for _ in range(_MOST_ITERATIONS):
        power = np.maximum(stage.input_power_w(v_out, i_out, terminal) + swap, 0.0)
        update = _quadratic_rail(np.broadcast_to(emf, v_out.shape), r_source, power)
        change = float(np.max(np.abs(update / terminal - 1.0)))
        terminal = update
        if change < _TOLERANCE:
            break
    else:
        raise _not_settled(change)
    power = stage.input_power_w(v_out, i_out, terminal) + swap
    current = power / terminal
    mean = _mean(waveform)
    losses = {
        "battery": mean(source.battery_ohm * current**2),
        "cable": mean(source.cable_ohm * current**2),
        "fuse and contacts": mean(source.contact_ohm * current**2),
    }
    for name, watts in stage.loss_split_w(v_out, i_out, terminal).items():
        losses[f"amplifier {name}"] = mean(watts)
    zero = np.zeros(emf.shape[0])
    crest = waveform.crest
    return ChainPoint(
        emf_v=emf[:, 0],
        peak_v=v_out[:, crest],
        output_w=mean(delivered),
        battery_w=mean(emf * current),
        battery_a=mean(current),
        battery_rms_a=np.sqrt(mean(current**2)),
        battery_peak_a=current.max(axis=1),
        terminal_v=mean(terminal),
        terminal_least_v=terminal.min(axis=1),
        rail_crest_v=terminal[:, crest],
        rail_mean_v=mean(terminal),
        rail_other_v=terminal[:, crest],
        rail_a=mean(current),
        rail_peak_a=current[:, crest],
        primary_rms_a=zero,
        primary_peak_a=zero,
        secondary_rms_a=zero,
        diode_a=zero,
        input_ripple_a=zero,
        reservoir_ripple_a=zero,
        losses_w=losses,
    )


class _Link:
    """Linear part of the converter: what a rail ampere costs in volts, seen from rail, terminal and EMF."""

    __slots__ = ("drop_ohm", "k", "model", "n", "r_input", "r_primary", "r_secondary", "r_source", "stored")

    def __init__(self, model: ConverterModel, source: Source) -> None:
        ripple = model.mean_square_factor - 1.0
        self.model = model
        self.n, self.k = model.ratio, model.overlap
        self.stored = (1.0 - model.shape().resistive_share) / model.averaging
        self.r_source = source.total_ohm
        self.r_primary = model.primary_ohm / model.averaging  # drop per ampere of mean primary current
        self.r_input = model.input_esr_ohm * ripple
        self.r_secondary = model.secondary_ohm / model.averaging + model.reservoir_esr_ohm * ripple
        self.drop_ohm = (
            self.n**2 * (self.r_source * (1.0 + self.k) + self.r_primary + self.r_input) + self.r_secondary
        )

    def leakage_w(self, primary: Array, i_working: Array, i_other: Array) -> Array:
        """Power that the leakage inductance holds at turn-off, W."""
        on_primary = primary**2 * self.model.primary_ohm
        on_secondary = (i_working**2 + i_other**2) * self.model.secondary_ohm
        return np.asarray(self.stored * (on_primary + on_secondary))

    def extra_a(self, i_working: Array, i_other: Array, working: Array, other: Array) -> Array:
        """Current that recovery charge and rectifier snubbers take from each rail, A."""
        return np.asarray(self.model.recovery * (i_working + i_other) + self.model.ring_s * (working + other))

    def open_v(self, emf: Array, terminal: Array, i_other: Array, clamp_a: Array | float) -> Array:
        """Working rail at no current of its own, V."""
        constant_a = _constant_w(self.model, terminal) / terminal + clamp_a
        primary = self.n * i_other
        sag = self.r_source * (constant_a + (1.0 + self.k) * primary)
        return np.asarray(
            self.n * (emf - sag - (self.r_primary + self.r_input) * primary) - self.model.diode_v
        )

    def battery_a(self, terminal: Array, primary: Array, clamp_a: Array | float) -> Array:
        """Current out of the battery, A."""
        return np.asarray(primary * (1.0 + self.k) + _constant_w(self.model, terminal) / terminal + clamp_a)

    def sides(
        self, emf: Array, terminal: Array, i_working: Array, i_other: Array, clamp_a: Array | float
    ) -> tuple[Array, Array]:
        """Battery terminal and idling rail, V, at the rail currents."""
        primary = self.n * (i_working + i_other)
        terminal_v = emf - self.r_source * self.battery_a(terminal, primary, clamp_a)
        other_v = (
            self.n * (terminal_v - (self.r_primary + self.r_input) * primary)
            - self.model.diode_v
            - self.r_secondary * i_other
        )
        return np.asarray(terminal_v), np.asarray(other_v)


def _with_converter(
    emf: Array,
    v_out: Array,
    i_out: Array,
    delivered: Array,
    swap: Array,
    waveform: Waveform,
    source: Source,
    stage: PowerStage,
    model: ConverterModel,
) -> ChainPoint:
    link = _Link(model, source)
    n, k = link.n, link.k
    shape = model.shape()
    averaging = model.averaging
    ripple = model.mean_square_factor - 1.0

    # Three cases in one call of the stage: the music on the working rail, and each rail at rest.
    # Three cases in one call of the stage: the music on the working rail, and each rail at rest.
    idle = np.zeros_like(v_out)
    v_all, i_all = np.concatenate((v_out, idle, idle)), np.concatenate((i_out, idle, idle))
    terminal = np.broadcast_to(emf, v_out.shape).copy()
    working = n * terminal - model.diode_v
    other = working.copy()
    extra, clamp_a = np.zeros_like(v_out), np.zeros_like(v_out)
    change = np.inf
    for _ in range(_MOST_ITERATIONS):
        power = stage.input_power_w(v_all, i_all, np.concatenate((working, working, other)))
        playing, resting, resting_other = np.split(power, 3)
        i_other = 0.5 * resting_other / other + extra + model.rail_own_a(other)
        demand = playing - 0.5 * resting + swap + (extra + model.rail_own_a(working)) * working
        update = _quadratic_rail(link.open_v(emf, terminal, i_other, clamp_a), link.drop_ohm, demand)
        i_working = demand / update
        terminal_new, other_new = link.sides(emf, terminal, i_working, i_other, clamp_a)
        _still_up(update, terminal_new, other_new, demand)
        extra_new = link.extra_a(i_working, i_other, update, other_new)
        leakage = link.leakage_w(n * (i_working + i_other), i_working, i_other)
        clamp_new, _ = model.clamp_currents(leakage, terminal_new)
        change = max(
            float(np.max(np.abs(update / working - 1.0))),
            float(np.max(np.abs(terminal_new / terminal - 1.0))),
            float(np.max(np.abs(other_new / other - 1.0))),
            float(np.max(np.abs(extra_new - extra))) / float(np.max(np.abs(i_working)) + 1e-3),
            float(np.max(np.abs(clamp_new - clamp_a))) / float(np.max(np.abs(n * i_working)) + 1e-3),
        )
        working, terminal, other = update, terminal_new, other_new
        extra, clamp_a = extra_new, clamp_new
        if change < _TOLERANCE:
            break
    else:
        raise _not_settled(change)
    primary = n * (i_working + i_other)
    battery = link.battery_a(terminal, primary, clamp_a)
    leakage = link.leakage_w(primary, i_working, i_other)
    _, clamp_w = model.clamp_currents(leakage, terminal)
    both_v, both_a = working + other, i_working + i_other

    mean = _mean(waveform)
    resistive = shape.resistive_share
    on_primary = primary**2 / averaging  # W per ohm of primary path, resistance and leakage together
    on_secondary = (i_working**2 + i_other**2) / averaging
    losses = {
        "battery": mean(source.battery_ohm * battery**2),
        "cable": mean(source.cable_ohm * battery**2),
        "fuse and contacts": mean(source.contact_ohm * battery**2),
        "input capacitors": mean(link.r_input * primary**2),
        "switch conduction": mean(resistive * on_primary * model.switch_ohm),
        "switch turn-off": mean(k * primary * terminal),
        "gate drive": mean(np.full_like(terminal, model.gate_w)),
        "control circuit": mean(model.control_power_w(terminal)),
        "snubber and output capacitance": mean(model.shunt_s * terminal**2),
        "primary links": mean(resistive * on_primary * model.link_ohm),
        "primary copper": mean(resistive * on_primary * model.primary_winding_ohm),
        "core": mean(_core_w(model, terminal)),
        "leakage clamp": mean(clamp_w),
        "secondary copper": mean(resistive * on_secondary * model.secondary_winding_ohm),
        "rectifier": mean(resistive * on_secondary * model.diode_ohm + model.diode_v * (i_working + i_other)),
        "rectifier recovery": mean(model.recovery * both_a * both_v),
        "rectifier snubber": mean(model.ring_s * both_v**2),
        "auxiliary supply": mean(model.aux_a * both_v + model.aux_primary_a * terminal),
        "rail bleeders": mean(model.bleeder_s * (working**2 + other**2)),
        "reservoir capacitors": mean(model.reservoir_esr_ohm * ripple * (i_working**2 + i_other**2)),
    }
    # The stage's own losses: the working side carries the music, the idling side rests on its rail.
    own = stage.loss_split_w(v_all, i_all, np.concatenate((working, working, other)))
    for name, watts in own.items():
        playing, resting, resting_other = np.split(np.broadcast_to(watts, v_all.shape), 3)
        losses[f"amplifier {name}"] = mean(playing + 0.5 * (resting_other - resting))

    crest = waveform.crest
    square = model.mean_square_factor
    return ChainPoint(
        emf_v=emf[:, 0],
        peak_v=v_out[:, crest],
        output_w=mean(delivered),
        battery_w=mean(emf * battery),
        battery_a=mean(battery),
        battery_rms_a=np.sqrt(mean(battery**2)),
        battery_peak_a=battery.max(axis=1),
        terminal_v=mean(terminal),
        terminal_least_v=terminal.min(axis=1),
        rail_crest_v=working[:, crest],
        rail_mean_v=mean(working),
        rail_other_v=other[:, crest],
        rail_a=0.5 * mean(i_working + i_other),
        rail_peak_a=i_working[:, crest],
        primary_rms_a=np.sqrt(0.5 * square * mean(primary**2)),
        primary_peak_a=primary[:, crest] * shape.end / averaging,
        secondary_rms_a=np.sqrt(0.5 * square * mean(i_working**2 + i_other**2)),
        diode_a=0.25 * mean(i_working + i_other),
        input_ripple_a=np.sqrt(ripple * mean(primary**2)),
        reservoir_ripple_a=np.sqrt(0.5 * ripple * mean(i_working**2 + i_other**2)),
        losses_w=losses,
    )


def _core_w(model: ConverterModel, terminal: Array) -> Array:
    return np.asarray(model.core_w * (terminal / model.core_v) ** model.core_exponent)


def _constant_w(model: ConverterModel, terminal: Array) -> Array:
    steady = model.gate_w + model.control_power_w(terminal) + model.aux_primary_a * terminal
    return np.asarray(_core_w(model, terminal) + steady + model.shunt_s * terminal**2)


class _Mean:
    __slots__ = ("_weight",)

    def __init__(self, weight: Array) -> None:
        self._weight = weight

    def __call__(self, values: Array) -> Array:
        return np.asarray(np.broadcast_to(values, (values.shape[0], self._weight.size)) @ self._weight)


def _mean(waveform: Waveform) -> _Mean:
    return _Mean(waveform.weight)


def _not_settled(change: float) -> ConvergenceError:
    return ConvergenceError(
        message="The battery, converter and amplifier did not settle on one operating point.",
        quantity="relative change",
        value=f"{change:.3g}",
        limit=f"{_TOLERANCE:g}",
        remedy="The design is close to the most power that the source can give: lower the target power.",
    )


def find_clipping(
    emf_v: Array,
    load: LoadPoint,
    source: Source,
    stage: PowerStage,
    converter: ConverterModel | None,
) -> Array:
    """Peak output voltage at the onset of clipping, with battery and rails sagging under that crest.

    Parameters
    ----------
    emf_v : battery voltages, V, shape (corners,).
    load, source, stage, converter : as in ``solve_chain``.

    Returns
    -------
    peak voltages, V, shape (corners,).

    Raises
    ------
    ConvergenceError : no settled solution.

    Source
    ------
    Fixed point of "the crest just reaches the clipping limit of the sagged rail". The demand then grows
    with the square of the rail, so the rail obeys a divider ``V = open / (1 + drop I/V)``, which settles on
    either side of the maximum-power point. [derived]
    """
    emf = np.asarray(emf_v, dtype=np.float64)
    if converter is not None and converter.set_v is not None:
        return clip_regulated(emf, load, source, stage, converter)
    rail = emf - 0.0 if converter is None else converter.ratio * emf - converter.diode_v
    link = None if converter is None else _Link(converter, source)
    terminal = emf.copy()
    other = rail.copy()
    zero = np.zeros_like(emf)
    extra, clamp_a = zero, zero
    change = np.inf
    for _ in range(4 * _MOST_ITERATIONS):
        peak = stage.clip_peak_v(rail, load.magnitude_ohm)
        current = peak * load.conductance_s
        power = stage.input_power_w(peak, current, rail)
        if converter is None or link is None:
            new = emf / (1.0 + source.total_ohm * power / rail**2)
            change = float(np.max(np.abs(new / rail - 1.0)))
            rail = new
        else:
            i_other = 0.5 * stage.input_power_w(zero, zero, other) / other + extra
            i_other = i_other + converter.rail_own_a(other)
            demand = power - 0.5 * stage.input_power_w(zero, zero, rail)
            demand = demand + (extra + converter.rail_own_a(rail)) * rail
            open_v = link.open_v(emf, terminal, i_other, clamp_a)
            new = open_v / (1.0 + link.drop_ohm * demand / rail**2)
            i_working = demand / new
            terminal, other = link.sides(emf, terminal, i_working, i_other, clamp_a)
            _still_up(new, terminal, other, power)
            extra = link.extra_a(i_working, i_other, new, other)
            leakage = link.leakage_w(link.n * (i_working + i_other), i_working, i_other)
            clamp_a, _ = converter.clamp_currents(leakage, terminal)
            change = float(np.max(np.abs(new / rail - 1.0)))
            rail = 0.5 * (new + rail) if np.any(link.drop_ohm * demand > 0.5 * rail**2) else new
        if change < 1e-11:
            return np.asarray(stage.clip_peak_v(rail, load.magnitude_ohm))
    raise _not_settled(change)
