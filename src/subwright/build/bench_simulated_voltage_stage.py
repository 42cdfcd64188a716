"""The bench in a simulator, discrete class AB: currents behind resistors, and the bias as a hand sets it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

from subwright.build.bench_simulated_unit import Bench, Readings
from subwright.build.bringup_voltage_stage import bench_values, series_ohm
from subwright.build.linear_amplifier import SILENT, closed_amplifier, stage_of
from subwright.circuits.amplifier_parts import NEGATIVE, POSITIVE
from subwright.circuits.analysis import Probe, Transient, Voltage
from subwright.circuits.netlist import GROUND, Circuit, Part
from subwright.circuits.voltage_stage_circuit import HALF, REFERENCE

__all__ = ["VOLTAGE_STAGE_BLOCKS"]

_REST: Final = Transient(stop_s=1e-6, step_s=1e-7)
_TURNS: Final = 12  # halvings of the trimmer's way
_DIFFERENCE: Final = {"amp-reference": REFERENCE, "leg-drive-a": "steer_a", "leg-drive-b": "steer_b"}
_RESTS: Final = {"leg-rest-a": "out_a", "leg-rest-b": "out_b"}
_SUPPLIES: Final = {"BENCH_RAIL_POSITIVE": POSITIVE, "BENCH_RAIL_NEGATIVE": NEGATIVE}


def _powered(bench: Bench, setting: float, ohm: float = 0.0) -> Circuit:
    """The amplifier on the bench's rail, its trimmers at a setting, resistors in its leads."""
    values = bench_values(bench.design, bench.procedure.bench_v)
    circuit = closed_amplifier(
        bench.design, bench.library, SILENT, loaded=False, rail_v=values.rail_v, outer_only=True
    )
    parts: list[Part] = []
    for part in circuit.parts:
        if part.role == "bias trimmer":
            part = replace(part, setting=setting)
        if ohm > 0.0 and part.designator in _SUPPLIES:
            rail = _SUPPLIES[part.designator]
            far = f"bench_{rail}"
            part = replace(part, nets=tuple(far if net == rail else net for net in part.nets))
            parts.append(
                Part(
                    designator=f"{part.designator}_SERIES",
                    kind="resistor",
                    nets=(far, rail),
                    value=ohm,
                    role="resistor of the first step",
                    standing="bench",
                )
            )
        parts.append(part)
    return replace(circuit, parts=tuple(parts))


def _volts(bench: Bench, circuit: Circuit, nets: set[str]) -> Mapping[str, float]:
    """What stands at nets at rest, V."""
    probes: list[Probe] = [Voltage(net) for net in sorted(nets - {GROUND})]
    traces = bench.run(circuit, _REST, probes)
    return {net: float(traces.voltage(net)[-1]) for net in nets - {GROUND}} | {GROUND: 0.0}


def _legs(bench: Bench) -> Mapping[str, str]:
    """Each leg with the end of its readings' keys."""
    legs = bench.design.amplifier.model.legs
    return {"a": ""} if legs == 1 else {name: f"-{name}" for name in "ab"}


def _currents(bench: Bench) -> Readings:
    """The first step: least bias, resistors in the leads."""
    stage = stage_of(bench.design)
    assert stage is not None
    values = bench_values(bench.design, bench.procedure.bench_v)
    circuit = _powered(bench, 1.0, series_ohm(stage, values))
    low = NEGATIVE if values.split_rails else GROUND
    nets = {"out_a", low, POSITIVE, f"bench_{POSITIVE}"}
    uppers = {}
    for leg in _legs(bench):
        resistor = next(p for p in circuit.by_role("tail resistor") if f"tail_source_{leg}" in p.nets)
        uppers[leg] = resistor.nets[0]
        nets |= {uppers[leg], f"tail_source_{leg}", f"vas_emitter_{leg}", f"out_{leg}"}
    if not values.split_rails:
        nets.add(HALF)
    if stage.bridge == "difference":
        nets |= set(_DIFFERENCE.values())
    seen = _volts(bench, circuit, nets)
    found: Readings = {"stage-offset": seen["out_a"] - seen.get("out_b", 0.0)}
    found["stage-drop"] = seen[f"bench_{POSITIVE}"] - seen[POSITIVE]
    for leg, end in _legs(bench).items():
        found[f"stage-current{end}"] = seen[f"vas_emitter_{leg}"] - seen[low]
        found[f"tail-current{end}"] = seen[uppers[leg]] - seen[f"tail_source_{leg}"]
    if HALF in seen:
        found["half-supply"] = seen[HALF]
    if stage.bridge == "difference":
        found |= {key: seen[net] for key, net in (_DIFFERENCE | _RESTS).items()}
    return found


def _bias(bench: Bench) -> Readings:
    """The second step: the trimmers turned until the first leg's bias reads what it should, or their end."""
    legs = _legs(bench)
    first, first_end = next(iter(legs.items()))
    wanted = bench.expected(f"bias{first_end}")
    low, high = 0.0, 1.0  # of the trimmer: the greatest resistance gives the least bias
    seen: Mapping[str, float] = {}
    for _ in range(_TURNS):
        setting = 0.5 * (low + high)
        circuit = _powered(bench, setting)
        pairs = {leg: _pair(circuit, leg) for leg in legs}
        nets = {net for pair in pairs.values() for net in pair}
        nets |= {f"base_{side}_{leg}" for leg in legs for side in ("upper", "lower")}
        seen = _volts(bench, circuit, nets)
        upper, lower = pairs[first]
        if seen[upper] - seen[lower] > wanted:
            low = setting
        else:
            high = setting
    found: Readings = {}
    for leg, end in legs.items():
        upper, lower = _pair(circuit, leg)
        found[f"bias{end}"] = seen[upper] - seen[lower]
        found[f"bias-spread{end}"] = seen[f"base_upper_{leg}"] - seen[f"base_lower_{leg}"]
    return found


def _pair(circuit: Circuit, leg: str) -> tuple[str, str]:
    """Emitters of the first pair of a leg; its output where there are no resistors."""
    there = set(circuit.nets)
    upper, lower = (f"emitter_{side}_{leg}0" for side in ("upper", "lower"))
    return (upper, lower) if upper in there else (f"out_{leg}", f"out_{leg}")


VOLTAGE_STAGE_BLOCKS: Final[Mapping[str, Callable[[Bench], Readings]]] = MappingProxyType(
    {"voltage-stage": _currents, "bias": _bias}
)
"""Blocks of discrete class AB, by name."""
