"""A design as a page: cover, findings, power, a sheet for each stage, parts, sources."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from subwright import __version__
from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.substitution import equivalents
from subwright.outputs.bom import bom_rows
from subwright.outputs.cautions import before_first_power, before_first_power_from_battery, before_playing
from subwright.outputs.made_board import KeptBoards
from subwright.outputs.power_view import budget_grid, flow_figure, operating_grids
from subwright.outputs.print_code import design_code
from subwright.outputs.provenance import source_rows, unchecked
from subwright.outputs.schematic_blocks import drawn_designators
from subwright.outputs.schematic_files import circuits_sheet
from subwright.outputs.schematics import Schematics, schematics
from subwright.outputs.sheet_boards import boards_sheet
from subwright.outputs.sheet_checked import checked_sheet
from subwright.outputs.sheets_boost import boost_sheet
from subwright.outputs.sheets_control import filter_sheet, heat_sheet, protection_sheet, wiring_sheet
from subwright.outputs.sheets_guard import battery_guard_sheet, control_sheet, speaker_guard_sheet
from subwright.outputs.sheets_power import (
    amplifier_sheet,
    converter_sheet,
    supply_sheet,
    transformer_sheet,
)
from subwright.outputs.sheets_signal import input_sheet, signal_sheet
from subwright.outputs.sheets_sound import driver_sheet, enclosure_sheet, loudest
from subwright.outputs.tables import cited, margin_text
from subwright.outputs.verified import SavedDesign
from subwright.outputs.views import Caution, FindingRow, Overview, PackView, Sheet, Station
from subwright.parts.library import Library, load_library
from subwright.stages.common import Corner, Level
from subwright.stages.protection import ProtectionResult

__all__ = ["MADE_WITH", "finding_rows", "overview", "pack_view", "sheets", "stamp_of"]

MADE_WITH = f"subwright {__version__}"


def finding_rows(design: Design, *, with_passed: bool = False) -> tuple[FindingRow, ...]:
    """The findings that the builder has to look at, gravest first; with ``with_passed`` all of them."""
    return tuple(
        FindingRow(
            code=finding.code,
            severity=finding.severity,
            title=finding.title,
            detail=finding.message,
            quantity=finding.quantity,
            value=show(finding.value, finding.dimension),
            limit=show(finding.limit, finding.dimension),
            margin=finding.margin,
            source=cited(finding.source),
            remedy=finding.remedy,
        )
        for finding in design.findings
        if with_passed or finding.open
    )


def stamp_of(design: Design) -> str:
    """What every page says while a stop stands; "" when none does."""
    codes = dict.fromkeys(finding.code for finding in design.findings if finding.severity == "stop")
    return f"NOT READY TO BUILD: {', '.join(codes)}" if codes else ""


def _key_figures(design: Design) -> tuple[tuple[str, str], ...]:
    full = design.point(Corner.NOMINAL, Level.FULL)
    programme = design.point(Corner.NOMINAL, Level.PROGRAMME)
    figures = [
        ("power at clipping", show(full.output_w, "power")),
        ("loudest, half space, 1 m", loudest(design)),
        (_supply_name(design), _rails(design, full.rail_crest_v)),
        ("battery, full sine", show(full.battery_a, "current")),
        ("battery, programme", show(programme.battery_a, "current")),
        ("running time, engine off", show(design.supply.runtime_s, "time")),
        ("net volume", show(design.enclosure.net_volume_m3, "volume")),
        ("mass, about", show(design.enclosure.mass_kg, "mass")),
    ]
    return tuple(figures)


def _supply_name(design: Design) -> str:
    if design.boost is not None:
        return "raised rail"
    return "rails" if design.converter else "supply"


def _rails(design: Design, rail_v: float) -> str:
    return f"\u00b1{show(rail_v, 'voltage')}" if design.converter else show(rail_v, "voltage")


def _station(design: Design, key: str, name: str, figures: tuple[str, ...], *stages: str) -> Station:
    least = design.tightest(*(stages or (key,)))
    if least is None:
        return Station(key=key, name=name, figures=figures)
    return Station(
        key=key,
        name=name,
        figures=figures,
        tightest=least.quantity.partition(" (")[0],
        margin=least.margin,
        margin_text=margin_text(least.margin),
    )


def _plays_between(protection: ProtectionResult) -> tuple[str, ...]:
    """The voltages at which it shuts down."""
    trips = [t for name, t in protection.thresholds.items() if t.unit == "V" and name.endswith("trip")]
    return tuple(f"off at {show(trip.nominal, 'voltage')}" for trip in trips)


def _stations(design: Design) -> Iterator[Station]:
    full = design.point(Corner.NOMINAL, Level.FULL)
    supply, driver, box = design.supply, design.driver, design.enclosure
    yield _station(
        design,
        "supply",
        "battery",
        (show(supply.corners[Corner.NOMINAL], "voltage"), f"fuse {show(supply.fuse_a, 'current')}"),
    )
    if design.converter is not None:
        figures = (
            show(design.converter.plan.timing.switching_hz, "frequency"),
            _rails(design, full.rail_crest_v),
        )
        yield _station(design, "converter", "converter", figures)
    if design.boost is not None:
        figures = (
            show(design.boost.plan.timing.switching_hz, "frequency"),
            _rails(design, full.rail_crest_v),
        )
        yield _station(design, "boost", "boost converter", figures)
    if design.transformer is not None:
        turns = f"{design.transformer.primary_turns} : {design.transformer.secondary_turns} turns"
        yield _station(design, "transformer", "transformer", (turns, design.transformer.core.id))
    if design.protection is not None:
        yield _station(design, "protection", "protection", _plays_between(design.protection))
    yield _station(design, "filter", "filter", (show(design.filter.corner_hz, "frequency"),))
    yield _station(
        design,
        "amplifier",
        "amplifier",
        (show(full.output_w, "power"), f"into {show(design.amplifier.load_ohm, 'resistance')}"),
    )
    count = f"{driver.count} \u00d7 " if driver.count > 1 else ""
    yield _station(design, "driver", "driver", (f"{count}{driver.name or driver.part_id}",))
    yield _station(
        design, "enclosure", "enclosure", (design.spec.enclosure.kind, show(box.net_volume_m3, "volume"))
    )


def _air(design: Design) -> tuple[str, str]:
    at = show(design.balance.frequency_hz, "frequency")
    return loudest(design), f"{show(design.balance.radiated_w, 'power')} at {at}"


def overview(design: Design) -> Overview:
    """Cover of a design without drawing anything."""
    return Overview(
        name=design.spec.name,
        key_figures=_key_figures(design),
        stations=tuple(_stations(design)),
        air=", ".join(_air(design)),
        findings=finding_rows(design),
    )


def _closing(design: Design) -> Iterator[Caution]:
    if design.converter is not None:
        yield before_first_power(
            rail=show(design.converter.rail_unloaded_v, "voltage"),
            discharge=show(design.converter.bleeder_s, "time", 2),
        )
    else:
        supply_v = design.supply.corners[Corner.NOMINAL] if design.boost is None else design.boost.set_v
        yield before_first_power_from_battery(supply=show(supply_v, "voltage"))
    yield before_playing(level=loudest(design))


def sheets(design: Design) -> tuple[Sheet, ...]:
    """A sheet for each stage, in the order of the chain."""
    return tuple(_sheets(design, stamp_of(design)))


def _sheets(design: Design, stamp: str) -> Iterator[Sheet]:
    yield supply_sheet(design)
    guard = battery_guard_sheet(design)
    if guard is not None:
        yield guard
    for sheet in (
        converter_sheet(design),
        transformer_sheet(design, stamp=stamp),
        boost_sheet(design),
        protection_sheet(design),
    ):
        if sheet is not None:
            yield sheet
    yield input_sheet(design)
    yield filter_sheet(design)
    yield signal_sheet(design)
    yield amplifier_sheet(design)
    for sheet in (speaker_guard_sheet(design), control_sheet(design)):
        if sheet is not None:
            yield sheet
    yield driver_sheet(design)
    yield enclosure_sheet(design, stamp=stamp)
    yield wiring_sheet(design)
    yield heat_sheet(design)


def pack_view(
    design: Design,
    *,
    made_on: str = "",
    library: Library | None = None,
    verified: Sequence[SavedDesign] = (),
    drawn: Schematics | None = None,
    boards: KeptBoards | None = None,
) -> PackView:
    """Everything the summary page shows of a design.

    ``made_on`` is printed as it is; without it the page holds no date and repeats byte for byte.
    ``library`` holds the parts that it was solved with; ``verified`` every result of simulation kept so far;
    ``drawn`` the circuits, where they are drawn already; ``boards`` those kept beside the build.
    """
    parts = library or load_library()
    stamp = stamp_of(design)
    made = drawn or schematics(design, parts, stamp=stamp)
    circuits = circuits_sheet(made)
    return PackView(
        name=design.spec.name,
        note=design.spec.note,
        made_with=MADE_WITH,
        made_on=made_on,
        key_figures=_key_figures(design),
        stations=(*_stations(design), Station(key="power", name="air", figures=_air(design))),
        findings=finding_rows(design),
        flows=(flow_figure(design),),
        budget=budget_grid(design),
        operating=operating_grids(design),
        sheets=(
            *_sheets(design, stamp),
            circuits,
            boards_sheet(boards, design_code(design)),
            checked_sheet(design, parts, verified),
        ),
        bom=bom_rows(tuple(design.part_uses()), drawn_designators(made.blocks), equivalents(design, parts)),
        sources=source_rows(design),
        from_memory=unchecked(design),
        closing=tuple(_closing(design)),
    )
