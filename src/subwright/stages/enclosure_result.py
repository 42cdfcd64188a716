"""What the box stage hands on: the box as built, and what the driver does in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from subwright.physics.acoustics.circuit import PowerShares
from subwright.physics.acoustics.cutting import CutPlan
from subwright.stages.common import Contributor, Corner, Loss, PartUse, Rating
from subwright.stages.enclosure_electronics import Compartment
from subwright.stages.enclosure_panels import Panel
from subwright.stages.enclosure_port import Port
from subwright.stages.enclosure_response import (
    FREQUENCY_HZ,
    CoilHeat,
    LevelDemand,
    MaxLevel,
    SpeakerSystem,
)
from subwright.stages.enclosure_solid import Balance, Board
from subwright.stages.enclosure_spec import BoxKind, Chambers, Joint, OutlineKind, Radiator

__all__ = ["EnclosureResult"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class EnclosureResult:
    """The box as built, and what the driver does in it.

    Arrays run over ``frequency_hz``. "Full" is the drive voltage of ``full_drive_v`` through the infrasonic
    filter where one was given. Levels are dB re 20 µPa at 1 m in half space.
    """

    kind: BoxKind
    family: str  # alignment the box was aimed at
    net_volume_m3: float  # of the box as built
    target_volume_m3: float
    gross_volume_m3: float  # inner volume with everything in it
    displaced_m3: Mapping[str, float]
    inner_width_m: float
    inner_height_m: float
    inner_depth_m: float
    outer_width_m: float
    outer_height_m: float
    outer_depth_m: float
    room_width_m: float | None
    room_height_m: float | None
    room_depth_m: float | None
    limited_by_room: bool
    fill: str
    fill_gain: float
    leakage_q: float | None  # None: taken as tight
    absorption_q: float | None
    port_q: float | None
    compliance_ratio: float  # Vas over acoustic volume
    qts_with_source: float
    source_ohm: float
    fc_hz: float  # resonance with the port closed
    qtc: float  # total Q of that resonance, box losses included
    tuning_hz: float | None  # of the box as built; of a band-pass, its vented chamber
    target_tuning_hz: float | None
    f3_hz: float | None  # None: below the lowest frequency shown
    f10_hz: float | None
    upper_f3_hz: float | None  # of a band-pass; None where the response has no upper end of its own
    passband_db: float  # for 2.83 V, far above resonance, without coil inductance; band-pass: in its middle
    peak_db: float  # highest level over the passband, 0 where there is none

    port: Port | None
    radiator: Radiator | None
    radiator_excursion_m: float | None  # greatest peak at full drive from the lowest note up
    radiator_excursion_at_hz: float | None
    chambers: Chambers | None
    port_speed_m_per_s: (
        float | None
    )  # greatest peak at full drive from the lowest note up, cone at xmax at most
    port_speed_at_hz: float | None
    port_speed_limit_m_per_s: float
    port_area_wanted_m2: float | None  # least that keeps the speed limit

    full_drive_v: float
    lowest_note_hz: float
    upper_hz: float
    excursion_m: float  # greatest peak at full drive from the lowest note up
    excursion_at_hz: float
    infrasonic_excursion_m: float  # the same below the lowest note
    infrasonic_excursion_at_hz: float
    xmax_m: float
    xdamage_m: float | None
    box_pressure_pa: float  # peak, cone at xmax below resonance
    coil_full: CoilHeat | None  # steady sine
    coil_programme: CoilHeat | None
    coil_max_c: float | None
    impedance_min_ohm: float  # at the driver's terminals, lowest note to upper corner
    impedance_min_at_hz: float
    nominal_impedance_ohm: float

    outline: OutlineKind
    outer_depth_top_m: float
    front_slope: float  # how far front and back lean inward per height, ratio
    back_slope: float
    panels: tuple[Panel, ...]
    boards: tuple[Board, ...]  # in space
    compartment: Compartment | None  # of the electronics, when inside
    balance: Balance
    joint: Joint
    wall_k_per_w: float  # thermal resistance from the air inside to that outside
    front_layers: int
    braces: int
    panel_resonance_hz: float
    panel_resonance_of: str
    panel_resonance_limit_hz: float
    cut_plan: CutPlan
    driver_depth_m: float | None
    driver_frame_m: float
    driver_room_m: float  # free depth behind the front panel's face
    wood_kg: float
    mass_kg: float  # with driver and port; without electronics

    frequency_hz: Array
    spl_db: Array  # for 2.83 V
    full_spl_db: Array
    full_cabin_spl_db: Array
    full_excursion_m: Array  # peak
    full_port_speed_m_per_s: Array | None  # peak
    full_radiator_excursion_m: Array | None  # peak
    group_delay_s: Array
    impedance_ohm: NDArray[np.complex128]
    excursion_limit_v: Array  # rms drive at which the cone reaches xmax
    limits: MaxLevel  # at full drive's voltage, programme crest factor
    own_limits: MaxLevel  # the same without an amplifier's limit
    limits_crest_db: float

    ratings: tuple[Rating, ...]
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
    _system: SpeakerSystem = field(repr=False)

    @property
    def system(self) -> SpeakerSystem:
        """The acoustic model of the box as built, for any frequency and voltage."""
        return self._system

    def power_shares(self, frequency_hz: float | Array, drive_v: float | Array) -> PowerShares:
        """Where the amplifier's power goes, as heat and as sound.

        Parameters
        ----------
        frequency_hz : Hz, scalar or 1-D.
        drive_v : rms voltage at the amplifier's ideal source, V; scalar or of the same shape.

        Returns
        -------
        PowerShares : arrays in W; their sum equals the input.
        """
        return self._system.power_shares(np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64)), drive_v)

    def max_level(
        self, clip_v: float, *, frequency_hz: Array | None = None, crest_factor_db: float | None = None
    ) -> MaxLevel:
        """Loudest level at each frequency and what limits it, for an amplifier that clips at ``clip_v``.

        Parameters
        ----------
        clip_v : rms voltage of a sine at the onset of clipping, V.
        frequency_hz : 1-D, Hz; the standard grid by default.
        crest_factor_db : dB, for the coil's heat; the design's programme by default.
        """
        crest = self.limits_crest_db if crest_factor_db is None else crest_factor_db
        return self._system.max_level(clip_v, frequency_hz=frequency_hz, crest_factor_db=crest)

    def corner_levels(
        self, clip_v: Mapping[Corner, float], *, frequency_hz: Array | None = None
    ) -> Mapping[Corner, MaxLevel]:
        """Loudest level at each battery corner, for the design's programme.

        Parameters
        ----------
        clip_v : by corner, rms voltage of a sine at the onset of clipping at the amplifier's ideal source, V;
            the sag of rails and battery is in it.
        frequency_hz : 1-D, Hz; the standard grid by default.

        Source
        ------
        [derived]
        """
        response = self._system.solve(FREQUENCY_HZ if frequency_hz is None else frequency_hz)
        crest = self.limits_crest_db
        return {
            corner: self._system.max_level_of(response, volts, crest_factor_db=crest)
            for corner, volts in clip_v.items()
        }

    def damage_level(self, clip_v: float, *, frequency_hz: Array | None = None) -> MaxLevel:
        """Level at which something breaks: the cone at its damaging displacement, the coil at rated power.

        Parameters
        ----------
        clip_v : rms voltage of a sine at the onset of clipping, V.
        frequency_hz : 1-D, Hz; the standard grid by default.

        Source
        ------
        [iec-60268-5] for the rated power.
        """
        response = self._system.solve(FREQUENCY_HZ if frequency_hz is None else frequency_hz)
        return self._system.max_level_of(
            response, clip_v, crest_factor_db=self.limits_crest_db, excursion_m=self.xdamage_m
        )

    def demand(
        self, level: float, frequency_hz: float, *, in_cabin: bool = False, clip_v: float = math.inf
    ) -> LevelDemand:
        """Drive and power for a level at one frequency; see ``SpeakerSystem.demand``.

        Parameters
        ----------
        level : dB re 20 µPa at 1 m.
        frequency_hz : Hz.
        in_cabin : whether the level counts the cabin's gain.
        clip_v : rms voltage of a sine at the onset of clipping, V.
        """
        return self._system.demand(
            level, frequency_hz, in_cabin=in_cabin, clip_v=clip_v, crest_factor_db=self.limits_crest_db
        )
