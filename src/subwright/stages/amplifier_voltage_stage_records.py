"""What the stage hands on about the voltage stage before the drivers of discrete class AB."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from subwright.stages.common import Rating

__all__ = ["StageHeat", "StageTransistor", "VoltageStage"]


_MOUNTS: Final = {
    "air": "free in air",
    "fin": "with a clip-on fin of 20 K/W",
    "heatsink": "insulated on the output devices' heatsink",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class StageTransistor:
    """One transistor of the voltage stage, as it was reckoned with.

    Attributes
    ----------
    part_id : to buy. polarity : "npn", "pnp", or "p-channel" for the junction field-effect transistor.
    quantity : in one leg (of the mute: in the whole amplifier).
    current_a : at rest, A. current_gain : least, at about that current. transit_hz : transition frequency.
    early_v : Early voltage, V, from memory. collector_f : collector-base capacitance, F, from memory.
    """

    part_id: str
    polarity: Literal["npn", "pnp", "p-channel"]
    quantity: int
    current_a: float
    current_gain: float
    transit_hz: float
    early_v: float
    collector_f: float


@dataclass(frozen=True, kw_only=True, slots=True)
class StageHeat:
    """Voltage and heat of a transistor beside what it stands, V and W, and how it is to be mounted."""

    voltage_v: float
    voltage_limit_v: float
    heat_w: float
    heat_limit_w: float
    mount: Literal["air", "fin", "heatsink"]

    @property
    def mounted(self) -> str:
        """The same in words."""
        return _MOUNTS[self.mount]

    def ratings(self) -> tuple[Rating, ...]:
        """Voltage and heat as ratings of a part."""
        return (
            Rating(
                quantity="collector-emitter voltage",
                unit="V",
                applied=self.voltage_v,
                limit=self.voltage_limit_v,
                at="highest battery, unloaded",
            ),
            Rating(
                quantity="dissipation",
                unit="W",
                applied=self.heat_w,
                limit=self.heat_limit_w,
                source="memory",
                at=f"highest battery, {self.mounted}",
            ),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class VoltageStage:
    """The voltage stage of one leg: long-tailed pair, mirror, voltage amplifier, current sources, feedback.

    Attributes
    ----------
    bridge : "none" (one leg), "follows" (leg B inverts leg A's output about half the supply) or "difference"
        (equal legs behind op-amps that hold the difference of the outputs: class H, whose lower leg stands
        still over the crests).
    transistors, heats : by role. diode_id : of the reference.
    resistors_ohm, capacitors_f : preferred values by role, Ω and F; one in each leg, except where the role
        stands in ``counts`` (parts in one leg) or in ``once`` (one in the whole amplifier).
    tail_a : of the pair, both halves, A. stage_a : of the voltage amplifier at rest, A: the bias too.
    reference_a : through the reference diodes, A. drawn_a : what a leg takes from rail to rail, drivers at
        rest and its share of the divider included, A (what goes from a rail to ground counts half).
    crest_a : greatest current of a leg's output, A: current gains are taken there.
    need_a : greatest current that the drivers' bases, or the gates, ask of it, A. limit_a : at which its own
        limiter holds the voltage amplifier, A.
    gain : from the filter's output to the loudspeaker, real values, V/V (of a bridge: both legs).
    difference_hz : of a "difference" bridge: gain of one of the loop round both legs, Hz; else 0.
    op_amp_id : of that loop, "" without; op_amp_hz : its gain-bandwidth product, Hz; op_amp_room_v : between
        its output and either supply, V.
    leg_gain : noise gain of a leg's feedback at middle frequencies, by which its loop is compensated.
    transconductance_s : of the pair with its mirror. unity_hz : loop gain one. poles_hz : behind it, by name.
    phase_margin_deg : the lesser without a load and with it. closed_hz : closed-loop bandwidth, Hz.
    loop_gain_50hz_db, loop_gain_1khz_db : dB. slew_v_per_s, slew_needed_v_per_s : limit, and full output at
        20 kHz, V/s.
    offset_v : greatest steady voltage across the load, V. offset_parts_v : what it is made of, V.
    noise_v : at the load, 20 Hz to 20 kHz, V rms.
    mute_db : what the mute leaves of the signal, dB, negative. mute_thump_v : greatest step at the load, V.
    mute_ohm : of the mute transistor, worst, Ω; mute_pinch_v : least gate voltage that surely opens it, V.
    clip_upper_v, clip_lower_v : least distance of the output from its upper and lower supply at the crest, V.
    low_corner_hz : of input coupling and feedback together, -3 dB, Hz. input_ohm : that the filter sees, Ω.
    half_v : reference of a single supply at the nominal battery, V; None on split rails.
    """

    bridge: Literal["none", "follows", "difference"]
    transistors: Mapping[str, StageTransistor]
    heats: Mapping[str, StageHeat]
    diode_id: str
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    counts: Mapping[str, int]
    once: frozenset[str]
    tail_a: float
    stage_a: float
    reference_a: float
    drawn_a: float
    crest_a: float
    need_a: float
    limit_a: float
    gain: float
    difference_hz: float
    op_amp_id: str
    op_amp_hz: float
    op_amp_room_v: float
    leg_gain: float
    transconductance_s: float
    unity_hz: float
    poles_hz: Mapping[str, float]
    phase_margin_deg: float
    closed_hz: float
    loop_gain_50hz_db: float
    loop_gain_1khz_db: float
    slew_v_per_s: float
    slew_needed_v_per_s: float
    offset_v: float
    offset_parts_v: Mapping[str, float]
    noise_v: float
    mute_db: float
    mute_thump_v: float
    mute_ohm: float
    mute_pinch_v: float
    clip_upper_v: float
    clip_lower_v: float
    low_corner_hz: float
    input_ohm: float
    half_v: float | None
