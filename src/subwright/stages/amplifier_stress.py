"""What the amplifier's parts have to stand, and what sits on its heatsink."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from subwright.base.preferred import at_least
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.amplifiers import class_b_reactive_stress, lift_capacitance_f
from subwright.physics.class_d import PUMPING_WORST_MODULATION, pumping_capacitance_f, rail_pumping_v
from subwright.physics.thermal import ThermalDevice
from subwright.stages.amplifier_kinds import AB_RESERVE, FILM_TOLERANCE, INDUCTOR_TOLERANCE, Built
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
    "VoltageStress",
    "case_limit_w",
    "current_limit_a",
    "device_peak_w",
    "filter_contributors",
    "heat_sources",
    "lift_bank",
    "pumping",
    "reactive_stress",
    "voltage_stress",
    "works",
]

Array = NDArray[np.float64]

_REACTIVE_DEG: Final = 45.0  # usual worst case of a loudspeaker; common practice
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
    threshold = max(0.0, rail_v - model.drop_v) * load / (load + model.series_ohm())
    needed = lift_capacitance_f(
        max(peak_v, threshold), threshold, load, note_hz, _LIFT_SAG * corners[Corner.NOMINAL]
    )
    return needed, choose_lift_bank(library, corners[Corner.MAX], needed)


def reactive_stress(built: Built, rail_v: float, load: float) -> tuple[float, float, float]:
    """Hardest instant of one class-AB device into 45 degrees at any drive: W, V and A; zeros for class D."""
    if not isinstance(built.model, ClassABModel) or built.output is None:
        return 0.0, 0.0, 0.0
    # A bridge's leg sees half the supply swing about its middle, and half the load.
    legs = built.model.legs
    lifted_v = rail_v * (1.0 + built.model.lift_ratio)
    side_v, leg_ohm = lifted_v / legs, load / legs
    reach = float(built.model.clip_peak_v(rail_v, load)) / legs
    found = [
        class_b_reactive_stress(side_v, share * reach, leg_ohm, _REACTIVE_DEG)
        for share in (0.5, 0.75, 0.9, 1.0)
    ]
    watts, volts, amps = max(found)
    return watts / built.output.parallel, volts, amps / built.output.parallel


def case_limit_w(built: Built) -> float:
    """Heat that one class-AB device carries away with its case at 100 °C, W; 0 for class D."""
    if built.output is None:
        return 0.0
    stage = built.output.stage
    return (stage.tj_max_c - _HOT_CASE_C) / stage.rth_jc_k_per_w


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
    return ("boylestad", "gray-meyer", *common)
