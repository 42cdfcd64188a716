"""Fast comparator, Schmitt inverter and half-bridge driver as plain SPICE text.

They say when an output changes over, through how much resistance, and what is drawn meanwhile. A delay is a
ramp of a hidden voltage that the decision starts and a level ends, so a pulse that is longer than the delays
goes through whole and a shorter one doesn't.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.circuits.models import GroundedComparatorModel, HalfBridgeDriverModel, SchmittInverterModel

__all__ = ["driver_text", "grounded_comparator_text", "schmitt_text"]

_RAMP_F: Final = 1e-9  # of the hidden voltage
_DECIDED_PER_V: Final = 300.0  # the comparator's decision is over within the 5 mV of its data sheet
_LOGIC_PER_V: Final = 100.0
_LATCH_F: Final = 1e-10
_LATCH_S: Final = 1e-2
_LOCKOUT_F: Final = 2e-7  # with an ohm: a lockout looks past the dips of a gate's charge
_PIN_F: Final = 10e-12  # of an output and its wiring
_TURN: Final = 40.0  # slope with which a switch follows the hidden voltage: in a twentieth of its ramp
_DRIVER_TURN: Final = 15.0  # the driver's: its edges take some twenty nanoseconds
_LEAST_S: Final = 1e-9  # of a switch that is off, siemens


def _n(value: float) -> str:
    return repr(float(value))


def _over(voltage: str, level: str, slope: float) -> str:
    """1 while a voltage is above a level, else 0."""
    return f"0.5*(1+tanh({_n(slope)}*({voltage}-({level}))))"


def _ramp(net: str, wanted: str, rise_s: float, fall_s: float) -> Iterator[str]:
    """V(net) runs from 0 to 1 and back; it passes the level of ``_turn`` after either delay."""
    slope = _RAMP_F / (rise_s + fall_s)
    yield f"B_{net} 0 {net} I={_n(slope)}*tanh(10*({wanted}-V({net})))"
    yield f"C_{net} {net} 0 {_n(_RAMP_F)}"
    yield f"R_{net} {net} 0 1e9"


def _switch(name: str, upper: str, lower: str, on_ohm: float, closed: str, slope: float = _TURN) -> str:
    """A resistance between two nets where an expression is above 0, next to nothing where it is below."""
    on = f"({_n(_LEAST_S)}+{_n(0.5 / on_ohm)}*(1+tanh({_n(slope)}*({closed}))))"
    return f"{name} {upper} {lower} I=(V({upper})-V({lower}))*{on}"


def grounded_comparator_text(m: GroundedComparatorModel) -> Iterator[str]:
    """Lines of the sub-circuit; its pins in the order of the kind's."""
    yield f".subckt {m.name} plus minus out vp vm ground"
    low = _over("V(minus)-V(plus)", _n(-m.offset_v), _DECIDED_PER_V)
    yield from _ramp("s", low, m.delay_s, m.delay_s)
    yield _switch("B1", "out", "ground", m.saturation_ohm, "V(s)-0.5")
    yield f"C1 out ground {_n(_PIN_F)}"
    yield f"I1 plus 0 DC {_n(m.bias_a)}"
    yield f"I2 minus 0 DC {_n(m.bias_a)}"
    yield f"B2 vp vm I={_n(m.supply_a)}*tanh(V(vp)-V(vm))"
    if m.ground_a:
        yield f"B3 vp ground I={_n(m.ground_a)}*tanh(V(vp)-V(ground))"
    yield ".ends"


def schmitt_text(m: SchmittInverterModel) -> Iterator[str]:
    """Lines of the sub-circuit; its pins in the order of the kind's."""
    yield f".subckt {m.name} in out vp vm"
    level = f"(V(vp)-V(vm))*({_n(m.high_share)}-{_n(m.high_share - m.low_share)}*V(s))"
    yield from _ramp("s", _over("V(in)-V(vm)", level, _LOGIC_PER_V), m.delay_s, m.delay_s)
    yield _switch("B1", "vp", "out", m.output_ohm, "0.5-V(s)")
    yield _switch("B2", "out", "vm", m.output_ohm, "V(s)-0.5")
    yield f"C1 out vm {_n(_PIN_F)}"
    yield f"C2 in vm {_n(m.input_f)}"
    yield "R1 in vm 1e9"
    yield ".ends"


def _lockout(net: str, plus: str, minus: str, m: HalfBridgeDriverModel) -> Iterator[str]:
    """V(net) is 1 while a supply is above its lockout."""
    level = f"{_n(m.uvlo_on_v)}-{_n(m.uvlo_on_v - m.uvlo_off_v)}*V({net})"
    yield f"B_{net} {net}_x 0 V={_over(f'V({plus})-V({minus})', level, 20.0)}"
    yield f"R_{net} {net}_x {net} 1.0"
    yield f"C_{net} {net} 0 {_n(_LOCKOUT_F)} IC=1.0"  # a start from charged capacitors is no start


def _output(
    letter: str, pins: tuple[str, str, str], ready: str, edge: str, m: HalfBridgeDriverModel
) -> Iterator[str]:
    """Input, latch that waits for an edge after ``edge`` was low, delays, and both switches of one output."""
    name, plus, minus = pins
    level = f"{_n(m.input_share)}*(V(vdd)-V(vss))"
    yield f"B_in{letter} in{letter} 0 V={_over(f'V({letter}in)-V(vss)', level, _LOGIC_PER_V)}"
    yield f"B_ok{letter} ok{letter} 0 V={ready}"
    yield f"R_in{letter} in{letter} 0 1e3"
    yield f"R_ok{letter} ok{letter} 0 1e3"
    wait = f"wait{letter}"
    set_it, clear = f"(1-{edge})*(1-V({wait}))", f"{edge}*(1-V(in{letter}))*V({wait})"
    yield f"B_{wait} 0 {wait} I={_n(_LATCH_S)}*({set_it}-{clear})"
    yield f"C_{wait} {wait} 0 {_n(_LATCH_F)} IC=0.0"
    yield f"R_{wait} {wait} 0 1e12"
    wanted = f"V(in{letter})*V(ok{letter})*(1-V({wait}))"
    yield from _ramp(f"s{letter}", wanted, m.on_s, m.off_s)
    turn = _n(m.on_s / (m.on_s + m.off_s))
    yield _switch(f"B_up{letter}", plus, name, m.source_ohm, f"V(s{letter})-{turn}", _DRIVER_TURN)
    yield _switch(f"B_down{letter}", name, minus, m.sink_ohm, f"{turn}-V(s{letter})", _DRIVER_TURN)
    yield f"C_out{letter} {name} {minus} {_n(_PIN_F)}"
    yield f"R_pin{letter} {letter}in vss 1e6"


def driver_text(m: HalfBridgeDriverModel) -> Iterator[str]:
    """Lines of the sub-circuit; its pins in the order of the kind's."""
    yield f".subckt {m.name} vdd hin sd lin vss vcc com lo vb vs ho"
    stop = _over("V(sd)-V(vss)", f"{_n(m.input_share)}*(V(vdd)-V(vss))", _LOGIC_PER_V)
    yield f"B1 go 0 V=1-{stop}"
    yield "R1 go 0 1e3"
    yield "R2 sd vss 1e6"
    yield from _lockout("fed", "vcc", "com", m)
    yield from _lockout("lifted", "vb", "vs", m)
    yield from _output("h", ("ho", "vb", "vs"), "V(go)*V(fed)*V(lifted)", "V(okh)", m)
    yield from _output("l", ("lo", "vcc", "com"), "V(go)*V(fed)", "V(go)", m)
    yield f"B2 vdd vss I={_n(m.logic_a)}*tanh(V(vdd)-V(vss))"
    yield f"B3 vcc com I={_n(m.lower_a)}*tanh(V(vcc)-V(com))"
    yield f"B4 vb vs I={_n(m.upper_a)}*tanh(V(vb)-V(vs))"
    yield ".ends"
