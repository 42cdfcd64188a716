"""Rules on the transformer: flux, copper, window, temperature, turns.

Those on the core itself and on the leads have a file of their own; importing this one registers both.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from subwright.build.findings import magnetic_core  # noqa: F401  (importing registers the rules)
from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.stages.common import Corner, Level
from subwright.stages.transformer_model import density_limit

__all__ = [
    "build_height",
    "copper_regulation",
    "current_density",
    "endless_sine",
    "fill_factor",
    "flux_lost_pulse",
    "flux_peak",
    "flux_slow_oscillator",
    "flux_walking",
    "leakage_heat",
    "magnetising_current",
    "proximity",
    "temperature_rise",
    "threading",
    "turns_ratio",
]

_INSULATION_C = 130.0  # thermal class 130 (B): polyester tape, the weakest of the usual materials
_MAGNETISING_SHARE = 0.15
_REGULATION = 0.05
_MISMATCH = 0.10  # between the on resistances of two switches of one type
_LEAKAGE_SHARE = 0.03
_PROXIMITY_SHARE = 0.5
_THREAD_M = 4e-3


@rule(
    "MAG-01",
    stage="transformer",
    severity="stop",
    title="Peak flux density",
    what="Peak flux density at the highest battery and the longest on-time, against its limit.",
    why="Near saturation the inductance vanishes within a microsecond and the primary is a short circuit. It "
    "happens at the highest battery, with the engine running, not on the bench.",
    limit="transformer.flux_limit; auto: 90 % of the hot saturation value, halved for one lost pulse.",
    source="pressman1998",
    example="16 V for 9.2 µs on 4 turns and 198 mm² swing 186 mT, so ±93 mT.",
    remedy="Raise transformer.primary_turns, choose a larger core or stack (transformer.core, "
    "transformer.stack), or raise converter.switching.",
    near=0.02,
)
def flux_peak(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="peak flux density",
        value=max(transformer.flux_peak_t.values()),
        limit=transformer.flux_limit_t,
        dimension="flux density",
        at="highest battery",
    )


@rule(
    "MAG-02",
    stage="transformer",
    severity="warn",
    title="Flux density after a lost pulse",
    what="Peak flux density when one half cycle is missing: at switch-on, after a trip, or after a glitch.",
    why="The next pulse then starts from one end of the swing instead of its middle and goes twice as far; "
    "the switches must turn the surge off.",
    limit="90 % of the saturation flux density at the hottest permitted core temperature.",
    source="pressman1998",
    example="±150 mT become 300 mT: a power ferrite that saturates at 350 mT hot (limit 315 mT) just stands "
    "it.",
    remedy="Raise transformer.primary_turns, or lower transformer.flux_limit.",
    near=0.02,
)
def flux_lost_pulse(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="flux density after one lost pulse",
        value=transformer.flux_lost_pulse_t,
        limit=transformer.lost_pulse_limit_t,
        dimension="flux density",
        at="highest battery",
    )


@rule(
    "MAG-03",
    stage="transformer",
    severity="stop",
    title="The copper goes into the window",
    what="Copper section of all turns over the window area.",
    why="Round wire, enamel, tape and unsteady hands leave room. A winding that is planned too full is found "
    "out at the last turns, after hours of work.",
    limit="transformer.fill_limit; auto: 0.30 on rings, 0.40 on bobbins.",
    source="mclyman-handbook",
    example="90 mm² of copper in a ring's hole of 360 mm²: 25 %.",
    remedy="Fewer strands (transformer.primary_strands, transformer.secondary_strands), or a larger core "
    "(transformer.core).",
    near=0.03,
)
def fill_factor(design: Design) -> Iterator[Measure]:
    """Measure the fill as a share."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="copper share of the window",
        value=transformer.fill,
        limit=transformer.fill_limit,
        dimension="share",
    )


@rule(
    "MAG-04",
    stage="transformer",
    severity="warn",
    title="Temperature rise",
    what="Rise on the heating basis by the least favourable of two published rules.",
    why="The rules differ by half; believing the kinder one is how windings turn brown.",
    limit="transformer.max_rise.",
    source="mclyman-handbook",
    example="3.0 W on 60 cm² rise by 26 K by one rule and 38 K by the other: 38 K counts, against 40 K.",
    remedy="A larger core, more copper (transformer.primary_strands), or more turns where core loss leads.",
    near=0.02,
)
def temperature_rise(design: Design) -> Iterator[Measure]:
    """Measure the rise in K."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="temperature rise",
        value=transformer.rise_high_k,
        limit=transformer.rise_limit_k,
        dimension="temperature difference",
        at=f"{design.spec.transformer.rise_basis} heating",
    )


@rule(
    "MAG-05",
    stage="transformer",
    severity="warn",
    title="A sine that never ends",
    what="Hottest air and the rise with a continuous full sine, by the least favourable rule, against the "
    "class of the insulation.",
    why="The thermal trip watches the heatsink. Nothing watches the transformer while a sine generator is "
    "on.",
    limit="130 °C, thermal class B: polyester tape, the weakest of the usual materials.",
    source="iec-60085",
    example="50 °C air and 70 K are 120 °C: within class B; 90 K would not be.",
    remedy='Set transformer.rise_basis = "full", or choose a larger core (transformer.core); at the bench, '
    "measure in bursts.",
    near=0.03,
)
def endless_sine(design: Design) -> Iterator[Measure]:
    """Measure the temperature in °C."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="winding temperature",
        value=transformer.ambient_c + transformer.rise_full_high_k,
        limit=_INSULATION_C,
        dimension="temperature",
        at="endless full sine, hottest air",
    )


@rule(
    "MAG-06",
    stage="transformer",
    severity="stop",
    title="The windings fit",
    what="Height of all layers, wire with enamel and tape, over the height that the core leaves.",
    why="Fill counts copper; this counts layers. A bundle is as high as it is thick even where the copper is "
    "little.",
    limit="1: all of it.",
    source="common-practice",
    example="Layers of 2.1, 1.4 and 2.0 mm with 0.4 mm of tape are 5.9 mm in 6.5 mm: 91 %.",
    remedy="Fewer strands or thinner wire (transformer.primary_wire), or a larger core (transformer.core).",
    near=0.05,
)
def build_height(design: Design) -> Iterator[Measure]:
    """Measure the height as a share of what is there."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="winding height over the height available",
        value=transformer.build_share,
        limit=1.0,
        dimension="share",
    )


@rule(
    "MAG-07",
    stage="transformer",
    severity="warn",
    title="Turns ratio within its window",
    what="Ratio of the whole turns against the least that reaches full power and the most that the amplifier "
    "stands.",
    why="Turns are whole numbers: on a core with few primary turns each secondary turn moves the rail by "
    "volts.",
    limit="From the ratio that just reaches the power to the ratio of the amplifier's highest rail.",
    source="derived",
    example="4 primary turns and a window of 3.30 to 3.45: 13 give 3.25, 14 give 3.50, and neither fits. 5 "
    "turns and 17 give 3.40.",
    remedy="Change transformer.primary_turns and transformer.secondary_turns together, or lower goal.power.",
)
def turns_ratio(design: Design) -> Iterator[Measure]:
    """Measure the ratio, dimensionless."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="turns ratio for full power",
        value=transformer.ratio,
        limit=transformer.ratio_min * (1.0 - 1e-9),
        dimension="ratio",
        sense="at least",
    )
    yield Measure(
        quantity="turns ratio for the amplifier's highest rail",
        value=transformer.ratio,
        limit=transformer.ratio_max * (1.0 + 1e-9),
        dimension="ratio",
        severity="stop",
        remedy="Lower transformer.secondary_turns, or choose devices of a higher voltage (amplifier.mosfet).",
    )


@rule(
    "MAG-08",
    stage="transformer",
    severity="note",
    title="Current density",
    what="Rms current density of primary and secondary on the heating basis.",
    why="A quick sense of proportion: the rise decides, but a density far above custom points to a slip.",
    limit="transformer.current_density; auto: 3.95 A/mm², that is 500 circular mils per ampere.",
    source="pressman1998",
    example="9 A in 12 strands of 0.5 mm (2.36 mm²): 3.8 A/mm².",
    remedy="More strands (transformer.primary_strands, transformer.secondary_strands).",
    near=0.0,
)
def current_density(design: Design) -> Iterator[Measure]:
    """Measure the density in A/m²."""
    transformer = design.transformer
    if transformer is None:
        return
    for winding in (transformer.primary, transformer.secondary):
        yield Measure(
            quantity=f"current density of the {winding.name}",
            value=winding.heating_density_a_per_m2,
            limit=density_limit(design.spec.transformer),
            dimension="current density",
        )


@rule(
    "MAG-09",
    stage="transformer",
    severity="note",
    title="Magnetising current",
    what="Peak magnetising current at the highest battery over the primary's peak at the crest of a full "
    "sine.",
    why="It flows at idle too and is switched off each half cycle. A large share means few turns, or a core "
    "glued with a gap.",
    limit="15 %; common practice, no source.",
    source="common-practice",
    example="16 V for 9.2 µs across 90 µH swing 1.6 A, ±0.8 A: 2 % of a peak of 40 A.",
    remedy="Raise transformer.primary_turns, or check the mating faces of the core.",
)
def magnetising_current(design: Design) -> Iterator[Measure]:
    """Measure the current as a share."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="magnetising peak over primary peak",
        value=transformer.magnetising_peak_a / design.point(Corner.NOMINAL, Level.FULL).primary_peak_a,
        limit=_MAGNETISING_SHARE,
        dimension="share",
    )


@rule(
    "MAG-10",
    stage="transformer",
    severity="note",
    title="Regulation of the windings",
    what="Copper loss with a full sine over the power passed, nominal battery.",
    why="What the copper eats, the rail sags: it takes headroom at the crest and gives it back at idle, "
    "where it is only stress.",
    limit="5 %; common practice, no source.",
    source="mclyman-handbook",
    example="6 W of copper loss on 200 W passed: 3 %.",
    remedy="More strands, or a larger core with shorter turns (transformer.core).",
)
def copper_regulation(design: Design) -> Iterator[Measure]:
    """Measure the regulation as a share."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="copper loss over power passed",
        value=transformer.regulation,
        limit=_REGULATION,
        dimension="share",
    )


@rule(
    "MAG-11",
    stage="transformer",
    severity="note",
    title="Flux walking by unequal switches",
    what="Peak flux density when the on resistances of the two sides differ by 10 %: the offset current that "
    "makes the volt-seconds equal again, as flux, on top of the peak.",
    why="A push-pull without current-mode control has nothing but resistance to keep the flux centred. "
    "Unequal switches push it to one side; near saturation one switch runs hot and nobody sees why.",
    limit="Saturation flux density at the hottest permitted core temperature.",
    source="pressman1998",
    example="18 A pulses, 4 mΩ of switch in an 8 mΩ loop: 18 A × 10 % × 4/(2 × 8) = 0.45 A of offset. With "
    "0.6 A for ±130 mT that is 98 mT more: 228 mT.",
    remedy="Take both sides' switches from one batch and lay both halves alike; raise "
    "transformer.primary_turns, or take a current-mode controller (converter.controller).",
)
def flux_walking(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer, converter = design.transformer, design.converter
    if transformer is None or converter is None or converter.plan.controller.mode == "current":
        return
    point = design.point(Corner.NOMINAL, Level.FULL)
    pulse_a = point.primary_rms_a * sqrt(2.0 / converter.plan.timing.share)
    loop_ohm = converter.switch_ohm + converter.magnetics.primary_ohm + converter.link_ohm
    # (I + i)(R + r/2) = (I - i)(R - r/2) gives i = -I r/(2 R) for a mismatch r of the loop R.
    offset_a = pulse_a * _MISMATCH * converter.switch_ohm / (2.0 * loop_ohm)
    area_m2 = transformer.core.a_e_m2 * transformer.stack
    offset_t = transformer.magnetising_h * offset_a / (transformer.primary_turns * area_m2)
    yield Measure(
        quantity="flux density with switches 10 % apart",
        value=max(transformer.flux_peak_t.values()) + offset_t,
        limit=transformer.saturation_t,
        dimension="flux density",
        at="highest battery",
    )


@rule(
    "MAG-12",
    stage="transformer",
    severity="warn",
    title="Flux density with a slow oscillator",
    what="Peak flux density at the highest battery with the oscillator at the low end of its tolerance.",
    why="On-time and flux grow as the frequency falls, and timing parts and controllers scatter by ten per "
    "cent and more.",
    limit="90 % of the saturation flux density at the hottest permitted core temperature.",
    source="derived",
    example="6 % in the controller, 1 % in the resistor and 10 % in the capacitor lengthen the period by up "
    "to 18 %: ±150 mT become ±177 mT.",
    remedy="Raise transformer.primary_turns, measure the frequency at bring-up, or take tighter timing "
    "parts.",
    near=0.02,
)
def flux_slow_oscillator(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer, converter = design.transformer, design.converter
    if transformer is None or converter is None:
        return
    slow = 1.0 + converter.plan.timing.switching_tolerance
    yield Measure(
        quantity="peak flux density at the lowest frequency",
        value=slow * max(transformer.flux_peak_t.values()),
        limit=transformer.lost_pulse_limit_t,
        dimension="flux density",
        at="highest battery",
    )


@rule(
    "MAG-13",
    stage="transformer",
    severity="note",
    title="Proximity effect",
    what="Share of each winding's loss that eddy currents make in the field of the other layers.",
    why="Beyond a certain diameter thicker wire makes a winding warmer, not cooler. More and thinner strands "
    "of the same section help.",
    limit="Half of the winding's loss; common practice, no source.",
    source="sullivan1999",
    example="1.2 W of which 0.7 W by proximity: 58 %. Strands of half the diameter and twice the section pay "
    "off.",
    remedy="Choose thinner wire and more strands (transformer.primary_wire, transformer.primary_strands).",
)
def proximity(design: Design) -> Iterator[Measure]:
    """Measure the share of the loss."""
    transformer = design.transformer
    if transformer is None:
        return
    for winding in (transformer.primary, transformer.secondary):
        yield Measure(
            quantity=f"proximity effect in the {winding.name}'s loss",
            value=winding.proximity_share,
            limit=_PROXIMITY_SHARE,
            dimension="share",
        )


@rule(
    "MAG-14",
    stage="transformer",
    severity="note",
    title="Heat of the leakage inductance",
    what="Power that the leakage inductance hands to the switches at each turn-off, over the battery's "
    "power, full sine, nominal battery.",
    why="It heats the switches by avalanche or the snubber by design; either way it is lost.",
    limit="3 %; common practice, no source.",
    source="severns-snubbers",
    example="100 000 turn-offs a second of ½ × 50 nH × (30 A)² are 2.3 W: 1 % of 230 W.",
    remedy='Wind both halves twisted together (transformer.lay = "twisted"), spread the secondary over the '
    'whole core, shorten transformer.lead or lay the leads flat (transformer.lead_form = "flat"), or lower '
    "converter.switching.",
)
def leakage_heat(design: Design) -> Iterator[Measure]:
    """Measure the power as a share."""
    if design.transformer is None:
        return
    point = design.point(Corner.NOMINAL, Level.FULL)
    yield Measure(
        quantity="leakage heat over the battery's power",
        value=point.losses_w["leakage clamp"] / point.battery_w,
        limit=_LEAKAGE_SHARE,
        dimension="share",
        at="full sine",
    )


@rule(
    "MAG-15",
    stage="transformer",
    severity="note",
    title="Room for the last turn of a ring",
    what="Hole that stays open in a wound ring.",
    why="Each turn is threaded through it by hand, the last one past all the others, without scratching "
    "them.",
    limit="4 mm; common practice, no source.",
    source="common-practice",
    example="A hole of 19 mm under 5 mm of winding all round leaves 9 mm.",
    remedy="Fewer strands or thinner wire (transformer.secondary_wire), or a larger ring (transformer.core).",
    near=0.1,
)
def threading(design: Design) -> Iterator[Measure]:
    """Measure the hole in m."""
    transformer = design.transformer
    if transformer is None or transformer.core.shape != "ring":
        return
    yield Measure(
        quantity="hole left in the ring",
        value=transformer.hole_left_m,
        limit=_THREAD_M,
        dimension="length",
        sense="at least",
    )
