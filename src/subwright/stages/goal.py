"""What the builder wants to hear: the goal that the whole chain is sized for."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.base.errors import NoSolutionError
from subwright.base.fields import Decibel, Frequency, Power, StageSpec, quantity
from subwright.base.units import show

__all__ = ["GoalResult", "GoalSpec", "settle_goal"]


class GoalSpec(StageSpec):
    """How loud, how low, and with what kind of programme."""

    power_w: Power | None = quantity(
        None,
        low="1 W",
        high="2 kW",
        why="Sine power into the load at the onset of clipping, nominal battery. auto: what goal.spl needs, "
        "else the driver's rated power.",
    )
    spl_db: Decibel | None = quantity(
        None,
        low="70 dB",
        high="140 dB",
        why="Level wanted at 1 m (half space) at goal.spl_frequency, instead of a power.",
    )
    spl_frequency_hz: Frequency = quantity(
        "50 Hz", low="15 Hz", high="200 Hz", why="Frequency at which goal.spl counts."
    )
    crest_factor_db: Decibel = quantity(
        "9 dB",
        low="5 dB",
        high="20 dB",
        why="Peak over rms of the programme: 6 dB heavily limited bass, 9 dB dance and pop, 12 dB film.",
    )
    lowest_note_hz: Frequency = quantity(
        "30 Hz", low="10 Hz", high="100 Hz", why="Lowest note to be played at full power."
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class GoalResult:
    """The settled target."""

    power_w: float
    spl_db: float | None
    spl_frequency_hz: float
    crest_factor_db: float
    lowest_note_hz: float
    reasons: tuple[str, ...]


def settle_goal(spec: GoalSpec, rated_power_w: float | None, power_for_spl_w: float | None) -> GoalResult:
    """Settle the target power from what was given.

    Parameters
    ----------
    spec : the builder's wishes.
    rated_power_w : the driver group's rated power, W, or None where unknown.
    power_for_spl_w : electrical power that reaches ``spec.spl_db``, W, or None where no level is asked for.

    Returns
    -------
    GoalResult.

    Raises
    ------
    NoSolutionError : both or nothing to go by.
    """
    if spec.power_w is not None and spec.spl_db is not None:
        raise NoSolutionError(
            message="Give goal.power or goal.spl, not both: each fixes the amplifier.",
            quantity="goal",
            value=f"{show(spec.power_w, 'power')} and {show(spec.spl_db, 'level')}",
            limit="one of them",
            remedy="Remove one of the two keys.",
        )
    if spec.power_w is not None:
        power, why = spec.power_w, "goal.power as given."
    elif power_for_spl_w is not None:
        power = power_for_spl_w
        why = (
            f"{show(spec.spl_db or 0.0, 'level')} at {show(spec.spl_frequency_hz, 'frequency')}, 1 m, half "
            f"space, takes {show(power, 'power')}."
        )
        if power > 2000.0:
            raise NoSolutionError(
                message="This level would take more power than a vehicle build can give.",
                quantity="power for the level",
                value=show(power, "power"),
                limit="2.00 kW",
                remedy="Lower goal.spl, use more or larger drivers, or count on the cabin's gain.",
            )
    elif rated_power_w is not None:
        power, why = rated_power_w, "no goal given: the driver's rated power."
    else:
        raise NoSolutionError(
            message="There is no goal and the driver has no rated power to go by.",
            quantity="goal",
            value="none",
            limit="goal.power or goal.spl",
            remedy='Write goal.power = "150 W" or goal.spl = "110 dB".',
        )
    return GoalResult(
        power_w=power,
        spl_db=spec.spl_db,
        spl_frequency_hz=spec.spl_frequency_hz,
        crest_factor_db=spec.crest_factor_db,
        lowest_note_hz=spec.lowest_note_hz,
        reasons=(why,),
    )
