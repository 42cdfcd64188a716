"""Relations between a driver's small-signal parameters, and groups of identical drivers."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from subwright.base.errors import RangeError
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.radiation import level_from_power_db

__all__ = [
    "CoilWiring",
    "Connection",
    "DriverModel",
    "compound_pair",
    "efficiency_from_motor",
    "grouped",
    "parallel_q",
    "piston_area_m2",
    "reference_efficiency",
    "rewired",
    "sensitivity_db",
    "strings_of",
    "with_coil_at",
    "with_source_resistance",
]

Connection = Literal["single", "series", "parallel", "series-parallel"]
CoilWiring = Literal["one", "series", "parallel"]


@dataclass(frozen=True, kw_only=True, slots=True)
class DriverModel:
    """The lumped elements of a driver, or of a group of identical drivers that move as one.

    The coil's blocked impedance is Re + K·(jω)ⁿ; K is 0 for a coil without inductance, and with n = 1 it is
    the inductance in H. The moving mass includes the air load of both sides.
    """

    re_ohm: float
    bl_tm: float
    mms_kg: float
    cms_m_per_n: float
    rms_kg_per_s: float
    sd_m2: float
    coil_factor: float = 0.0
    coil_exponent: float = 1.0

    @property
    def fs_hz(self) -> float:
        """Free-air resonance 1/(2π·√(Mms·Cms)) in Hz."""
        return 1.0 / (2.0 * math.pi * math.sqrt(self.mms_kg * self.cms_m_per_n))

    @property
    def qms(self) -> float:
        """Mechanical Q, 2π·fs·Mms/Rms."""
        return 2.0 * math.pi * self.fs_hz * self.mms_kg / self.rms_kg_per_s

    @property
    def qes(self) -> float:
        """Electrical Q with no source resistance, 2π·fs·Mms·Re/Bl²."""
        return 2.0 * math.pi * self.fs_hz * self.mms_kg * self.re_ohm / self.bl_tm**2

    @property
    def qts(self) -> float:
        """Total Q with no source resistance."""
        return parallel_q(self.qms, self.qes)

    def vas_m3(self, air: Air = AIR_20C) -> float:
        """Volume of air as stiff as the suspension, ρ·c²·Sd²·Cms, in m³."""
        return air.stiffness_pa * self.sd_m2**2 * self.cms_m_per_n


def parallel_q(first: float, second: float) -> float:
    """Combine two Qs of one resonance: Q1·Q2/(Q1 + Q2); dimensionless.

    Parameters
    ----------
    first, second : the two Qs, dimensionless; infinity for a loss that isn't there.

    Source
    ------
    [small-1972-direct]. 3.7 and 0.35 give 0.3198.

    >>> round(parallel_q(3.7, 0.35), 4)
    0.3198
    """
    if math.isinf(first):
        return second
    if math.isinf(second):
        return first
    return first * second / (first + second)


def with_source_resistance(qes: float, re_ohm: float, source_ohm: float) -> float:
    """Electrical Q behind a source resistance: Qes·(Re + Rs)/Re; dimensionless.

    Parameters
    ----------
    qes : electrical Q at zero source resistance.
    re_ohm : DC resistance, Ω.
    source_ohm : amplifier output and cable, Ω.

    Returns
    -------
    Q, dimensionless.

    Source
    ------
    [small-1972-direct]. 0.46, 3.4 Ω, 0.3 Ω: 0.5006.
    """
    return qes * (re_ohm + source_ohm) / re_ohm


def piston_area_m2(diameter_m: float) -> float:
    """Area in m² of the equivalent piston from its diameter in m (cone plus half the surround).

    Source
    ------
    [beranek-mellow-2012], ch. 6 (effective diameter reaches half-way into the surround).
    """
    return 0.25 * math.pi * diameter_m**2


def reference_efficiency(fs_hz: float, vas_m3: float, qes: float, *, air: Air = AIR_20C) -> float:
    """Half-space reference efficiency η0 = (4π²/c³)·fs³·Vas/Qes; dimensionless.

    Parameters
    ----------
    fs_hz : free-air resonance, Hz.
    vas_m3 : equivalent volume, m³.
    qes : electrical Q.
    air : state of the air; ``SMALL_AIR`` gives the constant printed as 9.64e-7.

    Source
    ------
    [small-1972-direct].
    """
    return 4.0 * math.pi**2 / air.speed_m_per_s**3 * fs_hz**3 * vas_m3 / qes


def efficiency_from_motor(
    bl_tm: float, sd_m2: float, re_ohm: float, mms_kg: float, *, air: Air = AIR_20C
) -> float:
    """Half-space reference efficiency η0 = ρ/(2π·c)·(Bl·Sd)²/(Re·Mms²); dimensionless.

    Parameters
    ----------
    bl_tm : force factor, T·m.
    sd_m2 : piston area, m².
    re_ohm : DC resistance, Ω.
    mms_kg : moving mass with air load, kg.
    air : state of the air.

    Returns
    -------
    Share of the electrical power, dimensionless.

    Source
    ------
    [small-1972-direct]; [beranek-mellow-2012], ch. 6. Bl 14.5, Sd 0.0500, Re 3.4, Mms 0.140: 0.440 %.
    """
    return (
        air.density_kg_per_m3
        / (2.0 * math.pi * air.speed_m_per_s)
        * (bl_tm * sd_m2) ** 2
        / (re_ohm * mms_kg**2)
    )


def sensitivity_db(efficiency: float, *, air: Air = AIR_20C) -> float:
    """Level in dB at 1 m in half space for 1 W of electrical input at the given efficiency.

    Source
    ------
    [small-1972-direct]; 0.440 % gives 88.6 dB.
    """
    return float(level_from_power_db(efficiency, air=air))


def grouped(model: DriverModel, count: int, connection: Connection) -> DriverModel:
    """Lumped model of ``count`` identical drivers on one box.

    Mechanically areas and masses add and compliances divide, so Vas is ``count`` times larger; efficiency
    rises by the same factor through mutual coupling.

    Parameters
    ----------
    model : one driver.
    count : 1, 2, 3 or 4; "single" takes 1, "series-parallel" takes 4 (two strings of two).
    connection : how the coils are wired.

    Raises
    ------
    RangeError : when count and connection don't go together.

    Source
    ------
    [small-1972-direct] (multiple drivers); the electrical side is series and parallel connection.
    """
    in_series, strings = strings_of(count, connection)
    return DriverModel(
        re_ohm=model.re_ohm * in_series / strings,
        bl_tm=model.bl_tm * in_series,
        mms_kg=model.mms_kg * count,
        cms_m_per_n=model.cms_m_per_n / count,
        rms_kg_per_s=model.rms_kg_per_s * count,
        sd_m2=model.sd_m2 * count,
        coil_factor=model.coil_factor * in_series / strings,
        coil_exponent=model.coil_exponent,
    )


def strings_of(count: int, connection: Connection) -> tuple[int, int]:
    """How ``count`` coils are wired: (coils in series in each string, strings in parallel).

    Parameters
    ----------
    count : 1, 2, 3 or 4.
    connection : "single" takes 1, "series" and "parallel" 2 to 4, "series-parallel" 4.

    Raises
    ------
    RangeError : when count and connection don't go together.

    Source
    ------
    [derived], series and parallel connection.
    """
    several = (2, 3, 4)
    wanted = {"single": (1,), "series": several, "parallel": several, "series-parallel": (4,)}[connection]
    if count not in wanted:
        raise RangeError(
            message=f"{count} driver(s) can't be wired {connection!r}.",
            quantity="driver count",
            value=str(count),
            limit=" or ".join(str(n) for n in wanted) + f" for {connection!r}",
            remedy='Use "single" for one, "series" or "parallel" for more, "series-parallel" for four.',
        )
    in_series = {"single": 1, "series": count, "parallel": 1, "series-parallel": 2}[connection]
    return in_series, count // in_series


def compound_pair(model: DriverModel, connection: Literal["series", "parallel"] = "parallel") -> DriverModel:
    """Two identical drivers face to face or nose to tail, moving as one cone.

    Mass doubles and compliance halves on one cone area: fs and Qts stay, Vas halves, and efficiency halves.

    Parameters
    ----------
    model : one driver.
    connection : of the two coils.

    Source
    ------
    [beranek-mellow-2012], ch. 7 in substance; standard texts, from memory.
    """
    electrical = 2.0 if connection == "series" else 0.5
    return replace(
        model,
        re_ohm=model.re_ohm * electrical,
        bl_tm=model.bl_tm * (2.0 if connection == "series" else 1.0),
        mms_kg=model.mms_kg * 2.0,
        cms_m_per_n=model.cms_m_per_n / 2.0,
        rms_kg_per_s=model.rms_kg_per_s * 2.0,
        coil_factor=model.coil_factor * electrical,
    )


# Resistance, force factor and inductance over those of one coil. Both coils lie in one gap on one former, so
# the flux that one makes passes the other: in series the inductance grows with the square of the turns.
_WIRED = {"one": (1.0, 1.0, 1.0), "series": (2.0, 2.0, 4.0), "parallel": (0.5, 1.0, 1.0)}


def rewired(model: DriverModel, stated: CoilWiring, wired: CoilWiring) -> DriverModel:
    """A driver with two alike coils, from the wiring its values hold for to another.

    Series and parallel have the same Qes; one coil alone, the other open, has twice that.

    Parameters
    ----------
    model : values as stated.
    stated : how the coils were wired for these values.
    wired : how they will be wired.

    Source
    ------
    [derived] from [small-1972-direct]; full coupling of the coils is assumed.
    """
    to, of = _WIRED[wired], _WIRED[stated]
    return replace(
        model,
        re_ohm=model.re_ohm * to[0] / of[0],
        bl_tm=model.bl_tm * to[1] / of[1],
        coil_factor=model.coil_factor * to[2] / of[2],
    )


def with_coil_at(model: DriverModel, resistance_ratio: float) -> DriverModel:
    """The same driver with its coil resistance multiplied by ``resistance_ratio`` (hot over cold).

    Source
    ------
    [small-1972-direct] (only Re depends on coil temperature in the small-signal model).
    """
    return replace(model, re_ohm=model.re_ohm * resistance_ratio)
