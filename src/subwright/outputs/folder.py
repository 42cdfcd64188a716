"""Writes a folder of files all at once: beside the target first, then swapped in, never half done."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

from subwright.base.errors import SubwrightError

__all__ = ["CHECKSUMS", "check_folder", "checksums", "replace_folder"]

CHECKSUMS = "checksums.txt"  # lists the pack's own files, so that nobody else's are ever removed


def _refuse(message: str, folder: Path, remedy: str) -> SubwrightError:
    return SubwrightError(message=message, quantity="folder", value=str(folder), remedy=remedy)


def checksums(files: Mapping[str, bytes]) -> bytes:
    """SHA-256 of each file, in the lines that sha256sum writes and checks."""
    lines = [f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(files.items())]
    return "".join(lines).encode()


def _foreign(folder: Path) -> list[str]:
    """Files in an existing folder that no earlier pack put there."""
    listed: set[str] = {CHECKSUMS}
    listing = folder / CHECKSUMS
    if listing.is_file():
        for row in listing.read_text(encoding="utf-8", errors="replace").splitlines():
            listed.add(row.partition("  ")[2])
    found = (
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_symlink() or not path.is_dir()
    )
    return sorted(name for name in found if name not in listed)


def _write(files: Mapping[str, bytes], folder: Path) -> None:
    for name, data in files.items():
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts:
            raise _refuse(f"{name!r} would leave the folder", folder, "this is a fault of the programme")
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)


def replace_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make ``folder`` hold exactly these files and their checksums.

    Parameters
    ----------
    folder : where; its parent must exist. An earlier pack there is replaced.
    files : relative path with forward slashes, and content.

    Raises
    ------
    SubwrightError : the folder holds files that aren't from an earlier pack, or can't be written. In both
        cases it is left as it was.
    """
    folder = check_folder(folder)
    try:
        _swap(folder, {**files, CHECKSUMS: checksums(files)})
    except OSError as error:
        raise _refuse(
            f"the pack can't be written: {error.strerror or error}", folder, "check its rights and free space"
        ) from error


def check_folder(folder: Path) -> Path:
    """The folder's absolute path, after a look whether a pack may go there: before any work on one.

    Raises
    ------
    SubwrightError : it is a file, holds files that aren't from an earlier pack, or its parent is missing.
    """
    folder = folder.resolve()
    if folder.exists() and not folder.is_dir():
        raise _refuse("there is a file where the folder should go", folder, "choose another folder")
    if not folder.parent.is_dir():
        raise _refuse("the folder above doesn't exist", folder, f"make {folder.parent} first")
    if folder.is_dir():
        foreign = _foreign(folder)
        if foreign:
            named = ", ".join(foreign[:3]) + (" \u2026" if len(foreign) > 3 else "")
            raise _refuse(
                f"the folder holds files that no pack wrote ({named})", folder, "choose an empty folder"
            )
    return folder


def _swap(folder: Path, files: Mapping[str, bytes]) -> None:
    scratch = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        fresh, former = scratch / "fresh", scratch / "former"
        fresh.mkdir()
        _write(files, fresh)
        existed = folder.exists()
        if existed:
            os.rename(folder, former)
        try:
            os.rename(fresh, folder)
        except OSError:
            if existed:
                os.rename(former, folder)
            raise
    finally:
        shutil.rmtree(scratch, ignore_errors=True)
