"""A numbered rule: what it measures on a design, against which limit, why, and what to do about it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Literal

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.build.result import Design, Finding, Severity

__all__ = ["REGISTRY", "Measure", "Rule", "rule"]

Sense = Literal["at most", "at least"]
_DIGITS, _MOST_DIGITS = 3, 7
Check = Callable[[Design], Iterable["Measure"]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Measure:
    """One measured quantity beside its limit, both in the stored unit of ``dimension``.

    ``severity`` and ``remedy`` override the rule's own where a single case calls for it. What is
    ``counted`` is right or not, and has no margin while it is right.
    """

    quantity: str
    value: float
    limit: float
    dimension: str
    sense: Sense = "at most"
    at: str = ""
    remedy: str = ""
    severity: Severity | None = None
    counted: bool = False

    @property
    def margin(self) -> float:
        """Share of the limit that is left; negative when the limit is broken (dimensionless)."""
        if self.limit == 0.0:
            gap = -self.value if self.sense == "at most" else self.value
            return gap if gap == 0.0 else gap / abs(self.value)
        left = self.value / self.limit - 1.0 if self.sense == "at least" else 1.0 - self.value / self.limit
        return left if self.limit > 0 else -left


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """One rule and its page.

    ``near`` is the margin below which a kept limit is still worth a note.
    """

    code: str
    stage: str
    severity: Severity
    title: str
    what: str
    why: str
    limit: str
    source: str
    example: str
    remedy: str
    near: float
    check: Check

    def evaluate(self, design: Design) -> Iterator[Finding]:
        """Findings of this rule on a design, kept limits included (severity "ok")."""
        for measure in self.check(design):
            if not (isfinite(measure.value) and isfinite(measure.limit)):
                raise SubwrightError(
                    message=f"Rule {self.code} met a value that is not a number.",
                    quantity=measure.quantity,
                    value=str(measure.value),
                    limit=str(measure.limit),
                    source=self.source,
                    remedy="Please report this with the build file.",
                )
            margin = measure.margin
            if margin < 0:
                severity = measure.severity or self.severity
            elif margin < self.near:
                severity = "note"
            else:
                severity = "ok"
            where = f" ({measure.at})" if measure.at else ""
            yield Finding(
                code=self.code,
                severity=severity,
                title=self.title,
                message=f"{measure.quantity}{where} is {_against(measure)}",
                quantity=measure.quantity + where,
                value=measure.value,
                limit=measure.limit,
                dimension=measure.dimension,
                margin=margin,
                source=self.source,
                remedy=measure.remedy or self.remedy,
                stage=self.stage,
                gravity=measure.severity or self.severity,
                counted=measure.counted,
            )


def _against(measure: Measure) -> str:
    """Value and limit, with as many digits as tell them apart."""
    digits = _DIGITS
    while True:
        value, limit = (show(x, measure.dimension, digits) for x in (measure.value, measure.limit))
        if value != limit or measure.value == measure.limit or digits >= _MOST_DIGITS:
            return f"{value}, {measure.sense} {limit}"
        digits += 1


REGISTRY: dict[str, Rule] = {}


def rule(
    code: str,
    *,
    stage: str,
    severity: Severity,
    title: str,
    what: str,
    why: str,
    limit: str,
    source: str,
    example: str,
    remedy: str,
    near: float = 0.0,
) -> Callable[[Check], Check]:
    """Register a check as the numbered rule ``code``; the texts make its page."""

    def register(check: Check) -> Check:
        if code in REGISTRY:
            raise ValueError(f"rule {code} exists already")
        REGISTRY[code] = Rule(
            code=code,
            stage=stage,
            severity=severity,
            title=title,
            what=what,
            why=why,
            limit=limit,
            source=source,
            example=example,
            remedy=remedy,
            near=near,
            check=check,
        )
        return check

    return register
