"""Bill of materials of the switch-on control."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating, capacitor_use, diode_use, record_use, resistor_use
from subwright.stages.control_records import Remote, Timer, TimerSupply

__all__ = ["BASE_PULL_UP_OHM", "DISCHARGE_OHM", "REMOTE_TRANSISTOR", "control_parts"]

DISCHARGE_OHM: Final = 100.0
BASE_PULL_UP_OHM: Final = 10e3
REMOTE_TRANSISTOR: Final = "BC546B"


def control_parts(
    remote: Remote | None, timers: tuple[Timer, ...], supply: TimerSupply, library: Library
) -> tuple[PartUse, ...]:
    """Every part with its ratings; arguments as the stage's own."""
    parts = list(_remote(remote, library)) if remote else []
    parts += _supply(supply, library)
    for timer in timers:
        parts += [
            resistor_use(f"{timer.name} timer resistor", timer.resistor_ohm),
            _capacitor(f"{timer.name} timer capacitor", timer.capacitor_f),
            resistor_use(f"{timer.name} timer discharge resistor", DISCHARGE_OHM),
            diode_use(f"{timer.name} timer discharge diode", "1N4148"),
        ]
    parts.append(record_use("timer comparators", "U", library.comparator("LM393"), 1, library))
    parts.append(resistor_use("un-mute pull-up", supply.pullup_ohm))
    return tuple(parts)


def _supply(supply: TimerSupply, library: Library) -> Iterator[PartUse]:
    clamp = library.zener(supply.clamp)
    yield resistor_use("timer supply resistor", supply.series_ohm, supply.series_w)
    yield record_use(
        "timer supply clamp",
        "VR",
        clamp,
        1,
        library,
        Rating(
            quantity="power",
            unit="W",
            applied=supply.clamp_w,
            limit=supply.clamp_limit_w,
            source=clamp.provenance.document,
            at="highest battery",
        ),
    )
    yield capacitor_use("timer supply decoupling", supply.decoupling_f, "film 63 V", 0.10)
    for half in ("upper", "lower"):
        yield resistor_use(f"timer half supply {half}", supply.half_ohm)


def _capacitor(role: str, farad: float) -> PartUse:
    kind = "film 63 V" if farad < 1e-6 else "electrolytic 25 V, low leakage"
    return capacitor_use(role, farad, kind, 0.20)


def _remote(remote: Remote, library: Library) -> Iterator[PartUse]:
    yield resistor_use("remote line series", remote.series_ohm)
    yield resistor_use("remote line pull-down", remote.pulldown_ohm)
    yield _capacitor("remote line debounce", remote.filter_f)
    yield diode_use("remote line clamp diode", "1N4148")
    yield record_use("remote transistor", "Q", library.transistor(REMOTE_TRANSISTOR), 1, library)
    switch = library.transistor(remote.switch)
    document = switch.provenance.document
    yield record_use(
        "control supply switch",
        "Q",
        switch,
        1,
        library,
        Rating(
            quantity="collector current",
            unit="A",
            applied=remote.switch_a,
            limit=remote.switch_limit_a,
            source=document,
        ),
        Rating(
            quantity="collector-emitter voltage",
            unit="V",
            applied=remote.switch_v,
            limit=remote.switch_limit_v,
            source=document,
            at="load dump",
        ),
    )
    yield resistor_use("control supply base resistor", remote.base_ohm, remote.base_w)
    yield resistor_use("control supply base pull-up", BASE_PULL_UP_OHM)
