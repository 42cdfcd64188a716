"""Vehicle fuse links: ratings, body sizes and the window of opening times.

A fuse protects the cable, not the load. The time limits are what the standards demand of a link at room
temperature; a link in a hot place opens earlier. The maker's sheet decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from subwright.base.errors import RangeError
from subwright.base.tables.origin import Origin

__all__ = [
    "FUSE_RATINGS",
    "FUSE_TIMES",
    "FuseBody",
    "FuseRating",
    "OpeningTime",
    "fuse_at_least",
    "fuse_ratings",
    "opening_time",
]

FuseBody = Literal["blade C", "blade E", "strip SF30", "strip SF51"]


@dataclass(frozen=True, kw_only=True, slots=True)
class FuseRating:
    """One rating in one body.

    Attributes
    ----------
    rated_a : rated current, A.
    body : "blade C" (medium), "blade E" (high current), "strip SF30" (30 mm between M5 studs) or "strip SF51"
        (51 mm between M8 studs).
    colour : of the body as the standard sets it; "" for strips.
    voltages_v : rated voltages it is made for, V; the link must be marked with at least the system's highest.
    breaking_a : rated breaking capacity, A.
    """

    rated_a: float
    body: FuseBody
    colour: str
    voltages_v: tuple[float, ...]
    breaking_a: float
    origin: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class OpeningTime:
    """Limits of the opening time at one multiple of the rated current; None means no limit on that side."""

    ratio: float
    shortest_s: float | None
    longest_s: float | None
    origin: Origin


_BLADE_C = Origin(source="iso-8820-3", where="type C ratings and colours", status="read in a secondary page")
_BLADE_E = Origin(source="iso-8820-3", where="type E ratings and colours", status="from memory")
_STRIP = Origin(
    source="iso-8820-5",
    where="sizes on sale, common practice; the standard's own list was not read",
    status="common practice",
)
_BLADE_TIMES = Origin(source="iso-8820-3", where="operating time rating", status="from memory")
_STRIP_TIMES = Origin(source="iso-8820-5", where="operating time rating", status="from memory")

_TYPE_C = (
    (1.0, "black"),
    (2.0, "grey"),
    (3.0, "violet"),
    (4.0, "pink"),
    (5.0, "tan"),
    (7.5, "brown"),
    (10.0, "red"),
    (15.0, "blue"),
    (20.0, "yellow"),
    (25.0, "clear"),
    (30.0, "green"),
    (40.0, "orange"),
)
_TYPE_E = (
    (20.0, "yellow"),
    (30.0, "green"),
    (40.0, "orange"),
    (50.0, "red"),
    (60.0, "blue"),
    (70.0, "tan"),
    (80.0, "clear"),
)
_SF30 = (30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 100.0, 125.0, 150.0, 175.0, 200.0)
_SF51 = (60.0, 80.0, 100.0, 125.0, 150.0, 175.0, 200.0, 225.0, 250.0, 300.0, 350.0, 400.0, 450.0, 500.0)


def _blade(rated: float, colour: str, body: FuseBody, origin: Origin) -> FuseRating:
    return FuseRating(
        rated_a=rated, body=body, colour=colour, voltages_v=(32.0, 58.0), breaking_a=1000.0, origin=origin
    )


def _strip(rated: float, body: FuseBody) -> FuseRating:
    return FuseRating(
        rated_a=rated, body=body, colour="", voltages_v=(32.0, 58.0), breaking_a=2000.0, origin=_STRIP
    )


FUSE_RATINGS: tuple[FuseRating, ...] = (
    *(_blade(rated, colour, "blade C", _BLADE_C) for rated, colour in _TYPE_C),
    *(_blade(rated, colour, "blade E", _BLADE_E) for rated, colour in _TYPE_E),
    *(_strip(rated, "strip SF30") for rated in _SF30),
    *(_strip(rated, "strip SF51") for rated in _SF51),
)
"""Every rating in every body, smallest body first."""


def _times(origin: Origin, *rows: tuple[float, float | None, float | None]) -> tuple[OpeningTime, ...]:
    return tuple(
        OpeningTime(ratio=ratio, shortest_s=shortest, longest_s=longest, origin=origin)
        for ratio, shortest, longest in rows
    )


# Where editions differ the wider limit stands: the shorter time for nuisance, the longer one for the cable.
FUSE_TIMES: Mapping[FuseBody, tuple[OpeningTime, ...]] = MappingProxyType(
    {
        "blade C": _times(
            _BLADE_TIMES,
            (1.10, 360000.0, None),
            (1.35, 0.75, 1800.0),
            (2.0, 0.15, 5.0),
            (3.5, 0.04, 0.5),
            (6.0, None, 0.1),
        ),
        "blade E": _times(
            _BLADE_TIMES,
            (1.10, 360000.0, None),
            (1.35, 60.0, 1800.0),
            (2.0, 2.0, 60.0),
            (3.5, 0.2, 7.0),
            (6.0, 0.04, 1.0),
        ),
        "strip SF30": _times(
            _STRIP_TIMES,
            (1.0, 14400.0, None),
            (1.35, 60.0, 1800.0),
            (2.0, 1.0, 15.0),
            (3.5, 0.2, 5.0),
            (6.0, 0.04, 1.0),
        ),
        "strip SF51": _times(
            _STRIP_TIMES,
            (1.0, 14400.0, None),
            (1.35, 120.0, 1800.0),
            (2.0, 1.0, 15.0),
            (3.5, 0.3, 5.0),
            (6.0, 0.1, 1.0),
        ),
    }
)
"""Body to its limits of opening time at multiples of the rated current, ascending."""


def fuse_ratings(
    bodies: tuple[FuseBody, ...] = ("blade C", "blade E", "strip SF30", "strip SF51"),
) -> tuple[float, ...]:
    """Rated currents that exist in these bodies.

    Parameters
    ----------
    bodies : body names.

    Returns
    -------
    Rated currents in A, ascending, each once.

    Source
    ------
    [iso-8820-3], [iso-8820-5].
    """
    return tuple(sorted({row.rated_a for row in FUSE_RATINGS if row.body in bodies}))


def fuse_at_least(
    current_a: float, bodies: tuple[FuseBody, ...] = ("blade C", "blade E", "strip SF30", "strip SF51")
) -> FuseRating:
    """The smallest rating not below ``current_a``, in the smallest body that has it.

    Parameters
    ----------
    current_a : least rated current, A.
    bodies : bodies to choose from.

    Returns
    -------
    The rating.

    Raises
    ------
    RangeError : above the largest rating of these bodies, or not a positive number.

    Source
    ------
    [iso-8820-3], [iso-8820-5].

    Examples
    --------
    >>> fuse_at_least(32.0).rated_a, fuse_at_least(32.0).body
    (40.0, 'blade C')
    """
    rows = sorted((row for row in FUSE_RATINGS if row.body in bodies), key=lambda row: row.rated_a)
    if current_a > 0.0:
        for row in rows:
            if row.rated_a >= current_a * (1.0 - 1e-9):
                return row
    raise RangeError(
        message="no listed fuse carries that current" if current_a > 0.0 else "a fuse current is positive",
        quantity="fuse current",
        value=f"{current_a:.4g} A",
        limit=f"at most {rows[-1].rated_a:g} A" if rows else "no body given",
        source="iso-8820-5",
        remedy="split the load over two fused cables, or raise the system voltage",
    )


def opening_time(body: FuseBody, ratio: float) -> OpeningTime:
    """Limits of the opening time that hold at ``ratio`` times the rated current.

    Between two listed multiples the safe side of each is taken: a link opens no later than at the multiple
    below, and no earlier than at the multiple above.

    Parameters
    ----------
    body : body name.
    ratio : current over rated current, dimensionless.

    Returns
    -------
    The limits, in s.

    Raises
    ------
    RangeError : below the lowest or above the highest listed multiple.

    Source
    ------
    [iso-8820-3] and [iso-8820-5], operating time ratings; the step between rows is [derived].

    Examples
    --------
    >>> limits = opening_time("blade C", 2.0)
    >>> limits.shortest_s, limits.longest_s
    (0.15, 5.0)
    """
    rows = FUSE_TIMES[body]
    if not rows[0].ratio <= ratio <= rows[-1].ratio:
        raise RangeError(
            message="the standard sets no opening time at this current",
            quantity="current over rated current",
            value=f"{ratio:.3g}",
            limit=f"{rows[0].ratio:g} to {rows[-1].ratio:g}",
            source=rows[0].origin.source,
            remedy="read the time-current curve in the maker's sheet",
        )
    below = max((row for row in rows if row.ratio <= ratio), key=lambda row: row.ratio)
    above = min((row for row in rows if row.ratio >= ratio), key=lambda row: row.ratio)
    return OpeningTime(
        ratio=ratio, shortest_s=above.shortest_s, longest_s=below.longest_s, origin=below.origin
    )
