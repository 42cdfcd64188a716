"""The block of a class-D stage's modulator with gate driver: its netlist, its sheets and what they print."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.small_signal import modulator_readings
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.modulator_circuit import modulator_circuit
from subwright.circuits.modulator_values import modulator_values
from subwright.circuits.netlist import Part
from subwright.circuits.shunt_return import OUTPUT_SHUNT_NET, SHUNT_NET, through_shunt
from subwright.outputs.drawing import wrap
from subwright.outputs.point_words import on_nominal, with_minus
from subwright.outputs.schematic_amplifier_names import AMPLIFIER_NAMES, positive_name
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_guard_blocks import amplifier_shunt_ohm, battery_shunt_ohm
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_modulator import draw_signal
from subwright.outputs.schematic_modulator_drive import draw_drivers
from subwright.outputs.schematic_modulator_logic import draw_logic
from subwright.outputs.schematic_modulator_supply import draw_supplies
from subwright.outputs.schematic_symbols import Point
from subwright.parts.library import Library
from subwright.stages.amplifier_modulator_records import Modulator

__all__ = ["modulator_block"]

_Draw = Callable[[Kit], None]

_PLAIN: Final = "Resistors 0.25 W, 1 %, capacitors film 63 V unless stated."
_WIDTH: Final = 60
_PERIODS: Final = 40
_STEPS: Final = 400  # to a period


def _names(split_rails: bool, from_battery: bool, switched: bool) -> dict[str, str]:
    """Printed names of the modulator's nets; ``switched``: the control circuits' supply is."""
    return {
        **AMPLIFIER_NAMES,
        "rail_positive": positive_name(from_battery=from_battery),
        "control": "CONTROL" if switched else "BATTERY",
        "op_positive": "+MOD",
        "op_negative": "\u2212MOD",
        "reference": "MOD REF",
        "clock_supply": "+CLOCK",
        "logic_supply": "+LOGIC",
        "driver_supply": "+GATE",
        "pwm" if split_rails else "logic_pwm": "PWM",
        "high_drive": "HIGH",
        "low_drive": "LOW",
        "stop": "STOP",
        **{f"boost_{leg}": f"BOOST {leg.upper()}" for leg in "ab"},
    }


def _at_the_switches(part: Part) -> bool:
    return part.role in ("gate driver", "gate pull-down", "driver decoupling")


def modulator_block(design: Design, library: Library) -> Iterator[Block]:
    """The modulator of a class-D stage; nothing for other kinds.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.
    """
    result = design.amplifier
    found = result.modulator
    if found is None:
        return
    circuit = modulator_circuit(modulator_values(result, library))
    circuit = circuit.with_readings(modulator_readings(design, library))
    if result.rails != "split":  # where the switches return over a shunt, so do their drivers
        for net, sense_ohm in (
            (SHUNT_NET, battery_shunt_ohm(design)),
            (OUTPUT_SHUNT_NET, amplifier_shunt_ohm(design)),
        ):
            if sense_ohm is not None:
                circuit = through_shunt(circuit, sense_ohm, _at_the_switches, net)
    period_s = 1.0 / found.switching_hz
    yield Block(
        key="modulator",
        title="Modulator",
        stage="amplifier",
        circuit=circuit,
        names=_names(
            found.split_rails,
            result.rails == "battery",
            design.control is not None and design.control.remote is not None,
        ),
        draw=partial(_signal, found),
        more=(partial(_logic, found), partial(_drivers, found), partial(_supplies, found)),
        more_titles=("logic and dead time", "gate drivers", "supplies"),
        analysis=Transient(stop_s=_PERIODS * period_s, step_s=period_s / _STEPS, from_initial=True),
        probes=tuple(Voltage(point.net) for point in circuit.test_points),
    )


def _signal(found: Modulator, kit: Kit) -> tuple[str, ...]:
    draw_signal(kit)
    rate = _window("switching frequency", found.switching_hz, found.switching_window_hz, "frequency")
    at = (90, 600) if found.clocked else (90, 540)
    _readings(kit, at, ("buffered", "integrated", "carrier"), (rate,))
    return (
        f"Take NODE A{' and NODE B' if found.legs == 2 else ''} from the switches' own terminals, "
        "ahead of the output filter.",
        "The integrator's four resistors set gain and offset: pair them with a meter, or buy them closer.",
        "Keep this sheet's parts away from the switches; its 0 V joins the power's at one point only.",
        _PLAIN,
    )


def _logic(found: Modulator, kit: Kit) -> tuple[str, ...]:
    draw_logic(kit)
    nets = ("logic_pwm", "high_drive", "low_drive", "stop")
    dead = _window("dead time, gate to gate", found.dead_time_s, found.dead_time_window_s, "time")
    _readings(kit, (700, 550), nets, (dead,))
    stands = "the negative rail" if found.split_rails else "0 V"
    spare = ", ".join(kit.spare_sections)
    notes = [
        f"Logic and drivers stand on {stands}"
        + (": measure across their parts." if stands != "0 V" else "."),
        "STOP high: both drives low, all switches off.",
        "Each RC delays one turn-on; the diode past its resistor keeps the turn-off quick.",
    ]
    if spare:
        notes.append(f"Not used: {spare}. Input to pin 7, output open.")
    return (*notes, _PLAIN)


def _drivers(found: Modulator, kit: Kit) -> tuple[str, ...]:
    draw_drivers(kit)
    if found.legs == 1:
        _readings(kit, (90, 570), ("boost_a",))
    return (
        "Gate and source leads short, twisted, to the switch's own legs; one pair for each switch.",
        f"Bootstrap and decoupling capacitors at the driver's pins{_bypass(kit)}.",
        "Pins 4, 8 and 14 of the driver's case are not connected.",
        _PLAIN,
    )


def _bypass(kit: Kit) -> str:
    """Rating of the bootstrap's bypass, which its label has no room for."""
    part = kit.circuit.by_role("bootstrap bypass")[0]
    rating = kit.sheet.texts.get(part.designator, ())[2:]
    return f"; its bypass {rating[0]}" if rating else ""


def _supplies(found: Modulator, kit: Kit) -> tuple[str, ...]:
    draw_supplies(kit)
    nets = ("driver_supply", "logic_supply", "op_positive", "op_negative", "reference")
    boosts = ("boost_a", "boost_b") if found.legs == 2 else ()
    _readings(kit, (620, 540), (*nets, *boosts))
    return (
        "Feed these supplies first, the switches' rail off or behind a current limit: see the bring-up.",
        "Decouplings at the pins of the case that they serve.",
        _PLAIN,
    )


def _window(what: str, value: float, span: tuple[float, float], dimension: str) -> str:
    low, high = (show(end, dimension) for end in span)
    return f"{what}: {show(value, dimension)} ({low} to {high})"


def _readings(kit: Kit, at: Point, nets: tuple[str, ...], also: tuple[str, ...] = ()) -> None:
    """What the test points should read, and further figures, below one another."""
    rows = []
    for point in kit.circuit.test_points:
        if point.net not in nets:
            continue
        for reading in on_nominal(point):
            shape = f", {reading.waveform}" if reading.waveform else ""
            rows.append(with_minus(f"{point.designator} {point.what}: {reading.dc_v:.2f} V{shape}"))
    x, y = at
    if not rows:
        return
    kit.sheet.say(x, y, "expected on the nominal battery, no signal", head=True)
    lines = [line for row in (*rows, *also) for line in wrap(row, _WIDTH)]
    for k, words in enumerate(lines, 1):
        kit.sheet.say(x, y + 4 + 14 * k, words, classes="sm t")
