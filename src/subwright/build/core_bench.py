"""Unmarked cores from the bench to the drawer, and other cores for a finished design."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from subwright.base.errors import NoSolutionError
from subwright.build.result import Design
from subwright.parts.drawer import Drawer, add_part, load_drawer, set_values
from subwright.parts.library import Library, load_library
from subwright.parts.schema import Core
from subwright.stages.transformer_alternatives import AlternativeRow, alternatives
from subwright.stages.transformer_core import CoreIdentity, CoreReadings, identify_core
from subwright.stages.transformer_core_check import (
    HeatReading,
    PulseReading,
    area_error,
    read_heat,
    read_pulse,
)
from subwright.stages.transformer_core_plan import BenchSupply

__all__ = [
    "identify_unmarked_core",
    "note_core_heat",
    "note_core_pulse",
    "other_cores",
    "save_core",
]


def identify_unmarked_core(
    readings: CoreReadings, supply: BenchSupply, *, name: str = "unmarked core"
) -> CoreIdentity:
    """What an unmarked core is, with the bench procedures that identification can't replace.

    Raises
    ------
    RangeError : a reading that no core can give.
    """
    return identify_core(readings, supply, load_library(), name=name)


def save_core(path: Path, identity: CoreIdentity, *, quantity: int = 1) -> Drawer:
    """Put an identified core into a drawer file, made where it isn't there yet.

    Raises
    ------
    NoSolutionError : its material is none for a transformer, or the readings contradict each other.
    InputError : the drawer file has a problem, or has a core of that name already.
    """
    if not identity.record:
        raise NoSolutionError(
            message="This core is no use for a transformer, so it isn't put into the drawer. "
            f"{identity.verdict.why}",
            quantity="permeability",
            value=f"{identity.permeability:.0f} ({identity.verdict.family})",
            limit="a power ferrite, about 1400 to 3750",
            source="common-practice",
            remedy="Take another core; keep this one for a choke or for interference.",
        )
    if identity.fit.suspect is not None:
        at, better = identity.fit.suspect
        raise NoSolutionError(
            message="The readings contradict each other, so the core isn't put into the drawer.",
            quantity="turns",
            value=str(identity.readings.turns[at]),
            limit=f"{better} would agree with the other readings",
            source="jcgm100",
            remedy="Count the turns, each pass through hole or window being one, and give the readings "
            "again.",
        )
    return add_part(path, "core", dict(identity.record), quantity=quantity)


def note_core_pulse(
    path: Path,
    core_id: str,
    *,
    turns: int,
    volts_v: float,
    time_s: float,
    drop_v: float = 0.0,
    core_c: float = 25.0,
    reading_error: float = 0.03,
) -> PulseReading:
    """Work out a saturation pulse and write what it proves into the core's record in a drawer file.

    Raises
    ------
    InputError : the drawer file has a problem. PartNotFoundError : it has no such core of its own.
    RangeError : a reading out of range.
    """
    core, library = _own_core(path, core_id)
    reading = read_pulse(
        core,
        library,
        turns=turns,
        volts_v=volts_v,
        time_s=time_s,
        drop_v=drop_v,
        core_c=core_c,
        reading_error=reading_error,
        area_error=area_error(core),
    )
    said = core.provenance.document.removesuffix("; saturation not checked")
    source = f"{said}; saturation by a pulse at {core_c:.0f} °C"
    set_values(path, "core", core_id, {**dict(reading.record), "source": source})
    return reading


def note_core_heat(
    path: Path,
    core_id: str,
    *,
    frequency_hz: float,
    flux_peak_t: float,
    core_c: float,
    direct_v: float,
    direct_a: float,
    copper_w: float = 0.0,
) -> HeatReading:
    """Work out a loss comparison and write the loss factor into the core's record in a drawer file.

    Raises
    ------
    InputError : the drawer file has a problem. PartNotFoundError : it has no such core of its own.
    RangeError, NoSolutionError : a reading out of range, or a grade without loss data.
    """
    core, library = _own_core(path, core_id)
    reading = read_heat(
        core,
        library,
        frequency_hz=frequency_hz,
        flux_peak_t=flux_peak_t,
        core_c=core_c,
        direct_v=direct_v,
        direct_a=direct_a,
        copper_w=copper_w,
    )
    set_values(path, "core", core_id, dict(reading.record))
    return reading


def _own_core(path: Path, core_id: str) -> tuple[Core, Library]:
    drawer = load_drawer(path)
    if core_id not in drawer.records.get("core", {}):
        set_values(path, "core", core_id, {})  # refuses, naming those that there are
    library = load_library().with_drawer(drawer)
    return library.core(core_id), library


def other_cores(
    design: Design, library: Library, *, named: Sequence[str] = (), most: int = 6
) -> tuple[AlternativeRow, ...]:
    """The transformer of a design on every core at hand, on named ones, and on the best of the library.

    Raises
    ------
    NoSolutionError : the design has no transformer. PartNotFoundError : a named core is unknown.
    """
    transformer = design.transformer
    if transformer is None:
        raise NoSolutionError(
            message="This build runs straight from the battery, so it has no transformer.",
            quantity="amplifier",
            value=design.spec.amplifier.kind,
            remedy="Choose an amplifier on rails (amplifier.kind).",
        )
    return alternatives(
        design.spec.transformer,
        transformer.need,
        library,
        named=named,
        most=most,
        chosen=transformer.core.id,
    )
