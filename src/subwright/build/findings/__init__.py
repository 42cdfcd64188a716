"""The numbered rules, one file per group of stages, and their evaluation."""

from __future__ import annotations

from subwright.base.errors import SubwrightError
from subwright.base.near import closest
from subwright.build.findings import (  # noqa: F401  (importing registers the rules)
    acoustic,
    amplifier,
    amplifier_linear,
    board,
    boost,
    control,
    control_input,
    magnetic,
    modulator,
    power,
    supply,
    voltage_stage,
)
from subwright.build.findings.rule import REGISTRY, Measure, Rule
from subwright.build.result import Design, Finding

__all__ = ["Measure", "Rule", "evaluate", "explain", "rules"]

_GRAVITY = {"stop": 0, "warn": 1, "note": 2, "ok": 3}


def rules() -> tuple[Rule, ...]:
    """All rules, by code."""
    return tuple(REGISTRY[code] for code in sorted(REGISTRY))


def evaluate(design: Design) -> tuple[Finding, ...]:
    """Findings of every rule on a design: gravest first, then by code and tightest margin."""
    found = [finding for rule in REGISTRY.values() for finding in rule.evaluate(design)]
    found.sort(key=lambda f: (_GRAVITY[f.severity], f.code, f.margin))
    return tuple(found)


def explain(code: str) -> Rule:
    """The rule with this code.

    Raises
    ------
    SubwrightError : there is none; near misses are named.
    """
    wanted = code.strip().upper()
    if wanted in REGISTRY:
        return REGISTRY[wanted]
    near = closest(wanted, REGISTRY)
    raise SubwrightError(
        message=f"There is no rule {code!r}.",
        quantity="rule code",
        value=code,
        limit=f"{len(REGISTRY)} rules, such as {next(iter(sorted(REGISTRY)), 'none')}",
        remedy=f"Did you mean {', '.join(near)}?" if near else "List them with: subwright explain",
    )
