"""Between fuse and circuit: the switch or diode against a reversed battery, and the suppressor."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.builder import Builder
from subwright.circuits.models import DiodeModel, SwitchModel, ZenerModel
from subwright.circuits.netlist import GROUND, Circuit, TestPoint, Value
from subwright.parts.library import Library
from subwright.stages.battery_guard_records import BatteryGuardResult, ReverseSwitch

__all__ = ["BEHIND", "Surroundings", "battery_guard_circuit", "has_circuit"]

_HUNDRED: Final = 800
BEHIND: Final = "input"
"""Net behind the guard."""
_FIRST_POINT: Final = 11  # the wiring's own come first in this hundred
_OFF_OHM: Final = 1e7
_STATED_GATE_V: Final = 10.0  # at which the gate charge is stated


@dataclass(frozen=True, kw_only=True, slots=True)
class Surroundings:
    """What a run puts round the guard.

    Attributes
    ----------
    source_ohm : of battery or pulse generator, cable and fuse, Ω. load_ohm : what the circuit draws, Ω.
    capacitance_f, esr_ohm : input capacitors, F and Ω; 0 F for none. charged_v : their voltage at first, V.
    body_diode_v : from ground through the switches to the supply, V; None where nothing leads there.
    """

    source_ohm: float
    load_ohm: float
    capacitance_f: float = 0.0
    esr_ohm: float = 0.0
    charged_v: float | None = None
    body_diode_v: float | None = None


def has_circuit(result: BatteryGuardResult) -> bool:
    """Whether anything is fitted."""
    return result.reverse is not None or result.diode is not None or result.clamp is not None


def battery_guard_circuit(
    result: BatteryGuardResult, library: Library, *, source: Value, around: Surroundings
) -> Circuit:
    """Netlist of the battery guard between a source and what it guards.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged. source : behind the fuse, V, below zero
        where the battery is reversed. around : resistances and capacitors.

    Returns
    -------
    Circuit; ``BEHIND`` is what the circuit sees.

    Raises
    ------
    SubwrightError : nothing is fitted.
    """
    if not has_circuit(result):
        raise SubwrightError(message="Nothing guards the battery side of this build.")
    build = Builder(_HUNDRED, {part.role: part.part_id for part in result.parts})
    kind = None if result.reverse is None else result.reverse.kind
    plus = "fused" if kind == "p_mosfet" else BEHIND
    minus = "battery_minus" if kind == "n_mosfet" else GROUND
    build.bench("BATTERY", "voltage source", ("emf", minus), source, "battery or pulse")
    build.bench("SOURCE", "resistor", ("emf", plus), around.source_ohm, "battery, cable and fuse")
    build.bench("LOAD", "resistor", (BEHIND, GROUND), around.load_ohm, "what the circuit draws")
    if around.capacitance_f > 0.0:
        bank = BEHIND
        if around.esr_ohm > 0.0:
            bank = "bank"
            build.bench("ESR", "resistor", (BEHIND, bank), around.esr_ohm, "input capacitors' resistance")
        role = "input capacitors"
        build.bench(
            "BANK", "capacitor", (bank, GROUND), around.capacitance_f, role, initial_v=around.charged_v
        )
    if around.body_diode_v is not None:
        model = DiodeModel(name="BODY", forward_v=around.body_diode_v, resistance_ohm=1e-3, rated_a=10.0)
        build.bench("BODY", "diode", (GROUND, BEHIND), None, "body diodes of the switches", model=model)
    if result.reverse is not None:
        _switch(build, result.reverse, library, plus, minus)
    if result.diode is not None:
        record = library.rectifier(result.diode.rectifier)
        shunt = DiodeModel(
            name="SHUNT", forward_v=record.vf0_v, resistance_ohm=record.rd_ohm, rated_a=record.if_a
        )
        for _ in range(result.diode.count):
            build.bought("D", "diode", (GROUND, BEHIND), "diode across the input", model=shunt)
    if result.clamp is not None:
        part = library.suppressor(result.clamp.suppressor)
        clamp = ZenerModel(
            name="SUPPRESSOR", zener_v=part.break_max_v, slope_ohm=part.slope_ohm, rated_a=1e-3
        )
        for _ in range(result.clamp.count):
            build.bought("VR", "zener", (GROUND, BEHIND), "suppressor behind the fuse", model=clamp)
    points = [(BEHIND, "supply behind the guard")]
    if result.reverse is not None:
        points.append(("guard_gate", "gate of the reverse-polarity switch"))
    return Circuit(
        name="battery guard",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, _FIRST_POINT)
        ),
    )


def _switch(build: Builder, switch: ReverseSwitch, library: Library, plus: str, minus: str) -> None:
    """MOSFETs turned round, gate resistor and gate clamp."""
    mosfet, zener = library.mosfet(switch.mosfet), library.zener(switch.clamp_id)
    positive = switch.kind == "p_mosfet"
    model = SwitchModel(
        name="REVERSE",
        on_ohm=switch.resistance_ohm * switch.count,
        off_ohm=_OFF_OHM,
        threshold_v=mosfet.vgs_th_v,
        clamp_v=mosfet.vds_v,
        channel="p" if positive else "n",
    )
    gate, source = "guard_gate", BEHIND if positive else GROUND
    drain = plus if positive else minus
    for _ in range(switch.count):
        build.bought("Q", "mosfet", (drain, gate, source), "reverse-polarity switch", model=model)
    farad = switch.count * mosfet.qg_coul / _STATED_GATE_V
    ends = (source, gate) if positive else (gate, source)
    build.bench("GATE", "capacitor", ends, farad, "gates of the switches")
    far = GROUND if positive else BEHIND
    build.resistor("reverse-polarity gate resistor", far, gate, switch.gate_ohm)
    clamp = ZenerModel(name="GATE_CLAMP", zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a)
    ends = (gate, source) if positive else (source, gate)
    build.bought("VR", "zener", ends, "reverse-polarity gate clamp", model=clamp)
