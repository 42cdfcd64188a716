"""What the battery gives while a soft start fills the empty rails."""

from __future__ import annotations

from subwright.physics.soft_start import ChargingPath, Filling, fill_rails
from subwright.stages.converter_result import ConverterResult

__all__ = ["charging_path", "filling", "inrush_a"]


def charging_path(result: ConverterResult, *, emf_v: float, source_ohm: float) -> ChargingPath:
    """The converter as an empty bank sees it, at a battery, V, with its source resistance, Ω."""
    magnetics = result.magnetics
    secondary = 0.5 * (magnetics.secondary_ohm + result.diode_ohm)  # both rails side by side
    bridge, switch = result.topology == "full-bridge", result.plan.switch.mosfet
    # A push-pull's drain falls back from twice the battery at least, or from its own avalanche; a bridge's
    # winding and battery add.
    reset_v = switch.vds_v
    if bridge or result.clamp is not None:
        reset_v = 2.0 * (emf_v + (switch.vsd_v if bridge else 0.0))
    return ChargingPath(
        emf_v=emf_v,
        source_ohm=source_ohm,
        ratio=result.ratio,
        diode_v=result.diode_v,
        loop_ohm=result.switch_ohm + result.winding_ohm + result.link_ohm + secondary / result.ratio**2,
        leakage_h=magnetics.leakage_h,
        switching_hz=result.plan.timing.switching_hz,
        reset_v=reset_v,
        returned=2.0 if bridge else float(result.clamp is not None),
        clamp_ohm=0.0 if result.clamp is None else result.clamp.resistor_ohm,
    )


def filling(result: ConverterResult, *, emf_v: float, source_ohm: float) -> Filling:
    """Soft start of peak-charged rails in time."""
    timing = result.plan.timing
    return fill_rails(
        charging_path(result, emf_v=emf_v, source_ohm=source_ohm),
        rail_f=result.reservoir_bank.capacitance_f,
        share_most=timing.share,
        start_s=timing.soft_start_s,
    )


def inrush_a(result: ConverterResult, *, emf_v: float, source_ohm: float) -> float:
    """Highest mean battery current of the soft start, A.

    Behind an output choke the duty sets the rails, so they rise evenly; peak-charged rails fill as fast as
    the loop lets them through short pulses.
    """
    if result.choke is not None:
        charge = 2.0 * result.reservoir_bank.capacitance_f * result.choke.set_v
        return charge * result.ratio / result.plan.timing.soft_start_s
    return filling(result, emf_v=emf_v, source_ohm=source_ohm).peak_a
