"""Values with their units: read as people write them, print as engineers do, code as parts are marked."""

from __future__ import annotations

from subwright.base.printing import code, show
from subwright.base.reading import parse

__all__ = ["code", "parse", "show"]
