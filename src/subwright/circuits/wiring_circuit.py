"""Battery, fuse, cables, links and loudspeaker as a netlist: everything that carries current between boxes.

The battery floats; 0 V is the unit's. What the unit draws is a source, and what the amplifier gives another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from subwright.circuits.netlist import (
    GROUND,
    Circuit,
    Numbering,
    Part,
    PartKind,
    Ramp,
    Standing,
    Steady,
    TestPoint,
)
from subwright.circuits.shunt_return import OUTPUT_SHUNT_NET

__all__ = ["DRIVER_NETS", "FUSED", "UNIT_NETS", "WiringValues", "net_ohm", "terminal_nets", "wiring_circuit"]

_HUNDRED: Final = 900
_SHORT_OHM: Final = 1e-7

DRIVER_NETS: Final = ("driver_positive", "driver_negative")
"""Terminals of the driver group."""
FUSED: Final = "fused"
"""Behind the fuse."""

UNIT_NETS: Final = ("unit_plus", "unit_minus")
"""The battery's poles at the unit's board; the second is 0 V unless a guard sits in the return."""


@dataclass(frozen=True, kw_only=True, slots=True)
class WiringValues:
    """What the wiring's netlist is made from.

    Attributes
    ----------
    emf_v, battery_ohm : of the battery, V and Ω. contact_ohm : fuse and contacts without what the unit itself
        has in the battery's path, Ω.
    out_ohm, return_ohm : the run to the unit and back, Ω. chassis : whether the body carries it back.
    link_ohm : each link from a terminal to the board, Ω; None where a track does it.
    guard_ohm : of a reverse-polarity switch in the return, Ω; None where the return is 0 V itself.
    draw_a : mean current of the unit, A. amplifier_v : at the amplifier's output, V.
    speaker_ohm : of the speaker cable, out and return, Ω. single_ended : whether it returns to 0 V.
    sensed : whether that return leads over the protection's shunt, which the amplifier's lead counts.
    driver_ohm : of the whole group, Ω. branches : drivers in parallel, each branch its drivers in series.
    """

    emf_v: float
    battery_ohm: float
    contact_ohm: float
    out_ohm: float
    return_ohm: float
    chassis: bool
    link_ohm: float | None
    guard_ohm: float | None
    draw_a: float
    amplifier_v: float
    speaker_ohm: float
    single_ended: bool
    driver_ohm: float
    branches: tuple[int, ...]
    fuse_id: str
    cable_id: str
    link_id: str
    speaker_id: str
    driver_id: str
    sensed: bool = False


class _Builder:
    def __init__(self) -> None:
        self.parts: list[Part] = []
        self.number = Numbering(_HUNDRED)

    def add(
        self,
        name: str,
        kind: PartKind,
        nets: tuple[str, str],
        value: float | Steady | Ramp,
        role: str,
        part_id: str = "",
        standing: Standing = "bought",
    ) -> None:
        self.parts.append(
            Part(
                designator=name,
                kind=kind,
                nets=nets,
                value=value,
                role=role,
                part_id=part_id,
                standing=standing,
            )
        )


def terminal_nets(values: WiringValues) -> tuple[str, str]:
    """Nets of the unit's + and − terminal, where the battery's cables end."""
    return ("terminal", "return") if values.link_ohm is not None else (UNIT_NETS[0], _minus(values))


def net_ohm(values: WiringValues) -> Mapping[str, float]:
    """How far each test point's net drops below the battery's voltage for each ampere of the unit, Ω.

    Against the unit's 0 V, so all that the current returns through counts at both.

    Parameters
    ----------
    values : resistances.
    """
    link_ohm = values.link_ohm or 0.0
    back_ohm = values.return_ohm + link_ohm + (values.guard_ohm or 0.0)
    fused_ohm = values.battery_ohm + values.contact_ohm + back_ohm
    return {FUSED: fused_ohm, UNIT_NETS[0]: fused_ohm + values.out_ohm + link_ohm}


def wiring_circuit(values: WiringValues, *, shorted: bool = False, draw: Ramp | None = None) -> Circuit:
    """The netlist of a build's wiring.

    Parameters
    ----------
    values : resistances, ids and loads. shorted : whether the unit's terminals are bridged.
    draw : current of the unit over time, A; None for the steady one of ``values``.

    Returns
    -------
    Circuit with the nets ``UNIT_NETS``, ``DRIVER_NETS``, ``speaker_a``, ``speaker_b``.
    """
    build = _Builder()
    number = build.number
    battery = number.next("BT")
    build.add(
        battery,
        "voltage source",
        ("battery_cell", "battery_minus"),
        Steady(value=values.emf_v),
        "battery",
        standing="elsewhere",
    )
    build.add(
        f"{battery}_RS",
        "resistor",
        ("battery_cell", "battery_plus"),
        values.battery_ohm,
        "battery's own resistance",
        standing="inherent",
    )
    fuse = number.next("F")
    build.add(fuse, "fuse", ("battery_plus", FUSED), values.contact_ohm, "supply fuse", values.fuse_id)
    run = number.next("W")
    build.add(run, "cable", (FUSED, "terminal"), values.out_ohm, "supply cable, positive", values.cable_id)
    back = number.next("W")
    if values.chassis:
        body: tuple[str, str, Standing] = ("body of the vehicle", "", "elsewhere")
    else:
        body = ("supply cable, return", values.cable_id, "bought")
    build.add(back, "cable", ("battery_minus", "return"), values.return_ohm, body[0], body[1], body[2])
    _links(build, values)
    plus, minus = UNIT_NETS[0], _minus(values)
    drawn = Steady(value=values.draw_a) if draw is None else draw
    build.add("BENCH_UNIT", "current source", (plus, GROUND), drawn, "unit", "", "bench")
    if shorted:
        build.add("BENCH_SHORT", "resistor", terminal_nets(values), _SHORT_OHM, "short circuit", "", "bench")
    if values.guard_ohm is not None:
        build.add("BENCH_GUARD", "resistor", (minus, GROUND), values.guard_ohm, "battery guard", "", "bench")
    _speaker(build, values)
    return Circuit(
        name="wiring",
        parts=tuple(build.parts),
        test_points=(
            TestPoint(designator=f"TP{_HUNDRED + 1}", net=FUSED, what="behind the fuse"),
            TestPoint(designator=f"TP{_HUNDRED + 2}", net=plus, what="supply at the unit's board"),
        ),
    )


def _minus(values: WiringValues) -> str:
    return GROUND if values.guard_ohm is None else UNIT_NETS[1]


def _links(build: _Builder, values: WiringValues) -> None:
    """From the unit's terminals to its board: links, or tracks that nobody buys."""
    inside = {"terminal": UNIT_NETS[0], "return": _minus(values)}
    if values.link_ohm is None:
        build.parts = [
            replace(part, nets=tuple(inside.get(net, net) for net in part.nets)) for part in build.parts
        ]
        return
    for net, board in inside.items():
        name = build.number.next("W")
        build.add(name, "cable", (net, board), values.link_ohm, "link, battery input", values.link_id)


def _speaker(build: _Builder, values: WiringValues) -> None:
    """The two cores of the speaker cable and the drivers at their end."""
    returns = "speaker_b" if not values.single_ended else OUTPUT_SHUNT_NET if values.sensed else GROUND
    case = build.number.next("W")
    half = 0.5 * values.speaker_ohm
    for section, nets in (("A", ("speaker_a", DRIVER_NETS[0])), ("B", (DRIVER_NETS[1], returns))):
        build.add(f"{case}{section}", "cable", nets, half, "speaker cable", values.speaker_id)
    source = Steady(value=values.amplifier_v, ac=1.0)
    build.add("BENCH_AMPLIFIER", "voltage source", ("speaker_a", returns), source, "amplifier", "", "bench")
    if returns == OUTPUT_SHUNT_NET:
        joint = Steady(value=0.0)
        build.add("BENCH_SHUNT", "voltage source", (returns, GROUND), joint, "shunt", "", "bench")
    if not values.single_ended:
        build.add("BENCH_MIDDLE", "resistor", ("speaker_b", GROUND), 1.0, "amplifier's middle", "", "bench")
    conductance = sum(1.0 / count for count in values.branches)
    each_ohm = values.driver_ohm * conductance
    for branch, count in enumerate(values.branches):
        at = DRIVER_NETS[0]
        for place in range(count):
            last = place == count - 1
            far = DRIVER_NETS[1] if last else f"between_{branch}_{place}"
            build.add(build.number.next("LS"), "loudspeaker", (at, far), each_ohm, "driver", values.driver_id)
            at = far
