"""Response of a class-AB amplifier on one supply near its low corner, half of the supply moving along."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import sqrt, tau
from typing import Final

import numpy as np

from subwright.physics.voltage_stage import THERMAL_V, parallel_ohm
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
    follower_gain: float,
) -> tuple[float, float]:
    """Gain of the middle band, and where the whole amplifier falls 3 dB below it.

    Parameters
    ----------
    currents, network : the design. ohms, farads : its values by role, Ω and F.
    follower_gain : current gain of an input follower; not read without one.

    Returns
    -------
    (V/V, Hz). On split rails the corners lie one after the other. On one supply the currents through the bias
    resistors move its half, to which the other leg is referred: that lifts the lowest notes.

    Source
    ------
    Kirchhoff at the bases, the legs' outputs and half of the supply; each leg holds its two bases together.
    [derived]
    """
    if currents.place.split:
        return network.gain, corner_hz(network.corners_hz, low=True)
    crossed = network.bridge == "crossed"
    emitter_v = 0.5 * currents.place.supply_v - 0.65
    follower_ohm = THERMAL_V * currents.follower_ohm / emitter_v if crossed else 0.0

    def half_s(s: complex) -> complex:
        return 1.0 / parallel_ohm(ohms["half upper"], ohms["half lower"]) + s * farads["half capacitor"]

    def respond(hz: float) -> float:
        s = 1j * tau * hz
        if crossed:
            return abs(_crossed(s, half_s(s), ohms, farads, follower_ohm, follower_gain))
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


def _crossed(
    s: complex,
    half_s: complex,
    ohms: Mapping[str, float],
    farads: Mapping[str, float],
    follower_ohm: float,
    follower_gain: float,
) -> complex:
    """Both legs behind the follower; unknown are both outputs, half, the follower's base and emitter."""
    entry = 1.0 / (2.0 * ohms["input series"] + 1.0 / (s * farads["input coupling"]))
    drive = _in_series(s, ohms["leg input"], farads["leg coupling"])
    own, other = 1.0 / ohms["voltage feedback"], 1.0 / ohms["cross resistor"]
    bias, into = 1.0 / ohms["leg bias"], 1.0 / ohms["input bias"]
    foot = _in_series(s, ohms["voltage feedback shunt"], farads["voltage feedback capacitor"])
    beside = _in_series(s, ohms["leg shunt"], farads["leg shunt capacitor"])
    emitter = 1.0 / follower_ohm
    # rows of the bases, as shares of (output A, output B, half, follower's base, its emitter)
    plus_a = np.array([0.0, other, bias, 0.0, drive]) / (drive + other + bias)
    minus_a = np.array([own, 0.0, 0.0, 0.0, 0.0]) / (own + foot)
    plus_b = np.array([other, 0.0, bias, 0.0, 0.0]) / (other + bias + beside)
    minus_b = np.array([0.0, own, 0.0, 0.0, drive]) / (own + drive)
    unit = np.eye(5)
    half, base, follow = unit[2], unit[3], unit[4]
    through = emitter * (base - follow)
    rows = np.array(
        [
            plus_a - minus_a,
            plus_b - minus_b,
            half_s * half - into * (base - half) - bias * (plus_a - half) - bias * (plus_b - half),
            entry * base + into * (base - half) + through / (follower_gain + 1.0),
            through - follow / ohms["follower resistor"] - drive * (2.0 * follow - plus_a - minus_b),
        ]
    )
    found = np.linalg.solve(rows, np.array([0.0, 0.0, 0.0, entry, 0.0]))
    return complex(found[0] - found[1])
