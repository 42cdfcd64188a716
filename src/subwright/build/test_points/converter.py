"""The converter's power stage: battery, drains or legs, and rails, with and without signal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from subwright.base.units import show
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, operating_points
from subwright.circuits.converter_readings import power_readings
from subwright.circuits.converter_values import from_result
from subwright.circuits.netlist import Reading

__all__ = ["converter_readings"]


def converter_readings(design: Design) -> Mapping[str, tuple[Reading, ...]]:
    """Readings by net; the means of terminals and rails are those of the settled chain.

    Parameters
    ----------
    design : the build. An empty mapping without an insulated converter.
    """
    result = design.converter
    if result is None:
        return {}
    found: dict[str, list[Reading]] = {}
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, point in operating_points(design, signal):
            values = from_result(
                result,
                emf_v=point.emf_v,
                source_ohm=design.supply.source_resistance_ohm,
                positive_a=point.rail_a,
                negative_a=point.rail_a,
            )
            for net, rows in power_readings(values, {at: point.emf_v}).items():
                found.setdefault(net, []).extend(_settled(net, row, point) for row in rows)
    return {net: tuple(rows) for net, rows in found.items()}


def _settled(net: str, row: Reading, point: OperatingPoint) -> Reading:
    """The closed form's ripple about the chain's mean."""
    if net == "input":
        return replace(row, dc_v=point.terminal_v)
    if not net.startswith("rail_"):
        return row
    sign = -1.0 if net == "rail_negative" else 1.0
    sags = point.rail_mean_v - point.rail_crest_v
    shape = row.waveform
    if sags > row.ripple_v:
        shape = f"{show(row.ripple_v, 'voltage')} {shape}; each crest takes {show(sags, 'voltage')} off it"
    return replace(row, dc_v=sign * point.rail_mean_v, waveform=shape)
