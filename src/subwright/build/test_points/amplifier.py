"""The output stage: switched nodes, outputs and bases, at every battery, with and without signal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from subwright.base.units import show
from subwright.build.result import Design, OperatingPoint
from subwright.build.test_points.amplifier_rails import lifted_rows, two_pair_rows
from subwright.build.test_points.followers import Row, base_rows, output_rows
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, operating_points
from subwright.circuits.amplifier_values import ClassDValues, class_ab_values, class_d_values
from subwright.circuits.netlist import Reading
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.carrier_ripple import carrier_ripple_v

__all__ = ["amplifier_readings"]


def amplifier_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings by net, of whichever class.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.

    Returns
    -------
    For each net with a test point: mean, swing and shape at each battery, without signal and with a full
    sine of the lowest note into the rated load. The rails are the settled chain's means at that level.
    """
    found: dict[str, list[Reading]] = {}
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, point in operating_points(design, signal):
            peak_v = point.output_peak_v if signal == FULL_SINE else 0.0
            for net, dc_v, ripple_v, waveform in _rows(design, library, point, peak_v):
                reading = Reading(at=at, dc_v=dc_v, ripple_v=ripple_v, waveform=waveform)
                found.setdefault(net, []).append(reading)
    return {net: tuple(rows) for net, rows in found.items()}


def _rows(design: Design, library: Library, point: OperatingPoint, peak_v: float) -> Iterator[Row]:
    """Net, mean, swing and shape; ``peak_v`` at the load's terminals, 0 at rest."""
    result, model = design.amplifier, design.amplifier.model
    note = show(design.spec.goal.lowest_note_hz, "frequency")
    rail_v, load = point.rail_mean_v, result.load_ohm
    at_lead = peak_v * (load + model.cable_ohm) / load
    if isinstance(model, ClassDModel):
        yield from _switched(class_d_values(result, rail_v=rail_v), model, at_lead, note)
        return
    assert isinstance(model, ClassABModel)
    rails = result.rail_switching
    values = class_ab_values(result, rail_v=rail_v, switched=model.switched)
    if rails is not None and rails.form == "lifted":
        yield from lifted_rows(result, library, values, at_lead, design.spec.goal.lowest_note_hz)
        return
    yield from output_rows(values, at_lead, note)
    yield from base_rows(values, model, at_lead, peak_v / load, note)
    if rails is not None:
        yield from two_pair_rows(values, model, rails, library, at_lead, peak_v / load, note)


def _switched(v: ClassDValues, model: ClassDModel, at_lead: float, note: str) -> Iterator[Row]:
    low_v = -v.rail_v if v.split_rails else 0.0
    middle_v = low_v + 0.5 * v.bus_v
    rate = show(v.switching_hz, "frequency")
    between = f"{low_v:.1f} V to {v.rail_v:.1f} V"
    if at_lead == 0.0:
        node = f"square wave {between}, half of the time, {rate}"
        swing_v = carrier_ripple_v(
            v.bus_v,
            v.switching_hz,
            v.inductance_h,
            v.filter_f,
            v.damping_ohm,
            v.damping_f,
            v.switch_ohm + v.inductor_ohm,
        )
        out = f"ripple at {rate}"
    else:
        slowest = show(model.least_switching_hz(), "frequency")
        paced = f"{rate}, down to {slowest} at the crests" if model.self_oscillating else rate
        node = f"pulses {between}, {paced}, their width follows the sine"
        leg_v = at_lead / v.legs
        swing_v, out = 2.0 * leg_v, f"sine {leg_v:.1f} V peak, {note}"
    for name in "ab"[: v.legs]:
        yield f"node_{name}", middle_v, v.bus_v, node
        yield f"out_{name}", middle_v, swing_v, out
