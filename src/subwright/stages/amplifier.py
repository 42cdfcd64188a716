"""The power amplifier: class D or AB on split rails, or a bridge straight from the battery.

The stage fixes the kind, the real parts and a loss model that holds at every instant; rails, sag and battery
current follow when the chain is solved with that model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.amplifiers import (
    programme_peak_ratio,
)
from subwright.physics.class_d import (
    dead_time_thd,
    ripple_current_pp_a,
)
from subwright.stages.amplifier_bill import amplifier_parts, amplifier_reasons
from subwright.stages.amplifier_choice import AmplifierChoice, choose_amplifier, stuck_current_a
from subwright.stages.amplifier_driving import Driving, design_driving
from subwright.stages.amplifier_kinds import (
    LOAD_LEAST,
)
from subwright.stages.amplifier_parts import (
    InputBank,
    OutputChoice,
    battery_bank,
    choose_input_bank,
    sine_phases,
)
from subwright.stages.amplifier_rails import rail_heat
from subwright.stages.amplifier_spec import (
    AmplifierKind,
    AmplifierResult,
    AmplifierSpec,
    BatteryCeiling,
    RaisedRail,
)
from subwright.stages.amplifier_stress import (
    current_limit_a,
    device_peak_w,
    filter_contributors,
    heat_sources,
    lift_bank,
    lift_reached,
    pumping,
    reactive_stress,
    voltage_stress,
    works,
)
from subwright.stages.amplifier_voltage_stage import design_voltage_stage
from subwright.stages.amplifier_voltage_stage_network import Wanted
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.common import Corner, Loss

__all__ = [
    "AmplifierKind",
    "AmplifierResult",
    "AmplifierSpec",
    "BatteryCeiling",
    "RaisedRail",
    "design_amplifier",
]

Array = NDArray[np.float64]

_MOST_ROUNDS: Final = 60
_SETTLED: Final = 1e-9


def design_amplifier(
    spec: AmplifierSpec,
    target_power_w: float | None,
    load_ohm: float,
    corners: Mapping[Corner, float],
    library: Library,
    *,
    source_resistance_ohm: float = 0.0,
    crest_factor_db: float = 9.0,
    lowest_note_hz: float = 30.0,
    speaker_cable_ohm: float = 0.0,
    raised: RaisedRail | None = None,
    rails_held: bool = False,
    supply_length_m: float = 5.0,
) -> AmplifierResult:
    """Choose the kind of amplifier and its parts, and give its loss model.

    Parameters
    ----------
    spec : the builder's wishes.
    target_power_w : sine power at the onset of clipping, nominal corner, W; None for what a battery bridge
        gives.
    load_ohm : nominal impedance of the driver group, ohm; ``spec.load_ohm`` overrides it.
    corners : open-circuit battery voltages, V, all five.
    library : parts with the drawer merged.
    source_resistance_ohm : battery, cable and contacts, ohm.
    crest_factor_db : of the programme, dB. lowest_note_hz : Hz.
    speaker_cable_ohm : out and return, ohm.
    raised : the rail of a boost converter that it runs from instead of the battery; None: there is none.
    rails_held : a regulated converter keeps the rails of a linear stage when the battery rises.
    supply_length_m : of the cable from the battery, one way, m.

    Returns
    -------
    AmplifierResult.

    Raises
    ------
    RangeError : no target power for an amplifier on rails, or a value out of range.
    NoSolutionError : no part serves.
    PartNotFoundError : the stated MOSFET is unknown.

    Source
    ------
    Loss split [st-std50n03l], [honda-cerezo2003]; class AB [boylestad], [gray-meyer]; filter
    [ti-slaa701]; supply limits [iso-16750-2]; lowest impedance [iec-60268-5].
    """
    choice = choose_amplifier(
        spec,
        target_power_w,
        load_ohm,
        corners,
        library,
        source_resistance_ohm=source_resistance_ohm,
        lowest_note_hz=lowest_note_hz,
        speaker_cable_ohm=speaker_cable_ohm,
        raised=raised,
        with_ceilings=True,
        rails_held=rails_held,
    )
    path = source_resistance_ohm, supply_length_m
    return _finish(spec, choice, target_power_w, library, crest_factor_db, lowest_note_hz, path)


def _driving(
    spec: AmplifierSpec,
    choice: AmplifierChoice,
    peak_v: float,
    rail_v: float,
    highest_v: float,
    note_hz: float,
    library: Library,
) -> tuple[Driving | None, VoltageStage | None]:
    """What drives and biases the output of class AB, and the voltage stage of a discrete one."""
    built, model = choice.built, choice.built.model
    if built.output is None or not isinstance(model, ClassABModel):
        return None, None
    currents = built.currents
    sides = 1.0 if model.split_rails else 0.5
    wanted = Wanted(
        gain=peak_v / sqrt(2.0) / spec.full_input_v,
        input_ohm=spec.input_resistance_ohm,
        full_input_v=spec.full_input_v,
        leg_peak_v=sides * highest_v if currents is None else currents.place.peak_v,
        note_hz=note_hz,
        legs=model.legs,
        unity_hz=spec.unity_loop_hz,
    )
    driving = design_driving(
        built.output.stage,
        currents,
        parallel=built.output.parallel,
        bias_a=model.bias_a,
        wanted=wanted,
        rail_v=rail_v,
    )
    if currents is None:
        return driving, None
    return driving, design_voltage_stage(wanted, currents, driving, library, choice.load_ohm)


def _average(
    model: ClassDModel | ClassABModel, peaks_v: Array, load: float, rail_v: float
) -> dict[str, Array]:
    """Each loss averaged over a sine of each peak, W, shape of ``peaks_v``."""
    v = peaks_v[:, None] * sine_phases()[None, :]
    return {name: np.mean(w, axis=1) for name, w in model.losses_w(v, v / load, rail_v).items()}


def _finish(
    spec: AmplifierSpec,
    choice: AmplifierChoice,
    target_w: float | None,
    library: Library,
    crest_factor_db: float,
    lowest_note_hz: float,
    path: tuple[float, float],
) -> AmplifierResult:
    """All its numbers; ``path`` : resistance to the battery's EMF, Ω, and length of the cable, m."""
    built, load, corners = choice.built, choice.load_ohm, choice.corners
    model, ceilings = built.model, choice.ceilings
    power_w, peak_v, rail_v, expected_v, charging_v = choice.voltages(target_w)
    ratio = programme_peak_ratio(crest_factor_db)
    curve = np.geomspace(0.01, 1.0, 16)
    # One pass of the model serves every level: idle, programme, full, then the efficiency curve.
    peaks = np.concatenate([[0.0, ratio * peak_v, peak_v], peak_v * np.sqrt(curve)])
    terms = _average(model, peaks, load, rail_v)
    totals = np.sum(list(terms.values()), axis=0)
    output = peaks**2 / (2.0 * load)
    least = LOAD_LEAST * load
    reactive = reactive_stress(built, charging_v, least)
    worst = _average(
        model, float(model.clip_peak_v(charging_v, least)) * np.linspace(0.1, 1.0, 10), least, charging_v
    )

    supply_v = float(model.bus_v(rail_v))
    crest_w = float(model.input_power_w(peak_v, peak_v / load, rail_v))
    sine = sine_phases()
    is_d = isinstance(model, ClassDModel)
    ripple_a = bus_ripple = 0.0
    if isinstance(model, ClassDModel):
        ripple_a = ripple_current_pp_a(float(model.bus_v(rail_v)), model.inductance_h, model.switching_hz)
        bus_ripple = model.bus_ripple_rms_a(peak_v / load * sine, peak_v * sine, rail_v)
    bank: InputBank | None = None
    peak_least_a = float(model.clip_peak_v(rail_v, least)) / least
    if built.from_battery and is_d:
        bank = choose_input_bank(library, corners[Corner.MAX], bus_ripple)
    elif choice.rails == "battery":
        bank, bus_ripple = battery_bank(
            library, corners[Corner.MAX], rail_v, peak_least_a, peak_v / load, *path
        )
    lift = lift_bank(built, peak_v, rail_v, least, lowest_note_hz, corners, library)
    pumped = pumping(spec, built.kind, rail_v, load, lowest_note_hz)
    voltage = voltage_stress(spec, built, expected_v)
    devices = heat_sources(built, terms, worst, library)
    stuck_a = stuck_current_a(built, expected_v, load)
    driving, voltage_stage = _driving(spec, choice, peak_v, rail_v, expected_v, lowest_note_hz, library)
    result = AmplifierResult(
        kind=built.kind,
        from_battery=built.from_battery,
        rails=choice.rails,
        recirculates=is_d,
        model=model,
        load_ohm=load,
        load_least_ohm=least,
        power_target_w=target_w,
        power_w=power_w,
        peak_v=peak_v,
        peak_a=peak_v / load,
        peak_least_a=peak_least_a,
        rail_needed_v=rail_v,
        rail_max_v=voltage.rail_max_v,
        rail_expected_v=expected_v,
        rail_average_a=float(output[2] + totals[2]) / supply_v,
        rail_crest_a=crest_w / rail_v,
        rail_ripple_a=bus_ripple,
        output_resistance_ohm=model.series_ohm(),
        headroom_drop_v=rail_v - peak_v,
        modulation_max=model.modulation_max if isinstance(model, ClassDModel) else 1.0,
        idle_w=float(totals[0]),
        quiescent_a=float(totals[0]) / supply_v,
        efficiency_power_w=tuple(output[3:].tolist()),
        efficiency=tuple((output[3:] / (output[3:] + totals[3:])).tolist()),
        switch_id=built.mosfet.id if built.mosfet else cast(OutputChoice, built.output).stage.id,
        switch_count=devices[0].count,
        switch_voltage_v=voltage.applied_v,
        switch_voltage_limit_v=voltage.limit_v,
        switch_voltage_margin_needed=voltage.margin,
        switch_peak_a=peak_least_a,
        switch_peak_limit_a=current_limit_a(built),
        device_peak_w=device_peak_w(built, charging_v, least),
        reactive_deg=0.0 if reactive is None else reactive.phase_deg,
        reactive_peak_v=0.0 if reactive is None else reactive.voltage_v,
        reactive_peak_a=0.0 if reactive is None else reactive.current_a,
        reactive_share=0.0 if reactive is None else reactive.share,
        lift_f=0.0 if lift is None else lift[1].count * lift[1].capacitor.capacitance_f,
        lift_needed_f=0.0 if lift is None else lift[0],
        lift_capacitor_id="" if lift is None else lift[1].capacitor.id,
        lift_count=0 if lift is None else lift[1].count,
        lift_reached=0.0 if lift is None else lift_reached(built, lift, peak_v, load, library, corners),
        driving=driving,
        voltage_stage=voltage_stage,
        rail_switching=built.rails,
        rail_heat=(
            rail_heat(model, peak_v, load, rail_v, crest_factor_db)
            if isinstance(model, ClassABModel) and model.switched
            else ()
        ),
        inductance_h=built.filter.inductance_h if built.filter else None,
        filter_f=built.filter.filter_f if built.filter else None,
        damping_ohm=built.filter.damping_ohm if built.filter else None,
        damping_f=built.filter.damping_f if built.filter else None,
        filter_corner_hz=built.filter.corner_hz if built.filter else None,
        filter_corner_target_hz=built.filter.target_hz if built.filter else None,
        filter_q=built.filter.quality if built.filter else None,
        switching_hz=model.switching_hz if isinstance(model, ClassDModel) else 0.0,
        switching_least_hz=model.least_switching_hz() if isinstance(model, ClassDModel) else 0.0,
        snubber_f=model.snubber_f if isinstance(model, ClassDModel) and built.snubber_ohm else None,
        snubber_ohm=built.snubber_ohm,
        snubber_w=(
            float(model.losses_w(0.0, 0.0, expected_v)["output snubber"]) / model.legs
            if isinstance(model, ClassDModel)
            else 0.0
        ),
        ripple_pp_a=ripple_a,
        inductor_peak_a=peak_least_a + 0.5 * ripple_a if is_d else 0.0,
        inductor_ohm=model.inductor_ohm if isinstance(model, ClassDModel) else 0.0,
        inductor=built.inductor,
        pumping_v=pumped[0],
        pumping_limit_v=pumped[1],
        rail_capacitance_needed_f=pumped[2],
        rail_capacitance_f=pumped[3],
        dead_time_thd=(
            dead_time_thd(float(model.dead_time_error_v(rail_v)), peak_v)
            if isinstance(model, ClassDModel)
            else None
        ),
        stuck_a=stuck_a,
        stuck_w=stuck_a**2 * load,
        ceilings=ceilings,
        devices=devices,
        input_capacitor_id=bank.capacitor.id if bank else "",
        input_capacitor_count=bank.count if bank else 0,
        input_capacitor_limit_a=bank.ripple_limit_a if bank else 0.0,
        parts=(),
        losses=tuple(
            Loss(
                where=f"amplifier {name}",
                idle_w=float(watts[0]),
                programme_w=float(watts[1]),
                full_w=float(watts[2]),
            )
            for name, watts in terms.items()
        ),
        contributors=filter_contributors(built),
        sources=works(built),
        reasons=(),
    )
    result = replace(
        result,
        parts=amplifier_parts(result, built.mosfet, built.output, built.filter, bank, library, built.others),
    )
    return replace(result, reasons=amplifier_reasons(spec, result))
