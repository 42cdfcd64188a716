"""The protection circuit: watching comparators, the one that inhibits, reference, supply and lamps.

The comparators have no limit of their input range here; where the real ones lose it is a number of the
protection stage's own (``range_lost_v``), and every corner is held to it.
"""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.builder import Builder
from subwright.circuits.models import ComparatorModel, JunctionModel, ShuntReferenceModel, ZenerModel
from subwright.circuits.netlist import GROUND, Circuit, Ramp, Steady, TestPoint, Value
from subwright.circuits.protection_trips import (
    SMALL_DIODE,
    SMALL_NPN,
    SMALL_PNP,
    Inputs,
    current_trip,
    level_net,
)
from subwright.parts.library import Library
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_models import saturation
from subwright.stages.protection_records import OverVoltageNetwork, UnderVoltageNetwork
from subwright.stages.protection_reference import (
    COMPARATOR_SUPPLY_A,
    EMPTY_DRIVE_OHM,
    EMPTY_OHM,
    HALF_OHM,
    HOLD_OHM,
    LAMP_V,
    LATCH_HOLD_OHM,
    MUTE_OHM,
    NOISE_F,
)

__all__ = ["PROTECTION_NETS", "protection_circuit"]

_HUNDRED: Final = 200
_LAMP_A: Final = 1e-3  # at which ``LAMP_V`` is stated
_MUTE_PULL_OHM: Final = 10e3
_DECOUPLING_F: Final = 100e-9

PROTECTION_NETS: Final = {
    "under-voltage": "under_out",
    "over-voltage": "over_out",
    "thermal": "thermal_out",
    "over-current": "current_out",
    "amplifier over-current": "output_out",
    "inhibit": "inhibit",
}
"""Output of each protection: low when tripped; of the inhibit: high when any has tripped."""


def protection_circuit(
    result: ProtectionResult,
    library: Library,
    *,
    battery: Value,
    thermistor: float | Ramp,
    current: Value = None,
    output: Value = None,
    link_closed: bool = True,
    trimmer: float | None = None,
    inhibit: tuple[float, float] | None = None,
) -> Circuit:
    """Netlist of the protection circuit.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged; the models come from its records.
    battery : terminal voltage, a steady value or a ramp, V.
    thermistor : resistance of the thermistor, steady or a ramp, Ω.
    current, output : of the battery and of the loudspeaker through shunt or switch, where a trip watches
        them, steady or a ramp, A; None for nought.
    link_closed : whether the isolating link, where there is one, is in place.
    trimmer : share of the thermal trimmer's track that is in circuit, 0 to 1; None: as set in a nominal unit.
    inhibit : what the converter's controller hangs on the inhibit line: a voltage, V, behind a resistance, Ω;
        None for nothing.

    Returns
    -------
    Circuit. Trimmers stand where the trip meets its target.
    """
    comparator = library.comparator(result.comparator)
    build = Builder(_HUNDRED, {part.role: part.part_id for part in result.parts})
    build.bench("BATTERY", "voltage source", ("battery", GROUND), battery, "battery terminal")
    # The switch of the control supply is closed; its own drop is the control circuit's matter.
    build.bench("SWITCH", "voltage by voltage", ("control", GROUND, "battery", GROUND), 1.0, "supply switch")
    model = ComparatorModel(
        name="COMPARATOR",
        offset_v=0.0,
        bias_a=comparator.ib_a,
        saturation_ohm=saturation(comparator, result.sink_a).nominal / result.sink_a,
        response_s=comparator.response_s,
        supply_a=COMPARATOR_SUPPLY_A / 4.0,
    )
    _supply(build, result, library)
    _reference(build, result, library)
    inputs: list[tuple[str, tuple[Inputs, ...]]] = [
        ("under-voltage", (_under_voltage(build, result),)),
        ("over-voltage", (_over_voltage(build, result),)),
        ("thermal", (_thermal(build, result, thermistor, trimmer),)),
    ]
    if result.over_current is not None:
        inputs.append(
            ("over-current", current_trip(build, result, "over-current", result.over_current, current))
        )
    if result.amplifier_current is not None:
        name = "amplifier over-current"
        inputs.append((name, current_trip(build, result, name, result.amplifier_current, output)))
    names = iter(build.sections(1 + sum(len(pairs) for _, pairs in inputs), comparator.channels))
    role = "protection comparator"
    for watch, pairs in inputs:
        out = PROTECTION_NETS[watch]
        for plus, minus in pairs:
            pins = (plus, minus, out, "supply", GROUND)
            build.bought("U", "comparator", pins, role, model=model, name=next(names))
        _lamp_and_diode(build, watch, out, result.lamp_ohm)
    run = _inhibit(build, result, link_closed)
    pins = ("half", run, PROTECTION_NETS["inhibit"], "supply", GROUND)
    build.bought("U", "comparator", pins, role, model=model, name=next(names))
    if inhibit is not None:
        build.bench("STOPPED", "resistor", ("inhibit", "stopped"), inhibit[1], "controller")
        build.bench(
            "STOPPED_AT", "voltage source", ("stopped", GROUND), Steady(value=inhibit[0]), "controller"
        )
    points = [
        ("reference", "reference of all thresholds"),
        ("supply", "supply of the comparators"),
        ("under_sense", "under-voltage sense"),
        ("over_sense", "over-voltage sense"),
        ("thermal_sense", "thermistor"),
        ("run", "run line: low when anything has tripped"),
        ("inhibit", f"inhibit of the {result.stops}: high when anything has tripped"),
        ("current_sense", "over-current sense"),
        ("output_sense", "amplifier over-current sense"),
        *(
            ("" if trip is None else level_net(watch, trip), f"level of the {watch} trip")
            for watch, trip in (
                ("over-current", result.over_current),
                ("amplifier over-current", result.amplifier_current),
            )
        ),
    ]
    nets = {net for part in build.parts for net in part.nets}
    return Circuit(
        name="protection",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
            if net in nets
        ),
    )


def _supply(build: Builder, result: ProtectionResult, library: Library) -> None:
    supply = result.reference
    clamp = library.zener(supply.clamp_id)
    build.resistor("comparator supply resistor", "control", "supply", supply.comparator_ohm)
    build.bought(
        "VR",
        "zener",
        (GROUND, "supply"),
        "comparator supply clamp",
        model=ZenerModel(name="CLAMP", zener_v=clamp.vz_v, slope_ohm=clamp.rz_ohm, rated_a=clamp.iz_test_a),
    )
    build.capacitor("comparator supply decoupling", "supply", GROUND, _DECOUPLING_F)


def _reference(build: Builder, result: ProtectionResult, library: Library) -> None:
    supply = result.reference
    if supply.kind == "controller":
        volts = Steady(value=supply.nominal_v)
        build.bench("REFERENCE", "voltage source", ("reference", GROUND), volts, "controller reference")
        return
    if supply.feed_ohm is None or supply.upper_ohm is None or supply.lower_ohm is None:
        raise SubwrightError(message="A shunt reference needs a feed and two resistors.")
    record = library.reference(supply.part_id)
    build.resistor("reference feed", "control", "reference", supply.feed_ohm)
    pin = "reference"
    if supply.upper_ohm > 0:
        pin = "reference_pin"
        build.resistor("reference upper", "reference", pin, supply.upper_ohm)
        build.resistor("reference lower", pin, GROUND, supply.lower_ohm)
    build.bought(
        "U",
        "shunt reference",
        ("reference", pin, GROUND),
        "protection reference",
        model=ShuntReferenceModel(name="SHUNT", reference_v=record.vref_v, pin_a=0.5 * record.iref_a),
    )


def _under_voltage(build: Builder, result: ProtectionResult) -> Inputs:
    network, out = result.under_voltage, PROTECTION_NETS["under-voltage"]
    build.resistor("under-voltage sense upper A", "battery", "under_filter", network.upper_each_ohm)
    build.resistor("under-voltage sense upper B", "under_filter", "under_sense", network.upper_each_ohm)
    build.capacitor("under-voltage sense filter", "under_filter", GROUND, network.filter_f)
    _lower_arm(build, "under-voltage", "under_sense", network, result)
    build.resistor("under-voltage feedback", out, "under_sense", network.feedback_ohm)
    build.resistor("under-voltage pull-up", "reference", out, network.pullup_ohm)
    return "under_sense", "reference"


def _over_voltage(build: Builder, result: ProtectionResult) -> Inputs:
    network, out = result.over_voltage, PROTECTION_NETS["over-voltage"]
    build.resistor("over-voltage sense upper", "battery", "over_sense", network.upper_ohm)
    _lower_arm(build, "over-voltage", "over_sense", network, result)
    build.capacitor("over-voltage sense filter", "over_sense", GROUND, network.filter_f)
    build.resistor("over-voltage reference resistor", "reference", "over_level", network.reference_ohm)
    build.resistor("over-voltage feedback", out, "over_level", network.feedback_ohm)
    build.resistor("over-voltage pull-up", "reference", out, network.pullup_ohm)
    return "over_level", "over_sense"


def _thermal(
    build: Builder, result: ProtectionResult, thermistor: float | Ramp, trimmer: float | None
) -> Inputs:
    network, out = result.thermal, PROTECTION_NETS["thermal"]
    build.bought("RT", "thermistor", ("reference", "thermal_sense"), "heatsink thermistor", thermistor)
    if network.trimmer_ohm is None:
        build.resistor("thermistor series", "thermal_sense", GROUND, network.series_ohm)
    else:
        middle = "thermal_sense_trim"
        build.resistor("thermistor series", "thermal_sense", middle, network.series_ohm)
        used = network.trimmer_set_ohm if trimmer is None else trimmer * network.trimmer_ohm
        build.trimmer("thermal trimmer", middle, GROUND, network.trimmer_ohm, used)
    build.capacitor("thermistor filter", "thermal_sense", GROUND, network.filter_f)
    build.resistor("thermal level upper", "reference", "thermal_level", network.upper_ohm)
    build.resistor("thermal level lower", "thermal_level", GROUND, network.lower_ohm)
    build.resistor("thermal feedback", out, "thermal_level", network.feedback_ohm)
    build.resistor("thermal pull-up", "reference", out, network.pullup_ohm)
    return "thermal_level", "thermal_sense"


def _lower_arm(
    build: Builder,
    watch: str,
    sense: str,
    network: UnderVoltageNetwork | OverVoltageNetwork,
    result: ProtectionResult,
) -> None:
    """Lower resistor, under it a second one, or a trimmer that stands where the trip meets its target."""
    role = f"{watch} sense lower"
    if network.trimmer_ohm is not None:
        middle = f"{sense}_trim"
        build.resistor(role, sense, middle, network.lower_ohm)
        reach = next(trimmer for trimmer in result.trimmers if trimmer.protection == watch)
        build.trimmer(f"{watch} trimmer", middle, GROUND, network.trimmer_ohm, reach.set_ohm)
    elif network.lower_second_ohm is not None:
        middle = f"{sense}_low"
        build.resistor(role, sense, middle, network.lower_ohm)
        build.resistor(f"{role} B", middle, GROUND, network.lower_second_ohm)
    else:
        build.resistor(role, sense, GROUND, network.lower_ohm)


def _lamp_and_diode(build: Builder, watch: str, out: str, lamp_ohm: float) -> None:
    lamp = f"{out}_lamp"
    build.resistor(f"{watch} lamp resistor", "reference", lamp, lamp_ohm)
    lit = JunctionModel(name="LAMP", forward_v=LAMP_V, rated_a=_LAMP_A)
    build.bought("DS", "lamp", (lamp, out), f"{watch} lamp", model=lit)
    build.bought("D", "diode", ("run", out), f"{watch} combining diode", model=SMALL_DIODE)


def _inhibit(build: Builder, result: ProtectionResult, link_closed: bool) -> str:
    """Run line with its hold-off, and what it is compared with; returns the net that the comparator reads.

    The pull-up stands on the comparator's side of the link, so an open link leaves a defined high.
    """
    run = "run"
    if result.isolating_link:
        run = "run_linked"
        setting = 1.0 if link_closed else 0.0
        build.bought("J", "jumper", ("run", run), "isolating link", setting=setting)
    build.resistor("run line pull-up", "reference", run, result.run_ohm)
    build.capacitor("run line noise capacitor", "run", GROUND, NOISE_F)
    build.resistor("hold-off series resistor", "run", "hold", HOLD_OHM)
    build.capacitor("hold-off capacitor", "hold", GROUND, result.hold_off.capacitor_f)
    build.resistor("run line half reference upper", "reference", "half", HALF_OHM)
    build.resistor("run line half reference lower", "half", GROUND, HALF_OHM)
    build.resistor("inhibit pull-up", "reference", "inhibit", result.inhibit_ohm)
    if result.stops == "amplifier":
        build.resistor("mute base resistor", "inhibit", "mute_base", MUTE_OHM)
        build.bought("Q", "transistor", ("mute", "mute_base", GROUND), "mute transistor", model=SMALL_NPN)
        build.bench("MUTE", "resistor", ("supply", "mute"), _MUTE_PULL_OHM, "the un-mute timer's pull-up")
    if result.hold_off.emptied:
        _emptying(build, result)
    return run


def _emptying(build: Builder, result: ProtectionResult) -> None:
    """On the run line's fall two transistors empty the hold-off, and hold the line down meanwhile."""
    role = "hold-off discharge"
    build.capacitor(f"{role} coupling", "run", "empty_edge", result.hold_off.couple_f)
    build.resistor(f"{role} drive, PNP", "empty_edge", "empty_pnp", EMPTY_DRIVE_OHM)
    build.resistor(f"{role} base to emitter, PNP", "reference", "empty_pnp", LATCH_HOLD_OHM)
    pins = ("empty_feed", "empty_pnp", "reference")
    build.bought("Q", "transistor", pins, f"{role} transistor, PNP", model=SMALL_PNP)
    build.resistor(f"{role} drive, NPN", "empty_feed", "empty_npn", EMPTY_DRIVE_OHM)
    build.resistor(f"{role} base to emitter, NPN", "empty_npn", GROUND, LATCH_HOLD_OHM)
    pins = ("empty_out", "empty_npn", GROUND)
    build.bought("Q", "transistor", pins, f"{role} transistor, NPN", model=SMALL_NPN)
    build.resistor(f"{role} resistor", "hold", "empty_out", EMPTY_OHM)
    build.bought("D", "diode", ("run", "empty_out"), f"{role} diode", model=SMALL_DIODE)
