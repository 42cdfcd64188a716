"""``subwright set``: one key changed, and what that does to the design."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rich.console import Group, RenderableType
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import Answer
from subwright.cli.talk import clean

__all__ = ["set_key"]


def set_key(file: Path, key: str, value: str) -> Answer:
    """Change one key of the build file."""
    before = _figures(file)
    change = service.set_value(file, key, value)
    after = _figures(file)
    moved = {name: (before.get(name, "–"), now) for name, now in after.items() if before.get(name) != now}

    def data() -> Mapping[str, object]:
        return {
            "file": str(file),
            "key": change.key,
            "before": change.before,
            "after": change.after,
            "moved": {name: {"before": old, "after": now} for name, (old, now) in moved.items()},
        }

    def text() -> RenderableType:
        lines = [Text(clean(f"{change.key}: {change.before or 'not set'} → {change.after}"), style="bold")]
        lines += [Text(clean(f"  {name}: {old} → {now}")) for name, (old, now) in moved.items() if before]
        return Group(*lines)

    notes = [str(problem) for problem in change.remaining]
    if not after and not notes:
        notes.append(f"The design can't be made with this; see: subwright design {file}")
    return Answer(command="set", data=data, text=text, notes=tuple(notes))


def _figures(file: Path) -> Mapping[str, str]:
    """The key figures of the design, or {} where it can't be made; `design` says why."""
    try:
        return dict(service.overview(service.solve(file).design).key_figures)
    except SubwrightError:
        return {}
