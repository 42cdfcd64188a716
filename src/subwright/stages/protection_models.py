"""Thresholds of the protection networks as functions of every toleranced part."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.parts.schema import Comparator, Ntc, Reference
from subwright.physics.networks.comparators import (
    divider_sense_v,
    inverting_levels_v,
    sensing_thresholds_v,
    shunt_reference_v,
)
from subwright.physics.networks.thermistor import Thermistor, divider_self_heating_k
from subwright.physics.networks.tolerance import Parameter
from subwright.stages.protection_records import OverVoltageNetwork, ThermalNetwork, UnderVoltageNetwork

__all__ = [
    "RESISTOR_DRIFT",
    "SETTING_K",
    "SETTING_TOLERANCE",
    "TRIMMER_TOLERANCE",
    "Builds",
    "Case",
    "ReferenceModel",
    "over_voltage_case",
    "over_voltage_lower_ohm",
    "saturation",
    "setting_of",
    "thermal_case",
    "thermal_series_ohm",
    "thermistor_of",
    "under_voltage_case",
    "under_voltage_lower_ohm",
]

Array: TypeAlias = npt.NDArray[np.float64]
Builds: TypeAlias = Mapping[str, Array]

RESISTOR_DRIFT: Final = 100e-6 * 40.0  # 100 ppm/K (tcr-note) over 40 K between bench and hot or cold vehicle
SETTING_TOLERANCE: Final = 0.01  # meter, hand and later drift of a trimmed threshold; common practice
SETTING_K: Final = 2.0  # thermometer, its contact with the heatsink, and hand; common practice
TRIMMER_TOLERANCE: Final = 0.20
_SECOND: Final = "sense lower B"
_LOW_AT_A: Final = 4e-3  # current at which 339-family sheets state the saturated output voltage


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A network's model, its uncertain parts and the names of its results."""

    results: tuple[str, ...]
    parameters: tuple[Parameter, ...]
    function: Callable[[Builds], tuple[Array, ...]]

    def model(self, builds: Array) -> Array:
        """Results by build, from parts by build."""
        names = (p.name for p in self.parameters)
        return np.stack(np.broadcast_arrays(*self.function(dict(zip(names, builds, strict=True)))))


@dataclass(frozen=True, kw_only=True, slots=True)
class ReferenceModel:
    """The reference voltage as a function of its parts."""

    kind: Literal["controller", "shunt"]
    controller_v: float = 5.0
    controller_tolerance: float = 0.0
    shunt: Reference | None = None
    upper_ohm: float = 0.0
    lower_ohm: float = np.inf

    def parameters(self, tolerance: float) -> tuple[Parameter, ...]:
        """Uncertain parts of the reference, with resistors of ``tolerance`` (fraction)."""
        if self.shunt is None:
            return (Parameter.relative("controller reference", self.controller_v, self.controller_tolerance),)
        spread = self.shunt.tolerance + self.shunt.drift_v / self.shunt.vref_v
        return (
            Parameter.relative("shunt reference", self.shunt.vref_v, spread),
            _resistor("reference upper", self.upper_ohm, tolerance),
            _resistor("reference lower", self.lower_ohm, tolerance),
            Parameter(
                name="reference pin current", nominal=0.5 * self.shunt.iref_a, low=0.0, high=self.shunt.iref_a
            ),
        )

    def volts(self, x: Builds) -> Array:
        """Reference in V by build."""
        if self.shunt is None:
            return x["controller reference"]
        return np.asarray(
            shunt_reference_v(
                x["shunt reference"], x["reference upper"], x["reference lower"], x["reference pin current"]
            )
        )

    def nominal_v(self) -> float:
        """Reference in V with nominal parts."""
        return float(self.volts({p.name: np.asarray(p.nominal) for p in self.parameters(0.0)}))


def _resistor(name: str, resistance_ohm: float, tolerance: float) -> Parameter:
    return Parameter.relative(name, resistance_ohm, tolerance + RESISTOR_DRIFT)


def saturation(comparator: Comparator, sink_a: float) -> Parameter:
    """Saturated output voltage, typical and largest figure scaled to the current sunk.

    A saturated transistor is a resistance, as the sheets' curves of V_OL against current show (lm339).
    """
    share = min(1.0, sink_a / _LOW_AT_A)
    typical = comparator.vol_v * share
    return Parameter(name="output low", nominal=typical, low=0.5 * typical, high=comparator.vol_max_v * share)


def _inputs(comparator: Comparator, sink_a: float) -> tuple[Parameter, ...]:
    return (
        saturation(comparator, sink_a),
        Parameter(
            name="comparator offset", nominal=0.0, low=-comparator.vos_max_v, high=comparator.vos_max_v
        ),
        Parameter(name="comparator bias", nominal=comparator.ib_a, low=0.0, high=comparator.ib_max_a),
    )


def setting_of(protection: str) -> Parameter:
    """How far off a trimmer is set: a factor of a voltage trip, or K of the thermal one."""
    if protection == "thermal":
        return Parameter(name="trimmer setting", nominal=0.0, low=-SETTING_K, high=SETTING_K)
    return Parameter.relative("trimmer setting", 1.0, SETTING_TOLERANCE)


def _trimmer(trimmer_ohm: float | None, protection: str) -> tuple[Parameter, ...]:
    if trimmer_ohm is None:
        return ()
    return Parameter.relative("trimmer", trimmer_ohm, TRIMMER_TOLERANCE), setting_of(protection)


def _set(needed_ohm: Array, fixed_ohm: Array, trimmer_ohm: Array) -> Array:
    """Lower arm after the trimmer has been turned as near to the need as it goes."""
    return np.clip(needed_ohm, fixed_ohm, fixed_ohm + trimmer_ohm)


def under_voltage_lower_ohm(x: Builds, reference_v: Array, trip_v: float) -> Array:
    """Lower arm that makes builds trip at a battery voltage times their own trimmer setting, Ω.

    Parameters
    ----------
    x : parts by build, the arm itself left out. reference_v : V by build. trip_v : V.
    """
    node = reference_v + x["comparator offset"]
    top = x["sense upper A"] + x["sense upper B"]
    through = (trip_v * x["trimmer setting"] - node) / top + x["comparator bias"]
    return np.asarray(node / (through - (node - reference_v) / (x["feedback"] + x["pull-up"])))


def over_voltage_lower_ohm(x: Builds, reference_v: Array, trip_v: float) -> Array:
    """The same for the over-voltage trip; arguments as :func:`under_voltage_lower_ohm`.

    With the pull-up on the reference the + input stands on it while the output is high, lifted by the bias.
    """
    reach = x["feedback"] + x["pull-up"]
    lift = x["comparator bias"] * x["reference resistor"] * reach / (x["reference resistor"] + reach)
    node = reference_v + lift - x["comparator offset"]
    through = (trip_v * x["trimmer setting"] - node) / x["sense upper"] + x["comparator bias"]
    return np.asarray(node / through)


def _lower(x: Builds) -> Array:
    """Fixed lower arm by build, Ω."""
    return np.asarray(x["sense lower"] + x.get(_SECOND, np.float64(0.0)))


def _lower_parameters(
    network: UnderVoltageNetwork | OverVoltageNetwork, tolerance: float
) -> Iterator[Parameter]:
    yield _resistor("sense lower", network.lower_ohm, tolerance)
    if network.lower_second_ohm is not None:
        yield _resistor(_SECOND, network.lower_second_ohm, tolerance)


def under_voltage_case(
    network: UnderVoltageNetwork,
    reference: ReferenceModel,
    comparator: Comparator,
    tolerance: float,
    sink_a: float,
    target_v: float,
) -> Case:
    """Under-voltage trip, release and hysteresis, V.

    Parameters
    ----------
    network : real values. reference, comparator : the rest of the circuit.
    tolerance : of the resistors, fraction. sink_a : current in the output transistor when low, A.
    target_v : trip that a trimmer is set to, V; without a trimmer it has no part in it.
    """
    trimmed = network.trimmer_ohm is not None

    def function(x: Builds) -> tuple[Array, ...]:
        reference_v = reference.volts(x)
        top = x["sense upper A"] + x["sense upper B"]
        bottom = _lower(x)
        if trimmed:
            bottom = _set(under_voltage_lower_ohm(x, reference_v, target_v), bottom, x["trimmer"])
        falling, rising = sensing_thresholds_v(
            top_ohm=top,
            bottom_ohm=bottom,
            feedback_ohm=x["feedback"],
            reference_v=reference_v,
            pullup_v=reference_v,
            pullup_ohm=x["pull-up"],
            low_v=x["output low"],
            offset_v=x["comparator offset"],
            bias_a=x["comparator bias"],
        )
        trip, release = np.asarray(falling), np.asarray(rising)
        return trip, release, release - trip

    return Case(
        results=("under-voltage trip", "under-voltage release", "under-voltage hysteresis"),
        parameters=(
            *reference.parameters(tolerance),
            _resistor("sense upper A", network.upper_each_ohm, tolerance),
            _resistor("sense upper B", network.upper_each_ohm, tolerance),
            *_lower_parameters(network, tolerance),
            _resistor("feedback", network.feedback_ohm, tolerance),
            _resistor("pull-up", network.pullup_ohm, tolerance),
            *_inputs(comparator, sink_a),
            *_trimmer(network.trimmer_ohm, "under-voltage"),
        ),
        function=function,
    )


def over_voltage_case(
    network: OverVoltageNetwork,
    reference: ReferenceModel,
    comparator: Comparator,
    tolerance: float,
    sink_a: float,
    target_v: float,
) -> Case:
    """Over-voltage trip, release and hysteresis, V; arguments as :func:`under_voltage_case`."""
    trimmed = network.trimmer_ohm is not None

    def function(x: Builds) -> tuple[Array, ...]:
        reference_v = reference.volts(x)
        offset, bias = x["comparator offset"], x["comparator bias"]
        high, low = inverting_levels_v(
            r1_ohm=x["reference resistor"],
            r2_ohm=np.inf,
            r3_ohm=x["feedback"],
            supply_v=reference_v,
            pullup_v=reference_v,
            pullup_ohm=x["pull-up"],
            low_v=x["output low"],
            bias_a=bias,
        )
        top, bottom = x["sense upper"], _lower(x)
        if trimmed:
            bottom = _set(over_voltage_lower_ohm(x, reference_v, target_v), bottom, x["trimmer"])
        trip = np.asarray(divider_sense_v(high, top, bottom, offset_v=offset, bias_a=bias))
        release = np.asarray(divider_sense_v(low, top, bottom, offset_v=offset, bias_a=bias))
        return trip, release, trip - release

    return Case(
        results=("over-voltage trip", "over-voltage release", "over-voltage hysteresis"),
        parameters=(
            *reference.parameters(tolerance),
            _resistor("sense upper", network.upper_ohm, tolerance),
            *_lower_parameters(network, tolerance),
            _resistor("reference resistor", network.reference_ohm, tolerance),
            _resistor("feedback", network.feedback_ohm, tolerance),
            _resistor("pull-up", network.pullup_ohm, tolerance),
            *_inputs(comparator, sink_a),
            *_trimmer(network.trimmer_ohm, "over-voltage"),
        ),
        function=function,
    )


def thermistor_of(ntc: Ntc) -> Thermistor:
    """The library's thermistor as a physical model."""
    return Thermistor(
        r25_ohm=ntc.r25_ohm, b_k=ntc.b_k, table=ntc.table, dissipation_w_per_k=ntc.dissipation_w_per_k
    )


def thermal_series_ohm(
    thermistor: Thermistor, x: Builds, reference_v: Array, trip_c: Array, self_heating_k: float
) -> Array:
    """Arm under the thermistor that makes builds trip at a heatsink temperature, Ω.

    Parameters
    ----------
    thermistor : nominal. x : parts by build, the arm itself left out. reference_v : V by build.
    trip_c : heatsink at the trip, °C by build. self_heating_k : to start from, K.
    """
    high = np.asarray(_thermal_levels(x, reference_v)[0])
    node = high - x["comparator offset"]
    heat: Array = np.full(np.shape(node), self_heating_k)
    arm = node
    for _ in range(4):  # the bead's own heat is a kelvin: each round leaves a fiftieth of the error
        bead = trip_c + heat
        spread = thermistor.spread(bead, x["thermistor R25"] - 1.0, x["thermistor B"] - 1.0)
        resistance = np.asarray(thermistor.resistance_ohm(bead) * spread)
        arm = node / ((reference_v - node) / resistance + x["comparator bias"])
        heat = np.asarray(
            divider_self_heating_k(reference_v, resistance, arm, thermistor.dissipation_w_per_k)
        )
    return np.asarray(arm)


def _thermal_levels(x: Builds, reference_v: Array) -> tuple[Array, Array]:
    """+ input with the output high and low, V."""
    high, low = inverting_levels_v(
        r1_ohm=x["level upper"],
        r2_ohm=x["level lower"],
        r3_ohm=x["feedback"],
        supply_v=reference_v,
        pullup_v=reference_v,
        pullup_ohm=x["pull-up"],
        low_v=x["output low"],
        bias_a=x["comparator bias"],
    )
    return np.asarray(high), np.asarray(low)


def thermal_case(
    network: ThermalNetwork,
    reference: ReferenceModel,
    comparator: Comparator,
    ntc: Ntc,
    tolerance: float,
    sink_a: float,
) -> Case:
    """Heatsink temperature at the thermal trip and release, and the hysteresis, °C and K.

    The thermistor's own heat is taken off: the heatsink is cooler than the bead. Arguments as
    :func:`under_voltage_case`; ``ntc`` is the record of the thermistor.
    """
    thermistor = thermistor_of(ntc)

    trimmed = network.trimmer_ohm is not None

    def temperature(level: Array, x: Builds, reference_v: Array, series: Array) -> Array:
        node = level - x["comparator offset"]
        into = node / series - x["comparator bias"]
        resistance = (reference_v - node) / into
        # The tolerance pivots about 25 °C, so it depends on the answer a little: two rounds settle it.
        nominal = resistance / x["thermistor R25"]
        bead = np.asarray(thermistor.temperature_c(nominal))
        for _ in range(2):
            spread = thermistor.spread(bead, x["thermistor R25"] - 1.0, x["thermistor B"] - 1.0)
            bead = np.asarray(thermistor.temperature_c(resistance / spread))
        heat = divider_self_heating_k(reference_v, resistance, series, thermistor.dissipation_w_per_k)
        return np.asarray(bead - heat)

    def function(x: Builds) -> tuple[Array, ...]:
        reference_v = reference.volts(x)
        high, low = _thermal_levels(x, reference_v)
        series = x["thermistor series"]
        if trimmed:
            wanted = network.trimmer_target_c + x["trimmer setting"]
            needed = thermal_series_ohm(thermistor, x, reference_v, wanted, network.self_heating_k)
            series = _set(needed, series, x["trimmer"])
        trip = temperature(high, x, reference_v, series)
        release = temperature(low, x, reference_v, series)
        return trip, release, trip - release

    return Case(
        results=("thermal trip", "thermal release", "thermal hysteresis"),
        parameters=(
            *reference.parameters(tolerance),
            Parameter.relative("thermistor R25", 1.0, ntc.r_tolerance),
            Parameter.relative("thermistor B", 1.0, ntc.b_tolerance),
            _resistor("thermistor series", network.series_ohm, tolerance),
            _resistor("level upper", network.upper_ohm, tolerance),
            _resistor("level lower", network.lower_ohm, tolerance),
            _resistor("feedback", network.feedback_ohm, tolerance),
            _resistor("pull-up", network.pullup_ohm, tolerance),
            *_inputs(comparator, sink_a),
            *_trimmer(network.trimmer_ohm, "thermal"),
        ),
        function=function,
    )
