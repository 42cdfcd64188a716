"""What coarse resistors cost, and which two are worth buying better."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Literal, overload

from subwright.physics.networks.upgrade import rank_pairs
from subwright.stages.protection_models import Case
from subwright.stages.protection_records import Threshold

__all__ = ["COARSE", "FINE", "Advice", "ResistorAdvice", "resistor_advice"]

FINE: Final = 0.01
COARSE: Final = 0.05
_REFERENCE: Final = ("reference upper", "reference lower")


@dataclass(frozen=True, kw_only=True, slots=True)
class ResistorAdvice:
    """One protection with 5 % resistors, with two of them bought at 1 %, and with all at 1 %.

    Attributes
    ----------
    protection : "under-voltage", "over-voltage", "thermal". unit : of the half windows, "V" or "K".
    buy : roles of the two resistors whose finer tolerance narrows trip and release most.
    trip_coarse, trip_pair, trip_fine : worst-case half window of the trip in the three cases.
    release_coarse, release_pair, release_fine : the same of the release.
    left : window with the pair over the window with all at 5 %, mean of trip and release.
    second : the next best pair, with ``second_left``.
    """

    protection: str
    unit: Literal["V", "K"]
    buy: tuple[str, str]
    trip_coarse: float
    trip_pair: float
    trip_fine: float
    release_coarse: float
    release_pair: float
    release_fine: float
    left: float
    second: tuple[str, str]
    second_left: float


class Advice(Sequence[ResistorAdvice]):
    """Advice for each protection, worked out when somebody first looks: a design that is only solved to be
    compared with others doesn't pay for it.

    Parameters
    ----------
    cases : models of the networks for a resistor tolerance (fraction).
    thresholds : by name, with their windows for 1 % and 5 %.
    """

    def __init__(
        self, cases: Callable[[float], tuple[Case, ...]], thresholds: Mapping[str, Threshold]
    ) -> None:
        self._cases = cases
        self._thresholds = thresholds

    @cached_property
    def _rows(self) -> tuple[ResistorAdvice, ...]:
        return resistor_advice(self._cases, self._thresholds)

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, index: int) -> ResistorAdvice: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[ResistorAdvice, ...]: ...
    def __getitem__(self, index: int | slice) -> ResistorAdvice | tuple[ResistorAdvice, ...]:
        return self._rows[index]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Advice) and self._rows == other._rows

    def __hash__(self) -> int:
        return hash(self._rows)


def resistor_advice(
    cases: Callable[[float], tuple[Case, ...]], thresholds: Mapping[str, Threshold]
) -> tuple[ResistorAdvice, ...]:
    """Advice for each protection.

    Parameters
    ----------
    cases : models of the networks for a resistor tolerance (fraction).
    thresholds : by name, with their windows for 1 % and 5 %.

    Returns
    -------
    One record per protection.
    """
    return tuple(
        _advice(coarse, fine, thresholds) for coarse, fine in zip(cases(COARSE), cases(FINE), strict=True)
    )


def _advice(coarse: Case, fine: Case, thresholds: Mapping[str, Threshold]) -> ResistorAdvice:
    name = coarse.results[0].removesuffix(" trip")
    both = replace(coarse, function=lambda x: coarse.function(x)[:2])
    _, pairs = rank_pairs(both.model, coarse.parameters, fine.parameters)
    best, second = pairs[0], pairs[min(1, len(pairs) - 1)]
    trip, release = thresholds[f"{name} trip"].windows, thresholds[f"{name} release"].windows

    def roles(parts: tuple[str, str]) -> tuple[str, str]:
        first, other = (part if part in _REFERENCE else f"{name} {part}" for part in parts)
        return first, other

    return ResistorAdvice(
        protection=name,
        unit="K" if name == "thermal" else "V",
        buy=roles(best.parts),
        trip_coarse=trip[1].half,
        trip_pair=best.half_widths[0],
        trip_fine=trip[0].half,
        release_coarse=release[1].half,
        release_pair=best.half_widths[1],
        release_fine=release[0].half,
        left=best.left,
        second=roles(second.parts),
        second_left=second.left,
    )
