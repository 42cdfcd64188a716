"""Which known words somebody may have meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Final

__all__ = ["closest"]

_LEAST: Final = 0.6  # difflib's ratio
_MUCH_POORER: Final = 0.1  # in the same


def closest(word: str, known: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """Up to ``count`` of ``known`` that look like ``word``, best first; much poorer ones are left out.

    Case counts for nothing, and dash and underscore are one. A word of which some are made means those.

    >>> closest("cable_lenght", ["cable_length", "capacity", "fuse"])
    ('cable_length',)
    >>> closest("class_d", ["class_g", "class_d_half_bridge", "bridge_class_d"])
    ('class_d_half_bridge', 'bridge_class_d')
    """
    wanted = _folded(word)
    names = {_folded(name): name for name in known}
    if wanted and wanted not in names:
        longer = [name for name in names if f"_{wanted}_" in f"_{name}_"]
        if longer:
            return tuple(
                names[name] for name in sorted(longer, key=lambda n: not n.startswith(wanted))[:count]
            )
    near = difflib.get_close_matches(wanted, list(names), n=count, cutoff=_LEAST)
    likeness = [difflib.SequenceMatcher(None, name, wanted).ratio() for name in near]
    return tuple(
        names[name] for name, ratio in zip(near, likeness, strict=True) if ratio > likeness[0] - _MUCH_POORER
    )


def _folded(text: str) -> str:
    return text.strip().lower().replace("-", "_")
