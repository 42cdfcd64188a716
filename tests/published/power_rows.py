"""A printed value beside ours: the shape of a row in the published tests of amplifier, wiring and heat."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from subwright.base.sources import get


@dataclass(frozen=True, kw_only=True)
class Row:
    """One printed value.

    ``rel`` is the rounding of the print, or the tolerance that the source itself states.
    """

    what: str
    ours: Callable[[], float]
    printed: float
    rel: float
    source: str  # bibliography key

    def check(self) -> None:
        """Compare, and insist that the source is in the bibliography."""
        assert get(self.source).key == self.source
        value = self.ours()
        assert value == pytest.approx(self.printed, rel=self.rel, abs=0.0), f"{self.what}: {value}"


def rows(*items: Row) -> pytest.MarkDecorator:
    """Parametrise a test over rows, with readable ids."""
    return pytest.mark.parametrize("row", items, ids=[item.what for item in items])


def row(what: str, ours: Callable[[], float], printed: float, rel: float, source: str) -> Row:
    """Make a row without keyword noise."""
    return Row(what=what, ours=ours, printed=printed, rel=rel, source=source)
