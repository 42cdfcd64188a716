"""The boost converter: one raised rail, not isolated, for an amplifier that needs no negative one.

``plan_boost`` chooses every part once; ``boost_values`` gives their electrical values at the temperatures of
a round; ``finish_boost`` makes the result from the settled chain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import ceil, log, pi, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Controller, Mosfet
from subwright.physics.electrical import copper_factor
from subwright.physics.gate_drive import turn_off_charge_coul
from subwright.stages.common import Corner
from subwright.stages.converter_boost_choke import ChokeNeed, choke_rise, design_boost_choke
from subwright.stages.converter_boost_control import (
    choose_controller,
    design_divider,
    design_guard,
    design_sense,
    design_timing,
)
from subwright.stages.converter_boost_crest import BoostCrest, BoostValues, boost_crest
from subwright.stages.converter_boost_records import BoostDemand, BoostDiode, BoostPlan, Divider, RailGuard
from subwright.stages.converter_boost_stop import SATURATED_V
from subwright.stages.converter_drive import (
    GateDrive,
    GateSupply,
    design_gate_supply,
    drivers,
    fit_gate,
    plateau_v,
)
from subwright.stages.converter_parts import SwitchChoice, choose_bank, choose_switch, hot_resistance
from subwright.stages.converter_spec import ConverterSpec

__all__ = [
    "BoostCrest",
    "BoostValues",
    "RailPlan",
    "boost_crest",
    "boost_values",
    "choke_temperature_c",
    "fed_from_rail",
    "plan_boost",
    "plan_rail",
    "rail_wanted_v",
    "start_v",
]

_RAIL_ROOM: Final = 1.03  # set over needed: reference low, programme ripple and divider
_EFFICIENCY: Final = 0.90  # for the first estimates
_CHOICE_C: Final = 100.0
_LEAST_GATE_V: Final = 8.0
_START_DROP_V: Final = 0.8  # across the follower's base resistor before the first pulse
_DIODE_START_V: Final = 0.4  # the rectifier at some milliamperes
_BASE_V: Final = 0.7
_SAG_START: Final = 0.97  # nothing plays yet
_LOOP_H: Final = 15e-9  # stray inductance of switch, diode and rail capacitor; common practice
_CRITICAL_RIPPLE: Final = 0.02  # of the rail, at twice the worst note, wanted
_RAIL_RIPPLE: Final = 0.01  # of the rail, at the switching frequency
_INPUT_RIPPLE: Final = 0.02
_MOST_PACKAGES: Final = 4
_DIODE_SHARE: Final = 1.0 / 1.5  # of the legs' mean rating that is used
_COUPLED_S: Final = 30.0  # the bleeder brings the rail down to the battery in about this
_DRIVE_GAIN_W: Final[Mapping[str, float]] = {"direct": 0.0, "turn-off": 1.0, "buffer": 1.5}
_SAFE_V: Final = 5.0
_LEAST_DUTY: Final = 0.05  # below that a boost converter does nothing that a wire wouldn't


def rail_wanted_v(spec: ConverterSpec, needed_v: float) -> float:
    """Rail to set the divider for, V: the builder's, or what the crest needs with room for tolerances."""
    return spec.rail_v if spec.rail_v is not None else _RAIL_ROOM * needed_v


@dataclass(frozen=True, kw_only=True, slots=True)
class RailPlan:
    """What must be known of the rail before the amplifier on it is designed."""

    controller: Controller
    divider: Divider
    guard: RailGuard


def plan_rail(spec: ConverterSpec, needed_v: float, battery_max_v: float, library: Library) -> RailPlan:
    """Controller, feedback divider and second stop of the rail.

    Parameters
    ----------
    spec : the builder's wishes. needed_v : rail at the crest of the target power, V.
    battery_max_v : V. library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no controller or no zeners serve.
    """
    supply_v = 15.0 if fed_from_rail(spec) else battery_max_v
    controller = choose_controller(library, spec.controller, supply_v, spec.switching_hz)
    divider = design_divider(controller, rail_wanted_v(spec, needed_v), spec.timing_resistor_series)
    return RailPlan(
        controller=controller,
        divider=divider,
        guard=design_guard(library, divider, controller.sense_v or 1.0),
    )


def fed_from_rail(spec: ConverterSpec) -> bool:
    """Whether zener and follower on the raised rail feed controller and gates, and not the battery itself.

    The rail is the battery less a diode until the first pulses and holds through every sag afterwards.
    """
    return spec.gate_supply != "battery"


def boost_values(spec: ConverterSpec, plan: BoostPlan, switch_c: float, choke_c: float) -> BoostValues:
    """Values at a junction and a choke temperature, °C; other parts as their records state them."""
    choke, mosfet, count = plan.choke, plan.switch.mosfet, plan.switch.per_side
    rectifier, legs = plan.diode.rectifier, plan.diode.legs
    ohm = choke.cold_ohm * copper_factor(choke_c)
    return BoostValues(
        inductance_h=choke.inductance_h,
        switching_hz=plan.timing.switching_hz,
        choke_ohm=ohm,
        choke_ripple_ohm=ohm * choke.ripple_factor,
        switch_ohm=hot_resistance(mosfet, switch_c) / count + plan.sense.burden_ohm / plan.sense.turns**2,
        link_ohm=spec.link_ohm,
        diode_v=rectifier.vf0_v,
        diode_ohm=rectifier.rd_ohm / legs,
        input_esr_ohm=plan.input_bank.esr_ohm,
        rail_esr_ohm=plan.rail_bank.esr_ohm,
        turn_on_s=plan.turn_on_s,
        turn_off_s=plan.drive.turn_off_s,
        recovery_s=rectifier.qrr_coul / rectifier.if_a,
        node_f=count * mosfet.coss_f
        + legs * (rectifier.cj_f or 10e-12 * rectifier.if_a)
        + 2.0 * plan.snubber_f,
        gate_w=plan.drive.gate_w,
    )


def plan_boost(spec: ConverterSpec, demand: BoostDemand, rail: RailPlan, library: Library) -> BoostPlan:
    """Choose every part of the boost converter.

    Parameters
    ----------
    spec : the builder's wishes. demand : currents and battery. rail : as planned before the amplifier.
    library : parts with the drawer merged.

    Returns
    -------
    BoostPlan.

    Raises
    ------
    NoSolutionError : no part serves, or battery and cable can't carry the crest.

    Source
    ------
    Power stage: Erickson & Maksimović ch. 2, 3, 5 [erickson2001]; steps of the design as in TI SLVA372
    [ti-slva372].
    """
    low, nominal, top = (demand.emf_v[c] for c in (Corner.LOW, Corner.NOMINAL, Corner.MAX))
    fed = fed_from_rail(spec)
    controller, divider, guard = rail.controller, rail.divider, rail.guard
    series = spec.timing_resistor_series
    rail_v, crest_a = divider.set_v, demand.rail_crest_a
    rough = _rough(spec, demand, rail_v)
    tired, usual = (_carried(rough, demand, emf, rail_v) for emf in (low, nominal))
    _refuse_nothing_to_lift(usual, nominal, rail_v)
    timing = design_timing(controller, spec.switching_hz, tired.duty, spec.soft_start_s, series)
    f = timing.switching_hz

    drain_v = max(divider.high_v * (1.0 + spec.spike_allowance), guard.most_v, demand.pulse_v)
    music = sqrt(demand.music_mean_square)
    diode = _choose_diode(spec, library, demand, guard.most_v, usual, f)
    supply_v = 12.3 if fed else nominal
    drive, switch = _choose_drive(spec, demand, library, controller, usual, fed, drain_v, f, rail_v)
    gate_supply: GateSupply | None = None
    if fed:
        gate_supply = _rail_fed(library, rail, demand, controller.quiescent_a + drive.supply_a)
    mosfet, count = switch.mosfet, switch.per_side
    turn_on_s = _turn_on_s(mosfet, drive, supply_v, count)

    ripple_a = spec.ripple * usual.choke_a
    wanted_h = usual.terminal_v * usual.duty / (f * ripple_a)
    tired_ripple = tired.terminal_v * tired.duty / (f * wanted_h)
    crest_peak = tired.choke_a + 0.5 * tired_ripple
    sense = design_sense(
        library,
        controller,
        timing,
        inductance_h=wanted_h,
        crest_a=crest_peak,
        duty=tired.duty,
        input_v=tired.terminal_v,
        rail_v=rail_v,
    )
    choke = design_boost_choke(
        library,
        spec.choke_core,
        ChokeNeed(
            inductance_h=wanted_h,
            crest_a=crest_peak,
            fault_a=sense.limit_most_a,
            rms_a=usual.choke_a * music,
            programme_rms_a=0.5 * usual.choke_a * music,
            ripple_a=ripple_a,
            input_v=usual.terminal_v,
            duty=usual.duty,
            switching_hz=f,
            ambient_c=demand.ambient_c,
        ),
    )
    input_bank = choose_bank(
        library,
        spec.input_capacitor,
        "input capacitors",
        max(ripple_a / (8.0 * f * _INPUT_RIPPLE * nominal), 470e-6),
        1.25 * top,
        ripple_a / sqrt(12.0),
    )
    rail_ripple_a = 1.05 * crest_a * music * sqrt(tired.duty / (1.0 - tired.duty))
    needed_f = spec.reservoir_f or _rail_needed_f(demand, choke.inductance_h, tired, rail_v, f)
    rail_bank = choose_bank(
        library,
        spec.reservoir_capacitor,
        "rail capacitors",
        needed_f,
        max(guard.most_v, demand.pulse_v),
        rail_ripple_a,
    )
    ring_f = count * mosfet.coss_f
    return BoostPlan(
        demand=demand,
        controller=controller,
        divider=divider,
        timing=timing,
        switch=switch,
        drive=drive,
        gate_supply=gate_supply,
        turn_on_s=turn_on_s,
        diode=diode,
        choke=choke,
        sense=sense,
        guard=guard,
        input_bank=input_bank,
        rail_bank=rail_bank,
        input_ripple_a=ripple_a / sqrt(12.0),
        rail_ripple_a=rail_ripple_a,
        snubber_ohm=nearest(max(sqrt(_LOOP_H / ring_f), 1.0), "E12"),
        snubber_f=at_least(2.0 * ring_f, "E6"),
        bleeder_ohm=_bleeder_ohm(rail_bank.capacitance_f + demand.amplifier_f, rail_v),
        drain_needed_v=drain_v,
        link_ohm=spec.link_ohm,
        reasons=(),
    )


def _refuse_nothing_to_lift(usual: BoostCrest, battery_v: float, rail_v: float) -> None:
    """A battery that reaches the rail by itself leaves the switch nothing to do.

    Raises
    ------
    NoSolutionError : so it is.
    """
    if usual.duty >= _LEAST_DUTY:
        return
    raise NoSolutionError(
        message="The battery reaches this rail by itself: there is nothing to raise.",
        quantity="raised rail",
        value=show(rail_v, "voltage"),
        limit=f"well above the battery's {show(battery_v, 'voltage')}",
        remedy='Set converter.topology = "none": the bridge works straight from the battery. Or ask for more '
        "power, a load of higher impedance or a higher converter.rail.",
    )


def _rail_fed(library: Library, rail: RailPlan, demand: BoostDemand, load_a: float) -> GateSupply:
    """Zener and follower on the rail, whose base resistor is small enough to start on a tired battery."""
    divider, highest = rail.divider, max(rail.guard.most_v, demand.pulse_v)
    made = design_gate_supply(library, divider.low_v, divider.set_v, highest, load_a, demand.ambient_c)
    starting = at_most(_START_DROP_V * made.transistor.hfe_min / load_a, "E12")
    series = min(made.series_ohm, starting)
    least, most = (made.zener.vz_v * (1.0 + s * made.zener.tolerance) for s in (-1.0, 1.0))
    return replace(
        made,
        series_ohm=series,
        series_w=(highest - least) ** 2 / series,
        zener_w=(highest - most) / series * most,
        dropout_low_v=start_v(demand.emf_v[Corner.LOW]),
    )


def start_v(battery_v: float) -> float:
    """Supply of the controller before the first pulse, by way of choke, diode and follower, V."""
    return _SAG_START * battery_v - _DIODE_START_V - SATURATED_V - _START_DROP_V - _BASE_V


def _rough(spec: ConverterSpec, demand: BoostDemand, rail_v: float) -> BoostValues:
    """Values before any part is chosen: what two to four decent parts come to."""
    return BoostValues(
        inductance_h=1e-3,
        switching_hz=spec.switching_hz,
        choke_ohm=3e-3,
        choke_ripple_ohm=3e-3,
        switch_ohm=4e-3,
        link_ohm=spec.link_ohm,
        diode_v=0.55,
        diode_ohm=4e-3,
        input_esr_ohm=0.0,
        rail_esr_ohm=8e-3,
        turn_on_s=0.0,
        turn_off_s=0.0,
        recovery_s=0.0,
        node_f=0.0,
        gate_w=0.0,
    )


def _carried(rough: BoostValues, demand: BoostDemand, emf_v: float, rail_v: float) -> BoostCrest:
    """The crest at a battery, or the refusal where it can't be carried."""
    extra = 0.03 * rail_v * demand.rail_crest_a
    crest = boost_crest(rough, emf_v, demand.source_ohm, rail_v, demand.rail_crest_a, extra)
    if crest.reaches:
        return crest
    if emf_v < demand.emf_v[Corner.NOMINAL]:
        # A tired battery may fall short: the rail then sags, and a finding says so. Plan for what it gives.
        for share in (0.9, 0.8, 0.7, 0.6, 0.5):
            less = boost_crest(
                rough, emf_v, demand.source_ohm, rail_v, share * demand.rail_crest_a, share * extra
            )
            if less.reaches:
                return less
    raise NoSolutionError(
        message="Battery, cable and converter can't carry the crest of this power to the raised rail.",
        quantity="power at the crest",
        value=show(rail_v * demand.rail_crest_a, "power"),
        limit=show(0.8 * emf_v**2 / (4.0 * (demand.source_ohm + 8e-3)), "power"),
        source="maximum power theorem",
        remedy="Lower goal.power, shorten or thicken the cable (supply.section), or use a higher battery "
        "voltage (supply.system).",
    )


def _choose_diode(
    spec: ConverterSpec,
    library: Library,
    demand: BoostDemand,
    highest_v: float,
    usual: BoostCrest,
    switching_hz: float,
) -> BoostDiode:
    """Cases in parallel: least loss, recovery into the switch counted, the drawer first."""
    reverse_v = highest_v * (1.0 + 0.5 * spec.ringing_allowance)
    music = sqrt(demand.music_mean_square)
    if spec.rectifier != "auto":
        pool = [library.rectifier(spec.rectifier)]
    else:
        pool = [r for r in library.rectifiers.values() if r.vrrm_v >= reverse_v and r.common != "anode"]
    ranked = []
    for part in pool:
        packages = ceil(demand.rail_mean_a / (_DIODE_SHARE * part.if_a * part.legs) - 1e-9)
        packages = max(packages, ceil(usual.peak_a / (3.0 * part.if_a * part.legs) - 1e-9))
        if packages > _MOST_PACKAGES and spec.rectifier == "auto":
            continue
        legs = packages * part.legs
        loss = part.vf0_v * demand.rail_mean_a + part.rd_ohm / legs * (usual.diode_rms_a * music) ** 2
        loss += (
            part.qrr_coul
            / part.if_a
            * demand.rail_mean_a
            / max(1.0 - usual.duty, 0.1)
            * switching_hz
            * highest_v
        )
        loss += 0.5 * legs * (part.cj_f or 0.0) * highest_v**2 * switching_hz
        ranked.append(
            (library.in_drawer(part.id) < packages, loss + 1.5 * packages, part.id, part, packages, loss)
        )
    if not ranked:
        raise NoSolutionError(
            message="No rectifier in the drawer or library stands this rail and current.",
            quantity="reverse voltage and mean current",
            value=f"{show(reverse_v, 'voltage')} at {show(demand.rail_mean_a, 'current')}",
            limit=f"up to {_MOST_PACKAGES} cases in parallel",
            source="parts library and drawer",
            remedy="Add a Schottky rectifier of that rating to the drawer, or lower goal.power.",
        )
    ranked.sort(key=lambda row: row[:3])
    _, _, _, part, packages, loss = ranked[0]
    # A switch of 5 mΩ, hot, in its place: its conduction, its gate and some 50 ns of body diode at each edge.
    alike = 7e-3 * (usual.diode_rms_a * music) ** 2 + 0.15 + 1.0 * demand.rail_mean_a * 1e-7 * switching_hz
    return BoostDiode(
        rectifier=part,
        packages=packages,
        candidates=tuple(dict.fromkeys(row[2] for row in ranked[1:5])),
        synchronous_saves_w=max(loss - alike, 0.0),
    )


def _choose_drive(
    spec: ConverterSpec,
    demand: BoostDemand,
    library: Library,
    controller: Controller,
    usual: BoostCrest,
    fed: bool,
    drain_v: float,
    switching_hz: float,
    rail_v: float,
) -> tuple[GateDrive, SwitchChoice]:
    """Switch and drive together: the driver's current decides both edges' loss."""
    low, nominal, top = (demand.emf_v[c] for c in (Corner.LOW, Corner.NOMINAL, Corner.MAX))
    supply_v = 12.3 if fed else nominal
    low_v = supply_v if fed else 0.93 * low
    music = sqrt(demand.music_mean_square)
    built: list[tuple[bool, float, GateDrive, SwitchChoice]] = []
    failure: NoSolutionError | None = None
    for driver in drivers(controller, supply_v if fed else top, library):
        if spec.gate_drive not in ("auto", driver.kind):
            continue
        try:
            switch = choose_switch(
                library,
                spec.mosfet,
                spec.mosfets_per_side,
                drain_v,
                usual.switch_rms_a * music,
                switching_hz,
                supply_v - driver.drop_v,
                rail_v,
                2.0 * usual.choke_a * 0.64,  # both edges, mean over a sine
                driver.peak_a,
                _CHOICE_C,
                25.0,
                1,
            )
            count = switch.per_side
            gate_ohm, turn_off, gate_v, gate_a = fit_gate(
                driver, switch.mosfet, count, count, supply_v, switching_hz
            )
        except NoSolutionError as error:
            failure = failure or error
            continue
        drive = GateDrive(
            driver=driver,
            gate_ohm=gate_ohm,
            turn_off_s=turn_off,
            gate_v=gate_v,
            gate_w=gate_a * supply_v,
            gate_a=gate_a,
            supply_a=gate_a,
            losses_w={driver.kind: switch.loss_w},
        )
        weak = low_v - driver.drop_v < _LEAST_GATE_V
        built.append((weak, switch.loss_w + _DRIVE_GAIN_W[driver.kind], drive, switch))
    if not built:
        if failure is not None:
            raise failure
        raise NoSolutionError(
            message="No gate drive of this kind can be built from the parts at hand.",
            quantity="converter.gate_drive",
            value=spec.gate_drive,
            limit="direct, or fast PNP and NPN transistors in the library",
            source="parts library and drawer",
            remedy='Set converter.gate_drive = "auto".',
        )
    _, _, drive, switch = min(built, key=lambda row: row[:2])
    return drive, switch


def _turn_on_s(mosfet: Mosfet, drive: GateDrive, supply_v: float, count: int) -> float:
    """Time that voltage and current overlap at turn-on, s."""
    across = supply_v - drive.driver.drop_v - plateau_v(mosfet)
    ohm = drive.gate_ohm + (mosfet.rg_ohm or 0.0)
    current = min(across / ohm, drive.driver.peak_a / count)
    return turn_off_charge_coul(mosfet.qgs_coul, mosfet.qgd_coul) / current


def _rail_needed_f(
    demand: BoostDemand, inductance_h: float, tired: BoostCrest, rail_v: float, switching_hz: float
) -> float:
    """Capacitance for switching ripple, and for the bass that a loop of this reach lets through."""
    by_switching = demand.rail_crest_a * tired.duty / (switching_hz * _RAIL_RIPPLE * rail_v)
    load = rail_v / demand.rail_crest_a
    zero_hz = load * (1.0 - tired.duty) ** 2 / (2.0 * pi * inductance_h)
    crossover = min(zero_hz / 5.0, switching_hz / 12.0)
    by_bass = 0.5 * demand.rail_crest_a / (2.0 * pi * crossover * _CRITICAL_RIPPLE * rail_v)
    return max(by_switching, by_bass - demand.amplifier_f)


def _bleeder_ohm(capacitance_f: float, rail_v: float) -> float:
    """Preferred resistor that brings the rail below 5 V in about half a minute, of 1 W or less."""
    by_time = _COUPLED_S / (capacitance_f * max(log(rail_v / _SAFE_V), 0.1))
    return nearest(max(by_time, rail_v**2 / 1.0), "E12")


def choke_temperature_c(plan: BoostPlan, loss_w: float, ambient_c: float) -> float:
    """Choke at a loss in still air, by the severest of the published rules, °C."""
    return ambient_c + float(choke_rise(plan.choke, loss_w).high_k)
