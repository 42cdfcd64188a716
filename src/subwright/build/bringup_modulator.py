"""Steps of the first power-up of a class-D modulator: its supplies alone, then gates on a limited rail."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from subwright.base.preferred import nearest
from subwright.base.units import show
from subwright.build.bringup_numbers import rating_w, supply_limit
from subwright.build.bringup_rails import POWER_STOPS
from subwright.build.bringup_records import BenchSupply, Cause, Reading, Step
from subwright.build.result import Design
from subwright.circuits.modulator_points import modulator_points
from subwright.circuits.modulator_values import modulator_values
from subwright.parts.library import Library
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.common import Corner, Level

__all__ = ["modulator_steps", "switching_reading"]

_ZENER: Final = 0.07  # zener 5 %, the follower's base-emitter voltage, the meter; common practice
_REFERENCE: Final = 0.03  # 431 family 2 %, its two resistors; common practice
_LOGIC_HIGH: Final = 0.8  # of the logic's supply: a high that no input doubts; common practice
_DROP: Final = 0.2  # of the rail, across each series resistor at rest; common practice
_OVERLOAD: Final = 5.0  # times its rating that a wirewound resistor stands for five seconds; common practice
_BOOTSTRAP: Final = 0.12  # of the voltage on it: zener, diode and ripple; common practice
_NODE: Final = 0.25  # of the rail, either way: a node that plays rests in the middle; common practice
_RESTS_ON: Final = ("amplifier",)


def modulator_steps(design: Design, library: Library, bench_v: float, links: str) -> Iterator[Step]:
    """Supplies with the switches' rail open, then the gates with that rail behind resistors.

    Nothing for an amplifier without a modulator.

    Parameters
    ----------
    design, library : of the unit. bench_v : supply voltage, V. links : state of the protections' links.
    """
    m = design.amplifier.modulator
    if m is None:
        return
    points = {
        point.net: point.designator for point in modulator_points(modulator_values(design.amplifier, library))
    }
    yield _supplies(design, m, points, bench_v, links)
    yield _gates(design, library, m, points, bench_v, links)


def switching_reading(m: Modulator, key: str, name: str, where: str) -> Reading:
    """The switching frequency at rest, its window that of the modulator's own parts."""
    return Reading(
        key=key,
        name=name,
        where=where,
        dimension="frequency",
        expected=m.switching_hz,
        low=m.switching_window_hz[0],
        high=m.switching_window_hz[1],
        basis="every timing part at its limit",
        rests_on=_RESTS_ON,
    )


def _volts(
    key: str, name: str, where: str, expected: float, low: float, high: float | None, basis: str
) -> Reading:
    return Reading(
        key=key,
        name=name,
        where=where,
        dimension="voltage",
        expected=expected,
        low=low,
        high=high,
        basis=basis,
        customary=True,
        rests_on=_RESTS_ON,
    )


def _stands(m: Modulator) -> str:
    """What logic and drivers stand on, in words."""
    return "the negative rail" if m.split_rails else "0 V"


def _supply_readings(m: Modulator, points: Mapping[str, str], bench_v: float) -> Iterator[Reading]:
    zener = "zener 5 %, base-emitter voltage, meter"
    direct = "driver supply follower" not in m.part_ids
    bottom, top = (1.0 - _ZENER) * m.gate_supply_v, (1.0 + _ZENER) * m.gate_supply_v
    yield _volts(
        "modulator-gate-supply",
        "supply of the drivers",
        f"{points['driver_supply']} to {_stands(m)}",
        m.gate_supply_v,
        min(bottom, m.gate_supply_low_v) if direct else bottom,
        max(top, bench_v) if direct else top,
        "between the lowest and the highest supply" if direct else zener,
    )
    yield _volts(
        "modulator-logic-supply",
        "supply of the logic",
        f"{points['logic_supply']} to {_stands(m)}",
        m.logic_supply_v,
        (1.0 - _ZENER) * m.logic_supply_v,
        (1.0 + _ZENER) * m.logic_supply_v,
        zener,
    )
    signs = ("positive", "negative") if m.split_rails else ("positive",)
    for word in signs:
        yield _volts(
            f"modulator-op-{word}",
            f"{word} supply of op-amp and comparator (size, without sign)",
            f"{points[f'op_{word}']} to 0 V",
            m.op_supply_v,
            (1.0 - 1.5 * _ZENER) * m.op_supply_v,
            max((1.0 + _ZENER) * m.op_supply_v, top if direct else 0.0, bench_v if direct else 0.0),
            zener,
        )
    if not m.split_rails:
        yield _volts(
            "modulator-reference",
            "what the modulator takes for 0 V",
            f"{points['reference']} to 0 V",
            m.reference_v,
            (1.0 - _REFERENCE) * m.reference_v,
            (1.0 + _REFERENCE) * m.reference_v,
            "431 family 2 %, two resistors",
        )


def _supplies(design: Design, m: Modulator, points: Mapping[str, str], bench_v: float, links: str) -> Step:
    idle_a = design.point(Corner.CHARGING, Level.IDLE).battery_a
    muted = "mute series" in m.resistors_ohm
    how = f"Hold {'MUTE to 0 V' if muted else 'the capacitor of the mute short'} with a clip lead."
    readings = [*_supply_readings(m, points, bench_v)]
    readings.append(
        _volts(
            "modulator-stop",
            "stop of the drivers while muted",
            f"{points['stop']} to {_stands(m)}",
            m.logic_supply_v,
            _LOGIC_HIGH * m.logic_supply_v,
            (1.0 + _ZENER) * m.logic_supply_v,
            "an inverter's high",
        )
    )
    if m.clocked:
        readings.append(
            switching_reading(m, "modulator-clock", "frequency of the clock", f"{points['carrier']} to 0 V")
        )
    return Step(
        number=0,
        key="modulator-supplies",
        title="Modulator alone, the switches' rail open",
        fitted=("modulator connected to its supply",),
        absent=("links from the supply to the output switches", "driver", "dummy load"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * idle_a)),
        load="nothing on the output",
        actions=(
            "Discharge everything. Connect the modulator; leave the links to the output switches open: their "
            "drains see no rail yet.",
            how,
            *(
                (
                    "Logic and drivers stand on the negative rail: clip the meter's other lead there. Never "
                    "clip an earthed probe's ground to it.",
                )
                if m.split_rails
                else ()
            ),
            "Turn the voltage up slowly; read the supplies in the order of the list.",
        ),
        readings=tuple(readings),
        causes=(
            Cause(
                sign="the drivers' supply is low or missing",
                cause="its zener is reversed or wrong, or the follower is turned round",
                remedy="measure base and collector of the follower; a zener forward reads 0.7 V",
                fault="modulator-gate-supply-wrong",
            ),
            Cause(
                sign="the logic's supply is wrong, the drivers' in order",
                cause="its zener is wrong or reversed, or the 74HC14 is in back to front",
                remedy="take the inverters out of their socket and read again",
                fault="modulator-logic-supply-wrong",
            ),
            Cause(
                sign="no voltage at the op-amp's pins",
                cause="its resistor or follower is open, or the op-amp shorts it",
                remedy="measure at both ends of the resistor",
                fault="modulator-op-supply-missing",
            ),
            Cause(
                sign="stop stays low while muted",
                cause="the mute's transistor or inverter doesn't follow: nothing would stop the drivers",
                remedy="follow the mute line to the inverter's input",
                fault="mute-silent",
            ),
            *(
                (
                    Cause(
                        sign="the clock is off or stands still",
                        cause="a wrong timing part; or the comparator's ground pin hangs in the air",
                        remedy="measure resistor and capacitor out of circuit; read the ground pins",
                        fault="amplifier-timing-wrong",
                    ),
                )
                if m.clocked
                else ()
            ),
        ),
        stops=(*POWER_STOPS, "The drivers' supply passes 20 V: they don't stand more."),
    )


def _gates(
    design: Design, library: Library, m: Modulator, points: Mapping[str, str], bench_v: float, links: str
) -> Step:
    point = design.point(Corner.CHARGING, Level.IDLE)
    own_a = m.driver_supply_a + m.op_positive_a
    through_a = max(point.rail_a - own_a, 0.2 * point.rail_a)
    ohm = nearest(_DROP * m.rail_nominal_v / max(point.rail_a, 1e-3), "E12")
    short_w = m.rail_nominal_v**2 / ohm
    each = "each rail" if m.split_rails else "the supply"
    dead = [
        Reading(
            key=f"gate-dead-time-{key}",
            name=f"dead time, {first} switch off to {second} switch on",
            where="both gates of leg A, each against its own source, differential probe on the upper one",
            dimension="time",
            expected=m.dead_time_s,
            low=max(m.dead_time_window_s[0], 0.0),
            high=m.dead_time_window_s[1],
            basis="thresholds of the inverters, RC and drivers at their limits",
            rests_on=_RESTS_ON,
        )
        for key, first, second in (("down", "upper", "lower"), ("up", "lower", "upper"))
    ]
    zener = library.zener(m.part_ids["bootstrap zener"])
    boost = [
        _volts(
            f"bootstrap-{name}",
            f"bootstrap capacitor of leg {name.upper()}",
            f"across it: {points[f'boost_{name}']} to the switched node, a meter that floats",
            m.bootstrap_v,
            (1.0 - _BOOTSTRAP) * m.bootstrap_v,
            max((1.0 + _BOOTSTRAP) * m.bootstrap_v, (1.0 + zener.tolerance) * zener.vz_v),
            "drivers' supply less a diode; unloaded it may fill to its zener",
        )
        for name in "ab"[: m.legs]
    ]
    drop_v = through_a * ohm
    rest_v = 0.0 if m.split_rails else 0.5 * m.rail_nominal_v
    return Step(
        number=0,
        key="modulator-gates",
        title="Gates, on a rail behind resistors",
        fitted=(f"{show(ohm, 'resistance')} in the link from {each} to the output switches",),
        absent=("plain links to the output switches", "driver", "dummy load"),
        links=links,
        supply=BenchSupply(voltage_v=bench_v, limit_a=supply_limit(2.0 * point.battery_a)),
        load="nothing on the output",
        actions=(
            f"Discharge. In place of the link from {each} to the output switches fit "
            f"{show(ohm, 'resistance')} of {rating_w(short_w / _OVERLOAD):.0f} W: a switch that conducts "
            "when it shouldn't then heats a resistor, not itself, for the seconds until you switch off.",
            "Input shorted. Free the mute; the switching starts by itself.",
            "Look at both gates of a leg together: never both high; then at the other edge.",
        ),
        readings=(
            switching_reading(m, "gate-frequency", "switching frequency", "gate of leg A's lower switch"),
            _volts(
                "modulator-stop-free",
                "stop of the drivers once it may play",
                f"{points['stop']} to {_stands(m)}",
                0.0,
                0.0,
                (1.0 - _LOGIC_HIGH) * m.logic_supply_v,
                "an inverter's low",
            ),
            *dead,
            *boost,
            _volts(
                "node-rest",
                "mean of leg A's switched node",
                "leg A's switched node to 0 V, a meter on direct voltage",
                rest_v,
                rest_v - _NODE * m.rail_nominal_v,
                rest_v + _NODE * m.rail_nominal_v,
                "equal pulses at rest; a node that stands still lies at a rail",
            ),
            _volts(
                "stage-drop",
                "across each of the series resistors",
                "from end to end of the resistor",
                drop_v,
                0.2 * drop_v,
                2.5 * drop_v,
                "loss model at rest; the rail at the switches is lower than it will be",
            ),
        ),
        causes=(
            Cause(
                sign="the series resistors get hot",
                cause="both switches of a leg conduct together, or one is shorted or reversed",
                remedy="dead time at both edges first, then each switch from drain to source",
                fault="output-switch-shorted",
            ),
            Cause(
                sign="dead time outside its window",
                cause="a dead-time resistor, capacitor or diode is wrong or turned round",
                remedy="measure them; the diode's cathode is at the capacitor",
                fault="dead-time-part-wrong",
            ),
            Cause(
                sign="nothing switches, the mute is free",
                cause="stop is still high: the mute's way to the inverter is open",
                remedy=f"read {points['stop']}: it must be low now",
                fault="mute-stuck",
            ),
            Cause(
                sign="nothing switches, stop is low, the output lies at a rail",
                cause="a half-bridge's feedback from its node is open, or a bridge's nodes are crossed",
                remedy="measure from each node to its integrator resistor; swap NODE A with NODE B",
                fault="modulator-feedback-open",
            ),
            Cause(
                sign="the bootstrap capacitor stays low",
                cause="its diode is reversed or open, its zener reversed, or nothing charges it before the "
                "first pulse",
                remedy="measure across the diode; then the pre-charge or node bleed resistor",
                fault="bootstrap-open",
            ),
            Cause(
                sign="frequency outside its window",
                cause="a wrong timing part, or a wrong integrator capacitor",
                remedy="measure them out of circuit",
                fault="amplifier-timing-wrong",
            ),
        ),
        stops=(*POWER_STOPS, "A series resistor smells, or drops more than half the rail."),
    )
