"""What the stage hands on about an amplifier whose rails change: class G and class H."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

__all__ = ["RailHeat", "RailSwitching"]


@dataclass(frozen=True, kw_only=True, slots=True)
class RailHeat:
    """Heat of the output at one level, beside plain class AB on the upper rail alone, W."""

    level: str
    plain_w: float
    switched_w: float


@dataclass(frozen=True, kw_only=True, slots=True)
class RailSwitching:
    """The parts that change the rail, of one leg (class H) or one side (class G).

    Attributes
    ----------
    form : "lifted", a capacitor that a pair of switches lifts (class H), or "two pairs" of rails (class G).
    inner_ratio : inner over outer rail, dimensionless; 1 for "lifted".
    diode_id, diode_v, diode_a, diode_limit_a : commutation diode: drop at half the crest, V; its average
        current at full sine and what it carries, A. diode_reverse_v, diode_reverse_limit_v : V.
    upper_id, lower_id : MOSFETs: lifting (P) and charging (N) switch of "lifted"; followers on the positive
        (N) and negative (P) outer rail of "two pairs".
    upper_a, upper_limit_a : crest current, and half the rating of the weaker, A. upper_v, upper_limit_v : V.
    head_v : how near the output comes to the lower rail before the upper one takes over, V.
    trip_v, release_v : output of the leg (class H) or of the stage (class G) at which the upper rail takes
        over and lets go, nominal rail, V.
    resistors_ohm, capacitors_f : preferred values by role, Ω and F.
    zener_id, zener_v : between output and gate of a follower; "" and 0 without one.
    reference_id, comparator_id : of the threshold; "" without one.
    buffer_ids : transistors that drive the gates, NPN and PNP; () without.
    rectifier_id, rectifier_a, rectifier_limit_a : of the inner rails; "" and 0 without them.
    reservoir_id, reservoir_count, reservoir_needed_f : cans on each inner rail, and what its crest asks for,
        F; "" and 0 without them.
    """

    form: Literal["lifted", "two pairs"]
    inner_ratio: float
    diode_id: str
    diode_v: float
    diode_a: float
    diode_limit_a: float
    diode_reverse_v: float
    diode_reverse_limit_v: float
    upper_id: str
    lower_id: str
    upper_a: float
    upper_limit_a: float
    upper_v: float
    upper_limit_v: float
    head_v: float
    trip_v: float
    release_v: float
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    zener_id: str = ""
    zener_v: float = 0.0
    reference_id: str = ""
    comparator_id: str = ""
    buffer_ids: tuple[str, ...] = ()
    rectifier_id: str = ""
    rectifier_a: float = 0.0
    rectifier_limit_a: float = 0.0
    reservoir_id: str = ""
    reservoir_count: int = 0
    reservoir_needed_f: float = 0.0
