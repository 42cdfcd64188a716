"""Acoustic networks of the boxes that a driver can work into.

Every box answers the same question: what impedance does the diaphragm's volume velocity meet, how much of it
leaves the box as sound, and what flows through each lossy element. Module ``circuit`` needs nothing else, so
a new kind of box is a new class with ``load``.

Volumes and tunings may be columns, shape (n, 1), to solve n boxes at once over one array of frequencies.

All openings and the diaphragm's front share one radiation resistance: below the corner frequencies of
interest they lie within a small part of a wavelength.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from subwright.physics.acoustics._types import ComplexArray, FloatArray, Real
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.radiation import Space, radiation_resistance_pa_s_per_m3

__all__ = [
    "AcousticLoad",
    "BoxModel",
    "Branch",
    "OpenAir",
    "SealedBox",
    "VentedBox",
    "box_compliance_m3_per_pa",
    "load_with_opening",
    "radiation_load_pa_s_per_m3",
]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Branch:
    """Flow through one lossy element, relative to the diaphragm's volume velocity."""

    name: str
    ratio: ComplexArray  # dimensionless
    resistance_pa_s_per_m3: FloatArray | float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AcousticLoad:
    """What a box presents to the diaphragm, over an array of frequencies.

    Attributes
    ----------
    impedance_pa_s_per_m3 : pressure difference over the diaphragm per volume velocity, Pa·s/m³, complex.
    output_ratio : volume velocity that reaches the outside over that of the diaphragm, complex.
    opening_ratio : volume velocity through port or passive radiator over that of the diaphragm, outward
        positive.
    branches : lossy elements; Σ|ratio|²·R is the real part of ``impedance_pa_s_per_m3``.
    """

    impedance_pa_s_per_m3: ComplexArray
    output_ratio: ComplexArray
    opening_ratio: ComplexArray
    branches: tuple[Branch, ...]


class BoxModel(Protocol):
    """A box that can be put behind a driver."""

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        ...


def box_compliance_m3_per_pa(volume_m3: Real, *, gain: float = 1.0, air: Air = AIR_20C) -> Real:
    """Acoustic compliance g·V/(ρ·c²) of a volume of air, in m³/Pa.

    Parameters
    ----------
    volume_m3 : net volume, m³, any shape.
    gain : factor g by which fill enlarges the volume acoustically, 1 … 1.4.
    air : state of the air.

    Source
    ------
    [small-1972-closed]; [beranek-mellow-2012], ch. 4.
    """
    return gain * volume_m3 / air.stiffness_pa


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenAir:
    """The driver in a wall without a box: only the front radiates.

    This is the reference of the reference efficiency: an infinite wall, the back into another room.
    """

    space: Space = "half"
    radiates: bool = True

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        resistance = radiation_load_pa_s_per_m3(frequency_hz, air, self.space, self.radiates)
        one = np.ones(len(frequency_hz), dtype=np.complex128)
        return AcousticLoad(
            impedance_pa_s_per_m3=np.asarray(resistance, dtype=np.complex128),
            output_ratio=one,
            opening_ratio=np.zeros_like(one),
            branches=(Branch(name="radiation", ratio=one, resistance_pa_s_per_m3=resistance),),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class SealedBox:
    """Closed box: air stiffness, absorption in series with it, leakage across it.

    Attributes
    ----------
    volume_m3 : net volume, m³.
    gain : acoustic enlargement by fill, dimensionless.
    qa, ql : absorption and leakage Q at ``q_frequency_hz``; infinity for none.
    q_frequency_hz : the frequency at which the Qs are stated, usually the box resonance.
    """

    volume_m3: Real
    gain: float = 1.0
    qa: float = math.inf
    ql: float = math.inf
    q_frequency_hz: Real = 50.0
    space: Space = "half"
    radiates: bool = True

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        return load_with_opening(
            frequency_hz,
            air,
            compliance=box_compliance_m3_per_pa(self.volume_m3, gain=self.gain, air=air),
            qa=self.qa,
            ql=self.ql,
            q_frequency_hz=self.q_frequency_hz,
            opening=None,
            opening_resistance=0.0,
            space=self.space,
            radiates=self.radiates,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class VentedBox:
    """Vented box: closed box with an opening whose air mass resonates with the air stiffness.

    Attributes
    ----------
    volume_m3 : net volume, m³.
    tuning_hz : box tuning fb, Hz.
    gain : acoustic enlargement by fill, dimensionless.
    ql, qa, qp : leakage, absorption and port Q at fb; infinity for none.
    """

    volume_m3: Real
    tuning_hz: Real
    gain: float = 1.0
    ql: float = 7.0
    qa: float = math.inf
    qp: float = math.inf
    space: Space = "half"
    radiates: bool = True

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        compliance = box_compliance_m3_per_pa(self.volume_m3, gain=self.gain, air=air)
        omega_b = 2.0 * math.pi * self.tuning_hz
        mass = 1.0 / (omega_b**2 * compliance)
        resistance = 0.0 if math.isinf(self.qp) else 1.0 / (omega_b * compliance * self.qp)
        opening = np.asarray(resistance + 2j * math.pi * frequency_hz * mass, dtype=np.complex128)
        return load_with_opening(
            frequency_hz,
            air,
            compliance=compliance,
            qa=self.qa,
            ql=self.ql,
            q_frequency_hz=self.tuning_hz,
            opening=opening,
            opening_resistance=resistance,
            space=self.space,
            radiates=self.radiates,
        )


def radiation_load_pa_s_per_m3(
    frequency_hz: FloatArray, air: Air, space: Space, radiates: bool
) -> FloatArray:
    """Radiation resistance in Pa·s/m³ that the whole box's volume velocity meets, 0 where left out.

    Parameters
    ----------
    frequency_hz : 1-D, Hz.
    air : state of the air.
    space : what the box radiates into.
    radiates : False leaves the radiation out.

    Source
    ------
    [beranek-mellow-2012], ch. 4.
    """
    if not radiates:
        return np.zeros(len(frequency_hz))
    return np.asarray(radiation_resistance_pa_s_per_m3(frequency_hz, air=air, space=space))


def load_with_opening(
    frequency_hz: FloatArray,
    air: Air,
    *,
    compliance: Real,
    qa: float,
    ql: float,
    q_frequency_hz: Real,
    opening: ComplexArray | None,
    opening_resistance: Real,
    space: Space,
    radiates: bool,
) -> AcousticLoad:
    """Load of a closed volume with a leak and perhaps an opening of any impedance.

    Box air (with absorption) lies in series with the radiation, leakage and opening across both.

    With UD the diaphragm's, U0 the outside's volume velocity and Y the admittance of leak and opening
    together: the pressure over leak and opening is −(Zbox + Rr)·U0, so U0 = UD − Y·(Zbox + Rr)·U0.

    Parameters
    ----------
    frequency_hz : 1-D, Hz.
    air : state of the air.
    compliance : of the box's air, m³/Pa.
    qa, ql : absorption and leakage Q, infinity for none.
    q_frequency_hz : where they are stated, Hz.
    opening : acoustic impedance of port or radiator, Pa·s/m³, None for none.
    opening_resistance : real part of that which is loss, Pa·s/m³.
    space : what the box radiates into.
    radiates : False leaves the radiation out.

    Source
    ------
    [small-1973-vented], Fig. 2 (circuit).
    """
    omega_q = 2.0 * math.pi * q_frequency_hz
    absorption = 0.0 if math.isinf(qa) else 1.0 / (omega_q * compliance * qa)
    leakage: Real = math.inf if math.isinf(ql) else ql / (omega_q * compliance)
    radiation = radiation_load_pa_s_per_m3(frequency_hz, air, space, radiates)
    closed = np.asarray(
        absorption + radiation - 1j / (2.0 * math.pi * frequency_hz * compliance), dtype=np.complex128
    )

    if opening is None and math.isinf(ql):
        output = np.ones(len(frequency_hz), dtype=np.complex128)
        through_opening = np.zeros_like(output)
        through_leak = through_opening
        impedance = closed
    else:
        leak_admittance = 1.0 / leakage
        opening_admittance = np.zeros_like(closed) if opening is None else 1.0 / opening
        output = 1.0 / (1.0 + (leak_admittance + opening_admittance) * closed)
        impedance = closed * output
        through_leak = -leak_admittance * impedance
        through_opening = -opening_admittance * impedance
    branches = [Branch(name="radiation", ratio=output, resistance_pa_s_per_m3=radiation)]
    if not math.isinf(qa):
        branches.append(Branch(name="absorption", ratio=output, resistance_pa_s_per_m3=absorption))
    if not math.isinf(ql):
        branches.append(Branch(name="leakage", ratio=through_leak, resistance_pa_s_per_m3=leakage))
    if np.any(np.asarray(opening_resistance) > 0.0):
        branches.append(Branch(name="port", ratio=through_opening, resistance_pa_s_per_m3=opening_resistance))
    return AcousticLoad(
        impedance_pa_s_per_m3=impedance,
        output_ratio=output,
        opening_ratio=through_opening,
        branches=tuple(branches),
    )
