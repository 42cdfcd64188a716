"""Rules on what is known of the core itself, on its flux at switch-on, and on the transformer's leads."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.build.findings.rule import Measure, rule
from subwright.build.result import Design
from subwright.physics.flux_start import flux_at_switch_on

__all__ = ["lead_leakage", "some_winding", "switch_on", "unchecked_core"]

_LEAD_SHARE: Final = 0.5
_SURE_T: Final = (
    0.9 * 0.24
)  # nine tenths of the hot saturation of the softest common ferrite (N30, from memory)


@rule(
    "MAG-16",
    stage="transformer",
    severity="note",
    title="Leads in the leakage inductance",
    what="Inductance of the loop that a half-primary's leads make, over the whole leakage inductance.",
    why="Two leads a finger's breadth apart leak as much as a good winding. It costs rail at the crest and "
    "heat in the clamp, and nothing to avoid.",
    limit="Half; common practice, no source.",
    source="common-practice",
    example="30 mm of leads 10 mm apart, 2.5 mm thick: 25 nH, beside 20 nH of the windings: 56 %.",
    remedy="Shorten transformer.lead, bring the leads together (transformer.lead_spacing), twist them or "
    'lay them flat (transformer.lead_form = "twisted" or "flat").',
)
def lead_leakage(design: Design) -> Iterator[Measure]:
    """Measure the leads' share of the leakage."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="leads over the whole leakage inductance",
        value=transformer.lead_h / transformer.leakage_h,
        limit=_LEAD_SHARE,
        dimension="share",
    )


@rule(
    "MAG-17",
    stage="transformer",
    severity="warn",
    title="A core whose saturation nobody has checked",
    what="Flux density after one lost pulse in a core that is known by its measured permeability only, "
    "against what even the softest common ferrite stands when hot.",
    why="Permeability doesn't tell where a core saturates: grades of one permeability differ by half. A "
    "wrong guess shows first in the switches, at the highest battery.",
    limit="216 mT: nine tenths of 240 mT, the lowest hot saturation of the common ferrites (from memory). "
    "And one pulse noted in the drawer file.",
    source="common-practice",
    example="±120 mT become 240 mT after a lost pulse: fine for a power ferrite, too much for an unknown "
    "one.",
    remedy="Pulse the core on the bench (subwright core identify prints how) and note it: subwright core "
    "pulse. Until then raise transformer.primary_turns or lower transformer.flux_limit.",
    near=0.02,
)
def unchecked_core(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer = design.transformer
    if transformer is None or not transformer.core.only_identified:
        return
    yield Measure(
        quantity="flux density after one lost pulse, saturation not checked",
        value=transformer.flux_lost_pulse_t,
        limit=_SURE_T,
        dimension="flux density",
        at="highest battery",
    )
    yield Measure(
        quantity="saturation pulses noted for this core",
        value=0.0,
        limit=1.0,
        dimension="ratio",
        counted=True,
        sense="at least",
        severity="note",
    )


@rule(
    "MAG-18",
    stage="transformer",
    severity="warn",
    title="Flux density at switch-on",
    what="Highest flux density while the soft start widens the pulses, highest battery.",
    why="A core at rest sits at zero. A first pulse of full width carries it twice as far as it goes later; "
    "pulses that grow slowly centre the flux by themselves.",
    limit="90 % of the saturation flux density at the hottest permitted core temperature.",
    source="derived",
    example="±150 mT settled: 300 mT with a first pulse of full width, 150.1 mT with 20 ms of soft start at "
    "50 kHz (2000 pulses).",
    remedy="Lengthen converter.soft_start, or raise transformer.primary_turns.",
    near=0.02,
)
def switch_on(design: Design) -> Iterator[Measure]:
    """Measure the flux density in T."""
    transformer, converter = design.transformer, design.converter
    if transformer is None or converter is None:
        return
    timing = converter.plan.timing
    pulses = 2.0 * timing.switching_hz * timing.soft_start_s
    yield Measure(
        quantity="flux density at switch-on",
        value=float(flux_at_switch_on(max(transformer.flux_peak_t.values()), pulses)),
        limit=transformer.lost_pulse_limit_t,
        dimension="flux density",
        at="highest battery",
    )


@rule(
    "MAG-19",
    stage="transformer",
    severity="stop",
    title="Some way to wind it keeps every limit",
    what="Windings on the cores allowed that keep flux, ratio, fill, height, current density, temperature "
    "and rail at once.",
    why="Where there is none, something must give: a core, the power, the rise, or the rail's window. The "
    "refusal with this code names the nearest winding, what it breaks and by how much. A transformer that is "
    "fixed altogether is taken as it stands, and this stop stays.",
    limit="One.",
    source="common-practice",
    example="0 of 12 400: the nearest needs 22 more kelvin, or a core of 1.3 times the section.",
    remedy="Free what transformer.core, transformer.primary_turns or transformer.primary_wire fix, raise "
    "transformer.max_rise, or lower goal.power as the refusal says.",
)
def some_winding(design: Design) -> Iterator[Measure]:
    """Count the windings that keep every limit."""
    transformer = design.transformer
    if transformer is None:
        return
    yield Measure(
        quantity="windings that keep every limit",
        value=float(transformer.search.feasible),
        limit=1.0,
        dimension="ratio",
        counted=True,
        sense="at least",
    )
