"""What a simulator needs to know of parts that a single value does not describe.

These are the least models that answer the questions asked of them: averages, thresholds and small-signal
response. None of them predicts a peak, an edge or a spike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

__all__ = [
    "BipolarModel",
    "Clock",
    "ComparatorModel",
    "ControllerModel",
    "CurrentModeModel",
    "DiodeModel",
    "GroundedComparatorModel",
    "HalfBridgeDriverModel",
    "JunctionFetModel",
    "JunctionModel",
    "Model",
    "ModelKind",
    "OpAmpModel",
    "PhotovoltaicModel",
    "RegulatorModel",
    "RelayModel",
    "SchmittInverterModel",
    "ShuntReferenceModel",
    "SquareLawModel",
    "SwitchModel",
    "ZenerModel",
]

ModelKind: TypeAlias = Literal[
    "diode",
    "junction",
    "zener",
    "switch",
    "op-amp",
    "comparator",
    "shunt reference",
    "regulator",
    "bipolar",
    "junction fet",
    "relay",
    "photovoltaic",
    "square law",
    "controller",
    "current mode",
    "grounded comparator",
    "schmitt inverter",
    "half-bridge driver",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class DiodeModel:
    """A rectifier as a threshold and a resistance: v = forward_v + resistance_ohm · i.

    The threshold is exact at ``rated_a``; a decade below it lies 12 mV lower. The junction's capacitance lets
    a simulator's steps through the moment at which a leg blocks.
    """

    kind: ClassVar[ModelKind] = "diode"
    name: str
    forward_v: float
    resistance_ohm: float
    rated_a: float
    junction_f: float = 20e-12


@dataclass(frozen=True, kw_only=True, slots=True)
class ZenerModel:
    """A zener diode: zener voltage at ``rated_a``, slope resistance, and a forward diode."""

    kind: ClassVar[ModelKind] = "zener"
    name: str
    zener_v: float
    slope_ohm: float
    rated_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class JunctionModel:
    """A small diode, light-emitting or not: an exponential through one forward voltage and current.

    ``junction_f``, where given, is its capacitance: it lets a simulator's steps through fast edges.
    ``series_ohm``, where given, adds its drop. ``emission``, where given, is its slope over kT/q; else it is
    steep, as a threshold.
    """

    kind: ClassVar[ModelKind] = "junction"
    name: str
    forward_v: float
    rated_a: float
    junction_f: float = 0.0
    series_ohm: float = 0.0
    emission: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class SwitchModel:
    """A MOSFET as a resistance that its gate switches, with body diode and clamp, without capacitance."""

    kind: ClassVar[ModelKind] = "switch"
    name: str
    on_ohm: float
    off_ohm: float
    threshold_v: float
    clamp_v: float  # avalanche
    channel: Literal["n", "p"] = "n"


@dataclass(frozen=True, kw_only=True, slots=True)
class SquareLawModel:
    """A MOSFET that works between on and off: ``I = K/2 (V_GS - V_T)²``, its body diode, no capacitance."""

    kind: ClassVar[ModelKind] = "square law"
    name: str
    channel: Literal["n", "p"]
    threshold_v: float  # magnitude
    factor_a_per_v2: float
    clamp_v: float  # avalanche


@dataclass(frozen=True, kw_only=True, slots=True)
class OpAmpModel:
    """An op-amp with one pole: gain 1/(1/dc_gain + j f/gbw_hz), ideal inputs and output.

    ``slew_v_per_s`` and ``swing_v``, where given, limit how fast and between which voltages against ground
    its output goes.
    """

    kind: ClassVar[ModelKind] = "op-amp"
    name: str
    gbw_hz: float
    dc_gain: float
    slew_v_per_s: float | None = None
    swing_v: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class ComparatorModel:
    """A comparator with an open collector; no limit of its input range.

    The output changes over at V(+) = V(-) + ``offset_v``; ``bias_a`` flows out of each input; the saturated
    output is a resistance.
    """

    kind: ClassVar[ModelKind] = "comparator"
    name: str
    offset_v: float
    bias_a: float
    saturation_ohm: float
    response_s: float
    supply_a: float  # of one comparator


@dataclass(frozen=True, kw_only=True, slots=True)
class ShuntReferenceModel:
    """A 431-family shunt: draws cathode current to hold its reference pin at ``reference_v``."""

    kind: ClassVar[ModelKind] = "shunt reference"
    name: str
    reference_v: float
    pin_a: float  # into the reference pin


@dataclass(frozen=True, kw_only=True, slots=True)
class RegulatorModel:
    """A 317-family regulator: holds its output ``reference_v`` from its adjust pin; negative for the 337."""

    kind: ClassVar[ModelKind] = "regulator"
    name: str
    reference_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BipolarModel:
    """A bipolar transistor with a current gain and an exponential base; the rest where it is given.

    ``junction_f`` is its base-emitter capacitance, and twice that of its collector. ``collector_f`` is the
    latter by itself, the same at every voltage. ``transit_s`` is what its transition frequency comes from
    beside the capacitances; ``early_v`` its Early voltage, 0 for none.
    """

    kind: ClassVar[ModelKind] = "bipolar"
    name: str
    polarity: Literal["npn", "pnp"]
    current_gain: float
    saturation_a: float = 1e-14
    junction_f: float = 0.0
    transit_s: float = 0.0
    early_v: float = 0.0
    collector_f: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class JunctionFetModel:
    """A junction field-effect transistor: ``on_ohm`` at no gate voltage, pinched off at ``pinch_v``."""

    kind: ClassVar[ModelKind] = "junction fet"
    name: str
    channel: Literal["n", "p"]
    on_ohm: float
    pinch_v: float  # magnitude


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayModel:
    """A relay: coil with resistance and inductance, contacts that its current moves at once.

    The armature's own travel is not in it: it closes above ``pull_in_a`` and opens below ``drop_out_a``.
    """

    kind: ClassVar[ModelKind] = "relay"
    name: str
    coil_ohm: float
    coil_h: float
    pull_in_a: float
    drop_out_a: float
    closed_ohm: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PhotovoltaicModel:
    """An isolated gate driver: a light-emitting diode whose light makes a current into a clamp.

    ``gain`` is output over input current, ``open_v`` what the output rises to, ``dark_ohm`` what empties the
    gate while the diode is dark (below ``dark_a``).
    """

    kind: ClassVar[ModelKind] = "photovoltaic"
    name: str
    forward_v: float
    rated_a: float
    gain: float
    open_v: float
    dark_ohm: float
    dark_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """A ramp of so many seconds, of which it falls in the last."""

    period_s: float
    fall_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ControllerModel:
    """A two-output controller: when its outputs are on, and what its pins do meanwhile.

    ``charge_v`` stands on RT, whose current charges CT between ``ramp_low_v`` and ``ramp_high_v``;
    ``discharge_v`` is what the 3525's discharge pin leads it towards; ``dead_min_s`` follows the fall. Of the
    494's ramp the outputs rest in ``dead_share`` at least. ``dead_ohm`` times its capacitor is the time in
    which a 3846 empties it. ``clock``, where given, stands in for RT and CT: quicker, where not the ramp is
    in question.
    """

    kind: ClassVar[ModelKind] = "controller"
    name: str
    family: Literal["3525", "494", "3524", "3846"]
    vref_v: float
    charge_v: float
    ramp_low_v: float
    ramp_high_v: float
    discharge_v: float
    dead_min_s: float
    dead_share: float
    uvlo_on_v: float
    uvlo_off_v: float
    soft_start_a: float | None
    quiescent_a: float
    dead_ohm: float = 0.0
    clock: Clock | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class CurrentModeModel:
    """A one-output current-mode controller: each pulse begins with the ramp and ends at the sensed current.

    The resistor at RT/CT charges the ramp from the reference; ``discharge_a`` empties it, and the output
    rests meanwhile. The pulse ends where the sense pin passes the error amplifier's output less
    ``comp_offset_v``, divided by ``sense_division``, or ``sense_v`` at most.
    """

    kind: ClassVar[ModelKind] = "current mode"
    name: str
    vref_v: float
    error_v: float
    ramp_low_v: float
    ramp_high_v: float
    discharge_a: float
    sense_v: float
    sense_division: float
    comp_offset_v: float
    sense_delay_s: float
    output_drop_v: float
    uvlo_on_v: float
    uvlo_off_v: float
    quiescent_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GroundedComparatorModel:
    """A fast comparator whose open output pulls to a ground pin of its own, apart from its lower supply.

    ``delay_s`` is the response at either edge, a pure delay for pulses longer than it and a limit for
    shorter ones. Input bias flows in; ``supply_a`` flows from the upper to the lower supply, ``ground_a`` to
    the ground pin, both of one comparator.
    """

    kind: ClassVar[ModelKind] = "grounded comparator"
    name: str
    offset_v: float
    bias_a: float
    saturation_ohm: float
    delay_s: float
    supply_a: float
    ground_a: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class SchmittInverterModel:
    """A CMOS Schmitt-trigger inverter; thresholds are shares of its supply.

    ``output_ohm`` is either switch of its output, ``input_f`` the capacitance of its input what one
    change of state takes from the supply.
    """

    kind: ClassVar[ModelKind] = "schmitt inverter"
    name: str
    low_share: float
    high_share: float
    output_ohm: float
    delay_s: float
    input_f: float


@dataclass(frozen=True, kw_only=True, slots=True)
class HalfBridgeDriverModel:
    """A driver of an upper and a lower MOSFET with a floating upper side and an edge-triggered stop.

    Inputs change over at ``input_share`` of the logic supply. A stop, or a supply below its lockout, ends the
    pulse at once; the output then waits for the next rising edge of its input (of the lower output: only
    after a stop). ``source_ohm`` and ``sink_ohm`` are the switches of each output.
    """

    kind: ClassVar[ModelKind] = "half-bridge driver"
    name: str
    input_share: float
    on_s: float
    off_s: float
    source_ohm: float
    sink_ohm: float
    uvlo_on_v: float
    uvlo_off_v: float
    logic_a: float
    lower_a: float
    upper_a: float


Model: TypeAlias = (
    BipolarModel
    | ControllerModel
    | CurrentModeModel
    | DiodeModel
    | GroundedComparatorModel
    | HalfBridgeDriverModel
    | SchmittInverterModel
    | ZenerModel
    | JunctionModel
    | JunctionFetModel
    | SquareLawModel
    | SwitchModel
    | OpAmpModel
    | ComparatorModel
    | ShuntReferenceModel
    | RegulatorModel
    | RelayModel
    | PhotovoltaicModel
)
