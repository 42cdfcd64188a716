"""The wiring table: every conductor from the battery to the driver, with what it carries."""

from __future__ import annotations

from subwright.base.units import show
from subwright.build.result import Design
from subwright.outputs.csvfile import table
from subwright.outputs.views import Grid
from subwright.stages.common import Corner, Level
from subwright.stages.wiring import Conductor

__all__ = ["HEADER", "wiring_csv", "wiring_grid", "wiring_rows"]

HEADER = (
    "conductor",
    "pieces",
    "length each",
    "current, rms",
    "peak",
    "carries",
    "wire or cable",
    "drop at peak",
    "or a track of",
    "spacing",
    "note",
)


def _inside(conductor: Conductor) -> tuple[str, ...]:
    beside = f"{conductor.parallel} \u00d7 " if conductor.parallel > 1 else ""
    wire = f"{beside}wire \u2300 {show(conductor.diameter_m, 'length')}"
    track = "" if conductor.track_width_m is None else show(conductor.track_width_m, "length")
    return (
        conductor.name,
        str(conductor.count),
        show(conductor.length_m, "length"),
        show(conductor.rms_a, "current"),
        show(conductor.peak_a, "current"),
        show(conductor.carries_a, "current"),
        wire,
        show(conductor.drop_v, "voltage"),
        "" if conductor.link_advised else track,
        show(conductor.spacing_m, "length"),
        "use the wire link, a track would be too wide" if conductor.link_advised else "",
    )


def wiring_rows(design: Design) -> tuple[tuple[str, ...], ...]:
    """One row for each conductor; cells as in ``HEADER``."""
    supply, speaker = design.supply, design.wiring.speaker
    full = design.point(Corner.NOMINAL, Level.FULL)
    section = f"cable {show(supply.section_m2, 'area')}"
    fuse = f"fuse {show(supply.fuse_a, 'current')} ({supply.fuse_body}) within "
    fuse += f"{show(supply.fuse_distance_m, 'length')} of battery +"
    lead = (
        show(full.battery_rms_a, "current"),
        show(full.battery_peak_a, "current"),
        show(supply.section_current_limit_a, "current"),
        section,
        show(supply.peak_drop_v, "voltage"),
        "",
        "",
    )
    rows: list[tuple[str, ...]] = [
        ("battery +, by the fuse, to the unit", "1", show(supply.cable_positive_m, "length"), *lead, fuse)
    ]
    if supply.cable_return_m > 0.0:
        rows.append(
            (
                "unit to battery \u2212" if design.spec.supply.return_path == "cable" else "unit to the body",
                "1",
                show(supply.cable_return_m, "length"),
                *lead,
                "drop is that of both leads together",
            )
        )
    rows += [_inside(conductor) for conductor in design.wiring.conductors]
    rows.append(
        (
            "amplifier to driver",
            "2",
            show(speaker.length_m, "length"),
            "",
            show(design.amplifier.peak_a, "current"),
            show(speaker.current_limit_a, "current"),
            f"cable {show(speaker.section_m2, 'area')}",
            "",
            "",
            "",
            "mark the polarity",
        )
    )
    return tuple(rows)


def wiring_grid(design: Design) -> Grid:
    """The wiring table for the page, its notes beside the names."""
    rows = ((f"{row[0]} ({row[-1]})" if row[-1] else row[0], *row[1:-1]) for row in wiring_rows(design))
    copper = show(design.spec.wiring.copper_thickness_m, "length")
    return Grid(
        title="Conductors",
        header=HEADER[:-1],
        rows=tuple(rows),
        figures=frozenset(range(1, len(HEADER) - 1)),
        note=f"Wire: bare copper, enamelled or tinned. Tracks: outer copper of {copper}.",
    )


def wiring_csv(design: Design) -> str:
    """The wiring table as CSV."""
    return table(HEADER, wiring_rows(design))
