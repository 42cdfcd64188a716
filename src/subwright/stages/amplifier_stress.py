"""What the amplifier's parts have to stand, and what sits on its heatsink."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from subwright.base.preferred import at_least
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.amplifiers import lift_capacitance_f
from subwright.physics.class_d import PUMPING_WORST_MODULATION, pumping_capacitance_f, rail_pumping_v
from subwright.physics.safe_area import SafeArea, hardest_point, reactive_modulus_ohm
from subwright.physics.thermal import ThermalDevice
from subwright.stages.amplifier_kinds import AB_RESERVE, FILM_TOLERANCE, INDUCTOR_TOLERANCE, Built
from subwright.stages.amplifier_linear import REACTIVE_DEG, SIZING_CASE_C
from subwright.stages.amplifier_parts import (
    RESERVE_ID,
    InputBank,
    OutputChoice,
    choose_lift_bank,
    sine_phases,
)
from subwright.stages.amplifier_spec import AmplifierSpec, SettledKind
from subwright.stages.common import Contributor, Corner

__all__ = [
    "ReactiveStress",
    "VoltageStress",
    "current_limit_a",
    "device_peak_w",
    "filter_contributors",
    "heat_sources",
    "lift_bank",
    "lift_reached",
    "pumping",
    "reactive_stress",
    "voltage_stress",
    "works",
]

Array = NDArray[np.float64]

_HOT_CASE_C: Final = 100.0
_LIFT_SAG: Final = 0.10  # of the battery, over one crest; part of what amplifier.lift takes off


@dataclass(frozen=True, kw_only=True, slots=True)
class VoltageStress:
    """Voltage of the output devices, what they stand, the share kept free, and the highest rail, V."""

    applied_v: float
    limit_v: float
    margin: float
    rail_max_v: float


def voltage_stress(spec: AmplifierSpec, built: Built, expected_v: float) -> VoltageStress:
    """Stress of the output devices, and the highest rail they stand."""
    sides = 2.0 if built.model.split_rails else 1.0
    if built.mosfet is not None:
        pumps = built.kind == "class_d_half_bridge"
        pumped = 1.0 + spec.pumping_limit if pumps else 1.0
        limit, margin = built.mosfet.vds_v, spec.voltage_reserve
    else:
        stage = cast(OutputChoice, built.output).stage
        pumped, limit = 1.0, stage.supply_max_v
        sides *= 1.0 + cast(ClassABModel, built.model).lift_ratio
        margin = 0.0 if stage.form == "bridge chip" else AB_RESERVE
    return VoltageStress(
        applied_v=sides * expected_v * pumped,
        limit_v=limit,
        margin=margin,
        rail_max_v=limit * (1.0 - margin) / (sides * pumped),
    )


def current_limit_a(built: Built) -> float:
    """Crest current that the output devices carry, A."""
    if built.mosfet is not None:
        return built.mosfet.id_a * RESERVE_ID
    output = cast(OutputChoice, built.output)
    return output.stage.peak_a * output.parallel


def pumping(
    spec: AmplifierSpec, kind: SettledKind, rail_v: float, load: float, note_hz: float
) -> tuple[float, float, float, float] | tuple[None, None, None, None]:
    """(rise, allowed rise, capacitance needed, preferred capacitance) of each rail; half-bridge only."""
    if kind != "class_d_half_bridge":
        return None, None, None, None
    limit_v = spec.pumping_limit * rail_v
    needed_f = pumping_capacitance_f(rail_v, note_hz, load, limit_v)
    chosen_f = float(at_least(needed_f, "E6"))
    return (
        rail_pumping_v(rail_v, PUMPING_WORST_MODULATION, note_hz, load, chosen_f),
        limit_v,
        needed_f,
        chosen_f,
    )


def heat_sources(
    built: Built, terms: Mapping[str, Array], worst: Mapping[str, Array], library: Library
) -> tuple[ThermalDevice, ...]:
    """What sits on the heatsink, heat of one case each."""
    names = list(built.model.switch_losses())
    if built.mosfet is not None:
        count = 2 * built.model.legs
        rth_jc, tj_max = built.mosfet.rth_jc_k_per_w, built.mosfet.tj_max_c
        interface = min(
            (i.rth_k_per_w for i in library.insulators.values() if i.package == built.mosfet.package),
            default=1.6,
        )
        name = "output switch"
    else:
        output = cast(OutputChoice, built.output)
        stage = output.stage
        legs = 1 if stage.form == "bridge chip" else built.model.legs
        count = stage.cases * output.parallel * legs
        rth_jc, tj_max, interface = stage.rth_jc_k_per_w, stage.tj_max_c, stage.interface_k_per_w
        name = "output transistor" if stage.form == "pair" else "amplifier chip"
        if stage.form != "pair":
            names.append("driver and input stages")
    heat = np.sum([terms[n] for n in names], axis=0) / count
    hottest = float(np.max(np.sum([worst[n] for n in names], axis=0))) / count
    return (
        ThermalDevice(
            name=name,
            count=count,
            idle_w=float(heat[0]),
            programme_w=float(heat[1]),
            full_w=float(heat[2]),
            worst_w=max(hottest, float(heat[2])),
            rth_jc_k_per_w=rth_jc,
            interface_k_per_w=interface,
            tj_max_c=tj_max,
        ),
        *_rail_sources(built, terms, worst, library),
    )


def _rail_sources(
    built: Built, terms: Mapping[str, Array], worst: Mapping[str, Array], library: Library
) -> Iterator[ThermalDevice]:
    """Diodes and switches of rails that change; what lifting loses is shared between both kinds."""
    rails = built.rails
    if rails is None:
        return
    lifted = rails.form == "lifted"
    diode, upper = library.rectifiers[rails.diode_id], library.mosfets[rails.upper_id]
    groups = (
        (
            "commutation diode",
            "commutation diodes",
            2,
            diode.rth_jc_k_per_w / diode.legs,
            diode.tj_max_c,
            diode,
        ),
        (
            "lifting switch" if lifted else "rail follower",
            "rail lifting" if lifted else "rail switches",
            4 if lifted else 2,
            upper.rth_jc_k_per_w,
            upper.tj_max_c,
            upper,
        ),
    )
    for name, loss, count, rth_jc, tj_max, part in groups:
        share = 0.5 if loss == "rail lifting" else 1.0
        heat, hot = share * terms[loss] / count, share * worst[loss] / count
        if lifted and part is diode:
            heat, hot = heat + 0.5 * terms["rail lifting"] / count, hot + 0.5 * worst["rail lifting"] / count
        yield ThermalDevice(
            name=name,
            count=count,
            idle_w=float(heat[0]),
            programme_w=float(heat[1]),
            full_w=float(heat[2]),
            worst_w=max(float(np.max(hot)), float(heat[2])),
            rth_jc_k_per_w=rth_jc,
            interface_k_per_w=min(
                (i.rth_k_per_w for i in library.insulators.values() if i.package == part.package), default=1.6
            ),
            tj_max_c=tj_max,
        )


def device_peak_w(built: Built, rail_v: float, load: float) -> float:
    """Highest instantaneous heat of one class-AB transistor into a resistor, W."""
    if not isinstance(built.model, ClassABModel) or built.output is None:
        return 0.0
    v = float(built.model.clip_peak_v(rail_v, load)) * sine_phases()
    heat = built.model.losses_w(v, v / load, rail_v)["output devices"]
    return float(np.max(heat)) / (built.output.parallel * built.model.legs)


def lift_bank(
    built: Built,
    peak_v: float,
    rail_v: float,
    load: float,
    note_hz: float,
    corners: Mapping[Corner, float],
    library: Library,
) -> tuple[float, InputBank] | None:
    """Capacitance that each leg's lifting bank needs, F, and the bank; class H only."""
    model = built.model
    if not isinstance(model, ClassABModel) or model.lift_ratio == 0.0:
        return None
    threshold = max(0.0, rail_v - model.head_v) * load / (load + model.series_ohm())
    needed = lift_capacitance_f(
        max(peak_v, threshold), threshold, load, note_hz, _LIFT_SAG * corners[Corner.NOMINAL]
    )
    return needed, choose_lift_bank(library, corners[Corner.MAX], needed)


def lift_reached(
    built: Built,
    lift: tuple[float, InputBank],
    peak_v: float,
    load: float,
    library: Library,
    corners: Mapping[Corner, float],
) -> float:
    """By how much the lifted rail stands above the battery at the end of a crest, over the battery."""
    needed, bank = lift
    rails = built.rails
    if rails is None:
        return 0.0
    nominal = corners[Corner.NOMINAL]
    least_f = bank.count * bank.capacitor.capacitance_f * (1.0 - bank.capacitor.tolerance)
    sag_v = _LIFT_SAG * nominal * needed / least_f
    upper = library.mosfets[rails.upper_id]
    switch_v = peak_v / load * upper.rds_on_ohm * upper.rds_hot_ratio
    return 1.0 - (rails.diode_v + switch_v + sag_v) / nominal


@dataclass(frozen=True, kw_only=True, slots=True)
class ReactiveStress:
    """Hardest instant of one class-AB device: phase in degrees, V, A, and the share of its limit used."""

    phase_deg: float
    voltage_v: float
    current_a: float
    share: float


def reactive_stress(built: Built, rail_v: float, load: float) -> ReactiveStress | None:
    """Hardest instant of one class-AB device into 0, 45 or 60 degrees at any drive; None for class D.

    Parameters
    ----------
    built : the stage. rail_v : one rail, or the battery, V. load : least resistance of the load, ohm.

    Returns
    -------
    ReactiveStress; a transistor's share is that of its safe operating area at ``SIZING_CASE_C``, a chip's
    that of the heat it may carry away with its case at 100 °C.
    """
    model = built.model
    if not isinstance(model, ClassABModel) or built.output is None:
        return None
    # A bridge's leg sees half the supply swing about its middle, and half the load.
    side_v, leg_ohm = rail_v * (1.0 + model.lift_ratio) / model.legs, load / model.legs
    loads = [(reactive_modulus_ohm(leg_ohm, phase), phase) for phase in REACTIVE_DEG]
    stage, count = built.output.stage, built.output.parallel
    limit = stage.safe_area or SafeArea(
        current_a=stage.peak_a,
        voltage_v=stage.supply_max_v,
        rth_jc_k_per_w=stage.rth_jc_k_per_w,
        tj_max_c=stage.tj_max_c,
    )
    case_c = _HOT_CASE_C if stage.safe_area is None else SIZING_CASE_C
    reach = float(model.clip_peak_v(rail_v, load)) / model.legs
    needed, volts, amps, line = hardest_point(limit, case_c, side_v, reach, loads)
    return ReactiveStress(
        phase_deg=line.phase_deg, voltage_v=volts, current_a=amps / count, share=needed / count
    )


def filter_contributors(built: Built) -> tuple[Contributor, ...]:
    """How inductor and capacitor move the output filter's corner."""
    if built.filter is None:
        return ()
    # f = 1/(2 pi sqrt(L C)): half a per cent for each per cent of either part.
    return tuple(
        Contributor(result="output filter corner", part=part, tolerance=tolerance, sensitivity=-0.5)
        for part, tolerance in (("output inductor", INDUCTOR_TOLERANCE), ("filter capacitor", FILM_TOLERANCE))
    )


def works(built: Built) -> tuple[str, ...]:
    """Bibliography keys that the stage rests on."""
    common: tuple[str, ...] = ("iec-60268-5", "iso-16750-2")
    if built.mosfet is not None:
        if built.inductor is not None:
            common = ("mclyman-handbook", *common)
        keys = ("st-std50n03l", "honda-cerezo2003", "ti-slaa701", "erickson2001", "mohan2003")
        return (*keys, *common)
    linear: tuple[str, ...] = ("boylestad", "gray-meyer", "self-apad")
    if built.output is not None and built.output.stage.id.startswith("TIP35"):
        linear += ("onsemi-tip35",)
    if built.output is not None and built.output.stage.id.startswith("MJL21194"):
        linear += ("onsemi-mjl21193", "onsemi-tip35")
    if built.rails is not None:
        linear += ("raab1986",)
    return (*linear, *common)
