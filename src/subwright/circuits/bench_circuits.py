"""Netlists of what stands on the bench: transformer alone, timing parts, gates, a supply with a limit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.models import DiodeModel
from subwright.circuits.netlist import GROUND, Circuit, Coupling, Part, PartKind, Pulse, Steady, Value

__all__ = [
    "GateValues",
    "Windings",
    "gate_circuit",
    "limited_supply",
    "timing_circuit",
    "transformer_circuit",
]

_JOIN_OHM: Final = 1e-6
_PROBE_OHM: Final = 1e7  # of an oscilloscope or a meter
_COUPLING: Final = 1.0 - 1e-7
_LIMITER_V: Final = 1e-3


def _bench(
    name: str,
    kind: PartKind,
    nets: tuple[str, ...],
    value: Value,
    role: str,
    *,
    senses: str = "",
    initial_v: float = 0.0,
) -> Part:
    return Part(
        designator=f"BENCH_{name}",
        kind=kind,
        nets=nets,
        value=value,
        role=role,
        standing="bench",
        senses=senses,
        initial_v=initial_v if kind == "capacitor" else None,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Windings:
    """A push-pull transformer off the board.

    Attributes
    ----------
    primary_h, secondary_h : of one half, H. leakage_h : in series with each half-primary, H.
    primary_ohm, secondary_ohm : cold, of one half, Ω. halves : of the secondary, 1 or 2.
    """

    primary_h: float
    secondary_h: float
    leakage_h: float
    primary_ohm: float
    secondary_ohm: float
    halves: int = 2


def transformer_circuit(
    windings: Windings, drive: tuple[str, str], *, joined: bool, shorted: bool = False
) -> Circuit:
    """The transformer with a generator of 1 V between two of its ends p1 … p4, s1 … s4.

    Each half-primary is two parts, T101A and T101B, with its leakage in series; half-secondaries are T101C
    and T101D. A meter of 10 MΩ hangs from every end to ground, which is the generator's own.

    Parameters
    ----------
    windings : the values. drive : ends of the generator. joined : P2 to P3, and S2 to S3.
    shorted : the whole secondary, from end to end.
    """
    w = windings
    halves = [
        ("A", ("p1", "leak_a"), ("leak_a", "p2"), w.primary_h, w.primary_ohm),
        ("B", ("p3", "leak_b"), ("leak_b", "p4"), w.primary_h, w.primary_ohm),
        ("C", None, ("s1", "s2"), w.secondary_h, w.secondary_ohm),
        ("D", None, ("s3", "s4"), w.secondary_h, w.secondary_ohm),
    ][: 2 + w.halves]
    parts: list[Part] = [
        _bench("GENERATOR", "voltage source", drive, Steady(value=0.0, ac=1.0), "generator"),
        _bench("EARTH", "resistor", (drive[1], GROUND), _JOIN_OHM, "generator's earth"),
    ]
    ends: list[str] = []
    for section, leak, nets, henry, ohm in halves:
        name = f"T101{section}"
        if leak is not None:
            parts.append(
                Part(
                    designator=f"{name}_LEAK",
                    kind="inductor",
                    nets=leak,
                    value=w.leakage_h,
                    role="leakage",
                    standing="inherent",
                )
            )
        parts.append(
            Part(
                designator=name,
                kind="winding",
                nets=nets,
                value=henry,
                role="half-primary" if leak else "half-secondary",
                standing="elsewhere",
                series_ohm=ohm,
            )
        )
        ends += [leak[0] if leak else nets[0], nets[1]]
    parts += [_bench(f"PROBE_{end.upper()}", "resistor", (end, GROUND), _PROBE_OHM, "meter") for end in ends]
    joins = [("p2", "p3"), *([("s2", "s3")] if w.halves == 2 else [])] if joined else []
    if shorted:
        joins.append(("s1", "s4" if w.halves == 2 else "s2"))
    parts += [
        _bench(f"JOIN_{a.upper()}_{b.upper()}", "resistor", (a, b), _JOIN_OHM, "joint") for a, b in joins
    ]
    return Circuit(
        name="transformer on the bench",
        parts=tuple(parts),
        couplings=(
            Coupling(designator="T101", windings=tuple(f"T101{h[0]}" for h in halves), factor=_COUPLING),
        ),
    )


def timing_circuit(rt_ohm: float, ct_f: float, charge_v: float, discharge_ohm: float) -> Circuit:
    """The ramp of a two-output controller: CT charged by the current that RT draws, then emptied.

    Parameters
    ----------
    rt_ohm, ct_f : timing parts, Ω and F. charge_v : on RT, V; its current is mirrored into CT ("ramp").
    discharge_ohm : through which a second capacitor of the same kind, "fall", is emptied from 1 V, Ω.
    """
    return Circuit(
        name="timing parts",
        parts=(
            _bench("PIN", "voltage source", ("rt", GROUND), Steady(value=charge_v), "timing pin"),
            _bench("RT", "resistor", ("rt", GROUND), rt_ohm, "timing resistor"),
            _bench("MIRROR", "current by current", ("ramp", GROUND), 1.0, "mirror", senses="BENCH_PIN"),
            _bench("CT", "capacitor", ("ramp", GROUND), ct_f, "timing capacitor"),
            _bench("DISCHARGE", "resistor", ("fall", GROUND), discharge_ohm, "discharge"),
            _bench("CT_FALL", "capacitor", ("fall", GROUND), ct_f, "timing capacitor", initial_v=1.0),
        ),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class GateValues:
    """One side's gates: high level in V, gate resistor, pull-down and driver in Ω, gates in F, times in s."""

    high_v: float
    gate_ohm: float
    pull_down_ohm: float
    driver_ohm: float
    gate_f: float
    period_s: float
    on_s: float


def gate_circuit(values: GateValues) -> Circuit:
    """Both sides' gate networks: driver, gate resistor BENCH_GATE_OHM_A, pull-down, the gates as a capacitor.

    Nets "gate_a" and "gate_b" are the gates.
    """
    v = values
    parts: list[Part] = []
    for k, side in enumerate("ab"):
        delay = 0.25 * v.period_s + 0.5 * k * v.period_s
        pulse = Pulse(
            first=0.0, then=v.high_v, delay_s=delay, edge_s=20e-9, then_s=v.on_s, period_s=v.period_s
        )
        out, strong, gate = f"out_{side}", f"driver_{side}", f"gate_{side}"
        name = side.upper()
        parts += [
            _bench(f"OUTPUT_{name}", "voltage source", (strong, GROUND), pulse, "controller's output"),
            _bench(f"DRIVER_{name}", "resistor", (strong, out), v.driver_ohm, "output's resistance"),
            _bench(f"GATE_OHM_{name}", "resistor", (out, gate), v.gate_ohm, "gate resistor"),
            _bench(f"PULL_DOWN_{name}", "resistor", (gate, GROUND), v.pull_down_ohm, "gate pull-down"),
            _bench(f"GATES_{name}", "capacitor", (gate, GROUND), v.gate_f, "gates of the side"),
            _bench(f"METER_{name}", "resistor", (gate, GROUND), _PROBE_OHM, "oscilloscope"),
        ]
    return Circuit(name="gate networks", parts=tuple(parts))


def limited_supply(circuit: Circuit, set_v: float, limit_a: float, losses_w: float = 0.0) -> Circuit:
    """The power stage on a laboratory supply in place of its battery.

    A current source feeds a node that an ideal diode holds at the set voltage: constant voltage, then
    constant current. Losses without load that the circuit does not hold are a resistor across the input.

    Parameters
    ----------
    circuit : a power stage whose battery is BT101 with BT101_RS. set_v : of the supply, V. limit_a : its
        current limit, A. losses_w : at ``set_v``, W.

    Returns
    -------
    Circuit; the supply's current is ``limit_a`` less that of ``BENCH_SET``.
    """
    if losses_w < 0.0 or limit_a <= 0.0:
        raise SubwrightError(message="A bench supply needs a limit above nought, and no negative losses.")
    rest = [part for part in circuit.parts if part.designator != "BT101"]
    rest = [
        replace(part, designator="BENCH_LEADS", standing="bench") if part.designator == "BT101_RS" else part
        for part in rest
    ]
    supply = [
        _bench("LIMIT", "current source", (GROUND, "battery"), Steady(value=limit_a), "current limit"),
        Part(
            designator="BENCH_HOLD",
            kind="diode",
            nets=("battery", "set"),
            model="HOLD",
            role="voltage limit",
            standing="bench",
        ),
        _bench("SET", "voltage source", ("set", GROUND), Steady(value=set_v), "set voltage"),
    ]
    if losses_w > 0.0:
        ohm = set_v**2 / losses_w
        supply.append(_bench("LOSSES", "resistor", ("input", GROUND), ohm, "losses without load"))
    hold = DiodeModel(name="HOLD", forward_v=_LIMITER_V, resistance_ohm=1e-3, rated_a=limit_a)
    return replace(circuit, parts=(*supply, *rest), models=(*circuit.models, hold))
