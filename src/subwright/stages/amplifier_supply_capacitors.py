"""Capacitors at the output devices themselves: what the leads from the supply can't bring in time.

Class D takes its current from one rail and the next moment from the other, and the leads to the reservoir
don't let theirs jump: a film capacitor across each leg's switches takes the difference. A chip's maker asks
for two at each supply pin.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi
from typing import Final, Literal

import numpy as np

from subwright.base.preferred import between
from subwright.base.units import code, show
from subwright.physics.amplifier_models import ClassDModel
from subwright.physics.class_d import commutation_capacitance_f
from subwright.physics.leg_capacitor import film_ripple_limit_a, leg_capacitor_ripple_a
from subwright.stages.amplifier_spec import AmplifierResult
from subwright.stages.common import PartUse, Rating, remembered

__all__ = [
    "CHIP_BYPASS",
    "CHIP_RESERVOIR",
    "LEG_FILM",
    "SupplyCapacitor",
    "supply_capacitor_uses",
    "supply_capacitors",
]

LEG_FILM: Final = "output stage film capacitor"
"""Role of the film capacitor from the upper switch's drain to the lower one's source."""
CHIP_BYPASS: Final = "chip supply bypass"
"""Role of the small one from a chip's supply pin to 0 V."""
CHIP_RESERVOIR: Final = "chip supply reservoir"
"""Role of the electrolytic beside it."""

_PATH_H: Final = 100e-9  # some 10 cm there and back to the reservoir, 1 µH/m; common practice, no source
_RISE: Final = 0.10  # of the voltage across the leg, half of what switches keep free; ours
_LEAST_F: Final = 1e-6  # common practice, no source
_MOST_F: Final = 47e-6
_BYPASS_F: Final = 100e-9  # common practice, no source
_RESERVOIR_F: Final = 100e-6
_PATH_OHM: Final = 30e-3  # of those leads and the can at their end, common practice
_INSTANTS: Final = 12
_LOSS_FACTORS: Final = (("polyester", 0.03), ("polypropylene", 0.003))  # at 100 kHz, largest, from memory
_CONTACT_OHM: Final = 5e-3  # leads and end spray, from memory
_FILM_RISE_K: Final = 10.0  # of its own heat, common practice
# largest usual value in boxes of 15, 22.5 and 27.5 mm pitch, F, and the heat they give off, W/K; from memory
_CASE_W_PER_K: Final = ((1e-6, 15e-3), (4.7e-6, 25e-3), (_MOST_F, 35e-3))
_FILM_V: Final = (63.0, 100.0, 160.0, 250.0, 400.0, 630.0, 1000.0)
_FILM_RESERVE: Final = 1.5  # of rated over applied voltage: it takes each ringing of the leads
_CAN_V: Final = (16.0, 25.0, 35.0, 50.0, 63.0, 80.0, 100.0)
_CAN_RESERVE: Final = 1.25


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyCapacitor:
    """One line of them.

    Attributes
    ----------
    role : on the bill. farads : F. applied_v, rated_v : V. film : whether it is no electrolytic.
    across : "leg" from supply to supply of each leg, "pin" from each supply pin to 0 V.
    count : in the whole stage.
    dielectric : "polyester" or "polypropylene" for a film; "" for others.
    ripple_a, ripple_limit_a : of a film across a leg with a full sine into the least load, and at which its
        own heat raises it by 10 K, A rms; 0 for others.
    """

    role: str
    farads: float
    applied_v: float
    rated_v: float
    film: bool
    across: Literal["leg", "pin"]
    count: int
    dielectric: str = ""
    ripple_a: float = 0.0
    ripple_limit_a: float = 0.0


@remembered
def _leg_film(
    needed_f: float, peak_a: float, modulation: float, switching_hz: float
) -> tuple[float, str, float, float]:
    """Capacitance, dielectric, ripple current and limit: the next value whose own heat stays small.

    Polyester where that suffices, polypropylene else, then a larger one; the least loaded where none does.
    """
    sine = np.sin((np.arange(_INSTANTS) + 0.5) * (pi / 2.0 / _INSTANTS))
    tried: list[tuple[float, float, str, float, float]] = []
    for farads in map(float, between(_LEAST_F, _MOST_F, "E6")):
        if farads < 0.999 * needed_f and farads < _MOST_F:
            continue
        ripple_a = leg_capacitor_ripple_a(
            peak_a * sine, 0.5 * (1.0 + modulation * sine), switching_hz, farads, _PATH_H, _PATH_OHM
        )
        case = next(watts for most_f, watts in _CASE_W_PER_K if farads <= most_f)
        for dielectric, loss in _LOSS_FACTORS:
            limit_a = film_ripple_limit_a(farads, switching_hz, loss, _CONTACT_OHM, case, _FILM_RISE_K)
            if ripple_a <= limit_a:
                return farads, dielectric, ripple_a, limit_a
            tried.append((ripple_a / limit_a, farads, dielectric, ripple_a, limit_a))
    return min(tried)[1:]


def supply_capacitors(result: AmplifierResult) -> tuple[SupplyCapacitor, ...]:
    """What stands at the supply pins of a class-D stage or of a chip; () for discrete class AB.

    Parameters
    ----------
    result : the stage's numbers.

    Returns
    -------
    Class D: the next E6 value up to ``commutation_capacitance_f`` of the crest into the least impedance, a
    path of 100 nH and a tenth of the voltage across the leg, 1 µF at least; polyester or polypropylene by
    the heat that its ripple current makes in it, or a larger one. A chip: 100 nF and 100 µF for
    each supply pin. Films are rated 1.5 times the highest voltage, electrolytics 1.25 times.

    Source
    ------
    Least values, length of the path and reserves: common practice, no source. Loss factors and heat given off
    by the usual cases: from memory.
    """
    if isinstance(result.model, ClassDModel):
        volts = result.switch_voltage_v
        rise_v = _RISE * float(result.model.bus_v(result.rail_needed_v))
        needed_f = max(_LEAST_F, commutation_capacitance_f(result.switch_peak_a, _PATH_H, rise_v))
        farads, dielectric, ripple_a, limit_a = _leg_film(
            needed_f, result.switch_peak_a, result.modulation_max, result.switching_hz
        )
        return (
            SupplyCapacitor(
                role=LEG_FILM,
                farads=farads,
                applied_v=volts,
                rated_v=_rated(_FILM_V, _FILM_RESERVE * volts),
                film=True,
                across="leg",
                count=result.model.legs,
                dielectric=dielectric,
                ripple_a=ripple_a,
                ripple_limit_a=limit_a,
            ),
        )
    chips = [part for part in result.parts if part.role == "output stage" and part.letter == "U"]
    if not chips:
        return ()
    volts = result.rail_expected_v
    pins = round(sum(part.quantity for part in chips)) * (2 if result.model.split_rails else 1)
    return tuple(
        SupplyCapacitor(
            role=role,
            farads=farads,
            applied_v=volts,
            rated_v=_rated(_FILM_V, _FILM_RESERVE * volts) if film else _rated(_CAN_V, _CAN_RESERVE * volts),
            film=film,
            across="pin",
            count=pins,
        )
        for role, farads, film in ((CHIP_BYPASS, _BYPASS_F, True), (CHIP_RESERVOIR, _RESERVOIR_F, False))
    )


def supply_capacitor_uses(result: AmplifierResult) -> Iterator[PartUse]:
    """Their parts list.

    Parameters
    ----------
    result : the stage's numbers, its output devices among the parts.
    """
    for each in supply_capacitors(result):
        where = "across a leg's switches, shortest leads" if each.across == "leg" else "at a supply pin"
        kind = "film capacitor" if each.film else "electrolytic capacitor"
        kind = f"{each.dielectric} {kind}" if each.dielectric else kind
        ripple = (
            Rating(
                quantity="ripple current",
                unit="A",
                applied=each.ripple_a,
                limit=each.ripple_limit_a,
                source="memory",
                at="full sine, least load; 10 K of its own heat",
            ),
        )
        yield PartUse(
            role=each.role,
            letter="C",
            part_id=code(each.farads, "capacitance"),
            description=f"{kind} {each.rated_v:g} V, {where}",
            quantity=each.count,
            value=show(each.farads, "capacitance"),
            tolerance=0.10 if each.film else 0.20,
            ratings=(
                Rating(
                    quantity="voltage",
                    unit="V",
                    applied=each.applied_v,
                    limit=each.rated_v,
                    at="highest battery" if result.from_battery else "highest battery, unloaded",
                ),
                *(ripple if each.dielectric else ()),
            ),
            provenance="preferred value, common practice",
        )


def _rated(usual: tuple[float, ...], least_v: float) -> float:
    """The lowest usual rating that suffices, V; the greatest where none does."""
    return next((volts for volts in usual if volts >= least_v), usual[-1])
