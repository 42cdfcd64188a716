"""What test points read, in words: for the sheets' notes and for the print."""

from __future__ import annotations

import re
from collections.abc import Container, Iterator, Mapping
from typing import Final

from subwright.base.units import show
from subwright.circuits.netlist import Circuit, Reading, TestPoint

__all__ = ["on_nominal", "reading_words", "readings_line", "with_minus"]

_MINUS: Final = re.compile(r"(?<![A-Za-z])-(?=\d)")
_LEVEL: Final = re.compile(r"\d [mµ]?V\b")  # a shape that states its own levels
_OTHER_BATTERIES: Final = ("lowest battery", "highest battery")  # left to print and tables


def with_minus(text: str) -> str:
    """Figures' hyphens as minus signs.

    >>> with_minus("from -2 V to a 2N-7000")
    'from −2 V to a 2N-7000'
    """
    return _MINUS.sub("−", text)


def reading_words(reading: Reading) -> str:
    """One reading, without its state: the mean, as a meter shows it, then what moves.

    >>> reading_words(Reading(at="any battery", dc_v=-30.0, ripple_v=0.4))
    '−30.0 V with 400 mV of ripple'
    >>> reading_words(Reading(at="any battery", dc_v=30.0, ripple_v=0.4, waveform="ripple at 100 kHz"))
    '30.0 V, 400 mV ripple at 100 kHz'
    >>> reading_words(Reading(at="any battery", dc_v=0.0, within_v=0.06))
    '0 V ± 60.0 mV'
    >>> reading_words(Reading(at="any battery", dc_v=6.0, ripple_v=12.0, waveform="square wave 0 V to 12 V"))
    '6.00 V mean, square wave 0 V to 12 V'
    """
    told = show(reading.dc_v, "voltage")
    if reading.within_v > 0.0 and not reading.waveform:
        told = f"{told} ± {show(reading.within_v, 'voltage')}"
    swing = show(reading.ripple_v, "voltage")
    if _LEVEL.search(reading.waveform) or (reading.waveform and not reading.ripple_v):
        told = f"{told}{' mean' if reading.dc_v else ''}, {reading.waveform}"
    elif reading.waveform:
        told = f"{told}, {swing} {reading.waveform}"
    elif reading.ripple_v > 0.0:
        told = f"{told} with {swing} of ripple"
    return with_minus(told)


def on_nominal(point: TestPoint) -> Iterator[Reading]:
    """What a point reads on the nominal battery, or on any."""
    return (reading for reading in point.readings if not reading.at.startswith(_OTHER_BATTERIES))


def readings_line(
    circuit: Circuit, nets: Container[str] | None = None, *, signal: str | tuple[str, ...] = ""
) -> str:
    """What the test points read on the nominal battery, or on any, in a line; alike ones once.

    Parameters
    ----------
    circuit : with its test points. nets : those to tell of; None for all.
    signal : end of the states to tell of ("full sine"), or several; "" for all.
    """
    states: dict[str, dict[str, list[str]]] = {}
    for point in circuit.test_points:
        if nets is not None and point.net not in nets:
            continue
        for reading in on_nominal(point):
            if reading.at.endswith(signal):
                rows = states.setdefault(reading.at, {})
                rows.setdefault(reading_words(reading), []).append(point.designator)
    lines = []
    for at, rows in states.items():
        told = "; ".join(f"{', '.join(names)} {words}" for words, names in _mirrored(rows).items())
        lines.append(f"{at[:1].upper()}{at[1:]}: {told}.")
    return " ".join(lines)


def _mirrored(rows: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Points by words; those that differ in the sign alone together.

    >>> _mirrored({"30 V": ["TP1"], "5 V": ["TP2"], "−30 V": ["TP3"]})
    {'±30 V': ['TP1', 'TP3'], '5 V': ['TP2']}
    """
    found: dict[str, list[str]] = {}
    for words, names in rows.items():
        if words.startswith("−") and words[1:] in rows:
            continue
        mirror = rows.get(f"−{words}", [])
        found[f"±{words}" if mirror else words] = [*names, *mirror]
    return found
