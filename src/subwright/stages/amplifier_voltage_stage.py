"""The voltage stage of discrete class AB: values, compensation, and what they come to.

A long-tailed pair of PNP transistors compares input and feedback; a mirror adds its halves; a follower and an
NPN voltage amplifier with a Miller capacitor drive the bias network from below, a current source from above.
Feedback comes from the output. Leg B of a bridge either inverts leg A's output, or, where the lower leg
stands still over the crests (class H), op-amps hold the difference of the outputs.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan, log10, pi, sqrt
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.preferred import at_least, at_most, nearest
from subwright.parts.integrated import OpAmp
from subwright.parts.library import Library
from subwright.parts.schema import Transistor
from subwright.physics.amplifiers import class_b_worst_dissipation_w
from subwright.physics.networks.noise import thermal_noise_v_per_rthz
from subwright.physics.voltage_stage import (
    THERMAL_V,
    greatest_unity_hz,
    pair_noise_v_per_rthz,
    pair_transconductance_s,
    parallel_ohm,
    second_pole_hz,
    sine_slew_v_per_s,
    slew_v_per_s,
    stray_pole_hz,
)
from subwright.stages.amplifier_driving import GATE_A_PER_V2, GATE_THRESHOLD_V, Driving, junction_v
from subwright.stages.amplifier_kinds import LOAD_LEAST
from subwright.stages.amplifier_voltage_stage_currents import (
    FULL_OUTPUT_HZ,
    StageCurrents,
    air_limit_w,
    fin_limit_w,
    follower_share_of,
    sink_limit_w,
    strays,
)
from subwright.stages.amplifier_voltage_stage_loop import loop_figures
from subwright.stages.amplifier_voltage_stage_low import gain_and_corner
from subwright.stages.amplifier_voltage_stage_network import (
    MUTE_ID,
    MUTE_OHM,
    MUTE_PINCH_V,
    Network,
    Wanted,
    difference_network,
    plain_network,
)
from subwright.stages.amplifier_voltage_stage_records import StageHeat, StageTransistor, VoltageStage
from subwright.stages.common import remembered

__all__ = ["DIFFERENCE_COUNTS", "LEAST_MARGIN_DEG", "OP_AMP_ID", "design_voltage_stage"]

OP_AMP_ID: Final = "OPA2134"
"""Holds the difference of class H's legs: small offset, and no phase reversal of its inputs."""
DIFFERENCE_COUNTS: Final = MappingProxyType(
    {
        "difference feedback": 2,
        "difference signal": 2,
        "difference capacitor": 2,
        "inverter resistor": 2,
        "difference op-amp": 2,
        "difference op-amp decoupling": 2,
    }
)
"""Parts of a role in the whole amplifier, of what holds the difference."""

LEAST_MARGIN_DEG: Final = 60.0
"""Phase margin of the loop that the design keeps, degrees; common practice."""

_LAG_DEG: Final = 25.0  # that the poles behind the Miller capacitor may add: five degrees in hand
_MOST_UNITY_HZ: Final = 500e3  # common practice with output devices of some megahertz
_MILLERS_F: Final = (100e-12, 68e-12, 47e-12, 33e-12)
_LEAST_DEGENERATION_OHM: Final = 47.0
_MIRROR_V: Final = 0.07  # across the mirror's resistors
_SMALL: Final = ("BC546B", "BC556B")
_LIMITED: Final = 2.5  # current of the voltage amplifier at its limiter, over that at rest
_LIMITER_V: Final = 0.6
_SATURATED_V: Final = 0.3
_MISMATCH_V: Final = 5e-3  # of two base-emitter voltages of one type, common practice
_GAIN_SPREAD: Final = 0.2  # of two current gains of one type and rank, common practice
_RESISTOR_SPREAD: Final = 0.02  # two resistors of 1 %
_BASE_F: Final = 10e-12  # at a base with its wiring, from memory
_LOADED: Final = 0.8  # of a mount's limit: a warmer day is in hand
_NOISE_HZ: Final = 20e3
_HALF_HZ: Final = 0.1  # corner of the divider's capacitor over the lowest note
_REFERENCE_HZ: Final = 2.0
_MUTE_GATE_OHM: Final = 100e3
_MUTE_GATE_F: Final = 100e-9
_MUTE_REVERSE_F: Final = 5.5e-12  # gate to channel, from memory
_MUTE_LINE_V: Final = 12.0
_SHALLOW_V: Final = 2.0  # collector-emitter voltage of mirror and limiter, about


@remembered
def design_voltage_stage(
    wanted: Wanted, currents: StageCurrents, driving: Driving, library: Library, load_ohm: float
) -> VoltageStage:
    """Design the voltage stage in preferred values.

    Parameters
    ----------
    wanted : gain and input of the whole amplifier. currents : as planned, with its place.
    driving : what drives and biases the output. library : with the drawer merged. load_ohm : Ω.

    Returns
    -------
    VoltageStage.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer], [self-apad]; the sums in :mod:`subwright.physics.voltage_stage`.
    """
    place = currents.place
    network = difference_network(wanted) if place.lifted else plain_network(wanted)
    transistors = _transistors(currents, driving, library)
    emitter = float(at_most(_LIMITER_V / (_LIMITED * currents.stage_a), "E24"))
    half_a = 0.5 * currents.tail_a
    loop = _loop(currents, network, transistors, driving, emitter, wanted.unity_hz, load_ohm)
    miller_f, degeneration = loop.miller_f, loop.degeneration_ohm
    first_s, poles = loop.first_s, loop.poles_hz
    mirror = float(at_least(_MIRROR_V / half_a, "E24"))
    op_amp = library.op_amp(OP_AMP_ID) if network.bridge == "difference" else None
    if op_amp is None:
        offsets = _offsets(network, currents, transistors, degeneration, first_s)
    else:  # the pairs' own offsets are within its loop
        offsets = {"op-amps of signal and difference": (2.0 * network.node_gain + 1.0) * op_amp.vos_v}
    resistors = {
        "tail resistor": currents.tail_ohm,
        "stage source resistor": currents.stage_ohm,
        "reference feed": currents.reference_ohm,
        "pair degeneration": degeneration,
        "mirror degeneration": mirror,
        "buffer resistor": currents.buffer_ohm,
        "voltage amplifier emitter": emitter,
        **network.resistors_ohm,
    }
    capacitors = {
        "Miller capacitor": miller_f,
        "reference capacitor": _capacitor(0.5 * currents.reference_ohm, _REFERENCE_HZ),
        **network.capacitors_f,
    }
    once = set(network.once)
    if not place.split:
        resistors |= {"half upper": currents.half_ohm, "half lower": currents.half_ohm}
        capacitors["half capacitor"] = _capacitor(0.5 * currents.half_ohm, _HALF_HZ * wanted.note_hz)
        once |= {"half upper", "half lower", "half capacitor"}
    resistors["mute gate"], capacitors["mute capacitor"] = _MUTE_GATE_OHM, _MUTE_GATE_F
    once |= {"mute gate", "mute capacitor"}
    base = pair_noise_v_per_rthz(
        currents.tail_a,
        degeneration,
        transistors["input pair"].current_gain,
        network.source_ohm,
        network.foot_ohm,
    )
    # the gate moves at most as fast as its capacitor charges, and takes the mute's node along
    pushed_v = _MUTE_LINE_V / (_MUTE_GATE_OHM * _MUTE_GATE_F) * _MUTE_REVERSE_F * network.pushed_ohm
    upper_v, lower_v = _clipping(currents, driving, emitter)
    gain, low_hz = gain_and_corner(currents, network, resistors, capacitors)
    found = loop_figures(currents, network, transistors, driving, resistors, miller_f, load_ohm)
    return VoltageStage(
        bridge=network.bridge,
        transistors=MappingProxyType(transistors),
        heats=MappingProxyType(_heats(currents, transistors, load_ohm, library)),
        diode_id="1N4148",
        resistors_ohm=MappingProxyType(resistors),
        capacitors_f=MappingProxyType(capacitors),
        counts=MappingProxyType(
            {
                "reference feed": 2,
                "reference diode": 2,
                "pair degeneration": 2,
                "mirror degeneration": 2,
                "input series": 2,
                "mute transistor": 2,
                **({} if op_amp is None else DIFFERENCE_COUNTS),
            }
        ),
        once=frozenset(once),
        tail_a=currents.tail_a,
        stage_a=currents.stage_a,
        reference_a=currents.reference_a,
        drawn_a=currents.drawn_a,
        crest_a=place.crest_a,
        need_a=currents.need_a,
        limit_a=_LIMITER_V / emitter,
        gain=gain,
        difference_hz=network.difference_hz,
        op_amp_id="" if op_amp is None else op_amp.id,
        op_amp_hz=0.0 if op_amp is None else op_amp.gbw_hz,
        op_amp_room_v=0.0 if op_amp is None else op_amp.swing_loss_v,
        leg_gain=network.leg_gain,
        transconductance_s=first_s,
        unity_hz=found.unity_hz,
        poles_hz=MappingProxyType(poles),
        phase_margin_deg=min(found.margin_deg, found.loaded_margin_deg),
        closed_hz=found.closed_hz,
        loop_gain_50hz_db=found.gain_50hz_db,
        loop_gain_1khz_db=found.gain_1khz_db,
        slew_v_per_s=_slew(currents, transistors, loop),
        slew_needed_v_per_s=sine_slew_v_per_s(place.peak_v, FULL_OUTPUT_HZ),
        offset_v=sum(offsets.values()),
        offset_parts_v=MappingProxyType(offsets),
        noise_v=base * network.noise_gain * sqrt(_NOISE_HZ)
        if op_amp is None
        else _difference_noise_v(network, op_amp, base),
        mute_db=20.0 * log10(network.muted_share),
        mute_thump_v=pushed_v * network.node_gain,
        mute_ohm=MUTE_OHM,
        mute_pinch_v=MUTE_PINCH_V,
        clip_upper_v=upper_v,
        clip_lower_v=lower_v,
        low_corner_hz=low_hz,
        input_ohm=2.0 * network.series_ohm + network.load_ohm,
        half_v=None if place.split else 0.5 * place.supply_v,
    )


def _difference_noise_v(network: Network, op_amp: OpAmp, base: float) -> float:
    """Op-amps and resistors of the difference, and what their loop leaves of both legs, V.

    ``base`` : of one leg's pair, V/√Hz. The loop's first order leaves a share ``1 - atan(x)/x`` of the legs'
    power, x the band over its frequency of gain one.
    """
    ohms = network.resistors_ohm
    each_ohm = parallel_ohm(ohms["difference signal"], ohms["difference feedback"])
    thermal = float(thermal_noise_v_per_rthz(2.0 * each_ohm)) ** 2
    own = network.node_gain**2 * (3.0 * op_amp.noise_v_per_rthz**2 + thermal)
    band = _NOISE_HZ / network.difference_hz
    legs = (base * network.noise_gain) ** 2 * (1.0 - atan(band) / band)
    return sqrt((own + legs) * _NOISE_HZ)


def _capacitor(ohm: float, hz: float) -> float:
    return float(at_least(1.0 / (2.0 * pi * ohm * hz), "E6"))


def _transistors(currents: StageCurrents, driving: Driving, library: Library) -> dict[str, StageTransistor]:
    """Every transistor by role, with what it was reckoned with."""

    def one(part_id: str, current_a: float, quantity: int = 1) -> StageTransistor:
        part = library.transistors[part_id]
        early_v, collector_f = strays(part_id)
        return StageTransistor(
            part_id=part_id,
            polarity=part.polarity,
            quantity=quantity,
            current_a=current_a,
            current_gain=part.hfe_min,
            transit_hz=part.ft_hz,
            early_v=early_v,
            collector_f=collector_f,
        )

    place = currents.place
    npn = _SMALL[0] if place.side_v <= 0.9 * library.transistors[_SMALL[0]].vceo_v else "2N5551"
    buffer = npn if place.split or place.bus_v <= 0.9 * library.transistors[npn].vceo_v else "2N5551"
    half_a = 0.5 * currents.tail_a
    found = {
        "input pair": one(currents.pair_id, half_a, 2),
        "tail source": one(currents.pair_id, currents.tail_a),
        "mirror": one(_SMALL[0], half_a, 2),
        "amplifier buffer": one(buffer, currents.buffer_a),
        "voltage amplifier": one(currents.amplifier_id, currents.stage_a),
        "stage source": one(currents.source_id, currents.stage_a),
        "current limiter": one(_SMALL[0], 0.0),
    }
    found["mute transistor"] = StageTransistor(
        part_id=MUTE_ID,
        polarity="p-channel",
        quantity=2,
        current_a=0.0,
        current_gain=0.0,
        transit_hz=0.0,
        early_v=0.0,
        collector_f=_MUTE_REVERSE_F,
    )
    return found


@dataclass(frozen=True, kw_only=True, slots=True)
class _Loop:
    miller_f: float
    degeneration_ohm: float
    out_f: float
    first_s: float
    second_s: float
    poles_hz: dict[str, float]


def _loop(
    currents: StageCurrents,
    network: Network,
    transistors: dict[str, StageTransistor],
    driving: Driving,
    emitter_ohm: float,
    stated_hz: float | None,
    load_ohm: float,
) -> _Loop:
    """Miller capacitor and degeneration for the wanted unity frequency."""
    place, stage = currents.place, currents.place.stage
    half_ohm = 2.0 * THERMAL_V / currents.tail_a
    second_s = 1.0 / (THERMAL_V / currents.stage_a + emitter_ohm)
    into_f = sum(transistors[n].collector_f for n in ("input pair", "mirror")) + _BASE_F
    # the buffer feeds the voltage amplifier's own capacitance: it loads the collector, and integrates nothing
    out_f = transistors["stage source"].collector_f + transistors["voltage amplifier"].collector_f + _BASE_F
    poles: dict[str, float] = {}
    if stage.device == "bipolar":
        drivers = driving.driver_ids
        poles["output transistors"] = stage.transit_hz
        poles["drivers"] = currents.driver_transit_hz
        out_f += sum(strays(driver)[1] for driver in drivers)
    else:
        share = follower_share_of(place, load_ohm / place.legs)
        gate_f = stage.reverse_f + (1.0 - share) * stage.input_f
        poles["gate resistors"] = stray_pole_hz(driving.resistors_ohm["gate resistor"], gate_f)
        out_f += 2.0 * place.parallel * gate_f
    poles["mirror"] = 0.5 * transistors["mirror"].transit_hz
    poles["feedback"] = stray_pole_hz(network.foot_ohm, _BASE_F)
    wanted_hz, degeneration, miller_f = 0.0, 0.0, _MILLERS_F[0]
    least_ohm = _LEAST_DEGENERATION_OHM if stated_hz is None else 10.0
    for miller_f in _MILLERS_F:
        poles["voltage amplifier"] = second_pole_hz(second_s, miller_f, into_f, out_f)
        poles["way through the Miller capacitor"] = second_s / (2.0 * pi * miller_f)
        if not wanted_hz:
            wanted_hz = stated_hz or min(_MOST_UNITY_HZ, greatest_unity_hz(poles.values(), _LAG_DEG))
        degeneration = 1.0 / (2.0 * pi * wanted_hz * network.leg_gain * miller_f) - half_ohm
        if degeneration >= least_ohm:
            break
    degeneration = float(nearest(max(degeneration, least_ohm), "E24"))
    return _Loop(
        miller_f=miller_f,
        degeneration_ohm=degeneration,
        out_f=out_f,
        first_s=pair_transconductance_s(currents.tail_a, degeneration),
        second_s=second_s,
        poles_hz=poles,
    )


def _slew(currents: StageCurrents, transistors: dict[str, StageTransistor], loop: _Loop) -> float:
    """Slew rate, the slowest of three, V/s.

    The tail charges the Miller capacitor; the current source all that hangs on the collector; and while it
    rises the buffer's resistor alone takes away what the voltage amplifier's own capacitance brings.
    """
    own_f = transistors["voltage amplifier"].collector_f
    return min(
        slew_v_per_s(currents.tail_a, loop.miller_f),
        slew_v_per_s(currents.stage_a, loop.miller_f + loop.out_f),
        slew_v_per_s(currents.buffer_a, own_f),
    )


def _offsets(
    network: Network,
    currents: StageCurrents,
    transistors: dict[str, StageTransistor],
    degeneration_ohm: float,
    first_s: float,
) -> dict[str, float]:
    """What a leg's pair may be off by, as it shows across the load, V; all with the worst sign."""
    half_a = 0.5 * currents.tail_a
    base_a = half_a / transistors["input pair"].current_gain
    # base currents alike in both legs of a bridge are seen by neither end of the load
    unlike = abs(network.plus_ohm - network.minus_ohm) if network.bridge == "none" else 0.0
    buffer_a = currents.buffer_a / transistors["amplifier buffer"].current_gain
    parts = {
        "base-emitter voltages": _MISMATCH_V,
        "emitter resistors": _RESISTOR_SPREAD * half_a * degeneration_ohm,
        "base currents": base_a * (unlike + _GAIN_SPREAD * max(network.plus_ohm, network.minus_ohm)),
        "mirror": (_RESISTOR_SPREAD * half_a * _MIRROR_V / (_MIRROR_V + THERMAL_V) + buffer_a) / first_s,
    }
    return {name: network.offset_ratio * volts for name, volts in parts.items()}


def _clipping(currents: StageCurrents, driving: Driving, emitter_ohm: float) -> tuple[float, float]:
    """Least distance of the output from its upper and lower supply at the crest, V, ballast left out."""
    place = currents.place
    each_a = place.crest_a / place.parallel
    if place.stage.device == "bipolar":
        base_a = place.crest_a / place.stage.gain_at(each_a)
        follower = junction_v(each_a) + junction_v(base_a)
    else:
        follower = GATE_THRESHOLD_V + sqrt(2.0 * each_a / GATE_A_PER_V2)
    source_v = currents.stage_a * currents.stage_ohm + _SATURATED_V
    sunk_v = (currents.stage_a + currents.need_a) * emitter_ohm + _SATURATED_V
    return source_v + follower, sunk_v + follower


def _heats(
    currents: StageCurrents,
    transistors: dict[str, StageTransistor],
    load_ohm: float,
    library: Library,
) -> dict[str, StageHeat]:
    """Voltage and heat of each transistor at the highest supply."""
    place = currents.place
    side_v, bus_v, peak_v = place.side_v, place.bus_v, place.peak_v
    across: dict[str, tuple[float, float]] = {
        # (highest voltage, voltage at rest)
        "input pair": (peak_v, side_v),
        "tail source": (peak_v, side_v),
        "mirror": (_SHALLOW_V, _SHALLOW_V),
        "amplifier buffer": (side_v if place.split else bus_v, side_v if place.split else bus_v),
        "voltage amplifier": (bus_v, side_v),
        "stage source": (bus_v, side_v),
        "current limiter": (_SHALLOW_V, _SHALLOW_V),
    }
    found: dict[str, StageHeat] = {}
    for role, (voltage_v, rest_v) in across.items():
        if role in transistors:
            used = transistors[role]
            found[role] = _heat(library.transistors[used.part_id], voltage_v, rest_v * used.current_a)
    # each driver carries the base current of its side's output transistors half the time
    base_share = currents.place.stage.gain_at(place.crest_a / place.parallel)
    for role, part_id in zip(("driver NPN", "driver PNP"), currents.driver_ids, strict=False):
        worst_w = 0.5 * class_b_worst_dissipation_w(side_v, load_ohm * LOAD_LEAST / place.legs) / base_share
        found[role] = _heat(library.transistors[part_id], bus_v, worst_w + side_v * currents.driver_rest_a)
    return found


def _heat(part: Transistor, voltage_v: float, heat_w: float) -> StageHeat:
    """The coolest way to mount a transistor that its heat asks for."""
    ways: tuple[tuple[Literal["air", "fin", "heatsink"], float], ...] = (
        ("air", air_limit_w(part)),
        ("fin", fin_limit_w(part)),
        ("heatsink", sink_limit_w(part)),
    )
    if fin_limit_w(part) == air_limit_w(part):  # a small case takes neither fin nor screw
        ways = ways[:1]
    mount, limit_w = next((way for way in ways if heat_w <= _LOADED * way[1]), ways[-1])
    return StageHeat(
        voltage_v=voltage_v,
        voltage_limit_v=part.vceo_v,
        heat_w=heat_w,
        heat_limit_w=limit_w,
        mount=mount,
    )
