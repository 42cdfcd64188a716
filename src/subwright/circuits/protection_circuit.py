"""The protection circuit: three watching comparators, the one that inhibits, reference, supply and lamps.

The comparators have no limit of their input range here; where the real ones lose it is a number of the
protection stage's own (``range_lost_v``).
"""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.circuits.models import (
    ComparatorModel,
    JunctionModel,
    Model,
    ShuntReferenceModel,
    ZenerModel,
)
from subwright.circuits.netlist import GROUND, Circuit, Numbering, Part, Ramp, Steady, TestPoint, Value
from subwright.parts.library import Library
from subwright.stages.protection import ProtectionResult
from subwright.stages.protection_models import saturation
from subwright.stages.protection_records import OverCurrentTrip
from subwright.stages.protection_reference import COMPARATOR_SUPPLY_A, LAMP_V

__all__ = ["PROTECTION_NETS", "protection_circuit"]

_HUNDRED: Final = 200
_LAMP_A: Final = 1e-3  # at which ``LAMP_V`` is stated
_DIODE_V: Final = 0.6
_DIODE_A: Final = 1e-3
_DECOUPLING_F: Final = 100e-9

PROTECTION_NETS: Final = {
    "under-voltage": "under_out",
    "over-voltage": "over_out",
    "thermal": "thermal_out",
    "over-current": "current_out",
    "inhibit": "inhibit",
}
"""Output of each protection: low when tripped; of the inhibit: high when any has tripped."""


class _Builder:
    """Hands out designators and collects parts."""

    def __init__(self) -> None:
        self.parts: list[Part] = []
        self._number = Numbering(_HUNDRED)

    def resistor(self, role: str, a: str, b: str, value_ohm: float) -> None:
        self.parts.append(
            Part(
                designator=self._number.next("R"),
                kind="resistor",
                nets=(a, b),
                value=value_ohm,
                role=role,
                part_id=code(value_ohm, "resistance"),
            )
        )

    def capacitor(self, role: str, a: str, b: str, value_f: float) -> None:
        self.parts.append(
            Part(
                designator=self._number.next("C"),
                kind="capacitor",
                nets=(a, b),
                value=value_f,
                role=role,
                part_id=code(value_f, "capacitance"),
            )
        )

    def trimmer(self, role: str, top: str, bottom: str, value_ohm: float, used_ohm: float) -> None:
        """A trimmer as a variable resistor: its wiper on its top, ``used_ohm`` of the track in circuit."""
        self.parts.append(
            Part(
                designator=self._number.next("R"),
                kind="potentiometer",
                nets=(top, top, bottom),
                value=value_ohm,
                role=role,
                part_id=f"trimmer {code(value_ohm, 'resistance')}",
                setting=used_ohm / value_ohm,
            )
        )

    def designator(self, letters: str) -> str:
        return self._number.next(letters)

    def sections(self, count: int, per_case: int) -> tuple[str, ...]:
        return self._number.sections("U", count, per_case)


def protection_circuit(
    result: ProtectionResult,
    library: Library,
    *,
    battery: Value,
    thermistor: float | Ramp,
    current: Value = None,
    link_closed: bool = True,
) -> Circuit:
    """Netlist of the protection circuit.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged; the models come from its records.
    battery : terminal voltage, a steady value or a ramp, V.
    thermistor : resistance of the thermistor, steady or a ramp, Ω.
    current : of the battery through the shunt, where there is one, steady or a ramp, A; None for nought.
    link_closed : whether the isolating link, where there is one, is in place.

    Returns
    -------
    Circuit. Trimmers stand where the trip meets its target.

    Raises
    ------
    SubwrightError : an over-current trip that has no circuit yet: by the switches' drop, or latching.
    """
    comparator = library.comparator(result.comparator)
    build = _Builder()
    parts = build.parts
    parts.append(
        Part(
            designator="BENCH_BATTERY",
            kind="voltage source",
            nets=("battery", GROUND),
            value=battery,
            role="battery terminal",
            standing="bench",
        )
    )
    models: list[Model] = [
        ComparatorModel(
            name="COMPARATOR",
            offset_v=0.0,
            bias_a=comparator.ib_a,
            saturation_ohm=saturation(comparator, result.sink_a).nominal / result.sink_a,
            response_s=comparator.response_s,
            supply_a=COMPARATOR_SUPPLY_A / 4.0,
        ),
        JunctionModel(name="LAMP", forward_v=LAMP_V, rated_a=_LAMP_A),
        JunctionModel(name="SMALL", forward_v=_DIODE_V, rated_a=_DIODE_A),
    ]
    models += _supply(build, result, library)
    models += _reference(build, result, library)
    inputs = [
        ("under-voltage", *_under_voltage(build, result)),
        ("over-voltage", *_over_voltage(build, result)),
        ("thermal", *_thermal(build, result, thermistor)),
    ]
    if result.over_current is not None:
        inputs.append(("over-current", *_over_current(build, result, result.over_current, current)))
    names = build.sections(len(inputs) + 1, comparator.channels)
    for name, (watch, plus, minus) in zip(names, inputs, strict=False):
        out = PROTECTION_NETS[watch]
        parts.append(_comparator(name, plus, minus, out, comparator.id))
        _lamp_and_diode(build, watch, out, result.lamp_ohm)
    run = _inhibit(build, result, link_closed)
    parts.append(_comparator(names[-1], "half", run, PROTECTION_NETS["inhibit"], comparator.id))
    points = (
        ("reference", "reference of all thresholds"),
        ("supply", "supply of the comparators"),
        ("under_sense", "under-voltage sense"),
        ("over_sense", "over-voltage sense"),
        ("thermal_sense", "thermistor"),
        ("run", "run line: low when anything has tripped"),
        ("inhibit", "inhibit to the controller: high when anything has tripped"),
    )
    return Circuit(
        name="protection",
        parts=tuple(parts),
        models=tuple(models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
    )


def _comparator(name: str, plus: str, minus: str, out: str, part_id: str) -> Part:
    return Part(
        designator=name,
        kind="comparator",
        nets=(plus, minus, out, "supply", GROUND),
        model="COMPARATOR",
        role="protection comparator",
        part_id=part_id,
    )


def _supply(build: _Builder, result: ProtectionResult, library: Library) -> list[Model]:
    supply = result.reference
    clamp = library.zener(supply.clamp_id)
    build.resistor("comparator supply resistor", "battery", "supply", supply.comparator_ohm)
    build.parts.append(
        Part(
            designator=build.designator("VR"),
            kind="zener",
            nets=(GROUND, "supply"),
            model="CLAMP",
            role="comparator supply clamp",
            part_id=clamp.id,
        )
    )
    build.capacitor("comparator supply decoupling", "supply", GROUND, _DECOUPLING_F)
    return [ZenerModel(name="CLAMP", zener_v=clamp.vz_v, slope_ohm=clamp.rz_ohm, rated_a=clamp.iz_test_a)]


def _reference(build: _Builder, result: ProtectionResult, library: Library) -> list[Model]:
    supply = result.reference
    if supply.kind == "controller":
        build.parts.append(
            Part(
                designator="BENCH_REFERENCE",
                kind="voltage source",
                nets=("reference", GROUND),
                value=Steady(value=supply.nominal_v),
                role="controller reference",
                standing="bench",
            )
        )
        return []
    if supply.feed_ohm is None or supply.upper_ohm is None or supply.lower_ohm is None:
        raise SubwrightError(message="A shunt reference needs a feed and two resistors.")
    record = library.reference(supply.part_id)
    build.resistor("reference feed", "battery", "reference", supply.feed_ohm)
    pin = "reference"
    if supply.upper_ohm > 0:
        pin = "reference_pin"
        build.resistor("reference upper", "reference", pin, supply.upper_ohm)
        build.resistor("reference lower", pin, GROUND, supply.lower_ohm)
    build.parts.append(
        Part(
            designator=build.designator("U"),
            kind="shunt reference",
            nets=("reference", pin, GROUND),
            model="SHUNT",
            role="protection reference",
            part_id=record.id,
        )
    )
    return [ShuntReferenceModel(name="SHUNT", reference_v=record.vref_v, pin_a=0.5 * record.iref_a)]


def _under_voltage(build: _Builder, result: ProtectionResult) -> tuple[str, str]:
    network, out = result.under_voltage, PROTECTION_NETS["under-voltage"]
    build.resistor("under-voltage sense upper A", "battery", "under_filter", network.upper_each_ohm)
    build.resistor("under-voltage sense upper B", "under_filter", "under_sense", network.upper_each_ohm)
    build.capacitor("under-voltage sense filter", "under_filter", GROUND, network.filter_f)
    _lower_arm(build, "under-voltage", "under_sense", network.lower_ohm, network.trimmer_ohm, result)
    build.resistor("under-voltage feedback", out, "under_sense", network.feedback_ohm)
    build.resistor("under-voltage pull-up", "reference", out, network.pullup_ohm)
    return "under_sense", "reference"


def _over_voltage(build: _Builder, result: ProtectionResult) -> tuple[str, str]:
    network, out = result.over_voltage, PROTECTION_NETS["over-voltage"]
    build.resistor("over-voltage sense upper", "battery", "over_sense", network.upper_ohm)
    _lower_arm(build, "over-voltage", "over_sense", network.lower_ohm, network.trimmer_ohm, result)
    build.capacitor("over-voltage sense filter", "over_sense", GROUND, network.filter_f)
    build.resistor("over-voltage reference resistor", "reference", "over_level", network.reference_ohm)
    build.resistor("over-voltage feedback", out, "over_level", network.feedback_ohm)
    build.resistor("over-voltage pull-up", "reference", out, network.pullup_ohm)
    return "over_level", "over_sense"


def _thermal(build: _Builder, result: ProtectionResult, thermistor: float | Ramp) -> tuple[str, str]:
    network, out = result.thermal, PROTECTION_NETS["thermal"]
    build.parts.append(
        Part(
            designator=build.designator("RT"),
            kind="thermistor",
            nets=("reference", "thermal_sense"),
            value=thermistor,
            role="heatsink thermistor",
            part_id=result.ntc,
        )
    )
    build.resistor("thermistor series", "thermal_sense", GROUND, network.series_ohm)
    build.capacitor("thermistor filter", "thermal_sense", GROUND, network.filter_f)
    build.resistor("thermal level upper", "reference", "thermal_level", network.upper_ohm)
    build.resistor("thermal level lower", "thermal_level", GROUND, network.lower_ohm)
    build.resistor("thermal feedback", out, "thermal_level", network.feedback_ohm)
    build.resistor("thermal pull-up", "reference", out, network.pullup_ohm)
    return "thermal_level", "thermal_sense"


def _lower_arm(
    build: _Builder,
    watch: str,
    sense: str,
    lower_ohm: float,
    trimmer_ohm: float | None,
    result: ProtectionResult,
) -> None:
    """Lower resistor, with a trimmer under it that stands where the trip meets its target."""
    role = f"{watch} sense lower"
    if trimmer_ohm is None:
        build.resistor(role, sense, GROUND, lower_ohm)
        return
    middle = f"{sense}_trim"
    build.resistor(role, sense, middle, lower_ohm)
    wanted = _needed_lower_ohm(watch, result) - lower_ohm
    used = min(max(wanted, 0.0), trimmer_ohm)
    build.trimmer(f"{watch} trimmer", middle, GROUND, trimmer_ohm, used)


def _needed_lower_ohm(watch: str, result: ProtectionResult) -> float:
    """Lower arm that puts the sense node on its level at the target trip, bias currents aside."""
    volts = result.reference.nominal_v
    target = result.thresholds[f"{watch} trip"].target
    if watch == "under-voltage":
        network = result.under_voltage
        # The output is still high there, and its pull-up on the reference: no current in the feedback.
        return volts * 2.0 * network.upper_each_ohm / (target - volts)
    return volts * result.over_voltage.upper_ohm / (target - volts)


def _lamp_and_diode(build: _Builder, watch: str, out: str, lamp_ohm: float) -> None:
    lamp = f"{out}_lamp"
    build.resistor(f"{watch} lamp resistor", "reference", lamp, lamp_ohm)
    build.parts += [
        Part(
            designator=build.designator("DS"),
            kind="lamp",
            nets=(lamp, out),
            model="LAMP",
            role=f"{watch} lamp",
            part_id="LED red 3 mm",
        ),
        Part(
            designator=build.designator("D"),
            kind="diode",
            nets=("run", out),
            model="SMALL",
            role=f"{watch} combining diode",
            part_id="1N4148",
        ),
    ]


def _over_current(
    build: _Builder, result: ProtectionResult, trip: OverCurrentTrip, current: Value
) -> tuple[str, str]:
    """Shunt in the battery's return, blanked, against a small level."""
    if trip.method != "shunt" or trip.after != "retry":
        raise SubwrightError(
            message="There is no circuit yet of this over-current trip.",
            quantity="protection.over_current",
            value=f"{trip.method}, {trip.after}",
            limit="shunt, retry",
            remedy="Its threshold comes from the closed form alone; measure it at bring-up.",
        )
    out = PROTECTION_NETS["over-current"]
    build.resistor("over-current shunt", "shunt", GROUND, trip.sense_ohm)
    build.parts.append(
        Part(
            designator="BENCH_CURRENT",
            kind="current source",
            nets=(GROUND, "shunt"),
            value=Steady(value=0.0) if current is None else current,
            role="battery current",
            standing="bench",
        )
    )
    build.resistor("over-current filter resistor", "shunt", "current_sense", trip.filter_ohm)
    build.capacitor("over-current filter capacitor", "current_sense", GROUND, trip.filter_f)
    build.resistor("over-current level upper", "reference", "current_level", trip.upper_ohm)
    build.resistor("over-current level lower", "current_level", GROUND, trip.lower_ohm)
    build.resistor("over-current pull-up", "reference", out, result.under_voltage.pullup_ohm)
    return "current_level", "current_sense"


def _inhibit(build: _Builder, result: ProtectionResult, link_closed: bool) -> str:
    """Run line with its hold-off, and what it is compared with; returns the net that the comparator reads."""
    build.capacitor("run line hold-off", "run", GROUND, result.hold_off.capacitor_f)
    run = "run"
    if result.isolating_link:
        run = "run_linked"
        build.parts.append(
            Part(
                designator=build.designator("J"),
                kind="jumper",
                nets=("run", run),
                role="isolating link",
                part_id="2-pin header and jumper",
                setting=1.0 if link_closed else 0.0,
            )
        )
    build.resistor("run line pull-up", "reference", "run", result.run_ohm)
    build.resistor("run line half reference upper", "reference", "half", result.run_ohm)
    build.resistor("run line half reference lower", "half", GROUND, result.run_ohm)
    build.resistor("inhibit pull-up", "reference", "inhibit", result.inhibit_ohm)
    return run
