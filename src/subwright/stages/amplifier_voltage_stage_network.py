"""Input divider, mute shunt and feedback of the voltage stage, in preferred values."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, sqrt
from typing import Final, Literal

from subwright.base.preferred import at_least, at_most, nearest, neighbours
from subwright.physics.voltage_stage import crossed_outputs, parallel_ohm, shunted_share

__all__ = [
    "MUTE_ID",
    "MUTE_OHM",
    "MUTE_PINCH_V",
    "Network",
    "Wanted",
    "corner_hz",
    "crossed_network",
    "plain_network",
]

MUTE_ID: Final = "J175"
MUTE_OHM: Final = 125.0
"""Largest on resistance of a P-channel junction field-effect transistor of the J175 kind, Ω, from memory."""
MUTE_PINCH_V: Final = 6.0
"""Its largest gate voltage that still conducts, V, from memory."""

_LEAST_NOISE_GAIN: Final = 10.0  # below it the loop would ask for a larger Miller capacitor
_MOST_SHARE: Final = 0.68  # of the signal that the input divider passes; the rest lets the mute work
_MOST_INPUT_V: Final = 3.0  # at the mute, or its transistor would conduct
_LOW: Final = 10.0  # corners of the capacitors below the lowest note
_FILTER_HZ: Final = 150e3  # of the input filter
_LEAST_FEEDBACK_OHM: Final = 2.2e3
_FOLLOWER_PEAK_V: Final = 1.2
_LEG_INPUT_OHM: Final = 2.2e3
_LEAST_LEG_INPUT_OHM: Final = 470.0
_MOST_FEEDBACK_OHM: Final = 47e3  # base currents flow in it
_BOTH_INPUTS: Final = 1.1  # legs' inputs that the follower feels
_CROSSING: Final = 20.0  # how much more firmly the difference of the outputs is held than their sum
_CLEAR: Final = 1.06  # least ratio of a cross resistor to its feedback, both of 1 %
_FOLLOWER_R_E: Final = 13.0  # kT/q over 2 mA
_BISECTIONS: Final = 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What the network has to do.

    Attributes
    ----------
    gain : from the filter's output to the load, V/V. input_ohm : that the filter sees, Ω.
    full_input_v : rms, V. leg_peak_v : highest of one leg, V. note_hz : lowest, Hz.
    legs : 1 or 2. follower_ohm : emitter resistor of the input follower, Ω, 0 without.
    unity_hz : loop gain of one as stated, Hz; None: by phase margin.
    """

    gain: float
    input_ohm: float
    full_input_v: float
    leg_peak_v: float
    note_hz: float
    legs: int
    follower_ohm: float = 0.0
    unity_hz: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """Values by role, and what they come to.

    Attributes
    ----------
    resistors_ohm, capacitors_f, once : as of ``VoltageStage``.
    gain, leg_gain, crest_ratio : as of ``VoltageStage``. node_gain : from the mute's node to the load, V/V.
    series_ohm : each half of the series resistance, Ω. load_ohm : behind the mute's node, Ω.
    plus_ohm, minus_ohm : what the pair's bases see at no frequency, Ω, and source_ohm, foot_ohm : in the
        middle band.
    offset_ratio : steady voltage across the load over that of one leg's pair, worst signs.
    noise_gain : noise at the load over that of one leg's pair, V/V.
    corners_hz : of the coupling and feedback capacitors, Hz. filter_hz : of the input filter, Hz.
    """

    bridge: Literal["none", "follows", "crossed"]
    resistors_ohm: dict[str, float]
    capacitors_f: dict[str, float]
    once: set[str] = field(default_factory=set)
    gain: float
    leg_gain: float
    crest_ratio: float
    node_gain: float
    series_ohm: float
    load_ohm: float
    plus_ohm: float
    minus_ohm: float
    source_ohm: float
    foot_ohm: float
    offset_ratio: float
    noise_gain: float
    corners_hz: tuple[float, ...]
    filter_hz: float

    @property
    def pushed_ohm(self) -> float:
        """Voltage at the mute's last node over the current that each of its two gates pushes in, Ω."""
        series, load = self.series_ohm, self.load_ohm
        # both sections see the whole divider; what enters at the first half reaches the last node by half
        return parallel_ohm(2.0 * series, load) + series * load / (2.0 * series + load)

    @property
    def muted_share(self) -> float:
        """What both shunts, one behind each half of the series resistance, leave of the signal."""
        second = shunted_share(self.series_ohm, MUTE_OHM, self.load_ohm)
        return second * shunted_share(self.series_ohm, MUTE_OHM, self.series_ohm + self.load_ohm)


def corner_hz(corners_hz: tuple[float, ...], *, low: bool) -> float:
    """Frequency at which first-order corners one after the other leave half the power.

    Parameters
    ----------
    corners_hz : Hz. low : whether they cut low frequencies, else high ones.

    Returns
    -------
    Hz.

    Source
    ------
    Product of the squared moduli, by bisection. [derived]

    >>> round(corner_hz((1.0, 1.0), low=True), 3)
    1.554
    """
    first, last = (max(corners_hz), 10.0 * max(corners_hz)) if low else (0.0, min(corners_hz))
    for _ in range(_BISECTIONS):
        middle = 0.5 * (first + last)
        power = 1.0
        for corner in corners_hz:
            ratio = corner / middle if low else middle / corner
            power /= 1.0 + ratio * ratio
        if (power < 0.5) == low:
            first = middle
        else:
            last = middle
    return 0.5 * (first + last)


def _can_f(ohm: float, hz: float) -> float:
    return float(at_least(1.0 / (2.0 * pi * ohm * hz), "E6"))


def _pole(ohm: float, farad: float) -> float:
    return 1.0 / (2.0 * pi * ohm * farad)


def _divider(wanted: Wanted, share: float) -> tuple[float, float]:
    """Half of the series and all of the shunt resistance of the input, which add up to the wanted one, Ω."""
    bias = float(nearest(share * wanted.input_ohm, "E24"))
    return float(nearest(0.5 * max(wanted.input_ohm - bias, 0.1 * wanted.input_ohm), "E24")), bias


def _input(wanted: Wanted, series: float, bias: float) -> tuple[dict[str, float], dict[str, float], float]:
    resistors = {"input series": series, "input bias": bias}
    around = parallel_ohm(2.0 * series, bias)
    capacitors = {
        "input coupling": _can_f(2.0 * series + bias, wanted.note_hz / _LOW),
        "input filter": float(nearest(1.0 / (2.0 * pi * _FILTER_HZ * around), "E6")),
    }
    return resistors, capacitors, _pole(around, capacitors["input filter"])


def plain_network(wanted: Wanted) -> Network:
    """One leg on split rails, or leg A with a leg B that inverts leg A's output about half the supply.

    Parameters
    ----------
    wanted : what it has to do.

    Returns
    -------
    Network.

    Source
    ------
    Non-inverting and inverting amplifiers [horowitz-hill]; both bases see alike at no frequency [self-apad].
    """
    leg = wanted.gain / wanted.legs
    noise = max(_LEAST_NOISE_GAIN, leg / _MOST_SHARE, wanted.leg_peak_v / _MOST_INPUT_V)
    series, bias = _divider(wanted, leg / noise)
    noise = leg * (2.0 * series + bias) / bias
    feedback = max(bias, _LEAST_FEEDBACK_OHM)
    shunt = float(nearest(feedback / (noise - 1.0), "E24"))
    if 1.0 + feedback / shunt < _LEAST_NOISE_GAIN:
        shunt = float(at_most(feedback / (_LEAST_NOISE_GAIN - 1.0), "E24"))
    real = 1.0 + feedback / shunt
    # the divider makes up for what rounding did to the feedback
    series = float(nearest(0.5 * bias * max(real / leg - 1.0, 0.1), "E24"))
    resistors, capacitors, filter_hz = _input(wanted, series, bias)
    resistors |= {"voltage feedback": feedback, "voltage feedback shunt": shunt}
    foot_f = _can_f(shunt, wanted.note_hz / _LOW)
    capacitors["voltage feedback capacitor"] = foot_f
    once = {"input series", "input bias", "input coupling", "input filter"}
    corners = [_pole(2.0 * series + bias, capacitors["input coupling"]), _pole(shunt, foot_f)]
    if wanted.legs == 2:
        beside = float(nearest(feedback / (noise - 2.0), "E24"))
        resistors |= {
            "inverter input": feedback,
            "inverter bias": float(nearest(0.5 * feedback, "E24")),
            "inverter shunt": beside,
        }
        capacitors["inverter shunt capacitor"] = _can_f(beside, wanted.note_hz / _LOW)
        once |= {"inverter input", "inverter bias", "inverter shunt", "inverter shunt capacitor"}
        once |= {"voltage feedback shunt", "voltage feedback capacitor"}
    node_gain = wanted.legs * real
    return Network(
        bridge="none" if wanted.legs == 1 else "follows",
        resistors_ohm=resistors,
        capacitors_f=capacitors,
        once=once,
        gain=node_gain * bias / (2.0 * series + bias),
        leg_gain=real,
        crest_ratio=1.0,
        node_gain=node_gain,
        series_ohm=series,
        load_ohm=bias,
        plus_ohm=bias,
        minus_ohm=feedback,
        source_ohm=parallel_ohm(2.0 * series, bias),
        foot_ohm=parallel_ohm(feedback, shunt),
        # a - b = 2 (a - half): twice leg A's error and twice leg B's
        offset_ratio=1.0 if wanted.legs == 1 else 4.0,
        noise_gain=real * (1.0 if wanted.legs == 1 else sqrt(5.0)),
        corners_hz=tuple(corners),
        filter_hz=filter_hz,
    )


def crossed_network(wanted: Wanted) -> Network:
    """Two legs that hold the difference of their outputs firmly and the sum loosely, behind a follower.

    Parameters
    ----------
    wanted : what it has to do.

    Returns
    -------
    Network.

    Source
    ------
    Superposition at the pairs' bases. [derived]
    """
    share = min(_MOST_SHARE, _FOLLOWER_PEAK_V / (sqrt(2.0) * wanted.full_input_v))
    series, bias = _divider(wanted, share)
    ratio = (_CROSSING + 1.0) / (_CROSSING - 1.0)
    # free legs: the difference is 2 g_d/(g_f + g_x) times the drive
    per_ohm = 0.5 * wanted.gain * (2.0 * series + bias) / bias * (1.0 + 1.0 / ratio)
    light = max(min(_LEG_INPUT_OHM, _MOST_FEEDBACK_OHM / per_ohm), _LEAST_LEG_INPUT_OHM)
    drive = float(nearest(light, "E24"))
    # both bases move with the drive, and take about half of what resistors to ground would
    loaded = parallel_ohm(wanted.follower_ohm, drive / _BOTH_INPUTS)
    ideal = per_ohm * drive * (loaded + _FOLLOWER_R_E) / loaded
    # a cross as low as its feedback would latch the legs: it keeps clear of it by the tolerance of both;
    # the divider makes up for the feedback's step
    feedbacks = [float(ohm) for ohm in neighbours(ideal, "E24", 4)]
    pairs = [(f, float(at_least(_CLEAR * f, "E24"))) for f in feedbacks]
    feedback, cross = min(pairs, key=lambda pair: abs(pair[1] / pair[0] - ratio))
    g_f, g_x, g_d, g_b = 1.0 / feedback, 1.0 / cross, 1.0 / drive, 1.0 / cross
    shunt = float(nearest(1.0 / (g_x + g_d + g_b - g_f), "E24"))
    beside = float(nearest(1.0 / max(g_f + g_d - g_x - g_b, 0.1 * g_d), "E24"))
    plus = g_x + g_d + g_b, g_x + g_b + 1.0 / beside
    minus = g_f + 1.0 / shunt, g_f + g_d
    fed, crossed = (g_f / minus[0], g_f / minus[1]), (g_x / plus[0], g_x / plus[1])
    out = crossed_outputs(fed, crossed, (g_d / plus[0], g_d / minus[1]))
    leg_gain = 1.0 / (0.5 * sum(fed) + 0.5 * sum(crossed))
    node_gain = (out[0] - out[1]) * loaded / (loaded + _FOLLOWER_R_E)
    # the divider makes up for what rounding did to the others
    series = float(nearest(0.5 * bias * max(node_gain / wanted.gain - 1.0, 0.1), "E24"))
    resistors, capacitors, filter_hz = _input(wanted, series, bias)
    resistors |= {
        "leg input": drive,
        "voltage feedback": feedback,
        "cross resistor": cross,
        "leg bias": cross,
        "voltage feedback shunt": shunt,
        "leg shunt": beside,
        "follower resistor": wanted.follower_ohm,
    }
    note = wanted.note_hz / _LOW
    capacitors |= {
        "leg coupling": _can_f(drive, note),
        "voltage feedback capacitor": _can_f(shunt, note),
        "leg shunt capacitor": _can_f(beside, note),
    }
    return Network(
        bridge="crossed",
        resistors_ohm=resistors,
        capacitors_f=capacitors,
        once={
            *("input series", "input bias", "input coupling", "input filter", "follower resistor"),
            *("voltage feedback shunt", "voltage feedback capacitor", "leg shunt", "leg shunt capacitor"),
        },
        gain=node_gain * bias / (2.0 * series + bias),
        leg_gain=leg_gain,
        # with the other leg still it is d/f, where both free ones give 2 d/(f + x)
        crest_ratio=0.5 * (1.0 + feedback / cross),
        node_gain=node_gain,
        series_ohm=series,
        load_ohm=bias,
        plus_ohm=parallel_ohm(cross, cross),
        minus_ohm=feedback,
        source_ohm=1.0 / plus[0],
        foot_ohm=1.0 / minus[0],
        # at no frequency each follows half of the other: differences shrink to two thirds
        offset_ratio=4.0 / 3.0,
        noise_gain=leg_gain * sqrt(2.0),
        corners_hz=(
            _pole(2.0 * series + bias, capacitors["input coupling"]),
            _pole(drive, capacitors["leg coupling"]),
            _pole(shunt, capacitors["voltage feedback capacitor"]),
        ),
        filter_hz=filter_hz,
    )
