"""An unmarked ring or pair of halves on the bench: what it is, where it saturates, and what it loses.

Identification alone proves little: ferrites of one permeability saturate anywhere from 0.24 T hot. Until a
pulse has shown otherwise the core is reckoned with the lowest value of the ferrites known here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.parts.cores import complete_core
from subwright.parts.library import Library
from subwright.physics.core_identity import (
    InductanceFit,
    Verdict,
    classify,
    closed_permeability,
    fit_inductance_factor,
    pair_factor_uncertainty,
    ring_factor_uncertainty,
)
from subwright.physics.cores import EffectiveParameters, e_pair, etd_pair, permeability_from_al, ring
from subwright.stages.transformer_core_plan import (
    BenchSupply,
    HeatPlan,
    PulsePlan,
    plan_heat,
    plan_pulse,
)
from subwright.stages.transformer_tables import FLUX_DERATING, UNMARKED

Shape = Literal["ring", "e", "etd", "pq"]

__all__ = [
    "BROAD",
    "LOST_PULSE",
    "SECTION_UNCERTAINTY",
    "UNMARKED",
    "CoreIdentity",
    "CoreReadings",
    "Shape",
    "identify_core",
]

LOST_PULSE: Final = 2.0  # rails charged straight from the rectifier
# Standard uncertainty of the sections where the shape is not quite the formula's: against makers' values E
# and
# ETD agree within 2 %; broad outer legs cost up to 11 % (common practice, no source).
SECTION_UNCERTAINTY: Final[Mapping[str, float]] = {"e": 0.01, "etd": 0.01, "pq": 0.08}
BROAD: Final = "broad outer legs"


@dataclass(frozen=True, kw_only=True, slots=True)
class CoreReadings:
    """What calliper and meter say about a ring, or about a pair of halves.

    Attributes
    ----------
    outer_m, inner_m, height_m : ring: size over the coating, m. Pair: overall width, window width between the
        outer legs, and height of both halves together, m.
    shape : "ring"; "e", all legs rectangular; "etd", round centre leg and outer legs with an arc; "pq", round
        centre leg and broad outer legs that nearly close round it.
    depth_m, window_m, leg_m : pair: thickness across, height of the window in both halves, and width or
        diameter of the centre leg, m; 0 for rings.
    gap_m : left between the ground faces of a pair in all, m; as much again is taken as its limit of error.
    coating_m : thickness of the coating on each face, m; half of it is taken as its uncertainty.
    calliper_m : limit of error of the calliper, m.
    turns, inductance_h : test windings and their readings, H, in one order.
    accuracy : limit of error of the meter over the reading. resolution_h : its last digit, H.
    """

    outer_m: float
    inner_m: float
    height_m: float
    turns: tuple[int, ...]
    inductance_h: tuple[float, ...]
    coating_m: float = 0.0
    calliper_m: float = 0.1e-3
    accuracy: float = 0.02
    resolution_h: float = 0.0
    shape: Shape = "ring"
    depth_m: float = 0.0
    window_m: float = 0.0
    leg_m: float = 0.0
    gap_m: float = 10e-6

    @property
    def pair(self) -> bool:
        """Whether it is two halves with ground faces."""
        return self.shape != "ring"


@dataclass(frozen=True, kw_only=True, slots=True)
class CoreIdentity:
    """What the readings come to.

    Attributes
    ----------
    geometry : effective parameters of the bare core.
    area_uncertainty : standard uncertainty of the section over its value.
    fit : inductance factor from the test windings.
    al_tolerance : twice its standard uncertainty over its value: what the design reckons with.
    permeability, permeability_uncertainty : relative, of the material, and its standard uncertainty; a pair's
        gap is taken out.
    effective_permeability : of the core as it was measured, gap included.
    window_m2, mean_turn_m : what a coil former leaves of a pair's window, and its mean turn; of a ring the
        hole, and a turn laid straight on it.
    verdict : likely material.
    saturation_t : flux density at 100 °C to reckon with until a pulse has shown more, T.
    flux_peak_t : peak flux density that leaves room for one lost pulse below that, T.
    flux_checked_t : the same for a core that has shown the saturation of a power ferrite, T.
    pulse, heat : bench procedures; None where the core is refused.
    reasons : sentences for the user.
    record : the core as a drawer file spells it; empty where it is refused.
    """

    readings: CoreReadings
    geometry: EffectiveParameters
    area_uncertainty: float
    fit: InductanceFit
    al_tolerance: float
    permeability: float
    permeability_uncertainty: float
    effective_permeability: float
    window_m2: float
    mean_turn_m: float
    verdict: Verdict
    saturation_t: float
    flux_peak_t: float
    flux_checked_t: float
    pulse: PulsePlan | None
    heat: HeatPlan | None
    reasons: tuple[str, ...]
    record: tuple[tuple[str, str], ...]
    sources: tuple[str, ...] = ("iec-60205", "iec-62044-1", "jcgm100", "common-practice", "derived")


def identify_core(
    readings: CoreReadings, supply: BenchSupply, library: Library, *, name: str = "unmarked core"
) -> CoreIdentity:
    """Find out what an unmarked core is, and plan the checks that identification can't replace.

    Parameters
    ----------
    readings : calliper and meter. supply : what the bench can give for the checks.
    library : grades to compare with. name : id for the drawer's record.

    Returns
    -------
    CoreIdentity. A core of an unfit material gets no plan and no record, and its verdict says why.

    Raises
    ------
    RangeError : a reading that no core can give.

    Source
    ------
    Effective values [iec-60205], inductance factor [iec-62044-1], uncertainties [jcgm100].
    """
    geometry, c1_relative, area_relative = _measured(readings)
    fit = fit_inductance_factor(
        readings.turns, readings.inductance_h, readings.accuracy, readings.resolution_h
    )
    effective = permeability_from_al(fit.al_h, geometry.c1_per_m)
    al_relative = fit.al_uncertainty_h / fit.al_h
    mu, mu_uncertainty = effective, effective * math.hypot(al_relative, c1_relative)
    if readings.pair:
        mu, mu_uncertainty = closed_permeability(
            effective, mu_uncertainty, geometry.l_e_m, readings.gap_m, readings.gap_m / math.sqrt(3.0)
        )
    verdict = classify(mu, mu_uncertainty)
    grades = tuple(m for m in library.materials.values() if m.family != "iron powder")
    power = tuple(m for m in grades if m.transformer_grade)
    saturation = min(m.bsat_100_t for m in grades)
    if readings.pair:
        saturation *= 1.0 - 2.0 * area_relative  # a section smaller than measured carries more flux density
    unmarked = library.material(UNMARKED)
    al_tolerance = min(max(2.0 * al_relative, 0.01), 0.8)
    record = _record(name, readings, fit, al_tolerance, saturation) if verdict.serves else ()
    window_m2, mean_turn_m = _room(readings)
    identity = CoreIdentity(
        readings=readings,
        geometry=geometry,
        area_uncertainty=area_relative,
        fit=fit,
        al_tolerance=al_tolerance,
        permeability=mu,
        permeability_uncertainty=mu_uncertainty,
        effective_permeability=effective,
        window_m2=window_m2,
        mean_turn_m=mean_turn_m,
        verdict=verdict,
        saturation_t=saturation,
        flux_peak_t=FLUX_DERATING * saturation / LOST_PULSE,
        flux_checked_t=FLUX_DERATING * unmarked.bsat_100_t / LOST_PULSE,
        pulse=plan_pulse(geometry, fit.al_h, effective, max(readings.turns), supply)
        if verdict.serves
        else None,
        heat=plan_heat(geometry, fit.al_h, max(readings.turns), supply, power) if verdict.serves else None,
        reasons=(),
        record=record,
    )
    return _with_reasons(identity)


def _bare(readings: CoreReadings) -> tuple[float, float, float]:
    """Size of a ring under its coating, m."""
    coating = readings.coating_m
    return (
        readings.outer_m - 2.0 * coating,
        readings.inner_m + 2.0 * coating,
        readings.height_m - 2.0 * coating,
    )


def _measured(readings: CoreReadings) -> tuple[EffectiveParameters, float, float]:
    """Effective parameters with the relative standard uncertainties of C1 and of the section."""
    if not readings.pair:
        size = _bare(readings)
        uncertainty_m = math.hypot(readings.calliper_m, readings.coating_m) / math.sqrt(3.0)
        _, c1_relative, area_relative = ring_factor_uncertainty(*size, uncertainty_m)
        return ring(*size), c1_relative, area_relative
    make = e_pair if readings.shape == "e" else etd_pair
    halves = (
        readings.outer_m,
        readings.height_m / 2.0,
        readings.depth_m,
        readings.inner_m,
        readings.window_m / 2.0,
        readings.leg_m,
    )
    uncertainty_m = readings.calliper_m / math.sqrt(3.0)
    _, c1_relative, area_relative = pair_factor_uncertainty(
        make, halves, uncertainty_m, SECTION_UNCERTAINTY[readings.shape]
    )
    return make(*halves), c1_relative, area_relative


def _size(readings: CoreReadings) -> dict[str, float]:
    """Dimensions by field name of a core's record, m."""
    if readings.pair:
        names = ("outer_m", "inner_m", "height_m", "depth_m", "window_m", "leg_m")
        return {name: float(getattr(readings, name)) for name in names}
    outer, inner, height = _bare(readings)
    return {"outer_m": outer, "inner_m": inner, "height_m": height, "coating_m": readings.coating_m}


def _room(readings: CoreReadings) -> tuple[float, float]:
    """Window area and mean turn that the drawer's record will come to."""

    def complain(field: str, sentence: str) -> None:
        raise RangeError(message=f"The sizes make no core: {field} {sentence}.", quantity=field)

    shape = "etd" if readings.shape == "pq" else readings.shape
    full = complete_core({"shape": shape, **_size(readings)}, complain)
    if full is None:
        raise RangeError(message="The sizes make no core.", quantity="dimensions")
    return float(full["window_area_m2"]), float(full["mean_turn_m"])


def _record(
    name: str, readings: CoreReadings, fit: InductanceFit, al_tolerance: float, saturation_t: float
) -> tuple[tuple[str, str], ...]:
    windings = " and ".join(str(n) for n in readings.turns)
    size = tuple((key.removesuffix("_m"), f"{value * 1e3:.4g} mm") for key, value in _size(readings).items())
    broad = f"; {BROAD}, reckoned as the nearest shape" if readings.shape == "pq" else ""
    return (
        ("id", name),
        (
            "source",
            f"measured with a calliper (± {readings.calliper_m * 1e3:g} mm); inductance of {windings} turns, "
            f"meter ± {readings.accuracy:.1%}{broad}; saturation not checked",
        ),
        ("shape", "etd" if readings.shape == "pq" else readings.shape),
        ("material", UNMARKED),
        *size,
        ("al", f"{fit.al_h * 1e9:.5g} nH"),
        ("al_tolerance", f"{al_tolerance * 100:.3g} %"),
        ("saturation", f"{saturation_t * 1e3:.3g} mT"),
    )


def _with_reasons(identity: CoreIdentity) -> CoreIdentity:
    fit, verdict = identity.fit, identity.verdict
    mu, u = identity.permeability, identity.permeability_uncertainty
    said = [
        f"A_L is {fit.al_h * 1e9:.0f} nH ± {200 * fit.al_uncertainty_h / fit.al_h:.1f} % and the "
        "permeability "
        f"{mu:.0f} ± {2 * u:.0f} (both at twice the standard uncertainty).",
    ]
    readings = identity.readings
    if readings.pair:
        said.append(
            f"Measured over the whole core it is {identity.effective_permeability:.0f}; "
            f"{show(readings.gap_m, 'length')} between the ground faces are taken out of it, give or take "
            "as much. Clamp the halves as hard as in use, and read again: dust or a chip shows as less."
        )
        said.append(
            f"The section is {show(identity.geometry.a_e_m2, 'area')} ± "
            f"{200 * identity.area_uncertainty:.0f} %, and the design reckons with the least of it. A coil "
            f"former leaves {show(identity.window_m2, 'area')} of window."
        )
        if not identity.verdict.serves and identity.verdict.family != "high permeability":
            said.append(
                "Or it is a power ferrite with an air gap: lay a straight edge across the three legs. "
                "Where the centre leg is short, the pair is made for a choke; it can't carry this "
                "transformer's flux swing at a small current until the gap is gone."
            )
    if len(readings.turns) == 1:
        said.append("One winding can't tell a miscounted turn: wind a second one with twice the turns.")
    if fit.suspect is not None:
        at, better = fit.suspect
        said.append(
            f"The readings don't agree. With {better} turns instead of {identity.readings.turns[at]} they "
            "would: count again."
        )
    elif fit.worst > 3.0:
        said.append(
            "The readings don't agree, and no single miscount explains it: read all of them again at one "
            "frequency, with short leads."
        )
    said.append(f"That is a {verdict.family} value. {verdict.why}")
    if verdict.others:
        said.append(f"Within the uncertainty it may also be: {', '.join(verdict.others)}.")
    if verdict.serves:
        said.append(
            "Until a pulse has shown where it saturates, reckon with "
            f"{show(identity.saturation_t, 'flux density')} "
            f"hot, so {show(identity.flux_peak_t, 'flux density')} of peak flux density; a checked power "
            "ferrite "
            f"may have {show(identity.flux_checked_t, 'flux density')}."
        )
    return replace(identity, reasons=tuple(said))
