"""A netlist as plain SPICE text: elements, sub-circuits, one analysis; nothing that a single dialect owns.

The same circuit, analysis and probes give the same text, byte for byte.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from math import exp, log, pi
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import AcSweep, Analysis, Probe, Transient, Voltage
from subwright.circuits.controller_text import controller_text
from subwright.circuits.current_mode_text import current_mode_text
from subwright.circuits.models import (
    BipolarModel,
    ComparatorModel,
    ControllerModel,
    CurrentModeModel,
    DiodeModel,
    GroundedComparatorModel,
    HalfBridgeDriverModel,
    JunctionFetModel,
    JunctionModel,
    Model,
    OpAmpModel,
    PhotovoltaicModel,
    RegulatorModel,
    RelayModel,
    SchmittInverterModel,
    ShuntReferenceModel,
    SquareLawModel,
    SwitchModel,
    ZenerModel,
)
from subwright.circuits.netlist import GROUND, Circuit, Part, Pulse, Ramp, Steady
from subwright.circuits.switching_text import driver_text, grounded_comparator_text, schmitt_text

__all__ = ["Deck", "deck", "junction_emission"]

_THERMAL_V: Final = 1.380649e-23 * 300.15 / 1.602176634e-19  # kT/q at SPICE's own 27 °C
_SHARP_N: Final = 0.2  # emission coefficient of the sharp diode inside a rectifier
_SHARP_A: Final = 1e-9  # and its saturation current
_SMALL_JUNCTION_A: Final = 1e-18
_CONTACT_OHM: Final = 10e-3  # closed contact, and the least of a potentiometer's halves
_INSULATION_OHM: Final = 1e9
_COMPARATOR_PER_V: Final = 1e4  # slope of the comparator's decision: fully over within 0.3 mV
_SHUNT_A_PER_V: Final = 100.0
_INTEGRATOR_S: Final = 1e-3  # transconductance of the op-amp's first stage, siemens
_CLAMP_S: Final = 1.0  # that holds an op-amp's first stage within its swing, siemens
_WIDTH: Final = 100


@dataclass(frozen=True, kw_only=True, slots=True)
class Deck:
    """A text for a simulator, and what must come of it.

    Attributes
    ----------
    title : the circuit's name. text : the netlist, with its analysis. analysis : the same as data.
    devices : every element outside the sub-circuits, as the text names it.
    probes : the quantities asked for. signals : the same by the names that simulators use.
    """

    title: str
    text: str
    analysis: Analysis
    devices: tuple[str, ...]
    probes: tuple[Probe, ...]
    signals: tuple[str, ...]


def deck(circuit: Circuit, analysis: Analysis, probes: Iterable[Probe]) -> Deck:
    """Render a circuit with one analysis.

    Parameters
    ----------
    circuit : the netlist. analysis : transient or AC. probes : what to keep; at least one.

    Returns
    -------
    Deck.

    Raises
    ------
    SubwrightError : a part was not rendered, two elements share a name, or a probe has nothing to measure.
    """
    lines: list[str] = []
    p_channel = frozenset(m.name for m in circuit.models if isinstance(m, SwitchModel) and m.channel == "p")
    linear = {m.name: m.channel for m in circuit.models if isinstance(m, SquareLawModel)}
    for part in circuit.parts:
        rendered = list(_linear(part, linear) if part.model in linear else _part(part, p_channel))
        if not any(_name(line).endswith(part.designator) for line in rendered):
            raise _fault(circuit, f"{part.designator} was not rendered")
        lines += rendered
    for coupling in circuit.couplings:
        for number, (a, b) in enumerate(combinations(coupling.windings, 2), 1):
            lines.append(f"K{coupling.designator}_{number} L{a} L{b} {_n(coupling.factor)}")
    devices = tuple(_name(line) for line in lines)
    twice = [name for name, count in Counter(name.upper() for name in devices).items() if count > 1]
    if twice:
        raise _fault(circuit, f"two elements are named {', '.join(twice)}")
    wanted = tuple(probes)
    signals = tuple(_signal(circuit, probe) for probe in wanted)
    if not signals:
        raise _fault(circuit, "nothing is to be measured")
    text = [
        f"* {circuit.name}",
        *lines,
        *(line for model in circuit.models for line in _model(model)),
        *_options(analysis),
        f".save {' '.join(signals)}",
        _analysis(analysis),
        ".end",
    ]
    return Deck(
        title=circuit.name,
        text="\n".join(_wrapped(text)) + "\n",
        analysis=analysis,
        devices=devices,
        probes=wanted,
        signals=signals,
    )


def _fault(circuit: Circuit, what: str) -> SubwrightError:
    return SubwrightError(
        message=f"The netlist '{circuit.name}' can't be written for a simulator: {what}.",
        remedy="This is an error in subwright, not in the build; please report it.",
    )


def _n(value: float) -> str:
    return repr(float(value))


def _name(line: str) -> str:
    return line.split(maxsplit=1)[0]


def _wrapped(lines: Iterable[str]) -> Iterator[str]:
    """Long lines cut at spaces, with SPICE's continuation sign."""
    for line in lines:
        words = line.split(" ")
        row = words[0]
        for word in words[1:]:
            if len(row) + 1 + len(word) > _WIDTH:
                yield row
                row = f"+ {word}"
            else:
                row = f"{row} {word}"
        yield row


def _linear(part: Part, channels: Mapping[str, str]) -> Iterator[str]:
    """A MOSFET that works between on and off, and its body diode."""
    name, (drain, gate, source) = part.designator, part.nets
    yield f"M{name} {drain} {gate} {source} {source} {part.model}"
    ends = (source, drain) if channels[part.model] == "n" else (drain, source)
    yield f"D{name}_BODY {ends[0]} {ends[1]} {part.model}_BODY"


def _part(part: Part, p_channel: frozenset[str] = frozenset()) -> Iterator[str]:
    """A part's lines; ``p_channel`` holds the models of MOSFETs whose polarity is the other way round."""
    name, nets = part.designator, part.nets
    at = " ".join(nets)
    match part.kind:
        case "resistor" | "fuse" | "cable" | "loudspeaker":
            yield f"R{name} {at} {_number(part)}"
        case "potentiometer":
            whole = _number_of(part)
            upper = max((1.0 - part.setting) * whole, _CONTACT_OHM)
            lower = max(part.setting * whole, _CONTACT_OHM)
            if nets[0] != nets[1]:
                yield f"R{name}_UPPER {nets[0]} {nets[1]} {_n(upper)}"
            yield f"R{name} {nets[1]} {nets[2]} {_n(lower)}"
        case "thermistor":
            yield from _thermistor(part)
        case "capacitor":
            far = f"{name.lower()}_esr" if part.series_ohm else nets[1]
            start = "" if part.initial_v is None else f" IC={_n(part.initial_v)}"
            yield f"C{name} {nets[0]} {far} {_number(part)}{start}"
            if part.series_ohm:
                yield f"R{name}_ESR {far} {nets[1]} {_n(part.series_ohm)}"
        case "inductor" | "winding":
            far = f"{name.lower()}_r" if part.series_ohm else nets[0]
            if part.series_ohm:
                yield f"R{name}_R {nets[0]} {far} {_n(part.series_ohm)}"
            start = "" if part.initial_a is None else f" IC={_n(part.initial_a)}"
            yield f"L{name} {far} {nets[1]} {_number(part)}{start}"
        case "diode" | "zener" | "lamp" | "shunt reference" | "regulator" | "comparator":
            yield f"X{name} {at} {part.model}"
        case "relay" | "gate driver" | "3525 controller" | "494 controller" | "384x controller":
            yield f"X{name} {at} {part.model}"
        case "3524 controller" | "3846 controller":
            yield f"X{name} {at} {part.model}"
        case "grounded comparator" | "schmitt inverter" | "half-bridge driver":
            yield f"X{name} {at} {part.model}"
        case "op-amp":
            yield f"X{name} {' '.join(nets[:3])} {part.model}"
        case "mosfet":
            drain, gate, source = nets
            if part.model in p_channel:
                yield f"S{name} {source} {drain} {source} {gate} {part.model}"
                yield f"D{name}_BODY {drain} {source} {part.model}_BODY"
            else:
                yield f"S{name} {drain} {source} {gate} {source} {part.model}"
                yield f"D{name}_BODY {source} {drain} {part.model}_BODY"
        case "transistor":
            yield f"Q{name} {at} {part.model}"
        case "junction fet":
            yield f"J{name} {at} {part.model}"
        case "switch":
            yield f"R{name} {nets[0]} {nets[1]} {_n(_CONTACT_OHM)}"
        case "jumper":
            yield f"R{name} {at} {_n(_CONTACT_OHM if part.setting else _INSULATION_OHM)}"
        case "connector":
            yield f"R{name} {at} {_n(_INSULATION_OHM)}"
        case "voltage source":
            yield f"V{name} {at} {_waveform(part)}"
        case "current source":
            yield f"I{name} {at} {_waveform(part)}"
        case "voltage by voltage":
            yield f"E{name} {at} {_number(part)}"
        case "current by voltage":
            yield f"G{name} {at} {_number(part)}"
        case "current by current":
            yield f"F{name} {at} V{part.senses} {_number(part)}"
        case "voltage by current":
            yield f"H{name} {at} V{part.senses} {_number(part)}"


def _number_of(part: Part) -> float:
    if not isinstance(part.value, float):
        raise SubwrightError(message=f"{part.designator} has no numeric value.")
    return part.value


def _number(part: Part) -> str:
    return _n(_number_of(part))


def _thermistor(part: Part) -> Iterator[str]:
    """A resistor, or one whose resistance follows a ramp that a hidden source plays as a voltage."""
    name, (a, b) = part.designator, part.nets
    if isinstance(part.value, Ramp):
        ohms = f"{name.lower()}_ohm"
        yield f"B{name} {a} {b} I=(V({a})-V({b}))/V({ohms})"
        yield f"V{name}_OHM {ohms} 0 {_points(part.value)}"
    else:
        yield f"R{name} {a} {b} {_number(part)}"


def _points(ramp: Ramp) -> str:
    return f"PWL( {' '.join(f'{_n(time)} {_n(value)}' for time, value in ramp.points)} )"


def _waveform(part: Part) -> str:
    match part.value:
        case Steady(value=value, ac=ac):
            return f"DC {_n(value)}" + (f" AC {_n(ac)}" if ac else "")
        case Pulse() as p:
            flat = p.then_s - p.edge_s
            row = (p.first, p.then, p.delay_s, p.edge_s, p.edge_s, flat, p.period_s)
            return f"PULSE( {' '.join(_n(x) for x in row)} )"
        case Ramp() as ramp:
            return _points(ramp)
        case _:
            raise SubwrightError(message=f"{part.designator} has no waveform.")


def junction_emission(model: JunctionModel) -> float:
    """Emission coefficient of a small diode's model, dimensionless: its own, or that of a steep threshold."""
    if model.emission > 0.0:
        return model.emission
    return model.forward_v / (_THERMAL_V * log(model.rated_a / _SMALL_JUNCTION_A))


def _model(model: Model) -> Iterator[str]:
    name = model.name
    match model:
        case DiodeModel():
            knee = _SHARP_N * _THERMAL_V * log(model.rated_a / _SHARP_A)
            yield f".subckt {name} a k"
            yield f"D1 a m {name}_SHARP"
            yield f"V1 m k DC {_n(model.forward_v - knee)}"
            yield ".ends"
            yield (
                f".model {name}_SHARP D(IS={_n(_SHARP_A)} N={_n(_SHARP_N)} RS={_n(model.resistance_ohm)} "
                f"CJO={_n(model.junction_f)})"
            )
        case JunctionModel():
            n, saturation_a = junction_emission(model), _SMALL_JUNCTION_A
            if model.emission > 0.0:
                saturation_a = model.rated_a * exp(-model.forward_v / (n * _THERMAL_V))
            yield f".subckt {name} a k"
            yield f"D1 a k {name}_JUNCTION"
            yield ".ends"
            charge = f" CJO={_n(model.junction_f)}" if model.junction_f else ""
            charge += f" RS={_n(model.series_ohm)}" if model.series_ohm else ""
            yield f".model {name}_JUNCTION D(IS={_n(saturation_a)} N={_n(n)}{charge})"
        case ZenerModel():
            knee = model.zener_v - model.slope_ohm * model.rated_a
            yield f".subckt {name} a k"
            yield f"D1 a k {name}_ZENER"
            yield ".ends"
            yield (
                f".model {name}_ZENER D(IS=1e-14 BV={_n(knee)} IBV={_n(model.rated_a)} "
                f"RS={_n(model.slope_ohm)})"
            )
        case SwitchModel():
            half = 0.1 * model.threshold_v
            yield (
                f".model {name} SW(VT={_n(model.threshold_v)} VH={_n(half)} RON={_n(model.on_ohm)} "
                f"ROFF={_n(model.off_ohm)})"
            )
            yield f".model {name}_BODY D(IS=1e-09 N=1.0 RS=0.001 BV={_n(model.clamp_v)})"
        case SquareLawModel():
            sign, kind = (1.0, "NMOS") if model.channel == "n" else (-1.0, "PMOS")
            yield (
                f".model {name} {kind}(LEVEL=1 VTO={_n(sign * model.threshold_v)} "
                f"KP={_n(model.factor_a_per_v2)})"
            )
            yield f".model {name}_BODY D(IS=1e-09 N=1.0 RS=0.001 BV={_n(model.clamp_v)})"
        case OpAmpModel():
            first_f = _INTEGRATOR_S / (2 * pi * model.gbw_hz)
            yield f".subckt {name} plus minus out"
            if model.slew_v_per_s is None:
                yield f"G1 0 p plus minus {_n(_INTEGRATOR_S)}"
            else:
                most_a = model.slew_v_per_s * first_f
                yield f"B1 0 p I={_n(most_a)}*tanh({_n(_INTEGRATOR_S / most_a)}*(V(plus)-V(minus)))"
            yield f"R1 p 0 {_n(model.dc_gain / _INTEGRATOR_S)}"
            yield f"C1 p 0 {_n(first_f)}"
            if model.swing_v is not None:
                low, high = (f"V(p)-({_n(volts)})" for volts in model.swing_v)
                yield f"B2 p 0 I={_n(0.5 * _CLAMP_S)}*(({high})+abs({high})+({low})-abs({low}))"
            yield "E1 out 0 p 0 1.0"
            yield ".ends"
        case ComparatorModel():
            over = f"{_n(_COMPARATOR_PER_V)}*(V(plus)-V(minus)-({_n(model.offset_v)}))"
            yield f".subckt {name} plus minus out vp vm"
            yield f"B1 c 0 V=0.5*(1+tanh({over}))"
            yield "R1 c d 1.0"
            yield f"C1 d 0 {_n(model.response_s)} IC=1.0"  # from a dead start: open
            # A coarse step may carry V(d) past 1, and a negative conductance would throw the output up. Nor
            # may there be a corner where it opens: an output that nothing else holds would stall a solver.
            on = "0.5*(1-V(d))*(1-V(d)+abs(1-V(d)))"
            yield f"B2 out vm I=(V(out)-V(vm))*(1e-9+{_n(1.0 / model.saturation_ohm)}*{on})"
            yield "C2 out vm 1e-10"  # of the collector and its wiring
            yield f"I1 0 plus DC {_n(model.bias_a)}"
            yield f"I2 0 minus DC {_n(model.bias_a)}"
            yield f"B3 vp vm I={_n(model.supply_a)}*tanh(V(vp)-V(vm))"  # none without a supply
            yield ".ends"
        case GroundedComparatorModel():
            yield from grounded_comparator_text(model)
        case SchmittInverterModel():
            yield from schmitt_text(model)
        case HalfBridgeDriverModel():
            yield from driver_text(model)
        case ShuntReferenceModel():
            over = f"(V(r)-V(a)-({_n(model.reference_v)}))"
            yield f".subckt {name} k r a"
            yield f"B1 k a I={_n(0.5 * _SHUNT_A_PER_V)}*({over}+sqrt({over}*{over}+1e-12))"
            yield f"I1 r a DC {_n(model.pin_a)}"
            yield ".ends"
        case BipolarModel():
            kind = model.polarity.upper()
            edges = f" CJE={_n(model.junction_f)}" if model.junction_f else ""
            if model.collector_f:
                edges += f" CJC={_n(model.collector_f)} MJC=0.0"
            elif model.junction_f:
                edges += f" CJC={_n(0.5 * model.junction_f)}"
            edges += f" TF={_n(model.transit_s)}" if model.transit_s else ""
            edges += f" VAF={_n(model.early_v)}" if model.early_v else ""
            yield f".model {name} {kind}(IS={_n(model.saturation_a)} BF={_n(model.current_gain)}{edges})"
        case JunctionFetModel():
            factor = 0.5 / (model.on_ohm * model.pinch_v)
            kind = "NJF" if model.channel == "n" else "PJF"
            yield f".model {name} {kind}(VTO={_n(-model.pinch_v)} BETA={_n(factor)})"
        case RelayModel():
            middle = 0.5 * (model.pull_in_a + model.drop_out_a)
            half = 0.5 * (model.pull_in_a - model.drop_out_a)
            yield f".subckt {name} a b common make rest"
            yield f"R1 a x {_n(model.coil_ohm)}"
            yield f"L1 x y {_n(model.coil_h)}"
            yield "V1 y b DC 0.0"
            yield "H1 s 0 V1 1.0"
            yield f"S1 common make s 0 {name}_MAKE"
            yield f"S2 common rest 0 s {name}_REST"
            yield ".ends"
            contact = f"VH={_n(half)} RON={_n(model.closed_ohm)} ROFF={_n(_INSULATION_OHM)}"
            yield f".model {name}_MAKE SW(VT={_n(middle)} {contact})"
            yield f".model {name}_REST SW(VT={_n(-middle)} {contact})"
        case PhotovoltaicModel():
            n = model.forward_v / (_THERMAL_V * log(model.rated_a / _SMALL_JUNCTION_A))
            top = model.open_v / (_THERMAL_V * log(model.gain * model.rated_a / _SMALL_JUNCTION_A))
            yield f".subckt {name} a k p m"
            yield f"D1 a x {name}_LIGHT"
            yield "V1 x k DC 0.0"
            yield f"F1 m p V1 {_n(model.gain)}"
            yield f"D2 p m {name}_OPEN"
            yield "H1 s 0 V1 1.0"
            yield f"S1 p m 0 s {name}_DARK"
            yield ".ends"
            yield f".model {name}_LIGHT D(IS={_n(_SMALL_JUNCTION_A)} N={_n(n)})"
            yield f".model {name}_OPEN D(IS={_n(_SMALL_JUNCTION_A)} N={_n(top)})"
            yield (
                f".model {name}_DARK SW(VT={_n(-model.dark_a)} VH={_n(0.1 * model.dark_a)} "
                f"RON={_n(model.dark_ohm)} ROFF={_n(_INSULATION_OHM)})"
            )
        case ControllerModel():
            yield from controller_text(model)
        case CurrentModeModel():
            yield from current_mode_text(model)
        case RegulatorModel():
            yield f".subckt {name} in out adj"
            yield f"B1 out 0 V=V(adj)+({_n(model.reference_v)})"
            yield "R1 in 0 1e9"
            yield ".ends"


def _options(analysis: Analysis) -> Iterator[str]:
    if isinstance(analysis, Transient):
        floors = f"abstol={_n(analysis.current_floor_a)} vntol={_n(analysis.voltage_floor_v)}"
        yield f".options method=gear reltol={_n(analysis.accuracy)} {floors}"


def _analysis(analysis: Analysis) -> str:
    match analysis:
        case Transient():
            row = (analysis.step_s, analysis.stop_s, analysis.keep_from_s, analysis.step_s)
            return f".tran {' '.join(_n(x) for x in row)}" + (" uic" if analysis.from_initial else "")
        case AcSweep():
            return f".ac dec {analysis.per_decade} {_n(analysis.low_hz)} {_n(analysis.high_hz)}"


def _signal(circuit: Circuit, probe: Probe) -> str:
    if isinstance(probe, Voltage):
        if probe.net == GROUND or probe.net not in circuit.nets:
            raise _fault(circuit, f"there is no net '{probe.net}' to measure")
        return f"v({probe.net})"
    part = circuit.part(probe.designator)
    letter = {"voltage source": "v", "inductor": "l", "winding": "l"}.get(part.kind)
    if letter is None:
        raise _fault(circuit, f"{probe.designator} is no part whose current can be measured")
    return f"i({letter}{probe.designator.lower()})"
