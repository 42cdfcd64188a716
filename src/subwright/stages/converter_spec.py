"""What goes into the converter's design: the builder's wishes, the demand on it, and the first-half plan."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from subwright.base.fields import (
    Capacitance,
    Current,
    Frequency,
    Ratio,
    Resistance,
    StageSpec,
    Time,
    Voltage,
    choice,
    quantity,
)
from subwright.parts.schema import Controller
from subwright.stages.converter_drive import GateDrive, GateSupply
from subwright.stages.converter_parts import RectifierChoice, SwitchChoice
from subwright.stages.converter_timing import Timing

__all__ = ["ConverterDemand", "ConverterPlan", "ConverterSpec", "Magnetics", "Topology"]

Topology = Literal["push-pull", "full-bridge"]


class ConverterSpec(StageSpec):
    """What the builder may say about the converter."""

    topology: Literal["auto", "push-pull", "full-bridge", "boost", "none"] = choice(
        "auto",
        why="auto: none when the amplifier runs from the battery, else push-pull up to 24 V and a full "
        "bridge above, whose switches stand the battery once and not twice. boost: one raised rail for a "
        "bridge amplifier, no transformer, not isolated, up to some three to four times the battery; its "
        "diode lets the battery through, so that only fuse and switch cut the load off.",
    )
    output: Literal["peak-charged", "regulated"] = choice(
        "peak-charged",
        why="peak-charged: no choke, the rail follows the battery, simplest and most efficient; regulated: a "
        "choke coupled for both rails, the rail holds while the duty has room.",
    )
    switching_hz: Frequency = quantity(
        "50 kHz",
        low="20 kHz",
        high="150 kHz",
        why="Rate of one full push-pull cycle; the controller's ramp runs at twice that. Boost: rate of the "
        "one switch, and the ramp's own.",
    )
    dead_time_s: Time | None = quantity(
        None,
        low="0.2 us",
        high="5 us",
        why="Time with both switches off at each change-over; auto: 0.8 us, or twice what the switches need "
        "to turn off where that is more.",
    )
    controller: str = choice("auto", why="Controller id from the library or drawer.")
    mosfet: str = choice("auto", why="Switch id from the library or drawer.")
    mosfets_per_side: Literal[1, 2, 3, 4, 5, 6] | None = choice(
        None, why="Switches in parallel on each half-primary or corner of a bridge, 1 to 4; boost: 1 to 6."
    )
    rectifier: str = choice("auto", why="Rail rectifier id from the library or drawer.")
    rail_v: Voltage | None = quantity(
        None,
        low="10 V",
        high="120 V",
        why="Rail wanted at the crest of full power; auto: what the amplifier needs. Boost: the raised "
        "rail, to "
        "the next pair of preferred resistors.",
    )
    clamp: Literal["auto", "resistor", "none"] = choice(
        "auto",
        why="Clamp of the leakage spike: diodes, capacitor, and a resistor that returns part of it to the "
        "battery; none leaves the spike to snubber and avalanche. A full bridge needs none.",
    )
    gate_drive: Literal["auto", "direct", "turn-off", "buffer"] = choice(
        "auto",
        why="direct: gates on the controller's outputs; turn-off: a PNP pulls each side down; buffer: "
        "complementary emitter followers; auto: the least loss that still gives 8 V on a tired battery.",
    )
    gate_supply: Literal["auto", "battery", "regulated"] = choice(
        "auto",
        why="What feeds controller and gates; auto: the battery up to 19 V, above that zener and emitter "
        "follower of 12 V.",
    )
    ripple: Ratio = quantity(
        "0.3",
        low="0.1",
        high="1.0",
        why="Ripple of the output choke over the current at the crest, highest battery; regulated output. "
        "Boost: ripple of its choke over the crest, nominal battery.",
    )
    choke_core: str = choice(
        "auto",
        why="Core id of the output choke or of the boost choke, gapped E or ETD or a ring of iron powder; "
        "regulated output, boost.",
    )
    auxiliary_feed: Literal["rails", "winding"] = choice(
        "rails",
        why="What feeds the ±15 V regulators of filter and small-signal circuits: the main rails, or a small "
        "winding of its own, which costs turns and saves the heat of dropping the whole rail.",
    )
    auxiliary_current_a: Current = quantity(
        "25 mA", low="1 mA", high="0.5 A", why="Current of each of those small rails."
    )
    disconnect: Literal["fuse", "switch"] = choice(
        "fuse",
        why="Boost: what takes the raised rail off the battery: the fuse alone, or a switch in the battery "
        "lead "
        "that breaks the fault current.",
    )
    spike_allowance: Ratio = quantity(
        "0.3",
        low="0.1",
        high="1.0",
        why="Drain spike over twice the battery voltage that the switch must stand, as a share.",
    )
    ringing_allowance: Ratio = quantity(
        "0.3", low="0.1", high="1.0", why="Rectifier ringing over the reverse step, as a share."
    )
    link_ohm: Resistance = quantity(
        "0.6 mohm",
        low="0.05 mohm",
        high="10 mohm",
        why="Resistance of board copper and wire links in one primary path.",
    )
    input_capacitor: str = choice("auto", why="Input electrolytic id from the library or drawer.")
    reservoir_capacitor: str = choice("auto", why="Rail electrolytic id from the library or drawer.")
    reservoir_f: Capacitance | None = quantity(
        None,
        low="100 uF",
        high="100 mF",
        why="Capacitance of one rail; auto: what rail pumping and ripple need.",
    )
    soft_start_s: Time = quantity(
        "0.3 s", low="0.02 s", high="3 s", why="Time over which the duty opens at switch-on."
    )
    timing_resistor_series: Literal["E12", "E24", "E96"] = choice(
        "E24", why="Preferred-value series of the timing resistors."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterDemand:
    """What amplifier and supply ask of the converter.

    Currents are at full sine and nominal battery; ``rail_`` values are per side.
    """

    rail_needed_v: float  # working rail at the crest
    rail_max_v: float  # highest that the amplifier stands
    rail_crest_a: float  # out of the working rail at the crest
    rail_mean_a: float  # mean out of one rail
    music_mean_square: float  # mean of the squared music current over its squared crest, full sine: 0.5
    emf_nominal_v: float
    emf_max_v: float
    emf_low_v: float
    source_ohm: float
    ambient_c: float  # air at the board, hottest
    pumping_f: float  # least rail capacitance against rail pumping, 0 where the amplifier doesn't pump
    rail_ripple_v: float  # switching-frequency ripple accepted on a rail
    switch_c: float  # junction temperatures, from the heat stage or assumed
    diode_c: float
    lowest_note_hz: float
    both_rails: bool = False  # both carry the crest together: a bridge between the rails
    least_reverse_v: float = 0.0  # that a rectifier leg must stand whatever the plan reckons

    @property
    def each_crest_a(self) -> float:
        """Current out of a rail that works, at the crest, A."""
        return 0.5 * self.rail_crest_a if self.both_rails else self.rail_crest_a

    @property
    def each_rms_share(self) -> float:
        """Rms current of one rail over that of the sum of both, full sine: they take turns, or share."""
        return 0.5 if self.both_rails else sqrt(0.5)


@dataclass(frozen=True, kw_only=True, slots=True)
class Magnetics:
    """The wound transformer as the converter sees it: real values, hot."""

    primary_turns: int
    secondary_turns: int
    primary_ohm: float  # one half-primary; of a bridge, the whole
    secondary_ohm: float  # one half-secondary
    leakage_h: float  # referred to one half-primary
    magnetising_h: float
    core_w: float
    core_v: float
    core_exponent: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterPlan:
    """First half of the design: timing, switch, rectifier, and what the transformer must do."""

    topology: Topology
    regulated: bool
    controller: Controller
    timing: Timing
    switch: SwitchChoice
    rectifier: RectifierChoice
    rail_v: float  # wanted at the crest
    drain_limit_needed_v: float
    reverse_needed_v: float
    ratio_least: float
    ratio_most: float
    primary_rms_a: float  # one half-primary, full sine
    secondary_rms_a: float
    primary_peak_a: float
    buffered: bool
    drive_v: float  # high level at a gate, nominal battery
    drive: GateDrive
    gate_supply: GateSupply | None
    reasons: tuple[str, ...]
