"""A one-output current-mode controller as plain SPICE text: ramp, latch, error amplifier, output.

It says when each pulse begins and ends and how the error amplifier moves; edges and currents of the output
are not the family's. What a controller's record doesn't hold is the family's usual value, from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log, pi
from typing import Final

from subwright.circuits.models import CurrentModeModel

__all__ = ["current_mode_text"]

_EDGE_S: Final = 2e-9
_LATCH_F: Final = 1e-10
_OUTPUT_OHM: Final = 5.0
_BANDWIDTH_HZ: Final = 1e6  # of the error amplifier
_GAIN: Final = 30e3
_FIRST_S: Final = 1e-3  # transconductance of its first stage
_DRIVE_A: Final = 1e-3  # most that it gives: a transistor may hold its output down
_SWING_V: Final = 6.0
_DECIDED_V: Final = 2e-3  # by which the comparator leans towards no pulse


def _n(value: float) -> str:
    return repr(float(value))


def _over(voltage: str, level: float | str, slope: float = 50.0) -> str:
    """1 while a voltage is above a level, else 0."""
    return f"0.5*(1+tanh({_n(slope)}*({voltage}-({level}))))"


def _above(expression: str) -> str:
    """An expression where it is positive, else 0."""
    return f"0.5*(({expression})+abs({expression}))"


def _supply(m: CurrentModeModel) -> Iterator[str]:
    """V(run) is 1 while the supply is above the lockout; the reference stands while it runs."""
    level = f"{_n(m.uvlo_on_v)}-{_n(m.uvlo_on_v - m.uvlo_off_v)}*V(run)"
    yield f"B6 runx 0 V={_over('V(vcc)', level, 20.0)}"
    yield "R5 runx run 1.0"
    yield "C4 run 0 1e-07"
    yield f"B7 refx 0 V={_n(m.vref_v)}*V(run)"
    yield "R6 refx ref 1.0"
    yield f"B8 vcc 0 I={_n(m.quiescent_a)}*V(run)"


def current_mode_text(m: CurrentModeModel) -> Iterator[str]:
    """Lines of the sub-circuit; its pins in the order of the kind's."""
    window = m.ramp_high_v - m.ramp_low_v
    yield f".subckt {m.name} comp fb cs rtct gnd out vcc ref"
    yield "R20 gnd 0 1e-3"
    yield from _supply(m)
    yield f"B1 sx 0 V={_over('V(rtct)', f'{_n(m.ramp_high_v)}-{_n(window)}*V(s)', 2000.0)}"
    yield "R1 sx s 1.0"
    yield f"C1 s 0 {_n(_EDGE_S)}"
    yield f"B2 fall 0 V={_over('V(s)', 0.5)}"  # all or nothing: between the two the ramp would stand still
    yield "R2 fall 0 1e3"
    yield f"B3 rtct 0 I={_n(m.discharge_a)}*V(fall)*V(run)"
    # Error amplifier: an integrator with limits, and an output of limited current.
    yield f"B10 0 ea I={_n(_FIRST_S)}*({_n(m.error_v)}*V(run)-V(fb))"
    yield f"B11 ea 0 I=1e-2*({_above(f'V(ea)-{_n(_SWING_V)}*V(run)')}-{_above('0-V(ea)')})"
    yield f"R10 ea 0 {_n(_GAIN / _FIRST_S)}"
    yield f"C10 ea 0 {_n(_FIRST_S / (2.0 * pi * _BANDWIDTH_HZ))}"
    yield f"B12 0 comp I={_n(_DRIVE_A)}*tanh((V(ea)-V(comp))/0.05)"
    yield "R12 comp 0 1e7"
    yield "R13 fb 0 1e7"
    # What the sensed current is held against.
    wanted = f"(V(comp)-{_n(m.comp_offset_v)})*{_n(1.0 / m.sense_division)}"
    yield f"B13 asked 0 V={_above(wanted)}"
    most = f"V(asked)-{_n(m.sense_v)}"
    yield f"B14 limit 0 V=V(asked)-{_above(most)}"
    yield "R14 asked 0 1e3"
    yield "R15 limit 0 1e3"
    yield f"B15 tripx 0 V={_over('V(cs)', f'V(limit)-{_n(_DECIDED_V)}', 2000.0)}"
    yield "R16 tripx trip 1e3"
    yield f"C16 trip 0 {_n(m.sense_delay_s / (1e3 * log(2.0)))}"
    yield f"B16 stop 0 V={_over('V(trip)', 0.5)}"
    yield "R17 stop 0 1e3"
    yield "R18 cs 0 1e7"
    # Latch: set while the ramp falls, unless the comparator says stop.
    yield "B17 0 q I=1e-2*V(fall)*(1-V(stop))*(1-V(q))"
    yield "B18 q 0 I=1e-2*V(stop)*V(q)"
    yield f"C17 q 0 {_n(_LATCH_F)} IC=0.0"
    yield "R19 q 0 1e9"
    yield f"B20 on 0 V=V(run)*(1-V(fall))*{_over('V(q)', 0.5)}"
    yield "R22 on 0 1e3"
    high = _above(f"V(vcc)-{_n(m.output_drop_v)}")
    yield f"B19 outx 0 V=V(on)*{high}"
    yield f"R21 outx out {_n(_OUTPUT_OHM)}"
    yield ".ends"
