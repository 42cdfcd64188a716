"""Switching on: remote line, supply switch, and the timers that un-mute and connect the loudspeaker."""

from __future__ import annotations

from typing import Final

from subwright.circuits.builder import Builder
from subwright.circuits.models import BipolarModel, ComparatorModel, JunctionModel, ZenerModel
from subwright.circuits.netlist import GROUND, Circuit, Steady, TestPoint, Value
from subwright.parts.library import Library
from subwright.physics.junctions import saturation_current_a
from subwright.stages.control import REMOTE_GAIN, SWITCH_GAIN, TIMER_COMPARATOR, TIMER_SUPPLY_A
from subwright.stages.control_bill import BASE_PULL_UP_OHM, DISCHARGE_OHM
from subwright.stages.control_records import ControlResult, Remote, Timer

__all__ = ["COMPARATOR_A", "TIMER_OUTPUTS", "control_circuit"]

_HUNDRED: Final = 400
TIMER_OUTPUTS: Final = {"un-mute": "mute", "loudspeaker": "speaker_on"}
"""Output of each timer: held low until its time has come."""
_SMALL: Final = JunctionModel(name="SMALL", forward_v=0.6, rated_a=1e-3)
COMPARATOR_A: Final = 0.25 * TIMER_SUPPLY_A
"""Supply current of one comparator, A; the rest is divider, pull-up and reserve."""
_SPEAKER_BASE_OHM: Final = 10e3  # in place of the speaker guard, where a run doesn't have it


def control_circuit(
    result: ControlResult,
    library: Library,
    *,
    battery: Value,
    remote: Value = None,
    load_ohm: float,
    charged: bool = False,
    mute: tuple[float, float] | None = None,
    speaker_base_ohm: float | None = None,
) -> Circuit:
    """Netlist of the switch-on control.

    Parameters
    ----------
    result : the design. library : parts with the drawer merged.
    battery : voltage behind the fuse, V. remote : voltage of the remote line, V; None for nought.
    load_ohm : what the control supply feeds, Ω.
    charged : whether the timers have run out long ago, for a run that begins while it plays.
    mute : what the amplifier hangs on the mute line: a voltage, V, behind a resistance, Ω; None for nothing.
    speaker_base_ohm : of the speaker guard, from the control supply to the loudspeaker's timer, Ω; None for
        any.

    Returns
    -------
    Circuit. Without a remote line the control supply is the battery itself.
    """
    comparator = library.comparator(TIMER_COMPARATOR)
    build = Builder(_HUNDRED, {part.role: part.part_id for part in result.parts})
    build.bench("BATTERY", "voltage source", ("battery", GROUND), battery, "battery behind the fuse")
    supply = "battery"
    if result.remote is not None:
        supply = "control"
        line = Steady(value=0.0) if remote is None else remote
        build.bench("REMOTE", "voltage source", ("remote", GROUND), line, "remote line")
        _remote(build, result.remote)
    build.bench("LOAD", "resistor", (supply, GROUND), load_ohm, "what the control supply feeds")
    _timer_supply(build, result, library, supply)
    model = ComparatorModel(
        name="COMPARATOR",
        offset_v=0.0,
        bias_a=comparator.ib_a,
        saturation_ohm=comparator.vol_v / 4e-3,
        response_s=comparator.response_s,
        supply_a=COMPARATOR_A,
    )
    names = build.sections(len(result.timers), comparator.channels)
    for timer, name in zip(result.timers, names, strict=True):
        node = _timer(build, timer, supply, result.supply.nominal_v if charged else None)
        out = TIMER_OUTPUTS[timer.name]
        pins = (node, "half", out, "timer", GROUND)
        build.bought("U", "comparator", pins, "timer comparators", model=model, name=name)
        if timer.name == "un-mute":
            build.resistor("un-mute pull-up", "timer", out, result.supply.pullup_ohm)
        else:
            base_ohm = _SPEAKER_BASE_OHM if speaker_base_ohm is None else speaker_base_ohm
            build.bench("SPEAKER_BASE", "resistor", (supply, out), base_ohm, "speaker guard")
    if mute is not None:
        build.bench("MUTED", "resistor", ("mute", "muted"), mute[1], "amplifier")
        build.bench("MUTED_AT", "voltage source", ("muted", GROUND), Steady(value=mute[0]), "amplifier")
    points = [("timer", "supply of the timers"), ("mute", "low: muted")]
    if result.remote is not None:
        points = [("control", "control supply"), ("remote_base", "remote line behind its divider"), *points]
    if len(result.timers) > 1:
        points.append(("speaker_on", "low: loudspeaker off"))
    points.append(("half", "half the timers' supply, to which they are compared"))
    return Circuit(
        name="switching on and off",
        parts=tuple(build.parts),
        models=tuple(build.models),
        test_points=tuple(
            TestPoint(designator=f"TP{_HUNDRED + k}", net=net, what=what)
            for k, (net, what) in enumerate(points, 1)
        ),
    )


def _remote(build: Builder, remote: Remote) -> None:
    npn = BipolarModel(
        name="NPN_REMOTE", polarity="npn", current_gain=REMOTE_GAIN, saturation_a=saturation_current_a()
    )
    pnp = BipolarModel(
        name="PNP_SWITCH", polarity="pnp", current_gain=SWITCH_GAIN, saturation_a=saturation_current_a()
    )
    build.resistor("remote line series", "remote", "remote_base", remote.series_ohm)
    build.resistor("remote line pull-down", "remote_base", GROUND, remote.pulldown_ohm)
    build.capacitor("remote line debounce", "remote_base", GROUND, remote.filter_f)
    build.bought("D", "diode", (GROUND, "remote_base"), "remote line clamp diode", model=_SMALL)
    build.bought("Q", "transistor", ("switch_drive", "remote_base", GROUND), "remote transistor", model=npn)
    build.resistor("control supply base resistor", "switch_drive", "switch_base", remote.base_ohm)
    build.resistor("control supply base pull-up", "battery", "switch_base", BASE_PULL_UP_OHM)
    pins = ("control", "switch_base", "battery")
    build.bought("Q", "transistor", pins, "control supply switch", model=pnp)


def _timer_supply(build: Builder, result: ControlResult, library: Library, supply: str) -> None:
    clamp = library.zener(result.supply.clamp)
    build.resistor("timer supply resistor", supply, "timer", result.supply.series_ohm)
    zener = ZenerModel(name="CLAMP", zener_v=clamp.vz_v, slope_ohm=clamp.rz_ohm, rated_a=clamp.iz_test_a)
    build.bought("VR", "zener", (GROUND, "timer"), "timer supply clamp", model=zener)
    build.capacitor("timer supply decoupling", "timer", GROUND, result.supply.decoupling_f)
    build.resistor("timer half supply upper", "timer", "half", result.supply.half_ohm)
    build.resistor("timer half supply lower", "half", GROUND, result.supply.half_ohm)


def _timer(build: Builder, timer: Timer, supply: str, charged_v: float | None) -> str:
    """One delay; returns the net that rises."""
    node = "mute_delay" if timer.name == "un-mute" else "speaker_delay"
    out = f"{node}_out"
    build.resistor(f"{timer.name} timer resistor", "timer", node, timer.resistor_ohm)
    build.capacitor(f"{timer.name} timer capacitor", node, GROUND, timer.capacitor_f, initial_v=charged_v)
    build.resistor(f"{timer.name} timer discharge resistor", node, out, DISCHARGE_OHM)
    build.bought("D", "diode", (out, supply), f"{timer.name} timer discharge diode", model=_SMALL)
    return node
