"""What the bench reads behind the battery guard and at its gate, the battery right way round and reversed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from subwright.build.result import Design
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, played
from subwright.build.test_points.wiring import battery_currents, dips
from subwright.build.wiring_values import wiring_values
from subwright.circuits.battery_guard_circuit import BEHIND
from subwright.circuits.netlist import Reading
from subwright.circuits.wiring_circuit import UNIT_NETS, net_ohm
from subwright.parts.library import Library
from subwright.physics.networks.supplies import zener_node_v
from subwright.stages.battery_guard_records import BatteryGuardResult, ReverseSwitch
from subwright.stages.common import Corner, Level

__all__ = ["battery_guard_readings", "gate_v", "reversed_diode"]

_REVERSED: Final = "nominal battery, reversed"


def gate_v(switch: ReverseSwitch, library: Library, behind_v: float) -> float:
    """Gate of the reverse-polarity switch against 0 V, V.

    Parameters
    ----------
    switch, library : the switch and the parts. behind_v : supply behind the guard, V.

    Source
    ------
    The gate's zener diode through the gate's resistor, between source and the other pole. [derived]
    """
    zener = library.zener(switch.clamp_id)
    across_v = zener_node_v(behind_v, switch.gate_ohm, 0.0, zener.vz_v, zener.rz_ohm, zener.iz_test_a)
    return behind_v - across_v if switch.kind == "p_mosfet" else across_v


def reversed_diode(
    guard: BatteryGuardResult, library: Library, battery_v: float, source_ohm: float
) -> tuple[float, float]:
    """Current that a reversed battery drives through the diodes across the input, A, and the supply then, V.

    Parameters
    ----------
    guard, library : with its diodes, and the parts. battery_v, source_ohm : battery, cable and fuse, V and Ω.

    Source
    ------
    Kirchhoff's voltage law; the diodes as a threshold and a slope. [derived]
    """
    assert guard.diode is not None
    record = library.rectifier(guard.diode.rectifier)
    slope_ohm = record.rd_ohm / guard.diode.count
    ampere = (battery_v - record.vf0_v) / (source_ohm + slope_ohm)
    return ampere, -(record.vf0_v + slope_ohm * ampere)


def battery_guard_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings at the test points of the battery guard, by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Returns
    -------
    Without a signal and at full sine on each battery, and with the nominal one reversed; {} without a guard.
    """
    guard = design.battery_guard
    if guard is None:
        return {}
    found = {BEHIND: tuple(_behind(design, guard, library))}
    if guard.reverse is not None:
        gates = [
            Reading(at=row.at, dc_v=gate_v(guard.reverse, library, row.dc_v))
            for row in found[BEHIND]
            if row.at.endswith(NO_SIGNAL)
        ]
        found["guard_gate"] = (*gates, Reading(at=_REVERSED, dc_v=0.0))
    return found


def _behind(design: Design, guard: BatteryGuardResult, library: Library) -> Iterator[Reading]:
    inside_ohm = 0.0
    if guard.reverse is not None and guard.reverse.kind == "p_mosfet":
        inside_ohm = guard.reverse.resistance_ohm
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, (corner, level) in played(signal).items():
            values = wiring_values(design, corner=corner)
            ohm = net_ohm(values)[UNIT_NETS[0]] + inside_ohm
            least_a, mean_a, most_a = battery_currents(design, corner, level)
            mean_v, least_v = values.emf_v - ohm * mean_a, values.emf_v - ohm * most_a
            if level is Level.IDLE:
                yield Reading(at=at, dc_v=mean_v)
                continue
            shape = dips(design, library, corner, least_v, board=True)
            yield Reading(at=at, dc_v=mean_v, ripple_v=ohm * (most_a - least_a), waveform=shape)
    if guard.reverse is not None:
        yield Reading(at=_REVERSED, dc_v=0.0)
    elif guard.diode is not None:
        nominal_v = design.supply.corners[Corner.NOMINAL]
        behind_v = reversed_diode(guard, library, nominal_v, design.supply.source_resistance_ohm)[1]
        yield Reading(at=f"{_REVERSED}, until the fuse opens", dc_v=behind_v)
