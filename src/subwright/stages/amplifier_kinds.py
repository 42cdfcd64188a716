"""The switching kinds of power stage, each built from real parts with its loss model."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import at_least, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.class_d import lc_corner_hz, lc_quality
from subwright.physics.snubbers import snubber_capacitance_f, snubber_resistance_ohm
from subwright.stages.amplifier_inductor import WoundInductor, wind_inductor
from subwright.stages.amplifier_modulator import drawn
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_supply import chips
from subwright.stages.amplifier_parts import (
    FilterChoice,
    OutputChoice,
    SwitchPool,
    best_switch,
    choose_filter,
    pool_of_switches,
    sine_phases,
    switch_charge_coul,
)
from subwright.stages.amplifier_rail_records import RailSwitching
from subwright.stages.amplifier_spec import AmplifierSpec, SettledKind
from subwright.stages.amplifier_voltage_stage_currents import StageCurrents
from subwright.stages.common import Corner

__all__ = [
    "AB_RESERVE",
    "FILM_TOLERANCE",
    "INDUCTOR_TOLERANCE",
    "LOAD_LEAST",
    "Built",
    "bridge_class_d",
    "half_bridge",
    "modulation_share",
    "rail_swell",
    "try_bridge_class_d",
]

Array = NDArray[np.float64]

LOAD_LEAST: Final = 0.8  # IEC 60268-5: lowest modulus over the rated impedance
_NO_LOAD_RISE: Final = 1.10  # unloaded over loaded rail of an unregulated converter, common practice
AB_RESERVE: Final = 0.10  # share of a class-AB device's voltage kept free, common practice
_COSS_TEST_V: Final = 25.0  # drain voltage at which data sheets state C_oss
_GATE_TEST_V: Final = 10.0  # gate voltage at which data sheets state Q_g
# ISO 16750-2 test B: what a centrally clamped alternator lets through, by the nominal voltage it goes with.
_LOAD_DUMP_V: Final = ((18.0, 35.0), (30.0, 58.0))
_FILTER_MAX_HZ: Final = 40e3
_DEAD_GUESS_S: Final = 60e-9
_FREE_SHARE: Final = 0.95  # a self-oscillating loop runs at a tenth of its frequency there
_LEAST_SHARE: Final = 0.7
_CLOCK_HIGH: Final = 1.1  # the clock at the high end of its tolerance
_ANY_NOTE_HZ: Final = 30.0  # sizes a capacitor that the losses don't know
INDUCTOR_TOLERANCE: Final = 0.10
FILM_TOLERANCE: Final = 0.10


@dataclass(frozen=True, kw_only=True, slots=True)
class Built:
    """One kind of amplifier with its parts chosen; ``currents`` of the voltage stage where it is discrete."""

    kind: SettledKind
    model: ClassDModel | ClassABModel
    mosfet: Mosfet | None = None
    output: OutputChoice | None = None
    filter: FilterChoice | None = None
    snubber_ohm: float | None = None
    inductor: WoundInductor | None = None
    rails: RailSwitching | None = None
    currents: StageCurrents | None = None
    others: tuple[str, ...] = ()

    @property
    def from_battery(self) -> bool:
        """Whether it runs straight from the battery."""
        return not self.model.split_rails


def _filter_target_hz(spec: AmplifierSpec) -> float:
    if spec.filter_corner_hz is None:
        return min(spec.switching_hz / 8.0, _FILTER_MAX_HZ)
    if spec.filter_corner_hz > spec.switching_hz / 3.0:
        raise RangeError(
            message="The output filter's corner is too close to the switching frequency to filter it.",
            quantity="filter corner",
            value=show(spec.filter_corner_hz, "frequency"),
            limit=f"at most {show(spec.switching_hz / 3.0, 'frequency')}, a third of amplifier.switching",
            remedy="Lower amplifier.filter_corner or raise amplifier.switching.",
        )
    return spec.filter_corner_hz


def modulation_share(spec: AmplifierSpec, library: Library) -> float:
    """Greatest share of the rail that a class-D modulator uses at clipping, dimensionless.

    Parameters
    ----------
    spec : the builder's wishes. library : parts with the drawer merged.

    Returns
    -------
    As stated; else what the comparator's shortest pulse leaves to a clock, at least 70 %, or 95 % where the
    loop itself oscillates.
    """
    if spec.modulation_max is not None:
        return spec.modulation_max
    if spec.modulator == "self-oscillating":
        return _FREE_SHARE
    share = 1.0 - 2.0 * chips(library)[0].response_s * _CLOCK_HIGH * spec.switching_hz
    return max(share, _LEAST_SHARE)


def _class_d_model(
    spec: AmplifierSpec,
    pool: SwitchPool,
    leg: FilterChoice,
    wound: WoundInductor | None,
    legs: int,
    split_rails: bool,
    load: float,
    cable_ohm: float,
    modulation_max: float,
) -> ClassDModel:
    """The model with every candidate switch as a column."""
    inductor_ohm = spec.inductor_resistance_ohm if spec.inductor_resistance_ohm is not None else 0.01 * load
    if wound is not None:
        inductor_ohm = wound.resistance_ohm
    gate = spec.gate_supply_v / _GATE_TEST_V
    # Dead time, gate supply and own current follow once the switch is chosen.
    dead_s = _DEAD_GUESS_S if spec.dead_time_s is None else spec.dead_time_s
    return ClassDModel(
        legs=legs,
        split_rails=split_rails,
        modulation_max=modulation_max,
        switch_ohm=pool.column(lambda m: m.rds_on_ohm * m.rds_hot_ratio),
        switch_time_s=pool.column(switch_charge_coul) / spec.gate_drive_a,
        recovery_coul=pool.column(lambda m: m.qrr_coul),
        coss_f=pool.column(lambda m: m.coss_f),
        coss_v=_COSS_TEST_V,
        diode_v=pool.column(lambda m: m.vsd_v),
        gate_coul=pool.column(lambda m: m.qg_coul) * gate,
        gate_v=spec.gate_supply_v,
        inductance_h=leg.inductance_h,
        inductor_ohm=inductor_ohm,
        inductor_core_w=spec.inductor_core_loss_w if wound is None else wound.core_w,
        filter_f=leg.filter_f,
        damping_ohm=leg.damping_ohm,
        switching_hz=spec.switching_hz,
        dead_time_s=dead_s,
        control_a=spec.control_current_a or 0.0,
        cable_ohm=cable_ohm,
        self_oscillating=spec.modulator == "self-oscillating",
    )


def _wound(
    spec: AmplifierSpec,
    library: Library,
    leg: FilterChoice,
    peak_v: float,
    load: float,
    bus_v: float,
    corners: Mapping[Corner, float],
    legs: int,
) -> tuple[FilterChoice, WoundInductor | None]:
    """The inductor of one leg on a real core, and the filter with the inductance that its gap gives."""
    if spec.inductor_core == "bought":
        return leg, None
    wound = wind_inductor(
        library,
        spec.inductor_core,
        leg.inductance_h,
        peak_a=peak_v / (LOAD_LEAST * load) * corners[Corner.MAX] / corners[Corner.NOMINAL],
        rms_a=peak_v / (sqrt(2.0) * load),
        bus_v=bus_v,
        switching_hz=spec.switching_hz,
        count=legs,
    )
    real = replace(
        leg,
        inductance_h=wound.inductance_h,
        corner_hz=lc_corner_hz(wound.inductance_h, leg.filter_f),
        quality=lc_quality(wound.inductance_h, leg.filter_f, load, legs == 2),
    )
    return real, wound


def _with_switch(model: ClassDModel, index: int) -> ClassDModel:
    """The model with one of its candidates, as plain numbers."""

    def pick(value: float | Array) -> float:
        return float(np.ravel(value)[index])

    return replace(
        model,
        switch_ohm=pick(model.switch_ohm),
        switch_time_s=pick(model.switch_time_s),
        recovery_coul=pick(model.recovery_coul),
        coss_f=pick(model.coss_f),
        diode_v=pick(model.diode_v),
        gate_coul=pick(model.gate_coul),
    )


def _driven(
    spec: AmplifierSpec,
    model: ClassDModel,
    mosfet: Mosfet,
    rails: tuple[float, float, float],
    feed: tuple[float, float, float],
    peak_v: float,
    load: float,
    library: Library,
) -> ClassDModel:
    """The model with what modulator and gate drivers draw, and the dead time that they keep.

    ``rails`` are the lowest, nominal and highest rail expected, ``feed`` those of the control supply, V.
    """
    need = ModulatorNeed(
        form=spec.modulator,
        legs=model.legs,
        split_rails=model.split_rails,
        rail_low_v=rails[0],
        rail_nominal_v=rails[1],
        rail_high_v=rails[2],
        feed_v=feed,
        peak_v=peak_v,
        load_share=load / (load + model.legs * model.inductor_ohm + model.cable_ohm),
        full_input_v=spec.full_input_v,
        lowest_note_hz=_ANY_NOTE_HZ,
        switching_hz=spec.switching_hz,
        dead_time_s=model.dead_time_s,
        modulation_max=model.modulation_max,
        gate_drive_a=spec.gate_drive_a,
        gate_supply_v=spec.gate_supply_v,
        tolerance=spec.feedback_tolerance,
        op_amp=spec.op_amp,
        mosfet=mosfet,
        node_s=model.dead_time_s,
    )
    draw = drawn(need, spec.dead_time_s, library)
    return replace(
        model,
        dead_time_s=draw.dead_time_s,
        gate_v=draw.gate_v,
        gate_rails=draw.gate_rails,
        gate_feed_v=draw.gate_feed_v,
        gate_coul=mosfet.qg_coul * draw.gate_v / _GATE_TEST_V,
        control_a=draw.control_a if spec.control_current_a is None else spec.control_current_a,
    )


def _snubbed(spec: AmplifierSpec, model: ClassDModel, rail_v: float) -> tuple[ClassDModel, float | None]:
    """The model with each leg's snubber, and the snubber's resistor in Ω, or None where there is none."""
    if spec.snubber == "none":
        return model, None
    # C_oss falls with the root of the voltage; both switches of a leg hang on its node
    node_f = 2.0 * float(model.coss_f) * sqrt(float(model.coss_v) / float(model.bus_v(rail_v)))
    capacitor = float(at_least(snubber_capacitance_f(node_f), "E6"))
    resistor = float(nearest(snubber_resistance_ohm(spec.loop_inductance_h, node_f), "E12"))
    return replace(model, snubber_f=capacitor), resistor


def _choose_switch(
    model: ClassDModel, pool: SwitchPool, peak_v: float, load: float, rail_v: float
) -> tuple[int, tuple[str, ...]]:
    if len(pool.mosfets) == 1:
        return 0, ()
    v = peak_v * sine_phases(16)[None, :]
    terms = model.losses_w(v, v / load, rail_v)
    loss = np.sum([np.mean(t, axis=1) for t in terms.values() if t.shape[0] == len(pool.mosfets)], axis=0)
    if not model.split_rails:
        # On a fixed supply resistance also costs clean power, P ~ 1/(R + Rs)²: twice its loss.
        loss = loss + 2.0 * np.mean(terms["switch conduction"], axis=1)
    return best_switch(pool, loss)


def half_bridge(
    spec: AmplifierSpec,
    target_w: float,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
    legs: int = 1,
) -> Built:
    """Class D on split rails: a half-bridge, or a full bridge between the rails.

    Parameters
    ----------
    spec : the builder's wishes.
    target_w : sine power at the onset of clipping, W.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm. legs : 1 or 2.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    peak_v = sqrt(2.0 * target_w * load)
    guess_v = 1.05 * peak_v * (load + cable_ohm) / load / modulation_share(spec, library) / legs
    expected_v = guess_v * rail_swell(corners)
    # a full bridge gives one rail what it takes from the other: it doesn't pump
    across_v = 2.0 * expected_v * (1.0 + (spec.pumping_limit if legs == 1 else 0.0))
    pool = pool_of_switches(
        library, spec.mosfet, across_v, spec.voltage_reserve, peak_v / (LOAD_LEAST * load), 2 * legs
    )
    leg = choose_filter(load, _filter_target_hz(spec), legs == 2, expected_v, spec.filter_capacitor_f)
    leg, wound = _wound(spec, library, leg, peak_v, load, 2.0 * guess_v, corners, legs)
    model = _class_d_model(
        spec, pool, leg, wound, legs, True, load, cable_ohm, modulation_share(spec, library)
    )
    index, others = _choose_switch(model, pool, peak_v, load, guess_v)
    rails = (guess_v * corners[Corner.LOW] / corners[Corner.NOMINAL], guess_v, expected_v)
    chosen = _driven(
        spec, _with_switch(model, index), pool.mosfets[index], rails, rails, peak_v, load, library
    )
    snubbed = _snubbed(spec, chosen, expected_v)
    return Built(
        kind="class_d_half_bridge" if legs == 1 else "class_d_full_bridge",
        model=snubbed[0],
        mosfet=pool.mosfets[index],
        filter=leg,
        snubber_ohm=snubbed[1],
        inductor=wound,
        others=others,
    )


def rail_swell(corners: Mapping[Corner, float]) -> float:
    """Highest rail to expect, unloaded at the highest battery, over the rail at full power, nominal."""
    return corners[Corner.MAX] / corners[Corner.NOMINAL] * _NO_LOAD_RISE


def bridge_class_d(
    spec: AmplifierSpec,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
    pulse_v: float | None = None,
    battery: Mapping[Corner, float] | None = None,
) -> Built:
    """Class D bridge on a single supply; it must outlast a clamped load dump.

    Parameters
    ----------
    spec : the builder's wishes.
    load : ohm. corners : open-circuit battery voltages, V.
    library : parts with the drawer merged.
    cable_ohm : speaker cable, out and return, ohm.
    pulse_v : highest supply for a moment, V; None: the dump that goes with the battery's voltage.
    battery : its voltages where ``corners`` are those of a raised rail, V; None: ``corners``.

    Returns
    -------
    The stage with its parts.

    Raises
    ------
    NoSolutionError : no part serves.
    """
    highest_v = corners[Corner.MAX]
    dump_v = pulse_v or next((v for top, v in _LOAD_DUMP_V if corners[Corner.NOMINAL] < top), highest_v)
    across_v = max(highest_v, dump_v * (1.0 - spec.voltage_reserve))
    pool = pool_of_switches(
        library, spec.mosfet, across_v, spec.voltage_reserve, highest_v / (LOAD_LEAST * load), 4
    )
    leg = choose_filter(load, _filter_target_hz(spec), True, highest_v, spec.filter_capacitor_f)
    nominal_v = corners[Corner.NOMINAL]
    feed = corners if battery is None else battery
    peak_v = modulation_share(spec, library) * nominal_v
    leg, wound = _wound(spec, library, leg, peak_v, load, nominal_v, corners, 2)
    model = _class_d_model(spec, pool, leg, wound, 2, False, load, cable_ohm, modulation_share(spec, library))
    index, others = _choose_switch(model, pool, peak_v, load, nominal_v)
    chosen = _driven(
        spec,
        _with_switch(model, index),
        pool.mosfets[index],
        (corners[Corner.LOW], nominal_v, highest_v),
        (feed[Corner.LOW], feed[Corner.NOMINAL], feed[Corner.MAX]),
        peak_v,
        load,
        library,
    )
    snubbed = _snubbed(spec, chosen, highest_v)
    return Built(
        kind="bridge_class_d",
        model=snubbed[0],
        mosfet=pool.mosfets[index],
        filter=leg,
        snubber_ohm=snubbed[1],
        inductor=wound,
        others=others,
    )


def try_bridge_class_d(
    spec: AmplifierSpec, load: float, corners: Mapping[Corner, float], library: Library, cable_ohm: float
) -> Built | None:
    """The class-D bridge, or None where no switch serves and the kind doesn't insist on it."""
    try:
        return bridge_class_d(spec, load, corners, library, cable_ohm)
    except NoSolutionError:
        if spec.kind == "bridge_class_d":
            raise
        return None
