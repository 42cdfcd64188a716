"""What the finished box does: curves, limits of level, power for a level, coil temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.boxes import BoxModel
from subwright.physics.acoustics.circuit import (
    PowerShares,
    Response,
    group_delay_s,
    passband_pressure_pa_per_v,
    solve,
)
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.radiation import level_db
from subwright.physics.acoustics.thermal import (
    CoilThermal,
    compression_db,
    crest_ratio,
    resistance_ratio,
)
from subwright.stages.enclosure_spec import CabinData, HighPass

__all__ = [
    "FREQUENCY_HZ",
    "LIMIT_NAMES",
    "CoilHeat",
    "LevelDemand",
    "LimitBand",
    "MaxLevel",
    "SpeakerSystem",
    "cutoff_hz",
    "upper_cutoff_hz",
]

Array = NDArray[np.float64]

FREQUENCY_HZ: Final[Array] = np.geomspace(10.0, 500.0, 200)
FREQUENCY_HZ.flags.writeable = False
_SINE_CREST_DB: Final = 20.0 * math.log10(math.sqrt(2.0))
_ROOT2: Final = math.sqrt(2.0)
LIMIT_NAMES: Final = (
    "excursion",
    "coil heat",
    "port air speed",
    "radiator excursion",
    "amplifier",
    "infrasonic filter",
)
_FILTER_FELT = 10.0 ** (-1.0 / 20.0)  # where it takes less than 1 dB, the amplifier is what limits


@dataclass(frozen=True, kw_only=True, slots=True)
class LimitBand:
    """A stretch of frequency in which one thing limits the level."""

    limit: str
    low_hz: float
    high_hz: float
    lowest_db: float  # of the level in it, half space
    highest_db: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MaxLevel:
    """The loudest sine at each frequency, and what stops it."""

    frequency_hz: Array
    drive_v: Array  # rms
    level_db: Array  # 1 m, half space
    cabin_level_db: Array
    limited_by: tuple[str, ...]  # one of ``LIMIT_NAMES`` for each frequency

    @property
    def bands(self) -> tuple[LimitBand, ...]:
        """Neighbouring frequencies with one limit, from low to high."""
        bands: list[LimitBand] = []
        last = len(self.limited_by) - 1
        start = 0
        for i, name in enumerate(self.limited_by):
            if i == last or self.limited_by[i + 1] != name:
                low = self.frequency_hz[0] if not bands else bands[-1].high_hz
                high = self.frequency_hz[i]
                if i < last:  # the limits cross between two frequencies
                    high = math.sqrt(high * self.frequency_hz[i + 1])
                levels = self.level_db[start : i + 1]
                bands.append(
                    LimitBand(
                        limit=name,
                        low_hz=float(low),
                        high_hz=float(high),
                        lowest_db=float(levels.min()),
                        highest_db=float(levels.max()),
                    )
                )
                start = i + 1
        return tuple(bands)


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelDemand:
    """What one level at one frequency takes."""

    level_db: float
    frequency_hz: float
    drive_v: float  # rms, at the amplifier's ideal source
    power_w: float  # real power delivered, source resistance included
    current_a: float  # rms
    rated_load_power_w: float  # what the same voltage gives into the rated impedance
    excursion_m: float  # peak
    port_speed_m_per_s: float | None  # peak
    within_limits: bool
    limited_by: str  # the tightest limit, "" while none is exceeded


@dataclass(frozen=True, kw_only=True, slots=True)
class CoilHeat:
    """Steady coil temperature at the frequency that heats it most."""

    rise_k: float  # over ambient
    temperature_c: float
    frequency_hz: float
    compression_db: float  # level lost against the cold coil, negative


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SpeakerSystem:
    """Driver group on its box behind the amplifier's resistance, with all limits of level."""

    driver: DriverModel
    box: BoxModel
    source_ohm: float
    xmax_m: float
    power_w: float  # coil heat that the rated power allows
    rated_ohm: float
    port_area_m2: float | None
    port_speed_limit_m_per_s: float
    thermal: CoilThermal | None
    cabin: CabinData
    xdamage_m: float | None = None
    highpass: HighPass | None = None  # infrasonic filter before the amplifier
    radiator_area_m2: float | None = None
    radiator_xmax_m: float | None = None
    air: Air = AIR_20C

    def solve(self, frequency_hz: Array) -> Response:
        """Circuit solution per volt at frequencies in Hz (1-D)."""
        return solve(self.driver, self.box, frequency_hz, source_ohm=self.source_ohm, air=self.air)

    def group_delay_s(self, frequency_hz: Array) -> Array:
        """Group delay in s at frequencies in Hz (1-D)."""
        return group_delay_s(self.driver, self.box, frequency_hz, source_ohm=self.source_ohm, air=self.air)

    def power_shares(self, frequency_hz: Array, drive_v: float | Array) -> PowerShares:
        """Where the power goes at frequencies in Hz (1-D) and an rms drive voltage (scalar or same shape)."""
        return self.solve(frequency_hz).power_shares(drive_v)

    def excursion_limit_v(self, response: Response) -> Array:
        """Rms drive that takes the cone to xmax, V, at the response's frequencies."""
        return self.xmax_m / (_ROOT2 * response.excursion_m_per_v)

    def port_speed_at_1v(self, response: Response) -> Array | None:
        """Peak air speed in m/s per rms volt, None without a port."""
        if self.port_area_m2 is None:
            return None
        return _ROOT2 * response.opening_m3_per_s_per_v / self.port_area_m2

    def radiator_excursion_at_1v(self, response: Response) -> Array | None:
        """Peak excursion of the passive radiators in m per rms volt, None without one."""
        if self.radiator_area_m2 is None:
            return None
        omega = 2.0 * math.pi * response.frequency_hz
        return _ROOT2 * response.opening_m3_per_s_per_v / (self.radiator_area_m2 * omega)

    def limits_v(
        self,
        response: Response,
        clip_v: float,
        crest_factor_db: float,
        excursion_m: float | None = None,
    ) -> Array:
        """Rms drive limits in V, rows as in ``LIMIT_NAMES``, columns by frequency; infinite where none.

        Programme of a crest factor heats the coil less than a sine of the same peaks.
        """
        coil_w = np.abs(response.current_a_per_v) ** 2 * self.driver.re_ohm
        heat = np.sqrt(self.power_w / coil_w) * (crest_ratio(crest_factor_db) / _ROOT2)
        speed = self.port_speed_at_1v(response)
        port = np.full_like(heat, np.inf) if speed is None else self.port_speed_limit_m_per_s / speed
        moved = self.radiator_excursion_at_1v(response)
        if moved is None or self.radiator_xmax_m is None:
            radiator = np.full_like(heat, np.inf)
        else:
            radiator = self.radiator_xmax_m / moved
        clip = np.full_like(heat, clip_v)
        filtered = np.full_like(heat, np.inf)
        if self.highpass is not None and math.isfinite(clip_v):
            gain = np.abs(self.highpass(response.frequency_hz))
            felt = gain < _FILTER_FELT
            filtered = np.where(felt, clip_v * gain, np.inf)
            clip = np.where(felt, np.inf, clip_v * np.minimum(gain, 1.0))
        cone = self.excursion_limit_v(response) * ((excursion_m or self.xmax_m) / self.xmax_m)
        return np.stack((cone, heat, port, radiator, clip, filtered))

    def max_level(
        self,
        clip_v: float,
        *,
        frequency_hz: Array | None = None,
        crest_factor_db: float = _SINE_CREST_DB,
    ) -> MaxLevel:
        """Loudest sine at each frequency.

        Parameters
        ----------
        clip_v : rms voltage of a sine at the onset of clipping, V; infinity for the driver's own limits.
        frequency_hz : 1-D, Hz; the standard grid by default.
        crest_factor_db : dB; above 3.01 dB the coil may be driven to the same peaks at less heat.
        """
        response = self.solve(FREQUENCY_HZ if frequency_hz is None else frequency_hz)
        return self.max_level_of(response, clip_v, crest_factor_db=crest_factor_db)

    def max_level_of(
        self,
        response: Response,
        clip_v: float,
        *,
        crest_factor_db: float = _SINE_CREST_DB,
        excursion_m: float | None = None,
    ) -> MaxLevel:
        """Loudest sine at each frequency of a circuit solution at hand.

        The infrasonic filter counts: with the source at full level it holds the amplifier below clipping.

        Parameters
        ----------
        response : of this system.
        clip_v : rms voltage of a sine at the onset of clipping, V.
        crest_factor_db : dB, for the coil's heat.
        excursion_m : allowed peak excursion, m; xmax by default.
        """
        limits = self.limits_v(response, clip_v, crest_factor_db, excursion_m)
        which = np.argmin(limits, axis=0)
        drive = np.take_along_axis(limits, which[None, :], axis=0)[0]
        level = np.asarray(level_db(np.abs(response.pressure_pa_per_v) * drive))
        return MaxLevel(
            frequency_hz=response.frequency_hz,
            drive_v=drive,
            level_db=level,
            cabin_level_db=level + self.cabin.gain_at_db(response.frequency_hz),
            limited_by=tuple(LIMIT_NAMES[i] for i in which.tolist()),
        )

    def demand(
        self,
        level: float,
        frequency_hz: float,
        *,
        in_cabin: bool = False,
        clip_v: float = math.inf,
        crest_factor_db: float = _SINE_CREST_DB,
    ) -> LevelDemand:
        """Drive and power for a level in dB at 1 m (half space, or in the cabin) at one frequency in Hz.

        Parameters
        ----------
        level : dB re 20 µPa.
        frequency_hz : Hz.
        in_cabin : whether the level counts the cabin's gain.
        clip_v : rms voltage of a sine at the onset of clipping, V.
        crest_factor_db : dB, for the coil's heat.
        """
        frequency = np.array([frequency_hz])
        response = self.solve(frequency)
        at_1v = float(np.asarray(level_db(np.abs(response.pressure_pa_per_v)))[0])
        if in_cabin:
            at_1v += float(self.cabin.gain_at_db(frequency)[0])
        drive = 10.0 ** ((level - at_1v) / 20.0)
        limits = self.limits_v(response, clip_v, crest_factor_db)[:, 0]
        tightest = int(np.argmin(limits))
        within = bool(drive <= limits[tightest])
        current = complex(response.current_a_per_v[0])
        speed = self.port_speed_at_1v(response)
        return LevelDemand(
            level_db=level,
            frequency_hz=frequency_hz,
            drive_v=drive,
            power_w=current.real * drive**2,
            current_a=abs(current) * drive,
            rated_load_power_w=drive**2 / self.rated_ohm,
            excursion_m=float(response.excursion_m_per_v[0]) * drive * _ROOT2,
            port_speed_m_per_s=None if speed is None else float(speed[0]) * drive,
            within_limits=within,
            limited_by="" if within else LIMIT_NAMES[tightest],
        )

    def coil_heat(
        self,
        frequency_hz: Array,
        drive_v: Array,
        *,
        ambient_c: float,
        crest_factor_db: float = _SINE_CREST_DB,
    ) -> CoilHeat | None:
        """Steady coil temperature with its resistance rising, at the worst of the frequencies.

        Parameters
        ----------
        frequency_hz : 1-D, Hz.
        drive_v : rms drive of a sine with the programme's peaks, V, same shape.
        ambient_c : °C.
        crest_factor_db : dB; the mean square falls with the square of the crest.

        Returns
        -------
        CoilHeat, or None where the driver's thermal data are unknown.

        Source
        ------
        [button-1992] in substance; the fixed point is [derived].
        """
        if self.thermal is None:
            return None
        cold = self.solve(frequency_hz)
        total = 1.0 / cold.current_a_per_v  # source and terminal impedance with the coil at 20 °C
        re = self.driver.re_ohm
        mean_square = drive_v**2 * 2.0 / crest_ratio(crest_factor_db) ** 2
        rth = self.thermal.coil_k_per_w + self.thermal.magnet_k_per_w
        rise = np.zeros_like(frequency_hz)
        # A hotter coil takes less power, so a shortened step settles without swinging.
        for _ in range(40):
            ratio = resistance_ratio(ambient_c - 20.0 + rise)
            power = mean_square * re * ratio / np.abs(total + re * (ratio - 1.0)) ** 2
            change = rth * power - rise
            rise = rise + 0.6 * change
            if np.max(np.abs(change)) < 1e-6 * (1.0 + np.max(rise)):
                break
        worst = int(np.argmax(rise))
        hottest = float(rise[worst])
        return CoilHeat(
            rise_k=hottest,
            temperature_c=ambient_c + hottest,
            frequency_hz=float(frequency_hz[worst]),
            compression_db=float(
                compression_db(ambient_c - 20.0 + hottest, source_ratio=self.source_ohm / re)
            ),
        )

    def passband_level_db(self, drive_v: float) -> float:
        """Level in dB at 1 m, half space, far above resonance, without coil inductance, at a drive in V."""
        pressure = passband_pressure_pa_per_v(self.driver, source_ohm=self.source_ohm, air=self.air)
        return float(level_db(pressure * drive_v))


def cutoff_hz(
    frequency_hz: Array, level: Array, reference_db: float, drop_db: float = 3.0103
) -> float | None:
    """Frequency above which a level stays within ``drop_db`` of the reference up to its greatest value, Hz.

    Parameters
    ----------
    frequency_hz : 1-D ascending, Hz.
    level : dB, same shape.
    reference_db : passband level; where the response never reaches it, its own greatest value counts.
    drop_db : dB.

    Returns
    -------
    Frequency by interpolation over log frequency, or None where it lies below the first one.

    Source
    ------
    [small-1972-closed] for the definition of f3.
    """
    top = int(np.argmax(level))
    threshold = min(reference_db, float(level[top])) - drop_db
    below = np.flatnonzero(level[: top + 1] < threshold)
    if below.size == 0:
        return None
    i = int(below[-1])
    share = (threshold - level[i]) / (level[i + 1] - level[i])
    return float(frequency_hz[i] * (frequency_hz[i + 1] / frequency_hz[i]) ** share)


def upper_cutoff_hz(
    frequency_hz: Array, level: Array, reference_db: float, drop_db: float = 3.0103
) -> float | None:
    """Frequency below which a level stays within ``drop_db`` of the reference down to its greatest value, Hz.

    Parameters
    ----------
    frequency_hz : 1-D ascending, Hz.
    level : dB, same shape.
    reference_db : passband level; where the response never reaches it, its own greatest value counts.
    drop_db : dB.

    Returns
    -------
    Frequency by interpolation over log frequency, or None where it lies above the last one.

    Source
    ------
    [small-1972-closed] for the definition of f3.
    """
    mirrored = cutoff_hz(1.0 / frequency_hz[::-1], level[::-1], reference_db, drop_db)
    return None if mirrored is None else 1.0 / mirrored
