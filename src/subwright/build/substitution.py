"""A part that can't be had: what would do in its place, and the build solved again without it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from pydantic import BaseModel

from subwright.base.errors import PartNotFoundError, SubwrightError
from subwright.build.difference import Difference, difference
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.parts.library import Library, near_ids
from subwright.parts.schema import KINDS, Record

__all__ = ["Candidate", "Substitution", "WithoutParts", "equivalents", "renamed", "substitute"]

# What matters when one part stands in for another: field, its words, and whether more or less is better.
_MATTERS: Final[Mapping[str, tuple[tuple[str, str, str, bool], ...]]] = MappingProxyType(
    {
        "mosfet": (
            ("vds_v", "drain-source voltage", "voltage", True),
            ("id_a", "drain current", "current", True),
            ("rds_on_ohm", "on resistance", "resistance", False),
            ("qg_coul", "gate charge", "charge", False),
            ("rth_jc_k_per_w", "junction to case", "thermal resistance", False),
        ),
        "rectifier": (
            ("vrrm_v", "reverse voltage", "voltage", True),
            ("if_a", "average current", "current", True),
            ("vf0_v", "knee voltage", "voltage", False),
            ("trr_s", "recovery time", "time", False),
        ),
        "capacitor": (
            ("capacitance_f", "capacitance", "capacitance", True),
            ("voltage_v", "rated voltage", "voltage", True),
            ("ripple_a", "ripple current", "current", True),
            ("esr_ohm", "series resistance", "resistance", False),
        ),
        "op_amp": (
            ("gbw_hz", "gain bandwidth", "frequency", True),
            ("supply_max_v", "highest supply", "voltage", True),
            ("noise_v_per_rthz", "noise", "", False),
        ),
        "comparator": (
            ("supply_max_v", "highest supply", "voltage", True),
            ("vos_max_v", "offset", "voltage", False),
            ("ib_max_a", "bias current", "current", False),
        ),
        "core": (
            ("a_e_m2", "effective area", "area", True),
            ("window_area_m2", "window", "area", True),
        ),
        "zener": (("power_w", "dissipation", "power", True),),
        "transistor": (
            ("vceo_v", "collector voltage", "voltage", True),
            ("ic_a", "collector current", "current", True),
            ("pd_w", "dissipation", "power", True),
        ),
        "controller": (
            ("supply_max_v", "highest supply", "voltage", True),
            ("output_source_a", "output current, source", "current", True),
            ("output_sink_a", "output current, sink", "current", True),
            ("vref_tolerance", "reference's spread", "ratio", False),
        ),
        "ntc": (("r25_ohm", "resistance at 25 °C", "resistance", True),),
        "driver": (
            ("power_w", "rated power", "power", True),
            ("xmax_m", "excursion", "length", True),
            ("sd_m2", "cone area", "area", True),
        ),
        "heatsink": (("rth_k_per_w", "to the air", "thermal resistance", False),),
    }
)
_PLAIN_EXCHANGE: Final = ("mosfet", "rectifier", "capacitor", "op_amp", "comparator", "zener", "transistor")
_SHAPE: Final = (
    "channel",
    "mode",
    "outputs",
    "polarity",
    "technology",
    "package",
    "common",
    "family",
    "channels",
    "nominal_v",
    "vz_v",
)


class WithoutParts(Library):
    """A library from which some parts are gone."""

    def __init__(self, whole: Library, gone: frozenset[str]) -> None:
        super().__init__(whole.drawer)
        self._gone = gone

    def kind(self, name: str) -> Mapping[str, Record]:
        """All records of a kind by id, without those that can't be had."""
        records = super().kind(name)
        if not any(part in records for part in self._gone):
            return records
        return MappingProxyType({key: value for key, value in records.items() if key not in self._gone})


@dataclass(frozen=True, kw_only=True, slots=True)
class Candidate:
    """A part that may stand in: its figures against the missing part's, and which of them are worse.

    ``figures`` are (name, missing part's, candidate's, dimension or "").
    """

    part_id: str
    description: str
    in_drawer: int
    figures: tuple[tuple[str, float, float, str], ...]
    worse: tuple[str, ...]
    other: tuple[str, ...]  # what is of another kind: "package TO-247 for TO-220"


@dataclass(frozen=True, kw_only=True, slots=True)
class Substitution:
    """What becomes of a build without a part.

    Attributes
    ----------
    part_id, kind : the part and its kind in the library. places : where it stood.
    instead : the candidate that the build file was made to name in its place; "" where the solver chose.
    candidates : the nearest by the ratings that matter, those in the drawer first.
    design : solved again without it; None where no design exists. refusal : why.
    moves : against the design with it; None where there is no new design.
    """

    part_id: str
    kind: str
    places: tuple[str, ...]
    candidates: tuple[Candidate, ...]
    design: Design | None
    refusal: str
    moves: Difference | None
    instead: str = ""


def equivalents(design: Design, library: Library, *, most: int = 3) -> Mapping[str, tuple[str, ...]]:
    """For each library part of a build those that are worse in nothing that matters, drawer first.

    Only kinds whose exchange changes no other part: no cores, drivers or heatsinks. Nothing is solved again.
    """
    found: dict[str, tuple[str, ...]] = {}
    for kind in _PLAIN_EXCHANGE:
        records = library.kind(kind)
        for part_id in dict.fromkeys(part.part_id for _, part in design.part_uses()):
            if part_id not in records:
                continue
            rows = _candidates(library, kind, part_id, len(records))
            names = tuple(row.part_id for row in rows if not row.worse and not row.other)[:most]
            if names:
                found[part_id] = names
    return MappingProxyType(found)


def substitute(
    design: Design,
    library: Library,
    part_id: str,
    *,
    most: int = 6,
    solve: Callable[..., Design] = solve_build,
) -> Substitution:
    """What would do in place of a part, and what moves when the build is solved without it.

    Parameters
    ----------
    design, library : the build and the parts it was solved with. part_id : as the parts list names it.
    most : how many candidates. solve : solver, spec and library to design.

    Raises
    ------
    PartNotFoundError : the build has no such part. SubwrightError : it is a value, not a library part.
    """
    places = tuple(f"{stage}: {part.role}" for stage, part in design.part_uses() if part.part_id == part_id)
    if not places:
        used = {part.part_id: part for _, part in design.part_uses()}
        near = near_ids(part_id, used)
        raise PartNotFoundError(
            message=f"this build has no part {part_id!r}",
            remedy=f"did you mean {' or '.join(near)}?" if near else "see its parts list",
            near=near,
        )
    kind = next((name for name in KINDS if part_id in library.kind(name)), None)
    if kind is None:
        raise SubwrightError(
            message=f"{part_id} is a preferred value or a plain part, not one of the library",
            quantity="part",
            value=part_id,
            remedy="put what is at hand into the drawer file, or set another series in the build file",
        )
    candidates = _candidates(library, kind, part_id, most)
    rest = WithoutParts(library, frozenset({part_id}))
    # a part that the build file names is replaced there, by the nearest that gives a design
    named = _names(design.spec, part_id)
    refusal = ""
    for instead in [row.part_id for row in candidates] if named else [""]:
        spec = renamed(design.spec, part_id, instead) if named else design.spec
        try:
            found = solve(spec, rest)
        except SubwrightError as error:
            refusal = refusal or str(error)
            continue
        return Substitution(
            part_id=part_id,
            kind=kind,
            places=places,
            candidates=candidates,
            design=found,
            refusal="",
            moves=difference(design, found),
            instead=instead,
        )
    return Substitution(
        part_id=part_id,
        kind=kind,
        places=places,
        candidates=candidates,
        design=None,
        refusal=refusal or "the library has nothing of its kind",
        moves=None,
    )


def _names(model: BaseModel, part_id: str) -> bool:
    """Whether the build file asks for the part by its id."""
    return any(
        _names(value, part_id) if isinstance(value, BaseModel) else value == part_id
        for value in (getattr(model, field) for field in type(model).model_fields)
    )


def renamed(spec: BuildSpec, part_id: str, instead: str) -> BuildSpec:
    """The build file's content with one part's id replaced wherever it is named."""
    changes: dict[str, Any] = {}
    for field in type(spec).model_fields:
        value = getattr(spec, field)
        if isinstance(value, BaseModel) and _names(value, part_id):
            swapped = {name: instead for name in type(value).model_fields if getattr(value, name) == part_id}
            changes[field] = value.model_copy(update=swapped)
    return spec.model_copy(update=changes)


def _candidates(library: Library, kind: str, part_id: str, most: int) -> tuple[Candidate, ...]:
    records = library.kind(kind)
    missing = records[part_id]
    rows = [_candidate(library, kind, missing, record) for key, record in records.items() if key != part_id]
    rows = [row for row in rows if row.figures]
    return tuple(sorted(rows, key=_rank)[:most])


def _candidate(library: Library, kind: str, missing: Record, record: Record) -> Candidate:
    figures, worse = [], []
    for field, words, dimension, more in _MATTERS.get(kind, ()):
        have, get = getattr(missing, field, None), getattr(record, field, None)
        if not isinstance(have, int | float) or not isinstance(get, int | float):
            continue
        figures.append((words, float(have), float(get), dimension))
        if (get < have) if more else (get > have):
            worse.append(words)
    other = []
    for field in _SHAPE:
        have, get = getattr(missing, field, None), getattr(record, field, None)
        if have is not None and have != get:
            other.append(f"{field.replace('_', ' ')} {get} for {have}")
    return Candidate(
        part_id=record.id,
        description=record.description,
        in_drawer=library.in_drawer(record.id),
        figures=tuple(figures),
        worse=tuple(worse),
        other=tuple(other),
    )


def _rank(row: Candidate) -> tuple[int, int, int, float, str]:
    """Same kind first, then the fewest worse figures, then the drawer, then the nearest."""
    apart = sum(abs(get / have - 1.0) for _, have, get, _ in row.figures if have)
    return len(row.other), len(row.worse), 0 if row.in_drawer else 1, apart, row.part_id
