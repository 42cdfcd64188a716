"""Spec, need and result of the transformer stage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from subwright.base.fields import (
    AUTO,
    CurrentDensity,
    FluxDensity,
    KelvinDifference,
    Length,
    Ratio,
    StageSpec,
    Turns,
    choice,
    quantity,
)
from subwright.parts.schema import Core, Material, Wire
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = [
    "AuxiliaryNeed",
    "ParetoRow",
    "PhasingCheck",
    "RailNeed",
    "SearchStatistics",
    "TransformerNeed",
    "TransformerResult",
    "TransformerSpec",
    "Winding",
    "WindingStep",
    "tap_turns",
]

Lay = Literal["twisted", "flat"]


def _auto(value: object) -> object:
    """Let "auto" stand for a count that the search chooses."""
    return None if isinstance(value, str) and value.strip().lower() == AUTO else value


Stack = Annotated[Annotated[int, Field(ge=1, le=4)] | None, BeforeValidator(_auto)]
Strands = Annotated[Annotated[int, Field(ge=1, le=100)] | None, BeforeValidator(_auto)]


class TransformerSpec(StageSpec):
    """What the builder may say about the transformer. Whatever is fixed here is kept."""

    core: str = choice("auto", why="Core id from the library or drawer; auto searches all of them.")
    stack: Stack = choice(
        None,
        why="Rings glued on top of each other, or E sets side by side on a coil former of your own, 1 to 4; "
        "auto tries one and two rings.",
    )
    material: str = choice(
        "auto", why="Ferrite grade, where it differs from the core's own; auto keeps that."
    )
    flux_limit_t: FluxDensity | None = quantity(
        None,
        low="20 mT",
        high="350 mT",
        why="Peak flux density at the highest battery; auto leaves room for one lost pulse.",
    )
    max_rise_k: KelvinDifference = quantity(
        "40 K", low="10 K", high="90 K", why="Temperature rise accepted, by the least favourable rule."
    )
    rise_basis: Literal["programme", "full"] = choice(
        "programme",
        why="Whether copper heats with the programme's mean square or with a sine that never ends.",
    )
    current_density_a_per_m2: CurrentDensity | None = quantity(
        None,
        low="1 A/mm2",
        high="15 A/mm2",
        why="Largest rms current density on the heating basis; auto takes 500 circular mils per ampere.",
    )
    fill_limit: Ratio | None = quantity(
        None, low="0.1", high="0.7", why="Largest copper share of the window; auto: 0.30 rings, 0.40 bobbins."
    )
    primary_turns: Turns | None = quantity(
        None, low="1", high="60", why="Turns of each half-primary, or of the whole primary of a full bridge."
    )
    secondary_turns: Turns | None = quantity(None, low="1", high="400", why="Turns of each half-secondary.")
    primary_wire: str = choice(
        "auto", why="Wire id of the primary strands; auto: enamelled wire, and litz from the drawer."
    )
    secondary_wire: str = choice(
        "auto", why="Wire id of the secondary strands; auto: enamelled wire, and litz from the drawer."
    )
    primary_strands: Strands = choice(
        None, why="Strands of each half-primary, or of the whole primary of a full bridge, 1 to 100."
    )
    secondary_strands: Strands = choice(None, why="Strands of each half-secondary, 1 to 100.")
    most_strands: Annotated[int, Field(ge=1, le=100)] = choice(
        24,
        why="Most strands that you are willing to twist into one half, 1 to 100; a primary without halves "
        "may have twice as many.",
    )
    lay: Literal["auto", "twisted", "flat"] = choice(
        "auto",
        why="twisted: both halves' strands in one bundle, best coupling; flat: strands side by side, lower "
        "build; auto: twisted on rings, flat on bobbins.",
    )
    interleave: Literal["auto", "plain", "sandwich"] = choice(
        "auto", why="sandwich: half the secondary below and half above the primary; auto: on bobbins only."
    )
    insulation_m: Length = quantity(
        "0.2 mm", low="0.05 mm", high="3 mm", why="Tape between primary and secondary."
    )
    margin_m: Length = quantity(
        "0.5 mm", low="0 mm", high="8 mm", why="Width kept free at each flange of a bobbin."
    )
    ring_share: Ratio = quantity(
        "0.9",
        low="0.3",
        high="1",
        why="Share of a ring's circumference that is wound; the rest is for leads.",
    )
    lead_m: Length = quantity(
        "30 mm",
        low="5 mm",
        high="300 mm",
        why="Wire from the core to its pad at each end; it carries the current.",
    )
    lead_spacing_m: Length = quantity(
        "10 mm",
        low="0.5 mm",
        high="60 mm",
        why="Distance of a half-primary's two leads, centre to centre; their loop is part of the leakage.",
    )
    lead_form: Literal["apart", "twisted", "flat"] = choice(
        "apart",
        why="How a half-primary's leads run: apart at lead_spacing; twisted, sleeved; flat strips face to "
        "face with film between, which leak least.",
    )
    cut_margin_m: Length = quantity(
        "40 mm", low="10 mm", high="300 mm", why="Wire to hold and strip at each end, cut off afterwards."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class RailNeed:
    """The rail that the transformer must give, for a search that knows what leakage and resistance cost.

    Attributes
    ----------
    emf_v, emf_most_v : battery behind its source resistance, nominal and highest, V.
    source_ohm : that resistance. path_ohm : switch and links of one primary path, hot, ohm.
    diode_v, diode_ohm : rectifier, V and ohm.
    crest_a : current out of the working rail at the crest, A.
    needed_v : rail at that crest. most_v : highest rail unloaded, at ``emf_most_v``, V.
    held : an output choke and the controller hold the rail; the resistances then count in the conducting
        share only, and commutation takes from that share.
    halves_loaded : halves of the secondary that work at the crest: 1 where one rail carries the load, 2 where
        both share it.
    """

    emf_v: float
    emf_most_v: float
    source_ohm: float
    path_ohm: float
    diode_v: float
    diode_ohm: float
    crest_a: float
    needed_v: float
    most_v: float
    held: bool = False
    halves_loaded: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class AuxiliaryNeed:
    """A small centre-tapped winding over all others.

    Attributes
    ----------
    ratio_least : its turns of one half over the primary's at least. current_a : mean current of each side, A.
    """

    ratio_least: float
    current_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformerNeed:
    """What the converter asks of the transformer.

    Attributes
    ----------
    switching_hz : rate of one full push-pull cycle, Hz.
    v_primary_max_v : highest voltage across a half-primary, V.
    corner_v : voltage across a half-primary at each battery corner, V; may be partial.
    duty : share of the cycle in which either switch conducts, at its longest.
    ratio_min, ratio_max : window of Ns/Np that gives the rails.
    ratio_target : ratio wanted inside that window.
    primary_rms_a, secondary_rms_a : rms current of one half-primary (of the whole where single) and one
        half-secondary, full sine, A.
    programme_mean_square : mean square of the programme's current over that of the full sine.
    primary : "centre-tapped": two halves that conduct in turns (push-pull); "single": one winding that
        carries current both ways (full bridge). What is said of a half-primary then holds for the whole.
    secondary : "centre-tapped": two halves that conduct in turns; "single": one winding.
    ambient_c : air round the transformer at its hottest, °C.
    edge_s : rise time of the winding current, s.
    rectifier_filter : "capacitor": rails charged straight from the rectifier; "choke": output chokes.
    rail : the rail behind the rectifier; None judges candidates by the ratio's window alone.
    auxiliary : a small winding of its own for low-power rails; None where there is none.
    tap_share : share of each half-secondary's turns, from its centre, at which an inner rail is tapped; 0
        without a tap.
    """

    switching_hz: float
    v_primary_max_v: float
    duty: float
    ratio_min: float
    ratio_max: float
    ratio_target: float
    primary_rms_a: float
    secondary_rms_a: float
    ambient_c: float
    programme_mean_square: float = 1.0
    corner_v: Mapping[Corner, float] = field(default_factory=dict)
    primary: Literal["centre-tapped", "single"] = "centre-tapped"
    secondary: Literal["centre-tapped", "single"] = "centre-tapped"
    edge_s: float = 0.3e-6
    rectifier_filter: Literal["capacitor", "choke"] = "capacitor"
    rail: RailNeed | None = None
    auxiliary: AuxiliaryNeed | None = None
    tap_share: float = 0.0


def tap_turns(share: float, turns: int) -> int:
    """Whole turns at which a half-secondary is tapped, from its centre.

    Parameters
    ----------
    share : wanted, dimensionless; 0 without a tap. turns : of the half.

    >>> tap_turns(0.5, 9), tap_turns(0.0, 9), tap_turns(0.3, 2)
    (4, 0, 1)
    """
    return max(1, min(round(share * turns), turns - 1)) if share > 0.0 else 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Winding:
    """One winding as it will be wound; resistances are of one half, at the winding's own temperature.

    Attributes
    ----------
    halves : 2 where centre-tapped, else 1.
    turns, strands : of each half.
    layers : layers that the bundles (or the strands, laid flat) make.
    layers_below : of those, layers below the primary in a sandwich, else 0.
    build_m : height of this winding alone, m.
    bundle_m : diameter of the bundle of all strands; the wire's own where laid flat, m.
    strand_length_m : mean length of one strand with its leads, m.
    cut_length_m : length to cut each strand to, m.
    resistance_dc_ohm, resistance_ac_ohm : one half; "ac" is loss over rms current squared.
    copper_m2 : section of one half, m².
    rms_a : rms current of one half, full sine, A.
    current_density_a_per_m2 : at full sine, A/m².
    heating_density_a_per_m2 : on the heating basis, A/m².
    full_w : loss of the whole winding at full sine, W.
    proximity_share : share of that loss which is proximity effect.
    mass_kg : copper, kg.
    foil_width_m : width that foil is cut to, 0 for wire, m.
    """

    name: Literal["primary", "secondary", "auxiliary"]
    wire: Wire
    halves: int
    turns: int
    strands: int
    layers: int
    layers_below: int
    build_m: float
    bundle_m: float
    strand_length_m: float
    cut_length_m: float
    resistance_dc_ohm: float
    resistance_ac_ohm: float
    copper_m2: float
    rms_a: float
    current_density_a_per_m2: float
    heating_density_a_per_m2: float
    full_w: float
    proximity_share: float
    mass_kg: float
    foil_width_m: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class WindingStep:
    """One step at the bench, in order.

    Attributes
    ----------
    number : place in the sequence, from 1.
    action : what to do, one or two plain sentences.
    winding : which winding, "" where none.
    turns, strands, layers : counts, 0 where none applies.
    wire_id : wire, "" where none.
    cut_length_m : length to cut, 0 where nothing is cut, m.
    pieces : number of pieces of that length.
    direction : sense of winding, "" where none.
    start_labels, finish_labels : ends to mark, in the order of the halves.
    dots : ends that are of the same polarity.
    """

    number: int
    action: str
    winding: str = ""
    turns: int = 0
    strands: int = 0
    layers: int = 0
    wire_id: str = ""
    cut_length_m: float = 0.0
    pieces: int = 0
    direction: str = ""
    start_labels: tuple[str, ...] = ()
    finish_labels: tuple[str, ...] = ()
    dots: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class PhasingCheck:
    """One reading on the finished transformer before it meets a battery.

    Attributes
    ----------
    number : place in the sequence, from 1.
    action : how to connect and what to read.
    quantity, unit : what is read ("inductance", "H").
    expected, low, high : reading expected and the range that passes, in that unit; high None: no upper end.
    failure : what a reading outside means.
    """

    number: int
    action: str
    quantity: str
    unit: str
    expected: float
    low: float
    high: float | None
    failure: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ParetoRow:
    """One design that no other beats in loss, rise, fill, copper mass and regulation at once."""

    core_id: str
    stack: int
    primary_turns: int
    secondary_turns: int
    primary_wire: str
    primary_strands: int
    secondary_wire: str
    secondary_strands: int
    loss_w: float  # heating basis
    rise_high_k: float
    fill: float
    copper_kg: float
    regulation: float
    flux_peak_t: float
    in_drawer: bool
    score: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SearchStatistics:
    """How the design was found.

    Attributes
    ----------
    combinations : cores × stack × turns × wires × strands that the search covered.
    evaluated : of those, combinations that were wound and heated in full; the others were dropped because
        another wire choice is at least as good in both height and loss, or a limit rules them out.
    feasible : combinations that keep every limit.
    seconds_s : time it took.
    pareto : designs that none beats in every respect, best score first.
    """

    combinations: int
    evaluated: int
    feasible: int
    seconds_s: float = field(compare=False)
    pareto: tuple[ParetoRow, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformerResult:
    """The transformer, wound of real wire on a real core.

    Attributes
    ----------
    core, stack, material : the core and its grade.
    primary_turns, secondary_turns : turns of each half (of the whole winding where it is single).
    ratio, ratio_min, ratio_max : Ns/Np and the window it must lie in.
    flux_peak_t : peak flux density at each battery corner, longest on-time, T.
    flux_limit_t : limit of that at the highest battery, T.
    flux_lost_pulse_t : peak after one lost pulse at the highest battery, T.
    saturation_t : saturation flux density at the hottest permitted core temperature, T.
    lost_pulse_limit_t : limit of flux_lost_pulse_t, T.
    primary, secondary : the windings. auxiliary : the small one over them, None where there is none.
    fill, fill_limit : copper share of the window.
    build_share : height of the windings over the height available (limit 1).
    hole_left_m : hole that stays open in a ring, 0 for bobbins, m.
    core_w : core loss at core_v, W; it goes with voltage to the power core_exponent.
    copper_w, copper_programme_w : copper loss, full sine and programme, W.
    heating_w : loss that the temperature rise is reckoned with, W.
    rise_low_k, rise_high_k : temperature rise by the most and the least favourable rule, heating basis, K.
    rise_full_low_k, rise_full_high_k : the same for a sine that never ends, K.
    rise_limit_k : accepted rise, K.
    temperature_c : winding temperature used for the resistances (ambient and rise_high_k), °C.
    leakage_h : primary to secondary with the primary's leads, referred to one half-primary, H; with its low
        and high estimate.
    lead_h : share of the leads in it, H.
    leakage_halves_h : between the two half-primaries, upper estimate, 0 where there is one winding, H.
    leakage_auxiliary_h : primary to auxiliary winding, referred to one half-primary, 0 without it, H.
    capacitance_f : primary to secondary, order of magnitude, F.
    self_capacitance_f : across the whole secondary, order of magnitude, F.
    magnetising_h : inductance of one half-primary, H; with the low and high end of the core's tolerance.
    magnetising_peak_a : peak magnetising current at the highest battery, A.
    regulation : copper loss at full sine over the power passed, nominal battery.
    copper_kg : copper of all windings, kg.
    outer_m, height_m : outline of the wound part, m.
    tape_length_m, tape_width_m : insulation tape, m.
    steps, checks : winding sheet.
    search : how the design was found.
    need : what the converter asked, kept for comparisons with other cores.
    choice : the first of the reasons: how the choice fell, and what fixed wishes cost.
    """

    core: Core
    stack: int
    material: Material
    primary_turns: int
    secondary_turns: int
    ratio: float
    ratio_min: float
    ratio_max: float
    flux_peak_t: Mapping[Corner, float]
    flux_limit_t: float
    flux_lost_pulse_t: float
    lost_pulse_limit_t: float
    saturation_t: float
    primary: Winding
    secondary: Winding
    auxiliary: Winding | None
    lay: Lay
    interleave: Literal["plain", "sandwich"]
    fill: float
    fill_limit: float
    build_share: float
    hole_left_m: float
    core_w: float
    core_v: float
    core_exponent: float
    copper_w: float
    copper_programme_w: float
    heating_w: float
    rise_low_k: float
    rise_high_k: float
    rise_full_low_k: float
    rise_full_high_k: float
    rise_limit_k: float
    ambient_c: float
    temperature_c: float
    leakage_h: float
    leakage_low_h: float
    leakage_high_h: float
    lead_h: float
    leakage_halves_h: float
    leakage_auxiliary_h: float
    capacitance_f: float
    self_capacitance_f: float
    magnetising_h: float
    magnetising_low_h: float
    magnetising_high_h: float
    magnetising_peak_a: float
    regulation: float
    copper_kg: float
    outer_m: float
    height_m: float
    tape_length_m: float
    tape_width_m: float
    steps: tuple[WindingStep, ...]
    checks: tuple[PhasingCheck, ...]
    search: SearchStatistics
    need: TransformerNeed
    choice: tuple[str, ...]
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def windings(self) -> tuple[Winding, ...]:
        """All windings, from the core outwards; a secondary wound round the primary comes second."""
        return tuple(w for w in (self.primary, self.secondary, self.auxiliary) if w is not None)

    @property
    def tap_turns(self) -> int:
        """Turns of each half-secondary from its centre to its tap; 0 without one."""
        return tap_turns(self.need.tap_share, self.secondary_turns)

    @property
    def np(self) -> int:
        """Turns of one half-primary."""
        return self.primary_turns

    @property
    def ns(self) -> int:
        """Turns of one half-secondary."""
        return self.secondary_turns

    @property
    def resistance_primary_half_ohm(self) -> float:
        """Resistance of one half-primary with its eddy losses, hot, ohm."""
        return self.primary.resistance_ac_ohm

    @property
    def resistance_secondary_half_ohm(self) -> float:
        """Resistance of one half-secondary with its eddy losses, hot, ohm."""
        return self.secondary.resistance_ac_ohm
