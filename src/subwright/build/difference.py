"""Two versions of a build side by side: parts, turns, panels, and what of the bench log stays valid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from subwright.base.units import show
from subwright.build.bench import Entry
from subwright.build.bringup_records import BringUp
from subwright.build.result import Design
from subwright.stages.common import Corner, Level, PartUse
from subwright.stages.enclosure_panels import Panel

__all__ = ["Change", "Difference", "KeptReading", "difference", "readings_kept"]

Act = Literal["re-wind", "exchange", "add", "take out", "re-cut", "cut", "leave out", "re-wire"]
Standing = Literal["valid", "valid, other window", "measure again", "no longer asked for"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """One thing to do to turn the first version into the second.

    Attributes
    ----------
    act : what the hand does. what : "secondary 11 → 12 turns". touches : ``stage/role`` that changed.
    """

    act: Act
    what: str
    touches: str

    @property
    def sentence(self) -> str:
        """ "re-wind: secondary 11 → 12 turns"."""
        return f"{self.act}: {self.what}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """What is to do, and the key figures that move: (name, before, after)."""

    changes: tuple[Change, ...]
    figures: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptReading:
    """An entry of the log under the new version, and why it stands so."""

    entry: Entry
    standing: Standing
    why: str


def difference(before: Design, after: Design) -> Difference:
    """What to do to a unit built to ``before`` so that it is one of ``after``."""
    changes = (*_windings(before, after), *_parts(before, after), *_panels(before, after))
    moved = [row for row in _figures(before, after) if row[1] != row[2]]
    return Difference(changes=changes, figures=tuple(moved))


def _windings(before: Design, after: Design) -> Iterator[Change]:
    old, new = before.transformer, after.transformer
    if old is None or new is None:
        return
    if old.core.id != new.core.id or old.stack != new.stack:
        was, is_ = f"{old.stack} × {old.core.id}", f"{new.stack} × {new.core.id}"
        yield Change(act="re-wind", what=f"core {was} → {is_}, both windings", touches="transformer")
    for name in ("primary", "secondary"):
        one, other = getattr(old, name), getattr(new, name)
        told = []
        if one.turns != other.turns:
            told.append(f"{one.turns} → {other.turns} turns")
        if (one.wire.id, one.strands) != (other.wire.id, other.strands):
            told.append(f"{one.strands} × {one.wire.id} → {other.strands} × {other.wire.id}")
        if told:
            yield Change(act="re-wind", what=f"{name} {', '.join(told)}", touches=f"transformer/{name}")


def _named(part: PartUse) -> str:
    words = part.value if part.value and part.letter in ("R", "C", "L") else part.part_id
    if part.unit != "pcs":
        return f"{part.quantity:.3g} {part.unit} {words}"
    return words if part.quantity == 1 else f"{part.quantity:g} × {words}"


def _uses(design: Design) -> Mapping[tuple[str, str], PartUse]:
    return {(stage, part.role): part for stage, part in design.part_uses()}


def _alike(one: PartUse, other: PartUse) -> bool:
    if one.unit != "pcs":  # lengths that differ by less than a centimetre aren't another part
        return one.part_id == other.part_id and abs(one.quantity - other.quantity) < 0.01
    return (one.part_id, one.value, round(one.quantity)) == (
        other.part_id,
        other.value,
        round(other.quantity),
    ) and not _regraded(one, other)


def _regraded(one: PartUse, other: PartUse) -> bool:
    """Whether a value stays and what stands beside it, kind, voltage or power, is another."""
    valued = one.letter in ("R", "C") and bool(one.value)
    return valued and one.value == other.value and one.description != other.description


def _parts(before: Design, after: Design) -> Iterator[Change]:
    old, new = _uses(before), _uses(after)
    for place in dict.fromkeys((*old, *new)):
        stage, role = place
        if stage == "transformer" and role != "transformer core":
            continue  # told by the windings
        if stage == "enclosure" and role == "panel sheet":
            continue  # told by the panels
        one, other = old.get(place), new.get(place)
        touches = f"{stage}/{role}"
        if one is None and other is not None:
            yield Change(act="add", what=f"{role}: {_named(other)}", touches=touches)
        elif other is None and one is not None:
            yield Change(act="take out", what=f"{role}: {_named(one)}", touches=touches)
        elif one is not None and other is not None and not _alike(one, other):
            act: Act = "re-wire" if one.unit == "m" else "exchange"
            was, becomes = _named(one), _named(other)
            if _regraded(one, other):
                was, becomes = f"{was}, {one.description}", f"{becomes}, {other.description}"
            yield Change(act=act, what=f"{role} {was} → {becomes}", touches=touches)


def _size(panel: Panel) -> str:
    sides = " × ".join(f"{1e3 * side:.0f}" for side in (panel.length_m, panel.width_m))
    return f"{panel.count} of {sides} mm, {1e3 * panel.thickness_m:.0f} thick"


def _holes(panel: Panel) -> str:
    return "; ".join(
        f"{hole.purpose} {1e3 * hole.width_m:.0f} × {1e3 * hole.height_m:.0f} at "
        f"{1e3 * hole.x_m:.0f}, {1e3 * hole.y_m:.0f}"
        for hole in panel.holes
    )


def _panels(before: Design, after: Design) -> Iterator[Change]:
    old = {panel.name: panel for panel in before.enclosure.panels}
    new = {panel.name: panel for panel in after.enclosure.panels}
    for name in dict.fromkeys((*old, *new)):
        one, other = old.get(name), new.get(name)
        touches = f"enclosure/{name}"
        if one is None and other is not None:
            yield Change(act="cut", what=f"{name}: {_size(other)}", touches=touches)
        elif other is None and one is not None:
            yield Change(act="leave out", what=f"{name}: {_size(one)}", touches=touches)
        elif one is not None and other is not None:
            if _size(one) != _size(other):
                yield Change(act="re-cut", what=f"{name} {_size(one)} → {_size(other)}", touches=touches)
            elif _holes(one) != _holes(other):
                what = f"{name}, holes {_holes(one) or 'none'} → {_holes(other) or 'none'}"
                yield Change(act="re-cut", what=what, touches=touches)


def _figures(before: Design, after: Design) -> Iterator[tuple[str, str, str]]:
    def both(name: str, dimension: str, one: float, other: float) -> tuple[str, str, str]:
        return name, show(one, dimension), show(other, dimension)

    for level, words in ((Level.FULL, "full sine"), (Level.PROGRAMME, "programme")):
        a, b = before.point(Corner.NOMINAL, level), after.point(Corner.NOMINAL, level)
        if level is Level.FULL:
            yield both("power at clipping", "power", a.output_w, b.output_w)
            yield both("rail at the crest", "voltage", a.rail_crest_v, b.rail_crest_v)
        yield both(f"battery, {words}", "current", a.battery_a, b.battery_a)
    for name, threshold in before.protection.thresholds.items():
        other = after.protection.thresholds.get(name)
        if other is not None:
            dimension = "voltage" if threshold.unit == "V" else "temperature"
            yield both(name, dimension, threshold.nominal, other.nominal)
    yield both("net volume", "volume", before.enclosure.net_volume_m3, after.enclosure.net_volume_m3)
    yield both("low-pass corner", "frequency", before.filter.corner_hz, after.filter.corner_hz)
    worst = tuple(
        str(sum(finding.severity == severity for finding in design.findings))
        for severity in ("stop",)
        for design in (before, after)
    )
    yield ("findings at stop", worst[0], worst[1])


def readings_kept(
    entries: Sequence[Entry], found: Difference, before: BringUp, after: BringUp
) -> tuple[KeptReading, ...]:
    """What becomes of each entry when a unit is changed to the new version.

    A reading stays valid when nothing that it rests on was touched; its window may be another one.
    """
    rows = []
    for entry in entries:
        old, new = before.reading(entry.key), after.reading(entry.key)
        if new is None or old is None:
            rows.append(
                KeptReading(entry=entry, standing="no longer asked for", why="not in the new procedure")
            )
            continue
        touched = next(
            (c for c in found.changes for rest in new.rests_on if c.touches.startswith(rest)), None
        )
        if touched is not None:
            rows.append(KeptReading(entry=entry, standing="measure again", why=touched.sentence))
        elif (old.low, old.high) != (new.low, new.high):
            window = f"{show(new.low, new.dimension, 4)} or more"
            if new.high is not None:
                window = f"{show(new.low, new.dimension, 4)} to {show(new.high, new.dimension, 4)}"
            rows.append(KeptReading(entry=entry, standing="valid, other window", why=f"now {window}"))
        else:
            rows.append(KeptReading(entry=entry, standing="valid", why="nothing it rests on was touched"))
    return tuple(rows)
