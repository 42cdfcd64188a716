"""What the over-current trips take and hand on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

__all__ = ["CurrentInput", "DropSense", "OverCurrentTrip"]


@dataclass(frozen=True, kw_only=True, slots=True)
class CurrentInput:
    """What the over-current trip must know.

    Attributes
    ----------
    crest_a, rms_a : battery current at the crest of a full sine and its rms, A. fault_a : dead short, A.
    switch_ohm, switch_hot_ratio : one side's largest on resistance at 25 °C, Ω, and the factor at 100 °C;
        None without a converter. switch_limit_a : what one side may carry, A; None where not known.
    shunt_ohm : shunt as planned, whose resistance the supply's path already counts, Ω.
    sides : switches whose drops are watched, 1 or 2. conduction : share of the time that one of them is on.
    gate_v : their gates when on, V. drain_v : the most that their drains reach, V.
    both_ways : whether the current flows either way through the shunt.
    unseen_by : why a method can't see this current; by method, none where it can.
    """

    crest_a: float
    rms_a: float
    fault_a: float
    switch_ohm: float | None = None
    switch_hot_ratio: float | None = None
    switch_limit_a: float | None = None
    shunt_ohm: float | None = None
    sides: Literal[1, 2] = 2
    conduction: float = 1.0
    gate_v: float = 10.0
    drain_v: float = 55.0
    both_ways: bool = False
    unseen_by: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class DropSense:
    """How a switch's drop is read only while its gate is high, Ω.

    A resistor from each gate feeds a diode into that drain; a second diode from there to a common load. The
    level runs through the same pair of diodes, so their drops cancel at the trip.

    Attributes
    ----------
    sides : switches watched. pull_ohm : from each gate. load_ohm : to ground, for sense and level alike.
    level_pull_ohm : from the reference. gate_v : gates when on, V. diode : id of every diode.
    conduction : share of the drop that the filter settles to, as no switch is on all the time.
    most_v : the most that the reading can be, V: what the gates' resistors can drive.
    """

    sides: Literal[1, 2]
    pull_ohm: float
    load_ohm: float
    level_pull_ohm: float
    gate_v: float
    diode: str
    conduction: float
    most_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class OverCurrentTrip:
    """The over-current network as built.

    Attributes
    ----------
    method : "shunt" or "switch". sense_ohm : shunt, or a side's resistance at 100 °C, Ω.
    sense_w : heat of the shunt, full sine, W; 0 for the switch.
    upper_ohm, lower_ohm : level divider from the reference, Ω. level_v : its tap, V.
    filter_ohm, filter_f, filter_s : blanking low-pass, Ω, F and s.
    target_a, nominal_a : wanted, and with real values, A. low_a, high_a : worst case, A.
    first : what moves it most, with its effect as a fraction of the nominal. must_a : crest that it must
    leave
        alone, A. limit_a : what the switch stands, A; None where not known.
    short_a : of a dead short's current, what the reading can tell, weakest reading, A. response_s : from a
        dead short to the trip of the most sluggish unit, s; None where it may never come.
    after : what follows a trip.
    drop : how the switches' drop is read; None with a shunt. held_a : trip with a switch that stays on, A.
    both_ways : a second comparator watches the current the other way. negative_upper_ohm : from the reference
        to its input, whose filter resistor leads to the shunt, Ω. negative_a : its trip, magnitude, A.
    """

    method: Literal["shunt", "switch"]
    sense_ohm: float
    sense_w: float
    upper_ohm: float
    lower_ohm: float
    level_v: float
    filter_ohm: float
    filter_f: float
    filter_s: float
    target_a: float
    nominal_a: float
    low_a: float
    high_a: float
    first: tuple[str, float]
    must_a: float
    limit_a: float | None
    short_a: float
    response_s: float | None
    after: Literal["retry", "latch"]
    held_a: float
    drop: DropSense | None = None
    both_ways: bool = False
    negative_upper_ohm: float = 0.0
    negative_a: float = 0.0

    @property
    def sections(self) -> int:
        """Comparators that it takes."""
        return 2 if self.both_ways else 1
