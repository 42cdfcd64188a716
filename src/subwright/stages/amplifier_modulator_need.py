"""What a class-D modulator is designed for."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.parts.schema import Mosfet
from subwright.stages.amplifier_modulator_records import ModulatorForm

__all__ = ["ModulatorNeed", "plateau_v"]

_PLATEAU_OVER_THRESHOLD_V = 1.0  # plateau at working current over the largest threshold, from memory


@dataclass(frozen=True, kw_only=True, slots=True)
class ModulatorNeed:
    """Wishes and surroundings of one modulator.

    Attributes
    ----------
    form, legs, split_rails : as in Modulator. rail_low_v, rail_nominal_v, rail_high_v : one rail, or the one
        supply: lowest at which it plays, nominal under load, highest, V. feed_v : the same three of the
        switched control supply on the battery, which feeds or lets in the drivers' supply of a bridge on
        one supply, V; that of the rail on split rails.
    peak_v : at the load at full output, V. load_share : of the nodes' mean that reaches the load,
        dimensionless. full_input_v : rms at the filter's output for it, V. lowest_note_hz : Hz.
    switching_hz, dead_time_s, modulation_max, gate_drive_a, gate_supply_v : wanted, Hz, s, dimensionless, A
        and V. tolerance : of the integrator's resistors, fraction; None chooses. op_amp : an id, or "auto".
    mosfet : the output switch. node_s : time in which half of the idle ripple moves a node by half of the
        bus, s.
    """

    form: ModulatorForm
    legs: int
    split_rails: bool
    rail_low_v: float
    rail_nominal_v: float
    rail_high_v: float
    feed_v: tuple[float, float, float]
    peak_v: float
    load_share: float
    full_input_v: float
    lowest_note_hz: float
    switching_hz: float
    dead_time_s: float
    modulation_max: float
    gate_drive_a: float
    gate_supply_v: float
    tolerance: float | None
    op_amp: str
    mosfet: Mosfet
    node_s: float

    @property
    def clocked(self) -> bool:
        """Whether a clock sets the frequency."""
        return self.form == "clocked"

    def bus_v(self, rail_v: float) -> float:
        """Voltage across one leg at a rail, V."""
        return 2.0 * rail_v if self.split_rails else rail_v

    def swing_v(self, rail_v: float) -> float:
        """Half of the peak-to-peak difference between the nodes that are fed back, V."""
        return 0.5 * self.legs * self.bus_v(rail_v)


def plateau_v(mosfet: Mosfet) -> float:
    """Gate plateau reckoned with, V."""
    return mosfet.vgs_th_v + _PLATEAU_OVER_THRESHOLD_V
