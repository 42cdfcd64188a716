"""Windows of every threshold over tolerance, who widens them, and the order they must keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Literal

from subwright.physics.batteries import BATTERIES
from subwright.physics.networks.tolerance import Window, windows
from subwright.stages.common import Contributor, Corner
from subwright.stages.protection_models import Case
from subwright.stages.protection_records import (
    Chatter,
    OrderCheck,
    ProtectionInput,
    Threshold,
    ToleranceWindow,
)
from subwright.stages.protection_targets import Target, Targets

__all__ = ["order_checks", "protection_windows"]

_SIDE_BY_SIDE: Final = (0.01, 0.05)
_NAMES: Final = ("under-voltage", "over-voltage", "thermal")
_COOL_K: Final = 5.0  # a thermal release nearer to the hottest ambient than this would hardly come; practice


def protection_windows(
    cases: Callable[[float], tuple[Case, ...]],
    targets: Targets,
    tolerance: float,
    draws: int,
    seed: int,
) -> tuple[dict[str, Threshold], dict[str, Threshold], tuple[Contributor, ...]]:
    """Windows with the chosen resistors, and with 1 % and 5 % ones.

    Parameters
    ----------
    cases : models of the three networks for a resistor tolerance (fraction).
    targets : wanted thresholds. tolerance : of the chosen resistors, fraction.
    draws, seed : random builds per window, and their generator's seed.

    Returns
    -------
    Thresholds by name, hysteresis by protection, and the contributors of each trip and release,
    strongest first.
    """
    found: dict[float, dict[str, Window]] = {}
    contributors: list[Contributor] = []
    for t in sorted({tolerance, *_SIDE_BY_SIDE}):
        found[t] = {}
        for number, case in enumerate(cases(t)):
            result, pulls = windows(case.model, case.parameters, count=draws, seed=seed + number)
            found[t].update(zip(case.results, result, strict=True))
            if t == tolerance:
                contributors += [
                    Contributor(
                        result=name,
                        part=f"{_NAMES[number]} {pull.parameter}",
                        tolerance=pull.tolerance,
                        sensitivity=pull.sensitivity,
                    )
                    for name, ranked in zip(case.results[:2], pulls[:2], strict=True)
                    for pull in ranked
                ]

    def threshold(name: str, unit: Literal["V", "°C"], target: Target) -> Threshold:
        return Threshold(
            name=name,
            unit=unit,
            target=target.value,
            nominal=found[tolerance][name].nominal,
            reason=target.reason,
            window=_shown(found[tolerance][name], tolerance),
            windows=tuple(_shown(found[t][name], t) for t in _SIDE_BY_SIDE),
        )

    def gap(upper: Target, lower: Target) -> Target:
        return Target(value=upper.value - lower.value, reason="trip less release")

    thresholds = {
        "under-voltage trip": threshold("under-voltage trip", "V", targets.under_trip),
        "under-voltage release": threshold("under-voltage release", "V", targets.under_release),
        "over-voltage trip": threshold("over-voltage trip", "V", targets.over_trip),
        "over-voltage release": threshold("over-voltage release", "V", targets.over_release),
        "thermal trip": threshold("thermal trip", "°C", targets.thermal_trip),
        "thermal release": threshold("thermal release", "°C", targets.thermal_release),
    }
    hysteresis = {
        "under-voltage": threshold(
            "under-voltage hysteresis", "V", gap(targets.under_release, targets.under_trip)
        ),
        "over-voltage": threshold(
            "over-voltage hysteresis", "V", gap(targets.over_trip, targets.over_release)
        ),
        "thermal": threshold("thermal hysteresis", "°C", gap(targets.thermal_trip, targets.thermal_release)),
    }
    return thresholds, hysteresis, tuple(contributors)


def _shown(window: Window, tolerance: float) -> ToleranceWindow:
    return ToleranceWindow(
        tolerance=tolerance,
        worst_low=window.worst_low,
        worst_high=window.worst_high,
        rss_low=window.rss_low,
        rss_high=window.rss_high,
        p1=window.p1,
        p99=window.p99,
    )


def order_checks(
    thresholds: Mapping[str, Threshold],
    hysteresis: Mapping[str, Threshold],
    chatter: Chatter,
    data: ProtectionInput,
) -> tuple[OrderCheck, ...]:
    """Every order that trips and releases must keep at the edge of tolerance, with its limit.

    Parameters
    ----------
    thresholds, hysteresis : with their windows, by name. chatter : hysteresis and its need.
    data : corners and ambient.

    Returns
    -------
    Checks with value and limit, V, °C or K.
    """
    low = {name: t.window.worst_low for name, t in thresholds.items()}
    high = {name: t.window.worst_high for name, t in thresholds.items()}
    gap = {name: t.window.worst_low for name, t in hysteresis.items()}
    at = data.corners

    def check(
        name: str,
        value: float,
        must: Literal["at least", "at most"],
        limit: float,
        unit: Literal["V", "°C", "K"] = "V",
    ) -> OrderCheck:
        return OrderCheck(name=name, unit=unit, value=value, limit=limit, must=must)

    uv_trip, uv_release = "under-voltage trip", "under-voltage release"
    ov_trip, ov_release = "over-voltage trip", "over-voltage release"
    return (
        check(
            "under-voltage hysteresis against chatter",
            chatter.hysteresis_worst_v,
            "at least",
            chatter.need_v,
        ),
        check("under-voltage release above its trip", gap["under-voltage"], "at least", 0.0),
        check("under-voltage trip below the low corner at rest", high[uv_trip], "at most", at[Corner.LOW]),
        check(
            "under-voltage trip below the low corner at full sine",
            high[uv_trip],
            "at most",
            at[Corner.LOW] - chatter.drop_v,
        ),
        check(
            "under-voltage release below a full battery at rest",
            high[uv_release],
            "at most",
            BATTERIES[data.battery].full_v * data.system_v / 12,
        ),
        check("over-voltage trip above charging", low[ov_trip], "at least", at[Corner.CHARGING]),
        check("over-voltage trip above the max corner", low[ov_trip], "at least", at[Corner.MAX]),
        check("over-voltage release above charging", low[ov_release], "at least", at[Corner.CHARGING]),
        check("over-voltage release below its trip", gap["over-voltage"], "at least", 0.0),
        check("voltage windows apart", high[uv_release], "at most", low[ov_release]),
        # One unit's trip and release move together: its own hysteresis counts, not the two windows' edges.
        check("thermal release below its trip", gap["thermal"], "at least", 0.0, "K"),
        check(
            "thermal release above the hottest ambient",
            low["thermal release"],
            "at least",
            data.ambient_max_c + _COOL_K,
            "°C",
        ),
    )
