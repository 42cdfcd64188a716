"""The closed loop of discrete class AB, node by node: loop gain, unity, phase margin, upper corner."""

from __future__ import annotations

from cmath import phase
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from math import degrees, log10, sqrt, tau
from typing import Final

from subwright.physics.stage_loop import (
    Junction,
    TwoStages,
    collector_ohm,
    follower_input_s,
    follower_share,
    junction_at,
    pair_gain_s,
    reference_leak,
    two_stage_ohm,
)
from subwright.physics.voltage_stage import THERMAL_V, parallel_ohm
from subwright.stages.amplifier_driving import Driving
from subwright.stages.amplifier_voltage_stage_currents import (
    DIODE_EMISSION,
    StageCurrents,
    follower_share_of,
    strays,
)
from subwright.stages.amplifier_voltage_stage_network import Network
from subwright.stages.amplifier_voltage_stage_records import StageTransistor

__all__ = ["LoopFigures", "loop_figures"]

_OFF_OHM: Final = 10e3  # in place of the loudspeaker: the fastest loop
_SHALLOW_V: Final = 1.3  # collector to base of mirror and, on a single supply, of nothing else
_HALVINGS: Final = 30
_SPAN: Final = (20e3, 20e6)  # within which the loop's gain falls to one, Hz


@dataclass(frozen=True, kw_only=True, slots=True)
class LoopFigures:
    """What the loop comes to.

    Attributes
    ----------
    unity_hz, margin_deg : of the loop without a load, the fastest. loaded_margin_deg : with it, resistive.
    gain_50hz_db, gain_1khz_db : with the load. closed_hz : -3 dB of the whole with its input filter, loaded.
    """

    unity_hz: float
    margin_deg: float
    loaded_margin_deg: float
    gain_50hz_db: float
    gain_1khz_db: float
    closed_hz: float


def _junction(part: StageTransistor, across_v: float) -> Junction:
    return junction_at(
        part.current_a, part.current_gain, part.transit_hz, part.collector_f, part.early_v, across_v
    )


class _Output:
    """Drivers and output devices at rest, as the voltage amplifier sees them."""

    def __init__(self, currents: StageCurrents, driving: Driving, load_ohm: float) -> None:
        place, stage = currents.place, currents.place.stage
        self.each_a = place.bias_a / place.parallel
        self.currents, self.driving = currents, driving
        self.load_ohm = load_ohm / place.legs
        self.bipolar = stage.device == "bipolar"
        if self.bipolar:
            gain = stage.gain_at(place.crest_a / place.parallel)
            self.output = (gain, stage.transit_hz)
            self.driver = (max(place.crest_a / gain / currents.need_a, 1.0), currents.driver_transit_hz)
            junctions = THERMAL_V / self.each_a + THERMAL_V / currents.driver_rest_a / gain * place.parallel
            self.inner_ohm = (junctions + stage.ballast_ohm) / (2.0 * place.parallel)
        else:
            share = follower_share_of(place, self.load_ohm)
            self.follows = share
            self.gate_f = stage.reverse_f + (1.0 - share) * stage.input_f

    def share(self, hz: float) -> complex:
        """Output over the voltage amplifier's collector."""
        if self.bipolar:
            return follower_share(self.load_ohm, self.inner_ohm)
        gate_ohm = self.driving.resistors_ohm["gate resistor"]
        return self.follows / (1.0 + 1j * tau * hz * gate_ohm * self.gate_f)

    def input_s(self, hz: float) -> complex:
        """What it asks of the collector, S."""
        if self.bipolar:
            return follower_input_s(hz, self.driver, self.output, self.load_ohm + self.inner_ohm)
        gate_s = 1j * tau * hz * self.gate_f
        gate_ohm = self.driving.resistors_ohm["gate resistor"]
        return 2.0 * self.currents.place.parallel * gate_s / (1.0 + gate_s * gate_ohm)


def _two_stages(
    currents: StageCurrents,
    transistors: Mapping[str, StageTransistor],
    values: Mapping[str, float],
    miller_f: float,
) -> tuple[Junction, Junction, TwoStages]:
    """Pair, mirror, and what follows them, at rest on the nominal supply."""
    place = currents.place
    side_v = place.supply_v * (1.0 if place.split else 0.5)
    bus_v = place.supply_v * (2.0 if place.split else 1.0)
    pair, mirror = _junction(transistors["input pair"], side_v), _junction(transistors["mirror"], _SHALLOW_V)
    source = _junction(transistors["stage source"], side_v)
    second = _junction(transistors["voltage amplifier"], side_v)
    buffer = _junction(transistors["amplifier buffer"], side_v if place.split else bus_v)
    # each half of the pair stands on the other half's emitter; the mirror doubles what leaks through it
    half = 2.0 * values["pair degeneration"] + 1.0 / pair.transconductance_s
    first_ohm = parallel_ohm(
        0.5 * collector_ohm(pair, half), collector_ohm(mirror, values["mirror degeneration"])
    )
    small = transistors["current limiter"].collector_f
    drivers_f = sum(strays(part)[1] for part in currents.driver_ids)
    return (
        pair,
        mirror,
        TwoStages(
            first_ohm=first_ohm,
            first_f=pair.collector_f + mirror.collector_f + buffer.collector_f + small,
            buffer=buffer,
            drive_ohm=values["buffer resistor"],
            second=second,
            emitter_ohm=values["voltage amplifier emitter"],
            miller_f=miller_f,
            load_ohm=collector_ohm(source, values["stage source resistor"]),
            load_f=source.collector_f + drivers_f,
        ),
    )


def _where(falls: Callable[[float], bool], low: float, high: float) -> float:
    """Where a property that holds below ceases, on a logarithmic scale."""
    for _ in range(_HALVINGS):
        middle = sqrt(low * high)
        if falls(middle):
            high = middle
        else:
            low = middle
    return sqrt(low * high)


def loop_figures(
    currents: StageCurrents,
    network: Network,
    transistors: Mapping[str, StageTransistor],
    driving: Driving,
    values: Mapping[str, float],
    miller_f: float,
    load_ohm: float,
) -> LoopFigures:
    """Loop gain of one leg's difference against frequency, and what it comes to.

    Parameters
    ----------
    currents, network, transistors, driving : the design. values : its resistors by role, Ω.
    miller_f : F. load_ohm : of the whole amplifier, Ω.

    Returns
    -------
    LoopFigures.

    Source
    ------
    [gray-meyer]; the nodes in :mod:`subwright.physics.stage_loop`.
    """
    pair, mirror, stages = _two_stages(currents, transistors, values, miller_f)
    own_f = pair.collector_f
    side_v = currents.place.supply_v * (1.0 if currents.place.split else 0.5)
    leak = reference_leak(
        _junction(transistors["stage source"], side_v),
        values["stage source resistor"],
        2.0 * DIODE_EMISSION * THERMAL_V / currents.reference_a,
        values["tail resistor"] + THERMAL_V / currents.tail_a,
        pair,
        network.source_ohm - network.foot_ohm,
    )
    filtered = network.bridge != "difference"

    def loop(hz: float, output: _Output) -> complex:
        foot = network.foot_ohm / (1.0 + 1j * tau * hz * network.foot_ohm * own_f)
        before = complex(network.source_ohm)
        if filtered:
            before /= 1.0 + 1j * hz / network.filter_hz
        gain = pair_gain_s(hz, pair, mirror, values["pair degeneration"], foot + before)
        open_gain = gain * two_stage_ohm(hz, stages, output.input_s(hz))
        open_gain /= 1.0 + leak * open_gain
        return open_gain * output.share(hz) / network.leg_gain * foot / network.foot_ohm

    def slow(output: _Output, hz: float) -> bool:
        return abs(loop(hz, output)) < 1.0

    alone, loaded = (_Output(currents, driving, ohm) for ohm in (_OFF_OHM, load_ohm))
    margins = []
    for output in (alone, loaded):
        unity = _where(partial(slow, output), *_SPAN)
        margins.append((unity, 180.0 + degrees(phase(loop(unity, output)))))
    first_hz = 1e3

    def whole(hz: float) -> float:
        shut = 1.0 / (1.0 + 1.0 / loop(hz, loaded))
        if network.bridge == "follows":  # leg B comes after leg A
            shut *= 0.5 * (1.0 + shut)
        elif network.bridge == "difference":
            shut *= network.difference_hz / (1j * hz)
            shut /= 1.0 + shut
        return abs(shut / (1.0 + 1j * hz / network.filter_hz))

    still = whole(first_hz)

    def fallen(hz: float) -> bool:
        return whole(hz) < sqrt(0.5) * still

    return LoopFigures(
        unity_hz=margins[0][0],
        margin_deg=margins[0][1],
        loaded_margin_deg=margins[1][1],
        gain_50hz_db=20.0 * log10(abs(loop(50.0, loaded))),
        gain_1khz_db=20.0 * log10(abs(loop(first_hz, loaded))),
        closed_hz=_where(fallen, first_hz, _SPAN[1]),
    )
