"""The modulator's small signals: input buffer, error integrator, clock or hysteresis, comparator."""

from __future__ import annotations

from subwright.circuits.builder import Builder
from subwright.circuits.modulator_values import ModulatorValues
from subwright.circuits.netlist import GROUND

__all__ = ["add_signal", "other_node"]


def other_node(v: ModulatorValues) -> str:
    """What the second half of the feedback follows: leg B's node, or 0 V of a half-bridge."""
    return "node_b" if v.record.legs == 2 else GROUND


def add_signal(build: Builder, v: ModulatorValues, modulation: float = 0.0) -> None:
    """From the line filter's output to the comparator's output; the integrator begins at a modulation.

    The comparator's output is ``pwm``, the level shifter's emitter, on split rails and ``logic_pwm`` on one
    supply.
    """
    amplifiers, comparators = build.sections(2, 2), build.sections(2, 2)
    zero, low = _zero(v), _lower(v)
    entry, minus = "wanted_a", "buffered"
    if v.has("modulator input capacitor"):
        entry = "input_biased"
        build.capacitor(
            "modulator input capacitor",
            "wanted_a",
            entry,
            v.farad("modulator input capacitor"),
            initial_v=-v.zero_v,
        )
        build.resistor("modulator input bias", entry, zero, v.ohm("modulator input bias"))
    if v.has("modulator input balance"):
        minus = "buffer_minus"
        build.resistor("modulator input balance", "buffered", minus, v.ohm("modulator input balance"))
    for name, pins in zip(
        amplifiers, ((entry, minus, "buffered"), ("sum_plus", "sum_minus", "integrated")), strict=True
    ):
        rails = ("op_positive", low)
        build.bought("U", "op-amp", (*pins, *rails), "modulator op-amp", model=v.op_amp, name=name)
    for start, end, far in (
        (zero, "sum_minus", "node_a"),
        ("buffered", "sum_plus", other_node(v)),
    ):
        build.resistor("integrator input", start, end, v.ohm("integrator input"))
        build.resistor("integrator feedback", far, end, v.ohm("integrator feedback"))
    farad = v.farad("integrator capacitor")
    # both inputs begin where the wanted output holds them
    input_v = modulation * v.swing_v / v.node_gain
    feedback, entrance = v.ohm("integrator feedback"), v.ohm("integrator input")
    sum_v = input_v * feedback / (feedback + entrance)
    build.capacitor(
        "integrator capacitor",
        "integrated",
        "sum_minus",
        farad,
        initial_v=_integrated_v(v, modulation) - v.zero_v - sum_v,
    )
    build.capacitor("integrator capacitor", "sum_plus", zero, farad, initial_v=sum_v)
    out = "pwm" if v.record.split_rails else "logic_pwm"
    minus = _clock(build, v, comparators[1]) if v.record.clocked else _hysteresis(build, v, comparators[1])
    _comparator(build, v, comparators[0], ("compared_plus", minus, out))


def _zero(v: ModulatorValues) -> str:
    return GROUND if v.record.split_rails else "reference"


def _lower(v: ModulatorValues) -> str:
    return "op_negative" if v.record.split_rails else GROUND


def _integrated_v(v: ModulatorValues, modulation: float) -> float:
    """Mean of the integrator's output at a modulation, V.

    Clocked, its share then meets the carrier at that height. Otherwise it lies as far below as the
    hysteresis' own mean lies above.
    """
    m = v.record
    if not m.clocked:
        return v.zero_v - modulation * m.hysteresis * v.swing_v
    middle_v, half_v = 0.5 * (m.clock_low_v + m.clock_high_v), 0.5 * (m.clock_high_v - m.clock_low_v)
    return (middle_v + modulation * half_v) / m.compare_share


def _comparator(build: Builder, v: ModulatorValues, name: str, pins: tuple[str, str, str]) -> None:
    nets = (*pins, "op_positive", _lower(v), GROUND)
    build.bought("U", "grounded comparator", nets, "modulator comparator", model=v.comparator, name=name)


def _clock(build: Builder, v: ModulatorValues, name: str) -> str:
    """Relaxation oscillator on a supply of its own, and what leads the integrator to the comparator."""
    m, zener = v.record, v.zeners["clock supply zener"]
    build.resistor("clock supply resistor", "op_positive", "clock_supply", v.ohm("clock supply resistor"))
    build.bought("VR", "zener", (GROUND, "clock_supply"), "clock supply zener", model=zener)
    build.capacitor(
        "clock supply capacitor",
        "clock_supply",
        GROUND,
        v.farad("clock supply capacitor"),
        initial_v=m.clock_supply_v,
    )
    _comparator(build, v, name, ("clock_threshold", "carrier", "clock"))
    build.resistor("clock pull-up", "clock_supply", "clock", v.ohm("clock pull-up"))
    build.resistor("clock timing resistor", "clock", "carrier", v.ohm("clock timing resistor"))
    build.capacitor(
        "clock timing capacitor",
        "carrier",
        GROUND,
        v.farad("clock timing capacitor"),
        initial_v=m.clock_low_v,
    )
    for role, ends in (
        ("clock threshold upper", ("clock_supply", "clock_threshold")),
        ("clock threshold lower", ("clock_threshold", GROUND)),
        ("clock threshold feedback", ("clock", "clock_threshold")),
        ("comparator series", ("integrated", "compared_plus")),
        ("comparator shunt", ("compared_plus", GROUND)),
    ):
        build.resistor(role, *ends, v.ohm(role))
    for ends in (("compared_plus", "clock_supply"), (GROUND, "compared_plus")):
        build.bought("D", "diode", ends, "comparator clamp diode", model=v.diodes["comparator clamp diode"])
    return "carrier"


def _hysteresis(build: Builder, v: ModulatorValues, spare: str) -> str:
    """Dividers from the nodes to both of the comparator's inputs; its other half is tied down."""
    for start, end, far in (
        ("integrated", "compared_plus", "node_a"),
        (_zero(v), "compared_minus", other_node(v)),
    ):
        build.resistor("hysteresis input", start, end, v.ohm("hysteresis input"))
        build.resistor("hysteresis feedback", far, end, v.ohm("hysteresis feedback"))
    for ends in (("compared_plus", "compared_minus"), ("compared_minus", "compared_plus")):
        build.bought("D", "diode", ends, "comparator clamp diode", model=v.diodes["comparator clamp diode"])
    _comparator(build, v, spare, (_zero(v), _zero(v), "spare_output"))
    return "compared_minus"
