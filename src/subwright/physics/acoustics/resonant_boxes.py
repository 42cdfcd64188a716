"""Boxes with a passive radiator, and fourth-order band-pass boxes: networks and their closed forms."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import ComplexArray, FloatArray, Real
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.boxes import (
    AcousticLoad,
    Branch,
    box_compliance_m3_per_pa,
    load_with_opening,
    radiation_load_pa_s_per_m3,
)
from subwright.physics.acoustics.radiation import Space

__all__ = [
    "BandPassBox",
    "BandPassShape",
    "PassiveRadiator",
    "PassiveRadiatorBox",
    "band_pass_edges",
    "band_pass_response",
    "band_pass_shape",
    "passive_radiator_response",
    "radiator_mass_for_kg",
    "radiator_tuning_hz",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class PassiveRadiator:
    """One passive radiator, or several alike as one: areas and masses added, compliances divided.

    ``mms_kg`` counts the air load and any mass added for tuning.
    """

    sd_m2: float
    mms_kg: float
    cms_m_per_n: float
    rms_kg_per_s: float

    @property
    def fs_hz(self) -> float:
        """Resonance in free air, Hz."""
        return 1.0 / (2.0 * math.pi * math.sqrt(self.mms_kg * self.cms_m_per_n))

    @property
    def mass_kg_per_m4(self) -> float:
        """Acoustic mass Mms/Sd², kg/m⁴."""
        return self.mms_kg / self.sd_m2**2

    @property
    def compliance_m3_per_pa(self) -> float:
        """Acoustic compliance Cms·Sd², m³/Pa."""
        return self.cms_m_per_n * self.sd_m2**2

    @property
    def resistance_pa_s_per_m3(self) -> float:
        """Acoustic resistance Rms/Sd², Pa·s/m³."""
        return self.rms_kg_per_s / self.sd_m2**2


@dataclass(frozen=True, kw_only=True, slots=True)
class PassiveRadiatorBox:
    """Closed box with a passive radiator in the place of the port.

    Attributes
    ----------
    volume_m3 : net volume, m³.
    radiator : all radiators together.
    gain : acoustic enlargement by fill, dimensionless.
    ql, qa : leakage and absorption Q at ``q_frequency_hz``; infinity for none.
    q_frequency_hz : where the Qs are stated, usually the tuning.
    moving_kg : moving mass of all radiators together where it isn't their own, as a column for many boxes.
    """

    volume_m3: Real
    radiator: PassiveRadiator
    gain: float = 1.0
    ql: float = 7.0
    qa: float = math.inf
    q_frequency_hz: Real = 30.0
    moving_kg: Real | None = None
    space: Space = "half"
    radiates: bool = True

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        omega = 2.0 * math.pi * frequency_hz
        unit = self.radiator
        mass = unit.mms_kg if self.moving_kg is None else self.moving_kg
        reactance = omega * mass / unit.sd_m2**2 - 1.0 / (omega * unit.compliance_m3_per_pa)
        return load_with_opening(
            frequency_hz,
            air,
            compliance=box_compliance_m3_per_pa(self.volume_m3, gain=self.gain, air=air),
            qa=self.qa,
            ql=self.ql,
            q_frequency_hz=self.q_frequency_hz,
            opening=np.asarray(unit.resistance_pa_s_per_m3 + 1j * reactance, dtype=np.complex128),
            opening_resistance=unit.resistance_pa_s_per_m3,
            space=self.space,
            radiates=self.radiates,
        )


def radiator_tuning_hz(radiator: PassiveRadiator, acoustic_volume_m3: float, *, air: Air = AIR_20C) -> float:
    """Resonance in Hz of a radiator on the air of a box, the driver held still.

    fb = √[(1/Cab + 1/Cap)/Map]/(2π): the radiator's own suspension stiffens the air of the box.

    Parameters
    ----------
    radiator : all radiators together.
    acoustic_volume_m3 : net volume times fill gain, m³.
    air : state of the air.

    Source
    ------
    [small-1974-passive], Part I.
    """
    box = box_compliance_m3_per_pa(acoustic_volume_m3, air=air)
    stiffness = 1.0 / box + 1.0 / radiator.compliance_m3_per_pa
    return math.sqrt(stiffness / radiator.mass_kg_per_m4) / (2.0 * math.pi)


def radiator_mass_for_kg(
    tuning_hz: float, radiator: PassiveRadiator, acoustic_volume_m3: float, *, air: Air = AIR_20C
) -> float:
    """Moving mass in kg that tunes a radiator on a box, (1/Cab + 1/Cap)·Sd²/(2π·fb)².

    Parameters
    ----------
    tuning_hz : wanted, Hz.
    radiator : all radiators together; their mass doesn't count.
    acoustic_volume_m3 : net volume times fill gain, m³.
    air : state of the air.

    Source
    ------
    [small-1974-passive], Part I.
    """
    box = box_compliance_m3_per_pa(acoustic_volume_m3, air=air)
    stiffness = 1.0 / box + 1.0 / radiator.compliance_m3_per_pa
    return float(stiffness * radiator.sd_m2**2 / (2.0 * math.pi * tuning_hz) ** 2)


def passive_radiator_response(
    frequency_ratio: Real, qts: float, alpha: float, delta: float, tuning_ratio: float
) -> ComplexArray:
    """Normalised response of a lossless passive-radiator box at f/fs.

    With s = jf/fs, α = Vas/Vb, δ the radiator's compliance over the box's and p = f_p/fs its free resonance
    over the driver's: the radiator's admittance over the box's is A = δ·(s/p)²/[1 + (s/p)²], the driver's
    resonance sees s² + s/Qts + 1 + α/(1 + A), and 1/(1 + A) of its volume velocity leaves the box. The zero
    at f_p is what sets this box apart from a vented one.

    Parameters
    ----------
    frequency_ratio : f/fs, any shape.
    qts : driver's total Q with source resistance.
    alpha : Vas/Vb, dimensionless.
    delta : Cap/Cab, the radiator's compliance ratio, dimensionless.
    tuning_ratio : free resonance of the radiator over fs, dimensionless.

    Returns
    -------
    Complex gain over the passband, dimensionless.

    Source
    ------
    [small-1974-passive], Part I, in substance; this form [derived].
    """
    s = 1j * np.asarray(frequency_ratio, dtype=np.float64)
    own = (s / tuning_ratio) ** 2
    # 1/(1 + A) written without the pole of A at the radiator's own resonance
    share = (1.0 + own) / (1.0 + own + delta)
    return np.asarray(s**2 * share / (s**2 + s / qts + 1.0 + alpha * share), dtype=np.complex128)


@dataclass(frozen=True, kw_only=True, slots=True)
class BandPassBox:
    """Driver between a closed rear chamber and a vented front chamber; only the front chamber's port sounds.

    Attributes
    ----------
    rear_m3, front_m3 : net volumes, m³.
    tuning_hz : of the front chamber with its port, Hz.
    rear_gain : acoustic enlargement of the rear by fill, dimensionless.
    rear_qa : absorption Q of the rear chamber at ``rear_hz``.
    rear_hz : resonance of the driver on the rear chamber, where its Q is stated, Hz.
    ql, qp : leakage and port Q of the front chamber at ``tuning_hz``; infinity for none.
    """

    rear_m3: Real
    front_m3: Real
    tuning_hz: Real
    rear_gain: float = 1.0
    rear_qa: float = math.inf
    rear_hz: Real = 50.0
    ql: float = 7.0
    qp: float = math.inf
    space: Space = "half"
    radiates: bool = True

    def load(self, frequency_hz: FloatArray, air: Air) -> AcousticLoad:
        """Acoustic load at the frequencies (1-D, Hz)."""
        omega = 2.0 * math.pi * frequency_hz
        rear = box_compliance_m3_per_pa(self.rear_m3, gain=self.rear_gain, air=air)
        front = box_compliance_m3_per_pa(self.front_m3, air=air)
        absorption = (
            0.0 if math.isinf(self.rear_qa) else 1.0 / (2.0 * math.pi * self.rear_hz * rear * self.rear_qa)
        )
        omega_b = 2.0 * math.pi * self.tuning_hz
        port_r = 0.0 if math.isinf(self.qp) else 1.0 / (omega_b * front * self.qp)
        port = port_r + 1j * omega / (omega_b**2 * front)
        leakage = math.inf if math.isinf(self.ql) else self.ql / (omega_b * front)
        radiation = radiation_load_pa_s_per_m3(frequency_hz, air, self.space, self.radiates)
        admittance = 1.0 / port + (0.0 if math.isinf(self.ql) else 1.0 / leakage)
        outward = 1.0 / admittance + radiation  # port and leak together, then the air outside
        air_front = 1.0 / (1j * omega * front)
        output = np.asarray(air_front / (air_front + outward), dtype=np.complex128)
        through_port = np.asarray(output / (port * admittance), dtype=np.complex128)
        branches = [Branch(name="radiation", ratio=output, resistance_pa_s_per_m3=radiation)]
        if not math.isinf(self.rear_qa):
            one = np.ones_like(output)
            branches.append(Branch(name="absorption", ratio=one, resistance_pa_s_per_m3=absorption))
        if not math.isinf(self.ql):
            leak = np.asarray(output / (leakage * admittance), dtype=np.complex128)
            branches.append(Branch(name="leakage", ratio=leak, resistance_pa_s_per_m3=leakage))
        if not math.isinf(self.qp):
            branches.append(Branch(name="port", ratio=through_port, resistance_pa_s_per_m3=port_r))
        closed = absorption + 1.0 / (1j * omega * rear)
        return AcousticLoad(
            impedance_pa_s_per_m3=np.asarray(closed + output * outward, dtype=np.complex128),
            output_ratio=output,
            opening_ratio=through_port,
            branches=tuple(branches),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class BandPassShape:
    """A symmetrical fourth-order band-pass: both chambers and what they give."""

    rear_m3: float  # acoustic volume
    front_m3: float
    tuning_hz: float  # of the front, and resonance of driver and rear
    qtc: float  # of driver and rear chamber
    gain_db: float  # mid-band level over the driver's reference
    ripple_db: float  # dip in the middle under the two humps, 0 for a damping of 0.707 and above
    low_hz: float  # −3 dB against mid-band
    high_hz: float


def band_pass_response(frequency_ratio: Real, qtc: float, damping: float) -> ComplexArray:
    """Response of the lossless symmetrical band-pass over the driver's reference level at f/fb.

    H = 1/[p² + p/Qtc + κ] with p = s + 1/s and κ = 1/(2·S·Qtc)²: a second-order low-pass of damping S turned
    into a band-pass.

    Parameters
    ----------
    frequency_ratio : f/fb, any shape.
    qtc : Q of driver and rear chamber.
    damping : S, dimensionless; 0.707 is flat.

    Returns
    -------
    Complex ratio, dimensionless.

    Source
    ------
    [fincham-1979], [geddes-1989] in substance; this form [derived].
    """
    s = 1j * np.asarray(frequency_ratio, dtype=np.float64)
    p = s + 1.0 / s
    return np.asarray(1.0 / (p**2 + p / qtc + 1.0 / (2.0 * damping * qtc) ** 2), dtype=np.complex128)


def band_pass_edges(qtc: float, damping: float) -> tuple[float, float]:
    """Ratios f/fb at which the symmetrical band-pass is 3 dB under its middle.

    Their product is 1 and their difference b/Qtc with b = √{[1 − 2S² + √((1 − 2S²)² + 1)]}/(2S).

    Parameters
    ----------
    qtc : Q of driver and rear chamber.
    damping : S, dimensionless.

    Returns
    -------
    (low, high), dimensionless.

    Source
    ------
    [fincham-1979]; table in [margerand-1988]: S 0.7, 0.6, 0.5 give b 0.7206, 0.9560, 1.2712.

    >>> low, high = band_pass_edges(1.0, 0.5)
    >>> round(high - low, 4)
    1.272
    """
    half = 1.0 - 2.0 * damping**2
    spread = math.sqrt(half + math.sqrt(half * half + 1.0)) / (2.0 * damping * qtc)
    high = 0.5 * spread + math.sqrt(0.25 * spread**2 + 1.0)
    return 1.0 / high, high


def band_pass_shape(fs_hz: float, qts: float, vas_m3: float, qtc: float, damping: float) -> BandPassShape:
    """Both chambers of a symmetrical fourth-order band-pass.

    Vr = Vas/[(Qtc/Qts)² − 1], Vf = (2·S·Qts)²·Vas, fb = fs·Qtc/Qts, gain 20·lg(4·S²·Qtc²).

    Parameters
    ----------
    fs_hz, qts, vas_m3 : driver with source resistance.
    qtc : Q of driver and rear chamber, above Qts.
    damping : S, 0.3 … 1, dimensionless.

    Raises
    ------
    RangeError : a Qtc that no closed chamber gives, or a damping outside the range.

    Source
    ------
    [fincham-1979]; [margerand-1988] for this form.
    """
    if not qtc > qts:
        raise RangeError(
            message="A closed rear chamber only raises the driver's Q.",
            quantity="Qtc",
            value=f"{qtc:.3g}",
            limit=f"above Qts = {qts:.3g}",
            source="fincham-1979",
            remedy="Ask for a higher Qtc, or take a driver of lower Qts.",
        )
    if not 0.3 <= damping <= 1.0:
        raise RangeError(
            message="The band-pass is outside the range of its tables.",
            quantity="damping S",
            value=f"{damping:.3g}",
            limit="0.3 … 1",
            source="margerand-1988",
            remedy="Use 0.7 for a flat passband, 0.5 for a wider one with 1.25 dB of ripple.",
        )
    tuning = fs_hz * qtc / qts
    low, high = band_pass_edges(qtc, damping)
    hump = 1.0 / (2.0 * damping * math.sqrt(1.0 - damping**2)) if damping < math.sqrt(0.5) else 1.0
    return BandPassShape(
        rear_m3=vas_m3 / ((qtc / qts) ** 2 - 1.0),
        front_m3=(2.0 * damping * qts) ** 2 * vas_m3,
        tuning_hz=tuning,
        qtc=qtc,
        gain_db=20.0 * math.log10((2.0 * damping * qtc) ** 2),
        ripple_db=20.0 * math.log10(hump),
        low_hz=low * tuning,
        high_hz=high * tuning,
    )
