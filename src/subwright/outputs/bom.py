"""The bill of materials: parts of all stages, alike ones on one line, designators per letter."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from subwright.base.errors import SubwrightError
from subwright.outputs.csvfile import table
from subwright.outputs.tables import RatingRow, margin_text, number, percent, rating_row
from subwright.stages.common import PartUse

__all__ = ["HEADER", "BomRow", "bom_csv", "bom_rows", "designators", "spans"]

Use = tuple[str, PartUse]  # stage name, part

_CODE = re.compile(r"\d*[RkMGpnum\u00b5]?\d*")  # IEC 60062 value code
_KINDS = {"memory": "from memory", "datasheet": "data sheet"}
_NOTHING: Mapping[str, tuple[str, ...]] = MappingProxyType({})
_FIRST = ("U", "Q", "D", "T", "L", "C", "R", "RT", "F")  # printed first; other letters follow in order


@dataclass(frozen=True, kw_only=True, slots=True)
class BomRow:
    """One line: a part, everywhere it's used."""

    designators: tuple[str, ...]
    quantity: str
    part_id: str
    value: str
    tolerance: str
    description: str
    roles: tuple[str, ...]
    ratings: tuple[RatingRow, ...]  # the tightest first
    in_drawer: bool
    substitutes: tuple[str, ...]
    provenance: str

    @property
    def printed(self) -> tuple[str, str]:
        """What to ask for: value and catalogue id, either may be "" (a preferred value has no id)."""
        coded = _CODE.fullmatch(self.part_id) is not None
        return self.value, "" if coded and self.value else self.part_id

    @property
    def tightest(self) -> RatingRow | None:
        """The rating with the least margin."""
        return self.ratings[0] if self.ratings else None


def designators(
    uses: Sequence[Use], drawn: Mapping[tuple[str, str], tuple[str, ...]] | None = None
) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Designators by (stage, role): letters after IEEE 315.

    ``drawn`` holds those that the circuits' netlists give; the other parts of such a stage follow in its own
    hundred. Without it all are numbered in the order of the stages.
    Parts bought by length, area or mass have none but what the circuits give. Raises SubwrightError for a
    fractional number of pieces and for a role that a stage uses twice.
    """
    last = _highest(drawn) if drawn is not None else {}
    given: dict[tuple[str, str], tuple[str, ...]] = {}
    for stage, part in uses:
        if (stage, part.role) in given:
            raise SubwrightError(
                message=f"stage {stage} lists two parts under one role",
                quantity="role",
                value=part.role,
                remedy="this is a fault of the programme; please report it with the build file",
            )
        if part.unit != "pcs" or not part.letter:
            given[stage, part.role] = drawn.get((stage, part.role), ()) if drawn is not None else ()
            continue
        count = round(part.quantity)
        if abs(part.quantity - count) > 1e-9 or count < 1:
            raise SubwrightError(
                message=f"{part.role} needs a whole number of pieces",
                quantity="quantity",
                value=f"{part.quantity:g}",
                remedy="this is a fault of the programme; please report it with the build file",
            )
        if drawn is not None and (stage, part.role) in drawn:
            given[stage, part.role] = drawn[stage, part.role]
            continue
        hundred = 0 if drawn is None else _HUNDREDS.get(stage, _OTHERS)
        start = last.get((hundred, part.letter), hundred)
        given[stage, part.role] = tuple(f"{part.letter}{start + i + 1}" for i in range(count))
        last[hundred, part.letter] = start + count
    return given


_HUNDREDS = {
    "converter": 100,
    "transformer": 100,
    "protection": 200,
    "filter": 300,
    "control": 400,
    "amplifier": 500,
    "input": 600,
    "speaker_guard": 700,
    "supply": 800,
    "battery_guard": 800,
}
_OTHERS = 900


def _highest(drawn: Mapping[tuple[str, str], tuple[str, ...]]) -> dict[tuple[int, str], int]:
    """Last number that each hundred's letter has given away."""
    last: dict[tuple[int, str], int] = {}
    for names in drawn.values():
        for name in names:
            letter, digits = re.fullmatch(r"(\D*)(\d*)", name).groups()  # type: ignore[union-attr]  # always matches
            key = (int(digits) // 100 * 100, letter)
            last[key] = max(last.get(key, 0), int(digits))
    return last


_Kind = tuple[str, str, str, str, float | None, str]


def _alike(part: PartUse) -> _Kind:
    """What makes two parts one: a value alone says nothing of kind, voltage or power."""
    valued = bool(part.value) and _CODE.fullmatch(part.part_id) is not None
    kind = part.description if valued else ""
    return part.part_id, part.letter, part.unit, part.value, part.tolerance, kind


def bom_rows(
    uses: Sequence[Use],
    drawn: Mapping[tuple[str, str], tuple[str, ...]] | None = None,
    also: Mapping[str, tuple[str, ...]] = _NOTHING,
) -> tuple[BomRow, ...]:
    """Group the stages' parts into lines.

    Parameters
    ----------
    uses : (stage name, part) in the order in which designators are to be numbered.
    drawn : designators that the circuits give, by (stage, role).
    also : ids that would do in place of a part, by its id; they follow those that the stages named.

    Returns
    -------
    Lines, by designator letter; alike means the same id, letter, unit, value, tolerance and, where the id is
    a mere value, description.
    """
    given = designators(uses, drawn)
    groups: dict[_Kind, list[Use]] = {}
    for stage, part in uses:
        groups.setdefault(_alike(part), []).append((stage, part))
    ordered = sorted(groups.values(), key=lambda group: _rank(group, given))
    return tuple(_row(group, given, also) for group in ordered)


def _rank(
    group: Sequence[Use], given: Mapping[tuple[str, str], tuple[str, ...]]
) -> tuple[int, str, int, str]:
    stage, part = group[0]
    names = given[stage, part.role]
    if not names:
        return len(_FIRST) + 1, part.unit, 0, part.part_id
    place = _FIRST.index(part.letter) if part.letter in _FIRST else len(_FIRST)
    return place, part.letter, int(re.sub(r"\D", "", names[0]) or 0), part.part_id


def _row(
    group: Sequence[Use],
    given: Mapping[tuple[str, str], tuple[str, ...]],
    also: Mapping[str, tuple[str, ...]],
) -> BomRow:
    first = group[0][1]
    stressed = [rating_row(part.role, rating) for _, part in group for rating in part.ratings]
    named = [name for _, part in group for name in part.substitutes]
    total = sum(part.quantity for _, part in group)
    return BomRow(
        designators=tuple(name for stage, part in group for name in given[stage, part.role]),
        quantity=f"{total:.0f}" if first.unit == "pcs" else number(total, _UNIT[first.unit]),
        part_id=first.part_id,
        value=first.value,
        tolerance=""
        if first.tolerance is None
        else f"\u00b1{percent(first.tolerance, _places(first.tolerance))}",
        description=first.description,
        roles=tuple(f"{stage}: {part.role}" for stage, part in group),
        ratings=tuple(sorted(stressed, key=lambda row: (row.margin, row.part, row.quantity))),
        in_drawer=all(part.in_drawer for _, part in group),
        substitutes=tuple(dict.fromkeys((*named, *also.get(first.part_id, ())))),
        provenance=_KINDS.get(first.provenance, first.provenance),
    )


_UNIT = {"m": "m", "m2": "m²", "kg": "kg"}


def _places(share: float) -> int:
    return 0 if abs(100 * share - round(100 * share)) < 1e-9 else 1


def spans(names: Sequence[str]) -> str:
    """Designators with runs drawn together: ``spans(["R1", "R2", "R3", "R7"])`` gives "R1–R3 R7"."""
    runs: list[list[str]] = []
    for name in names:
        letter, digits = re.fullmatch(r"(\D*)(\d*)", name).groups()  # type: ignore[union-attr]  # always matches
        if runs and digits:
            before = runs[-1][-1]
            if before == f"{letter}{int(digits) - 1}":
                runs[-1].append(name)
                continue
        runs.append([name])
    return " ".join(
        run[0] if len(run) == 1 else " ".join(run) if len(run) == 2 else f"{run[0]}\u2013{run[-1]}"
        for run in runs
    )


HEADER = (
    "designators",
    "quantity",
    "part",
    "value",
    "tolerance",
    "description",
    "used for",
    "tightest rating",
    "applied",
    "limit",
    "margin",
    "at",
    "in drawer",
    "substitutes",
    "where the data come from",
)


def bom_csv(rows: Sequence[BomRow]) -> str:
    """The lines as CSV text."""
    return table(HEADER, [_cells(row) for row in rows])


def _cells(row: BomRow) -> tuple[str, ...]:
    tight = row.tightest
    stress = (
        (f"{tight.part}, {tight.quantity}", tight.applied, tight.limit, margin_text(tight.margin), tight.at)
        if tight
        else ("", "", "", "", "")
    )
    return (
        " ".join(row.designators),
        row.quantity,
        row.part_id,
        row.value,
        row.tolerance,
        row.description,
        "; ".join(row.roles),
        *stress,
        "yes" if row.in_drawer else "no",
        " ".join(row.substitutes),
        row.provenance,
    )
