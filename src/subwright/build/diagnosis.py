"""What wrong readings point at: the faults that the bring-up knows, ranked by how well they explain them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log
from typing import Final, get_args

from subwright.build.bench import Entry, latest
from subwright.build.bringup_records import BringUp, Reading, Step
from subwright.build.faults import FAULTS, Fault, ReadingLevel, Signature

__all__ = ["Diagnosis", "Suspect", "Wrong", "diagnose", "diagnose_levels", "level_of"]

_LEVELS: Final[tuple[ReadingLevel, ...]] = get_args(ReadingLevel)
_GONE: Final = 0.2  # of the expected value, or of the lower limit where nothing is expected
_MANY: Final = 2.5  # times the expected value
_AS_TOLD: Final = 0.90  # a reading that a fault names shows one of its levels this often
_MAYBE: Final = 0.70  # one that it may touch or not stays inside this often
_UNTOUCHED: Final = 0.96  # and one that it does not name stays inside its window
_WORTH: Final = 0.01  # suspects below this share are not named


@dataclass(frozen=True, kw_only=True, slots=True)
class Wrong:
    """A reading outside its window, with its level."""

    reading: Reading
    value: float
    level: ReadingLevel


@dataclass(frozen=True, kw_only=True, slots=True)
class Suspect:
    """A fault that may be the cause.

    Attributes
    ----------
    fault : what it is. steps : keys of the steps that name it.
    share : of all suspects together, 0 to 1, were each fault as common as the other.
    explains : keys of wrong readings that it foretells. leaves : keys of those that it does not.
    against : keys of readings in their windows that it would put outside.
    """

    fault: Fault
    steps: tuple[str, ...]
    share: float
    explains: tuple[str, ...]
    leaves: tuple[str, ...]
    against: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Diagnosis:
    """A unit's wrong readings and what they point at.

    Attributes
    ----------
    unit : its number. wrong : readings outside their windows, in the order of the procedure.
    suspects : likeliest first; () when nothing is wrong, or when no fault explains any of it.
    next_reading : a reading not yet taken that parts the two likeliest suspects; None where there is none.
    """

    unit: str
    wrong: tuple[Wrong, ...]
    suspects: tuple[Suspect, ...]
    next_reading: Reading | None


def level_of(reading: Reading, value: float, uncertain: float = 0.0) -> ReadingLevel:
    """Where a value lies; on the edge of the window, within the meter's error, counts as inside.

    ``value`` and ``uncertain`` are in the reading's own unit.
    """
    if value + uncertain < reading.low:
        size = abs(reading.expected) if reading.high is not None else abs(reading.low)
        return "gone" if size > 0.0 and abs(value) < _GONE * size else "low"
    if reading.high is not None and value - uncertain > reading.high:
        size = abs(reading.expected) or 4.0 * abs(reading.high)
        return "many" if value > _MANY * size else "high"
    return "in"


def _chance(level: ReadingLevel, allowed: tuple[ReadingLevel, ...] | None) -> float:
    """How likely a fault makes a reading show this level."""
    if allowed is None:
        return _UNTOUCHED if level == "in" else (1.0 - _UNTOUCHED) / (len(_LEVELS) - 1)
    if level not in allowed:
        return (1.0 - _AS_TOLD) / max(len(_LEVELS) - len(allowed), 1)
    if "in" not in allowed:
        return _AS_TOLD / len(allowed)
    return _MAYBE if level == "in" else (_AS_TOLD - _MAYBE) / (len(allowed) - 1)


def _weigh(levels: Mapping[str, ReadingLevel], signature: Signature) -> float:
    return sum(log(_chance(level, signature.get(key))) for key, level in levels.items())


def _naming(procedure: BringUp) -> Mapping[str, tuple[Step, ...]]:
    """Faults that this procedure names, each with its steps."""
    found: dict[str, dict[str, Step]] = {}
    for step in procedure.steps:
        for cause in step.causes:
            if cause.fault:
                found.setdefault(cause.fault, {})[step.key] = step
    return {key: tuple(steps.values()) for key, steps in found.items()}


def diagnose_levels(procedure: BringUp, levels: Mapping[str, ReadingLevel]) -> tuple[Suspect, ...]:
    """Suspects for readings given as levels, likeliest first.

    Readings are taken as independent once the fault is known, and faults as equally common.

    Source
    ------
    [derived]: Bayes' rule over the faults that the procedure names.
    """
    wrong = [key for key, level in levels.items() if level != "in"]
    rows = []
    for key, steps in _naming(procedure).items():
        fault = FAULTS[key]
        best = max(fault.signatures, key=lambda signature: _weigh(levels, signature))
        explains = tuple(k for k in wrong if levels[k] in best.get(k, ()))
        if not explains:
            continue
        rows.append(
            (
                _weigh(levels, best),
                Suspect(
                    fault=fault,
                    steps=tuple(step.key for step in steps),
                    share=0.0,
                    explains=explains,
                    leaves=tuple(k for k in wrong if k not in explains),
                    against=tuple(
                        k for k, level in levels.items() if level == "in" and "in" not in best.get(k, ("in",))
                    ),
                ),
            )
        )
    if not rows:
        return ()
    top = max(weight for weight, _ in rows)
    total = sum(exp(weight - top) for weight, _ in rows)
    order = sorted(rows, key=lambda row: (-row[0], row[1].fault.key))
    return tuple(
        Suspect(
            fault=suspect.fault,
            steps=suspect.steps,
            share=exp(weight - top) / total,
            explains=suspect.explains,
            leaves=suspect.leaves,
            against=suspect.against,
        )
        for weight, suspect in order
        if exp(weight - top) / total >= _WORTH
    )


def _best_signature(levels: Mapping[str, ReadingLevel], fault: Fault) -> Signature:
    return max(fault.signatures, key=lambda signature: _weigh(levels, signature))


def _parting(
    procedure: BringUp, levels: Mapping[str, ReadingLevel], suspects: Sequence[Suspect]
) -> Reading | None:
    """The first reading not yet taken of which the two likeliest suspects foretell different levels."""
    if len(suspects) < 2:
        return None
    one, other = (_best_signature(levels, suspect.fault) for suspect in suspects[:2])
    for reading in procedure.readings:
        if reading.key in levels:
            continue
        a, b = (set(signature.get(reading.key, ("in",))) for signature in (one, other))
        if not a & b:
            return reading
    return None


def diagnose(procedure: BringUp, entries: Iterable[Entry], unit: str) -> Diagnosis:
    """What a unit's latest readings point at.

    Parameters
    ----------
    procedure : of its design. entries : the log. unit : its number.
    """
    found = latest(entries, unit)
    levels: dict[str, ReadingLevel] = {}
    wrong = []
    for reading in procedure.readings:
        entry = found.get(reading.key)
        if entry is None:
            continue
        level = level_of(reading, entry.value, entry.uncertain)
        levels[reading.key] = level
        if level != "in":
            wrong.append(Wrong(reading=reading, value=entry.value, level=level))
    suspects = diagnose_levels(procedure, levels) if wrong else ()
    return Diagnosis(
        unit=unit,
        wrong=tuple(wrong),
        suspects=suspects,
        next_reading=_parting(procedure, levels, suspects),
    )
