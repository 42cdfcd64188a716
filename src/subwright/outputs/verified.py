"""The results of simulated experiments as a file beside the build: one JSON object, replaced as a whole.

Results are kept by the code of the exact design and the version that made it, so those of another version are
known for what they are. A new result takes the place of the same case's older one on the same design and
engine; a case that fails, or a run that is broken off, takes nothing away.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from subwright import __version__
from subwright.base.errors import SubwrightError
from subwright.base.saving import locked, save_atomically
from subwright.build.experiments.record import Check
from subwright.outputs.kept_json import KeptFormat

__all__ = ["Saved", "SavedDesign", "read_verified", "results_of", "save_verified", "verified_path"]

_FILE: Final = KeptFormat(what="simulation results", again="verify the build again", version=1)
_KEPT: Final = 20  # designs; the one longest without a new result goes first


@dataclass(frozen=True, kw_only=True, slots=True)
class Saved:
    """One case of an experiment as it came out on one engine.

    Attributes
    ----------
    experiment, block, case, engine : which. seconds : it took. at : when, ISO 8601, or "".
    checks : what was compared.
    """

    experiment: str
    block: str
    case: str
    engine: str
    seconds: float
    at: str
    checks: tuple[Check, ...]

    @property
    def key(self) -> tuple[str, str, str]:
        """What a newer result of the same must share to take its place."""
        return self.experiment, self.case, self.engine


@dataclass(frozen=True, kw_only=True, slots=True)
class SavedDesign:
    """Results on one exact design. ``code`` is the design's, ``made_with`` the version's."""

    code: str
    made_with: str
    results: tuple[Saved, ...]


def verified_path(build: Path) -> Path:
    """The results that belong to a build file: ``van.build.toml`` → ``van.verified.json``."""
    return build.with_name(build.name.removesuffix(".toml").removesuffix(".build") + ".verified.json")


def results_of(designs: Sequence[SavedDesign], code: str) -> tuple[Saved, ...]:
    """Results on the design of this code by this version; () where there is none."""
    for design in designs:
        if (design.code, design.made_with) == (code, __version__):
            return design.results
    return ()


def save_verified(path: Path, code: str, results: Sequence[Saved]) -> None:
    """Put results on a design into the file; all that it holds of others stays.

    Parameters
    ----------
    path : the file. code : the design's. results : new ones; () changes nothing.

    Raises
    ------
    InputError : the file can't be written, or what is there holds no results; it is left as it was.
    """
    if not results:
        return
    with locked(path.parent):
        designs = list(read_verified(path))
        before = results_of(designs, code)
        fresh = {result.key: result for result in results}
        merged = [fresh.pop(result.key, result) for result in before]
        kept = [one for one in designs if (one.code, one.made_with) != (code, __version__)]
        made = SavedDesign(code=code, made_with=__version__, results=(*merged, *fresh.values()))
        body = {"format": _FILE.version, "designs": [_plain(one) for one in [*kept, made][-_KEPT:]]}
        save_atomically(path, json.dumps(body, indent=1, ensure_ascii=False, allow_nan=False) + "\n")


def _plain(design: SavedDesign) -> dict[str, Any]:
    return {
        "code": design.code,
        "made_with": design.made_with,
        "results": [
            {
                "experiment": one.experiment,
                "block": one.block,
                "case": one.case,
                "engine": one.engine,
                "seconds": round(one.seconds, 3),
                "at": one.at,
                "checks": [
                    {name: getattr(check, name) for name in Check.__dataclass_fields__}
                    for check in one.checks
                ],
            }
            for one in design.results
        ],
    }


def read_verified(path: Path) -> tuple[SavedDesign, ...]:
    """Results by design, the latest last; () where there is no file yet.

    Raises
    ------
    InputError : the file can't be read, or holds something else.
    """
    body = _FILE.read(path)
    if body is None:
        return ()
    try:
        return tuple(_design(one) for one in body["designs"])
    except (KeyError, TypeError, ValueError, SubwrightError):
        raise _FILE.unusable(path, "lacks a field of a result, or a value can't be one") from None


def _design(body: dict[str, Any]) -> SavedDesign:
    return SavedDesign(
        code=_word(body["code"]),
        made_with=_word(body["made_with"]),
        results=tuple(_result(one) for one in body["results"]),
    )


def _result(body: dict[str, Any]) -> Saved:
    return Saved(
        experiment=_word(body["experiment"]),
        block=_word(body["block"]),
        case=_word(body["case"]),
        engine=_word(body["engine"]),
        seconds=_figure(body["seconds"]),
        at=_word(body["at"]),
        checks=tuple(
            Check(
                quantity=_word(one["quantity"]),
                closed=_figure(one["closed"]),
                simulated=_figure(one["simulated"]),
                unit=_word(one["unit"]),
                limit=_figure(one["limit"]),
                absolute=one["absolute"] is True,
            )
            for one in body["checks"]
        ),
    )


def _word(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _figure(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise TypeError
    return float(value)
