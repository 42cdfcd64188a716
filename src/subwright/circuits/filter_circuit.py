"""The line-level filter: inputs, op-amp blocks, controls, and what the op-amps run on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import parse
from subwright.circuits.filter_supply import FilterBuilder, add_supply
from subwright.circuits.models import OpAmpModel
from subwright.circuits.netlist import GROUND, Circuit, Steady, TestPoint
from subwright.parts.library import Library
from subwright.stages.filter import FilterBlock, FilterResult

__all__ = ["FILTER_OUTPUT", "block_nets", "filter_circuit"]

FILTER_OUTPUT: Final = "filter_out"
"""Net at the amplifier's input."""

_HUNDRED: Final = 300
_DC_GAIN: Final = 1e7
_SUPPLIES: Final = {
    "op_positive": "positive supply of the op-amps",
    "op_negative": "negative supply of the op-amps",
    "op_supply": "supply of the op-amps",
    "mid": "half of it, the signal's ground",
}
_AMPLIFIER_OHM: Final = 1e9  # what the power stage's input draws is part of the coupling


def block_nets(result: FilterResult) -> tuple[tuple[str, ...], ...]:
    """Nets of every block's amplifiers' outputs: its own first, then those inside, backwards.

    The order is that of ``inner_levels``.
    """
    last = len(result.blocks) - 1
    return tuple(
        (
            FILTER_OUTPUT if k == last else f"out_{k}",
            *((f"band_{k}", f"high_{k}") if "integrator A" in block.capacitors_f else ()),
        )
        for k, block in enumerate(result.blocks)
    )


def filter_circuit(
    result: FilterResult, library: Library, *, supply_v: float, phase_deg: int = 0, level: float = 1.0
) -> Circuit:
    """Netlist of the filter, with a source of 1 V for AC on every input.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    supply_v : one rail, or the battery where the op-amps run from it, V.
    phase_deg : position of the phase switch, 0 or 180. level : of the level control, 0 to 1.

    Returns
    -------
    Circuit; the response is that of ``FILTER_OUTPUT``.
    """
    build = FilterBuilder(result, library)
    build.models.append(
        OpAmpModel(name="OPAMP", gbw_hz=library.op_amp(result.op_amp).gbw_hz, dc_gain=_DC_GAIN)
    )
    add_supply(build, supply_v)
    gangs = _Gangs(build)
    into = ""
    for k, block in enumerate(result.blocks):
        last = k == len(result.blocks) - 1
        at = _Block(build, block, k, into, FILTER_OUTPUT if last else f"out_{k}")
        match block.kind:
            case "summer":
                _summer(at, gangs)
            case "infrasonic":
                _infrasonic(at)
            case "transform":
                _transform(at)
            case "low-pass":
                _low_pass(at, gangs)
            case "all-pass":
                _all_pass(at, gangs)
            case "phase":
                _phase(at, phase_deg)
            case "output":
                _output(at, level)
            case "coupling":
                _coupling(at)
        into = at.out
    build.bench("AMPLIFIER", "resistor", (FILTER_OUTPUT, GROUND), "input of the power stage", _AMPLIFIER_OHM)
    points = list(_points(result))
    points += [(net, _SUPPLIES[net]) for net in (*build.rails, build.ground) if net != GROUND]
    return Circuit(
        name="line-level filter",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
    )


def _points(result: FilterResult) -> Iterator[tuple[str, str]]:
    """Nets that the signal passes, with what each carries."""
    words = {"high": "high-pass output", "band": "band-pass output"}
    for k, (block, nets) in enumerate(zip(result.blocks, block_nets(result), strict=True)):
        for net in reversed(nets[1:]):
            yield net, f"{words[net.split('_')[0]]} within the {block.name}"
        last = k == len(result.blocks) - 1
        yield nets[0], "filter output" if last else f"after the {block.name}"


class _Block:
    """One block between two nets; roles of its parts are those of the bill."""

    def __init__(self, build: FilterBuilder, block: FilterBlock, index: int, into: str, out: str) -> None:
        self.build, self.block, self.into, self.out = build, block, into, out
        self.ground = build.ground
        self.plus, self.minus, self.middle = (f"{end}_{index}" for end in ("plus", "minus", "middle"))
        self._index = index

    def net(self, name: str) -> str:
        """A net of the block's own."""
        return f"{name}_{self._index}"

    def resistor(self, a: str, b: str, role: str) -> None:
        self.build.resistor(f"{self.block.name} {role}", a, b, self.block.resistors_ohm[role])

    def capacitor(self, a: str, b: str, role: str) -> None:
        self.build.capacitor(f"{self.block.name} {role}", a, b, self.block.capacitors_f[role])

    def variable(self, a: str, b: str, fixed: str, track: str, gangs: _Gangs) -> None:
        """A fixed resistor, in series with a track where the block has one."""
        if track not in self.block.resistors_ohm:
            self.resistor(a, b, fixed)
            return
        far = self.net(f"{track.replace(' ', '_').lower()}")
        self.resistor(a, far, fixed)
        role, track_ohm, designator = gangs.next(self.block)
        used = self.block.resistors_ohm[track]
        self.build.rheostat(designator, role, far, b, track_ohm, used)


class _Gangs:
    """Tracks of the potentiometers, in the order in which the blocks use them."""

    def __init__(self, build: FilterBuilder) -> None:
        self._build = build
        result = build.result
        self._sweep: list[str] = []
        if result.sweep is not None:
            self._sweep = list(build.number.sections("R", result.sweep.gangs, result.sweep.gangs))

    def next(self, block: FilterBlock) -> tuple[str, float, str]:
        """Role, track in Ω and designator of the next track that a block needs."""
        result = self._build.result
        if block.kind == "summer" and result.gain_control is not None:
            return "gain control", result.gain_control.pot_ohm, self._build.number.next("R")
        if block.kind == "all-pass" and result.phase_control is not None:
            return "phase control", result.phase_control.pot_ohm, self._build.number.next("R")
        if block.kind == "low-pass" and result.sweep is not None and self._sweep:
            return "corner control", result.sweep.pot_ohm, self._sweep.pop(0)
        raise SubwrightError(message=f"The block '{block.name}' has a track that no control turns.")


def _summer(at: _Block, gangs: _Gangs) -> None:
    build, r = at.build, at.block.resistors_ohm
    for side in (role.removesuffix(" input") for role in r if role.endswith(" input")):
        line, after = f"line_{side}", f"coupled_{side}"
        signal = Steady(value=0.0, ac=1.0)
        build.bench(f"LINE_{side.upper()}", "voltage source", (line, GROUND), "line source", signal)
        at.capacitor(line, after, f"{side} coupling")
        at.resistor(after, at.minus, f"{side} input")
    at.variable(at.minus, at.out, "feedback", "gain control", gangs)
    build.op_amp(at.ground, at.minus, at.out)


def _infrasonic(at: _Block) -> None:
    at.capacitor(at.into, at.middle, "C1")
    at.capacitor(at.middle, at.plus, "C2")
    at.resistor(at.middle, at.out, "R to output")
    at.resistor(at.plus, at.ground, "R to ground")
    at.build.op_amp(at.plus, at.out, at.out)


def _transform(at: _Block) -> None:
    """A bridged tee before and one around the amplifier."""
    for a, b, side in ((at.into, at.minus, "input"), (at.minus, at.out, "feedback")):
        tee, bridge = at.net(f"{side}_tee"), at.net(f"{side}_bridge")
        at.resistor(a, tee, f"{side} R")
        at.resistor(tee, b, f"{side} R")
        at.capacitor(tee, at.ground, f"{side} C")
        at.resistor(a, bridge, "bridge R")
        at.capacitor(bridge, b, "bridge C")
    at.build.op_amp(at.ground, at.minus, at.out)


def _low_pass(at: _Block, gangs: _Gangs) -> None:
    build, r, c = at.build, at.block.resistors_ohm, at.block.capacitors_f
    if "R3" in r:  # multiple feedback
        at.resistor(at.into, at.middle, "R1")
        at.resistor(at.middle, at.out, "R2")
        at.resistor(at.middle, at.minus, "R3")
        at.capacitor(at.minus, at.out, "C1")
        at.capacitor(at.middle, at.ground, "C2")
        build.op_amp(at.ground, at.minus, at.out)
    elif "integrator A" in c:  # state variable
        high, band = at.net("high"), at.net("band")
        at.resistor(at.into, at.minus, "R in")
        at.resistor(at.out, at.minus, "R low")
        at.resistor(high, at.minus, "R high")
        at.resistor(band, at.plus, "Q upper")
        at.resistor(at.plus, at.ground, "Q lower")
        build.op_amp(at.plus, at.minus, high)
        for number, (source, sink, letter) in enumerate(((high, band, "A"), (band, at.out, "B")), start=1):
            virtual = at.net(f"virtual_{letter.lower()}")
            at.variable(source, virtual, f"R{number}", f"R{number} gang", gangs)
            at.capacitor(virtual, sink, f"integrator {letter}")
            build.op_amp(at.ground, virtual, sink)
    else:  # Sallen and Key
        at.variable(at.into, at.middle, "R1", "R1 gang", gangs)
        at.variable(at.middle, at.plus, "R2", "R2 gang", gangs)
        at.capacitor(at.middle, at.out, "C to output")
        at.capacitor(at.plus, at.ground, "C to ground")
        inverting = at.out
        if "gain upper" in r:
            inverting = at.minus
            at.resistor(at.out, inverting, "gain upper")
            at.resistor(inverting, at.ground, "gain lower")
        build.op_amp(at.plus, inverting, at.out)


def _all_pass(at: _Block, gangs: _Gangs) -> None:
    at.resistor(at.into, at.minus, "input")
    at.resistor(at.minus, at.out, "feedback")
    at.variable(at.into, at.plus, "R", "R gang", gangs)
    at.capacitor(at.plus, at.ground, "C")
    at.build.op_amp(at.plus, at.minus, at.out)


def _phase(at: _Block, phase_deg: int) -> None:
    """The + input on ground inverts, on the signal it doesn't; at 0° the block has the sign of its gain."""
    at.resistor(at.into, at.minus, "input")
    at.resistor(at.minus, at.out, "feedback")
    grounded = (at.block.gain < 0.0) == (phase_deg == 0)
    closed, opened = (at.ground, at.into) if grounded else (at.into, at.ground)
    at.build.add("S", "switch", (at.plus, closed, opened), "phase switch")
    at.build.op_amp(at.plus, at.minus, at.out)


def _output(at: _Block, level: float) -> None:
    role = "level control"
    track = parse(at.build.bought(role).split()[1], "resistance")
    at.build.add("R", "potentiometer", (at.into, at.plus, at.ground), role, track, setting=level)
    at.build.op_amp(at.plus, at.out, at.out)


def _coupling(at: _Block) -> None:
    """What follows is the amplifier's input, against the real ground."""
    at.capacitor(at.into, at.out, "series")
    at.resistor(at.out, GROUND, "to ground")
