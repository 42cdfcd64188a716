"""What the protections do while the engine is started: ride through, or stop and start again."""

from __future__ import annotations

from collections.abc import Mapping

from subwright.physics.cranking import CRANKING, CUT, least_filtered_v
from subwright.stages.common import Corner
from subwright.stages.protection_records import (
    CrankingRide,
    HoldOff,
    ProtectionInput,
    Threshold,
    UnderVoltageNetwork,
)

__all__ = ["cranking_rides"]


def cranking_rides(
    data: ProtectionInput,
    network: UnderVoltageNetwork,
    thresholds: Mapping[str, Threshold],
    hold_off: HoldOff,
    soft_start_s: float,
) -> tuple[CrankingRide, ...]:
    """Every level of the starting profile against the under-voltage trip; none where no standard sets any.

    Parameters
    ----------
    data : corners and the controller's lockout. network : the sense filter. thresholds : by name.
    hold_off : of the run line. soft_start_s : of the converter, s.
    """
    trip, release = thresholds["under-voltage trip"].window, thresholds["under-voltage release"].window
    rest, engine_v = data.corners[Corner.NOMINAL], data.corners[Corner.CHARGING]
    rides = []
    profiles = CRANKING.get(data.system_v, ())
    for profile in (*profiles, CUT) if profiles else ():
        least, _ = least_filtered_v(profile.points(rest), network.filter_s)
        # The ripple lies on a plateau that lasts: the filter has settled there.
        least = min(least, profile.plateau_v - profile.filtered_ripple_v(network.filter_s))
        least = max(least, 0.0)
        # The controller's lockout has no filter: it sees the dip itself.
        locked = data.lockout_v is not None and profile.dip_v < data.lockout_v
        if locked or least < trip.worst_low:
            outcome = "stops and starts again" if engine_v >= release.worst_high else "stops and may stay off"
        elif least < trip.worst_high:
            outcome = "may stop, by its parts' tolerance"
        else:
            outcome = "rides through"
        through = outcome == "rides through"
        rides.append(
            CrankingRide(
                level=profile.level,
                dip_v=profile.dip_v,
                plateau_v=profile.plateau_v,
                plateau_s=profile.plateau_s,
                ripple_v=profile.ripple_v,
                sensed_v=least,
                trip_high_v=trip.worst_high,
                locked_out=locked,
                lockout_v=data.lockout_v,
                outcome=outcome,
                off_s=0.0 if through else profile.length_s + hold_off.high_s + soft_start_s,
                engine_v=engine_v,
                release_high_v=release.worst_high,
            )
        )
    return tuple(rides)
