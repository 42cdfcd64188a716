"""What the builder may say about the box, and what the box must be designed for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from subwright.base.fields import (
    Decibel,
    Frequency,
    Length,
    Mass,
    Ratio,
    Speed,
    StageSpec,
    Volume,
    choice,
    quantity,
)
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.thermal import CoilThermal

__all__ = [
    "AlignmentName",
    "Bend",
    "BoxKind",
    "CabinData",
    "Chambers",
    "DriverData",
    "EnclosureNeed",
    "EnclosureSpec",
    "Fill",
    "HighPass",
    "Joint",
    "OutlineKind",
    "Radiator",
    "RearCorner",
]

Fill = Literal["none", "lining", "light", "dense"]
Bend = Literal["straight", "one bend"]
BoxKind = Literal["sealed", "vented", "passive-radiator", "band-pass"]
AlignmentName = Literal[
    "auto",
    "critical",
    "bessel",
    "butterworth",
    "chebyshev",
    "flat",
    "sub-chebyshev",
    "boom-box",
    "keele",
    "margolis-small",
]
OutlineKind = Literal["rectangular", "wedge", "trapezoid"]
Joint = Literal["butt", "rebate"]
RearCorner = Literal["rear left bottom", "rear right bottom", "rear left top", "rear right top"]
HighPass = Callable[[NDArray[np.float64]], NDArray[np.complexfloating]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Chambers:
    """The two chambers of a band-pass box, side by side, the divider between them upright."""

    rear_width_m: float  # inner, left
    front_width_m: float  # inner, right, with the port
    rear_m3: float  # net
    front_m3: float  # net
    damping: float  # S that the volumes give
    low_hz: float  # −3 dB by the closed form, lossless
    high_hz: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Radiator:
    """The passive radiators of a box, each alike."""

    count: int
    sd_m2: float  # of one
    bare_kg: float  # moving mass of one without what is added
    added_kg: float  # to each, whole grams
    notch_hz: float  # resonance of the loaded radiator itself
    xmax_m: float | None
    frame_m: float
    hole_m: float
    depth_m: float | None
    on: str  # panel that it sits in


class EnclosureSpec(StageSpec):
    """What the builder may say about the box."""

    kind: BoxKind = choice(
        "sealed",
        why="sealed: small and tight; vented: louder and lower for its size, needs an infrasonic filter; "
        "passive-radiator: vented without air noise or pipe length; band-pass: driver between a closed and a "
        "vented chamber, louder in a narrow band.",
    )
    volume_m3: Volume | None = quantity(
        None,
        low="2 l",
        high="1000 l",
        why="Net volume, without driver, port and braces. auto: from Qtc or the alignment, within the room.",
    )
    room_width_m: Length | None = quantity(
        None, low="100 mm", high="3 m", why="Room available for the outside, width. auto: not limited."
    )
    room_height_m: Length | None = quantity(
        None, low="100 mm", high="3 m", why="Room available for the outside, height. auto: not limited."
    )
    room_depth_m: Length | None = quantity(
        None,
        low="80 mm",
        high="3 m",
        why="Room available for the outside, front to back. auto: not limited.",
    )
    outline: OutlineKind = choice(
        "rectangular",
        why="Seen from the side. wedge: the back leans like a seat; trapezoid: front and back lean alike. "
        "Both need room_height, room_depth (at the floor) and room_depth_top.",
    )
    room_depth_top_m: Length | None = quantity(
        None, low="60 mm", high="3 m", why="Room at the top, front to back, for a wedge or trapezoid."
    )
    qtc: Ratio | None = quantity(
        None,
        low="0.4",
        high="2",
        why="Total Q wanted from a sealed box, or of a band-pass's closed chamber. auto: 0.707.",
    )
    tuning_hz: Frequency | None = quantity(
        None,
        low="12 Hz",
        high="120 Hz",
        why="Tuning of a vented, passive-radiator or band-pass box. auto: from the alignment.",
    )
    alignment: AlignmentName = choice(
        "auto",
        why="Published alignment to start from. Sealed: critical (Qtc 0.5), bessel (0.577), butterworth "
        "(0.707), chebyshev (1.0, 1.2 dB of hump). Vented and passive-radiator: flat (QB3, B4 or C4 by Qts), "
        "sub-chebyshev (SC4), boom-box (SBB4), keele or margolis-small (closed-form fits). auto: "
        "butterworth, flat.",
    )
    ripple_db: Decibel = quantity(
        "0.5 dB",
        low="0 dB",
        high="6 dB",
        why="Peak allowed in the response where the volume, not the alignment, sets the tuning.",
    )
    ql: Ratio | None = quantity(
        None,
        low="3",
        high="100",
        why="Leakage Q. auto: 7 for a vented box, the usual starting value; a sealed box is taken as tight.",
    )
    qa: Ratio | None = quantity(None, low="3", high="200", why="Absorption Q. auto: by the fill.")
    qp: Ratio | None = quantity(
        None, low="5", high="200", why="Port Q. auto: none, QL stands for all losses of a vented box."
    )
    fill: Fill = choice(
        "none", why="Damping material: lining on the walls, light or dense filling (sealed boxes only)."
    )
    port_kind: Literal["round", "slot"] = choice(
        "round", why="round: pipe; slot: along the bottom, made of panels."
    )
    port_diameter_m: Length | None = quantity(
        None, low="20 mm", high="300 mm", why="Inner diameter of a round port. auto: from stock pipe."
    )
    port_count: Literal[1, 2, 3, 4] | None = choice(
        None, why="Round ports. auto: as many as the speed limit asks for."
    )
    port_flare_m: Length = quantity(
        "0 mm",
        low="0 mm",
        high="100 mm",
        why="Radius that both mouths of round ports are rounded to. The speed limit then holds where the "
        "mouth opens, for at most twice the speed in the throat.",
    )
    port_height_m: Length | None = quantity(
        None, low="10 mm", high="200 mm", why="Height of a slot port. auto: from the speed limit."
    )
    port_bend: Literal["auto", "straight", "one bend"] = choice(
        "auto", why="auto: straight where it fits, else one bend."
    )
    port_speed_limit_m_per_s: Speed = quantity(
        "17 m/s",
        low="7 m/s",
        high="34 m/s",
        why="Peak air speed in the port: under 10 m/s is silent, 17 m/s (5 % of the speed of sound) usual.",
    )
    band_damping: Ratio | None = quantity(
        None,
        low="0.4",
        high="1",
        why="Damping S of a band-pass: 0.7 is flat, 0.5 wider and 1.2 dB rippled. auto: 0.7, less in a tight "
        "room.",
    )
    radiator_diameter_m: Length | None = quantity(
        None, low="60 mm", high="620 mm", why="Passive radiator: diameter to the middle of the surround."
    )
    radiator_mass_kg: Mass | None = quantity(
        None, low="5 g", high="3 kg", why="Passive radiator: moving mass with air load, nothing added."
    )
    radiator_resonance_hz: Frequency | None = quantity(
        None, low="4 Hz", high="100 Hz", why="Passive radiator: free-air resonance, nothing added."
    )
    radiator_q: Ratio = quantity(
        "8",
        low="2",
        high="50",
        why="Passive radiator: mechanical Q. 8 is common practice without a source; measure where you can.",
    )
    radiator_xmax_m: Length | None = quantity(
        None, low="1 mm", high="100 mm", why="Passive radiator: linear displacement, one way. auto: no limit."
    )
    radiator_count: Literal[1, 2] = choice(1, why="Passive radiators on the box.")
    radiator_frame_m: Length | None = quantity(
        None, low="60 mm", high="800 mm", why="Passive radiator: outer diameter of its frame."
    )
    radiator_hole_m: Length | None = quantity(
        None, low="60 mm", high="700 mm", why="Passive radiator: diameter of its cut-out."
    )
    radiator_depth_m: Length | None = quantity(
        None, low="10 mm", high="300 mm", why="Passive radiator: depth behind the panel. auto: unknown."
    )
    panel_material: Literal["plywood", "mdf"] = choice("mdf", why="Board of the panels.")
    panel_thickness_m: Length = quantity("18 mm", low="6 mm", high="40 mm", why="Thickness of the panels.")
    front_layers: Literal[1, 2] | None = choice(
        None, why="Boards glued together for the front. auto: two where one resonates below twice the corner."
    )
    braces: Literal[0, 1, 2, 3] | None = choice(
        None, why="Ring braces inside. auto: as many as keep the other panels above twice the corner."
    )
    electronics_inside: bool = choice(
        False, why="Whether amplifier and converter sit inside the box and take from its volume."
    )
    electronics_m3: Volume = quantity(
        "1.5 l", low="0.1 l", high="20 l", why="Volume of the electronics' compartment, when inside."
    )
    electronics_corner: RearCorner | Literal["auto"] = choice(
        "auto",
        why="Corner at the back that the electronics take, when inside; left and right as seen from the "
        "front. auto: the first that driver, port and braces leave free; bottom before top, then left first.",
    )
    joint: Joint = choice(
        "butt",
        why="butt: glued and screwed; rebate: front and back are rebated half their thickness, which lines "
        "the box up by itself and is stronger.",
    )
    kerf_m: Length = quantity("3 mm", low="0 mm", high="6 mm", why="Width of the saw cut.")
    sheet_length_m: Length | None = quantity(
        None,
        low="0.3 m",
        high="6 m",
        why="Length of the raw sheet. auto: the smallest stock sheet that does.",
    )
    sheet_width_m: Length | None = quantity(
        None, low="0.3 m", high="3 m", why="Width of the raw sheet. auto: with its length."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class EnclosureNeed:
    """What the box is designed for."""

    drive_v: float  # rms voltage of a full sine at the amplifier's ideal source
    source_ohm: float = 0.0  # amplifier output, links and speaker cable
    lowest_note_hz: float = 30.0  # lowest note at full power
    upper_hz: float = 80.0  # low-pass corner; panels must resonate above twice this
    crest_factor_db: float = 9.0
    ambient_c: float = 20.0
    highpass: HighPass | None = None  # infrasonic filter, complex gain over frequency in Hz


class DriverData(Protocol):
    """What the box must know of the driver group; the driver stage's result has it."""

    @property
    def model(self) -> DriverModel:
        """Lumped elements."""

    @property
    def count(self) -> int:
        """Drivers in the group."""

    @property
    def xmax_m(self) -> float:
        """Linear displacement, one way, m."""

    @property
    def xdamage_m(self) -> float | None:
        """Displacement that damages, one way, m."""

    @property
    def power_w(self) -> float:
        """Rated noise power of the group, W."""

    @property
    def nominal_impedance_ohm(self) -> float:
        """Rated impedance of the group, Ω."""

    @property
    def thermal(self) -> CoilThermal | None:
        """Coil and magnet, None where unknown."""

    @property
    def coil_max_c(self) -> float | None:
        """Limit of the coil's temperature, °C."""

    @property
    def hole_m(self) -> float | None:
        """Diameter of one cut-out, m."""

    @property
    def frame_m(self) -> float:
        """Outer diameter of one frame, m."""

    @property
    def depth_m(self) -> float | None:
        """Depth behind the panel, m."""

    @property
    def bolt_circle_m(self) -> float | None:
        """Diameter of the circle of its screws, m."""

    @property
    def bolt_count(self) -> int:
        """Screws on it."""

    @property
    def bolt_hole_m(self) -> float:
        """Diameter to drill for them, m."""

    @property
    def outside_m(self) -> float:
        """How far a compound pair's outer driver stands out of the box, m."""

    @property
    def displacement_m3(self) -> float:
        """Volume that the group takes from the box, m³."""

    @property
    def mass_kg(self) -> float | None:
        """Mass of the group, kg."""


class CabinData(Protocol):
    """What the box must know of the cabin; the cabin stage's result has it."""

    def gain_at_db(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gain over half space at 1 m, dB, at frequencies in Hz."""
