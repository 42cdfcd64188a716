"""Response of a class-AB amplifier on one supply near its low corner, half of the supply moving along."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import sqrt, tau
from typing import Final

from subwright.physics.voltage_stage import parallel_ohm
from subwright.stages.amplifier_voltage_stage_currents import StageCurrents
from subwright.stages.amplifier_voltage_stage_network import Network, corner_hz

__all__ = ["gain_and_corner"]

_MIDDLE_HZ: Final = 500.0
_SPAN_HZ: Final = (0.05, _MIDDLE_HZ)
_HALVINGS: Final = 24


def gain_and_corner(
    currents: StageCurrents,
    network: Network,
    ohms: Mapping[str, float],
    farads: Mapping[str, float],
) -> tuple[float, float]:
    """Gain of the middle band, and where the whole amplifier falls 3 dB below it.

    Parameters
    ----------
    currents, network : the design. ohms, farads : its values by role, Ω and F.

    Returns
    -------
    (V/V, Hz). On split rails, and behind a buffer of half the supply, the corners lie one after the other.
    Else the currents through the bias resistors move that half, to which the other leg is referred: that
    lifts the lowest notes.

    Source
    ------
    Kirchhoff at the bases, the legs' outputs and half of the supply; each leg holds its two bases together.
    [derived]
    """
    if currents.place.split or network.bridge == "difference":
        return network.gain, corner_hz(network.corners_hz, low=True)

    def half_s(s: complex) -> complex:
        return 1.0 / parallel_ohm(ohms["half upper"], ohms["half lower"]) + s * farads["half capacitor"]

    def respond(hz: float) -> float:
        s = 1j * tau * hz
        return abs(_follows(s, half_s(s), ohms, farads))

    return respond(_MIDDLE_HZ), _fallen_hz(respond)


def _fallen_hz(respond: Callable[[float], float]) -> float:
    level, (low, high) = sqrt(0.5) * respond(_MIDDLE_HZ), _SPAN_HZ
    for _ in range(_HALVINGS):
        middle = sqrt(low * high)
        if respond(middle) < level:
            low = middle
        else:
            high = middle
    return sqrt(low * high)


def _in_series(s: complex, ohm: float, farad: float) -> complex:
    return 1.0 / (ohm + 1.0 / (s * farad))


def _follows(s: complex, half_s: complex, ohms: Mapping[str, float], farads: Mapping[str, float]) -> complex:
    """Leg A from its base, leg B its inverter, referred to half."""
    bias = ohms["input bias"] + 1.0 / half_s
    passed = 1.0 / (2.0 * ohms["input series"] + 1.0 / (s * farads["input coupling"]) + bias)
    base, half = bias * passed, passed / half_s
    feedback = ohms["voltage feedback"]
    foot = _in_series(s, ohms["voltage feedback shunt"], farads["voltage feedback capacitor"])
    beside = _in_series(s, ohms["inverter shunt"], farads["inverter shunt capacitor"])
    ratio = feedback / ohms["inverter input"]
    first = base * (1.0 + feedback * foot)
    second = half * (1.0 + ratio + feedback * beside) - ratio * first
    return first - second
