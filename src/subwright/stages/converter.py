"""The push-pull converter between battery and rails.

Designed in two steps, because the transformer sits in the middle: ``plan_converter`` fixes timing, switch
and rectifier and says which turns ratio and currents the transformer must serve; ``complete_converter``
takes the wound transformer's real values and finishes snubber, capacitors, gate parts and the averaged
electrical model on which the whole chain is solved.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log, pi, sqrt
from typing import Literal

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.fields import (
    Capacitance,
    Frequency,
    Ratio,
    Resistance,
    StageSpec,
    Time,
    Voltage,
    choice,
    quantity,
)
from subwright.base.preferred import at_least, nearest
from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import Controller
from subwright.physics.push_pull import (
    off_state_voltage,
    pulse_shape,
    turns_ratio_needed,
)
from subwright.stages.common import Contributor, Loss, PartUse, Rating
from subwright.stages.converter_parts import (
    CapacitorBank,
    RectifierChoice,
    SwitchChoice,
    choose_bank,
    choose_rectifier,
    choose_switch,
    hot_resistance,
)
from subwright.stages.converter_timing import Timing, design_timing

__all__ = [
    "ConverterDemand",
    "ConverterPlan",
    "ConverterResult",
    "ConverterSpec",
    "Magnetics",
    "complete_converter",
    "plan_converter",
]

_GATE_HIGH_LOSS_V = 1.5  # from supply to gate, emitter follower or controller output
_BUFFER_A = 1.0  # peak current of a complementary emitter-follower pair of small transistors
_SAFE_V = 5.0  # rails below this count as discharged


class ConverterSpec(StageSpec):
    """What the builder may say about the converter."""

    topology: Literal["auto", "push-pull", "none"] = choice(
        "auto", why="auto: push-pull when the amplifier needs rails, none when it runs from the battery."
    )
    switching_hz: Frequency = quantity(
        "50 kHz",
        low="20 kHz",
        high="150 kHz",
        why="Rate of one full push-pull cycle; the controller's ramp runs at twice that.",
    )
    dead_time_s: Time = quantity(
        "0.8 us", low="0.2 us", high="5 us", why="Time with both switches off at each change-over."
    )
    controller: str = choice("auto", why="Controller id from the library or drawer.")
    mosfet: str = choice("auto", why="Switch id from the library or drawer.")
    mosfets_per_side: int | None = choice(None, why="Switches in parallel on each half-primary, 1 to 4.")
    rectifier: str = choice("auto", why="Rail rectifier id from the library or drawer.")
    rail_v: Voltage | None = quantity(
        None,
        low="10 V",
        high="120 V",
        why="Rail wanted at the crest of full power; auto: what the amplifier needs.",
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
    source_ohm: float
    pumping_f: float  # least rail capacitance against rail pumping, 0 where the amplifier doesn't pump
    rail_ripple_v: float  # switching-frequency ripple accepted on a rail
    switch_c: float  # junction temperatures, from the heat stage or assumed
    diode_c: float
    lowest_note_hz: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Magnetics:
    """The wound transformer as the converter sees it: real values, hot."""

    primary_turns: int
    secondary_turns: int
    primary_ohm: float  # one half-primary
    secondary_ohm: float  # one half-secondary
    leakage_h: float  # referred to one half-primary
    magnetising_h: float
    core_w: float
    core_v: float
    core_exponent: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterPlan:
    """First half of the design: timing, switch, rectifier, and what the transformer must do."""

    controller: Controller
    timing: Timing
    switch: SwitchChoice
    rectifier: RectifierChoice
    drain_limit_needed_v: float
    reverse_needed_v: float
    ratio_least: float
    ratio_most: float
    primary_rms_a: float  # one half-primary, full sine
    secondary_rms_a: float
    primary_peak_a: float
    gate_a: float
    buffered: bool
    drive_v: float
    reasons: tuple[str, ...]


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


def plan_converter(
    spec: ConverterSpec, demand: ConverterDemand, library: Library, magnetics: Magnetics | None = None
) -> ConverterPlan:
    """Fix timing, switches, rectifier and the window of turns ratios.

    Parameters
    ----------
    spec : the builder's wishes.
    demand : rails, currents and battery.
    library : parts with the drawer merged.
    magnetics : the transformer of the previous round; None in the first round, when losses in the windings
        are taken as 2 % of the voltage on each side.

    Returns
    -------
    ConverterPlan.

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
        demand.switch_c,
        loss_limit_w=max(4.0, 0.01 * crest_w),
    )
    rail_open_v = rail_v * 1.15 * demand.emf_max_v / demand.emf_nominal_v
    reverse_v = 2.0 * min(rail_open_v, demand.rail_max_v) * (1.0 + spec.ringing_allowance)
    rectifier = choose_rectifier(
        library, spec.rectifier, reverse_v, 0.5 * demand.rail_mean_a, demand.rail_crest_a / pulse
    )

    diode = rectifier.rectifier
    switch_ohm = hot_resistance(switch.mosfet, demand.switch_c) / switch.per_side
    if magnetics is None:
        winding_primary = 0.01 * demand.emf_nominal_v / primary_crest_a
        winding_secondary = 0.01 * rail_v / demand.rail_crest_a
        average = pulse
        overlap = 0.01
    else:
        winding_primary = magnetics.primary_ohm
        winding_secondary = magnetics.secondary_ohm
        ratio = magnetics.secondary_turns / magnetics.primary_turns
        loop = switch_ohm + winding_primary + spec.link_ohm + (winding_secondary + diode.rd_ohm) / ratio**2
        shape = pulse_shape(pulse / (2 * timing.switching_hz), magnetics.leakage_h, loop)
        average = pulse * shape.average
        overlap = 0.01
    try:
        ratio_least = turns_ratio_needed(
            rail_v,
            demand.emf_nominal_v,
            demand.rail_crest_a,
            (switch_ohm + winding_primary + spec.link_ohm) / average + demand.source_ohm * (1.0 + overlap),
            (winding_secondary + diode.rd_ohm) / average,
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
    [severns_snubbers]. Gate and overlap: ST STD50N03L data sheet, appendix A [st_std50n03l].
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
    drain_peak_v = min(2 * demand.emf_max_v + spike_v, clamp_v)

    inrush_a = 2 * reservoir_bank.capacitance_f * (ratio * demand.emf_nominal_v) * ratio / timing.soft_start_s
    # Bleeders bring the rails to a safe level in a minute at the latest.
    bleeder_ohm = _bleeder_ohm(reservoir_bank.capacitance_f, rail_open_v)
    bleeder_s = bleeder_ohm * reservoir_bank.capacitance_f * log(rail_open_v / _SAFE_V)

    parts = _parts(
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
        sources=("pressman1998", "severns_snubbers", "st_std50n03l", "tl494"),
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


def _parts(
    spec: ConverterSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    library: Library,
    input_bank: CapacitorBank,
    reservoir_bank: CapacitorBank,
    *,
    input_ripple_a: float,
    reservoir_ripple_a: float,
    drain_peak_v: float,
    rail_open_v: float,
    snubber_ohm: float,
    snubber_f: float,
    snubber_w: float,
    gate_ohm: float,
    bleeder_ohm: float,
) -> tuple[PartUse, ...]:
    timing, mosfet, diode = plan.timing, plan.switch.mosfet, plan.rectifier.rectifier
    count = plan.switch.per_side
    highest = "highest battery"

    def at_hand(part_id: str) -> bool:
        return library.in_drawer(part_id) > 0

    def resistor(role: str, value: float, quantity: int, watts: float = 0.25) -> PartUse:
        return PartUse(
            role=role,
            letter="R",
            part_id=code(value, "resistance"),
            description=f"resistor {watts:g} W",
            quantity=quantity,
            value=show(value, "resistance"),
            tolerance=0.01 if watts <= 0.25 else 0.05,
            provenance="IEC 60063 preferred value",
        )

    def capacitor(role: str, value: float, quantity: int, kind: str, volts: float, tol: float) -> PartUse:
        return PartUse(
            role=role,
            letter="C",
            part_id=code(value, "capacitance"),
            description=f"{kind} {volts:g} V",
            quantity=quantity,
            value=show(value, "capacitance"),
            tolerance=tol,
            provenance="IEC 60063 preferred value",
        )

    uses = [
        PartUse(
            role="push-pull controller",
            letter="U",
            part_id=plan.controller.id,
            description=plan.controller.description,
            quantity=1,
            ratings=(
                Rating(
                    quantity="supply voltage",
                    unit="V",
                    applied=demand.emf_max_v,
                    limit=plan.controller.supply_max_v,
                    source=plan.controller.provenance.document,
                    at=highest,
                ),
            ),
            in_drawer=at_hand(plan.controller.id),
            provenance=plan.controller.provenance.kind,
        ),
        PartUse(
            role="push-pull switch",
            letter="Q",
            part_id=mosfet.id,
            description=mosfet.description,
            quantity=2 * count,
            ratings=(
                Rating(
                    quantity="drain-source voltage",
                    unit="V",
                    applied=drain_peak_v,
                    limit=mosfet.vds_v,
                    source=mosfet.provenance.document,
                    at=highest,
                ),
                Rating(
                    quantity="drain current, rms",
                    unit="A",
                    applied=plan.primary_rms_a / count,
                    limit=mosfet.id_a,
                    source=mosfet.provenance.document,
                    at="nominal, full sine",
                ),
            ),
            in_drawer=at_hand(mosfet.id),
            substitutes=plan.switch.candidates,
            provenance=mosfet.provenance.kind,
        ),
    ]
    reverse = Rating(
        quantity="reverse voltage with ringing",
        unit="V",
        applied=2 * rail_open_v * (1 + spec.ringing_allowance),
        limit=diode.vrrm_v,
        source=diode.provenance.document,
        at=highest,
    )
    forward = Rating(
        quantity="mean forward current of a leg",
        unit="A",
        applied=0.5 * demand.rail_mean_a,
        limit=diode.if_a,
        source=diode.provenance.document,
        at="nominal, full sine",
    )
    partner = plan.rectifier.partner
    uses.append(
        PartUse(
            role="rail rectifier",
            letter="D",
            part_id=diode.id,
            description=diode.description,
            quantity=1 if partner is not None else plan.rectifier.packages,
            ratings=(reverse, forward),
            in_drawer=at_hand(diode.id),
            substitutes=plan.rectifier.candidates,
            provenance=diode.provenance.kind,
        )
    )
    if partner is not None:
        uses.append(
            PartUse(
                role="rail rectifier, negative side",
                letter="D",
                part_id=partner.id,
                description=partner.description,
                quantity=1,
                ratings=(
                    Rating(
                        quantity=reverse.quantity,
                        unit="V",
                        applied=reverse.applied,
                        limit=partner.vrrm_v,
                        source=partner.provenance.document,
                        at=highest,
                    ),
                ),
                in_drawer=at_hand(partner.id),
                provenance=partner.provenance.kind,
            )
        )
    for role, bank, volts, ripple, number in (
        ("input capacitor", input_bank, demand.emf_max_v, input_ripple_a, input_bank.count),
        ("rail capacitor", reservoir_bank, rail_open_v, reservoir_ripple_a, 2 * reservoir_bank.count),
    ):
        can = bank.capacitor
        uses.append(
            PartUse(
                role=role,
                letter="C",
                part_id=can.id,
                description=can.description,
                quantity=number,
                value=show(can.capacitance_f, "capacitance"),
                tolerance=can.tolerance,
                ratings=(
                    Rating(
                        quantity="voltage",
                        unit="V",
                        applied=volts,
                        limit=can.voltage_v,
                        source=can.provenance.document,
                        at=highest,
                    ),
                    Rating(
                        quantity="ripple current, rms",
                        unit="A",
                        applied=ripple / bank.count,
                        limit=can.ripple_a or float("inf"),
                        source=can.provenance.document,
                        at="nominal, full sine",
                    ),
                ),
                in_drawer=library.in_drawer(can.id) >= number,
                substitutes=bank.candidates,
                provenance=can.provenance.kind,
            )
        )
    snubber_each_w = snubber_w / 2
    uses += [
        resistor("timing resistor", timing.rt_ohm, 1),
        capacitor("timing capacitor", timing.ct_f, 1, "film or C0G capacitor", 50, 0.05),
        capacitor("soft-start capacitor", timing.soft_start_f, 1, "electrolytic", 16, 0.2),
        resistor("gate resistor", gate_ohm, 2 * count),
        resistor("gate pull-down", 10e3, 2 * count),
        resistor("snubber resistor", snubber_ohm, 2, max(1.0, ceil(2 * snubber_each_w))),
        capacitor(
            "snubber capacitor",
            snubber_f,
            2,
            "film or C0G capacitor",
            100 if demand.emf_max_v < 20 else 250,
            0.1,
        ),
        resistor("rail bleeder", bleeder_ohm, 2, max(1.0, ceil(2 * rail_open_v**2 / bleeder_ohm))),
    ]
    if timing.rd_ohm > 0:
        uses.append(resistor("discharge resistor", timing.rd_ohm, 1))
    if timing.divider_top_ohm > 0:
        uses.append(resistor("dead-time divider, top", timing.divider_top_ohm, 1))
        uses.append(resistor("dead-time divider, bottom", timing.divider_bottom_ohm, 1))
    if plan.buffered:
        for polarity in ("npn", "pnp"):
            transistor = next(
                (
                    t
                    for t in sorted(library.transistors.values(), key=lambda t: (not at_hand(t.id), t.id))
                    if t.polarity == polarity and t.ic_a >= 1.0 and t.vceo_v >= demand.emf_max_v * 1.2
                ),
                None,
            )
            if transistor is None:
                raise NoSolutionError(
                    message=f"No {polarity.upper()} transistor for the gate buffers.",
                    quantity="collector current",
                    value="1 A",
                    limit="none in the library or drawer",
                    source="parts library and drawer",
                    remedy="Add one to the drawer, or choose a controller with stronger outputs.",
                )
            uses.append(
                PartUse(
                    role=f"gate buffer, {polarity.upper()}",
                    letter="Q",
                    part_id=transistor.id,
                    description=transistor.description,
                    quantity=2,
                    ratings=(
                        Rating(
                            quantity="collector-emitter voltage",
                            unit="V",
                            applied=demand.emf_max_v,
                            limit=transistor.vceo_v,
                            source=transistor.provenance.document,
                            at=highest,
                        ),
                    ),
                    in_drawer=at_hand(transistor.id),
                    provenance=transistor.provenance.kind,
                )
            )
    return tuple(uses)
