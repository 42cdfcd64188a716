"""Negative pulses at every part on the battery side.

A negative pulse pulls the supply towards zero and, where nothing holds it, below. The input capacitors give
up their charge first; then the suppressor conducts forward, or the switches' body diodes do. Whoever sits
behind a resistor sees a current instead of a voltage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from subwright.physics.transients import PULSES, Pulse, lowest_bank_v
from subwright.stages.battery_guard_records import (
    BatteryGuardInput,
    NegativeStress,
    ReversedPart,
    SurgeClamp,
)
from subwright.stages.common import Corner

__all__ = ["lowest_supply_v", "negative_stresses"]

_SUPPRESSOR_V: Final = 1.5  # forward, at the tens of amperes of a pulse; common practice
_JUNCTION_V: Final = 0.7  # of a chip's substrate or a zener, forward


def lowest_supply_v(pulse: Pulse, data: BatteryGuardInput, clamp: SurgeClamp | None) -> tuple[float, str]:
    """How far a negative pulse pulls the supply behind the fuse, V, and what holds it there.

    A series switch counts for nothing: until its gate has emptied it conducts either way.

    Parameters
    ----------
    pulse : below zero by its peak. data : capacitors, battery, body diodes. clamp : suppressor, if any.
    """
    base = data.corners[Corner.CHARGING]
    options: dict[str, float] = {"nothing": pulse.peak_v}
    if data.capacitance_f > 0:
        options["the input capacitors"] = lowest_bank_v(
            base, pulse.peak_v, pulse.decay_s, pulse.source_ohm, data.capacitance_f, data.esr_ohm
        )
    if clamp is not None:
        options[f"the suppressor {clamp.suppressor}, forward"] = -_SUPPRESSOR_V
    if data.body_diode_v is not None:
        options["the body diodes of the switches"] = -data.body_diode_v
    held_by = max(options, key=options.__getitem__)
    return options[held_by], held_by


def negative_stresses(data: BatteryGuardInput, clamp: SurgeClamp | None) -> Iterator[NegativeStress]:
    """Each negative pulse at each part that sees the battery; arguments as :func:`lowest_supply_v`."""
    for pulse in PULSES.get(data.system_v, ()):
        if pulse.peak_v >= 0:
            continue
        least, held_by = lowest_supply_v(pulse, data, clamp)
        for part in data.reversed_parts:
            yield _stress(part, pulse, least, held_by, _limits(part))


def _limits(part: ReversedPart) -> Mapping[str, float]:
    return {"V": part.lowest_v} if part.most_a is None else {"A": part.most_a}


def _stress(
    part: ReversedPart, pulse: Pulse, least_v: float, held_by: str, limits: Mapping[str, float]
) -> NegativeStress:
    (unit, limit), *_ = limits.items()
    if unit == "V":
        value = least_v
    elif part.series_ohm is None:
        value = max(0.0, -pulse.peak_v) / pulse.source_ohm if least_v < 0 else 0.0
    else:
        value = max(0.0, -least_v - _JUNCTION_V) / part.series_ohm
    return NegativeStress(
        pulse=f"{pulse.name}, {pulse.peak_v:+.0f} V",
        role=part.role,
        part_id=part.part_id,
        unit="V" if unit == "V" else "A",
        value=value,
        limit=limit,
        held_by=held_by,
    )
