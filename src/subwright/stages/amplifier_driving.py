"""What stands around the output of class AB: drivers, bias, feedback of a chip, and its calming network.

What drives the drivers of discrete pairs is in :mod:`subwright.stages.amplifier_voltage_stage`. A chip has it
inside and needs its gain set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import inf, log, pi
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between
from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.output_stages import OutputStage
from subwright.stages.amplifier_chip_pins import ChipPins, bridge_chip_pins, chip_pins
from subwright.stages.amplifier_voltage_stage_currents import BIAS_TRANSISTOR, GATE_A_PER_V2, StageCurrents
from subwright.stages.amplifier_voltage_stage_network import MUTE_ID, MUTE_OHM, MUTE_PINCH_V, Wanted
from subwright.stages.common import PartUse, Rating

if TYPE_CHECKING:
    from subwright.stages.amplifier_spec import AmplifierResult

__all__ = [
    "GATE_A_PER_V2",
    "GATE_THRESHOLD_V",
    "SATURATION_A",
    "THERMAL_V",
    "Driving",
    "design_driving",
    "driving_uses",
    "junction_v",
    "multiplier_ohm",
    "mute_use",
    "rest_spread_v",
]

THERMAL_V: Final = 1.380649e-23 * 300.15 / 1.602176634e-19
"""kT/q at 27 °C, V."""
SATURATION_A: Final = 1e-14
"""Saturation current that every bipolar transistor is reckoned with, A: 0.68 V at 3 mA, 0.76 V at 60 mA."""
GATE_THRESHOLD_V: Final = 0.5
"""Of a lateral MOSFET, V: 7 A at 8 V with its factor K, from memory."""

_TRIMMERS_OHM: Final = (1000.0, 500.0, 200.0, 100.0)
_RESTING_V: Final = 0.65
_DIVIDED: Final = 0.5  # of the current through the network that its resistors may take
_START: Final = 0.9  # of the spread, at the trimmer's end: the output is off
_CLEAR: Final = 0.98  # below the resistance that an endless gain asks for, which none has
_ZOBEL_OHM: Final = 10.0  # common practice
_ZOBEL_F: Final = 100e-9
_GATE_OHM: Final = 220.0  # keeps a lateral MOSFET from oscillating; common practice
_TOP_HZ: Final = 20e3
_ONCE: Final = ("chip ", "mute ")  # roles that begin so exist once in the whole amplifier


@dataclass(frozen=True, kw_only=True, slots=True)
class Driving:
    """Parts of one leg around its output devices.

    Attributes
    ----------
    driver_ids : NPN and PNP; () where MOSFETs need none, or a chip has them inside.
    bias_id : transistor that spreads the bases; "" for a chip. bias_a : current through it and its
        resistors, A. spread_v : voltage that it is trimmed to, V.
    trimmer_ohm : between its base and emitter, in series with a fixed resistor: an open wiper gives the
        lowest bias.
    resistors_ohm, capacitors_f : preferred values by role, Ω and F; of one leg, one each, except "gate
        resistor" (each MOSFET's).
    counts : parts of a role in one leg that aren't one.
    gain : of a chip from its input, real values; 1 where the voltage stage sets it, or the chip's own is
        fixed (fixed_gain; 0 for others). input_share : of the filter's signal that reaches a chip's input.
    """

    driver_ids: tuple[str, ...]
    bias_id: str
    bias_a: float
    spread_v: float
    trimmer_ohm: float
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    counts: Mapping[str, int] = field(default_factory=dict)
    gain: float = 1.0
    fixed_gain: float = 0.0
    input_share: float = 1.0


def junction_v(amps: float) -> float:
    """Base-emitter voltage of a bipolar transistor at a current in A, 27 °C, V.

    Source
    ------
    Exponential junction. [gray-meyer]
    """
    return THERMAL_V * log(amps / SATURATION_A + 1.0)


def rest_spread_v(each_a: float, ballast_ohm: float, *, lateral: bool) -> float:
    """Voltage between the bases, or gates, of a pair that idles.

    Parameters
    ----------
    each_a : current of each device at rest, A. ballast_ohm : of each, Ω. lateral : whether they are MOSFETs.

    Returns
    -------
    Twice the sum of junction, or gate, and ballast, V.

    Source
    ------
    Exponential junctions and square-law gates. [gray-meyer]

    >>> round(rest_spread_v(0.05, 0.22, lateral=False), 3), round(rest_spread_v(0.1, 0.22, lateral=True), 3)
    (1.535, 2.833)
    """
    device = junction_v(each_a)
    if lateral:
        device = GATE_THRESHOLD_V + (2.0 * each_a / GATE_A_PER_V2) ** 0.5
    return 2.0 * (device + each_a * ballast_ohm)


def multiplier_ohm(spread: float, bias_a: float, upper_ohm: float, gain: float = inf) -> float:
    """Resistance between base and emitter of the bias transistor that holds a spread.

    Parameters
    ----------
    spread : V. bias_a : through the network, A. upper_ohm : from collector to base, Ω.
    gain : current gain of the transistor.

    Returns
    -------
    ``R = V_BE/((V - V_BE)/R_u - I_B)``, with V_BE and I_B of what the transistor carries, Ω.

    Raises
    ------
    NoSolutionError : the resistors take more than ``bias_a``.

    Source
    ------
    V_BE multiplier. [gray-meyer]

    >>> round(multiplier_ohm(2.9, 5e-3, 3300.0)), round(multiplier_ohm(2.9, 5e-3, 3300.0, 40.0))
    (1036, 1236)
    """
    junction = 0.65
    for _ in range(60):
        carried = bias_a - (spread - junction) / upper_ohm
        if carried <= 0.0:
            raise NoSolutionError(
                message="The bias transistor's resistors take all of its current.",
                quantity="current through the bias network",
                value=show(bias_a, "current"),
                limit=f"above {show((spread - junction) / upper_ohm, 'current')}",
                source="derived",
                remedy="Lower amplifier.bias_current.",
            )
        junction = junction_v(carried)
    return junction / ((spread - junction) / upper_ohm - carried / gain)


def design_driving(
    stage: OutputStage,
    currents: StageCurrents | None,
    *,
    parallel: int,
    bias_a: float,
    wanted: Wanted,
    rail_v: float,
) -> Driving:
    """Choose what drives and biases one leg.

    Parameters
    ----------
    stage, parallel : output devices. currents : of the voltage stage; None for a chip.
    bias_a : of the leg at rest, A. wanted : gain and input of the whole amplifier.
    rail_v : one rail, or the single supply, at full power, V.

    Returns
    -------
    Driving.

    Raises
    ------
    Nothing.
    """
    resistors: dict[str, float] = {}
    capacitors: dict[str, float] = {}
    if stage.form != "bridge chip":
        resistors["output Zobel resistor"] = _ZOBEL_OHM
        capacitors["output Zobel capacitor"] = _ZOBEL_F
    if stage.form == "bridge chip":
        pins = bridge_chip_pins(wanted.gain, wanted.input_ohm, wanted.note_hz)
        return _around(pins, resistors, capacitors, gain=1.0, fixed_gain=pins.gain)
    if stage.form == "chip":
        pins = chip_pins(wanted, rail_v)
        return _around(pins, resistors, capacitors, gain=pins.gain)
    assert currents is not None
    each_a = bias_a / parallel
    outer = inner = rest_spread_v(each_a, stage.ballast_ohm, lateral=stage.device == "lateral MOSFET")
    if stage.device == "bipolar":
        resistors["driver resistor"] = currents.driver_ohm
        outer = inner + 2.0 * junction_v(inner / resistors["driver resistor"])
    else:
        resistors["gate resistor"] = _GATE_OHM
    upper, lower, trimmer = _spreading(outer, currents.stage_a, currents.bias_gain)
    resistors |= {"bias upper": upper, "bias lower": lower}
    capacitors["bias capacitor"] = 1e-6
    return Driving(
        driver_ids=currents.driver_ids,
        bias_id=BIAS_TRANSISTOR,
        bias_a=currents.stage_a,
        spread_v=outer,
        trimmer_ohm=trimmer,
        resistors_ohm=MappingProxyType(resistors),
        capacitors_f=MappingProxyType(capacitors),
    )


def _around(
    pins: ChipPins,
    resistors: dict[str, float],
    capacitors: dict[str, float],
    *,
    gain: float,
    fixed_gain: float = 0.0,
) -> Driving:
    """What stands around a chip that has drivers and bias inside."""
    return Driving(
        driver_ids=(),
        bias_id="",
        bias_a=0.0,
        spread_v=0.0,
        trimmer_ohm=0.0,
        resistors_ohm=MappingProxyType(resistors | pins.resistors_ohm),
        capacitors_f=MappingProxyType(capacitors | pins.capacitors_f),
        counts=MappingProxyType(pins.counts),
        gain=gain,
        fixed_gain=fixed_gain,
        input_share=pins.share,
    )


def _spreading(spread_v: float, bias_a: float, least_gain: float) -> tuple[float, float, float]:
    """Upper and fixed lower resistor of the bias transistor and its trimmer, Ω.

    With any gain from the least upwards the trimmer reaches the spread, and the end at which it is switched
    on first leaves a tenth less. The largest trimmer that does it draws least; a base current as large as
    that of its resistors would hold the spread up beyond any trimmer.
    """
    best: tuple[float, float, float, float] | None = None
    for trimmer in _TRIMMERS_OHM:
        for upper in map(float, between(0.5 * trimmer, 5.0 * trimmer, "E12")):
            if (spread_v - _RESTING_V) / upper > _DIVIDED * bias_a:
                continue
            most_ohm = _least_ohm(_START * spread_v, bias_a, upper, least_gain)
            least_ohm = multiplier_ohm(spread_v, bias_a, upper)
            for lower in map(float, between(0.3 * trimmer, 2.0 * trimmer, "E12")):
                if lower + trimmer < most_ohm or lower > _CLEAR * least_ohm:
                    continue
                ends = (lower + trimmer) / most_ohm + _CLEAR * least_ohm / lower
                if best is None or ends < best[0]:
                    best = ends, upper, lower, trimmer
    if best is not None:
        return best[1:]
    raise NoSolutionError(
        message="No trimmer sets the bias with every gain of its transistor.",
        quantity="current through the bias network",
        value=show(bias_a, "current"),
        source="derived",
        remedy='Raise amplifier.stage_current, or take amplifier.kind = "class_d_half_bridge".',
    )


def _least_ohm(spread_v: float, bias_a: float, upper_ohm: float, gain: float) -> float:
    """As ``multiplier_ohm``; infinite where the base takes all that the upper resistor brings."""
    ohm = multiplier_ohm(spread_v, bias_a, upper_ohm, gain)
    return ohm if ohm > 0.0 else inf


def mute_use() -> PartUse:
    """The two transistors that shunt the input."""
    return PartUse(
        role="mute transistor",
        letter="Q",
        part_id=MUTE_ID,
        description=f"P-channel junction field-effect transistor, on below {MUTE_OHM:g} Ω, off above "
        f"{MUTE_PINCH_V:g} V at the gate",
        quantity=2,
        provenance="memory",
    )


def driving_uses(result: AmplifierResult, library: Library) -> Iterator[PartUse]:
    """Parts list of what drives and biases the output.

    Parameters
    ----------
    result : the stage's numbers. library : with the drawer merged.

    Returns
    -------
    Parts, role unique in each; none for class D.
    """
    driving, legs = result.driving, result.model.legs
    if driving is None:
        return
    for role, part_id in zip(("driver NPN", "driver PNP"), driving.driver_ids, strict=False):
        part = library.transistors[part_id]
        assert result.voltage_stage is not None
        heat = result.voltage_stage.heats[role]
        how = "" if heat.mount == "air" else f", {heat.mounted}"
        yield PartUse(
            role=role,
            letter="Q",
            part_id=part.id,
            description=f"{part.description or 'medium-power transistor'}, {part.package}{how}",
            quantity=legs,
            ratings=heat.ratings(),
            in_drawer=library.in_drawer(part.id) >= legs,
            provenance=part.provenance.document,
        )
    if driving.bias_id:
        part = library.transistors[driving.bias_id]
        yield PartUse(
            role="bias transistor",
            letter="Q",
            part_id=part.id,
            description=f"{part.description or 'medium-power transistor'}, {part.package}, on the heatsink",
            quantity=legs,
            in_drawer=library.in_drawer(part.id) >= legs,
            provenance=part.provenance.document,
        )
        yield PartUse(
            role="bias trimmer",
            letter="R",
            part_id=f"trimmer {code(driving.trimmer_ohm, 'resistance')}",
            description="multi-turn trimmer",
            quantity=legs,
            value=show(driving.trimmer_ohm, "resistance"),
            provenance="preferred value",
        )
    gates = next((round(p.quantity) for p in result.parts if p.role == "output stage"), 0)
    if "mute gate" in driving.resistors_ohm:
        yield mute_use()
    for role, ohms in driving.resistors_ohm.items():
        zobel = "Zobel" in role
        count = 1 if role.startswith(_ONCE) else legs
        count *= driving.counts.get(role, 1)
        watts = _zobel_w(result) if zobel else 0.0
        size = next((w for w in (2.0, 3.0, 5.0, 7.0) if watts <= 0.5 * w), 11.0) if zobel else 0.25
        yield PartUse(
            role=role,
            letter="R",
            part_id=code(ohms, "resistance"),
            description=f"resistor {size:g} W" + (", low inductance" if zobel else ""),
            quantity=2 * gates if role == "gate resistor" else count,
            value=show(ohms, "resistance"),
            tolerance=0.05 if zobel else 0.01,
            in_drawer=not zobel and library.has_resistor(ohms, 0.01),
            ratings=(
                Rating(quantity="power", unit="W", applied=watts, limit=size, at="full output at 20 kHz"),
            )
            if zobel
            else (),
            provenance="IEC 60063 preferred value",
        )
    for role, farads in driving.capacitors_f.items():
        polar = farads > 4.7e-6
        kind = "bipolar electrolytic capacitor 25 V" if polar else "film capacitor 100 V"
        if role == "chip play capacitor":
            kind = "electrolytic capacitor 63 V"
        elif farads < 1e-9:
            kind = "C0G ceramic capacitor 100 V"
        yield PartUse(
            role=role,
            letter="C",
            part_id=code(farads, "capacitance"),
            description=kind,
            quantity=1 if role.startswith(_ONCE) else legs,
            value=show(farads, "capacitance"),
            tolerance=0.20 if polar else 0.10,
            provenance="IEC 60063 preferred value",
        )


def _heat(watts: float, size: float) -> tuple[Rating, ...]:
    return (Rating(quantity="power", unit="W", applied=watts, limit=size, at="full output at 20 kHz"),)


def _zobel_w(result: AmplifierResult) -> float:
    """Heat of the calming network's resistor with full output at 20 kHz, which bass never asks for, W."""
    rms = result.peak_v / result.model.legs / 2.0**0.5
    reactance = 1.0 / (2.0 * pi * _TOP_HZ * _ZOBEL_F)
    return float(rms**2 * _ZOBEL_OHM / (_ZOBEL_OHM**2 + reactance**2))
