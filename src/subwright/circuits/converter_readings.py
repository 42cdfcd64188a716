"""What the bench should read at the power stage's test points, battery by battery, by the closed form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.circuits.converter_point import averaged_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.netlist import Reading

__all__ = ["power_readings"]


def power_readings(values: PowerValues, corners: Mapping[str, float]) -> Mapping[str, tuple[Reading, ...]]:
    """Readings by net.

    Parameters
    ----------
    values : the power stage with its load. corners : battery voltages by name, V; one at which a rail
        collapses under this load is left out.

    Returns
    -------
    For each net with a test point: mean, swing and shape at each battery.
    """
    found: dict[str, list[Reading]] = {}
    rate = show(values.switching_hz, "frequency")
    for name, emf_v in corners.items():
        v = replace(values, emf_v=emf_v)
        try:
            point = averaged_point(v)
        except SubwrightError:
            continue
        volts = v.emf_v - v.source_ohm * point.battery_a
        most = volts if v.bridge else 2.0 * volts
        found.setdefault("input", []).append(
            Reading(
                at=name,
                dc_v=volts,
                ripple_v=point.battery_a / v.share * v.input_esr_ohm,
                waveform=f"square ripple at twice {rate}",
            )
        )
        for net in ("leg_a", "leg_b") if v.bridge else ("drain_a", "drain_b"):
            shape = f"square wave 0 V to {most:.0f} V, {rate}"
            found.setdefault(net, []).append(Reading(at=name, dc_v=0.5 * most, ripple_v=most, waveform=shape))
        for net, sign, rail_v, load_a in (
            ("rail_positive", 1.0, point.positive_v, v.positive_a),
            ("rail_negative", -1.0, point.negative_v, v.negative_a),
        ):
            gap = load_a * (1.0 - v.share) / (2.0 * v.switching_hz * v.reservoir_f)
            swing = gap + load_a / v.share * v.reservoir_esr_ohm
            found.setdefault(net, []).append(
                Reading(at=name, dc_v=sign * rail_v, ripple_v=swing, waveform=f"ripple at twice {rate}")
            )
    return {net: tuple(rows) for net, rows in found.items()}
