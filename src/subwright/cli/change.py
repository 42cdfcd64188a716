"""``subwright set``: one key changed, and what that does to the design."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rich.console import Group, RenderableType
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import Answer
from subwright.cli.report import ACCENT
from subwright.cli.talk import clean
from subwright.outputs.views import Overview

__all__ = ["set_key"]


def set_key(file: Path, key: str, value: str) -> Answer:
    """Change one key of the build file."""
    before = _overview(file)
    change = service.set_value(file, key, value)
    after = _overview(file)
    moved, come, gone = _moved(before, after), _codes(after) - _codes(before), _codes(before) - _codes(after)
    comparable = before is not None and after is not None

    def data() -> Mapping[str, object]:
        return {
            "file": str(file),
            "key": change.key,
            "before": change.before,
            "after": change.after,
            "moved": {name: {"before": old, "after": now} for name, (old, now) in moved.items()},
            "findings_come": sorted(come) if comparable else [],
            "findings_gone": sorted(gone) if comparable else [],
        }

    def text() -> RenderableType:
        lines = [Text(clean(f"{change.key}: {change.before or 'not set'} → {change.after}"), style="bold")]
        if comparable:
            lines += [Text(clean(f"  {name}: {old} → {now}")) for name, (old, now) in moved.items()]
            lines += [Text(f"  now {finding}", style=ACCENT) for finding in sorted(come)]
            lines += [Text(f"  no more {finding}") for finding in sorted(gone)]
        return Group(*lines)

    notes = [str(problem) for problem in change.remaining]
    if after is None and not notes:
        notes.append(f"The design can't be made with this; see: subwright design {file}")
    return Answer(command="set", data=data, text=text, notes=tuple(notes))


def _overview(file: Path) -> Overview | None:
    """The design in brief, or None where it can't be made; `subwright design` says why."""
    try:
        return service.overview(service.solve(file).design)
    except SubwrightError:
        return None


def _moved(before: Overview | None, after: Overview | None) -> Mapping[str, tuple[str, str]]:
    if before is None or after is None:
        return {}
    old = dict(before.key_figures)
    return {name: (old.get(name, "–"), now) for name, now in after.key_figures if old.get(name) != now}


def _codes(overview: Overview | None) -> set[str]:
    """Findings worth a word here: ``warn SUP-08  A loud passage …``."""
    if overview is None:
        return set()
    grave = (row for row in overview.findings if row.severity in {"stop", "warn"})
    return {f"{row.severity} {row.code}  {row.title}" for row in grave}
