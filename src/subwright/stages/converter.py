"""The converter between battery and rails: push-pull or full bridge, peak-charged or regulated.

Designed in two steps, because the transformer sits in the middle: ``plan_converter`` fixes timing, switch,
drive and rectifier and says which turns ratio and currents the transformer must serve;
``complete_converter`` takes the wound transformer's real values and finishes clamp, snubbers, capacitors and
the averaged electrical model on which the whole chain is solved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import sqrt

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Controller
from subwright.physics.push_pull import turns_ratio_needed
from subwright.physics.switching import pushpull_drain_stress_v
from subwright.stages.converter_auxiliary import auxiliary_ratio
from subwright.stages.converter_complete import complete_converter, list_converter, size_converter
from subwright.stages.converter_drive import (
    DriverKind,
    GateDrive,
    GateSupply,
    design_gate_supply,
    drivers,
    fit_gate,
)
from subwright.stages.converter_drive_load import loaded_drive
from subwright.stages.converter_parts import (
    RectifierChoice,
    SwitchChoice,
    choose_rectifier,
    choose_switch,
    hot_resistance,
)
from subwright.stages.converter_result import ConverterResult
from subwright.stages.converter_spec import ConverterDemand, ConverterPlan, ConverterSpec, Magnetics, Topology
from subwright.stages.converter_timing import Timing, design_timing

__all__ = [
    "ConverterDemand",
    "ConverterPlan",
    "ConverterResult",
    "ConverterSpec",
    "Magnetics",
    "auxiliary_ratio",
    "complete_converter",
    "hot_resistance",
    "list_converter",
    "plan_converter",
    "replan_converter",
    "size_converter",
]

# Switches are chosen as if this hot, whatever the sink makes of it: else choice and sink chase one another.
_CHOICE_JUNCTION_C = 100.0
_DIRECT_MOST_V = 19.0  # battery above which gates of 20 V need a supply of their own
_PUSH_PULL_MOST_V = 40.0  # highest battery at which auto still takes a push-pull
# What the parts of a drive must save at full sine to be worth fitting.
_DRIVE_GAIN_W: Mapping[DriverKind, float] = {"direct": 0.0, "turn-off": 1.0, "buffer": 1.5}
_LEAST_GATE_V = 8.0  # on resistance is stated for 10 V; common practice
_SAG_CREST = 0.93  # low battery at the crest over the same at rest, for the gate's level
_DRIVE_NAMES: Mapping[DriverKind, str] = {
    "direct": "straight from the controller",
    "turn-off": "PNP that pulls the gate down",
    "buffer": "complementary buffer",
}
_MOST_PER_SIDE = 4
_DEAD_S = 0.8e-6  # dead time where nothing asks for more; common practice
_DEAD_TIMES = 2.0  # over the time to turn off, as the rule on dead time asks
_DEAD_STEP, _DEAD_STEPS, _DEAD_MOST_S = 1.12, 6, 5e-6
_EFFICIENCY = 0.88  # for the first estimate of the primary current
_RIPPLE_CURRENT = 1.08  # pulses are not quite rectangular
_SAG = 0.88  # battery at the crest over the battery at rest, for the gate supply
_REGULATED_ROOM = 0.95  # of the conducting share; the rest goes to commutation
_RATIO_ROOM = 1.25  # regulated: window of ratios above the least


def plan_converter(spec: ConverterSpec, demand: ConverterDemand, library: Library) -> ConverterPlan:
    """Fix timing, switches, drive, rectifier and the window of turns ratios.

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
    if (spec.mosfets_per_side or 1) > _MOST_PER_SIDE:
        raise NoSolutionError(
            message="Half-primaries that short pulses must share evenly take no more switches than this.",
            quantity="converter.mosfets_per_side",
            value=str(spec.mosfets_per_side),
            limit=f"1 to {_MOST_PER_SIDE}",
            source="common-practice",
            remedy="Take switches of less resistance (converter.mosfet), or a higher battery voltage.",
        )
    dead_s = spec.dead_time_s if spec.dead_time_s is not None else _DEAD_S
    plan = _planned(spec, demand, library, dead_s)
    for _ in range(_DEAD_STEPS if spec.dead_time_s is None else 0):
        needed_s = _DEAD_TIMES * plan.drive.turn_off_s
        if plan.timing.dead_time_s >= needed_s or dead_s > _DEAD_MOST_S:
            break
        # Less dead time is better; but the switches that were chosen need as much as this.
        dead_s = _DEAD_STEP * max(dead_s, needed_s)
        plan = _planned(spec, demand, library, dead_s)
    return plan


def _planned(
    spec: ConverterSpec, demand: ConverterDemand, library: Library, dead_time_s: float
) -> ConverterPlan:
    """The plan with a given dead time, s."""
    topology = _topology(spec, demand)
    bridge, regulated = topology == "full-bridge", spec.output == "regulated"
    fed = spec.gate_supply == "regulated" or (
        spec.gate_supply == "auto" and demand.emf_max_v > _DIRECT_MOST_V
    )
    controller = _choose_controller(spec, demand, library, fed)
    timing = design_timing(
        controller,
        spec.switching_hz,
        dead_time_s,
        spec.soft_start_s,
        resistor_series=spec.timing_resistor_series,
    )
    rail_v = spec.rail_v if spec.rail_v is not None else demand.rail_needed_v
    if bridge:
        drain_v = demand.emf_max_v * (1.0 + spec.spike_allowance)
    else:
        drain_v = pushpull_drain_stress_v(demand.emf_max_v, spec.spike_allowance)

    # Currents for choosing parts: the ratio is not known yet, the power is.
    pulse = timing.share
    crest_w = rail_v * demand.rail_crest_a
    primary_crest_a = crest_w / (_EFFICIENCY * demand.emf_nominal_v)
    music_rms = sqrt(demand.music_mean_square)
    primary_rms_a = primary_crest_a * music_rms / sqrt(2.0 * pulse) * _RIPPLE_CURRENT
    # A half-secondary feeds one rail in one half cycle and the other in the other.
    secondary_rms_a = demand.each_rms_share * demand.rail_crest_a * music_rms / sqrt(pulse) * _RIPPLE_CURRENT
    drive, switch, supply = _choose_drive(
        spec, demand, library, controller, timing, fed, drain_v, primary_rms_a,
        primary_crest_a / pulse, crest_w, bridge,
    )  # fmt: skip
    rail_open_v = rail_v * 1.15 * demand.emf_max_v / demand.emf_nominal_v
    reverse_v = 2.0 * min(rail_open_v, demand.rail_max_v) * (1.0 + spec.ringing_allowance)
    if regulated:
        # Behind a choke a leg sees the winding, not the rail: more than the rail by what the duty leaves out.
        winding_v = rail_v * demand.emf_max_v / (_REGULATED_ROOM * pulse * _SAG * demand.emf_low_v)
        reverse_v = 2.0 * winding_v * (1.0 + spec.ringing_allowance)
    rectifier = choose_rectifier(
        library,
        spec.rectifier,
        max(reverse_v, demand.least_reverse_v),
        0.5 * demand.rail_mean_a,
        demand.each_crest_a / pulse,
        timing.switching_hz,
    )
    switch_ohm = _switch_path_ohm(switch, topology, demand)
    least, most = _ratio_window(spec, demand, rail_v, pulse, switch_ohm, rectifier, regulated)
    return ConverterPlan(
        topology=topology,
        regulated=regulated,
        controller=controller,
        timing=timing,
        switch=switch,
        rectifier=rectifier,
        rail_v=rail_v,
        drain_limit_needed_v=drain_v,
        reverse_needed_v=reverse_v,
        ratio_least=least,
        ratio_most=most,
        primary_rms_a=primary_rms_a,
        secondary_rms_a=secondary_rms_a,
        primary_peak_a=primary_crest_a / pulse,
        buffered=drive.driver.buffered,
        drive_v=drive.gate_v,
        drive=drive,
        gate_supply=supply,
        reasons=_reasons(spec, demand, topology, controller, timing, switch, drive, supply, rectifier,
                         drain_v, reverse_v),
    )  # fmt: skip


def replan_converter(spec: ConverterSpec, demand: ConverterDemand, plan: ConverterPlan) -> ConverterPlan:
    """The same plan at another source resistance and junction temperature: only the window of ratios moves.

    Parameters
    ----------
    spec : the builder's wishes. demand : as the plan was made for, but for the two named.
    plan : what ``plan_converter`` made.

    Raises
    ------
    NoSolutionError : no ratio gives both the rail needed and the rail allowed.
    """
    least, most = _ratio_window(
        spec,
        demand,
        plan.rail_v,
        plan.timing.share,
        _switch_path_ohm(plan.switch, plan.topology, demand),
        plan.rectifier,
        plan.regulated,
    )
    return replace(plan, ratio_least=least, ratio_most=most)


def _switch_path_ohm(switch: SwitchChoice, topology: Topology, demand: ConverterDemand) -> float:
    """Switches in one conducting path, hot, ohm."""
    in_series = 2.0 if topology == "full-bridge" else 1.0
    return hot_resistance(switch.mosfet, demand.switch_c) / switch.per_side * in_series


def _topology(spec: ConverterSpec, demand: ConverterDemand) -> Topology:
    if spec.topology in ("push-pull", "full-bridge"):
        return "push-pull" if spec.topology == "push-pull" else "full-bridge"
    return "push-pull" if demand.emf_max_v <= _PUSH_PULL_MOST_V else "full-bridge"


def _choose_drive(
    spec: ConverterSpec,
    demand: ConverterDemand,
    library: Library,
    controller: Controller,
    timing: Timing,
    fed: bool,
    drain_v: float,
    rms_a: float,
    end_a: float,
    crest_w: float,
    bridge: bool,
) -> tuple[GateDrive, SwitchChoice, GateSupply | None]:
    """Switches and their drive together: the driver's current decides the turn-off loss."""
    legs, on_driver = (4, 2) if bridge else (2, 1)
    f = timing.switching_hz
    supply_v = 12.3 if fed else demand.emf_nominal_v
    options = drivers(controller, supply_v if fed else demand.emf_max_v, library)
    if bridge:
        options = tuple(replace(o, drop_v=o.drop_v + o.bridge_drop_v) for o in options)
    if spec.gate_drive != "auto":
        options = tuple(o for o in options if o.kind == spec.gate_drive)
    low_v = supply_v if fed else _SAG_CREST * demand.emf_low_v
    built: dict[DriverKind, tuple[GateDrive, SwitchChoice, tuple[bool, float]]] = {}
    failure: NoSolutionError | None = None
    for driver in options:
        try:
            switch = choose_switch(
                library,
                spec.mosfet,
                spec.mosfets_per_side,
                drain_v,
                rms_a,
                f,
                supply_v - driver.drop_v,
                demand.emf_nominal_v * (1.0 if bridge else 2.0),
                end_a,
                driver.peak_a / on_driver,
                _CHOICE_JUNCTION_C,
                loss_limit_w=max(4.0, 0.01 * crest_w),
                legs=legs,
            )
            gates = legs * switch.per_side
            ohm, off_s, gate_v, gate_a = fit_gate(
                driver, switch.mosfet, on_driver * switch.per_side, gates, supply_v, f, both_ways=bridge
            )
        except NoSolutionError as error:
            failure = failure or error
            continue
        made = GateDrive(
            driver=driver,
            gate_ohm=ohm,
            turn_off_s=off_s,
            gate_v=gate_v,
            gate_w=gate_a * supply_v,
            gate_a=gate_a,
            supply_a=gate_a,
            losses_w={},
        )
        # Further devices are charged as in the choice of the switch, the drive's own parts by their number.
        charge = 1.5 * legs * switch.per_side + _DRIVE_GAIN_W[driver.kind]
        weak = low_v - driver.drop_v < _LEAST_GATE_V
        built[driver.kind] = (made, switch, (weak, switch.loss_w + charge))
    if not built:
        if failure is not None:
            raise failure
        raise NoSolutionError(
            message="No transistors for this gate drive.",
            quantity="converter.gate_drive",
            value=spec.gate_drive,
            limit="transistors of at least 1 A and 50 MHz, PNP and for a buffer also NPN",
            source="parts library and drawer",
            remedy='Add them to the drawer, or set converter.gate_drive = "direct".',
        )
    made, switch, _ = min(built.values(), key=lambda row: row[2])
    losses = {kind: row[1].loss_w for kind, row in built.items()}
    drive = loaded_drive(
        replace(made, losses_w=losses), controller, timing, switch.mosfet, library,
        supply_v=supply_v, gates=legs * switch.per_side, bridge=bridge,
    )  # fmt: skip
    if not fed:
        return drive, switch, None
    supply = design_gate_supply(
        library,
        _SAG * demand.emf_low_v,
        demand.emf_nominal_v,
        demand.emf_max_v,
        controller.quiescent_a + drive.supply_a,
        demand.ambient_c,
    )
    return drive, switch, supply


def _ratio_window(
    spec: ConverterSpec,
    demand: ConverterDemand,
    rail_v: float,
    pulse: float,
    switch_ohm: float,
    rectifier: RectifierChoice,
    regulated: bool,
) -> tuple[float, float]:
    """Least and most turns ratio."""
    diode = rectifier.rectifier
    path = switch_ohm + spec.link_ohm
    diode_ohm = diode.rd_ohm * demand.each_crest_a / demand.rail_crest_a
    room = _REGULATED_ROOM * pulse
    try:
        if regulated:
            least = (
                turns_ratio_needed(
                    rail_v,
                    demand.emf_low_v,
                    demand.rail_crest_a,
                    path / room + demand.source_ohm,
                    diode_ohm,
                    diode.vf0_v,
                )
                / room
            )
            return least, _RATIO_ROOM * least
        least = turns_ratio_needed(
            rail_v,
            demand.emf_nominal_v,
            demand.rail_crest_a,
            path / pulse + demand.source_ohm,
            diode_ohm / pulse,
            diode.vf0_v,
        )
    except RangeError as error:
        raise NoSolutionError(
            message="The battery and its cable can't carry this power through any converter.",
            quantity=error.quantity,
            value=error.value,
            limit=error.limit,
            source=error.source,
            remedy=_share_of_power(error) + error.remedy,
            code="CNV-01",
        ) from None
    most = (demand.rail_max_v + diode.vf0_v) / demand.emf_max_v
    if most < least:
        unloaded_v = least * demand.emf_max_v - diode.vf0_v
        beyond = unloaded_v / demand.rail_max_v
        highest = show((demand.rail_max_v + diode.vf0_v) / least, "voltage")
        raise NoSolutionError(
            message="The rail for full power would exceed what the amplifier stands at the highest battery.",
            quantity="unloaded rail at the highest battery",
            value=show(unloaded_v, "voltage"),
            limit=show(demand.rail_max_v, "voltage"),
            source="amplifier's rail limit",
            remedy="Set amplifier.mosfet (class D) or amplifier.ab_output (class AB) to parts rated "
            f"{100 * (beyond - 1):.0f} % higher or more, lower "
            f"goal.power to {90 / beyond**2:.0f} % or less, set supply.max to {highest} or less with the "
            'over-voltage trip to match, or set converter.output = "regulated".',
            code="CNV-02",
        )
    return least, most


def _share_of_power(error: RangeError) -> str:
    """How much of the power would do, where the error says what is asked and what can be had."""
    try:
        asked, most = (float(text.split()[0]) for text in (error.value, error.limit))
    except (ValueError, IndexError):
        return ""
    return f"Lower goal.power to {90.0 * most / asked:.0f} % or less, or thicken supply.section. "


def _choose_controller(
    spec: ConverterSpec, demand: ConverterDemand, library: Library, fed: bool
) -> Controller:
    if spec.controller != "auto":
        controller = library.controller(spec.controller)
        if controller.outputs != 2:
            raise NoSolutionError(
                message=f"{controller.id} has one output, and this converter needs two in antiphase.",
                quantity="converter.controller",
                value=controller.id,
                limit="a controller of two outputs, such as the 494 or 3525 family",
                source=controller.provenance.document,
                remedy='Set converter.controller = "auto", or converter.topology = "boost".',
            )
        return controller
    supply_v = 15.0 if fed else demand.emf_max_v
    fit = [
        c
        for c in library.controllers.values()
        if c.mode == "voltage"
        and c.outputs == 2
        and c.supply_max_v >= supply_v
        and c.f_max_hz >= 2 * spec.switching_hz
    ]
    if not fit:
        two = [c for c in library.controllers.values() if c.mode == "voltage" and c.outputs == 2]
        standing = [c.f_max_hz for c in two if c.supply_max_v >= supply_v]
        slower = ""
        if standing:
            slower = f"lower converter.switching to {show(0.5 * max(standing), 'frequency')}, "
        raise NoSolutionError(
            message="No voltage-mode controller stands this battery and reaches this frequency.",
            quantity="controller supply and ramp frequency",
            value=f"{show(supply_v, 'voltage')} at {show(2 * spec.switching_hz, 'frequency')}",
            limit=f"{show(max((c.supply_max_v for c in two), default=0.0), 'voltage')} at "
            f"{show(max((c.f_max_hz for c in two), default=0.0), 'frequency')}, the highest ratings at hand",
            source="parts library and drawer",
            remedy=f'Set converter.gate_supply = "regulated", {slower}or add a controller of these '
            "ratings to the drawer.",
            code="CNV-17",
        )
    return min(
        fit, key=lambda c: (library.in_drawer(c.id) == 0, c.soft_start_a is None, -c.output_sink_a, c.id)
    )


def _reasons(
    spec: ConverterSpec,
    demand: ConverterDemand,
    topology: Topology,
    controller: Controller,
    timing: Timing,
    switch: SwitchChoice,
    drive: GateDrive,
    supply: GateSupply | None,
    rectifier: RectifierChoice,
    drain_v: float,
    reverse_v: float,
) -> tuple[str, ...]:
    diode = rectifier.rectifier
    if topology == "push-pull":
        first = (
            "Push-pull: both switches on ground and one drop in the path, right for 12 and 24 V; the price "
            "is twice the battery on a resting switch. Flux walks where the halves differ: wind both as one."
        )
    else:
        first = (
            "Full bridge: two switches in the path, each standing the battery once; right from 24 V up, "
            "where a push-pull's switches would need more than twice that."
        )
    lines = [
        first,
        f"{controller.id}: {timing.share:.1%} of the period conducts at "
        f"{show(timing.switching_hz, 'frequency')} with {show(timing.dead_time_s, 'time')} dead time; its "
        f"ramp runs at {show(timing.oscillator_hz, 'frequency')}, twice that.",
        f"{switch.per_side} × {switch.mosfet.id} a side: stands {show(switch.mosfet.vds_v, 'voltage')} where "
        f"{show(drain_v, 'voltage')} is needed, about {switch.loss_w:.1f} W for all of them at full sine.",
        f"{diode.id}: stands {show(diode.vrrm_v, 'voltage')} where {show(reverse_v, 'voltage')} is needed.",
    ]
    if controller.mode == "current":
        lines.append(
            f"{controller.id} works in voltage mode here, its own ramp at its current sense: peak-charged "
            "rails leave no current to hold, and regulated ones have a slow loop. Nothing of it limits the "
            "current."
        )
    if len(drive.losses_w) > 1:
        named = ", ".join(f"{_DRIVE_NAMES[kind]} {watts:.1f} W" for kind, watts in drive.losses_w.items())
        lines.append(
            f"Gate drive: {_DRIVE_NAMES[drive.driver.kind]}. All switches together would lose, each with the "
            f"switch that suits it: {named}."
        )
    if supply is not None:
        lines.append(
            f"{show(demand.emf_max_v, 'voltage')} would break the gates: {supply.transistor.id} behind "
            f"{supply.zener.id} feeds controller and gates with {show(supply.output_v, 'voltage')}"
            + (f"; it needs a heatsink of {supply.sink_k_per_w:g} K/W." if supply.sink_k_per_w else ".")
        )
    return tuple(lines)
