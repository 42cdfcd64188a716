"""What the protection stage takes and hands on: thresholds with windows, networks with named resistors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import (
    Celsius,
    Current,
    Ratio,
    StageSpec,
    Time,
    Voltage,
    choice,
    quantity,
)
from subwright.physics.batteries import BatteryKind
from subwright.physics.networks.chatter import BurstTrace
from subwright.stages.common import Corner
from subwright.stages.protection_current_records import CurrentInput, DropSense, OverCurrentTrip

__all__ = [
    "BurstTrace",
    "Chatter",
    "CrankingRide",
    "CurrentInput",
    "DropSense",
    "HoldOff",
    "InputRange",
    "LampCurrents",
    "OrderCheck",
    "OverCurrentTrip",
    "OverVoltageNetwork",
    "ProtectionInput",
    "ProtectionSpec",
    "ReferenceSupply",
    "ThermalNetwork",
    "Threshold",
    "ToleranceWindow",
    "TrimmerRange",
    "UnderVoltageNetwork",
]


class ProtectionSpec(StageSpec):
    """What the builder may say about shutting down."""

    under_voltage_trip_v: Voltage | None = quantity(
        None,
        low="6 V",
        high="60 V",
        why="Terminal voltage at which it stops; auto by battery and low corner.",
    )
    under_voltage_release_v: Voltage | None = quantity(
        None, low="6 V", high="60 V", why="Terminal voltage at which it starts again; auto by battery."
    )
    over_voltage_trip_v: Voltage | None = quantity(
        None, low="10 V", high="72 V", why="Terminal voltage above which it stops; auto from the max corner."
    )
    over_voltage_release_v: Voltage | None = quantity(
        None,
        low="10 V",
        high="72 V",
        why="Terminal voltage below which it starts again after an over-voltage.",
    )
    thermal_trip_c: Celsius = quantity(
        "85 °C", low="45 °C", high="120 °C", why="Heatsink temperature at which it stops."
    )
    thermal_release_c: Celsius = quantity(
        "70 °C", low="30 °C", high="110 °C", why="Heatsink temperature at which it starts again."
    )
    ntc: str = choice("auto", why="Thermistor id from the library or drawer.")
    comparator: str = choice("auto", why="Open-collector comparator id from the library or drawer.")
    reference: Literal["auto", "controller", "shunt"] = choice(
        "auto", why="Reference of the thresholds; auto takes the controller's where it is good to 2 %."
    )
    shunt_reference: str = choice("auto", why="431-family reference id from the library or drawer.")
    resistor_series: Literal["E12", "E24", "E96", "mixed"] = choice(
        "E24",
        why="Preferred-value series of the networks. The drawer's own values come first where they miss by "
        "less than 1 %. mixed: then drawer and E24 together, with E96 in a network only where that halves "
        "its error.",
    )
    resistor_tolerance: Ratio = quantity("1 %", low="0.1 %", high="10 %", why="Tolerance of those resistors.")
    trimmer: bool = choice(
        False, why="Trimmers that set both voltage trips on the bench instead of trusting tolerances."
    )
    thermal_trimmer: bool = choice(
        False,
        why="A trimmer under the thermistor's series resistor that sets the thermal trip on the bench.",
    )
    sense_filter_s: Time = quantity(
        "20 ms",
        low="1 ms",
        high="500 ms",
        why="Time constant of the battery sense filter; longer rides over hits.",
    )
    over_current: Literal["none", "shunt", "switch"] = choice(
        "none",
        why="Over-current trip: none, a shunt in the return, or the drop of the converter's own switches.",
    )
    over_current_trip_a: Current | None = quantity(
        None,
        low="1 A",
        high="500 A",
        why="Battery current that trips it; auto: one and a half times the crest.",
    )
    over_current_filter_s: Time = quantity(
        "50 us", low="2 us", high="5 ms", why="Time constant that blanks switching edges."
    )
    over_current_after: Literal["retry", "latch"] = choice(
        "retry", why="After an over-current: try again after the hold-off, or stay off until switched off."
    )
    amplifier_current: Literal["none", "shunt", "switch"] = choice(
        "none",
        why="Trip against a shorted loudspeaker: none, a shunt in the amplifier's return, or the drop of its "
        "low-side switch. It acts on the same run line, so converter and amplifier stop together.",
    )
    amplifier_current_trip_a: Current | None = quantity(
        None,
        low="0.5 A",
        high="200 A",
        why="Output current that trips it; auto: one and a half times the crest into the lowest impedance.",
    )
    hold_off_s: Time = quantity(
        "0.5 s",
        low="5 ms",
        high="5 s",
        why="How long it stays off after the last trip has cleared, before the soft start begins.",
    )
    isolating_link: bool = choice(
        True,
        why="A jumper that isolates the protections for the first tests on a current-limited supply; the "
        "lamps go "
        "on showing trips.",
    )
    lamp_a: Current = quantity("1 mA", low="0.3 mA", high="3 mA", why="Current of each status lamp.")


@dataclass(frozen=True, kw_only=True, slots=True)
class ProtectionInput:
    """What the other stages tell this one.

    Attributes
    ----------
    battery, system_v : chemistry and nominal voltage. corners : open-circuit battery voltage, V.
    controller_vref_v, controller_vref_tolerance : the converter controller's reference, V and fraction.
    reference_limit_a : current that the controller's reference can give away, A.
    source_resistance_ohm : battery, cable and contacts, ohm.
    load_step_a : battery current at full sine less idle, A: what a trip takes off the battery.
    idle_a : battery current while running without signal, A.
    restart_s : from a release until the load is back, s: the converter's soft start.
    current, output_current : for the over-current trips of battery and amplifier; None: there can be none.
    lockout_v : below which the converter's controller stops by itself, V; None where it doesn't.
    stops : what a trip stops: the controller, or by its mute an amplifier straight on the battery.
    lowest_note_hz : Hz. ambient_max_c : hottest air at the unit, °C.
    draws, seed : random builds per window, and the generator's seed.
    """

    battery: BatteryKind
    system_v: int
    corners: Mapping[Corner, float]
    controller_vref_v: float = 5.0
    controller_vref_tolerance: float = 0.05
    reference_limit_a: float = 10e-3
    source_resistance_ohm: float
    load_step_a: float
    idle_a: float = 0.0
    restart_s: float = 0.3
    lockout_v: float | None = None
    stops: Literal["controller", "amplifier"] = "controller"
    lowest_note_hz: float = 30.0
    current: CurrentInput | None = None
    output_current: CurrentInput | None = None
    ambient_max_c: float = 50.0
    draws: int = 2_000
    seed: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class CrankingRide:
    """One level of the starting profile (ISO 16750-2) against the under-voltage trip.

    Attributes
    ----------
    level : "I" to "IV", or "cut" for 200 ms without a supply.
    dip_v, plateau_v, plateau_s, ripple_v : its first dip, plateau, and the plateau's ripple, peak, V and s.
    sensed_v : lowest voltage behind the sense filter. trip_high_v : highest that the trip may be, V.
    locked_out : whether the dip stops the controller by itself, whatever the trip does: below
    lockout_v, V.
    outcome : what it does, in words. off_s : silent from the first dip until it plays again, s.
    engine_v : battery once the engine runs, V. release_high_v : highest that the release may be, V.
    """

    level: str
    dip_v: float
    plateau_v: float
    plateau_s: float
    ripple_v: float
    sensed_v: float
    trip_high_v: float
    locked_out: bool
    lockout_v: float | None
    outcome: str
    off_s: float
    engine_v: float
    release_high_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ToleranceWindow:
    """Where a threshold falls with resistors of one tolerance; limits in the threshold's unit.

    Attributes
    ----------
    tolerance : of the resistors, fraction; the other parts keep their own.
    worst_low, worst_high : every part at the limit that hurts.
    rss_low, rss_high : root-sum-square of the parts' limits.
    p1, p99 : percentiles of the random builds.
    """

    tolerance: float
    worst_low: float
    worst_high: float
    rss_low: float
    rss_high: float
    p1: float
    p99: float

    @property
    def half(self) -> float:
        """Half the worst-case window, in the threshold's unit."""
        return 0.5 * (self.worst_high - self.worst_low)


@dataclass(frozen=True, kw_only=True, slots=True)
class Threshold:
    """One voltage or temperature at which the circuit changes its mind.

    Attributes
    ----------
    name : "under-voltage trip". unit : "V" or "°C".
    target : wanted. nominal : from the real resistor values. reason : why this target.
    window : with the resistors of the spec. windows : with 1 % and with 5 % resistors, in that order.
    """

    name: str
    unit: Literal["V", "°C"]
    target: float
    nominal: float
    reason: str
    window: ToleranceWindow
    windows: tuple[ToleranceWindow, ...]

    @property
    def error(self) -> float:
        """Nominal less target, in the threshold's unit."""
        return self.nominal - self.target


@dataclass(frozen=True, kw_only=True, slots=True)
class UnderVoltageNetwork:
    """Battery through two equal resistors to the + input; the reference on the - input. Ω and F.

    The filter capacitor stands at the middle of the two upper resistors, so that the feedback still acts at
    once. ``lower_second_ohm`` stands in series under ``lower_ohm`` where one value misses the thresholds;
    a trimmer takes its place.
    """

    upper_each_ohm: float
    lower_ohm: float
    feedback_ohm: float
    pullup_ohm: float
    filter_f: float
    filter_s: float
    trimmer_ohm: float | None = None
    lower_second_ohm: float | None = None

    @property
    def lower_all_ohm(self) -> float:
        """Fixed resistance from the + input to ground, Ω."""
        return self.lower_ohm + (self.lower_second_ohm or 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class OverVoltageNetwork:
    """Battery divider on the - input; the + input on the reference with feedback. Ω and F.

    ``lower_second_ohm`` as in :class:`UnderVoltageNetwork`.
    """

    upper_ohm: float
    lower_ohm: float
    reference_ohm: float
    feedback_ohm: float
    pullup_ohm: float
    filter_f: float
    filter_s: float
    trimmer_ohm: float | None = None
    lower_second_ohm: float | None = None

    @property
    def lower_all_ohm(self) -> float:
        """Fixed resistance from the - input to ground, Ω."""
        return self.lower_ohm + (self.lower_second_ohm or 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class ThermalNetwork:
    """Thermistor from the reference to the - input, ``series_ohm`` from there to ground; Ω and F.

    The + input stands on ``upper_ohm`` from the reference, ``lower_ohm`` to ground and the feedback. With a
    trimmer the lower arm is ``series_ohm`` plus the trimmer, which a nominal unit has at ``trimmer_set_ohm``
    to trip at ``trimmer_target_c``.
    """

    ntc: str
    series_ohm: float
    upper_ohm: float
    lower_ohm: float
    feedback_ohm: float
    pullup_ohm: float
    filter_f: float
    filter_s: float
    self_heating_k: float  # at the trip
    trimmer_ohm: float | None = None
    trimmer_set_ohm: float = 0.0
    trimmer_target_c: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class TrimmerRange:
    """A trimmer in series with a fixed resistor, and what it reaches.

    Attributes
    ----------
    protection : "under-voltage", "over-voltage", "thermal". unit : of the trip.
    fixed_ohm, track_ohm : preferred values, Ω. set_ohm : of the track in a nominal unit, Ω.
    need_low_ohm, need_high_ohm : whole arm that the target takes with every part at its limit, Ω.
    least_ohm, most_ohm : whole arm that is there with every part at its limit, Ω: the track's ends.
    target : of the trip. trip_shut, trip_open : of a nominal unit with nothing and with all of the track.
    window_without : worst-case half window of the trip without the trimmer, V or K; ``window_with`` with it.
    """

    protection: str
    unit: Literal["V", "°C"]
    fixed_ohm: float
    track_ohm: float
    set_ohm: float
    need_low_ohm: float
    need_high_ohm: float
    least_ohm: float
    most_ohm: float
    target: float
    trip_shut: float
    trip_open: float
    window_without: float
    window_with: float

    @property
    def covers(self) -> bool:
        """Whether the trip can be set in every unit."""
        return self.least_ohm <= self.need_low_ohm and self.need_high_ohm <= self.most_ohm


@dataclass(frozen=True, kw_only=True, slots=True)
class ReferenceSupply:
    """Reference of all thresholds, and what feeds it and the comparator.

    Attributes
    ----------
    kind, part_id : controller's own, or a shunt reference. nominal_v, low_v, high_v : V.
    upper_ohm, lower_ohm, feed_ohm : the shunt's resistors, Ω; None with the controller's reference.
    load_a, limit_a : heaviest load on the reference and what it can give, A.
    comparator_ohm, clamp_id, clamp_v, clamp_low_v : series resistor, Ω, and zener of the comparator's supply,
        nominal and at its lower limit, V.
    comparator_low_v, comparator_low_limit_v : its supply at the under-voltage trip, and the least that keeps
        the reference inside the input range, V.
    comparator_high_v, comparator_high_limit_v : highest supply (clamp at its upper limit), and its rating, V.
    range_lost_v : battery voltage below which both inputs leave the range and the output may be wrong, V.
    """

    kind: Literal["controller", "shunt"]
    part_id: str
    nominal_v: float
    low_v: float
    high_v: float
    upper_ohm: float | None
    lower_ohm: float | None
    feed_ohm: float | None
    feed_w: float
    load_a: float
    limit_a: float
    comparator_ohm: float
    comparator_w: float
    clamp_id: str
    clamp_v: float
    clamp_low_v: float
    clamp_w: float
    clamp_limit_w: float
    comparator_low_v: float
    comparator_low_limit_v: float
    comparator_high_v: float
    comparator_high_limit_v: float
    range_lost_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Chatter:
    """Whether a bass hit can trip the under-voltage and the recovery undo it.

    Attributes
    ----------
    drop_v : source resistance times the load step, V. ripple_share : what the sense filter lets through of
        the ripple at twice the lowest note. need_v : drop times (1 + share), V.
    hysteresis_v, hysteresis_worst_v : nominal, and the least over all tolerances, V.
    burst_v : battery at rest at which a burst of full sine only just trips a nominal unit, V.
    trace : that burst in time, with its trips: one is a shut-down, more are chatter.
    """

    drop_v: float
    ripple_share: float
    need_v: float
    hysteresis_v: float
    hysteresis_worst_v: float
    burst_v: float
    trace: BurstTrace

    @property
    def margin_v(self) -> float:
        """Least hysteresis less the need, V; negative: it can chatter."""
        return self.hysteresis_worst_v - self.need_v


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldOff:
    """A capacitor beside the run line: the pull-up fills it, and the line follows past half; F and s.

    ``emptied`` : whether a transistor empties it at every trip, however short; ``short_s`` then follows one,
    and ``couple_f`` tells it of the run line's fall.
    """

    capacitor_f: float
    nominal_s: float
    low_s: float
    high_s: float
    emptied: bool = False
    short_s: float = 0.0
    couple_f: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class LampCurrents:
    """Current of a status lamp with every part at its limit, A: reference, resistor and LED."""

    low_a: float
    nominal_a: float
    high_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class InputRange:
    """A comparator's inputs at one battery corner, V.

    The 339 family is right while one of its inputs lies within its range; ``lower_v`` is the lower of the
    two, ``limit_v`` where the range ends: the supply less its headroom, every part at the limit that hurts.
    """

    watch: str
    corner: Corner
    lower_v: float
    limit_v: float

    @property
    def margin_v(self) -> float:
        """What is left to the end of the range, V."""
        return self.limit_v - self.lower_v


@dataclass(frozen=True, kw_only=True, slots=True)
class OrderCheck:
    """Two figures whose order decides whether the protections work together."""

    name: str
    unit: Literal["V", "°C", "K"]
    value: float
    limit: float
    must: Literal["at least", "at most"]

    @property
    def margin(self) -> float:
        """Distance to the limit in the unit, positive when kept."""
        return self.value - self.limit if self.must == "at least" else self.limit - self.value
