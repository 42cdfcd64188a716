"""``subwright schematic``: circuit diagrams, netlist and SPICE text of a build."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import Answer
from subwright.cli.talk import clean, progress
from subwright.outputs.folder import replace_folder

__all__ = ["draw"]


def draw(file: Path, folder: Path | None, resistors: str) -> Answer:
    """Write the sheets and netlists of a build's circuits."""
    if resistors not in ("iec", "us"):
        raise SubwrightError(
            message="Resistors are drawn as a box or as a zigzag.",
            quantity="--resistors",
            value=resistors,
            limit="iec, us",
        )
    with progress("designing") as report:
        solved = service.solve(file, report)
        files, missing = service.schematic_files(solved, "us" if resistors == "us" else "iec")
    name = file.name.removesuffix(".toml").removesuffix(".build") + ".schematics"
    target = folder or file.with_name(name)
    replace_folder(target, {name: text.encode() for name, text in files.items()})
    said = f"{len(files)} files in {target}:\n" + "\n".join(f"  {name}" for name in sorted(files))
    return Answer(
        command="schematic",
        data=lambda: {
            "folder": str(target),
            "files": sorted(files),
            "missing": [{"block": title, "reason": reason} for title, reason in missing],
        },
        text=lambda: Text(clean(said)),
        notes=tuple(f"No diagram of: {title}. {reason}" for title, reason in missing),
    )
