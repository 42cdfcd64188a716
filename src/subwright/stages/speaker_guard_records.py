"""What the loudspeaker's protection takes and hands on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from subwright.base.fields import Ratio, StageSpec, choice, quantity
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = [
    "DcDetector",
    "SpeakerGuardInput",
    "SpeakerGuardResult",
    "SpeakerGuardSpec",
    "SpeakerRelay",
    "SpeakerSwitch",
    "SwitchDrive",
]


class SpeakerGuardSpec(StageSpec):
    """What the builder may say about a direct voltage at the loudspeaker."""

    switch: Literal["auto", "relay", "mosfet", "none"] = choice(
        "auto",
        why="What parts the driver from a stuck output: auto fits one where the stuck rail would burn the "
        "coil, a "
        "relay where its contact breaks that direct current, else two MOSFETs back to back.",
    )
    relay: str = choice("auto", why="Relay id from the library or drawer.")
    contact: Literal["series", "grounded"] = choice(
        "series",
        why="Make contact in series, or a change-over whose rest contact shorts the driver to ground: the "
        "arc then "
        "runs to ground and the fuse clears it.",
    )
    release: Literal["quick", "plain"] = choice(
        "quick",
        why="What takes the relay coil's energy: a diode and a zener, so that it opens quickly, or a diode "
        "alone.",
    )
    mosfet: str = choice("auto", why="MOSFET id of the switch, by id from the library or drawer.")
    bass_margin: Ratio = quantity(
        "1.2",
        low="1.05",
        high="5",
        why="How far the lowest note at full output, its first half wave, stays below the detector's "
        "threshold, worst parts.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerGuardInput:
    """What the other stages tell this one.

    Attributes
    ----------
    stuck_v, stuck_a : direct voltage and current of a shorted output, V and A; stuck_w : its heat, W.
    peak_v : highest output, V. rms_a : full sine, A. lowest_note_hz : Hz.
    power_w : the driver's rated power, W. re_ohm : its direct-current resistance, Ω. le_h : inductance, H.
    coil_j_per_k : thermal capacity, J/K, None where not known. coil_start_c, coil_max_c : coil with
    programme,
        and its limit, °C; None where not known.
    corners : battery at rest, V. sag_v : lost on the way at full sine, V. ambient_c : hottest air, °C.
    highest_v : pulse that parts on the control supply stand, V; 0: the highest corner.
    floating : whether the loudspeaker lies between two outputs. outputs_v : their supply, V; 0: they swing
        about ground.
    """

    stuck_v: float
    stuck_a: float
    stuck_w: float
    peak_v: float
    rms_a: float
    lowest_note_hz: float
    power_w: float
    re_ohm: float
    le_h: float | None
    coil_j_per_k: float | None
    coil_start_c: float
    coil_max_c: float | None
    corners: Mapping[Corner, float]
    sag_v: float
    ambient_c: float
    highest_v: float = 0.0
    floating: bool = False
    outputs_v: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class SwitchDrive:
    """What lets the relay or the MOSFETs' light in: a transistor whose base detector and timer pull down.

    Attributes
    ----------
    transistor : NPN id. base_ohm : from the control supply, Ω. load_a : through it, nominal battery, A.
    sink_a : base current that the detector has to take away, nominal battery, A.
    stress_v, limit_v : on its collector, and its rating, V.
    zener, zener_v : in series with the flyback diode; "" and 0 V without one.
    light_ohm, light_w : series resistor of the gate drivers' diodes, Ω and W; 0 with a relay.
    """

    transistor: str
    base_ohm: float
    load_a: float
    sink_a: float
    stress_v: float
    limit_v: float
    zener: str = ""
    zener_v: float = 0.0
    light_ohm: float = 0.0
    light_w: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class DcDetector:
    """An RC low-pass and a transistor for each polarity.

    The positive one takes the driver's base current itself. The negative one, whose emitter the low-pass
    feeds, would have to draw that current through the resistor; so a PNP and a third transistor stand behind
    it. Between two outputs both polarities work that way.

    Attributes
    ----------
    resistor_ohm, capacitor_f : in all, Ω and F. resistors : that it is made of, 1 or 2.
    tau_s : their product, s. floating : between two outputs.
    threshold_v, negative_v : direct voltages that trip it at room temperature, magnitudes, V.
    node_v, negative_node_v : the same behind the low-pass, V.
    threshold_low_v, threshold_high_v : hot and cold with the parts that hurt, of both polarities, V.
    bass_v : lowest note behind the low-pass at full output, first half wave, worst parts, V.
    trip_s, trip_latest_s : with the output stuck, slower polarity, nominal and worst parts, s.
    pull_ohm : base to emitter of the PNP, Ω. couple_ohm : from it to the third transistor, Ω.
    down_ohm : base to emitter of that one, Ω. npn, pnp : ids that stand its supply. supply_v : highest, V.
    outputs_v : supply of the outputs between which it works, V; 0 about ground.
    """

    resistor_ohm: float
    resistors: Literal[1, 2]
    capacitor_f: float
    tau_s: float
    floating: bool
    threshold_v: float
    negative_v: float
    node_v: float
    negative_node_v: float
    threshold_low_v: float
    threshold_high_v: float
    bass_v: float
    trip_s: float
    trip_latest_s: float
    pull_ohm: float
    couple_ohm: float
    down_ohm: float
    npn: str
    pnp: str
    supply_v: float
    outputs_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerRelay:
    """A relay in the speaker lead.

    Attributes
    ----------
    relay : id. contact : how it is wired. breaks_a, breaks_needed_a : direct current at the stuck voltage, A.
    contact_a, carries_a : rating, and full sine, A. coil_a : at nominal battery, A.
    dropper_ohm, dropper_w : series resistor of the coil, Ω and W; None where there is none.
    resistance_ohm, loss_w : of the closed contact, Ω, and its heat with a full sine, W.
    coil_low_v, pull_in_v : coil at the low corner, and what it needs hot, V.
    coil_high_v, coil_limit_v : at the highest battery, V. drop_out_v : least at which it may hold, V.
    coil_ohm, coil_h : of the coil, Ω and H. decay_s : until its current has died to there, s.
    open_s : with the armature's own release, s.
    """

    relay: str
    contact: Literal["series", "grounded"]
    breaks_a: float
    breaks_needed_a: float
    contact_a: float
    carries_a: float
    coil_a: float
    dropper_ohm: float | None
    dropper_w: float
    coil_low_v: float
    pull_in_v: float
    coil_high_v: float
    coil_limit_v: float
    resistance_ohm: float
    loss_w: float
    coil_ohm: float
    coil_h: float
    drop_out_v: float
    decay_s: float
    open_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerSwitch:
    """Two MOSFETs back to back in the speaker lead.

    Attributes
    ----------
    mosfet : id. per_side : in parallel. resistance_ohm : both sides, hot, Ω. loss_w : full sine, W.
    junction_c, junction_limit_c : without a heatsink, °C. blocks_v, rating_v : V.
    coil_j, avalanche_limit_j : energy in the voice coil's inductance when it opens, and what one device
    stands,
        J; the limit 0 where the sheet gives none. gate_v, gate_limit_v : drive and rating, V. open_s : s.
    """

    mosfet: str
    per_side: int
    resistance_ohm: float
    loss_w: float
    junction_c: float
    junction_limit_c: float
    blocks_v: float
    rating_v: float
    coil_j: float
    avalanche_limit_j: float
    gate_v: float
    gate_limit_v: float
    open_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerGuardResult:
    """Detector and switch in the speaker lead.

    Attributes
    ----------
    kind : what is fitted. drive : what switches it.
    fitted : whether anything is. needed : whether a stuck output would burn the coil.
    resistance_ohm : what the switch puts in series with the load, Ω; 0 without one.
    total_s : from the output sticking to the lead open, worst parts, s.
    coil_heat_j, coil_limit_j : heat in the coil until then, and what it stands, J; limit None where unknown.
    """

    kind: Literal["none", "relay", "mosfet"]
    fitted: bool
    needed: bool
    detector: DcDetector | None
    drive: SwitchDrive | None
    relay: SpeakerRelay | None
    switch: SpeakerSwitch | None
    resistance_ohm: float
    total_s: float
    coil_heat_j: float
    coil_limit_j: float | None
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
