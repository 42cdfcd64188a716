"""The sine that the first power-up plays through the whole chain, and the steady voltage that it allows."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

from subwright.build.result import Design

__all__ = ["Tone", "bring_up_tone", "chain_gain", "offset_limit_v"]

_QUIET: Final = 0.1  # of the source's level at the onset of clipping
_OFFSET_V: Final = 0.1  # steady voltage on a driver at rest; common practice
_LOWEST_HZ: Final = 20.0  # where the band has no lower end of its own


@dataclass(frozen=True, kw_only=True, slots=True)
class Tone:
    """A sine on every input: frequency in Hz, rms voltage between each input's leads in V."""

    hertz: float
    input_v: float


def bring_up_tone(design: Design) -> Tone:
    """A tenth of full level in the middle of the passband, on every input.

    Parameters
    ----------
    design : the build.

    Returns
    -------
    A whole number of hertz, the geometric mean of the passband's ends, within the filter's grid.
    """
    response = design.filter
    frequency = response.frequency_hz
    high = response.passband_high_hz or response.corner_hz
    low = response.passband_low_hz or min(_LOWEST_HZ, high)
    hertz = float(round(sqrt(low * high)))
    hertz = min(max(hertz, float(frequency[0])), float(frequency[-1]))
    return Tone(hertz=hertz, input_v=_QUIET * design.signal.nodes[0].level_v)


def chain_gain(design: Design, hertz: float) -> float:
    """From every input driven alike to the loudspeaker's terminals, V/V.

    Parameters
    ----------
    design : the build. hertz : frequency, Hz.

    Source
    ------
    Product of the inputs', the filter's and the amplifier's gains. [derived]
    """
    through = abs(complex(design.filter.transfer(hertz))) * design.input.gain
    return through * design.amplifier.voltage_gain


def offset_limit_v(design: Design) -> tuple[float, str]:
    """Steady voltage across the load that a whole amplifier may have, V, and what it rests on.

    Parameters
    ----------
    design : the build.
    """
    modulator = design.amplifier.modulator
    if modulator is not None and modulator.offset_v > _OFFSET_V:
        return modulator.offset_v, "op-amp and integrator resistors at their limits"
    return _OFFSET_V, "a driver's coil warms and its cone rests off centre above it"
