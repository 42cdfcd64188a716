"""Why something was refused, in parts that a page can set apart and another language can take one by one."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from subwright.base.errors import FileProblem, InputError, SubwrightError

__all__ = ["error_json"]

_PARTS = re.compile(
    r"(?P<message>.+?)(?: \[(?P<facts>.+?)\])?(?: \(source: (?P<source>.+?)\))?(?: Remedy: (?P<remedy>.+))?",
    re.DOTALL,
)
_CHOICES = "one of "
_FACTS = re.compile(r"(?P<quantity>.+?) is (?P<value>.+?)(?:, limit (?P<limit>.+))?", re.DOTALL)


def error_json(error: SubwrightError, say: Callable[[str], str] = str) -> dict[str, Any]:
    """An error's fields for a page; ``say`` puts each in the reader's language where it can.

    A refused value of a build file carries its quantity, value, limit and remedy in one line, for a terminal;
    here they are fields again, and the quantity goes by its key where the language lacks its name.
    """
    problems = error.problems if isinstance(error, InputError) else ()
    if len(problems) == 1 and error.message.endswith(problems[0].message):
        fields = _fields(problems[0])
    else:
        names = ("message", "quantity", "value", "limit", "remedy")
        fields = {name: getattr(error, name) for name in names}
    told = {name: say(text) if text else "" for name, text in fields.items()}
    if fields["limit"].startswith(_CHOICES):  # the choices are the build file's own words
        told["limit"] = f"{say(_CHOICES.strip())} {fields['limit'].removeprefix(_CHOICES)}"
    shown = [told["message"] if len(problems) == 1 else say(p.message) for p in problems]
    rows = [{"line": p.line, "key": p.key, "message": said} for p, said in zip(problems, shown, strict=True)]
    return {**told, "problems": rows}


def _fields(problem: FileProblem) -> dict[str, str]:
    found = _PARTS.fullmatch(problem.message)
    parts = found.groupdict() if found else {"message": problem.message}
    facts = _FACTS.fullmatch(parts.get("facts") or "")
    stated = facts.groupdict() if facts else {}
    message, quantity = parts["message"] or "", stated.get("quantity") or ""
    if quantity and message.startswith(f"{quantity} "):
        message = f"{problem.key}{message.removeprefix(quantity)}"
    elif not facts and message[:1].islower() and not message.startswith(problem.key):
        message = f"{problem.key if '.' in problem.key else repr(problem.key)} {message}"
    return {
        "message": message,
        "quantity": "",  # the message names it, and the value stands in the field
        "value": "",
        "limit": stated.get("limit") or "",
        "remedy": parts.get("remedy") or "",
    }
