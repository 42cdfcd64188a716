"""What the boost converter is asked for, what it is made of, and what comes out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from subwright.base.units import show
from subwright.parts.schema import Controller, Core, Rectifier, Wire, Zener
from subwright.physics.current_mode import CurrentModePlant, LoopFigures
from subwright.stages.common import Contributor, Corner, Level, Loss, PartUse
from subwright.stages.converter_drive import GateDrive, GateSupply
from subwright.stages.converter_parts import CapacitorBank, SwitchChoice

__all__ = [
    "BoostChoke",
    "BoostCorner",
    "BoostDemand",
    "BoostDiode",
    "BoostLoop",
    "BoostPlan",
    "BoostResult",
    "BoostSolved",
    "BoostTiming",
    "CurrentSense",
    "Divider",
    "PreCharge",
    "RailGuard",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostDemand:
    """What amplifier and supply ask of the boost converter; V, A, Ω, F, Hz, °C."""

    rail_needed_v: float  # at the crest of the target power
    rail_crest_a: float  # out of the rail at that crest
    rail_mean_a: float
    music_mean_square: float  # mean of the squared rail current over its squared crest, full sine
    emf_v: Mapping[Corner, float]
    source_ohm: float
    ambient_c: float  # air at the board, hottest
    lowest_note_hz: float
    upper_note_hz: float
    amplifier_f: float  # capacitors that the amplifier has on the rail itself
    pulse_v: float  # highest battery for a moment: it comes straight through the diode


@dataclass(frozen=True, kw_only=True, slots=True)
class Divider:
    """Feedback divider in preferred values and the rail that it makes, with its window."""

    top_ohm: float
    bottom_ohm: float
    reference_v: float
    set_v: float
    low_v: float
    high_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostTiming:
    """Oscillator in preferred values."""

    rt_ohm: float
    ct_f: float
    switching_hz: float
    switching_target_hz: float
    switching_tolerance: float
    duty_most: float
    charge_s: float  # of the ramp
    soft_start_f: float
    soft_start_ohm: float
    soft_start_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostChoke:
    """The choke as wound on a gapped core, or on a ring of powder."""

    core: Core
    turns: int
    gap_m: float  # in the centre leg; half of it as a spacer under each outer leg instead; 0 for powder
    inductance_h: float  # fringing counted; of a powder ring what is left at the highest crest
    wire: Wire
    strands: int
    wire_length_m: float  # one strand
    cold_ohm: float  # 20 °C
    ripple_factor: float  # resistance at the switching frequency over that at rest
    fill: float
    fill_limit: float
    flux_crest_t: float  # at the highest crest
    flux_limit_t: float
    flux_fault_t: float  # at the highest current that the limit lets through
    saturation_t: float  # hot
    saturation_a: float  # of a powder ring: half of its inductance is left
    in_drawer: bool
    kept: float = 1.0  # of a powder ring's inductance without current, what is left at the highest crest
    beside: str = ""  # core of the other kind that would do too
    beside_w: float = 0.0  # what that would lose with programme, W
    lost_w: float = 0.0  # what this one does

    @property
    def powder(self) -> bool:
        """Whether it is a ring of powder, without a gap to set."""
        return self.core.shape == "ring"

    @property
    def rest_h(self) -> float:
        """Inductance without direct current, as a meter reads it, H."""
        return self.inductance_h / self.kept

    @property
    def how(self) -> str:
        """What carries the direct current, in words."""
        if self.powder:
            return f"no gap, {show(self.rest_h, 'inductance')} without current"
        return f"gap {show(self.gap_m, 'length')} in the centre leg"


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostDiode:
    """Rectifier cases in parallel."""

    rectifier: Rectifier
    packages: int
    candidates: tuple[str, ...]
    synchronous_saves_w: float  # what a switch like the boost switch would save in its place, full sine

    @property
    def legs(self) -> int:
        """Legs that share the current."""
        return self.packages * self.rectifier.legs


@dataclass(frozen=True, kw_only=True, slots=True)
class CurrentSense:
    """Current transformer in the drain lead, burden, filter and slope, in preferred values.

    ``sense_ohm`` is the comparator's volts per ampere of switch current, ``slope_v_per_s`` and ``offset_v``
    what the ramp adds there. Limits are switch currents at the crest on a tired battery.
    """

    core: Core
    turns: int
    burden_ohm: float
    reset_ohm: float
    filter_ohm: float
    filter_f: float
    slope_ohm: float
    sense_ohm: float
    slope_v_per_s: float
    slope_needed_v_per_s: float
    offset_v: float
    limit_least_a: float
    limit_a: float
    limit_most_a: float
    flux_t: float  # swing of the current transformer's core
    burden_w: float
    quality: float  # of the double pole at half the switching frequency, tired battery


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostLoop:
    """Voltage loop in preferred values, and its worst corner."""

    series_ohm: float
    series_f: float
    across_f: float
    zero_hz: float  # lowest right-half-plane zero
    target_hz: float
    figures: Mapping[str, LoopFigures]  # by operating point
    crossover_hz: float  # highest of all
    phase_margin_deg: float  # least of all
    gain_margin_db: float | None  # least of all; None where no phase reaches half a turn
    plant: CurrentModePlant  # at the crest, tired battery


@dataclass(frozen=True, kw_only=True, slots=True)
class RailGuard:
    """Zener diodes in series from the rail into the current-sense pin: the second way of stopping."""

    zeners: tuple[Zener, ...]
    series_ohm: float
    least_v: float
    nominal_v: float
    most_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class PreCharge:
    """What happens when the battery is connected, and the resistor that tames it."""

    plain_peak_a: float  # without the resistor
    rail_overshoot_v: float  # to which the rail then rings
    resistor_ohm: float
    rating_w: float
    peak_a: float
    wait_s: float  # until 95 % are charged
    energy_j: float  # into the resistor


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostPlan:
    """Parts that are chosen once; temperatures and currents move in the rounds."""

    demand: BoostDemand
    controller: Controller
    divider: Divider
    timing: BoostTiming
    switch: SwitchChoice
    drive: GateDrive
    gate_supply: GateSupply | None
    turn_on_s: float
    diode: BoostDiode
    choke: BoostChoke
    sense: CurrentSense
    guard: RailGuard
    input_bank: CapacitorBank
    rail_bank: CapacitorBank
    input_ripple_a: float  # expected, of the bank
    rail_ripple_a: float
    snubber_ohm: float
    snubber_f: float
    bleeder_ohm: float
    drain_needed_v: float
    link_ohm: float
    reasons: tuple[str, ...]

    @property
    def rail_f(self) -> float:
        """All capacitance on the rail, the amplifier's own counted, F."""
        return self.rail_bank.capacitance_f + self.demand.amplifier_f


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostCorner:
    """The crest of a full sine at one battery corner."""

    corner: Corner
    terminal_v: float
    rail_v: float
    duty: float
    choke_a: float  # mean over a switching cycle
    ripple_a: float
    peak_a: float
    limit_a: float  # least current limit at this duty
    switch_rms_a: float  # over the switching cycle
    diode_rms_a: float
    zero_hz: float  # right-half-plane zero


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostSolved:
    """What the settled chain tells the converter; full sine where nothing else is said."""

    source_ohm: float
    fuse_a: float
    fault_a: float  # short circuit at the unit
    choke_w: Mapping[Level, float]  # hardest corner
    switch_rms_a: float  # nominal battery
    choke_rms_a: float
    diode_mean_a: float
    input_ripple_a: float  # hardest corner
    rail_ripple_a: float
    efficiency: Mapping[Corner, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostResult:
    """The finished boost converter."""

    plan: BoostPlan
    set_v: float
    rail_low_v: float
    rail_high_v: float
    ratio: float  # rail over tired battery
    holds_from_v: float  # least battery at rest that still holds the rail at the crest
    duty_room: float  # greatest duty less the one needed on a tired battery
    corners: tuple[BoostCorner, ...]
    loop: BoostLoop
    precharge: PreCharge
    switch_rms_a: float  # full sine, nominal battery, all switches of the path together
    choke_rms_a: float
    diode_mean_a: float
    input_ripple_a: float
    rail_ripple_a: float
    rail_ripple_v: float  # switching frequency, peak to peak, crest on a tired battery
    bass_ripple_v: float  # peak, at twice the worst note
    bass_ripple_hz: float
    drain_peak_v: float  # highest rail and diode, ringing allowance counted
    drain_limit_v: float
    reverse_peak_v: float
    reverse_limit_v: float
    choke_c: Mapping[Level, float]
    choke_w: Mapping[Level, float]
    choke_rise_low_k: float  # programme, by the mildest and the severest rule
    choke_rise_high_k: float

    bleeder_s: float
    fuse_a: float
    fault_a: float
    disconnect: str  # "fuse" or "switch"
    lost_loop_v: float  # towards which the rail runs at the greatest duty when the divider is open
    efficiency: Mapping[Corner, float]  # rail power over power from the terminals, full sine
    gate_v_low: float  # high level at the gates on a tired battery
    start_v: float  # supply of the controller before the first pulse, tired battery
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
