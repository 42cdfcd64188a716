"""Sheets of the sound: driver, and enclosure with its panels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from subwright.base.quantities import dimension_of, words_of
from subwright.base.units import show
from subwright.build.box_limits import limits_for
from subwright.build.result import Design
from subwright.outputs.box_exploded import box_exploded_svg
from subwright.outputs.box_limits_plot import corner_level_plot
from subwright.outputs.box_views import box_views_svg
from subwright.outputs.cautions import before_cutting, before_mounting
from subwright.outputs.panel_drawing import cut_plan_svg, panels_svg
from subwright.outputs.panels import panel_rows
from subwright.outputs.plots import (
    excursion_plot,
    group_delay_plot,
    impedance_plot,
    port_speed_plot,
    response_plot,
)
from subwright.outputs.sheet_parts import Entry, drawing, sheet_of, shown
from subwright.outputs.tables import percent
from subwright.outputs.views import Figure, Grid, LaterDrawing, Sheet
from subwright.stages.enclosure import EnclosureResult

__all__ = ["driver_sheet", "enclosure_sheet", "loudest"]

_MATERIAL = {"mdf": "medium-density fibreboard", "plywood": "plywood"}


def loudest(design: Design) -> str:
    """The highest level that it reaches between its lowest note and the filter's corner, printed."""
    box = design.enclosure
    limits = box.limits
    band = (limits.frequency_hz >= box.lowest_note_hz) & (limits.frequency_hz <= box.upper_hz)
    return show(float(np.max(limits.level_db[band])), "level")


def driver_sheet(design: Design) -> Sheet:
    """The driver group's parameters and what does not agree among them."""
    driver = design.driver
    count = f"{driver.count} \u00d7 " if driver.count > 1 else ""
    values: list[Entry] = [("driver", f"{count}{driver.name or driver.part_id}")]
    if driver.count > 1:
        values.append(("wired", driver.connection))
    values += shown(
        driver,
        [
            ("nominal_impedance_ohm", "rated impedance"),
            ("re_ohm", "DC resistance"),
            ("fs_hz", "resonance, free air"),
            ("qts", "total Q"),
            ("qes", "electrical Q"),
            ("qms", "mechanical Q"),
            ("vas_m3", "equivalent volume"),
            ("sd_m2", "piston area"),
            ("bl_tm", "force factor"),
            ("mms_kg", "moving mass with air load"),
            ("cms_m_per_n", "compliance"),
            ("xmax_m", "linear displacement, one way"),
            ("xdamage_m", "damaging displacement"),
            ("power_w", "rated noise power"),
            ("sensitivity_db", "sensitivity, 1 W, 1 m"),
            ("hole_m", "cut-out"),
            ("depth_m", "depth behind the panel"),
            ("mass_kg", "mass"),
        ],
    )
    disagree = Grid(
        title="Stated values against what the others imply",
        header=("quantity", "stated", "implied", "apart", "what to make of it"),
        rows=tuple(
            (
                words_of(item.quantity),
                show(item.stated, dimension_of(item.quantity)),
                show(item.implied, dimension_of(item.quantity)),
                percent(item.relative_difference, 1),
                item.message,
            )
            for item in driver.inconsistencies
        ),
        figures=frozenset({1, 2, 3}),
        note=f"More than {percent(driver.inconsistency_limit)} apart counts as a contradiction. "
        f"The set is built on {', '.join(driver.basis)}.",
    )
    sheet = sheet_of(design, "driver", "Driver", driver, values=values)
    return replace(sheet, grids=(disagree,) if driver.inconsistencies else ())


def enclosure_sheet(design: Design, *, stamp: str = "") -> Sheet:
    """The box: sizes, response, panels and how to saw them."""
    box, spec = design.enclosure, design.spec.enclosure
    outer = (box.outer_width_m, box.outer_height_m, box.outer_depth_m)
    inner = (box.inner_width_m, box.inner_height_m, box.inner_depth_m)
    values: list[Entry] = [
        ("kind", f"{box.kind}, {box.family}"),
        ("outside, w \u00d7 h \u00d7 d", " \u00d7 ".join(show(side, "length") for side in outer)),
        ("inside, w \u00d7 h \u00d7 d", " \u00d7 ".join(show(side, "length") for side in inner)),
        *shown(
            box,
            [
                ("net_volume_m3", "net volume"),
                ("gross_volume_m3", "inner volume, empty"),
                ("fc_hz", "resonance, port closed"),
                ("qtc", "total Q of that resonance"),
                ("tuning_hz", "tuning"),
                ("f3_hz", "3 dB down at"),
                ("f10_hz", "10 dB down at"),
            ],
        ),
        *_port(box),
        *shown(
            box,
            [
                ("full_drive_v", "full drive, rms"),
                ("impedance_min_ohm", "least impedance in the band"),
                ("panel_resonance_hz", "lowest panel resonance"),
                ("mass_kg", "mass with driver"),
            ],
        ),
        ("filling", box.fill),
        ("board", f"{_MATERIAL[spec.panel_material]}, {show(spec.panel_thickness_m, 'length')}"),
    ]
    panels = Grid(
        title="Panels",
        header=("panel", "pieces", "length", "width", "thick", "cut-outs"),
        rows=panel_rows(box),
        figures=frozenset({1, 2, 3, 4}),
        note="Butt joints: front and back cover the edges, top and bottom cover the sides.",
    )
    plan = box.cut_plan
    sheets = f"{plan.sheets} sheet{'s' if plan.sheets != 1 else ''}"
    figures = (
        *_plots(design),
        Figure(
            key="box-views",
            drawn=LaterDrawing(make=lambda: box_views_svg(box, title="Box", stamp=stamp, inline=True)),
            caption="Outside dimensions; hair lines are what lies behind the section.",
            wide=True,
        ),
        Figure(
            key="box-taken-apart",
            drawn=LaterDrawing(
                make=lambda: box_exploded_svg(box, title="Box, taken apart", stamp=stamp, inline=True)
            ),
            caption="Every board pulled out along its axis, seen from the front right.",
            wide=True,
        ),
        Figure(
            key="panels",
            drawn=LaterDrawing(make=lambda: panels_svg(box.panels, title="Panels", stamp=stamp, inline=True)),
            caption="Cut-outs are measured to their middles from the lower left corner, seen from outside.",
            wide=True,
        ),
        Figure(
            key="panels-sawing",
            drawn=LaterDrawing(make=lambda: cut_plan_svg(box, title="Sawing plan", stamp=stamp, inline=True)),
            caption=f"{sheets}, {percent(plan.used_share)} of the board used. Saw the long strips first.",
            wide=True,
        ),
    )
    sheet = sheet_of(design, "enclosure", "Enclosure", box, values=values, figures=figures)
    care = (
        before_cutting(material=_MATERIAL[spec.panel_material]),
        before_mounting(mass=show(box.mass_kg, "mass", 2)),
    )
    return replace(sheet, grids=(panels,), cautions=care)


def _port(box: EnclosureResult) -> Iterator[Entry]:
    port = box.port
    if port is None:
        return
    if port.diameter_m is not None:
        size = f"{port.count} \u00d7 {show(port.diameter_m, 'length')} inside, {port.name}"
    else:
        size = f"slot {show(port.width_m or 0.0, 'length')} \u00d7 {show(port.height_m or 0.0, 'length')}"
    yield "port", size
    yield "port length, panel included", f"{show(port.length_m, 'length')}, {port.bend}"
    if port.bend != "straight":
        yield "from mouth to bend", show(port.first_leg_m, "length")
    yield "port opens through", port.on


def _plots(design: Design) -> Iterator[Figure]:
    box = design.enclosure
    f = box.frequency_hz
    cabin = design.spec.cabin.kind != "none"
    yield drawing(
        "response",
        response_plot(
            f,
            box.full_spl_db,
            cabin_db=box.full_cabin_spl_db if cabin else None,
            maximum_db=box.limits.level_db,
            limited_by=box.limits.limited_by,
            title="Level at 1 m, full drive",
        ),
        "At full drive through the infrasonic filter where there is one. The strip names what limits the "
        "loudest level with programme.",
    )
    yield drawing(
        "level-by-battery",
        corner_level_plot(limits_for(design, heating=False)),
        "With each state of the battery, sag included. The strip names what limits it at the nominal one.",
    )
    yield drawing(
        "excursion",
        excursion_plot(
            f,
            box.full_excursion_m,
            xmax_m=box.xmax_m,
            xdamage_m=box.xdamage_m,
            lowest_note_hz=box.lowest_note_hz,
        ),
        "Full drive, sine.",
    )
    if box.full_port_speed_m_per_s is not None:
        yield drawing(
            "port-speed",
            port_speed_plot(f, box.full_port_speed_m_per_s, limit_m_per_s=box.port_speed_limit_m_per_s),
            "Full drive, sine. Above the limit the port is heard.",
        )
    yield drawing(
        "impedance",
        impedance_plot(f, box.impedance_ohm, least_ohm=design.amplifier.load_least_ohm),
        "Limit: the least impedance that the amplifier is reckoned with. The peaks count what the cone "
        "radiates, which lowers them by a few per cent: a circuit without it reads that much higher there.",
    )
    yield drawing("group-delay", group_delay_plot(f, box.group_delay_s), "Enclosure alone, without filters.")
