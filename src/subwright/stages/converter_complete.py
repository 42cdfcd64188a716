"""The second half of the converter's design: everything that needs the wound transformer."""

from __future__ import annotations

from dataclasses import replace
from math import log, pi, sqrt

from subwright.base.preferred import at_least, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.push_pull import pulse_shape, recovery_share
from subwright.stages.common import Contributor
from subwright.stages.converter_auxiliary import design_auxiliary
from subwright.stages.converter_bill import converter_parts
from subwright.stages.converter_clamp import design_clamp, design_rectifier_snubber
from subwright.stages.converter_controller import loop_capacitor_f
from subwright.stages.converter_family import feedback_v
from subwright.stages.converter_fit import compare_outputs
from subwright.stages.converter_inrush import inrush_a
from subwright.stages.converter_output import regulated_output
from subwright.stages.converter_parts import choose_bank, hot_resistance
from subwright.stages.converter_powder import choke_beside
from subwright.stages.converter_result import ConverterResult
from subwright.stages.converter_spec import ConverterDemand, ConverterPlan, ConverterSpec, Magnetics

__all__ = ["complete_converter", "list_converter", "size_converter"]

_SAFE_V = 5.0  # rails below this count as discharged
_SHORT_PULSES = 1.15  # between the crests the pulses are shorter, and their ripple larger for the same mean
_INPUT_RIPPLE = 0.02  # of the battery, without the capacitors' series resistance


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
    NoSolutionError : no capacitor bank, clamp or choke serves.

    Source
    ------
    Ripple: RMS of a pulse train [derived]. Snubber: Severns, Design of Snubbers for Power Circuits
    [severns-snubbers]. Gate and overlap: ST STD50N03L data sheet, appendix A [st-std50n03l].
    """
    return list_converter(spec, demand, size_converter(spec, demand, plan, magnetics, library), library)


def size_converter(
    spec: ConverterSpec,
    demand: ConverterDemand,
    plan: ConverterPlan,
    magnetics: Magnetics,
    library: Library,
) -> ConverterResult:
    """Every number of ``complete_converter`` but the soft start's, without list of parts and reasons."""
    timing, mosfet, diode = plan.timing, plan.switch.mosfet, plan.rectifier.rectifier
    f, count = timing.switching_hz, plan.switch.per_side
    bridge = plan.topology == "full-bridge"
    rest = 1.0 if bridge else 2.0
    ratio = magnetics.secondary_turns / magnetics.primary_turns
    switch_ohm = hot_resistance(mosfet, demand.switch_c) / count * (2.0 if bridge else 1.0)
    winding_ohm = magnetics.primary_ohm
    loop = switch_ohm + winding_ohm + spec.link_ohm
    each = demand.each_crest_a / demand.rail_crest_a
    loop += each * (magnetics.secondary_ohm + diode.rd_ohm) / ratio**2
    music_rms = sqrt(demand.music_mean_square)
    primary_crest_a = ratio * demand.rail_crest_a
    high = demand.emf_max_v / demand.emf_nominal_v

    choke = None
    rail_open_v = ratio * demand.emf_max_v - diode.vf0_v
    winding_v = rail_open_v
    shape = pulse_shape(timing.share / (2 * f), magnetics.leakage_h, loop)
    averaging = timing.share * shape.average
    ripple_factor = sqrt(shape.mean_square / (timing.share * shape.average**2) - 1.0)
    end_a = primary_crest_a * shape.end / averaging * high
    reservoir_ripple_a = demand.each_rms_share * demand.rail_crest_a * music_rms * ripple_factor
    by_ripple_f = demand.each_crest_a * (1 - timing.share) / (2 * f * demand.rail_ripple_v)
    if plan.regulated:
        choke = regulated_output(spec, demand, plan, magnetics, library)
        winding_v, rail_open_v = ratio * demand.emf_max_v, choke.set_v
        share = choke.share_nominal
        primary_crest_a = ratio * share * demand.rail_crest_a
        averaging = share
        ripple_factor = _SHORT_PULSES * sqrt(1.0 / share - 1.0)
        end_a = ratio * (demand.rail_crest_a + 0.5 * choke.ripple_a)
        reservoir_ripple_a = choke.ripple_a / sqrt(12.0)
        by_ripple_f = choke.ripple_a / (16 * f * demand.rail_ripple_v)

    # Input and reservoir capacitors.
    input_ripple_a = primary_crest_a * music_rms * ripple_factor
    input_bank = choose_bank(
        library,
        spec.input_capacitor,
        "input capacitors",
        input_ripple_a / (2 * pi * 2 * f * _INPUT_RIPPLE * demand.emf_nominal_v),
        1.25 * demand.emf_max_v,
        input_ripple_a,
    )
    needed_f = spec.reservoir_f if spec.reservoir_f is not None else max(by_ripple_f, demand.pumping_f)
    reservoir_bank = choose_bank(
        library,
        spec.reservoir_capacitor,
        "rail capacitors",
        needed_f,
        1.1 * rail_open_v,
        reservoir_ripple_a,
    )
    if choke is None:
        ripple_v = demand.each_crest_a * (
            (1 - timing.share) / (2 * f * reservoir_bank.capacitance_f) + reservoir_bank.esr_ohm / averaging
        )
        soft_ohm = ratio**2 * (demand.source_ohm + loop / averaging)
    else:
        ripple_v = choke.ripple_a * (1 / (16 * f * reservoir_bank.capacitance_f) + reservoir_bank.esr_ohm)
        soft_ohm = 0.0

    # Snubber across each switch, tied to the ringing of leakage and output capacitance.
    ring_f = count * mosfet.coss_f
    snubber_ohm = nearest(max(sqrt(magnetics.leakage_h / ring_f), 1.0), "E12")
    snubber_f = at_least(3.0 * ring_f, "E6")
    groups = 4 if bridge else 2
    shunt_s = groups * (snubber_f + 0.5 * count * mosfet.coss_f) * rest**2 * f
    spike_v = end_a * sqrt(magnetics.leakage_h / (ring_f + snubber_f))
    drain_ring_v = rest * demand.emf_max_v + (0.0 if bridge else spike_v)
    loop_f = 0.0
    if choke is not None:
        path = ratio**2 * (switch_ohm + winding_ohm + spec.link_ohm)
        loop_f = loop_capacitor_f(
            plan.controller,
            winding_v=winding_v,
            divided=feedback_v(plan.controller) / choke.set_v,
            choke_h=choke.choke.inductance_h,
            rails_f=2.0 * reservoir_bank.capacitance_f,
            path_ohm=path + 0.5 * (magnetics.secondary_ohm + diode.rd_ohm + choke.choke.resistance_ohm),
            source_ohm=ratio**2 * demand.source_ohm,
        )
    clamp = None
    drain_peak_v = min(drain_ring_v, mosfet.vds_v)
    if bridge:
        # The diodes of the other diagonal lead the leakage current back to the input capacitors.
        drain_peak_v = drain_ring_v = demand.emf_max_v + mosfet.vsd_v
    elif spec.clamp != "none":
        leakage_w = f * magnetics.leakage_h * end_a**2
        clamp = design_clamp(
            library,
            mosfet,
            leakage_w,
            end_a,
            f,
            demand.emf_max_v,
            demand.music_mean_square,
            driven=plan.regulated,
        )
        drain_peak_v = min(drain_ring_v, clamp.peak_v)

    rectifier_snubber = design_rectifier_snubber(diode, magnetics.leakage_h, ratio, winding_v, f)
    partner = plan.rectifier.partner or diode
    charge = 0.5 * (diode.qrr_coul / diode.if_a + partner.qrr_coul / partner.if_a)
    supply = plan.gate_supply
    auxiliary = design_auxiliary(spec, demand, magnetics, demand.rail_needed_v, rail_open_v, f, timing.share)
    bleeder_ohm = _bleeder_ohm(reservoir_bank.capacitance_f, rail_open_v)
    return ConverterResult(
        topology=plan.topology,
        plan=plan,
        primary_turns=magnetics.primary_turns,
        secondary_turns=magnetics.secondary_turns,
        ratio=ratio,
        switch_count=groups * count,
        switch_ohm=switch_ohm,
        winding_ohm=winding_ohm,
        diode_v=diode.vf0_v,
        diode_ohm=diode.rd_ohm,
        link_ohm=spec.link_ohm,
        magnetics=magnetics,
        input_bank=input_bank,
        reservoir_bank=reservoir_bank,
        input_ripple_a=input_ripple_a,
        reservoir_ripple_a=reservoir_ripple_a,
        reservoir_ripple_v=ripple_v,
        bass_ripple_v=soft_ohm * demand.rail_crest_a,
        reservoir_needed_f=needed_f,
        rail_limit_v=reservoir_bank.capacitor.voltage_v,
        rail_unloaded_v=rail_open_v,
        rail_max_v=demand.rail_max_v,
        drain_peak_v=drain_peak_v,
        drain_ring_v=drain_ring_v,
        drain_limit_v=mosfet.vds_v,
        reverse_peak_v=2 * winding_v * (1 + spec.ringing_allowance),
        reverse_limit_v=diode.vrrm_v,
        snubber_ohm=snubber_ohm,
        snubber_f=snubber_f,
        snubber_w=groups * snubber_f * (rest * demand.emf_max_v) ** 2 * f,
        clamp=clamp,
        rectifier_snubber=rectifier_snubber,
        recovery=recovery_share(charge, f, timing.share),
        drive=plan.drive,
        gate_supply=supply,
        gate_transformer=plan.drive.transformer,
        choke=choke,
        loop_f=loop_f,
        auxiliary=auxiliary,
        gate_ohm=plan.drive.gate_ohm,
        turn_off_s=plan.drive.turn_off_s,
        gate_w=plan.drive.gate_w,
        control_w=plan.controller.quiescent_a * demand.emf_nominal_v,
        shunt_s=shunt_s,
        inrush_a=0.0,
        bleeder_ohm=bleeder_ohm,
        bleeder_s=bleeder_ohm * reservoir_bank.capacitance_f * log(rail_open_v / _SAFE_V),
        outputs=(),
        parts=(),
        losses=(),
        contributors=_contributors(plan),
        sources=(
            *("pressman1998", "severns-snubbers", "snubbing-lab", "st-std50n03l", "ti-tl494"),
            *(() if choke is None else ("erickson2001", "mclyman-handbook")),
        ),
        reasons=(),
    )


def list_converter(
    spec: ConverterSpec, demand: ConverterDemand, result: ConverterResult, library: Library
) -> ConverterResult:
    """A sized converter with its parts and reasons.

    Parameters
    ----------
    spec, demand, library : as it was sized for. result : what ``size_converter`` made.
    """
    return replace(
        result,
        inrush_a=inrush_a(result, emf_v=demand.emf_nominal_v, source_ohm=demand.source_ohm),
        outputs=compare_outputs(spec, demand, result, library),
        parts=converter_parts(spec, demand, result, library),
        reasons=(*result.plan.reasons, *_reasons(result)),
    )


def _reasons(result: ConverterResult) -> tuple[str, ...]:
    bank, rails, clamp, choke = result.input_bank, result.reservoir_bank, result.clamp, result.choke
    lines = [
        f"{bank.count} × {bank.capacitor.id} at the input carry {show(result.input_ripple_a, 'current')} "
        f"of ripple against {show(bank.ripple_limit_a, 'current')}.",
        f"{rails.count} × {rails.capacitor.id} on each rail: {show(rails.capacitance_f, 'capacitance')} for "
        f"the {show(result.reservoir_needed_f, 'capacitance')} needed.",
        f"Snubber {show(result.snubber_ohm, 'resistance')} and {show(result.snubber_f, 'capacitance')} "
        "across each switch: three times the output capacitance, at the resistance of the ringing loop.",
    ]
    if clamp is not None:
        lines.append(
            f"Clamp: {clamp.diode.id} into {show(clamp.capacitor_f, 'capacitance')}, "
            f"{show(clamp.resistor_ohm, 'resistance')} back to the battery; it holds the drains at "
            f"{show(clamp.peak_v, 'voltage')}, else they ring to {show(result.drain_ring_v, 'voltage')}. "
            f"At full sine {show(clamp.heat_w, 'power')} become heat, {_returned(clamp.returned_w)}; zeners "
            f"would have to take {show(clamp.zener_w, 'power')}. All leakage energy is counted, as if the "
            "other half's diode returned none."
        )
    elif result.topology == "full-bridge":
        lines.append("No clamp: the diodes of the resting switches lead the leakage energy back.")
    else:
        lines.append("No clamp: what the snubbers don't take, the switches take in avalanche.")
    aux = result.auxiliary
    if aux.source == "winding":
        lines.append(
            f"Auxiliary winding: 2 × {aux.turns} turns of thin wire on top, {show(aux.low_v, 'voltage')} to "
            f"{show(aux.high_v, 'voltage')} before the regulators, {show(aux.heat_w, 'power')} in them; the "
            f"main rails would make it {show(aux.other_heat_w, 'power')}."
        )
    else:
        lines.append(
            f"The main rails feed the small-signal regulators, {show(aux.heat_w, 'power')} of heat at most; "
            f"a winding of its own would leave {show(aux.other_heat_w, 'power')}."
        )
    if choke is None:
        lines.append(
            "Peak-charged rails follow the battery and sag with the load: no choke, no loop, the least loss. "
            "Take a regulated output where the battery swings widely or the amplifier's rail limit is near."
        )
    else:
        lines.append(
            f"Regulated rails: ±{show(choke.set_v, 'voltage')} hold down to a battery of "
            f"{show(choke.holds_from_v, 'voltage')} at the crest; below, they follow it. "
            f"{show(result.loop_f, 'capacitance')} around the error amplifier make the loop slow and safe: "
            "it crosses below the choke's resonance with the rails; fast steps are the capacitors' to carry."
        )
        if choke.choke.beside:
            lines.append(choke_beside(choke.choke.core.id, choke.choke))
    return tuple(lines)


def _returned(watts: float) -> str:
    if watts > 0.0:
        return f"{show(watts, 'power')} go back"
    return "none goes back, for the choke shorts the secondary at turn-off and the battery pushes on"


def _bleeder_ohm(capacitance_f: float, rail_v: float) -> float:
    """Preferred resistor that takes about 1 W from the rail; low rails get 100 Ω where a minute allows it."""
    by_time = 60.0 / (capacitance_f * max(log(rail_v / _SAFE_V), 0.1))
    by_power = rail_v**2 / 1.0
    return nearest(max(by_power, min(by_time, 100.0)), "E12")


def _contributors(plan: ConverterPlan) -> tuple[Contributor, ...]:
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
