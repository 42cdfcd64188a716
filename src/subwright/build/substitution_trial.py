"""Each candidate tried in earnest: the build solved again with that very part in the missing one's place."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from pydantic import ValidationError

from subwright.base.errors import SubwrightError
from subwright.build.difference import Difference, difference
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.build.substitution import WithoutParts, renamed
from subwright.parts.library import Library
from subwright.parts.schema import KINDS

__all__ = ["Trial", "try_candidates"]

_NAMED_BY: Final[Mapping[tuple[str, str], tuple[str, str]]] = MappingProxyType(
    {  # (stage, role) of the bill → stage and key of the build file that may name the part
        ("converter", "push-pull switch"): ("converter", "mosfet"),
        ("converter", "push-pull controller"): ("converter", "controller"),
        ("converter", "rail rectifier"): ("converter", "rectifier"),
        ("converter", "input capacitor"): ("converter", "input_capacitor"),
        ("converter", "rail capacitor"): ("converter", "reservoir_capacitor"),
        ("transformer", "transformer core"): ("transformer", "core"),
        ("filter", "filter op-amp"): ("filter", "op_amp"),
        ("protection", "protection comparator"): ("protection", "comparator"),
        ("protection", "heatsink thermistor"): ("protection", "ntc"),
        ("protection", "protection reference"): ("protection", "shunt_reference"),
        ("amplifier", "output switch"): ("amplifier", "mosfet"),
    }
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """One candidate in place of the missing part.

    Attributes
    ----------
    part_id : the candidate. design : solved with it; None where it doesn't do. refusal : why it doesn't.
    moves : against the design with the missing part; None without a design.
    elsewhere : places where something else does better: "battery_guard: reverse-polarity switch takes …".
    stops : codes of findings at stop that the build did not have before.
    """

    part_id: str
    design: Design | None
    refusal: str
    moves: Difference | None
    elsewhere: tuple[str, ...]
    stops: tuple[str, ...]


def _refused(part_id: str, refusal: str) -> Trial:
    return Trial(part_id=part_id, design=None, refusal=refusal, moves=None, elsewhere=(), stops=())


def try_candidates(
    design: Design,
    library: Library,
    part_id: str,
    candidates: Sequence[str],
    *,
    solve: Callable[..., Design] = solve_build,
) -> tuple[Trial, ...]:
    """Solve the build again with each candidate where the missing part stood.

    Where the build file can name the part, it is made to name the candidate; elsewhere the library is left
    with nothing else of its kind but what the build uses in other places.

    Parameters
    ----------
    design, library : the build and the parts it was solved with. part_id : the missing part.
    candidates : ids of the same kind. solve : spec and library to design.
    """
    places = [(stage, part.role) for stage, part in design.part_uses() if part.part_id == part_id]
    return tuple(_try(design, library, part_id, name, places, solve) for name in candidates)


def _try(
    design: Design,
    library: Library,
    part_id: str,
    candidate: str,
    places: Sequence[tuple[str, str]],
    solve: Callable[..., Design],
) -> Trial:
    try:
        spec = _forced(design.spec, part_id, candidate, places)
        gone = {part_id}
        if not all(place in _NAMED_BY for place in places):
            gone |= _rivals(design, library, part_id, candidate)
        found = solve(spec, WithoutParts(library, frozenset(gone)))
    except (SubwrightError, ValidationError) as error:
        return _refused(candidate, _said(error))
    there = {(stage, part.role): part.part_id for stage, part in found.part_uses()}
    taken = [place for place in places if there.get(place) == candidate]
    other = tuple(
        f"{stage}: {role} takes {there.get((stage, role), 'no such part any more')}"
        for stage, role in places
        if (stage, role) not in taken
    )
    if not taken:
        return _refused(candidate, f"solved again, something else does better ({'; '.join(other)})")
    before = {finding.code for finding in design.findings if finding.severity == "stop"}
    after = [finding.code for finding in found.findings if finding.severity == "stop"]
    return Trial(
        part_id=candidate,
        design=found,
        refusal="",
        moves=difference(design, found),
        elsewhere=other,
        stops=tuple(code for code in dict.fromkeys(after) if code not in before),
    )


def _said(error: SubwrightError | ValidationError) -> str:
    return str(error) if isinstance(error, SubwrightError) else str(error.errors()[0]["msg"])


def _forced(spec: BuildSpec, part_id: str, candidate: str, places: Sequence[tuple[str, str]]) -> BuildSpec:
    """The build file's content, naming the candidate wherever it can."""
    spec = renamed(spec, part_id, candidate)
    for place in places:
        named = _NAMED_BY.get(place)
        if named is None:
            continue
        stage, key = named
        model = getattr(spec, stage)
        if key in type(model).model_fields:
            spec = spec.model_copy(update={stage: model.model_copy(update={key: candidate})})
    return spec


def _rivals(design: Design, library: Library, part_id: str, candidate: str) -> set[str]:
    """Everything else of the kind that the build does not use in another place."""
    kind = next((name for name in KINDS if part_id in library.kind(name)), None)
    if kind is None:
        return set()
    used = {part.part_id for _, part in design.part_uses()}
    return {name for name in library.kind(kind) if name != candidate and name not in used}
