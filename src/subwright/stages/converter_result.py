"""The finished converter: real parts and the numbers of its averaged electrical model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from subwright.stages.common import Contributor, Loss, PartUse
from subwright.stages.converter_auxiliary import Auxiliary
from subwright.stages.converter_choke import OutputChoke
from subwright.stages.converter_clamp import Clamp, RectifierSnubber
from subwright.stages.converter_drive import GateDrive, GateSupply
from subwright.stages.converter_gate_transformer import GateTransformer
from subwright.stages.converter_parts import CapacitorBank
from subwright.stages.converter_spec import ConverterPlan, Magnetics, Topology

__all__ = ["ConverterResult", "OutputFit"]


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputFit:
    """One kind of output for this battery and amplifier.

    Attributes
    ----------
    output, chosen : which, and whether this build has it. ratio : Ns/Np that it takes.
    battery_v : battery at rest, low to highest, V. idle_v, full_v : one rail, unloaded and at the crest, V.
    line : change of the unloaded rail from the low to the highest battery over that at the nominal one.
    load : drop from unloaded to the crest over the unloaded rail, nominal battery.
    low_power : power left at the low battery over that at the nominal one.
    open_v, open_limit_v : unloaded rail at the highest battery, and what the amplifier stands, V.
    reverse_v, reverse_limit_v : of a rectifier leg with ringing, and the highest rating at hand, V.
    fits : whether both keep their limits. why : sentences with the figures.
    """

    output: Literal["peak-charged", "regulated"]
    chosen: bool
    ratio: float
    battery_v: tuple[float, ...]
    idle_v: tuple[float, ...]
    full_v: tuple[float, ...]
    line: float
    load: float
    low_power: float
    open_v: float
    open_limit_v: float
    reverse_v: float
    reverse_limit_v: float
    fits: bool
    why: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterResult:
    """The finished converter: real parts and its averaged electrical model."""

    topology: Topology
    plan: ConverterPlan
    primary_turns: int
    secondary_turns: int
    ratio: float
    switch_count: int
    switch_ohm: float  # one conducting path, hot
    winding_ohm: float  # primary copper of one conducting path
    diode_v: float
    diode_ohm: float
    link_ohm: float
    magnetics: Magnetics
    input_bank: CapacitorBank
    reservoir_bank: CapacitorBank  # one rail's
    input_ripple_a: float
    reservoir_ripple_a: float
    reservoir_ripple_v: float
    bass_ripple_v: float  # peak to peak at twice the lowest note, full sine: source and converter resistance
    reservoir_needed_f: float
    rail_limit_v: float  # rated voltage of the reservoir capacitors
    rail_unloaded_v: float  # at the highest battery
    rail_max_v: float  # what the amplifier stands
    drain_peak_v: float  # highest battery, crest of a full sine, with the clamp
    drain_ring_v: float  # the same if nothing clamped the spike
    drain_limit_v: float
    reverse_peak_v: float
    reverse_limit_v: float
    snubber_ohm: float
    snubber_f: float
    snubber_w: float  # all snubbers across switches, highest battery
    clamp: Clamp | None
    rectifier_snubber: RectifierSnubber
    recovery: float  # current that recovery charge takes from each rail, over the sum of both rails' current
    drive: GateDrive
    gate_supply: GateSupply | None
    gate_transformer: GateTransformer | None
    choke: OutputChoke | None
    loop_f: float  # closes the loop of a regulated rail; 0 without
    auxiliary: Auxiliary
    gate_ohm: float
    turn_off_s: float
    gate_w: float
    control_w: float
    shunt_s: float
    inrush_a: float  # from the battery while soft start fills the rails, its peak; 0 before they are listed
    bleeder_ohm: float
    bleeder_s: float  # time for a rail to fall below 5 V after switch-off
    outputs: tuple[OutputFit, ...]  # peak-charged and regulated, for this battery and amplifier
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
