"""The class-D modulator with level shift, dead time, drivers and supplies: from the filter to the gates."""

from __future__ import annotations

from typing import Final

from subwright.circuits.builder import Builder
from subwright.circuits.modulator_drive import add_drivers, add_logic, lower_rail
from subwright.circuits.modulator_points import modulator_points
from subwright.circuits.modulator_signal import add_signal
from subwright.circuits.modulator_supply import add_supplies
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import GROUND, Circuit, Steady, Value

__all__ = ["modulator_bench", "modulator_circuit", "modulator_parts"]

_HUNDRED: Final = 1300


def modulator_parts(v: ModulatorValues, modulation: float = 0.0) -> Builder:
    """The parts that the bill buys for this block; the integrator begins at a modulation."""
    build = Builder(_HUNDRED, v.ids)
    add_signal(build, v, modulation)
    add_logic(build, v)
    add_drivers(build, v)
    add_supplies(build, v)
    return build


def modulator_bench(
    build: Builder,
    v: ModulatorValues,
    *,
    wanted: Value,
    mute: Value,
    rails: tuple[Value, Value] | None = None,
) -> None:
    """What stands for the rest of the build: rails, the filter's output, the mute line."""
    stiff = Steady(value=v.rail_v)
    positive, negative = (stiff, stiff) if rails is None else rails
    build.bench("RAIL_POSITIVE", "voltage source", ("rail_positive", GROUND), positive, "positive rail")
    if v.record.split_rails:
        build.bench("RAIL_NEGATIVE", "voltage source", (GROUND, "rail_negative"), negative, "negative rail")
    build.bench("WANTED", "voltage source", ("wanted_a", GROUND), wanted, "line filter's output")
    if v.control_v is not None:
        control = Steady(value=v.control_v)
        build.bench("CONTROL", "voltage source", ("control", GROUND), control, "switched control supply")
    if v.has("mute series"):
        build.bench("MUTE", "voltage source", ("mute", GROUND), mute, "mute line")


def modulator_circuit(v: ModulatorValues) -> Circuit:
    """Netlist of the modulator by itself: sources hold the nodes, capacitors stand for the gates.

    Parameters
    ----------
    v : everything in it.

    Returns
    -------
    Circuit; gates, nodes and rails have the output stage's net names.
    """
    build = modulator_parts(v)
    fed = {net for part in build.parts for net in part.nets}
    modulator_bench(build, v, wanted=Steady(value=0.0), mute=Steady(value=v.record.mute_high_v))
    build.parts[:] = [
        part for part in build.parts if part.standing != "bench" or fed & set(part.nets) - {GROUND}
    ]
    middle = Steady(value=0.0 if v.record.split_rails else 0.5 * v.rail_v)
    for name in "ab"[: v.record.legs]:
        node, letter = f"node_{name}", name.upper()
        build.bench(f"NODE_{letter}", "voltage source", (node, GROUND), middle, "switched node")
        for side, source in (("upper", node), ("lower", lower_rail(v))):
            gate = f"gate_{side}_{name}"
            build.bench(
                gate.upper(), "capacitor", (gate, source), v.gate_f, "gate of a switch", initial_v=0.0
            )
    return Circuit(
        name="class-D modulator",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=modulator_points(v),
        open_nets=() if v.record.clocked else ("spare_output",),
    )
