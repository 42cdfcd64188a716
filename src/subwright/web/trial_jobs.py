"""Long work in the background, simulations and boards: begun by one request, watched, cancelled by others."""

from __future__ import annotations

import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from subwright.base.errors import SubwrightError

__all__ = ["Trial", "Trials"]

_KEPT = 6
Found = TypeVar("Found")


@dataclass(kw_only=True, slots=True)
class Trial(Generic[Found]):
    """One run on one build; ``build`` is its name in the folder."""

    name: str
    build: str
    began_s: float
    cancel: threading.Event = field(default_factory=threading.Event)
    doing: str = ""
    share: float = 0.0
    found: Found | None = None
    error: SubwrightError | None = None
    over: bool = False
    took_s: float = 0.0

    def told(self, doing: str, share: float) -> None:
        """What is being simulated, and the share that is done."""
        self.doing, self.share = doing, share

    @property
    def seconds(self) -> float:
        """How long it has been running, or took."""
        return self.took_s if self.over else time.monotonic() - self.began_s


@dataclass(kw_only=True, slots=True)
class Trials(Generic[Found]):
    """The latest runs of one kind, ``what``; a build has one at a time."""

    what: str = "simulation"
    held: OrderedDict[str, Trial[Found]] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, build: str, run: Callable[[Trial[Found]], Found]) -> Trial[Found]:
        """Start a run, or return the one that this build has going."""
        with self.lock:
            for known in self.held.values():
                if known.build == build and not known.over:
                    return known
            trial: Trial[Found] = Trial(name=secrets.token_urlsafe(12), build=build, began_s=time.monotonic())
            self.held[trial.name] = trial
            while len(self.held) > _KEPT:
                oldest = next((name for name, one in self.held.items() if one.over), None)
                if oldest is None:
                    break
                del self.held[oldest]
        threading.Thread(target=_run, args=(trial, run), daemon=True).start()
        return trial

    def running(self, build: str) -> Trial[Found] | None:
        """The run that a build has going, or None."""
        with self.lock:
            return next((one for one in self.held.values() if one.build == build and not one.over), None)

    def of(self, name: str) -> Trial[Found]:
        """A run by name. Raises SubwrightError where it is unknown or forgotten."""
        with self.lock:
            trial = self.held.get(name)
        if trial is None:
            raise SubwrightError(message=f"there is no such {self.what} any more", remedy="run it again")
        return trial

    def stop_all(self) -> None:
        """End every run: the server closes."""
        with self.lock:
            for trial in self.held.values():
                trial.cancel.set()


def _run(trial: Trial[Found], run: Callable[[Trial[Found]], Found]) -> None:
    try:
        trial.found = run(trial)
    except SubwrightError as error:
        trial.error = error
    except Exception as error:  # whoever waits must be told, whatever went wrong
        trial.error = SubwrightError(
            message=f"sorry, that is a fault in subwright itself ({type(error).__name__})",
            remedy="report it with the build file",
        )
    trial.took_s = time.monotonic() - trial.began_s
    trial.over = True
