"""The converter's power stage: battery, push-pull primary, rail bridge, reservoirs.

The leakage sits in series with each half-primary, so that its energy ends in the switch's avalanche clamp, as
the averaged model has it. Output capacitances are left out: they ring at a hundred megahertz, which a peak
would feel and an average does not. Nothing here predicts a drain spike.
"""

from __future__ import annotations

from typing import Final

from subwright.base.units import code
from subwright.circuits.converter_point import averaged_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.models import DiodeModel, SwitchModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Coupling,
    Numbering,
    Part,
    Pulse,
    Steady,
    TestPoint,
)

__all__ = ["power_circuit"]

_HUNDRED: Final = 100
_EDGE_S: Final = 20e-9
_GATE_V: Final = 10.0
_THRESHOLD_V: Final = 5.0
_STRAY: Final = 2e-3  # share of the leakage that the coupling may leave; the leakage is a part of its own
_OFF_RATIO: Final = 1e4  # off resistance over battery voltage by current: costs 0.04 % of the power


def power_circuit(values: PowerValues) -> Circuit:
    """Netlist of the power stage; capacitors start at the closed form's voltages.

    Parameters
    ----------
    values : everything in it.
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
    parts += _primary(v, number)
    parts += _bridge(v, number)
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
    return Circuit(
        name="converter power stage",
        parts=tuple(parts),
        models=(
            SwitchModel(
                name="SWITCH",
                on_ohm=v.switch_ohm * v.switches_per_side,
                off_ohm=_OFF_RATIO * v.switches_per_side * v.emf_v / point.battery_a,
                threshold_v=_THRESHOLD_V,
                clamp_v=v.clamp_v,
            ),
            DiodeModel(
                name="LEG",
                forward_v=v.diode_v,
                resistance_ohm=v.diode_ohm,
                rated_a=max(v.positive_a, v.negative_a) / v.share,
            ),
        ),
        couplings=(
            Coupling(designator="T101", windings=("T101A", "T101B", "T101C", "T101D"), factor=_coupling(v)),
        ),
        test_points=(
            TestPoint(designator="TP101", net="input", what="battery terminal"),
            TestPoint(designator="TP102", net="drain_a", what="drain of the first switch"),
            TestPoint(designator="TP103", net="drain_b", what="drain of the second switch"),
            TestPoint(designator="TP104", net="rail_positive", what="positive rail"),
            TestPoint(designator="TP105", net="rail_negative", what="negative rail"),
        ),
    )


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


def _primary(v: PowerValues, number: Numbering) -> list[Part]:
    """Half-primaries from the battery to the switches.

    The first pulse is half as long as the others, so that the magnetising current swings about zero from the
    start; left to itself it would take thousands of cycles.
    """
    parts: list[Part] = []
    on_s = 0.5 * v.share * v.period_s
    first = Pulse(
        first=_GATE_V, then=0.0, delay_s=0.5 * on_s, edge_s=_EDGE_S, then_s=v.period_s - on_s,
        period_s=v.period_s,
    )  # fmt: skip
    second = Pulse(
        first=0.0, then=_GATE_V, delay_s=0.5 * (v.period_s - on_s), edge_s=_EDGE_S, then_s=on_s,
        period_s=v.period_s,
    )  # fmt: skip
    for side, section, drive in (("a", "A", first), ("b", "B", second)):
        leak, drain, gate = f"leak_{side}", f"drain_{side}", f"gate_{side}"
        ends = (leak, drain) if side == "a" else (drain, leak)
        if v.leakage_h > 0.0:
            leakage = Part(
                designator=f"T101{section}_LEAK",
                kind="inductor",
                nets=("input", leak),
                value=v.leakage_h,
                role="leakage",
                standing="inherent",
            )
        else:
            leakage = Part(
                designator=f"T101{section}_LEAK",
                kind="resistor",
                nets=("input", leak),
                value=1e-6,
                role="no leakage",
                standing="inherent",
            )
        parts += [
            leakage,
            Part(
                designator=f"T101{section}",
                kind="winding",
                nets=ends,
                value=v.magnetising_h,
                role="half-primary",
                standing="elsewhere",
                series_ohm=v.primary_winding_ohm + v.link_ohm,
            ),
            Part(
                designator=f"BENCH_GATE_{section}",
                kind="voltage source",
                nets=(gate, GROUND),
                value=drive,
                role="gate drive",
                standing="bench",
            ),
        ]
        parts += [
            Part(
                designator=number.next("Q"),
                kind="mosfet",
                nets=(drain, gate, GROUND),
                model="SWITCH",
                role="push-pull switch",
                part_id=v.switch_id,
            )
            for _ in range(v.switches_per_side)
        ]
        if v.snubber_ohm is not None and v.snubber_f is not None:
            middle = f"snub_{side}"
            parts += [
                Part(
                    designator=number.next("R"),
                    kind="resistor",
                    nets=(drain, middle),
                    value=v.snubber_ohm,
                    role="snubber resistor",
                    part_id=code(v.snubber_ohm, "resistance"),
                ),
                Part(
                    designator=number.next("C"),
                    kind="capacitor",
                    nets=(middle, GROUND),
                    value=v.snubber_f,
                    role="snubber capacitor",
                    part_id=code(v.snubber_f, "capacitance"),
                    initial_v=0.0,
                ),
            ]
    return parts


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
    legs = (
        ("second_a", "rail_positive"),
        ("second_b", "rail_positive"),
        ("rail_negative", "second_a"),
        ("rail_negative", "second_b"),
    )
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
