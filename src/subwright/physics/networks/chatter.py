"""A bass hit against an under-voltage trip, in time.

A burst of full sine pulls the battery down through its source resistance; the sense filter follows; the trip
takes the load off and the battery springs back. If it springs back past the release, the load returns, and
with the burst still going on the circuit hammers itself on and off.

Between two changes of state the circuit is linear and its input is a constant and a cosine, so each stretch
is evaluated in closed form over the whole time grid at once; only the changes are stepped through.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import ConvergenceError

from ._checks import Array, not_negative, positive

__all__ = ["Burst", "BurstTrace", "SenseNetwork", "burst_trace"]

_MOST_CHANGES = 400


@dataclass(frozen=True, kw_only=True, slots=True)
class SenseNetwork:
    """The sense network with its filter, Ω, F, V and A; see ``comparators.sensing_thresholds_v``.

    ``upper_each_ohm`` twice from the battery to the + input, the filter capacitor at their middle.
    """

    upper_each_ohm: float
    lower_ohm: float
    feedback_ohm: float
    pullup_ohm: float
    filter_f: float
    reference_v: float
    low_v: float
    bias_a: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Burst:
    """What the battery is asked for.

    Attributes
    ----------
    emf_v, source_ohm : battery at rest, V, and the resistance up to the sense point, Ω.
    idle_a, step_a : current while running without signal, and what the burst adds on average, A. A sine takes
        power as its square, so the burst's current swings between nothing and twice the step at 2 f.
    note_hz : Hz. start_s, stop_s : of the burst, s.
    restart_s : from a release until the load is back, s: soft start and hold-off.
    """

    emf_v: float
    source_ohm: float
    idle_a: float
    step_a: float
    note_hz: float
    start_s: float
    stop_s: float
    restart_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BurstTrace:
    """What happens; arrays of shape (n,).

    Attributes
    ----------
    time_s, terminal_v : s and V. sensed_v : steady battery voltage that would put the filter where it is, V:
        it meets the trip while running and the release while stopped.
    running : 1 where the load may draw, 0 where not. trips : how often it tripped.
    """

    time_s: Array
    terminal_v: Array
    sensed_v: Array
    running: Array
    trips: int


@dataclass(frozen=True, kw_only=True, slots=True)
class _Mode:
    """One state of the output: v(+) = gain vm + lift, and the middle node's time constant and divisor."""

    gain: float
    lift: float
    tau_s: float
    divisor: float


def _mode(network: SenseNetwork, output_high: bool) -> _Mode:
    upper = 1.0 / network.upper_each_ohm
    back = 1.0 / (network.feedback_ohm + (network.pullup_ohm if output_high else 0.0))
    total = upper + 1.0 / network.lower_ohm + back
    gain = upper / total
    lift = (back * (network.reference_v if output_high else network.low_v) + network.bias_a) / total
    divisor = 2.0 - gain
    return _Mode(
        gain=gain,
        lift=lift,
        tau_s=network.upper_each_ohm * network.filter_f / divisor,
        divisor=divisor,
    )


def burst_trace(network: SenseNetwork, burst: Burst, end_s: float, points: int = 1_000) -> BurstTrace:
    """Follow a burst through battery, sense filter and trip.

    Parameters
    ----------
    network : the under-voltage network.
    burst : battery and load.
    end_s : length of the trace, s.
    points : of the time grid, count.

    Returns
    -------
    BurstTrace; changes of state fall on the grid.

    Raises
    ------
    RangeError : a time or resistance that can't be.
    ConvergenceError : it changes its state without end.

    Source
    ------
    [derived] Kirchhoff's current law at the filter's node; first-order response to a constant and a cosine.
    The feedback acts at once, as the capacitor stands ahead of the + input. Current follows the sine without
    the help of the rail capacitors, and the battery's slow recovery over minutes is left out: both on the
    safe side for a trip that undoes itself.

    >>> net = SenseNetwork(upper_each_ohm=33e3, lower_ohm=68e3, feedback_ohm=330e3, pullup_ohm=10e3,
    ...     filter_f=1e-6, reference_v=5.0, low_v=0.1)
    >>> hit = Burst(emf_v=10.8, source_ohm=0.03, idle_a=1.0, step_a=30.0, note_hz=30.0, start_s=0.1,
    ...     stop_s=0.9, restart_s=0.2)
    >>> burst_trace(net, hit, 1.0).trips
    1
    """
    positive("length of the trace", end_s, "s")
    positive("filter capacitor", network.filter_f, "F")
    not_negative("source resistance", burst.source_ohm, "Ω")
    positive("note", burst.note_hz, "Hz")
    time = np.linspace(0.0, end_s, points)
    high, low = _mode(network, True), _mode(network, False)
    idle_v = burst.emf_v - burst.source_ohm * burst.idle_a
    middle_at = (idle_v + high.lift) / high.divisor
    terminal, sensed = np.empty(points), np.empty(points)
    running = np.empty(points)
    omega = 4.0 * np.pi * burst.note_hz
    at, load_from_s, stopped, trips = 0, 0.0, False, 0
    for _ in range(_MOST_CHANGES):
        mode = low if stopped else high
        rest = time[at:]
        on = np.zeros(rest.size, dtype=bool) if stopped else rest >= load_from_s - 1e-12
        hit = on & (rest >= burst.start_s) & (rest < burst.stop_s)
        # The stretch ends where the load current changes its form.
        change = np.nonzero((hit != hit[0]) | (on != on[0]))[0]
        length = int(change[0]) if change.size else rest.size
        t = rest[:length] - rest[0]
        if hit[0]:
            swing = burst.source_ohm * burst.step_a
            steady = idle_v - swing
            phase = omega * (rest[:length] - burst.start_s)
            volts = steady + swing * np.cos(phase)
            ripple = (swing / mode.divisor / (1.0 + 1j * omega * mode.tau_s) * np.exp(1j * phase)).real
        else:
            steady = idle_v if on[0] else burst.emf_v
            volts, ripple = np.full(length, steady), np.zeros(length)
        settled = (steady + mode.lift) / mode.divisor
        middle = settled + ripple + (middle_at - settled - ripple[0]) * np.exp(-t / mode.tau_s)
        node = mode.gain * middle + mode.lift
        crossed = np.nonzero(node > network.reference_v if stopped else node < network.reference_v)[0]
        crossed = crossed[crossed > 0]  # the state has just been entered; give it one step
        taken = int(crossed[0]) if crossed.size else length
        here = slice(at, at + taken)
        terminal[here], running[here] = volts[:taken], float(not stopped and bool(on[0]))
        sensed[here] = mode.divisor * middle[:taken] - mode.lift
        at += taken
        if at >= points:
            return BurstTrace(time_s=time, terminal_v=terminal, sensed_v=sensed, running=running, trips=trips)
        # Carry the filter's voltage to the first instant of the next stretch.
        step = float(time[at] - rest[0])
        if crossed.size:
            middle_at = float(middle[taken])
            stopped = not stopped
            trips += int(stopped)
            load_from_s = float("inf") if stopped else float(time[at]) + burst.restart_s
        else:
            after = _ripple_at(burst, mode, float(time[at])) if hit[0] else 0.0
            middle_at = (
                settled
                + after
                + (float(middle[0]) - settled - float(ripple[0])) * float(np.exp(-step / mode.tau_s))
            )
    raise ConvergenceError(
        message="The under-voltage trip keeps changing its state.",
        quantity="changes of state",
        value=str(_MOST_CHANGES),
        remedy="Lengthen the sense filter or the hysteresis.",
    )


def _ripple_at(burst: Burst, mode: _Mode, time_s: float) -> float:
    """Ripple of the filter's node at an instant (s) of the burst, V."""
    omega = 4.0 * np.pi * burst.note_hz
    swing = burst.source_ohm * burst.step_a / mode.divisor
    turn = np.exp(1j * omega * (time_s - burst.start_s))
    return float((swing / (1.0 + 1j * omega * mode.tau_s) * turn).real)
