"""The ``subwright`` command. `run` is the one place that prints results and sets the exit code."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

import typer

from subwright.base.errors import InputError, SubwrightError
from subwright.cli.answer import CLEAN, COULD_NOT_RUN, INTERRUPTED, JSON_VERSION, Answer, Session
from subwright.cli.commands import PROGRAM, app
from subwright.cli.talk import clean

if TYPE_CHECKING:
    from collections.abc import Mapping


__all__ = ["app", "main", "run"]


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit code; prints, never raises."""
    session = Session()
    if not arguments and sys.stdin is not None and sys.stdin.isatty():
        arguments = ["serve"]  # somebody who types the bare name wants to see something
    _settle_streams()
    try:
        outcome = app(args=list(arguments), prog_name=PROGRAM, standalone_mode=False, obj=session)
        if isinstance(outcome, Answer):
            _print_answer(outcome, session)
            code = outcome.code
        else:
            code = outcome if isinstance(outcome, int) else CLEAN
        sys.stdout.flush()
    except BrokenPipeError:
        _abandon_stdout()
        return CLEAN
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except typer.TyperException as error:
        return _refuse(session, error.format_message(), _usage_hint(error))
    except SubwrightError as error:
        return _refuse(session, str(error), problems=error)
    except OSError as error:
        return _refuse(session, f"{error.filename or 'output'}: {(error.strerror or str(error)).lower()}")
    except Exception as error:
        return _apologise(error)
    return code


def _print_answer(answer: Answer, session: Session) -> None:
    if session.as_json:
        _print_json({"format_version": JSON_VERSION, "command": answer.command, **answer.data()})
    else:
        from rich.console import Console

        terminal = sys.stdout.isatty()
        width = None if terminal or "COLUMNS" in os.environ else 100
        console = Console(highlight=False, markup=False, emoji=False, width=width)
        if terminal:
            console.print(answer.text())
        else:  # a file or another programme has no use for the blanks that fill the lines up
            with console.capture() as captured:
                console.print(answer.text())
            sys.stdout.writelines(f"{line.rstrip()}\n" for line in captured.get().splitlines())
    sys.stdout.flush()
    for note in answer.notes:
        sys.stderr.write(f"{clean(note)}\n")


def _print_json(body: Mapping[str, object]) -> None:
    from subwright.outputs.to_json import dumps

    sys.stdout.write(dumps(body))


def _refuse(session: Session, message: str, hint: str = "", problems: SubwrightError | None = None) -> int:
    located = problems.problems if isinstance(problems, InputError) else ()
    lead = "" if located else f"{PROGRAM}: "
    with suppress(OSError):
        sys.stderr.write(f"{lead}{clean(message)}\n{hint}")
        sys.stderr.flush()
    if session.as_json:
        error = {
            "message": message,
            "code": getattr(problems, "code", ""),
            "problems": [
                {"file": str(p.file), "line": p.line, "key": p.key, "message": p.message} for p in located
            ],
        }
        with suppress(OSError):
            _print_json({"format_version": JSON_VERSION, "error": error})
            sys.stdout.flush()
    return COULD_NOT_RUN


def _usage_hint(error: typer.TyperException) -> str:
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else PROGRAM
    return f"See: {path} --help\n"


def _apologise(error: Exception) -> int:
    if os.environ.get("SUBWRIGHT_DEBUG") == "1":
        import traceback

        traceback.print_exception(error)
    line = (
        f"{PROGRAM}: sorry, that is a fault in {PROGRAM} itself ({type(error).__name__}); please report it "
        f"with the build file and the output of the same command run with SUBWRIGHT_DEBUG=1"
    )
    with suppress(OSError):
        sys.stderr.write(f"{line}\n")
    return COULD_NOT_RUN


def _settle_streams() -> None:
    """Print Ω as ``?`` where a stream can't hold it, and nothing where it is closed, rather than fail."""
    if sys.stdout is None or sys.stderr is None:
        nowhere = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  (lives as long as the process)
        sys.stdout, sys.stderr = sys.stdout or nowhere, sys.stderr or nowhere
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")


def _abandon_stdout() -> None:
    """The reader of stdout has left; keep the interpreter from complaining about it on the way out."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> None:
    """Entry point of the ``subwright`` command."""
    # The matrices here are tiny: a second thread only costs. Set before numpy loads, unless somebody has.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if os.environ.get("SUBWRIGHT_DEBUG") != "1":
        import warnings

        warnings.simplefilter("ignore")  # meant for developers; a result that isn't finite is refused anyway
    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
