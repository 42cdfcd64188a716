"""The cabin: what the vehicle adds to the half-space level at low frequency, and where its modes lie."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.base.fields import Frequency, Length, StageSpec, Volume, choice, quantity
from subwright.base.units import show
from subwright.physics.acoustics.cabin import (
    corner_from_length_hz,
    corner_from_volume_hz,
    first_modes_hz,
    gain_db,
)
from subwright.stages.common import Contributor, Loss, PartUse

__all__ = ["CabinMode", "CabinResult", "CabinSpec", "design_cabin"]

_AXES = ("length", "width", "height")


class CabinSpec(StageSpec):
    """Where the subwoofer plays."""

    kind: Literal["none", "cabin"] = choice(
        "none", why="none: in the open, on a wall or floor; cabin: inside a closed vehicle."
    )
    length_m: Length | None = quantity(
        None, low="0.8 m", high="15 m", why="Longest inner length. auto: not known, no modes along it."
    )
    width_m: Length | None = quantity(None, low="0.8 m", high="5 m", why="Inner width. auto: not known.")
    height_m: Length | None = quantity(None, low="0.6 m", high="4 m", why="Inner height. auto: not known.")
    volume_m3: Volume | None = quantity(
        None, low="500 l", high="100 m3", why="Inner volume. auto: length × width × height where known."
    )
    corner_hz: Frequency | None = quantity(
        None,
        low="15 Hz",
        high="150 Hz",
        why="Frequency below which the cabin raises the level by 12 dB per octave. auto: from the "
        "volume, else from the length.",
    )
    leakage_hz: Frequency = quantity(
        "20 Hz",
        low="0 Hz",
        high="60 Hz",
        why="Frequency below which leaks and soft panels stop the rise. 20 Hz is common practice "
        "without a source; 0 Hz for a perfectly tight cabin.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class CabinMode:
    """One resonance of the closed cabin."""

    frequency_hz: float
    label: str  # "length 1", "length 1, width 1"


@dataclass(frozen=True, kw_only=True, slots=True)
class CabinResult:
    """The cabin's gain over half space at 1 m, and its lowest modes."""

    kind: Literal["none", "cabin"]
    corner_hz: float | None
    leakage_hz: float | None
    volume_m3: float | None
    greatest_gain_db: float | None  # towards 0 Hz; None for a tight cabin, where it has no end
    modes: tuple[CabinMode, ...]
    parts: tuple[PartUse, ...] = ()
    losses: tuple[Loss, ...] = ()
    contributors: tuple[Contributor, ...] = ()
    sources: tuple[str, ...]
    reasons: tuple[str, ...]

    def gain_at_db(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain over the half-space level at 1 m, in dB, same shape as ``frequency_hz`` (Hz).

        Source
        ------
        [common-practice]; see physics.acoustics.cabin.
        """
        if self.corner_hz is None or self.leakage_hz is None:
            return np.zeros_like(frequency_hz)
        return np.asarray(gain_db(frequency_hz, self.corner_hz, self.leakage_hz))


def design_cabin(spec: CabinSpec) -> CabinResult:
    """Settle the cabin's corner and modes.

    Parameters
    ----------
    spec : the builder's wishes.

    Returns
    -------
    CabinResult.

    Raises
    ------
    NoSolutionError : a cabin of which neither size nor corner is known.
    RangeError : a leakage corner above the cabin's corner.

    Source
    ------
    [beranek-mellow-2012], ch. 10, for the modes; [common-practice] for the gain.
    """
    if spec.kind == "none":
        return CabinResult(
            kind="none",
            corner_hz=None,
            leakage_hz=None,
            volume_m3=None,
            greatest_gain_db=0.0,
            modes=(),
            sources=(),
            reasons=("No cabin: levels are for half space at 1 m.",),
        )
    sides = tuple(side for side in (spec.length_m, spec.width_m, spec.height_m) if side is not None)
    volume = spec.volume_m3
    if volume is None and len(sides) == 3:
        volume = sides[0] * sides[1] * sides[2]
    corner, why = _corner(spec, volume)
    reasons = [why]
    greatest = None
    if spec.leakage_hz > 0.0:
        greatest = float(gain_db(0.0, corner, spec.leakage_hz))
        reasons.append(
            f"Below {show(spec.leakage_hz, 'frequency')} the cabin leaks: the gain ends at "
            f"{show(greatest, 'level')} (no source; real cabins fall short of the ideal)."
        )
    names = [
        axis for axis, side in zip(_AXES, (spec.length_m, spec.width_m, spec.height_m), strict=True) if side
    ]
    modes = tuple(
        CabinMode(
            frequency_hz=frequency,
            label=", ".join(f"{name} {n}" for name, n in zip(names, orders, strict=True) if n),
        )
        for frequency, orders in (first_modes_hz(sides) if sides else ())
    )
    if modes:
        reasons.append(
            f"Modes start at {show(modes[0].frequency_hz, 'frequency')} ({modes[0].label}); around and above "
            "them the level depends on the seat."
        )
    return CabinResult(
        kind="cabin",
        corner_hz=corner,
        leakage_hz=spec.leakage_hz,
        volume_m3=volume,
        greatest_gain_db=greatest,
        modes=modes,
        sources=("beranek-mellow-2012", "common-practice"),
        reasons=tuple(reasons),
    )


def _corner(spec: CabinSpec, volume_m3: float | None) -> tuple[float, str]:
    if spec.corner_hz is not None:
        return spec.corner_hz, f"Cabin corner {show(spec.corner_hz, 'frequency')} as given."
    if volume_m3 is not None:
        corner = corner_from_volume_hz(volume_m3)
        return corner, (
            f"Cabin corner {show(corner, 'frequency')}: there a cabin of {show(volume_m3, 'volume')} and "
            "half space at 1 m are equally loud."
        )
    if spec.length_m is not None:
        corner = corner_from_length_hz(spec.length_m)
        return corner, (
            f"Cabin corner {show(corner, 'frequency')}: the first mode of {show(spec.length_m, 'length')} "
            "(common practice)."
        )
    raise NoSolutionError(
        message="Nothing is known of the cabin that its gain could be worked out from.",
        quantity="cabin",
        value="no size and no corner",
        limit="volume, length or corner",
        remedy='Write cabin.volume = "3 m3" or cabin.length = "2.5 m", or cabin.kind = "none".',
    )
