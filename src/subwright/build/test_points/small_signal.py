"""What drives the output stage: class D's modulator and the voltage stage of class AB, at rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from subwright.build.result import Design
from subwright.build.test_points.states import ANY_BATTERY, NO_SIGNAL, operating_points
from subwright.circuits.amplifier_values import class_ab_values
from subwright.circuits.modulator_points import modulator_points
from subwright.circuits.modulator_values import modulator_values
from subwright.circuits.netlist import Reading, TestPoint
from subwright.circuits.voltage_stage_circuit import stage_points
from subwright.parts.library import Library
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.common import Corner

__all__ = ["modulator_readings", "voltage_stage_readings"]

_FLOATING: Final = ("boost_a", "boost_b")


def modulator_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings of the modulator by net, on the rails that the chain gives at rest.

    Parameters
    ----------
    design : the build; an empty mapping without a modulator. library : parts with the drawer merged.
    """
    modulator = design.amplifier.modulator
    if modulator is None:
        return {}
    found: dict[str, list[Reading]] = {}
    for at, point in operating_points(design, NO_SIGNAL):
        values = modulator_values(design.amplifier, library, rail_v=point.rail_mean_v)
        more_v = _gate_supply_v(modulator, point.corner) - modulator.gate_supply_v
        for net, reading in _by_net(modulator_points(values)):
            lifted = net == "driver_supply" or net in _FLOATING
            dc_v = reading.dc_v + (more_v if lifted else 0.0)
            found.setdefault(net, []).append(replace(reading, at=at, dc_v=dc_v))
    return _merged(found)


def _gate_supply_v(modulator: Modulator, corner: Corner) -> float:
    """Supply of the drivers at a battery, V."""
    ends = {Corner.LOW: modulator.gate_supply_low_v, Corner.MAX: modulator.gate_supply_high_v}
    nominal_v = modulator.gate_supply_v
    return ends.get(corner, nominal_v) if modulator.driver_supply_direct else nominal_v


def voltage_stage_readings(design: Design) -> Mapping[str, tuple[Reading, ...]]:
    """Readings of the voltage stage by net, on the rails that the chain gives at rest.

    Parameters
    ----------
    design : the build; an empty mapping without a voltage stage.
    """
    result = design.amplifier
    stage = result.voltage_stage
    if stage is None:
        return {}
    found: dict[str, list[Reading]] = {}
    for at, point in operating_points(design, NO_SIGNAL):
        switched = result.rail_switching is not None
        values = class_ab_values(result, rail_v=point.rail_mean_v, switched=switched)
        points = stage_points(
            stage, "ab"[: values.legs], split_rails=values.split_rails, supply_v=values.rail_v
        )
        for net, reading in _by_net(points):
            found.setdefault(net, []).append(replace(reading, at=at))
    return _merged(found)


def _by_net(points: tuple[TestPoint, ...]) -> list[tuple[str, Reading]]:
    return [(point.net, reading) for point in points for reading in point.readings]


def _merged(found: Mapping[str, list[Reading]]) -> dict[str, tuple[Reading, ...]]:
    """Rows that no battery changes, once."""
    made = {}
    for net, rows in found.items():
        once = {replace(row, at=f"{ANY_BATTERY}, {NO_SIGNAL}") for row in rows}
        made[net] = tuple(once) if len(once) == 1 else tuple(rows)
    return made
