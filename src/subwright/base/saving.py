"""Files saved whole or not at all."""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from subwright.base.errors import FileProblem, InputError

__all__ = ["locked", "save_atomically"]


def save_atomically(path: Path, text: str) -> None:
    """Replace ``path`` by ``text`` so that a crash at any moment leaves the old or the new file, whole.

    Writes beside the target, flushes to the disk, renames, flushes the folder. Keeps the old file's
    permissions and, where the system lets us, its owner. A symbolic link keeps pointing; its target changes.

    Raises
    ------
    InputError
        The folder or file can't be written; the old file is untouched.
    """
    target = path.resolve()
    temporary: Path | None = None
    try:
        old = target.stat() if target.exists() else None
        if old is not None and not stat.S_ISREG(old.st_mode):
            raise _unsaved(path, "is not a regular file; choose another name")
        if old is not None and not os.access(target, os.W_OK):
            raise PermissionError(13, "Permission denied")
        temporary = target.with_name(f".{target.name}.{secrets.token_hex(4)}.new")
        _write_new(temporary, text.encode("utf-8"), old)
        os.replace(temporary, target)
        temporary = None
        _sync_folder(target.parent)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        message = f"can't be saved: {reason}; the old file is unchanged, check folder and permissions"
        raise _unsaved(path, message) from None
    finally:
        if temporary is not None:
            with suppress(OSError):
                temporary.unlink()


def _write_new(path: Path, content: bytes, old: os.stat_result | None) -> None:
    mode = 0o666 if old is None else stat.S_IMODE(old.st_mode)  # a new file's mode passes the umask
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(content)
        stream.flush()
        if old is not None:
            if (old.st_uid, old.st_gid) != (os.geteuid(), os.getegid()):
                with suppress(OSError):  # only the superuser may give files away; the content matters more
                    os.fchown(descriptor, old.st_uid, old.st_gid)
            os.fchmod(descriptor, mode)
        os.fsync(descriptor)


def _sync_folder(folder: Path) -> None:
    with suppress(OSError):  # some file systems refuse to sync a folder; the rename itself has happened
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _unsaved(path: Path, message: str) -> InputError:
    return InputError(
        message=message, problems=(FileProblem(file=path, line=1, key="file", message=message),)
    )


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other processes from saving in a folder while we read and write, where the system can."""
    try:
        import fcntl

        descriptor = os.open(folder, os.O_RDONLY)
    except (ImportError, OSError):
        yield
        return
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)
