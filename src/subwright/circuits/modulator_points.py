"""What the bench should find at the modulator's test points, running at rest."""

from __future__ import annotations

from typing import Final

from subwright.base.units import show
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import Reading, TestPoint

__all__ = ["modulator_points"]

_FIRST: Final = 1300
_REST: Final = "nominal rails, no signal, not muted"


def modulator_points(v: ModulatorValues) -> tuple[TestPoint, ...]:
    """Test points in the order in which the signal passes them.

    Voltages are against 0 V, those of logic and drivers against what they stand on. Windows are in the
    findings and the bring-up; these are the middle values.
    """
    m = v.record
    low_v = -v.rail_v if m.split_rails else 0.0
    rate = show(m.switching_hz, "frequency")
    logic = f"square wave of half the time, {low_v:.1f} V to {low_v + m.logic_supply_v:.1f} V, {rate}"
    rows: list[tuple[str, str, float, float, str]] = [
        ("buffered", "input buffer's output", v.zero_v, 0.0, ""),
        ("integrated", "error integrator's output", *_integrated(v), f"triangle, {rate}"),
    ]
    if m.clocked:
        swing = m.clock_high_v - m.clock_low_v
        shape = f"triangle {m.clock_low_v:.2f} V to {m.clock_high_v:.2f} V, {rate}"
        rows.append(("carrier", "clock's triangle", 0.5 * (m.clock_low_v + m.clock_high_v), swing, shape))
    rows += [
        ("logic_pwm", "pulses into the logic", low_v + 0.5 * m.logic_supply_v, m.logic_supply_v, logic),
        ("high_drive", "drive of the upper switch, leg A", *_drive(v, low_v), logic),
        ("low_drive", "drive of the lower switch, leg A", *_drive(v, low_v), logic),
        ("stop", "stop of the drivers: low while it plays", low_v, 0.0, ""),
        ("logic_supply", "supply of the logic", low_v + m.logic_supply_v, 0.0, ""),
        ("driver_supply", "supply of the drivers", low_v + m.gate_supply_v, 0.0, ""),
        ("op_positive", "positive supply of op-amp and comparator", m.op_supply_v, 0.0, ""),
    ]
    if m.split_rails:
        rows.append(("op_negative", "negative supply of op-amp and comparator", -m.op_supply_v, 0.0, ""))
    else:
        rows.append(("reference", "what the modulator takes for 0 V", v.zero_v, 0.0, ""))
    middle_v = low_v + 0.5 * v.bus_v
    for name in "ab"[: m.legs]:
        shape = f"square wave that stands {m.bootstrap_v:.1f} V above the switched node, {rate}"
        what = f"floating supply of leg {name.upper()}"
        rows.append((f"boost_{name}", what, middle_v + m.bootstrap_v, v.bus_v, shape))
    return tuple(
        TestPoint(
            designator=f"TP{_FIRST + k}",
            net=net,
            what=what,
            readings=(Reading(at=_REST, dc_v=dc_v, ripple_v=ripple_v, waveform=waveform),),
        )
        for k, (net, what, dc_v, ripple_v, waveform) in enumerate(rows, 1)
    )


def _integrated(v: ModulatorValues) -> tuple[float, float]:
    """Mean and swing of the integrator's output at rest, V."""
    m = v.record
    quarter_s = 0.5 / m.switching_hz
    slope = v.swing_v / (m.resistors_ohm["integrator feedback"] * m.capacitors_f["integrator capacitor"])
    middle_v = v.zero_v
    if m.clocked:
        middle_v = 0.5 * (m.clock_low_v + m.clock_high_v) / m.compare_share
    return middle_v, slope * quarter_s


def _drive(v: ModulatorValues, low_v: float) -> tuple[float, float]:
    """Mean and swing of a drive: half the time less the dead time, V."""
    m = v.record
    share = 0.5 - m.dead_time_s * m.switching_hz
    return low_v + share * m.logic_supply_v, m.logic_supply_v
