"""The second engine: neospice, a Python package, in a worker process that may crash without harm."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.simulate import (
    Array,
    Complex,
    Traces,
    check_own_text,
    check_talk,
    checked,
    never,
    run_process,
)
from subwright.circuits.spice_text import Deck

__all__ = ["Embedded", "absent_devices", "work"]

_KEPT_VARIABLES: Final = ("PATH", "PYTHONPATH", "VIRTUAL_ENV", "OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE")


@dataclass(frozen=True, kw_only=True, slots=True)
class Embedded:
    """neospice in a worker process; ``cancel`` may end a running simulation."""

    cancel: Callable[[], bool] = never

    @property
    def name(self) -> str:
        """What to call it."""
        return "neospice"

    def missing(self) -> str:
        """Why it can't run here; "" where it can."""
        found = importlib.util.find_spec("neospice")
        if found:
            return ""
        return "the Python package 'neospice' is not installed (pip install 'subwright[simulate]')"

    def run(self, what: Deck, timeout_s: float) -> Traces:
        """Simulate one deck; see ``Engine``."""
        check_own_text(what, self.name)
        with tempfile.TemporaryDirectory(prefix="subwright-") as name:
            folder = Path(name)
            order = {"text": what.text, "signals": what.signals}
            (folder / "order.json").write_text(json.dumps(order), encoding="utf-8")
            kept = {key: os.environ[key] for key in _KEPT_VARIABLES if key in os.environ}
            script = "import sys; from subwright.circuits.embedded import work; work(sys.argv[1])"
            code, talk = run_process(
                (sys.executable, "-c", script, name),
                folder,
                kept | {"HOME": name, "LC_ALL": "C.UTF-8", "OMP_NUM_THREADS": "1"},
                what,
                self.name,
                timeout_s,
                self.cancel,
            )
            check_talk(talk, what, self.name)
            answer = folder / "answer.npz"
            if code != 0 or not answer.is_file():
                raise SubwrightError(
                    message=f"neospice failed on {what.title}.",
                    quantity="exit code",
                    value=str(code),
                    limit="0, and a result file",
                    remedy="Use ngspice for this one; please report it.",
                )
            with np.load(answer, allow_pickle=False) as found:
                axis: Array = found["axis"]
                loaded = [str(device) for device in found["devices"]]
                columns: dict[str, Array | Complex] = {
                    signal: found[f"signal {k}"] for k, signal in enumerate(what.signals)
                }
        absent = absent_devices(what.devices, loaded)
        if absent:
            raise SubwrightError(
                message=f"neospice left elements of {what.title} out: {', '.join(absent)}.",
                remedy="Use ngspice for this one; please report it.",
            )
        return checked(what, self.name, axis, columns)


def absent_devices(wanted: tuple[str, ...], loaded: list[str]) -> tuple[str, ...]:
    """Elements of a text that a simulator did not load; a sub-circuit counts by any element inside it.

    >>> absent_devices(("R1", "XU1", "XU2"), ["r1", "b1.xu1", "xu1.r2"])
    ('XU2',)
    """
    have = {part for name in loaded for part in (name.lower(), *name.lower().replace(":", ".").split("."))}
    return tuple(name for name in wanted if name.lower() not in have)


def work(name: str) -> None:
    """Read the order in a folder, simulate, and leave the answer there: what the worker process does.

    Parameters
    ----------
    name : the folder.
    """
    folder = Path(name)
    order = json.loads((folder / "order.json").read_text(encoding="utf-8"))
    simulator = importlib.import_module("neospice").Simulator()
    circuit = simulator.parse(order["text"])
    devices = np.array(circuit.device_names(), dtype=np.str_)
    result = simulator.run(circuit)
    found = result.transient if result.transient is not None else result.ac
    status = found.status
    if not status.converged or status.warnings:
        print(f"error: not converged, or warnings: {status.warnings}", file=sys.stderr)  # noqa: T201
        raise SystemExit(1)
    axis = found.time if result.transient is not None else found.frequency
    columns: dict[str, Any] = {
        f"signal {k}": np.asarray(getattr(found, "voltage" if signal[0] == "v" else "current")(signal[2:-1]))
        for k, signal in enumerate(order["signals"])
    }
    np.savez(folder / "answer.npz", axis=np.asarray(axis), devices=devices, **columns)
