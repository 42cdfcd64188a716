"""Two-channel sound files of a measuring sweep."""

from __future__ import annotations

import struct
import warnings
from pathlib import Path
from typing import Final

import numpy as np

from subwright.base.errors import FileProblem, InputError
from subwright.physics.acoustics.recording import Recording, exponential_sweep

__all__ = ["SIZE_LIMIT_BYTES", "read_recording", "write_sweep_file"]

SIZE_LIMIT_BYTES: Final = 200_000_000
_SCALES: Final = {"int16": 2.0**15, "int32": 2.0**31, "float32": 1.0, "float64": 1.0}


def read_recording(path: Path) -> Recording:
    """Read a two-channel WAV file (16, 24 or 32 bit, or float).

    Parameters
    ----------
    path : the file.

    Raises
    ------
    InputError : unreadable, of another format, or not of two channels.
    """
    from scipy.io import wavfile

    try:
        if path.stat().st_size > SIZE_LIMIT_BYTES:
            raise _refused(path, "is too large; a sweep of ten seconds is enough")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # chunks of other programmes are no concern of ours
            rate, data = wavfile.read(path)
    except OSError as error:
        raise _refused(path, f"can't be read ({(error.strerror or 'unknown').lower()})") from None
    except (ValueError, EOFError, struct.error, TypeError, LookupError, ZeroDivisionError, NameError):
        raise _refused(path, "is no WAV file of 16, 24 or 32 bit") from None
    scale = _SCALES.get(str(data.dtype))
    if scale is None:
        raise _refused(path, f"holds samples of type {data.dtype}; record with 16, 24 or 32 bit")
    if data.ndim != 2 or data.shape[1] != 2:
        found = 1 if data.ndim == 1 else data.shape[1]
        raise _refused(
            path, f"has {found} channel(s); two are needed: left the whole voltage, right the part"
        )
    samples = np.asarray(data, dtype=np.float64) / scale
    if not (rate > 0 and np.all(np.isfinite(samples))):
        raise _refused(path, "holds samples that are not finite, or no sample rate")
    return Recording(left=samples[:, 0], right=samples[:, 1], rate_hz=float(rate))


def write_sweep_file(
    path: Path, *, low_hz: float, high_hz: float, length_s: float, rate_hz: float, peak: float
) -> None:
    """Write the measuring sweep as a 16 bit WAV file with both channels alike.

    Parameters
    ----------
    path : where.
    low_hz, high_hz, length_s, rate_hz, peak : as for ``exponential_sweep``.

    Raises
    ------
    InputError : it can't be written.
    RangeError : these limits make no sweep.
    """
    from scipy.io import wavfile

    wave = exponential_sweep(low_hz, high_hz, length_s, rate_hz, peak=peak)
    samples = np.round(wave * (2.0**15 - 1.0)).astype(np.int16)
    try:
        wavfile.write(path, round(rate_hz), np.stack((samples, samples), axis=1))
    except OSError as error:
        raise _refused(path, f"can't be written ({(error.strerror or 'unknown').lower()})") from None


def _refused(path: Path, message: str) -> InputError:
    problem = FileProblem(file=path, line=1, key="file", message=message)
    return InputError(message="The recording can't be used.", problems=(problem,))
