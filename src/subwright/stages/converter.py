"""The push-pull converter between battery and rails.

Designed in two steps, because the transformer sits in the middle: ``plan_converter`` fixes timing, switch
and rectifier and says which turns ratio and currents the transformer must serve; ``complete_converter``
takes the wound transformer's real values and finishes snubber, capacitors, gate parts and the averaged
electrical model on which the whole chain is solved.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi, sqrt
from typing import Literal

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import at_least, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Controller
from subwright.physics.push_pull import (
    off_state_voltage,
    pulse_shape,
    turns_ratio_needed,
)
from subwright.stages.common import Contributor, Loss, PartUse
from subwright.stages.converter_bill import converter_parts
from subwright.stages.converter_parts import (
    CapacitorBank,
    choose_bank,
    choose_rectifier,
    choose_switch,
    hot_resistance,
)
from subwright.stages.converter_spec import ConverterDemand, ConverterPlan, ConverterSpec, Magnetics
from subwright.stages.converter_timing import design_timing

__all__ = [
    "ConverterDemand",
    "ConverterPlan",
    "ConverterResult",
    "ConverterSpec",
    "Magnetics",
    "complete_converter",
    "hot_resistance",
    "plan_converter",
]

_GATE_HIGH_LOSS_V = 1.5  # from supply to gate, emitter follower or controller output
# Switches are chosen as if this hot, whatever the sink makes of it: else choice and sink chase each other.
_CHOICE_JUNCTION_C = 100.0
_BUFFER_A = 1.0  # peak current of a complementary emitter-follower pair of small transistors
_SAFE_V = 5.0  # rails below this count as discharged


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterResult:
    """The finished converter: real parts and its averaged electrical model."""

    topology: Literal["push-pull"]
    plan: ConverterPlan
    primary_turns: int
    secondary_turns: int
    ratio: float
    switch_ohm: float  # one side, hot
    diode_v: float
    diode_ohm: float
    link_ohm: float
    magnetics: Magnetics
    input_bank: CapacitorBank
    reservoir_bank: CapacitorBank  # one rail's
    input_ripple_a: float
    reservoir_ripple_a: float
    reservoir_ripple_v: float
    reservoir_needed_f: float
    rail_limit_v: float  # rated voltage of the reservoir capacitors
    rail_unloaded_v: float  # at the highest battery
    rail_max_v: float  # what the amplifier stands
    drain_peak_v: float  # twice the highest battery and the clamped spike
    drain_ring_v: float  # the same if nothing clamped the spike
    drain_limit_v: float
    reverse_peak_v: float
    reverse_limit_v: float
    snubber_ohm: float
    snubber_f: float
    snubber_w: float  # both snubbers, highest battery
    gate_ohm: float
    turn_off_s: float
    gate_w: float
    control_w: float
    shunt_s: float
    inrush_a: float  # into the rails during soft start, from the battery
    bleeder_ohm: float
    bleeder_s: float  # time for a rail to fall below 5 V after switch-off
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]


def plan_converter(spec: ConverterSpec, demand: ConverterDemand, library: Library) -> ConverterPlan:
    """Fix timing, switches, rectifier and the window of turns ratios.

    Parameters
    ----------
    spec : the builder's wishes.
    demand : rails, currents and battery.
    library : parts with the drawer merged.

    Returns
    -------
    ConverterPlan. Its least ratio counts everything but the transformer's own resistance and leakage: no
    transformer can do with less.

    Raises
    ------
    NoSolutionError : no part serves, or no ratio gives both the rail needed and the rail allowed.

    Source
    ------
    Stress and current relations: Pressman, Switching Power Supply Design, ch. 2. [pressman1998]
    """
    controller = _choose_controller(spec, demand, library)
    timing = design_timing(
        controller,
        spec.switching_hz,
        spec.dead_time_s,
        spec.soft_start_s,
        resistor_series=spec.timing_resistor_series,
    )
    rail_v = spec.rail_v if spec.rail_v is not None else demand.rail_needed_v
    drain_v = off_state_voltage(demand.emf_max_v, spec.spike_allowance)

    # Currents for choosing parts: the ratio is not known yet, the power is.
    pulse = timing.share
    crest_w = rail_v * demand.rail_crest_a
    primary_crest_a = crest_w / (0.88 * demand.emf_nominal_v)
    music_rms = sqrt(demand.music_mean_square)
    primary_rms_a = primary_crest_a * music_rms / sqrt(2.0 * pulse) * 1.08
    secondary_rms_a = demand.rail_crest_a * music_rms / sqrt(2.0 * pulse) * 1.08
    drive_v = demand.emf_nominal_v - _GATE_HIGH_LOSS_V
    drive_v = min(drive_v, 12.0)
    direct_a = min(controller.output_source_a, controller.output_sink_a)
    buffered = direct_a < 0.35
    gate_a = _BUFFER_A if buffered else direct_a
    switch = choose_switch(
        library,
        spec.mosfet,
        spec.mosfets_per_side,
        drain_v,
        primary_rms_a,
        timing.switching_hz,
        drive_v,
        2.0 * demand.emf_nominal_v,
        primary_crest_a / pulse,
        gate_a,
        _CHOICE_JUNCTION_C,
        loss_limit_w=max(4.0, 0.01 * crest_w),
    )
    rail_open_v = rail_v * 1.15 * demand.emf_max_v / demand.emf_nominal_v
    reverse_v = 2.0 * min(rail_open_v, demand.rail_max_v) * (1.0 + spec.ringing_allowance)
    rectifier = choose_rectifier(
        library, spec.rectifier, reverse_v, 0.5 * demand.rail_mean_a, demand.rail_crest_a / pulse
    )

    diode = rectifier.rectifier
    switch_ohm = hot_resistance(switch.mosfet, demand.switch_c) / switch.per_side
    try:
        ratio_least = turns_ratio_needed(
            rail_v,
            demand.emf_nominal_v,
            demand.rail_crest_a,
            (switch_ohm + spec.link_ohm) / pulse + demand.source_ohm,
            diode.rd_ohm / pulse,
            diode.vf0_v,
        )
    except RangeError as error:
        raise NoSolutionError(
            message="The battery and its cable can't carry this power through any converter.",
            quantity=error.quantity,
            value=error.value,
            limit=error.limit,
            source=error.source,
            remedy=error.remedy,
        ) from None
    ratio_most = (demand.rail_max_v + diode.vf0_v) / demand.emf_max_v
    if ratio_most < ratio_least:
        raise NoSolutionError(
            message="The rail for full power would exceed what the amplifier stands at the highest battery.",
            quantity="unloaded rail at the highest battery",
            value=show(ratio_least * demand.emf_max_v - diode.vf0_v, "voltage"),
            limit=show(demand.rail_max_v, "voltage"),
            source="amplifier's rail limit",
            remedy="Lower goal.power, choose amplifier switches of a higher voltage, or set supply.max lower "
            "with the over-voltage trip to match.",
        )
    reasons = (
        f"{controller.id}: {timing.share:.1%} of the period conducts at "
        f"{show(timing.switching_hz, 'frequency')} with {show(timing.dead_time_s, 'time')} dead time.",
        f"{switch.per_side} × {switch.mosfet.id} a side: stands {show(switch.mosfet.vds_v, 'voltage')} where "
        f"{show(drain_v, 'voltage')} is needed, about {switch.loss_w:.1f} W for all of them at full sine.",
        f"{diode.id}: stands {show(diode.vrrm_v, 'voltage')} where {show(reverse_v, 'voltage')} is needed.",
    )
    return ConverterPlan(
        controller=controller,
        timing=timing,
        switch=switch,
        rectifier=rectifier,
        rail_v=rail_v,
        drain_limit_needed_v=drain_v,
        reverse_needed_v=reverse_v,
        ratio_least=ratio_least,
        ratio_most=ratio_most,
        primary_rms_a=primary_rms_a,
        secondary_rms_a=secondary_rms_a,
        primary_peak_a=primary_crest_a / pulse,
        gate_a=gate_a,
        buffered=buffered,
        drive_v=drive_v,
        reasons=reasons,
    )


def _choose_controller(spec: ConverterSpec, demand: ConverterDemand, library: Library) -> Controller:
    if spec.controller != "auto":
        return library.controller(spec.controller)
    fit = [
        c
        for c in library.controllers.values()
        if c.mode == "voltage" and c.supply_max_v >= demand.emf_max_v and c.f_max_hz >= 2 * spec.switching_hz
    ]
    if not fit:
        raise NoSolutionError(
            message="No voltage-mode controller stands this battery.",
            quantity="controller supply",
            value=show(demand.emf_max_v, "voltage"),
            limit="the highest controller rating in the library",
            source="parts library and drawer",
            remedy="Feed the controller through a regulator, or add a controller to the drawer.",
        )
    return min(
        fit, key=lambda c: (library.in_drawer(c.id) == 0, c.soft_start_a is None, -c.output_sink_a, c.id)
    )


def complete_converter(
    spec: ConverterSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    magnetics: Magnetics,
    library: Library,
) -> ConverterResult:
    """Finish the converter around the wound transformer.

    Parameters
    ----------
    spec, demand, plan : as designed so far.
    magnetics : the transformer's real values.
    library : parts with the drawer merged.

    Returns
    -------
    ConverterResult.

    Raises
    ------
    NoSolutionError : no capacitor bank serves.

    Source
    ------
    Ripple: RMS of a pulse train [derived]. Snubber: Severns, Design of Snubbers for Power Circuits
    [severns-snubbers]. Gate and overlap: ST STD50N03L data sheet, appendix A [st-std50n03l].
    """
    timing, mosfet, diode = plan.timing, plan.switch.mosfet, plan.rectifier.rectifier
    f, count = timing.switching_hz, plan.switch.per_side
    ratio = magnetics.secondary_turns / magnetics.primary_turns
    switch_ohm = hot_resistance(mosfet, demand.switch_c) / count
    loop = switch_ohm + magnetics.primary_ohm + spec.link_ohm
    loop += (magnetics.secondary_ohm + diode.rd_ohm) / ratio**2
    shape = pulse_shape(timing.share / (2 * f), magnetics.leakage_h, loop)
    averaging = timing.share * shape.average
    ripple_factor = sqrt(shape.mean_square / (timing.share * shape.average**2) - 1.0)

    # Input and reservoir capacitors.
    music_rms = sqrt(demand.music_mean_square)
    primary_crest_a = ratio * demand.rail_crest_a
    input_ripple_a = primary_crest_a * music_rms * ripple_factor
    input_f = input_ripple_a / (2 * pi * 2 * f * 0.02 * demand.emf_nominal_v)  # 2 % ripple without ESR
    input_bank = choose_bank(
        library,
        spec.input_capacitor,
        "input capacitors",
        input_f,
        1.25 * demand.emf_max_v,
        input_ripple_a,
    )
    rail_open_v = ratio * demand.emf_max_v - diode.vf0_v
    reservoir_ripple_a = demand.rail_crest_a * music_rms * ripple_factor / sqrt(2.0)
    by_ripple_f = demand.rail_crest_a * (1 - timing.share) / (2 * f * demand.rail_ripple_v)
    reservoir_needed_f = max(by_ripple_f, demand.pumping_f)
    if spec.reservoir_f is not None:
        reservoir_needed_f = spec.reservoir_f
    reservoir_bank = choose_bank(
        library,
        spec.reservoir_capacitor,
        "rail capacitors",
        reservoir_needed_f,
        1.1 * rail_open_v,
        reservoir_ripple_a,
    )
    reservoir_ripple_v = demand.rail_crest_a * (
        (1 - timing.share) / (2 * f * reservoir_bank.capacitance_f) + reservoir_bank.esr_ohm / averaging
    )

    # Snubber across each switch, tied to the ringing of leakage and output capacitance.
    ring_f = count * mosfet.coss_f
    snubber_ohm = nearest(max(sqrt(magnetics.leakage_h / ring_f), 1.0), "E12")
    snubber_f = at_least(3.0 * ring_f, "E6")
    shunt_s = 2 * snubber_f * 4.0 * f + count * 2 * 0.5 * mosfet.coss_f * 4.0 * f
    snubber_w = 2 * snubber_f * (2 * demand.emf_max_v) ** 2 * f

    # Gate parts.
    gate_ohm = nearest(max(plan.drive_v / plan.gate_a * count, 2.2), "E12")
    gate_each_a = plan.drive_v / (gate_ohm + (mosfet.rg_ohm or 0.0))
    turn_off_s = (mosfet.qgd_coul + 0.5 * mosfet.qgs_coul) / gate_each_a
    gate_w = 2 * count * mosfet.qg_coul * plan.drive_v * f
    control_w = plan.controller.quiescent_a * demand.emf_nominal_v

    # The spike: leakage current at turn-off rings with output and snubber capacitance.
    end_a = primary_crest_a * shape.end / averaging
    spike_v = end_a * sqrt(magnetics.leakage_h / (ring_f + snubber_f))
    clamp_v = mosfet.vds_v
    drain_ring_v = 2 * demand.emf_max_v + spike_v
    drain_peak_v = min(drain_ring_v, clamp_v)

    inrush_a = 2 * reservoir_bank.capacitance_f * (ratio * demand.emf_nominal_v) * ratio / timing.soft_start_s
    # Bleeders bring the rails to a safe level in a minute at the latest.
    bleeder_ohm = _bleeder_ohm(reservoir_bank.capacitance_f, rail_open_v)
    bleeder_s = bleeder_ohm * reservoir_bank.capacitance_f * log(rail_open_v / _SAFE_V)

    parts = converter_parts(
        spec,
        demand,
        plan,
        library,
        input_bank,
        reservoir_bank,
        input_ripple_a=input_ripple_a,
        reservoir_ripple_a=reservoir_ripple_a,
        drain_peak_v=drain_peak_v,
        rail_open_v=rail_open_v,
        snubber_ohm=snubber_ohm,
        snubber_f=snubber_f,
        snubber_w=snubber_w,
        gate_ohm=gate_ohm,
        bleeder_ohm=bleeder_ohm,
    )
    reasons = (
        *plan.reasons,
        f"{input_bank.count} × {input_bank.capacitor.id} at the input carry "
        f"{show(input_ripple_a, 'current')} of ripple against {show(input_bank.ripple_limit_a, 'current')}.",
        f"{reservoir_bank.count} × {reservoir_bank.capacitor.id} on each rail: "
        f"{show(reservoir_bank.capacitance_f, 'capacitance')} for the "
        f"{show(reservoir_needed_f, 'capacitance')} needed.",
        f"Snubber {show(snubber_ohm, 'resistance')} and {show(snubber_f, 'capacitance')} across each switch, "
        "three times the output capacitance at the resistance of the ringing loop; the spike beyond it is "
        "avalanche-clamped by the switch itself until measured.",
    )
    return ConverterResult(
        topology="push-pull",
        plan=plan,
        primary_turns=magnetics.primary_turns,
        secondary_turns=magnetics.secondary_turns,
        ratio=ratio,
        switch_ohm=switch_ohm,
        diode_v=diode.vf0_v,
        diode_ohm=diode.rd_ohm,
        link_ohm=spec.link_ohm,
        magnetics=magnetics,
        input_bank=input_bank,
        reservoir_bank=reservoir_bank,
        input_ripple_a=input_ripple_a,
        reservoir_ripple_a=reservoir_ripple_a,
        reservoir_ripple_v=reservoir_ripple_v,
        reservoir_needed_f=reservoir_needed_f,
        rail_limit_v=reservoir_bank.capacitor.voltage_v,
        rail_unloaded_v=rail_open_v,
        rail_max_v=demand.rail_max_v,
        drain_peak_v=drain_peak_v,
        drain_ring_v=drain_ring_v,
        drain_limit_v=mosfet.vds_v,
        reverse_peak_v=2 * rail_open_v * (1 + spec.ringing_allowance),
        reverse_limit_v=diode.vrrm_v,
        snubber_ohm=snubber_ohm,
        snubber_f=snubber_f,
        snubber_w=snubber_w,
        gate_ohm=gate_ohm,
        turn_off_s=turn_off_s,
        gate_w=gate_w,
        control_w=control_w,
        shunt_s=shunt_s,
        inrush_a=inrush_a,
        bleeder_ohm=bleeder_ohm,
        bleeder_s=bleeder_s,
        parts=parts,
        losses=(),
        contributors=_contributors(plan, magnetics),
        sources=("pressman1998", "severns-snubbers", "st-std50n03l", "ti-tl494"),
        reasons=reasons,
    )


def _bleeder_ohm(capacitance_f: float, rail_v: float) -> float:
    """Largest preferred resistor that brings one rail below 5 V within a minute and stays under 1 W."""
    by_time = 60.0 / (capacitance_f * max(log(rail_v / _SAFE_V), 0.1))
    by_power = rail_v**2 / 1.0
    wanted = max(by_power, 100.0)
    return nearest(min(by_time, wanted) if by_time > by_power else by_power, "E12")


def _contributors(plan: ConverterPlan, magnetics: Magnetics) -> tuple[Contributor, ...]:
    controller = plan.controller
    return (
        Contributor(result="switching frequency", part="timing resistor", tolerance=0.01, sensitivity=-1.0),
        Contributor(result="switching frequency", part="timing capacitor", tolerance=0.05, sensitivity=-1.0),
        Contributor(
            result="switching frequency",
            part="controller oscillator",
            tolerance=controller.osc_tolerance,
            sensitivity=1.0,
        ),
    )
