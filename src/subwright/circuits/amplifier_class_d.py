"""The class-D output stage: switches with body diodes, output filter, damping, lead and load.

Half-bridge or full bridge, on split rails or on the battery. The switches are resistances that their gates
turn on and off: conduction, ripple and dead time are there, the edges' own losses are not.
"""

from __future__ import annotations

from typing import Final

from subwright.base.errors import SubwrightError
from subwright.circuits.amplifier_drive import gate_drives
from subwright.circuits.amplifier_parts import POSITIVE, AmplifierParts
from subwright.circuits.amplifier_values import ClassDValues
from subwright.circuits.models import SwitchModel
from subwright.circuits.netlist import GROUND, Circuit, Steady, TestPoint

__all__ = ["INDUCTORS", "LEG_OUTPUTS", "class_d_circuit", "class_d_filter_circuit"]

LEG_OUTPUTS: Final = ("out_a", "out_b")
"""Nets after each leg's inductor."""
INDUCTORS: Final = ("L501", "L502")
"""Designators of each leg's inductor."""

_THRESHOLD_V: Final = 5.0
_OFF_OHM: Final = 1e7


def class_d_circuit(
    values: ClassDValues, *, load_ohm: float, modulation: float, periods: int, note_hz: float = 0.0
) -> Circuit:
    """Netlist of the switched stage, capacitors charged to where a steady duty holds them.

    Parameters
    ----------
    values : everything in it. load_ohm : resistor in place of the loudspeaker, Ω.
    modulation : output over the greatest, steady, or the peak of a sine; the legs of a bridge switch in
        opposition, one's upper switch with the other's lower.
    periods : of switching that the drive lasts. note_hz : of the sine, Hz; 0 for steady.

    Returns
    -------
    Circuit.

    Raises
    ------
    SubwrightError : the modulation leaves no pulse.
    """
    v = values
    build = AmplifierParts(v.ids, v.split_rails)
    build.supply(v.rail_v)
    points = []
    drives = gate_drives(v, modulation, periods, note_hz)
    for leg, name in enumerate("ab"[: v.legs]):
        node = f"node_{name}"
        own = modulation if leg == 0 else -modulation
        upper, lower = drives if leg == 0 else drives[::-1]
        for side, drain, source, drive in (
            ("upper", POSITIVE, node, upper),
            ("lower", node, build.low, lower),
        ):
            gate = f"gate_{side}_{name}"
            build.bench(f"GATE_{side}_{name}".upper(), "voltage source", (gate, source), "gate drive", drive)
            build.bought("Q", "mosfet", (drain, gate, source), "output switch", model="SWITCH")
        steady = own if note_hz == 0.0 else 0.0
        middle_v = 0.0 if v.split_rails else 0.5 * v.rail_v
        _filter(build, v, name, node, middle_v + 0.5 * v.bus_v * steady)
        if v.snubber_ohm is not None:
            snubbed = f"snub_{name}"
            build.bought("R", "resistor", (node, snubbed), "output snubber resistor", v.snubber_ohm)
            ends = (snubbed, GROUND)
            low_v = -v.rail_v if v.split_rails else 0.0
            build.bought("C", "capacitor", ends, "output snubber capacitor", v.snubber_f, initial_v=low_v)
        points.append((node, f"switched node of leg {name.upper()}"))
        points.append((f"out_{name}", f"filter output of leg {name.upper()}"))
    build.load(_ends(v), v.lead_ohm, load_ohm)
    return Circuit(
        name="class-D output stage",
        parts=tuple(build.parts),
        models=(
            SwitchModel(
                name="SWITCH",
                on_ohm=v.switch_ohm,
                off_ohm=_OFF_OHM,
                threshold_v=_THRESHOLD_V,
                clamp_v=max(v.avalanche_v, 2.0 * v.bus_v),
            ),
        ),
        test_points=tuple(
            TestPoint(designator=f"TP{500 + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
    )


def class_d_filter_circuit(values: ClassDValues, load: float | Circuit) -> Circuit:
    """Netlist for AC: the bridge's average as a source of 1 V behind its switches, the filter and a load.

    Parameters
    ----------
    values : everything in it.
    load : resistor, Ω; or a loudspeaker's circuit, whose BENCH_SOURCE the filter's output replaces.

    Returns
    -------
    Circuit; the response is that of ``out_a``, less ``out_b`` in a bridge.

    Raises
    ------
    SubwrightError : a loudspeaker's circuit on a bridge: it has one end on ground.
    """
    v = values
    build = AmplifierParts(v.ids, v.split_rails)
    for name, share in zip("ab", (1.0,) if v.legs == 1 else (0.5, -0.5), strict=False):
        ideal, node = f"ideal_{name}", f"node_{name}"
        average = Steady(value=0.0, ac=share)
        build.bench(f"AVERAGE_{name.upper()}", "voltage source", (ideal, GROUND), "average of a leg", average)
        build.bench(f"SWITCH_{name.upper()}", "resistor", (ideal, node), "switch that is on", v.switch_ohm)
        _filter(build, v, name, node, None)
    if isinstance(load, float):
        build.load(_ends(v), 0.0, load)
        return Circuit(name="class-D output filter", parts=tuple(build.parts))
    if v.legs == 2:
        raise SubwrightError(
            message="A loudspeaker's circuit stands on ground and can't lie between the legs of a bridge.",
            quantity="legs",
            value="2",
            limit="1",
            remedy="Take a resistor as the load.",
        )
    source = load.part("BENCH_SOURCE")
    build.bench("JOINT", "voltage source", (LEG_OUTPUTS[0], source.nets[0]), "joint", Steady(value=0.0))
    return Circuit(
        name="class-D output filter",
        parts=(*build.parts, *(part for part in load.parts if part is not source)),
        models=load.models,
        couplings=load.couplings,
        open_nets=load.open_nets,
    )


def _ends(v: ClassDValues) -> tuple[str, str]:
    return LEG_OUTPUTS[0], LEG_OUTPUTS[1] if v.legs == 2 else GROUND


def _filter(build: AmplifierParts, v: ClassDValues, name: str, node: str, initial_v: float | None) -> None:
    """Inductor, capacitor and damping of one leg; capacitors to ground."""
    out, damped = f"out_{name}", f"damped_{name}"
    role = "output inductor"
    build.bought("L", "inductor", (node, out), role, v.inductance_h, series_ohm=v.inductor_ohm)
    build.bought("C", "capacitor", (out, GROUND), "filter capacitor", v.filter_f, initial_v=initial_v)
    build.bought("R", "resistor", (out, damped), "filter damping resistor", v.damping_ohm)
    ends = (damped, GROUND)
    build.bought("C", "capacitor", ends, "filter damping capacitor", v.damping_f, initial_v=initial_v)
