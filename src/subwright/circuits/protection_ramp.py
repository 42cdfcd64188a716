"""Finding the protection's thresholds the way the bench does: turn voltage or heat up and down slowly.

Slow, because thresholds with hysteresis are where a circuit leaves one state, not where it could rest: a DC
sweep may follow the branch on which the output stands half-way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import Probe, Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.simulate import DEFAULT_TIMEOUT_S, Engine, Traces, simulate
from subwright.parts.library import Library
from subwright.physics.networks.thermistor import divider_self_heating_k
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_models import thermistor_of

__all__ = [
    "ThresholdRun",
    "current_run",
    "heat_run",
    "reached_s",
    "read_thresholds",
    "run_thresholds",
    "simulate_run",
    "thermistor_ohm",
    "voltage_run",
]

_QUICK_S: Final = 0.2  # of a current whose trip latches: from a dead start the first steps must be small
_STEPS: Final = 2000  # a ramp's; each is an error of one threshold
_RAMP_S: Final = 60.0  # from one end to the other: the sense filters lag by some hundredths of a per cent
_ACCURACY: Final = 1e-5  # coarser, and a sense node's error of some millivolts moves the threshold
_ROOM_C: Final = 22.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ThresholdRun:
    """A ramp up and down again, and how to read it.

    Attributes
    ----------
    circuit, analysis : to simulate.
    watched : the protections that the ramp should trip and release.
    ramp : the watched quantity over time, V, °C or A. latches : whether a trip is for good.
    """

    circuit: Circuit
    analysis: Transient
    watched: tuple[str, ...]
    ramp: Ramp
    latches: bool = False


def _up_and_down(low: float, high: float) -> Ramp:
    return Ramp(points=((0.0, low), (_RAMP_S, high), (2.0 * _RAMP_S, low)))


def _at(ramp: Ramp, time_s: float) -> float:
    times, values = np.array(ramp.points).T
    return float(np.interp(time_s, times, values))


def _slowly(ramp_s: float = _RAMP_S) -> Transient:
    return Transient(stop_s=2.0 * ramp_s, step_s=ramp_s / _STEPS, accuracy=_ACCURACY)


def voltage_run(
    result: ProtectionResult, library: Library, inhibit: tuple[float, float] | None = None
) -> ThresholdRun:
    """The battery from below the under-voltage trip to above the over-voltage trip and back, heatsink cold.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged. inhibit : what hangs on the inhibit line, V
        behind Ω.
    """
    names = result.thresholds
    ramp = _up_and_down(0.92 * names["under-voltage trip"].nominal, 1.05 * names["over-voltage trip"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(
            result,
            library,
            battery=ramp,
            thermistor=thermistor_ohm(result, library, _ROOM_C),
            inhibit=inhibit,
        ),
        analysis=_slowly(),
        watched=("under-voltage", "over-voltage"),
        ramp=ramp,
    )


def heat_run(
    result: ProtectionResult,
    library: Library,
    *,
    battery_v: float | None = None,
    trimmer: float | None = None,
) -> ThresholdRun:
    """The heatsink from below the thermal release to above the trip and back, battery between its limits.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    battery_v : V; None: half-way between the voltage trips.
    trimmer : share of the thermal trimmer's track in circuit, 0 or 1; None: as set in a nominal unit.
    """
    names, network = result.thresholds, result.thermal
    trip = names["thermal trip"].nominal
    arm = network.series_ohm + network.trimmer_set_ohm
    if trimmer is not None and network.trimmer_ohm is not None:
        reach = next(one for one in result.trimmers if one.protection == "thermal")
        trip = reach.trip_shut if trimmer == 0.0 else reach.trip_open
        arm = network.series_ohm + trimmer * network.trimmer_ohm
    hysteresis = names["thermal trip"].nominal - names["thermal release"].nominal
    low, high = trip - 1.2 * hysteresis - 8.0, trip + 6.0
    ramp = _up_and_down(low, high)
    times = np.linspace(0.0, 2.0 * _RAMP_S, 4 * round(high - low) + 1)
    ohms = Ramp(
        points=tuple(
            (float(time), thermistor_ohm(result, library, _at(ramp, float(time)), arm)) for time in times
        )
    )
    if battery_v is None:
        battery_v = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(
            result, library, battery=Steady(value=battery_v), thermistor=ohms, trimmer=trimmer
        ),
        analysis=_slowly(),
        watched=("thermal",),
        ramp=ramp,
    )


def current_run(
    result: ProtectionResult, library: Library, watch: str = "over-current", *, backwards: bool = False
) -> ThresholdRun:
    """A current from nought to above its trip and back, all else in order.

    Parameters
    ----------
    result : a design with that trip. library : parts with the drawer merged.
    watch : "over-current" of the battery, or "amplifier over-current". backwards : the other way.

    Raises
    ------
    SubwrightError : there is no such trip.
    """
    trip = result.over_current if watch == "over-current" else result.amplifier_current
    if trip is None:
        raise SubwrightError(message=f"This protection circuit has no {watch} trip.")
    names = result.thresholds
    peak_a = (-1.3 if backwards else 1.3) * trip.held_a
    long_s = _QUICK_S if trip.after == "latch" else _RAMP_S
    ramp = Ramp(points=((0.0, 0.0), (long_s, peak_a), (2.0 * long_s, 0.0)))
    middle_v = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(
            result,
            library,
            battery=Steady(value=middle_v),
            thermistor=thermistor_ohm(result, library, _ROOM_C),
            current=ramp if watch == "over-current" else None,
            output=None if watch == "over-current" else ramp,
        ),
        # a latch is at rest in either state: only from a dead start does it stand open
        analysis=replace(_slowly(long_s), from_initial=trip.after == "latch"),
        watched=(watch,),
        ramp=ramp,
        latches=trip.after == "latch",
    )


def thermistor_ohm(
    result: ProtectionResult, library: Library, heatsink_c: float, arm_ohm: float | None = None
) -> float:
    """Resistance of the thermistor on a heatsink, warmed by its own divider, Ω.

    Parameters
    ----------
    result : the design. library : for the thermistor's record. heatsink_c : °C.
    arm_ohm : under the thermistor, Ω; None: as in a nominal unit.
    """
    arm = result.thermal.series_ohm + result.thermal.trimmer_set_ohm if arm_ohm is None else arm_ohm
    ntc = library.ntc(result.ntc)
    model = thermistor_of(ntc)
    own_k = 0.0
    ohm = float(model.resistance_ohm(heatsink_c))
    for _ in range(6):  # the bead's own heat is a kelvin: each round leaves a fiftieth of the error
        own_k = float(divider_self_heating_k(result.reference.nominal_v, ohm, arm, model.dissipation_w_per_k))
        ohm = float(model.resistance_ohm(heatsink_c + own_k))
    return ohm


def run_thresholds(
    run: ThresholdRun, engine: Engine, timeout_s: float = DEFAULT_TIMEOUT_S
) -> Mapping[str, float]:
    """Simulate a ramp and read every threshold that it crosses.

    Parameters
    ----------
    run : from ``voltage_run``, ``heat_run`` or ``current_run``. engine : who simulates.
    timeout_s : patience, s.

    Returns
    -------
    "under-voltage trip" and so on, in V or °C.

    Raises
    ------
    SubwrightError : a protection did not trip and release exactly once each.
    """
    return read_thresholds(run, simulate_run(run, engine, timeout_s))


def simulate_run(
    run: ThresholdRun, engine: Engine, timeout_s: float = DEFAULT_TIMEOUT_S, nets: Sequence[str] = ()
) -> Traces:
    """The watched outputs, and further nets, over a ramp; else as :func:`run_thresholds`."""
    seen = dict.fromkeys((*(PROTECTION_NETS[watch] for watch in run.watched), *nets))
    probes: list[Probe] = [Voltage(net) for net in seen]
    return simulate(run.circuit, run.analysis, probes, engine, timeout_s=timeout_s)


def reached_s(ramp: Ramp, value: float) -> float:
    """When a ramp up and down again is at a value for the last time, s.

    Parameters
    ----------
    ramp : of three points. value : in its unit.

    Raises
    ------
    SubwrightError : it never is.
    """
    (_, _), (top_s, top), (end_s, end) = ramp.points
    share = (top - value) / (top - end)
    if not 0.0 <= share <= 1.0:
        raise SubwrightError(
            message="The simulated ramp does not reach this value.",
            quantity="value",
            value=f"{value:g}",
            limit=f"{end:g} to {top:g}",
            remedy="This is an error in subwright, not in the build; please report it.",
        )
    return top_s + share * (end_s - top_s)


def read_thresholds(run: ThresholdRun, traces: Traces) -> Mapping[str, float]:
    """Every threshold in the outputs' course; raises as :func:`run_thresholds`."""
    found: dict[str, float] = {}
    for watch in run.watched:
        output = traces.voltage(PROTECTION_NETS[watch])
        level = 0.5 * float(output.min() + output.max())
        events = crossings(traces.axis, output, level)
        expected = [False] if run.latches else [False, True]
        if sorted(rising for _, rising in events) != expected:
            raise SubwrightError(
                message=f"The simulated {watch} protection did not trip and release once.",
                quantity="changes of its output",
                value=str(len(events)),
                limit="one trip" if run.latches else "one trip and one release",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
        for time, rising in events:
            found[f"{watch} {'release' if rising else 'trip'}"] = _at(run.ramp, time)
    return found
