"""What the builder may say about the driver."""

from __future__ import annotations

from typing import Literal

from subwright.base.fields import (
    Area,
    Celsius,
    Compliance,
    Decibel,
    ForceFactor,
    Frequency,
    Inductance,
    Length,
    Mass,
    MechanicalResistance,
    Power,
    Ratio,
    Resistance,
    StageSpec,
    ThermalResistance,
    Time,
    Volume,
    choice,
    quantity,
)

__all__ = ["DriverSpec"]

_PART = "From the part's record where one is named."
_DERIVED = "From the part's record, or worked out from the others."


class DriverSpec(StageSpec):
    """What the builder may say about the driver: a part id, parameters, or a part and values measured."""

    part: str | None = choice(None, why="Driver id from the drawer or the library.")
    name: str = choice("", why="What to call the driver when no part id is given.")
    count: Literal[1, 2, 3, 4] = choice(1, why="Identical drivers on the box.")
    connection: Literal["auto", "single", "series", "parallel", "series-parallel"] = choice(
        "auto", why="How the coils are wired; auto: single for one driver, parallel for more."
    )
    coils: Literal[1, 2] = choice(1, why="Voice coils of one driver, on one former.")
    coils_stated: Literal["one", "series", "parallel"] = choice(
        "parallel", why="Two coils: how they were wired for the values given (re, Bl, Qes, impedance, power)."
    )
    coils_wired: Literal["auto", "one", "series", "parallel"] = choice(
        "auto", why="Two coils: how they will be wired; one leaves the other open. auto: as stated."
    )
    compound: Literal["none", "parallel", "series"] = choice(
        "none",
        why="Two drivers face to face that move as one, each of count; how their coils are wired. Halves Vas "
        "and efficiency; the outer driver stands out of the box and is wired the other way round.",
    )
    nominal_impedance_ohm: Resistance | None = quantity(
        None, low="1 ohm", high="32 ohm", why="Rated impedance of one driver; auto: from its DC resistance."
    )
    fs_hz: Frequency | None = quantity(None, low="8 Hz", high="300 Hz", why=f"Free-air resonance. {_DERIVED}")
    re_ohm: Resistance | None = quantity(
        None, low="0.2 ohm", high="32 ohm", why=f"DC resistance of the voice coil. {_PART}"
    )
    qms: Ratio | None = quantity(None, low="0.5", high="30", why=f"Mechanical Q. {_DERIVED}")
    qes: Ratio | None = quantity(None, low="0.1", high="5", why=f"Electrical Q. {_DERIVED}")
    qts: Ratio | None = quantity(None, low="0.1", high="5", why=f"Total Q. {_DERIVED}")
    vas_m3: Volume | None = quantity(
        None, low="0.1 l", high="2000 l", why=f"Volume of air as stiff as the suspension. {_DERIVED}"
    )
    sd_m2: Area | None = quantity(
        None, low="10 cm2", high="3000 cm2", why=f"Piston area, to the middle of the surround. {_PART}"
    )
    piston_diameter_m: Length | None = quantity(
        None, low="30 mm", high="620 mm", why="Diameter to the middle of the surround, instead of sd."
    )
    bl_tm: ForceFactor | None = quantity(None, low="0.5 T.m", high="60 T.m", why=f"Force factor. {_DERIVED}")
    mms_kg: Mass | None = quantity(
        None, low="1 g", high="1 kg", why=f"Moving mass including the air load. {_DERIVED}"
    )
    cms_m_per_n: Compliance | None = quantity(
        None, low="0.01 mm/N", high="10 mm/N", why=f"Compliance of the suspension. {_DERIVED}"
    )
    rms_kg_per_s: MechanicalResistance | None = quantity(
        None, low="0.1 kg/s", high="50 kg/s", why=f"Mechanical resistance. {_DERIVED}"
    )
    sensitivity_db: Decibel | None = quantity(
        None,
        low="70 dB",
        high="110 dB",
        why="Level at 1 m for 1 W, half space; one of the values to work from.",
    )
    le_h: Inductance | None = quantity(
        None, low="0.01 mH", high="20 mH", why=f"Voice-coil inductance at 1 kHz; auto: none. {_PART}"
    )
    k_le: Ratio | None = quantity(
        None, low="1e-5", high="1", why="Lossy inductance: factor K of K·(jω)ⁿ, in Ω·sⁿ. Goes before le."
    )
    n_le: Ratio | None = quantity(None, low="0.3", high="1", why="Lossy inductance: exponent n of K·(jω)ⁿ.")
    xmax_m: Length | None = quantity(
        None, low="0.5 mm", high="60 mm", why=f"Linear displacement, one way from rest. {_PART}"
    )
    xdamage_m: Length | None = quantity(
        None, low="1 mm", high="100 mm", why=f"Displacement that damages, one way. auto: unknown. {_PART}"
    )
    power_w: Power | None = quantity(
        None, low="5 W", high="5 kW", why=f"Rated noise power of one driver. {_PART}"
    )
    coil_mass_kg: Mass | None = quantity(
        None, low="0.5 g", high="500 g", why=f"Mass of the winding. auto: unknown. {_PART}"
    )
    rth_coil_k_per_w: ThermalResistance | None = quantity(
        None, low="0.1 K/W", high="10 K/W", why=f"Coil to magnet. auto: unknown. {_PART}"
    )
    rth_magnet_k_per_w: ThermalResistance | None = quantity(
        None, low="0.05 K/W", high="10 K/W", why=f"Magnet to air. auto: unknown. {_PART}"
    )
    tau_coil_s: Time | None = quantity(
        None,
        low="0.5 s",
        high="200 s",
        why=f"Thermal time constant of the coil. auto: from its mass. {_PART}",
    )
    tau_magnet_s: Time | None = quantity(
        None, low="60 s", high="20000 s", why=f"Thermal time constant of the magnet. auto: unknown. {_PART}"
    )
    coil_max_c: Celsius | None = quantity(
        None, low="100 °C", high="350 °C", why=f"Limit of the coil's temperature. auto: unknown. {_PART}"
    )
    hole_m: Length | None = quantity(
        None, low="40 mm", high="700 mm", why=f"Diameter of the cut-out. auto: not cut. {_PART}"
    )
    frame_m: Length | None = quantity(
        None, low="40 mm", high="800 mm", why=f"Outer diameter of the frame. auto: unknown. {_PART}"
    )
    bolt_circle_m: Length | None = quantity(
        None, low="60 mm", high="780 mm", why="Diameter of the circle of its screws. auto: not drilled."
    )
    bolt_count: Literal[4, 6, 8, 10, 12, 16] = choice(8, why="Screws on that circle.")
    bolt_hole_m: Length = quantity(
        "5 mm",
        low="2 mm",
        high="12 mm",
        why="Hole for each of them; 5 mm takes an M5 and is common practice without a source.",
    )
    depth_m: Length | None = quantity(
        None, low="20 mm", high="500 mm", why=f"Depth behind the panel. auto: unknown. {_PART}"
    )
    displacement_m3: Volume | None = quantity(
        None, low="0.01 l", high="50 l", why=f"Volume it takes from the box. auto: from its size. {_PART}"
    )
    mass_kg: Mass | None = quantity(
        None, low="0.1 kg", high="60 kg", why=f"Whole driver. auto: unknown. {_PART}"
    )
