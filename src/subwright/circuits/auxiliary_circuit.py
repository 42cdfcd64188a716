"""The small supply of filter and other small signals from a winding of its own on the main transformer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import code
from subwright.circuits.models import JunctionModel
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
from subwright.stages.converter import ConverterResult

__all__ = ["auxiliary_circuit"]

_HUNDRED: Final = 1200
_EDGE_S: Final = 50e-9
_COUPLING: Final = 0.999
_WINDING_OHM: Final = 0.5  # of some turns of thin wire; order of magnitude, from memory
_DIODE: Final = JunctionModel(name="FAST", forward_v=0.9, rated_a=0.1)
_PART: Final = "UF4002"


def auxiliary_circuit(
    result: ConverterResult,
    *,
    battery_v: float,
    corners: Mapping[str, float],
    reservoir_f: float | None = None,
) -> Circuit:
    """Netlist of the auxiliary winding, its rectifier and capacitors.

    Parameters
    ----------
    result : the converter. battery_v : at the transformer, V; a generator drives half the winding.
    corners : battery voltages by name, V, for what the test points should read.
    reservoir_f : of each side in place of the design's, F, for a quick simulation.

    Raises
    ------
    SubwrightError : the small rails are fed from the main ones.
    """
    aux, timing = result.auxiliary, result.plan.timing
    if not aux.turns:
        raise SubwrightError(
            message="The main rails feed the small-signal circuits; there is no winding for it."
        )
    number = Numbering(_HUNDRED)
    volts = battery_v * aux.turns / result.primary_turns
    period = 1.0 / timing.switching_hz
    on_s = 0.5 * timing.share * period
    inductance = result.magnetics.magnetising_h * (aux.turns / result.primary_turns) ** 2
    parts = [
        Part(
            designator="BENCH_POSITIVE",
            kind="voltage source",
            nets=("drive_up", "drive_mid"),
            value=Pulse(first=0.0, then=volts, delay_s=0.0, edge_s=_EDGE_S, then_s=on_s, period_s=period),
            role="first half cycle",
            standing="bench",
        ),
        Part(
            designator="BENCH_NEGATIVE",
            kind="voltage source",
            nets=("drive_mid", GROUND),
            value=Pulse(
                first=0.0, then=-volts, delay_s=0.5 * period, edge_s=_EDGE_S, then_s=on_s, period_s=period
            ),
            role="second half cycle",
            standing="bench",
        ),
        Part(
            designator="BENCH_OHM",
            kind="resistor",
            nets=("drive_up", "aux_a"),
            value=_WINDING_OHM,
            role="path of the drive",
            standing="bench",
        ),
    ]
    for letter, nets in (("E", ("aux_a", GROUND)), ("F", (GROUND, "aux_b"))):
        parts.append(
            Part(
                designator=f"T101{letter}",
                kind="winding",
                nets=nets,
                value=inductance,
                role="auxiliary winding",
                standing="elsewhere",
                series_ohm=_WINDING_OHM,
            )
        )
    legs = (
        ("aux_a", "aux_positive"),
        ("aux_b", "aux_positive"),
        ("aux_negative", "aux_a"),
        ("aux_negative", "aux_b"),
    )
    parts += [
        Part(
            designator=number.next("D"),
            kind="diode",
            nets=nets,
            model=_DIODE.name,
            role="auxiliary rectifier",
            part_id=_PART,
        )
        for nets in legs
    ]
    farad = aux.reservoir_f
    for net, positive in (("aux_positive", True), ("aux_negative", False)):
        nets = (net, GROUND) if positive else (GROUND, net)
        parts += [
            Part(
                designator=number.next("C"),
                kind="capacitor",
                nets=nets,
                value=farad if reservoir_f is None else reservoir_f,
                role="auxiliary capacitor",
                part_id=code(farad, "capacitance"),
                initial_v=volts - _DIODE.forward_v,
            ),
            Part(
                designator=f"BENCH_{'POSITIVE' if positive else 'NEGATIVE'}_LOAD",
                kind="current source",
                nets=nets,
                value=Steady(value=aux.current_a),
                role="regulator and what it feeds",
                standing="bench",
            ),
        ]
    points = []
    for k, (net, sign) in enumerate((("aux_positive", 1.0), ("aux_negative", -1.0)), 1):
        readings = tuple(
            Reading(at=at, dc_v=sign * (v * aux.turns / result.primary_turns - _DIODE.forward_v))
            for at, v in corners.items()
        )
        what = f"{'positive' if sign > 0 else 'negative'} small rail before its regulator"
        points.append(TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what, readings=readings))
    return Circuit(
        name="auxiliary supply",
        parts=tuple(parts),
        models=(_DIODE,),
        couplings=(Coupling(designator="T101", windings=("T101E", "T101F"), factor=_COUPLING),),
        test_points=tuple(points),
    )
