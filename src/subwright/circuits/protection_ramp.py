"""Finding the protection's thresholds the way the bench does: turn voltage or heat up and down slowly.

Slow, because thresholds with hysteresis are where a circuit leaves one state, not where it could rest: a DC
sweep may follow the branch on which the output stands half-way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import Probe, Transient, Voltage
from subwright.circuits.measure import crossings
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.circuits.simulate import Engine, simulate
from subwright.parts.library import Library
from subwright.physics.networks.thermistor import divider_self_heating_k
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_models import thermistor_of

__all__ = ["ThresholdRun", "current_run", "heat_run", "run_thresholds", "thermistor_ohm", "voltage_run"]

_STEPS: Final = 2000  # a ramp's; each is an error of one threshold
_RAMP_S: Final = 60.0  # from one end to the other: the sense filters lag by some hundredths of a per cent
_ACCURACY: Final = 1e-5  # coarser, and a sense node's error of some millivolts moves the threshold
_ROOM_C: Final = 25.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ThresholdRun:
    """A ramp up and down again, and how to read it.

    Attributes
    ----------
    circuit, analysis : to simulate.
    watched : the protections that the ramp should trip and release.
    ramp : the watched quantity over time, V or °C.
    """

    circuit: Circuit
    analysis: Transient
    watched: tuple[str, ...]
    ramp: Ramp


def _up_and_down(low: float, high: float) -> Ramp:
    return Ramp(points=((0.0, low), (_RAMP_S, high), (2.0 * _RAMP_S, low)))


def _at(ramp: Ramp, time_s: float) -> float:
    times, values = np.array(ramp.points).T
    return float(np.interp(time_s, times, values))


def _slowly() -> Transient:
    return Transient(stop_s=2.0 * _RAMP_S, step_s=_RAMP_S / _STEPS, accuracy=_ACCURACY)


def voltage_run(result: ProtectionResult, library: Library) -> ThresholdRun:
    """The battery from below the under-voltage trip to above the over-voltage trip and back, heatsink cold.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    """
    names = result.thresholds
    ramp = _up_and_down(0.92 * names["under-voltage trip"].nominal, 1.05 * names["over-voltage trip"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(
            result, library, battery=ramp, thermistor=thermistor_ohm(result, library, _ROOM_C)
        ),
        analysis=_slowly(),
        watched=("under-voltage", "over-voltage"),
        ramp=ramp,
    )


def heat_run(result: ProtectionResult, library: Library) -> ThresholdRun:
    """The heatsink from below the thermal release to above the trip and back, battery between its limits.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    """
    names = result.thresholds
    low, high = names["thermal release"].nominal - 8.0, names["thermal trip"].nominal + 6.0
    ramp = _up_and_down(low, high)
    times = np.linspace(0.0, 2.0 * _RAMP_S, 4 * round(high - low) + 1)
    heat = [_at(ramp, float(time)) for time in times]
    ohms = Ramp(
        points=tuple(
            (float(time), thermistor_ohm(result, library, celsius))
            for time, celsius in zip(times, heat, strict=True)
        )
    )
    middle_v = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(result, library, battery=Steady(value=middle_v), thermistor=ohms),
        analysis=_slowly(),
        watched=("thermal",),
        ramp=ramp,
    )


def current_run(result: ProtectionResult, library: Library) -> ThresholdRun:
    """The battery's current from nought to above the over-current trip and back, all else in order.

    Parameters
    ----------
    result : a design with a shunt. library : parts with the drawer merged.

    Raises
    ------
    SubwrightError : there is no over-current trip.
    """
    if result.over_current is None:
        raise SubwrightError(message="This protection circuit has no over-current trip.")
    names = result.thresholds
    ramp = _up_and_down(0.0, 1.3 * result.over_current.nominal_a)
    middle_v = 0.5 * (names["under-voltage release"].nominal + names["over-voltage release"].nominal)
    return ThresholdRun(
        circuit=protection_circuit(
            result,
            library,
            battery=Steady(value=middle_v),
            thermistor=thermistor_ohm(result, library, _ROOM_C),
            current=ramp,
        ),
        analysis=_slowly(),
        watched=("over-current",),
        ramp=ramp,
    )


def thermistor_ohm(result: ProtectionResult, library: Library, heatsink_c: float) -> float:
    """Resistance of the thermistor on a heatsink, warmed by its own divider, Ω.

    Parameters
    ----------
    result : the design. library : for the thermistor's record. heatsink_c : °C.
    """
    ntc = library.ntc(result.ntc)
    model = thermistor_of(ntc)
    own_k = 0.0
    ohm = float(model.resistance_ohm(heatsink_c))
    for _ in range(6):  # the bead's own heat is a kelvin: each round leaves a fiftieth of the error
        own_k = float(
            divider_self_heating_k(
                result.reference.nominal_v, ohm, result.thermal.series_ohm, model.dissipation_w_per_k
            )
        )
        ohm = float(model.resistance_ohm(heatsink_c + own_k))
    return ohm


def run_thresholds(run: ThresholdRun, engine: Engine) -> Mapping[str, float]:
    """Simulate a ramp and read every threshold that it crosses.

    Parameters
    ----------
    run : from ``voltage_run`` or ``heat_run``. engine : who simulates.

    Returns
    -------
    "under-voltage trip" and so on, in V or °C.

    Raises
    ------
    SubwrightError : a protection did not trip and release exactly once each.
    """
    probes: list[Probe] = [Voltage(PROTECTION_NETS[watch]) for watch in run.watched]
    traces = simulate(run.circuit, run.analysis, probes, engine)
    found: dict[str, float] = {}
    for watch in run.watched:
        output = traces.voltage(PROTECTION_NETS[watch])
        level = 0.5 * float(output.min() + output.max())
        events = crossings(traces.axis, output, level)
        if sorted(rising for _, rising in events) != [False, True]:
            raise SubwrightError(
                message=f"The simulated {watch} protection did not trip and release once.",
                quantity="changes of its output",
                value=str(len(events)),
                limit="one trip and one release",
                remedy="This is an error in subwright, not in the build; please report it.",
            )
        for time, rising in events:
            found[f"{watch} {'release' if rising else 'trip'}"] = _at(run.ramp, time)
    return found
