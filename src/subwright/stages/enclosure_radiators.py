"""Passive radiators that a search may try: those of the build file, else a row of invented sizes."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.stages.enclosure_spec import EnclosureSpec

__all__ = ["STOCK_RADIATORS", "StockRadiator", "radiators_to_try"]


@dataclass(frozen=True, kw_only=True, slots=True)
class StockRadiator:
    """One passive radiator as sold, nothing added."""

    name: str
    diameter_m: float  # to the middle of the surround
    mass_kg: float  # moving, with air load
    resonance_hz: float
    q: float
    xmax_m: float | None
    frame_m: float
    hole_m: float
    depth_m: float | None
    origin: str  # "invented", "build file"


def _stock(
    name: str, diameter_mm: float, mass_g: float, resonance_hz: float, xmax_mm: float, *sizes_mm: float
) -> StockRadiator:
    frame_mm, hole_mm, depth_mm = sizes_mm
    return StockRadiator(
        name=name,
        diameter_m=diameter_mm / 1e3,
        mass_kg=mass_g / 1e3,
        resonance_hz=resonance_hz,
        q=8.0,
        xmax_m=xmax_mm / 1e3,
        frame_m=frame_mm / 1e3,
        hole_m=hole_mm / 1e3,
        depth_m=depth_mm / 1e3,
        origin="invented",
    )


STOCK_RADIATORS: tuple[StockRadiator, ...] = (
    _stock("Wherry 8", 165.0, 60.0, 22.0, 14.0, 212.0, 186.0, 70.0),
    _stock("Wherry 10", 206.0, 110.0, 20.0, 17.0, 262.0, 233.0, 85.0),
    _stock("Wherry 12", 260.0, 190.0, 17.0, 20.0, 314.0, 282.0, 95.0),
    _stock("Wherry 15", 330.0, 320.0, 15.0, 22.0, 390.0, 354.0, 110.0),
)
"""Invented, like the drivers shipped: put the data of the one that you buy into the build file."""


def radiators_to_try(spec: EnclosureSpec) -> tuple[StockRadiator, ...]:
    """The radiator that the build file describes, or the invented ones where it describes none in full.

    Parameters
    ----------
    spec : the builder's wishes.

    Source
    ------
    [common-practice] for the usual sizes; the figures are invented.
    """
    diameter, mass, resonance = spec.radiator_diameter_m, spec.radiator_mass_kg, spec.radiator_resonance_hz
    frame, hole = spec.radiator_frame_m, spec.radiator_hole_m
    if diameter is None or mass is None or resonance is None or frame is None or hole is None:
        return STOCK_RADIATORS
    own = StockRadiator(
        name="radiator of the build file",
        diameter_m=diameter,
        mass_kg=mass,
        resonance_hz=resonance,
        q=spec.radiator_q,
        xmax_m=spec.radiator_xmax_m,
        frame_m=frame,
        hole_m=hole,
        depth_m=spec.radiator_depth_m,
        origin="build file",
    )
    return (own,)
