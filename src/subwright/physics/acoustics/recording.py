"""From a two-channel recording of a sweep to an impedance curve.

Left is the voltage over a known resistor and the driver in series, right the voltage over one of the two. The
ratio of the channels is deconvolved into a short impulse response: the window around it keeps what the
circuit answers and drops noise, hum and the sweep's distortion products, which land elsewhere in time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import FloatArray
from subwright.physics.acoustics.sweep import ImpedanceSweep

__all__ = ["Recording", "RecordingQuality", "exponential_sweep", "impedance_of_recording"]

RightChannel = Literal["driver", "resistor"]

_FULL_SCALE: Final = 0.999
_LEAST_LENGTH_S: Final = 1.0
_AFTER_S: Final = 1.0  # impulse response kept; a resonance of 30 Hz with Q 5 has died away by e^-18
_BEFORE_S: Final = 0.05
_POINTS_PER_OCTAVE: Final = 24
_LEAST_SHARE: Final = 0.01


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Recording:
    """Two channels, full scale ±1, at one rate."""

    left: FloatArray
    right: FloatArray
    rate_hz: float


@dataclass(frozen=True, kw_only=True, slots=True)
class RecordingQuality:
    """How good a recording is."""

    peak_left: float  # share of full scale
    peak_right: float
    clipped: int  # samples at full scale
    noise_db: float  # what the impulse response's window leaves out of the right channel, under its level
    length_s: float
    rate_hz: float


def exponential_sweep(
    low_hz: float, high_hz: float, length_s: float, rate_hz: float, *, peak: float = 0.5
) -> FloatArray:
    """A sine that rises by equal ratios in equal times, with short fades and a silent second after it.

    Parameters
    ----------
    low_hz, high_hz : band, Hz; high below half the rate.
    length_s : of the sweep, s.
    rate_hz : samples per second, Hz.
    peak : share of full scale.

    Returns
    -------
    Samples, share of full scale, 1-D.

    Raises
    ------
    RangeError : a band or length that makes no sweep.

    Source
    ------
    [farina-2000].
    """
    if not (0.0 < low_hz < high_hz < 0.5 * rate_hz) or length_s < _LEAST_LENGTH_S or not 0.0 < peak <= 1.0:
        raise RangeError(
            message="These limits make no measuring sweep.",
            quantity="sweep",
            value=f"{low_hz:.4g} Hz to {high_hz:.4g} Hz in {length_s:.4g} s at {rate_hz:.4g} Hz",
            limit=f"0 < low < high < half the rate, at least {_LEAST_LENGTH_S:g} s",
            source="farina-2000",
            remedy="Use 10 Hz to 2000 Hz in 10 s at 48000 samples per second.",
        )
    time = np.arange(round(length_s * rate_hz)) / rate_hz
    slope = length_s / math.log(high_hz / low_hz)
    wave = peak * np.sin(2.0 * math.pi * low_hz * slope * np.expm1(time / slope))
    fade = min(round(0.05 * rate_hz), len(time) // 10)
    ramp = 0.5 - 0.5 * np.cos(math.pi * np.arange(fade) / fade)
    wave[:fade] *= ramp
    wave[-fade:] *= ramp[::-1]
    return np.concatenate((wave, np.zeros(round(rate_hz))))


def impedance_of_recording(
    recording: Recording,
    resistor_ohm: float,
    *,
    right: RightChannel = "driver",
    right_gain: float = 1.0,
    low_hz: float = 10.0,
    high_hz: float = 2000.0,
) -> tuple[ImpedanceSweep, RecordingQuality]:
    """Impedance of the driver over log frequencies from a recorded sweep.

    Parameters
    ----------
    recording : left the whole voltage, right the part.
    resistor_ohm : series resistor, Ω.
    right : what the right channel lies over.
    right_gain : gain of the right channel over that of the left, dimensionless; from a recording with both
        inputs on one voltage.
    low_hz, high_hz : band that the sweep covered, Hz.

    Returns
    -------
    (sweep with phase, quality).

    Raises
    ------
    RangeError : a silent or short recording, or one whose channels are alike or strangers to each other.

    Source
    ------
    [farina-2000] (deconvolution of a sweep and windowing); voltage divider [derived].
    """
    rate = recording.rate_hz
    left = recording.left - recording.left.mean()
    part = (recording.right - recording.right.mean()) / right_gain
    _check(recording, left, part, high_hz)
    size = 1 << (2 * len(left) - 1).bit_length()
    x, y = np.fft.rfft(left, size), np.fft.rfft(part, size)
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    power = np.abs(x) ** 2
    band = (frequency >= low_hz) & (frequency <= high_hz)
    if not power[band].max() > 0.0:
        raise _silent("the band of the sweep", 0.0)
    floor = 1e-6 * power[band].max()
    ratio = y * np.conj(x) / (power + floor)
    answer = np.fft.irfft(ratio, size)
    before, after = round(_BEFORE_S * rate), min(round(_AFTER_S * rate), size // 2)
    window = np.zeros(size)
    flat = round(0.6 * after)
    window[:flat] = 1.0
    window[flat:after] = 0.5 + 0.5 * np.cos(math.pi * np.arange(after - flat) / (after - flat))
    window[-before:] = 0.5 - 0.5 * np.cos(math.pi * np.arange(before) / before)
    smooth = np.fft.rfft(answer * window, size) * (power + floor) / np.maximum(power, floor)

    count = max(round(_POINTS_PER_OCTAVE * math.log2(high_hz / low_hz)) + 1, 16)
    grid = np.geomspace(low_hz, high_hz, count)
    share = np.interp(grid, frequency, smooth.real) + 1j * np.interp(grid, frequency, smooth.imag)
    middle = float(np.median(np.abs(share)))
    if not _LEAST_SHARE < middle < 1.0 - _LEAST_SHARE:
        raise RangeError(
            message="Resistor and driver don't share the voltage: one of them is open, shorted or far off.",
            quantity="right channel over left channel",
            value=f"{middle:.3g}",
            limit=f"between {_LEAST_SHARE:g} and {1.0 - _LEAST_SHARE:g}",
            remedy="Take a resistor near the driver's impedance; left is the whole voltage, right the part.",
        )
    if right == "driver":
        impedance = resistor_ohm * share / (1.0 - share)
    else:
        impedance = resistor_ohm * (1.0 - share) / share
    left_out = np.abs(y - smooth * x)[band] ** 2
    quality = RecordingQuality(
        peak_left=float(np.abs(recording.left).max()),
        peak_right=float(np.abs(recording.right).max()),
        clipped=int(
            sum(np.count_nonzero(np.abs(c) >= _FULL_SCALE) for c in (recording.left, recording.right))
        ),
        noise_db=10.0 * math.log10(max(float(left_out.sum()) / float(np.sum(np.abs(y[band]) ** 2)), 1e-15)),
        length_s=len(left) / rate,
        rate_hz=rate,
    )
    sweep = ImpedanceSweep(
        frequency_hz=grid, magnitude_ohm=np.abs(impedance), phase_rad=np.asarray(np.angle(impedance))
    )
    return sweep, quality


def _check(recording: Recording, left: FloatArray, part: FloatArray, high_hz: float) -> None:
    rate = recording.rate_hz
    if len(left) < _LEAST_LENGTH_S * rate:
        raise RangeError(
            message="The recording is too short for a sweep through the bass.",
            quantity="length of the recording",
            value=f"{len(left) / rate:.3g} s",
            limit=f"at least {_LEAST_LENGTH_S:g} s, better 10 s",
            source="farina-2000",
            remedy="Record the whole sweep and a second of silence after it.",
        )
    if high_hz >= 0.5 * rate:
        raise RangeError(
            message="The recording's rate is too low for the sweep.",
            quantity="sample rate",
            value=f"{rate:.5g} Hz",
            limit=f"above {2.0 * high_hz:.5g} Hz",
            remedy="Record at 44100 or 48000 samples per second.",
        )
    for name, channel in (("left channel", left), ("right channel", part)):
        peak = float(np.abs(channel).max())
        if peak < 1e-3:
            raise _silent(name, peak)


def _silent(where: str, peak: float) -> RangeError:
    return RangeError(
        message=f"There is no signal in {where}.",
        quantity="peak level",
        value=f"{peak:.2g} of full scale",
        limit="at least 0.1 % of full scale",
        remedy="Check the leads and the input level; left is the whole voltage, right the part.",
    )
