"""Complete a driver's parameter set from any sufficient subset, and find which stated number disagrees.

All relations but the combination of Qs are products of powers, so one unknown in a relation follows from the
others.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

from subwright.base.errors import NoSolutionError
from subwright.physics.acoustics.air import AIR_20C, Air

__all__ = ["NAMES", "Completion", "Disagreement", "complete", "relations_hold"]

# Most trustworthy first: what ohmmeter, sine generator and ruler give, then what is computed from it.
NAMES = (
    "re_ohm",
    "fs_hz",
    "sd_m2",
    "qes",
    "qms",
    "mms_kg",
    "bl_tm",
    "cms_m_per_n",
    "rms_kg_per_s",
    "vas_m3",
    "qts",
    "efficiency",
)
_TWO_PI = 2.0 * math.pi


@dataclass(frozen=True, kw_only=True, slots=True)
class Disagreement:
    """A stated value that the other stated values contradict."""

    quantity: str
    stated: float
    implied: float
    suspects: tuple[str, ...]  # stated quantities whose removal alone makes the rest agree

    @property
    def relative_difference(self) -> float:
        """(stated − implied)/implied, dimensionless."""
        return self.stated / self.implied - 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Completion:
    """A full parameter set, the stated values it was built on, and what contradicts it."""

    values: Mapping[str, float]
    basis: tuple[str, ...]
    disagreements: tuple[Disagreement, ...]


@dataclass(frozen=True, slots=True)
class _Relation:
    """constant · Π value^power = 1, or 1/Qts = 1/Qms + 1/Qes when ``powers`` is empty."""

    powers: Mapping[str, float]
    constant: float = 1.0

    def solve(self, known: Mapping[str, float]) -> tuple[str, float] | None:
        missing = [name for name in self.powers if name not in known]
        if len(missing) != 1:
            return None
        total = math.log(self.constant)
        for name, power in self.powers.items():
            if name in known:
                total += power * math.log(known[name])
        return missing[0], math.exp(-total / self.powers[missing[0]])


def _relations(air: Air) -> tuple[_Relation, ...]:
    resonance = {"fs_hz": 2.0, "mms_kg": 1.0, "cms_m_per_n": 1.0}
    return (
        _Relation(resonance, _TWO_PI**2),
        _Relation({"vas_m3": -1.0, "sd_m2": 2.0, "cms_m_per_n": 1.0}, air.stiffness_pa),
        _Relation({"qms": -1.0, "fs_hz": 1.0, "mms_kg": 1.0, "rms_kg_per_s": -1.0}, _TWO_PI),
        _Relation({"qms": -1.0, "mms_kg": 0.5, "cms_m_per_n": -0.5, "rms_kg_per_s": -1.0}),
        _Relation({"qes": -1.0, "fs_hz": 1.0, "mms_kg": 1.0, "re_ohm": 1.0, "bl_tm": -2.0}, _TWO_PI),
        _Relation({"qes": -1.0, "mms_kg": 0.5, "cms_m_per_n": -0.5, "re_ohm": 1.0, "bl_tm": -2.0}),
        _Relation({"qes": 1.0, "qms": -1.0, "re_ohm": -1.0, "rms_kg_per_s": -1.0, "bl_tm": 2.0}),
        _Relation(
            {"efficiency": -1.0, "fs_hz": 3.0, "vas_m3": 1.0, "qes": -1.0},
            4.0 * math.pi**2 / air.speed_m_per_s**3,
        ),
        _Relation(
            {"efficiency": -1.0, "bl_tm": 2.0, "sd_m2": 2.0, "re_ohm": -1.0, "mms_kg": -2.0},
            air.density_kg_per_m3 / (_TWO_PI * air.speed_m_per_s),
        ),
    )


def _solve_q(known: Mapping[str, float]) -> tuple[str, float] | None:
    inverse = {name: 1.0 / known[name] for name in ("qts", "qms", "qes") if name in known}
    if len(inverse) != 2:
        return None
    if "qts" not in inverse:
        return "qts", 1.0 / (inverse["qms"] + inverse["qes"])
    other, missing = ("qms", "qes") if "qms" in inverse else ("qes", "qms")
    rest = inverse["qts"] - inverse[other]
    return (missing, 1.0 / rest) if rest > 1e-9 * inverse["qts"] else None


def _solve_total_q(known: Mapping[str, float]) -> tuple[str, float] | None:
    """Qts = ωs·Mms/(Rms + Bl²/Re), used when only the damping elements and Qts are known."""
    if not {"qts", "rms_kg_per_s", "bl_tm", "re_ohm"} <= known.keys() or "mms_kg" in known:
        return None
    impedance = known["qts"] * (known["rms_kg_per_s"] + known["bl_tm"] ** 2 / known["re_ohm"])
    if "fs_hz" in known:
        return "mms_kg", impedance / (_TWO_PI * known["fs_hz"])
    if "cms_m_per_n" in known:
        return "mms_kg", impedance**2 * known["cms_m_per_n"]
    return None


_Solver = Callable[[Mapping[str, float]], tuple[str, float] | None]


def _solvers(air: Air) -> tuple[_Solver, ...]:
    return (*(relation.solve for relation in _relations(air)), _solve_q, _solve_total_q)


def _closure(stated: Mapping[str, float], solvers: Iterable[_Solver]) -> dict[str, float]:
    """Everything that follows from ``stated``."""
    known = dict(stated)
    solvers = tuple(solvers)
    progress = True
    while progress:
        progress = False
        for solve in solvers:
            found = solve(known)
            if found is not None:
                known[found[0]] = found[1]
                progress = True
    return known


def _basis(
    stated: Mapping[str, float], order: Iterable[str], solvers: tuple[_Solver, ...]
) -> tuple[dict[str, float], dict[str, float]]:
    """Greedy: accept a stated value only if what was accepted before doesn't already imply it."""
    accepted: dict[str, float] = {}
    closure: dict[str, float] = {}
    for name in order:
        if name in stated and name not in closure:
            accepted[name] = stated[name]
            closure = _closure(accepted, solvers)
    return accepted, closure


def _conflicts(
    stated: Mapping[str, float], closure: Mapping[str, float], tolerance: float
) -> list[tuple[str, float, float]]:
    return [
        (name, value, closure[name])
        for name, value in stated.items()
        if abs(value / closure[name] - 1.0) > tolerance
    ]


def complete(
    stated: Mapping[str, float],
    *,
    trusted: Collection[str] = (),
    tolerance: float = 0.03,
    air: Air = AIR_20C,
) -> Completion:
    """Complete a parameter set and report contradictions.

    A set is built on the fewest stated values, most directly measurable first. If dropping one single stated
    value makes all others agree within ``tolerance``, that value is left out of the basis. Otherwise every
    stated value whose removal would settle the matter is named as a suspect.

    Parameters
    ----------
    stated : values by the names in ``NAMES``, SI, each > 0 and finite.
    trusted : stated names that come before all others and are never left out, for values measured on the
        very driver.
    tolerance : relative difference above which two values disagree; 3 % covers data-sheet rounding and the
        spread in the constants of air.
    air : state of the air.

    Returns
    -------
    Completion : all of ``NAMES``, the basis, and the disagreements.

    Raises
    ------
    NoSolutionError : when the values don't suffice, or contradict each other so that none can be completed.

    Source
    ------
    relations of [small-1972-direct]; the order of trust is [common-practice].
    """
    _check(stated)
    solvers = _solvers(air)
    order = sorted(NAMES, key=lambda name: name not in trusted)  # stable: NAMES' order within each group
    basis, closure = _basis(stated, order, solvers)
    missing = [name for name in NAMES if name not in closure]
    if missing:
        raise NoSolutionError(
            message="The driver's parameters don't suffice: " + ", ".join(missing) + " can't be derived.",
            quantity="stated parameters",
            value=", ".join(name for name in NAMES if name in stated) or "none",
            limit="a set from which every other follows",
            source="small-1972-direct",
            remedy=_remedy(missing),
        )
    conflicts = _conflicts(stated, closure, tolerance)
    if not conflicts:
        return Completion(values=closure, basis=tuple(basis), disagreements=())

    suspects = []
    for name in stated:
        rest = {key: value for key, value in stated.items() if key != name}
        _, rest_closure = _basis(rest, order, solvers)
        if name in rest_closure and not _conflicts(rest, rest_closure, tolerance):
            suspects.append((name, rest_closure))
    if len(suspects) == 1 and suspects[0][0] not in trusted:
        name, closure = suspects[0]
        basis, _ = _basis({key: value for key, value in stated.items() if key != name}, order, solvers)
        conflicts = _conflicts(stated, closure, tolerance)
    names = tuple(name for name, _ in suspects)
    return Completion(
        values=closure,
        basis=tuple(basis),
        disagreements=tuple(
            Disagreement(quantity=name, stated=value, implied=implied, suspects=names)
            for name, value, implied in conflicts
        ),
    )


def relations_hold(values: Mapping[str, float], *, air: Air = AIR_20C) -> float:
    """Largest relative error of any relation in a full set; 0 for a perfect one.

    Parameters
    ----------
    values : all of ``NAMES``, SI.
    air : state of the air.

    Returns
    -------
    Relative error, dimensionless.

    Source
    ------
    [small-1972-direct].
    """
    worst = abs(values["qts"] * (1.0 / values["qms"] + 1.0 / values["qes"]) - 1.0)
    for relation in _relations(air):
        total = math.log(relation.constant)
        for name, power in relation.powers.items():
            total += power * math.log(values[name])
        worst = max(worst, abs(math.expm1(total)))
    return worst


def _check(stated: Mapping[str, float]) -> None:
    for name, value in stated.items():
        if name not in NAMES:
            raise KeyError(name)
        if not (math.isfinite(value) and value > 0.0):
            raise NoSolutionError(
                message=f"The driver parameter {name} must be a positive number.",
                quantity=name,
                value=f"{value:.4g}",
                limit="above 0",
                remedy="Correct the value, or leave it out and let it be derived.",
            )
    for part in ("qms", "qes"):
        if "qts" in stated and part in stated and stated["qts"] >= stated[part]:
            raise NoSolutionError(
                message=f"Qts combines Qms and Qes and is smaller than either; here it is not below {part}.",
                quantity="qts",
                value=f"{stated['qts']:.4g}",
                limit=f"below {part} = {stated[part]:.4g}",
                source="small-1972-direct",
                remedy="Check whether the data sheet's Q columns were swapped.",
            )


def _remedy(missing: list[str]) -> str:
    if "sd_m2" in missing:
        return "Add the effective piston area (to the middle of the surround), and the DC resistance."
    if "re_ohm" in missing:
        return "Add the DC resistance; any ohmmeter reads it."
    if "rms_kg_per_s" in missing:
        return "Add Qms, Qts or the mechanical resistance; an impedance sweep in free air gives Qms and Qes."
    return (
        "Add two of fs, Mms, Vas, Cms and one of Qes, Bl; an impedance sweep with added mass gives them all."
    )
