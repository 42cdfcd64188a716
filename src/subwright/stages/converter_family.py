"""What sets the two-output controller families apart: ramp, duty input, feedback, how dead time is made.

The 3846 is a current-mode family; here it works in voltage mode, its own ramp divided down to its current
sense, for the peak-charged rails have no current to hold and the regulated ones a slow loop.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

from subwright.parts.schema import Controller

__all__ = [
    "BASE_V",
    "OPEN_EMITTER_FAMILIES",
    "RAMP_DIVIDER_OHM",
    "SENSE_GAIN",
    "SENSE_OFFSET_V",
    "DeadTime",
    "dead_time_kind",
    "duty_v",
    "feedback_v",
    "has_circuit",
    "open_emitters",
    "ramp_v",
    "soft_start_ohm",
]

DeadTime = Literal["discharge resistor", "dead-time input", "duty clamp", "timing capacitor"]
"""What makes the dead time: a resistor in the ramp's discharge; a voltage on an input of its own; a clamp of
the error amplifier's output, which the ramp is compared with; or the timing capacitor alone."""

OPEN_EMITTER_FAMILIES: Final = ("494", "3524")
BASE_V: Final = 0.6  # base to emitter of a small transistor at some 0.1 mA, from memory
_FOLLOWER_V: Final = 0.63  # the same at half a milliampere
SENSE_GAIN: Final = 3.0  # of the 3846's current sense amplifier, from memory
SENSE_OFFSET_V: Final = 0.5  # between its limit and what that amplifier gives, from memory
RAMP_DIVIDER_OHM: Final = (2.2e3, 2.2e3)  # from the 3846's ramp, behind a follower, to its current sense

# Turning points on CT. 3525: ST SG3525A, thresholds of the PWM comparator. 494: TI SLVS074. 3524: the same
# thresholds of its sheet, from memory. 3846: 3.6 V over RT charges, which with 2.2/(RT CT) makes 1.64 V;
# where it lies, from memory.
_RAMPS: Final[Mapping[str, tuple[float, float]]] = MappingProxyType(
    {"3525": (0.9, 3.3), "494": (0.0, 3.3), "3524": (1.0, 3.5), "3846": (1.1, 2.74)}
)
_DEAD: Final[Mapping[str, DeadTime]] = MappingProxyType(
    {
        "3525": "discharge resistor",
        "494": "dead-time input",
        "3524": "duty clamp",
        "3846": "timing capacitor",
    }
)


def has_circuit(controller: Controller) -> bool:
    """Whether a two-output controller is of a family that this tool knows the pins of."""
    return controller.outputs == 2 and controller.family in _RAMPS


def open_emitters(controller: Controller) -> bool:
    """Whether the outputs are bare transistors, here as emitter followers, that can't pull down."""
    return controller.family in OPEN_EMITTER_FAMILIES


def ramp_v(controller: Controller) -> tuple[float, float]:
    """Turning points of the ramp on the timing capacitor, V."""
    return _RAMPS.get(controller.family, _RAMPS["3525"])


def duty_v(controller: Controller) -> tuple[float, float]:
    """Voltages that open the duty, V: none of it below the first, all of it at the second.

    On the error amplifier's output (of the 494 less its 0.7 V), and on the pin that soft start moves.
    """
    low_v, high_v = ramp_v(controller)
    if controller.family != "3846":
        return low_v, high_v
    top, bottom = RAMP_DIVIDER_OHM
    gain = SENSE_GAIN * bottom / (top + bottom)
    return SENSE_OFFSET_V + gain * (low_v - _FOLLOWER_V), SENSE_OFFSET_V + gain * (high_v - _FOLLOWER_V)


def feedback_v(controller: Controller) -> float:
    """Voltage that the error amplifier holds its feedback at, V: the reference.

    The 3524's amplifier works between 1.8 V and 3.4 V only, so there it is half of the reference.
    """
    return 0.5 * controller.vref_v if controller.family == "3524" else controller.vref_v


def dead_time_kind(controller: Controller) -> DeadTime:
    """What makes a family's dead time."""
    if controller.rd_weight > 0.0:
        return "discharge resistor"
    return _DEAD.get(controller.family, "dead-time input")


def soft_start_ohm(controller: Controller) -> float:
    """Resistor of the soft start, Ω: from its node to ground, of the 3846 from the reference to its pin.

    What a 3846's pin gets from it stays below the 1 mA that would latch a shutdown.
    """
    return {"494": 10e3, "3524": 22e3, "3846": 22e3}.get(controller.family, 10e3)
