"""Two-output controllers as plain SPICE text: ramp, toggle, pulse-width comparator, amplifiers, outputs.

They say when an output is on, and how a ramp, a soft start or a loop moves; edges and currents of the outputs
are not the family's. The oscillator's constants are those of the family's published frequency equation.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log
from typing import Final

from subwright.circuits.models import ControllerModel
from subwright.stages.converter_family import SENSE_GAIN, SENSE_OFFSET_V

__all__ = ["above", "all_of", "controller_text", "over", "supply_text"]

_EDGE_S: Final = 2e-9  # of the logic inside
_HOLD_F: Final = 1e-10  # of the toggle, at a hundredth of a siemens: slower than the edge that moves it
_OUTPUT_OHM: Final = 5.0
_AMPLIFIER_S: Final = 2e-3  # transconductance of an error amplifier
_AMPLIFIER_A: Final = 200e-6  # and the most that it gives
_SHARP: Final = 500.0  # slope of a comparator that switches a bare transistor: a hundredth is still on
_COMP_V: Final = 3.8  # highest of the 3524's error amplifier, from memory
_STOP_V: Final = 0.35  # at which a 3846 shuts down, from memory


def controller_text(model: ControllerModel) -> Iterator[str]:
    """Lines of the sub-circuit; its pins in the order of the kind's."""
    made = {"3525": _3525, "494": _494, "3524": _3524, "3846": _3846}[model.family]
    yield from made(model)


def _n(value: float) -> str:
    return repr(float(value))


def over(voltage: str, level: float | str, slope: float = 50.0) -> str:
    """1 while a voltage is above a level, else 0."""
    return f"0.5*(1+tanh({_n(slope)}*({voltage}-({level}))))"


def _ramp(m: ControllerModel) -> Iterator[str]:
    """The current of RT mirrored into CT up to the upper turning point; V(fall) is 1 while it is emptied."""
    if m.clock is not None:
        fall_s, period_s = m.clock.fall_s, m.clock.period_s
        rise_s = period_s - fall_s
        yield f"V3 ct 0 {_pulse(m.ramp_low_v, m.ramp_high_v, 0.0, rise_s, fall_s, _EDGE_S, period_s)}"
        yield f"V4 fall 0 {_pulse(0.0, 1.0, rise_s, _EDGE_S, _EDGE_S, fall_s - _EDGE_S, period_s)}"
        yield "R7 rt 0 1e6"
        return
    window = m.ramp_high_v - m.ramp_low_v
    yield f"B1 rtx 0 V={_n(m.charge_v)}*V(run)"
    yield "V1 rtx rt DC 0.0"
    yield "F1 0 im V1 1.0"
    yield "R1 im 0 1000.0"
    yield "B2 0 ct I=1e-3*V(im)*(1-V(fall))"
    yield f"B3 sx 0 V={over('V(ct)', f'{_n(m.ramp_high_v)}-{_n(window)}*V(s)', 2000.0)}"
    yield "R2 sx s 1.0"
    yield f"C1 s 0 {_n(_EDGE_S)}"
    yield f"B9 fall 0 V={over('V(s)', 0.5)}"  # all or nothing: between the two the ramp would stand still
    yield "R7 fall 0 1e3"


def _pulse(*values: float) -> str:
    return f"PULSE( {' '.join(_n(value) for value in values)} )"


def _toggle(m: ControllerModel) -> Iterator[str]:
    """V(q) changes over each time the ramp is emptied: master and slave of a flip-flop."""
    if m.clock is not None:
        fall_s, period_s = m.clock.fall_s, m.clock.period_s
        first_s = period_s - 0.5 * fall_s
        yield f"V5 q 0 {_pulse(0.0, 1.0, first_s, _EDGE_S, _EDGE_S, period_s, 2.0 * period_s)}"
        return
    yield "B4 0 m I=1e-2*(1-V(fall))*(1-V(q)-V(m))"
    yield f"B10 0 m I=1e-2*V(fall)*({over('V(m)', 0.5)}-V(m))"  # what isn't followed is held, whole
    yield f"C2 m 0 {_n(_HOLD_F)} IC=0.0"
    yield "R3 m 0 1e9"
    yield "B5 0 q I=1e-2*V(fall)*(V(m)-V(q))"
    yield f"B11 0 q I=1e-2*(1-V(fall))*({over('V(q)', 0.5)}-V(q))"
    yield f"C3 q 0 {_n(_HOLD_F)} IC=0.0"
    yield "R4 q 0 1e9"


def supply_text(
    supply: str, uvlo_on_v: float, uvlo_off_v: float, vref_v: float, quiescent_a: float
) -> Iterator[str]:
    """V(run) is 1 while the supply is above the lockout; the reference stands while it runs.

    ``supply`` is the pin; voltages in V, current in A.
    """
    level = f"{_n(uvlo_on_v)}-{_n(uvlo_on_v - uvlo_off_v)}*V(run)"
    yield f"B6 runx 0 V={over(f'V({supply})', level, 20.0)}"
    yield "R5 runx run 1.0"
    yield "C4 run 0 1e-07"
    yield f"B7 refx 0 V={_n(vref_v)}*V(run)"
    yield "R6 refx ref 1.0"
    yield f"B8 {supply} 0 I={_n(quiescent_a)}*V(run)"


def all_of(net: str, conditions: tuple[str, ...]) -> Iterator[str]:
    """A net that is the product of conditions, one after the other, so that no line grows long."""
    before = ""
    for k, condition in enumerate(conditions):
        here = net if k == len(conditions) - 1 else f"{net}_{k}"
        yield f"B_{here} {here} 0 V={condition}{before}"
        yield f"R_{here} {here} 0 1e3"
        before = f"*V({here})"


def _amplifier(name: str, plus: str, minus: str, out: str) -> str:
    return (
        f"{name} 0 {out} I={_n(_AMPLIFIER_A)}*tanh({_n(_AMPLIFIER_S / _AMPLIFIER_A)}*(V({plus})-V({minus})))"
    )


def _softly(expression: str) -> str:
    """The same with a bend round the corner, of some 10 mV."""
    return f"0.5*(({expression})+sqrt(({expression})*({expression})+1e-4))"


def above(expression: str) -> str:
    """What an expression is above nought, else 0."""
    return f"0.5*(({expression})+abs({expression}))"


def _3525(m: ControllerModel) -> Iterator[str]:
    yield f".subckt {m.name} inv ni sync osc ct rt dis ss comp sd oa gnd vc ob vin ref"
    yield "R20 gnd 0 1e-3"
    yield "R21 sync 0 1e6"
    yield "B20 osc 0 V=3*V(fall)"
    yield from supply_text("vin", m.uvlo_on_v, m.uvlo_off_v, m.vref_v, m.quiescent_a)
    yield from _ramp(m)
    # DIS leads the capacitor to a fixed voltage while the ramp falls.
    yield f"B21 dis 0 I=V(fall)*(V(dis)-({_n(m.discharge_v)}))"
    yield "R22 dis 0 1e8"
    yield from _rest(m)
    yield from _toggle(m)
    yield f"B23 0 ss I=V(run)*{_n(m.soft_start_a or 0.0)}*{over('V(ref)-0.2', 'V(ss)', 20.0)}"
    yield f"B24 ss 0 I=1e-2*V(ss)*{over('V(sd)', 0.8, 20.0)}"
    yield "R24 ss 0 1e8"
    yield "R25 sd 0 1e6"
    yield from _error_amplifier("ni", "inv", "V(ref)")
    yield from all_of(
        "ready", ("(1-V(fall))", f"(1-{over('V(rest)', 0.5)})", f"(1-{over('V(sd)', 0.8, 20.0)})", "V(run)")
    )
    below = tuple(over(f"V({net})", "V(ct)") for net in ("ss", "comp"))
    yield from all_of("on", (*below, "V(ready)"))
    yield from _totem_poles()
    yield ".ends"


def _rest(m: ControllerModel) -> Iterator[str]:
    """Both outputs rest while the ramp falls, and the family's least time after it."""
    yield f"B22 0 rest I=0.1*{above('V(fall)-V(rest)')}"
    yield "C20 rest 0 1e-09"
    yield f"R23 rest 0 {_n(m.dead_min_s / (1e-9 * log(2.0)))}"


def _error_amplifier(plus: str, minus: str, most: str) -> Iterator[str]:
    """A transconductance into COMP, held between nought and ``most``."""
    yield _amplifier("B25", plus, minus, "comp")
    yield f"B26 comp 0 I=1e-2*{_softly(f'V(comp)-{most}')}"
    yield f"B36 0 comp I=1e-2*{_softly('0-V(comp)')}"
    yield "R26 comp 0 2e6"
    yield "C26 comp 0 1e-11"
    yield f"R27 {minus} 0 1e8"
    yield f"R28 {plus} 0 1e8"


def _totem_poles() -> Iterator[str]:
    for number, (out, side) in enumerate((("oa", "V(q)"), ("ob", "(1-V(q))")), 28):
        yield f"B{number} {out}x 0 V=V(vc)*V(on)*{over(side, 0.5)}"
        yield f"R{number + 2} {out}x {out} {_n(_OUTPUT_OHM)}"


def _open_outputs(pins: tuple[tuple[str, str], ...], further: tuple[str, ...] = ()) -> Iterator[str]:
    """Bare transistors, (collector, emitter) each, that take turns while V(on) is 1."""
    for number, ((upper, lower), side) in enumerate(zip(pins, ("V(q)", "(1-V(q))"), strict=True), 40):
        yield from all_of(f"go{number}", ("V(on)", over(side, 0.5), *further))
        siemens = f"(1e-9+V(go{number})*{_n(1.0 / _OUTPUT_OHM)})"
        yield f"B{number} {upper} {lower} I=(V({upper})-V({lower}))*{siemens}"


def _3524(m: ControllerModel) -> Iterator[str]:
    yield f".subckt {m.name} inv ni osc clp clm rt ct gnd comp sd ea ca cb eb vin ref"
    yield "R20 gnd 0 1e-3"
    yield "R21 osc 0 1e6"
    yield "B20 osc 0 V=3*V(fall)"
    yield "R29 clp 0 1e6"
    yield "R30 clm 0 1e6"
    yield from supply_text("vin", m.uvlo_on_v, m.uvlo_off_v, m.vref_v, m.quiescent_a)
    yield from _ramp(m)
    # Ever more slowly towards a little below the lower turning point: steps then don't fall past it.
    yield f"B21 ct 0 I=0.05*V(fall)*(V(ct)-({_n(m.ramp_low_v - 0.1)}))"
    yield from _rest(m)
    yield from _toggle(m)
    yield from _error_amplifier("ni", "inv", _n(_COMP_V))
    # Whoever is stronger moves COMP: a clamp outside, the current limit, or the shutdown transistor.
    yield f"B24 comp 0 I=2e-2*tanh(20*{above('V(comp)')})*{over('V(sd)', 0.8, 20.0)}"
    yield f"B27 comp 0 I=1e-2*V(comp)*{over('V(clp)-V(clm)', 0.2, 100.0)}"
    yield "R25 sd 0 11e3"
    yield from all_of("ready", ("(1-V(fall))", f"(1-{over('V(rest)', 0.5)})", "V(run)"))
    yield from all_of("on", (over("V(comp)", "V(ct)", _SHARP), "V(ready)"))
    yield from _open_outputs((("ca", "ea"), ("cb", "eb")))
    yield ".ends"


def _3846(m: ControllerModel) -> Iterator[str]:
    yield f".subckt {m.name} cl ref csm csp eap eam comp ct rt sync oa gnd vc ob vin sd"
    yield "R20 gnd 0 1e-3"
    yield "R21 sync 0 1e6"
    yield "B20 sync 0 V=4*V(fall)"
    yield from supply_text("vin", m.uvlo_on_v, m.uvlo_off_v, m.vref_v, m.quiescent_a)
    yield from _ramp(m)
    yield f"B21 ct 0 I=V(fall)*{_n((m.ramp_high_v - m.ramp_low_v) / m.dead_ohm)}"
    yield from _toggle(m)
    yield from _error_amplifier("eap", "eam", "V(ref)")
    # A stop empties the soft start, whose resistor then lets it begin anew.
    yield f"B24 cl 0 I=2e-2*V(cl)*{over('V(sd)', _STOP_V, 50.0)}"
    yield "R24 cl 0 1e8"
    yield "R25 sd 0 1e6"
    yield "R40 csp 0 1e7"
    yield "R41 csm 0 1e6"
    yield "B27 least 0 V=0.5*(V(cl)+V(comp)-abs(V(cl)-V(comp)))"
    yield "R42 least 0 1e3"
    sensed = f"{_n(SENSE_GAIN)}*(V(csp)-V(csm))"
    yield from all_of("ready", ("(1-V(fall))", f"(1-{over('V(sd)', _STOP_V, 50.0)})", "V(run)"))
    yield from all_of("on", (over(f"V(least)-{_n(SENSE_OFFSET_V)}", sensed), "V(ready)"))
    yield from _totem_poles()
    yield ".ends"


def _494(m: ControllerModel) -> Iterator[str]:
    yield f".subckt {m.name} p1 n1 fb dtc ct rt gnd c1 e1 e2 c2 vcc oc ref n2 p2"
    yield "R20 gnd 0 1e-3"
    yield from supply_text("vcc", m.uvlo_on_v, m.uvlo_off_v, m.vref_v, m.quiescent_a)
    yield from _ramp(m)
    yield "B21 ct 0 I=0.03*V(fall)*V(ct)"
    yield from _toggle(m)
    yield "R24 dtc 0 1e8"
    yield from (f"R{number} {net} 0 1e8" for number, net in enumerate(("p1", "n1", "p2", "n2"), 25))
    # Either amplifier may lift the feedback pin; a current of the chip pulls it down.
    yield _amplifier("B25", "p1", "n1", "f1")
    yield _amplifier("B26", "p2", "n2", "f2")
    yield "R30 f1 0 1e5"
    yield "R31 f2 0 1e5"
    yield from (f"B{29 + k} 0 fb I=1e-2*{above(f'V(f{k})-V(fb)')}" for k in (1, 2))
    yield f"B29 fb 0 I=1e-4*{over('V(fb)', 0.05, 20.0)}"
    yield "R32 fb 0 1e6"
    low, span = m.ramp_low_v, m.ramp_high_v - m.ramp_low_v
    dead = f"{_n(low + 0.03 * span)}+{_n(0.97 * span / m.ramp_high_v)}*V(dtc)"
    least = low + m.dead_share * span
    yield from all_of("ready", ("V(run)", "(1-V(fall))"))
    levels = tuple(over("V(ct)", level, _SHARP) for level in (dead, least, "V(fb)-0.7"))
    yield from all_of("on", (*levels, "V(ready)"))
    yield from _open_outputs((("c1", "e1"), ("c2", "e2")), (over("V(oc)", 1.0),))
    yield "R33 oc 0 1e6"
    yield ".ends"
