"""Test points as rows of a table: a state a row, the three batteries beside one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from subwright.base.units import show
from subwright.build.test_points import ANY_BATTERY, BATTERIES
from subwright.circuits.netlist import Reading
from subwright.outputs.point_words import with_minus

__all__ = ["BATTERY_ORDER", "StateRow", "state_rows"]

BATTERY_ORDER: Final = " · ".join(name.removesuffix(" battery") for name in BATTERIES)
"""Which battery each of three values is for."""
_NOMINAL: Final = list(BATTERIES)[1]
_STILL_V: Final = 1e-3  # a swing that no oscilloscope of a bench shows


@dataclass(frozen=True, kw_only=True, slots=True)
class StateRow:
    """What a point reads in one state, on each battery for which that is known.

    ``mean`` and ``swing`` hold one value where the battery makes no difference; ``shape`` is that of the
    nominal battery.
    """

    state: str
    mean: str
    swing: str
    shape: str


def state_rows(readings: Sequence[Reading]) -> Iterator[StateRow]:
    """Rows of one point, in the order of its readings.

    Parameters
    ----------
    readings : of one test point.

    >>> found = [Reading(at=f"{b}, full sine", dc_v=v) for b, v in zip(BATTERIES, (11.0, 12.0, 16.0))]
    >>> list(state_rows(found))
    [StateRow(state='full sine', mean='11.0 · 12.0 · 16.0 V', swing='', shape='')]
    >>> next(state_rows([Reading(at="any battery, no signal", dc_v=0.0, within_v=0.06)])).mean
    '0 V ± 60.0 mV'
    >>> next(state_rows([Reading(at="running", dc_v=0.0, waveform="saw-tooth -2 V to 2 V")])).shape
    'saw-tooth \u22122 V to 2 V'
    """
    by_state: dict[str, dict[str, Reading]] = {}
    for reading in readings:
        battery, _, state = reading.at.partition(", ")
        if battery == ANY_BATTERY:
            battery, state = _NOMINAL, state or "always"
        elif battery not in BATTERIES:
            battery, state = _NOMINAL, reading.at
        by_state.setdefault(state or "running", {})[battery] = reading
    for state, found in by_state.items():
        middle = found.get(_NOMINAL) or next(iter(found.values()))
        lone = "" if len(found) != 1 or _NOMINAL in found else f" ({next(iter(found))})"
        swings = [reading.ripple_v for reading in found.values()]
        within = max(reading.within_v for reading in found.values())
        mean = _beside([reading.dc_v for reading in found.values()])
        yield StateRow(
            state=f"{state}{lone}",
            mean=f"{mean} ± {show(within, 'voltage')}" if within > 0.0 else mean,
            swing=_beside(swings) if max(swings) >= _STILL_V else "",
            shape=with_minus(middle.waveform),
        )


def _beside(values: Sequence[float]) -> str:
    """Values with their unit once, where they share it; a single one where they agree.

    >>> _beside([0.95, 12.0, 16.0]), _beside([5.1, 5.1, 5.1]), _beside([-46.6, -48.6])
    ('950 mV · 12.0 V · 16.0 V', '5.10 V', '\u221246.6 · \u221248.6 V')
    """
    told = [with_minus(show(value, "voltage")) for value in values]
    if len(set(told)) == 1:
        return told[0]
    units = {text.rpartition(" ")[2] for text in told}
    if len(units) == 1:
        told = [*(text.rpartition(" ")[0] for text in told[:-1]), told[-1]]
    return " · ".join(told)
