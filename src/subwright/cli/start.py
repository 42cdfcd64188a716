"""``subwright new``: from options and answers to a commented build file."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.console import RenderableType
from rich.text import Text

from subwright import service
from subwright.base.errors import SubwrightError
from subwright.cli.answer import Answer
from subwright.cli.talk import ask

__all__ = ["new"]


def new(file: Path, options: Mapping[str, str], others: Sequence[str], *, replace: bool) -> Answer:
    """Write ``file``; ask on a terminal for what ``options`` leave open."""
    answers = {**options, **dict(_pair(text) for text in others)}
    if file.exists() and not replace:  # before the questions, not after them
        service.new_build(file, {}, replace=False)
    open_questions = [question for question in service.questions() if question.key not in answers]
    if sys.stdin.isatty() and sys.stderr.isatty():
        for question in open_questions:
            answers[question.key] = _ask(question)
    else:
        _need([question for question in open_questions if not question.default])
    build = service.new_build(file, answers, replace=replace)

    def text() -> RenderableType:
        return Text(str(file))

    notes = (f"Written. Next: subwright design {shlex.quote(str(file))}",)
    spec = build.spec
    return Answer(command="new", data=lambda: {"file": str(file), "name": spec.name}, text=text, notes=notes)


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.partition("=")
    if not equals or not key.strip():
        raise SubwrightError(
            message=f"--set {text!r} has no value", remedy='write --set KEY=VALUE, "supply.cable_length=5 m"'
        )
    return key.strip(), value.strip()


def _ask(question: service.Question) -> str:
    sys.stderr.write(f"\n{question.help}\n")
    if question.choices:
        sys.stderr.write(f"  {' | '.join(question.choices)}\n")
    return ask(question.text, question.default, lambda answer: service.check_answer(question, answer))


def _need(missing: Sequence[service.Question]) -> None:
    if missing:
        named = ", ".join(question.key for question in missing)
        raise SubwrightError(
            message=f"needed and not given: {named}",
            remedy="give them as options (see subwright new --help), or run it on a terminal to be asked",
        )
