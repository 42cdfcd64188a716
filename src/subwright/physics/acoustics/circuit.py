"""The electro-mechano-acoustical equivalent circuit of a loudspeaker, solved over an array of frequencies."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.physics.acoustics._types import ComplexArray, FloatArray
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.boxes import AcousticLoad, BoxModel
from subwright.physics.acoustics.impedance import lossy_inductance_ohm
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.radiation import pressure_per_volume_velocity_pa_s_per_m3

__all__ = ["PowerShares", "Response", "group_delay_s", "passband_pressure_pa_per_v", "solve"]

_DELAY_STEP = 1e-5  # relative frequency step of the group delay's central difference


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PowerShares:
    """Where the power goes that the amplifier delivers, in W, arrays over frequency."""

    frequency_hz: FloatArray
    input_w: FloatArray  # at the source's terminals, before source resistance
    source_w: FloatArray  # heat in source resistance (amplifier output, cable)
    coil_w: FloatArray  # heat in the voice coil's wire
    eddy_w: FloatArray  # heat in the pole piece through the lossy inductance
    suspension_w: FloatArray  # mechanical loss
    leakage_w: FloatArray
    absorption_w: FloatArray
    port_w: FloatArray
    radiated_w: FloatArray  # sound

    @property
    def sum_w(self) -> FloatArray:
        """Sum of all shares; equals ``input_w``."""
        return (
            self.source_w
            + self.coil_w
            + self.eddy_w
            + self.suspension_w
            + self.leakage_w
            + self.absorption_w
            + self.port_w
            + self.radiated_w
        )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Response:
    """Solution of the circuit per volt (rms) of source voltage; complex arrays over frequency.

    Velocities and flows are positive outward; multiply by the rms drive voltage for rms values and by √2 for
    peaks.
    """

    driver: DriverModel
    load: AcousticLoad
    source_ohm: float
    frequency_hz: FloatArray
    impedance_ohm: ComplexArray  # at the driver's terminals
    current_a_per_v: ComplexArray
    velocity_m_per_s_per_v: ComplexArray
    pressure_pa_per_v: ComplexArray  # 1 m, half space, propagation delay removed

    @property
    def excursion_m_per_v(self) -> FloatArray:
        """Rms excursion per rms volt, m/V."""
        return np.abs(self.velocity_m_per_s_per_v) / (2.0 * math.pi * self.frequency_hz)

    @property
    def opening_m3_per_s_per_v(self) -> FloatArray:
        """Rms volume velocity through port or passive radiator per rms volt, m³/s/V."""
        return np.abs(self.load.opening_ratio * self.velocity_m_per_s_per_v) * self.driver.sd_m2

    def power_shares(self, drive_v: float | FloatArray = 1.0) -> PowerShares:
        """Split of the input power at a drive voltage.

        Parameters
        ----------
        drive_v : rms source voltage, V; scalar or one value for each frequency.

        Source
        ------
        [derived] (Tellegen's theorem on the circuit of [small-1972-direct]).
        """
        square = np.asarray(drive_v, dtype=np.float64) ** 2
        current = np.abs(self.current_a_per_v) ** 2 * square
        velocity = np.abs(self.velocity_m_per_s_per_v) ** 2 * square
        flow = velocity * self.driver.sd_m2**2
        acoustic = dict.fromkeys(("radiation", "leakage", "absorption", "port"), np.zeros_like(current))
        for branch in self.load.branches:
            share = np.abs(branch.ratio) ** 2 * branch.resistance_pa_s_per_m3 * flow
            acoustic[branch.name] = acoustic[branch.name] + share
        driver = self.driver
        eddy_ohm = lossy_inductance_ohm(self.frequency_hz, driver.coil_factor, driver.coil_exponent).real
        return PowerShares(
            frequency_hz=self.frequency_hz,
            input_w=np.real(self.current_a_per_v) * square,
            source_w=current * self.source_ohm,
            coil_w=current * self.driver.re_ohm,
            eddy_w=current * eddy_ohm,
            suspension_w=velocity * self.driver.rms_kg_per_s,
            leakage_w=acoustic["leakage"],
            absorption_w=acoustic["absorption"],
            port_w=acoustic["port"],
            radiated_w=acoustic["radiation"],
        )


def solve(
    driver: DriverModel,
    box: BoxModel,
    frequency_hz: FloatArray,
    *,
    source_ohm: float = 0.0,
    distance_m: float = 1.0,
    air: Air = AIR_20C,
) -> Response:
    """Solve the circuit for one volt of source voltage.

    Parameters
    ----------
    driver : lumped elements.
    box : anything with ``load``; see module ``boxes``.
    frequency_hz : 1-D array, Hz, > 0.
    source_ohm : resistance between ideal source and driver terminals, Ω.
    distance_m : distance of the pressure, m.
    air : state of the air.

    Returns
    -------
    Response : complex arrays of the frequencies' shape.

    Source
    ------
    [small-1972-direct] Fig. 2 and [small-1973-vented] Fig. 2 (circuit), with the radiation resistance kept.
    """
    omega = 2.0 * math.pi * frequency_hz
    load = box.load(frequency_hz, air)
    mechanical = (
        driver.rms_kg_per_s
        + 1j * (omega * driver.mms_kg - 1.0 / (omega * driver.cms_m_per_n))
        + driver.sd_m2**2 * load.impedance_pa_s_per_m3
    )
    impedance = driver.re_ohm + driver.bl_tm**2 / mechanical
    if driver.coil_factor > 0.0:
        impedance = impedance + lossy_inductance_ohm(frequency_hz, driver.coil_factor, driver.coil_exponent)
    current = 1.0 / (source_ohm + impedance)
    velocity = current * driver.bl_tm / mechanical
    per_flow = pressure_per_volume_velocity_pa_s_per_m3(frequency_hz, distance_m=distance_m, air=air)
    return Response(
        driver=driver,
        load=load,
        source_ohm=source_ohm,
        frequency_hz=frequency_hz,
        impedance_ohm=impedance,
        current_a_per_v=current,
        velocity_m_per_s_per_v=velocity,
        pressure_pa_per_v=1j * per_flow * driver.sd_m2 * load.output_ratio * velocity,
    )


def passband_pressure_pa_per_v(
    driver: DriverModel, *, source_ohm: float = 0.0, distance_m: float = 1.0, air: Air = AIR_20C
) -> float:
    """Pressure per volt far above resonance without coil inductance, ρ·Bl·Sd/(2π·r·(Re + Rs)·Mms), in Pa/V.

    Parameters
    ----------
    driver : lumped elements.
    source_ohm : resistance between ideal source and driver terminals, Ω.
    distance_m : m.
    air : state of the air.

    Source
    ------
    [small-1972-direct], mass-controlled range.
    """
    return (
        air.density_kg_per_m3
        * driver.bl_tm
        * driver.sd_m2
        / (2.0 * math.pi * distance_m * (driver.re_ohm + source_ohm) * driver.mms_kg)
    )


def group_delay_s(
    driver: DriverModel,
    box: BoxModel,
    frequency_hz: FloatArray,
    *,
    source_ohm: float = 0.0,
    air: Air = AIR_20C,
) -> FloatArray:
    """Group delay −dφ/dω of the radiated pressure in s, propagation delay excluded.

    Taken as the angle between solutions a hundred-thousandth below and above each frequency, so the grid's
    spacing doesn't enter and no phase needs unwrapping.

    Parameters
    ----------
    driver, box, frequency_hz, source_ohm, air : as for ``solve``.

    Source
    ------
    definition of group delay; [derived].
    """
    low, high = frequency_hz * (1.0 - _DELAY_STEP), frequency_hz * (1.0 + _DELAY_STEP)
    both = solve(driver, box, np.concatenate((low, high)), source_ohm=source_ohm, air=air).pressure_pa_per_v
    count = len(frequency_hz)
    turn = np.angle(both[count:] * np.conj(both[:count]))
    return -turn / (2.0 * math.pi * (high - low))
