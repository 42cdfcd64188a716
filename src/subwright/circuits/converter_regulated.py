"""Averages of a power stage whose rails come from a coupled output choke, by the closed form.

The choke's current is continuous while it exceeds half its ripple; below, it has gaps and the duty falls with
the load. Behind a choke the secondary is short-circuited as soon as the switch opens, so the battery drives
the leakage current on while it dies: a clamp gets more than the stored energy, and returns none of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.converter_values import ChokeValues, PowerValues
from subwright.physics.chokes import discontinuous_share
from subwright.physics.clamps import clamp_voltage_v

__all__ = ["BODY_V", "RegulatedPoint", "regulated_point"]

BODY_V: Final = 0.5  # drop of a switch's body diode as the netlist models it
_ROUNDS: Final = 200
_LEAST_SHARE: Final = 0.01


@dataclass(frozen=True, kw_only=True, slots=True)
class RegulatedPoint:
    """Averages at one load, and the duty that gives them.

    Attributes
    ----------
    positive_v, negative_v : rails, magnitude, V; the positive one is regulated.
    battery_a : A. switch_rms_a : one position, A. clamp_v : of the clamp's capacitor, None without.
    share : share of the period in which the winding is driven. gate_share : in which the gates are: longer by
        the commutation of the leakage inductance.
    continuous : whether the choke's current never stops. ripple_a : of both windings together, peak to peak.
    winding_v : half-secondary while driven, V. behind_v : across the freewheeling choke, drops included, V.
    holds : whether the regulated rail is at its set value; else the duty is at its end.
    """

    positive_v: float
    negative_v: float
    battery_a: float
    switch_rms_a: float
    clamp_v: float | None
    share: float
    gate_share: float
    continuous: bool
    ripple_a: float
    winding_v: float
    behind_v: float
    holds: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class _Pulse:
    """The primary current: mean in the on-time, at its end, and its mean square over the period."""

    on_a: float
    end_a: float
    mean_square_a2: float
    ripple_a: float  # of the choke
    continuous: bool


def regulated_point(values: PowerValues) -> RegulatedPoint:
    """Loop equations of the regulated converter, averaged over a switching cycle.

    Parameters
    ----------
    values : with a choke; core, gate and overlap losses are none of them.

    Raises
    ------
    SubwrightError : there is no choke, or a rail collapses under this load.

    Source
    ------
    Buck-derived converter, Pressman ch. 1 and 2 [pressman1998]; gaps in the current, Erickson & Maksimović
    ch. 5 [erickson2001]; leakage and clamp [derived].
    """
    v, choke = values, values.choke
    if choke is None:
        raise SubwrightError(message="This power stage has no output choke, so its rails aren't regulated.")
    terminal_v, share, rail_v, clamp_v = v.emf_v, 0.5 * v.share, choke.set_v, None
    battery_a, negative_v, winding_v = 0.0, choke.set_v, v.ratio * v.emf_v
    pulse, holds = _pulse(v, choke, share, winding_v, rail_v), True
    for _ in range(_ROUNDS):
        path_ohm = v.switch_ohm + v.primary_winding_ohm + v.link_ohm
        winding_v = v.ratio * (terminal_v - (path_ohm + v.input_esr_ohm * (1.0 - share)) * pulse.on_a)
        if winding_v <= 0.0:
            raise _collapsed(v)
        own, other = (_drop_v(v, choke, *pair, share) for pair in _pairs(v))
        most = v.share - _commutation(v, pulse.end_a, terminal_v)
        behind = choke.set_v + own
        if pulse.continuous:
            wanted = behind / winding_v
        else:
            wanted = discontinuous_share(
                behind, winding_v, v.positive_a + v.negative_a, v.switching_hz, choke.inductance_h
            )
        holds = wanted <= most
        share = max(min(wanted, most), _LEAST_SHARE)
        rail_v = choke.set_v if holds else share * winding_v - own
        negative_v = rail_v + own - other
        if min(rail_v, negative_v) <= 0.0:
            raise _collapsed(v)
        pulse = _pulse(v, choke, share, winding_v, rail_v + own)
        stored_w = v.switching_hz * v.leakage_h * pulse.end_a**2
        extra_a, clamp_v, _ = _spent(v, stored_w, terminal_v, path_ohm * pulse.on_a)
        battery_a = pulse.on_a * share + stored_w / terminal_v + extra_a + _ring_a(v, winding_v, terminal_v)
        terminal_v = v.emf_v - v.source_ohm * battery_a
        if terminal_v <= 0.0:
            raise _collapsed(v)
    stored_w = v.switching_hz * v.leakage_h * pulse.end_a**2
    _, _, rest_a = _spent(v, stored_w, terminal_v, 0.0)
    on = 1.0 + rest_a / (pulse.on_a * share) if pulse.on_a else 1.0
    return RegulatedPoint(
        positive_v=rail_v,
        negative_v=negative_v,
        battery_a=battery_a,
        switch_rms_a=sqrt(0.5 * pulse.mean_square_a2) * on,
        clamp_v=clamp_v,
        share=share,
        gate_share=share + _commutation(v, pulse.end_a, terminal_v),
        continuous=pulse.continuous,
        ripple_a=pulse.ripple_a,
        winding_v=winding_v,
        behind_v=rail_v + _drop_v(v, choke, v.positive_a, v.negative_a, share),
        holds=holds,
    )


def _pairs(v: PowerValues) -> tuple[tuple[float, float], tuple[float, float]]:
    return (v.positive_a, v.negative_a), (v.negative_a, v.positive_a)


def _commutation(v: PowerValues, end_a: float, terminal_v: float) -> float:
    """Share of the period whose volt-seconds lift the leakage's current: at turn-on, and with the ripple."""
    return 2.0 * v.switching_hz * v.leakage_h * end_a / terminal_v


def _ring_a(v: PowerValues, winding_v: float, terminal_v: float) -> float:
    """Battery current of the rectifier snubbers: each is charged and emptied twice in a cycle, A."""
    if v.rectifier_snubber is None:
        return 0.0
    return 4.0 * v.rectifier_snubber.capacitor_f * winding_v**2 * v.switching_hz / terminal_v


def _drop_v(v: PowerValues, choke: ChokeValues, own_a: float, opposite_a: float, share: float) -> float:
    """Drop between winding and rail, V: legs, half-secondaries and choke."""
    copper = own_a * share + 0.5 * (1.0 - share) * (own_a - opposite_a)
    legs = 0.5 * (1.0 + share) * v.diode_ohm * own_a
    return v.diode_v + legs + v.secondary_winding_ohm * copper + choke.resistance_ohm * own_a


def _pulse(v: PowerValues, choke: ChokeValues, share: float, winding_v: float, behind_v: float) -> _Pulse:
    """The primary current's pulse, by the choke's current.

    ``behind_v`` is what lies across the choke while it freewheels, drops included.
    """
    both_a, half_s = v.positive_a + v.negative_a, 0.5 / v.switching_hz
    ripple_a = max(winding_v - behind_v, 0.0) * share * half_s / choke.inductance_h
    n = v.ratio
    if both_a >= 0.5 * ripple_a:
        square = share * (both_a**2 + ripple_a**2 / 12.0)
        return _Pulse(
            on_a=n * both_a,
            end_a=n * (both_a + 0.5 * ripple_a),
            mean_square_a2=n**2 * square,
            ripple_a=ripple_a,
            continuous=True,
        )
    return _Pulse(
        on_a=0.5 * n * ripple_a,
        end_a=n * ripple_a,
        mean_square_a2=n**2 * share * ripple_a**2 / 3.0,
        ripple_a=ripple_a,
        continuous=False,
    )


def _spent(
    v: PowerValues, stored_w: float, terminal_v: float, primary_drop_v: float
) -> tuple[float, float | None, float]:
    """Battery current that the leakage's end asks, A, the clamp's voltage, V, and its resting current, A."""
    if v.bridge:
        return -stored_w / (terminal_v + 2.0 * BODY_V), None, 0.0
    if v.clamp is None:
        return stored_w / (v.avalanche_v - terminal_v), None, 0.0
    diode_v = v.clamp.diode_v
    rest_v = 2.0 * terminal_v - primary_drop_v - diode_v
    clamp_v = float(
        clamp_voltage_v(stored_w, v.clamp.resistor_ohm, terminal_v, rest_v, diode_v, driving_v=terminal_v)
    )
    through_a = (clamp_v - terminal_v) / v.clamp.resistor_ohm
    leakage_a = stored_w / (clamp_v + diode_v - terminal_v)
    return through_a - leakage_a, clamp_v, max(through_a - leakage_a, 0.0)


def _collapsed(v: PowerValues) -> SubwrightError:
    return SubwrightError(
        message="A rail collapses under this load.",
        quantity="load of the rails",
        value=f"{v.positive_a:.3g} A and {v.negative_a:.3g} A",
        remedy="Simulate a smaller load.",
    )
