"""What a remedy would have to be: the least change of one input that settles a check, found by trying.

A check's remedy names inputs ("Raise supply.section, or lower goal.power"). Each is tried in earnest, the
whole build solved again with it, from a little to a lot; the least change that settles the check is the
answer, or that none does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from subwright.base.errors import SubwrightError
from subwright.base.standards import FUSE_RATINGS, VEHICLE_CABLE
from subwright.base.units import parse
from subwright.build.result import Design, Finding
from subwright.build.spec import BuildSpec
from subwright.outputs import project
from subwright.outputs.project import BuildFile
from subwright.outputs.spec_entries import SpecEntry, entry_at
from subwright.service.designs import solve
from subwright.service.solved import Solved

__all__ = ["Remedy", "Wrong", "remedy_by", "remedy_keys"]

_KEY = re.compile(r"(?<![\w./])[a-z]+(?:_[a-z]+)*\.[a-z0-9]+(?:_[a-z0-9]+)*(?![\w/])")
_UP = r"raise|thicken|lengthen|widen|more|larger|higher|thicker|longer|wider|heavier|add|towards"
_DOWN = r"lower|shorten|fewer|smaller|less|thinner|tighten|tighter|closer|shorter|nearer"
_WAY = re.compile(
    rf"\b(?:(?P<up>{_UP})|(?P<down>{_DOWN})|set|change|choose|take|move|state)\b", re.IGNORECASE
)
_RISE: Final = (1.01, 1.02, 1.03, 1.05, 1.07, 1.1, 1.15, 1.2, 1.25, 1.3, 1.4, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0)
_STEPS: Final = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0)  # dB
_COUNTS: Final = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16)
_MOST_CHOICES: Final = 8
_GRAVITY: Final = {"ok": 0, "note": 1, "warn": 2, "stop": 3}
_BOUGHT: Final = {
    "tolerance": ("10 %", "5 %", "2 %", "1 %", "0.5 %", "0.25 %", "0.1 %"),
    "section": tuple(f"{1e6 * section:g} mm2" for section in VEHICLE_CABLE),
    "fuse": tuple(f"{amperes:g} A" for amperes in sorted({rating.rated_a for rating in FUSE_RATINGS})),
}
"""What can be bought, by the end of a key's name."""
_NUMBER = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(.*)")
_ADDED = frozenset({"level", "temperature difference", "temperature"})


@dataclass(frozen=True, kw_only=True, slots=True)
class Wrong:
    """What is to be settled: a check of a design, or that there is no design at all (``code`` "").

    Attributes
    ----------
    code, quantity, severity : the finding's own. It is settled where it is less grave, or gone.
    room : share of the limit that is to be left; None: as much as makes it less grave.
    """

    code: str = ""
    quantity: str = ""
    severity: str = "ok"
    room: float | None = None

    def _same(self, design: Design) -> list[Finding]:
        """The check's findings in a design, whichever part they name in brackets."""
        base = self.quantity.partition(" (")[0]
        return [f for f in design.findings if f.code == self.code and f.quantity.partition(" (")[0] == base]

    def margin(self, design: Design) -> float:
        """The least margin of the check in a design; infinite where it does not apply any more."""
        return min((found.margin for found in self._same(design)), default=float("inf"))

    def settled(self, design: Design) -> bool:
        """Whether a design leaves nothing to settle."""
        if self.room is not None:
            return self.margin(design) >= self.room
        grave = _GRAVITY[self.severity]
        return not self.code or all(_GRAVITY[found.severity] < grave for found in self._same(design))


@dataclass(frozen=True, kw_only=True, slots=True)
class Remedy:
    """What trying one input found.

    Attributes
    ----------
    key : dotted place in the build file.
    before, value : what counts now, and what to write instead ("" leaves the key out).
    cured : whether that settles it; else it is the best that was found.
    margin : the check's margin with it, a share of its limit; None where there was no design to check.
    solved : the design with it; None where nothing that was tried gave one.
    tried : how many values were tried.
    brought : checks at stop that it brings and that were not there before.
    """

    key: str
    before: str
    value: str
    cured: bool
    margin: float | None
    solved: Solved | None
    tried: int
    brought: tuple[str, ...] = ()


def remedy_keys(text: str) -> tuple[str, ...]:
    """The inputs that a remedy's text names, in its order.

    >>> remedy_keys("Raise supply.section and supply.fuse, or lower goal.power.")
    ('supply.section', 'supply.fuse', 'goal.power')
    """
    found = dict.fromkeys(match[0] for match in _KEY.finditer(text))
    return tuple(key for key in found if _entry(key) is not None)


def remedy_by(
    build: BuildFile,
    key: str,
    wrong: Wrong,
    text: str,
    *,
    solved: Solved | None = None,
    taken: str = "",
    parts: Sequence[str] = (),
) -> Remedy:
    """The least change of one input that settles a check.

    Parameters
    ----------
    build : the build file. key : the input, one of `remedy_keys`.
    wrong : what is to be settled. text : the remedy's text, which says in which direction.
    solved : the build's own design, where it has one.
    taken : what the design took where the file leaves the input open.
    parts : ids that could stand there, the best first, for an input that names a part.

    Raises
    ------
    SubwrightError
        The build file has no such input.
    """
    entry = _entry(key)
    if entry is None:
        raise SubwrightError(message=f"{key} is no input of the build file", quantity="key", value=repr(key))
    search = _Search(build=build, key=key, wrong=wrong, solved=solved)
    before = _given(build, entry) or (taken if taken and taken != "auto" else entry.default.strip('"'))
    for row in _rows(entry, before, text, parts):
        search.along(row)
    return search.told(before)


@dataclass(kw_only=True)
class _Search:
    """Values tried so far, and the best of them."""

    build: BuildFile
    key: str
    wrong: Wrong
    solved: Solved | None
    known: dict[str, tuple[bool, float, Solved | None]] = field(default_factory=dict)
    best: str | None = None

    def along(self, row: Sequence[str]) -> None:
        """Try values from the least change to the greatest: wide steps first, then back to the least."""
        if self.best is not None and self.known[self.best][0]:
            return
        last = -1
        for at in _strides(len(row)):
            if self.tries(row[at]):
                low, high = last, at
                while high - low > 1:  # the least that does, where more of it does as well
                    middle = (low + high) // 2
                    low, high = (low, middle) if self.tries(row[middle]) else (middle, high)
                self.best = row[high]
                return
            last = at

    def tries(self, value: str) -> bool:
        """Whether a value settles it."""
        if value not in self.known:
            self.known[value] = self._outcome(value)
            cured, margin, _ = self.known[value]
            if cured or self.best is None or margin > self.known[self.best][1]:
                self.best = value
        return self.known[value][0]

    def _outcome(self, value: str) -> tuple[bool, float, Solved | None]:
        try:
            source = self.build.source
            change = (
                project.set_value(source, self.key, value) if value else project.drop_value(source, self.key)
            )
            found = solve(project.parse_build(change.text, self.build.path))
        except SubwrightError:
            return False, float("-inf"), None
        return self.wrong.settled(found.design), self.wrong.margin(found.design), found

    def told(self, before: str) -> Remedy:
        cured, margin, solved = (False, float("-inf"), None) if self.best is None else self.known[self.best]
        old = set() if self.solved is None else _stops(self.solved.design)
        return Remedy(
            key=self.key,
            before=before,
            value=self.best or "",
            cured=cured,
            margin=margin if abs(margin) < float("inf") else None,
            solved=solved,
            tried=len(self.known),
            brought=() if solved is None else tuple(sorted(_stops(solved.design) - old)),
        )


def _stops(design: Design) -> set[str]:
    return {finding.code for finding in design.findings if finding.severity == "stop"}


def _strides(count: int) -> Iterator[int]:
    """Places to try: 0, 2, 5, 9, 14 … and the last."""
    at, step = 0, 2
    while at < count - 1:
        yield at
        at, step = at + step, step + 1
    if count:
        yield count - 1


def _entry(key: str) -> SpecEntry | None:
    return entry_at(BuildSpec, tuple(key.split(".")))


def _given(build: BuildFile, entry: SpecEntry) -> str:
    """What the file says at a key; "" where it says nothing, or leaves it to the programme."""
    value: object = build.source.data
    for step in entry.loc:
        value = value.get(step) if isinstance(value, dict) else None
    said = "" if value is None else str(value)
    return "" if said == "auto" else said.lower() if isinstance(value, bool) else said


def _rows(entry: SpecEntry, before: str, text: str, parts: Sequence[str]) -> Iterator[Sequence[str]]:
    """Rows of values worth trying, each from the least change to the greatest."""
    key = ".".join(str(step) for step in entry.loc)
    named = [value for value in _named(key, text) if value != before]
    for value in named:
        yield (value,)
    if parts:
        for part in parts:
            yield (part,)
        return
    if before in ("true", "false"):
        yield ("false" if before == "true" else "true",)
        return
    if entry.choices:
        rest = [one for one in entry.choices if one not in (before, "auto", *named)]
        if all(one.isdigit() for one in rest) and before.isdigit():
            yield from _steered(text, key, *_counted(int(before), sorted(map(int, rest))))
            return
        for one in rest[:_MOST_CHOICES]:
            yield (one,)
        return
    if before.isdigit():
        whole = int(before)
        reach = [whole + sign * step for step in _COUNTS for sign in (1, -1)]
        yield from _steered(text, key, *_counted(whole, sorted(value for value in reach if value > 0)))
        return
    if entry.rule is not None:
        yield from _steered(text, key, *_scaled(entry, before))
    if before and not entry.required and "auto" in text:
        yield ("",)


def _counted(now: int, values: Sequence[int]) -> tuple[list[str], list[str]]:
    return [str(v) for v in values if v > now], [str(v) for v in reversed(values) if v < now]


def _scaled(entry: SpecEntry, before: str) -> tuple[list[str], list[str]]:
    """Values above and below the present one, inside the bounds and as a person writes them."""
    rule = entry.rule
    assert rule is not None
    written = _NUMBER.fullmatch(before)
    try:
        now = parse(before, rule.dimension)
    except SubwrightError:
        return [], []
    bought = next((row for end, row in _BOUGHT.items() if entry.key.endswith(end)), None)
    if bought is not None:
        worth = {value: parse(value, rule.dimension) for value in bought}
        ordered = sorted(bought, key=worth.__getitem__)
        up = [value for value in ordered if worth[value] > now]
        down = [value for value in reversed(ordered) if worth[value] < now]
    elif written is None:
        return [], []
    elif rule.dimension in _ADDED:
        number, unit = float(written[1]), written[2]
        up, down = ([_said(number + sign * step, unit) for step in _STEPS] for sign in (1.0, -1.0))
    else:
        number, unit = float(written[1]), written[2]
        up = list(dict.fromkeys(_said(number * factor, unit) for factor in _RISE))
        down = list(dict.fromkeys(_said(number / factor, unit) for factor in _RISE))
    rows = []
    for row, edge in ((up, rule.high_text), (down, rule.low_text)):
        inside = [value for value in row if rule.low <= parse(value, rule.dimension) <= rule.high]
        rows.append([*inside, edge] if len(inside) < len(row) and edge != before else inside)
    return rows[0], rows[1]


def _said(number: float, unit: str) -> str:
    return f"{float(f'{number:.3g}'):g} {unit}".strip()


def _steered(text: str, key: str, up: list[str], down: list[str]) -> Iterator[Sequence[str]]:
    """The row in the direction that the remedy says; both where it says none."""
    way = _way(text, key)
    if way >= 0:
        yield up
    if way <= 0:
        yield down


def _way(text: str, key: str) -> int:
    """1 for more, -1 for less, 0 where a remedy does not say."""
    words = list(_WAY.finditer(text[: text.index(key)] if key in text else ""))
    if not words:
        return 0
    last = words[-1]
    return 1 if last["up"] else -1 if last["down"] else 0


def _named(key: str, text: str) -> list[str]:
    """Values that a remedy itself gives an input."""
    found = re.search(rf'{re.escape(key)} = ("[^"]+"(?: or "[^"]+")*|true|false|\d+)', text)
    return [] if found is None else [one.strip('"') for one in found[1].split(" or ")]
