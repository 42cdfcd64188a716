"""What test points read, in words: for the sheets' notes and for the print."""

from __future__ import annotations

import re
from typing import Final

from subwright.base.units import show
from subwright.circuits.netlist import Circuit, Reading

__all__ = ["reading_words", "readings_line"]

_MINUS: Final = re.compile(r"(?<![A-Za-z])-(?=\d)")


def reading_words(reading: Reading) -> str:
    """One reading, without its state.

    >>> reading_words(Reading(at="any battery", dc_v=-30.0, ripple_v=0.4))
    '−30 V with 400 mV of ripple'
    """
    told = reading.waveform
    if not told:
        ripple = f" with {show(reading.ripple_v, 'voltage')} of ripple" if reading.ripple_v > 0.0 else ""
        told = f"{show(reading.dc_v, 'voltage')}{ripple}"
    return _MINUS.sub("−", told)


def readings_line(circuit: Circuit) -> str:
    """The test points' readings in the middle state, in a line; alike ones once."""
    rows: dict[str, list[str]] = {}
    for point in circuit.test_points:
        if point.readings:
            reading = point.readings[len(point.readings) // 2]
            swing = f", {reading.waveform}" if reading.waveform else ""
            told = _MINUS.sub("−", f"{reading.dc_v:.1f} V{swing}")
            rows.setdefault(told, []).append(point.designator)
    told_once = "; ".join(f"{', '.join(names)} {told}" for told, names in rows.items())
    return f"Nominal battery: {told_once}."
