"""Where a row of a table comes from."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.base.sources import Status

__all__ = ["Origin"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Origin:
    """Provenance of one row.

    Attributes
    ----------
    source : bibliography key.
    where : table or clause, and what was done to the printed figure.
    status : how the figure got here; it may be weaker than the status of the work as a whole.
    """

    source: str
    where: str
    status: Status
