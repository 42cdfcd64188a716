"""The line-level filter: inputs, op-amp blocks, level, phase, and what the op-amps run on."""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.units import parse
from subwright.circuits.models import Model, OpAmpModel, RegulatorModel, ZenerModel
from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Numbering,
    Part,
    PartKind,
    Standing,
    Steady,
    TestPoint,
    Value,
)
from subwright.parts.library import Library
from subwright.stages.filter import FilterBlock, FilterResult

__all__ = ["FILTER_OUTPUT", "filter_circuit"]

FILTER_OUTPUT: Final = "filter_out"
"""Net of the last op-amp's output."""

_HUNDRED: Final = 300
_DC_GAIN: Final = 1e7
_DECOUPLING_F: Final = 100e-9
_REFERENCE_V: Final = 1.25  # of a 317-family regulator, data sheet
_AMPLIFIER_OHM: Final = 10e3  # input of the power stage on the bench


class _Builder:
    """Hands out designators, collects parts, and knows which net is the signal's ground."""

    def __init__(self, result: FilterResult, library: Library) -> None:
        self.result = result
        self.library = library
        self.parts: list[Part] = []
        self.models: list[Model] = []
        self.ground = "mid" if result.op_amp_supply.kind == "battery" else GROUND
        self.rails = ("op_supply", GROUND) if self.ground == "mid" else ("op_positive", "op_negative")
        self.number = Numbering(_HUNDRED)
        self._bill = {part.role: part.part_id for part in result.parts}
        amplifiers = len(result.blocks) + (self.ground == "mid")
        channels = library.op_amp(result.op_amp).channels
        self._sections = iter(self.number.sections("U", amplifiers, channels))

    def bought(self, role: str) -> str:
        """Part id in the stage's own bill.

        Raises
        ------
        SubwrightError : the bill has no such part.
        """
        if role not in self._bill:
            raise SubwrightError(message=f"The filter's bill has no '{role}'.")
        return self._bill[role]

    def add(
        self,
        letters: str,
        kind: PartKind,
        nets: tuple[str, ...],
        role: str,
        value: Value = None,
        *,
        model: str = "",
        setting: float = 1.0,
    ) -> None:
        self.parts.append(
            Part(
                designator=self.number.next(letters),
                kind=kind,
                nets=nets,
                value=value,
                model=model,
                role=role,
                part_id=self.bought(role),
                setting=setting,
            )
        )

    def resistor(self, role: str, a: str, b: str, value_ohm: float) -> None:
        self.add("R", "resistor", (a, b), role, value_ohm)

    def capacitor(self, role: str, a: str, b: str, value_f: float) -> None:
        self.add("C", "capacitor", (a, b), role, value_f)

    def op_amp(self, plus: str, minus: str, out: str) -> None:
        self.parts.append(
            Part(
                designator=next(self._sections),
                kind="op-amp",
                nets=(plus, minus, out, *self.rails),
                model="OPAMP",
                role="filter op-amp",
                part_id=self.bought("filter op-amp"),
            )
        )

    def bench(self, name: str, kind: PartKind, nets: tuple[str, ...], role: str, value: Value) -> None:
        standing: Standing = "bench"
        self.parts.append(
            Part(designator=f"BENCH_{name}", kind=kind, nets=nets, value=value, role=role, standing=standing)
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
    build = _Builder(result, library)
    build.models.append(
        OpAmpModel(name="OPAMP", gbw_hz=library.op_amp(result.op_amp).gbw_hz, dc_gain=_DC_GAIN)
    )
    _supply(build, supply_v)
    into = ""
    for k, block in enumerate(result.blocks):
        last = k == len(result.blocks) - 1
        into = _block(build, block, k, into, FILTER_OUTPUT if last else f"out_{k}", phase_deg, level)
    amplifier = FILTER_OUTPUT
    if build.ground == "mid":
        amplifier = "amplifier_in"
        role = "output coupling"
        build.capacitor(role, FILTER_OUTPUT, amplifier, parse(build.bought(role), "capacitance"))
    build.bench("AMPLIFIER", "resistor", (amplifier, GROUND), "input of the power stage", _AMPLIFIER_OHM)
    points = [(f"out_{k}", f"after the {block.name}") for k, block in enumerate(result.blocks[:-1])]
    points += [(FILTER_OUTPUT, "filter output"), (build.rails[0], "supply of the op-amps")]
    return Circuit(
        name="line-level filter",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
    )


def _block(
    build: _Builder, block: FilterBlock, k: int, into: str, out: str, phase_deg: int, level: float
) -> str:
    """Parts of one block; returns the net of its output."""
    name, r, c = block.name, block.resistors_ohm, block.capacitors_f
    plus, minus, middle = (f"{end}_{k}" for end in ("plus", "minus", "middle"))
    ground = build.ground

    def resistor(a: str, b: str, role: str) -> None:
        build.resistor(f"{name} {role}", a, b, r[role])

    def capacitor(a: str, b: str, role: str) -> None:
        build.capacitor(f"{name} {role}", a, b, c[role])

    if block.kind == "summer":
        for side in (role.removesuffix(" input") for role in r if role.endswith(" input")):
            line, after = f"line_{side}", f"coupled_{side}"
            build.bench(
                f"LINE_{side.upper()}",
                "voltage source",
                (line, GROUND),
                "line source",
                Steady(value=0.0, ac=1.0),
            )
            build.add("J", "connector", (line, GROUND), "line input")
            capacitor(line, after, f"{side} coupling")
            resistor(after, minus, f"{side} input")
        resistor(minus, out, "feedback")
        build.op_amp(ground, minus, out)
    elif block.kind == "infrasonic":
        capacitor(into, middle, "C1")
        capacitor(middle, plus, "C2")
        resistor(middle, out, "R to output")
        resistor(plus, ground, "R to ground")
        build.op_amp(plus, out, out)
    elif block.kind == "low-pass":
        resistor(into, middle, "R1")
        resistor(middle, plus, "R2")
        capacitor(middle, out, "C to output")
        capacitor(plus, ground, "C to ground")
        if "gain upper" in r:
            resistor(out, minus, "gain upper")
            resistor(minus, ground, "gain lower")
            build.op_amp(plus, minus, out)
        else:
            build.op_amp(plus, out, out)
    elif block.kind == "phase":
        resistor(into, minus, "input")
        resistor(minus, out, "feedback")
        # "0°" grounds the + input: the stage inverts, as the summing amplifier does.
        closed, opened = (ground, into) if phase_deg == 0 else (into, ground)
        build.add("S", "switch", (plus, closed, opened), "phase switch")
        build.op_amp(plus, minus, out)
    else:
        role = "level control"
        track = parse(build.bought(role).split()[1], "resistance")
        build.add("R", "potentiometer", (into, plus, ground), role, track, setting=level)
        build.op_amp(plus, out, out)
    return out


def _supply(build: _Builder, supply_v: float) -> None:
    supply = build.result.op_amp_supply
    cases = build.result.op_amp_count
    if supply.kind == "battery":
        build.bench("BATTERY", "voltage source", ("battery", GROUND), "battery", Steady(value=supply_v))
        _battery(build)
    else:
        for name, sign in (("POSITIVE", 1.0), ("NEGATIVE", -1.0)):
            rail = f"rail_{name.lower()}"
            build.bench(
                f"RAIL_{name}",
                "voltage source",
                (rail, GROUND),
                f"{name.lower()} rail",
                Steady(value=sign * supply_v),
            )
            if supply.kind == "zener":
                _zener(build, rail, build.rails[sign < 0], sign < 0)
            else:
                _regulator(build, rail, build.rails[sign < 0], sign < 0)
    if supply.kind == "zener" and supply.zener_id is not None:
        zener = build.library.zener(supply.zener_id)
        build.models.append(
            ZenerModel(name="ZENER", zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a)
        )
    for _ in range(cases):
        for rail in build.rails:
            if rail != GROUND:
                build.capacitor("op-amp decoupling", rail, GROUND, _DECOUPLING_F)


def _zener(build: _Builder, rail: str, op_rail: str, negative: bool) -> None:
    series = _stated(build.result.op_amp_supply.series_ohm)
    build.resistor("op-amp supply resistor", rail, op_rail, series)
    ends = (op_rail, GROUND) if negative else (GROUND, op_rail)
    build.add("VR", "zener", ends, "op-amp supply zener", model="ZENER")


def _regulator(build: _Builder, rail: str, op_rail: str, negative: bool) -> None:
    supply = build.result.op_amp_supply
    word, model = ("negative", "REGULATOR_NEGATIVE") if negative else ("positive", "REGULATOR_POSITIVE")
    adjust = f"adjust_{word}"
    build.add("U", "regulator", (rail, op_rail, adjust), f"{word} regulator", model=model)
    build.resistor("regulator output to adjust", op_rail, adjust, _stated(supply.r1_ohm))
    build.resistor("regulator adjust to ground", adjust, GROUND, _stated(supply.r2_ohm))
    build.models.append(RegulatorModel(name=model, reference_v=-_REFERENCE_V if negative else _REFERENCE_V))


def _battery(build: _Builder) -> None:
    """Filtered battery, and half of it as the signal's ground, held by an op-amp."""
    supply = build.result.op_amp_supply
    build.resistor("op-amp supply filter", "battery", "op_supply", _stated(supply.filter_ohm))
    build.capacitor("op-amp supply filter capacitor", "op_supply", GROUND, _stated(supply.filter_f))
    half = _stated(supply.midpoint_ohm)
    build.resistor("midpoint divider", "op_supply", "half", half)
    build.resistor("midpoint divider", "half", GROUND, half)
    build.capacitor("midpoint capacitor", "half", GROUND, _stated(supply.midpoint_f))
    build.op_amp("half", "mid", "mid")


def _stated(value: float | None) -> float:
    if value is None:
        raise SubwrightError(message="The op-amp supply lacks a value that its kind needs.")
    return value
