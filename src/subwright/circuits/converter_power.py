"""The converter's power stage: battery, push-pull or bridged primary, rectifier, reservoirs.

The leakage sits in series with each half-primary, so that its energy ends in the clamp, or in the switch's
avalanche where there is none, as the averaged model has it. Output capacitances are left out: they ring at a
hundred megahertz, which a peak would feel and an average does not. Nothing here predicts a drain spike.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from subwright.base.units import code
from subwright.circuits.converter_point import averaged_point
from subwright.circuits.converter_regulated import regulated_point
from subwright.circuits.converter_values import ChokeValues, ClampValues, PowerValues, SnubberValues
from subwright.circuits.gate_drive_circuit import gate_nets
from subwright.circuits.models import DiodeModel, SwitchModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Coupling,
    Numbering,
    Part,
    Pulse,
    Reading,
    Steady,
    TestPoint,
)

__all__ = ["power_circuit"]

_HUNDRED: Final = 100
_EDGE_S: Final = 20e-9
_GATE_V: Final = 10.0
_THRESHOLD_V: Final = 5.0
_JOINT_OHM: Final = 1e-6  # in place of a leakage that isn't there
_STRAY: Final = 2e-3  # share of the leakage that the coupling may leave; the leakage is a part of its own
_CHOKE_COUPLING: Final = 0.99  # of the choke's two windings, laid together; order of magnitude, from memory
_OFF_RATIO: Final = 1e4  # off resistance over battery voltage by current: costs 0.04 % of the power


def power_circuit(values: PowerValues, readings: Mapping[str, tuple[Reading, ...]] | None = None) -> Circuit:
    """Netlist of the power stage; capacitors start at the closed form's voltages.

    Parameters
    ----------
    values : everything in it. readings : what its test points should read, by net.
    """
    v = values
    point = averaged_point(v)
    number = Numbering(_HUNDRED)
    battery = "BT101"
    parts = [
        Part(
            designator=number.next("BT"),
            kind="voltage source",
            nets=("battery", GROUND),
            value=Steady(value=v.emf_v),
            role="battery",
            standing="elsewhere",
        ),
        Part(
            designator=f"{battery}_RS",
            kind="resistor",
            nets=("battery", "input"),
            value=v.source_ohm,
            role="battery, cable and contacts",
            standing="inherent",
        ),
        *(
            _can(number, ("input", GROUND), v.input_f, v.input_esr_ohm, v.input_count, terminal, v.input_id)
            for terminal in (v.emf_v - v.source_ohm * point.battery_a,)
            for _ in range(v.input_count)
        ),
    ]
    parts += _primary(v, number, point.clamp_v)
    parts += _bridge(v, number)
    couplings = [Coupling(designator="T101", windings=_windings(v), factor=_coupling(v))]
    if v.choke is not None:
        parts += _choke(v, v.choke)
        couplings.append(Coupling(designator="L101", windings=("L101A", "L101B"), factor=_CHOKE_COUPLING))
    for positive, net, volts, load in (
        (True, "rail_positive", point.positive_v, v.positive_a),
        (False, "rail_negative", point.negative_v, v.negative_a),
    ):
        nets = (net, GROUND) if positive else (GROUND, net)
        parts += [
            _can(number, nets, v.reservoir_f, v.reservoir_esr_ohm, v.reservoir_count, volts, v.reservoir_id)
            for _ in range(v.reservoir_count)
        ]
        if v.bleeder_ohm is not None:
            parts.append(
                Part(
                    designator=number.next("R"),
                    kind="resistor",
                    nets=nets,
                    value=v.bleeder_ohm,
                    role="rail bleeder",
                    part_id=code(v.bleeder_ohm, "resistance"),
                )
            )
        parts.append(
            Part(
                designator=f"BENCH_LOAD_{'POSITIVE' if positive else 'NEGATIVE'}",
                kind="current source",
                nets=nets,
                value=Steady(value=load),
                role="load of the rail",
                standing="bench",
            )
        )
    clamp_model: tuple[DiodeModel, ...] = ()
    if v.clamp is not None and not v.bridge:
        clamp_model = (
            DiodeModel(
                name="CLAMP_LEG",
                forward_v=v.clamp.diode_v,
                resistance_ohm=v.clamp.diode_ohm,
                rated_a=point.battery_a,
            ),
        )
    node = "leg" if v.bridge else "drain"
    return Circuit(
        name="converter power stage",
        parts=tuple(parts),
        models=(
            SwitchModel(
                name="SWITCH",
                on_ohm=v.switch_ohm * v.switches_per_side * (0.5 if v.bridge else 1.0),
                off_ohm=_OFF_RATIO * v.switches_per_side * v.emf_v / point.battery_a,
                threshold_v=_THRESHOLD_V,
                clamp_v=v.avalanche_v,
            ),
            DiodeModel(
                name="LEG",
                forward_v=v.diode_v,
                resistance_ohm=v.diode_ohm,
                rated_a=max(v.positive_a, v.negative_a) / v.share,
            ),
            *clamp_model,
        ),
        couplings=tuple(couplings),
        test_points=tuple(
            TestPoint(
                designator=f"TP{_HUNDRED + k}", net=net, what=what, readings=(readings or {}).get(net, ())
            )
            for k, (net, what) in enumerate(
                (
                    ("input", "battery terminal"),
                    (f"{node}_a", f"{node} of the first half cycle"),
                    (f"{node}_b", f"{node} of the second half cycle"),
                    ("rail_positive", "positive rail"),
                    ("rail_negative", "negative rail"),
                ),
                1,
            )
        ),
    )


def _windings(v: PowerValues) -> tuple[str, ...]:
    return ("T101A", "T101C", "T101D") if v.bridge else ("T101A", "T101B", "T101C", "T101D")


def _coupling(v: PowerValues) -> float:
    """Coupling so tight that it adds next to nothing to the explicit leakage, yet not singular."""
    return 1.0 - min(max(_STRAY * v.leakage_h / v.magnetising_h, 1e-7), 1e-5)


def _can(
    number: Numbering,
    nets: tuple[str, str],
    bank_f: float,
    esr_ohm: float,
    count: int,
    volts: float,
    part_id: str,
) -> Part:
    return Part(
        designator=number.next("C"),
        kind="capacitor",
        nets=nets,
        value=bank_f / count,
        role="input capacitor" if "input" in nets else "rail capacitor",
        part_id=part_id,
        series_ohm=esr_ohm * count,
        initial_v=volts,
    )


def _pulses(v: PowerValues) -> tuple[Pulse, Pulse]:
    """Drive of the two half cycles.

    The first pulse is half as long as the others, so that the magnetising current swings about zero from the
    start; left to itself it would take thousands of cycles.
    """
    share = v.share if v.gate_share is None else v.gate_share
    if v.choke is not None and v.gate_share is None:
        share = regulated_point(v).gate_share
    on_s = 0.5 * share * v.period_s
    rest_s = v.period_s - on_s
    first = Pulse(
        first=_GATE_V, then=0.0, delay_s=0.5 * on_s, edge_s=_EDGE_S, then_s=rest_s, period_s=v.period_s
    )
    second = Pulse(
        first=0.0, then=_GATE_V, delay_s=0.5 * rest_s, edge_s=_EDGE_S, then_s=on_s, period_s=v.period_s
    )
    return first, second


def _primary(v: PowerValues, number: Numbering, clamp_v: float | None) -> list[Part]:
    """Primary side from the input to the switches."""
    first, second = _pulses(v)
    positions: tuple[tuple[str, str, str, Pulse], ...]
    if v.bridge:
        positions = (
            ("HIGH_A", "input", "leg_a", first),
            ("LOW_A", "leg_a", GROUND, second),
            ("HIGH_B", "input", "leg_b", second),
            ("LOW_B", "leg_b", GROUND, first),
        )
        parts = _winding(v, "A", "leg_a", "leak_a", ("leak_a", "leg_b"))
    else:
        positions = (("A", "drain_a", GROUND, first), ("B", "drain_b", GROUND, second))
        parts = [
            *_winding(v, "A", "input", "leak_a", ("leak_a", "drain_a")),
            *_winding(v, "B", "input", "leak_b", ("drain_b", "leak_b")),
        ]
    for name, drain, source, drive in positions:
        parts += _position(v, number, name, drain, source, drive)
    if v.clamp is not None and clamp_v is not None and not v.bridge:
        parts += _clamp(v.clamp, number, clamp_v)
    return parts


def _winding(v: PowerValues, section: str, into: str, leak: str, ends: tuple[str, str]) -> list[Part]:
    """One primary winding with its leakage before it; dotted where current enters in its own half cycle."""
    leaks = v.leakage_h > 0.0
    return [
        Part(
            designator=f"T101{section}_LEAK",
            kind="inductor" if leaks else "resistor",
            nets=(into, leak),
            value=v.leakage_h if leaks else _JOINT_OHM,
            role="leakage",
            standing="inherent",
        ),
        Part(
            designator=f"T101{section}",
            kind="winding",
            nets=ends,
            value=v.magnetising_h,
            role="primary" if v.bridge else "half-primary",
            standing="elsewhere",
            series_ohm=v.primary_winding_ohm + v.link_ohm,
        ),
    ]


def _position(
    v: PowerValues, number: Numbering, name: str, drain: str, source: str, drive: Pulse
) -> list[Part]:
    """The switches of one position, their drive and their snubber."""
    parts = []
    for k, gate in enumerate(gate_nets(name.lower(), v.switches_per_side), 1):
        suffix = f"_{k}" if v.switches_per_side > 1 else ""
        parts += [
            Part(
                designator=f"BENCH_GATE_{name}{suffix}",
                kind="voltage source",
                nets=(gate, source),
                value=drive,
                role="gate drive",
                standing="bench",
            ),
            Part(
                designator=number.next("Q"),
                kind="mosfet",
                nets=(drain, gate, source),
                model="SWITCH",
                role="push-pull switch",
                part_id=v.switch_id,
            ),
        ]
    if v.switch_snubber is not None:
        parts += _snubber(v.switch_snubber, number, "snubber", f"snub_{name.lower()}", (drain, source))
    return parts


def _snubber(
    values: SnubberValues, number: Numbering, role: str, middle: str, across: tuple[str, str]
) -> list[Part]:
    return [
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=(across[0], middle),
            value=values.resistor_ohm,
            role=f"{role} resistor",
            part_id=code(values.resistor_ohm, "resistance"),
        ),
        Part(
            designator=number.next("C"),
            kind="capacitor",
            nets=(middle, across[1]),
            value=values.capacitor_f,
            role=f"{role} capacitor",
            part_id=code(values.capacitor_f, "capacitance"),
            initial_v=0.0,
        ),
    ]


def _clamp(values: ClampValues, number: Numbering, clamp_v: float) -> list[Part]:
    """A diode from each drain into one capacitor; its charge returns to the battery."""
    pairs: list[tuple[str, str]] = []
    for _ in range(values.each):
        case = number.next("D")
        pairs.append((f"{case}A", f"{case}B") if values.one_case else (case, number.next("D")))
    return [
        *(
            Part(
                designator=name,
                kind="diode",
                nets=(drain, "clamp"),
                model="CLAMP_LEG",
                role="clamp diode",
                part_id=values.diode_id,
            )
            for pair in pairs
            for name, drain in zip(pair, ("drain_a", "drain_b"), strict=True)
        ),
        Part(
            designator=number.next("C"),
            kind="capacitor",
            nets=("clamp", GROUND),
            value=values.capacitor_f,
            role="clamp capacitor",
            part_id=code(values.capacitor_f, "capacitance"),
            initial_v=clamp_v,
        ),
        Part(
            designator=number.next("R"),
            kind="resistor",
            nets=("clamp", "input"),
            value=values.resistor_ohm,
            role="clamp resistor",
            part_id=code(values.resistor_ohm, "resistance"),
        ),
    ]


def _bridge(v: PowerValues, number: Numbering) -> list[Part]:
    """Centre-tapped secondary on ground, four legs to the rails."""
    secondary_h = v.magnetising_h * v.ratio**2
    parts = [
        Part(
            designator=f"T101{section}",
            kind="winding",
            nets=nets,
            value=secondary_h,
            role="half-secondary",
            standing="elsewhere",
            series_ohm=v.secondary_winding_ohm,
        )
        for section, nets in (("C", ("second_a", GROUND)), ("D", (GROUND, "second_b")))
    ]
    if v.rectifier_snubber is not None:
        for side in ("a", "b"):
            across = (f"second_{side}", GROUND)
            parts += _snubber(v.rectifier_snubber, number, "rectifier snubber", f"ring_{side}", across)
    plus, minus = (
        ("rail_positive", "rail_negative") if v.choke is None else ("choke_positive", "choke_negative")
    )
    legs = (("second_a", plus), ("second_b", plus), (minus, "second_a"), (minus, "second_b"))
    paired = bool(v.partner_id)
    names = number.sections("D", 4, 2 if paired else 1)
    for k, (name, nets) in enumerate(zip(names, legs, strict=True)):
        lower = k >= 2 and paired
        parts.append(
            Part(
                designator=name,
                kind="diode",
                nets=nets,
                model="LEG",
                role="rail rectifier, negative side" if lower else "rail rectifier",
                part_id=v.partner_id if lower else v.diode_id,
            )
        )
    return parts


def _choke(v: PowerValues, choke: ChokeValues) -> list[Part]:
    """One winding for each rail, wound in the same sense: the rails' currents magnetise alike."""
    return [
        Part(
            designator=f"L101{section}",
            kind="inductor",
            nets=nets,
            value=choke.inductance_h,
            role="output choke",
            part_id=choke.core_id,
            series_ohm=choke.resistance_ohm,
            initial_a=load_a,
        )
        for section, nets, load_a in (
            ("A", ("choke_positive", "rail_positive"), v.positive_a),
            ("B", ("rail_negative", "choke_negative"), v.negative_a),
        )
    ]
