"""Files as one ZIP archive, with the same bytes for the same files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

__all__ = ["zipped"]

_EPOCH = (1980, 1, 1, 0, 0, 0)  # the format's earliest date: an archive that repeats knows no time


def zipped(files: Mapping[str, bytes]) -> bytes:
    """An archive of the files by relative path."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            info = zipfile.ZipInfo(name, _EPOCH)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            archive.writestr(info, files[name])
    return buffer.getvalue()
