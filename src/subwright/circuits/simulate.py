"""Running a netlist through a simulator, and refusing every answer that can't be trusted.

Two engines read the same text: ``Ngspice``, the reference, as a process of its own, and ``Embedded``, a
Python package that needs no installation, in a worker process. Whatever one of them says passes the same
checks here: every element loaded, every quantity there, all of it finite, over the whole span asked for.
"""

from __future__ import annotations

import re
import subprocess
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.circuits.analysis import Analysis, Current, Probe, Transient, Voltage
from subwright.circuits.netlist import Circuit
from subwright.circuits.spice_text import Deck, deck

__all__ = [
    "DEFAULT_TIMEOUT_S",
    "Array",
    "CancelledError",
    "Complex",
    "Engine",
    "Traces",
    "check_own_text",
    "check_talk",
    "checked",
    "never",
    "run_process",
    "simulate",
]

Array: TypeAlias = NDArray[np.float64]
Complex: TypeAlias = NDArray[np.complex128]

DEFAULT_TIMEOUT_S: Final = 60.0
_GLANCE_S: Final = 0.05  # how often a running simulator's owner is asked whether to go on
_OWN_COMMANDS: Final = frozenset(
    {".subckt", ".ends", ".model", ".options", ".save", ".tran", ".ac", ".end"}
)  # fmt: skip
_BAD_TALK: Final = re.compile(
    r"error|singular|skipp|warning|unrecogni[sz]ed|unknown|unable|undefined|abort|too small|not found"
    r"|no such|can'?t |fail|ignored|disconnected|floating",
    re.IGNORECASE,
)
_HARMLESS_TALK: Final = re.compile(
    r"gmin step|source step|true gmin|No compatibility mode|trying|Doing analysis", re.IGNORECASE
)  # an operating point found by a detour is an operating point
_SPAN_SLACK: Final = 1e-6


@dataclass(kw_only=True, eq=False)
class CancelledError(SubwrightError):
    """Whoever asked for a simulation doesn't want it any more."""


def never() -> bool:
    """Answer of somebody who never cancels."""
    return False


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Traces:
    """What a simulator answered, checked.

    Attributes
    ----------
    engine : who answered. axis : time in s or frequency in Hz, ascending.
    values : by probe, V or A, of the axis's shape; complex for an AC analysis.
    """

    engine: str
    axis: Array
    values: Mapping[Probe, Array | Complex]

    def voltage(self, net: str) -> Array:
        """Voltage of a net over time, V."""
        return self._real(Voltage(net))

    def current(self, designator: str) -> Array:
        """Current of a source, inductor or winding over time, A."""
        return self._real(Current(designator))

    def phasor(self, probe: Probe) -> Complex:
        """Complex amplitude over frequency, V or A."""
        return np.asarray(self.values[probe], dtype=np.complex128)

    def _real(self, probe: Probe) -> Array:
        values = self.values[probe]
        if np.iscomplexobj(values):
            raise SubwrightError(message=f"{probe} is a phasor, not a course over time.")
        return np.asarray(values, dtype=np.float64)


class Engine(Protocol):
    """A simulator that reads plain SPICE text."""

    @property
    def name(self) -> str:
        """What to call it."""

    def missing(self) -> str:
        """Why it can't run here; "" where it can."""

    def run(self, what: Deck, timeout_s: float) -> Traces:
        """Simulate one deck.

        Raises
        ------
        SubwrightError : the engine is missing, failed, ran too long, or answered something incomplete.
        """


def simulate(
    circuit: Circuit,
    analysis: Analysis,
    probes: Iterable[Probe],
    engine: Engine,
    *,
    timeout_s: float = DEFAULT_TIMEOUT_S,
) -> Traces:
    """Simulate a circuit.

    Parameters
    ----------
    circuit : the netlist. analysis : transient or AC. probes : what to keep.
    engine : who simulates. timeout_s : patience, s.

    Returns
    -------
    Traces, checked.

    Raises
    ------
    SubwrightError : no answer, or none that can be trusted.
    """
    why = engine.missing()
    if why:
        raise SubwrightError(
            message=f"The simulator {engine.name} can't run: {why}.",
            quantity="circuit simulator",
            value=engine.name,
            remedy="Install it, or leave the simulation out; the design itself doesn't need it.",
        )
    return engine.run(deck(circuit, analysis, probes), timeout_s)


def check_own_text(what: Deck, engine: str) -> None:
    """Refuse a text that holds a command which this package never writes; a simulator would obey it."""
    for number, line in enumerate(what.text.splitlines(), 1):
        command = line.split(maxsplit=1)[0].lower() if line.strip() else ""
        if (command.startswith(".") and command not in _OWN_COMMANDS) or not line.isascii() or "`" in line:
            raise _refused(what, engine, f"line {number} is not one that subwright writes: {line.strip()!r}")


def run_process(
    arguments: Sequence[str],
    folder: Path,
    environment: Mapping[str, str],
    what: Deck,
    engine: str,
    timeout_s: float,
    cancel: Callable[[], bool] = never,
) -> tuple[int, str]:
    """Exit code and everything said, of a simulator's process that is ended when it takes too long.

    Parameters
    ----------
    arguments : program and its arguments. folder : where it works. environment : all that it gets.
    what : the deck, for messages. engine : its name. timeout_s : patience, s.
    cancel : asked twenty times a second while it runs; true ends the process.

    Raises
    ------
    CancelledError : ``cancel`` said so.
    SubwrightError : it could not be started, or ran out of time.
    """
    try:
        process = subprocess.Popen(
            list(arguments),
            cwd=folder,
            env=dict(environment),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
    except OSError as error:
        raise _refused(what, engine, f"it could not be started ({error.strerror})") from None
    with process:
        try:
            said, complained = _watched(process, what, engine, timeout_s, cancel)
        except BaseException:
            process.kill()
            raise
    return process.returncode, (said + b"\n" + complained).decode("utf-8", errors="replace")


def _watched(
    process: subprocess.Popen[bytes], what: Deck, engine: str, timeout_s: float, cancel: Callable[[], bool]
) -> tuple[bytes, bytes]:
    """What a process says until it ends by itself."""
    until = time.monotonic() + timeout_s
    while True:
        if cancel():
            raise CancelledError(message=f"The simulation of {what.title} was cancelled.")
        try:
            return process.communicate(timeout=min(_GLANCE_S, max(until - time.monotonic(), 0.0)))
        except subprocess.TimeoutExpired:
            if time.monotonic() >= until:
                raise SubwrightError(
                    message=f"{engine} did not finish the simulation of {what.title}.",
                    quantity="time",
                    value=f"more than {timeout_s:g} s",
                    limit=f"{timeout_s:g} s",
                    remedy="Give it more time, or an idle machine; if it stays, report the design.",
                ) from None


def check_talk(talk: str, what: Deck, engine: str) -> None:
    """Refuse a run whose log complains: simulators go on after skipping what they can't read."""
    for line in talk.splitlines():
        if _BAD_TALK.search(line) and not _HARMLESS_TALK.search(line):
            raise _refused(what, engine, f"it said: {line.strip()[:200]}")


def checked(what: Deck, engine: str, axis: Array, columns: Mapping[str, Array | Complex]) -> Traces:
    """Traces from named columns, once all of them are there, finite and over the whole span.

    Parameters
    ----------
    what : the deck. engine : who answered. axis : time or frequency.
    columns : by lower-case signal name.

    Raises
    ------
    SubwrightError : something is missing, not finite, or cut short.
    """
    absent = [name for name in what.signals if name not in columns]
    if absent:
        raise _refused(what, engine, f"it returned no {', '.join(absent)}")
    if axis.ndim != 1 or axis.size < 2:
        raise _refused(what, engine, f"it returned {axis.size} points")
    step = np.diff(axis)
    if not np.all(np.isfinite(axis)) or np.any(step < 0):
        raise _refused(what, engine, "its axis does not ascend")
    first, last = _span(what.analysis)
    if axis[0] > first + _SPAN_SLACK * last + _longest(what.analysis) or axis[-1] < last * (1 - _SPAN_SLACK):
        raise _refused(what, engine, f"it covered {axis[0]:g} to {axis[-1]:g} of {first:g} to {last:g}")
    for name in what.signals:
        values = columns[name]
        if values.shape != axis.shape or not np.all(np.isfinite(values)):
            raise _refused(what, engine, f"{name} is not a finite number everywhere")
    pairs = zip(what.probes, what.signals, strict=True)
    return Traces(
        engine=engine,
        axis=axis,
        values=MappingProxyType({probe: columns[name] for probe, name in pairs}),
    )


def _span(analysis: Analysis) -> tuple[float, float]:
    if isinstance(analysis, Transient):
        return analysis.keep_from_s, analysis.stop_s
    # The last decade step may stop short of the upper end by less than one step.
    return analysis.low_hz, analysis.high_hz / 10.0 ** (1.0 / analysis.per_decade)


def _longest(analysis: Analysis) -> float:
    return analysis.step_s if isinstance(analysis, Transient) else 0.0


def _refused(what: Deck, engine: str, why: str) -> SubwrightError:
    return SubwrightError(
        message=f"{engine} gave no answer to trust for {what.title}: {why}.",
        remedy="This is an error in subwright or in the simulator, not in the build; please report it.",
    )
