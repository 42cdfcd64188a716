"""Reading what is kept as JSON beside a build file: every way it can be unusable, with file and line."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from subwright.base.errors import FileProblem, InputError

__all__ = ["KeptFormat"]


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptFormat:
    """One kind of such files.

    Attributes
    ----------
    what : it holds, as a problem names it. again : what to do once a bad one is out of the way.
    version : of the format that is written and can be read.
    """

    what: str
    again: str
    version: int

    def read(self, path: Path) -> dict[str, Any] | None:
        """The object in a file, without the format's number; None where there is no file.

        Raises
        ------
        InputError : the file can't be read, or holds something else.
        """
        try:
            text = path.read_text(encoding="utf-8")
        except FileNotFoundError:
            return None
        except OSError as error:
            raise self.unusable(path, f"can't be read: {(error.strerror or str(error)).lower()}") from None
        except UnicodeDecodeError:
            raise self.unusable(path, "is no text") from None
        try:
            body = json.loads(text)
        except json.JSONDecodeError as error:
            raise self.unusable(path, f"is no JSON: {error.msg.lower()}", error.lineno) from None
        except RecursionError:
            raise self.unusable(path, "holds something else") from None
        if not isinstance(body, dict) or not isinstance(body.get("format"), int):
            raise self.unusable(path, "holds something else")
        if body.pop("format") != self.version:
            raise self.unusable(path, "was written by a later version; update this programme")
        return body

    def unusable(self, path: Path, message: str, line: int = 1) -> InputError:
        """What to raise for a file that holds something else."""
        advice = f"{message}; move it away and {self.again}"
        return InputError(
            message=message, problems=(FileProblem(file=path, line=line, key=self.what, message=advice),)
        )
