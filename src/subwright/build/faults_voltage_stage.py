"""Faults of a class-AB voltage stage and what they do to the readings: key, words, remedy, signatures."""

from __future__ import annotations

from typing import Final

__all__ = ["VOLTAGE_STAGE_FAULTS"]

_ENDS: Final = ("", "-a", "-b")
"""Of a reading's key: one leg has none, of a bridge each has its own."""
_LATER: Final = "idle-current=in|low|high|many output-offset=in|low|high|many"


def _each(words: str) -> tuple[str, ...]:
    """One signature for each leg: ``*`` stands for the end of its readings' keys."""
    return tuple(f"{words.replace('*', end)} {_LATER}" for end in _ENDS)


def _both(words: str) -> str:
    """A signature of both legs at once: ``*`` stands for the end of either's keys."""
    pairs = (f"{word.replace('*', '-a')} {word.replace('*', '-b')}" for word in words.split())
    return " ".join((*(dict.fromkeys(" ".join(pairs).split())), _LATER))


VOLTAGE_STAGE_FAULTS: Final[tuple[tuple[str, ...], ...]] = (
    (
        "stage-reference-wrong",
        "the reference of the current sources is wrong: a diode shorted or reversed, its resistor or "
        "capacitor wrong",
        "read the bases of the current sources: two junctions below the upper supply",
        *_each("stage-current*=gone|low tail-current*=gone|low stage-drop=gone|low"),
        *_each("stage-current*=gone|low tail-current*=gone|low bias*=gone|low bias-spread*=in|low|gone"),
        *_each("stage-current*=high|many tail-current*=high|many stage-drop=in|high"),
        _both("stage-current*=gone|low tail-current*=gone stage-drop=gone|low leg-drive*=in|low|high"),
    ),
    (
        "stage-source-open",
        "the voltage amplifier gets no current: its source is open, or turned round",
        "measure across its emitter resistor: one junction less than both diodes",
        *_each(
            "stage-current*=gone|low stage-offset=in|low|high stage-drop=gone|low bias*=in|gone|low "
            "bias-spread*=in|gone|low"
        ),
    ),
    (
        "stage-loop-open",
        "the output lies at a rail: the way back to the pair is open, or half of the pair or of the mirror "
        "carries nothing",
        "measure from the speaker terminal to the second base; compare the drops across both emitter "
        "resistors of the pair",
        *_each("stage-current*=high|many stage-offset=in|low|high|many stage-drop=in|low|high"),
        *_each(
            "stage-current*=gone|low tail-current*=in|low stage-offset=low|high|many stage-drop=in|low|high"
        ),
        _both(
            "stage-current*=gone|low tail-current*=low stage-drop=gone|low leg-rest*=high|many "
            "stage-offset=in|low|high|many"
        ),
    ),
    (
        "bias-lowest",
        "the bias stays at its least: trimmer or fixed resistor wrong, or the transistor shorted",
        "turn the trimmer and watch the voltage between both ends of the bias",
        *_each("bias*=gone|low bias-spread*=in|gone|low"),
    ),
    (
        "bias-runaway",
        "the bias transistor doesn't hold: open, turned round, or its upper resistor far too large",
        "switch off; measure its junctions and both resistors",
        *_each("bias*=high|many bias-spread*=in|high|many"),
        "stage-drop=high|many",
        *_each("stage-drop=high|many stage-current*=gone|low tail-current*=gone|low half-supply=in|low"),
        *_each("stage-drop=high|many stage-current*=high|many tail-current*=gone|low stage-offset=in|many"),
        _both(
            "stage-drop=high|many stage-current*=gone|low tail-current*=gone|low half-supply=in|low "
            "amp-reference=in|low leg-drive*=in|low leg-rest*=in|low"
        ),
    ),
)
