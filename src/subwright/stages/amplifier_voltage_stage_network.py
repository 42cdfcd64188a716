"""Input divider, mute shunt and feedback of the voltage stage, in preferred values."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi, sqrt
from typing import Final, Literal

from subwright.base.preferred import at_least, at_most, nearest
from subwright.physics.voltage_stage import difference_unity_hz, parallel_ohm, shunted_share

__all__ = [
    "MUTE_ID",
    "MUTE_OHM",
    "MUTE_PINCH_V",
    "Network",
    "Wanted",
    "corner_hz",
    "difference_network",
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
_SIGNAL_PEAK_V: Final = 1.2  # behind the divider: op-amps on a tired battery keep room
_DIFFERENCE_OHM: Final = 100e3  # from each output to the amplifier of the difference
_DIFFERENCE_HZ: Final = 40e3  # gain of one of the difference's loop: a decade below the legs' own
_INVERTER_OHM: Final = 10e3
_LEG_OHM: Final = (20e3, 2.2e3)  # feedback and shunt of each leg: gain of ten, base currents of some mV
_DECOUPLING_F: Final = 100e-9
_BISECTIONS: Final = 30


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """What the network has to do.

    Attributes
    ----------
    gain : from the filter's output to the load, V/V. input_ohm : that the filter sees, Ω.
    full_input_v : rms, V. leg_peak_v : highest of one leg, V. note_hz : lowest, Hz.
    legs : 1 or 2.
    unity_hz : loop gain of one as stated, Hz; None: by phase margin.
    """

    gain: float
    input_ohm: float
    full_input_v: float
    leg_peak_v: float
    note_hz: float
    legs: int
    unity_hz: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Network:
    """Values by role, and what they come to.

    Attributes
    ----------
    resistors_ohm, capacitors_f, once : as of ``VoltageStage``.
    gain, leg_gain : as of ``VoltageStage``. node_gain : from the mute's node to the load, V/V.
    series_ohm : each half of the series resistance, Ω. load_ohm : behind the mute's node, Ω.
    plus_ohm, minus_ohm : what the pair's bases see at no frequency, Ω, and source_ohm, foot_ohm : in the
        middle band.
    offset_ratio : steady voltage across the load over that of one leg's pair, worst signs.
    noise_gain : noise at the load over that of one leg's pair, V/V.
    corners_hz : of the coupling and feedback capacitors, Hz. filter_hz : of the input filter, Hz.
    difference_hz : gain of one of the loop that holds the difference of two legs, Hz; 0 without.
    """

    bridge: Literal["none", "follows", "difference"]
    resistors_ohm: dict[str, float]
    capacitors_f: dict[str, float]
    once: set[str] = field(default_factory=set)
    gain: float
    leg_gain: float
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
    difference_hz: float = 0.0

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


def difference_network(wanted: Wanted) -> Network:
    """Two equal legs behind an amplifier that holds the difference of their outputs, all of it about half.

    The legs follow the integrator and its mirror image about half of the supply. No capacitor couples what a
    leg's output sees: a leg that stands still over the crests leaves no charge behind.

    Parameters
    ----------
    wanted : what it has to do.

    Returns
    -------
    Network.

    Source
    ------
    Non-inverting amplifiers, and a difference integrator round both [horowitz-hill].
    """
    share = min(_MOST_SHARE, _SIGNAL_PEAK_V / (sqrt(2.0) * wanted.full_input_v))
    series, bias = _divider(wanted, share)
    held = wanted.gain * (2.0 * series + bias) / bias
    signal = float(nearest(_DIFFERENCE_OHM / held, "E24"))
    held = _DIFFERENCE_OHM / signal
    # the divider makes up for what rounding did to the difference's gain
    series = float(nearest(0.5 * bias * max(held / wanted.gain - 1.0, 0.1), "E24"))
    resistors, capacitors, filter_hz = _input(wanted, series, bias)
    feedback, shunt = _LEG_OHM
    leg_gain = 1.0 + feedback / shunt
    foot = parallel_ohm(feedback, shunt)
    # halved: an op-amp at its end must not take a base of the pair below its collector, where it turns over
    drive = float(nearest(2.0 * foot, "E24"))
    steered = 0.5 * leg_gain
    resistors |= {
        "difference feedback": _DIFFERENCE_OHM,
        "difference signal": signal,
        "inverter resistor": _INVERTER_OHM,
        "leg input": drive,
        "leg bias": drive,
        "voltage feedback": feedback,
        "voltage feedback shunt": shunt,
    }
    capacitors |= {
        "difference capacitor": float(
            at_least(difference_unity_hz(steered, _DIFFERENCE_OHM, 1.0) / _DIFFERENCE_HZ, "E6")
        ),
        "difference op-amp decoupling": _DECOUPLING_F,
    }
    once = {"input series", "input bias", "input coupling", "input filter"}
    return Network(
        bridge="difference",
        resistors_ohm=resistors,
        capacitors_f=capacitors,
        once=once
        | {name for name in (*resistors, *capacitors) if name.startswith(("difference", "inverter"))},
        gain=held * bias / (2.0 * series + bias),
        leg_gain=leg_gain,
        node_gain=held,
        series_ohm=series,
        load_ohm=bias,
        plus_ohm=0.5 * drive,
        minus_ohm=foot,
        source_ohm=0.5 * drive,
        foot_ohm=foot,
        # what the pairs are off by, the integrator takes back
        offset_ratio=0.0,
        noise_gain=leg_gain * sqrt(2.0),
        corners_hz=(_pole(2.0 * series + bias, capacitors["input coupling"]),),
        filter_hz=filter_hz,
        difference_hz=difference_unity_hz(steered, _DIFFERENCE_OHM, capacitors["difference capacitor"]),
    )
